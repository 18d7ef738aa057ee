"""
Workbook: the one sheet of an .xlsx file that holds data, as tab-separated text that `table` reads.

Row n of the sheet becomes line n of the text, so that messages name rows as the spreadsheet shows them.
Formulas give the results that were saved with them. Needs openpyxl, an extra of the package.
"""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import io
import re
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from panbudget.errors import Problem, WeatherError
from panbudget.weather.text.archive import MOST_UNPACKED

_MOST_NAMED = 5
_MOST_COLUMNS = 1000
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
        Tab-separated lines, and the sheet's name. Dates are ISO, with the time of day where there is one;
        numbers are written in full, never in powers of ten.

    Raises
    ------
    WeatherError
        openpyxl is not installed; a broken or empty workbook; several sheets with data; a formula that was
        saved without its result.
    """

    def refuse(code: str, found: str, cure: str) -> WeatherError:
        return WeatherError(Problem(code, found=found, cure=cure), file=shown_as)

    try:
        import openpyxl
    except ImportError as error:
        found = "is a spreadsheet workbook, and what reads one is not installed"
        cure = "run pip install 'panbudget[xlsx]', or open it and save the sheet as CSV"
        raise refuse("no-openpyxl", found, cure) from error
    if sum(entry.file_size for entry in archive.infolist()) > MOST_UNPACKED:
        found = f"is a spreadsheet workbook that unpacks to more than {MOST_UNPACKED / 1e6:g} MB"
        raise refuse("too-large", found, "save the sheet as CSV")
    try:
        # openpyxl warns of (and sometimes prints) styles and validation that it leaves out; only cells matter here
        with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            sheets = {sheet.title: list(_rows(sheet)) for sheet in book.worksheets}
            filled = [name for name, rows in sheets.items() if any(rows)]
            empty = None
            if len(filled) == 1 and _has_formulas(archive):
                formulas = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False)
                empty = _without_result(book[filled[0]], formulas[filled[0]])
    except Exception as error:  # openpyxl raises what its XML, zip and style parts raise: no list is complete
        found = "is a spreadsheet workbook that is damaged or not as .xlsx should be"
        cure = "open it and save the sheet as CSV: copy or download it again if it doesn't open"
        raise refuse("damaged", found, cure) from error
    if not filled:
        found = "is a spreadsheet workbook without a value in it"
        raise refuse("empty", found, "fill it or name another: a header and one row a day are expected")
    if empty is not None:
        found = f"cell {empty} of sheet {filled[0]!r} holds a formula that was saved without its result"
        cure = "open the workbook in a spreadsheet program and save it again, or save the sheet as CSV"
        raise refuse("no-result", found, cure)
    if len(filled) > 1:
        shown = ", ".join(repr(name) for name in filled[:_MOST_NAMED])
        more = f" and {len(filled) - _MOST_NAMED} more" if len(filled) > _MOST_NAMED else ""
        found = f"is a spreadsheet workbook with data on {len(filled)} sheets ({shown}{more}); one is expected"
        raise refuse("several-sheets", found, "keep the weather's, or save it as CSV")
    rows = sheets[filled[0]]
    if max(map(len, rows)) > _MOST_COLUMNS:
        found = f"sheet {filled[0]!r} has more than {_MOST_COLUMNS} columns; a table with one row a day is expected"
        raise refuse("too-wide", found, "turn the table round, or delete stray cells on the right")
    return _text(rows), filled[0]


def _rows(sheet: Any) -> Iterator[list[str]]:
    """Yield each row's cells as text, without the empty ones at its end; none for rows that are all empty."""
    sheet.reset_dimensions()  # some programs write a wrong size, and cells beyond it would be lost
    for row in sheet.iter_rows(values_only=True):
        cells = [_as_text(value) for value in row]
        while cells and not cells[-1]:
            cells.pop()
        yield cells


def _as_text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        if value.is_integer():
            return str(int(value))
        # repr is the shortest text that gives the same number back; Decimal writes it out in full
        return format(Decimal(repr(value)), "f")
    if isinstance(value, dt.datetime):
        if value.time() == dt.time(0):
            return value.date().isoformat()
        return value.isoformat(sep=" ", timespec="auto")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return " ".join(str(value).split())


def _has_formulas(archive: zipfile.ZipFile) -> bool:
    sheets = [name for name in archive.namelist() if name.lower().startswith("xl/worksheets/")]
    return any(_FORMULA.search(archive.read(name)) is not None for name in sheets)


def _without_result(results: Any, formulas: Any) -> str | None:
    """Name the first cell with a formula and no result; one that gave an empty text is marked as text."""
    formulas.reset_dimensions()
    for row, row_of_formulas in zip(results.iter_rows(), formulas.iter_rows(), strict=False):
        for cell, formula in zip(row, row_of_formulas, strict=False):
            if getattr(formula, "data_type", "") == "f" and cell.value is None and cell.data_type == "n":
                return str(formula.coordinate)
    return None


def _text(rows: Sequence[Sequence[str]]) -> str:
    """Write rows with tabs between cells, each as wide as the header at least."""
    width = next(len(row) for row in rows if row)
    out = io.StringIO()
    writer = csv.writer(out, delimiter="\t", lineterminator="\n")
    for row in rows:
        if row:
            writer.writerow([*row, *[""] * (width - len(row))])
        else:
            out.write("\n")
    return out.getvalue()
