"""
Clocks: the moments of sub-daily records, on the site's clock, in order, each once.

Stamps in UTC are moments already. Stamps of a station's own clock stand twice in the hour that autumn gives
back, and skip one in spring: the doubled hour is kept, because both of its halves happened.
"""

from __future__ import annotations

import zoneinfo
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.numeric import Floats, Ints
from panbudget.weather.checks.inspection import Mask
from panbudget.weather.site import Site
from panbudget.words import and_more

Stamps = npt.NDArray[np.datetime64]

_HOUR = np.timedelta64(1, "h")
# clocks are changed in the small hours
_LATEST_CHANGE = 3


@dataclass(frozen=True, eq=False)
class Moments:
    """
    Records in the order of time.

    Parameters
    ----------
    rows : ndarray of int
        Rows of the records in the file, in the order of time; records that say the same twice are left out.
    notes, problems : list
        What a report should mention, and what is wrong.
    """

    rows: Ints
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def seconds_of(stamps: Stamps) -> Ints:
    """Return moments as whole seconds since 1970, on whatever clock they are."""
    return stamps.astype("datetime64[s]").astype(np.int64)


def written(stamp: np.datetime64, unit: str = "m") -> str:
    """Write a moment as people do, to the minute ("m") or second ("s")."""
    return str(stamp.astype(f"datetime64[{unit}]")).replace("T", " ")


def on_the_sites_clock(stamps: Stamps, site: Site) -> tuple[Stamps, str]:
    """
    Turn UTC into what the site's clock shows.

    Parameters
    ----------
    stamps : ndarray of datetime64
        UTC.
    site : Site
        Its time zone; without one its longitude.

    Returns
    -------
    (ndarray of datetime64, str)
        Clock time, and by what rule.

    Raises
    ------
    WeatherError
        Neither time zone nor longitude.
    """
    zone = _zone(site)
    if zone is not None:
        return _local(stamps, zone), f"days by the clock of {site.timezone}"
    if site.longitude is None:
        found = (
            "is missing, and the file's times are in UTC; the site has neither timezone nor longitude to tell which day "
            "that is there"
        )
        cure = 'add one under [site], such as timezone = "Etc/GMT+0" or longitude = -6.1'
        raise WeatherError(Problem("no-clock", "site.timezone", found, cure=cure))
    hours = round(site.longitude / 15.0)
    clock = f"UTC {'+' if hours >= 0 else '-'} {abs(hours)} h"
    rule = f"days by a clock of {clock}, assumed from the longitude as the site has no timezone"
    return stamps + np.timedelta64(hours, "h"), rule


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
    zone = _zone(site)
    if zone is None:
        return np.full(len(days), 24.0)
    midnights = np.append(days, days[-1:] + np.timedelta64(1, "D"))
    ahead = _ahead(midnights, zone)
    ahead = _ahead(midnights - ahead, zone)  # of the site's midnight and not of UTC's
    return np.asarray(24.0 - np.diff(ahead) / _HOUR, dtype=np.float64)


def _zone(site: Site) -> zoneinfo.ZoneInfo | None:
    return None if site.timezone is None else zoneinfo.ZoneInfo(site.timezone)


def _ahead(stamps: Stamps, zone: zoneinfo.ZoneInfo) -> npt.NDArray[np.timedelta64]:
    """How far the zone's clock is ahead of UTC at each of these UTC moments."""
    utc = pd.DatetimeIndex(stamps).tz_localize("UTC")
    local = utc.tz_convert(zone).tz_localize(None).as_unit("ns").to_numpy()
    return np.asarray(local - stamps.astype("datetime64[ns]"))


def _local(stamps: Stamps, zone: zoneinfo.ZoneInfo) -> Stamps:
    """Turn UTC into a zone's clock: by days, but record by record on days on which the clock is changed."""
    day = stamps.astype("datetime64[D]").astype(np.int64)
    first = int(day.min())
    midnights = np.arange(first, int(day.max()) + 2).astype("datetime64[D]").astype("datetime64[ns]")
    ahead = _ahead(midnights, zone)
    local = stamps + ahead[day - first]
    changing = (ahead[1:] != ahead[:-1])[day - first]
    if changing.any():
        local[changing] = stamps[changing] + _ahead(stamps[changing], zone)
    return local


def in_order(stamps: Stamps, table: Floats, lines: Ints, *, site: Site, utc: bool) -> Moments:
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

    Returns
    -------
    Moments
        Two records of one stamp are both kept in the hour that autumn doubles; elsewhere they are one record
        if they agree, and a problem if not.
    """
    seconds = seconds_of(stamps)
    moments = Moments(np.arange(len(stamps)))
    rows, key = moments.rows, seconds * 2
    repeated = np.asarray(pd.Series(seconds).duplicated(keep="first"))
    if repeated.any():
        if not utc:
            doubled, key, said = _doubled_hour(seconds, repeated, site)
            moments.notes.extend(said)
            repeated = repeated & ~doubled
        rows = np.flatnonzero(~repeated)
        _say_repeated(moments, np.flatnonzero(repeated), stamps, table, lines, site)
    ordered = key[rows]
    if (np.diff(ordered) < 0).any():
        if (np.diff(ordered) <= 0).all():
            moments.notes.append("the file runs backwards in time; its records were sorted by time")
        else:
            row = rows[int(np.argmax(np.diff(ordered) < 0)) + 1]
            first = f"from line {lines[row]} ({written(stamps[row])}) on"
            moments.notes.append(f"records are out of order {first}; they were sorted by time")
        rows = rows[np.argsort(ordered, kind="stable")]
    return Moments(rows, moments.notes, moments.problems)


def _say_repeated(moments: Moments, again: Ints, stamps: Stamps, table: Floats, lines: Ints, site: Site) -> None:
    """Note records that stand again and agree with the first of their stamp, and refuse those that don't."""
    firsts = pd.Series(np.arange(len(stamps))).groupby(seconds_of(stamps)).transform("first").to_numpy()
    new, old = table[again], table[firsts[again]]
    same = ((new == old) | (np.isnan(new) & np.isnan(old))).all(axis=1)
    if same.any():
        count = int(same.sum())
        moments.notes.append(
            f"{count} record{'s stand' if count > 1 else ' stands'} twice with the same values, the first on line "
            f"{lines[again[np.argmax(same)]]}; counted once"
        )
    if not same.all():
        row = again[np.argmin(same)]
        shown = written(stamps[row], "s")
        more = and_more(int((~same).sum()) - 1, "record")
        found = f"{shown} stands twice with different values, on lines {lines[firsts[row]]} and {lines[row]}{more}"
        cure = "delete one of the two, or keep one station to a file"
        if site.timezone is None:
            cure += '; if clocks went back in that hour, write the site\'s timezone under [site], such as "Etc/GMT+0"'
        moments.problems.append(Problem("moment-twice", "time", found, "one record for each moment", cure, shown))


def _doubled_hour(seconds: Ints, repeated: Mask, site: Site) -> tuple[Mask, Ints, list[str]]:
    """
    Find second records of the hour that autumn doubles.

    Returns them, a key that orders all records (the hour's first pass before its second), and what to say.
    """
    hours = np.unique(seconds[repeated] // 3600)
    key = seconds * 2
    doubled = np.zeros(len(seconds), dtype=bool)
    stamps = pd.DatetimeIndex((hours * 3600).astype("datetime64[s]").astype("datetime64[ns]"))
    zone = _zone(site)
    changes = zone is not None and _changes_clocks(zone, stamps)
    if changes:
        local = stamps.tz_localize(zone, ambiguous="NaT", nonexistent="shift_forward")
        hours = hours[np.asarray(local.isna())]
    accepted: dict[int, int] = {}
    for hour in hours.tolist():  # one a year in a sound file
        inside = np.flatnonzero(seconds // 3600 == hour)
        elsewhere = repeated & (seconds // 86400 == hour // 24) & (seconds // 3600 != hour)
        passes, follow = _passes(inside, seconds)
        year = int(np.datetime64(hour, "h").astype("datetime64[Y]").astype(int))
        # without a zone that says so, only a small hour that the file runs through twice, once a year, is believed
        believed = changes or (follow and year not in accepted and hour % 24 <= _LATEST_CHANGE)
        if elsewhere.any() or passes.max() > 1 or not believed:
            continue
        accepted[year] = hour
        doubled[inside[repeated[inside]]] = True
        # both passes squeezed into the one hour, the first into its first half
        key[inside] = hour * 7200 + (seconds[inside] - hour * 3600) + passes * 3600
    if not accepted:
        return doubled, key, []
    hour_and_more = f"{written(np.datetime64(min(accepted.values()), 'h'))}{and_more(len(accepted) - 1, 'hour')}"
    return (
        doubled,
        key,
        [f"the hour from {hour_and_more} stands twice, as when clocks go back; both halves are counted"],
    )


def _changes_clocks(zone: zoneinfo.ZoneInfo, stamps: pd.DatetimeIndex) -> bool:
    """Tell whether a winter's and a summer's day differ in these years."""
    days = (pd.Timestamp(year=year, month=month, day=1, tz=zone) for year in set(stamps.year) for month in (1, 7))
    return len({day.utcoffset() for day in days}) > 1


def _passes(inside: Ints, seconds: Ints) -> tuple[Ints, bool]:
    """Number an hour's records by pass, and tell whether the file runs through the hour twice in a row."""
    within = seconds[inside]
    back = np.flatnonzero(np.diff(within) <= 0)
    if len(back) == 1 and inside[-1] - inside[0] == len(inside) - 1:
        return (np.arange(len(inside)) > back[0]).astype(np.int64), True
    return np.asarray(pd.Series(within).groupby(within).cumcount(), dtype=np.int64), False
