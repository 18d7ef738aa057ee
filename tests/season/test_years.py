"""The same calendar days in other years."""

from __future__ import annotations

import copy
import datetime as dt
from pathlib import Path

import pytest

from panbudget.errors import ScenarioError, WeatherError
from panbudget.reports.writing import as_page
from panbudget.scenario.garden import load_scenario, scenario_from
from panbudget.season.replay import replay
from panbudget.season.years import bed_in_year, in_year, moved, read_year, years_at_hand
from panbudget.weather.of_scenario import read_scenario_weather
from tests.small_weather import weather_csv
from tests.weather.formats.test_tmy3 import text as typical_text

ROOT = Path(__file__).resolve().parents[2]


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


def test_plantings_in_turn_and_side_by_side_move_too(make_garden):
    """An overlay replaces lists whole, so every part must come along with what it said besides its date."""
    turns = [
        {"plants": "lettuce", "planted": dt.date(2025, 5, 1)},
        {"plants": {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.45}},
    ]
    mixed = [
        {"plants": "tomato", "planted": dt.date(2024, 2, 29), "share": 0.7},
        {"plants": {"kc": 0.5, "root_depth": "60 cm", "depletion": 0.45}, "share": 0.3},
    ]
    upper = make_garden().described["controller"]["upper"]["bed"]["tomatoes"]
    bare = {key: value for key, value in upper.items() if key not in ("plants", "planted")}
    garden = make_garden(
        {"controller": {"upper": {"bed": {"turns": {**bare, "plantings": turns}, "mixed": {**bare, "mix": mixed}}}}}
    )
    beds = in_year(garden, 2030).controller["upper"].bed
    assert [part.planted for part in beds["turns"].plantings] == [dt.date(2030, 5, 1), None]
    assert [part.planted for part in beds["mixed"].mix] == [dt.date(2029, 2, 28), None]
    assert [part.share for part in beds["mixed"].mix] == [0.7, 0.3]
    assert beds["tomatoes"].planted == dt.date(2030, 5, 5)


def test_a_year_is_picked_from_a_record_of_several(make_garden):
    garden = make_garden({"season": {"end": dt.date(2025, 5, 31)}}, weather=weather_csv(800, radiation=12.0))
    there, weather = read_year(garden, 2026)
    assert (there.season.start, there.season.end) == (dt.date(2026, 5, 1), dt.date(2026, 5, 31))
    assert weather.daily.index[0].date() == dt.date(2025, 5, 1)


def test_a_year_that_the_file_lacks_is_refused_in_one_line_that_names_those_at_hand(make_garden):
    """2026 ends in the middle of its season; 2029 stands alone."""
    text = weather_csv(31 + 370, radiation=12.0) + "\n".join(
        weather_csv(60, start=dt.date(2029, 5, 1), radiation=12.0).splitlines()[1:]
    )
    garden = make_garden({"season": {"end": dt.date(2025, 6, 20)}}, weather=text)
    for year in (2026, 1999):
        with pytest.raises(ScenarioError) as caught:
            read_year(garden, year)
        assert str(caught.value).splitlines() == [
            f"{garden.path}: season = {year}: weather.csv does not hold 1 May to 20 June of that year; it holds them in "
            "2025, 2029; choose one of its years"
        ]


def test_a_year_with_a_gap_keeps_its_own_message(make_garden):
    text = weather_csv(800, radiation=12.0).replace("2026-05-07,14.0", "2026-05-07,")
    garden = make_garden({"season": {"end": dt.date(2025, 5, 31)}}, weather=text)
    with pytest.raises(WeatherError, match="tmin is empty on 2026-05-07"):
        read_year(garden, 2026)


def test_any_year_fits_a_typical_year(make_garden, tmp_path):
    garden = make_garden({"controller": {"upper": {"pan": {"evaporation": "from-eto"}}}})
    (tmp_path / "weather.csv").write_text(typical_text(), encoding="utf-8")
    garden = garden.changed({"weather": {"missing_rain": "zero"}})
    there, weather = read_year(garden, 2040)
    season = replay(there, weather=weather)
    finding = next(f for f in season.findings if f.code == "typical-year")
    assert finding.severity == "caution"
    assert finding.message.startswith("Typical year: ")
    assert "TYPICAL YEAR, no real summer" in as_page(season)


@pytest.mark.parametrize("year", [0, 12345])
def test_a_year_is_four_digits(make_garden, year):
    with pytest.raises(ScenarioError, match="is not a year of four digits"):
        read_year(make_garden(), year)


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


@pytest.mark.parametrize(("year", "digits"), [(999, False), (1000, True), (9998, True), (9999, False)])
def test_years_of_four_digits_leave_one_for_a_season_over_new_year(make_garden, year, digits):
    """A season of 9999 might end in 10000, which no calendar here writes."""
    with pytest.raises(ScenarioError) as caught:
        read_year(make_garden(days=3), year)
    assert ("not a year of four digits" not in str(caught.value)) is digits
    assert ("does not hold 1 May to 3 May" in str(caught.value)) is digits


def test_a_run_of_years_is_drawn_together(make_garden):
    """Four whole years, and one alone two years on."""
    days = 31 + 3 * 365 + 1
    rows = weather_csv(days, radiation=12.0) + "\n".join(
        weather_csv(40, start=dt.date(2030, 5, 1), radiation=12.0).splitlines()[1:]
    )
    garden = make_garden({"season": {"end": dt.date(2025, 5, 31)}}, weather=rows)
    with pytest.raises(ScenarioError, match="it holds them in 2025 to 2028, 2030; choose one"):
        read_year(garden, 2029)


def test_a_season_over_new_year_is_held_by_the_year_in_which_it_starts(make_garden):
    """From 20 December to 10 January: days from December 2025 to the middle of January 2027 hold two."""
    text = weather_csv(392, start=dt.date(2025, 12, 20), radiation=8.0)
    garden = make_garden({"season": {"end": dt.date(2026, 1, 10)}}, weather=text)
    assert years_at_hand(garden, read_scenario_weather(garden), garden.season.start, garden.season.end) == [2025, 2026]
    with pytest.raises(ScenarioError, match="it holds them in 2025 to 2026; choose one"):
        read_year(garden, 2027)


def test_a_season_that_fits_its_year_to_the_day_counts_and_one_day_more_does_not(make_garden):
    weather = read_scenario_weather(make_garden(days=31))
    garden = make_garden(days=31)
    assert years_at_hand(garden, weather, dt.date(2025, 5, 1), dt.date(2025, 5, 31)) == [2025]
    assert years_at_hand(garden, weather, dt.date(2025, 4, 30), dt.date(2025, 5, 31)) == []
    assert years_at_hand(garden, weather, dt.date(2025, 5, 1), dt.date(2025, 6, 1)) == []
    # the same days, asked for as those of other years
    assert years_at_hand(garden, weather, dt.date(2020, 5, 1), dt.date(2020, 5, 31)) == [2030]
