"""The emitter law (ISO 9261:2004, q = k h^x)."""

from __future__ import annotations

import numpy as np
import pytest

from panbudget.physics.hydraulics import emitter_flow


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
