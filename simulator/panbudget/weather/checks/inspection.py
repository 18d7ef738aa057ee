"""
Inspection: a weather table under inspection, and the walk through the tables of checks (`air`, `sky`, `sensors`).

A value that can't be true is a problem if its day is asked for, and is left out (and counted) if not: old
trouble in a long record must neither block a season nor colour its monthly means. What is only unlikely is a caution, and
changes nothing. Whoever knows better trusts a check by name.
"""

from __future__ import annotations

import functools
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from textwrap import shorten
from typing import Any, ClassVar, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import Problem
from panbudget.numeric import Floats, Ints, Mask
from panbudget.weather.calendar import Arranged
from panbudget.weather.messages import counted, is_caution, note, only_cautions, problem, table_of
from panbudget.weather.site import Site, Sky
from panbudget.weather.text.columns import STANDARD, number
from panbudget.weather.text.heading import as_filed, as_mark, known_unit
from panbudget.weather.text.raw import ColumnChoice, RawTable
from panbudget.weather.text.source import Source
from panbudget.words import and_more, in_both

# lines of a file among which it says something of itself; how many of them are repeated, and how much of each
_SAYS_IN, _SAYS, _SAYS_LONG = 12, 3, 150
_LIKE_OTHERS = 20.0  # how far days in another scale may be from the others by it [°C]
_DAYS_OF_UNIT = 3  # days in another unit than the others that tell it [d]
_ALIKE = 1.0  # scales that lie no further apart than this can't be told from one another [°C]


class Caution(NamedTuple):
    """
    What is unlikely, but not refused.

    ``name`` of the check; the ``sentence``; ``instead``: column -> what its values of all days would be, NaN where they would
    be filled by rule, if the caution is right, once for each way in which it may be; ``worth``: what that is worth, in a
    sentence; ``brief``: what was found alone.
    """

    name: str
    sentence: str
    instead: Sequence[Mapping[str, Floats]]
    worth: str = ""
    brief: str = ""


@dataclass(eq=False)
class Inspection:
    """
    A weather table under inspection, and what came out of it.

    Parameters
    ----------
    daily : DataFrame
        Standard columns, every day; checks set values that can't be true to NaN.
    asked : ndarray of bool, (days,)
        Days on which a value that can't be true is a problem.
    raw : RawTable
        As read: units, headers and conversions.
    sky : Sky
        Ra, Rso and N of the days.
    site : Site
        Where it was measured.
    table : str
        The scenario's table that names the file, where cures are to be written.
    wind_factor : float
        What brings the wind to 2 m. [-]
    too_bright : str
        "error", or "limit": bring radiation up to 1.25 Rso down to 1.05 Rso.
    bright_share : float
        Largest share of days on which it may be so limited. [-]
    trust : frozenset of str
        Names of checks that the user knows better than.
    cautious : bool
        Whether what is only unlikely is looked for.
    own_marks : bool
        Whether the file's format says what stands for a missing value, so that the scenario can't.
    limited : ndarray of bool, (days,)
        Where radiation was brought down to 1.05 Rso.
    condemned : set of str
        Columns refused as a whole.
    problems, cautions, notes : list
        What is wrong, what is unlikely, and what a report should mention.
    ran : dict
        Name of a check that was made -> the columns on which it was.
    left_out : Counter
        Column -> values left out on days that nobody asked for.
    """

    daily: pd.DataFrame
    asked: Mask
    raw: RawTable
    sky: Sky
    site: Site
    table: str = "weather"
    wind_factor: float = 1.0
    too_bright: str = "error"
    bright_share: float = 0.10
    trust: frozenset[str] = frozenset()
    cautious: bool = True
    own_marks: bool = False
    limited: Mask = field(init=False)
    condemned: set[str] = field(default_factory=set)
    problems: list[Problem] = field(default_factory=list)
    cautions: list[Caution] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    ran: dict[str, list[str]] = field(default_factory=dict)
    left_out: Counter[str] = field(default_factory=Counter)

    def has(self, *names: str) -> bool:
        """Tell whether all these columns are there and none was condemned as a whole."""
        return all(name in self._columns and name not in self.condemned for name in names)

    def all_of(self, name: str) -> Floats:
        """Return a column's values of all days."""
        if (values := self._columns[name]) is None:
            values = self._columns[name] = self.daily[name].to_numpy(dtype=float)
        return values

    @functools.cached_property
    def _columns(self) -> dict[str, Floats | None]:
        """The columns, as they were last looked at: to ask a table for one takes longer than most checks."""
        return dict.fromkeys(map(str, self.daily.columns))

    def put(self, rows: Mask | slice, names: Sequence[str], values: Floats | float) -> None:
        """Write values into columns, which are then looked at again."""
        self.daily.loc[rows, list(names)] = values
        self._columns.update(dict.fromkeys(names))

    def of_asked(self, name: str) -> Floats:
        """Return a column's values of the days asked for."""
        return self.all_of(name)[self._span]

    @functools.cached_property
    def _span(self) -> slice:
        """The days asked for, which follow each other; a view of them is got far sooner than a copy."""
        rows = np.flatnonzero(self.asked)
        return slice(rows[0], rows[-1] + 1)

    @functools.cached_property
    def numbers(self) -> Ints:
        """The days asked for, counted from 1970 on."""
        return self.daily.index[self.asked].to_numpy().astype("datetime64[D]").astype(np.int64)

    def known(self, name: str) -> Floats:
        """Return a column's values of the asked days that have one."""
        values = self.of_asked(name)
        missing = np.isnan(values)
        return values[~missing] if missing.any() else values

    def with_asked(self, **columns: Floats | float) -> dict[str, Floats]:
        """Return columns of all days with other values on the days asked for."""
        changed = {name: self.all_of(name).copy() for name in columns}
        for name, values in columns.items():
            changed[name][self.asked] = values
        return changed

    def without(self, days: Mask | slice, *names: str) -> dict[str, Floats]:
        """Return columns of all days that lack some of the days asked for, as they would be filled in."""
        changed = {name: self.all_of(name).copy() for name in names}
        for values in changed.values():
            values[self._span][days] = np.nan
        return changed

    def day_asked(self, place: int) -> str:
        """Write one of the days asked for, the first of which is 0."""
        return self.day(int(np.flatnonzero(self.asked)[place]))

    def is_stated(self, name: str) -> bool:
        """Tell whether the user or the file names the column's unit."""
        return name in self.raw.unit_is_stated

    def day(self, row: int) -> str:
        """Write the day of a row."""
        return str(pd.DatetimeIndex(self.daily.index)[row].date())

    def row_of_highest(self, values: Floats) -> int:
        """Return the row of the highest value on the days asked for; -values finds the lowest."""
        return int(np.nanargmax(np.where(self.asked, values, np.nan)))

    def worst(self, name: str, *, lowest: bool = False) -> str:
        """Write a column's largest (or lowest) value on the days asked for, and its day."""
        values = self.all_of(name)
        row = self.row_of_highest(-values if lowest else values)
        return f"{number(float(values[row]))} on {self.day(row)}"

    def unit_cure(self, unit: str, names: Sequence[str]) -> str:
        """Say how to name the unit that columns look like."""
        if self.is_stated(names[0]):
            return note("format-unit" if self.own_marks else "stated-unit", unit=self.raw.units[names[0]])
        lines = " and ".join(dict.fromkeys(self.line(name, unit) for name in names))
        return note("name-the-unit", table=self.table, lines=lines)

    def to_paste(self, unit: str, names: Sequence[str]) -> tuple[tuple[str, str], ...]:
        """Return what names the unit that columns look like, to paste into the scenario; the first has what is named there."""
        if self.own_marks:
            return ()  # a format has its own columns
        first = not any(wrong.paste for wrong in (*self.raw.problems, *self.problems))
        by = self.raw.of_records
        named = {by.get(name, name): ColumnChoice(self.raw.headers.get(name, name), unit) for name in names}
        pairs = {**(self.raw.chosen if first else {}), **named}
        return tuple((f"{self.table}.columns.{name}", choice.as_toml()) for name, choice in pairs.items())

    def exchange(self, one: str, other: str) -> tuple[tuple[str, str], ...]:
        """Return what takes two columns for each other, each in its own unit, to paste; none where headers name extremes of one."""
        if self.own_marks or one[:2] == other[:2] == "rh" or {one, other} == {"tmin", "tmax"}:
            return ()
        choices = {
            name: ColumnChoice(self.raw.headers.get(by, by), self.raw.units.get(name) if self.is_stated(name) else None)
            for name, by in ((one, other), (other, one))
        }
        pairs = {**self.raw.chosen, **choices}.items()
        return tuple((f"{self.table}.columns.{name}", choice.as_toml()) for name, choice in pairs)

    def unit_in_file(self, name: str) -> str:
        """Return the unit that a column has in the file, as `units` names it."""
        return known_unit(self.raw.units.get(name, "")) or self.raw.units.get(name, "")

    def words(self, name: str, check: str) -> dict[str, object]:
        """Return what any text may say of a column: its ``standard``, another unit ``perhaps``, how to ``confirm`` that it is right."""
        perhaps = table_of("perhaps").get(name, {})
        return {
            "standard": STANDARD[name],
            "perhaps": perhaps.get(self.unit_in_file(name), perhaps.get("any", "")),
            "confirm": note("right-after-all", name=check, table=self.table),
        }

    def line(self, name: str, unit: str) -> str:
        """Write what names a column and its unit, to paste below [weather.columns]."""
        return f'{self.raw.of_records.get(name, name)} = {{ column = "{self.raw.headers.get(name, name)}", unit = "{unit}" }}'

    def like_others(self, share: Floats, here: Mask, units: Mapping[str, float], apart: float) -> str:
        """Name the unit by which some days, of enough, are most like the others asked for, and no further apart by logarithm."""
        others = share[self.asked & ~here & ~np.isnan(share)]
        if here.sum() < _DAYS_OF_UNIT or not others.size:
            return ""
        off = {abs(np.log(np.median(share[here]) * size / np.median(others))): name for name, size in units.items()}
        return off[min(off)] if min(off) < apart else ""

    def unit_there(self, wrong: Mask, looks_like: str) -> str:
        """Say that some days look like another unit than the others."""
        rows = np.flatnonzero(wrong)
        return note(
            "unit-there",
            days=counted(rows.size, "day"),
            first=self.day(rows[0]),
            last=self.day(rows[-1]),
            looks_like=looks_like,
        )

    def leave_out(self, wrong: Mask, *names: str) -> None:
        """Take values out on all days, so that no later check names the same mistake again; count those not asked for."""
        if wrong.any():
            self.put(wrong, names, np.nan)
        if elsewhere := int((wrong & ~self.asked).sum()):
            self.left_out[names[0]] += elsewhere


class RawFile(NamedTuple):
    """A file as read, unchecked: its table, where it came from, the reader's name, why that was chosen, and of several each."""

    raw: RawTable
    source: Source
    reader: str
    why: str
    parts: Sequence[RawFile] = ()


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
    doubts : tuple of str
        Where the file contradicts the place that the scenario describes.
    """

    file: RawFile
    arranged: Arranged
    inspected: Inspection
    wind_height: float
    notes: tuple[str, ...]
    doubts: tuple[str, ...] = ()

    @functools.cached_property
    def days(self) -> pd.DatetimeIndex:
        """Every day from its first to its last."""
        return pd.DatetimeIndex(self.arranged.daily.index)

    @property
    def recognised(self) -> str:
        """What the format was taken for, and why."""
        raw, source, _, why, _ = self.file
        return f"{raw.recognised} ({why})" + (f", from {source.taken_from}" if source.taken_from else "")

    @property
    def daily(self) -> pd.DataFrame:
        """Its checked days, wind at 2 m."""
        daily, factor = self.inspected.daily, self.inspected.wind_factor
        return daily if "wind" not in daily.columns or factor == 1.0 else daily.assign(wind=daily["wind"] * factor)

    def facts(self) -> dict[str, Any]:
        """Return what a report says of where it came from."""
        raw, source, reader, *_ = self.file
        facts = {"file": source.shown_as, "sha256": source.sha256, "reader": reader, "recognised": self.recognised}
        first, last = (str(day.date()) for day in (raw.daily.index.min(), raw.daily.index.max()))
        # comments and titles above its table
        above = (text for text in source.lines[:_SAYS_IN] if text.startswith("#") or not re.search("[,;\t]", text))
        says = [shorten(plain, _SAYS_LONG, placeholder=" …") for text in above if (plain := text.strip("# \t"))][:_SAYS]
        facts |= {"unused": raw.unused} if raw.unused else {}
        return {**facts, "units": dict(raw.units), "rows": len(raw.daily), "first": first, "last": last, "says": says}


OfDays = Callable[[Floats, Inspection], Floats]


@dataclass(frozen=True)
class Check:
    """
    A row of the table: what a column can't be on a day.

    Parameters
    ----------
    text : str
        The problem's words in `messages.toml`. ``{worst}`` is "120 % on 2025-07-03 (and 2 more days)".
    column : str
        The column.
    excess : callable
        Its values and the inspection -> how far each day is beyond what can be: wrong above 0, worst where highest.
    values : callable
        The inspection, the worst row and the days asked for that are wrong -> what else stands in braces there.
    needs : tuple of str
        Other columns without which it can't be checked.
    unless : tuple of str
        Columns in whose presence another row checks it better.
    also : tuple of str
        Other columns that share the blame, and are left out on the same days.
    certain : bool
        Whether nobody can know better.
    """

    text: str
    column: str
    excess: OfDays
    values: Callable[[Inspection, int, Mask], Mapping[str, object]] = lambda inspection, row, here: {}
    needs: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    certain: bool = True

    @property
    def name(self) -> str:
        """Its name: the problem's code."""
        return self.text.partition("/")[0]

    def walk(self, inspection: Inspection) -> None:
        """Refuse the values that are wrong."""
        if not inspection.has(self.column, *self.needs) or (self.unless and inspection.has(*self.unless)):
            return
        inspection.ran.setdefault(self.name, []).append(self.column)
        excess = self.excess(inspection.all_of(self.column), inspection)
        wrong = excess > 0.0
        here = wrong & inspection.asked
        if here.any():
            row = int(np.nanargmax(np.where(here, excess, np.nan)))
            value = float(inspection.all_of(self.column)[row])
            more = and_more(int(here.sum()) - 1, "day")
            standard, unit = STANDARD[self.column], inspection.raw.units.get(self.column, "")
            shown = as_filed(value, unit, standard.unit, standard.shown_unit)
            worst = f"{shown} on {inspection.day(row)}{more}"
            words = inspection.words(self.column, self.name)
            values = {**words, "worst": worst, **self.values(inspection, row, here)}
            inspection.problems.append(problem(self.text, self.column, value, **values))
        inspection.leave_out(wrong, self.column, *self.also)


def at_most(column: str, *, unless: tuple[str, ...] = ()) -> Check:
    """Make the row for the most that a column can be on any day."""
    most = STANDARD[column].highest

    def words(inspection: Inspection, row: int, here: Mask) -> dict[str, object]:
        if column not in ("tmin", "tmax") or re.match(r"degF|K|0\.1", inspection.unit_in_file(column)):
            return {}
        values, there = inspection.of_asked(column), inspection.all_of(column)[here]
        others = values[values <= most]
        if not others.size:
            return {}
        # tenths are whole numbers; of the scales, those by which such days are most like the others
        scales = {"kelvin": there - 273.15, "fahrenheit": (there - 32.0) / 1.8}
        scales |= {"tenths": there / 10.0} if not (there % 1.0).any() else {}
        off = {name: abs(float(np.median(figures) - np.median(others))) for name, figures in scales.items()}
        nearest = min(_LIKE_OTHERS, *off.values())
        asked = [note(f"{name}-there") for name, much in off.items() if much < min(nearest + _ALIKE, _LIKE_OTHERS)]
        return {"perhaps": f" ({' or '.join(asked)})"} if asked else {}

    return Check(f"{column}-range/high", column, lambda values, inspection: values - most, words, unless=unless)


def at_least(column: str) -> Check:
    """Make the row for the least that a column can be on any day."""
    least = STANDARD[column].lowest

    def words(inspection: Inspection, row: int, here: Mask) -> dict[str, object]:
        several = "-several" if len({*inspection.all_of(column)[here].tolist()}) > 1 else ""
        # of several values none is a mark but rain's, nor is a day's of records, which no cell has
        if inspection.own_marks or column in inspection.raw.of_records or (several and column != "rain"):
            return dict.fromkeys(("or_empty", "or_zero"), note("or-cell"))
        unit, value = inspection.raw.units.get(column, ""), float(inspection.all_of(column)[row])
        facts = {"mark": as_mark(value, unit, STANDARD[column].unit), "table": inspection.table}
        return {**facts, "or_empty": note("or-empty", **facts), "or_zero": note(f"or-zero{several}", **facts)}

    return Check(f"{column}-range/low", column, lambda values, inspection: least - values, words)


def beside(column: str, way: str, other: str, *, by: float = 0.0, blamed: bool = True) -> Check:
    """Make the row for a column that lies "above" or "below" (way) that day's other column by more than may be."""
    sign = 1.0 if way == "above" else -1.0
    return Check(
        f"{column}-{way}-{other}",
        column,
        lambda values, inspection: sign * values - (sign * inspection.all_of(other) + by),
        values=lambda inspection, row, here: {"by": by},
        needs=(other,),
        also=(other,) if blamed else (),
    )


class Verdict(NamedTuple):
    """
    What is wrong with whole columns, or unlikely.

    ``columns``: the first is named, all are condemned if it is a problem; ``text`` of `messages.toml`, which tells problem from
    caution; ``values`` that stand in braces there, under "unit" the unit that they seem to be in, of which ``{cure}`` is made, as it
    is where "exchanged" says that the first two stand in each other's place;
    ``instead`` as in `Caution`, or the only way.
    """

    columns: Sequence[str]
    text: str
    values: Mapping[str, object] = {}
    instead: Mapping[str, Floats] | Sequence[Mapping[str, Floats]] = ()


@dataclass(frozen=True)
class Doubt:
    """
    A row of the table: what columns as a whole may be by mistake, another unit above all, and what sensors do to them.

    Parameters
    ----------
    name : str
        The check's.
    judge : callable
        The inspection and the columns' names -> verdicts, whose texts are the name, or begin with it and a stroke.
    columns : str
        Of those, the ones that are there and have enough values on the days asked for are judged.
    days : int
        How many are enough.
    needs : tuple of str
        Other columns without which none is judged.
    beside : str
        What it looks at in the file as read, such as "by_hour", and not at days: without it none is judged.
    """

    name: str
    judge: Callable[[Inspection, list[str]], Iterable[Verdict]]
    columns: tuple[str, ...]
    days: int = 1
    needs: tuple[str, ...] = ()
    beside: str = ""
    certain: ClassVar[bool] = False

    def walk(self, inspection: Inspection) -> None:
        """Condemn the columns that the judge doesn't believe, which later rows pass over, or caution about them."""
        present = filter(inspection.has, self.columns)
        names = [name for name in present if inspection.known(name).size >= self.days]
        if (
            not names
            or not inspection.has(*self.needs)
            or (self.beside and getattr(inspection.raw, self.beside) is None)
        ):
            return
        inspection.ran[self.name] = names
        for columns, text, values, instead in list(self.judge(inspection, names)):
            unit, doubted = values.get("unit"), [name for name in names if name in columns] or columns
            cure = inspection.unit_cure(str(unit), doubted) if unit else ""
            exchange = inspection.exchange(columns[0], columns[1]) if values.get("exchanged") else ()
            if values.get("exchanged"):
                lines = " and ".join(f"{key.rpartition('.')[2]} = {choice}" for key, choice in exchange)
                cure = note(f"exchange-{'names' if lines else 'in-file'}", table=inspection.table, lines=lines)
            words = {**inspection.words(columns[0], self.name), "cure": cure, **values}
            if unit and inspection.unit_in_file(columns[0]) == unit:  # it looks like what it is stated to be
                words |= dict.fromkeys(("unit", "scale", "looks_like"), note("another-unit"))
                unit = None
            doubt = problem(text, columns[0], **{"worst": inspection.worst(columns[0]), **words})
            if is_caution(text):
                brief = in_both(replace(doubt, expected="", cure="").sentence)()
                ways = [way for way in ([instead] if isinstance(instead, Mapping) else instead) if way]
                unknown = note("worth-unknown")
                inspection.cautions.append(Caution(self.name, in_both(doubt.sentence)(), ways, unknown, brief))
            else:
                inspection.condemned.update(columns)
                paste = inspection.to_paste(str(unit), doubted) if unit else exchange
                inspection.problems.append(replace(doubt, paste=paste))


def walk(inspection: Inspection, table: Iterable[Check | Doubt]) -> None:
    """Go through a table of checks in its order, but for those that nobody wants."""
    for row in table:
        wanted = row.certain or row.name not in inspection.trust
        if wanted and (inspection.cautious or not only_cautions(row.name)):
            row.walk(inspection)


def seen(inspection: Inspection, start: str) -> bool:
    """Tell whether a check whose name begins so has cautioned."""
    return any(caution.name.startswith(start) for caution in inspection.cautions)
