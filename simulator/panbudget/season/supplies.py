"""
Supplies: the pressure that emitters see, behind pipe and valve, on the mains or under a tank's falling head.

Units: kPa, L/h, L, m. Friction by Hazen–Williams; a valve's loss by the square of its flow. Knows no weather but the
rain that a roof brings.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np

from panbudget.numeric import Floats
from panbudget.physics.hydraulics import KPA_PER_M, hazen_williams_loss, pressure_behind, valve_loss
from panbudget.scenario.garden import Scenario
from panbudget.scenario.supplies import Mains, Pipe, Roof, Supply, Tank

_NODES = 33  # of the table from static pressure to the emitters'


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
