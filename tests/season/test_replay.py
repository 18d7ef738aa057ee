"""A replay's totals: they add up, they close, and a real summer goes through."""

from __future__ import annotations

import copy
import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from panbudget import replay, scenario_from
from panbudget.errors import ClosureError, ScenarioError
from panbudget.season.totals import checked_balance
from tests.small_weather import weather_csv


@pytest.fixture
def season(make_garden):
    return replay(make_garden(days=40, weather=weather_csv(40, rain=[0.0] * 20 + [30.0] + [0.0] * 19)))


def test_daily_tables_add_up_to_the_totals(season):
    for key, table in season.beds.items():
        totals = season.totals["beds"][key]
        for column in ("litres", "irrigation_mm", "etc_mm", "eta_mm", "deep_percolation_mm", "net_demand_mm"):
            assert table[column].sum() == pytest.approx(totals[column], rel=1e-12), (key, column)
        assert totals["litres"] == pytest.approx(totals["irrigation_mm"] * totals["area_m2"], rel=1e-12)
        assert totals["stress_days"] == ((table["ks"] < 1.0) & table["growing"]).sum()
    for name, table in season.controllers.items():
        totals = season.totals["controllers"][name]
        for column in ("openings", "open_hours", "evaporated_kg", "refilled_kg", "spilled_kg"):
            assert table[column].sum() == pytest.approx(totals[column], rel=1e-12)
        listed = season.openings[season.openings["controller"] == name]
        assert listed["minutes"].sum() / 60.0 == pytest.approx(totals["open_hours"], rel=1e-9)
        assert listed["refilled_kg"].sum() == pytest.approx(totals["refilled_kg"], rel=1e-9)


def test_pan_and_buckets_close_as_a_reader_would_add_them_up(season):
    """From the daily tables alone, without the engine's help."""
    pan = season.controllers["upper"]
    totals = season.totals["controllers"]["upper"]
    left = (
        totals["pan_start_kg"]
        + (pan["rain_caught_kg"] + pan["refilled_kg"] - pan["evaporated_kg"] - pan["spilled_kg"]).sum()
    )
    assert left == pytest.approx(totals["pan_end_kg"], rel=1e-9)
    for key, table in season.beds.items():
        bed = season.totals["beds"][key]
        for lane, prefix in ((bed, ""), (bed["driest_quarter"], "driest_")):
            gained = (table["rain_mm"] - table["runoff_mm"] + table[f"{prefix}irrigation_mm"]).sum()
            lost = (table[f"{prefix}eta_mm"] + table[f"{prefix}deep_percolation_mm"]).sum()
            assert lane["depletion_start_mm"] - gained + lost == pytest.approx(lane["depletion_end_mm"], abs=1e-8)


def test_water_left_is_what_the_morning_has_to_raw(make_garden):
    """Above nothing on days with Ks = 1, below it on days short of water: a garden of too few emitters has both."""
    short = set()
    few = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 12}}}}}}
    for table in replay(make_garden(few, days=40)).beds.values():
        for lane in ("", "driest_"):
            left, ks = table[f"{lane}water_left_mm"], table[f"{lane}ks"]
            assert left.to_numpy() == pytest.approx(
                (table["raw_mm"] - table[f"{lane}morning_depletion_mm"]).to_numpy(), abs=1e-9
            )
            assert ((left < 0.0) == (ks < 1.0)).all()
            short |= {*(ks < 1.0)}
    assert short == {True, False}


def test_a_balance_that_does_not_close_is_no_season():
    assert checked_balance("here", 1e-8, passed=100.0) == 1e-8
    with pytest.raises(ClosureError, match="here: the water balance is off by"):
        checked_balance("here", 1e-6, passed=100.0)
    with pytest.raises(ClosureError):
        checked_balance("here", math.nan, passed=100.0)


def test_the_longest_gap_counts_both_ends(make_garden):
    """Weather without evaporation until day 11: no opening for ten days and more."""
    season = replay(make_garden(weather=weather_csv(20, pan=[0.0] * 10 + [8.0] * 10)))
    first = season.openings["start_h"].iloc[0] / 24.0
    assert first > 10.0
    assert season.totals["controllers"]["upper"]["longest_gap_days"] == pytest.approx(first)


def test_the_peak_rate_is_that_of_valves_open_together(make_garden):
    """Two equal controllers under one sky open at the same moments: both flows at once."""
    garden = make_garden(days=10)
    twin = garden.model_dump(mode="python")  # only to see that the first stands alone
    assert list(twin["controller"]) == ["upper"]
    single = replay(garden).totals["supplies"]["spring"]["peak_rate_l_per_h"]
    raw = dict(garden.described)
    raw["controller"] = {"upper": raw["controller"]["upper"], "lower": raw["controller"]["upper"]}
    both = replay(scenario_from(raw, garden.path))
    assert both.totals["supplies"]["spring"]["peak_rate_l_per_h"] == pytest.approx(2 * single, rel=1e-12)
    assert both.totals["supplies"]["spring"]["litres"] == pytest.approx(
        2 * both.totals["controllers"]["upper"]["litres"], rel=1e-12
    )


def test_a_real_summer_without_humidity_and_radiation(tmp_path):
    """Seattle 2012, NOAA daily record in the package vega_datasets (MIT; data public domain): estimates carry it."""
    data = pytest.importorskip("vega_datasets").data
    weather = data.seattle_weather().rename(columns={"precipitation": "rain", "temp_max": "tmax", "temp_min": "tmin"})
    weather[["date", "tmin", "tmax", "wind", "rain"]].to_csv(tmp_path / "weather.csv", index=False)
    emitter = {"flow": "2 L/h"}
    bed = {"area": "10 m^2", "emitters": {"count": 30, **emitter}, "soil": "loam", "plants": "lawn"}
    garden = scenario_from(
        {
            "site": {"latitude": 47.45, "elevation": "130 m"},
            "weather": {"file": "weather.csv", "wind_height": "10 m"},
            "season": {"start": "2012-05-01", "end": "2012-09-30"},
            "supply": {"tap": {"kind": "mains", "pressure": "150 kPa"}},
            "controller": {
                "yard": {
                    "supply": "tap",
                    "pan": {"vessels": [{"diameter": "50 cm"}], "depth": "18 cm"},
                    "valve": {"swing": "0.9 kg", "refill": emitter},
                    "bed": {"lawn": bed},
                }
            },
        },
        tmp_path / "garden.toml",
    )
    season = replay(garden)
    filled = season.totals["weather"]["filled"]
    assert filled["radiation"] == {"radiation from temperature range": 153}
    assert filled["vapour_pressure"] == {"dew point from tmin": 153}
    cautions = {f.message.split(":")[0] for f in season.findings if f.code == "filled" and f.severity == "caution"}
    assert {"radiation", "vapour_pressure"} <= cautions
    # a summer of the maritime north-west: 3 to 4.5 mm a day (common practice, no source)
    assert 3.0 < season.totals["weather"]["eto_mm"] / 153 < 4.5
    assert season.totals["weather"]["rain_mm"] == pytest.approx(
        weather.set_index("date").loc["2012-05-01":"2012-09-30", "rain"].sum()
    )
    assert season.totals["controllers"]["yard"]["openings"] > 60


def test_pieces_of_a_record_are_the_record(make_garden):
    """ETo of a day does not hang on what other days are asked for."""
    garden = make_garden(days=30)
    whole = replay(garden)
    part = replay(garden, start=pd.Timestamp("2025-05-11").date(), end=pd.Timestamp("2025-05-20").date())
    assert np.array_equal(part.days["eto_mm"], whole.days["eto_mm"].iloc[10:20])


TIMER = {"days": ["mon", "thu"], "duration": "30 min"}


def test_a_present_timer_runs_beside_the_pan(make_garden):
    """2 L/h·√1.5 from 30 emitters for half an hour, twice a week: worked by hand."""
    season = replay(make_garden({"controller": {"upper": {"timer": TIMER}}}, days=28))
    bed = season.totals["beds"]["upper/tomatoes"]
    emitters = season.scenario.controller["upper"].bed["tomatoes"].emitters
    flow = season.forcing.pan_of["upper"].bed_flows["tomatoes"]
    assert flow > emitters.count
    assert bed["timer"]["litres"] == pytest.approx(8 * 0.5 * flow)
    waters = season.beds["upper/tomatoes"]["timer_irrigation_mm"]
    assert {day.day_name() for day in waters.index[waters > 0]} == {"Monday", "Thursday"}
    weekly = {"days": ["mon", "thu"], "litres_a_week": "100 L"}
    by_litres = replay(make_garden({"controller": {"upper": {"timer": weekly}}}, days=28))
    assert by_litres.totals["beds"]["upper/tomatoes"]["timer"]["litres"] == pytest.approx(400.0)


def test_soils_can_be_stepped_through_the_days_before(make_garden):
    """Thirty rainless days before: the bed starts thirsty, and as a run on rain alone leaves it."""
    garden = make_garden(days=60)
    start = dt.date(2025, 5, 31)
    dry = replay(garden.changed({"season": {"start": start, "spin_up": "30 d"}}))
    wet = replay(garden.changed({"season": {"start": start}}))
    assert wet.totals["beds"]["upper/tomatoes"]["depletion_start_mm"] == 0.0
    before = dry.totals["beds"]["upper/tomatoes"]["depletion_start_mm"]
    assert before > 20.0
    unwatered = garden.changed(
        {
            "season": {"end": dt.date(2025, 5, 30)},
            "controller": {"upper": {"valve": {"swing": "20 kg"}, "pan": {"exposure": 0.1}}},
        }
    )
    alone = replay(unwatered)
    assert alone.totals["controllers"]["upper"]["openings"] == 0
    assert before == pytest.approx(alone.totals["beds"]["upper/tomatoes"]["depletion_end_mm"])
    with pytest.raises(ScenarioError, match="spin_up = 60 days needs weather from 2025-04-01"):
        replay(garden.changed({"season": {"start": start, "spin_up": "60 d"}}))


def test_salty_water_asks_for_more_than_the_plants_do(make_garden):
    """FAO-29 (1985) eq. 9, from memory: ECw 1.0, ECe 2.5 dS/m: LR = 1/11.5."""
    salty = {"controller": {"upper": {"bed": {"tomatoes": {"leaching": {"water": "1 dS/m", "threshold": "2.5 dS/m"}}}}}}
    bed = replay(make_garden(salty, days=60)).totals["beds"]["upper/tomatoes"]
    plain = replay(make_garden(days=60)).totals["beds"]["upper/tomatoes"]
    assert bed["leaching_mm"] == pytest.approx(bed["net_demand_mm"] / 10.5)
    assert bed["net_demand_mm"] == plain["net_demand_mm"]
    assert plain["leaching_mm"] == 0.0
    assert bed["supply_over_demand"] < plain["supply_over_demand"]


def test_yield_falls_with_the_water(make_garden):
    """FAO-33 (1979): 1 − Ya/Ym = Ky (1 − ETa/ETc); tomato's Ky 1.05 (from memory)."""
    bed = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 4}}}}}}
    (one,) = replay(make_garden(bed, days=90)).totals["beds"]["upper/tomatoes"]["yield"]
    assert one["plants"] == "tomato"
    assert one["eta_over_etc"] < 0.8
    assert one["share_of_full_yield"] == pytest.approx(1 - 1.05 * (1 - one["eta_over_etc"]))


def test_shallow_roots_after_deep_ones_leave_their_depletion_below(make_garden):
    """Two plantings in turn without water: the second's root zone starts at its own TAW at most, and the bed closes."""
    beans = {"plants": {"name": "tomato", "stages": [5, 5, 10, 5]}, "planted": dt.date(2025, 5, 1)}
    salad = {"plants": {"name": "lettuce", "stages": [5, 5, 10, 5]}, "planted": dt.date(2025, 5, 30)}
    garden = make_garden(days=60)
    raw = copy.deepcopy(dict(garden.described))
    bed = raw["controller"]["upper"]["bed"]["tomatoes"]
    del bed["plants"], bed["planted"]
    bed |= {"plantings": [beans, salad], "emitters": {"count": 1, "flow": "0.1 L/h"}}
    season = replay(scenario_from(raw, garden.path))
    table = season.beds["upper/tomatoes"]
    assert season.totals["beds"]["upper/tomatoes"]["left_below_mm"] > 10.0
    assert (table["depletion_mm"] <= table["taw_mm"] + 1e-9).all()


def test_no_water_leaches_what_is_too_salty_for_the_plants(make_garden):
    """FAO-29 eq. 9: of 6 dS/m under plants that bear 1, all would have to drain; how much that is can't be told."""
    salty = {"leaching": {"water": "6 dS/m", "threshold": "1 dS/m"}}
    season = replay(make_garden({"controller": {"upper": {"bed": {"tomatoes": salty}}}}, days=10))
    found = season.totals["beds"]["upper/tomatoes"]
    assert sum("too salty for these plants" in text for text in season.assumptions) == 1
    assert found["leaching_mm"] is None
    assert found["supply_over_demand"] == pytest.approx(found["irrigation_growing_mm"] / found["net_demand_mm"])
