"""
Meter: a file of readings into litres between readings, and those into the season's days.

One row a reading: ``date, reading, unit``, and where wanted ``supply``, ``event``, ``note``. A counter that goes down
is never guessed at: the row says "rollover at 10000" (it passed its last digit and began again), or the old meter's
last row says "removed" and the new one's first "installed". Nor is one believed that no open valves could have passed:
`typos` finds the row that is wrong. All that is wrong comes out at once, a line each.
"""

import contextlib
import datetime as dt
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from panbudget.errors import ReadingsError
from panbudget.numeric import Floats
from panbudget.scenario.rights import Meter
from panbudget.studies.common import problem, read_data
from panbudget.studies.statement.typos import Suspect, suspect
from panbudget.units import UnitError, quantity
from panbudget.weather.text.rows import TypedRow, read_typed
from panbudget.words import litres as litres_said

_NEEDED = ("date", "reading", "unit")
_MISTAKES = read_data("statement/meter")
_EVENTS = ("", "removed", "installed", "rollover")
_MOST_APART = 1830  # days between readings of one meter: five years
_MOST_READINGS = 10_000  # of a file: one a day for 27 years
_MOST_TYPOS = 20  # of one meter, whose cures are looked for; the rest comes up when these are mended


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
class Reading:
    """
    One row of a file of readings.

    Parameters
    ----------
    row : TypedRow
    moment : datetime
    timed : bool
        Whether its time of day is given.
    litres : float
        What the counter stands for, its multiplier in it. [L]
    event : str
        "removed", "installed", "rollover" or empty.
    top : float
        Where a counter that rolled over begins again, else 0. [L]
    multiplier : float
        Of the meter. [-]
    """

    row: TypedRow
    moment: dt.datetime
    timed: bool
    litres: float
    event: str
    top: float
    multiplier: float

    @property
    def shown(self) -> str:
        """Its date, as the file has it."""
        return self.row["date"]

    @property
    def number(self) -> str:
        """Its number, with a decimal point."""
        return self.row["reading"].replace(",", ".")

    @property
    def unit(self) -> str:
        """Its unit, as the file has it."""
        return self.row["unit"]

    @property
    def text(self) -> str:
        """What the counter shows."""
        return f"{self.number} {self.unit}"


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
    taken : dict
        Supply -> its readings, in order of time.
    """

    file: str
    sha256: str
    by_supply: dict[str, tuple[Between, ...]]
    events: tuple[str, ...]
    taken: dict[str, tuple[Reading, ...]] = field(default_factory=dict)


def read_readings(
    path: Path,
    supplies: Sequence[str],
    *,
    default: str | None = None,
    shown_as: str = "",
    meters: Mapping[str, Meter | None] | None = None,
    most: Mapping[str, float] | None = None,
) -> Readings:
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
    meters : mapping of Meter, optional
        Supply -> its meter, whose multiplier counts.
    most : mapping of float, optional
        Supply -> what all that draws on it passes while it is open; without it nothing is too much. [L/h]

    Returns
    -------
    Readings

    Raises
    ------
    ReadingsError
        The file can't be read; a date, number or unit that is none; readings out of order; a counter that goes down
        without a word, or counts more than its valves could have passed; all of it, a line each.
    """
    shown = shown_as or str(path)
    known = (*_NEEDED, "supply", "event", "note")
    typed = read_typed(
        path,
        what="file of meter readings",
        shown=shown,
        example="date,reading,unit",
        known=known,
        needed=_NEEDED,
        most=_MOST_READINGS,
    )
    if default is None and len(supplies) == 1:
        default = supplies[0]
    if "supply" not in typed.header and default is None:
        raise ReadingsError(problem("no-supply", several=", ".join(supplies)), file=shown)
    by_supply: dict[str, list[Reading]] = {}
    for row in typed.rows:
        supply = row.choice("supply", supplies, "the scenario", default or "")
        meter = (meters or {}).get(supply or "")
        reading = _reading(row, meter.multiplier if meter else 1.0)
        if supply is not None and reading is not None:
            by_supply.setdefault(supply, []).append(reading)
    if not typed.problems and not by_supply:
        raise ReadingsError(problem("no-readings"), file=shown)
    # of rows that could not be read, none is missed a second time
    for supply, readings in () if typed.problems else by_supply.items():
        if len(readings) < 2:
            readings[0].row.wrong("one-reading", f"{supply} has one reading", expected="two at least")
    events: list[str] = []
    between = {}
    for supply, readings in by_supply.items():
        meter = (meters or {}).get(supply) or Meter()
        limit = (most or {}).get(supply, 0.0) * (1.0 + meter.accuracy) or math.inf
        between[supply] = tuple(_between(supply, readings, events, limit))
    if typed.problems:
        raise ReadingsError(*typed.problems, file=shown)
    return Readings(shown, typed.sha256, between, tuple(events), {key: tuple(part) for key, part in by_supply.items()})


def _reading(row: TypedRow, multiplier: float) -> Reading | None:
    moment, timed = row.moment()
    if moment is None:
        return None
    text = f"{row['reading']} {row['unit']}"
    try:
        volume = quantity(text, "volume") * multiplier
    except UnitError as error:
        row.wrong("no-volume", f'reading "{text}" {error}', value=text)
        return None
    if volume < 0.0:
        row.wrong("below-zero", f"reading {row['reading']} is below zero", expected="a counter's number", value=text)
        return None
    event, top = row["event"].casefold(), 0.0
    if event.startswith("rollover"):
        match = re.fullmatch(r"rollover at (\S+)", event)
        event = "rollover"
        with contextlib.suppress(UnitError):  # no number at which it begins again
            top = quantity(f"{match[1]} {row['unit']}", "volume") * multiplier if match else 0.0
    return Reading(row, moment, timed, volume, event, top, multiplier)


def _between(supply: str, readings: Sequence[Reading], events: list[str], limit: float) -> Iterator[Between]:
    """Walk over one supply's readings; what can't be true is noted at its row. The limit is in L/h."""
    sound, typos = list[Reading](), 0
    for at, reading in enumerate(readings):
        before = sound[-1] if sound else None
        code = _mistake(before, reading, limit)
        if before is not None and code in ("counter-down", "too-much"):
            doubt = suspect([*sound, *readings[at:]], len(sound), lambda a, b: _mistake(a, b, limit) is None)
            _note_typo(code, before, reading, doubt, limit)
            typos += 1
            if typos == _MOST_TYPOS or (doubt.cures and doubt.cures[0][0] == "units"):
                return  # nor is any other row
            if doubt.wrong == "before":
                sound.pop()
            elif not doubt.goes_on:
                continue
        elif code is not None:
            facts = {"event": reading.event, "shown": reading.shown, "before": before.shown if before else ""}
            found, cure = (_MISTAKES[code][part].format(**facts) for part in ("found", "cure"))
            reading.row.wrong(code, found, cure=cure, value=reading.event or reading.shown)
        elif reading.event == "installed":
            events.append(f"{supply}: a meter was installed on {reading.shown}")
        elif before is not None:
            yield Between(before.moment, reading.moment, _passed(before, reading))
            if reading.event == "rollover":
                events.append(f"{supply}: the counter passed its last digit before {reading.shown}, once")
        sound.append(reading)


def _note_typo(code: str, before: Reading, reading: Reading, doubt: Suspect, limit: float) -> None:
    """Note a step that can't be at the row that is wrong, likelier cures first."""
    wrong, other = (before, reading) if doubt.wrong == "before" else (reading, before)
    words = _MISTAKES[code]
    facts = {
        **{"shown": wrong.shown, "before": other.shown, "passed": litres_said(_passed(before, reading))},
        "most": litres_said(limit * _hours(before, reading)) if limit < math.inf else "",
    }
    cures = [_MISTAKES["cures"][kind].format(text=text, **facts) for kind, text in doubt.cures]
    found = words["found_before" if doubt.wrong == "before" else "found"].format(**facts)
    wrong.row.wrong(code, found, cure="; ".join([*cures, words["cure"]]), value=wrong.shown)


def _passed(before: Reading, reading: Reading) -> float:
    """What the counter counted from one reading to the next. [L]"""
    return reading.top - before.litres + reading.litres


def _hours(before: Reading, reading: Reading) -> float:
    """The time between two readings; a day more where a time of day is not given."""
    hours = (reading.moment - before.moment).total_seconds() / 3600.0
    return hours if before.timed and reading.timed else hours + 24.0


def _mistake(before: Reading | None, reading: Reading, limit: float) -> str | None:
    """What can't be true of a reading after the one before it, by its code; the first of several."""
    event = reading.event
    if event not in _EVENTS:
        return "unknown-event"
    rollover = event == "rollover"
    if before is None:
        return "no-rollover-number" if rollover and not reading.top > reading.litres else None
    removed = before.event == "removed"
    up = reading.litres >= before.litres
    mistakes = {
        "out-of-order": reading.moment < before.moment,
        "at-once": reading.moment == before.moment and not removed,
        "far-apart": not removed and (reading.moment - before.moment).days > _MOST_APART,
        "no-removal": event == "installed" and not removed,
        "no-installation": removed and event != "installed",
        "counter-down": event in ("", "removed") and not up,
        "no-rollover-number": rollover and not reading.top > max(before.litres, reading.litres),
        "no-rollover": rollover and up,
        "too-much": event != "installed" and _passed(before, reading) > limit * _hours(before, reading),
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
