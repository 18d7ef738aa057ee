"""
Grid: gridded daily weather, NetCDF or Zarr through xarray, by the names and units of the CF conventions.

A cell is a site. Its days go through the same checks and fills as a weather file's. What is missing everywhere in a
cell on the first day (sea) is no site. Source of names and units: CF Conventions 1.11 and its standard name table.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import Problem, ScenarioError, WeatherError
from panbudget.studies.sweep.site import Place
from panbudget.weather import Weather
from panbudget.weather.clean import clean_weather
from panbudget.weather.text.columns import STANDARD
from panbudget.weather.text.raw import RawTable
from panbudget.weather.text.source import Source

# standard name of the CF table (and what its cell_methods must hold) -> our column
_STANDARD_NAMES: tuple[tuple[str, str, str], ...] = (
    ("tmin", "air_temperature", "minimum"),
    ("tmax", "air_temperature", "maximum"),
    ("rh_max", "relative_humidity", "maximum"),
    ("rh_min", "relative_humidity", "minimum"),
    ("rh_mean", "relative_humidity", "mean"),
    ("dew_point", "dew_point_temperature", ""),
    ("vapour_pressure", "water_vapor_partial_pressure_in_air", ""),
    ("wind", "wind_speed", ""),
    ("rain", "precipitation_amount", ""),
    ("rain", "rainfall_amount", ""),
    ("rain", "lwe_thickness_of_precipitation_amount", ""),
    ("rain", "precipitation_flux", ""),
    ("rain", "rainfall_flux", ""),
    ("rain", "lwe_precipitation_rate", ""),
    ("radiation", "surface_downwelling_shortwave_flux_in_air", ""),
    ("radiation", "integral_wrt_time_of_surface_downwelling_shortwave_flux_in_air", ""),
    ("sunshine", "duration_of_sunshine", ""),
    ("pressure", "surface_air_pressure", ""),
    ("pressure", "air_pressure", ""),
)
_HEIGHTS = ("surface_altitude", "altitude", "height_above_mean_sea_level")
_CELSIUS = {"K": (1.0, -273.15), "degC": (1.0, 0.0), "Celsius": (1.0, 0.0), "degF": (1.0 / 1.8, -32.0 / 1.8)}
_SHARES = {"%": (1.0, 0.0), "percent": (1.0, 0.0), "1": (100.0, 0.0)}
_PRESSURES = {"kPa": (1.0, 0.0), "hPa": (0.1, 0.0), "mbar": (0.1, 0.0), "Pa": (1e-3, 0.0)}
_DAY = 86400.0
# column -> unit as CF files write it -> factor and offset to ours
_UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "tmin": _CELSIUS,
    "tmax": _CELSIUS,
    "dew_point": _CELSIUS,
    "rh_max": _SHARES,
    "rh_min": _SHARES,
    "rh_mean": _SHARES,
    "vapour_pressure": _PRESSURES,
    "pressure": _PRESSURES,
    "wind": {"m s-1": (1.0, 0.0), "km h-1": (1.0 / 3.6, 0.0), "knot": (0.514444, 0.0)},
    "rain": {
        "mm": (1.0, 0.0),
        "kg m-2": (1.0, 0.0),
        "mm day-1": (1.0, 0.0),
        "mm d-1": (1.0, 0.0),
        "kg m-2 day-1": (1.0, 0.0),
        "kg m-2 d-1": (1.0, 0.0),
        "kg m-2 s-1": (_DAY, 0.0),
        "mm s-1": (_DAY, 0.0),
        "m": (1000.0, 0.0),
        "cm": (10.0, 0.0),
        "m s-1": (1000.0 * _DAY, 0.0),
    },
    "radiation": {
        "W m-2": (_DAY / 1e6, 0.0),
        "J m-2": (1e-6, 0.0),
        "J m-2 day-1": (1e-6, 0.0),
        "MJ m-2": (1.0, 0.0),
        "MJ m-2 day-1": (1.0, 0.0),
        "MJ m-2 d-1": (1.0, 0.0),
    },
    "sunshine": {"h": (1.0, 0.0), "s": (1.0 / 3600.0, 0.0), "min": (1.0 / 60.0, 0.0)},
}


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
    with _opened(folder / shown, shown) as data:
        found = _variables(data, sites, shown)
        latitude, longitude, axes = _coordinates(data, found, shown)
        first = data[found["tmin"][0]].isel({_time(data, shown): 0}).transpose(*axes).to_numpy()
        heights = _heights(data, sites, axes, shown)
        mark = repr((dict(data.sizes), sorted(found.items()), _bytes(folder / shown))).encode()
    places: list[Place] = []
    for cell in np.ndindex(first.shape):
        if np.isnan(first[cell]) or np.isnan(heights[cell]):
            continue
        at, over = float(latitude[cell]), float(longitude[cell])
        over = over - 360.0 if over > 180.0 else over
        name = f"{at:.4f} {over:.4f}"
        places.append(Place(len(places), name, at, over, float(heights[cell]), shown, tuple(map(int, cell))))
    if not places:
        raise _wrong(shown, "has no cell with weather on its first day")
    if len({place.name for place in places}) < len(places):
        raise _wrong(shown, "has cells nearer to each other than a ten-thousandth of a degree")
    return places, first.size - len(places), mark


def read_cells(
    folder: Path,
    sites: Any,
    places: Sequence[Place],
    source: Any,
    start: dt.date | None,
    end: dt.date | None,
) -> list[tuple[Place, Weather | tuple[str, ...]]]:
    """
    Read some cells' weather and clean it like a file's.

    Parameters
    ----------
    folder : Path
    sites : plan.Sites
    places : sequence of Place
        Of this grid.
    source : WeatherSource
        The base scenario's; its file, format and columns are left aside.
    start, end : date, optional
        Days that must be sound.

    Returns
    -------
    list of (Place, Weather or tuple of str)
        What is wrong with a cell, a line each, in place of its weather.
    """
    shown = str(sites.grid)
    with _opened(folder / shown, shown) as data:
        found = _variables(data, sites, shown)
        _, _, axes = _coordinates(data, found, shown)
        time = _time(data, shown)
        dates = pd.DatetimeIndex(data[time].to_numpy()).normalize()
        dates.name = "date"
        cells = np.array([place.cell for place in places])
        low, high = cells.min(axis=0), cells.max(axis=0) + 1
        box = {axis: slice(int(a), int(b)) for axis, a, b in zip(axes, low, high, strict=True)}
        values = {}
        for name, (variable, factor, offset) in found.items():
            block = data[variable].isel(box).transpose(time, *axes).to_numpy().astype(float)
            values[name] = block * factor + offset
    result: list[tuple[Place, Weather | tuple[str, ...]]] = []
    for place in places:
        assert place.cell is not None
        at = tuple(int(i) for i in np.array(place.cell) - low)
        daily = pd.DataFrame({name: block[(slice(None), *at)] for name, block in values.items()}, index=dates)
        raw = RawTable(
            daily=daily,
            lines=tuple(range(1, len(daily) + 1)),
            recognised="CF names and units",
            units={name: STANDARD[name].unit for name in values},
            unit_is_stated=frozenset(values),
        )
        try:
            weather = clean_weather(
                raw,
                Source("", f"{shown}, cell {place.name}", "", "utf-8"),
                place.site(),
                reader="grid",
                wind_height=source.wind_height,
                missing_rain=source.missing_rain,
                too_bright=source.too_bright,
                start=start,
                end=end,
            )
        except WeatherError as error:
            result.append((place, tuple(error.text().split("\n"))))
        else:
            result.append((place, weather))
    return result


def _wrong(shown: str, found: str, expected: str = "", cure: str = "") -> ScenarioError:
    return ScenarioError(Problem("bad-grid", "", found, expected, cure), file=shown)


def _opened(path: Path, shown: str) -> Any:
    import xarray as xr

    if not path.exists():
        raise _wrong(shown, "there is no such file", "a NetCDF file or a Zarr folder")
    try:
        # neither dask nor threads: a job reads its own block
        return xr.open_zarr(path, chunks=None, consolidated=False) if path.is_dir() else xr.open_dataset(path)
    except (OSError, ValueError, ImportError, KeyError) as error:
        reason = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        raise _wrong(shown, f"can't be read as NetCDF or Zarr ({reason})") from None


def _bytes(path: Path) -> str:
    """Fingerprint of a grid: of a file's content, of a folder's names, sizes and small files."""
    mark = hashlib.sha256()
    if path.is_dir():
        for part in sorted(path.rglob("*")):
            if part.is_file():
                mark.update(f"{part.relative_to(path).as_posix()} {part.stat().st_size}".encode())
                mark.update(hashlib.sha256(part.read_bytes()).digest())
    else:
        with path.open("rb") as file:
            mark.update(hashlib.file_digest(file, "sha256").digest())
    return mark.hexdigest()


def _time(data: Any, shown: str) -> str:
    for name in data.dims:
        if name in data.coords and np.issubdtype(data[name].dtype, np.datetime64):
            stamps = data[name].to_numpy()
            if len(stamps) > 1 and not (np.diff(stamps) > np.timedelta64(0, "s")).all():
                raise _wrong(shown, f"its times ({name}) don't rise", cure="sort them")
            return str(name)
    raise _wrong(shown, "has no time axis in the standard calendar")


def _variables(data: Any, sites: Any, shown: str) -> dict[str, tuple[str, float, float]]:
    """Our column -> the grid's variable, factor and offset."""
    problems: list[Problem] = []
    found: dict[str, tuple[str, float, float]] = {}
    own: Mapping[str, Any] = sites.variables
    for name, choice in own.items():
        key = f"sites.variables.{name}"
        if name not in _UNITS:
            problems.append(Problem("unknown-column", key, "is an unknown column", f"one of {', '.join(_UNITS)}"))
        elif choice.column not in data:
            have = f"the grid's variables: {', '.join(map(str, data.data_vars))}"
            problems.append(Problem("no-variable", key, f'= "{choice.column}" is not in the grid', have))
        else:
            unit = choice.unit or str(data[choice.column].attrs.get("units", ""))
            _add(found, problems, name, choice.column, unit)
    for name, standard, method in _STANDARD_NAMES:
        if name in own or name in found:
            continue
        fitting = [str(key) for key, values in data.data_vars.items() if _is(values, standard, method)]
        if len(fitting) > 1:
            found_two = f"variables {' and '.join(fitting)} may both be {name}"
            problems.append(Problem("two-variables", "", found_two, cure="name one under sites.variables", value=name))
        elif fitting:
            _add(found, problems, name, fitting[0], str(data[fitting[0]].attrs.get("units", "")))
    for name in ("tmin", "tmax"):
        if name not in found and not problems:
            word = "minimum" if name == "tmin" else "maximum"
            expected = f'a variable with standard_name "air_temperature" and cell_methods "time: {word}"'
            cure = f'or name one: sites.variables.{name} = {{ column = "…", unit = "…" }}'
            problems.append(Problem("no-variable", "", f"has no {name}", expected, cure, name))
    if problems:
        raise ScenarioError(*problems, file=shown)
    return found


def _is(values: Any, standard: str, method: str) -> bool:
    if values.attrs.get("standard_name") != standard:
        return False
    methods = str(values.attrs.get("cell_methods", ""))
    if method in ("minimum", "maximum"):
        return method in methods
    return method != "mean" or not any(word in methods for word in ("minimum", "maximum"))


def _add(
    found: dict[str, tuple[str, float, float]], problems: list[Problem], name: str, variable: str, unit: str
) -> None:
    known = _UNITS[name]
    plain = " ".join(unit.replace("**", "").replace("^", "").split())
    aliases = {
        "Kelvin": "K",
        "kelvin": "K",
        "C": "degC",
        "celsius": "degC",
        "m/s": "m s-1",
        "W/m2": "W m-2",
        "mm/day": "mm day-1",
    }
    plain = aliases.get(plain, plain)
    if plain not in known:
        unknown = f'variable {variable} has units "{unit}", which are unknown for {name}'
        problems.append(Problem("unknown-unit", "", unknown, f"one of {', '.join(known)}", value=unit))
        return
    found[name] = (variable, *known[plain])


def _coordinates(data: Any, found: Mapping[str, Any], shown: str) -> tuple[Any, Any, tuple[str, ...]]:
    """Latitude and longitude of each cell, and the axes that they lie on."""
    time = _time(data, shown)
    axes = tuple(str(axis) for axis in data[found["tmin"][0]].dims if axis != time)
    for name, (variable, *_) in found.items():
        if set(map(str, data[variable].dims)) != {time, *axes}:
            got = ", ".join(map(str, data[variable].dims))
            raise _wrong(shown, f"variable {variable} ({name}) lies on {got}", ", ".join((time, *axes)))
    pair = []
    for standard, units in (("latitude", "degrees_north"), ("longitude", "degrees_east")):
        fitting = [
            values
            for key, values in data.variables.items()
            if values.attrs.get("standard_name") == standard or values.attrs.get("units") == units or key == standard
        ]
        if not fitting or not set(fitting[0].dims) <= set(axes):
            raise _wrong(shown, f"has no {standard} on the axes {', '.join(axes)}")
        spread = fitting[0].set_dims({axis: data.sizes[axis] for axis in axes}) if len(axes) else fitting[0]
        pair.append(spread.transpose(*axes).to_numpy().astype(float))
    return pair[0], pair[1], axes


def _heights(data: Any, sites: Any, axes: tuple[str, ...], shown: str) -> Any:
    shape = tuple(data.sizes[axis] for axis in axes)
    if sites.elevation is not None:
        return np.full(shape, sites.elevation)
    for values in data.variables.values():
        if values.attrs.get("standard_name") in _HEIGHTS and set(values.dims) == set(axes):
            if values.attrs.get("units", "m") != "m":
                raise _wrong(shown, f'its heights are in "{values.attrs["units"]}"', "m")
            return values.transpose(*axes).to_numpy().astype(float)
    cure = 'add them, or give one for all: sites.elevation = "200 m"'
    raise _wrong(shown, 'has no heights (standard_name "surface_altitude")', cure=cure)
