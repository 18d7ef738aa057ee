"""
Power: NASA POWER's daily CSV for a point, with its block of explanations above the table.

The values are those of a grid's cell, from a weather model and satellites: no station measured them. Source:
NASA POWER documentation, daily API, CSV output and parameter dictionary (from memory).
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from panbudget.errors import Problem, WeatherError
from panbudget.weather.station import Station
from panbudget.weather.text.dates import day_of
from panbudget.weather.text.published import (
    Measure,
    Mistakes,
    Row,
    build_table,
    cut_off_notes,
    measured,
    named_places,
    number_in,
    one_station,
    refuse_columns,
    require_temperatures,
    rows_below,
    split_cells,
    station_at,
)
from panbudget.weather.text.raw import ColumnChoice, RawTable
from panbudget.weather.text.source import Source

__all__ = ["NAME", "SOURCE", "read", "sniff"]

NAME = "nasa-power"
#: where the format is described
SOURCE = "NASA POWER documentation: daily API, CSV output and parameter dictionary (from memory)"

_BEGIN, _END = "-BEGIN HEADER-", "-END HEADER-"
_USUAL_MISSING = -999.0
_KWH = 3.6  # MJ in a kWh
#: parameter -> standard column; of two for one column the first that the file has is used
_COLUMNS = {
    "T2M_MIN": "tmin",
    "T2M_MAX": "tmax",
    "T2MDEW": "dew_point",
    "RH2M": "rh_mean",
    "WS2M": "wind",
    "WS10M": "wind",
    "PRECTOTCORR": "rain",
    "PRECTOT": "rain",
    "ALLSKY_SFC_SW_DWN": "radiation",
    "PS": "pressure",
}
_WIND_HEIGHTS = {"WS2M": 2.0, "WS10M": 10.0}
#: column -> unit in the block of explanations -> factor; the first is the one that the archive uses if none is named
_UNITS: dict[str, dict[str, float]] = {
    "tmin": {"C": 1.0},
    "tmax": {"C": 1.0},
    "dew_point": {"C": 1.0},
    "rh_mean": {"%": 1.0},
    "wind": {"m/s": 1.0},
    "rain": {"mm/day": 1.0, "mm/d": 1.0, "mm day-1": 1.0, "mm": 1.0},
    "radiation": {
        "MJ/m^2/day": 1.0,
        "MJ/m2/day": 1.0,
        "MJ/m^2/d": 1.0,
        "kW-hr/m^2/day": _KWH,
        "kWh/m^2/day": _KWH,
        "kWh/m2/day": _KWH,
        "kW-hr/m2/day": _KWH,
        "W/m^2": 0.0864,
        "W/m2": 0.0864,
    },
    "pressure": {"kPa": 1.0},
}
_PARAMETER = re.compile(r"\s*(?P<name>[A-Z][A-Z0-9_]+)\s.*\((?P<unit>[^()]+)\)\s*")
_MISSING = re.compile(r"missing.*?(?P<code>-\d+(?:\.\d+)?)\s*$")
_LOCATION = re.compile(r"Latitude\s+(?P<latitude>-?\d+(?:\.\d+)?)\s+Longitude\s+(?P<longitude>-?\d+(?:\.\d+)?)", re.I)
_ELEVATION = re.compile(r"elevation.*=\s*(?P<elevation>-?\d+(?:\.\d+)?)\s*meters", re.I)


class _Block(NamedTuple):
    """What the explanations say, and the line of the table's header."""

    header_line: int
    units: dict[str, str]
    missing: float
    station: Station


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is a NASA POWER CSV.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        Sure where the block of explanations begins, or a header line has the format's parameters. And why.
    """
    lines = [line for line in head.split("\n") if line.strip()]
    if lines and lines[0].strip().strip('"') == _BEGIN:
        return 0.98, f"the block {_BEGIN}"
    if lines and _is_header(cells := split_cells(lines[0])) and set(cells) & set(_COLUMNS):
        return 0.97, "header with YEAR and the parameters of NASA POWER"
    return 0.0, "no block of explanations as in this format"


def read(source: Source, *, columns: Mapping[str, ColumnChoice]) -> RawTable:
    """
    Read a NASA POWER daily CSV.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Must be empty: the format's columns are known.

    Returns
    -------
    RawTable
        tmin, tmax, dew_point, rh_mean, wind (at 2 m, or 10 m where there is no other), rain, radiation, pressure,
        as far as the file has them.

    Raises
    ------
    WeatherError
        A block or a table that is cut off, units that are not known or not named, hourly or monthly values, a
        region of several cells.
    """
    refuse_columns(columns, source, name=NAME)
    lines = source.text.split("\n")
    block = _block(lines, source)
    header = split_cells(lines[block.header_line - 1])
    mistakes = Mistakes()
    places = named_places(
        header, lambda name: name in _COLUMNS or name in ("YEAR", "MO", "DY", "DOY"), mistakes, line=block.header_line
    )
    chosen: dict[str, str] = {}
    for name, column in _COLUMNS.items():
        if name in places:
            chosen.setdefault(column, name)
    listed = ", ".join(name for name in header if name not in ("YEAR", "MO", "DY", "DOY"))
    names = {"tmin": "T2M_MIN", "tmax": "T2M_MAX"}
    require_temperatures(chosen, source, names=names, listed=listed)
    measures = {column: _measure(column, name, block, mistakes) for column, name in chosen.items()}
    rows = list(rows_below(lines, block.header_line, header, mistakes))
    mistakes.raise_if_any(source)
    if not rows:
        message = f"line {block.header_line} is a header and no row follows; download the file again"
        raise WeatherError(message, file=source.shown_as)
    if {"LAT", "LON"} <= set(places):
        points: dict[str, int] = {}
        for row in rows:
            points.setdefault(f"{row.cells[places['LAT']]} {row.cells[places['LON']]}", row.line)
        one_station(points, source)
    days = [_day(row, places, mistakes) for row in rows]
    values = {
        column: [
            measures[column].standard(
                measured(
                    row.cells[places[name]],
                    name=name,
                    line=row.line,
                    missing=(block.missing, _USUAL_MISSING),
                    mistakes=mistakes,
                )
            )
            for row in rows
        ]
        for column, name in chosen.items()
    }
    mistakes.raise_if_any(source)
    unused = [name for name in places if name in _COLUMNS and name not in chosen.values()]
    notes = [
        "the values are those of a grid's cell (from a weather model and satellites), not of a station: rain above all "
        "may differ from what fell on the site",
        *cut_off_notes(source),
    ]
    if unused:
        notes.append(f"not used, as the file has better: {', '.join(unused)}")
    return build_table(
        [day for day in days if day is not None],
        [row.line for row in rows],
        values,
        measures=measures,
        headers=chosen,
        recognised="NASA POWER daily CSV of a point",
        notes=notes,
        wind_height=_WIND_HEIGHTS.get(chosen.get("wind", "")),
        station=block.station,
    )


def _is_header(cells: Sequence[str]) -> bool:
    return "YEAR" in cells and ({"MO", "DY"} <= set(cells) or "DOY" in cells)


def _block(lines: Sequence[str], source: Source) -> _Block:
    """Read the explanations, if there are any, and find the table's header."""

    def refuse(message: str) -> WeatherError:
        return WeatherError(message, file=source.shown_as)

    said: list[str] = []
    start = next(line for line, text in enumerate(lines) if text.strip())
    if lines[start].strip().strip('"') == _BEGIN:
        end = next((line for line in range(start, len(lines)) if lines[line].strip().strip('"') == _END), None)
        if end is None:
            raise refuse(f"line {start + 1} opens a block with {_BEGIN} and {_END} is missing; download the file again")
        said = [text.strip().strip('"') for text in lines[start + 1 : end]]
        start = end + 1
    header = next((line for line in range(start, len(lines)) if lines[line].strip()), None)
    if header is None:
        raise refuse(f"ends with its block of explanations: no table follows {_END}; download the file again")
    cells = split_cells(lines[header])
    if "PARAMETER" in cells:
        raise refuse(f"line {header + 1}: has a row for each year, months side by side; download daily values")
    if "HR" in cells:
        raise refuse(f"line {header + 1}: column HR says that the values are hourly; download daily values")
    if not _is_header(cells):
        message = (
            f'line {header + 1}: "{lines[header].strip()[:60]}" is not the header of this format (YEAR, MO, DY or '
            "YEAR, DOY, then parameters); download the file again, or correct weather.format"
        )
        raise refuse(message)
    units: dict[str, str] = {}
    missing = _USUAL_MISSING
    place = {"latitude": "", "longitude": "", "elevation": ""}
    for text in said:
        for pattern in (_LOCATION, _ELEVATION):
            if (match := pattern.search(text)) is not None:
                place |= match.groupdict()
        if (match := _MISSING.search(text)) is not None:
            missing = number_in(match["code"]) or _USUAL_MISSING
        elif (match := _PARAMETER.fullmatch(text)) is not None:
            units[match["name"]] = match["unit"].strip()
    return _Block(header + 1, units, missing, station_at("a grid cell of NASA POWER", **place))


def _measure(column: str, name: str, block: _Block, mistakes: Mistakes) -> Measure:
    """Find a parameter's unit in the explanations; of radiation, which has two, it must be there."""
    known = _UNITS[column]
    unit = block.units.get(name)
    if unit is None:
        if column == "radiation":
            message = (
                f"the unit of {name} is not said, and may be MJ or kWh; keep the block from {_BEGIN} to {_END} when "
                "you download the file"
            )
            mistakes.others.append(Problem.of_text(message, key=name))
        unit = next(iter(known))
    if unit not in known:
        message = f'{name} is in "{unit}", which is not known here; download it in {next(iter(known))}'
        mistakes.others.append(Problem.of_text(message, key=name, value=unit))
        return Measure(column, unit)
    return Measure(column, unit, known[unit])


def _day(row: Row, places: Mapping[str, int], mistakes: Mistakes) -> dt.date | None:
    """Read year and month and day, or year and day of the year."""
    names = ["YEAR", "MO", "DY"] if {"MO", "DY"} <= set(places) else ["YEAR", "DOY"]
    texts = [row.cells[places[name]] for name in names]
    day = None
    if all(text.isascii() and text.isdigit() and len(text) <= 4 for text in texts):
        numbers = [int(text) for text in texts]
        if len(numbers) == 3:
            day = day_of(*numbers)
        elif (first := day_of(numbers[0], 1, 1)) is not None and 1 <= numbers[1] <= 366:
            day = first + dt.timedelta(days=numbers[1] - 1)
            day = day if day.year == first.year else None
    if day is None:
        what = f"{', '.join(names)} are {', '.join(repr(text) for text in texts)}, which is no day of the calendar"
        mistakes.add("correct it, or download the file again", line=row.line, what=what)
    return day
