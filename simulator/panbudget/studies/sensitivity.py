"""
Sensitivity: what the season's reference evapotranspiration would be, had what was filled been filled otherwise.

One quantity at a time, on the days on which it was filled and no others. It says how much an estimate matters, not
how wrong it is: both figures are guesses. Temperature and rain have no other estimate and are left out.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.physics import air
from panbudget.physics.evaporation import reference_evapotranspiration
from panbudget.season.result import Season
from panbudget.weather import flags
from panbudget.weather.filling.estimates import filled_wind
from panbudget.weather.site import sky_of
from panbudget.words import amount, in_both, say

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


def alternatives(season: Season) -> list[Alternative]:
    """
    Compute the season's ETo again with each filled quantity filled otherwise.

    Returns
    -------
    list of Alternative
        None where nothing that bears on ETo was filled.

    Notes
    -----
    FAO-56 chapter 3 for the estimates. What was borrowed from another station is set against what would have been
    estimated without it.
    """
    site, daily = season.scenario.site, season.weather.daily.loc[season.days.index]

    def total(table: pd.DataFrame) -> float:
        return float(reference_evapotranspiration(table, latitude=site.latitude, elevation=site.elevation).sum())

    base = total(daily)
    compared = []
    for quantity, (column, others) in _KINDS.items():
        used = season.weather.flags.loc[daily.index, column]
        for flag in dict.fromkeys(used):
            mask = np.asarray(used == flag, dtype=bool)
            for instead, values in others(season, daily, str(flag)):
                change = total(daily.assign(**{column: np.where(mask, values, daily[column].to_numpy(float))})) - base
                share = change / base if base > 0.0 else 0.0
                compared.append(Alternative(quantity, int(mask.sum()), flag, instead, change, share))
    return compared


@in_both
def summed_up(alternatives: list[Alternative]) -> str:
    """
    Say in one sentence how much it matters what was filled.

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
    for quantity in dict.fromkeys(part.quantity for part in alternatives):
        most = max((part for part in alternatives if part.quantity == quantity), key=lambda part: abs(part.change_mm))
        change = f"{in_depth(most)} ({in_percent(most)})"
        parts.append(f"{quantity} ({most.instead}) would change the season's ETo by {change}")
    return f"Filled otherwise, {'; '.join(parts)}." if parts else ""


@in_both
def in_depth(alternative: Alternative) -> str:
    """Write an alternative's change with its sign."""
    return amount(alternative.change_mm, "depth", "+.1f").replace("-", "−")


def in_percent(alternative: Alternative) -> str:
    """Write an alternative's change in per cent of the season's ETo, with its sign."""
    return f"{100.0 * alternative.change_share:+.1f} %".replace("-", "−")


# each gives other ways to fill what a flag says it was filled by: in words, and its values over the season


def _winds(season: Season, daily: pd.DataFrame, flag: str) -> Iterator[tuple[str, Floats]]:
    wind = daily["wind"].to_numpy(float)
    if flag == flags.DEFAULT_WIND:
        yield from ((amount(other, "speed", ".2g"), np.full(len(daily), other)) for other in OTHER_WINDS)
    elif flag == flags.MONTHLY_WIND:
        yield say("{off:speed .2g} less", off=WIND_OFF), np.maximum(wind - WIND_OFF, 0.0)
        yield say("{off:speed .2g} more", off=WIND_OFF), wind + WIND_OFF
    elif flags.is_borrowed(flag):
        record = season.weather.daily["wind"]
        measured = record.mask(season.weather.flags["wind"].astype(str).map(flags.is_borrowed)).to_numpy(float)
        estimate, _ = filled_wind(measured, pd.DatetimeIndex(record.index))
        instead = flags.DEFAULT_WIND if np.isnan(measured).all() else "the month's mean"
        yield instead, estimate[record.index.get_indexer(daily.index)]


def _humidities(season: Season, daily: pd.DataFrame, flag: str) -> Iterator[tuple[str, Floats]]:
    for instead, offset, other in (
        ("dew point at tmin", 0.0, flags.DEW_POINT_FROM_TMIN_DRY),
        (say("dew point {2:warming .2g} below tmin"), air.DRY_DEW_POINT_OFFSET, flags.DEW_POINT_FROM_TMIN),
    ):
        if flag == other or flags.is_borrowed(flag):
            dew_point = air.dew_point_from_tmin(daily["tmin"].to_numpy(float), offset=offset)
            yield instead, air.vapour_pressure_from_dew_point(dew_point)


def _lights(season: Season, daily: pd.DataFrame, flag: str) -> Iterator[tuple[str, Floats]]:
    site, estimated = season.scenario.site, flag == flags.RADIATION_FROM_RANGE
    if estimated or flags.is_borrowed(flag):
        coast = (site.setting == "coast") != estimated
        coefficient = air.KRS_COAST if coast else air.KRS_INLAND
        sky = sky_of(pd.DatetimeIndex(daily.index), latitude=site.latitude, elevation=site.elevation)
        temperatures = (daily[name].to_numpy(float) for name in ("tmin", "tmax"))
        above = {"extraterrestrial": sky.extraterrestrial, "clear_sky": sky.clear}
        light = air.radiation_from_temperature_range(*temperatures, **above, coefficient=coefficient)
        yield f"from the temperature range, kRs {coefficient:g} ({'coast' if coast else 'inland'})", light


# quantity -> its column, and other ways to fill it
_KINDS = {"wind": ("wind", _winds), "humidity": ("vapour_pressure", _humidities), "radiation": ("radiation", _lights)}
