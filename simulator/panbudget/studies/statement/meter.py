"""
Meter: a file of readings into litres between readings, and those into the season's days.

One row a reading: ``date, reading, unit``, the unit in each row or in the header (``reading (gal)``), and where wanted
``supply``, ``event``, ``note``. A counter that goes down is never guessed at: the row says "rollover at 10000" (it passed its
last digit and began again), or the old meter's last row says "removed" and the new one's first "installed". Nor is one believed
that no open valves could have passed: a step between readings is possible where the counter does not go down and passes no more
than all open valves do day and night. All that is wrong comes out at once, a line each.

Of the two at a step that is not possible, the wrong one is that without which its neighbours fit; where either will do, that
without which the meter runs more evenly. All rules are common practice, no source.
"""

import contextlib
import datetime as dt
import itertools
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from panbudget.errors import ReadingsError
from panbudget.numeric import Floats
from panbudget.scenario.rights import Meter
from panbudget.studies.common import problem
from panbudget.units import UnitError, quantity
from panbudget.weather.text.rows import TypedRow, read_typed
from panbudget.words import litres as litres_said
from panbudget.words import packaged

_NEEDED = ("date", "reading", "unit")
_MISTAKES = packaged("studies/statement/meter.toml")
_EVENTS = ("", "removed", "installed", "rollover")
_MOST_APART = 1830  # days between readings of one meter: five years
_MOST_READINGS = 10_000  # of a file: one a day for 27 years
_MOST_TYPOS = 20  # of one meter, whose cures are looked for; the rest comes up when these are mended
_UNITS = ("L", "gal", "ft3", "m3", "HCF", "ML", "AF")
_FEWEST = 1000.0  # counters have three digits at least
_NEARLY_ROUND = 0.9  # of its last number: a counter that is beyond it may have begun again


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


@dataclass(frozen=True)
class _Suspect:
    """
    A step that can't be.

    Parameters
    ----------
    wrong : {"before", "current"}
        Which reading of the two.
    cures : tuple of (str, str)
        What would put it right, likelier first: "digit", "unit", "units" (of all), "swapped" or "rollover", and the text that it should be.

    goes_on : bool
        Whether what follows goes on from the second: its counter has begun again, or is another.
    """

    wrong: str
    cures: tuple[tuple[str, str], ...]
    goes_on: bool = False


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
        units={"reading": ("", "reading")},
        most=_MOST_READINGS,
    )
    if default is None and len(supplies) == 1:
        default = supplies[0]
    if "supply" not in typed.header and default is None:
        raise ReadingsError(problem("no-supply", several=", ".join(supplies)), file=shown)
    by_supply: dict[str, list[Reading]] = {}
    unit = typed.units.get("reading", "")
    for row in typed.rows:
        if unit and row["unit"] not in ("", unit):
            row.wrong("two-units", f"unit {row['unit']}, and the header says {unit}", cure="leave one of them out")
        row.cells["unit"] = row["unit"] or unit
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
    text = f"{row['reading']} {row['unit']}".lstrip()
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
            doubt = _suspect([*sound, *readings[at:]], len(sound), lambda a, b: _mistake(a, b, limit) is None)
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
        elif before is None and reading.event == "rollover":
            events.append(f"{supply}: a rollover before the first reading, {reading.shown}, counts for nothing")
        elif before is not None:
            yield Between(before.moment, reading.moment, _passed(before, reading))
            if reading.event == "rollover":
                events.append(f"{supply}: the counter passed its last digit before {reading.shown}, once")
        sound.append(reading)


def _note_typo(code: str, before: Reading, reading: Reading, doubt: _Suspect, limit: float) -> None:
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


def _suspect(readings: Sequence[Reading], at: int, possible: Callable[[Reading, Reading], bool]) -> _Suspect:
    """
    Find the wrong one of two readings.

    Parameters
    ----------
    readings : sequence of Reading
        Of one meter, in order of time; those before the step are sound.
    at : int
        Place of the second.
    possible : callable
        Whether one may follow another.
    """

    def chain(*parts: Reading | None) -> bool:
        return all(possible(a, b) for a, b in itertools.pairwise([part for part in parts if part is not None]))

    earlier, after = (readings[i] if 0 <= i < len(readings) else None for i in (at - 2, at + 1))
    before, current = readings[at - 1], readings[at]
    if (top := _begun_again(before, current, possible)) and chain(current, after):
        return _Suspect("current", (("rollover", top),), goes_on=True)
    units = [reading.unit for reading in (earlier, before, current, after) if reading is not None]
    of_before = tuple(_cures(before, units, lambda mended: chain(earlier, mended, current, after)))
    swapped = replace(before, litres=current.litres), replace(current, litres=before.litres)
    if current.litres < before.litres and chain(earlier, *swapped, after):
        mended = [_as_written(before, text) for kind, text in of_before if kind == "digit" and earlier is not None]
        if not any(_unevenness(earlier, other, current) < _unevenness(earlier, *swapped) for other in mended):
            return _Suspect("current", (("swapped", ""),))
    of_current = tuple(_cures(current, units, lambda mended: chain(earlier, before, mended, after)))
    without_before, without_current = chain(earlier, current, after), chain(earlier, before, after)
    if earlier is None and not any(
        kind == "digit" or units.count(before.unit) == 1 < len(units) for kind, _ in of_before
    ):
        without_before = False  # that nothing comes before it says nothing against it
    if without_before and without_current:
        if earlier is not None and after is not None:
            without_current = _unevenness(earlier, before, after) <= _unevenness(earlier, current, after)
        else:  # nothing tells: a digit too many, of two readings that came to hand, is the smaller claim
            without_current = not any(kind == "digit" and len(text) < len(before.text) for kind, text in of_before)
    if not of_before and not of_current and (unit := _unit_of_all(readings, possible)):
        return _Suspect("current", (("units", unit),))
    if without_before and not without_current:
        return _Suspect("before", of_before)
    return _Suspect("current", of_current, goes_on=not without_current and chain(current, after))


def _unit_of_all(readings: Sequence[Reading], possible: Callable[[Reading, Reading], bool]) -> str:
    """In which unit all readings could follow each other; empty where in none."""
    for unit in _UNITS:
        with contextlib.suppress(UnitError):  # more than any garden has
            other = (_as_written(reading, f"{reading.number} {unit}") for reading in readings)
            if all(possible(a, b) for a, b in itertools.pairwise(other)):
                return unit
    return ""


def _begun_again(before: Reading, current: Reading, possible: Callable[[Reading, Reading], bool]) -> str:
    """At which number a counter would have begun again between two readings; empty where it hardly has."""
    number = float(before.number)
    top = 10.0 ** len(before.number.split(".")[0])
    if current.litres >= before.litres or top < _FEWEST or number < _NEARLY_ROUND * top:
        return ""
    rolled = replace(current, event="rollover", top=before.litres * top / number)
    return f"{top:.0f}" if possible(before, rolled) else ""


def _unevenness(*readings: Reading | None) -> float:
    """By what factor a meter runs faster between two of three readings, as a logarithm."""
    pairs = itertools.pairwise([reading for reading in readings if reading is not None])
    rates = [(b.litres - a.litres) / max((b.moment - a.moment).total_seconds(), 1.0) for a, b in pairs]
    return abs(math.log(max(rates[0], 1e-12) / max(rates[1], 1e-12)))


def _cures(reading: Reading, units: Sequence[str], fits: Callable[[Reading], bool]) -> Iterator[tuple[str, str]]:
    """What would put a reading right: the first digit that would, and the first unit, which is likelier if it is alone."""
    others = [unit for unit in dict.fromkeys((*units, *_UNITS)) if unit != reading.unit]
    numbers = [number for number in _other_numbers(reading.number) if not re.match("0[0-9]", number)]
    tries = {"digit": [f"{number} {reading.unit}" for number in numbers]}
    tries["unit"] = [f"{reading.number} {unit}" for unit in others]
    for kind in sorted(tries, reverse=units.count(reading.unit) == 1 < len(units)):
        for text in tries[kind]:
            with contextlib.suppress(UnitError):
                mended = _as_written(reading, text)
                if mended.litres != reading.litres and fits(mended):
                    yield kind, text
                    break


def _as_written(reading: Reading, text: str) -> Reading:
    return replace(reading, litres=quantity(text, "volume") * reading.multiplier)


def _other_numbers(number: str) -> Iterator[str]:
    """A number with a digit less, from its end; with a zero more; with two digits swapped; with another digit."""
    digits = [index for index, letter in enumerate(number) if letter.isdigit()]
    for index in reversed(digits):
        yield number[:index] + number[index + 1 :]
    if "." not in number:
        yield number + "0"
    for a, b in itertools.pairwise(digits):
        yield number[:a] + number[b] + number[a + 1 : b] + number[a] + number[b + 1 :]
    for index in reversed(digits):
        for digit in "0123456789":
            yield number[:index] + digit + number[index + 1 :]


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
