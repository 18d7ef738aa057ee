"""
Checks of slips and marks on the smallest series on which each speaks, and on that beside it across the bound on which it doesn't.

The bounds are common practice, no source; days are invented, a June to August at 38° north.
"""

from __future__ import annotations

import numpy as np
import pytest

from panbudget.physics import air
from tests.weather.checks.days import cautions, codes, inspected, spoken

N = 90
AT = np.arange(N)
E14 = float(air.saturation_vapour_pressure(14.0))
# no two neighbours and no two stretches are equal
WALK = (2.0 * np.sin(0.7 * AT) + np.sin(2.3 * AT)).round(2)
DAYS = {"days": N, "tmin": 14.0 + WALK, "tmax": 28.0 + WALK}


def marked(figure, count=3, *, step=0.1, column="wind", sign=1.0):
    """Return wind from 1 to 3 in steps, or that below nothing, with one figure on so many days by themselves."""
    values = 1.0 + step * (AT % round(2.0 / step + 1))
    values[10 : 10 + 7 * count : 7] = figure
    return DAYS | {column: sign * values}


def damp(humidity=95.1, warming=9.1, count=5):
    here = AT % 7 == 3
    here &= here.cumsum() <= count
    return DAYS | {"tmax": DAYS["tmin"] + np.where(here, warming, 14.0), "rh_min": np.where(here, humidity, 40.0)}


def copied(column, count=8, *, of=WALK + 5.0):
    values = of.copy()
    values[50 : 50 + count] = of[10 : 10 + count]
    return DAYS | {column: values}


def next_day(equal):
    """Return days of which one is as the day before, with columns that are so by themselves on so many other days."""
    names = ("tmin", "tmax", "wind", "radiation")[: len(equal)]
    days = {name: 10.0 + WALK + part for part, name in enumerate(names)}
    for at, (name, count) in enumerate(zip(names, equal, strict=True)):
        for day in (41, *range(50 + at, 50 + at + 9 * count, 9)):
            days[name][day] = days[name][day - 1]
    return {"days": N, **days}


def rained(most=40.1, second=5.0, share=0.76, column="rh_min"):
    """Return a day with so much rain that dries, or warms up, as such a share of what days without rain do."""
    rain = np.where(AT % 9 == 0, second, 0.0)
    rain[40] = most
    dry = np.where(AT == 40, share, 1.0)
    days = {"tmin": 14.0, "tmax": 14.0 + 14.0 * (dry if column == "tmax" else 1.0)}
    return {"days": N, "rain": rain, **days, "rh_min": 100.0 - 60.0 * (dry if column == "rh_min" else 1.0)}


def vapour(share):
    """Return a vapour pressure in mmHg, by whose figures nights reach such a share of what air holds; 7.50062 are a kPa."""
    return {"days": N, "tmin": 14.0, "tmax": 22.0, "vapour_pressure": share * E14 * 7.50062}


def sunless(count=8, warming=0.81, start="2025-06-01"):
    here = (AT >= 20) & (20 + count > AT)
    sunny = {"tmin": 14.0, "tmax": 14.0 + 10.0 * np.where(here, warming, 1.0)}
    return {"days": N, "start": start, **sunny, "sunshine": np.where(here, 0.0, 7.0)}


# check -> days, the last that pass and the first of which it speaks
BOUNDS = [
    ("value-mark", lambda count: marked(6.0, count), 2, 3),
    ("value-mark", marked, 3.49, 3.51),  # a quarter of 1 to 3 beyond them
    ("value-mark", lambda figure: marked(figure, step=0.25), 4.24, 4.26),  # and five steps
    ("value-mark", lambda figure: marked(figure, column="dew_point", sign=-1.0), 3.49, 3.51),
    (
        "value-mark",
        lambda next_to: {**DAYS, "rh_max": np.where(AT % 7 == 3, 100.0, next_to + WALK - WALK.max())},
        80.1,
        79.9,
    ),
    ("humidity-saturated", lambda count: damp(count=count), 4, 5),
    ("humidity-saturated", damp, 94.9, 95.0),
    ("humidity-saturated", lambda warming: damp(warming=warming), 8.99, 9.01),
    ("days-twice", lambda count: copied("radiation", count), 7, 8),
    ("days-twice", lambda count: copied("dew_point", count), 7, 8),
    ("days-twice", lambda count: copied("tmin", count), 7, 8),
    ("rain-spike", rained, 39.9, 40.1),
    ("rain-spike", lambda second: rained(45.1, second), 15.1, 15.0),
    ("rain-spike", lambda share: rained(share=share), 0.749, 0.751),
    ("rain-spike", lambda share: rained(share=share, column="tmax"), 0.749, 0.751),
    ("rain-spike", lambda mark: rained(mark, 20.0, share=0.5), 99.8, 99.9),  # a mark, on a wet day
    ("rain-spike", lambda second: rained(99.9, second, share=0.5), 33.4, 33.2),
    ("sunshine-zero", sunless, 7, 8),
    ("sunshine-zero", lambda warming: sunless(warming=warming), 0.799, 0.801),
]


@pytest.mark.parametrize(("check", "days", "last", "first"), BOUNDS)
def test_slips_and_marks_are_doubted_from_a_bound_on(check, days, last, first):
    assert not spoken(check, **days(last))
    assert spoken(check, **days(first))


@pytest.mark.parametrize(("share", "unit"), [(0.799, "hPa"), (0.801, "?"), (1.149, "?"), (1.151, "hPa")])
def test_a_vapour_pressure_that_may_be_in_mmhg_is_asked_for(share, unit):
    """In mmHg nights come near to saturation; where they pass it by far, or stay away, figures are in hPa."""
    (problem,) = inspected(**vapour(share)).problems
    assert f'unit = "{unit}" }}' in problem.cure
    assert ("hPa or mmHg" in problem.sentence()) is (unit == "?")


def test_rain_in_hundredths_is_called_inches_beside_imperial_units_alone():
    amounts = np.where(AT % 3 == 0, np.resize([0.13, 0.27, 0.55, 0.08, 0.31], N), 0.0)
    metric = {**DAYS, "rain": amounts, "pressure": 100.0}
    assert "inches (or cm" in spoken("rain-unit", **metric)
    beside = {"units": {"pressure": "inHg"}, "stated": ("pressure",)}
    assert "inches (or cm" not in spoken("rain-unit", **metric, **beside)
    metric["rain"] = amounts / 77.0  # as a model writes metres, which has no inches of mercury
    assert 'unit = "m"' in spoken("rain-unit", **metric)
    assert 'unit = "?"' in spoken("rain-unit", **metric, **beside)


def test_a_mark_in_rain_is_worth_its_rain():
    rain = np.where(AT % 5 == 0, 1.0 + WALK, 0.0)
    (said,) = inspected(**{**DAYS, "rain": np.where(AT % 9 == 3, 77.7, rain)}, only="value-mark", trust=()).cautions
    assert said.instead[0]["rain"] == pytest.approx(np.where(AT % 9 == 3, 0.0, rain))


def test_air_may_be_saturated_and_wind_be_still():
    """A dampest figure of 98 % and more is no mark, nor is the weakest wind."""
    assert not spoken("value-mark", **(DAYS | {"rh_max": np.where(AT % 7 == 3, 100.0, 78.0 + WALK)}))
    assert spoken("value-mark", **(DAYS | {"rh_max": np.where(AT % 7 == 3, 97.9, 40.0 + WALK)}))
    assert not spoken("value-mark", **(DAYS | {"wind": np.where(AT % 7 == 3, 0.2, 9.0 + WALK)}))


def test_a_leap_to_saturation_is_worth_the_vapour_of_the_afternoon():
    """By hand: 30 % at 28 °C is the vapour of 70.9 % at 14 °C (FAO-56 eq 11)."""
    humidity = {"rh_max": np.where(AT % 7 == 3, 100.0, 60.0 + WALK), "rh_min": 30.0}
    (said,) = inspected(**{**DAYS, "tmin": 14.0, "tmax": 28.0, **humidity}, only="value-mark", trust=()).cautions
    assert "saturation" in said.sentence
    assert said.instead[0]["rh_max"][3] == pytest.approx(70.94, abs=0.01)


def test_rain_that_stands_in_the_file_twice_is_seen():
    rain = np.where(np.arange(90) % 3 == 0, 1.0 + np.arange(90) / 7.0, 0.0)
    days = {"days": 90, "tmin": 14.0 + np.arange(90) / 9.0, "tmax": 28.0}
    assert not spoken("days-twice", **days, rain=rain)
    rain[60:] = rain[30:60]
    assert "rain is on" in spoken("days-twice", **days, rain=rain)


def test_a_temperature_of_nothing_may_be_stuck_and_a_calm_may_last():
    """0 °C is a figure as others are; 0 m/s is said by its name, and 0 mm is most days'."""
    still = (AT >= 20) & (AT < 30)
    for name, shift in (("dew_point", 9.0), ("tmin", 5.0)):
        assert "value-stuck" in cautions(trust=(), **(DAYS | {name: np.where(still, 0.0, shift + WALK)})), name
    assert "value-stuck" not in cautions(
        trust=(), **(DAYS | {"radiation": 20.0 + WALK, "wind": np.where(still, 0.0, 4.0 + WALK)})
    )


@pytest.mark.parametrize(("equal", "expected"), [((1, 1, 1), False), ((1, 1, 1, 3), True), ((1, 1, 2, 2), False)])
def test_a_day_as_the_day_before_is_doubted_by_how_often_columns_are(equal, expected):
    """Of 89 pairs 89 · (5 / 89)³ is 0.016, of four columns 89 · (5 / 89)⁴ · 3 is 0.0027, and · 4 is 0.0035."""
    assert ("those of the day before" in spoken("days-twice", **next_day(equal))) is expected


def test_rain_is_held_against_two_signs_at_least():
    """The range of temperature alone doesn't tell that it can't have rained."""
    assert not spoken("rain-spike", **{name: v for name, v in rained(60.0).items() if name != "rh_min"})
    bright = {name: v for name, v in rained(60.0).items() if name != "rh_min"} | {"radiation": 24.0}
    assert spoken("rain-spike", **bright)


@pytest.mark.parametrize(
    ("days", "highest", "start", "expected"),
    [
        (45, 1.1, "2025-06-01", ["sunshine-unit"]),
        (45, 1.11, "2025-06-01", []),
        (44, 1.1, "2025-06-01", []),
        (45, 1.1, "2025-12-01", []),  # days of less than ten hours
    ],
)
def test_sunshine_never_above_1_in_weeks_of_long_days_is_a_share(days, highest, start, expected):
    assert codes(days, start=start, sunshine=highest) == expected


@pytest.mark.parametrize(
    ("days", "steps", "start", "expected"),
    [
        (45, 9, "2025-06-01", True),
        (44, 9, "2025-06-01", False),
        (45, 8, "2025-06-01", False),
        (45, 10, "2025-06-01", False),
        (45, 8.5, "2025-06-01", False),
        (45, 9, "2025-02-06", True),  # to 22 March, of twelve hours by FAO-56 eq 34
        (45, 9, "2025-02-05", False),
    ],
)
def test_whole_sunshine_from_0_to_8_at_most_in_weeks_of_long_days_is_cloud(days, steps, start, expected):
    sunshine = np.arange(float(days)) % steps
    assert ("oktas" in spoken("sunshine-unit", days, start=start, sunshine=sunshine)) is expected


@pytest.mark.parametrize(("wind", "told"), [(2.0 + 0.1 * (np.arange(len(WALK)) % 3), 2), (np.full(len(WALK), 2.0), 0)])
def test_air_that_never_changes_is_stuck_where_the_wind_changes(wind, told):
    """Where nothing does, somebody made it up."""
    still = {"tmin": np.full(len(WALK), 12.0), "tmax": np.full(len(WALK), 25.0)}
    assert cautions(trust=(), **(DAYS | still | {"wind": wind})).count("value-stuck") == told


def test_sunshine_is_stuck_as_any_sensor_is():
    still = (AT >= 20) & (AT < 30)
    for stuck, of in ((True, 8.3), (False, 0.0)):
        assert bool(spoken("value-stuck", **DAYS, sunshine=np.where(still, of, 9.0 + WALK))) is stuck


@pytest.mark.parametrize(("share", "doubted"), [(0.44, False), (0.46, True)])
def test_a_vapour_pressure_that_goes_with_the_range_of_temperature_is_a_deficit(share, doubted):
    """Changes from day to day of which this share goes with the range's."""
    wide, other = (np.diff(of) - np.diff(of).mean() for of in (WALK, np.sin(1.7 * AT)))
    other -= wide * (other @ wide) / (wide @ wide)
    changes = share * wide / wide.std() + (1.0 - share**2) ** 0.5 * other / other.std()
    vapour = 1.2 + 0.02 * np.append(0.0, changes.cumsum())
    said = spoken("vapour-pressure-unit", days=N, tmin=14.0, tmax=28.0 + WALK, vapour_pressure=vapour)
    assert ("lacks of saturation" in said) is doubted


def test_a_day_with_sun_is_long_from_ten_hours_on():
    """At 38° north from 29 January on, by FAO-56 eq 34; 0.03 h a day more."""
    assert not spoken("sunshine-zero", **sunless(8, start="2025-01-08"))
    assert spoken("sunshine-zero", **sunless(8, start="2025-01-09"))
    assert spoken("sunshine-zero", **(sunless() | {"sunshine": 0.0}))
