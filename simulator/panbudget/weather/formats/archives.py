"""
Archives: what is common to the formats in which archives publish their records, and the one walk over such a table.

An archive fixes names, units and codes, so a format is a `Layout` (a table of its columns) and nothing in it is a guess;
what doesn't fit is named by line, one message for each kind of mistake. What a format's flags mean, its module says.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import WeatherError
from panbudget.numeric import Floats, Ints
from panbudget.weather.site import Station
from panbudget.weather.text.columns import REQUIRED, STANDARD
from panbudget.weather.text.mistakes import Mistakes, shortened
from panbudget.weather.text.moments import read_dates
from panbudget.weather.text.raw import ColumnChoice, LeftOut, RawTable
from panbudget.weather.text.rows import read_rows
from panbudget.weather.text.source import Source

DOWNLOAD = "download the file again"
_NUMBER = re.compile(r"[+-]?(?:\d{1,15}(?:\.\d*)?|\.\d+)")
_CUT_OFF = "a file that is cut off or edited: download it again"


class Measure(NamedTuple):
    """
    A quantity of a format: the standard column, its unit in the file, and value · factor + offset in ours.

    ``missing`` are codes for a missing value; ``trace`` says what the code -1 is, which then counts as 0.
    """

    column: str
    unit: str
    factor: float = 1.0
    offset: float = 0.0
    missing: tuple[float, ...] = ()
    trace: str = ""


@dataclass(frozen=True)
class Layout:
    """
    What a format fixes.

    Parameters
    ----------
    recognised : str
        What a report calls it.
    measures : dict
        Column of the file -> measure; of two for one quantity, the first that the file has is used.
    station : tuple of str
        Columns that tell one station from another.
    date : tuple of str
        Columns of the day: one, or year, month and day, or year and day of the year.
    wind_heights : dict
        Column of wind -> height of its gauge. [m]
    whole : bool
        Whether it has whole numbers only, tenths as a rule: a decimal then betrays another unit.
    comments : bool
        Whether lines that begin with # are no rows.
    sparse : bool
        Whether a column that is blank throughout was never measured (temperatures aside).
    """

    recognised: str
    measures: Mapping[str, Measure]
    station: tuple[str, ...]
    date: tuple[str, ...]
    wind_heights: Mapping[str, float]
    whole: bool = False
    comments: bool = False
    sparse: bool = False


@dataclass(eq=False)
class Archived:
    """
    A table of an archive, before its flags are heeded.

    Parameters
    ----------
    frame : DataFrame of str
        Its rows.
    lines : ndarray of int, (rows,)
    days : list of date, (rows,)
    values : dict
        Standard column -> ndarray (rows,) in the file's unit, NaN where missing.
    notes, absent, left_out
        As in `RawTable`.
    """

    frame: pd.DataFrame
    lines: Ints
    days: Sequence[dt.date]
    values: dict[str, Floats]
    notes: list[str] = field(default_factory=list)
    absent: dict[str, str] = field(default_factory=dict)
    left_out: dict[str, LeftOut] = field(default_factory=dict)


def read_archive(
    source: Source,
    layout: Layout,
    *,
    line: int,
    header: list[str],
    heed: Callable[[Archived], Station],
    mistakes: Mistakes,
) -> RawTable:
    """
    Walk over an archive's table.

    Parameters
    ----------
    source : Source
    layout : Layout
    line : int
        The header's.
    header : list of str
        Its cells.
    heed : callable
        Heeds the format's own flags, adds its notes, and returns the station.
    mistakes : Mistakes
        What is wrong above the table.

    Returns
    -------
    RawTable
        Rows in the file's order.

    Raises
    ------
    WeatherError
        A column twice, no temperatures, rows that don't fit, several stations, cells that are no numbers or dates.
    """
    chosen: dict[str, str] = {}
    for name, measure in layout.measures.items():
        if name in header:
            chosen.setdefault(measure.column, name)
    listed = ", ".join(name for name in header if name not in (*layout.station, *layout.date))
    require_temperatures(chosen, source, measures=layout.measures, listed=listed)
    frame, lines = frame_below(source, layout, line, header, mistakes)
    days = read_dates(_day_texts(frame, layout.date), lines, mistakes)
    notes: list[str] = []
    values = {}
    for column, name in chosen.items():
        measure = layout.measures[name]
        found = measured(frame[name], name, lines, mistakes, missing=measure.missing, whole=layout.whole)
        if measure.trace:
            notes += days_noted(int((found == -1.0).sum()), measure.trace)
            found = np.where(found == -1.0, 0.0, found)
        if not layout.sparse or column in REQUIRED or not np.isnan(found).all():
            values[column] = found
    mistakes.raise_if_any(source.shown_as)
    table = Archived(frame, lines, [day for day in days if day is not None], values, notes)
    station = heed(table)
    return finished(table, layout, chosen, station)


def finished(table: Archived, layout: Layout, chosen: Mapping[str, str], station: Station) -> RawTable:
    """Put columns together to what every reader returns: ``chosen`` is standard column -> its name in the file."""
    measures = {column: layout.measures[chosen[column]] for column in table.values}
    stamps = np.array(table.days, dtype="datetime64[D]").astype("datetime64[ns]")
    standard = {column: table.values[column] * m.factor + m.offset for column, m in measures.items()}
    conversions = {column: (m.factor, m.offset) for column, m in measures.items()}
    return RawTable(
        daily=pd.DataFrame(standard, index=pd.DatetimeIndex(stamps, name="date")),
        lines=tuple(table.lines.tolist()),
        recognised=layout.recognised,
        units={column: measure.unit for column, measure in measures.items()},
        unit_is_stated=frozenset(measures),
        headers={column: chosen[column] for column in measures},
        conversions={column: pair for column, pair in conversions.items() if pair != (1.0, 0.0)},
        station=station,
        notes=tuple(table.notes),
        wind_height=layout.wind_heights.get(chosen["wind"]) if "wind" in measures else None,
        absent=table.absent,
        left_out=table.left_out,
    )


def frame_below(
    source: Source, layout: Layout, line: int, header: list[str], mistakes: Mistakes
) -> tuple[pd.DataFrame, Ints]:
    """
    Read the rows below a header line, and refuse those of several stations.

    The header again is passed over: files of several years are often one after the other.

    Returns
    -------
    (DataFrame of str, ndarray of int)
        The cells by the names in the header, and the line of each row.
    """
    for name in dict.fromkeys((*layout.measures, *layout.station, *layout.date)):
        if header.count(name) > 1:
            found = f'column "{name}" stands twice in the header'
            mistakes.add("column-twice", f"line {line}:", found, cure="rename or delete one of the two", kind=name)
    rows = read_rows(
        source.text.split("\n"),
        mistakes,
        above=line,
        separator=",",
        width=len(header),
        expected=f"{len(header)} are expected",
        cures=(_CUT_OFF, _CUT_OFF),
        header=header,
        comments=layout.comments,
    )
    mistakes.raise_if_any(source.shown_as)
    if not rows.texts:
        raise source.refusal("no-row", "is a header and no row follows", DOWNLOAD, where=f"line {line}")
    frame = pd.DataFrame(list(rows.cells()), columns=header)
    frame = frame.loc[:, ~frame.columns.duplicated()]
    if set(layout.station) <= set(header):
        one_station(frame[list(layout.station)].agg(" ".join, axis=1), rows.lines, source)
    return frame, rows.lines


def one_station(names: pd.Series[str], lines: Ints, source: Source) -> None:
    """Refuse rows of several stations."""
    firsts = names.drop_duplicates()
    if len(firsts) <= 1:
        return
    shown = ", ".join(
        f"{name} from line {lines[i]}" for i, name in zip(firsts.index[:3].tolist(), firsts, strict=False)
    )
    more = f" and {len(firsts) - 3} more" if len(firsts) > 3 else ""
    found = f"holds {len(firsts)} stations ({shown}{more})"
    cure = "keep one station's rows, or download a file of one station"
    raise source.refusal("several-stations", found, cure, expected="one")


def _day_texts(frame: pd.DataFrame, date: Sequence[str]) -> list[str]:
    """Return each row's day as one text."""
    if len(date) == 1:
        return frame[date[0]].tolist()
    if set(date) <= set(frame.columns):
        return ["-".join(parts) for parts in zip(*(frame[name] for name in date), strict=True)]
    year_and_day = frame["YEAR"].str.cat(frame["DOY"].str.zfill(3), sep=" ")
    found = pd.to_datetime(year_and_day, format="%Y %j", errors="coerce")
    return found.dt.strftime("%Y-%m-%d").fillna(year_and_day).tolist()


def measured(
    texts: pd.Series[str],
    names: str | pd.Series[str],
    lines: Ints,
    mistakes: Mistakes,
    *,
    missing: Collection[float] = (),
    whole: bool = False,
) -> Floats:
    """
    Read cells as numbers; NaN for a blank one, a code for a missing value, and what is no number.

    Parameters
    ----------
    texts : Series of str, (rows,)
        The cells, stripped.
    names : str or Series of str, (rows,)
        Of their column in the file, for messages.
    lines : ndarray of int, (rows,)
        Of the file, for messages.
    mistakes : Mistakes
        Where a cell that is no number is noted.
    missing : collection of float
        Codes for a missing value.
    whole : bool
        Whether the format has whole numbers only.

    Returns
    -------
    ndarray, (rows,)
        In the file's unit.
    """
    plain = texts.str.fullmatch(_NUMBER).to_numpy(dtype=bool)
    broken = plain & texts.str.contains(".", regex=False).to_numpy(dtype=bool) if whole else np.zeros(len(texts), bool)
    for i in np.flatnonzero(broken | (~plain & (texts != "").to_numpy(dtype=bool))).tolist():
        name = names if isinstance(names, str) else names.iloc[i]
        found, cure = f"{name} is {shortened(texts.iloc[i])!r}", f"correct it, or {DOWNLOAD}"
        what = "{more}, which is not a number"
        if broken[i]:
            what = "{more}, and this format has whole numbers (of tenths as a rule)"
            cure = f'the file may be in other units: set format = "table" and name columns and units, or {cure[15:]}'
        mistakes.add("no-number", f"line {lines[i]}:", found + what, cure=cure, noun="line", value=texts.iloc[i])
    values = pd.to_numeric(texts.where(plain & ~broken), errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    return np.where(np.isin(values, list(missing)), np.nan, values)


def refuse_columns(columns: Mapping[str, ColumnChoice], source: Source, name: str) -> None:
    """Refuse names for the columns of a format that has its own."""
    if not columns:
        return
    keys = ", ".join(f"{source.table}.columns.{key}" for key in columns)
    found = f'names columns, and the format "{name}" says itself what its columns are'
    cure = f'take [{source.table}.columns] out, or write format = "table" beside the file if it is a plain table'
    raise source.refusal("own-columns", found, cure, where=keys)


def station_at(name: str, latitude: str = "", longitude: str = "", elevation: str = "") -> Station:
    """Make a station of a file's cells; what is blank, no number or a code for a missing value is left out."""
    limits = ((latitude, -90.0, 90.0), (longitude, -180.0, 180.0), (elevation, -449.9, 8999.9))
    place = (float(text) if _NUMBER.fullmatch(text) else np.inf for text, _, _ in limits)
    return Station(name, *(v if low <= v <= high else None for v, (_, low, high) in zip(place, limits, strict=True)))


def require_temperatures(
    found: Collection[str], source: Source, *, measures: Mapping[str, Measure], listed: str
) -> None:
    """Refuse a file without minimum or maximum temperature; ``listed`` is what it does have."""
    absent = {m.column: name for name, m in measures.items() if m.column in REQUIRED and m.column not in found}
    if not absent:
        return
    words = " and ".join(f"{absent[name]} ({STANDARD[name].meaning})" for name in REQUIRED if name in absent)
    what = f"has no {words}, and temperatures are never invented; it has {listed or 'no known quantity'}"
    cure = "download it with them, or choose a station that measures them"
    raise source.refusal("no-temperature", what, cure)


def no_header(source: Source, line: int, expected: str) -> WeatherError:
    """Make the refusal of a line that is not the format's header."""
    shown = source.text.split("\n")[line - 1].strip()[:60]
    found = f'"{shown}" is not the header of this format'
    cure = f"{DOWNLOAD}, or correct {source.table}.format"
    return source.refusal("no-header", found, cure, where=f"line {line}:", expected=expected)


def first_line(source: Source) -> int:
    """Return the first line that isn't blank, counted from 1."""
    return next(line for line, text in enumerate(source.text.split("\n"), start=1) if text.strip())


def days_noted(count: int, what: str) -> list[str]:
    """Write a note that begins with how many days it is about; nothing for none."""
    return [f"{count} day{'s' if count > 1 else ''}: {what}"] if count else []


def cut_off_notes(source: Source) -> list[str]:
    """Say so where the last line has no end, as it always has in an archive's own file."""
    if source.text.endswith("\n"):
        return []
    return ["the file's last line has no line end: if it was cut off there, its last value may lack digits"]


def days_where(table: Archived, mask: npt.NDArray[np.bool_]) -> frozenset[dt.date]:
    """Return the days on which a mask holds."""
    return frozenset(day for day, holds in zip(table.days, mask, strict=True) if holds)
