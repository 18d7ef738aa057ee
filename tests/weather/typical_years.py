"""
Invented typical years in the layouts TMY3 and EPW, for the tests of their readers.

Every day is alike: 14 °C at night and 30 °C for two hours from 13 h, dew point 10 °C, 50 %, 3 m/s, 200 W/m² for
twelve hours (8.64 MJ/m²), 0.4 mm in the hour that 05:00 closes. Months are from different years.
"""

from __future__ import annotations

import pandas as pd

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
