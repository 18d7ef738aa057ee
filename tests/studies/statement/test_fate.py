"""Where the applied water went: nothing is lost on the way, and the rule is the one stated."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panbudget import load_scenario, replay
from panbudget.studies.statement.account import bed_fate, mixed, pan_fate
from tests.small_weather import weather_csv


@pytest.fixture(scope="module")
def season(request):
    return replay(load_scenario(request.config.rootpath / "scenarios" / "terraces.toml"))


def test_fates_add_up_to_what_season_json_says_was_applied(season):
    for key in season.beds:
        fate = bed_fate(season, key)
        totals = season.totals["beds"][key]
        assert fate.applied == totals["litres"]
        assert fate.consumed + fate.drained + fate.left == pytest.approx(fate.applied, rel=1e-9)
        assert min(fate.consumed, fate.drained, fate.left) >= 0.0
        # no more of it was used or drained than was used or drained in all
        assert fate.consumed <= totals["eta_mm"] * totals["area_m2"] * (1 + 1e-9)
        assert fate.drained <= totals["deep_percolation_mm"] * totals["area_m2"] * (1 + 1e-9)
    for controller in season.controllers:
        fate = pan_fate(season, controller)
        assert fate.applied == season.totals["controllers"][controller]["refilled_kg"]
        assert fate.consumed + fate.drained + fate.left == pytest.approx(fate.applied, rel=1e-9)


def test_two_days_worked_by_hand():
    """
    Day 1: 30 held, 10 of it applied; 6 used: 2 of it applied. 24 left, 8 applied.

    Day 2: 12 applied: 36 held, 20 applied; 9 used: 5; 18 drained: 10. 9 left, 5 applied.
    """
    used, drained, left = mixed(
        np.array([30.0, 36.0]), np.array([10.0, 12.0]), np.array([6.0, 9.0]), np.array([0.0, 18.0])
    )
    assert (used, drained, left) == pytest.approx((7.0, 10.0, 5.0))


def test_a_bed_is_followed_by_what_its_root_zone_holds_before_anything_leaves(make_garden):
    """The same two days as a bed's table: TAW 100 mm, so 24 and 9 mm held at their ends; 22 mm applied."""
    season = replay(make_garden(weather=weather_csv(2)))
    table = season.beds["upper/tomatoes"].assign(
        taw_mm=100.0,
        depletion_mm=[76.0, 91.0],
        irrigation_mm=[10.0, 12.0],
        eta_mm=[6.0, 9.0],
        deep_percolation_mm=[0.0, 18.0],
    )
    fate = bed_fate(dataclasses.replace(season, beds={"upper/tomatoes": table}), "upper/tomatoes")
    litres = season.totals["beds"]["upper/tomatoes"]["litres"]
    assert (fate.consumed, fate.drained, fate.left) == pytest.approx(
        (litres * 7 / 22, litres * 10 / 22, litres * 5 / 22)
    )


@given(
    st.lists(st.tuples(st.floats(0, 50), st.floats(0, 50), st.floats(0, 1), st.floats(0, 1)), min_size=1, max_size=40)
)
def test_whatever_comes_and_goes_applied_water_adds_up(days):
    """Rain, applied water, then shares of the store used and of the rest drained."""
    store, applied, used, drained, held = [], [], [], [], 5.0
    for rain, came, share, share_of_rest in days:
        held += rain + came
        store.append(held)
        applied.append(came)
        used.append(held * share)
        drained.append(held * (1 - share) * share_of_rest)
        held -= used[-1] + drained[-1]
    parts = mixed(*(np.array(v) for v in (store, applied, used, drained)))
    assert sum(parts) == pytest.approx(sum(applied), abs=1e-6)
    assert min(parts) >= -1e-9


def test_a_bed_without_water_has_no_fate(make_garden):
    season = replay(make_garden(weather=weather_csv(5, pan=0.0)))
    assert bed_fate(season, "upper/tomatoes").consumed == 0.0
    assert pan_fate(season, "upper").applied == 0.0


def test_what_leaks_from_a_pan_is_gone_like_what_spills(make_garden):
    """
    By hand: 10 kg in the pan and 10 refilled; 4 evaporate and 6 leak, half of each of the refilled water: 10 are left,
    5 of them refilled. Then 2 evaporate, 1 spills and 1 leaks: 3 of the refilled water are left.
    """
    season = replay(make_garden(weather=weather_csv(2)))
    figures = {"refilled_kg": [10.0, 0.0], "rain_caught_kg": 0.0, "evaporated_kg": [4.0, 2.0], "spilled_kg": [0.0, 1.0]}
    table = season.controllers["upper"].assign(**figures, leaked_kg=[6.0, 1.0])
    totals = {"controllers": {"upper": {"refilled_kg": 10.0, "pan_start_kg": 10.0}}}
    fate = pan_fate(dataclasses.replace(season, controllers={"upper": table}, totals=totals), "upper")
    assert tuple(fate) == pytest.approx((10.0, 3.0, 4.0, 3.0))
