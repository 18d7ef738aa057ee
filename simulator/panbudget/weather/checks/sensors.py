"""
Checks of sensors: what a station does wrong over days and weeks though every single value could be true.

After ASCE-EWRI, The ASCE Standardized Reference Evapotranspiration Equation (2005), Appendix D, and R. G. Allen, Assessing
Integrity of Weather Data for Reference Evapotranspiration Estimation, J. Irrig. Drain. Eng. 122 (1996), which FAO-56 Annex 5
takes up: radiation against a clear sky's, humidity that comes near saturation on wet days, wind that is never nothing for a day;
and after WMO No. 8, Guide to Instruments and Methods of Observation: values that persist, leap, or repeat. All from memory.
The thresholds were set on genuine and invented records (tests/benchmarks/weather_checks.py): common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.numeric import Floats, Ints, Mask, longest
from panbudget.physics import air
from panbudget.weather.checks.air import WIND_UNITS, extremes, leap
from panbudget.weather.checks.inspection import Check, Doubt, Inspection, Verdict, seen
from panbudget.weather.checks.midday import OF_A_DEGREE, sunlit
from panbudget.weather.checks.sky import SOME_LIGHT, light_leaps, low_top, telling_share
from panbudget.weather.checks.wind_units import BREEZY
from panbudget.weather.messages import counted, table_of
from panbudget.weather.text.columns import STANDARD, number
from panbudget.weather.text.heading import BEAUFORT, known_unit

# days on which most checks are made, at least; days of a window over which a sensor is judged, and those that it must have
ENOUGH, WINDOW, OF_WINDOW = 20, 20, 12
# the chance of a run of equal values, by how often neighbours are equal, below which a sensor is stuck
_CHANCE = 5.5e-6
# the same on days that stand by themselves, with a lowest humidity of this or more, that warm up by this: how many [d, %, °C]
_DAMP_DAYS, _DAMP_BY_DAY, _WARMING_FAR = 5, 95.0, 9.0
# a day's rain that dew or a gauge's one tip is not [mm]
_NO_DEW = 1.0
# days in a row with a humidity of this or more, on days that warm up by this, that saturate a sensor [-, %, °C]
_DAMP_RUN, _DAMP, _WARMING = 5, 99.0, 4.0
# wet days, their rain, and the highest humidity of the middling one, below which a hygrometer reads low [-, mm, %]
_WET_DAYS, _WET, _LOW_DAMP = 3, 5.0, 85.0
# the share of days with rain beyond which the highest humidity may well be as high most nights, and the share of nights beyond which
# it is so nowhere (0.85 at most in 175 genuine seasons) [-, -]
_RAINY, _EVERY_NIGHT = 0.2, 0.97
# the same of a season's dampest days (one in twenty), where days are no hotter than this and warm up by no more than this, as in
# deserts; and the days that takes [%, °C, °C, d]
_DAMPEST, _DESERT, _DESERT_RANGE, _MONTHS = 74.0, 33.0, 12.5, 60
# days above freezing, and how many times the vapour of the night the afternoon's humidity holds at what a thermometer in the sun
# reads [d, -]
_WARM_DAYS, _DAMPER = 40, 1.28
# the share of the middling range of temperature up to which such a thermometer is too warm, so that its worth can be told
_MOST_COOLER = 0.7
# ln of the middling day's range of temperature [°C] by the share of a clear sky's light, wind at 2 m [m/s], Ra [MJ m⁻² d⁻¹],
# minimum [°C] and elevation [m], fitted to genuine seasons; and by how much a thermometer in the sun is above it
_RANGE_BY, _SUNLIT = (0.971, 1.629, -0.0957, 0.0130, -0.0092, 0.0001), 0.42
# days whose figures stand in the file twice, in a row at least; how many times as likely a day is to be like another if the day
# before is; and how often that may be so by chance in a file [d, -, -]
_TWICE, _LASTING, _BY_CHANCE = 4, 5.0, 0.003
# the same of a column by itself [d]
_COLUMN_TWICE = 8
# the most days on either side by which days between them are drawn [d]
_SIDES_MEAN = 7
# how far from the middle of the days around a spike lies, and how many times as far as they do; or far enough anyhow [°C, -]; or how
# far beyond any other of so many days (10.0 at most in 1067 genuine stretches of 60 days) [°C, d]
_SPIKE, _SPIKES, _FAR_SPIKE, _FAR_SPIKES, _AROUND = 12.0, 9.5, 22.0, 6.0, 11
_ALONE, _OF_DAYS = 12.0, 60
# how much more from day to day than over two days, and that at least; how much more over a block of several days and over three such
# than over two and over four, the longest, and of how many days, of how many of the season's (1.64 at most in 681 genuine seasons)
# [-, °C, -, d, d, -]
_TO_AND_FRO, _APART = 1.3, 1.5
_BY_BLOCKS, _BLOCK, _MANY_BLOCKS, _NEARLY_ALL = 1.75, 7, 90, 0.9

# hours: of the sun's noon, of the day's warmest wave; how far from it a clock is out by whether hours are the sun's own; the
# least wave that tells [h, h, h, °C]
_NOON, _WARMEST, _CLOCK_OFF, _WAVE = 12.0, 14.8, {True: 3.5, False: 5.0}, 1.0
# how long after the middle of the light the air is warmest (0.9 to 3.8 h in 118 genuine seasons) [h]
_LAG = 0.5, 4.2
# how many days each side of a clock's change has; the homogeneity statistic, and by how much the hour moves without light and with
# it, beyond which it is one [d, -, h]
_SIDE, _CHANGED, _MOVED = 10, 60.0, {False: 4.0, True: 0.7}
# days of the two windows; how far all days of one lie beyond all of the other where the station is another, quantity by quantity
# (Mann and Whitney's U is 0 then, the utmost of Pettitt's statistic), the shares of several added up
_APART_DAYS = 20
_APART_BY = {"pressure": 1.0, "wind": 0.2, "range": 0.25, "dryness": 2.5, "rh_max": 15.0, "mean": 4.0}
ADDED = {"wind": 0.3, "range": 0.0}  # of what is looked at by its logarithm: what is added before
# share of the records of a usual hour below which an hour is missing as a rule, and of how many hours that is a fault
_RARE, _FEW_HOURS = 0.5, 8


def run_by_chance(of: Mask) -> tuple[int, int, float]:
    """Return the longest run of True, as `longest`, and how often the others are True. [d, d, -]"""
    first, length = longest(of)
    return first, length, (int(of.sum()) - length + 1) / (of.size - length + 1)


def _varies(inspection: Inspection, *others: str) -> bool:
    """Tell whether temperatures, or others, change at all: made-up weather of equal days has no sensors."""
    known = (inspection.known(name) for name in ("tmin", "tmax", *others) if inspection.has(name))
    return any(figures.size and np.ptp(figures) > 0.0 for figures in known)


def _stuck(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a value that repeats longer than its grain and the weather explain; nothing and saturation may last."""
    runs = dict[str, tuple[int, int]]()
    for name in names if _varies(inspection, "wind") else ():
        if known_unit(inspection.raw.units.get(name, "")) == BEAUFORT:
            continue  # of an eye, which has few steps
        values = inspection.of_asked(name)
        same = (values[1:] == values[:-1]) & ~((values[1:] >= _DAMP) & name.startswith("rh"))
        same &= (values[1:] != 0.0) | (name in ("tmin", "tmax", "dew_point"))  # of what else, nothing may last
        same &= (name != "rain") | (values[1:] >= _NO_DEW)
        first, length, chance = run_by_chance(same)
        if same.size * min(chance, 0.5) ** length < _CHANCE:
            runs[name] = first, length
    for name, (first, length) in runs.items():
        values, instead = inspection.of_asked(name), {}
        shown = f"{number(float(values[first]))} {STANDARD[name].shown_unit}"
        days = np.zeros(values.size, bool)
        days[first + 1 : first + length + 1] = True
        of_hours = name.startswith("rh") and name in inspection.raw.of_records  # of which vapour is made, too
        # one sensor's columns, which stand still together
        alike = [*(_present(inspection) if of_hours else []), *(other for other in runs if runs[other] == runs[name])]
        # ETo knows nothing of rain, and nothing tells what is above a limit; of air that never changes no other day is known
        at_top, rest = values == np.nanmax(values), values[~days & ~np.isnan(values)]
        silent = name == "rain" or (at_top[first] and at_top.sum() > length + 1)
        silent |= name.startswith("rh") and bool((rest == values[first]).all())
        if name == "rh_max" and runs.get("rh_min") != runs[name]:
            instead = by_afternoon(inspection, days)
        if not instead and not silent:
            instead = _between(inspection, days, *dict.fromkeys(alike))
        if not instead and not silent and name not in ("tmin", "tmax"):
            instead = inspection.without(days, *alike)
        values_of = {"shown": shown, "count": length + 1, "first": inspection.day_asked(first)}
        yield Verdict((name,), "value-stuck", values_of, instead)


def _between(inspection: Inspection, days: slice | Mask, *names: str) -> dict[str, Floats]:
    """Columns with days as those before and after them, on a line between: the longer they last, the more of those, up to a week."""
    changed = {}
    for name in names:
        values = inspection.of_asked(name)
        known = ~np.isnan(values)
        known[days] = False
        if not known.any():
            return {}
        side = min(longest(~known)[1], _SIDES_MEAN)
        means = pd.Series(values[known]).rolling(2 * side - 1, center=True, min_periods=1).mean().to_numpy()
        drawn = np.interp(np.arange(values.size), np.flatnonzero(known), means)
        changed[name] = np.where(known, values, drawn)
    return inspection.with_asked(**changed)


def _damp(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt air that is saturated for days though they warm up."""
    warming = inspection.of_asked("tmax") - inspection.of_asked("tmin") > _WARMING
    rain = inspection.of_asked("rain") if inspection.has("rain") else 0.0 * warming
    for name in names:
        of_nights = name == "rh_max"  # as damp most nights only where it rains often
        every = of_nights and (inspection.known(name) >= _DAMP).mean() > _EVERY_NIGHT
        first, length = longest(saturated := (inspection.of_asked(name) >= _DAMP) & (warming | every))
        rainy = of_nights and (rain > 0.0).mean() > _RAINY and not every
        if length >= (_MONTHS if of_nights else _DAMP_RUN) and not rainy:
            values = {"count": length, "first": inspection.day_asked(first), "damp": _DAMP, "warming": _WARMING}
            instead = by_afternoon(inspection, saturated) if of_nights else {}
            instead = instead or inspection.without(saturated, *_present(inspection))
            yield Verdict((name,), f"humidity-saturated{'/nights' if every else ''}", values, instead)
            return
    if not inspection.has("rh_min"):
        return
    damp = inspection.of_asked("tmax") - inspection.of_asked("tmin") > _WARMING_FAR
    damp &= inspection.of_asked("rh_min") >= _DAMP_BY_DAY
    if damp.sum() >= _DAMP_DAYS:
        words: dict[str, object] = {"damp": _DAMP_BY_DAY, "warming": _WARMING_FAR, "count": int(damp.sum())}
        words["first"] = inspection.day_asked(int(np.argmax(damp)))
        instead = inspection.without(damp, *_present(inspection))
        yield Verdict(("rh_min",), "humidity-saturated/days", words, instead)


def by_afternoon(inspection: Inspection, days: Mask) -> dict[str, Floats]:
    """The highest humidity with such days as the lowest has it, for vapour hardly changes over a day; none where that is not there."""
    if not inspection.has("rh_min"):
        return {}
    cold, warm = (air.saturation_vapour_pressure(inspection.of_asked(end)) for end in ("tmin", "tmax"))
    vapour = np.minimum(inspection.of_asked("rh_min") * warm, 100.0 * cold)
    likely = {"rh_max": vapour / cold}
    if "rh_max" in inspection.raw.of_records and inspection.has("vapour_pressure"):  # made of the same records
        likely["vapour_pressure"] = vapour / 100.0
    return inspection.with_asked(
        **{name: np.where(days, figures, inspection.of_asked(name)) for name, figures in likely.items()}
    )


def _present(inspection: Inspection) -> list[str]:
    return [name for name in ("rh_max", "rh_min", "rh_mean", "vapour_pressure", "dew_point") if inspection.has(name)]


def _dry(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a hygrometer that stays low on wet days, or all season where it is no desert: air comes near saturation by night."""
    damp, tmax = inspection.of_asked("rh_max"), inspection.of_asked("tmax")
    ranges = tmax - inspection.of_asked("tmin")
    if np.isnan(ranges).all():
        return
    rain = inspection.of_asked("rain") if inspection.has("rain") else 0.0 * damp
    wet = (rain >= _WET) & ~np.isnan(damp)
    is_rain = not seen(inspection, "rain")
    middle = float(np.median(damp[wet])) if wet.sum() >= _WET_DAYS and is_rain else 100.0
    dampest, mild = float(np.nanpercentile(damp, 95.0)), np.nanmedian(tmax) < _DESERT
    instead = inspection.without(slice(None), *_present(inspection))
    if middle < _LOW_DAMP:
        yield Verdict(names, "humidity-low", {"middle": middle, "wet": int(wet.sum()), "rain": _WET}, instead)
    elif damp.size >= _MONTHS and dampest < _DAMPEST and mild and np.nanmedian(ranges) < _DESERT_RANGE:
        yield Verdict(names, "humidity-low/season", {"dampest": dampest}, instead)


def _in_the_sun(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a maximum that the hours' light, the afternoon's humidity, or the light, the wind and the season don't go with."""
    tmin, tmax = inspection.of_asked("tmin"), inspection.of_asked("tmax")
    if not _varies(inspection):
        return
    middle, hours = float(np.nanmedian(tmax - tmin)), sunlit(inspection)
    dark = "radiation-low" not in inspection.trust and inspection.has("radiation") and low_top(inspection) is not None
    # light that reads too low, and another clock, look so as well
    if hours is not None and hours.cooler.any() and not dark and not seen(inspection, "clock"):
        likely = {"tmax": np.maximum(tmax - hours.cooler, tmin)}
        if inspection.has("vapour_pressure"):
            likely["vapour_pressure"] = inspection.of_asked("vapour_pressure") * hours.vapour
        instead = inspection.with_asked(**likely)
        yield Verdict(names, "thermometer-sun/hours", {"by": float(np.nanmedian(hours.cooler))}, instead)
        return
    # a hygrometer, or light, that is at fault already explains the rest
    damp = seen(inspection, "humidity")
    damper = 1.0 if damp else _damper(inspection, tmin, tmax)
    wider = -np.inf if dark or seen(inspection, "wind-unit") else _wider(inspection, middle)
    if wider > _SUNLIT and "radiation-leap" not in inspection.trust and any(light_leaps(inspection, ["radiation"])):
        wider = -np.inf
    if damper > _DAMPER and hours is not None:
        instead = inspection.without(slice(None), *_present(inspection))
        yield Verdict(names, "thermometer-sun/humid", {"middle": middle}, instead)
    elif damper > _DAMPER or wider > _SUNLIT:
        cooler = np.log(damper) / OF_A_DEGREE if damper > _DAMPER else (1.0 - np.exp(-wider)) * (tmax - tmin)
        told = float(np.nanmedian(cooler)) <= _MOST_COOLER * middle  # beyond that the humidity is at fault, too
        ways = [inspection.with_asked(tmax=np.maximum(tmax - cooler, tmin))] if told else []
        blows = float(np.nanmedian(inspection.of_asked("wind"))) * inspection.wind_factor if damper <= _DAMPER else 0.0
        if blows > BREEZY and _wider(inspection, middle, WIND_UNITS["mph"]) <= _SUNLIT:
            ways += [{"wind": inspection.all_of("wind") * WIND_UNITS[unit]} for unit in ("mph", "knot")]
            yield Verdict(("wind",), "thermometer-sun/wind", {"middle": middle, "blows": blows}, ways)
        else:
            yield Verdict(names, "thermometer-sun", {"middle": middle}, ways)


def _damper(inspection: Inspection, tmin: Floats, tmax: Floats) -> float:
    """How many times the vapour of the night there is by day, by relative humidity: near 1, as vapour hardly changes."""
    if not inspection.has("rh_min", "rh_max"):
        return 1.0
    day = air.saturation_vapour_pressure(tmax) * inspection.of_asked("rh_min")
    night = air.saturation_vapour_pressure(tmin) * inspection.of_asked("rh_max")
    ratio = (day / np.maximum(night, 1e-6))[(tmin > 0.0) & ~np.isnan(day + night)]
    return float(np.median(ratio)) if ratio.size >= _WARM_DAYS else 1.0


def _wider(inspection: Inspection, middle: float, times: float = 1.0) -> float:
    """How far the logarithm of the range of temperature is above what goes with light, so many times the wind, season and elevation."""
    if not inspection.has("radiation", "wind"):
        return 0.0
    light, share = inspection.sky.extraterrestrial[inspection.asked], telling_share(inspection, SOME_LIGHT)
    wind = inspection.of_asked("wind") * inspection.wind_factor * times
    columns = (share, wind, light, inspection.of_asked("tmin"))
    if min((~np.isnan(column)).sum() for column in columns) < _WARM_DAYS:
        return 0.0
    usual = np.dot(_RANGE_BY, [1.0, *map(np.nanmedian, columns), inspection.site.elevation])
    return float(np.log(max(middle, 0.1)) - usual)


def _twice(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt days in a row whose figures, or temperatures alone, stand in the file before; days alike in a row are another's."""
    temperatures = ["tmin", "tmax"]
    if inspection.raw.typical or not _varies(inspection):  # a typical year stands in two for a season over New Year
        return
    # where temperatures don't, nothing does but a column by itself
    both = _again(inspection, temperatures, _hashed(inspection, temperatures), _TWICE)[1].size
    of_both = ((names, "days-twice", _TWICE), (temperatures, "days-twice/temperatures", _TWICE)) if both else ()
    single = [name for name in (*_OF_A_DAY, "rh_mean", "dew_point", "sunshine", "rain") if inspection.has(name)]
    of_one = (([name], "days-twice/column", _COLUMN_TWICE) for name in single)
    for columns, text, least in (*of_both, *of_one):
        days = _hashed(inspection, columns)
        count = max(_too_many_alike(days), least)
        if len(days) < 2 * count:
            continue
        key, again = _again(inspection, columns, days, count)
        copied = np.zeros(len(days), dtype=bool)
        copied[(again[:, None] + np.arange(count)).ravel()] = True
        if (wrong := copied & inspection.asked).any():
            row = int(again[np.argmax(again >= np.argmax(wrong) - count + 1)])
            before = inspection.day(int(np.argmax(key == key[row])))
            words = {"count": int(wrong.sum()), "first": inspection.day(row), "before": before}
            # a month's rain is not that of the weeks around
            instead = {} if columns == ["rain"] else _between(inspection, wrong[inspection.asked], *columns)
            if columns == names and inspection.has("rain"):  # the season's is all there is to go by
                rain, days_asked = inspection.of_asked("rain"), wrong[inspection.asked]
                source = int(np.argmax(key == key[row]))
                copy, original = (inspection.all_of("rain")[at : at + count] for at in (row, source))
                if np.array_equal(copy, original, equal_nan=True) and not days_asked.all():
                    mean = float(np.nan_to_num(rain[~days_asked]).mean())
                    instead |= inspection.with_asked(rain=np.where(days_asked, mean, rain))
            yield Verdict(columns[:1] if least == _COLUMN_TWICE else ("tmin", "tmax"), text, words, instead)
            return
    yield from _copied_next(inspection, names)


def _copied_next(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a day all of whose figures are those of the day before, by how often each column repeats itself."""
    values = np.array([inspection.of_asked(name) for name in names])
    same = values[:, 1:] == values[:, :-1]
    telling = same & (values[:, 1:] != 0.0) & ~np.isnan(values[:, 1:])
    shares = np.maximum(telling.sum(axis=1) - telling.all(axis=0).sum(), 1.0) / telling.shape[1]
    alike = np.where(telling.all(axis=0))[0] + 1
    chance = telling.shape[1] * float(np.minimum(_LASTING * shares, 0.5).prod())
    if alike.size and chance < _BY_CHANCE:
        days = np.isin(np.arange(values.shape[1]), alike)
        instead = _between(inspection, days, *names)
        words = {"days": counted(alike.size, "day"), "first": inspection.day_asked(int(alike[0]))}
        yield Verdict(("tmin", "tmax"), "days-twice/next", words, instead)


def _hashed(inspection: Inspection, names: list[str]) -> npt.NDArray[np.uint64]:
    if len(names) == 1:
        return np.asarray(pd.util.hash_array(inspection.all_of(names[0])), dtype=np.uint64)
    return np.asarray(pd.util.hash_pandas_object(inspection.daily[names], index=False), dtype=np.uint64)


def _again(
    inspection: Inspection, names: list[str], days: npt.NDArray[np.uint64], count: int
) -> tuple[npt.NDArray[np.uint64], Ints]:
    """Return a key of so many days from each on, and the rows whose key stands before; what lacks or doesn't change has none."""
    changes = np.abs(np.diff(inspection.all_of("tmax" if "tmax" in names else names[0]), prepend=np.nan)) > 0.0
    parts: list[Any] = [days, ~np.isnan([inspection.all_of(name) for name in names]).any(axis=0), changes]
    rows, whole, changing = (np.lib.stride_tricks.sliding_window_view(part, count) for part in parts)
    key = (rows * np.uint64(31) ** np.arange(count, dtype=np.uint64)).sum(axis=1, dtype=np.uint64)
    key = np.where(whole.all(axis=1) & (changing.sum(axis=1) >= count // 2), key, np.arange(key.size, dtype=np.uint64))
    return key, np.flatnonzero(pd.Series(key).duplicated().to_numpy())


def _too_many_alike(days: npt.NDArray[np.uint64]) -> int:
    """Return how many days in a row stand in a file twice by no chance: more in a long file of few and coarse figures."""
    pairs = len(days) * (len(days) - 1) / 2.0
    counts = np.unique(days, return_counts=True)[1]
    alike = max(float((counts * (counts - 1) / 2.0).sum()) / max(pairs, 1.0), 1e-12)
    further = np.log(_BY_CHANCE / (pairs * alike)) / np.log(min(_LASTING * alike, 0.5)) if pairs else 0.0
    return max(_TWICE, 1 + int(np.ceil(further)))


def _spike(values: Floats, inspection: Inspection) -> Floats:
    """How far a temperature stands out of the days around, against how far these do among themselves."""
    low, high = extremes(values, _AROUND)
    may = np.flatnonzero(np.fmax(values - low, high - values) > min(_SPIKE, _FAR_SPIKE))
    around_it = np.lib.stride_tricks.sliding_window_view(np.pad(values, _AROUND // 2, constant_values=np.nan), _AROUND)
    ordered = np.sort(around_it[may], axis=1)
    known = np.count_nonzero(~np.isnan(ordered), axis=1)
    middle = (ordered[range(may.size), (known - 1) // 2] + ordered[range(may.size), known // 2]) / 2.0
    if not (np.abs(values[may] - middle) > min(_SPIKE, _FAR_SPIKE)).any():
        return np.zeros(len(values))
    off = np.abs(values - pd.Series(values).rolling(_AROUND, center=True, min_periods=6).median().to_numpy())
    usual = pd.Series(off).rolling(5 * _AROUND, center=True, min_periods=10).median().to_numpy() * 1.4826 + 0.5
    with np.errstate(invalid="ignore"):
        out = ((off > _SPIKE) & (off > _SPIKES * usual)) | ((off > _FAR_SPIKE) & (off > _FAR_SPIKES * usual))
        if (season := np.sort(values[~np.isnan(values)])).size >= _OF_DAYS:
            out |= (values > season[-2] + _ALONE) | (values < season[1] - _ALONE)
    return np.where(out, off, 0.0)


def _mixed(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt days, or blocks of days, that go to and fro, as those of two stations in turn."""
    for name in names:
        days = pd.Series(inspection.of_asked(name))
        longest_block = _BLOCK if days.count() >= max(_MANY_BLOCKS, _NEARLY_ALL * days.size) else 1
        for block in range(1, longest_block + 1):
            one, two, three, four = (float(days.diff(block * by).abs().median()) for by in (1, 2, 3, 4))
            daily, over_two = (one, two) if block == 1 else (min(one, three), max(two, four))
            if daily > _APART and daily > (_TO_AND_FRO if block == 1 else _BY_BLOCKS) * over_two:
                words = {"daily": daily, "over_two": over_two, "span": counted(block, "day")}
                instead = _between(inspection, np.arange(days.size) // block % 2 == 0, *names)
                yield Verdict((name,), "stations-mixed", words, instead)
                return


def _peak(means: Floats) -> tuple[float, float]:
    """Return the hour at which a day's first wave is highest, and its height."""
    wave = (means * np.exp(2j * np.pi * (np.arange(24) + 0.5) / 24.0)).sum() / 12.0
    return float(np.angle(wave)) * 12.0 / np.pi % 24.0, float(np.abs(wave))


def _clock(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a clock by which the sun or the day's warmth is highest hours from when it is anywhere."""
    hours = inspection.raw.by_hour
    if hours is None or np.isnan(hours.temperature).any():
        return
    light, (warmest, height) = np.nan_to_num(hours.radiation), _peak(hours.temperature)
    by_light = bool(light.sum() > 0.0)
    peak, usual = (_peak(light)[0], _NOON) if by_light else (warmest, _WARMEST)
    off = (peak - usual + 12.0) % 24.0 - 12.0
    if abs(off) > _CLOCK_OFF[hours.by_sun] and (by_light or height > _WAVE):
        words = {"peak": peak, "off": abs(off), "usual": usual, "what": "the sun" if by_light else "the air's warmth"}
        yield Verdict(("tmax", "tmin"), "clock", {**words, "table": inspection.table})
    elif by_light and height > _WAVE and not _LAG[0] <= (lag := (warmest - peak + 12.0) % 24.0 - 12.0) <= _LAG[1]:
        yield Verdict(("tmax", "tmin"), "clock/lag", {"lag": lag, "least": _LAG[0], "most": _LAG[1]})


def _clock_change(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a clock by which the middle of the days' light, or their warmest hour, moves on a day and stays (SNHT)."""
    hours = inspection.raw.by_hour
    days = inspection.daily.index[inspection.asked]
    if (
        hours is None
        or not hours.by_sun
        or not (inside := hours.middles[hours.middles.index.isin(days)]).size > 2 * _SIDE
    ):
        return
    kind = bool(np.nansum(hours.radiation) > 0.0)
    off: Any = (inside.to_numpy(float) - float(inside.iloc[:_SIDE].median()) + 12.0) % 24.0 - 12.0
    # a circle is cut where fewer days are: opposite the first ones, or beside them
    strength, at, moved = max(homogeneity(off, _SIDE), homogeneity((off + 6.0) % 24.0, _SIDE))
    if strength > _CHANGED and abs(moved) > _MOVED[kind]:
        what = "the middle of the days' light" if kind else "the warmest hour"
        yield Verdict(
            ("tmax", "tmin"), "clock-change", {"what": what, "moved": abs(moved), "first": str(inside.index[at].date())}
        )


def homogeneity(values: Floats, side: int) -> tuple[float, int, float]:
    """
    Test whether a series moves on a day and stays there.

    Parameters
    ----------
    values : ndarray, (days,)
        NaN where there is none.
    side : int
        Least days on each side.

    Returns
    -------
    (float, int, float)
        The statistic of Alexandersson's standard normal homogeneity test [1]_, of values standardised by how they stray on either
        side of that day; the day from which on; and by how much the mean moves.

    References
    ----------
    .. [1] H. Alexandersson, A homogeneity test applied to precipitation data, J. Climatol. 6 (1986), 661-675 (from memory).

    Examples
    --------
    >>> strength, day, moved = homogeneity(np.r_[np.tile([0.0, 1.0], 20), np.tile([5.0, 6.0], 20)], 10)
    >>> bool(strength > 60.0), day, moved
    (True, 40, 5.0)
    """
    known = np.flatnonzero(~np.isnan(values))
    series, count = values[known], known.size
    if count < 2 * side:
        return 0.0, 0, 0.0
    at = np.arange(side, count - side + 1)
    sums, squares = (np.cumsum(np.append(0.0, part)) for part in (series, series**2))
    before, after = sums[at] / at, (sums[-1] - sums[at]) / (count - at)
    stray = np.maximum(squares[-1] - at * before**2 - (count - at) * after**2, 1e-9 * count) / count
    strength = at * (count - at) / count * (after - before) ** 2 / stray
    best = int(np.argmax(strength))
    return float(strength[best]), int(known[at[best]]), float((after - before)[best])


def _parted(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a record that is another from a day on: no day after it is as any of those before, in one quantity or in several."""
    series = _quantities(inspection)
    if len(series) < 3 or inspection.raw.typical:  # that is made of several
        return
    gaps = {name: np.maximum(_gap(values), 0.0) / _APART_BY[name] for name, values in series.items()}
    total = np.sum(list(gaps.values()), axis=0)
    if total.max() > 1.0:
        place = int(np.argmax(total))
        row, name = place + _APART_DAYS, max(gaps, key=lambda name: gaps[name][place])
        before, after = (float(np.nanmedian(part)) for part in (series[name][:row], series[name][row:]))
        if name == "wind" and _is_spell(series[name], row):  # which has a check of its own
            return
        if name in ADDED:
            before, after = (float(np.exp(middle)) - ADDED[name] for middle in (before, after))
        of_vapour = name in ("dryness", "rh_max")  # of others, nothing in the file tells what they would be
        instead = inspection.without(slice(row, None), *_present(inspection)) if of_vapour else {}
        words = {"what": table_of("quantity_names")[name], "before": before, "after": after}
        when = {"first": inspection.day_asked(row), "window": _APART_DAYS}
        yield Verdict(names[:1], "record-parted", words | when, instead)


def _is_spell(values: Floats, row: int) -> bool:
    """Tell whether what lies farther back is as the days from a day on, or what comes later as those before it."""
    ends = [0, row - _APART_DAYS, row, row + _APART_DAYS, values.size]
    parts = [values[first:last] for first, last in pairwise(ends)]
    enough = [(~np.isnan(part)).sum() >= 0.7 * _APART_DAYS and part.size >= _APART_DAYS for part in parts]
    middles = [float(np.nanmedian(part)) if known else np.nan for part, known in zip(parts, enough, strict=True)]
    early, first, second, late = middles
    return abs(early - second) < abs(early - first) or abs(late - first) < abs(late - second)


def _quantities(inspection: Inspection) -> dict[str, Floats]:
    """Return what tells one station from another, as far as a season has it."""
    tmin, tmax = inspection.of_asked("tmin"), inspection.of_asked("tmax")
    if not _varies(inspection):
        return {}
    found = {"mean": (tmin + tmax) / 2.0, "range": np.log(np.maximum(tmax - tmin, 0.3))}
    found |= {name: inspection.of_asked(name) for name in ("pressure", "rh_max") if inspection.has(name)}
    if inspection.has("wind"):
        wind = inspection.of_asked("wind")  # days without any are a gauge's, which has checks of its own
        found["wind"] = np.log(np.where(wind > 0.0, wind, np.nan) + ADDED["wind"])
    dew_point = dew_point_of(inspection)
    return found if dew_point is None else found | {"dryness": tmin - dew_point}


def dew_point_of(inspection: Inspection) -> Floats | None:
    """Return the dew point of the days asked for: by both humidities, its own, or by the vapour pressure; None without any. [°C]"""
    if inspection.has("rh_max", "rh_min"):
        both = [inspection.of_asked(name) for name in ("rh_max", "rh_min")]
        extremes = {name: inspection.of_asked(name) for name in ("tmin", "tmax")}
        pressure = air.vapour_pressure_from_rh_max_min(*both, **extremes)
    elif inspection.has("dew_point"):
        return inspection.of_asked("dew_point")
    elif inspection.has("vapour_pressure"):
        pressure = inspection.of_asked("vapour_pressure")
    else:
        return None
    found: Floats = air.dew_point_from_vapour_pressure(np.maximum(pressure, 0.01))
    return found


def _gap(values: Floats) -> Floats:
    """How far the days from each on lie beyond all of those before it, in windows of the same length. [the values' unit]"""
    windows = np.lib.stride_tricks.sliding_window_view(values, _APART_DAYS)
    enough = (~np.isnan(windows)).sum(axis=1) >= 0.7 * _APART_DAYS
    low, high = np.fmin.reduce(windows, axis=1), np.fmax.reduce(windows, axis=1)
    before, after = slice(None, -_APART_DAYS), slice(_APART_DAYS, None)
    gap = np.fmax(low[after] - high[before], low[before] - high[after])
    return np.where(enough[before] & enough[after], np.nan_to_num(gap), 0.0)


def _hours_missing(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt days that lack the same hours: a night without records has no minimum."""
    hours = inspection.raw.by_hour
    rare = np.zeros(24, bool) if hours is None else hours.records < _RARE * np.median(hours.records)
    if 0 < rare.sum() <= _FEW_HOURS:
        words = {"hours": ", ".join(f"{hour}" for hour in np.flatnonzero(rare)), "share": 100.0 * _RARE}
        yield Verdict(("tmin", "tmax"), "hours-missing", words)


# columns by which a day that stands twice is known
_OF_A_DAY = ("tmin", "tmax", "rh_max", "rh_min", "vapour_pressure", "wind", "radiation")
#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Check | Doubt, ...] = (
    *(
        Check("temperature-spike", name, _spike, lambda *_: {"window": _AROUND}, certain=False)
        for name in ("tmin", "tmax")
    ),
    Doubt("temperature-leap", leap, ("tmin", "tmax"), ENOUGH, needs=("tmin", "tmax")),
    Doubt("clock", _clock, ("tmax",), beside="by_hour"),
    Doubt("clock-change", _clock_change, ("tmax",), 2 * _SIDE, beside="by_hour"),
    Doubt("record-parted", _parted, ("tmin", "tmax"), 2 * _APART_DAYS, needs=("tmin", "tmax")),
    Doubt("hours-missing", _hours_missing, ("tmin",), beside="by_hour"),
    Doubt("stations-mixed", _mixed, ("tmin", "tmax"), ENOUGH),
    Doubt(
        "value-stuck",
        _stuck,
        (
            "tmin",
            "tmax",
            "rh_max",
            "rh_min",
            "rh_mean",
            "dew_point",
            "vapour_pressure",
            "wind",
            "radiation",
            "rain",
            "sunshine",
        ),
        ENOUGH,
        needs=("tmax",),
    ),
    Doubt("days-twice", _twice, _OF_A_DAY, ENOUGH, needs=("tmin", "tmax")),
    Doubt("humidity-saturated", _damp, ("rh_min", "rh_mean", "rh_max"), ENOUGH, needs=("tmin", "tmax")),
    Doubt("humidity-low", _dry, ("rh_max",), ENOUGH, needs=("tmin", "tmax")),
    Doubt("thermometer-sun", _in_the_sun, ("tmax",), _MONTHS, needs=("tmin",)),
)
