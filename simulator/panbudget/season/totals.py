"""
Totals: runs added up, designs side by side, with every water balance checked on the way; and one garden's totals.

Units in the names: kg (= litres), mm over the bed, hours, litres, days.
"""

import math
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.engine import season as engine
from panbudget.engine.adding import LANE_SUMS
from panbudget.engine.arrays import Results, State
from panbudget.errors import ClosureError
from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.season import TEXTS, problem
from panbudget.season.layout import LANES, Forcing

#: largest residual of a water balance, as a share of the water that passed
CLOSURE = 1e-9
#: lane -> prefix of its columns in a bed's daily table
PREFIXES = {"mean": "", "driest_quarter": "driest_", "exact_refill": "exact_", "timer": "timer_"}
#: table or kind of totals -> the names that readers know, in order -> what the engine and this module call them
COLUMNS: dict[str, dict[str, str]] = TEXTS["columns"]


def named(kind: str, values: Mapping[str, Any]) -> dict[str, Any]:
    """Return values by the names that readers know, in the order of `COLUMNS`."""
    return {name: values[key] for name, key in COLUMNS[kind].items()}


class Added(NamedTuple):
    """
    What a run wrote, added up over its days. Of years side by side, with years before other axes.

    Parameters
    ----------
    lanes : ndarray (lanes, 12)
        In the order of `LANE_SUMS`.
    pans, tanks : ndarray (results, controllers), (results, tanks)
        In the order of `_PAN_RESULTS` and `_TANK_RESULTS`.
    least : ndarray (tanks,)
        Of a tank's volume.
    """

    lanes: Floats
    pans: Floats
    tanks: Floats
    least: Floats


_PAN_RESULTS = Results._fields[: Results._fields.index("starved_hours") + 1]
_TANK_RESULTS = ("tank_topped", "tank_drawn", "tank_over")


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
        name = where if isinstance(where, str) else where(index % np.shape(residual)[-1])
        off, of = np.ravel(residual)[index], np.ravel(passed)[index]
        raise ClosureError(problem("not-closed", f"{name}: the water balance", off=off, passed=of))
    return residual


def add_up(forcing: Forcing, before: State, after: State, out: Results) -> Sums:
    """
    Add a run up, and check every balance.

    Parameters
    ----------
    forcing : Forcing
        One design, or many side by side.
    before, after : State
        Of the run.
    out : Results

    Raises
    ------
    ClosureError
        A pan, a tank or a bed that does not close.
    """
    return sums_of(forcing, before, after, added(out))


def added(out: Results) -> Added:
    """Add up what one run wrote."""
    kinds = (_PAN_RESULTS, _TANK_RESULTS)
    pans, tanks = (np.array([getattr(out, name) for name in names]).sum(axis=-1) for names in kinds)
    return Added(out.sums.copy(), pans, tanks, out.tank_volume.min(axis=1, initial=math.inf))


def sums_of(forcing: Forcing, before: State, after: State, run: Added) -> Sums:
    """Return what a run, or years side by side, come to, and check every balance; as `add_up`."""
    ran = (forcing, before, after, run)
    return Sums(_lanes(*ran), _pans(*ran), _tanks(*ran))


def _lanes(forcing: Forcing, before: State, after: State, run: Added) -> dict[str, Floats]:
    beds, rain = forcing.beds, forcing.days.rain[..., None, :]
    bed, exact = beds.lane_bed, beds.lane_source == engine.EXACT_REFILL
    total = dict(zip(LANE_SUMS, np.moveaxis(run.lanes, -1, 0), strict=True))
    irrigation, asked = total["irrigation"], total["asked"]
    rain_in = beds.rain_in.sum(axis=-1)[..., bed]
    demand = np.full((*irrigation.shape[:-1], len(forcing.parts)), np.nan)
    demand[..., bed[exact]] = irrigation[..., exact]
    share = np.array([part.leaching for part in forcing.parts])
    # salt is kept out of the roots by water that drains: of what is given, the share `leaching` (FAO-29, eq. 9)
    leaching = np.divide(demand * share, 1.0 - share, out=np.full(demand.shape, np.nan), where=share < 1.0)
    needed = (demand + np.nan_to_num(leaching))[..., bed]
    residual = before.depletion - (rain_in + irrigation) + total["eta"] + total["drained"]
    residual = residual - total["left_below"] - after.depletion
    passed = rain.sum(axis=-1) + irrigation + total["eta"] + before.depletion
    values = {
        "rain": np.broadcast_to(rain.sum(axis=-1), irrigation.shape).copy(),
        "runoff": (rain - beds.rain_in).sum(axis=-1)[..., bed],
        "bare": total["etc"] - asked,
        "adequacy": np.divide(total["used"], asked, out=np.ones(asked.shape), where=asked > 0.0),
        "demand": demand[..., bed],
        "leaching": leaching[..., bed],
        "start": before.depletion,
        "end": after.depletion,
        "closure": checked_balance(lambda lane: _lane_name(forcing, lane), residual, passed),
        "supply_over_demand": np.divide(total["wanted"], needed, out=np.full(needed.shape, np.nan), where=needed > 0.0),
    }
    return named("lane_totals", total | values)


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


def rain_caught(forcing: Forcing) -> Floats:
    """Return the rain that falls into each pan. (…, controllers, days) [kg]"""
    return forcing.days.rain[..., None, :] * forcing.pans.rain_factor * forcing.pans.area[:, None]


def _pans(forcing: Forcing, before: State, after: State, run: Added) -> dict[str, Floats]:
    pans = forcing.pans
    total = dict(zip(_PAN_RESULTS, np.moveaxis(run.pans, -2, 0), strict=True))
    total["caught"] = rain_caught(forcing).sum(axis=-1)
    # a level counts from the trip weight, the water from the pan's floor, whatever was done to the trip weight
    start = before.level - pans.dry[:, 0] - pans.shift[:, 0]
    end = after.level - pans.dry[:, -1]
    gained = total["caught"] + total["refilled"]
    residual = start + gained - total["evaporated"] - total["leaked"] - total["spilled"] - end

    def name(index: int) -> str:
        valve = forcing.bundle.valves[index % len(forcing.bundle.valves)]  # several may be one, at other sizes
        return f"controller {valve.name}" + (f" of design {valve.design}" if valve.design else "")

    total |= {"start": start, "end": end, "closure": checked_balance(name, residual, gained + start)}
    beds = total["drawn"] - total["refilled"]
    return named("controller_totals", total | {"to_beds": beds, "unknown": np.full(start.shape, np.nan)})


def _tanks(forcing: Forcing, before: State, after: State, run: Added) -> dict[str, Floats]:
    total = {"inflow": forcing.tanks.inflow.sum(axis=-1)}
    total |= dict(zip(_TANK_RESULTS, np.moveaxis(run.tanks, -2, 0), strict=True))
    roof, topped, drawn, over = total.values()
    start, end, unknown = before.volume, after.volume, np.full(roof.shape, np.nan)
    residual, days = start + roof + topped - drawn - over - end, forcing.days.rain.shape[-1]
    values = {
        "start": start,
        "end": end,
        "least": run.least,
        "reserve": np.divide(end, drawn / days, out=unknown.copy(), where=drawn > 0.0),
        "closure": checked_balance(lambda index: f"tank {index}", residual, start + roof + topped),
    }
    return named("tank_totals", total | values | {"unknown": unknown})


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
    bundle, days = forcing.bundle, len(forcing.dates)
    gaps = [_longest_gap(openings[openings["controller"] == valve.name], days) for valve in bundle.valves]
    pans = {valve.name: _plain(sums.pans, index) for index, valve in enumerate(bundle.valves)}
    rows = enumerate(bundle.rows)
    return {
        "controllers": {name: pans[name] | {"longest_gap_days": gap} for name, gap in zip(pans, gaps, strict=True)},
        "beds": {f"{row.controller}/{row.bed}": _bed_totals(forcing, sums, out, index) for index, row in rows},
        "supplies": {name: _supply_totals(name, forcing, sums, out, openings) for name in scenario.supply},
    }


def _plain(totals: Mapping[str, Floats], index: int) -> dict[str, Any]:
    """One place's totals as JSON has them: whole numbers of days and openings, null for what can't be told."""
    values = {name: float(values[index]) for name, values in totals.items()}
    return {
        name: int(value) if name.endswith("stress_days") or name == "openings" else None if math.isnan(value) else value
        for name, value in values.items()
    }


def _longest_gap(openings: pd.DataFrame, days: int) -> float:
    """Longest stretch with the valve shut, the season's ends included. [days]"""
    opens = np.append(openings["start_h"], days * 24.0)
    shuts = np.append(0.0, openings["end_h"].fillna(days * 24.0))
    return max(float((opens - shuts).max()), 0.0) / 24.0


def _bed_totals(forcing: Forcing, sums: Sums, out: Results, index: int) -> dict[str, Any]:
    bundle = forcing.bundle
    row, lanes = bundle.rows[index], {}
    for name in bundle.lanes:
        lane = _plain(sums.lanes, bundle.lane(name)[index])
        litres = {} if name == "driest_quarter" else {"litres": lane["irrigation_mm"] * row.area}
        lanes[name] = litres | lane
    if bundle.valves[row.valve].controller.timer is None:
        lanes.pop("timer", None)
    mean, driest, exact = (lanes.pop(name) for name in LANES[:3])
    shared = {"driest_quarter": driest, "exact_refill": exact, "yield": _yields(forcing, out, index)}
    return {"area_m2": row.area, **mean, **shared, **lanes}


def _yields(forcing: Forcing, out: Results, index: int) -> list[dict[str, Any]]:
    """Yield response of each planting that has a Ky: 1 − Ya/Ym = Ky (1 − ETa/ETc) (FAO-33, 1979)."""
    bundle = forcing.bundle
    lane = bundle.lane("mean")[index]
    yields = []
    for part in forcing.parts[bundle.rows[index].ground].parts:
        asked, used = (float(values[lane][part.growing].sum()) for values in (out.etc, out.eta))
        if part.ky is not None and asked > 0.0:
            share = {"share_of_full_yield": max(1.0 - part.ky * (1.0 - used / asked), 0.0)}
            yields.append({"plants": part.name, "ky": part.ky, "eta_over_etc": used / asked, **share})
    return yields


def _supply_totals(name: str, forcing: Forcing, sums: Sums, out: Results, openings: pd.DataFrame) -> dict[str, Any]:
    """All that passed a supply's valves, refill emitters included."""
    served = [row for row, valve in enumerate(forcing.bundle.valves) if valve.controller.supply == name]
    valves, dates = [forcing.bundle.valves[row] for row in served], forcing.dates
    daily = pd.Series(out.drawn[served].sum(axis=0), index=dates)
    peak = int(np.argmax(daily.to_numpy()))
    totals: dict[str, Any] = {
        "litres": float(daily.sum()),
        "by_month": daily.groupby(dates.strftime("%Y-%m")).sum().to_dict(),
        "peak_day": {"date": f"{dates[peak]:%Y-%m-%d}", "litres": float(daily.iloc[peak])},
        "peak_rate_l_per_h": _peak_rate(forcing, openings[openings["controller"].isin([v.name for v in valves])]),
    }
    if valves and valves[0].tank >= 0:
        starved = out.starved_hours[served].sum(axis=0)
        empty = next((f"{day:%Y-%m-%d}" for day in dates[starved > 0.0]), None)
        tank = {"first_empty_day": empty, "starved_hours": float(starved.sum())}
        totals["tank"] = _plain(sums.tanks, valves[0].tank) | tank
    return totals


def valve_flows(forcing: Forcing) -> dict[str, Floats]:
    """
    Return what each valve lets through while it is open, day by day, faults and all; under a tank, a full one.

    Returns
    -------
    dict of ndarray (days,)
        Controller -> flow, the refill emitter's included. [L/h]
    """
    flows, pans = {}, forcing.pans
    open_share = dict(zip(forcing.bed_of, forcing.beds.flow_factor, strict=True))
    for row, (name, part) in enumerate(forcing.pan_of.items()):
        flows[name] = pans.valve_flow[row]
        if pans.tank[row] >= 0:
            clogged = sum(flow * (1.0 - open_share[f"{name}/{bed}"]) for bed, flow in part.bed_flows.items())
            share = pans.refill_flow[row] / part.at_reference[""]
            flows[name] = np.maximum(part.valve_flow - part.refill_flow * (1.0 - share) - clogged, 0.0)
    return flows


def hourly_evaporation(forcing: Forcing, row: int, evaporation: Floats) -> Floats:
    """
    Return what a pan loses in each hour.

    Parameters
    ----------
    forcing : Forcing
    row : int
        Of the pan.
    evaporation : ndarray (days,)
        The pan's. [mm]

    Returns
    -------
    ndarray (days, 24)
        [L/h]
    """
    pans, days = forcing.pans, forcing.days
    dark = pans.night_share[row]
    share = days.daylight_share * (1.0 - dark) + days.dark_share * dark
    return np.asarray((evaporation * pans.area[row])[:, None] * share)


def rates_by_day(openings: pd.DataFrame, flows: Mapping[str, Floats]) -> Floats:
    """
    Return the largest flow of all valves that are open together on each day, at an opening's start or a midnight.

    Parameters
    ----------
    openings : DataFrame
    flows : mapping of ndarray (days,)
        Controller -> what its valve lets through while it is open; those of no other count. [L/h]

    Returns
    -------
    ndarray (days,)
        [L/h]
    """
    days = max((len(flow) for flow in flows.values()), default=0)
    starts = np.maximum(openings["start_h"].to_numpy(float), 0.0)
    moments = np.concatenate([starts, 24.0 * np.arange(days)])
    day = np.minimum(moments // 24.0, max(days - 1, 0)).astype(int)
    rate, most = np.zeros(len(moments)), np.zeros(days)
    for name, flow in flows.items():
        of_valve = (openings["controller"] == name).to_numpy()
        ends = openings["end_h"].to_numpy(float)[of_valve]  # not a number, and sorted last, if still open
        # at one moment, shutting counts before opening
        opened, shut = (np.searchsorted(np.sort(hours), moments, side="right") for hours in (starts[of_valve], ends))
        rate += np.where(opened > shut, flow[day], 0.0)
    if days:
        np.maximum.at(most, day, rate)
    return most


def _peak_rate(forcing: Forcing, openings: pd.DataFrame) -> float:
    """Largest flow of all valves that are open together. [L/h]"""
    return float(rates_by_day(openings, valve_flows(forcing)).max())
