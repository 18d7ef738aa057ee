"""
Logger: the tables of garden weather stations, a record every hour or every few minutes.

A header line with English words, with or without units in it, below any title lines; comma, semicolon, tab or bar
between the columns, decimal point or decimal comma; one column of times, or a date and a time. The days are those
of the file's own clock, a record belonging to the day that is written on it.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from panbudget.errors import Problem
from panbudget.physics.air import Floats, saturation_vapour_pressure
from panbudget.weather.site import Site
from panbudget.weather.subdaily.hourly import Records, to_days
from panbudget.weather.text.cells import Cells, read_cells
from panbudget.weather.text.headers import Header, is_weather, read_logger_header
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.moments import ReadStamps, TimeColumns, find_time, moments_of, read_stamps
from panbudget.weather.text.raw import ColumnChoice, RawTable
from panbudget.weather.text.rows import SEPARATORS, read_rows, separator_of, split
from panbudget.weather.text.source import Source

NAME = "logger"
#: where the format is described
SOURCE = "none: what such stations' tables have in common"

# lines in which a header may stand, rows looked at below it, and lines of units between
_HEAD, _ROWS, _BETWEEN = 30, 5, 3
# how much better °F must fit the three columns of damp air than °C does [% of relative humidity]
_MUCH_BETTER = 3.0


@dataclass(frozen=True)
class _Opening:
    """The header: how many lines stand above the first row, its line, cells, separator, units and times."""

    above: int
    line: int
    cells: list[str]
    separator: str
    units: list[str]
    time: TimeColumns


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is a station's table with times.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        High where a header with a temperature stands above rows with a time of day. And why.
    """
    opening = _find_header(head.split("\n"))
    if opening is None:
        return 0.0, "no header above rows with a time of day"
    if is_weather(opening.cells):
        return 0.8, "header line with a temperature, rows with a time of day"
    return 0.3, "header line, rows with a time of day"


def read(source: Source, *, columns: Mapping[str, ColumnChoice], site: Site) -> RawTable:
    """
    Read a station's table.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Quantity, or a daily column that comes of it, -> column and unit; "date" and "time" for the clock.
    site : Site
        Its time zone says when clocks are changed.

    Returns
    -------
    RawTable
        One row a day.

    Raises
    ------
    WeatherError
        All that is wrong with the header, the rows, the times and the values.
    """
    lines = source.text.split("\n")
    opening = _find_header(lines[: 2 * _HEAD], columns)
    if opening is None:
        expected = (
            "a header such as time,temperature (°C),humidity (%),wind (m/s),rain (mm) above rows such as "
            "2025-05-01 13:00,21.5,48,1.2,0"
        )
        cure = f'add one, or name the column under [{source.table}.columns], date = {{ column = "its header" }}'
        found = "no header line stands above rows with a time of day"
        raise source.refusal("no-header", found, cure, expected=expected)
    header = read_logger_header(
        opening.cells,
        columns,
        time_places=opening.time.places,
        line=opening.line,
        units=opening.units,
        table=source.table,
    )
    mistakes = Mistakes()
    mistakes.others += header.problems
    mistakes.raise_if_any(source.shown_as)
    cells = _read_rows(lines, opening, header, mistakes)
    mistakes.raise_if_any(source.shown_as)
    if not len(cells.lines):
        where, found = f"line {opening.line}", "is a header and no row follows"
        raise source.refusal("no-row", found, "export the file again", where=where)
    when = _when(cells, opening.time)
    mistakes.others += when.problems
    mistakes.raise_if_any(source.shown_as)
    values = _values(cells, header, when.stamps)
    mistakes.others += _unlikely_units(values, header)
    mistakes.raise_if_any(source.shown_as)
    values = {name: column for name, column in values.items() if not np.isnan(column).all()}
    if "temperature" not in values:
        where, found = (
            f'"{header.headers["temperature"]}"',
            "is empty in every row, and temperatures are never invented",
        )
        raise source.refusal("no-temperature", found, "export the file again", where=where)
    utc = when.utc or opening.time.utc
    every = frozenset(values)
    records = Records(
        stamps=when.stamps,
        values=values,
        lines=cells.lines,
        utc=utc,
        rain_kind=_rain_kind(header, when.stamps),
        ending=every if when.ends else frozenset(),
        units={name: unit for name, unit in header.units.items() if name in values},
        stated=frozenset(header.stated & every),
        headers={name: text for name, text in header.headers.items() if name in values},
    )
    separator = SEPARATORS[opening.separator]
    clock = "UTC" if utc else "the file's own clock"
    recognised = f"station table: {separator} between columns, decimal {cells.decimal}, times {when.style} in {clock}"
    raw = to_days(records, site, recognised=recognised, shown_as=source.shown_as, notes=header.notes)
    return dataclasses.replace(raw, conversions=_daily_conversions(header, values))


def _find_header(lines: Sequence[str], columns: Mapping[str, ColumnChoice] | None = None) -> _Opening | None:
    for i, text in enumerate(lines[:_HEAD]):
        if not text.strip() or text.lstrip().startswith("#"):
            continue
        separator = separator_of(text)
        cells = split(text, separator)
        if len(cells) < 2 or not any(re.search(r"[A-Za-z]", cell) for cell in cells):
            continue
        while cells and not cells[-1]:
            cells.pop()
        below = [(j, line) for j, line in enumerate(lines[i + 1 : i + 60], i + 1) if line.strip()]
        for skipped in range(min(_BETWEEN + 1, len(below))):
            rows = [split(line, separator) for _, line in below[skipped : skipped + _ROWS]]
            if len(rows) > 1:
                rows = [row for row in rows if len(row) >= len(cells)] or rows
            time = _named_time(cells, rows, columns or {}) or find_time(cells, rows)
            if time is None:
                continue
            units = [split(line, separator) for _, line in below[:skipped]]
            return _Opening(below[skipped][0], i + 1, cells, separator, units[0] if units else [], time)
    return None


def _named_time(
    cells: Sequence[str], rows: Sequence[Sequence[str]], columns: Mapping[str, ColumnChoice]
) -> TimeColumns | None:
    """Find the columns that the user names for the clock."""
    places = [
        cells.index(columns[name].column)
        for name in ("date", "time")
        if name in columns and columns[name].column in cells
    ]
    if not places:
        return None
    if len(places) == 1:
        only = find_time([cells[places[0]] + " time"], [[row[places[0]]] for row in rows if len(row) > places[0]])
        return None if only is None else TimeColumns((places[0],), only.utc)
    return TimeColumns(tuple(places))


def _read_rows(lines: Sequence[str], opening: _Opening, header: Header, mistakes: Mistakes) -> Cells:
    """Read the columns that are used, and those that say when."""
    rows = read_rows(
        lines,
        mistakes,
        above=opening.above,
        separator=opening.separator,
        width=len(opening.cells),
        header=opening.cells,
    )
    rows.refuse_repeats(mistakes)
    numbers = {place: f'"{header.headers[name]}"' for name, place in header.places.items()}
    times = opening.time.places
    if len(times) > 2:
        numbers |= {place: opening.cells[place] for place in times}
    return read_cells(rows, mistakes, numbers=numbers, texts=times if len(times) <= 2 else ())


def _when(cells: Cells, time: TimeColumns) -> ReadStamps:
    if len(time.places) <= 2:
        texts = [cells.texts[place] for place in time.places]
        return read_stamps(
            texts[0] if len(texts) == 1 else texts[0].str.strip() + " " + texts[1].str.strip(), cells.lines
        )
    *parts, hour = (cells.numbers[place] for place in time.places[:4])
    last = hour == 24.0
    mistakes = Mistakes()
    stamps = moments_of([*parts, np.where(last, 23.0, hour)], cells.lines, mistakes)
    stamps = stamps + np.where(last, np.timedelta64(1, "h"), np.timedelta64(0, "h"))
    if len(time.places) == 5:
        stamps = stamps + np.nan_to_num(cells.numbers[time.places[4]]).astype(np.int64) * np.timedelta64(1, "m")
    style = "by year, month, day and hour"
    return ReadStamps(stamps, ends=bool(last.any()), style=style, problems=mistakes.problems())


def _values(cells: Cells, header: Header, stamps: npt.NDArray[np.datetime64]) -> dict[str, Floats]:
    values: dict[str, Floats] = {}
    for name, place in header.places.items():
        factor, offset = header.conversions.get(name, (1.0, 0.0))
        if name == "radiation" and header.energy is not None:
            factor = header.energy / _usual_step(stamps)
        values[name] = cells.numbers[place] * factor + offset
    return values


def _usual_step(stamps: npt.NDArray[np.datetime64]) -> float:
    apart = np.abs(np.diff(stamps.astype("datetime64[s]").astype(np.int64)))
    apart = apart[apart > 0]
    return float(np.median(apart)) if apart.size else 3600.0


def _rain_kind(header: Header, stamps: npt.NDArray[np.datetime64]) -> str:
    if header.rain_kind == "hourly" and _usual_step(stamps) >= 0.9 * 3600.0:
        return "interval"
    return header.rain_kind


def _unlikely_units(values: dict[str, Floats], header: Header) -> list[Problem]:
    """Refuse a temperature without a unit that other columns show to be in °F."""
    if "temperature" in header.stated:
        return []
    text = header.headers["temperature"]
    cure = (
        f'name its unit in the header, "{text} (°F)" or "{text} (°C)", or under [{header.table}.columns], temperature = '
        f'{{ column = "{text}", unit = "degF" }}'
    )
    if header.imperial:
        found = (
            f'names no unit while "{header.imperial[0]}" is in an imperial one; °C is taken only where nothing speaks '
            "against it"
        )
        return [Problem("no-unit", f'"{text}"', found, cure=cure, value=text)]
    if {"humidity", "dew_point"} <= values.keys() and "dew_point" not in header.stated:
        off = {scale: _humidity_error(values, scale) for scale in ("°C", "°F")}
        if off["°F"] + _MUCH_BETTER < off["°C"] and off["°F"] < _MUCH_BETTER:
            where = f'"{text}", "{header.headers["dew_point"]}" and "{header.headers["humidity"]}"'
            found = f"agree if the two temperatures are in °F, and are {off['°C']:.0f} % of humidity apart if in °C"
            return [Problem("looks-imperial", where, found, cure=f"{cure}, and the dew point's likewise", value=text)]
    return []


def _humidity_error(values: dict[str, Floats], scale: str) -> float:
    """Typical difference between the humidity measured and that of temperature and dew point. [%]"""

    def celsius(column: Floats) -> Floats:
        return column if scale == "°C" else (column - 32.0) / 1.8

    some = slice(None, None, max(len(values["humidity"]) // 5000, 1))
    dew_point, temperature = celsius(values["dew_point"][some]), celsius(values["temperature"][some])
    sound = (np.abs(dew_point) < 150.0) & (np.abs(temperature) < 150.0)
    if not sound.any():
        return float("inf")
    pressure = saturation_vapour_pressure(dew_point[sound])
    found = 100.0 * pressure / saturation_vapour_pressure(temperature[sound])
    off = np.abs(found - values["humidity"][some][sound])
    off = off[~np.isnan(off)]
    return float(np.median(off)) if off.size else float("inf")


def _daily_conversions(header: Header, values: dict[str, Floats]) -> dict[str, tuple[float, float]]:
    """Conversions of daily columns whose figures are the records' own: extremes, means and sums of one unit."""
    daily = {"temperature": ("tmin", "tmax"), "wind": ("wind",), "rain": ("rain",), "pressure": ("pressure",)}
    return {
        day: header.conversions[name]
        for name, days in daily.items()
        if name in values and header.conversions.get(name, (1.0, 0.0)) != (1.0, 0.0)
        for day in days
    }
