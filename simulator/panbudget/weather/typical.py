"""
Typical: a year made of months from different years, and how it is laid onto the calendar.

Such a year is no summer that anybody lived through. It carries its own flag from the reader to the report,
and a note that says so before everything else.
"""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem
from panbudget.physics.air import Floats
from panbudget.weather.site import SiteLike
from panbudget.weather.sky import sky_of
from panbudget.weather.text.columns import number
from panbudget.weather.text.raw import RawTable

__all__ = [
    "NOMINAL_YEAR",
    "NO_SUMMER",
    "far_from_site",
    "hourly_amounts",
    "laid_out",
    "light_record",
    "months_note",
    "rain_record",
    "standard_time",
    "whole_year",
]

#: the year under which a reader files a typical year: it has 365 days
NOMINAL_YEAR = 2001

NO_SUMMER = "a typical year made of months from different years; no real summer"

# how far a file's place may lie from the site before that is said [degrees, m]
_NEAR, _LEVEL = 0.5, 150.0
# a clear sky's radiation above which even the darkest day has some [MJ m⁻² d⁻¹]
_SOME_LIGHT = 3.0
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def laid_out(raw: RawTable, *, start: dt.date | None, end: dt.date | None) -> RawTable:
    """
    Lay a typical year onto the calendar.

    Parameters
    ----------
    raw : RawTable
        Filed under `NOMINAL_YEAR`.
    start, end : date, optional
        The year repeats from the first one's calendar year to the last one's; under `NOMINAL_YEAR` only where
        both are left out.

    Returns
    -------
    RawTable
        With 29 February a copy of the 28th, which is noted.
    """
    first = start or end
    last = end or start
    if first is None or last is None:
        note = f"the typical year's days stand under {NOMINAL_YEAR}, which means nothing"
        return dataclasses.replace(raw, notes=(note, *raw.notes))
    years = range(first.year, max(last.year, first.year) + 1)
    days = pd.date_range(dt.date(years.start, 1, 1), dt.date(years.stop - 1, 12, 31), name="date").as_unit("ns")
    leap = np.asarray((days.month == 2) & (days.day == 29))
    wanted = pd.to_datetime(
        pd.DataFrame({"year": NOMINAL_YEAR, "month": days.month, "day": np.where(leap, 28, days.day)})
    )
    index = pd.DatetimeIndex(raw.daily.index)
    places = index.get_indexer(pd.DatetimeIndex(wanted))
    there = places >= 0
    daily = raw.daily.iloc[places[there]].set_axis(days[there], axis=0)
    daily.index.name = "date"
    lines = np.asarray(raw.lines, dtype=np.int64)[places[there]]
    shown = f"{years.start}" if len(years) == 1 else f"each of {years.start} to {years.stop - 1}"
    notes = [f"the typical year's days are laid onto {shown}"]
    if (leap & there).any():
        notes.append("29 February is a copy of the typical year's 28 February")
    return dataclasses.replace(raw, daily=daily, lines=tuple(lines.tolist()), notes=(*notes, *raw.notes))


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
        return f"all its months say {first[0]}; the layout is a typical year's all the same, and it is called one"
    parts = [
        f"{_MONTHS[month - 1]} {one}" + (f"/{other}" if other != one else "")
        for month, one, other in zip(pairs.index.tolist(), first, last, strict=True)
    ]
    return f"its months are from different years: {', '.join(parts)}"


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
    away: a gauge that counts hundredths of an inch then shows 3, 5, 8, 10, 13 … and never 1, 2, 4, 6.
    """
    known = rain[~np.isnan(rain)]
    nothing = np.full(len(rain), np.nan)
    if not known.size:
        return nothing, "the file's rain column is missing in every hour: no rain record", []
    if known.size < 0.5 * rain.size:
        why = f"the file's rain column has a figure in only {known.size} of {rain.size} hours: no rain record"
        return nothing, why, []
    wet = known[known > 0.0]
    if not wet.size:
        return nothing, "the file's rain column is 0 in every hour: no rain record, not a dry year", []
    hundredths_of_an_inch = np.abs(np.round(np.round(wet / 2.54) * 2.54) - wet) < 1e-6
    if wet.size >= 50 and hundredths_of_an_inch.mean() > 0.98 and (wet == np.round(wet)).all():
        note = (
            "the file's rain is headed mm, but it holds whole numbers that only hundredths of an inch in tenths of a "
            f"millimetre give ({number(float(wet.sum()))} in the year): it is read as tenths of a millimetre"
        )
        return rain / 10.0, "", [note]
    return rain, "", []


def light_record(radiation: Floats, seconds: npt.NDArray[np.int64], site: SiteLike) -> tuple[Floats, list[str]]:
    """
    Take days without any light as days without a record of it.

    Parameters
    ----------
    radiation : ndarray, (records,)
        Mean flux. [W/m²]
    seconds : ndarray of int, (records,)
        Since 1970, under the nominal year. [s]
    site : SiteLike
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
    count = int(dark.sum())
    note = f"radiation is 0 from morning to night on {count} day{'s' if count > 1 else ''}, which is taken as missing"
    return np.where(dark[place], np.nan, radiation), [note]


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


def standard_time(site: SiteLike) -> SiteLike:
    """
    Return the site without its time zone: a typical year keeps standard time and has no day of 23 hours.

    Parameters
    ----------
    site : SiteLike
        The site.

    Returns
    -------
    SiteLike
        A place with the same coordinates.
    """
    return site.model_copy(update={"timezone": None})


def far_from_site(site: SiteLike, *, latitude: float, longitude: float, elevation: float) -> list[str]:
    """
    Say that a file was made for another place than the site, if it was.

    Parameters
    ----------
    site : SiteLike
        The site.
    latitude, longitude : float
        What the file says; NaN where it says nothing. [degrees]
    elevation : float
        Likewise. [m]

    Returns
    -------
    list of str
        Nothing where the two agree within half a degree and 150 m.
    """
    parts = []
    if abs(latitude - site.latitude) > _NEAR:
        parts.append(f"latitude {number(latitude)} (site: {number(site.latitude)})")
    if site.longitude is not None and abs(longitude - site.longitude) > _NEAR:
        parts.append(f"longitude {number(longitude)} (site: {number(site.longitude)})")
    if abs(elevation - site.elevation) > _LEVEL:
        parts.append(f"elevation {number(elevation)} m (site: {number(site.elevation)} m)")
    if not parts:
        return []
    return [f"the file says it was made for another place: {', '.join(parts)}; check that it is meant"]


def whole_year(seconds: npt.NDArray[np.int64], lines: npt.NDArray[np.int64], *, per_day: int = 24) -> list[Problem]:
    """
    Name what a typical year lacks or has too often.

    Parameters
    ----------
    seconds : ndarray of int, (records,)
        Since the nominal year's beginning. [s]
    lines : ndarray of int, (records,)
        Where they stand.
    per_day : int
        Records a day.

    Returns
    -------
    list of Problem
        None where all hours are there.
    """
    expected = 365 * per_day
    count = len(np.unique(seconds))
    if count == expected:
        return []
    last = int(lines[-1]) if len(lines) else 0
    message = (
        f"holds {count} of the {expected} hours of a typical year and ends on line {last}"
        f"; all of them are expected: copy or download the file again"
    )
    return [Problem.of_text(message, key="date", value=count)]
