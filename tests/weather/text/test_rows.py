"""
The one row reader: which lines are rows, what is said of those that aren't, and files that people type.

All texts are invented; expectations are read off them by hand.
"""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panbudget.errors import ReadingsError
from panbudget.weather.text.cells import read_cells
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.rows import is_cut_off, moment_of, odd_numbers, read_rows, read_typed, split

HEADER = ["day", "a", "b"]


def rows_of(text, *, separator=",", **options):
    mistakes = Mistakes()
    lines = text.split("\n")
    rows = read_rows(lines, mistakes, above=1, separator=separator, width=3, **options)
    return rows, [problem.sentence() for problem in mistakes.problems()]


def test_rows_keep_their_lines_and_blank_ones_are_passed_over():
    rows, wrong = rows_of("day,a,b\n1,2,3\n\n,,\n  \n4,5,6\n")
    assert wrong == []
    assert rows.lines.tolist() == [2, 6]
    assert list(rows.cells()) == [["1", "2", "3"], ["4", "5", "6"]]


def test_separators_with_nothing_behind_them_are_no_cells():
    """The last cell of the second row is empty and stays one."""
    rows, wrong = rows_of("day,a,b\n1,2,3,,\n1,2,,, ,\n")
    assert wrong == []
    assert list(rows.cells()) == [["1", "2", "3"], ["1", "2", ""]]


@pytest.mark.parametrize(
    ("row", "is_told"), [("4,1,5,", True), ("4,1,57,", True), ("4,1,576,", False), ("4,1.5,6,", False)]
)
def test_a_row_too_wide_for_what_may_be_a_decimal_comma_is_none(row, is_told):
    _, wrong = rows_of(f"day,a,b\n1,2.0,3\n{row}\n")
    assert bool(wrong) is is_told
    assert not is_told or "line 3 has 4 cells where the header has 3" in wrong[0]


def test_a_row_of_another_width_is_named_by_its_line_and_left_out():
    rows, wrong = rows_of("day,a,b\n1,2\n1,2,3\n1\n1,2,3,4\n")
    assert rows.lines.tolist() == [3]
    assert wrong[0].startswith("line 2 has 2 cells (and 1 more row) where the header has 3; add the missing cells")
    assert wrong[1].startswith("line 5 has 4 cells where the header has 3; delete what is too much")
    assert "semicolons" in wrong[1]


def test_quotation_marks_hold_separators_and_must_be_closed():
    rows, wrong = rows_of('day,a,b\n1,"2, and more",3\n1,"2,3\n')
    assert list(rows.cells()) == [["1", "2, and more", "3"]]
    assert wrong[0].startswith(
        "line 3: a quotation mark is not closed on its line; close it or delete it, take a line break"
    )
    assert wrong[0].endswith("or download the file again")


def test_comments_and_the_header_again_are_no_rows():
    rows, wrong = rows_of("day,a,b\n# 1,2,3\n1,2,3\nday,a,b\n", header=HEADER, comments=True)
    assert (rows.comments, rows.repeated, rows.lines.tolist(), wrong) == ([2], [4], [3], [])
    again = Mistakes()
    assert rows.refuse_repeats(HEADER, again) is rows
    assert again.problems()[0].sentence() == "line 4 repeats the header, as when two files are joined; delete it"


@pytest.mark.parametrize(("count", "said"), [(9, "delete what is too much"), (10, "write a header above that line")])
def test_ten_rows_of_another_width_are_other_columns(count, said):
    _, wrong = rows_of("day,a,b\n1,2,3\n" + "1,2,3,4\n" * count)
    assert len(wrong) == 1
    assert wrong[0].startswith(f"line 3 has 4 cells (and {count - 1} more rows) where the header has 3")
    assert said in wrong[0]


def test_a_header_as_wide_as_no_row_has_a_name_in_parts():
    _, (wrong,) = rows_of("day,a,b\n" + "1,2\n" * 10)
    assert wrong.startswith("line 2 has 2 cells (and 9 more rows) where the header has 3, which no row has; put a name")


@settings(max_examples=40, deadline=None)
@given(st.lists(st.lists(st.from_regex(r"[0-9]{1,3}", fullmatch=True), min_size=3, max_size=3), min_size=1))
def test_numbers_read_are_the_numbers_written(table):
    """Rows and cells together, for every separator."""
    for separator in (",", ";", "\t", " "):
        rows, wrong = rows_of("x\n" + "\n".join(separator.join(row) for row in table), separator=separator)
        mistakes = Mistakes()
        cells = read_cells(rows, mistakes, numbers={0: "day", 2: "b"})
        assert wrong == mistakes.problems() == []
        assert cells.numbers[2].tolist() == [float(row[2]) for row in table]


def test_a_line_that_can_not_be_split_is_one_cell():
    assert split('"' + "x" * 200_000 + '"') == ['"' + "x" * 200_000 + '"']


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2025-06-01", (dt.datetime(2025, 6, 1), False)),
        ("2025/6/1 7:05", (dt.datetime(2025, 6, 1, 7, 5), True)),
        ("1.6.2025 18:30:59", (dt.datetime(2025, 6, 1, 18, 30), True)),
        ("2025-06-01 24:00", (dt.datetime(2025, 6, 2), True)),
        ("2025-06-01 24:01", (None, False)),
        ("2025-06-01 12:60", (None, False)),
        ("2025-06-01 12:00:60", (None, False)),
        ("2025-02-29", (None, False)),
        ("1/6/2025", (None, False)),
        ("", (None, False)),
    ],
)
def test_a_moment_is_read_or_none(text, moment):
    """1/6 may be January or June: no moment."""
    assert moment_of(text) == moment


@pytest.fixture
def typed(tmp_path):
    def reader(text, **more):
        path = tmp_path / "notes.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        known = ("date", "level_mm", "who", "note")
        units = {"level": ("mm", "level_mm")}
        options = {"what": "notebook", "shown": "notes.csv", "example": "date,level_mm", "known": known}
        return read_typed(path, **{**options, "needed": ("date",), "units": units, "spoken": {"day": "date"}, **more})

    return reader


def test_a_typed_file_gives_its_cells_by_our_names(typed):
    """Another word for a column, a unit in a header, a decimal comma."""
    table = typed("# mine\nDay;Level (cm);note\n2025-06-01 7:00;1,5;a\n")
    assert table.header == ("date", "level_mm", "note")
    row = table.rows[0]
    assert (row.line, row.number("level_mm"), row["note"], row["who"]) == (3, 15.0, "a", "")
    assert row.moment() == (dt.datetime(2025, 6, 1, 7), True)
    assert table.problems == []


@pytest.mark.parametrize("end", ["", ",", ",,,", ", , ", ',""'])
def test_empty_columns_at_a_typed_tables_end_are_read_as_nothing(typed, end):
    """Spreadsheets save them along; a row may have some of them, or none."""
    table = typed(f"date,level_mm,note{end}\n2025-06-01,15,a,,,\n2025-06-02,16,\n,,,,\n2025-06-03,17,b\n")
    assert table.header == ("date", "level_mm", "note") and table.problems == []
    assert [(row["level_mm"], row["note"]) for row in table.rows] == [("15", "a"), ("16", ""), ("17", "b")]


def test_a_cell_under_no_header_is_no_nothing(typed):
    (wrong,) = typed("date,note,\n2025-06-01,a,\n2025-06-02,b,c\n").problems
    assert wrong.sentence().startswith("line 3 has 3 cells where the header has 2")
    assert [problem.value for problem in typed(",date\n,2025-06-01\n").problems] == [""]


def test_what_is_wrong_in_a_typed_row_is_said_with_its_line(typed):
    table = typed("date,level_mm,who\nyesterday,-1,ann\n")
    row = table.rows[0]
    assert row.moment()[0] is row.number("level_mm") is row.choice("who", ["anna", "ben"], "the list") is None
    assert [problem.sentence() for problem in table.problems] == [
        'line 2: date "yesterday" is no date such as 2025-06-01 or 2025-06-01 18:30',
        'line 2: level_mm = "-1" is no number of zero or more',
        'line 2: who "ann" is not in the list; did you mean "anna"?',
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("# nothing\n", "notes.csv: is empty; expected: a header such as date,level_mm"),
        ("who\nann\n", "notes.csv: line 1: the header has no column date; known are date, level_mm, who, note"),
        (
            "who\n",
            "notes.csv: line 1: the header has no column date; known are date, level_mm, who, note; a header such as date,",
        ),
        (b"\xff\xfe\x00d", "notes.csv: is not a text file in UTF-8; save it as CSV in UTF-8"),
    ],
)
def test_a_typed_file_that_is_none_is_refused(typed, text, said):
    with pytest.raises(ReadingsError) as caught:
        typed(text)
    assert str(caught.value).startswith(said)


def test_a_column_unknown_or_twice_and_a_wrong_unit_are_problems(typed):
    problems = [problem.sentence() for problem in typed("date,x,whoo,who,who,y,level (kg)\n").problems]
    assert sum("known are" in text for text in problems) == 1, "the known ones were listed with each"
    assert 'line 1: "whoo" is no known column; did you mean "who"?' in problems
    assert 'line 1: the column "who" stands twice; keep one' in problems
    assert any(text.startswith('line 1: column level (kg): unit "kg" is a weight') for text in problems)


def test_a_typed_file_that_is_missing_is_refused(tmp_path):
    with pytest.raises(ReadingsError, match="there is no such notebook; check the path"):
        read_typed(tmp_path / "none.csv", what="notebook", shown="none.csv", example="date")
    with pytest.raises(ReadingsError, match="can't be read"):
        read_typed(tmp_path, what="notebook", shown="folder", example="date")


@pytest.mark.parametrize(
    ("rows", "coarse", "is_told"), [(5, None, False), (6, None, True), (31, 1, False), (31, 0, True)]
)
def test_a_last_cell_lacks_digits_by_the_rows_just_above(rows, coarse, is_told):
    """By five at least, and all of the thirty; one before them does not matter."""
    lines = [f"{day},2,3.{'2' if day in (coarse, rows - 1) else '25'}" for day in range(rows)]
    assert is_cut_off(rows_of("\n".join(["day,a,b", *lines]))[0], lines[-1]) is is_told


@pytest.mark.parametrize(("plus", "found"), [(3, [(2, "+5"), (3, "+5"), (4, "+5")]), (4, [])])
def test_numbers_of_another_form_are_named_if_they_are_three_at_most(plus, found):
    text = "\n".join(["day,a,b", *(f"{day},{'+5' if day < plus else 5},3" for day in range(9))])
    assert list(odd_numbers(rows_of(text)[0], text)) == found
