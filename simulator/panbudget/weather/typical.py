"""
Typical: a year made of months from different years, and how it is laid onto the calendar.

Such a year is no summer that anybody lived through. It carries its own flag from the reader to the report,
and a note that says so before everything else.
"""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pandas as pd

from panbudget.weather.text.raw import RawTable

#: the year under which a reader files a typical year: it has 365 days
NOMINAL_YEAR = 2001

NO_SUMMER = "a typical year made of months from different years; no real summer"


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
    first = start or end
    last = end or start
    if first is None or last is None:
        note = f"the typical year's days stand under {NOMINAL_YEAR}, which means nothing"
        return dataclasses.replace(raw, notes=(note, *raw.notes))
    years = range(first.year, max(last.year, first.year) + 1)
    days = pd.date_range(dt.date(years.start, 1, 1), dt.date(years.stop - 1, 12, 31), name="date").as_unit("ns")
    leap = np.asarray((days.month == 2) & (days.day == 29))
    wanted = pd.to_datetime(
        pd.DataFrame({"year": NOMINAL_YEAR, "month": days.month, "day": np.where(leap, 28, days.day)})
    )
    index = pd.DatetimeIndex(raw.daily.index)
    places = index.get_indexer(pd.DatetimeIndex(wanted))
    there = places >= 0
    daily = raw.daily.iloc[places[there]].set_axis(days[there], axis=0)
    daily.index.name = "date"
    lines = np.asarray(raw.lines, dtype=np.int64)[places[there]]
    shown = f"{years.start}" if len(years) == 1 else f"each of {years.start} to {years.stop - 1}"
    notes = [f"the typical year's days are laid onto {shown}"]
    if (leap & there).any():
        notes.append("29 February is a copy of the typical year's 28 February")
    return dataclasses.replace(raw, daily=daily, lines=tuple(lines.tolist()), notes=(*notes, *raw.notes))
