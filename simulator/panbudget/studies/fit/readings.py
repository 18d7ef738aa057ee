"""
Fitting, the readings: a field log as numbers that a model can be held against, with a standard error each.

Units: kg of water lost by the pan since the log began, litres by the meter. A stretch is a run of visits over which the
openings are known; each has a zero of its own. Openings that nobody counted come from the litres of one; bed emitters
and the meter are taken as they are.
"""

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.numeric import Floats
from panbudget.studies.fit.likelihood import Account
from panbudget.studies.fit.pan import Modelled, PanModel, summed

#: a count says nothing of where between two openings the pan stands: the standard error of a swing
QUANTISED = 12.0**-0.5
RULER_MM = 1.5  # standard error of a ruler to start with
_METER_L = 6.0**-0.5  # standard error of a difference of two whole litres: 1/12 of variance for each that is rounded
_ADDS_UP = 0.6  # share of what one opening differs from the next that adds up: some of it goes with the hour
_MOMENT = 0.05  # of a swing: an opening seen tells the moment to some minutes
# of an opening's litres, by which all of a few days stray from the mean: they fall into the same hours (measured on whole
# logs of ten notes, `tests/benchmarks/README.md`)
_HOURS = 0.006
_LEAST_SPANS = 3


@dataclass
class Readings:
    """
    The log as residuals want it.

    Parameters
    ----------
    listed : DataFrame
        One row a reading: ``visit``, ``kind`` ("level", "count", "meter"), ``stretch``, ``since`` (of a meter: the visit
        at which it was read before).
    counts : ndarray (visits,)
        As they are taken, nan where not counted.
    level_mm : float
        Standard error of a ruler. [mm]
    held : dict
        Factors from an earlier look.
    """

    listed: pd.DataFrame
    counts: Floats
    level_mm: float
    held: dict[str, float]

    @property
    def meters(self) -> npt.NDArray[np.bool_]:
        """Which readings are a meter's."""
        return (self.listed["kind"] == "meter").to_numpy(bool)


def gather(
    pan: PanModel,
    held: dict[str, float],
    counts: Floats | None = None,
    breaks: frozenset[int] = frozenset(),
    level_mm: float = RULER_MM,
) -> Readings:
    """
    List the readings, in stretches.

    A stretch is a run of visits over which the openings are known, by count or by level; each has a zero of its own.
    ``held`` are factors from an earlier look; ``counts`` as they are believed, else the log's own; ``breaks`` are visits
    at which a count can't be true.
    """
    counts = pan.counts if counts is None else counts
    unknown = np.isnan(counts[1:]) & np.isnan(np.diff(pan.levels))
    rows: list[tuple[int, str, int, int]] = []
    stretch, read = 0, -1
    for k, visit in enumerate(pan.visits):
        stretch += k in breaks or (k > 0 and bool(unknown[k - 1]))
        if visit.level is not None or visit.openings is not None or visit.opened or k == 0:
            rows.append((k, "count" if visit.level is None else "level", stretch, 0))
        if visit.meter is not None:
            if read >= 0 and not any(read < at <= k for at in breaks):
                rows.append((k, "meter", stretch, read))
            read = k
    listed = pd.DataFrame(rows, columns=["visit", "kind", "stretch", "since"])
    listed = listed.astype(dict.fromkeys(("visit", "stretch", "since"), int))  # even where there is none
    # a zero of its own for one reading alone teaches nothing
    alone = ~listed.duplicated(["kind", "stretch"], keep=False)
    listed = listed[(listed["kind"] == "meter") | ~alone].reset_index(drop=True)
    return Readings(listed, counts, level_mm, dict(held))


def raw_residuals(pan: PanModel, readings: Readings, factors: dict[str, float]) -> Floats:
    """Model less reading, each in kg or L, the stretches' zeros not yet taken off."""
    modelled = pan.modelled(factors)
    swing = pan.swing * factors.get("swing", 1.0)
    cycles, followed = modelled.at(pan.hours), modelled.counted_at(pan.hours)
    # what the sun takes while the valve is open is held as it was found before: a meter is no scale for so little
    held = pan.modelled(readings.held)
    scale = pan.of_opening(factors) / pan.of_opening(readings.held)
    # the model's cycle holds the loss while open as well, which comes after the level's whole fall
    fallen = (pan.reset_mm - pan.levels) * pan.area * (1.0 - modelled.open_shares(pan.hours))
    # not counted: the levels say it but for whole swings, and the model says how many
    whole = np.maximum(np.round(np.diff(cycles) - np.diff(fallen) / swing), 0.0)
    counts = np.where(np.isnan(readings.counts[1:]), whole, readings.counts[1:])
    opened = np.where(np.isnan(counts), np.diff(followed), counts)
    litres = np.array([held.per_opening(middle) for middle in (pan.hours[1:] + pan.hours[:-1]) / 2.0])
    through, counted = summed(opened * litres * scale), summed(np.nan_to_num(counts))
    visit, since, kind = (readings.listed[name].to_numpy() for name in ("visit", "since", "kind"))
    by_level = (cycles - counted) * swing - fallen
    by_count = (followed - counted - np.where(pan.opened, 0.0, 0.5)) * swing
    # since the meter's reading before: what each opening lets through differs, and the sum of it walks
    of_one = np.array([held.per_opening(hour) for hour in pan.hours])
    through[: len(pan.hours)] -= to_come(pan, modelled)[0] * of_one * scale
    by_meter = through[visit] - through[since] - (pan.meters[visit] - pan.meters[since])
    return np.select([kind == "level", kind == "count"], [by_level[visit], by_count[visit]], by_meter)


def to_come(pan: PanModel, modelled: Modelled) -> tuple[Floats, Floats]:
    """
    Return the share of an opening that is counted at each visit and has not passed the meter, in the mean, and its variance.

    All of one that was seen to begin; none is under way where a level was read, with the valve shut. Elsewhere one is as
    often as the valve is open at that hour, and any part of it is as likely.
    """
    share = modelled.share[np.clip(pan.hours, 0.0, len(modelled.share) - 1.0).astype(int)]
    under_way = np.where(np.isfinite(pan.levels), 0.0, share)
    mean, variance = under_way / 2.0, under_way / 3.0 - under_way**2 / 4.0
    return np.where(pan.opened, 1.0, mean), np.where(pan.opened, 0.0, variance)


def standard_errors(pan: PanModel, readings: Readings) -> Floats:
    """Standard error of each reading. [kg; L]"""
    modelled = pan.modelled({})
    followed = modelled.counted_at(pan.hours)
    visit, since, kind = (readings.listed[name].to_numpy() for name in ("visit", "since", "kind"))
    unknown = summed(np.isnan(readings.counts).astype(float))
    openings = np.maximum(followed[visit] - followed[since], 1.0)
    once = np.where(unknown[visit + 1] > unknown[since + 1], 2.0 * QUANTISED**2, 0.0)
    under_way = to_come(pan, modelled)[1]
    once += under_way[visit] + under_way[since]
    apart = np.maximum(np.sqrt(once + (_ADDS_UP * pan.wander) ** 2 * openings + (_HOURS * openings) ** 2), 0.02)
    litres = np.array([modelled.per_opening(hour) for hour in pan.hours[visit]])
    by_count = np.where(pan.opened[visit], _MOMENT, QUANTISED) * pan.swing
    by_level = np.full(len(visit), readings.level_mm * pan.area)
    return np.select([kind == "level", kind == "count"], [by_level, by_count], np.hypot(litres * apart, _METER_L))


def from_zeros(readings: Readings, raw: Floats, aside: npt.NDArray[np.bool_]) -> Floats:
    """Residuals from their stretch's own zero, the median of those not set aside; a meter's differences have none."""
    residuals = raw.copy()
    for _, stretch in readings.listed[~readings.meters].groupby(["kind", "stretch"]):
        inside = stretch.index.to_numpy()
        chosen = inside[~aside[inside]]
        residuals[inside] -= np.median(raw[chosen if len(chosen) else inside])
    return residuals


def lost_between(pan: PanModel, readings: Readings, factors: dict[str, float]) -> pd.DataFrame:
    """
    Return what the pan lost between visits, by the log and by the model, as described and as fitted.

    Parameters
    ----------
    pan : PanModel
    readings : Readings
    factors : dict
        Fitted factors by name.

    Returns
    -------
    DataFrame
        ``start``, ``end``; ``observed``, ``before`` and ``after`` the fit. [mm/day]
    """
    swing = pan.swing * factors.get("swing", 1.0)
    now, was = pan.modelled(factors).at(pan.hours) * swing, pan.modelled({}).at(pan.hours) * pan.swing
    days, fallen = np.diff(pan.hours) / 24.0, np.nan_to_num(-np.diff(pan.levels))
    counted = np.flatnonzero((days >= 0.5) & ~np.isnan(readings.counts[1:]))
    moments = np.array([visit.moment for visit in pan.visits], "datetime64[ns]")
    observed = readings.counts[1:] * swing / pan.area + fallen
    lost = {"observed": observed, "before": np.diff(was) / pan.area, "after": np.diff(now) / pan.area}
    spans = {"start": moments[counted], "end": moments[counted + 1]}
    return pd.DataFrame({**spans, **{name: values[counted] / days[counted] for name, values in lost.items()}})


def metered_counts(pan: PanModel, factors: dict[str, float]) -> tuple[Floats, frozenset[int]]:
    """
    Return counts with those filled in that the meter tells, and the visits at which nothing was read meanwhile.

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
            filled[now] = max(passed / litres - float(np.nansum(pan.counts[before + 1 : now])), 0.0)
            idle.update(unknown[:-1])
    return filled, frozenset(idle)


def believed_counts(pan: PanModel, spoilt: Account) -> tuple[Floats, frozenset[int]]:
    """Return counts less what they are off by, and the visits where they are off by nobody knows how much."""
    believed = pan.counts.copy()
    breaks = {k for k, shift in spoilt.shifts.items() if np.isnan(believed[k]) or not np.isfinite(shift)}
    for visit in spoilt.shifts.keys() - breaks:
        believed[visit] = max(believed[visit] - spoilt.shifts[visit], 0.0)
    # a meter may bear out the count as it was written
    spans = [slice(before + 1, now + 1) for before, now in itertools.pairwise(np.flatnonzero(np.isfinite(pan.meters)))]
    passed, written = np.diff(pan.meters[np.isfinite(pan.meters)]), np.array([pan.counts[span].sum() for span in spans])
    of_one = passed[written > 0.0] / written[written > 0.0]
    if len(of_one) >= _LEAST_SPANS and (litres := np.median(of_one)) > 0.0:
        openings = passed / litres
        for span, metered, count in zip(spans, openings, written, strict=True):
            if abs(metered - count) < min(abs(metered - believed[span].sum()), 0.5):
                believed[span] = pan.counts[span]
                breaks -= set(range(span.start, span.stop))
    return believed, frozenset(breaks)
