"""Rows read at a stroke hold the cells that they hold row by row."""

import numpy as np
import pytest

from panbudget.weather.text import rows as rows_module
from panbudget.weather.text.grid import Grid
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.moments import days_at_a_stroke
from panbudget.weather.text.rows import Rows, read_rows, split


def grid_of(*rows: str, separator: str = ",", width: int = 3, header: tuple[str, ...] = (), comments: bool = False):
    grid = Grid(rows, separator)
    return grid if grid.divided(header, width, comments) else None


@pytest.mark.parametrize(
    ("separator", "rows"),
    [
        (",", ["1,2,3", " 1,,  3", "12345678,123456789,x", "é,°C,", "-1,2,12345678901234567", "1,2,3"]),
        (";", ["1,5;2;3", ";;", "a b;  ;c"]),
        (" ", ["1  2 3", "  44 5 6", "7 8 9 "]),
        (",", ['"1","a, b","3"', '"","x",2', '1,"  2 ",3']),
    ],
)
def test_cells_are_those_of_each_row(separator, rows):
    grid = grid_of(*rows, separator=separator)
    assert grid is not None
    for place in range(3):
        code, texts = grid.column(place)
        assert [texts[i].strip() for i in code] == [split(row, separator)[place] for row in rows]
        assert len(set(texts)) == len(texts)


@pytest.mark.parametrize(
    "rows",
    [
        ["1,2,3", "1,2"],
        ["1,2,3", "1,2,3,4"],
        ["1,2", "1,2,3,4"],  # as many cells as two rows have, but not in each
        ['"1,2,3'],
        ['1,"a"b,3'],
        ['1,a"b",3'],
        ['1,"a\n2,3,b",3,4'],
        ["1,2,3\r"],
        ["1,2,\0"],
        ["date,2,3"],
        ["1,2,# 3"],
    ],
)
def test_what_is_not_alike_is_no_grid(rows):
    assert grid_of(*rows, header=("date", "b", "c"), comments=True) is None


@pytest.mark.parametrize("rows", [["1 2", "3 4 5 6"], ["1 2 3 ", "4 5 °"], ["1\t2 3"], ["1 2\x0b3"], ['1 "2" 3']])
def test_rows_parted_by_blanks_are_alike_only_if_plain(rows):
    assert grid_of(*rows, separator=" ") is None


def test_rows_without_a_cell_and_comments_are_told():
    rows = ["1,2,3", " , ,\t", "", "  # note, x", "   1,2,3", ","]
    assert sorted(Grid(rows, ",").empty_rows(True)) == [1, 2, 3, 5]
    assert sorted(Grid(rows, ",").empty_rows(False)) == [1, 2, 5]


@pytest.mark.parametrize(
    ("texts", "days"),
    [
        (["2024-02-29", "1999-12-31"], ["2024-02-29", "1999-12-31"]),
        (["20240229", "19991231"], ["2024-02-29", "1999-12-31"]),
        (["29/02/2024", "31/12/1999"], ["2024-02-29", "1999-12-31"]),
        (["2024-02-29", "1999/12/31"], None),
        (["2024-02-29", "1999-12-3"], None),
        (["2024-02-29", "1999-12-3x"], None),
        (["2024-02-29", "1999-12-\u00b3"], None),
        (["2024-02/29", "1999-12/31"], None),
        (["2024-02-30"], None),
        (["01/02/2024"], None),
        (["29022024"], None),
        (["2024-1-01"], None),
    ],
)
def test_dates_of_one_form_are_read_at_a_stroke(texts, days):
    lines = [f"x,{text}" for text in texts]
    rows = Rows(",", 2, np.arange(len(lines)), lines, [], [], True, grid_of(*lines, width=2))
    read = days_at_a_stroke(rows, 1)
    assert (None if read is None else [str(day) for day in read]) == days


@pytest.mark.parametrize("more", [0, -1])
@pytest.mark.parametrize("last", ["7,8,9", "7,8"])
def test_rows_too_many_to_be_taken_at_once_hold_the_same(more, last, monkeypatch):
    lines = ["a,b,c", "1, x,3", "", "4,y ,6", last]
    monkeypatch.setattr(rows_module, "_MOST_AT_A_STROKE", sum(map(len, lines[1:])) + more)
    monkeypatch.setattr(rows_module, "_AT_ONCE", 2)
    mistakes = Mistakes()
    rows = read_rows(lines, mistakes, above=1, separator=",", header=["a", "b", "c"])
    whole = last == "7,8,9"
    assert (rows.grid is not None, rows.regular) == (whole and more == 0, whole)
    assert rows.lines.tolist() == [2, 4, 5][: 3 if whole else 2]
    assert (
        rows.columns([1, 0]).astype(str).to_numpy().tolist()
        == [["x", "1"], ["y", "4"], ["8", "7"]][: 3 if whole else 2]
    )
    assert len(mistakes.problems()) == (0 if whole else 1)
