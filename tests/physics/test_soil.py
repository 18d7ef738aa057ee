"""Soil water against FAO-56 (1998), chapters 7 and 8, and NRCS runoff."""

from __future__ import annotations

import csv
import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panbudget.physics import soil
from panbudget.tables.soils import own_soil
from tests.published import DATA, case, inputs


@pytest.mark.parametrize("ground", ["loamy_sand", "silt", "silty_clay"])
@pytest.mark.parametrize("crop", ["onion", "tomato", "maize"])
def test_taw_and_raw_of_example_36(ground, crop):
    """FAO-56 (1998), Example 36: TAW and RAW of three crops on three soils."""
    given_ = inputs("ex36")
    taw = soil.total_available_water(given_["theta_fc"][ground], given_["theta_wp"][ground], given_["zr_m"][crop])
    rows = case("soil_water_examples.csv", f"ex36_{ground}_{crop}")
    assert taw == pytest.approx(rows["taw"].number, abs=rows["taw"].tolerance)
    assert given_["p"][crop] * taw == pytest.approx(rows["raw"].number, abs=rows["raw"].tolerance)


def test_runoff_is_that_of_tr_55():
    """NRCS TR-55 (1986), Table 2-1, in inches, printed to two decimals: from memory, agrees with the formula."""
    with (DATA / "curve_number_tr55.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert len(rows) > 15
    for row in rows:
        got = soil.curve_number_runoff(np.array([float(row["p_in"]) * 25.4]), float(row["cn"]))[0] / 25.4
        assert got == pytest.approx(float(row["q_in_published"]), abs=float(row["tolerance"])), row


def test_everything_runs_off_a_roof_and_nothing_of_no_rain():
    assert soil.curve_number_runoff(np.array([0.0, 12.0]), 100.0).tolist() == [0.0, 12.0]


@given(st.floats(0.0, 500.0), st.floats(30.0, 100.0))
def test_runoff_is_never_more_than_the_rain(rain, number):
    runoff = soil.curve_number_runoff(np.array([rain]), number)[0]
    assert 0.0 <= runoff <= rain * (1 + 1e-12)


def test_moisture_classes_move_the_curve_number():
    """NRCS NEH section 4 (1972), Table 10.1, from memory: CN 80 is 63 when dry and 91 when wet; the fit gives ± 1."""
    rain = np.array([0.0] * 10 + [30.5, 30.5, 0.0, 0.0, 5.5])
    numbers = soil.moist_curve_number(rain, 80.0)
    assert numbers[0] == 80.0  # what fell before is not known
    assert numbers[9] == pytest.approx(63.0, abs=1.0)
    assert numbers[14] == pytest.approx(91.0, abs=1.0)


def test_leaching_requirement():
    """FAO-29 (1985) eq. 9, from memory: LR = ECw/(5 ECe − ECw)."""
    assert soil.leaching_requirement(1.0, 2.5) == pytest.approx(1.0 / 11.5)
    assert soil.leaching_requirement(9.0, 1.0) == 1.0


@pytest.mark.parametrize(("rain", "number"), [(7.11, 63.5), (7.13, 80.0), (10.65, 80.0), (10.67, 90.4)])
def test_moisture_classes_change_at_their_limits_and_look_five_days_back(rain, number):
    """NRCS NEH section 4 (1972): under 35.6 mm dry, over 53.3 mm wet, of five days and not four; from memory."""
    numbers = soil.moist_curve_number(np.array([0.0, rain, rain, rain, rain, rain, 0.0]), 80.0)
    assert numbers[6] == pytest.approx(number, abs=0.3)
    assert numbers[:5].tolist() == [80.0] * 5


@pytest.mark.parametrize(("depth", "taw"), [(0.1, 20.0), (0.2, 40.0), (0.25, 45.0), (0.3, 50.0), (0.8, 75.0)])
def test_roots_take_from_each_layer_what_they_reach_and_the_last_goes_on_below(depth, taw):
    """By hand (FAO-56 eq. 82 by layer): 20 cm hold 200 mm/m, the next 10 cm 100 mm/m, all below 50 mm/m."""
    parts = [(0.2, own_soil(0.30, 0.10)), (0.1, own_soil(0.15, 0.05)), (0.1, own_soil(0.10, 0.05))]
    ground = dataclasses.replace(own_soil(0.30, 0.10), layers=tuple(parts))
    assert float(soil.available_water(ground, depth)) == pytest.approx(taw)
    assert float(soil.available_water(ground, depth, 0.5)) == pytest.approx(taw / 2.0)
    assert float(soil.available_water(parts[0][1], depth)) == pytest.approx(200.0 * depth)
    assert float(soil.available_water(parts[0][1], depth, 0.5)) == pytest.approx(100.0 * depth)


def test_evaporable_water_is_that_of_example_35():
    """FAO-56 (1998), eq. 73, Example 35: 1000 (0.23 − 0.5 · 0.10) 0.1 = 18 mm."""
    assert soil.total_evaporable_water(0.23, 0.10, 0.1) == pytest.approx(18.0)


@pytest.mark.parametrize(
    ("rain", "moisture"), [(35.5, "dry"), (35.6, "average"), (53.3, "average"), (53.4, "wet"), (0.0, "dry")]
)
def test_at_the_limits_themselves_the_ground_is_neither_dry_nor_wet(rain, moisture):
    """NRCS NEH section 4 (1972), from memory: *under* 35.6 mm dry, *over* 53.3 mm wet; CN 80 is 63, 80 or 90."""
    numbers = soil.moist_curve_number(np.array([rain, 0.0, 0.0, 0.0, 0.0, 0.0]), 80.0)
    assert numbers[5] == pytest.approx({"dry": 63.5, "average": 80.0, "wet": 90.4}[moisture], abs=0.3)


def test_rain_of_six_days_ago_is_forgotten():
    """NRCS NEH section 4 (1972): five days and no more."""
    numbers = soil.moist_curve_number(np.array([60.0] + [0.0] * 7), 80.0)
    assert numbers[5] > 80.0 > numbers[6] == numbers[7]


@pytest.mark.parametrize(
    ("water", "threshold", "share"), [(5.0, 1.0, 1.0), (5.0, 1.1, 1.0), (2.5, 1.0, 1.0), (0.001, 0.001, 0.25)]
)
def test_water_as_salty_as_the_plants_bear_must_drain_whole(water, threshold, share):
    """FAO-29 (1985) eq. 9, from memory, at ECw = 5 ECe, where it divides by nothing, at LR = 1, and for fresh water."""
    assert soil.leaching_requirement(water, threshold) == pytest.approx(share)


def test_the_least_rain_runs_off_a_roof():
    """S = 0 for CN 100: Q = P."""
    assert soil.curve_number_runoff(np.array([0.005]), 100.0)[0] == pytest.approx(0.005)
