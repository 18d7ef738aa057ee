"""Heat waves found in a record by the stated rule, and one made at a constant dew point."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from panbudget import replay
from panbudget.errors import ScenarioError
from panbudget.physics.air import saturation_vapour_pressure
from panbudget.physics.evaporation import reference_evapotranspiration
from panbudget.scenario.garden import Heat
from panbudget.season.heat import add_heat, find_heat_waves, made_wave, with_heat
from panbudget.weather.flags import MADE_HEAT
from panbudget.weather.of_scenario import read_scenario_weather
from tests.small_weather import weather_csv


def record(tmax, start="2025-06-01"):
    index = pd.date_range(start, periods=len(tmax), name="date")
    return pd.DataFrame({"tmax": np.asarray(tmax, float)}, index=index)


def years_of(count, start=2010):
    """Ten or more years whose Tmax on a day depends on the year alone: 20, 21, 22 … °C."""
    index = pd.date_range(f"{start}-01-01", f"{start + count - 1}-12-31", name="date")
    return pd.DataFrame({"tmax": 20.0 + (index.year.to_numpy() - start)}, index=index)


def test_three_days_above_a_given_limit_are_a_wave_and_two_are_none():
    tmax = [30, 36, 36, 30, 36, 37, 38, 30, 35]
    found = find_heat_waves(record(tmax), dt.date(2025, 6, 1), dt.date(2025, 6, 9), hot_above=35.0)
    assert [(w.start, w.end, w.days, w.peak_c) for w in found.waves] == [
        (dt.date(2025, 6, 5), dt.date(2025, 6, 7), 3, 38.0)
    ]
    assert found.waves[0].degree_days == pytest.approx(1 + 2 + 3)
    assert "above 35.0 °C, the limit given" in found.definition


def test_a_day_at_a_given_limit_is_not_above_it():
    found = find_heat_waves(record([35.0] * 5), dt.date(2025, 6, 1), dt.date(2025, 6, 5), hot_above=35.0)
    assert found.waves == ()
    assert found.greatest is None


def test_with_ten_years_the_limit_is_the_calendar_percentile_worked_by_hand():
    """Ten years of 20…29 °C: each window holds 15 days of each, so the 95th percentile lies among the 29s."""
    daily = years_of(10)
    found = find_heat_waves(daily, dt.date(2019, 7, 1), dt.date(2019, 7, 20))
    pool = np.repeat(np.arange(20.0, 30.0), 15)
    assert found.limit.to_numpy() == pytest.approx(np.percentile(pool, 95))
    assert "10 years of the record" in found.definition
    assert found.waves == ()  # 29 is at the percentile, not above it
    daily.loc["2019-07-05":"2019-07-07", "tmax"] = 40.0
    waves = find_heat_waves(daily, dt.date(2019, 7, 1), dt.date(2019, 7, 20)).waves
    assert [(w.start.day, w.days, w.peak_c) for w in waves] == [(5, 3, 40.0)]


def test_calendar_windows_run_over_new_year_and_leap_days():
    daily = years_of(12, start=2008)
    found = find_heat_waves(daily, dt.date(2012, 2, 25), dt.date(2012, 3, 3))
    assert len(found.limit) == 8
    assert "12 years" in found.definition
    assert "12 years" in find_heat_waves(daily, dt.date(2011, 12, 28), dt.date(2012, 1, 5)).definition


def test_with_fewer_years_the_limit_is_the_seasons_own_and_never_below_thirty():
    daily = years_of(9)
    found = find_heat_waves(daily, dt.date(2018, 7, 1), dt.date(2018, 7, 20))
    assert set(found.limit) == {30.0}
    assert "fewer than 10 years" in found.definition
    assert found.waves == ()
    tmax = [31.0] * 26 + [40.0] * 4
    found = find_heat_waves(record(tmax), dt.date(2025, 6, 1), dt.date(2025, 6, 30))
    assert found.limit.iloc[0] == pytest.approx(np.percentile(tmax, 90))
    assert [(w.start.day, w.days) for w in found.waves] == [(27, 4)]


def test_the_greatest_wave_has_the_most_degree_days():
    tmax = [36] * 4 + [20] + [40] * 3 + [20] + [36] * 3
    found = find_heat_waves(record(tmax), dt.date(2025, 6, 1), dt.date(2025, 6, 12), hot_above=35.0)
    assert [w.days for w in found.waves] == [4, 3, 3]
    assert found.greatest.peak_c == 40.0


def test_the_demos_ten_hot_days_are_found():
    """The demo's heat, 8 to 17 July, is put in by hand in weather_samples/make_samples.py."""
    from pathlib import Path

    from panbudget import load_scenario

    scenario = load_scenario(Path(__file__).resolve().parents[2] / "scenarios" / "terraces.toml")
    weather = read_scenario_weather(scenario)
    found = find_heat_waves(weather.daily, scenario.season.start, scenario.season.end)
    assert (found.greatest.start, found.greatest.end) == (dt.date(2025, 7, 8), dt.date(2025, 7, 17))


HEAT = Heat.model_validate({"start": dt.date(2025, 5, 10), "days": 3, "warmer": "+5 K"})


def test_a_made_wave_is_warmer_at_the_same_dew_point(make_garden):
    garden = make_garden()
    weather = read_scenario_weather(garden)
    before = weather.daily.copy()
    made = add_heat(weather.daily, HEAT, latitude=38.6, elevation=240.0)
    pd.testing.assert_frame_equal(weather.daily, before)  # nothing changes in place
    days = slice("2025-05-10", "2025-05-12")
    outside = made.index.difference(made.loc[days].index)
    pd.testing.assert_frame_equal(made.loc[outside], before.loc[outside])
    row, was = made.loc["2025-05-11"], before.loc["2025-05-11"]
    assert (row["tmin"], row["tmax"]) == (was["tmin"] + 5.0, was["tmax"] + 5.0)
    for name in ("vapour_pressure", "wind", "rain", "radiation"):
        assert row[name] == was[name]
    # the vapour pressure that rh_min means at Tmax is as it was, and so for the mean
    assert row["rh_min"] * saturation_vapour_pressure(row["tmax"]) == pytest.approx(
        was["rh_min"] * saturation_vapour_pressure(was["tmax"])
    )
    mean = [saturation_vapour_pressure(r["tmin"]) + saturation_vapour_pressure(r["tmax"]) for r in (row, was)]
    assert row["rh_mean"] * mean[0] == pytest.approx(was["rh_mean"] * mean[1])
    eto = [reference_evapotranspiration(t, latitude=38.6, elevation=240.0)["2025-05-11"] for t in (made, before)]
    assert eto[0] > eto[1]
    assert row["pan_evaporation"] / was["pan_evaporation"] == pytest.approx(eto[0] / eto[1])


def test_a_made_wave_can_take_the_rain_away(make_garden):
    weather = read_scenario_weather(make_garden(weather=weather_csv(31, rain=[3.0] * 31)))
    dry = HEAT.model_copy(update={"without_rain": True})
    made = add_heat(weather.daily, dry, latitude=38.6, elevation=240.0)
    assert made["rain"].sum() == pytest.approx(3.0 * 28)


def test_a_made_wave_is_flagged_counted_and_said_everywhere(make_garden):
    season = replay(make_garden({"what_if": {"heat": {"start": dt.date(2025, 5, 10), "days": 3, "warmer": "9 degF"}}}))
    assert season.totals["weather"]["filled"]["tmax"] == {MADE_HEAT: 3}
    (finding,) = (f for f in season.findings if f.code == "made-heat")
    assert (finding.severity, finding.first, finding.days) == ("caution", "2025-05-10", 3)
    assert "5 °C warmer by day and night at the same dew point" in finding.text
    assert any("made-up heat wave" in text for text in season.assumptions)
    assert season.days.loc["2025-05-10", "tmax_c"] == pytest.approx(35.0)
    from panbudget.reports.writing import as_page

    assert "made-up heat wave, 3 days from 10 May 2025" in as_page(season)


def test_laying_the_same_wave_twice_lays_it_once(make_garden):
    garden = make_garden()
    once = with_heat(read_scenario_weather(garden), HEAT, garden.site)
    assert with_heat(once, HEAT, garden.site) is once


def test_a_made_wave_outside_the_record_is_refused(make_garden):
    late = {"what_if": {"heat": {"start": dt.date(2025, 8, 10), "warmer": "+5 K"}}}
    with pytest.raises(
        ScenarioError,
        match=r"garden\.toml: what_if.heat.start = 2025-08-10 .* lies outside the weather file[^;]*from 2025-05-01",
    ):
        replay(make_garden(late))


@pytest.mark.parametrize(
    ("heat", "said"),
    [
        ({"start": dt.date(2025, 5, 10), "warmer": 5}, "what_if.heat.warmer = 5 has no unit"),
        ({"start": dt.date(2025, 5, 10), "warmer": "5 kg"}, "expected: a difference of temperature"),
        ({"start": dt.date(2025, 5, 10), "warmer": "-5 K"}, "must be at least 0.001 °C"),
        ({"warmer": "+5 K"}, "what_if.heat.start is missing"),
        ({"start": dt.date(2025, 5, 10), "warmer": "+5 K", "dayz": 3}, 'did you mean "days"'),
    ],
)
def test_a_senseless_wave_is_told(make_garden, heat, said):
    with pytest.raises(ScenarioError) as told:
        make_garden({"what_if": {"heat": heat}})
    assert said in str(told.value)


def naive_waves(daily, limit_of, *, at_limit):
    """The same rule, day by day, with nothing but dates."""
    waves, run = [], []
    for day, tmax in daily["tmax"].items():
        limit = limit_of(day)
        if tmax > limit or (at_limit and tmax == limit):
            run.append(day.date())
            continue
        if len(run) >= 3:
            waves.append((run[0], run[-1]))
        run = []
    return waves + ([(run[0], run[-1])] if len(run) >= 3 else [])


def test_heat_waves_of_a_real_record_are_those_of_a_plain_search():
    """Seattle 2012 to 2015, NOAA, as vega_datasets carries it: four years, so each summer's own 90th percentile."""
    data = pytest.importorskip("vega_datasets").data.seattle_weather()
    daily = data.set_index(pd.DatetimeIndex(data["date"], name="date")).rename(columns={"temp_max": "tmax"})
    found_any = 0
    for year in range(2012, 2016):
        start, end = dt.date(year, 5, 1), dt.date(year, 9, 30)
        summer = daily.loc[str(start) : str(end)]
        limit = max(float(np.percentile(summer["tmax"], 90)), 30.0)
        found = find_heat_waves(daily, start, end)
        expected = naive_waves(summer, lambda day, limit=limit: limit, at_limit=True)
        assert [(w.start, w.end) for w in found.waves] == expected
        found_any += len(expected)
    assert found_any >= 3


def test_calendar_percentiles_are_those_of_a_plain_search():
    """Eleven invented years; windows gathered by walking the calendar, not by counting days of the year."""
    index = pd.date_range("2005-01-01", "2015-12-31", name="date")
    rng = np.random.default_rng(11)
    tmax = 22.0 + 9.0 * np.sin((index.dayofyear.to_numpy() - 110) / 365 * 2 * np.pi) + rng.normal(0, 4, len(index))
    daily = pd.DataFrame({"tmax": tmax.round(1)}, index=index)

    def limit_of(day):
        pool = []
        for year in range(2004, 2017):
            if (day.month, day.day) == (2, 29):
                middle = pd.Timestamp(year, 2, 28)
            else:
                middle = pd.Timestamp(year, day.month, day.day)
            pool += [daily["tmax"].get(middle + dt.timedelta(days=shift)) for shift in range(-7, 8)]
        return np.percentile([value for value in pool if value is not None], 95)

    start, end = dt.date(2012, 4, 1), dt.date(2012, 9, 30)
    found = find_heat_waves(daily, start, end)
    limits = [limit_of(day) for day in found.limit.index]
    assert found.limit.to_numpy() == pytest.approx(limits)
    part = daily.loc[str(start) : str(end)]
    expected = naive_waves(part, dict(zip(part.index, limits, strict=True)).__getitem__, at_limit=False)
    assert [(w.start, w.end) for w in found.waves] == expected


def test_without_ten_years_a_day_of_thirty_degrees_is_hot_and_of_29_9_is_not():
    """The stated rule: the season's own 90th percentile, but at least 30 °C, and a day at the limit counts."""
    first, last = dt.date(2025, 6, 1), dt.date(2025, 6, 30)
    for peak, waves in ((30.0, 1), (29.9, 0)):
        assert len(find_heat_waves(record([20.0] * 27 + [peak] * 3), first, last).waves) == waves


def test_at_a_calendar_limit_a_day_is_not_hot_and_a_tenth_of_a_degree_above_it_is():
    daily = years_of(10)
    first, last = dt.date(2018, 7, 1), dt.date(2018, 7, 20)
    limit = float(find_heat_waves(daily, first, last).limit.iloc[4])
    daily.loc["2018-07-05":"2018-07-07", "tmax"] = limit
    assert find_heat_waves(daily, first, last).waves == ()
    daily.loc["2018-07-05":"2018-07-07", "tmax"] = 29.1
    (wave,) = find_heat_waves(daily, first, last).waves
    assert (wave.start.day, wave.days) == (5, 3)
    assert wave.degree_days == pytest.approx(0.3)  # all 29 °C days of the window are at the limit


def test_the_calendars_window_reaches_seven_days_over_new_year_and_no_further():
    """Ten years of 10 °C; the same day of each year of 20 °C is seven days from a limit that it moves, or eight."""
    for hot, moved in (("12-25", True), ("12-24", False), ("01-08", True), ("01-09", False)):
        index = pd.date_range("2005-01-01", "2014-12-31", name="date")
        daily = pd.DataFrame({"tmax": np.where(index.strftime("%m-%d") == hot, 20.0, 10.0)}, index=index)
        limit = find_heat_waves(daily, dt.date(2010, 1, 1), dt.date(2010, 1, 1)).limit.iloc[0]
        # one of fifteen days is 20 °C, more than the twentieth that the 95th percentile leaves above it
        assert bool(limit > 10.0) is moved, hot


@pytest.mark.parametrize(
    ("first", "last", "held"),
    [
        ("2005-07-01", "2014-06-30", 9),  # of ten calendar years
        ("2005-07-01", "2015-06-30", 10),
        ("2005-01-01", "2013-12-31", 9),  # and parts of a tenth summer
        ("2005-01-01", "2014-12-31", 10),
    ],
)
def test_about_new_year_the_poorer_of_years_and_summers_counts(first, last, held):
    """Of a season from December to February in the south, walked day by day: nine summers are no ten years."""
    daily = record(np.full(len(pd.date_range(first, last)), 25.0), start=first)
    for day in (dt.date(2011, 12, 26), dt.date(2012, 1, 1), dt.date(2012, 1, 7)):
        said = find_heat_waves(daily, day, day).definition
        assert ("fewer than 10 years" in said) is (held < 10), (day, said)


def test_a_leap_day_shares_the_window_of_the_28th_and_march_is_march_in_every_year():
    index = pd.date_range("2003-01-01", "2014-12-31", name="date")
    daily = pd.DataFrame({"tmax": np.random.default_rng(5).normal(20.0, 5.0, len(index)).round(1)}, index=index)
    leap = find_heat_waves(daily, dt.date(2012, 2, 27), dt.date(2012, 3, 2)).limit.tolist()
    common = find_heat_waves(daily, dt.date(2011, 2, 27), dt.date(2011, 3, 2)).limit.tolist()
    assert leap[:2] + leap[3:] == common
    assert leap[2] == leap[1]


def test_of_waves_with_equal_degree_days_the_first_is_the_greatest():
    tmax = [36.1] * 3 + [20] + [35.3] * 3 + [20] + [36.1] * 3
    found = find_heat_waves(record(tmax), dt.date(2025, 6, 1), dt.date(2025, 6, 11), hot_above=35.0)
    assert len(found.waves) == 3
    assert found.greatest is found.waves[0]


def test_a_made_wave_lasts_its_days_and_is_cut_off_with_the_record(make_garden):
    """+5 K on three days from 10 May of equal 30 °C: 15 degree-days."""
    garden = make_garden()
    daily = with_heat(read_scenario_weather(garden), HEAT, garden.site).daily
    assert (daily["tmax"] > 30.0).sum() == 3
    wave = made_wave(daily, HEAT)
    assert (wave.start.day, wave.end.day, wave.days, wave.peak_c, wave.degree_days) == (10, 12, 3, 35.0, 15.0)
    late = HEAT.model_copy(update={"start": dt.date(2025, 5, 31)})
    assert (with_heat(read_scenario_weather(garden), late, garden.site).daily["tmax"] > 30.0).sum() == 1


@pytest.mark.parametrize(("first", "last", "beside"), [(12, 20, False), (13, 20, True), (1, 10, False), (1, 9, True)])
def test_a_made_wave_that_touches_the_days_replayed_does_not_lie_beside_them(make_garden, first, last, beside):
    """A wave from the 10th to the 12th of May."""
    garden = make_garden()
    days = dt.date(2025, 5, first), dt.date(2025, 5, last)
    made = with_heat(read_scenario_weather(garden), HEAT, garden.site, of=days)
    assert ("lies outside the days replayed" in made.notes[0]) is beside
