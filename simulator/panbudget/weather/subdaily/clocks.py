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
from panbudget.weather.site import SiteLike
from panbudget.words import and_more

__all__ = ["Moments", "Stamps", "day_lengths", "in_order", "on_the_sites_clock"]

Stamps = npt.NDArray[np.datetime64]
Places = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

_HOUR = np.timedelta64(1, "h")
# clocks are changed in the small hours
_LATEST_CHANGE = 3


@dataclass(frozen=True, eq=False)
class Moments:
    """
    Records in the order of time.

    Parameters
    ----------
    places : ndarray of int
        Places of the records in the file, in the order of time; records that say the same twice are left out.
    notes, problems : list
        What a report should mention, and what is wrong.
    """

    places: Places
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def on_the_sites_clock(stamps: Stamps, site: SiteLike) -> tuple[Stamps, str]:
    """
    Turn UTC into what the site's clock shows.

    Parameters
    ----------
    stamps : ndarray of datetime64
        UTC.
    site : SiteLike
        Its time zone; without one its longitude.

    Returns
    -------
    (ndarray of datetime64, str)
        Clock time, and by what rule.

    Raises
    ------
    WeatherError
        Neither time zone nor longitude, or a zone that isn't known.
    """
    zone = _zone(site)
    if zone is not None:
        return _local(stamps, zone), f"days by the clock of {site.timezone}"
    if site.longitude is None:
        message = (
            "its times are in UTC, and the site has neither timezone nor longitude to tell which day that is there; "
            'add one under [site], such as timezone = "Etc/GMT+0" or longitude = -6.1'
        )
        raise WeatherError(Problem.of_text(message, key="site.timezone"))
    hours = round(site.longitude / 15.0)
    said = f"UTC {'+' if hours >= 0 else '-'} {abs(hours)} h"
    return (
        stamps + np.timedelta64(hours, "h"),
        f"days by a clock of {said}, assumed from the longitude as the site has no timezone",
    )


def day_lengths(days: Stamps, site: SiteLike) -> npt.NDArray[np.float64]:
    """
    Return how long each day lasts on the site's clock.

    Parameters
    ----------
    days : ndarray of datetime64
        Midnights.
    site : SiteLike
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


def in_order(stamps: Stamps, table: npt.NDArray[np.float64], lines: Places, *, site: SiteLike, utc: bool) -> Moments:
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
    site : SiteLike
        Its time zone says when clocks go back.
    utc : bool
        Whether the stamps are UTC, which never goes back.

    Returns
    -------
    Moments
        Two records of one stamp are both kept in the hour that autumn doubles; elsewhere they are one record
        if they agree, and a problem if not.
    """
    seconds = stamps.astype("datetime64[s]").astype(np.int64)
    notes: list[str] = []
    problems: list[Problem] = []
    keep = np.ones(len(stamps), dtype=bool)
    key = seconds * 2
    repeated = np.asarray(pd.Series(seconds).duplicated(keep="first"))
    if repeated.any():
        codes, _ = pd.factorize(seconds)
        first = np.full(int(codes.max()) + 1, -1, dtype=np.int64)
        first[codes[::-1]] = np.arange(len(codes))[::-1]
        origin = first[codes]
        doubled = np.zeros(len(stamps), dtype=bool)
        if not utc:
            doubled, key, said = _doubled_hour(seconds, repeated, site)
            notes += said
        rest = repeated & ~doubled
        places = np.flatnonzero(rest)
        same = _same(table[places], table[origin[places]])
        keep[places] = False
        if same.any():
            count = int(same.sum())
            place = int(places[np.argmax(same)])
            notes.append(
                f"{count} record{'s stand' if count > 1 else ' stands'} twice with the same values, the first on line "
                f"{lines[place]}; counted once"
            )
        if not same.all():
            place = int(places[np.argmin(same)])
            problems.append(_contradiction(stamps, place, int(origin[place]), int((~same).sum()), lines, site))
    kept = np.flatnonzero(keep)
    ordered = key[kept]
    if (np.diff(ordered) < 0).any():
        if (np.diff(ordered) <= 0).all():
            notes.append("the file runs backwards in time; its records were sorted by time")
        else:
            place = int(kept[int(np.argmax(np.diff(ordered) < 0)) + 1])
            shown = str(stamps[place].astype("datetime64[m]")).replace("T", " ")
            notes.append(f"records are out of order from line {lines[place]} ({shown}) on; they were sorted by time")
        kept = kept[np.argsort(ordered, kind="stable")]
    return Moments(kept, notes, problems)


def _zone(site: SiteLike) -> zoneinfo.ZoneInfo | None:
    if site.timezone is None:
        return None
    try:
        return zoneinfo.ZoneInfo(site.timezone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        message = f'site.timezone = "{site.timezone}" is not known; a name such as "Etc/GMT+0" is expected: correct it'
        raise WeatherError(Problem.of_text(message, key="site.timezone", value=site.timezone)) from error


def _same(some: npt.NDArray[np.float64], others: npt.NDArray[np.float64]) -> Mask:
    return np.asarray(((some == others) | (np.isnan(some) & np.isnan(others))).all(axis=1), dtype=bool)


def _doubled_hour(seconds: Places, repeated: Mask, site: SiteLike) -> tuple[Mask, Places, list[str]]:
    """
    Find second records of the hour that autumn doubles.

    Returns them, a key that orders all records (the hour's first pass before its second), and what to say.
    """
    hours = np.unique(seconds[repeated] // 3600)
    key = seconds * 2
    doubled = np.zeros(len(seconds), dtype=bool)
    stamps = pd.DatetimeIndex((hours * 3600).astype("datetime64[s]").astype("datetime64[ns]"))
    zone = _zone(site)
    changes = zone is not None and len({moment.utcoffset() for moment in _moments_of(stamps, zone)}) > 1
    if zone is not None and changes:
        local = stamps.tz_localize(zone, ambiguous="NaT", nonexistent="shift_forward")
        hours = hours[np.asarray(local.isna())]
    accepted: dict[int, int] = {}
    for hour in hours.tolist():  # one a year in a sound file
        inside = np.flatnonzero(seconds // 3600 == hour)
        elsewhere = repeated & (seconds // 86400 == hour // 24) & (seconds // 3600 != hour)
        passes, follow = _passes(inside, seconds)
        year = int(np.datetime64(hour * 3600, "s").astype("datetime64[Y]").astype(int))
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
    shown = str(np.datetime64(min(accepted.values()) * 3600, "s").astype("datetime64[m]")).replace("T", " ")
    more = and_more(len(accepted) - 1, "hour")
    return doubled, key, [f"the hour from {shown}{more} stands twice, as when clocks go back; both halves are counted"]


def _moments_of(stamps: pd.DatetimeIndex, zone: zoneinfo.ZoneInfo) -> list[pd.Timestamp]:
    """A winter's and a summer's day of each year."""
    years = {int(year) for year in stamps.year}
    return [pd.Timestamp(year=year, month=month, day=1, tz=zone) for year in years for month in (1, 7)]


def _passes(inside: Places, seconds: Places) -> tuple[Places, bool]:
    """Number an hour's records by pass, and tell whether the file runs through the hour twice in a row."""
    within = seconds[inside]
    back = np.flatnonzero(np.diff(within) <= 0)
    if len(back) == 1 and inside[-1] - inside[0] == len(inside) - 1:
        return (np.arange(len(inside)) > back[0]).astype(np.int64), True
    return np.asarray(pd.Series(within).groupby(within).cumcount(), dtype=np.int64), False


def _contradiction(stamps: Stamps, place: int, origin: int, count: int, lines: Places, site: SiteLike) -> Problem:
    shown = str(stamps[place].astype("datetime64[s]")).replace("T", " ")
    cure = "delete one of the two, or keep one station to a file"
    if site.timezone is None:
        cure += '; if clocks went back in that hour, write the site\'s timezone under [site], such as "Etc/GMT+0"'
    message = (
        f"time {shown} stands twice with different values, on lines {lines[origin]} and {lines[place]}"
        f"{and_more(count - 1, 'record')}; one record for each moment is expected: {cure}"
    )
    return Problem.of_text(message, key="date", value=shown)
