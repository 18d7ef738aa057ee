"""
Moments: columns of text read as days or as moments, with one order of day and month for the whole column.

ISO dates are read as they stand. Where day and month come first, the column decides: a number above 12 can't be a
month; in a table with times of day, so does that its days follow each other. A column that nothing settles is refused,
because a guess would be silent.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Sequence
from operator import methodcaller
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem
from panbudget.numeric import Floats, Ints
from panbudget.weather.text.mistakes import Mistakes, first_of, problem, shortened
from panbudget.weather.text.rows import Rows, lines_as_file

Days = npt.NDArray[np.datetime64]

_YEARS = range(1800, 2101)
_YEARS_SHOWN = f"{_YEARS.start} to {_YEARS.stop - 1}"

_TIME = r"(?:[T ]+(?P<time>\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[AaPp][Mm])?)(?:Z|[+-]\d{2}:?\d{2})?)?"
_YEAR_FIRST = re.compile(r"(?P<year>\d{4})(?P<mark>[-/.]?)(?P<first>\d{1,2})(?P=mark)(?P<second>\d{1,2})" + _TIME)
_YEAR_LAST = re.compile(r"(?P<first>\d{1,2})(?P<mark>[-/. ])(?P<second>\d{1,2})(?P=mark)(?P<year>\d{4})" + _TIME)
MONTHS = {
    name: i
    for i, name in enumerate(
        ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"], start=1
    )
}
MONTH = rf"(?i:(?:{'|'.join(MONTHS)})[a-z]{{0,6}})\.?"
_NAMED = [
    re.compile(
        rf"(?P<day>\d{{1,2}})[-/. ]?(?P<month>{MONTH})[-/. ,]{{0,2}}(?P<year>\d{{4}}|\d{{2}})(?P<rest>[T ,].*)?"
    ),
    re.compile(rf"(?P<month>{MONTH})[- ](?P<day>\d{{1,2}}),?[- ](?P<year>\d{{4}})(?P<rest>[T ,].*)?"),
    re.compile(rf"(?P<year>\d{{4}})[-/. ](?P<month>{MONTH})[-/. ](?P<day>\d{{1,2}})(?P<rest>[T ,].*)?"),
]
_THREE = re.compile(r"(\d{1,4})[-/. ](\d{1,2})[-/. ](\d{1,4})(?P<rest>[T ,].*)?")
# two digits of a year from which it is of the last century (POSIX strptime)
_LAST_CENTURY = 69
#: orders of day, month and year, as they are stated
ORDERS = {"dmy": "dd/mm/yyyy", "mdy": "mm/dd/yyyy", "ymd": "yyyy/mm/dd"}
_SHORT_YEAR = re.compile(r"\d{1,2}[-/.]\d{1,2}[-/.]\d{2}(?:[T, ].*)?")
_MIDNIGHT = re.compile(r"0?0:00(?::00(?:\.0+)?)?(?:Z|[+-]\d{2}:?\d{2})?|12:00(?::00)? ?[Aa][Mm]")

_WITH_MONTH = (
    rf"\d{{1,2}}[-/. ]?{MONTH}[-/. ,]{{0,2}}(?:\d{{4}}|\d{{2}})|{MONTH}[- ]\d{{1,2}},?[- ]\d{{4}}|"
    rf"\d{{4}}[-/. ]{MONTH}[-/. ]\d{{1,2}}"
)
_DATE = (
    rf"(?:\d{{4}}[-/.]\d{{1,2}}[-/.]\d{{1,2}}|\d{{1,2}}[-/. ]\d{{1,2}}[-/. ](?:\d{{4}}|\d{{2}})|\d{{8}}|{_WITH_MONTH})"
)
_CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?:\s?[AaPp](?:\.?\s?[Mm])?\.?)?"
_OFFSET = r"(?:Z|UTC|GMT|[+−-]\d{2}:?\d{2})"
_COMPACT = r"\d{8}[ :T]?\d{2}(?:\d{2}){0,2}"
_STAMP = re.compile(
    rf"(?:{_DATE}\.?(?:T|,?\s+)(?:{_CLOCK}(?:\s?{_OFFSET})?|\d{{1,2}}h?)|{_COMPACT}|1\d{{9}}(?:\d{{3}})?)"
)
_ONLY_DATE, _ONLY_TIME = re.compile(rf"{_DATE}\.?"), re.compile(rf"(?:{_CLOCK}|\d{{4}}(?= (?:UTC|Z)))(?:\s?{_OFFSET})?")
# a spreadsheet's day number, with the time of day as its fraction, and the day that is 0; a date and an hour of bare digits; a
# year and the day of it
_SERIAL, _SERIAL_ZERO = re.compile(r"[2-6]\d{4}(?:[.,]\d+)?"), np.datetime64("1899-12-30")
_WITH_HOUR, _DAY_OF_YEAR = re.compile(r"\d{10}"), re.compile(r"(?:19|20)\d{2}(?:[0-2]\d{2}|3[0-6]\d)")
#: the order of a column of spreadsheets' day numbers, and how it is stated
SERIAL, SERIAL_STATED = "serial", "day number"
_DIGITS = re.compile(r"(?:18|19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])(?:[01]\d|2[0-4])?(?:[0-5]\d){0,2}")
_EPOCH = re.compile(r"1\d{9}(?:\d{3})?")
_BARE_TIME = re.compile(r"\d{1,4}")
_OFFSET_AT_END = re.compile(rf"(:\d{{2}}(?::\d{{2}}(?:\.\d+)?)?)\s?({_OFFSET})$")
_TIME_OF_DAY = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:\.(\d{1,9}))?)?\s?(?:([AaPp])(?:\.?\s?[Mm])?\.?)?")
_HALF_DAYS = re.compile(r"\d\s?[AaPp]\.?\s?[Mm]?\.?$")
# rows that follow each other lie within so many days, and days taken for months leap this far [d]
_FOLLOWS, _LEAPS = 7, 27
# rows by which the form of bare digits is told
_LOOKED_AT = 100
_SPLIT = ("year", "month", "day", "hour")


def day_of(year: int, month: int, day: int) -> dt.date | None:
    """
    Return a day of the calendar in a year that weather records can have, or None.

    Examples
    --------
    >>> day_of(2024, 2, 29), day_of(2025, 2, 29), day_of(20, 1, 1)
    (datetime.date(2024, 2, 29), None, None)
    """
    try:
        return dt.date(year, month, day) if year in _YEARS else None
    except ValueError:
        return None


def is_number_of_a_day(cell: str) -> bool:
    """Tell bare numbers that are moments under a name that says so: seconds or milliseconds since 1970, or a day's number."""
    return any(form.fullmatch(cell) for form in (_EPOCH, _SERIAL, _DAY_OF_YEAR))


def serial_days(texts: Sequence[str]) -> Floats:
    """Read spreadsheets' day numbers, NaN for what is none."""
    return np.array([float(text.replace(",", ".")) if _SERIAL.fullmatch(text) else np.nan for text in texts])


def serial_day(text: str) -> str:
    """Return the day that a spreadsheet's number means, nothing for what is no such number."""
    return str(_SERIAL_ZERO + int(text[:5])) if _SERIAL.fullmatch(text) else ""


def is_dated(cell: str) -> bool:
    """Tell a date, with or without a time of day; of bare digits only those that can be one."""
    if cell.isdigit():
        return bool(_DIGITS.fullmatch(cell))
    return bool(_ONLY_DATE.fullmatch(cell) or _STAMP.fullmatch(cell))


def at_midnight(stamp: str) -> bool:
    """Tell a stamp that is a day at midnight, as tables of days have it."""
    day, time = _parted(stamp)
    return bool(day) and bool(_MIDNIGHT.fullmatch(time))


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


def plainly(text: str, order: str = "") -> str:
    """
    Write a date with its year first, where its month has a name or its order is stated; else as it is.

    Examples
    --------
    >>> plainly("01-Jan-2013"), plainly("1/2/24 00:10", "dmy"), plainly("1/2/2024")
    ('2013-01-01', '2024-02-01 00:10', '1/2/2024')
    """
    for form in _NAMED:
        if (match := form.fullmatch(text)) and (len(match["year"]) == 4 or order == "dmy"):
            return _year_first(match["year"], MONTHS[match["month"][:3].lower()], match["day"], match["rest"])
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
    Join year, month and day, or year and day of the year.

    Examples
    --------
    >>> joined_date(["2024", "2", "1"]), joined_date(["2024", "32"]), joined_date(["2024", "Feb", "1"])
    ('2024-02-01', '2024-02-01', '2024-02-01')
    """
    plain = [part.removesuffix(".0") for part in parts]
    if len(plain) == 2 and all(map(str.isdecimal, plain)) and int(plain[0]) in _YEARS and 1 <= int(plain[1]) <= 366:
        day = dt.date(int(plain[0]), 1, 1) + dt.timedelta(days=int(plain[1]) - 1)
        return str(day) if day.year == int(plain[0]) else "-".join(parts)
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
    shown = [text for text in texts if text]
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
        mistakes.add(key, value=texts[i], line=lines[i], text=shortened(texts[i], 40), years=_YEARS_SHOWN)

    if not order and (plain_days := plain_dates(texts)) is not None:
        return plain_days
    if order == SERIAL:
        days = serial_days(texts)
        for i in np.flatnonzero(np.isnan(days)).tolist():
            wrong(i, "date-none" if texts[i] else "date-empty")
        return np.where(np.isnan(days), np.datetime64("NaT"), _SERIAL_ZERO + np.nan_to_num(days).astype(np.int64))
    texts = [
        joined_date([text[:4], text[4:]]) if _DAY_OF_YEAR.fullmatch(text) else text.removesuffix(".") for text in texts
    ]
    parsed: list[tuple[int, int, int] | None] = [None] * len(texts)
    year_last: list[int] = []
    for i, text in enumerate(texts):
        match = _YEAR_FIRST.fullmatch(text)
        if match is None and (plain := plainly(text, order)) != text:
            match = _YEAR_FIRST.fullmatch(plain)
        match = match or _YEAR_LAST.fullmatch(text)
        if match is None or (match["mark"] == "" and len(match["first"] + match["second"]) != 4):
            wrong(i, f"date-{_kind_of_mistake(text)}")
        elif match["time"] is not None and _MIDNIGHT.fullmatch(match["time"]) is None:
            wrong(i, "time-of-day")
        else:
            parsed[i] = int(match["year"]), int(match["first"]), int(match["second"])
            year_last += [i] if match.re is _YEAR_LAST else []
    if year_last and (unsure := _settle_order(parsed, year_last, texts, lines)) is not None:
        mistakes.others.append(unsure)
        return np.full(len(texts), np.datetime64("NaT"), dtype="datetime64[D]")
    dates = [None if parts is None else day_of(*parts) for parts in parsed]
    for i, parts in enumerate(parsed):
        if parts is not None and dates[i] is None:
            wrong(i, "no-day" if parts[0] in _YEARS else "no-year")
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


def days_at_a_stroke(rows: Rows, place: int) -> Days | None:
    """Read a column of dates as `plain_dates` does, without a text of each; nothing where they must be looked at."""
    parts = rows.grid.date_parts(place) if rows.grid else None
    return _settled(parts[0], *parts[1]) if parts else None


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
    if not len(year) or year.min() < _YEARS.start or year.max() >= _YEARS.stop:
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


def _kind_of_mistake(text: str) -> str:
    """Return what a text that is no date looks like."""
    if not text:
        return "empty"
    if _SHORT_YEAR.fullmatch(text):
        return "short-year"
    return "number" if _SERIAL.fullmatch(text) else "none"


class TimeColumns(NamedTuple):
    """
    Where a table says when.

    Parameters
    ----------
    places : tuple of int
        One column of stamps; a column of dates and one of times; or year, month, day, hour and perhaps minute.
    utc : bool
        Whether the header says that the clock is UTC.
    """

    places: tuple[int, ...]
    utc: bool = False


class ReadStamps(NamedTuple):
    """
    Moments.

    Parameters
    ----------
    stamps : ndarray of datetime64[ns], (rows,)
        Without meaning where there is a problem.
    utc : bool
        Whether they are UTC; else the table's own clock.
    ends : bool
        Whether the table writes 24:00, so that a stamp closes the time it speaks of.
    style : str
        How times are written, for the report.
    """

    stamps: npt.NDArray[np.datetime64]
    utc: bool = False
    ends: bool = False
    style: str = ""


def find_time(header: Sequence[str], rows: Sequence[Sequence[str]]) -> TimeColumns | None:
    """
    Find the columns that say when, by what stands in them.

    Parameters
    ----------
    header : sequence of str
        The header's cells.
    rows : sequence of sequence of str
        The first rows' cells.

    Returns
    -------
    TimeColumns or None
        None where there are only days, or nothing.
    """
    rows = [[cell.strip() for cell in row] for row in rows if len(row) >= len(header)]
    if not rows:
        return None
    plain = [re.sub(r"[^a-z0-9]+", " ", cell.lower()).strip() for cell in header]

    def columns(cells: re.Pattern[str], headers: str = "") -> list[int]:
        places = (i for i in range(len(header)) if all(cells.fullmatch(row[i]) for row in rows))
        return [i for i in places if re.search(headers, plain[i])]

    # bare digits are a time only under a header that says so
    named = "date|time|stamp|epoch|unix|datum|fecha|zeit"
    serial = [i for i in columns(_SERIAL, named) if any(serial_days([row[i] for row in rows]) % 1.0)]
    stamps = [i for i in columns(_STAMP) if re.search(named, plain[i]) or not rows[0][i].isdigit()]
    if stamps := serial[-1:] or stamps:
        # of two clocks the local one, whose days are the site's
        place = next((i for i in stamps if not re.search(r"utc|gmt", plain[i])), stamps[0])
        return TimeColumns((place,), says_utc(header[place]))
    dates, times = (
        columns(_ONLY_DATE, "dat|day|fecha|tag|jour|dia|giorno|日|날"),
        columns(_ONLY_TIME) or columns(_BARE_TIME, "^(time|hour|hh|hhmm|hr|hora|heure|ora|uhrzeit|zeit|stunde)\\b"),
    )
    # a table of days may have the times of its extremes: of its records, days repeat
    if dates and times and (len(rows) < 3 or len({row[dates[0]] for row in rows}) < len(rows)):
        return TimeColumns((dates[0], times[0]), any(says_utc(header[place]) for place in (dates[0], times[0])))
    if set(_SPLIT) <= set(plain):
        minutes = [name for name in ("minute", "min") if name in plain][:1]
        places = tuple(plain.index(name) for name in (*_SPLIT, *minutes))
        if all(row[place].isdigit() for row in rows for place in places):
            return TimeColumns(places, says_utc(" ".join(header)))
    return None


def says_utc(header: str) -> bool:
    """Tell whether a header says that its clock is UTC, and not at a distance from it."""
    lowered = header.lower()
    clock = re.search(r"\b(utc|gmt)(?![\w ]*[+-]\s?\d*[1-9])", lowered.replace("_", " "))
    return clock is not None or "dateutc" in lowered


def read_stamps(
    texts: pd.Series[str], lines: Ints, mistakes: Mistakes, *, order_by: Callable[[list[str]], str] = lambda days: ""
) -> ReadStamps:
    """
    Read a column of stamps.

    Parameters
    ----------
    texts : Series of str
        The cells.
    lines : ndarray of int, (rows,)
        Where they stand.
    mistakes : Mistakes
        Where is noted what is wrong, one problem for each kind of mistake.
    order_by : callable
        Their days -> the order of day, month and year where that is stated, as in `read_dates`.

    Returns
    -------
    ReadStamps
    """
    texts = pd.Series(list(map(str.strip, texts)), dtype=object)
    first = next((text for text in texts if text), "")
    utc = ends = False
    if (serial := _SERIAL.fullmatch(first)) or first.isdigit() or re.fullmatch(_COMPACT, first):
        order_by([first] if serial else [])  # nothing to order, but an order that was stated wrong is told
    if digits := _from_digits(texts, first):
        stamps, style, utc, ends = digits
    else:
        if not _ONLY_DATE.fullmatch(first) and re.search(r"[T ]\d{1,2}h?$", first):  # the hour alone
            texts = texts.str.replace(r"h?$", ":00", regex=True)
        if re.match(r"[\d.]+\.( |$)", first):  # a point behind the day
            texts = texts.str.replace(r"^([\d.]+)\.( |$)", r"\1\2", regex=True)
        first = next((text for text in texts if text), "")
        away, bare = _offsets(texts) if (utc := bool(_OFFSET_AT_END.search(first))) else (np.timedelta64(0, "m"), texts)
        moments, style, ends = _by_parts(bare, _OFFSET_AT_END.sub(r"\1", first), order_by)
        if not style:
            mistakes.note("ambiguous-times", line=lines[0], text=first)
            return ReadStamps(moments)
        stamps = pd.Series(moments - away)
        style += ", with their distance from UTC" if utc else ""
    years = stamps.dt.year.fillna(2000).to_numpy()
    for i, more in first_of(stamps.isna().to_numpy(), "row"):
        text = texts.iloc[i]
        kind = _kind_of_mistake(text).replace("number", "none")
        mistakes.note(f"time-{kind}", value=text, line=lines[i], text=shortened(text, 40), more=more)
    for i, more in first_of((years < _YEARS.start) | (years >= _YEARS.stop), "row"):
        text = texts.iloc[i]
        mistakes.note("time-no-year", value=text, line=lines[i], text=text, more=more, years=_YEARS_SHOWN)
    return ReadStamps(stamps.to_numpy().astype("datetime64[ns]"), utc, ends, style)


def _from_digits(texts: pd.Series[str], first: str) -> tuple[Any, str, bool, bool] | None:
    """Read stamps without a mark in them, by the form of the first; their style, whether they are UTC, whether 24 is among hours."""
    if _SERIAL.fullmatch(first):
        minutes = np.round(serial_days(texts.tolist()) * 1440.0)
        since = np.nan_to_num(minutes).astype("timedelta64[m]")
        moments = np.where(np.isnan(minutes), np.datetime64("NaT"), _SERIAL_ZERO.astype("datetime64[ns]") + since)
        return pd.Series(moments), "day numbers", False, False
    shown = [text for text in texts[:_LOOKED_AT] if text]
    # seconds since 1970 may look like a date and an hour of bare digits, but not those of most rows
    if _WITH_HOUR.fullmatch(first) and _DIGITS.fullmatch(first) and sum(map(is_dated, shown)) * 2 > len(shown):
        numbers = pd.to_numeric(texts, errors="coerce").fillna(0).astype(np.int64)
        days, hours = pd.to_datetime((numbers // 100).astype(str), format="%Y%m%d", errors="coerce"), numbers % 100
        return (
            (days + pd.to_timedelta(hours, unit="h")).where(hours <= 24),
            "digits only",
            False,
            bool((hours == 24).any()),
        )
    if first.isdigit() and len(first) in (10, 13):
        seconds = pd.to_numeric(texts, errors="coerce")
        unit: Any = "s" if len(first) == 10 else "ms"
        return pd.to_datetime(seconds, unit=unit, errors="coerce"), "seconds since 1970", True, False
    if re.fullmatch(_COMPACT, first):
        mark = "" if first.isdigit() else first[8]
        form = f"%Y%m%d{mark}%H" + {10: "", 12: "%M", 14: "%M%S"}[len(first) - len(mark)]
        return pd.to_datetime(texts, format=form, errors="coerce"), "digits only", False, False
    return None


def _offsets(texts: pd.Series[str]) -> tuple[npt.NDArray[np.timedelta64], pd.Series[str]]:
    """Part stamps from their distance from UTC; NaT where there is none."""
    marks = texts.str.extract(_OFFSET_AT_END)[1].fillna("")
    away = {}
    for mark in marks.unique():
        digits = mark.replace(":", "")[1:]
        minutes = int(digits[:2]) * 60 + int(digits[2:]) if digits.isdigit() else 0
        away[mark] = (
            np.timedelta64(-minutes if mark[:1] in "-−" else minutes, "m") if mark else np.timedelta64("NaT", "m")
        )
    return np.array([away[mark] for mark in marks], dtype="timedelta64[m]"), texts.str.replace(
        _OFFSET_AT_END, r"\1", regex=True
    )


def _by_parts(
    texts: pd.Series[str], first: str, order_by: Callable[[list[str]], str]
) -> tuple[npt.NDArray[np.datetime64], str, bool]:
    """
    Read days and times of day, each that differs once: half a million stamps have few thousand days.

    Returns the moments (NaT where there is none), how they are written (nothing where that can't be known), and
    whether 24:00 is among them.
    """
    day, time = _parted(first)
    of_day, bare, of_time, times = _parts_of(texts.tolist(), first)
    in_turn = (bare[i] for i in pd.unique(of_day))  # by how days follow each other their order is told
    order = order_by(list(dict.fromkeys(re.sub(r"[T ]+\d{1,2}:.*", "", text) for text in in_turn)))
    days = np.array([plainly(text, order) for text in bare], dtype=object)
    day = plainly(day, order)
    half = bool(_HALF_DAYS.search(time))
    clock = np.array([_seconds(time, half=half) for time in times])[of_time]
    mark = next((letter for letter in day if not letter.isdigit()), "-")
    if re.match(r"\d{4}\D", day):
        forms = {"year first": f"%Y{mark}%m{mark}%d"}
    else:
        forms = {"day first": f"%d{mark}%m{mark}%Y", "month first": f"%m{mark}%d{mark}%Y"}
    read = {style: pd.to_datetime(days, format=form, errors="coerce").to_numpy() for style, form in forms.items()}
    failed = {style: int(np.isnat(days_read[of_day]).sum()) for style, days_read in read.items()}
    chosen = min(failed, key=lambda style: failed[style])
    if len(read) > 1 and len(set(failed.values())) == 1:
        # no number above 12: then the order in which rows follow each other from day to day
        steps = {style: _longest_step(days_read[of_day]) for style, days_read in read.items()}
        near = [style for style, step in steps.items() if 0 < step <= _FOLLOWS]
        chosen = near[0] if len(near) == 1 and max(steps.values()) >= _LEAPS else ""
        if not chosen and min(failed.values()) == len(texts):
            chosen = "day first"  # no day at all: each is named
    moments = np.full(len(texts), np.datetime64("NaT", "ns"))
    if chosen:
        known = ~np.isnan(clock)
        since = (clock[known] * 1e9).round().astype("timedelta64[ns]")
        moments[known] = read[chosen][of_day[known]].astype("datetime64[ns]") + since
    return moments, chosen, bool((clock == 86400.0).any())


class _Parts(NamedTuple):
    """The day and the time of day of stamps, each that differs once."""

    of_day: Ints
    days: list[str]
    of_time: Ints
    times: list[str]


def _parts_of(texts: list[str], first: str) -> _Parts:
    day, _ = _parted(first)
    mark, body = first[len(day) : len(day) + 1], "\n".join(texts)
    count = first.count(mark) if mark and mark in " T" and mark not in day else 0
    if count in (1, 2) and not re.search(r'["\r\0]', body) and set(map(methodcaller("count", mark), texts)) == {count}:
        options: dict[str, Any] = {"header": None, "index_col": False, "dtype": "category", "na_filter": False}
        frame = pd.read_csv(
            lines_as_file(texts), sep=mark, names=list(range(count + 1)), skip_blank_lines=False, **options
        )
        days, *rest = (list(frame[i].cat.categories) for i in frame)
        of_day, *codes = (frame[i].cat.codes.to_numpy().astype(np.int64) for i in frame)
        of_time, pairs = pd.factorize(codes[0] if count == 1 else codes[0] * len(rest[1]) + codes[1])
        numbers = [divmod(int(pair), len(rest[1])) if count == 2 else (int(pair),) for pair in pairs]
        times = [mark.join(kinds[i] for kinds, i in zip(rest, pair, strict=True)).strip() for pair in numbers]
        return _Parts(of_day, days, of_time, times)
    parts = [text.partition(mark)[::2] if count and mark in text else _parted(text) for text in texts]
    of_day, kinds = pd.factorize(np.array([part[0] for part in parts], dtype=object))
    of_time, clocks = pd.factorize(np.array([part[1].strip() for part in parts], dtype=object))
    return _Parts(of_day, kinds.tolist(), of_time, clocks.tolist())


def _parted(text: str) -> tuple[str, str]:
    """Part a stamp into its day and its time of day."""
    colon = text.find(":")
    if colon < 0:
        return text, ""
    at = max(text.rfind(" ", 0, colon), text.rfind("T", 0, colon))
    return text[: max(at, 0)].rstrip(" ,"), text[at + 1 :]


def _seconds(time: str, *, half: bool) -> float:
    """Seconds since midnight; NaN of what is no time of day; 0 of none, 86400 of 24:00."""
    match = _TIME_OF_DAY.fullmatch(time)
    if match is None or half is not bool(match[5]):
        return 0.0 if not time else np.nan
    hour, minute, second = (int(match[i] or 0) for i in (1, 2, 3))
    if half:
        hour = hour % 12 + 12 * (match[5] in "pP") if 1 <= hour <= 12 else 99
    seconds = hour * 3600.0 + minute * 60.0 + second + float(f"0.{match[4] or 0}")
    return seconds if minute < 60 and second < 60 and (hour < 24 or seconds == 86400.0) else np.nan


def _longest_step(moments: npt.NDArray[np.datetime64]) -> int:
    """Most days from one record to the next."""
    days = moments[~np.isnat(moments)].astype("datetime64[D]").astype(np.int64)
    return int(np.abs(np.diff(days)).max()) if len(days) > 1 else 0


def moments_of(parts: Sequence[Floats], lines: Ints, mistakes: Mistakes) -> npt.NDArray[np.datetime64]:
    """
    Join year, month, day and hour.

    Parameters
    ----------
    parts : sequence of ndarray, (rows,)
        The four as the file has them.
    lines : ndarray of int, (rows,)
        Where they stand.
    mistakes : Mistakes
        Where is noted what is no hour of the calendar; hours are 0 to 23.

    Returns
    -------
    ndarray of datetime64[ns], (rows,)
    """
    table = np.array(parts, dtype=float)
    lowest, highest = np.array([[_YEARS.start, 1, 1, 0], [_YEARS.stop - 1, 12, 31, 23]], dtype=float)[:, :, None]
    sound = ((table == np.round(table)) & (table >= lowest) & (table <= highest)).all(axis=0)
    year, month, day, hour = np.where(sound, table, [[1970], [1], [1], [0]]).astype(np.int64)
    months = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + (day - 1)
    stamps = days.astype("datetime64[ns]") + hour * np.timedelta64(1, "h")
    stamps[~sound | (days.astype("datetime64[M]") != months)] = np.datetime64("NaT")
    for i, more in first_of(np.isnat(stamps), "row"):
        text = " ".join(f"{figure:g}" for figure in table[:, i])
        mistakes.note("no-hour", line=lines[i], text=text, more=more)
    return np.asarray(stamps)
