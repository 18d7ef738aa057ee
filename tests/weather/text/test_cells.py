"""
Cells of a table at the bounds of the rules that tell a shifted row, a mark and a table of words; common practice, no source.

All texts are invented: columns whose rows go to and fro by one about a figure of their own.
"""

from __future__ import annotations

import pytest

from panbudget.weather.text.cells import _is_no_table_of_numbers, read_cells
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.rows import read_rows

FIGURES = [0.0, 100.0, 200.0, 300.0, 400.0]


def said(lines, names="abcde"):
    """Return what is said of a table's rows."""
    mistakes = Mistakes()
    rows = read_rows(["", *lines], mistakes, above=1, separator=",", width=len(names))
    read_cells(rows, mistakes, numbers=dict(enumerate(names)))
    return " ".join(problem.sentence() for problem in mistakes.problems())


def shifted(cells, *, figures=FIGURES, at=(15,), days=40, empty=None):
    """Return a table of which some rows have these cells and a last one that is empty, and one lacks its first cell."""
    lines = [",".join(str(figure + (-1) ** day) for figure in figures) for day in range(days)]
    for row in at:
        lines[row] = ",".join(map(str, [*cells, ""]))
    if empty is not None:
        lines[empty] = lines[empty].partition(",")[1] + lines[empty].partition(",")[2]
    return lines


def near_each_other(by):
    """Return a row whose first cell is far from its column's, and the others by so much."""
    figures = [0.0, 100.0, 100.0 + by, 100.0 + 2.0 * by, 100.0 + 3.0 * by]
    return {"cells": figures[1:], "figures": figures}


# the last table that passes, and the first of which a row looks shifted
SHIFTED = {
    "columns": ({"cells": FIGURES[1:4], "figures": FIGURES[:4]}, {"cells": FIGURES[1:]}),
    "share of rows": ({"cells": FIGURES[1:], "at": (15, 25), "days": 39}, {"cells": FIGURES[1:], "at": (15, 25)}),
    "rows near": ({"cells": FIGURES[1:], "at": (0,), "empty": 10}, {"cells": FIGURES[1:], "at": (0,), "empty": 11}),
    "cells": ({"cells": [*FIGURES[:3], 400.0]}, {"cells": [*FIGURES[:2], 300.0, 400.0]}),
    "misfit": (near_each_other(0.66), near_each_other(0.67)),  # (10 + 3 · 0.67) / 4 is more than 3
    "fit": ({"cells": [*FIGURES[1:4], 404.01]}, {"cells": [*FIGURES[1:4], 403.99]}),
}


@pytest.mark.parametrize(("last", "first"), SHIFTED.values(), ids=SHIFTED)
def test_a_row_looks_shifted_from_its_bound_on(last, first):
    for options, is_seen in ((last, False), (first, True)):
        assert ("looks shifted" in said(shifted(**options), "abcde"[: len(options["cells"]) + 1])) is is_seen


@pytest.mark.parametrize("dash", ["-", "–", "—", "−"])
def test_a_dash_of_any_length_is_a_missing_value(dash):
    assert not said([f"{dash if day < 9 else day},2,3,4,5" for day in range(20)])


@pytest.mark.parametrize("minus", ["-", "−"])  # the second is a text to what parses numbers
@pytest.mark.parametrize(("cell", "is_none"), [("1e12", False), ("1.01e12", True), ("1e308", True)])
def test_a_figure_beyond_that_of_any_unit_is_no_number(minus, cell, is_none):
    assert ("is not a number" in said([f"{minus}{cell if day == 3 else day},2" for day in range(20)], "ab")) is is_none


@pytest.mark.parametrize(("count", "is_a_mark"), [(9, False), (10, True)])
def test_a_text_that_stands_there_ten_times_may_be_a_mark(count, is_a_mark):
    found = said([f"{'?1' if day < count else day},2,3,4,5" for day in range(20)])
    assert (f"(and {count - 1} more cells)" in found, 'missing = ["?1"]' in found) == (True, is_a_mark)


@pytest.mark.parametrize(
    ("rows", "words", "is_none"), [(20_001, 10_001, True), (20_001, 10_000, False), (20_000, 10_001, False)]
)
def test_a_long_table_of_which_most_first_cells_are_words_is_none_of_numbers(rows, words, is_none):
    mistakes = Mistakes()
    table = read_rows(["", *["word,2"] * words, *["1,2"] * (rows - words)], mistakes, above=1, separator=",", width=2)
    assert _is_no_table_of_numbers(table, mistakes, {0: "a", 1: "b"}, (), None) is is_none
    assert not is_none or "among the first 20,000 rows" in mistakes.problems()[0].sentence()


def test_hours_and_minutes_are_no_decimal_point_beside_decimal_commas():
    mistakes = Mistakes()
    rows = read_rows(["", "1:36;0,5", "2:30;1,5"], mistakes, above=1, separator=";", width=2)
    read = read_cells(rows, mistakes, numbers={0: "sunshine", 1: "rain"}, units={0: "h"})
    assert not mistakes.problems()
    assert read.numbers[0].tolist() == [1.6, 2.5]


def test_a_time_of_day_behind_an_extreme_is_passed_over():
    mistakes = Mistakes()
    rows = read_rows(["", "6.6 °C at 14:20", "7.1 (05:10)"], mistakes, above=1, separator=",", width=1)
    assert read_cells(rows, mistakes, numbers={0: "tmax"}, units={0: "°C"}).numbers[0].tolist() == [6.6, 7.1]
