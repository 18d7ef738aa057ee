"""
The tub: a ruler in still water tells the exposure, as often as its interval says; and what it would be worth beforehand.
"""

from __future__ import annotations

import numpy as np
import pytest

from panbudget import fit, replay
from panbudget.errors import ReadingsError
from panbudget.reports.fit.page import fit_sentences
from panbudget.season.layout import prepare
from panbudget.studies.fit import tub
from panbudget.studies.fit.log import read_field_log
from panbudget.studies.fit.pan import PanModel
from panbudget.studies.fit.tub import RULER_MM, Tub, doubting, quantiles, tub_values, worth_of_ruler_test
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
    return Tub(32.0 + 24.0 * np.arange(days + 1), levels, np.zeros(days + 1), np.zeros(days, bool))


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
    assert worth.before == pytest.approx(half, rel=0.15)  # whole openings, some fifteen of them, against their mean
    longer, finer = (worth_of_ruler_test(season, **one)["upper"].after for one in ({"days": 7}, {"ruler_mm": 0.5}))
    assert max(longer, finer) < worth.after < 0.7 * worth.before
    fitted = garden.changed({"uncertainty": {"controller": {"upper": {"exposure": [0.98, 1.02]}}}})
    narrow = worth_of_ruler_test(replay(fitted))["upper"]
    assert narrow.after == pytest.approx(narrow.before, rel=0.1)  # nothing more to learn


@pytest.mark.parametrize(
    ("overlay", "evaporation", "days"),
    [({}, 0.0, 5), ({"fault": [{"kind": "supply-cut"}]}, 6.0, 5), ({}, 6.0, 1)],
    ids=["nothing evaporates", "no water", "one day"],
)
def test_a_ruler_is_worth_a_number_in_any_season(overlay, evaporation, days, make_garden):
    season = replay(make_garden(overlay or None, weather=weather_csv(days, pan=[evaporation] * days)))
    worth = worth_of_ruler_test(season)["upper"]
    assert np.isfinite([worth.before, worth.after]).all()


@pytest.mark.parametrize(("day", "lost", "gained"), [(1, 6.0, 0.0), (0, 6.0, 3.0)], ids=["dry", "rain"])
def test_a_day_strays_by_a_tenth_from_the_model_and_rain_by_a_fifth_from_the_gauge(day, lost, gained, pan):
    """By hand, of one fall: Student's t of four degrees of freedom with two readings' errors, the day's and the rain's."""
    hours, tried, fallen = 24.0 * np.array([day, day + 1.0]), [0.8, 1.5], 4.0 + gained
    one = Tub(hours, np.array([150.0, 146.0]), np.zeros(2), np.zeros(1, bool))
    values = tub_values(pan, one, np.array(tried))
    variance = 2.0 * RULER_MM**2 + (0.1 * fallen) ** 2 + (0.2 * gained) ** 2
    by_hand = [-2.5 * np.log1p((fallen - lost * factor) ** 2 / variance / 4.0) for factor in tried]
    assert values == pytest.approx(by_hand)


def test_a_ruler_is_read_at_eight_in_the_morning(garden, monkeypatch):
    seen, expected = list[float](), tub._expected
    monkeypatch.setattr(tub, "_expected", lambda pan, hours: (seen.extend(hours), expected(pan, hours))[1])
    worth_of_ruler_test(replay(garden))
    assert set(np.mod(seen, 24.0)) == {8.0}


def written(garden, *rows, header="date,time,tub_mm,added_l,openings,note"):
    path = garden.path.parent / "log.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


THREE_DAYS = [
    f"2025-05-0{day},07:30,{level}" for day, level in ((3, 150), (4, 143), (5, 136), (6, 129))
]  # 7 mm a day for 6


@pytest.mark.parametrize("column", ["tub_mm", "level_mm"])
def test_a_fit_takes_three_days_of_a_tub_alone_and_narrows_the_litres(column, garden):
    """7 mm a day where 6 are modelled; what a ruler and the unmeasured flows leave open is in the range."""
    found = fit(garden, written(garden, *THREE_DAYS, header=f"date,time,{column}"))
    upper = found.controllers["upper"]
    assert "upper: 4\xa0levels were taken as read in a tub with no valve." in fit_sentences(found)
    (exposure,) = upper.estimates
    assert exposure.value == pytest.approx(7.0 / 6.0, rel=0.02)
    assert 1.15 < exposure.high / exposure.low < 1.6
    low, high = found.litres["upper"]
    before = found.before.totals["spread"]["controllers"]["upper"]["litres"]
    assert high - low < 0.7 * (before["high"] - before["low"])
    assert set(found.overlay["uncertainty"]["controller"]["upper"]) == {"litres", "openings", "swing"}
    assert upper.readings["kind"].tolist() == ["tub"] * 4
    assert upper.lost["observed"].tolist() == pytest.approx([7.0] * 3)
    assert any("taken as read in a tub" in text for text in found.log.assumptions) == (column == "level_mm")


def test_a_tub_in_centimetres_asks_for_an_exposure_that_is_unlikely(garden):
    """It was fitted as an exposure of 0.29 without a word."""
    levels = (15.0, 14.5, 13.9, 13.4)
    found = fit(garden, written(garden, *(f"2025-05-0{3 + k},07:00,{mm},,," for k, mm in enumerate(levels))))
    assert "which is unlikely: look at pan, swing and unit" in found.controllers["upper"].untold["exposure"]


def test_water_poured_into_a_tub_and_a_row_without_a_reading_are_added_up(garden):
    area = garden.controller["upper"].pan.area
    rows = ["2025-05-03,07:30,150,,,", "2025-05-04,07:30,143,,,", f"2025-05-05,07:30,{136 + 20},{20 * area},,"]
    found = fit(garden, written(garden, *rows, "2025-05-06,07:30,149,,,"))
    assert found.controllers["upper"].estimates[0].value == pytest.approx(7.0 / 6.0, rel=0.02)


def test_a_level_that_no_pan_holds_is_left_out_of_a_tub(garden):
    """It ended in a traceback: rows without a level were dated as readings."""
    found = fit(garden, written(garden, *[f"{row},,," for row in THREE_DAYS], "2025-05-07,07:30,3400,,,"))
    assert found.controllers["upper"].readings["kind"].tolist() == ["tub"] * 4
    assert found.controllers["upper"].estimates[0].value == pytest.approx(7.0 / 6.0, rel=0.02)
    assert any("line 6: tub = 3400 mm is more than the pan's depth" in text for text in found.log.assumptions)
    assert any(text.startswith("The log's line 6: tub = 3400 mm is more") for text in fit_sentences(found))


def test_a_tub_beside_counts_weighs_with_them_and_one_of_another_kind_is_named(garden):
    """Counts of a pan as described, and a tub that loses as much, or twice as much."""
    season = replay(garden)
    counts = np.diff(np.searchsorted(season.openings["start_h"].to_numpy(), 24.0 * np.arange(DAYS)))
    visits = [f"2025-05-{day + 2:02d},00:00,,,{count}," for day, count in enumerate(counts.tolist())]
    same, other = (
        fit(garden, written(garden, *[f"2025-05-0{3 + k},07:30,{150 - fall * k},,," for k in range(4)], *visits))
        for fall in (6, 13)
    )
    assert same.controllers["upper"].contradictions == ()
    # or the figure's line ran back from the last visit to the tub's first
    assert same.controllers["upper"].lost["start"].is_monotonic_increasing
    assert "the tub without a valve asks for an exposure of 2." in other.controllers["upper"].contradictions[0]


@pytest.mark.parametrize(
    ("levels", "doubted"),
    [
        ((50, 54.9), []),
        ((50, 55), [1]),  # 3.5 standard errors of two readings of 1 mm are 4.95 mm
        ((50, 52, 54, 56), [1, 2, 3]),
        ((150, 121.7), []),  # three times the likely 1.3 times 6 mm, and 4.95
        ((150, 121.6), [1]),
        ((150, 143, 170, 163), [2]),
    ],
)
def test_what_no_tub_can_have_done_is_doubted_from_its_bound_on(levels, doubted, pan):
    tub = readings(np.random.default_rng(0), days=len(levels) - 1)._replace(levels=np.array(levels, float))
    held, said = doubting(pan, tub, 1.3)
    assert list(said) == doubted
    assert (np.flatnonzero(held.doubted) + 1).tolist() == doubted


def test_water_poured_into_a_tub_and_not_written_is_asked_about_and_the_rest_tells(garden):
    """It was fitted to nothing, and no reading looked wrong."""
    rows = [f"2025-05-0{3 + k},07:30,{level},,," for k, level in enumerate((150, 143, 170, 163, 156))]
    upper = fit(garden, written(garden, *rows)).controllers["upper"]
    assert upper.estimates[0].value == pytest.approx(7.0 / 6.0, rel=0.03)
    assert [line for line, _ in upper.questioned] == [4]
    assert upper.questioned[0][1].startswith("the tub holds 27 mm more than rain and added_l account for: write water")
    with pytest.raises(ReadingsError, match=r"line 3: the tub holds 5.mm more .* nothing else in the log follows"):
        fit(garden, written(garden, *[f"2025-05-0{3 + k},07:30,{50 + 5 * k},,," for k in range(4)]))


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (["2025-05-03,07:30,150,,3,", "2025-05-04,07:30,143,,,"], "has a tub's level beside readings of a valve"),
        (["2025-05-03,07:30,150,,,"], "has 1\xa0row; expected: 2 visits at least"),
        (["2025-05-03,07:30,1500,,,", "2025-05-04,07:30,1430,,,"], "tub = 1500 mm is more than the pan's depth"),
    ],
)
def test_a_tub_that_can_t_be_is_told(rows, message, garden):
    with pytest.raises(ReadingsError, match=message):
        read_field_log(written(garden, *rows), garden)
