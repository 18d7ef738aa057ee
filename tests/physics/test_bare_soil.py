"""Kc of the initial stage from wettings: FAO-56 (1998), Examples 24 to 26, and what must follow."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panbudget.physics.bare_soil import initial_kc, is_coarse
from panbudget.tables.soils import find_soil, own_soil
from tests.published import case


def test_light_wettings_every_second_day_are_the_figures():
    """FAO-56 (1998), Figure 29 as Example 26 reads it: 0.85 at ETo 4 mm/day, every 2 days. Read off a chart: ± 0.06."""
    assert initial_kc(4.0, interval=2.0, depth=10.0, coarse=False) == pytest.approx(0.85, abs=0.06)


def test_heavy_wettings_every_second_day_are_the_figures():
    """FAO-56 (1998), Figure 30b as Example 26 reads it: 1.15."""
    assert initial_kc(4.0, interval=2.0, depth=40.0, coarse=False) == pytest.approx(1.15, abs=0.01)


def test_between_light_and_heavy_the_depth_decides():
    """FAO-56 (1998), eq. 59, Example 25: 20 mm lies a third of the way from 10 to 40 mm: 0.55, 0.70 give 0.60."""
    rows = case("kc_examples.csv", "ex25_interpolation")
    assert pytest.approx(rows["kc_ini"].number, abs=0.006) == 0.55 + (20 - 10) / 30 * (0.70 - 0.55)
    ends = [initial_kc(5.0, interval=7.0, depth=depth, coarse=False) for depth in (10.0, 20.0, 40.0)]
    assert ends[1] == pytest.approx(ends[0] + (ends[2] - ends[0]) / 3.0)


def test_a_wetted_strip_counts_with_its_share_and_its_own_depth():
    """FAO-56 (1998), eq. 60, Example 26: 12 mm over four tenths is 30 mm there; 0.4 × 1.05 = 0.42. Charts: ± 0.03."""
    rows = case("kc_examples.csv", "ex26_trickle")
    got = initial_kc(4.0, interval=2.0, depth=12.0, coarse=False, wetted_fraction=0.4)
    assert got == pytest.approx(rows["kc_ini"].number, abs=0.03)


@given(st.floats(1.0, 12.0), st.floats(0.5, 30.0), st.floats(1.0, 80.0), st.booleans(), st.floats(0.1, 1.0))
def test_rarer_wettings_evaporate_less_and_never_more_than_a_wet_soil(eto, interval, depth, coarse, fw):
    now = initial_kc(eto, interval=interval, depth=depth, coarse=coarse, wetted_fraction=fw)
    rarer = initial_kc(eto, interval=interval * 1.5, depth=depth, coarse=coarse, wetted_fraction=fw)
    assert 0.0 < rarer <= now + 1e-12 <= 1.15 * fw + 1e-9


def test_sands_are_coarse_and_loam_is_not():
    assert is_coarse(find_soil("sand"))
    assert not is_coarse(find_soil("loam"))


@pytest.mark.parametrize(
    ("eto", "interval", "depth", "coarse", "tew", "rew"),
    [
        (4.0, 5.0, 10.0, False, 10.0, 3.0),  # 6/√ETo
        (9.0, 5.0, 10.0, True, 10.0, 2.5),  # and 2.5 at the least
        (0.49, 20.0, 5.0, False, 10.0, 7.0),  # 7 at the most
        (1.0, 9.0, 40.0, True, 7.0, 6.0),  # 7√ETo
        (9.0, 5.0, 40.0, True, 15.0, 6.0),
        (0.64, 5.595 / 0.736, 60.0, True, 5.6, 5.59),  # REW stays below TEW
        (1.0, 12.0, 40.0, False, 13.0, 9.0),  # 13√ETo
        (9.0, 5.0, 40.0, False, 28.0, 9.0),
    ],
)
def test_the_figures_equation_by_hand(eto, interval, depth, coarse, tew, rew):
    """
    FAO-56 (1998), Annex 7, from memory, with its exponent shortened by hand.

    (1 + REW/(TEW − REW))/TEW is 1/(TEW − REW), and t1 · Eso is REW.
    """
    potential = 1.15 * eto * interval
    evaporated = tew - (tew - rew) * math.exp(-(potential - rew) / (tew - rew))
    got = initial_kc(eto, interval=interval, depth=depth, coarse=coarse)
    assert got == pytest.approx(evaporated / (interval * eto))
    assert got < 1.15


def test_a_soil_of_a_fifth_of_water_is_not_coarse_any_more():
    """Our line, 0.20 m³/m³."""
    assert is_coarse(own_soil(0.199, 0.1))
    assert not is_coarse(own_soil(0.20, 0.1))
    assert not is_coarse(own_soil(0.205, 0.1))
