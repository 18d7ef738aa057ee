"""
What records tell of a logger's faults that days don't: light that ends at a figure, rows that are written twice.

The records are invented. The thresholds are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.subdaily.hourly import _ceiling, to_days
from tests.weather.sites import Site
from tests.weather.subdaily.test_hourly import NO_ZONE, hours, records


def clipped(top, *, days=6, grain=1.0):
    """Return hours of light that is never more than this; every day is a little brighter than the one before."""
    hour = np.arange(24 * days) % 24 + 0.5
    light = np.maximum(np.cos((hour - 12.0) * np.pi / 14.0), 0.0) * (900.0 + 7.0 * (np.arange(24 * days) // 24))
    light = np.round(np.minimum(light, top) / grain) * grain
    return to_days(
        records(hours("2025-06-01", 24 * days), radiation=light), NO_ZONE, recognised="", shown_as=""
    ).by_hour


def test_days_whose_light_stands_at_its_highest_figure_are_listed():
    """A clear noon's hours may share a figure that is written coarsely, but no more often than the next."""
    assert clipped(500.0).ceiling.to_dict() == dict.fromkeys(pd.date_range("2025-06-01", periods=6), 500.0)
    assert clipped(np.inf).ceiling.empty
    assert clipped(np.inf, grain=10.0).ceiling.empty
    assert clipped(0.0).ceiling.empty


@pytest.mark.parametrize(("days", "share"), [(20, 1.0), (19, np.nan)])
def test_the_share_of_calms_at_an_hour_is_that_of_twenty_records_with_wind(days, share):
    hour = np.arange(24 * days) % 24
    wind = np.where((hour >= 11) & (hour < 15), 0.0, 2.0)
    calms = to_days(
        records(hours("2025-06-01", 24 * days), temperature=20.0 + hour, wind=wind), NO_ZONE, recognised="", shown_as=""
    ).by_hour.calms
    assert calms[11:15] == pytest.approx(share, nan_ok=True) and calms[:11] == pytest.approx(0.0 * share, nan_ok=True)


@pytest.mark.parametrize(
    ("at_top", "next_to_it", "expected"),
    [(5, [595.0], False), (6, [595.0], True), (5, [570.0], True), (5, [571.0], False), (501, [595.0] * 100, True)],
)
def test_a_highest_figure_is_a_limit_if_it_comes_more_than_five_times_as_often_as_any_next_to_it(
    at_top, next_to_it, expected
):
    """Next to it is what reaches 95 %: 570 of 600."""
    light = np.r_[0.0, next_to_it, 0.0, np.full(at_top, 600.0)]
    assert _ceiling(light, np.zeros(light.size, np.int64)).empty is not expected


def written_twice(count, *, apart=1, others=0, warmer=0.0, rain_kind="interval", wet=0.4):
    """Return days of records every ten minutes, so many wet ones of which are followed by another, and others that are not the same."""
    stamps = pd.date_range("2025-06-01", periods=288, freq="10min")
    rain = np.zeros(288)
    rain[3 : 3 + 7 * count : 7] = wet
    again = stamps[rain > 0.0] + dt.timedelta(minutes=apart)
    odd = stamps[200 : 200 + others] + dt.timedelta(minutes=apart)
    table = pd.concat(
        [
            pd.DataFrame({"rain": rain, "temperature": 20.0}, index=stamps),
            pd.DataFrame({"rain": wet, "temperature": 20.0 + warmer}, index=again),
            pd.DataFrame({"rain": 0.2, "temperature": 25.0}, index=odd),
        ]
    ).sort_index(kind="stable")
    found = records(
        table.index.to_numpy().astype("datetime64[ns]"),
        rain_kind=rain_kind,
        **{name: table[name].to_numpy() for name in table},
    )
    return to_days(found, NO_ZONE, recognised="", shown_as="").rain_twice


@pytest.mark.parametrize(
    ("options", "count"),
    [
        ({"count": 4}, 0),
        ({"count": 5}, 5),
        ({"count": 5, "apart": 4}, 5),
        ({"count": 5, "apart": 5}, 0),  # half a step: records that stand closer, as such
        ({"count": 5, "warmer": 0.1}, 0),
        ({"count": 18, "others": 2}, 18),
        ({"count": 17, "others": 2}, 0),  # fewer than nine in ten of those so near
    ],
)
def test_wet_records_that_stand_twice_within_half_a_step_are_summed_up(options, count):
    twice = written_twice(**options)
    assert twice["rows"].sum() == pytest.approx(0.4 * count)
    assert twice["larger"].sum() - twice["hours"].sum() == pytest.approx(0.4 * count)


def test_a_counter_that_goes_on_counts_nothing_twice():
    stamps = pd.date_range("2025-06-01", periods=288, freq="10min")
    both = stamps.append(stamps[3:60:7] + dt.timedelta(minutes=1)).sort_values()
    level = 0.2 * np.arange(both.size).clip(3)
    found = to_days(
        records(both.to_numpy().astype("datetime64[ns]"), rain=level, rain_kind="total"),
        NO_ZONE,
        recognised="",
        shown_as="",
    )
    assert found.rain_twice["rows"].sum() == 0.0


@pytest.mark.parametrize(
    ("hours", "wet", "odd", "count"), [(101, 5, 0, 5), (100, 5, 0, 0), (101, 4, 0, 0), (101, 5, 2, 5), (101, 5, 3, 0)]
)
def test_rain_of_hours_that_stand_at_each_half_hour_is_summed_up(hours, wet, odd, count):
    """Of a hundred steps from one hour to the next, one may be of three rows, and two may not."""
    at = np.sort(np.r_[np.repeat(np.arange(hours), 2), hours - 1 - np.arange(odd)])
    stamps = pd.date_range("2025-06-01", periods=at.size, freq="30min").to_numpy().astype("datetime64[ns]")
    found = records(stamps, rain=np.where(at < wet, 0.4, 0.0), temperature=10.0 + 0.1 * at, rain_kind="interval")
    twice = to_days(found, NO_ZONE, recognised="", shown_as="").rain_twice
    assert twice["rows"].sum() == pytest.approx(0.4 * count)


def test_extremes_of_twelve_hours_among_hourly_records_are_passed_over_and_said(tmp_path):
    """A night's lowest at 06 and a day's highest at 18 UTC, as synoptic reports have them (WMO-No. 306, from memory)."""
    lines = ["time,Temp (°C),Min temp (°C),Max temp (°C),Rain (mm),Wind (m/s),RH (%)"]
    for hour in range(10 * 24):
        at, warm = (
            dt.datetime(2025, 5, 1) + dt.timedelta(hours=hour),
            15.0 - 7.0 * math.cos(hour % 24 / 24.0 * 2.0 * math.pi),
        )
        low, high = ("6.0" if at.hour == 6 else ""), ("24.0" if at.hour == 18 else "")
        lines.append(f"{at},{warm:.1f},{low},{high},0,{2 + hour % 3},{60 + hour % 7}")
    (file := tmp_path / "synop.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    weather = read_weather(file, Site(44.0, 100), missing_rain="error")
    assert (weather.daily["tmin"].max(), weather.daily["tmax"].min()) == (8.0, 22.0)  # those of the records
    for name in ("Min", "Max"):
        assert any(
            f'column "{name} temp (°C)" is not used: it is no extreme of each record alone (but of twelve hours' in text
            for text in weather.notes
        )


@pytest.mark.parametrize(
    ("name", "usual", "at", "by"), [("humidity", 50.0, 110.0, 0.01), ("radiation", 100.0, -20.0, -0.01)]
)
def test_one_record_in_fifty_beyond_its_bound_is_a_gap_and_said(name, usual, at, by):
    """At the bound none is; one more than that share is left to the daily checks, and one of two days refused."""

    def gaps(column):
        found = to_days(records(hours("2025-06-01", 2000), **{name: column}), NO_ZONE, recognised="", shown_as="").notes
        return [words.split()[1] for words in found if words.startswith(name) and "taken as missing" in words]

    column = np.full(2000, usual)
    column[:120:3] = at + by * np.arange(1, 41)
    assert gaps(column) == ["40"]
    column[1000] = at
    assert gaps(column) == ["40"]
    column[1000] = at + by
    assert gaps(column) == []


# the nights on which clocks went back (IANA time zone database)
@pytest.mark.parametrize(
    ("start", "longitude", "zone"),
    [
        ("2023-11-05 01:00", -82.0, "America/Detroit"),
        ("2023-10-29 02:00", 5.0, "Europe/Amsterdam"),
        ("2023-10-29 02:00", 150.0, ""),
        ("2023-06-04 01:00", -82.0, ""),
    ],
)
def test_a_moment_that_stands_thrice_is_cured_by_a_zone_whose_clocks_went_back_then_near_the_site(
    start, longitude, zone
):
    stamps = np.concatenate([hours(start, 1), hours(start, 1), hours(start, 48)])
    site = Site(latitude=40.0, longitude=longitude, elevation=100.0)
    with pytest.raises(WeatherError) as caught:
        to_days(records(stamps, temperature=np.arange(50.0)), site, recognised="", shown_as="")
    assert ("clocks went back" in str(caught.value)) is bool(zone)
    assert f'such as "{zone}"' in str(caught.value) or not zone
