"""
Moments: the forms of days and moments in text, and columns of days, with one order of day and month for the whole column.

ISO dates are read as they stand. Where day and month come first, the column decides: a number above 12 can't be a month.
A column that nothing settles is refused, because a guess would be silent. Columns of moments are read by `stamps`.
"""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem
from panbudget.numeric import Floats, Ints
from panbudget.weather.text.mistakes import Mistakes, problem, shortened
from panbudget.weather.text.rows import Rows
from panbudget.words import packaged

Days = npt.NDArray[np.datetime64]

YEARS = range(1800, 2101)
YEARS_SHOWN = f"{YEARS.start} to {YEARS.stop - 1}"

ZONES: dict[str, str] = packaged("weather/text/cells.toml")["zones"]
_ZONE = rf"(?:Z|[+-]\d{{2}}(?::?\d{{2}})?| ?(?:UTC|GMT|{'|'.join(ZONES)}))?"
_TIME = r"(?:[T ]+(?P<time>\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: *[AaPp][Mm])?)" + _ZONE + ")?"
_YEAR_FIRST = re.compile(r"(?P<year>\d{4})(?P<mark>[-/.]?)(?P<first>\d{1,2})(?P=mark)(?P<second>\d{1,2})" + _TIME)
_YEAR_LAST = re.compile(r"(?P<first>\d{1,2})(?P<mark>[-/. ])(?P<second>\d{1,2})(?P=mark)(?P<year>\d{4})" + _TIME)
_MONTHS = {
    beginning: i
    for i, names in enumerate(packaged("weather/text/cells.toml")["months"], 1)
    for beginning in names.split()
}
_MONTHS = dict(sorted(_MONTHS.items(), key=lambda pair: -len(pair[0])))  # "marras" is no "mar"
MONTH = rf"(?i:(?:{'|'.join(_MONTHS)})[^\W\d_]{{0,6}})\.?"
_WEEKDAY = (
    r"(?:(?i:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]{0,6})[.,]? +|"  # of other languages where no other word may stand there
    r"(?!(?i:sum|avg|tot|min|max|bis|mean|from|till|week)\b)(?:(?:[^\W\d_]{2,3}[.,]{0,2}|[^\W\d_]{4,12},) +"
    rf"(?=\d{{1,4}}[-/.]\d{{1,2}}[-/.]\d)|[^\W\d_]{{2,4}}[.,]{{0,2}} +(?=\d{{1,2}}\.? {MONTH})))"
)
_DAY_BEHIND = re.compile(r"(?<=\d) ?[(（][^\W\d_]{1,9}\.?[)）]")  # "2025-06-03 (Tue)"
# days in signs, "2025年5月1日", with blanks, "2025. 05. 01.", by weeks, "2025-W23-4" (ISO 8601), with an ending, "1er mai", "May 1st",
# as "1 de mayo de 2025", a word for year behind it, and one before the time of day, "1.5.2025 klo 14:00"
_IN_WORDS = re.compile(
    r"(?P<year>\b\d{4})(?: ?[年년] ?|\. )(?P<month>\d\d?)(?: ?[月월] ?|\. )(?P<day>\d\d?)(?: ?[日일]|\.|(?=\s))|"
    r"\b(?P<of>(?:19|20)\d\d)-?W(?P<week>\d\d)-?(?P<weekday>[1-7])\b|"
    rf"\b(?P<ordinal>\d\d?)(?:er|st|nd|rd|th|[ºª])(?= {MONTH}|,? \d{{4}}\b)|(?<=\d) de (?={MONTH})|(?<=[a-z]) de (?=\d{{4}}\b)|"
    r"(?<=\d{4})\.? ?(?:г|р|год|року|године|m)\b\.?|"
    r"(?<=\d{4}),? (?:klo|kl\.?|um|[àa]|às|at|alle|om|ob|o|godz\.?) (?=\d{1,2}[:.hH]\d\d)"
)
# what each of these has, which is looked for in a tenth of the time
_MAY_BE_IN_WORDS = re.compile(r"\d(?:,? ?|-)[^\W\d_]|\d\. | de \d")
_NAMED = [
    re.compile(
        rf"(?P<day>\d{{1,2}})[-/. ]{{0,2}}(?P<month>{MONTH})[-/. ,]{{0,2}}(?P<year>\d{{4}}|\d{{2}})(?P<rest>[T ,].*)?"
    ),
    re.compile(rf"(?P<month>{MONTH})[- ](?P<day>\d{{1,2}}),?[- ](?P<year>\d{{4}})(?P<rest>[T ,].*)?"),
    re.compile(rf"(?P<year>\d{{4}})[-/. ]{{1,2}}(?P<month>{MONTH})[-/. ](?P<day>\d{{1,2}})\.?(?P<rest>[T ,].*)?"),
]
# as all of a column may be written
_PARTS = re.compile(r"(\d{4})([-/.]?)(\d\d)\2(\d\d)|(\d\d)([-/.])(\d\d)\6(\d{4})", re.ASCII)
_THREE = re.compile(r"(\d{1,4})[-/. ](\d{1,2})[-/. ](\d{1,4})(?P<rest>[T ,].*)?")
# two digits of a year from which it is of the last century (POSIX strptime)
_LAST_CENTURY = 69
#: orders of day, month and year, as they are stated
ORDERS = {"dmy": "dd/mm/yyyy", "mdy": "mm/dd/yyyy", "ymd": "yyyy/mm/dd"}
_SHORT_YEAR = re.compile(r"\d{1,2}[-/.]\d{1,2}[-/.]\d{2}(?:[T, ].*)?")
#: "1. 4. 2025"
SPACED = r"^(\d{1,2})\. (\d{1,2})\. (?=\d)"
_MIDNIGHT = re.compile(rf"(?:0?0:00(?::00(?:\.0+)?)?|12:00(?::00)? ?[Aa][Mm]){_ZONE}")

_WITH_MONTH = (
    rf"\d{{1,2}}[-/. ]{{0,2}}{MONTH}[-/. ,]{{0,2}}(?:\d{{4}}|\d{{2}})|{MONTH}[- ]\d{{1,2}},?[- ]\d{{4}}|"
    rf"\d{{4}}[-/. ]{{1,2}}{MONTH}[-/. ]\d{{1,2}}"
)
_MARK = r"(?:\. |[-/. ])"
_DATE = (
    rf"(?:{_WEEKDAY})?(?:\d{{4}}[-/.]\d{{1,2}}[-/.]\d{{1,2}}|\d{{1,2}}{_MARK}\d{{1,2}}{_MARK}(?:\d{{4}}|\d{{2}})|"
    rf"\d{{8}}|{_WITH_MONTH})"
)
CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?:\s*[AaPp](?:\.?\s?[Mm])?\.?)?"
_POINTS = r"(?:[01]?\d|2[0-4])(?:\.[0-5]\d(?:\.[0-5]\d)?|[hH][0-5]\d)"  # a time of day with points, or as 13h30
# hours alone as databases write them, and not the end of "08:00-09"
OFFSET = rf"(?:Z|UTC|GMT|{'|'.join(ZONES)}|[+−-]\d{{2}}:?\d{{2}}|\+\d{{2}}|(?:(?<=:\d\d:\d\d)|(?<=\.\d{{3}})|(?<=\.\d{{6}}))[−-]\d{{2}})"
COMPACT = r"\d{8}[ :T]?\d{2}(?:\d{2}){0,2}"
STAMP = re.compile(
    rf"(?:{_DATE}\.?(?:T|,?\s+)(?:{CLOCK}(?:\s?{OFFSET})?|{_POINTS}|\d{{1,2}}h?)|{COMPACT}|1\d{{9}}(?:\d{{3}})?)"
)
# two moments or times of day in one cell, of which the record is the time between
_SPAN = re.compile(
    rf"(?P<from>\d.*?)(?: - | ?[–—] ?|-(?=\d:)| (?:to|bis|tot|[aà]l?|até|do|till?) |"
    rf"/(?=\d{{4}}-\d\d-\d\dT))(?:{STAMP.pattern}|{CLOCK})"
)
# an hour by the numbers of its beginning and its end
_HOURS = re.compile(r"(?P<day>.*\d{4},? |)(?P<from>\d{1,2})h? ?[-–] ?(?P<to>\d{1,2})h?")
_HOUR_SAID = re.compile(r"(?<=:\d\d) ?(?:Uhr|hrs?|h|ч\.?|час[аов]*)$|(?<= [+-]\d{4}) (?:UTC|GMT)$")
_HALF_DAYS = {word: half for half, words in packaged("weather/text/cells.toml")["half_days"].items() for word in words}
_OF_HALF = "|".join(map(re.escape, _HALF_DAYS))
_HALF_SAID = re.compile(
    rf"(?:(?P<before>{_OF_HALF})\s?)?(?P<time>\d{{1,2}}:\d\d(?::\d\d)?)(?:\s?(?P<behind>{_OF_HALF}))?$"
)
_WITH_POINTS = re.compile(rf"(?<=\d )({_POINTS})$")
ONLY_DATE = re.compile(rf"{_DATE}\.?")
# a spreadsheet's day number, with the time of day as its fraction, and the day that is 0; a year and the day of it
SERIAL_NUMBER, SERIAL_ZERO = re.compile(r"[2-6]\d{4}(?:[.,]\d+)?"), np.datetime64("1899-12-30")
_DAY_OF_YEAR = re.compile(r"(?:19|20)\d{2}(?:[0-2]\d{2}|3[0-6]\d)")
_DECIMAL_DAY = re.compile(r"\d{1,3}(?:[.,]\d+)?")
#: the order of a column of spreadsheets' day numbers, and how it is stated
SERIAL, SERIAL_STATED = "serial", "day number"
DIGITS = re.compile(r"(?:18|19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])(?:[01]\d|2[0-4])?(?:[0-5]\d){0,2}")
# a day as digits that end with its year, which no other order of them gives a month
YEAR_LAST = re.compile(r"(?:([0-2]\d|3[01])(0[1-9]|1[0-2])|(0[1-9]|1[0-2])(1[3-9]|2\d|3[01]))((?:19|20)\d\d)")
_EPOCH = re.compile(r"1\d{9}(?:\d{3})?")


def day_of(year: int, month: int, day: int) -> dt.date | None:
    """
    Return a day of the calendar in a year that weather records can have, or None.

    Examples
    --------
    >>> day_of(2024, 2, 29), day_of(2025, 2, 29), day_of(20, 1, 1)
    (datetime.date(2024, 2, 29), None, None)
    """
    try:
        return dt.date(year, month, day) if year in YEARS else None
    except ValueError:
        return None


def month_of(name: str) -> int:
    """
    Return the number of a month by its name, of which `MONTH` is the form.

    Examples
    --------
    >>> [month_of(name) for name in ("Jan", "juillet", "März", "dic.")]
    [1, 7, 3, 12]
    """
    return next(i for beginning, i in _MONTHS.items() if name.lower().startswith(beginning))


def in_numbers(text: str) -> str:
    """
    Write days of a text that are in signs, by weeks or with an ending as those are written that `read_dates` knows.

    Examples
    --------
    >>> [in_numbers(day) for day in ("2025年5月1日,3", "2025-W23-4", "1er mai 2025", "1 de mayo de 2025")]
    ['2025-5-1,3', '2025-06-05', '1 mai 2025', '1 mayo 2025']
    """

    def plain(found: re.Match[str]) -> str:
        if found["week"]:
            last = dt.date(int(found["of"]), 12, 28).isocalendar().week  # its last week always holds that day
            whole = map(int, found.group("of", "week", "weekday"))
            return str(dt.date.fromisocalendar(*whole)) if 1 <= int(found["week"]) <= last else found[0]
        if found["year"]:
            return "-".join(found.group("year", "month", "day"))
        return found["ordinal"] or " "

    return _IN_WORDS.sub(plain, text) if _MAY_BE_IN_WORDS.search(text) else text


def is_number_of_a_day(cell: str) -> bool:
    """Tell bare numbers that are moments under a name that says so: seconds or milliseconds since 1970, or a day's number."""
    return any(form.fullmatch(cell) for form in (_EPOCH, SERIAL_NUMBER, _DAY_OF_YEAR))


def serial_days(texts: Sequence[str]) -> Floats:
    """Read spreadsheets' day numbers, NaN for what is none."""
    return np.array([float(text.replace(",", ".")) if SERIAL_NUMBER.fullmatch(text) else np.nan for text in texts])


def serial_day(text: str) -> str:
    """Return the day that a spreadsheet's number means, nothing for what is no such number."""
    return str(SERIAL_ZERO + np.timedelta64(int(text[:5]), "D")) if SERIAL_NUMBER.fullmatch(text) else ""


def beginning_of(cell: str) -> str:
    """
    Return the moment at which a cell's time begins, where the cell has two, with colons in its time of day and no word behind it.

    Examples
    --------
    >>> beginning_of("1.6.2025 13:00 - 1.6.2025 14:00"), beginning_of("8:00-9:00"), beginning_of("1.6.2025 13.00")
    ('1.6.2025 13:00', '8:00', '1.6.2025 13:00')
    >>> beginning_of("1.6.2025 13-14"), beginning_of("13-15"), beginning_of("13:00 ч.")
    ('1.6.2025 13:00', '13-15', '13:00')
    >>> beginning_of("1:00 μ.μ."), beginning_of("2025-06-01 오후 1:00")
    ('1:00 pm', '2025-06-01 1:00 pm')
    >>> beginning_of("2025/06/03(火) 13:00")
    '2025/06/03 13:00'
    """
    cell = _DAY_BEHIND.sub("", cell)
    if (hours := _HOURS.fullmatch(cell)) and (int(hours["from"]) + 1) % 24 == int(hours["to"]) % 24:
        return f"{hours['day']}{hours['from']}:00"
    cell = _HOUR_SAID.sub("", cell)
    if not cell.isascii() and (said := _HALF_SAID.search(cell)) and (word := said["before"] or said["behind"]):
        cell = f"{cell[: said.start()]}{said['time']} {_HALF_DAYS[word]}"
    if span := _SPAN.fullmatch(cell):
        cell = span["from"] if STAMP.fullmatch(span["from"]) or re.fullmatch(CLOCK, span["from"]) else cell
    return _WITH_POINTS.sub(lambda time: re.sub("[.hH]", ":", time[1]), cell)


def is_dated(cell: str) -> bool:
    """Tell a date, with or without a time of day; of bare digits only those that can be one."""
    if cell.isdigit():
        return bool(DIGITS.fullmatch(cell) or YEAR_LAST.fullmatch(cell))
    cell = beginning_of(cell)
    return bool(ONLY_DATE.fullmatch(cell) or STAMP.fullmatch(cell))


def at_midnight(stamp: str) -> bool:
    """Tell a stamp that is a day at midnight, as tables of days have it."""
    day, time = parted(stamp)
    return bool(day) and bool(_MIDNIGHT.fullmatch(time))


def parted(text: str) -> tuple[str, str]:
    """Part a stamp into its day and its time of day, which bare digits may be behind a colon."""
    colon = text.find(":")
    if colon < 0:
        return text, ""
    if joined := re.fullmatch(r"(\d{8}):(\d\d):?(\d\d)", text):
        return joined[1], f"{joined[2]}:{joined[3]}"
    at = max(text.rfind(" ", 0, colon), text.rfind("T", 0, colon))
    return text[: max(at, 0)].rstrip(" ,"), text[at + 1 :]


def time_of_all(stamps: Sequence[str]) -> str:
    """
    Return the time of day that all stamps of a table with a row a day have, other than midnight; nothing where there is none.

    Examples
    --------
    >>> time_of_all(["1.6.2025 09:00", "2.6.2025 09:00"]), time_of_all(["1.6.2025 09:00", "1.6.2025 10:00"])
    ('09:00', '')
    """
    parts = [parted(beginning_of(stamp)) for stamp in stamps]
    times = {time for _, time in parts}
    alike = len(times) == 1 and len({day for day, _ in parts}) == len(parts) > 1
    return times.pop() if alike and not at_midnight(stamps[0]) else ""


def order_of(stated: str | None) -> str:
    """
    Return the order of day, month and year that a text states, as a key of `ORDERS`; nothing where it states none.

    Examples
    --------
    >>> order_of("DD/MM/YY"), order_of("%m/%d/%Y %H:%M"), order_of("UTC")
    ('dmy', 'mdy', '')
    """
    text = (stated or "").lower()
    if text == SERIAL_STATED:
        return SERIAL
    for word, letter in (("year", "y"), ("month", "m"), ("day", "d"), ("%b", "m"), ("tt", "d"), ("jj", "y")):
        text = text.replace(word, letter)
    match = re.match(r"\W*([dmy])\1*[\W_]*([dmy])\2*[\W_]*([dmy])\3*(?![a-z])", text)
    order = "".join(match.groups()) if match else ""
    return order if order in ORDERS else ""


def _bare(text: str) -> str:
    """Return a date without its day of the week, and without blanks behind its points."""
    text = re.sub(rf"^{_WEEKDAY}", "", text) if text[:1].isalpha() else _DAY_BEHIND.sub("", text)
    return re.sub(SPACED, r"\1.\2.", text) if ". " in text else text


def plainly(text: str, order: str = "") -> str:
    """
    Write a date with its year first, where its month has a name or its order is stated; else as it is.

    Examples
    --------
    >>> plainly("01-Jan-2013"), plainly("1/2/24 00:10", "dmy"), plainly("1/2/2024")
    ('2013-01-01', '2024-02-01 00:10', '1/2/2024')
    """
    text = _bare(text)
    for form in _NAMED:
        if (match := form.fullmatch(text)) and (len(match["year"]) == 4 or order == "dmy"):
            return _year_first(match["year"], month_of(match["month"]), match["day"], match["rest"])
    if order and (match := _THREE.fullmatch(text)):
        of = dict(zip(order, match.groups()[:3], strict=True))
        if len(of["y"]) in (2, 4) and len(of["d"]) <= 2 and len(of["m"]) <= 2:
            return _year_first(of["y"], of["m"], of["d"], match["rest"])
    return text


def _year_first(year: str, month: int | str, day: str, rest: str | None) -> str:
    full = int(year) + (0 if len(year) == 4 else 1900 if int(year) >= _LAST_CENTURY else 2000)
    return f"{full:04d}-{int(month):02d}-{int(day):02d}{rest or ''}"


def joined_date(parts: Sequence[str]) -> str:
    """
    Join year, month and day, or year and day of the year, which may be a decimal: of the first noon 1.5.

    Examples
    --------
    >>> [joined_date(parts) for parts in (["2024", "2", "1"], ["2024", "32"], ["2024", "32.25"], ["2024", "Feb", "1"])]
    ['2024-02-01', '2024-02-01', '2024-02-01 06:00', '2024-02-01']
    """
    plain = [part.removesuffix(".0") for part in parts]
    if len(plain) == 2 and plain[0].isdecimal() and int(plain[0]) in YEARS and _DECIMAL_DAY.fullmatch(plain[1]):
        minutes = round((float(plain[1].replace(",", ".")) - 1.0) * 1440.0)
        moment = dt.datetime(int(plain[0]), 1, 1) + dt.timedelta(minutes=minutes)
        text = str(moment)[: 10 if plain[1].isdecimal() else 16]
        return text if moment.year == int(plain[0]) and minutes >= 0 else "-".join(parts)
    return plainly("-".join(part.zfill(2) for part in plain))


def order_to_state(texts: Sequence[str]) -> tuple[str, bool]:
    """
    Return the order that must be stated of a column of days, by how its rows follow each other, and whether years are short.

    Parameters
    ----------
    texts : sequence of str
        The cells.

    Returns
    -------
    (str, bool)
        A key of `ORDERS`; nothing where none must be stated, or rows don't follow each other by any.
    """
    if plain_dates(texts) is not None:
        return "", False
    shown = [_bare(text) for text in texts if text]
    short = [
        bool(_SHORT_YEAR.fullmatch(text) or (_NAMED[0].fullmatch(text) and plainly(text) == text)) for text in shown
    ]
    if not shown or sum(short) * 2 < len(short):
        whole = [match for text in shown if (match := _YEAR_LAST.fullmatch(text))]
        if len(whole) * 2 < len(shown) or any(int(m["first"]) > 12 or int(m["second"]) > 12 for m in whole):
            return "", False
    best: dict[str, float] = {}
    for order in ORDERS:
        days = pd.to_datetime(
            pd.Series([plainly(text, order)[:10] for text in shown]), format="%Y-%m-%d", errors="coerce"
        )
        steps = days.diff().dt.days.abs()
        if days.notna().mean() > 0.9:
            best[order] = float((steps <= 1).sum()) / max(len(steps) - 1, 1)
    order = max(best, key=lambda order: best[order]) if best else ""
    return (order if order and best[order] > 0.5 else ""), any(short)


def read_dates(texts: Sequence[str], lines: Sequence[int] | Ints, mistakes: Mistakes, *, order: str = "") -> Days:
    """
    Read a column of dates.

    Parameters
    ----------
    texts : sequence of str
        The cells, stripped.
    lines : sequence of int
        Line of the file each one stands on.
    mistakes : Mistakes
        Where is noted what is wrong, one problem for each kind.
    order : str
        Of day, month and year, where it is stated: a key of `ORDERS`.

    Returns
    -------
    ndarray of datetime64[D]
        NaT where a cell is no date.
    """

    def wrong(i: int, key: str) -> None:
        key = key if texts[i].strip("#") or not texts[i] else "date-narrow"
        mistakes.add(key, value=texts[i], line=lines[i], text=shortened(texts[i], 40), years=YEARS_SHOWN)

    if not order and (plain_days := plain_dates(texts)) is not None:
        return plain_days
    if order == SERIAL:
        days = serial_days(texts)
        for i in np.flatnonzero(np.isnan(days)).tolist():
            wrong(i, "date-no-number" if texts[i] else "date-empty")
        return np.where(np.isnan(days), np.datetime64("NaT", "D"), SERIAL_ZERO + np.nan_to_num(days).astype(np.int64))
    texts = [
        joined_date([text[:4], text[4:]]) if _DAY_OF_YEAR.fullmatch(text) else _bare(text).removesuffix(".")
        for text in texts
    ]
    parsed: list[tuple[int, int, int] | None] = [None] * len(texts)
    year_last: list[int] = []
    for i, text in enumerate(texts):
        match = _YEAR_FIRST.fullmatch(text)
        if match is None and (plain := plainly(text, order)) != text:
            match = _YEAR_FIRST.fullmatch(plain)
        match = match or _YEAR_LAST.fullmatch(text)
        if match is None or (match["mark"] == "" and len(match["first"] + match["second"]) != 4):
            wrong(i, f"date-{kind_of_mistake(text)}")
        elif match["time"] is not None and _MIDNIGHT.fullmatch(match["time"]) is None:
            wrong(i, "time-of-day")
        else:
            parsed[i] = int(match["year"]), int(match["first"]), int(match["second"])
            year_last += [i] if match.re is _YEAR_LAST else []
    if year_last and (unsure := _settle_order(parsed, year_last, texts, lines)) is not None:
        mistakes.others.append(unsure)
        return np.full(len(texts), np.datetime64("NaT", "D"))
    dates = [None if parts is None else day_of(*parts) for parts in parsed]
    for i, parts in enumerate(parsed):
        if parts is not None and dates[i] is None:
            wrong(i, "no-day" if parts[0] in YEARS else "no-year")
    return np.array(dates, dtype="datetime64[D]")


def plain_dates(texts: Sequence[str]) -> Days | None:
    """Read a column of dates at a stroke, if all have one form and are days of the calendar whose order is beyond doubt."""
    body = "\n".join(texts) + "\n"
    first = re.match(r"\d+([-/.]?)(\d*)", body)
    mark = first[1] if first else ""
    year_first = bool(mark) and re.match(r"\d{4}\D", body) is not None
    cells = ("\\d{4}", "\\d\\d?", "\\d\\d?") if year_first else ("\\d\\d?", "\\d\\d?", "\\d{4}")
    form = re.escape(mark).join(cells) if mark else r"\d{8}"
    if not body.isascii() or not re.fullmatch(rf"(?:{form}\n)++", body):
        return None
    numbers = np.fromstring(body.replace(mark, " ") if mark else body, dtype=np.int64, sep=" ")
    if not mark:
        return days_from(numbers // 10000, numbers // 100 % 100, numbers % 100)
    return _settled(year_first, *numbers.reshape(-1, 3).T)


def days_at_a_stroke(rows: Rows, column: int) -> Days | None:
    """Read a column of dates as `plain_dates` does, without a text of each; nothing where they must be looked at."""
    letters = rows.grid.dates(column) if rows.grid else None
    return None if letters is None else _days_written(letters.tobytes(), letters.shape[1])


@functools.lru_cache(maxsize=4)
def _days_written(text: bytes, length: int) -> Days | None:
    """Read dates that are all written as 2024-05-01 or 20240501; kept, since many files hold the same days."""
    form = _PARTS.fullmatch(text[:length].decode("latin-1"))
    if form is None:
        return None
    letters = np.frombuffer(text, np.uint8).reshape(-1, length).T.astype(np.int16) - ord("0")
    spans = [form.span(i) for i in ((1, 3, 4) if form[1] else (5, 7, 8))]
    digits = [i for start, stop in spans for i in range(start, stop)]
    marks = [i for i in range(length) if i not in digits]
    if (letters[digits] != letters[digits].clip(0, 9)).any() or (letters[marks] != letters[marks, :1]).any():
        return None
    numbers = [10 ** np.arange(stop - start)[::-1] @ letters[start:stop] for start, stop in spans]
    return _settled(bool(form[1]), *numbers)


def _settled(year_first: bool, first: Ints, second: Ints, third: Ints) -> Days | None:
    """Return days by the three numbers of their dates; nothing where their order is in doubt, or one is no day of a record."""
    year, month, day = (first, second, third) if year_first else (third, second, first)
    if not year_first and month.max() > 12:
        month, day = day, month
    if not year_first and day.max() <= 12:
        return None
    return days_from(year, month, day)


def days_from(year: Ints, month: Ints, day: Ints) -> Days | None:
    """Return days of the calendar by their numbers; nothing where one is none, or of no year that records have."""
    if not len(year) or year.min() < YEARS.start or year.max() >= YEARS.stop:
        return None
    if min(month.min(), day.min()) < 1 or month.max() > 12:
        return None
    months = (year - 1970) * 12 + month - 1
    days = months.astype("datetime64[M]").astype("datetime64[D]") + (day - 1)
    if (days.astype("datetime64[M]").astype(np.int64) != months).any():
        return None
    return np.asarray(days, dtype="datetime64[D]")


def _settle_order(
    parsed: list[tuple[int, int, int] | None], year_last: list[int], texts: Sequence[str], lines: Sequence[int] | Ints
) -> Problem | None:
    """Put month before day in ``parsed``, or say why that can't be known."""
    # a row with both numbers above 12 is no date either way, and no witness
    known = [(i, parts) for i in year_last if (parts := parsed[i]) is not None and min(parts[1:]) <= 12]
    day_first = [i for i, parts in known if parts[1] > 12]
    month_first = [i for i, parts in known if parts[2] > 12]
    if len(year_last) < sum(parts is not None for parts in parsed):
        i = year_last[0]
        return problem("year-first-and-last", line=lines[i], text=texts[i], value=texts[i])
    if day_first and month_first:
        i, other = day_first[0], month_first[0]
        facts = {"other_line": lines[other], "other": texts[other]}
        return problem("two-orders", line=lines[i], text=texts[i], value=texts[i], **facts)
    if known and not day_first and not month_first:
        i = known[0][0]
        return problem("ambiguous-dates", line=lines[i], text=texts[i])
    for i, (year, day, month) in known if day_first else ():
        parsed[i] = (year, month, day)
    return None


def kind_of_mistake(text: str) -> str:
    """Return what a text that is no date looks like."""
    if not text:
        return "empty"
    if _SHORT_YEAR.fullmatch(text):
        return "short-year"
    return "number" if SERIAL_NUMBER.fullmatch(text) else "none"
