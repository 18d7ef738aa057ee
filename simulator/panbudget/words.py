"""
Words: numbers as a person reads them, and a season in three sentences. Used by the page and the terminal.

Dates in sentences, headings and titles of figures are "3 July 2025"; in tables and files, and in messages about them, as
ISO 8601 has them. Thousands are parted by a narrow space, never by a comma, which half of the world reads as a decimal mark.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from panbudget.season.result import Season

__all__ = [
    "calendar_day",
    "count",
    "day_said",
    "days_long",
    "days_said",
    "hours",
    "kilograms",
    "litres",
    "mm",
    "number",
    "percent",
    "three_sentences",
]

_NARROW_SPACE = "\u202f"
_NO_BREAK = "\u00a0"
_MOST_BEDS_NAMED = 6
# supply ÷ net demand within which a bed "got about what it needed"; common practice, no source
_ABOUT_RIGHT = (0.9, 1.2)


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


def percent(value: float | None) -> str:
    """Write a share as percent, a dash where there is none."""
    return "–" if value is None else _with_unit(100.0 * value, 0, "%")


def count(value: int, one: str, many: str | None = None) -> str:
    """
    Write a count with its noun.

    Examples
    --------
    >>> count(1, "day").replace("\\u00a0", " "), count(3, "day").replace("\\u00a0", " ")
    ('1 day', '3 days')
    """
    return f"{number(value)}{_NO_BREAK}{one if value == 1 else many or one + 's'}"


def days_long(value: float) -> str:
    """Write a stretch of time in days, or in hours below one day."""
    if value < 1.0:
        return hours(24.0 * value)
    return f"{number(value, 1)}{_NO_BREAK}days"


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
    if start.year != end.year:
        begin = day_said(start)
    else:
        begin = calendar_day(start) if start.month != end.month else str(start.day)
    return f"{begin} to {day_said(end)}"


def three_sentences(season: Season) -> list[str]:
    """
    Say what happened: how often it opened, what each bed got against its need, what to look at first.

    Parameters
    ----------
    season : Season

    Returns
    -------
    list of str
        Three sentences.
    """
    return [_opened(season), _got(season), _look_first(season)]


def _opened(season: Season) -> str:
    length = season.totals["season"]["days"]
    parts = []
    for name, totals in season.totals["controllers"].items():
        times = totals["openings"]
        if not times and not totals["open_hours"]:
            parts.append(f"the valve {name} never opened in {count(length, 'day')}")
            continue
        parts.append(
            f"the valve {name} opened {count(times, 'time')} in {count(length, 'day')}, "
            f"with {days_long(totals['longest_gap_days'])} as its longest gap"
            + (
                f", and stood open without water for {hours(totals['starved_hours'])}"
                if totals.get("starved_hours")
                else ""
            )
        )
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "."


def _got(season: Season) -> str:
    beds = season.totals["beds"]
    if len(beds) <= _MOST_BEDS_NAMED:
        parts = [
            f"{key} got {mm(bed['irrigation_mm'])} where it needed {mm(bed['net_demand_mm'])}"
            + (f" ({percent(bed['supply_over_demand'])})" if bed["supply_over_demand"] is not None else "")
            for key, bed in beds.items()
        ]
        text = "; ".join(parts)
        return f"In depth of water, {text}."
    ratios = {key: bed["supply_over_demand"] for key, bed in beds.items() if bed["supply_over_demand"] is not None}
    if not ratios:
        return f"None of the {len(beds)} beds needed water from the valves."
    low, high = _ABOUT_RIGHT
    right = sum(low <= ratio <= high for ratio in ratios.values())
    least, most = min(ratios, key=lambda key: ratios[key]), max(ratios, key=lambda key: ratios[key])
    return (
        f"Of {len(beds)} beds, {right} got about what they needed "
        f"({percent(low)} to {percent(high)} of net demand), "
        f"{sum(r < low for r in ratios.values())} less and {sum(r > high for r in ratios.values())} more: "
        f"least {least} with {percent(ratios[least])}, most {most} with {percent(ratios[most])}."
    )


def _look_first(season: Season) -> str:
    serious = [finding for finding in season.findings if finding.severity != "note"]
    if not serious:
        return "Nothing grave was found; read the notes below before you rely on it."
    rank = {"danger": 0, "caution": 1}
    worst = min(serious, key=lambda finding: rank.get(finding.severity, 2))
    # one sentence: the rest of the message, with the cure, stands among the findings
    first = re.split(r"(?<=[.!?])\s+(?=[A-Z])", worst.message, maxsplit=1)[0].rstrip(".")
    when = f" (first on {day_said(worst.first)})" if worst.first else ""
    return f"Look first at {worst.where}{when}: {_uncapitalised(first)}."


def _uncapitalised(text: str) -> str:
    """Lower the first letter of a plain word; ETo and the like stay."""
    return text[:1].lower() + text[1:] if text[1:2].islower() or text[1:2] == " " else text
