"""
Opening: where a table begins among the lines of a file, whatever stands above it, and what its columns are called.

Exports have titles, the place, legends and lists of units above their tables, and names spread over two lines. So the first
row of values is looked for, one with a date whose neighbours have theirs in the same column; the header is what stands
above it, as wide as it, in words.
"""

from __future__ import annotations

import functools
import itertools
import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from panbudget.weather.site import Station
from panbudget.weather.text.cells import MISSING, is_number, parted
from panbudget.weather.text.heading import differ, heading_of, in_english, is_unit, known_unit, unit_of
from panbudget.weather.text.moments import MONTH, is_dated, is_number_of_a_day
from panbudget.weather.text.rows import SEPARATORS, separator_of, split
from panbudget.words import packaged

# words that the first cell of a line has that sums others up, and what may stand beside them
_DATA = packaged("weather/text/cells.toml")
_SUMS, _BESIDE = ("|".join(_DATA[name]) for name in ("sums", "beside_sums"))
_SUM, _OF_SUMS = re.compile(_SUMS), re.compile(f"{_SUMS}|{_BESIDE}|{MONTH}")

# lines in which a table may begin, rows that must agree on where their date stands, and lines of units and of a damaged
# row between a header and the first sound row
_HEAD, _ROWS, _BETWEEN = 120, 3, 4
# words that tell no quantity among the words above a table; names that are of a temperature alone
_FILLERS = {"all", "the", "daily", "mean", "speed", "air", "unit"}
_EXTREME = re.compile(r"(low|high|min|max|lowest|highest|tmin|tmax|t min|t max)( temp)?")
_TEMPERATURE, _WHEN = (
    re.compile(r"\btemp|\bt ?(min|max|n|x)\b|^(min|max|low|high)\b"),
    re.compile(r"date|time|day|year"),
)
_A_WORD = 6  # letters of a name that is a word and no code
_NAMELESS = re.compile("values?|wert|valor|valeur|valore")
_LIKE_A_UNIT = re.compile(r"[^\W\d]{1,6}-[123].*|[^\s/]{1,6}(/[^\s/]{1,4}){1,2}")  # "umolm-2s-1", "mg/m3"
_UNITS = re.compile(r"units?|unidad(es)?|einheit(en)?|unites?|unita")
_KINDS = re.compile(r"(?i)avg|smp|tot|min|max|std|mean|sum|sample|wvc")
_NAMED_FIRST = 2  # cells of a line of a legend, of which one is the name of a column
_OF_DATES = re.compile(
    r"[dmyhs\W_]+(?: a)?|([dtjga]{1,4})([-./ ])m{1,2}\2[tdjayrg]{1,4}( [hs]{1,2}:[mi]{1,2})?|utc|lst|local|ts|deg|degrees|none|"
    r"yr|mo|dy|hr|mn|degt|nmi|ft|sec|\(?(utc|gmt)[+-]\d{1,2}(:?\d\d)?\)?"
)
_SIDE = re.compile(r"(?i)[neswo]{1,3}|(north|east|south|west)+(ern)?|calm|-+")
_COUNTS = (("0", "1", "2"), ("1", "2", "3"))  # of a column that numbers rows
_LEGEND = re.compile(
    r"\W*(?:\d{1,2}\.\s(?P<numbered>\w[\w ]{0,30})\.\s.*(?P<unit>\(.*\))|"
    r"(?:\d+-\d+\s)?(?P<name>\w[\w ./]{0,30}?)(?:\s*[:=]\s*-?\s*|\s{2,}|\s[-–]\s)(?P<says>\S.*))"
)

# the latitude and the height of a wind gauge [m] that the words above a table may state
_LATITUDE = re.compile(
    r"(?i)\b(?:lat(?:itud[a-z]*)?|breitengrad|geogr[a-z]*\.? breite)\b(?![^\n\d]*\blon)[^\n\d,+−-]{0,30}[,;\t ]*"
    r"(?P<deg>[−+-]?\d{1,2}(?:[.,]\d+)?)\s*(?:°\s*(?P<min>\d{1,2})?)?[\d.'′″\" ]{0,12}(?P<side>[NS]\b)?"
)
_OF_WIND = r"(?:wind|vento|viento|vent\b|an[eé]m[oóô]m[eèé]t)\w*"
_HIGH = r"(?:height|höhe|hauteur|altura|altezza|hoogte)"
_GAUGE = re.compile(
    rf"(?i)\b(?:{_OF_WIND}[^\n\d:;,=]{{0,40}}(?:\bat|{_HIGH})|{_HIGH}\b[^\n\d:;,=]{{0,30}}\b{_OF_WIND}[^\n\d:;,=]{{0,20}})"
    r"\s*[:=(;,]?\s*(?:of )?(?P<height>\d{1,3}(?:[.,]\d)?) ?m(?:[eèé]t\w{2,4})?\b(?!\s*/)"
)
# names, above their values, of the height at which all is measured that a file holds
_MEASURED_AT = re.compile(r"(?i)mäthöjd|målehø[jy]de|messhöhe|geberhöhe|\b(measur\w+|sensor|anemometer|gauge) height")
# a quantity and its unit among the words above a table
_NOTED = re.compile(
    r"(?P<name>[^\W\d_]+(?: [^\W\d_]+)?) ?(?:[:=] ?(?:in )?|\((?:in )?|\b(?:in|en|im|ve) )"
    r"(?P<unit>(?:0[.,]1 ?|1/10 ?)?[^\s\d,;()]+(?: [^\s\d,;()]+)?)"
)


class Head(NamedTuple):
    """What the words above a table say of its station: where it is, and how high the wind gauge stands. [m]"""

    station: Station | None
    gauge: tuple[float, ...]

    @property
    def wind_height(self) -> float | None:
        """The height that is believed first. [m]"""
        return next(iter(self.gauge), None)


class Opening(NamedTuple):
    """
    How a table begins.

    Parameters
    ----------
    line : int
        The header's, counted from 1.
    above : int
        How many lines stand above the first row.
    cells : list of str
        The header's, those of two lines joined.
    separator : str
    units : list of str
        Cells of a line of units below it, or the units that stand in the rows' cells; empty without any.
    dates : tuple of int
        Columns in which the first rows have a date; or those of year, month and day, or year and day of the year.
    rows : list of list of str
        The first rows' cells.
    legend : dict
        Header in small letters -> what a line above the table says of it.
    """

    line: int
    above: int
    cells: list[str]
    separator: str
    units: list[str]
    dates: tuple[int, ...]
    rows: list[list[str]]
    legend: dict[str, str]

    @property
    def quantities(self) -> list[str]:
        """The header's cells, with nothing for columns of words where a wind comes from, beside a speed, and for a t that counts rows."""
        columns = [*itertools.zip_longest(*self.rows, fillvalue=""), *[()] * len(self.cells)]
        speed = any("speed" in in_english(cell) for cell in self.cells)
        return [
            "" if (speed and _is_of_sides(column)) or (cell in "tT" and column in _COUNTS) else cell
            for cell, column in zip(self.cells, columns, strict=False)
        ]

    @property
    def split_date(self) -> bool:
        """Whether the day stands in several columns."""
        return len(self.dates) > 1 and not any(is_dated(row[self.dates[0]]) for row in self.rows)


def _is_of_sides(column: Sequence[str]) -> bool:
    """Tell cells that are words for where a wind comes from, where there are any."""
    return any(_SIDE.fullmatch(cell) for cell in column if cell.strip("-")) and all(
        not cell or _SIDE.fullmatch(cell) for cell in column
    )


def find_opening(lines: Sequence[str]) -> Opening | None:
    """
    Find where a table begins.

    Parameters
    ----------
    lines : sequence of str
        The file's, or its first.

    Returns
    -------
    Opening or None
        None where no row has a date below a line of words.
    """
    return _opening_in(tuple(lines[:_HEAD]))


@functools.lru_cache(maxsize=4)
def _opening_in(lines: tuple[str, ...]) -> Opening | None:
    """Find it once for all who ask: those who recognise a file, and the one who reads it."""
    head = [(i, text) for i, text in enumerate(lines) if text.strip()]
    for at, (i, text) in enumerate(head):
        if text.lstrip().startswith(("#", "*")) or text.count('"') % 2:  # a row with a stray quote is not the first
            continue
        following = [line for _, line in head[at : at + _ROWS] if not line.startswith("#")]
        for separator in SEPARATORS:
            rows = [split(line, separator) for line in following]
            if len(rows[0]) < 2 or not (dates := _dates_of(rows)):
                continue
            if opening := _header_above(head[:at], i, separator, rows, dates):
                return opening
    return None


def head_of(above: Sequence[str], stated: float | None = None) -> Head:
    """
    Read what the lines above a table say of its station; `stated` is the height of the wind gauge by its header. [m]

    Examples
    --------
    >>> head_of(["Latitude: 38°30'S", "Wind speed in m/s at 10 m"])
    Head(station=Station(name='the station in the lines above its table', latitude=-38.5, longitude=None, elevation=None), gauge=(10.0,))
    """
    text = "\n".join(above)
    heights = [float(found["height"].replace(",", ".")) for found in _GAUGE.finditer(text)]
    words = in_english(text).split()
    if "wind" in words and "temp" not in words:  # else the thermometer's
        pairs = (
            zip(*(split(line, separator_of(names)) for line in (names, below)), strict=False)
            for names, below in itertools.pairwise(above)
        )
        cells = itertools.chain.from_iterable(pairs)
        heights += [
            float(cell.replace(",", ".")) for name, cell in cells if _MEASURED_AT.search(name) and is_number(cell)
        ]
    station = None
    if place := _LATITUDE.search(text):
        degrees = float(place["deg"].replace(",", ".").replace("−", "-"))
        size = abs(degrees) + int(place["min"] or 0) / 60.0
        south = degrees < 0.0 or (place["side"] or "").upper() == "S"
        name = "the station in the lines above its table"
        station = Station(name, round(-size if south else size, 2)) if size <= 90.0 else None
    return Head(station, (*filter(None, [stated]), *(height for height in heights if 0.5 <= height <= 200.0)))


def is_logger_layout(text: str) -> bool:
    """Tell by its first line a logger's table under four lines: itself, names, units, and what each figure is of its time."""
    return bool(re.match(r'"?TOA5\b', text))


def _dates_of(rows: Sequence[list[str]]) -> tuple[int, ...]:
    """Columns in which all rows have a date, or the row's own first numbers where that may be year, month and day."""
    dated = [{i for i, cell in enumerate(row) if is_dated(cell)} for row in rows]
    if common := set.intersection(*dated):
        return tuple(sorted(common))
    numbers = all(
        is_row_of_values(row)
        and (sum(cell.removesuffix(".0").isdigit() for cell in row) >= 2 or any(map(is_number_of_a_day, row)))
        for row in rows
    )
    return (-1,) if numbers else ()


def _header_above(
    above: Sequence[tuple[int, str]], first: int, separator: str, rows: list[list[str]], dates: tuple[int, ...]
) -> Opening | None:
    """Find the header of a row of values among the lines above it."""
    width, filled = len(rows[0]), max(i for row in rows for i, cell in enumerate(row) if cell) + 1
    units, top = list[str](), 0
    if len(above) > 2 and is_logger_layout(above[0][1]):
        names, units = (_cells(text, separator) for _, text in above[1:3])
        return Opening(above[1][0] + 1, first, names, separator, units, dates, rows, {})
    last = _cells(above[-1][1], separator) if above else []
    numbered = last[1:] == [*map(str, range(1, len(last)))]  # a logger's channels
    if len(above) > 2 and (_is_kinds(last) or numbered):
        names, units = (_cells(text, separator) for _, text in above[-3:-1])
        if 2 * sum(map(is_unit, units)) >= len(units):
            kinds = itertools.zip_longest(names, [] if numbered else last, fillvalue="")
            names = [name if name.lower().endswith(kind.lower()) else f"{name} {kind}" for name, kind in kinds]
            return Opening(above[-3][0] + 1, first, names, separator, units, dates, rows, {})
    plain, remarks = ([line for line in reversed(above) if (line[1][0] == "#") is each] for each in (False, True))
    for i, text in plain[:_BETWEEN] + remarks[:_BETWEEN]:
        cells = _cells(text, separator)
        if len(cells) == 1 and (other := separator_of(text)) not in "".join(rows[0]):
            cells = _cells(text, other)  # names may have another mark between them than figures have, or blanks alone
        if len(cells) == 1 and len(words := _cells(text, " ")) == width:
            cells = words
        if not max(2, 0.6 * filled) <= len(cells) <= width + 1 or is_row_of_values(cells):
            continue
        if not units and is_units(cells):
            units, top = cells, i
            continue
        over = next((_cells(other, separator) for j, other in reversed(above) if j < i and text[0] != "#"), [])
        if len(over) == len(cells) and _names_temperature(over, dates) and not _names_temperature(cells, ()):
            units, top = units or cells, i  # a line of words under the header, of which some may be units
            continue
        line = i + 1
        # a remark is no part of a header that is none
        upper = [pair for pair in above if pair[0] < i and (text[0] == "#" or pair[1][0] != "#")]
        names = _joined(cells, upper, separator, max(dates[0], 0), width)
        if not units and names != cells:  # the names of two lines with one of units between
            units = next((row for j, text in above if j == i - 1 and is_units(row := _cells(text, separator))), [])
        said_plainly = [
            " ".join(dict.fromkeys(re.sub(r"\bdaily\b", "day", in_english(name)).split())) for name in names
        ]
        if dates == (-1,):
            if not any({*names} <= {*said_plainly} for names in _DATA["split_dates"]):
                said_plainly = [_DATA["short_names"].get(name, name) for name in said_plainly]
            split_date = next((names for names in _DATA["split_dates"] if set(names) <= set(said_plainly)), ())
            dates = tuple(said_plainly.index(name) for name in split_date) or _numbered(said_plainly, rows)
            if not dates:
                return None
        before = [other for j, other in above if j < i]
        legend = dict(_legend(text for _, text in above))
        legend |= dict(_units_noted(names, before)) | dict(_explained(names, before))
        titles = [other.strip(' "\t') for other in before if len(split(other, separator)) == 1]
        if of := [title for title in titles if unit_of(title)] or titles[1:] or titles:  # it alone names the quantity
            names = [of[0] if _NAMELESS.fullmatch(in_english(name)) else name for name in names]
        bare = range(len(names), min(len(split(text, separator)), *map(len, rows)))  # cells below no name
        names += [f"column {place + 1}" if place < filled else "" for place in bare]
        rest = ((j, _cells(other, separator)) for j, other in above if j > max(i, top) and other[0] != "#")
        below = next(
            (
                j
                for j, under in rest
                if not is_units(under) and not _is_sum(under) and any(map(re.compile(r"\w").search, under))
            ),
            first,
        )
        return Opening(line, below, names, separator, units or _units_in(rows), dates, rows, legend)
    return None


def _names_temperature(names: Sequence[str], dates: Sequence[int]) -> bool:
    """Tell names of which one is a temperature's, and those of these columns say when."""
    read = [heading_of(i, name).name for i, name in enumerate(names)]
    return any(map(_TEMPERATURE.search, read)) and all(_WHEN.search(read[max(i, 0)]) for i in dates)


def _units_in(rows: Sequence[list[str]]) -> list[str]:
    """Return the units that stand in the cells themselves, "47 °F", where all of a column have the same."""
    units = [{known_unit(parted(cell)[1]) for cell in column} for column in zip(*rows, strict=False)]
    known = [each.pop() or "" if len(each) == 1 else "" for each in units]
    return known if any(known) else []


def _numbered(names: Sequence[str], rows: Sequence[list[str]]) -> tuple[int, ...]:
    """Columns whose name says time and that hold moments as bare numbers."""
    called = (
        i
        for i, name in enumerate(names)
        if re.search(r"date|time|epoch|unix|datum|fecha|zeit|creat|\bat\b|^(ts|day)$", name)
    )
    return tuple(i for i in called if all(is_number_of_a_day(row[i]) for row in rows if len(row) > i))


def _cells(text: str, separator: str) -> list[str]:
    cells = split(text.lstrip("# ") if text.lstrip().startswith("#") else text, separator)
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _joined(cells: list[str], above: Sequence[tuple[int, str]], separator: str, date: int, width: int) -> list[str]:
    """Join a header with the names above it, if one of the two lines has nothing where the other names the date."""
    rows = ((i, _cells(text, separator)) for i, (_, text) in reversed([*enumerate(above)]))
    at, upper = next((pair for pair in rows if pair[1] and not is_units(pair[1])), (0, []))
    if len(upper) < 0.5 * len(cells) or len(upper) > max(len(cells) + 1, width) or is_row_of_values(upper):
        return cells
    upper += [""] * (len(cells) - len(upper))
    upper = upper if upper[date] else _joined(upper, above[:at], separator, date, width)  # names of three lines
    alone, cells = cells, cells + [""] * (len(upper) - len(cells))
    cells[date] = "" if _OF_DATES.fullmatch(cells[date].lower()) else cells[date]
    # groups above names that stand twice, "Time,Indoor,,Outdoor" over "Time,Temperature,Humidity,Temperature"
    grouped = upper[date] == cells[date] != "" and all(len({*names}) < len(names) for names in (upper, cells))
    if (upper[date] == "") is (cells[date] == "") and not grouped:
        return alone
    spread, last = [], ""
    repeats = any(name and name == before for before, name in itertools.pairwise(upper))
    for name, cell in zip(upper, cells, strict=True):
        # a name over several columns stands over the first of them, or is repeated; a column of its own has nothing below it
        last = name or (last if cell and (not repeats or cells.count(cell) > 1) else "")
        spread.append(cell if name == cell else f"{last} {cell}".strip())
    return spread


def _is_kinds(cells: Sequence[str]) -> bool:
    """Tell a logger's line of what each figure is of its time, a mean, a sum or a sample."""
    words = list(filter(None, cells))
    return len(words) > 1 and all(map(_KINDS.fullmatch, words))


def is_units(cells: Sequence[str], *, or_date: bool = False) -> bool:
    """Tell a line of units: each cell is one, how a date is written, or nothing; the first a word for it, or for a date, if that may be."""
    filled = [cell for cell in cells if cell and cell not in MISSING]
    if filled and (_UNITS.fullmatch(in_english(filled[0])) or (or_date and filled[1:] and filled[1][0] in "([")):
        filled = filled[1:]
    bracketed = sum(cell[0] + cell[-1] == "[]" for cell in filled) > 0.75 * max(len(filled), 3)
    others = [cell for cell in filled if not (is_unit(cell) or _OF_DATES.fullmatch(cell.lower()))]
    alike = 4 * len(others) <= len(filled) and all(map(_LIKE_A_UNIT.fullmatch, others))  # of which one is not known
    return bool(filled) and (bracketed or alike)


def is_row_of_values(cells: Sequence[str]) -> bool:
    """Tell a row of values: most of its cells are numbers or dates."""
    filled = [cell for cell in cells if cell and cell not in MISSING]
    return sum(is_number(cell) or is_dated(cell) for cell in filled) * 2 >= len(filled)


def _legend(above: Iterator[str]) -> Iterator[tuple[str, str]]:
    for text in above:
        if match := _LEGEND.fullmatch(text.strip().strip(',;\t"')):
            name = match["numbered"] or match["name"]
            yield name.lower(), match["says"] or f"{name} {match['unit']}"


def _explained(names: Sequence[str], above: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield names without a unit that stand in a cell of a line, with what the cells behind say of them and their unit there."""
    own = {name.lower() for name in names if name and not unit_of(name)}
    table = [split(text, separator_of(text)) for text in above]
    for over, below in itertools.pairwise(table):  # of the units in a line of their own, below "Wind Speed Units"
        unit_of_name = {
            name.lower().removesuffix(" units"): cell for name, cell in zip(over, below, strict=False) if is_unit(cell)
        }
        yield from ((name, f"{name} ({unit_of_name[name]})") for name in own & unit_of_name.keys())
    for cells in table:
        if len(cells) == len(names) and _UNITS.fullmatch(cells[0].lower()):
            pairs = zip(names, cells, strict=True)
            yield from (
                (name.lower(), f"{name} ({unit})") for name, unit in pairs if name.lower() in own and is_unit(unit)
            )
        named = [place for place, cell in enumerate(cells) if cell.lower() in own]
        if len(cells) >= len(names) or max(named, default=_NAMED_FIRST) >= _NAMED_FIRST:
            continue  # more names above the names, in which "in" is indoors
        behind = [cell for cell in cells[named[0] + 1 :] if cell] if len(named) == 1 else []
        if units := [cell for cell in behind if is_unit(cell)]:
            says = " ".join(cell for cell in behind if cell not in units)
            says = f"{cells[named[0]]} {says}" if len(cells[named[0]]) >= _A_WORD or not says else says
            yield cells[named[0]].lower(), f"{says} ({units[0].strip(' ()[]')})"


def _units_noted(names: Sequence[str], above: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield names without a unit, with that of lines such as "temperatures in °F, rain in inches", whose words they have, all alike."""
    noted = list[tuple[list[str], str]]()
    for found in (found for text in above for found in _NOTED.finditer(text)):
        words = found["unit"].rstrip(".").split(" ")
        if unit := next(filter(known_unit, (" ".join(words[:count]) for count in range(len(words), 0, -1))), None):
            named = [word.removesuffix("s") for word in in_english(found["name"]).split()]
            noted.append(([word for word in named if word not in _FILLERS] or named, unit))
    for name in names if noted else ():
        spoken = set(in_english(name).split())
        spoken |= {"temp", "temperature"} if _EXTREME.fullmatch(in_english(name)) else set()
        whole = {unit for words, unit in noted if words and spoken.issuperset(words)}
        if whole and whole == {unit for words, unit in noted if words and words[-1] in spoken}:
            yield from [
                (name.lower(), f"{name} ({unit})") for unit in whole if not (has := unit_of(name)) or differ(has, unit)
            ]


def _is_sum(cells: Sequence[str]) -> bool:
    """Tell a row that sums others up: its first cell is words for it, perhaps with those of a month or year, and it holds no day."""
    words = re.findall(r"[^\W\d_]+", "".join(cells[:1]).lower())
    worded = any(map(_SUM.fullmatch, words)) and all(map(_OF_SUMS.fullmatch, words))
    return worded and not any(map(is_dated, cells))


def _is_title(cells: Sequence[str]) -> bool:
    """Tell words over rows below them, with a year at most: "April 2025", and nothing in the other cells."""
    alone = MONTH + r",? \d{4}" if len(cells) == 1 else r"[^\W\d][^\d]*(?:\d{4})?"
    return not any(cells[1:]) and bool(re.fullmatch(alone, cells[0]))


def _lacks_most(cells: Sequence[str]) -> bool:
    """Tell a row that begins with nothing, holds figures in half of its cells at most, and neither a day nor a time of day."""
    filled = [cell for cell in cells if cell]
    return (
        not cells[0] and 0 < 2 * len(filled) <= len(cells) and not any(is_dated(cell) or ":" in cell for cell in filled)
    )


def sums_among(lines: Sequence[str], above: int, end: int, separator: str) -> list[int]:
    """
    Return which lines from one to another are sums and means of others.

    They begin with a word for it, hold no day and lack cells, or begin with nothing and lack most; or are words alone, as of a month.
    """
    below = functools.partial(itertools.islice, lines, above, end)
    if min(below(), default="") >= "#" and max(below()) < ":":
        return []  # each begins with a digit, as dates do, or a mark that no word has before it
    worded = (i for i in range(above, end) if lines[i] and not lines[i][:2].strip(' "').isdigit())
    cells = ((i, split(lines[i], separator)) for i in worded)
    sums = [(i, row) for i, row in cells if _is_sum(row) or _is_title(row) or _lacks_most(row)]
    # a lone one without an empty cell is a day whose date was written over
    return [i for i, _ in sums] if len(sums) > 1 or any("" in row or _is_title(row) for _, row in sums) else []


def without_footer(lines: Sequence[str], width: int, separator: str) -> int:
    """
    Return how many lines there are up to the end of a table, what stands below it left out.

    Only lines without a digit are left out, of fewer cells than the table has: a row that is cut off stays. So are words in
    one cell before empty ones, or at a line's head as no row above has them, and sums and means, which begin with a word for it
    and hold no day.
    """
    end = len(lines)
    for i in range(len(lines) - 1, -1, -1):
        cells = split(text, separator) if (text := lines[i]).strip() else [""]
        filled = list(filter(None, cells))
        short = len(filled) > 0 and len(cells) < min(width, 3) and not lines[i - 1].startswith(text[:6])
        remark = (
            (short or (len(filled) == 1 and len(cells) > 2))
            and re.search(r"[^\W\d_]{2}.* .*[^\W\d_]{2}|^\(\d+ rows?\)$", filled[0])
            and not is_dated(filled[0])
        )
        if (
            text.strip()
            and not remark
            and not _is_sum(cells)
            and (re.search(r"\d", text) or len(filled) >= min(width, 3))
        ):
            break
        end = i
    return end
