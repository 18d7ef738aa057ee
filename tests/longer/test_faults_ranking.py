"""The ranking of faults beside a second simulator, on the demo and on the demo under a tank."""

from __future__ import annotations

import pytest

from tests.test_faults_ranking import (  # noqa: F401
    GARDENS,
    compared,
    test_each_fault_adds_what_a_second_simulator_says,
    test_faults_stand_in_the_order_of_a_second_simulator,
    test_the_sound_seasons_agree,
)


@pytest.fixture(scope="module", params=[name for name in GARDENS if name != "the one to start from"])
def both(request):
    return compared(request.param)
