"""A place's record at its edges: which days it holds, when the sun and the clock press a valve, where a spin-up starts."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from panbudget import replay
from panbudget.errors import ScenarioError
from panbudget.physics.evaporation import hourly_shares
from panbudget.scenario.garden import Site
from panbudget.season.record import Record
from tests.small_weather import weather_csv


def record(days=10, start="2025-05-01", **site):
    index = pd.date_range(start, periods=days, name="date")
    daily = pd.DataFrame({"tmin": 10.0, "tmax": 24.0, "rain": 0.0, "wind": 2.0, "rh_min": 40.0}, index=index)
    place = Site.model_validate({"latitude": 38.6, "elevation": "240 m", **site})
    return Record(
        place, SimpleNamespace(daily=daily, notes=()), shown="weather.csv", file="garden.toml", eto=np.full(days, 5.0)
    )


@pytest.mark.parametrize(
    ("first", "last", "span"),
    [(1, 10, (0, 10)), (1, 1, (0, 1)), (10, 10, (9, 10)), (3, 5, (2, 5)), (1, 11, None), (0, 10, None)],
)
def test_a_season_is_held_from_the_records_first_day_to_its_last(first, last, span):
    day = dt.date(2025, 4, 30)
    assert record().span(day + dt.timedelta(days=first), day + dt.timedelta(days=last)) == span


@pytest.mark.parametrize(
    ("first", "last", "outside"),
    [(1, 11, ["season.end"]), (0, 10, ["season.start"]), (0, 11, ["season.start", "season.end"])],
)
def test_of_a_season_that_is_not_held_the_days_outside_the_record_are_named(first, last, outside):
    """Ten days, from the first of May on."""
    day = dt.date(2025, 4, 30)
    with pytest.raises(ScenarioError) as caught:
        record().whole_span(day + dt.timedelta(days=first), day + dt.timedelta(days=last))
    assert [problem.where for problem in caught.value.problems] == outside


def test_a_days_mean_temperature_is_half_way_between_its_ends():
    """FAO-56 eq. 9: of 10 and 24 °C, 17 °C."""
    assert record().climate(2, 4).tmean.tolist() == [17.0, 17.0]


def test_the_sun_presses_at_six_and_eighteen_on_the_equator():
    """FAO-56 eq. 34: twelve hours of day there, all the year."""
    table = record(latitude=0.0).press_hours(("sunset", "sunrise"), 0, 3)
    assert table == pytest.approx(np.tile([6.0, 18.0], (3, 1)))
    assert record(latitude=0.0).press_hours(("sunset",), 0, 2) == pytest.approx(np.full((2, 1), 18.0))


def test_no_sun_that_does_not_rise_or_set_presses_a_valve():
    """At 80° N in May the sun stays up, in December down."""
    for start in ("2025-05-20", "2025-12-10"):
        assert record(3, start, latitude=80.0).press_hours(("sunrise", "sunset"), 0, 3).size == 0


def test_the_clock_presses_once_a_day_in_the_order_of_the_day():
    table = record().press_hours(("21:30", "06:00"), 2, 5)
    assert table.tolist() == [[6.0, 21.5]] * 3
    assert record().press_hours(("00:00",), 0, 2).tolist() == [[0.0], [0.0]]


def test_the_sun_has_two_presses_on_the_day_the_clock_goes_forward_and_none_as_it_goes_back():
    """Half past midnight at 15° E is after solar midnight by the winter's clock, and before it by the summer's."""
    for start, counts in (("2025-03-28", [1, 1, 2, 1]), ("2025-10-24", [1, 1, 0, 1])):
        table = record(4, start, longitude=15.0, timezone="Europe/Berlin").press_hours(("00:30",), 0, 4)
        assert np.isfinite(table).sum(axis=1).tolist() == counts


def test_a_clock_ahead_of_the_sun_presses_before_solar_midnight():
    """At 60° W on a clock of UTC the sun is four hours behind, and up to 4 minutes more by the equation of time in May."""
    table = record(longitude=-60.0, timezone="UTC").press_hours(("02:00",), 0, 3)
    assert table == pytest.approx(np.full((3, 1), 22.0), abs=0.1)


def test_soils_spun_up_without_rain_are_drier_by_what_the_plants_took(make_garden):
    """By hand: Kc 0.5 on loam with 78 mm, far from stress: seven days of half the ETo; an eighth is not in the file."""
    plants = {"kc": 0.5, "root_depth": "60 cm", "depletion": 0.9}
    bed = {"controller": {"upper": {"bed": {"tomatoes": {"plants": plants, "planted": None}}}}}
    season = {"season": {"start": dt.date(2025, 5, 8), "spin_up": "7 d"}}
    garden = make_garden(bed, weather=weather_csv(12)).changed(season)
    eto = replay(garden).days["eto_mm"]
    began = replay(garden).totals["beds"]["upper/tomatoes"]["depletion_start_mm"]
    assert began == pytest.approx(7 * 0.5 * eto.iloc[0], rel=0.01)  # the sun climbs a little in a week
    with pytest.raises(ScenarioError, match="spin_up = 8 days needs weather from 2025-04-30.* at most 7 days"):
        replay(garden.changed({"season": {"spin_up": "8 d"}}))
    with pytest.raises(ScenarioError, match="; leave it out, or give initial_depletion instead"):
        replay(garden.changed({"season": {"start": dt.date(2025, 5, 1), "spin_up": "1 d"}}))


def test_a_pan_begins_at_its_reset_level_and_never_over_its_rim(make_garden):
    """Filled to the swing, 0.9 kg above the trip weight."""
    assert replay(make_garden(days=2)).began.level.tolist() == pytest.approx([0.9])


@pytest.mark.parametrize(
    ("start", "of_year"),
    [("2025-01-01", 1), ("2025-05-01", 121), ("2024-05-01", 122), ("2024-12-31", 366), ("2025-12-31", 365)],
)
def test_a_days_hours_are_those_of_its_day_of_the_year(start, of_year):
    """Day 122 is 1 May of a leap year."""
    found = record(1, start).days([(0, 1)])
    daylight, dark = hourly_shares(38.6, np.array([float(of_year)]))
    assert np.array_equal(found.daylight_share[0], daylight)
    assert np.array_equal(found.dark_share[0], dark)


@pytest.mark.parametrize(
    ("holes", "named"),
    [
        ({0, 1, 2, 3, 4, 5}, "2025-05-01 to 2025-05-06"),
        ({0, 2, 4, 6, 8}, "2025-05-01, .*2025-05-09"),
        ({0, 2, 4, 6, 8, 10}, r"2025-05-01, .*2025-05-09 \(and 1 more day\)"),
    ],
)
def test_days_without_a_measured_pan_are_named(make_garden, holes, named):
    pan = ["" if day in holes else 8.0 for day in range(12)]
    with pytest.raises(ScenarioError, match=f"has no pan_evaporation on {named}; fill them"):
        replay(make_garden(weather=weather_csv(12, pan=pan)))


def test_valves_of_fewer_presses_have_none_where_others_have_theirs():
    """Two days, at most two presses a day: a valve's days stand one after the other."""
    times = [("06:00",), ("21:30", "06:00"), ()]
    valves = [SimpleNamespace(controller=SimpleNamespace(valve=SimpleNamespace(press_times=part))) for part in times]
    inf = np.inf
    days = [[6.0, inf, 6.0, inf], [6.0, 21.5, 6.0, 21.5], [inf] * 4]
    assert record().presses(valves, [(2, 4), (3, 5)]).tolist() == [days, days]
    assert record().presses(valves[2:], [(2, 4)]).shape == (1, 1, 0)
