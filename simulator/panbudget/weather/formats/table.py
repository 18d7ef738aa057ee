"""
Table: the plain weather table, a header line and one row a day, as a spreadsheet or a station's export
saves it.

Comma, semicolon, tab or bar between the columns, found from the header line; a decimal comma where the
columns are not parted by commas; comment lines with #, and a title above the header. Thousands marks are read where one number of the file
has both marks, such as 1.234,5, so that there is nothing to guess. Missing values are empty cells: any other
text is named by line and column, since what it means is a guess.
"""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.weather.text.columns import STANDARD
from panbudget.weather.text.dates import and_more, read_dates
from panbudget.weather.text.header import Header, read_header
from panbudget.weather.text.raw import ColumnChoice, RawTable
from panbudget.weather.text.source import Source

__all__ = ["NAME", "SOURCE", "read", "sniff"]

NAME = "table"
#: where the format is described
SOURCE = "none: any table of this kind; the names of its columns are the program's own"

_SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_POINT = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_COMMA = re.compile(r"[+-]?(?:\d+,\d*|,\d+)(?:[eE][+-]?\d+)?")
_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:[., ']\d{3})+(?:[.,]\d+)?")
# a number that has both marks tells which is which
_POINT_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+,\d+")
_COMMA_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+\.\d+")
_WITH_UNIT = re.compile(r"[+-]?\d+(?:[.,]\d+)?\s*[^\d\s.,].*")
_PLAIN_SIGNS = frozenset("0123456789.+-eE")  # of these a float can be nothing but a number with a decimal point
_DIGITS_AND_MARKS = set("0123456789.,+-")
_MISSING = {
    "na",
    "n/a",
    "nan",
    "null",
    "none",
    "-",
    "--",
    "---",
    "*",
    "?",
    "m",
    "x",
    "missing",
    "nd",
    "n.d.",
    ".",
}
_TRACE = {"t", "tr", "tr.", "trace", "p"}


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is a plain table.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        0 where no line can be a header; low where one can, since other formats are tables too; high where it
        holds standard names. And why.
    """
    opening = _find_header(head.split("\n"))
    if opening is None:
        return 0.0, "no header line"
    names = {_plain(cell) for cell in _cells(opening.text, opening.separator)}
    if len(names) < 2:
        return 0.0, "no separator in the header line"
    if {"date", "tmin", "tmax"} <= names:
        return 0.9, "header line with the standard names"
    return 0.1, "header line and separators"


def read(source: Source, *, columns: Mapping[str, ColumnChoice]) -> RawTable:
    """
    Read a plain table.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Standard name -> column and unit, where the headers are not the standard names.

    Returns
    -------
    RawTable
        Rows in the file's order.

    Raises
    ------
    WeatherError
        All that is wrong with the header, the rows, the numbers and the dates.
    """
    lines = source.text.split("\n")
    opening = _find_header(lines)
    if opening is None:
        raise WeatherError(
            "holds only comments; a header line and one row a day are expected: export or copy it again",
            file=source.shown_as,
        )
    cells = _cells(opening.text, opening.separator)
    problem = _not_a_header(cells, opening)
    if problem is not None:
        raise WeatherError(problem, file=source.shown_as)
    header = read_header(cells, columns, line=opening.line)
    rows, problems, passed_over = _rows(lines, opening, cells)
    if header.problems:
        raise WeatherError(*header.problems, file=source.shown_as)
    if not rows and not problems:
        raise WeatherError(
            f"line {opening.line} is a header and no row follows; one row a day is expected: export the file again",
            file=source.shown_as,
        )
    dates, date_problems = read_dates([row.cells[header.places["date"]] for row in rows], [row.line for row in rows])
    values, decimal, number_problems = _numbers(rows, header, separator=opening.separator)
    problems += date_problems + number_problems
    if problems:
        raise WeatherError(*problems, file=source.shown_as)
    return RawTable(
        daily=_frame(dates, values),
        lines=tuple(row.line for row in rows),
        recognised=f"plain table: {_SEPARATORS[opening.separator]} between columns, decimal {decimal}",
        units=header.units,
        unit_is_stated=frozenset(header.unit_is_stated),
        headers={name: cells[place] for name, place in header.places.items() if cells[place] != name},
        conversions=header.conversions,
        notes=(*header.notes, *_said_above(lines, opening), *passed_over),
    )


@dataclass(frozen=True)
class _Opening:
    """The header line: its number, its text, and what parts its columns."""

    line: int
    text: str
    separator: str


@dataclass(frozen=True)
class _Row:
    line: int
    cells: list[str]


_MOST_SAID = 3  # comment lines repeated in a report
_MOST_TITLE_LINES = 20  # further down, a header isn't looked for


def _said_above(lines: list[str], opening: _Opening) -> list[str]:
    """What the file says of itself above its header."""
    above = [line.lstrip("#").strip() for line in lines[: opening.line - 1]]
    said = [text for text in above if text]
    return [f"the file says of itself: {text}" for text in said[:_MOST_SAID]]


def _find_header(lines: Sequence[str]) -> _Opening | None:
    """
    Find the header line: the first that is no comment.

    Lines of a single cell above a header with standard names are a title, and passed over too. Where values follow
    the comments at once, the last comment is the header if it has standard names.
    """
    declared = ""
    title: _Opening | None = None
    comment: _Opening | None = None
    for i, text in enumerate(lines):
        if text.lstrip().startswith("#"):
            comment = _Opening(i + 1, text.lstrip("# \t"), "")
            continue
        if not text.strip():
            continue
        if title is None and (match := re.fullmatch(r'"?sep=(.)"?\s*', text)) is not None and match[1] in _SEPARATORS:
            declared = match[1]  # a line that spreadsheets write and read
            continue
        bare = re.sub(r'"[^"]*"', "", text)
        opening = _Opening(i + 1, text, declared or max(_SEPARATORS, key=bare.count))
        cells = [cell for cell in _cells(text, opening.separator) if cell]
        if len(cells) > 1:
            if title is None and comment is not None and _is_row_of_values(cells):
                above = _cells(comment.text, opening.separator)
                if _has_standard_names(above):
                    return _Opening(comment.line, comment.text, opening.separator)
            return opening if title is None or _has_standard_names(cells) else title
        title = title or opening
        if i + 1 - title.line >= _MOST_TITLE_LINES:
            break
    return title


def _has_standard_names(cells: Sequence[str]) -> bool:
    return sum(name in STANDARD or name == "date" for name in map(_plain, cells)) > 1


def _plain(cell: str) -> str:
    """A header's name, without its unit in brackets."""
    return re.sub(r"[\s\-]+", "_", re.sub(r"[\[(].*", "", cell).strip().lower())


def _cells(text: str, separator: str) -> list[str]:
    if '"' not in text and "\r" not in text and len(text) < 1000:  # nothing in it that needs the csv rules
        return [cell.strip() for cell in text.split(separator)]
    try:
        return [cell.strip() for cell in next(csv.reader([text], delimiter=separator, skipinitialspace=True), [])]
    except csv.Error:  # a cell beyond any size
        return [text.strip()]


def _is_row_of_values(cells: Sequence[str]) -> bool:
    numbers = sum(1 for cell in cells if _POINT.fullmatch(cell) or _COMMA.fullmatch(cell))
    return numbers * 2 >= len(cells) or re.match(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}", cells[0]) is not None


def _not_a_header(cells: Sequence[str], opening: _Opening) -> Problem | None:
    shown = opening.text.strip()[:60]
    if len(cells) < 2:
        message = (
            f'line {opening.line}: "{shown}" has nothing that parts columns; a header with '
            "commas, semicolons or "
            "tabs is expected, such as date,tmin,tmax,rain: save the table as CSV"
        )
        return Problem.of_text(message, key=f"line {opening.line}", value=shown)
    if _is_row_of_values(cells):
        message = (
            f'line {opening.line}: "{shown}" is a row of values; a header line is expected above it: '
            "add one, such as date,tmin,tmax,rain"
        )
        return Problem.of_text(message, key=f"line {opening.line}", value=shown)
    return None


def _rows(
    lines: Sequence[str], opening: _Opening, header: Sequence[str]
) -> tuple[list[_Row], list[Problem], list[str]]:
    """Split the rows into cells; name those that don't fit the header, and note comments among them."""
    rows: list[_Row] = []
    short: list[tuple[int, int]] = []
    long: list[tuple[int, int]] = []
    problems: list[Problem] = []
    repeated: list[int] = []
    comments: list[int] = []
    for i, text in enumerate(lines[opening.line :]):
        line = opening.line + 1 + i
        if not text.strip():
            continue
        if text.lstrip().startswith("#"):
            comments.append(line)
            continue
        if text.count('"') % 2:
            message = f"line {line}: a quotation mark is opened and not closed; close it or delete it"
            problems.append(Problem.of_text(message, key=f"line {line}", value=text))
            continue
        cells = _cells(text, opening.separator)
        if not any(cells):
            continue
        while len(cells) > len(header) and not cells[-1]:
            cells.pop()  # a separator at the line's end, with nothing behind it
        if cells == list(header):
            repeated.append(line)
        elif len(cells) > len(header):
            long.append((line, len(cells)))
        elif len(cells) < len(header):
            short.append((line, len(cells)))
        else:
            rows.append(_Row(line, cells))
    if repeated:
        message = (
            f"line {repeated[0]}{and_more(len(repeated) - 1, 'line')} repeats the header, as "
            "when two files are "
            "joined; delete it"
        )
        problems.append(Problem.of_text(message, key=f"line {repeated[0]}"))
    if long:
        line, count = long[0]
        cure = "delete what is too much"
        if opening.separator == ",":
            cure += "; if the numbers have decimal commas, save the file with semicolons between columns"
        problems.append(_ragged(line, count, len(header), len(long) - 1, cure))
    if short:
        line, count = short[0]
        cure = "add the missing cells (empty where a value is missing); a last line cut off means a broken copy"
        problems.append(_ragged(line, count, len(header), len(short) - 1, cure))
    if rows and not _has_number(rows[0]):
        first = rows.pop(0)
        message = (
            f"line {first.line} holds no numbers (a row of units?); rows of values are "
            "expected below the header: "
            "delete it, and name units that are not the standard ones under [weather.columns]"
        )
        problems.append(Problem.of_text(message, key=f"line {first.line}"))
    notes = []
    if comments:
        more = and_more(len(comments) - 1, "line")
        shown = lines[comments[0] - 1].strip()[:60]
        notes.append(f'line {comments[0]}{more} among the rows begins with # and is passed over: "{shown}"')
    return rows, problems, notes


def _has_number(row: _Row) -> bool:
    return any(any(letter.isdigit() for letter in cell) and "/m" not in cell for cell in row.cells)


def _ragged(line: int, count: int, expected: int, more: int, cure: str) -> Problem:
    rest = and_more(more, "row")
    message = f"line {line} has {count} cells{rest} where the header has {expected}; {cure}"
    return Problem.of_text(message, key=f"line {line}", value=count)


def _numbers(
    rows: Sequence[_Row], header: Header, *, separator: str
) -> tuple[dict[str, list[float]], str, list[Problem]]:
    """Read the used columns' cells, in standard units; missing is NaN."""
    problems: list[Problem] = []
    values: dict[str, list[float]] = {}
    with_comma: tuple[int, str, str] | None = None
    with_point: tuple[int, str, str] | None = None
    bad: dict[tuple[str, str], list[tuple[int, str, str]]] = {}
    used = [place for name, place in header.places.items() if name != "date"]
    thousands = _thousands_mark(rows, used)
    for name, place in header.places.items():
        if name == "date":
            continue
        factor, offset = header.conversions.get(name, (1.0, 0.0))
        quick = None if thousands else _plain_numbers([row.cells[place] for row in rows])
        if quick is not None:
            values[name] = (quick * factor + offset).tolist()
            if with_point is None:
                shown = next(((row.line, row.cells[place]) for row in rows if "." in row.cells[place]), None)
                with_point = None if shown is None else (shown[0], name, shown[1])
            continue
        column: list[float] = []
        for row in rows:
            text = row.cells[place].replace("−", "-")
            number = np.nan
            if thousands and _THOUSANDS.fullmatch(text) and set(text) <= _DIGITS_AND_MARKS:
                text = text.replace(thousands, "")
            if _POINT.fullmatch(text):
                number = float(text)
                if "." in text:
                    with_point = with_point or (row.line, name, text)
            elif separator != "," and _COMMA.fullmatch(text):
                number = float(text.replace(",", "."))
                with_comma = with_comma or (row.line, name, text)
            if np.isfinite(number):
                column.append(number * factor + offset)
                continue
            column.append(np.nan)
            if text:
                cure, is_habit = _cure(name, text)
                bad.setdefault((cure, "" if is_habit else name), []).append((row.line, name, text))
        values[name] = column
    problems += [_not_a_number(cure, places) for (cure, _), places in bad.items()]
    if with_comma is not None and with_point is not None:
        line, name, text = with_comma
        other_line, other_name, other = with_point
        message = (
            f"line {line}, column {name}: {text!r} has a decimal comma and line {other_line}, "
            f"column {other_name}: "
            f"{other!r} a decimal point; one of the two is expected throughout: replace one"
        )
        problems.append(Problem.of_text(message, key=name, value=text))
    return values, "comma" if with_comma else "point", problems


def _plain_numbers(cells: Sequence[str]) -> npt.NDArray[np.float64] | None:
    """Numbers of a column that holds nothing but plain ones and empty cells, as most do; else nothing."""
    if not _PLAIN_SIGNS.issuperset("".join(cells)):
        return None
    try:
        numbers = np.array([float(cell) if cell else np.nan for cell in cells])
    except ValueError:
        return None
    return None if np.isinf(numbers).any() else numbers


def _thousands_mark(rows: Sequence[_Row], places: Sequence[int]) -> str:
    """
    Say what parts thousands, if a number that has both marks shows it and none shows the opposite.

    Then 1.234 can only be 1234 in such a file, and is read so throughout.
    """
    has_point = has_comma = False
    for row in rows:
        for place in places:
            text = row.cells[place]
            if "." in text and "," in text:
                has_point = has_point or _POINT_THOUSANDS.fullmatch(text) is not None
                has_comma = has_comma or _COMMA_THOUSANDS.fullmatch(text) is not None
    if has_point == has_comma:
        return ""
    return "." if has_point else ","


def _cure(name: str, text: str) -> tuple[str, bool]:
    """Say what to do about a cell, and whether it is the whole file's habit: then one line does for all."""
    if text.lower() in _MISSING:
        return "leave missing values empty", True
    if _COMMA.fullmatch(text) and not _THOUSANDS.fullmatch(text):
        return "write a decimal point, or save the file with semicolons between columns", True
    if name == "rain" and text.lower() in _TRACE:
        return "write a trace of rain as 0", False
    if text.startswith("#"):
        return "it is a spreadsheet's error mark: mend the formula, or leave the cell empty", True
    if _THOUSANDS.fullmatch(text):
        return "write numbers without thousands marks, and decimals with a point", True
    if _WITH_UNIT.fullmatch(text) and not _POINT.fullmatch(text):
        return (
            "write the bare number; units go under [weather.columns], remarks into a column of their own",
            True,
        )
    return "correct it, or leave the cell empty if the value is missing", False


def _not_a_number(cure: str, places: Sequence[tuple[int, str, str]]) -> Problem:
    line, name, text = places[0]
    others = [other for other in dict.fromkeys(place[1] for place in places) if other != name]
    rest = and_more(len(places) - 1, "cell")
    if others:
        rest = rest.replace(")", f", also in {', '.join(others)})")
    shown = text if len(text) <= 30 else text[:27] + "..."
    unit = STANDARD[name].shown_unit
    message = f"line {line}, column {name}: {shown!r} is not a number{rest}; a number is expected ({unit}): {cure}"
    return Problem.of_text(message, key=name, value=text)


def _frame(dates: Sequence[dt.date | None], values: Mapping[str, list[float]]) -> pd.DataFrame:
    stamps = np.array(dates, dtype="datetime64[D]").astype("datetime64[ns]")
    index = pd.DatetimeIndex(stamps, name="date")
    return pd.DataFrame({name: np.array(column, dtype=float) for name, column in values.items()}, index=index)
