"""
Jobs: a plan cut into parts that fit in memory, and one part's work. The cut depends on the plan alone, so that any machine,
with any number of workers, writes the same files.
"""

import dataclasses
import functools
import itertools
import math
import pickle
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import PanbudgetError, ScenarioError, WeatherError
from panbudget.numeric import Floats
from panbudget.physics.evaporation import reference_evapotranspiration
from panbudget.season.layout import Bundle, Design, bundle_of
from panbudget.season.years import Years, moved
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.compute import COLUMNS, Engine, season_columns
from panbudget.studies.sweep.kept import Read, kept_or_read
from panbudget.studies.sweep.marks import at_hand, code_mark
from panbudget.studies.sweep.plan import Plan
from panbudget.studies.sweep.site import Place, SiteRecord, SiteRows, grid_evapotranspiration, open_site
from panbudget.studies.sweep.usable import Runs, about_site, with_made_days, years_of
from panbudget.weather import Weather
from panbudget.weather.clean import WeatherFile

#: years that a record counts as where the plan takes all it has
_YEARS_UNKNOWN = 40
_MOST_SITES = 8
#: controllers that the engine steps side by side: more than this, and their days no longer fit near the processor
_SIDE_BY_SIDE = 12


@dataclass(frozen=True)
class Job:
    """Some sites under some designs; all years; rows that are ``known`` already."""

    index: int
    places: tuple[Place, ...]
    first_design: int
    after_design: int
    known: pd.DataFrame | None = field(default=None, compare=False)


class BadSite(NamedTuple):
    """A site that can't be run, and why, a line each."""

    name: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Part:
    """
    What a job came to.

    Parameters
    ----------
    index : int
    payload : bytes
        A Parquet file.
    rows, seasons : int
    bad : tuple of BadSite
    seconds : dict
        What took how long.
    """

    index: int
    payload: bytes
    rows: int
    seasons: int
    bad: tuple[BadSite, ...]
    seconds: dict[str, float] = field(default_factory=dict)


def how_many(plan: Plan) -> tuple[int, int]:
    """Return sites of a job, and designs of a job."""
    years = len(plan.years() or range(_YEARS_UNKNOWN))
    room = plan.described.output.rows_per_file
    a_design = math.ceil(plan.rows_a_year / len(plan.designs)) * years
    designs = max(min(room // a_design, len(plan.designs)), 1)
    if designs < len(plan.designs):
        return 1, designs
    return max(min(room // (plan.rows_a_year * years), _MOST_SITES), 1), designs


def cut(plan: Plan) -> Iterator[Job]:
    """
    Cut a plan into jobs, in the order of their files.
    """
    sites, designs = how_many(plan)
    starts = itertools.product(range(0, len(plan.places), sites), range(0, len(plan.designs), designs))
    for index, (first, design) in enumerate(starts):
        after = min(design + designs, len(plan.designs))
        yield Job(index, tuple(plan.places[first : first + sites]), design, after)


def kit_of(plan: Plan, *, through_compiler: bool) -> bytes:
    """Return what the workers need of a plan, to be sent to them: all but its places."""
    anywhere: dict[str, Any] = {"path": plan.path.absolute(), "base": plan.base.at(plan.base.path.absolute())}
    return pickle.dumps((dataclasses.replace(plan, **anywhere, places=()), through_compiler))


@functools.lru_cache(maxsize=2)
def _unpacked(kit: bytes) -> tuple[Plan, Engine]:
    plan, through_compiler = pickle.loads(kit)
    if plan.marks.code != code_mark():
        raise PanbudgetError(problem("other-code"))
    return plan, Engine(through_compiler)


@functools.lru_cache(maxsize=8)
def _bundles(kit: bytes, chosen: tuple[int, ...]) -> tuple[Bundle, ...]:
    groups: list[list[Design]] = [[]]
    for design in (_unpacked(kit)[0].designs[at] for at in chosen):
        beside = sum(len(other.scenario.controller) for other in groups[-1])
        if groups[-1] and beside + len(design.scenario.controller) > _SIDE_BY_SIDE:
            groups.append([])
        groups[-1].append(design)
    return tuple(bundle_of(group) for group in groups)


def run_job(kit: bytes, job: Job) -> Part:
    """
    Run a job.

    Parameters
    ----------
    kit : bytes
        As `kit_of` makes it.
    job : Job

    Returns
    -------
    Part
        Bad sites in it are named, not raised: whether they stop the sweep is for the caller to say.

    Raises
    ------
    ClosureError
        A balance that does not close, which is never a site's fault.
    """
    from panbudget.studies.sweep.store import part_bytes

    clock = _Clock()
    plan, _ = _unpacked(kit)
    clock.tick("making ready")
    runs_of = _runs_of(plan, job.places, clock)
    tables: list[SiteRows] = []
    bad: list[BadSite] = []
    marks: dict[str, str] = {}
    about: dict[str, dict[str, Any]] = {}
    seasons = 0
    for place in job.places:
        try:
            readable = runs_of[place.name]
            if isinstance(readable, PanbudgetError):
                raise readable
            runs, skipped = readable
            if place.cell is None:
                marks[place.name] = runs[0][0].weather.provenance["sha256"]
            tables.append(_rows(kit, job, place, runs))
            about[place.name] = about_site(plan, runs, skipped)
            seasons += sum(len(years) for _, years in runs) * (job.after_design - job.first_design)
        except (WeatherError, ScenarioError) as error:
            bad.append(BadSite(place.name, tuple(error.text().split("\n"))))
        clock.tick("seasons")
    run = plan.designs[job.first_design : job.after_design]
    designs = {design.name: plan.marks.designs[design.name] for design in run}
    content = {
        **{"plan": plan.fingerprint, "part": job.index, "weather": marks, "bad": bad, "sites": about},
        **{"designs": designs, "all_years": plan.years() is None},
        "places": {place.name: repr(place) for place in job.places if place.name in marks},
    }
    payload = part_bytes(tables, content)
    clock.tick("writing")
    rows = sum(len(table.columns["row"]) for table in tables)
    return Part(job.index, payload, rows, seasons, tuple(bad), clock.seconds)


class _Clock:
    """Says what took how long."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._last = time.perf_counter()

    def tick(self, name: str) -> None:
        now = time.perf_counter()
        self.seconds[name] = self.seconds.get(name, 0.0) + now - self._last
        self._last = now


def _runs_of(
    plan: Plan, places: Sequence[Place], clock: _Clock
) -> dict[str, tuple[Runs, dict[int, str]] | PanbudgetError]:
    """By a place's name: its runs and the years left out, or what is wrong with it."""
    grid: Sequence[WeatherFile] = ()
    if plan.grid is not None:
        from panbudget.studies.sweep.grid import read_cells

        grid = read_cells(plan.folder, plan.described.sites, plan.grid, places, plan.base)
    years: dict[str, Years | PanbudgetError] = {}
    eto: dict[int, Floats] = {}
    for at, place in enumerate(places):
        try:
            if plan.grid is not None:
                years[place.name] = with_made_days(years_of(plan, place, grid[at]), plan.grid.days.made)
                continue
            with at_hand(plan.folder, place.file) as path:
                read = functools.partial(_read, plan, place, path)
                years[place.name], of_runs = kept_or_read(place, plan.base, path, plan.years(), read)
            eto |= of_runs
        except (WeatherError, ScenarioError) as error:
            years[place.name] = error
    clock.tick("reading")
    # cells whose clean days are one run: ETo of those that have the same days is computed together
    whole = [
        (place, next(iter(part.weather.values())))
        for place in places
        if grid and isinstance(part := years[place.name], Years) and len({*map(id, part.weather.values())}) == 1
    ]
    if len({(len(weather.daily), weather.daily.index[0]) for _, weather in whole}) == 1:
        cells, weathers = zip(*whole, strict=True)
        eto |= dict(zip(map(id, weathers), grid_evapotranspiration(cells, weathers), strict=True))
    runs = {
        place.name: (_records(place, part.weather, eto), part.left_out) if isinstance(part, Years) else part
        for place in places
        for part in [years[place.name]]
    }
    clock.tick("ETo")
    return runs


def _read(plan: Plan, place: Place, path: Path) -> Read:
    """A place's years, from its file, and the ETo of their runs."""
    years, site = years_of(plan, place, open_site(place, plan.base, str(path))), place.site()
    runs = {id(weather): weather for weather in years.weather.values()}
    where = {"latitude": site.latitude, "elevation": site.elevation}
    eto = {run: reference_evapotranspiration(weather.daily, **where) for run, weather in runs.items()}
    return years, {run: np.ascontiguousarray(values, dtype=np.float64) for run, values in eto.items()}


def _records(place: Place, weathers: dict[int, Weather], eto: dict[int, Floats]) -> Runs:
    """A record for each run of clean days, with its years."""
    by_run: dict[int, list[int]] = {}
    for year, weather in weathers.items():
        by_run.setdefault(id(weather), []).append(year)
    return [(SiteRecord(place, weathers[years[0]], eto.get(run)), years) for run, years in by_run.items()]


@functools.lru_cache(maxsize=8)
def _beds(kit: bytes, first: int, after: int) -> dict[tuple[str, ...], int]:
    """Some designs' beds, by design, controller and bed -> their place among the rows of a year."""
    designs = _unpacked(kit)[0].designs[first:after]
    valves = [(design.name, *item) for design in designs for item in design.scenario.controller.items()]
    beds = ((design, name, bed) for design, name, valve in valves for bed in valve.bed)
    return {key: at for at, key in enumerate(beds)}


def _rows(kit: bytes, job: Job, place: Place, runs: Runs) -> SiteRows:
    """A site's rows: every bed of the designs in turn, and within it year after year."""
    plan, engine = _unpacked(kit)
    season, years = plan.base.season, [year for _, held in runs for year in held]
    names, parts = _beds(kit, job.first_design, job.after_design), list[dict[str, Any]]()
    computed = set[tuple[str, int]]()
    if job.known is not None:
        known = job.known[(job.known["site"] == place.name) & job.known["year"].isin(years)]
        computed = set(zip(known["design"], known["year"], strict=True))
        keys = zip(known["design"], known["controller"], known["bed"], strict=True)
        numbers = {name: known[name].to_numpy() for name in ("area_m2", *COLUMNS)}
        parts = [{"row": np.array([names[key] for key in keys], int), **numbers}]
    by_missing: dict[tuple[int, ...], list[int]] = {}
    for at in range(job.first_design, job.after_design):
        missing = tuple(year for year in years if (plan.designs[at].name, year) not in computed)
        by_missing.setdefault(missing, []).append(at)
    for missing, designs in by_missing.items():
        of_runs = [(record, [year for year in held if year in missing]) for record, held in runs]
        for bundle in _bundles(kit, tuple(designs)) if missing else ():
            places = np.array([names[row[:3]] for row in bundle.rows], int)
            heads = {"row": places, "area_m2": bundle.by_row("area").astype(float)}
            parts += [
                {name: np.tile(values, len(held)) for name, values in heads.items()}
                | season_columns(record, bundle, season, held, engine)
                for record, held in of_runs
                if held
            ]
    whole = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    order = np.lexsort((whole["year"], whole["row"]))
    columns = {name: values[order] for name, values in whole.items()}
    held, which = np.unique(columns["year"].astype(int), return_inverse=True)
    for name, day in (("start", season.start), ("end", season.end)):
        columns[name] = np.array([moved(day, year - season.start.year) for year in held.tolist()], "M8[D]")[which]
    return SiteRows(place, list(names), columns)
