"""
Fitting, the evidence: whether counts, levels and meter of a log agree with each other, what is left out if they do not,
and what a log can tell.

Three witnesses of one pan: counts tell exposure over swing, levels exposure and swing, a meter exposure over refill flow.
Where two contradict each other, the one that asks for an unlikely garden is left out, and the log's page says so.
"""

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from panbudget.numeric import Floats
from panbudget.studies.fit.likelihood import account, sighted, tally
from panbudget.studies.fit.pan import Modelled, PanModel
from panbudget.studies.fit.posterior import (
    HIGHEST,
    LOWEST,
    OUTLYING,
    Known,
    Place,
    Posterior,
    by_counts,
    by_tub,
    contenders,
    placed,
    places,
    without,
)
from panbudget.studies.fit.readings import gather, metered_counts
from panbudget.studies.fit.tub import Tub, tub_values
from panbudget.words import packaged, say

MOST_ERROR = 0.18  # relative standard error beyond which a log tells no exposure: the range of one unfitted has 0.2
LEAST_METER, LEAST_LEVELS = 3, 12
MOST_GRAIN = 0.5  # of the swing's depth, to which levels may be rounded
MOST_TIMELESS = 0.1  # share of the visits without a time of day
#: times or parts of what is described: sooner one reading was taken for another (common practice, no source)
ODD = 1.6
_MOST_WRONG = 0.3  # share of the levels, beside which readings look wrong that do not without them
_LEAST_APART, _OPENINGS_APART = 0.12, 3.0  # of a logarithm; and so many openings in all
_OFF_MM = 15.0  # a ruler's zero lies no further off
_BEYOND, _BEYOND_MM = 0.2, 4.0  # share of the levels, and by how much, that lie beyond the swing before it is said
#: why a parameter stays as described
UNTOLD: dict[str, str] = packaged("studies/fit/untold.toml")
#: what is said of readings that contradict each other
AGAINST: dict[str, str] = packaged("studies/fit/against.toml")
#: litres that a meter's unit holds -> what it is called
_OF_METER = {3.785: "US gallons", 4.546: "imperial gallons", 10.0: "tens of litres", 28.32: "cubic feet", 1000.0: "m³"}
_LEVEL_UNITS = {25.4: "inches", 10.0: "cm"}


def beforehand(pan: PanModel, hold: Sequence[str]) -> dict[str, str]:
    """
    Return what the log can't tell, whatever it says, and why.

    Parameters
    ----------
    pan : PanModel
    hold : sequence of str
        Taken as described.
    """
    counted, levels, metered = (np.isfinite(part).sum() for part in (pan.counts, pan.levels, pan.meters))
    visits = pan.visits
    reasons = [
        ("refill", LEAST_METER, "meter", metered < LEAST_METER),
        ("refill", LEAST_METER, "meter-alone", max(counted, levels) < LEAST_METER),
        ("swing", LEAST_LEVELS, "timeless", sum(not visit.timed for visit in visits) > MOST_TIMELESS * len(visits)),
        ("swing", LEAST_LEVELS, "counts", counted < LEAST_LEVELS),
        ("swing", LEAST_LEVELS, "levels", levels < LEAST_LEVELS),
    ]
    untold = dict.fromkeys(hold, UNTOLD["held"])
    for name, least, reason, holds in reasons:
        if holds:
            untold.setdefault(name, UNTOLD[reason].format(least=least))
    return untold


def reconciled(pan: PanModel, known: Known, likely: tuple[float, float]) -> tuple[PanModel, list[str]]:
    """
    Leave out the readings that contradict others.

    Parameters
    ----------
    pan : PanModel
    known : Known
        Of refill flow and swing.
    likely : (float, float)
        Factors on the exposure described, over which it is uncertain.

    Returns
    -------
    (PanModel, list of str)
        Without what is left out, and a sentence for each kind of it.
    """
    start, sentences = {name: float(np.exp(centre)) for name, (centre, _) in known.items()}, list[str]()
    if hint := _level_hint(pan):
        pan = without(pan, "levels")
        sentences.append(AGAINST["levels-unit"].format(hint=hint))
    read = pan.meters[np.isfinite(pan.meters)]
    counted = np.nansum(pan.counts[1:])
    if len(read) >= LEAST_METER and np.ptp(read) == 0.0 and counted >= LEAST_METER:
        pan = without(pan, "meters")
        sentences.append(AGAINST["meter-stands"].format(times=len(read), count=counted))
    if np.isfinite(pan.counts[1:]).any() and counted == 0.0:
        opened = pan.modelled({**start, "exposure": likely[0] / ODD**0.5}).counted_at(pan.hours[[0, -1]])
        if (least := float(np.diff(opened)[0])) >= LEAST_METER:
            return without(pan, "counts"), [*sentences, AGAINST["counts-zero"].format(least=least)]
    if np.isfinite(pan.counts).sum() < LEAST_METER:
        return pan, sentences
    place = by_counts(pan, start)
    exposure = place.factors["exposure"]
    modelled = pan.modelled(place.factors)
    ratio = _meter_over_counts(pan, modelled)
    agrees = bool(abs(np.log(ratio)) <= np.log(ODD))  # nan: nothing to compare
    if not agrees and np.isfinite(ratio):
        values = {"ratio": max(ratio, 1.0 / ratio), "word": "more" if ratio > 1.0 else "less"}
        read = pan.hours[np.isfinite(pan.meters)][[0, -1]]
        litres = np.diff(np.interp(read, np.arange(len(modelled.litres)), modelled.litres))[0]
        by_meter = exposure * float(np.ptp(pan.meters[np.isfinite(pan.meters)])) / max(litres, 1e-6)
        values |= {"counts": exposure * pan.exposure, "meter": by_meter * pan.exposure}
        if _is_likely(by_meter, likely) and not _is_likely(exposure, likely):
            return without(pan, "counts"), [*sentences, AGAINST["counts-by-meter"].format(**values)]
        pan = without(pan, "meters")
        units = [name for litres, name in _OF_METER.items() if abs(np.log(ratio * litres)) < 0.15]
        hint = AGAINST["meter-unit"].format(unit=units[0]) if units else ""
        sentences.append(AGAINST["meter-by-counts"].format(**values, hint=hint))
    if np.isfinite(pan.levels).any() and _levels_apart(pan, place):
        alone = without(pan, "counts")
        by_levels = contenders(places(alone, tally(alone, alone.counts), start))
        values = {"counts": exposure * pan.exposure}
        if not agrees and not _is_likely(exposure, likely) and len(by_levels) == 1 and _is_likely(by_levels[0], likely):
            values["levels"] = by_levels[0] * pan.exposure
            return alone, [*sentences, AGAINST["counts-by-levels"].format(**values)]
        pan = without(pan, "levels")
        sentences.append(AGAINST["levels-by-counts" + ("-and-meter" if agrees else "")].format(**values))
    return pan, sentences


def _is_likely(exposure: float, likely: tuple[float, float]) -> bool:
    return bool(likely[0] / ODD**0.5 <= exposure <= likely[1] * ODD**0.5)


def _level_hint(pan: PanModel) -> str:
    """What levels look like that lie nowhere near the pan's swing: another unit, or a depth below the rim."""
    levels = pan.levels[np.isfinite(pan.levels)]
    low, high = pan.reset_mm - pan.swing / pan.area - _OFF_MM, pan.reset_mm + pan.freeboard / pan.area
    if not len(levels) or low <= (middle := float(np.median(levels))) <= high:
        return ""
    if unit := level_unit(middle, low, high):
        return f"they read like {unit}"
    return "they read like the depth from the rim down to the water" if low <= high - middle <= high else ""


def level_unit(level: float, low: float, high: float) -> str:
    """Return the unit in which a level below a range would lie within it, else nothing. [mm]"""
    return next((unit for times, unit in _LEVEL_UNITS.items() if level < low <= times * level <= high), "")


def _meter_over_counts(pan: PanModel, modelled: Modelled) -> float:
    """Median of the litres metered over those of the openings counted meanwhile, by a pan; nan without any."""
    ratios = []
    for before, now in itertools.pairwise(np.flatnonzero(np.isfinite(pan.meters)).tolist()):
        middle = (pan.hours[before] + pan.hours[now]) / 2.0
        litres = pan.counts[before + 1 : now + 1].sum() * modelled.per_opening(middle)
        passed = float(pan.meters[now] - pan.meters[before])
        ratios += [passed / litres] if litres > 0.0 and passed > 0.0 else []  # without counts it is nan
    return float(np.median(ratios)) if ratios else float("nan")


def _levels_apart(pan: PanModel, place: Place) -> bool:
    """Whether levels contradict what counts alone tell: many of either look wrong, or the exposure moves away."""
    exposure, wrong, seen = place.factors["exposure"], [], tally(pan, pan.counts)
    for tallied in (seen, tally(without(pan, "levels"), pan.counts)):
        at = placed(pan, tallied, place.factors)
        spoilt = account(tallied, sighted(pan, tallied, [at.factors]), at.level_mm, at.walk)
        wrong.append(len(spoilt.misread) + len(spoilt.shifts))
    together = places(pan, seen, place.factors)[0].factors["exposure"]
    openings = max(float(np.nansum(pan.counts)), 1.0)
    apart = abs(np.log(together / exposure)) > _LEAST_APART + _OPENINGS_APART / openings
    return bool(apart or wrong[0] - wrong[1] > _MOST_WRONG * np.isfinite(pan.levels).sum())


def searched(
    pan: PanModel, known: Known, likely: tuple[float, float], untold: dict[str, str], tub: Tub | None = None
) -> Posterior:
    """
    Search, and add to ``untold`` what the log turns out not to tell.

    Parameters
    ----------
    pan : PanModel
    known : Known
        Of refill flow and swing.
    likely : (float, float)
        Factors on the exposure described, over which it is uncertain.
    untold : dict
        Parameter -> why the log can't tell it; added to.
    tub : Tub, optional
        Read in the pan's place with no valve.
    """
    if tub is not None and gather(pan, {}).listed.empty:
        posterior = by_tub(pan, known, tub)
        exposure = float(np.exp(posterior.mean[0]))
        if not LOWEST * 1.2 < exposure < HIGHEST / 1.2:
            untold["exposure"] = UNTOLD["unlikely"].format(exposure=exposure)
        _open(posterior, untold)
        return posterior
    counted, levels = bool(np.isfinite(pan.counts).any()), bool(np.isfinite(pan.levels).any())
    metered = np.isfinite(pan.meters).sum() > 1
    start = {name: float(np.exp(centre)) for name, (centre, _) in known.items()}
    seen = tally(pan, pan.counts)
    ranked = _with_tub(pan, places(pan, seen, start) if counted or levels else [], tub)
    if by_meter := metered and not counted and (not ranked or len(contenders(ranked)) > 1):
        untold.setdefault("refill", UNTOLD["meter-alone"])
        factors = start
        for _ in range(3):  # the litres of an opening depend a little on the exposure
            seen = tally(pan, *metered_counts(pan, factors), metered_by=factors)
            ranked = _with_tub(pan, places(pan, seen, start), tub)
            factors = ranked[0].factors
    posterior, several = Posterior(pan, known, seen, ranked[0], tub=tub), contenders(ranked)
    exposure = ranked[0].factors["exposure"]
    if not LOWEST * 1.02 < exposure < HIGHEST / 1.02 or (by_meter and not _is_likely(exposure, likely)):
        untold["exposure"] = UNTOLD["unlikely-by-meter" if by_meter else "unlikely"].format(exposure=exposure)
    elif len(several) > 1:
        named = ", ".join(f"{factor * pan.exposure:.2f}" for factor in several)
        untold["exposure"] = UNTOLD["several"].format(exposures=named)
    if "exposure" in untold:
        return posterior
    swing_mm = pan.swing / pan.area
    if "swing" not in untold and posterior.seen.grain_mm > MOST_GRAIN * swing_mm:
        untold["swing"] = say(UNTOLD["coarse"], grain=posterior.seen.grain_mm, swing=swing_mm)
    posterior.time_openings(2)
    posterior.follow_meter()
    posterior.begin()
    refill = posterior.place.factors["refill"]
    if not counted and abs(np.log(refill)) > np.log(ODD):
        untold["exposure"] = untold["refill"] = UNTOLD["odd-refill"].format(refill=refill)
        return posterior
    posterior.sample(2)
    posterior.time_openings()
    posterior.follow_meter()
    posterior.scale_meter()
    posterior.sample()
    _open(posterior, untold)
    return posterior


def levels_off(pan: PanModel, lifted_mm: Floats | float = 0.0) -> list[str]:
    """Say so where one level in five at least lies beyond the pan's swing, where neither valve nor rain leaves the water."""
    read = np.isfinite(pan.levels)
    levels, unlifted = pan.levels[read], (pan.levels - lifted_mm)[read]
    if len(levels) < LEAST_METER:
        return []
    low, high = np.quantile(levels, _BEYOND), np.quantile(unlifted, 1.0 - _BEYOND)
    below, above = float(pan.reset_mm - pan.swing / pan.area - low), float(high - pan.reset_mm)
    off, side = max((below, "below"), (above, "above"))
    return [say(AGAINST["levels-zero"], off=off, side=side)] if off > _BEYOND_MM else []


def tub_apart(posterior: Posterior) -> list[str]:
    """Say so where a tub asks for another exposure than the rest of the log."""
    if posterior.tub is None or gather(posterior.pan, {}).listed.empty:
        return []
    alone, mean = by_tub(posterior.pan, posterior.known, posterior.tub), float(posterior.mean[0])
    if abs(mean - alone.mean[0]) < OUTLYING * float(alone.covariance[0, 0]) ** 0.5:
        return []
    described = posterior.pan.exposure
    return [AGAINST["tub-apart"].format(tub=np.exp(alone.mean[0]) * described, rest=np.exp(mean) * described)]


def _open(posterior: Posterior, untold: dict[str, str]) -> None:
    """Say so where the exposure is left open."""
    error = float(posterior.covariance[0, 0]) ** 0.5
    if error > MOST_ERROR:
        untold["exposure"] = UNTOLD["open"].format(percent=100.0 * error)


def _with_tub(pan: PanModel, ranked: list[Place], tub: Tub | None) -> list[Place]:
    """Exposures in the order of what the rest of the log and a tub together make of them."""
    if tub is None or not ranked:
        return ranked
    values = tub_values(pan, tub, np.array([place.factors["exposure"] for place in ranked]))
    weighed = (replace(place, value=place.value + value) for place, value in zip(ranked, values.tolist(), strict=True))
    return sorted(weighed, key=lambda place: -place.value)
