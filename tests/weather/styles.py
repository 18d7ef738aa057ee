"""
Styles: one invented fortnight or more of weather, written as stations, spreadsheets and services write theirs.

Layouts are those that people have in general; every number, place and name is invented. `STYLES` has each with the columns
that must come out of it, after its suggestion is pasted where it is refused first.
"""

from __future__ import annotations

import codecs
import datetime as dt
import math
from collections.abc import Callable
from typing import NamedTuple

DAYS = 24
START = dt.date(2025, 6, 4)


class Day(NamedTuple):
    """A day in standard units."""

    date: dt.date
    tmin: float
    tmax: float
    rh: float
    wind: float
    rain: float
    radiation: float


def day(i):
    """Return an ordinary summer's day."""
    wave = math.sin(i)
    rain = 6.5 if i % 7 == 3 else 1.2 if i % 5 == 1 else 0.0
    radiation = round(22 + 3 * wave, 1)
    return Day(
        START + dt.timedelta(days=i), round(14 + 2 * wave, 1), round(28 + 3 * wave, 1), 60 + i, 2.0, rain, radiation
    )


TRUTH = [day(i) for i in range(DAYS)]


class Style(NamedTuple):
    """A file's content, the columns that must come out, and how near."""

    content: str | bytes
    columns: tuple[str, ...] = ("tmin", "tmax", "rain")
    near: float = 0.06
    wind_height: float = 2.0


def f(celsius):
    return round(celsius * 1.8 + 32, 1)


def inches(mm):
    return round(mm / 25.4, 3)


def kmh(speed):
    return round(speed * 3.6, 1)


def daily(header, row: Callable[[Day], list], *, above="", separator=",", below="", end="\n", days=TRUTH):
    """Write a line a day."""
    lines = [separator.join(map(str, row(day))) for day in days]
    return (above + header + "\n" + "\n".join(lines) + "\n" + below).replace("\n", end)


def comma(value):
    return str(value).replace(".", ",")


def hourly(header, row: Callable[[dt.datetime, Day, float], list], *, above="", separator=",", below=""):
    """Write a line an hour: a temperature wave between the day's extremes, rain at five in the morning."""
    lines = []
    for day in TRUTH:
        for hour in range(24):
            when = dt.datetime.combine(day.date, dt.time(hour))
            wave = (1 - math.cos(2 * math.pi * (hour - 3) / 24)) / 2
            lines.append(separator.join(map(str, row(when, day, round(day.tmin + (day.tmax - day.tmin) * wave, 2)))))
    return above + header + "\n" + below + "\n".join(lines) + "\n"


def at_five(when, day):
    return day.rain if when.hour == 5 else 0.0


WIND, SUN, HUMID = ("wind",), ("radiation",), ("rh_mean",)
BASE = ("tmin", "tmax", "rain")

STYLES = {
    "spreadsheet, words with units": Style(
        daily(
            "Date,Min Temp (°C),Max Temp (°C),Humidity (%),Wind Speed (km/h),Rainfall (mm),Solar Radiation (MJ/m²)",
            lambda d: [d.date, d.tmin, d.tmax, d.rh, kmh(d.wind), d.rain, d.radiation],
        ),
        (*BASE, *WIND, *SUN, *HUMID),
    ),
    "spreadsheet, °F and inches": Style(
        daily(
            "DATE,High Temp (°F),Low Temp (°F),Precip (in),Avg Wind (mph)",
            lambda d: [f"{d.date:%m/%d/%Y}", f(d.tmax), f(d.tmin), inches(d.rain), round(d.wind / 0.44704, 2)],
        ),
        (*BASE, *WIND),
    ),
    "days of the week, tabs": Style(
        daily(
            "Day\tLowest\tHighest\tRainfall mm\tMean wind m/s",
            lambda d: [f"{d.date:%a %d %b %Y}", d.tmin, d.tmax, d.rain, d.wind],
            separator="\t",
        ),
        (*BASE, *WIND),
    ),
    "Hungarian": Style(
        daily(
            "Dátum;Min. hőm. (°C);Max. hőm. (°C);Csapadék (mm)",
            lambda d: [f"{d.date:%Y.%m.%d.}", comma(d.tmin), comma(d.tmax), comma(d.rain)],
            separator=";",
        )
    ),
    "totals and means below": Style(
        daily(
            "Date,Min °C,Max °C,Rain mm",
            lambda d: [d.date, d.tmin, d.tmax, d.rain],
            below="Total,,,35.2\nMean,14.0,28.1,\nMax.,16.0,31.0,6.5\n",
        )
    ),
    "glued units": Style(
        daily(
            "Date,Max TemperatureF,Min TemperatureF,Mean Wind SpeedMPH,Max Gust SpeedMPH,PrecipitationIn,Dew PointF",
            lambda d: [d.date, f(d.tmax), f(d.tmin), round(d.wind / 0.44704, 2), 22, inches(d.rain), f(d.tmin - 2)],
        ),
        (*BASE, *WIND),
    ),
    "service with a height in its names": Style(
        daily(
            "time,temperature_2m_max (°C),temperature_2m_min (°C),precipitation_sum (mm),rain_sum (mm),wind_speed_10m_max (km/h),"
            "wind_speed_10m_mean (km/h),shortwave_radiation_sum (MJ/m²)",
            lambda d: [d.date, d.tmax, d.tmin, d.rain, 0.0, 40, kmh(d.wind), d.radiation],
            above="latitude,longitude,elevation,utc_offset_seconds,timezone,timezone_abbreviation\n38.0,-6.0,100,0,GMT,GMT\n\n",
        ),
        (*BASE, *WIND, *SUN),
        wind_height=10.0,
    ),
    "national service with flags and places": Style(
        daily(
            '"Longitude (x)","Latitude (y)","Station Name","Climate ID","Date/Time","Year","Month","Day","Data Quality",'
            '"Max Temp (°C)","Max Temp Flag","Min Temp (°C)","Min Temp Flag","Total Rain (mm)","Total Rain Flag",'
            '"Total Snow (cm)","Total Snow Flag","Total Precip (mm)","Total Precip Flag","Spd of Max Gust (km/h)"',
            lambda d: [
                *(
                    "-6.0",
                    "38.0",
                    "INVENTED",
                    "7",
                    d.date,
                    d.date.year,
                    d.date.month,
                    d.date.day,
                    "",
                    d.tmax,
                    "",
                    d.tmin,
                ),
                *("", 0.0, "", 0.0, "", d.rain, "", 45),
            ],
        ),
    ),
    "national service, legend above and doubled indicators": Style(
        daily(
            "date,ind,maxtp,ind,mintp,igmin,gmin,ind,rain,cbl,wdsp,ind,hm,soil,glorad",
            lambda d: [
                *(f"{d.date:%d-%b-%Y}".lower(), 0, d.tmax, 0, d.tmin, 0, d.tmin - 3, 0, d.rain, 1012.2),
                *(round(d.wind / 0.514444, 2), 0, 18, 14.2, round(d.radiation * 100)),
            ],
            above=(
                "Station Name: INVENTED\nStation Height: 100 M \nLatitude:38.000  ,Longitude: -6.000\n\n"
                "date:  -  00 to 00 utc\nrain:  -  Precipitation Amount (mm)\nmaxtp: -  Maximum Air Temperature (C)\n"
                "mintp: -  Minimum  Air Temperature (C)\ngmin:  -  09utc Grass Minimum Temperature (C)\n"
                "soil:  -  Mean 10cm Soil Temperature (C)\ncbl:   -  Mean CBL Pressure (hpa)\n"
                "wdsp:  -  Mean Wind Speed (knot)\nhm:    -  Highest ten minute mean wind speed (knot)\n"
                "glorad: -  Global Radiation (J/cm sq.)\nind:   -  Indicator\n\n"
            ),
        ),
        (*BASE, *WIND, *SUN),
    ),
    "station's observations under lines of its place": Style(
        daily(
            ',"Date","Minimum temperature (°C)","Maximum temperature (°C)","Rainfall (mm)","Evaporation (mm)",'
            '"Direction of maximum wind gust ","Speed of maximum wind gust (km/h)","9am Temperature (°C)",'
            '"9am relative humidity (%)","9am wind speed (km/h)"',
            lambda d: [
                "",
                f"{d.date.year}-{d.date.month}-{d.date.day}",
                d.tmin,
                d.tmax,
                d.rain,
                "",
                "NE",
                33,
                20.1,
                66,
                9,
            ],
            above=(
                '"Daily Weather Observations for Invented Hill for June 2025"\n"Prepared at 13:00 UTC on 30 June 2025"\n'
                '"Observations were drawn from Invented Hill {station 7}"\n\n'
            ),
        ),
        near=0.06,
    ),
    "year, month and day apart": Style(
        daily(
            "Product code,Station number,Year,Month,Day,Rainfall amount (millimetres),Period over which rainfall was measured "
            "(days),Quality,Maximum temperature (Degree C),Minimum temperature (Degree C)",
            lambda d: [
                "X1",
                "007",
                d.date.year,
                f"{d.date.month:02d}",
                f"{d.date.day:02d}",
                d.rain,
                1,
                "Y",
                d.tmax,
                d.tmin,
            ],
        ),
    ),
    "year and day of the year": Style(
        daily(
            "Year,DOY,Tmax (C),Tmin (C),Rain (mm),Rs (MJ/m2)",
            lambda d: [d.date.year, d.date.timetuple().tm_yday, d.tmax, d.tmin, d.rain, d.radiation],
        ),
        (*BASE, *SUN),
    ),
    "semicolons and decimal commas": Style(
        daily(
            "Datum;Tmin (°C);Tmax (°C);Niederschlag (mm);Globalstrahlung (J/cm²)",
            lambda d: [f"{d.date:%d.%m.%Y}", comma(d.tmin), comma(d.tmax), comma(d.rain), round(d.radiation * 100)],
            separator=";",
        ),
        (*BASE, *SUN),
    ),
    "semicolons, latin-1, padded": Style(
        daily(
            "Datum ; Temperatur min (°C) ; Temperatur max (°C) ; Niederschlag (mm)",
            lambda d: [f"{d.date:%d.%m.%Y} ", f"  {comma(d.tmin)} ", f" {comma(d.tmax)}", f" {comma(d.rain)}"],
            separator=";",
        ).encode("latin-1"),
    ),
    "service in short names": Style(
        daily(
            "STATIONS_ID;MESS_DATUM;QN_3;  FX;  FM;QN_4; RSK;RSKF; TMK; UPM; TXK; TNK; TGK;eor",
            lambda d: [
                *("7", f"{d.date:%Y%m%d}", 10, 9.9, d.wind, 9, d.rain, 6, round((d.tmin + d.tmax) / 2, 1), d.rh),
                *(d.tmax, d.tmin, round(d.tmin - 3, 1), "eor"),
            ],
            separator=";",
        ),
        (*BASE, *WIND, *HUMID),
    ),
    "columns that only blanks part, its units below": Style(
        daily(
            "year  day radn  maxt   mint  rain\n ()   () (MJ/m^2) (oC) (oC) (mm)",
            lambda d: [f"{d.date:%Y  %j} {d.radiation:6} {d.tmax:6} {d.tmin:6} {d.rain:5}"],
            above="[weather]\n!station number = 7\nlatitude = 38.0\n",
        ),
        (*BASE, *SUN),
    ),
    "columns that only blanks part, years with a point, a unit that is not known": Style(
        daily(
            "year day radn maxt mint rain swe\n() () (MJ/m2/day) (oC) (oC) (mm) (kg/m2)",
            lambda d: [f"{d.date:%Y}.0 {int(f'{d.date:%j}')}.0 {d.radiation} {d.tmax} {d.tmin} {d.rain} 0.0"],
            above="!site: 7\nlatitude = 38.0\ntav =8.95\n",
        ),
        (*BASE, *SUN),
    ),
    "blanks, a date and a time": Style(
        hourly("Date Time  Temp(C)  Rain(mm)", lambda w, d, t: [f"{w:%Y-%m-%d %H:%M} {t:8} {at_five(w, d):6}"]),
    ),
    "row numbers under no header, blanks and quotes": Style(
        '"date" "tmin" "tmax" "rain"\n'
        + "".join(f'"{i}" "{d.date}" {d.tmin} {d.tmax} {d.rain}\n' for i, d in enumerate(TRUTH)),
    ),
    "a row a value": Style(
        "station;time;parameter;value;unit\n"
        + "".join(
            f"X;{d.date};{name};{value};{unit}\n"
            for d in TRUTH
            for name, value, unit in (
                ("air temperature min", d.tmin, "degC"),
                ("air temperature max", d.tmax, "degC"),
                ("precipitation amount", d.rain, "mm"),
            )
        ),
    ),
    "a row a month with the days across": Style(
        "STATION,YEAR,MONTH,ELEMENT,"
        + ",".join(map(str, range(1, 32)))
        + "\n"
        + "".join(
            f"X,2025,6,{name}," + ",".join([""] * 3 + [str(getattr(d, name.lower())) for d in TRUTH] + [""] * 4) + "\n"
            for name in ("TMAX", "TMIN", "RAIN")
        ),
    ),
    "a printed month": Style(
        daily(
            "     TEMPERATURE (°C), RAIN (mm)\n\n    MEAN\nDAY TEMP  HIGH   TIME   LOW   TIME   RAIN\n" + "-" * 44,
            lambda d: [f" {d.date.day:>2} {20.0:5} {d.tmax:5}  14:30 {d.tmin:5}  05:10  {d.rain:5}"],
            above="    MONTHLY SUMMARY for JUN. 2025\n\nNAME: Invented\n\n",
            below="-" * 44 + "\n    20.1  31.0     30  12.1      4   25.0\n",
            days=[Day(dt.date(2025, 6, i), 10.0, 20.0, 60, 2.0, 0.0, 20.0) for i in (1, 2, 3)] + TRUTH,
        ),
    ),
    "Japanese, in an older encoding": Style(
        daily(
            "年月日,最高気温(℃),最低気温(℃),降水量の合計(mm),平均風速(m/s),日照時間(時間)",
            lambda d: [f"{d.date.year}/{d.date.month}/{d.date.day}", d.tmax, d.tmin, d.rain, d.wind, ""],
            above="ダウンロードした時刻：2025/09/01 10:00:00\n\n",
        ).encode("cp932"),
        (*BASE, *WIND),
    ),
    "Russian, in an older encoding": Style(
        daily(
            "Дата;Минимальная температура (°C);Максимальная температура (°C);Осадки (мм);Средняя скорость ветра (м/с)",
            lambda d: [f"{d.date:%d.%m.%Y}", comma(d.tmin), comma(d.tmax), comma(d.rain), comma(d.wind)],
            separator=";",
        ).encode("cp1251"),
        (*BASE, *WIND),
    ),
    "a degree sign of an older encoding": Style(
        daily("Date;Tmin (°C);Tmax (°C);Rain (mm)", lambda d: [d.date, d.tmin, d.tmax, d.rain], separator=";").encode(
            "cp850"
        ),
    ),
    "encoded twice": Style(
        daily("Date;Tmin (Â°C);Tmax (Â°C);Rain (mm)", lambda d: [d.date, d.tmin, d.tmax, d.rain], separator=";"),
    ),
    "day numbers of a spreadsheet": Style(
        daily(
            "Date,Tmin (°C),Tmax (°C),Rain (mm)",
            lambda d: [(d.date - dt.date(1899, 12, 30)).days, d.tmin, d.tmax, d.rain],
        ),
    ),
    "hours as day numbers of a spreadsheet": Style(
        hourly(
            "Zeit;Temperatur (°C);Regen (mm)",
            lambda w, d, t: [
                comma(round((w.date() - dt.date(1899, 12, 30)).days + w.hour / 24, 5)),
                comma(t),
                comma(at_five(w, d)),
            ],
            separator=";",
        ),
    ),
    "bare digits with the hour": Style(
        hourly("time,Temp (C),Rain (mm)", lambda w, d, t: [f"{w:%Y%m%d%H}", t, at_five(w, d)]),
    ),
    "the hour alone": Style(
        hourly("valid_time,t2m (C),precipitation (mm)", lambda w, d, t: [f"{w:%Y-%m-%dT%H}", t, at_five(w, d)]),
    ),
    "year and day of the year in one": Style(
        daily("Date,Tmin (C),Tmax (C),Rain (mm)", lambda d: [f"{d.date:%Y%j}", d.tmin, d.tmax, d.rain]),
    ),
    "tenths by their headers": Style(
        daily(
            "DATE,TN (0.1 °C),TX (0.1 °C),RR (0.1 mm)",
            lambda d: [f"{d.date:%Y%m%d}", round(d.tmin * 10), round(d.tmax * 10), round(d.rain * 10)],
        ),
    ),
    "decimal commas in quotes": Style(
        daily(
            "Date,Tmin (°C),Tmax (°C),Rain (mm)",
            lambda d: [d.date, *(f'"{comma(value)}"' for value in (d.tmin, d.tmax, d.rain))],
        ),
    ),
    "units behind in": Style(
        daily(
            "Day,Minimum temperature in °C,Maximum temperature in °C,Rain in mm,Solar in kWh/m²/day",
            lambda d: [d.date, d.tmin, d.tmax, d.rain, round(d.radiation / 3.6, 3)],
        ),
        (*BASE, *SUN),
    ),
    "what is no unit in brackets": Style(
        daily("Date,Temp (min),Temp (max),Rain (daily total)", lambda d: [d.date, d.tmin, d.tmax, d.rain]),
    ),
    "times of its extremes": Style(
        daily(
            "fecha,tmin,horatmin,tmax,horatmax,rain",
            lambda d: [d.date, d.tmin, "04:50", d.tmax, "15:10", d.rain],
        ),
    ),
    "tabs": Style(
        daily(
            "Day\tT max [°C]\tT min [°C]\tPrecipitation [mm]",
            lambda d: [d.date, d.tmax, d.tmin, d.rain],
            separator="\t",
        ),
    ),
    "byte order mark and Windows line ends": Style(
        codecs.BOM_UTF8
        + daily("Date,Max °C,Min °C,Rain mm", lambda d: [d.date, d.tmax, d.tmin, d.rain], end="\r\n").encode(),
    ),
    "UTF-16": Style(
        daily(
            "Date\tMax Temp (°C)\tMin Temp (°C)\tRain (mm)", lambda d: [d.date, d.tmax, d.tmin, d.rain], separator="\t"
        ).encode("utf-16"),
    ),
    "all quoted": Style(
        daily(
            '"Date","Temp Max (°C)","Temp Min (°C)","Rain (mm)","Rain Rate (mm/h)","Indoor Temp Max (°C)"',
            lambda d: [f'"{value}"' for value in (d.date, d.tmax, d.tmin, d.rain, 12.0, 31.1)],
        ),
    ),
    "two header rows": Style(
        daily(
            ",Temperature,,Rain,Humidity,\nDate,Max (°C),Min (°C),Total (mm),Max (%),Min (%)",
            lambda d: [d.date, d.tmax, d.tmin, d.rain, 95, 40],
        ),
    ),
    "a line of units": Style(
        daily(
            "TIMESTAMP,AirT_Max,AirT_Min,Rain_Tot,WS_Avg,SoilT_Avg,SlrMJ_Tot\nTS,Deg C,Deg C,mm,m/s,Deg C,MJ/m^2",
            lambda d: [f"{d.date} 00:00:00", d.tmax, d.tmin, d.rain, d.wind, 19.0, d.radiation],
        ),
        (*BASE, *WIND),
    ),
    "months by name": Style(
        daily("Date,Max Temp (°C),Min Temp (°C),Rain (mm)", lambda d: [f"{d.date:%d-%b-%Y}", d.tmax, d.tmin, d.rain]),
    ),
    "months first by name, in quotes": Style(
        daily(
            "Date,Max Temp (°C),Min Temp (°C),Rain (mm)",
            lambda d: [f'"{d.date:%b} {d.date.day}, {d.date.year}"', d.tmax, d.tmin, d.rain],
        ),
    ),
    "years of two digits": Style(
        daily("Date,Max Temp (°C),Min Temp (°C),Rain (mm)", lambda d: [f"{d.date:%d/%m/%y}", d.tmax, d.tmin, d.rain]),
    ),
    "years of two digits, month first": Style(
        daily(
            "Date,Max Temp (°F),Min Temp (°F),Rain (in)",
            lambda d: [f"{d.date:%m/%d/%y}", f(d.tmax), f(d.tmin), inches(d.rain)],
        ),
    ),
    "order of the date in its header": Style(
        daily(
            "Date (DD/MM/YY);Tmax (°C);Tmin (°C);Rain (mm)",
            lambda d: [f"{d.date:%d/%m/%y}", d.tmax, d.tmin, d.rain],
            separator=";",
        ),
    ),
    "traces, codes and a footer": Style(
        daily(
            "Date,Max Temp (°C),Min Temp (°C),Rain (mm),RH mean (%)",
            lambda d: [d.date, d.tmax, d.tmin, d.rain or "T", "---" if d.date.day == 9 else d.rh],
            below="\nend of data\n",
        ),
    ),
    "records and normals beside": Style(
        daily(
            "Date,Max Temp (°F),Min Temp (°F),Precip (in),Record Max Temp (°F),Record Min Temp (°F),Normal Precip (in)",
            lambda d: [d.date, f(d.tmax), f(d.tmin), inches(d.rain), 110, 30, 0.1],
        ),
    ),
    "clear sky beside": Style(
        daily(
            "Date,Clear Sky GHI (MJ/m2),GHI (MJ/m2),DNI (MJ/m2),Solar Zenith Angle,T2M_MAX (C),T2M_MIN (C),Precipitation (mm)",
            lambda d: [d.date, 31, d.radiation, 20, 33.1, d.tmax, d.tmin, d.rain],
        ),
        (*BASE, *SUN),
    ),
    "comments above and units behind commas": Style(
        daily(
            'day;"Temperature, max, °C";"Temperature, min, °C";"Precipitation, mm"',
            lambda d: [d.date, d.tmax, d.tmin, d.rain],
            above="# invented\n# station 7\n",
            separator=";",
        ),
    ),
    "spreadsheet padded to its width": Style(
        daily(
            "Date,Tmax °C,Tmin °C,Rain mm,,",
            lambda d: [d.date, d.tmax, d.tmin, d.rain, "", ""],
            above="My garden,,,,,\nHeight,100,m,,,\n,,,,,\n",
        ),
    ),
    "station table, hourly": Style(
        hourly(
            "Time,Outdoor Temperature (°C),Indoor Temperature (°C),Outdoor Humidity (%),Wind Speed (km/h),Gust (km/h),Hourly Rain (mm)",
            lambda when, d, t: [f"{when:%Y-%m-%d %H:%M}", t, 24.0, d.rh, kmh(d.wind), 30, at_five(when, d)],
        ),
        (*BASE, *WIND),
    ),
    "station table with its distance from UTC": Style(
        hourly(
            "Timestamp,Temp (°F),Humidity (%),Interval Rain (in)",
            lambda when, d, t: [f"{when:%Y-%m-%dT%H:%M:%S}-04:00", f(t), d.rh, inches(at_five(when, d))],
        ),
    ),
    "airport reports": Style(
        hourly(
            "station,valid,tmpf,dwpf,relh,drct,sknt,p01i",
            lambda when, d, t: ["XYZ", f"{when:%d/%m/%Y %H:%M} UTC", f(t), "M", d.rh, 90, 4, inches(at_five(when, d))],
        ),
    ),
    "console's memory": Style(
        hourly(
            "\t\tTemp\tHi\tLow\tOut\tDew\tWind\tWind\tHi\t\tRain\tIn\n"
            "Date\tTime\tOut\tTemp\tTemp\tHum\tPt.\tSpeed\tDir\tSpeed\tRain\tRate\tTemp",
            lambda when, d, t: [
                f"{when.day}/{when:%m/%y}",
                f"{(when.hour - 1) % 12 + 1}:00{'a' if when.hour < 12 else 'p'}",
                *(t, t, t, d.rh, "---", d.wind, "NW", 9, at_five(when, d), 0.0, 22.0),
            ],
            separator="\t",
        ),
    ),
    "service's hours with its clock above": Style(
        hourly(
            "time,temperature_2m (°C),relative_humidity_2m (%),dew_point_2m (°C),precipitation (mm),wind_speed_10m (km/h)",
            lambda when, d, t: [f"{when:%Y-%m-%dT%H:%M}", t, 60, 8.0, at_five(when, d), kmh(d.wind)],
            above="latitude,longitude,elevation,utc_offset_seconds,timezone\n38.0,-6.0,100,0,GMT\n\n",
        ),
        (*BASE, *WIND),
        wind_height=10.0,
    ),
    "date and hour apart": Style(
        hourly(
            "Date;Hour;Temp (°C);RH (%);Precip (mm)",
            lambda when, d, t: [f"{when:%d/%m/%Y}", f"{when:%H}00", t, d.rh, at_five(when, d)],
            separator=";",
        ),
    ),
}
