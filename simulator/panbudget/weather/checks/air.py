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
from panbudget.weather.checks.inspection import Check, Doubt, Inspection, Verdict, at_least, at_most, beside
from panbudget.weather.messages import note
from panbudget.weather.text.columns import STANDARD

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

# what temperatures are taken for -> the unit to name
_SCALES = {"K": "K", "°F": "degF"}
_HUMIDITIES = ("rh_max", "rh_min", "rh_mean")


def _other_scale(name: str, values: Floats) -> str:
    """Guess at K, tenths of a degree or °F; nothing where the bulk of the values is ordinary."""
    low, middle, high = float(values.min()), float(np.median(values)), float(values.max())
    if low > 180.0 and high < 340.0:
        return "K"
    if abs(middle) > 135.0 or (middle > _MEDIAN_LIMITS[name] and high > 135.0):
        return "tenths of °C"
    return "°F" if middle > _MEDIAN_LIMITS[name] else ""


def _temperature_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    guesses = {name: guess for name in names if (guess := _other_scale(name, inspection.known(name)))}
    for scale in dict.fromkeys(guesses.values()):
        *others, top = (name for name in names if guesses.get(name) == scale)
        cold = float(np.median(inspection.known(top))) < STANDARD[top].lowest
        worst = inspection.worst(top, lowest=cold) + (f" ({others[0]} too)" if others else "")
        yield (top, *others), "temperature-unit", {"worst": worst, "scale": scale, "unit": _SCALES.get(scale)}


def _exchanged(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    if len(names) == 2:
        apart = (inspection.all_of("tmax") - inspection.all_of("tmin"))[inspection.asked]
        wrong, known = int((apart < 0.0).sum()), int((~np.isnan(apart)).sum())
        if wrong > 0.5 * known and wrong > 1:
            yield ("tmax", "tmin"), "columns-exchanged", {"wrong": wrong, "known": known}


def _humidity_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    highest = max(float(inspection.known(name).max()) for name in names)
    middle = max(float(np.median(inspection.known(name))) for name in names)
    too = f" ({', '.join(names[1:])} too)" if names[1:] else ""
    if 0.0 < highest <= 1.05:
        yield names, "humidity-unit/fraction", {"highest": highest, "too": too, "unit": "fraction"}
    elif middle > 105.0 and highest <= 1000.0:
        yield names, "humidity-unit/tenths", {"too": too}


def _dew_point_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    values, scale = inspection.all_of("dew_point"), _other_scale("dew_point", inspection.known("dew_point"))
    if not scale and inspection.has("tmax"):
        tmax = inspection.all_of("tmax")
        here = inspection.asked & ~np.isnan(values) & ~np.isnan(tmax)
        as_celsius = (values - 32.0) / 1.8
        if here.any() and (values > tmax)[here].mean() > 0.5 and (as_celsius <= tmax + 0.5)[here].all():
            scale = "°F"
    if scale:
        yield names, "dew-point-unit", {"scale": scale, "unit": _SCALES.get(scale)}


def _saturation(inspection: Inspection) -> Floats:
    return air.saturation_vapour_pressure(inspection.all_of("tmax"))


def _vapour_pressure_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    if not inspection.has("tmin", "tmax"):
        return
    values, saturated = inspection.all_of("vapour_pressure"), _saturation(inspection)
    ratio = (values / saturated)[inspection.asked]
    ratio = ratio[~np.isnan(ratio)]
    middle = float(np.median(ratio)) if ratio.size else 0.0
    if middle > 1.5:
        most = saturated[inspection.row_of_highest(values)]
        yield names, "vapour-pressure-unit", {"unit": "hPa" if middle < 15.0 else "Pa", "most": most}


def _wind_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known = inspection.known("wind")
    middle = float(np.median(known)) * inspection.wind_factor
    unsure = known.size >= _DAYS_TO_JUDGE and not inspection.is_stated("wind")
    if middle > _RUN_OF_WIND:
        yield names, "wind-unit/run", {"unit": "km/day"}
    elif middle > (_WINDY if unsure else _STORMY):
        yield names, "wind-unit", {"middle": middle, "usual": _WINDY, "unit": "km/h"}
    elif unsure and middle > _BREEZY:
        inspection.notes.append(note("windy-site", middle=middle, **inspection.words("wind")))


def _by_elevation(inspection: Inspection) -> float:
    return float(air.atmospheric_pressure(inspection.site.elevation))


def _pressure_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    usual, middle = _by_elevation(inspection), float(np.median(inspection.known("pressure")))
    apart = abs(middle - usual)
    units = [unit for unit, size in _PRESSURE_UNITS.items() if abs(middle * size - usual) < _PRESSURE_NEAR]
    values = {"middle": middle, "usual": usual, "elevation": inspection.site.elevation}
    if units and apart > _PRESSURE_FAR:
        yield names, "pressure-unit", {**values, "unit": units[0]}
    elif apart > _PRESSURE_NEAR:
        sea = note("sea-level") if 98.0 < middle < 105.0 else ""
        yield names, "pressure-unit/elevation", {**values, "sea": sea}


def _nothing(values: Floats, inspection: Inspection) -> Floats:
    return np.asarray(values == 0.0, dtype=np.float64)


def _not_above_nothing(values: Floats, inspection: Inspection) -> Floats:
    return np.where(values <= 0.0, 1.0 - values, 0.0)


def _over_saturation(values: Floats, inspection: Inspection) -> Floats:
    return values - _saturation(inspection) * 1.001  # a thousandth: printed digits


def _far_from_elevation(values: Floats, inspection: Inspection) -> Floats:
    return np.abs(values - _by_elevation(inspection)) - _PRESSURE_DAY


#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Check | Doubt, ...] = (
    Doubt(_temperature_unit, ("tmin", "tmax")),
    *(row(name) for name in ("tmin", "tmax") for row in (at_most, at_least)),
    Doubt(_exchanged, ("tmin", "tmax")),
    beside("tmax", "below", "tmin"),
    Doubt(_humidity_unit, _HUMIDITIES),
    *(row(name) for name in _HUMIDITIES for row in (at_most, at_least)),
    Check("humidity-zero", "rh_max", _nothing),
    Check("humidity-zero", "rh_mean", _nothing),
    beside("rh_max", "below", "rh_min"),
    # half a per cent: figures are rounded
    beside("rh_mean", "above", "rh_max", by=0.5),
    beside("rh_mean", "below", "rh_min", by=0.5),
    Doubt(_dew_point_unit, ("dew_point",)),
    beside("dew_point", "above", "tmax", blamed=False),
    beside("dew_point", "above", "tmin", by=_DEW_ABOVE_TMIN, blamed=False),
    at_least("dew_point"),
    at_most("dew_point", unless=("tmax",)),
    Doubt(_vapour_pressure_unit, ("vapour_pressure",)),
    Check("saturation", "vapour_pressure", _over_saturation, needs=("tmin", "tmax")),
    at_most("vapour_pressure", unless=("tmin", "tmax")),
    Check("vapour_pressure-range/low", "vapour_pressure", _not_above_nothing),
    at_least("wind"),
    Doubt(_wind_unit, ("wind",)),
    at_most("wind"),
    Doubt(_pressure_unit, ("pressure",)),
    Check(
        "pressure-range", "pressure", _far_from_elevation, lambda inspection, *_: {"usual": _by_elevation(inspection)}
    ),
)
