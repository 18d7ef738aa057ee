"""
Workbooks: a sheet reads like the same table as text.

The workbooks are invented and made here with openpyxl. Layout: ECMA-376, SpreadsheetML (from memory).
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import sys
import zipfile

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from panbudget.weather.text.source import open_source
from panbudget.weather.text.workbook import _count_tags, _text
from tests.weather.sites import Site

openpyxl = pytest.importorskip("openpyxl")

SITE = Site(latitude=38.0, elevation=100.0)
HEADER = ["date", "tmin", "tmax", "rh_max", "rh_min", "wind", "rain", "radiation"]
DAY = [14, 30.5, 80, 35, 2, 0.00001, 24]


def rows(count=20):
    """Return a header and ordinary days."""
    start = dt.datetime(2025, 6, 1)
    return [HEADER, *([start + dt.timedelta(days=index), *DAY] for index in range(count))]


def workbook(sheets):
    """Return a workbook's bytes."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, lines in sheets.items():
        sheet = book.create_sheet(name)
        for line in lines:
            sheet.append(line)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def opened(tmp_path, content):
    file = tmp_path / "station.xlsx"
    file.write_bytes(content)
    return open_source(file, shown_as="station.xlsx")


def refusal(tmp_path, content):
    """Open a workbook that must be refused; return its one line."""
    with pytest.raises(WeatherError) as caught:
        opened(tmp_path, content)
    lines = str(caught.value).splitlines()
    assert len(lines) == 1, lines
    return lines[0]


def edited(content, member, old, new):
    """Return a workbook in one of whose parts a text is replaced, as a spreadsheet program would have it."""
    source = zipfile.ZipFile(io.BytesIO(content))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as target:
        for name in source.namelist():
            part = (
                source.read(name).replace(b"<v/>", b"<v />").replace(b"<v></v>", b"<v />")
            )  # as with lxml and without
            if name == member:
                assert old in part
                part = part.replace(old, new)
            target.writestr(name, part)
    return out.getvalue()


def test_a_sheet_reads_like_the_same_table_as_text(tmp_path):
    """Same numbers, same days."""
    book = tmp_path / "station.xlsx"
    book.write_bytes(workbook({"Data": rows()}))
    plain = tmp_path / "station.csv"
    plain.write_text("\n".join(",".join(map(str, row)) for row in rows()).replace(" 00:00:00", ""), encoding="utf-8")
    ours, theirs = read_weather(book, SITE), read_weather(plain, SITE)
    pd.testing.assert_frame_equal(ours.daily, theirs.daily)
    assert str(ours.daily.index[0].date()) == "2025-06-01"
    assert ours.daily["rain"].iloc[0] == 0.00001


def test_cells_become_text_without_loss(tmp_path):
    """Dates ISO, numbers in full, an empty cell empty, a line's end in a cell a space."""
    row = [dt.datetime(2025, 6, 1, 13, 30), dt.date(2025, 6, 1), 1e-7, 0.1, 20250601, 1e15, True, None, "a\nb", "1,5"]
    source = opened(tmp_path, workbook({"Data": [list("abcdefghij"), row]}))
    assert source.text.split("\n")[1].split("\t") == [
        "2025-06-01 13:30:00",
        "2025-06-01",
        "0.0000001",
        "0.1",
        "20250601",
        "1000000000000000",
        "TRUE",
        "",
        "a b",
        "1,5",
    ]
    assert source.taken_from == "sheet 'Data'"


def test_the_only_sheet_with_data_is_taken_and_rows_keep_their_numbers(tmp_path):
    """An empty first sheet and empty rows above the header are common."""
    source = opened(tmp_path, workbook({"Sheet1": [], "Sheet2": [[], [None, None], *rows(2)]}))
    assert source.text.split("\n")[:3] == ["", "", "\t".join(HEADER)]


def test_a_row_whose_last_cells_are_empty_is_no_short_row(tmp_path):
    """The sheet does not keep empty cells at a row's end."""
    lines = rows()
    lines[4] = [*lines[4][:-1], None]
    file = tmp_path / "station.xlsx"
    file.write_bytes(workbook({"Data": lines}))
    assert read_weather(file, SITE).filled()["radiation"] == {"radiation from temperature range": 1}


def test_several_sheets_with_data_are_refused_by_name(tmp_path):
    """Which one is the weather is a guess."""
    line = refusal(tmp_path, workbook({"2024": rows(), "2025": rows()}))
    assert "2 sheets ('2024', '2025')" in line
    assert "one is expected" in line


def test_of_several_sheets_the_only_one_with_days_is_taken(tmp_path):
    """Beside remarks and a list of gauges; common practice, no source."""
    notes = [["Gauge", "since", 2019], ["read at", 8], ["rain", "by hand"]]
    source = opened(tmp_path, workbook({"Notes": notes, "Data": rows(3)}))
    assert source.taken_from == "sheet 'Data'"
    assert source.text.startswith("\t".join(HEADER))


def test_a_sheet_a_month_is_one_table(tmp_path):
    """Sheets of one header and other days each follow each other; remarks beside them don't matter; common practice, no source."""
    months = {"May": rows(3), "June": [HEADER, *([day + dt.timedelta(days=3), *rest] for day, *rest in rows(2)[1:])]}
    source = opened(tmp_path, workbook({"Notes": [["Gauge", "since", 2019], ["rain", "by hand"]], **months}))
    assert [line[:10] for line in source.lines[1:6]] == [f"2025-06-0{day}" for day in range(1, 6)]
    assert source.taken_from == "2 sheets, 'May', 'June', as one table"


def test_a_sheet_a_quantity_may_have_its_months_across(tmp_path):
    """Its year stands in its title; below its days is a row of means, which is no day."""
    sheets = {
        name: [
            [f"{name} 2025"],
            ["Day", "May", "June"],
            *([day, base + day / 10, base + 1] for day in range(1, 32)),
            ["Mean", 1, 1],
        ]
        for name, base in (("Tmin °C", 8), ("Tmax °C", 20), ("Rain mm", 0))
    }
    head, first, *_ = opened(tmp_path, workbook(sheets)).lines
    assert head.split("\t") == ["parameter", "year", "month", *map(str, range(1, 32))]
    assert first.split("\t")[:5] == ["Tmin °C", "2025", "5", "8.1", "8.2"]


def test_a_sheet_has_as_many_rows_as_a_text_may_have(tmp_path, monkeypatch):
    monkeypatch.setattr("panbudget.weather.text.workbook.MOST_LINES", 3)
    assert opened(tmp_path, workbook({"Data": rows(2)}))
    assert "sheet 'Data' has more than 3 rows" in refusal(tmp_path, workbook({"Data": rows(3)}))


def test_what_openpyxl_would_read_for_minutes_is_refused_before(tmp_path, monkeypatch):
    """Blank rows, cells and strings are tags alike; one that is never closed takes memory."""
    content = workbook({"Data": rows()})
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        most = max(archive.read(name).count(b"<") for name in archive.namelist())
    monkeypatch.setattr("panbudget.weather.text.workbook._MOST_TAGS", most)
    assert opened(tmp_path, content)
    nested = edited(content, "xl/worksheets/sheet1.xml", b"<sheetData>", b"<sheetData>" + b"<a>")
    assert "its part 'xl/worksheets/sheet1.xml' has more than" in refusal(tmp_path, nested)
    monkeypatch.setattr("panbudget.weather.text.workbook._MOST_TAGS", 2 * most)
    monkeypatch.setattr("panbudget.weather.text.workbook._DEEPEST", 0)
    assert "damaged" in refusal(tmp_path, nested)


@pytest.mark.parametrize(
    ("part", "count", "refused"),
    [(b"<a>", 1000, False), (b"<a>", 1001, True), (b"<a/>", 3_000_000, False), (b"<a/>", 3_000_001, True)],
)
def test_a_part_has_three_million_tags_at_most_and_a_thousand_of_them_open(part, count, refused):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as target:
        target.writestr("xl/worksheets/sheet1.xml", part * count)
    with contextlib.nullcontext() if not refused else pytest.raises(WeatherError), zipfile.ZipFile(out) as archive:
        _count_tags(archive, "station.xlsx")


@pytest.mark.parametrize(("above", "width"), [(199, 3), (200, 2)])
def test_rows_are_as_wide_as_the_widest_of_the_first_200(above, width):
    text = _text([["a", "b"]] * above + [["a", "b", "c"]])
    assert len(text.partition("\n")[0].split("\t")) == width


def test_an_empty_workbook_is_refused(tmp_path):
    """Nothing in it."""
    assert "without a value in it" in refusal(tmp_path, workbook({"Data": []}))


def test_a_formula_gives_its_saved_result(tmp_path):
    """As any spreadsheet program saves it: <v> beside <f>; an empty text is marked t="str"."""
    content = workbook({"Data": [["date", "tmin"], ["2025-06-01", "=1+1"], ["2025-06-02", '=IF(1,"")']]})
    content = edited(content, "xl/worksheets/sheet1.xml", b"<f>1+1</f><v />", b"<f>1+1</f><v>2.5</v>")
    content = edited(content, "xl/worksheets/sheet1.xml", b'<c r="B3">', b'<c r="B3" t="str">')
    assert opened(tmp_path, content).text.split("\n")[1:3] == ["2025-06-01\t2.5", "2025-06-02\t"]


def test_a_formula_without_a_result_is_refused_by_its_cell(tmp_path):
    """Otherwise it would be a gap that nobody made."""
    line = refusal(tmp_path, workbook({"Data": [["date", "tmin"], ["2025-06-01", "=1+1"]]}))
    assert "cell B2 of sheet 'Data' holds a formula that was saved without its result" in line
    assert "save it again" in line


def test_a_date_kept_as_a_number_is_refused(tmp_path):
    """45809 is 2025-06-01 only by a convention of two."""
    lines = rows()
    lines[4][0] = 45811
    file = tmp_path / "station.xlsx"
    file.write_bytes(workbook({"Data": lines}))
    with pytest.raises(WeatherError, match=r"line 5: date = '45811' looks like a spreadsheet's day number"):
        read_weather(file, SITE)
    lines[4][0] = "2025-06-04"
    file.write_bytes(workbook({"Data": lines}))
    with pytest.raises(
        WeatherError, match="is no day number, as its unit .*; take unit = .* out where days are written"
    ):
        read_weather(file, SITE, columns={"date": {"column": "date", "unit": "day number"}})


def test_a_title_above_the_header_is_passed_over_and_noted(tmp_path):
    """As in a table of text."""
    file = tmp_path / "station.xlsx"
    file.write_bytes(workbook({"Data": [["Weather of an invented garden"], [], *rows()]}))
    weather = read_weather(file, SITE)
    assert len(weather.daily) == 20
    assert "the file says of itself: Weather of an invented garden" in weather.notes


def test_a_size_written_wrong_by_another_program_loses_nothing(tmp_path):
    """Some exporters write every sheet's size as A1."""
    content = edited(workbook({"Data": rows(5)}), "xl/worksheets/sheet1.xml", b'ref="A1:H6"', b'ref="A1:A1"')
    assert opened(tmp_path, content).text.count("\n") == 6


def test_without_openpyxl_the_message_says_what_to_install(tmp_path, monkeypatch):
    """It is an extra."""
    content = workbook({"Data": rows()})
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    assert "pip install 'panbudget[xlsx]'" in refusal(tmp_path, content)


def test_a_broken_workbook_is_refused_in_one_line(tmp_path):
    """Cut off, and bent inside."""
    content = workbook({"Data": rows()})
    assert "damaged" in refusal(tmp_path, content[: len(content) // 2])
    assert "damaged" in refusal(tmp_path, edited(content, "xl/worksheets/sheet1.xml", b"</row>", b"</rwo>"))


@settings(max_examples=60, deadline=None)
@given(
    places=st.lists(st.tuples(st.integers(0, 10_000), st.integers(0, 255)), max_size=3),
    member=st.sampled_from(["xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/styles.xml", "[Content_Types].xml"]),
)
def test_any_damage_to_a_workbook_is_refused_or_harmless(tmp_path_factory, places, member):
    """Never another exception than ours."""
    source = zipfile.ZipFile(io.BytesIO(workbook({"Data": rows(3)})))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as target:
        for name in source.namelist():
            part = bytearray(source.read(name))
            if name == member:
                for place, byte in places:
                    part[place % len(part)] = byte
            target.writestr(name, bytes(part))
    file = tmp_path_factory.mktemp("fuzz") / "station.xlsx"
    file.write_bytes(out.getvalue())
    try:
        weather = read_weather(file, SITE)
    except WeatherError:
        return
    assert np.isfinite(weather.daily["tmin"]).all()


@pytest.mark.parametrize(("hours", "timed"), [(1, True), (12, True), (24, False)])
def test_midnight_has_its_time_in_a_column_of_moments_and_none_in_one_of_days(hours, timed, tmp_path):
    """Records that begin at midnight are no days: a spreadsheet has no difference between a day and its midnight."""
    moments = [dt.datetime(2025, 6, 1) + dt.timedelta(hours=hours * n) for n in range(5)]
    lines = opened(tmp_path, workbook({"S": [["time", "temp"], *([at, 20.5] for at in moments)]})).lines
    assert lines[1].split("\t")[0] == ("2025-06-01 00:00:00" if timed else "2025-06-01")


def test_a_days_table_with_a_moment_among_its_days_stays_one(tmp_path):
    """Two at midnight for each other moment are the most of a column that is not of days."""
    for days, timed in ((2, True), (3, False)):
        moments = [*(dt.datetime(2025, 6, day) for day in range(1, days + 1)), dt.datetime(2025, 6, 9, 12)]
        lines = opened(tmp_path, workbook({"S": [["time", "temp"], *([at, 20.5] for at in moments)]})).lines
        assert lines[1].split("\t")[0] == ("2025-06-01 00:00:00" if timed else "2025-06-01")


@pytest.mark.parametrize(("second", "whole"), [("Date", True), ("Station", False)])
def test_a_sheet_a_quantity_may_have_its_name_over_the_figures(tmp_path, second, whole):
    days = [dt.date(2025, 6, day) for day in range(1, 21)]
    sheets = {
        "A": [["Date", "Tmin (°C)"], *([d, 10] for d in days)],
        "B": [[second, "Rain (mm)"], *([d, 1] for d in days)],
    }
    if whole:
        assert "Rain (mm)" in opened(tmp_path, workbook(sheets)).text
    else:
        assert "data on 2 sheets" in refusal(tmp_path, workbook(sheets))
