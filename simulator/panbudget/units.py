"""
Units: text with a unit on the outside, bare floats in engine units on the inside; turned here and nowhere else.

Engine units: mm for depths of water, m and m² for the ground, kg, h, kPa, L/h, °C, MJ m⁻² d⁻¹. The registry
(pint) is one and shared, and imported only when the first quantity is read.
"""

from __future__ import annotations

import functools
import math
import re
from typing import Any

from panbudget.errors import Problem

#: kind of quantity -> (engine unit, what to call it, an example to show)
KINDS: dict[str, tuple[str, str, str]] = {
    "length": ("m", "a length", '"50 cm" or "18 in"'),
    "depth": ("mm", "a depth", '"20 mm" or "0.8 in"'),
    "area": ("m**2", "an area", '"12 m^2" or "130 ft^2"'),
    "mass": ("kg", "a weight", '"900 g" or "2 lb"'),
    "volume": ("L", "a volume", '"500 L" or "1 m^3"'),
    "flow": ("L/h", "a flow", '"2 L/h" or "0.5 gal/h"'),
    "pressure": ("kPa", "a pressure", '"100 kPa", "1 bar" or "10 mH2O"'),
    "time": ("h", "a time", '"90 min" or "2 h"'),
    "conductivity": ("dS/m", "an electrical conductivity", '"1.2 dS/m"'),
    "speed": ("m/s", "a speed", '"4 m/s" or "15 km/h"'),
    "temperature": ("degC", "a temperature", '"35 degC" or "95 degF"'),
    "temperature difference": ("delta_degC", "a difference of temperature", '"+5 K" or "9 degF"'),
}

_DIMENSION_NAMES = {
    "[length]": "a length",
    "[length] ** 2": "an area",
    "[length] ** 3": "a volume",
    "[mass]": "a weight",
    "[length] ** 3 / [time]": "a flow",
    "[mass] / [length] / [time] ** 2": "a pressure",
    "[time]": "a time",
    "[current] ** 2 * [time] ** 3 / [length] ** 3 / [mass]": "an electrical conductivity",
    "[temperature]": "a temperature",
    "[length] / [time]": "a speed",
    "[mass] / [time]": "a flow of weight",
    "dimensionless": "a number without a unit",
}

# pint's own superscripts cover these; the hyphenated and spoken forms below are how packets print them.
_SPOKEN = {
    "gph": "gallon/hour",
    "gpm": "gallon/minute",
    "lph": "liter/hour",
    "l/h": "liter/hour",
    "l/min": "liter/minute",
    "mh2o": "meter_H2O",
    "m h2o": "meter_H2O",
    "m of water": "meter_H2O",
    "ft of water": "foot_H2O",
    "sq m": "meter**2",
    "sq ft": "foot**2",
    "m3": "meter**3",
    "m3/h": "meter**3/hour",
    "us gal": "gallon",
    "cfs": "foot**3/second",
    "ccf": "hundred_cubic_feet",
    "hundred cubic feet": "hundred_cubic_feet",
    "acre": "new_acre",
    "acres": "new_acre",
    "acre-foot": "new_acre*foot",
    "acre-feet": "new_acre*foot",
    "acre_foot": "new_acre*foot",
    "acre-ft": "new_acre*foot",
    "acre-inch": "new_acre*inch",
    "acre-inches": "new_acre*inch",
}

# "5 °C warmer" is a difference, whatever a thermometer's zero
_DEGREES = {
    **dict.fromkeys(("k", "c", "°c", "degc", "celsius"), "delta_degC"),
    **dict.fromkeys(("f", "°f", "degf", "fahrenheit"), "delta_degF"),
}

# how headers of columns write units
_IN_COLUMNS = {
    **{"°c": "degC", "°f": "degF", "c": "degC", "f": "degF", "celsius": "degC", "fahrenheit": "degF"},
    **{"mph": "mile/hour", "kmh": "km/hour", "kph": "km/hour", "knots": "knot", "kt": "knot"},
    **dict.fromkeys(("inch", "in", "inches"), "inch"),
}

_NUMBER = re.compile(r"^\s*([-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")


class UnitError(ValueError):
    """
    A text that is not the quantity expected.

    Parameters
    ----------
    problem : Problem
        What it is (a predicate, whose subject is the text) and what was wanted; where it stands, the caller knows.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(problem.sentence())


@functools.cache
def registry() -> Any:
    """Return the one shared pint registry."""
    import pint

    ureg: Any = pint.UnitRegistry(cache_folder=None)
    # density 1.000 kg/L, as the engine takes it (model: units inside the engine)
    ureg.define("meter_H2O = 9.80665 * kilopascal = mH2O")
    # by the foot of 0.3048 m; pint's own acre is by the US survey foot, retired in 2022 (statement/units_of_form)
    ureg.define("new_acre = 43560 * foot**2")
    ureg.define("hundred_cubic_feet = 100 * foot**3")
    return ureg


def _unit(text: str) -> Any:
    text = _SPOKEN.get(" ".join(text.lower().split()), text)
    return registry().Unit(text)


def _dimension_name(unit: Any) -> str:
    name = str(unit.dimensionality)
    return _DIMENSION_NAMES.get(name, f"a quantity of {name}")


def quantity(text: object, kind: str) -> float:
    """
    Read a text such as "2 L/h" into the engine's unit of its kind.

    Parameters
    ----------
    text : str
        Number and unit; decimal point or decimal comma, any unit of the right dimension.
    kind : str
        A key of `KINDS`.

    Returns
    -------
    float
        The value in the kind's engine unit. [see `KINDS`]

    Raises
    ------
    UnitError
        Not text, no number, no unit, an unknown unit or one of another dimension.

    Examples
    --------
    >>> quantity("18 in", "length")
    0.4572
    >>> quantity("900 g", "mass")
    0.9
    """
    target, name, example = KINDS[kind]
    expected = f"{name}, such as {example}"
    if isinstance(text, int | float) and not isinstance(text, bool):
        raise UnitError(Problem("no-unit", "", "has no unit", f"{name} as text with its unit, such as {example}"))
    if not isinstance(text, str):
        raise UnitError(Problem("no-quantity", "", "is not text with a unit", expected))
    match = _NUMBER.match(text)
    if match is None:
        raise UnitError(Problem("no-quantity", "", "does not begin with a number", expected))
    if re.search(r",\d{3}(\D|$)", match.group(1)):
        found = "has a comma that may be a decimal or a thousands mark"
        raise UnitError(Problem("unsure-comma", "", found, cure='write "1.2" or "1200" instead'))
    number = float(match.group(1).replace(",", "."))
    if not math.isfinite(number):
        raise UnitError(Problem("too-large", "", "is too large a number", expected))
    if not match.group(2):
        raise UnitError(Problem("no-unit", "", "has no unit", expected))
    try:
        unit = _unit(_DEGREES.get(match.group(2).lower(), match.group(2)) if "difference" in kind else match.group(2))
    except Exception as error:  # pint raises many kinds, down to tokenizer errors, for a text it can't read
        found = f"has an unknown unit {match.group(2)!r}"
        raise UnitError(Problem("unknown-unit", "", found, expected)) from error
    if unit.dimensionality != registry().Unit(target).dimensionality:
        raise UnitError(Problem("wrong-unit", "", f"is {_dimension_name(unit)}", expected))
    factor, offset = _linear(unit, target)
    return number * factor + offset


def column_conversion(unit: str, target: str) -> tuple[float, float]:
    """
    Return factor and offset that turn a weather column's unit into the standard one.

    Parameters
    ----------
    unit : str
        The column's unit, such as "degF", "km/h", "W/m^2" or "hPa". Percent is "%" or "percent".
        A daily mean flux in W/m² counts as MJ m⁻² d⁻¹ through 86 400 s a day; a column of
        joules per square metre is taken as the day's sum.
    target : str
        The standard unit: "degC", "%", "kPa", "m/s", "mm", "MJ/m^2/day" or "h".

    Returns
    -------
    (float, float)
        value_in_target = value · factor + offset

    Raises
    ------
    UnitError
        Unknown unit or wrong dimension.

    Examples
    --------
    >>> factor, offset = column_conversion("degF", "degC")
    >>> round(212 * factor + offset, 9)
    100.0
    """
    text = unit.strip()
    percent = {"%": 1.0, "percent": 1.0, "fraction": 100.0, "1": 100.0}
    if target == "%":
        if text.lower() in percent:
            return percent[text.lower()], 0.0
        found = f'"{unit}" is not a unit of relative humidity'
        raise UnitError(Problem("wrong-unit", "", found, cure='write "%" or "fraction"'))
    text = _IN_COLUMNS.get(text.lower(), text)
    text = text.replace("d-1", "day**-1").replace("m-2", "m**-2").replace("s-1", "s**-1")
    expected = f'a unit such as "{target}"'
    try:
        source = registry().Unit(text)
    except Exception as error:  # see `quantity`
        raise UnitError(Problem("unknown-unit", "", f'"{unit}" is an unknown unit', expected)) from error
    if target == "MJ/m^2/day" and source.dimensionality == registry().Unit("J/m^2").dimensionality:
        source = source / registry().Unit("day")
    if source.dimensionality != registry().Unit(target).dimensionality:
        raise UnitError(Problem("wrong-unit", "", f'"{unit}" is {_dimension_name(source)}', expected))
    return _linear(source, target)


def _linear(unit: Any, target: str) -> tuple[float, float]:
    """Factor and offset of a conversion, read off at two points so that °F and °C need no special case."""
    make = registry().Quantity
    zero = float(make(0.0, unit).to(target).magnitude)
    one = float(make(1.0, unit).to(target).magnitude)
    if zero == 0.0:
        return one, 0.0
    hundred = float(make(100.0, unit).to(target).magnitude)
    return (hundred - zero) / 100.0, zero
