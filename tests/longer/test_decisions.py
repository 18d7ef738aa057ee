"""Sizes over many settings and years, and sweeps through other doors: what takes seconds each."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

import panbudget
from panbudget.studies.size.sizing import size
from panbudget.studies.sweep.run import sweep
from tests.cli.test_tanks import tank_garden
from tests.cli.test_years import GAPPY
from tests.garden_file import write_garden, years_csv
from tests.studies.size.made_up import search_coarsely
from tests.studies.size.test_sizing import BED, KC, varied_weather
from tests.studies.sweep.district import contents, make_plan
from tests.studies.sweep.test_grid import dataset, grid_plan, own_cache, tables, weather  # noqa: F401 fixtures
from tests.studies.sweep.test_run import SMALL_PARTS
from tests.test_laws import nested


def test_size_says_that_the_tank_is_empty(tmp_path, monkeypatch):
    search_coarsely(monkeypatch, draws=2, grid=(5, 5), of_each=1)
    tub = {"name": "tub", "vessels": [{"diameter": "50 cm"}], "depth": "18 cm"}
    emitter = {"name": "drip", "flow": "2 L/h", "at": "100 kPa"}
    garden = panbudget.load_scenario(tank_garden(tmp_path)).changed({"owned": [tub, emitter]})
    assert "The tank is empty under the open valve" in panbudget.size(garden).sentences()[0]
    plenty = garden.changed({"supply": {"spring": {"volume": "90000 L", "footprint": "60 m^2"}}})
    assert "The tank is empty" not in panbudget.size(plenty).sentences()[0]


def test_unlike_beds_are_given_emitters_of_their_own(make_garden):
    plants = {"kc": 0.9, "root_depth": "40 cm", "depletion": 0.5}
    bed = {"area": "10 m^2", "soil": "loam", "plants": plants}
    emitters = {"flow": "2 L/h", "at": "100 kPa"}
    beds = {
        "few": {**bed, "emitters": {"count": 20, **emitters}},
        "many": {**bed, "emitters": {"count": 60, **emitters}},
    }
    garden = make_garden(weather=varied_weather())
    raw = dict(garden.described)
    raw["controller"]["upper"]["bed"] = beds
    from panbudget.scenario.garden import scenario_from

    valve = size(scenario_from(raw, garden.path)).valves["upper"]
    assert valve.ratios["many"] == pytest.approx(3 * valve.ratios["few"])
    layouts = {tuple(valve.emitters_of(each).values()) for each in valve.tried.settings}
    assert layouts == {(20, 60), (20, 20)} or layouts == {(20, 60), (60, 60)}
    few, many = valve.emitters_of(valve.best).values()
    assert few == many


def test_every_year_of_the_record_counts(make_garden, monkeypatch):
    """Twelve summers, one of them far hotter: nine years of ten leave that one out."""
    lines = ["date,tmin,tmax,rh_max,rh_min,wind,rain,radiation,pan_evaporation"]
    for n in range(12 * 366):
        day = dt.date(2010, 1, 1) + dt.timedelta(days=n)
        sun = 17.0 + 9.0 * np.cos(2 * np.pi * (day.timetuple().tm_yday - 172) / 365)
        lines.append(f"{day},14,30,80,35,2,0,{sun:.1f},{12 if day.year == 2015 else 7}")
    garden = make_garden(nested(BED, KC), weather="\n".join(lines) + "\n")
    summer = garden.changed({"season": {"start": dt.date(2015, 7, 1), "end": dt.date(2015, 7, 31)}})
    search_coarsely(monkeypatch, draws=2, of_each=1)
    sizing = size(summer)
    assert sizing.years == tuple(range(2010, 2022))
    assert not any("can't be told from so few" in text for text in sizing.assumptions)
    judged = sizing.valves["upper"].choice.judged
    # each of twelve summers with each of two draws: shares of them
    assert (judged.share * 24) % 1 == pytest.approx(0.0, abs=1e-9)
    assert (judged.wet_litres > judged.litres).all()


def test_size_away_and_setup_take_the_same_years(tmp_path, monkeypatch):
    garden = write_garden(tmp_path, years_csv(2021, 2025, hot=(2022,), **GAPPY))
    search_coarsely(monkeypatch, draws=2, of_each=1)
    tub = {"name": "tub", "vessels": [{"diameter": "50 cm"}], "depth": "18 cm"}
    emitter = {"name": "drip", "flow": "2 L/h", "at": "100 kPa"}
    owned = panbudget.load_scenario(garden).changed({"owned": [tub, emitter]})
    assert panbudget.size(owned).years == (2021, 2022, 2024)
    assert panbudget.setup(garden).years == (2021, 2022, 2024)
    away = panbudget.away(garden, pd.Timestamp("2021-07-15").date(), pd.Timestamp("2021-07-20").date())
    assert [stay.start.year for stay in away.stays] == [2021, 2022, 2024]
    assert any("2023 is left out" in text for text in away.assumptions)


def test_a_zarr_folder_gives_the_same_as_the_netcdf_file(tmp_path, tables):  # noqa: F811
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


def test_two_processes_write_the_same_bytes_as_one(tmp_path):
    plan = make_plan(tmp_path, more=SMALL_PARTS)
    sweep(plan, tmp_path / "one", processes=1)
    sweep(plan, tmp_path / "two", processes=2)
    assert contents(tmp_path / "two") == contents(tmp_path / "one")
