"""
Settings: many pans, refill flows and draws at once over one year's weather, through the same engine as a replay.

A setting is one pan area, refill flow, swing and emitter counts for one valve. Each is laid out once for every draw of
what is uncertain: what a year brings to the valve and its beds is computed once (`year_forcing`) and repeated by arrays,
with the tank to itself where it stands on one. Units as in the engine.
"""

import concurrent.futures
import dataclasses
import functools
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

import numpy as np

from panbudget.engine import season as engine
from panbudget.engine.arrays import Pans, Results, State, Tanks, empty_results, empty_state
from panbudget.engine.compiled import compiled, has_compiler, is_kept
from panbudget.numeric import Floats
from panbudget.season.heat import hottest_run
from panbudget.season.layout import LANES, Bundle, Forcing, lay_out
from panbudget.season.result import Season
from panbudget.season.run import run_forcing
from panbudget.season.totals import add_up
from panbudget.studies.ranges import WORTH_COMPILING, ValveFactors

HOT_DAYS = 7
_SOILS = ("depletion", "surface_depletion", "wetted")
_WORTH_PROCESSES = 400
#: told how many parts of how many are done
Done = Callable[[int, int], None]
Parts = TypeVar("Parts")
_CHUNK = 64  # designs handed over at once, or the draws of one setting: what a processor keeps at hand


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
        Of this valve alone, as described.
    began : State
        The first morning, with the soils of its lanes.
    hottest : slice
        Days of the hottest week.
    net_demand : ndarray (beds,)
        Exact refill. [mm]
    """

    forcing: Forcing
    began: State
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
        Of the bed's mean, on growing days; not a number where means are not wanted. [mm]
    wasted : ndarray (settings, draws)
        Deep percolation of all beds, likewise. [L]
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
        Its beds are all the ground that there is, and it has its tank to itself.
    """
    whole, row = season.forcing, list(season.controllers).index(controller)
    valve = whole.bundle.valves[row]
    grounds = tuple(whole.bundle.grounds[ground] for ground in valve.grounds)
    tanks = whole.bundle.tanks_of[valve.tank : valve.tank + 1] if valve.tank >= 0 else ()
    alone = valve._replace(tank=0 if tanks else -1, grounds=tuple(range(len(grounds))))
    bundle = Bundle((alone,), grounds, tanks, lanes=LANES[:2])
    parts = [whole.parts[ground] for ground in valve.grounds]
    forcing = lay_out(bundle, whole.record, whole.first, whole.after, parts=parts)
    pans = forcing.pans._replace(evaporation=whole.pans.evaporation[row : row + 1])
    lanes = whole.bundle.lane("mean")[whole.bundle.by_row("valve") == row][forcing.beds.lane_bed]
    demand = [season.totals["beds"][f"{controller}/{bed}"]["net_demand_mm"] for bed in valve.controller.bed]
    return YearForcing(
        forcing=dataclasses.replace(forcing, pans=pans),
        began=season.began._replace(**{name: getattr(season.began, name)[lanes] for name in _SOILS}),
        hottest=hottest_run(season.days["tmax_c"], HOT_DAYS),
        net_demand=np.array(demand),
    )


def as_described(beds: int) -> ValveFactors:
    """Return the one draw that changes nothing."""
    return ValveFactors(np.ones(1), np.ones(1), np.ones(1), np.ones((1, beds)))


def outcomes(
    years: Sequence[YearForcing],
    settings: Sequence[Setting],
    *,
    draws: ValveFactors | Sequence[ValveFactors] | None = None,
    times: bool = False,
    whole: bool = True,
    done: Done = lambda part, parts: None,
) -> list[Outcome]:
    """
    Step every setting through every year.

    Parameters
    ----------
    years : sequence of YearForcing
    settings : sequence of Setting
    draws : ValveFactors or sequence of ValveFactors, optional
        Over which each setting is stepped; of a sequence, each year has its own, all as many. As described if left out.
    times : bool
        Whether openings' times of day are wanted.
    whole : bool
        Whether the beds' means are wanted; else their driest quarters alone are stepped.
    done : callable
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
    if draws is None:
        draws = as_described(len(years[0].net_demand))
    by_year = [draws] * len(years) if isinstance(draws, ValveFactors) else list(draws)
    count = len(by_year[0].exposure)
    at_once = max(_CHUNK // count, 1)
    chunks = [settings[at : at + at_once] for at in range(0, len(settings), at_once)]
    jobs = [(year, chunk, times, whole) for year in range(len(years)) for chunk in range(len(chunks))]
    seasons, work = len(years) * len(settings) * count, (years, by_year, chunks)

    is_ready = seasons >= _WORTH_PROCESSES and is_kept(engine.run_season)
    if has_compiler() and (is_ready or seasons >= WORTH_COMPILING):
        # compiled code lets other threads run meanwhile
        through = functools.partial(_job, work=work, run=compiled(engine.run_season))
        results = [through(jobs[0])]  # compiles
        with concurrent.futures.ThreadPoolExecutor(os.cpu_count() or 1) as threads:
            results += _counted(threads.map(through, jobs[1:]), len(jobs), done)
    elif seasons >= _WORTH_PROCESSES and (os.cpu_count() or 1) > 1:
        with concurrent.futures.ProcessPoolExecutor(initializer=_take, initargs=work) as pool:
            results = _counted(pool.map(_job, jobs), len(jobs), done)
    else:
        results = [_job(job, work) for job in jobs]
    return [joined(*results[at : at + len(chunks)]) for at in range(0, len(results), len(chunks))]


def _counted(judged: Iterable[Outcome], count: int, done: Done) -> list[Outcome]:
    """Collect outcomes as they come, and tell how many there are."""
    collected = []
    for outcome in judged:
        collected.append(outcome)
        done(len(collected), count)
    return collected


#: years, each one's draws, and settings in chunks
Work = tuple[Sequence[YearForcing], Sequence[ValveFactors], Sequence[Sequence[Setting]]]
_TAKEN: Work = ((), (), ())  # in a process of the pool: handed over once


def _take(*work: Any) -> None:
    global _TAKEN
    _TAKEN = work


def _job(
    job: tuple[int, int, bool, bool], work: Work | None = None, run: Callable[..., int] = engine.run_season
) -> Outcome:
    years, draws, chunks = work or _TAKEN
    year, chunk, times, whole = job
    return _outcome(years[year], chunks[chunk], draws[year], times=times, whole=whole, run=run)


def joined(*parts: Parts) -> Parts:
    """Return what was found of several settings as one: a dataclass of tuples and arrays, settings first."""
    whole: dict[str, Any] = {}
    for name, first in vars(parts[0]).items():
        values = [getattr(part, name) for part in parts]
        whole[name] = sum(values, ()) if isinstance(first, tuple) else np.concatenate(values)
    return type(parts[0])(**whole)


def side_by_side(
    year: YearForcing, settings: Sequence[Setting], draws: ValveFactors, *, whole: bool = True
) -> tuple[Forcing, State]:
    """
    Lay settings out in a year, each once for every draw, and fill their pans for the first morning.

    Parameters
    ----------
    year : YearForcing
    settings : sequence of Setting
    draws : ValveFactors
    whole : bool
        As for `outcomes`.

    Returns
    -------
    (Forcing, State)
        Settings × draws in a row; the lanes of each together, bed by bed. The bundle is the described valve's.
    """
    described, times = year.forcing, len(draws.exposure)
    (valve,), n_beds, n_days = described.bundle.valves, len(year.net_demand), len(described.days.rain)
    counts = np.array([setting.emitters or (1.0,) * n_beds for setting in settings])
    emitters = (counts[:, None] * draws.emitters).reshape(-1, n_beds)
    area, depth, refill, swing = np.repeat([setting[:4] for setting in settings], times, axis=0).T
    exposure, refill_off, swing_off = (np.tile(part, len(settings)) for part in draws[:3])
    refill, swing, n = refill * refill_off, swing * swing_off, len(area)
    freeboard, flows, on_tank = valve.controller.pan.freeboard, valve.flows, valve.tank >= 0
    at_reference = flows.at_reference[""] / flows.refill_flow if on_tank else 1.0
    daily = {
        "swing": swing,
        "rim": swing + freeboard * area,
        "dry": swing - (depth - freeboard) * area,
        "refill_flow": refill * at_reference,
        "valve_flow": refill + emitters @ np.array(list(flows.bed_flows.values())),
    }
    places = np.arange(n)
    pans = Pans._make(np.repeat(part, n, axis=0) for part in described.pans)._replace(
        **{name: np.repeat(part[:, None], n_days, axis=1) for name, part in daily.items()},
        area=np.ascontiguousarray(area),
        evaporation=exposure[:, None] * described.pans.evaporation,
        tank=places if on_tank else np.full(n, -1),
        block=np.arange(n + 1),
        member=places,
    )
    tanks = described.tanks
    if on_tank:
        tanks = Tanks._make(np.repeat(part, n, axis=0) for part in tanks)._replace(
            draw_flow=(emitters[..., None] * tanks.draw_flow).reshape(n * n_beds, -1),
            draw_exponent=np.tile(tanks.draw_exponent, n),
            draw_from=n_beds * np.arange(n + 1),
        )
    lanes = np.arange(0 if whole else 1, 2 * n_beds, 1 if whole else 2)
    kept = ("lane_bed", "lane_source", "lane_draw")
    by_lane = {name: np.tile(getattr(described.beds, name)[lanes], n) for name in kept}
    owner, bed = np.repeat(places, len(lanes)), described.beds.lane_bed[lanes]
    beds = described.beds._replace(
        **by_lane | {"lane_draw": by_lane["lane_draw"] + (n_beds * owner if on_tank else 0)},
        lane_controller=owner,
        lane_mm_per_hour=(emitters[:, bed] * described.beds.lane_mm_per_hour[lanes]).ravel(),
    )
    before = empty_state(n, n * len(lanes), tanks)._replace(
        level=np.minimum(swing, pans.rim[:, 0]),
        volume=np.repeat([tank.volume * tank.full_at_start for tank in described.bundle.tanks_of], n),
        **{name: np.tile(getattr(year.began, name)[lanes], n) for name in _SOILS},
    )
    return dataclasses.replace(described, pans=pans, tanks=tanks, beds=beds), before


def _outcome(
    year: YearForcing,
    settings: Sequence[Setting],
    draws: ValveFactors,
    *,
    times: bool,
    whole: bool,
    run: Callable[..., int],
) -> Outcome:
    forcing, before = side_by_side(year, settings, draws, whole=whole)
    n, lanes, days = len(forcing.pans.area), len(forcing.beds.lane_bed), len(forcing.days.rain)
    room = forcing.room if times else 0
    out = empty_results(n, lanes, days, room=room, tanks=forcing.tanks, keep_hours=False, keep_terms=False)
    after = before.copy()
    _, count = run_forcing(forcing, after, run=run, out=out)
    sums, shape = add_up(forcing, before, after, out), (len(settings), -1)

    def of_beds(lane: int, name: str) -> Floats:
        """Lane 0 is a bed's mean, -1 its driest quarter; a mean that was not stepped is not a number."""
        values = sums.lanes[name].reshape(*shape, len(year.net_demand), 2 if whole else 1)[..., lane].astype(float)
        return values if whole or lane else np.full_like(values, np.nan)

    daylight = _daylight(forcing, out, count, n) if times else np.full(n, np.nan)
    pans = {"litres": "litres", "open_hours": "open_hours", "stuck_hours": "stuck_open_hours"}
    pans |= {"starved_hours": "starved_hours", "dry_hours": "dry_pan_hours"}
    return Outcome(
        **{name: sums.pans[total].reshape(shape) for name, total in pans.items()},
        openings_a_day=out.openings[:, year.hottest].mean(axis=1).reshape(shape),
        daylight_openings=daylight.reshape(shape),
        stress_days=of_beds(-1, "stress_days"),
        adequacy=of_beds(-1, "adequacy"),
        supply=of_beds(0, "irrigation_growing_mm"),
        wasted=(of_beds(0, "deep_percolation_mm") * forcing.bundle.by_row("area")).sum(axis=2),
    )


def _daylight(forcing: Forcing, out: Results, count: int, n: int) -> Floats:
    start, which = out.opening_start[:count], out.opening_controller[:count]
    day, hour = np.divmod(start, 24.0)
    day_index = np.minimum(day.astype(int), len(forcing.days.rain) - 1)
    sunny = forcing.days.daylight_share[day_index, np.minimum(hour.astype(int), 23)] > 0.0
    openings = np.bincount(which, minlength=n)
    by_day = np.bincount(which, weights=sunny, minlength=n)
    return np.asarray(np.divide(by_day, openings, out=np.zeros(n), where=openings > 0))
