"""
Field log: what somebody wrote down beside the pan, as a CSV file; read and checked, a line for each thing that is wrong.

One row a visit: ``date`` (with the time, or ``time`` beside it), and of the rest whatever was looked at: ``controller``,
``openings`` (counted since that controller's row before), ``opened`` (yes: the valve opened just then), ``level_mm``
(depth of the water, by ruler, valve shut), ``added_l`` (poured into the pan), ``meter_l`` (this valve's water meter),
``note``. In place of ``openings`` a ``counter`` that is never set back to zero will do. A level, an addition or a meter in
another unit says so in its header: "level (cm)", "meter [m3]". Empty means not looked at; zero means zero.
"""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import math
import re
from dataclasses import dataclass
from pathlib import Path

from panbudget.errors import Problem, ReadingsError
from panbudget.files import read_hand_kept
from panbudget.physics.solar_time import solar_hour
from panbudget.scenario.garden import Scenario
from panbudget.scenario.problems import nearest
from panbudget.units import UnitError, column_conversion

__all__ = ["FieldLog", "Visit", "read_field_log"]

_KNOWN = (
    "date",
    "time",
    "controller",
    "openings",
    "counter",
    "opened",
    "level_mm",
    "added_l",
    "meter_l",
    "tank_level",
    "note",
)
_SPOKEN = {"level": "level_mm", "added": "added_l", "meter": "meter_l", "notes": "note", "count": "openings"}
_SPOKEN |= {"datetime": "date", "timestamp": "date", "tank": "tank_level"}
_READ = ("openings", "counter", "opened", "level_mm", "meter_l")
# quantities: the column's name without its unit -> kind of unit, and what the column is called in ours
_QUANTITIES = {"level": ("mm", "level_mm"), "added": ("L", "added_l"), "meter": ("L", "meter_l")}
_NOON = "12:00"
_LEAST_VISITS = 3
_MOST_OPENINGS = 10_000
_MOST_WRONG = 0.1  # share of the levels that may be impossible and are left out; more, and the unit is another
_TOTAL_ROWS, _TOTAL_TIMES = 8, 3.0  # rows, and last over median, from which counts that never fall are a running total


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
    content, text = read_hand_kept(path, "field log", shown)
    wrong: list[Problem] = []
    rows = _rows(text, wrong, shown)
    said: list[str] = []
    found: dict[str, list[tuple[dt.datetime, bool, int, dict[str, str]]]] = {}
    timeless = 0
    for line, row in rows:
        controller = _controller(row.get("controller", ""), scenario, line, wrong)
        moment, has_time = _moment(row, line, wrong)
        timeless += moment is not None and not has_time
        if controller is not None and moment is not None:
            found.setdefault(controller, []).append((moment, has_time, line, row))
    if timeless:
        said.append(f"{timeless} rows of the log have no time of day and count as noon")
    moments = [moment for part in found.values() for moment, *_ in part]
    if not moments:
        wrong = wrong or [Problem.of_text("has a header and no row; three visits at least are needed", "date")]
        raise ReadingsError(*wrong, file=shown)
    first, last = min(moments).date(), max(moments).date()
    visits = {name: _visits(name, part, first, scenario, wrong, said) for name, part in found.items()}
    if any(row.get("tank_level") for _, row in rows):
        said.append("the log's tank levels are kept in the file and not used")
    if wrong:
        raise ReadingsError(*wrong, file=shown)
    return FieldLog(shown, hashlib.sha256(content).hexdigest(), first, last, visits, tuple(said))


def _rows(text: str, wrong: list[Problem], shown: str) -> list[tuple[int, dict[str, str]]]:
    lines = [(i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    if not lines:
        raise ReadingsError(
            "is empty; a header such as date,openings,level_mm and a row a visit are expected", file=shown
        )
    head = lines[0][1]
    mark = max(",;\t", key=head.count)
    names = [cell.strip().casefold() for cell in next(csv.reader([head], delimiter=mark))]
    factors: dict[str, float] = {}
    names = [_named(name, factors, lines[0][0], wrong) for name in names]
    if "date" not in names:
        raise ReadingsError(
            Problem.of_text(
                f"line {lines[0][0]}: the header has no column date; known are {', '.join(_KNOWN)}", "date"
            ),
            file=shown,
        )
    for name in names:
        if name not in _KNOWN:
            near = nearest(name, _KNOWN)
            hint = f'; did you mean "{near}"?' if near else f"; known are {', '.join(_KNOWN)}"
            wrong.append(Problem.of_text(f'line {lines[0][0]}: "{name}" is no known column{hint}', name, name))
        elif names.count(name) > 1:
            wrong.append(Problem.of_text(f'line {lines[0][0]}: the column "{name}" stands twice; keep one', name, name))
    if not any(name in names for name in _READ):
        message = f"line {lines[0][0]}: nothing to go by; one at least of {', '.join(_READ)} is needed"
        wrong.append(Problem.of_text(message, "openings"))
    found = []
    for line, raw in lines[1:]:
        cells = [cell.strip() for cell in next(csv.reader([raw], delimiter=mark))]
        if len(cells) != len(names):
            hint = "; a note with the separating mark in it goes in quotes" if len(cells) > len(names) else ""
            message = f"line {line}: has {len(cells)} cells where the header has {len(names)}{hint}"
            wrong.append(Problem.of_text(message, str(line)))
            continue
        row = dict(zip(names, cells, strict=True))
        for name, factor in factors.items():
            row[name] = _turned(row[name], factor)
        found.append((line, row))
    return found


def _named(header: str, factors: dict[str, float], line: int, wrong: list[Problem]) -> str:
    """Return a column's own name; a unit that its header names becomes a factor."""
    match = re.fullmatch(r"(.+?)\s*[\[(]\s*(.+?)\s*[\])]", header) or re.fullmatch(r"(level|added|meter)_(.+)", header)
    if match is None or header in _KNOWN:
        return _SPOKEN.get(header, header)
    stem, unit = match.group(1).removesuffix("_mm").removesuffix("_l"), match.group(2)
    if stem not in _QUANTITIES:
        return header
    target, name = _QUANTITIES[stem]
    try:
        factor, _ = column_conversion({"l": "L", "ml": "mL", "m3": "m^3", "m³": "m^3"}.get(unit, unit), target)
    except UnitError as error:
        wrong.append(Problem.of_text(f"line {line}: column {header}: {error}", header, unit))
        return name
    if factor != 1.0:
        factors[name] = factor
    return name


def _turned(text: str, factor: float) -> str:
    try:
        return repr(float(text.replace(",", ".")) * factor)
    except ValueError:
        return text  # told where it is read


def _controller(named: str, scenario: Scenario, line: int, wrong: list[Problem]) -> str | None:
    known = list(scenario.controller)
    if named in known:
        return named
    if not named and len(known) == 1:
        return known[0]
    if not named:
        message = f"line {line}: names no controller, and the scenario has several: {', '.join(known)}"
    else:
        near = nearest(named, known)
        hint = f'; did you mean "{near}"?' if near else f"; known are {', '.join(known)}"
        message = f'line {line}: controller "{named}" is not in the scenario{hint}'
    wrong.append(Problem.of_text(message, "controller", named))
    return None


def _moment(row: dict[str, str], line: int, wrong: list[Problem]) -> tuple[dt.datetime | None, bool]:
    text = f"{row['date']} {row.get('time', '')}".strip()
    text = re.sub(r"^(\d{1,2})\.(\d{1,2})\.(\d{4})", r"\3-\2-\1", text).replace("/", "-")  # 1.6.2025; 2025/06/01
    text = re.sub(r"^(\d{4})-(\d)(?=-)", r"\1-0\2", text)
    text = re.sub(r"^(\d{4}-\d{2})-(\d)(?=\D|$)", r"\1-0\2", text)
    match = re.fullmatch(r"(\d{4}-\d{2}-\d{2})(?:[ T]+(\d{1,2}:\d{2})(?::\d{2})?)?", text)
    try:
        if match is None:
            raise ValueError
        return dt.datetime.strptime(f"{match.group(1)} {match.group(2) or _NOON}", "%Y-%m-%d %H:%M"), bool(
            match.group(2)
        )
    except ValueError:
        message = f'line {line}: date "{text}" is no date such as 2025-06-01 or 2025-06-01 18:30'
        wrong.append(Problem.of_text(message, "date", text))
        return None, False


def _visits(
    name: str,
    rows: list[tuple[dt.datetime, bool, int, dict[str, str]]],
    first: dt.date,
    scenario: Scenario,
    wrong: list[Problem],
    said: list[str],
) -> tuple[Visit, ...]:
    depth = scenario.controller[name].pan.depth
    site = scenario.site
    found: list[Visit] = []
    levels = [_plain(row.get("level_mm", "")) for _, _, _, row in rows]
    high = sum(level > depth for level in levels)
    few = 0 < high <= _MOST_WRONG * sum(math.isfinite(level) for level in levels)
    _total(rows, wrong)
    counter: float | None = None
    for moment, timed, line, row in rows:
        if found and moment < found[-1].moment:
            message = f"line {line}: {moment:%Y-%m-%d %H:%M} is before the row above it; put the log in order of time"
            wrong.append(Problem.of_text(message, "date"))
        count = _number(row, "openings", line, wrong)
        if count is not None and (count != int(count) or count > _MOST_OPENINGS):
            wrong.append(Problem.of_text(f"line {line}: openings = {count:g} is no count", "openings", count))
            count = None
        stands = _number(row, "counter", line, wrong)
        if stands is not None:
            if stands != int(stands):
                wrong.append(
                    Problem.of_text(f"line {line}: counter = {stands:g} is no whole number", "counter", stands)
                )
                stands = None
            elif count is None and counter is not None and stands < counter:
                said.append(
                    f"line {line}: the counter stands lower than in the row above it: openings between not known"
                )
            elif count is None and counter is not None and stands - counter > _MOST_OPENINGS:
                message = f"line {line}: counter = {stands:g} is {stands - counter:g} more than in the row above it"
                wrong.append(Problem.of_text(f"{message}; mend the row, or leave it empty", "counter", stands))
            elif count is None and counter is not None:
                count = stands - counter
        counter = stands  # a row without it leaves what lies between the next one and the last unknown
        level = _number(row, "level_mm", line, wrong)
        if level is not None and level > depth and few:
            said.append(
                f"line {line}: level_mm = {level:g} is more than the pan's depth, {depth:g} mm, and is left out"
            )
            level = None
        elif level is not None and level > depth:
            message = f"line {line}: level_mm = {level:g} is more than the pan's depth, {depth:g} mm; it is the water's depth in mm"
            wrong.append(Problem.of_text(message, "level_mm", level))
        opened = row.get("opened", "").casefold()
        if opened not in ("", "yes", "y", "1", "no", "n", "0"):
            wrong.append(Problem.of_text(f'line {line}: opened = "{opened}" is neither yes nor no', "opened", opened))
        at = (moment.date() - first).days * 24.0 + solar_hour(
            moment.date(), f"{moment:%H:%M}", site.longitude, site.timezone
        )
        found.append(
            Visit(
                line=line,
                moment=moment,
                hour=at,
                openings=None if count is None else int(count),
                opened=opened in ("yes", "y", "1"),
                level=level,
                added=_number(row, "added_l", line, wrong) or 0.0,
                meter=_number(row, "meter_l", line, wrong),
                note=row.get("note", ""),
                timed=timed,
            )
        )
    if len(found) < _LEAST_VISITS:
        message = f"{name} has {len(found)} rows; {_LEAST_VISITS} visits at least are needed to learn anything"
        wrong.append(Problem.of_text(message, "controller", name))
    return tuple(found)


def _plain(text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return math.nan


def _total(rows: list[tuple[dt.datetime, bool, int, dict[str, str]]], wrong: list[Problem]) -> None:
    """Tell counts that only ever grow: they are a running total, not since the row before."""
    counts = [(line, _plain(row.get("openings", ""))) for _, _, line, row in rows]
    known = [(line, count) for line, count in counts if math.isfinite(count)]
    values = sorted(count for _, count in known)
    grows = [count for _, count in known] == values
    if (
        len(known) >= _TOTAL_ROWS
        and grows
        and values[-1] >= _TOTAL_ROWS
        and values[-1] > _TOTAL_TIMES * max(values[1], 1.0)
    ):
        message = (
            f"line {known[-1][0]}: openings never fall from row to row and reach {values[-1]:g}: they look like a running "
            "total; call the column counter, or count from the row before"
        )
        wrong.append(Problem.of_text(message, "openings", values[-1]))


def _number(row: dict[str, str], key: str, line: int, wrong: list[Problem]) -> float | None:
    text = row.get(key, "")
    if not text:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or value < 0.0:
        wrong.append(Problem.of_text(f'line {line}: {key} = "{text}" is no number of zero or more', key, text))
        return None
    return value
