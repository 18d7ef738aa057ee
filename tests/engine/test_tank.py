"""The tank's pressure and how long it lasts, at the nodes and bounds, by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from panbudget.engine import tank
from panbudget.physics import hydraulics

POINTS = np.array([[0.0, 10.0, 40.0, 50.0]])
LATE = np.array([[0.0, 40.0, 45.0, 50.0]])


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


@pytest.mark.parametrize(("value", "piece"), [(39.0, 1), (40.0, 1), (42.0, 2), (45.0, 2), (49.0, 3), (200.0, 3)])
def test_a_first_guess_above_the_piece_is_put_right(value, piece):
    """Equal thirds of 50 would put 39 into the second piece, and 200 far beyond the line."""
    assert tank.piece_of(LATE, 0, value) == piece


def two_of_all(volume=25.0):
    """Two tanks and two controllers, of which the second of each is asked: no place is nought."""
    tanks = SimpleNamespace(
        capacity=np.array([1.0, 40.0]),
        outlet=np.array([9.0, 2.0]),
        volumes=np.array([[0.0, 1.0, 2.0], [0.0, 10.0, 40.0]]),
        levels=np.array([[0.0, 7.0, 8.0], [0.0, 0.5, 1.0]]),
        float_volume=np.array([1.0, 8.0]),
        float_rate=np.array([9.0, 3.0]),
        draw_from=np.array([0, 1, 3]),
        draw_flow=np.array([[99.0], [8.0], [6.0]]),
        draw_exponent=np.array([0.0, 1.0, 0.5]),
    )
    pans = SimpleNamespace(
        static=np.array([[0.0, 1.0, 2.0], [0.0, 20.0, 40.0]]),
        at_emitters=np.array([[0.0, 1.0, 2.0], [0.0, 18.0, 30.0]]),
        refill_flow=np.array([[99.0], [4.0]]),
        refill_exponent=np.array([1.0, 0.5]),
    )
    state = SimpleNamespace(
        volume=np.array([1.0, volume]),
        tank_today=np.zeros(6),
        draw_hours=np.array([1.0, 0.25, 0.5]),
        draw_power=np.array([9.0, 0.25, 0.5]),
    )
    return pans, tanks, state


@pytest.mark.parametrize(
    ("volume", "level", "rise", "remains", "base"),
    [(25.0, 0.75, 0.5 / 30.0, 0.6, 18.0), (10.0, 0.5, 0.5 / 10.0, 0.6, 18.0), (4.0, 0.2, 0.5 / 10.0, 0.6, 18.0)],
)
def test_pressure_is_read_off_straight_lines_between_the_points(volume, level, rise, remains, base):
    """By hand: level and 2 m of outlet, times ρg; of what is over 20 kPa pipe and valve leave 12 in 20."""
    pans, tanks, _ = two_of_all()
    pressure, slope = tank.emitter_pressure(1, 1, volume, pans, tanks)
    assert pressure == pytest.approx(base + remains * ((level + 2.0) * 9.80665 - 20.0))
    assert slope == pytest.approx(rise * remains * 9.80665)


def test_each_emitter_draws_by_its_own_exponent():
    """ISO 9261:2004, q = q_ref (h/h_ref)^x at 25 of 100 kPa: 4 and 6 L/h halve, 8 L/h of a laminar one is a quarter."""
    pans, tanks, state = two_of_all()
    assert tank.flows_at(1, 0, 25.0, pans, tanks, state) == (2.0, 2.0 + 2.0 + 3.0)
    assert state.draw_power.tolist() == [9.0, 0.25, 0.5]


def test_without_pressure_not_even_a_compensated_emitter_gives_water():
    pans, tanks, state = two_of_all()
    pans.refill_exponent[1] = 0.0
    assert tank.flows_at(1, 0, 0.0, pans, tanks, state) == (0.0, 0.0)
    assert tank.flows_at(1, 0, 0.5, pans, tanks, state)[0] == 4.0


@pytest.mark.parametrize(
    ("flow", "slope", "pressure", "step", "ending"),
    [
        (10.0, 0.2, 100.0, 1.0, 0),  # exactly a fiftieth: not more
        (20.0, 0.2, 100.0, 0.5, tank.TANK_FALLS),
        (10.0, 5.0, 1.0, 1.0 / 60.0, tank.TANK_FALLS),
    ],
)
def test_a_fall_of_exactly_a_fiftieth_is_not_yet_one(flow, slope, pressure, step, ending):
    assert tank.tank_lasts(1000.0, flow, pressure, slope, 1.0, 0) == (pytest.approx(step), ending)


def test_a_stretch_of_exactly_a_minute_is_not_cut():
    """Our choice: flows are computed again once a minute at the most."""
    assert tank.tank_lasts(1000.0, 10.0, 1.0, 5.0, 1.0 / 60.0, 0) == (1.0 / 60.0, 0)
    assert tank.tank_lasts(1000.0, 10.0, 1.0, 5.0, 1.1 / 60.0, 0)[1] == tank.TANK_FALLS
    assert tank.tank_lasts(1000.0, 10.0, 100.0, 0.3, 0.5, 0) == (0.5, 0)  # 1.5 of 100 kPa in the half hour


@pytest.mark.parametrize(
    ("volume", "holds", "topped", "over"),
    [(8.0, 8.0, 0.0, 0.0), (7.0, 8.0, 1.0, 0.0), (4.0, 7.0, 3.0, 0.0), (40.0, 40.0, 0.0, 0.0), (43.0, 40.0, 0.0, 3.0)],
)
def test_the_float_tops_up_to_its_mark_by_its_rate_and_what_passes_the_brim_runs_over(volume, holds, topped, over):
    """A float at 8 L that gives 3 L/h, in a tank of 40 L; the day had topped 1 L and lost 2 L before."""
    _, tanks, state = two_of_all()
    state.tank_today[3:] = [0.0, 1.0, 2.0]
    assert tank.held(1, volume, tanks, state) == holds
    assert state.tank_today.tolist() == [0.0, 0.0, 0.0, 0.0, 1.0 + topped, 2.0 + over]


@pytest.mark.parametrize(
    ("litres", "is_emptied", "remains"),
    [(5.0, False, 20.0), (24.9, True, 0.0), (24.995, False, 0.005), (25.1, False, 0.0)],
)
def test_what_is_drawn_leaves_the_tank_and_never_less_than_nothing(litres, is_emptied, remains):
    """Half an hour at a quarter and at half of the reference flow is an eighth and a quarter of an hour more."""
    _, tanks, state = two_of_all()
    state.tank_today[3] = 1.0
    tank.draw_water(1, 1, litres, 0.5, is_emptied, tanks, state)
    assert state.volume.tolist() == [1.0, pytest.approx(remains)]
    assert state.tank_today.tolist() == [0.0, 0.0, 0.0, 1.0 + litres, 0.0, 0.0]
    assert state.draw_hours.tolist() == [1.0, 0.375, 0.75]


def test_a_day_begins_with_nothing_of_ones_own_and_leaves_the_others_alone():
    _, tanks, state = two_of_all()
    state.tank_today[:] = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    tank.begin_draws(1, tanks, state)
    assert state.draw_hours.tolist() == [1.0, 0.0, 0.0]
    names = ("tank_volume", "tank_drawn", "tank_topped", "tank_over")
    out = SimpleNamespace(**{name: np.zeros((2, 2)) for name in names})
    tank.write_tank(1, 1, state, out)
    assert [float(getattr(out, name)[1, 1]) for name in names] == [25.0, 4.0, 5.0, 6.0]
    tank.begin_tank(1, state)
    assert state.tank_today.tolist() == [1.0, 2.0, 3.0, 0.0, 0.0, 0.0]
    tank.begin_tank(0, state)
    assert state.tank_today.tolist() == [0.0] * 6
