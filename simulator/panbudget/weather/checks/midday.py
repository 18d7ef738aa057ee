"""
Midday: whether a thermometer is warmed by the light itself, and how bright clear noons are, as the hours about noon tell.

When clouds come and go, light changes within the hour. The air's vapour doesn't change with it, and its warmth but little; a thermometer
in the sun, or in a screen that nothing ventilates, follows at once (WMO No. 8, Guide to Instruments and Methods of Observation, part I,
chapter 2, on the radiation error of thermometers, from memory). A vapour pressure that is made of its temperature and of a sound
relative humidity rises with the light then. The thresholds were set on genuine records: common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.physics import sun
from panbudget.weather.checks.inspection import Inspection
from panbudget.weather.subdaily.hourly import MJ_OF_A_WATT_DAY

# changes from hour to hour that tell, the mean light in which they do, and a bright noon's light, over which they are stated
# [-, W/m², W/m²]
_CHANGES, _LIT, _BRIGHT = 150, 300.0, 900.0
# by how much the logarithm of the vapour pressure, and the temperature, rise with that light where a thermometer is in the sun; and
# how far the air itself warms up [-, °C, °C]
_DAMPER, _WARMER, _AIR = 0.16, 5.0, 1.5
#: by how much saturated vapour grows with a degree [-]
OF_A_DEGREE = 0.06
# the hour that begins at noon; noons with a clear sky's light of more than this, and how many of them tell [h, W/m², -]
_NOON, _HIGH_SUN, _NOONS = 12, 700.0, 45
# light of an hour next to which none has nothing at noon [W/m²]
_BESIDE = 100.0
_SOLAR = sun.SOLAR_CONSTANT * 1e6 / 60.0  # light outside of the air [W/m²]


class Sunlit(NamedTuple):
    """How much warmer a thermometer is than the air at the day's highest [°C], and the share of its vapour that is there, (days,)."""

    cooler: Floats
    vapour: Floats


def _middays(inspection: Inspection) -> pd.DataFrame:
    """Return the hours about noon of the days asked for, none where the sun's hour is unknown."""
    hours = inspection.raw.by_hour
    table = pd.DataFrame() if hours is None or not hours.by_sun else hours.midday
    return table[np.isin(table.index // 24, inspection.numbers)] if len(table) else table


def sunlit(inspection: Inspection) -> Sunlit | None:
    """
    Tell how far the light itself warms a thermometer.

    Returns
    -------
    Sunlit, optional
        None where the hours don't tell; nothing but zeros and ones where it doesn't.
    """
    table = _middays(inspection)
    if table.empty or not inspection.has("radiation"):
        return None
    known = table.diff()[np.diff(table.index, prepend=0) == 1].dropna(subset=["light", "warmth"])
    if len(known) < _CHANGES or table["light"].mean() < _LIT:
        return None
    # what the hour of the day itself brings, and the month, is none of the clouds' doing
    at = pd.DatetimeIndex(known.index.to_numpy().astype("datetime64[h]").astype("datetime64[ns]"))
    by_cloud = known - known.groupby([at.month, at.hour]).transform("mean")
    spread = float((by_cloud["light"] ** 2).sum())
    if spread < 1.0:
        return None  # light that never changes
    rises = by_cloud.mul(by_cloud["light"], axis=0).sum() / spread
    damper, warmer = _BRIGHT * rises["damp"], _BRIGHT * rises["warmth"]
    light = table["light"][table.index % 24 // 2 == _NOON // 2].groupby(lambda hour: hour // 24).mean()
    share = light.reindex(inspection.numbers).fillna(0.0).to_numpy() / _BRIGHT
    if damper > _DAMPER:
        mean = np.nan_to_num(inspection.of_asked("radiation")) / MJ_OF_A_WATT_DAY / _BRIGHT
        return Sunlit(damper * share / OF_A_DEGREE, np.exp(-damper * mean))
    by = (warmer - _AIR) * float(warmer > _WARMER)
    return Sunlit(by * share, np.ones(share.size))


def dropouts(inspection: Inspection) -> tuple[int, float]:
    """Return how many hours about noon have no light between two that are lit, and their share of those between others. [-, -]"""
    table = _middays(inspection)
    if table.empty:
        return 0, 0.0
    before, light, after = (table["light"].to_numpy()[part] for part in (slice(-2), slice(1, -1), slice(2, None)))
    between = table.index[2:] - table.index[:-2] == 2
    dropped = between & (light == 0.0) & (np.minimum(before, after) > _BESIDE)
    return int(dropped.sum()), float(dropped.sum() / max(between.sum(), 1))


def clearest(inspection: Inspection) -> float | None:
    """Return what the brightest noons (one in twenty) reach of a clear sky's, None where the hours don't tell. [-]"""
    table = _middays(inspection)
    if table.empty:
        return None
    light = table["light"][np.abs(table.index % 24 - _NOON) <= 1].groupby(lambda hour: hour // 24).max()
    of_year, sky = pd.DatetimeIndex(inspection.daily.index[inspection.asked]).dayofyear.to_numpy(), inspection.sky
    height = np.cos(np.radians(inspection.site.latitude) - sun.solar_declination(of_year))
    through = (sky.clear / np.maximum(sky.extraterrestrial, 1.0))[inspection.asked]
    clear = _SOLAR * sun.inverse_relative_distance(of_year) * height * through
    share = (light.reindex(inspection.numbers) / clear).to_numpy()[clear > _HIGH_SUN]
    share = share[~np.isnan(share)]
    return float(np.percentile(share, 95.0)) if share.size >= _NOONS else None
