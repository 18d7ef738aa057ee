"""
Totals: runs added up, designs side by side, with every water balance checked on the way; and one garden's totals.

Units in the names: kg (= litres), mm over the bed, hours, litres, days.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.engine import season as engine
from panbudget.engine.adding import LANE_SUMS, add_lanes
from panbudget.engine.arrays import Results, State, plain
from panbudget.engine.compiled import compiled
from panbudget.errors import ClosureError, Problem
from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.season.layout import Forcing

#: largest residual of a water balance, as a share of the water that passed
CLOSURE = 1e-9
#: lane -> prefix of its columns in a bed's daily table
PREFIXES = {"mean": "", "driest_quarter": "driest_", "exact_refill": "exact_", "timer": "timer_"}


class Sums(NamedTuple):
    """
    A run added up.

    Parameters
    ----------
    lanes : dict
        Total -> (lanes,), as `season.json` has them for a bed and its driest quarter. What can't be told is not a number.
    pans : dict
        Total -> (controllers,), as `season.json` has them for a controller.
    tanks : dict
        Total -> (tanks,).
    """

    lanes: dict[str, Floats]
    pans: dict[str, Floats]
    tanks: dict[str, Floats]


def checked_balance(where: str | Callable[[int], str], residual: Any, passed: Any) -> Any:
    """
    Check that balances close; return what is left over.

    Parameters
    ----------
    where : str or callable
        What it is the balance of; of several, a function of the place.
    residual, passed : float or ndarray (n,)

    Raises
    ------
    ClosureError
        More is left over than `CLOSURE` of the water that passed.
    """
    wrong = np.flatnonzero(~(np.abs(residual) <= CLOSURE * np.maximum(passed, 1.0)))
    if len(wrong):
        index = int(wrong[0])
        name = where if isinstance(where, str) else where(index)
        off, of = np.atleast_1d(residual)[index], np.atleast_1d(passed)[index]
        found = f"is off by {off:.3g} of {of:.6g}"
        raise ClosureError(Problem("not-closed", f"{name}: the water balance", found, cure="please report this"))
    return residual


def add_up(
    forcing: Forcing, before: State, after: State, out: Results, *, run: Callable[..., int] = engine.run_season
) -> Sums:
    """
    Add a run up, and check every balance.

    Parameters
    ----------
    forcing : Forcing
        One design, or many side by side.
    before, after : State
        Of the run.
    out : Results
    run : callable
        The engine, plain or compiled: what adds up is compiled with it, and gives the same numbers to the last bit.

    Returns
    -------
    Sums

    Raises
    ------
    ClosureError
        A pan, a tank or a bed that does not close.
    """
    return Sums(
        _lanes(forcing, before, after, out, run),
        _pans(forcing, before, after, out),
        _tanks(forcing, before, after, out),
    )


def _lanes(forcing: Forcing, before: State, after: State, out: Results, run: Callable[..., int]) -> dict[str, Floats]:
    beds, rain = forcing.beds, forcing.days.rain
    bed, exact = beds.lane_bed, beds.lane_source == engine.EXACT_REFILL
    sums = np.zeros((len(bed), len(LANE_SUMS)))
    if run is engine.run_season:
        interpreted: Callable[..., None] = add_lanes
        interpreted(plain(beds), plain(out), memoryview(sums.data))
    else:
        compiled(add_lanes)(beds, out, sums)
    total = dict(zip(LANE_SUMS, sums.T, strict=True))
    irrigation, asked = total["irrigation"], total["asked"]
    rain_in = beds.rain_in.sum(axis=1)[bed]
    demand = np.full(len(forcing.parts), np.nan)
    demand[bed[exact]] = irrigation[exact]
    share = np.array([part.leaching for part in forcing.parts])
    # salt is kept out of the roots by water that drains: of what is given, the share `leaching` (FAO-29, eq. 9)
    leaching = np.divide(demand * share, 1.0 - share, out=np.full(len(share), np.nan), where=share < 1.0)
    needed = (demand + np.nan_to_num(leaching))[bed]
    residual = before.depletion - (rain_in + irrigation) + total["eta"] + total["drained"]
    residual = residual - total["left_below"] - after.depletion
    passed = rain.sum() + irrigation + total["eta"] + before.depletion
    return {
        "irrigation_mm": irrigation,
        "rain_mm": np.full(len(bed), rain.sum()),
        "runoff_mm": (rain - beds.rain_in).sum(axis=1)[bed],
        "etc_mm": total["etc"],
        "eta_mm": total["eta"],
        "deep_percolation_mm": total["drained"],
        "stress_days": total["stress_days"],
        "longest_stress_days": total["longest_stress_days"],
        "adequacy": np.divide(total["used"], asked, out=np.ones(len(bed)), where=asked > 0.0),
        "net_demand_mm": demand[bed],
        "leaching_mm": leaching[bed],
        "depletion_start_mm": before.depletion,
        "depletion_end_mm": after.depletion,
        "left_below_mm": total["left_below"],
        "closure_mm": checked_balance(lambda lane: _lane_name(forcing, lane), residual, passed),
        "rain_kept_mm": total["kept"],
        "supply_over_demand": np.divide(irrigation, needed, out=np.full(len(bed), np.nan), where=needed > 0.0),
    }


def _lane_name(forcing: Forcing, lane: int) -> str:
    design = {row: f" of design {name}" for row, (name, *_) in enumerate(forcing.bundle.rows) if name}
    return f"bed {forcing.parts[forcing.beds.lane_bed[lane]].key}{design.get(lane // 2, '')}, lane {lane}"


def rain_kept(rain_in: Any, irrigation: Any, drained: Any, exact: Any = False) -> Any:
    """
    Return the rain that stayed in the root zone, day by day. [mm]

    Parameters
    ----------
    rain_in, irrigation, drained : ndarray or Series, any shape
        Rain less runoff, what was given, what drained below the roots. [mm/day]
    exact : bool or ndarray
        Whether water is given at the day's end, as exact refill does.

    Notes
    -----
    Of what drains on a day, rain has the share that it has of the day's water: common practice, no source. Exact
    refill waters at the day's end, so what drains there is rain.
    """
    arrived = rain_in + irrigation
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(arrived > 0.0, np.minimum(drained / arrived, 1.0), 0.0)
    return np.where(exact, rain_in - np.minimum(drained, rain_in), rain_in * (1.0 - share))


def _pans(forcing: Forcing, before: State, after: State, out: Results) -> dict[str, Floats]:
    pans = forcing.pans
    caught = (forcing.days.rain * pans.rain_factor * pans.area[:, None]).sum(axis=1)
    # a level counts from the trip weight, the water from the pan's floor, whatever was done to the trip weight
    start = before.level - pans.dry[:, 0] - pans.shift[:, 0]
    end = after.level - pans.dry[:, -1]
    total = {
        name: getattr(out, name).sum(axis=1) for name in Results._fields[: Results._fields.index("starved_hours") + 1]
    }
    gained = caught + total["refilled"]
    residual = start + gained - total["evaporated"] - total["leaked"] - total["spilled"] - end

    def name(index: int) -> str:
        valve = forcing.bundle.valves[index]
        return f"controller {valve.name}" + (f" of design {valve.design}" if valve.design else "")

    return {
        "openings": total["openings"],
        "open_hours": total["open_hours"],
        "evaporated_kg": total["evaporated"],
        "rain_caught_kg": caught,
        "leaked_kg": total["leaked"],
        "spilled_kg": total["spilled"],
        "refilled_kg": total["refilled"],
        "pan_start_kg": start,
        "pan_end_kg": end,
        "closure_kg": checked_balance(name, residual, gained + start),
        "litres": total["drawn"],
        "bed_litres": total["drawn"] - total["refilled"],
        "stuck_open_hours": total["stuck_hours"],
        "dry_pan_hours": total["dry_hours"],
        "starved_hours": total["starved_hours"],
    }


def _tanks(forcing: Forcing, before: State, after: State, out: Results) -> dict[str, Floats]:
    roof, topped, drawn, over = (
        part.sum(axis=1) for part in (forcing.tanks.inflow, out.tank_topped, out.tank_drawn, out.tank_over)
    )
    start, end = before.volume, after.volume
    residual = start + roof + topped - drawn - over - end
    days = len(forcing.days.rain)
    return {
        "start_l": start,
        "end_l": end,
        "roof_l": roof,
        "topped_l": topped,
        "drawn_l": drawn,
        "over_l": over,
        "least_l": out.tank_volume.min(axis=1, initial=math.inf),
        "days_of_reserve": np.divide(end, drawn / days, out=np.full(len(end), np.nan), where=drawn > 0.0),
        "closure_l": checked_balance(lambda index: f"tank {index}", residual, start + roof + topped),
    }


def season_totals(
    scenario: Scenario, forcing: Forcing, sums: Sums, out: Results, openings: pd.DataFrame
) -> dict[str, Any]:
    """
    Return one garden's totals: its controllers, beds and supplies, as `season.json` has them.

    Parameters
    ----------
    scenario : Scenario
    forcing : Forcing
    sums : Sums
        Of the run.
    out : Results
    openings : DataFrame

    Returns
    -------
    dict
        "controllers", "beds" and "supplies".
    """
    rows = forcing.bundle.rows
    return {
        "controllers": {
            name: _controller_totals(sums, index, openings[openings["controller"] == name], len(forcing.dates))
            for index, name in enumerate(scenario.controller)
        },
        "beds": {
            f"{row.controller}/{row.bed}": _bed_totals(forcing, sums, out, index) for index, row in enumerate(rows)
        },
        "supplies": {name: _supply_totals(scenario, forcing, sums, out, openings, name) for name in scenario.supply},
    }


def _plain(totals: Mapping[str, Floats], index: int) -> dict[str, Any]:
    """One place's totals as JSON has them: whole numbers of days and openings, null for what can't be told."""
    values = {name: float(values[index]) for name, values in totals.items()}
    return {
        name: int(value) if name.endswith("stress_days") or name == "openings" else None if math.isnan(value) else value
        for name, value in values.items()
    }


def _controller_totals(sums: Sums, index: int, openings: pd.DataFrame, days: int) -> dict[str, Any]:
    totals = {}
    for name, value in _plain(sums.pans, index).items():
        totals[name] = value
        if name == "closure_kg":
            totals["longest_gap_days"] = _longest_gap(openings, days)
    return totals


def _longest_gap(openings: pd.DataFrame, days: int) -> float:
    """Longest stretch with the valve shut, the season's ends included. [days]"""
    opens = np.append(openings["start_h"], days * 24.0)
    shuts = np.append(0.0, openings["end_h"].fillna(days * 24.0))
    return max(float((opens - shuts).max()), 0.0) / 24.0


def _bed_totals(forcing: Forcing, sums: Sums, out: Results, index: int) -> dict[str, Any]:
    bundle = forcing.bundle
    row = bundle.rows[index]
    lanes = {name: _plain(sums.lanes, bundle.lane(name)[index]) for name in bundle.lanes}

    def litres(lane: str) -> dict[str, Any]:
        return {"litres": lanes[lane]["irrigation_mm"] * row.area, **lanes[lane]}

    totals = {
        "area_m2": row.area,
        **litres("mean"),
        "driest_quarter": lanes["driest_quarter"],
        "exact_refill": litres("exact_refill"),
        "yield": _yields(forcing, out, index),
    }
    if "timer" in lanes and bundle.valves[bundle.row_controller[index]].controller.timer is not None:
        totals["timer"] = litres("timer")
    return totals


def _yields(forcing: Forcing, out: Results, index: int) -> list[dict[str, Any]]:
    """Yield response of each planting that has a Ky: 1 − Ya/Ym = Ky (1 − ETa/ETc) (FAO-33, 1979)."""
    bundle = forcing.bundle
    lane = bundle.lane("mean")[index]
    yields = []
    for part in forcing.parts[bundle.row_ground[index]].parts:
        asked, used = (float(values[lane][part.growing].sum()) for values in (out.etc, out.eta))
        if part.ky is not None and asked > 0.0:
            share = max(1.0 - part.ky * (1.0 - used / asked), 0.0)
            yields.append(
                {"plants": part.name, "ky": part.ky, "eta_over_etc": used / asked, "share_of_full_yield": share}
            )
    return yields


def _supply_totals(
    scenario: Scenario, forcing: Forcing, sums: Sums, out: Results, openings: pd.DataFrame, name: str
) -> dict[str, Any]:
    """All that passed a supply's valves, refill emitters included."""
    served = {key: row for row, (key, valve) in enumerate(scenario.controller.items()) if valve.supply == name}
    daily = pd.Series(out.drawn[list(served.values())].sum(axis=0), index=forcing.dates)
    by_month = daily.groupby(forcing.dates.strftime("%Y-%m")).sum()
    peak = int(np.argmax(daily.to_numpy()))
    totals: dict[str, Any] = {
        "litres": float(daily.sum()),
        "by_month": {str(month): float(litres) for month, litres in by_month.items()},
        "peak_day": {"date": f"{forcing.dates[peak]:%Y-%m-%d}", "litres": float(daily.iloc[peak])},
        "peak_rate_l_per_h": _peak_rate(forcing, openings[openings["controller"].isin(list(served))]),
    }
    if served and forcing.pans.tank[min(served.values())] >= 0:
        tank = _plain(sums.tanks, int(forcing.pans.tank[min(served.values())]))
        starved = out.starved_hours[list(served.values())].sum(axis=0)
        empty = forcing.dates[starved > 0.0]
        tank["first_empty_day"] = f"{empty[0]:%Y-%m-%d}" if len(empty) else None
        tank["starved_hours"] = float(starved.sum())
        order = ("start_l", "end_l", "roof_l", "topped_l", "drawn_l", "over_l", "least_l", "first_empty_day")
        totals["tank"] = {key: tank[key] for key in (*order, "starved_hours", "days_of_reserve", "closure_l")}
    return totals


def valve_flows(forcing: Forcing) -> dict[str, Floats]:
    """
    Return what each valve lets through while it is open, day by day, faults and all; under a tank, a full one.

    Parameters
    ----------
    forcing : Forcing

    Returns
    -------
    dict of ndarray (days,)
        Controller -> flow, the refill emitter's included. [L/h]
    """
    flows = {}
    for row, (name, part) in enumerate(forcing.pan_of.items()):
        flows[name] = forcing.pans.valve_flow[row]
        if forcing.pans.tank[row] >= 0:
            beds = [i for i, key in enumerate(forcing.bed_of) if key.split("/")[0] == name]
            clogged = [
                part.bed_flows[list(forcing.bed_of)[i].split("/")[1]] * (1.0 - forcing.beds.flow_factor[i])
                for i in beds
            ]
            left = forcing.pans.refill_flow[row] / part.at_reference[""]
            flows[name] = np.maximum(part.valve_flow - part.refill_flow * (1.0 - left) - sum(clogged), 0.0)
    return flows


def _peak_rate(forcing: Forcing, openings: pd.DataFrame) -> float:
    """Largest flow of all valves that are open together. [L/h]"""
    flow = valve_flows(forcing)
    last = len(forcing.dates) - 1
    moments: list[tuple[float, int, str]] = []
    for start, end, controller in zip(openings["start_h"], openings["end_h"], openings["controller"], strict=True):
        moments.append((max(start, 0.0), 1, controller))
        if not math.isnan(end):
            moments.append((end, -1, controller))
        # a flow may be another from midnight on
        until = 24.0 * (last + 1) if math.isnan(end) else end
        midnights = 24.0 * np.arange(int(max(start, 0.0) // 24.0) + 1, last + 1)
        moments.extend((float(hour), 0, controller) for hour in midnights[midnights < until])
    most = 0.0
    running: set[str] = set()
    for hour, step, controller in sorted(moments):  # at one moment, shutting (−1) counts before opening
        if step < 0:
            running.discard(controller)
            continue
        running.add(controller)
        day = min(int(hour // 24.0), last)
        # added up again, in one order: a running total would keep rounding residue
        most = max(most, sum(float(flow[name][day]) for name in flow if name in running))
    return most
