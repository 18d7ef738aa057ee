"""
Fitting, the likelihood: how well a field log goes with a pan, for many pans at once.

Units: cycles of the pan (openings and the share of the swing that is gone), mm by ruler. A filter walks through the visits
and carries how far the real pan is ahead of the modelled one. Since any row may be wrong, it carries several such
accounts side by side (a sum of Gaussians; Alspach & Sorenson 1972, from memory): with this count right or off by one or
by any number, with this level right or misread. What was not counted may be any whole number of openings.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from panbudget.numeric import Floats
from panbudget.studies.fit.pan import PanModel

#: a count says nothing of where between two openings the pan stands: the variance of a whole cycle, even over it
EVEN = 1.0 / 12.0
_ACCOUNTS = 6
# how often a row is wrong (common practice, no source): a count by one, by any number, a level
_BY_ONE, _BY_MANY, _MISREAD = 0.015, 0.03, 0.05
_MANY = 5.0  # openings
# a count right, off by one, or by any number: what it adds to an account's mean, variance and log likelihood
_JUMPS = np.array([0.0, 1.0, -1.0, np.inf])
_SHIFTS, _WIDER = np.array([0.0, 1.0, -1.0, 0.0]), np.array([0.0, 0.0, 0.0, _MANY**2])
_PRIORS = np.log([1.0 - 2.0 * _BY_ONE - _BY_MANY, _BY_ONE, _BY_ONE, _BY_MANY])
_OVER_MM = 60.0  # a misread level lies anywhere within so much
_IS_RIGHT, _IS_MISREAD = np.log1p(-_MISREAD), np.log(_MISREAD / _OVER_MM)
_SEEN = 0.05  # of a cycle: an opening seen tells the moment to some minutes
_ZERO = 0.04  # variance of the ruler's zero, in cycles
_ZERO_MM = 2.0  # by which a ruler's zero may be off
_LEAST = 0.03**2  # variance of a cycle's own timing

#: which accounts are of a kind, (pans, accounts); None where none is
_Of = npt.NDArray[np.bool_] | None


class Tally(NamedTuple):
    """What the visits say, one a place: openings since the visit before (nan: not counted), level, opened just then."""

    kept: npt.NDArray[np.int64]  # which visits
    counts: Floats
    levels: Floats
    opened: Floats
    reset_mm: float
    grain_mm: float  # to which levels are rounded
    beyond: Floats  # cycles that the openings' own moments add to the modelled ones
    filled: npt.NDArray[np.bool_] = np.zeros(1, bool)  # counts that are a meter's litres over those of an opening
    metered: Floats = np.ones(1)  # litres of the opening that they were divided by


class Sight(NamedTuple):
    """What modelled pans do at the visits, (pans, visits): cycles, cycles as a count follows them, share open."""

    cycles: Floats
    counted: Floats
    share: Floats
    spilt: Floats  # hours so far in which the pan ran over
    swing_mm: Floats  # (pans,)
    of_opening: Floats = np.ones(1)  # litres of one, (pans,)


@dataclass(frozen=True)
class Account:
    """
    The likeliest account of a log.

    Parameters
    ----------
    shifts : dict
        Visit -> openings by which its count is off.
    misread : frozenset of int
        Visits whose level counts for nothing.
    ahead : ndarray
        Cycles by which the log is ahead of the modelled pan at each visit kept, shifts left in.
    """

    shifts: dict[int, float]
    misread: frozenset[int]
    ahead: Floats


def tally(
    pan: PanModel, counts: Floats, idle: frozenset[int] = frozenset(), metered_by: dict[str, float] | None = None
) -> Tally:
    """
    Return the visits' readings as arrays, with counts as they are taken, visits without any left out.

    ``metered_by``: factors of the pan by whose openings a meter's litres were turned into those counts that the log lacks.
    """
    visits = np.array([k for k in range(len(pan.visits)) if k not in idle], np.int64)
    return Tally(
        kept=visits,
        counts=counts[visits],
        levels=pan.levels[visits],
        opened=pan.opened[visits].astype(float),
        reset_mm=pan.reset_mm,
        grain_mm=_grain(pan.levels[visits][~np.isnan(pan.levels[visits])]),
        beyond=np.zeros(len(visits)),
        filled=(np.isnan(pan.counts) & ~np.isnan(counts))[visits],
        metered=np.array([pan.of_opening(metered_by or {})]),
    )


def _grain(levels: Floats) -> float:
    """The coarsest round number of mm that all levels, but for one in ten, are whole times of."""
    for grain in (10.0, 5.0, 2.0, 1.0, 0.5):
        off = np.abs(levels / grain - np.round(levels / grain)) > 1e-6
        if len(levels) >= 5 and off.sum() <= 0.1 * len(levels):
            return grain
    return 0.0


def sighted(pan: PanModel, seen: Tally, factors: Sequence[dict[str, float]]) -> Sight:
    """Return what pans with these factors do at the log's visits."""
    modelled, hours = [pan.modelled(values) for values in factors], pan.hours[seen.kept]
    return Sight(
        cycles=np.array([values.at(hours) for values in modelled]),
        counted=np.array([values.counted_at(hours) for values in modelled]),
        share=np.array([values.open_shares(hours) for values in modelled]),
        spilt=np.array([np.interp(hours, np.arange(len(values.spilt)), values.spilt) for values in modelled]),
        swing_mm=np.array([pan.swing * values.get("swing", 1.0) / pan.area for values in factors]),
        of_opening=np.array([pan.of_opening(values) for values in factors]),
    )


def likelihood(seen: Tally, sight: Sight, level_mm: Floats, walk: Floats) -> Floats:
    """
    Return the log likelihood of a log under each of some pans.

    Parameters
    ----------
    seen : Tally
    sight : Sight
    level_mm : ndarray (pans,)
        Standard error of a level. [mm]
    walk : ndarray (pans,)
        Standard deviation by which a cycle departs from the model's, cycle by cycle. [-]

    Returns
    -------
    ndarray (pans,)
    """
    # what is filled in was seen as litres: a density by the litre, not by the cycle
    return np.asarray(_filter(seen, sight, level_mm, walk)[0] - seen.filled.sum() * np.log(sight.of_opening))


def account(seen: Tally, sight: Sight, level_mm: float, walk: float) -> Account:
    """Return the likeliest account of a log under one pan: which counts are off, which levels misread."""
    _, steps = _filter(seen, sight, np.array([level_mm]), np.array([walk]))
    shifts: dict[int, float] = {}
    misread, ahead = set(), []
    at = 0
    for visit, parents, jumps, wrong, means in reversed(steps):
        ahead.append(float(means[at]))
        if jumps[at] != 0.0:
            shifts[int(seen.kept[visit])] = float(jumps[at])
        if wrong[at]:
            misread.add(int(seen.kept[visit]))
        at = int(parents[at])
    return Account(shifts, frozenset(misread), np.array(ahead[::-1]))


def _filter(
    seen: Tally, sight: Sight, level_mm: Floats, walk: Floats
) -> tuple[Floats, list[tuple[int, Floats, Floats, Floats, Floats]]]:
    pans = len(sight.cycles)
    # a meter's litres stray by litres, whatever an opening is taken to let through: how they scatter must not tell it
    times = np.where(seen.filled & ~np.isnan(seen.counts), (seen.metered / sight.of_opening)[:, None], 1.0)
    counts = seen.counts * times
    total = np.cumsum(np.where(np.isnan(counts), 0.0, counts), axis=1)
    total = total - total[:, :1]
    measured = ~np.isnan(seen.levels)
    zero = np.full((pans, 1), seen.reset_mm)
    if measured.any():  # a ruler whose zero is another's shows in levels that lie outside the swing
        swing = sight.swing_mm[:, None]
        # less what rain has lifted the pan by, after which it may stand above its reset most of the time
        lifted = (sight.counted - sight.cycles)[:, measured] * swing
        middle = np.median(seen.levels[measured] - lifted, axis=1, keepdims=True)
        outside = (middle > zero + _ZERO_MM) | (middle < zero - swing - _ZERO_MM)
        zero = np.where(outside, middle + 0.5 * swing, zero)
    fallen = (zero - np.where(measured, seen.levels, seen.reset_mm)) / sight.swing_mm[:, None]
    # an opening is counted as it begins: what is lost while it lasts comes before the fall of the level
    fallen = np.where(fallen > 0.0, fallen * (1.0 - sight.share), fallen)
    ahead = total + sight.share + fallen - (sight.cycles + seen.beyond)
    counted = total + np.where(seen.opened > 0.0, 0.0, 0.5) - (sight.counted + seen.beyond)
    noise = ((level_mm**2 + seen.grain_mm**2 * EVEN) / sight.swing_mm**2 + _LEAST)[:, None]
    # a pan that ran over is at its rim, wherever in its cycle it was
    over = np.where(sight.spilt[:, 1:] > sight.spilt[:, :-1], EVEN, 0.0)
    drift = (walk**2)[:, None] * np.maximum(np.diff(sight.counted), 0.0) * times[:, 1:] + over + _LEAST
    by_mm, zero_error = np.log(sight.swing_mm)[:, None], _ZERO if measured.any() else 0.0
    mean, spread, weight = np.zeros((pans, 1)), np.full((pans, 1), np.inf), np.zeros((pans, 1))
    # accounts that have seen nothing, and those of which a whole number of openings is not known: None where there is none
    new: _Of = np.ones((pans, 1), bool)
    loose: _Of = None
    steps: list[tuple[int, Floats, Floats, Floats, Floats]] = []
    first_of = np.arange(pans)[:, None]
    for k, (is_counted, is_ruled) in enumerate(zip((~np.isnan(seen.counts)).tolist(), measured.tolist(), strict=True)):
        jumps = ruled = 1
        if k:
            spread = spread + drift[:, k - 1 : k]
        if k and not is_counted:
            loose = np.ones(mean.shape, bool)
        elif k:
            pairs = zip((mean, spread, weight), (_SHIFTS, _WIDER, _PRIORS), strict=True)
            mean, spread, weight = ((part[:, None, :] + by[:, None]).reshape(pans, -1) for part, by in pairs)
            jumps = len(_JUMPS)
            loose, new = (None if of is None else np.tile(of, (1, jumps)) for of in (loose, new))
        if seen.opened[k] or is_counted or not (k or is_ruled):
            error = ((_SEEN**2 if seen.opened[k] else EVEN) + zero_error) * times[:, k : k + 1] ** 2
            mean, spread, gain = _seen((mean, spread), new, loose, counted[:, k : k + 1], error, whole=True)
            weight, new, loose = weight + gain, None, loose if is_ruled else None
        if is_ruled:  # densities by the mm, right or misread
            right = _seen((mean, spread), new, loose, ahead[:, k : k + 1], noise, whole=False)
            good = weight + right[2] - by_mm + _IS_RIGHT
            mean, spread = np.concatenate((right[0], mean), axis=1), np.concatenate((right[1], spread), axis=1)
            weight = np.concatenate((good, weight + _IS_MISREAD), axis=1)
            loose, new = (None if of is None else np.hstack((np.zeros_like(of), of)) for of in (loose, new))
            ruled = 2
        width = mean.shape[1]
        best = np.arange(width)[None, :]
        if width > _ACCOUNTS:
            best = (-weight).argpartition(_ACCOUNTS - 1, axis=1)[:, :_ACCOUNTS]
        if pans == 1:  # nobody asks for the history of several
            best = best[:, np.argsort(-weight[0, best[0]], kind="stable")]
        if pans == 1 or width > _ACCOUNTS:
            at = best + width * first_of
            mean, spread, weight = mean.take(at), spread.take(at), weight.take(at)
            loose, new = (None if of is None else of.take(at) for of in (loose, new))
        if pans == 1:
            wrong, seen_by = np.divmod(best[0], width // ruled)
            jump, parent = np.divmod(seen_by, width // ruled // jumps)
            steps.append((k, parent, _JUMPS[jump] if jumps > 1 else np.zeros(len(jump)), wrong, mean[0]))
    top = weight.max(axis=1)
    return top + np.log(np.exp(weight - top[:, None]).sum(axis=1)), steps


def _seen(
    account: tuple[Floats, Floats], new: _Of, loose: _Of, level: Floats, error: Floats | float, *, whole: bool
) -> tuple[Floats, Floats, Floats]:
    """Mean, variance and the gain in log likelihood of each account once it has seen a reading."""
    mean, sure = account
    if new is not None:
        mean, sure = np.where(new, level, mean), np.where(new, 1.0, sure)
    off = level - mean
    if whole and loose is not None:  # nothing counted before and no level now: the account starts again
        new = loose if new is None else new | loose
        sure, off = np.where(loose, 1.0, sure), np.where(loose, 0.0, off)
    elif loose is not None:
        off = np.where(loose, off - np.round(off), off)
    both = sure + error
    gain = -0.5 * (off**2 / both + np.log(2.0 * np.pi * both))
    if not whole and loose is not None and loose.any():
        around = np.exp(-0.5 * (off[..., None] + np.array([-2.0, -1.0, 1.0, 2.0])) ** 2 / both[..., None]).sum(axis=-1)
        wrapped = gain + np.log1p(around * np.exp(0.5 * np.minimum(off**2 / both, 600.0)))
        gain = np.where(loose, np.where(both > 1.0, 0.0, wrapped), gain)
    share, spread = sure / both, sure * error / both
    if new is not None:
        gain, share, spread = np.where(new, 0.0, gain), np.where(new, 1.0, share), np.where(new, error, spread)
    return level - (1.0 - share) * off, spread, gain
