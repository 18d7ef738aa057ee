"""
Fitting, the search: which exposure, and which swing where it is asked for, go best with a log, and how surely.

Units: logarithms of factors; mm by ruler. The whole range of exposures is looked through first, with errors taken large,
since levels alone repeat themselves with every opening; then each place that stands out, with errors as the log has them.
"""

from __future__ import annotations

from dataclasses import dataclass

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


def _along(
    pan: PanModel, seen: Tally, factors: dict[str, float], logs: Floats, level_mm: float, walk: float, name: str
) -> Floats:
    """Likelihoods with one factor's logarithm put to each of ``logs``."""
    sight = sighted(pan, seen, [{**factors, name: float(np.exp(one))} for one in logs])
    return likelihood(seen, sight, np.full(len(logs), level_mm), np.full(len(logs), walk))


def _errors(pan: PanModel, seen: Tally) -> tuple[Floats, Floats]:
    """Pairs of errors to try: of a level, and of a cycle, no less than what each opening's moment makes of it."""
    ruled = bool(np.isfinite(seen.levels).any())
    least = max(_LEAST_WALK, (_ADDS_UP if ruled else _ADDS_UP_UNSEEN) * pan.wander)
    walks = np.concatenate([[least], _WALKS[1.4 * least < _WALKS]])
    levels = _LEVEL_MM if ruled else _LEVEL_MM[:1]
    pairs = np.array([(a, b) for a in levels for b in walks])
    return pairs[:, 0].copy(), pairs[:, 1].copy()


def _repeated(sight: Sight, times: int) -> Sight:
    return Sight(*(np.repeat(part, times, axis=0) for part in sight))


def _with_errors(pan: PanModel, seen: Tally, factors: dict[str, float]) -> tuple[Floats, Floats, Floats]:
    levels, walks = _errors(pan, seen)
    sight = _repeated(sighted(pan, seen, [factors]), len(levels))
    return likelihood(seen, sight, levels, walks) + _beforehand(walks), levels, walks


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
    grid = np.arange(np.log(LOWEST), np.log(HIGHEST), _STEP)
    coarse = _along(pan, seen, factors, grid, _COARSE_MM, _COARSE_WALK, "exposure")
    peaks = [
        i for i, one in enumerate(coarse) if one == coarse[max(i - 2, 0) : i + 3].max() and one > coarse.max() - _FALLS
    ]
    peaks = sorted(peaks, key=lambda i: -coarse[i])[:_MOST_PLACES]
    found = [narrowed(pan, seen, {**factors, "exposure": float(np.exp(grid[i]))}) for i in peaks]
    return sorted(found, key=lambda one: -one.value)


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
    at, value = float(np.log(factors["exposure"])), -np.inf
    level_mm, walk = (_COARSE_MM, _COARSE_WALK) if near is None else (near.level_mm, near.walk)
    for wide in (0.02, 0.007, 0.0025) if near is None else (0.015, 0.003):
        logs = at + np.linspace(-wide, wide, 11)
        values = _along(pan, seen, factors, logs, level_mm, walk, "exposure")
        at = float(logs[int(values.argmax())])
        of_errors, levels, walks = _with_errors(pan, seen, {**factors, "exposure": float(np.exp(at))})
        best = int(of_errors.argmax())
        level_mm, walk, value = float(levels[best]), float(walks[best]), float(of_errors[best])
    return Place({**factors, "exposure": float(np.exp(at))}, value, level_mm, walk)


def _curved(values: Floats, step: float) -> float:
    """Standard error by the curvature of five likelihoods a step apart."""
    bend = -2.0 * float(np.polyfit(np.arange(-2.0, 3.0) * step, values, 2)[0])
    return bend**-0.5 if bend > 0.0 else float("inf")


def _reach(pan: PanModel, seen: Tally, place: Place, name: str, together: tuple[str, ...] = ()) -> float:
    """Standard error of one factor's logarithm, the others held, or moved along."""
    step = 0.004
    error = step
    for _ in range(6):
        offs = np.arange(-2.0, 3.0) * step
        sight = sighted(
            pan,
            seen,
            [
                {
                    **place.factors,
                    **{one: place.factors.get(one, 1.0) * float(np.exp(off)) for one in (name, *together)},
                }
                for off in offs
            ],
        )
        values = likelihood(seen, sight, np.full(5, place.level_mm), np.full(5, place.walk))
        error = _curved(values, step)
        if 0.4 * step < error < 3.0 * step:
            break
        step = float(np.clip(0.8 * error if np.isfinite(error) else 2.0 * step, 0.25 * _FINEST, 0.1))
    return float(np.clip(error, _FINEST, _WIDEST))


def _weighed(pan: PanModel, seen: Tally, place: Place, factors: list[dict[str, float]]) -> Floats:
    """Likelihood of each pan over all errors that the log goes with."""
    of_errors, levels, walks = _with_errors(pan, seen, place.factors)
    good = np.flatnonzero(of_errors > of_errors.max() - _WEIGHS)
    good = good[np.argsort(-of_errors[good])][:8]
    sight = _repeated(sighted(pan, seen, factors), len(good))
    values = likelihood(seen, sight, np.tile(levels[good], len(factors)), np.tile(walks[good], len(factors)))
    by_pan = values.reshape(len(factors), len(good)) + _beforehand(walks)[good]
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
        values = _weighed(pan, seen, place, [{**place.factors, "exposure": float(np.exp(one))} for one in logs])
        part = np.exp(values - values.max())
        part /= part.sum()
        mean = float((part * logs).sum())
        found = float(((part * (logs - mean) ** 2).sum()) ** 0.5)
        if 0.5 * error < found < 1.5 * error or found >= _WIDEST:
            break
        at, error = mean, float(np.clip(found, _FINEST, _WIDEST))
    whole = np.cumsum(part) - 0.5 * part
    return np.interp(shares, whole, logs), found


def _moved(factors: dict[str, float], names: tuple[str, ...], by: float) -> dict[str, float]:
    return {**factors, **{name: factors.get(name, 1.0) * float(np.exp(by)) for name in names}}


def _likely(factors: dict[str, float]) -> float:
    """Log likelihood of a swing before the log is seen: it was weighed."""
    return -0.5 * float(np.log(factors.get("swing", 1.0)) / _LIKELY_SWING) ** 2


def _by_swing(pan: PanModel, seen: Tally, place: Place) -> Place:
    """Look through all swings, the exposure moved along."""
    pans = [_moved(place.factors, ("exposure", "swing"), float(one)) for one in _SWINGS]
    levels = np.tile(_LEVEL_MM, len(pans))
    values = likelihood(
        seen, _repeated(sighted(pan, seen, pans), len(_LEVEL_MM)), levels, np.full(len(levels), place.walk)
    )
    values += np.repeat([_likely(one) for one in pans], len(_LEVEL_MM))
    best = int(values.argmax())
    return Place(pans[best // len(_LEVEL_MM)], float(values[best]), float(levels[best]), place.walk)


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
            offs = np.linspace(-wide, wide, 9)
            pans = [_moved(now.factors, ("exposure", *together), float(off)) for off in offs]
            along = likelihood(
                seen, sighted(pan, seen, pans), np.full(len(offs), now.level_mm), np.full(len(offs), now.walk)
            )
            best = int((along + np.array([_likely(one) for one in pans])).argmax())
            now = Place(pans[best], float(along[best]), now.level_mm, now.walk)
        of_errors, ruler, walks = _with_errors(pan, seen, now.factors)
        best = int(of_errors.argmax())
        now = Place(now.factors, float(of_errors[best]), float(ruler[best]), float(walks[best]))
    # a square of points: along exposure over swing, and along both together
    ratio, scale = _reach(pan, seen, now, "exposure"), _reach(pan, seen, now, "swing", ("exposure",))
    points = [(a * ratio, b * scale) for a in _SQUARE for b in _SQUARE]
    pans = [
        {
            **now.factors,
            "exposure": now.factors["exposure"] * float(np.exp(a + b)),
            "swing": now.factors["swing"] * float(np.exp(b)),
        }
        for a, b in points
    ]
    part = _weighed(pan, seen, now, pans) + np.array([_likely(one) for one in pans])
    part = np.exp(part - part.max())
    part /= part.sum()
    logs = np.array([(np.log(one["exposure"]), np.log(one["swing"])) for one in pans])
    mean = part @ logs
    covariance = (logs - mean).T @ ((logs - mean) * part[:, None])
    factors = {**now.factors, "exposure": float(np.exp(mean[0])), "swing": float(np.exp(mean[1]))}
    return Place(factors, now.value, now.level_mm, now.walk), np.asarray(covariance)
