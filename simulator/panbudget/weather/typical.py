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

from panbudget.weather.messages import note
from panbudget.weather.text.raw import RawTable

#: the year under which a reader files a typical year: it has 365 days
NOMINAL_YEAR = 2001


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
        return dataclasses.replace(raw, notes=(note("typical-nominal", year=NOMINAL_YEAR), *raw.notes))
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
    return dataclasses.replace(raw, daily=daily, lines=tuple(lines.tolist()), notes=(*notes, *raw.notes))
