"""
Replay: a season of weather through a garden, day by day tables and all. `replay` is what a Python user calls.

Units in the names of everything: kg (= litres), mm, hours, litres.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.engine import season as engine
from panbudget.engine.arrays import Results, State
from panbudget.engine.pan import PRESS, TRIP
from panbudget.engine.root_zone import depletion_fraction
from panbudget.errors import Problem, ScenarioError
from panbudget.numeric import Floats
from panbudget.physics.solar_time import from_solar
from panbudget.scenario.garden import Scenario, Site, load_scenario
from panbudget.season.faults import with_faults
from panbudget.season.findings import find
from panbudget.season.forcing import Forcing, initial_state, prepare, spun_up
from panbudget.season.heat import with_heat
from panbudget.season.result import LANE_COLUMNS, Season, with_units
from panbudget.season.run import Ran, run_forcing, run_salted
from panbudget.season.salt import SaltLeft
from panbudget.season.supplies import tanks_in_use
from panbudget.season.totals import PREFIXES, bed_totals, controller_totals, supply_totals
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

Day = dt.date | str | pd.Timestamp | np.datetime64

_CAUSES = {TRIP: "trip", PRESS: "press"}


def replay(
    scenario: Scenario | str | Path,
    *,
    start: Day | None = None,
    end: Day | None = None,
    weather: Weather | None = None,
    state: State | None = None,
    salt: Mapping[str, SaltLeft] | None = None,
    run: Callable[..., int] = engine.run_season,
) -> Season:
    """
    Replay a season of weather through a garden.

    Parameters
    ----------
    scenario : Scenario or path
        A garden, or the file that describes it.
    start, end : date, or what pandas takes for one, optional
        First and last day, in place of the scenario's: ``"2025-06-01"``, a `datetime.date`, a `pandas.Timestamp`.
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
    if not isinstance(scenario, Scenario):
        scenario = load_scenario(scenario)
    first = scenario.season.start if start is None else as_day(start, "start")
    last = scenario.season.end if end is None else as_day(end, "end")
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


def as_day(given: Day, name: str) -> dt.date:
    """Read a day as pandas takes it; ``name`` is the argument's."""
    day = pd.to_datetime(pd.Series([given]), errors="coerce")[0]
    if pd.isna(day):
        raise ScenarioError(Problem("no-day", name, f'= "{given}" is no day', 'a date such as "2025-06-01"', "", given))
    return pd.Timestamp(day).date()


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
            "raw_mm": np.array(
                [depletion_fraction(*p_etc) for p_etc in zip(part.curve.depletion, out.etc[mean], strict=True)]
            )
            * part.taw,
            "growing": part.curve.growing,
        },
        index=forcing.dates.rename("date"),
    )
    for lane, row in lane_of.items():
        for name, column in LANE_COLUMNS.items():
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
            "start": _moments(first, start, site),
            "end": _moments(first, end, site),
            "minutes": (through - start) * 60.0,
            "refilled_kg": out.opening_refilled[:count],
            "litres": out.opening_litres[:count],
            "cause": [_CAUSES[int(c)] for c in out.opening_cause[:count]],
            "start_h": start,
            "end_h": end,
        }
    )
    return with_units(table.sort_values(["start_h", "controller"], kind="stable", ignore_index=True))


def _moments(first: dt.date, hours: Floats, site: Site) -> pd.Series[pd.Timestamp]:
    texts = from_solar(first, hours, site.longitude, site.timezone)
    return pd.Series(pd.to_datetime(texts, format="%Y-%m-%d %H:%M:%S").astype("datetime64[s]"))
