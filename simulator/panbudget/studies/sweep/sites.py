"""
Sites: the table of places with a weather file each, CSV or Parquet, checked row by row.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from panbudget.errors import Problem, ScenarioError, nearest
from panbudget.studies.sweep.site import Place
from panbudget.units import UnitError, quantity
from panbudget.weather.text.rows import read_typed

__all__ = ["places_in_table"]

_NEEDED = ("name", "latitude", "elevation", "weather")
_WORDS = {"setting": ("inland", "coast"), "climate": ("auto", "dry", "humid")}
_KNOWN = (*_NEEDED, "longitude", "timezone", *_WORDS)
_MOST_LINES = 20


def places_in_table(path: Path, columns: Mapping[str, str], *, shown_as: str) -> list[Place]:
    """
    Read a table of sites.

    Parameters
    ----------
    path : Path
        CSV (with a header line; lines that begin with # are passed over) or ``.parquet``.
    columns : mapping
        Our name -> the table's header, where they differ.
    shown_as : str
        Its name in messages.

    Returns
    -------
    list of Place
        In the table's order.

    Raises
    ------
    ScenarioError
        All that is wrong with it, a line each, at most twenty.
    """
    table = _read(path, shown_as)
    problems = [
        Problem.of_text(f"sites.columns.{name} is no known column; known: {', '.join(_KNOWN)}", f"sites.columns.{name}")
        for name in columns
        if name not in _KNOWN
    ]
    problems += [
        Problem.of_text(
            f"has no column {header}, which sites.columns.{name} names; it has {', '.join(map(str, table.columns))}",
            name,
        )
        for name, header in columns.items()
        if header not in table.columns
    ]
    if not problems:
        table = table.rename(columns={header: name for name, header in columns.items()})
        for name in _NEEDED:
            if name not in table.columns:
                near = nearest(name, map(str, table.columns))
                hint = f'; is it "{near}"? Then write sites.columns = {{ {name} = "{near}" }}' if near else ""
                problems.append(
                    Problem.of_text(f"has no column {name}{hint}; a table of sites needs {', '.join(_NEEDED)}", name)
                )
    if problems:
        raise ScenarioError(*problems, file=shown_as)
    if not len(table):
        raise ScenarioError("holds no site; one row a site is expected", file=shown_as)
    places: list[Place] = []
    seen: dict[str, int] = {}
    for index, row in enumerate(table.to_dict("records")):
        wrong: list[str] = []
        place = _place(index, {str(key): value for key, value in row.items()}, wrong)
        if place.name in seen:
            wrong.append(f'name = "{place.name}" stands in row {seen[place.name]} too; names must differ')
        seen.setdefault(place.name, index + 1)
        problems += [Problem.of_text(f"row {index + 1}: {text}", f"row {index + 1}") for text in wrong]
        places.append(place)
    if len(problems) > _MOST_LINES:
        more = len(problems) - _MOST_LINES
        problems = [*problems[:_MOST_LINES], Problem.of_text(f"and {more} more problems like these", "")]
    if problems:
        raise ScenarioError(*problems, file=shown_as)
    return places


def _read(path: Path, shown_as: str) -> pd.DataFrame:
    if path.suffix.lower() not in (".parquet", ".pq"):
        example = ",".join(_NEEDED)
        table = read_typed(path, what="table of sites", shown=shown_as, example=example, error=ScenarioError)
        if table.problems:
            raise ScenarioError(*table.problems, file=shown_as)
        return pd.DataFrame([row.cells for row in table.rows], columns=table.header)
    from panbudget.studies.sweep.plan import wants_extra

    wants_extra("pyarrow")
    try:
        frame = pd.read_parquet(path)
        return frame.astype(object).where(frame.notna(), "").map(str)
    except (OSError, ValueError) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise ScenarioError(f"can't be read as a table of sites ({reason})", file=shown_as) from None


def _place(index: int, row: Mapping[str, Any], wrong: list[str]) -> Place:
    name = str(row["name"]).strip()
    if not name or not name.isprintable() or len(name) > 120:
        wrong.append(f'name = "{name[:40]}" is no usable name: 1 to 120 printable characters')
    weather = str(row["weather"]).strip()
    if not weather:
        wrong.append("weather is empty; the name of a weather file is expected")
    longitude = str(row.get("longitude", "")).strip()
    more = {key: str(row[key]).strip() for key in ("timezone", *_WORDS) if str(row.get(key, "")).strip()}
    for key, words in _WORDS.items():
        if more.get(key, words[0]) not in words:
            wrong.append(f'{key} = "{more[key]}" must be one of {", ".join(words)}')
    if "timezone" in more:
        import zoneinfo

        try:
            zoneinfo.ZoneInfo(more["timezone"])
        except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
            wrong.append(f'timezone = "{more["timezone"]}" is not a time zone that is known')
    return Place(
        index=index,
        name=name,
        latitude=_degrees("latitude", row["latitude"], 90.0, wrong),
        longitude=_degrees("longitude", longitude, 180.0, wrong) if longitude else None,
        elevation=_height(row["elevation"], wrong),
        file=weather,
        more=more,
    )


def _degrees(name: str, text: Any, most: float, wrong: list[str]) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not abs(value) <= most:
        wrong.append(f'{name} = "{text}" is not a number of degrees from -{most:.0f} to {most:.0f}')
    return value


def _height(text: Any, wrong: list[str]) -> float:
    try:
        value = float(text)
    except ValueError:
        try:
            value = quantity(str(text), "length")
        except UnitError:
            value = math.nan
    if not -430.0 <= value <= 6000.0:
        wrong.append(f'elevation = "{text}" is no height above sea; metres are expected, such as 240 or "800 ft"')
    return value
