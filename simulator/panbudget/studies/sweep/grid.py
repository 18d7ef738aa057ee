"""
Grid: gridded daily weather, NetCDF or Zarr through xarray, by the names and units of the CF conventions (`cf`).

A cell is a site. Its days go through the same checks and fills as a weather file's. A cell that no variable has a value for
on any of the days looked at (sea) is no site.
"""

import os
import sys
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import ScenarioError
from panbudget.numeric import Floats, Mask
from panbudget.physics.air import atmospheric_pressure
from panbudget.scenario.garden import Scenario
from panbudget.scenario.quantities import ELEVATIONS, WIND_HEIGHTS
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.gridded import cf
from panbudget.studies.sweep.gridded.calendars import CalendarError, Days, days_of_axis
from panbudget.studies.sweep.gridded.cells import chunks_of, copy_bytes, copy_cells, copy_folder, read_copy
from panbudget.studies.sweep.marks import file_mark, mark_of
from panbudget.studies.sweep.site import Place, lent_to
from panbudget.weather.clean import WeatherFile, table_weather
from panbudget.weather.site import exchanged
from panbudget.weather.text.columns import STANDARD
from panbudget.weather.text.raw import RawTable
from panbudget.weather.text.source import Source

#: of a record, days between two on which a cell is looked at for a value: a usable season lacks fewer than one day in eight
_LOOK_EVERY = 8
_ZARR = ".zgroup", ".zattrs", ".zmetadata", "zarr.json"  # one of which a Zarr store has in its own folder
_UNREADABLE = "cut off, damaged, or of another kind"
# of a processor's time, within which a file's list of contents is read [s]
_TO_OPEN = 10
# of a sample of the numbers: days, cells along an axis
_SAMPLE_DAYS, _SAMPLE_SPAN, _SAMPLE_RAIN, _SAMPLE_WIDE = 36, 1100, 400, 16
# of it, numbers from here on stand for missing, as -9999 and 1e20 do, whatever the unit and whatever the attributes say
_CODES = -900.0, 1e15


@dataclass(frozen=True)
class Held:
    """
    What a grid holds.

    Parameters
    ----------
    recognised : cf.Recognised
    days : Days
    time : str
    axes : tuple of str
        Its axis of days, and those of its cells.
    left_out : int
        Cells without weather, latitude, longitude or height.
    mark : bytes
        What its fingerprint is made from.
    read_bytes, copy_bytes : float
        How much is read of it, and how large its copy by cells is.
    typical : dict
        What we take -> the mean of a sample of it, as text with its unit.
    """

    recognised: cf.Recognised
    days: Days
    time: str
    axes: tuple[str, ...]
    left_out: int
    mark: bytes
    read_bytes: float
    copy_bytes: float
    typical: dict[str, str]

    def listed(self) -> list[dict[str, str]]:
        """List its variables, and what is done about days that its calendar cannot have."""
        which = {"noleap": "noleap", "365_day": "noleap", "all_leap": "leap", "366_day": "leap", "360_day": "360_day"}
        lines = cf.listed(self.recognised)
        if name := which.get(self.days.calendar):
            note = cf.TABLE["says"][name].format(count=len(self.days.made))
            about = {"for": "days", "variable": self.time, "unit": self.days.calendar}
            lines.append({**about, "how": "converted", "note": note})
        return lines


def places_in_grid(folder: Path, sites: Any, source: Any = None) -> tuple[list[Place], Held]:
    """
    List a grid's cells.

    Parameters
    ----------
    folder : Path
        The plan's.
    sites : plan.Sites
    source : WeatherSource, optional
        The base scenario's, for its wind_height, missing_rain and trust.

    Returns
    -------
    (list of Place, Held)
        Cells with weather, by rows.

    Raises
    ------
    ScenarioError
        All that is wrong with the grid's names, units and numbers, a line each.
    """
    shown = str(sites.grid)
    is_zarr = any(os.path.lexists(folder / shown / name) for name in _ZARR)  # any other folder may hold the world
    for part in (folder / shown).rglob("*") if is_zarr else ():
        if not (part.is_file() or part.is_dir()):  # a pipe would be waited for
            raise _wrong("unreadable", shown, reason=f"{part.name} in it is neither a plain file nor a folder")
    with _opened(folder, sites) as data:
        time = _time_axis(data, shown)
        days = _days(data, time, shown)
        if wrong := [*cf.wrong_names(data, sites.variables, time)]:
            raise ScenarioError(*wrong, file=shown)
        recognised = cf.recognise(data, sites.variables, time, getattr(source, "wind_height", None))
        height, by = recognised.wind_height
        if height is not None and not WIND_HEIGHTS[0] <= height <= WIND_HEIGHTS[1]:
            raise _wrong("wind", shown, height=height, by=by, least=WIND_HEIGHTS[0], most=WIND_HEIGHTS[1])
        needs_rain = source is not None and source.missing_rain == "error" and not any(f.rain for f in source.fallback)
        if wrong := [*cf.wrong_needs(recognised, rain=needs_rain)]:
            raise ScenarioError(*wrong, file=shown)
        at = _coordinates(data, recognised.variables["tmin"].variable, time, shown)
        axes, latitude, longitude = at
        arrays = {name: _on_axes(data, name, time, axes, shown) for name in recognised.names}
        heights = _heights(data, axes, sites, shown)
        usable = ~(np.isnan(heights) | np.isnan(latitude) | np.isnan(longitude))
        coldest = recognised.variables["tmin"].variable
        land = usable & _with_weather(data, arrays[coldest], axes)
        if not land.any():
            raise _wrong("no-figures" if usable.any() else "empty", shown, name=coldest)
        low, high = float(heights[land].min()), float(heights[land].max())
        if low < ELEVATIONS[0] or high > ELEVATIONS[1]:
            raise _wrong("beyond", shown, low=low, high=high, least=ELEVATIONS[0], most=ELEVATIONS[1])
        samples, dates, cells = _samples(recognised, arrays, land, days)
        trust = tuple(source.trust) if source is not None else ()
        if wrong := [*cf.wrong_units(recognised, samples, trust)]:
            raise ScenarioError(*wrong, file=shown)
        _refuse_exchanged(recognised, samples, dates, latitude[cells], longitude[cells], shown)
        shape = dict(data.sizes), sorted(recognised.variables.items()), _fingerprint(folder / shown)
        sizes, means = copy_bytes(arrays, int(land.sum())), cf.typical(recognised, samples)
        read = float(sum(values.dtype.itemsize * values.size for values in arrays.values()))
    places: list[Place] = []
    for cell in np.argwhere(land):
        north, east, height = (float(values[tuple(cell)]) for values in (latitude, longitude, heights))
        east = east - 360.0 if east > 180.0 else east + 360.0 if east < -180.0 else east
        places.append(Place(f"{north:.4f} {east:.4f}", north, east, height, shown, tuple(map(int, cell))))
    if len({place.name for place in places}) < len(places):
        raise _wrong("near", shown)
    held = Held(recognised, days, time, axes, int(land.size - land.sum()), repr(shape).encode(), read, sizes, means)
    return places, held


def copy_grid(
    folder: Path, sites: Any, held: Held, places: Sequence[Place], tell: Callable[[str], None]
) -> Path | None:
    """Lay a grid out by cells, each of its chunks read once; return where, or None where there is no cache folder."""
    target = copy_folder(held.mark)
    if target is not None:
        with _opened(folder, sites) as data:
            arrays = _arrays(data, held, sites)
            copy_cells(target, [_cell(place) for place in places], arrays, tell)
    return target


def read_cells(folder: Path, sites: Any, held: Held, places: Sequence[Place], base: Scenario) -> list[WeatherFile]:
    """
    Read some cells' weather, each as if it were a file's.

    Parameters
    ----------
    folder : Path
    sites : plan.Sites
    held : Held
    places : sequence of Place
        Of this grid.
    base : Scenario
        Its ``[weather]``; file, format and columns are left aside.
    """
    source = base.weather
    cells = [_cell(place) for place in places]
    raw = read_copy(copy_folder(held.mark), cells, held.recognised.names)
    if raw is None:
        raw = _read_box(folder, sites, held, np.array(cells))
    recognised, days = held.recognised, held.days
    rain = recognised.variables["rain"].variable if "rain" in recognised.variables else ""
    laid = {name: days.laid(values, rain=name == rain) for name, values in raw.items()}
    ours = cf.to_ours(recognised.variables, laid, atmospheric_pressure([place.elevation for place in places]))
    wind_height = recognised.wind_height[0] if source.wind_height is None else None
    units = {name: part.unit for name, part in recognised.variables.items()}
    files: list[WeatherFile] = []
    for at, place in enumerate(places):
        series = {name: np.ascontiguousarray(block[:, at]) for name, block in ours.items()}
        table = RawTable(
            daily=pd.DataFrame(series, index=days.index),
            lines=np.arange(1, len(days.index) + 1),
            recognised="CF names and units",
            units={name: units.get(name, STANDARD[name].unit) for name in ours},
            unit_is_stated=frozenset(ours),
            wind_height=wind_height,
        )
        shown = Source("", f"{sites.grid}, cell {place.name}", "", "utf-8")
        options = source.model_dump(include={"wind_height", "missing_rain", "too_bright", "trust"})
        file = table_weather(table, shown, place.site(), reader="grid", cautious=False, **options)
        files.append(lent_to(file, place, base))
    return files


def _cell(place: Place) -> tuple[int, ...]:
    assert place.cell is not None
    return place.cell


def _arrays(data: Any, held: Held, sites: Any) -> dict[str, Any]:
    """The grid's variables that are read, days first and then their cells' axes."""
    return {name: _on_axes(data, name, held.time, held.axes, str(sites.grid)) for name in held.recognised.names}


def _read_box(folder: Path, sites: Any, held: Held, cells: Any) -> dict[str, Floats]:
    """Read cells of a grid that has no copy: the box about them."""
    low, high = cells.min(axis=0), cells.max(axis=0) + 1
    box = {axis: slice(int(a), int(b)) for axis, a, b in zip(held.axes, low, high, strict=True)}
    at = (slice(None), *(cells - low).T)
    with _opened(folder, sites) as data:
        return {name: _numbers(values.isel(box))[at] for name, values in _arrays(data, held, sites).items()}


def _wrong(which: str, shown: str, **values: object) -> ScenarioError:
    return ScenarioError(problem(f"bad-grid.{which}", **values), file=shown)


class _NoNumbersError(Exception):
    """A variable of a grid is text or else no number."""


@contextmanager
def _opened(folder: Path, sites: Any) -> Iterator[Any]:
    import xarray as xr

    shown, path = str(sites.grid), folder / str(sites.grid)
    if not os.path.exists(path):
        raise _wrong("no-file", shown)
    if not (path.is_file() or path.is_dir()):
        raise _wrong("unreadable", shown, reason="neither a plain file nor a folder")
    if path.is_file() and not _opens(path):
        raise _wrong("unreadable", shown, reason="its parts point at each other without end, or at nothing")
    try:
        # neither dask nor threads: a job reads its own block
        options: dict[str, Any] = {"chunks": None, "consolidated": False} if path.is_dir() else {}
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # that days are of another calendar, which is looked at below
            opened: Any = xr.open_zarr if path.is_dir() else xr.open_dataset
            data = opened(path, decode_timedelta=False, **options)
    except MemoryError:
        raise
    except Exception as error:  # of a damaged file the libraries raise what their parts raise: no list is complete
        raise _wrong("unreadable", shown, reason=_UNREADABLE) from error
    with data:
        try:
            yield data
        except _NoNumbersError as error:
            raise _wrong("no-numbers", shown, name=error) from None
        except (OSError, RuntimeError) as error:
            if getattr(error, "errno", None) is not None:  # the system's, of another file
                raise
            raise _wrong("unreadable", shown, reason=_UNREADABLE) from error


def _opens(path: Path) -> bool:
    """Tell whether a file lets itself be opened: a damaged one can hold the library for ever, where no signal reaches it, or end it."""
    if sys.platform != "linux":  # elsewhere a sound file's child may not live: a system's own libraries mind a fork
        return True
    import resource

    import xarray as xr

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that there are threads, of which the child needs none
        child = os.fork()
        if not child:
            with suppress(BaseException):
                os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # what the library says of a damaged file is said below
                resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
                resource.setrlimit(resource.RLIMIT_CPU, (_TO_OPEN, _TO_OPEN))
                xr.open_dataset(path, decode_timedelta=False).close()
            os._exit(0)
    return not os.WIFSIGNALED(os.waitpid(child, 0)[1])


def _numbers(values: Any) -> Floats:
    """Return a variable's values as numbers; `_opened` says so where they are none."""
    try:
        return np.asarray(values.to_numpy(), float)
    except (TypeError, ValueError):
        raise _NoNumbersError(getattr(values, "name", None) or values.attrs.get("standard_name", "")) from None


def _fingerprint(path: Path) -> str:
    """Return that of a file's content, or of all files of a folder by their names."""
    files = [path] if path.is_file() else sorted(part for part in path.rglob("*") if part.is_file())
    return mark_of([(part.relative_to(path).as_posix(), file_mark(part)) for part in files])


def _time_axis(data: Any, shown: str) -> str:
    for name in data.dims:
        if name in data.coords and data.sizes[name]:
            first = data[name].to_numpy()[0]
            if isinstance(first, np.datetime64) or hasattr(first, "calendar"):
                return str(name)
    raise _wrong("no-time", shown)


def _days(data: Any, time: str, shown: str) -> Days:
    try:
        return days_of_axis(data, time)
    except CalendarError as error:
        raise _wrong(str(error), shown, **error.values) from None


def _spread(values: Any, axes: tuple[str, ...]) -> Any:
    """A variable without its axes of length 1 that are none of these, such as a height or the number of a run."""
    return values.squeeze([axis for axis in values.dims if axis not in axes and values.sizes[axis] == 1])


def _on_axes(data: Any, variable: str, time: str, axes: tuple[str, ...], shown: str) -> Any:
    """A variable with its days first and then its cells' axes."""
    values = _spread(data[variable].reset_coords(drop=True), (time, *axes))
    if axes == (_POINT,):
        values = values.expand_dims(_POINT, axis=-1)
    if set(dims := list(map(str, values.dims))) != {time, *axes}:
        names = {"variable": variable, "dims": ", ".join(dims), "expected": ", ".join((time, *axes))}
        raise _wrong("axes", shown, **names)
    return values.transpose(time, *axes)


_POINT = "cell"


def _coordinates(data: Any, tmin: str, time: str, shown: str) -> tuple[tuple[str, ...], Floats, Floats]:
    """The axes of a grid's cells, and each cell's latitude and longitude. [degrees]"""
    dims = {str(dim) for dim in data[tmin].dims} - {time}
    named = {name: _called(data, name, dims, shown) for name in cf.TABLE["coordinates"]}
    spanned = {str(dim) for values in named.values() for dim in values.dims}
    axes = tuple(str(dim) for dim in data[tmin].dims if str(dim) in spanned)
    sizes = {axis: data.sizes[axis] for axis in axes}
    latitude, longitude = (
        values.copy(data=_numbers(values)).variable.set_dims(sizes).transpose(*axes).to_numpy()
        for values in named.values()
    )
    if not latitude.size:
        raise _wrong("empty", shown)
    for values, numbers in zip(named.values(), (latitude, longitude), strict=True):
        if values.ndim == 1 and np.isnan(numbers).any():  # of a curved grid, cells without a place are no cells
            raise _wrong("no-degrees", shown, name=values.name)
    ends = {name: f"{np.nanmin(v):g} to {np.nanmax(v):g}" for name, v in (("lat", latitude), ("lon", longitude))}
    (south, north), (west, east) = (about["bounds"] for about in cf.TABLE["coordinates"].values())
    if np.nanmin(latitude) < south or np.nanmax(latitude) > north:
        fits = np.nanmin(longitude) >= south and np.nanmax(longitude) <= north
        fits = fits and np.nanmin(latitude) >= west and np.nanmax(latitude) <= east
        raise _wrong("latitude" + (".exchanged" if fits else ""), shown, **ends)
    if np.nanmin(longitude) < west or np.nanmax(longitude) > east:
        raise _wrong("longitude", shown, **ends)
    if not axes:
        return (_POINT,), latitude.reshape(1), longitude.reshape(1)
    return axes, latitude, longitude


def _called(data: Any, name: str, dims: set[str], shown: str) -> Any:
    """The coordinate that is called latitude or longitude; refused where its name says one and its attributes the other."""
    about = cf.TABLE["coordinates"][name]
    (other,) = (part for key, part in cf.TABLE["coordinates"].items() if key != name)
    fitting = []
    for key in data.variables:
        values = data[key]
        units = str(values.attrs.get("units", "")).lower()
        by_attribute = values.attrs.get("standard_name") == name or units in about["units"]
        by_name = str(key).lower() in about["names"]
        against = units in other["units"] or values.attrs.get("standard_name") in other["names"][:1]
        if not {str(dim) for dim in values.dims} <= dims or not (by_attribute or by_name):
            continue
        if against or (by_attribute and str(key).lower() in other["names"]):
            raise _wrong("exchanged-names", shown, name=key, units=units or values.attrs.get("standard_name"))
        if units.startswith("rad"):
            raise _wrong("radians", shown, name=key, units=units)
        fitting.append((not by_attribute, values.ndim, values))
    if not fitting:
        raise _wrong("no-place", shown, name=name, axes=", ".join(sorted(dims)))
    return min(fitting, key=lambda each: each[:2])[2]


def _heights(data: Any, axes: tuple[str, ...], sites: Any, shown: str) -> Floats:
    sizes = [data.sizes.get(axis, 1) for axis in axes]
    if sites.elevation is not None:
        return np.full(sizes, sites.elevation)
    for values in (_spread(values, axes) for values in data.variables.values()):
        if values.attrs.get("standard_name") in cf.TABLE["heights"] and set(values.dims) == {*axes} & set(data.dims):
            unit = str(values.attrs.get("units", "m"))
            if np.isnan(metre := cf.in_metres(unit)):
                raise _wrong("heights", shown, unit=unit)
            ordered = values.transpose(*axes) if values.ndim else values
            return _numbers(ordered).reshape(sizes) * metre
    raise _wrong("no-heights", shown)


def _with_weather(data: Any, tmin: Any, axes: tuple[str, ...]) -> Mask:
    """Tell which cells have weather: by a mask of land or sea, or since they have a value on one of the days looked at."""
    for values in (_spread(values, axes) for values in data.variables.values()):
        name = values.attrs.get("standard_name")
        if name in cf.TABLE["masks"] and set(values.dims) == set(axes):
            numbers = _numbers(values.transpose(*axes))
            least_sea = 1.0 if "fraction" in name else 0.5
            return np.asarray(numbers > 0.0 if cf.TABLE["masks"][name] else numbers < least_sea)
    known = ~np.isnan(_numbers(tmin[0]))
    deep = max(chunks_of(tmin)[0], 64 * _LOOK_EVERY)
    for start in range(0, tmin.shape[0], deep):
        if known.all():
            break
        part = tmin[start : min(start + deep, tmin.shape[0]) : _LOOK_EVERY]
        known |= ~np.isnan(_numbers(part)).all(axis=0)
    return np.asarray(known)


def _samples(
    recognised: cf.Recognised, arrays: dict[str, Any], land: Mask, days: Days
) -> tuple[dict[str, Floats], pd.DatetimeIndex, tuple[Any, ...]]:
    """
    Some of a grid's numbers, of few chunks: what we take -> (days, cells); the days; and the cells, as an index.

    They lie about a cell in the middle of the land: near in time where a chunk holds many days, else apart.
    """
    cells = np.argwhere(land)
    middle = cells[len(cells) // 2]
    first = next(iter(arrays.values()))
    chunk, rows = chunks_of(first), days.rows[days.rows >= 0]
    chosen = rows[rows < rows[0] + _SAMPLE_SPAN]
    if chunk[0] < 300:
        chosen = chosen[:: max(len(chosen) // _SAMPLE_DAYS, 1)]
    box = []
    for at, size, whole in zip(middle, chunk[1:], land.shape, strict=True):
        low = max(int(at) - _SAMPLE_WIDE // 2, int(at) // size * size)
        box.append(slice(low, min(low + _SAMPLE_WIDE, (int(at) // size + 1) * size, whole)))
    inside = np.argwhere(land[tuple(box)])
    index = tuple((inside + [part.start for part in box]).T)
    samples = {}
    for name, part in recognised.variables.items():
        values = arrays[part.variable][(slice(None), *box)]
        # a dry month tells nothing of rain's unit
        values = values[rows[rows < rows[0] + _SAMPLE_RAIN]] if name == "rain" else values[chosen]
        numbers = _numbers(values)[(slice(None), *inside.T)]
        samples[name] = np.where((numbers > _CODES[0]) & (numbers < _CODES[1]), numbers, np.nan)
    on_days = np.searchsorted(days.rows[days.rows >= 0], chosen)
    return samples, days.index[days.rows >= 0][on_days], index


def _refuse_exchanged(
    recognised: cf.Recognised,
    samples: dict[str, Floats],
    dates: pd.DatetimeIndex,
    latitude: Floats,
    longitude: Floats,
    shown: str,
) -> None:
    """Refuse a grid whose seasons are those of its longitude taken for a latitude."""
    tmin, tmax = (cf.in_our_unit(samples[name], recognised.variables[name]) for name in ("tmin", "tmax"))
    known = np.asarray(np.isfinite(tmin + tmax).any(axis=1))
    mean, dates = np.nanmean((tmin + tmax)[known] / 2.0, axis=1), dates[known]
    north, east = float(latitude.mean()), float(longitude.mean())
    if mean.size >= _SAMPLE_DAYS // 2 and exchanged(mean, dates, latitude=north, longitude=east):
        raise _wrong("exchanged", shown, north=f"{north:.4g}", east=f"{east:.4g}")
