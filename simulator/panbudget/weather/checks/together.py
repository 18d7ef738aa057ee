"""
Checks of quantities that go together: temperatures, humidity and light of one place and time.

Vapour hardly changes over a day, so that relative humidity tells how far the day warms up, and dew keeps the mean dew point near
the minimum or below (FAO-56 chapter 3 and Annex 5, from memory). The thresholds were set on genuine and invented records
(tests/benchmarks/weather_checks.py): common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

import numpy as np
import pandas as pd

from panbudget.numeric import Floats, Mask, longest
from panbudget.physics import air
from panbudget.weather.checks.air import HIGH_SUN, may_be_tmin, steps
from panbudget.weather.checks.inspection import Doubt, Inspection, Verdict, seen
from panbudget.weather.checks.sensors import dew_point_of
from panbudget.weather.checks.sky import NIGHTS, SOME_LIGHT, telling_share

# days on which is judged, at least, days above freezing, and how far they warm up at least [d, °C]
_DAYS, _WARMING = 30, 4.0
# how far above the minimum the dew point by the mean humidity lies on a middling day, of the way to the maximum, if the humidity is
# the day's highest; wet days, their rain, and the mean humidity of the middling one, below which it is the lowest [-, d, mm, %]
_ABOVE, _WET_DAYS, _WET, _DRY_FOR_WET = 0.34, 3, 5.0, 60.0
# the same where there are more such days: how far the minimum then lies above the dew point (1.6 at most in genuine seasons with so
# many, whose rain cools the air nearly to its dew point) [d, °C]
_MANY_WET, _ABOVE_DEW = 10, 1.9
# how far a day's vapour is above what the minimum's air holds in the middle where it is saturated air's, and how often [°C, -]
_SATURATED_BY, _OFTEN = 2.0, 0.95
# how many times as far as by the thermometer a middling day warms up by its humidity, if one of the extremes is the mean; and up to
# how far, for where vapour is carried away by day it seems farther [-, °C]
_HALF, _NO_DESERT = 1.65, 18.0
# the same of days that warm up by less than this in the middle though their dew point is this far below the minimum [°C, °C]
_EVEN, _DRY_AIR = 10.0, 8.0
# a day's range, the share of a clear sky's light beside which no station on land has so little, and days in a row [K, -, d]
_NO_RANGE, _BRIGHT, _FLAT_DAYS = 1.0, 0.6, 3
# how the extremes' changes from day to day go together if one of them is the mean, on days that warm up by less than this in the middle
# and have so much light above the air (beside 0.70 at most in 1301 genuine stretches, on all latitudes and in winter, too, but one)
# [-, °C, MJ m⁻² d⁻¹]; and where all days warm up by the same [-]
_AS_ONE, _LITTLE_APART, _SUNNY_SEASON, _MADE_UP = 0.7, 8.0, 30.0, 0.99
# the same from a day on or up to one: how far the middle halves of the ranges' logarithms lie apart, by how much more the changes go
# together there than on the others, and how much light is above the air there, so that it is no winter: 0 of 5,843 genuine stretches
# of 92 to 365 days and 0 of 1,400 invented ones; and the least range [-, -, MJ m⁻² d⁻¹, °C]
_HALVED, _MORE_AS_ONE, _NO_WINTER, _LEAST_RANGE = 0.2, 0.15, 20.0, 0.3
# how far the dew point reaches above the minimum on one day in ten by more than below it on another, if the two are exchanged, under
# a high sun (2.2 at most in 59 genuine records); and the days that takes [°C, d]
_LOPSIDED, _SUNNY = 2.6, 50
# how much farther it moves against the minimum over an odd number of days than over an even one, up to the last of these, if the two
# are exchanged in turn (1.28 at most in 942 seasons), and that at least [-, d, °C]
_IN_TURN, _LAGS, _MOVES = 1.4, 6, 1.0
# days before and after each of a part's ends, days of a part, and by how much an extreme and the range move there, at least (of the
# shorter ones 7.6 at most in 507 genuine seasons, and 6.7 of the minimum); where the part is a month of the calendar [d, d, °C, °C]
_WEEKS = {"tmax": ((14, range(28, 32), 5.4), (10, range(10, 28), 8.0)), "tmin": ((10, range(10, 20), 8.0),)}
_STEP_OF_MONTH = 4.4
# the same if what the vapour tells moves with them: in the mean (5.2 at most in 582 genuine seasons), and each at least [d, d, °C, °C]
_WITH_VAPOUR, _EACH = (10, range(10, 32), 6.0), 2.0
# the same to the season's end: days of either side, how far both move, and how far the middle halves of the ranges of up
# to so many days on either side lie apart (2.5 at most in 507 genuine seasons, 3.4 of other lengths) [d, °C, °C, d]
_END_DAYS, _END_STEP, _PARTED, _MONTHS = 14, 5.0, 3.5, 60
# the most that day-to-day changes of temperature go with those of what is measured beside them, if they are another year's; and the
# changes that takes [-, d]
_UNLIKE, _CHANGES = 0.12, 60
# how far a vapour pressure's changes go with those of the range of temperature, if it is a deficit (0.27 at most in 155 genuine
# seasons, whose deficit's go by 0.54 in the middle) [-]
_AS_DEFICIT = 0.45
# days on which an extreme stands out from the day before and the day after, and the other does not; how far at least, and how many
# times as far as it moves from day to day (9.5 °C and 3.5 times on the third of such days at most in 378 genuine seasons) [d, °C, -]
_LONE_DAYS, _LONE_BY, _LONE_TIMES = 3, 10.0, 3.6
# how far a maximum drifts away from the minimum, and what the vapour tells by day from what it tells by night, along a season of so
# many days (3.8 at most of both in 116 genuine seasons) [°C, d]
_DRIFT, _DRIFT_DAYS = 4.5, 90


def _mean_humidity(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a mean humidity that is the day's highest, by its dew point, or the lowest, by wet days."""
    humidity, tmin, tmax = (inspection.of_asked(name) for name in ("rh_mean", "tmin", "tmax"))
    pressure = np.maximum(air.vapour_pressure_from_rh_mean(humidity, tmin=tmin, tmax=tmax), 0.01)
    beyond = air.dew_point_from_vapour_pressure(pressure) - tmin
    above = beyond / np.maximum(tmax - tmin, _WARMING)
    above = above[(tmax - tmin >= _WARMING) & (tmin > 0.0) & ~np.isnan(above)]
    mean = air.mean_saturation_vapour_pressure(tmin, tmax)
    wet = (inspection.of_asked("rain") >= _WET) & ~np.isnan(humidity) if inspection.has("rain") else np.zeros(0, bool)
    kind, extreme, shown = "", tmin, 0.0
    if above.size >= _DAYS and float(np.median(above)) > _ABOVE:
        kind, shown = "high", 100.0 * float(np.median(above))
    elif (wet.sum() >= _WET_DAYS and float(np.median(humidity[wet])) < _DRY_FOR_WET) or (
        wet.sum() >= _MANY_WET and float(np.nanmedian(beyond[wet])) < -_ABOVE_DEW
    ):
        kind, extreme, shown = "low", tmax, float(np.median(humidity[wet]))
    if kind:
        likely = np.minimum(humidity * air.saturation_vapour_pressure(extreme) / mean, 100.0)
        words = {"shown": shown, "wet": int(wet.sum()), "rain": _WET}
        yield Verdict(names, f"humidity-mean/{kind}", words, inspection.with_asked(rh_mean=likely))


def _vapour_saturated(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a day's vapour that the night's air could hardly ever have held, as that of saturated air is."""
    tmin, vapour = inspection.of_asked("tmin"), inspection.of_asked("vapour_pressure")
    dew_point = air.dew_point_from_vapour_pressure(np.maximum(vapour, 0.01))
    above = (dew_point - tmin)[(np.fmax(dew_point, tmin) > 0.0) & ~np.isnan(vapour + tmin)]
    if above.size >= _DAYS and np.median(above) > _SATURATED_BY and (above > 0.0).mean() > _OFTEN:
        words = {"share": 100.0 * float((above > 0.0).mean()), "middle": float(np.median(above))}
        yield Verdict(names, "dew-point-exchanged/vapour", words, inspection.without(slice(None), *names))


def _dew_point_exchanged(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a dew point that trades places with the minimum every other day, or reaches far more above it than below."""
    dew_point, tmin, tmax = (inspection.of_asked(name) for name in ("dew_point", "tmin", "tmax"))
    above, days = pd.Series(dew_point - tmin), np.ones(tmin.size, bool)
    moves = [float(above.diff(lag).abs().median()) for lag in range(1, _LAGS + 1)]
    odd, even = float(np.mean(moves[::2])), float(np.mean(moves[1::2]))
    sunny = above[(inspection.sky.extraterrestrial[inspection.asked] >= HIGH_SUN) & (np.fmax(dew_point, tmin) > 0.0)]
    low, high = np.percentile(known, [10.0, 90.0]) if (known := sunny.dropna()).size >= _SUNNY else (0.0, 0.0)
    warm_nights = seen(inspection, "tmin-month")
    if odd > max(_MOVES, _IN_TURN * even) and not seen(inspection, "stations-mixed"):
        days, text = np.arange(tmin.size) % 2 == int(above[1::2].median() > above[::2].median()), "turn"
    elif low + high > _LOPSIDED and known.median() > 0.0 and may_be_tmin(dew_point, inspection) and not warm_nights:
        text = "sun"
    else:
        return
    back = {"dew_point": np.where(days, tmin, dew_point), "tmin": np.where(days, np.minimum(dew_point, tmax), tmin)}
    words = {"odd": odd, "even": even, "low": -low, "high": high}
    yield Verdict(("dew_point", "tmin"), f"dew-point-exchanged/{text}", words, inspection.with_asked(**back))


def _by_humidity(inspection: Inspection) -> tuple[Floats, Floats]:
    """How far each day warms up, as ratios of saturated vapour: by relative humidity, and by the thermometer; logarithms."""
    damp, dry = (np.maximum(inspection.of_asked(name), 1.0) for name in ("rh_max", "rh_min"))
    warm, cold = (air.saturation_vapour_pressure(inspection.of_asked(name)) for name in ("tmax", "tmin"))
    return np.log(damp / dry), np.log(warm / cold)


def _half_from_a_day(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt extremes that part far less from a day on, or up to one, and change as one there alone: one of them may be the mean."""
    tmin, tmax = inspection.of_asked("tmin"), inspection.of_asked("tmax")
    wide = pd.Series(np.log(np.maximum(tmax - tmin, _LEAST_RANGE)))
    (low, high), (low_after, high_after) = (
        [of.expanding(_DAYS).quantile(share).to_numpy() for share in (0.25, 0.75)] for of in (wide, wide[::-1])
    )
    # by the last day of the earlier part
    since, until = low[:-1] - high_after[-2::-1], low_after[-2::-1] - high[:-1]
    apart = np.nan_to_num(np.fmax(since, until))
    last = int(np.argmax(apart))
    if apart[last] <= _HALVED or any(seen(inspection, name) for name in ("range-half", "tmax-month", "tmin-month")):
        return
    part = (np.arange(tmin.size) > last) == (since[last] > until[last])
    share, rest = (_going_with(*np.where(days, (tmin, tmax), np.nan), fewest=_DAYS - 1) for days in (part, ~part))
    light = np.median(inspection.sky.extraterrestrial[inspection.asked][part])
    if light > _NO_WINTER and share - rest > _MORE_AS_ONE and _AS_ONE < share < _MADE_UP:
        first, last = np.flatnonzero(part)[[0, -1]]
        middle, others = (float(np.nanmedian((tmax - tmin)[days])) for days in (part, ~part))
        days = {"first": inspection.day_asked(first), "last": inspection.day_asked(last)}
        words = {"share": share, "rest": rest, "middle": middle, "others": others, **days}
        yield Verdict(("tmax", "tmin"), "range-half/part", words, _twice_as_wide(inspection, part))


def _half_a_range(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt extremes of which one may be the mean: the day warms up half as far as its humidity says."""
    ranges = inspection.of_asked("tmax") - inspection.of_asked("tmin")
    by_humidity, by_heat = _by_humidity(inspection)
    times = by_humidity / np.maximum(by_heat, 0.01)
    times, ranges = (
        part[(inspection.of_asked("tmin") > 0.0) & (ranges > _WARMING / 2.0) & ~np.isnan(times)]
        for part in (times, ranges)
    )
    if seen(inspection, "range-half") or times.size < _DAYS:
        return
    if float(np.median(times)) > _HALF and float(np.median(times * ranges)) < _NO_DESERT:
        words = {"middle": float(np.median(ranges)), "likely": float(np.median(times * ranges))}
        yield Verdict(("tmax", "tmin"), "range-half", words, _twice_as_wide(inspection))


def _twice_as_wide(inspection: Inspection, part: Mask | bool = True) -> list[dict[str, Floats]]:
    """The maximum, and then the minimum, as far again from the mean that stands in its column on all days or some."""
    tmin, tmax = inspection.of_asked("tmin"), inspection.of_asked("tmax")
    further = np.where(part, tmax - tmin, 0.0)
    return [inspection.with_asked(tmax=tmax + further), inspection.with_asked(tmin=tmin - further)]


def _called_mean(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt an extreme that the file's own header, or another column with the same figures, calls the day's mean."""
    ways = dict(zip(("tmax", "tmin"), _twice_as_wide(inspection), strict=True))
    for name, header in (inspection.raw.means or {}).items():
        yield Verdict((name,), "range-half/header", {"header": header}, ways[name])


def _changing_together(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt extremes under a high sun that hardly part by day and change as one from day to day: one of them may be the mean."""
    tmin, tmax = inspection.of_asked("tmin"), inspection.of_asked("tmax")
    middle, light = float(np.nanmedian(tmax - tmin)), inspection.sky.extraterrestrial[inspection.asked]
    told = inspection.has("rh_max", "rh_min") or seen(inspection, "range-half")
    if told or abs(inspection.site.latitude) > NIGHTS or np.median(light) < _SUNNY_SEASON or middle >= _LITTLE_APART:
        return
    if _AS_ONE < (share := _going_with(tmin, tmax)) < _MADE_UP:
        words = {"share": share, "middle": middle}
        yield Verdict(("tmax", "tmin"), "range-half/together", words, _twice_as_wide(inspection))


def _even_though_dry(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt days that hardly warm up though their air is dry, which cools by night: one of the extremes may be the mean."""
    if (dew_point := dew_point_of(inspection)) is None or seen(inspection, "range-half"):
        return
    tmin = inspection.of_asked("tmin")
    ranges, dry = inspection.of_asked("tmax") - tmin, tmin - dew_point
    here = (tmin > 0.0) & ~np.isnan(ranges + dry)
    if here.sum() >= _DAYS and np.median(ranges[here]) < _EVEN and np.median(dry[here]) > _DRY_AIR:
        words = {"middle": float(np.median(ranges[here])), "dry": float(np.median(dry[here]))}
        yield Verdict(("tmax", "tmin"), "range-half/dry", words, _twice_as_wide(inspection))


def _no_warmth_of_day(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt days in a row whose night is as warm as their day though the sun shines: a gap that was bridged, or a dead sensor."""
    ranges = inspection.of_asked("tmax") - inspection.of_asked("tmin")
    bright = inspection.of_asked("radiation") > _BRIGHT * inspection.sky.clear[inspection.asked]
    first, count = longest((ranges < _NO_RANGE) & bright)
    if count >= _FLAT_DAYS:
        words = {"less": _NO_RANGE, "count": count, "first": inspection.day_asked(first)}
        yield Verdict(("tmax", "tmin"), "range-half/flat", words)


def _lone_days(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt an extreme that leaps out and back by itself on several days, each of which may be."""
    beside = "tmin" if names[0] == "tmax" else "tmax"
    values, other = inspection.of_asked(names[0]), inspection.of_asked(beside)
    usual = max(_LONE_BY, _LONE_TIMES * float(np.nanmedian(np.abs(np.diff(values)))))
    sign, side = (1.0, "above") if names[0] == "tmax" else (-1.0, "below")
    out, with_it = (np.minimum(sign * np.diff(part)[:-1], -sign * np.diff(part)[1:]) for part in (values, other))
    days = 1 + np.flatnonzero(out - np.fmax(with_it, 0.0) > usual)
    if days.size >= _LONE_DAYS:
        likely = values.copy()
        likely[days] = (values[days - 1] + values[days + 1]) / 2.0
        words = {"by": usual, "side": side, "days": days.size, "first": inspection.day_asked(days[0]), "other": beside}
        yield Verdict(names, "temperature-spike/days", words, inspection.with_asked(**{names[0]: likely}))


def _lone_records(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt records that leap out and back within two hours, on several days."""
    assert inspection.raw.by_hour is not None
    days = pd.DatetimeIndex(inspection.daily.index[inspection.asked])
    lone = inspection.raw.by_hour.lone.reindex(days)
    at = np.flatnonzero(lone.notna().any(axis=1))
    if at.size >= _LONE_DAYS:
        without = {name: lone[name].fillna(pd.Series(inspection.of_asked(name), days)).to_numpy() for name in _NEEDS}
        words = {"days": at.size, "first": inspection.day_asked(at[0])}
        yield Verdict(("tmax", "tmin"), "temperature-spike/records", words, inspection.with_asked(**without))


def _another_thermometer(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt an extreme that moves away from the other on a day, which does not move, and comes back weeks later or never."""
    values, sign = inspection.of_asked(names[0]), 1.0 if names[0] == "tmax" else -1.0
    ranges, vapour = inspection.of_asked("tmax") - inspection.of_asked("tmin"), _vapour_beside(inspection, names[0])
    parts = chain(
        _for_weeks(inspection, names[0], sign * values, ranges, vapour), _to_the_end(sign * values, ranges, vapour)
    )
    if found := [part for part in parts if part[0] > 0.0]:
        _, first, last = max(found)
        inside = np.isin(np.arange(values.size), np.arange(first, last))
        # of one that lasts to the end, its beginning: the season's own changes come later
        sides = slice(max(first - _END_DAYS, 0), (last if last < values.size else first) + _END_DAYS)
        by = float(np.nanmean(ranges[sides][inside[sides]]) - np.nanmean(ranges[sides][~inside[sides]]))
        likely = np.where(inside, values - sign * np.minimum(by, ranges), values)
        words = {"by": by, "first": inspection.day_asked(first), "last": inspection.day_asked(last - 1)}
        text = f"{names[0]}-month{'/end' if last == values.size else ''}"
        yield Verdict(names, text, words, inspection.with_asked(**{names[0]: likely}))


def _drifting(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a maximum that moves away from the minimum day by day, where the vapour does not follow."""
    if (vapour := _vapour_beside(inspection, "tmax")) is None or seen(inspection, "tmax-month"):
        return
    tmin, tmax = inspection.of_asked("tmin"), inspection.of_asked("tmax")
    along, known = np.linspace(0.0, 1.0, tmax.size), ~np.isnan(tmax - tmin + vapour)
    if known.sum() >= _DRIFT_DAYS:
        by = min(float(np.polyfit(along[known], part[known], 1)[0]) for part in (tmax - tmin, vapour))
        if by > _DRIFT:
            likely = np.fmax(tmax - by * along, tmin)
            yield Verdict(names, "tmax-month/drift", {"by": by}, inspection.with_asked(tmax=likely))


def _vapour_beside(inspection: Inspection, name: str) -> Floats | None:
    """How far the vapour by day, or else the dew point, is above that of the night, as far as an extreme tells of it. [°C]"""
    if inspection.has("rh_max", "rh_min"):
        of_night, of_day = (
            air.saturation_vapour_pressure(inspection.of_asked(end)) * np.maximum(inspection.of_asked(humidity), 1.0)
            for end, humidity in (("tmin", "rh_max"), ("tmax", "rh_min"))
        )
        day, night = (air.dew_point_from_vapour_pressure(np.maximum(part / 100.0, 0.01)) for part in (of_day, of_night))
        return np.asarray(day - night)
    dew_point = dew_point_of(inspection) if name == "tmin" else None
    return None if dew_point is None else dew_point - inspection.of_asked("tmin")


def _moves(by: Floats, wider: Floats) -> Floats:
    """How far an extreme moves and the range with it, where the other extreme moves less."""
    return np.where(2.0 * by >= wider, np.minimum(by, wider), np.nan)


def _for_weeks(
    inspection: Inspection, name: str, away: Floats, ranges: Floats, vapour: Floats | None
) -> Iterator[tuple[float, int, int]]:
    """Yield how far beyond its bound a part is, at whose ends an extreme moves away and back, with its first day and the one after."""
    days = pd.DatetimeIndex(inspection.daily.index[inspection.asked])
    rows = [(*row, None) for row in _WEEKS[name]] + ([(*_WITH_VAPOUR, vapour)] if vapour is not None else [])
    for side, lengths, least, beside in rows:
        by, wider = steps(away, side), steps(ranges, side)
        up, down = _moves(by, wider), _moves(-by, -wider)
        if not (up > _EACH).any() or not (down > _EACH).any():
            continue
        damper = up if beside is None else steps(beside, side)
        for length in lengths:
            step, bound = np.minimum(up[:-length], down[length:]), np.full(days.size - length, least)
            if beside is None:
                bound[((days.day == 1) & (days.days_in_month == length))[:-length]] = _STEP_OF_MONTH
            else:
                of_vapour = np.minimum(damper[:-length], -damper[length:])
                step = np.where(np.minimum(step, of_vapour) > _EACH, (step + of_vapour) / 2.0, np.nan)
            beyond = np.nan_to_num(step - bound)
            if beyond.size:
                row = int(np.argmax(beyond))
                yield float(beyond[row]), row, row + length


def _to_the_end(away: Floats, ranges: Floats, vapour: Floats | None) -> Iterator[tuple[float, int, int]]:
    """Yield the same of a part that lasts to the end, before which days had far smaller ranges, or less vapour by day."""
    both = _moves(steps(away, _END_DAYS), steps(ranges, _END_DAYS))
    of_vapour = np.full(both.size, np.nan) if vapour is None else steps(vapour, _END_DAYS)
    found = list[tuple[float, float, int]]()
    for row in map(int, np.flatnonzero((both > _END_STEP) | (np.minimum(both, of_vapour) > _EACH))):
        before, after = ranges[max(row - _MONTHS, 0) : row], ranges[row : row + _MONTHS]
        apart = np.nanpercentile(after, 25.0) - np.nanpercentile(before, 75.0)
        beyond = apart - _PARTED if both[row] > _END_STEP else 0.0
        if vapour is not None and min(both[row], of_vapour[row]) > _EACH:
            further = min(of_vapour[row], np.nanmean(vapour[row:]) - np.nanmean(vapour[:row])) - _WITH_VAPOUR[2]
            beyond = max(beyond, further)
        if beyond > 0.0:
            found.append((float(both[row]), float(beyond), row))
    if found:
        _, beyond, row = max(found)  # on which day the extreme moves most
        yield beyond, row, both.size


def _going_with(first: Floats, second: Floats, *, fewest: int = _CHANGES) -> float:
    """Return how far changes from day to day go together, NaN where too few are known."""
    changes = np.diff([first, second])
    changes = changes[:, ~np.isnan(changes.sum(axis=0))]
    return float(np.corrcoef(changes)[0, 1]) if changes.shape[1] >= fewest and changes.std(axis=1).all() else np.nan


def _of_another_year(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt temperatures that go neither with humidity nor with dew point nor with light: those of other days."""
    tmin, tmax = inspection.of_asked("tmin"), inspection.of_asked("tmax")
    alike = []
    if inspection.has("rh_max", "rh_min"):
        alike.append(_going_with(*_by_humidity(inspection)))
    if inspection.has("radiation"):
        alike.append(_going_with(telling_share(inspection, SOME_LIGHT), tmax - tmin))
    for name in ("dew_point", "vapour_pressure"):
        if inspection.has(name):
            vapour = inspection.of_asked(name)
            alike.append(_going_with(tmin, vapour if name == "dew_point" else np.log(np.maximum(vapour, 0.01))))
    known = [share for share in alike if not np.isnan(share)]
    if (len(known) > 1 or (known and inspection.has("rh_max", "rh_min"))) and max(known) < _UNLIKE:
        yield Verdict(("tmax", "tmin"), "temperature-year", {"most": max(known)})


def _deficit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a vapour pressure that goes with the range of temperature, as what air lacks of saturation does."""
    tmin, tmax, vapour = (inspection.of_asked(name) for name in ("tmin", "tmax", "vapour_pressure"))
    if (share := _going_with(vapour, tmax - tmin)) > _AS_DEFICIT:
        likely = np.maximum(air.mean_saturation_vapour_pressure(tmin, tmax) - vapour, 0.01)
        yield Verdict(
            names, "vapour-pressure-unit/deficit", {"share": share}, inspection.with_asked(vapour_pressure=likely)
        )


_NEEDS = ("tmin", "tmax")

#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Doubt, ...] = (
    Doubt("dew-point-exchanged", _vapour_saturated, ("vapour_pressure",), _DAYS, needs=("tmin",)),
    Doubt("vapour-pressure-unit", _deficit, ("vapour_pressure",), _CHANGES, needs=_NEEDS),
    Doubt("humidity-mean", _mean_humidity, ("rh_mean",), _DAYS, needs=_NEEDS),
    Doubt("range-half", _called_mean, ("tmax", "tmin"), _DAYS, needs=_NEEDS, beside="means"),
    Doubt("tmax-month", _another_thermometer, ("tmax",), 2 * _DAYS, needs=("tmin",)),
    Doubt("tmax-month", _drifting, ("tmax",), _DRIFT_DAYS, needs=("tmin", "rh_max", "rh_min")),
    Doubt("tmin-month", _another_thermometer, ("tmin",), 2 * _DAYS, needs=("tmax",)),
    Doubt("range-half", _half_from_a_day, ("tmax",), 3 * _DAYS, needs=("tmin",)),
    Doubt("range-half", _half_a_range, ("tmax",), _DAYS, needs=("tmin", "rh_max", "rh_min")),
    Doubt("range-half", _even_though_dry, ("tmax",), _DAYS, needs=("tmin",)),
    Doubt("range-half", _changing_together, ("tmax",), _CHANGES, needs=("tmin",)),
    Doubt("range-half", _no_warmth_of_day, ("tmax",), _DAYS, needs=("tmin", "radiation")),
    Doubt("temperature-spike", _lone_records, _NEEDS, beside="by_hour"),
    Doubt("temperature-spike", _lone_days, ("tmax",), _DAYS, needs=("tmin",)),
    Doubt("temperature-spike", _lone_days, ("tmin",), _DAYS, needs=("tmax",)),
    Doubt("dew-point-exchanged", _dew_point_exchanged, ("dew_point",), _DAYS, needs=_NEEDS),
    Doubt("temperature-year", _of_another_year, ("tmax",), _CHANGES, needs=("tmin",)),
)
