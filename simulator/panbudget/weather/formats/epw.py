"""
EPW: typical-year files in the weather layout of the EnergyPlus building simulation.

`pvlib.iotools` reads the data.

Source: EnergyPlus documentation, "Auxiliary Programs", EnergyPlus Weather File (EPW) Data Dictionary, from memory:
eight header lines that begin with their keywords, then 35 comma-separated fields an hour, hours 1 to 24 of local
standard time, each closing its hour; dry bulb (missing 99.9), dew point (99.9), relative humidity (999), station
pressure in Pa (999999), global horizontal radiation in Wh/m² (9999), wind speed (999), liquid precipitation depth
in mm (999) of the quantity's hours (99). Wind is taken at 10 m, as the same documentation does.
"""

from panbudget.weather.formats.archives import facts_of
from panbudget.weather.formats.typical import Hourly, read_typical
from panbudget.weather.text.cells import is_number
from panbudget.weather.text.raw import Columns, RawTable, Site, Source
from panbudget.weather.text.rows import split

NAME = "epw"
#: where the format is described
SOURCE = 'EnergyPlus documentation, "Auxiliary Programs": EPW Data Dictionary (from memory)'

_LAYOUT = Hourly(**facts_of(NAME))
_FIELDS, _FEWEST = 35, 22  # older files end before the rain
_LAST_HEADER = "DATA PERIODS"


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
        if sum(map(is_number, split(lines[0]))) > 1:  # the place; a table's header has words
            return 0.6, "begins with LOCATION, as the typical-year layout EPW does"
    return 0.0, "does not begin with LOCATION"


def read(source: Source, *, columns: Columns, site: Site) -> RawTable:
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
        365 days under a year that was none, ``typical``, or those of a real year.

    Raises
    ------
    WeatherError
        All that is wrong with header lines, hours and values; pvlib is not installed.
    """
    lines = source.lines
    above = next((i + 1 for i, line in enumerate(lines[:20]) if line.upper().startswith(_LAST_HEADER)), 0)
    if not above:
        raise source.refusal("epw-no-header")
    periods = split(lines[above - 1])
    if len(periods) > 2 and periods[2] not in ("", "1"):
        raise source.refusal("half-hours", line=above, records=periods[2])
    width = len(lines[above].rstrip().rstrip(",").split(",")) if above < len(lines) else _FIELDS
    width = width if _FEWEST <= width <= _FIELDS else _FIELDS
    # eight lines with the first; pandas counts the last one's cells, and takes shorter hours as empty at their ends
    head = [*["-"] * 6, _LAST_HEADER + "," * (_FIELDS - 1)]
    return read_typical(source, site, _LAYOUT, above=above, width=width, head=head)
