"""
The tub: a ruler in still water tells the exposure, as often as its interval says; and what it would be worth beforehand.
"""

from __future__ import annotations

import numpy as np
import pytest

from panbudget import replay
from panbudget.season.layout import prepare
from panbudget.studies.fit.pan import PanModel
from panbudget.studies.fit.tub import RULER_MM, Tub, quantiles, tub_values, worth_of_ruler_test
from panbudget.studies.ranges import with_spread
from panbudget.weather.of_scenario import read_scenario_weather
from tests.small_weather import weather_csv

DAYS = 12


@pytest.fixture
def garden(make_garden):
    return make_garden(weather=weather_csv(DAYS, pan=[6.0] * DAYS, rain=[3.0, *[0.0] * (DAYS - 1)]))


@pytest.fixture
def pan(garden):
    weather = read_scenario_weather(garden)
    return PanModel(garden, prepare(garden, weather, garden.season.start, garden.season.end), 0, ())


def readings(random, true=1.2, days=4, error=RULER_MM, by_day=0.1):
    """Read every morning from the second day on; 6 mm a day as described."""
    falls = 6.0 * true * (1.0 + by_day * random.standard_normal(days))
    levels = 150.0 - np.append(0.0, np.cumsum(falls)) + error * random.standard_normal(days + 1)
    return Tub(32.0 + 24.0 * np.arange(days + 1), levels, np.zeros(days + 1))


def test_a_tub_that_loses_a_fifth_more_has_a_fifth_more_exposure(pan):
    """Without errors the likeliest exposure is the true one; water poured in counts as lost besides."""
    grid, tub = np.arange(0.5, 2.0, 0.01), readings(np.random.default_rng(0), error=0.0, by_day=0.0)
    poured = tub._replace(levels=tub.levels + np.array([0, 0, 10, 10, 10]), added=np.array([0.0, 0.0, 10.0, 0.0, 0.0]))
    for one in (tub, poured):
        assert grid[np.argmax(tub_values(pan, one, grid))] == pytest.approx(1.2, abs=0.005)


def test_an_interval_of_a_ruler_holds_the_exposure_as_often_as_it_says(pan):
    """300 tubs, 90 %: binomial standard error 1.7 %; between 85 and 95 of a hundred."""
    random, grid, holds = np.random.default_rng(3), np.linspace(0.3, 3.0, 400), 0
    for _ in range(300):
        weights = np.exp(tub_values(pan, readings(random), grid))
        low, high = quantiles(grid, weights / weights.sum(), (0.05, 0.95))
        holds += low <= 1.2 <= high
    assert 0.85 <= holds / 300 <= 0.95


def test_the_worth_of_a_ruler_starts_from_the_spread_and_grows_with_days_and_care(garden):
    """Before is what many seasons run over the same ranges give; three dry days cut it, more days and half the error more."""
    season = replay(garden)
    spread = with_spread(season, 200).totals["spread"]["controllers"]["upper"]["litres"]
    worth = worth_of_ruler_test(season)["upper"]
    half = (spread["high"] - spread["low"]) / 2.0 / season.totals["controllers"]["upper"]["litres"]
    assert worth.before == pytest.approx(half, rel=0.1)
    longer, finer = (worth_of_ruler_test(season, **one)["upper"].after for one in ({"days": 7}, {"ruler_mm": 0.5}))
    assert max(longer, finer) < worth.after < 0.7 * worth.before
    fitted = garden.changed({"uncertainty": {"controller": {"upper": {"exposure": [0.98, 1.02]}}}})
    narrow = worth_of_ruler_test(replay(fitted))["upper"]
    assert narrow.after == pytest.approx(narrow.before, rel=0.1)  # nothing more to learn
