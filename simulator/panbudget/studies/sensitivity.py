"""
Sensitivity: what the season's reference evapotranspiration would be, had what was filled been filled otherwise.

One quantity at a time, on the days on which it was filled and no others. It says how much an estimate matters, not
how wrong it is: both figures are guesses. Temperature and rain have no other estimate and are left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.physics.air import (
    DRY_DEW_POINT_OFFSET,
    KRS_COAST,
    KRS_INLAND,
    dew_point_from_tmin,
    radiation_from_temperature_range,
    vapour_pressure_from_dew_point,
)
from panbudget.physics.evaporation import reference_evapotranspiration
from panbudget.weather.checks.inspection import Mask
from panbudget.weather.filling.gaps import filled_wind
from panbudget.weather.flags import (
    DEFAULT_WIND,
    DEW_POINT_FROM_TMIN,
    DEW_POINT_FROM_TMIN_DRY,
    MONTHLY_WIND,
    RADIATION_FROM_RANGE,
    is_borrowed,
)
from panbudget.weather.sky import sky_of

if TYPE_CHECKING:
    from panbudget.season.result import Season


#: what a mean wind may be out: common practice, no source [m/s at 2 m]
WIND_OFF = 0.5
#: winds that FAO-56 chapter 3 calls light to moderate, on both sides of the 2 m/s that it assumes [m/s at 2 m]
OTHER_WINDS = (1.0, 3.0)


@dataclass(frozen=True)
class Alternative:
    """
    One other way to fill what was filled.

    Parameters
    ----------
    quantity : str
        "wind", "humidity" or "radiation".
    days : int
        Of the season, on which it was filled.
    used, instead : str
        How it was filled, and how it might have been.
    change_mm : float
        What that does to the season's ETo. [mm]
    change_share : float
        The same as a share of the season's ETo. [-]
    """

    quantity: str
    days: int
    used: str
    instead: str
    change_mm: float
    change_share: float

    def as_dict(self) -> dict[str, Any]:
        """Return it as ``check --json`` lists it."""
        return asdict(self)


def alternatives(season: Season) -> list[Alternative]:
    """
    Compute the season's ETo again with each filled quantity filled otherwise.

    Parameters
    ----------
    season : Season

    Returns
    -------
    list of Alternative
        None where nothing that bears on ETo was filled.

    Notes
    -----
    FAO-56 chapter 3 for the estimates. What was borrowed from another station is set against what would have been
    estimated without it.
    """
    site, days = season.scenario.site, season.days.index
    daily = season.weather.daily.loc[days]

    def total(table: pd.DataFrame) -> float:
        return float(reference_evapotranspiration(table, latitude=site.latitude, elevation=site.elevation).sum())

    base = total(daily)
    found = []
    for quantity, column, mask, used, instead, values in _others(season, daily):
        changed = daily.assign(**{column: np.where(mask, values, daily[column].to_numpy(float))})
        change = total(changed) - base
        share = change / base if base > 0.0 else 0.0
        found.append(Alternative(quantity, int(mask.sum()), used, instead, change, share))
    return found


def summed_up(found: list[Alternative]) -> str:
    """
    Say in one sentence how much it matters what was filled.

    Parameters
    ----------
    found : list of Alternative

    Returns
    -------
    str
        Empty where there is none.

    Examples
    --------
    >>> summed_up([Alternative("wind", 3, "2 m/s", "3 m/s", 4.2, 0.0105)])
    "Filled otherwise, wind (3 m/s) would change the season's ETo by +4.2 mm (+1.1 %)."
    """
    parts = []
    for quantity in dict.fromkeys(one.quantity for one in found):
        most = max((one for one in found if one.quantity == quantity), key=lambda one: abs(one.change_mm))
        parts.append(f"{quantity} ({most.instead}) would change the season's ETo by {in_mm(most)} ({in_percent(most)})")
    return f"Filled otherwise, {'; '.join(parts)}." if parts else ""


def in_mm(one: Alternative) -> str:
    """Write an alternative's change with its sign."""
    return f"{one.change_mm:+.1f} mm".replace("-", "−")


def in_percent(one: Alternative) -> str:
    """Write an alternative's change in per cent of the season's ETo, with its sign."""
    return f"{100.0 * one.change_share:+.1f} %".replace("-", "−")


def _others(season: Season, daily: pd.DataFrame) -> Iterator[tuple[str, str, Mask, str, str, Floats]]:
    """Quantity, column, days, how it was filled, how else, and the values of that."""
    flags = season.weather.flags.loc[daily.index]
    for flag in dict.fromkeys(flags["wind"]):
        mask = np.asarray(flags["wind"] == flag, dtype=bool)
        yield from (("wind", "wind", mask, flag, *other) for other in _winds(season, daily, str(flag)))
    for flag in dict.fromkeys(flags["vapour_pressure"]):
        mask = np.asarray(flags["vapour_pressure"] == flag, dtype=bool)
        yield from (("humidity", "vapour_pressure", mask, flag, *other) for other in _humidities(daily, str(flag)))
    for flag in dict.fromkeys(flags["radiation"]):
        mask = np.asarray(flags["radiation"] == flag, dtype=bool)
        yield from (("radiation", "radiation", mask, flag, *other) for other in _lights(season, daily, str(flag)))


def _winds(season: Season, daily: pd.DataFrame, flag: str) -> Iterator[tuple[str, Floats]]:
    wind = daily["wind"].to_numpy(float)
    if flag == DEFAULT_WIND:
        for other in OTHER_WINDS:
            yield f"{other:g} m/s", np.full(len(daily), other)
    elif flag == MONTHLY_WIND:
        yield f"{WIND_OFF:g} m/s less", np.maximum(wind - WIND_OFF, 0.0)
        yield f"{WIND_OFF:g} m/s more", wind + WIND_OFF
    elif is_borrowed(flag):
        record, flags = season.weather.daily["wind"], season.weather.flags["wind"]
        lent = np.array([is_borrowed(str(other)) for other in flags], dtype=bool)
        own = np.where(lent, np.nan, record.to_numpy(float))
        estimate, _ = filled_wind(own, pd.DatetimeIndex(record.index))
        at = record.index.get_indexer(daily.index)
        yield ("the month's mean" if (~np.isnan(own)).any() else DEFAULT_WIND), estimate[at]


def _humidities(daily: pd.DataFrame, flag: str) -> Iterator[tuple[str, Floats]]:
    others = {
        "dew point at tmin": (0.0, flag == DEW_POINT_FROM_TMIN_DRY),
        "dew point 2 °C below tmin": (DRY_DEW_POINT_OFFSET, flag == DEW_POINT_FROM_TMIN),
    }
    tmin = daily["tmin"].to_numpy(float)
    for instead, (offset, fits) in others.items():
        if fits or is_borrowed(flag):
            yield instead, vapour_pressure_from_dew_point(dew_point_from_tmin(tmin, offset=offset))


def _lights(season: Season, daily: pd.DataFrame, flag: str) -> Iterator[tuple[str, Floats]]:
    site = season.scenario.site
    coast = site.setting == "coast"
    if flag != RADIATION_FROM_RANGE and not is_borrowed(flag):
        return
    if flag == RADIATION_FROM_RANGE:
        coast = not coast
    sky = sky_of(pd.DatetimeIndex(daily.index), latitude=site.latitude, elevation=site.elevation)
    coefficient = KRS_COAST if coast else KRS_INLAND
    yield (
        f"from the temperature range, kRs {coefficient:g} ({'coast' if coast else 'inland'})",
        radiation_from_temperature_range(
            daily["tmin"].to_numpy(float),
            daily["tmax"].to_numpy(float),
            extraterrestrial=sky.extraterrestrial,
            clear_sky=sky.clear,
            coefficient=coefficient,
        ),
    )
