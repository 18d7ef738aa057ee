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

_HUMIDITIES = ("rh_max", "rh_min", "rh_mean")


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
    return inspection.unit_cure(unit, *names) if unit else note("by-ten")


def _temperature_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    guesses = {name: guess for name in names if (guess := _other_scale(name, inspection.known(name)))}
    for scale in dict.fromkeys(guesses.values()):
        *others, top = (name for name in names if guesses.get(name) == scale)
        cold = float(np.median(inspection.known(top))) < STANDARD[top].lowest
        values = {
            "worst": inspection.worst(top, lowest=cold) + (f" ({others[0]} too)" if others else ""),
            "scale": scale,
            "cure": _scale_cure(inspection, scale, *others, top),
        }
        yield Verdict((top, *others), "temperature-unit", values)


def _exchanged(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    if len(names) == 2:
        apart = (inspection.all_of("tmax") - inspection.all_of("tmin"))[inspection.asked]
        wrong, known = int((apart < 0.0).sum()), int((~np.isnan(apart)).sum())
        if wrong > 0.5 * known and wrong > 1:
            yield Verdict(("tmax", "tmin"), "columns-exchanged", {"wrong": wrong, "known": known})


def _humidity_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    highest = max(float(inspection.known(name).max()) for name in names)
    middle = max(float(np.median(inspection.known(name))) for name in names)
    too = f" ({', '.join(names[1:])} too)" if names[1:] else ""
    if 0.0 < highest <= 1.05:
        values = {"highest": highest, "too": too, "cure": inspection.unit_cure("fraction", *names)}
        yield Verdict(names, "humidity-unit/fraction", values)
    elif middle > 105.0 and highest <= 1000.0:
        yield Verdict(names, "humidity-unit/tenths", {"too": too})


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
        yield Verdict(names, "dew-point-unit", {"scale": scale, "cure": _scale_cure(inspection, scale, name)})


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
        most = saturated[inspection.row_of_highest(values)]
        yield Verdict(
            names, "vapour-pressure-unit", {"unit": unit, "most": most, "cure": inspection.unit_cure(unit, name)}
        )


def _wind_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    known = inspection.known("wind")
    middle = float(np.median(known)) * inspection.wind_factor
    many, stated = known.size >= _DAYS_TO_JUDGE, inspection.is_stated("wind")
    if middle > _RUN_OF_WIND:
        yield Verdict(names, "wind-unit/run", {"cure": inspection.unit_cure("km/day", "wind")})
    elif middle > (_WINDY if many and not stated else _STORMY):
        cure = inspection.unit_cure("km/h", "wind", confirm=True)
        yield Verdict(names, "wind-unit", {"middle": middle, "usual": _WINDY, "cure": cure})
    elif many and middle > _BREEZY and not stated:
        inspection.notes.append(note("windy-site", middle=middle, confirm=inspection.confirmation("wind")))


def _by_elevation(inspection: Inspection) -> float:
    return float(air.atmospheric_pressure(inspection.site.elevation))


def _pressure_unit(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    expected = _by_elevation(inspection)
    middle = float(np.median(inspection.known("pressure")))
    values = {"middle": middle, "expected": expected, "elevation": inspection.site.elevation}
    apart = abs(middle - expected)
    near = [unit for unit, size in _PRESSURE_UNITS.items() if abs(middle * size - expected) < _PRESSURE_NEAR]
    if near and apart > _PRESSURE_FAR:
        cure = inspection.unit_cure(near[0], "pressure")
        yield Verdict(names, "pressure-unit", {**values, "unit": near[0], "cure": cure})
    elif apart > _PRESSURE_NEAR:
        sea = note("sea-level") if 98.0 < middle < 105.0 else ""
        yield Verdict(names, "pressure-unit/elevation", {**values, "sea": sea})


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
    Doubt(("tmin", "tmax"), _temperature_unit),
    *(row(name) for name in ("tmin", "tmax") for row in (at_most, at_least)),
    Doubt(("tmin", "tmax"), _exchanged),
    beside("tmax", "below", "tmin"),
    Doubt(_HUMIDITIES, _humidity_unit),
    *(row(name) for name in _HUMIDITIES for row in (at_most, at_least)),
    Check("humidity-zero", "rh_max", _nothing),
    Check("humidity-zero", "rh_mean", _nothing),
    beside("rh_max", "below", "rh_min"),
    # half a per cent: figures are rounded
    beside("rh_mean", "above", "rh_max", by=0.5),
    beside("rh_mean", "below", "rh_min", by=0.5),
    Doubt(("dew_point",), _dew_point_unit),
    beside("dew_point", "above", "tmax", blamed=False),
    beside("dew_point", "above", "tmin", by=_DEW_ABOVE_TMIN, blamed=False),
    at_least("dew_point"),
    at_most("dew_point", unless=("tmax",)),
    Doubt(("vapour_pressure",), _vapour_pressure_unit),
    Check("saturation", "vapour_pressure", _over_saturation, needs=("tmin", "tmax")),
    at_most("vapour_pressure", unless=("tmin", "tmax")),
    Check("vapour_pressure-range/low", "vapour_pressure", _not_above_nothing),
    at_least("wind"),
    Doubt(("wind",), _wind_unit),
    at_most("wind"),
    Doubt(("pressure",), _pressure_unit),
    Check("pressure-range", "pressure", _far_from_elevation, values=lambda i, *_: {"usual": _by_elevation(i)}),
)
