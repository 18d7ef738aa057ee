"""Weeks: sums of the days, and reasons that hold."""

from __future__ import annotations

import pytest

from simulator import replay
from simulator.weeks import weeks_table
from tests.small_weather import weather_csv


def test_weeks_add_up_to_the_season(make_garden):
    season = replay(make_garden(weather=weather_csv(30, rain=[0.0] * 15 + [25.5] + [0.0] * 14)))
    weeks = weeks_table(season)
    assert weeks["days"].tolist() == [7, 7, 7, 7, 2]
    bed = season.beds["upper/tomatoes"]
    for column in ("irrigation_mm", "rain_mm", "deep_percolation_mm"):
        assert weeks[column].sum() == pytest.approx(bed[column].sum())
    assert weeks["week_from"].tolist()[:2] == ["2025-05-01", "2025-05-08"]


def test_small_plants_are_the_reason_in_spring_and_thirst_in_summer(make_garden):
    bed = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 36}}}}}}
    season = replay(make_garden(bed, days=110))
    weeks = weeks_table(season)
    assert "the plants are small" in weeks["why"].iloc[1]
    assert "short: the plants suffer" in weeks["why"].iloc[-1]


def test_a_week_of_rain_is_said_to_be(make_garden):
    bed = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 60}}}}}}
    season = replay(make_garden(bed, weather=weather_csv(21, rain=[0.0] * 7 + [45.5] + [0.0] * 13)))
    assert "spilled rain" in weeks_table(season)["why"].iloc[1]
