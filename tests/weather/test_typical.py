"""
A typical year on the calendar: every day has its own, 29 February is borrowed, and it is never called a summer.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from panbudget.weather.calendar import NOMINAL_YEAR, laid_out
from panbudget.weather.formats.typical import (
    hourly_amounts,
    light_record,
    months_note,
    rain_record,
    whole_year,
)
from panbudget.weather.text.raw import RawTable
from tests.weather.sites import Site


@pytest.fixture
def year():
    """Return a typical year whose maximum temperature is the day's number."""
    index = pd.date_range(f"{NOMINAL_YEAR}-01-01", periods=365, name="date")
    daily = pd.DataFrame({"tmin": 0.0, "tmax": np.arange(1.0, 366.0)}, index=index)
    return RawTable(daily, tuple(range(1, 366)), "typical", typical=True)


def test_every_day_of_a_season_over_the_new_year_has_its_own(year):
    found = laid_out(year, start=dt.date(2024, 11, 1), end=dt.date(2025, 3, 31)).daily["tmax"]
    assert len(found) == 366 + 365
    assert found["2024-12-31"] == found["2025-12-31"] == 365.0
    assert found["2025-01-01"] == 1.0


def test_a_leap_day_is_a_copy_of_the_day_before_and_that_is_said(year):
    raw = laid_out(year, start=dt.date(2024, 5, 1), end=dt.date(2024, 9, 30))
    assert raw.daily["tmax"]["2024-02-29"] == raw.daily["tmax"]["2024-02-28"] == 59.0
    assert raw.daily["tmax"]["2024-03-01"] == 60.0
    assert any("29 February is a copy" in note for note in raw.notes)


def test_without_a_season_it_stands_under_a_year_that_means_nothing(year):
    raw = laid_out(year, start=None, end=None)
    assert len(raw.daily) == 365
    assert any("means nothing" in note for note in raw.notes)


def test_months_are_said_with_their_years():
    years, months = np.array([1999, 1999, 1987]), np.array([1, 1, 2])
    assert months_note(years, months) == "its months are from different years: Jan 1999, Feb 1987"
    assert "all its months say 2021" in months_note(np.array([2021, 2021]), np.array([1, 2]))


@pytest.mark.parametrize(
    ("rain", "said"),
    [
        (np.zeros(8760), "0 in every hour: no rain record, not a dry year"),
        (np.full(8760, np.nan), "missing in every hour"),
        (np.where(np.arange(8760) < 700, 1.0, np.nan), "only 700 of 8760 hours"),
    ],
)
def test_a_rain_column_that_only_fills_its_place_is_no_record(rain, said):
    found, why, _ = rain_record(rain)
    assert np.isnan(found).all()
    assert said in why


def test_rain_in_hundredths_of_an_inch_written_in_tenths_of_a_millimetre_is_known():
    """0.01 in is 0.254 mm: 3, 5, 8, 10 tenths, and never 1, 2, 4."""
    rain = np.zeros(8760)
    rain[:300] = np.tile([3.0, 5.0, 8.0, 10.0, 13.0, 46.0], 50)
    found, why, notes = rain_record(rain)
    assert why == ""
    assert found.sum() == pytest.approx(rain.sum() / 10)
    assert "tenths of a millimetre" in notes[0]


@pytest.mark.parametrize(("others", "by"), [(53, 10.0), (54, 1.0)])
def test_rain_mostly_in_hundredths_of_an_inch_is_in_tenths_where_three_comes_most_often(others, by):
    """More than 0.6 of the wet hours: 80 of 133, and not of 134; as the layout's genuine files of three towns have it."""
    rain = np.array([3.0] * 40 + [5.0, 8.0] * 20 + [1.0, 2.0] * (others // 2) + [4.0] * (others % 2) + [0.0] * 800)
    assert rain_record(rain)[0][0] == 3.0 / by


def test_rain_of_which_one_comes_most_often_is_in_millimetres():
    rain = np.array([1.0] * 41 + [3.0] * 40 + [5.0, 8.0] * 20 + [0.0] * 800)
    assert rain_record(rain)[0][0] == 1.0


def test_rain_in_millimetres_is_left_alone():
    rain = np.zeros(8760)
    rain[:300] = np.tile([1.0, 2.0, 3.0, 4.0, 6.0, 0.5], 50)
    found, why, notes = rain_record(rain)
    assert (found.sum(), why, notes) == (rain.sum(), "", [])


def test_amounts_of_more_than_an_hour_are_left_out():
    found = hourly_amounts(np.array([1.0, 5.0, 0.0, 2.0]), np.array([1.0, 6.0, 6.0, 99.0]))
    assert np.array_equal(found, [1.0, np.nan, 0.0, 2.0], equal_nan=True)


def test_a_day_without_light_is_a_day_without_a_record_except_in_polar_night():
    seconds = np.arange(0, 48 * 3600, 3600) + 31 * 365 * 86400  # two January days of 2000
    light = np.where(np.arange(48) < 24, 100.0, 0.0)
    found, notes = light_record(light, seconds, Site(latitude=40.0, elevation=0.0))
    assert np.isnan(found[24:]).all() and not np.isnan(found[:24]).any()
    assert "on 1 day" in notes[0]
    assert light_record(light, seconds, Site(latitude=80.0, elevation=0.0))[1] == []


def test_a_year_cut_short_is_refused_with_its_line():
    problem = whole_year(np.arange(5000) * 3600, np.arange(5000) + 9)[0]
    assert "holds 5000 of the 8760 hours of a typical year and ends on line 5008" in problem.sentence()
