"""Gridded weather: CF names and units, the same rows as from a table, ETo of a whole grid equal to a cell's own."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

xr = pytest.importorskip("xarray")
pytest.importorskip("h5netcdf")
pytest.importorskip("pyarrow")
import pyarrow.parquet as pq  # noqa: E402

from panbudget.errors import ScenarioError  # noqa: E402
from panbudget.physics import evaporation  # noqa: E402
from panbudget.studies.sweep.plan import load_plan  # noqa: E402
from panbudget.studies.sweep.run import sweep  # noqa: E402
from panbudget.studies.sweep.site import Place, grid_evapotranspiration  # noqa: E402
from panbudget.weather import read_weather  # noqa: E402
from tests.studies.sweep.district import DESIGNS, GARDEN, write_district  # noqa: E402
from tests.weather.sites import Site  # noqa: E402

LATITUDES, LONGITUDES = (38.25, 38.75), (-7.25, -7.0)
_AIR = "air_temperature"


@pytest.fixture
def tables(tmp_path):
    """Four places' tables, read."""
    write_district(tmp_path / "weather", first=2020, last=2021, places=4)
    names = [f"place-{n:02d}.csv" for n in range(1, 5)]
    return [pd.read_csv(tmp_path / "weather" / name, comment="#", parse_dates=["date"]) for name in names]


def dataset(tables, *, sea=False):
    """A grid of two rows and two columns, in units other than ours."""
    dates = tables[0]["date"].to_numpy()

    def variable(name, factor=1.0, offset=0.0, **attrs):
        block = np.stack([table[name].to_numpy(float) for table in tables], axis=1) * factor + offset
        block = block.reshape(len(dates), 2, 2)
        if sea:
            block[:, 1, 1] = np.nan
        return ("time", "lat", "lon"), block, attrs

    heights = ("lat", "lon"), np.array([[50.0, 100.0], [150.0, 200.0]])
    return xr.Dataset(
        {
            "tn": variable("tmin", offset=273.15, standard_name=_AIR, cell_methods="time: minimum", units="K"),
            "tx": variable("tmax", offset=273.15, standard_name=_AIR, cell_methods="time: maximum", units="K"),
            "hx": variable("rh_max", 0.01, standard_name="relative_humidity", cell_methods="time: maximum", units="1"),
            "hn": variable("rh_min", standard_name="relative_humidity", cell_methods="time: minimum", units="%"),
            "wind": variable("wind", standard_name="wind_speed", units="m s-1"),
            "pr": variable("rain", 1.0 / 86400.0, standard_name="precipitation_flux", units="kg m-2 s-1"),
            "rs": variable(
                "radiation", 1e6 / 86400.0, standard_name="surface_downwelling_shortwave_flux_in_air", units="W m-2"
            ),
            "orog": (*heights, {"standard_name": "surface_altitude", "units": "m"}),
        },
        coords={
            "time": dates,
            "lat": ("lat", list(LATITUDES), {"standard_name": "latitude", "units": "degrees_north"}),
            "lon": ("lon", list(LONGITUDES), {"standard_name": "longitude", "units": "degrees_east"}),
        },
    )


def grid_plan(folder, grid, more=""):
    """A plan on a grid."""
    (folder / "garden.toml").write_text(GARDEN, encoding="utf-8")
    text = f'scenario = "garden.toml"\n[sites]\ngrid = "{grid}"\n{more}[years]\nfirst = 2020\nlast = 2021\n{DESIGNS}'
    path = folder / "grid.toml"
    path.write_text(text + "[output]\nfigures = false\n", encoding="utf-8")
    return path


def test_a_grid_gives_the_rows_that_its_cells_give_as_tables(tmp_path, tables):
    dataset(tables).to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    sweep(grid_plan(tmp_path, "daily.nc"), tmp_path / "by-grid", processes=1)
    lines = ["name,latitude,longitude,elevation,weather"]
    for index in range(4):
        at, over = LATITUDES[index // 2], LONGITUDES[index % 2]
        lines.append(f"{at:.4f} {over:.4f},{at},{over},{50 + 50 * index},weather/place-{index + 1:02d}.csv")
    (tmp_path / "cells.csv").write_text("\n".join(lines) + "\n", encoding="ascii")
    plan = grid_plan(tmp_path, "x")
    plan.write_text(plan.read_text(encoding="utf-8").replace('grid = "x"', 'table = "cells.csv"'), encoding="utf-8")
    sweep(plan, tmp_path / "by-table", processes=1)
    grid, table = (
        pq.read_table(tmp_path / name / "seasons" / "part-000000.parquet").to_pandas()
        for name in ("by-grid", "by-table")
    )
    # units there and back leave a rounding of the weather's last digit
    pd.testing.assert_frame_equal(grid, table, rtol=1e-7, atol=1e-6)


def test_a_zarr_folder_gives_the_same_as_the_netcdf_file(tmp_path, tables):
    pytest.importorskip("zarr")
    import warnings

    data = dataset(tables)
    data.to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        data.to_zarr(tmp_path / "daily.zarr", consolidated=False)
    sweep(grid_plan(tmp_path, "daily.nc"), tmp_path / "nc", processes=1)
    sweep(grid_plan(tmp_path, "daily.zarr"), tmp_path / "zarr", processes=1)
    assert (tmp_path / "nc" / "summary.csv").read_bytes() == (tmp_path / "zarr" / "summary.csv").read_bytes()


def test_cells_without_weather_are_left_out_and_counted(tmp_path, tables):
    dataset(tables, sea=True).to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    plan = load_plan(grid_plan(tmp_path, "daily.nc"))
    assert len(plan.places) == 3
    assert plan.left_out == 1


def test_eto_of_a_grid_is_that_of_each_cell_alone(tmp_path, tables):
    places = [Place(n, str(n), 38.0 + 0.2 * n, None, 40.0 * n, "x") for n in range(4)]
    weathers = [
        read_weather(tmp_path / "weather" / f"place-{n + 1:02d}.csv", Site(place.latitude, place.elevation))
        for n, place in enumerate(places)
    ]
    together = grid_evapotranspiration(places, weathers)
    for place, weather, eto in zip(places, weathers, together, strict=True):
        alone = evaporation.reference_evapotranspiration(
            weather.daily, latitude=place.latitude, elevation=place.elevation
        )
        np.testing.assert_allclose(eto, alone.to_numpy(), rtol=1e-12, atol=1e-12)


def test_names_and_units_that_are_not_known_have_a_line_each(tmp_path, tables):
    data = dataset(tables)
    data["tn"].attrs["units"] = "furlong"
    data["pr"].attrs["units"] = "bucket"
    data.to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    with pytest.raises(ScenarioError) as caught:
        load_plan(grid_plan(tmp_path, "daily.nc"))
    lines = caught.value.text().splitlines()
    assert len(lines) == 2
    assert 'variable tn has units "furlong", which are unknown for tmin' in lines[0]
    assert 'variable pr has units "bucket"' in lines[1]


def test_own_names_of_variables_can_be_given(tmp_path, tables):
    data = dataset(tables)
    del data["tn"].attrs["standard_name"]
    data.to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    with pytest.raises(ScenarioError, match="has no tmin"):
        load_plan(grid_plan(tmp_path, "daily.nc"))
    named = grid_plan(tmp_path, "daily.nc", 'variables = { tmin = { column = "tn", unit = "K" } }\n')
    assert len(load_plan(named).places) == 4


def test_a_grid_without_heights_asks_for_one(tmp_path, tables):
    dataset(tables).drop_vars("orog").to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    with pytest.raises(ScenarioError, match="has no heights"):
        load_plan(grid_plan(tmp_path, "daily.nc"))
    plan = load_plan(grid_plan(tmp_path, "daily.nc", 'elevation = "120 m"\n'))
    assert {place.elevation for place in plan.places} == {120.0}


def test_a_file_that_is_no_grid_is_said_in_a_line(tmp_path):
    (tmp_path / "daily.nc").write_text("no grid", encoding="ascii")
    with pytest.raises(ScenarioError, match="can't be read as NetCDF or Zarr"):
        load_plan(grid_plan(tmp_path, "daily.nc"))
    with pytest.raises(ScenarioError, match="there is no such file"):
        load_plan(grid_plan(tmp_path, "none.nc"))
