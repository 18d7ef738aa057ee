"""
Calendar: the rows of a file set in order, one a day, against the days that are asked for.

Rows out of order are sorted, and that is noted; a day twice is refused by name, and so (`without_row`) is a day asked
for that has no row once fallbacks had their turn.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem
from panbudget.weather.text.raw import RawTable
from panbudget.words import and_more, name_days


@dataclass(frozen=True, eq=False)
class Arranged:
    """
    A file's rows in order, without holes.

    Parameters
    ----------
    daily : DataFrame
        Every day from the first to the last in the file; rows that the file lacks are NaN.
    asked : ndarray of bool, (days,)
        Days that the caller needs.
    in_file : ndarray of bool, (days,)
        Days that have a row.
    problems, notes : tuple
        What is wrong, and what a report should mention.
    """

    daily: pd.DataFrame
    asked: npt.NDArray[np.bool_]
    in_file: npt.NDArray[np.bool_]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]


def arrange(
    raw: RawTable,
    *,
    start: dt.date | None,
    end: dt.date | None,
    reach: tuple[dt.date, dt.date] | None = None,
) -> Arranged:
    """
    Sort a file's rows and set them against the days asked for.

    Parameters
    ----------
    raw : RawTable
        As read.
    start, end : date, optional
        First and last day needed; the file's own where left out or beyond them. A season outside the file is
        for the caller to refuse, who knows where its dates were written: here the days that the file covers
        are asked for, and all of them if the season has none.
    reach : (date, date), optional
        First and last day that other files have: days asked for beyond this file's own get an empty row.

    Returns
    -------
    Arranged
        With its problems, if there are any.
    """
    problems: list[Problem] = []
    notes: list[str] = []
    daily = raw.daily
    index = pd.DatetimeIndex(daily.index)
    if not index.is_monotonic_increasing:
        notes.append(_out_of_order(index, raw.lines))
    repeated = index.duplicated(keep="first")
    if repeated.any():
        problems.append(_twice(index, repeated, raw.lines))
        daily = daily[~repeated]
    daily = daily.sort_index()
    index = pd.DatetimeIndex(daily.index)
    first, last = index[0], index[-1]
    if reach is not None and start is not None:
        first = min(first, max(pd.Timestamp(start), pd.Timestamp(reach[0])))
    if reach is not None and end is not None:
        last = max(last, min(pd.Timestamp(end), pd.Timestamp(reach[1])))
    begin = first if start is None else pd.Timestamp(start)
    finish = last if end is None else pd.Timestamp(end)
    if begin > finish:
        found = f"= {begin.date()} is after the end, {finish.date()}"
        covered = f"dates within {first.date()} to {last.date()}, which the file covers"
        problems.append(Problem("start-after-end", "start", found, covered, "correct the season's start or end", begin))
        finish = begin
    if begin > last or finish < first:
        begin, finish = first, last
    # the resolution is set so that the index is the same whatever pandas infers
    days = pd.date_range(first, last, name="date").as_unit("ns")
    in_file = np.asarray(days.isin(index))
    asked = np.asarray((days >= begin) & (days <= finish))
    return Arranged(daily.reindex(days), asked, in_file, tuple(problems), tuple(notes))


def days_where(days: pd.Index, mask: npt.NDArray[np.bool_]) -> list[dt.date]:
    """Return the days at which a mask holds."""
    return [stamp.date() for stamp in pd.DatetimeIndex(days)[mask]]


def _out_of_order(index: pd.DatetimeIndex, lines: tuple[int, ...]) -> str:
    if index.is_monotonic_decreasing:
        return "the file runs backwards in time; its rows were sorted by date"
    row = int(np.argmax(np.diff(index.to_numpy()) < np.timedelta64(0))) + 1
    return f"rows are out of order from line {lines[row]} ({index[row].date()}) on; they were sorted by date"


def _twice(index: pd.DatetimeIndex, repeated: npt.NDArray[np.bool_], lines: tuple[int, ...]) -> Problem:
    row = int(np.argmax(repeated))
    day, first = str(index[row].date()), int(np.argmax(index == index[row]))
    more = and_more(len(set(index[repeated])) - 1, "day")
    found = f"{day} stands twice, on lines {lines[first]} and {lines[row]}{more}"
    return Problem("day-twice", "date", found, "one row a day", "delete one of the two", day)


def without_row(absent: list[dt.date], *, helped: bool = False) -> Problem:
    """
    Refuse days that have no row.

    Parameters
    ----------
    absent : list of date
        At least one.
    helped : bool
        Whether fallbacks were asked for them, in vain.

    Returns
    -------
    Problem
    """
    count = f"{len(absent)} day{'s' if len(absent) > 1 else ''}"
    why = ", and no fallback has both temperatures there" if helped else ""
    neighbour = "" if helped else "name a neighbour's file under [[weather.fallback]], "
    return Problem(
        "no-row",
        "date",
        f"has no row for {count}: {name_days(absent)}{why}",
        "one row for each day",
        f"temperatures are never invented: add the rows, {neighbour}or choose dates that the file covers",
        str(absent[0]),
    )
