"""
Checks of quantities that go together, every threshold at its bound, in invented days: a June to August at 38° north.

What the checks are after: FAO-56 chapter 3 and Annex 5, from memory. The thresholds are common practice, no source, measured in
tests/benchmarks/weather_checks.py.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.physics import air
from tests.weather.checks.days import inspected, spoken
from tests.weather.checks.test_sensors import by_hour
from tests.weather.sites import Site

N = 90
DRAWN = np.random.default_rng(8)
LOW = 14.0 + DRAWN.normal(0.0, 1.0, N)
HIGH = LOW + 12.0 + DRAWN.normal(0.0, 1.0, N)
SATURATED = air.saturation_vapour_pressure
NAMES = {"humidity-mean", "range-half", "tmax-month", "tmin-month", "temperature-year"}


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
        (64, 26, 9.0, ["tmax-month"]),  # to the end
        (77, 13, 5.1, []),
        (76, 14, 4.9, []),
        (76, 14, 5.1, ["tmax-month"]),
        (13, 77, 5.1, []),
        (14, 76, 5.1, ["tmax-month"]),
    ],
)
def test_maxima_that_are_higher_for_weeks_are_another_thermometers(first, length, by, expected):
    warmer = by * ((np.arange(N) >= first) & (np.arange(N) < first + length))
    flat = {"tmin": 14.0 + 0.001 * LOW, "tmax": 26.0 + 0.001 * LOW}
    assert names(**flat | {"tmax": flat["tmax"] + warmer}) == expected
    assert names(**{name: values + warmer for name, values in flat.items()}) == []


def test_a_step_that_lasts_to_the_end_is_told_by_its_size_and_not_by_what_the_season_does_later():
    """Ranges of 10 °C for two months, 18 for two more and 4 from then on: the step is 8 °C up, though the rest has 2 less."""
    ranges = np.repeat([10.0, 18.0, 4.0], [60, 60, 140]) + 0.001 * np.resize(LOW, 260)
    said = spoken("tmax-month", 260, tmin=14.0, tmax=14.0 + ranges)
    assert "is 8.0 °C higher from 2025-07-31 on than before" in said, said


def test_records_that_leap_are_doubted_on_three_days_and_worth_the_extremes_without_them():
    index = pd.date_range("2025-06-01", periods=N)
    for days, doubted in ((2, False), (3, True)):
        lone = pd.DataFrame({"tmin": 14.0, "tmax": 26.0}, index=index[10 : 10 + days])
        columns = {
            "tmin": 14.0,
            "tmax": np.where(np.arange(N) == 11, 38.0, 26.0),
            "by_hour": by_hour(0.0)._replace(lone=lone),
        }
        found = inspected(N, **columns, only="temperature-spike", trust=())
        assert bool(found.cautions) is doubted
    assert "on 3 days, first on 2025-06-11" in found.cautions[0].sentence
    assert found.cautions[0].instead[0]["tmax"].max() == 26.0


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


def part(first, length):
    return (np.arange(N) >= first) & (np.arange(N) < first + length)


def minima(by, first, length, **columns):
    """Return what is said where minima are lower for some days."""
    tmin = 14.0 + 0.001 * LOW - by * part(first, length)
    return names(**{"tmin": tmin, "tmax": 26.0 + 0.001 * LOW} | columns)


DEW = {"dew_point": 12.0 + 0.001 * HIGH}
LOWER = ["tmin-month"]


@pytest.mark.parametrize(
    ("by", "length", "alone", "beside_dew_point"),
    [
        (5.9, 14, [], []),
        (6.1, 14, [], LOWER),
        (7.9, 19, [], LOWER),
        (8.1, 19, LOWER, LOWER),
        (8.1, 10, LOWER, LOWER),
        (6.5, 9, [], []),
        (8.1, 20, [], LOWER),
        (6.1, 31, [], LOWER),
        (6.1, 32, [], []),
    ],
)
def test_minima_that_are_lower_for_weeks_are_another_thermometers(by, length, alone, beside_dew_point):
    assert minima(by, 30, length) == alone
    assert minima(by, 30, length, **DEW) == beside_dew_point
    vapour = {"vapour_pressure": SATURATED(DEW["dew_point"])}
    assert minima(by, 30, length, **vapour) == beside_dew_point


@pytest.mark.parametrize(("of_dew", "expected"), [(8.0, LOWER), (8.2, [])])
def test_a_dew_point_that_falls_with_the_minimum_tells_of_cold_air(of_dew, expected):
    """2 °C at least, and 6 °C in the mean, are the minimum's alone."""
    dew_point = DEW["dew_point"] - of_dew * part(30, 24)
    assert minima(10.1, 30, 24, dew_point=dew_point) == expected


@pytest.mark.parametrize(("by", "speaks"), [(6.1, False), (6.4, True)])
def test_an_afternoons_humidity_that_does_not_fall_tells_of_another_thermometer(by, speaks):
    """Of its dew point, which rises by some 0.9 °C for each °C."""
    tmin, tmax = 14.0 + 0.001 * LOW, 26.0 + 0.001 * LOW
    humid = {"rh_max": np.full(N, 80.0), "rh_min": 80.0 * SATURATED(tmin) / SATURATED(tmax)}
    said = spoken("tmax-month", N, tmin=tmin, tmax=tmax + by * part(30, 20), **humid)
    assert bool(said) is speaks, said


@pytest.mark.parametrize(("falls", "expected"), [(5.0, ["tmax-month"]), (7.0, [])])
def test_an_extreme_is_not_blamed_where_the_other_moves_more(falls, expected):
    there = part(30, 30)
    assert names(tmin=14.0 + 0.001 * LOW - falls * there, tmax=26.0 + 0.001 * LOW + 6.0 * there) == expected


@pytest.mark.parametrize(("uneven", "expected"), [(2.2, ["tmax-month"]), (2.3, [])])
def test_maxima_are_higher_to_the_end_where_nearly_all_ranges_are(uneven, expected):
    """The middle halves of the days' ranges are 3.5 °C apart."""
    tmax = 26.0 + uneven * (-1.0) ** np.arange(N) + 8.0 * part(60, 30)
    assert names(tmin=14.0 + 0.001 * LOW, tmax=tmax) == expected
    (said,) = found(tmin=14.0 + 0.001 * LOW, tmax=26.0 + 0.001 * LOW + 8.0 * part(60, 30))
    assert "8.0 °C higher from 2025-07-31 on than before" in said.sentence
    assert said.instead[0]["tmax"] == pytest.approx(np.full(N, 26.014), abs=0.01)


@pytest.mark.parametrize(("wide", "expected"), [(15, ["tmax-month"]), (16, [])])
def test_what_is_higher_to_the_end_is_held_against_two_months(wide, expected):
    days = np.arange(150)
    higher = (days >= 100) | (days < 40 + wide)
    said = spoken("tmax-month", 150, tmin=14.0 + 0.001 * days, tmax=26.0 + 0.001 * days + 9.0 * higher)
    assert bool(said) is bool(expected), said


@pytest.mark.parametrize(
    ("falls", "rises", "expected"),
    [(5.9, 0.0, []), (6.1, 0.0, LOWER), (1.9, 5.0, []), (2.1, 5.0, LOWER)],
)
def test_minima_that_part_from_the_dew_point_to_the_end_are_another_thermometers(falls, rises, expected):
    tmax = 26.0 + 3.0 * (-1.0) ** np.arange(N)
    there = part(40, 50)
    assert minima(falls, 40, 50, tmax=tmax, dew_point=8.0 + 0.001 * HIGH + rises * there) == expected


NOISE = np.random.default_rng(5).normal(0.0, 1.0, N)
TURN = (-1.0) ** np.arange(N)


@pytest.mark.parametrize(("apart", "speaks"), [(0.49, False), (0.51, True)])
def test_a_dew_point_that_trades_places_with_the_minimum_in_turn_is_exchanged(apart, speaks):
    dew_point = np.where(TURN > 0.0, LOW, LOW - 2.0 * apart)
    tmin = np.where(TURN > 0.0, LOW - 2.0 * apart, LOW)
    said = spoken("dew-point-exchanged", N, tmin=tmin + apart, tmax=HIGH, dew_point=dew_point + apart * (1.0 - TURN))
    assert bool(said) is speaks, said


@pytest.mark.parametrize(("apart", "speaks"), [(0.85, False), (0.90, True)])
def test_a_dew_point_that_moves_as_far_over_odd_numbers_of_days_as_over_even_ones_is_not(apart, speaks):
    """1.4 times as far, over up to six days."""
    said = spoken("dew-point-exchanged", N, tmin=LOW, tmax=HIGH, dew_point=LOW - 3.0 + 2.0 * NOISE + apart * TURN)
    assert bool(said) is speaks, said


def test_dew_points_that_are_exchanged_in_turn_are_worth_what_they_are_the_right_way_round():
    tmin, dew_point = LOW, LOW - 3.0 + 0.3 * NOISE
    turned = {"tmin": np.where(TURN > 0.0, dew_point, tmin), "dew_point": np.where(TURN > 0.0, tmin, dew_point)}
    (said,) = inspected(N, **turned, tmax=HIGH, only="dew-point-exchanged", trust=()).cautions
    assert "every other day" in said.sentence
    assert np.array_equal(said.instead[0]["tmin"], tmin) and np.array_equal(said.instead[0]["dew_point"], dew_point)


@pytest.mark.parametrize(
    ("by", "low", "days", "start", "speaks"),
    [
        (3.7, 12, 60, "2025-06-01", True),
        (3.5, 12, 60, "2025-06-01", False),
        (3.7, 12, 60, "2025-10-01", False),
        (3.7, 12, 50, "2025-06-01", True),
        (3.7, 12, 49, "2025-06-01", False),
        (3.7, 29, 60, "2025-06-01", True),
        (3.7, 31, 60, "2025-06-01", False),
    ],
)
def test_a_dew_point_that_reaches_farther_above_the_minimum_than_below_is_exchanged(by, low, days, start, speaks):
    """Under a high sun, by 2.6 °C, on fifty days, more of which are above than below."""
    above = np.where(np.arange(days) < low, -1.0, by)
    said = spoken(
        "dew-point-exchanged", days, start=start, tmin=LOW[:days], tmax=HIGH[:days], dew_point=LOW[:days] + above
    )
    assert bool(said) is speaks, said


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


@pytest.mark.parametrize(
    ("by", "count", "beside", "speaks"),
    [(10.1, 3, 0.0, True), (9.9, 3, 0.0, False), (10.1, 2, 0.0, False), (10.1, 3, 1.0, False)],
)
@pytest.mark.parametrize(("name", "other", "sign"), [("tmax", "tmin", 1.0), ("tmin", "tmax", -1.0)])
def test_an_extreme_that_stands_out_by_itself_on_three_days_is_doubted(by, count, beside, speaks, name, other, sign):
    """By 10 °C at least, from the day before and the day after; not if the other leaps with it."""
    at = np.arange(N)
    slips = sign * by * ((at % 9 == 5) & (at < 9 * count))
    days = {name: (HIGH if name == "tmax" else LOW).mean() + slips, other: 20.0 + beside * slips}
    assert ("the day after" in spoken("temperature-spike", N, **days)) is speaks


@pytest.mark.parametrize(
    ("by", "of_vapour", "days", "speaks"),
    [(4.6, 4.6, 90, True), (4.4, 9.0, 90, False), (9.0, 4.4, 90, False), (4.6, 4.6, 89, False)],
)
def test_a_maximum_that_drifts_away_from_the_minimum_and_the_vapour_is_doubted(by, of_vapour, days, speaks):
    along = np.linspace(0.0, 1.0, days)
    tmin, tmax = np.full(days, 14.0), 26.0 + by * along
    humidity = {"rh_max": 100.0, "rh_min": 100.0 * SATURATED(14.0 + of_vapour * along) / SATURATED(tmax)}
    assert ("that drifts" in spoken("tmax-month", days, tmin=tmin, tmax=tmax, **humidity)) is speaks


@pytest.mark.parametrize("name", sorted(NAMES))
def test_whoever_knows_better_trusts_them(name):
    humid, _, _ = beside(0.0)
    warmer = 9.0 * ((np.arange(N) >= 20) & (np.arange(N) < 50))
    shown = {
        "humidity-mean": {"rh_mean": 94.0},
        "range-half": {"tmax": LOW + 9.0, **warming_by_humidity(1.8, LOW, LOW + 9.0)},
        "tmax-month": {"tmax": HIGH + warmer},
        "tmin-month": {"tmin": LOW - warmer, "dew_point": LOW - 1.0},
        "temperature-year": humid,
    }
    assert name in names(**shown[name])
    assert name not in names(**shown[name], trust=[name])


@pytest.mark.parametrize("beside", [{}, {"dew_point": LOW - 8.1}])
def test_a_mean_that_a_header_tells_is_told_once(beside):
    days = {"tmin": LOW, "tmax": LOW + 9.0, **warming_by_humidity(1.8, LOW, LOW + 9.0), **beside}
    (said,) = inspected(N, **days, means={"tmax": "Temp Avg"}, only="range-half", trust=()).cautions
    assert '"Temp Avg"' in said.sentence


def as_one(share, *, apart=7.0, days=N, **columns):
    """Return days whose extremes' changes go together by just such a share, and lie so far apart in the middle."""
    one, other = np.random.default_rng(3).normal(0.0, 0.2, (2, days - 1))
    one, other = one - one.mean(), other - other.mean()
    other -= one * (one @ other) / (one @ one)
    both = share * one + np.sqrt(1.0 - share**2) * other * np.sqrt((one @ one) / (other @ other))
    tmin, tmax = (14.0 + np.r_[0.0, np.cumsum(changes)] for changes in (one, both))
    return {"days": days, "tmin": tmin, "tmax": tmax + apart - float(np.median(tmax - tmin)), **columns}


@pytest.mark.parametrize(
    ("days", "told"),
    [
        (as_one(0.699), False),
        (as_one(0.701), True),
        (as_one(0.989), True),
        (as_one(0.991), False),  # made up: all days warm up by the same
        (as_one(0.8, apart=8.01), False),
        (as_one(0.8, apart=7.99), True),
        (as_one(0.8, days=60), False),
        (as_one(0.8, days=61), True),
        (as_one(0.8, rh_max=80.0, rh_min=60.0), False),  # which tell it better
        (as_one(0.8, site=Site(55.1, 100.0)), False),
        (as_one(0.8, site=Site(54.9, 100.0)), True),
        (
            as_one(0.8, start="2025-08-13"),
            False,
        ),  # Ra at 38° is 29 in its middle, and 31 a fortnight before (FAO-56, table 2.6)
        (as_one(0.8, start="2025-07-25"), True),
    ],
)
def test_extremes_that_change_as_one_have_a_mean_among_them(days, told):
    """Of two quantities one of which holds half of the other, with as much of its own: most of their changes are one."""
    assert ("change as one" in spoken("range-half", **days)) is told


def in_turns(share, rest, *, apart, others, days=60, late=True, start="2025-05-01", **columns):
    """Return sixty days and some more, whose changes go together by just such shares, the latter that far apart, or the former."""
    wave = np.arange(60 + days + 1) * np.pi / 2.0  # of which sine and cosine have changes of their own
    part = np.arange(wave.size) >= 60 if late else np.arange(wave.size) <= days
    of = np.where(part, share, rest)
    tmax = 14.0 + np.where(part, apart, others) + of * np.cos(wave) + np.sqrt(1.0 - of**2) * np.sin(wave)
    return {"days": wave.size, "tmin": 14.0 + np.cos(wave), "tmax": tmax, "start": start, **columns}


@pytest.mark.parametrize(
    ("days", "told"),
    [
        (in_turns(0.8, 0.4, apart=6.0, others=12.0), True),
        (in_turns(0.8, 0.4, apart=6.0, others=12.0, late=False), True),
        (in_turns(0.8, 0.4, apart=12.0, others=6.0), False),  # the wide part, which goes together by night and day
        (in_turns(0.69, 0.4, apart=6.0, others=12.0), False),
        (in_turns(0.71, 0.4, apart=6.0, others=12.0), True),
        (in_turns(0.8, 0.66, apart=6.0, others=12.0), False),
        (in_turns(0.8, 0.64, apart=6.0, others=12.0), True),
        (in_turns(0.8, 0.4, apart=11.4 * np.exp(-0.19) - 0.2, others=12.0), False),
        (in_turns(0.8, 0.4, apart=11.4 * np.exp(-0.21) - 0.2, others=12.0), True),
        (in_turns(0.8, 0.4, apart=6.0, others=12.0, days=28), False),
        (in_turns(0.8, 0.4, apart=6.0, others=12.0, days=29), True),
        (in_turns(0.8, 0.4, apart=6.0, others=12.0, rh_max=60.0, rh_min=48.0), True),
        # Ra at 38° is 20 late in October (22.2 and 16.6 in the middle of October and November: FAO-56 table 2.6, from memory)
        (in_turns(0.8, 0.4, apart=6.0, others=12.0, start="2025-08-10", days=40), True),
        (in_turns(0.8, 0.4, apart=6.0, others=12.0, start="2025-08-25", days=40), False),
    ],
)
def test_extremes_that_change_as_one_on_a_narrower_part_alone_have_a_mean_among_them_there(days, told):
    """By the middle halves: a quarter of the wide days warm up by 12 - 0.6 °C at most, one of the others by 0.2 °C more than they do."""
    said = spoken("range-half", **days)
    assert ("change as one" in said) is told
    assert said.count("one of") == told


@pytest.mark.parametrize("late", [True, False])
def test_a_mean_of_some_months_is_worth_a_wider_range_on_its_own_days(late):
    days = in_turns(0.8, 0.4, apart=6.0, others=12.0, late=late)
    (said,) = inspected(**days, only="range-half", trust=()).cautions
    first, last = ("2025-06-30", "2025-08-29") if late else ("2025-05-01", "2025-06-30")
    assert f"from {first} to {last} and " in said.sentence
    part = np.arange(days["days"]) >= 60 if late else np.arange(days["days"]) <= 60
    further = np.where(part, days["tmax"] - days["tmin"], 0.0)
    assert said.instead[0]["tmax"] == pytest.approx(days["tmax"] + further)
    assert said.instead[1]["tmin"] == pytest.approx(days["tmin"] - further)


@pytest.mark.parametrize(
    ("days", "warmer", "light", "expected"),
    [(3, 0.9, 20.0, ["range-half"]), (2, 0.9, 20.0, []), (3, 1.1, 20.0, []), (3, 0.9, 15.0, [])],
)
def test_nights_as_warm_as_their_days_under_a_bright_sun_are_a_gap_that_was_bridged(days, warmer, light, expected):
    """A clear sky gives 26 MJ/m² there and more in these weeks."""
    highest = HIGH.copy()
    highest[40 : 40 + days] = LOW[40 : 40 + days] + warmer
    assert names(tmax=highest, radiation=np.where(highest == HIGH, 22.0, light)) == expected
