"""
Layouts of services and loggers: a value a row under codes, names over several lines, units before names.

Every number and place is invented (`styles`); the codes are those of services' own lists of parameters, from memory.
"""

from __future__ import annotations

import math

import pytest

from panbudget.errors import WeatherError
from panbudget.physics.air import wind_at_2m
from panbudget.weather import read_weather
from panbudget.weather.formats.readers import as_table
from panbudget.weather.text.heading import unit_of
from panbudget.weather.text.raw import Source
from tests.weather.styles import TRUTH, at_five, daily, f, hourly, inches
from tests.weather.test_far_styles import SITE, agrees, read_pasted, written
from tests.weather.test_styles import filled_in, pasted

ALL = ("tmin", "tmax", "rain", "rh_mean", "wind")
U10 = 1.0 / float(wind_at_2m(1.0, height=10.0))
AT = {"SRA": "06", "TMI": "20", "TMA": "20"}
UNIT = {
    "ta_": "ºC",
    "pp_": "L/m2",
    "hr_": "%",
    "vv_": "m/s",
    "air": "degC",
    "pre": "mm",
    "rel": "%",
    "(re": "%",
    "(wi": "m/s",
}
NAMES = ("tmin", "tmax", "rain", "rh", "wind")


def long(header, row, *elements, above=""):
    """Write a line a value."""
    lines = [
        row(day, element, getattr(day, name)) for element, name in zip(elements, NAMES, strict=True) for day in TRUTH
    ]
    return "\n".join([above + header, *lines]) + "\n"


def records(*names):
    """Write a line a record and quantity."""
    kinds = zip(
        names,
        (lambda t, d, c: c, lambda t, d, c: d.rh, lambda t, d, c: at_five(t, d), lambda t, d, c: d.wind),
        strict=True,
    )
    return [*kinds]


def stacked(header, line, *names):
    return hourly(
        header,
        lambda t, d, c: ["\n".join(line(t, i, name, of(t, d, c)) for i, (name, of) in enumerate(records(*names)))],
    )


LONG = {
    "a unit a row, functions for names": long(
        "sourceId,referenceTime,elementId,value,unit",
        lambda d, name, value: f"X:0,{d.date}T00:00:00.000Z,{name},{value},{UNIT[name[4:7]]}",
        *("min(air_temperature P1D)", "max(air_temperature P1D)", "sum(precipitation_amount P1D)"),
        *("mean(relative_humidity P1D)", "mean(wind_speed P1D)"),
    ),
    "days at times of their own": long(
        "STATION,ELEMENT,DT,VALUE",
        lambda d, name, value: f"X,{name},{d.date}T{AT.get(name, '00')}:00:00Z,{value}",
        *("TMI", "TMA", "SRA", "H", "F"),
    ),
    "labels": long(
        "Codigo,IdParametro,Etiqueta,Fecha,Valor",
        lambda d, name, value: f"9,X,{name},{d.date} 00:00,{value}",
        *("TMN_CON", "TMX_CON", "PTPM_CON", "HRMEDIA_CON", "viento (m/s)"),
    ),
    "seconds that differ": stacked(
        "entity_id,state,last_changed",
        lambda t, i, name, value: f"sensor.{name},{value},{t:%Y-%m-%dT%H:%M}:0{i}.123Z",
        *("outdoor_temperature", "outdoor_humidity", "rain_interval", "wind_speed"),
    ),
    "a time series' data base": stacked(
        ",result,table,_start,_stop,_time,_value,_field,_measurement",
        lambda t, i, name, value: (
            f",,{i},2025-06-01T00:00:00Z,2025-07-01T00:00:00Z,{t:%Y-%m-%dT%H:%M:%SZ},{value},{name},weather"
        ),
        *("temperature", "humidity", "rain_mm", "wind_ms"),
    ),
    "codes of a service with their height": long(
        "Data;Código parámetro;Valor;Unidades",
        lambda d, name, value: f"{d.date:%d/%m/%Y};{name};{value};{UNIT[name[:3].lower()]}",
        *("TA_MIN_1.5m", "TA_MAX_1.5m", "PP_SUM_1.5m", "HR_AVG_1.5m", "VV_AVG_2m"),
    ),
    "German words": stacked(
        "Zeitpunkt;Messgröße;Messwert",
        lambda t, i, name, value: f"{t:%d.%m.%Y %H:%M};{name};{value}",
        *("Lufttemperatur (°C)", "Luftfeuchte (%)", "Niederschlag (mm)", "Windgeschwindigkeit (m/s)"),
    ),
    "Danish words": stacked(
        "tidspunkt;parameter;værdi",
        lambda t, i, name, value: f"{t:%Y-%m-%dT%H:%MZ};{name};{value}",
        *("middeltemperatur (°C)", "relativ luftfugtighed (%)", "nedbør (mm)", "middelvindhastighed (m/s)"),
    ),
    "numbers for quantities of a service": stacked(
        "CODI_VARIABLE,DATA_LECTURA,VALOR_LECTURA",
        lambda t, i, name, value: f"{name},{t},{value / U10 ** -(i == 3)}",
        *("32", "33", "35", "30"),
    ),
    "topics and payloads": stacked(
        "ts,topic,payload",
        lambda t, i, name, value: f"{t:%Y-%m-%dT%H:%M:%SZ},garden/{name},{value}",
        *("air/temperature_c", "air/humidity_pct", "rain/amount_mm", "wind/speed_ms"),
    ),
    "sensors at minutes of their own": stacked(
        "time;device;value;unit",
        lambda t, i, name, value: f"{t:%Y-%m-%dT%H}:{5 + 9 * i:02d}:00Z;{name.replace('|', f';{value};')}",
        *("Thermometer|°C", "Hygrometer|%", "Rain gauge|mm", "Anemometer|m/s"),
    ),
    "a row a report, a column a sensor": stacked(
        "updated,temperature_c,humidity_pct,rain_mm,wind_ms",
        lambda t, i, name, value: f"{t:%Y-%m-%d %H}:{5 + 9 * i:02d}:00+00:00{',' * (i + 1)}{value}{',' * (3 - i)}",
        *NAMES[:4],
    ),
    "hours from and to": stacked(
        "stationId,parameterId,from,to,value",
        lambda t, i, name, value: f"9,{name},{t:%Y-%m-%dT%H:00:00Z},{t:%Y-%m-%dT%H:59:59Z},{value}",
        *("mean_temp", "mean_relative_hum", "acc_precip", "mean_wind_speed"),
    ),
}


@pytest.mark.parametrize("content", LONG.values(), ids=LONG.keys())
def test_a_value_a_row_is_read_under_services_names(tmp_path, content):
    agrees(read_pasted(written(tmp_path, content), 2), ALL, near=0.15)


def test_several_stations_with_a_value_a_row_are_named(tmp_path):
    rows = (f"{of},{day.date},{name},20" for of in "AB" for day in TRUTH for name in ("TMAX", "TMIN", "RAIN"))
    with pytest.raises(WeatherError, match=r"holds 2 stations \(A, B\)"):
        read_weather(written(tmp_path, "\n".join(["station,date,element,value", *rows]) + "\n"), SITE)


def test_a_number_for_a_quantity_is_shown_with_its_columns_name(tmp_path):
    content = stacked(
        "CODE_VARIABLE,DATE,VALUE", lambda t, i, name, value: f"{name},{t},{value}", "30", "32", "33", "35"
    )
    with pytest.raises(WeatherError, match="the file has CODE_VARIABLE 30, CODE_VARIABLE 32"):
        read_weather(written(tmp_path, content), SITE)


TABLES = {
    "names over three lines": daily(
        "mm/dd/yyyy,Year,mph,Deg,Deg. F,Deg. F,Percent,inches",
        lambda d: [
            f"{d.date:%m/%d/%Y}",
            2025,
            round(d.wind * 2.23694, 2),
            200,
            f(d.tmax),
            f(d.tmin),
            d.rh,
            inches(d.rain),
        ],
        above="Date,Year,Wind,Wind,Air Temperature,,Relative Humidity,Total\n,,Ave.,V. Dir.,Max.,Min.,Ave.,Precip.\n",
    ),
    "limits between names and units": hourly(
        "Signal names,AirTemp,RelHum,Rain,WindSpd\nMinimum value,-5,10,0,0\nMaximum value,40,100,30,20\nUnit,deg C,%,mm,m/s",
        lambda t, d, c: [t, c, d.rh, at_five(t, d), d.wind],
        above="LOGGER\n",
    ),
    "units before names, a share for per cent": hourly(
        "Time,mm Precipitation,m/s Wind Speed,°C Air Temperature,RH Relative Humidity",
        lambda t, d, c: [t, at_five(t, d), d.wind, c, d.rh / 100],
    ),
    "a side for the wind beside its speed": hourly(
        "Time,Temperature,Humidity,Wind,Speed,Precip",
        lambda t, d, c: [t, f"{c} °C", f"{d.rh} %", "WSW", f"{d.wind} m/s", f"{at_five(t, d)} mm"],
    ),
    "names of units in brackets": hourly(
        "air_temperature,date,time,RH,wind w_rot,wind_speed,u_rot,v_rot,rain\n"
        "[C],[yyyy-mm-dd],[HH:MM],[%],[m+1s-1],[m+1s-1],[m+1s-1],[m+1s-1],[mm]",
        lambda t, d, c: [c, t.date(), f"{t:%H:%M}", d.rh, 0, d.wind, -1, 0, at_five(t, d)],
    ),
    "a word for the date among the units, names above it": daily(
        "FECHA        (MM)  (%)  (°C)  (°C)  (m/s)",
        lambda d: [f"{d.date:%d/%m/%Y} {d.rain:<7} {d.rh:<4} {d.tmax:<5} {d.tmin:<5} {d.wind}"],
        above="STATION : 9\n--------\n           PRECIP  RH  TMAX   TMIN   WIND\n",
    ),
    "names that only capitals part": hourly(
        "#YY  MM DD hh mm WDIR WSPD GST  ATMP  RH  RAIN\n#yr  mo dy hr mn degT m/s  m/s  degC  %   mm",
        lambda t, d, c: [f"{t:%Y %m %d %H %M} 200 {d.wind} 9.0 {c} {d.rh} {at_five(t, d)}"],
    ),
    "another mark between names than between figures": daily(
        "Date\tTmin (°C)\tTmax (°C)\tRain (mm)\tRH (%)\tWind (m/s)",
        lambda d: [d.date, d.tmin, d.tmax, d.rain, d.rh, d.wind],
    ),
    "a line of units of their own": daily(
        "Date,Low,High,Precip,RH,Wind Speed",
        lambda d: [d.date, f(d.tmin), f(d.tmax), inches(d.rain), d.rh, round(d.wind * 2.23694, 2)],
        above="Source,Low Units,High Units,Precip Units,RH Units,Wind Speed Units\nX,F,F,in,%,mph\n",
    ),
    "Albanian words": daily(
        "Data,Temperatura minimale (°C),Temperatura maksimale (°C),Reshjet (mm),Lagështia (%),Shpejtësia e erës (m/s)",
        lambda d: [d.date, d.tmin, d.tmax, d.rain, d.rh, d.wind],
    ),
    "Vietnamese words": daily(
        "Ngày;Nhiệt độ thấp nhất (°C);Nhiệt độ cao nhất (°C);Lượng mưa (mm);Độ ẩm trung bình (%);Tốc độ gió (m/s)",
        lambda d: [d.date, d.tmin, d.tmax, d.rain, d.rh, d.wind],
        separator=";",
    ),
    "Slovak words in their code page": hourly(
        "Dátum;Teplota (°C);Vlhkosť (%);Zrážky (mm);Rýchlosť vetra (m/s)",
        lambda t, d, c: [t, c, d.rh, at_five(t, d), d.wind],
        separator=";",
    ).encode("cp1250"),
    "Bulgarian words in their code page": daily(
        "Дата;Мин. температура (°C);Макс. температура (°C);Валежи (мм);Относителна влажност (%);Скорост на вятъра (м/с)",
        lambda d: [d.date, d.tmin, d.tmax, d.rain, d.rh, d.wind],
        separator=";",
    ).encode("cp1251"),
    "codes of a service": daily(
        "Data,TN,TX,PPT,HRM,VVM10,VVX10", lambda d: [d.date, d.tmin, d.tmax, d.rain, d.rh, U10 * d.wind, 9]
    ),
    "two stations side by side": daily(
        "date,HERE_tmin_C,HERE_tmax_C,HERE_rain_mm,HERE_rh_%,HERE_wind_ms,THERE_tmin_C,THERE_tmax_C",
        lambda d: [d.date, d.tmin, d.tmax, d.rain, d.rh, d.wind, 1, 2],
    ),
    "Finnish words for outdoors": hourly(
        "Aika,Ulkolämpötila (°C),Ulkokosteus (%),Sade (mm),Tuulen nopeus (m/s)",
        lambda t, d, c: [t, c, d.rh, at_five(t, d), d.wind],
    ),
    "limits between units and rows": hourly(
        "Channel,Temp,RH,Wind,Rain\nUnits,°C,%,m/s,mm\nMaximum,40,100,12,8",
        lambda t, d, c: [t, c, d.rh, d.wind, at_five(t, d)],
    ),
    "fields of a station in snow, in UTC": hourly(
        "fields = timestamp TA RH VW PSUM ISWR\n[DATA]",
        lambda t, d, c: [f"{t:%Y-%m-%dT%H:%M} {c} {d.rh} {d.wind} {at_five(t, d)} 200"],
        above="SNOW 1.1 ASCII\n[HEADER]\ntz = 0\n",
    ),
    "Icelandic words": daily(
        "dags;lágmarkshiti (°C);hámarkshiti (°C);úrkoma (mm);raki (%);vindhraði (m/s)",
        lambda d: [d.date, d.tmin, d.tmax, d.rain, d.rh, d.wind],
        separator=";",
    ),
    "Swedish words, indoors before outdoors": hourly(
        "Datum;Temperatur inomhus (°C);Temperatur (°C);Luftfuktighet inomhus (%);Luftfuktighet (%);Regn (mm);Vindhastighet (m/s)",
        lambda t, d, c: [t, 21.5, c, 45, d.rh, at_five(t, d), d.wind],
        separator=";",
    ),
    "a pattern of moments before the units": hourly(
        "FORMATTED DATE_TIME,Temperature,Relative Humidity,Wind Speed,Rain\nyyyy-MM-dd hh:mm:ss a,°C,%,m/s,mm",
        lambda t, d, c: [f"{t:%Y-%m-%d %I:%M:%S %p}", c, d.rh, d.wind, at_five(t, d)],
    ),
    "lines of a station wider than its table": hourly(
        "Time;Temperature (°C);Humidity (%);Rain (mm);Wind (m/s)",
        lambda t, d, c: [t, c, d.rh, at_five(t, d), d.wind],
        above="Name;Long;Lat;Module;Type;Kind\nHome;1;2;Out;X;Y\n",
        separator=";",
    ),
    "columns as wide as dashes below their names": daily(
        "DAY         TMAX  TMIN  RAIN  RH    WIND  NAME\n----------  ----- ----- ----- ----- ----- ------------",
        lambda d: [f"{d.date}  {d.tmax:<5} {d.tmin:<5} {d.rain:<5} {d.rh:<5} {d.wind:<5} ABOVE TOWN"],
    ),
    "forcing of models of cities": hourly(
        "%iy id it imin qf U RH Tair rain kdown xsmd",
        lambda t, d, c: [f"{t:%Y} {t:%j} {t.hour} 0 -999 {d.wind} {d.rh} {c} {at_five(t, d)} 200 -999"],
    ),
    "blocks of a month, with words for month and year": "Month,June,Year,2025\nDay,Tmin (°C),Tmax (°C),Rain (mm),RH (%),Wind (m/s)\n"
    + "".join(f"{d.date.day},{d.tmin},{d.tmax},{d.rain},{d.rh},{d.wind}\n" for d in TRUTH),
    "a degree alone, and days with their time of reading": daily(
        "Date,Tmin,Tmax,Rain (mm),RH (%),Wind (m/s)",
        lambda d: [f"{d.date:%Y%m%d}:0900", f"{d.tmin}°", f"{d.tmax}°", d.rain, d.rh, d.wind],
    ),
    "a printed month that begins on some day": "MONTHLY SUMMARY for Jun. 2025\n\nTEMPERATURE (C), HUMIDITY (%), RAIN (mm), "
    "WIND SPEED (m/s)\n\n"
    "    TEMP  TEMP  HUMIDITY        WIND\nDAY HIGH  LOW   MEAN      RAIN  SPEED\n----------------------------\n"
    + "".join(f" {d.date.day:<3}{d.tmax:<6}{d.tmin:<6}{d.rh:<10}{d.rain:<6}{d.wind}\n" for d in TRUTH),
}


@pytest.mark.parametrize("content", TABLES.values(), ids=TABLES.keys())
def test_names_and_units_of_several_lines_are_put_together(tmp_path, content):
    agrees(read_pasted(written(tmp_path, content), 2), ALL, near=0.15)


@pytest.mark.parametrize("most", [1.05, 1.06])
def test_a_humidity_by_the_hour_that_is_a_share_is_asked_about(tmp_path, most):
    """In per cent its vapour pressure would be next to nothing; the bound is that of days."""
    content = hourly(
        "Time,Temperature (°C),Humidity,Rain (mm)", lambda t, d, c: [t, c, most if t.hour else 0.6, at_five(t, d)]
    )
    path = written(tmp_path, content)
    if most > 1.05:
        read_weather(path, SITE)
        return
    with pytest.raises(WeatherError, match=r'"Humidity" is at most 1.05 %.*looks like a fraction') as refusal:
        read_weather(path, SITE)
    assert 'humidity = { column = "Humidity", unit = "fraction" }' in str(refusal.value)


def test_a_word_before_a_name_is_no_unit():
    assert [unit_of(text) for text in ("m/s Wind", "mm Rain", "Wind m/s", "Min Temp", "In Temp")] == [
        "m/s",
        "mm",
        "m/s",
        None,
        None,
    ]


def test_a_table_of_other_things_is_refused_in_one_line(tmp_path):
    with pytest.raises(WeatherError, match="none of its columns is known as weather: day, price, colour; ") as refusal:
        read_weather(written(tmp_path, "day,price,colour\n1,2.5,red\n2,2.6\n"), SITE)
    assert len(refusal.value.problems) == 1


def test_a_figure_whose_quantity_stands_above_the_table_alone_has_that_name(tmp_path):
    """A file a quantity; what is pasted tells them apart."""
    paths = [
        written(
            tmp_path,
            daily(
                "年/Year,月/Month,日/Day,數值/Value",
                lambda d, name=name: [*d.date.timetuple()[:3], getattr(d, name)],
                above=f'"{title}"\nStation: X\n',
            ),
            f"{name}.csv",
        )
        for name, title in (
            ("tmax", "Daily Maximum Temperature (°C) - X"),
            ("tmin", "Daily Minimum Temperature (°C) - X"),
            ("rain", "Daily Rainfall (mm) - X"),
        )
    ]
    with pytest.raises(WeatherError) as refusal:
        read_weather(paths, SITE)
    agrees(read_weather(paths, SITE, columns=filled_in(pasted(str(refusal.value)))), NAMES[:3])


@pytest.mark.parametrize(
    ("header", "rain", "stated"),
    [
        ("rain (mm/h)", 1.0, {"column": "rain (mm/h)", "unit": "mm/h"}),
        ("rain (in/h)", 25.4, {"column": "rain (in/h)", "unit": "in/h"}),
        ("rain (mm/h)", 1.0, {"column": "rain (mm/h)", "unit": "mm"}),
        ("Rain_tips (0.2 mm)", 0.2, {}),
        ("Rain tips", 0.25, {"column": "Rain tips", "unit": "0.25 mm"}),
    ],
)
def test_rates_and_tips_are_rain_once_it_is_said_of_what(tmp_path, header, rain, stated):
    """A tip is what a tipping bucket holds (WMO-No. 8, Guide to Instruments and Methods of Observation, from memory)."""
    path = written(
        tmp_path,
        hourly(
            f"time,temp (°C),rh (%),wind (m/s),{header}",
            lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}", c, d.rh, d.wind, round(at_five(t, d) / rain, 4)],
        ),
    )
    if stated:
        with pytest.raises(WeatherError) as caught:
            read_weather(path, SITE)
        asked = stated["unit"] if "/h" in stated["unit"] else "mm/h" if "/h" in header else "?"
        assert f'rain = {{ column = "{header}", unit = "{asked}" }}' in str(caught.value)
    agrees(read_weather(path, SITE, columns={"interval_rain": stated} if stated else {}), ("rain",))


def test_a_rate_is_over_its_own_record(tmp_path):
    rows = (
        f"2025-06-{day:02} {n // 4:02}:{n % 4 * 15:02},{15 + day % 3 + n / 9:.1f},{80 - n / 3:.0f},{2 + n % 7 / 4},"
        f"{0.8 * (day == 3 and n < 20)}"
        for day in range(1, 9)
        for n in range(96)
    )
    path = written(tmp_path, "\n".join(["time,temp (°C),rh (%),wind (m/s),rain (mm/h)", *rows]) + "\n")
    stated = {"interval_rain": {"column": "rain (mm/h)", "unit": "mm/h"}}
    assert read_weather(path, SITE, columns=stated).daily.loc["2025-06-03", "rain"] == pytest.approx(4.0)


@pytest.mark.parametrize("rain", ["rain_total", "rain_amount"])
def test_sensors_that_report_when_they_change_keep_their_value_until_then(tmp_path, rain):
    """Each at seconds of its own and as often as it likes; the gauge where it rains alone."""
    rows, total = [f"{TRUTH[0].date}T00:00:30Z,{rain}_mm,0.0"], 0.0
    for day in TRUTH:
        for minute in range(0, 1440, 4):
            c = day.tmin + (day.tmax - day.tmin) * (1 - math.cos(2 * math.pi * (minute - 180) / 1440)) / 2
            rows.append(f"{day.date}T{minute // 60:02d}:{minute % 60:02d}:13Z,out_temperature,{c:.2f}")
            if minute % 12 == 0:
                rows.append(f"{day.date}T{minute // 60:02d}:{minute % 60 + 1:02d}:41Z,out_humidity,{day.rh}")
            if minute % 28 == 0:
                rows.append(f"{day.date}T{minute // 60:02d}:{minute % 60 + 2:02d}:07Z,wind_speed_ms,{day.wind}")
        for tip in range(2) if day.rain else ():
            total = round(total + day.rain / 2, 2)
            said = total if rain == "rain_total" else day.rain / 2
            rows.append(f"{day.date}T05:0{1 + tip}:30Z,{rain}_mm,{said}")
    path = written(tmp_path, "\n".join(["last_changed,entity_id,state", *rows]) + "\n")
    agrees(read_pasted(path, 2, missing_rain="zero"), ALL, near=0.15)
    assert "each sensor's last one kept for 6 h" in as_table(Source(path.read_text(), "x.csv", "", "utf-8")).taken_from


@pytest.mark.parametrize("amounts", [3, 4])
def test_a_file_with_a_record_a_tip_is_summed_up_and_dry_between(tmp_path, amounts):
    """Tips of a gauge have one amount, or two or three where it was changed; its silence is dry weather."""
    sizes = [0.2, 0.25, 0.5, 0.3]
    tips = [
        (day, i, size)
        for n, day in enumerate(TRUTH)
        for i, size in enumerate([sizes[n % amounts]] * round(day.rain / sizes[n % amounts]))
    ]
    air = hourly("Time,Temp (°C),RH (%),Wind (m/s)", lambda t, d, c: [t, c, d.rh, d.wind])
    rows = [f"{day.date} 05:{i // 60:02d}:{i % 60:02d},{size}" for day, i, size in tips]
    paths = [written(tmp_path, air), written(tmp_path, "\n".join(["Time,Rain (mm)", *rows]) + "\n", "tips.csv")]
    if amounts > 3:
        with pytest.raises(WeatherError, match="interval_rain"):
            read_weather(paths, SITE)
        return
    agrees(read_weather(paths, SITE, missing_rain="zero"), ("tmin", "tmax", "rain"), near=0.26)


@pytest.mark.parametrize("hours", [(6, 12), (12, 12), (6, 24)])
def test_rain_over_hours_that_a_column_says_is_not_counted_twice(tmp_path, hours):
    """As stations report it: over six hours at noon and midnight, over twelve or more at six and eighteen."""
    short, long_ = hours

    def row(t, d, c):
        late = t.hour in (0, 6) and t.date() > TRUTH[0].date  # it fell at eleven in the evening
        before = TRUTH[(t.date() - TRUTH[0].date).days - 1].rain if late or (long_ == 24 and t.hour == 18) else 0.0
        over = {0: short, 12: short, 6: long_, 18: 12 if long_ == 12 else long_}.get(t.hour, "")
        before = 0.0 if t.date() == TRUTH[0].date else before
        return [t, c, d.rh, d.wind, before if over != "" else "", over]

    content = hourly("Time,T (°C),U (%),Ff (m/s),RRR,tR", row)
    agrees(read_weather(written(tmp_path, content), SITE, missing_rain="zero"), ("tmin", "tmax", "rain"), near=0.15)


def test_rain_over_each_records_own_hour_is_the_records_own(tmp_path):
    content = hourly("Time,T (°C),U (%),Ff (m/s),RRR,tR", lambda t, d, c: [t, c, d.rh, d.wind, at_five(t, d), 1])
    agrees(read_weather(written(tmp_path, content), SITE), ("tmin", "tmax", "rain"))
