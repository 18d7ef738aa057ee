"""
Sky: what the sun alone decides of each day at a site: radiation above the air, under a clear sky, and
daylight.
"""

from __future__ import annotations

from typing import NamedTuple

import pandas as pd

from panbudget.physics.air import Floats, clear_sky_radiation
from panbudget.physics.sun import daylight_hours, extraterrestrial_radiation

__all__ = ["Sky", "sky_of"]


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
