"""
Meter: a file of readings into litres between readings, and those into the season's days.

One row a reading: ``date, reading, unit``, and where wanted ``supply``, ``event``, ``note``. A counter that goes down
is never guessed at: the row says "rollover at 10000" (it passed its last digit and began again), or the old meter's
last row says "removed" and the new one's first "installed". All that is wrong comes out at once, a line each.
"""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from panbudget.errors import Problem, ReadingsError
from panbudget.files import read_hand_kept
from panbudget.numeric import Floats
from panbudget.scenario.problems import nearest
from panbudget.units import UnitError, quantity

__all__ = ["Between", "Readings", "metered_days", "read_readings"]

_KNOWN = ("date", "reading", "unit", "supply", "event", "note")
_EVENTS = 'leave event empty, or write "rollover at 10000", "removed" or "installed"'
_HOURS = 24.0


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
class _Row:
    line: int
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
    content, text = read_hand_kept(path, "file of meter readings", shown)
    wrong: list[Problem] = []
    if default is None and len(supplies) == 1:
        default = supplies[0]
    rows = _rows(text, supplies, default, wrong, shown)
    whole = not wrong  # of rows that could not be read, none is missed a second time
    events: list[str] = []
    by_supply = {name: _between(name, part, wrong, events, whole) for name, part in rows.items()}
    if wrong:
        raise ReadingsError(*wrong, file=shown)
    return Readings(shown, hashlib.sha256(content).hexdigest(), by_supply, tuple(events))


def _rows(
    text: str, supplies: Sequence[str], default: str | None, wrong: list[Problem], shown: str
) -> dict[str, list[_Row]]:
    lines = [(i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    if not lines:
        raise ReadingsError("is empty; a header date,reading,unit and a row a reading are expected", file=shown)
    head = lines[0][1]
    mark = max(",;\t", key=head.count)
    names = [cell.strip().casefold() for cell in next(csv.reader([head], delimiter=mark))]
    missing = [name for name in _KNOWN[:3] if name not in names]
    if missing:
        known = ", ".join(_KNOWN)
        message = f"line {lines[0][0]}: the header has no column {', '.join(missing)}; known columns are {known}"
        raise ReadingsError(Problem.of_text(message, missing[0]), file=shown)
    for name in names:
        if name not in _KNOWN:
            near = nearest(name, _KNOWN)
            hint = f'; did you mean "{near}"?' if near else f"; known are {', '.join(_KNOWN)}"
            wrong.append(Problem.of_text(f'line {lines[0][0]}: "{name}" is no known column{hint}', name, name))
    if "supply" not in names and default is None:
        message = f"needs a column supply, since the scenario has several: {', '.join(supplies)}"
        raise ReadingsError(Problem.of_text(message, "supply"), file=shown)
    found: dict[str, list[_Row]] = {}
    for line, raw in lines[1:]:
        cells = [cell.strip() for cell in next(csv.reader([raw], delimiter=mark))]
        if len(cells) != len(names):
            wrong.append(
                Problem.of_text(f"line {line}: has {len(cells)} cells where the header has {len(names)}", str(line))
            )
            continue
        row = dict(zip(names, cells, strict=True))
        supply = row.get("supply") or default or ""
        if supply not in supplies:
            near = nearest(supply, supplies)
            hint = f'; did you mean "{near}"?' if near else f"; known are {', '.join(supplies)}"
            wrong.append(
                Problem.of_text(f'line {line}: supply "{supply}" is not in the scenario{hint}', "supply", supply)
            )
            continue
        moment = _moment(row["date"])
        if moment is None:
            message = f'line {line}: date "{row["date"]}" is no date such as 2025-05-01 or 2025-05-31 18:30'
            wrong.append(Problem.of_text(message, "date", row["date"]))
            continue
        try:
            litres = quantity(f"{row['reading']} {row['unit']}", "volume")
        except UnitError as error:
            wrong.append(Problem.of_text(f'line {line}: reading "{row["reading"]} {row["unit"]}" {error}', "reading"))
            continue
        if litres < 0.0:
            wrong.append(
                Problem.of_text(f"line {line}: reading {row['reading']} is below zero; a counter is not", "reading")
            )
            continue
        event = row.get("event", "").casefold()
        found.setdefault(supply, []).append(
            _Row(line, moment, litres, f"{event} {row['unit']}" if event.startswith("rollover") else event, row["date"])
        )
    if not found and not wrong:
        wrong.append(Problem.of_text("has a header and no reading; two readings at least are needed", "reading"))
    return found


def _moment(text: str) -> dt.datetime | None:
    match = re.fullmatch(r"(\d{4}-\d{2}-\d{2})(?:[ T](\d{2}):(\d{2}))?", text)
    if match is None:
        return None
    try:
        day = dt.datetime.fromisoformat(match.group(1))
    except ValueError:
        return None
    hour, minute = int(match.group(2) or 0), int(match.group(3) or 0)
    if hour > _HOURS or minute > 59 or (hour == _HOURS and minute):
        return None
    return day + dt.timedelta(hours=hour, minutes=minute)


def _between(
    supply: str, rows: list[_Row], wrong: list[Problem], events: list[str], whole: bool
) -> tuple[Between, ...]:
    found: list[Between] = []
    before: _Row | None = None
    if len(rows) < 2 and whole:
        wrong.append(
            Problem.of_text(f"line {rows[0].line}: {supply} has one reading; two at least are needed", "reading")
        )
    for row in rows:
        at = f"line {row.line}"
        removed = before is not None and before.event == "removed"
        if row.event not in ("", "removed", "installed") and not row.event.startswith("rollover"):
            wrong.append(Problem.of_text(f'{at}: event "{row.event}" is not known; {_EVENTS}', "event", row.event))
        elif before is not None and (row.moment < before.moment or (row.moment == before.moment and not removed)):
            message = f"{at}: {row.shown} is not after the reading before it, {before.shown}; put them in order of time"
            wrong.append(Problem.of_text(message, "date", row.shown))
        elif row.event == "installed":
            if before is not None and not removed:
                message = f'{at}: a meter is installed, and the old one was not marked "removed" at its last reading'
                wrong.append(Problem.of_text(message, "event", row.event))
            events.append(f"{supply}: a meter was installed on {row.shown}")
        elif before is not None and removed:
            message = f'{at}: follows the reading of {before.shown}, "removed"; mark the new meter\'s first "installed"'
            wrong.append(Problem.of_text(message, "event", row.event))
        elif before is not None:
            counted = _counted(before, row, wrong)
            if counted is not None:
                found.append(Between(before.moment, row.moment, counted))
                if row.event.startswith("rollover"):
                    events.append(f"{supply}: the counter passed its last digit before {row.shown}, once")
        before = row
    return tuple(found)


def _counted(before: _Row, row: _Row, wrong: list[Problem]) -> float | None:
    """Litres between two readings of one meter, or None and a line that says why not."""
    at = f"line {row.line}"
    if not row.event.startswith("rollover"):
        if row.litres >= before.litres:
            return row.litres - before.litres
        message = (
            f"{at}: the reading of {row.shown} is below that of {before.shown}; if the counter passed its last digit, "
            'write in a column event where it begins again, such as "rollover at 10000"; if the meter was replaced, '
            'add the old one\'s last reading, marked "removed", and mark the new one\'s first "installed"'
        )
        wrong.append(Problem.of_text(message, "reading"))
        return None
    match = re.fullmatch(r"rollover at (\S+) (.+)", row.event)
    try:
        top = quantity(f"{match.group(1)} {match.group(2)}", "volume") if match else 0.0
    except UnitError:
        top = 0.0
    if not top > max(before.litres, row.litres):
        message = (
            f"{at}: a rollover needs the number at which the counter begins again, above the readings around it, in "
            'the row\'s unit, such as "rollover at 10000"'
        )
        wrong.append(Problem.of_text(message, "event", row.event))
        return None
    if row.litres >= before.litres:
        message = f"{at}: a rollover is named, and the reading of {row.shown} is not below that of {before.shown}"
        wrong.append(Problem.of_text(message, "event", row.event))
        return None
    return top - before.litres + row.litres


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
