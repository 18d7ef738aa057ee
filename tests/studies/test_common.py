"""What studies share: short days, low levels, seasons of a record, overlays of all controllers, refusals."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

import panbudget
from panbudget import WeatherError, replay
from panbudget.season.result import short_of_water
from panbudget.studies.common import (
    assumptions_of,
    each_controller,
    lowest_level,
    refusal,
    seasons_of_record,
)
from panbudget.weather.of_scenario import open_scenario_weather, read_scenario_weather
from panbudget.words import packaged
from tests.small_weather import weather_csv


def test_a_bed_is_short_below_a_ks_of_one_and_only_while_it_grows():
    bed = pd.DataFrame({"growing": [True, True, False], "driest_ks": [1.0, 0.999, 0.5], "ks": [0.9, 1.0, 1.0]})
    assert short_of_water(bed).tolist() == [False, True, False]
    assert short_of_water(bed, "ks").tolist() == [True, False, False]


def test_the_lowest_level_is_counted_from_the_floor_and_within_the_days_asked_for(make_garden):
    """At the trip a pan of 160 mm of water has lost its swing of 0.9 kg."""
    season = replay(make_garden(days=5))
    pan = season.scenario.controller["upper"].pan
    at_trip = (160.0 * pan.area - 0.9) / pan.area
    levels = season.hourly_level["upper"]
    assert lowest_level(season, "upper") == pytest.approx(at_trip + levels.min() / pan.area)
    assert lowest_level(season, "upper", slice(0, 1)) == pytest.approx(at_trip + levels[:24].min() / pan.area)


def test_seasons_are_those_that_the_record_holds_or_the_gardens_own(make_garden):
    season = {"season": {"start": dt.date(2025, 5, 1), "end": dt.date(2025, 5, 9)}}
    winter = [
        row.replace(",24.0,", ",8.0,") if row[5:7] not in ("05", "06") else row for row in weather_csv(380).splitlines()
    ]
    garden = make_garden(season, weather="\n".join(winter) + "\n")
    told = []
    seasons, left_out = seasons_of_record(garden, step=told.append)
    assert left_out == []
    assert list(seasons_of_record(garden, read_scenario_weather(garden))[0]) == [2025, 2026]
    assert list(seasons) == [2025, 2026]
    assert told == ["replaying 2025", "replaying 2026"]
    assert seasons[2026].days.index[0].date() == dt.date(2026, 5, 1)
    assert assumptions_of([seasons[2025], seasons[2025]]) == list(dict.fromkeys(seasons[2025].assumptions))


def test_how_values_came_about_is_counted_over_all_seasons_and_told_once(make_garden):
    """Nine days in each of two years; humidity's daily range is missing on the second day of the first, whatever was asked for."""
    rows = weather_csv(380).splitlines()
    rows[2] = rows[2].replace(",80,35,", ",80,,")
    for year in (2025, 2026):
        own = {"season": {"start": dt.date(year, 5, 1), "end": dt.date(year, 5, 9)}}
        told = assumptions_of(seasons_of_record(make_garden(own, weather="\n".join(rows) + "\n"))[0].values())
        assert len(told) == len(set(told))
        came = [text for text in told if text.startswith("vapour_pressure")]
        assert ["17 of 18 days" in came[0], "1 of 18 days" in came[1], len(came)] == [True, True, 2]


def test_an_overlay_changes_all_controllers_or_those_named(make_garden):
    garden = make_garden()
    overlay = each_controller(garden, lambda part: {"pan": {"exposure": part.pan.exposure / 2.0}})
    assert list(overlay["controller"]) == ["upper"]
    changed = garden.changed(overlay)
    assert changed.controller["upper"].pan.exposure == garden.controller["upper"].pan.exposure / 2.0
    assert each_controller(garden, lambda part: {}, ["upper"]) == {"controller": {"upper": {}}}


def test_a_refusal_names_the_file_the_place_and_the_cure(make_garden):
    error = refusal(make_garden(), "other-days", "variant.dry", 3, other="site", first="wide")
    found, expected = 'has another site than "wide"', "expected: variants in the same weather and days"
    assert str(error).endswith(f"garden.toml: variant.dry {found}; {expected}; leave it out or replay it by itself")
    assert (error.problems[0].code, error.value) == ("other-days", 3)


def test_a_studys_sizes_are_read_from_beside_it():
    times = packaged("studies/away/changes.toml")["emitters"]["times"]
    assert times == sorted(times)
    assert set(packaged("studies/compare.toml")) == {"rule", "valve", "bed"}


DAY = dt.date(2025, 5, 4)


@pytest.mark.parametrize(
    "day_of",
    [
        lambda garden, day: panbudget.away(garden, day, day).start,
        lambda garden, day: panbudget.compare(garden, ["wide", "as described"], start=day).start,
        lambda garden, day: panbudget.faults(garden, start=day).start,
        lambda garden, day: panbudget.today(garden, day=day, variants=["wide"]).season.days.index[-1].date(),
        lambda garden, day: replay(*panbudget.read_year(garden, 2025, start=day)[:1], start=day).days.index[0].date(),
    ],
)
def test_every_verb_takes_days_as_pandas_does(make_garden, few_changes, day_of):
    garden = make_garden({"variant": {"wide": {"note": "wide"}}}, days=9)
    assert day_of(garden, str(DAY)) == DAY


def test_results_and_gardens_show_themselves_in_a_few_lines(make_garden, few_changes):
    garden = make_garden(days=9)
    assert repr(garden) == f'Scenario "Test garden" of {garden.path}, 2025-05-01 to 2025-05-09; upper: tomatoes'
    assert str(garden) == repr(garden)
    for result in (panbudget.away(garden, DAY, DAY), panbudget.years(garden)):
        assert repr(result).splitlines() == [f'{type(result).__name__} of "Test garden"', *result.sentences()]


def test_a_bare_table_is_no_weather(make_garden):
    garden, table = make_garden(days=9), pd.DataFrame({"tmin": [1.0]})
    for use in (replay, panbudget.years, panbudget.faults, panbudget.setup):
        with pytest.raises(WeatherError, match="weather = a DataFrame is no weather that was read"):
            use(garden, weather=table)


def test_a_weather_file_that_is_open_serves_for_the_weather_read_from_it(make_garden):
    garden = make_garden(days=9)
    file = open_scenario_weather(garden)
    pd.testing.assert_frame_equal(replay(garden, weather=file).days, replay(garden).days)
