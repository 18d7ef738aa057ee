"""
Site: where the weather was measured, as the scenario describes it, what the sun alone decides of each day there, and the
station that a file says it is of.
"""

import datetime as dt
from typing import NamedTuple

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.physics.air import clear_sky_radiation
from panbudget.physics.sun import daylight_hours, extraterrestrial_radiation, of_calendar
from panbudget.scenario.garden import Site
from panbudget.weather.messages import note

__all__ = ["Site", "Sky", "Station", "sky_of", "station_notes"]

# where the year has a warm half, and by how much it is the warmer [degrees, °C]; the days of each half that tell; how far the
# middle of the day's radiation may be from the sun's noon [h]: half an hour for stamps, a quarter for the sun's own clock, one
# for summer time. Common practice, no source
_SEASONS_FROM, _WARMER, _DAYS_TO_JUDGE, _SUN_OFF = 23.5, 3.0, 60, 2.0

# how far a station may lie from the site before a report says so: some 50 km, and 2 °C by height (6.5 °C a km)
_FAR_AWAY = 3.0  # degrees of latitude, 330 km: of other weather and another sun
# seasons tell that latitude and longitude are exchanged: common practice, no source. Days that temperatures lag behind the
# sun; how well they then follow it, at most as stated and at least exchanged; a range that no year has near the equator [°C]
_LAG, _FOLLOWS_NOT, _FOLLOWS, _LEAST_RANGE, _NO_TROPICS = 25, 0.0, 0.8, 8.0, 16.0
_TROPICS, _FAR_FROM_THEM = 15.0, 25.0  # degrees
_FAR = {"latitude": (0.5, "°"), "longitude": (0.5, "°"), "elevation": (300.0, " m")}


class Station(NamedTuple):
    """
    A weather station, or the cell of a grid, as a file has it.

    ``name`` or number; ``latitude`` and ``longitude``, north and east positive [degrees]; ``elevation`` above sea. [m]
    """

    name: str
    latitude: float | None = None
    longitude: float | None = None
    elevation: float | None = None


def station_notes(station: Station | None, site: Site) -> list[str]:
    """
    Say where a station is elsewhere than the site.

    Parameters
    ----------
    station : Station, optional
        As the file has it.
    site : Site
        As the scenario has it.

    Returns
    -------
    list of str
        One note where latitude or longitude differ by more than half a degree, or the height by more than 300 m.

    Examples
    --------
    >>> station_notes(Station("Invented Hill", latitude=38.7, elevation=650.0), Site(latitude=38.6, elevation="240 m"))
    ['the file is of Invented Hill, which is not at the site: elevation 650 m there and 240 m under [site]']
    """
    differences = []
    for what, (far, unit) in _FAR.items():
        measured, described = getattr(station, what, None), getattr(site, what)
        if measured is None or described is None:
            continue
        apart = abs(measured - described)
        if (min(apart, 360.0 - apart) if what == "longitude" else apart) > far:
            differences.append(f"{what} {measured:g}{unit} there and {described:g}{unit} under [site]")
    if station is None or not differences:
        return []
    return [note("elsewhere", name=station.name, differences=", ".join(differences))]


def place_doubts(station: Station | None, daily: pd.DataFrame, site: Site) -> list[str]:
    """
    Say where the sign of the site's latitude or longitude does not go with the file.

    Parameters
    ----------
    station : Station, optional
        As the file has it.
    daily : DataFrame
        As read: index "date"; tmin and tmax, if the file has them. [°C]
    site : Site
        As the scenario has it.

    Returns
    -------
    list of str
        One doubt for each degree that is the station's own with the other sign; else one where its latitude is far from
        the site's, or the warm half of the
        year is the other hemisphere's.
    """
    doubts = [
        note("other-sign", what=what, described=described, measured=measured, name=station.name)
        for what in ("latitude", "longitude")
        if station is not None
        and (measured := getattr(station, what)) is not None
        and (described := getattr(site, what)) is not None
        and abs(measured + described) <= _FAR[what][0] < abs(measured)
    ]
    at = None if station is None else station.latitude
    if not doubts and station is not None and at is not None and (apart := abs(at - site.latitude)) > _FAR_AWAY:
        doubts = [note("far-away", described=site.latitude, measured=at, apart=apart, name=station.name)]
    if doubts or not {"tmin", "tmax"} <= set(daily.columns):
        return doubts
    mean, days = (daily["tmin"].to_numpy(float) + daily["tmax"].to_numpy(float)) / 2.0, pd.DatetimeIndex(daily.index)
    if abs(site.latitude) < _SEASONS_FROM:
        known, north, east = ~np.isnan(mean), site.latitude, site.longitude
        found = east is not None and exchanged(mean[known], days[known], latitude=north, longitude=east)
        return [note("exchanged", latitude=north, longitude=east)] if found else []
    month = np.where(np.isnan(mean), 0, of_calendar(days)[1])
    north, south = mean[(month >= 5) & (month <= 8)], mean[(month >= 11) | ((month >= 1) & (month <= 2))]
    if min(len(north), len(south)) < _DAYS_TO_JUDGE:
        return doubts
    warmer = float(np.median(north) - np.median(south)) * (1.0 if site.latitude > 0.0 else -1.0)
    if warmer > -_WARMER:
        return doubts
    months = ("November to February", "May to August")[:: 1 if site.latitude > 0.0 else -1]
    return [note("other-hemisphere", latitude=site.latitude, warm=months[0], cold=months[1], warmer=-warmer)]


def exchanged(mean: Floats, days: pd.DatetimeIndex, *, latitude: float, longitude: float) -> bool:
    """
    Tell whether the seasons are those of the longitude taken for a latitude.

    Parameters
    ----------
    mean : ndarray, (days,)
        Mean temperatures, all known. [°C]
    days : DatetimeIndex
        Their days; fewer than 300 from first to last tell nothing.
    latitude, longitude : float
        As stated. [degrees]
    """
    if not mean.size or abs(longitude) > 90.0 or days.max() - days.min() < dt.timedelta(days=300):
        return False
    span = float(np.subtract(*np.percentile(mean, [95.0, 5.0])))
    lagged = (days.day_of_year.to_numpy(float) - _LAG - 1.0) % 365.0 + 1.0

    def follows(at: float) -> float:
        return float(np.corrcoef(mean, extraterrestrial_radiation(lagged, latitude=at))[0, 1])

    tropical = abs(latitude) < _TROPICS and abs(longitude) > _FAR_FROM_THEM and span > _NO_TROPICS
    return span > _LEAST_RANGE and follows(longitude) > _FOLLOWS and (tropical or follows(latitude) < _FOLLOWS_NOT)


def sun_doubt(noon: float, site: Site, span: float = 0.0) -> str:
    """
    Say where the hour of the highest sun in a file does not go with the site's longitude.

    Parameters
    ----------
    noon : float
        Middle of the day's radiation, in UTC. [h]
    site : Site
        As the scenario has it.
    span : float
        The time of a record, which may be centred on its stamp, or begin or end there. [h]

    Returns
    -------
    str
        Empty within two hours of the sun's noon there, or more where records are long, or without a longitude.
    """
    if site.longitude is None:
        return ""
    off = (noon - 12.0 + site.longitude / 15.0 + 12.0) % 24.0 - 12.0
    if abs(off) <= max(_SUN_OFF, 0.5 * span + 1.0):
        return ""
    seen = (12.0 - noon) * 15.0
    return note("other-sun", noon=noon % 24.0, seen=(seen + 180.0) % 360.0 - 180.0, longitude=site.longitude)


class Sky(NamedTuple):
    """Arrays (days,): ``extraterrestrial`` Ra, ``clear`` Rso [MJ m⁻² d⁻¹] and ``daylight`` N [h]."""

    extraterrestrial: Floats
    clear: Floats
    daylight: Floats


def sky_of(days: pd.DatetimeIndex, *, latitude: float, elevation: float) -> Sky:
    """
    Compute Ra, Rso and N of each day.

    Parameters
    ----------
    days : DatetimeIndex
        The days.
    latitude : float
        South negative. [degrees]
    elevation : float
        Height above sea. [m]

    Returns
    -------
    Sky
        FAO-56 eq 21, 37 and 34.
    """
    of_year, row = np.arange(1.0, 367.0), of_calendar(days)[0] - 1
    Ra = extraterrestrial_radiation(of_year, latitude=latitude)
    sky = Sky(Ra, clear_sky_radiation(Ra, elevation=elevation), daylight_hours(of_year, latitude=latitude))
    return Sky(*(part[row] for part in sky))
