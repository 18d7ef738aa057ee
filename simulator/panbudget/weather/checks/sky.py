"""
Checks of what comes from the sky: radiation, sunshine and rain, with the pan's measured evaporation beside
them.

Radiation is held against a clear sky's (FAO-56 eq 37): at most 1.05 Rso. Other thresholds are common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panbudget.numeric import Floats, Mask
from panbudget.physics import air
from panbudget.weather.checks.inspection import Check, Doubt, Inspection, Verdict, at_least, at_most
from panbudget.weather.messages import note, table_of
from panbudget.weather.site import Sky, sky_of
from panbudget.weather.text.columns import STANDARD, number
from panbudget.words import and_more

#: model.md's bound on radiation, and how far above it "limit" may reach, both in Rso
BRIGHTEST, _MAY_BE_LIMITED = 1.05, 1.25
# twilight and printed digits near polar night [MJ m⁻² d⁻¹]
_FLOOR = 0.5
# what radiation is taken for: its size in MJ m⁻² d⁻¹, and how to write it
_UNITS = table_of("radiation-units")
_KWH = 3.6
# what the brightest days of a season reach of a clear sky's, in the right unit
_TOP_SHARES = (0.4, 1.15)
# a clear sky's radiation from which a day tells units apart, and from which it is never without light [MJ m⁻² d⁻¹]
_TELLING, _LIGHT = 1.0, 3.0
# a clear sky's radiation below which the sun is low: winter of middle latitudes [MJ m⁻² d⁻¹]
_LOW_SUN = 8.0
_DAYS_TO_JUDGE = 14
# ranges of temperature below this say nothing [°C]
_LEAST_RANGE = 0.5
# days with light over which a radiation sensor is judged; what the brightest (one in twenty) reach of a clear sky's at least,
# and that times the root of how they stand to the range of temperature against FAO-56's 0.16 [d, -, -]
_DAYS_OF_LIGHT, _ENVELOPE, _ENVELOPE_BY_RANGE = 45, 0.68, 0.68
# share of its own of the weeks before, against a clear sky and against the range of temperature, that a sensor falls to, or
# rises from; those weeks, and a clear sky's radiation that tells [-, d, MJ m⁻² d⁻¹]
_FALLEN, _WEEKS, _MUCH_LIGHT = 0.7, 30, 6.0
# days at both ends of the season, and share of the first that the last are in the end [d, -]
_END, _FADED = 40, 0.68
# least wet days, share of them that repeat the day before's figure, and how rain may go with the day before's, on twice as many
# wet days; share of wet days on one day of the week or month
_WET_DAYS, _REPEATED, _ALIKE, _ON_ONE_DAY = 10, 0.3, 0.65, 0.9
# a day's rain that is one of a kind: this much, and so many times the next; shares of wet and calm days that speak for an exchange
_CLOUDBURST, _TIMES_SECOND, _NEVER_DRY, _OFTEN_CALM = 150.0, 3.0, 0.95, 0.3
# sunshine above the geometric day: refraction and rounding [h]
_LONGER = 0.3
# a day's rain in mm beyond which it is doubted, and refused where its unit is not stated
_MUCH_RAIN = 400.0
# the most and the mean of wet days in inches, and in cm [in, cm]
_INCHES, _CENTIMETRES = (4.0, 0.6), (10.0, 1.0)
# mm in one, and what people call it
_SMALL, _NAMES = {"in": 25.4, "cm": 10.0}, {"in": "inches", "cm": "cm"}


def bright_bound(sky: Sky) -> Floats:
    """Return the largest believable radiation of each day. [MJ m⁻² d⁻¹]"""
    return np.maximum(BRIGHTEST * sky.clear, _FLOOR)


def _rain_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known = inspection.known("rain")
    steps, wet, stated = np.diff(known), known[known > 0.0], "/stated" if inspection.is_stated("rain") else ""
    if known.size >= 20 and (steps >= 0.0).all() and known[-1] > 50.0 and (steps > 0.0).sum() >= 5:
        yield Verdict(names, "rain-unit/total")
    elif wet.size >= 10 and (wet == np.round(wet)).all() and (np.median(wet) > 25.0 or wet.mean() > 40.0):
        instead = inspection.with_asked(rain=inspection.of_asked("rain") / 10.0)
        yield Verdict(names, f"rain-unit/tenths{stated}", {"half": np.median(wet)}, instead)
    elif unit := _too_small(wet):
        instead = inspection.with_asked(rain=inspection.of_asked("rain") * _SMALL[unit])
        yield Verdict(
            names, f"rain-unit/inches{stated}", {"wet": wet.size, "unit": unit, "looks_like": _NAMES[unit]}, instead
        )


def _too_small(wet: Floats) -> str:
    """Tell whether rain is in hundredths, as gauges in inches are and gauges in millimetres aren't; or in cm, which falls more."""
    if wet.size < 15 or wet.max() >= _CENTIMETRES[0] or wet.mean() >= _CENTIMETRES[1]:
        return ""
    hundredths, fiftieths, tenths, tips = (
        np.abs(wet * parts - np.round(wet * parts)) < grain
        for parts, grain in ((100.0, 1e-6), (50.0, 1e-6), (10.0, 1e-6), (1.0 / 0.254, 0.021))
    )
    if not hundredths.all() or tenths.mean() >= 0.5 or tips.mean() > 0.9:
        return ""  # the last: inches turned into millimetres
    return "in" if wet.max() < _INCHES[0] and wet.mean() < _INCHES[1] and not fiftieths.all() else "cm"


def _over_most_rain(values: Floats, inspection: Inspection) -> Floats:
    return np.zeros_like(values) if inspection.is_stated("rain") else values - _MUCH_RAIN


def _rain_repeats(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt rain that repeats to the digit from day to day, as running totals and sliding sums do on dry days."""
    rain = inspection.of_asked("rain")
    same, wet = (rain[1:] == rain[:-1]) & (rain[1:] > 0.0), int((rain > 0.0).sum())
    known = ~np.isnan(rain[1:] + rain[:-1])
    with np.errstate(divide="ignore", invalid="ignore"):  # rain of one amount goes with nothing
        alike = np.corrcoef(rain[1:][known], rain[:-1][known])[0, 1] if wet >= 2 * _WET_DAYS else 0.0
    often = wet >= _WET_DAYS and same.sum() > _REPEATED * wet and np.unique(rain[rain > 0.0]).size > 2
    if often or alike > _ALIKE:
        rises = np.maximum(np.diff(rain, prepend=0.0), 0.0)
        values = {"same": int(same.sum()), "wet": wet}
        yield Verdict(names, "rain-sum", values, inspection.with_asked(rain=rises))


def _rain_periods(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt rain on one day of the week alone, or of the month."""
    days = pd.DatetimeIndex(inspection.daily.index[inspection.asked])
    wet = days[inspection.of_asked("rain") > 0.0]
    of_month = np.where(wet.is_month_end, 0, wet.day)
    for kind, which, least, length in (("week", wet.weekday.to_numpy(), 6, 7), ("month", of_month, 3, 31)):
        if wet.size >= max(least, 0.5 * len(days) / length) and np.bincount(which).max() >= _ON_ONE_DAY * wet.size:
            yield Verdict(names, "rain-periods", {"kind": kind, "wet": wet.size})
            return


def _rain_spike(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    *_, second, most = (0.0, *np.sort(inspection.known("rain")))
    if most > min(max(_CLOUDBURST, _TIMES_SECOND * second), _MUCH_RAIN):
        rain = inspection.of_asked("rain")
        instead = inspection.with_asked(rain=np.where(rain == most, second, rain))
        yield Verdict(names, "rain-spike", {"second": second}, instead)


def _rain_exchanged(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Refuse rain on nearly every day beside a wind that is often nothing."""
    rain, wind = inspection.known("rain"), inspection.known("wind")
    if wind.size and (rain > 0.0).mean() > _NEVER_DRY and (wind == 0.0).mean() > _OFTEN_CALM:
        yield Verdict(
            ("rain", "wind"), "rain-exchanged", {"wet": 100 * (rain > 0.0).mean(), "calm": 100 * (wind == 0).mean()}
        )


def _sunshine_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known, daylight = inspection.known("sunshine"), inspection.sky.daylight[inspection.asked]
    longest, high = float(daylight.max()), float(known.max())
    over = inspection.all_of("sunshine")[inspection.asked] > daylight + _LONGER
    if over.sum() > 0.4 * known.size:
        unit = "s" if high > 61.0 * longest else "min" if high > 10.0 * longest + 3.0 else ""
        text = unit or ("percent" if high <= 100.0 else "tenths")
        yield Verdict(names, f"sunshine-unit/{text}", {"longest": longest, "unit": unit})
    elif known.size >= _DAYS_TO_JUDGE and 0.0 < high <= 1.0:
        yield Verdict(names, "sunshine-unit/share", {"high": high, "known": known.size})


def _daylight(inspection: Inspection, row: int, here: Mask) -> dict[str, object]:
    return {"daylight": inspection.sky.daylight[row]}


def _over_daylight(values: Floats, inspection: Inspection) -> Floats:
    return values - (inspection.sky.daylight + _LONGER)


def _pan_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known = inspection.known(names[0])
    if float(np.median(known)) > STANDARD[names[0]].highest:
        yield Verdict(names, "pan-evaporation-unit", {"more": and_more(known.size - 1, "day")})


def _share_of_clear_sky(inspection: Inspection, from_clear: float) -> Floats:
    """Radiation over a clear sky's, on days asked for that have a figure and more light than that."""
    clear = inspection.sky.clear
    share = inspection.all_of("radiation") / np.maximum(clear, from_clear)
    return share[inspection.asked & (clear > from_clear) & ~np.isnan(share)]


def _radiation_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Name the unit that brings the values nearest below a clear sky, if most of them are too bright."""
    values, bound = inspection.all_of("radiation"), bright_bound(inspection.sky)
    over = (values > bound) & inspection.asked
    share = _share_of_clear_sky(inspection, _TELLING)
    if over.sum() <= 0.5 * inspection.known("radiation").size or not share.size or _fits_other_side(inspection):
        return
    top = float(np.percentile(share, 98))
    fitting = [unit for unit in _UNITS if _TOP_SHARES[0] < top * unit["size"] <= _TOP_SHARES[1]]
    if fitting:
        # the largest; tenths, which are no unit, only where nothing else fits
        unit = max(fitting, key=lambda unit: (unit["written"] != "", unit["size"]))
        more = int(over.sum()) - 1
        too = f" (and is high on {more} more day{'s' if more > 1 else ''})" if more else ""
        most = bound[inspection.row_of_highest(np.where(over, values, np.nan))]
        yield Verdict(
            names, "radiation-unit", {"looks_like": unit["name"], "too": too, "most": most, "unit": unit["written"]}
        )


def _may_be_limited(inspection: Inspection, over: Mask) -> bool:
    """Tell whether so few values are too bright, and so little, that "limit" may bring them down."""
    values = inspection.all_of("radiation")
    here = over & inspection.asked
    few = here.sum() <= max(inspection.bright_share * inspection.known("radiation").size, 1)
    return bool(few and (values[here] <= _limit(inspection.sky)[here]).all())


def _limit(sky: Sky) -> Floats:
    return _MAY_BE_LIMITED * np.maximum(sky.clear, _FLOOR)


def limit_bright(inspection: Inspection) -> None:
    """
    Bring radiation that is a little too bright down to its bound, on few days: where the user chose so, or in a low sun.

    A clear sky's radiation by its height alone (FAO-56 eq 37) is less sure the longer the light's way through the air.
    """
    inspection.limited = np.zeros(len(inspection.daily), dtype=bool)
    if not inspection.has("radiation"):
        return
    values, bound = inspection.all_of("radiation"), bright_bound(inspection.sky)
    over = values > bound
    if inspection.too_bright != "limit":
        low = (inspection.sky.clear > _TELLING) & (inspection.sky.clear < _LOW_SUN)
        if (over & ~low & inspection.asked).any():
            return
        over &= low
    if (over & inspection.asked).any() and _may_be_limited(inspection, over):
        inspection.limited = over & (values <= _limit(inspection.sky))
        inspection.daily.loc[inspection.limited, "radiation"] = bound[inspection.limited]


def _over_clear_sky(values: Floats, inspection: Inspection) -> Floats:
    bound = bright_bound(inspection.sky)
    return np.where(values > bound, values / bound, 0.0)  # the worst by its share of a clear sky's


def _no_light(values: Floats, inspection: Inspection) -> Floats:
    return np.asarray((values == 0.0) & (inspection.sky.clear > _LIGHT), dtype=np.float64)


def _fits_other_side(inspection: Inspection) -> bool:
    """Tell whether the radiation is none too bright at the same latitude of the other hemisphere."""
    site, days = inspection.site, pd.DatetimeIndex(inspection.daily.index)
    other = sky_of(days, latitude=-site.latitude, elevation=site.elevation)
    share = inspection.all_of("radiation")[inspection.asked] / bright_bound(other)[inspection.asked]
    # as bright as a sky can be there on some day: a value a hundred times too small fits anywhere
    return bool(np.nanmax(share, initial=0.0) <= 1.0 and np.nanmax(share, initial=0.0) > _TOP_SHARES[0])


def _too_bright(inspection: Inspection, row: int, here: Mask) -> dict[str, object]:
    site = inspection.site
    if _may_be_limited(inspection, here):
        cure = note("may-be-limited", table=inspection.table)
    elif here.sum() > 6 and _fits_other_side(inspection):
        cure = note("other-latitude", latitude=number(-site.latitude))
    else:
        cure = note("too-bright")
    return {"most": bright_bound(inspection.sky)[row], "cure": cure}


def _too_dark(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    share = _share_of_clear_sky(inspection, _LIGHT)
    if share.size < _DAYS_TO_JUDGE or share.max() >= _TOP_SHARES[0]:
        return
    top, stated = float(share.max()), "/stated" if inspection.is_stated("radiation") else ""
    kwh = top * _KWH <= _TOP_SHARES[1]
    text = f"radiation-too-dark{'/kwh' if kwh else ''}{stated}"
    instead = inspection.with_asked(radiation=inspection.of_asked("radiation") * _KWH if kwh else np.nan)
    yield Verdict(names, text, {"top": 100 * top, "unit": "kWh/m^2"}, instead)


def _by_range(inspection: Inspection) -> Floats:
    """How much of the extraterrestrial radiation comes, over the root of the range of temperature (kRs, FAO-56 eq 50)."""
    ranges = np.sqrt(np.maximum(inspection.of_asked("tmax") - inspection.of_asked("tmin"), _LEAST_RANGE))
    clear, outside = (part[inspection.asked] for part in (inspection.sky.clear, inspection.sky.extraterrestrial))
    by_range: Floats = _telling_share(inspection) * clear / (np.maximum(outside, _LIGHT) * ranges)
    return by_range


def _telling_share(inspection: Inspection) -> Floats:
    """Radiation over a clear sky's on the days asked for, NaN without much light."""
    clear = inspection.sky.clear[inspection.asked]
    return np.where(clear > _MUCH_LIGHT, inspection.of_asked("radiation") / np.maximum(clear, _LIGHT), np.nan)


def _too_low(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt radiation whose bright days stay below a clear sky, more so where the warmth of the days speaks of sun."""
    share, by_range = _telling_share(inspection), _by_range(inspection)
    if (~np.isnan(by_range)).sum() < _DAYS_OF_LIGHT:
        return
    top = float(np.nanpercentile(share, 95.0))
    if top < _ENVELOPE or top * np.sqrt(np.nanmedian(by_range) / air.KRS_INLAND) < _ENVELOPE_BY_RANGE:
        instead = inspection.with_asked(radiation=inspection.of_asked("radiation") / top)
        yield Verdict(names, "radiation-low", {"top": 100 * top}, instead)


def _light_leaps(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a sensor that from a day on gives less, or more, than cloud and the warmth of the days explain."""
    ratios = []
    for values, rank in ((_telling_share(inspection), 0.9), (_by_range(inspection), 0.5)):
        series = pd.Series(values)
        after = series[::-1].rolling(_WEEKS, min_periods=_WEEKS // 2).quantile(rank)[::-1]
        ratios.append((after / series.rolling(_WEEKS, min_periods=_WEEKS // 2).quantile(rank).shift(1)).to_numpy())
    less, more = np.fmax(*ratios), np.fmin(*ratios)
    leaps = (less < _FALLEN) | (more > 1.0 / _FALLEN)
    if leaps.any():
        row = int(np.nanargmax(np.where(leaps, np.abs(np.log(ratios[0])), np.nan)))
        values = inspection.of_asked("radiation").copy()
        values[slice(row, None) if ratios[0][row] < 1.0 else slice(None, row)] = np.nan
        words = {"times": float(ratios[0][row]), "first": inspection.day_asked(row), "window": _WEEKS}
        yield Verdict(names, "radiation-leap", words, inspection.with_asked(radiation=values))


def _light_fades(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a sensor that ends lower than it began, by a clear sky and by the range of temperature."""
    times = []
    for values, rank in ((_telling_share(inspection), 90.0), (_by_range(inspection), 50.0)):
        ends = [part[~np.isnan(part)] for part in (values[:_END], values[-_END:])]
        if min(part.size for part in ends) < _END // 2:
            return
        first, last = (float(np.percentile(part, rank)) for part in ends)
        times.append(last / first if first > 0.0 else 1.0)
    if max(times) < _FADED:
        slope = np.linspace(1.0, 1.0 / times[0], int(inspection.asked.sum()))
        instead = inspection.with_asked(radiation=inspection.of_asked("radiation") * slope)
        yield Verdict(names, "radiation-fades", {"times": times[0], "end": _END}, instead)


#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Check | Doubt, ...] = (
    at_least("rain"),
    Doubt("rain-unit", _rain_unit, ("rain",)),
    Doubt("rain-exchanged", _rain_exchanged, ("rain",), _WEEKS, needs=("wind",)),
    Doubt("rain-sum", _rain_repeats, ("rain",), _WEEKS),
    Doubt("rain-periods", _rain_periods, ("rain",), 2 * _WEEKS),
    at_most("rain"),
    Check("rain-much", "rain", _over_most_rain, lambda *_: {"most": _MUCH_RAIN}, certain=False),
    Doubt("rain-spike", _rain_spike, ("rain",), _DAYS_TO_JUDGE),
    at_least("sunshine"),
    Doubt("sunshine-unit", _sunshine_unit, ("sunshine",)),
    Check("sunshine-range", "sunshine", _over_daylight, _daylight),
    at_least("pan_evaporation"),
    Doubt("pan-evaporation-unit", _pan_unit, ("pan_evaporation",)),
    at_most("pan_evaporation"),
    at_least("radiation"),
    Doubt("radiation-unit", _radiation_unit, ("radiation",)),
)

#: what is too bright, once `limit_bright` has had its turn
BRIGHT = Check("radiation-too-bright", "radiation", _over_clear_sky, _too_bright)

#: made only where nothing was too bright
DARK: tuple[Check | Doubt, ...] = (
    Doubt("radiation-too-dark", _too_dark, ("radiation",)),
    Check("radiation-zero", "radiation", _no_light),
    Doubt("radiation-low", _too_low, ("radiation",), _DAYS_OF_LIGHT, needs=("tmin", "tmax")),
    Doubt("radiation-fades", _light_fades, ("radiation",), 2 * _END, needs=("tmin", "tmax")),
    Doubt("radiation-leap", _light_leaps, ("radiation",), 2 * _WEEKS, needs=("tmin", "tmax")),
)
