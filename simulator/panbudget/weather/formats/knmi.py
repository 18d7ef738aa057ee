"""
KNMI: the daily text files of the Royal Netherlands Meteorological Institute (etmgeg, and its daily downloads).

A block of explanations, a header line that begins with STN,YYYYMMDD, and whole numbers: 0.1 °C, 0.1 m/s,
0.1 mm, 0.1 h, J/cm². Here RH is rain and UG humidity. Source: the explanations at the head of the institute's
own files (from memory).
"""

import re
from collections.abc import Sequence

from panbudget.weather.formats import archives
from panbudget.weather.text.mistakes import Mistakes, note
from panbudget.weather.text.raw import Columns, RawTable, Site, Source, Station
from panbudget.weather.text.rows import split

NAME = "knmi"
#: where the format is described
SOURCE = "the explanations at the head of the institute's own files (from memory)"

_LAYOUT = archives.Layout(**archives.facts_of(NAME))
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


def read(source: Source, *, columns: Columns, site: Site) -> RawTable:
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
    lines = source.lines
    line = _header_line(lines)
    if line is None:
        text = lines[archives.first_line(source) - 1].strip()[:60]
        raise source.refusal("knmi-no-header", text=text, table=source.table)
    header = split(lines[line - 1].lstrip("# "))
    if "HH" in header or "H" in header:
        raise source.refusal("knmi-hourly", line=line)
    mistakes = Mistakes()
    # a column whose explanation names another unit than the format has always had
    for at, text in enumerate(lines[: line - 1], start=1):
        match = _EXPLANATION.fullmatch(text.strip())
        measure = _LAYOUT.measures.get(match["name"]) if match else None
        if match and measure and measure.explained not in match["text"]:
            facts = {"line": at, "name": match["name"], "text": match["text"][:60], "unit": measure.unit}
            mistakes.note("knmi-other-unit", **facts)

    def heed(table: archives.Archived) -> Station:
        table.notes += [note("utc"), *archives.cut_off_notes(source)]
        if "PG" in header:
            table.notes.append(note("knmi-sea-level"))
        if "EV24" in header and (table.frame["EV24"] != "").any():
            table.notes.append(note("knmi-evaporation"))
        number = table.frame["STN"].iloc[0]
        places = (match for match in map(_PLACE.fullmatch, map(str.strip, lines[: line - 1])) if match)
        place = next((match for match in places if match["number"] == number), None)
        if place is None:
            return Station(f"station {number}")
        return archives.station_at(place["name"], place["latitude"], place["longitude"], place["elevation"])

    return archives.read_archive(source, _LAYOUT, line=line, header=header, heed=heed, mistakes=mistakes)


def _header_line(lines: Sequence[str]) -> int | None:
    begins = ["STN", "YYYYMMDD"]
    return next((i for i, s in enumerate(lines, 1) if begins[1] in s and split(s.lstrip("# "))[:2] == begins), None)
