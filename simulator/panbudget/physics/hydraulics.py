"""
Hydraulics: what an emitter gives at a pressure, and what pressure pipe and valve leave it.

Units: kPa, L/h, m. Knows no dates, files or tables. Sources: ISO 9261:2004 (emitters), Hazen & Williams (1905) (pipes),
IEC 60534-2-1 (valves).
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from panbudget.numeric import Floats

KPA_PER_M = 9.80665  # of water at 1.000 kg/L, under standard gravity (CGPM 1901)
# Hazen & Williams (1905) in SI: h_f = 10.67 L Q^1.852 / (C^1.852 d^4.8704), Q in m³/s, all else in m
_FRICTION = 10.67
_FLOW_POWER = 1.852
_DIAMETER_POWER = 4.8704
_PER_M3_S = 3.6e6  # L/h in a m³/s
_HALVINGS = 80  # of the span in which the pressure is looked for: down to the last bit


def emitter_flow(pressure: npt.ArrayLike, nominal_flow: float, nominal_pressure: float, exponent: float) -> Floats:
    """
    Flow out of one emitter at a given inlet pressure.

    Parameters
    ----------
    pressure : float or ndarray, any shape
        Pressure at the emitter's inlet. [kPa]
    nominal_flow : float
        Flow at ``nominal_pressure``, as printed on the packet. [L/h]
    nominal_pressure : float
        Pressure at which ``nominal_flow`` holds; above 0. [kPa]
    exponent : float
        0 for a compensated emitter, near 0.5 for a turbulent one, 1 for a laminar one. [-]

    Returns
    -------
    ndarray, shape of ``pressure``
        Flow, never negative; 0 where there is no pressure. [L/h]

    Notes
    -----
    q = k·h^x [1]_ with k = q_nominal / h_nominal^x, so that k needs no odd unit. Holds within the maker's
    working pressures only.

    References
    ----------
    .. [1] ISO 9261:2004, Agricultural irrigation equipment: emitters and emitting pipe.

    Examples
    --------
    A 2 L/h dripper rated at 100 kPa, fed by a tank 2.5 m above it:

    >>> float(emitter_flow(25.0, nominal_flow=2.0, nominal_pressure=100.0, exponent=0.5))
    1.0
    """
    ratio = np.maximum(np.asarray(pressure, dtype=float), 0.0) / nominal_pressure
    return np.where(ratio > 0.0, nominal_flow * ratio**exponent, 0.0)  # 0.0**0 is 1, hence the where


def hazen_williams_loss(flow: npt.ArrayLike, *, length: float, diameter: float, smoothness: float) -> Floats:
    """
    Return the pressure lost along a pipe.

    Parameters
    ----------
    flow : float or ndarray, any shape
        [L/h]
    length, diameter : float
        Inside diameter. [m]
    smoothness : float
        C: 140 for polyethylene, 150 for PVC, 120 for galvanised steel (common practice, no source). [-]

    Returns
    -------
    ndarray
        [kPa]

    Notes
    -----
    Hazen & Williams (1905), in SI: h_f = 10.67 L Q^1.852 / (C^1.852 d^4.8704), Q in m³/s. For water at ordinary
    temperatures in turbulent flow; below a Reynolds number of some 4000 it asks too much.
    """
    q = np.asarray(flow, float) / _PER_M3_S
    head = _FRICTION * length * q**_FLOW_POWER / (smoothness**_FLOW_POWER * diameter**_DIAMETER_POWER)
    return np.asarray(head * KPA_PER_M)


def valve_loss(flow: npt.ArrayLike, *, rated_flow: float, rated_loss: float) -> Floats:
    """
    Return the pressure lost in a valve.

    Parameters
    ----------
    flow : float or ndarray, any shape
        [L/h]
    rated_flow : float
        At which ``rated_loss`` holds. [L/h]
    rated_loss : float
        [kPa]

    Returns
    -------
    ndarray
        [kPa]

    Notes
    -----
    The loss goes with the square of the flow, as a flow coefficient Kv says it (IEC 60534-2-1).
    """
    return np.asarray(rated_loss * (np.asarray(flow, float) / rated_flow) ** 2)


def pressure_behind(static: float, draw: Callable[[float], float], losses: Callable[[float], float]) -> float:
    """
    Return the pressure at the emitters when what they draw there causes the losses on the way.

    Parameters
    ----------
    static : float
        Before pipe and valve. [kPa]
    draw : callable
        Pressure at the emitters -> flow; rising. [kPa] -> [L/h]
    losses : callable
        Flow -> pressure lost; rising. [L/h] -> [kPa]

    Returns
    -------
    float
        Between 0 and ``static``. [kPa]

    Notes
    -----
    Bisection of p + losses(draw(p)) = static, which has one solution.
    """
    low, high = 0.0, max(static, 0.0)
    if losses(draw(high)) <= 0.0:
        return high
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        if middle + losses(draw(middle)) > static:
            high = middle
        else:
            low = middle
    return (low + high) / 2.0
