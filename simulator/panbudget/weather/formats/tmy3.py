"""
TMY3: typical-year files in the CSV layout of the third edition of the typical meteorological year.

Source: Wilcox, S. and Marion, W. (2008), Users Manual for TMY3 Data Sets, NREL/TP-581-43156, National Renewable
Energy Laboratory, tables 1-1 to 1-3, from memory: a line on the station, a header line, 8760 hours whose stamp
closes the hour (01:00 to 24:00 local standard time); −9900 missing; global horizontal irradiance in Wh/m² of the
hour before the stamp; pressure at the station in mbar; wind at 10 m, the anemometer height of airports.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping

import numpy as np

from panbudget.errors import Problem, WeatherError
from panbudget.physics.air import Floats
from panbudget.weather.site import SiteLike
from panbudget.weather.subdaily.hourly import Records, to_days
from panbudget.weather.text.cells import MISSING, read_cells
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

NAME = "tmy3"
#: where the format is described
SOURCE = "Wilcox & Marion (2008), Users Manual for TMY3 Data Sets, NREL/TP-581-43156, tables 1-1 to 1-3 (from memory)"

_WIND_HEIGHT = 10.0
# header -> column of records, factor to the standard unit, unit in the file
_COLUMNS = {
    "Dry-bulb (C)": ("temperature", 1.0, "°C"),
    "Dew-point (C)": ("dew_point", 1.0, "°C"),
    "RHum (%)": ("humidity", 1.0, "%"),
    "Wspd (m/s)": ("wind", 1.0, "m/s"),
    "GHI (W/m^2)": ("radiation", 1.0, "W/m²"),
    "Pressure (mbar)": ("pressure", 0.1, "mbar"),
    "Lprecip depth (mm)": ("rain", 1.0, "mm"),
}
_DATE, _TIME, _HOURS = "Date (MM/DD/YYYY)", "Time (HH:MM)", "Lprecip quantity (hr)"
_NO_FIGURE = -9900.0
_STAMP = re.compile(r"\s*(\d{1,2})/(\d{1,2})/(\d{4})\s*")


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is TMY3.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        High if the second line is its header. And why.
    """
    lines = head.split("\n")
    if len(lines) > 1 and lines[1].startswith(f"{_DATE},{_TIME}") and "GHI (W/m^2)" in lines[1]:
        return 0.98, "the header line of the typical-year layout TMY3"
    return 0.0, "no TMY3 header"


def read_at(source: Source, *, columns: Mapping[str, ColumnChoice], site: SiteLike) -> RawTable:
    """
    Read a TMY3 file.

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
        All that is wrong with header, hours and values.
    """
    refuse_columns(columns, source, NAME)
    lines = source.text.split("\n", 2)
    header = split_cells(lines[1]) if len(lines) > 1 else []
    needed = [_DATE, _TIME, "Dry-bulb (C)"]
    absent_headers = [name for name in needed if name not in header]
    if absent_headers:
        message = f"line 2: the header lacks {', '.join(absent_headers)}; a TMY3 file has it: download the file again"
        raise WeatherError(Problem.of_text(message, key="line 2"), file=source.shown_as)
    places = {header.index(name): name for name in (*_COLUMNS, _HOURS) if name in header}
    date, time = header.index(_DATE), header.index(_TIME)
    cells = read_cells(
        source.text,
        above=2,
        separator=",",
        width=len(header),
        numbers=places,
        texts=(date, time),
        missing=(*MISSING, "-9900", "-9900.0"),
    )
    if cells.problems:
        raise WeatherError(*cells.problems, file=source.shown_as)
    parts = cells.texts[date].str.extract(_STAMP.pattern + "$").astype(float)
    hour = cells.texts[time].str.extract(r"^\s*(\d{1,2}):\d{2}\s*$")[0].astype(float)
    month, day, year = (parts[i].fillna(-1.0).to_numpy() for i in range(3))
    hours = hour.fillna(-1.0).to_numpy()
    # some makers close the day at 00:00 of the next one
    late = hours == 0.0
    nominal = np.full(len(hours), float(NOMINAL_YEAR))
    shifted = np.where((month == 2.0) & (day == 29.0), 28.0, day)
    stamps, problem = moments(nominal, month, shifted, np.where(late, 1.0, hours), cells.lines, hours=range(1, 25))
    problems = [problem] if problem is not None else []
    stamps = stamps - np.where(late, np.timedelta64(2, "h"), np.timedelta64(1, "h"))
    if late.any():
        # 00:00 on 1 January closes the last hour of the year
        before = stamps < np.datetime64(f"{NOMINAL_YEAR}-01-01")
        stamps = np.where(before, stamps + np.timedelta64(365, "D"), stamps)
    if not problems:
        problems += whole_year(stamps.astype("datetime64[s]").astype(np.int64), cells.lines)
    if problems:
        raise WeatherError(*problems, file=source.shown_as)
    values: dict[str, Floats] = {}
    for place, name in places.items():
        if name in _COLUMNS:
            column = cells.numbers[place]
            values[_COLUMNS[name][0]] = np.where(column <= _NO_FIGURE, np.nan, column * _COLUMNS[name][1])
    notes = [months_note(year[~late].astype(np.int64), month[~late].astype(np.int64))]
    rain = values.get("rain", np.full(len(hours), np.nan))
    if _HOURS in header:
        rain = hourly_amounts(rain, cells.numbers[header.index(_HOURS)])
    rain, why, said = rain_record(rain)
    notes += said
    if "radiation" in values:
        seconds = stamps.astype("datetime64[s]").astype(np.int64)
        values["radiation"], said = light_record(values["radiation"], seconds, site)
        notes += said
    values = {name: column for name, column in values.items() if not np.isnan(column).all()} | {"rain": rain}
    notes += [why] if why else []
    notes += _place(lines[0], site)
    units = {name: unit for name, _, unit in _COLUMNS.values()}
    records = Records(
        stamps=stamps,
        values=values,
        lines=cells.lines,
        units={name: units[name] for name in values},
        stated=frozenset(values),
        headers={name: header_name for header_name, (name, _, _) in _COLUMNS.items() if name in values},
    )
    raw = to_days(
        records, standard_time(site), recognised="typical-year file, TMY3 layout", shown_as=source.shown_as, notes=notes
    )
    return dataclasses.replace(raw, typical=True, wind_height=_WIND_HEIGHT, absent={"rain": why} if why else {})


def _place(line: str, site: SiteLike) -> list[str]:
    cells = split_cells(line)
    try:
        latitude, longitude, elevation = (float(cell) for cell in cells[4:7])
    except ValueError:
        return ["the file's first line doesn't say where it was made for; check that it is meant for the site"]
    name = cells[1].title()
    said = [f"the file says of itself: {name}, latitude {latitude:g}, longitude {longitude:g}, {elevation:g} m"]
    return said + far_from_site(site, latitude=latitude, longitude=longitude, elevation=elevation)
