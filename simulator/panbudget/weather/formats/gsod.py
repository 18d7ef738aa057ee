"""
GSOD: NOAA's Global Surface Summary of the Day, the CSV file of one station.

Temperatures in tenths of °F, wind in knots, rain in inches, pressure in hPa; 99.99, 999.9 and 9999.9 stand for
missing values. Source: NOAA NCEI, "Federal Climate Complex Global Surface Summary of Day Data" (readme),
from memory.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Mapping

from panbudget.errors import WeatherError
from panbudget.weather.text.dates import read_dates
from panbudget.weather.text.published import (
    Measure,
    Mistakes,
    build_table,
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
from panbudget.weather.text.raw import ColumnChoice, LeftOut, RawTable
from panbudget.weather.text.source import Source

__all__ = ["NAME", "SOURCE", "read", "sniff"]

NAME = "gsod"
#: where the format is described
SOURCE = 'NOAA NCEI, "Federal Climate Complex Global Surface Summary of Day Data", readme (from memory)'

_OWN = {"STATION", "DATE", "TEMP", "DEWP", "WDSP", "MAX", "MIN", "PRCP", "FRSHTT"}
_FAHRENHEIT = (5.0 / 9.0, -160.0 / 9.0)
#: column of the file -> measure and its code for a missing value
_MEASURES: dict[str, tuple[Measure, float]] = {
    "MIN": (Measure("tmin", "°F", *_FAHRENHEIT), 9999.9),
    "MAX": (Measure("tmax", "°F", *_FAHRENHEIT), 9999.9),
    "DEWP": (Measure("dew_point", "°F", *_FAHRENHEIT), 9999.9),
    "WDSP": (Measure("wind", "knots", 1852.0 / 3600.0), 999.9),
    "PRCP": (Measure("rain", "in", 25.4), 99.99),
    "STP": (Measure("pressure", "hPa", 0.1), 9999.9),
}
# The file keeps four digits of the station pressure: 1013.2 stands as 13.2 and 999.9 is a missing value too.
_STP_MISSING = 999.9
_STP_CUT_BELOW = 200.0  # hPa; no station is so high, and no pressure so high that it would be cut to more
#: the height at which wind is measured by the rules of the World Meteorological Organization [m]
_WIND_HEIGHT = 10.0
_PLACE = ("LATITUDE", "LONGITUDE", "ELEVATION")
# rain attribute -> hours of the day that its reports cover: less than the whole day may have been rained on
_PART_OF_DAY = {"A": 6, "B": 12, "C": 18, "E": 12}


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is a GSOD CSV.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        Sure where the header line has the format's own column names. And why.
    """
    first = next((line for line in head.split("\n") if line.strip()), "")
    if set(split_cells(first)) >= _OWN:
        return 0.98, "header with TEMP, DEWP, WDSP, MAX, MIN, PRCP and FRSHTT"
    return 0.0, "no header of this format"


def read(source: Source, *, columns: Mapping[str, ColumnChoice]) -> RawTable:
    """
    Read a GSOD CSV.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Must be empty: the format's columns are known.

    Returns
    -------
    RawTable
        tmin, tmax, dew_point, wind (at 10 m), rain, pressure; rows in the file's order.

    Raises
    ------
    WeatherError
        No header, rows that don't fit it, cells that are no numbers, several stations.
    """
    refuse_columns(columns, source, name=NAME)
    lines = source.text.split("\n")
    header_line = next(line for line, text in enumerate(lines, start=1) if text.strip())
    header = split_cells(lines[header_line - 1])
    mistakes = Mistakes()
    if not {"STATION", "DATE"} <= set(header):
        message = (
            f'line {header_line}: "{lines[header_line - 1].strip()[:60]}" is not the header of this format '
            "(STATION, DATE, TEMP, DEWP and so on); download the file again, or correct weather.format"
        )
        raise WeatherError(message, file=source.shown_as)
    places = named_places(
        header, lambda name: name in _MEASURES or name in ("STATION", "DATE"), mistakes, line=header_line
    )
    used = {name: places[name] for name in _MEASURES if name in places}
    named = {_MEASURES[name][0].column: name for name in _MEASURES}
    listed = ", ".join(name for name in header if name not in ("STATION", "DATE"))
    require_temperatures({_MEASURES[name][0].column for name in used}, source, names=named, listed=listed)

    rows = list(rows_below(lines, header_line, header, mistakes))
    mistakes.raise_if_any(source)
    if not rows:
        message = f"line {header_line} is a header and no row follows; download the file again"
        raise WeatherError(message, file=source.shown_as)
    stations: dict[str, int] = {}
    for row in rows:
        stations.setdefault(row.cells[places["STATION"]], row.line)
    one_station(stations, source)

    days, problems = read_dates([row.cells[places["DATE"]] for row in rows], [row.line for row in rows])
    mistakes.others += problems
    values: dict[str, list[float]] = {}
    for name, place in used.items():
        measure, code = _MEASURES[name]
        column = []
        for row in rows:
            value = measured(row.cells[place], name=name, line=row.line, missing=(code,), mistakes=mistakes)
            if name == "STP":
                value = _whole_pressure(value)
            column.append(measure.standard(value))
        values[measure.column] = column
    attributes = [row.cells[places["PRCP_ATTRIBUTES"]] for row in rows] if "PRCP_ATTRIBUTES" in places else []
    notes = _rain_notes(values, attributes)
    for name, column_name in (("MAX_ATTRIBUTES", "tmax"), ("MIN_ATTRIBUTES", "tmin")):
        if name in places:
            count = sum(row.cells[places[name]] == "*" for row in rows)
            notes += days_noted(count, f"{column_name} is the extreme of hourly readings, which may miss the true one")
    mistakes.raise_if_any(source)
    first = rows[0].cells
    return build_table(
        [day for day in days if day is not None],
        [row.line for row in rows],
        values,
        measures={_MEASURES[name][0].column: _MEASURES[name][0] for name in used},
        headers=named,
        recognised="NOAA Global Surface Summary of the Day, CSV of one station (°F, knots, inches)",
        notes=[
            "days are those of universal time (UTC): far from Greenwich, tmax or rain may belong to the day before or "
            "after by the local clock",
            *notes,
        ],
        wind_height=_WIND_HEIGHT,
        absent=_no_rain_record(values),
        left_out=_no_report(days, attributes),
        station=station_at(
            first[places["NAME"]] if "NAME" in places else first[places["STATION"]],
            *(first[places[name]] if name in places else "" for name in _PLACE),
        ),
    )


def _whole_pressure(value: float) -> float:
    """Put back the leading 1 that the file leaves out of a pressure of 1000 hPa or more."""
    if value == _STP_MISSING:
        return math.nan
    return value + 1000.0 if value < _STP_CUT_BELOW else value


def _no_rain_record(values: dict[str, list[float]]) -> dict[str, str]:
    """Say that the station keeps no rain, where it reported none on any day."""
    if "rain" not in values or not all(map(math.isnan, values["rain"])):
        return {}
    return {"rain": "the station sent no report of rain on any day (99.99, or attribute I): it keeps no rain record"}


def _no_report(days: list[dt.date | None], attributes: list[str]) -> dict[str, LeftOut]:
    """Say on which days the file has a 0 that no station reported."""
    found = frozenset(day for day, mark in zip(days, attributes, strict=False) if mark == "I" and day is not None)
    return {"rain": LeftOut("its attribute I, no report of rain", found)} if found else {}


def _rain_notes(values: dict[str, list[float]], attributes: list[str]) -> list[str]:
    """
    Heed the rain's attributes, taking out what is no report; return what to say of them.

    A to G say which reports make up the day's sum; H: reports of 0, though rain was seen in the hour; I: no
    report of rain, nor rain seen, which the archive itself calls possibly incomplete.
    """
    if "rain" not in values or not attributes:
        return []
    rain = values["rain"]
    counts: Counter[str] = Counter()
    for i, mark in enumerate(attributes):
        if mark == "I":
            counts["I"] += 0 if math.isnan(rain[i]) else 1
            rain[i] = math.nan
        elif not math.isnan(rain[i]):
            counts[mark] += 1
    part = sum(counts[mark] for mark in _PART_OF_DAY)
    return [
        *days_noted(counts["I"], "the station sent no report of rain (attribute I); the 0 in the file is left out"),
        *days_noted(
            counts["H"], "rain is 0 though rain was seen in some hour (attribute H): a trace, or a sum not sent"
        ),
        *days_noted(part, "rain is a sum of reports that cover part of the day only (attribute A, B, C or E)"),
    ]
