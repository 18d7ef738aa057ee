"""
Sites: the table of places with a weather file each, CSV or Parquet, checked row by row.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import pandas as pd
from pydantic import ValidationError

from panbudget.errors import Problem, ScenarioError, nearest
from panbudget.extras import wants_extra
from panbudget.scenario import problems as scenario_errors
from panbudget.scenario.garden import Site
from panbudget.studies.sweep.site import Place
from panbudget.studies.texts import problems_of
from panbudget.weather.text.rows import read_typed

_problem = problems_of("sweep")
_NEEDED = ("name", "latitude", "elevation", "weather")
_KNOWN = (*_NEEDED, *(key for key in Site.model_fields if key not in _NEEDED))
_MORE = ("timezone", "setting", "climate")
_MOST_LINES = 20
_LONGEST_NAME = 120  # characters


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
    if wrong := list(_wrong_columns([*map(str, table.columns)], columns)):
        raise ScenarioError(*wrong, file=shown_as)
    if table.empty:
        raise ScenarioError(_problem("no-site"), file=shown_as)
    table = table.rename(columns={header: name for name, header in columns.items()})
    places: list[Place] = []
    problems: list[Problem] = []
    rows: dict[str, int] = {}
    for index, cells in enumerate(table.to_dict("records")):
        row = {key: text for key in _KNOWN if (text := str(cells.get(key, "")).strip())}
        name = row.get("name", "")
        wrong = list(_wrong_names(row, rows))
        rows.setdefault(name, index + 1)
        try:
            site = Site.model_validate({key: _value(key, row[key]) for key in Site.model_fields if key in row})
            more: dict[str, str] = {key: row[key] for key in _MORE if key in row}
            where = site.latitude, site.longitude, site.elevation
            places.append(Place(index, name, *where, row.get("weather", ""), more=more))
        except ValidationError as error:
            wrong += scenario_errors.problems(error, Site)
        problems += [problem.under(f"row {index + 1}: ") for problem in wrong]
    if len(problems) > _MOST_LINES:
        problems[_MOST_LINES:] = [_problem("more", count=len(problems) - _MOST_LINES)]
    if problems:
        raise ScenarioError(*problems, file=shown_as)
    return places


def _wrong_columns(headers: list[str], columns: Mapping[str, str]) -> Iterator[Problem]:
    for name, header in columns.items():
        if name not in _KNOWN:
            yield _problem("unknown-column", f"sites.columns.{name}", known=", ".join(_KNOWN))
        elif header not in headers:
            yield _problem("no-column.named", value=name, name=name, header=header, headers=", ".join(headers))
    for name in _NEEDED:
        if name not in headers and name not in columns:
            near = nearest(name, headers)
            code = "no-column.near" if near else "no-column.needed"
            yield _problem(code, value=name, name=name, near=near, needed=", ".join(_NEEDED))


def _wrong_names(row: Mapping[str, str], rows: Mapping[str, int]) -> Iterator[Problem]:
    name = row.get("name", "")
    if not name or not name.isprintable() or len(name) > _LONGEST_NAME:
        yield _problem("bad-name", "name", name, name=name, longest=_LONGEST_NAME)
    elif name in rows:
        yield _problem("same-name", "name", name, name=name, row=rows[name])
    if "weather" not in row:
        yield _problem("no-weather", "weather")


def _value(key: str, text: str) -> float | str:
    """A number stands for degrees, or for metres of height; anything else is left for the scenario's own check."""
    try:
        number = float(text)
    except ValueError:
        return text
    return f"{text} m" if key == "elevation" else number


def _read(path: Path, shown_as: str) -> pd.DataFrame:
    if path.suffix.lower() not in (".parquet", ".pq"):
        example = ",".join(_NEEDED)
        table = read_typed(path, what="table of sites", shown=shown_as, example=example, error=ScenarioError)
        if table.problems:
            raise ScenarioError(*table.problems, file=shown_as)
        return pd.DataFrame([row.cells for row in table.rows], columns=table.header)
    wants_extra("pyarrow")
    try:
        frame = pd.read_parquet(path)
        return frame.astype(object).where(frame.notna(), "").map(str)
    except (OSError, ValueError) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise ScenarioError(_problem("unreadable.table", reason=reason), file=shown_as) from None
