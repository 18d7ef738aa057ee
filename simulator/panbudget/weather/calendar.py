"""
Calendar: the rows of a file set in order, one a day, against the days that are asked for.

Rows out of order are sorted, and that is noted; a day twice is refused by name. A typical year, made of months from
different years, is no summer that anybody lived through: it is laid onto the calendar, and carries its own flag from the
reader to the report, and a note that says so before everything else.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from panbudget.errors import Problem
from panbudget.numeric import Ints, Mask
from panbudget.weather.messages import note, problem
from panbudget.weather.text.moments import days_from
from panbudget.weather.text.raw import RawTable
from panbudget.words import and_more

#: the year under which a reader files a typical year: it has 365 days
NOMINAL_YEAR = 2001
# days that stand twice from which on they are no slips, if they are half of a file's, too
_MOST_DAYS = 10
# the last month, up to which a day can be taken for one; dates so exchanged that are no slip
_MONTHS, _SLIPS = 12, 5


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
    asked: Mask
    in_file: Mask
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
    index = pd.DatetimeIndex(raw.daily.index)
    notes = [] if index.is_monotonic_increasing else [_out_of_order(index, raw.lines)]
    repeated = np.zeros(0, dtype=bool) if index.is_unique else index.duplicated(keep="first")
    problems = [_twice(index, repeated, raw.lines)] if repeated.any() else _exchanged(index, raw.lines) if notes else []
    daily = raw.daily[~repeated] if repeated.any() else raw.daily
    daily = daily if daily.index.is_monotonic_increasing else daily.sort_index()
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
    whole = days.equals(daily.index)
    in_file = np.full(len(days), True) if whole else np.asarray(days.isin(daily.index))
    daily = daily.set_axis(days) if whole else daily.reindex(days)
    return Arranged(daily, asked, in_file, tuple(problems), tuple(notes))


def once(raw: RawTable) -> RawTable:
    """Return a table in which most days stand in several rows of the same figures, as one with a row a day, and others as they are."""
    index = raw.daily.index
    if index.is_unique:
        return raw
    repeated = index.duplicated(keep="first")
    firsts = raw.daily[~repeated]
    if firsts.index.isin(index[repeated]).mean() <= 0.5 or not firsts.reindex(index).equals(raw.daily):
        return raw
    lines = np.asarray(raw.lines, dtype=np.int64)[~repeated]
    return replace(raw, daily=firsts, lines=lines, notes=(*raw.notes, note("day-repeated")))


def days_where(days: pd.Index, mask: Mask) -> list[dt.date]:
    """Return the days at which a mask holds."""
    return [stamp.date() for stamp in pd.DatetimeIndex(days)[mask]]


def _out_of_order(index: pd.DatetimeIndex, lines: Ints) -> str:
    if index.is_monotonic_decreasing:
        return note("backwards")
    row = int(np.argmax(np.diff(index.to_numpy()) < np.timedelta64(0, "ns"))) + 1
    return note("out-of-order", line=lines[row], day=index[row].date())


def _exchanged(index: pd.DatetimeIndex, lines: Ints) -> list[Problem]:
    """Refuse days that follow each other once day and month are exchanged where they can be: a spreadsheet took one for the other."""
    may = index.day <= _MONTHS
    parts = (np.where(may, first, second) for first, second in ((index.day, index.month), (index.month, index.day)))
    days = days_from(index.year.to_numpy(), *parts)
    changed = np.flatnonzero(may & (index.day != index.month))
    steps = np.zeros(1) if days is None else np.diff(days).astype(int)
    if changed.size < _SLIPS or (steps <= 0).any() or np.median(steps) != 1:
        return []
    row = int(changed[0])
    words = {"line": lines[row], "day": index[row].date(), "more": and_more(changed.size - 1, "day")}
    return [problem("dates-exchanged", "date", str(words["day"]), **words)]


def _twice(index: pd.DatetimeIndex, repeated: Mask, lines: Ints) -> Problem:
    row = int(np.argmax(repeated))
    day, first = str(index[row].date()), int(np.argmax(index == index[row]))
    count = len(set(index[repeated]))
    more, most = and_more(count - 1, "day"), "/most" if count >= max(_MOST_DAYS, 0.5 * index.nunique()) else ""
    return problem(f"day-twice{most}", "date", day, day=day, first=lines[first], second=lines[row], more=more)


def laid_out(raw: RawTable, *, start: dt.date | None, end: dt.date | None) -> RawTable:
    """
    Lay a typical year onto the calendar.

    Parameters
    ----------
    raw : RawTable
        Filed under `NOMINAL_YEAR`.
    start, end : date, optional
        The year repeats from the first one's calendar year to the last one's; under `NOMINAL_YEAR` only where
        both are left out.

    Returns
    -------
    RawTable
        With 29 February a copy of the 28th, which is noted.
    """
    first, last = start or end, end or start
    if first is None or last is None:
        return replace(raw, notes=(note("typical-nominal", year=NOMINAL_YEAR), *raw.notes))
    last_year = max(last.year, first.year)
    days = pd.date_range(dt.date(first.year, 1, 1), dt.date(last_year, 12, 31), name="date").as_unit("ns")
    leap = np.asarray((days.month == 2) & (days.day == 29))
    wanted = pd.to_datetime(
        pd.DataFrame({"year": NOMINAL_YEAR, "month": days.month, "day": np.where(leap, 28, days.day)})
    )
    rows = pd.DatetimeIndex(raw.daily.index).get_indexer(pd.DatetimeIndex(wanted))
    daily = raw.daily.iloc[rows[rows >= 0]].set_axis(days[rows >= 0], axis=0)
    daily.index.name = "date"
    lines = np.asarray(raw.lines, dtype=np.int64)[rows[rows >= 0]]
    years = f"{first.year}" if first.year == last_year else f"each of {first.year} to {last_year}"
    notes = [note("typical-laid", years=years), *([note("typical-leap")] if (leap & (rows >= 0)).any() else [])]
    return replace(raw, daily=daily, lines=lines, notes=(*notes, *raw.notes))
