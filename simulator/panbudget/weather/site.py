"""
Site: where the weather was measured, as the scenario describes it, what the sun alone decides of each day there, and the
station that a file says it is of.
"""

from __future__ import annotations

from typing import NamedTuple

import pandas as pd

from panbudget.numeric import Floats
from panbudget.physics.air import clear_sky_radiation
from panbudget.physics.sun import daylight_hours, extraterrestrial_radiation
from panbudget.scenario.garden import Site
from panbudget.weather.messages import note

__all__ = ["Site", "Sky", "Station", "sky_of", "station_notes"]

# how far a station may lie from the site before a report says so: some 50 km, and 2 °C by height (6.5 °C a km)
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
    day_of_year = days.day_of_year.to_numpy()
    Ra = extraterrestrial_radiation(day_of_year, latitude=latitude)
    return Sky(Ra, clear_sky_radiation(Ra, elevation=elevation), daylight_hours(day_of_year, latitude=latitude))
