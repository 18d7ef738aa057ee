"""
Plausibility: values that can't be true, and whole columns that betray another unit.

Each mistake is one problem, with the worst value, its day and the cure; a guess at a unit is only a hint in
that message, never acted upon. A column whose unit is stated escapes the guesses that rest on habit (wind,
radiation, rain), but not what no weather can be.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panbudget.errors import Problem
from panbudget.weather.checks import air as checks_air
from panbudget.weather.checks import sky as checks_sky
from panbudget.weather.checks.inspection import Inspection, Mask
from panbudget.weather.site import SiteLike
from panbudget.weather.sky import Sky
from panbudget.weather.text.columns import STANDARD, number
from panbudget.weather.text.dates import and_more
from panbudget.weather.text.raw import RawTable

__all__ = ["PASSED", "TOO_BRIGHT_CHOICES", "Inspected", "inspect_values"]

TOO_BRIGHT_CHOICES = ("error", "limit")

#: what a file that was not refused has passed, in one line
PASSED = (
    "Wrong units looked for, and none found: Fahrenheit or kelvin for °C, km/h, knots or mph for m/s, W/m² or kWh/m² for "
    "MJ/m² (against a clear sky's), inches for mm of rain, hPa for kPa, shares for %, marks such as -999 for a "
    "missing value, tmin above tmax, dew points above tmax."
)

# numbers that loggers and archives write for a missing value
_SENTINELS = (
    *(-99.0, -99.9, -999.0, -999.9, -9999.0, -9999.9, -99999.0, -6999.0, -7999.0, -32768.0, -88.0, -8888.0),
    *(99.9, 99.99, 999.0, 999.9, 9999.0, 9999.9, 99999.0, 32767.0, 8888.0),
)


@dataclass(frozen=True, eq=False)
class Inspected:
    """
    What came out of an inspection.

    Parameters
    ----------
    daily : DataFrame
        The table, with values that can't be true left out on days that nobody asked for.
    limited : ndarray of bool, (days,)
        Where radiation was brought down to 1.05 Rso.
    condemned : frozenset of str
        Columns refused as a whole.
    problems, notes : tuple
        What is wrong, and what a report should mention.
    """

    daily: pd.DataFrame
    limited: Mask
    condemned: frozenset[str]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]


def inspect_values(
    daily: pd.DataFrame,
    asked: Mask,
    *,
    raw: RawTable,
    site: SiteLike,
    sky: Sky,
    wind_factor: float = 1.0,
    too_bright: str = "error",
    bright_share: float = 0.10,
) -> Inspected:
    """
    Check every value of a table.

    Parameters
    ----------
    daily : DataFrame
        Standard columns and units, one row a day.
    asked : ndarray of bool, (days,)
        Days on which a value that can't be true is a problem.
    raw : RawTable
        As read: units, headers and conversions.
    site : SiteLike
        Where it was measured.
    sky : Sky
        Of the table's days.
    wind_factor : float
        What brings the wind to 2 m. [-]
    too_bright : str
        "error", or "limit": bring radiation up to 1.25 Rso down to 1.05 Rso.
    bright_share : float
        Largest share of days on which it may be so limited. [-]

    Returns
    -------
    Inspected
        With its problems, if there are any.
    """
    inspection = Inspection(daily.copy(), asked, raw, sky)
    _sentinels(inspection)
    checks_air.temperatures(inspection)
    checks_air.relative_humidity(inspection)
    checks_air.dew_point(inspection)
    checks_air.vapour_pressure(inspection)
    checks_air.wind(inspection, factor=wind_factor)
    checks_air.pressure(inspection, elevation=site.elevation)
    checks_sky.rain(inspection)
    checks_sky.sunshine(inspection)
    limited = checks_sky.radiation(inspection, site=site, too_bright=too_bright, share=bright_share)
    checks_sky.pan_evaporation(inspection)
    left_out = tuple(
        f"{name}: {count} value{'s' if count > 1 else ''} that can't be true left out, on days outside those asked for"
        for name, count in inspection.left_out.items()
    )
    return Inspected(
        daily=inspection.daily,
        limited=limited,
        condemned=frozenset(inspection.condemned),
        problems=tuple(inspection.problems),
        notes=(*inspection.notes, *left_out),
    )


def _sentinels(inspection: Inspection) -> None:
    """Name numbers that stand for a missing value, one line for each such number, and take them out."""
    found: dict[float, tuple[list[str], Mask]] = {}
    for name in inspection.daily.columns:
        factor, offset = inspection.raw.conversions.get(name, (1.0, 0.0))
        values = inspection.all_of(name)
        as_written = np.round((values - offset) / factor, 4)
        column = STANDARD[name]
        for sentinel in _SENTINELS:
            mask = as_written == sentinel
            if not mask.any():
                continue
            outside = not column.lowest <= sentinel * factor + offset <= column.highest
            repeated = name == "rain" and int(mask.sum()) >= 2
            others = as_written[~mask & ~np.isin(as_written, _SENTINELS) & ~np.isnan(as_written)]
            # 999 among values near 900 is a value in another unit, and a check of its own
            alone = sentinel < 0 or not (others > 0.5 * sentinel).any()
            if not (outside or repeated) or not alone:
                continue
            names, days = found.setdefault(sentinel, ([], np.zeros_like(mask)))
            names.append(name)
            days |= mask
            inspection.daily.loc[mask, name] = np.nan
            elsewhere = int((mask & ~inspection.asked).sum())
            if elsewhere:
                inspection.left_out[name] = inspection.left_out.get(name, 0) + elsewhere
    for sentinel, (names, days) in found.items():
        here = days & inspection.asked
        if not here.any():
            continue
        first = pd.DatetimeIndex(inspection.daily.index)[here][0].date()
        more = and_more(int(here.sum()) - 1, "day")
        message = (
            f"{', '.join(names)} {'is' if len(names) == 1 else 'are'} {number(sentinel)} on {first}{more}, "
            "which looks like a mark for a missing value; leave missing values empty"
        )
        inspection.problems.append(Problem.of_text(message, key=names[0], value=sentinel))
