"""
Dates: a column of text read as days, with one order of day and month for the whole column.

ISO dates are read as they stand. Where day and month come first, the column decides: a number above 12
can't be a month. A column that holds none is refused, because a guess would be silent.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence

from panbudget.errors import Problem
from panbudget.words import and_more, name_days

__all__ = ["and_more", "day_of", "name_days", "read_dates"]

_TIME = r"(?:[T ]+(?P<time>\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[AaPp][Mm])?)(?:Z|[+-]\d{2}:?\d{2})?)?"
_YEAR_FIRST = re.compile(r"(?P<year>\d{4})(?P<mark>[-/.])(?P<month>\d{1,2})(?P=mark)(?P<day>\d{1,2})" + _TIME)
_COMPACT = re.compile(r"(?P<year>\d{4})(?P<month>\d{2})(?P<day>\d{2})")
_YEAR_LAST = re.compile(r"(?P<first>\d{1,2})(?P<mark>[-/. ])(?P<second>\d{1,2})(?P=mark)(?P<year>\d{4})" + _TIME)
_SHORT_YEAR = re.compile(r"\d{1,2}[-/.]\d{1,2}[-/.]\d{2}(?:[T ].*)?")
_SERIAL = re.compile(r"\d{5}(?:\.\d+)?")
_MIDNIGHT = re.compile(r"0?0:00(?::00(?:\.0+)?)?|12:00(?::00)? ?[Aa][Mm]")
_YEARS = range(1800, 2101)
_EXAMPLE = "write dates as year-month-day, such as 2025-05-01"


def read_dates(texts: Sequence[str], lines: Sequence[int]) -> tuple[list[dt.date | None], list[Problem]]:
    """
    Read a column of dates.

    Parameters
    ----------
    texts : sequence of str
        The cells, stripped.
    lines : sequence of int
        Line of the file each one stands on.

    Returns
    -------
    (list, list)
        The dates, None where a cell is no date; and what is wrong, one problem for each kind of mistake.
    """
    mistakes: dict[str, list[tuple[int, str]]] = {}
    parsed: list[tuple[int, int, int] | None] = []
    year_last: list[int] = []
    year_first = 0
    for i, text in enumerate(texts):
        match = _YEAR_FIRST.fullmatch(text) or _COMPACT.fullmatch(text)
        if match is not None:
            year_first += 1
            parsed.append((int(match["year"]), int(match["month"]), int(match["day"])))
        elif (match := _YEAR_LAST.fullmatch(text)) is not None:
            year_last.append(i)
            parsed.append((int(match["year"]), int(match["first"]), int(match["second"])))
        else:
            parsed.append(None)
            mistakes.setdefault(_what_it_looks_like(text), []).append((lines[i], text))
            continue
        time = match.groupdict().get("time")
        if time is not None and _MIDNIGHT.fullmatch(time) is None:
            parsed[i] = None
            why = "has a time of day; one row a day is expected: sum up the hours of each day to one row"
            mistakes.setdefault(why, []).append((lines[i], text))
    problems: list[Problem] = []
    if year_last:
        both = year_first > 0
        problem = _settle_order(parsed, year_last, texts, lines, mixed=both)
        if problem is not None:
            return [None] * len(texts), [problem, *_listed(mistakes)]
    dates: list[dt.date | None] = []
    for i, parts in enumerate(parsed):
        date = None if parts is None else _date(*parts)
        dates.append(date)
        if parts is not None and date is None:
            why = "is no day of the calendar; correct it"
            mistakes.setdefault(why, []).append((lines[i], texts[i]))
        elif date is not None and date.year not in _YEARS:
            dates[i] = None
            why = f"lies outside {_YEARS.start} to {_YEARS.stop - 1}; correct the year"
            mistakes.setdefault(why, []).append((lines[i], texts[i]))
    return dates, problems + _listed(mistakes)


def _settle_order(
    parsed: list[tuple[int, int, int] | None],
    year_last: list[int],
    texts: Sequence[str],
    lines: Sequence[int],
    *,
    mixed: bool,
) -> Problem | None:
    """Put month before day in ``parsed``, or say why that can't be known."""
    if mixed:
        i = year_last[0]
        message = (
            f"line {lines[i]}: date = {texts[i]!r} has its year last while other rows begin with it; "
            f"one way of writing dates is expected: {_EXAMPLE}"
        )
        return Problem.of_text(message, key="date", value=texts[i])
    # a row with both numbers above 12 is no date either way, and no witness
    known = [(i, parts) for i in year_last if (parts := parsed[i]) is not None and min(parts[1:]) <= 12]
    day_first = next((i for i, parts in known if parts[1] > 12), None)
    month_first = next((i for i, parts in known if parts[2] > 12), None)
    if day_first is not None and month_first is not None:
        message = (
            f"line {lines[day_first]}: date = {texts[day_first]!r} has the day first and line "
            f"{lines[month_first]}: {texts[month_first]!r} the month; one order is expected: {_EXAMPLE}"
        )
        return Problem.of_text(message, key="date", value=texts[day_first])
    if day_first is None and month_first is None and known:
        i = known[0][0]
        message = (
            f"line {lines[i]}: date = {texts[i]!r} may have the day or the month first, and "
            "no row of the file "
            f"tells which; {_EXAMPLE}"
        )
        return Problem.of_text(message, key="date", value=texts[i])
    if day_first is not None:
        for i, (year, day, month) in known:
            parsed[i] = (year, month, day)
    return None


def _date(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def day_of(year: int, month: int, day: int) -> dt.date | None:
    """
    Return a day of the calendar in a year that weather records can have, or None.

    Examples
    --------
    >>> day_of(2024, 2, 29), day_of(2025, 2, 29), day_of(20, 1, 1)
    (datetime.date(2024, 2, 29), None, None)
    """
    return _date(year, month, day) if year in _YEARS else None


def _what_it_looks_like(text: str) -> str:
    if not text:
        return f"is empty; every row needs its date: {_EXAMPLE}"
    if _SHORT_YEAR.fullmatch(text):
        return f"has a year of two digits; four are expected: {_EXAMPLE}"
    if _SERIAL.fullmatch(text):
        return f"looks like a spreadsheet's day number; format the column as dates: {_EXAMPLE}"
    return f"is not a date; {_EXAMPLE}, and remove rows that are no days (units, totals, remarks)"


def _listed(mistakes: dict[str, list[tuple[int, str]]]) -> list[Problem]:
    problems = []
    for why, places in mistakes.items():
        line, text = places[0]
        shown = text if len(text) <= 40 else text[:37] + "..."
        rest = and_more(len(places) - 1, "row")
        problems.append(Problem.of_text(f"line {line}: date = {shown!r}{rest} {why}", key="date", value=text))
    return problems
