"""The emitter law (ISO 9261:2004, q = k h^x), and what pipe and valve leave of a pressure."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panbudget.physics.hydraulics import KPA_PER_M, emitter_flow, hazen_williams_loss, pressure_behind, valve_loss


def test_a_quarter_of_the_head_halves_a_turbulent_emitter():
    """q = k h^x with x = 0.5: 4 L/h at 10 m is 2 L/h at 2.5 m (arithmetic of ISO 9261:2004's law, not published)."""
    assert emitter_flow(24.5, 4.0, 98.0, 0.5) == pytest.approx(2.0)


def test_ten_per_cent_more_head_gives_a_turbulent_emitter_4_88_per_cent_more():
    """1.1^0.5 = 1.048809; arithmetic, not published."""
    assert emitter_flow(110.0, 1.0, 100.0, 0.5) == pytest.approx(1.048809, abs=1e-6)


@pytest.mark.parametrize("exponent", [0.0, 0.5, 1.0])
def test_no_pressure_no_flow(exponent):
    """An empty tank waters nothing, whatever the emitter."""
    assert emitter_flow(np.array([0.0, -5.0]), 2.0, 100.0, exponent).tolist() == [0.0, 0.0]


def test_hazen_williams_is_the_same_in_the_units_that_handbooks_print_it_in():
    """
    h = 0.2083 (100/C)^1.852 Q^1.852 / d^4.8655 in feet per 100 ft, US gallons a minute and inches: from memory.

    The rounded exponents and constants of the two printings part by up to 2 % between 13 mm and 100 mm.
    """
    gpm, foot, inch = 3.785411784 * 60.0, 0.3048, 0.0254
    for flow, diameter in ((100.0, 4.026), (5.0, 0.824), (1.0, 0.5)):
        loss = hazen_williams_loss(flow * gpm, length=100 * foot, diameter=diameter * inch, smoothness=140.0)
        by_handbook = 0.2083 * (100 / 140) ** 1.852 * flow**1.852 / diameter**4.8655
        assert float(loss) / KPA_PER_M / foot == pytest.approx(by_handbook, rel=0.02)


def test_a_valve_loses_with_the_square_of_its_flow():
    assert valve_loss(500.0, rated_flow=1000.0, rated_loss=40.0) == pytest.approx(10.0)


@given(st.floats(1.0, 500.0), st.floats(0.1, 30.0), st.floats(1e-4, 1e-2))
def test_pressure_behind_losses_balances(static, coefficient, resistance):
    def draw(pressure):
        return coefficient * pressure**0.5

    def losses(flow):
        return resistance * flow**1.852

    left = pressure_behind(static, draw, losses)
    assert 0.0 <= left <= static
    assert left + losses(draw(left)) == pytest.approx(static, rel=1e-9)


def test_hardly_any_pressure_is_found_where_all_is_lost_on_the_way():
    """p + 999 p = 1 kPa, by hand."""
    assert pressure_behind(1.0, lambda p: p, lambda q: 999.0 * q) == pytest.approx(0.001)


def test_a_tank_below_its_emitters_has_no_pressure_with_losses_or_without():
    assert pressure_behind(-1.0, lambda p: p, lambda q: 0.0 * q) == 0.0
    assert pressure_behind(-1.0, lambda p: p, lambda q: q) == 0.0


def test_a_compensated_emitter_gives_its_flow_at_any_pressure_at_all():
    """q = k h^0, ISO 9261:2004; its least working pressure is the maker's affair."""
    assert emitter_flow(np.array([1e-6, 0.5, 100.0]), 2.0, 100.0, 0.0).tolist() == [2.0, 2.0, 2.0]


def test_hazen_williams_of_one_litre_a_second_is_the_equation():
    """10.67 · 100 · 0.001^1.852 / (100^1.852 · 0.1^4.8704) m: by logarithms, 10^(3.028164 − 5.556 − 3.704 + 4.8704)."""
    loss = hazen_williams_loss(3600.0, length=100.0, diameter=0.1, smoothness=100.0)
    assert float(loss) / 9.80665 == pytest.approx(10.0**-1.361436, rel=1e-5)
