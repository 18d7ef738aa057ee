"""
Stamps: odd ones and what is none; of one cell with two times of day, and with one and its distance from UTC, which look alike.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.errors import WeatherError
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.moments import read_dates
from panbudget.weather.text.stamps import read_stamps, says_utc


def read(times):
    """Return hours of one day, in UTC or the table's own clock, and whether it is UTC."""
    mistakes = Mistakes()
    texts = pd.Series([f"2025-06-15 {time}" for time in times], dtype=object)
    stamps = read_stamps(texts, np.arange(len(times)), mistakes)
    mistakes.raise_if_any("station.csv")
    hours = (stamps.stamps - np.datetime64("2025-06-15T00:00", "ns")) / np.timedelta64(1, "h")
    return hours.tolist(), stamps.utc


@pytest.mark.parametrize(
    ("times", "hours", "utc"),
    [
        (["08:00-09:00", "09:00-10:00", "10:00-11:00", "11:00-12:00"], [8, 9, 10, 11], False),
        (["8:00-9:00", "9:00-10:00", "10:00-11:00", "11:00-12:00"], [8, 9, 10, 11], False),
        (["06:00-07:00", "12:00-13:00"], [6, 12], False),  # no clock is thirteen hours behind UTC
        (["06:00-05:00", "06:00-04:00", "06:00-12:00"], [11, 10, 18], True),
        (["01:00-02:00", "02:00-03:00", "03:00-04:00", "04:00-05:00"], [1, 2, 3, 4], False),
        (["08:00:00-05", "09:00:00-04", "10:00:00.250+02"], [13, 13, 8 + 0.25 / 3600], True),
        (["08:00+02", "09:00+02"], [6, 7], True),
        (["08:00 AM CDT", "09:00 AM CST"], [13, 15], True),
        (["08:00 CEST", "08:00 CET"], [6, 7], True),
        (["08:00:00  PM", "09:00:00  AM"], [20, 9], False),
    ],
    ids=[
        "hours",
        "without zeros",
        "readings",
        "distances from UTC, two of a year and one by mistake",
        "four",
        "seconds",
        "plus",
        "letters of a zone behind half days",
        "letters of a zone",
        "two blanks before half days",
    ],
)
def test_times_behind_a_hyphen_are_ends_where_they_can_be_no_distances(times, hours, utc):
    assert read(times) == (hours, utc)


@pytest.mark.parametrize(("day", "is_told"), [("08", True), ("09", False)])
def test_days_that_follow_each_other_within_a_week_tell_which_number_is_the_month(day, is_told):
    """As months they would leap by 31 days and more."""
    mistakes = Mistakes()
    stamps = read_stamps(pd.Series(["01/06/2025 06:00", f"{day}/06/2025 06:00"], dtype=object), np.arange(2), mistakes)
    assert mistakes.problems() is not is_told
    assert not is_told or str(stamps.stamps[1]).startswith("2025-06-08")


@pytest.mark.parametrize(
    ("text", "is_day"), [("1799-12-31", False), ("1800-01-01", True), ("2100-12-31", True), ("2101-01-01", False)]
)
def test_records_have_days_from_1800_to_2100(text, is_day):
    mistakes = Mistakes()
    read_dates([text, text], [1, 2], mistakes)
    assert mistakes.problems() is not is_day
    assert is_day or "1800 to 2100" in mistakes.problems()[0].sentence()


@pytest.mark.parametrize(("year", "full"), [("68", "2068"), ("69", "1969")])
def test_a_year_of_two_digits_is_of_the_last_century_from_69_on(year, full):
    """POSIX strptime."""
    assert str(read_dates([f"13.04.{year}"], [1], Mistakes(), order="dmy")[0]) == f"{full}-04-13"


def test_an_hour_alone_behind_a_hyphen_is_no_distance():
    with pytest.raises(WeatherError):
        read(["08:00-09", "09:00-10"])


@pytest.mark.parametrize(
    ("header", "utc"),
    [("Hora UTC", True), ("dateutc", True), ("valid_time", True), ("valid", False), ("Time, GMT-05:00", False)],
)
def test_a_header_may_say_that_its_clock_is_utc(header, utc):
    """As that of a reanalysis' points (CF's valid_time), from memory."""
    assert says_utc(header) is utc


def test_stamps_with_their_distance_from_utc_are_utc():
    texts = pd.Series(["2025-06-01T01:00:00+01:00", "2025-06-01T02:00:00Z"])
    found = read_stamps(texts, np.array([2, 3]), Mistakes())
    assert found.utc
    assert found.stamps.tolist() == np.array(["2025-06-01T00:00", "2025-06-01T02:00"], "datetime64[ns]").tolist()


@pytest.mark.parametrize(
    ("away", "is_known"), [("+14:00", True), ("-14:00", True), ("+14:01", False), ("+99:00", False)]
)
def test_a_distance_from_utc_that_no_clock_has_is_named(away, is_known):
    """Days were moved by it without a word."""
    mistakes = Mistakes()
    read_stamps(pd.Series([f"2025-06-01T0{hour}:00:00{away}" for hour in (1, 2)]), np.array([2, 3]), mistakes)
    assert (mistakes.problems() == []) is is_known
    assert is_known or mistakes.problems()[0].sentence().startswith(f"line 2: time = '2025-06-01T01:00:00{away}'")


def test_a_stamp_without_its_distance_among_those_with_it_is_named():
    texts = pd.Series(["2025-06-01T01:00:00Z", "2025-06-01T02:00:00", "2025-06-01T03:00:00Z"])
    mistakes = Mistakes()
    read_stamps(texts, np.array([2, 3, 4]), mistakes)
    assert "line 3" in mistakes.problems()[0].sentence()


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2025-06-01 24:00", "2025-06-02T00:00"),
        ("2025-06-01", "2025-06-01T00:00"),
        (" 2025-06-01 05:00 ", "2025-06-01T05:00"),
    ],
)
def test_a_stamp_may_be_a_little_odd(text, moment):
    texts = pd.Series(["2025-06-01 01:00", text])
    mistakes = Mistakes()
    found = read_stamps(texts, np.array([2, 3]), mistakes)
    assert mistakes.problems() == []
    assert found.stamps[1] == np.datetime64(moment)


def test_seconds_since_1970_are_no_dates_though_the_first_may_be_one():
    """1801121400 is a midnight of 1801 in bare digits; by hand, 20,846 days of 86,400 s and 7.5 h: 28 January 2027."""
    texts = pd.Series([str(1801121400 + 3600 * hour) for hour in range(24)])
    mistakes = Mistakes()
    found = read_stamps(texts, np.arange(2, 26), mistakes)
    assert mistakes.problems() == []
    assert found.utc
    assert found.stamps[[0, -1]].tolist() == np.array(["2027-01-28T07:30", "2027-01-29T06:30"], "M8[ns]").tolist()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2025-02-30 01:00", "no time of the calendar"),
        ("", "is empty"),
        ("01/06/25 13:00", "two digits"),
        ("Total", "remove rows that are no records"),
        ("1700-01-01 00:00", "outside 1800"),
        ("2025-06-01 02:00+01:00", "written as the others are"),
    ],
)
def test_a_stamp_that_is_none_is_named(text, said):
    texts = pd.Series(["2025-06-01 01:00", text, "2025-06-01 03:00"])
    mistakes = Mistakes()
    read_stamps(texts, np.array([2, 3, 4]), mistakes)
    problems = mistakes.problems()
    assert len(problems) == 1
    assert "line 3" in problems[0].sentence()
    assert said in problems[0].sentence()
