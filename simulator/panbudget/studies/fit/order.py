"""
Fitting, the order: what is tried after what, and what a log is found not to tell.

Units: logarithms of factors. First the exposure, over its whole range; then openings at their own moments; then the swing,
where levels stand beside counts, and the refill flow, where a meter does.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panbudget.numeric import Floats
from panbudget.studies.fit.likelihood import Account, Tally, account, sighted, tally
from panbudget.studies.fit.log import Visit
from panbudget.studies.fit.pan import PanModel
from panbudget.studies.fit.readings import gather, metered_counts, refill_by_meter
from panbudget.studies.fit.search import CONTENDS, HIGHEST, LOWEST, Place, narrowed, places, quantiles, with_swing
from panbudget.words import packaged

MOST_ERROR = 0.1  # relative standard error beyond which a parameter counts as not told
# a weighing or a jug is better than a log that tells no nearer than this and does not contradict it
SURE_ERROR, AGREES = 0.02, 2.5  # relative standard error; standard errors
BETTER = 4.0  # log likelihood by which another swing must go better with the log
LEAST_METER, LEAST_LEVELS = 4, 12
MOST_GRAIN = 0.5  # of the swing's depth, to which levels may be rounded
MOST_TIMELESS = 0.1  # share of the visits without a time of day
_ALIKE = 0.04  # of a logarithm: so near, two exposures are one
# standard deviation of a refill flow's logarithm, of those described (common practice, no source)
_LIKELY_REFILL = 0.12
# times or parts of the one described: sooner the levels were taken for others (common practice, no source)
_ODD_REFILL = 1.6
_FINE = 4.0  # looks an hour, for the moments of openings
_UNTOLD: dict[str, str] = packaged("studies/fit/untold.toml")


def beforehand(visits: tuple[Visit, ...], hold: Sequence[str]) -> dict[str, str]:
    """
    Return what the log can't tell, whatever it says, and why.

    Parameters
    ----------
    visits : tuple of Visit
    hold : sequence of str
        Kept as described.

    Returns
    -------
    dict
    """
    counted, levels, metered = (
        sum(getattr(visit, name) is not None for visit in visits) for name in ("openings", "level", "meter")
    )
    reasons = [
        ("refill", LEAST_METER, "meter", metered < LEAST_METER),
        ("refill", LEAST_METER, "meter-alone", max(counted, levels) < LEAST_METER),
        ("swing", LEAST_LEVELS, "timeless", sum(not visit.timed for visit in visits) > MOST_TIMELESS * len(visits)),
        ("swing", LEAST_LEVELS, "counts", counted < LEAST_LEVELS),
        ("swing", LEAST_LEVELS, "levels", levels < LEAST_LEVELS),
    ]
    untold = dict.fromkeys(hold, _UNTOLD["held"])
    for name, least, reason, holds in reasons:
        if holds:
            untold.setdefault(name, _UNTOLD[reason].format(least=least))
    return untold


@dataclass
class Best:
    """
    Where the search ended.

    Parameters
    ----------
    place : Place
        The pan that goes best with the log.
    errors : dict
        Standard errors of logarithms, by name of what is fitted.
    seen : Tally
        The log as it was taken.
    condition : float
        Of exposure and swing together; 1 is best.
    uncertainty : float
        What the refill flow as described adds to the exposure's error.
    """

    place: Place
    errors: dict[str, float]
    seen: Tally
    condition: float = 1.0
    uncertainty: float = 0.0


def _contenders(ranked: list[Place]) -> list[float]:
    """Factors of all exposures that a log goes with about as well as with the first."""
    taken: list[float] = []
    for place in ranked:
        exposure = place.factors["exposure"]
        apart = all(abs(np.log(exposure / other)) > _ALIKE for other in taken)
        if place.value > ranked[0].value - CONTENDS and apart:
            taken.append(exposure)
    return taken


def searched(pan: PanModel, untold: dict[str, str], uncertainty: float) -> Best:
    """
    Search, and add to ``untold`` what the log turns out not to tell.

    Parameters
    ----------
    pan : PanModel
    untold : dict
        Parameter -> why the log can't tell it; added to.
    uncertainty : float
        Standard error of the logarithm of the refill flow as described. [-]

    Returns
    -------
    Best
    """
    counted, levels = bool(np.isfinite(pan.counts).any()), bool(np.isfinite(pan.levels).any())
    metered = np.isfinite(pan.meters).sum() > 1
    seen = tally(pan, pan.counts)
    ranked = places(pan, seen, {}) if counted or levels else []
    if ranked and not counted and len(_contenders(ranked)) > 1 and metered and "refill" not in untold:
        ranked = _by_likely_refill(pan, ranked)
    if metered and not counted and (not ranked or len(_contenders(ranked)) > 1):
        untold.setdefault("refill", _UNTOLD["meter-alone"])
        factors: dict[str, float] = {}
        for _ in range(3):  # the litres of an opening depend a little on the exposure
            seen = tally(pan, *metered_counts(pan, factors))
            ranked = places(pan, seen, {})
            factors = ranked[0].factors
    best, exposure, several = Best(ranked[0], {}, seen), ranked[0].factors["exposure"], sorted(_contenders(ranked))
    if not LOWEST * 1.02 < exposure < HIGHEST / 1.02:
        untold["exposure"] = _UNTOLD["unlikely"].format(exposure=exposure)
        return best
    if len(several) > 1:
        named = ", ".join(f"{factor * pan.exposure:.2f}" for factor in several)
        untold["exposure"] = _UNTOLD["several"].format(exposures=named)
        return best
    best = _timed(pan, best)
    swing_mm = pan.swing / pan.area
    if "swing" not in untold and seen.grain_mm > MOST_GRAIN * swing_mm:
        untold["swing"] = _UNTOLD["coarse"].format(grain=seen.grain_mm, swing=swing_mm)
    if "swing" not in untold:
        best = _swing_too(pan, best, untold)
    if "refill" not in untold:
        best = _refill_too(pan, best, untold)
        refill = best.place.factors.get("refill", 1.0)
        if not counted and abs(np.log(refill)) > np.log(_ODD_REFILL):
            untold["exposure"] = untold["refill"] = _UNTOLD["odd-refill"].format(refill=refill)
            return best
    if metered and counted and np.isnan(pan.counts).any():
        seen = tally(pan, *metered_counts(pan, best.place.factors))
        best = _again(pan, dataclasses.replace(best, seen=seen))
    best = _timed(pan, best, rounds=1)
    if "swing" not in best.errors:
        _, best.errors["exposure"] = quantiles(pan, best.seen, best.place, np.array([0.5]))
    if "refill" not in best.errors:
        # by how much of a per cent the exposure moves with a per cent of the refill flow
        by_meter, factors = not counted and "refill" in untold and metered, best.place.factors
        moved = narrowed(pan, best.seen, {**factors, "refill": 1.06}, best.place).factors["exposure"]
        leans = 1.0 if by_meter else abs(float(np.log(moved / factors["exposure"]) / np.log(1.06)))
        best.uncertainty = uncertainty * leans
    error = (best.errors["exposure"] ** 2 + best.uncertainty**2) ** 0.5
    if error > MOST_ERROR:
        untold["exposure"] = _UNTOLD["open"].format(percent=100.0 * error)
    return best


def _by_likely_refill(pan: PanModel, ranked: list[Place]) -> list[Place]:
    """Order exposures that levels can't part by the refill flow that the meter asks for beside each."""
    weighed = []
    for place in ranked:
        at, _ = refill_by_meter(pan, gather(pan, place.factors), place.factors)
        weighed.append(dataclasses.replace(place, value=place.value - 0.5 * (at / _LIKELY_REFILL) ** 2))
    return sorted(weighed, key=lambda place: -place.value)


def _again(pan: PanModel, best: Best) -> Best:
    """The same search, close by, with what has been learnt meanwhile."""
    if "swing" not in best.errors:
        return Best(narrowed(pan, best.seen, best.place.factors, best.place), best.errors, best.seen)
    return _swung(pan, best)


def _swung(pan: PanModel, best: Best) -> Best:
    """The same with a swing of its own, and how much worse the worst told mixture of it and exposure is than the best."""
    place, covariance = with_swing(pan, best.seen, best.place)
    exposure, swing = np.sqrt(np.diag(covariance)).tolist()
    together = min(abs(float(covariance[0, 1]) / (exposure * swing)), 1.0 - 1e-9)
    condition = float(((1.0 + together) / (1.0 - together)) ** 0.5)
    return Best(place, {**best.errors, "exposure": exposure, "swing": swing}, best.seen, condition)


def _timed(pan: PanModel, best: Best, rounds: int = 2) -> Best:
    """The same, with openings at the moments that the log goes with in place of the mean over all moments."""
    if pan.pressed:
        return best
    hours = pan.hours[best.seen.kept]
    every = np.arange(np.floor(hours[0] * _FINE) / _FINE, hours[-1], 1.0 / _FINE)
    for _ in range(rounds):
        factors, spoilt = best.place.factors, account_of(pan, best)
        shifts = np.array([spoilt.shifts.get(int(k), 0.0) for k in best.seen.kept])
        steps = np.diff(spoilt.ahead, prepend=spoilt.ahead[0])
        # a shift is none of the pan's doing; of one by nobody knows how much, what is left of a whole opening is
        steps = np.where(np.isfinite(shifts), steps - np.where(np.isfinite(shifts), shifts, 0.0), 0.0)
        steps -= np.round(steps)
        ahead = spoilt.ahead[0] + np.cumsum(steps) + best.seen.beyond
        cycles = pan.modelled(factors).counted_at(every) + np.interp(every, hours, ahead)
        opened = every[1:][np.diff(np.floor(np.maximum.accumulate(cycles))) > 0.0]
        seen = best.seen._replace(beyond=pan.beyond(factors, opened, hours))
        best = _again(pan, dataclasses.replace(best, seen=seen))
    return best


def _swing_too(pan: PanModel, best: Best, untold: dict[str, str]) -> Best:
    swung = _swung(pan, best)
    why = _not_told(float(np.log(swung.place.factors["swing"])), swung.errors["swing"])
    if not why and swung.place.value - best.place.value < BETTER:
        why = _UNTOLD["as-well"]
    if why:
        untold["swing"] = why
    return best if why else swung


def _refill_too(pan: PanModel, best: Best, untold: dict[str, str]) -> Best:
    as_described = best
    for _ in range(2):  # the exposure moves a little with it, and the litres of an opening with the exposure
        readings = gather(pan, best.place.factors, *believed_counts(pan, account_of(pan, best)))
        if readings.meters.sum() < LEAST_METER - 1:
            untold["refill"] = _UNTOLD["sure-counts"].format(least=LEAST_METER)
            return as_described
        at, error = refill_by_meter(pan, readings, best.place.factors)
        if why := _not_told(at, error):
            untold["refill"] = why
            return as_described
        place = dataclasses.replace(best.place, factors={**best.place.factors, "refill": float(np.exp(at))})
        best = _again(pan, Best(place, {**best.errors, "refill": error}, best.seen))
    return best


def _not_told(log: float, error: float) -> str:
    """Why a factor, by its logarithm and that one's standard error, stays as described; "" if it doesn't."""
    if error > MOST_ERROR:
        return _UNTOLD["open"].format(percent=100.0 * min(error, 9.99))
    if error > SURE_ERROR and abs(log) < AGREES * error:
        return _UNTOLD["agrees"].format(percent=100.0 * AGREES * error)
    return ""


def account_of(pan: PanModel, best: Best) -> Account:
    """Return the likeliest account of the log under the best pan."""
    seen, place = best.seen, best.place
    return account(seen, sighted(pan, seen, [place.factors]), place.level_mm, place.walk)


def believed_counts(pan: PanModel, spoilt: Account) -> tuple[Floats, frozenset[int]]:
    """Return counts less what they are off by, and the visits where they are off by nobody knows how much."""
    believed = pan.counts.copy()
    breaks = {k for k, shift in spoilt.shifts.items() if np.isnan(believed[k]) or not np.isfinite(shift)}
    for visit in spoilt.shifts.keys() - breaks:
        believed[visit] = max(believed[visit] - spoilt.shifts[visit], 0.0)
    return believed, frozenset(breaks)
