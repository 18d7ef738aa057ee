"""
Season: a replay, and what came out of it: daily tables, the list of openings, totals, balances.

Units in the names of everything: kg (= litres), mm, hours, litres. `replay` is what a Python user calls.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.engine import season as engine
from panbudget.engine.arrays import Results, State, empty_results, plain
from panbudget.errors import ClosureError, Problem, ScenarioError
from panbudget.numeric import Floats
from panbudget.physics.solar_time import from_solar
from panbudget.scenario.garden import Column, FallbackSource, Scenario
from panbudget.season.faults import with_faults
from panbudget.season.findings import Finding, find
from panbudget.season.forcing import Forcing, initial_state, prepare, spun_up
from panbudget.season.heat import with_heat
from panbudget.season.salt import SaltBalance, SaltLeft, pan_salt, salted_pans
from panbudget.season.supplies import tanks_in_use
from panbudget.season.totals import PREFIXES, bed_totals, controller_totals, supply_totals
from panbudget.weather import Fallback, Site, Weather, read_weather
from panbudget.weather.formats.readers import format_problem

__all__ = ["Ran", "Season", "read_scenario_weather", "replay", "run_forcing", "run_salted"]

_SALT_RUNS, _SALT_KG = 8, 1e-8  # most runs; drift from one to the next at which they agree
_CAUSES = {engine.TRIP: "trip", engine.PRESS: "press"}


@dataclass(frozen=True)
class Season:
    """
    One replay.

    Parameters
    ----------
    scenario : Scenario
    weather : Weather
        The whole record; `days` holds the season's part.
    days : DataFrame
        One row a day, index "date": ``eto_mm``, ``rain_mm``, ``tmin_c``, ``tmax_c`` and ``pan_mm`` of each
        controller under its name with the prefix "pan_mm ".
    controllers : dict of DataFrame
        Controller -> one row a day: ``openings``, ``open_hours``, ``litres``, ``refilled_kg``, ``evaporated_kg``,
        ``rain_caught_kg``, ``leaked_kg``, ``spilled_kg``, ``pan_level_kg`` (above the trip weight),
        ``stuck_hours``, ``dry_hours``, ``starved_hours`` (open without water), ``pan_mm``.
    tanks : dict of DataFrame
        Supply that is a tank -> one row a day: ``volume_l`` (at its end), ``roof_l``, ``topped_l``, ``drawn_l``,
        ``over_l``.
    beds : dict of DataFrame
        "CONTROLLER/BED" -> one row a day: ``litres``, ``irrigation_mm``, ``rain_mm``, ``runoff_mm``,
        ``depletion_mm``, ``ks``, ``etc_mm``, ``eta_mm``, ``deep_percolation_mm``, ``kc``, ``taw_mm``, ``raw_mm``,
        ``growing``, ``left_below_mm``; the lane's own again with the prefix ``driest_`` for the driest quarter,
        ``exact_`` for the yardstick of exact refill, ``timer_`` for a present timer; ``net_demand_mm``; and for
        the dual coefficient, else not numbers, ``kcb``, ``ke``, ``kr``, ``few``, ``surface_depletion_mm``,
        ``evaporation_mm``, ``transpiration_mm``.
    openings : DataFrame
        ``controller``, ``start``, ``end`` (text), ``minutes``, ``refilled_kg``, ``litres``, ``cause``,
        ``start_h``, ``end_h`` (solar hours since the first day's solar midnight).
    hourly_level : dict of ndarray (days·24,)
        The pan's level at the end of each hour. [kg above the trip weight]
    findings : tuple of Finding
    totals : dict
        What `season.json` says, findings and provenance left out.
    assumptions : tuple of str
    state : State
        Where the season ended; `replay` takes it to go on from there.
    salt_left : dict of SaltLeft
        Salt in the pans there, by controller; goes with ``state``.
    began : State
        Where the season began.
    salt_before : dict of SaltLeft
        Salt in the pans there; empty where they were filled anew.
    forcing : Forcing
    """

    scenario: Scenario
    weather: Weather
    days: pd.DataFrame
    controllers: dict[str, pd.DataFrame]
    tanks: dict[str, pd.DataFrame]
    beds: dict[str, pd.DataFrame]
    openings: pd.DataFrame
    hourly_level: dict[str, Floats]
    findings: tuple[Finding, ...]
    totals: dict[str, Any]
    assumptions: tuple[str, ...]
    state: State
    salt_left: dict[str, SaltLeft]
    began: State
    salt_before: dict[str, SaltLeft]
    forcing: Forcing

    @property
    def times_are(self) -> str:
        """Whether times of day are the site's clock ("clock") or the sun's ("solar")."""
        site = self.scenario.site
        return "clock" if site.longitude is not None and site.timezone is not None else "solar"


def read_scenario_weather(scenario: Scenario, start: dt.date | None = None, end: dt.date | None = None) -> Weather:
    """
    Read the weather file that a scenario names.

    Parameters
    ----------
    scenario : Scenario
    start, end : date, optional
        Days that must be sound; the season's own if left out.

    Returns
    -------
    Weather

    Raises
    ------
    WeatherError
        The file can't be read, or can't be true.
    """
    source = scenario.weather
    wrong = []
    named = [("weather", source.format), *(("weather.fallback", one.format) for one in source.fallback)]
    for where, name in named:
        problem = format_problem(name, where=where)
        if problem is not None:
            wrong.append(Problem.of_text(problem, f"{where}.format", name))
    if wrong:
        raise ScenarioError(*wrong, file=str(scenario.path))
    return read_weather(
        scenario.weather_path,
        scenario.site,
        file_format=source.format,
        wind_height=source.wind_height,
        missing_rain=source.missing_rain,
        too_bright=source.too_bright,
        columns=_columns(source.columns),
        shown_as=source.file,
        start=start or scenario.season.start,
        end=end or scenario.season.end,
        fallbacks=[_fallback(scenario, one) for one in source.fallback],
    )


def _columns(columns: Mapping[str, Column]) -> dict[str, dict[str, str | None]]:
    return {name: {"column": c.column, "unit": c.unit} for name, c in columns.items()}


def _fallback(scenario: Scenario, source: FallbackSource) -> Fallback:
    site = scenario.site
    return Fallback(
        path=scenario.path.parent / source.file,
        shown_as=source.file,
        file_format=source.format,
        wind_height=source.wind_height,
        columns=_columns(source.columns),
        adjust=source.adjust,
        rain=source.rain,
        site=Site(
            latitude=site.latitude if source.latitude is None else source.latitude,
            elevation=site.elevation if source.elevation is None else source.elevation,
            longitude=site.longitude if source.longitude is None else source.longitude,
            setting=site.setting,
            climate=site.climate,
            timezone=site.timezone,
        ),
    )


def replay(
    scenario: Scenario,
    *,
    start: dt.date | None = None,
    end: dt.date | None = None,
    weather: Weather | None = None,
    state: State | None = None,
    salt: Mapping[str, SaltLeft] | None = None,
    run: Callable[..., int] = engine.run_season,
) -> Season:
    """
    Replay a season of weather through a garden.

    Parameters
    ----------
    scenario : Scenario
    start, end : date, optional
        First and last day, in place of the scenario's.
    weather : Weather, optional
        Already read; else the scenario's file is read.
    state : State, optional
        Where an earlier season of the same garden ended, to go on from there; it is left as it is.
    salt : mapping of SaltLeft, optional
        That season's ``salt_left``; without it pans hold water as the supply gives it.
    run : callable
        The engine, plain or compiled.

    Returns
    -------
    Season

    Raises
    ------
    ScenarioError, WeatherError
        What the user can cure.
    ClosureError
        A water balance that does not close.
    """
    first, last = start or scenario.season.start, end or scenario.season.end
    if start is not None or end is not None:
        scenario = scenario.changed({"season": {"start": first, "end": last}})
    if weather is None:
        weather = read_scenario_weather(scenario, first, last)
    if scenario.what_if.heat is not None:
        weather = with_heat(weather, scenario.what_if.heat, scenario.site, file=str(scenario.path))
    forcing = with_faults(scenario, prepare(scenario, weather, first, last))
    if state is not None:
        before = state.copy()
    else:
        before = initial_state(scenario, forcing)
        if scenario.season.spin_up_days:
            before = spun_up(scenario, weather, first, before, functools.partial(run_forcing, run=run))
    ran = run_salted(scenario, forcing, before, salt or {}, run=run)
    return _season(scenario, weather, before, salt or {}, ran)


class Ran(NamedTuple):
    """What the engine made of a forcing, salt and all."""

    forcing: Forcing
    after: State
    out: Results
    opened: int
    salts: dict[int, SaltBalance]  # by controller's place, where the supply's salinity is known
    salted: bool


def run_salted(
    scenario: Scenario,
    forcing: Forcing,
    before: State,
    salt: Mapping[str, SaltLeft],
    *,
    run: Callable[..., int] = engine.run_season,
) -> Ran:
    """
    Step the engine through a forcing, again and again while the salt that gathers in the pans changes what they do.

    Parameters
    ----------
    scenario : Scenario
    forcing : Forcing
        Without salt.
    before : State
        Where to start; left as it is.
    salt : mapping of SaltLeft
        In the pans there.
    run : callable
        The engine, plain or compiled.

    Returns
    -------
    Ran
    """
    after = before.copy()
    out, count = run_forcing(forcing, after, run=run)
    salts = _salts(scenario, forcing, before, out, salt)
    if not salt and not any(one.matters for one in salts.values()):
        return Ran(forcing, after, out, count, salts, salted=False)
    salted = forcing
    for _ in range(_SALT_RUNS):
        salted = dataclasses.replace(forcing, pans=salted_pans(forcing.pans, salts))
        after = before.copy()
        out, count = run_forcing(salted, after, run=run)
        known, salts = salts, _salts(scenario, salted, before, out, salt)
        if all(np.abs(one.drift - known[row].drift).max() < _SALT_KG for row, one in salts.items()):
            break
    return Ran(salted, after, out, count, salts, salted=True)


def _salts(
    scenario: Scenario, forcing: Forcing, before: State, out: Results, salt: Mapping[str, SaltLeft]
) -> dict[int, SaltBalance]:
    found = {}
    pans = forcing.pans
    for row, (name, controller) in enumerate(scenario.controller.items()):
        salinity = scenario.supply[controller.supply].salinity
        if salinity is not None:
            start = float(before.level[row] - pans.dry[row, 0] - pans.shift[row, 0])
            found[row] = pan_salt(pans, out, row, salinity, start, salt.get(name))
    return found


def run_forcing(forcing: Forcing, state: State, *, run: Callable[..., int] = engine.run_season) -> tuple[Results, int]:
    """
    Step the engine through a forcing.

    Parameters
    ----------
    forcing : Forcing
    state : State
        Where to start; overwritten with where it ends.
    run : callable
        The engine, plain or compiled.

    Returns
    -------
    (Results, int)
        What it wrote; how many openings.

    Raises
    ------
    ClosureError
        More openings than there is room for.
    """
    out = empty_results(
        len(forcing.pans.area),
        len(forcing.beds.lane_bed),
        len(forcing.dates),
        room=forcing.room,
        tanks=forcing.tanks,
    )
    given = (forcing.days, forcing.pans, forcing.tanks, forcing.beds, state, out)
    count = run(*(plain(group) for group in given)) if run is engine.run_season else run(*given)
    if count > forcing.room:
        raise ClosureError(f"{count} openings do not fit the list of {forcing.room}: please report this")
    return out, count


def _season(scenario: Scenario, weather: Weather, before: State, salt: Mapping[str, SaltLeft], ran: Ran) -> Season:
    forcing, after, out, count, salts, salted = ran
    days = pd.DataFrame(
        {
            "eto_mm": forcing.days.eto,
            "rain_mm": forcing.days.rain,
            "tmin_c": forcing.weather["tmin"].to_numpy(float),
            "tmax_c": forcing.weather["tmax"].to_numpy(float),
        },
        index=forcing.dates.rename("date"),
    )
    controllers = {name: _controller_days(forcing, out, index, name) for index, name in enumerate(scenario.controller)}
    areas = [bed.area for c in scenario.controller.values() for bed in c.bed.values()]
    beds = {key: _bed_days(forcing, out, index, key, areas[index]) for index, key in enumerate(forcing.bed_of)}
    openings = _openings(scenario, forcing, out, count)
    tanks = {name: _tank_days(forcing, out, index) for index, name in enumerate(tanks_in_use(scenario))}
    totals: dict[str, Any] = {
        "schema": 1,
        "title": scenario.title,
        "season": {
            "start": forcing.dates[0].date().isoformat(),
            "end": forcing.dates[-1].date().isoformat(),
            "days": len(forcing.dates),
        },
        "controllers": {
            name: controller_totals(forcing, before, after, index, controllers[name], openings, name)
            for index, name in enumerate(scenario.controller)
        },
        "beds": {
            key: bed_totals(scenario, forcing, before, after, index, beds[key], key)
            for index, key in enumerate(forcing.bed_of)
        },
        "supplies": {
            name: supply_totals(scenario, forcing, before, controllers, tanks, openings, name)
            for name in scenario.supply
        },
        "weather": {
            "eto_mm": float(days["eto_mm"].sum()),
            "pan_evaporation_mm": {name: float(table["pan_mm"].sum()) for name, table in controllers.items()},
            "rain_mm": float(days["rain_mm"].sum()),
            "filled": weather.filled(forcing.dates[0].date(), forcing.dates[-1].date()),
        },
    }
    for row, balance in salts.items():
        name = list(scenario.controller)[row]
        totals["controllers"][name]["salt"] = balance.as_dict(out.evaporated[row])
    season = Season(
        scenario=scenario,
        weather=weather,
        days=days,
        controllers=controllers,
        tanks=tanks,
        beds=beds,
        openings=openings,
        hourly_level={n: out.hourly_level[i].copy() for i, n in enumerate(scenario.controller)},
        findings=(),
        totals=totals,
        assumptions=(*forcing.assumptions, *weather.provenance["assumptions"]),
        state=after,
        salt_left={list(scenario.controller)[row]: one.left(salted=salted) for row, one in salts.items()},
        began=before,
        salt_before=dict(salt),
        forcing=forcing,
    )
    return dataclasses.replace(season, findings=find(season))


def _controller_days(forcing: Forcing, out: Results, index: int, name: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "openings": out.openings[index],
            "open_hours": out.open_hours[index],
            "litres": out.drawn[index],
            "refilled_kg": out.refilled[index],
            "evaporated_kg": out.evaporated[index],
            "rain_caught_kg": forcing.days.rain * forcing.pans.rain_factor[index] * forcing.pans.area[index],
            "leaked_kg": out.leaked[index],
            "spilled_kg": out.spilled[index],
            "pan_level_kg": out.level[index],
            "stuck_hours": out.stuck_hours[index],
            "dry_hours": out.dry_hours[index],
            "starved_hours": out.starved_hours[index],
            "pan_mm": forcing.pans.evaporation[index],
        },
        index=forcing.dates.rename("date"),
    )


_LANE_COLUMNS = {
    "irrigation": "irrigation_mm",
    "depletion": "depletion_mm",
    "ks": "ks",
    "etc": "etc_mm",
    "eta": "eta_mm",
    "deep_percolation": "deep_percolation_mm",
    "left_below": "left_below_mm",
}


def _bed_days(forcing: Forcing, out: Results, index: int, key: str, area: float) -> pd.DataFrame:
    part = forcing.bed_of[key]
    lane_of = {lane: index * len(forcing.lanes) + offset for offset, lane in enumerate(forcing.lanes)}
    mean = lane_of["mean"]
    eto = forcing.days.eto
    ke = out.ke[mean]
    table = pd.DataFrame(
        {
            "litres": out.irrigation[mean] * area,
            "rain_mm": forcing.days.rain,
            "runoff_mm": forcing.days.rain - part.rain_in,
            "kc": part.curve.kc + ke,
            "taw_mm": part.taw,
            "raw_mm": out.raw[mean],
            "growing": part.curve.growing,
        },
        index=forcing.dates.rename("date"),
    )
    for lane, row in lane_of.items():
        for name, column in _LANE_COLUMNS.items():
            table[PREFIXES[lane] + column] = getattr(out, name)[row]
    table["net_demand_mm"] = table["exact_irrigation_mm"]
    dual = bool(forcing.beds.dual[index])
    terms = {
        "kcb": part.curve.kc,
        "ke": ke,
        "kr": out.kr[mean],
        "few": out.few[mean],
        "surface_depletion_mm": out.surface_depletion[mean],
        "evaporation_mm": np.minimum(ke * eto, out.eta[mean]),
        "transpiration_mm": out.eta[mean] - np.minimum(ke * eto, out.eta[mean]),
    }
    for column, values in terms.items():
        table[column] = values if dual else np.nan
    return table


def _tank_days(forcing: Forcing, out: Results, index: int) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "volume_l": out.tank_volume[index],
            "roof_l": forcing.tanks.inflow[index],
            "topped_l": out.tank_topped[index],
            "drawn_l": out.tank_drawn[index],
            "over_l": out.tank_over[index],
        },
        index=forcing.dates.rename("date"),
    )


def _openings(scenario: Scenario, forcing: Forcing, out: Results, count: int) -> pd.DataFrame:
    names = list(scenario.controller)
    which = out.opening_controller[:count]
    start, end = out.opening_start[:count], out.opening_end[:count]
    through = np.where(np.isnan(end), len(forcing.dates) * 24.0, end)
    first, site = forcing.dates[0].date(), scenario.site
    table = pd.DataFrame(
        {
            "controller": [names[c] for c in which],
            "start": from_solar(first, start, site.longitude, site.timezone),
            "end": from_solar(first, end, site.longitude, site.timezone),
            "minutes": (through - start) * 60.0,
            "refilled_kg": out.opening_refilled[:count],
            "litres": out.opening_litres[:count],
            "cause": [_CAUSES[int(c)] for c in out.opening_cause[:count]],
            "start_h": start,
            "end_h": end,
        }
    )
    return table.sort_values(["start_h", "controller"], kind="stable", ignore_index=True)
