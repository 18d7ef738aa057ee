"""What a run's days come to, lane by lane, by hand."""

from types import SimpleNamespace

import numpy as np
import pytest

from panbudget.engine.adding import EXACT_REFILL, LANE_SUMS, add_lane
from panbudget.engine.season import EXACT_REFILL as OF_THE_ENGINE
from panbudget.engine.season import VALVE


def sums_of(days, source=VALVE, growing=True):
    """Add up one lane whose days are (rain, given, drained, Ks); asked 5 and used 4 mm a day, 1 mm left below."""
    rain, given, drains, ks = np.array(days, float).T
    on = np.full(len(days), growing) if isinstance(growing, bool) else np.array(growing)
    beds = SimpleNamespace(lane_bed=[0], lane_source=[source], rain_in=rain[None], growing=on[None])
    whole = {name: np.full((1, len(days)), value) for name, value in (("etc", 5.0), ("eta", 4.0), ("left_below", 1.0))}
    sums = np.zeros((1, len(LANE_SUMS)))
    out = SimpleNamespace(irrigation=given[None], deep_percolation=drains[None], ks=ks[None], sums=sums, **whole)
    add_lane(0, beds, out)
    return dict(zip(LANE_SUMS, sums[0].tolist(), strict=True))


@pytest.mark.parametrize(
    ("rain", "given", "drains", "kept"),
    [
        (10.0, 0.0, 0.0, 10.0),
        (10.0, 0.0, 0.005, 9.995),  # however little drains
        (0.004, 0.0, 0.002, 0.002),  # however little comes
        (10.0, 30.0, 8.0, 8.0),  # rain is a quarter of the water, and of what drains
        (10.0, 30.0, 50.0, 0.0),  # what lay there before drains too
        (0.0, 0.0, 3.0, 0.0),
    ],
)
def test_of_what_drains_rain_has_its_share_of_the_days_water(rain, given, drains, kept):
    """Common practice, no source."""
    assert sums_of([(rain, given, drains, 1.0)])["kept"] == pytest.approx(kept, abs=1e-12)


@pytest.mark.parametrize(("drains", "kept"), [(0.0, 10.0), (4.0, 6.0), (12.0, 0.0)])
def test_what_drains_under_exact_refill_is_rain(drains, kept):
    assert EXACT_REFILL == OF_THE_ENGINE
    assert sums_of([(10.0, 30.0, drains, 1.0)], EXACT_REFILL)["kept"] == pytest.approx(kept)


def test_days_on_which_nothing_grows_count_in_the_balance_and_not_in_need_or_waste():
    sums = sums_of([(2.0, 6.0, 1.0, 0.5)] * 3, growing=[True, False, True])
    assert {name: sums[name] for name in ("irrigation", "etc", "eta", "drained", "left_below")} == pytest.approx(
        {"irrigation": 18.0, "etc": 15.0, "eta": 12.0, "drained": 3.0, "left_below": 3.0}
    )
    assert (sums["asked"], sums["used"], sums["wanted"], sums["lost"]) == (10.0, 8.0, 12.0, 2.0)
    assert (sums["stress_days"], sums["longest_stress_days"]) == (2.0, 1.0)


def test_a_spell_ends_on_the_first_day_that_is_not_short():
    ks = [0.99, 0.5, 1.0, 0.9, 0.9, 0.9, 1.0, 0.2]
    sums = sums_of([(0.0, 0.0, 0.0, value) for value in ks])
    assert (sums["stress_days"], sums["longest_stress_days"]) == (6.0, 3.0)
