"""
Replay: a season of weather through a garden, day by day tables and all. `replay` is what a Python user calls.

Units in the names of everything: kg (= litres), mm, hours, litres.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.engine import season as engine
from panbudget.engine.arrays import Results, State
from panbudget.engine.pan import PRESS, TRIP
from panbudget.engine.root_zone import depletion_fraction
from panbudget.files import typed
from panbudget.numeric import Floats
from panbudget.physics.solar_time import from_solar
from panbudget.scenario.garden import Scenario, Site, as_scenario
from panbudget.scenario.quantities import Day, day_or
from panbudget.season import faults, findings, heat, totals
from panbudget.season.demand import BedForcing
from panbudget.season.layout import Forcing, prepare
from panbudget.season.result import MORNING, Season, with_units
from panbudget.season.run import Ran, first_morning, run_salted
from panbudget.season.salt import SaltLeft
from panbudget.season.supplies import tanks_in_use
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

_CAUSES = {TRIP: "trip", PRESS: "press"}


def replay(
    scenario: Scenario | str | Path,
    *,
    start: Day | None = None,
    end: Day | None = None,
    variants: Sequence[str] = (),
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
    variants : sequence of str, optional
        Laid over it in order: names of its own, or files such as `fitted.toml`.
    weather : Weather, optional
        Already read; else the scenario's file is read.
    state : State, optional
        Where an earlier season of the same garden ended, to go on from there; it is left as it is.
    salt : mapping of SaltLeft, optional
        That season's ``salt_left``; without it pans hold water as the supply gives it.
    run : callable
        The engine, plain or compiled.

    Raises
    ------
    ScenarioError, WeatherError
        What the user can cure.
    ClosureError
        A water balance that does not close.
    """
    scenario = as_scenario(scenario, variants)
    first, last = day_or(start, "start", scenario.season.start), day_or(end, "end", scenario.season.end)
    if start is not None or end is not None:
        scenario = scenario.changed({"season": {"start": first, "end": last}})
    weather = read_scenario_weather(scenario, first, last, weather)
    if scenario.what_if.heat is not None:
        made = scenario.what_if.heat
        weather = heat.with_heat(weather, made, scenario.site, file=str(scenario.path), of=(first, last))
    garden = typed(scenario.path) if start is end is None else "--help"  # another's day is no mistake of the file's
    forcing = faults.with_faults(scenario, prepare(scenario, weather, first, last, garden=garden))
    spin_up = scenario.season.spin_up_days
    before = state.copy() if state is not None else first_morning(forcing, spin_up=spin_up, run=run)
    ran = run_salted(scenario, forcing, before, salt or {}, run=run)
    return _season(scenario, weather, before, salt or {}, ran)


def _season(scenario: Scenario, weather: Weather, before: State, salt: Mapping[str, SaltLeft], ran: Ran) -> Season:
    forcing, after, out, count, salts, salted = ran
    names, dates = list(scenario.controller), forcing.dates
    extremes = {f"{name}_c": forcing.weather[name].to_numpy(float) for name in ("tmin", "tmax")}
    days = _table(forcing, {"eto_mm": forcing.days.eto, "rain_mm": forcing.days.rain, **extremes})
    by_day = out._asdict() | {"caught": totals.rain_caught(forcing), "evaporation": forcing.pans.evaporation}
    controllers = _tables("controller_days", names, forcing, by_day)
    openings = _openings(scenario, forcing, out, count)
    sums = totals.add_up(forcing, before, after, out)
    parts = totals.season_totals(scenario, forcing, sums, out, openings)
    for row, balance in salts.items():
        parts["controllers"][names[row]]["salt"] = balance.as_dict(out.evaporated[row])
    first, last = dates[0].date(), dates[-1].date()
    whole: dict[str, Any] = {
        "title": scenario.title,
        "season": {"start": first.isoformat(), "end": last.isoformat(), "days": len(dates)},
        **parts,
        "weather": {
            "eto_mm": float(days["eto_mm"].sum()),
            "pan_evaporation_mm": {name: float(table["pan_mm"].sum()) for name, table in controllers.items()},
            "rain_mm": float(days["rain_mm"].sum()),
            "filled": weather.filled(first, last),
        },
    }
    season = Season(
        scenario=scenario,
        weather=weather,
        days=days,
        controllers=controllers,
        tanks=_tables("tank_days", tanks_in_use(scenario), forcing, by_day | {"inflow": forcing.tanks.inflow}),
        beds={key: _bed_days(forcing, out, index) for index, key in enumerate(forcing.bed_of)},
        openings=openings,
        hourly_level={name: out.hourly_level[row].copy() for row, name in enumerate(names)},
        findings=(),
        totals=whole,
        assumptions=(*forcing.assumptions, *weather.provenance["assumptions"]),
        state=after,
        salt_left={names[row]: balance.left(salted=salted) for row, balance in salts.items()},
        began=before,
        salt_before=dict(salt),
        forcing=forcing,
    )
    return dataclasses.replace(season, findings=findings.find(season))


def _table(forcing: Forcing, columns: Mapping[str, Any]) -> pd.DataFrame:
    return with_units(pd.DataFrame(columns, index=forcing.dates.rename("date")))


def _tables(kind: str, names: Iterable[str], forcing: Forcing, values: Mapping[str, Floats]) -> dict[str, pd.DataFrame]:
    """A daily table a name; ``values`` have a row each."""
    columns = totals.named(kind, values)
    rows = ((name, {column: part[at] for column, part in columns.items()}) for at, name in enumerate(names))
    return {name: _table(forcing, row) for name, row in rows}


def _bed_days(forcing: Forcing, out: Results, index: int) -> pd.DataFrame:
    bundle, row = forcing.bundle, forcing.bundle.rows[index]
    part = forcing.parts[row.ground]
    lanes = {lane: int(bundle.lane(lane)[index]) for lane in bundle.lanes}
    mean, eto = lanes["mean"], forcing.days.eto
    names = ("irrigation", "etc", "eta", "ke", "kr", "few", "surface_depletion")
    lane = {name: getattr(out, name)[mean] for name in names}
    evaporated = np.minimum(lane["ke"] * eto, lane["eta"])
    dual = lane | {"kc": part.kc, "evaporated": evaporated, "transpired": lane["eta"] - evaporated}
    raw = {name: readily_available(part, out.etc[at]) for name, at in lanes.items()}
    return _table(
        forcing,
        {
            "litres": lane["irrigation"] * row.area,
            "rain_mm": forcing.days.rain,
            "runoff_mm": forcing.days.rain - part.rain_in,
            "kc": part.kc + lane["ke"],
            "taw_mm": part.taw,
            "raw_mm": raw["mean"],
            "growing": part.growing,
            **{
                totals.PREFIXES[lane] + column: getattr(out, name)[at]
                for lane, at in lanes.items()
                for column, name in totals.COLUMNS["lane_days"].items()
            },
            **{
                totals.PREFIXES[name] + column: values
                for name in ("mean", "driest_quarter")
                for column, values in mornings(out, lanes[name], raw[name]).items()
            },
            "net_demand_mm": out.irrigation[lanes["exact_refill"]],
            **{
                column: values if forcing.beds.dual[row.ground] else np.nan
                for column, values in totals.named("dual_days", dual).items()
            },
        },
    )


def readily_available(part: BedForcing, etc: Floats) -> Floats:
    """Readily available water by day. (days,) [mm]"""
    p = [depletion_fraction(*p_etc) for p_etc in zip(part.p_table, etc, strict=True)]
    return np.array(p) * part.taw


def mornings(out: Results, lane: int, raw: Floats) -> dict[str, Floats]:
    """Depletion in the morning, the day's rain and water counted, by which Ks goes; and what is left to RAW. (days,) [mm]"""
    short = out.ks[lane] < 1.0
    depletion = np.maximum(out.depletion[lane] - out.eta[lane] - out.deep_percolation[lane], 0.0)
    # rounding must not say otherwise than Ks
    water_left = np.where(short, np.minimum(raw - depletion, 0.0), np.maximum(raw - depletion, 0.0))
    return dict(zip(MORNING, (depletion, water_left), strict=True))


def _openings(scenario: Scenario, forcing: Forcing, out: Results, count: int) -> pd.DataFrame:
    names, first, site = list(scenario.controller), forcing.dates[0].date(), scenario.site
    start, end = out.opening_start[:count], out.opening_end[:count]
    through = np.where(np.isnan(end), len(forcing.dates) * 24.0, end)
    table = pd.DataFrame(
        {
            "controller": [names[c] for c in out.opening_controller[:count]],
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
