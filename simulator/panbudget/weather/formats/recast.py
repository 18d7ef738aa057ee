"""
Recast: files that are tables, though not with a row a day under headers with marks between them, turned into such a table.

A row a value, with what it is in a column of its own; hours across; readings at fixed hours; a day in several columns; rows
numbered under no header; and what is `printed`. What can't be turned is refused by its shape.
"""

import functools
import itertools
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from statistics import mean

from panbudget.weather.formats.printed import (
    HEAD,
    MOST_ELEMENTS,
    PRINTED,
    ROWS,
    Shape,
    as_table_text,
    column_of,
    side_by_side,
)
from panbudget.weather.text.cells import is_number
from panbudget.weather.text.heading import in_english, is_unit, unit_of
from panbudget.weather.text.mistakes import listed
from panbudget.weather.text.moments import YEAR_LAST, is_dated, joined_date
from panbudget.weather.text.opening import Opening, find_opening
from panbudget.weather.text.raw import Source
from panbudget.weather.text.rows import split
from panbudget.weather.text.stamps import find_time, says_utc

_ELEMENT = re.compile(
    r"\b((element|param|varia[bv]|abbrev)\w*|quantity|measurements?|observations?|sensor|metrics?|observed property|entity|field|"
    r"statistic id|etiqueta|messgro\w*|gro(ss|sz)e|magnitude?|grandeur|grandezza|topic|device|channel|signal|attribute|series)\b"
)
_VALUE = re.compile(r"\b(values?|reading|results?|(mess)?wert|valor|valeur|valore|data|state|payload)\b")
_UNIT, _KIND = re.compile(r"\b(units?|unidad\w*|unita|einheit|uom)\b"), re.compile(r"device class")
# a moment's minutes and seconds; its time of day; the steps to which sensors that report at minutes of their own are put [min]
_MINUTES, _CLOCK = re.compile(r"(?<=\d:)(\d\d)(:\d\d([.,]\d+)?)?"), re.compile(r"(?<=\d)[T ]\d\d?:\d\d.*")
_STEPS = (1, 5, 10, 15, 20, 30, 60)
# a share of cells below which sensors report when they like; steps [min] to which they are put, and how many of these a value lasts
_SPARSE, _STEP, _CARRIED, _BY_YEAR = 0.6, 10, 36, re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d")
_HOUR = re.compile(r"[hH]?0?(\d{1,2})(?:(?::00){1,2}|[hH](?:00)?)?")
# quantities of which the mean of readings at fixed hours stands for the day, and an hour in a name or a cell
_HUMIDITY = re.compile(r"\b(hum\w*|r ?[hf]|[hu] ?r)\b")
_MEAN_OF = re.compile(rf"({_HUMIDITY.pattern}|\b(wind\w*|vapou?r|dew\w*)\b)(?!.*\b(dir\w*|direction|gusts?|max|min)\b)")
_HALF, _RAIN = re.compile(r"\b(day|daily|night)( ?time)?\b"), re.compile(r"\b(rain\w*|precip\w*)\b(?!.*\brate)")
_READ_AT = re.compile(r"\b(?!24 ?h)(\d{1,2}) ?(am|pm|h|hrs?|utc|z|00)\b")
# a mean of fewer has too little of the night
_LEAST_READINGS, _MOST_READINGS = 3, 6
_TWO = re.compile(r"([+-]?\d+(?:[.,]\d+)?)(?: ?°[CF]?)? ?[/|] ?([+-]?\d+(?:[.,]\d+)?)(?: ?°[CF]?)?")
# a wind's component to the east, and the height that its name has [m]; its spread is none
_EASTWARD, _HEIGHT = (
    re.compile(r"\bu(?=\d{0,3}m?\b)(?!.*\b(sigma|sd|std\w*|var\w*)\b)"),
    re.compile(r"(?<=\bu)\d+|\d+(?= ?m\b)"),
)
# a code for a missing value, of which no figure is made
_CODE = re.compile(r"-?(9{3,}|6999)(?:[.,][09]+)?")
# a number with decimals that are no thousands, and its unit
_DECIMAL_COMMA = re.compile(r"[-+−]?\d{1,4},\d{1,2}( ?[^\W\d_°%][^\d,;]{0,6}| ?[°%][CF]?)?")
# a year of the Buddhist era, and by how much it is ahead of ours [years]; a time of day
_LATER_YEAR, _ERA = re.compile(r"\b2[45]\d\d\b"), 543
_TIME_NAME = re.compile(
    r"(?:time(?: of)?(?: day)?|hour(?: ?min)?|hh(?:mm)?|hr(?: ?mn)?|hourly|[aecmp]st|lst)?( ?utc| ?gmt)?(?<!^)"
)

_TIME = re.compile(r"\d{1,2}:\d{2}(?::\d{2})?")


def recast(source: Source, is_archive: Callable[[str], bool]) -> Source:
    """
    Turn a file of another shape into a table with a row a moment.

    Parameters
    ----------
    source : Source
    is_archive : callable
        Whether a text's head is an archive's, whose reader knows its shape.

    Returns
    -------
    Source
        The same one where it is a table, or none that is known.

    Raises
    ------
    WeatherError
        Days or hours across, of one quantity alone.
    """
    lines = source.lines
    if opening := find_opening(lines):
        tables = (
            _in_quotes,
            _under_two_headers,
            _later_era,
            _year_last,
            _day_in_parts,
            _components,
            _numbered,
            _hours_across,
            _long,
            _one_at_a_time,
            _readings,
            _readings_across,
        )
        turns = (turn(source, lines, opening) for turn in (*tables, _pairs))
    else:
        turns = (turn(source, lines) for turn in PRINTED)
    turned = next(filter(None, turns), None)
    if turned is None or is_archive("\n".join(lines[:HEAD])):
        return source
    again = replace(source, text=turned.text, taken_from=source.taken_from or turned.was)
    return recast(again, is_archive) if turned.half_way else again


def _dates_of(
    source: Source,
    lines: Sequence[str],
    opening: Opening,
    *,
    form: re.Pattern[str],
    was: str,
    ours: Callable[[re.Match[str]], str],
) -> Shape | None:
    """Write days of a form that no other has as ours."""
    header, of_year = opening.line - 1, opening.dates[0]
    if not all(len(row) > of_year >= 0 and form.search(row[of_year].strip()) for row in opening.rows):
        return None

    def row(text: str) -> str:
        cells = split(text, opening.separator)
        if len(cells) > of_year:
            cells[of_year] = form.sub(ours, cells[of_year])
        return "\t".join(cells)

    return Shape(was, "\n".join([*lines[:header], *map(row, lines[header:])]), half_way=True)


# of the Buddhist era 2567 is 2024
_later_era = functools.partial(
    _dates_of, form=_LATER_YEAR, was="years of the Buddhist era", ours=lambda year: str(int(year[0]) - _ERA)
)
_year_last = functools.partial(
    _dates_of,
    form=YEAR_LAST,
    was="days as digits, the year last",
    ours=lambda day: "/".join(filter(None, day.groups())),
)


def _in_quotes(source: Source, lines: Sequence[str], opening: Opening) -> Shape | None:
    """Part columns by tabs whose numbers have decimal commas, in quotation marks beside the commas between columns."""
    if opening.separator != "," or not any(map(_DECIMAL_COMMA.fullmatch, itertools.chain(*opening.rows))):
        return None
    return Shape(
        "decimal commas in quotation marks", "\n".join("\t".join(split(text)) for text in lines), half_way=True
    )


def _under_two_headers(source: Source, lines: Sequence[str], opening: Opening) -> Shape | None:
    """Put rows below a second header, by which columns came or went, under the names of the first."""
    names, now, header = opening.cells, opening.cells, opening.line - 1
    if source.text.count(names[0]) < 2:
        return None
    seconds = [i for i, text in enumerate(lines) if i > header and names[0] and names[0] in text]
    second = {
        i: cells
        for i in seconds
        if (cells := split(lines[i], opening.separator))[0] == names[0] and len({*cells} & {*names}) * 2 > len(names)
    }
    if not any(len(cells) != len(names) for cells in second.values()) or len({*names}) < len(names):
        return None
    table = [
        *lines[:header],
        "\t".join(names),
        *("\t".join(split(text, opening.separator)) for text in lines[header + 1 : min(second)]),
    ]
    for i, text in enumerate(lines[min(second) :], start=min(second)):
        now, cells = second.get(i, now), split(text, opening.separator)
        of = dict(zip(now, cells, strict=False)) if len(cells) == len(now) and i not in second else {}
        row = [of.get(name, "") for name in names] if of else cells
        table.append("" if i in second else "\t".join(row))
    return Shape(
        "rows under a second header, of which the first one's columns are read", "\n".join(table), half_way=True
    )


def _components(source: Source, lines: Sequence[str], opening: Opening) -> Shape | None:
    """Put a speed in place of the wind's components to east and north, which have a height, or one of which is below nothing at times."""
    names = [in_english(cell) for cell in opening.cells]
    eastward = next((i for i, name in enumerate(names) if _EASTWARD.search(name) and _northward(name) in names), -1)
    if eastward < 0 or any(name.endswith("wind speed") for name in names):
        return None
    rows = [split(text, opening.separator) for text in lines[opening.line - 1 :]]
    pair = [eastward, names.index(_northward(names[eastward]))]
    height, unit = _HEIGHT.search(names[eastward]), unit_of(opening.cells[eastward]) or "m/s"
    if not height and not any(row[eastward].startswith(("-", "−")) for row in rows if len(row) > eastward):
        return None
    table = [f"mean wind speed{f' {height[0]}m' if height else ''} ({unit})"]
    table += [
        _figure(lambda both: math.hypot(*both), (row[i] for i in pair), opening) if len(row) == len(names) else ""
        for row in rows[1:]
    ]
    others = ([cell for i, cell in enumerate(row) if i not in pair] for row in rows)
    table = ["\t".join([*cells, speed]) if any(cells) else "" for cells, speed in zip(others, table, strict=True)]
    of_days = "" if find_time(opening.cells, opening.rows) else " (of days' means, less than the mean speed)"
    return Shape(f"a wind of two components{of_days}", "\n".join([*lines[: opening.line - 1], *table]))


def _day_in_parts(source: Source, lines: Sequence[str], opening: Opening) -> Shape | None:
    """Write the day in a cell that stands in several, beside a time of day that stands in one, or is a fraction of it."""
    names = [in_english(cell) for cell in opening.cells]
    clocks = [i for i, cells in enumerate(zip(*opening.rows, strict=False)) if all(map(_TIME.fullmatch, cells))]
    if len(clocks) == 1 and re.match(r"time\b", names[clocks[0]]):  # whatever else its name says
        names[clocks[0]] = f"time{' utc' * says_utc(opening.cells[clocks[0]])}"
    timed = any(_TIME_NAME.fullmatch(name) for i, name in enumerate(names) if i not in opening.dates)
    last = [row[opening.dates[-1]] for row in opening.rows if len(row) > opening.dates[-1]]
    timed |= any(re.search(r"[.,]\d*[1-9]", cell) for cell in last)  # a decimal day of the year
    if not opening.split_date or not timed or find_time(opening.cells, opening.rows):
        return None

    matches = map(_TIME_NAME.fullmatch, names)
    names = [f"time{of[1] or ''}" if of else cell for of, cell in zip(matches, opening.cells, strict=True)]

    def joined(cells: Sequence[str], day: str = "") -> str:
        date = [day or joined_date([*map(cells.__getitem__, opening.dates)])] if len(cells) > max(opening.dates) else []
        return "\t".join([*date, *(cell for i, cell in enumerate(cells) if i not in opening.dates)])

    header, rows = opening.line - 1, (split(text, opening.separator) for text in lines[opening.above :])
    between = [joined(opening.units, " ") if opening.units else "", *[""] * len(lines)][: opening.above - header - 1]
    table = [joined(names, "date"), *between, *(joined(cells) if any(cells) else "" for cells in rows)]
    return Shape("days in several columns", "\n".join([*lines[:header], *table]))


def _northward(name: str) -> str:
    return _EASTWARD.sub("v", name)


def _numbered(source: Source, lines: Sequence[str], opening: Opening) -> Shape | None:
    """Give a column of row numbers a header, as tables lack that statistics programs write."""
    firsts = [row[0] for row in opening.rows]
    lacks = len(opening.rows[0]) == len(opening.cells) + 1 and all(map(str.isdecimal, firsts))
    if not lacks or [int(first) - int(firsts[0]) for first in firsts] != list(range(len(firsts))):
        return None
    header = opening.line - 1
    return Shape(
        "rows under no header",
        "\n".join([*lines[:header], f"row{opening.separator}{lines[header]}", *lines[header + 1 :]]),
    )


def _long(source: Source, lines: Sequence[str], opening: Opening) -> Shape | None:
    """Put values side by side that stand in a row each, under what a column says they are, and their units."""
    names = [in_english(cell) for cell in opening.cells]
    unit, kind = column_of(names, _UNIT), column_of(names, _KIND)
    numbers = {i for row in opening.rows for i, cell in enumerate(row) if is_number(cell)}
    value = next((i for i, name in enumerate(names) if i in numbers and _VALUE.search(name)), None)
    # statistics: counters have no mean, and temperatures their extremes beside it
    extremes = [names.index(of) for of in ("min", "max")] if {"mean", "min", "max"} <= {*names} else []
    summed = names.index("sum") if {"mean", "sum"} <= {*names} and (value is None or extremes) else None
    value = names.index("mean") if extremes or summed is not None else value
    called = [i for i, name in enumerate(names) if _ELEMENT.search(name) and i != value]
    if not called or value is None or not opening.dates:
        return None
    rows = [cells for text in lines[opening.above :] if len(cells := split(text, opening.separator)) >= len(names)]
    if summed is not None:
        rows = [[*row[:value], row[value] or row[summed], *row[value + 1 :]] for row in rows]
    element = next((i for i in called if 2 <= len({row[i] for row in rows}) <= MOST_ELEMENTS), None)
    if element is None:
        return None
    temps = {name for name in {row[element] for row in rows} if re.search(r"\btemp", in_english(name))}
    rows += [
        [f"{cell} {names[i]}" if j == element else row[i] if j == value else cell for j, cell in enumerate(row)]
        for i in extremes
        for row in rows
        if row[i] and row[element] in temps
    ]
    if kind is not None and len({row[kind] for row in rows}) == len({row[element] for row in rows}):
        element = kind
    times = [i for i, name in enumerate(names) if i not in opening.dates and name in ("time", "hour", "hhmm")]
    vary = [i for i in opening.dates if opening.split_date or len({row[i] for row in rows}) > 1]
    when = [*vary[: None if opening.split_date else 1], *times]
    places = [
        i
        for i, name in enumerate(names)
        if re.search(r"\b(stations?|stn|site|location|code|id|place)\b", name) and i not in (element, value, unit)
    ]
    several = [stations for i in places if len(stations := dict.fromkeys(row[i] for row in rows)) > 1]
    found = _shapes(rows, opening.cells, element, value, unit, when, kind=kind, may_last=not several)
    for stations in () if found else several:
        raise source.refusal("several-stations", count=len(stations), named=listed(stations, 5))
    return _shortest(found, "a row a value", [opening.cells[i] for i in when])


def _one_at_a_time(source: Source, lines: Sequence[str], opening: Opening) -> Shape | None:
    """Put values side by side of sensors that report at minutes of their own, a row each, in columns of their own."""
    if len(opening.dates) != 1 or len(opening.cells) <= _LEAST_READINGS:
        return None
    when, rows = opening.dates[0], []
    for row in (split(text, opening.separator) for text in lines[opening.above :]):
        filled = [i for i, cell in enumerate(row) if cell and i != when] if len(row) == len(opening.cells) else []
        if len(filled) > 1 or (not filled and any(row)):
            return None
        rows += [[row[when], opening.cells[i], row[i]] for i in filled]
    if len({row[1] for row in rows}) < _LEAST_READINGS:
        return None
    return _shortest(_shapes(rows, opening.cells, 1, 2, None, [0]), "a row a sensor's report", [opening.cells[when]])


class _Wide(dict[tuple[str, ...], dict[str, str]]):
    """What each moment has of each quantity."""

    how = ""  # as a report says it


class _Kept(_Wide):
    """The same of sensors that report when they change."""

    how = ", each sensor's last one kept for 6 h at most, and a rain counter's until it counts again"


def _shortest(found: Sequence[_Wide], was: str, header: Sequence[str]) -> Shape | None:
    """Return the one with fewest moments, side by side; None where there is none."""
    wide = min(found, key=len, default=None)
    return Shape(was + wide.how, side_by_side(header, wide)) if wide else None


def _shapes(
    rows: Sequence[Sequence[str]],
    header: Sequence[str],
    element: int,
    value: int,
    unit: int | None,
    when: Sequence[int],
    *,
    kind: int | None = None,
    may_last: bool = True,
) -> list[_Wide]:
    """Return what can be made of values in a row each: by moments as they stand, by minutes, by steps, and by days."""

    def quantity(row: Sequence[str]) -> str:
        what = f"{header[element]} {row[element]}" if row[element].isdecimal() else row[element]
        what = what if kind is None or row[kind] in what else f"{row[kind]} {what}"
        return what if unit is None else f"{re.sub(r'[()]', ' ', what)} ({re.sub(r'[()]', '', row[unit])})"

    def wide(trim: Callable[[str], str]) -> _Wide:
        """Return what each moment has of each; nothing where it has one twice, as where there are several stations."""
        by_moment = _Wide()
        for row in rows:
            of = by_moment.setdefault(tuple(trim(row[i]) for i in when), {})
            if (what := quantity(row)) in of:
                return _Wide()
            of[what] = row[value]
        return by_moment

    trims: list[Callable[[str], str]] = [str]
    trims += [functools.partial(_MINUTES.sub, functools.partial(_floor, step)) for step in _STEPS]
    trims += [functools.partial(_CLOCK.sub, "")]
    made, quantities = list[_Wide](), len({row[element] for row in rows})
    for trim in trims:
        made += filter(None, [wide(trim)])
        if made and quantities * len(made[-1]) == len(rows):
            break  # each moment has all of them already
    sparse = made and max(len(rows) / (quantities * len(each)) for each in made) < _SPARSE
    by_year = len(when) == 1 and all(_BY_YEAR.match(row[when[0]]) for row in rows)
    return [_carried(rows, quantity, value, when[0])] if may_last and sparse and by_year else made


def _carried(rows: Sequence[Sequence[str]], quantity: Callable[[Sequence[str]], str], value: int, when: int) -> _Wide:
    """Return what each step has of sensors that report when they change: their last value, for some hours; of amounts of rain the sum."""
    steps: dict[str, dict[str, list[str]]] = {}
    to_step = functools.partial(_MINUTES.sub, functools.partial(_floor, _STEP))
    for row in sorted((row for row in rows if is_number(row[value])), key=lambda row: row[when]):
        of_step = steps.setdefault(to_step(row[when]), {})
        of_step.setdefault(quantity(row), []).append(row[value])
    names = dict.fromkeys(name for of in steps.values() for name in of)
    # a counter of rain stands until it counts again; amounts are of their step alone, and 0 in others of a day that has any
    lasts = {name: len(steps) if _is_counter(name, steps) else 0 for name in names if _RAIN.search(in_english(name))}
    reported = {(name, step[:10]) for step, of in steps.items() for name in of if not lasts.get(name, 1)}
    wide, last = _Kept(), dict[str, tuple[int, str]]()
    for i, (step, of) in enumerate(steps.items()):
        for name, values in of.items():
            last[name] = (i, values[-1] if lasts.get(name, 1) else f"{math.fsum(map(_number, values)):.2f}")
        wide[(step,)] = {name: "0" if (name, step[:10]) in reported else "" for name in names} | {
            name: cell for name, (at, cell) in last.items() if i - at <= lasts.get(name, _CARRIED)
        }
    return wide


def _is_counter(name: str, steps: Mapping[str, Mapping[str, list[str]]]) -> bool:
    """Tell a column that rises more than twice as often as it falls."""
    values = [_number(cell) for of in steps.values() for cell in of.get(name, ())]
    rises, falls = (
        sum(sign * (after - before) > 0.0 for before, after in itertools.pairwise(values)) for sign in (1, -1)
    )
    return rises > 2 * falls


def _number(cell: str) -> float:
    return float(cell.replace(",", "."))


def _floor(step: int, minutes: re.Match[str]) -> str:
    return f"{int(minutes[1]) // step * step:02d}"


def _hours_across(source: Source, lines: Sequence[str], opening: Opening) -> Shape | None:
    """Put the hours of days one below the other, where a column says what a row holds; refuse those of one quantity."""
    hours = {int(match[1]): j for j, cell in enumerate(opening.cells) if (match := _HOUR.fullmatch(cell))}
    if sorted(hours) not in (list(range(24)), list(range(1, 25))):
        return None
    rows = [
        cells for text in lines[opening.above :] if len(cells := split(text, opening.separator)) > max(hours.values())
    ]
    others = [j for j in range(len(opening.cells)) if j not in hours.values() and j not in opening.dates]
    element = next((j for j in others if 2 <= len({row[j] for row in rows}) <= MOST_ELEMENTS), None)
    title = [text.strip(' "\t') for text in lines[: opening.line - 1] if unit_of(text.strip(' "\t'))]  # of one quantity
    if (element is None and len(title) != 1) or len(opening.dates) != 1:
        raise source.refusal("hours-across", line=opening.line)
    table: dict[tuple[str, ...], dict[str, str]] = {}
    for row in rows:
        for hour, j in hours.items():
            table.setdefault((f"{row[opening.dates[0]]} {hour:02d}:00",), {})[
                title[0] if element is None else row[element]
            ] = row[j]
    return Shape("a row a day, hours across", side_by_side(["time"], table))


def _figure(of: Callable[[list[float]], float], cells: Iterable[str], opening: Opening) -> str:
    """Return a figure of several with the decimal mark of the table's first rows; where one is no number nothing, or its mark."""
    values = list(cells)
    marked = next((cell for cell in values if _CODE.fullmatch(cell)), "")
    if marked or not values or not all(map(is_number, values)):
        return marked
    figure = f"{of([float(cell.replace(',', '.')) for cell in values]):.2f}"
    commas = any("," in cell and is_number(cell) for row in [values, *opening.rows] for cell in row)
    return figure.replace(".", ",") if commas else figure


def _readings(source: Source, lines: Sequence[str], opening: Opening) -> Shape | None:
    """Make one row of a day's readings at fixed hours, which stand beside extremes: means of air and wind, sums of rain."""
    names = [in_english(cell) for cell in opening.cells]
    hour = next(
        (i for i, name in enumerate(names) if re.fullmatch("time( of)?|hour|hourly|h|hhmm|(obs\\w* )?term|obs", name)),
        None,
    )
    extremes = " ".join(name for name in names if re.search(r"\b(t|temp\w*|tmax|tmin)\b", name))
    if hour is None or len(opening.dates) != 1 or "max" not in extremes or "min" not in extremes:
        return None
    date = opening.dates[0]
    first = [split(text, opening.separator)[date : date + 1] for text in lines[opening.above : opening.above + 4]]
    if first.count(first[0]) > _LEAST_READINGS:  # a long table's records
        return None
    days: dict[str, list[list[str]]] = {}
    rows = (split(text, opening.separator) for text in lines[opening.above :])
    for row in (row for row in rows if len(row) == len(names) and is_dated(row[date])):
        days.setdefault(row[date], []).append(row)
    hours = list(dict.fromkeys(row[hour] for of_day in days.values() for row in of_day))
    if len(hours) != _LEAST_READINGS or len(days) < ROWS:
        return None
    repeated = {i for i in range(len(names)) if all(len({row[i] for row in of_day}) == 1 for of_day in days.values())}

    def joined(place: int, cells: list[str]) -> str:
        name, filled = names[place], [cell for cell in cells if cell]
        if _MEAN_OF.search(name):
            return _figure(mean, cells, opening) if len(cells) == len(hours) else ""
        if re.search("rain|precip", name) and place not in repeated:
            return _figure(math.fsum, filled, opening) if len(cells) == len(hours) else ""
        if len(set(filled)) < 2:
            return filled[0] if filled else ""
        return _figure(max if "max" in name else min, filled, opening) if re.search("max|min", name) else ""

    columns = [i for i in range(len(names)) if i not in (hour, date)]
    units = [["", *(opening.units[i] if i < len(opening.units) else "" for i in columns)]] if opening.units else []
    body = ([day, *(joined(i, [row[i] for row in of_day]) for i in columns)] for day, of_day in days.items())
    table = as_table_text([["date", *(opening.cells[i] for i in columns)], *units, *body])
    return Shape(f"readings at {', '.join(hours)}, of which means are taken", table)


def _readings_across(source: Source, lines: Sequence[str], opening: Opening) -> Shape | None:
    """Put the mean of readings at fixed hours, or of day and night, a column each, into a column of its own; of rain the sum."""
    groups: dict[str, list[int]] = {}
    names = [in_english(cell) for cell in opening.cells]
    for i, name in enumerate(names):
        part = _READ_AT if _READ_AT.search(name) else _HALF
        if part.search(name) and (_MEAN_OF.search(name) or _RAIN.search(name)):
            base = _HUMIDITY.sub("humidity", part.sub(" ", name))
            groups.setdefault(" ".join(base.split()), []).append(i)
    groups = {
        name: of
        for name, of in groups.items()
        if name not in names
        and (
            _is_a_day([names[i] for i in of])
            if _RAIN.search(name) or len(of) == 2
            else _LEAST_READINGS <= len(of) <= _MOST_READINGS
        )
    }
    if not groups:
        return None
    table = list(lines)
    mark = opening.separator
    for i, text in enumerate(lines):
        cells = split(text, mark)
        if i == opening.line - 1:
            more = [
                f"{name} {'total' if _RAIN.search(name) else 'mean'} of {len(of)} readings"
                + (f" ({unit})" if (unit := unit_of(opening.cells[of[0]])) else "")
                for name, of in groups.items()
            ]
        elif i < opening.line - 1 or len(cells) < len(names):
            continue
        elif i < opening.above:
            more = [cells[of[0]] for of in groups.values()]
        else:
            more = [
                _figure(math.fsum if _RAIN.search(name) else mean, (cells[j] for j in of), opening)
                for name, of in groups.items()
            ]
        table[i] = mark.join([text, *(f'"{cell}"' if mark in cell else cell for cell in more)])
    return Shape(
        "readings at fixed hours, or of day and night, of which means are taken, and sums of rain", "\n".join(table)
    )


def _is_a_day(names: Sequence[str]) -> bool:
    """Tell two readings that make up a day: of day and night, or of rain twelve hours apart."""
    if len(names) != 2 or any("night" in name for name in names):
        return len(names) == 2
    hours = [int(at[1]) % 12 + 12 * (at[2] == "pm" or int(at[1]) > 12) for at in map(_READ_AT.search, names) if at]
    return len(hours) == 2 and abs(hours[0] - hours[1]) == 12 and bool(_RAIN.search(names[0]))


def _pairs(source: Source, lines: Sequence[str], opening: Opening) -> Shape | None:
    """Part columns with two figures in a cell, "14.6/6.2", by the two names of their header, or else into a highest and a lowest."""
    parts: dict[int, list[str]] = {}
    for i, name in enumerate(opening.cells):
        if all(len(row) > i for row in opening.rows) and all(pairs := [_TWO.fullmatch(row[i]) for row in opening.rows]):
            words = re.sub(r"[\[(].*?[\])]", " ", name).split()
            bare = " ".join(words[:-1] if len(words) > 1 and is_unit(words[-1]) else words)
            falls = all(float(pair[1].replace(",", ".")) >= float(pair[2].replace(",", ".")) for pair in pairs if pair)
            names = bare.split("/") if bare.count("/") == 1 else [f"max {bare}", f"min {bare}"][:: 1 if falls else -1]
            unit = unit_of(name) or next(iter(opening.units[i : i + 1]), "")
            parts[i] = [f"{each} ({unit})" if unit else each for each in names]
    if not parts:
        return None

    def wide(cells: Sequence[str], line: int) -> Iterator[str]:
        for i, cell in enumerate(cells):
            pair = _TWO.fullmatch(cell) if i in parts else None
            yield from pair.groups()[:2] if pair else [cell] if i not in parts else parts[i] if not line else [cell] * 2

    table = ["\t".join(wide(split(text, opening.separator), i)) for i, text in enumerate(lines[opening.line - 1 :])]
    return Shape("two figures in a cell", "\n".join([*lines[: opening.line - 1], *table]))
