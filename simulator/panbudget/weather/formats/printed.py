"""
Printed: files without a header over dated rows, as they are laid out to be read by eye, turned into a table.

Columns that only blanks part; a row a month, with the days across; a station's printed month; days below their month or without
their year.
"""

import functools
import itertools
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from panbudget.weather.text.cells import is_number
from panbudget.weather.text.heading import in_english, is_unit
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.moments import MONTH, is_dated, joined_date, month_of, read_dates
from panbudget.weather.text.opening import is_row_of_values, is_units
from panbudget.weather.text.raw import Source
from panbudget.weather.text.rows import separator_of, split

#: lines in which a table may begin, rows that must be alike, and elements that one may have
HEAD, ROWS, MOST_ELEMENTS = 120, 3, 60
_ABOVE = 4  # lines above rows that may be their header
_FIELDS = re.compile(r"fields\s*[=:]\s*")
_YEAR, _MONTH = (re.compile(rf"\b({words})\b") for words in ("year|yyyy", "month|mm|mo"))
_DAY_NUMBER = re.compile(r"(?:day|d|val|value|tag|dia|jour)?[ _.]?0?(\d{1,2})\.?", re.IGNORECASE)
_DAYS_ACROSS = 28
_TITLE = re.compile(rf"\b(?P<month>{MONTH})[. ,]+(?P<year>(?:19|20)\d\d)\b")
# the month, in words or numbers, over rows that have the day's number alone; its year may stand further above
_BLOCK = re.compile(
    rf"(?P<name>{MONTH})\b[. ,/-]*(?P<of>(?:19|20)\d\d)?|(?P<month>\d{{1,2}})[./](?P<year>\d{{4}})", re.IGNORECASE
)
_NO_YEAR = re.compile(rf"(\d{{1,2}})(?:([./-])(\d{{1,2}})\.?|[. -]{{1,2}}(?P<name>{MONTH}))", re.IGNORECASE)
_OF_YEAR, _NUMBERED_DAY = re.compile(r"\b(?:19|20)\d\d\b"), re.compile(r"0?(\d{1,2})\.?")
_A_DATE, _A_WEEK = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}"), 7
_LEGEND = re.compile(r"([A-Za-z][A-Za-z ]*?)\s*\(([^()]+)\)")
_RULER = re.compile(r"[-=]{3,}(?: +[-=]{3,}){2,} *")  # below names, as wide as each column
_OF_TITLE = re.compile(r"month|year")
_TOKEN = re.compile(r'"[^"]*"|\S+')
_SAYS_DAY = re.compile(r"(?i)date|day|[dmy]{2}[-/. ]?[dmy]{2}")  # of a column of dates
_CLOCK = re.compile(r"\d{1,2}[:.h]\d\d(:\d\d)?( ?[AaPp]\.?[Mm]\.?)?")

# headers that only capitals part
_PARTS_OF_A_MOMENT = {"YY": "year", "YYYY": "year", "MM": "month", "DD": "day", "hh": "hour", "mm": "minute"}
_OF_CITIES = {"iy": "year", "id": "doy", "it": "hour", "imin": "minute"}  # and of forcing of models of cities

_OVER = 4  # twice the letters by which the middles of two words lie apart, of which one stands over the other


class Shape(NamedTuple):
    """What a file was turned from, as a report calls it, and its text as a table, which may be of one more shape."""

    was: str
    text: str
    half_way: bool = False


# a cell of a line of units, whether they are known or not
_BRACKETED = re.compile(r"\(.*\)|\[.*\]")

_Turn = Callable[[Source, Sequence[str]], Shape | None]


def _by_its_head(turn: _Turn) -> _Turn:
    """Make a shape that looks at a long file whole only where its head is of that shape."""

    @functools.wraps(turn)
    def look(source: Source, lines: Sequence[str]) -> Shape | None:
        return turn(source, lines) if turn(source, lines[:HEAD]) else None

    return look


def _tokens(text: str) -> list[str]:
    return [token.strip('"') for token in _TOKEN.findall(text)]


def _alike(lines: Sequence[str], least: int) -> Iterator[tuple[int, list[list[str]]]]:
    """Yield where rows of as many values begin that only blanks part, at least so many, and the first of them."""
    for i in range(min(len(lines), HEAD)):
        rows = [_tokens(text) for text in lines[i : i + ROWS]]
        plain = not any(re.search(r"[;\t|]|,\s|,$", text.strip()) for text in lines[i : i + ROWS])
        if (
            plain
            and len(rows[0]) >= least
            and len({len(row) for row in rows}) == 1
            and all(map(is_row_of_values, rows))
        ):
            yield i, rows


def _by_blanks(source: Source, lines: Sequence[str]) -> Shape | None:
    """Put tabs between columns that only blanks part, a date and its time of day kept together."""
    first, rows = next(_alike(lines, 3), (0, [[]]))
    width, below = len(rows[0]), first
    for i in range(first - 1, max(first - 1 - _ABOVE, -1), -1):
        text = _FIELDS.sub("", lines[i].lstrip("#!%: "))
        ways = re.split(r"\s{2,}|\t", text.strip()), _tokens(text)
        names = next((cells for wide in (width, width - 1) for cells in ways if len(cells) == wide), [])
        if names and (
            is_units(names, or_date=True) or all(is_unit(name) or _BRACKETED.fullmatch(name) for name in names)
        ):
            below = i
            continue
        if not names or is_row_of_values(names):
            continue
        for parts in (_PARTS_OF_A_MOMENT, _OF_CITIES):
            names = [parts.get(name, name) for name in names] if len(parts.keys() & {*names}) > ROWS else names
        names = _with_words_above(lines[i - 1] if i else "", lines[i], names)
        timed = [
            j
            for j in range(width - 1)
            if all(is_dated(row[j]) and re.match(r"\d{1,2}:\d{2}", row[j + 1]) for row in rows)
        ]
        at = timed[0] if timed and len(names) < width else -1
        if len(names) < width and at < 0:
            if is_dated(rows[0][0]) and _SAYS_DAY.search(names[0]):
                continue  # which column has no name is unknown
            names = ["row", *names]

        def tabbed(text: str, at: int = at) -> str:
            cells = _tokens(text)
            if 0 <= at < len(cells) - 1:
                cells[at : at + 2] = [f"{cells[at]} {cells[at + 1]}"]
            return "\t".join(cells)

        units = [
            "\t".join(["", *(cell if is_unit(cell) else "" for cell in named)][-width:])
            for text in lines[below:first]
            if (named := _tokens(text.lstrip("#! ").replace("()", '""')))
        ]
        table = [text if text.lstrip()[:1] == "#" else tabbed(text) for text in lines[first:]]
        above = [f"# {text}" if text.strip() else text for text in lines[:i]]
        return Shape(
            "columns that only blanks part",
            "\n".join([*above, "\t".join(names), *[""] * (below - i - 1), *units, *table]),
            half_way=True,
        )
    return None


def _with_words_above(above: str, line: str, names: list[str]) -> list[str]:
    """Put words of the line above before the names that they stand over, where each stands over one and half of them have one."""
    places = [match.start() + match.end() for match in _TOKEN.finditer(line)]
    words = [(match[0], match.start() + match.end()) for match in _TOKEN.finditer(above)]
    over = {min(range(len(places)), key=lambda i: abs(places[i] - at)): (word, at) for word, at in words}
    apart = any(abs(places[i] - at) > _OVER for i, (_, at) in over.items())
    if (
        apart
        or len(places) != len(names)
        or not len(names) <= 2 * len(words) == 2 * len(over)
        or re.search(r"\d", above)
    ):
        return names
    return [f"{over[i][0]} {name}" if i in over else name for i, name in enumerate(names)]


def _under_ruler(source: Source, lines: Sequence[str]) -> Shape | None:
    """Put tabs between columns that a line of dashes below their names is as wide as."""
    ruler = next(filter(_RULER.fullmatch, lines[1:HEAD]), "")
    starts = [match.start() for match in re.finditer(r"\S+", ruler)]
    if not starts:
        return None

    def parted(text: str) -> str:
        cells = (text[start:end].strip() for start, end in itertools.pairwise([*starts, None]))
        return "\t".join(cells)

    header = [*lines].index(ruler) - 1
    table = [*lines[:header], *map(parted, [lines[header], "", *lines[header + 2 :]])]
    return Shape("columns as wide as dashes below their names", "\n".join(table), half_way=True)


@_by_its_head
def _days_once(source: Source, lines: Sequence[str]) -> Shape | None:
    """Write the day on each of its rows, where only the first has it and all have their time of day."""
    day, filled, table = "", 0, list(lines)
    for i, text in enumerate(lines):
        cells = split(text, separator_of(text))
        if len(cells) < ROWS or not _CLOCK.fullmatch(cells[1]):
            continue
        day, filled = (cells[0], filled) if is_dated(cells[0]) else (day, filled + (not cells[0]))
        table[i] = text if cells[0] or not day else day + text[text.index(separator_of(text)) :]
    return Shape("days written on their first row", "\n".join(table)) if day and filled >= ROWS else None


def column_of(names: Sequence[str], of: re.Pattern[str]) -> int | None:
    return next((i for i, name in enumerate(names) if of.search(name)), None)


def side_by_side(first: Sequence[str], of: Mapping[tuple[str, ...], Mapping[str, str]]) -> str:
    """Write a row a moment, with what it has of each quantity, in the order in which those come."""
    order = list(dict.fromkeys(name for row in of.values() for name in row))
    rows = ([*when, *(row.get(name, "") for name in order)] for when, row in of.items())
    return as_table_text([[*first, *order], *rows])


def as_table_text(rows: Iterable[Sequence[str]]) -> str:
    return "\n".join(map("\t".join, rows)) + "\n"


def _cells(text: str) -> list[str]:
    return split(text, separator_of(text)) if re.search(r"[,;\t|]", text) else _tokens(text)


def _days_across(source: Source, lines: Sequence[str]) -> Shape | None:
    """Put the days of months one below the other, where a column says what a row holds; refuse those of one quantity."""
    for i, text in enumerate(lines[:HEAD]):
        cells = _cells(text)
        days = {int(match[1]): j for j, cell in enumerate(cells) if (match := _DAY_NUMBER.fullmatch(cell))}
        names = [in_english(cell) for cell in cells]
        if len(days) < _DAYS_ACROSS or sorted(days) != list(range(1, len(days) + 1)):
            below = [_cells(line)[:1] for line in lines[i + 1 : i + 1 + ROWS]]
            if below == [["1"], ["2"], ["3"]] and sum(bool(re.match(MONTH, name)) for name in names[1:]) >= ROWS:
                raise source.refusal("days-across", line=i + 1)
            continue
        of_date = [column_of(names, of) for of in (_YEAR, _MONTH)]
        least = max(days[_DAYS_ACROSS], *(place + 1 for place in of_date if place is not None))
        rows = [row for line in lines[i + 1 :] if len(row := _cells(line)) >= least]
        words = (j for j in range(days[1]) if j not in of_date and not any(is_number(row[j]) for row in rows))
        element = next((j for j in words if 2 <= len({row[j] for row in rows}) <= MOST_ELEMENTS), None)
        year, month = of_date
        if element is None or year is None or month is None:
            raise source.refusal("days-across", line=i + 1)
        table: dict[tuple[str, ...], dict[str, str]] = {}
        for row in rows:
            for day, j in days.items():
                if j < len(row) and row[j]:
                    table.setdefault((joined_date([row[year], row[month], str(day)]),), {})[row[element]] = row[j]
        return Shape("a row a month, days across", side_by_side(["date"], dict(sorted(table.items()))))
    return None


@_by_its_head
def _without_year(source: Source, lines: Sequence[str]) -> Shape | None:
    """Give days their year, which stands above the table alone; nothing where they go on into another."""
    firsts = [split(text, separator_of(text))[0] for text in lines]
    dated = {i: form for i, first in enumerate(firsts) if (form := _NO_YEAR.fullmatch(first))}
    years = set(_OF_YEAR.findall(" ".join(lines[: min(dated, default=0)])))
    if len(years) != 1 or len(dated) < _A_WEEK:
        return None
    days = [
        (month_of(form["name"]), int(form[1])) if form["name"] else (int(form[3]), int(form[1]))
        for form in dated.values()
    ]
    days = days if days[0][0] == days[1][0] else [(day, month) for month, day in days]  # the month first
    steps = {day - before for (_, before), (_, day) in itertools.pairwise(days[:ROWS])}
    if steps != {1} or sorted(days) != days:
        return None
    year, table = years.pop(), list(lines)
    for i, form in dated.items():
        table[i] = lines[i].replace(firsts[i], f"{firsts[i].rstrip('.')}{form[2] or ' '}{year}", 1)
    return Shape("days without their year", "\n".join(table))


@_by_its_head
def _month_blocks(source: Source, lines: Sequence[str]) -> Shape | None:
    """Date rows that begin with a day's number, by the month above them; names may stand over all of them, or over each month's."""
    year, month, header, units = "", 0, list[str](), list[str]()
    names, rows = dict[str, None](), list[dict[str, str]]()
    for text in lines:
        cells = split(text, separator_of(text))
        if header and [in_english(name) for name in header[:2]] == [
            "month",
            "day",
        ]:  # the month but once, or on each row
            if match := _BLOCK.fullmatch(cells[0]):
                year, month = match["year"] or match["of"] or year, _month_in(match)
            cells = cells[1:] if len(cells) == len(header) else cells
        filled = list(filter(None, cells))
        rows.append({})
        title = [cell for cell in filled if not _OF_TITLE.fullmatch(in_english(cell))]  # "Month,May,Year,2025"
        if len(title) < 3 and (match := _BLOCK.fullmatch(" ".join(title))):
            before, month, of_its_own = month, _month_in(match), match["year"] or match["of"]
            year = of_its_own or year
            if month < before and not of_its_own:
                return None  # of the next year, or the months stand in another order
        elif header and filled and (day := _NUMBERED_DAY.fullmatch(cells[0])) and year and month:
            named = [f"{name} ({unit})" if unit else name for name, unit in zip(header, units, strict=True)]
            named = named[-len(cells) :] if in_english(header[0]) == "month" else named
            names |= dict.fromkeys(filter(None, named[1:]))
            rows[-1] = {"date": f"{year}-{month:02d}-{int(day[1]):02d}", **dict(zip(named, cells, strict=False))}
        elif len(filled) > 2 and header and all(map(is_unit, filled)):
            units = [*cells, *[""] * len(header)][: len(header)]
        elif len(filled) > 2 and not any(map(is_number, filled)):
            header, units = cells, [""] * len(cells)
        elif (of := _OF_YEAR.search(text)) and len(filled) < 3:
            year = of[0]
    first = next((i for i, row in enumerate(rows) if row), 0)
    days = [int(row["date"][-2:]) for row in rows if row][:ROWS]
    if first == 0 or [day - days[0] for day in days] != [0, 1, 2]:
        return None
    table = ["\t".join([row["date"], *(row.get(name, "") for name in names)]) if row else "" for row in rows]
    table[first - 1] = "\t".join(["date", *names])
    return Shape("days numbered below their month", "\n".join(table) + "\n")


def _month_in(match: re.Match[str]) -> int:
    return month_of(match["name"]) if match["name"] else int(match["month"])


@_by_its_head
def _dates_across(source: Source, lines: Sequence[str]) -> Shape | None:
    """Put days one below the other that stand across, a row a quantity, once or week by week below the date of its first day."""
    rows = [split(text, separator_of(text)) for text in lines]
    starts = {
        i: dates[0]
        for i, (first, *others) in enumerate(rows)
        if len(others) == _A_WEEK and not any(map(is_number, others)) and (dates := _A_DATE.findall(first))
    }
    firsts = dict(zip(starts, read_dates([*starts.values()], [*starts], Mistakes()) if starts else (), strict=True))
    if not all(_is_named(rows[i][1], day) for i, day in firsts.items()):
        return None
    table: dict[tuple[str, ...], dict[str, str]] = {}
    across = list[str]()
    for i, (first, *others) in enumerate(rows):
        if i in firsts:
            across = [*map(str, firsts[i] + np.arange(_A_WEEK))]
        elif len(dates := list(filter(None, others))) >= ROWS and all(map(is_dated, dates[1:])):
            across = [cell if is_dated(cell) else "" for cell in others]
        elif across and first and any(map(is_number, others)):
            name = first if across[0] or not is_unit(others[0]) else f"{first} ({others[0]})"
            for day, value in zip(across, others, strict=False):
                table.setdefault((day,), {})[name] = value
    table.pop(("",), None)
    whole = len(table) >= _A_WEEK and len(set().union(*table.values())) > 1
    return Shape("days across", side_by_side(["date"], table)) if whole else None


def _is_named(name: str, day: np.datetime64) -> bool:
    """Tell whether a day is a Monday or Sunday, and its name begins as theirs do in most languages."""
    begins = {0: "mlp", 6: "sdzn"}.get((int(day.astype(np.int64)) + 3) % 7, "")
    return not np.isnat(day) and bool(name) and name[0].lower() in begins


def _printed_month(source: Source, lines: Sequence[str]) -> Shape | None:
    """Turn the month that a station's program prints, a numbered row a day below names of several lines, into dated rows."""
    title = next(filter(None, map(_TITLE.search, lines[:_ABOVE])), None)
    numbered = ((int(rows[0][0]), i, rows) for i, rows in _alike(lines, 5) if rows[0][0].isdecimal())
    follow = (
        (day, i) for day, i, rows in numbered if day and [row[0] for row in rows] == [str(day + j) for j in range(ROWS)]
    )
    start, first = next(follow, (0, 0))
    if title is None or not start:
        return None
    spans = [match.span() for match in _TOKEN.finditer(lines[first])]
    words: list[list[str]] = [[] for _ in spans]
    for text in lines[max(first - _ABOVE - 1, 0) : first]:
        if not text.strip():
            words = [[] for _ in spans]
        for match in re.finditer(r"[A-Za-z][\w.]*", text):
            off = [abs(match.start() + match.end() - start - end) for start, end in spans]
            words[off.index(min(off))].append(match[0])
    quantities = {name.strip(): unit for text in lines[:first] for name, unit in _LEGEND.findall(text)}
    names, now = ["date"], next(iter(quantities), "")
    clock = {j for j, text in enumerate(_tokens(lines[first])) if ":" in text}  # when an extreme was
    for column in (column for j, column in enumerate(words) if j and j not in clock):
        now = next((name for name in quantities if name.split()[0] in column), now)
        more = [word for word in now.split() if word not in column]
        names.append(f"{' '.join([*more, *column])} ({quantities[now]})" if now else " ".join(column))
    month = f"{title['year']}-{month_of(title['month']):02d}"
    table = [""] * (first - 1) + ["\t".join(names)]
    for day, text in enumerate(lines[first : first + 31], start=start):
        cells = _tokens(text)
        table.append(
            "\t".join([f"{month}-{day:02d}", *(cells[j] for j in range(1, len(cells)) if j not in clock)])
            if cells[:1] == [str(day)]
            else ""
        )
    return Shape("a printed month", "\n".join(table) + "\n")


#: what such a file may be, in the order in which it is looked for
PRINTED: tuple[_Turn, ...] = (
    _under_ruler,
    _days_once,
    _without_year,
    _month_blocks,
    _printed_month,
    _days_across,
    _dates_across,
    _by_blanks,
)
