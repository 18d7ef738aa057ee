"""
Field log: what somebody wrote down beside the pan, as a CSV file; read and checked, a line for each thing that is wrong.

One row a visit: ``date`` (with the time, or ``time`` beside it), and of the rest whatever was looked at: ``controller``,
``openings`` (counted since that controller's row before), ``opened`` (yes: the valve opened just then), ``level_mm``
(depth of the water, by ruler, valve shut), ``added_l`` (poured into the pan), ``meter_l`` (this valve's water meter),
``note``. In place of ``openings`` a ``counter`` that is never set back to zero will do. A level, an addition or a meter in
another unit says so in its header: "level (cm)", "meter [m3]". Empty means not looked at; zero means zero.

Two things may be measured by the way, on any row: the refill emitter, by ``jug_ml`` in ``jug_minutes``, and the swing, by the
counterweights at which the beam fell and rose again, ``fell_at_kg`` and ``rose_at_kg``. A row with nothing else is no visit.
Nor is one with ``tub_mm``: the depth of the water, by ruler, in a tub that stands in the pan's place with no valve.
"""

import datetime as dt
import itertools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from panbudget import words
from panbudget.errors import ReadingsError
from panbudget.physics.solar_time import solar_hour
from panbudget.scenario.garden import Controller, LogSource, Scenario
from panbudget.studies.common import named_by
from panbudget.studies.fit import problem
from panbudget.weather.text.rows import TypedRow, read_typed
from panbudget.words import and_more
from panbudget.words import count as counted

_READ = ("openings", "counter", "opened", "level_mm", "meter_l")
_MEASURED = ("jug_l", "jug_minutes", "fell_at_kg", "rose_at_kg")
_KNOWN = ("date", "time", "controller", *_READ[:-1], "added_l", "meter_l", "tub_mm", *_MEASURED, "tank_level", "note")
_SPOKEN = {"level": "level_mm", "added": "added_l", "meter": "meter_l", "notes": "note", "count": "openings"}
_SPOKEN |= {"datetime": "date", "timestamp": "date", "tank": "tank_level", "tub": "tub_mm"}
# quantities: the column's name without its unit -> kind of unit, and what the column is called in ours
_QUANTITIES = {"level": ("mm", "level_mm"), "added": ("L", "added_l"), "meter": ("L", "meter_l")}
_QUANTITIES |= {"tub": ("mm", "tub_mm"), "jug": ("L", "jug_l")}
_QUANTITIES |= {"fell_at": ("kg", "fell_at_kg"), "rose_at": ("kg", "rose_at_kg")}
_NOON = dt.timedelta(hours=12)
_YES, _NO = ("yes", "y", "1"), ("no", "n", "0")
_LEAST_VISITS, _LEAST_IN_TUB, _MOST_VISITS = 3, 2, 10_000
_MOST_TO_LEARN = 1_000  # rows that a fit goes through: half a minute
_TUB_ASSUMED = """\
{name}: the levels only fall, by more than its swing, and nothing else was looked at: taken as read in a tub with no valve"""
_TUB_FALLS = 1.5  # swings by which levels fall that never rise: no valve stood in the pan
_MOST_OPENINGS = 10_000
_MOST_WRONG = 0.1  # share of the levels, or one, that may be impossible and are left out; more, and the unit is another
_BRIMFUL_MM = 3.0  # above the rim: a full pan's water stands so high, by skin and ruler (common practice, no source)
_MOST_TIMES = 5.0  # times or parts of what is described: a jug's or a beam's weights are in another unit sooner
_LEAST_DRIP = 0.01  # part of what is described, below which a jug of a clogged refill emitter is in another unit sooner
_TOTAL_ROWS, _TOTAL_TIMES = 8, 3.0  # rows, and last over second, from which counts that never fall are a running total

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
    measured : dict
        Controller -> "refill" by jug [L/h], "swing" by two weighings of the counterweight [kg]; means of all.
    tubs : dict
        Controller -> levels in a tub with no valve, in order of time.
    jugged : dict
        Controller -> when its last jug was filled.
    """

    file: str
    sha256: str
    first: dt.date
    last: dt.date
    visits: dict[str, tuple[Visit, ...]]
    assumptions: tuple[str, ...]
    measured: dict[str, dict[str, float]] = field(default_factory=dict)
    tubs: dict[str, tuple[Visit, ...]] = field(default_factory=dict)
    jugged: dict[str, dt.datetime] = field(default_factory=dict)


def named_log(scenario: Scenario, source: LogSource) -> FieldLog:
    """Read the field log that a scenario names."""
    with named_by(scenario, "log.file", source.file):
        return read_field_log(scenario.path.parent / source.file, scenario, shown_as=source.file, to_learn=False)


def read_field_log(path: Path, scenario: Scenario, *, shown_as: str = "", to_learn: bool = True) -> FieldLog:
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
    to_learn : bool
        Whether there must be rows enough to learn from, levels that only fall are taken for a tub's, and a measurement is
        the mean of all; else it is the last.

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
        most=_MOST_TO_LEARN if to_learn else _MOST_VISITS,
    )
    wrong = log.problems
    if not any(name in log.header for name in (*_READ, *_MEASURED, "tub_mm")):
        wrong.append(problem("nothing-read", f"line {log.header_line}:", columns=", ".join((*_READ, "tub_mm"))))
    rows, in_tub, measured, by_jug, jugged = _sorted(log.rows, scenario, to_learn=to_learn)
    timeless = sum(not has_time for part in (*rows.values(), *in_tub.values()) for _, has_time, _ in part)
    assumed = [f"rows of the log with no time of day, which count as noon: {timeless}"] if timeless else []
    moments = [moment for part in (*rows.values(), *in_tub.values()) for moment, *_ in part] or by_jug
    if not moments:
        raise ReadingsError(*(wrong or [problem("only-measured" if log.rows else "no-row")]), file=shown)
    first, last = min(moments).date(), max(moments).date()
    visits = {name: _visits(name, part, first, scenario, assumed) for name, part in rows.items()}
    tubs = {name: _visits(name, part, first, scenario, assumed, "tub_mm") for name, part in in_tub.items()}
    for name in [n for n in visits if to_learn and n not in tubs and _valveless(visits[n], scenario, n)]:
        tubs[name] = visits.pop(name)
        assumed.append(_TUB_ASSUMED.format(name=name))
    for part_of, least in ((visits, _LEAST_VISITS), (tubs, _LEAST_IN_TUB)) if to_learn else ():
        few = {name: counted(len(looks), "row") for name, looks in part_of.items() if len(looks) < least}
        wrong += [problem("few-visits", name, count=count, least=least) for name, count in few.items()]
    if any(row["tank_level"] for row in log.rows):
        assumed.append("the log's tank levels are kept in the file and not used")
    if wrong:
        raise ReadingsError(*wrong, file=shown)
    means = {
        name: {part: math.fsum(of) / len(of) if to_learn else of[-1] for part, of in by.items()}
        for name, by in measured.items()
    }
    return FieldLog(shown, log.sha256, first, last, visits, tuple(assumed), means, tubs, jugged)


def _sorted(
    listed: Iterable[TypedRow], scenario: Scenario, *, to_learn: bool
) -> tuple[
    dict[str, _Timed], dict[str, _Timed], dict[str, dict[str, list[float]]], list[dt.datetime], dict[str, dt.datetime]
]:
    """Valves' rows and tubs' rows by controller, what was measured, the moments of what was only measured, the last jugs'."""
    rows: dict[str, _Timed] = {}
    in_tub: dict[str, _Timed] = {}
    measured: dict[str, dict[str, list[float]]] = {}
    by_jug: list[dt.datetime] = []
    jugged: dict[str, dt.datetime] = {}
    for row in listed:
        controller, known = None, list(scenario.controller)
        if row["controller"] or len(known) == 1:
            controller = row.choice("controller", known, "the scenario", default=known[0])
        else:
            _wrong(row, "no-controller", known=", ".join(known))
        moment, has_time = row.moment()
        if controller is not None:
            values = measured.setdefault(controller, {})
            for name, value in _measured(row, controller, scenario, to_learn=to_learn):
                values.setdefault(name, []).append(value)
                jugged |= {controller: moment} if name == "refill" and moment is not None else {}
            if any(row[name] for name in _MEASURED) and not any(row[name] for name in (*_READ, "added_l", "tub_mm")):
                by_jug += [moment] if moment is not None and not to_learn else []
                continue  # what was counted before and after belongs together
        if row["tub_mm"] and any(row[name] for name in _READ):
            _wrong(row, "tub-and-valve")
        if controller is not None and moment is not None:
            part = (in_tub if row["tub_mm"] else rows).setdefault(controller, [])
            part.append((moment if has_time else moment + _NOON, has_time, row))
        else:  # a row that has no place yet: its other cells are looked at all the same
            _cells(row)
    return rows, in_tub, measured, by_jug, jugged


def _valveless(visits: tuple[Visit, ...], scenario: Scenario, name: str) -> bool:
    """Whether levels fall and fall by more than the valve's swing, with nothing else looked at: a tub without a valve."""
    described = scenario.controller[name]
    levels = [visit.level for visit in visits if visit.level is not None]
    other = any(visit.openings is not None or visit.opened or visit.added or visit.meter for visit in visits)
    falls = len(levels) >= _LEAST_IN_TUB and levels == sorted(levels, reverse=True)
    return not other and falls and levels[0] - levels[-1] > _TUB_FALLS * described.valve.swing_kg / described.pan.area


def _measured(row: TypedRow, name: str, scenario: Scenario, *, to_learn: bool) -> Iterator[tuple[str, float]]:
    """What a row says of the refill flow and the swing: [L/h; kg at the counterweight]."""
    valve = scenario.controller[name].valve
    described = {"refill": valve.refill.flow, "swing": valve.swing_kg / valve.arm_ratio}
    (litres, minutes), (fell, rose) = ([row.number(key) for key in keys] for keys in (_MEASURED[:2], _MEASURED[2:]))
    values: dict[str, float] = {}
    if (litres is None) != (minutes is None) or minutes == 0.0:
        _wrong(row, "jug-half")
    elif litres is not None and minutes is not None:
        values["refill"] = 60.0 * litres / minutes
    if (fell is None) != (rose is None):
        _wrong(row, "weighing-half")
    elif fell is not None and rose is not None and fell <= rose:
        _wrong(row, "weighings-turned", fell, fell=fell, rose=rose)
    elif fell is not None and rose is not None:
        values["swing"] = fell - rose
    for part, value in values.items():
        times = value / described[part]
        is_clogged = part == "refill" and not to_learn and (times == 0.0 or times >= _LEAST_DRIP)
        if not (is_clogged or times >= 1.0 / _MOST_TIMES) or times > _MOST_TIMES:
            _wrong(row, f"odd-measure.{part}", value, measured=value, described=described[part])
        else:
            yield part, value


def _wrong(row: TypedRow, code: str, value: object = None, **values: object) -> None:
    row.problems.append(problem(code, f"line {row.line}:", value, **values))


def _visits(
    name: str, rows: _Timed, first: dt.date, scenario: Scenario, assumed: list[str], key: str = "level_mm"
) -> tuple[Visit, ...]:
    part, site = scenario.controller[name], scenario.site
    depth, holds = part.pan.depth, part.pan.area * part.pan.depth
    visits: list[Visit] = []
    levels = [row.value(key) for *_, row in rows]
    too_high = sum(level > depth + _BRIMFUL_MM for level in levels)
    few = too_high <= max(1.0, _MOST_WRONG * sum(map(math.isfinite, levels)))
    _total(rows)
    counter: tuple[float, int] | None = None  # what it showed in the row above, and that row's line
    metered: tuple[float, TypedRow, dt.datetime] | None = None  # the meter's reading before, its row and its moment
    above, looked = dict[str, str](), dt.datetime.min
    early = {row.line: before for (before, *_), (moment, _, row) in itertools.pairwise(rows) if moment < before}
    for moment, timed, row in rows:
        if row.line in early:
            counter = metered = None  # what was read before is not known
        if row.line == min(early, default=None):
            more = and_more(len(early) - 1, "row")
            _wrong(row, "out-of-order", moment=moment, above=early[row.line], more=more)
        if timed and row.cells == above:
            _wrong(row, "again")
        elif timed and moment == looked and (twice := [name for name in _READ if row[name] and above.get(name)]):
            _wrong(row, "moment-twice", moment=moment, names=", ".join(twice))
        above, looked = row.cells, moment
        count, stands, level, added, meter = _cells(row, key)
        if stands is not None and counter is not None:
            risen = _risen(row, stands, *counter)
            if count is not None and risen is not None and risen != count:
                _wrong(row, "counter-differs", stands, count=count, risen=risen, line=counter[1])
            count = risen if count is None else count
        # a row without it leaves what lies between the next one and the last unknown
        counter = None if stands is None else (stands, row.line)
        if meter is not None:
            if metered is not None and meter < metered[0]:
                before = metered[1]
                _wrong(row, "meter-falls", meter, meter=row["meter_l"], before=before["meter_l"], line=before.line)
            elif metered is not None and meter - metered[0] > (most := _most_litres(part, moment - metered[2])):
                before = metered[1]
                values = {"meter": row["meter_l"], "before": before["meter_l"], "line": before.line, "most": most}
                _wrong(row, "meter-leaps", meter, **values)
            metered = meter, row, moment
        if added is not None and added > holds:
            _wrong(row, "added-too-much", added, added=added, holds=holds)
        if level is not None and depth < level <= depth + _BRIMFUL_MM:
            level = depth
        elif level is not None and level > depth:
            too_deep = problem(
                "too-deep", f"line {row.line}:", level, key=key.removesuffix("_mm"), level=level, depth=depth
            )
            if few:
                assumed.append(words.joined("", (f"{too_deep.where} ", too_deep.found, ", and is left out")))
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


def _most_litres(part: Controller, between: dt.timedelta) -> float:
    """What a valve could let through between two readings, standing open all along, and several times that. [L]"""
    emitters = sum(bed.emitters.count * bed.emitters.flow for bed in part.bed.values())
    return _MOST_TIMES * (part.valve.refill.flow + emitters) * max(between / dt.timedelta(hours=1), 1.0)


def _cells(row: TypedRow, key: str = "level_mm") -> tuple[float | None, ...]:
    """Read a row's openings, counter, level [mm], water added and meter [L], and refuse what can't be."""
    opened = row["opened"].casefold()
    if opened not in ("", *_YES, *_NO):
        _wrong(row, "no-answer", opened, opened=opened)
    numbers = (row.number(name) for name in (key, "added_l", "meter_l"))
    return _count(row, "openings"), _count(row, "counter"), *numbers


def _count(row: TypedRow, name: str) -> float | None:
    """Read a whole number of openings."""
    value = row.number(name)
    if value is not None and (value != int(value) or (name == "openings" and value > _MOST_OPENINGS)):
        _wrong(row, f"no-count.{name}", value, count=value, most=_MOST_OPENINGS)
        return None
    return value


def _risen(row: TypedRow, stands: float, before: float, line: int) -> float | None:
    """Openings since the row before, by a counter that is never set back."""
    if stands < before:
        _wrong(row, "counter-falls", stands, counter=stands, before=before, line=line)
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
