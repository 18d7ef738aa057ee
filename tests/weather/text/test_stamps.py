"""
Stamps of one cell with two times of day, and with one and its distance from UTC: they are written alike.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.stamps import read_stamps


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
    ],
    ids=["hours", "hours without zeros", "readings", "distances from UTC, two of a year and one by mistake"],
)
def test_times_behind_a_hyphen_are_ends_where_they_can_be_no_distances(times, hours, utc):
    assert read(times) == (hours, utc)
