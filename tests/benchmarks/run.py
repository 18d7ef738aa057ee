"""
How long things take, as ratios within one run: `python tests/benchmarks/run.py`.

Never a test: a machine that is busy must not turn the suite red. What a run showed stands in README.md beside this.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
DEMO = ROOT / "scenarios" / "terraces.toml"


def seconds(call: Callable[[], object], times: int = 5) -> float:
    """Median of some runs."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def cold(*arguments: str) -> Callable[[], object]:
    """A process of its own."""
    return lambda: subprocess.run([sys.executable, *arguments], check=True, capture_output=True, cwd=ROOT)


def row_loop(days: pd.DataFrame, *, area: float, swing: float, refill: float, mm_per_hour: float, taw: float) -> float:
    """The same equations as one would write them over a DataFrame: hourly pan, one bed, row by row."""
    w, is_open, depletion, total = swing, False, 0.0, 0.0
    for _, row in days.iterrows():
        hours_open = 0.0
        for hour in range(24):
            rate = (row["rain"] / 24.0 - row["pan"] * row[f"h{hour}"]) * area
            left = 1.0
            while left > 1e-12:
                net = rate + (refill if is_open else 0.0)
                step = left
                if is_open and net > 0:
                    step = min(left, (swing - w) / net)
                elif not is_open and net < 0:
                    step = min(left, -w / net)
                w += net * step
                left -= step
                if is_open:
                    hours_open += step
                    is_open = w < swing - 1e-12
                else:
                    is_open = w <= 1e-12
        irrigation = hours_open * mm_per_hour
        etc = 0.9 * row["eto"]
        raw = min(max(0.4 + 0.04 * (5 - etc), 0.1), 0.8) * taw
        start = max(depletion - row["rain"] - irrigation, 0.0)
        ks = 1.0 if start <= raw else (taw - start) / (taw - raw)
        depletion = min(max(depletion - row["rain"] - irrigation + ks * etc, 0.0), taw)
        total += irrigation
    return total


def main() -> None:
    """Run all and print a table."""
    from panbudget.engine import season as engine
    from panbudget.engine.arrays import empty_results, plain
    from panbudget.scenario.garden import load_scenario
    from panbudget.season.layout import prepare
    from panbudget.season.run import first_morning
    from panbudget.weather.of_scenario import read_scenario_weather

    bare = seconds(cold("-c", "pass"))
    pandas_import = seconds(cold("-c", "import pandas"), 3)
    helping = seconds(cold("-m", "panbudget", "--help"))
    with tempfile.TemporaryDirectory() as folder:
        out = str(Path(folder) / "season")
        replaying = seconds(cold("-m", "panbudget", "replay", str(DEMO), "--out", out, "--overwrite"), 3)
    print(f"python -c pass            {bare:7.3f} s")
    print(f"import pandas             {pandas_import:7.3f} s")
    print(
        f"panbudget --help          {helping:7.3f} s   {helping / bare:5.1f} × python, "
        f"{helping / pandas_import:.2f} × pandas"
    )
    print(f"replay of the demo, cold  {replaying:7.3f} s   {replaying / pandas_import:5.1f} × pandas")

    scenario = load_scenario(DEMO)
    weather = read_scenario_weather(scenario)
    forcing = prepare(scenario, weather, scenario.season.start, scenario.season.end)
    controllers, lanes, n = len(forcing.pans.area), len(forcing.beds.lane_bed), len(forcing.dates)

    def run() -> None:
        out = empty_results(controllers, lanes, n, room=forcing.room)
        state = first_morning(forcing)
        groups = (forcing.days, forcing.pans, forcing.tanks, forcing.beds, state, out)
        engine.run_season(*(plain(group) for group in groups))

    beds = len(forcing.bed_of)
    ours = seconds(run) / (n * beds)
    table = pd.DataFrame(
        {"rain": forcing.days.rain, "eto": forcing.days.eto, "pan": forcing.pans.evaporation[0]}
        | {f"h{h}": forcing.days.daylight_share[:, h] for h in range(24)}
    )
    loop = seconds(lambda: row_loop(table, area=0.2, swing=0.9, refill=2.4, mm_per_hour=5.0, taw=100.0), 3) / n
    print(f"engine, a bed-day         {ours * 1e6:7.1f} µs  ({beds} beds of three lanes on {controllers} pans)")
    print(
        f"pandas row loop, a bed-day{loop * 1e6:7.1f} µs  {loop / ours:5.1f} × the engine (one bed, one lane, one pan)"
    )
    assert np.isfinite(ours)


if __name__ == "__main__":
    main()
