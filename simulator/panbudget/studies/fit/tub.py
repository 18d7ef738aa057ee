"""
Fitting, the tub: what a ruler tells of the exposure in a tub that stands in the pan's place with no valve, and what a few
dry days of it would be worth.

Units: mm in the tub, solar hours. The tub is of the pan's kind, so that it loses what the pan loses a square metre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from panbudget import words
from panbudget.numeric import Floats, Mask
from panbudget.season.result import Season
from panbudget.studies.fit.log import Visit
from panbudget.studies.fit.pan import PanModel, summed
from panbudget.studies.ranges import drawn_factors, tails, valve_factors

_SAID = words.packaged("studies/fit/against.toml")
#: standard error of a ruler in still water (common practice, no source) [mm]
RULER_MM = 1.0
# shares by which a day's loss strays from the model's, and rain in the tub from the gauge's (common practice, no source)
_BY_DAY, _BY_RAIN = 0.1, 0.2
# the most that a tub loses, in times of what the highest likely exposure does (common practice, no source)
_MOST = 3.0
_BEYOND = 3.5  # standard errors of two readings and of the rain
_TAILS = 4.0  # degrees of freedom of the errors
_UNTOLD = 1e12  # variance of what tells nothing [mm²]
_MORNING = 8.0  # h
_DRAWS, _TRUTHS, _EXPOSURES = 1000, 16, 9


class Tub(NamedTuple):
    """Readings in a tub, in order of time."""

    hours: Floats
    levels: Floats  # [mm]
    added: Floats  # poured in since the reading before [mm]
    doubted: Mask  # of what came between two readings, whether no tub can have done it

    @classmethod
    def of(cls, visits: Sequence[Visit], area: float) -> Tub:
        """Return readings as arrays; those without a level left out, what was poured in meanwhile added up."""
        looks, poured, added = [visit for visit in visits if visit.level is not None], 0.0, list[float]()
        for visit in visits:
            poured += visit.added
            if visit.level is not None:
                added.append(poured / area)
                poured = 0.0
        hours, levels = (np.array([getattr(visit, name) for visit in looks], float) for name in ("hour", "level"))
        return cls(hours, levels, np.array(added), np.zeros(max(len(looks) - 1, 0), bool))


@dataclass(frozen=True)
class Worth:
    """
    What one more measurement would make of the range of a season's litres.

    Parameters
    ----------
    what : str
        "jug", "weighings", "jug-and-weighings", "meter" or "ruler".
    before, after : float
        Half of the range over the litres, now and then. [-]
    """

    what: str
    before: float
    after: float


def quantiles(values: Floats, weights: Floats, shares: Sequence[float]) -> Floats:
    """Return quantiles of weighted draws. (shares,)"""
    order = np.argsort(values)
    return np.interp(shares, np.cumsum(weights[order]) - 0.5 * weights[order], values[order])


def _fallen(tub: Tub) -> Floats:
    return tub.added[1:] - np.diff(tub.levels)


def _expected(pan: PanModel, hours: Floats) -> tuple[Floats, Floats]:
    """What a tub loses to the air as described, and gains by rain, between some hours. [mm]"""
    marks = np.arange(len(pan.hourly_gain) + 1, dtype=float)
    parts = pan.hourly_evaporation, pan.hourly_gain
    lost, gained = (np.diff(np.interp(hours, marks, summed(part / pan.area))) for part in parts)
    return lost, gained


def doubting(pan: PanModel, tub: Tub, likely: float) -> tuple[Tub, dict[int, str]]:
    """
    Tell what no tub can have done: gained water that neither rain nor a can brought, or lost far more than evaporates.

    Parameters
    ----------
    pan : PanModel
    tub : Tub
    likely : float
        The highest likely factor on the exposure described.

    Returns
    -------
    Tub
        Such falls are doubted and tell nothing.
    dict
        Index of the reading that ends each -> what is said of it.
    """
    lost, gained = _expected(pan, tub.hours)
    fallen, rain = _fallen(tub) + gained, summed((_BY_RAIN * gained) ** 2)
    most, gone = _MOST * likely * lost, summed(fallen)
    error = _BEYOND * np.sqrt(2.0 * RULER_MM**2 + np.maximum(rain - rain[:, None], 0.0))
    doubted = fallen > most + np.diagonal(error, 1)
    for first, rose in enumerate(np.triu(gone - gone[:, None] < -error, 1)):
        if rose.any():  # a stretch of readings that ends with more than it began
            over = slice(first, np.flatnonzero(rose)[-1])
            doubted[over] |= fallen[over] < 0.0
    sentences = dict[int, str]()
    for k in np.flatnonzero(doubted).tolist():
        by, allowed = (words.amount(float(value), "depth", ".0f") for value in (abs(fallen[k]), most[k]))
        sentences[k + 1] = _SAID["tub-rose" if fallen[k] < 0.0 else "tub-fell"].format(by=by, most=allowed)
    return tub._replace(doubted=doubted), sentences


def tub_values(pan: PanModel, tub: Tub, exposures: Floats, ruler_mm: float = RULER_MM) -> Floats:
    """
    Return the log likelihood of a tub's readings.

    Parameters
    ----------
    pan : PanModel
    tub : Tub
    exposures : ndarray (n,)
        Factors on the exposure described.
    ruler_mm : float
        Standard error of a reading. [mm]

    Returns
    -------
    ndarray (n,)
        Student's t over all falls together: where they disagree with each other, they tell less.
    """
    lost, gained = _expected(pan, tub.hours)
    fallen = _fallen(tub) + gained
    sound, days = ~tub.doubted, np.diff(tub.hours) / 24.0
    near = max(float(fallen[sound].sum() / max(lost[sound].sum(), 1e-9)), 0.1)
    strays = (_BY_DAY * near * lost) ** 2 / np.maximum(days, 1e-3) + (_BY_RAIN * gained) ** 2
    strays[tub.doubted] = _UNTOLD
    step = np.diff(np.eye(len(tub.hours)), axis=0)  # a reading misread by 1 mm makes two falls wrong
    root = np.linalg.cholesky(np.diag(strays) + ruler_mm**2 * step @ step.T)
    off = np.linalg.solve(root, fallen[:, None] - np.outer(lost, exposures))
    return np.asarray(-0.5 * (_TAILS + sound.sum()) * np.log1p((off**2).sum(axis=0) / _TAILS))


def tub_rows(pan: PanModel, tub: Tub, exposure: float) -> tuple[Floats, Floats, Floats]:
    """
    Set a tub's readings beside the model.

    Parameters
    ----------
    pan : PanModel
    tub : Tub
    exposure : float
        Factor on the exposure described.

    Returns
    -------
    residuals : ndarray (readings,)
        Of the level, from their own zero. [mm]
    observed, modelled : ndarray (readings - 1,)
        Net loss between readings. [mm/day]
    """
    lost, gained = _expected(pan, tub.hours)
    modelled, days = exposure * lost - gained, np.diff(tub.hours) / 24.0
    off = summed(np.where(tub.doubted, 0.0, modelled - _fallen(tub)))
    return off - np.median(off), _fallen(tub) / days, modelled / days


def worth_of_ruler_test(season: Season, *, days: int = 3, ruler_mm: float = RULER_MM) -> dict[str, Worth]:
    """
    Compute by simulation what a few dry days with a ruler in a tub in the pan's place would narrow the litres to.

    Parameters
    ----------
    season : Season
        As described, or as fitted so far.
    days : int
        One reading each morning, from the first day's to that after the last: the season's first days without rain.
    ruler_mm : float
        Standard error of a reading. [mm]

    Returns
    -------
    dict of Worth
        Controller -> half of the range (the scenario's ``uncertainty.interval``) of the season's litres over those
        litres, now and after: the mean over gardens drawn over `[uncertainty]`, each with its readings fitted. A
        tank is taken to have water.
    """
    scenario, forcing = season.scenario, season.forcing
    draws, random, worth = drawn_factors(scenario, _DRAWS), np.random.default_rng(1), dict[str, Worth]()
    ends = tails(scenario.uncertainty.interval)
    wet = [float(forcing.days.rain[first : first + days].sum()) for first in range(max(len(forcing.dates) - days, 1))]
    mornings = int(np.argmin(wet)) + np.arange(min(days, len(forcing.dates) - 1) + 1)
    hours: Floats = np.asarray(24.0 * mornings + _MORNING, float)
    for row, name in enumerate(scenario.controller):
        pan, factors = PanModel(scenario, forcing, row, ()), valve_factors(scenario, name, draws)
        beds = np.array([forcing.pan_of[name].bed_flows[bed] for bed in scenario.controller[name].bed])
        beds *= max(pan.through - pan.refill, 0.0) / max(beds.sum(), 1e-9)  # at the heads that a tank gave
        tried = np.append(np.linspace(factors.exposure.min(), factors.exposure.max(), _EXPOSURES), 1.0)
        *seasons, described = (pan.modelled({"exposure": exposure}).litres[-1] for exposure in tried.tolist())
        # beside what evaporates, what an opening lets through follows the flows; how often, the exposure
        through = (factors.emitters @ beds / factors.refill_flow + pan.refill) / (beds.sum() + pan.refill)
        litres = np.interp(factors.exposure, tried[:-1], seasons) * through
        lost, gained = _expected(pan, hours)
        after = []
        for true in np.quantile(factors.exposure, (np.arange(_TRUTHS) + 0.5) / _TRUTHS):
            falls = true * lost * (1.0 + _BY_DAY * random.standard_normal(len(lost))) - gained
            levels = -summed(falls) + ruler_mm * random.standard_normal(len(hours))
            tub = Tub(hours, levels, np.zeros(len(hours)), np.zeros(len(lost), bool))
            value = tub_values(pan, tub, factors.exposure, ruler_mm)
            weights = np.exp(value - value.max())
            weights /= weights.sum()
            after.append(np.ptp(quantiles(litres, weights, ends)) / 2.0 / max(weights @ litres, 1e-9))
        before = np.ptp(np.quantile(litres, ends)) / 2.0 / max(described, 1e-9)
        worth[name] = Worth("ruler", float(before), float(np.mean(after)))
    return worth
