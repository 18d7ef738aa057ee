"""
Stamps: columns of text read as moments, and finding them in a table.

A column's order of day and month is told as `moments` tells it; in a table with times of day, also by how its days follow
each other.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from operator import methodcaller
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.numeric import Floats, Ints
from panbudget.weather.text.headers import Header
from panbudget.weather.text.mistakes import Mistakes, first_of, shortened
from panbudget.weather.text.moments import (
    CLOCK,
    COMPACT,
    DIGITS,
    OFFSET,
    ONLY_DATE,
    ORDERS,
    SERIAL,
    SERIAL_NUMBER,
    SERIAL_STATED,
    SERIAL_ZERO,
    SPACED,
    STAMP,
    YEARS,
    YEARS_SHOWN,
    ZONES,
    beginning_of,
    is_dated,
    kind_of_mistake,
    order_of,
    order_to_state,
    parted,
    plainly,
    serial_day,
    serial_days,
)
from panbudget.weather.text.raw import ColumnChoice
from panbudget.weather.text.rows import lines_as_file
from panbudget.words import packaged

_ONLY_TIME = re.compile(rf"(?:{CLOCK}|\d{{4}}(?= (?:UTC|Z)))(?:\s?{OFFSET})?")
# a date and an hour of bare digits; a time of day of bare digits
_WITH_HOUR = re.compile(r"\d{10}")
#: hours in decimals by a figure that 13.30, hours and minutes, can't have
HALF_HOUR = re.compile(r"\d{1,2}\.(?:5|75)")
#: words of a time that closes its record, in its header
ENDS = re.compile(r"\b(end|ending|ende|fin|fine|einde|slut|koniec)\b")
_BARE_TIME = re.compile(rf"\d{{1,4}}|\d{{1,2}}(?:\.(?:[0-4]\d|0)|[hH](?:[0-5]\d)?)|{HALF_HOUR.pattern}")
_OFFSET_AT_END = re.compile(rf"(:\d{{2}}(?::\d{{2}}(?:\.\d+)?)?(?: *[AaPp][Mm])?)\s?({OFFSET})$")
_MOST_AWAY = 14 * 60  # minutes of any clock from UTC, eastward; common practice, no source
# two times of day, or one and its distance from UTC, of which a clock has two a year, and one more where it was set; the
# farthest west
_TIGHT, _MOST_OFFSETS, _FARTHEST = re.compile(r"(:\d{2})-(\d{1,2}:\d{2})$"), 3, "12:00"
_TIME_OF_DAY = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:\.(\d{1,9}))?)?\s*(?:([AaPp])(?:\.?\s?[Mm])?\.?)?")
# what may stand beside the order of a day's parts where the user states them
_OF_UTC = re.compile(r"\W*\b(?:UTC|GMT)\b\W*")
_HALF_DAYS = re.compile(r"\d\s*[AaPp]\.?\s?[Mm]?\.?$")
# rows that follow each other lie within so many days, and days taken for months leap this far [d]
_FOLLOWS, _LEAPS = 7, 27
# rows by which the form of bare digits is told
_LOOKED_AT = 100
_SPLIT = ("year", "month", "day", "hour")
_DATA = packaged("weather/text/cells.toml")
_SHORT_NAMES: dict[str, str] = _DATA["short_names"]


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
    rows = [[beginning_of(cell.strip()) for cell in row] for row in rows if len(row) >= len(header)]
    if not rows:
        return None
    plain = [re.sub(r"[^a-z0-9]+", " ", cell.lower()).strip() for cell in header]
    utc = not {*_DATA["utc_told_by"]}.isdisjoint(plain)

    def columns(cells: re.Pattern[str], headers: str = "") -> list[int]:
        places = (i for i in range(len(header)) if all(cells.fullmatch(row[i]) for row in rows))
        return [i for i in places if re.search(headers, plain[i])]

    dates = columns(ONLY_DATE, "dat|day|fecha|tag|jour|dia|giorno|日|날") or columns(ONLY_DATE)
    if len(rows) > 2 and any(len({row[column] for row in rows}) == len(rows) for column in dates):
        return None  # a table of days may have the times of its extremes, or of sunrise: of its records, days repeat
    # bare digits are a time only under a header that says so
    named = r"date|time|stamp|epoch|unix|datum|fecha|zeit|creat|\bat\b|^ts$|(yyyy|jjjj|aaaa|rrrr)mm"
    serial = [i for i in columns(SERIAL_NUMBER, named) if any(serial_days([row[i] for row in rows]) % 1.0)]
    stamps = [i for i in columns(STAMP) if re.search(named, plain[i]) or not rows[0][i].isdigit()]
    if stamps := serial[-1:] or stamps:
        # of two clocks the local one, whose days are the site's
        column = next((i for i in stamps if not re.search(r"utc|gmt", plain[i])), stamps[0])
        return TimeColumns((column,), utc or says_utc(header[column]))
    times = columns(_ONLY_TIME) or columns(
        _BARE_TIME,
        "^(time|hour|hourmin|hh|hhmm|hr|hora|horamin|heure|ora|uhrzeit|zeit|stunde|tid|tijd|uur|czas|godzina|hodina|klo|klokken"
        "|klockan|kl|saat|sat|ura)\\b",
    )
    if dates and times:
        return TimeColumns((dates[0], times[0]), utc or any(says_utc(header[i]) for i in (dates[0], times[0])))
    if "yyyy" in plain or "year" in plain:
        plain = [_SHORT_NAMES.get(name, name) for name in plain]
    if set(_SPLIT) <= set(plain):
        minutes = [name for name in ("minute", "min") if name in plain][:1]
        places = tuple(plain.index(name) for name in (*_SPLIT, *minutes))
        if all(row[column].isdigit() for row in rows for column in places):
            return TimeColumns(places, utc or says_utc(" ".join(header)))
    return None


def says_utc(header: str) -> bool:
    """Tell whether a header says that its clock is UTC, and not at a distance from it."""
    lowered = header.lower()
    clock = re.search(r"\b(utc|gmt)(?![\w ]*[+-]\s?\d*[1-9])", lowered.replace("_", " "))
    return clock is not None or "dateutc" in lowered or "valid_time" in lowered  # a reanalysis' own name, from memory


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
    first, between = next((text for text in texts if text), ""), False
    seconds = texts.str.extract(_TIGHT)[1] if _TIGHT.search(first) else pd.Series([], dtype=object)
    if seconds.nunique() > _MOST_OFFSETS or (seconds.str.zfill(5) > _FARTHEST).any():
        texts = texts.str.replace(_TIGHT, r"\1 - \2", regex=True)
        first = next(text for text in texts if text)
    if (begun := beginning_of(first)) != first:
        between, texts, first = first.count(":") > begun.count(":") > 0, texts.map(beginning_of), begun
    utc = ends = False
    if (serial := SERIAL_NUMBER.fullmatch(first)) or first.isdigit() or re.fullmatch(COMPACT, first):
        order_by([first] if serial else [])  # nothing to order, but an order that was stated wrong is told
    if digits := _from_digits(texts, first):
        stamps, style, utc, ends = digits
    else:
        if not ONLY_DATE.fullmatch(first) and re.search(r"[T ]\d{1,2}h?$", first):  # the hour alone
            texts = texts.str.replace(r"h?$", ":00", regex=True)
        if re.match(SPACED, first):
            texts = texts.str.replace(SPACED, r"\1.\2.", regex=True)
        elif re.match(r"[\d.]+\.( |$)", first):  # a point behind the day
            texts = texts.str.replace(r"^([\d.]+)\.( |$)", r"\1\2", regex=True)
        first = next((text for text in texts if text), "")
        away, bare = _offsets(texts) if (utc := bool(_OFFSET_AT_END.search(first))) else (np.timedelta64(0, "m"), texts)
        moments, style, ends = _by_parts(bare, _OFFSET_AT_END.sub(r"\1", first), order_by)
        if not style:
            mistakes.note("ambiguous-times", line=lines[0], text=first)
            return ReadStamps(moments)
        stamps = pd.Series(moments - away)
        style += f"{', the first of two' if between else ''}{', with their distance from UTC' if utc else ''}"
    years = stamps.dt.year.fillna(2000).to_numpy()
    for i, more in first_of(stamps.isna().to_numpy(), "row"):
        text = texts.iloc[i]
        kind = kind_of_mistake(text).replace("number", "none")
        mistakes.note(f"time-{kind}", value=text, line=lines[i], text=shortened(text, 40), more=more)
    for i, more in first_of((years < YEARS.start) | (years >= YEARS.stop), "row"):
        text = texts.iloc[i]
        mistakes.note("time-no-year", value=text, line=lines[i], text=text, more=more, years=YEARS_SHOWN)
    return ReadStamps(stamps.to_numpy().astype("datetime64[ns]"), utc, ends, style)


def _from_digits(texts: pd.Series[str], first: str) -> tuple[Any, str, bool, bool] | None:
    """Read stamps without a mark in them, by the form of the first; their style, whether they are UTC, whether 24 is among hours."""
    if SERIAL_NUMBER.fullmatch(first):
        minutes = np.round(serial_days(texts.tolist()) * 1440.0)
        since = np.nan_to_num(minutes).astype("timedelta64[m]")
        moments = np.where(np.isnan(minutes), np.datetime64("NaT", "ns"), SERIAL_ZERO.astype("datetime64[ns]") + since)
        return pd.Series(moments), "day numbers", False, False
    shown = [text for text in texts[:_LOOKED_AT] if text]
    # seconds since 1970 may look like a date and an hour of bare digits, but not those of most rows
    if _WITH_HOUR.fullmatch(first) and DIGITS.fullmatch(first) and sum(map(is_dated, shown)) * 2 > len(shown):
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
    if re.fullmatch(COMPACT, first):
        mark = "" if first.isdigit() else first[8]
        form = f"%Y%m%d{mark}%H" + {10: "", 12: "%M", 14: "%M%S"}[len(first) - len(mark)]
        return pd.to_datetime(texts, format=form, errors="coerce"), "digits only", False, False
    return None


def _offsets(texts: pd.Series[str]) -> tuple[npt.NDArray[np.timedelta64], pd.Series[str]]:
    """Part stamps from their distance from UTC; NaT where there is none."""
    marks = texts.str.extract(_OFFSET_AT_END)[1].fillna("")
    away = {}
    for mark in marks.unique():
        digits = (offset := ZONES.get(mark, mark)).replace(":", "")[1:]
        minutes = int(digits[:2]) * 60 + int(digits[2:] or 0) if digits.isdigit() else 0
        known = mark != "" and minutes <= _MOST_AWAY
        away[mark] = np.timedelta64((-minutes if offset[:1] in "-−" else minutes) if known else "NaT", "m")
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
    day, time = parted(first)
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
    day, _ = parted(first)
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
    parts = [text.partition(mark)[::2] if count and mark in text else parted(text) for text in texts]
    of_day, kinds = pd.factorize(np.array([part[0] for part in parts], dtype=object))
    of_time, clocks = pd.factorize(np.array([part[1].strip() for part in parts], dtype=object))
    return _Parts(of_day, kinds.tolist(), of_time, clocks.tolist())


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
    lowest, highest = np.array([[YEARS.start, 1, 1, 0], [YEARS.stop - 1, 12, 31, 23]], dtype=float)[:, :, None]
    sound = ((table == np.round(table)) & (table >= lowest) & (table <= highest)).all(axis=0)
    year, month, day, hour = np.where(sound, table, [[1970], [1], [1], [0]]).astype(np.int64)
    months = ((year - 1970) * 12 + month - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + (day - 1)
    stamps = days.astype("datetime64[ns]") + hour * np.timedelta64(1, "h")
    stamps[~sound | (days.astype("datetime64[M]") != months)] = np.datetime64("NaT", "ns")
    for i, more in first_of(np.isnat(stamps), "row"):
        text = " ".join(f"{figure:g}" for figure in table[:, i])
        mistakes.note("no-hour", line=lines[i], text=text, more=more)
    return np.asarray(stamps)


def states_order(header: Header) -> bool:
    """Tell whether the user or the header of the days states anything of how they are written."""
    return bool(("date" in header.chosen and header.chosen["date"].unit) or order_of(header.headers["date"]))


def stated_order(header: Header, texts: Sequence[str], cell: str, line: int, mistakes: Mistakes) -> str:
    """
    Return the order of day, month and year that the user or a header states, and ask for it where it must be stated.

    Parameters
    ----------
    header : Header
        Gets what to paste: the likely order, by which rows follow each other.
    texts : sequence of str
        The dates.
    cell : str
        The header of their column.
    line : int
        Of the first of them, for messages.
    mistakes : Mistakes

    Returns
    -------
    str
        A key of `moments.ORDERS`, the likely one where it is asked for; nothing where there is none.
    """
    stated = _OF_UTC.sub("", header.chosen["date"].unit or "") if "date" in header.chosen else ""
    order = order_of(stated or cell)
    if stated and not order:
        mistakes.note("date-order", value=stated, table=header.table, stated=stated)
    if order or stated:
        return order
    if texts and (day := serial_day(texts[0])) and not any(map(is_dated, texts)):
        header.suggested["date"] = ColumnChoice(cell, SERIAL_STATED)
        mistakes.note("date-serial", value=texts[0], line=line, text=texts[0], day=day)
        return SERIAL
    guess, short = order_to_state(texts)
    if guess:
        header.suggested["date"] = ColumnChoice(cell, ORDERS[guess].replace("yyyy", "yy" if short else "yyyy"))
    if guess and short:
        mistakes.note("short-years", line=line, text=texts[0])
    return guess if short else ""
