"""
Checks of what comes from the sky: radiation and sunshine, with the pan's measured evaporation beside them.

Radiation is held against a clear sky's (FAO-56 eq 37): at most 1.05 Rso. Other thresholds are common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panbudget.numeric import Floats, Mask, longest
from panbudget.physics import air
from panbudget.weather.checks.inspection import Check, Doubt, Inspection, Verdict, at_least, at_most, seen
from panbudget.weather.checks.midday import clearest, dropouts
from panbudget.weather.messages import note, table_of
from panbudget.weather.site import Sky, sky_of
from panbudget.weather.subdaily.hourly import MJ_OF_A_WATT_DAY
from panbudget.weather.text.columns import STANDARD, number
from panbudget.weather.text.heading import by_file, unit_of
from panbudget.weather.text.raw import TO_FILL_IN
from panbudget.words import and_more

#: model.md's bound on radiation, and how far above it "limit" may reach, both in Rso
BRIGHTEST, _MAY_BE_LIMITED = 1.05, 1.25
# twilight and printed digits near polar night [MJ m⁻² d⁻¹]
_FLOOR = 0.5
# what radiation is taken for: its size in MJ m⁻² d⁻¹, and how to write it
_UNITS = table_of("radiation-units")
# a share that is nothing, of which there is an inverse [-]
_NO_LIGHT = 1e-9
# how many times too bright all days in another unit are, and how far their logarithms may be from the others' [-, -]
_FAR_TOO_BRIGHT, _LIKE_OTHERS = 2.0, 0.7
# units of a day's light from the largest on, where it is too dark in its own, and MJ in one
_LARGE = {"kWh/m^2": 3.6, "MJ/m^2": 1.0}
# W/m² in one, of records by the hour
_OF_RECORDS = {"kW/m^2": 1000.0, "MJ/m^2": 277.8}
# what the brightest days of a season reach of a clear sky's, in the right unit
_TOP_SHARES = (0.4, 1.15)
# a clear sky's radiation from which a day tells units apart, and from which it is never without light [MJ m⁻² d⁻¹]
_TELLING, _LIGHT = 1.0, 3.0
# share of a clear sky's, where that is above this, that comes on the darkest day: under cloud from morning to night a third of it
# (FAO-56 eq 35, as 0.25), and 0.043 at least on 7,800 days of genuine records [-, MJ m⁻² d⁻¹]
_DARKEST, _HIGH_LIGHT = 0.018, 20.0
# share of the days that are brighter than the day before where their figures run on: 6 of 7 where they begin again by the week, and
# half of them by weather [-]
_RISES = 0.8
# a clear sky's radiation below which the sun is low: winter of middle latitudes [MJ m⁻² d⁻¹]
_LOW_SUN = 8.0
_DAYS_TO_JUDGE = 14
# how many times a clear sky's a mean of daylight may be, where days are no shorter than nine hours [-]
_OF_DAYLIGHT = 2.7
# ranges of temperature below this say nothing, and a clear sky's radiation that tells how bright bright days are [°C, MJ m⁻² d⁻¹]
_LEAST_RANGE, SOME_LIGHT = 0.5, 6.0
# days with light over which a radiation sensor is judged; what the brightest (one in twenty) reach of a clear sky's at least,
# over the day's middling range of temperature [°C] to this power: where days warm up much, skies are clear [d, -, -]
_DAYS_OF_LIGHT, _ENVELOPE, _BY_RANGE = 45, 0.575, 0.105
# the same of noons, and of days with a clear sky's radiation of more than this that warm up by this in the middle [-, MJ m⁻² d⁻¹, °C]
_HIGH_ENVELOPE, _HIGH_SUN, _DRY_RANGE = 0.84, 18.0, 12.0
# share of its own of the weeks before, against a clear sky and against the range of temperature, that a sensor falls to, and that
# it rises to; those weeks, the days of them that it must have, and a clear sky's radiation that tells [-, -, d, d, MJ m⁻² d⁻¹]
_FALLEN, _RISEN, _WEEKS, _OF_WEEKS, _MUCH_LIGHT = 0.75, 1.5, 45, 20, 12.0
# days that may lie between, those of them that it must have, and share of its own of the weeks before and after that a sensor falls
# to on them; the fewer they are, the further [d, d, -]
_BETWEEN = ((25, 15, 0.62), (12, 10, 0.4), (5, 5, 0.16))
# days in a row that change by no more of a clear sky's than this from one to the next (23 at most in 112 genuine seasons) [d, -]
_CLOUDLESS, _AS_BEFORE = 45, 0.01
# a wet day's rain, and by how much more of such days the sky itself is darker, as where a monsoon sets in [mm, -]
_WET, _RAINS_SET_IN = 1.0, 0.25
# what a bright day has of the longest sunshine [-]
_SUNNY = 0.9
# days of a part of the season, and share of its beginning that a sensor that fades is at in the end [d, -]
_PART, _FADED = 30, 0.78
# days on which the light of records in a row stands at its highest figure [d]
_AT_CEILING = 5
# hours of nothing between bright ones, about noon, that are no eclipse [h]
_DROPPED = 5
# sunshine above the geometric day: refraction and rounding [h]; per cent of it that are none in tenths of an hour of a season [%]
_LONGER, _NEARLY_ALL = 0.3, 90.0
# the most that a share of the daylight is over weeks of long days, printed and a little off, and how long these are; days without
# any sunshine in a row, and how much they warm up of what others do [-, h, d, -]
_SHARE, _LONG_DAY, _SUNLESS, _AS_WARM = 1.1, 10.0, 8, 0.8
# the most cloud that an observer writes down [okta]
_OKTAS = 8.0
# the latitude up to which the year's shortest night is dark for some hours, and the mean light of the darkest hour of the day above
# which a sensor's zero is off: thermopiles lose a few W/m² at night, and gain none [°, W/m²]
NIGHTS, _NO_NIGHT = 55.0, 10.0


def bright_bound(sky: Sky) -> Floats:
    """Return the largest believable radiation of each day. [MJ m⁻² d⁻¹]"""
    return np.maximum(BRIGHTEST * sky.clear, _FLOOR)


def _sunshine_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known, daylight = inspection.known("sunshine"), inspection.sky.daylight[inspection.asked]
    longest, high = float(daylight.max()), float(known.max())
    over = inspection.all_of("sunshine")[inspection.asked] > daylight + _LONGER
    if over.sum() > 0.4 * known.size:
        text = "s" if high > 61.0 * longest else "min" if high > 10.0 * longest + 3.0 else "tenths"
        text = "percent" if high <= 100.0 else text
        unit = {"tenths": "0.1 h", "percent": "%" if high > _NEARLY_ALL else TO_FILL_IN}.get(text, text)
        yield Verdict(names, f"sunshine-unit/{text}", {"longest": longest, "unit": unit})
        return
    long = inspection.all_of("sunshine")[inspection.asked & (inspection.sky.daylight >= _LONG_DAY)]
    long = long[~np.isnan(long)]
    shares = known.size >= _DAYS_TO_JUDGE and high <= 1.0
    if high > 0.0 and (shares or (long.size >= _DAYS_OF_LIGHT and long.max() <= _SHARE)):
        yield Verdict(names, "sunshine-unit/share", {"high": high, "known": known.size, "unit": "fraction"})
    whole = (known == np.round(known)).all() and high == np.ptp(known) == _OKTAS
    if whole and long.size >= _DAYS_OF_LIGHT and longest >= 1.5 * _OKTAS:
        instead = inspection.with_asked(sunshine=(1.0 - inspection.of_asked("sunshine") / _OKTAS) * daylight)
        yield Verdict(names, "sunshine-unit/oktas", {"days": long.size}, instead)


def _sunless(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt long days without any sunshine that warm up as sunny ones do."""
    sunshine, daylight = inspection.of_asked("sunshine"), inspection.sky.daylight[inspection.asked]
    first, length = longest((sunshine == 0.0) & (daylight >= _LONG_DAY))
    if length < _SUNLESS:
        return
    days, ranges = slice(first, first + length), inspection.of_asked("tmax") - inspection.of_asked("tmin")
    sunny = ranges[(sunshine > 0.0) & ~np.isnan(ranges)]
    if not sunny.size or float(np.nanmedian(ranges[days])) >= _AS_WARM * float(np.median(sunny)):
        words = {"count": length, "first": inspection.day_asked(first)}
        yield Verdict(names, "sunshine-zero", words, inspection.without(days, "sunshine"))


def _daylight(inspection: Inspection, row: int, here: Mask) -> dict[str, object]:
    return {"daylight": inspection.sky.daylight[row]}


def _over_daylight(values: Floats, inspection: Inspection) -> Floats:
    return values - (inspection.sky.daylight + _LONGER)


def _pan_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known = inspection.known(names[0])
    if float(np.median(known)) > STANDARD[names[0]].highest:
        yield Verdict(names, "pan-evaporation-unit", {"more": and_more(known.size - 1, "day"), "unit": "0.1 mm"})


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
    rises = np.diff(np.minimum(inspection.known("radiation"), 1e9)) > 0.0
    if rises.size >= 2 * _DAYS_TO_JUDGE and rises.mean() > _RISES:
        yield Verdict(names, "radiation-unit/total", {"count": int(rises.sum()), "all": rises.size})
        return
    raw, bright = inspection.raw, float(np.percentile(np.nan_to_num(share), 98))  # endless: as large as any
    top = bright / by_file(raw.units.get("radiation", ""), STANDARD["radiation"].unit)[0]  # as the file has them
    # what a header or the user calls W/m² may be a mean of the hours of daylight, and is no sum in another unit then
    is_flux = bright < _OF_DAYLIGHT and "W/m^2" in (unit_of(raw.headers.get("radiation", "")), _flux_unit(inspection))
    # how many records make a day's sum is not known here
    units = [] if raw.of_records or is_flux else _UNITS
    fitting = [unit for unit in units if _TOP_SHARES[0] < top * unit["size"] <= _TOP_SHARES[1]]
    if fitting:
        # the largest; tenths, which are no unit, only where nothing else fits
        unit = max(fitting, key=lambda unit: (not unit["written"].startswith("0.1"), unit["size"]))
        more = int(over.sum()) - 1
        too = f" (and is high on {more} more day{'s' if more > 1 else ''})" if more else ""
        most = bound[inspection.row_of_highest(np.where(over, values, np.nan))]
        words = {"looks_like": unit["name"], "too": too, "most": most}
        first, others = longest((~over & ~np.isnan(values) & (inspection.sky.clear > _TELLING))[inspection.asked])
        if others >= _DAYS_TO_JUDGE:  # no unit makes some of them too bright and others, in a row, not
            words |= {"count": others, "first": inspection.day_asked(first)}
            yield Verdict(names, "radiation-unit/part", words)
        else:
            yield Verdict(names, "radiation-unit", {**words, "unit": unit["written"]})


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
        inspection.put(inspection.limited, ["radiation"], bound[inspection.limited][:, None])


def _over_clear_sky(values: Floats, inspection: Inspection) -> Floats:
    bound = bright_bound(inspection.sky)
    return np.where(values > bound, values / bound, 0.0)  # the worst by its share of a clear sky's


def _no_light(values: Floats, inspection: Inspection) -> Floats:
    return np.asarray((values == 0.0) & (inspection.sky.clear > _LIGHT), dtype=np.float64)


def _hardly_any(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt single days that are darker than any under a high sun."""
    clear, light = inspection.sky.clear, inspection.all_of("radiation")
    dark = inspection.asked & (clear > _HIGH_LIGHT) & (light < _DARKEST * clear)
    if dark.any() and not (seen(inspection, "radiation-too-dark") or seen(inspection, "radiation-leap")):
        words = {"lowest": inspection.worst(*names, lowest=True), "more": and_more(int(dark.sum()) - 1, "day")}
        yield Verdict(names, "radiation-dark", words, {"radiation": np.where(dark, np.nan, light)})


def _fits_other_side(inspection: Inspection) -> bool:
    """Tell whether the radiation is none too bright at the same latitude of the other hemisphere."""
    site, days = inspection.site, pd.DatetimeIndex(inspection.daily.index)
    other = sky_of(days, latitude=-site.latitude, elevation=site.elevation)
    share = inspection.all_of("radiation")[inspection.asked] / bright_bound(other)[inspection.asked]
    # as bright as a sky can be there on some day: a value a hundred times too small fits anywhere
    return bool(np.nanmax(share, initial=0.0) <= 1.0 and np.nanmax(share, initial=0.0) > _TOP_SHARES[0])


def _flux_unit(inspection: Inspection) -> str:
    """Return W/m² where days are stated to be in it."""
    days = inspection.is_stated("radiation") and not inspection.raw.of_records
    return "W/m^2" if days and inspection.unit_in_file("radiation") == "W/m^2" else ""


def _unit_there(inspection: Inspection, here: Mask) -> str:
    """Name the unit of days that are far too bright, if by it they are like the others."""
    share = inspection.all_of("radiation") / np.maximum(inspection.sky.clear, _TELLING)
    if inspection.raw.of_records or np.min(share[here]) < _FAR_TOO_BRIGHT:
        return ""
    return inspection.like_others(share, here, {unit["name"]: unit["size"] for unit in _UNITS}, _LIKE_OTHERS)


def _too_bright(inspection: Inspection, row: int, here: Mask) -> dict[str, object]:
    site, station = inspection.site, inspection.raw.station
    agrees = station is not None and (station.latitude or 0.0) * site.latitude > 0.0
    copied = next((caution.brief for caution in inspection.cautions if caution.name == "days-twice"), "")
    if copied:
        cure = note("too-bright-copied", brief=copied)
    elif unit := _unit_there(inspection, here):
        cure = inspection.unit_there(here, unit)
    elif _may_be_limited(inspection, here):
        cure = note("may-be-limited", table=inspection.table)
    elif here.sum() > 6 and not agrees and _fits_other_side(inspection):
        cure = note("other-latitude", latitude=number(-site.latitude))
    else:
        cure = note("of-daylight" if _flux_unit(inspection) else "too-bright")
    return {"most": bright_bound(inspection.sky)[row], "cure": cure}


def _too_dark(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    share = _share_of_clear_sky(inspection, _LOW_SUN)  # a winter's fortnight may well be so dark
    if share.size < _DAYS_TO_JUDGE or share.max() >= _TOP_SHARES[0] or not share.any():
        return  # never any light is a dead sensor's
    top, stated = float(share.max()), "/stated" if inspection.is_stated("radiation") else ""
    size_in_file = by_file(inspection.unit_in_file("radiation"), STANDARD["radiation"].unit)[0]
    larger = {unit: size / size_in_file for unit, size in _LARGE.items() if size > size_in_file}
    units = _OF_RECORDS if inspection.raw.of_records else larger
    unit = next((unit for unit, size in units.items() if top * size <= _TOP_SHARES[1]), "")
    text = f"radiation-too-dark{'/unit' if unit else ''}{stated}"
    instead = inspection.with_asked(radiation=inspection.of_asked("radiation") * units.get(unit, np.nan))
    words = {"unit": unit, "looks_like": unit.replace("^2", "²")} if unit else {}
    yield Verdict(names, text, {"top": 100 * top, **words}, instead)


def _by_range(inspection: Inspection) -> Floats:
    """How much of the extraterrestrial radiation comes, over the root of the range of temperature (kRs, FAO-56 eq 50)."""
    ranges = np.sqrt(np.maximum(inspection.of_asked("tmax") - inspection.of_asked("tmin"), _LEAST_RANGE))
    clear, outside = (part[inspection.asked] for part in (inspection.sky.clear, inspection.sky.extraterrestrial))
    by_range: Floats = telling_share(inspection) * clear / (np.maximum(outside, _LIGHT) * ranges)
    return by_range


def telling_share(inspection: Inspection, from_clear: float = _MUCH_LIGHT) -> Floats:
    """Radiation, or what sunshine makes of it where there is none, over a clear sky's on the days asked for, NaN without much light."""
    sky, asked = inspection.sky, inspection.asked
    if inspection.has("radiation"):
        light = inspection.of_asked("radiation")
    else:
        light = air.radiation_from_sunshine(
            inspection.of_asked("sunshine"), daylight=sky.daylight[asked], extraterrestrial=sky.extraterrestrial[asked]
        )
    return np.where(sky.clear[asked] > from_clear, light / np.maximum(sky.clear[asked], _LIGHT), np.nan)


def low_top(inspection: Inspection) -> float | None:
    """Return what the brightest days (one in twenty) reach of a clear sky's, or their noons, where that is too little. [-]"""
    ranges = inspection.of_asked("tmax") - inspection.of_asked("tmin")
    tops = list[tuple[float, float]]()
    for from_clear in (SOME_LIGHT, _HIGH_SUN):
        share = telling_share(inspection, from_clear)
        known = ~np.isnan(share + ranges)
        if known.sum() < _DAYS_OF_LIGHT:
            break
        middle = max(float(np.median(ranges[known])), _LEAST_RANGE)
        dry = from_clear == _HIGH_SUN and middle >= _DRY_RANGE
        least = _HIGH_ENVELOPE if dry else _ENVELOPE * middle**_BY_RANGE
        tops.append((float(np.percentile(share[known], 95.0)), least))
    if tops and (noons := clearest(inspection)) is not None:
        # by a clock that is out, noons are dark and days are not
        tops.insert(0, (max(noons, tops[0][0]), _HIGH_ENVELOPE))
    return next((top for top, least in tops if top < least), None)


def _cloudless(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt light of which no day has more or fewer clouds than the day before."""
    changes = np.abs(np.diff(telling_share(inspection, SOME_LIGHT)))
    first, count = longest(changes <= _AS_BEFORE)
    if count >= _CLOUDLESS and np.ptp(inspection.known("radiation")) > 0.0:  # one figure every day is stuck, or made up
        days = {"count": count + 1, "first": inspection.day_asked(first)}
        yield Verdict(names, "radiation-cloudless", days, inspection.without(slice(first, first + count + 1), *names))


def _too_low(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt radiation whose bright days stay below a clear sky, more so where days warm up much."""
    if (top := low_top(inspection)) is not None:
        instead = inspection.with_asked(radiation=inspection.of_asked("radiation") / top)
        yield Verdict(names, "radiation-low", {"top": 100 * top}, instead)


def _envelopes(inspection: Inspection) -> Iterator[tuple[Floats, float]]:
    """Two ways to look at a sensor's days, and the rank of theirs that clouds leave alone: by a clear sky, and by range."""
    yield telling_share(inspection), 0.9
    yield _by_range(inspection), 0.5


def light_leaps(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a sensor that from a day on gives less, or more, than cloud and the warmth of the days explain."""
    if names[0] == "sunshine" and inspection.has("radiation"):
        return  # which is used, and looked at
    ratios, sides = [], []
    for values, rank in _envelopes(inspection):
        before, after = (_level(values, _WEEKS, _OF_WEEKS, rank, ahead=ahead) for ahead in (False, True))
        with np.errstate(divide="ignore", invalid="ignore"):  # weeks without any light
            ratios.append(after / before)
        sides.append((values, rank, before, after))
    wetter = _wetter(inspection)
    less, more = np.fmax(*ratios), np.fmin(*ratios)
    leaps = ((less < _FALLEN) & ~(wetter > _RAINS_SET_IN)) | ((more > _RISEN) & ~(wetter < -_RAINS_SET_IN))
    if leaps.any():
        of_size = np.minimum(ratios[0], 1.0 / np.maximum(ratios[0], _NO_LIGHT))
        row = int(np.nanargmin(np.where(leaps, of_size, np.nan)))
        times = float(ratios[0][row])
        words = {"times": times, "first": inspection.day_asked(row), "window": _WEEKS}
        first, count = (row, None) if times < 1.0 else (0, row)
        instead = _brighter(inspection, names[0], first, count, _of_own(names[0], float(of_size[row])))
        yield Verdict(names, f"{names[0]}-leap", words, instead)
        return
    for days, least, fallen_to in _BETWEEN:
        fallen = np.maximum(*(_between(*side, days, least) for side in sides))
        if (fallen < fallen_to).any():
            row = int(np.nanargmin(fallen))
            words = {"times": float(fallen[row]), "first": inspection.day_asked(row), "window": days}
            instead = _brighter(inspection, names[0], row, days, _of_own(names[0], float(fallen[row])))
            yield Verdict(names, f"{names[0]}-leap/between", words, instead)
            return


def _wetter(inspection: Inspection) -> Floats:
    """How many more of the weeks from each day on than of those before it have rain, as where the rains set in; or fewer. [-]"""
    if not inspection.has("rain"):
        return np.zeros(int(inspection.asked.sum()))
    wet = np.where(np.isnan(rain := inspection.of_asked("rain")), np.nan, rain >= _WET)
    before, after = (pd.Series(w).rolling(_WEEKS, min_periods=_OF_WEEKS).mean().to_numpy() for w in (wet, wet[::-1]))
    return np.asarray(after[::-1] - np.r_[np.nan, before[:-1]])


def _of_own(name: str, share: float) -> float:
    """How many times as much a column is on bright days, by how many times as much light comes of it (FAO-56 eq 35)."""
    sunny = air.ANGSTROM_B * _SUNNY
    return share if name == "radiation" else max(share * (air.ANGSTROM_A + sunny) - air.ANGSTROM_A, 0.0) / sunny


def _brighter(inspection: Inspection, name: str, first: int, count: int | None, share: float) -> dict[str, Floats]:
    """Columns with so many days' light from one on, all to the end where that is None, as if they had but a share of it."""
    light = inspection.of_asked(name).copy()
    light[first:][:count] /= share if share > 0.0 else np.nan
    return inspection.with_asked(**{name: light})


def _between(values: Floats, rank: float, before: Floats, after: Floats, days: int, least: int) -> Floats:
    """Return what a sensor gives on so many days from each on, as a share of the lower of the weeks before and after."""
    later = np.full_like(after, np.nan)
    later[:-days] = after[days:]
    return _level(values, days, least, rank, ahead=True) / np.minimum(before, later)


def _level(values: Floats, days: int, least: int, rank: float, *, ahead: bool) -> Floats:
    """Return what so great a share of the days before each day, or from it on, is below."""
    series = pd.Series(values[::-1] if ahead else values).rolling(days, min_periods=least).quantile(rank)
    level: Floats = series.to_numpy()[::-1] if ahead else series.shift(1).to_numpy()
    return level


def _light_fades(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a sensor whose light declines over the season, by a clear sky and by the range of temperature."""
    times, days = [], int(inspection.asked.sum())
    if any(caution.name == "radiation-leap" for caution in inspection.cautions):
        return  # which a line through the season's parts follows, too
    for values, rank in _envelopes(inspection):
        parts = [values[first : first + _PART] for first in range(0, days - _PART + 1, _PART)]
        known = [at for at, part in enumerate(parts) if (~np.isnan(part)).sum() >= _PART // 2]
        levels = [float(np.nanquantile(parts[at], rank)) for at in known]
        if len(known) < 3 or min(levels) <= 0.0:
            return
        # a straight line through the logarithms, from the season's first day to its last
        times.append(float(np.exp(np.polyfit(known, np.log(levels), 1)[0] * days / _PART)))
    if max(times) < _FADED and np.nanmax(_wetter(inspection), initial=0.0) <= _RAINS_SET_IN:
        slope = np.geomspace(1.0, 1.0 / times[0], days)
        instead = inspection.with_asked(radiation=inspection.of_asked("radiation") * slope)
        yield Verdict(names, "radiation-fades", {"times": times[0], "part": _PART}, instead)


def _light_ends(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a sensor whose light stands at one highest figure for records in a row, day by day."""
    assert inspection.raw.by_hour is not None
    ceiling = inspection.raw.by_hour.ceiling
    at = np.isin(inspection.daily.index[inspection.asked], ceiling.index)
    if at.sum() >= _AT_CEILING:
        words = {"count": int(at.sum()), "top": float(ceiling.iloc[0])}
        yield Verdict(names, "radiation-ceiling", words, inspection.without(at, "radiation"))


def _light_drops(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt hours without any light between bright ones: records that got lost, for which 0 was written."""
    count, share = dropouts(inspection)
    if count >= _DROPPED:
        light = inspection.of_asked("radiation") / (1.0 - share)
        yield Verdict(names, "radiation-drops", {"count": count}, inspection.with_asked(radiation=light))


def _night_light(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt light in the darkest hour of the day, where nights are dark: a sensor whose zero is off has it by day, too."""
    hours = inspection.raw.by_hour
    assert hours is not None
    least = float(hours.radiation.min())  # NaN where an hour has none
    if abs(inspection.site.latitude) <= NIGHTS and least > _NO_NIGHT:
        light = np.maximum(inspection.of_asked("radiation") - least * MJ_OF_A_WATT_DAY, 0.0)
        yield Verdict(names, "radiation-night", {"least": least}, inspection.with_asked(radiation=light))


#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Check | Doubt, ...] = (
    at_least("sunshine"),
    Doubt("sunshine-unit", _sunshine_unit, ("sunshine",)),
    Check("sunshine-range", "sunshine", _over_daylight, _daylight),
    Doubt("sunshine-zero", _sunless, ("sunshine",), _SUNLESS, needs=("tmin", "tmax")),
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
    Doubt("radiation-cloudless", _cloudless, ("radiation",), _CLOUDLESS),
    Doubt("radiation-low", _too_low, ("radiation",), _DAYS_OF_LIGHT, needs=("tmin", "tmax")),
    Doubt("radiation-leap", light_leaps, ("radiation",), 2 * _OF_WEEKS, needs=("tmin", "tmax")),
    Doubt("radiation-fades", _light_fades, ("radiation",), 3 * _PART, needs=("tmin", "tmax")),
    Doubt("sunshine-leap", light_leaps, ("sunshine",), 2 * _OF_WEEKS, needs=("tmin", "tmax")),
    Doubt("radiation-dark", _hardly_any, ("radiation",)),
    Doubt("radiation-ceiling", _light_ends, ("radiation",), beside="by_hour"),
    Doubt("radiation-drops", _light_drops, ("radiation",), beside="by_hour"),
    Doubt("radiation-night", _night_light, ("radiation",), beside="by_hour"),
)
