"""
How often `fit`'s range holds the next season's metered litres: unseen gardens, ten notes each, with and without a meter.

Run with `python tests/benchmarks/fit.py [GARDENS]`. Exposure 0.6 to 1.3 times the one described, refill flow within a tenth,
swing within a twentieth, emitters as described; a ruler of 1.5 mm, a level misread and a count off by some in some logs.
"""

from __future__ import annotations

import datetime as dt
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

import panbudget

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests.benchmarks.size import summers
from tests.field_logs import kept_log


def described(random: np.random.Generator, weather: Path) -> dict:
    """A garden of one valve and one to three beds, a season in the second year."""
    area = float(random.uniform(0.1, 0.35))
    bed = {
        f"bed{k}": {
            "area": f"{random.uniform(3, 12):.1f} m^2",
            "emitters": {"count": int(random.integers(6, 40)), "flow": "2 L/h", "at": "100 kPa", "exponent": 0.5},
            "soil": "loam",
            "plants": {"kc": 0.8, "root_depth": "50 cm", "depletion": 0.5},
        }
        for k in range(random.integers(1, 4))
    }
    valve = {
        "swing": f"{area * random.uniform(3.0, 9.0):.3f} kg",
        "refill": {"flow": f"{random.uniform(1.2, 4.0):.2f} L/h", "at": "100 kPa", "exponent": 0.5},
    }
    pan = {"vessels": [{"area": f"{area:.3f} m^2"}], "depth": "18 cm"}
    return {
        "site": {"latitude": 38.6, "elevation": "240 m"},
        "weather": {"file": str(weather)},
        "season": {"start": dt.date(2002, 5, 1), "end": dt.date(2002, 9, 30)},
        "supply": {"spring": {"kind": "mains", "pressure": "100 kPa"}},
        "controller": {"upper": {"supply": "spring", "pan": pan, "valve": valve, "bed": bed}},
    }


def changed(garden: panbudget.Scenario, random: np.random.Generator) -> panbudget.Scenario:
    """The garden as it is, not as it is described."""
    upper = garden.controller["upper"]
    valve = {
        "swing": f"{upper.valve.swing_kg * random.uniform(0.95, 1.05):.5f} kg",
        "refill": {"flow": f"{upper.valve.refill.flow * random.uniform(0.9, 1.1):.5f} L/h"},
    }
    return garden.changed(
        {"controller": {"upper": {"pan": {"exposure": float(random.uniform(0.6, 1.3))}, "valve": valve}}}
    )


def one(seed: int, meter: bool, folder: Path, weather: Path) -> tuple[float, ...]:
    """Return true litres of the next season, and as described, fitted, the range's ends, and how long it took."""
    from panbudget.scenario.garden import scenario_from

    random = np.random.default_rng(seed)
    garden = scenario_from(described(random, weather), folder / "garden.toml")
    true = changed(garden, random)
    every = float(random.uniform(2.0, 6.0))
    first = dt.date(2001, 5, 10) + dt.timedelta(days=int(random.integers(0, 60)))
    last = first + dt.timedelta(days=round(9.7 * every))
    kept = {"levels": bool(random.random() < 0.7), "misreads": int(random.random() < 0.3)}
    season = panbudget.replay(true.changed({"season": {"start": first, "end": last}}))
    text = kept_log(season, seed=seed, every=every, meter=meter, miscounts=int(random.random() < 0.3), **kept)
    log = folder / "log.csv"
    log.write_text("\n".join(text.splitlines()[:11]) + "\n", encoding="utf-8")
    begun = time.perf_counter()
    fitted = panbudget.fit(garden, log)
    took = time.perf_counter() - begun
    litres = [
        part.totals["controllers"]["upper"]["litres"] for part in (panbudget.replay(true), fitted.before, fitted.after)
    ]
    return (*litres, *fitted.litres["upper"], took)


def main(gardens: int) -> None:
    """Print coverage and median width, with and without a meter."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        weather = folder / "weather.csv"
        summers(weather, 2)
        for meter in (False, True):
            found = np.array([one(seed, meter, folder, weather) for seed in range(gardens)])
            true, before, after, low, high, took = found.T
            holds, width = (low <= true) & (true <= high), np.median((high - low) / 2.0 / after)
            near = [np.mean(np.abs(guess / true - 1.0) < 0.05) for guess in (before, after)]
            print(f"{'with' if meter else 'no'} meter: range holds {holds.mean():.0%}, median half width {width:.1%};")
            print(f"  within 5 %: as described {near[0]:.0%}, as fitted {near[1]:.0%}; {np.median(took):.1f} s a fit")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
