"""
Field log: what somebody wrote down beside the pan, as a CSV file; read and checked, a line for each thing that is wrong.

One row a visit: ``date`` (with the time, or ``time`` beside it), and of the rest whatever was looked at: ``controller``,
``openings`` (counted since that controller's row before), ``opened`` (yes: the valve opened just then), ``level_mm``
(depth of the water, by ruler, valve shut), ``added_l`` (poured into the pan), ``meter_l`` (this valve's water meter),
``note``. In place of ``openings`` a ``counter`` that is never set back to zero will do. A level, an addition or a meter in
another unit says so in its header: "level (cm)", "meter [m3]". Empty means not looked at; zero means zero.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from pathlib import Path

from panbudget.errors import ReadingsError
from panbudget.physics.solar_time import solar_hour
from panbudget.scenario.garden import Scenario
from panbudget.studies.fit import problem
from panbudget.weather.text.rows import TypedRow, read_typed
from panbudget.words import count as counted

_READ = ("openings", "counter", "opened", "level_mm", "meter_l")
_KNOWN = ("date", "time", "controller", *_READ[:-1], "added_l", "meter_l", "tank_level", "note")
_SPOKEN = {"level": "level_mm", "added": "added_l", "meter": "meter_l", "notes": "note", "count": "openings"}
_SPOKEN |= {"datetime": "date", "timestamp": "date", "tank": "tank_level"}
# quantities: the column's name without its unit -> kind of unit, and what the column is called in ours
_QUANTITIES = {"level": ("mm", "level_mm"), "added": ("L", "added_l"), "meter": ("L", "meter_l")}
_NOON = dt.timedelta(hours=12)
_YES, _NO = ("yes", "y", "1"), ("no", "n", "0")
_LEAST_VISITS = 3
_MOST_OPENINGS = 10_000
_MOST_WRONG = 0.1  # share of the levels that may be impossible and are left out; more, and the unit is another
_TOTAL_ROWS, _TOTAL_TIMES = 8, 3.0  # rows, and last over median, from which counts that never fall are a running total

#: rows, each with its moment, and whether the time of day was written down
_Timed = list[tuple[dt.datetime, bool, TypedRow]]


@dataclass(frozen=True)
class Visit:
    """
    One row of the log.

    Parameters
    ----------
    line : int
    moment : datetime
        On the clock.
    hour : float
        Solar hours since the log's first day began. [h]
    openings : int or None
        Since the row before.
    opened : bool
        The valve opened just then; it is counted in ``openings``.
    level : float or None
        [mm above the floor]
    added : float
        [L]
    meter : float or None
        [L]
    note : str
    timed : bool
        The time of day was written down; else it counts as noon.
    """

    line: int
    moment: dt.datetime
    hour: float
    openings: int | None
    opened: bool
    level: float | None
    added: float
    meter: float | None
    note: str
    timed: bool = True


@dataclass(frozen=True)
class FieldLog:
    """
    A field log.

    Parameters
    ----------
    file, sha256 : str
    first, last : date
    visits : dict
        Controller -> its rows in order of time.
    assumptions : tuple of str
    """

    file: str
    sha256: str
    first: dt.date
    last: dt.date
    visits: dict[str, tuple[Visit, ...]]
    assumptions: tuple[str, ...]


def read_field_log(path: Path, scenario: Scenario, *, shown_as: str = "") -> FieldLog:
    """
    Read a field log.

    Parameters
    ----------
    path : Path
        CSV: comma, semicolon or tab; lines that begin with # are skipped.
    scenario : Scenario
        For its controllers, its pans' depths and its clock.
    shown_as : str
        How messages name the file.

    Returns
    -------
    FieldLog

    Raises
    ------
    ReadingsError
        All that is wrong with it, a line each.
    """
    shown = shown_as or str(path)
    log = read_typed(
        path,
        what="field log",
        shown=shown,
        example="date,openings,level_mm",
        known=_KNOWN,
        needed=("date",),
        spoken=_SPOKEN,
        units=_QUANTITIES,
    )
    wrong = log.problems
    if not any(name in log.header for name in _READ):
        wrong.append(problem("nothing-read", f"line {log.header_line}:", columns=", ".join(_READ)))
    rows: dict[str, _Timed] = {}
    timeless = 0
    for row in log.rows:
        controller, known = None, list(scenario.controller)
        if row["controller"] or len(known) == 1:
            controller = row.choice("controller", known, "the scenario", default=known[0])
        else:
            _wrong(row, "no-controller", known=", ".join(known))
        moment, has_time = row.moment()
        timeless += moment is not None and not has_time
        if controller is not None and moment is not None:
            rows.setdefault(controller, []).append((moment if has_time else moment + _NOON, has_time, row))
        else:  # a row that has no place yet: its other cells are looked at all the same
            _cells(row)
    assumed = [f"{timeless} rows of the log have no time of day and count as noon"] if timeless else []
    moments = [moment for part in rows.values() for moment, *_ in part]
    if not moments:
        raise ReadingsError(*(wrong or [problem("no-row")]), file=shown)
    first, last = min(moments).date(), max(moments).date()
    visits = {}
    for name, part in rows.items():
        visits[name] = _visits(name, part, first, scenario, assumed)
        if len(part) < _LEAST_VISITS:
            wrong.append(problem("few-visits", name, count=counted(len(part), "row"), least=_LEAST_VISITS))
    if any(row["tank_level"] for row in log.rows):
        assumed.append("the log's tank levels are kept in the file and not used")
    if wrong:
        raise ReadingsError(*wrong, file=shown)
    return FieldLog(shown, log.sha256, first, last, visits, tuple(assumed))


def _wrong(row: TypedRow, code: str, value: object = None, **values: object) -> None:
    row.problems.append(problem(code, f"line {row.line}:", value, **values))


def _visits(name: str, rows: _Timed, first: dt.date, scenario: Scenario, assumed: list[str]) -> tuple[Visit, ...]:
    depth, site = scenario.controller[name].pan.depth, scenario.site
    visits: list[Visit] = []
    levels = [row.value("level_mm") for *_, row in rows]
    few = 0 < sum(level > depth for level in levels) <= _MOST_WRONG * sum(map(math.isfinite, levels))
    _total(rows)
    counter: float | None = None
    for moment, timed, row in rows:
        if visits and moment < visits[-1].moment:
            _wrong(row, "out-of-order", moment=moment)
        count, stands, level, added, meter = _cells(row)
        if stands is not None and count is None and counter is not None:
            count = _risen(row, stands, counter, assumed)
        counter = stands  # a row without it leaves what lies between the next one and the last unknown
        if level is not None and level > depth:
            too_deep = problem("too-deep", f"line {row.line}:", level, level=level, depth=depth)
            if few:
                assumed.append(f"{too_deep.where} {too_deep.found}, and is left out")
                level = None
            else:
                row.problems.append(too_deep)
        hour = solar_hour(moment.date(), f"{moment:%H:%M}", site.longitude, site.timezone)
        visits.append(
            Visit(
                line=row.line,
                moment=moment,
                hour=(moment.date() - first).days * 24.0 + hour,
                openings=None if count is None else int(count),
                opened=row["opened"].casefold() in _YES,
                level=level,
                added=added or 0.0,
                meter=meter,
                note=row["note"],
                timed=timed,
            )
        )
    return tuple(visits)


def _cells(row: TypedRow) -> tuple[float | None, ...]:
    """Read a row's openings, counter, level [mm], water added and meter [L], and refuse what can't be."""
    opened = row["opened"].casefold()
    if opened not in ("", *_YES, *_NO):
        _wrong(row, "no-answer", opened, opened=opened)
    numbers = (row.number(name) for name in ("level_mm", "added_l", "meter_l"))
    return _count(row, "openings"), _count(row, "counter"), *numbers


def _count(row: TypedRow, name: str) -> float | None:
    """Read a whole number of openings."""
    value = row.number(name)
    if value is not None and (value != int(value) or (name == "openings" and value > _MOST_OPENINGS)):
        _wrong(row, f"no-count.{name}", value, count=value)
        return None
    return value


def _risen(row: TypedRow, stands: float, before: float, assumed: list[str]) -> float | None:
    """Openings since the row before, by a counter that is never set back."""
    if stands < before:
        lower = "the counter stands lower than in the row above it: openings between not known"
        assumed.append(f"line {row.line}: {lower}")
    elif stands - before > _MOST_OPENINGS:
        _wrong(row, "counter-leaps", stands, counter=stands, more=stands - before)
    else:
        return stands - before
    return None


def _total(rows: _Timed) -> None:
    """Tell counts that only ever grow: they are a running total, not since the row before."""
    counted = [row for *_, row in rows if math.isfinite(row.value("openings"))]
    counts = [row.value("openings") for row in counted]
    if len(counts) < _TOTAL_ROWS or counts != sorted(counts):
        return
    if counts[-1] >= _TOTAL_ROWS and counts[-1] > _TOTAL_TIMES * max(counts[1], 1.0):
        _wrong(counted[-1], "running-total", counts[-1], count=counts[-1])
