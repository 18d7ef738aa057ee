"""
Settings: many pans, refill flows and draws at once over one year's weather, through the same engine as a replay.

A setting is one pan area, refill flow, swing and emitter counts for one valve. Each is laid out once for every draw of
what is uncertain, as a design of its own, with that valve's beds behind it and, where it stands on a tank, the tank to
itself. Units as in the engine.
"""

from __future__ import annotations

import concurrent.futures
import dataclasses
import functools
import itertools
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

import numpy as np

from panbudget.engine import season as engine
from panbudget.engine.arrays import Results, State, empty_results
from panbudget.engine.compiled import compiled, has_compiler
from panbudget.numeric import Floats
from panbudget.season.layout import Bundle, Forcing, lay_out
from panbudget.season.result import Season
from panbudget.season.run import first_morning, run_forcing
from panbudget.season.totals import add_up
from panbudget.studies.ranges import ValveFactors

_HOT_DAYS = 7
#: seasons from which a compiler pays for itself, if there is one
_WORTH_COMPILING = 1500
_WORTH_PROCESSES = 400
#: told how many parts of how many are done
Done = Callable[[int, int], None]
Parts = TypeVar("Parts")
_CHUNK = 100  # designs handed over at once, or the draws of one setting


class Setting(NamedTuple):
    """One valve's pan, refill and emitters."""

    area: float  # m²
    depth: float  # mm, floor to rim
    refill_flow: float  # L/h
    swing: float  # kg
    emitters: tuple[float, ...] = ()  # times the described count, by bed; empty as described
    label: str = ""  # what it is built from, where it is from things at hand
    pieces: int = 0  # of how many things at hand, beyond a pan and an emitter


@dataclass(frozen=True)
class YearForcing:
    """
    What one valve and its beds see in one year.

    Parameters
    ----------
    forcing : Forcing
        Of the whole garden.
    began : State
        Its first morning.
    controller : int
        The valve's place.
    hottest : slice
        Days of the hottest week.
    net_demand : ndarray (beds,)
        Exact refill. [mm]
    """

    forcing: Forcing
    began: State
    controller: int
    hottest: slice
    net_demand: Floats


@dataclass(frozen=True)
class Outcome:
    """
    What settings came to in one year; arrays (settings, draws) or (settings, draws, beds).

    Parameters
    ----------
    litres : ndarray (settings, draws)
        All that passed the valve. [L]
    openings_a_day : ndarray (settings, draws)
        In the hottest week. [1/day]
    open_hours, stuck_hours, starved_hours, dry_hours : ndarray (settings, draws)
        Starved: open without water, since the tank is empty. [h]
    daylight_openings : ndarray (settings, draws)
        Share of openings that began between sunrise and sunset; not a number where not asked for. [-]
    stress_days : ndarray (settings, draws, beds)
        Of the driest quarter.
    adequacy : ndarray (settings, draws, beds)
        ETa ÷ ETc of the driest quarter, growing days. [-]
    supply : ndarray (settings, draws, beds)
        Of the bed's mean, on growing days. [mm]
    wasted : ndarray (settings, draws)
        Deep percolation of all beds. [L]
    """

    litres: Floats
    openings_a_day: Floats
    open_hours: Floats
    stuck_hours: Floats
    starved_hours: Floats
    dry_hours: Floats
    daylight_openings: Floats
    stress_days: Floats
    adequacy: Floats
    supply: Floats
    wasted: Floats


def year_forcing(season: Season, controller: str) -> YearForcing:
    """
    Take one valve out of a replay.

    Parameters
    ----------
    season : Season
        Of the garden as described, in that year.
    controller : str

    Returns
    -------
    YearForcing
    """
    tmax = season.days["tmax_c"].to_numpy(float)
    length = min(_HOT_DAYS, len(tmax))
    means = np.convolve(tmax, np.full(length, 1.0 / length), mode="valid")
    first = int(np.argmax(np.round(means, 9)))
    demand = [season.totals["beds"][f"{controller}/{bed}"] for bed in season.scenario.controller[controller].bed]
    return YearForcing(
        forcing=season.forcing,
        began=season.began,
        controller=list(season.controllers).index(controller),
        hottest=slice(first, first + length),
        net_demand=np.array([bed["net_demand_mm"] for bed in demand]),
    )


def as_described(beds: int) -> ValveFactors:
    """Return the one draw that changes nothing."""
    return ValveFactors(np.ones(1), np.ones(1), np.ones(1), np.ones((1, beds)))


def outcomes(
    years: Sequence[YearForcing],
    settings: Sequence[Setting],
    *,
    draws: ValveFactors | None = None,
    times: bool = False,
    done: Done | None = None,
) -> list[Outcome]:
    """
    Step every setting through every year.

    Parameters
    ----------
    years : sequence of YearForcing
    settings : sequence of Setting
    draws : ValveFactors, optional
        Over which each setting is stepped; as described where left out.
    times : bool
        Whether openings' times of day are wanted.
    done : callable, optional
        Told how many parts of how many are done.

    Returns
    -------
    list of Outcome
        One a year.

    Notes
    -----
    A large job goes through a compiler if one is installed (numba), or else over the machine's cores; the numbers are
    the same whichever way.
    """
    if not len(settings):
        raise ValueError("no settings were given")
    count = 1 if draws is None else len(draws.exposure)
    at_once = max(_CHUNK // count, 1)
    chunks = [settings[at : at + at_once] for at in range(0, len(settings), at_once)]
    bundles = [_designs(years[0], chunk, draws) for chunk in chunks]
    jobs = [(year, bundle, times) for year in range(len(years)) for bundle in range(len(bundles))]
    seasons = len(years) * len(settings) * count

    def outcome_of(job: tuple[int, int, bool], run: Callable[..., int] = engine.run_season) -> Outcome:
        return _outcome(years[job[0]], bundles[job[1]], times, run)

    if seasons >= _WORTH_COMPILING and has_compiler():
        through = functools.partial(outcome_of, run=compiled(engine.run_season))  # lets other threads run meanwhile
        found = [through(jobs[0])]  # compiles
        with concurrent.futures.ThreadPoolExecutor(os.cpu_count() or 1) as threads:
            found += _counted(threads.map(through, jobs[1:]), len(jobs), done)
    elif seasons >= _WORTH_PROCESSES and (os.cpu_count() or 1) > 1:
        with concurrent.futures.ProcessPoolExecutor(initializer=_take, initargs=(years, bundles)) as pool:
            found = _counted(pool.map(_job, jobs), len(jobs), done)
    else:
        found = [outcome_of(job) for job in jobs]
    return [joined(*found[at : at + len(chunks)]) for at in range(0, len(found), len(chunks))]


def _counted(found: Iterable[Outcome], count: int, done: Done | None) -> list[Outcome]:
    """Collect outcomes as they come, and tell how many there are."""
    collected = []
    for outcome in found:
        collected.append(outcome)
        if done is not None:
            done(len(collected), count)
    return collected


@dataclass(frozen=True)
class Designs:
    """Settings × draws side by side: the bundle, each design's factor on the pan's evaporation, and how many draws."""

    bundle: Bundle
    exposure: Floats
    draws: int


_TAKEN: tuple[Sequence[YearForcing], Sequence[Designs]] = ((), ())  # in a process of the pool: handed over once


def _take(years: Sequence[YearForcing], bundles: Sequence[Designs]) -> None:
    global _TAKEN
    _TAKEN = (years, bundles)


def _job(job: tuple[int, int, bool]) -> Outcome:
    year, bundle, times = job
    return _outcome(_TAKEN[0][year], _TAKEN[1][bundle], times, engine.run_season)


def joined(*parts: Parts) -> Parts:
    """Return what was found of several settings as one: a dataclass of tuples and arrays, settings first."""
    whole: dict[str, Any] = {}
    for name, first in vars(parts[0]).items():
        values = [getattr(part, name) for part in parts]
        whole[name] = sum(values, ()) if isinstance(first, tuple) else np.concatenate(values)
    return type(parts[0])(**whole)


def _designs(year: YearForcing, settings: Sequence[Setting], draws: ValveFactors | None) -> Designs:
    """Settings and draws as designs: the valve's beds are the ground of all, and each has the valve's tank to itself."""
    whole = year.forcing.bundle
    valve = whole.valves[year.controller]
    grounds = tuple(whole.grounds[ground] for ground in valve.grounds)
    tanks = whole.tanks_of[valve.tank : valve.tank + 1] if valve.tank >= 0 else ()
    valve = valve._replace(grounds=tuple(range(len(valve.grounds))))
    factors = as_described(len(grounds)) if draws is None else draws
    rows = list(zip(*(part.tolist() for part in factors[1:]), strict=True))  # refill flow, swing, emitters
    valves = [
        valve._replace(tank=index if tanks else -1).resized(
            f"{index}",
            area=setting.area,
            depth=setting.depth,
            refill_flow=setting.refill_flow * refill,
            swing=setting.swing * swing,
            emitters=[count * flow for count, flow in zip(setting.emitters or itertools.repeat(1.0), flows)],  # noqa: B905
        )
        for index, (setting, (refill, swing, flows)) in enumerate(itertools.product(settings, rows))
    ]
    bundle = Bundle(tuple(valves), grounds, tanks * len(valves), lanes=("mean", "driest_quarter"))
    return Designs(bundle, np.tile(factors.exposure, len(settings)), len(rows))


def _forcing(year: YearForcing, designs: Designs) -> tuple[Forcing, State]:
    """The settings in one year, and their first morning: the valve's own weather and soils for each."""
    whole, bundle = year.forcing, designs.bundle
    valve = whole.bundle.valves[year.controller]
    parts = [whole.parts[ground] for ground in valve.grounds]
    forcing = lay_out(bundle, whole.record, whole.first, whole.after, parts=parts)
    evaporation = designs.exposure[:, None] * whole.pans.evaporation[year.controller]
    forcing = dataclasses.replace(forcing, pans=forcing.pans._replace(evaporation=evaporation))  # faults and all
    lanes = whole.bundle.lane("mean")[[ground in valve.grounds for ground in whole.bundle.by_row("ground")]]
    soils = {
        name: getattr(year.began, name)[lanes][forcing.beds.lane_bed]
        for name in ("depletion", "surface_depletion", "wetted")
    }
    return forcing, first_morning(forcing)._replace(**soils)


def _outcome(year: YearForcing, designs: Designs, times: bool, run: Callable[..., int]) -> Outcome:
    (forcing, before), bundle = _forcing(year, designs), designs.bundle
    n, lanes, days = len(bundle.valves), len(forcing.beds.lane_bed), len(forcing.days.rain)
    room = forcing.room if times else 0
    out = empty_results(n, lanes, days, room=room, tanks=forcing.tanks, keep_hours=False, keep_terms=False)
    after = before.copy()
    _, count = run_forcing(forcing, after, run=run, out=out)
    sums = add_up(forcing, before, after, out, run=run)
    shape = (-1, designs.draws)

    def of_beds(lane: str, name: str) -> Floats:
        return sums.lanes[name][bundle.lane(lane)].reshape(n // designs.draws, designs.draws, -1)

    areas = bundle.by_row("area").reshape(n // designs.draws, designs.draws, -1)
    daylight = _daylight(forcing, out, count, n) if times else np.full(n, np.nan)
    pans = {"litres": "litres", "open_hours": "open_hours", "stuck_hours": "stuck_open_hours"}
    pans |= {"starved_hours": "starved_hours", "dry_hours": "dry_pan_hours"}
    return Outcome(
        **{name: sums.pans[total].reshape(shape) for name, total in pans.items()},
        openings_a_day=out.openings[:, year.hottest].mean(axis=1).reshape(shape),
        daylight_openings=daylight.reshape(shape),
        stress_days=of_beds("driest_quarter", "stress_days").astype(float),
        adequacy=of_beds("driest_quarter", "adequacy"),
        supply=of_beds("mean", "irrigation_growing_mm"),
        wasted=(of_beds("mean", "deep_percolation_mm") * areas).sum(axis=2),
    )


def _daylight(forcing: Forcing, out: Results, count: int, n: int) -> Floats:
    start, which = out.opening_start[:count], out.opening_controller[:count]
    day, hour = np.divmod(start, 24.0)
    day_index = np.minimum(day.astype(int), len(forcing.days.rain) - 1)
    sunny = forcing.days.daylight_share[day_index, np.minimum(hour.astype(int), 23)] > 0.0
    openings = np.bincount(which, minlength=n)
    by_day = np.bincount(which, weights=sunny, minlength=n)
    return np.asarray(np.divide(by_day, openings, out=np.zeros(n), where=openings > 0))
