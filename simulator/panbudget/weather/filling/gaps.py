"""
Gaps: which quantities a day has, and with what those are filled that are missing (how many may be: see `limits`).

FAO-56 chapter 3 fills wind and radiation here (humidity: see `humidity`).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.physics import air
from panbudget.weather import flags as origins
from panbudget.weather.checks.inspection import Mask
from panbudget.weather.filling.humidity import has_humidity
from panbudget.weather.flags import Flags
from panbudget.weather.site import Site
from panbudget.weather.sky import Sky

#: FAO-56 chapter 3: the wind to assume where nothing is known. [m/s at 2 m]
_NO_WIND_KNOWN = 2.0


def column_or_nan(daily: pd.DataFrame, name: str) -> Floats:
    """Return a column's values, all NaN where the table lacks it."""
    if name not in daily.columns:
        return np.full(len(daily), np.nan)
    return daily[name].to_numpy(dtype=float)


def known_days(daily: pd.DataFrame) -> dict[str, Mask]:
    """Return the days that have each quantity, measured or from what is measured: "radiation" also by sunshine."""
    known = {name: ~np.isnan(column_or_nan(daily, name)) for name in ("tmin", "tmax", "wind", "rain", "radiation")}
    known["radiation"] |= ~np.isnan(column_or_nan(daily, "sunshine"))
    return {**known, "humidity": has_humidity(daily)}


def filled_with(daily: pd.DataFrame, name: str, value: float, flag: str) -> tuple[Floats, Flags]:
    """
    Fill a column's gaps with one value.

    Parameters
    ----------
    daily : DataFrame
        Standard columns.
    name : str
        The column; it may be absent.
    value : float
        NaN leaves the gaps. [unit of the column]
    flag : str
        How the value came about.

    Returns
    -------
    (ndarray, ndarray)
        Values and flags, (days,).
    """
    values = column_or_nan(daily, name)
    missing = np.isnan(values)
    return np.where(missing, value, values), np.where(missing, flag, origins.MEASURED).astype(object)


def filled_wind(wind: Floats, days: pd.DatetimeIndex) -> tuple[Floats, Flags]:
    """
    Fill gaps in the wind with its own monthly mean, else 2 m/s.

    Parameters
    ----------
    wind : ndarray, (days,)
        NaN where missing. [m/s at 2 m]
    days : DatetimeIndex
        The days.

    Returns
    -------
    (ndarray, ndarray)
        Wind [m/s at 2 m] and flags, (days,).

    Notes
    -----
    FAO-56 chapter 3. The mean is that month's; where that month has no wind at all, the same month's of all
    years.
    """
    series = pd.Series(wind, index=days)
    this_month = series.groupby([days.year, days.month]).transform("mean")
    any_year = series.groupby(days.month).transform("mean")
    mean = this_month.fillna(any_year)
    flags = np.select(
        [~np.isnan(wind), mean.notna().to_numpy()], [origins.MEASURED, origins.MONTHLY_WIND], origins.DEFAULT_WIND
    ).astype(object)
    return np.asarray(series.fillna(mean).fillna(_NO_WIND_KNOWN), dtype=np.float64), flags


def filled_radiation(
    daily: pd.DataFrame, *, sky: Sky, site: Site, limited: Mask, in_file: Mask
) -> tuple[Floats, Flags]:
    """
    Take radiation, else turn sunshine into it, else estimate it from the temperature range.

    Parameters
    ----------
    daily : DataFrame
        Standard columns.
    sky : Sky
        Of its days.
    site : Site
        Its setting decides kRs.
    limited : ndarray of bool, (days,)
        Where radiation was brought down to 1.05 Rso.
    in_file : ndarray of bool, (days,)
        Days with a row.

    Returns
    -------
    (ndarray, ndarray)
        Rs [MJ m⁻² d⁻¹] and flags, (days,).

    Notes
    -----
    FAO-56 eq 35 and 50. Days that have only sunshine in a file that has radiation on most are flagged.
    """
    measured = column_or_nan(daily, "radiation")
    by_sun = air.radiation_from_sunshine(
        column_or_nan(daily, "sunshine"), daylight=sky.daylight, extraterrestrial=sky.extraterrestrial
    )
    by_range = air.radiation_from_temperature_range(
        column_or_nan(daily, "tmin"),
        column_or_nan(daily, "tmax"),
        extraterrestrial=sky.extraterrestrial,
        clear_sky=sky.clear,
        coefficient=air.KRS_COAST if site.setting == "coast" else air.KRS_INLAND,
    )
    has_radiation, has_sun = ~np.isnan(measured), ~np.isnan(by_sun)
    mostly_measured = has_radiation[in_file].mean() > 0.5
    flags = np.select(
        [limited, has_radiation, has_sun],
        [origins.LIMITED, origins.MEASURED, origins.SUNSHINE_ONLY if mostly_measured else origins.SUNSHINE_EQ_35],
        origins.RADIATION_FROM_RANGE,
    ).astype(object)
    return np.where(has_radiation, measured, np.where(has_sun, by_sun, by_range)), flags
