"""
Checks of wind and light that are exchanged, and of columns whose unit changes, on both sides of their bounds.

The bounds are common practice, no source; days are invented, a June to August at 38° north.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.weather.checks.days import codes, inspected, spoken
from tests.weather.sites import Site

N = 90
AT = np.arange(N)
SHARE = 0.55 + 0.15 * np.sin(1.3 * AT) + 0.05 * np.sin(0.37 * AT)
BREEZE = 2.0 + 0.5 * np.sin(2.1 * AT + 1.0)
WARMING = {"days": N, "tmin": 14.0, "tmax": 14.0 + 16.0 * SHARE}
LIGHT = SHARE * inspected(N, tmin=14.0, tmax=28.0).sky.clear


def test_light_under_winds_name_and_wind_under_lights_are_refused_as_exchanged():
    found = inspected(**WARMING, wind=LIGHT, radiation=BREEZE, rain=0.0)
    assert [problem.code for problem in found.problems] == ["wind-exchanged"]
    assert "the two columns look exchanged" in found.problems[0].sentence()
    assert codes(**WARMING, wind=BREEZE, radiation=LIGHT, rain=0.0) == []


SOUND = {
    "km/h beside light in kWh": {"wind": 3.6 * 4.0 * BREEZE / 2.0, "radiation": LIGHT / 3.6},
    "a wind in km/h beside light in MJ": {"wind": 3.6 * 2.0 * BREEZE, "radiation": LIGHT},
    "both of the light": {"wind": LIGHT, "radiation": LIGHT / 4.0},
}


@pytest.mark.parametrize("columns", SOUND.values(), ids=SOUND.keys())
def test_fast_winds_in_another_unit_are_not_called_exchanged(columns):
    """Only what goes with the warming better than the other column does is the light of the two."""
    assert spoken("wind-exchanged", **WARMING, **columns) == ""


CLEAR = LIGHT / SHARE
Z, FREE = ((part - part.mean()) / part.std() for part in (SHARE, BREEZE / CLEAR))
FREE = (FREE - (FREE * Z).mean() * Z) / (FREE - (FREE * Z).mean() * Z).std()


def _some(days, share):
    """The light with a share of a clear sky's on so many days: on the brightest, or the darkest if it is little."""
    order = np.argsort(-SHARE if share > 0.5 else SHARE)[:days]
    return np.where(np.isin(AT, order), share * CLEAR, LIGHT)


@pytest.mark.parametrize(
    ("wind", "light", "speaks"),
    [
        *((LIGHT * by / np.median(LIGHT), BREEZE, by > 5.0) for by in (5.1, 4.9)),
        *((LIGHT, BREEZE * by / np.median(BREEZE), by < 5.0) for by in (4.9, 5.1)),
        *((_some(5, share), BREEZE, share < 1.1) for share in (1.09, 1.11)),
        *((_some(5, share), BREEZE, share > 0.03) for share in (0.031, 0.029)),
        *((_some(days, 1.2), BREEZE, days < 5) for days in (4, 5)),
        *((LIGHT, (0.1 + 0.01 * (by * Z + np.sqrt(1.0 - by**2) * FREE)) * CLEAR, by < 0.7) for by in (0.69, 0.71)),
    ],
)
def test_bounds_of_wind_and_light_that_are_exchanged(wind, light, speaks):
    assert bool(spoken("wind-exchanged", **WARMING, wind=wind, radiation=light)) is bool(speaks)


def test_the_days_of_a_windy_polar_night_have_no_share_of_light():
    autumn = {"start": "2024-09-20", "site": Site(78.0, 10.0), "tmin": -9.0, "tmax": -6.0 + SHARE}
    light = SHARE * inspected(N, **autumn).sky.clear
    assert light.min() == 0.0
    assert spoken("wind-exchanged", days=N, wind=4.0 * BREEZE, radiation=light, **autumn) == ""


@pytest.mark.parametrize(
    ("before", "times", "speaks"), [(2.0, 3.6, True), (2.0, 2.3, False), (3.6, 3.6, False), (2.0, 1.8, False)]
)
def test_a_wind_that_leaps_beyond_what_is_usual_is_refused(before, times, speaks):
    """From 3.5 m/s on it was windy before, up to 5 m/s it is not too fast after."""
    wind = before * np.where(AT < 40, 1.0, times) * (1.0 + 0.1 * np.sin(2.1 * AT))
    said = spoken("wind-change", days=N, wind=wind)
    assert bool(said) is speaks, said
    if speaks:
        assert "on 2025-07-11" in said
        assert "bring the file into one unit" in said
    assert spoken("wind-change", days=N, wind=wind, stated=["wind"]) == ""


@pytest.mark.parametrize(
    ("change", "scale"),
    [(lambda c: c * 1.8 + 32.0, "°F"), (lambda c: (c * 10.0).round(0), "tenths of °C")],
    ids=["°F", "tenths"],
)
def test_a_maximum_whose_scale_changes_for_most_days_is_not_called_by_the_new_one(change, scale):
    """To name that scale would read the other days wrong; °F of one column asks nothing of wind and rain."""
    tmax = 21.0 + np.sin(AT)
    columns = WARMING | {"tmax": np.where(AT < 31, tmax, change(tmax)), "wind": BREEZE, "rain": 0.0, "radiation": LIGHT}
    found = inspected(**columns)
    assert [problem.code for problem in found.problems] == ["temperature-leap"]
    assert (
        f"on 2025-07-02, each the middle of 10 days, which looks like a change of unit to or from {scale}"
        in found.problems[0].found
    )
    assert not found.problems[0].paste


@pytest.mark.parametrize(
    ("days", "change", "asked"),
    [
        (10, lambda c: c + 273.15, "is this K?"),
        (10, lambda c: c * 1.8 + 50.0, "is the unit °F?"),
        (10, lambda c: (c * 10.0).round(0), "are these tenths of a degree?"),
    ],
    ids=["K", "°F", "tenths"],
)
def test_some_days_in_another_scale_are_asked_about_by_the_scale_that_makes_them_as_the_others(days, change, asked):
    tmax = 30.0 + np.sin(AT)
    found = inspected(**WARMING | {"tmax": np.where(days > AT, change(tmax), tmax)})
    (wrong,) = (problem for problem in found.problems if problem.code == "tmax-range")
    assert asked in wrong.expected


@pytest.mark.parametrize(
    ("unit", "size"), [("W/m²", 1 / 0.0864), ("J/cm²", 100.0), ("kJ/m²", 1000.0), ("", 1.5)], ids=str
)
@pytest.mark.parametrize("days", [2, 3])
def test_some_days_of_light_in_another_unit_are_told_by_the_unit_that_makes_them_as_the_others(days, unit, size):
    light = LIGHT * np.where(days > AT, size, 1.0)
    (bright,) = inspected(**WARMING, wind=BREEZE, radiation=light, rain=0.0).problems
    told = f"{days} days from 2025-06-01 to 2025-06-0{days} look like {unit}, and the others do not: bring the file into one unit"
    assert (bright.cure == told) is (days >= 3 and bool(unit)), bright.cure


@pytest.mark.parametrize(("unit", "size"), [("hPa", 10.0), ("mmHg", 7.50062), ("Pa", 1000.0)])
@pytest.mark.parametrize("days", [2, 3])
def test_some_days_of_vapour_in_another_unit_are_told_by_that_unit(days, unit, size):
    vapour = (1.4 + 0.1 * np.sin(AT)) * np.where(days > AT, size, 1.0)
    found = inspected(**WARMING, vapour_pressure=vapour)
    (wrong,) = (problem for problem in found.problems if problem.code == "saturation")
    told = f"{days} days from 2025-06-01 to 2025-06-0{days} look like {unit}, and the others do not: bring the file into one unit"
    assert wrong.cure == (told if days == 3 else "correct one of the two")


EVEN = {"days": N, "tmin": 14.0, "tmax": 28.0}
FIRST = AT < 3


@pytest.mark.parametrize(
    ("share", "times", "speaks"),
    [
        (0.5, 1e6 * np.exp(0.69), True),  # J/m²
        (0.5, 1e6 * np.exp(0.71), False),
        (0.3, 2.01 / 0.3, True),  # tenths of MJ/m², of twice a clear sky's
        (0.3, 1.99 / 0.3, False),
    ],
)
def test_light_in_another_unit_is_far_too_bright_and_within_twice_of_the_others(share, times, speaks):
    (bright,) = inspected(**EVEN, radiation=share * CLEAR * np.where(FIRST, times, 1.0)).problems
    assert ("look like" in bright.cure) is speaks, bright.cure


@pytest.mark.parametrize(("times", "speaks"), [(1000.0 * np.exp(0.49), True), (1000.0 * np.exp(0.51), False)])
def test_vapour_in_another_unit_is_near_the_others(times, speaks):
    (wrong,) = inspected(**EVEN, vapour_pressure=np.where(FIRST, times, 1.0)).problems
    assert ("look like Pa" in wrong.cure) is speaks, wrong.cure


@pytest.mark.parametrize(
    ("others", "days", "asked"),
    [
        (28.0, 273.15 + 28.0 + 19.9, ["is this K?"]),
        (28.0, 273.15 + 28.0 + 20.1, ["is the unit °F?"]),  # as of any column
        # 58 is 14.4 °C in °F and 5.8 in tenths: 0.98 and 1.02 nearer to the others by one of them
        (10.61, 58.0, ["is the unit °F?", "are these tenths of a degree?"]),
        (10.63, 58.0, ["is the unit °F?"]),
    ],
)
def test_days_in_another_scale_are_near_the_others(others, days, asked):
    found = inspected(**EVEN | {"tmin": -5.0, "tmax": np.where(FIRST, days, others)}, only="tmax-range")
    (wrong,) = (problem for problem in found.problems if problem.code == "tmax-range")
    said = [
        each for each in ("is this K?", "is the unit °F?", "are these tenths of a degree?") if each in wrong.expected
    ]
    assert said == asked
