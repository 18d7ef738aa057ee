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

from panbudget.errors import Problem
from panbudget.numeric import Floats, Ints
from panbudget.weather.checks.inspection import Mask
from panbudget.weather.text.columns import number
from panbudget.words import and_more

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
# share of the midnights with rain before them at which a daily counter falls at least, and a total one at most
_RESETS_OF_DAILY, _RESETS_OF_TOTAL = 0.8, 0.2
# a reset shows within this time after midnight: a clock on summer time, and a lazy station [s]
_RESET_WITHIN = 5400.0
# how many records a counter may fall out and come back
_SLIP_LENGTH = 3
# the most rain ever measured in an hour (World Meteorological Organization's list of extremes, from memory:
# 305 mm in 42 minutes) [mm]
_MOST_IN_AN_HOUR = 305.0
# share of the records that may have more, as faults, before the column is taken to be another thing
_FEW = 0.01
# what a counter gains at least when it leaps back to its old level [mm]
_LEAP = 20.0
# a break between records over which a counter's rain is said [h]
_BREAK = 6.0
_TOLERANCE = 1e-6

_CURE = "correct it, or leave the cell empty"
_COUNTERS = 'name the column "daily rain" (begins again at midnight) or "total rain" (only grows)'


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


def rain_amounts(values: Floats, seconds: Ints, *, kind: str, step: float, header: str = "rain") -> RainRecords:
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
    column = _Column(values[known], seconds[known], step, header)
    amounts = np.full(len(values), np.nan)
    if problems := column.negative():
        return RainRecords(amounts, kind, [], problems)
    if not (column.level > 0.0).any():
        amounts[known] = 0.0
        return RainRecords(amounts, "interval" if kind == "unknown" else kind)
    notes: list[str] = []
    if kind == "unknown":
        decided = column.decide()
        if isinstance(decided, Problem):
            return RainRecords(amounts, kind, [], [decided])
        kind = decided
        notes.append(f'rain: "{header}" was taken for {KINDS[kind]}, by how it rises and falls')
    elif problems := column.contradictions(kind):
        return RainRecords(amounts, kind, [], problems)
    fallen = column.fallen(kind)
    if kind == "total":
        fallen, slips = column.without_slips(fallen)
        if slips:
            notes.append(
                f"rain: the counter fell and came back within {_SLIP_LENGTH} records on {slips} occasions, which "
                "was taken for a slip of the station and not for rain"
            )
        resets = int(column.falls.sum()) - slips
        if resets > 0:
            notes.append(f"rain: the counter began again {resets} time{'s' if resets > 1 else ''}")
        problems = column.leaps(fallen)
    if kind != "interval":
        notes += column.over_breaks(fallen)
    problems = problems or column.beyond_belief(fallen)
    amounts[known] = fallen
    return RainRecords(amounts, kind, notes, problems)


class _Column:
    """A rain column's known records, and what happens from each to the next, (records - 1,)."""

    def __init__(self, level: Floats, seconds: Ints, step: float, header: str) -> None:
        self.level, self.header, self.step = level, header, step
        self.hours = np.diff(seconds, prepend=seconds[:1] - int(step)) / 3600.0
        self.change = np.diff(level)
        self.rises, self.falls = self.change > _TOLERANCE, self.change < -_TOLERANCE
        # a record closes the time before it, so that one at midnight is the old day's last
        days, hours = (seconds - 1) // 86400, (seconds - 1) // 3600
        self.day, self.hour = days[1:], hours[1:]
        self.new_day, self.new_hour = np.diff(days) > 0, np.diff(hours) > 0
        after_midnight = seconds[1:] % 86400 <= max(_RESET_WITHIN, step)
        self.at_midnight = self.new_day | after_midnight | (np.diff(seconds // 86400) > 0)
        self.at_full_hour = self.new_hour | (np.diff(seconds // 3600) > 0)
        self.near = np.diff(seconds) <= 2.0 * step

    def _problem(self, code: str, found: str, expected: str, cure: str, value: object) -> Problem:
        return Problem(code, f'"{self.header}"', found, expected, cure, value)

    def _slips(self, at_reset: Mask) -> float:
        """Falls elsewhere than at a reset, as a share of the rises."""
        return float((self.falls & ~at_reset).sum()) / max(int(self.rises.sum()), 1)

    def negative(self) -> list[Problem]:
        """Refuse figures below 0."""
        wrong = self.level < 0.0
        if not wrong.any():
            return []
        worst = float(self.level.min())
        found = f"is {number(worst)} mm{and_more(int(wrong.sum()) - 1, 'record')}"
        cure = "correct it, or leave it empty where it is missing"
        return [self._problem("rain-negative", found, "0 mm or more", cure, worst)]

    def decide(self) -> str | Problem:
        """Tell the kind by how the column rises and falls, or say that it can't be told."""
        rises = int(self.rises.sum())
        if rises == 0 and float(np.ptp(self.level)) <= _TOLERANCE:
            return "total"  # stands still at a figure that no interval would repeat
        slips = self._slips(self.at_midnight)
        if slips >= _FALLS_OF_INTERVALS:
            return "interval"
        if slips <= _SLIPS:
            resets = int((self.falls & self.at_midnight).sum())
            carried = int((self.new_day & (self.level[:-1] > _TOLERANCE) & ~self.falls).sum())
            share = resets / max(resets + carried, 1)
            kind = "daily" if resets and share >= _RESETS_OF_DAILY else "total" if share <= _RESETS_OF_TOTAL else ""
            if kind and rises >= _RISES_TO_JUDGE:
                return kind
            if kind and np.allclose(self.fallen(kind), self.fallen("interval")):
                return "interval"
        found = "may be the rain of each interval or a running counter, and the column doesn't tell which"
        cure = f'name the column "interval rain", {_COUNTERS.removeprefix("name the column ")}'
        return self._problem("rain-kind-unknown", found, "", cure, self.header)

    def contradictions(self, kind: str) -> list[Problem]:
        """Refuse a header that says another thing than its column."""
        if kind == "interval":
            enough = int(self.rises.sum()) >= 2 * _RISES_TO_JUDGE
            looks = enough and self._slips(self.at_midnight) <= _SLIPS
            found, cure = "hardly ever falls except at midnight, as a counter does", _COUNTERS
        else:
            resets = {"hourly": self.at_full_hour, "daily": self.at_midnight}.get(kind, np.zeros_like(self.falls))
            falls = int((self.falls & ~resets).sum())
            # a growing counter may fall as seldom as it is emptied by hand or by the month
            emptied = kind == "total" and int(self.falls.sum()) <= 0.2 * int(self.new_day.sum())
            looks = falls > 2 and self._slips(resets) > _SLIPS and not emptied
            found = f"falls on {falls} occasions where {KINDS[kind]} would not"
            cure = 'name the column "interval rain" if it is the rain of each interval; a sliding sum can\'t be used'
        return [self._problem("rain-kind", found, KINDS[kind], cure, self.header)] if looks else []

    def fallen(self, kind: str) -> Floats:
        """Return the amounts of the records, if they are of that kind."""
        if kind == "interval":
            return self.level.copy()
        grown = np.where(self.falls, self.level[1:], np.maximum(self.change, 0.0))
        if kind == "total":
            return np.concatenate([[0.0], grown])
        begins, span = (self.new_day, self.day) if kind == "daily" else (self.new_hour, self.hour)
        # what stands there after a break over midnight is all new; without a break too, unless the level falls
        # later that day: then the reset was still to come
        lazy = np.isin(span, span[self.falls & ~begins])
        grown = np.where(begins & ~(self.near & lazy), self.level[1:], grown)
        return np.concatenate([self.level[:1], grown])

    def without_slips(self, fallen: Floats) -> tuple[Floats, int]:
        """Take a counter that falls out for a few records and comes back as if it had stood still."""
        level = self.level
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
        sound = level[~slip]
        change = np.diff(sound)
        result = np.zeros(len(level))
        result[~slip] = np.concatenate([[0.0], np.where(change < -_TOLERANCE, sound[1:], np.maximum(change, 0.0))])
        return result, int(starts.sum())

    def leaps(self, fallen: Floats) -> list[Problem]:
        """Refuse a counter that came back to its old level in one leap long after it fell: that is no rain."""
        before = np.concatenate([[0.0], np.maximum.accumulate(self.level)[:-1]])
        low = np.concatenate([[np.inf], self.level[:-1]]) < 0.5 * before
        wrong = low & (self.level >= before) & (fallen > _LEAP)
        if not wrong.any():
            return []
        row = int(np.argmax(wrong))
        found = (
            f"fell from {number(float(before[row]))} mm and later leaps back to {number(float(self.level[row]))} "
            f"mm{and_more(int(wrong.sum()) - 1, 'leap')}"
        )
        expected, cure = "a counter that grows or begins again", "leave the cells between empty"
        return [self._problem("rain-leap", found, expected, cure, float(self.level[row]))]

    def over_breaks(self, fallen: Floats) -> list[str]:
        """Say how much a counter gained over breaks between records."""
        breaks = (self.hours > max(_BREAK, 3.0 * self.step / 3600.0)) & (fallen > 0.0)
        if not breaks.any():
            return []
        return [
            f"rain: {number(float(fallen[breaks].sum()))} mm of the counter fell in breaks of more than {_BREAK:g} h "
            f"({int(breaks.sum())} of them) and counts to the day of the record after"
        ]

    def beyond_belief(self, fallen: Floats) -> list[Problem]:
        """Refuse more than ever fell in an hour, if it is on few records."""
        much = fallen > _MOST_IN_AN_HOUR * np.maximum(self.hours, 1.0)
        if not much.any() or float(much.mean()) >= _FEW:
            return []
        row = int(np.argmax(np.where(much, fallen, -1.0)))
        hours = number(max(float(self.hours[row]), self.step / 3600.0))
        found = f"is {number(float(fallen[row]))} mm in {hours} h{and_more(int(much.sum()) - 1, 'record')}"
        expected = f"at most {_MOST_IN_AN_HOUR:g} mm in an hour, the most ever measured"
        return [self._problem("rain-too-much", found, expected, _CURE, float(fallen[row]))]
