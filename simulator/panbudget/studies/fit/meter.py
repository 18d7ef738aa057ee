"""
Fitting, the meter: openings that nobody counted, by the litres of one; and the refill flow, by litres over openings.

Units: L, openings. The bed emitters and the meter are taken as they are.
"""

from __future__ import annotations

import numpy as np

from panbudget.numeric import Floats
from panbudget.studies.fit.pan import PanModel
from panbudget.studies.fit.readings import Readings, raw_residuals, standard_errors

_WHOLE, _FEW = 0.3, 12.0  # so near to a whole number, and so few openings, it is one
_STEP, _STRIDE, _MOST = 2e-3, 0.4, 1.6  # of a logarithm


def metered_counts(
    pan: PanModel, counts: list[float | None], factors: dict[str, float]
) -> tuple[list[float | None], frozenset[int]]:
    """
    Return counts with those filled in that the meter tells, and the visits at which nothing was read meanwhile.

    Parameters
    ----------
    pan : PanModel
    counts : list
        Openings since the visit before; None where not counted.
    factors : dict

    Returns
    -------
    (list, frozenset of int)
    """
    modelled = pan.modelled(factors)
    scale = pan.of_opening(factors) / pan.of_opening({})
    described = pan.modelled({})
    filled, idle = list(counts), set()
    read: int | None = None
    for k, visit in enumerate(pan.visits):
        if visit.meter is None:
            continue
        unknown = [] if read is None else [j for j in range(read + 1, k + 1) if counts[j] is None]
        # a count between two unknown ones would be taken from the wrong visit on
        if read is not None and unknown and unknown == list(range(unknown[0], k + 1)):
            passed = visit.meter - (pan.visits[read].meter or 0.0)
            between = unknown[:-1]
            litres = modelled.per_opening((visit.hour + pan.visits[read].hour) / 2.0)
            if litres <= 0.0:
                litres = described.per_opening(visit.hour) * scale
            if passed >= 0.0 and litres > 0.0 and all(pan.visits[j].level is None for j in between):
                known = sum(counts[j] or 0.0 for j in range(read + 1, k))
                openings = max(passed / litres - known, 0.0)
                whole = float(round(openings))
                filled[k] = whole if openings < _FEW and abs(openings - whole) < _WHOLE else openings
                idle.update(between)
        read = k
    return filled, frozenset(idle)


def refill_by_meter(pan: PanModel, readings: Readings, factors: dict[str, float]) -> tuple[float, float]:
    """
    Return the logarithm of the refill flow's factor that the meter asks for, and its standard error.

    Parameters
    ----------
    pan : PanModel
    readings : Readings
        With counts as they are believed.
    factors : dict
        The refill's own is where to start.

    Returns
    -------
    (float, float)
    """
    meters = np.flatnonzero([one.kind == "meter" for one in readings.listed])
    weights = standard_errors(pan, readings)[meters]

    def off(x: Floats) -> Floats:
        tried = {**factors, "refill": float(np.exp(x[0]))}
        return np.asarray(raw_residuals(pan, readings, tried)[meters] / weights)

    from scipy.optimize import least_squares

    start = float(np.clip(np.log(factors.get("refill", 1.0)), -_MOST, _MOST))
    solved = least_squares(
        off,
        [start],
        loss="soft_l1",
        bounds=(-_MOST, _MOST),
        diff_step=_STEP,
        jac="3-point",
        x_scale=_STRIDE,
        max_nfev=30,
    )
    at, values = solved.x, off(solved.x)
    slope = (off(at + _STEP) - off(at - _STEP)) / (2.0 * _STEP)
    # Huber's covariance of an M-estimate, with psi of soft_l1: r / sqrt(1 + r²)
    psi, weight = values / np.sqrt(1.0 + values**2), (1.0 + values**2) ** -1.5
    spread = (psi**2).sum() / max(len(values) - 1, 1) / max(float(weight.mean()), 1e-6) ** 2
    told = float((slope**2).sum())
    return float(at[0]), float("inf") if told <= 0.0 else float((spread / told) ** 0.5)
