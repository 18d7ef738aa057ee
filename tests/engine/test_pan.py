"""The pan's rates and events at their very bounds, by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from panbudget.engine.pan import (
    GOES_ON,
    PRESS,
    REACHES_RIM,
    RESETS,
    RUNS_DRY,
    TRIPS,
    bounded_rates,
    end_opening,
    keep_sums,
    next_event,
    open_valve,
    sums_so_far,
    waits,
)

LEVELS = {"swing": 1.0, "rim": 5.0, "dry": -3.0}


@pytest.mark.parametrize(
    ("w", "net", "rain", "expected"),
    [
        (-2.5, -0.25, 0.0, (True, False)),
        (-2.5, -0.5, 0.0, (False, False)),  # to its floor
        (-3.0, -0.5, 0.0, (True, True)),
        (-3.0, -0.5, 0.125, (False, False)),  # of which the rain goes
        (-3.0, 0.0, 0.0, (False, False)),
        (1.0, -0.25, 0.0, (False, False)),  # at its reset
        (0.5, 0.25, 0.5, (True, False)),
        (0.5, 0.5, 0.5, (False, False)),  # to its reset
    ],
)
def test_a_pan_waits_for_water_until_something_happens(w, net, rain, expected):
    assert waits(w, net, rain, tuple(LEVELS.values())) == expected


def test_a_rim_below_the_reset_is_an_event():
    assert waits(0.25, 0.25, 0.5, (1.0, 0.5, -3.0)) == (False, False)
    assert waits(0.125, 0.25, 0.5, (1.0, 0.5, -3.0)) == (True, False)


@pytest.mark.parametrize(
    ("w", "net", "is_open", "step", "ending"),
    [
        (0.5, -0.5, 0, 1.0, TRIPS),  # at the hour's very end
        (0.5, -0.49, 0, 1.0, GOES_ON),
        (0.0, -0.5, 0, 0.0, TRIPS),
        (-0.1, 0.5, 0, 0.0, TRIPS),  # the trip weight has been moved: at once, though the water rises
        (0.0, 0.5, 0, 1.0, GOES_ON),
        (0.0, 0.0, 0, 1.0, GOES_ON),  # at its trip and at rest
        (0.5, 0.5, 1, 1.0, RESETS),
        (0.5, 0.49, 1, 1.0, GOES_ON),
        (1.0, -0.5, 1, 0.0, RESETS),
        (4.5, 0.5, 0, 1.0, GOES_ON),  # the rim at the hour's very end spills nothing
        (4.5, 1.0, 0, 0.5, REACHES_RIM),
        (5.0, 1.0, 0, 1.0, GOES_ON),
        (-2.5, -0.5, 1, 1.0, GOES_ON),
        (-2.5, -1.0, 1, 0.5, RUNS_DRY),
        (-3.0, -1.0, 1, 1.0, GOES_ON),
    ],
)
def test_what_comes_next(w, net, is_open, step, ending):
    assert next_event(w, net, is_open, remaining=1.0, **LEVELS) == (step, ending)


@pytest.mark.parametrize(("w", "ending"), [(5e-324, TRIPS), (9e-301, TRIPS), (1e-300, GOES_ON)])
def test_what_is_left_above_the_trip_is_no_water_where_no_time_is_short_enough_for_it(w, ending):
    """Of a pan that shares a tank, with no time left until its own event: an endless loop, once in some hundred gardens."""
    step, ends = next_event(w, -9.0, 0, remaining=0.0, **LEVELS)
    assert (step, ends) == (pytest.approx(0.0, abs=1e-300), ending)


def test_a_rim_below_the_reset_is_reached_first():
    """A knocked counterweight: rim 0.8 under a swing of 1.0, so that the open valve goes on over the rim."""
    assert next_event(0.5, 0.4, 1, 1.0, 0.8, -3.0, 1.0) == (pytest.approx(0.75), REACHES_RIM)
    assert next_event(0.5, 0.6, 1, 1.0, 0.8, -3.0, 1.0) == (pytest.approx(0.5), REACHES_RIM)  # both in this hour
    assert next_event(0.8, 0.0, 1, 1.0, 0.8, -3.0, 1.0) == (1.0, GOES_ON)
    assert bounded_rates(0.8, 0.6, 0.8, -3.0, 1.0, 0.4, 0.0) == (0.0, 0.4, 0.0, 0.6, False)


def test_a_dry_pan_parts_what_comes_between_sun_and_leak():
    """0.6 kg/h come, 0.9 and 0.3 would go: half of each."""
    assert bounded_rates(-3.0, -0.6, 5.0, -3.0, 0.6, 0.9, 0.3) == (
        0.0,
        pytest.approx(0.45),
        pytest.approx(0.15),
        0.0,
        True,
    )
    assert bounded_rates(-3.0, 0.1, 5.0, -3.0, 1.3, 0.9, 0.3) == (0.1, 0.9, 0.3, 0.0, False)


def test_sums_of_the_day_are_kept_by_pan_until_its_next_turn():
    """Ten sums a pan; the second pan's are changed."""
    state = SimpleNamespace(today=np.arange(30.0))
    assert sums_so_far(1, state) == tuple(float(value) for value in range(10, 20))
    keep_sums(1, tuple(0.5 + value for value in range(10)), state)
    assert state.today[9:12].tolist() == [9.0, 0.5, 1.5]
    assert state.today[18:21].tolist() == [8.5, 9.5, 20.0]


def test_openings_beyond_the_room_of_the_list_are_counted_and_not_listed():
    out = SimpleNamespace(**{name: np.full(1, 9.0) for name in ("start", "end", "refilled", "litres", "cause")})
    out = SimpleNamespace(
        opening_controller=np.full(1, 9.0), **{f"opening_{name}": values for name, values in vars(out).items()}
    )
    state = SimpleNamespace(
        slot=np.zeros(1, int), since=np.zeros(1), refilled=np.ones(1), drawn=np.ones(1), cause=np.zeros(1)
    )
    open_valve(0, 5.0, PRESS, 1, state, out)
    end_opening(0, 6.0, state, out)
    assert (out.opening_start[0], out.opening_end[0], out.opening_cause[0]) == (9.0, 9.0, 9.0)
    open_valve(0, 5.0, PRESS, 0, state, out)
    end_opening(0, 6.0, state, out)
    assert (out.opening_start[0], out.opening_end[0], out.opening_cause[0]) == (5.0, 6.0, PRESS)
    assert (out.opening_controller[0], out.opening_refilled[0], out.opening_litres[0]) == (0.0, 0.0, 0.0)


def test_at_rest_nothing_is_bounded():
    """Nothing comes and nothing goes at the rim or on the floor: no spill, and not dry."""
    assert bounded_rates(5.0, 0.0, 5.0, -3.0, 0.0, 0.0, 0.0) == (0.0, 0.0, 0.0, 0.0, False)
    assert bounded_rates(-3.0, 0.0, 5.0, -3.0, 0.3, 0.2, 0.1) == (0.0, 0.2, 0.1, 0.0, False)
    assert bounded_rates(4.9, 0.5, 5.0, -3.0, 0.6, 0.1, 0.0) == (0.5, 0.1, 0.0, 0.0, False)
