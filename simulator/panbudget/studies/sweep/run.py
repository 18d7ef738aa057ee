"""
Run: a plan from beginning to end: what is done already, what is left, the parts as they come, and what they come to.
"""

import dataclasses
import functools
import math
import os
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from panbudget.engine import season as engine
from panbudget.engine.compiled import has_compiler, is_kept
from panbudget.extras import wants_extra
from panbudget.files import straight
from panbudget.studies.sweep.jobs import Job, Part, cut, how_many, kit_of
from panbudget.studies.sweep.kept import trim as trim_weather
from panbudget.studies.sweep.plan import Plan, load_plan
from panbudget.studies.sweep.store import Store, alone
from panbudget.studies.sweep.swept import Swept, finished, refuse_unasked
from panbudget.studies.sweep.usable import absent_sites, refuse_sites
from panbudget.studies.sweep.workers import answering, run_jobs

# as measured on one rented core; see tests/benchmarks/README.md
_INTERPRETED = 8.0e-6  # seconds a bed-day
_COMPILED = 6.0e-8
_SECONDS_A_DAY_READ = 1.6e-5  # of a site's record
_SECONDS_A_SEASON = 1.0e-4  # of a design and year at a site: making ready, adding up
_WORKER_BYTES = 2.6e8
_READ_A_SECOND, _WRITTEN_A_SECOND = 1.5e8, 3.0e8  # of a grid, unpacked, and of its copy by cells [bytes]
#: interpreted seconds from which a compiler pays for itself, and worker processes do
_WORTH_COMPILING = 6.0
_WORTH_LOADING = 2.0  # what an earlier process has compiled
_WORTH_PROCESSES = 8.0


@dataclass(frozen=True)
class Estimate:
    """
    What a plan would take.

    Parameters
    ----------
    sites, years, designs, beds : int
        Beds of all designs together.
    years_known : bool
        False where each record's own count.
    rows, parts, processes : int
    bed_days : float
    memory_bytes : float
        Of all processes together.
    seconds : float
        Of all, at the speed of the machine that the constants were measured on.
    compiled : bool
    left_out : int
        Cells of a grid without weather (sea), latitude, longitude or height.
    grid_bytes, copy_bytes : float
        How much is read of a grid, and how large its copy by cells is.
    """

    sites: int
    years: int
    years_known: bool
    designs: int
    beds: int
    rows: int
    parts: int
    processes: int
    bed_days: float
    memory_bytes: float
    seconds: float
    compiled: bool
    left_out: int
    grid_bytes: float = 0.0
    copy_bytes: float = 0.0


@dataclass(frozen=True)
class Progress:
    """How far a sweep is: parts of parts, seasons a second, seconds left (not a number before any is known)."""

    done: int
    parts: int
    seasons_a_second: float
    seconds_left: float


def estimate(plan: Plan, processes: int | None = None) -> Estimate:
    """
    Estimate what a plan would take, without reading any weather.

    Parameters
    ----------
    plan : Plan
    processes : int, optional
        The machine's cores if left out.
    """
    asked, grid = plan.years(), plan.grid
    years = len(asked) if asked is not None else 40
    sites = len(plan.places)
    rows = sites * years * plan.rows_a_year
    bed_days = float(rows) * ((plan.base.season.end - plan.base.season.start).days + 1)
    from_which = _WORTH_LOADING if is_kept(engine.run_season) else _WORTH_COMPILING
    compiled = bed_days * _INTERPRETED >= from_which and has_compiler()
    work = bed_days * (_COMPILED if compiled else _INTERPRETED)
    work += sites * years * 365.0 * _SECONDS_A_DAY_READ
    work += sites * years * len(plan.designs) * _SECONDS_A_SEASON
    sites_a_job, designs_a_job = how_many(plan)
    parts = math.ceil(sites / sites_a_job) * math.ceil(len(plan.designs) / designs_a_job)
    if processes is None and work >= _WORTH_PROCESSES:
        processes = min(os.cpu_count() or 1, parts)
    workers = max(processes or 1, 1)
    a_record = years * 366.0 * 8.0 * 60.0  # some sixty columns while a record is read
    at_once = sites_a_job if grid is not None else 1
    a_part = sites_a_job * designs_a_job / len(plan.designs) * plan.rows_a_year * years * 8.0 * 60.0 * 3.0
    read, copied = (grid.read_bytes, grid.copy_bytes) if grid is not None else (0.0, 0.0)
    begun = 2.0 if compiled or workers > 1 else 0.0
    return Estimate(
        sites=sites,
        years=years,
        years_known=asked is not None,
        designs=len(plan.designs),
        beds=plan.rows_a_year,
        rows=rows,
        parts=parts,
        processes=workers,
        bed_days=bed_days,
        memory_bytes=(workers + 1) * _WORKER_BYTES + workers * (a_record * at_once + a_part) + sites * 600.0,
        seconds=work / workers + read / _READ_A_SECOND + copied / _WRITTEN_A_SECOND + begun,
        compiled=compiled,
        left_out=plan.left_out,
        grid_bytes=read,
        copy_bytes=copied,
    )


def sweep(
    plan: Plan | str | Path,
    out: str | Path | None = None,
    *,
    variants: Sequence[str] = (),
    scheduler: str | None = None,
    processes: int | None = None,
    keep_going: bool = False,
    overwrite: bool = False,
    compiler: bool | None = None,
    limit: int | None = None,
    to: Sequence[str] = (),
    maps: Sequence[str] = (),
    quantile: float | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Swept:
    """
    Run a plan, or go on with it where an earlier run was stopped.

    Parameters
    ----------
    plan : Plan or path
    out : path, optional
        Folder of the results; made if missing; named after the plan, in the present folder, if left out. What an earlier
        run of the same plan left there is kept.
    variants : sequence of str, optional
        Laid over the plan's scenario in order, where ``plan`` is a path.
    scheduler : str, optional
        Address of a dask scheduler, or the file that it wrote; local processes if left out.
    processes : int, optional
        How many of these; as many as the machine has cores, or one for a small plan, if left out.
    keep_going : bool
        Skip and count a site that can't be run, in place of stopping.
    overwrite : bool
        Start again.
    compiler : bool, optional
        Whether the engine goes through the compiler; by the plan's size if left out. The numbers are the same.
    limit : int, optional
        Take the first so many sites alone.
    to : sequence of str, optional
        What the dataset is written as beside Parquet: "zarr", "netcdf".
    maps : sequence of str, optional
        Columns of the dataset to draw as maps.
    quantile : float, optional
        Of the years, on those maps, such as 0.9; their mean if left out. [-]
    progress : callable, optional
        Called with a `Progress` after each part.

    Raises
    ------
    PanbudgetError
        A plan, a site or a folder that the user can mend. What is done is kept.
    """
    wants_extra("pyarrow", *(["distributed"] if scheduler else []))
    refuse_unasked(maps, quantile, to)
    plan = plan if isinstance(plan, Plan) else load_plan(plan, variants)
    plan = plan if limit is None else plan.limited(limit)
    folder = straight(f"{plan.path.stem}-sweep" if out is None else out)
    refuse_sites(plan, absent_sites(plan), keep_going=keep_going)
    expected = estimate(plan, processes)
    watch = _Watch(expected.parts, progress)
    kit = kit_of(plan, through_compiler=expected.compiled if compiler is None else compiler)
    if scheduler is not None:
        answering(scheduler)  # before anything is made or cleared
    with alone(folder):
        store = Store(folder, plan, overwrite=overwrite)
        with store.leaving_what_is_done():
            store.log(f"{len(plan.places)} sites, {expected.parts} parts, {expected.processes} processes: begun")
            run = functools.partial(run_jobs, kit, processes=expected.processes, scheduler=scheduler)
            bad = _run_all(plan, store, watch, run)
            refuse_sites(plan, {} if keep_going else bad)
        swept = finished(plan, store, watch.parts, kept=watch.kept, seconds=watch.seconds)
        _written_beside(swept, store, to, maps, quantile)
        swept = dataclasses.replace(swept, elapsed=watch.elapsed)
        store.log(f"{swept.rows} rows: finished in {swept.elapsed:.1f} s")
        return swept


def _written_beside(swept: Swept, store: Store, to: Sequence[str], maps: Sequence[str], quantile: float | None) -> None:
    """Write what was asked for beside Parquet, and log the years that sites run without."""
    for kind in to:
        swept.written(kind)
    for column in maps:
        for name, drawn in swept.map(column, quantile).items():
            store.write(f"figures/{name}", [drawn])
    for site, years in swept.skipped.items():
        store.log(f"site {site} runs without {', '.join(years)}: {'; '.join(dict.fromkeys(years.values()))}")


def _laid_by_cells(plan: Plan, store: Store) -> None:
    """Lay a grid out by cells, so that each of its chunks is read once; older copies make room."""
    from panbudget.studies.sweep.grid import copy_grid
    from panbudget.studies.sweep.gridded.cells import trim_copies

    assert plan.grid is not None
    grid = plan.folder, plan.described.sites, plan.grid, plan.places
    trim_copies(copy_grid(*grid, lambda name: store.log(f"reading {name} of the grid")))


@dataclass
class _Watch:
    """Counts parts, and says how fast they come."""

    parts: int
    report: Callable[[Progress], None] | None
    start: float = field(default_factory=time.perf_counter)
    kept: int = 0
    done: int = 0
    first: float = math.nan
    seasons: int = 0
    seconds: dict[str, float] = field(default_factory=dict)

    @property
    def elapsed(self) -> float:
        """Seconds since the start."""
        return time.perf_counter() - self.start

    def count(self, part: Part | None = None) -> None:
        """Count a part that was run; with none, one that an earlier run has done."""
        if part is None:
            self.kept += 1
        else:
            self.done += 1
            self.first = self.elapsed if self.done == 1 else self.first
            self.seasons += part.seasons
            self.seconds |= {name: self.seconds.get(name, 0.0) + value for name, value in part.seconds.items()}
        if self.report is not None:
            done, elapsed = self.done + self.kept, self.elapsed
            # the first part waits for the compiler, and tells nothing of those to come
            remaining = (self.parts - done) * (elapsed - self.first) / (self.done - 1) if self.done > 1 else math.nan
            self.report(Progress(done, self.parts, self.seasons / max(elapsed, 1e-9), remaining))


def _run_all(
    plan: Plan, store: Store, watch: _Watch, run: Callable[[Iterator[Job]], Iterable[Part]]
) -> dict[str, Sequence[str]]:
    """Run what no earlier run has done, and return the sites that can't be run and why."""
    store.trim(watch.parts)
    bad: dict[str, Sequence[str]] = {}
    for part in run(_waiting(plan, store, watch, bad)):
        bad.update(part.bad)
        store.write_part(part.index, part.payload)
        store.log(f"part {part.index}: {part.rows} rows")
        watch.count(part)
    trim_weather()
    for name, lines in bad.items():
        store.log(f"site {name} can't be run: {'; '.join(lines)}")
    return bad


def _waiting(plan: Plan, store: Store, watch: _Watch, bad: dict[str, Sequence[str]]) -> Iterator[Job]:
    """Jobs that no earlier run has done, looked up as they are wanted; done ones are counted, and their bad sites noted."""
    laid = False
    for job in cut(plan):
        done = store.done(job)
        if done is None:
            if plan.grid is not None and not laid:
                _laid_by_cells(plan, store)
                laid = True
            yield dataclasses.replace(job, known=store.at_hand(job))
        else:
            bad.update(done["bad"])
            watch.count()
