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
    ("net", "steepness", "step", "lasts"),
    [
        (-10.0, 0.002, 1.0, 1.0),  # exactly a fiftieth: not more
        (-20.0, 0.002, 1.0, 0.5),
        (20.0, 0.002, 1.0, 0.5),  # rising or falling
        (-10.0, 5.0, 1.0, 1.0 / 60.0),  # our choice: once a minute at the most
        (-10.0, 5.0, 1.0 / 60.0, 1.0 / 60.0),
        (-10.0, 5.0, 1.1 / 60.0, 1.0 / 60.0),
        (-10.0, 0.003, 0.5, 0.5),
    ],
)
def test_flows_hold_until_the_pressure_has_changed_by_a_fiftieth(net, steepness, step, lasts):
    assert tank.pressure_lasts(net, steepness, step) == pytest.approx(lasts)


@pytest.mark.parametrize(
    ("volume", "flow", "net", "topped", "over", "share"),
    [
        (25.0, 0.0, 2.0, 0.0, 0.0, 1.0),  # above the float: the roof's 2 L/h alone
        (25.0, 6.0, -4.0, 0.0, 0.0, 1.0),
        (7.0, 0.0, 5.0, 3.0, 0.0, 1.0),  # below it, its whole 3 L/h
        (8.0, 0.0, 2.0, 0.0, 0.0, 1.0),  # at it, what is drawn beyond the roof's water
        (8.0, 4.0, 0.0, 2.0, 0.0, 1.0),
        (8.0, 6.0, -1.0, 3.0, 0.0, 1.0),
        (40.0, 0.0, 0.0, 0.0, 2.0, 1.0),  # full
        (40.0, 1.0, 0.0, 0.0, 1.0, 1.0),
        (40.0, 3.0, -1.0, 0.0, 0.0, 1.0),
        (0.0, 4.0, 1.0, 3.0, 0.0, 1.0),  # empty: fills again while more comes than is drawn
        (0.0, 5.0, 0.0, 3.0, 0.0, 1.0),
        (0.0, 20.0, 0.0, 3.0, 0.0, 0.25),  # and passes on what comes
        (1e-9, 20.0, -15.0, 3.0, 0.0, 1.0),
    ],
)
def test_roof_and_float_run_while_the_valves_draw(volume, flow, net, topped, over, share):
    """A roof that gives 2 L/h all day, a float at 8 L that gives 3 L/h, a tank of 40 L."""
    _, tanks, state = two_of_all(volume)
    tanks.inflow = np.array([[999.0, 999.0], [999.0, 48.0]])
    assert tank.tank_rates(1, 1, flow, tanks, state) == (net, topped, over, share)


@pytest.mark.parametrize(
    ("volume", "roof", "rate", "without"),
    [(0.0, 0.0, 0.0, True), (1e-9, 0.0, 0.0, False), (0.0, 1e-9, 0.0, False), (0.0, 0.0, 1e-9, False)],
)
def test_a_tank_is_without_water_where_it_is_empty_and_nothing_comes(volume, roof, rate, without):
    _, tanks, state = two_of_all(volume)
    tanks.inflow, tanks.float_rate = np.array([[9.0, 9.0], [9.0, roof]]), np.array([9.0, rate])
    assert tank.is_without_water(1, 1, tanks, state) == without


@pytest.mark.parametrize(
    ("volume", "net", "step", "comes_to"),
    [
        (25.0, -17.0, 1.0, 8.0),  # the float's level at the hour's very end
        (25.0, -16.9, 1.0, -1.0),
        (25.0, -34.0, 0.5, 8.0),
        (8.0, -16.0, 0.5, 0.0),
        (4.0, -4.0, 1.0, 0.0),
        (4.0, 4.0, 1.0, 8.0),
        (4.0, 3.9, 1.0, -1.0),
        (8.0, 32.0, 1.0, 40.0),
        (25.0, 30.0, 0.5, 40.0),
        (25.0, 14.9, 1.0, -1.0),
        (8.0, 0.0, 1.0, -1.0),
        (0.0, 0.0, 1.0, -1.0),
        (40.0, 0.0, 1.0, -1.0),
    ],
)
def test_what_a_tank_comes_to_next(volume, net, step, comes_to):
    _, tanks, state = two_of_all(volume)
    assert tank.tank_event(1, net, tanks, state, 1.0) == (step, comes_to)


@pytest.mark.parametrize(("comes_to", "remains"), [(-1.0, 15.0), (0.0, 0.0), (8.0, 8.0)])
def test_a_stretch_moves_the_tank_and_its_sums(comes_to, remains):
    _, tanks, state = two_of_all()
    state.tank_today[3:] = [1.0, 2.0, 3.0]
    tank.pass_tank(1, 0, 0.5, comes_to, 24.0, 4.0, 2.0, -20.0, tanks, state)
    assert state.volume.tolist() == [1.0, remains]
    assert state.tank_today.tolist() == [0.0, 0.0, 0.0, 13.0, 4.0, 4.0]


def test_a_tank_holds_never_less_than_nothing():
    _, tanks, state = two_of_all(1e-12)
    tank.pass_tank(1, 0, 1.0, -1.0, 0.0, 0.0, 0.0, -1e-11, tanks, state)
    assert state.volume[1] == 0.0


def test_while_all_is_shut_the_float_fills_to_its_mark_and_the_roof_to_the_brim():
    """From 2 L: at 5 L/h to 8 L in 1.2 h, at 2 L/h to 40 L in 16 h; the last 2.8 of 20 hours run over."""
    _, tanks, state = two_of_all(2.0)
    tanks.inflow = np.array([[999.0], [48.0]])
    tank.fill_tank(1, 0, 20.0, tanks, state)
    assert state.volume.tolist() == [1.0, 40.0]
    assert state.tank_today.tolist() == pytest.approx([0.0, 0.0, 0.0, 0.0, 3.6, 5.6])


def test_a_valve_on_an_empty_tank_and_its_beds_have_their_share():
    """Half an hour at a quarter and at half of the reference flow is an eighth and a quarter of an hour more."""
    _, tanks, state = two_of_all()
    tank.add_draws(1, 0.5, tanks, state)
    assert state.draw_hours.tolist() == [1.0, 0.375, 0.75]
    state.refill_flow, state.flow = np.array([9.0, 2.0]), np.array([9.0, 8.0])
    tank.share_out(1, 0.25, tanks, state)
    assert (state.refill_flow.tolist(), state.flow.tolist()) == ([9.0, 0.5], [9.0, 2.0])
    assert state.draw_power.tolist() == [9.0, 0.0625, 0.125]


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
