"""
Cells: the rows of a long table as columns of numbers, with the line of each and every damaged one named.

For files too long to be read row by row. What is no number is named with its line; what stands for a missing
value is counted. Knows nothing of weather.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem
from panbudget.physics.air import Floats
from panbudget.weather.text.dates import and_more

__all__ = ["MISSING", "Cells", "read_cells"]

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

_SAW = re.compile(r"Expected (\d+) fields in line (\d+), saw (\d+)")
_SHOWN = 30
_NEWLINE = 10


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
    problems : list of Problem
        What is wrong; rows that don't fit are then left out.
    """

    numbers: dict[int, Floats] = field(default_factory=dict)
    texts: dict[int, pd.Series[str]] = field(default_factory=dict)
    lines: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    problems: list[Problem] = field(default_factory=list)


def read_cells(
    text: str,
    *,
    above: int,
    separator: str,
    width: int,
    numbers: Mapping[int, str],
    texts: Sequence[int] = (),
    decimal: str = ".",
    missing: Sequence[str] = MISSING,
    expected: str = "",
) -> Cells:
    """
    Read columns of a long table.

    Parameters
    ----------
    text : str
        The whole file.
    above : int
        How many lines stand above the first row.
    separator : str
        One character; a space stands for any run of spaces and tabs.
    width : int
        How many cells a row has.
    numbers : mapping
        Place of a column of numbers -> its name in messages.
    texts : sequence of int
        Places of columns of text.
    decimal : str
        "." or ",".
    missing : sequence of str
        What stands for a missing number.
    expected : str
        Says where the width comes from; "the header has N" if left out.

    Returns
    -------
    Cells
        Rows without any cell are passed over.
    """
    body, lines, counts, quoted = _lines(text, above, separator)
    if quoted % 2:
        message = "a quotation mark is opened and not closed; close it or delete it"
        return Cells(problems=[Problem.of_text(message, key="rows")])
    problems = _ragged(lines, counts + 1, width, separator, expected or f"the header has {width}")
    if problems:
        return Cells(problems=problems)
    if not len(lines):
        return Cells()
    wanted = sorted({*numbers, *texts})
    marks: dict[Any, list[str]] = {place: list(missing) for place in numbers}
    try:
        frame = pd.read_csv(
            io.BytesIO(body),
            sep=r"\s+" if separator == " " else separator,
            header=None,
            names=list(range(int(counts.max()) + 1)),
            index_col=False,
            usecols=wanted,
            dtype=dict.fromkeys(texts, str),
            na_values=marks,
            keep_default_na=False,
            decimal=decimal,
            skipinitialspace=True,
            low_memory=False,
        )
    except (pd.errors.ParserError, ValueError, OverflowError) as error:
        return Cells(
            problems=[Problem.of_text(f"its rows can't be told apart ({_first_line(error)}); export it again")]
        )
    if len(frame) != len(lines):
        message = "its rows can't be told apart (a quotation mark out of place?); export the file again"
        return Cells(problems=[Problem.of_text(message, key="rows")])
    values: dict[int, Floats] = {}
    for place, name in numbers.items():
        values[place], problem = _numbers(frame[place], lines, name, decimal)
        if problem is not None and problem not in problems:
            problems.append(problem)
    found = {place: frame[place].fillna("").astype(str) for place in texts}
    if found and not problems:
        blank = np.all([(column == "").to_numpy(dtype=bool) for column in found.values()], axis=0)
        if blank.any():
            # separators alone, as spreadsheets leave them below a table
            kept = ~(blank & np.all([np.isnan(column) for column in values.values()], axis=0))
            values = {place: column[kept] for place, column in values.items()}
            found = {place: column[kept].reset_index(drop=True) for place, column in found.items()}
            lines = lines[kept]
    return Cells(values, found, lines, problems)


def _lines(text: str, above: int, separator: str) -> tuple[bytes, npt.NDArray[np.int64], npt.NDArray[np.int64], int]:
    """Return the rows' text, the line and the count of separators of each that isn't blank, and of quotes."""
    start = 0
    for _ in range(above):
        end = text.find("\n", start)
        if end < 0:
            return b"", np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), 0
        start = end + 1
    body = text[start:].encode("utf-8", "surrogatepass")
    data = np.frombuffer(body, dtype=np.uint8)
    if not data.size:
        return b"", np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), 0
    starts = np.concatenate([[0], np.flatnonzero(data == _NEWLINE) + 1])
    starts = starts[starts < len(data)]
    if separator == " ":
        # a cell begins where ink follows on none
        ink = (data != 32) & (data != 9) & (data != _NEWLINE)
        begins = ink.copy()
        begins[1:] &= ~ink[:-1]
        counts = _per_line(begins, starts)
        there = counts > 0
        return body, (np.flatnonzero(there) + above + 1).astype(np.int64), counts[there] - 1, 0
    parts = data == ord(separator)
    quotes = np.flatnonzero(data == ord('"'))
    if quotes.size:
        places = np.flatnonzero(parts)
        parts[places[np.searchsorted(quotes, places) % 2 == 1]] = False
    counts = _per_line(parts, starts)
    there = ~np.isin(data[starts], (32, 9, 10, 13))
    if not there.all():
        # lines that begin with none may have ink further on; to pandas a row of tabs alone is a row
        ink = (data != 32) & (data != 9) & (data != _NEWLINE) & (data != 13)
        there |= (_per_line(ink, starts) > 0) | ((counts > 0) & (separator == "\t"))
    return body, (np.flatnonzero(there) + above + 1).astype(np.int64), counts[there], len(quotes)


def _per_line(marks: npt.NDArray[np.bool_], starts: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    edges = np.searchsorted(np.flatnonzero(marks), np.append(starts, marks.size))
    return np.asarray(np.diff(edges), dtype=np.int64)


def _ragged(
    lines: npt.NDArray[np.int64], cells: npt.NDArray[np.int64], width: int, separator: str, expected: str
) -> list[Problem]:
    problems = []
    # a separator at every row's end, with nothing behind it, is a habit of some programs
    usual = width + 1 if len(cells) and bool((cells == width + 1).mean() > 0.5) else width
    for wrong, cure in (
        (cells > usual, "delete what is too much"),
        (
            cells < width,
            "add the missing cells (empty where a value is missing); a last line cut off means a broken "
            "copy: copy or export the file again",
        ),
    ):
        if not wrong.any():
            continue
        if separator == "," and cells[int(np.argmax(wrong))] > usual:
            cure += "; if the numbers have decimal commas, save the file with semicolons between columns"
        place = int(np.argmax(wrong))
        message = (
            f"line {lines[place]} has {cells[place]} cells{and_more(int(wrong.sum()) - 1, 'row')} where {expected}; "
            f"{cure}"
        )
        problems.append(Problem.of_text(message, key=f"line {lines[place]}", value=int(cells[place])))
    return problems


def _numbers(column: pd.Series, lines: npt.NDArray[np.int64], name: str, decimal: str) -> tuple[Floats, Problem | None]:
    if column.dtype.kind in "fiu":
        values = column.to_numpy(dtype=np.float64)
        wrong = np.isinf(values)
    else:
        texts = column.astype(object)
        if decimal == ",":
            texts = texts.map(_with_point)
        values = pd.to_numeric(texts, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
        wrong = np.isnan(values) & column.notna().to_numpy() | np.isinf(values)
        # pandas takes a column of True and False for numbers
        wrong |= np.fromiter((isinstance(cell, bool) for cell in texts), dtype=bool, count=len(texts))
    if not wrong.any():
        return values, None
    place = int(np.argmax(wrong))
    text = str(column.iloc[place]).strip()
    shown = text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."
    if text == name:
        message = f"line {lines[place]} repeats the header, as when two files are joined; delete it"
        return np.where(wrong, np.nan, values), Problem.of_text(message, key=f"line {lines[place]}")
    mark = "comma" if decimal == "," else "point"
    message = (
        f'line {lines[place]}, column "{name}": {shown!r} is not a number{and_more(int(wrong.sum()) - 1, "cell")}; a '
        f"bare number with a decimal {mark} is expected: correct it, or leave the cell empty if the value is missing"
    )
    return np.where(wrong, np.nan, values), Problem.of_text(message, key=name, value=text)


def _with_point(cell: object) -> object:
    """Turn a decimal comma into a point; what has a point already stays no number."""
    if not isinstance(cell, str):
        return cell
    return "?" if "." in cell else cell.replace(",", ".")


def _first_line(error: Exception) -> str:
    text = str(error).strip().split("\n")[0]
    match = _SAW.search(text)
    return text[:80] if match is None else f"{match[1]} cells are expected, and there are {match[3]}"
