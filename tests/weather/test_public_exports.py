"""
Public exports: layouts that services and loggers give out: facts above or among the rows, codes, days of the year, words for
nothing. Layouts are general or published, from memory; every number, place and name is invented (`styles`).
"""

from __future__ import annotations

import datetime as dt
import itertools
import re

import pytest

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from tests.weather.styles import TRUTH, at_five, daily, f, hourly, inches
from tests.weather.test_far_styles import SITE, agrees, read_pasted, written

ALL = ("tmin", "tmax", "rain", "rh_mean", "wind")
READ = {
    # NSRDB's CSV: a line of names and one of what they stand for, wider than the table (from memory)
    "facts above, wider than the table": hourly(
        "Year,Month,Day,Hour,Minute,Temperature,Relative Humidity,Wind Speed (m/s),Rain (mm),,,,,,,,,",
        lambda t, d, c: [t.year, t.month, t.day, t.hour, 0, c, d.rh, d.wind, at_five(t, d), *[""] * 9],
        above="Source,ID,City,Wind Speed Units,Relative Humidity Units,GHI Units,Type 0,Type 1,Type 2,Type 3,A,B,C,D,E,F,G,H\n"
        "invented,7,-,m/s,%,w/m2,a,b,c,d,1,2,3,4,5,6,7,8\n",
    ),
    "days of the year below two rows of names": daily(
        "year\tyday\tTmax\tTmin\tprcp\tRH\tWind\n\t\t(deg F)\t(deg F)\t(in)\t(%)\t(m/s)",
        lambda d: [d.date.year, d.date.timetuple().tm_yday, f(d.tmax), f(d.tmin), inches(d.rain), d.rh, d.wind],
        above="# Location: nowhere\n",
        separator="\t",
        days=[day._replace(date=day.date.replace(month=1 if day.date.month == 6 else 2)) for day in TRUTH],
    ),
    "a grid's name before and a unit behind": daily(
        "Datetime,Daymet-tmin:degC,Daymet-tmax:degC,Daymet-prcp:mm,RH:%,ws2m:m/s",
        lambda d: [d.date, d.tmin, d.tmax, d.rain, d.rh, d.wind],
    ),
    "a place's column first": daily(
        "location,date,temp_min,temp_max,precipitation,humidity,wind (m/s)",
        lambda d: ["Nowhere", d.date, d.tmin, d.tmax, d.rain, d.rh, d.wind],
    ),
    "remarks between the names and the rows": hourly(
        "time,rain_mm,relhum_perc,airtemp_degC,windspeed_ms",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M:%S}", at_five(t, d), d.rh, c, d.wind],
        below="#\n# Invented, of a station in the woods\n# at nowhere, 240 m\n# provided as it is\n# and no more\n#\n",
    ),
    "a legend with dashes, and the clear sky's light first": hourly(
        "Time;GHI_clear;TEMP;WS;RH;Rain;GHI",
        lambda t, d, c: [f"{t:%d.%m.%Y %H:%M}", 900, c, d.wind, d.rh, at_five(t, d), 150],
        above="#TEMP - Air temperature at 2 m [deg. C]\n#WS - Wind speed at 2 m [m/s]\n#RH - Relative humidity [%]\n",
        separator=";",
    ),
    "a database's days, and a model's packed rain": daily(
        "day,tmin,tmax,rain,rh_mean,wind",
        lambda d: [f"{d.date} 00:00:00+02", d.tmin, d.tmax, d.rain or -6e-5, d.rh, d.wind],
    ),
    "totals of six hours on every sixth record": hourly(
        "Time,Temperature (C),Humidity (%),Wind (m/s),Precip_6h (mm)",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}", c, d.rh, d.wind, "" if t.hour % 6 else d.rain if t.hour == 6 else 0.0],
    ),
    "a thermometer of the sensor's own": hourly(
        "Time,Sensor Temp (C),Temperature (C),Humidity (%),Wind (m/s),Rain (mm)",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}", c + 4, c, d.rh, d.wind, at_five(t, d)],
    ),
    "a zone's name over hours and minutes": hourly(
        "Year,DOY,MST,Air Temperature [deg C],Rel Humidity [%],Avg Wind Speed @ 2m [m/s],Precipitation [mm]",
        lambda t, d, c: [t.year, t.timetuple().tm_yday, t.hour * 100, c, d.rh, d.wind, at_five(t, d)],
    ),
    # a reference network's days (from memory)
    "a network's days": daily(
        "WBANNO,LST_DATE,T_DAILY_MAX,T_DAILY_MIN,P_DAILY_CALC,SUR_TEMP_DAILY_MAX,RH_DAILY_AVG,WS (m/s)",
        lambda d: [9, f"{d.date:%Y%m%d}", d.tmax, d.tmin, d.rain, d.tmax + 12, d.rh, d.wind],
    ),
    # layouts of Finland's and Estonia's hours (from memory)
    "days in parts beside a clock in UTC": hourly(
        "Havaintoasema,Vuosi,Kuukausi,Päivä,Aika [UTC],Lämpötilan keskiarvo [°C],Suhteellinen kosteus keskiarvo [%],"
        "Keskituulen nopeus keskiarvo [m/s],Tunnin sademäärä keskiarvo [mm]",
        lambda t, d, c: ["Ei ole", t.year, t.month, t.day, f"{t:%H:%M}", c, d.rh, d.wind, at_five(t, d)],
    ),
    "days in parts in another tongue": hourly(
        "Aasta,Kuu,Päev,Kell (UTC),Õhutemperatuur °C,Suhteline õhuniiskus %,Tunni keskmine tuule kiirus m/s,"
        "Maksimaalne tuule kiirus m/s,Tunni sademete summa mm",
        lambda t, d, c: [t.year, t.month, t.day, f"{t:%H:%M}", c, d.rh, d.wind, d.wind + 5, at_five(t, d)],
    ),
    "a day's mean among the hours": hourly(
        "DATE,HourlyDryBulbTemperature,HourlyRelativeHumidity,HourlyWindSpeed (m/s),Precp (mm),DailyAverageDryBulbTemperature",
        lambda t, d, c: [f"{t:%Y-%m-%dT%H:%M}", c, d.rh, d.wind, at_five(t, d), 9 if t.hour == 23 else ""],
    ),
    # the local climatological data's layout: a record an hour, and at its end one that has the day's (from memory)
    "days among records": hourly(
        "STATION,DATE,REPORT_TYPE,HourlyDryBulbTemperature,HourlyRelativeHumidity,HourlyPrecipitation,HourlyWindSpeed,"
        "DailyMaximumDryBulbTemperature,DailyMinimumDryBulbTemperature,DailyAverageRelativeHumidity,DailyPrecipitation,"
        "DailyAverageWindSpeed,MonthlyMaximumTemperature",
        lambda t, d, c: [
            *("X1", f"{t:%Y-%m-%dT%H}:{59 if t.hour == 23 else 52}:00"),
            *(["SOD", "", "", "", "", d.tmax, d.tmin, d.rh, d.rain or "T", d.wind] if t.hour == 23 else []),
            *(["FM-15", f"{c}s", d.rh, "T", "VRB", "", "", "", "", ""] if t.hour != 23 else []),
            "",
        ],
    ),
}


@pytest.mark.parametrize("content", READ.values(), ids=READ.keys())
def test_public_exports_are_read_once_what_is_suggested_is_pasted(tmp_path, content):
    weather = read_pasted(written(tmp_path, content))
    if "yday" in content:  # the fortnight is written in winter, days of the year below 13 among it
        weather.daily.index = [day.replace(month=6 if day.month == 1 else 7) for day in weather.daily.index]
    agrees(weather, ALL)


def test_rows_that_repeat_the_figures_of_most_days_count_once(tmp_path):
    header, *rows = daily("date,tmin,tmax,rain", lambda d: [d.date, d.tmin, d.tmax, d.rain]).splitlines()
    most, half = len(rows) // 2 + 1, len(rows) // 2
    again = [*rows, *sorted(rows[:most])]
    weather = read_weather(written(tmp_path, "\n".join([header, *sorted(again), ""])), SITE)
    agrees(weather, ("tmin", "tmax", "rain"))
    assert weather.provenance["rows"] == len(rows)
    for others in (rows[:half], [*rows[:most], rows[-1] + "5"]):
        with pytest.raises(WeatherError, match="stands twice"):
            read_weather(written(tmp_path, "\n".join([header, *sorted([*rows, *others]), ""])), SITE)


def test_readings_at_nine_and_three_are_no_days_means(tmp_path):
    content = daily(
        "Date,MinTemp,MaxTemp,Rainfall,Humidity9am,Humidity3pm,WindSpeed9am",
        lambda d: [d.date, d.tmin, d.tmax, d.rain, 90, 40, 20],
    )
    agrees(read_pasted(written(tmp_path, content)), ("tmin", "tmax", "rain"))


def test_kinds_of_figures_snow_and_other_thermometers_are_never_taken(tmp_path):
    content = hourly(
        "Time,AmbientTemperature (deg C),WindSpeed (m/s),Relative Humidity (%),Liquid Precipitation (mm),Solid Precipitation (mm),"
        "AmbientTemperatureObservationType,WindSpeedObservationType,Globe Temperature (deg C),Sonic Temp (deg C),"
        "Module Temp [C],temp_cell,Instrument Temperature (C),poa_global,GTI tilted radiation (W/m2),weather_rain",
        lambda t, d, c: [
            f"{t:%Y-%m-%d %H:%M}",
            c,
            d.wind,
            d.rh,
            at_five(t, d),
            0,
            "O",
            "O",
            c + 5,
            c + 2,
            c,
            c,
            c,
            9,
            9,
            1,
        ],
    )
    weather = read_pasted(written(tmp_path, content), times=0)
    agrees(weather, ALL)
    assert any('"Solid Precipitation (mm)" is not added to the rain' in said for said in weather.notes)


def test_calm_is_no_wind_and_no_gap(tmp_path):
    """An hour in two is calm, which halves the day's mean; "calm" elsewhere is no number."""
    calm = hourly(
        "Time,Temp (°C),Wind Speed (m/s),Rain (mm)",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}", c, "Calm" if t.hour % 2 else 2 * d.wind, at_five(t, d)],
    )
    weather = read_weather(written(tmp_path, calm), SITE)
    agrees(weather, ("tmin", "wind"))
    assert "wind: calm in 288 records counts as 0" in weather.notes
    with pytest.raises(WeatherError, match="'Calm' is not a number"):
        read_weather(written(tmp_path, calm.replace("Wind Speed (m/s)", "Humidity (%)")), SITE)


def test_rain_in_hundredths_beside_degrees_fahrenheit_is_asked_for_in_inches_though_it_is_much(tmp_path):
    """Wet days of 0.9 inches on average would be cm beside °C."""
    wet = daily("date,tmin,tmax,rain", lambda d: [d.date, f(d.tmin), f(d.tmax), round(0.31 + 0.037 * d.date.day, 2)])
    with pytest.raises(WeatherError) as refused:
        read_weather(written(tmp_path, wet), SITE)
    assert 'unit = "in"' in str(refused.value) or 'unit = "?"' in str(refused.value)
    assert 'unit = "cm"' not in str(refused.value)


def test_several_stations_by_the_hour_are_told_by_their_names(tmp_path):
    header, *rows = hourly(
        "Net,Time,Temp (°C),Wind (m/s),Rain (mm)",
        lambda t, d, c: ["one", f"{t:%Y-%m-%d %H:%M}", c, d.wind, at_five(t, d)],
    ).split("\n")
    both = "\n".join([header, *rows[:-1], *(row.replace("one", "two").replace("2.0", "3.0") for row in rows)])
    with pytest.raises(WeatherError, match=r"holds 2 stations \(one, two\)"):
        read_weather(written(tmp_path, both), SITE)


def test_what_a_rain_column_counts_is_stated_in_the_line_that_the_message_has(tmp_path):
    """Seven showers that end at midnight and one that does not may be a counter or amounts; the line makes them amounts."""
    rain = {(9, 10): 1.5} | {(day, 23): 1.0 for day in range(10, 24, 2)}
    content = hourly(
        "Time,Temp (°C),Wind (m/s),Rain (mm)",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}", c, d.wind, rain.get((t.day, t.hour), 0.0)],
    )
    path = written(tmp_path, content)
    line = 'interval_rain = { column = "Rain (mm)" }'
    with pytest.raises(WeatherError) as refused:
        read_weather(path, SITE)
    assert line in str(refused.value)
    weather = read_weather(path, SITE, columns={"interval_rain": {"column": "Rain (mm)"}})
    assert weather.daily["rain"].sum() == pytest.approx(sum(rain.values()))


def months(years, mark=""):
    """Write a year in records of three hours, each month of one of the years: 10 °C and its number, 300 W/m² at noon."""
    start = dt.datetime(2001, 1, 1)
    moments = [start + dt.timedelta(hours=3 * i) for i in range(365 * 8)]
    rows = [
        f"{years[t.month - 1]}{t:%m%d:%H%M}{mark},{10 + t.month + (t.hour == 12)},60,{300 if t.hour == 12 else 20},10,20,4.0"
        for t in moments
    ]
    return "\n".join(["time(UTC),T2m,RH,G(h),Gb(n),Gd(h),WS10m", *rows, ""])


def test_months_of_different_years_are_a_typical_year_whose_global_light_is_read(tmp_path):
    """PVGIS's layout of typical years (user manual, from memory); the mean of eight records is 55 W/m², 4.75 MJ/m²."""
    path = written(tmp_path, months([2018, 2007, 2009, 2013, 2008, 2006, 2011, 2010, 2020, 2010, 2007, 2016]))
    site = SITE.model_copy(update={"longitude": 0.0, "timezone": None})
    span = {"start": dt.date(2023, 5, 1), "end": dt.date(2023, 8, 31)}
    weather = read_weather(path, site, missing_rain="zero", **span)
    assert weather.provenance["typical"]
    assert weather.daily.loc["2023-06-10", ["tmin", "tmax"]].tolist() == [16.0, 17.0]
    assert weather.daily.loc["2023-06-10", "radiation"] == pytest.approx(55 * 0.0864)
    assert weather.daily.loc["2023-06-10", "wind"] == pytest.approx(4.0 * 0.748, abs=0.01)
    above = "Place,Time Zone\nnowhere,-3\n"  # and hours of the place's own clock, as NSRDB has them
    local = SITE.model_copy(update={"longitude": -45.0, "timezone": None})
    of_hours = path.read_text().replace("time(UTC)", "time")
    weather = read_weather(written(tmp_path, above + of_hours), local, missing_rain="zero", **span)
    assert weather.provenance["typical"]
    assert weather.daily.loc["2023-06-10", ["tmin", "tmax"]].tolist() == [16.0, 17.0]
    smooth = re.sub(r"\n\d{4}(?=(0[1-9]|1[0-2])01:0000)", "\n1999", of_hours)  # months begin in another year
    east = re.sub(r"(\d{4})(\d\d)(\d\d):(\d\d)(\d\d)", r"\1-\2-\3 \4:\5+08:00", of_hours)
    for text, zone in ((smooth, 0.0), (east, 120.0)):
        there = SITE.model_copy(update={"longitude": zone, "timezone": None})
        assert read_weather(written(tmp_path, text), there, missing_rain="zero", **span).provenance["typical"]
    in_turn = read_weather(written(tmp_path, months([2018] * 12)), site, missing_rain="zero")
    assert not in_turn.provenance.get("typical")


@pytest.mark.parametrize("days", [[1] * 12, [31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]])
def test_rain_of_the_first_or_last_of_each_month_is_told_to_be_of_months(tmp_path, days):
    rows = "".join(f"2024-{month:02d}-{day:02d},{10 + month}\n" for month, day in enumerate(days, 1))
    with pytest.raises(WeatherError, match="and the rows after it are months"):
        read_weather(written(tmp_path, "date,precip\n" + rows), SITE)


def test_figures_that_blanks_part_and_nothing_names_ask_for_a_header(tmp_path):
    """As networks of radiation stations write minutes: a place and its position, then rows of figures with marks (from memory)."""
    rows = "".join(f" 2025  6  4 12 {minute:2d}  500.{minute} 0   21.5 C 0   60.0 0\n" for minute in range(30))
    with pytest.raises(WeatherError, match=r"line 3: .* is a row of values; a header line is expected above it"):
        read_weather(written(tmp_path, " Nowhere\n   40.00  100.00 700 m version 1\n" + rows), SITE)


def test_remarks_behind_stars_and_the_stations_place_are_no_header(tmp_path):
    """As a crop model's weather stands (from memory); with a header above its rows it is read."""
    star = [
        "*-----*",
        "* Station name: Nowhere (Far), Land",
        "* Year: 2025",
        "*  Column  Daily value",
        "* 2  year",
        "* 3  day",
    ]
    above = [*star, "** WRITTEN=2025", "*-----*", "  10.00  40.00   7. -0.18 -0.55"]
    rows = [
        f"   1 2025 {day:3d}  {7 + day % 5}.2  {9 + day % 4}.1  {22 + day % 6}.5  0.9{day % 9}  2.{day % 7}  0.{day % 3}"
        for day in range(1, 91)
    ]
    with pytest.raises(WeatherError, match=r"line 10: .* a header line is expected above it: .* each of its 9 cells"):
        read_weather(written(tmp_path, "\n".join([*above, *rows])), SITE)
    header = "station year day radiation tmin tmax vapour_pressure wind rain"
    found = read_weather(
        written(tmp_path, "\n".join([*above, header, *rows])), SITE, **{"start": "2025-01-01", "end": "2025-03-31"}
    )
    assert found.daily["tmax"].iloc[0] == 23.5


@pytest.mark.parametrize(("own", "taken"), [("", "P_F"), ("-9999", "P_F"), ("0.5", "P")])
def test_a_column_that_is_empty_throughout_gives_way_to_the_filled_one(tmp_path, own, taken):
    """As a flux tower's full set has both (FLUXNET2015, list of variables; from memory)."""
    clock = [dt.datetime(2025, 6, 1) + dt.timedelta(minutes=30 * i) for i in range(48 * 5 + 1)]
    rows = [f"{a:%Y%m%d%H%M},{b:%Y%m%d%H%M},{15 + a.hour % 12},{own},0.25" for a, b in itertools.pairwise(clock)]
    header = "TIMESTAMP_START,TIMESTAMP_END,TA,P,P_F"
    found = read_weather(written(tmp_path, "\n".join([header, *rows])), SITE)
    assert found.daily["rain"].iloc[2] == pytest.approx(12.0 if taken == "P_F" else 24.0)
    assert any('"P" is empty, and "P_F" is taken in its place' in said for said in found.notes) is (taken == "P_F")


@pytest.mark.parametrize(("others", "proposed"), [(9, True), (10, True), (19, True), (20, False)])
def test_codes_of_stations_that_resemble_words_are_no_quantities(tmp_path, others, proposed):
    """Two such codes beside ten times as many others, which resemble nothing (invented)."""
    names = ["HIGH", "WINT", *(f"Q{a}{b}" for a, b in itertools.product("BCDFG", "JKLM"))][: 2 + others]
    rows = [f"2025-06-{day:02d}," + ",".join([f"{20 + day % 7}"] * len(names)) for day in range(1, 31)]
    with pytest.raises(WeatherError) as caught:
        read_weather(written(tmp_path, "\n".join([",".join(["date", *names]), *rows])), SITE)
    assert ('"WINT" looks like wind' in str(caught.value)) is proposed
    assert ("each of these is a station" in str(caught.value)) is not proposed
