"""
Settings: many pans and refill flows at once over one year's weather, through the same engine as a replay.

A setting is one pan area, refill flow and swing for one valve; the engine takes each as a controller of its own, with
that valve's beds behind it. Units as in the engine.
"""

from __future__ import annotations

import concurrent.futures
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from panbudget.engine import season as engine
from panbudget.engine.arrays import Beds, Pans, State, Tanks, empty_results, empty_state, no_tanks, plain
from panbudget.engine.compiled import compiled, has_compiler
from panbudget.numeric import Floats, Ints
from panbudget.season.forcing import Forcing

_SHARES = 2  # lanes of a bed: its mean, its driest quarter
_HOT_DAYS = 7
#: seasons from which a compiler pays for itself, if there is one
_WORTH_COMPILING = 1500
_WORTH_PROCESSES = 400
_CHUNK = 100  # settings handed over at once


class Setting(NamedTuple):
    """One valve's pan and refill."""

    area: float  # m²
    depth: float  # mm, floor to rim
    refill_flow: float  # L/h
    swing: float  # kg


@dataclass(frozen=True)
class YearForcing:
    """
    What one valve and its beds see in one year.

    Parameters
    ----------
    year : int
    forcing : Forcing
    controller : int
        Its place among the scenario's.
    flows : ndarray (beds,)
        Flow of each bed's emitters, present counts. [L/h]
    areas, uniformity : ndarray (beds,)
        [m²], [-]
    first_lane : ndarray of int (beds,)
        Rows of the valve's beds.
    freeboard : float
        [mm]
    hottest : slice
        Days of the hottest week.
    net_demand : ndarray (beds,)
        Exact refill. [mm]
    depletion, surface_depletion : ndarray (beds,)
        On the first morning. [mm]
    volume : ndarray (tanks,)
        On the first morning. [L]
    """

    year: int
    forcing: Forcing
    controller: int
    flows: Floats
    areas: Floats
    uniformity: Floats
    beds: Ints
    freeboard: float
    hottest: slice
    net_demand: Floats
    depletion: Floats
    surface_depletion: Floats
    volume: Floats


@dataclass(frozen=True)
class Outcome:
    """
    What settings came to in one year; arrays (settings,) or (settings, beds).

    Parameters
    ----------
    litres : ndarray (settings,)
        All that passed the valve. [L]
    openings_a_day : ndarray (settings,)
        In the hottest week. [1/day]
    open_hours, stuck_hours, dry_hours : ndarray (settings,)
        [h]
    daylight_openings : ndarray (settings,)
        Share of openings that began between sunrise and sunset; not a number where not asked for. [-]
    stress_days : ndarray (settings, beds)
        Of the driest quarter.
    adequacy : ndarray (settings, beds)
        ETa ÷ ETc of the driest quarter, growing days. [-]
    supply : ndarray (settings, beds)
        Of the bed's mean. [mm]
    wasted : ndarray (settings,)
        Deep percolation of all beds. [L]
    """

    litres: Floats
    openings_a_day: Floats
    open_hours: Floats
    stuck_hours: Floats
    dry_hours: Floats
    daylight_openings: Floats
    stress_days: Floats
    adequacy: Floats
    supply: Floats
    wasted: Floats


def year_forcing(
    year: int,
    forcing: Forcing,
    controller: str,
    *,
    areas: Sequence[float],
    uniformity: Sequence[float],
    freeboard: float,
    net_demand: Sequence[float],
    tmax: Floats,
    state: State,
) -> YearForcing:
    """
    Cut one valve out of a forcing.

    Parameters
    ----------
    year : int
    forcing : Forcing
    controller : str
    areas, uniformity, net_demand : sequence of float
        Of its beds, in order. [m²], [-], [mm]
    freeboard : float
        [mm]
    tmax : ndarray (days,)
        [°C]
    state : State
        Of the first morning.

    Returns
    -------
    YearForcing
    """
    keys = list(forcing.bed_of)
    rows = [index for index, key in enumerate(keys) if forcing.bed_of[key].controller == controller]
    lanes = np.array(rows, np.int64) * len(forcing.lanes)
    pan = forcing.pan_of[controller]
    length = min(_HOT_DAYS, len(tmax))
    means = np.convolve(tmax, np.full(length, 1.0 / length), mode="valid")
    first = int(np.argmax(np.round(means, 9)))
    return YearForcing(
        year=year,
        forcing=forcing,
        controller=list(forcing.pan_of).index(controller),
        flows=np.array([pan.bed_flows[forcing.bed_of[keys[row]].name] for row in rows]),
        areas=np.asarray(areas, float),
        uniformity=np.asarray(uniformity, float),
        beds=np.array(rows, np.int64),
        freeboard=freeboard,
        hottest=slice(first, first + length),
        net_demand=np.asarray(net_demand, float),
        depletion=state.depletion[lanes].copy(),
        surface_depletion=state.surface_depletion[lanes].copy(),
        volume=state.volume.copy(),
    )


def outcomes(
    years: Sequence[YearForcing],
    settings: Sequence[Setting],
    *,
    emitter_factors: Floats | None = None,
    times: bool = False,
    done: Callable[[int, int], None] | None = None,
) -> list[Outcome]:
    """
    Step every setting through every year.

    Parameters
    ----------
    years : sequence of YearForcing
    settings : sequence of Setting
    emitter_factors : ndarray (beds,), optional
        Changes of the beds' emitter counts; 1 where left out. [-]
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
    factors = np.ones(len(years[0].flows)) if emitter_factors is None else emitter_factors
    chunks = [settings[at : at + _CHUNK] for at in range(0, len(settings), _CHUNK)]
    jobs = [(year, chunk, factors, times) for year in years for chunk in chunks]
    seasons = len(years) * len(settings)
    found: list[Outcome] = []
    if seasons >= _WORTH_COMPILING and has_compiler():
        run = compiled(engine.run_season)
        for job in jobs:
            found.append(_outcome(*job, run=run))
            if done is not None:
                done(len(found), len(jobs))
    elif seasons >= _WORTH_PROCESSES and (os.cpu_count() or 1) > 1:
        with concurrent.futures.ProcessPoolExecutor() as pool:
            for outcome in pool.map(_job, jobs):
                found.append(outcome)
                if done is not None:
                    done(len(found), len(jobs))
    else:
        found = [_outcome(*job) for job in jobs]
    per_year = len(chunks)
    return [_joined(found[at : at + per_year]) for at in range(0, len(found), per_year)]


def _job(job: tuple[YearForcing, Sequence[Setting], Floats, bool]) -> Outcome:
    return _outcome(*job)


def _joined(parts: Sequence[Outcome]) -> Outcome:
    names = Outcome.__dataclass_fields__
    return Outcome(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in names})


def _outcome(
    year: YearForcing,
    settings: Sequence[Setting],
    factors: Floats,
    times: bool,
    run: Callable[..., int] | None = None,
) -> Outcome:
    n, n_beds, n_days = len(settings), len(year.beds), len(year.forcing.dates)
    lanes = n * n_beds * _SHARES
    pans, tanks, beds, state = _arrays(year, settings, factors)
    room = 0
    if times:
        evaporated = np.maximum(pans.evaporation, 0.0).sum(axis=1) * pans.area
        room = int((evaporated / pans.swing[:, 0] + 2.0).sum()) + n * n_days
    out = empty_results(n, lanes, n_days, room=room, tanks=tanks, keep_hours=False, keep_terms=False)
    groups: tuple[Any, ...] = (year.forcing.days, pans, tanks, beds, state, out)
    interpreted: Callable[..., int] = engine.run_season
    count = interpreted(*(plain(group) for group in groups)) if run is None else run(*groups)

    shape = (n, n_beds, _SHARES, n_days)
    driest = {name: getattr(out, name).reshape(shape)[:, :, 1] for name in ("ks", "eta", "etc")}
    growing = beds.growing[: len(year.beds)].astype(bool)[None]
    asked = (driest["etc"] * growing).sum(axis=2)
    used = (driest["eta"] * growing).sum(axis=2)
    hours = out.open_hours.sum(axis=1)
    drained = out.deep_percolation.reshape(shape)[:, :, 0].sum(axis=2)
    return Outcome(
        litres=out.drawn.sum(axis=1),
        openings_a_day=out.openings[:, year.hottest].mean(axis=1),
        open_hours=hours,
        stuck_hours=(out.stuck_hours + out.starved_hours).sum(axis=1),
        dry_hours=out.dry_hours.sum(axis=1),
        daylight_openings=_daylight(year, out, count, n) if times else np.full(n, np.nan),
        stress_days=((driest["ks"] < 1.0) & growing).sum(axis=2).astype(float),
        adequacy=np.divide(used, asked, out=np.ones_like(used), where=asked > 0.0),
        supply=out.irrigation.reshape(shape)[:, :, 0].sum(axis=2),
        wasted=(drained * year.areas).sum(axis=1),
    )


def _daylight(year: YearForcing, out: Any, count: int, n: int) -> Floats:
    start, which = out.opening_start[:count], out.opening_controller[:count]
    day, hour = np.divmod(start, 24.0)
    day_index = np.minimum(day.astype(int), len(year.forcing.dates) - 1)
    sunny = year.forcing.days.daylight_share[day_index, np.minimum(hour.astype(int), 23)] > 0.0
    openings = np.bincount(which, minlength=n)
    by_day = np.bincount(which, weights=sunny, minlength=n)
    return np.asarray(np.divide(by_day, openings, out=np.zeros(n), where=openings > 0))


def _arrays(year: YearForcing, settings: Sequence[Setting], factors: Floats) -> tuple[Pans, Tanks, Beds, State]:
    forcing = year.forcing
    n, n_beds, n_days = len(settings), len(year.beds), len(forcing.dates)
    area = np.array([s.area for s in settings])
    swing = np.array([s.swing for s in settings])
    depth = np.array([s.depth for s in settings])
    refill = np.array([s.refill_flow for s in settings])
    flows = year.flows * factors
    one, row = forcing.pans, year.controller
    tank = int(one.tank[row])
    part = list(forcing.pan_of.values())[row]
    by_bed = [part.at_reference[forcing.bed_of[key].name] for key in _keys(year)]
    # on a tank the engine wants flows at its reference pressure; a setting's is that under a full tank
    at_reference = part.at_reference[""] / part.refill_flow if tank >= 0 else 1.0
    through = np.array(by_bed) * factors if tank >= 0 else flows

    def by_day(values: Floats) -> Floats:
        return np.repeat(np.asarray(values, float)[:, None], n_days, axis=1)

    def same(values: Floats) -> Floats:
        return np.repeat(values[row : row + 1], n, axis=0)

    pans = Pans(
        evaporation=same(one.evaporation),
        area=area,
        swing=by_day(swing),
        rim=by_day(swing + year.freeboard * area),
        dry=by_day(swing - (depth - year.freeboard) * area),
        shift=np.zeros((n, n_days)),
        leak=np.zeros((n, n_days)),
        rain_factor=np.ones((n, n_days)),
        night_share=np.full(n, one.night_share[row]),
        refill_flow=by_day(refill * at_reference),
        refill_exponent=np.full(n, one.refill_exponent[row]),
        valve_flow=by_day(refill + flows.sum()),
        presses=same(one.presses),
        tank=np.arange(n, dtype=np.int64) if tank >= 0 else np.full(n, -1, np.int64),
        static=same(one.static),
        at_emitters=same(one.at_emitters),
        block=np.arange(n + 1, dtype=np.int64),
        member=np.arange(n, dtype=np.int64),
    )
    tanks, volume = no_tanks(n_days), np.zeros(0)
    if tank >= 0:  # each setting has the tank to itself
        given = forcing.tanks
        own = slice(given.draw_from[row], given.draw_from[row + 1])
        tanks = Tanks(
            **{name: np.repeat(getattr(given, name)[tank : tank + 1], n, axis=0) for name in Tanks._fields[:7]},
            draw_flow=by_day(np.tile(through, n)),
            draw_exponent=np.tile(given.draw_exponent[own], n),
            draw_from=np.arange(n + 1, dtype=np.int64) * n_beds,
        )
        volume = np.full(n, year.volume[tank])
    beds_of = forcing.beds
    names = Beds._fields[: Beds._fields.index("lane_bed")]
    chosen = {name: np.ascontiguousarray(getattr(beds_of, name)[year.beds]) for name in names}
    mean = through / year.areas
    lanes = n * n_beds * _SHARES
    beds = Beds(
        **chosen,
        lane_bed=np.tile(np.repeat(np.arange(n_beds, dtype=np.int64), _SHARES), n),
        lane_controller=np.repeat(np.arange(n, dtype=np.int64), n_beds * _SHARES),
        lane_source=np.full(lanes, engine.VALVE, np.int64),
        lane_draw=np.arange(lanes, dtype=np.int64) // _SHARES if tank >= 0 else np.full(lanes, -1, np.int64),
        lane_mm_per_hour=np.tile(np.stack([mean, mean * year.uniformity], axis=1).ravel(), n),
        given=np.zeros((n_beds, 0)),
    )
    state = empty_state(n, lanes, tanks)._replace(
        level=swing.copy(),
        volume=volume,
        depletion=np.tile(np.repeat(year.depletion, _SHARES), n),
        surface_depletion=np.tile(np.repeat(year.surface_depletion, _SHARES), n),
    )
    return pans, tanks, beds, state


def _keys(year: YearForcing) -> list[str]:
    keys = list(year.forcing.bed_of)
    return [keys[row] for row in year.beds]
