"""
Headings and what stands above and among rows: what looks like a unit, a sum or a day and is none. All is invented.
"""

from __future__ import annotations

import time

import pytest

from panbudget.weather.text.headers import read_header
from panbudget.weather.text.heading import heading_of, split_unit, unknown_unit
from panbudget.weather.text.moments import in_numbers, is_dated, month_of
from panbudget.weather.text.opening import find_opening, head_of, sums_among
from panbudget.weather.text.raw import ColumnChoice


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("Rain meter", None),
        ("Wind speed m s", "m/s"),
        ("wind_kilometres_per_hour", "km/h"),
        ("wind_avg_km_h", "km/h"),
        ("Solar (kW.m-2)", "kW/m^2"),
        ("RH percent", "%"),
        ("Rain (metres)", "m"),
        ("temperatur (0,1 Grad Celsius)", "0.1 degC"),
        ("rain intensity (mm per hour)", "rate"),
        ("light M J m - 2", "MJ/m^2"),
        ("wind_speed [m+1s-1]", "m/s"),
    ],
)
def test_a_unit_in_words_is_one_and_a_gauge_is_none(text, unit):
    assert heading_of(0, text).unit == unit


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Temperature (Indoor) (°C)", "temp indoor"),
        ("Temp. (innen) [°C]", "temp indoor"),
        ("Rain (hourly rate)", "rain hourly rate"),
        ("Wind (gust)", "wind gust"),
        ("Rain (in)", "rain"),
    ],
)
def test_words_in_brackets_that_tell_columns_apart_are_words_of_the_name(text, name):
    assert heading_of(0, text).name == name


@pytest.mark.parametrize(
    ("text", "name", "unit"),
    [
        ("Vocht buiten (%)", "humidity outdoor", "%"),
        ("Temp inne (°C)", "temp indoor", "degC"),
        ("PINAKAMATAAS NA TEMP (°C)", "max temp", "degC"),
        ("Kasi ya upepo (m/s)", "wind speed", "m/s"),
        ("हवा की गति (किमी/घंटा)", "wind speed", "km/h"),
        ("ნალექი (მმ)", "rain", "mm"),
        ("Месяц", "month", None),
        ("Хамгийн бага температур (°C)", "min temp", "degC"),
        ("Салхины хурд (м/с)", "wind speed", "m/s"),
        ("Рік", "year", None),
        ("dygnsnederbörd (mm)", "daily rain", "mm"),
        ("Kuukausisade (mm)", "month rain", "mm"),
        ("월강수량(mm)", "month rain", "mm"),
        ("גשם חודשי (mm)", "rain month", "mm"),
        ("كمية الأمطار الشهرية (mm)", "rain month", "mm"),
        ("بارش سالانه (mm)", "rain year", "mm"),
        ("मासिक वर्षा (mm)", "month rain", "mm"),
        ("ปริมาณฝนรายเดือน (mm)", "rain month", "mm"),
        ("Lượng mưa tháng (mm)", "rain month", "mm"),
        ("Curah hujan bulanan (mm)", "rain month", "mm"),
    ],
)
def test_names_and_units_of_further_languages_are_known(text, name, unit):
    assert heading_of(0, text)[2:4] == (name, unit)


@pytest.mark.parametrize(("name", "heights"), [("Vindhastighet", (10.0,)), ("Lufttemperatur", ())])
def test_a_height_among_the_stations_lines_is_the_gauges_where_the_file_holds_the_wind_alone(name, heights):
    lines = ["Stationsnamn;Mäthöjd (meter över marken)", "Påhittad;10.0", f"Parameternamn\n{name}"]
    assert head_of(lines).gauge == heights


@pytest.mark.parametrize(
    ("text", "is_day"),
    [
        ("Mo, 10.04.2025", True),
        ("pon. 10.04.2025", True),
        ("Montag, 10.04.2025", True),
        ("Sum 30.06.2025", False),
        ("Summe 30.06.2025", False),
        ("bis 30.06.2025", False),
    ],
)
def test_a_day_of_the_week_may_stand_before_a_date_and_a_sum_may_not(text, is_day):
    assert is_dated(text) is is_day


@pytest.mark.parametrize(
    "text",
    ["1 січня 2025 р.", "2025. január 1.", "1 tammikuuta 2025", "01.01.2025 г.", "1 Οκτωβρίου 2025", "1 října 2025"],
)
def test_days_in_words_of_other_languages_are_days(text):
    assert is_dated(in_numbers(text).strip())


def test_a_month_that_begins_as_another_is_none_of_it():
    """November and March in Finnish, July and June in Czech, August in Czech and July in Croatian."""
    months = ["marraskuuta", "maaliskuuta", "července", "června", "srpna", "srpnja"]
    assert [month_of(name) for name in months] == [11, 3, 7, 6, 8, 7]


@pytest.mark.parametrize("name", ["Temperature", "Dublin", "Kassel", "Липецк", "Черкаси", "listopada"])
def test_a_town_or_a_quantity_is_no_month(name):
    assert not is_dated(f"1 {name} 2025")


@pytest.mark.parametrize("text", ["2025-W54-1", "2025-W23-8", "1st of all", "5130-W00-1", "à 12:00", "2025-W00-1"])
def test_what_is_no_day_in_words_stays(text):
    """2025 has 52 weeks."""
    assert in_numbers(text) == text


def test_dashes_on_dry_days_are_no_wind_from_a_side():
    rows = [f"2025-06-{day:02d},12.0,25.0,-,{wind},NW" for day, wind in enumerate((2.0, 3.0, 1.5), 1)]
    opening = find_opening(["Date,Low,High,Rain,Wind speed,Wind", *rows])
    assert opening.quantities == ["Date", "Low", "High", "Rain", "Wind speed", ""]


@pytest.mark.parametrize(
    ("row", "is_sum"),
    [
        (";;;31.2;", True),
        (";14:00;25,3;;", False),
        (";2025-06-03;25,3;;", False),
        (";12.1;25.3;0.0;", False),
        ("June 2025;;;;", True),
        ("June 2025;;;0.0;", False),
        ("2025-06-0x;;;;", False),
    ],
)
def test_of_rows_that_begin_with_no_day_those_that_lack_most_are_sums(row, is_sum):
    assert bool(sums_among(["2025-06-01;12.0;25.0;0.0;", row], 0, 2, ";")) is is_sum


@pytest.mark.parametrize(
    ("remark", "unit"),
    [
        ("# rainfall in inches, wind in mph", "mph"),
        ("wind speed: km/h; rain: mm", "km/h"),
        ("# wind gauge at 10 m", None),
        ("# wind in mph since May, before wind in km/h", None),
        ("# gusts in mph", None),
        ("# highest wind (in km/h), rain (in)", None),
        ("# wind speed (in km/h), rain (in)", "km/h"),
    ],
)
def test_a_remark_above_names_the_unit_of_a_column_that_has_all_its_words(remark, unit):
    """And none where two contradict each other."""
    lines = [remark, "date,tmin,tmax,rain,wind speed", *(f"2025-06-0{i},12,25,0,3" for i in range(1, 5))]
    opening = find_opening(lines)
    assert opening is not None
    says = opening.legend.get("wind speed")
    assert (heading_of(0, "wind speed", "", says or "").unit) == unit


ROWS = ["2025-06-01,12,25", "2025-06-02,13,26", "2025-06-03,14,27"]


@pytest.mark.parametrize(("header", "is_other"), [("Humidity (%)", False), ("Mean Humidity (%)", True)])
def test_a_humidity_is_the_mean_only_where_its_header_says_so(header, is_other):
    """Two columns of one name may be the highest and the lowest."""
    known = read_header(["date", header], {"rh_max": ColumnChoice(header, "%")}, line=1)
    assert any(problem.code == "column-of-another" for problem in known.problems) is is_other


@pytest.mark.parametrize(("above", "is_found"), [(118, True), (119, False)])
def test_a_table_begins_within_120_lines(above, is_found):
    """Its header and a row of it."""
    found = find_opening([*["a line of words"] * above, "date,tmin,tmax", *ROWS])
    assert (found is not None) is is_found


@pytest.mark.parametrize(("sound", "above"), [(2, 4), (3, 1)])
def test_three_rows_agree_on_where_their_date_stands(sound, above):
    """A row of words among the first three stands above the table, as they do."""
    found = find_opening(["date,tmin,tmax", *ROWS[:sound], "a,b,c", *ROWS])
    assert found is not None and found.above == above


@pytest.mark.parametrize(("between", "is_found"), [(3, True), (4, False)])
def test_three_lines_may_stand_between_a_header_and_its_rows(between, is_found):
    found = find_opening(["date,tmin,tmax", *["-"] * between, *ROWS])
    assert (found is not None and found.cells == ["date", "tmin", "tmax"]) is is_found


@pytest.mark.parametrize(("others", "more"), [(12, ""), (13, " and 1 more")])
def test_twelve_columns_that_are_not_used_are_named(others, more):
    header = read_header(["date", "tmin", "tmax", *(f"x{place:02d}" for place in range(others))], {}, line=1)
    names = ", ".join(f"x{place:02d}" for place in range(12))
    assert header.unused == names + more


@pytest.mark.parametrize("header", ["Min Celsius (°C)", "Celsius min (°C)", "Min, Celsius"])
def test_a_units_word_beside_the_unit_is_no_part_of_the_name(header):
    assert heading_of(0, header)[2:4] == ("min", "degC")


@pytest.mark.parametrize(
    "text", ["x(" + " " * 9000 + "y", "(" * 9900, "x" + "( " * 4900, "a/" * 4900, "x" + "()" * 4900]
)
def test_a_header_as_long_as_a_cell_may_be_is_read_in_a_moment(text):
    """800 blanks behind a bracket took six seconds, and more with their cube."""
    begun = time.process_time()
    heading_of(0, text), split_unit(text), unknown_unit(text)
    assert time.process_time() - begun < 1.0


@pytest.mark.parametrize(
    ("text", "parted"),
    [
        ("level (cm) (in)", ("level (cm)", "in")),
        ("x ( mm )", ("x", "mm")),
        ("(mm)", ("(mm)", None)),
        ("x (mean)", ("x", None)),
        ("x (" + "y" * 300 + ")", ("x", "y" * 300)),
        ("x (" + "y" * 301 + ")", ("x (" + "y" * 301 + ")", None)),
    ],
)
def test_a_header_is_parted_from_its_last_brackets(text, parted):
    assert split_unit(text) == parted
