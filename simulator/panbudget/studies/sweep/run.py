"""
Run: a plan from beginning to end: what is done already, what is left, the parts as they come, and what they come to.
"""

import dataclasses
import math
import os
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from panbudget.engine.compiled import has_compiler
from panbudget.errors import PanbudgetError
from panbudget.extras import of_reports, wants_extra
from panbudget.files import json_bytes
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.jobs import BadSite, Job, Part, cut, how_many, kit_of
from panbudget.studies.sweep.plan import Plan, load_plan
from panbudget.studies.sweep.store import Store, alone
from panbudget.studies.sweep.summary import Choice, Summary, csv_bytes, summarised
from panbudget.studies.sweep.workers import run_jobs

# as measured on one rented core; see tests/benchmarks/README.md
_INTERPRETED = 8.0e-6  # seconds a bed-day
_COMPILED = 6.0e-8
_SECONDS_A_DAY_READ = 1.6e-5  # of a site's record
_SECONDS_A_SEASON = 1.0e-4  # of a design and year at a site: making ready, adding up
_WORKER_BYTES = 2.6e8
#: interpreted seconds from which a compiler pays for itself, and worker processes do
_WORTH_COMPILING = 6.0
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
        Cells of a grid without weather.
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


@dataclass(frozen=True)
class Progress:
    """How far a sweep is: parts of parts, seasons a second, seconds left (not a number before any is known)."""

    done: int
    parts: int
    seasons_a_second: float
    seconds_left: float


@dataclass(frozen=True)
class Swept:
    """
    A finished sweep.

    Parameters
    ----------
    folder : Path
    rows, sites, seasons : int
    bad : tuple of BadSite
        Skipped, and why.
    choices : tuple of Choice
    kept : int
        Parts that an earlier run had done.
    seconds : dict
        What took how long in the workers, this run.
    elapsed : float
    """

    folder: Path
    rows: int
    sites: int
    seasons: int
    bad: tuple[BadSite, ...]
    choices: tuple[Choice, ...]
    kept: int
    seconds: dict[str, float]
    elapsed: float


def estimate(plan: Plan, processes: int | None = None) -> Estimate:
    """
    Estimate what a plan would take, without reading any weather.

    Parameters
    ----------
    plan : Plan
    processes : int, optional
        The machine's cores if left out.

    Returns
    -------
    Estimate
    """
    asked = plan.years()
    years = len(asked) if asked is not None else 40
    sites = len(plan.places)
    rows = sites * years * plan.rows_a_year
    bed_days = float(rows) * ((plan.base.season.end - plan.base.season.start).days + 1)
    compiled = bed_days * _INTERPRETED >= _WORTH_COMPILING and has_compiler()
    work = bed_days * (_COMPILED if compiled else _INTERPRETED)
    work += sites * years * 365.0 * _SECONDS_A_DAY_READ
    work += sites * years * len(plan.designs) * _SECONDS_A_SEASON
    sites_a_job, designs_a_job = how_many(plan)
    parts = math.ceil(sites / sites_a_job) * math.ceil(len(plan.designs) / designs_a_job)
    if processes is None and work >= _WORTH_PROCESSES:
        processes = min(os.cpu_count() or 1, parts)
    workers = max(processes or 1, 1)
    a_record = years * 366.0 * 8.0 * 60.0  # some sixty columns while a record is read
    at_once = sites_a_job if plan.described.sites.grid is not None else 1
    a_part = sites_a_job * designs_a_job / len(plan.designs) * plan.rows_a_year * years * 8.0 * 60.0 * 3.0
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
        seconds=work / workers + (2.0 if compiled or workers > 1 else 0.0),
        compiled=compiled,
        left_out=plan.left_out,
    )


def sweep(
    plan: Plan | str | Path,
    out: str | Path,
    *,
    variants: Sequence[str] = (),
    scheduler: str | None = None,
    processes: int | None = None,
    keep_going: bool = False,
    overwrite: bool = False,
    compiler: bool | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Swept:
    """
    Run a plan, or go on with it where an earlier run was stopped.

    Parameters
    ----------
    plan : Plan or path
    out : path
        Folder of the results; made if missing. What an earlier run of the same plan left there is kept.
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
    progress : callable, optional
        Called with a `Progress` after each part.

    Returns
    -------
    Swept

    Raises
    ------
    PanbudgetError
        A plan, a site or a folder that the user can mend. What is done is kept.
    """
    wants_extra("pyarrow", *(["distributed"] if scheduler else []))
    if not isinstance(plan, Plan):
        plan = load_plan(plan, variants)
    expected = estimate(plan, processes)
    watch = _Watch(expected.parts, progress)
    kit = kit_of(plan, through_compiler=expected.compiled if compiler is None else compiler)

    def checked(bad: Iterable[Sequence[Any]]) -> None:
        if bad and not keep_going:
            problems = [problem("bad-site", f"site {name}:", line=line) for name, lines in bad for line in lines]
            raise PanbudgetError(*problems, problem("bad-sites"), file=str(plan.path))

    def waiting(store: Store) -> Iterator[Job]:
        """Jobs that no earlier run has done, looked up as they are wanted."""
        for job in cut(plan):
            done = store.done(job)
            if done is None:
                yield job
            else:
                checked(done["bad"])
                watch.count()

    with alone(Path(out)):
        store = Store(Path(out), plan, overwrite=overwrite)
        store.trim(expected.parts)
        for part in run_jobs(kit, waiting(store), processes=expected.processes, scheduler=scheduler):
            checked(part.bad)
            store.write_part(part.index, part.payload)
            watch.count(part)
        return _finished(plan, store, watch)


@dataclass
class _Watch:
    """Counts parts, and says how fast they come."""

    parts: int
    report: Callable[[Progress], None] | None
    start: float = field(default_factory=time.perf_counter)
    kept: int = 0
    done: int = 0
    seasons: int = 0
    seconds: dict[str, float] = field(default_factory=dict)

    def count(self, part: Part | None = None) -> None:
        """Count a part that was run; with none, one that an earlier run has done."""
        if part is None:
            self.kept += 1
        else:
            self.done += 1
            self.seasons += part.seasons
            self.seconds |= {name: self.seconds.get(name, 0.0) + value for name, value in part.seconds.items()}
        if self.report is not None:
            done, elapsed = self.done + self.kept, time.perf_counter() - self.start
            remaining = (self.parts - done) * elapsed / self.done if self.done else math.nan
            self.report(Progress(done, self.parts, self.seasons / max(elapsed, 1e-9), remaining))


def _finished(plan: Plan, store: Store, watch: _Watch) -> Swept:
    """Write what the parts come to; from them alone, so that it depends on no run's history."""
    wish = plan.base.wishes.stress_days
    bad: dict[str, BadSite] = {}  # each part of a site's designs names it
    for index in range(watch.parts):
        about = store.about(index)
        if about is None:
            raise PanbudgetError(problem("part-gone", str(store.part(index))))
        bad |= {name: BadSite(name, tuple(lines)) for name, lines in about["bad"] if name not in bad}
    summary = Summary([], 0, 0)
    store.seal()
    store.write("summary.csv", summarised(map(store.part, range(watch.parts)), wish, summary))
    choices, designs = summary.choices, [design.name for design in plan.designs]
    table = pd.DataFrame(choices, columns=[part.name for part in dataclasses.fields(Choice)])
    table = table.rename(columns={name: f"{name}_nine_in_ten" for name in ("litres", "stress_days")})
    store.write("suits.csv", [csv_bytes(table)])
    if plan.described.output.figures and any(math.isfinite(choice.longitude) for choice in choices):
        map_files = of_reports("sweep.map", "map_files")
        for name, drawn in map_files(choices, designs, plan.described.title, wish).items():
            store.write(f"figures/{name}", [drawn])
    counts = Counter(choice.design for choice in choices)
    content = {
        "schema": 1,
        "title": plan.described.title,
        "note": plan.described.note,
        "plan": plan.fingerprint,
        "scenario_sha256": plan.base.sha256,
        "laid_over": list(plan.base.laid_over),
        "sites": len(plan.places),
        "sites_run": len(choices),
        "sites_skipped": len(bad),
        "cells_without_weather": plan.left_out,
        "seasons": summary.seasons,
        "rows": summary.rows,
        "parts": watch.parts,
        "wish_stress_days": wish,
        "suits": {name: counts[name] for name in designs},
        "sites_that_no_design_suits": sum(not choice.keeps for choice in choices),
        "skipped": [{"site": site.name, "why": site.lines} for site in bad.values()],
    }
    store.write("sweep.json", [json_bytes(content)])
    elapsed, skipped = time.perf_counter() - watch.start, tuple(bad.values())
    counted = summary.rows, len(choices), summary.seasons
    return Swept(store.folder, *counted, skipped, tuple(choices), watch.kept, watch.seconds, elapsed)
