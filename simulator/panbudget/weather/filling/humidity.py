"""
Humidity: one vapour pressure a day out of whatever the file has, and the relative humidities that follow.

Order of preference: vapour pressure or dew point; maximum and minimum relative humidity; the maximum; the
mean; at last the dew point from the minimum temperature (FAO-56 eq 14, 17, 18, 19, 48).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from panbudget.physics.air import (
    DRY_DEW_POINT_OFFSET,
    Floats,
    atmospheric_pressure,
    dew_point_from_tmin,
    mean_saturation_vapour_pressure,
    net_longwave_radiation,
    net_shortwave_radiation,
    psychrometric_constant,
    saturation_vapour_pressure,
    slope_of_saturation_vapour_pressure,
    vapour_pressure_from_dew_point,
    vapour_pressure_from_rh_max,
    vapour_pressure_from_rh_max_min,
    vapour_pressure_from_rh_mean,
)
from panbudget.weather.checks.inspection import Mask
from panbudget.weather.flags import (
    DEW_POINT_FROM_TMIN,
    DEW_POINT_FROM_TMIN_DRY,
    FROM_ESTIMATED,
    FROM_VAPOUR_PRESSURE,
    MEASURED,
    RH_MEAN_OF_EXTREMES,
    Flags,
    is_filled,
)
from panbudget.weather.site import SiteLike
from panbudget.weather.sky import Sky

__all__ = ["DRY_BELOW", "Humidity", "aridity", "has_humidity", "humidity_of"]

#: United Nations Environment Programme, World Atlas of Desertification (1997), from memory: an aridity index
#: (rain over evaporative demand) below 0.5 is semi-arid or drier. [-]
DRY_BELOW = 0.5

# the kinds of source, best first: a day's vapour pressure comes from the first that it has
_KINDS = (
    ("vapour_pressure",),
    ("dew_point",),
    ("rh_max", "rh_min"),
    ("rh_max",),
    ("rh_mean",),
)
_EQUATIONS = ("", "eq 14 ", "eq 17 ", "eq 18 ", "eq 19 ")
# vapour pressure and dew point say the same thing
_RANKS = (0, 0, 1, 2, 3)


class Humidity(NamedTuple):
    """Arrays (days,): ``vapour_pressure`` [kPa], ``rh_mean``, ``rh_min`` [%], and the flags of each."""

    vapour_pressure: Floats
    rh_mean: Floats
    rh_min: Floats
    vapour_pressure_flags: Flags
    rh_mean_flags: Flags
    rh_min_flags: Flags


def has_humidity(daily: pd.DataFrame) -> Mask:
    """
    Tell which days have a vapour pressure without estimating one.

    Parameters
    ----------
    daily : DataFrame
        Standard columns.

    Returns
    -------
    ndarray of bool, (days,)
        A minimum relative humidity alone is not enough.
    """
    return np.asarray(np.any([_has(daily, kind) for kind in _KINDS], axis=0), dtype=bool)


def _has(daily: pd.DataFrame, names: tuple[str, ...]) -> Mask:
    if not all(name in daily.columns for name in names):
        return np.zeros(len(daily), dtype=bool)
    return daily[list(names)].notna().all(axis=1).to_numpy(dtype=bool)


def humidity_of(daily: pd.DataFrame, *, dry: bool, in_file: Mask, borrowed: Flags | None = None) -> Humidity:
    """
    Find each day's humidity.

    Parameters
    ----------
    daily : DataFrame
        Standard columns.
    dry : bool
        Whether an estimated dew point lies 2 °C below Tmin instead of at it.
    in_file : ndarray of bool, (days,)
        Days with a row: what the file has on most of them is its main source.
    borrowed : ndarray of object, (days,), optional
        The flag of each vapour pressure that another station lent, empty text elsewhere.

    Returns
    -------
    Humidity
        Relative humidities are bounded to 100 %: at a dew point between the day's mean and maximum
        temperature the quotient would pass it.
    """
    tmin, tmax = daily["tmin"].to_numpy(dtype=float), daily["tmax"].to_numpy(dtype=float)
    offset = DRY_DEW_POINT_OFFSET if dry else 0.0
    ea = vapour_pressure_from_dew_point(dew_point_from_tmin(tmin, offset=offset))
    flags: Flags = np.full(len(daily), DEW_POINT_FROM_TMIN_DRY if dry else DEW_POINT_FROM_TMIN, dtype=object)
    has = [_has(daily, kind) for kind in _KINDS]
    lent = np.zeros(len(daily), dtype=bool) if borrowed is None else np.asarray(borrowed != "", dtype=bool)
    own = in_file & ~lent
    main = _main_rank(has, own if own.any() else in_file)
    for kind, rank, equation, there in reversed(list(zip(_KINDS, _RANKS, _EQUATIONS, has, strict=True))):
        if not there.any():
            continue
        ea = np.where(there, _vapour_pressure(daily, kind, tmin, tmax), ea)
        source = " and ".join(kind)
        flags[there] = f"{equation}from {source}" if rank <= main else f"from {source} only"
        if kind == ("vapour_pressure",):
            flags[there] = MEASURED
    if borrowed is not None:
        flags[lent] = borrowed[lent]
    estimated = np.array([is_filled(flag) for flag in flags], dtype=bool)
    from_ea = np.where(estimated, FROM_ESTIMATED, FROM_VAPOUR_PRESSURE).astype(object)
    from_ea[lent] = flags[lent]
    rh_min = np.minimum(100.0 * ea / saturation_vapour_pressure(tmax), 100.0)
    rh_mean = np.minimum(100.0 * ea / saturation_vapour_pressure((tmax + tmin) / 2.0), 100.0)
    rh_min_flags, rh_mean_flags = from_ea.copy(), from_ea.copy()
    if (both := _has(daily, ("rh_max", "rh_min"))).any():
        middle = (daily["rh_max"].to_numpy(dtype=float) + daily["rh_min"].to_numpy(dtype=float)) / 2.0
        rh_mean, rh_mean_flags[both] = np.where(both, middle, rh_mean), RH_MEAN_OF_EXTREMES
    if (there := _has(daily, ("rh_mean",))).any():
        rh_mean, rh_mean_flags[there] = (
            np.where(there, daily["rh_mean"].to_numpy(dtype=float), rh_mean),
            MEASURED,
        )
    if (there := _has(daily, ("rh_min",))).any():
        rh_min, rh_min_flags[there] = np.where(there, daily["rh_min"].to_numpy(dtype=float), rh_min), MEASURED
    return Humidity(ea, rh_mean, rh_min, flags, rh_mean_flags, rh_min_flags)


def _main_rank(has: list[Mask], in_file: Mask) -> int:
    """Rank of the best kind that most days of the file have; of the commonest one if none has most."""
    shares = [
        float(np.any([there for there, r in zip(has, _RANKS, strict=True) if r == rank], axis=0)[in_file].mean())
        for rank in range(_RANKS[-1] + 1)
    ]
    on_most = [rank for rank, share in enumerate(shares) if share > 0.5]
    return on_most[0] if on_most else int(np.argmax(shares))


def _vapour_pressure(daily: pd.DataFrame, kind: tuple[str, ...], tmin: Floats, tmax: Floats) -> Floats:
    values = [daily[name].to_numpy(dtype=float) for name in kind]
    match kind:
        case ("vapour_pressure",):
            return values[0]
        case ("dew_point",):
            return vapour_pressure_from_dew_point(values[0])
        case ("rh_max", "rh_min"):
            return vapour_pressure_from_rh_max_min(*values, tmin=tmin, tmax=tmax)
        case ("rh_max",):
            return vapour_pressure_from_rh_max(values[0], tmin=tmin)
        case _:
            return vapour_pressure_from_rh_mean(values[0], tmin=tmin, tmax=tmax)


def aridity(daily: pd.DataFrame, *, radiation: Floats, wind: Floats, rain: Floats, sky: Sky, site: SiteLike) -> float:
    """
    Rain over evaporative demand, of the whole record.

    Parameters
    ----------
    daily : DataFrame
        With tmin and tmax.
    radiation, wind, rain : ndarray, (days,)
        Filled. [MJ m⁻² d⁻¹, m/s at 2 m, mm]
    sky : Sky
        Of the days.
    site : SiteLike
        For its elevation.

    Returns
    -------
    float
        Over the days that have both; infinite if there is no demand. [-]

    Notes
    -----
    The demand is FAO-56 eq 6 with the dew point at Tmin, soil heat left out: only good enough to tell a dry
    record from a wet one. A record of one dry summer counts as dry, which is what the correction is for.
    """
    tmin, tmax = daily["tmin"].to_numpy(dtype=float), daily["tmax"].to_numpy(dtype=float)
    T = (tmax + tmin) / 2.0
    ea = vapour_pressure_from_dew_point(tmin)
    es = mean_saturation_vapour_pressure(tmin, tmax)
    gamma = psychrometric_constant(atmospheric_pressure(site.elevation))
    delta = slope_of_saturation_vapour_pressure(T)
    Rnl = net_longwave_radiation(radiation, ea, tmin=tmin, tmax=tmax, clear_sky=sky.clear)
    Rn = net_shortwave_radiation(radiation) - Rnl
    drying = gamma * 900.0 / (T + 273.0) * wind * (es - ea)
    demand = np.maximum((0.408 * delta * Rn + drying) / (delta + gamma * (1.0 + 0.34 * wind)), 0.0)
    known = ~np.isnan(demand) & ~np.isnan(rain)
    total = float(demand[known].sum())
    return float(rain[known].sum()) / total if total > 0.0 else float("inf")
