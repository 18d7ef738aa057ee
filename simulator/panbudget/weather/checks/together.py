"""
Checks of quantities that go together: temperatures, humidity and light of one place and time.

Vapour hardly changes over a day, so that relative humidity tells how far the day warms up, and dew keeps the mean dew point near
the minimum or below (FAO-56 chapter 3 and Annex 5, from memory). The thresholds were set on genuine and invented records
(tests/benchmarks/weather_checks.py): common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.physics import air
from panbudget.weather.checks.air import steps
from panbudget.weather.checks.inspection import Doubt, Inspection, Verdict
from panbudget.weather.checks.sensors import dew_point_of
from panbudget.weather.checks.sky import SOME_LIGHT, telling_share

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
# days before and after each of a part's ends, days of a part, and by how much maximum and range rise and fall there, at least (of
# the shorter ones 7.6 at most in 507 genuine seasons); and where the part is a month of the calendar [d, d, °C, °C]
_PARTS, _STEP_OF_MONTH = {14: (range(28, 32), 5.4), 10: (range(10, 28), 8.0)}, 4.4
# the most that day-to-day changes of temperature go with those of what is measured beside them, if they are another year's; and the
# changes that takes [-, d]
_UNLIKE, _CHANGES = 0.12, 60
# how far a vapour pressure's changes go with those of the range of temperature, if it is a deficit (0.27 at most in 155 genuine
# seasons, whose deficit's go by 0.54 in the middle) [-]
_AS_DEFICIT = 0.45


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


def _by_humidity(inspection: Inspection) -> tuple[Floats, Floats]:
    """How far each day warms up, as ratios of saturated vapour: by relative humidity, and by the thermometer; logarithms."""
    damp, dry = (np.maximum(inspection.of_asked(name), 1.0) for name in ("rh_max", "rh_min"))
    warm, cold = (air.saturation_vapour_pressure(inspection.of_asked(name)) for name in ("tmax", "tmin"))
    return np.log(damp / dry), np.log(warm / cold)


def _half_a_range(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt extremes of which one may be the mean: the day warms up half as far as its humidity says."""
    ranges = inspection.of_asked("tmax") - inspection.of_asked("tmin")
    by_humidity, by_heat = _by_humidity(inspection)
    times = by_humidity / np.maximum(by_heat, 0.01)
    times, ranges = (
        part[(inspection.of_asked("tmin") > 0.0) & (ranges > _WARMING / 2.0) & ~np.isnan(times)]
        for part in (times, ranges)
    )
    if times.size >= _DAYS and float(np.median(times)) > _HALF and float(np.median(times * ranges)) < _NO_DESERT:
        words = {"middle": float(np.median(ranges)), "likely": float(np.median(times * ranges))}
        yield Verdict(("tmax", "tmin"), "range-half", words, _twice_as_wide(inspection))


def _twice_as_wide(inspection: Inspection) -> list[dict[str, Floats]]:
    """The maximum, and then the minimum, as far again from the mean that stands in its column."""
    tmin, tmax = inspection.of_asked("tmin"), inspection.of_asked("tmax")
    return [inspection.with_asked(tmax=2.0 * tmax - tmin), inspection.with_asked(tmin=2.0 * tmin - tmax)]


def _even_though_dry(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt days that hardly warm up though their air is dry, which cools by night: one of the extremes may be the mean."""
    if (dew_point := dew_point_of(inspection)) is None:
        return
    tmin = inspection.of_asked("tmin")
    ranges, dry = inspection.of_asked("tmax") - tmin, tmin - dew_point
    here = (tmin > 0.0) & ~np.isnan(ranges + dry)
    if here.sum() >= _DAYS and np.median(ranges[here]) < _EVEN and np.median(dry[here]) > _DRY_AIR:
        words = {"middle": float(np.median(ranges[here])), "dry": float(np.median(dry[here]))}
        yield Verdict(("tmax", "tmin"), "range-half/dry", words, _twice_as_wide(inspection))


def _warm_month(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt maxima that rise on a day and fall weeks later, as the range does and the minimum does not."""
    tmax, days = inspection.of_asked("tmax"), pd.DatetimeIndex(inspection.daily.index[inspection.asked])
    ranges, best, span, side = tmax - inspection.of_asked("tmin"), 0.0, slice(0), 0
    for beside, (lengths, least) in _PARTS.items():
        both = np.minimum(up := steps(tmax, beside), other := steps(ranges, beside))
        down = -np.maximum(up, other)
        if not (both > _STEP_OF_MONTH).any() or not (down > _STEP_OF_MONTH).any():
            continue
        for length in lengths:
            of_month = (days.day == 1) & (days.days_in_month == length)
            step = np.minimum(both[:-length], down[length:])
            beyond = np.nan_to_num(step - np.where(of_month[:-length], _STEP_OF_MONTH, least))
            if beyond[row := int(np.argmax(beyond))] > best:
                best, span, side = float(beyond[row]), slice(row, row + length), beside
    if best > 0.0:
        by = float(
            np.nanmean(tmax[span]) - np.nanmean(np.r_[tmax[span.start - side : span.start], tmax[span.stop :][:side]])
        )
        likely = tmax.copy()
        likely[span] = np.maximum(tmax[span] - by, inspection.of_asked("tmin")[span])
        words = {"by": by, "first": inspection.day_asked(span.start), "last": inspection.day_asked(span.stop - 1)}
        yield Verdict(names, "tmax-month", words, inspection.with_asked(tmax=likely))


def _going_with(first: Floats, second: Floats) -> float:
    """Return how far changes from day to day go together, NaN where too few are known."""
    changes = np.diff([first, second])
    changes = changes[:, ~np.isnan(changes.sum(axis=0))]
    return float(np.corrcoef(changes)[0, 1]) if changes.shape[1] >= _CHANGES and changes.std(axis=1).all() else np.nan


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
    Doubt("range-half", _half_a_range, ("tmax",), _DAYS, needs=("tmin", "rh_max", "rh_min")),
    Doubt("range-half", _even_though_dry, ("tmax",), _DAYS, needs=("tmin",)),
    Doubt("tmax-month", _warm_month, ("tmax",), 2 * _DAYS, needs=("tmin",)),
    Doubt("temperature-year", _of_another_year, ("tmax",), _CHANGES, needs=("tmin",)),
)
