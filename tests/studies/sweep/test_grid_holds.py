"""
What grids hold: places, days, units and quantities that are read, converted, estimated, ignored or refused; through the command.
"""

from __future__ import annotations

import contextlib
import json
import os
import time

import numpy as np
import pandas as pd
import pytest

xr = pytest.importorskip("xarray")
pytest.importorskip("h5netcdf")
pytest.importorskip("cftime")
pytest.importorskip("pyarrow")

from panbudget.errors import OutputError, ScenarioError, WeatherError  # noqa: E402
from panbudget.physics import air  # noqa: E402
from panbudget.studies.sweep import grid as grids  # noqa: E402
from panbudget.studies.sweep.gridded import cells as copies  # noqa: E402
from panbudget.studies.sweep.gridded.calendars import CalendarError, days_of_axis  # noqa: E402
from panbudget.studies.sweep.gridded.cf import TABLE, Variable, canonical, to_ours  # noqa: E402
from panbudget.studies.sweep.plan import load_plan  # noqa: E402
from panbudget.studies.sweep.run import estimate  # noqa: E402
from tests.cli.test_main import run  # noqa: E402
from tests.studies.sweep.district import GARDEN, write_district  # noqa: E402

_AIR = "air_temperature"
_ONE_BED = GARDEN[: GARDEN.index("[controller.yard.bed.herbs]")].replace("2020-06-30", "2020-05-20")
_HEIGHT = 200.0


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    """Copies of grids by cells stand in the test's own folder."""
    monkeypatch.setenv("PANBUDGET_CACHE", str(tmp_path / "cache"))


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """Four places' tables, read; not to be changed."""
    folder = tmp_path_factory.mktemp("district")
    write_district(folder, first=2020, last=2020, places=4)
    return [pd.read_csv(folder / f"place-{n:02d}.csv", comment="#", parse_dates=["date"]) for n in range(1, 5)]


@pytest.fixture
def data(tables):
    """A grid of two rows and two columns: temperatures in K, rain as a flux, radiation in W/m², specific humidity, components."""
    numbers = {
        name: np.stack([t[name].to_numpy(float) for t in tables], 1).reshape(-1, 2, 2) for name in tables[0].columns[1:]
    }
    vapour = air.vapour_pressure_from_rh_max_min(
        numbers["rh_max"], numbers["rh_min"], tmin=numbers["tmin"], tmax=numbers["tmax"]
    )
    axes, place = ("time", "lat", "lon"), {"standard_name": "surface_altitude", "units": "m"}
    moist = 0.622 * vapour / (air.atmospheric_pressure(_HEIGHT) - 0.378 * vapour)
    sun = {"standard_name": "surface_downwelling_shortwave_flux_in_air", "units": "W/m2"}
    return xr.Dataset(
        {
            "tn": (
                axes,
                numbers["tmin"] + 273.15,
                {"standard_name": _AIR, "cell_methods": "time: minimum", "units": "K"},
            ),
            "tx": (
                axes,
                numbers["tmax"] + 273.15,
                {"standard_name": _AIR, "cell_methods": "time: maximum", "units": "K"},
            ),
            "q": (axes, moist, {"standard_name": "specific_humidity", "units": "kg kg-1"}),
            "u": (axes, 0.6 * numbers["wind"], {"standard_name": "eastward_wind", "units": "m s-1"}),
            "v": (axes, -0.8 * numbers["wind"], {"standard_name": "northward_wind", "units": "m/s"}),
            "pr": (axes, numbers["rain"] / 86400.0, {"standard_name": "precipitation_flux", "units": "kg m-2 s-1"}),
            "rs": (axes, numbers["radiation"] / 0.0864, sun),
            "cloud": (axes, numbers["rh_max"], {"standard_name": "cloud_area_fraction", "units": "%"}),
            "orog": (axes[1:], np.full((2, 2), _HEIGHT), place),
        },
        coords={
            "time": tables[0]["date"].to_numpy(),
            "lat": ("lat", [38.25, 38.75], {"standard_name": "latitude", "units": "degrees_north"}),
            "lon": ("lon", [-7.25, -7.0], {"standard_name": "longitude", "units": "degrees_east"}),
        },
    )


def plan_of(folder, data, more="", garden=_ONE_BED, **options):
    """A plan on that grid, written; the grid too, where it is to be read from a file."""
    if options.pop("written", False) or options:
        data.to_netcdf(folder / "g.nc", engine="h5netcdf", **options)
    (folder / "garden.toml").write_text(garden, encoding="utf-8")
    text = f'scenario = "garden.toml"\n[sites]\ngrid = "g.nc"\n{more}[output]\nfigures = false\n'
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    return folder / "plan.toml"


@pytest.fixture
def loaded(tmp_path, monkeypatch):
    """Load a plan on a grid that stands in memory, as if it had been opened."""

    def load(data, **options):
        monkeypatch.setattr(grids, "_opened", lambda *_: contextlib.nullcontext(data))
        monkeypatch.setattr(grids, "_fingerprint", lambda _: str(id(data)))
        return load_plan(plan_of(tmp_path, data, **options))

    return load


@pytest.fixture
def refused(loaded):
    """Return the lines of what is wrong with a grid."""

    def lines(data, **options):
        with pytest.raises(ScenarioError) as caught:
            loaded(data, **options)
        return caught.value.text().splitlines()

    return lines


def test_the_command_tells_what_a_grid_holds_and_brings_it_to_standard_columns(tmp_path, tables, data, capsys):
    """Humidity, wind, rain and radiation come back as the tables have them, through specific humidity and components."""
    plan = plan_of(tmp_path, data, written=True)
    code, out, err = run(capsys, "sweep", plan, "--dry-run")
    assert code == 0, err
    assert "  tmin: tn [K], converted\n" in out
    assert "  wind: u [m s-1], converted; length of the eastward and northward components" in out
    assert "its height is not stated: taken as 2 m" in out
    assert "  wind: v [m/s], converted\n" in out
    assert (
        "vapour_pressure: q [kg kg-1], converted; specific humidity, with the pressure of the elevation (WMO-No. 8"
        in out
    )
    assert "  pressure: estimated; computed from the elevation (FAO-56 eq. 7)\n" in out
    assert "  ignored: cloud; not used: its standard name is none that we use\n" in out
    assert "  means of a sample of it: tmin " in out
    assert "each chunk read once" in out
    code, _, err = run(capsys, "sweep", plan, "--out", tmp_path / "out", "--processes", 1)
    assert code == 0, err
    held = json.loads((tmp_path / "out" / "sweep.json").read_text(encoding="utf-8"))["variables"]
    assert [(line["for"], line["variable"], line["how"]) for line in held] == [
        ("tmin", "tn", "converted"),
        ("tmax", "tx", "converted"),
        ("vapour_pressure", "q", "converted"),
        ("wind", "u", "converted"),
        ("wind", "v", "converted"),
        ("rain", "pr", "converted"),
        ("radiation", "rs", "converted"),
        ("pressure", "", "estimated"),
        ("", "cloud", "ignored"),
    ]
    read = load_plan(plan)
    (file,) = grids.read_cells(tmp_path, read.described.sites, read.grid, read.places[1:2], read.base)
    daily, expected = file.file.raw.daily, tables[1]
    for name in ("wind", "rain", "radiation"):
        np.testing.assert_allclose(daily[name], expected[name], rtol=1e-9, atol=1e-9)
    ea = air.vapour_pressure_from_rh_max_min(
        *(expected[n].to_numpy(float) for n in ("rh_max", "rh_min")), tmin=expected["tmin"], tmax=expected["tmax"]
    )
    np.testing.assert_allclose(daily["vapour_pressure"], ea, rtol=1e-12)
    record = pd.read_csv(tmp_path / "out" / "sites.csv")
    assert record["years_run"].tolist() == [2020] * 4


def test_specific_humidity_takes_the_grids_pressure_where_there_is_one_and_a_mixing_ratio_its_own_formula(
    tmp_path, data, loaded
):
    """q p / (0.622 + 0.378 q) and r p / (0.622 + r), by hand: 0.01 kg/kg at 90 kPa is 1.4382 and 1.4241 kPa."""
    axes = data["q"].dims
    data["q"] = (axes, np.full(data["q"].shape, 0.01), data["q"].attrs)
    data["p"] = (axes, np.full(data["q"].shape, 900.0), {"standard_name": "surface_air_pressure", "units": "hPa"})
    for standard, vapour in (("specific_humidity", 1.4382), ("humidity_mixing_ratio", 1.4241)):
        data["q"].attrs["standard_name"] = standard
        plan = loaded(data)
        (file,) = grids.read_cells(tmp_path, plan.described.sites, plan.grid, plan.places[:1], plan.base)
        assert file.file.raw.daily["vapour_pressure"].iloc[5] == pytest.approx(vapour, abs=5e-5)
        assert any("with the grid's pressure" in line["note"] for line in plan.grid.listed())


@pytest.mark.parametrize(
    ("name", "unit", "like"),
    [
        ("tn", "degC", "K"),
        ("pr", "mm", "kg m-2 s-1"),
        ("rs", "MJ m-2", "W m-2"),
        ("q", "g kg-1", "kg kg-1"),
        ("u", "km h-1", ""),  # slower than stated is calm, and calm may be
    ],
)
def test_a_unit_that_the_numbers_contradict_is_refused_with_what_they_look_like(
    data, name, unit, like, loaded, refused
):
    data[name].attrs["units"] = unit
    if not like:
        assert loaded(data).places
        return
    (line,) = refused(data)
    assert f"variable {name} (" in line
    assert f'has units "{unit}", which its numbers' in line
    cure = line[line.index("sites.variables.") : line.index(" says so")]
    assert f'unit = "{like}"' in cure
    assert loaded(data, more=cure.replace("sites.", "", 1) + "\n").places  # as it is pasted


def test_rain_in_kg_a_second_that_holds_millimetres_is_refused_and_trust_lets_it_pass(data, loaded, refused):
    data["pr"] = data["pr"].dims, data["pr"].to_numpy() * 86400.0, data["pr"].attrs
    assert "they look like mm" in refused(data)[0]
    trusting = _ONE_BED.replace('file = "none.csv"', 'file = "none.csv"\ntrust = ["rain-unit"]')
    assert loaded(data, garden=trusting).places


@pytest.mark.parametrize(
    ("name", "factor", "trusted"),
    [
        ("rs", 0.005, "radiation-unit"),
        ("u", 40.0, ""),
        ("tx", 1.6, "temperature-unit"),
        ("q", 4.0, "specific-humidity-unit"),
    ],
)
def test_numbers_that_no_unit_explains_are_refused_with_what_the_unit_allows(
    data, name, factor, trusted, loaded, refused
):
    data[name] = data[name].dims, data[name].to_numpy() * factor, data[name].attrs
    if not trusted:  # components have no bounds of their own
        assert loaded(data).places
        return
    (line,) = refused(data)
    assert "contradict, and they look like no other that is known" in line
    assert f'trust = ["{trusted}"]' in line
    trusting = _ONE_BED.replace('file = "none.csv"', f'file = "none.csv"\ntrust = ["{trusted}"]')
    assert loaded(data, garden=trusting).places


def test_rain_in_inches_is_read_and_an_unknown_unit_of_rain_is_not_guessed(tmp_path, data, loaded, refused):
    wet = data["pr"].to_numpy() * 86400.0
    data["pr"] = data["pr"].dims, wet / 25.4, {**data["pr"].attrs, "units": "inches"}
    read = loaded(data)
    assert read.grid.recognised.variables["rain"].factor == 25.4
    assert read.grid.typical["rain"] == f"{np.nanmean(wet):.3g} mm a day"
    # too little for the grid as a whole
    read = loaded(data.assign(pr=(data["pr"].dims, np.where(wet > 0.0, 5.1, 0.0), data["pr"].attrs)))
    (file,) = grids.read_cells(tmp_path, read.described.sites, read.grid, read.places[:1], read.base)
    with pytest.raises(WeatherError, match="rain is 5.1 inches on a mean wet day"):
        file.over()
    data["pr"] = data["pr"].dims, wet, data["pr"].attrs
    (line,) = refused(data)
    assert 'they look like mm; sites.variables.rain = { column = "pr", unit = "mm" } says so' in line
    data["pr"].attrs["units"] = "spans"
    (line,) = refused(data)
    assert 'has units "spans", which are unknown for rain; expected: one of' in line
    assert "look like" not in line


def test_a_variable_without_units_is_refused_with_what_it_looks_like(data, refused):
    del data["tx"].attrs["units"]
    (line,) = refused(data)
    assert "variable tx has no units for tmax; its numbers look like K; expected: one of K, degC, degF" in line


def test_magnitudes_are_judged_at_their_bounds():
    """Each bound of the table decides; a unit nearer than the least ratio is not taken for another."""
    from panbudget.studies.sweep.gridded.cf import Variable, _looks_like

    as_mm, as_m = Variable("pr", "mm", 1.0, 0.0), Variable("pr", "m", 1000.0, 0.0)
    low, high = TABLE["plausible"]["rain"]["highest"]
    assert _looks_like("rain", np.array([0.0, 0.0, low]), as_mm) == ""
    assert _looks_like("rain", np.array([0.0, 0.0, low - 1e-3]), as_mm) == "m"
    assert _looks_like("rain", np.array([0.0, 0.0, high / 1000.0]), as_m) == ""
    assert _looks_like("rain", np.array([0.0, 0.0, (high + 1.0) / 1000.0]), as_m) == "mm"
    assert _looks_like("rain", np.array([0.0, 0.0, (high + 1.0) / 25.4]), Variable("pr", "in", 25.4, 0.0)) == "mm"
    assert _looks_like("rain", np.array([0.0, 0.0, (high + 1.0) / 24.0]), Variable("pr", "mm h-1", 24.0, 0.0)) == ""
    assert _looks_like("tmin", np.array([36.0, 36.0]), Variable("t", "degC", 1.0, 0.0)) == ""
    assert _looks_like("tmin", np.array([36.2, 36.2]), Variable("t", "degC", 1.0, 0.0)) == "degF"
    assert _looks_like("rain", np.empty(0), as_mm) == ""
    wind, fast = Variable("w", "m s-1", 1.0, 0.0), np.r_[np.full(999, 3.0), 80.0]  # one spike in a thousand is no unit
    assert _looks_like("wind", fast, wind) == ""
    assert _looks_like("wind", fast[1:], wind) == "km h-1"


@pytest.mark.parametrize("code", [np.inf, 1e20, -9999.0])
def test_a_code_for_missing_that_nothing_declares_tells_nothing_of_the_unit(data, code, loaded):
    clean = loaded(data).grid.typical
    numbers = data["tx"].to_numpy().copy()
    numbers[200, 0, 0] = code
    data["tx"] = data["tx"].dims, numbers, data["tx"].attrs
    assert loaded(data).grid.typical["tmax"] == clean["tmax"]


@pytest.mark.parametrize(
    ("unit", "written"),
    [
        ("W m**-2", "W m-2"),
        ("W/m^2", "W m-2"),
        ("J m-2 d-1", "J m-2 day-1"),
        ("kg/m2/s", "kg m-2 s-1"),
        ("mm per day", "mm day-1"),
        ("metres", "m"),
        ("m of water equivalent", None),
        ("°C", "degC"),
        ("%", "%"),
        ("1", "1"),
        ("kg/kg", "kg kg-1"),
    ],
)
def test_units_are_read_however_they_are_written(unit, written):
    known = {name for units in TABLE["units"].values() for name in units}
    assert (canonical(unit) in known) == (written is not None)
    if written is not None:
        assert canonical(unit) == written


def test_latitude_and_longitude_that_are_exchanged_or_beyond_their_bounds_are_refused(data, loaded, refused):
    names = data.copy()
    names["lat"].attrs["units"] = "degrees_east"
    del names["lat"].attrs["standard_name"]
    assert "its coordinate lat is called one of latitude and longitude" in refused(names)[0]
    names["lat"].attrs["units"] = "radians"
    assert 'its lat has units "radians"; expected: degrees; multiply it by 180/π' in refused(names)[0]
    north, east = data["lat"].attrs, data["lon"].attrs
    values = data.rename(lat="lon", lon="lat")
    values["lat"].attrs, values["lon"].attrs = north, east
    assert "latitude -7.125 and longitude 38.5 look exchanged: temperatures follow the sun of" in refused(values)[0]
    far = values.assign_coords(lat=("lat", [120.0, 121.0], north))
    assert (
        "its latitudes run from 120 to 121 and its longitudes from 38.25 to 38.75: they look exchanged"
        in (refused(far)[0])
    )
    mistyped = data.assign_coords(lat=("lat", [38.5, 500.0], north))
    assert "its latitudes run from 38.5 to 500; expected: -90 to 90 degrees" in refused(mistyped)[0]
    beyond = data.assign_coords(lon=("lon", [359.9, 360.1], east))
    assert "its longitudes run from 359.9 to 360.1; expected: -180 to 180, or 0 to 360 degrees" in refused(beyond)[0]
    assert loaded(data.assign_coords(lon=("lon", [359.9, 360.0], east))).places
    assert loaded(data.assign_coords(lat=("lat", [-90.0, 90.0], north))).places


def test_heights_beyond_a_gardens_are_refused(data, loaded, refused):
    """Heights in millimetres ended in warnings of numpy's and a sentence about measured pans."""
    for height, sound in ((6000.0, True), (6001.0, False), (-430.0, True), (-431.0, False)):
        data["orog"][0, 0] = height
        if sound:
            assert loaded(data).places[0].elevation == height
        else:
            assert "; expected: -430 to 6000 m above sea; mend them" in refused(data)[0]


@pytest.mark.parametrize(("unit", "metre"), [("km", 1000.0), ("ft", 0.3048), ("metres", 1.0), ("", None), ("K", None)])
def test_heights_are_read_in_their_unit(data, unit, metre, loaded, refused):
    """The foot of 0.3048 m; an axis of length 1 beside the cells' own is no obstacle."""
    before = data["orog"].to_numpy().copy()
    data["orog"] = (("run", "lat", "lon"), before[None] / (metre or 1.0), {**data["orog"].attrs, "units": unit})
    if metre is None:
        assert f'its heights are in "{unit}"; expected: m, km or ft' in refused(data)[0]
        return
    assert [place.elevation for place in loaded(data).places] == pytest.approx(before.ravel().tolist())


@pytest.mark.parametrize(
    ("height", "unit", "sound"), [(0.01, "km", True), (0.49, "m", False), (0.5, "m", True), (201.0, "m", False)]
)
def test_a_winds_height_that_no_gauge_has_is_refused(data, height, unit, sound, loaded, refused):
    """One in kilometres was taken as metres, and ended in a mistake of ours."""
    data["u"] = data["u"].assign_coords(height=((), height, {"standard_name": "height", "units": unit}))
    if sound:
        assert loaded(data).grid.recognised.wind_height[0] == pytest.approx(10.0 if unit == "km" else height)
    else:
        assert (
            f'its wind is at {height:g} m (its coordinate "height"); expected: 0.5 to 200 m above ground'
            in refused(data)[0]
        )


def test_rain_that_packing_left_below_zero_is_none():
    rain = to_ours({"rain": Variable("pr", "mm", 1.0, 0.0, "")}, {"pr": np.array([[-0.0099, -0.01, 2.0]])}, np.zeros(3))
    assert rain["rain"].tolist() == [[0.0, -0.01, 2.0]]


def test_the_winds_height_is_the_scenarios_the_coordinates_or_the_attributes(tmp_path, data, loaded):
    cases = [data.copy(), data.copy(), data.copy(), data.copy()]
    cases[0]["u"] = data["u"].assign_coords(height=((), 10.0, {"standard_name": "height", "units": "m"}))
    cases[1]["u"] = data["u"].expand_dims(height=[10.0], axis=1)
    cases[2]["u"].attrs["height"] = "10 m"
    cases[3]["u"].attrs["long_name"] = "Eastward wind at 10 metres"
    for case in cases:
        plan = loaded(case)
        assert plan.grid.recognised.wind_height[0] == 10.0
        assert any("at 10 m (its" in line["note"] for line in plan.grid.listed())
    (file,) = grids.read_cells(tmp_path, plan.described.sites, plan.grid, plan.places[:1], plan.base)
    weather = file.over()
    # FAO-56 eq. 47: at 2 m it is 0.748 of the wind at 10 m, as example 14 has it
    assert weather.daily["wind"].iloc[0] / file.file.raw.daily["wind"].iloc[0] == pytest.approx(0.748, abs=5e-4)
    own = _ONE_BED.replace('file = "none.csv"', 'file = "none.csv"\nwind_height = "3 m"')
    assert loaded(cases[3], garden=own).grid.recognised.wind_height == (3.0, "the scenario")


def test_a_first_day_missing_leaves_land_land_and_a_mask_or_no_day_at_all_makes_sea(tmp_path, data, capsys, loaded):
    for name in ("tn", "tx", "q"):
        data[name][0] = np.nan
        data[name][:, 1, 1] = np.nan
        data[name][1:8, 0, 0] = np.nan  # and lacks more, before the season
    plan = plan_of(tmp_path, data, written=True)
    code, out, err = run(capsys, "sweep", plan, "--out", tmp_path / "out", "--processes", 1)
    assert code == 0, err
    assert out.replace("\u00a0", " ").startswith("3 seasons at 3 sites")
    assert json.loads((tmp_path / "out" / "sweep.json").read_text(encoding="utf-8"))["cells_left_out"] == 1
    data["mask"] = ("lat", "lon"), [[1.0, 0.0], [1.0, 1.0]], {"standard_name": "land_binary_mask"}
    assert [place.cell for place in loaded(data).places] == [(0, 0), (1, 0), (1, 1)]


@pytest.mark.parametrize("name", ["lat", "lon", "orog"])
def test_a_cell_without_its_position_or_height_is_left_out_and_told(tmp_path, data, capsys, name):
    moved = data.rename(lat="y", lon="x")
    for key, axis in (("lat", "y"), ("lon", "x")):
        shape = (2, 1) if axis == "y" else (1, 2)
        where = np.broadcast_to(moved[axis].to_numpy().reshape(shape), (2, 2)).copy()
        moved[key] = ("y", "x"), where, {"standard_name": {"lat": "latitude", "lon": "longitude"}[key]}
    moved = moved.drop_vars(("y", "x")).set_coords(["lat", "lon"])
    moved[name][0, 1] = np.nan
    plan = plan_of(tmp_path, moved, written=True)
    code, out, err = run(capsys, "sweep", plan, "--out", tmp_path / "out", "--dry-run")
    assert code == 0, err
    assert "without weather, latitude, longitude or height, left out: 1" in " ".join((out + err).split())


def test_a_grid_without_any_value_is_refused_and_other_axes_are_passed_over(data, loaded, refused):
    """Heights lie on the cells' axes, whatever else the file holds."""
    data["other"] = "cell", [1.0, 2.0]
    assert [place.elevation for place in loaded(data).places] == [_HEIGHT] * 4
    data["tn"][:] = np.nan
    (line,) = refused(data)
    assert line.startswith(
        "g.nc: its variable tn has no figure in any cell that has a place and a height; mend the file"
    )


def test_a_minimum_of_humidity_alone_is_none_and_the_list_says_so(data, loaded):
    """No vapour pressure follows from it: FAO-56 eq. 48 gives one."""
    data["q"].attrs.update(standard_name="relative_humidity", units="1", cell_methods="time: minimum")
    data["q"] = data["q"].dims, np.full(data["q"].shape, 0.4), data["q"].attrs
    lines = {line["for"]: line["how"] for line in loaded(data).grid.listed()}
    assert (lines["rh_min"], lines["humidity"]) == ("converted", "estimated")
    data["q"].attrs["cell_methods"] = "time: maximum"
    assert "humidity" not in {line["for"] for line in loaded(data).grid.listed()}


def axis(calendar, start, days):
    """A grid's time axis alone."""
    times = xr.date_range(start, periods=days, calendar=calendar, use_cftime=calendar != "standard")
    return xr.Dataset(coords={"time": times})


def test_a_year_without_29_february_keeps_its_days_and_makes_that_one():
    """28 February 2020 and 1 March are its neighbours; rain stays what the grid has."""
    days = days_of_axis(axis("noleap", "2019-12-31", 400), "time")
    assert days.calendar == "noleap"
    assert [str(day.date()) for day in days.made] == ["2020-02-29"]
    assert len(days.index) == 401
    at = days.index.get_loc("2020-02-29")
    values = np.arange(400.0)
    assert days.laid(values, rain=False)[at - 1 : at + 2].tolist() == [59.0, 59.5, 60.0]
    assert days.laid(values, rain=True)[at] == 0.0
    assert days.laid(values, rain=True).sum() == values.sum()
    assert str(days.index[-1].date()) == "2021-02-03"  # 400 of its days on


def test_years_of_360_days_keep_their_order_and_their_rain():
    days = days_of_axis(axis("360_day", "2019-01-01", 720), "time")
    assert (str(days.index[0].date()), str(days.index[-1].date())) == ("2019-01-01", "2020-12-31")
    assert len(days.made) == 5 + 6
    assert np.diff(np.flatnonzero(days.rows < 0)).min() > 55  # spread over the year
    assert (np.diff(days.rows[days.rows >= 0]) == 1).all()
    assert days.laid(np.ones(720), rain=True).sum() == 720.0
    # its first of July, the 181st of 360 days, has its middle at 180.5 · 365 / 360 = 183.007 of ours: on the 184th
    assert str(days.index[list(days.rows).index(180)].date()) == "2019-07-03"


def test_a_29_february_that_we_have_not_is_left_out_and_a_day_that_lacks_stays_missing():
    days = days_of_axis(axis("all_leap", "2019-02-27", 5), "time")
    assert [f"{day:%m-%d}" for day in days.index] == ["02-27", "02-28", "03-01", "03-02"]
    assert days.rows.tolist() == [0, 1, 3, 4]
    gap = days_of_axis(axis("noleap", "2020-02-20", 30).isel(time=[*range(9), *range(12, 30)]), "time")
    assert not len(gap.made)  # 28 February lacks its neighbour of the first of March, and so has none made
    assert len(gap.index) == 27


def test_stamps_at_a_days_end_are_told_by_its_bounds():
    data = axis("standard", "2019-05-02", 3)
    ends = np.stack([data["time"].to_numpy() - np.timedelta64(1, "D"), data["time"].to_numpy()], 1)
    data["time_bnds"] = ("time", "n"), ends
    data["time"].attrs["bounds"] = "time_bnds"
    assert str(days_of_axis(data, "time").index[0].date()) == "2019-05-01"


@pytest.mark.parametrize(
    ("times", "code"),
    [
        (pd.date_range("2019-01-01", periods=8, freq="6h"), "steps"),
        (pd.date_range("2019-01-01", periods=8, freq="7D"), "steps"),
        (pd.DatetimeIndex(["2019-01-02", "2019-01-01"]), "order"),
    ],
)
def test_times_that_are_no_days_in_turn_are_refused(times, code):
    with pytest.raises(CalendarError, match=code):
        days_of_axis(xr.Dataset(coords={"time": times}), "time")
    with pytest.raises(CalendarError, match="calendar"):
        days_of_axis(axis("julian", "2019-01-01", 8), "time")


def test_a_noleap_grid_runs_and_says_what_it_made(tmp_path, data, capsys):
    """A season over the end of February: its 29th is made, counted as filled in every column, and said."""
    garden = (
        _ONE_BED.replace("2020-05-01", "2020-02-20")
        .replace("2020-05-20", "2020-03-05")
        .replace("2020-05-05", "2020-02-21")
    )
    leapless = data.isel(lat=[0], lon=[0]).convert_calendar("noleap")
    leapless["orog"] = data["orog"].isel(lat=[0], lon=[0])  # to which older versions of xarray give a time
    for name in ("lat", "lon"):
        leapless[name].attrs = data[name].attrs
    plan = plan_of(tmp_path, leapless, garden=garden, written=True)
    code, _, err = run(capsys, "sweep", plan, "--out", tmp_path / "out", "--processes", 1)
    assert code == 0, err
    assert "29 February is made from the days before and after, without rain" in err
    table = pd.read_parquet(tmp_path / "out" / "seasons").sort_values("year")
    assert table["days"].tolist() == [15]
    record = pd.read_csv(tmp_path / "out" / "sites.csv").iloc[0]
    assert "tmin: between two days of the grid's calendar (1 d)" in record["filled"]
    assert table["filled_values"].tolist() == [record["filled_values"]] == [len(record["columns"].split())]


def test_chunks_are_read_once_whatever_their_shape_and_give_the_same_numbers(tmp_path, data, monkeypatch):
    """A chunk a day, a chunk a cell, one chunk; and a worker that does not see the copy reads the grid."""
    days, read = data.sizes["time"], []
    original = copies._copy_array

    def counted(path, at, values):
        read.append((copies.chunks_of(values), sum(1 for _ in copies.blocks(values.shape, copies.chunks_of(values)))))
        original(path, at, values)

    monkeypatch.setattr(copies, "_copy_array", counted)
    frames = []
    for name, chunks in (("day", (1, 2, 2)), ("cell", (days, 1, 1)), ("whole", (days, 2, 2))):
        monkeypatch.setenv("PANBUDGET_CACHE", str(tmp_path / name))
        encoding = {key: {"chunksizes": chunks} for key in data.data_vars if key != "orog"}
        plan = load_plan(plan_of(tmp_path, data, encoding=encoding))
        cells = tmp_path, plan.described.sites, plan.grid, plan.places
        assert grids.copy_grid(*cells, print).is_dir()
        frames.append([file.file.raw.daily for file in grids.read_cells(*cells, plan.base)])
    assert read == [((1, 2, 2), 1)] * 7 + [((days, 1, 1), 4)] * 7 + [((days, 2, 2), 1)] * 7
    monkeypatch.setenv("PANBUDGET_CACHE", str(tmp_path / "elsewhere"))
    frames.append([file.file.raw.daily for file in grids.read_cells(*cells, plan.base)])
    for other in frames[1:]:
        for ours, theirs in zip(frames[0], other, strict=True):
            pd.testing.assert_frame_equal(ours, theirs)
    expected = estimate(plan)
    # four cells of eight bytes a day, seven variables
    assert expected.copy_bytes == expected.grid_bytes == 7 * 4 * 8 * days


def test_copies_make_room_and_a_full_disk_is_said(tmp_path, monkeypatch):
    values = xr.DataArray(np.arange(6.0).reshape(3, 2), dims=("time", "cell"))
    told = []
    for name in ("a", "b"):
        copies.copy_cells(tmp_path / "cells" / name, [(0,), (1,)], {"t": values}, told.append)
    assert copies.read_copy(tmp_path / "cells" / "b", [(1,)], ["t"])["t"].tolist() == [[1.0], [3.0], [5.0]]
    copies.copy_cells(tmp_path / "cells" / "b", [(0,), (1,)], {"t": values}, told.append)
    assert told == ["t", "t"]  # what is there is not made again
    size = sum(path.stat().st_size for path in (tmp_path / "cells" / "b").glob("*.npy"))
    # one that is larger than all that may stay is in use, and stays
    for most, kept in ((2 * size, {"a", "b"}), (2 * size - 1, {"b"}), (size - 1, {"b"})):
        monkeypatch.setattr(copies, "_MOST", float(most))
        copies.trim_copies(tmp_path / "cells" / "b")
        assert {path.name for path in (tmp_path / "cells").iterdir()} == kept

    draft = tmp_path / "cells" / ".c.1"
    for old, stays in ((False, True), (True, False)):  # of a run that is at work, and of one that was killed
        draft.mkdir(exist_ok=True)
        made = time.time() - copies._ABANDONED + (-60.0 if old else 60.0)
        os.utime(draft, (made, made))
        copies.trim_copies(tmp_path / "cells" / "b")
        assert draft.exists() == stays

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(copies, "_copy_array", full)
    with pytest.raises(OutputError, match="has no room for a copy of the grid by cells.*No space left"):
        copies.copy_cells(tmp_path / "cells" / "c", [(0,), (1,)], {"t": values}, told.append)
    assert {path.name for path in (tmp_path / "cells").iterdir()} == {"b"}
