"""
How fast a sweep is: `python tests/benchmarks/sweep.py [beside|engine|shares|cores|memory|district] …`, all of them by default.

The last, 1,000 sites × 40 years × 10 designs × 4 beds, takes some minutes and 700 MB of invented weather in a temporary
folder. Never a test, like `run.py` beside it. A bed is its mean and its driest quarter: two lanes.
"""

from __future__ import annotations

import multiprocessing
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
sys.path.insert(0, str(Path(__file__).parent))

DAYS, PANS, BEDS = 365, 10, 4
ROUNDS = 8
AREA, SWING, REFILL, MM_PER_HOUR, TAW = 0.2, 0.9, 2.0, 5.0, 100.0


def best(call: Callable[[], object], times: int = 15) -> float:
    """Least of some runs: what the machine can do when it is left alone. [s]"""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return min(taken)


def drivers() -> tuple[Any, Any]:
    """An invented year: the engine's days, and pan evaporation. [mm/day]"""
    from panbudget.engine.arrays import Days
    from panbudget.physics import evaporation

    rng = np.random.default_rng(1)
    day = np.arange(DAYS)
    eto = np.maximum(3.0 + 2.5 * np.sin(2 * np.pi * (day - 80) / 365.0) + rng.normal(0, 0.4, DAYS), 0.3)
    rain = np.where(rng.random(DAYS) < 0.15, rng.exponential(8.0, DAYS), 0.0)
    daylight, dark = evaporation.hourly_shares(38.0, day + 1.0)
    return Days(rain, eto, daylight, dark), eto * 1.3


def lanes(
    *, dual: bool = False, tank: bool = False, stand: float = 8.0, pans: int = PANS, beds: int = BEDS
) -> tuple[Any, ...]:
    """The engine's arguments: pans of different sizes, each with its beds, mean and driest quarter."""
    from tests.small_garden import mains

    from panbudget.engine.arrays import Beds, Pans, Tanks, empty_results, empty_state, no_tanks

    days, pan_mm = drivers()
    lanes = pans * beds * 2

    def by_day(value: float) -> Any:
        return np.full((pans, DAYS), value)

    supply = mains(pans)
    tanks = no_tanks(DAYS)
    if tank:  # each pan a tank of its own, with a roof
        static = np.tile(np.linspace(0.0, 150.0, 33), (pans, 1))
        supply |= {
            "tank": np.arange(pans, dtype=np.int64),
            "static": static,
            "at_emitters": static * 0.95,
            "refill_exponent": np.full(pans, 0.5),
        }
        tanks = Tanks(
            capacity=np.full(pans, 4000.0),
            outlet=np.full(pans, stand),
            volumes=np.tile([0.0, 4000.0], (pans, 1)),
            levels=np.tile([0.0, 1.6], (pans, 1)),
            inflow=np.tile(days.rain * 60.0, (pans, 1)),
            float_volume=np.full(pans, 2000.0),
            float_rate=np.full(pans, 200.0),
            draw_flow=np.full((pans * beds, DAYS), 50.0),
            draw_exponent=np.full(pans * beds, 0.5),
            draw_from=np.arange(pans + 1, dtype=np.int64) * beds,
        )
    area = np.linspace(0.12, 0.4, pans)
    state = empty_state(pans, lanes, tanks)._replace(
        level=np.full(pans, SWING), volume=np.full(pans if tank else 0, 4000.0)
    )
    every = (beds, DAYS)
    return (
        days,
        Pans(
            evaporation=np.tile(pan_mm, (pans, 1)),
            area=area,
            swing=by_day(SWING),
            rim=by_day(SWING) + 20.0 * area[:, None],
            dry=by_day(SWING) - 160.0 * area[:, None],
            shift=by_day(0.0),
            leak=by_day(0.0),
            rain_factor=by_day(1.0),
            night_share=np.zeros(pans),
            refill_flow=by_day(REFILL),
            valve_flow=by_day(200.0),
            presses=np.zeros((pans, 0)),
            **supply,
        ),
        tanks,
        Beds(
            kc=np.full(every, 0.9),
            taw=np.full(every, TAW),
            rain_in=np.tile(days.rain, (beds, 1)),
            growing=np.ones(every, np.int64),
            kc_max=np.full(every, 1.2),
            exposed=np.full(every, 0.4),
            p_table=np.full(every, 0.4),
            flow_factor=np.ones(every),
            dual=np.full(beds, int(dual), np.int64),
            fw=np.full(beds, 0.4),
            tew=np.full(beds, 20.0),
            rew=np.full(beds, 8.0),
            ke_factor=np.ones(beds),
            lane_bed=np.tile(np.repeat(np.arange(beds, dtype=np.int64), 2), pans),
            lane_controller=np.repeat(np.arange(pans, dtype=np.int64), 2 * beds),
            lane_source=np.zeros(lanes, np.int64),
            lane_mm_per_hour=np.tile([MM_PER_HOUR, 0.9 * MM_PER_HOUR], pans * beds),
            lane_draw=np.arange(lanes, dtype=np.int64) // 2 if tank else np.full(lanes, -1, np.int64),
            given=np.zeros((beds, 0)),
        ),
        state,
        empty_results(pans, lanes, DAYS, room=0, tanks=tanks, keep_hours=False, keep_terms=False),
    )


def compiled_run(arguments: tuple[Any, ...]) -> Callable[[], object]:
    """One year of these lanes through the compiled engine, from the same first morning each time."""
    from panbudget.engine import season as engine
    from panbudget.engine.compiled import compiled

    run = compiled(engine.run_season)
    *groups, state, out = arguments

    def once() -> None:
        run(*groups, state.copy(), out)

    once()  # compiles
    return once


def vectorised(arguments: tuple[Any, ...]) -> Any:
    """The same equations in numpy, a step of all pans and all lanes at once: mains, single coefficient, no presses."""
    days, pans, _, beds, state, _ = arguments
    w, is_open = state.level.copy(), np.zeros(len(pans.area), bool)
    depletion = state.depletion.copy()
    total = np.zeros(len(depletion))
    swing, rim, dry = pans.swing[:, 0], pans.rim[:, 0], pans.dry[:, 0]
    lane_pan, lane_bed = beds.lane_controller, beds.lane_bed
    for day in range(len(days.rain)):
        open_hours = np.zeros(len(w))
        rain = days.rain[day] / 24.0 * pans.area
        for hour in range(24):
            rate = rain - pans.evaporation[:, day] * pans.area * days.daylight_share[day, hour]
            left = np.ones(len(w))
            while True:
                net = rate + np.where(is_open, REFILL, 0.0)
                net = np.where(((net < 0.0) & (w <= dry)) | ((net > 0.0) & (w >= rim)), 0.0, net)
                target = np.where(is_open, swing, np.where(net < 0.0, 0.0, rim))
                with np.errstate(divide="ignore", invalid="ignore"):
                    needs = (target - w) / net
                step = np.where((needs >= 0.0) & (needs < left), needs, left)
                w = w + net * step
                open_hours += np.where(is_open, step, 0.0)
                left = left - step
                reached = np.abs(w - target) < 1e-12
                is_open = np.where(is_open, ~(reached & (net > 0.0)), reached & (net < 0.0))
                if not (left > 1e-12).any():
                    break
        irrigation = open_hours[lane_pan] * beds.lane_mm_per_hour
        etc = beds.kc[lane_bed, day] * days.eto[day]
        taw = beds.taw[lane_bed, day]
        raw = np.clip(beds.p_table[lane_bed, day] + 0.04 * (5.0 - etc), 0.1, 0.8) * taw
        at_start = np.maximum(depletion - beds.rain_in[lane_bed, day] - irrigation, 0.0)
        ks = np.where(at_start > raw, np.maximum((taw - at_start) / (taw - raw), 0.0), 1.0)
        eta = np.minimum(ks * etc, np.maximum(taw - at_start, 0.0))
        depletion = np.maximum(depletion - beds.rain_in[lane_bed, day] - irrigation + eta, 0.0)
        total += irrigation
    return total


def engine_speed() -> None:
    """Bed-days a second of one core, and beside it the other ways of writing the same."""
    import pandas as pd
    from run import row_loop

    from panbudget.engine import season as engine
    from panbudget.engine.arrays import plain

    bed_days = PANS * BEDS * DAYS
    found = {}
    for name, kind in {
        "single coefficient, mains": {},
        "dual coefficient, mains": {"dual": True},
        "dual coefficient, each pan on a tank": {"dual": True, "tank": True},
        "dual, each on a tank near the ground": {"dual": True, "tank": True, "stand": 0.5},
    }.items():
        arguments = lanes(**kind)
        found[name] = bed_days / best(compiled_run(arguments), 40)
        print(f"compiled, {name:38} {found[name] / 1e6:7.1f} million bed-days/s")
    base = found["single coefficient, mains"]

    arguments = lanes()
    once = compiled_run(arguments)
    *groups, state, out = arguments
    bare = groups[3]._replace(
        lane_bed=groups[3].lane_bed[:0],
        lane_controller=groups[3].lane_controller[:0],
        lane_source=groups[3].lane_source[:0],
    )
    no_beds = best(compiled_run((*groups[:3], bare, state, out)), 40)
    whole = best(once, 40)
    pan_day, pan_alone = whole / PANS / DAYS * 1e9, no_beds / PANS / DAYS * 1e9
    print(f"a pan-day with its four beds {pan_day:.0f} ns, of which the pan {pan_alone:.0f} ns")
    lane_day = (pan_day - pan_alone) / BEDS / 2
    print(f"  = {pan_alone / 24:.1f} ns an hour of a pan, {lane_day:.1f} ns a lane-day")

    expected = out.irrigation.sum(axis=1)
    few = lanes(pans=2)
    interpreted = best(lambda: engine.run_season(*(plain(g) for g in (*few[:4], few[4].copy(), few[5]))), 3)
    print(f"interpreted: {base / (2 * BEDS * DAYS / interpreted):8.0f} × as long")
    for many in (10, 1000):
        wide = lanes(pans=many)
        taken = best(lambda wide=wide: vectorised(wide), 2 if many > 10 else 3)
        print(f"numpy over {many * BEDS * 2:5d} lanes: {base / (many * BEDS * DAYS / taken):8.0f} × as long")
    assert np.allclose(vectorised(arguments), expected, rtol=1e-9), "the vectorised version says something else"
    days = arguments[0]
    table = pd.DataFrame(
        {"rain": days.rain, "eto": days.eto, "pan": arguments[1].evaporation[0]}
        | {f"h{h}": days.daylight_share[:, h] for h in range(24)}
    )
    loop = best(lambda: row_loop(table, area=AREA, swing=SWING, refill=REFILL, mm_per_hour=MM_PER_HOUR, taw=TAW), 3)
    print(f"pandas row loop (one lane a bed): {base / (DAYS / loop):8.0f} × as long")
    sizes = {
        "written": sum(part.nbytes for part in out) / (PANS * BEDS * 2 * DAYS),
        "read": sum(part.nbytes for group in groups for part in group) / (PANS * BEDS * 2 * DAYS),
    }
    print(f"bytes a lane-day: {sizes['written']:.0f} written, {sizes['read']:.0f} read")


def _spin(seconds: float, results: Any) -> None:
    once = compiled_run(lanes())
    count, start, used = 0, time.perf_counter(), time.process_time()
    while time.perf_counter() - start < seconds:
        once()
        count += 1
    results.put((count / (time.perf_counter() - start), count / (time.process_time() - used)))


def engine_cores() -> None:
    """Years a second of one and of two processes, the engine alone; then a whole sweep."""
    context = multiprocessing.get_context("spawn")

    def together(n: int) -> tuple[float, float]:
        results = context.Queue()
        workers = [context.Process(target=_spin, args=(4.0, results)) for _ in range(n)]
        for worker in workers:
            worker.start()
        rates = [results.get() for _ in workers]
        for worker in workers:
            worker.join()
        return float(sum(rate[0] for rate in rates)), float(sum(rate[1] for rate in rates))

    one, two = together(1), together(2)
    print(f"engine alone, two processes over one: {two[0] / one[0]:.2f} ×")
    # on a machine that others use too, what two cores would do is told by the time that the processes really had
    print(f"  by seconds of processor time: {two[1] / one[1]:.2f} ×")
    from panbudget.studies.sweep.run import sweep

    with tempfile.TemporaryDirectory() as folder:
        plan = district(Path(folder), 200, 40)
        taken, used = [], []
        for n in (1, 2):
            start, before = time.perf_counter(), _processor_time()
            sweep(plan, Path(folder) / f"out{n}", processes=n)
            taken.append(time.perf_counter() - start)
            used.append(_processor_time() - before)
    ratio = taken[0] / taken[1]
    print(f"a sweep of 200 sites: {taken[0]:.1f} s with one process, {taken[1]:.1f} s with two: {ratio:.2f} ×")
    print(f"  processor time {used[0]:.1f} s and {used[1]:.1f} s: at best {2 * used[0] / used[1]:.2f} ×")


def _processor_time() -> float:
    """Of this process and its children. [s]"""
    whose = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(used.ru_utime + used.ru_stime for used in map(resource.getrusage, whose))


def shares() -> None:
    """What takes how long in one process."""
    from panbudget.studies.sweep.run import sweep

    with tempfile.TemporaryDirectory() as folder:
        plan = district(Path(folder), 24, 40)
        sweep(plan, Path(folder) / "warm", processes=1, compiler=True)
        found = sweep(plan, Path(folder) / "out", processes=1, compiler=True)
    whole = sum(found.seconds.values())
    for name, seconds in found.seconds.items():
        print(f"{name:14} {1e3 * seconds / found.sites:7.1f} ms a site, {100 * seconds / whole:5.1f} %")
    print(f"{'all':14} {1e3 * whole / found.sites:7.1f} ms a site; {found.elapsed:.1f} s with the summary and the map")


def beside() -> None:
    """A sweep in one process beside the plain script of numpy and pandas, by processor time; read, and kept from before."""
    import os
    import shutil

    import plain_sweep

    from panbudget.studies.sweep.run import sweep

    sites = 24
    with tempfile.TemporaryDirectory() as folder:
        path, cache = Path(folder), Path(folder) / "cache"
        os.environ["PANBUDGET_CACHE"] = str(cache)
        plan = district(path, sites, 40)
        plan.write_text(plan.read_text() + "[output]\nfigures = false\n", encoding="utf-8")

        def used(call: Callable[[], object]) -> float:
            before = time.process_time()
            call()
            return (time.process_time() - before) / sites * 1e3

        def swept() -> None:
            sweep(plan, path / "out", processes=1, compiler=True, overwrite=True)

        def read() -> None:
            shutil.rmtree(cache / "weather", ignore_errors=True)
            swept()

        swept()  # compiles
        calls = {"the plain script": lambda: plain_sweep.main(path, range(2001, 2041))}
        calls |= {"a sweep, read and checked": read, "a sweep, weather kept": swept}
        # by turns: what else the machine does then weighs on all alike
        rounds = [[used(call) for call in calls.values()] for _ in range(ROUNDS)]
        for name, times in zip(calls, zip(*rounds, strict=True), strict=True):
            ratios = sorted(mine / script for mine, (script, *_) in zip(times, rounds, strict=True))
            spread = f"{ratios[ROUNDS // 4]:.2f} to {ratios[-1 - ROUNDS // 4]:.2f}"
            least = f"{min(times):.0f} ms a site at least, {min(times) / min(next(zip(*rounds, strict=True))):.2f} × the script"
            print(f"{name}: {least}; half of the rounds {spread}")


def memory() -> None:
    """Most memory of a sweep, by its number of sites."""
    for sites in (16, 160):
        with tempfile.TemporaryDirectory() as folder:
            plan = district(Path(folder), sites, 10)
            command = [sys.executable, "-m", "panbudget", "sweep", str(plan), "--out", str(Path(folder) / "out")]
            code = (
                "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True);"
                "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
            )
            done = subprocess.run(
                [sys.executable, "-c", code, *command, "--quiet", "--processes", "1"],
                check=True,
                capture_output=True,
                text=True,
                cwd=ROOT,
            )
            print(f"{sites:4d} sites: {int(done.stdout.split()[-1]) / 1024:.0f} MB at most")


def whole_district() -> None:
    """The issue's own job."""
    from panbudget.studies.sweep.run import estimate, load_plan, sweep

    with tempfile.TemporaryDirectory() as folder:
        path = district(Path(folder), 1000, 40)
        start = time.perf_counter()
        plan = load_plan(path)
        reckoned = estimate(plan, 2)
        planned = time.perf_counter() - start
        print(f"planned in {planned:.1f} s: {reckoned.rows} rows, about {reckoned.seconds:.0f} s")
        before = _processor_time()
        found = sweep(plan, Path(folder) / "out", processes=2)
        used = _processor_time() - before
        print(f"processor time {used:.0f} s, so {used / 2:.0f} s on two cores of its own")
        most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(
            f"1,000 sites × 40 years × 10 designs × 4 beds on two processes: {found.elapsed:.0f} s; "
            f"{found.seasons / found.elapsed:.0f} seasons/s; {most:.0f} MB a worker at most"
        )


def district(folder: Path, sites: int, years: int) -> Path:
    """Write a plan with ten pan sizes and a weather file for each site; return its path."""
    from size import summers

    (folder / "weather").mkdir(parents=True)
    summers(folder / "base.csv", years)
    text = (folder / "base.csv").read_bytes()
    lines = ["name,latitude,longitude,elevation,weather"]
    for index in range(sites):
        (folder / "weather" / f"{index}.csv").write_bytes(text + f"# {index}\n".encode())
        place = f"{36 + (index % 40) * 0.1:.2f},{-6 + (index // 40) * 0.1:.2f},{100 + index % 500}"
        lines.append(f"place {index},{place},weather/{index}.csv")
    (folder / "places.csv").write_text("\n".join(lines) + "\n", encoding="ascii")
    beds = "".join(
        f"""
[controller.yard.bed.bed-{index}]
area = "10 m^2"
soil = "loam"
plants = "{name}"
planted = 2001-05-05
emitters = {{ count = 30, flow = "2 L/h", at = "100 kPa" }}
"""
        for index, name in enumerate(("tomato", "mint", "pea", "potato"))
    )
    (folder / "garden.toml").write_text(
        f"""
[site]
latitude = 38.6
elevation = "240 m"

[weather]
file = "none.csv"

[season]
start = 2001-05-01
end = 2001-09-30

[supply.tap]
pressure = "150 kPa"

[controller.yard]
supply = "tap"
pan = {{ vessels = [{{ diameter = "50 cm" }}], depth = "18 cm" }}
valve = {{ swing = "0.9 kg", refill = {{ flow = "2 L/h", at = "100 kPa" }} }}
{beds}""",
        encoding="utf-8",
    )
    designs = "".join(
        f'[design."{40 + 5 * k} cm"]\ncontroller.yard.pan.vessels = [{{ diameter = "{40 + 5 * k} cm" }}]\n'
        for k in range(10)
    )
    plan = folder / "plan.toml"
    plan.write_text(
        f'title = "A benchmark"\nscenario = "garden.toml"\n[sites]\ntable = "places.csv"\n'
        f"[years]\nfirst = 2001\nlast = {2000 + years}\n{designs}",
        encoding="utf-8",
    )
    return plan


PARTS = {
    "beside": beside,
    "engine": engine_speed,
    "shares": shares,
    "cores": engine_cores,
    "memory": memory,
    "district": whole_district,
}

if __name__ == "__main__":
    for part in sys.argv[1:] or PARTS:
        PARTS[part]()
