"""
Rain records: what a rain column of sub-daily records counts, and how much fell between one record and the next.

Five kinds: "interval" (what fell since the record before), "hourly" and "daily" (counters that begin again at
the full hour and at midnight), "total" (a counter that only grows, but for resets and roll-overs), "spans" (of six or twelve
hours, on the record that ends them). Where the
header doesn't say, the whole column decides, and what it can't decide is refused. Thresholds are common
practice, no source.
"""

import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from panbudget.errors import Problem
from panbudget.numeric import Floats, Ints, Mask
from panbudget.weather.marks import PACKED
from panbudget.weather.messages import counted, note, problem, table_of
from panbudget.weather.text.columns import amount, number
from panbudget.weather.text.heading import as_filed, as_mark
from panbudget.weather.text.raw import ColumnChoice
from panbudget.words import and_more

#: kind -> what a report calls it
KINDS: dict[str, str] = table_of("rain-kinds")

# shares of a counter's rises that may be followed by a fall elsewhere than at its reset, and that an interval
# amount shows at least: after each spell of rain it is back at 0
_SLIPS, _FALLS_OF_INTERVALS = 0.02, 0.25
# how many rises it takes to believe in a counter by its looks alone
_RISES_TO_JUDGE = 3
# share of the midnights with rain before them at which a daily counter falls at least, and a total one at most
_RESETS_OF_DAILY, _RESETS_OF_TOTAL = 0.8, 0.2
# a reset shows within this time after midnight: a clock on summer time, and a lazy station [s]
_RESET_WITHIN = 5400.0
# how many falls, and share of them within two hours of the day, tell that a daily counter begins again then and not at midnight, and
# the share of rains at most that begin within two hours, as showers of a sprinkler's do [-, -, -]
_FALLS_TO_JUDGE, _AT_ONE_HOUR, _BEGUN_AT_ONE_HOUR = 10, 0.9, 0.6
# spans whose sum may stand on each record; how many rises tell, and of how many sizes; the share of what falls that rose as long
# before, and that of rises on one record of the span at most, which amounts that are spread evenly over it exceed [h, -, -, -, -]
_SLIDING, _RISES_OF_SLIDING, _SIZES, _GOES_AGAIN, _ON_ONE_RECORD = (1, 3, 6, 12, 24), 10, 4, 0.6, 0.6
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
# how far totals of six hours lie apart at least, that each is of its own [s]
_SPAN = 0.9 * 6 * 3600.0
_TOLERANCE = 1e-6
# a header that names an amount a day
_A_DAY = re.compile(r"(?i)\bmm ?(/|per)? ?d(ay)?\b|\bmm ?d-1\b|_mmday\b")


class RainRecords(NamedTuple):
    """
    How much fell up to each record.

    ``amounts`` (records,), since the record before, NaN where the record has no figure [mm]; ``kind``, a key of `KINDS`;
    ``notes`` that a report should mention, and ``problems``: what is wrong.
    """

    amounts: Floats
    kind: str
    notes: Sequence[str] = ()
    problems: Sequence[Problem] = ()


def counts_on(values: Floats, seconds: Ints, kind: str) -> bool:
    """Tell whether a column's known figures are a counter's that only grows, so that one that lacks is not 0."""
    known = ~np.isnan(values)
    if kind != "unknown":
        return kind == "total"
    column = _Column(values[known], seconds[known], 0.0, "")
    return bool(column.rises.any()) and column.decide() == "total"


def rain_amounts(
    values: Floats,
    seconds: Ints,
    *,
    kind: str,
    step: float,
    header: str = "rain",
    unit: str = "mm",
    table: str = "weather",
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
    unit : str
        The column's in the file.
    table : str
        The scenario's table that names the file, for messages.

    Returns
    -------
    RainRecords
        A record's amount fell before it: one at midnight belongs to the day that ends there, but for
        intervals, whose day is the table's own affair.
    """
    known = ~np.isnan(values)
    values = np.where((values < 0.0) & (values >= -PACKED), 0.0, values)
    column = _Column(values[known], seconds[known], step, header)
    column.facts = {"table": table, "column": ColumnChoice(header, None if unit == "mm" else unit).as_toml()}
    amounts = np.full(len(values), np.nan)
    notes: list[str] = []
    if below := int((column.level < 0.0).sum()):
        worst, more = float(column.level.min()), and_more(below - 1, "record")
        facts = {"worst": as_filed(worst, unit, "mm", "mm"), "mark": as_mark(worst, unit, "mm")}
        facts |= {"more": more}
        return RainRecords(amounts, kind, (), [column.problem("rain-negative", worst, **facts)])
    if kind == "spans":
        return column.of_spans(known, seconds)
    if not (column.level > 0.0).any():
        amounts[known] = 0.0
        return RainRecords(amounts, "interval" if kind == "unknown" else kind)
    if kind == "unknown":
        kind = column.decide()
        if not kind:
            return RainRecords(amounts, "unknown", problems=[column.problem("rain-kind-unknown", header)])
        notes.append(note("rain-kind", header=header, kind=KINDS[kind]))
        if kind == "interval" and _A_DAY.search(header):
            column.level = column.level * step / 86400.0
            notes.append(note("rain-a-day", header=header))
    elif problems := column.contradictions(kind):
        return RainRecords(amounts, kind, problems=problems)
    if kind == "interval" and (hours := column.slides()):
        span = f"the last {hours} hours" if hours > 1 else "the last hour"
        return RainRecords(amounts, kind, problems=[column.problem("rain-sliding", header, span=span)])
    fallen = column.fallen(kind)
    if kind == "total":
        fallen, slips = column.without_slips(fallen)
        resets = int(column.falls.sum()) - slips
        notes += [note("rain-slips", length=_SLIP_LENGTH, slips=slips)] if slips else []
        notes += [note("rain-resets", times=counted(resets, "time"))] if resets > 0 else []
    if kind != "interval":
        notes += column.over_breaks(fallen)
    problems = (column.leaps(fallen) if kind == "total" else []) or column.beyond_belief(fallen)
    amounts[known] = fallen
    return RainRecords(amounts, kind, notes, problems)


def _grown(level: Floats) -> Floats:
    """Return what a counter gained up to each record: all that it shows after a fall."""
    change = np.diff(level, prepend=level[:1])
    return np.where(change < -_TOLERANCE, level, np.maximum(change, 0.0))


class _Column:
    """A rain column's known records, and what happens from each to the next, (records - 1,)."""

    def __init__(self, level: Floats, seconds: Ints, step: float, header: str) -> None:
        self.level, self.seconds, self.header, self.step, self.facts = level, seconds, header, step, dict[str, object]()
        self.hours = np.diff(seconds, prepend=seconds[:1] - int(step)) / 3600.0
        self.rises, self.falls = np.diff(level) > _TOLERANCE, np.diff(level) < -_TOLERANCE
        # a record closes the time before it, so that one at midnight is the old day's last
        seconds = seconds - 3600 * self._begins()
        days, hours = (seconds - 1) // 86400, (seconds - 1) // 3600
        self.day, self.hour = days[1:], hours[1:]
        self.new_day, self.new_hour = np.diff(days) > 0, np.diff(hours) > 0
        after_midnight = seconds[1:] % 86400 <= max(_RESET_WITHIN, step)
        self.at_midnight = self.new_day | after_midnight | (np.diff(seconds // 86400) > 0)
        self.at_full_hour = self.new_hour | (np.diff(seconds // 3600) > 0)
        self.near = np.diff(seconds) <= 2.0 * step

    def _begins(self) -> int:
        """Return the hour of the day at which a daily counter begins again, 0 where at no other than midnight; rain begins at any."""
        starts = self.rises & (self.level[:-1] <= _TOLERANCE)
        falls, begun = (np.bincount(self.seconds[1:][at] // 3600 % 24, minlength=24) for at in (self.falls, starts))
        pairs = falls + np.roll(falls, -1)
        at_once = (begun + np.roll(begun, -1)).max() > _BEGUN_AT_ONE_HOUR * begun.sum()
        if (
            falls.sum() < _FALLS_TO_JUDGE
            or pairs.max() < _AT_ONE_HOUR * falls.sum()
            or at_once
            or pairs[0] == pairs.max()
        ):
            return 0
        return int(np.argmax(pairs))

    def of_spans(self, known: Mask, seconds: Ints) -> RainRecords:
        """Return the amounts where each record is a sum of six or twelve hours, and there is nothing between them."""
        amounts, apart = np.full(known.size, np.nan), np.diff(self.seconds)
        if not apart.size or np.median(apart) < _SPAN:
            sliding = self.problem("rain-sliding", self.header, span="six or twelve hours")
            return RainRecords(amounts, "spans", problems=[sliding])
        begins = np.searchsorted(self.seconds, seconds).clip(1, apart.size) - 1
        amounts[apart[begins] <= 1.5 * np.median(apart)] = 0.0  # the hours between two totals that follow each other
        amounts[known] = self.level
        notes = (note("rain-spans", header=self.header),)
        return RainRecords(amounts, "spans", notes, self.beyond_belief(self.level))

    def slides(self) -> int:
        """Return of how many hours each record holds the sum, so that what rises falls as long after; 0 where of none."""
        change = np.diff(self.level, prepend=self.level[:1])
        up, down = np.maximum(change, 0.0), np.maximum(-change, 0.0)
        rises = np.flatnonzero(up > _TOLERANCE)
        if rises.size < _RISES_OF_SLIDING or np.unique(up[rises].round(3)).size < _SIZES:
            return 0
        for hours in _SLIDING:
            lag = round(hours * 3600.0 / self.step)
            again = np.minimum(down[lag:], up[: up.size - lag]).sum() if 2 <= lag < up.size else 0.0
            if again >= _GOES_AGAIN * down.sum() and np.bincount(rises % lag).max() <= _ON_ONE_RECORD * rises.size:
                return hours
        return 0

    def problem(self, text: str, value: object, **values: object) -> Problem:
        """Make a problem of the column; numbers are written as messages show them."""
        shown = {name: number(figure) if isinstance(figure, float) else figure for name, figure in values.items()}
        return problem(text, f'"{self.header}"', value, **self.facts | shown)

    def _slips(self, at_reset: Mask) -> float:
        """Falls elsewhere than at a reset, as a share of the rises."""
        return float((self.falls & ~at_reset).sum()) / max(int(self.rises.sum()), 1)

    def decide(self) -> str:
        """Tell the kind by how the column rises and falls; empty text where it can't be told."""
        rises = int(self.rises.sum())
        if rises == 0 and float(np.ptp(self.level)) <= _TOLERANCE:
            return "total"  # stands still at a figure that no interval would repeat
        slips = self._slips(self.at_midnight)
        if slips >= _FALLS_OF_INTERVALS:
            return "interval"
        resets = int((self.falls & self.at_midnight).sum())
        carried = int((self.new_day & (self.level[:-1] > _TOLERANCE) & ~self.falls).sum())
        share = resets / max(resets + carried, 1)
        kind = "daily" if resets and share >= _RESETS_OF_DAILY else "total" if share <= _RESETS_OF_TOTAL else ""
        if slips > _SLIPS or not kind:
            return ""
        if rises >= _RISES_TO_JUDGE:
            return kind
        return "interval" if np.allclose(self.fallen(kind), self.fallen("interval")) else ""

    def contradictions(self, kind: str) -> list[Problem]:
        """Refuse a header that says another thing than its column."""
        if kind == "interval":
            enough = int(self.rises.sum()) >= 2 * _RISES_TO_JUDGE
            looks = enough and self._slips(self.at_midnight) <= _SLIPS
            # a day's total may stand at midnight alone
            looks = looks and not np.allclose(self.fallen("daily"), self.level)
            return [self.problem("rain-kind/interval", self.header, kind=KINDS[kind])] if looks else []
        resets = {"hourly": self.at_full_hour, "daily": self.at_midnight}.get(kind, np.zeros_like(self.falls))
        falls = int((self.falls & ~resets).sum())
        # a growing counter may fall as seldom as it is emptied by hand or by the month
        emptied = kind == "total" and int(self.falls.sum()) <= 0.2 * int(self.new_day.sum())
        looks = falls > 2 and self._slips(resets) > _SLIPS and not emptied
        return [self.problem("rain-kind", self.header, falls=falls, kind=KINDS[kind])] if looks else []

    def fallen(self, kind: str) -> Floats:
        """Return the amounts of the records, if they are of that kind."""
        if kind == "interval":
            return self.level.copy()
        grown = _grown(self.level)
        if kind == "total":
            return grown
        begins, span = (self.new_day, self.day) if kind == "daily" else (self.new_hour, self.hour)
        # what stands there after a break over midnight is all new; without a break too, unless the level falls
        # later that day: then the reset was still to come
        lazy = np.isin(span, span[self.falls & ~begins])
        grown = np.where(begins & ~(self.near & lazy), self.level[1:], grown[1:])
        return np.concatenate([self.level[:1], grown])

    def without_slips(self, fallen: Floats) -> tuple[Floats, int]:
        """Take a counter that falls out for a few records and comes back as if it had stood still."""
        level = self.level
        slip, starts = np.zeros((2, len(level)), dtype=bool)
        drops = np.diff(level, prepend=level[0]) < -_TOLERANCE
        before = np.concatenate([level[:1], level[:-1]])
        for length in range(1, min(_SLIP_LENGTH, len(level) - 1) + 1):
            later = np.concatenate([level[length:], np.full(length, -np.inf)])
            back = drops & (later >= before - _TOLERANCE) & ~slip
            starts |= back
            for offset in range(length):
                slip[offset:] |= back[: len(level) - offset]
        if not slip.any():
            return fallen, 0
        result = np.zeros(len(level))
        result[~slip] = _grown(level[~slip])
        return result, int(starts.sum())

    def leaps(self, fallen: Floats) -> list[Problem]:
        """Refuse a counter that came back to its old level in one leap long after it fell: that is no rain."""
        before = np.concatenate([[0.0], np.maximum.accumulate(self.level)[:-1]])
        low = np.concatenate([[np.inf], self.level[:-1]]) < 0.5 * before
        wrong = low & (self.level >= before) & (fallen > _LEAP)
        if not wrong.any():
            return []
        row = int(np.argmax(wrong))
        back, more = float(self.level[row]), and_more(int(wrong.sum()) - 1, "leap")
        return [self.problem("rain-leap", back, before=float(before[row]), back=back, more=more)]

    def over_breaks(self, fallen: Floats) -> list[str]:
        """Say how much a counter gained over breaks between records."""
        breaks = (self.hours > max(_BREAK, 3.0 * self.step / 3600.0)) & (fallen > 0.0)
        if not breaks.any():
            return []
        rain, count = amount(float(fallen[breaks].sum()), "depth"), int(breaks.sum())
        return [note("rain-over-breaks", rain=rain, hours=_BREAK, count=count)]

    def beyond_belief(self, fallen: Floats) -> list[Problem]:
        """Refuse more than ever fell in an hour, if it is on few records."""
        much = fallen > _MOST_IN_AN_HOUR * np.maximum(self.hours, 1.0)
        if not much.any() or float(much.mean()) >= _FEW:
            return []
        row = int(np.argmax(np.where(much, fallen, -1.0)))
        worst, more = float(fallen[row]), and_more(int(much.sum()) - 1, "record")
        hours = max(float(self.hours[row]), self.step / 3600.0)
        return [self.problem("rain-too-much", worst, worst=worst, hours=hours, more=more, most=_MOST_IN_AN_HOUR)]
