"""
Heading: the words of one header, in English and in small letters, and the unit in or behind them (``heading.toml``).
"""

from __future__ import annotations

import contextlib
import difflib
import functools
import html
import re
import unicodedata
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from panbudget.errors import CONTROLS
from panbudget.numeric import Floats
from panbudget.units import UnitError, column_conversion
from panbudget.weather.text.columns import STANDARD, number
from panbudget.words import packaged

_DATA = packaged("weather/text/heading.toml")
BEAUFORT = "Bft"
#: units of sunshine as a share of the daylight -> what one of them is [-]
SHARES = {"%": 0.01, "fraction": 1.0}
_UNITS = {word: unit for unit, words in _DATA["units"].items() for word in words}
# units in words, the last first said of an area
_SPOKEN = [(re.compile(words), short) for short, words in _DATA["spoken"].items()]
# words that one may have: "watts per square metre"
_LONGEST_UNIT = 5
_GLUED = re.compile(_DATA["glued"])
_BEFORE_KIND = re.compile(
    r"(?i)(.+)_(km/?h|kph|mph|ms(?:-1)?|m/?s|mps|degc|degf|pct|mm|w/?m-?2)_(avg|mean|max|min|tot|total|sum|smp)"
)
_ENGLISH = [(re.compile(rf"\b(?:{'|'.join(words)})"), english) for english, words in _DATA["english"].items()]
# small letters of other alphabets -> Latin ones
_PLAIN_LETTERS = str.maketrans(_DATA["letters"])
_SIGN = {unicodedata.normalize("NFKC", sign): english for sign, english in _DATA["signs"].items()}
_SIGNS = re.compile("|".join(sorted(_SIGN, key=len, reverse=True)))
_DEGREE = str.maketrans({"º": "°", "ᵒ": "°", "˚": "°", "\ufffd": "°", "“": '"', "”": '"', "÷": "/"})
# of a length, and without a way back: rows of blanks or of opening brackets would take minutes
_BRACKETS = re.compile(r"[\[({]([^\])}]{0,300}+)[\])}]")
_LAST_BRACKETS = re.compile(r"[\[(][^\])]{0,300}+[\])]$")
_TENTHS = re.compile(r"^(0[.,]1|1/10)(?=[^\W\d]|[°%])")
_UNIT_TWICE = re.compile(r"\b(celsius|fahrenheit) ?\b")  # "Min Celsius (°C)"
_RUN = re.compile(r"\brun\W+(km|kilomet\w+|mi|miles)\b\W*$")
#: a mass of water in a volume of air, which is no relative humidity
ABSOLUTE = re.compile(r"\b[mk]?g ?/? ?m(\^?-?3|³|⁻³)(?!\d)")
# units of quantities that no column has: absolute humidity, quanta and lux
LUX = re.compile(r"\bk?lu?x\b", re.IGNORECASE)
OF_ANOTHER = re.compile(rf"{ABSOLUTE.pattern}|\bg ?/ ?kg|[µμu]mol|{LUX.pattern}", re.IGNORECASE)
# what stands in brackets though it is no unit
_NO_UNITS = re.compile(rf"(?:(?:{'|'.join(_DATA['no_units'])})\b ?)+")


# a unit before a name, which no word is
_LEADING = re.compile(r"(mm|hPa|kPa|%|°[CF]|\S{1,40}/\S{1,40})(?= [^\W\d_]{2})")


class Heading(NamedTuple):
    """A header: where it stands, its text, its words, its unit, as `units` has it, and another that the file states of it."""

    place: int
    text: str
    name: str
    unit: str | None
    other: str | None = None


def heading_of(place: int, text: str, unit_below: str = "", legend: str = "") -> Heading:
    """Read a header, its unit perhaps below it, or with what a line above the table says of it in place of its text."""
    shown = text.strip()
    clean = unicodedata.normalize("NFKC", html.unescape(_once_encoded(legend or shown)).translate(_DEGREE))
    unit = known_unit(unit_below.strip(" ()[]"))
    for inside in _in_brackets(clean):
        extreme = inside.lower() == "min" and re.search("temp|hum|rh", clean.lower())  # and not minutes
        unit = unit if extreme else known_unit(inside) or unit
    words = _BRACKETS.sub(lambda of: f" {of[1]} " if _NO_UNITS.fullmatch(in_english(of[1].strip())) else " ", clean)
    name = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", words)
    if unit is None and (first := _LEADING.match(name.strip())):  # "m/s Wind speed"
        name, unit = name.strip()[first.end() :], known_unit(first[0])
    if unit is None:
        name, unit = _trailing_unit(name)
    if unit is None and (kind := _BEFORE_KIND.fullmatch(name.strip())):  # "WS_kmh_Avg"
        name, unit = f"{kind[1]} {kind[3]}", known_unit(kind[2]) or "m/s"
    name = in_english(name)
    if unit is None and (match := _GLUED.fullmatch(name.replace(" ", ""))):
        unit = _UNITS[match["unit"] if match["unit"] != "ms" else "m/s"]
        name = re.sub(
            r"^(daily|hourly|event|weekly|monthly|yearly|total|max|min|avg)(?=rain|temp)", r"\1 ", match["name"]
        )
    if unit is None and (ran := _RUN.search(clean.lower())) and " run" in name:
        unit = f"{'km' if ran[1].startswith('k') else 'mile'}/day"  # in a daily table, which alone takes it
    if unit in ("degC", "degF"):
        name = _UNIT_TWICE.sub("", name).strip() or name
    if unit in ("in", "mm") and re.search(r"\b(press|baro)", name):
        unit += "Hg"  # a length of mercury
    if name in _DATA["whole"]:
        name, known = _DATA["whole"][name]
        unit = unit or known or None
    named = [known_unit(unit_below.strip(" ()[]")), *(map(known_unit, _in_brackets(shown)) if legend else ())]
    return Heading(place, shown, name, unit, next((each for each in named if each and differ(each, unit)), None))


def differ(one: str, other: str | None) -> bool:
    """Tell whether two units are of one kind and not the same."""
    if other is None or one == other:
        return False
    for standard in STANDARD.values():
        with contextlib.suppress(UnitError):
            ours, theirs = (conversion_to(unit, [standard.unit])[1] for unit in (one, other))
            return not np.allclose(ours, theirs)
    return False


@functools.lru_cache(maxsize=1024)
def in_english(text: str) -> str:
    """Return a header's words in small plain letters, those of some other languages in English."""
    plain = unicodedata.normalize("NFKC", text.lower())
    letters = _latin(_SIGNS.sub(lambda sign: f" {_SIGN[sign[0]]} ", plain))
    words = re.sub(r"[^a-z0-9]+", " ", letters).strip()
    for pattern, english in _ENGLISH:
        words = pattern.sub(english, words)
    return " ".join(words.split())


def _latin(text: str) -> str:
    """Return small letters without accents, those of other alphabets in Latin ones."""
    bare = unicodedata.normalize("NFKD", text.translate(_PLAIN_LETTERS))
    return "".join(letter for letter in bare if not unicodedata.combining(letter)).translate(_PLAIN_LETTERS)


def _once_encoded(text: str) -> str:
    """Return a text that was encoded as UTF-8 twice as it was before: "Â°C" is "°C"."""
    with contextlib.suppress(UnicodeError):
        return text.encode("cp1252").decode("utf-8")
    return text


def unknown_unit(text: str) -> str:
    """
    Return what stands in a header's brackets that may be a unit and is none that is known; nothing without.

    Examples
    --------
    >>> unknown_unit("Wind (furlongs)"), unknown_unit("Wind (m/s)"), unknown_unit("Wind (mean)")
    ('furlongs', '', '')
    """
    inside = [each for each in _in_brackets(text) if each]
    return next((each for each in inside if not known_unit(each) and not _NO_UNITS.fullmatch(in_english(each))), "")


def unit_of(text: str) -> str | None:
    """Return the unit that a header names, as `units` has it; None where it names none."""
    return heading_of(0, text).unit


def is_unit(cell: str) -> bool:
    """Tell whether a cell is a unit and nothing else, in brackets or without."""
    return known_unit(cell.strip(" ()[]")) is not None


def known_unit(text: str) -> str | None:
    """Return the unit that a text is, as `units` has it; None where it is none."""
    squeezed = re.sub(
        r"\s+", "", unicodedata.normalize("NFKC", text.translate(_DEGREE)).lower().translate(_PLAIN_LETTERS)
    )
    plain = squeezed.replace("m²", "m2").replace("deg.", "deg").replace("**", "")
    for spoken, short in _SPOKEN:
        plain = spoken.sub(short, plain)
    plain = re.sub(r"^in(?=0[.,]1|percent|deg|mm\b)", "", plain)  # of a legend
    tenth = "0.1 " if _TENTHS.match(plain) else ""
    plain = re.sub(r"^1(?=%)", "", _TENTHS.sub("", plain))
    plain = plain.partition("=")[0]  # "mm=kg/m²"
    unit = _UNITS.get(plain) or _UNITS.get(re.sub(r"(/day|/d|\*?day-1|\*?d-1)$", "", plain))
    return f"{tenth}{unit}" if unit else None


def conversion_to(unit: str, targets: Sequence[str]) -> tuple[str, tuple[float, float]]:
    """Return which of our units a unit turns into, and the factor and offset; UnitError, of the last, where into none."""
    if known_unit(unit) == BEAUFORT and "m/s" in targets:
        return "m/s", (1.0, 0.0)  # as they stand: `in_standard_units` looks them up
    if share := re.match(r"(0\.\d{1,3}) ", unit):  # tenths, or what a tip of a rain gauge holds
        target, (factor, offset) = conversion_to(unit[share.end() :], targets)
        return target, (float(share[1]) * factor, offset)
    for target in targets[:-1]:
        with contextlib.suppress(UnitError):
            return target, column_conversion(unit, target)
    return targets[-1], column_conversion(unit, targets[-1])


def converts(unit: str, targets: Sequence[str]) -> bool:
    """Tell whether a unit can be brought to one of some others."""
    try:
        return (unit in SHARES and "h" in targets) or bool(conversion_to(unit, targets))
    except UnitError:
        return False


def with_power(unit: str) -> str:
    """Return a unit whose squares and cubes are written as powers: headers write m2 for m²."""
    return re.sub(r"\b([ck]?m)([23])\b", r"\1^\2", unit)


def in_standard_units(numbers: Floats, unit: str, conversion: tuple[float, float]) -> Floats:
    """Return a column in our unit; a number that is none of Beaufort's is none of wind."""
    if known_unit(unit) == BEAUFORT:
        speeds = _DATA["beaufort"]["speeds"]
        return np.asarray(np.interp(numbers, range(len(speeds)), speeds, left=-1.0, right=99.0))
    return numbers * conversion[0] + conversion[1]


def by_file(unit: str, target: str) -> tuple[float, float]:
    """Return factor and offset that turned figures of a file into our unit; 1 and 0 where the file's unit is none of ours."""
    with contextlib.suppress(UnitError):
        return conversion_to(known_unit(unit) or unit, [target])[1]
    return 1.0, 0.0


def as_filed(value: float, unit: str, target: str, shown: str) -> str:
    """
    Write a value as the file has it, and in our unit behind it where that is another.

    Examples
    --------
    >>> as_filed(35.0, "degF", "degC", "°C"), as_filed(35.0, "0.1 °C", "degC", "°C"), as_filed(35.0, "C", "degC", "°C")
    ('95 °F (35 °C)', '350 × 0.1 °C (35 °C)', '35 °C')
    """
    if (by := by_file(unit, target)) == (1.0, 0.0):
        return f"{number(value)} {shown}"
    spoken = re.sub(r"^deg(?=[CF]$)", "°", unit)
    return f"{number((value - by[1]) / by[0])}{' ×' if spoken[:1].isdigit() else ''} {spoken} ({number(value)} {shown})"


def as_mark(value: float, unit: str, target: str) -> str:
    """
    Write a value as a mark for a missing one in columns of its unit alone, but where that begins with a number.

    Examples
    --------
    >>> as_mark(-25.4, "in", "mm"), as_mark(-999.25, "mm", "mm")
    ('-1 in', '-999.25 mm')
    """
    factor, offset = by_file(unit, target)
    return f"{(value - offset) / factor:.10g} {'' if unit[:1].isdigit() else unit or target}".strip()


def _trailing_unit(name: str) -> tuple[str, str | None]:
    """Find a unit behind a comma, an underscore or a space."""
    words = re.split(r"[\s,_:]+", name.strip(" :"))
    for count in range(min(len(words) - 1, _LONGEST_UNIT), 0, -1):
        unit = next(filter(None, (known_unit(mark.join(words[-count:])) for mark in ("", "/"))), None)
        # "in" is mostly indoors, and others are words of their own
        indoors = unit == "in" and words[-1].lower() == "in" and not re.search(r"rain|precip", name.lower())
        # a minimum's and not minutes, in any letters
        extreme = unit == "min" and re.search(r"\b(t|temp|humidity)\b", in_english(name))
        if (
            unit not in (None, "m")
            and not indoors
            and not extreme
            and (
                count > 2
                or "/" in unit
                or words[-1].lower() not in _DATA["no_trailing_units"]
                or name.endswith((", h", ",h"))
            )
        ):
            words = words[:-count]
            return " ".join(words[:-1] if words[-1].lower() == "in" and len(words) > 1 else words), unit
    return name, None


def split_unit(cell: str) -> tuple[str, str | None]:
    """Part a header from what stands in brackets behind it as its unit."""
    inside = _LAST_BRACKETS.search(cell)
    if not inside or not (name := cell[: inside.start()].rstrip()):
        return cell, None
    unit = inside[0][1:-1].strip()
    return name, None if _NO_UNITS.fullmatch(in_english(unit)) else unit


def _in_brackets(text: str) -> list[str]:
    return [inside.strip() for inside in _BRACKETS.findall(text)]


def as_name(cell: str) -> str:
    """Return a header as the program's own names are written: small letters, and _ for blanks and hyphens."""
    return re.sub(r"[\s\-]+", "_", CONTROLS.sub("", cell).strip().lower())


def is_misspelt(text: str, name: str, absent: Sequence[str]) -> bool:
    """Tell a name with a slip in it: of a short one a letter, if it is like none other that is missing."""
    one_letter = len(text) == len(name) and difflib.get_close_matches(text, absent, 2, 0.75) == [name]
    return one_letter or bool(difflib.get_close_matches(text, [name], 1, 0.8))
