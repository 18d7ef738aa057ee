"""
KNMI: the daily text files of the Royal Netherlands Meteorological Institute (etmgeg, and its daily downloads).

A block of explanations, a header line that begins with STN,YYYYMMDD, and whole numbers: 0.1 °C, 0.1 m/s,
0.1 mm, 0.1 h, J/cm². Here RH is rain and UG humidity. Source: the explanations at the head of the institute's
own files (from memory).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

from panbudget.errors import Problem, WeatherError
from panbudget.weather.station import Station
from panbudget.weather.text.published import (
    Measure,
    Mistakes,
    build_table,
    compact_day,
    cut_off_notes,
    days_noted,
    measured,
    named_places,
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

NAME = "knmi"
#: where the format is described
SOURCE = "the explanations at the head of the institute's own files (from memory)"

#: column of the file -> measure
_MEASURES: dict[str, Measure] = {
    "TN": Measure("tmin", "0.1 °C", 0.1),
    "TX": Measure("tmax", "0.1 °C", 0.1),
    "UX": Measure("rh_max", "%"),
    "UN": Measure("rh_min", "%"),
    "UG": Measure("rh_mean", "%"),
    "FG": Measure("wind", "0.1 m/s", 0.1),
    "RH": Measure("rain", "0.1 mm", 0.1),
    "Q": Measure("radiation", "J/cm²", 0.01),
    "SQ": Measure("sunshine", "0.1 h", 0.1),
}
# -1 stands for less than half of the smallest step
_TRACES = {
    "RH": "rain is less than 0.05 mm (code -1), read as 0",
    "SQ": "sunshine is less than 0.05 h (code -1), read as 0",
}
# what the explanation of a column must say, if the file has one
_SAID = {"TN": "0.1", "TX": "0.1", "FG": "0.1", "RH": "0.1", "SQ": "0.1", "Q": "J/cm"}
_WIND_HEIGHT = 10.0
_EXPLANATION = re.compile(r"#?\s*(?P<name>[A-Z][A-Z0-9]*)\s*[=:]\s*(?P<text>.*)")
_PLACE = re.compile(
    r"#\s*(?P<number>\d{3}):?\s+(?P<longitude>-?\d+\.\d+)\s+(?P<latitude>-?\d+\.\d+)\s+(?P<elevation>-?\d+\.\d+)\s+(?P<name>\S.*)"
)


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is a KNMI text.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        Sure where the header line or the institute's name is found. And why.
    """
    lines = head.split("\n")
    if _header_line(lines) is not None:
        return 0.98, "header line with STN and YYYYMMDD"
    if any("METEOROLOGICAL INSTITUTE (KNMI)" in line.upper() for line in lines[:20]):
        return 0.95, "the institute's name above the table"
    return 0.0, "no header line with STN and YYYYMMDD"


def read(source: Source, *, columns: Mapping[str, ColumnChoice]) -> RawTable:
    """
    Read a KNMI daily text.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Must be empty: the format's columns are known.

    Returns
    -------
    RawTable
        tmin, tmax, rh_max, rh_min, rh_mean, wind (at 10 m), rain, radiation, sunshine, as far as the file has them.

    Raises
    ------
    WeatherError
        No header line, rows that don't fit it, numbers with decimals, hourly values, several stations.
    """
    refuse_columns(columns, source, name=NAME)
    lines = source.text.split("\n")
    header_line = _header_line(lines)
    if header_line is None:
        first = next(text for text in lines if text.strip()).strip()[:60]
        message = (
            f'has no header line with STN and YYYYMMDD, which this format has above its table; it begins "{first}": '
            "download the file again, or correct weather.format"
        )
        raise WeatherError(message, file=source.shown_as)
    header = split_cells(lines[header_line - 1].lstrip("# "))
    if "HH" in header or "H" in header:
        message = f"line {header_line}: column HH says that the values are hourly; download daily values (etmgeg)"
        raise WeatherError(message, file=source.shown_as)
    mistakes = Mistakes()
    mistakes.others += _other_units(lines[: header_line - 1])
    places = named_places(
        header, lambda name: name in _MEASURES or name in ("STN", "YYYYMMDD"), mistakes, line=header_line
    )
    used = {name: places[name] for name in _MEASURES if name in places}
    headers = {measure.column: name for name, measure in _MEASURES.items()}
    listed = ", ".join(name for name in header if name not in ("STN", "YYYYMMDD"))
    require_temperatures({_MEASURES[name].column for name in used}, source, names=headers, listed=listed)
    below = ["" if text.lstrip().startswith("#") else text for text in lines]
    rows = list(rows_below(below, header_line, header, mistakes))
    mistakes.raise_if_any(source)
    if not rows:
        message = f"line {header_line} is a header and no row follows; download the file again"
        raise WeatherError(message, file=source.shown_as)
    stations: dict[str, int] = {}
    for row in rows:
        stations.setdefault(row.cells[places["STN"]], row.line)
    one_station(stations, source)

    days = []
    for row in rows:
        text = row.cells[places["YYYYMMDD"]]
        day = compact_day(text)
        days.append(day)
        if day is None:
            what = f"YYYYMMDD is {text!r}, which is no day of the calendar"
            mistakes.add("correct it, or download the file again", line=row.line, what=what)
    values: dict[str, list[float]] = {}
    notes: list[str] = []
    for name, place in used.items():
        measure = _MEASURES[name]
        column = [
            measured(row.cells[place], name=name, line=row.line, missing=(), mistakes=mistakes, whole=True)
            for row in rows
        ]
        if name in _TRACES:
            notes += days_noted(column.count(-1.0), _TRACES[name])
            column = [0.0 if value == -1.0 else value for value in column]
        values[measure.column] = [measure.standard(value) for value in column]
    mistakes.raise_if_any(source)
    notes += ["days are those of universal time (UTC)", *cut_off_notes(source)]
    if "PG" in places:
        notes.append("PG is the pressure at sea level, not at the site, and is not used")
    if "EV24" in places and any(row.cells[places["EV24"]] for row in rows):
        notes.append("EV24 is a computed evapotranspiration (Makkink), not a measured pan, and is not used")
    # a column that is blank throughout was never measured there
    measured_columns = {name: column for name, column in values.items() if _is_kept(name, column)}
    return build_table(
        [day for day in days if day is not None],
        [row.line for row in rows],
        measured_columns,
        measures={measure.column: measure for measure in _MEASURES.values()},
        headers=headers,
        recognised="KNMI daily text (0.1 °C, 0.1 m/s, 0.1 mm, J/cm²)",
        notes=notes,
        wind_height=_WIND_HEIGHT,
        station=_station(lines[: header_line - 1], next(iter(stations))),
    )


def _is_kept(name: str, column: Sequence[float]) -> bool:
    return name in ("tmin", "tmax") or not all(math.isnan(value) for value in column)


def _header_line(lines: Sequence[str]) -> int | None:
    for line, text in enumerate(lines, start=1):
        if "YYYYMMDD" in text and split_cells(text.lstrip("# "))[:2] == ["STN", "YYYYMMDD"]:
            return line
    return None


def _other_units(explanations: Sequence[str]) -> list[Problem]:
    """Refuse a column whose explanation names another unit than the format has always had."""
    problems = []
    for line, text in enumerate(explanations, start=1):
        match = _EXPLANATION.fullmatch(text.strip())
        if match is None or match["name"] not in _SAID or _SAID[match["name"]] in match["text"]:
            continue
        name = match["name"]
        message = (
            f'line {line}: {name} is explained as "{match["text"][:60]}", and {_MEASURES[name].unit} is expected; '
            'download it in that unit, or set format = "table" and name columns and units'
        )
        problems.append(Problem.of_text(message, key=name))
    return problems


def _station(explanations: Sequence[str], number: str) -> Station:
    for text in explanations:
        match = _PLACE.fullmatch(text.strip())
        if match is not None and match["number"] == number:
            return station_at(match["name"], match["latitude"], match["longitude"], match["elevation"])
    return Station(f"station {number}")
