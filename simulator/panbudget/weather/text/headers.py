"""
Headers: which column of a daily table is which quantity, in what unit (of a station's table, `stations`).

Headers are read by their words and the unit in or behind them (`heading`, ``headers.toml``); a line above the table that explains a
column counts as its words. Of a daily table only standard names are taken as they stand, capitals, spaces and hyphens
aside, and what the user names under [weather.columns]; a column that looks like another that is missing is asked about,
with the lines to paste, because passing it over would let the program invent what the file has. Columns that aren't used are noted by name.
"""

from __future__ import annotations

import difflib
import functools
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from panbudget.errors import Problem, did_you_mean
from panbudget.numeric import Floats
from panbudget.units import UnitError
from panbudget.weather.text.columns import REQUIRED, STANDARD
from panbudget.weather.text.heading import (
    ABSOLUTE,
    BEAUFORT,
    LUX,
    OF_ANOTHER,
    SHARES,
    Heading,
    as_name,
    conversion_to,
    converts,
    heading_of,
    in_standard_units,
    is_misspelt,
    known_unit,
    split_unit,
    unknown_unit,
    with_power,
)
from panbudget.weather.text.mistakes import Mistakes, also_has, listed, note, problem
from panbudget.weather.text.raw import TO_FILL_IN, ColumnChoice, Columns, OtherUnit, Source
from panbudget.words import packaged

_DATA = packaged("weather/text/headers.toml")
# a quantity's extremes and mean
_KIN = ("tmin", "tmax"), ("rh_max", "rh_min", "rh_mean")


def words_of(patterns: Iterable[str]) -> re.Pattern[str]:
    return re.compile(rf"\b({'|'.join(patterns)})\b")


def whole(patterns: Iterable[str]) -> re.Pattern[str]:
    return re.compile("|".join(patterns) or "(?!)")


_TIME_OF_DAY, _HEIGHT, _OF_A_DAY, _OF_DAYLIGHT = (
    re.compile(_DATA[name]) for name in ("time_of_day", "height", "of_a_day", "of_daylight")
)
NOT_OUTDOORS, OUTDOORS = (words_of(_DATA[name]) for name in ("not_outdoors", "outdoors"))


class _Daily(NamedTuple):
    """The words of a daily column's headers: of each group one, or what may stand alone, or with a unit; none of others; the best first."""

    needs: list[re.Pattern[str]]
    alone: re.Pattern[str]
    by_unit: re.Pattern[str]
    but: re.Pattern[str]
    best: list[re.Pattern[str]]


@functools.cache
def _daily(name: str) -> _Daily:
    """Return the words of a daily column's headers, compiled when a table is first looked at for it."""
    facts = _DATA["daily"][name]
    return _Daily(
        [words_of(group) for group in facts["needs"]],
        whole(facts.get("alone", ())),
        whole(facts.get("by_unit", ())),
        words_of(facts["but"]),
        [words_of([words]) for words in facts.get("best", ())],
    )


# the columns that may be a quantity, the likeliest first
_Best = Callable[[str, Sequence[Heading]], list[Heading]]
NAMES_SHOWN = 12
# a flux tower's quantity, and behind it how it was filled and where it stands; names of its tables alone, those of filled ones too
_OF_TOWER = re.compile(r"(?P<of>[A-Z_]+?)(?:_PI)?(?:_F)?(?:_MDS)?(?:_\d+){0,3}")
_TOWERS_ALONE, _FILLED = map(re.compile, (r"TIMESTAMP_(START|END)|[A-Z_]+_F_QC", r"(GPP|NEE|LE|VPD)(_\w+)?_f"))
_DEFICIT = whole(_DATA["quantities"]["deficit"]["by_unit"])
_HUMIDITIES = ("rh_max", "rh_min", "rh_mean", "dew_point", "vapour_pressure")
# rain that is summed up over days, where another column has the day's own; a day's mean temperature by its header
_RUNNING = re.compile(r"\b(acc|accum\w*|cum|cumul\w*|running|to date)\b")
_MEAN = re.compile(
    r"(?=.*\b(mean|avg|average)\b)(?=.*\b(temp|temperature|t)\b)|\b(temp|t)(mean|avg)\b|\b(mean|avg)t(emp)?\b"
)
_ONE = re.compile(
    r"((air|outdoor|outside|daily|day) )?(temp|temperature|t|ta|tm|tmk|tg|tas)( (air|outdoor|outside|2m))?"
)
_NO_MEAN = re.compile(r"max|min|\b(high|low|dew|wet|feels|apparent|wind|chill|hum|rh|soil|grass)")
# what stands before the number of one of several columns with one header
NUMBER = "#"
# a name that says nothing: letters and digits
_CODE = re.compile(r"[A-Za-z_]{1,4}\d\w*")
# a station's, and beside how many such a name of the same form is no quantity's
_STATION, _OF_STATIONS = re.compile(r"[A-Z]{2,6}"), 10


@dataclass
class Header:
    """
    What a header line says, by standard name or, of a station's table, by quantity.

    ``table`` is the scenario's that names the file, for cures. ``places`` are columns' places in the row, ``units`` those of
    the file, ``stated`` the names whose unit it states, ``conversions`` to our units where they differ, ``headers`` the
    columns' texts. ``settled`` are the names that a problem is about already, so that they aren't reported missing too. Of a
    station: ``sums`` is whether radiation is a sum over each interval (converted to J/m²), ``rain_kind`` what the rain counts,
    ``imperial`` the headers with imperial units. ``contradicted`` are names whose unit the user states otherwise than the
    header, ``chosen`` columns that the user names, ``suggested`` those that the user is asked to name, ``wind_height`` the
    gauge's that the wind's header names [m], ``in_part`` is whether the file is one of several, which may hold the rest,
    ``of_deficit`` whether the vapour pressure is what it lacks of saturation, ``of_daylight`` what share of it one of the
    sunshine's unit is, where that is no hours [-], ``unused`` the columns that are none of these.
    """

    table: str = "weather"
    line: int = 1
    places: dict[str, int] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    stated: set[str] = field(default_factory=set)
    conversions: dict[str, tuple[float, float]] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    settled: set[str] = field(default_factory=set)
    sums: bool = False
    rain_kind: str = "unknown"
    imperial: list[str] = field(default_factory=list)
    suggested: dict[str, ColumnChoice] = field(default_factory=dict)
    chosen: dict[str, ColumnChoice] = field(default_factory=dict)
    contradicted: dict[str, OtherUnit] = field(default_factory=dict)
    wind_height: float | None = None
    of_daylight: float | None = None
    of_deficit: bool = False
    unused: str = ""
    in_part: bool = False

    def leave(self, headings: Sequence[Heading]) -> None:
        """Note the columns that aren't used, what falls frozen beside the rain by itself."""
        frozen = next((heading.text for heading in headings if re.search(r"\bsolid (precip|rain)", heading.name)), "")
        self.notes += [note("frozen", column=frozen)] if frozen and "rain" in self.places else []
        self.unused = listed(dict.fromkeys(heading.text for heading in headings), NAMES_SHOWN)
        self.notes += [note("columns-not-used", listed=self.unused)] if self.unused else []

    def wrong(self, name: str, key: str, /, **facts: object) -> None:
        """Note a problem that is about a name."""
        self.settled.add(name)
        self.problems.append(problem(key, **{"line": self.line, "table": self.table, "name": name} | facts))

    @property
    def zeros(self) -> dict[int, str]:
        """Whose words count as 0 in which column."""
        return {self.places[name]: kind for name, kind in (("rain", "trace"), ("wind", "calm")) if name in self.places}

    def lacks(self, name: str) -> bool:
        """Tell whether a name has neither a column nor a problem."""
        return name not in self.places and name not in self.settled

    def take(self, name: str, place: int, text: str, says: str = "") -> None:
        """Take a column for a name; `says` is what a code stands for."""
        self.places[name], self.headers[name] = place, text
        if name == "wind" and (match := _HEIGHT.search(f"{text.strip().lower()} {says}")):
            height = float(next(filter(None, match.groups()))) / (100.0 if match[0].endswith("cm") else 1.0)
            self.wind_height = height if 0.5 <= height <= 200.0 else None

    def convert(self, name: str, unit: str, targets: Sequence[str], *, by_user: bool) -> None:
        """Find what turns a stated unit into one of ours; the last of them is the one that a refusal names."""
        self.stated.add(name)
        if unit == TO_FILL_IN:
            self.wrong(name, "unit-to-fill-in", column=self.headers[name], units=units_of(name, targets))
            return
        if name == "sunshine" and unit in SHARES:
            self.of_daylight = SHARES[unit]
            self.notes.append(note("share-of-daylight", column=self.headers[name]))
            return
        try:
            target, conversion = conversion_to(unit, targets)
        except UnitError as error:
            self.settled.add(name)
            where = f"{self.table}.columns.{name}:" if by_user else f'line {self.line}: column "{self.headers[name]}":'
            cure = note("absolute") if ABSOLUTE.search(unit) else error.problem.cure
            cure = note("lux") if LUX.search(unit) else cure
            cure = cure or ("" if by_user else note("unit-of-column"))
            self.problems.append(replace(error.problem, cure=cure).under(f"{where} unit"))
            return
        if known_unit(unit) == BEAUFORT:
            self.notes.append(note("beaufort", column=self.headers[name]))
            self.wind_height = self.wind_height or 10.0  # that of the scale
        self.sums |= target == "J/m^2"
        if conversion != (1.0, 0.0):
            self.conversions[name] = conversion

    def compare(self, name: str, stated: str | None, in_header: str | None, targets: Sequence[str]) -> None:
        """Note a unit that the user states though the header names one of another meaning, or of another quantity."""
        if not (stated and in_header) or ("h" in targets and {stated, in_header} & SHARES.keys()):
            return
        units = [known_unit(unit) or with_power(unit) for unit in (stated, in_header)]
        if all(converts(unit, targets) for unit in units):
            (target, (factor, offset)), (other, (by, plus)) = (conversion_to(unit, targets) for unit in units)
            if target != other or not (math.isclose(factor, by) and math.isclose(offset, plus)):
                self.contradicted[name] = OtherUnit(in_header, stated, by / factor, plus - by / factor * offset)
        elif (known_unit(in_header) or OF_ANOTHER.search(in_header)) and converts(units[0], targets):
            self.contradicted[name] = OtherUnit(in_header, stated)

    def ask_of_two(self, headings: Mapping[int, Heading], columns: Columns) -> None:
        """Ask for the unit of columns of which the file states two, but where the user does."""
        settled = {choice.column for choice in columns.values() if choice.unit}
        for name, place in self.places.items():
            heading = headings.get(place)  # the day's column has none
            if heading and heading.other and heading.text not in settled:
                self.wrong(name, "two-units", column=heading.text, unit=heading.unit, other=heading.other)
                self.suggest(name, heading, TO_FILL_IN)

    def suggest(self, name: str, heading: Heading, unit: str | None = None) -> None:
        """Have a column named in what the message gives to paste, with a unit only where the header, or the caller, has one."""
        self.suggested[name] = ColumnChoice(heading.text, unit or heading.unit)

    def advise(self, source: Source, mistakes: Mistakes) -> None:
        """Say what is to be pasted, and along with all else that is wrong, that rain has no column."""
        mistakes.paste = self.to_paste()
        if source.needs_rain and self.lacks("rain") and mistakes.problems():
            mistakes.note("no-rain", table=self.table, borrow="", others=also_has(self.unused))

    def to_paste(self) -> tuple[tuple[str, str], ...]:
        """Return what is to be pasted, what the user has named rightly along with what is suggested."""
        pairs = {**self.chosen, **self.suggested} if self.suggested else {}
        return tuple((f"{self.table}.columns.{name}", choice.as_toml()) for name, choice in pairs.items())

    def standard(self, numbers: Mapping[int, Floats]) -> dict[str, Floats]:
        """Return the columns in our units, of those that stand in the row's places."""
        places = {name: place for name, place in self.places.items() if place in numbers}
        return {
            name: in_standard_units(numbers[place], self.units.get(name, ""), self.conversions.get(name, (1.0, 0.0)))
            for name, place in places.items()
        }


def units_of(name: str, targets: Sequence[str]) -> str:
    """Say what units a column may have."""
    *others, last = (f'"{unit}"' for unit in _DATA["units"].get(name, targets))
    return f"{', '.join(others)} or {last}" if others else last


def take_named(
    header: Header, headings: Mapping[int, Heading], columns: Columns, known: Mapping[str, str], best: _Best
) -> dict[str, str]:
    """Take the columns that the user names, by what each name stands for; return what took which name."""
    names: dict[str, str] = {}
    texts = {place: heading.text for place, heading in headings.items()}
    for name, choice in columns.items():
        quantity = known.get(name, "")
        matches = [i for i, text in texts.items() if text == choice.column]
        matches = matches or [i for i, text in texts.items() if as_name(text) == as_name(choice.column)]
        alike = choice.column.removesuffix(f" {NUMBER}{TO_FILL_IN}")
        matches = matches or [i for i, text in texts.items() if text.rpartition(f" {NUMBER}")[0] == alike]
        other = next(
            (taken for taken, place in header.places.items() if matches == [place] and taken != quantity), None
        )
        facts: dict[str, object] = {"key": f"{header.table}.columns.{name}", "column": choice.column}
        if header.in_part and name in known and not matches:
            continue
        header.settled.add(name)
        if name not in known:
            hint = did_you_mean(name, known, "correct it")
            header.wrong(name, "unknown-column", known=", ".join(known), hint=hint, **facts)
        elif not matches:
            others = {other.column for key, other in columns.items() if key != name}
            free = [heading for heading in headings.values() if heading.text not in others]
            near = _near(choice.column, quantity, free, {*known.values()}, best)
            hint = note("near", near=near) if near else note("none-near", name=name)
            if near:
                header.suggested[name] = ColumnChoice(near, choice.unit)
            header.wrong(name, "no-column-named", listed=", ".join(texts.values()), hint=hint, **facts)
        elif len(matches) > 1:
            header.wrong(name, "column-often", count=len(matches), **facts | {"column": alike})
        elif other is not None:
            header.wrong(name, "column-taken", **facts | {"name": names[other]})
        elif header.places.get(quantity, matches[0]) != matches[0]:
            header.wrong(name, "two-columns-named", other=header.headers[quantity], quantity=quantity, **facts)
        else:
            header.take(quantity, matches[0], texts[matches[0]])
            names[quantity] = name
            header.chosen[name] = choice
    return names


def _near(wanted: str, quantity: str, headings: Sequence[Heading], known: Iterable[str], best: _Best) -> str:
    """Return the column that a name may mean: by its standard name, its words or its letters, and never another quantity's."""
    others = [other for other in known if other != quantity]
    by_name = {heading.text: as_name(split_unit(heading.text)[0]) for heading in headings}
    meant = [heading.text for heading in best(quantity, headings)]
    free = [h.text for h in headings if by_name[h.text] not in others and not any(best(of, [h]) for of in others)]
    standard = [text for text, name in by_name.items() if name == quantity]
    return next(iter([*standard, *meant, *difflib.get_close_matches(wanted, free, n=1)]), "")


def read_header(
    cells: Sequence[str],
    columns: Columns,
    *,
    line: int,
    table: str = "weather",
    units: Sequence[str] = (),
    legend: Mapping[str, str] | None = None,
    date: int | None = None,
    in_part: bool = False,
) -> Header:
    """
    Find the standard columns among a daily table's headers.

    Parameters
    ----------
    cells : sequence of str
        The header line's cells, stripped.
    columns : mapping
        Standard name -> the user's choice of column and unit; "date" may be among them.
    line : int
        Line of the file, for messages.
    units : sequence of str
        Cells of a line of units below the header, if there is one.
    legend : mapping, optional
        Header in small letters -> what a line above the table says of it.
    date : int, optional
        Place of the column that holds days, where rows show it.
    in_part : bool
        Whether the file is one of several, which may hold the rest.

    Returns
    -------
    Header
        With its problems, if there are any.
    """
    header = Header(table, line, in_part=in_part)
    headings = headings_of(cells, units, legend)
    known = {name: name for name in ("date", *STANDARD)}
    names = take_named(header, headings, columns, known, _best_of_day)
    for name in names:
        place = header.places[name]
        in_header = headings[place].unit or split_unit(cells[place])[1]
        _set_unit(header, name, columns[name].unit or in_header, by_user=columns[name].unit is not None)
        if name != "date":
            header.compare(name, columns[name].unit, in_header, [STANDARD[name].unit])
        if other := _other_extreme(name, headings.get(place)):
            header.wrong(name, "other-extreme", column=headings[place].text, other=other)
            header.suggest(other, headings[place], columns[name].unit)
            del header.chosen[name]
    for place, heading in headings.items():
        text, unit = split_unit(heading.text)
        name = as_name(text)
        if place in header.places.values() or name not in known:
            continue
        first, unit = header.headers.get(name), heading.unit or unit
        if first is None and heading.unit and _is_another(name, heading):
            continue  # "sunshine (MJ/m²)"
        if first is None:
            header.take(name, place, heading.text)
            _set_unit(header, name, unit, by_user=False)
        elif name in names and as_name(split_unit(first)[0]) != name:
            header.notes.append(note("column-not-used", column=heading.text, name=name, first=first))
        else:
            header.wrong(name, "column-twice", column=heading.text)
    if header.lacks("date") and date is not None:
        header.take("date", date, cells[date])
    _take_deficit(header, headings)
    _look_at_the_rest(header, headings)
    _say_what_lacks(header, headings, cells, any_known=bool(columns))
    ask_beside_imperial(header)
    header.ask_of_two(headings, columns)
    if "rain" in header.places and _TIME_OF_DAY.search(headings[header.places["rain"]].name.replace("to ", "")):
        header.notes.append(note("rain-read-at", column=header.headers["rain"]))
    return header


def _say_what_lacks(header: Header, headings: Mapping[int, Heading], cells: Sequence[str], *, any_known: bool) -> None:
    """Say which needed columns there aren't, or that there is none that is known."""
    others = [heading.text for place, heading in headings.items() if place not in header.places.values()]
    nameless = not header.places.keys() - {"date"} and not any(
        heading.unit or re.search("temp|rain|wind", heading.name) for heading in headings.values()
    )
    codes = of_codes(others) or (note("across") if nameless and len(others) > 1 else "")
    if not header.places.keys() - {"date"} and not header.problems and not any_known:
        header.settled |= {"date", *REQUIRED}
        header.wrong("rain", "no-column-known", listed=listed(others, NAMES_SHOWN) or "no other columns", codes=codes)
    needed = () if header.in_part and header.places.keys() - {"date"} else REQUIRED
    means = [h for h in headings.values() if is_mean(h) or _ONE.fullmatch(h.name)]
    if needed and len(means) == 1 and all(map(header.lacks, ("tmin", "tmax"))):
        header.settled.add("tmax")
        header.wrong("tmin", "mean-alone", column=means[0].text)
    for name in filter(header.lacks, ("date", *needed)):
        meaning = "the day" if name == "date" else f"{STANDARD[name].meaning} in {STANDARD[name].shown_unit}"
        shown = listed(others, NAMES_SHOWN) or "no other columns"
        header.wrong(name, "no-column", meaning=meaning, listed=shown, codes=codes)


def is_mean(heading: Heading) -> bool:
    """Tell the header of a day's mean temperature."""
    name = heading.name + " temp" * (heading.unit in ("degC", "degF"))
    return bool(_MEAN.search(name)) and not _NO_MEAN.search(name)


def of_codes(names: Sequence[str]) -> str:
    """Say that names are codes, where most are."""
    codes = [name for name in names if _CODE.fullmatch(name)]
    return note("codes", code=codes[0]) if len(codes) > 0.5 * len(names) else ""


def ask_beside_imperial(header: Header) -> None:
    """Ask for the units of columns that name none while another's is imperial: theirs is likely so, too."""
    # rain alone may well be in inches, and a dew point in °F, where the user says so
    candidates = (name for name in header.stated if name not in ("rain", "dew_point") or name not in header.chosen)
    stated = sorted(candidates, key=lambda name: header.places[name])
    header.imperial = header.imperial or [
        header.headers[name] for name in stated if known_unit(header.units[name]) in _DATA["imperial"]
    ]
    names = [name for name in header.places if name in _DATA["units"] and name not in header.stated]
    for name in names if header.imperial else ():
        facts = {"column": header.headers[name], "imperial": header.imperial[0], "units": units_of(name, ())}
        header.wrong(name, "imperial-beside", **facts)
        header.suggested[name] = ColumnChoice(header.headers[name], TO_FILL_IN)


def headings_of(cells: Sequence[str], units: Sequence[str], legend: Mapping[str, str] | None) -> dict[int, Heading]:
    says = {**_of_towers(cells), **_of_codes(cells), **(legend or {})}
    headings = {
        i: heading_of(i, cell, units[i] if i < len(units) else "", says.get(cell.strip().lower(), ""))
        for i, cell in enumerate(cells)
        if cell.strip()
    }
    texts = [heading.text for heading in headings.values()]
    return {  # of several alike each is told by its number, but for the program's own names
        i: heading
        if texts.count(heading.text) == 1 or as_name(split_unit(heading.text)[0]) in STANDARD
        else heading._replace(text=f"{heading.text} {NUMBER}{texts[: list(headings).index(i) + 1].count(heading.text)}")
        for i, heading in headings.items()
    }


def _of_codes(cells: Sequence[str]) -> dict[str, str]:
    """Return what the codes of a service stand for, told by those that only its tables have side by side."""
    codes = {cell.strip().lower(): split_unit(cell.strip().lower()) for cell in cells}
    told = {*codes, *(code for code, _ in codes.values())}
    tables = (each["names"] for each in _DATA["codes"] if told.issuperset(each["told_by"]))
    known = {name: meant for names in tables for name, meant in names.items()}
    return {  # the unit behind a code is the file's own
        cell: known.get(cell) or f"{split_unit(known[code])[0]} ({unit})"
        for cell, (code, unit) in codes.items()
        if {cell, code} & known.keys()
    }


def _of_towers(cells: Sequence[str]) -> dict[str, str]:
    """Return what names of a flux tower's table stand for, with the units of its network; of a quantity the shortest; _f is no °F."""
    says = {cell.lower(): cell[:-2] for cell in cells if cell.endswith("_f") and any(map(_FILLED.fullmatch, cells))}
    if any(map(_TOWERS_ALONE.fullmatch, cells)):
        for cell in sorted(cells, key=len):
            if match := _OF_TOWER.fullmatch(cell):
                meant = _DATA["towers"].get(match["of"]) or cell
                says[cell.lower()] = f"filled {cell.replace('_', '')}" if meant in says.values() else meant
    return {name: meant for name, meant in says.items() if meant.lower() != name}


def _set_unit(header: Header, name: str, unit: str | None, *, by_user: bool) -> None:
    if name == "date":
        return
    header.units[name] = unit or STANDARD[name].shown_unit
    if unit is not None:
        header.convert(name, with_power(unit), [STANDARD[name].unit], by_user=by_user)


def _look_at_the_rest(header: Header, headings: Mapping[int, Heading]) -> None:
    """Ask about columns that look like one which is missing, and take them, to find what else is wrong; note the others."""
    used = set(header.places.values())
    rest = [heading for place, heading in headings.items() if place not in used]
    texts = [heading.text for heading in headings.values()]
    absent = [name for name in _DATA["daily"] if header.lacks(name)]
    meant: dict[str, list[Heading]] = {}
    for name in absent:
        alike = [h for h in rest if not (NOT_OUTDOORS.search(h.name) or _daily(name).but.search(h.name))]
        near = [heading for heading in alike if is_misspelt(as_name(heading.text), name, absent)]
        fitting = near or _best_of_day(name, rest)
        if fitting and texts.count(fitting[0].text) > 1:
            header.wrong(name, "column-twice", column=fitting[0].text)
        elif fitting and LUX.search(other := unknown_unit(fitting[0].text)):
            header.take(name, fitting[0].place, fitting[0].text)
            _set_unit(header, name, other, by_user=False)
            rest = [heading for heading in rest if heading is not fitting[0]]
        elif fitting:
            meant[name] = fitting
            rest = [heading for heading in rest if heading is not fitting[0]]
    codes = [heading for heading in rest if _STATION.fullmatch(heading.text)]
    if len(codes) >= _OF_STATIONS * max(len(meant), 1) and all(_STATION.fullmatch(at[0].text) for at in meant.values()):
        rest, meant = [heading for heading in headings.values() if heading.place not in used], {}
    for name, fitting in meant.items():
        first = fitting[0]
        header.take(name, first.place, first.text)
        _set_unit(header, name, first.unit, by_user=False)
        header.suggest(name, first, None if first.unit or not unknown_unit(first.text) else TO_FILL_IN)
    if meant:
        firsts = [fitting[0] for fitting in meant.values()]
        looks = [f'"{fitting[0].text}" looks like {name}' for name, fitting in meant.items()]
        for i, fitting in enumerate(meant.values()):
            others = [f'"{other.text}"' for other in fitting[1:NAMES_SHOWN] if other not in firsts]
            looks[i] += f" (or {' or '.join(others)})" if others else ""
        no_unit = [name for name in meant if name not in header.stated]
        standard = ", ".join(f"{name} in {STANDARD[name].shown_unit}" for name in no_unit)
        units = f", and add their units where those are not the standard ones ({standard})" if no_unit else ""
        header.wrong(next(iter(meant)), "looks-like", looks=", ".join(looks), units=units)
    header.leave(rest)


def _take_deficit(header: Header, headings: Mapping[int, Heading]) -> None:
    """Take the vapour pressure's deficit for it where there is no humidity, or the user names it so; readers subtract it."""
    place = header.places.get("vapour_pressure", -1)
    deficits = {i: heading for i, heading in headings.items() if heading.unit and _DEFICIT.fullmatch(heading.name)}
    if place < 0 and deficits and not any(_best_of_day(name, [*headings.values()]) for name in _HUMIDITIES):
        place, heading = next(iter(deficits.items()))
        header.take("vapour_pressure", place, heading.text)
        _set_unit(header, "vapour_pressure", heading.unit, by_user=False)
    if place in deficits:
        header.of_deficit = True
        header.notes.append(note("of-deficit", column=header.headers["vapour_pressure"]))


def _is_another(name: str, heading: Heading) -> bool:
    """Tell whether a column's unit shows it to be another quantity than its name says."""
    unlike = name in STANDARD and not converts(heading.unit or "", [STANDARD[name].unit])
    return unlike and any(_best_of_day(other, [heading]) for other in _DATA["daily"])


def _other_extreme(name: str, heading: Heading | None) -> str:
    """Name that of its quantity's extremes and mean which a header has the words of, where a column is named for another."""
    kin = next((kin for kin in _KIN if name in kin), ())
    if heading is None or not kin or _best_of_day(name, [heading]):
        return ""
    said = (other for other in kin if other != "rh_mean" or re.search(r"\b(mean|avg|average)\b", heading.name))
    return next((other for other in said if _best_of_day(other, [heading])), "")


def _best_of_day(name: str, headings: Sequence[Heading]) -> list[Heading]:
    """Return the columns that may be a daily one, the likeliest first; none where no header has its words."""
    if name not in _DATA["daily"]:
        return []
    needs, alone, by_unit, but, best = _daily(name)
    alike = sum(all(group.search(heading.name) for group in needs) for heading in headings)

    def fits(heading: Heading) -> bool:
        words = _OF_A_DAY.sub("", heading.name) if name == "rain" else heading.name
        words = _OF_DAYLIGHT.sub("", words) if name == "sunshine" and heading.unit in SHARES else words
        squeezed, unit = re.sub(r" |(?<= )\d{1,2}m$", "", words), heading.unit
        never = name != "pan_evaporation" and NOT_OUTDOORS.search(words)
        # rain of a day is read at some time of day; of several columns one is a part of it
        whole_day = name == "rain" and (alike == 1 or words != heading.name or re.search(r"total|sum", words))
        hours = _TIME_OF_DAY.search(words) and not whole_day
        run = name == "wind" and re.search(r"\brun\b", words) and not (unit or "").endswith("/day")
        if never or ABSOLUTE.search(heading.text) or but.search(words) or hours or unit == "rate" or run:
            return False
        called = alone.fullmatch(squeezed) or all(group.search(words) for group in needs)
        called = called or bool(unit and by_unit.fullmatch(squeezed))
        return bool(called) and (unit is None or converts(unit, [STANDARD[name].unit]))

    def rank(heading: Heading) -> tuple[bool, ...]:
        running = name == "rain" and bool(_RUNNING.search(heading.name))
        return (not running, *(bool(words.search(heading.name)) for words in best), bool(OUTDOORS.search(heading.name)))

    return sorted(filter(fits, headings), key=rank, reverse=True)
