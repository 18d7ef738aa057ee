"""
Season: a replay, and what came out of it: daily tables, the list of openings, totals, balances.

Units in the names of everything: kg (= litres), mm, hours, litres. `replay` is what a Python user calls.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from simulator import engine
from simulator.arrays import Floats, Results, State, empty_results, plain
from simulator.clock import from_solar
from simulator.errors import ClosureError, Problem, ScenarioError
from simulator.findings import Finding, find
from simulator.forcing import LANES, Forcing, initial_state, prepare
from simulator.heat import with_heat
from simulator.scenario import Scenario
from simulator.weather import Weather, read_weather
from simulator.weather.readers import format_problem

__all__ = ["CLOSURE", "Season", "read_scenario_weather", "replay"]

#: largest residual of a water balance, as a share of the water that passed
CLOSURE = 1e-9
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
        ``rain_caught_kg``, ``spilled_kg``, ``pan_level_kg`` (above the trip weight), ``stuck_hours``,
        ``dry_hours``, ``pan_mm``.
    beds : dict of DataFrame
        "CONTROLLER/BED" -> one row a day: ``litres``, ``irrigation_mm``, ``rain_mm``, ``runoff_mm``,
        ``depletion_mm``, ``ks``, ``etc_mm``, ``eta_mm``, ``deep_percolation_mm``, ``kc``, ``taw_mm``, ``raw_mm``,
        ``growing``; the same from irrigation on with the prefix ``driest_`` for the driest quarter; and
        ``net_demand_mm``, ``exact_depletion_mm`` for the yardstick of exact refill.
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
    forcing : Forcing
    """

    scenario: Scenario
    weather: Weather
    days: pd.DataFrame
    controllers: dict[str, pd.DataFrame]
    beds: dict[str, pd.DataFrame]
    openings: pd.DataFrame
    hourly_level: dict[str, Floats]
    findings: tuple[Finding, ...]
    totals: dict[str, Any]
    assumptions: tuple[str, ...]
    state: State
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
    problem = format_problem(source.format)
    if problem is not None:
        raise ScenarioError(Problem(problem, "weather.format", source.format), file=str(scenario.path))
    return read_weather(
        scenario.weather_path,
        scenario.site,
        file_format=source.format,
        wind_height=source.wind_height,
        missing_rain=source.missing_rain,
        too_bright=source.too_bright,
        columns={name: {"column": c.column, "unit": c.unit} for name, c in source.columns.items()},
        shown_as=source.file,
        start=start or scenario.season.start,
        end=end or scenario.season.end,
    )


def replay(
    scenario: Scenario,
    *,
    start: dt.date | None = None,
    end: dt.date | None = None,
    weather: Weather | None = None,
    state: State | None = None,
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
        weather = with_heat(weather, scenario.what_if.heat, scenario.site)
    forcing = prepare(scenario, weather, first, last)
    before = initial_state(scenario, forcing) if state is None else state.copy()
    after = before.copy()
    out = empty_results(len(forcing.pans.area), len(forcing.beds.lane_bed), len(forcing.dates), room=forcing.room)
    if run is engine.run_season:
        groups = (plain(forcing.days), plain(forcing.pans), plain(forcing.beds), plain(after), plain(out))
    else:
        groups = (forcing.days, forcing.pans, forcing.beds, after, out)
    count = run(*groups)
    if count > forcing.room:
        raise ClosureError(f"{count} openings do not fit the list of {forcing.room}: please report this")
    return _season(scenario, weather, forcing, before, after, out, count)


def _season(
    scenario: Scenario,
    weather: Weather,
    forcing: Forcing,
    before: State,
    after: State,
    out: Results,
    count: int,
) -> Season:
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
    beds = {key: _bed_days(forcing, out, index, key) for index, key in enumerate(forcing.bed_of)}
    openings = _openings(scenario, forcing, out, count)
    totals: dict[str, Any] = {
        "schema": 1,
        "title": scenario.title,
        "season": {
            "start": forcing.dates[0].date().isoformat(),
            "end": forcing.dates[-1].date().isoformat(),
            "days": len(forcing.dates),
        },
        "controllers": {
            name: _controller_totals(forcing, before, after, index, controllers[name], openings, name)
            for index, name in enumerate(scenario.controller)
        },
        "beds": {
            key: _bed_totals(scenario, forcing, before, after, index, beds[key], key)
            for index, key in enumerate(forcing.bed_of)
        },
        "supplies": {name: _supply_totals(scenario, forcing, controllers, openings, name) for name in scenario.supply},
        "weather": {
            "eto_mm": float(days["eto_mm"].sum()),
            "pan_evaporation_mm": {name: float(table["pan_mm"].sum()) for name, table in controllers.items()},
            "rain_mm": float(days["rain_mm"].sum()),
            "filled": weather.filled(forcing.dates[0].date(), forcing.dates[-1].date()),
        },
    }
    season = Season(
        scenario=scenario,
        weather=weather,
        days=days,
        controllers=controllers,
        beds=beds,
        openings=openings,
        hourly_level={n: out.hourly_level[i].copy() for i, n in enumerate(scenario.controller)},
        findings=(),
        totals=totals,
        assumptions=(*forcing.assumptions, *weather.provenance["assumptions"]),
        state=after,
        forcing=forcing,
    )
    return dataclasses.replace(season, findings=find(season))


def _controller_days(forcing: Forcing, out: Results, index: int, name: str) -> pd.DataFrame:
    pan = forcing.pan_of[name]
    flow = pan.refill_flow + sum(pan.bed_flows.values())
    return pd.DataFrame(
        {
            "openings": out.openings[index],
            "open_hours": out.open_hours[index],
            "litres": out.open_hours[index] * flow,
            "refilled_kg": out.refilled[index],
            "evaporated_kg": out.evaporated[index],
            "rain_caught_kg": forcing.days.rain * forcing.pans.area[index],
            "spilled_kg": out.spilled[index],
            "pan_level_kg": out.level[index],
            "stuck_hours": out.stuck_hours[index],
            "dry_hours": out.dry_hours[index],
            "pan_mm": forcing.pans.evaporation[index],
        },
        index=forcing.dates.rename("date"),
    )


def _bed_days(forcing: Forcing, out: Results, index: int, key: str) -> pd.DataFrame:
    part = forcing.bed_of[key]
    mean, driest, exact = (index * len(LANES) + lane for lane in range(len(LANES)))
    hours = out.open_hours[int(forcing.beds.lane_controller[mean])]
    p = np.clip(part.curve.depletion + 0.04 * (5.0 - out.etc[mean]), 0.1, 0.8)
    table = pd.DataFrame(
        {
            "litres": hours * forcing.pan_of[part.controller].bed_flows[part.name],
            "irrigation_mm": out.irrigation[mean],
            "rain_mm": forcing.days.rain,
            "runoff_mm": forcing.days.rain - part.rain_in,
            "depletion_mm": out.depletion[mean],
            "ks": out.ks[mean],
            "etc_mm": out.etc[mean],
            "eta_mm": out.eta[mean],
            "deep_percolation_mm": out.deep_percolation[mean],
            "kc": part.curve.kc + out.ke[mean],
            "taw_mm": part.taw,
            "raw_mm": p * part.taw,
            "growing": part.curve.growing,
        },
        index=forcing.dates.rename("date"),
    )
    for column in ("irrigation", "depletion", "ks", "etc", "eta", "deep_percolation"):
        unit = "" if column == "ks" else "_mm"
        table[f"driest_{column}{unit}"] = getattr(out, column)[driest]
    table["net_demand_mm"] = out.irrigation[exact]
    table["exact_depletion_mm"] = out.depletion[exact]
    return table


def _openings(scenario: Scenario, forcing: Forcing, out: Results, count: int) -> pd.DataFrame:
    names = list(scenario.controller)
    which = out.opening_controller[:count]
    start, end = out.opening_start[:count], out.opening_end[:count]
    through = np.where(np.isnan(end), len(forcing.dates) * 24.0, end)
    flow = np.array([p.refill_flow + sum(p.bed_flows.values()) for p in forcing.pan_of.values()])
    first, site = forcing.dates[0].date(), scenario.site
    table = pd.DataFrame(
        {
            "controller": [names[c] for c in which],
            "start": from_solar(first, start, site.longitude, site.timezone),
            "end": from_solar(first, end, site.longitude, site.timezone),
            "minutes": (through - start) * 60.0,
            "refilled_kg": out.opening_refilled[:count],
            "litres": (through - start) * flow[which],
            "cause": [_CAUSES[int(c)] for c in out.opening_cause[:count]],
            "start_h": start,
            "end_h": end,
        }
    )
    return table.sort_values(["start_h", "controller"], kind="stable", ignore_index=True)


def _balance(where: str, residual: float, passed: float) -> float:
    """Check that a balance closes; return what is left over."""
    if not abs(residual) <= CLOSURE * max(passed, 1.0):
        raise ClosureError(f"{where}: the water balance is off by {residual:.3g} of {passed:.6g}; please report this")
    return residual


def _controller_totals(
    forcing: Forcing,
    before: State,
    after: State,
    index: int,
    table: pd.DataFrame,
    openings: pd.DataFrame,
    name: str,
) -> dict[str, Any]:
    total = {column: float(table[column].sum()) for column in table.columns}
    start, end = float(before.level[index]), float(after.level[index])
    water = -float(forcing.pans.dry[index])  # kg in the pan when it stands at the trip weight
    gained = total["rain_caught_kg"] + total["refilled_kg"]
    residual = start + gained - total["evaporated_kg"] - total["spilled_kg"] - end
    flow_beds = sum(forcing.pan_of[name].bed_flows.values())
    return {
        "openings": int(total["openings"]),
        "open_hours": total["open_hours"],
        "evaporated_kg": total["evaporated_kg"],
        "rain_caught_kg": total["rain_caught_kg"],
        "spilled_kg": total["spilled_kg"],
        "refilled_kg": total["refilled_kg"],
        "pan_start_kg": start + water,
        "pan_end_kg": end + water,
        "closure_kg": _balance(f"controller {name}", residual, gained + start + water),
        "longest_gap_days": _longest_gap(openings[openings["controller"] == name], len(table)),
        "litres": total["litres"],
        "bed_litres": total["open_hours"] * flow_beds,
        "stuck_open_hours": total["stuck_hours"],
        "dry_pan_hours": total["dry_hours"],
    }


def _longest_gap(openings: pd.DataFrame, days: int) -> float:
    """Longest stretch with the valve shut, the season's ends included. [days]"""
    shut_from, longest = 0.0, 0.0
    for start, end in zip(openings["start_h"], openings["end_h"], strict=True):
        longest = max(longest, start - shut_from)
        shut_from = days * 24.0 if math.isnan(end) else end
    return max(longest, days * 24.0 - shut_from) / 24.0


def _longest_run(mask: pd.Series[bool]) -> int:
    longest = run = 0
    for value in mask:
        run = run + 1 if value else 0
        longest = max(longest, run)
    return longest


def _bed_totals(
    scenario: Scenario,
    forcing: Forcing,
    before: State,
    after: State,
    index: int,
    table: pd.DataFrame,
    key: str,
) -> dict[str, Any]:
    part = forcing.bed_of[key]
    bed = scenario.controller[part.controller].bed[part.name]
    lane = index * len(LANES)
    demand = float(table["net_demand_mm"].sum())
    totals = {
        "area_m2": bed.area,
        "litres": float(table["litres"].sum()),
        **_lane_totals(f"bed {key}", table, "", demand, before, after, lane),
    }
    quarter = _lane_totals(f"bed {key}, driest quarter", table, "driest_", demand, before, after, lane + 1)
    return {**totals, "driest_quarter": quarter}


def _lane_totals(
    where: str, table: pd.DataFrame, prefix: str, demand: float, before: State, after: State, lane: int
) -> dict[str, Any]:
    def total(column: str) -> float:
        return float(table[prefix + column].sum())

    rain, runoff = float(table["rain_mm"].sum()), float(table["runoff_mm"].sum())
    growing = table["growing"]
    stressed = (table[f"{prefix}ks"] < 1.0) & growing
    asked = float(table.loc[growing, f"{prefix}etc_mm"].sum())
    used = float(table.loc[growing, f"{prefix}eta_mm"].sum())
    arrived = table["rain_mm"] - table["runoff_mm"] + table[f"{prefix}irrigation_mm"]
    drained_share = (table[f"{prefix}deep_percolation_mm"] / arrived.where(arrived > 0.0)).fillna(0.0)
    kept = ((table["rain_mm"] - table["runoff_mm"]) * (1.0 - drained_share.clip(upper=1.0))).sum()
    start, end = float(before.depletion[lane]), float(after.depletion[lane])
    irrigation, eta, drained = total("irrigation_mm"), total("eta_mm"), total("deep_percolation_mm")
    residual = start - (rain - runoff) - irrigation + eta + drained - end
    return {
        "irrigation_mm": irrigation,
        "rain_mm": rain,
        "runoff_mm": runoff,
        "etc_mm": total("etc_mm"),
        "eta_mm": eta,
        "deep_percolation_mm": drained,
        "stress_days": int(stressed.sum()),
        "longest_stress_days": _longest_run(stressed),
        "adequacy": used / asked if asked > 0.0 else 1.0,
        "net_demand_mm": demand,
        "depletion_start_mm": start,
        "depletion_end_mm": end,
        "closure_mm": _balance(where, residual, rain + irrigation + eta + start),
        "rain_kept_mm": float(kept),
        "supply_over_demand": irrigation / demand if demand > 0.0 else None,
    }


def _supply_totals(
    scenario: Scenario,
    forcing: Forcing,
    controllers: dict[str, pd.DataFrame],
    openings: pd.DataFrame,
    name: str,
) -> dict[str, Any]:
    served = [c for c, controller in scenario.controller.items() if controller.supply == name]
    daily = pd.Series(0.0, index=forcing.dates)
    for controller in served:
        daily = daily + controllers[controller]["litres"]
    by_month = daily.groupby(pd.DatetimeIndex(daily.index).strftime("%Y-%m")).sum()
    peak = int(np.argmax(daily.to_numpy()))
    return {
        "litres": float(daily.sum()),
        "by_month": {str(month): float(litres) for month, litres in by_month.items()},
        "peak_day": {"date": f"{forcing.dates[peak]:%Y-%m-%d}", "litres": float(daily.iloc[peak])},
        "peak_rate_l_per_h": _peak_rate(forcing, openings[openings["controller"].isin(served)]),
    }


def _peak_rate(forcing: Forcing, openings: pd.DataFrame) -> float:
    """Largest flow of all valves that are open together. [L/h]"""
    flow = {n: p.refill_flow + sum(p.bed_flows.values()) for n, p in forcing.pan_of.items()}
    moments: list[tuple[float, int, str]] = []
    for start, end, controller in zip(openings["start_h"], openings["end_h"], openings["controller"], strict=True):
        moments.append((start, 1, controller))
        if not math.isnan(end):
            moments.append((end, -1, controller))
    most = 0.0
    running: set[str] = set()
    for _, step, controller in sorted(moments):  # at one moment, shutting (−1) counts before opening
        if step < 0:
            running.discard(controller)
        else:
            running.add(controller)
            # summed anew, in one order: a running total would keep rounding residue
            most = max(most, sum(flow[name] for name in flow if name in running))
    return most
