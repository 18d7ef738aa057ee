"""Years that a place has: a gap costs those that it touches, fallbacks lend, every site has its record; what outputs hold."""

from __future__ import annotations

import json
import re
import struct
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

pq = pytest.importorskip("pyarrow.parquet")
xr = pytest.importorskip("xarray")
pytest.importorskip("zarr")
pytest.importorskip("h5netcdf")

import panbudget  # noqa: E402
from panbudget.errors import TO_PASTE, PanbudgetError  # noqa: E402
from panbudget.studies.sweep import cube, usable  # noqa: E402
from panbudget.studies.sweep.plan import load_plan  # noqa: E402
from panbudget.studies.sweep.site import open_site  # noqa: E402
from panbudget.studies.sweep.store import described  # noqa: E402
from panbudget.studies.sweep.usable import _one_a_run, refuse_sites  # noqa: E402
from panbudget.weather import Weather  # noqa: E402
from panbudget.weather.checks.inspection import Caution  # noqa: E402
from tests.cli.test_main import run  # noqa: E402
from tests.studies.sweep.district import GARDEN, contents, make_plan, write_district  # noqa: E402

TABLELESS = SimpleNamespace(sites=SimpleNamespace(table=None))

_ONE_BED = GARDEN[: GARDEN.index("[controller.yard.bed.herbs]")].replace("2020-06-30", "2020-05-20")
_SITES = 9


def lacking(lines, *days, columns=None):
    """A weather file's lines without some days, or with holes in a column on them."""
    if columns is None:
        return [line for line in lines if line[:10] not in days]
    at = next(line for line in lines if line.startswith("date")).split(",").index(columns)
    cells = [line.split(",") for line in lines]
    return [",".join("" if row[0] in days and n == at else cell for n, cell in enumerate(row)) for row in cells]


def days(month, first, last, year=2021):
    """Days of a month."""
    return [f"{year}-{month:02d}-{day:02d}" for day in range(first, last + 1)]


@pytest.fixture(scope="module")
def gappy(tmp_path_factory):
    """Nine sites of two years: two whole, two without a week of January, two of May, one of some wind, two broken."""
    folder = tmp_path_factory.mktemp("gappy")
    write_district(folder / "whole", first=2020, last=2021, places=1)
    lines = (folder / "whole" / "place-01.csv").read_text(encoding="ascii").splitlines()
    lines = [line for line in lines if not line[:4].isdigit() or line[5:7] < "06"]  # no summers after the season
    kinds = {
        range(2): lines,
        range(2, 4): lacking(lines, *days(1, 10, 16)),
        range(4, 6): lacking(lines, *days(5, 8, 14)),
        range(6, 7): lacking(lines, *days(5, 8, 9), columns="wind"),
        range(7, 9): [line.replace("tmax", "other") for line in lines],
    }
    table = ["name,latitude,longitude,elevation,weather"]
    for sites, text in kinds.items():
        for n in sites:
            (folder / f"{n}.csv").write_text("\n".join(text) + "\n", encoding="ascii")
            table.append(f"site {n:02d},{38.2 + 0.01 * n:.2f},{-7.0 - 0.01 * n:.2f},100,{n}.csv")
    (folder / "sites.csv").write_text("\n".join(table) + "\n", encoding="ascii")
    (folder / "garden.toml").write_text(_ONE_BED, encoding="utf-8")
    text = (
        'title = "Gaps"\nscenario = "garden.toml"\n[sites]\ntable = "sites.csv"\n[years]\nfirst = 2020\nlast = 2021\n'
    )
    (folder / "plan.toml").write_text(text + "[output]\nfigures = false\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def ran(gappy):
    """The same, run but for its two bad sites."""
    return panbudget.sweep(gappy / "plan.toml", gappy / "out", processes=1, keep_going=True)


@pytest.mark.parametrize(("hours", "times"), [(False, 1), (True, 3)])
def test_a_file_of_several_sites_is_opened_once_for_all_if_it_holds_days(hours, times, tmp_path, monkeypatch):
    """A hundred thousand sites took as many readings of one file; which day an hour is of depends on the place."""
    plan = make_plan(tmp_path, last=2020)
    table, weather = tmp_path / "weather" / "places.csv", tmp_path / "weather" / "place-01.csv"
    table.write_text(re.sub("place-0[23]", "place-01", table.read_text(encoding="utf-8")), encoding="utf-8")
    if hours:
        stamps = pd.date_range("2020-01-01 01:00", "2020-12-31 23:00", freq="h", name="time")
        frame = pd.DataFrame({"temperature [degC]": 10.0 + stamps.hour, "rain [mm]": 0.0}, index=stamps)
        frame.to_csv(weather, date_format="%Y-%m-%d %H:%M")
    opened, moves = [], []
    monkeypatch.setattr(usable, "open_site", lambda *given: opened.append(given) or open_site(*given))
    heads = usable.heads_of(load_plan(plan), lambda **move: moves.append(move))
    assert (heads.bad, len(opened), moves) == ({}, times, [{"advance": 1}] * 3)


def test_a_stop_and_a_dry_run_name_all_bad_sites(gappy, ran, capsys):
    code, out, err = run(capsys, "sweep", gappy / "plan.toml", "--dry-run")
    assert code == 2
    assert "weather files opened: 9; sites that can't be run: 2" in out
    assert err.count("site 07: 7.csv:") == err.count("site 08: 8.csv:") == 1
    assert "To skip such sites and count them, add --keep-going." in err
    code, out, err = run(capsys, "sweep", gappy / "plan.toml", "--dry-run", "--keep-going")
    assert (code, out.count("would be skipped: site 0")) == (0, 2), err
    with pytest.raises(PanbudgetError) as caught:  # what is done is kept
        panbudget.sweep(gappy / "plan.toml", ran.folder, processes=1)
    assert [name for name in ("site 07", "site 08") if name in caught.value.text()] == ["site 07", "site 08"]
    assert (ran.folder / "sweep.log").read_text(encoding="utf-8").count("can't be run") == 4


def test_what_is_wrong_alike_at_many_cells_is_one_line():
    plan = SimpleNamespace(path="plan.toml", places=range(25), described=TABLELESS)
    bad = {f"cell {n}": ("grid.nc: tmin is missing",) for n in range(21)} | {"cell 30": ("grid.nc: rain is missing",)}
    with pytest.raises(PanbudgetError) as caught:
        refuse_sites(plan, bad)
    first, second, _ = caught.value.text().replace("\xa0", " ").splitlines()
    assert first.startswith("plan.toml: sites cell 0, cell 1, ")
    assert first.endswith("cell 19 (and 1 more site): grid.nc: tmin is missing")
    assert second == "plan.toml: site cell 30: grid.nc: rain is missing"


@pytest.mark.parametrize(("places", "pasted"), [(1, True), (2, False)])
def test_what_suits_one_sites_file_alone_is_not_to_be_pasted_for_all(places, pasted):
    """Pasted into the scenario it refused the other sites' files, with lines to paste for those."""
    bad = {"a": ("a.csv: name the columns as below", TO_PASTE, "[weather.columns]", 'tmin = { column = "Low" }')}
    with pytest.raises(PanbudgetError) as caught:
        refuse_sites(SimpleNamespace(path="plan.toml", places=range(places), described=TABLELESS), bad)
    text = caught.value.text()
    assert ('tmin = { column = "Low" }' in text, "rename the headers in the file itself" in text) == (
        pasted,
        not pasted,
    )


@pytest.mark.parametrize(("count", "last"), [(20, "site 19"), (21, "and 1 more problems like these")])
def test_of_many_bad_sites_twenty_are_named(count, last):
    """All of three thousand were."""
    with pytest.raises(PanbudgetError) as caught:
        plan = SimpleNamespace(path="plan.toml", places=range(30), described=TABLELESS)
        refuse_sites(plan, {f"{n}": (f"{n}.csv",) for n in range(count)})
    lines = caught.value.text().replace("\xa0", " ").splitlines()
    assert len(lines) == min(count, 21) + 1 and lines[-2].startswith(f"plan.toml: {last}")


def test_files_that_are_not_there_stop_a_sweep_before_it_begins_each_by_name(gappy, tmp_path):
    table = (
        (gappy / "sites.csv").read_text(encoding="ascii").replace(",3.csv", ",none.csv").replace(",6.csv", ",no.csv")
    )
    (gappy / "absent.csv").write_text(table, encoding="ascii")
    text = (gappy / "plan.toml").read_text(encoding="utf-8").replace("sites.csv", "absent.csv")
    (gappy / "absent.toml").write_text(text, encoding="utf-8")
    with pytest.raises(PanbudgetError) as caught:
        panbudget.sweep(gappy / "absent.toml", tmp_path / "out")
    lines = caught.value.text().splitlines()
    assert [line.partition(": site site ")[2][:2] for line in lines[:2]] == ["03", "06"]
    assert len(lines) == 3
    assert not (tmp_path / "out").exists()


def test_a_gap_costs_the_years_that_it_touches_and_not_the_site(ran):
    """A winter's gap costs nothing, a summer's its year; two windless days are filled and counted."""
    record = pd.read_csv(ran.folder / "sites.csv").set_index("site")
    assert list(record.index) == [f"site {n:02d}" for n in range(_SITES)]
    assert record["years_run"].tolist()[:7] == ["2020 2021"] * 4 + ["2020"] * 2 + ["2020 2021"]
    assert record["years_skipped"].dropna().tolist() == [2021] * 2
    assert record["why"].iloc[4].startswith("2021: ")
    assert "2021-05-08" in record["why"].iloc[4]
    assert record["filled"].dropna().tolist() == ["wind: monthly mean wind (2 d)"]
    assert record["run"].tolist() == [True] * 7 + [False] * 2
    assert "7.csv" in record["why"].iloc[7]
    years = ran.table(["site", "year"]).groupby("site", observed=True)["year"].apply(list)
    assert years["site 05"] == [2020]
    assert years["site 03"] == [2020, 2021]
    content = json.loads((ran.folder / "sweep.json").read_text(encoding="utf-8"))
    assert set(content["years_skipped"]) == {"site 04", "site 05"}
    assert ran.record.shape == (_SITES, len(record.columns) + 1)
    log = (ran.folder / "sweep.log").read_text(encoding="utf-8")
    assert "site 04 runs without 2021: " in log


def test_what_is_unlikely_of_a_site_s_weather_is_told_once_a_kind_and_kept(gappy, tmp_path, monkeypatch, capsys):
    """Winds in km/h that say m/s at two sites, one of which lacks two days of it; kept weather tells the same."""
    monkeypatch.setenv("PANBUDGET_CACHE", str(tmp_path / "cache"))
    for name in ("0", "1", "6"):
        text = (gappy / f"{name}.csv").read_text(encoding="ascii")
        fast = re.sub(r"(?m)^(\d.*?,(?:[^,]*,){4})([^,]+),", lambda m: f"{m[1]}{3.6 * float(m[2]):.1f},", text)
        (tmp_path / f"{name}.csv").write_text(text if name == "1" else fast.replace(",wind", ",wind [m/s]"), "ascii")
    for name in ("plan.toml", "garden.toml"):
        (tmp_path / name).write_bytes((gappy / name).read_bytes())
    rows = (gappy / "sites.csv").read_text(encoding="ascii").splitlines()
    (tmp_path / "sites.csv").write_text("\n".join(rows[at] for at in (0, 1, 2, 7)) + "\n", encoding="ascii")
    outs = [tmp_path / "read", tmp_path / "kept"]
    for out in outs:
        code, screen, err = run(capsys, "sweep", tmp_path / "plan.toml", "--out", out)
        assert code == 0, err
        (line,) = [line for line in screen.replace("\xa0", " ").splitlines() if "looks like km/h" in line]
        assert line.startswith("  2 sites: site 00, site 06; at site 00, wind reaches ")
    assert contents(outs[0]) == contents(outs[1])
    cautions = pd.read_csv(outs[0] / "sites.csv", index_col="site")["cautions"]
    assert cautions.fillna("").str.count("looks like km/h").tolist() == [1, 0, 1]
    told = json.loads((outs[0] / "sweep.json").read_text(encoding="utf-8"))["cautions"]
    assert {site: list(kinds) for site, kinds in told.items()} == {"site 00": ["wind-unit"], "site 06": ["wind-unit"]}


def test_years_that_share_their_days_are_one_run_whatever_is_unlikely_in_each():
    """Each year's own caution made a weather of its own, whose days were kept and whose ETo was computed once a year."""
    days = pd.DataFrame({"wind": [7.0, 8.0]})
    at_first, later = (Caution("wind-unit", text, (), brief=text) for text in ("wind reaches 7", "wind reaches 8"))
    own = [Weather(days, days, cautions=cautions) for cautions in ((), (at_first,), (later,))]
    ones = _one_a_run({2020: own[0], 2021: own[1], 2022: own[2], 2023: Weather(days.copy(), days)})
    assert ones[2020] is ones[2021] is ones[2022] is not ones[2023]
    assert (ones[2020].cautions, ones[2023].cautions) == ((at_first,), ())


def test_fallbacks_lend_in_sweeps_from_any_folder(gappy, tmp_path, monkeypatch, capsys):
    """The site that lacks a week of May borrows it; asked for with --limit, so that it stands first."""
    folder = tmp_path / "lent"
    folder.mkdir()
    for name in ("5.csv", "0.csv"):
        (folder / name).write_bytes((gappy / name).read_bytes())
    borrowing = 'file = "none.csv"\n[[weather.fallback]]\nfile = "0.csv"\nrain = true\n'
    (folder / "garden.toml").write_text(_ONE_BED.replace('file = "none.csv"', borrowing), encoding="utf-8")
    rows = "name,latitude,longitude,elevation,weather\nfirst,38.2,-7,100,5.csv\nsecond,38.2,-7,100,gone.csv\n"
    (folder / "sites.csv").write_text(rows, encoding="ascii")
    (folder / "plan.toml").write_text((gappy / "plan.toml").read_text(encoding="utf-8"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, "sweep", "lent/plan.toml", "--limit", 1, "--out", "out", "--processes", 1)
    assert code == 0, err
    assert out.replace("\u00a0", " ").startswith("2 seasons at 1 site: 2 rows")
    record = pd.read_csv("out/sites.csv").iloc[0]
    assert "rain: borrowed from 0.csv (7 d)" in record["filled"]
    assert "tmin: borrowed from 0.csv (7 d)" in record["filled"]


def test_every_column_is_described_where_it_stands_and_in_a_table(ran):
    schema = pq.read_schema(ran.parquet / "part-000000.parquet")
    assert schema.field("litres").metadata == {b"unit": b"L", b"description": b"water given to the bed by its emitters"}
    assert all(field.metadata[b"description"] for field in schema)
    assert schema.metadata[b"crs"] == b"EPSG:4326"
    assert str(schema.field("start").type) == "date32[day]"
    dictionary = pd.read_csv(ran.folder / "columns.csv")
    assert dictionary["meaning"].notna().all()
    for file in ("summary.csv", "suits.csv", "sites.csv"):
        header = pd.read_csv(ran.folder / file, nrows=0).columns
        assert dictionary.loc[dictionary["file"] == file, "column"].tolist() == list(header)
    assert dictionary.loc[dictionary["file"] == "seasons", "column"].tolist() == schema.names
    assert described("driest_adequacy")[0] == "1"
    table = ran.table()
    assert table["start"].dtype.kind == "M"
    assert table.attrs["units"]["irrigation_mm"] == "mm"


def test_sites_are_points_of_geoparquet(ran):
    """GeoParquet 1.1: the file's metadata; OGC 06-103r4: byte order 1, type 1, x, y."""
    table = pq.read_table(ran.folder / "suits.parquet")
    geo = json.loads(table.schema.metadata[b"geo"])
    about = geo["columns"][geo["primary_column"]]
    assert (geo["version"], about["encoding"], about["geometry_types"]) == ("1.1.0", "WKB", ["Point"])
    assert about["crs"]["id"] == {"authority": "EPSG", "code": 4326}
    assert about["bbox"] == pytest.approx([-7.06, 38.2, -7.0, 38.26])
    assert struct.unpack("<BIdd", table["geometry"][1].as_py()) == pytest.approx((1, 1, -7.01, 38.21))
    assert ran.suits["litres_nine_in_ten"].isna().all()  # of two years
    assert ran.suits["judged_by"].iloc[0] == "highest of 2"


@pytest.mark.parametrize("at_once", [cube._AT_ONCE, 1.0])
def test_zarr_and_netcdf_hold_the_dataset_along_axes_by_the_cf_conventions(ran, at_once, monkeypatch):
    """The same numbers as the rows; written in one go, or column by column where memory is short."""
    monkeypatch.setattr(cube, "_AT_ONCE", at_once)
    monkeypatch.setattr(cube, "COLUMNS", ("year", "litres", "eto_mm"))
    rows = ran.table(["site", "year", "litres"]).set_index(["site", "year"])["litres"]
    with xr.open_dataset(ran.written("netcdf")) as netcdf:
        assert netcdf.attrs["featureType"] == "timeSeries"
        assert netcdf["litres"].attrs["units"] == "L"
    data = xr.open_zarr(ran.written("zarr"), consolidated=False)
    assert data.attrs["Conventions"] == "CF-1.11"
    assert data["crs"].attrs["epsg_code"] == "EPSG:4326"
    assert data["litres"].attrs["grid_mapping"] == "crs"
    assert data["litres"].dims == ("design", "bed", "time", "site")
    assert {"latitude", "longitude", "elevation"} <= set(data.coords)
    assert data["time"].to_numpy().astype("datetime64[D]").astype(str).tolist() == ["2020-05-01", "2021-05-01"]
    assert data["time_bounds"].to_numpy()[0, 1].astype("datetime64[D]").astype(str) == "2020-05-21"
    cells = data["litres"].isel(design=0, bed=0).to_pandas()
    assert cells.loc["2021-05-01"].isna().sum() == 2
    assert cells.loc["2020-05-01", "site 03"] == rows[("site 03", 2020)]


def test_a_grids_sites_lie_on_latitude_and_longitude(ran, tmp_path):
    """Four sites on a cross of the grid leave the others empty."""
    table = ran.table().astype(dict.fromkeys(("site", "design", "controller", "bed"), str))
    table = table[table["year"] == 2020].head(4).reset_index(drop=True)
    table["latitude"], table["longitude"] = [38.0, 38.5, 38.5, 39.0], [-7.0, -7.5, -7.0, -7.0]
    table.to_parquet(tmp_path / "part-000000.parquet")
    path = cube.write_cube([tmp_path / "part-000000.parquet"], tmp_path / "s.zarr", "zarr", "x", gridded=True)
    data = xr.open_zarr(path, consolidated=False)["litres"].isel(design=0, bed=0, time=0)
    assert data.dims == ("latitude", "longitude")
    assert np.isfinite(data.to_numpy()).tolist() == [[False, True], [True, True], [False, True]]
    assert float(data.sel(latitude=38.5, longitude=-7.5)) == table["litres"][1]


def test_maps_and_other_files_are_asked_for_by_name(ran, gappy, capsys):
    before = contents(ran.folder)
    asked = ("sweep", gappy / "plan.toml", "--out", ran.folder, "--keep-going")
    code, _, err = run(capsys, *asked, "--map", "stres_days", "--to", "shapefile", "--quantile", 1)
    assert code == 2
    assert '--map = "stres_days" is no column of numbers in the dataset' in err
    assert 'did you mean "stress_days"?' in err
    assert 'to = "shapefile" is nothing that a sweep writes; expected: zarr or netcdf' in err
    assert "--quantile = 1.0 is no share of years" in err
    code, _, err = run(capsys, *asked, "--quantile", 0.5)
    assert code == 2 and "--quantile = 0.5 is for maps, and none is drawn" in err
    code, _, err = run(capsys, *asked, "--map", "stress_days", "--quantile", 0.5)
    assert code == 0, err
    made = set(contents(ran.folder)) - set(before)
    assert made == {"figures/map-stress_days-0.5.png", "figures/map-stress_days-0.5.svg"}
