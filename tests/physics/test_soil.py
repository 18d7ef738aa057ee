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


def test_stress_builds_up_as_in_example_37():
    """FAO-56 (1998), Example 37: tomato without rain or irrigation, Ks and depletion over ten days."""
    given_ = inputs("ex37_tomato_stress")
    depletion = given_["dr_initial_mm"]
    for day in range(1, given_["days"] + 1):
        ks = soil.stress_coefficient(depletion, given_["taw_mm"], given_["p"])
        depletion += float(ks) * given_["kc"] * given_["eto_mm_day"]
        rows = case("soil_water_examples.csv", "ex37_tomato_stress", day)
        assert ks == pytest.approx(rows["ks"].number, abs=rows["ks"].tolerance)
        assert depletion == pytest.approx(rows["dr_end"].number, abs=rows["dr_end"].tolerance)


def test_bare_ground_dries_as_in_example_31():
    """FAO-56 (1998), Example 31: bare loam after heavy rain, ten days."""
    given_ = inputs("ex31_bare_loam")
    depletion = 0.0
    for day in range(1, given_["days"] + 1):
        rows = case("soil_water_examples.csv", "ex31_bare_loam", day)
        kr = soil.evaporation_reduction(depletion, given_["tew_mm"], given_["rew_mm"])
        assert kr == pytest.approx(rows["kr"].number, abs=rows["kr"].tolerance)
        depletion += float(min(kr * (given_["kc_max"] - given_["kcb"]), given_["kc_max"])) * given_["eto_mm_day"]
        assert depletion == pytest.approx(rows["de_end"].number, abs=rows["de_end"].tolerance)


@pytest.mark.parametrize(
    ("table", "etc", "p"), [(0.4, 5.0, 0.4), (0.4, 8.0, 0.28), (0.4, 2.0, 0.52), (0.65, 0.0, 0.8), (0.2, 9.0, 0.1)]
)
def test_p_falls_as_demand_rises(table, etc, p):
    """FAO-56 (1998), Table 22, footnote 2: arithmetic, no published example."""
    assert soil.depletion_fraction(table, etc) == pytest.approx(p)


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


@given(st.floats(0.0, 300.0), st.floats(1.0, 300.0), st.floats(0.1, 0.8))
def test_ks_is_one_within_raw_and_none_beyond_taw(depletion, taw, p):
    ks = float(soil.stress_coefficient(depletion, taw, p))
    assert 0.0 <= ks <= 1.0
    assert (ks == 1.0) == (depletion <= p * taw) or depletion == pytest.approx(p * taw)
    assert ks == 0.0 or depletion < taw


def test_soils_are_found_whatever_their_spelling():
    assert soil.find_soil("Sandy-Loam") is soil.find_soil("sandy loam")
    assert soil.find_soil("silty clay loam").name == "silt clay loam"
    with pytest.raises(soil.SoilError, match='"lome" is no soil that is known; did you mean "loam"'):
        soil.find_soil("lome")


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
