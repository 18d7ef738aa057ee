"""
Gaps: what is missing, how much of it may be filled in, and with what.

FAO-56 chapter 3 fills wind and radiation here (humidity: see `humidity`). Temperatures are never invented,
rain only when the user says that no figure means no rain. A column that the file lacks altogether is
estimated for all days; one with holes is filled within `GapLimits`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from panbudget.errors import Problem
from panbudget.numeric import Floats
from panbudget.physics import air
from panbudget.weather import flags as origins
from panbudget.weather.calendar import Arranged, days_where
from panbudget.weather.checks.inspection import Mask
from panbudget.weather.filling.humidity import has_humidity
from panbudget.weather.flags import Flags
from panbudget.weather.site import Site
from panbudget.weather.sky import Sky
from panbudget.weather.text.raw import LeftOut
from panbudget.words import name_days

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


def known_days(daily: pd.DataFrame) -> dict[str, Mask]:
    """Return the days that have each quantity, measured or from what is measured: "radiation" also by sunshine."""
    known = {name: ~np.isnan(column_or_nan(daily, name)) for name in ("tmin", "tmax", "wind", "rain", "radiation")}
    known["radiation"] |= ~np.isnan(column_or_nan(daily, "sunshine"))
    return {**known, "humidity": has_humidity(daily)}


@dataclass(eq=False)
class Gaps:
    """
    What is missing of a file, on the days asked for that have a row.

    Parameters
    ----------
    arranged : Arranged
        The table before any value was taken out: a value refused by its plausibility isn't missing too. What fallbacks
        lent is in it.
    limits : GapLimits
        How much may be filled.
    own : DataFrame
        The file's own days: what it lacks altogether may be estimated on days on which no fallback lends it.
    condemned : set of str
        Columns refused as a whole already.
    absent : mapping
        Column -> why the file's figures are no record of it.
    left_out : mapping
        Column -> why figures that stand in the file count as missing, and on which days.
    helped : bool
        Whether fallbacks were asked.
    rain_at_hand : ndarray of bool, (days,)
        Where a fallback has the rain that is missing, and may not lend it.
    """

    arranged: Arranged
    limits: GapLimits
    own: pd.DataFrame
    condemned: set[str]
    absent: Mapping[str, str]
    left_out: Mapping[str, LeftOut]
    helped: bool
    rain_at_hand: Mask
    rows: Mask = field(init=False)
    missing: dict[str, Mask] = field(init=False)

    def __post_init__(self) -> None:
        self.rows = self.arranged.asked & self.arranged.in_file
        self.missing = {name: self.rows & ~known for name, known in known_days(self.arranged.daily).items()}

    def problems(self, *, missing_rain: str) -> list[Problem]:
        """
        Name what is missing and may not be filled in.

        Parameters
        ----------
        missing_rain : str
            "error" or "zero".

        Returns
        -------
        list of Problem
            One a column; days without a row are not counted again.
        """
        problems = self._temperatures()
        if missing_rain == "error" and self.missing["rain"].any():
            problems.append(self._rain())
        measured = known_days(self.own)
        for name in ("humidity", "wind", "radiation"):
            if measured[name].any() and name not in self.condemned:
                problems += self._over_limit(name)
        return problems

    def _cure(self) -> str:
        """Say where figures could come from that are missing."""
        if self.helped:
            return "no fallback has them either: fill them in"
        return "fill in the figures of a station near by, or name its file under [[weather.fallback]]"

    def _empty(self, name: str, gap: Mask) -> str:
        """Say on which days a column is empty, and on which of them the file does have a figure, and why it is left out."""
        days = days_where(self.arranged.daily.index, gap)
        text = "empty on every day" if (gap == self.rows).all() else f"empty on {name_days(days)}"
        if (given := self.left_out.get(name)) and (out := [day for day in days if day in given.days]):
            on = "there" if len(out) == len(days) else f"on {name_days(out)}"
            text += f" (left out {on} for {given.why})"
        return text

    def _temperatures(self) -> list[Problem]:
        gaps = {name: gap for name in ("tmin", "tmax") if (gap := self.missing[name]).any()}
        cure = f"temperatures are never invented: {self._cure()}"
        if len(gaps) == 2 and (gaps["tmin"] == gaps["tmax"]).all():
            return [Problem("no-temperature", "tmin", f"and tmax are {self._empty('tmin', gaps['tmin'])}", cure=cure)]
        return [
            Problem("no-temperature", name, f"is {self._empty(name, gap)}", cure=cure) for name, gap in gaps.items()
        ]

    def _rain(self) -> Problem:
        gap = self.missing["rain"]
        found, cure = f"is {self._empty('rain', gap)}", "fill it in"
        if "rain" not in self.arranged.daily.columns:
            found = "is missing: there is no column rain (rain in mm)"
            cure = 'add it, or if it has another name write rain = { column = "its header" } under [weather.columns]'
        if why := self.absent.get("rain"):
            found, cure = f"is missing: {why}", "use a file that has it"
        if (gap & self.rain_at_hand).any():
            cure += (
                ", borrow it by rain = true under the [[weather.fallback]] that has it (rain is local, so it is not by "
                "itself)"
            )
        cure += ', or write missing_rain = "zero" under [weather] if no figure means no rain'
        return Problem("no-rain", "rain", found, cure=f"rain is never invented: {cure}")

    def _over_limit(self, name: str) -> list[Problem]:
        gap, limits = self.missing[name], self.limits
        count, total = int(gap.sum()), int(self.arranged.asked.sum())
        longest = int(pd.Series(gap).groupby((~gap).cumsum()).sum().max())
        also = {"humidity": " (every column of it)", "radiation": " (and sunshine)"}.get(name, "")
        if longest > limits.run:
            found = f"up to {longest} days in a row"
            expected = f"at most {limits.run} in a row to fill in"
        elif count > limits.share * total:
            found = f"{count} of {total} days"
            expected = f"at most {100 * limits.share:g} % ({int(limits.share * total)}) to fill in"
        else:
            return []
        days = name_days(days_where(self.arranged.daily.index, gap))
        cure = f"{self._cure()}, or take the column out of the file to have all of it estimated"
        return [Problem("gap-too-long", name, f"is missing{also} on {found}: {days}", expected, cure, count)]


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
