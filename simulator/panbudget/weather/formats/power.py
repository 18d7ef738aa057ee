"""
Power: NASA POWER's daily CSV for a point, with its block of explanations above the table.

The values are those of a grid's cell, from a weather model and satellites: no station measured them. Source:
NASA POWER documentation, daily API, CSV output and parameter dictionary (from memory).
"""

import itertools
import re
from collections.abc import Sequence
from dataclasses import replace

from panbudget.weather.formats import archives
from panbudget.weather.text.mistakes import Mistakes, note
from panbudget.weather.text.raw import Columns, RawTable, Site, Source, Station
from panbudget.weather.text.rows import split

NAME = "nasa-power"
#: where the format is described
SOURCE = "NASA POWER documentation: daily API, CSV output and parameter dictionary (from memory)"

BEGIN, END = "-BEGIN HEADER-", "-END HEADER-"
USUAL_MISSING = -999.0
_LAYOUT = archives.Layout(**archives.facts_of(NAME))
_PARAMETER = re.compile(r"\s*(?P<name>[A-Z][A-Z0-9_]+)\s.*\((?P<unit>[^()]+)\)\s*")
_MISSING = re.compile(r"missing.*?(?P<code>-\d+(?:\.\d+)?)\s*$")
_LOCATION = re.compile(r"Latitude\s+(?P<latitude>-?\d+(?:\.\d+)?)\s+Longitude\s+(?P<longitude>-?\d+(?:\.\d+)?)", re.I)
_ELEVATION = re.compile(r"elevation.*=\s*(?P<elevation>-?\d+(?:\.\d+)?)\s*meters", re.I)


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is a NASA POWER CSV.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        Sure where the block of explanations begins, or a header line has the format's parameters. And why.
    """
    lines = [line for line in head.split("\n") if line.strip()]
    if lines and lines[0].strip().strip('"') == BEGIN:
        return 0.98, f"the block {BEGIN}"
    if lines and _is_header(cells := split(lines[0])) and set(cells) & set(_LAYOUT.measures):
        return 0.97, "header with YEAR and the parameters of NASA POWER"
    return 0.0, "no block of explanations as in this format"


def read(source: Source, *, columns: Columns, site: Site) -> RawTable:
    """
    Read a NASA POWER daily CSV.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Must be empty: the format's columns are known.
    site : Site
        Not asked: days are the archive's own.

    Returns
    -------
    RawTable
        tmin, tmax, dew_point, rh_mean, wind (at 2 m, or 10 m where there is no other), rain, radiation, pressure,
        as far as the file has them.

    Raises
    ------
    WeatherError
        A block or a table that is cut off, units that are unknown or not named, hourly or monthly values, a region of
        several cells.
    """
    explanations, line = head_of(source)
    header = split(source.lines[line - 1])
    mistakes = Mistakes()
    units: dict[str, str] = {}
    codes = missing_codes(explanations)
    position: dict[str, str] = {}
    for text in explanations:
        for pattern in (_LOCATION, _ELEVATION):
            position |= match.groupdict() if (match := pattern.search(text)) else {}
        if (match := _PARAMETER.fullmatch(text)) is not None:
            units[match["name"]] = match["unit"].strip()
    measures = {
        name: _measure(name, measure, units.get(name), mistakes)._replace(missing=codes)
        for name, measure in _LAYOUT.measures.items()
        if name in header or measure.column in ("tmin", "tmax")
    }

    def heed(table: archives.Archived) -> Station:
        table.notes += [note("grid-cell"), *archives.cut_off_notes(source)]
        if unused := [name for name in header if name in measures and name not in table.chosen.values()]:
            table.notes.append(note("better-columns", columns=", ".join(unused)))
        return archives.station_at("a grid cell of NASA POWER", **position)

    layout = _LAYOUT._replace(measures=measures)
    raw = archives.read_archive(source, layout, line=line, header=header, heed=heed, mistakes=mistakes)
    # the height is in the parameter's name: a file states it, as a station's table may
    return replace(raw, gauge=(raw.wind_height,)) if raw.wind_height else raw


def _is_header(cells: Sequence[str]) -> bool:
    return "YEAR" in cells and ({"MO", "DY"} <= set(cells) or "DOY" in cells)


def missing_codes(explanations: Sequence[str]) -> list[float]:
    """Return the codes for a missing value: the usual one, and what the explanations name."""
    matches = (_MISSING.search(text) for text in explanations)
    return [USUAL_MISSING, *(float(match["code"]) for match in matches if match)]


def head_of(source: Source) -> tuple[list[str], int]:
    """Return the explanations, if there are any, and the line of the table's header."""
    lines = source.lines
    start = archives.first_line(source) - 1
    bare = (text.strip().strip('"') for text in lines[start:])
    explanations: list[str] = []
    if next(bare) == BEGIN:
        explanations = list(itertools.takewhile(lambda text: text != END, bare))
        start += len(explanations) + 2
        if start > len(lines):
            raise source.refusal("open-block", line=archives.first_line(source))
    header = next((i for i in range(start, len(lines)) if lines[i].strip()), None)
    if header is None:
        raise source.refusal("no-table")
    cells = split(lines[header])
    for name, key in (("PARAMETER", "power-monthly"), ("HR", "power-hourly")):
        if name in cells:
            raise source.refusal(key, line=header + 1)
    if not _is_header(cells):
        raise archives.no_header(source, header + 1, "YEAR, MO, DY or YEAR, DOY, then parameters")
    return explanations, header + 1


def _measure(name: str, measure: archives.Measure, unit: str | None, mistakes: Mistakes) -> archives.Measure:
    """Find a parameter's unit in the explanations; of radiation, which has two, it must be there."""
    if unit is None and measure.column == "radiation":
        mistakes.note("power-no-unit", name=name)
    known = {measure.unit: 1.0, **_LAYOUT.units.get(measure.unit, {})}
    if unit is not None and unit not in known:
        mistakes.note("power-other-unit", value=unit, name=name, text=unit, unit=measure.unit)
    return measure._replace(unit=unit or measure.unit, factor=known.get(unit or measure.unit, 1.0))
