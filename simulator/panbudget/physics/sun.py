"""
Sun: where it stands, how long it shines, and what it brings to the top of the air; FAO-56 chapter 3, eq 21 to 34.

Units: MJ m⁻² d⁻¹, hours; latitude in degrees, north positive; angles between two functions in radians. Takes floats or
arrays that broadcast against each other and gives arrays. Source, called FAO-56: see `air`.
"""

import functools

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.numeric import Floats, Ints

#: FAO-56 eq 21: radiation at the top of the atmosphere, facing the sun. [MJ m⁻² min⁻¹]
SOLAR_CONSTANT = 0.0820


def of_calendar(days: pd.DatetimeIndex) -> tuple[Ints, Ints]:
    """Return each day's place in its year, 1 to 366, and its month."""
    number = days.to_numpy().astype("M8[D]").astype(np.int64)
    if not number.size:
        return number, number
    first = int(number.min())
    return tuple(part[number - first] for part in _of_span(first, int(number.max())))  # type: ignore[return-value]


@functools.lru_cache(maxsize=8)
def _of_span(first: int, last: int) -> tuple[Ints, Ints]:
    """The same of all days from one to another, which many places share: it takes longer than what is done with it."""
    days = pd.DatetimeIndex(np.arange(first, last + 1).astype("M8[D]"))
    return days.day_of_year.to_numpy().astype(np.int64), days.month.to_numpy().astype(np.int64)


def _array(values: npt.ArrayLike) -> Floats:
    return np.asarray(values, dtype=float)


def inverse_relative_distance(day_of_year: npt.ArrayLike) -> Floats:
    """
    Inverse relative distance from earth to sun.

    Parameters
    ----------
    day_of_year : int or ndarray, any shape
        1 on 1 January to 365, or 366 in a leap year. [d]

    Returns
    -------
    ndarray, shape of ``day_of_year``
        dr, 0.967 to 1.033. [-]

    Notes
    -----
    FAO-56 eq 23.
    """
    J = _array(day_of_year)
    return _array(1.0 + 0.033 * np.cos(2.0 * np.pi / 365.0 * J))


def solar_declination(day_of_year: npt.ArrayLike) -> Floats:
    """
    Solar declination.

    Parameters
    ----------
    day_of_year : int or ndarray, any shape
        1 on 1 January to 365, or 366 in a leap year. [d]

    Returns
    -------
    ndarray, shape of ``day_of_year``
        δ, −0.409 to 0.409. [rad]

    Notes
    -----
    FAO-56 eq 24.
    """
    J = _array(day_of_year)
    return _array(0.409 * np.sin(2.0 * np.pi / 365.0 * J - 1.39))


def sunset_hour_angle(day_of_year: npt.ArrayLike, *, latitude: npt.ArrayLike) -> Floats:
    """
    Angle by which the earth turns between noon and sunset.

    Parameters
    ----------
    day_of_year : int or ndarray
        Day of the year. [d]
    latitude : float or ndarray
        −90 to 90, south negative. [degrees]

    Returns
    -------
    ndarray, broadcast shape
        ωs: 0 where the sun does not rise, π where it does not set. [rad]

    Notes
    -----
    FAO-56 eq 25, ωs = arccos(−tan φ · tan δ). Polar day and night have no solution there; here the argument
    is bounded to −1…1, which gives them their 24 and 0 hours.
    """
    phi = np.radians(_array(latitude))
    return _array(np.arccos(np.clip(-np.tan(phi) * np.tan(solar_declination(day_of_year)), -1.0, 1.0)))


def daylight_hours(day_of_year: npt.ArrayLike, *, latitude: npt.ArrayLike) -> Floats:
    """
    Hours from sunrise to sunset.

    Parameters
    ----------
    day_of_year : int or ndarray
        Day of the year. [d]
    latitude : float or ndarray
        −90 to 90, south negative. [degrees]

    Returns
    -------
    ndarray, broadcast shape
        N, 0 to 24. [h]

    Notes
    -----
    FAO-56 eq 34. Takes the sun as a point and no air: real daylight is some minutes longer.
    """
    return 24.0 / np.pi * sunset_hour_angle(day_of_year, latitude=latitude)


def extraterrestrial_radiation(day_of_year: npt.ArrayLike, *, latitude: npt.ArrayLike) -> Floats:
    """
    Radiation at the top of the atmosphere on a horizontal surface, sum of the day.

    Parameters
    ----------
    day_of_year : int or ndarray
        Day of the year. [d]
    latitude : float or ndarray
        −90 to 90, south negative. [degrees]

    Returns
    -------
    ndarray, broadcast shape
        Ra, never negative. [MJ m⁻² d⁻¹]

    Notes
    -----
    FAO-56 eq 21. Polar day and night by `sunset_hour_angle`.
    """
    phi = np.radians(_array(latitude))
    delta = solar_declination(day_of_year)
    omega = sunset_hour_angle(day_of_year, latitude=latitude)
    geometry = omega * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.sin(omega)
    Ra = 24.0 * 60.0 / np.pi * SOLAR_CONSTANT * inverse_relative_distance(day_of_year) * geometry
    return _array(np.maximum(Ra, 0.0))  # a rounding error below zero at the edge of polar night


def solar_time_correction(day_of_year: npt.ArrayLike) -> Floats:
    """
    Seasonal correction for solar time (the equation of time).

    Parameters
    ----------
    day_of_year : int or ndarray, any shape
        Day of the year. [d]

    Returns
    -------
    ndarray, shape of ``day_of_year``
        Sc: how far a sundial runs ahead of a clock. [h]

    Notes
    -----
    FAO-56 eq 32 and 33.
    """
    b = 2.0 * np.pi * (_array(day_of_year) - 81.0) / 364.0
    return _array(0.1645 * np.sin(2.0 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b))
