"""The same calendar days in other years."""

from __future__ import annotations

import copy
import datetime as dt
from pathlib import Path

from simulator.scenario import load_scenario, scenario_from
from simulator.season import read_scenario_weather
from simulator.years import bed_in_year, in_year, moved, years_at_hand
from tests.small_weather import weather_csv

ROOT = Path(__file__).resolve().parents[1]


def test_a_leap_day_falls_on_the_28th_elsewhere():
    assert moved(dt.date(2024, 2, 29), 4) == dt.date(2028, 2, 29)
    assert moved(dt.date(2024, 2, 29), -1) == dt.date(2023, 2, 28)


def test_a_garden_moves_with_its_plantings_and_its_made_heat(make_garden):
    garden = make_garden({"what_if": {"heat": {"start": dt.date(2025, 5, 10), "warmer": "+5 K"}}})
    there = in_year(garden, 2031)
    assert (there.season.start, there.season.end) == (dt.date(2031, 5, 1), dt.date(2031, 5, 31))
    assert there.controller["upper"].bed["tomatoes"].planted == dt.date(2031, 5, 5)
    assert there.what_if.heat.start == dt.date(2031, 5, 10)
    assert in_year(garden, 2025) is garden


def test_years_count_only_when_the_record_holds_all_their_days(make_garden):
    """Two years and a half of days: the third year's season is cut off."""
    garden = make_garden({"season": {"end": dt.date(2025, 6, 30)}}, weather=weather_csv(31 + 2 * 365, radiation=12.0))
    weather = read_scenario_weather(garden)
    assert years_at_hand(garden, weather, garden.season.start, garden.season.end) == [2025, 2026]
    assert years_at_hand(garden, weather, dt.date(2025, 12, 20), dt.date(2026, 1, 10)) == [2025, 2026]
    assert years_at_hand(garden, weather, dt.date(2025, 4, 1), dt.date(2025, 5, 10)) == [2026, 2027]


def test_plantings_in_turn_and_mixtures_move_with_the_year():
    base = load_scenario(ROOT / "scenarios" / "terraces.toml")
    raw = copy.deepcopy(dict(base.described))
    del raw["variant"]
    bed = raw["controller"]["upper"]["bed"]["lettuce"]
    del bed["plants"], bed["planted"]
    bed["plantings"] = [
        {"plants": {"name": "lettuce", "stages": [5, 5, 10, 5]}, "planted": dt.date(2025, 5, 2)},
        {"plants": {"name": "lettuce", "stages": [5, 5, 10, 5]}, "planted": dt.date(2025, 7, 2)},
    ]
    garden = scenario_from(raw, base.path)
    there = in_year(garden, 2019).controller["upper"].bed["lettuce"]
    assert [part.planted for part in there.plantings] == [dt.date(2019, 5, 2), dt.date(2019, 7, 2)]
    assert bed_in_year(garden.controller["upper"].bed["lettuce"], -6) == there
