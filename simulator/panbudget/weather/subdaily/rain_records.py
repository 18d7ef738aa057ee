"""
Rain records: what a rain column of sub-daily records counts, and how much fell between one record and the next.

Four kinds: "interval" (what fell since the record before), "hourly" and "daily" (counters that begin again at
the full hour and at midnight), "total" (a counter that only grows, but for resets and roll-overs). Where the
header doesn't say, the whole column decides, and what it can't decide is refused. Thresholds are common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from panbudget.errors import Problem
from panbudget.physics.air import Floats
from panbudget.weather.text.columns import number
from panbudget.words import and_more

__all__ = ["KINDS", "RainRecords", "rain_amounts"]

#: kind -> what a report calls it
KINDS = {
    "interval": "the rain of each interval",
    "hourly": "a counter that begins again at the full hour",
    "daily": "a counter that begins again at midnight",
    "total": "a counter that only grows",
}

# shares of a counter's rises that may be followed by a fall elsewhere than at its reset, and that an interval
# amount shows at least: after each spell of rain it is back at 0
_SLIPS, _FALLS_OF_INTERVALS = 0.02, 0.25
# how many rises it takes to believe in a counter by its looks alone
_RISES_TO_JUDGE = 3
# a reset shows within this time after midnight: a clock on summer time, and a lazy station [s]
_RESET_WITHIN = 5400.0
# how many records a counter may fall out and come back
_SLIP_LENGTH = 3
# the most rain ever measured in an hour (World Meteorological Organization's list of extremes, from memory:
# 305 mm in 42 minutes) [mm]
_MOST_IN_AN_HOUR = 305.0
# a break between records over which a counter's rain is said [h]
_BREAK = 6.0
_TOLERANCE = 1e-6


@dataclass(frozen=True, eq=False)
class RainRecords:
    """
    How much fell up to each record.

    Parameters
    ----------
    amounts : ndarray, (records,)
        Since the record before; NaN where the record has no figure. [mm]
    kind : str
        A key of `KINDS`.
    notes, problems : list
        What a report should mention, and what is wrong.
    """

    amounts: Floats
    kind: str
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def rain_amounts(
    values: Floats, seconds: npt.NDArray[np.int64], *, kind: str, step: float, header: str = "rain"
) -> RainRecords:
    """
    Turn a rain column into amounts.

    Parameters
    ----------
    values : ndarray, (records,)
        In the order of time, NaN where missing. [mm]
    seconds : ndarray of int, (records,)
        Clock time of each record since any midnight, ascending. [s]
    kind : str
        A key of `KINDS`, or "unknown".
    step : float
        Usual time between records. [s]
    header : str
        The column's name, for messages.

    Returns
    -------
    RainRecords
        A record's amount fell before it: one at midnight belongs to the day that ends there, but for
        intervals, whose day is the table's own affair.
    """
    known = ~np.isnan(values)
    level = values[known]
    amounts = np.full(len(values), np.nan)
    if not level.size or not (level > 0.0).any():
        amounts[known] = np.maximum(level, 0.0) if level.size else level
        negative = _negative(level, header)
        return RainRecords(amounts, "interval" if kind == "unknown" else kind, [], negative)
    if negative := _negative(level, header):
        return RainRecords(amounts, kind, [], negative)
    signs = _Signs.of(level, seconds[known], step)
    notes: list[str] = []
    if kind == "unknown":
        decided, problem = _decide(level, signs, header)
        if problem is not None:
            return RainRecords(amounts, kind, [], [problem])
        kind = decided
        if (level > 0.0).any():
            notes.append(f'rain: "{header}" was taken for {KINDS[kind]}, by how it rises and falls')
    elif (problem := _contradiction(kind, signs, header)) is not None:
        return RainRecords(amounts, kind, [], [problem])
    problems: list[Problem] = []
    fallen = _fallen(level, signs, kind)
    if kind == "total":
        fallen, slips = _without_slips(level, fallen)
        if slips:
            notes.append(
                f"rain: the counter fell and came back within {_SLIP_LENGTH} records on {slips} occasions, which "
                "was taken for a slip of the station and not for rain"
            )
        resets = int(((np.diff(level) < -_TOLERANCE) & (fallen[1:] >= 0.0)).sum()) - slips
        if resets > 0:
            notes.append(f"rain: the counter began again {resets} time{'s' if resets > 1 else ''}")
        problems += _jumps(level, fallen, header)
    hours = np.diff(seconds[known], prepend=seconds[known][0] - int(step)) / 3600.0
    breaks = (hours > max(_BREAK, 3.0 * step / 3600.0)) & (fallen > 0.0)
    if kind != "interval" and breaks.any():
        notes.append(
            f"rain: {number(float(fallen[breaks].sum()))} mm of the counter fell in breaks of more than {_BREAK:g} h "
            f"({int(breaks.sum())} of them) and counts to the day of the record after"
        )
    much = fallen > _MOST_IN_AN_HOUR * np.maximum(hours, 1.0)
    if much.any() and float(much.mean()) < 0.01 and not problems:
        place = int(np.argmax(np.where(much, fallen, -1.0)))
        problems.append(
            Problem.of_text(
                f'"{header}": {number(float(fallen[place]))} mm in {number(max(float(hours[place]), step / 3600.0))} '
                f"h{and_more(int(much.sum()) - 1, 'record')}; at most {_MOST_IN_AN_HOUR:g} mm in an hour is believed: "
                "correct it, or leave the cell empty",
                key="rain",
                value=float(fallen[place]),
            )
        )
    amounts[known] = fallen
    return RainRecords(amounts, kind, notes, problems)


@dataclass(frozen=True, eq=False)
class _Signs:
    """From one record to the next, (records - 1,): what rose, fell, and where a new day or hour begins."""

    rises: npt.NDArray[np.bool_]
    falls: npt.NDArray[np.bool_]
    at_midnight: npt.NDArray[np.bool_]
    at_full_hour: npt.NDArray[np.bool_]
    new_day: npt.NDArray[np.bool_]
    new_hour: npt.NDArray[np.bool_]
    day: npt.NDArray[np.int64]
    hour: npt.NDArray[np.int64]
    near: npt.NDArray[np.bool_]
    carried: npt.NDArray[np.bool_]

    @classmethod
    def of(cls, level: Floats, seconds: npt.NDArray[np.int64], step: float) -> _Signs:
        change = np.diff(level)
        # a record closes the time before it, so that one at midnight is the old day's last
        days, hours = (seconds - 1) // 86400, (seconds - 1) // 3600
        new_day, new_hour = np.diff(days) > 0, np.diff(hours) > 0
        of_day = seconds[1:] % 86400
        window = of_day <= max(_RESET_WITHIN, step)
        at_midnight = new_day | window | (np.diff(seconds // 86400) > 0)
        at_full_hour = new_hour | (np.diff(seconds // 3600) > 0)
        near = np.diff(seconds) <= 2.0 * step
        return cls(
            rises=change > _TOLERANCE,
            falls=change < -_TOLERANCE,
            at_midnight=at_midnight,
            at_full_hour=at_full_hour,
            new_day=new_day,
            new_hour=new_hour,
            day=days[1:],
            hour=hours[1:],
            near=near,
            carried=new_day & (level[:-1] > _TOLERANCE) & (change >= -_TOLERANCE),
        )

    def slips(self, at_reset: npt.NDArray[np.bool_]) -> float:
        """Falls elsewhere than at a reset, as a share of the rises."""
        return float((self.falls & ~at_reset).sum()) / max(int(self.rises.sum()), 1)


def _negative(level: Floats, header: str) -> list[Problem]:
    wrong = level < 0.0
    if not wrong.any():
        return []
    message = (
        f'"{header}" is {number(float(level.min()))} mm{and_more(int(wrong.sum()) - 1, "record")}; 0 mm or more is '
        "expected: correct it, or leave it empty where it is missing"
    )
    return [Problem.of_text(message, key="rain", value=float(level.min()))]


def _decide(level: Floats, signs: _Signs, header: str) -> tuple[str, Problem | None]:
    rises = int(signs.rises.sum())
    if rises == 0 and float(np.ptp(level)) <= _TOLERANCE:
        return "total", None  # stands still at a figure that no interval would repeat
    slips = signs.slips(signs.at_midnight)
    if slips >= _FALLS_OF_INTERVALS:
        return "interval", None
    if slips <= _SLIPS:
        resets = int((signs.falls & signs.at_midnight).sum())
        carried = int(signs.carried.sum())
        share = resets / max(resets + carried, 1)
        kind = "daily" if resets and share >= 0.8 else "total" if share <= 0.2 else ""
        if kind and rises >= _RISES_TO_JUDGE:
            return kind, None
        same = kind and np.allclose(_fallen(level, signs, kind), _fallen(level, signs, "interval"))
        if same:
            return "interval", None
    return "", Problem.of_text(
        f'"{header}" may be the rain of each interval or a running counter, and the column doesn\'t tell which; name '
        'the column "interval rain", "daily rain" (begins again at midnight) or "total rain" (only grows)',
        key="rain",
        value=header,
    )


def _contradiction(kind: str, signs: _Signs, header: str) -> Problem | None:
    """Find a header that says another thing than its column."""
    rises = int(signs.rises.sum())
    if kind == "interval":
        looks = signs.slips(signs.at_midnight) <= _SLIPS and rises >= 2 * _RISES_TO_JUDGE
        found = "hardly ever falls except at midnight, as a counter does"
        cure = 'name the column "daily rain" (begins again at midnight) or "total rain" (only grows)'
    else:
        resets = {"hourly": signs.at_full_hour, "daily": signs.at_midnight}.get(kind, np.zeros_like(signs.falls))
        falls = int((signs.falls & ~resets).sum())
        looks = falls > 2 and signs.slips(resets) > _SLIPS and not (kind == "total" and _few(signs))
        found = f"falls on {falls} occasions where {KINDS[kind]} would not"
        cure = 'name the column "interval rain" if it is the rain of each interval; a sliding sum can\'t be used'
    if not looks:
        return None
    return Problem.of_text(f'"{header}" {found}; {KINDS[kind]} is expected: {cure}', key="rain", value=header)


def _few(signs: _Signs) -> bool:
    """Tell whether a growing counter falls only as seldom as it is emptied by hand or by the month."""
    return int(signs.falls.sum()) <= 0.2 * int(signs.new_day.sum())


def _fallen(level: Floats, signs: _Signs, kind: str) -> Floats:
    """Return the amounts of known records."""
    if kind == "interval":
        return level.copy()
    change = np.diff(level)
    grown = np.where(signs.falls, level[1:], np.maximum(change, 0.0))
    if kind in ("daily", "hourly"):
        begins = signs.new_day if kind == "daily" else signs.new_hour
        # what stands there after a break over midnight is all new; without a break too, unless the level falls
        # later that day: then the reset was still to come
        span = signs.day if kind == "daily" else signs.hour
        lazy = np.isin(span, span[signs.falls & ~begins])
        grown = np.where(begins & ~(signs.near & lazy), level[1:], grown)
        return np.concatenate([level[:1], grown])
    return np.concatenate([[0.0], grown])


def _without_slips(level: Floats, fallen: Floats) -> tuple[Floats, int]:
    """Take a counter that falls out for a few records and comes back as if it had stood still."""
    slip = np.zeros(len(level), dtype=bool)
    starts = np.zeros(len(level), dtype=bool)
    drops = np.diff(level, prepend=level[0]) < -_TOLERANCE
    before = np.concatenate([level[:1], level[:-1]])
    for length in range(1, min(_SLIP_LENGTH, len(level) - 1) + 1):
        later = np.full(len(level), -np.inf)
        later[: len(level) - length] = level[length:]
        back = drops & (later >= before - _TOLERANCE) & ~slip
        starts |= back
        for offset in range(length):
            slip[offset:] |= back[: len(level) - offset]
    if not slip.any():
        return fallen, 0
    kept = level[~slip]
    change = np.diff(kept)
    grown = np.concatenate([[0.0], np.where(change < -_TOLERANCE, kept[1:], np.maximum(change, 0.0))])
    result = np.zeros(len(level))
    result[~slip] = grown
    return result, int(starts.sum())


def _jumps(level: Floats, fallen: Floats, header: str) -> list[Problem]:
    """Refuse a counter that came back to its old level in one leap long after it fell: that is no rain."""
    highest = np.maximum.accumulate(level)
    before = np.concatenate([[0.0], highest[:-1]])
    low = np.concatenate([[np.inf], level[:-1]]) < 0.5 * before
    wrong = low & (level >= before) & (fallen > 20.0)
    if not wrong.any():
        return []
    place = int(np.argmax(wrong))
    message = (
        f'"{header}" fell from {number(float(before[place]))} mm and later leaps back to '
        f"{number(float(level[place]))} mm{and_more(int(wrong.sum()) - 1, 'leap')}; a counter that grows or begins "
        "again is expected: leave the cells between empty"
    )
    return [Problem.of_text(message, key="rain", value=float(level[place]))]
