"""
Header: which column of a plain table is which standard one, and in what unit.

A header is a standard name, may carry its unit in brackets, or is named by the user under
[weather.columns]. Capitals, spaces and hyphens don't matter. Columns that nobody asked for are noted; one
that looks like a standard column written otherwise is refused, because passing it over would let the
program invent what the file has.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from panbudget.errors import Problem
from panbudget.units import UnitError, column_conversion
from panbudget.weather.text.columns import REQUIRED, STANDARD
from panbudget.weather.text.raw import ColumnChoice

__all__ = ["Header", "read_header"]

_BRACKETED = re.compile(r"(?P<name>.*?)\s*[\[(]\s*(?P<unit>[^\])]*?)\s*[\])]")
# parts of a header -> the standard columns one of which it may stand for
_HINTS: tuple[tuple[re.Pattern[str], tuple[str, ...]], ...] = (
    (re.compile(r"wind|(^|_)(ws|u2|u10)(_|$)"), ("wind",)),
    (re.compile(r"rain|precip|(^|_)prcp?(_|$)"), ("rain",)),
    (re.compile(r"radiation|solar|(^|_)(rs|ghi|srad|rad)(_|$)"), ("radiation",)),
    (re.compile(r"sun(shine|_?hours)"), ("sunshine", "radiation")),
    (re.compile(r"humid|(^|_)rh"), ("rh_mean", "rh_max", "dew_point", "vapour_pressure")),
    (re.compile(r"dew"), ("dew_point",)),
    (re.compile(r"vapou?r"), ("vapour_pressure",)),
    (re.compile(r"(temp|^t|^air).*min|min.*temp|(^|_)t_?(low|lo|mn|n)(_|$)"), ("tmin",)),
    (re.compile(r"(temp|^t|^air).*max|max.*temp|(^|_)t_?(high|hi|mx|x)(_|$)"), ("tmax",)),
    (re.compile(r"(^|_)(day|date|datum|datetime|timestamp|time)(_|$)"), ("date",)),
)
_NOT_MEANT = re.compile(r"dir|gust|angle|bearing|wet|soil|sea|msl|dev|flag|quality|(^|_)qc(_|$)|source|station")


@dataclass
class Header:
    """
    What the header line says: standard name -> place in the row, and everything about units.

    ``spoken_of`` are the standard names that a problem is about already, so that they aren't reported
    missing too.
    """

    places: dict[str, int] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    unit_is_stated: set[str] = field(default_factory=set)
    conversions: dict[str, tuple[float, float]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    spoken_of: set[str] = field(default_factory=set)


def read_header(cells: Sequence[str], columns: Mapping[str, ColumnChoice], *, line: int) -> Header:
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
    header = Header()
    taken = _take_named(header, cells, columns)
    _take_standard(header, cells, taken, line=line)
    _look_at_the_rest(header, cells, taken, line=line)
    _require(header, cells, taken, line=line)
    return header


def _plain(cell: str) -> str:
    return re.sub(r"[\s\-]+", "_", cell.strip().lower())


def _split_unit(cell: str) -> tuple[str, str | None]:
    match = _BRACKETED.fullmatch(cell)
    if match is None or not match["name"]:
        return cell, None
    return match["name"], match["unit"] or None


def _take_named(header: Header, cells: Sequence[str], columns: Mapping[str, ColumnChoice]) -> dict[int, str]:
    taken: dict[int, str] = {}
    known = ["date", *STANDARD]
    for name, choice in columns.items():
        key = f"weather.columns.{name}"
        header.spoken_of.add(name)
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            hint = f'; did you mean "{near[0]}"?' if near else ""
            message = f"{key} is no standard column; one of {', '.join(known)} is expected{hint}"
            header.problems.append(Problem.of_text(message, key=key, value=name))
            continue
        found = [i for i, cell in enumerate(cells) if cell == choice.column]
        found = found or [i for i, cell in enumerate(cells) if _plain(cell) == _plain(choice.column)]
        if not found:
            near = difflib.get_close_matches(choice.column, cells, n=1)
            hint = f'did you mean "{near[0]}"? ' if near else ""
            message = (
                f'{key}: column "{choice.column}" is not in the file; name one of its columns: '
                f"{hint}It has {', '.join(cell for cell in cells if cell)}"
            )
            header.problems.append(Problem.of_text(message, key=key, value=choice.column))
            continue
        if len(found) > 1:
            message = f'{key}: column "{choice.column}" stands in the header {len(found)} times; rename all but one'
            header.problems.append(Problem.of_text(message, key=key, value=choice.column))
            continue
        place = found[0]
        if place in taken:
            message = (
                f'{key}: column "{choice.column}" is already named as {taken[place]}; '
                "each column can be one quantity: name another, or take one of the two lines out"
            )
            header.problems.append(Problem.of_text(message, key=key, value=choice.column))
            continue
        taken[place] = name
        header.places[name] = place
        if name != "date":
            unit = choice.unit or _split_unit(cells[place])[1]
            _set_unit(header, name, unit, where=key)
    return taken


def _take_standard(header: Header, cells: Sequence[str], taken: dict[int, str], *, line: int) -> None:
    for place, cell in enumerate(cells):
        text, unit = _split_unit(cell)
        name = _plain(text)
        if place in taken or (name not in STANDARD and name != "date"):
            continue
        if name in header.places:
            first = cells[header.places[name]]
            if taken[header.places[name]] == name and _plain(_split_unit(first)[0]) != name:
                header.notes.append(f'column "{cell}" is not used: {name} is taken from "{first}", as named')
                taken[place] = ""
                continue
            message = f'line {line}: column "{cell}" stands twice in the header; rename or delete one of the two'
            header.problems.append(Problem.of_text(message, key=name, value=cell))
            continue
        taken[place] = name
        header.places[name] = place
        if name != "date":
            _set_unit(header, name, unit, where=f'line {line}: column "{cell}"')


def _set_unit(header: Header, name: str, unit: str | None, *, where: str) -> None:
    column = STANDARD[name]
    header.units[name] = unit or column.shown_unit
    if unit is None:
        return
    header.unit_is_stated.add(name)
    text = re.sub(r"\b([ck]?m)([23])\b", r"\1^\2", unit)  # m2 is how headers write m²
    try:
        factor, offset = column_conversion(text, column.unit)
    except UnitError as error:
        header.problems.append(Problem.of_text(f"{where}: unit {error}", key=name, value=unit))
        return
    if (factor, offset) != (1.0, 0.0):
        header.conversions[name] = (factor, offset)


def _look_at_the_rest(header: Header, cells: Sequence[str], taken: dict[int, str], *, line: int) -> None:
    """Note the columns that are left, and refuse those that look like one which is missing."""
    names = {_plain(cell) for cell in cells}
    if "date" not in {*header.places, *header.spoken_of} and {"year", "month", "day"} <= names:
        message = f"line {line}: the date is spread over year, month and day; join them to one column date"
        header.problems.append(Problem.of_text(f"{message}, such as 2025-05-01", key="date"))
        header.spoken_of.add("date")
    unused: list[str] = []
    absent = [name for name in ("date", *STANDARD) if name not in {*header.places, *header.spoken_of}]
    seen: set[str] = set()
    for place, cell in enumerate(cells):
        if place in taken or not cell:
            continue
        name = _plain(_split_unit(cell)[0])
        if name in header.places:
            continue  # a standard column twice, said already
        if name in seen:
            message = f'line {line}: column "{cell}" stands twice in the header; rename or delete one of the two'
            header.problems.append(Problem.of_text(message, key=cell, value=cell))
            continue
        seen.add(name)
        meant = _meant(name, absent)
        if meant is None:
            unused.append(cell)
            continue
        choice = f'{meant} = {{ column = "{cell}" }}'
        if meant != "date":
            choice = f'{meant} = {{ column = "{cell}", unit = "{STANDARD[meant].shown_unit}" }} (with its own unit)'
        message = (
            f'line {line}: column "{cell}" is not a standard name but looks like {meant}; rename it, write '
            f"{choice} under [weather.columns], or delete the column"
        )
        header.problems.append(Problem.of_text(message, key=cell, value=cell))
        header.spoken_of.add(meant)
        absent.remove(meant)
    if unused:
        header.notes.append(f"columns not used: {', '.join(unused)}")


def _meant(name: str, absent: Sequence[str]) -> str | None:
    if _NOT_MEANT.search(name):
        return None
    near = difflib.get_close_matches(name, absent, n=1, cutoff=0.76)
    if near:
        return near[0]
    for pattern, meant in _HINTS:
        if pattern.search(name) and all(one in absent for one in meant):
            return meant[0]
    return None


def _require(header: Header, cells: Sequence[str], taken: dict[int, str], *, line: int) -> None:
    left = [cell for place, cell in enumerate(cells) if place not in taken and cell]
    for name in ("date", *REQUIRED):
        if name in header.places or name in header.spoken_of:
            continue
        meaning = "the day" if name == "date" else f"{STANDARD[name].meaning} in {STANDARD[name].shown_unit}"
        near = difflib.get_close_matches(name, left, n=1, cutoff=0.5)
        example = near[0] if near else "its header"
        message = (
            f"line {line}: there is no column {name} ({meaning}); add it, or if it has another name write "
            f'{name} = {{ column = "{example}" }} under [weather.columns]'
        )
        header.problems.append(Problem.of_text(message, key=name))
