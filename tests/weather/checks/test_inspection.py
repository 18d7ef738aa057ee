"""
Single days: what is still believed, and the first value that is not; whom it is counted to.

Thresholds are common practice, no source, unless a test says otherwise. The days are invented: 20 of a June at 38° north.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.weather.checks.days import AIR, E30, P100, codes, inspected, one_day

ONE_DAY = [
    ("tmax", 30.0, {"tmin": 14.0}, 57.0, 57.1, "tmax-range"),
    ("tmin", 14.0, {"tmax": 30.0}, -90.0, -90.1, "tmin-range"),
    ("tmax", 30.0, {"tmin": 14.0}, 14.0, 13.9, "tmax-below-tmin"),
    ("rh_max", 80.0, AIR, 100.0, 100.1, "rh_max-range"),
    ("rh_min", 35.0, AIR, 0.0, -0.1, "rh_min-range"),
    ("rh_mean", 50.0, AIR, 100.0, 100.1, "rh_mean-range"),
    ("rh_max", 80.0, AIR, 1.06, 0.0, "humidity-zero"),
    ("rh_mean", 50.0, AIR, 1.06, 0.0, "humidity-zero"),
    ("rh_max", 80.0, AIR, 1.06, 1.05, "humidity-fraction"),
    ("rh_mean", 50.0, AIR, 1.06, 1.05, "humidity-fraction"),
    ("rh_max", 80.0, AIR | {"rh_min": 35.0}, 35.0, 34.9, "rh_max-below-rh_min"),
    ("rh_mean", 50.0, AIR | {"rh_max": 80.0}, 80.5, 80.6, "rh_mean-above-rh_max"),
    ("rh_mean", 50.0, AIR | {"rh_min": 35.0}, 34.5, 34.4, "rh_mean-below-rh_min"),
    ("dew_point", 12.0, AIR, 24.0, 24.1, "dew_point-above-tmin"),
    ("dew_point", 12.0, {"tmin": 25.0, "tmax": 30.0}, 30.0, 30.1, "dew_point-above-tmax"),
    ("dew_point", 12.0, AIR, -95.0, -95.1, "dew_point-range"),
    ("dew_point", 12.0, {"rain": 0.0}, 36.0, 36.1, "dew_point-range"),
    ("vapour_pressure", 1.5, AIR, E30 * 1.00099, E30 * 1.00101, "saturation"),
    ("vapour_pressure", 1.5, {"rain": 0.0}, 6.0, 6.01, "vapour_pressure-range"),
    ("vapour_pressure", 1.5, AIR, 0.001, 0.0, "vapour_pressure-range"),
    ("wind", 2.0, {}, 0.0, -0.1, "wind-range"),
    ("wind", 2.0, {}, 40.0, 40.1, "wind-range"),
    ("pressure", P100, {}, P100 + 11.99, P100 + 12.01, "pressure-range"),
    ("pressure", P100, {}, P100 - 11.99, P100 - 12.01, "pressure-range"),
    ("rain", 0.0, {}, 0.0, -0.1, "rain-range"),
    ("rain", 0.0, {}, 400.0, 400.1, "rain-much"),
    ("sunshine", 9.0, {}, 0.0, -0.1, "sunshine-range"),
    ("pan_evaporation", 8.0, {}, 0.0, -0.1, "pan_evaporation-range"),
    ("pan_evaporation", 8.0, {}, 40.0, 40.1, "pan_evaporation-range"),
    ("radiation", 24.0, {}, 0.1, -0.1, "radiation-range"),
    ("radiation", 24.0, {}, 0.01, 0.0, "radiation-zero"),
]


@pytest.mark.parametrize(("name", "usual", "others", "last", "first", "code"), ONE_DAY)
def test_a_value_is_believed_up_to_its_bound_and_refused_beyond(name, usual, others, last, first, code):
    assert codes(**others, **{name: one_day(usual, last)}) == []
    found = inspected(**others, **{name: one_day(usual, first)})
    (problem,) = found.problems
    assert (problem.code, problem.where) == (code, name)
    assert problem.value == pytest.approx(first)
    assert "on 2025-06-04" in problem.found and problem.cure
    assert np.isnan(found.daily[name].iloc[3])


@pytest.mark.parametrize(("name", "usual", "others", "last", "first", "code"), ONE_DAY)
def test_a_day_that_nobody_asked_for_is_left_out_and_counted(name, usual, others, last, first, code):
    found = inspected(**others, **{name: one_day(usual, first)}, asked=[day != 3 for day in range(20)])
    assert found.problems == []
    assert found.left_out == {name: 1}
    assert np.isnan(found.daily[name].iloc[3])
    assert f"{name}: 1 value that can't be true left out, on days outside those asked for" in found.notes


def test_the_worst_day_is_named_and_the_others_are_counted():
    (problem,) = inspected(rain=[0.0, -1.0, -3.0, -2.0] + [0.0] * 16).problems
    assert problem.found == "is -3 mm on 2025-06-03 (and 2 more days)"
    (problem,) = inspected(rh_max=[80.0, 101.0, 103.0] + [80.0] * 17).problems
    assert problem.found == "is 103 % on 2025-06-03 (and 1 more day)"


@pytest.mark.parametrize(
    ("name", "other", "columns"),
    [
        ("tmax", "tmin", {"tmin": 14.0, "tmax": one_day(30.0, 9.0)}),
        ("rh_max", "rh_min", {"rh_min": 35.0, "rh_max": one_day(80.0, 30.0)}),
        ("rh_mean", "rh_max", {"rh_max": 80.0, "rh_mean": one_day(50.0, 90.0)}),
        ("rh_mean", "rh_min", {"rh_min": 35.0, "rh_mean": one_day(50.0, 20.0)}),
    ],
)
def test_a_column_that_shares_the_blame_is_left_out_too(name, other, columns):
    daily = inspected(**columns).daily
    assert daily[name].isna().tolist() == daily[other].isna().tolist() == [day == 3 for day in range(20)]


def test_a_dew_point_above_tmax_leaves_the_temperatures_alone():
    daily = inspected(**AIR, dew_point=one_day(12.0, 31.0)).daily
    assert daily[["tmin", "tmax"]].notna().all().all()
