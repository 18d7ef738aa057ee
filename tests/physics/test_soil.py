"""Soil water against FAO-56 (1998), chapters 7 and 8, and NRCS runoff."""

from __future__ import annotations

import csv

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panbudget.physics import soil
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
