"""
Rows: the one reader of rows, for every file of cells. The line of each row is texts, and what doesn't fit is named by it.

`read_rows` splits the rows below a header, all at once, however long the table; `read_typed` opens a file that somebody
typed (a field log, meter readings, a list of sites) and gives each row by the names of its columns, with parsers for
its cells.
"""

import csv
import datetime as dt
import hashlib
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import PanbudgetError, Problem, ReadingsError, did_you_mean
from panbudget.files import MOST_COLUMNS, Unlikely, contents, unlikely_text
from panbudget.numeric import Ints
from panbudget.units import UnitError, column_conversion
from panbudget.weather.text.grid import Grid
from panbudget.weather.text.mistakes import Mistakes, problem, shortened

#: what parts columns -> what a report calls it
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}

_MOST_TYPED = 20_000_000  # bytes of what somebody types
_LONGEST_PLAIN = 1000  # letters of a line that needs no csv rules
_AT_ONCE = 20_000  # lines of which copies are made at a time
_MOST_AT_A_STROKE = 40_000_000  # letters of rows whose cells are all found at once
_JUST_ABOVE, _LEAST_ABOVE = 30, 6  # rows by whose last cells a row may be found to lack a digit
# cells at most that a damaged byte has made; rows in a row, with other columns than the header, that are no slips
_SELDOM, _A_CHANGE = 3, 10
_ODD = re.compile(r"[ \t]+[\d.,]+|[\d.,]+[ \t]+|\+[\d.,]+|[.,]\d+|\d+[.,]|[\d.,]+[eE][-+]?\d+", re.ASCII)
_DATES = (
    r"(?P<year>\d{4})[-/](?P<month>\d{1,2})[-/](?P<day>\d{1,2})",
    r"(?P<day>\d{1,2})\.(?P<month>\d{1,2})\.(?P<year>\d{4})",
)
_NARROW = re.compile(r'##+"?\s*[,;\t]\s*"?[-+\d]')
_TIME = r"(?:[ T]+(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::[0-5]\d)?)?"
# what `float` would take besides, such as 1_5, is a slip of the hand; and what may be 1520 or 1.52
_NUMBER = re.compile(r"[-+]?(\d+[.,]?\d*|[.,]\d+)(e[-+]?\d+)?", re.ASCII | re.IGNORECASE)
_UNSURE = re.compile(r"[-+]?\d{1,3}(,\d{3})+")
_MAY_BE_ONE = re.compile(r"(?<=,)[-+]?\d+,\d{1,2}(?=,)")  # two whole numbers, or one with a decimal comma
_UNIT = re.compile(r"(.+?)\s*[\[(]\s*(.+?)\s*[\])]")
_SPOKEN_UNITS = {"l": "L", "ml": "mL", "m3": "m^3", "m³": "m^3"}


def split(text: str, separator: str = ",") -> list[str]:
    """
    Split one line into its cells.

    Parameters
    ----------
    text : str
        Cells may stand in quotation marks.
    separator : str
        One character; a space stands for any run of spaces and tabs.

    Returns
    -------
    list of str
        Stripped; a line that can't be split is one cell.

    Examples
    --------
    >>> split('2025-06-01, "a, b",3')
    ['2025-06-01', 'a, b', '3']
    """
    if separator == " ":
        return text.split()
    if '"' not in text and "\r" not in text and len(text) < _LONGEST_PLAIN:
        return [cell.strip() for cell in text.split(separator)]
    try:
        return [cell.strip() for cell in next(csv.reader([text], delimiter=separator, skipinitialspace=True), [])]
    except csv.Error:  # a cell beyond any size, or a stray end of line
        return [text.strip()]


def separator_of(text: str, among: Iterable[str] = SEPARATORS) -> str:
    """Return what parts a line's columns: the mark that it holds most often outside quotation marks; commas may be decimal."""
    bare = re.sub(r'"[^"]*"', "", text) if '"' in text else text
    return max(among, key=lambda mark: (count := bare.count(mark), count > 0 and mark != ","))


def lines_as_file(texts: Sequence[str]) -> Any:
    """Return lines as a file that pandas reads, which is never whole in memory."""
    return _Lines(texts)


class _Lines:
    """Lines as a file, some thousand at a time."""

    def __init__(self, texts: Sequence[str]) -> None:
        self._parts = _parts(texts)

    def __iter__(self) -> Iterator[str]:
        return ("\n".join(part) + "\n" for part in self._parts)

    def read(self, _size: int = -1) -> str:
        """Return the next lines, however many characters are asked for."""
        return next(iter(self), "")


def _parts(texts: Sequence[str], size: int | None = _AT_ONCE) -> Iterator[Sequence[str]]:
    """Yield so many texts at a time; all at once where no size is given."""
    size = size or max(len(texts), 1)
    return (texts[i : i + size] for i in range(0, len(texts), size))


class Rows(NamedTuple):
    """
    Rows that are as wide as their header.

    Parameters
    ----------
    separator : str
    width : int
        How many cells each has.
    lines : ndarray of int, (rows,)
        The line of the file that each stands on.
    texts : list of str
        The lines, unsplit.
    repeated, comments : list of int
        Lines that are the header again, and lines among the rows that begin with #.
    regular : bool
        Whether quotation marks stand around whole cells only, if anywhere, so that any parser takes all rows alike.
    grid : Grid, optional
        The cells of regular rows that are not too many to be taken at once.
    """

    separator: str
    width: int
    lines: Ints
    texts: list[str]
    repeated: list[int]
    comments: list[int]
    regular: bool = False
    grid: Grid | None = None

    def cells(self) -> Iterable[list[str]]:
        """Yield the cells of each row, stripped."""
        return (split(text, self.separator) for text in self.texts)

    def columns(self, places: Sequence[int]) -> pd.DataFrame:
        """Return columns of cells, stripped, by their places: as categories, for cells repeat."""
        if not self.regular:
            whole = pd.DataFrame(list(self.cells()), dtype=object).reindex(columns=list(places))
            return whole.fillna("").astype("category")
        columns = {}
        for place, (code, texts) in self._at_a_stroke(places):
            stripped = [text.strip() for text in texts]
            if stripped != texts:
                of, kinds = pd.factorize(np.array(stripped, dtype=object))
                code, stripped = of[code], kinds.tolist()
            columns[place] = pd.Categorical.from_codes(code, pd.Index(stripped, dtype=object), validate=False)
        return pd.DataFrame(columns)

    def _at_a_stroke(self, places: Sequence[int]) -> Iterator[tuple[int, tuple[Ints, list[str]]]]:
        """Yield each row's code and the text of each code of columns of regular rows."""
        if self.grid is not None:
            yield from ((place, self.grid.column(place)) for place in places)
            return
        options: dict[str, Any] = {"header": None, "index_col": False, "dtype": "category", "na_filter": False}
        options |= {"names": list(range(self.width)), "usecols": sorted(set(places)), "skipinitialspace": True}
        frame: pd.DataFrame = pd.read_csv(lines_as_file(self.texts), sep=self.separator, **options)
        for place in places:
            kinds = frame[place].cat
            yield place, (np.asarray(kinds.codes, dtype=np.int64), list(map(str, kinds.categories)))

    def refuse_repeats(self, header: Sequence[str], mistakes: Mistakes) -> "Rows":
        """Note lines that are the header again; those that have its cells in another order are no rows."""
        for line in self.repeated:
            mistakes.add("header-again", line=line)
        name, cells = max(header, key=len), sorted(header)
        if self.grid is not None and not self.grid.holds(name):
            return self
        mixed = [
            i for i, text in enumerate(self.texts) if name in text and sorted(split(text, self.separator)) == cells
        ]
        for i in mixed:
            mistakes.add("header-mixed", line=self.lines[i])
        texts = [text for i, text in enumerate(self.texts) if i not in mixed]
        return self._replace(lines=np.delete(self.lines, mixed), texts=texts, grid=None) if mixed else self


def read_rows(
    lines: Sequence[str],
    mistakes: Mistakes,
    *,
    above: int,
    separator: str,
    header: Sequence[str] = (),
    width: int = 0,
    whose: str = "",
    comments: bool = False,
) -> Rows:
    """
    Read the rows of a table, whose cells `cells` turns into columns.

    Parameters
    ----------
    lines : sequence of str
        The whole file's.
    mistakes : Mistakes
        Where rows are noted that don't fit; they are left out.
    above : int
        How many lines stand above the first row.
    separator : str
        One character; a space stands for any run of spaces and tabs.
    header : sequence of str
        The header's cells; lines that repeat them are no rows.
    width : int
        How many cells a row has; as many as the header if left out.
    whose : str
        Which texts are for rows that are too short or too long, as in ``texts.toml``: "archive-", "typed-" and so on.
    comments : bool
        Whether lines that begin with # are no rows.

    Returns
    -------
    Rows
        Blank lines and rows without a cell are passed over.
    """
    nothing = separator + " \t\r\x0b\x0c"
    width = width or len(header)
    if (regular := regular_rows(list(lines[above:]), above, separator, header, comments, width)) is not None:
        return regular
    commas = "; if the numbers have decimal commas, save the file with semicolons between columns" * (separator == ",")
    texts, repeated, passed_over, odd = dict[int, str](), list[int](), list[int](), dict[int, list[int]]()
    for line, text in enumerate(lines[above:], start=above + 1):
        count = len(text.split()) if separator == " " else text.count(separator) + 1
        if count != width or '"' in text or "#" in text:
            if comments and _is_remark(text):
                passed_over.append(line)
                continue
            if text.count('"') % 2:
                mistakes.add("open-quote", line=line)
                continue
            text, count = _as_wide(text, separator, width, as_first=lines[above].count(separator) >= width)
        if header and header[0] in text and split(text, separator) == list(header):
            repeated.append(line)
        elif count == width and text.strip(nothing):
            texts[line] = text
        elif count != width and text.strip():
            odd.setdefault(count, []).append(line)
    for count, at in odd.items():
        kind = f"{whose}{'long' if count > width else 'short'}-row"
        if not whose and len(at) >= _A_CHANGE and at[-1] - at[0] < len(at):
            kind = "other-width" if texts else "no-width"
        for line in at:
            mistakes.add(kind, value=count, line=line, cells=count, width=width, commas=commas)
    return Rows(separator, width, np.array(list(texts), dtype=np.int64), list(texts.values()), repeated, passed_over)


def is_cut_off(rows: Rows, text: str) -> bool:
    """Tell whether a file's last line has no end, and its last cell lacks digits, or decimals, that all rows just above have."""
    if text.endswith(("\n", "\r")) or len(rows.texts) < _LEAST_ABOVE:
        return False
    cells = (split(line, rows.separator)[-1] for line in rows.texts[-_JUST_ABOVE:])
    *above, last = ((len(cell), len(cell.replace(",", ".").partition(".")[2])) for cell in cells)
    return any(last[of] < min(row[of] for row in above) for of in (0, 1))


def odd_numbers(rows: Rows, text: str) -> Iterator[tuple[int, str]]:
    """Yield line and cell of numbers that hardly any other is written like: after a blank or a +, without digits at a point."""
    part = rows.separator
    if part == " " or not rows.texts:
        return
    signs = {" ": (" " + part, part + " ", " \n", "\n "), "\t": ("\t" + part, part + "\t"), "+": (part + "+",)}
    signs |= {mark: tuple(digit + mark for digit in "0123456789") for mark in "eE"}
    if rows.grid is None or rows.grid.has_bare_point():
        signs |= {".": (part + ".", "." + part, ".\n")}
    within = text.find(rows.texts[0]), text.rfind(rows.texts[-1]) + len(rows.texts[-1]) + 1
    seldom = [
        kind
        for mark, kind in signs.items()
        if text.find(mark, *within) >= 0 and 0 < sum(text.count(sign, *within) for sign in kind) <= _SELDOM
    ]
    for line, row in zip(rows.lines, rows.texts, strict=True) if seldom else ():
        if any(sign.strip("\n") in row for kind in seldom for sign in kind):
            yield from ((int(line), cell) for cell in row.split(part) if _ODD.fullmatch(cell))


def regular_rows(
    texts: list[str], above: int, separator: str, header: Sequence[str], comments: bool, width: int = 0
) -> Rows | None:
    """Read rows that are all alike as `read_rows`, from a list that may be shortened; nothing where one must be looked at."""
    below, width = list[int](), width or len(header)
    while texts and (not (last := texts[-1].strip()) or (comments and _is_remark(last))):
        texts.pop()
        below += [above + 1 + len(texts)] if last else []
    numbers: Sequence[int] = range(above + 1, above + 1 + len(texts))
    odd, grid, start = set[int](), None, 0
    size = None if sum(map(len, texts)) <= _MOST_AT_A_STROKE else _AT_ONCE
    for part in _parts(texts, size):
        grid = Grid(part, separator)
        odd |= {start + i for i in grid.empty_rows(comments)}
        start += len(part)
    commented = {i for i in odd if comments and _is_remark(texts[i])}
    passed_over = [numbers[i] for i in sorted(commented)]
    if dropped := commented | {i for i in odd if not texts[i].strip()}:
        numbers = [line for i, line in enumerate(numbers) if i not in dropped]
        texts = [text for i, text in enumerate(texts) if i not in dropped]
    if not texts or not odd <= dropped:
        return None
    grids = [grid] if grid and size is None and not dropped else (Grid(part, separator) for part in _parts(texts, size))
    for grid in grids:
        if not grid.divided(header, width, comments):
            return None
    where = np.arange(above + 1, above + 1 + len(texts)) if isinstance(numbers, range) else np.array(numbers)
    return Rows(separator, width, where, texts, [], passed_over + below[::-1], True, grid if size is None else None)


def _as_wide(text: str, separator: str, width: int, *, as_first: bool) -> tuple[str, int]:
    """Cut separators with nothing behind them off a row's end, as far as it is too wide, and count its cells."""
    count = len(split(text, separator))
    if count <= width or (separator == "," and not as_first and _MAY_BE_ONE.search(text)):
        return text, count
    bare = text.rstrip(separator + " \t\r")
    count = len(split(bare, separator))
    return bare + separator * (width - count), max(count, width)


@dataclass(frozen=True, eq=False)
class TypedRow:
    """
    A row of a file that somebody typed.

    Parameters
    ----------
    line : int
    cells : dict
        Column -> its cell, stripped; "" where there is nothing.
    problems : list of Problem
        The table's, to which the parsers add.
    factors : dict
        Column -> what turns the unit that its header names into the column's own.
    separator : str
        What parts cells: beside semicolons, a comma in a number is its decimal mark.
    """

    line: int
    cells: dict[str, str]
    problems: list[Problem]
    factors: Mapping[str, float] = field(default_factory=dict)
    separator: str = ","

    def __getitem__(self, name: str) -> str:
        return self.cells.get(name, "")

    def wrong(self, code: str, found: str, *, expected: str = "", cure: str = "", value: object = None) -> None:
        """Note a problem of this row."""
        self.problems.append(Problem(code, f"line {self.line}:", found, expected, cure, value))

    def _note(self, key: str, text: str, **facts: object) -> None:
        self.problems.append(problem(key, value=text, line=self.line, text=text, **facts))

    def number(self, name: str) -> float | None:
        """Read a number of zero or more, with a decimal point or comma; None where there is none, or it is wrong."""
        text = self[name]
        if text and not 0.0 <= plain_number(text) < math.inf:
            self._note("typed-no-number", text, name=name)
            return None
        if self.separator != ";" and _UNSURE.fullmatch(text):
            self._note("typed-unsure-comma", text, name=name, whole=text.replace(",", ""), part=text.replace(",", "."))
            return None
        return self.value(name) if text else None

    def value(self, name: str) -> float:
        """Return a cell's number without noting anything: NaN where it is none."""
        return plain_number(self[name]) * self.factors.get(name, 1.0)

    def moment(self) -> tuple[dt.datetime | None, bool]:
        """Read the columns date and time: the moment, midnight where no time of day is given, and whether one is."""
        text = f"{self['date']} {self['time']}".strip()
        moment, timed = moment_of(text)
        if moment is None:
            self._note("typed-no-date", text)
        return moment, timed

    def choice(self, name: str, known: Sequence[str], whose: str, default: str = "") -> str | None:
        """Read a name that must be one of those known; None, and a problem, where it isn't."""
        text = self[name] or default
        if text in known:
            return text
        self._note("typed-unknown-name", text, name=name, whose=whose, hint=did_you_mean(text, known))
        return None


class Typed(NamedTuple):
    """
    A file that somebody typed.

    Parameters
    ----------
    sha256, header_line : str, int
    header, rows : tuple of str, tuple of TypedRow
        Its columns, by our names, and what stands below.
    problems : list of Problem, what is wrong so far
    units : dict of column -> the unit that its header names, as the file has it
    """

    sha256: str
    header_line: int
    header: tuple[str, ...]
    rows: tuple[TypedRow, ...]
    problems: list[Problem]
    units: Mapping[str, str]


def read_typed(
    path: str | Path,
    *,
    what: str,
    shown: str,
    example: str,
    known: Sequence[str] = (),
    needed: Sequence[str] = (),
    spoken: Mapping[str, str] | None = None,
    units: Mapping[str, tuple[str, str]] | None = None,
    error: type[PanbudgetError] = ReadingsError,
    most: int = 100_000,
) -> Typed:
    """
    Read a CSV file that somebody typed: comma, semicolon or tab; lines that begin with # are passed over.

    Parameters
    ----------
    path : str or Path
    what : str
        What the file is, for the message that there is none: "field log".
    shown : str
        How messages name it.
    example : str
        A header, for the message that the file is empty: "date,openings,level_mm".
    known : sequence of str
        Columns that there may be; any if left out.
    needed : sequence of str
        Columns without which nothing can be read; a unit in the header stands for a column "unit".
    spoken : mapping, optional
        Another word for a column -> our name.
    units : mapping, optional
        Column without its unit -> (unit of our column, or "", our name): "level (cm)" and "level_cm" are read as "level_mm".
    error : type
        What is raised.
    most : int
        Rows that there may be.

    Returns
    -------
    Typed
        With what is wrong in the header and rows that don't fit it; `TypedRow` parsers add to it.

    Raises
    ------
    PanbudgetError
        Of the type given: no such file, no text, no header, a column that is needed and absent.
    """
    content, whole = _typed_text(Path(path), what, shown, error)
    lines = whole.splitlines()
    first = next((i for i, line in enumerate(lines) if line.strip() and not line.startswith("#")), None)
    if first is None:
        raise error(problem("typed-empty", example=example), file=shown)
    separator = separator_of(lines[first], ",;\t")
    mistakes = Mistakes()
    texts = split(lines[first], separator)
    while len(texts) > 1 and not texts[-1]:  # empty columns that a spreadsheet has saved along
        texts.pop()
    if wrong := _unlikely_table(lines, first, texts, most):
        raise error(wrong, file=shown)
    header, factors, named = _columns(texts, first + 1, known, spoken or {}, units or {}, mistakes)
    if absent := [name for name in needed if name not in (*header, "unit" if named else "")]:
        facts = {"line": first + 1, "absent": ", ".join(absent), "known": ", ".join(known or needed)}
        raise error(problem("typed-no-column", **facts, example=example), file=shown)
    wide, above = len(header), first + 1
    rows = read_rows(lines, mistakes, above=above, separator=separator, width=wide, whose="typed-", comments=True)
    problems = mistakes.problems()
    typed = tuple(
        TypedRow(int(line), dict(zip(header, cells, strict=True)), problems, factors, separator)
        for line, cells in zip(rows.lines, rows.cells(), strict=True)
    )
    return Typed(hashlib.sha256(content).hexdigest(), first + 1, tuple(header), typed, problems, named)


def _columns(
    texts: Sequence[str],
    line: int,
    known: Sequence[str],
    spoken: Mapping[str, str],
    units: Mapping[str, tuple[str, str]],
    mistakes: Mistakes,
) -> tuple[list[str], dict[str, float], dict[str, str]]:
    """Return a header's columns by our names, what turns their units into ours, and those units."""
    header, factors, named = list[str](), dict[str, float](), dict[str, str]()
    for cell in texts:
        text = cell.casefold() if known else cell
        quantity, unit = _unit_of(text, known, units)
        target, name = units.get(quantity, ("", spoken.get(text, text)))
        header.append(name)
        named |= {name: cell.rstrip(" ])")[-len(unit) :]} if quantity else {}
        try:
            factors |= {name: column_conversion(_SPOKEN_UNITS.get(unit, unit), target)[0]} if target else {}
        except UnitError as reason:
            mistakes.others.append(reason.problem.under(f"line {line}: column {text}: unit"))
    to_list = True
    for name in dict.fromkeys(header) if known else ():
        if name not in known:
            hint = did_you_mean(name, known, None if to_list else "")
            to_list = to_list and hint.endswith("?")  # the known ones are listed once
            mistakes.note("typed-unknown-column", value=name, line=line, name=name, hint=hint)
        elif header.count(name) > 1:
            mistakes.note("typed-column-twice", value=name, line=line, name=name)
    return header, factors, named


def _unlikely_table(lines: Sequence[str], first: int, header: Sequence[str], most: int) -> Problem | None:
    """Say what nobody types: more rows than that below the header's line, or columns beyond any table's."""
    count, named = len(lines) - first - 1, ", ".join(map(shortened, header[:10]))
    if count > most and (count := sum(map(bool, map(str.strip, lines[first + 1 :])))) > most:
        return problem("typed-too-many-rows", count=count, most=most, named=named)
    if len(header) > MOST_COLUMNS:
        return problem("typed-too-many-columns", most=MOST_COLUMNS, line=first + 1, count=len(header), named=named)
    return None


def _typed_text(path: Path, what: str, shown: str, error: type[PanbudgetError]) -> tuple[bytes, str]:
    try:
        content = contents(path, _MOST_TYPED)
        text = content.decode("utf-8-sig")
        if unlikely := unlikely_text(text):
            raise error(problem("unlikely-text", line=unlikely[0], what=unlikely[1]), file=shown)
        return content, text
    except (FileNotFoundError, NotADirectoryError):
        raise error(problem("typed-no-file", what=what), file=shown) from None
    except IsADirectoryError:
        raise error(problem("typed-folder"), file=shown) from None
    except Unlikely as reason:
        raise error(reason.problem, file=shown) from None
    except OSError as reason:
        raise error(problem("typed-unreadable", reason=reason.strerror), file=shown) from None
    except UnicodeDecodeError:
        raise error(problem("typed-no-text"), file=shown) from None


def _unit_of(header: str, known: Sequence[str], units: Mapping[str, tuple[str, str]]) -> tuple[str, str]:
    """Return the quantity and the unit that a header names; no quantity where there is none."""
    match = _UNIT.fullmatch(header) or re.fullmatch(rf"({'|'.join(units) or '(?!)'})_(.+)", header)
    if match is None or header in known:
        return "", ""
    return next((key for key, (_, name) in units.items() if match[1] in (key, name)), ""), match[2]


def _is_remark(text: str) -> bool:
    """Tell whether a line is a remark, and no row whose day a spreadsheet wrote as ########, its column being too narrow."""
    return text.lstrip().startswith("#") and not _NARROW.match(text.lstrip())


def plain_number(text: str) -> float:
    """
    Read a number with a decimal point or comma; NaN where it is none.

    Examples
    --------
    >>> plain_number("1,5"), plain_number("x")
    (1.5, nan)
    """
    return float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else math.nan


def moment_of(text: str) -> tuple[dt.datetime | None, bool]:
    """
    Read one date, year first or day first with points, with or without a time of day.

    Returns
    -------
    (datetime or None, bool)
        Midnight where there is no time of day, and whether there is one; 24:00 is the day's end.

    Examples
    --------
    >>> moment_of("1.6.2025"), moment_of("2025-06-01 24:00")
    ((datetime.datetime(2025, 6, 1, 0, 0), False), (datetime.datetime(2025, 6, 2, 0, 0), True))
    """
    match = next(filter(None, (re.fullmatch(date + _TIME, text, re.ASCII) for date in _DATES)), None)
    if match is None:
        return None, False
    hour, minute = int(match["hour"] or 0), int(match["minute"] or 0)
    try:
        midnight = dt.datetime(int(match["year"]), int(match["month"]), int(match["day"]))
    except ValueError:
        return None, False
    if minute > 59 or hour * 60 + minute > 24 * 60:
        return None, False
    return midnight + dt.timedelta(hours=hour, minutes=minute), match["hour"] is not None
