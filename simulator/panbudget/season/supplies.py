"""
Supplies: the pressure that emitters see, behind pipe and valve, on the mains or under a tank's falling head.

Units: kPa, L/h, L, m. Friction by Hazen–Williams; a valve's loss by the square of its flow. Knows no weather but the
rain that a roof brings.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.engine.tank import REFERENCE_PRESSURE
from panbudget.numeric import Floats
from panbudget.physics.hydraulics import KPA_PER_M, emitter_flow, hazen_williams_loss, pressure_behind, valve_loss
from panbudget.scenario.beds import Emitter
from panbudget.scenario.garden import Controller, Scenario
from panbudget.scenario.supplies import Mains, Pipe, Roof, Supply, Tank

_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
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


class Valve(NamedTuple):
    """
    One controller of a design, its pan in engine units.

    Parameters
    ----------
    design, name : str
    controller : Controller
    tank : int
        Its tank's place in the bundle, −1 on the mains.
    grounds : tuple of int
        Places of its beds' grounds.
    area, swing, water : float
        [m², kg, and kg from the floor to the reset level]
    flows : PanFlows
    """

    design: str
    name: str
    controller: Controller
    tank: int
    grounds: tuple[int, ...]
    area: float
    swing: float
    water: float
    flows: PanFlows

    @property
    def engine_values(self) -> dict[str, Any]:
        """Its part of the engine's `Pans`: a number, or a list of one for what may change by day."""
        described, flows = self.controller.pan, self.flows
        return {
            **{"evaporation": [0.0], "shift": [0.0], "leak": [0.0], "rain_factor": [1.0]},
            "area": self.area,
            "swing": [self.swing],
            "rim": [self.swing + described.freeboard * self.area],
            "dry": [self.swing - self.water],
            "night_share": described.night_share,
            "refill_flow": [flows.refill_flow if self.tank < 0 else flows.at_reference[""]],
            "refill_exponent": self.controller.valve.refill.exponent,
            "valve_flow": [flows.valve_flow],
            "static": flows.pressures[0],
            "at_emitters": flows.pressures[1],
        }

    def where(self, year: int) -> str:
        """Name it in a message."""
        return (f"design {self.design}, {year}: " if self.design else "") + f"controller.{self.name}"

    def timed(self, bed: str, dates: pd.DatetimeIndex) -> Floats:
        """Return what the present timer gives a bed, nothing where there is none. (days,) [mm]"""
        timer, flows = self.controller.timer, self.flows.bed_flows
        if timer is None:
            return np.zeros(len(dates))
        if timer.duration is not None:
            litres = flows[bed] * timer.duration
        else:
            assert timer.litres_a_week is not None
            litres = timer.litres_a_week * flows[bed] / sum(flows.values()) / len(timer.days)
        on = np.isin(dates.dayofweek, [_WEEKDAYS.index(day) for day in timer.days])
        return np.where(on, litres / self.controller.bed[bed].area, 0.0)


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
    """
    controller = scenario.controller[name]
    supply, valve = scenario.supply[controller.supply], controller.valve
    emitters = {key: bed.emitters for key, bed in controller.bed.items()}
    refill = _law(valve.refill, supply, f"{name}: refill emitter", assumptions)
    laws = {key: _law(emitter, supply, f"{name}/{key}: emitters", assumptions) for key, emitter in emitters.items()}

    def flows(pressure: float) -> dict[str, float]:
        return {key: emitter.count * laws[key](pressure) for key, emitter in emitters.items()}

    def draw(pressure: float) -> float:
        return refill(pressure) + sum(flows(pressure).values())

    losses = losses_of(controller.pipe, valve.rated_flow, valve.rated_loss)
    static, reference = most_static(supply), REFERENCE_PRESSURE
    pressure = pressure_behind(static, draw, losses)
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
        friction, through = 0.0, 0.0
        if pipe is not None and flow > 0.0:
            described = {"length": pipe.length, "diameter": pipe.diameter, "smoothness": pipe.smoothness}
            friction = float(hazen_williams_loss(flow, **described))
        if rated_flow is not None and rated_loss is not None:
            through = float(valve_loss(flow, rated_flow=rated_flow, rated_loss=rated_loss))
        return friction + through

    return lost


def tank_shape(tank: Tank) -> tuple[Floats, Floats]:
    """
    Return a tank's shape as points.

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


def float_key(tank: str) -> str:
    """Return what a tank's float valve is called beside the valves; no controller can be called so."""
    return f"{tank}/top_up"


def floats_on(scenario: Scenario, *sources: str) -> dict[str, Tank]:
    """Return the tanks in use whose float valves draw on one of some supplies or further rights; "" for none named."""
    return {name: tank for name, tank in tanks_in_use(scenario).items() if float_source(scenario, name) in sources}


def float_source(scenario: Scenario, tank: str) -> str | None:
    """Return what a tank's float valve draws on, "" where nobody says, None where there is no float valve."""
    supply = scenario.supply[tank]
    return supply.top_up.source if isinstance(supply, Tank) and supply.top_up else None


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


def tank_values(supply: Tank, points: int) -> dict[str, Any]:
    """Return a tank's part of the engine's `Tanks`, its shape in so many points; roofs bring nothing yet."""
    top_up = supply.top_up
    volumes, levels = (lengthened(side, points) for side in tank_shape(supply))
    return {
        "capacity": supply.volume,
        "outlet": supply.outlet_height,
        "volumes": volumes,
        "levels": levels,
        "inflow": [0.0],
        "float_volume": top_up.below if top_up else 0.0,
        "float_rate": top_up.rate if top_up else 0.0,
    }


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
    flush = remaining = roof.first_flush * 1000.0  # mm
    caught = np.zeros_like(rain)
    for day, fallen in enumerate(rain.tolist()):
        lost = min(remaining, fallen)
        remaining = remaining - lost if fallen > 0.0 else flush
        caught[day] = fallen - lost
    return caught * roof.area * roof.runoff
