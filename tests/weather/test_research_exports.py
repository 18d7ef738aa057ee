"""
Exports of research: satellites, gap-filled towers, crop models. Layouts are published, from memory; every number is invented.
"""

from __future__ import annotations

import math

import pytest

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from tests.weather.styles import TRUTH, at_five, daily, hourly
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
}


@pytest.mark.parametrize("content", READ.values(), ids=READ.keys())
def test_research_exports_are_read_once_what_is_suggested_is_pasted(tmp_path, content):
    agrees(read_pasted(written(tmp_path, content)), ("tmin", "tmax", "rain", "rh_mean", "wind"))


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
