"""
Headers: which column of a table is which quantity, in what unit; of a plain table's header, and of a station's.

A plain table's header is a standard name, may carry its unit in brackets, or is named by the user under
[weather.columns]. Capitals, spaces and hyphens don't matter. Columns that nobody asked for are noted; one that looks like
a standard column written otherwise is refused, because passing it over would let the program invent what the file has.

A station's headers are read by their words and the unit in or behind them. Of two columns that fit, the one named for
outdoors is taken; where that doesn't decide, neither is, and the user is asked. Columns that aren't used are noted by name.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from panbudget.errors import Problem, did_you_mean
from panbudget.units import UnitError, column_conversion
from panbudget.weather.text.columns import REQUIRED, STANDARD
from panbudget.weather.text.raw import ColumnChoice

_BRACKETED = re.compile(r"(?P<name>.*?)\s*[\[(]\s*(?P<unit>[^\])]*?)\s*[\])]")
# parts of a header -> the standard columns one of which it may stand for
_HINTS: tuple[tuple[re.Pattern[str], tuple[str, ...]], ...] = (
    (re.compile(r"wind|(^|_)(ws|u2|u10)(_|$)"), ("wind",)),
    (re.compile(r"rain|precip|(^|_)prcp?(_|$)"), ("rain",)),
    (re.compile(r"radiation|solar|(^|_)(rs|ghi|srad|rad)(_|$)"), ("radiation",)),
    (re.compile(r"sun(shine|_?hours)"), ("sunshine", "radiation")),
    (re.compile(r"humid|(^|_)rh"), ("rh_mean", "rh_max", "dew_point", "vapour_pressure")),
    (re.compile(r"dew"), ("dew_point",)),
    (re.compile(r"vapou?r"), ("vapour_pressure",)),
    (re.compile(r"(temp|^t|^air).*min|min.*temp|(^|_)t_?(low|lo|mn|n)(_|$)"), ("tmin",)),
    (re.compile(r"(temp|^t|^air).*max|max.*temp|(^|_)t_?(high|hi|mx|x)(_|$)"), ("tmax",)),
    (re.compile(r"(^|_)(day|date|datum|datetime|timestamp|time)(_|$)"), ("date",)),
)
_NOT_MEANT = re.compile(r"dir|gust|angle|bearing|wet|soil|sea|msl|dev|flag|quality|(^|_)qc(_|$)|source|station")

#: quantity -> (unit that records have, as `units` names it and as people read it)
QUANTITIES = {
    "temperature": ("degC", "°C"),
    "humidity": ("%", "%"),
    "dew_point": ("degC", "°C"),
    "wind": ("m/s", "m/s"),
    "radiation": ("W/m^2", "W/m²"),
    "rain": ("mm", "mm"),
    "pressure": ("kPa", "kPa"),
}
# what a user may write under [weather.columns] -> quantity
_CHOICES = {name: name for name in QUANTITIES} | {
    "tmin": "temperature",
    "tmax": "temperature",
    "rh_max": "humidity",
    "rh_min": "humidity",
    "rh_mean": "humidity",
}
# units as headers write them, without case, spaces and superscripts -> as `units` reads them
_UNITS = {
    **dict.fromkeys(("°c", "degc", "deg.c", "celsius", "c"), "degC"),
    **dict.fromkeys(("°f", "degf", "deg.f", "fahrenheit", "f"), "degF"),
    **dict.fromkeys(("kelvin", "k"), "K"),
    **dict.fromkeys(("%", "%rh", "percent", "pct"), "%"),
    **dict.fromkeys(("m/s", "m/sec", "mps", "ms-1", "meters/second"), "m/s"),
    **dict.fromkeys(("km/h", "km/hr", "kmh", "kph", "kmph"), "km/h"),
    **dict.fromkeys(("mph", "mi/h", "mi/hr", "miles/hour"), "mph"),
    **dict.fromkeys(("kn", "kt", "kts", "knot", "knots"), "knot"),
    **dict.fromkeys(("ft/s", "fps"), "ft/s"),
    **dict.fromkeys(("mm", "millimeter", "millimeters", "millimetres"), "mm"),
    "cm": "cm",
    **dict.fromkeys(("in", "in.", "inch", "inches", '"'), "in"),
    **dict.fromkeys(("w/m2", "w/m^2", "wm-2", "wm2", "w/sqm", "watts/m2"), "W/m^2"),
    **dict.fromkeys(("kw/m2", "kw/m^2"), "kW/m^2"),
    **dict.fromkeys(("wh/m2", "wh/m^2"), "W*hour/m^2"),
    **dict.fromkeys(("kj/m2", "kj/m^2"), "kJ/m^2"),
    **dict.fromkeys(("mj/m2", "mj/m^2"), "MJ/m^2"),
    **dict.fromkeys(("j/cm2", "j/cm^2"), "J/cm^2"),
    **dict.fromkeys(("hpa", "mbar", "mb", "millibar"), "hPa"),
    "kpa": "kPa",
    "pa": "Pa",
    **dict.fromkeys(("inhg", "in.hg", '"hg'), "inHg"),
    "mmhg": "mmHg",
}
_RATES = frozenset({"mm/h", "mm/hr", "mm/hour", "in/h", "in/hr", "in/hour", "inch/h", "mmh", "mm/min"})
_IMPERIAL = frozenset({"degF", "mph", "in", "inHg", "ft/s"})
_DEGREE = str.maketrans({"º": "°", "ᵒ": "°", "˚": "°", "\ufffd": "°", "“": '"', "”": '"'})
_BRACKETS = re.compile(r"[\[({]\s*([^\])}]*?)\s*[\])}]")
_GLUED = re.compile(
    r"(?P<name>(?:out)?temp|dewpt|dewpoint|(?:daily|hourly|event|weekly|monthly|yearly|total)?rain|windspeed|wind)"
    r"(?P<unit>f|c|in|mm|mph|kmh|kph|ms)"
)

_NOT_OUTDOORS = re.compile(
    r"\b(in|indoor|inside|inner|soil|leaf|water|wet|bulb|feels?|like|heat|chill|apparent|wbgt|thw|thsw|index|batt\w*|"
    r"volt\w*|std|sd|stdev|cpu|console|logger|panel|ch ?\d+|channel|trend|days|et|et0|eto|evap\w*|count|flag|qc|quality)\b"
)
_EXTREME = re.compile(r"\b(hi|high|max|maximum|low|lo|min|minimum|gust|gusts|peak|tmx|smx|tmn)\b")
_WORDS: dict[str, tuple[re.Pattern[str], re.Pattern[str]]] = {
    "dew_point": (re.compile(r"\b(dew\w*|td)\b"), re.compile(r"depression|spread")),
    "temperature": (
        re.compile(r"\b(temp|temps|temperature|airtemp|outtemp|tair|air ?t[cf]?|drybulb|t2m|ta|t)\b|\bdry bulb\b"),
        re.compile(r"\b(dew\w*|hum\w*|solar|rain|wind)\b"),
    ),
    "humidity": (re.compile(r"\b(hum\w*|rh|rhum|relhum|r h)\b"), re.compile(r"\b(abs\w*|specific|mixing)\b")),
    "wind": (
        re.compile(r"\b(wind|windspeed|windspd|wspd|wspeed|ws|ws ms|anemometer)\b"),
        re.compile(
            r"\b(dir\w*|winddir\w*|wd\w*|deg|degrees|bearing|run|vane|samp\w*|tx|rose|dominant|compass|angle|u|v)\b"
        ),
    ),
    "radiation": (
        re.compile(r"\b(solar\w*|rad|radiation|srad|ghi|irradiance|slr\w*|pyran\w*|global)\b"),
        re.compile(r"\b(uv\w*|energy|dose|net|long\w*|par|ppfd|diffuse|direct|dni|dhi|lux|illum\w*|cell|panel)\b"),
    ),
    "rain": (
        re.compile(r"\b(rain\w*|precip\w*|prcp|ppt)\b"),
        re.compile(
            r"\b(rate\w*|rainrate|intensity|prob\w*|chance|type|duration|hours|time|last|past|since|24|24h|24hr|24hrs|"
            r"12h|6h|48|48h|storm start)\b"
        ),
    ),
    "pressure": (
        re.compile(
            r"\b(abs\w*|absolute|station|site|local)\b.*\b(press\w*|baro\w*)|\b(press\w*|baro\w*)\b.*\babs\w*|baromabs"
        ),
        re.compile(r"\b(rel\w*|sea|msl|slp|vapou?r|hpa d)\b"),
    ),
}
_OUTDOORS = re.compile(r"\b(out|outdoor|outside|outer|air|airtemp|outtemp|external|ambient|dry|2m)\b")
_MEAN = re.compile(r"\b(avg|average|mean)\b")
_RAIN_KINDS = (
    ("interval", re.compile(r"\b(interval|increment|incremental|amount|per record|tip\w*)\b")),
    ("daily", re.compile(r"\b(daily|day|today|dailyrain\w*)\b")),
    ("hourly", re.compile(r"\b(hourly|hour|1h|1hr|hourlyrain\w*)\b")),
    ("total", re.compile(r"\b(total|totalrain\w*|yearly|annual|year|yearlyrain\w*|counter|season|lifetime)\b")),
    ("monthly", re.compile(r"\b(monthly|month|monthlyrain\w*)\b")),
    ("weekly", re.compile(r"\b(weekly|week|weeklyrain\w*)\b")),
    ("event", re.compile(r"\b(event|storm|eventrain\w*)\b")),
)
# which of several rain columns is taken, best first
_RAIN_ORDER = ("interval", "daily", "total", "unknown", "monthly", "weekly", "event", "hourly")
_NAMES_SHOWN = 12


@dataclass
class Header:
    """
    What a header line says, by standard name or, of a station's table, by quantity.

    ``table`` is the scenario's that names the file, for cures.
    ``places`` are columns' places in the row, ``units`` those of the file, ``stated`` the names whose unit it states,
    ``conversions`` to our units, ``headers`` the columns' texts. ``settled`` are the names that a problem is about
    already, so that they aren't reported missing too. Of a station: ``energy`` is the factor to J/m² of radiation that is
    a sum over each interval, ``rain_kind`` what the rain counts, ``imperial`` the headers with imperial units.
    """

    table: str = "weather"
    places: dict[str, int] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    stated: set[str] = field(default_factory=set)
    conversions: dict[str, tuple[float, float]] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    settled: set[str] = field(default_factory=set)
    energy: float | None = None
    rain_kind: str = "unknown"
    imperial: list[str] = field(default_factory=list)

    def wrong(self, name: str, code: str, where: str, found: str, cure: str, *, expected: str = "") -> None:
        """Note a problem that is about a name."""
        self.settled.add(name)
        self.problems.append(Problem(code, where, found, expected, cure))

    def take(self, name: str, place: int, text: str) -> None:
        """Take a column for a name."""
        self.places[name], self.headers[name] = place, text


def _named(
    header: Header, texts: Mapping[int, str], columns: Mapping[str, ColumnChoice], known: Mapping[str, str]
) -> dict[str, str]:
    """Take the columns that the user names, by what each name stands for; return what took which name."""
    names: dict[str, str] = {}
    for name, choice in columns.items():
        key = f"{header.table}.columns.{name}"
        header.settled.add(name)
        if name not in known:
            cure, expected = did_you_mean(name, known, "correct it"), f"one of {', '.join(known)}"
            header.wrong(name, "unknown-column", key, "is no standard column", cure, expected=expected)
            continue
        quantity = known[name]
        found = [i for i, text in texts.items() if text == choice.column]
        found = found or [i for i, text in texts.items() if _plain(text) == _plain(choice.column)]
        other = next((taken for taken, place in header.places.items() if found == [place] and taken != quantity), None)
        what = f'column "{choice.column}"'
        if not found:
            near = difflib.get_close_matches(choice.column, texts.values(), n=1)
            hint = f'did you mean "{near[0]}"? ' if near else ""
            cure = f"name one of its columns: {hint}It has {', '.join(text for text in texts.values() if text)}"
            header.wrong(name, "no-column", f"{key}:", f"{what} is not in the file", cure)
        elif len(found) > 1:
            found_times = f"{what} stands in the header {len(found)} times"
            header.wrong(name, "column-twice", f"{key}:", found_times, "rename all but one")
        elif other is not None:
            cure = "name another, or take one of the two lines out"
            found_taken = f"{what} is already named as {names[other]}; each column can be one quantity"
            header.wrong(name, "column-taken", f"{key}:", found_taken, cure)
        elif header.places.get(quantity, found[0]) != found[0]:
            cure = f'name one, {quantity} = {{ column = "{choice.column}" }}'
            two = f'"{choice.column}" and "{header.headers[quantity]}" are both named for the {quantity}'
            expected = "one column, from which the day's extremes come"
            header.wrong(name, "two-columns", f"{key}:", two, cure, expected=expected)
        else:
            header.take(quantity, found[0], texts[found[0]])
            names[quantity] = name
    return names


def read_header(
    cells: Sequence[str], columns: Mapping[str, ColumnChoice], *, line: int, table: str = "weather"
) -> Header:
    """
    Find the standard columns among a table's headers.

    Parameters
    ----------
    cells : sequence of str
        The header line's cells, stripped.
    columns : mapping
        Standard name -> the user's choice of column and unit; "date" may be among them.
    line : int
        Line of the file, for messages.

    Returns
    -------
    Header
        With its problems, if there are any.
    """
    header = Header(table)
    known = {name: name for name in ("date", *STANDARD)}
    names = _named(header, dict(enumerate(cells)), columns, known)
    for name in names:
        unit = columns[name].unit or _split_unit(header.headers[name])[1]
        _set_unit(header, name, unit, where=f"{table}.columns.{name}:")
    passed_over: set[int] = set()
    for place, cell in enumerate(cells):
        text, unit = _split_unit(cell)
        name = _plain(text)
        if place in header.places.values() or name not in known:
            continue
        first = header.headers.get(name)
        if first is not None and name in names and _plain(_split_unit(first)[0]) != name:
            header.notes.append(f'column "{cell}" is not used: {name} is taken from "{first}", as named')
            passed_over.add(place)
        elif first is not None:
            _twice(header, name, cell, line)
        else:
            header.take(name, place, cell)
            _set_unit(header, name, unit, where=f'line {line}: column "{cell}":')
    _look_at_the_rest(header, cells, passed_over, line=line)
    left = [cell for place, cell in enumerate(cells) if place not in header.places.values() and cell]
    for name in ("date", *REQUIRED):
        if name in header.places or name in header.settled:
            continue
        meaning = "the day" if name == "date" else f"{STANDARD[name].meaning} in {STANDARD[name].shown_unit}"
        near = difflib.get_close_matches(name, left, n=1, cutoff=0.5)
        example = near[0] if near else "its header"
        cure = f'add it, or if it has another name write {name} = {{ column = "{example}" }} under [{header.table}.columns]'
        header.wrong(name, "no-column", f"line {line}:", f"there is no column {name} ({meaning})", cure)
    return header


def _twice(header: Header, name: str, cell: str, line: int) -> None:
    found = f'column "{cell}" stands twice in the header'
    header.wrong(name, "column-twice", f"line {line}:", found, "rename or delete one of the two")


def _plain(cell: str) -> str:
    return re.sub(r"[\s\-]+", "_", cell.strip().lower())


def _split_unit(cell: str) -> tuple[str, str | None]:
    match = _BRACKETED.fullmatch(cell)
    if match is None or not match["name"]:
        return cell, None
    return match["name"], match["unit"] or None


def _set_unit(header: Header, name: str, unit: str | None, *, where: str) -> None:
    if name == "date":
        return
    column = STANDARD[name]
    header.units[name] = unit or column.shown_unit
    if unit is None:
        return
    header.stated.add(name)
    text = re.sub(r"\b([ck]?m)([23])\b", r"\1^\2", unit)  # m2 is how headers write m²
    try:
        conversion = column_conversion(text, column.unit)
    except UnitError as error:
        header.settled.add(name)
        header.problems.append(error.problem.under(f"{where} unit"))
        return
    if conversion != (1.0, 0.0):
        header.conversions[name] = conversion


def _look_at_the_rest(header: Header, cells: Sequence[str], passed_over: set[int], *, line: int) -> None:
    """Note the columns that are left, and refuse those that look like one which is missing."""
    where = f"line {line}:"
    if "date" not in {*header.places, *header.settled} and {"year", "month", "day"} <= {_plain(cell) for cell in cells}:
        cure = "join them to one column date, such as 2025-05-01"
        header.wrong("date", "split-date", where, "the date is spread over year, month and day", cure)
    unused: list[str] = []
    absent = [name for name in ("date", *STANDARD) if name not in {*header.places, *header.settled}]
    seen: set[str] = set()
    for place, cell in enumerate(cells):
        name = _plain(_split_unit(cell)[0])
        # a standard column twice is refused already
        if place in header.places.values() or place in passed_over or not cell or name in header.places:
            continue
        if name in seen:
            _twice(header, cell, cell, line)
            continue
        seen.add(name)
        meant = _meant(name, absent)
        if meant is None:
            unused.append(cell)
            continue
        choice = f'{meant} = {{ column = "{cell}" }}'
        if meant != "date":
            choice = f'{meant} = {{ column = "{cell}", unit = "{STANDARD[meant].shown_unit}" }} (with its own unit)'
        cure = f"rename it, write {choice} under [{header.table}.columns], or delete the column"
        found = f'column "{cell}" is not a standard name but looks like {meant}'
        header.wrong(meant, "looks-like", where, found, cure)
        absent.remove(meant)
    if unused:
        header.notes.append(f"columns not used: {', '.join(unused)}")


def _meant(name: str, absent: Sequence[str]) -> str | None:
    if _NOT_MEANT.search(name):
        return None
    near = difflib.get_close_matches(name, absent, n=1, cutoff=0.76)
    if near:
        return near[0]
    return next((m[0] for pattern, m in _HINTS if pattern.search(name) and set(m) <= set(absent)), None)


@dataclass(frozen=True)
class _Heading:
    place: int
    text: str
    name: str
    unit: str | None


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
    headings = [_heading(i, cell, None) for i, cell in enumerate(cells)]
    return any(_fits("temperature", heading) for heading in headings)


def read_logger_header(
    cells: Sequence[str],
    columns: Mapping[str, ColumnChoice],
    *,
    time_places: Sequence[int],
    line: int,
    units: Sequence[str] = (),
    table: str = "weather",
) -> Header:
    """
    Find the quantities among a table's headers.

    Parameters
    ----------
    cells : sequence of str
        The header line's cells.
    columns : mapping
        The user's choice: a quantity, or a daily column that comes of it, -> column and unit.
    time_places : sequence of int
        Columns that say when.
    line : int
        The header's line, for messages.
    units : sequence of str
        Cells of a line of units below the header, if there is one.

    Returns
    -------
    Header
        With its problems, if there are any.
    """
    header = Header(table)
    headings = [
        _heading(i, cell, units[i] if i < len(units) else None)
        for i, cell in enumerate(cells)
        if i not in time_places and cell.strip()
    ]
    header.imperial = [heading.text for heading in headings if heading.unit in _IMPERIAL]
    by_place = {heading.place: heading for heading in headings}
    choices = {name: choice for name, choice in columns.items() if name not in ("date", "time")}
    names = _named(header, {place: heading.text for place, heading in by_place.items()}, choices, _CHOICES)
    for quantity, name in names.items():
        heading = by_place[header.places[quantity]]
        unit = choices[name].unit or (None if quantity == "rain" and heading.unit == "rate" else heading.unit)
        _take(header, quantity, heading, unit, where=f"{table}.columns.{quantity}:")
    for quantity in QUANTITIES:
        if quantity in names:
            continue
        fitting = [one for one in headings if one.place not in header.places.values() and _fits(quantity, one)]
        best = _best_rain(fitting) if quantity == "rain" else _best(fitting)
        if len(best) > 1:
            both = " and ".join(f'"{one.text}"' for one in best)
            found = f"columns {both} may both be the {quantity.replace('_', ' ')}"
            cure = f'name one under [{table}.columns], {quantity} = {{ column = "{best[0].text}" }}'
            header.wrong(quantity, "two-columns", f"line {line}:", found, cure)
        elif best:
            _take(header, quantity, best[0], best[0].unit, where=f'line {line}: column "{best[0].text}":')
    if "temperature" not in {*header.places, *header.settled}:
        example = headings[0].text if headings else "its header"
        cure = f"add it, or name it under [{table}.columns], "
        cure += f'temperature = {{ column = "{example}", unit = "degC" }}'
        header.wrong("temperature", "no-column", f"line {line}:", "no column is an air temperature", cure)
    _note_the_rest(header, headings)
    return header


def _heading(place: int, text: str, unit_below: str | None) -> _Heading:
    clean = unicodedata.normalize("NFKC", text.strip().translate(_DEGREE))
    unit = _unit(unit_below) if unit_below else None
    name = clean
    for inside in _BRACKETS.findall(clean):
        unit = _unit(inside) or unit
    name = _BRACKETS.sub(" ", name)
    if unit is None:
        name, unit = _trailing_unit(name)
    name = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    name = re.sub(r"[^a-z0-9]+", " ", name.lower()).strip()
    if unit is None and (match := _GLUED.fullmatch(name.replace(" ", ""))):
        unit, name = _UNITS[match["unit"] if match["unit"] != "ms" else "m/s"], match["name"]
        name = re.sub(r"^(daily|hourly|event|weekly|monthly|yearly|total)(?=rain)", r"\1 ", name)
    return _Heading(place, text.strip(), name, unit)


def _unit(text: str) -> str | None:
    squeezed = re.sub(r"\s+", "", unicodedata.normalize("NFKC", text.translate(_DEGREE)).lower())
    squeezed = squeezed.replace("m²", "m2").replace("degrees", "deg").replace("deg.", "deg")
    if squeezed in _RATES:
        return "rate"
    return _UNITS.get(squeezed)


def _trailing_unit(name: str) -> tuple[str, str | None]:
    """Find a unit behind a comma, an underscore or a space."""
    words = re.split(r"[\s,_]+", name.strip())
    for count in (2, 1):
        unit = _unit("".join(words[-count:])) if len(words) > count else None
        # "in" is mostly indoors
        if unit == "in" and words[-1].lower() == "in" and not re.search(r"rain|precip", name.lower()):
            continue
        if unit is not None:
            return " ".join(words[:-count]), unit
    return name, None


def _fits(quantity: str, heading: _Heading) -> bool:
    words, but = _WORDS[quantity]
    name = heading.name
    if heading.unit == "rate" or not words.search(name) or but.search(name) or _NOT_OUTDOORS.search(name):
        return False
    if quantity != "rain" and _EXTREME.search(name):
        return False
    if heading.unit is None:
        return True
    try:
        _conversion(quantity, heading.unit)
    except UnitError:
        return False
    return True


def _best(fitting: Sequence[_Heading]) -> list[_Heading]:
    def rank(heading: _Heading) -> int:
        return 2 * bool(_OUTDOORS.search(heading.name)) + bool(_MEAN.search(heading.name))

    top = max((rank(one) for one in fitting), default=0)
    best = [one for one in fitting if rank(one) == top]
    # the same quantity in two units: either will do
    if len({one.name for one in best}) == 1 and len({one.unit for one in best}) == len(best):
        return best[:1]
    return best


def _best_rain(fitting: Sequence[_Heading]) -> list[_Heading]:
    for kind in _RAIN_ORDER:
        best = [one for one in fitting if _rain_kind(one.name) == kind]
        if best:
            same = len({one.name for one in best}) == 1 and len({one.unit for one in best}) == len(best)
            return best[:1] if same else best
    return []


def _rain_kind(name: str) -> str:
    return next((kind for kind, words in _RAIN_KINDS if words.search(name)), "unknown")


def _conversion(quantity: str, unit: str) -> tuple[tuple[float, float], float | None]:
    """Return factor and offset to the records' unit; for sums of radiation the factor to J/m² beside it."""
    if quantity == "radiation":
        try:
            return column_conversion(unit, "W/m^2"), None
        except UnitError:
            return (1.0, 0.0), column_conversion(unit, "J/m^2")[0]
    return column_conversion(unit, QUANTITIES[quantity][0]), None


def _take(header: Header, quantity: str, heading: _Heading, unit: str | None, *, where: str) -> None:
    header.take(quantity, heading.place, heading.text)
    header.units[quantity] = unit or QUANTITIES[quantity][1]
    if quantity == "rain":
        kind = _rain_kind(heading.name)
        header.rain_kind = "total" if kind in ("monthly", "weekly", "event") else kind
    if unit is None:
        header.notes.append(
            f'{quantity.replace("_", " ")}: the header "{heading.text}" names no unit, {QUANTITIES[quantity][1]} is taken'
        )
        return
    header.stated.add(quantity)
    known = _unit(unit) or unit
    try:
        header.conversions[quantity], energy = _conversion(quantity, known if known != "rate" else unit)
    except UnitError as error:
        header.settled.add(quantity)
        header.problems.append(error.problem.under(f"{where} unit"))
        return
    header.energy = energy if quantity == "radiation" else header.energy


def _note_the_rest(header: Header, headings: Sequence[_Heading]) -> None:
    unused = [one for one in headings if one.place not in header.places.values()]
    if not unused:
        return
    shown = ", ".join(one.text for one in unused[:_NAMES_SHOWN])
    more = f" and {len(unused) - _NAMES_SHOWN} more" if len(unused) > _NAMES_SHOWN else ""
    header.notes.append(f"columns not used: {shown}{more}")
    sea = [one.text for one in unused if re.search(r"\b(press\w*|baro\w*)", one.name)]
    if sea and "pressure" not in header.places:
        header.notes.append(
            f'"{sea[0]}" may be brought down to sea level and is not used: the site\'s elevation gives the pressure '
            "(FAO-56 eq 7)"
        )
