"""
Words: numbers and dates as a person reads them, on pages, in figures and on the terminal; the package's own texts.

Dates in sentences, headings and titles of figures are "3 July 2025"; in tables and files, and in messages about them, as
ISO 8601 has them. Thousands are parted by a narrow space, never by a comma, which half of the world reads as a decimal mark.
"""

import datetime as dt
import importlib.resources
import math
import re
import tomllib
from collections.abc import Sequence
from typing import Any

_NARROW_SPACE = "\u202f"
_NO_BREAK = "\u00a0"


def packaged(name: str) -> dict[str, Any]:
    """Return what one of the package's own TOML files holds, such as "scenario/keys.toml"."""
    return tomllib.loads(importlib.resources.files("panbudget").joinpath(name).read_text(encoding="utf-8"))


def number(value: float | None, decimals: int = 0) -> str:
    """
    Write a number plainly.

    Parameters
    ----------
    value : float or None
    decimals : int

    Returns
    -------
    str
        A dash where there is none; never "-0".

    Examples
    --------
    >>> number(1234.5, 1).replace("\\u202f", " ")
    '1 234.5'
    >>> number(-0.04, 1), number(None)
    ('0.0', '–')
    """
    if value is None or math.isnan(value):
        return "–"
    text = f"{value:,.{decimals}f}".replace(",", _NARROW_SPACE)
    if not re.search("[1-9]", text):
        text = text.lstrip("-")
    return text.replace("-", "−")


def signed(value: float | None, decimals: int = 0) -> str:
    """Write a difference with its sign; none where it rounds to zero."""
    text = number(value, decimals)
    return f"+{text}" if value is not None and value > 0.0 and re.search("[1-9]", text) else text


def _with_unit(value: float | None, decimals: int, unit: str) -> str:
    return f"{number(value, decimals)}{_NO_BREAK}{unit}"


def _few_decimals(value: float | None) -> int:
    return 1 if value is not None and abs(value) < 10.0 else 0


def litres(value: float | None) -> str:
    """Write litres: "5 120 L"; one decimal below ten."""
    return _with_unit(value, _few_decimals(value), "L")


def kilograms(value: float | None) -> str:
    """Write kilograms: one decimal."""
    return _with_unit(value, 1, "kg")


def mm(value: float | None) -> str:
    """Write a depth: "425 mm"; one decimal below ten."""
    return _with_unit(value, _few_decimals(value), "mm")


def hours(value: float | None) -> str:
    """Write hours, or minutes below one hour."""
    if value is not None and abs(value) < 1.0:
        return _with_unit(value * 60.0, 0, "min")
    return _with_unit(value, 1, "h")


def percent(value: float | None, decimals: int = 0) -> str:
    """Write a share as percent, a dash where there is none."""
    return "–" if value is None else _with_unit(100.0 * value, decimals, "%")


def count(value: int, noun: str, plural: str | None = None) -> str:
    """
    Write a count with its noun.

    Examples
    --------
    >>> count(1, "day").replace("\\u00a0", " "), count(3, "day").replace("\\u00a0", " ")
    ('1 day', '3 days')
    """
    return f"{number(value)}{_NO_BREAK}{noun if value == 1 else plural or noun + 's'}"


def days_long(value: float) -> str:
    """Write a stretch of time in days, or in hours below one day."""
    return hours(24.0 * value) if value < 1.0 else _with_unit(value, 1, "days")


def calendar_day(day: dt.date) -> str:
    """
    Write a day of any year.

    Examples
    --------
    >>> calendar_day(dt.date(2025, 7, 3))
    '3 July'
    """
    return f"{day.day} {day:%B}"


def day_said(day: dt.date | str) -> str:
    """
    Write a date for a sentence; a text is one by ISO 8601, whose hour is left out.

    Examples
    --------
    >>> day_said("2025-07-03 06:30")
    '3 July 2025'
    """
    date = dt.date.fromisoformat(day[:10]) if isinstance(day, str) else day
    return f"{calendar_day(date)} {date.year}"


def days_said(first: dt.date | str, last: dt.date | str) -> str:
    """
    Write a stretch of days for a sentence.

    Examples
    --------
    >>> days_said("2025-05-01", "2025-09-30")
    '1 May to 30 September 2025'
    >>> days_said("2025-07-08", "2025-07-17"), days_said("2025-07-08", "2025-07-08")
    ('8 to 17 July 2025', '8 July 2025')
    >>> days_said("2024-11-01", "2025-03-31")
    '1 November 2024 to 31 March 2025'
    """
    start, end = (dt.date.fromisoformat(day[:10]) if isinstance(day, str) else day for day in (first, last))
    if start == end:
        return day_said(end)
    begin = calendar_day(start) if start.year == end.year else day_said(start)
    if (start.year, start.month) == (end.year, end.month):
        begin = str(start.day)
    return f"{begin} to {day_said(end)}"


def and_more(count: int, noun: str) -> str:
    """
    Write how many more there are, in brackets, or nothing.

    Examples
    --------
    >>> "2025-07-03" + and_more(2, "day")
    '2025-07-03 (and 2 more days)'
    """
    if count <= 0:
        return ""
    return f" (and {count} more {noun}{'s' if count > 1 else ''})"


def name_days(days: Sequence[dt.date], *, at_most: int = 5) -> str:
    """
    Name days in a message: runs joined, the first few written out, the rest counted.

    Parameters
    ----------
    days : sequence of date
        Ascending.
    at_most : int
        How many runs are written out.

    Returns
    -------
    str
        Such as "2025-07-03 to 2025-07-05, 2025-08-01".

    Examples
    --------
    >>> from datetime import date
    >>> name_days([date(2025, 7, 3), date(2025, 7, 4), date(2025, 8, 1)])
    '2025-07-03 to 2025-07-04, 2025-08-01'
    """
    runs: list[list[dt.date]] = []
    for day in days:
        if runs and day - runs[-1][1] == dt.timedelta(days=1):
            runs[-1][1] = day
        else:
            runs.append([day, day])
    shown = [str(first) if first == last else f"{first} to {last}" for first, last in runs[:at_most]]
    others = sum((last - first).days + 1 for first, last in runs[at_most:])
    return ", ".join(shown) + and_more(others, "day")
