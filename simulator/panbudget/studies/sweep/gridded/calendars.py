"""
Calendars: the time axis of gridded daily weather, brought to our days.

A model's years may have no 29 February (noleap, 365_day), one every year (all_leap, 366_day) or twelve months of thirty
days (360_day). Its days keep their order. Days of ours that such a calendar cannot have get the mean of the days before and
after, and no rain: the rain of a season stays the model's. A day that the file merely lacks stays missing.
"""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.numeric import Floats
from panbudget.scenario.quantities import YEARS

_OURS = ("standard", "gregorian", "proleptic_gregorian")
_DAY = np.timedelta64(1, "D")


class CalendarError(ValueError):
    """A time axis that can't be read; its text is the code of the problem, ``values`` what that shows."""

    def __init__(self, code: str, **values: object) -> None:
        super().__init__(code)
        self.values = values


@dataclass(frozen=True)
class Days:
    """
    A grid's days on our calendar.

    Parameters
    ----------
    index : DatetimeIndex
        Ascending; days that the grid lacks are left out.
    rows : ndarray of int, (days,)
        Where each stands on the grid's axis; -1 for one that its calendar cannot have.
    calendar : str
        The grid's, by its CF name.
    """

    index: pd.DatetimeIndex
    rows: npt.NDArray[np.int64]
    calendar: str

    @property
    def made(self) -> pd.DatetimeIndex:
        """Days that the grid's calendar cannot have."""
        return self.index[self.rows < 0]

    def laid(self, values: Floats, *, rain: bool) -> Floats:
        """
        Lay values onto our days.

        Parameters
        ----------
        values : ndarray (rows, …)
            On the grid's axis.
        rain : bool
            Whether a day between two has nothing, in place of their mean.

        Returns
        -------
        ndarray (days, …)
        """
        laid = values[self.rows]
        between = np.flatnonzero(self.rows < 0)
        laid[between] = 0.0 if rain else (laid[between - 1] + laid[between + 1]) / 2.0
        return laid


def days_of_axis(data: Any, time: str) -> Days:
    """
    Read a grid's time axis.

    Parameters
    ----------
    data : xarray.Dataset
    time : str
        Its coordinate: numpy's times, or those of another calendar.

    Raises
    ------
    CalendarError
        Its days do not rise one by one, or its calendar is unknown.
    """
    axis = data[time]
    values: Any = axis.to_numpy()
    bounds = data.variables.get(axis.attrs.get("bounds") or axis.encoding.get("bounds"))
    if bounds is not None and bounds.dtype == axis.dtype and bounds.shape == (len(values), 2):
        ends = bounds.to_numpy()  # a day is stamped at its start, its noon or its end: its middle is safe
        values = ends[:, 0] + (ends[:, 1] - ends[:, 0]) / 2
    calendar = "standard" if np.issubdtype(values.dtype, np.datetime64) else str(values[0].calendar)
    if calendar in _OURS:
        stamps = values if calendar == "standard" else [f"{d.year:04d}-{d.month:02d}-{d.day:02d}" for d in values]
        dates = np.asarray(stamps, "datetime64[D]")
        kept = np.arange(len(dates))
    elif calendar in _LAID:
        laid = [_LAID[calendar](day.year, day.month, day.day) for day in values]
        kept = np.array([row for row, day in enumerate(laid) if day is not None], int)
        dates = np.array([laid[row] for row in kept], "datetime64[D]")
    else:
        raise CalendarError("calendar", calendar=calendar, known=", ".join([*_OURS, *_LAID]))
    first, last = (day.astype(object) for day in dates[[0, -1]])
    if not YEARS[0] <= first.year <= last.year <= YEARS[1] and first <= last:
        raise CalendarError("years", first=first, last=last, least=YEARS[0], most=YEARS[1])
    apart = np.diff(dates).astype(int)
    if (apart < 0).any() or (np.diff(values) <= 0 * np.diff(values)).any():
        raise CalendarError("order", name=time)
    if apart.size and ((apart < 1).any() or np.median(apart) > 1):
        raise CalendarError("steps", name=time, hours=round(float(np.median(apart)) * 24) or "fewer than 24")
    whole = np.arange(dates[0], dates[-1] + _DAY)
    rows = np.full(len(whole), -1)
    rows[(dates - dates[0]).astype(int)] = kept
    lacking = rows < 0
    # of ours that the calendar cannot have, where the days about them are there
    made = lacking & ~np.isin(whole, _possible(calendar, whole))
    made[1:-1] &= ~lacking[:-2] & ~lacking[2:]
    held = made | ~lacking
    index = pd.DatetimeIndex(whole[held], name="date").as_unit("ns")
    return Days(index, rows[held], calendar)


def _of_all_leap(year: int, month: int, day: int) -> dt.date | None:
    """A 29 February that we have not is left out."""
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def _of_360(year: int, month: int, day: int) -> dt.date:
    """The middle of the nth of 360 days stands on the day of ours at the same share of the year: their order is kept."""
    first = dt.date(year, 1, 1)
    length = (dt.date(year + 1, 1, 1) - first).days
    share = (30 * (month - 1) + day - 0.5) / 360.0
    return first + dt.timedelta(days=int(share * length))


_LAID: dict[str, Callable[[int, int, int], dt.date | None]] = {
    "noleap": dt.date,
    "365_day": dt.date,
    "all_leap": _of_all_leap,
    "366_day": _of_all_leap,
    "360_day": _of_360,
}


def _possible(calendar: str, whole: Any) -> Any:
    """Of our days, those that a calendar can have."""
    if calendar in ("noleap", "365_day"):
        index = pd.DatetimeIndex(whole)
        return whole[~((index.month == 2) & (index.day == 29))]
    if calendar != "360_day":
        return whole
    years = range(whole[0].astype(object).year, whole[-1].astype(object).year + 1)
    days = [_of_360(year, month, day) for year in years for month in range(1, 13) for day in range(1, 31)]
    return np.array(days, "datetime64[D]")
