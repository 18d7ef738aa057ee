"""
Checks of rain: units, totals of more than a day, and gauges.

The thresholds are common practice, no source: set so that no real season meets them.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from panbudget.numeric import Floats, Ints, Mask, longest, on_steps
from panbudget.physics import air
from panbudget.weather.checks.air import TENTHS, is_refused_as
from panbudget.weather.checks.inspection import Check, Doubt, Inspection, Verdict, at_least, at_most, seen
from panbudget.weather.checks.sensors import dew_point_of
from panbudget.weather.checks.sky import SOME_LIGHT, telling_share
from panbudget.weather.checks.wind_units import imperial_of
from panbudget.weather.marks import is_known_mark
from panbudget.weather.messages import table_of
from panbudget.weather.text.heading import by_file
from panbudget.weather.text.raw import TO_FILL_IN

_DAYS_TO_JUDGE, _MONTH = 14, 30
# least wet days, share of them that repeat the day before's figure, and how rain may go with the day before's, on twice as many
# wet days; share of wet days on one day of the week or month
_WET_DAYS, _REPEATED, _ALIKE, _ON_ONE_DAY = 10, 0.3, 0.65, 0.9
# a day's rain that is one of a kind: this much, and so many times the next [mm, -]
_CLOUDBURST, _TIMES_SECOND = 150.0, 3.0
# the same of a day that warms up, is bright and dry as days without rain are, so far as these are known, each against the middle of
# those, and how many such signs tell [mm, -, -]
_DOWNPOUR, _AS_DRY, _SIGNS = 40.0, 0.75, 2
# wet days and dry ones, and share of all pairs of both of which the wet one is duller, damper or evener, below which rain is none (0.70
# at least in 52 genuine seasons); and the rain of such a day [d, -, mm]
_BOTH, _NO_DULLER, _NO_DRIZZLE = 12, 0.6, 3.0
# gaps between wet days that tell: how many, the shortest, and share of whole weeks among them; how many, and how far from a
# month's length [-, d, -, -, d, d]
_WEEKLY, _NO_SOONER, _ON_TIME, _MONTHLY, _LATE, _OF_YEAR = 7, 5, 0.6, 3, 2.5, 30.44
# wet days before and after, by how much the mean of their logarithms changes, and how many times its standard error that is
_BY_SIZE = (8, 1.9, 5.0)
# the same where figures of tenths become hundredths, or whole numbers, on that day, or the other way round; share of the others with
# digits that these lack (4 of 924 seasons, genuine and invented, by tips of 0.1 to 0.5 mm, were doubted by three days and six tenths)
_BY_STEP, _FINER = (3, 1.1, 3.0), 0.6
# the same of whole numbers among the others, share of those with more digits, from which on they are told, and of some among whole
# numbers, since the day is found but nearly [-, -, -]
_BY_ONE, _OFTEN_BEYOND, _STRAY = (4, 1.5, 4.0), 0.5, 0.1
# how unlikely, as a logarithm, so many whole numbers are among the largest figures by their share of the others (7.5 at most in 647
# genuine and invented seasons); how far others are from whole numbers on every other day [-, mm]
_LOST, _NEARLY_WHOLE = 10.0, 0.15
# the same where all of the largest are whole numbers, and how far they are above the rest: at least, and times that [-, mm, -]
_BEYOND, _MUCH_WHOLE, _TIMES_WHOLE = 0.7, 30.0, 1.5
# classes of days by how dull and damp they are, and the wet days to be expected by them of which none comes [-, d]
_CLASSES, _EXPECTED = 4, 9.0
# the same where all of a month is dry, and little more: so many days [-, d]; wet days in the month before and after a month of
# which only the last day is wet, and how many times the mean wet day's rain falls on that [d, -]
_OF_MONTH, _MORE, _BESIDE, _TIMES_MEAN = 6.0, 10, 4, 2.0
# of a season without any rain: wet days that each other year has on its days at least, and the days that such a year must have;
# days that look wet: how many, their range of temperature at most, their humidity, where light tells too, and where not (for fog of
# coasts without rain), and share of a clear sky's light [d, -, d, °C, %, %, -]; days of a year, and how many of those then [d, d]
_A_YEAR = (365, 20)
_SELDOM, _MOSTLY, _LOOK_WET, _EVEN, _DAMP, _DAMP_ALONE, _DULL = 5, 0.9, 6, 8.0, 75.0, 85.0, 0.5
# steps between wet days that no weather keeps, beside a week, and how unlikely so many on them are, as a logarithm (5.7 at most in
# 1,499 genuine seasons) [d, -]
_STEPS, _KEPT = (2, 3, 4, 5, 6, 8, 9, 10), 9.0
# the same of days of a part of the season, without a gap, so many at least, by how often it is wet between them (10.2 at most, of any
# number, in 73 genuine seasons) [-, d]
_KEPT_IN_A_RUN, _IN_A_RUN = 14.0, 17
# the same of all wet days; wet days in a row with one amount at one distance (by chance of tips once in 10⁵ of such rows, or less)
_KEPT_BY_ALL, _SAME_AGAIN = 15.0, 4
# rainy spells, and share of them on whose last day nothing of its own is left once each day is less what the day before has [-]
_SPELLS, _NONE_LEFT, _LEFT = 6, 0.75, 0.051
# by how much the larger of six-hour totals and their hours may exceed the hours [-, mm]
_MORE_IN_SIX, _MORE_MM = 0.10, 1.0
# a day's rain in mm beyond which it is doubted, and refused where its unit is not stated
_MUCH_RAIN = 400.0
# wet days by whose figures a unit that nobody names is doubted, and by which any is [d]
_FEW, _MANY = 5, 15
# the most and the mean of wet days in inches, in cm, and in cm whose steps are a gauge's tips of 0.2 mm [in, cm, cm]
_INCHES, _CENTIMETRES, _TIPS_IN_CM = (4.0, 0.6), (10.0, 1.0), (20.0, 3.0)
# share of the days on which a running total falls by a slip, at most [-]
_SLIPS = 1.0 / 30.0
# days with at least so much that may be in inches, whatever its decimals; what their mean is then, and the most; such days of mm had a
# mean of 2.2 at least in 1,365 genuine seasons with ten of them [mm]
_LEAST_SCANT, _SCANT, _SCANT_MOST = 0.1, (0.15, 1.2), 8.0
# the widest range of temperature, share of a clear sky's light and dryness that such days have in the mean where it rains in inches,
# so that a model's drizzle of dry summers is none [°C, -, %]
_AS_IN_RAIN = {"tmax": 11.0, "radiation": 0.65, "rh_min": 55.0}
# the mean of wet days in metres, as models write them, which in inches is little more than a drizzle [m]
_METRES = (0.001, 0.03)
# the mean of wet days in kg m⁻² s⁻¹, as models write rain: 20 mm in a day, less than a drizzle in metres [kg m⁻² s⁻¹]
_FLUX = 0.00025
# the mean of wet days beyond any place's, so that millimetres are called inches [mm]
_NO_INCHES = 3.0 * 25.4
# a day's rain that dew is not; how many times the vapour above a site its wet days bring in the mean, beyond any place's: 1.1 at most
# in 45 genuine seasons (1.8 on 7 such days in a row), some 2 where mountains stand in the way of the sea's wind; how many [mm, -, d]
_NO_DEW, _OVER_VAPOUR, _OF_VAPOUR = 1.0, 2.7, 7
# how far the logarithm of a change is from that of a unit's size, for it to be that unit's [-]
_NEAR_UNIT = 0.8
# mm in one
_SMALL = {"in": 25.4, "cm": 10.0, "m": 1000.0, "kg/m^2/s": 86400.0}
# a share that is nothing, whose logarithm is finite [-]
_NO_SHARE = 1e-300


def _rain_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known = inspection.known("rain")
    steps, wet, stated = np.diff(known), known[known > 0.0], "/stated" if inspection.is_stated("rain") else ""
    slips, known_at = (steps < 0.0).sum(), known[-1] if known.size else 0.0
    slipped = slips <= _SLIPS * steps.size and known.max(initial=0.0) > _MUCH_RAIN and (steps == 0.0).mean() > _REPEATED
    if known.size >= 20 and ((not slips and known_at > 50.0) or slipped) and (steps > 0.0).sum() >= 5:
        yield Verdict(names, "rain-unit/total", {"never": "hardly ever" if slips else "never"})
    elif wet.size >= 10 and (wet == np.round(wet)).all() and (np.median(wet) > 25.0 or wet.mean() > 40.0 or _tips(wet)):
        instead = inspection.with_asked(rain=inspection.of_asked("rain") / 10.0)
        yield Verdict(names, f"rain-unit/tenths{stated}", {"half": np.median(wet), "unit": "0.1 mm"}, instead)
    elif (unit := _too_small(wet)) and (wet.size >= _MANY or not stated):
        imperial = is_refused_as("°F", inspection) or imperial_of(inspection)
        if imperial and not stated and unit not in ("in", "cm"):  # a model's, which has no °F
            yield Verdict(names, "rain-unit/beside", {"unit": TO_FILL_IN})
            return
        unit = "in" if imperial and unit == "cm" else unit
        instead = inspection.with_asked(rain=inspection.of_asked("rain") * _SMALL[unit])
        looks_like = table_of("rain_names")["in or cm" if unit == "in" and not imperial else unit]
        text = f"rain-unit/inches{stated if wet.size >= _MANY or wet.mean() < _FLUX else '/few'}"
        yield Verdict(names, text, {"wet": wet.size, "unit": unit, "looks_like": looks_like}, instead)
    elif (
        by_file(inspection.unit_in_file("rain"), "mm")[0] == _SMALL["in"]
        and wet.size >= _FEW
        and wet.mean() > _NO_INCHES
    ):
        yield Verdict(names, "rain-unit/not-inches", {"mean": wet.mean() / _SMALL["in"], "unit": "mm"})
    elif not stated and is_refused_as("°F", inspection):
        yield Verdict(names, "rain-unit/beside", {"unit": TO_FILL_IN})
    elif not stated and is_refused_as(TENTHS, inspection) and wet.size and (wet == np.round(wet)).all():
        yield Verdict(names, "rain-unit/beside-tenths", {"unit": TO_FILL_IN})
    elif _is_scant(inspection):
        instead = inspection.with_asked(rain=inspection.of_asked("rain") * _SMALL["in"])
        words = {"wet": wet.size, "unit": "in", "looks_like": table_of("rain_names")["in or cm"]}
        yield Verdict(names, f"rain-unit/inches{stated or '/few'}", words, instead)


def _tips(wet: Floats) -> bool:
    """Tell whether whole figures have a step of two or more, as no gauge has in millimetres, and tips have in tenths."""
    return wet.size >= _MANY and np.unique(wet).size >= _FEW and int(np.gcd.reduce(wet.astype(int))) > 1


def _too_small(wet: Floats) -> str:
    """Tell whether rain is in hundredths, as gauges in inches are and gauges in millimetres aren't; or in cm, which falls more."""
    fiftieths = on_steps(wet * 50.0, 1.0)
    most, mean = _TIPS_IN_CM if fiftieths.all() else _CENTIMETRES
    if wet.size < _FEW or wet.max() >= most or wet.mean() >= mean:
        return ""
    if wet.mean() < _FLUX and np.ptp(wet) > 0.0:
        return "kg/m^2/s"
    hundredths, tenths = (on_steps(wet * parts, 1.0) for parts in (100.0, 10.0))
    if not hundredths.all() and _METRES[0] < wet.mean() < _METRES[1]:
        return "m"
    if not hundredths.all() or tenths.mean() >= 0.5 or _were_inches(wet):
        return ""
    return "in" if wet.max() < _INCHES[0] and wet.mean() < _INCHES[1] and not fiftieths.all() else "cm"


def _were_inches(wet: Floats) -> bool:
    """Tell whether nearly all figures are hundredths of an inch turned into millimetres of two decimals."""
    return bool(on_steps(wet / 0.254, 1.0, 0.021).mean() > 0.9)


def _is_scant(inspection: Inspection) -> bool:
    """Tell whether days that are dull, damp and even as in rain have as little as inches are, which may have any decimals."""
    wet = (rain := inspection.of_asked("rain")) >= _LEAST_SCANT
    if (
        wet.sum() < _WET_DAYS
        or np.nanmax(inspection.all_of("rain")) >= _SCANT_MOST
        or not _SCANT[0] <= rain[wet].mean() < _SCANT[1]
    ):
        return False
    signs = _dry_signs(inspection)
    return bool(signs) and all(np.nanmean(sign[wet]) <= _AS_IN_RAIN[name] for name, sign in signs.items())


def _over_most_rain(values: Floats, inspection: Inspection) -> Floats:
    return np.zeros_like(values) if inspection.is_stated("rain") else values - _MUCH_RAIN


def _rain_repeats(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt rain that repeats to the digit from day to day, as running totals and sliding sums do on dry days."""
    rain = inspection.of_asked("rain")
    same, wet = (rain[1:] == rain[:-1]) & (rain[1:] > 0.0), int((rain > 0.0).sum())
    alone, rest = _less_the_day_before(rain)
    if rest.size >= _SPELLS and (np.abs(rest) < _LEFT).mean() >= _NONE_LEFT:
        words = {"spells": int((np.abs(rest) < _LEFT).sum()), "all": rest.size}
        yield Verdict(names, "rain-sum/two-days", words, inspection.with_asked(rain=np.maximum(alone, 0.0)))
        return
    fallen = np.nan_to_num(rain)  # dry days that have no figure would leave a handful of wet ones in a row
    with np.errstate(divide="ignore", invalid="ignore"):  # rain of one amount goes with nothing
        alike = np.corrcoef(fallen[1:], fallen[:-1])[0, 1] if wet >= 2 * _WET_DAYS else 0.0
    often = wet >= _WET_DAYS and same.sum() > _REPEATED * wet and np.unique(rain[rain > 0.0]).size > 2
    if often or alike > _ALIKE:
        figures, counts = np.unique(rain[1:][same], return_counts=True)
        if often and counts.max() > _MOSTLY * same.sum():
            dew = rain == figures[counts.argmax()]
            words = {"dew": figures[counts.argmax()], "days": int(dew.sum())}
            yield Verdict(names, "rain-sum/dew", words, inspection.with_asked(rain=np.where(dew, 0.0, rain)))
            return
        rises = np.maximum(np.diff(rain, prepend=0.0), 0.0)
        values = {"same": int(same.sum()), "wet": wet}
        yield Verdict(names, "rain-sum", values, inspection.with_asked(rain=rises))


def _less_the_day_before(rain: Floats) -> tuple[Floats, Floats]:
    """Return each day's rain less what is so left of the day before's, and what is left of the last day of each spell."""
    wet, sign = rain > 0.0, np.resize([1.0, -1.0], rain.size)
    sums = np.cumsum(np.where(wet, sign * rain, 0.0))
    dry = np.maximum.accumulate(np.where(wet, -1, np.arange(rain.size)))
    alone = sign * (sums - np.where(dry >= 0, sums[dry], 0.0))
    return alone, alone[wet & ~np.append(wet[1:], False)]


def _months(inspection: Inspection) -> Iterator[slice]:
    """Yield the whole months among the days asked for, the first of which is 0."""
    days = pd.DatetimeIndex(inspection.daily.index[inspection.asked])
    for first in map(int, np.flatnonzero(days.day == 1)):
        if first + (length := days[first].days_in_month) <= len(days):
            yield slice(first, first + length)


def _rain_periods(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt rain on one day of the week alone, or of the month, or at steps of a week or a month but for a slip."""
    days = pd.DatetimeIndex(inspection.daily.index[inspection.asked])
    wet = days[inspection.of_asked("rain") > 0.0]
    gaps = np.diff(np.flatnonzero(inspection.of_asked("rain") > 0.0))
    weekly = gaps.size >= _WEEKLY and gaps.min() >= _NO_SOONER and (gaps % 7 == 0).mean() >= _ON_TIME
    monthly = (
        gaps.size >= _MONTHLY and (np.abs(gaps - np.maximum(np.round(gaps / _OF_YEAR), 1.0) * _OF_YEAR) < _LATE).all()
    )
    of_month = np.where(wet.is_month_end, 0, wet.day)
    for kind, which, least, length in (("week", wet.weekday.to_numpy(), 6, 7), ("month", of_month, 3, 31)):
        regular = (
            wet.size >= max(least, 0.5 * len(days) / length) and np.bincount(which).max() >= _ON_ONE_DAY * wet.size
        )
        if regular or (weekly if kind == "week" else monthly):
            yield Verdict(names, "rain-periods", {"kind": kind, "wet": wet.size})
            return
    rain = inspection.of_asked("rain")
    at = np.flatnonzero(rain > 0.0)
    for step in reversed(_STEPS):
        if at.size * np.log(step) > _KEPT_BY_ALL and (gaps % step == 0).all():
            yield Verdict(names, "rain-periods/lumps", {"step": step, "wet": at.size})
            return
    much = np.flatnonzero(rain >= _NO_DRIZZLE)
    for step in _STEPS if much.size >= _WET_DAYS else ():
        on = much[much % step == np.bincount(much % step).argmax()]
        if much.size * _unlikely(on.size / much.size, 1.0 / step) > _KEPT:
            words = {"step": step, "on": on.size, "wet": much.size, "least": _NO_DRIZZLE}
            likely = rain.copy()
            likely[on] = np.maximum(rain[on] - np.median(rain[on]), 0.0)
            instead = inspection.with_asked(rain=likely)
            yield Verdict(names, "rain-periods/steps", words, instead)
            return
    if run := _at_one_distance(rain >= _NO_DRIZZLE):
        first, step, count = run
        last = first + (count - 1) * step
        words = {"step": step, "count": count, "least": _NO_DRIZZLE, "first": inspection.day_asked(first)}
        likely = rain.copy()
        likely[first : last + 1 : step] -= rain[first : last + 1 : step].min()
        words["last"] = inspection.day_asked(last)
        yield Verdict(names, "rain-periods/run", words, inspection.with_asked(rain=likely))
        return
    for month in _months(inspection):
        beside = [rain[max(month.start - _MONTH, 0) : month.start], rain[month.stop : month.stop + _MONTH]]
        fewest = min([int((part > 0.0).sum()) for part in beside if part.size == _MONTH], default=0)
        last = rain[month.stop - 1]
        if fewest >= _BESIDE and not rain[month][:-1].any() and last > _TIMES_MEAN * rain[rain > 0.0].mean():
            yield Verdict(names, "rain-periods/month", {"last": inspection.day_asked(month.stop - 1), "rain": last})


def _at_one_distance(much: Mask) -> tuple[int, int, int] | None:
    """Return the first day, the distance and the number of wet days that stand at one distance, by no chance of the days between."""
    least, found = _KEPT_IN_A_RUN, None
    for step in _STEPS:
        for phase in range(step):
            first, count = longest(much[phase::step])
            between = np.delete(much[phase + first * step :][: (count - 1) * step + 1], np.s_[::step])
            kept = -count * float(np.log((between.sum() + 1) / (between.size + 2))) if count >= _IN_A_RUN else 0.0
            if kept > least:
                least, found = kept, (phase + first * step, step, count)
    return found


def _same_again(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt one amount again and again, at one distance from wet day to wet day."""
    rain = inspection.of_asked("rain")
    wet = np.flatnonzero(rain > 0.0)
    gaps, again = np.diff(wet), np.diff(rain[wet]) == 0.0
    same = again[1:] & again[:-1] & (np.diff(gaps) == 0) & (gaps[1:] > 1) & (rain[wet[2:]] >= _NO_DRIZZLE)
    first, length = longest(same)
    if length + 2 >= _SAME_AGAIN and not seen(inspection, "rain-periods"):
        words = {"amount": float(rain[wet[first]]), "step": int(gaps[first]), "count": length + 2}
        yield Verdict(names, "rain-periods/same", {**words, "first": inspection.day_asked(wet[first])})


def _rain_change(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt wet days that from a day on are many times as wet, or as small a part, as no change of season makes them."""
    rain = inspection.of_asked("rain")
    wet = np.flatnonzero(rain > 0.0)
    if seen(inspection, "rain-sum"):  # which are no days' rain
        return
    in_inches = inspection.unit_in_file("rain") == "in"
    digits = rain[wet] / (2.54 if in_inches else 1.0)  # tenths, where an inch has hundredths
    logs, beyond = np.log(rain[wet]), [_is_beyond(digits, parts) for parts in (1.0, 10.0)]
    leaps = []
    for at in range(_BY_STEP[0], wet.size - _BY_STEP[0] + 1):
        halves = [(of[:at], of[at:]) for of in beyond]
        steps = any(
            not former.any() and latter.mean() > _FINER for two in halves for former, latter in (two, two[::-1])
        )
        side, leap, sure = _BY_STEP if steps else _BY_SIZE
        change, error = _change(logs[at:], logs[:at])
        if min(at, wet.size - at) >= side and abs(change) > max(leap, sure * error):
            leaps.append((change**2 * at * (wet.size - at), change, wet[at]))  # what two means explain
    if leaps:
        _, change, row = max(leaps)
        values, first = {"times": np.exp(change), "first": inspection.day_asked(row)}, np.arange(rain.size) < row
        smaller = first if change > 0.0 else ~first
        ways = _ways_of_change(abs(change), rain, smaller, in_inches=in_inches)
        yield Verdict(names, "rain-change", values, [inspection.with_asked(rain=likely) for likely in ways])
        return
    for within, others, text, (side, leap, sure) in _parts(inspection, wet, digits, beyond):
        if min(within.sum(), others.sum()) < side:
            continue
        change, error = _change(logs[within], logs[others])
        if (change if text == "between" else -change) > max(leap, sure * error):
            days = {"first": inspection.day_asked(wet[within][0]), "last": inspection.day_asked(wet[within][-1])}
            likely = rain.copy()
            likely[wet[within]] /= 10.0 if text == "between" else np.exp(change)
            instead = inspection.with_asked(rain=likely)
            words = {"times": np.exp(change), "digits": "tenths of an inch" if in_inches else "whole numbers", **days}
            yield Verdict(names, f"rain-change/{text}", words, instead)
            return


def _ways_of_change(change: float, rain: Floats, smaller: Mask, *, in_inches: bool) -> list[Floats]:
    """Return what rain would be if one part is as the other: by the units and tips that are near, as its digits tell, or as it is."""
    fallen = rain > 0.0
    little, much = rain[smaller & fallen], rain[~smaller & fallen]
    points_lost = _is_beyond(much, 1.0).mean() < _STRAY and _is_beyond(little, 1.0).mean() > _OFTEN_BEYOND
    finer = _is_beyond(little, 10.0).any() and not _were_inches(little)
    is_less = not (in_inches or (points_lost and not finer))
    sizes = (10.0, 25.4) if in_inches or finer else (10.0,) if is_less else (10.0, 5.0)
    near = sorted((abs(np.log(size) - change), size) for size in sizes)
    likely = [size for apart, size in near if apart < _NEAR_UNIT] or [float(np.exp(change))]
    # among inches, and where its points were lost, what is too much is wrong; among other mm, what is too little
    return [np.where(smaller, rain * of, rain) if is_less else np.where(smaller, rain, rain / of) for of in likely]


def _parts(
    inspection: Inspection, wet: Ints, digits: Floats, beyond: list[Mask]
) -> Iterator[tuple[Mask, Mask, str, tuple[int, float, float]]]:
    """Yield wet days that may be in another unit: in whole numbers, in hundredths, or a month's; the others; and what then tells."""
    at = np.arange(wet.size)
    first, length = longest(~beyond[0])
    whole = (at >= first) & (at < first + length)
    if length > _BY_STEP[0] and beyond[0][~whole].sum() > _FINER * (~whole).sum():
        yield whole, ~whole, "between", _BY_STEP
    if beyond[0].sum() > _OFTEN_BEYOND * wet.size:  # one by one; whole numbers are no drizzle
        yield ~beyond[0], beyond[0] & (inspection.of_asked("rain")[wet] > 1.0), "between", _BY_ONE
    if (lost := _points_lost(digits, beyond[0])).any():
        yield lost, ~lost, "between", _BY_STEP
    finer = np.flatnonzero(beyond[1])
    if finer.size and finer.size > 0.5 * (finer[-1] - finer[0] + 1):
        yield (within := (at >= finer[0]) & (at <= finer[-1])), ~within, "less", _BY_STEP
    for month in _months(inspection):
        yield (within := (wet >= month.start) & (wet < month.stop)), ~within, "less", _BY_SIZE


def _points_lost(digits: Floats, beyond: Mask) -> Mask:
    """Tell whole numbers that are far more frequent among the largest figures than among the others, all digits of which come."""
    order = np.argsort(-digits, kind="stable")
    whole, count = np.cumsum(~beyond[order]), np.arange(1, digits.size + 1)
    apart = np.abs(digits - np.round(digits))[beyond]
    at = np.arange(_BY_STEP[0] - 1, digits.size - _SPELLS)
    if not at.size or (apart > _NEARLY_WHOLE).sum() <= 0.5 * apart.size:  # the others are whole in another unit
        return np.zeros(digits.size, dtype=bool)
    # halves are whole numbers on every other day
    in_tenths = 1.0 / (1 + np.unique((digits[beyond] % 1.0).round(1)).size)
    by_chance = np.maximum((whole[-1] - whole[at]) / (digits.size - count[at]), in_tenths)
    share = np.maximum(whole[at] / count[at], by_chance)
    sure = count[at] * _unlikely(share, by_chance) - np.log(digits.size)
    best = int(np.nanargmax(sure))
    lost: Mask = ~beyond & (digits >= digits[order[at[best]]]) & (sure[best] > _LOST)
    return lost


def _unlikely(share: Floats | float, by_chance: Floats | float) -> Any:
    """Return how unlikely such a share of many is by chance: the logarithm for each of them, by Chernoff's bound."""
    both = ((share, by_chance), (1.0 - share, 1.0 - by_chance))
    return sum(of * np.log(np.maximum(of, _NO_SHARE) / np.maximum(by, _NO_SHARE)) for of, by in both)


def _change(*parts: Floats) -> tuple[float, float]:
    """By how much the logarithms of some wet days are above the others', and its standard error."""
    error = np.sqrt(sum(part.var(ddof=1) / part.size for part in parts))
    return float(parts[0].mean() - parts[1].mean()), float(error)


def _is_beyond(values: Floats, parts: float) -> Mask:
    """Tell which figures have more digits than such parts of one: tenths, or whole numbers."""
    return ~on_steps(values * parts, 1.0)


def _rain_stops(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a long time without rain whose days are as dull and damp as those on which it fell: a gauge that is blocked."""
    rain, dull = inspection.of_asked("rain"), _dullness(inspection)
    wet = np.flatnonzero(rain > 0.0)
    if wet.size < _WET_DAYS or not any(map(inspection.has, ("radiation", "rh_min", "rh_mean"))):
        return  # the range of temperature alone tells too little
    ends = np.concatenate([[-1], wet, [rain.size]])
    best = int(np.argmax(np.diff(ends)))
    last, until = int(ends[best]), int(ends[best + 1])
    if until - last <= _MONTH:
        return
    dry = np.zeros(rain.size, dtype=bool)
    dry[last + 1 : until] = True
    known = ~np.isnan(dull + rain)
    those = known & ~dry
    if not those.any():
        return
    edges = np.quantile(dull[those], np.linspace(0.0, 1.0, _CLASSES + 1)[1:-1])
    of_day = np.searchsorted(edges, dull)
    wet_days, all_days = (
        np.bincount(of_day[those], weights=weights, minlength=_CLASSES)
        for weights in ((rain[those] > 0.0).astype(float), None)
    )
    shares = wet_days / np.maximum(all_days, 1)
    shares[0] = 0.0  # days brighter and drier than the others, too
    expected = np.where(known & (inspection.of_asked("tmin") > 0.0), shares[of_day], 0.0)  # a gauge may miss snow
    a_month = any(
        last < month.start and month.stop <= until and dry.sum() - (month.stop - month.start) <= _MORE
        for month in _months(inspection)
    )
    if expected[dry].sum() > (_OF_MONTH if a_month else _EXPECTED):
        usual = float(rain[wet].mean())
        instead = inspection.with_asked(rain=np.where(dry, expected * usual, rain))
        words = {"days": int(dry.sum()), "first": inspection.day_asked(last + 1), "expected": expected[dry].sum()}
        yield Verdict(names, "rain-stops", words, instead)


def _dullness(inspection: Inspection) -> Floats:
    """How dull and damp each day is, by ranks: radiation against a clear sky's, humidity, and range of temperature."""
    signs = [telling_share(inspection, SOME_LIGHT)] if inspection.has("radiation") else []
    signs += [-inspection.of_asked(name) for name in ("rh_min", "rh_mean") if inspection.has(name)][:1]
    signs.append(inspection.of_asked("tmax") - inspection.of_asked("tmin"))
    dull: Floats = np.mean([pd.Series(-sign).rank(pct=True).to_numpy() for sign in signs], axis=0)
    return dull


def _rain_none(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a season without any rain, though the same days of other years have some, or some of its days look as rain does."""
    if inspection.known("rain").any():
        return
    rain, days = inspection.all_of("rain"), pd.DatetimeIndex(inspection.daily.index)
    dates = days.month * 100 + days.day
    same = ~inspection.asked & dates.isin(dates[inspection.asked]) & ~np.isnan(rain)
    wet_days = pd.Series(rain[same] > 0.0).groupby(days.year[same]).agg(["sum", "size"])
    whole = wet_days["sum"][wet_days["size"] >= _MOSTLY * inspection.asked.sum()]
    if whole.size and whole.min() >= _SELDOM and whole.mean() > _EXPECTED:
        yield Verdict(names, "rain-none/years", {"wet": whole.mean(), "years": whole.size})
        return
    # of a record without any all days speak, and of a year of it fog is no reason
    ever = inspection.asked if np.nansum(rain) > 0.0 else ~np.isnan(rain)
    a_year = bool(ever.sum() >= _A_YEAR[0])
    damp = int((_looks_wet(inspection, foggy=not a_year) & ever).sum())
    if damp >= (_A_YEAR[1] if a_year else _LOOK_WET):
        yield Verdict(names, "rain-none/damp", {"damp": damp, "days": int(ever.sum())})


def _looks_wet(inspection: Inspection, *, foggy: bool) -> Mask:
    """Tell days as damp, dull and even as few are without rain, or fog; none where neither humidity nor light is there."""
    humidity = [name for name in ("rh_mean", "rh_max", "rh_min") if inspection.has(name)]
    tmin = inspection.all_of("tmin")
    signs = [(inspection.all_of("tmax") - tmin <= _EVEN) & (tmin > 0.0)]
    if humidity:
        of = humidity[:1] if "rh_mean" in humidity else humidity
        least = _DAMP_ALONE if foggy and not inspection.has("radiation") else _DAMP
        signs.append(np.mean([inspection.all_of(name) for name in of], axis=0) >= least)
    elif inspection.has("dew_point"):
        mean = air.saturation_vapour_pressure((inspection.all_of("tmax") + tmin) / 2.0)
        signs.append(100.0 * air.saturation_vapour_pressure(inspection.all_of("dew_point")) / mean >= _DAMP)
    if inspection.has("radiation"):
        signs.append(inspection.all_of("radiation") < _DULL * inspection.sky.clear)
    looks: Mask = np.all(signs, axis=0) & (len(signs) > 1)
    return looks


def _rain_twice(inspection: Inspection, names: list[str], *, text: str, column: str) -> Iterator[Verdict]:
    """Doubt rain of which six-hour totals hold more than the hours that they are made of, or that stands in rows written twice."""
    assert inspection.raw.rain_twice is not None
    of_days = inspection.raw.rain_twice.reindex(inspection.daily.index).fillna(0.0)
    sums = of_days[inspection.asked].sum()
    if column in sums and sums["larger"] - sums["hours"] > max(_MORE_IN_SIX * sums["hours"], _MORE_MM):
        less = inspection.all_of("rain") - (of_days["larger"] - of_days["hours"]).to_numpy(float)
        instead = inspection.with_asked(rain=np.maximum(less, 0.0)[inspection.asked])
        yield Verdict(names, text, {str(sort): mm for sort, mm in sums.items()}, instead)


def _rain_spike(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    *_, second, most = (0.0, *np.sort(inspection.known("rain")))
    rain = inspection.of_asked("rain")
    cloudburst = most > min(max(_CLOUDBURST, _TIMES_SECOND * second), _MUCH_RAIN)
    downpour = most > max(_DOWNPOUR, _TIMES_SECOND * second)
    marked = downpour and is_known_mark(np.array(most)).item()
    if cloudburst or marked or (downpour and _is_dry(inspection, int(np.nanargmax(rain)))):
        instead = inspection.with_asked(rain=np.where(rain == most, second, rain))
        text = f"rain-spike{'/mark' if marked else '' if cloudburst else '/dry'}"
        yield Verdict(names, text, {"second": second}, instead)
        return
    wet = np.sort(inspection.known("rain"))[::-1]
    beyond = _is_beyond(wet[wet > 0.0], 1.0)
    largest = int(np.argmax(beyond)) if beyond.any() else 0
    for days in range(largest, 1, -1):
        if beyond[largest:].mean() > _BEYOND and wet[days - 1] > max(_MUCH_WHOLE, _TIMES_WHOLE * wet[days]):
            instead = inspection.with_asked(rain=np.where(rain >= wet[days - 1], rain / 10.0, rain))
            yield Verdict(names, "rain-spike/days", {"second": wet[days], "days": days}, instead)
            return


def _dry_signs(inspection: Inspection) -> dict[str, Floats]:
    """Return by what days without rain are known, by column: they warm up, are bright and dry."""
    of, signs = inspection.of_asked, dict[str, Floats]()
    if inspection.has("tmin", "tmax"):
        signs["tmax"] = of("tmax") - of("tmin")
    if inspection.has("radiation"):
        signs["radiation"] = telling_share(inspection, SOME_LIGHT)
    if inspection.has("rh_min"):
        signs["rh_min"] = 100.0 - of("rh_min")
    return signs


def _rain_bright(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt rain that falls as often on days that warm up, are bright and dry as on others (Mann and Whitney's U)."""
    rain, shares = inspection.of_asked("rain"), []
    for sign in _dry_signs(inspection).values():
        wet, dry = (sign[days & ~np.isnan(sign)] for days in (rain >= _NO_DRIZZLE, rain == 0.0))
        if min(wet.size, dry.size) < _BOTH:
            return
        shares.append(float(((wet[:, None] < dry) + 0.5 * (wet[:, None] == dry)).mean()))
    if len(shares) >= _SIGNS and max(shares) < _NO_DULLER:
        words = {"wet": int((rain >= _NO_DRIZZLE).sum()), "share": 100.0 * max(shares)}
        yield Verdict(names, "rain-bright", words)


def _is_dry(inspection: Inspection, day: int) -> bool:
    """Tell whether one of the days asked for is as the middling one without rain."""
    signs, without = _dry_signs(inspection).values(), inspection.of_asked("rain") == 0.0
    shares = [sign[day] / np.nanmedian(sign[without]) for sign in signs if not np.isnan(sign[without]).all()]
    return len(shares) >= _SIGNS and min(shares) >= _AS_DRY


def _over_vapour(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt wet days that bring many times the air's vapour over a site in the mean, by dew point or minimum."""
    rain, tmin = inspection.of_asked("rain"), inspection.of_asked("tmin")
    dew_point = tmin if (known := dew_point_of(inspection)) is None else known
    wet = (rain >= _NO_DEW) & (tmin > 0.0) & ~np.isnan(dew_point)
    # C. H. Reitan, Surface dew point and water vapor aloft, J. Appl. Meteorol. 2 (1963), in mm (from memory)
    times = (rain / (10.0 * np.exp(0.1102 + 0.0614 * dew_point)))[wet]
    if wet.sum() >= _OF_VAPOUR and times.mean() > _OVER_VAPOUR and not seen(inspection, "rain"):
        words = {"mean": float(rain[wet].mean()), "times": float(times.mean())}
        yield Verdict(names, "rain-much/mean", words, inspection.with_asked(rain=rain / 10.0))


#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Check | Doubt, ...] = (
    at_least("rain"),
    Doubt("rain-unit", _rain_unit, ("rain",)),
    Doubt("rain-sum", _rain_repeats, ("rain",), _MONTH),
    Doubt("rain-change", _rain_change, ("rain",), _MONTH),
    Doubt("rain-none", _rain_none, ("rain",), 2 * _MONTH, needs=("tmin", "tmax")),
    Doubt("rain-stops", _rain_stops, ("rain",), 2 * _MONTH, needs=("tmin", "tmax")),
    Doubt("rain-periods", _rain_periods, ("rain",), 2 * _MONTH),
    Doubt("rain-periods", _same_again, ("rain",), 2 * _MONTH),
    *(
        Doubt(name, partial(_rain_twice, text=name, column=column), ("rain",), beside="rain_twice")
        for name, column in (("rain-six-hours", "six"), ("rain-rows", "rows"))
    ),
    at_most("rain"),
    Check("rain-much", "rain", _over_most_rain, lambda *_: {"most": _MUCH_RAIN}, certain=False),
    Doubt("rain-much", _over_vapour, ("rain",), _MONTH, needs=("tmin",)),
    Doubt("rain-bright", _rain_bright, ("rain",), _MONTH),
    Doubt("rain-spike", _rain_spike, ("rain",), _DAYS_TO_JUDGE),
)
