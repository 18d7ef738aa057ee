"""
Checks of the air: temperature, humidity, wind and pressure, and the units that people mistake for ours.

The thresholds are common practice, no source, unless said otherwise: set so that no real season meets them,
and a column in a wrong unit nearly always does. A unit that is stated is doubted as one that is not; but where the values could
be true, it is a caution.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial

import numpy as np
import pandas as pd

from panbudget.numeric import Floats, Mask
from panbudget.physics import air
from panbudget.weather.checks.inspection import Check, Doubt, Inspection, Verdict, at_least, at_most, beside
from panbudget.weather.messages import note
from panbudget.weather.text.columns import STANDARD
from panbudget.weather.text.heading import by_file
from panbudget.weather.text.raw import SCALE_WITH_RECORDS, TO_FILL_IN

# medians over the days asked for that no place on earth reaches, in °C
_MEDIAN_LIMITS = {"tmax": 50.0, "tmin": 38.0, "dew_point": 33.0}
# how far a day's mean dew point may lie above its minimum temperature (a warm damp day that ends cold) [°C]
_DEW_ABOVE_TMIN = 10.0
# the highest humidity of a day from which on the lowest is not nothing [%]
_DAMP_NIGHT = 30.0
# how many days it takes to question a windy site, a climate
_DAYS_TO_JUDGE, _MONTH = 14, 30
# m/s in one, in the order of likelihood [m/s]
WIND_UNITS = {"km/h": 1.0 / 3.6, "mph": 0.44704, "knot": 0.514444}
# degrees from the equator -> the hottest month that any place there has, and the coldest of those with a high sun, both brought
# to sea level; world maps and records, from memory [°C]. The sun is high at Ra of 36 MJ m⁻² d⁻¹
_LATITUDES = (0.0, 15.0, 25.0, 37.0, 43.0, 50.0, 58.0, 66.0, 75.0, 90.0)
_HOTTEST = (34.0, 39.0, 43.0, 43.0, 38.0, 32.0, 28.5, 24.0, 15.0, 8.0)
_COLDEST = (13.0, 12.0, 11.0, 9.5, 7.5, 5.0, 0.0, -5.0, -15.0, -30.0)
HIGH_SUN, _LAPSE = 36.0, 0.0065
# the least and most that a season's middling day warms up anywhere: small oceanic islands, high deserts, and where the highest
# humidity of the middling day is the second of these, not the first [°C, %]
_RANGES, _DAMPNESS = (2.5, 22.0, 16.0), (80.0, 90.0)
# how much a season's middling day warms up in genuine records, from airports' 8 to a valley's 12 [°C]
_USUAL_RANGE = 10.0
# share of the days with a dew point above the minimum, and by how much in the middle, beyond which the two are exchanged [-, °C]
_EXCHANGED, _EXCHANGED_BY = 0.95, 0.3
# the same, and by how much on one day in ten, on days above freezing; share of days above the maximum that speak against [-, °C, -]
_OFTEN_ABOVE, _FAR_ABOVE, _IMPOSSIBLE = 0.75, 5.0, 0.02
# share of what air at tmax holds below which a vapour pressure is doubted on a middling day that is no desert's [-, °C]
_PARCHED, _MILD = 0.08, 33.0
# share of what air at tmin holds that a vapour pressure reaches on damp nights (one in ten), between which it may be in mmHg [-]
_DAMP_IN_MMHG = (0.8, 1.15)
# unit -> kPa in one
_PRESSURE_UNITS = {"hPa": 0.1, "Pa": 0.001, "mmHg": 0.133322, "inHg": 3.38639, "bar": 100.0, "atm": 101.325}
# units of vapour pressures, and how far the logarithms of days in them may be from the others' [-]
_OF_VAPOUR, _LIKE_OTHERS = ("hPa", "mmHg", "Pa"), 0.5
# how far a middling day's pressure may be from what the elevation gives, by weather and a coarse elevation; how far a single day's
# may be [kPa]
_PRESSURE_NEAR, _PRESSURE_DAY = 4.0, 12.0

# by how much temperatures leap from a day on, each side the middle of so many days, and vapour pressures of two units [°C, d, -]
_LEAP, _LEAP_DAYS, _TIMES_UNIT = 26.0, 10, 5.0
# how near to each other the two sides are by their own scales [°C]
_SAME = 8.0
# how far the middle of tmax may be from that of tmin before neither is in K, and what K of one alone come to [°C]
_RANGE_OF_TENTHS, _KELVIN = 40.0, 200.0
TENTHS = "tenths of °C"
#: what temperatures are taken for -> the unit to name
SCALES = {"K": "K", "°F": "degF", "°C": "degC", TENTHS: "0.1 degC"}
# the most that a humidity can be that is a fraction, printed or a little off; tenths of % reach more than this on some day [-, 0.1 %]
FRACTION, _DAMP_TENTHS = 1.05, 250.0
_HUMIDITIES = ("rh_max", "rh_min", "rh_mean")


def _header_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a unit that the user states though the column's header names another; hours' humidity and light don't simply scale."""
    contradicted, of_records = inspection.raw.contradicted or {}, inspection.raw.of_records
    doubted = set[str]()
    for name in names:
        stated = contradicted.get(name)
        if stated is None or (quantity := of_records.get(name, name)) in doubted:
            continue
        if stated.factor is None:
            doubted.add(quantity)
            yield Verdict(
                [name],
                "header-unit/quantity",
                {"header": stated.header, "stated": stated.stated, "table": inspection.table},
            )
            continue
        extremes = {"tmin", "tmax"} & contradicted.keys() if name in ("tmin", "tmax") and not of_records else {name}
        doubted |= {quantity, *extremes}
        alike = [other for other in names if of_records.get(other, other) == quantity or other in extremes]
        values = {other: inspection.of_asked(other) * stated.factor + stated.offset for other in alike}
        bounded = [(column, STANDARD[other]) for other, column in values.items()]
        if any(np.nanmin(v) < standard.lowest or np.nanmax(v) > standard.highest for v, standard in bounded):
            continue  # the header's unit can't be right
        instead = inspection.with_asked(**values) if not of_records or quantity in SCALE_WITH_RECORDS else {}
        lines = " and ".join(inspection.line(other, stated.header) for other in sorted(extremes))
        words = {"header": stated.header, "stated": stated.stated, "line": lines, "table": inspection.table}
        yield Verdict([name, *sorted(extremes - {name})], "header-unit", words, instead)


def _other_scale(inspection: Inspection, name: str) -> str:
    """Guess at another scale than the column's; where that is °F or K, by the file's own figures, which may be °C."""
    guess = scale_of(name, inspection.known(name))
    if guess and (in_file := _in_file(inspection, name)) is not None:
        guess = scale_of(name, in_file) or "°C"
        return "" if guess == TENTHS and (in_file % 1.0).any() else guess
    return guess


def _in_file(inspection: Inspection, name: str) -> Floats | None:
    """Return a column's figures as the file has them, where its unit is °F or K."""
    if (unit := inspection.unit_in_file(name)) not in ("degF", "K"):
        return None
    factor, offset = by_file(unit, "degC")
    figures: Floats = ((inspection.known(name) - offset) / factor).round(6)
    return figures


def _other_scales(inspection: Inspection, names: Iterable[str]) -> dict[str, str]:
    """Guess at another scale than the columns'; where tmin would lie above tmax, tenths are of both: one may pass for °F, K or °C."""
    guesses = {name: guess for name in names if (guess := _other_scale(inspection, name))}
    middle = {name: float(np.median(inspection.known(name))) for name in names} if guesses else {}
    tenths = "K" in guesses.values() and _RANGE_OF_TENTHS < np.ptp([*middle.values()]) < _KELVIN
    if TENTHS in guesses.values() and len(middle) == 2:
        by_guess = {name: value * (0.1 if guesses.get(name) == TENTHS else 1.0) for name, value in middle.items()}
        tenths = tenths or by_guess["tmax"] < by_guess["tmin"]
    if tenths and any((in_file := _in_file(inspection, name)) is not None and (in_file % 1.0).any() for name in names):
        return guesses  # tenths are whole numbers
    return dict.fromkeys(names, TENTHS) if tenths else guesses


def scale_of(name: str, values: Floats) -> str:
    """Guess at K, tenths of a degree or °F; nothing where the bulk of the values is ordinary, or one is infinite."""
    low, high = float(values.min()), float(values.max())
    if (low >= -135.0 and high <= _MEDIAN_LIMITS[name]) or not np.isfinite([low, high]).all():
        return ""
    if low > 180.0 and high < 340.0:
        return "K"
    middle, hot = float(np.median(values)), values[values > STANDARD[name].highest]
    if hot.size and low < STANDARD[name].highest and hot.min() > 230.0 and high < 340.0:
        return ""  # some days in K: no unit of the column's
    if abs(middle) > 135.0 or (middle > _MEDIAN_LIMITS[name] and high > 135.0):
        return TENTHS
    return "°F" if middle > _MEDIAN_LIMITS[name] else ""


def around(values: Floats, window: int, least: int) -> tuple[Floats, Floats]:
    """Return the middle of the days before each day, and of those from it on."""
    series = pd.Series(values)
    after = series[::-1].rolling(window, min_periods=least).median()[::-1]
    return series.rolling(window, min_periods=least).median().shift(1).to_numpy(), after.to_numpy()


def steps(values: Floats, side: int) -> Floats:
    """By how much the mean of the days from each on is above that of the days before it."""
    means = np.convolve(values, np.full(side, 1.0 / side), "valid")
    found = np.full(values.size, np.nan)
    found[side : 1 - side] = means[side:] - means[:-side]
    return found


def extremes(values: Floats, window: int) -> tuple[Floats, Floats]:
    """
    Return the lowest and the highest value of the days around each, unknown ones passed over.

    Of so many days, the first of them half a window before; of an even number one place more, after the last day. What a rolling
    median could be at all is told by these, for far less than the medians take.

    Examples
    --------
    >>> [ends.tolist() for ends in extremes(np.array([3.0, np.nan, 1.0, 2.0]), 3)]
    [[3.0, 1.0, 1.0, 1.0], [3.0, 3.0, 2.0, 2.0]]
    """
    low = high = np.pad(values, window // 2, constant_values=np.nan)
    held = 1
    while held < window:
        further = min(held, window - held)
        low, high = np.fmin(low[:-further], low[further:]), np.fmax(high[:-further], high[further:])
        held += further
    return low, high


def leap(inspection: Inspection, names: list[str], *, of_scales: bool = False) -> Iterator[Verdict]:
    """Refuse temperatures that leap from a day on and stay there; of scales alone, as °C that become °F or the other way round."""
    mean = (inspection.of_asked("tmin") + inspection.of_asked("tmax")) / 2.0
    low, high = extremes(mean, 2 * _LEAP_DAYS)
    if not (high - low > _LEAP).any():
        return
    before, after = around(mean, _LEAP_DAYS, 6)
    apart = np.abs(after - before)
    if of_scales:
        celsius, fahrenheit = np.fmin(before, after), np.fmax(before, after)
        apart = np.where(np.abs((fahrenheit - 32.0) / 1.8 - celsius) < _SAME, apart, np.nan)
    else:  # air below freezing can turn colder by as much within a day, where the sun is low
        apart = np.where(np.fmax(before, after) > 0.0, apart, np.nan)
    if (apart > _LEAP).any():
        row = int(np.nanargmax(apart))
        at = int(np.flatnonzero(inspection.asked)[row])
        colder = slice(None, max(at - _LEAP_DAYS, 0)) if before[row] < after[row] else slice(at + _LEAP_DAYS, None)
        if of_scales and np.fmax.reduce(inspection.all_of("tmax")[colder], initial=-np.inf) > STANDARD["tmax"].highest:
            return  # both sides are in °F, and a cold spell ends
        words = {"before": before[row], "after": after[row], "first": inspection.day_asked(row), "days": _LEAP_DAYS}
        yield Verdict(("tmax", "tmin"), "temperature-leap", words)


def _temperature_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    guesses = _other_scales(inspection, names)
    for scale in dict.fromkeys(guesses.values()):
        *others, top = (name for name in names if guesses.get(name) == scale)
        if (parted := _leaps_to(inspection, top, SCALES[scale])) is not None:
            yield Verdict((top, *others), "temperature-leap/one", {**parted, "scale": scale})
            continue
        cold = float(np.median(inspection.known(top))) < STANDARD[top].lowest
        worst = inspection.worst(top, lowest=cold) + (f" ({others[0]} too)" if others else "")
        yield Verdict((top, *others), "temperature-unit", {"worst": worst, "scale": scale, "unit": SCALES.get(scale)})


def _leaps_to(inspection: Inspection, name: str, unit: str) -> dict[str, object] | None:
    """Tell where days in °C end and those in another scale begin, or the other way round, by both sides' likeness."""
    before, after = around(inspection.of_asked(name), _LEAP_DAYS, 6)
    factor, offset = by_file(unit, "degC")
    low, high = np.fmin(before, after), np.fmax(before, after)
    apart = np.where(np.abs(high * factor + offset - low) < _SAME, high - low, np.nan)
    if inspection.known(name).size < 2 * _LEAP_DAYS or not (apart > _LEAP).any():
        return None
    row = int(np.nanargmax(apart))
    return {"before": before[row], "after": after[row], "first": inspection.day_asked(row), "days": _LEAP_DAYS}


def is_refused_as(scale: str, inspection: Inspection) -> bool:
    """Tell whether temperatures are refused since they look like those of a scale."""
    refused = {wrong.where for wrong in inspection.problems if wrong.code == "temperature-unit"}
    refused = refused and inspection.condemned.intersection(inspection.ran.get("temperature-unit", ()))
    return scale in _other_scales(inspection, refused).values()


def _exchanged(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    if len(names) == 2:
        apart = (inspection.all_of("tmax") - inspection.all_of("tmin"))[inspection.asked]
        wrong, known = int((apart < 0.0).sum()), int((~np.isnan(apart)).sum())
        if wrong > 0.5 * known and wrong > 1:
            words = {"wrong": wrong, "known": known, "exchanged": True}
            yield Verdict(("tmax", "tmin"), "columns-exchanged", words)


def _humidity_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    tops = {name: float(inspection.known(name).max()) for name in names}
    if tops.get("rh_min", np.inf) <= FRACTION and inspection.known("rh_min").size >= _DAYS_TO_JUDGE:
        names = [name for name in names if tops[name] <= FRACTION]  # it may be so alone
    highest = max(tops[name] for name in names)
    too = f" ({', '.join(names[1:])} too)" if names[1:] else ""
    if 0.0 < highest <= FRACTION:
        yield Verdict(names, "humidity-unit/fraction", {"highest": highest, "too": too, "unit": "fraction"})
    elif _DAMP_TENTHS < highest <= 1000.0 and max(float(np.median(inspection.known(name))) for name in names) > 105.0:
        # others may be in % on nearly all days
        names = [name for name in names if float(np.percentile(inspection.known(name), 90.0)) > 105.0]
        too = f" ({', '.join(names[1:])} too)" if names[1:] else ""
        yield Verdict(names, "humidity-unit/tenths", {"too": too, "unit": "0.1 %"})


def _dew_point_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    values, scale = inspection.all_of("dew_point"), _other_scale(inspection, "dew_point")
    if not scale and inspection.has("tmax"):
        tmax = inspection.all_of("tmax")
        here = inspection.asked & ~np.isnan(values) & ~np.isnan(tmax)
        as_celsius = (values - 32.0) / 1.8
        if here.any() and (values > tmax)[here].mean() > 0.5 and (as_celsius <= tmax + 0.5)[here].all():
            scale = "°F"
    if scale:
        yield Verdict(names, "dew-point-unit", {"scale": scale, "unit": SCALES.get(scale)})


def _saturation(inspection: Inspection) -> Floats:
    return air.saturation_vapour_pressure(inspection.all_of("tmax"))


def _vapour_elsewhere(inspection: Inspection, row: int, here: Mask) -> dict[str, object]:
    """Say what unit days of more vapour than air holds look like, where the others are like them by that."""
    share = inspection.all_of("vapour_pressure") / _saturation(inspection)
    unit = inspection.like_others(share, here, {unit: _PRESSURE_UNITS[unit] for unit in _OF_VAPOUR}, _LIKE_OTHERS)
    return {"cure": inspection.unit_there(here, unit) if unit else note("correct-one")}


def _vapour_pressure_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    values, saturated = inspection.all_of("vapour_pressure"), _saturation(inspection)
    ratio = (values / saturated)[inspection.asked]
    ratio = ratio[~np.isnan(ratio)]
    middle, (before, after) = float(np.median(ratio)) if ratio.size else 0.0, around(ratio, _LEAP_DAYS, 6)
    if middle > 1.5 and np.nanmax(np.fmax(after / before, before / after), initial=0.0) < _TIMES_UNIT:
        most = saturated[inspection.row_of_highest(values)]
        unit = "hPa" if middle < 15.0 else "Pa"
        night = values * _PRESSURE_UNITS["mmHg"] / air.saturation_vapour_pressure(inspection.all_of("tmin"))
        night = night[inspection.asked & ~np.isnan(night)]
        damp = float(np.percentile(night, 90.0)) if night.size else 0.0
        words = {"unit": unit, "looks_like": unit}
        if _DAMP_IN_MMHG[0] <= damp <= _DAMP_IN_MMHG[1]:
            words = {"unit": TO_FILL_IN, "looks_like": "hPa or mmHg"}
        yield Verdict(names, "vapour-pressure-unit", {**words, "most": most})
    elif ratio.size >= _DAYS_TO_JUDGE and middle < _PARCHED and np.nanmedian(inspection.of_asked("tmax")) < _MILD:
        instead = inspection.with_asked(vapour_pressure=10.0 * inspection.of_asked("vapour_pressure"))
        yield Verdict(names, "vapour-pressure-unit/low", {"share": 100.0 * middle, "least": 100.0 * _PARCHED}, instead)


def _by_elevation(inspection: Inspection) -> float:
    return float(air.atmospheric_pressure(inspection.site.elevation))


def _pressure_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    usual, middle = _by_elevation(inspection), float(np.median(inspection.known("pressure")))
    units = [unit for unit, size in _PRESSURE_UNITS.items() if abs(middle * size - usual) < _PRESSURE_NEAR]
    values = {"middle": middle, "usual": usual, "elevation": inspection.site.elevation}
    if units:
        yield Verdict(names, "pressure-unit", {**values, "unit": units[0]})
    elif abs(middle - usual) > _PRESSURE_NEAR:
        sea = note("sea-level") if 98.0 < middle < 105.0 else ""
        yield Verdict(names, "pressure-unit/elevation", {**values, "sea": sea})


def _climate(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a month that is hotter than any at that latitude and height, or with a high sun colder than any."""
    mean = (inspection.of_asked("tmin") + inspection.of_asked("tmax")) / 2.0
    lapse, sun = _LAPSE * inspection.site.elevation, inspection.sky.extraterrestrial[inspection.asked]
    most, least = (np.interp(abs(inspection.site.latitude), _LATITUDES, table) for table in (_HOTTEST, _COLDEST))
    months = np.convolve(mean, np.full(_MONTH, 1.0 / _MONTH), "valid") + lapse
    # this sum is less exact than the one below
    if not ((months > most - 0.01) | ((months < least + 0.01) & (sun[_MONTH - 1 :] >= HIGH_SUN))).any():
        return
    month = pd.Series(mean).rolling(_MONTH, min_periods=_MONTH).mean() + lapse
    light = pd.Series(sun).rolling(_MONTH).min()
    for kind, beyond, bound in (
        ("hot", month - most, most),
        ("cold", (least - month).where(light >= HIGH_SUN), least),
    ):
        if (beyond > 0.0).any():
            last = int(np.nanargmax(beyond))
            level = float(np.mean(mean[last - _MONTH + 1 : last + 1]))
            scale = _other_than(inspection, "tmax") if kind == "cold" else "°F"
            values: dict[str, object] = {"level": level, "month": _MONTH, "last": inspection.day_asked(last)}
            values |= {"scale": scale, "unit": "degF"}
            limit = float(bound) - lapse
            as_celsius = ((month - lapse) - 32.0) / 1.8 + lapse
            if kind == "hot" and (as_celsius.where(light >= HIGH_SUN) < least).any():
                kind = "neither"
                del values["unit"]
            in_fahrenheit = inspection.unit_in_file("tmax") == "degF"
            if kind == "cold" and in_fahrenheit and not ((month - lapse) * 1.8 + 32.0 + lapse > most).any():
                yield Verdict(
                    ("tmax", "tmin"), "temperature-climate/celsius", {**values, "unit": "degC", "limit": limit}
                )
                return
            yield Verdict(("tmax", "tmin"), f"temperature-climate/{kind}", {**values, "limit": limit})


def _other_than(inspection: Inspection, name: str) -> str:
    """Return °F, or of a column in that °C."""
    return "°C" if inspection.unit_in_file(name) == "degF" else "°F"


def _range(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a daily range of no climate: whole degrees in place of tenths have next to none; damp air warms up by less."""
    ranges = inspection.of_asked("tmax") - inspection.of_asked("tmin")
    middle = float(np.nanmedian(ranges)) if not np.isnan(ranges).all() else _RANGES[0]
    damp = (
        float(np.median(inspection.known("rh_max")))
        if inspection.has("rh_max") and inspection.known("rh_max").size
        else 0.0
    )
    most = float(np.interp(damp, _DAMPNESS, _RANGES[1:]))
    kind = "small" if middle < _RANGES[0] else "large" if middle > most else ""
    if kind:
        mean = (inspection.of_asked("tmin") + inspection.of_asked("tmax")) / 2.0
        half = ranges / 2.0 * _USUAL_RANGE / max(middle, 0.1)
        instead = inspection.with_asked(tmin=mean - half, tmax=mean + half)
        values = {"middle": middle, "least": _RANGES[0], "most": most, "scale": _other_than(inspection, "tmax")}
        yield Verdict(("tmax", "tmin"), f"temperature-range/{kind}", values, instead)


def may_be_tmin(values: Floats, inspection: Inspection) -> bool:
    """Tell whether a column may be the minimum: hardly ever above the maximum, as far as there is one."""
    return not inspection.has("tmax") or bool((values > inspection.of_asked("tmax")).mean() < _IMPOSSIBLE)


def _dew_point_exchanged(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    dew_point, tmin = inspection.of_asked("dew_point"), inspection.of_asked("tmin")
    above = (dew_point - tmin)[(np.fmax(dew_point, tmin) > 0.0) & ~np.isnan(dew_point + tmin)]
    if above.size < _DAYS_TO_JUDGE:
        return
    always = (above > 0.0).mean() > _EXCHANGED and float(np.median(above)) > _EXCHANGED_BY
    far = (above > 0.0).mean() > _OFTEN_ABOVE and float(np.percentile(above, 90.0)) > _FAR_ABOVE
    if always or (far and may_be_tmin(dew_point, inspection)):
        share = 100.0 * float((above > 0.0).mean())
        words = {"share": share, "middle": float(np.median(above)), "exchanged": True}
        yield Verdict(("dew_point", "tmin"), "dew-point-exchanged", words)


def _nothing(values: Floats, inspection: Inspection) -> Floats:
    return np.asarray(values == 0.0, dtype=np.float64)


def _nothing_by_day(values: Floats, inspection: Inspection) -> Floats:
    """As `_nothing`, of days that are damp by night: in a desert the afternoon's humidity may be rounded to nothing."""
    return _nothing(values, inspection) * (
        inspection.all_of("rh_max") >= _DAMP_NIGHT if inspection.has("rh_max") else 0.0
    )


def _fraction(values: Floats, inspection: Inspection) -> Floats:
    return np.where((values > 0.0) & (values <= FRACTION), 2.0 - values, 0.0)


def _not_above_nothing(values: Floats, inspection: Inspection) -> Floats:
    return np.where(values <= 0.0, 1.0 - values, 0.0)


def _over_saturation(values: Floats, inspection: Inspection) -> Floats:
    return values - _saturation(inspection) * 1.001  # a thousandth: printed digits


def _far_from_elevation(values: Floats, inspection: Inspection) -> Floats:
    return np.abs(values - _by_elevation(inspection)) - _PRESSURE_DAY


#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Check | Doubt, ...] = (
    Doubt("header-unit", _header_unit, tuple(STANDARD), beside="contradicted"),
    Doubt("temperature-leap", partial(leap, of_scales=True), ("tmin", "tmax"), 2 * _LEAP_DAYS, needs=("tmin", "tmax")),
    Doubt("temperature-unit", _temperature_unit, ("tmin", "tmax")),
    *(row(name) for name in ("tmin", "tmax") for row in (at_most, at_least)),
    Doubt("columns-exchanged", _exchanged, ("tmin", "tmax")),
    beside("tmax", "below", "tmin"),
    Doubt("temperature-climate", _climate, ("tmin", "tmax"), _MONTH, needs=("tmin", "tmax")),
    Doubt("temperature-range", _range, ("tmin", "tmax"), _MONTH, needs=("tmin", "tmax")),
    Doubt("humidity-unit", _humidity_unit, _HUMIDITIES),
    *(row(name) for name in _HUMIDITIES for row in (at_most, at_least)),
    *(Check("humidity-zero", name, _nothing) for name in ("rh_max", "rh_mean")),
    Check("humidity-zero", "rh_min", _nothing_by_day),
    *(Check("humidity-fraction", name, _fraction) for name in ("rh_max", "rh_mean")),
    beside("rh_max", "below", "rh_min"),
    # half a per cent: figures are rounded
    beside("rh_mean", "above", "rh_max", by=0.5),
    beside("rh_mean", "below", "rh_min", by=0.5),
    Doubt("dew-point-unit", _dew_point_unit, ("dew_point",)),
    Doubt("dew-point-exchanged", _dew_point_exchanged, ("dew_point",), _DAYS_TO_JUDGE, needs=("tmin",)),
    beside("dew_point", "above", "tmax", blamed=False),
    beside("dew_point", "above", "tmin", by=_DEW_ABOVE_TMIN, blamed=False),
    at_least("dew_point"),
    at_most("dew_point", unless=("tmax",)),
    Doubt("vapour-pressure-unit", _vapour_pressure_unit, ("vapour_pressure",), needs=("tmin", "tmax")),
    Check("saturation", "vapour_pressure", _over_saturation, _vapour_elsewhere, needs=("tmin", "tmax")),
    at_most("vapour_pressure", unless=("tmin", "tmax")),
    Check("vapour_pressure-range/low", "vapour_pressure", _not_above_nothing),
    Doubt("pressure-unit", _pressure_unit, ("pressure",)),
    Check(
        "pressure-range", "pressure", _far_from_elevation, lambda inspection, *_: {"usual": _by_elevation(inspection)}
    ),
)
