"""
Marks: numbers that loggers and archives write for a missing value, found in a table by what they are and taken out.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from panbudget.numeric import Floats, Mask
from panbudget.weather.calendar import days_where
from panbudget.weather.messages import counted, note, table_of
from panbudget.weather.text.columns import STANDARD, number
from panbudget.weather.text.raw import LeftOut, RawTable

_MARKS = np.sort(table_of("marks")["numbers"])
# share of a mark above which no other value lies, where it could not be one, and where it could and stands there again
_ALONE, _ALONE_THOUGH_LIKELY = 0.5, 0.8
# how many times as often as any other amount near it rain of such an amount is no chance
_OFTEN = 3.0
# what a model's packing leaves below no rain at most [mm]
PACKED = 1e-3


def is_known_mark(values: Floats) -> Mask:
    """Tell which figures, as a file has them, are known marks."""
    return np.asarray(np.isin(np.round(values, 4), _MARKS))


class Mark(NamedTuple):
    """
    A mark in a column: as the file has it, on which rows, whether it lies ``outside`` what the column can be, and is ``likely``.

    It is likely where it is negative or stands alone: 999 among values near 900 is a value in another unit, and a check of its
    own. One that could be true must stand there twice, and alone; of rain thrice, and as often as three other amounts near it,
    for 9.9 mm is 99 in tenths of a millimetre. 99 % is a humidity.
    """

    number: float
    rows: Mask
    outside: bool
    likely: bool


def marks_in(raw: RawTable, name: str, values: Floats, *, only_outside: bool = False) -> Iterator[Mark]:
    """Find the marks among a column's values in our units, figures of a table's file; if asked, none where none is ``outside``."""
    factor, offset = raw.conversions.get(name, (1.0, 0.0))
    if not values.size:
        return
    ends = np.round((np.array([np.fmin.reduce(values), np.fmax.reduce(values)]) - offset) / factor, 4)
    among = {
        mark: not STANDARD[name].lowest <= mark * factor + offset <= STANDARD[name].highest
        for mark in _MARKS[(ends.min() <= _MARKS) & (ends.max() >= _MARKS)].tolist()
    }
    if not any(among.values()) and (only_outside or not among or name.startswith("rh")):
        return
    as_written = np.round((values - offset) / factor, 4)
    marks = {mark: rows for mark in among if (rows := as_written == mark).any()}
    for mark, rows in marks.items():
        outside, count = among[mark], np.count_nonzero(rows)
        bound = (_ALONE if outside else _ALONE_THOUGH_LIKELY) * mark
        beyond = np.count_nonzero(as_written > bound)
        beyond -= sum(np.count_nonzero(same) for other, same in marks.items() if other > bound)
        alone, often = bool(mark < 0 or beyond == 0), False
        if name == "rain" and mark > 0.0:
            near = as_written[(as_written > 0.5 * mark) & (as_written < 2.0 * mark) & ~np.isin(as_written, _MARKS)]
            counts = np.unique(near, return_counts=True)[1]
            often = bool(count >= _OFTEN * max(float(counts.mean()) if near.size else 1.0, 1.0))
        likely = (alone and (outside or (count >= 2 and not name.startswith("rh")))) or often
        yield Mark(mark, rows, outside, likely)


def without_marks(raw: RawTable) -> RawTable:
    """Return a table with marks outside what a column can be taken out: gaps, which are counted and said; and rain that packing left."""
    daily, notes, left_out = raw.daily, list[str](), dict(raw.left_out)
    if "rain" in daily and (packed := daily["rain"].between(-PACKED, 0.0, inclusive="left")).any():
        daily = daily.assign(rain=daily["rain"].mask(packed, 0.0))
    for name in map(str, daily.columns):
        for mark, rows, outside, likely in marks_in(raw, name, daily[name].to_numpy(dtype=float), only_outside=True):
            if not (outside and likely):
                continue
            daily = daily if notes else daily.copy()
            daily.loc[rows, name] = np.nan
            notes.append(note("mark", name=name, mark=number(mark), days=counted(int(rows.sum()), "day")))
            before = left_out.get(name, LeftOut("", frozenset())).days
            left_out[name] = LeftOut(note("for-mark", mark=number(mark)), before | set(days_where(daily.index, rows)))
    return replace(raw, daily=daily, notes=(*raw.notes, *notes), left_out=left_out) if daily is not raw.daily else raw
