"""
Typical years: the hours of a year made of months from different years, as pvlib reads them, put together to its days.

pvlib takes the file apart; what its columns mean here, which marks stand for missing values, whether its rain is a
record at all, and what a person is told of a broken file, is said here. `weather.calendar` lays the days onto the calendar.
"""

import dataclasses
import datetime as dt
import re
import tempfile
import warnings
from calendar import isleap
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.numeric import Floats, Ints
from panbudget.weather.calendar import NOMINAL_YEAR
from panbudget.weather.formats.archives import Measure
from panbudget.weather.site import Station, sky_of
from panbudget.weather.subdaily.hourly import Records, to_days
from panbudget.weather.text.columns import number
from panbudget.weather.text.mistakes import Mistakes, first_of, note, notes, problem, shortened
from panbudget.weather.text.moments import day_of
from panbudget.weather.text.raw import RawTable, Site, Source
from panbudget.weather.text.rows import Rows, read_rows, split

# a clear sky's radiation above which even the darkest day has some [MJ m⁻² d⁻¹]
_SOME_LIGHT = 3.0
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_WIND_HEIGHT = 10.0
# what heads call a typical year, and a real one
_TYPICAL = re.compile(r"TMY|TRY|I?WEC|WYEC|RMY|DSY|typical|reference|normal|design year", re.IGNORECASE)
_ACTUAL = re.compile(r"\b(AMY|actual|real year|Year_\d{4})\b", re.IGNORECASE)


class Hourly(NamedTuple):
    """
    What a layout of typical years fixes.

    Parameters
    ----------
    recognised : str
        What a report calls it.
    reader : str
        The function of `pvlib.iotools` that reads it, and
    options : dict
        what it is told.
    measures : dict
        pvlib's column -> measure, whose column is that of `Records`; figures as far out as ``missing`` are none.
    hours : str
        pvlib's column of the hours that an amount of rain fell in.
    title : list of int
        How many cells the first line has, and the places of name, latitude, longitude and elevation among them.
    when : str
        Pattern of the cells that say when, with the groups year, month, day and hour.
    closes : bool
        Whether pvlib's index is the hour's end; else its beginning.
    whose : str
        As in `read_rows`.
    leap_day : str
        Pattern of rows of 29 February, which are left out.
    until : int
        The last year of which its typical years have months.
    """

    recognised: str
    reader: str
    measures: Mapping[str, Measure]
    hours: str
    title: Sequence[int]
    when: str
    closes: bool
    whose: str = ""
    leap_day: str = "(?!)"
    until: int = 9999
    options: Mapping[str, Any] = {}


def read_typical(
    source: Source, site: Site, layout: Hourly, *, above: int, width: int, head: Sequence[str]
) -> RawTable:
    """
    Read a typical year.

    Parameters
    ----------
    source : Source
    site : Site
        Held against the place that the file names.
    layout : Hourly
    above, width
        As in `read_rows`.
    head : sequence of str
        The lines that pvlib expects between the first one and the hours.

    Returns
    -------
    RawTable
        365 days under `NOMINAL_YEAR`, ``typical``; those of its own year where it is a real one.

    Raises
    ------
    WeatherError
        Rows that don't fit, cells that are no numbers or hours, hours that are missing or stand twice; pvlib is not
        installed.
    """
    mistakes = Mistakes()
    whole = source.lines
    year = _real_year(whole, above, layout)
    lines = [*whole[:above], *("" if not year and re.match(layout.leap_day, line) else line for line in whole[above:])]
    rows = read_rows(lines, mistakes, above=above, separator=",", width=width, whose=layout.whose)
    mistakes.raise_if_any(source.shown_as)
    if not rows.texts:
        raise source.refusal("no-hours")
    table, place = _by_pvlib(source, layout, rows, lines[0], head)
    starts = pd.DatetimeIndex(table.index).tz_localize(None) - dt.timedelta(hours=1 if layout.closes else 0)
    stamps = starts.to_numpy() if year else nominal(starts)
    seconds = stamps.astype("datetime64[s]").astype(np.int64)
    values = _values(table, layout, rows.lines, mistakes)
    if not year and not mistakes.problems():
        mistakes.others += whole_year(seconds, rows.lines)
    mistakes.raise_if_any(source.shown_as)
    rain, why, texts = rain_record(values.get("rain", np.full(len(stamps), np.nan)))
    texts = [*([] if year else [months_note(starts.year.to_numpy(), starts.month.to_numpy())]), *texts]
    if "radiation" in values:
        values["radiation"], dark = light_record(values["radiation"], seconds, site)
        texts += dark
    values = {name: column for name, column in values.items() if not np.isnan(column).all()} | {"rain": rain}
    name, *_ = split(lines[0])[layout.title[1] :] or [""]
    texts += [why] if why else []
    texts += [note("leap-day-left-out")] if lines != whole else []
    station = _station(name, place)
    texts += [note("place", **station._asdict()) if station else note("no-place")]
    units = {measure.column: measure.unit for measure in layout.measures.values()}
    headers = {measure.column: measure.header or title for title, measure in layout.measures.items()}
    records = Records(stamps, values, rows.lines, units=units, stated=frozenset(values), headers=headers)
    clock = site.model_copy(update={"timezone": None})  # it keeps standard time, and has no day of 23 hours
    recognised = (
        note("real-year", year=year, layout=layout.recognised.partition(", ")[2]) if year else layout.recognised
    )
    raw = to_days(records, clock, recognised=recognised, shown_as=source.shown_as, notes=texts)
    absent = {"rain": why} if why else {}
    return dataclasses.replace(raw, typical=not year, wind_height=_WIND_HEIGHT, absent=absent, station=station)


def _real_year(lines: Sequence[str], above: int, layout: Hourly) -> int:
    """
    Return the year of which all hours are, and that nothing calls typical; else 0.

    It is later than any typical one, or has its 29 February, or the file is called actual.
    """
    head = " ".join(line for line in lines[:above] if not line.upper().startswith("TYPICAL"))
    if _TYPICAL.search(head):
        return 0
    hours = [match["year"] for line in lines[above:] if (match := re.match(layout.when, line))]
    leap_days = sum(bool(re.match(layout.leap_day, line)) for line in lines[above:])
    year = int(hours[0]) if len({*hours}) == 1 else 0
    year = year if leap_days or year > layout.until or _ACTUAL.search(head) else 0
    return year if leap_days == 24 * isleap(year) and len(hours) == 24 * (365 + isleap(year)) else 0


def _values(table: pd.DataFrame, layout: Hourly, lines: Ints, mistakes: Mistakes) -> dict[str, Floats]:
    """Return the quantities in the units of `Records`, NaN where missing."""
    values = {}
    for name, measure in layout.measures.items():
        if name in table:
            figures = _numbers(table[name], measure.header or name, lines, mistakes)
            code = measure.missing[0]
            beyond = figures >= code if code > 0.0 else figures <= code
            values[measure.column] = np.where(beyond, np.nan, figures * measure.factor)
    if "rain" in values and layout.hours in table:
        hours = _numbers(table[layout.hours], layout.hours, lines, mistakes)
        values["rain"] = hourly_amounts(values["rain"], hours)
    return values


def _by_pvlib(
    source: Source, layout: Hourly, rows: Rows, title: str, head: Sequence[str]
) -> tuple[pd.DataFrame, Mapping[str, Any]]:
    """Let pvlib read the rows that fit; what it stumbles over is named by its line."""
    try:
        from pvlib import iotools
    except ImportError as error:
        raise source.refusal("no-pvlib") from error
    count, _, *places = layout.title
    # what is no number there, pvlib can't read; and the time zone is not asked for
    cells = [*split(title), *[""] * count]
    numbers = {i: cells[i] if re.fullmatch(r"[+-]?\d+(\.\d*)?", cells[i]) else "nan" for i in places}
    first = ",".join(numbers.get(i, "0") for i in range(count))
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        path = Path(folder) / "typical.csv"
        path.write_bytes("\n".join([first, *head, *rows.texts, ""]).encode("ascii", "replace"))
        try:
            table, place = getattr(iotools, layout.reader)(path, **layout.options)
        except Exception as error:  # pandas and pvlib raise what their parsing parts raise: no list is complete
            raise WeatherError(_no_hour(layout, rows, error), file=source.shown_as) from error
    if len(table) != len(rows.lines):
        raise source.refusal("typical-no-rows")
    return table, place


def _no_hour(layout: Hourly, rows: Rows, error: Exception) -> Problem:
    """Name the first row whose cells are no hour of the calendar."""
    for line, text in zip(rows.lines.tolist(), rows.texts, strict=True):
        match = re.match(layout.when, text)
        year, month, day, hour = (int(match[name]) for name in ("year", "month", "day", "hour")) if match else (0,) * 4
        if day_of(year, month, day) is None or hour > 24:
            return problem("typical-no-hour", line=line, text=shortened(match[0] if match else text))
    reason = str(error).splitlines()[0][:80] if str(error) else type(error).__name__
    return problem("typical-unreadable", reason=reason)


def _numbers(column: pd.Series, header: str, lines: Ints, mistakes: Mistakes) -> Floats:
    words = column.astype(str) if column.dtype.kind not in "fiu" else column
    values = pd.to_numeric(words.where(column.notna()), errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    for i, more in first_of((np.isnan(values) & column.notna().to_numpy()) | np.isinf(values), "cell"):
        text = shortened(str(column.iloc[i]))
        mistakes.note("typical-no-number", line=lines[i], name=header, text=text, more=more)
    return values


def is_typical(starts: pd.DatetimeIndex) -> bool:
    """Tell the twelve months in turn, of which some hours come after later ones; a clock in UTC has the first month's at both ends."""
    months = (starts.year * 12 + starts.month).to_numpy()
    steps = np.diff(months)
    turns = np.diff(months % 12)[np.diff(months % 12) != 0]
    return len(turns) in (11, 12) and bool((turns % 12 == 1).all() and (steps < 0).any())


def nominal(starts: pd.DatetimeIndex) -> npt.NDArray[np.datetime64]:
    """Return the hours under the nominal year; pvlib ends a leap year's 28 February a day later."""
    day = np.where((starts.month == 2) & (starts.day == 29), 28, starts.day)
    days = pd.to_datetime(pd.DataFrame({"year": NOMINAL_YEAR, "month": starts.month, "day": day}))
    since = starts.to_numpy() - starts.normalize().to_numpy()
    return np.asarray(days.to_numpy() + since, dtype="datetime64[ns]")


def _station(name: str, place: Mapping[str, Any]) -> Station | None:
    """Return where the file says that it was made for, if it does."""
    latitude, longitude, elevation = (float(place[key]) for key in ("latitude", "longitude", "altitude"))
    if np.isnan([latitude, longitude, elevation]).any():
        return None
    return Station(name.title() if name.isupper() else name, latitude, longitude, elevation)


def months_note(years: npt.NDArray[np.int64], months: npt.NDArray[np.int64]) -> str:
    """
    Say which years the months are from.

    Parameters
    ----------
    years, months : ndarray of int, (records,)
        As the file has them.

    Returns
    -------
    str
        Months in turn.
    """
    pairs = pd.DataFrame({"month": months, "year": years}).groupby("month")["year"].agg(["min", "max"])
    first, last = pairs["min"].to_numpy(), pairs["max"].to_numpy()
    if first.min() == last.max():
        return note("months-of-one-year", year=first[0])
    parts = (
        f"{_MONTHS[month - 1]} {begin}" + (f"/{end}" if end != begin else "")
        for month, begin, end in zip(pairs.index.tolist(), first, last, strict=True)
    )
    return note("months", listed=", ".join(parts))


def rain_record(rain: Floats) -> tuple[Floats, str, list[str]]:
    """
    Tell a rain record from a column that only fills its place.

    Parameters
    ----------
    rain : ndarray, (records,)
        NaN where missing. [mm, by the header]

    Returns
    -------
    (ndarray, str, list of str)
        The column in mm, all NaN where it is no record, and then why; and what a report should mention.

    Notes
    -----
    Some genuine files hold tenths of a millimetre under a header that says millimetres. They give themselves
    away: a gauge that counts hundredths of an inch then shows 3, 5, 8, 10, 13 … and never 1, 2, 4, 6; where other
    gauges served too, still mostly these and most often 3, and not 1 as whole millimetres would.
    """
    known = rain[~np.isnan(rain)]
    nothing = np.full(len(rain), np.nan)
    if not known.size:
        return nothing, note("rain-missing"), []
    if known.size < 0.5 * rain.size:
        return nothing, note("rain-scarce", known=known.size, all=rain.size), []
    wet = known[known > 0.0]
    if not wet.size:
        return nothing, note("rain-zero"), []
    hundredths_of_an_inch = np.abs(np.round(np.round(wet / 2.54) * 2.54) - wet) < 1e-6
    often = wet.size >= 50 and hundredths_of_an_inch.mean() > (0.6 if float(pd.Series(wet).mode()[0]) == 3.0 else 0.98)
    if often and (wet == np.round(wet)).all():
        return rain / 10.0, "", [note("rain-in-tenths", sum=number(float(wet.sum())))]
    return rain, "", []


def light_record(radiation: Floats, seconds: npt.NDArray[np.int64], site: Site) -> tuple[Floats, list[str]]:
    """
    Take days without any light as days without a record of it.

    Parameters
    ----------
    radiation : ndarray, (records,)
        Mean flux. [W/m²]
    seconds : ndarray of int, (records,)
        Since 1970, under the nominal year. [s]
    site : Site
        Its latitude says whether the sun rises.

    Returns
    -------
    (ndarray, list of str)
        NaN on such days, and what a report should mention.
    """
    day = seconds // 86400
    days, place = np.unique(day, return_inverse=True)
    total = np.bincount(place, weights=np.nan_to_num(radiation))
    stamps = pd.DatetimeIndex(days.astype("datetime64[D]").astype("datetime64[ns]"))
    dark = (total <= 0.0) & (sky_of(stamps, latitude=site.latitude, elevation=site.elevation).clear > _SOME_LIGHT)
    if not dark.any() or dark.all():
        return radiation, []
    return np.where(dark[place], np.nan, radiation), notes("dark-days", int(dark.sum()))


def hourly_amounts(rain: Floats, hours: Floats) -> Floats:
    """
    Leave out amounts of more than an hour: the hours that they sum up stand beside them, or nothing does.

    Parameters
    ----------
    rain : ndarray, (records,)
        Amounts. [mm]
    hours : ndarray, (records,)
        Over how long each fell; NaN or a mark for missing where the file doesn't say. [h]

    Returns
    -------
    ndarray, (records,)
        NaN where the amount is of 2 to 24 hours.
    """
    return np.where((hours > 1.0) & (hours <= 24.0) & (rain > 0.0), np.nan, rain)


def whole_year(seconds: npt.NDArray[np.int64], lines: npt.NDArray[np.int64]) -> list[Problem]:
    """
    Name what a typical year lacks or has too often.

    Parameters
    ----------
    seconds : ndarray of int, (records,)
        Since the nominal year's beginning. [s]
    lines : ndarray of int, (records,)
        Where they stand.

    Returns
    -------
    list of Problem
        None where all hours are there.
    """
    expected, count = 365 * 24, len(np.unique(seconds))
    if count == expected:
        return []
    last = lines[-1] if len(lines) else 0
    return [problem("not-whole-year", value=count, count=count, hours=expected, line=last)]
