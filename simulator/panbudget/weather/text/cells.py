"""
Cells: the rows of a table as columns of numbers and texts, all rows at once; what is no number is named by its line.

A decimal comma is read where commas don't part the columns, and one of comma and point throughout. Knows nothing of
weather.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import Problem
from panbudget.numeric import Floats, Ints
from panbudget.weather.text.mistakes import Mistakes, shortened
from panbudget.weather.text.rows import Rows, split
from panbudget.words import and_more

#: what people and stations write where they have no figure
MISSING = (
    "",
    "NA",
    "N/A",
    "n/a",
    "na",
    "NaN",
    "nan",
    "null",
    "NULL",
    "None",
    "-",
    "--",
    "---",
    "--.-",
    "---.-",
    "----",
)

_POINT = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_COMMA = re.compile(r"[+-]?(?:\d+,\d*|,\d+)(?:[eE][+-]?\d+)?")
_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:[., ']\d{3})+(?:[.,]\d+)?")
# a number that has both marks tells which is which
_BOTH_MARKS = {".": re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+,\d+"), ",": re.compile(r"[+-]?\d{1,3}(?:,\d{3})+\.\d+")}
_WITH_UNIT = re.compile(r"[+-]?\d+(?:[.,]\d+)?\s*[^\d\s.,].*")
_SPOKEN_MISSING = {*(word.lower() for word in MISSING), "*", "?", "m", "x", "missing", "nd", "n.d.", "."}
_TRACE = {"t", "tr", "tr.", "trace", "p"}
_CORRECT = "correct it, or leave the cell empty if the value is missing"


@dataclass(frozen=True, eq=False)
class Cells:
    """
    The columns that were asked for.

    Parameters
    ----------
    numbers : dict
        Place of the column -> ndarray (rows,), NaN where missing.
    texts : dict
        Place of the column -> the cells as text.
    lines : ndarray of int, (rows,)
        The line of the file that each row stands on.
    decimal : str
        "point" or "comma".
    """

    numbers: dict[int, Floats] = field(default_factory=dict)
    texts: dict[int, pd.Series[str]] = field(default_factory=dict)
    lines: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    decimal: str = "point"


def read_cells(
    rows: Rows,
    mistakes: Mistakes,
    *,
    numbers: Mapping[int, str],
    texts: Sequence[int] = (),
    missing: Sequence[str] = MISSING,
    units: Mapping[int, str] | None = None,
    thousands: bool = False,
) -> Cells:
    """
    Read columns of a table.

    Parameters
    ----------
    rows : Rows
    mistakes : Mistakes
        Where cells are noted that are no numbers; they are NaN.
    numbers : mapping
        Place of a column of numbers -> its name in messages.
    texts : sequence of int
        Places of columns of text.
    missing : sequence of str
        What stands for a missing number.
    units : mapping, optional
        Place of a column -> its unit, for messages.
    thousands : bool
        Whether marks between thousands are read, where one number of the file has both marks: "1.234,5".

    Returns
    -------
    Cells
    """
    if not rows.texts:
        return Cells()
    marks: dict[Any, list[str]] = {place: list(missing) for place in numbers}
    try:
        frame = pd.read_csv(
            io.StringIO("\n".join(rows.texts)),
            sep=r"\s+" if rows.separator == " " else rows.separator,
            header=None,
            names=list(range(rows.width)),
            index_col=False,
            usecols=sorted({*numbers, *texts}),
            dtype=dict.fromkeys(texts, str),
            na_values=marks,
            keep_default_na=False,
            skipinitialspace=True,
            low_memory=False,
        )
    except (pd.errors.ParserError, ValueError, OverflowError):
        frame = None
    if frame is None or len(frame) != len(rows.lines):
        found = "its rows can't be told apart (a quotation mark out of place?)"
        mistakes.others.append(Problem("no-rows", found=found, cure="export the file again"))
        return Cells()
    columns = _Numbers(rows, mistakes, dict(numbers), dict(units or {}))
    values = columns.read({place: frame[place] for place in numbers}, thousands=thousands)
    words = {place: frame[place].fillna("").astype(str) for place in texts}
    return Cells(values, words, rows.lines, "comma" if columns.with_comma else "point")


@dataclass(eq=False)
class _Numbers:
    """Columns of numbers; the first cell with a decimal comma, and the first with a point, as (row, place, text)."""

    rows: Rows
    mistakes: Mistakes
    names: dict[int, str]
    units: dict[int, str]
    with_comma: tuple[int, int, str] | None = None
    with_point: tuple[int, int, str] | None = None

    def read(self, columns: Mapping[int, pd.Series], *, thousands: bool) -> dict[int, Floats]:
        wordy = {place: column for place, column in columns.items() if column.dtype.kind not in "fiu"}
        mark = _thousands_mark(wordy) if thousands else ""
        bad: list[tuple[int, int, str]] = []
        values = {}
        for place, column in columns.items():
            if place in wordy:
                values[place] = self._of_words(place, column, mark, bad)
                continue
            values[place] = column.to_numpy(dtype=np.float64)
            for i in np.flatnonzero(np.isinf(values[place])).tolist():
                bad.append((i, place, self._cell(i, place)))
                values[place][i] = np.nan
        self._note(bad)
        if self.with_comma is not None and (point := self._point(columns, wordy)) is not None:
            (comma_line, comma), (point_line, other) = (
                (f"line {self.rows.lines[i]}, column {self.names[place]}:", text)
                for i, place, text in (self.with_comma, point)
            )
            found = f"{comma!r} has a decimal comma and {point_line} {other!r} a decimal point"
            problem = Problem("two-decimals", comma_line, found, "one of the two throughout", "replace one", comma)
            self.mistakes.others.append(problem)
        return values

    def _cell(self, i: int, place: int) -> str:
        return split(self.rows.texts[i], self.rows.separator)[place]

    def _of_words(self, place: int, column: pd.Series, mark: str, bad: list[tuple[int, int, str]]) -> Floats:
        values = np.full(len(column), np.nan)
        there = np.flatnonzero(column.notna().to_numpy())
        texts = column.iloc[there].astype(str).str.strip().str.replace("−", "-")
        plain = texts
        if mark:
            marked = texts.str.fullmatch(_THOUSANDS) & ~texts.str.contains("[ ']")
            plain = texts.where(~marked, texts.str.replace(mark, "", regex=False))
        point = plain.str.fullmatch(_POINT).to_numpy(dtype=bool)
        comma = np.zeros(len(texts), dtype=bool)
        if self.rows.separator not in ", ":
            comma = plain.str.fullmatch(_COMMA).to_numpy(dtype=bool)
        read = pd.to_numeric(plain.where(point | comma).str.replace(",", "."), errors="coerce").to_numpy(dtype=float)
        read[np.isinf(read)] = np.nan
        values[there] = read
        if comma.any() and self.with_comma is None:
            i = int(np.argmax(comma))
            self.with_comma = int(there[i]), place, plain.iloc[i]
        for i in np.flatnonzero(np.isnan(read)).tolist():
            if texts.iloc[i]:
                bad.append((int(there[i]), place, texts.iloc[i]))
        dotted = point & plain.str.contains(".", regex=False).to_numpy(dtype=bool)
        if dotted.any() and self.with_point is None:
            i = int(np.argmax(dotted))
            self.with_point = int(there[i]), place, plain.iloc[i]
        return values

    def _point(self, columns: Mapping[int, pd.Series], wordy: Mapping[int, pd.Series]) -> tuple[int, int, str] | None:
        """Find a cell with a decimal point; in columns that were read at a stroke only now that it matters."""
        for place, column in columns.items():
            if self.with_point is None and place not in wordy and column.dtype.kind == "f":
                cells = ((i, self._cell(i, place)) for i in range(len(column)))
                self.with_point = next(((i, place, text) for i, text in cells if "." in text), None)
        return self.with_point

    def _note(self, bad: Sequence[tuple[int, int, str]]) -> None:
        """Name cells that are no numbers, those with one cure in one line."""
        kinds: dict[tuple[str, int], list[tuple[int, int, str]]] = {}
        for cell in bad:
            cure, is_habit = _cure(self.names[cell[1]], cell[2])
            kinds.setdefault((cure, -1 if is_habit else cell[1]), []).append(cell)
        for (cure, _), cells in kinds.items():
            i, place, text = cells[0]
            others = [self.names[other] for other in dict.fromkeys(cell[1] for cell in cells) if other != place]
            more = and_more(len(cells) - 1, "cell")
            if others:
                more = more.replace(")", f", also in {', '.join(others)})")
            where = f"line {self.rows.lines[i]}, column {self.names[place]}:"
            expected = f"a number ({self.units[place]})" if place in self.units else "a bare number"
            found = f"{shortened(text)!r} is not a number{more}"
            self.mistakes.others.append(Problem("no-number", where, found, expected, cure, text))


def is_number(text: str) -> bool:
    """Tell whether a cell is a plain number, with a decimal point or comma."""
    return bool(_POINT.fullmatch(text) or _COMMA.fullmatch(text))


def _thousands_mark(columns: Mapping[int, pd.Series]) -> str:
    """
    Say what parts thousands, if a number that has both marks shows it and none shows the opposite.

    Then 1.234 can only be 1234 in such a file, and is read so throughout.
    """
    seen = {
        mark
        for mark, form in _BOTH_MARKS.items()
        if any(c.astype(str).str.fullmatch(form).any() for c in columns.values())
    }
    return seen.pop() if len(seen) == 1 else ""


def _cure(name: str, text: str) -> tuple[str, bool]:
    """Say what to do about a cell, and whether it is the whole file's habit: then one line does for all."""
    if text.lower() in _SPOKEN_MISSING:
        return "leave missing values empty", True
    if _COMMA.fullmatch(text) and not _THOUSANDS.fullmatch(text):
        return "write a decimal point, or save the file with semicolons between columns", True
    if "rain" in name and text.lower() in _TRACE:
        return "write a trace of rain as 0", False
    if text.startswith("#"):
        return "it is a spreadsheet's error mark: mend the formula, or leave the cell empty", True
    if _THOUSANDS.fullmatch(text):
        return "write numbers without thousands marks, and decimals with a point", True
    if _WITH_UNIT.fullmatch(text) and not _POINT.fullmatch(text):
        return (
            "write the bare number; name units where the file's columns are named, put remarks into a column of their own",
            True,
        )
    return _CORRECT, False
