"""
Supplies: the pressure that emitters see, behind pipe and valve, on the mains or under a tank's falling head.

Units: kPa, L/h, L, m. Friction by Hazen–Williams; a valve's loss by the square of its flow. Knows no weather but the
rain that a roof brings.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from panbudget.engine.tank import REFERENCE_PRESSURE
from panbudget.numeric import Floats
from panbudget.physics.hydraulics import KPA_PER_M, emitter_flow, hazen_williams_loss, pressure_behind, valve_loss
from panbudget.scenario.beds import Emitter
from panbudget.scenario.garden import Scenario
from panbudget.scenario.supplies import Mains, Pipe, Roof, Supply, Tank

_NODES = 33  # of the table from static pressure to the emitters'


@dataclass(frozen=True)
class PanFlows:
    """
    What passes one controller's valve.

    Parameters
    ----------
    refill_flow : float
        At the supply's own pressure; of a tank, when it is full. [L/h]
    bed_flows : dict
        Bed -> the same. [L/h]
    pressure : float
        At the emitters, then. [kPa]
    pressures : (ndarray (k,), ndarray (k,))
        Static pressure, and what is left of it at the emitters. [kPa]
    at_reference : dict
        Bed ("" for the refill emitter) -> flow at the engine's reference pressure. [L/h]
    """

    refill_flow: float
    bed_flows: dict[str, float]
    pressure: float
    pressures: tuple[Floats, Floats]
    at_reference: dict[str, float]

    @property
    def valve_flow(self) -> float:
        """All that passes the valve. [L/h]"""
        return self.refill_flow + sum(self.bed_flows.values())


def pan_flows(scenario: Scenario, name: str, assumptions: list[str]) -> PanFlows:
    """
    Compute the flows behind one valve.

    Parameters
    ----------
    scenario : Scenario
    name : str
        The controller's.
    assumptions : list of str
        Added to.

    Returns
    -------
    PanFlows
    """
    controller = scenario.controller[name]
    supply = scenario.supply[controller.supply]
    refill = _law(controller.valve.refill, supply, f"{name}: refill emitter", assumptions)
    laws = {
        key: _law(bed.emitters, supply, f"{name}/{key}: emitters", assumptions) for key, bed in controller.bed.items()
    }

    def flows(pressure: float) -> dict[str, float]:
        return {key: bed.emitters.count * laws[key](pressure) for key, bed in controller.bed.items()}

    def draw(pressure: float) -> float:
        return refill(pressure) + sum(flows(pressure).values())

    losses = losses_of(controller.pipe, controller.valve.rated_flow, controller.valve.rated_loss)
    static = most_static(supply)
    pressure = pressure_behind(static, draw, losses)
    reference = REFERENCE_PRESSURE
    return PanFlows(
        refill_flow=refill(pressure),
        bed_flows=flows(pressure),
        pressure=pressure,
        pressures=pressure_table(static, draw, losses),
        at_reference={"": refill(reference), **flows(reference)},
    )


def _law(emitter: Emitter, supply: Supply, where: str, assumptions: list[str]) -> Callable[[float], float]:
    """One emitter's flow by the pressure that it sees. [kPa] -> [L/h]"""
    nominal = emitter.at
    if nominal is None:
        how = "measured in place" if supply.kind == "mains" else "measured in place under a full tank"
        assumptions.append(f"{where}: no pressure given with the flow, so it counts as {how}")
        if supply.kind == "mains":
            return lambda pressure: emitter.flow
        nominal = most_static(supply)
    return lambda pressure: float(emitter_flow(pressure, emitter.flow, nominal, emitter.exponent))


def losses_of(pipe: Pipe | None, rated_flow: float | None, rated_loss: float | None) -> Callable[[float], float]:
    """Return a valve's and its pipe's losses as a function of the flow. [L/h] -> [kPa]"""

    def lost(flow: float) -> float:
        total = 0.0
        if pipe is not None and flow > 0.0:
            total += float(
                hazen_williams_loss(flow, length=pipe.length, diameter=pipe.diameter, smoothness=pipe.smoothness)
            )
        if rated_flow is not None and rated_loss is not None:
            total += float(valve_loss(flow, rated_flow=rated_flow, rated_loss=rated_loss))
        return total

    return lost


def tank_shape(tank: Tank) -> tuple[Floats, Floats]:
    """
    Return a tank's shape as points.

    Parameters
    ----------
    tank : Tank

    Returns
    -------
    (ndarray (k,), ndarray (k,))
        Volumes [L] and levels above the outlet [m], rising from 0.
    """
    volumes, levels = np.array(tank.points, float).T.copy()
    return volumes, levels


def tanks_in_use(scenario: Scenario) -> dict[str, Tank]:
    """Return the tanks that valves draw from, in the scenario's order; another one is described and no more."""
    used = {controller.supply for controller in scenario.controller.values()}
    return {name: supply for name, supply in scenario.supply.items() if isinstance(supply, Tank) and name in used}


def lengthened(points: Floats, length: int) -> Floats:
    """
    Return shapes of as many points as the longest one.

    Parameters
    ----------
    points : ndarray (..., k)
        Volumes or levels, rising.
    length : int
        k or more.

    Returns
    -------
    ndarray (..., length)
        The last piece goes on.
    """
    step = points[..., -1:] - points[..., -2:-1]
    return np.concatenate([points, points[..., -1:] + step * np.arange(1, length - points.shape[-1] + 1)], axis=-1)


def most_static(supply: Supply) -> float:
    """Static pressure at the emitters: of the mains, or of a full tank. [kPa]"""
    if isinstance(supply, Mains):
        return supply.pressure
    volumes, levels = tank_shape(supply)
    return (supply.outlet_height + float(np.interp(supply.volume, volumes, levels))) * KPA_PER_M


def pressure_table(
    most: float, draw: Callable[[float], float], losses: Callable[[float], float]
) -> tuple[Floats, Floats]:
    """
    Return static pressures and what is left of them at the emitters, for the engine to read between.

    Parameters
    ----------
    most : float
        Highest static pressure. [kPa]
    draw, losses : callable
        As in `pressure_behind`.

    Returns
    -------
    (ndarray (k,), ndarray (k,))
        [kPa]
    """
    static = np.linspace(0.0, max(most, 1e-6) * 1.001, _NODES)
    return static, np.array([pressure_behind(float(p), draw, losses) for p in static])


def roof_inflow(rain: Floats, roof: Roof | None) -> Floats:
    """
    Return what a roof brings to its tank.

    Parameters
    ----------
    rain : ndarray (days,)
        [mm/day]
    roof : Roof, optional

    Returns
    -------
    ndarray (days,)
        [L/day]

    Notes
    -----
    Area × runoff coefficient × rain; the first flush is lost once in each run of wet days.
    """
    if roof is None:
        return np.zeros_like(rain)
    flush = roof.first_flush * 1000.0  # mm
    kept = np.zeros_like(rain)
    for wet, days in itertools.groupby(range(len(rain)), key=lambda day: bool(rain[day] > 0.0)):
        left = flush if wet else 0.0
        for day in days:
            lost = min(left, float(rain[day]))
            left -= lost
            kept[day] = rain[day] - lost
    return kept * roof.area * roof.runoff
