"""
Totals: a season added up, for `season.json` and the reports, with every water balance checked on the way.

Units in the names: kg (= litres), mm over the bed, hours, litres, days.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from panbudget.engine.arrays import State
from panbudget.errors import ClosureError
from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.season.forcing import Forcing

#: largest residual of a water balance, as a share of the water that passed
CLOSURE = 1e-9
#: lane -> prefix of its columns in a bed's daily table
PREFIXES = {"mean": "", "driest_quarter": "driest_", "exact_refill": "exact_", "timer": "timer_"}


def checked_balance(where: str, residual: float, passed: float) -> float:
    """
    Check that a balance closes; return what is left over.

    Raises
    ------
    ClosureError
        More is left over than `CLOSURE` of the water that passed.
    """
    if not abs(residual) <= CLOSURE * max(passed, 1.0):
        raise ClosureError(f"{where}: the water balance is off by {residual:.3g} of {passed:.6g}; please report this")
    return residual


def controller_totals(
    forcing: Forcing,
    before: State,
    after: State,
    index: int,
    table: pd.DataFrame,
    openings: pd.DataFrame,
    name: str,
) -> dict[str, Any]:
    """
    Add a controller's season up, and check its pan's balance.

    Parameters
    ----------
    forcing : Forcing
    before, after : State
        Of the run.
    index : int
        The controller's place.
    table, openings : DataFrame
        Its daily table; the list of openings.
    name : str

    Returns
    -------
    dict

    Raises
    ------
    ClosureError
        A pan that does not close.
    """
    total = {column: float(table[column].sum()) for column in table.columns}
    dry = forcing.pans.dry[index]
    # a level counts from the trip weight, the water from the pan's floor, whatever was done to the trip weight
    start = float(before.level[index] - dry[0] - forcing.pans.shift[index, 0])
    end = float(after.level[index] - dry[-1])
    gained = total["rain_caught_kg"] + total["refilled_kg"]
    residual = start + gained - total["evaporated_kg"] - total["leaked_kg"] - total["spilled_kg"] - end
    return {
        "openings": int(total["openings"]),
        "open_hours": total["open_hours"],
        "evaporated_kg": total["evaporated_kg"],
        "rain_caught_kg": total["rain_caught_kg"],
        "leaked_kg": total["leaked_kg"],
        "spilled_kg": total["spilled_kg"],
        "refilled_kg": total["refilled_kg"],
        "pan_start_kg": start,
        "pan_end_kg": end,
        "closure_kg": checked_balance(f"controller {name}", residual, gained + start),
        "longest_gap_days": _longest_gap(openings[openings["controller"] == name], len(table)),
        "litres": total["litres"],
        "bed_litres": total["litres"] - total["refilled_kg"],
        "stuck_open_hours": total["stuck_hours"],
        "dry_pan_hours": total["dry_hours"],
        "starved_hours": total["starved_hours"],
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


def bed_totals(
    scenario: Scenario,
    forcing: Forcing,
    before: State,
    after: State,
    index: int,
    table: pd.DataFrame,
    key: str,
) -> dict[str, Any]:
    """
    Add a bed's season up: its mean, its driest quarter, and the yardsticks that ran beside it.

    Parameters
    ----------
    scenario : Scenario
    forcing : Forcing
    before, after : State
        Of the run.
    index : int
        The bed's place.
    table : DataFrame
        Its daily table.
    key : str
        "CONTROLLER/BED".

    Returns
    -------
    dict

    Raises
    ------
    ClosureError
        A bucket that does not close.
    """
    part = forcing.bed_of[key]
    bed = scenario.controller[part.controller].bed[part.name]
    demand = float(table["net_demand_mm"].sum())
    # salt is kept out of the roots by water that drains: of what is given, the share `leaching` (FAO-29, eq. 9)
    leaching = math.inf if part.leaching >= 1.0 else demand * part.leaching / (1.0 - part.leaching)
    lanes = {}
    for offset, lane in enumerate(forcing.lanes):
        row = index * len(forcing.lanes) + offset
        start, end = float(before.depletion[row]), float(after.depletion[row])
        lanes[lane] = _lane_totals(f"bed {key}, {lane}", table, PREFIXES[lane], demand, leaching, start, end)
    totals = {
        "area_m2": bed.area,
        "litres": float(table["litres"].sum()),
        **lanes["mean"],
        "driest_quarter": lanes["driest_quarter"],
        "exact_refill": {"litres": demand * bed.area, **lanes["exact_refill"]},
        "yield": _yields(forcing, table, key),
    }
    if "timer" in lanes and scenario.controller[part.controller].timer is not None:
        totals["timer"] = {"litres": lanes["timer"]["irrigation_mm"] * bed.area, **lanes["timer"]}
    return totals


def _yields(forcing: Forcing, table: pd.DataFrame, key: str) -> list[dict[str, Any]]:
    """Yield response of each planting that has a Ky: 1 − Ya/Ym = Ky (1 − ETa/ETc) (FAO-33, 1979)."""
    found = []
    for part in forcing.bed_of[key].curve.parts:
        asked = float(table["etc_mm"].to_numpy()[part.growing].sum())
        if part.ky is None or asked <= 0.0:
            continue
        used = float(table["eta_mm"].to_numpy()[part.growing].sum())
        share = max(1.0 - part.ky * (1.0 - used / asked), 0.0)
        found.append({"plants": part.name, "ky": part.ky, "eta_over_etc": used / asked, "share_of_full_yield": share})
    return found


def _lane_totals(
    where: str, table: pd.DataFrame, prefix: str, demand: float, leaching: float, start: float, end: float
) -> dict[str, Any]:
    def total(column: str) -> float:
        return float(table[prefix + column].sum())

    rain, runoff = float(table["rain_mm"].sum()), float(table["runoff_mm"].sum())
    growing = table["growing"]
    stressed = (table[f"{prefix}ks"] < 1.0) & growing
    asked = float(table.loc[growing, f"{prefix}etc_mm"].sum())
    used = float(table.loc[growing, f"{prefix}eta_mm"].sum())
    kept = float(rain_kept(table, prefix).sum())
    irrigation, eta, drained = total("irrigation_mm"), total("eta_mm"), total("deep_percolation_mm")
    left_below = total("left_below_mm")
    residual = start - (rain - runoff) - irrigation + eta + drained - left_below - end
    needed = demand + (leaching if math.isfinite(leaching) else 0.0)
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
        "leaching_mm": leaching if math.isfinite(leaching) else None,
        "depletion_start_mm": start,
        "depletion_end_mm": end,
        "left_below_mm": left_below,
        "closure_mm": checked_balance(where, residual, rain + irrigation + eta + start),
        "rain_kept_mm": kept,
        "supply_over_demand": irrigation / needed if needed > 0.0 else None,
    }


def rain_kept(table: pd.DataFrame, prefix: str = "") -> pd.Series[float]:
    """
    Return the rain that stayed in the root zone, day by day. [mm]

    Parameters
    ----------
    table : DataFrame
        A bed's daily table.
    prefix : str
        The lane's, as in `PREFIXES`.

    Returns
    -------
    Series (days,)

    Notes
    -----
    Of what drains on a day, rain has the share that it has of the day's water: common practice, no source. Exact
    refill waters at the day's end, so what drains there is rain.
    """
    rain_in = table["rain_mm"] - table["runoff_mm"]
    drained = table[f"{prefix}deep_percolation_mm"]
    if prefix == PREFIXES["exact_refill"]:
        return rain_in - drained.clip(upper=rain_in)
    arrived = rain_in + table[f"{prefix}irrigation_mm"]
    share = (drained / arrived.where(arrived > 0.0)).fillna(0.0).clip(upper=1.0)
    return rain_in * (1.0 - share)


def supply_totals(
    scenario: Scenario,
    forcing: Forcing,
    before: State,
    controllers: dict[str, pd.DataFrame],
    tanks: dict[str, pd.DataFrame],
    openings: pd.DataFrame,
    name: str,
) -> dict[str, Any]:
    """
    Add a supply's season up: all that passed its valves, refill emitters included.

    Parameters
    ----------
    scenario : Scenario
    forcing : Forcing
    before : State
        Of the run.
    controllers, tanks : dict of DataFrame
        Daily tables.
    openings : DataFrame
    name : str
        The supply's.

    Returns
    -------
    dict
    """
    served = [c for c, controller in scenario.controller.items() if controller.supply == name]
    daily = pd.Series(0.0, index=forcing.dates)
    for controller in served:
        daily = daily + controllers[controller]["litres"]
    by_month = daily.groupby(pd.DatetimeIndex(daily.index).strftime("%Y-%m")).sum()
    peak = int(np.argmax(daily.to_numpy()))
    totals = {
        "litres": float(daily.sum()),
        "by_month": {str(month): float(litres) for month, litres in by_month.items()},
        "peak_day": {"date": f"{forcing.dates[peak]:%Y-%m-%d}", "litres": float(daily.iloc[peak])},
        "peak_rate_l_per_h": _peak_rate(forcing, openings[openings["controller"].isin(served)]),
    }
    if name in tanks:
        starved = pd.Series(0.0, index=forcing.dates)
        for controller in served:
            starved = starved + controllers[controller]["starved_hours"]
        totals["tank"] = _tank_totals(name, tanks[name], float(before.volume[list(tanks).index(name)]), starved)
    return totals


def _tank_totals(name: str, table: pd.DataFrame, start: float, starved: pd.Series[float]) -> dict[str, Any]:
    total = {column: float(table[column].sum()) for column in ("roof_l", "topped_l", "drawn_l", "over_l")}
    end = float(table["volume_l"].iloc[-1])
    residual = start + total["roof_l"] + total["topped_l"] - total["drawn_l"] - total["over_l"] - end
    empty = np.flatnonzero(starved.to_numpy() > 0.0)
    drawn = total["drawn_l"] / len(table)
    return {
        "start_l": start,
        "end_l": end,
        **total,
        "least_l": float(table["volume_l"].min()),
        "first_empty_day": f"{pd.DatetimeIndex(table.index)[empty[0]]:%Y-%m-%d}" if len(empty) else None,
        "starved_hours": float(starved.sum()),
        "days_of_reserve": end / drawn if drawn > 0.0 else None,
        "closure_l": checked_balance(f"supply {name}", residual, start + total["roof_l"] + total["topped_l"]),
    }


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
        # summed anew, in one order: a running total would keep rounding residue
        most = max(most, sum(float(flow[name][day]) for name in flow if name in running))
    return most
