"""Gridded weather: CF names and units, the same rows as from a table, ETo of a whole grid equal to a cell's own."""

from __future__ import annotations

import contextlib
import os
import sys
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

xr = pytest.importorskip("xarray")
pytest.importorskip("h5netcdf")
pytest.importorskip("pyarrow")
import h5py  # noqa: E402
import pyarrow.parquet as pq  # noqa: E402

from panbudget.__main__ import main  # noqa: E402
from panbudget.errors import ScenarioError  # noqa: E402
from panbudget.physics import evaporation  # noqa: E402
from panbudget.physics.sun import extraterrestrial_radiation  # noqa: E402
from panbudget.studies.sweep import grid as grids  # noqa: E402
from panbudget.studies.sweep.grid import places_in_grid  # noqa: E402
from panbudget.studies.sweep.gridded.cf import TABLE as _CF  # noqa: E402
from panbudget.studies.sweep.plan import load_plan  # noqa: E402
from panbudget.studies.sweep.run import sweep  # noqa: E402
from panbudget.studies.sweep.site import Place, grid_evapotranspiration  # noqa: E402
from panbudget.weather import read_weather  # noqa: E402
from tests.studies.sweep.district import DESIGNS, GARDEN, write_district  # noqa: E402
from tests.weather.sites import Site  # noqa: E402

LATITUDES, LONGITUDES = (38.25, 38.75), (-7.25, -7.0)
_AIR = "air_temperature"


@pytest.fixture(scope="module")
def weather(tmp_path_factory):
    """Four places' weather files."""
    folder = tmp_path_factory.mktemp("district") / "weather"
    write_district(folder, first=2020, last=2021, places=4)
    return folder


@pytest.fixture(scope="module")
def tables(weather):
    """The same, read; not to be changed."""
    names = [f"place-{n:02d}.csv" for n in range(1, 5)]
    return [pd.read_csv(weather / name, comment="#", parse_dates=["date"]) for name in names]


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    """Copies of grids by cells stand in the test's own folder."""
    monkeypatch.setenv("PANBUDGET_CACHE", str(tmp_path / "cache"))


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
    (folder / "garden.toml").write_text(GARDEN.replace("2020-06-30", "2020-05-25"), encoding="utf-8")
    text = f'scenario = "garden.toml"\n[sites]\ngrid = "{grid}"\n{more}[years]\nfirst = 2020\nlast = 2021\n{DESIGNS}'
    path = folder / "grid.toml"
    path.write_text(text + "[output]\nfigures = false\n", encoding="utf-8")
    return path


def test_a_grid_gives_the_rows_that_its_cells_give_as_tables(tmp_path, tables, weather):
    dataset(tables).to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    sweep(grid_plan(tmp_path, "daily.nc"), tmp_path / "by-grid", processes=1)
    lines = ["name,latitude,longitude,elevation,weather"]
    for index in range(4):
        at, over = LATITUDES[index // 2], LONGITUDES[index % 2]
        lines.append(f"{at:.4f} {over:.4f},{at},{over},{50 + 50 * index},{weather}/place-{index + 1:02d}.csv")
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


def test_cells_without_weather_are_left_out_and_counted(tmp_path, tables):
    dataset(tables, sea=True).to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    plan = load_plan(grid_plan(tmp_path, "daily.nc"))
    assert len(plan.places) == 3
    assert plan.left_out == 1


def test_eto_of_a_grid_is_that_of_each_cell_alone(weather):
    places = [Place(str(n), 38.0 + 0.2 * n, None, 40.0 * n, "x") for n in range(4)]
    weathers = [
        read_weather(weather / f"place-{n + 1:02d}.csv", Site(place.latitude, place.elevation))
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
    for more, said in (("", "too; name another"), ("x", '= "txx" is not in the grid')):
        both = ", ".join(f'{name} = {{ column = "tx{more}", unit = "K" }}' for name in ("tmin", "tmax"))
        with pytest.raises(ScenarioError, match=f"sites.variables.tmax .*{said}"):
            load_plan(grid_plan(tmp_path, "daily.nc", f"variables = {{ {both} }}\n"))


def test_a_grid_without_heights_asks_for_one(tmp_path, tables):
    dataset(tables).drop_vars("orog").to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    with pytest.raises(ScenarioError, match="has no heights"):
        load_plan(grid_plan(tmp_path, "daily.nc"))
    plan = load_plan(grid_plan(tmp_path, "daily.nc", 'elevation = "120 m"\n'))
    assert {place.elevation for place in plan.places} == {120.0}


def test_a_file_that_is_no_grid_is_said_in_a_line(tmp_path, tables):
    dataset(tables).to_netcdf(tmp_path / "whole.nc", engine="h5netcdf")
    for content in (b"no grid", b"", (tmp_path / "whole.nc").read_bytes()[:2000]):
        (tmp_path / "daily.nc").write_bytes(content)
        with pytest.raises(ScenarioError) as caught:
            load_plan(grid_plan(tmp_path, "daily.nc"))
        said = "cut off, damaged, or of another kind); expected: a grid of daily weather, as a .nc file or a .zarr folder; "
        assert f"can't be read as NetCDF or Zarr ({said}export or copy it again, whole" in str(caught.value)
    with pytest.raises(ScenarioError, match="there is no such file"):
        load_plan(grid_plan(tmp_path, "none.nc"))
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.nc")
        with pytest.raises(ScenarioError, match="neither a plain file nor a folder"):
            load_plan(grid_plan(tmp_path, "pipe.nc"))


@pytest.mark.skipif(sys.platform != "linux", reason="opens it without a child")
def test_a_file_that_ends_the_library_or_holds_it_for_ever_is_said_in_a_line(tmp_path, monkeypatch, tables):
    dataset(tables).to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    ours = os.getpid()
    monkeypatch.setattr(xr, "open_dataset", lambda *_, **__: os.getpid() == ours or os.kill(os.getpid(), 9))
    with pytest.raises(ScenarioError, match="can't be read as NetCDF or Zarr .* without end"):
        load_plan(grid_plan(tmp_path, "daily.nc"))


def test_a_part_of_a_folder_that_is_no_plain_file_is_named(tmp_path, tables):
    """A pipe was waited for, and a link that leads to itself was said to be a fault of ours."""
    dataset(tables).to_zarr(tmp_path / "daily.zarr", consolidated=False)
    (tmp_path / "daily.zarr" / "loop").symlink_to("loop")
    with pytest.raises(ScenarioError, match="loop in it is neither a plain file nor a folder"):
        load_plan(grid_plan(tmp_path, "daily.zarr"))


def test_longitudes_count_from_greenwich_both_ways_and_sea_and_unknown_heights_are_no_places(tmp_path):
    """180° E stays; 180.25° E is 179.75° W and 350° E is 10° W."""
    air = {"standard_name": _AIR, "units": "degC"}
    row = (("time", "lat", "lon"), np.array([[[10.0, 10.0, 10.0, np.nan, 10.0]]]))
    data = xr.Dataset(
        {
            "tn": (*row, air | {"cell_methods": "time: minimum"}),
            "tx": (*row, air | {"cell_methods": "time: maximum"}),
            "orog": (("lat", "lon"), np.array([[1.0, 2.0, 3.0, 4.0, np.nan]]), {"standard_name": "surface_altitude"}),
        },
        coords={
            "time": np.array(["2020-05-01"], "datetime64[ns]"),
            "lat": ("lat", [38.25], {"units": "degrees_north"}),
            "lon": ("lon", [180.0, 180.25, 350.0, 10.0, 20.0], {"units": "degrees_east"}),
        },
    )
    data.to_netcdf(tmp_path / "g.nc", engine="h5netcdf")
    sites = SimpleNamespace(grid="g.nc", variables={}, elevation=None)
    places, held = places_in_grid(tmp_path, sites)
    assert [place.longitude for place in places] == [180.0, -179.75, -10.0]
    assert [place.elevation for place in places] == [1.0, 2.0, 3.0]
    assert [place.cell for place in places] == [(0, 0), (0, 1), (0, 2)]
    assert held.left_out == 2


def _flipped(whole, at):
    return whole[:at] + bytes([whole[at] ^ 255]) + whole[at + 1 :]


@pytest.mark.parametrize("damage", ["half", "an end", "nothing", 10, 200, 1000, "data"])
def test_a_damaged_grid_is_refused_in_two_lines(damage, tmp_path, tables, capsys):
    """Where a flipped byte stood in the header, the library said with a traceback that it could not close the file."""
    grid = tmp_path / "daily.nc"
    dataset(tables).to_netcdf(grid, engine="h5netcdf", encoding={"tx": {"zlib": True, "fletcher32": True}})
    with h5py.File(grid) as file:
        data = file["tx"].id.get_chunk_info(0).byte_offset + 50
    whole = grid.read_bytes()
    cuts = {"half": whole[: len(whole) // 2], "an end": whole[:-1], "nothing": b"", "data": _flipped(whole, data)}
    grid.write_bytes(cuts[damage] if isinstance(damage, str) else _flipped(whole, damage))
    with pytest.raises(SystemExit) as ended:
        main(
            [
                "sweep",
                str(grid_plan(tmp_path, "daily.nc")),
                "--out",
                str(tmp_path / "out"),
                "--processes",
                "1",
                "--quiet",
            ]
        )
    said = capsys.readouterr().err.splitlines()
    assert ended.value.code == 2 and len(said) <= 2 and said[0].startswith("daily.nc: "), said
    assert not (tmp_path / "out").exists()


def _as_text(data):
    return data.assign(tn=(("time", "lat", "lon"), np.full(data["tn"].shape, "warm"), data["tn"].attrs))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (_as_text, "its variable tn holds something else than numbers"),
        (
            lambda data: data.assign(orog=(("lat", "lon"), [["a", "b"]] * 2, data["orog"].attrs)),
            "its variable surface_altitude",
        ),
        (
            lambda data: data.assign_coords(lat=("lat", ["south", "north"], {"units": "degrees_north"})),
            "its variable lat holds something else than numbers",
        ),
        (lambda data: data.isel(lat=slice(0)), "has no cell with a place"),
        (lambda data: data.assign_coords(lat=("lat", [38.25, np.nan], data["lat"].attrs)), "its axis lat has places"),
        (lambda data: data.assign_coords(lon=("lon", [np.nan] * 2, data["lon"].attrs)), "its axis lon has places"),
    ],
)
def test_a_grid_of_text_or_of_nowhere_is_refused(change, says, tmp_path, tables):
    """Text and an empty axis were mistakes of ours; cells without a latitude were left out without a word."""
    change(dataset(tables)).to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    with pytest.raises(ScenarioError, match=says):
        load_plan(grid_plan(tmp_path, "daily.nc"))


@pytest.mark.parametrize(
    ("first", "last"), [("1800-01-01", None), ("1799-12-31", "1801-12-31"), ("0205-01-01", "0207-01-01")]
)
def test_a_grids_years_are_years(first, last, tmp_path, tables):
    """Days since the year 205 were a bug of ours."""
    data = dataset(tables)
    data["time"] = ("time", np.arange(data.sizes["time"]), {"units": f"days since {first}"})
    data.to_netcdf(tmp_path / "daily.nc", engine="h5netcdf")
    if last is None:
        assert load_plan(grid_plan(tmp_path, "daily.nc")).places
        return
    with pytest.raises(ScenarioError, match=f"its days run from {first} to {last}; expected: years from 1800 to 2200"):
        load_plan(grid_plan(tmp_path, "daily.nc"))


#: by definition of these units; the knot is the nautical mile of 1852 m an hour; inch and mile by the foot of 0.3048 m
UNITS = {
    ("temperature", "K"): (1.0, -273.15),
    ("temperature", "degF"): (1 / 1.8, -32 / 1.8),
    ("share", "1"): (100.0, 0.0),
    ("pressure", "hPa"): (0.1, 0.0),
    ("pressure", "mbar"): (0.1, 0.0),
    ("pressure", "Pa"): (0.001, 0.0),
    ("fraction", "g kg-1"): (0.001, 0.0),
    ("speed", "km h-1"): (1 / 3.6, 0.0),
    ("speed", "knot"): (1852 / 3600, 0.0),
    ("speed", "mile h-1"): (5280 * 0.3048 / 3600, 0.0),
    ("water", "inch"): (0.3048e3 / 12, 0.0),
    ("water", "inch day-1"): (0.3048e3 / 12, 0.0),
    ("water", "kg m-2 s-1"): (86400.0, 0.0),
    ("water", "mm s-1"): (86400.0, 0.0),
    ("water", "mm h-1"): (24.0, 0.0),
    ("water", "kg m-2 h-1"): (24.0, 0.0),
    ("water", "m"): (1000.0, 0.0),
    ("water", "m day-1"): (1000.0, 0.0),
    ("water", "cm"): (10.0, 0.0),
    ("water", "cm day-1"): (10.0, 0.0),
    ("water", "m s-1"): (86400e3, 0.0),
    ("radiation", "W m-2"): (86400e-6, 0.0),
    ("radiation", "J m-2"): (1e-6, 0.0),
    ("radiation", "J m-2 day-1"): (1e-6, 0.0),
    ("radiation", "J m-2 s-1"): (86400e-6, 0.0),
    ("radiation", "kJ m-2"): (1e-3, 0.0),
    ("radiation", "kJ m-2 day-1"): (1e-3, 0.0),
    ("duration", "s"): (1 / 3600, 0.0),
    ("duration", "min"): (1 / 60, 0.0),
}


def test_a_grids_units_are_brought_to_ours():
    """All others are ours by another name."""
    for kind, units in _CF["units"].items():
        for unit, given in units.items():
            assert given == pytest.approx(UNITS.get((kind, unit), (1.0, 0.0)), rel=1e-6), (kind, unit)
    assert all(unit in _CF["units"][kind] for kind, unit in UNITS)


def _standardised(values):
    return (values - values.mean()) / values.std()


def _march(dates, *, north, east, stated, other, span, late):
    """A year's means that follow the sun of two latitudes so well, 25 days late; what is left of them is late, or early."""
    lagged, quarter = ((dates.day_of_year.to_numpy(float) - lag - 1.0) % 365.0 + 1.0 for lag in (25, 116))
    suns = [_standardised(extraterrestrial_radiation(lagged, latitude=at)) for at in (north, east)]
    rest = (1.0 if late else -1.0) * extraterrestrial_radiation(quarter, latitude=50.0)
    basis = np.column_stack([np.ones(len(dates)), *suns])
    rest = _standardised(rest - basis @ np.linalg.lstsq(basis, rest, rcond=None)[0])
    within = np.corrcoef(*suns)
    share = np.linalg.solve(within, [within[0, 1] * other if stated is None else stated, other])
    mean = share @ suns + np.sqrt(1.0 - share @ within @ share) * rest
    return 20.0 + mean * span / np.subtract(*np.percentile(mean, [95.0, 5.0]))


_EXCHANGED = {"north": -20.0, "east": 45.0, "stated": None, "other": 0.85, "span": 12.0, "late": True}
_FULL_YEAR = pd.date_range("2021-01-01", "2021-12-31")


@pytest.mark.parametrize(
    ("change", "dates", "is_refused"),
    [
        ({}, _FULL_YEAR, True),
        # temperatures follow the sun of what is called longitude, and not that of what is called latitude
        ({"other": 0.81}, _FULL_YEAR, True),
        ({"other": 0.79}, _FULL_YEAR, False),
        *(({"other": 0.804, "late": late}, _FULL_YEAR, True) for late in (True, False)),
        *(({"other": 0.796, "late": late}, _FULL_YEAR, False) for late in (True, False)),
        ({"north": 3.0, "stated": -0.02}, _FULL_YEAR, True),
        ({"north": 3.0, "stated": 0.02}, _FULL_YEAR, False),
        ({"span": 8.1}, _FULL_YEAR, True),
        ({"span": 7.9}, _FULL_YEAR, False),
        # or it is a place near the equator with a winter
        ({"north": 14.8, "span": 16.2}, _FULL_YEAR, True),
        ({"north": 14.8, "span": 15.8}, _FULL_YEAR, False),
        ({"north": 15.2, "span": 16.2}, _FULL_YEAR, False),
        ({"north": 10.0, "east": 25.3, "span": 20.0}, _FULL_YEAR, True),
        ({"north": 10.0, "east": 24.7, "span": 20.0}, _FULL_YEAR, False),
        # a longitude that could be no latitude, and samples that tell too little
        ({"east": 89.9}, _FULL_YEAR, True),
        ({}, _FULL_YEAR[:301], True),
        ({}, _FULL_YEAR[:300], False),
        ({}, _FULL_YEAR[:307:18], True),
        ({}, _FULL_YEAR[:305:19], False),
    ],
)
def test_seasons_that_are_those_of_the_longitude_are_refused_from_a_bound_on(change, dates, is_refused):
    """The thresholds are common practice, no source."""
    known = _EXCHANGED | change
    mean = _march(dates, **known)
    recognised = SimpleNamespace(variables=dict.fromkeys(("tmin", "tmax"), SimpleNamespace(factor=1.0, offset=0.0)))
    samples = {"tmin": mean[:, None] - 4.0, "tmax": mean[:, None] + 4.0}
    where = np.array([known["north"]]), np.array([known["east"]])
    with pytest.raises(ScenarioError, match="look exchanged") if is_refused else contextlib.nullcontext():
        grids._refuse_exchanged(recognised, samples, dates, *where, "daily.nc")


def test_numbers_of_a_sample_that_stand_for_missing_are_left_out_from_a_bound_on():
    dates = pd.date_range("2021-01-01", periods=5)
    values = np.array([-900.0, -899.0, 0.99e15, 1e15, 20.0]).reshape(5, 1, 1)
    arrays = {"tn": xr.DataArray(values, dims=("time", "lat", "lon"))}
    recognised = SimpleNamespace(variables={"tmin": SimpleNamespace(variable="tn")})
    days = SimpleNamespace(rows=np.arange(5), index=dates)
    samples, _, _ = grids._samples(recognised, arrays, np.ones((1, 1), bool), days)
    np.testing.assert_array_equal(samples["tmin"][:, 0], [np.nan, -899.0, 0.99e15, np.nan, 20.0])
