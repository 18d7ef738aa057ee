"""
Calendar: the rows of a file set in order, one a day, against the days that are asked for.

Rows out of order are sorted, and that is noted; a day twice is refused by name.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem
from panbudget.weather.messages import note, problem
from panbudget.weather.text.raw import RawTable
from panbudget.words import and_more


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
    raw: RawTable, *, start: dt.date | None, end: dt.date | None, reach: Sequence[pd.Timestamp] = ()
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
    reach : sequence of Timestamp
        First and last days of other files: days asked for beyond this file's own get an empty row.

    Returns
    -------
    Arranged
        With its problems, if there are any.
    """
    problems: list[Problem] = []
    index = pd.DatetimeIndex(raw.daily.index)
    notes = [] if index.is_monotonic_increasing else [_out_of_order(index, raw.lines)]
    repeated = index.duplicated(keep="first")
    if repeated.any():
        problems.append(_twice(index, repeated, raw.lines))
    daily = raw.daily[~repeated].sort_index()
    first, last = daily.index[0], daily.index[-1]
    begin, finish = (None if day is None else pd.Timestamp(day) for day in (start, end))
    if reach and begin is not None:
        first = min(first, max(begin, min(reach)))
    if reach and finish is not None:
        last = max(last, min(finish, max(reach)))
    begin, finish = begin or first, finish or last
    if begin > finish:
        dates = {"begin": begin.date(), "finish": finish.date(), "first": first.date(), "last": last.date()}
        problems.append(problem("start-after-end", "start", begin, **dates))
        finish = begin
    if begin > last or finish < first:
        begin, finish = first, last
    # the resolution is set so that the index is the same whatever pandas infers
    days = pd.date_range(first, last, name="date").as_unit("ns")
    asked = np.asarray((days >= begin) & (days <= finish))
    return Arranged(daily.reindex(days), asked, np.asarray(days.isin(daily.index)), tuple(problems), tuple(notes))


def days_where(days: pd.Index, mask: npt.NDArray[np.bool_]) -> list[dt.date]:
    """Return the days at which a mask holds."""
    return [stamp.date() for stamp in pd.DatetimeIndex(days)[mask]]


def _out_of_order(index: pd.DatetimeIndex, lines: tuple[int, ...]) -> str:
    if index.is_monotonic_decreasing:
        return note("backwards")
    row = int(np.argmax(np.diff(index.to_numpy()) < np.timedelta64(0))) + 1
    return note("out-of-order", line=lines[row], day=index[row].date())


def _twice(index: pd.DatetimeIndex, repeated: npt.NDArray[np.bool_], lines: tuple[int, ...]) -> Problem:
    row = int(np.argmax(repeated))
    day, first = str(index[row].date()), int(np.argmax(index == index[row]))
    more = and_more(len(set(index[repeated])) - 1, "day")
    return problem("day-twice", "date", day, day=day, first=lines[first], second=lines[row], more=more)
