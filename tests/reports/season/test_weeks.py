"""Weeks: sums of the days, and reasons that hold."""

from __future__ import annotations

import pytest

from panbudget import replay
from panbudget.reports.season.weeks import weeks_table
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


def test_no_reason_contradicts_days_of_stress(make_garden):
    """A bed that starts empty gets far more than it uses and suffers all the same; none is told of spare emitters."""
    bed = {"emitters": {"count": 200}, "initial_depletion": 0.95, "planted": "2025-03-10"}
    season = replay(make_garden({"controller": {"upper": {"bed": {"tomatoes": bed}}}}, weather=weather_csv(21)))
    weeks = weeks_table(season)
    suffers = weeks[weeks["stress_days"] > 0]
    assert (suffers["irrigation_mm"] > suffers["etc_less_rain_mm"]).any()
    assert suffers["why"].str.match(r"short(:| on \d+.days?: the soil was dry from before)").all()
    assert not weeks[weeks["stress_days"] == 0]["why"].str.contains("short").any()


def test_etc_less_rain_is_net_demand_but_for_what_the_soil_gains(make_garden):
    """With roots that do not grow; 30 dry days but for one shower."""
    plants = {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.45}
    change = {"controller": {"upper": {"bed": {"tomatoes": {"plants": plants, "planted": None}}}}}
    season = replay(make_garden(change, weather=weather_csv(30, rain=[0.0] * 15 + [25.5] + [0.0] * 14)))
    bed = season.beds["upper/tomatoes"]
    fallen = bed["exact_depletion_mm"].iloc[-1]
    assert weeks_table(season)["etc_less_rain_mm"].sum() == pytest.approx(bed["net_demand_mm"].sum() + fallen)


def test_a_week_of_rain_is_said_to_be(make_garden):
    bed = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 60}}}}}}
    season = replay(make_garden(bed, weather=weather_csv(21, rain=[0.0] * 7 + [45.5] + [0.0] * 13)))
    assert "spilled rain" in weeks_table(season)["why"].iloc[1]
