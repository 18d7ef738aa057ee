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
from panbudget.season.years import bed_in_year, in_year, moved, read_year, usable_years
from panbudget.weather.of_scenario import read_scenario_weather
from tests.garden_file import write_garden, years_csv
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
    assert [*usable_years(garden, garden.season.start, garden.season.end, weather).weather] == [2025, 2026]
    assert [*usable_years(garden, dt.date(2025, 12, 20), dt.date(2026, 1, 10), weather).weather] == [2025, 2026]
    assert [*usable_years(garden, dt.date(2025, 4, 1), dt.date(2025, 5, 10), weather).weather] == [2026, 2027]


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
            "2025, 2029; choose one of its years, or days within them"
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
    assert finding.text.startswith("Typical year: ")
    assert "TYPICAL YEAR, no real summer" in as_page(season)


@pytest.mark.parametrize("year", [0, 12345])
def test_a_year_is_four_digits(make_garden, year):
    with pytest.raises(ScenarioError, match="is not a year from 1800 to 2199"):
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


@pytest.mark.parametrize(("year", "known"), [(1799, False), (1800, True), (2199, True), (2200, False)])
def test_years_of_a_scenario_leave_one_for_a_season_over_new_year(make_garden, year, known):
    """A season of 2200 might end in 2201, which no scenario may name."""
    with pytest.raises(ScenarioError) as caught:
        read_year(make_garden(days=3), year)
    assert ("is not a year from" not in str(caught.value)) is known
    assert ("does not hold 1 May to 3 May" in str(caught.value)) is known


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
    assert [*usable_years(garden, weather=read_scenario_weather(garden)).weather] == [2025, 2026]
    with pytest.raises(ScenarioError, match="it holds them in 2025 to 2026; choose one"):
        read_year(garden, 2027)


def test_a_season_that_fits_its_year_to_the_day_counts_and_one_day_more_does_not(make_garden):
    weather = read_scenario_weather(make_garden(days=31))
    garden = make_garden(days=31)
    assert [*usable_years(garden, dt.date(2025, 5, 1), dt.date(2025, 5, 31), weather).weather] == [2025]
    assert [*usable_years(garden, dt.date(2025, 4, 30), dt.date(2025, 5, 31), weather).weather] == []
    assert [*usable_years(garden, dt.date(2025, 5, 1), dt.date(2025, 6, 1), weather).weather] == []
    # the same days, asked for as those of other years
    assert [*usable_years(garden, dt.date(2020, 5, 1), dt.date(2020, 5, 31), weather).weather] == [2030]


def usable(folder, table, **changes):
    garden = load_scenario(write_garden(folder, table, start="2021-05-10", end="2021-06-20"))
    return usable_years(garden.changed(changes) if changes else garden)


def test_a_usable_year_needs_its_spin_up_too(tmp_path):
    """The record begins on 1 January; ten days before 10 January are not all in it, nine are."""
    season = {"start": dt.date(2021, 1, 10), "end": dt.date(2021, 1, 20)}
    for days, years in ((9, [2021, 2022]), (10, [2022])):
        found = usable(tmp_path, years_csv(2021, 2022), season={**season, "spin_up": f"{days} days"})
        assert list(found.weather) == years
    assert found.left_out == {2021: "the record runs from 2021-01-01 to 2022-12-31"}


def test_a_gap_just_outside_a_season_cuts_nothing_and_just_inside_it_all(tmp_path):
    for day, whole in (("2022-05-09", True), ("2022-05-10", False), ("2022-06-20", False), ("2022-06-21", True)):
        found = usable(tmp_path, years_csv(2021, 2023, drop=[(day, day)]))
        assert (2022 in found.weather) is whole, day
        assert (2022 in found.left_out) is not whole
        assert {2021, 2023} <= set(found.weather)


def test_years_in_one_run_of_days_share_their_weather(tmp_path):
    """So that what they have in common is computed once; a gap parts them."""
    found = usable(tmp_path, years_csv(2020, 2023, drop=[("2021-12-01", "2021-12-01")]))
    assert found.weather[2020] is found.weather[2021]
    assert found.weather[2022] is found.weather[2023]
    assert found.weather[2021] is not found.weather[2022]


def test_a_fallback_that_fills_the_gap_makes_the_year_usable(tmp_path):
    (tmp_path / "hill.csv").write_text(years_csv(2022, 2022), encoding="utf-8")
    weather = years_csv(2021, 2023, drop=[("2022-05-15", "2022-05-16")])
    assert list(usable(tmp_path, weather).weather) == [2021, 2023]
    source = {"file": "weather.csv", "fallback": [{"file": "hill.csv", "rain": True}]}
    assert list(usable(tmp_path, weather, weather=source).weather) == [2021, 2022, 2023]


def test_each_years_season_is_filled_within_the_limits_of_its_own_days(tmp_path):
    """Wind is estimated on at most five days in a row; six in June of one year leave that year out and no other."""
    rows = years_csv(2021, 2022).splitlines()
    blank = {f"2021-06-{day:02d}" for day in range(1, 7)}
    text = "\n".join(
        ",".join([*row.split(",")[:5], "", *row.split(",")[6:]]) if row[:10] in blank else row for row in rows
    )
    found = usable(tmp_path, text + "\n")
    assert list(found.weather) == [2022]
    assert found.left_out[2021].startswith("wind is missing on up to 6 days in a row")


def test_a_typical_year_has_its_own_year_alone(make_garden, tmp_path):
    garden = make_garden({"weather": {"missing_rain": "zero"}})
    (tmp_path / "weather.csv").write_text(typical_text(), encoding="utf-8")
    found = usable_years(garden)
    assert (list(found.weather), found.left_out) == ([2025], {})


def test_a_spin_up_is_taken_off_where_the_season_has_been_moved_to(make_garden):
    """From 1 March, two days before it are 28 February of a leap year and 27 February of another."""
    season = {"start": dt.date(2024, 3, 1), "end": dt.date(2024, 3, 4), "spin_up": "2 days"}
    for begins, years in ((dt.date(2025, 2, 27), [2025]), (dt.date(2025, 2, 28), [])):
        text = weather_csv(8, start=begins, radiation=12.0)
        garden = make_garden({"season": season, "weather": {"missing_rain": "zero"}}, weather=text)
        assert list(usable_years(garden).weather) == years
        if years:
            assert list(usable_years(garden, weather=read_scenario_weather(in_year(garden, 2025))).weather) == years


@pytest.mark.parametrize(
    ("first", "last", "left_out"),
    [((2024, 5, 31), (2026, 5, 1), [2024, 2026]), ((2024, 6, 1), (2026, 4, 30), [])],
)
def test_a_year_of_which_the_record_has_one_day_of_the_season_is_left_out_by_name(make_garden, first, last, left_out):
    """A season from the first of May to the 31st; of a year of which it has none, nothing is said."""
    start, end = dt.date(*first), dt.date(*last)
    season = {"season": {"start": dt.date(2025, 5, 1), "end": dt.date(2025, 5, 31)}}
    found = usable_years(make_garden(season, weather=weather_csv((end - start).days + 1, start=start, radiation=12.0)))
    assert list(found.weather) == [2025]
    assert list(found.left_out) == left_out
