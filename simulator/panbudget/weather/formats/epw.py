"""
EPW: typical-year files in the weather layout of the EnergyPlus building simulation.

Source: EnergyPlus documentation, "Auxiliary Programs", EnergyPlus Weather File (EPW) Data Dictionary, from memory:
eight header lines that begin with their keywords, then 35 comma-separated fields an hour, hours 1 to 24 of local
standard time, each closing its hour; dry bulb (missing 99.9), dew point (99.9), relative humidity (999), station
pressure in Pa (999999), global horizontal radiation in Wh/m² (9999), wind speed (999), liquid precipitation depth
in mm (999) of the quantity's hours (99). Wind is taken at 10 m, as the same documentation does.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import numpy as np

from panbudget.errors import Problem, WeatherError
from panbudget.physics.air import Floats
from panbudget.weather.site import SiteLike
from panbudget.weather.subdaily.hourly import Records, to_days
from panbudget.weather.text.cells import read_cells
from panbudget.weather.text.fixed import moments, refuse_columns, split_cells
from panbudget.weather.text.raw import ColumnChoice, RawTable
from panbudget.weather.text.source import Source
from panbudget.weather.typical import (
    NOMINAL_YEAR,
    far_from_site,
    hourly_amounts,
    light_record,
    months_note,
    rain_record,
    standard_time,
    whole_year,
)

__all__ = ["NAME", "SOURCE", "read_at", "sniff"]

NAME = "epw"
#: where the format is described
SOURCE = 'EnergyPlus documentation, "Auxiliary Programs": EPW Data Dictionary (from memory)'

_WIND_HEIGHT = 10.0
_FIELDS = 35
# older files end before the rain
_FEWEST = 22
_LAST_HEADER = "DATA PERIODS"
# place -> column of records, what is missing at and above, factor to the standard unit, unit in the file
_COLUMNS = {
    6: ("temperature", 99.9, 1.0, "°C"),
    7: ("dew_point", 99.9, 1.0, "°C"),
    8: ("humidity", 999.0, 1.0, "%"),
    9: ("pressure", 999999.0, 0.001, "Pa"),
    13: ("radiation", 9999.0, 1.0, "Wh/m²"),
    21: ("wind", 999.0, 1.0, "m/s"),
    33: ("rain", 999.0, 1.0, "mm"),
}
_HOURS = 34
_NAMES = {
    0: "year",
    1: "month",
    2: "day",
    3: "hour",
    6: "dry bulb",
    7: "dew point",
    8: "relative humidity",
    9: "station pressure",
    13: "global horizontal radiation",
    21: "wind speed",
    33: "liquid precipitation depth",
    34: "liquid precipitation quantity",
}


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is EPW.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        High if its header lines stand where they should. And why.
    """
    lines = [line.upper() for line in head.split("\n")[:20]]
    if lines and lines[0].startswith("LOCATION,"):
        if any(line.startswith(_LAST_HEADER) for line in lines):
            return 0.98, "the header lines LOCATION to DATA PERIODS of the typical-year layout EPW"
        return 0.6, "begins with LOCATION, as the typical-year layout EPW does"
    return 0.0, "does not begin with LOCATION"


def read_at(source: Source, *, columns: Mapping[str, ColumnChoice], site: SiteLike) -> RawTable:
    """
    Read an EPW file.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Must be empty: the format says what its columns are.
    site : SiteLike
        Held against the place that the file names.

    Returns
    -------
    RawTable
        365 days under a year that was none; ``typical`` is True.

    Raises
    ------
    WeatherError
        All that is wrong with header lines, hours and values.
    """
    refuse_columns(columns, source, NAME)
    head = source.text.split("\n", 20)[:20]
    above = next((i + 1 for i, line in enumerate(head) if line.upper().startswith(_LAST_HEADER)), 0)
    if not above:
        message = (
            f'the header line "{_LAST_HEADER}" is missing; eight header lines and 8760 hours are expected: download '
            "the file again"
        )
        raise WeatherError(Problem.of_text(message, key="header"), file=source.shown_as)
    periods = split_cells(head[above - 1])
    if len(periods) > 2 and periods[2] not in ("", "1"):
        message = f"line {above}: {periods[2]} records an hour; one is expected: use an hourly file"
        raise WeatherError(Problem.of_text(message, key=_LAST_HEADER), file=source.shown_as)
    first = source.text.split("\n", above + 1)[above : above + 1]
    width = len(first[0].rstrip().rstrip(",").split(",")) if first else _FIELDS
    width = width if _FEWEST <= width <= _FIELDS else _FIELDS
    cells = read_cells(
        source.text,
        above=above,
        separator=",",
        width=width,
        numbers={place: name for place, name in _NAMES.items() if place < width},
        expected=f"the format has {width}",
    )
    if cells.problems:
        raise WeatherError(*cells.problems, file=source.shown_as)
    if not len(cells.lines):
        raise WeatherError("has no hours below its header lines; download it again", file=source.shown_as)
    year, month, day, hour = (cells.numbers[place] for place in range(4))
    leap = (month == 2.0) & (day == 29.0)
    stamps, problem = moments(
        np.full(len(year), float(NOMINAL_YEAR)),
        month,
        np.where(leap, 28.0, day),
        np.where(hour == 0.0, -1.0, hour),
        cells.lines,
        hours=range(1, 25),
    )
    stamps = stamps - np.timedelta64(1, "h")
    problems = [problem] if problem is not None else []
    if not problems:
        problems += whole_year(stamps[~leap].astype("datetime64[s]").astype(np.int64), cells.lines[~leap])
    if problems:
        raise WeatherError(*problems, file=source.shown_as)
    keep = ~leap
    values: dict[str, Floats] = {}
    for place, (name, missing, factor, _) in _COLUMNS.items():
        if place < width:
            column = cells.numbers[place][keep]
            values[name] = np.where(column >= missing, np.nan, column * factor)
    notes = [months_note(year[keep].astype(np.int64), month[keep].astype(np.int64))]
    rain = values.get("rain", np.full(int(keep.sum()), np.nan))
    if width > _HOURS:
        rain = hourly_amounts(rain, cells.numbers[_HOURS][keep])
    rain, why, said = rain_record(rain)
    notes += said
    if "radiation" in values:
        seconds = stamps[keep].astype("datetime64[s]").astype(np.int64)
        values["radiation"], said = light_record(values["radiation"], seconds, site)
        notes += said
    values = {name: column for name, column in values.items() if not np.isnan(column).all()} | {"rain": rain}
    notes += [why] if why else []
    if leap.any():
        notes.append("the file's 29 February is left out")
    notes += _place(head[0], site)
    units = {name: unit for name, _, _, unit in _COLUMNS.values()}
    records = Records(
        stamps=stamps[keep],
        values=values,
        lines=cells.lines[keep],
        units={name: units[name] for name in values},
        stated=frozenset(values),
        headers={name: _NAMES[place] for place, (name, *_) in _COLUMNS.items() if name in values},
    )
    raw = to_days(
        records, standard_time(site), recognised="typical-year file, EPW layout", shown_as=source.shown_as, notes=notes
    )
    return dataclasses.replace(raw, typical=True, wind_height=_WIND_HEIGHT, absent={"rain": why} if why else {})


def _place(line: str, site: SiteLike) -> list[str]:
    cells = split_cells(line)
    try:
        latitude, longitude, _, elevation = (float(cell) for cell in cells[6:10])
    except ValueError:
        return ["the file's first line doesn't say where it was made for; check that it is meant for the site"]
    said = [f"the file says of itself: {cells[1]}, latitude {latitude:g}, longitude {longitude:g}, {elevation:g} m"]
    return said + far_from_site(site, latitude=latitude, longitude=longitude, elevation=elevation)
