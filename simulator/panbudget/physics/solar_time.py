"""
Solar time: local solar time, in which the season is computed, and the time on the wall.

Units: hours, degrees. Source: FAO-56 (Allen et al. 1998) eq. 31–33, read backwards; the time zone's rules, daylight
saving included, come from the IANA data base.
"""

import datetime as dt
import zoneinfo

import numpy as np

from panbudget.numeric import Floats
from panbudget.physics.sun import solar_time_correction


def _ahead_of_utc(day_of_year: int, longitude: float) -> float:
    """Hours by which local solar time is ahead of UTC (FAO-56 eq. 31–33 with a meridian of 0°)."""
    return longitude / 15.0 + float(solar_time_correction(np.asarray(day_of_year)))


def solar_hour(day: dt.date, text: str, longitude: float | None, timezone: str | None) -> float:
    """
    Hour of local solar time, counted from solar midnight of a day, at which a clock shows a time.

    Parameters
    ----------
    day : date
        The day on the clock.
    text : str
        "20:30".
    longitude : float or None
        East positive. [degrees]
    timezone : str or None
        IANA name. Without both, the text is taken as solar time.

    Returns
    -------
    float
        May lie below 0 or above 24 where clock and sun disagree about the date. [h]
    """
    hour, minute = (int(part) for part in text.split(":"))
    if longitude is None or timezone is None:
        return hour + minute / 60.0
    moment = dt.datetime(day.year, day.month, day.day, hour, minute, tzinfo=zoneinfo.ZoneInfo(timezone))
    midnight = dt.datetime(day.year, day.month, day.day, tzinfo=dt.UTC)
    utc_hours = (moment.astimezone(dt.UTC) - midnight).total_seconds() / 3600.0
    return utc_hours + _ahead_of_utc(day.timetuple().tm_yday, longitude)


def from_solar(first_day: dt.date, hours: Floats, longitude: float | None, timezone: str | None) -> list[str]:
    """
    Write moments, given in solar hours since the first day's solar midnight, as a clock shows them.

    Parameters
    ----------
    first_day : date
    hours : ndarray (n,)
        Not a number where there is none. [h]
    longitude, timezone
        As in `solar_hour`; without both the texts are solar time.

    Returns
    -------
    list of str
        "2025-06-01 14:03:12", to the nearest second; empty where there is none.
    """
    zone = zoneinfo.ZoneInfo(timezone) if longitude is not None and timezone is not None else None
    texts = []
    for value in hours:
        if np.isnan(value):
            texts.append("")
            continue
        solar = dt.datetime(first_day.year, first_day.month, first_day.day) + dt.timedelta(hours=float(value))
        if zone is not None and longitude is not None:
            ahead = _ahead_of_utc(solar.timetuple().tm_yday, longitude)
            solar = (solar - dt.timedelta(hours=ahead)).replace(tzinfo=dt.UTC).astimezone(zone)
        rounded = (solar + dt.timedelta(microseconds=500_000)).replace(microsecond=0, tzinfo=None)
        texts.append(rounded.isoformat(sep=" "))
    return texts
