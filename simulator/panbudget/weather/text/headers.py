"""
Headers: which column of a table is which quantity, in what unit; of a plain table's header, and of a station's.

A plain table's header is a standard name, may carry its unit in brackets, or is named by the user under
[weather.columns]. Capitals, spaces and hyphens don't matter. Columns that nobody asked for are noted; one that looks like
a standard column written otherwise is refused, because passing it over would let the program invent what the file has.

A station's headers are read by their words and the unit in or behind them (``headers.toml``). Of two columns that fit, the
one named for outdoors is taken; where that doesn't decide, neither is, and the user is asked. Columns that aren't used are
noted by name.
"""

from __future__ import annotations

import contextlib
import difflib
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from panbudget.errors import Problem, did_you_mean
from panbudget.numeric import Floats
from panbudget.units import UnitError, column_conversion
from panbudget.weather.text.columns import REQUIRED, STANDARD
from panbudget.weather.text.mistakes import listed, note, problem
from panbudget.weather.text.raw import Columns
from panbudget.words import packaged

_DATA = packaged("weather/text/headers.toml")


def _words(patterns: Iterable[str]) -> re.Pattern[str]:
    return re.compile(rf"\b({'|'.join(patterns)})\b")


class _Quantity(NamedTuple):
    """Units that records have, as `units` names them and as people read the first, and the words of its headers."""

    units: list[str]
    shown: str
    words: re.Pattern[str]
    but: re.Pattern[str]


_QUANTITIES = {
    name: _Quantity(facts["units"], facts["shown"], _words(facts["words"]), _words(facts["but"]))
    for name, facts in _DATA["quantities"].items()
}
# what a user may write under [weather.columns] -> quantity
_CHOICES = {name: name for name in _QUANTITIES} | {
    day: name for name, facts in _DATA["quantities"].items() for day in facts.get("daily", ())
}
_UNITS = {word: unit for unit, words in _DATA["units"].items() for word in words}
_HINTS = [(re.compile(hint["pattern"]), hint["names"]) for hint in _DATA["hints"]]
_NOT_MEANT, _GLUED = (re.compile(_DATA[name]) for name in ("not_meant", "glued"))
_NOT_OUTDOORS, _OUTDOORS, _MEAN, _EXTREME = (
    _words(_DATA[name]) for name in ("not_outdoors", "outdoors", "mean", "extreme")
)
_RAIN_ORDER: list[str] = _DATA["rain_order"]
_RAIN_KINDS = {kind: _words(words) for kind, words in _DATA["rain_kinds"].items()}
_BRACKETED = re.compile(r"(?P<name>.*?)\s*[\[(]\s*(?P<unit>[^\])]*?)\s*[\])]")
_DEGREE = str.maketrans({"º": "°", "ᵒ": "°", "˚": "°", "\ufffd": "°", "“": '"', "”": '"'})
_BRACKETS = re.compile(r"[\[({]\s*([^\])}]*?)\s*[\])}]")
_NAMES_SHOWN = 12


@dataclass
class Header:
    """
    What a header line says, by standard name or, of a station's table, by quantity.

    ``table`` is the scenario's that names the file, for cures.
    ``places`` are columns' places in the row, ``units`` those of the file, ``stated`` the names whose unit it states,
    ``conversions`` to our units where they differ, ``headers`` the columns' texts. ``settled`` are the names that a problem
    is about already, so that they aren't reported missing too. Of a station: ``sums`` is whether radiation is a sum over
    each interval (converted to J/m²), ``rain_kind`` what the rain counts, ``imperial`` the headers with imperial units.
    """

    table: str = "weather"
    line: int = 1
    places: dict[str, int] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    stated: set[str] = field(default_factory=set)
    conversions: dict[str, tuple[float, float]] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    settled: set[str] = field(default_factory=set)
    sums: bool = False
    rain_kind: str = "unknown"
    imperial: list[str] = field(default_factory=list)

    def wrong(self, name: str, key: str, /, **facts: object) -> None:
        """Note a problem that is about a name."""
        self.settled.add(name)
        self.problems.append(problem(key, **{"line": self.line, "table": self.table, "name": name} | facts))

    def lacks(self, name: str) -> bool:
        """Tell whether a name has neither a column nor a problem."""
        return name not in self.places and name not in self.settled

    def take(self, name: str, place: int, text: str) -> None:
        """Take a column for a name."""
        self.places[name], self.headers[name] = place, text

    def convert(self, name: str, unit: str, targets: Sequence[str], *, by_user: bool) -> None:
        """Find what turns a stated unit into one of ours; the last of them is the one that a refusal names."""
        self.stated.add(name)
        try:
            target, conversion = _conversion(unit, targets)
        except UnitError as error:
            self.settled.add(name)
            where = f"{self.table}.columns.{name}:" if by_user else f'line {self.line}: column "{self.headers[name]}":'
            self.problems.append(error.problem.under(f"{where} unit"))
            return
        self.sums |= target == "J/m^2"
        if conversion != (1.0, 0.0):
            self.conversions[name] = conversion

    def standard(self, numbers: Mapping[int, Floats]) -> dict[str, Floats]:
        """Return the columns in our units, of those that stand in the row's places."""
        places = {name: place for name, place in self.places.items() if place in numbers}
        by = {name: self.conversions.get(name, (1.0, 0.0)) for name in places}
        return {name: numbers[place] * by[name][0] + by[name][1] for name, place in places.items()}


def _conversion(unit: str, targets: Sequence[str]) -> tuple[str, tuple[float, float]]:
    for target in targets[:-1]:
        with contextlib.suppress(UnitError):
            return target, column_conversion(unit, target)
    return targets[-1], column_conversion(unit, targets[-1])


def _named(header: Header, texts: Mapping[int, str], columns: Columns, known: Mapping[str, str]) -> dict[str, str]:
    """Take the columns that the user names, by what each name stands for; return what took which name."""
    names: dict[str, str] = {}
    for name, choice in columns.items():
        quantity = known.get(name, "")
        matches = [i for i, text in texts.items() if text == choice.column]
        matches = matches or [i for i, text in texts.items() if _plain(text) == _plain(choice.column)]
        other = next(
            (taken for taken, place in header.places.items() if matches == [place] and taken != quantity), None
        )
        facts: dict[str, object] = {"key": f"{header.table}.columns.{name}", "column": choice.column}
        header.settled.add(name)
        if name not in known:
            hint = did_you_mean(name, known, "correct it")
            header.wrong(name, "unknown-column", known=", ".join(known), hint=hint, **facts)
        elif not matches:
            near = difflib.get_close_matches(choice.column, texts.values(), n=1)
            facts["hint"] = f'did you mean "{near[0]}"? ' if near else ""
            header.wrong(name, "no-column-named", listed=", ".join(filter(None, texts.values())), **facts)
        elif len(matches) > 1:
            header.wrong(name, "column-often", count=len(matches), **facts)
        elif other is not None:
            header.wrong(name, "column-taken", **facts | {"name": names[other]})
        elif header.places.get(quantity, matches[0]) != matches[0]:
            header.wrong(name, "two-columns-named", other=header.headers[quantity], quantity=quantity, **facts)
        else:
            header.take(quantity, matches[0], texts[matches[0]])
            names[quantity] = name
    return names


def read_header(cells: Sequence[str], columns: Columns, *, line: int, table: str = "weather") -> Header:
    """
    Find the standard columns among a table's headers.

    Parameters
    ----------
    cells : sequence of str
        The header line's cells, stripped.
    columns : mapping
        Standard name -> the user's choice of column and unit; "date" may be among them.
    line : int
        Line of the file, for messages.

    Returns
    -------
    Header
        With its problems, if there are any.
    """
    header = Header(table, line)
    known = {name: name for name in ("date", *STANDARD)}
    names = _named(header, dict(enumerate(cells)), columns, known)
    for name in names:
        _set_unit(header, name, columns[name].unit or _split_unit(header.headers[name])[1], by_user=True)
    for place, cell in enumerate(cells):
        text, unit = _split_unit(cell)
        name = _plain(text)
        if place in header.places.values() or name not in known:
            continue
        first = header.headers.get(name)
        if first is None:
            header.take(name, place, cell)
            _set_unit(header, name, unit, by_user=False)
        elif name in names and _plain(_split_unit(first)[0]) != name:
            header.notes.append(note("column-not-used", column=cell, name=name, first=first))
        else:
            header.wrong(name, "column-twice", column=cell)
    _look_at_the_rest(header, cells)
    others = [cell for place, cell in enumerate(cells) if place not in header.places.values() and cell]
    for name in filter(header.lacks, ("date", *REQUIRED)):
        meaning = "the day" if name == "date" else f"{STANDARD[name].meaning} in {STANDARD[name].shown_unit}"
        near = difflib.get_close_matches(name, others, n=1, cutoff=0.5)
        header.wrong(name, "no-column", meaning=meaning, example=near[0] if near else "its header")
    return header


def _plain(cell: str) -> str:
    return re.sub(r"[\s\-]+", "_", cell.strip().lower())


def _split_unit(cell: str) -> tuple[str, str | None]:
    match = _BRACKETED.fullmatch(cell)
    return (match["name"], match["unit"] or None) if match and match["name"] else (cell, None)


def _set_unit(header: Header, name: str, unit: str | None, *, by_user: bool) -> None:
    if name == "date":
        return
    header.units[name] = unit or STANDARD[name].shown_unit
    if unit is not None:
        text = re.sub(r"\b([ck]?m)([23])\b", r"\1^\2", unit)  # m2 is how headers write m²
        header.convert(name, text, [STANDARD[name].unit], by_user=by_user)


def _look_at_the_rest(header: Header, cells: Sequence[str]) -> None:
    """Note the columns that are left, and refuse those that look like one which is missing."""
    if header.lacks("date") and {"year", "month", "day"} <= {_plain(cell) for cell in cells}:
        header.wrong("date", "split-date")
    unused: list[str] = []
    absent = [name for name in ("date", *STANDARD) if header.lacks(name)]
    seen: set[str] = set()
    for place, cell in enumerate(cells):
        name = _plain(_split_unit(cell)[0])
        # a standard column twice is refused, or noted, already
        if place in header.places.values() or not cell or name in header.places:
            continue
        if name in seen:
            header.wrong(cell, "column-twice", column=cell)
            continue
        seen.add(name)
        meant = _meant(name, absent)
        if meant is None:
            unused.append(cell)
            continue
        absent.remove(meant)
        key, unit = ("looks-like-date", "") if meant == "date" else ("looks-like", STANDARD[meant].shown_unit)
        header.wrong(meant, key, column=cell, unit=unit)
    header.notes += [note("columns-not-used", listed=", ".join(unused))] if unused else []


def _meant(name: str, absent: Sequence[str]) -> str | None:
    if _NOT_MEANT.search(name):
        return None
    near = difflib.get_close_matches(name, absent, n=1, cutoff=0.76)
    hinted = (names[0] for pattern, names in _HINTS if pattern.search(name) and set(names) <= set(absent))
    return near[0] if near else next(hinted, None)


class _Heading(NamedTuple):
    place: int
    text: str
    name: str
    unit: str | None


def is_weather(cells: Sequence[str]) -> bool:
    """
    Tell whether a header names an air temperature, as a station's table does.

    Parameters
    ----------
    cells : sequence of str
        The header's cells.

    Returns
    -------
    bool
        By its words alone.
    """
    return any(_fits("temperature", _heading(i, cell)) for i, cell in enumerate(cells))


def read_logger_header(
    cells: Sequence[str],
    columns: Columns,
    *,
    times: Sequence[int],
    line: int,
    units: Sequence[str] = (),
    table: str = "weather",
) -> Header:
    """
    Find the quantities among a table's headers.

    Parameters
    ----------
    cells : sequence of str
        The header line's cells.
    columns : mapping
        The user's choice: a quantity, or a daily column that comes of it, -> column and unit.
    times : sequence of int
        Columns that say when.
    line : int
        The header's line, for messages.
    units : sequence of str
        Cells of a line of units below the header, if there is one.

    Returns
    -------
    Header
        With its problems, if there are any.
    """
    header = Header(table, line)
    headings = {
        i: _heading(i, cell, units[i] if i < len(units) else "")
        for i, cell in enumerate(cells)
        if i not in times and cell.strip()
    }
    header.imperial = [heading.text for heading in headings.values() if heading.unit in _DATA["imperial"]]
    choices = {name: choice for name, choice in columns.items() if name not in ("date", "time")}
    names = _named(header, {place: heading.text for place, heading in headings.items()}, choices, _CHOICES)
    for quantity, name in names.items():
        heading = headings[header.places[quantity]]
        unit = None if quantity == "rain" and heading.unit == "rate" else heading.unit
        _take(header, quantity, heading, choices[name].unit or unit, by_user=True)
    for quantity in _QUANTITIES:
        if quantity in names:
            continue
        best = _best(
            quantity, [heading for heading in headings.values() if heading.place not in header.places.values()]
        )
        if len(best) > 1:
            both = " and ".join(f'"{heading.text}"' for heading in best)
            spoken = quantity.replace("_", " ")
            header.wrong(quantity, "two-columns", both=both, quantity=spoken, column=best[0].text)
        elif best:
            _take(header, quantity, best[0], best[0].unit, by_user=False)
    if header.lacks("temperature"):
        example = next((heading.text for heading in headings.values()), "its header")
        header.wrong("temperature", "no-temperature-column", example=example)
    unused = [heading for heading in headings.values() if heading.place not in header.places.values()]
    if unused:
        header.notes.append(note("columns-not-used", listed=listed((heading.text for heading in unused), _NAMES_SHOWN)))
    at_sea = [heading.text for heading in unused if re.search(r"\b(press\w*|baro\w*)", heading.name)]
    if at_sea and "pressure" not in header.places:
        header.notes.append(note("sea-level", column=at_sea[0]))
    return header


def _heading(place: int, text: str, unit_below: str = "") -> _Heading:
    clean = unicodedata.normalize("NFKC", text.strip().translate(_DEGREE))
    unit = _unit(unit_below)
    for inside in _BRACKETS.findall(clean):
        unit = _unit(inside) or unit
    name = _BRACKETS.sub(" ", clean)
    if unit is None:
        name, unit = _trailing_unit(name)
    name = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    name = re.sub(r"[^a-z0-9]+", " ", name.lower()).strip()
    if unit is None and (match := _GLUED.fullmatch(name.replace(" ", ""))):
        unit = _UNITS[match["unit"] if match["unit"] != "ms" else "m/s"]
        name = re.sub(r"^(daily|hourly|event|weekly|monthly|yearly|total)(?=rain)", r"\1 ", match["name"])
    return _Heading(place, text.strip(), name, unit)


def _unit(text: str) -> str | None:
    squeezed = re.sub(r"\s+", "", unicodedata.normalize("NFKC", text.translate(_DEGREE)).lower())
    return _UNITS.get(squeezed.replace("m²", "m2").replace("degrees", "deg").replace("deg.", "deg"))


def _trailing_unit(name: str) -> tuple[str, str | None]:
    """Find a unit behind a comma, an underscore or a space."""
    words = re.split(r"[\s,_]+", name.strip())
    for count in (2, 1):
        unit = _unit("".join(words[-count:])) if len(words) > count else None
        # "in" is mostly indoors
        indoors = unit == "in" and words[-1].lower() == "in" and not re.search(r"rain|precip", name.lower())
        if unit is not None and not indoors:
            return " ".join(words[:-count]), unit
    return name, None


def _fits(quantity: str, heading: _Heading) -> bool:
    units, _, words, but = _QUANTITIES[quantity]
    name = heading.name
    if heading.unit == "rate" or not words.search(name) or but.search(name) or _NOT_OUTDOORS.search(name):
        return False
    if quantity != "rain" and _EXTREME.search(name):
        return False
    try:
        return heading.unit is None or bool(_conversion(heading.unit, units))
    except UnitError:
        return False


def _best(quantity: str, headings: Sequence[_Heading]) -> list[_Heading]:
    """Return the columns that fit best; one of them where the same quantity stands in several units."""

    def rank(heading: _Heading) -> int:
        if quantity == "rain":
            return -_RAIN_ORDER.index(_rain_kind(heading.name))
        return 2 * bool(_OUTDOORS.search(heading.name)) + bool(_MEAN.search(heading.name))

    fitting = [heading for heading in headings if _fits(quantity, heading)]
    top = max(map(rank, fitting), default=0)
    best = [heading for heading in fitting if rank(heading) == top]
    same = len({heading.name for heading in best}) == 1 and len({heading.unit for heading in best}) == len(best)
    return best[:1] if same else best


def _rain_kind(name: str) -> str:
    return next((kind for kind, words in _RAIN_KINDS.items() if words.search(name)), "unknown")


def _take(header: Header, quantity: str, heading: _Heading, unit: str | None, *, by_user: bool) -> None:
    units, shown, _, _ = _QUANTITIES[quantity]
    header.take(quantity, heading.place, heading.text)
    header.units[quantity] = unit or shown
    if quantity == "rain":
        kind = _rain_kind(heading.name)
        header.rain_kind = "total" if kind in ("monthly", "weekly", "event") else kind
    if unit is None:
        spoken = quantity.replace("_", " ")
        header.notes.append(note("no-unit", quantity=spoken, column=heading.text, unit=shown))
        return
    known = _unit(unit) or unit
    header.convert(quantity, unit if known == "rate" else known, units, by_user=by_user)
