"""
GHCN: NOAA's Global Historical Climatology Network Daily, one station, in any of its three layouts.

The fixed-width .dly file (a line for each month and element), the by-station CSV (a line for each day and
element) and the access CSV (a line for each day, a column for each element). All have whole numbers, tenths as
a rule, -9999 for missing, and flags beside each value; a value with a quality flag failed one of the archive's
checks and is a gap here. Source: NOAA NCEI, readme of GHCN-Daily (from memory).
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence

from panbudget.errors import WeatherError
from panbudget.weather.station import Station
from panbudget.weather.text.dates import day_of, read_dates
from panbudget.weather.text.published import (
    Measure,
    Mistakes,
    build_table,
    compact_day,
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

NAME = "ghcn-daily"
#: where the format is described
SOURCE = "NOAA NCEI, readme of GHCN-Daily (from memory)"

#: element -> measure
_MEASURES: dict[str, Measure] = {
    "TMIN": Measure("tmin", "0.1 °C", 0.1),
    "TMAX": Measure("tmax", "0.1 °C", 0.1),
    "ADPT": Measure("dew_point", "0.1 °C", 0.1),
    "RHMX": Measure("rh_max", "%"),
    "RHMN": Measure("rh_min", "%"),
    "RHAV": Measure("rh_mean", "%"),
    "AWND": Measure("wind", "0.1 m/s", 0.1),
    "WDMV": Measure("wind", "km in 24 h", 1000.0 / 86400.0),
    "PRCP": Measure("rain", "0.1 mm", 0.1),
    "TSUN": Measure("sunshine", "min", 1.0 / 60.0),
    "ASTP": Measure("pressure", "0.1 hPa", 0.01),
    "EVAP": Measure("pan_evaporation", "0.1 mm", 0.1),
}
# sums over several days, which can't be laid on single ones
_SEVERAL_DAYS = {"MDPR": "rain", "MDEV": "pan evaporation"}
_WATCHED = {*_MEASURES, *_SEVERAL_DAYS}
_MISSING = -9999.0
#: wind is measured at 10 m; wind run by a gauge at the rim of an evaporation pan, some 0.6 m up (from memory) [m]
_WIND_HEIGHTS = {"AWND": 10.0, "WDMV": 0.6}

_ACCESS = ["STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME"]
_LONG = ["ID", "DATE", "ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME"]
_LONG_ROW = re.compile(r'"?[A-Z]{2}[A-Z0-9_\-]{9}"?,"?\d{8}"?,"?[A-Z]{2}[A-Z0-9]{2}"?,.*')
_DLY_ROW = re.compile(r"(?P<id>[A-Z]{2}[A-Z0-9_\-]{9})(?P<year>\d{4})(?P<month>\d{2})(?P<element>[A-Z]{2}[A-Z0-9]{2})")
_DLY_HEAD, _DLY_GROUP, _DLY_DAYS = 21, 8, 31
_DLY_WIDTH = _DLY_HEAD + _DLY_GROUP * _DLY_DAYS
_DOWNLOAD = "download the file again"
_LAYOUTS = {"dly": "fixed-width .dly", "long": "by-station CSV", "access": "access CSV"}


class _Observations:
    """The values of a station by element and day, whatever the layout, and what is to be said of them."""

    def __init__(self, mistakes: Mistakes) -> None:
        self.mistakes = mistakes
        self.values: dict[str, dict[dt.date, float]] = {}
        self.lines: dict[dt.date, int] = {}
        self.others: set[str] = set()
        self.flagged: dict[str, list[dt.date]] = {}
        self.traces = 0
        self.presumed = 0
        self.observed_before_noon: Counter[bool] = Counter()

    def add(self, element: str, day: dt.date, text: str, *, line: int, flags: tuple[str, str], time: str = "") -> None:
        """Add one value with its measurement and quality flags."""
        if element not in _WATCHED:
            self.others.add(element)
            return
        value = measured(text, name=element, line=line, missing=(_MISSING,), mistakes=self.mistakes, whole=True)
        series = self.values.setdefault(element, {})
        if math.isnan(value):
            series.setdefault(day, math.nan)
            return
        if not math.isnan(series.get(day, math.nan)):
            self.mistakes.add("delete one of the two", line=line, what=f"{element} of {day} stands twice")
            return
        self.lines.setdefault(day, line)
        measurement, quality = flags
        if quality:
            self.flagged.setdefault(element, []).append(day)
            series[day] = math.nan
            return
        if element == "PRCP":
            self.traces += measurement == "T"
            self.presumed += measurement == "P"
            if len(time) == 4 and time.isdigit():
                self.observed_before_noon[time < "1200"] += 1
        series[day] = value


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is of GHCN-Daily.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        Sure where a line has one of the three layouts. And why.
    """
    lines = [line for line in head.split("\n") if line.strip()][:5]
    if not lines:
        return 0.0, "nothing to see"
    layout = _layout(lines)
    if layout == "dly":
        return 0.98, "lines that begin with station, year, month and element (.dly)"
    if layout == "long":
        return 0.98, "rows of station, day, element, value and flags (by-station CSV)"
    header = split_cells(lines[0])
    if header[: len(_ACCESS)] == _ACCESS and set(header) & set(_MEASURES) and "FRSHTT" not in header:
        return 0.97, "header with STATION, DATE, place and elements (access CSV)"
    return 0.0, "none of the three layouts"


def read(source: Source, *, columns: Mapping[str, ColumnChoice]) -> RawTable:
    """
    Read a GHCN-Daily file of one station.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Must be empty: the format's elements are known.

    Returns
    -------
    RawTable
        Of tmin, tmax, dew_point, rh_max, rh_min, rh_mean, wind (at 10 m; 0.6 m where only wind run is given), rain,
        sunshine, pressure and pan_evaporation what the file has; days in order, save for the access CSV.

    Raises
    ------
    WeatherError
        Lines that are cut off, numbers with decimals, a value twice, several stations, no temperatures.
    """
    refuse_columns(columns, source, name=NAME)
    lines = source.text.split("\n")
    mistakes = Mistakes()
    seen = _Observations(mistakes)
    layout = _layout([line for line in lines if line.strip()][:5])
    notes: list[str] = []
    if layout == "dly":
        station = _read_dly(lines, seen, source)
    elif layout == "long":
        station = _read_long(lines, seen, source)
    else:
        station, notes = _read_access(lines, seen, source)
    mistakes.raise_if_any(source)
    listed = ", ".join(sorted({*seen.values, *seen.others}))
    names = {"tmin": "TMIN", "tmax": "TMAX"}
    require_temperatures(
        {_MEASURES[e].column for e in seen.values if e in _MEASURES}, source, names=names, listed=listed
    )
    if not seen.lines:
        message = "has only codes for missing values (-9999) or values that failed the archive's checks; choose another"
        raise WeatherError(f"{message} station", file=source.shown_as)
    return _table(seen, layout, station, notes)


def _layout(lines: Sequence[str]) -> str:
    if any(_DLY_ROW.match(line) and len(line) > 100 for line in lines):
        return "dly"
    if any(_LONG_ROW.fullmatch(line) for line in lines) or (lines and split_cells(lines[0])[:3] == _LONG[:3]):
        return "long"
    return "access"


def _read_dly(lines: Sequence[str], seen: _Observations, source: Source) -> Station:
    """Fixed width: station 1-11, year 12-15, month 16-17, element 18-21, then 31 times value and three flags."""
    stations: dict[str, int] = {}
    for line, text in enumerate(lines, start=1):
        if not text.strip():
            continue
        match = _DLY_ROW.match(text)
        if match is None:
            what = f'"{text.strip()[:30]}" does not begin with station, year, month and element'
            seen.mistakes.add(f"delete it, or {_DOWNLOAD}", line=line, what=what)
            continue
        # the last day's flags are blank where it has no value, and blanks at a line's end get lost
        padded = text.ljust(_DLY_WIDTH) if text.rstrip().endswith("-9999") and len(text) >= _DLY_WIDTH - 3 else text
        if len(padded) < _DLY_WIDTH or text[_DLY_WIDTH:].strip():
            what = f"{len(text)} characters, where this format has {_DLY_WIDTH}"
            seen.mistakes.add(f"a file that is cut off or edited: {_DOWNLOAD}", line=line, what=what)
            continue
        stations.setdefault(match["id"], line)
        year, month = int(match["year"]), int(match["month"])
        if day_of(year, month, 1) is None:
            what = f"year {match['year']}, month {match['month']} is no month of the calendar"
            seen.mistakes.add(f"correct it, or {_DOWNLOAD}", line=line, what=what)
            continue
        for number in range(1, _DLY_DAYS + 1):
            start = _DLY_HEAD + _DLY_GROUP * (number - 1)
            value = padded[start : start + 5].strip()
            if value == "-9999" and match["element"] in seen.values:
                continue
            day = day_of(year, month, number)
            if day is None:
                if value != "-9999":
                    what = (
                        f"{match['element']} has a value for day {number}, which month {year}-{month:02} does not have"
                    )
                    seen.mistakes.add(f"a line that is shifted or cut: {_DOWNLOAD}", line=line, what=what)
                continue
            if not value:
                what = f"{match['element']} of {day} is blank, where this format has -9999"
                seen.mistakes.add(f"a line that is shifted or edited: {_DOWNLOAD}", line=line, what=what)
                continue
            flags = padded[start + 5 : start + 6].strip(), padded[start + 6 : start + 7].strip()
            seen.add(match["element"], day, value, line=line, flags=flags)
    one_station(stations, source)
    return Station(next(iter(stations), "a station without a number"))


def _read_long(lines: Sequence[str], seen: _Observations, source: Source) -> Station:
    """A line for each day and element, with or without a header."""
    first = next(line for line, text in enumerate(lines, start=1) if text.strip())
    header_line = first if split_cells(lines[first - 1])[:3] == _LONG[:3] else first - 1
    stations: dict[str, int] = {}
    for row in rows_below(lines, header_line, _LONG, seen.mistakes):
        name, date, element, value, measurement, quality, _, time = row.cells
        stations.setdefault(name, row.line)
        day = compact_day(date)
        if day is None:
            what = f"DATE is {date!r}, which is no day of the calendar"
            seen.mistakes.add(f"correct it, or {_DOWNLOAD}", line=row.line, what=what)
            continue
        if not value and element in _WATCHED:
            what = f"{element} of {day} is blank"
            seen.mistakes.add(f"a line that is cut off or edited: {_DOWNLOAD}", line=row.line, what=what)
            continue
        seen.add(element, day, value, line=row.line, flags=(measurement, quality), time=time)
    one_station(stations, source)
    return Station(next(iter(stations), "a station without a number"))


def _read_access(lines: Sequence[str], seen: _Observations, source: Source) -> tuple[Station, list[str]]:
    """A line for each day; beside each element's column one with its flags: measurement, quality, source, time."""
    first = next(line for line, text in enumerate(lines, start=1) if text.strip())
    header = split_cells(lines[first - 1])
    if not {"STATION", "DATE"} <= set(header):
        message = (
            f'line {first}: "{lines[first - 1].strip()[:60]}" has none of this format\'s layouts: a header with '
            f"STATION, DATE and elements, rows of station, day, element and value, or .dly; {_DOWNLOAD}, or correct "
            "weather.format"
        )
        raise WeatherError(message, file=source.shown_as)
    places = named_places(header, lambda name: name in {*_WATCHED, "STATION", "DATE"}, seen.mistakes, line=first)
    rows = list(rows_below(lines, first, header, seen.mistakes))
    seen.mistakes.raise_if_any(source)
    if not rows:
        raise WeatherError(f"line {first} is a header and no row follows; {_DOWNLOAD}", file=source.shown_as)
    stations: dict[str, int] = {}
    for row in rows:
        stations.setdefault(row.cells[places["STATION"]], row.line)
    one_station(stations, source)
    days, problems = read_dates([row.cells[places["DATE"]] for row in rows], [row.line for row in rows])
    seen.mistakes.others += problems
    elements = [name for name in header if name in _WATCHED]
    seen.others.update(
        name for name in header if name not in {*_ACCESS, *_WATCHED} and not name.endswith("_ATTRIBUTES")
    )
    twice: dict[dt.date, int] = {}
    for row, day in zip(rows, days, strict=True):
        if day is None:
            continue
        if day in twice:
            what = f"{day} stands on line {twice[day]} already"
            seen.mistakes.add("delete one of the two", line=row.line, what=what)
            continue
        twice[day] = row.line
        seen.lines[day] = row.line
        for name in elements:
            beside = places.get(f"{name}_ATTRIBUTES")
            marks = [*(row.cells[beside].split(",") if beside is not None else []), "", "", "", ""]
            flags = (marks[0].strip(), marks[1].strip())
            seen.add(name, day, row.cells[places[name]], line=row.line, flags=flags, time=marks[3].strip())
    bare = [name for name in elements if name in _MEASURES and f"{name}_ATTRIBUTES" not in places]
    notes = (
        [f"no quality flags in the file for {', '.join(bare)}: values that failed a check can't be told"]
        if bare
        else []
    )
    cells = rows[0].cells
    where = (cells[places[name]] if name in places else "" for name in _ACCESS[2:5])
    return station_at(cells[places.get("NAME", places["STATION"])], *where), notes


def _table(seen: _Observations, layout: str, station: Station, notes: list[str]) -> RawTable:
    days = list(seen.lines) if layout == "access" else sorted(seen.lines)
    chosen: dict[str, str] = {}
    for element, measure in _MEASURES.items():
        series = seen.values.get(element)
        is_needed = measure.column in ("tmin", "tmax")
        if series is not None and (is_needed or not all(map(math.isnan, series.values()))):
            chosen.setdefault(measure.column, element)
    values = {
        column: [_MEASURES[element].standard(seen.values[element].get(day, math.nan)) for day in days]
        for column, element in chosen.items()
    }
    if seen.flagged:
        by_element = ", ".join(f"{name} {len(found)}" for name, found in sorted(seen.flagged.items()))
        total = sum(map(len, seen.flagged.values()))
        failed = "value" if total == 1 else "values"
        notes.append(f"{total} {failed} left out, as the archive's checks failed (quality flag): {by_element}")
    notes += days_noted(seen.traces, "rain is a trace (flag T), read as 0")
    notes += days_noted(seen.presumed, "rain is missing and presumed zero by the archive (flag P)")
    for element, what in _SEVERAL_DAYS.items():
        sums = sum(not math.isnan(value) for value in seen.values.get(element, {}).values())
        if sums:
            notes.append(
                f"{what} is given as a sum over several days {sums} time{'s' if sums > 1 else ''} ({element}); it "
                "can't be laid on single days, which stay missing"
            )
    if seen.observed_before_noon[True] > seen.observed_before_noon[False]:
        notes.append(
            "rain is read before noon: most of a day's figure fell, and tmax may have been reached, the day before"
        )
    if chosen.get("wind") == "WDMV":
        notes.append(
            "wind is the wind run of 24 h (WDMV), taken as measured 0.6 m above ground, beside an evaporation pan"
        )
    elif "WDMV" in seen.values and "wind" in chosen:
        notes.append("wind run (WDMV) is not used: AWND gives the wind")
    return build_table(
        days,
        [seen.lines[day] for day in days],
        values,
        measures={column: _MEASURES[element] for column, element in chosen.items()},
        headers=chosen,
        recognised=f"NOAA GHCN-Daily, {_LAYOUTS[layout]} (tenths of °C and mm)",
        notes=notes,
        wind_height=_WIND_HEIGHTS.get(chosen.get("wind", "")),
        station=station,
        left_out={
            column: LeftOut("its quality flag", frozenset(seen.flagged[element]))
            for column, element in chosen.items()
            if element in seen.flagged
        },
    )
