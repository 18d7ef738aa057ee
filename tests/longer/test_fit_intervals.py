"""The intervals of `fit` over many logs, and its exposure over a wide range."""

from __future__ import annotations

import numpy as np
import pytest

from tests.studies.fit.test_estimate import KEPT, Field, intervals, values


@pytest.mark.parametrize("exposure", [0.85, 1.3])
@pytest.mark.parametrize("kept", KEPT.values(), ids=KEPT)
def test_exposure_comes_back_within_a_twentieth(exposure, kept, make_garden):
    found = values(Field(make_garden).fitted({"exposure": exposure}, **kept))
    assert found["exposure"] == pytest.approx(exposure, rel=0.05)


def test_intervals_hold_the_truth_as_often_as_they_say(make_garden):
    """200 logs, 90 %: binomial standard error 2.1 %; between 84 and 97 of a hundred."""
    holds, off = intervals(Field(make_garden, days=40), 200)
    assert len(holds) >= 195
    assert 0.84 <= np.mean(holds) <= 0.97
    assert np.quantile(off, 0.96) < 0.09  # the swing, within a twentieth, goes with the exposure
