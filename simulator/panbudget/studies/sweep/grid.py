"""
Grid: gridded daily weather, NetCDF or Zarr through xarray, by the names and units of the CF conventions (`grid.toml`).

A cell is a site. Its days go through the same checks and fills as a weather file's. What is missing everywhere in a
cell on the first day (sea) is no site.
"""

import hashlib
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import Problem, ScenarioError
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.site import Place
from panbudget.weather.clean import WeatherFile, table_weather
from panbudget.weather.text.columns import STANDARD
from panbudget.weather.text.raw import RawTable
from panbudget.weather.text.source import Source
from panbudget.words import packaged

_CF = packaged("studies/sweep/grid.toml")


class _Grid(NamedTuple):
    """An open grid: our column -> its variable, factor and offset; its axis of time, and those of its cells."""

    data: Any
    variables: dict[str, tuple[str, float, float]]
    time: str
    axes: tuple[str, ...]


def places_in_grid(folder: Path, sites: Any) -> tuple[list[Place], int, bytes]:
    """
    List a grid's cells.

    Parameters
    ----------
    folder : Path
        The plan's.
    sites : plan.Sites

    Returns
    -------
    (list of Place, int, bytes)
        Cells with weather, by rows; how many have none; what the grid's fingerprint is made from.

    Raises
    ------
    ScenarioError
        All that is wrong with the grid's names and units, a line each.
    """
    shown = str(sites.grid)
    with _opened(folder, sites) as grid:
        latitude, longitude = (_coordinate(grid, name, shown) for name in ("latitude", "longitude"))
        first = grid.data[grid.variables["tmin"][0]].isel({grid.time: 0}).transpose(*grid.axes).to_numpy()
        heights = _heights(grid, sites, shown)
        mark = repr((dict(grid.data.sizes), sorted(grid.variables.items()), _fingerprint(folder / shown))).encode()
    places: list[Place] = []
    for cell in np.argwhere(~(np.isnan(first) | np.isnan(heights))):
        at, over, height = (float(values[tuple(cell)]) for values in (latitude, longitude, heights))
        over = over - 360.0 if over > 180.0 else over
        places.append(Place(f"{at:.4f} {over:.4f}", at, over, height, shown, tuple(map(int, cell))))
    if not places:
        raise _wrong("empty", shown)
    if len({place.name for place in places}) < len(places):
        raise _wrong("near", shown)
    return places, first.size - len(places), mark


def read_cells(folder: Path, sites: Any, places: Sequence[Place], source: Any) -> list[WeatherFile]:
    """
    Read some cells' weather, each as if it were a file's.

    Parameters
    ----------
    folder : Path
    sites : plan.Sites
    places : sequence of Place
        Of this grid.
    source : WeatherSource
        The base scenario's; its file, format and columns are left aside.

    Returns
    -------
    list of WeatherFile
    """
    cells = np.array([place.cell for place in places])
    low, high = cells.min(axis=0), cells.max(axis=0) + 1
    with _opened(folder, sites) as (data, variables, time, axes):
        dates = pd.DatetimeIndex(data[time].to_numpy(), name="date").normalize()
        box = {axis: slice(int(a), int(b)) for axis, a, b in zip(axes, low, high, strict=True)}
        values = {
            name: data[variable].isel(box).transpose(time, *axes).to_numpy().astype(float) * factor + offset
            for name, (variable, factor, offset) in variables.items()
        }
    files: list[WeatherFile] = []
    for place, cell in zip(places, cells - low, strict=True):
        raw = RawTable(
            daily=pd.DataFrame({name: block[(slice(None), *cell)] for name, block in values.items()}, index=dates),
            lines=tuple(range(1, len(dates) + 1)),
            recognised="CF names and units",
            units={name: STANDARD[name].unit for name in values},
            unit_is_stated=frozenset(values),
        )
        shown = Source("", f"{sites.grid}, cell {place.name}", "", "utf-8")
        options = source.model_dump(include={"wind_height", "missing_rain", "too_bright", "trust"})
        files.append(table_weather(raw, shown, place.site(), reader="grid", cautious=False, **options))
    return files


def _wrong(which: str, shown: str, **values: object) -> ScenarioError:
    return ScenarioError(problem(f"bad-grid.{which}", **values), file=shown)


@contextmanager
def _opened(folder: Path, sites: Any) -> Iterator[_Grid]:
    import xarray as xr

    shown, path = str(sites.grid), folder / str(sites.grid)
    if not os.path.exists(path):
        raise _wrong("no-file", shown)
    if not (path.is_file() or path.is_dir()):
        raise _wrong("unreadable", shown, reason="neither a plain file nor a folder")
    try:
        # neither dask nor threads: a job reads its own block
        data: Any = xr.open_zarr(path, chunks=None, consolidated=False) if path.is_dir() else xr.open_dataset(path)
    except (OSError, ValueError, ImportError, KeyError) as error:
        reason = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        raise _wrong("unreadable", shown, reason=reason) from None
    with data:
        variables, time = _variables(data, sites, shown), _time(data, shown)
        axes = tuple(str(axis) for axis in data[variables["tmin"][0]].dims if axis != time)
        for name, (variable, *_) in variables.items():
            if set(dims := list(map(str, data[variable].dims))) != {time, *axes}:
                expected = ", ".join((time, *axes))
                raise _wrong("axes", shown, variable=variable, name=name, dims=", ".join(dims), expected=expected)
        yield _Grid(data, variables, time, axes)


def _fingerprint(path: Path) -> str:
    """Return that of a file's content, or of a folder's names, sizes and small files."""
    whole = hashlib.sha256()
    for part in [path] if path.is_file() else sorted(part for part in path.rglob("*") if part.is_file()):
        with part.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").digest()
        whole.update(f"{part.relative_to(path).as_posix()} {part.stat().st_size}".encode() + digest)
    return whole.hexdigest()


def _time(data: Any, shown: str) -> str:
    for name in data.dims:
        if name in data.coords and np.issubdtype(data[name].dtype, np.datetime64):
            if not (np.diff(data[name].to_numpy()) > np.timedelta64(0, "s")).all():
                raise _wrong("order", shown, name=name)
            return str(name)
    raise _wrong("no-time", shown)


def _variables(data: Any, sites: Any, shown: str) -> dict[str, tuple[str, float, float]]:
    """Our column -> the grid's variable, factor and offset."""
    problems: list[Problem] = []
    variables: dict[str, tuple[str, float, float]] = {}

    def add(name: str, variable: str, unit: str | None = None) -> None:
        known, unit = _CF["units"][_CF["kinds"][name]], unit or str(data[variable].attrs.get("units", ""))
        plain = " ".join(unit.replace("**", "").replace("^", "").split())
        plain = _CF["aliases"].get(plain, plain)
        if plain in known:
            variables[name] = (variable, *known[plain])
        else:
            names = ", ".join(known)
            problems.append(problem("unknown-unit", value=unit, variable=variable, unit=unit, name=name, known=names))

    for name, choice in sites.variables.items():
        key, variable = f"sites.variables.{name}", choice.column
        if name not in _CF["kinds"]:
            problems.append(problem("unknown-column", key, known=", ".join(_CF["kinds"])))
        elif variable not in data:
            have = ", ".join(map(str, data.data_vars))
            problems.append(problem("no-variable.named", key, variable=variable, variables=have))
        else:
            add(name, variable, choice.unit)
    for name, standard, method in _CF["names"]:
        if name in sites.variables or name in variables:
            continue
        fitting = [str(key) for key, values in data.data_vars.items() if _is(values, standard, method)]
        if len(fitting) > 1:
            problems.append(problem("two-variables", value=name, variables=" and ".join(fitting), name=name))
        elif fitting:
            add(name, fitting[0])
    for name, method in (("tmin", "minimum"), ("tmax", "maximum")):
        if name not in variables and not problems:
            problems.append(problem("no-variable.needed", value=name, name=name, method=method))
    if problems:
        raise ScenarioError(*problems, file=shown)
    return variables


def _is(values: Any, standard: str, method: str) -> bool:
    methods = str(values.attrs.get("cell_methods", ""))
    if values.attrs.get("standard_name") != standard:
        return False
    if method == "mean":
        return "minimum" not in methods and "maximum" not in methods
    return method in methods


def _coordinate(grid: _Grid, name: str, shown: str) -> Any:
    """Latitude or longitude of each cell."""
    units = {"latitude": "degrees_north", "longitude": "degrees_east"}[name]
    for key, values in grid.data.variables.items():
        if values.attrs.get("standard_name") == name or values.attrs.get("units") == units or key == name:
            if not set(values.dims) <= set(grid.axes):
                break
            spread = values.set_dims({axis: grid.data.sizes[axis] for axis in grid.axes}) if grid.axes else values
            return spread.transpose(*grid.axes).to_numpy().astype(float)
    raise _wrong("no-place", shown, name=name, axes=", ".join(grid.axes))


def _heights(grid: _Grid, sites: Any, shown: str) -> Any:
    if sites.elevation is not None:
        return np.full([grid.data.sizes[axis] for axis in grid.axes], sites.elevation)
    for values in grid.data.variables.values():
        if values.attrs.get("standard_name") in _CF["heights"] and set(values.dims) == set(grid.axes):
            if values.attrs.get("units", "m") != "m":
                raise _wrong("heights", shown, unit=values.attrs["units"])
            return values.transpose(*grid.axes).to_numpy().astype(float)
    raise _wrong("no-heights", shown)
