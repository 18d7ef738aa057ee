"""
Workbook: the one sheet of an .xlsx file that holds data, or days, as tab-separated text that `table` reads; or all that have
one header and other days each, as of months, one below the other.

Row n of the (first) sheet becomes line n of the text, so that messages name rows as the spreadsheet shows them.
Formulas give the results that were saved with them. Needs openpyxl, an extra of the package.
"""

import contextlib
import csv
import datetime as dt
import io
import itertools
import re
import warnings
import zipfile
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from panbudget.errors import WeatherError
from panbudget.files import MOST_COLUMNS, MOST_LINES, MOST_UNPACKED
from panbudget.weather.text.heading import unit_of
from panbudget.weather.text.mistakes import listed, refusal
from panbudget.weather.text.moments import MONTH, is_dated, month_of
from panbudget.weather.text.opening import find_opening

_MOST_NAMED = 5
# of all sheets that are read, empty ones in a row among them; of one sheet, as many rows as of a text; tags of one part, four
# of which make a number's cell: ten years of hours of eight columns; how many of them may be open at a time
_MOST_CELLS, _MOST_TAGS, _DEEPEST = 4_000_000, 3_000_000, 1000
_TIMED = 2  # moments at midnight beside another, at most, of a column that is not of days
# a sheet's name that is a month's, with its year or without; columns of a sheet of days and one quantity
_MONTHS = 2  # columns at least that are called after months
_OF_A_MONTH, _A_PAIR = re.compile(rf"{MONTH}[ .,/-]*(?:\d{{4}})?|\d{{1,2}}[./-]\d{{4}}"), 2
_HEAD = 200  # rows in which a table may begin
_CHUNK = 1 << 20
_MOST_BESIDE = 50_000_000  # bytes of any part of it that is no sheet
_FORMULA = re.compile(rb"<(?:\w+:)?f[ >/]")


def sheet_as_text(data: bytes, archive: zipfile.ZipFile, *, shown_as: str) -> tuple[str, str]:
    """
    Turn a workbook's sheet into text.

    Parameters
    ----------
    data : bytes
        The file.
    archive : ZipFile
        The same, opened.
    shown_as : str
        Name to use in messages.

    Returns
    -------
    (str, str)
        Tab-separated lines, and what they are of the workbook. Dates are ISO, with the time of day where there is one;
        numbers are written in full, never in powers of ten.

    Raises
    ------
    WeatherError
        openpyxl is not installed; a broken or empty workbook; several sheets with data; a formula that was
        saved without its result.
    """

    try:
        import openpyxl
    except ImportError as error:
        raise refusal("no-openpyxl", shown_as) from error
    beside = max((entry.file_size for entry in archive.infolist() if "worksheets/" not in entry.filename), default=0)
    if sum(entry.file_size for entry in archive.infolist()) > MOST_UNPACKED or beside > _MOST_BESIDE:
        raise refusal("too-large-workbook", shown_as, most=MOST_UNPACKED / 1e6)
    try:
        _count_tags(archive, shown_as)
        # openpyxl warns of (and sometimes prints) styles and validation that it leaves out; only cells matter here
        with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            count = itertools.count()
            sheets = {sheet.title: _rows(sheet, count, shown_as) for sheet in book.worksheets}
            filled = [name for name, rows in sheets.items() if any(rows)]
            filled, whole = _table_of(sheets, filled)
            empty = None
            parts = [name for name in archive.namelist() if name.lower().startswith("xl/worksheets/")]
            if whole and any(_FORMULA.search(archive.read(name)) for name in parts):
                formulas = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False)
                empties = ((_without_result(book[name], formulas[name]), name) for name in filled)
                empty = next((pair for pair in empties if pair[0]), None)
    except WeatherError:
        raise
    except Exception as error:  # openpyxl raises what its XML, zip and style parts raise: no list is complete
        raise refusal("damaged-workbook", shown_as) from error
    if not filled:
        raise refusal("empty-workbook", shown_as)
    named = listed(map(repr, filled), _MOST_NAMED)
    if empty is not None:
        raise refusal("no-result", shown_as, cell=empty[0], sheet=empty[1])
    if not whole:
        raise refusal("several-sheets", shown_as, count=len(filled), named=named)
    if max(map(len, whole)) > MOST_COLUMNS:
        raise refusal("too-wide", shown_as, sheet=filled[0], most=MOST_COLUMNS)
    return _text(whole), f"sheet {named}" if len(filled) == 1 else f"{len(filled)} sheets, {named}, as one table"


def _table_of(sheets: Mapping[str, list[list[str]]], filled: list[str]) -> tuple[list[str], list[list[str]]]:
    """Return which sheets are one table, and its rows: the only one with days, or those with one header whose days differ."""
    if len(filled) < 2:
        return filled, [row for name in filled for row in sheets[name]]
    sheets = {name: _days_across(name, sheets[name]) for name in filled}
    found = {name: find_opening(_text(sheets[name][:_HEAD]).split("\n")) for name in filled}
    openings = {name: opening for name, opening in found.items() if opening}  # a sheet of remarks has none
    heads = {tuple(opening.cells) for opening in openings.values()}
    days = [
        {day for row in sheets[name][opening.above :] if is_dated(day := "".join(row[opening.dates[0] :][:1]))}
        for name, opening in openings.items()
    ]
    if not heads and all(map(_OF_A_MONTH.fullmatch, filled)):  # days numbered below their month
        return filled, [row for name in filled for row in ([name], *sheets[name])]
    if not heads or sum(map(len, days)) > len(set().union(*days)):
        return filled, _a_quantity_a_sheet(sheets, filled, {name: openings[name].line - 1 for name in openings})
    if len(heads) != 1:
        return filled, []
    first, *others = openings.items()
    below = (sheets[name][opening.above :] for name, opening in others)
    return [*openings], [*sheets[first[0]], *itertools.chain.from_iterable(below)]


def _days_across(name: str, rows: list[list[str]]) -> list[list[str]]:
    """Return a sheet with a column a month, days below each other, as one with a row a month; its year stands above it or in its name."""
    down = ([row[:1] for row in rows[i + 1 : i + 4]] == [["1"], ["2"], ["3"]] for i in range(min(len(rows), _HEAD)))
    at = next(itertools.compress(itertools.count(), down), 0)
    months = {j: month_of(cell) for j, cell in enumerate(rows[at]) if re.match(MONTH, cell)} if rows else {}
    year = re.search(r"\b(?:19|20)\d\d\b", " ".join([*itertools.chain(*rows[:at]), name]))
    if len(months) < _MONTHS or year is None:
        return rows
    days = [[*row, *[""] * len(rows[at])] for row in rows[at + 1 :] if row and re.fullmatch(r"\d\d?", row[0])]
    turned = [[year[0], str(month), *(row[j] for row in days)] for j, month in months.items()]
    return [*rows[:at], ["year", "month", *(row[0] for row in days)], *turned]


def _a_quantity_a_sheet(
    sheets: Mapping[str, list[list[str]]], filled: list[str], headers: Mapping[str, int]
) -> list[list[str]]:
    """Return rows of sheets with one header and one table each, behind what each is of: its first words, if they have a unit, or name."""
    days = {str(day) for day in range(1, 29)}
    across = {
        name: next((i for i, row in enumerate(sheets[name]) if days <= {cell.rstrip(".") for cell in row}), -1)
        for name in filled
    }
    at = {name: headers.get(name, across[name]) for name in filled}
    heads = {name: tuple(sheets[name][row]) for name, row in at.items() if row >= 0}
    alike, pairs = len({*heads.values()}) == 1, all(len(head) == _A_PAIR for head in heads.values())
    if len(heads) < len(at) or not (alike or (pairs and len({head[0] for head in heads.values()}) == 1)):
        return []
    header = heads[filled[0]]
    if not pairs and max(across.values()) < 0:
        return []  # tables of several quantities, of several stations
    table = [["parameter", *((header[0], "value") if pairs else header)]]
    for name, row in at.items():
        title = " ".join(sheets[name][0]) if row else ""
        of = title if unit_of(title) else name if alike else heads[name][1]
        table += [[of, *cells] for cells in sheets[name][row + 1 :] if any(cells)]
    return table


def _count_tags(archive: zipfile.ZipFile, shown_as: str) -> None:
    """Refuse what would take openpyxl minutes: it reads a hundred thousand cells a second at best."""
    for part in archive.infolist():
        if not re.search(r"worksheets/.*\.xml|sharedstrings|styles", part.filename.lower()):
            continue  # pictures and the like
        tags = open_ones = 0
        with archive.open(part) as stream:
            for chunk in iter(lambda: stream.read(_CHUNK), b""):
                ends = chunk.count(b"</")
                tags += chunk.count(b"<")
                open_ones += chunk.count(b"<") - 2 * ends - chunk.count(b"/>")
                if tags > _MOST_TAGS:
                    raise refusal("too-many-tags", shown_as, part=part.filename, most=_MOST_TAGS // 4)
        if open_ones > _DEEPEST:
            raise refusal("damaged-workbook", shown_as)


def _rows(sheet: Any, count: Iterator[int], shown_as: str) -> list[list[str]]:
    """
    Return each row's cells as text, without the empty ones at its end; none for rows that are all empty.

    Midnight is written where moments of a column have a time of day, and left out where it is a column of days.
    """
    sheet.reset_dimensions()  # some programs write a wrong size, and cells beyond it would be lost
    rows, midnights, timed = list[list[str]](), list[tuple[int, int]](), Counter[int]()
    for number, row in enumerate(sheet.iter_rows(values_only=True)):
        if number >= MOST_LINES or next(itertools.islice(count, len(row), None)) > _MOST_CELLS:
            raise refusal("too-many-cells", shown_as, sheet=sheet.title, rows=MOST_LINES, most=_MOST_CELLS)
        moments = [(column, value) for column, value in enumerate(row) if isinstance(value, dt.datetime)]
        midnights += [(number, column) for column, value in moments if value.time() == dt.time(0)]
        timed.update(column for column, value in moments if value.time() != dt.time(0))
        cells = [_as_text(value) for value in row]
        while cells and not cells[-1]:
            cells.pop()
        rows.append(cells)
    days = Counter(column for _, column in midnights)
    for number, column in midnights:
        if timed[column] * _TIMED >= days[column]:
            rows[number][column] += " 00:00:00"
    return rows


def _as_text(value: object) -> str:
    match value:
        case None:
            return ""
        case float() if not value.is_integer():
            # repr is the shortest text that gives the same number back; Decimal writes it out in full
            return format(Decimal(repr(value)), "f")
        case bool():
            return str(value).upper()
        case int() | float():
            return str(int(value))
        case dt.datetime() if value.time() != dt.time(0):
            return value.isoformat(sep=" ", timespec="auto")
        case dt.datetime():
            return value.date().isoformat()
        case dt.date() | dt.time():
            return value.isoformat()
        case _:
            return " ".join(str(value).split())


def _without_result(results: Any, formulas: Any) -> str | None:
    """Name the first cell with a formula and no result; one that gave an empty text is marked as text."""
    formulas.reset_dimensions()
    for row, row_of_formulas in zip(results.iter_rows(), formulas.iter_rows(), strict=False):
        for cell, formula in zip(row, row_of_formulas, strict=False):
            if getattr(formula, "data_type", "") == "f" and cell.value is None and cell.data_type == "n":
                return str(formula.coordinate)
    return None


def _text(rows: Sequence[Sequence[str]]) -> str:
    """Write rows with tabs between cells, from the table's first on as wide as the widest of its head; an empty row is an empty line."""
    first = next((i for i, row in enumerate(rows) if len(row) > 1), 0)
    widths = [0] * first + [max(map(len, rows[:_HEAD]), default=0)] * (len(rows) - first)
    out = io.StringIO()
    writer = csv.writer(out, delimiter="\t", lineterminator="\n")
    writer.writerows([*row, *[""] * (width - len(row))] if row else [] for row, width in zip(rows, widths, strict=True))
    return out.getvalue()
