"""
GSOD: NOAA's Global Surface Summary of the Day, the CSV file of one station.

Temperatures in tenths of °F, wind in knots, rain in inches, pressure in hPa; 99.99, 999.9 and 9999.9 stand for
missing values. Source: NOAA NCEI, "Federal Climate Complex Global Surface Summary of Day Data" (readme),
from memory.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from panbudget.weather.formats.archives import (
    Archived,
    Layout,
    Measure,
    days_noted,
    days_where,
    first_line,
    no_header,
    read_archive,
    refuse_columns,
    station_at,
)
from panbudget.weather.site import Site, Station
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.raw import ColumnChoice, LeftOut, RawTable
from panbudget.weather.text.rows import split
from panbudget.weather.text.source import Source

NAME = "gsod"
#: where the format is described
SOURCE = 'NOAA NCEI, "Federal Climate Complex Global Surface Summary of Day Data", readme (from memory)'

_OWN = {"STATION", "DATE", "TEMP", "DEWP", "WDSP", "MAX", "MIN", "PRCP", "FRSHTT"}
_FAHRENHEIT = (5.0 / 9.0, -160.0 / 9.0)
_LAYOUT = Layout(
    recognised="NOAA Global Surface Summary of the Day, CSV of one station (°F, knots, inches)",
    measures={
        "MIN": Measure("tmin", "°F", *_FAHRENHEIT, (9999.9,)),
        "MAX": Measure("tmax", "°F", *_FAHRENHEIT, (9999.9,)),
        "DEWP": Measure("dew_point", "°F", *_FAHRENHEIT, (9999.9,)),
        "WDSP": Measure("wind", "knots", 1852.0 / 3600.0, 0.0, (999.9,)),
        "PRCP": Measure("rain", "in", 25.4, 0.0, (99.99,)),
        # the file keeps four digits of it: 1013.2 stands as 13.2, and 999.9 is a missing value too
        "STP": Measure("pressure", "hPa", 0.1, 0.0, (9999.9, 999.9)),
    },
    station=("STATION",),
    date=("DATE",),
    # the height at which wind is measured by the rules of the World Meteorological Organization
    wind_heights={"WDSP": 10.0},
)
_STP_CUT_BELOW = 200.0  # hPa; no station is so high, and no pressure so high that it would be cut to more
# rain attributes of reports that cover part of the day: more may have fallen
_PART_OF_DAY = ("A", "B", "C", "E")


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
    if set(split(first)) >= _OWN:
        return 0.98, "header with TEMP, DEWP, WDSP, MAX, MIN, PRCP and FRSHTT"
    return 0.0, "no header of this format"


def read(source: Source, *, columns: Mapping[str, ColumnChoice], site: Site) -> RawTable:
    """
    Read a GSOD CSV.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Must be empty: the format's columns are known.
    site : Site
        Not asked: days are those of universal time.

    Returns
    -------
    RawTable
        tmin, tmax, dew_point, wind (at 10 m), rain, pressure; rows in the file's order.

    Raises
    ------
    WeatherError
        No header, rows that don't fit it, cells that are no numbers, several stations.
    """
    refuse_columns(columns, source, NAME)
    line = first_line(source)
    header = split(source.text.split("\n")[line - 1])
    if not {"STATION", "DATE"} <= set(header):
        raise no_header(source, line, "STATION, DATE, TEMP, DEWP and so on")
    return read_archive(source, _LAYOUT, line=line, header=header, heed=_heed, mistakes=Mistakes())


def _heed(table: Archived) -> Station:
    """
    Heed the attributes, and the pressure's lost leading 1.

    Of the rain's, A to G say which reports make up the day's sum; H: reports of 0, though rain was seen in the hour;
    I: no report of rain, nor rain seen, which the archive itself calls possibly incomplete.
    """
    table.notes.append(
        "days are those of universal time (UTC): far from Greenwich, tmax or rain may belong to the day before or "
        "after by the local clock"
    )
    values, frame = table.values, table.frame
    if "pressure" in values:
        values["pressure"] = values["pressure"] + np.where(values["pressure"] < _STP_CUT_BELOW, 1000.0, 0.0)
    if "rain" in values and "PRCP_ATTRIBUTES" in frame:
        marks, there = frame["PRCP_ATTRIBUTES"], ~np.isnan(values["rain"])
        no_report = (marks == "I").to_numpy()
        for mask, what in (
            (no_report, "the station sent no report of rain (attribute I); the 0 in the file is left out"),
            (marks == "H", "rain is 0 though rain was seen in some hour (attribute H): a trace, or a sum not sent"),
            (
                marks.isin(_PART_OF_DAY),
                "rain is a sum of reports that cover part of the day only (attribute A, B, C or E)",
            ),
        ):
            table.notes += days_noted(int((mask & there).sum()), what)
        values["rain"] = np.where(no_report, np.nan, values["rain"])
        if no_report.any():
            table.left_out["rain"] = LeftOut("its attribute I, no report of rain", days_where(table, no_report))
    if "rain" in values and np.isnan(values["rain"]).all():
        why = "the station sent no report of rain on any day (99.99, or attribute I): it keeps no rain record"
        table.absent["rain"] = why
    for name, column in (("MAX_ATTRIBUTES", "tmax"), ("MIN_ATTRIBUTES", "tmin")):
        if name in frame:
            what = f"{column} is the extreme of hourly readings, which may miss the true one"
            table.notes += days_noted(int((frame[name] == "*").sum()), what)
    first = frame.iloc[0]
    place = (first.get(name, "") for name in ("LATITUDE", "LONGITUDE", "ELEVATION"))
    return station_at(first.get("NAME", first["STATION"]), *place)
