"""
Checks of figures, every threshold at its bound, in invented days. WMO No. 8, from memory; common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from panbudget.weather.checks.figures import _AT_LIMIT, _SAME_DAYS, _TIMES_OTHERS
from tests.weather.checks.days import SITE, inspected

N = 90
DRAWN = np.random.default_rng(4)
LOW = (14.0 + DRAWN.normal(0.0, 2.0, N)).round(2)
DAYS = {
    "tmin": LOW,
    "tmax": (LOW + 12.0 + DRAWN.normal(0.0, 1.0, N)).round(2),
    "wind": (2.0 + DRAWN.uniform(0.0, 1.5, N)).round(2),
    "radiation": (19.0 + DRAWN.uniform(0.0, 6.0, N)).round(2),
}


def seen(**columns):
    """Return the names of the checks of figures that caution."""
    found = inspected(N, site=SITE, **(DAYS | columns), trust=())
    assert not found.problems
    return [caution.name for caution in found.cautions if caution.name in ("columns-alike", "value-limit")]


def test_sound_days_pass():
    assert seen() == []


@pytest.mark.parametrize(("days", "expected"), [(_SAME_DAYS - 1, []), (_SAME_DAYS, ["columns-alike"])])
def test_a_column_copied_from_another(days, expected):
    here = (np.arange(N) >= 30) & (np.arange(N) < 30 + days)
    rain = np.where(np.arange(N) % 5 == 0, DAYS["tmin"] / 2.0, 0.0).round(1)
    assert seen(rain=np.where(here, DAYS["wind"], rain)) == expected


def test_columns_may_both_be_nothing_or_saturated():
    damp = np.resize([98.0, 98.5, 99.0, 99.2, 99.4, 99.6, 99.8, 100.0], N)
    dry = {"rain": np.zeros(N), "wind": np.where(np.arange(N) % 4 == 0, 2.0, DAYS["wind"])}
    assert "columns-alike" not in seen(rh_max=damp, rh_min=damp, **dry)


def clipped(days, top=22.0, others=2):
    """Return radiation with so many days at its top, every second one, and one figure below on as many as said."""
    light = np.minimum(DAYS["radiation"], 21.9) - 0.001 * np.arange(N)
    light[1 : 2 * others : 2] = 20.0
    light[20 : 20 + 2 * days : 2] = top
    return light


@pytest.mark.parametrize(
    ("days", "others", "expected"),
    [
        (_AT_LIMIT - 1, 2, []),
        (_AT_LIMIT, 2, ["value-limit"]),
        (int(_TIMES_OTHERS) * 6, 6, []),
        (int(_TIMES_OTHERS) * 6 + 1, 6, ["value-limit"]),
    ],
)
def test_a_highest_figure_that_comes_far_more_often_than_others(days, others, expected):
    assert seen(radiation=clipped(days, others=others)) == expected


def test_one_stretch_is_a_sensor_that_is_stuck_and_no_limit():
    light = clipped(0)
    light[30:50] = 22.0
    assert seen(radiation=light) == []


@pytest.mark.parametrize(
    ("days", "grain", "expected"), [(2, 0.1, []), (3, 0.1, ["value-limit"]), (3, 0.2, []), (4, 0.2, ["value-limit"])]
)
def test_a_largest_rain_on_several_days_is_a_gauges_limit_by_how_finely_it_is_written(days, grain, expected):
    """Of a mean near 7 mm two more in the largest tenth have a chance of 0.0002, in the largest fifth of 0.0008."""
    rain = np.zeros(N)
    rain[2:62:3] = 2.0 + grain * np.arange(1, 41, 2) * (0.2 / grain)
    rain[2] = rain[5] + grain
    rain[62 : 62 + 3 * days : 3] = 20.0
    assert seen(rain=rain.round(1)) == expected
