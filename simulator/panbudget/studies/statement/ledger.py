"""
Ledger: a source's litres by month and water year, in engine units and as printed; and the same against its licence.

Modelled months are those of `season.json`. A month whose every day lies between meter readings is metered, and the
metered figure is the one reported. Of a month that readings hold in part, what the meter counted is reported with what
the model has for the rest. All figures are kept. What a licence is held against is what is reported.
"""

from __future__ import annotations

import calendar
import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.season.result import Season
from panbudget.studies.statement.meter import Between, metered_days
from panbudget.studies.statement.rounding import rounded, rounded_parts
from panbudget.studies.statement.sources import Source, drawn_by_day
from panbudget.studies.statement.units_of_form import VOLUME_UNITS, FormUnit

__all__ = ["Ledger", "Month", "WaterYear", "beyond", "keep_ledger", "largest_rate"]

_WHOLE = 1.0 - 1e-9  # of a day, that lies between readings
_ROOM = 1e-9  # share by which two figures of one size may part in the last bits of their units' conversion


@dataclass(frozen=True)
class Month:
    """
    One calendar month, or the season's part of it.

    Parameters
    ----------
    key : str
        Such as "2025-05".
    first, last : date
        The season's days in it.
    days_of_use : int
        On which the source gave water, by the model; a valve that stands open on an empty tank draws none.
    modelled, metered, reported : float
        ``metered`` is None where no reading touches the month. [L]
    metered_days : float
        How many of its days lie between readings, parts of days counted.
    basis : str
        What is reported: "metered" where readings hold all of its days, "metered in part" where they hold some and the
        model stands in for the others, else "modelled".
    modelled_printed, metered_printed, reported_printed : int
        In last digits of the form's unit.
    headroom_printed : int or None
        Licensed volume less all that is reported of the water year up to and with this month.
    """

    key: str
    first: dt.date
    last: dt.date
    days_of_use: int
    modelled: float
    metered: float | None
    reported: float
    metered_days: float
    basis: str
    modelled_printed: int
    metered_printed: int | None
    reported_printed: int
    headroom_printed: int | None

    @property
    def days(self) -> int:
        """The season's days in it."""
        return (self.last - self.first).days + 1


@dataclass(frozen=True)
class WaterYear:
    """
    The months of one water year, with their totals.

    Parameters
    ----------
    label : str
        Such as "July 2024 to June 2025".
    months : tuple of Month
    modelled, reported : float
        [L]
    modelled_printed, reported_printed : int
        Sums of the months as printed.
    share_used : float or None
        Reported over licensed volume. [-]
    exceeded_on : date or None
        First day on which what is reported, added up, passes the licensed volume.
    """

    label: str
    months: tuple[Month, ...]
    modelled: float
    reported: float
    modelled_printed: int
    reported_printed: int
    share_used: float | None
    exceeded_on: dt.date | None


@dataclass(frozen=True)
class Ledger:
    """
    One source's account.

    Parameters
    ----------
    source : Source
    unit : FormUnit
        Of volumes as printed.
    decimals : int
        Of them.
    years : tuple of WaterYear
    modelled_days, reported_days : ndarray (days,)
        [L/day]
    covered : ndarray (days,)
        Share of each day that lies between meter readings. [-]
    modelled, reported : float
        The season's; the first is that of `season.json`. [L]
    licence_printed : int or None
        Licensed volume, in last digits.
    days_of_use : int
    peak_day : date
        Of the largest modelled draught.
    peak_litres : float
        On it. [L]
    outside_days : int
        Days of use outside the licensed season.
    outside_litres : float
        Reported on them. [L]
    outside_first : date or None
    split_stretches : int
        Stretches between readings that run over a month's end.
    """

    source: Source
    unit: FormUnit
    decimals: int
    years: tuple[WaterYear, ...]
    modelled_days: Floats
    reported_days: Floats
    covered: Floats
    modelled: float
    reported: float
    licence_printed: int | None
    days_of_use: int
    peak_day: dt.date
    peak_litres: float
    outside_days: int
    outside_litres: float
    outside_first: dt.date | None
    split_stretches: int

    @property
    def months(self) -> tuple[Month, ...]:
        """All months, in order."""
        return tuple(month for year in self.years for month in year.months)

    @property
    def modelled_printed(self) -> int:
        """The season's modelled total, in last digits: the sum of what is printed."""
        return sum(year.modelled_printed for year in self.years)

    @property
    def reported_printed(self) -> int:
        """The season's reported total, in last digits: the sum of what is printed."""
        return sum(year.reported_printed for year in self.years)


def keep_ledger(season: Season, source: Source, between: Sequence[Between] = ()) -> Ledger:
    """
    Account for a source.

    Parameters
    ----------
    season : Season
    source : Source
    between : sequence of Between, optional
        What the supply's meter counted. A source that is a part of its supply gets its modelled part of each month.

    Returns
    -------
    Ledger
    """
    dates = pd.DatetimeIndex(season.days.index)
    drawn = drawn_by_day(season, source)
    of_month = dates.strftime("%Y-%m").to_numpy()
    keys = list(dict.fromkeys(of_month))
    whole = season.totals["supplies"][source.supply]
    if source.is_whole_supply:  # to the last bit what season.json says
        modelled = {key: float(whole["by_month"][key]) for key in keys}
        total = float(whole["litres"])
    else:
        modelled = {key: float(drawn[of_month == key].sum()) for key in keys}
        total = float(drawn.sum())

    metered, covered, split = _metered(season, source, between, drawn, of_month)
    reported_days = drawn.copy()
    for key in metered:
        days = of_month == key
        reported_days[days] = _spread(metered[key], drawn[days], covered[days]) + (1.0 - covered[days]) * drawn[days]
    unit = VOLUME_UNITS[source.right.volume_unit]
    decimals = unit.decimals if source.right.decimals is None else source.right.decimals
    years = _years(season, source, keys, modelled, metered, covered, total, drawn, reported_days, unit, decimals)
    licensed = source.papers.season
    use = drawn > 0.0
    outside = np.zeros(len(dates), bool)
    if licensed is not None:
        outside = np.array([not licensed.holds(day.month, day.day) for day in dates]) & (reported_days > 0.0)
    peak = int(np.argmax(drawn))
    return Ledger(
        source=source,
        unit=unit,
        decimals=decimals,
        years=years,
        modelled_days=drawn,
        reported_days=reported_days,
        covered=covered,
        modelled=total,
        reported=math.fsum(month.reported for year in years for month in year.months),
        licence_printed=_licence(source, unit, decimals),
        days_of_use=int(use.sum()),
        peak_day=dates[peak].date(),
        peak_litres=float(drawn[peak]),
        outside_days=int(outside.sum()),
        outside_litres=float(reported_days[outside].sum()),
        outside_first=dates[outside][0].date() if outside.any() else None,
        split_stretches=split,
    )


def _licence(source: Source, unit: FormUnit, decimals: int) -> int | None:
    return None if source.papers.volume is None else rounded(unit.exact(source.papers.volume), decimals)


def _spread(litres: float, drawn: Floats, covered: Floats) -> Floats:
    """What the meter counted in a month, over its metered days as the model would: evenly where it draws nothing."""
    weights = covered * drawn if (covered * drawn).any() else covered
    shares: Floats = weights / weights.sum()
    return litres * shares


def _metered(
    season: Season, source: Source, between: Sequence[Between], drawn: Floats, of_month: np.ndarray
) -> tuple[dict[str, float], Floats, int]:
    """Metered litres of each month that readings touch, the share of each day between readings, stretches split."""
    if not between:
        return {}, np.zeros(len(drawn)), 0
    supply = np.sum(
        [
            season.controllers[name]["litres"].to_numpy(float)
            for name, controller in season.scenario.controller.items()
            if controller.supply == source.supply
        ],
        axis=0,
    )
    counted, covered, split = metered_days(between, season.days.index[0].date(), supply)
    # whole but for the last bits of hours turned into days is whole
    covered = np.where(covered >= _WHOLE, 1.0, covered)
    litres: dict[str, float] = {}
    for key in dict.fromkeys(of_month):
        days = of_month == key
        if not covered[days].any():
            continue
        of_supply, own = covered[days] * supply[days], covered[days] * drawn[days]
        supply_total, own_total = float(of_supply.sum()), float(own.sum())
        # what a part of a supply drew on days on which the model draws nothing can't be told: by its whole share
        part = own_total / supply_total if supply_total > 0.0 else _season_share(drawn, supply)
        litres[key] = float(counted[days].sum()) * (1.0 if source.is_whole_supply else part)
    return litres, covered, split


def _season_share(drawn: Floats, supply: Floats) -> float:
    total = float(supply.sum())
    return float(drawn.sum()) / total if total > 0.0 else 0.0


def _years(
    season: Season,
    source: Source,
    keys: list[str],
    modelled: dict[str, float],
    metered: dict[str, float],
    covered: Floats,
    total: float,
    drawn: Floats,
    reported_days: Floats,
    unit: FormUnit,
    decimals: int,
) -> tuple[WaterYear, ...]:
    dates = pd.DatetimeIndex(season.days.index)
    start = source.right.water_year_start
    labels = {key: _year_label(key, start) for key in keys}
    groups = {label: [key for key in keys if labels[key] == label] for label in dict.fromkeys(labels.values())}
    exact = {key: unit.exact(modelled[key]) for key in keys}
    # the season's total is rounded first, then its water years, then their months: every column adds up
    year_digits = rounded_parts(
        [sum((exact[key] for key in part), Fraction(0)) for part in groups.values()],
        decimals,
        rounded(unit.exact(total), decimals),
    )
    licence = _licence(source, unit, decimals)
    years = []
    for (label, part), digits in zip(groups.items(), year_digits, strict=True):
        modelled_digits = rounded_parts([exact[key] for key in part], decimals, digits)
        read = [key for key in part if key in metered]
        metered_digits = dict(zip(read, rounded_parts([unit.exact(metered[k]) for k in read], decimals), strict=True))
        months: list[Month] = []
        used = 0
        for key, own in zip(part, modelled_digits, strict=True):
            days = dates[dates.strftime("%Y-%m") == key]
            here = dates.get_indexer(days)
            counted = metered_digits.get(key)
            reported, in_litres, basis = own, modelled[key], "modelled"
            if counted is not None and covered[here].min() >= 1.0:
                reported, in_litres, basis = counted, metered[key], "metered"
            elif counted is not None:
                in_litres = math.fsum(reported_days[here])
                reported, basis = rounded(unit.exact(in_litres), decimals), "metered in part"
            used += reported
            months.append(
                Month(
                    key=key,
                    first=days[0].date(),
                    last=days[-1].date(),
                    days_of_use=int((drawn[here] > 0.0).sum()),
                    modelled=modelled[key],
                    metered=metered.get(key),
                    reported=in_litres,
                    metered_days=float(covered[here].sum()),
                    basis=basis,
                    modelled_printed=own,
                    metered_printed=counted,
                    reported_printed=reported,
                    headroom_printed=None if licence is None else licence - used,
                )
            )
        in_year = np.isin(dates.strftime("%Y-%m").to_numpy(), part)
        reported_litres = math.fsum(month.reported for month in months)
        volume = source.papers.volume
        years.append(
            WaterYear(
                label=label,
                months=tuple(months),
                modelled=math.fsum(month.modelled for month in months),
                reported=reported_litres,
                modelled_printed=sum(month.modelled_printed for month in months),
                reported_printed=sum(month.reported_printed for month in months),
                share_used=None if volume is None else reported_litres / volume,
                exceeded_on=_exceeded(dates[in_year], reported_days[in_year], volume),
            )
        )
    return tuple(years)


def _year_label(key: str, start: int) -> str:
    year, month = int(key[:4]), int(key[5:])
    if start == 1:
        return f"{year}"
    begins = year if month >= start else year - 1
    return f"{calendar.month_name[start]} {begins} to {calendar.month_name[start - 1]} {begins + 1}"


def _exceeded(dates: pd.DatetimeIndex, litres: Floats, volume: float | None) -> dt.date | None:
    if volume is None:
        return None
    over = np.flatnonzero(beyond(np.cumsum(litres), volume))
    return dates[int(over[0])].date() if len(over) else None


def beyond(value: Any, limit: float) -> Any:
    """Whether a figure passes a limit; one that equals it, but for the last bits of a unit's conversion, does not."""
    return value > limit * (1.0 + _ROOM)


def largest_rate(season: Season, source: Source) -> tuple[float, str]:
    """
    Find the largest flow of a source, all its valves that are open together, and when it first ran.

    Parameters
    ----------
    season : Season
    source : Source

    Returns
    -------
    (float, str)
        [L/h], and the moment's date, empty if nothing ran. For a whole supply the rate is that of `season.json`.
    """
    flow = {
        name: share * (season.forcing.pan_of[name].refill_flow + sum(season.forcing.pan_of[name].bed_flows.values()))
        for name, share in source.shares.items()
    }
    moments: list[tuple[float, int, str, str]] = []
    for row in season.openings.itertuples(index=False):
        if flow.get(str(row.controller), 0.0) <= 0.0:
            continue
        moments.append((float(row.start_h), 1, str(row.controller), str(row.start)))  # type: ignore[arg-type]
        if not math.isnan(float(row.end_h)):  # type: ignore[arg-type]
            moments.append((float(row.end_h), -1, str(row.controller), ""))  # type: ignore[arg-type]
    most, when = 0.0, ""
    running: set[str] = set()
    for _, change, controller, start in sorted(moments):  # at one moment, shutting (−1) counts before opening
        if change < 0:
            running.discard(controller)
            continue
        running.add(controller)
        together = sum(flow[name] for name in flow if name in running)
        if together > most * (1.0 + 1e-12):
            most, when = together, start[:10]
    return most, when
