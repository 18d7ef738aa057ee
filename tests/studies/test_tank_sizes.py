"""Which tank is enough, from a table made by hand."""

from __future__ import annotations

import pandas as pd
import pytest

from panbudget.studies.tank_sizes import enough


@pytest.mark.parametrize(
    ("hours", "volume"),
    [
        ([5.0, 1e-6, 0.0], 300.0),  # a valve that stood dry for a moment stood dry
        ([0.0, 0.0, 0.0], 100.0),
        ([0.0, 2.0, 0.0], 100.0),  # the smallest, whatever a larger one did
        ([5.0, 2.0, 1.0], None),
    ],
)
def test_the_smallest_tank_under_which_no_valve_stood_dry_is_enough(hours, volume):
    assert enough(pd.DataFrame({"volume_l": [100.0, 200.0, 300.0], "starved_hours": hours})) == volume
