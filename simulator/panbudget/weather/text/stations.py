"""
Stations: which column of a station's table, with a time of day in its rows, is which quantity, and in what unit.

The column that fits is taken; of two the one named for outdoors; where that doesn't decide, neither is, and the user is
asked. Columns that aren't used are noted by name. Words and units are those of `headers`.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from panbudget.weather.marks import is_known_mark
from panbudget.weather.text.cells import MISSING
from panbudget.weather.text.headers import (
    NAMES_SHOWN,
    NOT_OUTDOORS,
    NUMBER,
    OUTDOORS,
    Header,
    ask_beside_imperial,
    headings_of,
    of_codes,
    take_named,
    whole,
    words_of,
)
from panbudget.weather.text.heading import Heading, converts, heading_of, in_english, known_unit, unknown_unit
from panbudget.weather.text.mistakes import Mistakes, listed, note
from panbudget.weather.text.moments import is_dated
from panbudget.weather.text.opening import Opening
from panbudget.weather.text.raw import TO_FILL_IN, ColumnChoice, Columns, Source
from panbudget.weather.text.rows import Rows, split
from panbudget.words import packaged

_DATA = packaged("weather/text/headers.toml")
_OF_AN_HOUR = re.compile(_DATA["of_an_hour"])
#: what records may have of their own beside a temperature, of which days get theirs
EXTREMES = {"lowest": "tmin", "highest": "tmax"}
# what in brackets is neither words nor a sensor's serial number
_OTHER_UNIT = re.compile(r"^(?!.*\b(?:s/n|n/a|w/o)\b)[^\ufffd]*(\w/\w|\bk?lu?x\b)[^\ufffd]*$", re.IGNORECASE)
#: what is taken only beside another quantity, and beside which
BESIDE = {**dict.fromkeys(EXTREMES, "temperature"), "span": "rain"}
_NAMED = 4  # of columns that may all be one quantity
_MEAN, _EXTREME = (words_of(_DATA[name]) for name in ("mean", "extreme"))


class _Quantity(NamedTuple):
    """Units that records have, as `units` names them and as people read the first, and the words of its headers."""

    units: list[str]
    shown: str
    words: re.Pattern[str]
    by_unit: re.Pattern[str]
    but: re.Pattern[str]


_QUANTITIES = {
    name: _Quantity(
        facts["units"],
        facts["shown"],
        words_of(facts["words"]),
        whole(facts.get("by_unit", ())),
        words_of(facts["but"]),
    )
    for name, facts in _DATA["quantities"].items()
}
# what a user may write under [weather.columns] -> quantity
_CHOICES = {name: name for name in _QUANTITIES} | {
    day: name for name, facts in _DATA["quantities"].items() for day in facts.get("daily", ())
}
# a rate of rain that a user states -> mm in a second
RATES = {"mm/h": 1.0 / 3600.0, "in/h": 25.4 / 3600.0, "mm/min": 1.0 / 60.0}
_TIPS, _TIP = re.compile(r"\b(tips|pulses|counts)\b"), re.compile(r"\b(0[.,]\d{1,3}) ?(mm|in)\b")
# of rain, what it counts
_OF_KIND = {f"{kind}_rain": kind for kind in ("interval", "daily", "total")}
_CHOICES |= dict.fromkeys(_OF_KIND, "rain")
_RAIN_ORDER: list[str] = _DATA["rain_order"]
_RAIN_KINDS = {kind: words_of(words) for kind, words in _DATA["rain_kinds"].items()}


def is_weather(cells: Sequence[str]) -> bool:
    """
    Tell whether a header names an air temperature, as a station's table does.

    Parameters
    ----------
    cells : sequence of str
        The header's cells.

    Returns
    -------
    bool
        By its words alone.
    """
    return any(_fits("temperature", heading_of(i, cell)) for i, cell in enumerate(cells))


def read_logger_header(
    cells: Sequence[str],
    columns: Columns,
    *,
    times: Sequence[int],
    line: int,
    units: Sequence[str] = (),
    legend: Mapping[str, str] | None = None,
    table: str = "weather",
    in_part: bool = False,
) -> Header:
    """
    Find the quantities among a table's headers.

    Parameters
    ----------
    cells : sequence of str
        The header line's cells.
    columns : mapping
        The user's choice: a quantity, or a daily column that comes of it, -> column and unit.
    times : sequence of int
        Columns that say when.
    line : int
        The header's line, for messages.
    units : sequence of str
        Cells of a line of units below the header, if there is one.
    legend : mapping, optional
        As in `read_header`.
    in_part : bool
        As in `read_header`.

    Returns
    -------
    Header
        With its problems, if there are any.
    """
    header = Header(table, line, in_part=in_part)
    headings = {i: heading for i, heading in headings_of(cells, units, legend).items() if i not in times}
    header.imperial = [heading.text for heading in headings.values() if heading.unit in _DATA["imperial"]]
    choices = {name: choice for name, choice in columns.items() if name not in ("date", "time")}
    names = take_named(header, headings, choices, _CHOICES, _best)
    for quantity, name in names.items():
        heading = headings[header.places[quantity]]
        unit = None if quantity == "rain" and heading.unit == "rate" else heading.unit
        _take(header, quantity, heading, choices[name].unit or unit, by_user=choices[name].unit is not None)
        header.rain_kind = _OF_KIND.get(name, header.rain_kind)
        header.compare(quantity, choices[name].unit, unit, _QUANTITIES[quantity].units)
    for quantity in (each for each in _QUANTITIES if each not in names):
        best = _best(
            quantity, [heading for heading in headings.values() if heading.place not in header.places.values()]
        )
        if quantity in BESIDE:
            if len(best) == 1 and BESIDE[quantity] in header.places:
                unit = best[0].unit or header.units[BESIDE[quantity]] if quantity in EXTREMES else "h"
                _take(header, quantity, best[0], unit, by_user=False)
        elif len(best) > 1:
            both = " and ".join(f'"{heading.text}"' for heading in best[:_NAMED])
            both += f" and {len(best) - _NAMED} more" * (len(best) > _NAMED)
            spoken = quantity.replace("_", " ")
            header.wrong(quantity, "two-columns", both=both, quantity=spoken)
            alike = {heading.text.rpartition(f" {NUMBER}")[0] for heading in best}
            which = best[0].text if len(alike) > 1 or "" in alike else f"{alike.pop()} {NUMBER}{TO_FILL_IN}"
            header.suggest(quantity, best[0]._replace(text=which))
        elif best:
            _take(header, quantity, best[0], best[0].unit, by_user=False)
    if header.lacks("temperature") and not (in_part and header.places):
        others = [heading.text for heading in headings.values()]
        shown = listed(others, NAMES_SHOWN) or "no other columns"
        perhaps = [heading for heading in headings.values() if _may_be_of_air(heading)]
        hint = note("perhaps-air", column=perhaps[0].text) if perhaps else of_codes(others)
        header.wrong("temperature", "no-temperature-column", listed=shown, codes=hint)
        if perhaps:
            header.suggest("temperature", perhaps[0])
    unused = [heading for heading in headings.values() if heading.place not in header.places.values()]
    header.leave(unused)
    if header.lacks("rain") and (rates := [heading.text for heading in unused if heading.unit == "rate"]):
        unit = next((unit for unit in RATES if unit in rates[0].lower()), "mm/h")
        header.unused += note("rain-rate", column=rates[0], unit=unit, table=table)
    at_sea = [heading.text for heading in unused if re.search(r"\b(press\w*|baro\w*)", heading.name)]
    if at_sea and "pressure" not in header.places:
        header.notes.append(note("sea-level", column=at_sea[0]))
    ask_beside_imperial(header)
    header.ask_of_two(headings, columns)
    header.chosen |= {name: columns[name] for name in ("date", "time") if name in columns}
    return header


def filled_header(source: Source, opening: Opening, read: Callable[..., Header]) -> Header:
    """
    Read the header; a column that is empty throughout gives way to another of its meaning, and that is said.

    Parameters
    ----------
    source : Source
        The file.
    opening : Opening
        How its table begins.
    read : callable
        `read_header` or `read_logger_header`, with what is not of the file or its opening.

    Returns
    -------
    Header
    """
    facts = {"line": opening.line, "units": opening.units, "legend": opening.legend}

    def without(places: Iterable[int]) -> Header:
        cells = ["" if place in places else cell for place, cell in enumerate(opening.quantities)]
        return read(cells, **facts, table=source.table, in_part=source.in_part)

    header = without(())
    empty = {place for name, place in header.places.items() if name not in header.chosen}
    below = (split(line, opening.separator) for line in source.lines[opening.above :])
    for row in itertools.chain(opening.rows, below):
        if empty:
            empty = {place for place in empty if place >= len(row) or _is_empty(row[place], source.missing)}
        else:
            return header
    given_way, said, second = set[int](), list[str](), without(empty)
    for name, place in header.places.items():
        if place in empty and name in second.places:
            given_way.add(place)
            said.append(note("empty-column", column=header.headers[name], other=second.headers[name]))
    if said:
        header = without(given_way)
        header.notes += said
    return header


def _is_empty(cell: str, missing: Iterable[str]) -> bool:
    """Tell a cell without a figure: nothing, or a mark for it, of known ones a negative."""
    mark = re.fullmatch(r"-\d+(\.\d*)?", cell)
    return (
        not cell or cell in (*MISSING, *missing) or (mark is not None and is_known_mark(np.array(float(cell))).item())
    )


def note_stations(opening: Opening, rows: Rows, moments: npt.NDArray[np.datetime64], mistakes: Mistakes) -> None:
    """Note a table whose moments repeat since it holds several stations, named in a column of its own."""
    if len(moments) != len(rows.texts) or np.unique(moments).size == len(moments):
        return
    first, names = opening.rows[0], [in_english(cell) for cell in opening.cells]
    worded = (i for i, cell in enumerate(first) if re.search(r"[^\W\d_]", cell) and not is_dated(cell))
    called = (i for i, name in enumerate(names) if re.search(r"\b(station|stn|site|location|name|id|code)\b", name))
    for place in dict.fromkeys([*called, *worded]):
        stations = [cells[place] for cells in rows.cells()]
        named = list(dict.fromkeys(stations))
        # what each row has one of its own counts them
        if 1 < len(named) < len(stations) and len(set(zip(stations, moments.tolist(), strict=True))) == len(moments):
            mistakes.note("several-stations", count=len(named), named=listed(named, 5))
            return


def _may_be_of_air(heading: Heading) -> bool:
    """Tell what has a temperature's unit and no word of another thing; a base station's may stand outdoors or indoors."""
    of_another = NOT_OUTDOORS.search(heading.name.replace("base station", ""))
    of_another = of_another or _QUANTITIES["temperature"].but.search(heading.name) or _EXTREME.search(heading.name)
    return not of_another and heading.unit in ("degC", "degF")


def _fits(quantity: str, heading: Heading) -> bool:
    units, _, words, by_unit, but = _QUANTITIES[quantity]
    name = _OF_AN_HOUR.sub("", heading.name) if quantity == "radiation" else heading.name
    called = words.search(name) or (heading.unit and by_unit.fullmatch(name))
    extreme = quantity not in ("rain", *EXTREMES) and _EXTREME.search(name)
    if extreme or heading.unit == "rate" or not called or but.search(name) or NOT_OUTDOORS.search(name):
        return False
    return heading.unit is None or converts(heading.unit, units)


def _best(quantity: str, headings: Sequence[Heading]) -> list[Heading]:
    """Return the columns that fit best; one of them where the same quantity stands in several units."""

    def rank(heading: Heading) -> int:
        if quantity == "rain":
            return -_RAIN_ORDER.index(_rain_kind(heading.name))
        sums = quantity == "radiation" and "energy" in heading.name  # the same light once more
        sums |= bool(re.search(r"\bdaily\b", heading.name))  # a day's, beside each record's
        is_own = bool(re.search(r"\bsensor\b", heading.name))  # its own, where there is another
        told = bool(_MEAN.search(heading.name)) + bool(heading.unit) + (heading.name in ("ghi", "global radiation"))
        return 2 * bool(OUTDOORS.search(heading.name)) + told - 4 * sums - is_own

    fitting = [heading for heading in headings if _fits(quantity, heading)]
    top = max(map(rank, fitting), default=0)
    best = [heading for heading in fitting if rank(heading) == top]
    same = len({heading.name for heading in best}) == 1 and len({heading.unit for heading in best}) == len(best)
    return best[:1] if same else best


def _rain_kind(name: str) -> str:
    return next((kind for kind, words in _RAIN_KINDS.items() if words.search(name)), "unknown")


def _take(header: Header, quantity: str, heading: Heading, unit: str | None, *, by_user: bool) -> None:
    units, shown, *_ = _QUANTITIES[quantity]
    header.take(quantity, heading.place, heading.text, heading.name)
    header.units[quantity] = unit or shown
    if quantity == "rain":
        kind = _rain_kind(heading.name)
        header.rain_kind = "total" if kind in ("monthly", "weekly", "event") else kind
    if quantity == "rain" and unit is None and _TIPS.search(f"{heading.name} {heading.text.lower()}"):
        size = _TIP.search(heading.text.lower())
        unit = TO_FILL_IN if size is None else f"{size[1].replace(',', '.')} {size[2]}"
        if size is None:
            header.suggested[quantity] = ColumnChoice(heading.text, TO_FILL_IN)
    if unit is None and _OTHER_UNIT.search(other := unknown_unit(heading.text)):
        unit = other  # of another quantity, as g/m³ or lux
    if unit is None:
        spoken = quantity.replace("_", " ")
        header.notes.append(note("no-unit", quantity=spoken, column=heading.text, unit=shown))
        return
    known = known_unit(unit) or unit
    if quantity == "rain" and by_user and unit in RATES:
        header.stated.add(quantity)
        return
    header.convert(quantity, unit if known == "rate" else known, units, by_user=by_user)
