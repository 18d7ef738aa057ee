"""
EPW: typical-year files in the weather layout of the EnergyPlus building simulation.

`pvlib.iotools` reads the data.

Source: EnergyPlus documentation, "Auxiliary Programs", EnergyPlus Weather File (EPW) Data Dictionary, from memory:
eight header lines that begin with their keywords, then 35 comma-separated fields an hour, hours 1 to 24 of local
standard time, each closing its hour; dry bulb (missing 99.9), dew point (99.9), relative humidity (999), station
pressure in Pa (999999), global horizontal radiation in Wh/m² (9999), wind speed (999), liquid precipitation depth
in mm (999) of the quantity's hours (99). Wind is taken at 10 m, as the same documentation does.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from panbudget.weather.formats.archives import DOWNLOAD, refuse_columns
from panbudget.weather.formats.typical import Hourly, Quantity, read_typical
from panbudget.weather.site import Site
from panbudget.weather.text.raw import ColumnChoice, RawTable
from panbudget.weather.text.rows import split
from panbudget.weather.text.source import Source

NAME = "epw"
#: where the format is described
SOURCE = 'EnergyPlus documentation, "Auxiliary Programs": EPW Data Dictionary (from memory)'

_LAYOUT = Hourly(
    recognised="typical-year file, EPW layout",
    reader="read_epw",
    quantities={
        "temp_air": Quantity("temperature", "dry bulb", "°C", 99.9),
        "temp_dew": Quantity("dew_point", "dew point", "°C", 99.9),
        "relative_humidity": Quantity("humidity", "relative humidity", "%", 999.0),
        "atmospheric_pressure": Quantity("pressure", "station pressure", "Pa", 999999.0, 0.001),
        "ghi": Quantity("radiation", "global horizontal radiation", "Wh/m²", 9999.0),
        "wind_speed": Quantity("wind", "wind speed", "m/s", 999.0),
        "liquid_precipitation_depth": Quantity("rain", "liquid precipitation depth", "mm", 999.0),
    },
    hours="liquid_precipitation_quantity",
    title=(10, 1, 6, 7, 9),
    when=r"\s*(?P<year>\d+)\s*,\s*(?P<month>\d+)\s*,\s*(?P<day>\d+)\s*,\s*(?P<hour>0*[1-9]\d*)\s*,",
    closes=False,
)
_FIELDS, _FEWEST = 35, 22  # older files end before the rain
_LAST_HEADER = "DATA PERIODS"
_LEAP_DAY = re.compile(r"\s*\d+\s*,\s*0?2\s*,\s*29\s*,")


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


def read(source: Source, *, columns: Mapping[str, ColumnChoice], site: Site) -> RawTable:
    """
    Read an EPW file.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Must be empty: the format says what its columns are.
    site : Site
        Held against the place that the file names.

    Returns
    -------
    RawTable
        365 days under a year that was none; ``typical`` is True.

    Raises
    ------
    WeatherError
        All that is wrong with header lines, hours and values; pvlib is not installed.
    """
    refuse_columns(columns, source, NAME)
    lines = source.text.split("\n")
    above = next((i + 1 for i, line in enumerate(lines[:20]) if line.upper().startswith(_LAST_HEADER)), 0)
    if not above:
        found, expected = f'the header line "{_LAST_HEADER}" is missing', "eight header lines and 8760 hours"
        raise source.refusal("no-header", found, DOWNLOAD, expected=expected)
    periods = split(lines[above - 1])
    if len(periods) > 2 and periods[2] not in ("", "1"):
        found = f"{periods[2]} records an hour"
        raise source.refusal("half-hours", found, "use an hourly file", where=f"line {above}:", expected="one")
    width = len(lines[above].rstrip().rstrip(",").split(",")) if above < len(lines) else _FIELDS
    leap_days = [i for i, line in enumerate(lines[above:], start=above) if _LEAP_DAY.match(line)]
    for i in leap_days:
        lines[i] = ""
    width = width if _FEWEST <= width <= _FIELDS else _FIELDS
    return read_typical(
        source,
        site,
        _LAYOUT,
        lines=lines,
        above=above,
        width=width,
        expected=f"the format has {width}",
        head=[*["-"] * 6, _LAST_HEADER],  # eight lines with the first
        notes=["the file's 29 February is left out"] if leap_days else [],
    )
