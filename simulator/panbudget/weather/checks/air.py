"""
Checks of the air: temperature, humidity, wind and pressure, and the units that people mistake for ours.

The thresholds are common practice, no source, unless said otherwise: set so that no real season meets them,
and a column in a wrong unit nearly always does.
"""

from __future__ import annotations

import numpy as np

from panbudget.physics.air import Floats, atmospheric_pressure, saturation_vapour_pressure
from panbudget.weather.checks.inspection import Inspection
from panbudget.weather.text.columns import STANDARD

__all__ = ["dew_point", "pressure", "relative_humidity", "temperatures", "vapour_pressure", "wind"]

_HOTTEST = STANDARD["tmax"].highest
_COLDEST = STANDARD["tmax"].lowest
# medians over the days asked for that no place on earth reaches, in °C
_MEDIAN_LIMITS = {"tmax": 50.0, "tmin": 38.0, "dew_point": 33.0}
# how far a day's mean dew point may lie above its minimum temperature (a warm damp day that ends cold) [°C]
_DEW_ABOVE_TMIN = 10.0
# median wind at 2 m beyond which the unit is doubted, and from which it is worth a look [m/s]
_WINDY, _BREEZY = 5.0, 3.5
# how many days it takes to say so
_DAYS_TO_JUDGE = 14


def temperatures(inspection: Inspection) -> None:
    """Check the minimum and maximum temperature: unit, range, order."""
    pair = [name for name in ("tmin", "tmax") if inspection.has(name) and inspection.known(name).size]
    guesses = {name: guess for name in pair if (guess := _other_scale(name, inspection.known(name)))}
    for scale in dict.fromkeys(guesses.values()):
        names = [name for name in pair if guesses.get(name) == scale]
        top = names[-1]
        lowest = float(np.median(inspection.known(top))) < _COLDEST
        cure = _scale_cure(inspection, scale, *names)
        said = "tmin and tmax: " if len(names) > 1 else ""
        inspection.condemn(
            f"{said}{top} reaches {inspection.worst(top, lowest=lowest)}; {_COLDEST:g} to "
            f"{_HOTTEST:g} °C are expected. {_capital(cure)}",
            *names,
        )
    for name in pair:
        if not inspection.has(name):
            continue
        values = inspection.all_of(name)
        why = f"{_COLDEST:g} to {_HOTTEST:g} °C are expected (is the unit °F?): correct it, or leave the cell empty"
        inspection.refuse(name, values > _HOTTEST, why=why)
        inspection.refuse(name, values < _COLDEST, why=why, lowest=True)
    if inspection.has("tmin", "tmax"):
        _order(inspection)


def _other_scale(name: str, values: Floats) -> str:
    """Guess at K, tenths of a degree or °F; nothing where the bulk of the values is ordinary."""
    low, middle, high = float(values.min()), float(np.median(values)), float(values.max())
    if low > 180.0 and high < 340.0:
        return "K"
    if abs(middle) > 135.0 or (middle > _MEDIAN_LIMITS[name] and high > 135.0):
        return "tenths of °C"
    if middle > _MEDIAN_LIMITS[name]:
        return "°F"
    return ""


def _scale_cure(inspection: Inspection, scale: str, *names: str) -> str:
    if scale == "tenths of °C":
        return "it looks like tenths of °C: divide by ten in the file"
    return inspection.name_unit(scale, {"K": "K", "°F": "degF"}[scale], *names)


def _order(inspection: Inspection) -> None:
    tmin, tmax = inspection.all_of("tmin"), inspection.all_of("tmax")
    wrong = tmax < tmin
    here = inspection.asked & ~np.isnan(tmin) & ~np.isnan(tmax)
    if here.any() and (wrong & here).sum() > 0.5 * here.sum() and (wrong & here).sum() > 1:
        inspection.condemn(
            f"tmax lies below tmin on {int((wrong & here).sum())} of {int(here.sum())} days; "
            "the two columns look exchanged: exchange their names",
            "tmax",
            "tmin",
        )
        return
    why = "it lies below that day's tmin, and at least tmin is expected: correct one of the two"
    inspection.refuse("tmax", wrong, why=why, lowest=True, also=("tmin",))


def relative_humidity(inspection: Inspection) -> None:
    """Check relative humidity: a fraction, tenths, range, order."""
    names = [name for name in ("rh_max", "rh_min", "rh_mean") if inspection.has(name) and inspection.known(name).size]
    if not names:
        return
    highest = max(float(inspection.known(name).max()) for name in names)
    middle = max(float(np.median(inspection.known(name))) for name in names)
    if 0.0 < highest <= 1.05:
        cure = inspection.name_unit("a fraction", "fraction", *names)
        inspection.condemn(
            f"{', '.join(names)}: at most {highest:.2f} %; 0 to 100 % are expected, and no "
            "place is that dry. "
            f"{_capital(cure)}",
            *names,
        )
        return
    if middle > 105.0 and highest <= 1000.0:
        inspection.condemn(
            f"{', '.join(names)}: {names[0]} reaches {inspection.worst(names[0])}; 0 to 100 % are expected. "
            "It looks like tenths of %: divide by ten in the file",
            *names,
        )
        return
    for name in names:
        values = inspection.all_of(name)
        why = "0 to 100 % are expected: correct it (a sensor that reads a little over: write 100), or leave it empty"
        inspection.refuse(name, values > 100.0, why=why)
        inspection.refuse(name, values < 0.0, why="0 to 100 % are expected: correct it, or leave it empty", lowest=True)
        if name != "rh_min":
            why = "air is never without moisture, so this looks like a dead sensor: leave the cell empty"
            inspection.refuse(name, values == 0.0, why=why)
    if inspection.has("rh_max", "rh_min"):
        wrong = inspection.all_of("rh_max") < inspection.all_of("rh_min")
        why = "it lies below that day's rh_min, and at least rh_min is expected: correct one of the two"
        inspection.refuse("rh_max", wrong, why=why, lowest=True, also=("rh_min",))
    for other, above in (("rh_max", True), ("rh_min", False)):
        if inspection.has("rh_mean", other):
            mean, bound = inspection.all_of("rh_mean"), inspection.all_of(other)
            wrong = mean > bound + 0.5 if above else mean < bound - 0.5  # half a per cent: figures are rounded
            where = "above" if above else "below"
            why = f"it lies {where} that day's {other}, and a mean between the two is expected: correct one of them"
            inspection.refuse("rh_mean", wrong, why=why, lowest=not above, also=(other,))


def dew_point(inspection: Inspection) -> None:
    """Check the dew point against the day's temperatures."""
    if not inspection.has("dew_point") or not inspection.known("dew_point").size:
        return
    values = inspection.all_of("dew_point")
    scale = _other_scale("dew_point", inspection.known("dew_point"))
    if not scale and inspection.has("tmax"):
        tmax = inspection.all_of("tmax")
        here = inspection.asked & ~np.isnan(values) & ~np.isnan(tmax)
        as_celsius = (values - 32.0) / 1.8
        if here.any() and (values > tmax)[here].mean() > 0.5 and (as_celsius <= tmax + 0.5)[here].all():
            scale = "°F"
    if scale:
        cure = _scale_cure(inspection, scale, "dew_point")
        inspection.condemn(
            f"dew_point reaches {inspection.worst('dew_point')}; a dew point in °C below that "
            "day's tmax is expected. "
            f"{_capital(cure)}",
            "dew_point",
        )
        return
    if inspection.has("tmax"):
        wrong = values > inspection.all_of("tmax")
        why = "it lies above that day's tmax, and air can't be so damp: correct one of the two"
        inspection.refuse("dew_point", wrong, why=why)
        values = np.where(wrong, np.nan, values)
    if inspection.has("tmin"):
        wrong = values > inspection.all_of("tmin") + _DEW_ABOVE_TMIN
        why = (
            f"it lies more than {_DEW_ABOVE_TMIN:g} °C above that day's tmin, and near tmin "
            "or below is expected: "
            "correct one of the two"
        )
        inspection.refuse("dew_point", wrong, why=why)
    values = inspection.all_of("dew_point")
    why = "a dew point in °C is expected: correct it, or leave the cell empty"
    inspection.refuse("dew_point", values < STANDARD["dew_point"].lowest, why=why, lowest=True)
    if not inspection.has("tmax"):
        inspection.refuse("dew_point", values > STANDARD["dew_point"].highest, why=why)


def vapour_pressure(inspection: Inspection) -> None:
    """Check the vapour pressure against saturation."""
    name = "vapour_pressure"
    if not inspection.has(name) or not inspection.known(name).size:
        return
    values = inspection.all_of(name)
    if inspection.has("tmin", "tmax"):
        saturated = saturation_vapour_pressure(inspection.all_of("tmax"))
        ratio = (values / saturated)[inspection.asked]
        ratio = ratio[~np.isnan(ratio)]
        middle = float(np.median(ratio)) if ratio.size else 0.0
        if middle > 1.5:
            unit = "hPa" if middle < 15.0 else "Pa"
            cure = inspection.name_unit(unit, unit, name)
            inspection.condemn(
                f"vapour_pressure reaches {inspection.worst(name)}; air at that day's tmax holds "
                f"{_at_worst(inspection, name, saturated):.1f} kPa at most. {_capital(cure)}",
                name,
            )
            return
        why = "that is more than air holds at that day's tmax: correct one of the two"
        inspection.refuse(name, values > saturated * 1.001, why=why)  # a thousandth: printed digits
    else:
        inspection.refuse(name, values > STANDARD[name].highest, why="0 to 6 kPa are expected: correct it")
    why = "a value above 0 is expected: correct it, or leave the cell empty"
    inspection.refuse(name, values <= 0.0, why=why, lowest=True)


def _at_worst(inspection: Inspection, name: str, other: Floats) -> float:
    return float(other[int(np.nanargmax(np.where(inspection.asked, inspection.all_of(name), np.nan)))])


def wind(inspection: Inspection, *, factor: float) -> None:
    """Check the wind; ``factor`` brings it to 2 m."""
    if not inspection.has("wind"):
        return
    values = inspection.all_of("wind")
    known = inspection.known("wind")
    inspection.refuse("wind", values < 0.0, why="0 m/s or more is expected: correct it, or leave it empty", lowest=True)
    if not known.size:
        return
    middle = float(np.median(known)) * factor
    if middle > 50.0:
        cure = inspection.name_unit("a day's run of wind in km", "km/day", "wind")
        inspection.condemn(f"wind reaches {inspection.worst('wind')}; 0 to 10 m/s are usual. {_capital(cure)}", "wind")
        return
    many = known.size >= _DAYS_TO_JUDGE
    if middle > (_WINDY if many else 3.0 * _WINDY) and (not inspection.is_stated("wind") or middle > 15.0):
        cure = inspection.name_unit("km/h (or knots or mph)", "km/h", "wind")
        if not inspection.is_stated("wind"):
            cure += f"; if it is in m/s after all, say so: {inspection.confirm('wind')}"
        inspection.condemn(
            f"wind reaches {inspection.worst('wind')} and is {middle:.1f} m/s at 2 m on a middling day; "
            f"1 to {_WINDY:g} m/s are usual. {_capital(cure)}",
            "wind",
        )
        return
    if many and middle > _BREEZY and not inspection.is_stated("wind"):
        inspection.notes.append(
            f"wind is {middle:.1f} m/s at 2 m on a middling day, which is a windy site: check "
            "that it is not in km/h, "
            f"mph or knots, and state its unit: {inspection.confirm('wind')}"
        )
    why = "a day's mean of 0 to 40 m/s is expected (a gust? km/h?): correct it, or leave the cell empty"
    inspection.refuse("wind", values > STANDARD["wind"].highest, why=why)


def pressure(inspection: Inspection, *, elevation: float) -> None:
    """Check the air pressure against what the site's elevation gives."""
    name = "pressure"
    if not inspection.has(name) or not inspection.known(name).size:
        return
    expected = float(atmospheric_pressure(elevation))
    middle = float(np.median(inspection.known(name)))
    found = f"pressure is {middle:.1f} kPa on a middling day; {expected:.1f} kPa is expected at {elevation:g} m"
    # unit -> kPa in one; nearest to what is expected, within what weather and a coarse elevation allow
    units = {"hPa": 0.1, "Pa": 0.001, "mmHg": 0.133322, "inHg": 3.38639, "bar": 100.0, "atm": 101.325}
    for unit, size in units.items():
        if abs(middle * size - expected) < 4.0 and abs(middle - expected) > 20.0:
            inspection.condemn(f"{found}. {_capital(inspection.name_unit(unit, unit, name))}", name)
            return
    if abs(middle - expected) > 4.0:
        cure = "correct the site's elevation or the column, or delete the column (pressure then follows elevation)"
        if 98.0 < middle < 105.0:
            cure = f"it looks like pressure brought down to sea level: {cure}"
        inspection.condemn(f"{found}. {_capital(cure)}", name)
        return
    values = inspection.all_of(name)
    why = f"about {expected:.0f} kPa is expected: correct it, or leave the cell empty"
    inspection.refuse(name, np.abs(values - expected) > 12.0, why=why)


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
