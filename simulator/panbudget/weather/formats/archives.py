"""
Archives: what is common to the formats in which archives publish their records, and the one walk over such a table.

An archive fixes names, units and codes, so a format is a `Layout` (a table of its columns) and nothing in it is a guess;
what doesn't fit is named by line, one message for each kind of mistake. What a format's flags mean, its module says.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import WeatherError
from panbudget.numeric import Floats, Ints
from panbudget.weather.text.columns import REQUIRED, STANDARD
from panbudget.weather.text.mistakes import Mistakes, listed, note, notes, shortened
from panbudget.weather.text.moments import Days, days_at_a_stroke, days_from, plain_dates, read_dates
from panbudget.weather.text.raw import LeftOut, RawTable, Source, Station
from panbudget.weather.text.rows import read_rows
from panbudget.words import packaged

_NUMBER = re.compile(r"[+-]?(?:\d{1,15}(?:\.\d*)?|\.\d+)")
LAYOUTS = packaged("weather/formats/layouts.toml")


class Measure(NamedTuple):
    """
    A quantity of a format: the standard column, its unit in the file, and value · factor + offset in ours.

    ``missing`` are codes for a missing value; ``trace`` says what the code -1 is, which then counts as 0; ``explained`` is
    what the file's explanation of the column must say, if it has one; ``header`` is what the format calls it in messages.
    """

    column: str
    unit: str
    factor: float = 1.0
    offset: float = 0.0
    missing: Sequence[float] = ()
    trace: str = ""
    explained: str = ""
    header: str = ""


class Layout(NamedTuple):
    """
    What a format fixes.

    Parameters
    ----------
    recognised : str
        What a report calls it.
    measures : dict
        Column of the file -> measure; of two for one quantity, the first that the file has is used.
    station : sequence of str
        Columns that tell one station from another.
    date : sequence of str
        Columns of the day: one, or year, month and day, or year and day of the year.
    wind_heights : dict
        Column of wind -> height of its gauge. [m]
    whole : bool
        Whether it has whole numbers only, tenths as a rule: a decimal then betrays another unit.
    comments : bool
        Whether lines that begin with # are no rows.
    sparse : bool
        Whether a column that is blank throughout was never measured (temperatures aside).
    place : sequence of str
        Columns that say where the station is, which the first row tells.
    more : sequence of str
        Other columns that its reader looks at.
    units : dict
        Unit that a measure has if the file names none -> others that it may name -> factor.
    """

    recognised: str
    measures: Mapping[str, Measure]
    station: Sequence[str]
    date: Sequence[str]
    wind_heights: Mapping[str, float]
    whole: bool = False
    comments: bool = False
    sparse: bool = False
    place: Sequence[str] = ()
    more: Sequence[str] = ()
    units: Mapping[str, Mapping[str, float]] = {}


def facts_of(name: str) -> dict[str, Any]:
    """Return what ``layouts.toml`` says of a format."""
    facts = LAYOUTS[name]
    measures = {column: Measure(**measure) for column, measure in facts["measures"].items()}
    return {**facts, "measures": measures}


@dataclass(eq=False)
class Archived:
    """
    A table of an archive, before its flags are heeded.

    Parameters
    ----------
    frame : DataFrame of str
        Its rows.
    lines : ndarray of int, (rows,)
    days : ndarray of datetime64[D], (rows,)
    chosen : dict
        Standard column -> the file's, of which it is read.
    values : dict
        Standard column -> ndarray (rows,) in the file's unit, NaN where missing.
    notes, absent, left_out
        As in `RawTable`.
    """

    frame: pd.DataFrame
    lines: Ints
    days: Days
    chosen: dict[str, str] = field(default_factory=dict)
    values: dict[str, Floats] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    absent: dict[str, str] = field(default_factory=dict)
    left_out: dict[str, LeftOut] = field(default_factory=dict)


def read_archive(
    source: Source,
    layout: Layout,
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
    others = [name for name in header if name not in (*layout.station, *layout.date)]
    require_temperatures([name for name in layout.measures if name in header], others, source, layout)
    frame, lines, days = frame_below(source, layout, line, header, mistakes)
    table = Archived(frame, lines, days)
    for name, measure in layout.measures.items():
        if name not in header or measure.column in table.chosen:
            continue
        table.chosen[measure.column] = name
        figures = measured(frame[name], name, lines, mistakes, measure.missing, whole=layout.whole)
        if measure.trace:
            table.notes += notes("trace", int((figures == -1.0).sum()), what=measure.trace)
            figures = np.where(figures == -1.0, 0.0, figures)
        if not layout.sparse or measure.column in REQUIRED or not np.isnan(figures).all():
            table.values[measure.column] = figures
    mistakes.raise_if_any(source.shown_as)
    station = heed(table)
    return finished(table, layout, station)


def finished(table: Archived, layout: Layout, station: Station) -> RawTable:
    """Put columns together to what every reader returns."""
    measures = {column: layout.measures[table.chosen[column]] for column in table.values}
    stamps = table.days.astype("datetime64[ns]")
    standard = {column: table.values[column] * m.factor + m.offset for column, m in measures.items()}
    conversions = {column: (m.factor, m.offset) for column, m in measures.items()}
    return RawTable(
        daily=pd.DataFrame(standard, index=pd.DatetimeIndex(stamps, name="date")),
        lines=table.lines,
        recognised=layout.recognised,
        units={column: measure.unit for column, measure in measures.items()},
        unit_is_stated=frozenset(measures),
        headers={column: table.chosen[column] for column in measures},
        conversions={column: pair for column, pair in conversions.items() if pair != (1.0, 0.0)},
        station=station,
        notes=tuple(table.notes),
        wind_height=layout.wind_heights.get(table.chosen["wind"]) if "wind" in measures else None,
        absent=table.absent,
        left_out=table.left_out,
    )


def frame_below(
    source: Source, layout: Layout, line: int, header: list[str], mistakes: Mistakes
) -> tuple[pd.DataFrame, Ints, Days]:
    """
    Read the rows below a header line, and refuse those of several stations.

    The header again is passed over: files of several years are often one after the other.

    Returns
    -------
    (DataFrame of str, ndarray of int, ndarray of datetime64[D])
        The cells by the names in the header, but for dates that are read already; the line and the day of each row.
    """
    for name in dict.fromkeys((*layout.measures, *layout.station, *layout.date)):
        if header.count(name) > 1:
            mistakes.add("column-twice", kind=name, line=line, column=name)
    comments = layout.comments
    rows = read_rows(
        source.lines, mistakes, above=line, separator=",", header=header, whose="archive-", comments=comments
    )
    mistakes.raise_if_any(source.shown_as)
    if not rows.texts:
        raise source.refusal("no-row", line=line)
    wanted = {*layout.measures, *layout.station, *layout.date, *layout.more, "YEAR", "DOY"}
    names = [name for name in dict.fromkeys(header) if name in wanted]
    days = days_at_a_stroke(rows, header.index(layout.date[0])) if len(layout.date) == 1 else None
    names = [name for name in names if days is None or name != layout.date[0]]
    frame = rows.columns([header.index(name) for name in names]).set_axis(names, axis=1)
    first = dict(zip(reversed(header), reversed(next(iter(rows.cells()))), strict=True))
    frame = frame.assign(**{name: first[name] for name in layout.place if name in first})
    if set(layout.station) <= set(header) and any(frame[name].cat.categories.size > 1 for name in layout.station):
        firsts = frame[list(layout.station)].drop_duplicates()
        one_station(firsts.agg(" ".join, axis=1), rows.lines, source)
    days = days if days is not None else _days_in_parts(frame, layout.date)
    return (
        frame,
        rows.lines,
        days if days is not None else _days_of(_day_texts(frame, layout.date), rows.lines, mistakes),
    )


def one_station(names: pd.Series[str], lines: Ints, source: Source) -> None:
    """Refuse rows of several stations."""
    firsts = names.drop_duplicates()
    if len(firsts) > 1:
        named = listed(
            (f"{name} from line {lines[i]}" for i, name in zip(firsts.index.tolist(), firsts, strict=True)), 3
        )
        raise source.refusal("several-stations", count=len(firsts), named=named)


def _days_of(texts: pd.Series[str], lines: Ints, mistakes: Mistakes) -> Days:
    """Read a column of dates; each text is looked at once, if all are plain."""
    code, kinds = pd.factorize(texts)
    plain = plain_dates(list(kinds))
    return read_dates(texts.tolist(), lines, mistakes) if plain is None else plain[code]


def _days_in_parts(frame: pd.DataFrame, date: Sequence[str]) -> Days | None:
    """Read year, month and day at a stroke, each kind of text once; nothing where they are no such columns or no plain days."""
    if len(date) != 3 or not set(date) <= set(frame.columns):
        return None
    kinds = [list(frame[name].cat.categories) for name in date]
    if not all(text.isdigit() and len(text) <= 4 and text.isascii() for texts in kinds for text in texts):
        return None
    numbers = (np.array(texts, dtype=np.int64)[frame[name].cat.codes] for texts, name in zip(kinds, date, strict=True))
    return days_from(*numbers)


def _day_texts(frame: pd.DataFrame, date: Sequence[str]) -> pd.Series[str]:
    """Return each row's day as one text."""
    if len(date) == 1:
        return frame[date[0]]
    if set(date) <= set(frame.columns):
        return pd.Series(list(map("-".join, zip(*(frame[name].tolist() for name in date), strict=True))), dtype=object)
    frame = frame.astype(object)
    year_and_day = frame["YEAR"].str.cat(frame["DOY"].str.zfill(3), sep=" ")
    days = pd.to_datetime(year_and_day, format="%Y %j", errors="coerce")
    same = days.dt.strftime("%Y %j") == year_and_day  # day 366 of a common year would be another year's first
    return days.dt.strftime("%Y-%m-%d").where(same, year_and_day)


def measured(
    texts: pd.Series[str],
    names: str | pd.Series[str],
    lines: Ints,
    mistakes: Mistakes,
    missing: Sequence[float],
    *,
    whole: bool,
) -> Floats:
    """
    Read cells as numbers; NaN for a blank one, a code for a missing value, and what is no number.

    Parameters
    ----------
    texts : Series of str, (rows,)
        The cells, stripped.
    names : str, or Series of str, (rows,)
        Of each one's column in the file, for messages.
    lines : ndarray of int, (rows,)
        Of the file, for messages.
    mistakes : Mistakes
        Where a cell that is no number is noted.
    missing : sequence of float
        Codes for a missing value.
    whole : bool
        Whether the format has whole numbers only.

    Returns
    -------
    ndarray, (rows,)
        In the file's unit.
    """
    # figures repeat: each is looked at once
    code, figures = pd.factorize(texts)
    broken = np.array([whole and "." in text and _NUMBER.fullmatch(text) is not None for text in figures], dtype=bool)
    bad = broken | np.array([text != "" and _NUMBER.fullmatch(text) is None for text in figures], dtype=bool)
    for i in np.flatnonzero(bad[code]).tolist() if bad.any() else ():
        key, text = "not-whole" if broken[code[i]] else "archive-no-number", texts.iloc[i]
        name = names if isinstance(names, str) else names.iloc[i]
        mistakes.add(key, value=text, line=lines[i], name=name, text=shortened(text))
    values = np.array(
        [np.nan if wrong or text == "" else float(text) for text, wrong in zip(figures, bad, strict=True)]
    )
    values[np.isin(values, list(missing))] = np.nan
    return values[code] if len(values) else np.zeros(0)


def station_at(name: str, latitude: str = "", longitude: str = "", elevation: str = "") -> Station:
    """Make a station of a file's cells; what is blank, no number or a code for a missing value is left out."""
    limits = ((latitude, -90.0, 90.0), (longitude, -180.0, 180.0), (elevation, -449.9, 8999.9))
    place = (float(text) if _NUMBER.fullmatch(text) else np.inf for text, _, _ in limits)
    return Station(name, *(v if low <= v <= high else None for v, (_, low, high) in zip(place, limits, strict=True)))


def require_temperatures(present: Collection[str], names: Collection[str], source: Source, layout: Layout) -> None:
    """Refuse a file without minimum or maximum temperature: its measures are ``present``, and it has what ``names`` say."""
    columns = {layout.measures[name].column for name in present}
    absent = {m.column: name for name, m in layout.measures.items() if m.column in REQUIRED and m.column not in columns}
    if absent:
        words = " and ".join(f"{absent[name]} ({STANDARD[name].meaning})" for name in REQUIRED if name in absent)
        raise source.refusal("no-temperature", absent=words, listed=", ".join(names) or "no known quantity")


def no_header(source: Source, line: int, expected: str) -> WeatherError:
    """Make the refusal of a line that is not the format's header."""
    text = source.lines[line - 1].strip()[:60]
    return source.refusal("no-header", line=line, text=text, expected=expected, table=source.table)


def first_line(source: Source) -> int:
    """Return the first line that isn't blank, counted from 1."""
    return next(line for line, text in enumerate(source.lines, start=1) if text.strip())


def cut_off_notes(source: Source) -> list[str]:
    """Say so where the last line has no end, as it always has in an archive's own file."""
    return [] if source.text.endswith("\n") else [note("cut-off")]
