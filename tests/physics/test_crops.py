"""Crop coefficients against FAO-56 (1998), chapters 6 and 7: Examples 27, 29, 30, 32 to 34, Box 15, Figure 36."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from panbudget.physics import crops as plants
from panbudget.tables.plants import find_plant
from tests.published import case

DRY_BEAN = dataclasses.replace(find_plant("dry bean"), stages=(25, 25, 30, 20), kc_ini=0.15, kc_mid=1.15, kc_end=0.35)
KIMBERLY = {"wind": 2.2, "rh_min": 30.0}


def season(plant, days=120, first="2025-05-01", planted="2025-05-01", wind=2.2, rh_min=30.0, basal=False):
    dates = np.datetime64(first, "D") + np.arange(days)
    return plants.kc_curve(
        dates,
        np.datetime64(planted, "D"),
        plant,
        wind=np.full(days, wind),
        rh_min=np.full(days, rh_min),
        basal=basal,
    )


@pytest.mark.parametrize("name", ["ex27_taipei", "ex27_mocha", "box15_dry_bean_kimberly"])
def test_kc_mid_follows_the_climate(name):
    """FAO-56 (1998), Example 27 (maize in Taipei and Mocha) and Box 15 (dry bean at Kimberly)."""
    row = case("kc_examples.csv", name)
    got = plants.climate_adjusted_kc(
        row["kc_mid_table"].number, wind=row["u2"].number, rh_min=row["rh_min"].number, height=row["h"].number
    )
    assert got == pytest.approx(row["kc_mid"].number, abs=row["kc_mid"].tolerance)


def test_kcb_mid_follows_the_climate_and_a_small_kcb_end_does_not():
    """FAO-56 (1998), Example 29: Kcb mid 1.10 becomes 1.14; Kcb end 0.25, below 0.45, stands."""
    curve = season(DRY_BEAN, basal=True)
    row = case("kc_examples.csv", "ex29_dry_bean")
    assert curve.mid_kc == pytest.approx(row["kcb_mid"].number, abs=row["kcb_mid"].tolerance)
    assert curve.end_kc == row["kcb_end"].number


def test_the_curve_is_that_of_figure_36():
    """
    FAO-56 (1998), Box 15 and Figure 36: mean Kc of dry bean by decade, stages 25/25/30/20 days.

    The paper averages the drawn line, which passes through eq. 66's value of day i at that day's end.
    """
    curve = season(DRY_BEAN)
    line = np.concatenate([[DRY_BEAN.kc_ini], curve.kc])
    mid_days = (line[1:] + line[:-1]) / 2.0
    for name, row in case("kc_examples.csv", "fig36_dry_bean_decades").items():
        decade = int(name.removeprefix("kc_decade"))
        mean = mid_days[10 * (decade - 1) : 10 * decade].mean()
        assert mean == pytest.approx(row.number, abs=row.tolerance), name


def test_the_basal_curve_is_that_of_example_30():
    """FAO-56 (1998), Example 30: Kcb on days 12, 37, 65 and 90, from the 1.14 that Example 29 rounds to."""
    rounded = dataclasses.replace(DRY_BEAN, kcb_mid=1.14)
    curve = season(rounded, basal=True, wind=2.0, rh_min=45.0)  # the standard climate: nothing is adjusted
    for name, row in case("kc_examples.csv", "ex30_kcb_dry_bean").items():
        day = int(name.removeprefix("kcb_day"))
        assert curve.kc[day - 1] == pytest.approx(row.number, abs=row.tolerance), name


def test_day_one_is_the_day_of_planting_and_after_the_last_stage_nothing_grows():
    curve = season(DRY_BEAN, first="2025-04-30", days=103)
    assert curve.growing.tolist() == [False] + [True] * 100 + [False] * 2
    assert [int((curve.stage == s).sum()) for s in range(5)] == [3, 25, 25, 30, 20]
    assert curve.kc[0] == curve.kc[-1] == DRY_BEAN.kc_ini
    assert season(DRY_BEAN, first="2025-04-30", days=103, basal=True).kc[[0, -1]].tolist() == [0.0, 0.0]
    assert curve.kc[100] == pytest.approx(curve.end_kc)


def test_roots_of_an_annual_grow_straight_to_mid_season_and_stay():
    curve = season(DRY_BEAN)
    assert curve.root_depth[0] == pytest.approx(0.2 + 0.4 / 50)
    assert curve.root_depth[24] == pytest.approx(0.4)
    assert curve.root_depth[49:].tolist() == pytest.approx([0.6] * 71)
    assert np.ptp(season(find_plant("mint")).root_depth) == 0.0


def test_a_stage_without_weather_is_said():
    """A tomato planted a week before the record's end has no mid season in it."""
    curve = season(find_plant("tomato"), days=30, planted="2025-05-24")
    assert [text for text in curve.assumptions if "none of the 45 days of tomato's mid stage" in text]
    half = season(find_plant("tomato"), days=80)
    assert [text for text in half.assumptions if "only 10 of the 45 days" in text]
    assert season(find_plant("tomato"), days=200).assumptions == ()


def test_a_climate_outside_the_equation_is_bounded_and_said():
    curve = season(find_plant("tomato"), days=200, wind=0.4, rh_min=12.0)
    assert curve.mid_kc == season(find_plant("tomato"), days=200, wind=1.0, rh_min=20.0).mid_kc
    assert len(curve.assumptions) == 4  # wind and humidity, mid and late


def test_stages_of_no_days_leave_no_hole():
    plant = dataclasses.replace(DRY_BEAN, stages=(0, 0, 10, 0))
    curve = season(plant, days=12)
    assert curve.kc[:10].tolist() == pytest.approx([curve.mid_kc] * 10)
    assert curve.growing.sum() == 10


def test_twelve_plant_factors_follow_the_months():
    dates = np.arange("2024-01-15", "2025-01-15", dtype="datetime64[D]")
    curve = plants.landscape_curve(dates, tuple(m / 20 for m in range(1, 13)), 0.5)
    months = dates.astype("datetime64[M]").astype(int) % 12 + 1
    assert curve.kc.tolist() == pytest.approx((months / 20).tolist())
    assert set(plants.landscape_curve(dates, (0.3,), 0.5).kc) == {0.3}


@pytest.mark.parametrize(("end", "is_adjusted"), [(0.44, False), (0.45, True)])
def test_kc_end_is_adjusted_from_045(end, is_adjusted):
    """FAO-56 (1998), eq. 65: below 0.45, Kc end stands as tabled."""
    plant = dataclasses.replace(DRY_BEAN, kc_end=end)
    assert (season(plant, wind=4.0).end_kc != end) == is_adjusted


def test_seedlings_are_five_centimetres_high():
    """Common practice, no source."""
    curve = season(DRY_BEAN, first="2025-04-30")
    assert curve.height[:26].tolist() == [0.05] * 26
    assert curve.height[60] == DRY_BEAN.height


def test_cover_ends_at_099_and_begins_at_kc_min():
    """FAO-56 (1998), eq. 76: limited to 0.99; Kcb below Kc min counts as 0.01 above it."""
    assert plants.covered_fraction(1.2, 1.2, height=0.0) == 0.99
    assert plants.covered_fraction(0.1, 1.15, height=0.0) == pytest.approx(0.01)
    assert plants.kc_max(1.18, wind=2.0, rh_min=45.0, height=0.3) == pytest.approx(1.23)
    assert plants.kc_max(0.5, wind=2.0, rh_min=45.0, height=0.3) == pytest.approx(1.2)


@pytest.mark.parametrize(
    ("beyond", "at"),
    [
        ({"wind": 0.9}, {"wind": 1.0}),
        ({"wind": 6.1}, {"wind": 6.0}),
        ({"rh_min": 19.0}, {"rh_min": 20.0}),
        ({"rh_min": 81.0}, {"rh_min": 80.0}),
        ({"height": 0.05}, {"height": 0.1}),
        ({"height": 12.0}, {"height": 10.0}),
    ],
)
def test_the_climate_term_is_bounded_as_published(beyond, at):
    """FAO-56 (1998), eq. 62: 1 to 6 m/s, 20 to 80 %, 0.1 to 10 m."""
    usual = {"wind": 4.0, "rh_min": 30.0, "height": 1.0}
    inside = {key: value * (1.001 if value < usual[key] else 0.999) for key, value in at.items()}
    bounded, there, near = (plants.climate_adjusted_kc(1.0, **{**usual, **part}) for part in (beyond, at, inside))
    assert bounded == there != near


def test_the_climate_term_is_eq_62_digit_by_digit():
    """FAO-56 (1998), eq. 62, by hand: 2 m/s over and 15 % under the standard, at a tenth of 3 m and at 3 m."""
    at_a_tenth = plants.climate_adjusted_kc(1.0, wind=4.0, rh_min=45.0, height=0.3)
    assert at_a_tenth == pytest.approx(1.0 + 0.08 * 0.501187234, abs=1e-9)  # 0.1 ** 0.3
    assert plants.climate_adjusted_kc(1.0, wind=2.0, rh_min=30.0, height=3.0) == pytest.approx(1.06)
    assert plants.kc_max(0.5, wind=4.0, rh_min=30.0, height=3.0) == pytest.approx(1.34)


@pytest.mark.parametrize(("height", "covered"), [(0.0, 0.25), (1.0, 0.125), (2.0, 0.0625)])
def test_cover_is_eq_76_by_hand(height, covered):
    """FAO-56 (1998), eq. 76: (0.50 − 0.15)/(1.55 − 0.15) = 1/4, to the power 1 + h/2."""
    assert plants.covered_fraction(0.5, 1.55, height=height) == pytest.approx(covered)


@pytest.mark.parametrize(("wind", "rh_min"), [(1.0, 20.0), (6.0, 80.0)])
def test_a_climate_at_the_bounds_of_the_equation_is_taken_as_it_is(wind, rh_min):
    """FAO-56 (1998), eq. 62: 1 to 6 m/s and 20 to 80 %, the bounds included."""
    assert season(find_plant("tomato"), days=200, wind=wind, rh_min=rh_min).assumptions == ()


def test_a_late_stage_of_one_day_is_its_end_and_a_long_one_starts_with_a_small_step():
    """FAO-56 (1998), eq. 66: on day 1 of a late stage of n days, an n-th of the way from Kc mid to Kc end."""
    short = season(dataclasses.replace(DRY_BEAN, stages=(5, 5, 5, 1)), days=20)
    assert short.kc[15] == pytest.approx(short.end_kc)
    long = season(dataclasses.replace(DRY_BEAN, stages=(5, 5, 5, 200)), days=220)
    assert long.kc[14] == pytest.approx(long.mid_kc)
    assert long.kc[15] == pytest.approx(long.mid_kc + (long.end_kc - long.mid_kc) / 200)


def test_roots_are_a_seeds_before_planting_and_whole_where_growth_takes_a_day():
    plant = dataclasses.replace(DRY_BEAN, stages=(1, 0, 10, 5))
    assert season(plant, first="2025-04-29", days=5).root_depth.tolist() == [0.2, 0.2, 0.6, 0.6, 0.6]


def test_a_curve_is_of_kc_unless_the_basal_one_is_asked_for():
    dates = np.datetime64("2025-05-01", "D") + np.arange(30)
    usual = plants.kc_curve(dates, dates[0], DRY_BEAN, wind=np.full(30, 2.0), rh_min=np.full(30, 45.0))
    assert usual.kc[0] == DRY_BEAN.kc_ini
    assert usual.mid_kc == DRY_BEAN.kc_mid != DRY_BEAN.kcb_mid


def test_an_ornamental_bed_stands_half_a_metre_high_in_mid_season_and_peaks_at_its_greatest_factor():
    """Half a metre: our choice, no source."""
    dates = np.datetime64("2025-05-01", "D") + np.arange(2)
    for curve in (plants.landscape_curve(dates, (0.2, 0.7) * 6, 0.4), plants.constant_curve(dates, 0.7, 0.4)):
        assert (curve.height.tolist(), curve.root_depth.tolist(), curve.stage.tolist()) == (
            [0.5] * 2,
            [0.4] * 2,
            [3, 3],
        )
        assert curve.mid_kc == curve.end_kc == 0.7
