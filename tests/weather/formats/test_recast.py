"""
Tables of other shapes: what can't be turned is refused by its shape, and what is one already stays as it is.
"""

from __future__ import annotations

import datetime as dt

import pytest

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.formats.readers import as_table
from panbudget.weather.text.raw import Source
from tests.weather.sites import Site

SITE = Site(latitude=38.0, longitude=0.0, elevation=100.0)
DAYS = ",".join(map(str, range(1, 32)))
VALUES = ",".join(["20.1"] * 31)


def refusal(tmp_path, content):
    path = tmp_path / "station.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(WeatherError) as caught:
        read_weather(path, SITE)
    return str(caught.value)


@pytest.mark.parametrize(
    "content",
    [
        f"Year,Month,{DAYS}\n2025,5,{VALUES}\n2025,6,{VALUES}\n",
        "Rain 2025 (mm)\nDay;May;June;July\n" + "".join(f"{day};1.0;2.0;3.0\n" for day in range(1, 32)),
    ],
    ids=["days across", "months side by side"],
)
def test_days_across_of_one_quantity_are_refused_as_that(tmp_path, content):
    """Nothing says what they are of, and there is one of it only."""
    message = refusal(tmp_path, content)
    assert "stand across" in message
    assert "a row a day with all quantities" in message


def test_hours_across_under_a_title_are_of_what_it_names():
    text = f"Air temperature (°C)\nDate,{','.join(f'{hour:02d}:00' for hour in range(24))}\n"
    text += "".join(f"2025-06-0{day},{','.join(map(str, range(24)))}\n" for day in (1, 2, 3))
    turned = as_table(Source(text, "x.csv", "", "utf-8")).lines
    assert turned[:3] == ["time\tAir temperature (°C)", "2025-06-01 00:00\t0", "2025-06-01 01:00\t1"]


def test_hours_that_are_numbered_without_dates_are_refused_as_that(tmp_path):
    message = refusal(tmp_path, "HOY,TAmb,RHum\n" + "".join(f"{hour},20,50\n" for hour in range(1, 50)))
    assert '"HOY" has times of day or numbers of hours, as 1, and no column has their dates' in message


@pytest.mark.parametrize("name", ["FECHA", "Дата", "Dátum", "Päivämäärä (pvm)"])
def test_days_in_a_form_that_is_none_are_told_by_their_column(tmp_path, name):
    message = refusal(
        tmp_path, f"{name},tmin,tmax,rain\n" + "".join(f"{day:02d}062025x,10,20,0\n" for day in range(1, 9))
    )
    assert f'{name} = "01062025x" is no date or time that is known' in message


def test_columns_of_one_name_are_told_by_numbers_where_they_must_be_named(tmp_path):
    message = refusal(tmp_path, "Date,Temp,Temp,Rain\n" + "".join(f"2025-06-0{day},20,10,0\n" for day in range(1, 9)))
    assert "the file has Temp #1, Temp #2" in message


def test_twenty_seven_numbered_columns_are_no_month(tmp_path):
    """The shortest month has twenty-eight."""
    few = ",".join(map(str, range(1, 28)))
    content = f"Year,Month,{few}\n" + f"2025,5,{','.join(['20.1'] * 27)}\n" * 3
    assert "stand across" not in refusal(tmp_path, content)
    content = f"Year,Month,{few},28\n" + f"2025,2,{','.join(['20.1'] * 28)}\n" * 3
    assert "stand across" in refusal(tmp_path, content)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (
            f"ELEMENT,{DAYS},YEAR,MONTH\n"
            + "".join(f"{of},{VALUES},2025,7\n" for of in ("TMAX", "TMIN"))
            + f"RAIN,{VALUES}\n",
            "rain",
        ),
        ("year,doy,tmin,tmax,rain\n" + "20²5,1,10,20,0\n" * 3, "20²5"),
    ],
    ids=["a row of a month without its year", "a digit that is no number"],
)
def test_what_can_not_be_dated_is_refused_in_words(tmp_path, content, said):
    assert said in refusal(tmp_path, content)


def test_several_stations_of_a_table_are_named(tmp_path):
    """Not each of their days as one that stands twice."""
    rows = "".join(f"{name},2025-06-{day:02d},10,20,0\n" for name in ("Hill", "Dale") for day in range(1, 25))
    message = refusal(tmp_path, "Station,Date,tmin,tmax,rain\n" + rows)
    assert "holds 2 stations (Hill, Dale)" in message
    message = refusal(tmp_path, "Station,Date,tmin (°F),tmax (°F),wind,rain\n" + rows.replace("20,0", "70,5,0"))
    assert "holds 2 stations (Hill, Dale)" in message
    assert "mph" in message  # with what else is to be mended
    rows = "".join(f"{i},{row}\n" for i, row in enumerate(rows.splitlines(), 1))
    assert "holds 2 stations (Hill, Dale)" in refusal(
        tmp_path, "ID,Reg,Date,tmin,tmax,rain\n" + rows
    )  # not each row one


def test_codes_are_said_to_be_codes(tmp_path):
    """Where no line explains them."""
    rows = "".join(f"2025-06-{day:02d},10,20,0\n" for day in range(1, 25))
    assert "names such as p1 are codes" in refusal(tmp_path, "date,p1,p2,p3\n" + rows)
    assert "are codes" not in refusal(tmp_path, "date,here,other,p3\n" + rows)
    assert "each of these is a station" in refusal(tmp_path, "date,here,other,there\n" + rows)
    assert "each of these is a station" not in refusal(tmp_path, "date,temperature,other,there\n" + rows)


def test_a_mark_below_nothing_may_be_named_as_missing_or_be_a_trace(tmp_path):
    """-1 is a trace to some services, and missing to others."""
    rows = "".join(f"2025-06-{day:02d},10,20,{-1 if day % 2 else 3}\n" for day in range(1, 25))
    assert 'missing = ["-1 mm"] and missing_rain = "zero"' in refusal(tmp_path, "date,tmin,tmax,rain\n" + rows)


@pytest.mark.parametrize(
    "text",
    [
        "date,tmin,tmax,rain\n" + "2025-06-01,1,2,3\n" * 3,
        "a title with words and no table\nand another\n",
        "ID,DATE,ELEMENT,VALUE\nXX000000001,20250601,TMAX,200\nXX000000001,20250601,TMIN,100\n",
    ],
    ids=["a table", "no table", "an archive's rows of values"],
)
def test_what_is_a_table_or_none_stays_as_it_is(text):
    """An archive's rows of values are for its own reader, whatever its columns are called."""
    source = Source(text, "x.csv", "", "utf-8")
    assert as_table(source) is source


def test_a_unit_doubted_of_records_is_named_by_the_quantity_of_records(tmp_path):
    """With what is named already, so that the block stands in place of the table."""
    rows = "".join(
        f"2025-06-{day:02d} {hour:02d}:00,{70 + hour % 12 * 2},0,{2.0}\n" for day in range(1, 25) for hour in range(24)
    )
    path = tmp_path / "hours.csv"
    path.write_text("Time,Sensor A,Rain (mm),Wind (m/s)\n" + rows, encoding="utf-8")
    with pytest.raises(WeatherError) as caught:
        read_weather(path, SITE, columns={"temperature": {"column": "Sensor A"}, "rain": {"column": "Rain (mm)"}})
    block = str(caught.value).split("[weather.columns]\n")[-1]
    assert block.splitlines() == [
        'temperature = { column = "Sensor A", unit = "degF" }',
        'rain = { column = "Rain (mm)" }',
    ]


def test_hours_across_of_several_quantities_are_turned_and_of_one_refused(tmp_path):
    """Day 1 of 24: 0 to 23 °C, 50 % all day; one shower of 2 mm at 7 h."""
    header = ",".join(f"{hour:02d}:00" for hour in range(24))
    kinds = {"Temperature (°C)": "{hour}", "Humidity (%)": "50", "Rain (mm)": "{wet}"}
    rows = "".join(
        f"2025-06-{day:02d},{kind},{','.join(text.format(hour=hour, wet=2 * (hour == 7)) for hour in range(24))}\n"
        for day in range(1, 25)
        for kind, text in kinds.items()
    )
    file = tmp_path / "station.csv"
    file.write_text(f"Date,What,{header}\n{rows}", encoding="utf-8")
    daily = read_weather(file, SITE).daily
    assert (daily["tmin"].iloc[3], daily["tmax"].iloc[3], daily["rain"].iloc[3]) == (0.0, 23.0, 2.0)
    alone = "".join(f"2025-06-{day:02d},{','.join(map(str, range(24)))}\n" for day in range(1, 25))
    assert "hours of a day stand across" in refusal(tmp_path, f"Date,{header}\n{alone}")


def test_sums_and_means_among_the_rows_are_passed_over_and_said(tmp_path):
    days = [f"2025-06-{day:02d},10,20,1\n" for day in range(1, 25)]
    rows = "".join([*days[:10], "Mean,10,20,\n", "Total,,,10\n", *days[10:], "Total,,,24\n"])
    file = tmp_path / "station.csv"
    file.write_text("date,tmin,tmax,rain\n" + rows, encoding="utf-8")
    found = read_weather(file, SITE)
    assert found.daily["rain"].tolist() == [1.0] * 24
    assert any("line 12 (and 1 more line) among the rows sums others up" in note for note in found.notes)


def test_headers_of_two_services_and_rain_below_nothing_are_told_in_one_message(tmp_path):
    """Mean humidity by the services' codes, rain by its name in climate models, and -1 on every second day."""
    rows = "".join(f"2025-06-{day:02d},10,20,{-1 if day % 2 else 3},60\n" for day in range(1, 25))
    for code in ("UM", "UR media %", "HR moy (%)"):
        message = refusal(tmp_path, f"date,tmin,tmax,pr_mm,{code}\n" + rows)
        assert f'rh_mean = {{ column = "{code}"' in message
        assert 'rain = { column = "pr_mm", unit = "mm" }' in message
        assert 'missing = ["-1 mm"] and missing_rain = "zero"' in message


def test_less_than_a_tenth_of_rain_is_a_trace(tmp_path):
    rows = "".join(f"2025-06-{day:02d},10,20,{'<0.1' if day % 3 else '2.0'}\n" for day in range(1, 25))
    file = tmp_path / "station.csv"
    file.write_text("date,tmin,tmax,rain\n" + rows, encoding="utf-8")
    found = read_weather(file, SITE)
    assert found.daily["rain"].sum() == 16.0
    assert any("less than a figure) in 16 records counts as 0" in note for note in found.notes)
    assert "'<2' is not a number" in refusal(tmp_path, "date,tmin,tmax,rain\n" + rows.replace("<0.1", "<2"))


def test_a_unit_in_a_header_that_is_unknown_is_asked_for(tmp_path):
    rows = "".join(f"2025-06-{day:02d},10,20,0,{1 + day % 3}\n" for day in range(1, 25))
    message = refusal(tmp_path, "date,tmin,tmax,rain,mean wind speed (furlongs)\n" + rows)
    assert 'wind = { column = "mean wind speed (furlongs)", unit = "?" }' in message


def test_columns_that_are_not_used_are_named_where_rain_has_none(tmp_path):
    rows = "".join(f"2025-06-{day:02d},10,20,3\n" for day in range(1, 25))
    assert "there is no column rain (rain in mm); the file has also wetness mm" in refusal(
        tmp_path, "date,tmin,tmax,wetness mm\n" + rows
    )
    file = tmp_path / "station.csv"
    assert read_weather(file, SITE, missing_rain="zero").provenance["unused"] == "wetness mm"


def test_names_of_two_lines_are_joined_over_a_line_of_units_between(tmp_path):
    """As loggers export them: name, unit, and what was done with it; days are written 1. 6. 2025."""
    rows = "".join(f"{day}. 6. 2025;10;20;3;7.2\n" for day in range(1, 25))
    text = "Date;Air temperature;Air temperature;Precipitation;Wind speed\n;°C;°C;mm;km/h\n;Min;Max;Sum;Avg\n" + rows
    message = refusal(tmp_path, text)
    assert 'tmax = { column = "Air temperature Max", unit = "degC" }' in message
    assert 'wind = { column = "Wind speed Avg", unit = "km/h" }' in message
    names = {
        "tmin": "Air temperature Min",
        "tmax": "Air temperature Max",
        "rain": "Precipitation Sum",
        "wind": "Wind speed Avg",
    }
    daily = read_weather(tmp_path / "station.csv", SITE, columns=names).daily
    assert (str(daily.index[0].date()), daily["rain"].sum()) == ("2025-06-01", 72.0)
    assert daily["wind"].iloc[0] == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("word", "times", "is_advised"), [("nichts", 2, True), ("nichts", 1, False), ("3..2", 10, True), ("3..2", 9, False)]
)
def test_what_stands_often_for_a_number_may_be_named_as_missing(tmp_path, word, times, is_advised):
    """A word twice, what may be a slip in a figure ten times."""
    rows = "".join(f"2025-06-{day:02d},10,20,{word if day <= times else 3}\n" for day in range(1, 25))
    message = refusal(tmp_path, "date,tmin,tmax,rain\n" + rows)
    assert (f'write missing = ["{word}"] under [weather]' in message) is is_advised


def test_rain_alone_in_inches_by_the_user_asks_for_no_other_unit(tmp_path):
    file = tmp_path / "station.csv"
    rows = "".join(f"2025-06-{day:02d},10,20,1,0.5\n" for day in range(1, 25))
    file.write_text("date,tmin,tmax,wind,rain\n" + rows, encoding="utf-8")
    inches = {"rain": {"column": "rain", "unit": "in"}}
    assert read_weather(file, SITE, columns=inches).daily["rain"].iloc[0] == pytest.approx(12.7)


def test_a_clock_in_columns_of_short_names_is_read(tmp_path):
    rows = "".join(f"2025,6,{day},{hour},0,{10 + hour},0\n" for day in range(1, 25) for hour in range(24))
    file = tmp_path / "station.csv"
    file.write_text("YYYY,MM,DD,HH,MN,T_air [degC],PREC [mm]\n" + rows, encoding="utf-8")
    daily = read_weather(file, SITE).daily
    assert (daily["tmin"].iloc[0], daily["tmax"].iloc[0]) == (10.0, 33.0)


def weeks(title, names, monday=9):
    """Return three weeks, each a block below the date of its first day."""
    rows = [("tmin", 10), ("tmax", 25), ("rain", 0)]
    blocks = (
        f"{title} {monday + 7 * i:02d}.06.2025;{';'.join(names)}\n"
        + "".join(f"{name};{';'.join(str(figure + i + j / 10) for j in range(7))}\n" for name, figure in rows)
        for i in range(3)
    )
    return "\n".join(blocks)


@pytest.mark.parametrize(
    ("names", "monday"),
    [(["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"], 9), (["So", "Mo", "Di", "Mi", "Do", "Fr", "Sa"], 8)],
)
def test_weeks_are_put_one_below_the_other(tmp_path, names, monday):
    """9 June 2025 is a Monday."""
    path = tmp_path / "station.csv"
    path.write_text(weeks("Week of", names, monday), encoding="utf-8")
    daily = read_weather(path, SITE).daily
    assert [str(daily.index[i].date()) for i in (0, -1)] == [f"2025-06-{monday:02d}", f"2025-06-{monday + 20}"]
    assert daily["rain"].tolist() == pytest.approx([i + j / 10 for i in range(3) for j in range(7)])
    assert daily["tmax"].iloc[-1] == pytest.approx(27.6)


@pytest.mark.parametrize("monday", [8, 10, 15])
def test_a_week_whose_date_is_not_its_first_days_is_not_dated_by_it(tmp_path, monday):
    """As where it is the week's end."""
    message = refusal(tmp_path, weeks("Week of", ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"], monday))
    assert "there is no column date" in message


def test_a_reading_that_is_missing_leaves_a_gap_in_means_and_in_rain(tmp_path):
    """And extremes of parts of a day give the day's."""
    rows = [
        f"2025-06-{day:02d},{hour},{60 + hour},{20 + hour / 10},{10 + hour / 10},{hour / 10}"
        for day in range(1, 25)
        for hour in (7, 14, 21)
        if (day, hour) != (9, 14)
    ]
    path = tmp_path / "station.csv"
    path.write_text("\n".join(["Date,Hour,RH (%),tmax,tmin,rain", *rows]) + "\n", encoding="utf-8")
    with pytest.raises(WeatherError, match="rain is empty on 2025-06-09"):
        read_weather(path, SITE, columns={"rh_mean": {"column": "RH (%)"}})
    daily = read_weather(path, SITE, columns={"rh_mean": {"column": "RH (%)"}}, missing_rain="zero").daily
    assert daily["rain"].tolist() == pytest.approx([0.0 if day == 9 else 4.2 for day in range(1, 25)])
    assert (daily["tmax"].iloc[0], daily["tmin"].iloc[0]) == pytest.approx((22.1, 10.7))
    assert daily["rh_mean"].iloc[0] == pytest.approx(74.0)


@pytest.mark.parametrize(
    ("title", "first", "said"),
    [
        ("Garden 2025", dt.date(2025, 12, 20), ""),
        ("Garden 2024/2025", dt.date(2025, 5, 1), ""),
        ("Garden 2025", dt.date(2025, 5, 20), "days without their year"),
        ("Garden 2025", dt.date(2025, 2, 25), "days without their year"),
    ],
    ids=["over New Year", "two years", "one", "over the end of February"],
)
def test_a_year_above_the_table_is_that_of_days_without_one_unless_they_go_on_into_another(title, first, said):
    days = [first + dt.timedelta(days=i) for i in range(24)]
    text = f"{title};;;\nDay;tmin;tmax;rain\n" + "".join(f"{day:%d/%m};10;20;0\n" for day in days)
    assert as_table(Source(text, "station.csv", "", "utf-8")).taken_from == said


@pytest.mark.parametrize(("second", "said"), [("January", ""), ("January 2026", "days numbered below their month")])
def test_a_month_before_the_one_above_it_needs_its_year(second, said):
    rows = "".join(f"{day};10;20;0\n" for day in range(1, 32))
    text = f"December 2025;;;\nDay;tmin;tmax;rain\n{rows}{second};;;\n{rows}"
    assert as_table(Source(text, "station.csv", "", "utf-8")).taken_from == said


def test_a_day_that_only_its_first_row_has_is_written_on_each():
    """As pivot tables and merged cells leave it; common practice, no source."""
    text = "Date;Time;Temp (°C)\n" + "".join(f"{day}.06.2025;00:00;1\n;08:00;2\n;16:00;3\n" for day in ("13", "14"))
    turned = as_table(Source(text, "x.csv", "", "utf-8"))
    assert turned.lines[3:5] == ["13.06.2025;16:00;3", "14.06.2025;00:00;1"]
    assert turned.taken_from == "days written on their first row"


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ("{day:02d}/06/2568", "years of the Buddhist era"),
        ("2568-06-{day:02d}", "years of the Buddhist era"),
        ("{day:02d}062025", "days as digits, the year last"),
        ("06{day:02d}2025", "days as digits, the year last"),
    ],
)
def test_days_in_a_form_that_no_other_has_are_ours_and_that_is_said(tmp_path, days, said):
    """2568 is 2025: 543 years apart, from memory."""
    file = tmp_path / "station.csv"
    rows = "".join(f"{days.format(day=day)},10,20,{day % 4}\n" for day in range(10, 30))
    file.write_text("date,tmin,tmax,rain\n" + rows, encoding="utf-8")
    weather = read_weather(file, SITE)
    assert str(weather.daily.index[0].date()) == "2025-06-10"
    assert f"from {said}" in weather.provenance["recognised"]


@pytest.mark.parametrize(
    ("header", "row"),
    [
        (
            "entity_id,state,last_changed,device_class,unit_of_measurement",
            "out_w,{wind},{when},wind_speed,m/s out_r,{rain},{when},rain,mm",
        ),
        ("statistic_id,unit,start,mean,min,max,sum", "wind_speed,m/s,{when},{wind},0,9, rain,mm,{when},,,,{rain}"),
    ],
    ids=["by their class", "mean or sum"],
)
def test_sensors_a_row_each_stand_side_by_side(header, row):
    """As databases of a house export them: invented names, the layouts from memory."""
    body = [
        each.format(when=f"2025-06-{day:02d}T{hour:02d}:00:00Z", wind=1 + hour % 3, rain=day)
        for day in (1, 2, 3)
        for hour in range(24)
        for each in row.split(" ")
    ]
    turned = as_table(Source("\n".join([header, *body]) + "\n", "x.csv", "", "utf-8"))
    assert turned.lines[0].split("\t")[1:] == ["wind_speed (m/s)", "rain (mm)"]
    assert turned.lines[24].split("\t")[1:] == ["3", "1"]


def test_a_wind_of_two_components_is_their_speed():
    """3 and 4 make 5, whichever way it blows; columns U and V without a height, of which neither is ever below nothing, are others."""
    text = "date,tmin,tmax,rain,u10,v10\n" + "".join(f"2025-06-{day:02},1,2,3,-3,4\n" for day in range(1, 4))
    turned = as_table(Source(text, "x.csv", "", "utf-8"))
    assert turned.lines[:2] == ["date\ttmin\ttmax\train\tmean wind speed 10m (m/s)", "2025-06-01\t1\t2\t3\t5.00"]
    by_the_hour = Source(text.replace(",1,2,3,", " 05:00,1,2,3,").replace("tmin", "temp"), "x.csv", "", "utf-8")
    assert ["days" in as_table(source).taken_from for source in (Source(text, "x.csv", "", "utf-8"), by_the_hour)] == [
        True,
        False,
    ]
    steady = text.replace("-3", "3")
    assert as_table(Source(steady, "x.csv", "", "utf-8")).lines[1] == "2025-06-01\t1\t2\t3\t5.00"
    as_it_is = Source(steady.replace("u10,v10", "u,v"), "x.csv", "", "utf-8")
    assert as_table(as_it_is) is as_it_is


def test_a_code_for_a_missing_component_stays_one_and_a_components_spread_is_none():
    """Of -9999 and -9999 14140.72 m/s were made, and of a tower's U_SIGMA and V_SIGMA its wind."""
    text = "date,tmin,tmax,rain,u10,v10\n2025-06-01,1,2,3,-3,4\n2025-06-02,1,2,3,-9999,4\n2025-06-03,1,2,3,-3,4\n"
    assert as_table(Source(text, "x.csv", "", "utf-8")).lines[2] == "2025-06-02\t1\t2\t3\t-9999"
    spread = Source(text.replace("u10,v10", "U_SIGMA_1_1_1,V_SIGMA_1_1_1"), "x.csv", "", "utf-8")
    assert as_table(spread) is spread


def test_names_that_are_one_too_few_stand_over_no_column_where_the_first_is_the_days(tmp_path):
    rows = "".join(f"06/{day:02}/2025 14.5 30.0 22.1 0.0 3\n" for day in range(1, 21))
    assert "is in no known weather format" in refusal(tmp_path, f"mm/dd/yyyy Tmin Tmax Mean Rain\n{rows}")
