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
from panbudget.scenario.garden import Fault, Scenario
from panbudget.season.forcing import Forcing, room_for
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


def lost_share(fault: Fault, dates: pd.DatetimeIndex) -> Floats:
    """
    Return what clogging, algae or leaves have taken, day by day.

    Parameters
    ----------
    fault : Fault
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
    if fault.rate is not None and fault.start is not None:
        since = np.asarray((dates - pd.Timestamp(fault.start)).days, float) + 0.5
        return np.where(on, np.clip(fault.rate * since / DAYS_A_MONTH, 0.0, 1.0), 0.0)
    return np.where(on, fault.share or 0.0, 0.0)


def fault_where(fault: Fault, scenario: Scenario) -> str:
    """Return the controller, bed or supply that a fault concerns, the only one where none is named."""
    if fault.kind == "supply-cut":
        return fault.supply or next(iter(scenario.supply))
    return fault.bed or fault.controller or next(iter(scenario.controller))


def fault_said(fault: Fault) -> str:
    """
    Say what goes wrong, with its size.

    Examples
    --------
    >>> fault_said(Fault(kind="clogged-refill", share=0.5))
    'the refill emitter lost 50 % of its flow'
    """
    return {
        "clogged-refill": "the refill emitter " + _clogged(fault, "its"),
        "clogged-emitters": "the bed emitters " + _clogged(fault, "their"),
        "leak": f"the pan leaks {_a_day(fault)}",
        "animals": f"animals drink {_a_day(fault)} from the pan",
        "mesh": f"a mesh leaves {_percent(fault.factor)} of the pan's evaporation",
        "shade": f"shade leaves {_percent(fault.factor)} of the pan's evaporation",
        "algae": f"algae or leaves cover {_percent(fault.share)} of the pan",
        "knocked": "counterweight knocked: " + _knocked(fault),
        "supply-cut": "the supply is cut",
        "splash": (
            f"wind over {number(fault.above, 1)} m/s splashes out {number(fault.splash, 1)} mm a day for each m/s"
        ),
        "rain-differs": f"the pan gets {_percent(fault.factor)} of the rain gauge's rain",
    }[fault.kind]


def _percent(share: float | None) -> str:
    return f"{number(100.0 * (share or 0.0))} %"


def _clogged(fault: Fault, whose: str) -> str:
    if fault.rate is not None:
        return (
            f"lose {_percent(fault.rate)} of {whose} flow a month"
            if whose == "their"
            else (f"loses {_percent(fault.rate)} of {whose} flow a month")
        )
    return f"lost {_percent(fault.share)} of {whose} flow"


def _a_day(fault: Fault) -> str:
    return f"{number(24.0 * (fault.loss or 0.0), 1)} L a day"


def _knocked(fault: Fault) -> str:
    parts = []
    if fault.trip is not None:
        parts.append(f"trip {number(abs(1000.0 * fault.trip))} g {'heavier' if fault.trip > 0.0 else 'lighter'}")
    if fault.swing is not None:
        parts.append(f"swing {number(abs(1000.0 * fault.swing))} g {'larger' if fault.swing > 0.0 else 'smaller'}")
    return ", ".join(parts)


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
    said = []
    for fault in scenario.fault:
        _lay(fault, scenario, changed)
        said.append(f"fault, {fault_where(fault, scenario)}: {fault_said(fault)}, {_when(fault)}")
    return dataclasses.replace(
        changed, room=room_for(scenario, pans), assumptions=(*forcing.assumptions, *dict.fromkeys(said))
    )


def _when(fault: Fault) -> str:
    first = f"from {day_said(fault.start)}" if fault.start is not None else "from before the first day"
    return first + (f" to {day_said(fault.end)}" if fault.end is not None else " on")


def _lay(fault: Fault, scenario: Scenario, forcing: Forcing) -> None:
    """Change the arrays of a forcing that is ours to change."""
    where = fault_where(fault, scenario)
    if fault.kind == "supply-cut":
        _cut(where, fault_days(fault, forcing.dates), scenario, forcing)
    elif fault.kind == "clogged-emitters":
        names = [where] if fault.bed is not None else [f"{where}/{bed}" for bed in scenario.controller[where].bed]
        for name in names:
            _clog_bed(name, 1.0 - lost_share(fault, forcing.dates), scenario, forcing)
    else:
        _lay_on_pan(fault, list(scenario.controller).index(where), forcing)


def _lay_on_pan(fault: Fault, row: int, forcing: Forcing) -> None:
    pans, on = forcing.pans, fault_days(fault, forcing.dates)
    if fault.kind == "clogged-refill":
        left = 1.0 - lost_share(fault, forcing.dates)
        if pans.tank[row] < 0:  # under a tank the engine adds the flows itself
            pans.valve_flow[row] -= pans.refill_flow[row] * (1.0 - left)
        pans.refill_flow[row] *= left
    elif fault.loss is not None:
        pans.leak[row] += np.where(on, fault.loss, 0.0)
    elif fault.kind in ("mesh", "shade"):
        assert fault.factor is not None
        pans.evaporation[row] *= np.where(on, fault.factor, 1.0)
    elif fault.kind == "algae":
        pans.evaporation[row] *= 1.0 - lost_share(fault, forcing.dates)
    elif fault.kind == "rain-differs":
        assert fault.factor is not None
        pans.rain_factor[row] *= np.where(on, fault.factor, 1.0)
    elif fault.kind == "splash":
        assert fault.above is not None and fault.splash is not None
        over = np.maximum(forcing.weather["wind"].to_numpy(float) - fault.above, 0.0)
        pans.leak[row] += np.where(on, over * fault.splash * pans.area[row] / 24.0, 0.0)
    else:
        _knock(fault, row, on, forcing)


def _knock(fault: Fault, row: int, on: npt.NDArray[np.bool_], forcing: Forcing) -> None:
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
