"""
Plain tables as spreadsheets and stations save them: marks, decimals, dates, comments. All files are invented.
"""

from __future__ import annotations

import codecs
import re
import tomllib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panbudget.errors import WeatherError
from panbudget.physics.sun import extraterrestrial_radiation
from panbudget.weather import GapLimits, read_weather
from panbudget.weather.clean import open_weather
from panbudget.weather.formats import table as table_reader
from panbudget.weather.text.headers import read_header
from panbudget.weather.text.opening import without_footer
from panbudget.weather.text.raw import ColumnChoice, Source
from tests.weather.sites import Site
from tests.weather.test_broken_files import table

SITE = Site(latitude=38.0, elevation=100.0)
SOUND = table(wind=[2.25] * 20, tmin=[14.5] * 20)


@pytest.fixture
def read(tmp_path):
    """Return a function that writes a table and reads it."""

    def do(content, **columns):
        file = tmp_path / "weather.csv"
        file.write_bytes(content if isinstance(content, bytes) else content.encode())
        return read_weather(file, SITE, shown_as="station.csv", columns=columns)

    return do


def refused(read, content):
    """Return the one line of a refusal."""
    with pytest.raises(WeatherError) as caught:
        read(content)
    lines = str(caught.value).split("\n# in the scenario")[0].splitlines()
    assert len(lines) == 1, lines
    return lines[0]


def with_dates(text, order):
    """Write a table's dates in another order."""
    lines = []
    for line in text.splitlines():
        date, rest = line.split(",", 1)
        year, month, day = date.split("-") if date[0].isdigit() else ("", "", "")
        shown = order.format(year=year, month=month, day=day) if year else date
        lines.append(f"{shown},{rest}")
    return "\n".join(lines) + "\n"


SAME = {
    "semicolons": SOUND.replace(",", ";"),
    "tabs": SOUND.replace(",", "\t"),
    "semicolons and decimal commas": SOUND.replace(",", ";").replace(".", ","),
    "tabs and decimal commas": SOUND.replace(",", "\t").replace(".", ","),
    "Windows line ends": SOUND.replace("\n", "\r\n"),
    "old Macintosh line ends": SOUND.replace("\n", "\r"),
    "byte order mark": codecs.BOM_UTF8 + SOUND.encode(),
    "declared separator": "sep=;\n" + SOUND.replace(",", ";"),
    "quoted": "\n".join(",".join(f'"{cell}"' for cell in line.split(",")) for line in SOUND.splitlines()),
    "comments above": "# invented\n#\n" + SOUND,
    "comments among the rows": SOUND.replace("2025-06-05", "# gauge cleaned\n2025-06-05"),
    "title above": "Weather of an invented garden\n\n" + SOUND,
    "header as a comment": "# invented\n# " + SOUND,
    "days without a name": SOUND.replace("date,", ",", 1),
    "day first": with_dates(SOUND, "{day}/{month}/{year}"),
    "day first with points": with_dates(SOUND, "{day}.{month}.{year}"),
    "month first": with_dates(SOUND, "{month}/{day}/{year}"),
    "year first with slashes": with_dates(SOUND, "{year}/{month}/{day}"),
    "midnight": with_dates(SOUND, "{year}-{month}-{day} 00:00:00"),
}


@pytest.mark.parametrize("content", SAME.values(), ids=SAME.keys())
def test_however_a_table_is_saved_it_reads_the_same(read, content):
    """The plain one, comma and ISO dates, is the yardstick."""
    plain = read(SOUND)
    assert (plain.daily["wind"].iloc[0], str(plain.daily.index[0].date())) == (2.25, "2025-06-01")
    pd.testing.assert_frame_equal(read(content).daily, plain.daily)


def test_a_comment_among_the_rows_is_noted(read):
    """It may be a row that someone took out."""
    notes = " | ".join(read(SAME["comments among the rows"]).notes)
    assert 'line 6 among the rows begins with # and is passed over: "# gauge cleaned"' in notes


def test_a_title_above_a_header_that_is_none_is_passed_over(read):
    """What stands right above the rows is the header, and what its names may be is asked."""
    refusal = refused(read, "Weather of a garden\nday,low,high,rain\n2025-06-01,1,2,0\n")
    assert 'line 2: "low" looks like tmin, "high" looks like tmax' in refusal


def test_thousands_marks_are_read_where_a_number_shows_both_marks(read):
    """1.013,2 hPa: the point can't be the decimal mark, so 1.013 is a thousand and thirteen too."""
    pressure = ["1.013,2"] * 19 + ["1.013"]
    header, *rows = SAME["semicolons and decimal commas"].splitlines()
    text = "\n".join([header + ";pressure (hPa)", *(f"{row};{p}" for row, p in zip(rows, pressure, strict=True))])
    daily = read(text).daily
    assert daily["pressure"].iloc[0] == pytest.approx(101.32)
    assert daily["pressure"].iloc[-1] == pytest.approx(101.3)
    assert daily["wind"].iloc[0] == 2.25


def test_english_thousands_are_read_between_semicolons(read):
    """1,013.2 hPa."""
    text = SOUND.replace(",", ";").splitlines()
    text = [text[0] + ";pressure (hPa)", *(line + ";1,013.2" for line in text[1:])]
    assert read("\n".join(text)).daily["pressure"].iloc[0] == pytest.approx(101.32)


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (("1.013,2", "2.5"), "a decimal comma and line"),
        (("1.013,2", "1,013.2"), "without thousands marks"),
        (("1 013", "1 01"), "correct it"),
    ],
)
def test_marks_that_contradict_each_other_are_refused(read, cells, said):
    """Never a guess."""
    text = SOUND.replace(",", ";").replace("14.5", "14").replace("2.25", "2").splitlines()
    text = [text[0] + ";pressure (hPa)", *(line + ";" + cells[n % 2] for n, line in enumerate(text[1:]))]
    assert said in refused(read, "\n".join(text))


def test_a_cell_beyond_any_size_is_refused(read):
    """A quotation mark that takes in the rest of a broken line."""
    assert "line 22 holds a cell of more than 10,000 characters" in refused(
        read, SOUND + '2025-06-21,"' + "x" * 200_000 + '"\n'
    )


def test_dates_that_no_row_decides_are_refused(read):
    """Twelve days at most, all below 13."""
    text = with_dates(table(10), "{day}/{month}/{year}")
    assert "may have the day or the month first" in refused(read, text)


def test_dates_of_two_orders_are_refused(read):
    """A spreadsheet that understood half of them."""
    text = with_dates(SOUND, "{day}/{month}/{year}").replace("20/06/2025", "06/20/2025")
    assert "one order is expected" in refused(read, text)


@pytest.mark.parametrize(("first", "told"), [(9, False), (8, True)])
def test_days_that_a_spreadsheet_took_for_months_are_refused(read, first, told):
    """Four or five days up to 12 June, written as the sixth of later months."""
    head, *rows = table(18, start=pd.Timestamp(2024, 6, first).date(), drop=["radiation"]).splitlines()
    days = [pd.Timestamp(row[:10]) for row in rows]
    ends = [f"{day.day:02d}-{day.month:02d}" if day.day <= 12 else f"{day.month:02d}-{day.day:02d}" for day in days]
    with pytest.raises(WeatherError) as says:
        read("\n".join([head, *(f"2024-{end}{row[10:]}" for end, row in zip(ends, rows, strict=True)), ""]))
    assert ("2024-08-06 on line 2 (and 4 more days) is out of order, and in order with" in str(says.value)) is told


def test_several_years_out_of_order_are_sorted_and_noted(read):
    """2025 above 2024, a leap day between."""
    first = table(366, start=pd.Timestamp(2024, 1, 1).date(), drop=["radiation"])
    second = table(365, start=pd.Timestamp(2025, 1, 1).date(), drop=["radiation"])
    weather = read(second + first.split("\n", 1)[1])
    assert len(weather.daily) == 731
    assert pd.Timestamp(2024, 2, 29) in weather.daily.index
    assert any("out of order from line 367 (2024-01-01)" in note for note in weather.notes)


@settings(max_examples=40, deadline=None)
@given(
    name=st.sampled_from([name for name, text in SAME.items() if isinstance(text, str)]),
    places=st.lists(st.tuples(st.integers(0, 10_000), st.text(max_size=3)), max_size=4),
    cut=st.integers(0, 300),
)
def test_any_damage_to_a_table_is_refused_or_leaves_a_sound_table(tmp_path_factory, name, places, cut):
    """Never another exception than ours."""
    text = SAME[name]
    for place, letters in places:
        at = place % len(text)
        text = text[:at] + letters + text[at + len(letters) :]
    file = tmp_path_factory.mktemp("fuzz") / "station.csv"
    file.write_bytes(text[: len(text) - cut].encode("utf-8", "replace"))
    try:
        weather = read_weather(file, SITE)
    except WeatherError:
        return
    assert np.isfinite(weather.daily.drop(columns="pan_evaporation", errors="ignore").to_numpy()).all()
    assert weather.daily.index.is_monotonic_increasing


LOGGER = """"TOA5","Garden","X","1","os","program","1","Daily"
"TIMESTAMP","RECORD","tmin","tmax","rain"
"TS","RN","Deg C","Deg C","mm"
"","","Min","Max","Tot"
"2025-06-02 00:00:00",0,10.1,22.3,0
"2025-06-03 00:00:00",1,11.1,23.3,2.2
"2025-06-04 00:00:00",2,12.1,24.3,0
"""


def test_a_loggers_daily_row_is_of_the_day_that_ends_at_its_midnight():
    """From memory of the layout: itself, names, units and processing in four lines; a table is written when its time is over."""
    raw = table_reader.read(Source(LOGGER, "logger.dat", "", "utf-8"), columns={}, site=SITE)
    assert raw.daily.index[0] == pd.Timestamp("2025-06-01")
    assert raw.daily["rain"].tolist() == [0.0, 2.2, 0.0]
    assert raw.units["tmax"] == "degC"
    assert "of the day that ends then" in raw.recognised


NEAR = {
    "the standard name": ("tmin", "Low Temp", "date,tmin,High Temp", 'did you mean "tmin"?'),
    "its words": ("tmin", "T_night", "date,Tmax,Lowest Temp (°C)", 'did you mean "Lowest Temp (°C)"?'),
    "its letters": ("rain", "Niedrschlag", "date,tmin,tmax,Niedersxhlag", 'did you mean "Niedersxhlag"?'),
    "another's standard name": (
        "rain",
        "tmax2",
        "date,tmin,tmax",
        "no column of the file that is free looks like rain",
    ),
    "another's words": (
        "rain",
        "High Tem",
        "date,tmin,High Temp",
        "no column of the file that is free looks like rain",
    ),
    "another's choice": (
        "rain",
        "Fall mm",
        "date,tmin,tmax,Fal mm",
        "no column of the file that is free looks like rain",
    ),
}


@pytest.mark.parametrize(("name", "wanted", "cells", "said"), NEAR.values(), ids=NEAR.keys())
def test_a_column_that_is_not_there_is_taken_for_none_that_another_quantity_has(name, wanted, cells, said):
    """Two quantities of one column would be refused next."""
    columns = {name: ColumnChoice(wanted), "sunshine": ColumnChoice("Fal mm")}
    columns = columns if "Fal mm" in cells else {name: columns[name]}
    [problem] = [each for each in read_header(cells.split(","), columns, line=1).problems if each.code == "no-column"]
    assert said in problem.cure
    assert f"It has {', '.join(cells.split(','))}" in problem.cure


def test_other_columns_that_may_be_meant_stand_behind_the_one_that_they_are_instead_of():
    """A total of rain is no radiation."""
    cells = ["Date", "High Temp (°C)", "Low Temp (°C)", "Total Rain (mm)", "Total Precip (mm)", "GHI (MJ/m²)"]
    found = read_header(cells, {}, line=1).problems[0].found
    assert '"Total Precip (mm)" looks like rain (or "Total Rain (mm)"), "GHI (MJ/m²)" looks like radiation' in found


@pytest.mark.parametrize(
    ("header", "factor"),
    [("relative sunshine duration (%)", 100), ("Sunshine of possible (%)", 100), ("n/N sunshine (fraction)", 1)],
)
def test_sunshine_as_a_share_of_the_daylight_is_made_into_hours(tmp_path, header, factor):
    """FAO-56 (1998) eq 35 asks for n/N: half of the daylight gives (0.25 + 0.50/2) Ra, whatever the day's length."""
    text = table(radiation=[0.5 * factor] * 20).replace("radiation", header)
    file = tmp_path / "weather.csv"
    file.write_text(text)
    with pytest.raises(WeatherError) as caught:
        read_weather(file, SITE)
    columns = tomllib.loads(str(caught.value).split("# in the scenario")[1].split("\n", 1)[1])["weather"]["columns"]
    weather = read_weather(file, SITE, columns=columns)
    ra = extraterrestrial_radiation(weather.daily.index.dayofyear.to_numpy(), latitude=SITE.latitude)
    assert weather.daily["radiation"].to_numpy() == pytest.approx(0.5 * ra, rel=1e-9)


def test_a_unit_alone_is_of_the_column_that_has_the_standard_name(tmp_path):
    file = tmp_path / "weather.csv"
    file.write_text(table(wind=[7.2] * 20))
    weather = read_weather(file, SITE, columns={"wind": {"unit": "km/h"}})
    assert weather.daily["wind"].tolist() == pytest.approx([2.0] * 20)


def test_a_unit_alone_of_another_header_is_given_to_paste(tmp_path):
    file = tmp_path / "weather.csv"
    file.write_text(table(wind=[7.2] * 20).replace("wind", "Wind speed"))
    with pytest.raises(WeatherError) as caught:
        read_weather(file, SITE, columns={"wind": {"unit": "km/h"}})
    assert 'wind = { column = "Wind speed", unit = "km/h" }' in str(caught.value)


def test_a_unit_to_paste_is_of_a_column_by_its_number_where_names_are_alike(read):
    rows = "".join(f"2025-06-{day:02},75,88,50,30\n" for day in range(1, 21))
    with pytest.raises(WeatherError, match=r'tmin = \{ column = "Min #1", unit = "degF" \}'):
        read(f"date,Min,Max,Min,Max\n{rows}", tmin={"column": "Min #1"}, tmax={"column": "Max #1"})


def test_a_mark_to_paste_is_written_as_toml(tmp_path):
    file = tmp_path / "weather.csv"
    file.write_text(table(wind=[2.0, "x\\y"] * 10))
    with pytest.raises(WeatherError) as caught:
        read_weather(file, SITE)
    assert tomllib.loads(re.search(r"missing = \[.*?\](?= under)", str(caught.value))[0])["missing"] == ["x\\y"]


@pytest.mark.parametrize("mark", ["-990", "-990.25", "1e20"])
def test_a_mark_that_no_figure_can_be_is_named_as_one_would_write_it(tmp_path, mark):
    """None of them is a code that everybody knows."""
    file = tmp_path / "weather.csv"
    file.write_text(table(wind=[2.0, mark] * 10))
    with pytest.raises(WeatherError, match=r'missing = \["([^"]+)"\] under') as caught:
        read_weather(file, SITE)
    stated = re.search(r'missing = \["([^"]+)"\] under', str(caught.value))[1]
    assert stated.startswith(mark)
    assert read_weather(file, SITE, missing=[stated], limits=GapLimits(share=0.5)).filled()["wind"]


def test_what_a_data_base_writes_for_a_missing_value_is_one(tmp_path):
    file = tmp_path / "weather.csv"
    file.write_text(table(wind=[2.0] * 19 + ["\\N"]))
    assert read_weather(file, SITE).filled()["wind"]


@pytest.mark.parametrize("remark", ["Pluviomètre changé le 12 juin", "gauge moved on 3 July, by the shed"])
def test_a_remark_below_the_rows_may_hold_a_figure(read, remark):
    assert len(read(SOUND + remark + "\n").daily) == 20


@pytest.mark.parametrize(("cells", "unused"), [("7,8", "column 5, column 6"), (",ok", "column 5, column 6"), (",", "")])
def test_cells_below_no_name_at_a_headers_end_are_of_no_column(read, cells, unused):
    rows = [f"2025-05-{day:02},12.0,{24 + day % 3}.5,1.0" for day in range(1, 21)]
    weather = read("\n".join(["date,tmin,tmax,rain,,", *(f"{row},{cells}" for row in rows)]) + "\n")
    assert (f"columns not used: {unused}" in weather.notes) is bool(unused)


def test_a_row_cut_off_in_its_first_words_is_no_remark():
    rows = ["garden 3 of the hill,2025-06-01,14,30", "garden 3 of the"]
    assert without_footer(["station,date,tmin,tmax", *rows], 4, ",") == 3
    assert without_footer(["station,date,tmin,tmax", rows[0], "read at 9 by hand"], 4, ",") == 2


def test_days_in_three_columns_may_be_named_in_other_languages(read):
    rows = "".join(f"2025;6;{day};14.5;30;0\n" for day in range(1, 21))
    for names in ("År;Månad;Dag", "Jahr;Monat;Tag", "År;Måned;Dag"):
        assert len(read(f"{names};tmin;tmax;rain\n{rows}").daily) == 20


def test_a_lower_line_of_names_may_lack_the_last_ones(read):
    """As where a workbook's cells are joined over two columns, and those behind them hang down from the line above."""
    rows = "".join(f"2025-06-{day:02},14.5,30,0,sown\n" for day in range(1, 21))
    with pytest.raises(WeatherError) as caught:
        read(f"Day,Temperature (°C),,rain,Notes\n,Min,Max,,\n{rows}")
    assert 'tmax = { column = "Temperature (°C) Max", unit = "degC" }' in str(caught.value)


@pytest.mark.parametrize(
    ("header", "meant"),
    [
        ("HMAX (%)", "rh_max"),
        ("RHn", "rh_min"),
        ("rf_mittel", "rh_mean"),
        ("tdmean (deg C)", "dew_point"),
        ("vv_mittel", "wind"),
        ("ATOT (MJ/m^2)", "radiation"),
        ("SR_MJm2", "radiation"),
        ("WS2_ms", "wind"),
    ],
)
def test_a_header_that_looks_like_a_quantity_is_asked_about(header, meant):
    """As networks and services write them, from memory."""
    header = read_header(["date", "tmin", "tmax", "rain", header, "ROT"], {}, line=1)
    assert list(header.suggested) == [meant]


@pytest.mark.parametrize(
    ("dayl", "factor"), [("dayl (s)", 24.0 / 14.62), ("battery (V)", 1.0)], ids=["of daylight", "of 24 hours"]
)
def test_light_of_w_m2_beside_the_length_of_the_day_may_be_a_mean_of_daylight(tmp_path, dayl, factor):
    """20 MJ/m² over the day are 231.5 W/m² over 24 hours, 380 over the 14.6 of daylight in June at 38° (FAO-56 eq 34)."""
    file = tmp_path / "weather.csv"
    text = table(radiation=[231.48 * factor] * 20, pressure=[52632.0] * 20)
    file.write_text(text.replace("radiation", "srad (W/m^2)").replace("pressure", dayl))
    weather = read_weather(file, SITE, columns={"radiation": {"column": "srad (W/m^2)"}})
    assert weather.daily["radiation"].iloc[0] == pytest.approx(20.0, rel=0.02)
    assert any("mean of the hours of daylight" in note for note in weather.notes) is (factor != 1.0)


@pytest.mark.parametrize("choice", [{"column": "srad (W/m^2)"}, {"column": "srad", "unit": "W/m2"}])
def test_light_in_w_m2_that_is_too_bright_is_not_offered_as_langleys(tmp_path, choice):
    """The header or the user names the unit: figures of daylight's mean would pass as cal/cm², a tenth too low."""
    file = tmp_path / "weather.csv"
    file.write_text(table(radiation=[500.0] * 20).replace("radiation", choice["column"]))
    with pytest.raises(WeatherError, match="where it is a mean of the hours of daylight, multiply each") as caught:
        read_weather(file, SITE, columns={"radiation": choice})
    assert "langley" not in str(caught.value)
    file.write_text(table(radiation=[6666.0] * 20).replace("radiation", choice["column"]))  # 24 MJ/m² in Wh/m²
    with pytest.raises(WeatherError, match="looks like Wh/m²"):
        read_weather(file, SITE, columns={"radiation": choice})


def test_the_number_of_the_day_may_be_called_the_date(read):
    rows = "".join(f"2025,6,{day},14.5,30,0\n" for day in range(1, 21))
    assert len(read(f"Year,Month,Date,tmin,tmax,rain\n{rows}").daily) == 20


def test_of_two_clocks_the_local_one_dates_a_row_a_day(read):
    """Both stamps stand at one time of day; that of the site is the day."""
    rows = "".join(f"2025-06-{day + 1:02}T03:59:59Z,2025-06-{day:02} 23:59:59,14,30,0\n" for day in range(1, 21))
    daily = read(f"obsTimeUtc,obsTimeLocal,tmin,tmax,rain\n{rows}").daily
    assert str(daily.index[0].date()) == "2025-06-01"


def test_the_times_of_sunrise_make_no_table_of_records(read):
    rows = "".join(f"2025-06-{day:02},14,30,0,2025-06-{day:02}T05:1{day % 10}:00\n" for day in range(1, 21))
    assert len(read(f"datetime,tmin,tmax,rain,sunrise\n{rows}").daily) == 20


def test_a_line_of_blanks_below_the_rows_is_nothing(read):
    assert len(read(SOUND + "   ").daily) == 20


def test_a_legend_whose_cells_name_a_column_and_its_unit_is_read(read):
    """As BADC-CSV has it, from memory: long_name, the column, its words, its unit."""
    rows = "".join(f"2025-06-{day:02},14,30,0,7.2\n" for day in range(1, 21))
    with pytest.raises(WeatherError) as caught:
        read(f"long_name,wind_speed,Mean wind speed,knots\ndate,tmin,tmax,rain,wind_speed\n{rows}")
    assert 'wind = { column = "wind_speed", unit = "knot" }' in str(caught.value)


@pytest.mark.parametrize("moment", ["2025-05-{:02} 00:00 IST", "2025-05-{:02}T00:00:00[Elsewhere]", "{:02}/05 00:00"])
def test_moments_that_are_written_in_a_way_of_their_own_are_what_is_told(read, moment):
    """It was told that there is no column date, and the lines to paste led back to it."""
    rows = "".join(f"{moment.format(day)},{day},60,0\n" for day in range(1, 9))
    line = refused(read, f"datetime,temperature (°C),humidity (%),rain (mm)\n{rows}")
    assert line.startswith(f'station.csv: line 2: datetime = "{moment.format(1)}" is no date or time that is known')
    assert "such as 2025-05-01, 2025-05-01 13:00" in line


@pytest.mark.parametrize(
    ("header", "unit", "said"),
    [
        ("RH max (%)", "%", 'rh_mean: "RH max (%)" says itself that it is the rh_max'),
        ("humidity (g/m³)", "g/m3", "an absolute humidity can't be used: take the line out"),
    ],
)
def test_a_column_is_not_named_for_another_quantity_than_its_header_says(read, header, unit, said):
    """A highest humidity that was named for the mean made a season dull; of g/m³ it was said to write "%"."""
    text = SOUND.replace("rh_max", header)
    with pytest.raises(WeatherError) as caught:
        read(text, rh_mean={"column": header, "unit": unit})
    assert said in str(caught.value)
    assert ('rh_max = { column = "RH max (%)"' in str(caught.value)) is (unit == "%")


def test_a_mass_in_a_volume_of_air_is_not_asked_for_as_a_relative_humidity(read):
    assert "rh_max" not in read(SOUND.replace("rh_max", "humidity (g/m³)")).daily


@pytest.mark.parametrize(
    ("header", "same", "told"),
    [
        ("tmean (°C)", 27, True),  # of thirty days
        ("tmean (°C)", 26, False),
        ("Mean Temperature", 30, True),
        ("AvgTemp (°C)", 30, True),
        ("mean (°C)", 30, True),
        ("Average", 30, False),
        ("Tmax avg (°C)", 30, False),
        ("Mean Max Temperature", 30, False),
        ("Temp (°C)", 30, False),
        ("Soil Temp Avg (°C)", 30, False),
    ],
)
def test_a_maximum_with_the_figures_of_the_files_own_mean_is_doubted(read, header, same, told):
    """As where the mean was pasted for it; nine days in ten tell."""
    warm = [20 + day % 7 for day in range(30)]
    mean = [each + (0 if day < same else 3) for day, each in enumerate(warm)]
    text = table(30, tmax=warm, mean=mean).replace("mean", header, 1)
    found = [caution.sentence for caution in read(text).cautions if caution.name == "range-half"]
    assert [f'"{header}"' in sentence for sentence in found] == [True] * told


@pytest.mark.parametrize(("same", "means"), [(0, None), (27, {"tmax": "tmean (°C)"})])
def test_days_that_have_neither_are_not_alike(same, means, tmp_path):
    """Both columns begin with the last thirty days."""
    warm = ["" if day < 570 else 20 + day % 7 for day in range(600)]
    mean = [each if day < 570 or day >= 600 - same else each - 5 for day, each in enumerate(warm)]
    file = tmp_path / "weather.csv"
    file.write_text(table(600, tmax=warm, mean=mean).replace("mean", "tmean (°C)", 1), encoding="utf-8")
    assert open_weather([file], SITE, shown_as="station.csv").file.raw.means == means


@pytest.mark.parametrize(("days", "header", "told"), [(30, "Temp Avg", 1), (29, "Temp Avg", 0), (30, "Temp", 0)])
def test_a_mean_that_is_named_for_an_extreme_is_doubted_and_worth_a_wider_range(read, days, header, told):
    text = table(days, tmax=[20 + day % 7 for day in range(days)]).replace("tmax", header, 1)
    found = [each for each in read(text, tmax=ColumnChoice(header, "degC")).cautions if each.name == "range-half"]
    assert [bool(re.search(r"ETo is \d+ mm \(\+\d+ mm\)$", each.worth)) for each in found] == [True] * told
