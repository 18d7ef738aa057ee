"""
How long `size` takes, and what its promise is worth: 20 invented summers × 400 settings × 64 draws × 4 beds.

`python tests/benchmarks/size.py`: the whole command, what was compiled kept in a new folder the first time; then how often
the recommended setting keeps the wishes in summers and draws that it was not chosen by.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
PROMISES = 8  # records of each length


def summers(path: Path, years: int, seed: int = 7) -> None:
    """Write invented weather, seeded; nothing was measured."""
    draw = np.random.default_rng(seed)
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


def garden_in(folder: Path, years: int, seed: int = 7) -> Any:
    """Describe four beds behind one valve."""
    from panbudget import scenario_from

    summers(folder / "weather.csv", years, seed)
    emitters = {"flow": "2 L/h", "at": "100 kPa"}
    bed = {"area": "10 m^2", "soil": "loam", "emitters": {"count": 30, **emitters}, "planted": dt.date(2001, 5, 5)}
    plants = enumerate(("tomato", "mint", "pea", "potato"))
    valve = {
        "supply": "tap",
        "pan": {"vessels": [{"diameter": "50 cm"}], "depth": "18 cm"},
        "valve": {"swing": "0.9 kg", "refill": emitters},
        "bed": {f"bed-{n}": {**bed, "plants": name} for n, name in plants},
    }
    described = {
        "site": {"latitude": 38.6, "elevation": "240 m"},
        "weather": {"file": "weather.csv"},
        "season": {"start": dt.date(2001, 5, 1), "end": dt.date(2001, 9, 30)},
        "supply": {"tap": {"pressure": "150 kPa"}},
        "controller": {"yard": valve},
    }
    return scenario_from(described, folder / "garden.toml")


def as_toml(value: Any, *, is_top: bool = True) -> str:
    """Write a described garden as a scenario file."""
    if isinstance(value, dict):
        parts = [f"{key} = {as_toml(part, is_top=False)}" for key, part in value.items()]
        return "\n".join(parts) if is_top else "{ " + ", ".join(parts) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(as_toml(part, is_top=False) for part in value) + "]"
    return json.dumps(value) if isinstance(value, str) else str(value)


def share_kept(garden: Any, overlay: dict[str, Any], seed: int) -> float:
    """Replay a recommended setting over fresh draws in every year of a garden's weather."""
    from panbudget.studies.common import seasons_of_record
    from panbudget.studies.ranges import drawn_factors, valve_factors
    from panbudget.studies.size.judging import by_cell, judged
    from panbudget.studies.size.settings import Setting, outcomes, year_forcing

    mended = garden.changed(overlay).changed({"uncertainty": {"seed": seed}})
    years = [year_forcing(season, "yard") for season in seasons_of_record(mended)[0].values()]
    valve = mended.controller["yard"]
    refill = years[0].forcing.pan_of["yard"].refill_flow
    setting = Setting(valve.pan.area, valve.pan.depth, refill, valve.valve.swing_kg)
    draws = valve_factors(mended, "yard", drawn_factors(mended, 64))
    return float(judged(mended, [setting], by_cell(outcomes(years, [setting], draws=draws))).share[0])


def main() -> None:
    """Measure and print."""
    import panbudget
    from panbudget.reports.size.page import variant_text

    folder = Path(tempfile.mkdtemp())
    os.environ["PANBUDGET_CACHE"] = str(folder / "compiled")
    command = [
        sys.executable,
        "-m",
        "panbudget",
        "size",
        str(folder / "garden.toml"),
        "--quiet",
        "--overwrite",
        "--out",
    ]
    garden = garden_in(folder, 20)
    (folder / "garden.toml").write_text(as_toml(garden.described) + "\n", encoding="utf-8")
    for when in ("nothing compiled", "compiled before"):
        begun, before = time.perf_counter(), os.times()
        subprocess.run([*command, str(folder / "sizes")], check=True)
        after = os.times()
        used = after.children_user + after.children_system - before.children_user - before.children_system
        print(f"size, {when}: {time.perf_counter() - begun:.1f} s, {used:.1f} s of processor time")
    for years in (1, 4, 20):
        promises, kept = [], []
        for seed in range(7, 7 + PROMISES):
            sizing = panbudget.size(garden_in(folder, years, seed))
            promises.append(sizing.valves["yard"].choice.promise)
            overlay = tomllib.loads(variant_text(sizing))["variant"]["sized"]
            kept.append(share_kept(garden_in(folder, 20, seed + 1000), overlay, seed + 1))
        print(f"{years} summers: promised {np.mean(promises):.3f}, kept {np.mean(kept):.3f}, least {min(kept):.3f}")


if __name__ == "__main__":
    main()
