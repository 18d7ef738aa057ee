"""
How long `size` takes: 20 invented summers × 400 settings × 4 beds × draws, nothing compiled beforehand.

`python tests/benchmarks/size.py`: over the cores with the interpreter alone (one draw), and through numba if that is
installed (64 draws).
"""

from __future__ import annotations

import datetime as dt
import importlib.util
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))


def summers(path: Path, years: int) -> None:
    """Write invented weather, seeded; nothing was measured."""
    draw = np.random.default_rng(7)
    lines = ["# invented weather, for a benchmark", "date,tmin,tmax,rh_max,rh_min,wind,rain,radiation"]
    day = dt.date(2001, 1, 1)
    while day.year < 2001 + years:
        season = np.cos(2 * np.pi * (day.timetuple().tm_yday - 195) / 365)
        high = 20 + 11 * season + draw.normal(0, 2.5)
        rain = round(float(draw.gamma(0.7, 9.0)), 1) if draw.random() < 0.1 - 0.06 * season else 0.0
        sun = (17 + 9 * season) * (0.55 if rain else draw.uniform(0.75, 0.95))
        lines.append(f"{day},{high - 12:.1f},{high:.1f},85,38,{draw.uniform(1, 3.5):.1f},{rain},{sun:.1f}")
        day += dt.timedelta(days=1)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> None:
    """Measure and print."""
    from panbudget import replay, scenario_from
    from panbudget.season.years import in_year, years_at_hand
    from panbudget.studies.ranges import drawn_factors, valve_factors
    from panbudget.studies.size import settings
    from panbudget.studies.size.choose import _layout
    from panbudget.studies.size.settings import Setting, outcomes, year_forcing
    from panbudget.weather.of_scenario import read_scenario_weather

    folder = Path(tempfile.mkdtemp())
    summers(folder / "weather.csv", 20)
    emitters = {"flow": "2 L/h", "at": "100 kPa"}
    bed = {"area": "10 m^2", "soil": "loam", "emitters": {"count": 30, **emitters}, "planted": dt.date(2001, 5, 5)}
    garden = scenario_from(
        {
            "site": {"latitude": 38.6, "elevation": "240 m"},
            "weather": {"file": "weather.csv"},
            "season": {"start": dt.date(2001, 5, 1), "end": dt.date(2001, 9, 30)},
            "supply": {"tap": {"pressure": "150 kPa"}},
            "controller": {
                "yard": {
                    "supply": "tap",
                    "pan": {"vessels": [{"diameter": "50 cm"}], "depth": "18 cm"},
                    "valve": {"swing": "0.9 kg", "refill": emitters},
                    "bed": {
                        f"bed-{n}": {**bed, "plants": name}
                        for n, name in enumerate(("tomato", "mint", "pea", "potato"))
                    },
                }
            },
        },
        folder / "garden.toml",
    )
    start = time.perf_counter()
    weather = read_scenario_weather(garden)
    years = []
    for year in years_at_hand(garden, weather, garden.season.start, garden.season.end):
        years.append(year_forcing(replay(in_year(garden, year), weather=weather), "yard"))
    ready = time.perf_counter() - start
    present = Setting(0.196, 180.0, 2.45, 0.9)
    tried = _layout(garden, "yard", present)[:400]
    while len(tried) < 400:
        tried.append(present._replace(area=0.2 + 0.001 * len(tried)))
    seasons = len(years) * len(tried)
    draws = valve_factors(garden, "yard", drawn_factors(garden, 64))
    print(f"{len(years)} seasons × {len(tried)} settings × 4 beds; made ready in {ready:.1f} s")
    compiler = importlib.util.find_spec("numba") is not None
    if compiler:
        start = time.perf_counter()
        outcomes(years, tried, draws=draws)
        taken = time.perf_counter() - start
        each = 1e6 * taken / seasons / 64
        print(f"through numba, 64 draws, compiling included: {taken:5.1f} s, {each:7.0f} µs a season")
    settings._WORTH_COMPILING = 10**12
    start = time.perf_counter()
    outcomes(years, tried)
    taken = time.perf_counter() - start
    print(f"interpreted, over the cores:       {taken:5.1f} s, {1e6 * taken / seasons:7.0f} µs a season")


if __name__ == "__main__":
    main()
