"""
GSOD: NOAA's Global Surface Summary of the Day, the CSV file of one station.

Temperatures in tenths of °F, wind in knots, rain in inches, pressure in hPa; 99.99, 999.9 and 9999.9 stand for
missing values. Source: NOAA NCEI, "Federal Climate Complex Global Surface Summary of Day Data" (readme),
from memory.
"""

import numpy as np

from panbudget.weather.formats import archives
from panbudget.weather.text.mistakes import Mistakes, note, notes
from panbudget.weather.text.raw import Columns, LeftOut, RawTable, Site, Source, Station
from panbudget.weather.text.rows import split

NAME = "gsod"
#: where the format is described
SOURCE = 'NOAA NCEI, "Federal Climate Complex Global Surface Summary of Day Data", readme (from memory)'

_LAYOUT = archives.Layout(**archives.facts_of(NAME))
_OWN = {"STATION", "DATE", "TEMP", "DEWP", "WDSP", "MAX", "MIN", "PRCP", "FRSHTT"}
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


def read(source: Source, *, columns: Columns, site: Site) -> RawTable:
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
    line = archives.first_line(source)
    header = split(source.lines[line - 1])
    if not {"STATION", "DATE"} <= set(header):
        raise archives.no_header(source, line, "STATION, DATE, TEMP, DEWP and so on")
    return archives.read_archive(source, _LAYOUT, line=line, header=header, heed=_heed, mistakes=Mistakes())


def _heed(table: archives.Archived) -> Station:
    """
    Heed the attributes, and the pressure's lost leading 1.

    Of the rain's, A to G say which reports make up the day's sum; H: reports of 0, though rain was seen in the hour;
    I: no report of rain, nor rain seen, which the archive itself calls possibly incomplete.
    """
    table.notes.append(note("utc-far"))
    values, frame = table.values, table.frame
    if "pressure" in values:
        values["pressure"] = values["pressure"] + np.where(values["pressure"] < _STP_CUT_BELOW, 1000.0, 0.0)
    if "rain" in values and "PRCP_ATTRIBUTES" in frame:
        marks, known = frame["PRCP_ATTRIBUTES"], ~np.isnan(values["rain"])
        no_report = (marks == "I").to_numpy()
        kinds = {"rain-no-report": no_report, "rain-seen": marks == "H", "rain-in-part": marks.isin(_PART_OF_DAY)}
        table.notes += [text for key, mask in kinds.items() for text in notes(key, int((mask & known).sum()))]
        values["rain"] = np.where(no_report, np.nan, values["rain"])
        if no_report.any():
            days = frozenset(table.days[no_report].tolist())
            table.left_out["rain"] = LeftOut("its attribute I, no report of rain", days)
    if "rain" in values and np.isnan(values["rain"]).all():
        table.absent["rain"] = note("rain-never-reported")
    for name, column in (("MAX_ATTRIBUTES", "tmax"), ("MIN_ATTRIBUTES", "tmin")):
        if name in frame:
            table.notes += notes("hourly-extreme", int((frame[name] == "*").sum()), column=column)
    first = frame.iloc[0]
    place = (first.get(name, "") for name in ("LATITUDE", "LONGITUDE", "ELEVATION"))
    return archives.station_at(first.get("NAME", first["STATION"]), *place)
