"""
Faults: what goes wrong, laid over a season's forcing day by day. Pure: a new forcing, the old one left alone.

Units as in the engine: kg, kg/h, mm, L/h. A fault lasts whole days, its first and last one included.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.numeric import Floats
from panbudget.scenario.faults import (
    Algae,
    Clogged,
    CloggedEmitters,
    CloggedRefill,
    Covered,
    Fault,
    Knocked,
    Lost,
    RainDiffers,
    Splash,
    SupplyCut,
)
from panbudget.scenario.garden import Scenario
from panbudget.season.layout import Forcing
from panbudget.words import day_said, number

DAYS_A_MONTH = 365.25 / 12.0
_MOST = 0.001  # kg; no swing is smaller


def fault_days(fault: Fault, dates: pd.DatetimeIndex) -> npt.NDArray[np.bool_]:
    """
    Return the days on which a fault is there.

    Parameters
    ----------
    fault : Fault
    dates : DatetimeIndex
        The run's days.

    Returns
    -------
    ndarray of bool (days,)
    """
    on = np.ones(len(dates), bool)
    if fault.start is not None:
        on &= np.asarray(dates >= pd.Timestamp(fault.start))
    if fault.end is not None:
        on &= np.asarray(dates <= pd.Timestamp(fault.end))
    return on


def lost_share(fault: CloggedRefill | CloggedEmitters | Algae, dates: pd.DatetimeIndex) -> Floats:
    """
    Return what clogging, algae or leaves have taken, day by day.

    Parameters
    ----------
    fault : Clogged or Algae
        With a share, or a rate a month and the day from which it counts.
    dates : DatetimeIndex

    Returns
    -------
    ndarray (days,)
        At the middle of each day, 0…1; 0 where the fault is not there. [-]

    Notes
    -----
    At a rate, the share grows evenly and stops when all is gone. A month is a twelfth of 365.25 days.
    """
    on = fault_days(fault, dates)
    if isinstance(fault, Clogged) and fault.rate is not None and fault.start is not None:
        since = np.asarray((dates - pd.Timestamp(fault.start)).days, float) + 0.5
        return np.where(on, np.clip(fault.rate * since / DAYS_A_MONTH, 0.0, 1.0), 0.0)
    return np.where(on, fault.share or 0.0, 0.0)


def fault_where(fault: Fault, scenario: Scenario) -> str:
    """Return the controller, bed or supply that a fault concerns, the only one where none is named."""
    key, named = fault.part
    return named or next(iter(scenario.supply if key == "supply" else scenario.controller))


def fault_said(fault: Fault) -> str:
    """
    Say what goes wrong, with its size.

    Examples
    --------
    >>> fault_said(CloggedRefill(kind="clogged-refill", share=0.5))
    'the refill emitter lost 50 % of its flow'
    """
    match fault:
        case Clogged():
            emitters, whose = (
                ("bed emitters", "their") if isinstance(fault, CloggedEmitters) else ("refill emitter", "its")
            )
            if fault.rate is None:
                return f"the {emitters} lost {_percent(fault.share)} of {whose} flow"
            verb = "lose" if whose == "their" else "loses"
            return f"the {emitters} {verb} {_percent(fault.rate)} of {whose} flow a month"
        case Lost():
            amount = f"{number(24.0 * fault.loss, 1)} L a day"
            return f"the pan leaks {amount}" if fault.kind == "leak" else f"animals drink {amount} from the pan"
        case Covered():
            what = "a mesh" if fault.kind == "mesh" else "shade"
            return f"{what} leaves {_percent(fault.factor)} of the pan's evaporation"
        case Algae():
            return f"algae or leaves cover {_percent(fault.share)} of the pan"
        case Knocked():
            changes = (("trip", fault.trip, "heavier", "lighter"), ("swing", fault.swing, "larger", "smaller"))
            parts = [
                f"{what} {number(abs(1000.0 * by))} g {more if by > 0.0 else less}"
                for what, by, more, less in changes
                if by is not None
            ]
            return "counterweight knocked: " + ", ".join(parts)
        case Splash():
            above, splash = number(fault.above, 1), number(fault.splash, 1)
            return f"wind over {above} m/s splashes out {splash} mm a day for each m/s"
        case RainDiffers():
            return f"the pan gets {_percent(fault.factor)} of the rain gauge's rain"
    return "the supply is cut"


def _percent(share: float | None) -> str:
    return f"{number(100.0 * (share or 0.0))} %"


def with_faults(scenario: Scenario, forcing: Forcing) -> Forcing:
    """
    Lay a scenario's faults over its forcing.

    Parameters
    ----------
    scenario : Scenario
    forcing : Forcing
        Without them.

    Returns
    -------
    Forcing
        Its own arrays; the assumptions name each fault.

    Raises
    ------
    ScenarioError
        A swing that would open the valve too often to list.

    Notes
    -----
    Several faults at one place come together: shares of what the others left, losses and weights added up. Where the
    trip weight rises, rim and floor lie nearer above and below it; a fault that was there before the run's first
    day finds the pan filled to the reset as it then is. Wind is the day's mean at 2 m. Friction on the way stays that of
    clean emitters.
    """
    if not scenario.fault:
        return forcing
    pans = forcing.pans._replace(
        **{
            name: getattr(forcing.pans, name).copy()
            for name in (
                *("evaporation", "swing", "rim", "dry", "shift", "leak", "rain_factor", "refill_flow", "valve_flow"),
            )
        }
    )
    beds = forcing.beds._replace(flow_factor=forcing.beds.flow_factor.copy())
    tanks = forcing.tanks._replace(draw_flow=forcing.tanks.draw_flow.copy())
    changed = dataclasses.replace(forcing, pans=pans, beds=beds, tanks=tanks)
    for fault in scenario.fault:
        _lay(fault, scenario, changed)
    assumed = (*forcing.assumptions, *fault_assumptions(scenario))
    assert changed.room  # a swing too small to list is refused here
    return dataclasses.replace(changed, assumptions=assumed)


def fault_assumptions(scenario: Scenario) -> list[str]:
    """Say the faults of a scenario as its season's assumptions: where, what, when."""
    lines = (f"fault, {fault_where(fault, scenario)}: {fault_said(fault)}, {_when(fault)}" for fault in scenario.fault)
    return list(dict.fromkeys(lines))


def _when(fault: Fault) -> str:
    first = f"from {day_said(fault.start)}" if fault.start is not None else "from before the first day"
    return first + (f" to {day_said(fault.end)}" if fault.end is not None else " on")


def _lay(fault: Fault, scenario: Scenario, forcing: Forcing) -> None:
    """Change the arrays of a forcing that is ours to change."""
    where = fault_where(fault, scenario)
    match fault:
        case SupplyCut():
            _cut(where, fault_days(fault, forcing.dates), scenario, forcing)
        case CloggedEmitters():
            names = [where] if fault.bed is not None else [f"{where}/{bed}" for bed in scenario.controller[where].bed]
            for name in names:
                _clog_bed(name, 1.0 - lost_share(fault, forcing.dates), scenario, forcing)
        case _:
            _lay_on_pan(fault, list(scenario.controller).index(where), forcing)


def _lay_on_pan(fault: Fault, row: int, forcing: Forcing) -> None:
    pans, on = forcing.pans, fault_days(fault, forcing.dates)
    match fault:
        case Clogged():
            left = 1.0 - lost_share(fault, forcing.dates)
            if pans.tank[row] < 0:  # under a tank the engine adds the flows itself
                pans.valve_flow[row] -= pans.refill_flow[row] * (1.0 - left)
            pans.refill_flow[row] *= left
        case Lost():
            pans.leak[row] += np.where(on, fault.loss, 0.0)
        case Covered():
            pans.evaporation[row] *= np.where(on, fault.factor, 1.0)
        case Algae():
            pans.evaporation[row] *= 1.0 - lost_share(fault, forcing.dates)
        case RainDiffers():
            pans.rain_factor[row] *= np.where(on, fault.factor, 1.0)
        case Splash():
            over = np.maximum(forcing.weather["wind"].to_numpy(float) - fault.above, 0.0)
            pans.leak[row] += np.where(on, over * fault.splash * pans.area[row] / 24.0, 0.0)
        case Knocked():
            _knock(fault, row, on, forcing)


def _knock(fault: Knocked, row: int, on: npt.NDArray[np.bool_], forcing: Forcing) -> None:
    pans = forcing.pans
    risen = np.where(on, fault.trip or 0.0, 0.0)
    pans.rim[row] -= risen
    pans.dry[row] -= risen
    before = 0.0 if fault.start is not None and fault.start >= forcing.dates[0].date() else risen[0]
    if fault.end is not None and fault.end < forcing.dates[0].date():
        # put right on the morning after its last day, which may be the first of a run that goes on from another
        before = (fault.trip or 0.0) if (forcing.dates[0].date() - fault.end).days == 1 else 0.0
    pans.shift[row] += np.diff(risen, prepend=before)
    pans.swing[row] = np.maximum(pans.swing[row] + np.where(on, fault.swing or 0.0, 0.0), _MOST)


def _cut(supply: str, on: npt.NDArray[np.bool_], scenario: Scenario, forcing: Forcing) -> None:
    for row, (name, controller) in enumerate(scenario.controller.items()):
        if controller.supply == supply:
            forcing.pans.refill_flow[row, on] = 0.0
            forcing.pans.valve_flow[row, on] = 0.0
            for bed in controller.bed:
                _clog_bed(f"{name}/{bed}", np.where(on, 0.0, 1.0), scenario, forcing)


def _clog_bed(key: str, left: Floats, scenario: Scenario, forcing: Forcing) -> None:
    """Take flow from a bed's emitters; ``left`` is what remains of it, by day. [-]"""
    name, bed = key.split("/")
    row = list(scenario.controller).index(name)
    factor = forcing.beds.flow_factor[list(forcing.bed_of).index(key)]
    was = factor.copy()
    factor *= left
    if forcing.pans.tank[row] < 0:
        lost = forcing.pan_of[name].bed_flows[bed] * (was - factor)
        forcing.pans.valve_flow[row] = np.maximum(forcing.pans.valve_flow[row] - lost, 0.0)
    else:
        draw = _draw_of(key, scenario, forcing)
        forcing.tanks.draw_flow[draw] *= left


def _draw_of(key: str, scenario: Scenario, forcing: Forcing) -> int:
    """Place of a bed among the draws on tanks, which stand in the scenario's order."""
    on_tank = [
        f"{name}/{bed}"
        for row, (name, controller) in enumerate(scenario.controller.items())
        if forcing.pans.tank[row] >= 0
        for bed in controller.bed
    ]
    return on_tank.index(key)
