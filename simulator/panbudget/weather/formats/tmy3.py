"""
TMY3: typical-year files in the CSV layout of the third edition of the typical meteorological year.

`pvlib.iotools` reads the data.

Source: Wilcox, S. and Marion, W. (2008), Users Manual for TMY3 Data Sets, NREL/TP-581-43156, National Renewable
Energy Laboratory, tables 1-1 to 1-3, from memory: a line on the station, a header line, 8760 hours whose stamp
closes the hour (01:00 to 24:00 local standard time); −9900 missing; global horizontal irradiance in Wh/m² of the
hour before the stamp; pressure at the station in mbar; wind at 10 m, the anemometer height of airports.
"""

from panbudget.weather.formats.archives import facts_of
from panbudget.weather.formats.typical import Hourly, read_typical
from panbudget.weather.text.raw import Columns, RawTable, Site, Source
from panbudget.weather.text.rows import split

NAME = "tmy3"
#: where the format is described
SOURCE = "Wilcox & Marion (2008), Users Manual for TMY3 Data Sets, NREL/TP-581-43156, tables 1-1 to 1-3 (from memory)"

_NEEDED = ("Date (MM/DD/YYYY)", "Time (HH:MM)", "Dry-bulb (C)")
_OPENS = ",".join(_NEEDED[:2])
_LAYOUT = Hourly(**facts_of(NAME))


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
        High if the second line is its header and the third a year's first day, for a station's hours may have its names. And why.
    """
    lines = head.split("\n")
    if len(lines) > 2 and lines[1].startswith(_OPENS) and "GHI (W/m^2)" in lines[1] and lines[2].startswith("01/01/"):
        return 0.98, "the header line of the typical-year layout TMY3"
    return 0.0, "no TMY3 header"


def read(source: Source, *, columns: Columns, site: Site) -> RawTable:
    """
    Read a TMY3 file.

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
        All that is wrong with header, hours and values; pvlib is not installed.
    """
    lines = source.lines
    header = split(lines[1]) if len(lines) > 1 else []
    if absent := [name for name in _NEEDED if name not in header]:
        raise source.refusal("tmy3-no-header", absent=", ".join(absent))
    return read_typical(source, site, _LAYOUT, above=2, width=len(header), head=[lines[1]])
