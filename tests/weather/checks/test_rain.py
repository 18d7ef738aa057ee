"""
Checks of rain over a season, thresholds at their bounds, in invented days: June to August. Common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.weather.checks.days import inspected, one_day

N = 92
AT = np.arange(N)
LOW = 14.0 + np.random.default_rng(2).normal(0.0, 2.0, N).round(2)
JULY = (AT >= 30) & (AT < 61)


def found(rain, **columns):
    """Return what is cautioned of rain."""
    options = {"start": "2025-06-01", "tmin": LOW, "tmax": LOW + 12.0, "stated": ("rain",)} | columns
    inspection = inspected(N, rain=rain, **options)
    assert not inspection.problems
    return [caution for caution in inspection.cautions if caution.name.startswith("rain")]


def falls(where, amount=3.0):
    """Return rain on some days, none of them as another."""
    rain = np.zeros(N)
    rain[where] = amount
    return (rain * (1.0 + 0.01 * AT)).round(1)


@pytest.mark.parametrize(
    ("spells", "others", "off", "expected"),
    [
        (5, 0, 0.0, False),
        (6, 0, 0.0, True),
        (6, 2, 0.0, True),
        (6, 3, 0.0, False),
        (6, 0, 0.05, True),
        (6, 0, 0.06, False),
    ],
)
def test_rain_that_holds_the_day_before_leaves_nothing_on_the_last_day_of_a_spell(spells, others, off, expected):
    """Two days of rain of 3 and 5 mm stand there as 3, 8 and 5 mm; a day alone that stands there so is none of them."""
    alone = np.zeros(N)
    alone[1 : 1 + 7 * spells : 7], alone[2 : 2 + 7 * spells : 14] = 3.0, 5.0
    rain = alone + np.append(0.0, alone[:-1])
    rain[np.append(False, alone[:-1] > 0.0) & (rain < 8.0)] += off
    rain[60 : 60 + 5 * others : 5] = 40.0
    cautions = [caution for caution in found(rain) if "rainy spells" in caution.sentence]
    assert bool(cautions) is expected
    if expected and not others and not off:
        assert cautions[0].instead[0]["rain"] == pytest.approx(alone)


@pytest.mark.parametrize(
    ("amount", "before", "last", "expected"),
    [(6.8, 4, 60, False), (6.9, 4, 60, True), (9.9, 3, 60, False), (6.9, 4, 59, False)],
)
def test_a_month_whose_last_day_alone_is_wet_is_a_months_total(amount, before, last, expected):
    """Twice the mean wet day's rain at least: of eight of 3 mm and the last, 6.86 mm; and four wet days in the months beside."""
    rain = np.zeros(N)
    rain[[2, 8, 15, 23][:before]], rain[[61, 67, 75, 83]], rain[last] = 3.0, 3.0, amount
    rain[2] += 3.0 * (4 - before)
    assert ("looks like the month's total" in str([caution.sentence for caution in found(rain)])) is expected


@pytest.mark.parametrize(
    ("wet", "times", "expected"), [(8, 1 / 6.5, False), (8, 1 / 6.9, True), (7, 1 / 6.9, False), (8, 6.9, False)]
)
def test_a_month_whose_wet_days_are_a_small_part_of_others_is_in_another_unit(wet, times, expected):
    """exp(1.9) = 6.7, with eight wet days; to hundredths throughout, so that the figures tell nothing."""
    rain = np.zeros(N)
    rain[1:28:3], rain[62:89:3] = 13.01, 13.01
    rain[31 : 31 + 3 * wet : 3] = 13.01 * times
    rain *= 1.0 + 0.0001 * AT
    assert any("looks like inches or cm" in caution.sentence for caution in found(rain)) is expected


@pytest.mark.parametrize(
    ("wet", "times", "expected"), [(3, 1 / 2.9, False), (3, 1 / 3.1, True), (2, 1 / 3.1, False), (3, 3.1, False)]
)
def test_hundredths_among_tenths_tell_that_from_a_third_on(wet, times, expected):
    """exp(1.1) = 3.0, with three wet days."""
    rain = np.zeros(N)
    rain[1:28:3], rain[62:89:3] = 8.1, 8.1
    rain[31 : 31 + 3 * wet : 3] = np.floor(8.1 * times * 10.0) / 10.0 + (0.02 if times == 1 / 2.9 else 0.01)
    cautions = [caution for caution in found(rain) if "looks like inches or cm" in caution.sentence]
    assert bool(cautions) is expected
    if cautions:
        assert cautions[0].instead[0]["rain"][31] == pytest.approx(8.1, abs=0.01)


def dry_july(dull_in_july, *, start="2025-06-01", later=62, light=True, colder=0.0):
    """Return what is said of rain that falls on dull days, one in four, but from the end of June to a day of August."""
    dull = AT % 4 == 0
    dull[29:later] = False
    dull[[30 + 4 * place for place in range(dull_in_july)]], dull[later] = True, True
    wet = dull & ~JULY
    clear = {"radiation": 28.0 * np.where(dull, 0.4, 0.85 + 0.0001 * AT), "clear": 28.0} if light else {}
    ranges = np.where(dull, 6.0, 14.0) + 0.01 * (AT % 7)
    tmin = LOW - colder
    return [c.sentence for c in found(falls(wet), tmin=tmin, tmax=tmin + ranges, start=start, **clear)]


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ({"dull_in_july": 4}, False),
        ({"dull_in_july": 5}, True),
        ({"dull_in_july": 5, "start": "2025-06-15"}, False),  # no month of the calendar
        ({"dull_in_july": 5, "light": False}, False),
        ({"dull_in_july": 5, "colder": 20.0}, False),  # it may snow
        ({"dull_in_july": 7, "later": 70}, True),  # ten days more than the month
        ({"dull_in_july": 7, "later": 71}, False),
    ],
)
def test_a_month_without_rain_of_which_more_than_six_days_would_be_wet_is_a_blocked_gauges(options, expected):
    """Of other dull days all are wet, and some of the others: five dull ones make it more than six."""
    assert ("as dull and damp as other days" in str(dry_july(**options))) is expected


@pytest.mark.parametrize(("rows", "expected"), [(1.9, False), (2.1, True)])
def test_rows_that_stand_twice_are_said_from_a_tenth_of_the_rain_on(rows, expected):
    twice = pd.DataFrame({"hours": 0.0, "rows": 0.0, "larger": 0.0}, index=pd.date_range("2025-06-01", periods=N))
    rain = falls(AT % 9 == 0)
    twice["hours"] = rain * 20.0 / rain.sum()
    twice["rows"] = twice["hours"] * rows / 20.0
    twice["larger"] = twice["hours"] + twice["rows"]
    cautions = [
        caution for caution in found(twice["larger"].to_numpy(), rain_twice=twice) if caution.name == "rain-rows"
    ]
    assert bool(cautions) is expected
    if expected:
        assert cautions[0].instead[0]["rain"] == pytest.approx(twice["hours"].to_numpy())


def looks_wet(days, **more):
    """Return columns of which so many days have the range, humidity and light of rain, and what is cautioned of rain of 0."""
    wet = AT % 15 == 7
    assert wet.sum() >= days
    wet &= np.cumsum(wet) <= days
    columns = {"tmax": LOW + np.where(wet, 7.9, 14.0), "rh_mean": np.where(wet, 75.0, 55.0) + 0.01 * AT} | more
    return [caution.name for caution in found(np.zeros(N), **columns)]


@pytest.mark.parametrize(("days", "is_seen"), [(5, False), (6, True)])
def test_six_days_that_look_wet_have_some_rain(days, is_seen):
    light = np.where(AT % 15 == 7, 12.0, 24.0) + 0.01 * AT
    assert ("rain-none" in looks_wet(days, radiation=light)) is is_seen


@pytest.mark.parametrize(("humidity", "is_seen"), [(84.0, False), (85.0, True)])
def test_without_light_only_damp_days_tell(humidity, is_seen):
    """Coasts have fog and no rain, as San Diego among genuine records: 80 % on days of a small range."""
    rh = np.where(AT % 15 == 7, humidity, 55.0) + 0.01 * AT
    assert ("rain-none" in looks_wet(6, rh_mean=rh)) is is_seen


def test_a_dry_summer_is_told_nothing():
    """Ranges alone tell nothing, and bright dry days are dry."""
    assert looks_wet(6, rh_mean=30.0 + 0.01 * AT, radiation=24.0 + 0.01 * AT) == []


@pytest.mark.parametrize(("least", "is_seen"), [(4, False), (5, True)])
def test_a_season_without_rain_is_doubted_where_every_other_has_some(least, is_seen):
    """Two summers before it have so many wet days, and fifteen more at least than a mean of nine."""
    days = 3 * 365
    date = pd.date_range("2023-06-01", periods=days)
    asked = np.zeros(days, bool)
    asked[2 * 365 + 1 : 2 * 365 + 1 + N] = True
    rain = np.zeros(days)
    rain[:N][:: N // 15] = 4.0
    rain[366 : 366 + N][: 3 * least : 3] = 6.0
    tmin = np.resize(LOW, days) + 0.01 * np.arange(days)
    assert str(date[asked][0].date()) == "2025-06-01"
    inspection = inspected(
        days, start="2023-06-01", asked=asked, tmin=tmin, tmax=tmin + 12.0, rain=rain, stated=("rain",), trust=()
    )
    assert ("rain-none" in [caution.name for caution in inspection.cautions]) is is_seen


@pytest.mark.parametrize(("mean", "unit"), [(29.0, "m"), (31.0, "in")])
def test_rain_of_a_model_in_metres_is_told_from_inches(mean, unit):
    """A mean wet day of 30 mm in metres would be 0.8 mm in inches; figures of hundredths of an inch are hundredths."""
    rain = np.zeros(N)
    rain[::6] = np.resize([0.5, 1.0, 1.5], rain[::6].size) * mean / 1000.0
    rain = rain.round(4 if unit == "m" else 2)
    rain[0] += 0.01 if unit == "in" else 0.0
    inspection = inspected(N, rain=rain, tmin=LOW, tmax=LOW + 12.0)
    [problem] = inspection.problems
    assert problem.code == "rain-unit"
    assert f'unit = "{unit}"' in problem.cure


@pytest.mark.parametrize(("days", "is_seen"), [(19, False), (20, True)])
def test_a_year_without_any_rain_is_doubted_by_twenty_damp_days(days, is_seen):
    """Fog without rain is no reason for a whole year of it, so that 75 % tell without light, too."""
    at = np.arange(366)
    wet = at % 9 == 4
    wet &= np.cumsum(wet) <= days
    tmin = np.resize(LOW, 366) + 0.001 * at
    columns = {"tmax": tmin + np.where(wet, 7.9, 14.0), "rh_mean": np.where(wet, 75.0, 55.0) + 0.01 * (at % 7)}
    inspection = inspected(366, start="2024-06-01", tmin=tmin, rain=0.0, stated=("rain",), trust=(), **columns)
    assert ("rain-none" in [caution.name for caution in inspection.cautions]) is is_seen


@pytest.mark.parametrize(("wet", "asked"), [(3.0, True), (3.1, False), (0.0, False)])
def test_whole_rain_without_a_unit_beside_temperatures_in_tenths_is_asked_about(wet, asked):
    found = inspected(tmin=100.0, tmax=250.0, rain=one_day(0.0, wet))
    assert [key for problem in found.problems for key, _ in problem.paste][2:] == ["weather.columns.rain"] * asked
