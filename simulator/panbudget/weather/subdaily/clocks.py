"""
Clocks: the moments of sub-daily records, on the site's clock, in order, each once.

Stamps in UTC are moments already. Stamps of a station's own clock stand twice in the hour that autumn gives
back, and skip one in spring: the doubled hour is kept, because both of its halves happened.
"""

import zoneinfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.numeric import Floats, Ints, Mask
from panbudget.scenario.zones import zone_that_doubles
from panbudget.weather.messages import note, problem
from panbudget.weather.site import Site
from panbudget.words import and_more

Stamps = npt.NDArray[np.datetime64]

_HOUR = np.timedelta64(1, "h")
# share of records that stand again with other values from which a clock of 12 hours lacks AM and PM [-]
_TWICE = 0.3
# share of days that stand twice up to which single ones have a wrong date [-]
_FEW_DAYS = 0.1
# clocks are changed in the small hours
_LATEST_CHANGE = 3


def seconds_of(stamps: Stamps) -> Ints:
    """Return moments as whole seconds since 1970, on whatever clock they are."""
    return stamps.astype("datetime64[s]").astype(np.int64)


def written(stamp: np.datetime64, unit: str = "m") -> str:
    """Write a moment as people do, to the minute ("m") or second ("s")."""
    return str(stamp.astype(f"datetime64[{unit}]")).replace("T", " ")


def on_the_sites_clock(stamps: Stamps, site: Site, notes: list[str]) -> Stamps:
    """
    Turn UTC into what the site's clock shows.

    Parameters
    ----------
    stamps : ndarray of datetime64
        UTC.
    site : Site
        Its time zone; without one its longitude.
    notes : list of str
        Gets by what rule.

    Returns
    -------
    ndarray of datetime64
        Clock time.

    Raises
    ------
    WeatherError
        Neither time zone nor longitude.
    """
    if zone := _zone(site):
        notes.append(note("clock-zone", zone=site.timezone))
        return stamps + _ahead(stamps, zone)
    if site.longitude is None:
        raise WeatherError(problem("no-clock", "site.timezone"))
    hours = round(site.longitude / 15.0)
    notes.append(note("clock-longitude", sign="+" if hours >= 0 else "-", hours=abs(hours)))
    return stamps + np.timedelta64(hours, "h")


def in_utc(stamps: Stamps, site: Site) -> Stamps:
    """Turn what the clock of the site's time zone shows into UTC, but for the hours in which the clock is changed."""
    zone = _zone(site)
    return stamps if zone is None else np.asarray(stamps - _ahead(stamps - _ahead(stamps, zone), zone))


def day_lengths(days: Stamps, site: Site) -> Floats:
    """
    Return how long each day lasts on the site's clock.

    Parameters
    ----------
    days : ndarray of datetime64
        Midnights.
    site : Site
        Without a time zone every day has 24 hours.

    Returns
    -------
    ndarray, shape of ``days``
        23 or 25 where clocks are changed. [h]
    """
    if not (zone := _zone(site)):
        return np.full(len(days), 24.0)
    midnights = np.append(days, days[-1:] + np.timedelta64(1, "D"))
    ahead = _ahead(midnights, zone)
    ahead = _ahead(midnights - ahead, zone)  # of the site's midnight and not of UTC's
    return np.asarray(24.0 - np.diff(ahead) / _HOUR, dtype=np.float64)


def _zone(site: Site) -> zoneinfo.ZoneInfo | None:
    return None if site.timezone is None else zoneinfo.ZoneInfo(site.timezone)


def _ahead(stamps: Stamps, zone: zoneinfo.ZoneInfo) -> npt.NDArray[np.timedelta64]:
    """How far the zone's clock is ahead of UTC at each of these UTC moments."""
    if len(stamps) < 3:
        return _ahead_each(stamps, zone)
    # looked up day by day, and moment by moment on days when the clock is changed
    day = stamps.astype("datetime64[D]").astype(np.int64)
    first = int(day.min())
    midnights = np.arange(first, int(day.max()) + 2).astype("datetime64[D]").astype("datetime64[ns]")
    of_day = _ahead_each(midnights, zone)
    ahead, changed = of_day[day - first], (np.diff(of_day) != np.timedelta64(0, "ns"))[day - first]
    ahead[changed] = _ahead_each(stamps[changed], zone)
    return ahead


def _ahead_each(stamps: Stamps, zone: zoneinfo.ZoneInfo) -> npt.NDArray[np.timedelta64]:
    utc = pd.DatetimeIndex(stamps).tz_localize("UTC")
    local = utc.tz_convert(zone).tz_localize(None).as_unit("ns").to_numpy()
    return np.asarray(local - stamps.astype("datetime64[ns]"))


def in_order(
    stamps: Stamps, table: Floats, lines: Ints, *, site: Site, utc: bool, notes: list[str]
) -> tuple[Ints, list[Problem]]:
    """
    Set records in the order of time.

    Parameters
    ----------
    stamps : ndarray of datetime64, (records,)
        As the file has them.
    table : ndarray, (records, columns)
        Their values, to tell records that stand twice from records that contradict each other.
    lines : ndarray of int, (records,)
        Where they stand.
    site : Site
        Its time zone says when clocks go back.
    utc : bool
        Whether the stamps are UTC, which never goes back.
    notes : list of str
        Gets what a report should mention.

    Returns
    -------
    (ndarray of int, list of Problem)
        Rows of the records in the order of time, and what is wrong. Two records of one stamp are both kept in the hour
        that autumn doubles; elsewhere they are one record if they agree, and a problem if not.
    """
    seconds = seconds_of(stamps)
    rows, key, problems = np.arange(len(stamps)), seconds * 2, list[Problem]()
    if (np.diff(seconds) > 0).all():
        return rows, problems
    repeated = np.asarray(pd.Series(seconds).duplicated(keep="first"))
    if repeated.any():
        if not utc:
            doubled, key = _doubled_hours(seconds, repeated, site, notes)
            repeated &= ~doubled
        rows = np.flatnonzero(~repeated)
        problems = _repeated(np.flatnonzero(repeated), stamps, table, lines, site, notes)
    steps = np.diff(key[rows])
    if (steps < 0).any():
        row = rows[int(np.argmax(steps < 0)) + 1]
        text = "records-backwards" if (steps <= 0).all() else "records-out-of-order"
        notes.append(note(text, line=lines[row], moment=written(stamps[row])))
        rows = rows[np.argsort(key[rows], kind="stable")]
    return rows, problems


def _repeated(again: Ints, stamps: Stamps, table: Floats, lines: Ints, site: Site, notes: list[str]) -> list[Problem]:
    """Note records that stand again and agree with the first of their stamp, and refuse those that don't."""
    firsts = pd.Series(np.arange(len(stamps))).groupby(seconds_of(stamps)).transform("first").to_numpy()
    new, old = table[again], table[firsts[again]]
    same = ((new == old) | (np.isnan(new) & np.isnan(old))).all(axis=1)
    if count := int(same.sum()):
        text = "records-twice" if count > 1 else "record-twice"
        notes.append(note(text, count=count, line=lines[again[np.argmax(same)]]))
    if same.all():
        return []
    if whole := _whole_days(again[~same], stamps, lines):
        return [whole]
    row = again[np.argmin(same)]
    moment, when = written(stamps[row], "s"), stamps[row].astype("M8[s]").item()
    zone = zone_that_doubles(when, site.longitude) if site.timezone is None else ""
    clocks = note("name-timezone", zone=zone) if zone else ""
    where = f"{lines[firsts[row]]} and {lines[row]}{and_more(int((~same).sum()) - 1, 'record')}"
    hours = np.unique(seconds_of(stamps) % 86400 // 3600)
    half = np.ptp(hours) == 11 and hours[-1] <= 12 and (~same).sum() > _TWICE * len(stamps)
    text = "moment-twice/half" if half else "moment-twice"
    return [problem(text, "time", moment, moment=moment, lines=where, clocks=clocks)]


def _whole_days(again: Ints, stamps: Stamps, lines: Ints) -> Problem | None:
    """Name the first of a few days of which each record stands twice, as where a day has the date of another."""
    of_day = seconds_of(stamps) // 86400
    twice, counts = np.unique(of_day[again], return_counts=True)
    if len(twice) > _FEW_DAYS * (np.ptp(of_day) + 1) or (2 * counts != [(of_day == day).sum() for day in twice]).any():
        return None
    first = np.flatnonzero(of_day == twice[0])
    second = np.flatnonzero(of_day[again] == twice[0])
    before, after = np.setdiff1d(first, again[second]), again[second]
    day, more = str(twice[0].astype("M8[D]")), and_more(len(twice) - 1, "day")
    ends = {"first": lines[before[0]], "last": lines[before[-1]], "second": lines[after[0]], "end": lines[after[-1]]}
    return problem("moment-twice/days", "time", day, day=day, more=more, **ends)


def _doubled_hours(seconds: Ints, repeated: Mask, site: Site, notes: list[str]) -> tuple[Mask, Ints]:
    """
    Find second records of the hour that autumn doubles, and say so.

    Returns them, and a key that orders all records (the hour's first pass before its second).
    """
    of_hour = seconds // 3600
    hours = np.unique(of_hour[repeated])
    key, doubled = seconds * 2, np.zeros(len(seconds), dtype=bool)
    stamps = pd.DatetimeIndex(hours.astype("datetime64[h]").astype("datetime64[ns]"))
    zone = _zone(site)
    # a winter's and a summer's day differ in a year in which the clock is changed
    days = (pd.Timestamp(year, month, 1, tz=zone) for year in set(stamps.year) for month in (1, 7))
    changes = len({day.utcoffset() for day in days}) > 1
    if changes:
        hours = hours[stamps.tz_localize(zone, ambiguous="NaT", nonexistent="shift_forward").isna()]
    accepted: dict[int, int] = {}
    for hour in hours.tolist():  # one a year in a sound file
        inside = np.flatnonzero(of_hour == hour)
        elsewhere = repeated & (of_hour // 24 == hour // 24) & (of_hour != hour)
        passes, follow = _passes(inside, seconds)
        year = int(np.datetime64(hour, "h").astype("datetime64[Y]").astype(int))
        # without a zone that says so, only a small hour that the file runs through twice, once a year, is believed
        believed = changes or (follow and year not in accepted and hour % 24 <= _LATEST_CHANGE)
        if believed and passes.max() <= 1 and not elsewhere.any():
            accepted[year] = hour
            doubled[inside[repeated[inside]]] = True
            # both passes squeezed into the one hour, the first into its first half
            key[inside] = hour * 7200 + (seconds[inside] - hour * 3600) + passes * 3600
    if accepted:
        first = written(np.datetime64(min(accepted.values()), "h"))
        notes.append(note("doubled-hour", hour=first, more=and_more(len(accepted) - 1, "hour")))
    return doubled, key


def _passes(inside: Ints, seconds: Ints) -> tuple[Ints, bool]:
    """Number an hour's records by pass, and tell whether the file runs through the hour twice in a row."""
    within = seconds[inside]
    back = np.flatnonzero(np.diff(within) <= 0)
    if len(back) == 1 and inside[-1] - inside[0] == len(inside) - 1:
        return (np.arange(len(inside)) > back[0]).astype(np.int64), True
    return np.asarray(pd.Series(within).groupby(within).cumcount(), dtype=np.int64), False
