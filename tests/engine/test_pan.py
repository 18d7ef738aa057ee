"""The pan's rates and events at their very bounds, by hand."""

from __future__ import annotations

import pytest

from panbudget.engine.pan import HOUR_ENDS, REACHES_RIM, RESETS, RUNS_DRY, TRIPS, bounded_rates, next_event

LEVELS = {"swing": 1.0, "rim": 5.0, "dry": -3.0}


@pytest.mark.parametrize(
    ("w", "net", "is_open", "step", "ending"),
    [
        (0.5, -0.5, 0, 1.0, TRIPS),  # at the hour's very end
        (0.5, -0.49, 0, 1.0, HOUR_ENDS),
        (0.0, -0.5, 0, 0.0, TRIPS),
        (-0.1, 0.5, 0, 0.0, TRIPS),  # the trip weight has been moved: at once, though the water rises
        (0.0, 0.5, 0, 1.0, HOUR_ENDS),
        (0.5, 0.5, 1, 1.0, RESETS),
        (0.5, 0.49, 1, 1.0, HOUR_ENDS),
        (1.0, -0.5, 1, 0.0, RESETS),
        (4.5, 0.5, 0, 1.0, HOUR_ENDS),  # the rim at the hour's very end spills nothing
        (4.5, 1.0, 0, 0.5, REACHES_RIM),
        (5.0, 1.0, 0, 1.0, HOUR_ENDS),
        (-2.5, -0.5, 1, 1.0, HOUR_ENDS),
        (-2.5, -1.0, 1, 0.5, RUNS_DRY),
        (-3.0, -1.0, 1, 1.0, HOUR_ENDS),
    ],
)
def test_what_comes_next(w, net, is_open, step, ending):
    assert next_event(w, net, is_open, remaining=1.0, **LEVELS) == (step, ending)


def test_a_rim_below_the_reset_is_reached_first():
    """A knocked counterweight: rim 0.8 under a swing of 1.0, so that the open valve goes on over the rim."""
    assert next_event(0.5, 0.4, 1, 1.0, 0.8, -3.0, 1.0) == (pytest.approx(0.75), REACHES_RIM)
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
