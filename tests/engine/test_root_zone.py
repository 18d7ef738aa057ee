"""The root zone's equations on the very functions that the engine runs: FAO-56 (1998), chapter 8."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panbudget.engine.root_zone import depletion_fraction, stress_coefficient
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
