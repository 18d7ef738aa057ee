"""
Checks of columns and cells that stand in another's place: what can't be as it stands, and can be where it belongs.

By the widest limits of each quantity, by what lies beside what (a minimum below its maximum), and by what goes with what: bright days
and dry ones warm up most (FAO-56 chapter 3 and Annex 5, from memory). The thresholds were set on genuine records (157 seasons, all
pairs of their columns): common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations

import numpy as np

from panbudget.numeric import Floats, Ints, Mask
from panbudget.physics import air
from panbudget.weather.checks.inspection import Doubt, Inspection, Verdict
from panbudget.weather.messages import counted, problem
from panbudget.weather.text.columns import STANDARD, number

# days that tell, and those on which two columns are held against each other [d]
_MONTH, _TOGETHER = 30, 20
# what no day's figure is below or above, in its column's unit, and what no season's middling range of temperature reaches [°C]
_BOUNDS = {
    "tmin": (-60.0, 40.0),
    "tmax": (-60.0, 57.0),
    "dew_point": (-60.0, 35.0),
    "wind": (0.0, 20.0),
    "rh_max": (5.01, 105.0),
    "rh_mean": (0.01, 105.0),
    "rh_min": (0.01, 105.0),
    "rain": (0.0, STANDARD["rain"].highest),
}
_RANGE = 23.0
# share of calm days and a middling day's wind beyond which it is none [-, m/s]; share of dry days below which rain is none [-]; the
# least and most of a clear sky's light where that is more than this, and what bright days reach [-, MJ, -]
_CALM, _WINDY, _DRY = 0.3, 6.0, 0.03
_LIGHT, _SOME_LIGHT, _BRIGHT = (0.018, 1.1), 6.0, 0.4
# how far a pressure and a dew point may lie off [kPa, °C], and sunshine above the daylight [h]
_PRESSURE, _DEW, _SUNSHINE = 12.0, 10.0, 0.3
# shares of days, added up, that can't be as the columns stand, and those that may be left; how much better columns go with each other
# at least where a column can't be as a whole, where some days can't, and where nothing else tells (in no sound season by more than
# −0.3), and what all comes to [-]
_WRONG, _LEFT, _NO_WORSE, _SOME_BETTER, _FAR_BETTER, _BETTER = 0.015, 0.02, -0.05, 0.1, 2.0, 0.3
# a middling day's wind beyond which it may be light, shares of a clear sky's between which a day's lies, and on how many days; by how
# much more a column goes with the day's warming; shares of wet and calm days that speak for an exchange [m/s, -, -, -, -]
_TOO_WINDY, _DARKEST, _BRIGHTEST, _MOSTLY, _RATHER = 5.0, 0.03, 1.1, 0.95, 0.3
_NEVER_DRY, _OFTEN_CALM = 0.95, 0.3
# columns of a table whose cells may move, how many things can't be on a day whose cells did, an empty cell among them, and a day's range
# that is none [-, -, °C]
_FEWEST, _BROKEN, _WIDEST = 3, 2, 40.0
# pairs that rows of their own tell apart, by what else the two may be
_OF_THEIR_OWN = ({"wind", "radiation"}, {"wind", "rain"}, {"tmin", "dew_point"})


def _exchanged(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Refuse two columns that can't be what they are called, and each can be what the other is."""
    if inspection.own_marks or inspection.raw.of_records or len(names) < 3:
        return
    values = {name: inspection.of_asked(name) for name in names}
    wrong, alike = wrong_share(inspection, values), _alike(inspection, values)
    if wrong <= _WRONG and alike >= len(_signs(inspection, values)) - _FAR_BETTER:
        return
    best, pair = 0.0, ("", "")
    for one, other in combinations((name for name in names if np.ptp(inspection.known(name)) > 0.0), 2):
        turned = values | _turned(inspection, one, other)
        if (left := wrong_share(inspection, turned)) >= _LEFT:
            continue
        better = _alike(inspection, turned) - alike
        total = 2.0 * (wrong - left) + better
        least = _NO_WORSE if wrong >= 1.0 else _SOME_BETTER if wrong > _WRONG else _FAR_BETTER
        if better > least and total > max(_BETTER, best):
            best, pair = total, (one, other)
    if all(pair) and set(pair) not in _OF_THEIR_OWN:
        first, second = (number(float(np.nanmedian(values[name]))) for name in pair)
        words = {"other": pair[1], "first": first, "second": second, "exchanged": True}
        yield Verdict(pair, "columns-exchanged/any", words)


def _turned(inspection: Inspection, one: str, other: str) -> dict[str, Floats]:
    """Return two columns with each other's figures, as the file has them, each in the unit of its own."""
    (a, b), units = (inspection.of_asked(name) for name in (one, other)), inspection.raw.conversions
    (of_one, to_one), (of_other, to_other) = (units.get(name, (1.0, 0.0)) for name in (one, other))
    return {one: (b - to_other) / of_other * of_one + to_one, other: (a - to_one) / of_one * of_other + to_other}


def wrong_share(inspection: Inspection, values: Mapping[str, Floats]) -> float:
    """Add up the shares of days on which a column can't be what it is called, 1 where it can't be as a whole."""
    return sum(max(parts) for parts in _parts(inspection, values))


def _parts(inspection: Inspection, values: Mapping[str, Floats]) -> Iterator[tuple[float, ...]]:
    asked, clear = inspection.asked, inspection.sky.clear[inspection.asked]
    for name, figures in values.items():
        known, off = figures[~np.isnan(figures)], _off(inspection, name, figures, asked)
        share, high = _share(off, figures), (clear > _SOME_LIGHT) & ~np.isnan(figures)
        if name == "wind":
            yield share, float((known == 0.0).mean() > _CALM), float(np.median(known) > _WINDY)
        elif name == "rain":
            yield share, float((known == 0.0).mean() < _DRY)
        elif name == "radiation" and high.any():
            yield off.sum() / high.sum(), float(np.percentile(figures[high] / clear[high], 95.0) < _BRIGHT)
        elif name == "vapour_pressure" and "tmax" in values:
            most_vapour = air.saturation_vapour_pressure(np.minimum(values["tmax"], _BOUNDS["tmax"][1]))
            yield (_share((figures <= 0.0) | (figures > most_vapour), figures, values["tmax"]),)
        else:
            yield (share,)
    for low, high_name in (("tmin", "tmax"), ("rh_min", "rh_max"), ("rh_mean", "rh_max"), ("rh_min", "rh_mean")):
        if low in values and high_name in values:
            apart = values[high_name] - values[low]
            wide = low == "tmin" and not np.isnan(apart).all() and float(np.nanmedian(apart)) > _RANGE
            yield _share(apart < 0.0, apart), wide
    if "dew_point" in values and "tmin" in values:
        above = values["dew_point"] - values["tmin"]
        yield (_share(above > _DEW, above),)


def _off(inspection: Inspection, name: str, figures: Floats, days: Mask | slice) -> Mask:
    """Tell on which days a column can't be what it is called, whatever stands beside it."""
    least, most = _BOUNDS.get(name, (-np.inf, np.inf))
    clear, usual = inspection.sky.clear[days], float(air.atmospheric_pressure(inspection.site.elevation))
    if name == "radiation":
        return (clear > _SOME_LIGHT) & ((figures < _LIGHT[0] * clear) | (figures > _LIGHT[1] * clear))
    if name == "sunshine":
        return (figures < 0.0) | (figures > inspection.sky.daylight[days] + _SUNSHINE)
    if name == "pressure":
        return np.abs(figures - usual) > _PRESSURE
    return (figures < least) | (figures > most)


def _share(of: Mask, *known: Floats) -> float:
    """Return on how many of the days that are known it is so. [-]"""
    there = ~np.isnan(np.sum(known, axis=0))
    return float((of & there).sum() / max(there.sum(), 1))


def _signs(inspection: Inspection, values: Mapping[str, Floats]) -> list[tuple[Floats, Floats]]:
    """Return what rises and falls together from day to day."""
    if "tmin" not in values or "tmax" not in values:
        return []
    ranges = values["tmax"] - values["tmin"]
    signs = [(values["tmin"], values["tmax"])]
    if "rh_min" in values and "rh_max" in values:
        signs += [(values["rh_min"], values["rh_max"]), (-values["rh_min"], ranges)]
    if "radiation" in values:
        signs.append((values["radiation"] / np.maximum(inspection.sky.extraterrestrial[inspection.asked], 1.0), ranges))
    if "dew_point" in values:
        signs.append((values["dew_point"], values["tmin"]))
    return signs


def _alike(inspection: Inspection, values: Mapping[str, Floats]) -> float:
    """Add up the correlations of what should go together."""
    total = 0.0
    for first, second in _signs(inspection, values):
        known = ~np.isnan(first + second)
        one, other = first[known], second[known]
        if one.size >= _TOGETHER and np.ptp(one) > 0.0 and np.ptp(other) > 0.0:
            total += float(np.corrcoef(one, other)[0, 1])
    return total


def _wind_exchanged(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Refuse a wind that lies below a clear sky's light and goes with the day's warming, beside light that does neither."""
    wind, light, warming = inspection.of_asked("wind"), inspection.of_asked("radiation"), inspection.of_asked("tmax")
    warming = warming - inspection.of_asked("tmin")
    clear = inspection.sky.clear[inspection.asked]
    known = ~np.isnan(wind + light + warming) & (clear > 0.0)  # no share of a polar night's
    if known.sum() < _MONTH or float(np.median(wind[known])) <= _TOO_WINDY:
        return
    shares = np.array([wind, light, warming])[:, known] / np.array([clear, clear, np.ones_like(clear)])[:, known]
    fits = ((shares[0] > _DARKEST) & (shares[0] < _BRIGHTEST)).mean() > _MOSTLY
    if fits and float(np.median(light[known])) < _TOO_WINDY and (shares.std(axis=1) > 0.0).all():
        by_wind, by_light = np.corrcoef(shares)[2, :2]
        if by_wind > by_light + _RATHER:
            yield Verdict(
                ("wind", "radiation"), "wind-exchanged", {"middle": float(np.median(wind[known])), "exchanged": True}
            )


def _rain_exchanged(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Refuse rain on nearly every day beside a wind that is often nothing."""
    rain, wind = inspection.known("rain"), inspection.known("wind")
    if wind.size and (rain > 0.0).mean() > _NEVER_DRY and (wind == 0.0).mean() > _OFTEN_CALM:
        words = {"wet": 100.0 * (rain > 0.0).mean(), "calm": 100.0 * (wind == 0.0).mean()}
        yield Verdict(("rain", "wind"), "rain-exchanged", {**words, "exchanged": True})


def _moved(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Refuse rows whose cells stand one column beside their own: as they stand they can't be, and one column back all can."""
    order = [name for name in map(str, inspection.raw.daily.columns) if name in names]
    if inspection.own_marks or inspection.raw.of_records or inspection.condemned or len(order) < _FEWEST:
        return
    table = np.array([inspection.all_of(name) for name in order])
    broken = _broken(inspection, dict(zip(order, table, strict=True)))
    for way, by, freed in (("right", -1, 0), ("left", 1, -1)):
        back = np.roll(table, by, axis=0)
        healed = _broken(inspection, dict(zip(order, back, strict=True))) == 0
        moved = healed & (broken + np.isnan(table[freed]) >= _BROKEN) & (broken > 0)
        if not (moved & inspection.asked).any():
            continue
        ends = slice(np.argmax(moved), moved.size - np.argmax(moved[::-1]))
        if moved[ends].mean() > 0.5:  # from one day to another; by chance some could be true as they stand
            moved[ends] = healed[ends]
        first, *_, last = map(inspection.day, (rows := np.flatnonzero(moved & inspection.asked))[[0, -1]])
        words = {**inspection.words(order[0], "rows-moved"), "way": way, "days": counted(rows.size, "day")}
        words |= {"order": ", ".join(order), "first": first, "last": last}
        inspection.problems.append(problem("rows-moved", order[0], None, **words))
        inspection.put(moved, order, back[:, moved].T)  # what else is wrong is told of the cells in their own places
        return
    yield from ()


def _broken(inspection: Inspection, values: Mapping[str, Floats]) -> Ints:
    """Count by how many things each day can't be what its columns say."""
    off = {name: _off(inspection, name, figures, slice(None)) for name, figures in values.items()}
    known = {name: values.get(name, np.full(len(inspection.daily), np.nan)) for name in STANDARD}
    if "dew_point" in off:  # by itself or beside the temperatures: one thing
        off["dew_point"] |= known["dew_point"] > np.minimum(known["tmin"] + _DEW, known["tmax"])
    ranges, warmth = known["tmax"] - known["tmin"], [off.pop(name) for name in ("tmin", "tmax") if name in off]
    faults = [
        np.any([ranges < 0.0, ranges > _WIDEST, *warmth], axis=0),
        known["rh_max"] < known["rh_min"],
        *off.values(),
    ]
    counts: Ints = np.count_nonzero(faults, axis=0)
    return counts


#: before any other: of two columns that stand in each other's place every other check tells something else
CHECKS: tuple[Doubt, ...] = (
    Doubt("columns-exchanged", _exchanged, tuple(STANDARD), _MONTH, needs=("tmin", "tmax")),
    Doubt("rows-moved", _moved, tuple(STANDARD), needs=("tmin", "tmax")),
    Doubt("wind-exchanged", _wind_exchanged, ("wind",), _MONTH, needs=("radiation", "tmin", "tmax")),
    Doubt("rain-exchanged", _rain_exchanged, ("rain",), _MONTH, needs=("wind",)),
)
