"""
Faults: what goes wrong, laid over a season's forcing day by day. Pure: a new forcing, the old one left alone.

Units as in the engine: kg, kg/h, mm, L/h. A fault lasts whole days, its first and last one included.
"""

import dataclasses
from collections.abc import Sequence

import numpy as np
import pandas as pd

from panbudget.numeric import Floats, Mask
from panbudget.scenario import faults as kinds
from panbudget.scenario.faults import Fault
from panbudget.scenario.garden import Scenario
from panbudget.scenario.pans import LEAST_SWING
from panbudget.season import TEXTS
from panbudget.season.layout import Forcing, Row
from panbudget.words import day_said, joined, say

DAYS_A_MONTH = 365.25 / 12.0
# by what a fault's sizes are multiplied where they are shown; flows are by the hour
_SHOWN = {"share": 100.0, "rate": 100.0, "factor": 100.0, "loss": 24.0, "above": 1.0, "splash": 1.0}


def fault_days(fault: Fault, dates: pd.DatetimeIndex) -> Mask:
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
    first = dates[0] if fault.start is None else pd.Timestamp(fault.start)
    last = dates[-1] if fault.end is None else pd.Timestamp(fault.end)
    return np.asarray((dates >= first) & (dates <= last))


def lost_share(fault: kinds.CloggedRefill | kinds.CloggedEmitters | kinds.Algae, dates: pd.DatetimeIndex) -> Floats:
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
    share: float | Floats = fault.share or 0.0
    if isinstance(fault, kinds.Clogged) and fault.rate is not None and fault.start is not None:
        since = np.asarray((dates - pd.Timestamp(fault.start)).days, float) + 0.5
        share = np.clip(fault.rate * since / DAYS_A_MONTH, 0.0, 1.0)
    return np.where(fault_days(fault, dates), share, 0.0)


def fault_where(fault: Fault, scenario: Scenario) -> str:
    """Return the controller, bed or supply that a fault concerns, the only one where none is named."""
    key, named = fault.part
    return named or next(iter(scenario.supply if key == "supply" else scenario.controller))


def fault_said(fault: Fault) -> str:
    """
    Say what goes wrong, with its size.

    Examples
    --------
    >>> fault_said(kinds.CloggedRefill(kind="clogged-refill", share=0.5))
    'the refill emitter lost 50 % of its flow'
    """
    if isinstance(fault, kinds.Knocked):
        changes = (("trip", fault.trip, "heavier", "lighter"), ("swing", fault.swing, "larger", "smaller"))
        parts = [
            say(TEXTS["faults"]["knocked"], what=what, by=abs(1000.0 * by), how=more if by > 0.0 else less)
            for what, by, more, less in changes
            if by is not None
        ]
        return say("counterweight knocked: {changes}", changes=joined(", ", parts))
    sizes = {name: getattr(fault, name, None) for name in _SHOWN}
    shown = {name: size * _SHOWN[name] for name, size in sizes.items() if size is not None}
    text: str = TEXTS["faults"][fault.kind + ("-by-month" if "rate" in shown else "")]
    return say(text, **shown)


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
    groups = {name: getattr(forcing, name) for name in ("pans", "beds", "tanks")}
    changed = dataclasses.replace(
        forcing,
        assumptions=(*forcing.assumptions, *fault_assumptions(scenario)),
        **{name: group._make(map(np.copy, group)) for name, group in groups.items()},
    )
    for fault in scenario.fault:
        _lay(fault, fault_where(fault, scenario), changed)
    assert changed.room  # a swing too small to list is refused here
    return changed


def fault_assumptions(scenario: Scenario) -> list[str]:
    """Say the faults of a scenario as its season's assumptions: where, what, when."""
    lines = []
    for fault in scenario.fault:
        first = f"from {day_said(fault.start)}" if fault.start is not None else "from before the first day"
        last = f"to {day_said(fault.end)}" if fault.end is not None else "on"
        values = {"where": fault_where(fault, scenario), "what": fault_said(fault), "first": first, "last": last}
        lines.append(say("fault, {where}: {what}, {first} {last}", **values))
    return list(dict.fromkeys(lines))


def _lay(fault: Fault, where: str, forcing: Forcing) -> None:
    """Change the arrays of a forcing that is ours to change."""
    bundle, on = forcing.bundle, fault_days(fault, forcing.dates)
    match fault:
        case kinds.SupplyCut():
            cut = [row for row, valve in enumerate(bundle.valves) if valve.controller.supply == where]
            for row in cut:
                forcing.pans.refill_flow[row, on] = forcing.pans.valve_flow[row, on] = 0.0
            _clog([row for row in bundle.rows if row.valve in cut], np.where(on, 0.0, 1.0), forcing)
        case kinds.CloggedEmitters():
            rows = [row for row in bundle.rows if where in (row.controller, f"{row.controller}/{row.bed}")]
            _clog(rows, 1.0 - lost_share(fault, forcing.dates), forcing)
        case _:
            _lay_on_pan(fault, [valve.name for valve in bundle.valves].index(where), on, forcing)


def _lay_on_pan(fault: Fault, row: int, on: Mask, forcing: Forcing) -> None:
    pans = forcing.pans
    match fault:
        case kinds.Clogged():
            share = 1.0 - lost_share(fault, forcing.dates)
            # of mains: a tank's flows the engine adds itself
            pans.valve_flow[row] -= pans.refill_flow[row] * (1.0 - share)
            pans.refill_flow[row] *= share
        case kinds.Lost():
            pans.leak[row] += np.where(on, fault.loss, 0.0)
        case kinds.Covered():
            pans.evaporation[row] *= np.where(on, fault.factor, 1.0)
        case kinds.Algae():
            pans.evaporation[row] *= 1.0 - lost_share(fault, forcing.dates)
        case kinds.RainDiffers():
            pans.rain_factor[row] *= np.where(on, fault.factor, 1.0)
        case kinds.Splash():
            over = np.maximum(forcing.weather["wind"].to_numpy(float) - fault.above, 0.0)
            pans.leak[row] += np.where(on, over * fault.splash * pans.area[row] / 24.0, 0.0)
        case kinds.Knocked():
            _knock(fault, row, on, forcing)


def _knock(fault: kinds.Knocked, row: int, on: Mask, forcing: Forcing) -> None:
    pans = forcing.pans
    risen = np.where(on, fault.trip or 0.0, 0.0)
    pans.rim[row] -= risen
    pans.dry[row] -= risen
    before = 0.0 if fault.start is not None and fault.start >= forcing.dates[0].date() else risen[0]
    if fault.end is not None and fault.end < forcing.dates[0].date():
        # put right on the morning after its last day, which may be the first of a run that goes on from another
        before = (fault.trip or 0.0) if (forcing.dates[0].date() - fault.end).days == 1 else 0.0
    pans.shift[row] += np.diff(risen, prepend=before)
    pans.swing[row] = np.maximum(pans.swing[row] + np.where(on, fault.swing or 0.0, 0.0), LEAST_SWING)


def _clog(rows: Sequence[Row], share: Floats, forcing: Forcing) -> None:
    """Take flow from beds' emitters; ``left`` is what remains of it, by day. [-]"""
    for row in rows:
        factor, flow = forcing.beds.flow_factor[row.ground], forcing.pans.valve_flow[row.valve]
        was = factor.copy()
        factor *= share
        if row.draw < 0:
            flow[:] = np.maximum(flow - row.flow * (was - factor), 0.0)
        else:
            forcing.tanks.draw_flow[row.draw] *= share
