"""
Calendar: the rows of a file set in order, one a day, against the days that are asked for.

Rows out of order are sorted, and that is noted; a day twice, or a day asked for and not there, is refused
by name.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem
from panbudget.weather.text.dates import and_more, name_days
from panbudget.weather.text.raw import RawTable

__all__ = ["Arranged", "arrange", "days_where", "without_row"]


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
    holes: bool = False,
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
    holes : bool
        Whether a day asked for may lack a row; `without_row` then says it of those that still do.
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
    if reach is not None:
        if start is not None:
            first = min(first, max(pd.Timestamp(start), pd.Timestamp(reach[0])))
        if end is not None:
            last = max(last, min(pd.Timestamp(end), pd.Timestamp(reach[1])))
    begin = first if start is None else pd.Timestamp(start)
    finish = last if end is None else pd.Timestamp(end)
    if begin > finish:
        problems.append(
            Problem.of_text(
                f"the days asked for, {begin.date()} to {finish.date()}, end before they "
                "begin; the file covers "
                f"{first.date()} to {last.date()}: correct the season's start or end",
                key="start",
            )
        )
        finish = begin
    begin, finish = _within(begin, finish, first, last)
    # the resolution is set so that the index is the same whatever pandas infers
    days = pd.date_range(first, last, name="date").as_unit("ns")
    in_file = np.asarray(days.isin(index))
    asked = np.asarray((days >= begin) & (days <= finish))
    absent = asked & ~in_file
    if absent.any() and not holes:
        problems.append(without_row(days_where(days, absent)))
    return Arranged(daily.reindex(days), asked, in_file, tuple(problems), tuple(notes))


def _within(
    begin: pd.Timestamp, finish: pd.Timestamp, first: pd.Timestamp, last: pd.Timestamp
) -> tuple[pd.Timestamp, pd.Timestamp]:
    if begin > last or finish < first:
        return first, last
    return max(begin, first), min(finish, last)


def days_where(days: pd.Index, mask: npt.NDArray[np.bool_]) -> list[dt.date]:
    """Return the days at which a mask holds."""
    return [stamp.date() for stamp in pd.DatetimeIndex(days)[mask]]


def _out_of_order(index: pd.DatetimeIndex, lines: tuple[int, ...]) -> str:
    if index.is_monotonic_decreasing:
        return "the file runs backwards in time; its rows were sorted by date"
    stamps = index.to_numpy()
    place = int(np.argmax(stamps[1:] < stamps[:-1])) + 1
    return f"rows are out of order from line {lines[place]} ({index[place].date()}) on; they were sorted by date"


def _twice(index: pd.DatetimeIndex, repeated: npt.NDArray[np.bool_], lines: tuple[int, ...]) -> Problem:
    place = int(np.argmax(repeated))
    first = int(np.argmax(index == index[place]))
    more = len(set(index[repeated])) - 1
    message = (
        f"date {index[place].date()} stands twice, on lines {lines[first]} and {lines[place]}"
        f"{and_more(more, 'day')}; one row a day is expected: delete one of the two"
    )
    return Problem.of_text(message, key="date", value=str(index[place].date()))


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
    count = f"{len(absent)} days have" if len(absent) > 1 else "1 day has"
    why = ", and no fallback has both of them there" if helped else ""
    cure = "" if helped else "name a neighbour's file under [[weather.fallback]], "
    message = (
        f"{count} no row: {name_days(absent)}; one row for each day is expected and temperatures are never "
        f"invented{why}: add the rows, {cure}or choose dates that the file covers"
    )
    return Problem.of_text(message, key="date", value=str(absent[0]))
