"""
Invented typical years in the layouts TMY3 and EPW, for the tests of their readers.

Every day is alike: 14 °C at night and 30 °C for two hours from 13 h, dew point 10 °C, 50 %, 3 m/s, 200 W/m² for
twelve hours (8.64 MJ/m²), 0.4 mm in the hour that 05:00 closes. Months are from different years.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import strategies as st

from panbudget.errors import WeatherError

YEARS = (1988, 1996, 1990, 1980, 1986, 1989, 1981, 2001, 2003, 1980, 1994, 1982)


def hour_of(hour):
    """Return the values of the hour that a stamp of 1 to 24 closes."""
    return {
        "temperature": 30.0 if hour in (14, 15) else 14.0,
        "dew_point": 10.0,
        "humidity": 50,
        "wind": 3.0,
        "radiation": 200 if 7 <= hour <= 18 else 0,
        "rain": 0.4 if hour == 5 else 0.0,
    }


def stamps():
    """Return all hours of the year as (year, month, day, hour from 1 to 24)."""
    days = pd.date_range("2001-01-01", "2001-12-31")
    return [(YEARS[day.month - 1], day.month, day.day, hour) for day in days for hour in range(1, 25)]


def assert_the_invented_day(raw):
    """What every day of these years comes to."""
    assert raw.typical
    assert len(raw.daily) == 365
    row = raw.daily.iloc[200]
    assert (row["tmin"], row["tmax"], row["wind"]) == (14.0, 30.0, 3.0)
    assert row["radiation"] == pytest.approx(8.64)
    assert row["rain"] == pytest.approx(0.4)
    assert row["pressure"] == pytest.approx(98.0)
    assert any("Jan 1988, Feb 1996" in note for note in raw.notes)


def damages(content, mark):
    """Return a strategy: a piece of the file replaced by letters, or by what readers stumble over."""

    def damaged(start, length, piece):
        return content[:start] + piece + content[start + length :]

    return st.builds(
        damaged,
        st.one_of(st.integers(0, 1500), st.integers(0, len(content))),
        st.sampled_from([0, 1, 7, 90, 5000]),
        st.one_of(st.text(max_size=12), st.sampled_from(["\n", ",", '"', "1e400", mark])),
    )


def assert_refused_or_a_year(read, content):
    """Never another exception than ours, and never a year with days too few."""
    try:
        raw = read(content)
    except WeatherError:
        return
    assert len(raw.daily) == 365
    assert not np.isinf(raw.daily.to_numpy()).any()


def genuine(package, *parts):
    """Return a file inside a package, without importing it."""
    spec = importlib.util.find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        pytest.skip(f"{package} is not installed")
    return Path(next(iter(spec.submodule_search_locations))).joinpath("data", *parts)
