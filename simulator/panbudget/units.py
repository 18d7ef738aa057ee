"""
Units: text with a unit on the outside, bare floats in engine units on the inside; turned here and nowhere else.

Engine units: mm for depths of water, m and m² for the ground, kg, h, kPa, L/h, °C, MJ m⁻² d⁻¹. The registry
(pint) is one and shared, and imported only when the first quantity is read.
"""

import contextlib
import functools
import math
import re
from dataclasses import replace
from typing import Any

from panbudget.errors import Problem
from panbudget.words import TABLES as _TABLES

#: kind of quantity -> [engine unit, what to call it, an example to show]
KINDS: dict[str, list[str]] = _TABLES["kinds"]
_NUMBER = re.compile(r"^\s*([-+]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][-+]?[0-9]+)?)\s*(.*?)\s*$")
# thousands are parted by one mark, and what is behind the other is decimal
_THOUSANDS = re.compile(
    r"^\s*([-+]?[0-9]{1,3}(?:([.,])[0-9]{3})(?:\2[0-9]{3})*)((?!\2)[.,][0-9]+)?(?![0-9.,])\s*(.*?)\s*$"
)
# the unit library evaluates what it is given: only names with powers from -4 to 4, times or over each other, reach it
_TERM = r"°?[^\W\d]\w*(?:\s*(?:\^|\*\*)\s*[-+]?[0-4](?![\w.]))?[²³]?"
_TERMS = rf"{_TERM}(?:(?:\s*[*/·⋅]\s*|\s+){_TERM})*"
_UNIT = re.compile(rf"{_TERMS}(?:\s*/\s*\(\s*{_TERMS}\s*\))?")
_LONGEST_UNIT = 40
_DOUBTFUL = frozenset(_TABLES["doubtful"].split())
_PREFIXED = frozenset(_TABLES["prefixed"].split())
_MEGA = re.compile(r"\bM[lL]\b")
#: what to do where millions of litres can't be meant
MEGALITRES = "ML is a million litres: write mL for thousandths of a litre"
_DAILY_SUM = "MJ/m^2/day"


class UnitError(ValueError):
    """
    A text that is not the quantity expected.

    Parameters
    ----------
    problem : Problem
        What it is (a predicate, whose subject is the text) and what was wanted; where it stands, the caller knows.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem, self.problems = problem, (problem,)
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
    ureg.define("flux_of_a_day = 86400 * millimeter")
    ureg.define("hundred_cubic_feet = 100 * foot**3")
    return ureg


def _unit(text: str) -> Any:
    """Return the unit of that text; anything else, down to what pint's tokenizer can't read, is a ValueError."""
    if len(text) > _LONGEST_UNIT or not _UNIT.fullmatch(text):
        raise ValueError(text)
    try:
        for name in re.findall(r"[^\W\d_]\w*", text):
            ways = registry().parse_unit_name(name)
            if name in _DOUBTFUL or (
                ways and all(prefix and not {base, prefix + base} & _PREFIXED for prefix, base, _ in ways)
            ):
                raise ValueError(text)  # a slip of the pen: "dd" would be a tenth of a day, "cft" a hundredth of a foot
        return registry().Unit(text)
    except Exception as error:  # pint raises many kinds
        raise ValueError(text) from error


@functools.lru_cache(maxsize=1024)
def _conversion(text: str, target: str) -> tuple[float, float]:
    """
    Factor and offset from the unit of that text to another of its dimension.

    Raises
    ------
    ValueError
        No unit; a TypeError with the dimension's name where it is another's.
    """
    if (factor := _TABLES["factors"].get(text, {}).get(target)) is not None:
        return factor, 0.0
    unit, wanted = _unit(text), registry().Unit(target)
    # a daily mean flux is a sum through the seconds of a day; joules in a column of days are the day's
    if target == _DAILY_SUM and unit.dimensionality == registry().Unit("J/m^2").dimensionality:
        unit = unit / registry().Unit("day")
    if unit.dimensionality != wanted.dimensionality:
        dimension = str(unit.dimensionality)
        raise TypeError(_TABLES["dimensions"].get(dimension, "of another kind"))
    # read off at two points, so that °F and °C need no special case
    zero, unity, hundred = (float(registry().Quantity(v, unit).to(wanted).magnitude) for v in (0.0, 1.0, 100.0))
    return (unity, 0.0) if zero == 0.0 else ((hundred - zero) / 100.0, zero)


def _in_unit(text: str, target: str, expected: str, *, subject: str = "", unknown: str) -> tuple[float, float]:
    """As `_conversion`, with its errors as people's; ``subject`` opens the message."""
    try:
        return _conversion(text, target)
    except TypeError as error:
        raise UnitError(Problem("wrong-unit", "", f"{subject}is {error}", expected)) from error
    except ValueError as error:
        raise UnitError(Problem("unknown-unit", "", unknown, expected)) from error


def _as_written(written: str, unit: str, kind: str) -> str:
    """Say how a quantity may be meant whose unit is unknown: a word in other letters, or as people write it; nothing for none."""
    words = [*_TABLES["factors"], *" ".join(_TABLES["systems"].values()).split()]
    known = {word.lower(): word for word in sorted(words, key=str.islower)}
    small = re.sub(r"[A-Za-z]+", lambda word: known.get(word[0].lower(), word[0].lower()), unit.replace(".", ""))
    for guess in (_TABLES["spellings"].get(re.sub(r"[\s.-]", "", unit).lower(), unit), small):
        with contextlib.suppress(UnitError):
            if guess != unit and len(unit) <= _LONGEST_UNIT:
                quantity(f"{written} {guess}", kind)
                return f'write "{written} {guess}"'
    return ""


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
    match = _NUMBER.match(text) if isinstance(text, str) else None
    if match is None:
        found = "does not begin with a number" if isinstance(text, str) else "is not text with a unit"
        raise UnitError(Problem("no-quantity", "", found, expected))
    written, unit = match.groups()
    parts = _THOUSANDS.match(str(text))
    if parts and (parts[3] or parts[1].count(parts[2]) > 1):
        whole = f"{parts[1].replace(parts[2], '')}{(parts[3] or '').replace(',', '.')} {parts[4]}".strip()
        raise UnitError(Problem("thousands", "", "has thousands marks", cure=f'write "{whole}" instead'))
    if re.search(r",\d{3}(\D|$)", written):
        found = "has a comma that may be a decimal or a thousands mark"
        ways = (f'"{written.replace(",", mark)} {unit}"' for mark in ("", "."))
        raise UnitError(Problem("unsure-comma", "", found, cure=f"write {' or '.join(ways)} instead"))
    number = float(written.replace(",", "."))
    if not math.isfinite(number):
        raise UnitError(Problem("too-large", "", "is too large a number", expected))
    if not unit:
        raise UnitError(Problem("no-unit", "", "has no unit", expected))
    named = _TABLES["differences"].get(unit.lower(), unit) if "difference" in kind else unit
    spoken, named = _TABLES["spoken"], " ".join(named.split())
    named = spoken.get(named, spoken.get(named.lower(), named))
    try:
        factor, offset = _in_unit(named, target, expected, unknown=f"has an unknown unit {unit!r}")
    except UnitError as error:
        raise UnitError(replace(error.problem, cure=_as_written(written, unit, kind))) from error
    value = number * factor + offset
    if abs(value) > (most := _TABLES["most"][kind]):
        larger, cure = f"{name} of at most {most:g} {target}", MEGALITRES if _MEGA.search(unit) else ""
        raise UnitError(Problem("too-large", "", "is beyond any garden", larger, cure))
    if 0.0 < abs(value) < (least := _TABLES["least"][kind]):
        found = "is smaller than anything in a garden"
        raise UnitError(Problem("too-small", "", found, f"{name} of at least {least:g} {target}"))
    return value


def system_of(text: str) -> str:
    """
    Say of which system of units a quantity is, as text: "metric", "US", or "" of both or none.

    Examples
    --------
    >>> system_of("18 in"), system_of("2 L/h"), system_of("90 min"), system_of("A bed 2 ft wide"), system_of("100 ft of water")
    ('US', 'metric', '', '', 'US')
    """
    match = _NUMBER.match(text)
    words = set(re.findall("°?[A-Za-z]+", match[2])) if match else set[str]()
    names = {system: set(units.split()) for system, units in _TABLES["systems"].items()}
    return next((s for s in ("US", "metric") if words & names[s] and words <= names[s] | names["both"]), "")


def column_conversion(unit: str, target: str) -> tuple[float, float]:
    """
    Return factor and offset that turn a weather column's unit into the standard one.

    Parameters
    ----------
    unit : str
        The column's unit, such as "degF", "km/h", "W/m^2" or "hPa". Percent is "%" or "percent".
        A daily mean flux in W/m² counts as MJ m⁻² d⁻¹, and in kg m⁻² s⁻¹ as mm, through 86 400 s a day; a column of
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
    text, percent = unit.strip(), _TABLES["percent"]
    if target == "%":
        if text.lower() in percent:
            return float(percent[text.lower()]), 0.0
        found = f'"{unit}" is not a unit of relative humidity'
        raise UnitError(Problem("wrong-unit", "", found, cure='write "%" or "fraction"'))
    text = _TABLES["columns"].get(text.lower(), text)
    text = text.replace("d-1", "day**-1").replace("m-2", "m**-2").replace("s-1", "s**-1")
    expected = f'a unit such as "{target}"'
    return _in_unit(text, target, expected, subject=f'"{unit}" ', unknown=f'"{unit}" is an unknown unit')
