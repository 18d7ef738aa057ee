"""
Checks of the grid of figures: spells on steps many times a file's own, and what is beside their bounds.

Figures are invented. Sizes of units are their definitions: 3.6 km/h, 2.237 mph and 1.944 knots in 1 m/s.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.weather.checks.grid import spell_on_steps
from tests.weather.checks.days import AIR, inspected, spoken
from tests.weather.checks.test_sensors import by_hour

RNG = np.random.default_rng(4)
WIND = RNG.gamma(4.0, 0.6, 600).round(1) + 0.1
SIZES = (3.6, 2.2369, 1.9438)


@pytest.mark.parametrize("times", SIZES)
@pytest.mark.parametrize("digits", [1, 2])
def test_a_spell_in_another_unit_is_told_with_its_ends(times, digits):
    wind = WIND.copy()
    wind[200:320] = (wind[200:320] * times).round(digits)
    spell = spell_on_steps(wind, SIZES)
    assert spell is not None and spell.times == times
    assert abs(spell.first - 200) <= 16 and abs(spell.last - 319) <= 16  # a figure beside it may be on such steps, too


@pytest.mark.parametrize(
    "wind",
    [
        WIND,
        (WIND * 3.6).round(1),
        np.r_[WIND[:300], 2.0 * WIND[300:]].round(1),  # as fast, and on no such steps
        np.where(np.arange(600) // 8 == 30, (WIND * 3.6).round(1), WIND),  # eight figures
        WIND[:40],
    ],
    ids=["m/s", "km/h throughout", "twice as fast", "a short spell", "few"],
)
def test_winds_without_such_a_spell_are_not_doubted(wind):
    assert spell_on_steps(wind, (3.6,)) is None


def test_a_calm_spell_that_happens_to_be_on_wide_steps_is_no_faster_unit():
    wind = WIND.copy()
    wind[200:260] = 0.4  # 0.36, rounded
    assert spell_on_steps(wind, (3.6,)) is None


def spell_among(others, inside, times, count=100):
    """Return the spell of figures behind so many others, the last of which is none of its own."""
    return spell_on_steps(np.r_[np.resize(others, count), inside], (times,))


TENTHS, TENFOLD = [0.3, 0.7, 0.6, 0.7], [3.0, 4.0, 5.0, 6.0, 7.0]  # none on steps of 1, and all
THREEFOLD = [0.9, 1.5, 2.1, 2.7, 3.3]  # on steps of 0.3, as 3 times 0.1


@pytest.mark.parametrize(
    ("told", "not_told"),
    [
        ((TENTHS, np.resize(TENFOLD, 12), 10.0), (TENTHS, np.resize(TENFOLD, 11), 10.0)),
        ((TENTHS, np.resize(TENFOLD, 24), 10.0, 24), (TENTHS, np.resize(TENFOLD, 24), 10.0, 22)),
        (([0.4, 0.5, 0.7], np.resize(THREEFOLD, 36), 3.0, 12), ([0.4, 0.5, 0.7], np.resize(THREEFOLD, 37), 3.0, 11)),
        ((TENTHS, np.resize(TENFOLD, 20), 10.0), (TENTHS, np.resize(TENFOLD[:4], 20), 10.0)),
        # steps of 0.3; of the others 79 and 80 in 100
        (
            ([*[0.6] * 79, *[0.7] * 21], np.resize(THREEFOLD, 120), 3.0),
            ([*[0.6] * 80, *[0.7] * 20], np.resize(THREEFOLD, 120), 3.0),
        ),
        # eight changes among 12, and 22 or 23 of 200 others: logarithms of the chance of -12.3 and -11.9
        (
            ([*[0.6, 0.7] * 22, *[0.7] * 156], [*THREEFOLD, *THREEFOLD[:3], *[2.7] * 4], 3.0, 200),
            ([*[0.6, 0.7] * 23, *[0.7] * 154], [*THREEFOLD, *THREEFOLD[:3], *[2.7] * 4], 3.0, 200),
        ),
        # a middle 1.56 and 1.53 times the others', and 5.79 and 5.82 times: 3 to the power of 0.4 and of 1.6
        (
            ([10.0, 10.1, 9.7], np.resize([15.0, 15.3, 15.6, 15.9, 16.2], 20), 3.0),
            ([10.0, 10.1, 9.7], np.resize([14.7, 15.0, 15.3, 15.6, 15.9], 20), 3.0),
        ),
        (
            ([10.0, 10.1, 9.7], np.resize([57.3, 57.6, 57.9, 58.2, 58.5], 20), 3.0),
            ([10.0, 10.1, 9.7], np.resize([57.6, 57.9, 58.2, 58.5, 58.8], 20), 3.0),
        ),
        # 0.3 beside whole numbers: 0.0002 of 1250, and half a digit
        (
            ([125.4, 125.5, 124.6], np.resize(1250.3 + np.arange(5.0), 20), 10.0),
            ([125.4, 125.5, 124.6], np.resize(1249.7 - np.arange(5.0), 20), 10.0),
        ),
    ],
    ids=["figures", "all", "others", "different", "often", "chance", "lowest level", "highest level", "turned"],
)
def test_bounds_of_a_spell(told, not_told):
    assert spell_among(*told) is not None
    assert spell_among(*not_told) is None


@pytest.mark.parametrize("step", [1.0, 0.5, 0.25, 0.2, 0.1])
def test_steps_that_files_have(step):
    """Half of the others are on fives of it: of a step half as wide they would be on the spell's."""
    others, inside = step * np.array([5.0, 15.0, 7.0, 9.0]), 10.0 * step * np.resize(np.arange(8.0, 13.0), 24)
    spell = spell_among(others, inside, 10.0)
    assert spell is not None and (spell.first, spell.last, spell.times) == (100, 123, 10.0)


@pytest.mark.parametrize(("whole", "speaks"), [(51, True), (50, False)])
def test_three_quarters_of_the_figures_are_on_a_files_steps(whole, speaks):
    """With 24 of 100 in a spell."""
    others = [5.3] * (76 - whole) + [5.0] * whole
    spell = spell_among(others, 10.0 * np.resize(np.arange(1.0, 7.0), 24), 10.0, 76)
    assert (spell is not None) is speaks


@pytest.mark.parametrize(("digits", "speaks"), [(2, True), (1, False)])
def test_whole_knots_in_metres_a_second_are_steps_of_a_file(digits, speaks):
    """A spell in km/h, by two digits; by one their steps are lost."""
    knots = np.resize([2.0, 5.0, 3.0, 7.0, 4.0, 6.0, 9.0], 300) * 0.514444
    knots[100:160] *= 3.6
    spell = spell_on_steps(knots.round(digits), (3.6,))
    assert (spell is not None) is speaks and (spell is None or (spell.first, spell.last) == (100, 159))


def test_days_of_wind_in_a_spell_are_worth_what_they_are_divided_by():
    """Forty of 153 days, as a station's daily means are."""
    wind = WIND[:153].copy()
    wind[60:100] = (wind[60:100] * 1.944).round(1)
    columns = {"tmin": 14.0 + np.sin(np.arange(153)), "tmax": 28.0, "wind": wind}
    found = inspected(153, **columns, only="wind-leap", trust=())
    (said,) = found.cautions
    (instead,) = said.instead
    assert "divide those days by 1.94" in said.sentence
    assert instead["wind"][62:98] == pytest.approx(wind[62:98] / 1.9438)
    assert np.array_equal(instead["wind"][:50], wind[:50])


@pytest.mark.parametrize("times", [2.0, 3.0, 4.0, 5.0, 8.0, 10.0, 25.4, 1.0])
def test_rain_of_several_tips_at_a_time_is_told(times):
    """Tips of 0.2 mm, or of 0.25 where as many of 0.2 are whole numbers: 24 wet days on which each counts so many times."""
    tips = np.random.default_rng(5).geometric(0.12, 153) * (0.25 if times in (5.0, 10.0) else 0.2)
    rain = tips * np.where((np.arange(153) >= 60) & (np.arange(153) < 84), times, 1.0)
    said = spoken("rain-change", 153, tmin=14.0, tmax=28.0, rain=rain.round(2))
    assert (f"on steps {times:g} times as wide" in said) is (times > 1.0), said


@pytest.mark.parametrize("counts", [True, False])
def test_of_a_counter_the_gains_stand_on_steps_and_not_its_levels(counts):
    """Tips of 0.254 mm, told to a tenth; as levels of hundreds all are near any step."""
    fell = np.where(np.arange(2400) % 5 == 0, np.resize([1, 2, 5, 3, 0, 7, 2, 4, 0, 1, 3], 2400) * 0.254, 0.0)
    hours = int(pd.Timestamp("2025-06-01").timestamp()) // 3600 + np.arange(2400)
    moving = pd.DataFrame({"rain": (fell.cumsum() if counts else fell).round(1)}, index=hours)
    days = {"rain": fell.reshape(100, 24).sum(axis=1), **AIR, "by_hour": by_hour(0.0)._replace(moving=moving)}
    assert not spoken("rain-change", 100, **days)
