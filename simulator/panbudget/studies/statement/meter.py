"""
Meter: a file of readings into litres between readings, and those into the season's days.

One row a reading: ``date, reading, unit``, and where wanted ``supply``, ``event``, ``note``. A counter that goes down
is never guessed at: the row says "rollover at 10000" (it passed its last digit and began again), or the old meter's
last row says "removed" and the new one's first "installed". All that is wrong comes out at once, a line each.
"""

import contextlib
import datetime as dt
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from panbudget.errors import Problem, ReadingsError
from panbudget.numeric import Floats
from panbudget.studies.common import read_data
from panbudget.units import UnitError, quantity
from panbudget.weather.text.rows import TypedRow, read_typed

_NEEDED = ("date", "reading", "unit")
_MISTAKES = read_data("statement/meter")
_EVENTS = ("", "removed", "installed", "rollover")


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
    """One row; ``top`` is where a counter that rolled over begins again, else 0. [L]"""

    row: TypedRow
    moment: dt.datetime
    litres: float
    event: str
    top: float

    @property
    def shown(self) -> str:
        return self.row["date"]


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
    known = (*_NEEDED, "supply", "event", "note")
    typed = read_typed(
        path, what="file of meter readings", shown=shown, example="date,reading,unit", known=known, needed=_NEEDED
    )
    if default is None and len(supplies) == 1:
        default = supplies[0]
    if "supply" not in typed.header and default is None:
        several = f"needs a column supply, since the scenario has several: {', '.join(supplies)}"
        raise ReadingsError(Problem("no-supply", "", several, "", "add it, with a supply on each row"), file=shown)
    by_supply: dict[str, list[_Reading]] = {}
    for row in typed.rows:
        supply, reading = row.choice("supply", supplies, "the scenario", default or ""), _reading(row)
        if supply is not None and reading is not None:
            by_supply.setdefault(supply, []).append(reading)
    if not typed.problems and not by_supply:
        few = Problem("no-readings", "", "has a header and no reading", "two readings at least")
        raise ReadingsError(few, file=shown)
    # of rows that could not be read, none is missed a second time
    for supply, readings in () if typed.problems else by_supply.items():
        if len(readings) < 2:
            readings[0].row.wrong("one-reading", f"{supply} has one reading", expected="two at least")
    events: list[str] = []
    between = {supply: tuple(_between(supply, readings, events)) for supply, readings in by_supply.items()}
    if typed.problems:
        raise ReadingsError(*typed.problems, file=shown)
    return Readings(shown, typed.sha256, between, tuple(events))


def _reading(row: TypedRow) -> _Reading | None:
    moment, _ = row.moment()
    if moment is None:
        return None
    text = f"{row['reading']} {row['unit']}"
    try:
        litres = quantity(text, "volume")
    except UnitError as error:
        row.wrong("no-volume", f'reading "{text}" {error}', value=text)
        return None
    if litres < 0.0:
        row.wrong("below-zero", f"reading {row['reading']} is below zero", expected="a counter's number", value=text)
        return None
    event, top = row["event"].casefold(), 0.0
    if event.startswith("rollover"):
        match = re.fullmatch(r"rollover at (\S+)", event)
        event = "rollover"
        with contextlib.suppress(UnitError):  # no number at which it begins again
            top = quantity(f"{match[1]} {row['unit']}", "volume") if match else 0.0
    return _Reading(row, moment, litres, event, top)


def _between(supply: str, readings: Sequence[_Reading], events: list[str]) -> Iterator[Between]:
    """Walk over one supply's readings; what can't be true is noted at its row."""
    before: _Reading | None = None
    for reading in readings:
        code = _mistake(before, reading)
        if code is not None:
            facts = {"event": reading.event, "shown": reading.shown, "before": before.shown if before else ""}
            found, cure = (_MISTAKES[code][part].format(**facts) for part in ("found", "cure"))
            reading.row.wrong(code, found, cure=cure, value=reading.event or reading.shown)
        elif reading.event == "installed":
            events.append(f"{supply}: a meter was installed on {reading.shown}")
        elif before is not None:
            yield Between(before.moment, reading.moment, reading.top - before.litres + reading.litres)
            if reading.event == "rollover":
                events.append(f"{supply}: the counter passed its last digit before {reading.shown}, once")
        before = reading


def _mistake(before: _Reading | None, reading: _Reading) -> str | None:
    """What can't be true of a reading after the one before it, by its code; the first of several."""
    event = reading.event
    if event not in _EVENTS:
        return "unknown-event"
    if before is None:
        return None
    removed, rollover = before.event == "removed", event == "rollover"
    up = reading.litres >= before.litres
    mistakes = {
        "out-of-order": reading.moment < before.moment or (reading.moment == before.moment and not removed),
        "no-removal": event == "installed" and not removed,
        "no-installation": removed and event != "installed",
        "counter-down": event in ("", "removed") and not up,
        "no-rollover-number": rollover and not reading.top > max(before.litres, reading.litres),
        "no-rollover": rollover and up,
    }
    return next((code for code, wrong in mistakes.items() if wrong), None)


def months_of(stretch: Between) -> list[str]:
    """Return the months, such as "2025-05", in which a stretch between two readings lies."""
    last = stretch.end - dt.timedelta(microseconds=1)
    return [str(month) for month in pd.period_range(stretch.start, last, freq="M")]


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
    litres, covered, split = np.zeros(len(modelled)), np.zeros(len(modelled)), 0
    origin, days = dt.datetime.combine(first, dt.time()), np.arange(len(modelled))
    for stretch in between:
        start, end = ((moment - origin).total_seconds() / 86400.0 for moment in (stretch.start, stretch.end))
        part = np.clip(np.minimum(days + 1.0, end) - np.maximum(days, start), 0.0, 1.0)
        if not part.any():
            continue
        weights, inside = part * modelled, start >= 0.0 and end <= len(modelled)
        as_modelled = inside and weights.sum() > 0.0
        litres += stretch.litres * (weights / weights.sum() if as_modelled else part / (end - start))
        covered += part
        split += len(months_of(stretch)) > 1
    return litres, covered, split
