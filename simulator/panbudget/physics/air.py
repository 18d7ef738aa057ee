"""
Air: the equations of FAO-56 chapters 2 and 3, one function each, on floats or arrays.

Units: °C, kPa, %, m/s, m, MJ m⁻² d⁻¹, hours; latitude in degrees, north positive; angles between two
functions in radians. Knows no files, dates in text or gaps: `weather` asks it. Everything takes floats or
arrays that broadcast against each other and gives arrays (of no dimension for floats); NaN stays NaN.

Source of all equations, called FAO-56 below: Allen, R. G., Pereira, L. S., Raes, D. and Smith, M. (1998),
Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, Rome; with the errata of 2006.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: FAO-56 eq 35: share of Ra that reaches the ground on an overcast day, and what full sunshine adds. [-]
ANGSTROM_A = 0.25
ANGSTROM_B = 0.50
#: FAO-56 eq 38: share that the reference grass sends back. [-]
ALBEDO = 0.23
#: FAO-56 eq 50: adjustment coefficient away from and at the coast. [°C^-0.5]
KRS_INLAND = 0.16
KRS_COAST = 0.19
#: FAO-56 chapter 3, text at eq 48: in arid regions the dew point lies 2 to 3 °C below Tmin; the smaller. [°C]
DRY_DEW_POINT_OFFSET = 2.0

# molar mass of water over that of dry air, as in FAO-56 eq 8. [-]
_VAPOUR_TO_AIR = 0.622
# FAO-56 eq 39, Stefan-Boltzmann constant by the day. [MJ K⁻⁴ m⁻² d⁻¹]
_STEFAN_BOLTZMANN = 4.903e-9
# FAO-56 eq 39 notes K = °C + 273.16. [K]
_KELVIN = 273.16


def _array(values: npt.ArrayLike) -> Floats:
    return np.asarray(values, dtype=float)


def saturation_vapour_pressure(temperature: npt.ArrayLike) -> Floats:
    """
    Vapour pressure of saturated air over water.

    Parameters
    ----------
    temperature : float or ndarray, any shape
        Air temperature. [°C]

    Returns
    -------
    ndarray, shape of ``temperature``
        e°(T). [kPa]

    Notes
    -----
    FAO-56 eq 11. Holds for air temperatures, below zero over water and not over ice; has no meaning near
    −237.3 °C.

    Examples
    --------
    FAO-56 Example 3, 24.5 °C:

    >>> round(float(saturation_vapour_pressure(24.5)), 3)
    3.075
    """
    T = _array(temperature)
    return 0.6108 * np.exp(17.27 * T / (T + 237.3))


def slope_of_saturation_vapour_pressure(temperature: npt.ArrayLike) -> Floats:
    """
    Slope Δ of the saturation vapour pressure curve.

    Parameters
    ----------
    temperature : float or ndarray, any shape
        Mean air temperature, (Tmax + Tmin)/2 for a day. [°C]

    Returns
    -------
    ndarray, shape of ``temperature``
        Δ. [kPa/°C]

    Notes
    -----
    FAO-56 eq 13; holds where `saturation_vapour_pressure` does.
    """
    T = _array(temperature)
    return 4098.0 * saturation_vapour_pressure(T) / (T + 237.3) ** 2


def atmospheric_pressure(elevation: npt.ArrayLike) -> Floats:
    """
    Mean air pressure at an elevation.

    Parameters
    ----------
    elevation : float or ndarray, any shape
        Height above sea. [m]

    Returns
    -------
    ndarray, shape of ``elevation``
        P. [kPa]

    Notes
    -----
    FAO-56 eq 7, a standard atmosphere at 20 °C. Smooth from the lowest shores (−430 m) up to 6000 m; weather
    moves the true pressure by some per cent around it.
    """
    z = _array(elevation)
    return _array(101.3 * ((293.0 - 0.0065 * z) / 293.0) ** 5.26)


def psychrometric_constant(pressure: npt.ArrayLike) -> Floats:
    """
    Psychrometric constant γ of the Penman-Monteith equation.

    Parameters
    ----------
    pressure : float or ndarray, any shape
        Air pressure at the site, not brought down to sea level. [kPa]

    Returns
    -------
    ndarray, shape of ``pressure``
        γ. [kPa/°C]

    Notes
    -----
    FAO-56 eq 8, with λ = 2.45 MJ/kg.
    """
    return _array(0.665e-3 * _array(pressure))


def mean_saturation_vapour_pressure(tmin: npt.ArrayLike, tmax: npt.ArrayLike) -> Floats:
    """
    Saturation vapour pressure of a day.

    Parameters
    ----------
    tmin, tmax : float or ndarray
        Minimum and maximum air temperature. [°C]

    Returns
    -------
    ndarray, broadcast shape
        es, the mean at the two temperatures and not that at their mean. [kPa]

    Notes
    -----
    FAO-56 eq 12, for a day or longer.
    """
    return (saturation_vapour_pressure(tmax) + saturation_vapour_pressure(tmin)) / 2.0


def vapour_pressure_from_dew_point(dew_point: npt.ArrayLike) -> Floats:
    """
    Actual vapour pressure from the dew point.

    Parameters
    ----------
    dew_point : float or ndarray, any shape
        Dew point temperature, mean of the day. [°C]

    Returns
    -------
    ndarray, shape of ``dew_point``
        ea. [kPa]

    Notes
    -----
    FAO-56 eq 14.
    """
    return saturation_vapour_pressure(dew_point)


def dew_point_from_vapour_pressure(vapour_pressure: npt.ArrayLike) -> Floats:
    """
    Temperature at which air of a vapour pressure is saturated.

    Parameters
    ----------
    vapour_pressure : float or ndarray, any shape
        ea, above 0. [kPa]

    Returns
    -------
    ndarray, shape of ``vapour_pressure``
        Tdew. [°C]

    Notes
    -----
    FAO-56 eq 14, solved for the dew point.
    """
    ratio = np.log(_array(vapour_pressure) / 0.6108)
    return 237.3 * ratio / (17.27 - ratio)


def vapour_pressure_from_specific_humidity(specific_humidity: npt.ArrayLike, *, pressure: npt.ArrayLike) -> Floats:
    """
    Actual vapour pressure from the specific humidity.

    Parameters
    ----------
    specific_humidity : float or ndarray
        Mass of vapour in a mass of moist air, q. [kg/kg]
    pressure : float or ndarray
        Air pressure at the site. [kPa]

    Returns
    -------
    ndarray, broadcast shape
        ea. [kPa]

    Notes
    -----
    ea = q P / (ε + (1 - ε) q) with ε = 0.622, the ratio of the molar masses of water and dry air: the definitions of
    specific humidity and mixing ratio of WMO-No. 8 (2018), vol. I, annex 4.A (from memory), solved for ea.

    Examples
    --------
    >>> round(float(vapour_pressure_from_specific_humidity(0.01, pressure=101.3)), 4)
    1.6188
    """
    q = _array(specific_humidity)
    return _array(q * _array(pressure) / (_VAPOUR_TO_AIR + (1.0 - _VAPOUR_TO_AIR) * q))


def vapour_pressure_from_rh_max_min(
    rh_max: npt.ArrayLike, rh_min: npt.ArrayLike, *, tmin: npt.ArrayLike, tmax: npt.ArrayLike
) -> Floats:
    """
    Actual vapour pressure from the day's extremes of relative humidity.

    Parameters
    ----------
    rh_max, rh_min : float or ndarray
        Maximum and minimum relative humidity, 0 to 100. [%]
    tmin, tmax : float or ndarray
        Minimum and maximum air temperature. [°C]

    Returns
    -------
    ndarray, broadcast shape
        ea. [kPa]

    Notes
    -----
    FAO-56 eq 17.
    """
    at_dawn = saturation_vapour_pressure(tmin) * _array(rh_max) / 100.0
    at_noon = saturation_vapour_pressure(tmax) * _array(rh_min) / 100.0
    return (at_dawn + at_noon) / 2.0


def vapour_pressure_from_rh_max(rh_max: npt.ArrayLike, *, tmin: npt.ArrayLike) -> Floats:
    """
    Actual vapour pressure from the day's maximum relative humidity only.

    Parameters
    ----------
    rh_max : float or ndarray
        Maximum relative humidity, 0 to 100. [%]
    tmin : float or ndarray
        Minimum air temperature. [°C]

    Returns
    -------
    ndarray, broadcast shape
        ea. [kPa]

    Notes
    -----
    FAO-56 eq 18: for instruments whose minimum can't be trusted.
    """
    return saturation_vapour_pressure(tmin) * _array(rh_max) / 100.0


def vapour_pressure_from_rh_mean(rh_mean: npt.ArrayLike, *, tmin: npt.ArrayLike, tmax: npt.ArrayLike) -> Floats:
    """
    Actual vapour pressure from the day's mean relative humidity.

    Parameters
    ----------
    rh_mean : float or ndarray
        Mean relative humidity, 0 to 100. [%]
    tmin, tmax : float or ndarray
        Minimum and maximum air temperature. [°C]

    Returns
    -------
    ndarray, broadcast shape
        ea. [kPa]

    Notes
    -----
    FAO-56 eq 19; less sure than eq 17 or 18, says the paper.
    """
    return _array(rh_mean) / 100.0 * mean_saturation_vapour_pressure(tmin, tmax)


def radiation_from_sunshine(
    sunshine: npt.ArrayLike, *, daylight: npt.ArrayLike, extraterrestrial: npt.ArrayLike
) -> Floats:
    """
    Solar radiation from hours of sunshine.

    Parameters
    ----------
    sunshine : float or ndarray
        Hours of bright sunshine n, 0 to ``daylight``. [h]
    daylight : float or ndarray
        Daylight hours N. [h]
    extraterrestrial : float or ndarray
        Ra. [MJ m⁻² d⁻¹]

    Returns
    -------
    ndarray, broadcast shape
        Rs; 0 in polar night. [MJ m⁻² d⁻¹]

    Notes
    -----
    FAO-56 eq 35 (Ångström) with as = 0.25 and bs = 0.50, the paper's values where none were fitted.
    """
    n, N = np.broadcast_arrays(_array(sunshine), _array(daylight))
    # in polar night n/N is 0/0, and Ra is 0 whatever the ratio; a missing n stays missing
    ratio = np.divide(n, N, out=np.where(np.isnan(n), np.nan, 0.0), where=N > 0.0)
    return _array((ANGSTROM_A + ANGSTROM_B * ratio) * _array(extraterrestrial))


def clear_sky_radiation(extraterrestrial: npt.ArrayLike, *, elevation: npt.ArrayLike) -> Floats:
    """
    Solar radiation under a cloudless sky.

    Parameters
    ----------
    extraterrestrial : float or ndarray
        Ra. [MJ m⁻² d⁻¹]
    elevation : float or ndarray
        Height above sea. [m]

    Returns
    -------
    ndarray, broadcast shape
        Rso. [MJ m⁻² d⁻¹]

    Notes
    -----
    FAO-56 eq 37, for a site without fitted Ångström coefficients and air of ordinary clarity. Measured days
    may exceed it by a few per cent.
    """
    z = _array(elevation)
    return _array((0.75 + 2e-5 * z) * _array(extraterrestrial))


def radiation_from_temperature_range(
    tmin: npt.ArrayLike,
    tmax: npt.ArrayLike,
    *,
    extraterrestrial: npt.ArrayLike,
    clear_sky: npt.ArrayLike,
    coefficient: float = KRS_INLAND,
) -> Floats:
    """
    Solar radiation estimated from the day's temperature range.

    Parameters
    ----------
    tmin, tmax : float or ndarray
        Minimum and maximum air temperature. [°C]
    extraterrestrial, clear_sky : float or ndarray
        Ra, and Rso which the estimate may not pass. [MJ m⁻² d⁻¹]
    coefficient : float
        kRs: `KRS_INLAND` or `KRS_COAST`. [°C^-0.5]

    Returns
    -------
    ndarray, broadcast shape
        Rs, at most ``clear_sky``; not a number where ``tmax`` is below ``tmin``. [MJ m⁻² d⁻¹]

    Notes
    -----
    FAO-56 eq 50 (Hargreaves), bounded to Rso as the paper asks below it. Not for islands.
    """
    span = _array(tmax) - _array(tmin)
    with np.errstate(invalid="ignore"):
        return np.minimum(coefficient * np.sqrt(span) * _array(extraterrestrial), clear_sky)


def net_shortwave_radiation(radiation: npt.ArrayLike, *, albedo: float = ALBEDO) -> Floats:
    """
    Solar radiation that the surface keeps.

    Parameters
    ----------
    radiation : float or ndarray, any shape
        Rs. [MJ m⁻² d⁻¹]
    albedo : float
        Share sent back, 0 to 1; 0.23 for the reference grass. [-]

    Returns
    -------
    ndarray, shape of ``radiation``
        Rns. [MJ m⁻² d⁻¹]

    Notes
    -----
    FAO-56 eq 38.
    """
    return _array((1.0 - albedo) * _array(radiation))


def net_longwave_radiation(
    radiation: npt.ArrayLike,
    vapour_pressure: npt.ArrayLike,
    *,
    tmin: npt.ArrayLike,
    tmax: npt.ArrayLike,
    clear_sky: npt.ArrayLike,
) -> Floats:
    """
    Long-wave radiation that the surface loses, net.

    Parameters
    ----------
    radiation, clear_sky : float or ndarray
        Rs and Rso. [MJ m⁻² d⁻¹]
    vapour_pressure : float or ndarray
        ea. [kPa]
    tmin, tmax : float or ndarray
        Minimum and maximum air temperature. [°C]

    Returns
    -------
    ndarray, broadcast shape
        Rnl, outward positive. [MJ m⁻² d⁻¹]

    Notes
    -----
    FAO-56 eq 39, Rs/Rso at most 1 as the paper says; no lower bound. Where Rso is 0 (polar night) the sky is
    taken as clear, which is a choice of ours: the paper does not cover it.
    """
    Rs, Rso = np.broadcast_arrays(_array(radiation), _array(clear_sky))
    ratio = np.minimum(np.divide(Rs, Rso, out=np.where(np.isnan(Rs), np.nan, 1.0), where=Rso > 0.0), 1.0)
    emitted = ((_array(tmax) + _KELVIN) ** 4 + (_array(tmin) + _KELVIN) ** 4) / 2.0
    humidity = 0.34 - 0.14 * np.sqrt(_array(vapour_pressure))
    return _array(_STEFAN_BOLTZMANN * emitted * humidity * (1.35 * ratio - 0.35))


def wind_at_2m(wind: npt.ArrayLike, *, height: float) -> Floats:
    """
    Wind speed brought to 2 m above ground.

    Parameters
    ----------
    wind : float or ndarray, any shape
        Speed at ``height``. [m/s]
    height : float
        Height of the gauge above ground; 0.5 or more. [m]

    Returns
    -------
    ndarray, shape of ``wind``
        u2. [m/s]

    Raises
    ------
    ValueError
        A height below 0.5 m, where the profile over grass does not hold.

    Notes
    -----
    FAO-56 eq 47, a logarithmic profile over short grass, meant for gauges up to some 10 m. At 2 m it gives
    1.0002 of the wind, so callers leave such wind alone.

    Examples
    --------
    FAO-56 Example 14:

    >>> round(float(wind_at_2m(3.2, height=10.0)), 1)
    2.4
    """
    if not height >= 0.5:
        raise ValueError(f"wind height is {height} m; 0.5 m or more is expected")
    return _array(wind) * float(4.87 / np.log(67.8 * height - 5.42))


def dew_point_from_tmin(tmin: npt.ArrayLike, *, offset: float = 0.0) -> Floats:
    """
    Dew point estimated from the day's minimum temperature.

    Parameters
    ----------
    tmin : float or ndarray, any shape
        Minimum air temperature. [°C]
    offset : float
        How far the dew point lies below it: 0 where the ground is well watered, `DRY_DEW_POINT_OFFSET` in
        a dry climate. [°C]

    Returns
    -------
    ndarray, shape of ``tmin``
        Tdew. [°C]

    Notes
    -----
    FAO-56 eq 48 and the text below it.
    """
    return _array(tmin) - offset
