"""The tank's pressure and how long it lasts, at the nodes and bounds, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from panbudget.engine import tank
from panbudget.physics import hydraulics

POINTS = np.array([[0.0, 10.0, 40.0, 50.0]])


def test_the_weight_of_water_is_the_same_in_physics_and_engine():
    assert tank.KPA_PER_M == hydraulics.KPA_PER_M


@pytest.mark.parametrize(
    ("value", "piece"), [(-1.0, 1), (0.0, 1), (10.0, 1), (10.1, 2), (40.0, 2), (40.1, 3), (50.0, 3), (60.0, 3)]
)
def test_a_value_at_a_node_belongs_to_the_piece_below(value, piece):
    assert tank.piece_of(POINTS, 0, value) == piece


@pytest.mark.parametrize(
    ("volume", "pressure", "step", "ending"),
    [
        (100.0, 100.0, 1.0, 0),
        (5.0, 100.0, 0.5, tank.TANK_EMPTIES),
        (10.0, 100.0, 1.0, tank.TANK_EMPTIES),
        (100.0, 10.0, 0.2, tank.TANK_FALLS),  # a fiftieth of 10 kPa at 1 kPa/h
        (100.0, 0.1, 1.0 / 60.0, tank.TANK_FALLS),  # and never less than a minute
    ],
)
def test_a_stretch_ends_when_the_tank_is_empty_or_its_pressure_has_fallen_by_a_fiftieth(volume, pressure, step, ending):
    """10 L/h out of a tank that loses 0.1 kPa a litre."""
    assert tank.tank_lasts(volume, 10.0, pressure, 0.1, 1.0, 0) == (pytest.approx(step), ending)
