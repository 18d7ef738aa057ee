"""
KNMI: the daily text files of the Royal Netherlands Meteorological Institute (etmgeg, and its daily downloads).

A block of explanations, a header line that begins with STN,YYYYMMDD, and whole numbers: 0.1 °C, 0.1 m/s,
0.1 mm, 0.1 h, J/cm². Here RH is rain and UG humidity. Source: the explanations at the head of the institute's
own files (from memory).
"""

from __future__ import annotations

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
    read_archive,
    refuse_columns,
    station_at,
)
from panbudget.weather.site import Site, Station
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.raw import ColumnChoice, RawTable
from panbudget.weather.text.rows import split
from panbudget.weather.text.source import Source

NAME = "knmi"
#: where the format is described
SOURCE = "the explanations at the head of the institute's own files (from memory)"

_LAYOUT = Layout(
    recognised="KNMI daily text (0.1 °C, 0.1 m/s, 0.1 mm, J/cm²)",
    measures={
        "TN": Measure("tmin", "0.1 °C", 0.1),
        "TX": Measure("tmax", "0.1 °C", 0.1),
        "UX": Measure("rh_max", "%"),
        "UN": Measure("rh_min", "%"),
        "UG": Measure("rh_mean", "%"),
        "FG": Measure("wind", "0.1 m/s", 0.1),
        # -1 stands for less than half of the smallest step
        "RH": Measure("rain", "0.1 mm", 0.1, trace="rain is less than 0.05 mm (code -1), read as 0"),
        "Q": Measure("radiation", "J/cm²", 0.01),
        "SQ": Measure("sunshine", "0.1 h", 0.1, trace="sunshine is less than 0.05 h (code -1), read as 0"),
    },
    station=("STN",),
    date=("YYYYMMDD",),
    wind_heights={"FG": 10.0},
    whole=True,
    comments=True,
    sparse=True,
)
# what the explanation of a column must say, if the file has one
_SAYS = {"TN": "0.1", "TX": "0.1", "FG": "0.1", "RH": "0.1", "SQ": "0.1", "Q": "J/cm"}
_EXPLANATION = re.compile(r"#?\s*(?P<name>[A-Z][A-Z0-9]*)\s*[=:]\s*(?P<text>.*)")
_PLACE = re.compile(
    r"#\s*(?P<number>\d{3}):?\s+(?P<longitude>-?\d+\.\d+)\s+(?P<latitude>-?\d+\.\d+)\s+(?P<elevation>-?\d+\.\d+)\s+(?P<name>\S.*)"
)


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is a KNMI text.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        Sure where the header line or the institute's name is found. And why.
    """
    lines = head.split("\n")
    if _header_line(lines) is not None:
        return 0.98, "header line with STN and YYYYMMDD"
    if any("METEOROLOGICAL INSTITUTE (KNMI)" in line.upper() for line in lines[:20]):
        return 0.95, "the institute's name above the table"
    return 0.0, "no header line with STN and YYYYMMDD"


def read(source: Source, *, columns: Mapping[str, ColumnChoice], site: Site) -> RawTable:
    """
    Read a KNMI daily text.

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
        tmin, tmax, rh_max, rh_min, rh_mean, wind (at 10 m), rain, radiation, sunshine, as far as the file has them.

    Raises
    ------
    WeatherError
        No header line, rows that don't fit it, numbers with decimals, hourly values, several stations.
    """
    refuse_columns(columns, source, NAME)
    lines = source.text.split("\n")
    line = _header_line(lines)
    if line is None:
        shown = lines[first_line(source) - 1].strip()[:60]
        found = f'has no header line with STN and YYYYMMDD, which this format has above its table; it begins "{shown}"'
        cure = f"{DOWNLOAD}, or correct {source.table}.format"
        raise source.refusal("no-header", found, cure)
    header = split(lines[line - 1].lstrip("# "))
    if "HH" in header or "H" in header:
        found = "column HH says that the values are hourly"
        raise source.refusal("hourly", found, "download daily values (etmgeg)", where=f"line {line}:")
    mistakes = Mistakes()
    mistakes.others += _other_units(lines[: line - 1])

    def heed(table: Archived) -> Station:
        table.notes += ["days are those of universal time (UTC)", *cut_off_notes(source)]
        if "PG" in header:
            table.notes.append("PG is the pressure at sea level, not at the site, and is not used")
        if "EV24" in header and (table.frame["EV24"] != "").any():
            table.notes.append("EV24 is a computed evapotranspiration (Makkink), not a measured pan, and is not used")
        return _station(lines[: line - 1], table.frame["STN"].iloc[0])

    return read_archive(source, _LAYOUT, line=line, header=header, heed=heed, mistakes=mistakes)


def _header_line(lines: Sequence[str]) -> int | None:
    for line, text in enumerate(lines, start=1):
        if "YYYYMMDD" in text and split(text.lstrip("# "))[:2] == ["STN", "YYYYMMDD"]:
            return line
    return None


def _other_units(explanations: Sequence[str]) -> list[Problem]:
    """Refuse a column whose explanation names another unit than the format has always had."""
    problems = []
    for line, text in enumerate(explanations, start=1):
        match = _EXPLANATION.fullmatch(text.strip())
        if match is None or match["name"] not in _SAYS or _SAYS[match["name"]] in match["text"]:
            continue
        found = f'{match["name"]} is explained as "{match["text"][:60]}"'
        cure = 'download it in that unit, or set format = "table" and name columns and units'
        unit = _LAYOUT.measures[match["name"]].unit
        problems.append(Problem("other-unit", f"line {line}:", found, unit, cure))
    return problems


def _station(explanations: Sequence[str], number: str) -> Station:
    for text in explanations:
        match = _PLACE.fullmatch(text.strip())
        if match is not None and match["number"] == number:
            return station_at(match["name"], match["latitude"], match["longitude"], match["elevation"])
    return Station(f"station {number}")
