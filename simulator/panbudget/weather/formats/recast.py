"""
Recast: files that are tables, though not with a row a day under headers with marks between them, turned into such a table.

Columns that only blanks part; a row a value, with what it is in a column of its own; a row a month, with the days across; a
station's printed month; rows numbered under no header. What can't be turned is refused by its shape.
"""

import functools
import itertools
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from statistics import mean
from typing import NamedTuple

import numpy as np

from panbudget.weather.text.cells import is_number
from panbudget.weather.text.heading import in_english, is_unit, unit_of
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.moments import MONTH, is_dated, joined_date, month_of, read_dates
from panbudget.weather.text.opening import Opening, find_opening, is_row_of_values
from panbudget.weather.text.raw import Source
from panbudget.weather.text.rows import separator_of, split
from panbudget.weather.text.stamps import find_time

# lines in which a table may begin, rows that must be alike, lines above them that may be its header
_HEAD, _ROWS, _ABOVE = 120, 3, 4
_ELEMENT = re.compile(
    r"\b(elements?|parameters?|variables?|quantity|measurements?|observations?|sensor|metrics?|observed property|entity)\b"
)
_VALUE = re.compile(r"\b(values?|reading|results?|wert|valor|valeur|data|state)\b")
_UNIT, _YEAR, _MONTH = (re.compile(rf"\b({words})\b") for words in ("units?|einheit|uom", "year|yyyy", "month|mm|mo"))
_MOST_ELEMENTS = 60
_DAY_NUMBER = re.compile(r"(?:day|d|val|value|tag|dia|jour)?[ _.]?0?(\d{1,2})\.?", re.IGNORECASE)
_DAYS_ACROSS = 28
_HOUR = re.compile(r"[hH]?0?(\d{1,2})(?:(?::00){1,2}|[hH](?:00)?)?")
_TITLE = re.compile(rf"\b(?P<month>{MONTH})[. ,]+(?P<year>(?:19|20)\d\d)\b")
# the month, in words or numbers, over rows that have the day's number alone; its year may stand further above
_BLOCK = re.compile(
    rf"(?P<name>{MONTH})\b[. ,/-]*(?P<of>(?:19|20)\d\d)?|(?P<month>\d{{1,2}})[./](?P<year>\d{{4}})", re.IGNORECASE
)
_NO_YEAR = re.compile(rf"(\d{{1,2}})(?:([./-])(\d{{1,2}})\.?|[. -]{{1,2}}(?P<name>{MONTH}))", re.IGNORECASE)
_OF_YEAR, _NUMBERED_DAY = re.compile(r"\b(?:19|20)\d\d\b"), re.compile(r"0?(\d{1,2})\.?")
# quantities of which the mean of readings at fixed hours stands for the day, and an hour in a name or a cell
_HUMIDITY = re.compile(r"\b(hum\w*|r ?[hf]|[hu] ?r)\b")
_MEAN_OF = re.compile(rf"({_HUMIDITY.pattern}|\b(wind\w*|vapou?r|dew\w*)\b)(?!.*\b(dir\w*|direction|gusts?|max|min)\b)")
_READ_AT = re.compile(r"\b(?!24 ?h)\d{1,2} ?(am|pm|h|hrs?|utc|z|00)\b")
# a mean of fewer has too little of the night
_LEAST_READINGS, _MOST_READINGS = 3, 6
_A_DATE, _A_WEEK = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}"), 7

_TWO = re.compile(r"([+-]?\d+(?:[.,]\d+)?)(?: ?°[CF]?)? ?[/|] ?([+-]?\d+(?:[.,]\d+)?)(?: ?°[CF]?)?")
_LEGEND = re.compile(r"([A-Za-z][A-Za-z ]*?)\s*\(([^()]+)\)")
_TOKEN = re.compile(r'"[^"]*"|\S+')
# a wind's component to the east, and the height that its name has [m]
_EASTWARD, _HEIGHT = re.compile(r"\bu(?=\d{0,3}m?\b)"), re.compile(r"(?<=\bu)\d+|\d+(?= ?m\b)")
# a year of the Buddhist era, and by how much it is ahead of ours [years]; a time of day
_LATER_YEAR, _ERA = re.compile(r"\b2[45]\d\d\b"), 543
_TIME_NAME = re.compile(
    r"(?:time(?: of)?(?: day)?|hour(?: ?min)?|hh(?:mm)?|hr|hourly|[aecmp]st|lst)?( ?utc| ?gmt)?(?<!^)"
)
_CLOCK = re.compile(r"\d{1,2}[:.h]\d\d(:\d\d)?( ?[AaPp]\.?[Mm]\.?)?")


class _Shape(NamedTuple):
    """What a file was turned from, as a report calls it, and its text as a table, which may be of one more shape."""

    was: str
    text: str
    half_way: bool = False


_Turn = Callable[[Source, Sequence[str]], _Shape | None]


def _by_its_head(turn: _Turn) -> _Turn:
    """Make a shape that looks at a long file whole only where its head is of that shape."""

    @functools.wraps(turn)
    def look(source: Source, lines: Sequence[str]) -> _Shape | None:
        return turn(source, lines) if turn(source, lines[:_HEAD]) else None

    return look


def recast(source: Source, is_archive: Callable[[str], bool]) -> Source:
    """
    Turn a file of another shape into a table with a row a moment.

    Parameters
    ----------
    source : Source
    is_archive : callable
        Whether a text's head is an archive's, whose reader knows its shape.

    Returns
    -------
    Source
        The same one where it is a table, or none that is known.

    Raises
    ------
    WeatherError
        Days or hours across, of one quantity alone.
    """
    lines = source.lines
    if opening := find_opening(lines):
        tables = _later_era, _day_in_parts, _components, _numbered, _hours_across, _long, _readings, _readings_across
        turns = (turn(source, lines, opening) for turn in (*tables, _pairs))
    else:
        others = _days_once, _without_year, _month_blocks, _printed_month, _days_across, _dates_across, _by_blanks
        turns = (turn(source, lines) for turn in others)
    turned = next(filter(None, turns), None)
    if turned is None or is_archive("\n".join(lines[:_HEAD])):
        return source
    again = replace(source, text=turned.text, taken_from=source.taken_from or turned.was)
    return recast(again, is_archive) if turned.half_way else again


def _tokens(text: str) -> list[str]:
    return [token.strip('"') for token in _TOKEN.findall(text)]


def _alike(lines: Sequence[str], least: int) -> Iterator[tuple[int, list[list[str]]]]:
    """Yield where rows of as many values begin that only blanks part, at least so many, and the first of them."""
    for i in range(min(len(lines), _HEAD)):
        rows = [_tokens(text) for text in lines[i : i + _ROWS]]
        plain = not any(re.search(r"[;\t|]|,\s|,$", text.strip()) for text in lines[i : i + _ROWS])
        if (
            plain
            and len(rows[0]) >= least
            and len({len(row) for row in rows}) == 1
            and all(map(is_row_of_values, rows))
        ):
            yield i, rows


def _by_blanks(source: Source, lines: Sequence[str]) -> _Shape | None:
    """Put tabs between columns that only blanks part, a date and its time of day kept together."""
    first, rows = next(_alike(lines, 3), (0, [[]]))
    width, below = len(rows[0]), first
    for i in range(first - 1, max(first - 1 - _ABOVE, -1), -1):
        text = lines[i].lstrip("#! ")
        ways = re.split(r"\s{2,}|\t", text.strip()), _tokens(text)
        names = next((cells for wide in (width, width - 1) for cells in ways if len(cells) == wide), [])
        if names and all(is_unit(name) or name == "()" for name in names):
            below = i
            continue
        if not names or is_row_of_values(names):
            continue
        timed = [
            j
            for j in range(width - 1)
            if all(is_dated(row[j]) and re.match(r"\d{1,2}:\d{2}", row[j + 1]) for row in rows)
        ]
        at = timed[0] if timed and len(names) < width else -1
        if len(names) < width and at < 0:
            names = ["row", *names]

        def tabbed(text: str, at: int = at) -> str:
            cells = _tokens(text)
            if 0 <= at < len(cells) - 1:
                cells[at : at + 2] = [f"{cells[at]} {cells[at + 1]}"]
            return "\t".join(cells)

        units = [
            "\t".join(["", *named][-width:])
            for text in lines[below:first]
            if (named := _tokens(text.replace("()", '""')))
        ]
        table = [text if text.lstrip()[:1] == "#" else tabbed(text) for text in lines[first:]]
        above = [f"# {text}" if text.strip() else text for text in lines[:i]]
        return _Shape(
            "columns that only blanks part",
            "\n".join([*above, "\t".join(names), *[""] * (below - i - 1), *units, *table]),
            half_way=True,
        )
    return None


def _later_era(source: Source, lines: Sequence[str], opening: Opening) -> _Shape | None:
    """Turn years of the Buddhist era, in which 2567 is 2024, into ours."""
    header, of_year = opening.line - 1, opening.dates[0]
    if not all(len(row) > of_year >= 0 and _LATER_YEAR.search(row[of_year]) for row in opening.rows):
        return None

    def ours(text: str) -> str:
        cells = split(text, opening.separator)
        if len(cells) > of_year:
            cells[of_year] = _LATER_YEAR.sub(lambda year: str(int(year[0]) - _ERA), cells[of_year])
        return "\t".join(cells)

    table = [*lines[:header], *map(ours, lines[header:])]
    return _Shape("years of the Buddhist era", "\n".join(table), half_way=True)


def _components(source: Source, lines: Sequence[str], opening: Opening) -> _Shape | None:
    """Put a speed in place of the wind's components to east and north, one of which is below nothing at times."""
    names = [in_english(cell) for cell in opening.cells]
    eastward = next((i for i, name in enumerate(names) if _EASTWARD.search(name) and _northward(name) in names), -1)
    if eastward < 0:
        return None
    rows = [split(text, opening.separator) for text in lines[opening.line - 1 :]]
    pair = [eastward, names.index(_northward(names[eastward]))]
    if not any(row[eastward].startswith(("-", "−")) for row in rows if len(row) > eastward):
        return None
    height, unit = _HEIGHT.search(names[eastward]), unit_of(opening.cells[eastward]) or "m/s"
    table = [f"mean wind speed{f' {height[0]}m' if height else ''} ({unit})"]
    table += [
        _figure(lambda both: math.hypot(*both), (row[i] for i in pair), opening) if len(row) == len(names) else ""
        for row in rows[1:]
    ]
    others = ([cell for i, cell in enumerate(row) if i not in pair] for row in rows)
    table = ["\t".join([*cells, speed]) if any(cells) else "" for cells, speed in zip(others, table, strict=True)]
    of_days = "" if find_time(opening.cells, opening.rows) else " (of days' means, less than the mean speed)"
    return _Shape(f"a wind of two components{of_days}", "\n".join([*lines[: opening.line - 1], *table]))


def _day_in_parts(source: Source, lines: Sequence[str], opening: Opening) -> _Shape | None:
    """Write the day in a cell that stands in several, beside a time of day that stands in one."""
    names = [in_english(cell) for cell in opening.cells]
    timed = any(_TIME_NAME.fullmatch(name) for i, name in enumerate(names) if i not in opening.dates)
    if not opening.split_date or not timed or find_time(opening.cells, opening.rows):
        return None

    matches = map(_TIME_NAME.fullmatch, names)
    names = [f"time{of[1] or ''}" if of else cell for of, cell in zip(matches, opening.cells, strict=True)]

    def joined(cells: Sequence[str], day: str = "") -> str:
        said = [day or joined_date([*map(cells.__getitem__, opening.dates)])] if len(cells) > max(opening.dates) else []
        return "\t".join([*said, *(cell for i, cell in enumerate(cells) if i not in opening.dates)])

    header, rows = opening.line - 1, (split(text, opening.separator) for text in lines[opening.above :])
    between = [joined(opening.units, " ") if opening.units else "", *[""] * len(lines)][: opening.above - header - 1]
    table = [joined(names, "date"), *between, *(joined(cells) if any(cells) else "" for cells in rows)]
    return _Shape("days in several columns", "\n".join([*lines[:header], *table]))


def _northward(name: str) -> str:
    return _EASTWARD.sub("v", name)


@_by_its_head
def _days_once(source: Source, lines: Sequence[str]) -> _Shape | None:
    """Write the day on each of its rows, where only the first has it and all have their time of day."""
    day, filled, table = "", 0, list(lines)
    for i, text in enumerate(lines):
        cells = split(text, separator_of(text))
        if len(cells) < _ROWS or not _CLOCK.fullmatch(cells[1]):
            continue
        day, filled = (cells[0], filled) if is_dated(cells[0]) else (day, filled + (not cells[0]))
        table[i] = text if cells[0] or not day else day + text[text.index(separator_of(text)) :]
    return _Shape("days written on their first row", "\n".join(table)) if day and filled >= _ROWS else None


def _numbered(source: Source, lines: Sequence[str], opening: Opening) -> _Shape | None:
    """Give a column of row numbers a header, as tables lack that statistics programs write."""
    firsts = [row[0] for row in opening.rows]
    lacks = len(opening.rows[0]) == len(opening.cells) + 1 and all(map(str.isdecimal, firsts))
    if not lacks or [int(first) - int(firsts[0]) for first in firsts] != list(range(len(firsts))):
        return None
    header = opening.line - 1
    return _Shape(
        "rows under no header",
        "\n".join([*lines[:header], f"row{opening.separator}{lines[header]}", *lines[header + 1 :]]),
    )


def _column(names: Sequence[str], of: re.Pattern[str]) -> int | None:
    return next((i for i, name in enumerate(names) if of.search(name)), None)


def _long(source: Source, lines: Sequence[str], opening: Opening) -> _Shape | None:
    """Put values side by side that stand in a row each, under what a column says they are, and their units."""
    names = [in_english(cell) for cell in opening.cells]
    element, value = _column(names, _ELEMENT), _column(names, _VALUE)
    if element is None or value is None or element == value or not opening.dates:
        return None
    rows = [cells for text in lines[opening.above :] if len(cells := split(text, opening.separator)) >= len(names)]
    unit = _column(names, _UNIT)
    times = [i for i, name in enumerate(names) if i not in opening.dates and name in ("time", "hour", "hhmm")]
    when = [*opening.dates[: None if opening.split_date else 1], *times]
    wide: dict[tuple[str, ...], dict[str, str]] = {}
    for row in rows:
        what = row[element] if unit is None else f"{row[element]} ({row[unit]})"
        wide.setdefault(tuple(row[i] for i in when), {})[what] = row[value]
    if sum(map(len, wide.values())) < len(rows) or not 2 <= len(set().union(*wide.values())) <= _MOST_ELEMENTS:
        return None  # one moment has a value twice, as where there are several stations
    return _Shape("a row a value", _side_by_side([opening.cells[i] for i in when], wide))


def _side_by_side(first: Sequence[str], of: Mapping[tuple[str, ...], Mapping[str, str]]) -> str:
    """Write a row a moment, with what it has of each quantity, in the order in which those come."""
    order = list(dict.fromkeys(name for row in of.values() for name in row))
    rows = ([*when, *(row.get(name, "") for name in order)] for when, row in of.items())
    return _table([[*first, *order], *rows])


def _table(rows: Iterable[Sequence[str]]) -> str:
    return "\n".join(map("\t".join, rows)) + "\n"


def _cells(text: str) -> list[str]:
    return split(text, separator_of(text)) if re.search(r"[,;\t|]", text) else _tokens(text)


def _hours_across(source: Source, lines: Sequence[str], opening: Opening) -> _Shape | None:
    """Put the hours of days one below the other, where a column says what a row holds; refuse those of one quantity."""
    hours = {int(match[1]): j for j, cell in enumerate(opening.cells) if (match := _HOUR.fullmatch(cell))}
    if sorted(hours) not in (list(range(24)), list(range(1, 25))):
        return None
    rows = [
        cells for text in lines[opening.above :] if len(cells := split(text, opening.separator)) > max(hours.values())
    ]
    others = [j for j in range(len(opening.cells)) if j not in hours.values() and j not in opening.dates]
    element = next((j for j in others if 2 <= len({row[j] for row in rows}) <= _MOST_ELEMENTS), None)
    if element is None or len(opening.dates) != 1:
        raise source.refusal("hours-across", line=opening.line)
    table: dict[tuple[str, ...], dict[str, str]] = {}
    for row in rows:
        for hour, j in hours.items():
            table.setdefault((f"{row[opening.dates[0]]} {hour:02d}:00",), {})[row[element]] = row[j]
    return _Shape("a row a day, hours across", _side_by_side(["time"], table))


def _days_across(source: Source, lines: Sequence[str]) -> _Shape | None:
    """Put the days of months one below the other, where a column says what a row holds; refuse those of one quantity."""
    for i, text in enumerate(lines[:_HEAD]):
        cells = _cells(text)
        days = {int(match[1]): j for j, cell in enumerate(cells) if (match := _DAY_NUMBER.fullmatch(cell))}
        names = [in_english(cell) for cell in cells]
        if len(days) < _DAYS_ACROSS or sorted(days) != list(range(1, len(days) + 1)):
            below = [_cells(line)[:1] for line in lines[i + 1 : i + 1 + _ROWS]]
            if below == [["1"], ["2"], ["3"]] and sum(bool(re.match(MONTH, name)) for name in names[1:]) >= _ROWS:
                raise source.refusal("days-across", line=i + 1)
            continue
        of_date = [_column(names, of) for of in (_YEAR, _MONTH)]
        least = max(days[_DAYS_ACROSS], *(place + 1 for place in of_date if place is not None))
        rows = [row for line in lines[i + 1 :] if len(row := _cells(line)) >= least]
        words = (j for j in range(days[1]) if j not in of_date and not any(is_number(row[j]) for row in rows))
        element = next((j for j in words if 2 <= len({row[j] for row in rows}) <= _MOST_ELEMENTS), None)
        year, month = of_date
        if element is None or year is None or month is None:
            raise source.refusal("days-across", line=i + 1)
        table: dict[tuple[str, ...], dict[str, str]] = {}
        for row in rows:
            for day, j in days.items():
                if j < len(row) and row[j]:
                    table.setdefault((joined_date([row[year], row[month], str(day)]),), {})[row[element]] = row[j]
        return _Shape("a row a month, days across", _side_by_side(["date"], dict(sorted(table.items()))))
    return None


@_by_its_head
def _without_year(source: Source, lines: Sequence[str]) -> _Shape | None:
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
    steps = {day - before for (_, before), (_, day) in itertools.pairwise(days[:_ROWS])}
    if steps != {1} or sorted(days) != days:
        return None
    year, table = years.pop(), list(lines)
    for i, form in dated.items():
        table[i] = lines[i].replace(firsts[i], f"{firsts[i].rstrip('.')}{form[2] or ' '}{year}", 1)
    return _Shape("days without their year", "\n".join(table))


def _figure(of: Callable[[list[float]], float], cells: Iterable[str], opening: Opening) -> str:
    """Return a figure of several with the decimal mark of the table's first rows; nothing where one is no number."""
    said = list(cells)
    if not said or not all(map(is_number, said)):
        return ""
    figure = f"{of([float(cell.replace(',', '.')) for cell in said]):.2f}"
    commas = any("," in cell and is_number(cell) for row in [said, *opening.rows] for cell in row)
    return figure.replace(".", ",") if commas else figure


def _readings(source: Source, lines: Sequence[str], opening: Opening) -> _Shape | None:
    """Make one row of a day's readings at fixed hours, which stand beside extremes: means of air and wind, sums of rain."""
    names = [in_english(cell) for cell in opening.cells]
    hour = next(
        (i for i, name in enumerate(names) if re.fullmatch("time( of)?|hour|hourly|h|hhmm|(obs\\w* )?term|obs", name)),
        None,
    )
    extremes = " ".join(name for name in names if re.search(r"\b(t|temp\w*|tmax|tmin)\b", name))
    if hour is None or len(opening.dates) != 1 or "max" not in extremes or "min" not in extremes:
        return None
    date = opening.dates[0]
    first = [split(text, opening.separator)[date : date + 1] for text in lines[opening.above : opening.above + 4]]
    if first.count(first[0]) > _LEAST_READINGS:  # a long table's records
        return None
    days: dict[str, list[list[str]]] = {}
    rows = (split(text, opening.separator) for text in lines[opening.above :])
    for row in (row for row in rows if len(row) == len(names) and is_dated(row[date])):
        days.setdefault(row[date], []).append(row)
    hours = list(dict.fromkeys(row[hour] for of_day in days.values() for row in of_day))
    if len(hours) != _LEAST_READINGS or len(days) < _ROWS:
        return None
    repeated = {i for i in range(len(names)) if all(len({row[i] for row in of_day}) == 1 for of_day in days.values())}

    def joined(place: int, cells: list[str]) -> str:
        name, said = names[place], [cell for cell in cells if cell]
        if _MEAN_OF.search(name):
            return _figure(mean, cells, opening) if len(cells) == len(hours) else ""
        if re.search("rain|precip", name) and place not in repeated:
            return _figure(math.fsum, said, opening) if len(cells) == len(hours) else ""
        if len(set(said)) < 2:
            return said[0] if said else ""
        return _figure(max if "max" in name else min, said, opening) if re.search("max|min", name) else ""

    kept = [i for i in range(len(names)) if i not in (hour, date)]
    units = [["", *(opening.units[i] if i < len(opening.units) else "" for i in kept)]] if opening.units else []
    body = ([day, *(joined(i, [row[i] for row in of_day]) for i in kept)] for day, of_day in days.items())
    table = _table([["date", *(opening.cells[i] for i in kept)], *units, *body])
    return _Shape(f"readings at {', '.join(hours)}, of which means are taken", table)


def _readings_across(source: Source, lines: Sequence[str], opening: Opening) -> _Shape | None:
    """Put the mean of readings at fixed hours, a column each, into a column of its own."""
    groups: dict[str, list[int]] = {}
    names = [in_english(cell) for cell in opening.cells]
    for i, name in enumerate(names):
        if _READ_AT.search(name) and _MEAN_OF.search(name):
            base = _HUMIDITY.sub("humidity", _READ_AT.sub("", name))
            groups.setdefault(" ".join(base.split()), []).append(i)
    groups = {
        name: of for name, of in groups.items() if _LEAST_READINGS <= len(of) <= _MOST_READINGS and name not in names
    }
    if not groups:
        return None
    table = list(lines)
    mark = opening.separator
    for i, text in enumerate(lines):
        cells = split(text, mark)
        if i == opening.line - 1:
            more = [
                f"{name} mean of {len(of)} readings" + (f" ({unit})" if (unit := unit_of(opening.cells[of[0]])) else "")
                for name, of in groups.items()
            ]
        elif i < opening.line - 1 or len(cells) < len(names):
            continue
        elif i < opening.above:
            more = [cells[of[0]] for of in groups.values()]
        else:
            more = [_figure(mean, (cells[j] for j in of), opening) for of in groups.values()]
        table[i] = mark.join([text, *(f'"{cell}"' if mark in cell else cell for cell in more)])
    return _Shape("readings at fixed hours, of which means are taken", "\n".join(table))


def _pairs(source: Source, lines: Sequence[str], opening: Opening) -> _Shape | None:
    """Part columns with two figures in a cell, "14.6/6.2", by the two names of their header, or else into a highest and a lowest."""
    parts: dict[int, list[str]] = {}
    for i, name in enumerate(opening.cells):
        if all(len(row) > i for row in opening.rows) and all(pairs := [_TWO.fullmatch(row[i]) for row in opening.rows]):
            words = re.sub(r"[\[(].*?[\])]", " ", name).split()
            bare = " ".join(words[:-1] if len(words) > 1 and is_unit(words[-1]) else words)
            falls = all(float(pair[1].replace(",", ".")) >= float(pair[2].replace(",", ".")) for pair in pairs if pair)
            names = bare.split("/") if bare.count("/") == 1 else [f"max {bare}", f"min {bare}"][:: 1 if falls else -1]
            unit = unit_of(name) or next(iter(opening.units[i : i + 1]), "")
            parts[i] = [f"{each} ({unit})" if unit else each for each in names]
    if not parts:
        return None

    def wide(cells: Sequence[str], line: int) -> Iterator[str]:
        for i, cell in enumerate(cells):
            pair = _TWO.fullmatch(cell) if i in parts else None
            yield from pair.groups()[:2] if pair else [cell] if i not in parts else parts[i] if not line else [cell] * 2

    table = ["\t".join(wide(split(text, opening.separator), i)) for i, text in enumerate(lines[opening.line - 1 :])]
    return _Shape("two figures in a cell", "\n".join([*lines[: opening.line - 1], *table]))


@_by_its_head
def _month_blocks(source: Source, lines: Sequence[str]) -> _Shape | None:
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
        said = list(filter(None, cells))
        rows.append({})
        if len(said) < 3 and (match := _BLOCK.fullmatch(" ".join(said))):
            before, month, of_its_own = month, _month_in(match), match["year"] or match["of"]
            year = of_its_own or year
            if month < before and not of_its_own:
                return None  # of the next year, or the months stand in another order
        elif header and said and (day := _NUMBERED_DAY.fullmatch(cells[0])) and year and month:
            named = [f"{name} ({unit})" if unit else name for name, unit in zip(header, units, strict=True)]
            named = named[-len(cells) :] if in_english(header[0]) == "month" else named
            names |= dict.fromkeys(filter(None, named[1:]))
            rows[-1] = {"date": f"{year}-{month:02d}-{int(day[1]):02d}", **dict(zip(named, cells, strict=False))}
        elif len(said) > 2 and header and all(map(is_unit, said)):
            units = [*cells, *[""] * len(header)][: len(header)]
        elif len(said) > 2 and not any(map(is_number, said)):
            header, units = cells, [""] * len(cells)
        elif (of := _OF_YEAR.search(text)) and len(said) < 3:
            year = of[0]
    first = next((i for i, row in enumerate(rows) if row), 0)
    days = [int(row["date"][-2:]) for row in rows if row][:_ROWS]
    if first == 0 or [day - days[0] for day in days] != [0, 1, 2]:
        return None
    table = ["\t".join([row["date"], *(row.get(name, "") for name in names)]) if row else "" for row in rows]
    table[first - 1] = "\t".join(["date", *names])
    return _Shape("days numbered below their month", "\n".join(table) + "\n")


def _month_in(match: re.Match[str]) -> int:
    return month_of(match["name"]) if match["name"] else int(match["month"])


@_by_its_head
def _dates_across(source: Source, lines: Sequence[str]) -> _Shape | None:
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
            across = [str(firsts[i] + j) for j in range(_A_WEEK)]
        elif len(dates := list(filter(None, others))) >= _ROWS and all(map(is_dated, dates)):
            across = others
        elif across and first and any(map(is_number, others)):
            for day, value in zip(across, others, strict=False):
                table.setdefault((day,), {})[first] = value
    table.pop(("",), None)
    whole = len(table) >= _A_WEEK and len(set().union(*table.values())) > 1
    return _Shape("days across", _side_by_side(["date"], table)) if whole else None


def _is_named(name: str, day: np.datetime64) -> bool:
    """Tell whether a day is a Monday or Sunday, and its name begins as theirs do in most languages."""
    begins = {0: "mlp", 6: "sdzn"}.get((int(day.astype(np.int64)) + 3) % 7, "")
    return not np.isnat(day) and bool(name) and name[0].lower() in begins


def _printed_month(source: Source, lines: Sequence[str]) -> _Shape | None:
    """Turn the month that a station's program prints, a numbered row a day below names of several lines, into dated rows."""
    title = next(filter(None, map(_TITLE.search, lines[:_ABOVE])), None)
    first = next((i for i, rows in _alike(lines, 5) if [row[0] for row in rows] == ["1", "2", "3"]), None)
    if title is None or first is None:
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
    for day, text in enumerate(lines[first : first + 31], start=1):
        cells = _tokens(text)
        table.append(
            "\t".join([f"{month}-{day:02d}", *(cells[j] for j in range(1, len(cells)) if j not in clock)])
            if cells[:1] == [str(day)]
            else ""
        )
    return _Shape("a printed month", "\n".join(table) + "\n")
