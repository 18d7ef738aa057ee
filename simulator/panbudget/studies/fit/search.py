"""
Fitting, the search: which exposure, and which swing where it is asked for, go best with a log, and how surely.

Units: logarithms of factors; mm by ruler. The whole range of exposures is looked through first, with errors taken large,
since levels alone repeat themselves with every opening; then each place that stands out, with errors as the log has them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from panbudget.numeric import Floats
from panbudget.studies.fit.likelihood import Sight, Tally, likelihood, sighted
from panbudget.studies.fit.pan import PanModel

#: a place whose log likelihood is less by no more than this is not ruled out
CONTENDS = 5.0
#: exposures looked through, as factors on the one described
LOWEST, HIGHEST = 0.25, 3.2
_STEP = 0.025
_COARSE_MM, _COARSE_WALK, _FALLS = 2.0, 0.4, 14.0
_MOST_PLACES = 8
_LEVEL_MM = np.array([0.4, 0.7, 1.1, 1.7, 2.6, 4.0])  # standard errors of a ruler
_WALKS = np.array([0.06, 0.1, 0.2, 0.4, 0.8])  # of a cycle
_LIKELY_WALK = 0.03  # how soon greater ones grow unlikely (common practice, no source)
# share of what one opening differs from the next that adds up: most of it goes with the hour, which levels tell better
_LEAST_WALK, _ADDS_UP, _ADDS_UP_UNSEEN = 0.02, 0.3, 0.8
_SWINGS = np.arange(-0.7, 0.71, 0.02)
_LIKELY_SWING = 0.15  # standard deviation of its logarithm about the one described (common practice, no source)
_FINEST, _WIDEST = 0.001, 0.25  # standard errors
_WEIGHS = 4.0  # errors whose log likelihood is less by more than this are left out
_SIDE, _AROUND = 24, 4.5  # points each way; standard errors
_SQUARE = np.array([-2.6, -1.8, -1.2, -0.6, 0.0, 0.6, 1.2, 1.8, 2.6])


@dataclass(frozen=True)
class Place:
    """
    A pan that goes with a log.

    Parameters
    ----------
    factors : dict
    value : float
        Log likelihood.
    level_mm, walk : float
        Errors that go best with it: of a level, and of a cycle. [mm; -]
    """

    factors: dict[str, float]
    value: float
    level_mm: float
    walk: float


def _weigh(
    pan: PanModel, seen: Tally, pans: list[dict[str, float]], level_mm: Floats | float, walk: Floats | float
) -> Floats:
    """Log likelihood of each of some pans under each pair of errors. (pans, errors)"""
    levels, walks = np.broadcast_arrays(np.atleast_1d(level_mm), np.atleast_1d(walk))
    sight = Sight(*(np.repeat(part, len(levels), axis=0) for part in sighted(pan, seen, pans)))
    return likelihood(seen, sight, np.tile(levels, len(pans)), np.tile(walks, len(pans))).reshape(len(pans), -1)


def _exposed(factors: dict[str, float], logs: Floats) -> list[dict[str, float]]:
    return [{**factors, "exposure": float(np.exp(log))} for log in logs]


def _moved(factors: dict[str, float], names: Sequence[str], by: float) -> dict[str, float]:
    return {**factors, **{name: factors.get(name, 1.0) * float(np.exp(by)) for name in names}}


def _with_errors(pan: PanModel, seen: Tally, factors: dict[str, float]) -> tuple[Floats, Floats, Floats]:
    """Log likelihoods by pairs of errors: of a level, and of a cycle, no less than what each opening's moment makes of it."""
    ruled = bool(np.isfinite(seen.levels).any())
    least = max(_LEAST_WALK, (_ADDS_UP if ruled else _ADDS_UP_UNSEEN) * pan.wander)
    tried = np.concatenate([[least], _WALKS[1.4 * least < _WALKS]])
    levels, walks = (part.ravel() for part in np.meshgrid(_LEVEL_MM if ruled else _LEVEL_MM[:1], tried, indexing="ij"))
    return _weigh(pan, seen, [factors], levels, walks)[0] + _beforehand(walks), levels, walks


def _placed(pan: PanModel, seen: Tally, factors: dict[str, float]) -> Place:
    """A pan, with the errors that go best with it."""
    values, levels, walks = _with_errors(pan, seen, factors)
    best = int(values.argmax())
    return Place(factors, float(values[best]), float(levels[best]), float(walks[best]))


def _beforehand(walks: Floats) -> Floats:
    """Log likelihood of a cycle's errors before the log is seen: a sound model is the rule."""
    return np.asarray(-(walks - walks.min()) / _LIKELY_WALK)


def places(pan: PanModel, seen: Tally, factors: dict[str, float]) -> list[Place]:
    """
    Look through all exposures.

    Parameters
    ----------
    pan : PanModel
    seen : Tally
    factors : dict
        Of what is held.

    Returns
    -------
    list of Place
        The likeliest first.
    """
    from scipy.ndimage import maximum_filter1d

    grid = np.arange(np.log(LOWEST), np.log(HIGHEST), _STEP)
    coarse = _weigh(pan, seen, _exposed(factors, grid), _COARSE_MM, _COARSE_WALK)[:, 0]
    peaks = np.flatnonzero((coarse == maximum_filter1d(coarse, 5)) & (coarse > coarse.max() - _FALLS))
    peaks = peaks[np.argsort(-coarse[peaks], kind="stable")][:_MOST_PLACES]
    looked_at = (narrowed(pan, seen, near) for near in _exposed(factors, grid[peaks]))
    return sorted(looked_at, key=lambda place: -place.value)


def narrowed(pan: PanModel, seen: Tally, factors: dict[str, float], near: Place | None = None) -> Place:
    """
    Look closely around an exposure.

    Parameters
    ----------
    pan : PanModel
    seen : Tally
    factors : dict
        The exposure's is where to start.
    near : Place, optional
        One whose errors will do to start with.

    Returns
    -------
    Place
    """
    at, place = float(np.log(factors["exposure"])), near or Place(factors, -np.inf, _COARSE_MM, _COARSE_WALK)
    for wide in (0.02, 0.007, 0.0025) if near is None else (0.015, 0.003):
        logs = at + np.linspace(-wide, wide, 11)
        values = _weigh(pan, seen, _exposed(factors, logs), place.level_mm, place.walk)
        at = float(logs[int(values.argmax())])
        place = _placed(pan, seen, {**factors, "exposure": float(np.exp(at))})
    return place


def _reach(pan: PanModel, seen: Tally, place: Place, *names: str) -> float:
    """Standard error of some factors' logarithms moved together, by the curvature of five likelihoods a step apart."""
    step = error = 0.004
    for _ in range(6):
        offs = np.arange(-2.0, 3.0) * step
        pans = [_moved(place.factors, names, float(off)) for off in offs]
        values = _weigh(pan, seen, pans, place.level_mm, place.walk)[:, 0]
        bend = -2.0 * float(np.polyfit(offs, values, 2)[0])
        error = bend**-0.5 if bend > 0.0 else float("inf")
        if 0.4 * step < error < 3.0 * step:
            break
        step = float(np.clip(0.8 * error if np.isfinite(error) else 2.0 * step, 0.25 * _FINEST, 0.1))
    return float(np.clip(error, _FINEST, _WIDEST))


def _weighed(pan: PanModel, seen: Tally, place: Place, factors: list[dict[str, float]]) -> Floats:
    """Likelihood of each pan over all errors that the log goes with."""
    of_errors, levels, walks = _with_errors(pan, seen, place.factors)
    good = np.flatnonzero(of_errors > of_errors.max() - _WEIGHS)
    good = good[np.argsort(-of_errors[good])][:8]
    by_pan = _weigh(pan, seen, factors, levels[good], walks[good]) + _beforehand(walks)[good]
    return np.asarray(np.logaddexp.reduce(by_pan, axis=1))


def quantiles(pan: PanModel, seen: Tally, place: Place, shares: Floats) -> tuple[Floats, float]:
    """
    Return quantiles of the exposure's logarithm, all else held, and its standard error.

    Parameters
    ----------
    pan : PanModel
    seen : Tally
    place : Place
    shares : ndarray
        Of the whole, below each quantile.

    Returns
    -------
    (ndarray, float)
    """
    error, at = _reach(pan, seen, place, "exposure"), float(np.log(place.factors["exposure"]))
    gone = pan.modelled(place.factors).counted_at(pan.hours)
    opening = 1.0 / max(float(gone[-1] - gone[0]), 1.0)  # a count off by one moves the exposure by so much
    for _ in range(3):
        logs = at + max(_AROUND * error, 2.2 * opening) * np.linspace(-1.0, 1.0, 2 * _SIDE + 1)
        values = _weighed(pan, seen, place, _exposed(place.factors, logs))
        part = np.exp(values - values.max())
        part /= part.sum()
        mean = float((part * logs).sum())
        found = float(((part * (logs - mean) ** 2).sum()) ** 0.5)
        if 0.5 * error < found < 1.5 * error or found >= _WIDEST:
            break
        at, error = mean, float(np.clip(found, _FINEST, _WIDEST))
    whole = np.cumsum(part) - 0.5 * part
    return np.interp(shares, whole, logs), found


def _likely(factors: dict[str, float]) -> float:
    """Log likelihood of a swing before the log is seen: it was weighed."""
    return -0.5 * float(np.log(factors.get("swing", 1.0)) / _LIKELY_SWING) ** 2


def _by_swing(pan: PanModel, seen: Tally, place: Place) -> Place:
    """Look through all swings, the exposure moved along."""
    pans = [_moved(place.factors, ("exposure", "swing"), float(log)) for log in _SWINGS]
    values = _weigh(pan, seen, pans, _LEVEL_MM, place.walk) + np.array([[_likely(factors)] for factors in pans])
    best, level = np.unravel_index(values.argmax(), values.shape)
    return Place(pans[best], float(values.max()), float(_LEVEL_MM[level]), place.walk)


def with_swing(pan: PanModel, seen: Tally, place: Place) -> tuple[Place, Floats]:
    """
    Let the swing go too, the exposure along with it.

    Parameters
    ----------
    pan : PanModel
    seen : Tally
    place : Place
        With the swing as described, or with one to start from.

    Returns
    -------
    (Place, ndarray (2, 2))
        The likeliest pan, and the covariance of the logarithms of its exposure and swing.

    Notes
    -----
    Counts tell the exposure over the swing, which is held while levels choose the swing.
    """
    now = place if "swing" in place.factors else _by_swing(pan, seen, place)
    for wide in (0.04, 0.015, 0.005):
        for together in ((), ("swing",), ()):
            names = ("exposure", *together)
            pans = [_moved(now.factors, names, float(off)) for off in np.linspace(-wide, wide, 9)]
            values = _weigh(pan, seen, pans, now.level_mm, now.walk)[:, 0]
            best = int((values + np.array([_likely(factors) for factors in pans])).argmax())
            now = Place(pans[best], float(values[best]), now.level_mm, now.walk)
        now = _placed(pan, seen, now.factors)
    # a square of points: along exposure over swing, and along both together
    ratio, scale = _reach(pan, seen, now, "exposure"), _reach(pan, seen, now, "swing", "exposure")
    points = [(a * ratio, b * scale) for a in _SQUARE for b in _SQUARE]
    pans = [_moved(_moved(now.factors, ("exposure",), a + b), ("swing",), b) for a, b in points]
    part = _weighed(pan, seen, now, pans) + np.array([_likely(factors) for factors in pans])
    part = np.exp(part - part.max())
    part /= part.sum()
    logs = np.array([(np.log(one["exposure"]), np.log(one["swing"])) for one in pans])
    mean = part @ logs
    covariance = (logs - mean).T @ ((logs - mean) * part[:, None])
    factors = {**now.factors, "exposure": float(np.exp(mean[0])), "swing": float(np.exp(mean[1]))}
    return replace(now, factors=factors), np.asarray(covariance)
