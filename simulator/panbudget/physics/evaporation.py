"""
Evaporation: reference ET, and what an open pan loses, from the daily weather table.

Units: mm of water a day, °C, kPa, m/s at 2 m, MJ m⁻² d⁻¹, degrees of latitude. Reference ET is pyet's FAO-56
Penman–Monteith; the pan's three ways are model page §2. Left out on purpose: heat stored in the pan's water.
"""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.physics import air as met
from panbudget.physics import sun

LATENT_HEAT = 2.45  # MJ/kg, FAO-56 (1998) ch. 1
# domain of FAO-56 (1998) Table 7
FETCH_LIMITS = (1.0, 1000.0)  # m
HUMIDITY_LIMITS = (30.0, 84.0)  # %
WIND_LIMITS = (1.0, 8.0)  # m/s at 2 m
# Rotstayn, Roderick & Farquhar (2006) with the coefficients in McMahon et al. (2013), supplement S6
PAN_RATIO = 2.4  # effective area for heat over that for vapour [-]
PAN_WIND = (1.202, 1.621)  # mm d⁻¹ kPa⁻¹ and per m/s
PAN_ALBEDO = 0.14  # from memory
PAN_SIDES_DIFFUSE = 1.42  # diffuse radiation on rim and walls, per unit on the level
PAN_SIDES_GROUND = 0.42  # radiation from the ground on the walls
_OF_ETO = ("tmin", "tmax", "vapour_pressure", "wind", "radiation", "pressure")
_DAYS_OF_A_YEAR = pd.date_range("2000-01-01", periods=366)


def reference_evapotranspiration(daily: pd.DataFrame, *, latitude: float, elevation: float) -> pd.Series[float]:
    """
    FAO-56 Penman–Monteith reference evapotranspiration of each day.

    Parameters
    ----------
    daily : DataFrame, one row a day
        Columns ``tmin``, ``tmax`` [°C], ``vapour_pressure`` [kPa], ``wind`` at 2 m [m/s], ``radiation``
        [MJ m⁻² d⁻¹]; optional ``pressure`` [kPa].
    latitude : float
        South negative. [degrees]
    elevation : float
        Above sea. [m]

    Returns
    -------
    Series
        ETo; may be negative on a cold, damp, dark day, and is left so. [mm/day]

    Notes
    -----
    `pyet.pm_fao56` [1]_, fed with vapour pressure and with G = 0. Its net long-wave term bounds Rs/Rso to
    0.3…1 (as ASCE 2005 does, and FAO-56 only above): very dark days come out a little lower.

    References
    ----------
    .. [1] FAO-56 (Allen et al. 1998), eq. 6.
    """
    import pyet

    day = {name: daily[name].to_numpy(float) for name in _OF_ETO if name in daily}
    if "pressure" in day:
        by_elevation = float(met.atmospheric_pressure(elevation))
        day["pressure"] = np.where(np.isnan(day["pressure"]), by_elevation, day["pressure"])
    sky = _clear_skies(latitude, elevation)
    eto = pyet.pm_fao56(
        tmean=(day["tmax"] + day["tmin"]) / 2.0,
        wind=day["wind"],
        rs=pd.Series(day["radiation"]),  # pyet asks of these two alone that they are no bare arrays
        tmax=day["tmax"],
        tmin=day["tmin"],
        ea=day["vapour_pressure"],
        pressure=day.get("pressure"),
        elevation=elevation,
        rso=pd.Series(sky[sun.of_calendar(pd.DatetimeIndex(daily.index))[0] - 1]),
        clip_zero=False,
    )
    return pd.Series(np.asarray(eto, dtype=float), index=daily.index, name="eto_mm")


@functools.lru_cache(maxsize=256)
def _clear_skies(latitude: float, elevation: float) -> Floats:
    """Radiation of a clear sky on each day of the year, by pyet, which tells days of the year by writing dates out. [MJ m⁻² d⁻¹]"""
    import pyet

    sky: Floats = pyet.calc_rso(_above_the_air(latitude), elevation).to_numpy()
    return sky


@functools.lru_cache(maxsize=256)
def _above_the_air(latitude: float) -> pd.Series[float]:
    """Radiation at the top of the atmosphere on each day of the year, by pyet, kept for places of one latitude. [MJ m⁻² d⁻¹]"""
    import pyet

    above: pd.Series[float] = pyet.extraterrestrial_r(_DAYS_OF_A_YEAR, np.radians(latitude))
    return above


def class_a_coefficient_green(wind: Floats, rh_mean: Floats, fetch: float) -> Floats:
    """
    Pan coefficient of a Class A pan with green fetch.

    Parameters
    ----------
    wind : ndarray (days,)
        At 2 m, within `WIND_LIMITS`. [m/s]
    rh_mean : ndarray (days,)
        Within `HUMIDITY_LIMITS`. [%]
    fetch : float
        Distance of green cover upwind, within `FETCH_LIMITS`. [m]

    Returns
    -------
    ndarray (days,)
        Kp = ETo / pan evaporation. [-]

    References
    ----------
    FAO-56 (Allen et al. 1998), Table 7, first equation.
    """
    ln_f, ln_r = np.log(fetch), np.log(rh_mean)
    return np.asarray(0.108 - 0.0286 * wind + 0.0422 * ln_f + 0.1434 * ln_r - 0.000631 * ln_f**2 * ln_r)


def class_a_coefficient_dry(wind: Floats, rh_mean: Floats, fetch: float) -> Floats:
    """
    Pan coefficient of a Class A pan with dry fetch.

    Parameters
    ----------
    wind, rh_mean, fetch
        As in `class_a_coefficient_green`; fetch is the distance of dry surface upwind.

    Returns
    -------
    ndarray (days,)
        Kp. [-]

    References
    ----------
    FAO-56 (Allen et al. 1998), Table 7, second equation.
    """
    u, r, f = wind, rh_mean, fetch
    ln_f, run = np.log(f), np.log(86.4 * u)
    return np.asarray(
        0.61
        + 0.00341 * r
        - 0.000162 * u * r
        - 0.00000959 * u * f
        + 0.00327 * u * ln_f
        - 0.00289 * u * run
        - 0.0106 * run * ln_f
        + 0.00063 * ln_f**2 * run
    )


class PanCoefficient(NamedTuple):
    """Kp by day, and on how many days a bound of the table bit."""

    kp: Floats
    wind_bounded: Floats
    humidity_bounded: Floats
    fetch_bounded: bool


def pan_coefficient(wind: Floats, rh_mean: Floats, *, fetch: float, cover: str) -> PanCoefficient:
    """
    Class A pan coefficient, drivers bounded to the table's domain.

    Parameters
    ----------
    wind : ndarray (days,)
        At 2 m. [m/s]
    rh_mean : ndarray (days,)
        [%]
    fetch : float
        [m]
    cover : str
        "green" or "dry".

    Returns
    -------
    PanCoefficient
        With masks (days,) that tell where wind or humidity were bounded, so that nothing is bounded in silence.
    """
    u = np.clip(wind, *WIND_LIMITS)
    r = np.clip(rh_mean, *HUMIDITY_LIMITS)
    f = min(max(fetch, FETCH_LIMITS[0]), FETCH_LIMITS[1])
    equation = class_a_coefficient_green if cover == "green" else class_a_coefficient_dry
    return PanCoefficient(equation(u, r, f), u != wind, r != rh_mean, f != fetch)


def pan_from_eto(eto: Floats, kp: Floats) -> Floats:
    """
    Pan evaporation from reference ET and the pan coefficient.

    Parameters
    ----------
    eto : ndarray (days,)
        [mm/day]
    kp : ndarray (days,)
        [-]

    Returns
    -------
    ndarray (days,)
        [mm/day]

    References
    ----------
    FAO-56 (Allen et al. 1998), eq. 55, read backwards: a pan table made to find ETo gives the pan from ETo.
    """
    return eto / kp


def pan_energy_balance(
    daily: pd.DataFrame, *, latitude: float, elevation: float, ground_albedo: float = 0.26
) -> Floats:
    """
    Pan evaporation from the pan's own energy balance.

    Parameters
    ----------
    daily : DataFrame, one row a day
        As for `reference_evapotranspiration`.
    latitude : float
        South negative. [degrees]
    elevation : float
        [m]
    ground_albedo : float
        Of the ground around the pan; 0.26 for short grass (McMahon et al. 2013, from memory). [-]

    Returns
    -------
    ndarray (days,)
        Evaporation of a Class A pan without mesh. [mm/day]

    References
    ----------
    Rotstayn, Roderick & Farquhar (2006), with the coefficients in McMahon et al. (2013), supplement S6; net
    long-wave radiation by FAO-56 (Allen et al. 1998) eq. 39.
    """
    tmax, tmin = daily["tmax"].to_numpy(float), daily["tmin"].to_numpy(float)
    ea, u2 = daily["vapour_pressure"].to_numpy(float), daily["wind"].to_numpy(float)
    Rs = daily["radiation"].to_numpy(float)
    doy = pd.DatetimeIndex(daily.index).day_of_year.to_numpy()
    pressure = np.full(len(daily), float(met.atmospheric_pressure(elevation)))
    if "pressure" in daily:
        pressure = daily["pressure"].fillna(pd.Series(pressure, index=daily.index)).to_numpy(float)

    Ra = sun.extraterrestrial_radiation(doy, latitude=latitude)
    Rso = met.clear_sky_radiation(Ra, elevation=elevation)
    Rnl = met.net_longwave_radiation(Rs, ea, tmin=tmin, tmax=tmax, clear_sky=Rso)
    P_rad = 1.32 + 4e-4 * abs(latitude) + 8e-5 * latitude**2
    with np.errstate(divide="ignore", invalid="ignore"):
        f_dir = np.clip(np.where(Ra > 0.0, -0.11 + 1.31 * Rs / Ra, 0.0), 0.0, 1.0)
    R_pan = (f_dir * P_rad + PAN_SIDES_DIFFUSE * (1.0 - f_dir) + PAN_SIDES_GROUND * ground_albedo) * Rs
    Rn_pan = (1.0 - PAN_ALBEDO) * R_pan - Rnl

    slope = met.slope_of_saturation_vapour_pressure((tmax + tmin) / 2.0)
    gamma = met.psychrometric_constant(pressure)
    deficit = met.mean_saturation_vapour_pressure(tmin, tmax) - ea
    wind_function = PAN_WIND[0] + PAN_WIND[1] * u2
    weight = slope + PAN_RATIO * gamma
    result: Floats = slope / weight * Rn_pan / LATENT_HEAT + PAN_RATIO * gamma / weight * wind_function * deficit
    return result


def hourly_shares(latitude: float, day_of_year: Floats) -> tuple[Floats, Floats]:
    """
    What part of a day's evaporation falls in each hour of solar time, by daylight and by dark.

    Parameters
    ----------
    latitude : float
        South negative. [degrees]
    day_of_year : ndarray (days,)
        1…366.

    Returns
    -------
    daylight, dark : ndarray (days, 24)
        Each row adds up to 1. By daylight a half sine between sunrise and sunset, integrated exactly over each
        hour; by dark even over the hours before sunrise and after sunset. A day without sunset has no dark to
        spread over and takes the half sine for both; a day without sunrise takes even hours for both. [-]

    References
    ----------
    Sunrise and sunset from FAO-56 (Allen et al. 1998) eq. 25 and 34; the half sine is the model's own choice.
    """
    N = np.asarray(sun.daylight_hours(np.asarray(day_of_year), latitude=latitude), dtype=float)[:, None]
    sunrise, sunset = 12.0 - N / 2.0, 12.0 + N / 2.0
    begin, end = np.arange(24.0)[None, :], np.arange(1.0, 25.0)[None, :]
    a, b = np.clip(begin, sunrise, sunset), np.clip(end, sunrise, sunset)
    length = np.where(N > 0.0, N, 1.0)
    daylight = (np.cos(np.pi * (a - sunrise) / length) - np.cos(np.pi * (b - sunrise) / length)) / 2.0
    night = np.where(N < 24.0, 24.0 - N, 1.0)
    dark = (1.0 - (b - a)) / night
    daylight = np.where(N > 0.0, daylight, 1.0 / 24.0)
    dark = np.where(N < 24.0, dark, daylight)
    return np.ascontiguousarray(daylight), np.ascontiguousarray(dark)
