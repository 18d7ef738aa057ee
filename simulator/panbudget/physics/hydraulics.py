"""
Hydraulics: what an emitter gives at a pressure.

Units: kPa, L/h. Knows no dates, files or tables. Source of the emitter law: ISO 9261:2004. Left out on purpose:
friction in the pipes.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from panbudget.numeric import Floats

__all__ = ["emitter_flow"]


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
