"""The root zone's equations on the very functions that the engine runs: FAO-56 (1998), chapter 8."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panbudget.engine.root_zone import depletion_fraction, root_zone_day, stress_coefficient
from tests.published import case, inputs


def test_stress_builds_up_as_in_example_37():
    """FAO-56 (1998), Example 37: tomato without rain or irrigation, Ks and depletion over ten days."""
    given_ = inputs("ex37_tomato_stress")
    depletion = given_["dr_initial_mm"]
    for day in range(1, given_["days"] + 1):
        ks = stress_coefficient(depletion, given_["taw_mm"], given_["p"] * given_["taw_mm"])
        depletion += ks * given_["kc"] * given_["eto_mm_day"]
        rows = case("soil_water_examples.csv", "ex37_tomato_stress", day)
        assert ks == pytest.approx(rows["ks"].number, abs=rows["ks"].tolerance)
        assert depletion == pytest.approx(rows["dr_end"].number, abs=rows["dr_end"].tolerance)


@pytest.mark.parametrize(
    ("table", "etc", "p"), [(0.4, 5.0, 0.4), (0.4, 8.0, 0.28), (0.4, 2.0, 0.52), (0.65, 0.0, 0.8), (0.2, 9.0, 0.1)]
)
def test_p_falls_as_demand_rises(table, etc, p):
    """FAO-56 (1998), Table 22, footnote 2: arithmetic, no published example."""
    assert depletion_fraction(table, etc) == pytest.approx(p)


@given(st.floats(0.0, 300.0), st.floats(1.0, 300.0), st.floats(0.1, 0.8))
def test_ks_is_one_within_raw_and_none_beyond_taw(depletion, taw, p):
    ks = stress_coefficient(depletion, taw, p * taw)
    assert 0.0 <= ks <= 1.0
    assert (ks == 1.0) == (depletion <= p * taw) or depletion == pytest.approx(p * taw)
    assert ks == 0.0 or depletion < taw


@pytest.mark.parametrize(("table", "etc", "p"), [(0.1, 5.0, 0.1), (0.8, 5.0, 0.8), (0.1, 5.01, 0.1), (0.8, 4.99, 0.8)])
def test_p_stands_at_its_bounds_and_goes_no_further(table, etc, p):
    """FAO-56 (1998), Table 22, footnote 2: 0.1 ≤ p ≤ 0.8."""
    assert depletion_fraction(table, etc) == p


def test_stress_begins_above_raw_and_is_whole_at_taw():
    """FAO-56 (1998), eq. 84."""
    assert stress_coefficient(40.0, 100.0, 40.0) == 1.0
    assert stress_coefficient(40.6, 100.0, 40.0) == pytest.approx(0.99)
    assert stress_coefficient(70.0, 100.0, 40.0) == 0.5
    assert stress_coefficient(100.0, 100.0, 40.0) == stress_coefficient(101.0, 100.0, 40.0) == 0.0


def test_exact_refill_waters_on_the_day_that_raw_is_reached_and_not_before():
    """TAW 100, p 0.5 at ETc 5: RAW 50. 45 + 5 reaches it and goes back; 44.9 + 5 does not."""
    day = {"rain_in": 0.0, "irrigation": 0.0, "eto": 5.0, "kcb": 1.0, "ke": 0.0, "taw": 100.0, "p_table": 0.5}
    irrigation, _, _, ks, after, _ = root_zone_day(45.0, is_refilled=True, **day)
    assert (irrigation, ks, after) == (50.0, 1.0, 0.0)
    irrigation, _, _, _, after, _ = root_zone_day(44.9, is_refilled=True, **day)
    assert (irrigation, after) == (0.0, pytest.approx(49.9))


def test_plants_take_no_more_than_there_is():
    """2 mm are left of TAW: ETc adj is 2 mm at most, however much evaporates (eq. 80 with eq. 85)."""
    _, etc, eta, _, after, drained = root_zone_day(98.0, 0.0, 0.0, 10.0, 0.2, 0.9, 100.0, 0.5, False)
    assert etc == pytest.approx(11.0)
    assert (eta, after, drained) == (2.0, 100.0, 0.0)


@pytest.mark.parametrize(
    ("before", "rain", "irrigation", "taw", "etc", "eta", "ks", "after", "drained"),
    [
        (70.0, 3.0, 2.0, 100.0, 5.0, 3.5, 0.7, 68.5, 0.0),  # RAW 50: Ks of 65, after what came
        (55.0, 3.0, 2.0, 100.0, 5.0, 5.0, 1.0, 55.0, 0.0),  # exactly RAW
        (10.0, 20.0, 5.0, 100.0, 5.0, 5.0, 1.0, 0.0, 10.0),
        (0.0, 4.995, 0.0, 100.0, 5.0, 5.0, 1.0, 0.005, 0.0),
        (0.005, 0.0, 0.0, 4.0, 5.0, 3.995, 1.0, 4.0, 0.0),  # a pot's 4 mm are less than a day's
        (0.0, 1.0, 0.0, 4.0, 5.0, 4.0, 1.0, 3.0, 0.0),  # rain above field capacity is not the roots' to begin with
        (100.0, 0.0, 0.0, 100.0, 5.0, 0.0, 0.0, 100.0, 0.0),
    ],
)
def test_a_day_of_the_root_zone_by_hand(before, rain, irrigation, taw, etc, eta, ks, after, drained):
    """FAO-56 (1998), eq. 80, 81, 84, 85 and 88, with ETo 4 mm and Kc 1.25, so that p is the table's 0.5."""
    got = root_zone_day(before, rain, irrigation, 4.0, 1.25, 0.0, taw, 0.5, False)
    assert got == pytest.approx((irrigation, etc, eta, ks, after, drained))


def test_an_empty_root_zone_gives_nothing_to_the_surface_either():
    """FAO-56 (1998), eq. 80 within 0 ≤ Dr ≤ TAW (eq. 86)."""
    assert root_zone_day(100.0, 0.0, 0.0, 4.0, 0.5, 0.5, 100.0, 0.5, False)[2:5] == (0.0, 0.0, 100.0)
