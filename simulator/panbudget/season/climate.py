"""
Climate: the record that demand is computed over, and what else stands by day and is cut as it is.
"""

import dataclasses
import datetime as dt
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from panbudget.numeric import Floats

Dates = npt.NDArray[np.datetime64]


@dataclass(frozen=True)
class ByDay:
    """Something whose arrays stand by day."""

    def between(self, first: int, after: int) -> Self:
        """Return days first…after−1 of it."""
        return dataclasses.replace(self, **{name: _cut(part, slice(first, after)) for name, part in vars(self).items()})


def _cut(part: Any, days: slice) -> Any:
    if isinstance(part, ByDay):
        return part.between(days.start, days.stop)
    if isinstance(part, tuple):
        return tuple(_cut(each, days) for each in part)
    return part[days] if isinstance(part, np.ndarray) else part


@dataclass(frozen=True)
class Climate(ByDay):
    """
    The record that demand is computed over; all arrays (days,).

    Parameters
    ----------
    dates : ndarray of datetime64[D]
        Consecutive.
    wind : ndarray
        At 2 m. [m/s]
    rh_min : ndarray
        [%]
    tmean : ndarray
        [°C]
    eto : ndarray
        [mm/day]
    within : (date, date), optional
        The season; what had to be assumed outside of it is nobody's concern.
    """

    dates: Dates
    wind: Floats
    rh_min: Floats
    tmean: Floats
    eto: Floats
    within: tuple[dt.date, dt.date] | None = None

    def concerns(self, dates: Dates) -> bool:
        """Whether any of these days lies within the season."""
        if self.within is None or not len(dates):
            return True
        first, last = (np.datetime64(day, "D") for day in self.within)
        return bool(dates[0] <= last and dates[-1] >= first)
