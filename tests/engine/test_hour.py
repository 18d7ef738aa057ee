"""The hour of valves that share a tank, at its bounds, by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from panbudget.engine.hour import set_flows, until_event
from tests.engine.test_tank import two_of_all


def test_flows_are_set_valve_by_valve_and_the_steepest_pressure_counts():
    """Of 25 L, 2.75 m: 18 + 0.6 (2.75 · 9.80665 − 20) kPa; the second tank's two valves, of which one is shut, then both."""
    pans, tanks, state = two_of_all()
    pans.member = np.array([1, 0])
    pans.static[0], pans.at_emitters[0] = [0.0, 20.0, 40.0], [0.0, 9.0, 15.0]
    state.is_open, state.refill_flow, state.flow = np.array([0, 1]), np.full(2, 9.0), np.full(2, 9.0)
    pressure = 18.0 + 0.6 * (2.75 * 9.80665 - 20.0)
    total, steepness = set_flows(0, 2, 1, 0, pans, tanks, state)
    assert steepness == pytest.approx(0.6 * 9.80665 * 0.5 / 30.0 / pressure)
    root = (pressure / 100.0) ** 0.5
    flow = 4.0 * root + 8.0 * pressure / 100.0 + 6.0 * root
    assert (state.refill_flow[0], state.flow[0]) == (0.0, 0.0)
    assert (total, state.flow[1]) == (pytest.approx(flow), pytest.approx(flow))
    assert state.refill_flow[1] == pytest.approx(4.0 * root)
    state.is_open[0] = 1
    both, steeper = set_flows(0, 2, 1, 0, pans, tanks, state)
    assert both == pytest.approx(flow + state.flow[0])
    lower = 9.0 + 0.3 * (2.75 * 9.80665 - 20.0)
    assert steeper == pytest.approx(max(0.6 / pressure, 0.3 / lower) * 9.80665 * 0.5 / 30.0)


@pytest.mark.parametrize(
    ("clock", "level", "press", "lasts"),
    [
        (0.0, 0.375, 99.0, 0.75),  # 0.25 of sun, 0.25 of leak
        (0.5, 0.375, 99.0, 0.5),  # to the hour's end
        (0.0, 0.375, 15.5, 0.5),
        (0.25, 0.375, 15.5, 0.25),
        (0.5, 0.375, 15.25, 0.0),
        (0.0, -3.0, 99.0, 0.0),  # shut below its trip weight: at once
    ],
)
def test_a_pan_goes_on_until_its_next_event(clock, level, press, lasts):
    """Hour 15 of day 1, two presses a day, the second pan of two; it is shut."""
    two = {name: np.array([[0.0, 0.0], [0.0, value]]) for name, value in (("swing", 1.0), ("rim", 5.0), ("dry", -3.0))}
    presses = np.array([[0.0, 0.0, 0.0, 0.0], [0.0, 0.0, 8.0, press]])
    pans = SimpleNamespace(**two, leak=np.array([[0.0, 0.0], [0.0, 0.25]]), presses=presses)
    state = SimpleNamespace(
        level=np.array([0.0, level]),
        rain=np.zeros(2),
        refill_flow=np.zeros(2),
        evaporation=np.array([0.0, 0.25]),
        is_open=np.zeros(2, int),
        press=np.array([0, 3]),
    )
    assert until_event(1, 1, 15, clock, 2, pans, state) == pytest.approx(lasts)
    state.press[1] = 4  # behind the day's last
    if lasts != 0.0:
        assert until_event(1, 1, 15, clock, 2, pans, state) == pytest.approx(min(0.75, 1.0 - clock))
