"""
Checked: a weather file of which only the gaps are left to deal with.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import pandas as pd

from panbudget.weather.calendar import Arranged
from panbudget.weather.checks.inspection import Inspection
from panbudget.weather.text.raw import RawTable
from panbudget.weather.text.source import Source


class RawFile(NamedTuple):
    """A file as read, unchecked: its table, where it came from, the reader's name, and why that was chosen."""

    raw: RawTable
    source: Source
    reader: str
    why: str


@dataclass(frozen=True, eq=False)
class CheckedFile:
    """
    A weather file, checked but not filled.

    Parameters
    ----------
    file : RawFile
    arranged : Arranged
        Its days, before any value was taken out.
    inspected : Inspection
        Its days with what can't be true left out, and what is wrong.
    wind_height : float
        Of its gauge. [m]
    notes : tuple of str
        What a report should mention of the file itself.
    """

    file: RawFile
    arranged: Arranged
    inspected: Inspection
    wind_height: float
    notes: tuple[str, ...]

    @property
    def days(self) -> pd.DatetimeIndex:
        """Every day from its first to its last."""
        return pd.DatetimeIndex(self.arranged.daily.index)

    @property
    def recognised(self) -> str:
        """What the format was taken for, and why."""
        raw, source, _, why = self.file
        return f"{raw.recognised} ({why})" + (f", from {source.taken_from}" if source.taken_from else "")

    @property
    def daily(self) -> pd.DataFrame:
        """Its checked days, wind at 2 m."""
        daily, factor = self.inspected.daily, self.inspected.wind_factor
        return daily if "wind" not in daily.columns or factor == 1.0 else daily.assign(wind=daily["wind"] * factor)

    def facts(self) -> dict[str, Any]:
        """Return what a report says of where it came from."""
        raw, source, reader, _ = self.file
        return {
            "file": source.shown_as,
            "sha256": source.sha256,
            "reader": reader,
            "recognised": self.recognised,
            "units": dict(raw.units),
            "rows": len(raw.daily),
            "first": str(raw.daily.index.min().date()),
            "last": str(raw.daily.index.max().date()),
        }
