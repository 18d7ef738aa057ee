"""
Meter: a file of readings into litres between readings, and those into the season's days.

One row a reading: ``date, reading, unit``, and where wanted ``supply``, ``event``, ``note``. A counter that goes down
is never guessed at: the row says "rollover at 10000" (it passed its last digit and began again), or the old meter's
last row says "removed" and the new one's first "installed". All that is wrong comes out at once, a line each.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from panbudget.errors import Problem, ReadingsError
from panbudget.numeric import Floats
from panbudget.units import UnitError, quantity
from panbudget.weather.text.rows import Typed, TypedRow, read_typed

_KNOWN = ("date", "reading", "unit", "supply", "event", "note")
_EVENTS = 'leave event empty, or write "rollover at 10000", "removed" or "installed"'


@dataclass(frozen=True)
class Between:
    """
    What a meter counted between two readings.

    Parameters
    ----------
    start, end : datetime
        A reading without a time of day is taken at the start of its day.
    litres : float
        [L]
    """

    start: dt.datetime
    end: dt.datetime
    litres: float


@dataclass(frozen=True)
class Readings:
    """
    A file of readings.

    Parameters
    ----------
    file : str
        As the user named it.
    sha256 : str
        Its fingerprint.
    by_supply : dict
        Supply -> what was counted between readings, in order of time.
    events : tuple of str
        Rollovers and replacements, in words.
    """

    file: str
    sha256: str
    by_supply: dict[str, tuple[Between, ...]]
    events: tuple[str, ...]


@dataclass(frozen=True)
class _Reading:
    row: TypedRow
    moment: dt.datetime
    litres: float
    event: str
    shown: str


def read_readings(path: Path, supplies: Sequence[str], *, default: str | None = None, shown_as: str = "") -> Readings:
    """
    Read meter readings.

    Parameters
    ----------
    path : Path
        CSV, comma, semicolon or tab; lines that begin with # are skipped.
    supplies : sequence of str
        Supplies that a reading may belong to.
    default : str, optional
        The supply of a file, or of a row, that names none; the only one there is. Else the file needs a column
        ``supply``.
    shown_as : str
        How messages name the file.

    Returns
    -------
    Readings

    Raises
    ------
    ReadingsError
        The file can't be read; a date, number or unit that is none; readings out of order; a counter that goes down
        without a word; all of it, a line each.
    """
    shown = shown_as or str(path)
    table = read_typed(
        path,
        what="file of meter readings",
        shown=shown,
        example="date,reading,unit",
        known=_KNOWN,
        needed=_KNOWN[:3],
    )
    if default is None and len(supplies) == 1:
        default = supplies[0]
    if "supply" not in table.header and default is None:
        found = f"needs a column supply, since the scenario has several: {', '.join(supplies)}"
        raise ReadingsError(Problem("no-supply", "", found), file=shown)
    rows = _readings(table, supplies, default or "")
    whole = not table.problems  # of rows that could not be read, none is missed a second time
    events: list[str] = []
    by_supply = {name: _between(name, part, events, whole) for name, part in rows.items()}
    if table.problems:
        raise ReadingsError(*table.problems, file=shown)
    return Readings(shown, table.sha256, by_supply, tuple(events))


def _readings(table: Typed, supplies: Sequence[str], default: str) -> dict[str, list[_Reading]]:
    by_supply: dict[str, list[_Reading]] = {}
    for row in table.rows:
        supply = row.choice("supply", supplies, "the scenario", default)
        if supply is None:
            continue
        moment, _ = row.moment()
        if moment is None:
            continue
        shown = f"{row['reading']} {row['unit']}"
        try:
            litres = quantity(shown, "volume")
        except UnitError as error:
            row.wrong("no-volume", f'reading "{shown}" {error}', value=shown)
            continue
        if litres < 0.0:
            row.wrong("below-zero", f"reading {row['reading']} is below zero; a counter is not", value=litres)
            continue
        event = row["event"].casefold()
        event = f"{event} {row['unit']}" if event.startswith("rollover") else event
        by_supply.setdefault(supply, []).append(_Reading(row, moment, litres, event, row["date"]))
    if not by_supply and not table.problems:
        table.problems.append(Problem("no-reading", "", "has a header and no reading", "two readings at least"))
    return by_supply


def _between(supply: str, rows: list[_Reading], events: list[str], whole: bool) -> tuple[Between, ...]:
    found: list[Between] = []
    before: _Reading | None = None
    if len(rows) < 2 and whole:
        rows[0].row.wrong("one-reading", f"{supply} has one reading; two at least are needed")
    for reading in rows:
        row, event = reading.row, reading.event
        removed = before is not None and before.event == "removed"
        if event not in ("", "removed", "installed") and not event.startswith("rollover"):
            row.wrong("unknown-event", f'event "{event}" is not known', cure=_EVENTS, value=event)
        elif before is not None and (
            reading.moment < before.moment or (reading.moment == before.moment and not removed)
        ):
            message = f"{reading.shown} is not after the reading before it, {before.shown}"
            row.wrong("out-of-order", message, cure="put them in order of time", value=reading.shown)
        elif event == "installed":
            if before is not None and not removed:
                message = 'a meter is installed, and the old one was not marked "removed" at its last reading'
                row.wrong("not-removed", message, value=event)
            events.append(f"{supply}: a meter was installed on {reading.shown}")
        elif before is not None and removed:
            message = f'follows the reading of {before.shown}, "removed"'
            row.wrong("not-installed", message, cure='mark the new meter\'s first "installed"', value=event)
        elif before is not None:
            counted = _counted(before, reading)
            if counted is not None:
                found.append(Between(before.moment, reading.moment, counted))
                if event.startswith("rollover"):
                    events.append(f"{supply}: the counter passed its last digit before {reading.shown}, once")
        before = reading
    return tuple(found)


def _counted(before: _Reading, after: _Reading) -> float | None:
    """Litres between two readings of one meter, or None and a line that says why not."""
    row, event = after.row, after.event
    if not event.startswith("rollover"):
        if after.litres >= before.litres:
            return after.litres - before.litres
        cure = (
            'if the counter passed its last digit, write in a column event where it begins again, such as "rollover at '
            '10000"; if the meter was replaced, add the old one\'s last reading, marked "removed", and mark the new '
            'one\'s first "installed"'
        )
        row.wrong("fell", f"the reading of {after.shown} is below that of {before.shown}", cure=cure)
        return None
    match = re.fullmatch(r"rollover at (\S+) (.+)", event)
    try:
        top = quantity(f"{match[1]} {match[2]}", "volume") if match else 0.0
    except UnitError:
        top = 0.0
    if not top > max(before.litres, after.litres):
        message = (
            "a rollover needs the number at which the counter begins again, above the readings around it, in the row's "
            'unit, such as "rollover at 10000"'
        )
        row.wrong("no-rollover", message, value=event)
        return None
    if after.litres >= before.litres:
        message = f"a rollover is named, and the reading of {after.shown} is not below that of {before.shown}"
        row.wrong("did-not-fall", message, value=event)
        return None
    return top - before.litres + after.litres


def metered_days(between: Sequence[Between], first: dt.date, modelled: Floats) -> tuple[Floats, Floats, int]:
    """
    Spread what a meter counted over the season's days.

    Parameters
    ----------
    between : sequence of Between
    first : date
        The season's first day.
    modelled : ndarray (days,)
        What the model draws. [L/day]

    Returns
    -------
    (ndarray, ndarray, int)
        Metered litres (days,), the share of each day that lies between readings (days,), and how many stretches
        between readings had to be split between months. [L], [-]

    Notes
    -----
    Within a stretch, water is spread in proportion to the modelled days; evenly over its time where the model draws
    nothing in it or where it reaches beyond the season. Sums of whole stretches stay what the meter says.
    """
    litres, covered = np.zeros(len(modelled)), np.zeros(len(modelled))
    split = 0
    origin = dt.datetime.combine(first, dt.time())
    for stretch in between:
        start = (stretch.start - origin).total_seconds() / 86400.0
        end = (stretch.end - origin).total_seconds() / 86400.0
        days = np.arange(len(modelled))
        part = np.clip(np.minimum(days + 1.0, end) - np.maximum(days, start), 0.0, 1.0)
        if not part.any():
            continue
        inside = start >= 0.0 and end <= len(modelled)
        weights = part * modelled
        if inside and weights.sum() > 0.0:
            shares = weights / weights.sum()
        else:
            shares = part / (end - start)
        litres += stretch.litres * shares
        covered += part
        last = stretch.end - dt.timedelta(microseconds=1)
        split += (stretch.start.year, stretch.start.month) != (last.year, last.month)
    return litres, covered, split
