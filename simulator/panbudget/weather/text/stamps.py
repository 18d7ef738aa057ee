"""
Stamps: the columns of a table that say when, and their text as moments.

One way of writing for the whole column. Where day and month come first, a number above 12 decides, or else that
the days of a table follow each other; a column that neither settles is refused.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem
from panbudget.weather.text.dates import and_more
from panbudget.weather.text.digits import Digits, digits_of

__all__ = ["ReadStamps", "TimeColumns", "find_time", "read_stamps"]

_DATE = r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/. ]\d{1,2}[-/. ](?:\d{4}|\d{2})|\d{8})"
_CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?:\s?[AaPp]\.?[Mm]\.?)?"
_OFFSET = r"(?:\s?(?:Z|UTC|[+-]\d{2}:?\d{2}))?"
_STAMP = re.compile(rf"(?:{_DATE}(?:T|,?\s+){_CLOCK}{_OFFSET}|\d{{8}}[ :T]?\d{{4}}(?:\d{{2}})?|1\d{{9}}(?:\d{{3}})?)")
_ONLY_DATE, _ONLY_TIME = re.compile(_DATE), re.compile(_CLOCK)
_PARTS = re.compile(
    r"(?P<date>\d{4}(?P<a>[-/.])\d{1,2}(?P=a)\d{1,2}|(?P<first>\d{1,2})(?P<b>[-/. ])(?P<second>\d{1,2})(?P=b)\d{4})"
    r"(?P<join>T|,?\s+)(?P<time>\d{1,2}:\d{2}(?P<seconds>:\d{2}(?P<part>\.\d+)?)?(?P<half>\s?[AaPp]\.?[Mm]\.?)?)"
)
_SHORT_YEAR = re.compile(rf"\d{{1,2}}[-/.]\d{{1,2}}[-/.]\d{{2}}(?:T|,?\s+){_CLOCK}.*")
_OFFSET_AT_END = re.compile(r":\d{2}(?::\d{2}(?:\.\d+)?)?\s?(?:Z|UTC|[+-]\d{2}:?\d{2})$")
_WITHOUT_OFFSET = re.compile(r"\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,9})?)?)?")
_END_OF_DAY = re.compile(r"24:00(?=(?::00)?$)")
_YEARS = (1800, 2100)
# rows that follow each other lie within so many days, and days taken for months leap this far [d]
_FOLLOWS, _LEAPS = 7, 27
_EXAMPLE = "write times as 2025-05-01 13:00"
_SPLIT = ("year", "month", "day", "hour")


@dataclass(frozen=True)
class TimeColumns:
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


@dataclass(frozen=True, eq=False)
class ReadStamps:
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
    problems : list of Problem
        What is wrong.
    """

    stamps: npt.NDArray[np.datetime64]
    utc: bool = False
    ends: bool = False
    style: str = ""
    problems: list[Problem] = field(default_factory=list)


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
    rows = [row for row in rows if len(row) >= len(header)]
    if not rows:
        return None
    plain = [re.sub(r"[^a-z0-9]+", " ", cell.lower()).strip() for cell in header]

    def all_are(place: int, pattern: re.Pattern[str]) -> bool:
        return all(pattern.fullmatch(row[place].strip()) for row in rows)

    stamps = [i for i in range(len(header)) if all_are(i, _STAMP) and _may_be_time(plain[i], rows[0][i])]
    if stamps:
        # of two clocks the local one, whose days are the site's
        local = [i for i in stamps if not re.search(r"utc|gmt", plain[i])]
        place = (local or stamps)[0]
        return TimeColumns((place,), _says_utc(header[place]))
    dates = [i for i in range(len(header)) if all_are(i, _ONLY_DATE) and re.search(r"date|day|datum", plain[i])]
    times = [i for i in range(len(header)) if all_are(i, _ONLY_TIME)]
    if dates and times:
        return TimeColumns((dates[0], times[0]), _says_utc(header[times[0]]))
    if all(name in plain for name in _SPLIT):
        places = [plain.index(name) for name in _SPLIT]
        places += [plain.index(name) for name in ("minute", "min") if name in plain][:1]
        if all(row[place].strip().isdigit() for row in rows for place in places):
            return TimeColumns(tuple(places), _says_utc(" ".join(header)))
    return None


def _may_be_time(name: str, cell: str) -> bool:
    """Bare digits are a time only under a header that says so."""
    return not cell.strip().isdigit() or bool(re.search(r"date|time|stamp|epoch|unix", name))


def _says_utc(header: str) -> bool:
    return bool(re.search(r"\b(utc|gmt)(?![\w ]*[+-]\s?\d*[1-9])", header.lower().replace("_", " "))) or (
        "dateutc" in header.lower()
    )


def read_stamps(texts: pd.Series[str], lines: npt.NDArray[np.int64]) -> ReadStamps:
    """
    Read a column of stamps.

    Parameters
    ----------
    texts : Series of str
        The cells.
    lines : ndarray of int, (rows,)
        Where they stand.

    Returns
    -------
    ReadStamps
        With what is wrong, one problem for each kind of mistake.
    """
    texts = texts.reset_index(drop=True)
    first = next((text.strip() for text in texts if text.strip()), "")
    if first.isdigit() and len(first) in (10, 13):
        read = _Found(_epoch(texts, len(first)), "seconds since 1970", utc=True)
    elif re.fullmatch(r"\d{8}[ :T]?\d{4}(\d{2})?", first):
        read = _Found(_compact(texts, first), "digits only")
    elif _has_offset(first):
        moments = pd.to_datetime(texts, format="ISO8601", utc=True, errors="coerce").dt.tz_localize(None)
        moments = moments.where(_offsets(texts, first))
        read = _Found(moments, "year first, with their distance from UTC", utc=True)
    else:
        read = _by_parts(texts, first, lines)
        if read.problem is not None:
            return ReadStamps(np.zeros(len(texts), dtype="datetime64[ns]"), problems=[read.problem])
    found = read.moments
    wrong = found.isna().to_numpy()
    years = found.dt.year.fillna(2000).to_numpy()
    problems = []
    if wrong.any():
        place = int(np.argmax(wrong))
        problems.append(_not_a_time(texts.iloc[place], int(lines[place]), int(wrong.sum())))
    outside = ~wrong & ((years < _YEARS[0]) | (years > _YEARS[1]))
    if outside.any():
        place = int(np.argmax(outside))
        message = (
            f"line {lines[place]}: time = {texts.iloc[place]!r}{and_more(int(outside.sum()) - 1, 'row')} lies outside "
            f"{_YEARS[0]} to {_YEARS[1]}; correct the year"
        )
        problems.append(Problem.of_text(message, key="date", value=texts.iloc[place]))
    stamps = found.to_numpy().astype("datetime64[ns]")
    return ReadStamps(stamps, read.utc, read.ends, read.style, problems)


@dataclass(frozen=True, eq=False)
class _Found:
    """A column's moments, NaT where there is none, and how they were written."""

    moments: pd.Series[pd.Timestamp]
    style: str
    utc: bool = False
    ends: bool = False
    problem: Problem | None = None


def _has_offset(text: str) -> bool:
    return bool(_OFFSET_AT_END.search(text))


def _offsets(texts: pd.Series[str], first: str) -> npt.NDArray[np.bool_]:
    """Tell which stamps have a distance from UTC; looked at closely only where they differ in length."""
    lengths = np.fromiter(map(len, texts), dtype=np.int64, count=len(texts))
    if (lengths == lengths[0]).all():
        return np.full(len(texts), _has_offset(first))
    return texts.str.strip().str.contains(_OFFSET_AT_END).to_numpy(dtype=bool)


def _epoch(texts: pd.Series[str], digits: int) -> pd.Series[pd.Timestamp]:
    numbers = pd.to_numeric(texts, errors="coerce")
    return pd.to_datetime(numbers, unit="s" if digits == 10 else "ms", errors="coerce")


def _compact(texts: pd.Series[str], first: str) -> pd.Series[pd.Timestamp]:
    mark = "" if first.isdigit() else first[8]
    digits = len(first) - len(mark)
    return pd.to_datetime(texts, format=f"%Y%m%d{mark}%H%M{'%S' if digits == 14 else ''}", errors="coerce")


def _by_parts(texts: pd.Series[str], first: str, lines: npt.NDArray[np.int64]) -> _Found:
    nothing = pd.Series(pd.NaT, index=texts.index, dtype="datetime64[ns]")
    match = _PARTS.fullmatch(first)
    if match is None:
        return _Found(nothing, "", problem=_not_a_time(first, int(lines[0]), 1))
    half = match["half"] or ""
    if "." in half:
        texts = texts.str.replace(r"([AaPp])\.?([Mm])\.?\s*$", r"\1\2", regex=True)
        half = half.replace(".", "")
    clock = "%I:%M" if half else "%H:%M"
    clock += (":%S" if match["seconds"] else "") + (".%f" if match["part"] else "")
    clock += " %p" if half.startswith(" ") else "%p" if half else ""
    if match["a"]:
        day = f"%Y{match['a']}%m{match['a']}%d"
        form = f"{day}{match['join']}{clock}"
        return _mended(_tried(texts, form, digits_of(texts)), texts, form, day, "year first")
    mark = match["b"]
    days = {"day first": f"%d{mark}%m{mark}%Y", "month first": f"%m{mark}%d{mark}%Y"}
    forms = {order: f"{day}{match['join']}{clock}" for order, day in days.items()}
    digits = digits_of(texts)
    read = {order: _tried(texts, forms[order], digits) for order in days}
    failed = {order: int(moments.isna().sum()) for order, moments in read.items()}
    chosen = min(failed, key=lambda one: failed[one])
    if failed["day first"] == failed["month first"]:
        # no number above 12: then the order in which rows follow each other from day to day
        steps = {order: _longest_step(moments.dropna()) for order, moments in read.items()}
        near = [order for order, step in steps.items() if 0 < step <= _FOLLOWS]
        chosen = near[0] if len(near) == 1 and max(steps.values()) >= _LEAPS else ""
    if chosen:
        return _mended(read[chosen], texts, forms[chosen], days[chosen], chosen)
    message = (
        f"line {lines[0]}: time = {first!r} may have the day or the month first, and no row of the file tells which; "
        f"{_EXAMPLE}"
    )
    return _Found(nothing, "", problem=Problem.of_text(message, key="date", value=first))


def _longest_step(moments: pd.Series[pd.Timestamp]) -> int:
    """Most days from one record to the next."""
    days = moments.to_numpy().astype("datetime64[D]").astype(np.int64)
    return int(np.abs(np.diff(days)).max()) if len(days) > 1 else 0


def _tried(texts: pd.Series[str], form: str, digits: Digits | None) -> pd.Series[pd.Timestamp]:
    if digits is None:
        return pd.to_datetime(texts, format=form, errors="coerce")
    return _of_digits(digits, form)


def _mended(moments: pd.Series[pd.Timestamp], texts: pd.Series[str], form: str, day: str, style: str) -> _Found:
    """Read what is left: spaces, a bare day for its midnight, and 24:00 are allowed for."""
    failed = moments.isna()
    ends = False
    if failed.any():
        left = texts[failed].str.strip()
        if style == "year first":
            # with or without seconds; a distance from UTC among stamps without one would be another clock's
            plain = left.where(left.str.fullmatch(_WITHOUT_OFFSET))
            again = pd.to_datetime(plain, format="ISO8601", errors="coerce")
        else:
            again = pd.to_datetime(left, format=form, errors="coerce")
        again = again.fillna(pd.to_datetime(left, format=day, errors="coerce"))
        late = left.str.contains(_END_OF_DAY) & again.isna()
        if late.any():
            midnight = left[late].str.replace(_END_OF_DAY, "00:00", regex=True)
            closed = pd.to_datetime(midnight, format=form, errors="coerce") + pd.Timedelta(days=1)
            again = again.fillna(closed)
            ends = bool(closed.notna().any())
        moments = moments.fillna(again)
    return _Found(moments, style, ends=ends)


def _of_digits(digits: Digits, form: str) -> pd.Series[pd.Timestamp]:
    """Read stamps from their numbers; NaT where they don't stand as in the form."""
    order = re.findall(r"%[YmdHIMSf]", form)
    place = {part: i for i, part in enumerate(order)}
    year, month, day = (digits.numbers[place[part]] for part in ("%Y", "%m", "%d"))
    minute = digits.numbers[place["%M"]]
    second = digits.numbers[place["%S"]] if "%S" in place else np.zeros_like(year)
    sound = digits.alike & (digits.lengths[place["%Y"]] == 4) & (digits.lengths[len(order)] == 0)
    for i, part in enumerate(order):
        sound &= (digits.lengths[i] >= 1) & ((digits.lengths[i] <= 2) | (part in ("%Y", "%f")))
    if "%I" in place:
        hour = digits.numbers[place["%I"]]
        sound &= (hour >= 1) & (hour <= 12)
        hour = hour % 12 + 12 * digits.afternoon
    else:
        hour = digits.numbers[place["%H"]]
        sound &= ~digits.afternoon
    sound &= (month >= 1) & (month <= 12) & (day >= 1) & (hour <= 23) & (minute <= 59) & (second <= 59)
    months = (np.where(sound, year, 2000) - 1970) * 12 + np.where(sound, month, 1) - 1
    first = months.astype("datetime64[M]").astype("datetime64[D]")
    following = (months + 1).astype("datetime64[M]").astype("datetime64[D]")
    sound &= (year >= _YEARS[0]) & (year <= _YEARS[1]) & (day <= (following - first).astype(np.int64))
    seconds = ((day - 1) * 24 + hour) * 3600 + minute * 60 + second
    stamps = first.astype("datetime64[s]") + np.where(sound, seconds, 0)
    return pd.Series(np.where(sound, stamps, np.datetime64("NaT")).astype("datetime64[ns]"))


def _not_a_time(text: str, line: int, count: int) -> Problem:
    shown = text if len(text) <= 40 else text[:37] + "..."
    if not text.strip():
        why = f"is empty; every row needs its time: {_EXAMPLE}"
    elif _SHORT_YEAR.fullmatch(text):
        why = f"has a year of two digits; four are expected: {_EXAMPLE}"
    else:
        why = f"is no time of the calendar, written as the others are; {_EXAMPLE}, and remove rows that are no records"
    return Problem.of_text(f"line {line}: time = {shown!r}{and_more(count - 1, 'row')} {why}", key="date", value=text)
