"""
Readers: the weather formats that are known, and which one a file is in.

To add a format: write a module with ``NAME``, ``SOURCE``, ``sniff`` and ``read`` (see `raw.Reader`) and list it here.
"""

import itertools
import re
from dataclasses import replace

from panbudget.errors import Problem, WeatherError, did_you_mean
from panbudget.weather.formats import epw, ghcn, gsod, isd_lite, knmi, logger, power, table, tmy3
from panbudget.weather.formats.archives import LAYOUTS
from panbudget.weather.formats.recast import recast
from panbudget.weather.text.cells import is_number
from panbudget.weather.text.mistakes import problem
from panbudget.weather.text.moments import MONTH, in_numbers, is_dated
from panbudget.weather.text.raw import Reader, Source
from panbudget.weather.text.rows import separator_of, split

_ALL: tuple[Reader, ...] = (table, ghcn, gsod, power, knmi, logger, isd_lite, tmy3, epw)
#: name, as in `[weather] format` -> reader
READERS = {reader.NAME: reader for reader in _ALL}

# how much of a file a reader may look at to recognise it
_HEAD_LINES = 150
# share of a row's cells that are numbers where it is a row of values whose names stand elsewhere
_FIGURES = 0.9
# how sure an archive's reader must be of a copy that a spreadsheet made
_SURE = 0.5
_DECIMAL_COMMA = re.compile(r"^([+-]?\d+),(\d+)$")
_MONTH = re.compile(
    rf"(?:18|19|20)\d{{2}}[-/](?:0?[1-9]|1[0-2])|(?:0?[1-9]|1[0-2])/(?:18|19|20)\d{{2}}|{MONTH}[- ]?(?:\d{{4}}|\d{{2}})"
)
# one that may be all of a cell
_MONTH_ALONE = re.compile(rf"(?:^|[\s,;|\"])(?:{_MONTH.pattern})(?:$|[\s,;|\"])", re.MULTILINE)
# a year and the number of a month in columns of their own, perhaps behind a station's; of more cells than this a row has days across
_NUMBERED = r"\s*(?:[^\s,;|]+[\s,;|]+)?\"?((?:18|19|20)\d\d)\"?[\s,;|]+\"?({})\"?[\s,;|]"
_YEAR_AND_MONTH = re.compile(  # or the first day of one, or the last
    _NUMBERED.format(r"0?[1-9]|1[0-2]")
    + r"|\"?((?:18|19|20)\d\d)-(0[1-9]|1[0-2])-(?:01|2[89]|3[01])(?:[T ]00:00[:0-9Z.]*(?:/[^,;|\t]*)?)?\"?\s*[,;|\t]"
)
_MOST_OF_A_MONTH = 28
_DAY_OF_YEAR = re.compile(_NUMBERED.format(r"1[3-9]|[2-9]\d|[123]\d\d"))
# a day that is no month's first nor last: of days of which a program took those up to 12 for months
_LATER_DAY = re.compile(r"\"?\d{4}-\d\d-(?:0[2-9]|1\d|2[0-7])\b", re.ASCII)
_A_DAY = re.compile(r"\d{4}-\d\d-\d\d\b", re.ASCII)
_DAILY_PRODUCTS: dict[str, str] = LAYOUTS["daily_products"]


def format_problem(file_format: str, *, where: str = "weather") -> Problem | None:
    """Say what is wrong with a format's name, or nothing."""
    names = ["auto", *READERS]
    if file_format in names:
        return None
    hint = did_you_mean(file_format, names, "name one of these")
    known = " or ".join(f'"{name}"' for name in names)
    return problem("unknown-format", value=file_format, table=where, name=file_format, known=known, hint=hint)


def as_archived(source: Source) -> Source:
    """
    Return an archive's file that a spreadsheet saved again as the archive had it: commas between columns, none at line ends.

    Examples
    --------
    >>> as_archived(Source("a;b\\n1;2\\n", "x.csv", "", "utf-8")).text
    'a;b\\n1;2\\n'
    """
    head = source.text[:20_000]
    if not (";" in head or "\t" in head or ",,\n" in head or head.endswith(",,")):
        return source
    separator = max(";\t,", key=head.count)

    def plain(line: str) -> str:
        cells = [_DECIMAL_COMMA.sub(r"\1.\2", cell) for cell in split(line, separator)]
        filled = [cell for cell in cells if cell]
        return filled[0] if len(filled) == 1 else ",".join(f'"{cell}"' if "," in cell else cell for cell in cells)

    few = "\n".join(map(plain, source.lines[:_HEAD_LINES]))
    copy, as_it_is = map(_archives, (few, head))
    if copy <= _SURE or copy < as_it_is or (copy == as_it_is and separator == ","):
        return source
    return replace(
        source, text="\n".join(map(plain, source.lines)), taken_from=source.taken_from or "a spreadsheet's copy"
    )


def _archives(head: str) -> float:
    """Return how sure an archive's reader is of a file by its first lines."""
    return max(reader.sniff(head)[0] for reader in _ALL if reader not in (table, logger))


def as_table(source: Source) -> Source:
    """Return a file that is a table of another shape as one with a row a moment, and others as they are."""
    head = "\n".join(source.lines[:_HEAD_LINES])
    if in_numbers(head) != head:
        source = replace(source, text=in_numbers(source.text))
    return recast(table.days_among_records(source), lambda head: _archives(head) > _SURE)


def refuse_foreign(source: Source) -> None:
    """Refuse a layout that is known and not read, and name what to take in its place."""
    head = "\n".join(source.lines[:_HEAD_LINES])
    for layout in LAYOUTS["foreign"]:
        if re.search(layout["mark"], head):
            raise source.refusal("foreign", **layout)


def refuse_months(source: Source) -> None:
    """Refuse a file with a row a month, and name the daily product of the archives that have one."""
    lines = [line for line in source.lines[:_HEAD_LINES] if line.strip()]
    numbered = [_month_numbered(line) for line in lines]
    apart = [{after - before for before, after in itertools.pairwise(numbered[i : i + 3])} for i in range(len(lines))]
    of_days = any(_DAY_OF_YEAR.match(line) or _LATER_DAY.match(line) for line in lines)
    in_turn = [i for i in range(len(lines) - 2) if numbered[i] and apart[i] == {1} and not of_days]
    if not in_turn and not _MONTH_ALONE.search("\n".join(line for line in lines if not _A_DAY.match(line))):
        return
    cells = [split(line, separator_of(line)) for line in lines]
    dated = [any(map(is_dated, row)) for row in cells]
    for i in range(len(lines) - 2):
        rows = cells[i : i + 3]
        if (any(dated[i : i + 3]) and i not in in_turn) or len({len(row) for row in rows}) > 1:
            continue
        named = any(all(_MONTH.fullmatch(row[place]) for row in rows) for place in range(min(len(rows[0]), 4)))
        if named or i in in_turn:
            daily = next((name for mark, name in _DAILY_PRODUCTS.items() if mark in source.text[:3000]), "daily values")
            raise source.refusal("monthly", line=source.lines.index(lines[i]) + 1, text=lines[i][:40], daily=daily)


def _month_numbered(line: str) -> int:
    """Return the month, counted through the years, of a row that has its year and number in columns; 0 of another."""
    match = _YEAR_AND_MONTH.match(line) if len(re.split(r"[\s,;|]+", line.strip())) < _MOST_OF_A_MONTH else None
    return int(match[1] or match[3]) * 12 + int(match[2] or match[4]) if match else 0


def choose_reader(source: Source, *, file_format: str) -> tuple[Reader, str]:
    """
    Choose the reader of a file.

    Parameters
    ----------
    source : Source
        The file.
    file_format : str
        "auto", or a reader's name.

    Returns
    -------
    (Reader, str)
        The reader, and why it was chosen.

    Raises
    ------
    WeatherError
        An unknown name, or a file that no reader recognises, or that two recognise equally well.
    """
    if (unknown := format_problem(file_format)) is not None:
        raise WeatherError(unknown, file=source.shown_as)
    if file_format != "auto":
        return READERS[file_format], "format named by the user"
    head = "\n".join(source.lines[:_HEAD_LINES])
    scored = [(*reader.sniff(head), reader) for reader in READERS.values()]
    score, why, reader = max(scored, key=lambda entry: entry[0])
    equals = [other.NAME for other_score, _, other in scored if other_score == score]
    if score <= 0.0:
        text = next((line[:60] for line in head.split("\n") if line.strip() and not line.startswith("#")), "")
        known = ", ".join(f'"{name}"' for name in READERS)
        blanks = [line.split() for line in source.lines[:_HEAD_LINES]]
        rows = [
            i
            for i, cells in enumerate(blanks)
            if len(cells) > 2 and sum(map(is_number, cells)) >= _FIGURES * len(cells)
        ]
        if rows:  # the first that is as wide as the one below: a place may stand above the table
            row = next((i for i in rows if [len(blanks[i])] == [*map(len, blanks[i + 1 : i + 2])]), rows[0])
            text, count = source.lines[row].strip()[:40], len(blanks[row])
            raise source.refusal("values-for-header", line=row + 1, text=text, count=count)
        raise source.refusal("no-format" if text else "no-format-only-comments", text=text, known=known)
    if len(equals) > 1:
        either = " or ".join(f'"{name}"' for name in equals)
        choices = " or ".join(f'format = "{name}"' for name in equals)
        raise source.refusal("two-formats", table=source.table, either=either, choices=choices)
    return reader, why
