"""
Gaps: what is missing, how much of it may be filled in, and with what.

FAO-56 chapter 3 fills wind and radiation here (humidity: see `humidity`). Temperatures are never invented,
rain only when the user says that no figure means no rain. A column that the file lacks altogether is
estimated for all days; one with holes is filled within `GapLimits`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import Problem
from panbudget.physics.air import (
    KRS_COAST,
    KRS_INLAND,
    Floats,
    atmospheric_pressure,
    radiation_from_sunshine,
    radiation_from_temperature_range,
)
from panbudget.weather.calendar import Arranged, days_where
from panbudget.weather.checks.inspection import Mask
from panbudget.weather.filling.humidity import has_humidity
from panbudget.weather.flags import (
    DEFAULT_WIND,
    LIMITED,
    MEASURED,
    MISSING,
    MONTHLY_WIND,
    PRESSURE_FROM_ELEVATION,
    RADIATION_FROM_RANGE,
    SUNSHINE_EQ_35,
    SUNSHINE_ONLY,
    ZERO_RAIN,
    Flags,
)
from panbudget.weather.site import SiteLike
from panbudget.weather.sky import Sky
from panbudget.weather.text.dates import name_days
from panbudget.weather.text.raw import LeftOut

__all__ = [
    "MISSING_RAIN_CHOICES",
    "GapLimits",
    "as_found",
    "column_or_nan",
    "filled_pressure",
    "filled_radiation",
    "filled_rain",
    "filled_wind",
    "gap_problems",
]

MISSING_RAIN_CHOICES = ("error", "zero")

#: FAO-56 chapter 3: the wind to assume where nothing is known. [m/s at 2 m]
_NO_WIND_KNOWN = 2.0


@dataclass(frozen=True)
class GapLimits:
    """
    How much of a column may be filled in, over the days asked for.

    Parameters
    ----------
    share : float
        Largest share of the days, 0 to 1. [-]
    run : int
        Longest run of days. [d]

    Raises
    ------
    ValueError
        A share outside 0 to 1, or a negative run.
    """

    share: float = 0.10
    run: int = 5

    def __post_init__(self) -> None:
        if not 0.0 <= self.share <= 1.0:
            raise ValueError(f"gap share is {self.share}; 0 to 1 is expected")
        if self.run < 0:
            raise ValueError(f"gap run is {self.run}; 0 or more days are expected")


def column_or_nan(daily: pd.DataFrame, name: str) -> Floats:
    """Return a column's values, all NaN where the table lacks it."""
    if name not in daily.columns:
        return np.full(len(daily), np.nan)
    return daily[name].to_numpy(dtype=float)


def gap_problems(
    arranged: Arranged,
    *,
    condemned: frozenset[str],
    limits: GapLimits,
    missing_rain: str,
    absent: Mapping[str, str] | None = None,
    left_out: Mapping[str, LeftOut] | None = None,
    own: pd.DataFrame | None = None,
    helped: bool = False,
    rain_at_hand: Mask | None = None,
) -> list[Problem]:
    """
    Name what is missing and may not be filled in.

    Parameters
    ----------
    arranged : Arranged
        The table before any value was taken out: a value refused by its plausibility isn't missing too.
    condemned : frozenset of str
        Columns refused as a whole already.
    limits : GapLimits
        How much may be filled.
    missing_rain : str
        "error" or "zero".
    absent : mapping, optional
        Column -> why the file's figures are no record of it.
    left_out : mapping, optional
        Column -> why figures that stand in the file count as missing, and on which days.
    own : DataFrame, optional
        The file's own days, where fallbacks lent some values: what it lacks altogether may be estimated as ever on days
        on which nobody lends it.
    helped : bool
        Whether fallbacks were asked; their values are in ``arranged`` then.
    rain_at_hand : ndarray of bool, (days,), optional
        Where a fallback has the rain that is missing, and may not lend it.

    Returns
    -------
    list of Problem
        One a column; days without a row are not counted again.
    """
    daily, days = arranged.daily, arranged.daily.index
    rows = arranged.asked & arranged.in_file
    known = {name: ~np.isnan(column_or_nan(daily, name)) for name in ("tmin", "tmax", "rain")}
    problems = _temperature_gaps(days, rows, known, left_out=left_out or {}, helped=helped)
    if missing_rain == "error" and (rows & ~known["rain"]).any():
        has_column = "rain" in daily.columns
        why = (absent or {}).get("rain", "")
        gap = rows & ~known["rain"]
        given = _left_out(days_where(days, gap), (left_out or {}).get("rain"))
        lendable = rain_at_hand is not None and bool((gap & rain_at_hand).any())
        problems.append(_rain_gap(days, gap, rows=rows, has_column=has_column, why=why, given=given, lendable=lendable))
    measured = _estimable(daily if own is None else own)
    for name, there in _estimable(daily).items():
        gap = rows & ~there
        if measured[name].any() and gap.any() and name not in condemned:
            problem = _over_limit(name, days, gap, asked=arranged.asked, limits=limits, helped=helped)
            problems += [problem] if problem is not None else []
    return problems


def _estimable(daily: pd.DataFrame) -> dict[str, Mask]:
    """Quantities that FAO-56 can estimate -> the days that have them."""
    return {
        "humidity": has_humidity(daily),
        "wind": ~np.isnan(column_or_nan(daily, "wind")),
        "radiation": ~np.isnan(column_or_nan(daily, "radiation")) | ~np.isnan(column_or_nan(daily, "sunshine")),
    }


def _cure(helped: bool) -> str:
    """Say where figures could come from that are missing."""
    if helped:
        return "no fallback has them either: fill them in"
    return "fill in the figures of a station near by, or name its file under [[weather.fallback]]"


def _temperature_gaps(
    days: pd.Index, rows: Mask, known: dict[str, Mask], *, left_out: Mapping[str, LeftOut], helped: bool
) -> list[Problem]:
    gaps = {name: rows & ~known[name] for name in ("tmin", "tmax") if (rows & ~known[name]).any()}
    if len(gaps) == 2 and (gaps["tmin"] == gaps["tmax"]).all():
        gaps = {"tmin and tmax": gaps["tmin"]}
    problems = []
    for name, gap in gaps.items():
        verb = "are" if " and " in name else "is"
        where = "on every day" if (gap == rows).all() else f"on {name_days(days_where(days, gap))}"
        where += _left_out(days_where(days, gap), left_out.get(name.split(" ")[0]))
        message = f"{name} {verb} empty {where}; temperatures are never invented: {_cure(helped)}"
        problems.append(Problem.of_text(message, key=name.split(" ")[0]))
    return problems


def _left_out(gap: list[dt.date], given: LeftOut | None) -> str:
    """Say on which days of a gap the file does have a figure, and why it counts as missing."""
    if given is None or not (days := [day for day in gap if day in given.days]):
        return ""
    there = "there" if len(days) == len(gap) else f"on {name_days(days)}"
    return f" (left out {there} for {given.why})"


def _rain_gap(
    days: pd.Index, gap: Mask, *, rows: Mask, has_column: bool, why: str, given: str, lendable: bool
) -> Problem:
    where = "on every day" if (gap == rows).all() else f"on {name_days(days_where(days, gap))}"
    found, cure = f"rain is empty {where}{given}", "fill it in"
    if not has_column:
        found = "there is no column rain (rain in mm)"
        cure = 'add it, or if it has another name write rain = { column = "its header" } under [weather.columns]'
    if why:
        found, cure = why, "use a file that has it"
    if lendable:
        cure += ", borrow it by rain = true under the [[weather.fallback]] that has it (rain is local, so it is not by itself)"
    message = (
        f'{found}; rain is never invented: {cure}, or write missing_rain = "zero" under [weather] if no '
        "figure means no rain"
    )
    return Problem.of_text(message, key="rain")


def _over_limit(
    name: str, days: pd.Index, gap: Mask, *, asked: Mask, limits: GapLimits, helped: bool
) -> Problem | None:
    count, total = int(gap.sum()), int(asked.sum())
    missing = days_where(days, gap)
    longest = _longest_run(gap)
    column = {"humidity": "humidity (every column of it)", "radiation": "radiation (and sunshine)"}.get(name, name)
    if longest > limits.run:
        found = f"{column} is missing on up to {longest} days in a row; at most {limits.run} are filled in"
    elif count > limits.share * total:
        found = (
            f"{column} is missing on {count} of {total} days; at most {100 * limits.share:g} % "
            f"({int(limits.share * total)}) are filled in"
        )
    else:
        return None
    message = f"{found}: {name_days(missing)}; {_cure(helped)}, or take the column out of the file to have all of it estimated"
    return Problem.of_text(message, key=name, value=count)


def _longest_run(gap: Mask) -> int:
    longest = run = 0
    for missing in gap:
        run = run + 1 if missing else 0
        longest = max(longest, run)
    return longest


def filled_rain(daily: pd.DataFrame) -> tuple[Floats, Flags]:
    """
    Put no rain where no figure is; call only when the user says so.

    Parameters
    ----------
    daily : DataFrame
        Standard columns.

    Returns
    -------
    (ndarray, ndarray)
        Rain [mm] and flags, (days,).
    """
    values = column_or_nan(daily, "rain")
    missing = np.isnan(values)
    return np.where(missing, 0.0, values), np.where(missing, ZERO_RAIN, MEASURED).astype(object)


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
    missing = np.isnan(wind)
    has_mean = ~np.isnan(mean.to_numpy())
    flags = np.where(missing, np.where(has_mean, MONTHLY_WIND, DEFAULT_WIND), MEASURED).astype(object)
    return np.asarray(series.fillna(mean).fillna(_NO_WIND_KNOWN), dtype=np.float64), flags


def filled_radiation(
    daily: pd.DataFrame, *, sky: Sky, site: SiteLike, limited: Mask, in_file: Mask
) -> tuple[Floats, Flags]:
    """
    Take radiation, else turn sunshine into it, else estimate it from the temperature range.

    Parameters
    ----------
    daily : DataFrame
        Standard columns.
    sky : Sky
        Of its days.
    site : SiteLike
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
    by_sun = radiation_from_sunshine(
        column_or_nan(daily, "sunshine"), daylight=sky.daylight, extraterrestrial=sky.extraterrestrial
    )
    by_range = radiation_from_temperature_range(
        daily["tmin"].to_numpy(dtype=float),
        daily["tmax"].to_numpy(dtype=float),
        extraterrestrial=sky.extraterrestrial,
        clear_sky=sky.clear,
        coefficient=KRS_COAST if site.setting == "coast" else KRS_INLAND,
    )
    has_radiation, has_sun = ~np.isnan(measured), ~np.isnan(by_sun)
    mostly_measured = has_radiation[in_file].mean() > 0.5
    flags = np.select(
        [limited, has_radiation, has_sun],
        [LIMITED, MEASURED, SUNSHINE_ONLY if mostly_measured else SUNSHINE_EQ_35],
        RADIATION_FROM_RANGE,
    ).astype(object)
    return np.where(has_radiation, measured, np.where(has_sun, by_sun, by_range)), flags


def filled_pressure(daily: pd.DataFrame, *, elevation: float) -> tuple[Floats, Flags]:
    """
    Fill gaps in the air pressure with that of the site's elevation; no limit, since it varies by a few per
    cent.

    Parameters
    ----------
    daily : DataFrame
        Standard columns, pressure among them.
    elevation : float
        Height above sea. [m]

    Returns
    -------
    (ndarray, ndarray)
        Pressure [kPa] by FAO-56 eq 7 where it is missing, and flags, (days,).
    """
    values = column_or_nan(daily, "pressure")
    missing = np.isnan(values)
    flags = np.where(missing, PRESSURE_FROM_ELEVATION, MEASURED).astype(object)
    return np.where(missing, float(atmospheric_pressure(elevation)), values), flags


def as_found(daily: pd.DataFrame, name: str) -> tuple[Floats, Flags]:
    """Return a column as it is, its gaps flagged and left."""
    values = column_or_nan(daily, name)
    flags: npt.NDArray[np.object_] = np.where(np.isnan(values), MISSING, MEASURED).astype(object)
    return values, flags
