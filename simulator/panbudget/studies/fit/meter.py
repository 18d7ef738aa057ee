"""
Fitting, the meter: openings that nobody counted, by the litres of one; and the refill flow, by litres over openings.

Units: L, openings. The bed emitters and the meter are taken as they are.
"""

from __future__ import annotations

import itertools

import numpy as np

from panbudget.numeric import Floats
from panbudget.studies.fit.pan import PanModel
from panbudget.studies.fit.readings import Readings, raw_residuals, standard_errors

_WHOLE, _FEW = 0.3, 12.0  # so near to a whole number, and so few openings, it is one
_STEP, _STRIDE, _MOST = 2e-3, 0.4, 1.6  # of a logarithm


def metered_counts(pan: PanModel, factors: dict[str, float]) -> tuple[Floats, frozenset[int]]:
    """
    Return counts with those filled in that the meter tells, and the visits at which nothing was read meanwhile.

    Parameters
    ----------
    pan : PanModel
    factors : dict

    Returns
    -------
    (ndarray (visits,), frozenset of int)
        Openings since the visit before; nan where not counted.
    """
    modelled, described = pan.modelled(factors), pan.modelled({})
    scale = pan.of_opening(factors) / pan.of_opening({})
    filled, idle = pan.counts.copy(), set[int]()
    read = np.flatnonzero(~np.isnan(pan.meters)).tolist()
    for before, now in itertools.pairwise(read):
        unknown = [k for k in range(before + 1, now + 1) if np.isnan(pan.counts[k])]
        # a count between two unknown ones would be taken from the wrong visit on
        if not unknown or unknown != list(range(unknown[0], now + 1)):
            continue
        litres = modelled.per_opening((pan.hours[now] + pan.hours[before]) / 2.0)
        if litres <= 0.0:
            litres = described.per_opening(pan.hours[now]) * scale
        passed = pan.meters[now] - pan.meters[before]
        if passed >= 0.0 and litres > 0.0 and np.isnan(pan.levels[unknown[:-1]]).all():
            openings = max(passed / litres - float(np.nansum(pan.counts[before + 1 : now])), 0.0)
            whole = float(round(openings))
            filled[now] = whole if openings < _FEW and abs(openings - whole) < _WHOLE else openings
            idle.update(unknown[:-1])
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
    meters = readings.meters
    weights = standard_errors(pan, readings)[meters]

    def off(x: Floats) -> Floats:
        tried = {**factors, "refill": float(np.exp(x[0]))}
        return np.asarray(raw_residuals(pan, readings, tried)[meters] / weights)

    from scipy.optimize import least_squares

    start = float(np.clip(np.log(factors.get("refill", 1.0)), -_MOST, _MOST))
    limits = {"bounds": (-_MOST, _MOST), "diff_step": _STEP, "x_scale": _STRIDE, "max_nfev": 30}
    solved = least_squares(off, [start], loss="soft_l1", jac="3-point", **limits)
    at, values = solved.x, off(solved.x)
    slope = (off(at + _STEP) - off(at - _STEP)) / (2.0 * _STEP)
    # Huber's covariance of an M-estimate, with psi of soft_l1: r / sqrt(1 + r²)
    psi, weight = values / np.sqrt(1.0 + values**2), (1.0 + values**2) ** -1.5
    spread = (psi**2).sum() / max(len(values) - 1, 1) / max(float(weight.mean()), 1e-6) ** 2
    told = float((slope**2).sum())
    return float(at[0]), float("inf") if told <= 0.0 else float((spread / told) ** 0.5)
