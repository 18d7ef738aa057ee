"""
Power: NASA POWER's daily CSV for a point, with its block of explanations above the table.

The values are those of a grid's cell, from a weather model and satellites: no station measured them. Source:
NASA POWER documentation, daily API, CSV output and parameter dictionary (from memory).
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping, Sequence

from panbudget.errors import Problem
from panbudget.weather.formats.archives import (
    DOWNLOAD,
    Archived,
    Layout,
    Measure,
    cut_off_notes,
    first_line,
    no_header,
    read_archive,
    refuse_columns,
    station_at,
)
from panbudget.weather.site import Site, Station
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.raw import ColumnChoice, RawTable
from panbudget.weather.text.rows import split
from panbudget.weather.text.source import Source

NAME = "nasa-power"
#: where the format is described
SOURCE = "NASA POWER documentation: daily API, CSV output and parameter dictionary (from memory)"

_BEGIN, _END = "-BEGIN HEADER-", "-END HEADER-"
_USUAL_MISSING = -999.0
_LAYOUT = Layout(
    recognised="NASA POWER daily CSV of a point",
    # of two for one column the first that the file has is used
    measures={
        "T2M_MIN": Measure("tmin", "C"),
        "T2M_MAX": Measure("tmax", "C"),
        "T2MDEW": Measure("dew_point", "C"),
        "RH2M": Measure("rh_mean", "%"),
        "WS2M": Measure("wind", "m/s"),
        "WS10M": Measure("wind", "m/s"),
        "PRECTOTCORR": Measure("rain", "mm/day"),
        "PRECTOT": Measure("rain", "mm/day"),
        "ALLSKY_SFC_SW_DWN": Measure("radiation", "MJ/m^2/day"),
        "PS": Measure("pressure", "kPa"),
    },
    station=("LAT", "LON"),
    date=("YEAR", "MO", "DY"),
    wind_heights={"WS2M": 2.0, "WS10M": 10.0},
)
#: the unit that a column has if none is named -> others that the block of explanations may name -> factor
_UNITS: dict[str, dict[str, float]] = {
    "mm/day": dict.fromkeys(("mm/d", "mm day-1", "mm"), 1.0),
    "MJ/m^2/day": {
        **dict.fromkeys(("MJ/m2/day", "MJ/m^2/d"), 1.0),
        **dict.fromkeys(("kW-hr/m^2/day", "kWh/m^2/day", "kWh/m2/day", "kW-hr/m2/day"), 3.6),
        **dict.fromkeys(("W/m^2", "W/m2"), 0.0864),
    },
}
_PARAMETER = re.compile(r"\s*(?P<name>[A-Z][A-Z0-9_]+)\s.*\((?P<unit>[^()]+)\)\s*")
_MISSING = re.compile(r"missing.*?(?P<code>-\d+(?:\.\d+)?)\s*$")
_LOCATION = re.compile(r"Latitude\s+(?P<latitude>-?\d+(?:\.\d+)?)\s+Longitude\s+(?P<longitude>-?\d+(?:\.\d+)?)", re.I)
_ELEVATION = re.compile(r"elevation.*=\s*(?P<elevation>-?\d+(?:\.\d+)?)\s*meters", re.I)


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
    if lines and _is_header(cells := split(lines[0])) and set(cells) & set(_LAYOUT.measures):
        return 0.97, "header with YEAR and the parameters of NASA POWER"
    return 0.0, "no block of explanations as in this format"


def read(source: Source, *, columns: Mapping[str, ColumnChoice], site: Site) -> RawTable:
    """
    Read a NASA POWER daily CSV.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Must be empty: the format's columns are known.
    site : Site
        Not asked: days are the archive's own.

    Returns
    -------
    RawTable
        tmin, tmax, dew_point, rh_mean, wind (at 2 m, or 10 m where there is no other), rain, radiation, pressure,
        as far as the file has them.

    Raises
    ------
    WeatherError
        A block or a table that is cut off, units that are unknown or not named, hourly or monthly values, a region of
        several cells.
    """
    refuse_columns(columns, source, NAME)
    explanations, line = _block(source)
    header = split(source.text.split("\n")[line - 1])
    mistakes = Mistakes()
    units: dict[str, str] = {}
    codes = [_USUAL_MISSING]
    place = {"latitude": "", "longitude": "", "elevation": ""}
    for text in explanations:
        for pattern in (_LOCATION, _ELEVATION):
            if (match := pattern.search(text)) is not None:
                place |= match.groupdict()
        if (match := _MISSING.search(text)) is not None:
            codes.append(float(match["code"]))
        elif (match := _PARAMETER.fullmatch(text)) is not None:
            units[match["name"]] = match["unit"].strip()
    measures = {
        name: _measure(name, measure, units.get(name), mistakes)._replace(missing=tuple(codes))
        for name, measure in _LAYOUT.measures.items()
        if name in header or measure.column in ("tmin", "tmax")
    }

    def heed(table: Archived) -> Station:
        table.notes += [
            "the values are those of a grid's cell (from a weather model and satellites), not of a station: rain above "
            "all may differ from what fell on the site",
            *cut_off_notes(source),
        ]
        firsts = {measure.column: name for name, measure in reversed(measures.items()) if name in header}
        unused = [name for name in header if name in measures and name not in firsts.values()]
        if unused:
            table.notes.append(f"not used, as the file has better: {', '.join(unused)}")
        return station_at("a grid cell of NASA POWER", **place)

    layout = dataclasses.replace(_LAYOUT, measures=measures)
    return read_archive(source, layout, line=line, header=header, heed=heed, mistakes=mistakes)


def _is_header(cells: Sequence[str]) -> bool:
    return "YEAR" in cells and ({"MO", "DY"} <= set(cells) or "DOY" in cells)


def _block(source: Source) -> tuple[list[str], int]:
    """Return the explanations, if there are any, and the line of the table's header."""
    lines = source.text.split("\n")

    bare = [text.strip().strip('"') for text in lines]
    start = first_line(source) - 1
    explanations: list[str] = []
    if bare[start] == _BEGIN:
        if _END not in bare[start:]:
            found = f"opens a block with {_BEGIN} and {_END} is missing"
            raise source.refusal("open-block", found, DOWNLOAD, where=f"line {start + 1}")
        end = bare.index(_END, start)
        explanations, start = bare[start + 1 : end], end + 1
    header = next((i for i in range(start, len(lines)) if lines[i].strip()), None)
    if header is None:
        found = f"ends with its block of explanations: no table follows {_END}"
        raise source.refusal("no-table", found, DOWNLOAD)
    cells = split(lines[header])
    for name, found in (
        ("PARAMETER", "has a row for each year, months side by side"),
        ("HR", "has a column HR: its values are hourly"),
    ):
        if name in cells:
            raise source.refusal("not-daily", found, "download daily values", where=f"line {header + 1}")
    if not _is_header(cells):
        raise no_header(source, header + 1, "YEAR, MO, DY or YEAR, DOY, then parameters")
    return explanations, header + 1


def _measure(name: str, measure: Measure, unit: str | None, mistakes: Mistakes) -> Measure:
    """Find a parameter's unit in the explanations; of radiation, which has two, it must be there."""
    if unit is None and measure.column == "radiation":
        found = f"the unit of {name} is not named, and may be MJ or kWh"
        cure = f"keep the block from {_BEGIN} to {_END} when you download the file"
        mistakes.others.append(Problem("no-unit", found=found, cure=cure))
    known = {measure.unit: 1.0, **_UNITS.get(measure.unit, {})}
    if unit is not None and unit not in known:
        found = f'is in "{unit}", which is unknown here'
        mistakes.others.append(Problem("other-unit", name, found, cure=f"download it in {measure.unit}", value=unit))
    return measure._replace(unit=unit or measure.unit, factor=known.get(unit or measure.unit, 1.0))
