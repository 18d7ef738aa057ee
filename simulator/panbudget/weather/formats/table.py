"""
Table: the plain weather table, a header line and one row a day, as a spreadsheet or a station's export
saves it.

Comma, semicolon, tab or bar between the columns, found from the header line; a decimal comma where the
columns are not parted by commas; comment lines with #, and a title above the header. Thousands marks are read where one number of the file
has both marks, such as 1.234,5, so that there is nothing to guess. Missing values are empty cells: any other
text is named by line and column, since what it means is a guess.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from panbudget.weather.text.cells import is_number, read_cells
from panbudget.weather.text.columns import STANDARD
from panbudget.weather.text.headers import read_header
from panbudget.weather.text.mistakes import Mistakes, note
from panbudget.weather.text.moments import read_dates
from panbudget.weather.text.raw import Columns, RawTable, Site, Source
from panbudget.weather.text.rows import SEPARATORS, Rows, read_rows, separator_of, split
from panbudget.words import and_more

NAME = "table"
#: where the format is described
SOURCE = "none: any table of this kind; the names of its columns are the program's own"

_COMMENTS_SHOWN = 3  # comment lines repeated in a report
_MOST_TITLE_LINES = 20  # further down, a header isn't looked for


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
    names = {_plain(cell) for cell in split(opening.text, opening.separator)}
    if len(names) < 2:
        return 0.0, "no separator in the header line"
    if {"date", "tmin", "tmax"} <= names:
        return 0.9, "header line with the standard names"
    return 0.1, "header line and separators"


def read(source: Source, *, columns: Columns, site: Site) -> RawTable:
    """
    Read a plain table.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Standard name -> column and unit, where the headers are not the standard names.
    site : Site
        Not asked: days are the table's own.

    Returns
    -------
    RawTable
        Rows in the file's order.

    Raises
    ------
    WeatherError
        All that is wrong with the header, the rows, the numbers and the dates.
    """
    lines = source.lines
    opening = _find_header(lines)
    if opening is None:
        raise source.refusal("only-comments")
    cells = split(opening.text, opening.separator)
    if len(cells) < 2 or _is_row_of_values(cells):
        key, text = "values-for-header" if len(cells) > 1 else "no-separator", opening.text.strip()[:60]
        raise source.refusal(key, value=text, line=opening.line, text=text)
    header = read_header(cells, columns, line=opening.line, table=source.table)
    mistakes = Mistakes(header.problems)
    mistakes.raise_if_any(source.shown_as)
    rows, notes = _rows(lines, opening, cells, mistakes)
    if not rows.texts and not mistakes.problems():
        raise source.refusal("table-no-row", line=opening.line)
    date = header.places["date"]
    numbers = {place: name for name, place in header.places.items() if name != "date"}
    units = {place: STANDARD[name].shown_unit for place, name in numbers.items()}
    table = read_cells(rows, mistakes, numbers=numbers, texts=[date], missing=("",), units=units, thousands=True)
    dates = read_dates(table.texts[date].str.strip().tolist() if table.texts else [], table.lines, mistakes)
    mistakes.raise_if_any(source.shown_as)
    above = filter(None, (line.lstrip("#").strip() for line in lines[: opening.line - 1]))
    remarks = [note("above", text=text) for text in list(above)[:_COMMENTS_SHOWN]]
    stamps = np.array(dates, dtype="datetime64[D]").astype("datetime64[ns]")
    return RawTable(
        daily=pd.DataFrame(header.standard(table.numbers), index=pd.DatetimeIndex(stamps, name="date")),
        lines=tuple(table.lines.tolist()),
        recognised=f"plain table: {SEPARATORS[opening.separator]} between columns, decimal {table.decimal}",
        units=header.units,
        unit_is_stated=frozenset(header.stated),
        headers={name: cells[place] for name, place in header.places.items() if cells[place] != name},
        conversions=header.conversions,
        notes=(*header.notes, *remarks, *notes),
    )


class _Opening(NamedTuple):
    """The header line: its number, its text, and what parts its columns."""

    line: int
    text: str
    separator: str


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
        if title is None and (match := re.fullmatch(r'"?sep=(.)"?\s*', text)) is not None and match[1] in SEPARATORS:
            declared = match[1]  # a line that spreadsheets write and read
            continue
        opening = _Opening(i + 1, text, declared or separator_of(text))
        cells = [cell for cell in split(text, opening.separator) if cell]
        if len(cells) > 1:
            if title is None and comment is not None and _is_row_of_values(cells):
                above = split(comment.text, opening.separator)
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


def _is_row_of_values(cells: Sequence[str]) -> bool:
    numbers = sum(1 for cell in cells if is_number(cell))
    return numbers * 2 >= len(cells) or re.match(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}", cells[0]) is not None


def _rows(lines: Sequence[str], opening: _Opening, header: list[str], mistakes: Mistakes) -> tuple[Rows, list[str]]:
    """Read the rows, name those that are none, and note comments among them."""
    above, separator = opening.line, opening.separator
    rows = read_rows(lines, mistakes, above=above, separator=separator, header=header, comments=True)
    rows.refuse_repeats(mistakes)
    first = next(iter(rows.cells()), ["0"])
    if not any(any(letter.isdigit() for letter in cell) and "/m" not in cell for cell in first):
        mistakes.note("no-numbers", line=rows.lines[0])
        rows = rows._replace(lines=rows.lines[1:], texts=rows.texts[1:])
    if not rows.comments:
        return rows, []
    line, more = rows.comments[0], and_more(len(rows.comments) - 1, "line")
    return rows, [note("comment-among-rows", line=line, more=more, text=lines[line - 1].strip()[:60])]
