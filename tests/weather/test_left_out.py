"""A figure that stands in the file and was left out: the refusal says why, since the file shows a number there."""

from __future__ import annotations

import pytest

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from tests.weather.formats import test_ghcn, test_gsod
from tests.weather.sites import Site

SITE = Site(latitude=38.0, longitude=-6.0, elevation=120.0, timezone="Etc/GMT+0")


def refusal(tmp_path, text):
    file = tmp_path / "weather.txt"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(WeatherError) as caught:
        read_weather(file, SITE, shown_as="station.csv")
    return str(caught.value)


def test_a_temperature_with_a_quality_flag_is_said_to_be_left_out(tmp_path):
    said = refusal(tmp_path, test_ghcn.long(odd={"TMIN": "-11,,I,W,"}))
    assert "tmin is empty on 2025-06-04 (left out there for its quality flag); temperatures are never invented" in said


def test_only_the_days_with_a_flag_are_named_so(tmp_path):
    """One day has no figure at all, another a flagged one."""
    text = test_ghcn.long(odd={"TMIN": "-11,,I,W,"}).replace("20250610,TMIN,-11", "20250610,TMIN,-9999")
    said = refusal(tmp_path, text)
    assert "tmin is empty on 2025-06-04, 2025-06-10 (left out on 2025-06-04 for its quality flag)" in said


def test_rain_that_no_station_reported_is_said_to_be_left_out(tmp_path):
    said = refusal(tmp_path, test_gsod.season(how="I"))
    assert "rain is empty on 2025-06-04 (left out there for its attribute I, no report of rain)" in said


def test_a_day_with_too_few_records_is_said_to_be_left_out(tmp_path):
    """Ten of a day's 24 hours are no day."""
    lines = ["Time,Temperature (°C),Humidity (%),Hourly Rain (mm)"]
    for day in range(1, 11):
        hours = range(10) if day == 4 else range(24)
        lines += [f"2025-06-{day:02d} {hour:02d}:00,{15 + hour % 12},60,0.0" for hour in hours]
    said = refusal(tmp_path, "\n".join(lines) + "\n")
    why = "for having under 80 % of the day's records"
    assert f"tmin and tmax are empty on 2025-06-04 (left out there {why}); temperatures" in said
    assert f"rain is empty on 2025-06-04 (left out there {why}); rain" in said


def test_an_empty_cell_is_just_empty(tmp_path):
    text = test_ghcn.long(odd={"TMIN": "-9999,,,W,"})
    assert "tmin is empty on 2025-06-04; temperatures" in refusal(tmp_path, text)


def test_hours_of_humidity_that_become_fractions_are_refused_though_a_vapour_pressure_is_made_of_them(tmp_path):
    """It is as wrong as the highest humidity, which it would else make needless."""
    lines = ["Time,Temperature (°C),Humidity (%),Rain (mm)"]
    for day in range(1, 31):
        humidity = 60 if day < 15 else 0.6
        lines += [f"2025-06-{day:02d} {hour:02d}:00,{15 + hour % 12},{humidity},0.0" for hour in range(24)]
    said = refusal(tmp_path, "\n".join(lines) + "\n")
    assert "rh_max is 0.6 % on 2025-06-15 (and 15 more days), drier than any air, which looks like a fraction" in said
