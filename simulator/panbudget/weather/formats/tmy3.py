"""
TMY3: typical-year files in the CSV layout of the third edition of the typical meteorological year.

`pvlib.iotools` reads the data.

Source: Wilcox, S. and Marion, W. (2008), Users Manual for TMY3 Data Sets, NREL/TP-581-43156, National Renewable
Energy Laboratory, tables 1-1 to 1-3, from memory: a line on the station, a header line, 8760 hours whose stamp
closes the hour (01:00 to 24:00 local standard time); −9900 missing; global horizontal irradiance in Wh/m² of the
hour before the stamp; pressure at the station in mbar; wind at 10 m, the anemometer height of airports.
"""

from __future__ import annotations

from collections.abc import Mapping

from panbudget.weather.formats.archives import DOWNLOAD, refuse_columns
from panbudget.weather.formats.typical import Hourly, Quantity, read_typical
from panbudget.weather.site import Site
from panbudget.weather.text.raw import ColumnChoice, RawTable
from panbudget.weather.text.rows import split
from panbudget.weather.text.source import Source

NAME = "tmy3"
#: where the format is described
SOURCE = "Wilcox & Marion (2008), Users Manual for TMY3 Data Sets, NREL/TP-581-43156, tables 1-1 to 1-3 (from memory)"

_NO_FIGURE = -9900.0
_NEEDED = ("Date (MM/DD/YYYY)", "Time (HH:MM)", "Dry-bulb (C)")
_OPENS = ",".join(_NEEDED[:2])
_LAYOUT = Hourly(
    recognised="typical-year file, TMY3 layout",
    reader="read_tmy3",
    options={"map_variables": False},
    quantities={
        name: Quantity(quantity, name, unit, _NO_FIGURE, factor)
        for name, quantity, unit, factor in (
            ("Dry-bulb (C)", "temperature", "°C", 1.0),
            ("Dew-point (C)", "dew_point", "°C", 1.0),
            ("RHum (%)", "humidity", "%", 1.0),
            ("Wspd (m/s)", "wind", "m/s", 1.0),
            ("GHI (W/m^2)", "radiation", "W/m²", 1.0),
            ("Pressure (mbar)", "pressure", "mbar", 0.1),
            ("Lprecip depth (mm)", "rain", "mm", 1.0),
        )
    },
    hours="Lprecip quantity (hr)",
    title=(7, 1, 4, 5, 6),
    when=r"\s*(?P<month>\d{1,2})/(?P<day>\d{1,2})/(?P<year>\d{4})\s*,\s*(?P<hour>\d{1,2}):\d{2}",
    closes=True,
)


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
    if len(lines) > 1 and lines[1].startswith(_OPENS) and "GHI (W/m^2)" in lines[1]:
        return 0.98, "the header line of the typical-year layout TMY3"
    return 0.0, "no TMY3 header"


def read(source: Source, *, columns: Mapping[str, ColumnChoice], site: Site) -> RawTable:
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
    refuse_columns(columns, source, NAME)
    lines = source.text.split("\n")
    header = split(lines[1]) if len(lines) > 1 else []
    absent = [name for name in _NEEDED if name not in header]
    if absent:
        found, cure = f"the header lacks {', '.join(absent)}", f"a TMY3 file has it: {DOWNLOAD}"
        raise source.refusal("no-header", found, cure, where="line 2:")
    return read_typical(
        source,
        site,
        _LAYOUT,
        lines=lines,
        above=2,
        width=len(header),
        expected=f"the header has {len(header)}",
        head=[lines[1]],
    )
