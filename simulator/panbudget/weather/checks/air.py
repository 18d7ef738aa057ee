"""
Checks of the air: temperature, humidity, wind and pressure, and the units that people mistake for ours.

The thresholds are common practice, no source, unless said otherwise: set so that no real season meets them,
and a column in a wrong unit nearly always does.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from panbudget.numeric import Floats
from panbudget.physics import air
from panbudget.weather.checks.inspection import (
    Check,
    Doubt,
    Inspection,
    Mask,
    Verdict,
    above,
    below,
    beside,
    within,
)
from panbudget.weather.text.columns import STANDARD

_HOTTEST, _COLDEST = STANDARD["tmax"].highest, STANDARD["tmax"].lowest
# medians over the days asked for that no place on earth reaches, in °C
_MEDIAN_LIMITS = {"tmax": 50.0, "tmin": 38.0, "dew_point": 33.0}
# how far a day's mean dew point may lie above its minimum temperature (a warm damp day that ends cold) [°C]
_DEW_ABOVE_TMIN = 10.0
# median wind at 2 m beyond which the unit is doubted, from which it is worth a look, that is doubted on a few days or
# in a stated unit too, and that is a day's run of wind in km [m/s]
_WINDY, _BREEZY, _STORMY, _RUN_OF_WIND = 5.0, 3.5, 15.0, 50.0
# how many days it takes to question a windy site
_DAYS_TO_JUDGE = 14
# unit -> kPa in one
_PRESSURE_UNITS = {"hPa": 0.1, "Pa": 0.001, "mmHg": 0.133322, "inHg": 3.38639, "bar": 100.0, "atm": 101.325}
# how far a middling day's pressure may be from what the elevation gives, by weather and a coarse elevation, and how far
# it must be to be in another unit; how far a single day's may be [kPa]
_PRESSURE_NEAR, _PRESSURE_FAR, _PRESSURE_DAY = 4.0, 20.0, 12.0

_RANGE = f"{_COLDEST:g} to {_HOTTEST:g} °C"
_EITHER = "correct one of the two"
_OVER_100 = "correct it (a sensor that reads a little over 100: write 100), or leave the cell empty"
_HUMIDITIES = ("rh_max", "rh_min", "rh_mean")
_DAMPEST = STANDARD["vapour_pressure"].highest
_BY_TEN = "divide by ten in the file"


def _other_scale(name: str, values: Floats) -> str:
    """Guess at K, tenths of a degree or °F; nothing where the bulk of the values is ordinary."""
    low, middle, high = float(values.min()), float(np.median(values)), float(values.max())
    if low > 180.0 and high < 340.0:
        return "K"
    if abs(middle) > 135.0 or (middle > _MEDIAN_LIMITS[name] and high > 135.0):
        return "tenths of °C"
    return "°F" if middle > _MEDIAN_LIMITS[name] else ""


def _scale_cure(inspection: Inspection, scale: str, *names: str) -> str:
    unit = {"K": "K", "°F": "degF"}.get(scale)
    return inspection.unit_cure(unit, *names) if unit else _BY_TEN


def _temperature_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    guesses = {name: guess for name in names if (guess := _other_scale(name, inspection.known(name)))}
    for scale in dict.fromkeys(guesses.values()):
        *others, top = (name for name in names if guesses.get(name) == scale)
        too = f" ({others[0]} too)" if others else ""
        cold = float(np.median(inspection.known(top))) < _COLDEST
        found = f"reaches {inspection.worst(top, lowest=cold)}{too}, which looks like {scale}"
        yield Verdict((top, *others), found, _RANGE, _scale_cure(inspection, scale, *others, top))


def _exchanged(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    if len(names) < 2:
        return
    apart = (inspection.all_of("tmax") - inspection.all_of("tmin"))[inspection.asked]
    wrong, known = int((apart < 0.0).sum()), int((~np.isnan(apart)).sum())
    if wrong > 0.5 * known and wrong > 1:
        found = f"lies below tmin on {wrong} of {known} days; the two columns look exchanged"
        yield Verdict(("tmax", "tmin"), found, "", "exchange their names")


def _humidity_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    first, *others = names
    highest = max(float(inspection.known(name).max()) for name in names)
    middle = max(float(np.median(inspection.known(name))) for name in names)
    too = f" ({', '.join(others)} too)" if others else ""
    if 0.0 < highest <= 1.05:
        found = f"is at most {highest:.2f} %{too}; no place is that dry, and it looks like a fraction"
        yield Verdict(names, found, "0 to 100 %", inspection.unit_cure("fraction", *names))
    elif middle > 105.0 and highest <= 1000.0:
        found = f"reaches {inspection.worst(first)}{too}, which looks like tenths of %"
        yield Verdict(names, found, "0 to 100 %", _BY_TEN)


def _dew_point_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    (name,) = names
    scale = _other_scale(name, inspection.known(name))
    if not scale and inspection.has("tmax"):
        values, tmax = inspection.all_of(name), inspection.all_of("tmax")
        here = inspection.asked & ~np.isnan(values) & ~np.isnan(tmax)
        as_celsius = (values - 32.0) / 1.8
        if here.any() and (values > tmax)[here].mean() > 0.5 and (as_celsius <= tmax + 0.5)[here].all():
            scale = "°F"
    if scale:
        found = f"reaches {inspection.worst(name)}, which looks like {scale}"
        yield Verdict(names, found, "a dew point in °C below that day's tmax", _scale_cure(inspection, scale, name))


def _saturation(inspection: Inspection) -> Floats:
    return air.saturation_vapour_pressure(inspection.all_of("tmax"))


def _vapour_pressure_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    (name,) = names
    if not inspection.has("tmin", "tmax"):
        return
    values, saturated = inspection.all_of(name), _saturation(inspection)
    ratio = (values / saturated)[inspection.asked]
    ratio = ratio[~np.isnan(ratio)]
    middle = float(np.median(ratio)) if ratio.size else 0.0
    if middle > 1.5:
        unit = "hPa" if middle < 15.0 else "Pa"
        most = float(saturated[inspection.row_of_highest(values)])
        found = f"reaches {inspection.worst(name)}, which looks like {unit}"
        expected = f"at most {most:.1f} kPa, which is what air at that day's tmax holds"
        yield Verdict(names, found, expected, inspection.unit_cure(unit, name))


def _wind_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known = inspection.known("wind")
    middle = float(np.median(known)) * inspection.wind_factor
    found = f"reaches {inspection.worst('wind')}"
    if middle > _RUN_OF_WIND:
        cure = inspection.unit_cure("km/day", "wind")
        yield Verdict(names, f"{found}, which looks like a day's run of wind in km", "0 to 10 m/s, as is usual", cure)
        return
    many, stated = known.size >= _DAYS_TO_JUDGE, inspection.is_stated("wind")
    middling = f"{middle:.1f} m/s at 2 m on a middling day"
    if middle > (_WINDY if many and not stated else _STORMY):
        yield Verdict(
            names,
            f"{found} and is {middling}, which looks like km/h (or knots or mph)",
            f"1 to {_WINDY:g} m/s, as is usual",
            inspection.unit_cure("km/h", "wind", confirm=True),
        )
    elif many and middle > _BREEZY and not stated:
        inspection.notes.append(
            f"wind is {middling}, which is a windy site: check that it is not in km/h, mph or knots, and state its unit; "
            f"{inspection.confirmation('wind')}"
        )


def _pressure_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    expected = float(air.atmospheric_pressure(inspection.site.elevation))
    middle = float(np.median(inspection.known("pressure")))
    found = f"is {middle:.1f} kPa on a middling day"
    wanted = f"{expected:.1f} kPa at {inspection.site.elevation:g} m"
    apart = abs(middle - expected)
    for unit, size in _PRESSURE_UNITS.items():
        if abs(middle * size - expected) < _PRESSURE_NEAR and apart > _PRESSURE_FAR:
            yield Verdict(names, f"{found}, which looks like {unit}", wanted, inspection.unit_cure(unit, "pressure"))
            return
    if apart > _PRESSURE_NEAR:
        sea = ", which looks like pressure brought down to sea level" if 98.0 < middle < 105.0 else ""
        cure = "correct the site's elevation or the column, or delete the column (pressure then follows elevation)"
        yield Verdict(names, found + sea, wanted, cure)


def _far_from_elevation(values: Floats, inspection: Inspection) -> Floats:
    return np.abs(values - float(air.atmospheric_pressure(inspection.site.elevation))) - _PRESSURE_DAY


def _of_elevation(inspection: Inspection, row: int, here: Mask) -> str:
    return f"about {float(air.atmospheric_pressure(inspection.site.elevation)):.0f} kPa"


def _nothing(values: Floats, inspection: Inspection) -> Floats:
    return np.asarray(values == 0.0, dtype=np.float64)


def _not_above_nothing(values: Floats, inspection: Inspection) -> Floats:
    return np.where(values <= 0.0, 1.0 - values, 0.0)


def _over_saturation(values: Floats, inspection: Inspection) -> Floats:
    return values - _saturation(inspection) * 1.001  # a thousandth: printed digits


_DRY = ("some moisture, without which air never is", "leave the cell empty", "which looks like a dead sensor")
_MEAN = "a mean between that day's rh_min and rh_max"
_DAMP = "at most what air holds at that day's tmax"

#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Check | Doubt, ...] = (
    Doubt("temperature-unit", ("tmin", "tmax"), _temperature_unit),
    *within("tmin", _COLDEST, _HOTTEST, f"{_RANGE} (is the unit °F?)"),
    *within("tmax", _COLDEST, _HOTTEST, f"{_RANGE} (is the unit °F?)"),
    Doubt("columns-exchanged", ("tmin", "tmax"), _exchanged),
    beside("tmax", "below", "tmin", "at least that day's tmin"),
    Doubt("humidity-unit", _HUMIDITIES, _humidity_unit),
    *(row for name in _HUMIDITIES for row in within(name, 0.0, 100.0, "0 to 100 %", _OVER_100)),
    Check("humidity-zero", "rh_max", _nothing, *_DRY),
    Check("humidity-zero", "rh_mean", _nothing, *_DRY),
    beside("rh_max", "below", "rh_min", "at least that day's rh_min"),
    # half a per cent: figures are rounded
    beside("rh_mean", "above", "rh_max", _MEAN, by=0.5),
    beside("rh_mean", "below", "rh_min", _MEAN, by=0.5),
    Doubt("dew-point-unit", ("dew_point",), _dew_point_unit),
    beside("dew_point", "above", "tmax", "at most tmax, for air can't be so damp", blamed=False),
    beside("dew_point", "above", "tmin", "a dew point near tmin or below", by=_DEW_ABOVE_TMIN, blamed=False),
    Check("dew_point-range", "dew_point", below(STANDARD["dew_point"].lowest), "a dew point in °C"),
    Check("dew_point-range", "dew_point", above(STANDARD["dew_point"].highest), "a dew point in °C", unless=("tmax",)),
    Doubt("vapour-pressure-unit", ("vapour_pressure",), _vapour_pressure_unit),
    Check("saturation", "vapour_pressure", _over_saturation, _DAMP, _EITHER, needs=("tmin", "tmax")),
    Check("vapour_pressure-range", "vapour_pressure", above(_DAMPEST), "0 to 6 kPa", unless=("tmin", "tmax")),
    Check("vapour_pressure-range", "vapour_pressure", _not_above_nothing, "a value above 0"),
    Check("wind-range", "wind", below(0.0), "0 m/s or more"),
    Doubt("wind-unit", ("wind",), _wind_unit),
    Check(
        "wind-range", "wind", above(STANDARD["wind"].highest), "a day's mean of 0 to 40 m/s (is it a gust, or km/h?)"
    ),
    Doubt("pressure-unit", ("pressure",), _pressure_unit),
    Check("pressure-range", "pressure", _far_from_elevation, _of_elevation),
)
