"""
NOAA Global Surface Summary of the Day.

Format: NOAA NCEI, "Federal Climate Complex Global Surface Summary of Day Data", readme and column list (from
memory). The station and its weather are invented; expected values are worked by hand.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.formats import gsod
from panbudget.weather.text.source import Source
from tests.weather.damage import assert_one_line_says, assert_refused_or_sound, damages
from tests.weather.sites import Site

SITE = Site(latitude=38.0, elevation=100.0, longitude=-6.0)
HEADER = (
    '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","TEMP","TEMP_ATTRIBUTES","DEWP","DEWP_ATTRIBUTES",'
    '"SLP","SLP_ATTRIBUTES","STP","STP_ATTRIBUTES","VISIB","VISIB_ATTRIBUTES","WDSP","WDSP_ATTRIBUTES","MXSPD",'
    '"GUST","MAX","MAX_ATTRIBUTES","MIN","MIN_ATTRIBUTES","PRCP","PRCP_ATTRIBUTES","SNDP","FRSHTT"'
)


def row(day, *, dewp=" 50.0", stp="999.9", wdsp="  5.0", tmax="  86.0", tmin="  59.0", prcp=" 0.00", how="D", star=" "):
    """Return one day of an invented station, as the archive writes it."""
    return (
        f'"99999099999","{day}","38.10","-6.20","120.0","INVENTED HILL, XX","  72.0","24","{dewp}","24","1015.2","24",'
        f'"{stp}","24","  9.9","24","{wdsp}","24"," 11.1","999.9","{tmax}","{star}","{tmin}"," ","{prcp}","{how}",'
        '"999.9","000000"'
    )


def file(*rows, header=HEADER):
    return "\n".join([header, *rows]) + "\n"


def season(days=20, **odd):
    """Return a file of ordinary days; ``odd`` is for the fourth."""
    start = dt.date(2025, 6, 1)
    return file(*(row(start + dt.timedelta(days=n), **(odd if n == 3 else {})) for n in range(days)))


def read(text):
    return gsod.read(Source(text, "station.csv", "", "utf-8"), columns={}, site=SITE)


def refused(text):
    with pytest.raises(WeatherError) as caught:
        read(text)
    return str(caught.value).splitlines()


def test_the_header_is_recognised():
    """And a plain table is not."""
    assert gsod.sniff(season())[0] > 0.95
    assert gsod.sniff("date,tmin,tmax\n2025-06-01,1,2\n")[0] == 0.0


def test_a_day_is_read_in_standard_units():
    """86 °F is 30 °C, 59 is 15, 50 is 10; 5 knots are 5·1852/3600 m/s; 0.5 in are 12.7 mm."""
    raw = read(file(row("2025-06-01", prcp=" 0.50", stp="989.4")))
    day = raw.daily.iloc[0]
    assert day["tmax"] == pytest.approx(30.0)
    assert day["tmin"] == pytest.approx(15.0)
    assert day["dew_point"] == pytest.approx(10.0)
    assert day["wind"] == pytest.approx(2.572, abs=0.0005)
    assert day["rain"] == pytest.approx(12.7)
    assert day["pressure"] == pytest.approx(98.94)
    assert raw.wind_height == 10.0
    assert raw.lines.tolist() == [2]
    assert any("universal time" in note for note in raw.notes)


@pytest.mark.parametrize(
    ("written", "kPa"),
    [
        *[("13.2", 101.32), ("013.2", 101.32), ("  .5", 100.05), ("989.4", 98.94), ("1013.2", 101.32)],
        *[("199.9", 119.99), ("200.0", 20.0)],
    ],
)
def test_the_pressures_lost_leading_one_is_put_back(written, kPa):
    """The file keeps four digits: 1013.2 hPa stands as 013.2; no station has less than 200 hPa."""
    assert read(file(row("2025-06-01", stp=written))).daily["pressure"].iloc[0] == pytest.approx(kPa)


def test_codes_for_missing_values_are_gaps():
    """9999.9, 999.9 and 99.99, each in its column."""
    odd = row("2025-06-01", dewp="9999.9", stp="9999.9", wdsp="999.9", tmax="9999.9", tmin="9999.9", prcp="99.99")
    assert read(file(odd)).daily.iloc[0].isna().all()
    assert read(file(row("2025-06-01", stp="999.9"))).daily["pressure"].isna().all()


@pytest.mark.parametrize(
    ("how", "rain", "said"),
    [
        ("D", 0.0, ""),
        ("G", 0.0, ""),
        ("I", np.nan, "1 day: the station sent no report of rain (attribute I)"),
        ("H", 0.0, "1 day: rain is 0 though rain was seen"),
        ("A", 0.0, "1 day: rain is a sum of reports that cover part of the day only"),
    ],
)
def test_the_rains_attribute_is_heeded(how, rain, said):
    """I is no report: taking its 0 for a dry day would be a guess."""
    raw = read(file(row("2025-06-01", how=how)))
    np.testing.assert_equal(raw.daily["rain"].iloc[0], rain)
    assert said in " | ".join(raw.notes)
    assert ("attribute" in " | ".join(raw.notes)) == bool(said)


def test_an_extreme_from_hourly_readings_is_noted():
    """The star beside it."""
    assert any("1 day: tmax is the extreme of hourly readings" in note for note in read(season(star="*")).notes)


def test_the_whole_road_gives_weather(tmp_path):
    """From the file to the finished table, the dew point giving the vapour pressure (FAO-56 eq 14)."""
    path = tmp_path / "station.csv"
    path.write_text(season(), encoding="utf-8")
    weather = read_weather(path, SITE)
    assert len(weather.daily) == 20
    assert set(weather.flags["vapour_pressure"]) == {"eq 14 from dew_point"}
    assert weather.daily["vapour_pressure"].iloc[0] == pytest.approx(1.228, abs=0.0005)
    assert weather.provenance["reader"] == "gsod"


def test_files_of_two_years_one_after_the_other_are_read():
    """The archive has a file a year; the second header is no row."""
    text = season() + season().replace("2025-", "2024-")
    raw = read(text)
    assert len(raw.daily) == 40
    assert raw.lines[20] == 23


def test_a_station_elsewhere_is_noted(tmp_path):
    """Half a degree is some 50 km."""
    path = tmp_path / "station.csv"
    path.write_text(season(), encoding="utf-8")
    notes = " | ".join(read_weather(path, Site(40.0, 1000.0, longitude=-6.0)).notes)
    assert "the file is of INVENTED HILL, XX, which is not at the site: latitude 38.1° there and 40°" in notes
    assert "elevation 120 m there and 1000 m" in notes
    assert "longitude" not in notes


BROKEN = {
    "cut in a cell": (season()[:-40], ["line 21", "a quotation mark is not closed", "download the file again"]),
    "cut line": (season()[:-42], ["line 21", "where 28 are expected", "download it again"]),
    "no header": (season().split("\n", 1)[1], ["line 1", "is not the header of this format"]),
    "header only": (HEADER + "\n", ["line 1 is a header and no row follows"]),
    "no MAX": (season().replace('"MAX"', '"MAXX"'), ["has no MAX (maximum air temperature)", "never invented"]),
    "wrong letters": (season(tmax="hot"), ["line 5", "MAX is 'hot', which is not a number"]),
    "wrong day": (season().replace("2025-06-04", "2025-06-31"), ["line 5", "no day of the calendar"]),
    "two stations": (season() + season().split("\n", 1)[1].replace("99999099999", "99999099998"), ["holds 2 stations"]),
    "open quote": (season().replace('"38.10"', '"38.10', 1), ["line 2", "quotation mark is not closed"]),
    "column twice": (season().replace('"GUST"', '"MAX"'), ['"MAX" stands twice']),
}


@pytest.mark.parametrize(("text", "said"), BROKEN.values(), ids=BROKEN.keys())
def test_a_damaged_file_is_refused_in_one_line(text, said):
    assert_one_line_says(refused(text), said)


def test_columns_named_by_the_user_are_refused(tmp_path):
    """They are for plain tables."""
    path = tmp_path / "station.csv"
    path.write_text(season(), encoding="utf-8")
    with pytest.raises(WeatherError, match=r'format = "table"'):
        read_weather(path, SITE, columns={"tmin": {"column": "MIN", "unit": "degF"}})


@settings(max_examples=150, deadline=None)
@given(damages(season(8), most_cut=3000))
def test_any_damage_is_refused_or_leaves_a_sound_table(text):
    assert_refused_or_sound(read, text)
