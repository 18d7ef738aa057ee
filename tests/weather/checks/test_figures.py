"""
Checks of figures, every threshold at its bound, in invented days. WMO No. 8, from memory; common practice, no source.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from tests.weather.checks.days import SITE, inspected, spoken

N = 90
DRAWN = np.random.default_rng(4)
LOW = (14.0 + DRAWN.normal(0.0, 2.0, N)).round(2)
DAYS = {
    "tmin": LOW,
    "tmax": (LOW + 12.0 + DRAWN.normal(0.0, 1.0, N)).round(2),
    "wind": (2.0 + DRAWN.uniform(0.0, 1.5, N)).round(2),
    "radiation": (19.0 + DRAWN.uniform(0.0, 6.0, N)).round(2),
}


def seen(names=("columns-alike", "value-limit"), **columns):
    """Return the names of the checks of figures, or of those given, that caution."""
    found = inspected(N, site=SITE, **(DAYS | columns), trust=())
    assert not found.problems
    return [caution.name for caution in found.cautions if caution.name in names]


def test_sound_days_pass():
    assert seen() == seen(["value-series"]) == []


@pytest.mark.parametrize(("days", "expected"), [(13, []), (14, ["columns-alike"])])
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
    ("days", "others", "top", "expected"),
    [
        (11, 2, 22.0, []),
        (12, 2, 22.0, ["value-limit"]),
        (18, 6, 22.0, []),
        (19, 6, 22.0, ["value-limit"]),
        (11, 2, 20.5, []),
        (12, 2, 20.5, ["value-limit"]),
        (15, 3, 20.5, []),
        (16, 3, 20.5, ["value-limit"]),
    ],
)
def test_a_figure_that_comes_far_more_often_than_others(days, others, top, expected):
    assert seen(radiation=clipped(days, top, others)) == expected


def test_what_is_above_a_limit_is_worth_no_less_than_it_and_a_wind_nothing_that_is_known():
    """By hand: 30 % at 28 °C is the vapour of 70.9 % at 14 °C (FAO-56 eq 11), and 40 % of 94.6 %."""
    top = at_top(13)["wind"][:N]
    columns = {"tmin": 14.0, "tmax": 28.0, "rh_max": 70.0 + 2.0 * top, "rh_min": np.where(np.arange(N) < 5, 30.0, 40.0)}
    (said,) = inspected(N, **columns, only="value-limit", trust=()).cautions
    assert said.instead[0]["rh_max"][:7:2] == pytest.approx([88.0, 88.0, 88.0, 94.6], abs=0.1)
    (said,) = inspected(**at_top(13), only="value-limit", trust=()).cautions
    assert not said.instead


@pytest.mark.parametrize(("of", "told"), [({}, True), ({"of_records": {"rh_min": "humidity"}}, False)])
def test_a_limit_of_a_humidity_by_the_hour_is_worth_nothing_that_is_known(of, told):
    """Vapour is made of the hours themselves, so that the day's lowest changes nothing."""
    columns = {"tmin": 14.0, "tmax": 28.0, "rh_min": 60.0 - 3.0 * at_top(13)["wind"][:N]}
    (said,) = inspected(N, **columns, **of, only="value-limit", trust=()).cautions
    assert bool(said.instead) is told


@pytest.mark.parametrize(("share", "expected"), [(0.79, ["value-limit"]), (0.81, [])])
def test_sunshine_may_end_only_where_the_day_does(share, expected):
    """From four fifths of the daylight of the middling such day on, which is some 14.7 h here."""
    top = share * np.median(inspected(N, **DAYS).sky.daylight[20:44:2])
    hours = np.where(clipped(12) == 22.0, top, 0.2 * clipped(12))
    assert seen(sunshine=np.minimum(hours, top)) == expected


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
    rain = rain.round(1)  # sums of records differ by their last bits
    rain[20] = rain[5] * (1.0 + 1e-14)
    assert seen(rain=rain) == expected


def copied(figures, *, base=50.0):
    """Return two humidities that are the same for fourteen days, of so many figures, and others on either side."""
    at = np.arange(30)
    same = np.resize(np.r_[base + 0.01 * np.arange(figures)], 14)
    return {
        "days": 30,
        "tmin": 14.0,
        "tmax": 28.0,
        "rh_max": np.r_[same, 80.0 + at[14:]],
        "rh_min": np.r_[same, 30.0 + at[14:]],
    }


def at_top(count, *, others=1, days=N):
    """Return wind that is highest on so many days, a day between them, and on so many at one figure below."""
    wind = 2.0 + 0.001 * np.arange(days)
    wind[: 2 * count : 2] = 9.0
    wind[1 : 2 * others : 2] = 1.0
    return {"days": days, "tmin": 14.0, "tmax": 28.0, "wind": wind}


def in_stretches(count):
    wind = 2.0 + 0.001 * np.arange(N)
    for first in range(count):
        wind[10 * first : 10 * first + 6] = 9.0
    return {"days": N, "tmin": 14.0, "tmax": 28.0, "wind": wind}


def tied(step):
    """Return five wet days, two of which are so far apart and three of which have the largest rain: 11 mm in the middle of them."""
    rain = np.zeros(N)
    rain[5:15:2] = 5.0, 5.0 + step, 15.0, 15.0, 15.0
    return {"days": N, "tmin": 14.0, "tmax": 28.0, "rain": rain}


# check -> days, the last that pass and the first of which it speaks
BOUNDS = [
    ("columns-alike", copied, 6, 7),
    ("columns-alike", lambda damp: copied(14, base=damp), 98.0, 97.8),
    ("value-limit", lambda count: at_top(count, others=40, days=300), 120, 121),
    ("value-limit", in_stretches, 3, 4),
    ("value-limit", lambda days: at_top(12, days=days), 23, 24),
    ("value-limit", tied, 0.195, 0.19),  # (1 - exp(-0.195 / 11.04))² is 3.07e-4, of 0.19 mm 2.91e-4
]


@pytest.mark.parametrize(("check", "days", "last", "first"), BOUNDS)
def test_figures_are_doubted_from_a_bound_on(check, days, last, first):
    assert not spoken(check, **days(last))
    assert spoken(check, **days(first))


@pytest.mark.parametrize(("days", "expected"), [(6, []), (7, ["value-series"])])
@pytest.mark.parametrize("step", [0.3, -0.2])
def test_a_column_that_goes_on_by_one_step_was_filled_in(days, step, expected):
    """Of 88 pairs of steps 4 in a row are equal, and none beside them: 88 / 85^4 is above one in a million, 88 / 84^5 below."""
    highest = DAYS["tmax"].copy()
    highest[40 : 40 + days] = highest[40] + step * np.arange(days)
    assert seen(["value-series"], tmax=highest.round(2)) == expected


@pytest.mark.parametrize(("turns", "expected"), [(0, ["value-series"]), (1, [])])
def test_a_column_in_the_order_of_its_size_was_sorted(turns, expected):
    light = np.sort(DAYS["radiation"])
    light[44] -= turns
    for column in (light, light[::-1]):
        assert seen(["value-series"], radiation=column.round(2)) == expected


@pytest.mark.parametrize(("days", "expected"), [(11, []), (12, ["value-series"])])
def test_a_line_is_told_though_it_was_rounded(days, expected):
    """Steps of 0.6, 0.7 and 0.7 °C in turn, of a column in tenths."""
    highest = DAYS["tmax"].round(1)
    highest[40 : 40 + days] = highest[40] + 2.0 / 3.0 * np.arange(days)
    assert seen(["value-series"], tmax=highest.round(1)) == expected


@pytest.mark.parametrize(("days", "steps", "expected"), [(29, 5.2, []), (30, 5.2, ["value-series"]), (30, 4.4, [])])
def test_a_line_that_is_slower_than_the_last_digit_is_told_after_a_month(days, steps, expected):
    """Of a wind in tenths that goes on by so many of them."""
    wind = DAYS["wind"].round(1)
    wind[40 : 40 + days] = 1.0 + np.linspace(0.0, 0.1 * steps, days)
    assert seen(["value-series"], wind=wind.round(1)) == expected


def test_days_without_rain_are_no_line():
    rain = np.where(np.arange(N) % 30 < 3, DAYS["wind"].round(1), 0.0)
    assert seen(["value-series"], rain=rain) == []
    rain[30:60] = (1.0 + np.arange(30) / 3.0).round(1)
    assert seen(["value-series"], rain=rain) == ["value-series"]


@pytest.mark.parametrize(("step", "expected"), [(2.49, []), (2.5, ["value-steps"])])
def test_figures_on_wide_steps_were_rounded(step, expected):
    light = np.resize([4.0, 5.0, 6.0, 5.0, 7.0], N) * step
    assert seen(["value-steps"], radiation=light) == expected
    light[3] += 0.5  # one figure between them
    assert seen(["value-steps"], radiation=light) == []


@pytest.mark.parametrize(("wet", "expected"), [(11, []), (12, ["value-steps"])])
def test_rain_in_fives_is_told_from_some_wet_days_on(wet, expected):
    rain = np.zeros(N)
    rain[: 4 * wet : 4] = np.resize([5.0, 10.0, 15.0], wet)
    assert seen(["value-steps"], rain=rain) == expected


def test_a_column_of_one_figure_and_nothing_has_no_ends():
    assert seen(["value-limit", "value-mark"], wind=0.0) == []


def on_steps(*parts, unit="mm"):
    """Return days every third of which is wet, by parts: so many, on multiples of a step from its double on, no two in a row alike."""
    amounts = [np.resize([2, 3, 7, 11, 4][:figures], wet) * step for wet, step, figures in parts]
    rain = np.zeros(N)
    rain[: 3 * sum(map(len, amounts)) : 3] = np.concatenate(amounts) * (25.4 if unit == "in" else 1.0)
    return {"rain": rain, "units": {"rain": unit}, "stated": ("rain",)}


@pytest.mark.parametrize(
    ("days", "times"),
    [
        (on_steps((14, 0.4, 5)), ""),
        (on_steps((15, 0.4, 4)), ""),
        (on_steps((15, 0.4, 5)), "2 or 4"),
        (on_steps((20, 0.8, 5)), "4 or 8"),
        (on_steps((20, 0.6, 5)), "3 or 6"),
        (on_steps((20, 1.016, 5)), "4"),
        (on_steps((20, 0.508, 5)), "2"),
        (on_steps((20, 0.04, 5), unit="in"), "4"),
        *((on_steps((20, step, 5)), "") for step in (0.1, 0.2, 0.25, 0.254, 0.5, 1.27, 2.5)),
        *((on_steps((20, step, 5), unit="in"), "") for step in (0.01, 0.02, 0.1)),
        (on_steps((20, 0.37, 5)), ""),  # many times no gauge's
        (on_steps((9, 0.1, 5), (14, 0.4, 5)), ""),
        (on_steps((9, 0.1, 5), (15, 0.4, 5)), "2 or 4"),
        (on_steps((15, 0.4, 5), (9, 0.1, 5)), "2 or 4"),
    ],
)
def test_rain_on_steps_of_no_gauge_is_some_times_as_much(days, times):
    """Tips of 0.1, 0.2, 0.25, 0.5 and 1 mm and of a hundredth of an inch (WMO No. 8, part I, chapter 6, from memory)."""
    said = spoken("value-steps", N, **DAYS, **days)
    assert re.findall("looks like (.+) times the rain", said) == [times] * bool(times)


def test_rain_on_steps_of_no_gauge_from_a_day_on_is_worth_less_on_those_days():
    days = on_steps((9, 0.1, 5), (15, 0.4, 5))
    (said,) = inspected(N, **DAYS, **days, only="value-steps", trust=()).cautions
    assert "from 2025-06-28 to 2025-08-09" in said.sentence
    part = np.arange(N) >= 27
    for way, of in zip(said.instead, (2.0, 4.0), strict=True):
        assert way["rain"] == pytest.approx(np.where(part, days["rain"] / of, days["rain"]))


def with_a_mark(mark, near, *, count=3, unit="mm"):
    """Return wet days on steps of 0.5, some of them near a mark and one in a row with it here and there."""
    amounts = np.r_[1.0, 1.5, (np.r_[np.linspace(0.66, 1.8, near), 2.4] * 2.0 * mark).round() / 2.0]
    rain = np.zeros(N)
    rain[: 4 * amounts.size : 4] = amounts
    rain[3 : 3 + 6 * count : 6] = mark
    factor = 25.4 if unit == "in" else 1.0
    return {"rain": rain * factor, "units": {"rain": unit}, "stated": ("rain",), "conversions": {"rain": (factor, 0.0)}}


@pytest.mark.parametrize(
    ("days", "told"),
    [
        (with_a_mark(55.5, 14), True),  # among 166 steps: 0.084³ / 6 is 0.99e-4
        (with_a_mark(55.5, 15), False),
        (with_a_mark(55.5, 14, count=2), False),
        (with_a_mark(55.0, 14), False),
        (with_a_mark(25.5, 6), True),  # among 76 steps
        (with_a_mark(25.5, 7), False),
        (with_a_mark(25.5, 7, count=4), True),
        (with_a_mark(9.9, 1), True),
        (with_a_mark(8.8, 1), False),
        (with_a_mark(0.99, 0, unit="in"), True),
        (with_a_mark(0.33, 0, unit="in"), False),
    ],
)
def test_rain_of_a_mark_more_often_than_by_chance_is_a_mark(days, told):
    """By Poisson's law of so many days at one of the steps between half and twice the mark."""
    said = spoken("value-mark", N, **DAYS, **days)
    assert ("looks like a mark for a missing value" in said) is told


def test_a_mark_of_rain_is_worth_no_rain_on_its_days():
    days = with_a_mark(55.5, 10)
    (said,) = inspected(N, **DAYS, **days, only="value-mark", trust=()).cautions
    assert said.instead[0]["rain"] == pytest.approx(np.where(days["rain"] == 55.5, 0.0, days["rain"]))
    assert "55.5 mm on 3 days, while 10 days" in said.sentence
