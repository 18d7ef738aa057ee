"""
Published: what the readers of archives' formats share: cells, codes for missing values, and the table at the end.

Such a format fixes its names, units and codes, so nothing in it is a guess; what doesn't fit the format is
named by line, one message for each kind of mistake.
"""

from __future__ import annotations

import csv
import datetime as dt
import math
import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.weather.station import Station
from panbudget.weather.text.columns import REQUIRED, STANDARD
from panbudget.weather.text.dates import and_more, day_of
from panbudget.weather.text.raw import ColumnChoice, LeftOut, RawTable
from panbudget.weather.text.source import Source

__all__ = [
    "Measure",
    "Mistakes",
    "Row",
    "build_table",
    "compact_day",
    "cut_off_notes",
    "days_noted",
    "measured",
    "named_places",
    "number_in",
    "one_station",
    "refuse_columns",
    "require_temperatures",
    "rows_below",
    "split_cells",
    "station_at",
]

_NUMBER = re.compile(r"[+-]?(?:\d{1,15}(?:\.\d*)?|\.\d+)")


class Measure(NamedTuple):
    """A quantity of a format: the standard column, its unit in the file, and value · factor + offset in ours."""

    column: str
    unit: str
    factor: float = 1.0
    offset: float = 0.0

    def standard(self, value: float) -> float:
        """Turn a value of the file into the standard unit."""
        return value * self.factor + self.offset


class Row(NamedTuple):
    """A line's number and its cells, stripped."""

    line: int
    cells: list[str]


class Mistakes:
    """What doesn't fit the format, gathered so that each kind becomes one problem."""

    def __init__(self) -> None:
        self._found: dict[str, tuple[int, str, int]] = {}
        self.others: list[Problem] = []

    def add(self, cure: str, *, line: int, what: str) -> None:
        """Note one mistake; ``cure`` tells its kind, ``what`` is said of the first line that has it."""
        first_line, first_what, count = self._found.get(cure, (line, what, 0))
        self._found[cure] = (first_line, first_what, count + 1)

    def problems(self) -> list[Problem]:
        """Return a problem for each kind."""
        return self.others + [
            Problem.of_text(f"line {line}: {what}{and_more(count - 1, 'line')}; {cure}", key=f"line {line}")
            for cure, (line, what, count) in self._found.items()
        ]

    def raise_if_any(self, source: Source) -> None:
        """Raise WeatherError with all problems, if there are any."""
        problems = self.problems()
        if problems:
            raise WeatherError(*problems, file=source.shown_as)


def split_cells(text: str) -> list[str]:
    """Split a line at its commas, with or without quotation marks; one that can't be split is one cell."""
    if '"' in text:
        try:
            return [cell.strip() for cell in next(csv.reader([text], skipinitialspace=True), [])]
        except csv.Error:  # a cell beyond any size, or a stray end of line
            return [text.strip()]
    return [cell.strip() for cell in text.split(",")]


def number_in(text: str) -> float | None:
    """Read a plain decimal number, or None."""
    return float(text) if _NUMBER.fullmatch(text) else None


def compact_day(text: str) -> dt.date | None:
    """Read a day written as 20250601, or None."""
    if len(text) != 8 or not (text.isascii() and text.isdigit()):
        return None
    return day_of(int(text[:4]), int(text[4:6]), int(text[6:]))


def rows_below(lines: Sequence[str], header_line: int, header: list[str], mistakes: Mistakes) -> Iterator[Row]:
    """
    Yield the rows below a header line, and note those that are not as wide.

    The header again is passed over: files of several years are often one after the other.

    Parameters
    ----------
    lines : sequence of str
        The whole file's.
    header_line : int
        Counted from 1.
    header : list of str
        The header's cells.
    mistakes : Mistakes
        Where those are noted.
    """
    width = len(header)
    for line, text in enumerate(lines[header_line:], start=header_line + 1):
        if not text.strip():
            continue
        if '"' in text and text.count('"') % 2:
            mistakes.add("close it, or download the file again", line=line, what="a quotation mark is not closed")
            continue
        cells = split_cells(text)
        while len(cells) > width and not cells[-1]:
            cells.pop()
        if cells == header:
            continue
        if len(cells) != width:
            what = f"{len(cells)} cells, where {width} are expected"
            mistakes.add("a file that is cut off or edited: download it again", line=line, what=what)
            continue
        yield Row(line, cells)


def measured(
    text: str, *, name: str, line: int, missing: Collection[float], mistakes: Mistakes, whole: bool = False
) -> float:
    """
    Read a cell; NaN for a blank one or a code for a missing value, and NaN with a mistake noted for no number.

    Parameters
    ----------
    text : str
        The cell, stripped.
    name : str
        Of its column in the file, for messages.
    line : int
        Of the file, for messages.
    missing : collection of float
        Codes for a missing value.
    mistakes : Mistakes
        Where a cell that is no number is noted.
    whole : bool
        Whether the format has whole numbers only, tenths as a rule: a decimal then betrays another unit.
    """
    if not text:
        return math.nan
    value = number_in(text)
    if whole and value is not None and "." in text:
        what = f"{name} is {text!r}, and this format has whole numbers (of tenths as a rule)"
        cure = 'the file may be in other units: set format = "table" and name columns and units, or download it again'
        mistakes.add(cure, line=line, what=what)
        return math.nan
    if value is None:
        shown = text if len(text) <= 30 else text[:27] + "..."
        what = f"{name} is {shown!r}, which is not a number"
        mistakes.add("correct it, or download the file again", line=line, what=what)
        return math.nan
    return math.nan if value in missing else value


def refuse_columns(columns: Mapping[str, ColumnChoice], source: Source, *, name: str) -> None:
    """Refuse names for the columns of a format that has its own."""
    if not columns:
        return
    message = (
        f'weather.columns names columns, but the file is read as "{name}", whose columns are known; take the names '
        'out, or write format = "table" under [weather] if it is a plain table'
    )
    raise WeatherError(Problem.of_text(message, key="weather.columns"), file=source.shown_as)


def one_station(names: Mapping[str, int], source: Source) -> None:
    """Refuse rows of several stations: name -> line where it begins."""
    if len(names) <= 1:
        return
    shown = [f"{name} from line {line}" for name, line in list(names.items())[:3]]
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    message = (
        f"holds {len(names)} stations ({', '.join(shown)}{more}); one is expected: keep one station's rows, or "
        "download a file of one station"
    )
    raise WeatherError(Problem.of_text(message, key="station"), file=source.shown_as)


def station_at(name: str, latitude: str = "", longitude: str = "", elevation: str = "") -> Station:
    """Make a station of a file's cells; what is blank, no number or a code for a missing value is left out."""
    north, east, height = number_in(latitude), number_in(longitude), number_in(elevation)
    return Station(
        name,
        north if north is not None and abs(north) <= 90.0 else None,
        east if east is not None and abs(east) <= 180.0 else None,
        height if height is not None and -450.0 < height < 9000.0 else None,
    )


def require_temperatures(found: Collection[str], source: Source, *, names: Mapping[str, str], listed: str) -> None:
    """
    Refuse a file without minimum or maximum temperature.

    Parameters
    ----------
    found : collection of str
        Standard columns that the file has.
    source : Source
        The file.
    names : mapping
        Standard column -> its name in the format.
    listed : str
        What the file does have, for the message.
    """
    absent = [name for name in REQUIRED if name not in found]
    if not absent:
        return
    words = " and ".join(f"{names[name]} ({STANDARD[name].meaning})" for name in absent)
    message = (
        f"has no {words}, and temperatures are never invented; it has {listed or 'no quantity that is known'}: "
        "download it with them, or choose a station that measures them"
    )
    raise WeatherError(Problem.of_text(message, key=absent[0]), file=source.shown_as)


def build_table(
    days: Sequence[dt.date],
    lines: Sequence[int],
    values: Mapping[str, Sequence[float]],
    *,
    measures: Mapping[str, Measure],
    headers: Mapping[str, str],
    recognised: str,
    notes: Sequence[str] = (),
    wind_height: float | None = None,
    station: Station | None = None,
    absent: Mapping[str, str] | None = None,
    left_out: Mapping[str, LeftOut] | None = None,
) -> RawTable:
    """
    Put columns together to what every reader returns.

    Parameters
    ----------
    days : sequence of date
        One a row, in the file's order.
    lines : sequence of int
        Line of each row.
    values : mapping
        Standard column -> values in the standard unit, NaN where missing.
    measures : mapping
        Standard column -> its unit in the file.
    headers : mapping
        Standard column -> its name in the file.
    recognised, notes, wind_height, station, absent, left_out
        As in `RawTable`.
    """
    stamps = np.array(days, dtype="datetime64[D]").astype("datetime64[ns]")
    frame = pd.DataFrame(
        {name: np.array(column, dtype=float) for name, column in values.items()},
        index=pd.DatetimeIndex(stamps, name="date"),
    )
    conversions = {
        name: (measures[name].factor, measures[name].offset)
        for name in values
        if (measures[name].factor, measures[name].offset) != (1.0, 0.0)
    }
    return RawTable(
        daily=frame,
        lines=tuple(lines),
        recognised=recognised,
        units={name: measures[name].unit for name in values},
        unit_is_stated=frozenset(values),
        headers={name: headers[name] for name in values},
        conversions=conversions,
        station=station,
        notes=tuple(notes),
        wind_height=wind_height if "wind" in values else None,
        absent=dict(absent or {}),
        left_out=dict(left_out or {}),
    )


def days_noted(count: int, what: str) -> list[str]:
    """Write a note that begins with how many days it is about; nothing for none."""
    if not count:
        return []
    return [f"{count} day{'s' if count > 1 else ''}: {what}"]


def cut_off_notes(source: Source) -> list[str]:
    """Say so where the last line has no end, as it always has in an archive's own file."""
    if source.text.endswith("\n"):
        return []
    return ["the file's last line has no line end: if it was cut off there, its last value may lack digits"]


def named_places(
    header: Sequence[str], wanted: Callable[[str], bool], mistakes: Mistakes, *, line: int
) -> dict[str, int]:
    """Return column -> place in the row, and note a wanted column that stands twice."""
    places: dict[str, int] = {}
    for place, name in enumerate(header):
        if name in places and wanted(name):
            cure = "rename or delete one of the two"
            mistakes.add(cure, line=line, what=f'column "{name}" stands twice in the header')
        places.setdefault(name, place)
    return places
