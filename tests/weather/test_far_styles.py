"""
Exports from further away: other scripts, flux towers, grids of models, rows in one cell, a quantity a file.

Layouts are those that people have in general; every number and place is invented (`styles`). Names and units of flux towers are
those of FLUXNET2015's and AmeriFlux's lists of variables, those of models CMIP's and ERA5's; all from memory.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest

from panbudget.errors import ScenarioError, WeatherError
from panbudget.physics.air import saturation_vapour_pressure, wind_at_2m
from panbudget.season.replay import replay
from panbudget.weather import read_weather
from panbudget.weather.text.headers import headings_of, read_header
from panbudget.weather.text.heading import heading_of
from tests.weather.sites import Site
from tests.weather.styles import TRUTH, at_five, comma, daily, f, hourly, inches, kmh
from tests.weather.test_styles import SITE, filled_in, pasted

ARABIC = str.maketrans("0123456789.", "٠١٢٣٤٥٦٧٨٩٫")


def written(folder, content, name="station.csv"):
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def read_pasted(path, times=1, **options):
    """Read a file with what its messages give to paste, so many times at most."""
    for _ in range(times):
        try:
            return read_weather(path, SITE, **options)
        except WeatherError as error:
            options["columns"] = filled_in(pasted(str(error)))
    return read_weather(path, SITE, **options)


def agrees(weather, names, near=0.06, height=2.0):
    """Tell whether the days between the first and the last are those that were written."""
    truth = {day.date: day for day in TRUTH[1:-1]}
    for name in names:
        true = [getattr(day, "rh" if name == "rh_mean" else name) for day in truth.values()]
        true = [float(wind_at_2m(speed, height=height)) for speed in true] if name == "wind" else true
        got = [float(weather.daily.loc[str(day), name]) for day in truth]
        assert got == pytest.approx(true, abs=near), name


DAYS = {
    "Urdu": daily(
        "تاریخ,کم سے کم درجہ حرارت (°C),زیادہ سے زیادہ درجہ حرارت (°C),بارش (ملی میٹر),اوسط نمی (%),ہوا کی رفتار (کلومیٹر فی گھنٹہ)",
        lambda d: [f"{d.date:%d-%m-%Y}", d.tmin, d.tmax, d.rain, d.rh, kmh(d.wind)],
    ),
    "Bengali": daily(
        "তারিখ,সর্বনিম্ন তাপমাত্রা (°সে),সর্বোচ্চ তাপমাত্রা (°সে),বৃষ্টিপাত (মিমি),আপেক্ষিক আর্দ্রতা (%),বাতাসের গতি (মি/সে)",
        lambda d: [d.date, d.tmin, d.tmax, d.rain, d.rh, d.wind],
    ),
    "Tamil": daily(
        "தேதி,குறைந்தபட்ச வெப்பநிலை (°C),அதிகபட்ச வெப்பநிலை (°C),மழை (மிமீ),ஈரப்பதம் (%),காற்றின் வேகம் (m/s)",
        lambda d: [f"{d.date:%d/%m/%Y}", d.tmin, d.tmax, d.rain, d.rh, d.wind],
    ),
    "Icelandic's own letters": daily(
        "Dagsetning;Lágmarkshiti (°C);Hámarkshiti (°C);Úrkoma (mm);Rakastig (%);Meðalvindhraði (m/s)",
        lambda d: [f"{d.date:%d.%m.%Y}", *map(comma, (d.tmin, d.tmax, d.rain, d.rh, d.wind))],
        separator=";",
    ),
    "Azerbaijani": daily(
        "Tarix;Minimum temperatur (°C);Maksimum temperatur (°C);Yağıntı (mm);Nisbi rütubət (%);Küləyin sürəti (m/s)",
        lambda d: [f"{d.date:%d.%m.%Y}", *map(comma, (d.tmin, d.tmax, d.rain, d.rh, d.wind))],
        separator=";",
    ),
    "Arabic words and digits": daily(
        "التاريخ;درجة الحرارة الصغرى (°م);درجة الحرارة العظمى (°م);كمية الأمطار (مم);الرطوبة النسبية (%);سرعة الرياح (كم/س)",
        lambda d: [str(cell).translate(ARABIC) for cell in (d.date, d.tmin, d.tmax, d.rain, d.rh, kmh(d.wind))],
        separator=";",
    ),
    "Arabic in its code page": daily(
        "التاريخ,الحرارة العظمى,الحرارة الصغرى,الهطول المطري,الرطوبة,سرعة الرياح km/h",
        lambda d: [f"{d.date:%d/%m/%Y}", d.tmax, d.tmin, d.rain, d.rh, kmh(d.wind)],
    ).encode("cp1256"),
    "Chinese, year, month and day apart, tenths": daily(
        "站号,年,月,日,日最高气温(0.1℃),日最低气温(0.1℃),平均相对湿度(1%),20-20时累计降水量(0.1mm),平均风速(0.1m/s)",
        lambda d: [
            *(59999, d.date.year, d.date.month, d.date.day, round(d.tmax * 10), round(d.tmin * 10), d.rh),
            *(round(d.rain * 10), round(d.wind * 10)),
        ],
    ).encode("gb18030"),
    "Bulgarian, a minimum that is no minutes": daily(
        "Дата;Т мин;Т макс;Валеж;Влажност;Вятър м/с",
        lambda d: [f"{d.date:%d.%m.%Y}", *map(comma, (d.tmin, d.tmax, d.rain, d.rh, d.wind))],
        separator=";",
    ),
    "Hebrew m/s": daily(
        'תאריך,טמפרטורת מינימום (°C),טמפרטורת מקסימום (°C),גשם (מ"מ),לחות יחסית (%),מהירות רוח (מ/ש)'.replace('"', ""),
        lambda d: [f"{d.date:%d/%m/%Y}", d.tmin, d.tmax, d.rain, d.rh, d.wind],
    ),
    "Romanian l/mp": daily(
        "Data,Temperatura minima [grade C],Temperatura maxima [grade C],Precipitatii [l/mp],Umezeala relativa [%],Viteza vantului [m/s]",
        lambda d: [f"{d.date:%d.%m.%Y}", d.tmin, d.tmax, d.rain, d.rh, d.wind],
    ),
    "rows in one cell": daily(
        '"Date,""Min (°C)"",""Max (°C)"",""Humidity (%)"",""Wind (km/h)"",""Rain (mm)"""',
        lambda d: [
            f'"{d.date:%d/%m/%Y},""{comma(d.tmin)}"",""{comma(d.tmax)}"",{d.rh},""{comma(kmh(d.wind))}"",""{comma(d.rain)}"""'
        ],
    ),
    "a grid's short names": daily(
        "yyyy-mm-dd,pr(mm),tmmx(K),tmmn(K),rmax(%),rmin(%),vs(m/s)",
        lambda d: [d.date, d.rain, round(d.tmax + 273.15, 2), round(d.tmin + 273.15, 2), d.rh + 5, d.rh - 5, d.wind],
    ),
    "a climate model's names and units": daily(
        "time,tasmin,tasmax,pr,sfcWind,hurs",
        lambda d: [
            *(f"{d.date} 12:00:00", round(d.tmin + 273.15, 2), round(d.tmax + 273.15, 2)),
            *(f"{d.rain / 86400:.6e}", d.wind, d.rh),
        ],
    ),
    "Thai words and years": daily(
        "วันที่,อุณหภูมิต่ำสุด (°C),อุณหภูมิสูงสุด (°C),ปริมาณฝน (มม.),ความชื้นเฉลี่ย (%),ความเร็วลม (m/s)",
        lambda d: [f"{d.date:%d/%m}/{d.date.year + 543}", d.tmin, d.tmax, d.rain, d.rh, d.wind],
    ),
    "Turkish m/sn": daily(
        "Tarih;Minimum Sıcaklık (°C);Maksimum Sıcaklık (°C);Yağış (mm);Ortalama Nem (%);Ortalama Rüzgar Hızı (m/sn)",
        lambda d: [f"{d.date:%d.%m.%Y}", *map(comma, (d.tmin, d.tmax, d.rain, d.rh, d.wind))],
        separator=";",
    ).encode("cp1254"),
    "German growers' short names": daily(
        "Datum;LT_max_2m [°C];LT_min_2m [°C];rF_mittel [%];NS_Summe [mm];Wind_mittel [m/s];GS_Summe [Wh/m²]",
        lambda d: [
            *(f"{d.date:%d.%m.%Y}", comma(d.tmax), comma(d.tmin), d.rh, comma(d.rain), comma(d.wind)),
            round(d.radiation / 0.0036),
        ],
        separator=";",
    ),
    "Chinese with units below": daily(
        "年 月 日 日最低气温 日最高气温 20-20时降水量 平均相对湿度 平均风速\n单位 - - 0.1℃ 0.1℃ 0.1mm 1% 0.1m/s",
        lambda d: [
            *(d.date.year, d.date.month, d.date.day, round(10 * d.tmin), round(10 * d.tmax)),
            *(round(10 * d.rain), d.rh, round(10 * d.wind)),
        ],
        separator=" ",
    ).encode("gb18030"),
    "the wettest ten minutes first": daily(
        "일시,최저기온(°C),최고기온(°C),10분 최다 강수량(mm),일강수량(mm),평균 상대습도(%),평균 풍속(m/s)",
        lambda d: [d.date, d.tmin, d.tmax, round(d.rain / 9, 1), d.rain, d.rh, d.wind],
    ),
    "short names with air and total": daily(
        "datetime,tamin_degC,tamax_degC,ptot_mm,RH (%),Wind (m/s)",
        lambda d: [d.date, d.tmin, d.tmax, d.rain, d.rh, d.wind],
    ),
    "months' rain beside the day's, and sums below": daily(
        "Datum;Tmin (°C);Tmax (°C);Monatsregen (mm);Tagesregen (mm);Luftfeuchte (%);Wind (m/s)",
        lambda d: [f"{d.date:%d.%m.%Y}", d.tmin, d.tmax, 10 * d.date.day, d.rain, d.rh, d.wind],
        separator=";",
        below="Ortalama;10.1;20.2;;30.0;50;2.0\n",
    ),
    "a data base's answer with a ruler and a count below": daily(
        "    day     | tmin | tmax | rain_mm | wind_mps | humidity\n------------+------+------+---------+----------+---------",
        lambda d: [f" {d.date}", d.tmin, d.tmax, d.rain, d.wind, d.rh],
        separator=" | ",
        below="(20 rows)\n",
    ),
    "Armenian": daily(
        "Ամսաթիվ,Առավելագույն ջերմաստիճան (°C),Նվազագույն ջերմաստիճան (°C),Տեղումներ (մմ),Քամու արագություն (մ/վ),Խոնավություն (%)",
        lambda d: [f"{d.date:%d.%m.%Y}", d.tmax, d.tmin, d.rain, d.wind, d.rh],
    ),
    "what fell up to now beside what fell": daily(
        "Date,Precipitation Accumulation (in),Precipitation Increment (in),Tmax (°C),Tmin (°C),Hu,Wind (m/s)",
        lambda d: [d.date, 40 + d.date.day / 10, inches(d.rain), d.tmax, d.tmin, d.rh, d.wind],
    ),
    "a row of units among those of places above": daily(
        "variable,a,b,c,d,e\nunit,°C,°C,mm,%,km/h\nlevel,2 m,2 m,sfc,2 m,10 m\nday,Tmin [2 m],Tmax [2 m],Rain,Humidity,Wind Speed",
        lambda d: [d.date, d.tmin, d.tmax, d.rain, d.rh, kmh(d.wind)],
    ),
    "a flux tower's days": daily(
        "TIMESTAMP,TA_F,TA_F_QC,TMIN_F,TMAX_F,P_F,P_F_QC,WS_F,RH",
        lambda d: [f"{d.date:%Y%m%d}", (d.tmin + d.tmax) / 2, 1, d.tmin, d.tmax, d.rain, 1, d.wind, d.rh],
    ),
}


@pytest.mark.parametrize("content", DAYS.values(), ids=DAYS.keys())
def test_days_from_further_away_are_read_once_what_is_suggested_is_pasted(tmp_path, content):
    agrees(read_pasted(written(tmp_path, content)), ("tmin", "tmax", "rain", "rh_mean", "wind"))


def deficit(celsius, rh):
    """Return a vapour pressure's deficit in hPa (FAO-56 eq 11)."""
    return round(10.0 * float(saturation_vapour_pressure(celsius)) * (1.0 - rh / 100.0), 4)


TOWER = {
    "filled": (
        "TIMESTAMP_START,TIMESTAMP_END,TA_F,TA_F_QC,VPD_F,VPD_F_QC,P_F,WS_F",
        lambda t, d, c: [
            f"{t:%Y%m%d%H%M}",
            f"{t:%Y%m%d}{t.hour:02d}59",
            c,
            0,
            deficit(c, d.rh),
            0,
            at_five(t, d),
            d.wind,
        ],
    ),
    "by its place": (
        "TIMESTAMP_START,TA_1_1_1,RH_1_1_1,P_1_1_1,WS_1_1_1,SW_OUT_1_1_1",
        lambda t, d, c: [f"{t:%Y%m%d%H%M}", c, d.rh, at_five(t, d), d.wind, 20],
    ),
    "by its end alone": (
        "TIMESTAMP_END,T_iDL_BOX1_0_1,TA_1_1_1,T_RAD_1_1_1,RH_1_1_1,P_1_1_1,WS_1_1_1",
        lambda t, d, c: [f"{t:%Y%m%d%H}59", c + 9, c, c - 9, d.rh, at_five(t, d), d.wind],
    ),
}


@pytest.mark.parametrize("style", TOWER.values(), ids=TOWER.keys())
def test_a_flux_towers_hours_are_read_at_once(tmp_path, style):
    """Their units are the network's; humidity is what the deficit leaves, and light that goes up is none that comes down."""
    weather = read_weather(written(tmp_path, hourly(*style)), SITE)
    agrees(weather, ("tmin", "tmax", "rain", "rh_mean", "wind"), near=0.15)
    assert weather.filled()["radiation"]


def test_an_f_for_filled_is_no_fahrenheit():
    """Beside a column of its quality; alone it is one."""
    names = headings_of(["TIMESTAMP", "TA_F", "TA_F_QC"], [], None)
    assert names[1].unit == "degC"
    assert heading_of(0, "TA_F").unit == "degF"
    names = headings_of(["DateTime", "Tair_f", "Tair_orig", "Rg_f", "ET_f"], [], None)
    assert [names[i].unit for i in range(5)] == [None, "degC", None, "W/m^2", None]


def test_a_models_hours_in_kelvin_name_both_temperatures_at_once(tmp_path):
    """ERA5's d2m beside t2m: without a humidity that tells."""

    def row(t, d, c):
        dew = 237.3 * math.log(0.6) / (17.27 - math.log(0.6)) + c * 0.9
        return [t, round(c + 273.15, 2), round(dew - 6 + 273.15, 2), f"{at_five(t, d) / 1000:.7f}", d.wind]

    path = written(tmp_path, hourly("valid_time,t2m,d2m,tp (m),u10 (m/s)", row))
    with pytest.raises(WeatherError, match='"d2m" is 279 on a middling record, which looks like K') as caught:
        read_weather(path, SITE)
    assert pasted(str(caught.value)) == {
        "dew_point": {"column": "d2m", "unit": "K"},
        "temperature": {"column": "t2m", "unit": "K"},
    }
    agrees(read_pasted(path, 2), ("tmin", "tmax", "rain"))


def test_a_dew_point_in_fahrenheit_is_told_without_a_humidity(tmp_path):
    """And what else may be in such units is asked for."""
    row = lambda t, d, c: [t, f(c), f(c - 9), inches(at_five(t, d)), d.wind]  # noqa: E731
    path = written(tmp_path, hourly("Time,Temp,Dew Point,Rain,Wind", row))
    with pytest.raises(WeatherError, match="which looks like °F") as caught:
        read_weather(path, SITE)
    asked = pasted(str(caught.value))
    assert {name: choice["unit"] for name, choice in asked.items()} == {
        "dew_point": "degF",
        "temperature": "degF",
        "rain": "?",
        "wind": "?",
    }
    columns = filled_in(asked, {"rain": "in", "wind": "m/s"})
    agrees(read_weather(path, SITE, columns=columns), ("tmin", "tmax", "rain", "wind"))


def test_an_hourly_models_rain_is_a_flux_over_each_record(tmp_path):
    row = lambda t, d, c: [t, c, f"{at_five(t, d) / 3600:.6e}"]  # noqa: E731
    weather = read_weather(written(tmp_path, hourly("time,temp (°C),precip (kg m-2 s-1)", row)), SITE)
    agrees(weather, ("rain",))


PARTS = {
    "hours": (
        hourly("Time,Temperature (°C),Humidity (%)", lambda t, d, c: [t, c, d.rh]),
        hourly("Time,Rain (mm)", lambda t, d, c: [t, at_five(t, d)]),
    ),
    "days": (
        daily("date,tmin,tmax,rh_mean", lambda d: [d.date, d.tmin, d.tmax, d.rh]),
        daily("date,rain", lambda d: [d.date, d.rain]),
    ),
}


@pytest.mark.parametrize("parts", PARTS.values(), ids=PARTS.keys())
def test_files_that_hold_a_quantity_each_are_joined(tmp_path, parts):
    """What no file has is told as of one file; a column that the user names may stand in any of them."""
    paths = [written(tmp_path, text, f"{i}.csv") for i, text in enumerate(parts)]
    agrees(read_weather(paths, SITE), ("tmin", "tmax", "rain", "rh_mean"))
    agrees(read_weather(paths[::-1], SITE), ("tmin", "tmax", "rain", "rh_mean"))
    rain = {"rain": {"column": "Rain (mm)" if "Rain (mm)" in parts[1] else "rain", "unit": "mm"}}
    agrees(read_weather(paths, SITE, columns=rain), ("tmin", "tmax", "rain"))
    with pytest.raises(WeatherError, match='"Wind"'):
        read_weather(paths, SITE, columns={"wind": "Wind"})
    with pytest.raises(WeatherError, match="air temperature"):
        read_weather([paths[1], written(tmp_path, parts[1], "copy.csv")], SITE)


def test_a_metric_a_row_is_a_value_a_row(tmp_path):
    """With seconds since 1970 beside it, as data bases write."""

    def row(t, d, c):
        seconds = int(np.datetime64(t, "s").astype(np.int64)) * 1000
        kinds = {"temperature": c, "humidity": d.rh, "rain": at_five(t, d)}
        return ["\n".join(f"{seconds},{name},{value}" for name, value in kinds.items())]

    agrees(read_weather(written(tmp_path, hourly("time,metric,value", row)), SITE), ("tmin", "tmax", "rain", "rh_mean"))


def test_light_that_comes_down_is_known_by_that():
    header = read_header(["date", "tmin", "tmax", "SWdown (W/m2)", "SWout (W/m2)"], {}, line=1)
    assert {name: choice.column for name, choice in header.suggested.items()} == {"radiation": "SWdown (W/m2)"}


@pytest.mark.parametrize("apart", [False, True], ids=["a moment in a cell", "a moment in five"])
def test_the_networks_hours_of_all_the_world_are_in_utc(tmp_path, apart):
    """Global Historical Climatology Network hourly, documentation: UTC, m/s; from memory."""

    def row(when, day, celsius):
        utc = when + dt.timedelta(hours=8)
        moment = [*utc.timetuple()[:5]] if apart else [utc.isoformat()]
        return ["X1", "Hill", *moment, celsius, "1", celsius - 9.0, day.wind, "1", at_five(when, day), day.rh]

    content = hourly(
        f"STATION|Station_name|{'Year|Month|Day|Hour|Minute' if apart else 'DATE'}|temperature|temperature_Quality_Code|"
        "dew_point_temperature|wind_speed|wind_speed_Quality_Code|precipitation|relative_humidity",
        row,
        separator="|",
    )
    there = SITE.model_copy(update={"longitude": -120.0, "timezone": "Etc/GMT+8"})
    weather = read_weather(written(tmp_path, content), there)
    agrees(weather, ("tmin", "tmax", "wind", "rain"), height=10.0)


def test_short_names_of_a_moments_parts_stand_beside_whole_ones(tmp_path):
    content = hourly(
        "Year,MM,DD,HH,Minute,Temperature,Wind Speed (m/s),Rain (mm)",
        lambda t, d, c: [*t.timetuple()[:5], c, d.wind, at_five(t, d)],
        above="Place\t: Hill\nNETWORK,12,-,-,40.5,-3.7,0,716\n",
    )
    agrees(read_weather(written(tmp_path, content), SITE), ("tmin", "tmax", "wind", "rain"))


@pytest.mark.parametrize("form", ["%Y-%m-%d (%a)", "%Y/%m/%d(火)", "%d.%m.%Y (%A)"])
def test_a_day_of_the_week_may_stand_in_brackets_behind_its_date(tmp_path, form):
    days = daily("date,tmin,tmax,rain", lambda d: [d.date.strftime(form), d.tmin, d.tmax, d.rain])
    agrees(read_weather(written(tmp_path, days), SITE), ("tmin", "tmax", "rain"))
    of_hours = hourly("Time,Temp (°C),Rain (mm)", lambda t, d, c: [t.strftime(f"{form} %H:%M"), c, at_five(t, d)])
    agrees(read_weather(written(tmp_path, of_hours), SITE), ("tmin", "tmax", "rain"))


def test_the_letters_of_weather_reports_are_known_beside_each_other(tmp_path):
    """FM 12 SYNOP: TT is the air's temperature, ff the wind; from memory."""
    content = hourly(
        "YYYYMMDDHH  TT   RF   FF   RR",
        lambda t, d, c: [f"{t:%Y%m%d%H}  {c}  {d.rh}  {d.wind}  {at_five(t, d)}"],
    )
    path = written(tmp_path, content)
    agrees(read_pasted(path), ("tmin", "tmax", "wind", "rain", "rh_mean"))
    assert heading_of(0, "TT").name == "tt"  # alone it may be anything


@pytest.mark.parametrize(
    ("words", "times"),
    [("when,degrees,metres a second,millimetres", 1), ("when it was,Fahrenheit,miles an hour,inches", 25.4)],
)
def test_a_line_of_words_under_the_header_is_not_the_header(tmp_path, words, times):
    """Its units hold."""
    inch = times > 1.0
    content = hourly(
        "timestamp,AirTemp,WindSpd,Rain",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}", f(c) if inch else c, d.wind, round(at_five(t, d) / times, 4)],
        below=words + "\n",
    )
    agrees(read_pasted(written(tmp_path, content)), ("tmin", "tmax", "wind", "rain"))


def test_the_tips_size_may_stand_in_brackets(tmp_path):
    """A tip's water, in the header, times the tips: by definition."""
    content = hourly(
        "Time,Temp (°C),Rain (0.2 mm tips)",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}", c, round(at_five(t, d) / 0.2)],
    )
    agrees(read_weather(written(tmp_path, content), SITE), ("rain",), near=0.11)


def test_irradiation_is_no_duration_in_slovenian():
    headings = headings_of(["obsevanje (W/m2)", "trajanje sončnega obsevanja (h)"], [], {})
    assert [heading.name for heading in headings.values()] == ["radiation", "sunshine"]


def test_a_clock_in_utc_can_be_stated(tmp_path):
    """A header that says nothing: the days are then those of the site's clock, ten hours ahead."""
    east = Site(latitude=38.0, longitude=150.0, elevation=100.0, timezone="Etc/GMT-10")

    def row(t, d, c):
        return [t - np.timedelta64(10, "h").item(), c, at_five(t, d)]

    path = written(tmp_path, hourly("valid,temp (°C),rain (mm)", row))
    weather = read_weather(path, east, columns={"date": {"column": "valid", "unit": "UTC"}})
    agrees(weather, ("tmin", "tmax", "rain"))
    assert 'unit = "UTC" } under [weather.columns]' in " ".join(c.sentence for c in read_weather(path, east).cautions)


def test_a_first_day_that_begins_at_noon_is_told_for_what_it_lacks(tmp_path, make_garden):
    """Its records stand in the file, and too few of them; the nearest whole day is named."""
    text = hourly("Time,Temp (°C),Rain (mm)", lambda t, d, c: [t, c, at_five(t, d)])
    lines = [line for line in text.splitlines(True) if not line.startswith(f"{TRUTH[0].date} 0")]
    garden = make_garden({"season": {"start": TRUTH[0].date, "end": TRUTH[-1].date}}, weather="".join(lines))
    with pytest.raises(
        ScenarioError, match="under 80 % of their records are left out: 2025-06-04; .*2025-06-05 is the nearest"
    ):
        replay(garden)


MONTHS = {
    "blanks": "   yyyy  mm   tmax    tmin    rain\n              degC    degC      mm\n",
    "commas": "year,month,tmax,tmin,rain\n",
}


@pytest.mark.parametrize("mark", MONTHS)
def test_a_year_and_a_months_number_are_told_to_be_months(tmp_path, mark):
    sign = "," if mark == "commas" else "   "
    rows = "".join(f"{sign.join(map(str, (2023 + i // 12, i % 12 + 1, 20.1, 9.5, 40.2)))}\n" for i in range(24))
    with pytest.raises(WeatherError, match="and the rows after it are months"):
        read_weather(written(tmp_path, MONTHS[mark] + rows), SITE)
    header = read_header(["year", "month", "day", "tmin", "tmax"], {}, line=1, date=0)
    assert not header.problems


def test_days_that_a_program_took_for_months_are_no_months(tmp_path):
    dates = [f"2025-{day:02d}-01" if day < 13 else f"2025-01-{day}" for day in range(1, 25)]
    with pytest.raises(WeatherError, match="in order with day and month exchanged"):
        read_weather(written(tmp_path, "date,tmin,tmax,rain\n" + "".join(f"{day},3,9,0\n" for day in dates)), SITE)


OWN = {"at every record": 1, "at every sixth hour": 6}


@pytest.mark.parametrize("step", OWN.values(), ids=OWN.keys())
def test_a_days_extremes_are_those_of_its_records(tmp_path, step):
    """A degree and more beside the means; without a unit of their own they have the mean's."""

    def row(t, d, c):
        return [t, f(c), f(c + 0.2 + step / 5), f(c - 0.2 - step / 5), d.rain if t.hour == 6 else 0.0]

    head, *lines = hourly("Time,Temp (°F),Hi Temp,Low Temp,Rain amount (mm)", row).splitlines(True)
    weather = read_weather(written(tmp_path, head + "".join(lines[::step])), SITE)
    plain = read_weather(
        written(tmp_path, (head + "".join(lines[::step])).replace("Hi Temp", "x").replace("Low Temp", "y")), SITE
    )
    assert (weather.daily["tmax"] - plain.daily["tmax"]).to_numpy() == pytest.approx(0.2 + step / 5, abs=0.06)
    assert (plain.daily["tmin"] - weather.daily["tmin"]).to_numpy() == pytest.approx(0.2 + step / 5, abs=0.06)
    assert 'tmax is taken from "Hi Temp", each record\'s own' in weather.notes


@pytest.mark.parametrize("step", OWN.values(), ids=OWN.keys())
def test_an_extreme_of_the_day_so_far_is_none_of_each_record(tmp_path, step):
    """At midnight it is still the evening's before; each hour's is left, and it is said."""

    def row(t, d, c):
        return [t, c, d.tmax, d.tmin, d.rain if t.hour == 6 else 0.0]

    head, *lines = hourly("Time,Temp (°C),Max Temp,Min Temp,Rain amount (mm)", row).splitlines(True)
    weather = read_weather(written(tmp_path, head + "".join(lines[::step])), SITE)
    assert weather.daily["tmax"].to_numpy()[1:-1] == pytest.approx([day.tmax for day in TRUTH[1:-1]], abs=3.0)
    assert (weather.daily["tmax"].to_numpy() < [day.tmax + 0.5 for day in TRUTH]).all()
    assert any('"Max Temp" is not used' in text for text in weather.notes)
