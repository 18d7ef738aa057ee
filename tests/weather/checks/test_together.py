"""
Checks of quantities that go together, every threshold at its bound, in invented days: a June to August at 38° north.

What the checks are after: FAO-56 chapter 3 and Annex 5, from memory. The thresholds are common practice, no source, measured in
tests/benchmarks/weather_checks.py.
"""

from __future__ import annotations

import numpy as np
import pytest

from panbudget.physics import air
from tests.weather.checks.days import inspected

N = 90
DRAWN = np.random.default_rng(8)
LOW = 14.0 + DRAWN.normal(0.0, 1.0, N)
HIGH = LOW + 12.0 + DRAWN.normal(0.0, 1.0, N)
SATURATED = air.saturation_vapour_pressure
NAMES = {"humidity-mean", "range-half", "tmax-month", "temperature-year"}


def found(days=N, **columns):
    """Return the cautions of quantities that don't go together; none of these checks ever refuses."""
    inspection = inspected(days, **{"tmin": LOW[:days], "tmax": HIGH[:days]} | columns)
    assert not inspection.problems
    return [caution for caution in inspection.cautions if caution.name in NAMES]


def names(*arguments, **columns):
    return [caution.name for caution in found(*arguments, **columns)]


def humidity_of(vapour, tmin=LOW, tmax=HIGH):
    return 100.0 * vapour / air.mean_saturation_vapour_pressure(tmin, tmax)


@pytest.mark.parametrize(("way", "warm", "expected"), [(0.33, N, []), (0.35, 30, ["humidity-mean"]), (0.35, 29, [])])
def test_a_mean_humidity_whose_dew_point_is_far_above_the_minimum_is_the_highest(way, warm, expected):
    """A third of the way to the maximum, on thirty days above freezing."""
    tmin, tmax = (np.where(np.arange(N) < warm, part, part - 40.0) for part in (LOW, HIGH))
    humidity = humidity_of(SATURATED(tmin + way * (tmax - tmin)), tmin, tmax)
    assert names(tmin=tmin, tmax=tmax, rh_mean=humidity) == expected


def test_what_a_highest_humidity_is_worth_goes_by_its_own_equation():
    """FAO-56 eq 18 for the highest humidity and 19 for the mean: both give the same vapour."""
    (caution,) = found(rh_mean=np.full(N, 94.0))
    vapour = air.vapour_pressure_from_rh_mean(caution.instead[0]["rh_mean"], tmin=LOW, tmax=HIGH)
    assert vapour == pytest.approx(air.vapour_pressure_from_rh_max(np.full(N, 94.0), tmin=LOW))


@pytest.mark.parametrize(
    ("humidity", "wet", "rain", "expected"),
    [(60.0, 3, 5.0, []), (59.9, 3, 5.0, ["humidity-mean"]), (59.9, 2, 5.0, []), (59.9, 3, 4.9, [])],
)
def test_a_mean_humidity_below_60_percent_on_3_wet_days_is_the_lowest(humidity, wet, rain, expected):
    days = np.arange(N) % 20 == 3
    days[20 * wet :] = False
    falls = np.where(days, rain, 0.0)
    assert names(rain=falls, rh_mean=np.where(days, humidity, 50.0 + 0.1 * np.arange(N))) == expected


@pytest.mark.parametrize(("below", "wet", "expected"), [(1.8, 10, []), (2.0, 10, ["humidity-mean"]), (2.0, 9, [])])
def test_a_dew_point_far_below_the_minimum_on_10_wet_days_is_that_of_the_lowest_humidity(below, wet, expected):
    """As rain cools the air nearly to its dew point."""
    days = np.arange(N) % 3 == 0
    days[3 * wet :] = False
    humidity = humidity_of(SATURATED(LOW - np.where(days, below, 5.0)), tmax=LOW + 8.0)
    assert humidity[days].min() > 60.0
    assert names(rain=np.where(days, 5.0, 0.0), rh_mean=humidity, tmax=LOW + 8.0) == expected


def warming_by_humidity(times, tmin=LOW, tmax=HIGH):
    """Return humidities by which days warm up so many times as far as they do."""
    return {"rh_max": np.full(tmin.size, 90.0), "rh_min": 90.0 * (SATURATED(tmin) / SATURATED(tmax)) ** times}


@pytest.mark.parametrize(
    ("times", "by", "warm", "expected"),
    [
        (1.64, 9.0, N, []),
        (1.66, 9.0, N, ["range-half"]),
        (1.66, 10.8, N, ["range-half"]),
        (1.66, 10.9, N, []),  # 18.1 °C by humidity: a desert's afternoon
        (1.66, 9.0, 29, []),
    ],
)
def test_days_that_warm_up_half_as_far_as_their_humidity_says_have_a_mean_for_an_extreme(times, by, warm, expected):
    tmin = np.where(np.arange(N) < warm, LOW, LOW - 40.0)
    assert names(tmin=tmin, tmax=tmin + by, **warming_by_humidity(times, tmin, tmin + by)) == expected


@pytest.mark.parametrize(
    ("by", "dry", "warm", "expected"),
    [
        (9.9, 8.1, N, ["range-half"]),
        (10.1, 8.1, N, []),
        (9.9, 7.9, N, []),
        (9.9, 8.1, 30, ["range-half"]),
        (9.9, 8.1, 29, []),
    ],
)
def test_days_of_dry_air_that_hardly_warm_up_have_a_mean_for_an_extreme(by, dry, warm, expected):
    tmin = np.where(np.arange(N) < warm, LOW, LOW - 40.0)
    assert names(tmin=tmin, tmax=tmin + by, dew_point=tmin - dry) == expected
    assert names(tmin=tmin, tmax=tmin + by, vapour_pressure=SATURATED(tmin - dry)) == expected


def test_an_extreme_that_is_the_mean_is_worth_twice_the_range_either_way():
    columns = {"dew_point": LOW - 8.1, "tmin": LOW, "tmax": LOW + 9.0}
    (said,) = inspected(N, **columns, only="range-half", trust=()).cautions
    assert [float((way.get("tmax", LOW + 9.0) - way.get("tmin", LOW)).mean()) for way in said.instead] == [
        pytest.approx(18.0)
    ] * 2


@pytest.mark.parametrize(
    ("first", "length", "by", "expected"),
    [
        (20, 30, 5.3, []),
        (20, 30, 5.5, ["tmax-month"]),
        (20, 27, 5.5, []),
        (20, 28, 5.5, ["tmax-month"]),
        (20, 29, 5.5, ["tmax-month"]),
        (30, 31, 4.3, []),  # July
        (30, 31, 4.5, ["tmax-month"]),
        (31, 31, 4.6, []),
        (13, 30, 5.5, []),  # fewer than fourteen days before it
        (14, 30, 5.5, ["tmax-month"]),
        (20, 10, 7.9, []),
        (20, 10, 8.1, ["tmax-month"]),
        (20, 27, 8.1, ["tmax-month"]),
        (20, 9, 8.8, []),
        (9, 20, 8.1, []),  # fewer than ten days before it
        (10, 20, 8.1, ["tmax-month"]),
        (64, 26, 9.0, []),  # it goes on to the end
    ],
)
def test_maxima_that_are_higher_for_weeks_are_another_thermometers(first, length, by, expected):
    warmer = by * ((np.arange(N) >= first) & (np.arange(N) < first + length))
    flat = {"tmin": 14.0 + 0.001 * LOW, "tmax": 26.0 + 0.001 * LOW}
    assert names(**flat | {"tmax": flat["tmax"] + warmer}) == expected
    assert names(**{name: values + warmer for name, values in flat.items()}) == []


@pytest.mark.parametrize(("days", "expected"), [(59, []), (60, ["tmax-month"])])
def test_two_months_tell_a_month_that_is_warmer(days, expected):
    warmer = 6.0 * ((np.arange(days) >= 14) & (np.arange(days) < 42))
    assert names(days, tmin=14.0, tmax=26.0 + warmer) == expected


@pytest.mark.parametrize(("by", "expected"), [(3.99, []), (4.0, ["humidity-mean"])])
def test_days_that_hardly_warm_up_tell_nothing_of_their_humidity(by, expected):
    """From 4 °C on, whose dew point is half of the way up."""
    tmax = LOW + by
    assert names(tmax=tmax, rh_mean=humidity_of(SATURATED(LOW + 0.5 * by), LOW, tmax)) == expected


@pytest.mark.parametrize(("by", "expected"), [(1.99, []), (2.01, ["range-half"])])
def test_days_that_hardly_warm_up_tell_nothing_of_an_extreme(by, expected):
    assert names(tmax=LOW + by, **warming_by_humidity(1.8, LOW, LOW + by)) == expected


def test_what_a_warm_month_is_worth_takes_it_back_to_the_weeks_around():
    warmer = 8.0 * ((np.arange(N) >= 20) & (np.arange(N) < 50))
    (caution,) = found(tmin=14.0 + 0.001 * LOW, tmax=26.0 + 0.001 * LOW + warmer)
    assert "8.0 °C higher from 2025-06-21 to 2025-07-20" in caution.sentence
    assert caution.instead[0]["tmax"] == pytest.approx(np.full(N, 26.014), abs=0.01)


def going_with(series, share, size):
    """Return a series whose changes from day to day go with another's by so much."""
    one = np.diff(series) - np.diff(series).mean()
    other = np.random.default_rng(3).normal(size=one.size)
    other -= other.mean()
    other -= one * (one @ other) / (one @ one)
    changes = share * one / np.linalg.norm(one) + np.sqrt(1.0 - share**2) * other / np.linalg.norm(other)
    return size * np.append(0.0, np.cumsum(changes))


def beside(share, days=N):
    """Return what may stand beside temperatures, each going with them by so much."""
    low, high = LOW[:days], HIGH[:days]
    range_of = going_with(np.log(SATURATED(high) / SATURATED(low)), share, 0.1)
    clear = {"rh_max": np.full(days, 90.0), "rh_min": 90.0 * np.exp(-0.8 - range_of)}
    light = 20.0 + going_with(high - low, share, 0.5)
    return clear, {"radiation": light}, {"dew_point": 10.0 + going_with(low, share, 0.5)}


@pytest.mark.parametrize(("share", "expected"), [(0.1205, []), (0.1195, ["temperature-year"])])
def test_temperatures_that_go_with_nothing_beside_them_are_of_other_days(share, expected):
    humid, light, dew = beside(share)
    assert names(**humid) == expected
    assert names(**dew, **light, clear=28.0) == expected
    assert names(**dew) == []
    assert names(**light, clear=28.0) == []  # on dull coasts light alone may go with nothing
    assert [names(days, **beside(share, days)[0]) for days in (60, 61)] == [[], expected]


def test_one_thing_that_temperatures_go_with_is_enough():
    humid, light, dew = beside(0.0)
    assert names(**humid, **dew, **light, clear=28.0) == ["temperature-year"]
    assert names(**humid, **light, **beside(0.3)[2], clear=28.0) == []


@pytest.mark.parametrize("name", sorted(NAMES))
def test_whoever_knows_better_trusts_them(name):
    humid, _, _ = beside(0.0)
    warmer = 9.0 * ((np.arange(N) >= 20) & (np.arange(N) < 50))
    shown = {
        "humidity-mean": {"rh_mean": 94.0},
        "range-half": {"tmax": LOW + 9.0, **warming_by_humidity(1.8, LOW, LOW + 9.0)},
        "tmax-month": {"tmax": HIGH + warmer},
        "temperature-year": humid,
    }
    assert name in names(**shown[name])
    assert name not in names(**shown[name], trust=[name])
