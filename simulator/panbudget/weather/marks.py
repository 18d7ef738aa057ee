"""
Marks: numbers that loggers and archives write for a missing value, found in a table by what they are and taken out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from panbudget.numeric import Floats, Mask
from panbudget.weather.calendar import days_where
from panbudget.weather.messages import counted, note, table_of
from panbudget.weather.text.columns import STANDARD, number
from panbudget.weather.text.raw import LeftOut, RawTable

_MARKS = np.array(table_of("marks")["numbers"])


def is_known_mark(values: Floats) -> Mask:
    """Tell which figures, as a file has them, are known marks."""
    return np.asarray(np.isin(np.round(values, 4), _MARKS))


def marked(raw: RawTable, name: str) -> Iterator[tuple[float, Mask, bool]]:
    """
    Find the marks in a column.

    Parameters
    ----------
    raw : RawTable
    name : str
        The column's.

    Yields
    ------
    (float, ndarray of bool, bool)
        The mark as the file has it, its rows, and whether it lies outside what the column can be.
    """
    factor, offset = raw.conversions.get(name, (1.0, 0.0))
    as_written = np.round((raw.daily[name].to_numpy(dtype=float) - offset) / factor, 4)
    values = as_written[~np.isin(as_written, _MARKS) & ~np.isnan(as_written)]
    for mark in np.intersect1d(_MARKS, as_written).tolist():
        outside = not STANDARD[name].lowest <= mark * factor + offset <= STANDARD[name].highest
        # 999 among values near 900 is a value in another unit, and a check of its own
        if mark < 0 or not (values > 0.5 * mark).any():
            yield mark, as_written == mark, outside


def without_marks(raw: RawTable) -> RawTable:
    """Return a table with marks outside what a column can be taken out: gaps, which are counted and said."""
    daily, notes, left_out = raw.daily.copy(), [], dict(raw.left_out)
    for name in map(str, daily.columns):
        for mark, rows, outside in marked(raw, name):
            if not outside:
                continue
            daily.loc[rows, name] = np.nan
            notes.append(note("mark", name=name, mark=number(mark), days=counted(int(rows.sum()), "day")))
            before = left_out.get(name, LeftOut("", frozenset())).days
            left_out[name] = LeftOut(note("for-mark", mark=number(mark)), before | set(days_where(daily.index, rows)))
    return replace(raw, daily=daily, notes=(*raw.notes, *notes), left_out=left_out) if notes else raw
