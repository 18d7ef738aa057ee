"""
Run: a plan from beginning to end: what is done already, what is left, the parts as they come, and what they come to.
"""

from __future__ import annotations

import dataclasses
import importlib
import io
import json
import math
import os
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from panbudget.engine.compiled import has_compiler
from panbudget.errors import PanbudgetError, Problem
from panbudget.extras import wants_extra
from panbudget.studies.sweep.cluster import run_jobs
from panbudget.studies.sweep.jobs import BadSite, Job, Part, cut, how_many, kit_of
from panbudget.studies.sweep.plan import Plan, load_plan
from panbudget.studies.sweep.store import Store
from panbudget.studies.sweep.summary import Choice, Summary, summarised

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
    bed_days = float(rows) * plan.season_days
    compiled = bed_days * _INTERPRETED >= _WORTH_COMPILING and has_compiler()
    work = (
        bed_days * (_COMPILED if compiled else _INTERPRETED)
        + sites * years * 365.0 * _SECONDS_A_DAY_READ
        + sites * years * len(plan.designs) * _SECONDS_A_SEASON
    )
    sites_a_job, designs_a_job = how_many(plan)
    parts = math.ceil(sites / sites_a_job) * math.ceil(len(plan.designs) / designs_a_job)
    if processes is None:
        processes = min(os.cpu_count() or 1, parts) if work >= _WORTH_PROCESSES else 1
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
        processes=max(processes, 1),
        bed_days=bed_days,
        memory_bytes=(max(processes, 1) + 1) * _WORKER_BYTES
        + max(processes, 1) * (a_record * at_once + a_part)
        + sites * 600.0,
        seconds=work / max(processes, 1) + (2.0 if compiled or processes > 1 else 0.0),
        compiled=compiled,
        left_out=plan.left_out,
    )


def sweep(
    plan: Plan | str | Path,
    out: str | Path,
    *,
    scheduler: str | None = None,
    processes: int | None = None,
    keep_going: bool = False,
    overwrite: bool = False,
    compiler: bool | None = None,
    told: Callable[[Progress], None] | None = None,
) -> Swept:
    """
    Run a plan, or go on with it where an earlier run was stopped.

    Parameters
    ----------
    plan : Plan or path
    out : path
        Folder of the results; made if missing. What an earlier run of the same plan left there is kept.
    scheduler : str, optional
        Address of a dask scheduler; local processes if left out.
    processes : int, optional
        How many of these; as many as the machine has cores, or one for a small plan, if left out.
    keep_going : bool
        Skip and count a site that can't be run, in place of stopping.
    overwrite : bool
        Start again.
    compiler : bool, optional
        Whether the engine goes through the compiler; by the plan's size if left out. The numbers are the same.
    told : callable, optional
        Told how far it is.

    Returns
    -------
    Swept

    Raises
    ------
    PanbudgetError
        A plan, a site or a folder that the user can mend. What is done is kept.
    """
    wants_extra("pyarrow", *(["distributed"] if scheduler else []))
    started = time.perf_counter()
    if not isinstance(plan, Plan):
        plan = load_plan(plan)
    expected = estimate(plan, processes)
    about = {"title": plan.described.title, "sites": len(plan.places), "designs": [d.name for d in plan.designs]}
    store = Store(Path(out), plan.fingerprint, about, overwrite=overwrite)
    store.trim(expected.parts)
    kit = kit_of(plan, through_compiler=expected.compiled if compiler is None else compiler)
    watch = _Watch(expected.parts, told)
    seconds: Counter[str] = Counter()

    def left() -> Any:
        """Jobs that no earlier run has done, found as they are wanted."""
        for job in cut(plan):
            found = store.done(job, _weather_of(plan, job))
            if found is None:
                yield job
                continue
            if found["bad"] and not keep_going:
                raise _stopped([BadSite(name, tuple(lines)) for name, lines in found["bad"]], plan)
            watch.kept()

    for part in run_jobs(kit, left(), processes=expected.processes, scheduler=scheduler):
        if part.bad and not keep_going:
            raise _stopped(list(part.bad), plan)
        store.write_part(part.index, part.payload)
        seconds.update(part.seconds)
        watch.done(part)
    swept = _finished(plan, store, expected.parts)
    return dataclasses.replace(
        swept, kept=watch.kept_parts, seconds=dict(seconds), elapsed=time.perf_counter() - started
    )


def _weather_of(plan: Plan, job: Job) -> dict[str, Path] | None:
    if plan.described.sites.grid is not None:
        return None
    return {place.name: plan.folder / place.file for place in job.places}


def _stopped(bad: list[BadSite], plan: Plan) -> PanbudgetError:
    problems = [Problem("bad-site", f"site {site.name}:", line) for site in bad for line in site.lines]
    cure = Problem("bad-sites", "", "mend it and run again to go on, or skip such sites and count them")
    return PanbudgetError(*problems, cure, file=str(plan.path))


class _Watch:
    """Counts parts, and says how fast they come."""

    def __init__(self, parts: int, told: Callable[[Progress], None] | None) -> None:
        self.kept_parts = 0
        self._parts, self._told = parts, told
        self._done = self._seasons = 0
        self._start = time.perf_counter()

    def kept(self) -> None:
        self.kept_parts += 1
        self._say()

    def done(self, part: Part) -> None:
        self._done += 1
        self._seasons += part.seasons
        self._say()

    def _say(self) -> None:
        if self._told is None:
            return
        elapsed = time.perf_counter() - self._start
        left = self._parts - self._done - self.kept_parts
        remaining = left * elapsed / self._done if self._done else math.nan
        self._told(Progress(self._done + self.kept_parts, self._parts, self._seasons / max(elapsed, 1e-9), remaining))


def _finished(plan: Plan, store: Store, parts: int) -> Swept:
    """Write what the parts come to; from them alone, so that it depends on no run's history."""
    wish = plan.base.wishes.stress_days
    bad: list[BadSite] = []
    for index in range(parts):
        about = store.about(index)
        if about is None:
            raise PanbudgetError(
                Problem("part-gone", str(store.part(index)), "is gone again", cure="run once more to make it again")
            )
        for name, lines in about["bad"]:
            if not any(site.name == name for site in bad[-8:]):  # each part of its designs names it
                bad.append(BadSite(name, tuple(lines)))
    summary = Summary([], 0, 0)
    store.write_pieces("summary.csv", summarised((store.part(index) for index in range(parts)), wish, summary))
    choices, rows, seasons = summary.choices, summary.rows, summary.seasons
    frame = pd.DataFrame(
        [dataclasses.asdict(choice) for choice in choices], columns=[f.name for f in dataclasses.fields(Choice)]
    )
    from panbudget.files import write_csv

    buffer = io.StringIO()
    write_csv(frame.rename(columns={"litres": "litres_nine_in_ten", "stress_days": "stress_days_nine_in_ten"}), buffer)
    store.write("suits.csv", buffer.getvalue().encode())
    if plan.described.output.figures and any(math.isfinite(choice.longitude) for choice in choices):
        # found by name, as `extras.Reported` does: reports stand above
        map_files = importlib.import_module("panbudget.reports.sweep.map").map_files
        for name, drawn in map_files(choices, [d.name for d in plan.designs], plan.described.title, wish).items():
            store.write(f"figures/{name}", drawn)
    counts = Counter(choice.design for choice in choices)
    content = {
        "schema": 1,
        "title": plan.described.title,
        "note": plan.described.note,
        "plan": plan.fingerprint,
        "sites": len(plan.places),
        "sites_run": len(choices),
        "sites_skipped": len(bad),
        "cells_without_weather": plan.left_out,
        "seasons": seasons,
        "rows": rows,
        "parts": parts,
        "wish_stress_days": wish,
        "suits": {design.name: counts.get(design.name, 0) for design in plan.designs},
        "sites_that_no_design_suits": sum(not choice.keeps for choice in choices),
        "skipped": [{"site": site.name, "why": list(site.lines)} for site in bad],
    }
    store.write("sweep.json", (json.dumps(content, indent=1, ensure_ascii=False) + "\n").encode())
    return Swept(store.folder, rows, len(choices), seasons, tuple(bad), tuple(choices), 0, {}, 0.0)
