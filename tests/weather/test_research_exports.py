"""
Exports of research: satellites, gap-filled towers, crop models. Layouts are published, from memory; every number is invented.
"""

from __future__ import annotations

import datetime as dt
import math

import pytest

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from tests.weather.styles import TRUTH, at_five, comma, daily, hourly, kmh
from tests.weather.test_far_styles import SITE, agrees, read_pasted, written

TIMED = hourly(
    "time,temperature (°C),humidity (%),rain (mm),wind (m/s)",
    lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}Z", c, d.rh, at_five(t, d), d.wind],
)


def satellite_light(steps):
    """Write a radiation service's file: so many sums [Wh/m²] a quarter of a day's hours; the column names are its last remark."""
    text = (
        "# Time reference: Universal time (UT)\n#\n# Columns:\n# 1. Observation period (ISO 8601)\n"
        "# 2. Clear sky GHI. Clear sky global irradiation on horizontal plane at ground level (Wh/m2)\n"
        "# 3. GHI. Global irradiation on horizontal plane at ground level (Wh/m2)\n#\n"
        "# Observation period;Clear sky GHI;GHI\n"
    )
    times = [f"{i * 24 // steps:02d}:{i * 1440 // steps % 60:02d}:00.0" for i in range(steps)]
    for day in TRUTH:
        for i, (start, end) in enumerate(zip(times, times[1:] + times[:1], strict=True)):
            sun = max(-math.cos(2 * math.pi * (i + 0.5) / steps), 0.0)
            light = (
                1e6
                * day.radiation
                / 3600
                * sun
                / sum(max(-math.cos(2 * math.pi * (k + 0.5) / steps), 0) for k in range(steps))
            )
            text += f"{day.date}T{start}/{day.date}T{end};{light * 1.2:.4f};{light:.4f}\n"
    return text


@pytest.mark.parametrize("steps", [24, 96])
def test_light_of_a_satellite_is_read_beside_a_station_whatever_its_step(tmp_path, steps):
    """CAMS's radiation service: ISO 8601 intervals, the header in the last remark, sums over each of them in numbered remarks."""
    paths = [written(tmp_path, TIMED), written(tmp_path, satellite_light(steps), "light.csv")]
    agrees(read_weather(paths, SITE), ("tmin", "tmax", "rain", "wind", "radiation"))


HALVES = [
    [
        2025,
        day.date.timetuple().tm_yday,
        f"{i / 2:g}",
        round(day.tmin + (day.tmax - day.tmin) * wave, 2),
        day.rh,
        1.5,
        day.wind,
        rain,
    ]
    for day in TRUTH
    for i in range(48)
    for wave, rain in [((1 - math.cos(2 * math.pi * (i - 6) / 48)) / 2, day.rain if i == 10 else 0.0)]
]
READ = {
    # files of crop models: two lines of names and units that blanks part, figures that tabs part
    "names parted by blanks over figures parted by tabs": daily(
        "year day radn maxt mint rain rh wind\n () () (MJ/m^2) (oC) (oC) (mm) (%) (m/s)",
        lambda d: [d.date.year, d.date.timetuple().tm_yday, d.radiation, d.tmax, d.tmin, d.rain, d.rh, d.wind],
        above="!site: nowhere\nlatitude = 38.0\ntav = 18.95\n",
        separator="\t",
    ),
    # a processing chain's output: _f is filled
    "filled columns that are not in °F": hourly(
        "TIMESTAMP_MIDDLE,GPP_CUT_16_f,LE_f,Tair_f,RH,wind (m/s),rain_mm",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}:00", 1.5, 30.1, c, d.rh, d.wind, at_five(t, d)],
    ),
    # input of gap-filling of flux towers (Reichstein et al. 2005), one unit of which is none that is known
    "hours in decimals over a line of units": "Year\tDay\tHour\tTair\trH\tNEE\tWS\tPrec\n--\t--\t--\tdegC\t%\tumolm-2s-1\tms-1\tmm\n"
    + "\n".join("\t".join(map(str, row)) for row in HALVES),
    # networks' and services' hours, from memory
    "blanks behind the points of a day": hourly(
        "Datum a čas;Venkovní teplota [°C];Venkovní vlhkost [%];Srážky [mm];Rychlost větru [m/s]",
        lambda t, d, c: [
            f"{t.day}. {t.month}. {t.year} {t.hour}:00",
            comma(c),
            d.rh,
            comma(at_five(t, d)),
            comma(d.wind),
        ],
        separator=";",
    ),
    "UTC behind a distance from it": hourly(
        "dt_iso,temp (°C),humidity,wind_speed (m/s),rain_1h",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}:00 +0000 UTC", c, d.rh, d.wind, at_five(t, d)],
    ),
    "km an hour in Turkish": hourly(
        "Tarih;Saat;Dış Sıcaklık (°C);Dış Nem (%);Yağmur (mm);Rüzgar (km/s);Güneş (W/m2)",
        lambda t, d, c: [f"{t:%d.%m.%Y}", f"{t:%H:%M}", comma(c), d.rh, comma(at_five(t, d)), comma(kmh(d.wind)), 150],
        separator=";",
    ),
    "rain of the hour in Spanish": hourly(
        "Fecha;Hora;Temp. ext. (°C);Hum. ext. (%);Vel. viento (m/s);Lluvia hora (mm)",
        lambda t, d, c: [f"{t:%d/%m/%Y}", f"{t:%H:%M}", comma(c), d.rh, comma(d.wind), comma(at_five(t, d))],
        separator=";",
    ),
    "units with powers before what they are of": hourly(
        "date_time,ta_2m_degC_mean,hr_2m_pct_mean,ff_2m_ms-1_mean,rr_mm_sum",
        lambda t, d, c: [f"{t:%Y%m%d%H%M}", c, d.rh, d.wind, at_five(t, d)],
    ),
    "codes of the snow network": hourly(
        "Site Id,Date,Time,TOBS.I-1:-2 (degC) ,RHUM.I-1:-2 (pct) ,WSPDV.H-1:79 (mph) ,PRCP.H-1 (mm) ",
        lambda t, d, c: [9, t.date(), f"{t:%H:%M}", c, d.rh, round(d.wind / 0.44704, 2), at_five(t, d)],
    ),
    "days that a stamp at their end closes": daily(
        "Timestamp (end),TempMin,TempMax,RainTotal (mm),AvgWindSpeed_mps,AvgRelHum",
        lambda d: [f"{d.date + dt.timedelta(days=1)} 00:00:00", d.tmin, d.tmax, d.rain, d.wind, d.rh],
    ),
    "a patched point's humidity at the extremes": daily(
        "Date,T.Max,T.Min,Rain,VP (hPa),RHmaxT,RHminT,RH mean,Wind (m/s)",
        lambda d: [f"{d.date:%Y%m%d}", d.tmax, d.tmin, d.rain, 14, d.rh - 30, d.rh + 30, d.rh, d.wind],
    ),
    # European Climate Assessment: what a column is stands behind the letters that it takes
    "tenths in a legend with letters' places and a sign of the web": daily(
        "STAID,    DATE,   TX,   TN,  RR,  HU,  FG (m/s)",
        lambda d: [9, f"{d.date:%Y%m%d}", round(10 * d.tmax), round(10 * d.tmin), round(10 * d.rain), d.rh, d.wind],
        above="Q\n\n24-28 TX   : maximum temperature in 0.1 &#176;C\n30-34 TN   : minimum temperature in 0.1 &#176;C\n"
        "36-40 RR   : precipitation amount in 0.1 mm\n42-46 HU : mean humidity in %\n",
    ),
    "days with an hour that is 0": daily(
        "Year;Month;Day;Hour;Tmax;Tmin;Prec;RH;Wind (m/s)",
        lambda d: [d.date.year, d.date.month, d.date.day, 0, d.tmax, d.tmin, d.rain, d.rh, d.wind],
        separator=";",
    ),
    "rain of the day behind its sum of the season": daily(
        "date,tn (°C),tx (°C),rr_acc (mm),rr (mm),RH %,Wind m/s",
        lambda d: [
            d.date,
            d.tmin,
            d.tmax,
            round(sum(of.rain for of in TRUTH if of.date <= d.date), 1),
            d.rain,
            d.rh,
            d.wind,
        ],
    ),
    "rain of 24 hours in letters": daily(
        "Date;TX;TN;RR24 (mm);FF (m/s);HU",
        lambda d: [d.date, comma(d.tmax), comma(d.tmin), comma(d.rain), comma(d.wind), d.rh],
        separator=";",
    ),
}


@pytest.mark.parametrize("content", READ.values(), ids=READ.keys())
def test_research_exports_are_read_once_what_is_suggested_is_pasted(tmp_path, content):
    agrees(read_pasted(written(tmp_path, content)), ("tmin", "tmax", "rain", "rh_mean", "wind"))


def test_humidity_at_an_extreme_of_temperature_is_no_extreme_of_its_own(tmp_path):
    """SILO's columns: RHmaxT is about the lowest."""
    weather = read_pasted(written(tmp_path, READ["a patched point's humidity at the extremes"]))
    assert weather.daily["vapour_pressure"].iloc[1:-1].to_numpy() == pytest.approx(1.4)
    assert "columns not used: RHmaxT, RHminT" in weather.notes


@pytest.mark.parametrize("clouds", [0.4, 0.7, 1.0])
def test_light_beside_the_length_of_the_day_in_seconds_is_a_mean_of_the_daylight_however_cloudy(tmp_path, clouds):
    """Daymet's variables (Thornton et al., from memory): srad is the mean over the daylight, whose length is in s."""
    content = daily(
        "year,yday,dayl (s),prcp (mm/day),srad (W/m^2),tmax (deg c),tmin (deg c)",
        lambda d: [
            *(d.date.year, d.date.timetuple().tm_yday, 52200, d.rain),
            *(round(1e6 * d.radiation * clouds / 52200, 1), d.tmax, d.tmin),
        ],
    )
    weather = read_pasted(written(tmp_path, content))
    light = [weather.daily.loc[str(day.date), "radiation"] / day.radiation for day in TRUTH[1:-1]]
    assert light == pytest.approx([clouds] * len(light), rel=0.03)  # 14.5 h are those of the place and month


def test_days_of_the_year_without_a_year_are_told_in_one_line(tmp_path):
    content = "\n".join(line.partition("\t")[2] for line in READ["hours in decimals over a line of units"].split("\n"))
    with pytest.raises(WeatherError) as caught:
        read_weather(written(tmp_path, content), SITE, shown_as="station.csv")
    cure = "add a column Year with each row's year, such as 2025"
    assert str(caught.value) == f'station.csv: line 3: "Day" numbers days, as 155, and no column has their year; {cure}'


@pytest.mark.parametrize(
    ("header", "ends"), [("TIMESTAMP_END", True), ("TIMESTAMP", False), ("Time ending", True), ("Weekend time", False)]
)
def test_a_record_at_midnight_is_of_the_day_before_where_its_header_says_that_it_ends_then(tmp_path, header, ends):
    """By FLUXNET's description of its half-hours; the first record of each day is as warm as the day's hottest."""
    content = hourly(
        f"{header},temperature (°C),humidity (%),rain (mm),wind (m/s)",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}", d.rh / 5 if t.hour == 0 else 10, d.rh, at_five(t, d), d.wind],
    )
    weather = read_weather(written(tmp_path, content), SITE)
    moved = [day.rh / 5 for day in TRUTH[ends:]]
    assert weather.daily["tmax"].iloc[: len(moved)].tolist() == pytest.approx(moved, abs=0.06)
    assert ("each the end of its record" in weather.provenance["recognised"]) == ends


@pytest.mark.parametrize(
    ("header", "marks"),
    [
        ("date,tmin,tmax,Rain (mm),Rain gauge 2 (mm)", ("", "")),
        ("date,tmin,tmax,rain,rain_filled", ("NA", "-")),
        ("date,TA_F_QC,tmin,tmax,P,P_F", (1, "-9999")),
    ],
)
def test_a_daily_column_that_is_empty_gives_way_to_the_filled_one_of_its_meaning(tmp_path, header, marks):
    more, mark = marks
    content = daily(header, lambda d: [d.date, *[more] * ("QC" in header), d.tmin, d.tmax, mark, d.rain])
    weather = read_pasted(written(tmp_path, content))
    agrees(weather, ("tmin", "tmax", "rain"))
    assert [caution.name for caution in weather.cautions if caution.name == "header-unit"] == []


@pytest.mark.parametrize("name", ["Solar (lux)", "Solar Rad (Lux)", "Solar radiation (klux)"])
@pytest.mark.parametrize("timed", [True, False])
def test_lux_is_refused_as_what_it_is_and_goes_unused_under_its_own_name(tmp_path, name, timed):
    header = f"{'time,temperature (°C)' if timed else 'date,tmin,tmax'},humidity (%),rain (mm),wind (m/s),{name}"
    content = (
        hourly(header, lambda t, d, c: [t, c, d.rh, at_five(t, d), d.wind, 5000])
        if timed
        else daily(header, lambda d: [d.date, d.tmin, d.tmax, d.rh, d.rain, d.wind, 5000])
    )
    with pytest.raises(WeatherError, match="lux is light as the eye sees it, which no factor makes radiation of"):
        read_weather(written(tmp_path, content), SITE)
    weather = read_pasted(written(tmp_path, content.replace(name, "light (lux)")))
    assert "radiation" in {column for column in weather.flags if (weather.flags[column] != "measured").all()}


@pytest.mark.parametrize("name", ["mean temp (°C)", "Temp", "tavg", "TMK", "Temperatur Mittel °C"])
def test_a_day_that_has_one_temperature_alone_is_told_once_and_why(tmp_path, name):
    content = daily(f"date,{name},rain", lambda d: [d.date, (d.tmin + d.tmax) / 2, d.rain])
    with pytest.raises(WeatherError) as caught:
        read_weather(written(tmp_path, content), SITE, shown_as="station.csv")
    (line,) = str(caught.value).splitlines()
    assert line.startswith(
        f'station.csv: line 1: has one air temperature a day, "{name}", and not its lowest and highest; '
    )
    assert "or hours of the same station, of which they are made" in line


@pytest.mark.parametrize("name", ["Station", "Code", "stn_id", "Place"])
def test_of_several_stations_a_row_a_value_one_is_asked_for_by_whatever_name(tmp_path, name):
    rows = [
        f"{station},{day.date},{what},{figure}"
        for station in ("A1", "B2")
        for day in TRUTH
        for what, figure in (("TMAX", day.tmax), ("TMIN", day.tmin), ("PRCP", day.rain))
    ]
    content = "\n".join([f"{name},date,variable,value", *rows])
    with pytest.raises(WeatherError, match=r"holds 2 stations \(A1, B2\); expected: one; keep one station's rows"):
        read_weather(written(tmp_path, content), SITE)


def test_of_many_columns_of_one_quantity_four_are_named(tmp_path):
    for count, told in ((5, ' and "Temp A4 (°C)" and 1 more may both'), (4, ' and "Temp A4 (°C)" may both')):
        header = ",".join(["time", *(f"Temp A{i} (°C)" for i in range(1, count + 1)), "rain (mm)"])
        content = hourly(header, lambda t, d, c, count=count: [t, *[c] * count, at_five(t, d)])
        with pytest.raises(WeatherError) as caught:
            read_weather(written(tmp_path, content), SITE)
        assert told in str(caught.value)
