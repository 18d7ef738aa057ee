"""
Station: where a file says that it was measured, set against the site it is used for.
"""

from __future__ import annotations

from dataclasses import dataclass

from panbudget.weather.site import SiteLike

__all__ = ["Station", "station_notes"]

# how far a station may lie from the site before a report says so: some 50 km, and 2 °C by height (6.5 °C a km)
_FAR_DEGREES = 0.5
_FAR_METRES = 300.0


@dataclass(frozen=True)
class Station:
    """
    A weather station, or the cell of a grid.

    Parameters
    ----------
    name : str
        Its name or number in the file.
    latitude, longitude : float, optional
        North and east positive. [degrees]
    elevation : float, optional
        Height above sea. [m]
    """

    name: str
    latitude: float | None = None
    longitude: float | None = None
    elevation: float | None = None


def station_notes(station: Station | None, site: SiteLike) -> list[str]:
    """
    Say where a station is elsewhere than the site.

    Parameters
    ----------
    station : Station, optional
        As the file has it.
    site : SiteLike
        As the scenario has it.

    Returns
    -------
    list of str
        One note where latitude or longitude differ by more than half a degree, or the height by more than 300 m.

    Examples
    --------
    >>> from panbudget.weather.site import Site
    >>> station_notes(Station("Invented Hill", latitude=38.7, elevation=650.0), Site(38.6, 240.0))
    ['the file is of Invented Hill, which is not at the site: elevation 650 m there and 240 m under [site]']
    """
    if station is None:
        return []
    pairs = (
        ("latitude", station.latitude, site.latitude, _FAR_DEGREES, "°"),
        ("longitude", station.longitude, site.longitude, _FAR_DEGREES, "°"),
        ("elevation", station.elevation, site.elevation, _FAR_METRES, " m"),
    )
    differences = []
    for what, there, here, far, unit in pairs:
        if there is None or here is None:
            continue
        apart = abs(there - here)
        if what == "longitude":
            apart = min(apart, 360.0 - apart)
        if apart > far:
            differences.append(f"{what} {there:g}{unit} there and {here:g}{unit} under [site]")
    if not differences:
        return []
    return [f"the file is of {station.name}, which is not at the site: {', '.join(differences)}"]
