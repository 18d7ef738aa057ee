"""
Checks of the grid of figures: spells on steps many times a file's own, and what is beside their bounds.

Figures are invented. Sizes of units are their definitions: 3.6 km/h, 2.237 mph and 1.944 knots in 1 m/s.
"""

from __future__ import annotations

import numpy as np
import pytest

from panbudget.weather.checks.grid import spell_on_steps
from tests.weather.checks.days import inspected, spoken

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


@pytest.mark.parametrize(("times", "speaks"), [(4.0, True), (1.0, False)])
def test_rain_of_several_tips_at_a_time_is_told(times, speaks):
    """Tips of 0.2 mm: 24 wet days on which each counts four times."""
    tips = RNG.geometric(0.12, 153)
    rain = 0.2 * tips * np.where((np.arange(153) >= 60) & (np.arange(153) < 84), times, 1.0)
    said = spoken("rain-change", 153, tmin=14.0, tmax=28.0, rain=rain.round(1))
    assert ("on steps 4 times as wide" in said) is speaks, said
