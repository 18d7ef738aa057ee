"""Solar time and the clock on the wall."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from panbudget.physics.solar_time import from_solar, solar_hour


def test_without_a_zone_a_clock_shows_the_sun():
    assert solar_hour(dt.date(2025, 7, 1), "20:30", None, None) == 20.5
    assert from_solar(dt.date(2025, 7, 1), np.array([36.25, np.nan]), None, None) == ["2025-07-02 12:15:00", ""]


def test_solar_noon_at_greenwich_is_the_equation_of_time():
    """FAO-56 (1998) eq. 32, 33: in early November the sun is some 16 minutes ahead, in mid-February 14 behind."""
    ahead = solar_hour(dt.date(2025, 11, 3), "12:00", 0.0, "Etc/UTC") - 12.0
    behind = solar_hour(dt.date(2025, 2, 11), "12:00", 0.0, "Etc/UTC") - 12.0
    assert ahead * 60 == pytest.approx(16.4, abs=0.5)
    assert behind * 60 == pytest.approx(-14.2, abs=0.5)
    late = solar_hour(dt.date(2025, 2, 11), "12:00", -15.0, "Etc/UTC") - 12.0  # eq. 31: four minutes a degree
    assert late == pytest.approx(behind - 1.0)


def test_summer_time_counts():
    """Longitude 15° east, Central European time: the sun's noon is about 12:00 in winter, 13:00 in summer."""
    zone = "Europe/Berlin"
    winter = from_solar(dt.date(2025, 4, 15) - dt.timedelta(days=60), np.array([12.0]), 15.0, zone)[0]
    summer = from_solar(dt.date(2025, 4, 15), np.array([12.0]), 15.0, zone)[0]
    assert winter[11:13] == "12"
    assert summer[11:16] == "13:00"


@pytest.mark.parametrize(
    ("zone", "longitude"),
    [("Etc/UTC", -3.0), ("America/Los_Angeles", -119.0), ("Australia/Lord_Howe", 159.0), ("Asia/Kathmandu", 85.0)],
)
def test_there_and_back(zone, longitude):
    for month in (1, 4, 7, 10):
        day = dt.date(2025, month, 20)
        hour = solar_hour(day, "18:45", longitude, zone)
        shown = from_solar(day, np.array([hour]), longitude, zone)[0]
        assert shown == f"{day} 18:45:00"
