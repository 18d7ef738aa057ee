"""
Logger: the tables of garden weather stations, a record every hour or every few minutes.

A header line with English words, with or without units in it, below any title lines; comma, semicolon, tab or bar
between the columns, decimal point or decimal comma; one column of times, or a date and a time. The days are those
of the file's own clock, a record belonging to the day that is written on it.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from panbudget.physics.air import Floats, saturation_vapour_pressure
from panbudget.weather.subdaily.hourly import Records, to_days
from panbudget.weather.text.cells import Cells, read_cells
from panbudget.weather.text.headers import Header, is_weather, read_logger_header
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.moments import ReadStamps, TimeColumns, find_time, moments_of, read_stamps
from panbudget.weather.text.raw import Columns, RawTable, Site, Source
from panbudget.weather.text.rows import SEPARATORS, read_rows, separator_of, split

NAME = "logger"
#: where the format is described
SOURCE = "none: what such stations' tables have in common"

# lines in which a header may stand, rows looked at below it, and lines of units between
_HEAD, _ROWS, _BETWEEN = 30, 5, 3
# how much better °F must fit the three columns of damp air than °C does [% of relative humidity]
_MUCH_BETTER = 3.0


class _Opening(NamedTuple):
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


def read(source: Source, *, columns: Columns, site: Site) -> RawTable:
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
    lines = source.lines
    opening = _find_header(lines[: 2 * _HEAD], columns)
    if opening is None:
        raise source.refusal("logger-no-header", table=source.table)
    header = read_logger_header(
        opening.cells, columns, times=opening.time.places, line=opening.line, units=opening.units, table=source.table
    )
    mistakes = Mistakes(header.problems)
    mistakes.raise_if_any(source.shown_as)
    times = opening.time.places
    rows = read_rows(lines, mistakes, above=opening.above, separator=opening.separator, header=opening.cells)
    rows.refuse_repeats(mistakes)
    numbers = {place: f'"{header.headers[name]}"' for name, place in header.places.items()}
    numbers |= {place: opening.cells[place] for place in times} if len(times) > 2 else {}
    cells = read_cells(rows, mistakes, numbers=numbers, texts=times if len(times) <= 2 else ())
    mistakes.raise_if_any(source.shown_as)
    if not len(cells.lines):
        raise source.refusal("logger-no-row", line=opening.line)
    when = _when(cells, opening.time, mistakes)
    mistakes.raise_if_any(source.shown_as)
    step = _usual_step(when.stamps)
    if header.sums:
        factor, _ = header.conversions.get("radiation", (1.0, 0.0))
        header.conversions["radiation"] = factor / step, 0.0
    values = header.standard({place: cells.numbers[place] for place in header.places.values()})
    _refuse_unlikely_units(values, header, mistakes)
    mistakes.raise_if_any(source.shown_as)
    values = {name: column for name, column in values.items() if not np.isnan(column).all()}
    if "temperature" not in values:
        raise source.refusal("logger-no-temperature", column=header.headers["temperature"])
    records = Records(
        stamps=when.stamps,
        values=values,
        lines=cells.lines,
        utc=when.utc or opening.time.utc,
        rain_kind="interval" if header.rain_kind == "hourly" and step >= 0.9 * 3600.0 else header.rain_kind,
        ending=frozenset(values if when.ends else ()),
        units=header.units,
        stated=frozenset(header.stated),
        headers=header.headers,
    )
    separator = SEPARATORS[opening.separator]
    clock = "UTC" if records.utc else "the file's own clock"
    recognised = f"station table: {separator} between columns, decimal {cells.decimal}, times {when.style} in {clock}"
    raw = to_days(records, site, recognised=recognised, shown_as=source.shown_as, notes=header.notes)
    # of daily columns whose figures are the records' own: extremes, means and sums of one unit
    daily = {"tmin": "temperature", "tmax": "temperature", "wind": "wind", "rain": "rain", "pressure": "pressure"}
    converted = values.keys() & header.conversions.keys()
    conversions = {day: header.conversions[name] for day, name in daily.items() if name in converted}
    return dataclasses.replace(raw, conversions=conversions)


def _find_header(lines: Sequence[str], columns: Columns | None = None) -> _Opening | None:
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


def _named_time(cells: Sequence[str], rows: Sequence[Sequence[str]], columns: Columns) -> TimeColumns | None:
    """Find the columns that the user names for the clock."""
    places = [
        cells.index(columns[name].column)
        for name in ("date", "time")
        if name in columns and columns[name].column in cells
    ]
    if len(places) == 1:
        only = find_time([cells[places[0]] + " time"], [[row[places[0]]] for row in rows if len(row) > places[0]])
        return None if only is None else TimeColumns((places[0],), only.utc)
    return TimeColumns(tuple(places)) if places else None


def _when(cells: Cells, time: TimeColumns, mistakes: Mistakes) -> ReadStamps:
    if len(time.places) <= 2:
        first, *second = (cells.texts[place].str.strip() for place in time.places)
        return read_stamps(first + " " + second[0] if second else first, cells.lines, mistakes)
    *parts, hour = (cells.numbers[place] for place in time.places[:4])
    last = hour == 24.0
    stamps = moments_of([*parts, np.where(last, 23.0, hour)], cells.lines, mistakes) + last * np.timedelta64(1, "h")
    if len(time.places) == 5:
        stamps = stamps + np.nan_to_num(cells.numbers[time.places[4]]).astype(np.int64) * np.timedelta64(1, "m")
    return ReadStamps(stamps, ends=bool(last.any()), style="by year, month, day and hour")


def _usual_step(stamps: npt.NDArray[np.datetime64]) -> float:
    apart = np.abs(np.diff(stamps.astype("datetime64[s]").astype(np.int64)))
    return float(np.median(apart[apart > 0])) if apart.any() else 3600.0


def _refuse_unlikely_units(values: dict[str, Floats], header: Header, mistakes: Mistakes) -> None:
    """Refuse a temperature without a unit that other columns show to be in °F."""
    if "temperature" in header.stated:
        return
    text = header.headers["temperature"]
    if header.imperial:
        mistakes.note("logger-no-unit", value=text, column=text, imperial=header.imperial[0], table=header.table)
    elif {"humidity", "dew_point"} <= values.keys() and "dew_point" not in header.stated:
        celsius, fahrenheit = (_humidity_error(values, *scale) for scale in ((0.0, 1.0), (32.0, 1.8)))
        if fahrenheit + _MUCH_BETTER < celsius and fahrenheit < _MUCH_BETTER:
            facts = {name: header.headers[name] for name in ("dew_point", "humidity")}
            mistakes.note("looks-imperial", value=text, column=text, off=celsius, table=header.table, **facts)


def _humidity_error(values: dict[str, Floats], zero: float, degree: float) -> float:
    """Typical difference between the humidity measured and that of temperature and dew point, by their scale. [%]"""
    some = slice(None, None, max(len(values["humidity"]) // 5000, 1))
    dew_point, temperature = ((values[name][some] - zero) / degree for name in ("dew_point", "temperature"))
    sound = (np.abs(dew_point) < 150.0) & (np.abs(temperature) < 150.0)
    pressure = saturation_vapour_pressure(dew_point[sound])
    off = np.abs(100.0 * pressure / saturation_vapour_pressure(temperature[sound]) - values["humidity"][some][sound])
    off = off[~np.isnan(off)]
    return float(np.median(off)) if off.size else float("inf")
