"""
Cube: a sweep's dataset as a Zarr folder or NetCDF file by the CF conventions, and its sites as GeoParquet points.

Written some columns at a time: as much memory as these take of all rows, or as one does, if that is more. Sources: CF Conventions 1.11
(axes, cell bounds, grid mapping, discrete points); GeoParquet 1.1 and OGC 06-103r4 (well-known binary).
"""

from __future__ import annotations

import io
import json
import math
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panbudget.errors import OutputError
from panbudget.extras import wants_extra
from panbudget.files import remove
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.compute import COLUMNS
from panbudget.studies.sweep.store import KEYS, described
from panbudget.words import packaged

if TYPE_CHECKING:
    import xarray as xr

#: what may be written beside the dataset -> its name
FILES = {"zarr": "seasons.zarr", "netcdf": "seasons.nc"}
# of columns that are written together [bytes]
_AT_ONCE = 2.0e8
# a grid's cells lie on axes of their own where these are not much more than the cells
_MOSTLY_FILLED = 0.2
# EPSG:4326 as PROJJSON, and its ellipsoid
_WGS84 = packaged("studies/sweep/wgs84.toml")
_ELLIPSOID: dict[str, Any] = _WGS84["datum"]["ellipsoid"]


def points_bytes(table: pd.DataFrame) -> bytes:
    """
    Return a table of sites as GeoParquet.

    Parameters
    ----------
    table : DataFrame
        With latitude and longitude [degrees]; a site without a longitude gets no point.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    where = [*zip(table["longitude"].astype(float), table["latitude"].astype(float), strict=True)]
    points = [None if np.isnan(x + y) else struct.pack("<BIdd", 1, 1, x, y) for x, y in where]
    known = np.array([pair for pair, point in zip(where, points, strict=True) if point])
    about = {"encoding": "WKB", "geometry_types": ["Point"], "crs": _WGS84}
    if len(known):
        about["bbox"] = [*known.min(axis=0).tolist(), *known.max(axis=0).tolist()]
    geo = {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": about}}
    content = pa.Table.from_pandas(table, preserve_index=False).append_column("geometry", pa.array(points, pa.binary()))
    buffer = io.BytesIO()
    pq.write_table(content.replace_schema_metadata({"geo": json.dumps(geo)}), buffer, compression="zstd")
    return buffer.getvalue()


def write_cube(parts: Sequence[Path], target: Path, kind: str, title: str, *, gridded: bool) -> Path:
    """
    Write a dataset as Zarr or NetCDF, whole or not at all.

    Parameters
    ----------
    parts : sequence of Path
    target : Path
        Of the folder or file; what stands there is replaced.
    kind : str
        "zarr" or "netcdf".
    title : str
    gridded : bool
        Whether sites are cells of a grid: then latitude and longitude are axes, where the cells fill them.

    Raises
    ------
    OutputError
        It can't be written.
    """
    wants_extra("xarray", *(["zarr"] if kind == "zarr" else ["h5netcdf"]))
    draft = target.with_name(f".{target.name}.draft")
    remove(draft)
    try:
        where, data = _axes_of(parts, title, gridded)
        names = [name for name in ("area_m2", *COLUMNS) if name != "year"]
        cells = math.prod(data.sizes[axis] for axis in where)
        at_once = max(int(_AT_ONCE / (8.0 * cells)), 1)
        for first in range(0, len(names), at_once):
            batch = _filled(parts, names[first : first + at_once], where, data)
            _add(batch if first else data.merge(batch), draft, kind, "a" if first else "w")
        remove(target)
        draft.rename(target)
    except OSError as error:
        remove(draft)
        raise OutputError(problem("unwritable", reason=error.strerror or str(error)), file=str(target)) from None
    return target


def _add(data: xr.Dataset, path: Path, kind: str, mode: Any) -> None:
    if kind == "zarr":
        data.to_zarr(path, mode=mode, consolidated=False)
    else:
        data.to_netcdf(path, mode=mode, engine="h5netcdf")


def _read(parts: Sequence[Path], columns: Sequence[str]) -> pd.DataFrame:
    import pyarrow.parquet as pq

    tables = [pq.read_table(path, columns=list(columns)).to_pandas() for path in parts]
    texts = dict.fromkeys([name for name in KEYS if name in columns], str)
    whole: pd.DataFrame = pd.concat([table.astype(texts) for table in tables if len(table)], ignore_index=True)
    return whole


def _axes_of(parts: Sequence[Path], title: str, gridded: bool) -> tuple[Any, xr.Dataset]:
    """Where each row stands along the axes, and a dataset of these alone."""
    import xarray as xr

    rows = _read(parts, [*KEYS, "latitude", "longitude", "elevation_m", "year", "start", "end"])
    seasons = rows.drop_duplicates("year").sort_values("year")
    sites = rows.drop_duplicates("site")
    beds = (rows["controller"] + "/" + rows["bed"]).to_numpy()
    north, east = (sites[name].to_numpy(float) for name in ("latitude", "longitude"))
    by_axis = [np.unique(values[~np.isnan(values)]) for values in (north, east)]
    on_axes = gridded and len(sites) >= _MOSTLY_FILLED * len(by_axis[0]) * len(by_axis[1])
    names = {name: pd.unique(values) for name, values in (("design", rows["design"]), ("bed", beds))}
    at = {
        "design": pd.Index(names["design"]).get_indexer(pd.Index(rows["design"])),
        "bed": pd.Index(names["bed"]).get_indexer(pd.Index(beds)),
        "time": seasons["year"].searchsorted(rows["year"]),
    }
    degrees = {name: {"standard_name": name, "units": described(name)[0]} for name in ("latitude", "longitude")}
    height = {"standard_name": "surface_altitude", "units": "m", "long_name": "height above sea"}
    if on_axes:
        axes = dict(zip(("latitude", "longitude"), by_axis, strict=True))
        at |= {name: np.searchsorted(axes[name], rows[name]) for name in axes}
        coordinates = {name: (name, values, degrees[name]) for name, values in axes.items()}
        heights = np.full([len(values) for values in axes.values()], np.nan)
        cells = np.searchsorted(axes["latitude"], north), np.searchsorted(axes["longitude"], east)
        heights[cells] = sites["elevation_m"]
        altitude: Any = (("latitude", "longitude"), heights, height)
    else:
        at["site"] = pd.Index(sites["site"]).get_indexer(pd.Index(rows["site"]))
        named = {"long_name": "name of the place", "cf_role": "timeseries_id"}
        coordinates = {"latitude": ("site", north, degrees["latitude"])}
        coordinates |= {"longitude": ("site", east, degrees["longitude"])}
        coordinates |= {"site": ("site", sites["site"].to_numpy(object), named)}
        altitude = ("site", sites["elevation_m"].to_numpy(float), height)
    start, end = (pd.to_datetime(seasons[name]).to_numpy("datetime64[ns]") for name in ("start", "end"))
    bounds = np.stack([start, end + np.timedelta64(1, "D")], axis=1)
    ellipsoid = {name: float(_ELLIPSOID[name]) for name in ("semi_major_axis", "inverse_flattening")}
    crs = {"grid_mapping_name": "latitude_longitude", **ellipsoid}
    data = xr.Dataset(
        {"crs": ((), np.int32(0), {**crs, "longitude_of_prime_meridian": 0.0, "epsg_code": "EPSG:4326"})}
        | {"time_bounds": (("time", "bounds"), bounds)},
        coords={
            **coordinates,
            "elevation": altitude,
            "design": ("design", names["design"].astype(object), {"long_name": "design of the plan"}),
            "bed": ("bed", names["bed"].astype(object), {"long_name": "valve and bed of the garden"}),
            "time": ("time", start, {"standard_name": "time", "long_name": "first day", "bounds": "time_bounds"}),
            "year": ("time", seasons["year"].to_numpy(), {"long_name": "year in which the season starts"}),
        },
        attrs={"Conventions": "CF-1.11", "title": title, "source": "panbudget, a simulated season a year"}
        | ({} if on_axes else {"featureType": "timeSeries"}),
    )
    days = {"units": "days since 1900-01-01", "calendar": "proleptic_gregorian", "dtype": "float64"}
    data["time"].encoding = data["time_bounds"].encoding = days
    return at, data


def _filled(parts: Sequence[Path], names: Sequence[str], at: Any, axes: xr.Dataset) -> xr.Dataset:
    """Columns laid along the axes."""
    import xarray as xr

    rows, shape = _read(parts, names), [axes.sizes[axis] for axis in at]
    columns = {}
    for name in names:
        values = np.full(shape, np.nan)
        values[tuple(at.values())] = rows[name].to_numpy(float)
        unit, meaning, _ = described(name)
        columns[name] = tuple(at), values, {"long_name": meaning, "units": unit, "grid_mapping": "crs"}
    return xr.Dataset(columns, coords=axes.coords, attrs=axes.attrs)
