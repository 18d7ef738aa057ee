"""
Jobs: a plan cut into parts that fit in memory, and one part's work. The cut depends on the plan alone, so that any
machine, with any number of workers, writes the same files.
"""

from __future__ import annotations

import datetime as dt
import functools
import math
import pickle
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from panbudget.errors import ClosureError, PanbudgetError, Problem, ScenarioError, WeatherError
from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.season.layout import Bundle, Design, Row, bundle_of
from panbudget.season.years import moved, years_at_hand
from panbudget.studies.sweep.compute import COLUMNS, Engine, season_columns
from panbudget.studies.sweep.plan import Plan, Sites
from panbudget.studies.sweep.site import Place, SiteRecord, grid_evapotranspiration, read_site
from panbudget.weather import Weather
from panbudget.words import calendar_day

#: years that a record counts as where the plan takes all it has
_YEARS_UNKNOWN = 40
_MOST_SITES = 8
#: controllers that the engine steps side by side: more than this, and their days no longer fit near the processor
_SIDE_BY_SIDE = 12


@dataclass(frozen=True)
class Job:
    """Some sites under some designs; all years."""

    index: int
    places: tuple[Place, ...]
    first_design: int
    after_design: int


@dataclass(frozen=True)
class Kit:
    """What every job needs of the plan."""

    base: Scenario
    designs: tuple[Design, ...]
    years: list[int] | None
    folder: Path
    sites: Sites
    through_compiler: bool
    fingerprint: str


class BadSite(NamedTuple):
    """A site that can't be run, and why, a line each."""

    name: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Rows:
    """
    A site's rows: every row of the designs in turn, and within it year after year.

    Parameters
    ----------
    place : Place
    rows : tuple of Row
    years : int
    columns : dict
        Name -> (rows · years,)
    """

    place: Place
    rows: tuple[Row, ...]
    years: int
    columns: dict[str, Floats]


@dataclass(frozen=True)
class Part:
    """
    What a job came to.

    Parameters
    ----------
    index : int
    payload : bytes
        A Parquet file.
    rows, sites, seasons : int
    bed_days : float
    bad : tuple of BadSite
    seconds : dict
        What took how long.
    """

    index: int
    payload: bytes
    rows: int
    sites: int
    seasons: int
    bed_days: float
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

    Parameters
    ----------
    plan : Plan

    Yields
    ------
    Job
    """
    sites, designs = how_many(plan)
    index = 0
    for first in range(0, len(plan.places), sites):
        for design in range(0, len(plan.designs), designs):
            after = min(design + designs, len(plan.designs))
            yield Job(index, tuple(plan.places[first : first + sites]), design, after)
            index += 1


def kit_of(plan: Plan, *, through_compiler: bool) -> bytes:
    """Return what the workers need of a plan, to be sent to them."""
    kit = Kit(
        plan.base,
        plan.designs,
        plan.years(),
        plan.folder.resolve(),
        plan.described.sites,
        through_compiler,
        plan.fingerprint,
    )
    return pickle.dumps(kit)


@functools.lru_cache(maxsize=2)
def _unpacked(kit: bytes) -> tuple[Kit, Engine]:
    unpacked: Kit = pickle.loads(kit)
    return unpacked, Engine(unpacked.through_compiler)


@functools.lru_cache(maxsize=4)
def _bundles(kit: bytes, first: int, after: int) -> tuple[Bundle, ...]:
    designs = _unpacked(kit)[0].designs[first:after]
    groups: list[list[Design]] = [[]]
    for design in designs:
        held = sum(len(other.scenario.controller) for other in groups[-1])
        if groups[-1] and held + len(design.scenario.controller) > _SIDE_BY_SIDE:
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
    about, run = _unpacked(kit)
    bundles = _bundles(kit, job.first_design, job.after_design)
    clock.tick("making ready")
    good: list[Rows] = []
    bad: list[BadSite] = []
    marks: dict[str, str] = {}
    for place, record, problem in _records(about, job.places, marks, clock):
        if record is None:
            bad.append(BadSite(place.name, problem))
            continue
        try:
            years = _years(about, record)
            good.append(_rows(about, record, bundles, years, run))
        except ClosureError:
            raise
        except PanbudgetError as error:
            bad.append(BadSite(place.name, tuple(error.text().split("\n"))))
        clock.tick("seasons")
    payload = part_bytes(good, about.base, about.fingerprint, job.index, marks, bad)
    clock.tick("writing")
    rows = sum(len(part.rows) * part.years for part in good)
    days = (about.base.season.end - about.base.season.start).days + 1
    return Part(
        index=job.index,
        payload=payload,
        rows=rows,
        sites=len(good),
        seasons=sum(part.years for part in good) * (job.after_design - job.first_design),
        bed_days=float(rows * days),
        bad=tuple(bad),
        seconds=clock.seconds,
    )


class _Clock:
    """Says what took how long."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._last = time.perf_counter()

    def tick(self, name: str) -> None:
        now = time.perf_counter()
        self.seconds[name] = self.seconds.get(name, 0.0) + now - self._last
        self._last = now


def _records(
    about: Kit, places: Sequence[Place], marks: dict[str, str], clock: _Clock
) -> Iterator[tuple[Place, SiteRecord | None, tuple[str, ...]]]:
    """Each place's record, or why there is none. Of a table one is held at a time, of a grid all of a job."""
    start, end = _span(about)
    if about.sites.grid is None:
        for place in places:
            try:
                weather = read_site(place, about.base, str(about.folder / place.file), start, end)
            except (WeatherError, ScenarioError) as error:
                clock.tick("reading")
                yield place, None, tuple(error.text().split("\n"))
                continue
            marks[place.name] = weather.provenance["sha256"]
            clock.tick("reading")
            record = SiteRecord(place, weather)
            clock.tick("ETo")
            yield place, record, ()
        return
    from panbudget.studies.sweep.grid import read_cells

    read = read_cells(about.folder, about.sites, places, about.base.weather, start, end)
    clock.tick("reading")
    sound = [(place, weather) for place, weather in read if isinstance(weather, Weather)]
    together = len({(len(weather.daily), weather.daily.index[0]) for _, weather in sound}) == 1
    eto: list[Floats | None] = [None] * len(sound)
    if together:
        eto = [*grid_evapotranspiration([place for place, _ in sound], [weather for _, weather in sound])]
    clock.tick("ETo")
    computed = iter(eto)
    for place, found in read:
        if isinstance(found, Weather):
            yield place, SiteRecord(place, found, next(computed)), ()
        else:
            yield place, None, found


def _span(about: Kit) -> tuple[Any, Any]:
    """Days that must be sound; a record's own where all its years are wanted."""
    if about.years is None:
        return None, None
    season = about.base.season
    own = season.start.year
    start = moved(season.start, about.years[0] - own) - dt.timedelta(days=season.spin_up_days)
    return start, moved(season.end, about.years[-1] - own)


def _years(about: Kit, record: SiteRecord) -> list[int]:
    if about.years is not None:
        return about.years
    season = about.base.season
    held = record.index[0].date(), record.index[-1].date()
    years = years_at_hand(about.base, record.weather, season.start, season.end)
    if season.spin_up_days:
        own = season.start.year
        years = [
            year
            for year in years
            if record.span(
                moved(season.start, year - own) - dt.timedelta(days=season.spin_up_days), moved(season.end, year - own)
            )
        ]
    if not years:
        season_days = f"{calendar_day(season.start)} to {calendar_day(season.end)}"
        found = f"holds no whole season {season_days}: it runs from {held[0]} to {held[1]}"
        problem = Problem("no-season", "", found, cure="add days, or shorten the season")
        raise ScenarioError(problem, file=record.place.file)
    return years


def _rows(about: Kit, record: SiteRecord, bundles: Sequence[Bundle], years: list[int], run: Engine) -> Rows:
    found: list[dict[str, Floats]] = []
    rows: list[Row] = []
    for bundle in bundles:
        columns = season_columns(record, bundle, about.base.season, years, run)
        n = len(bundle.rows)
        # year after year as it was run; row after row as it is kept
        found.append({name: values.reshape(len(years), n).T.ravel() for name, values in columns.items()})
        rows.extend(bundle.rows)
    joined = {name: np.concatenate([part[name] for part in found]) for name in COLUMNS}
    return Rows(record.place, tuple(rows), len(years), joined)
