"""
Cells: the rows of a table as columns of numbers and texts, all rows at once; what is no number is named by its line.

A decimal comma is read where commas don't part the columns, and one of comma and point throughout. Knows nothing of
weather.
"""

from __future__ import annotations

import dataclasses
import functools
import itertools
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from panbudget.numeric import Floats, Ints, Mask
from panbudget.weather.text.grid import Grid
from panbudget.weather.text.heading import known_unit
from panbudget.weather.text.mistakes import Mistakes, note, notes, shortened
from panbudget.weather.text.moments import MONTH, is_dated
from panbudget.weather.text.rows import Rows, lines_as_file, split
from panbudget.words import and_more, packaged

_DATA = packaged("weather/text/cells.toml")
#: what people and stations write where they have no figure
MISSING: tuple[str, ...] = tuple(_DATA["missing"])
_SPOKEN_MISSING = {*(word.lower() for word in MISSING), *_DATA["spoken_missing"]}

_POINT = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_COMMA = re.compile(r"[+-]?(?:\d+,\d*|,\d+)(?:[eE][+-]?\d+)?")
# a minus and a decimal point as other scripts have them
_MARKS_OF_OTHERS = str.maketrans("−٫", "-.")
# marks between thousands that no decimal mark is
_MARKS_ALONE = re.compile(r"[+-]?\d{1,3}(?:([ '’])\d{3})(?:\1\d{3})*(?:[.,]\d+)?")
_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:[., ']\d{3})+(?:[.,]\d+)?")
# a number that has both marks tells which is which
_BOTH_MARKS = {
    ".": re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+,\d+"),
    ",": re.compile(r"[+-]?\d{1,3}(?:,\d{3})+\.\d+"),
}
# what time of day it was, behind the figure of an extreme
_AT = r"(?:\s*(?:\bat\b|\bum\b|à|@|\()\s*\d{1,2}[:.h]\d{2}(?:\s?[ap]m)?\)?)?"
_PARTED = re.compile(rf"([+-]?\d[\d.,]*|[-–—]{{2,}}|[-–—](?=\s))\s*((?:[^\W\d_].*?|[°º%\"'].*?)?){_AT}", re.IGNORECASE)
# a figure that its service marks as suspect (NOAA, Local Climatological Data, from memory)
_SUSPECT = re.compile(r"([+-]?(?:\d+(?:\.\d*)?|\.\d+))[s*]")
_LESS_THAN = re.compile(r"<\s?(?:0?[.,]\d{1,2}|1)")  # as "<0.1" is a trace, too
_CLOCK = re.compile(r"(\d{1,2}):([0-5]\d)(?::00)?")
# where the wind comes from, beside its speed, whose units are these
_FROM = re.compile(r"(?:[NESWO]{1,3}|VRB|VAR)\s+(?=\d)|(?<=\d)\s+(?:[NESWO]{1,3}|VRB|VAR)$")
_SPEEDS = ("m/s", "km/h", "mph", "knot", "ft/s")
_DAY_OF_MONTH = re.compile(rf"\d{{1,2}}[-. /]{MONTH}|{MONTH}[-. /]\d{{1,2}}")  # what a spreadsheet shows of 10.3
_WITH_UNIT = re.compile(r"[+-]?\d+(?:[.,]\d+)?\s*[^\d\s.,].*")

# rows of a long table that are looked at first, and the share of a column's that may be no number
_LOOKED_AT, _MOST_BAD = 20_000, 0.5
_HALF_A_GIGABYTE = 200_000  # rows of words whose texts take that much
# how often a text stands in a column that is no number and that must mean something
_REPEATED = 10
_OF_MISSING = ("missing", "repeated")
# beyond which no unit's figure lies: a mark or a slip, as what has no end is
_LARGEST = 1e12
_DIGIT = re.compile(r"\d")  # a word without one is no slip of the hand where it stands twice
# what any parser reads alike, to the last bit; and what one may take for a number
_PLAIN = re.compile(r"(?=.{1,16}$)[+-]?(?:\d{1,15}(?:\.\d*)?|\.\d+) *", re.ASCII)
_TO_PARSE = re.compile(r"\s*(?:[+-]?(?:[\d.]+(?:[eE][+-]?\d*)?|inf(?:inity)?|nan))?\s*", re.IGNORECASE)

# rows that may be shifted by a cell: of so many columns, as a share of the table, by the rows before and after, cells at least; how
# many times as far as those rows a cell is from their middle, counted up to, on the mean as read, and at most where it belongs
_FEW_COLUMNS, _FEW_SHIFTED, _ROWS_NEAR, _LEAST_SHIFTED = 5, 0.05, 10, 2
_STRAY, _MISFIT, _FIT = 10.0, 3.0, 4.0

#: a cell: its row, the place of its column, and its text
_Cell = tuple[int, int, str]
#: columns of numbers, as texts where one is none; columns of text; those of numbers in which a decimal point may stand
_Parsed = tuple[dict[int, Any], dict[int, "pd.Series[str]"], list[int]]


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
    notes : list of str
        What a report should mention.
    """

    numbers: dict[int, Floats] = field(default_factory=dict)
    texts: dict[int, pd.Series[str]] = field(default_factory=dict)
    lines: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    decimal: str = "point"
    notes: list[str] = field(default_factory=list)


def read_cells(
    rows: Rows,
    mistakes: Mistakes,
    *,
    numbers: Mapping[int, str],
    texts: Sequence[int] = (),
    missing: Sequence[str] = MISSING,
    units: Mapping[int, str] | None = None,
    thousands: bool = False,
    zeros: Mapping[int, str] | None = None,
    table: str = "weather",
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
        What stands for a missing number; one with a unit, "0 %", only in columns of that unit.
    units : mapping, optional
        Place of a column -> its unit, for messages.
    thousands : bool
        Whether marks between thousands are read, where one number of the file has both marks: "1.234,5".
    zeros : mapping, optional
        Place of a column -> whose words count as 0 in it: "trace" of rain, as T or "<0.1", or "calm" of wind.
    table : str
        The scenario's table that names the file, for messages.

    Returns
    -------
    Cells
    """
    shown = {place: (units or {}).get(place, "") for place in numbers}
    marks: dict[int, list[str]] = {place: _marks(missing, shown[place]) for place in numbers}
    is_checked = len(rows.texts) > _HALF_A_GIGABYTE
    if not rows.texts or (is_checked and _is_no_table_of_numbers(rows, mistakes, numbers, missing, units)):
        return Cells()
    parsed = _at_a_stroke(rows.grid, marks, texts) if rows.grid else None
    is_checked = is_checked or (parsed is not None and all(of.dtype.kind == "f" for of in parsed[0].values()))
    if not is_checked and _is_no_table_of_numbers(rows, mistakes, numbers, missing, units):
        return Cells()
    parsed = parsed or _by_parser(rows, marks, texts)
    if parsed is None:
        mistakes.note("no-rows")
        return Cells()
    columns, words, pointed = parsed
    wordy = {place: column for place, column in columns.items() if column.dtype.kind not in "fiu"}
    nothing = {place: _zeros(wordy[place], kind) for place, kind in (zeros or {}).items() if place in wordy}
    wordy |= {
        place: wordy[place].astype(object).where(~is_zero, "0") for place, is_zero in nothing.items() if is_zero.any()
    }
    mark = _thousands_mark(wordy, pointed=bool(pointed)) if thousands else ""
    read = _Numbers(rows, numbers, shown, _has_decimal_commas(rows.separator, wordy))
    values = {
        place: read.words(place, wordy[place], mark) if place in wordy else read.figures(place, column)
        for place, column in columns.items()
    }
    read.note_bad(mistakes, units or {}, table, [f'"{mark}"' for mark in missing if mark not in MISSING])
    if read.commas and not read.points:  # columns that were read at a stroke are looked at only now that it matters
        cells = ((i, place, read.cell(i, place)) for place in pointed for i in range(len(rows.lines)))
        read.points.extend(itertools.islice((cell for cell in cells if "." in cell[2]), 1))
    for (i, place, comma), (j, other_place, point) in zip(read.commas[:1], read.points, strict=False):
        facts = {"line": rows.lines[i], "name": numbers[place], "other_line": rows.lines[j]}
        mistakes.note("two-decimals", value=comma, text=comma, other_name=numbers[other_place], other=point, **facts)
    _note_shifted(rows, numbers, values, mistakes)
    remarks = [text for place, of in nothing.items() for text in notes(f"{(zeros or {})[place]}-word", int(of.sum()))]
    remarks += [*notes("other-digits", sum(read.other_digits)), *notes("suspect", sum(read.suspect))]
    return Cells(values, words, rows.lines, "comma" if read.commas else "point", remarks)


def _note_shifted(rows: Rows, numbers: Mapping[int, str], values: Mapping[int, Floats], mistakes: Mistakes) -> None:
    """Note rows whose last cell alone is empty and whose others, from one on, fit the columns after them far better."""
    places = sorted(values)
    if (
        len(places) < _FEW_COLUMNS
        or places != list(range(places[0], rows.width))
        or not np.isnan(values[places[-1]]).any()
    ):
        return
    table = np.column_stack([values[place] for place in places])
    empty = np.isnan(table)
    suspects = np.flatnonzero(empty[:, -1] & (empty.sum(axis=1) == 1))
    if suspects.size > _FEW_SHIFTED * len(table):
        return
    for row in suspects:
        near = table[max(row - _ROWS_NEAR, 0) : row + _ROWS_NEAR + 1]
        near = near[~np.isnan(near).any(axis=1)]
        if len(near) < _ROWS_NEAR:
            continue
        middle = np.median(near, axis=0)
        stray = np.maximum(np.abs(near - middle).mean(axis=0), 1e-9)
        as_read, as_moved = (
            np.minimum(np.abs(table[row, :-1] - middle[part]) / stray[part], _STRAY)
            for part in (slice(None, -1), slice(1, None))
        )
        ways = (
            (as_read[:at].sum() + as_moved[at:].sum(), at)
            for at in range(len(places) - _LEAST_SHIFTED)
            if as_read[at:].mean() > _MISFIT and as_moved[at:].max() < _FIT
        )
        for _, at in sorted(ways)[:1]:
            mistakes.add("shifted-row", line=rows.lines[row], name=numbers[places[at]], last=numbers[places[-1]])


def _is_no_table_of_numbers(
    rows: Rows, mistakes: Mistakes, numbers: Mapping[int, str], missing: Sequence[str], units: Mapping[int, str] | None
) -> bool:
    """Tell whether most cells of a column are wrong among a long table's first, and note those: all would fill the memory."""
    if len(rows.texts) <= _LOOKED_AT:
        return False
    first = Mistakes()
    some = rows._replace(lines=rows.lines[:_LOOKED_AT], texts=rows.texts[:_LOOKED_AT], grid=None)
    read = read_cells(
        some,
        first,
        numbers=numbers,
        missing=missing,
        units=units,
        thousands=True,
        zeros=dict.fromkeys(numbers, "trace"),
    )
    problems = first.problems()
    if not problems or all(np.isnan(column).mean() <= _MOST_BAD for column in read.numbers.values()):
        return False
    among = note("among-first", rows=f"{_LOOKED_AT:,}")
    mistakes.others += [dataclasses.replace(each, found=each.found + among) for each in problems]
    return True


def _at_a_stroke(grid: Grid, marks: Mapping[int, list[str]], texts: Sequence[int]) -> _Parsed | None:
    """Parse cells of which each text is looked at once; nothing where the parser may take one otherwise."""
    columns, pointed = dict[int, Any](), list[int]()
    for place, missing in ((place, frozenset(of_column)) for place, of_column in marks.items()):
        code, cells = grid.column(place)
        known = [cell for cell in cells if cell not in missing]
        if None not in (read := [*map(_plain_figure, known)]):
            is_pointed = any("." in cell for cell in known)
            whole = len(known) == len(cells) and not is_pointed
            codes = [float(mark) for mark in missing if _POINT.fullmatch(mark)]
            figures = np.full(len(cells), np.nan)
            figures[[cell not in missing for cell in cells]] = read
            figures[np.isin(figures, codes)] = np.nan
            columns[place] = figures[code] + (0.0 if whole else -0.0)  # whole numbers have no −0
            pointed += [place] if is_pointed else []
        elif all(map(_TO_PARSE.fullmatch, known)):
            return None
        else:
            of_known = np.full(len(cells), -1)
            of_known[[cell not in missing for cell in cells]] = np.arange(len(known))
            texts_of_it = pd.Index(known, dtype=object)
            columns[place] = pd.Series(pd.Categorical.from_codes(of_known[code], texts_of_it, validate=False))
    texts_of = {place: grid.column(place) for place in texts}
    words = {
        place: pd.Series(np.array(cells, dtype=object)[code], dtype=str) for place, (code, cells) in texts_of.items()
    }
    return columns, words, pointed


@functools.lru_cache(maxsize=8192)
def _plain_figure(cell: str) -> float | None:
    """Return a plain number; nothing where a parser may take the text otherwise. Kept, since figures repeat from file to file."""
    return float(cell) if _PLAIN.fullmatch(cell) else None


def _by_parser(rows: Rows, marks: Mapping[Any, list[str]], texts: Sequence[int]) -> _Parsed | None:
    try:
        frame = pd.read_csv(
            lines_as_file(rows.texts),
            sep=r"\s+" if rows.separator == " " else rows.separator,
            header=None,
            names=list(range(rows.width)),
            index_col=False,
            usecols=sorted({*marks, *texts}),
            dtype=dict.fromkeys(texts, str),
            na_values=marks,
            keep_default_na=False,
            skipinitialspace=True,
            low_memory=False,
        )
    except (pd.errors.ParserError, ValueError, OverflowError):
        return None
    if len(frame) != len(rows.lines):
        return None
    words = {place: frame[place].fillna("").astype(str) for place in texts}
    return {place: frame[place] for place in marks}, words, [i for i in marks if frame[i].dtype.kind == "f"]


@dataclass(eq=False)
class _Bad:
    """Cells that are no numbers, of one cure: the first, how many, the places of their columns, and what marks a missing value."""

    first: _Cell
    count: int = 0
    places: dict[int, None] = field(default_factory=dict)
    marks: dict[str, None] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class _Numbers:
    """Columns of numbers: those cells that are none, and a column's first with a decimal comma or point."""

    rows: Rows
    names: Mapping[int, str]
    units: Mapping[int, str]
    decimal_commas: bool
    bad: dict[tuple[str, int], _Bad] = field(default_factory=dict)
    commas: list[_Cell] = field(default_factory=list)
    points: list[_Cell] = field(default_factory=list)
    other_digits: list[int] = field(default_factory=list)
    suspect: list[int] = field(default_factory=list)

    def cell(self, i: int, place: int) -> str:
        """Return a cell as it stands in the file."""
        return split(self.rows.texts[i], self.rows.separator)[place]

    def figures(self, place: int, column: pd.Series) -> Floats:
        """Return a column that pandas read as numbers."""
        values = np.asarray(column, dtype=np.float64)
        endless = np.abs(values) > _LARGEST
        for i in np.flatnonzero(endless).tolist():
            self._add_bad(i, place, self.cell(i, place))
        return np.where(endless, np.nan, values)

    def words(self, place: int, column: pd.Series, mark: str) -> Floats:
        """Read a column of texts; ``mark`` is what parts thousands."""
        code, cells = pd.factorize(column)  # each text is looked at once
        unit = known_unit(self.units[place])
        texts = [str(text).strip().translate(_MARKS_OF_OTHERS) for text in cells]
        texts = [_without_unit(_FROM.sub("", text) if unit in _SPEEDS else text, unit) for text in texts]
        if unit == "h":
            texts = [_in_hours(text) for text in texts]
        marked = [_SUSPECT.fullmatch(text) for text in texts]
        if sum(map(bool, marked)) * 2 < len(texts):  # some cells, and no habit of the column
            texts = [mark[1] if mark else text for mark, text in zip(marked, texts, strict=True)]
            self.suspect.append(
                sum(int(n) for n, mark in zip(np.bincount(code[code >= 0]), marked, strict=True) if mark)
            )
        texts = [re.sub("[ '’]", "", text) if _MARKS_ALONE.fullmatch(text) else text for text in texts]
        plain = [text.replace(mark, "") if mark and _THOUSANDS.fullmatch(text) else text for text in texts]
        point = np.array([_POINT.fullmatch(text) is not None for text in plain], dtype=bool)
        comma = np.array([_COMMA.fullmatch(text) is not None for text in plain], dtype=bool)
        comma &= self.decimal_commas
        pairs = zip(plain, point | comma, strict=True)
        read = np.array([float(text.replace(",", ".")) if ok else np.nan for text, ok in pairs], dtype=float)
        read[np.abs(read) > _LARGEST] = np.nan
        bad = np.isnan(read) & np.array([text != "" for text in texts], dtype=bool)
        # not hours out of "1:36"
        is_dotted = ["." in text and "." in str(cell) for text, cell in zip(plain, cells, strict=True)]
        dotted = point & np.array(is_dotted, dtype=bool)
        rows = np.flatnonzero(code >= 0)[::-1]  # -1 is a cell without a text
        first = np.zeros(len(cells), dtype=np.int64)
        first[code[rows]] = rows
        counts = np.bincount(code[rows], minlength=len(cells))
        for k in np.flatnonzero(bad).tolist():
            self._add_bad(int(first[k]), place, texts[k], int(counts[k]))
        other = np.array([not text.isascii() for text in plain], dtype=bool) & ~np.isnan(read)
        self.other_digits.append(int(counts[other].sum()))
        for found_in, mask in ((self.commas, comma), (self.points, dotted)):
            found_in.extend((int(first[k]), place, plain[k]) for k in np.flatnonzero(mask)[:1].tolist())
        return np.append(read, np.nan)[code]

    def _add_bad(self, i: int, place: int, text: str, count: int = 1) -> None:
        """Count cells of one text among those of one cure, from the first row on."""
        cure = _cure(self.names[place], text)
        # what is the whole file's habit is said once; the rest once a column
        kind = self.bad.setdefault((cure, place if cure in ("trace", "other") else -1), _Bad((i, place, text)))
        kind.count += count
        kind.places[place] = None
        if cure == "missing" or (cure == "other" and len(kind.marks) < 2):
            kind.marks[json.dumps(shortened(text.strip()), ensure_ascii=False)] = None

    def note_bad(self, mistakes: Mistakes, units: Mapping[int, str], table: str, stated: Sequence[str]) -> None:
        """Name cells that are no numbers, those with one cure in one line; marks for a missing value beside those ``stated``."""
        cures = [self._cure_of(cure, kind) for (cure, _), kind in self.bad.items()]
        found = [kind.marks for cure, kind in zip(cures, self.bad.values(), strict=True) if cure in _OF_MISSING]
        marks = ", ".join(dict.fromkeys([*stated, *itertools.chain(*found)]))
        for cure, kind in zip(cures, self.bad.values(), strict=True):
            i, place, text = kind.first
            others = [self.names[other] for other in kind.places if other != place]
            more = and_more(kind.count - 1, "cell")
            if others:
                more = more.replace(")", f", also in {', '.join(others)})")
            facts = {"line": self.rows.lines[i], "name": self.names[place], "text": shortened(text), "more": more}
            expected = f"a number ({units[place]})" if place in units else "a bare number"
            advice = _DATA["cures"][cure].format(marks=marks, table=table)
            mistakes.note("no-number", value=text, expected=expected, cure=advice, **facts)

    def _cure_of(self, cure: str, kind: _Bad) -> str:
        """Say what cures cells of no known cure: by how many they are, and whether they are one text."""
        if cure == "other" and 2 * kind.count > len(self.rows.lines) >= _REPEATED:
            return "mostly"
        often = _REPEATED if _DIGIT.search(kind.first[2]) else 2
        return "repeated" if cure == "other" and len(kind.marks) == 1 and kind.count >= often else cure


def parted(text: str) -> tuple[str, str]:
    """
    Part a cell into a number, or dashes for none, and the unit behind it, less a time of day; no unit where there is none.

    Examples
    --------
    >>> parted("47 °F at 14:20"), parted("-- mph"), parted("1e20")
    (('47', '°F'), ('--', 'mph'), ('1e20', ''))
    """
    match = None if _POINT.fullmatch(text) else _PARTED.fullmatch(text.strip())
    return (match[1], match[2]) if match else (text, "")


def _without_unit(text: str, unit: str | None) -> str:
    """Return a cell without its column's unit, if that stands in it; nothing for dashes."""
    figure, behind = parted(text)
    if not behind:
        return figure
    if unit is None or (behind != "°" and known_unit(behind) not in (unit, unit.removesuffix("Hg"))):
        return text
    return figure if figure.strip("-–—") else ""


def _in_hours(text: str) -> str:
    """Write "5:30" as 5.5 hours; anything else as it is."""
    match = _CLOCK.fullmatch(text)
    return str(int(match[1]) + int(match[2]) / 60) if match else text


def _zeros(column: pd.Series, kind: str) -> Mask:
    """Tell cells whose words mean nothing: no rain to speak of, or no wind; less than a figure is rain's alone."""
    code, cells = pd.factorize(column)
    words = [str(cell).strip().lower() for cell in cells]
    less = kind == "trace"
    is_zero = [word in _DATA[kind] or (less and _LESS_THAN.fullmatch(word) is not None) for word in words]
    return np.array([*is_zero, False], dtype=bool)[code]


def _marks(missing: Sequence[str], unit: str) -> list[str]:
    """Return the marks for a missing value that hold in a column of this unit."""
    return [number for number, behind in map(parted, missing) if behind in ("", unit)]


def is_number(text: str) -> bool:
    """Tell whether a cell is a plain number, with a decimal point or comma."""
    return bool(_POINT.fullmatch(text) or _COMMA.fullmatch(text))


def _has_decimal_commas(separator: str, columns: Mapping[int, pd.Series]) -> bool:
    """Tell whether commas may be decimal: where they part columns, only if they stand in quotes, and not between thousands."""
    if separator != ",":
        return separator != " "
    texts = (str(text).strip() for column in columns.values() for text in column.unique())
    return any(_COMMA.fullmatch(text) and not _THOUSANDS.fullmatch(text) for text in texts)


def _thousands_mark(columns: Mapping[int, pd.Series], *, pointed: bool) -> str:
    """
    Say what parts thousands, if a number that has both marks shows it and none shows the opposite, or commas part
    nothing else while other columns have decimal points.

    Then 1.234 can only be 1234 in such a file, and is read so throughout.
    """
    seen = [
        mark
        for mark, form in _BOTH_MARKS.items()
        if any(form.fullmatch(str(text)) for column in columns.values() for text in column.unique())
    ]
    if pointed and not seen:
        texts = (text for column in columns.values() for text in map(str.strip, column.dropna().unique().astype(str)))
        commas = [text for text in texts if "," in text]
        return "," if commas and all(_THOUSANDS.fullmatch(text) and text[0] != "0" for text in commas) else ""
    return seen[0] if len(seen) == 1 else ""


def _cure(name: str, text: str) -> str:
    """Say what a cell that is no number is, by the name of its cure."""
    thousands = bool(_THOUSANDS.fullmatch(text))
    kinds = {
        "missing": text.lower() in _SPOKEN_MISSING,
        "comma": _COMMA.fullmatch(text) and not thousands,
        "date": is_dated(text) or _DAY_OF_MONTH.fullmatch(text),
        "trace": "rain" in name and text.lower() in _DATA["trace"],
        "formula": text.startswith("#"),
        "thousands": thousands,
        "unit": _WITH_UNIT.fullmatch(text) and not _POINT.fullmatch(text),
    }
    return next((kind for kind, holds in kinds.items() if holds), "other")
