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
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.season.result import Season
from panbudget.studies.ranges import interval_of
from panbudget.studies.statement.meter import Between, metered_days
from panbudget.studies.statement.rounding import rounded_parts
from panbudget.studies.statement.sources import Source, litres_by_day
from panbudget.studies.statement.units_of_form import VOLUME_UNITS, FormUnit

_WHOLE = 1.0 - 1e-9  # of a day, that lies between readings
MONTH_COLUMNS = (
    *("water_year", "month", "from", "to", "days_of_use", "modelled", "metered", "reported", "basis", "metered_days"),
    *("headroom", "modelled_litres", "metered_litres", "reported_litres", "range_low_litres", "range_high_litres"),
)
_ROOM = 1e-9  # share by which two figures of one size may part in the last bits of their units' conversion


@dataclass(frozen=True, eq=False)
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
    licensed : Decimal or None
        Volume of a water year, as printed.
    days : DataFrame
        Index "date"; ``modelled`` and ``reported`` [L/day], ``covered``, the share of each day that lies between meter
        readings. [-]
    months : DataFrame
        One row a calendar month, or the season's part of it, with the names of `statement.csv`: ``month`` ("2025-05"),
        ``from``, ``to`` (dates), ``days_of_use`` (on which the source gave water, by the model; a valve that stands open
        on an empty tank draws none), ``basis`` (what is reported: "metered" where readings hold all of its days,
        "metered in part" where they hold some and the model stands in for the others, else "modelled"),
        ``metered_days`` (how many of its days lie between readings, parts of days counted); ``modelled``, ``metered``,
        ``reported`` as printed in ``unit``, and ``headroom``, the licensed volume less all that is reported of the water
        year up to and with this month; the same ``_litres``, and the range of what is modelled. None where there is none.
    years : DataFrame
        One row a water year, index its label, such as "July 2024 to June 2025": ``modelled``, ``reported`` (sums of the
        months as printed), ``modelled_litres``, ``reported_litres``, ``headroom``, ``share_used`` (reported over licensed
        volume) and ``exceeded_on`` (first day on which what is reported, added up, passes that volume; else None).
    litres : float
        The season's modelled total, that of `season.json`. [L]
    split_stretches : int
        Stretches between readings that run over a month's end.
    """

    source: Source
    unit: FormUnit
    decimals: int
    licensed: Decimal | None
    days: pd.DataFrame
    months: pd.DataFrame
    years: pd.DataFrame
    litres: float
    split_stretches: int

    @property
    def modelled(self) -> Decimal:
        """The season's modelled total: the sum of what is printed."""
        return sum(self.years["modelled"], Decimal(0))

    @property
    def reported(self) -> Decimal:
        """The season's reported total: the sum of what is printed."""
        return sum(self.years["reported"], Decimal(0))

    @property
    def reported_litres(self) -> float:
        """The season's reported total. [L]"""
        return math.fsum(self.months["reported_litres"])

    @property
    def days_of_use(self) -> int:
        """On which the source gave water, by the model."""
        return int(self.months["days_of_use"].sum())

    @property
    def peak(self) -> tuple[dt.date, float]:
        """Day of the largest modelled draught, and that. [L]"""
        drawn = self.days["modelled"].to_numpy()
        return pd.DatetimeIndex(self.days.index)[int(drawn.argmax())].date(), float(drawn.max())

    @property
    def outside(self) -> pd.Series[float]:
        """What is reported on days outside the licensed season, for those on which there is something. [L/day]"""
        season, reported = self.source.papers.season, self.days["reported"]
        dates = pd.DatetimeIndex(reported.index)
        within = [season is None or season.holds(day.month, day.day) for day in dates]
        return reported[(reported > 0.0) & ~np.array(within)]

    def text(self, litres: float) -> str:
        """Write litres in the form's unit: "45.51 m³"."""
        return self.unit.text(litres, self.decimals)


def beyond(value: Any, limit: float) -> Any:
    """Whether a figure passes a limit; one that equals it, but for the last bits of a unit's conversion, does not."""
    return value > limit * (1.0 + _ROOM)


def keep_ledger(season: Season, source: Source, between: Sequence[Between], samples: Floats) -> Ledger:
    """
    Account for a source.

    Parameters
    ----------
    season : Season
    source : Source
    between : sequence of Between
        What the supply's meter counted. A source that is a part of its supply gets its modelled part of each month.
    samples : ndarray (samples, days)
        What the source drew in runs over the stated ranges. [L/day]

    Returns
    -------
    Ledger
    """
    unit = VOLUME_UNITS[source.right.volume_unit]
    decimals = unit.decimals if source.right.decimals is None else source.right.decimals
    days, counted, split = _days(season, source, between)
    months = list(_months(season, source, days, counted, samples))
    total = season.totals["supplies"][source.supply]["litres"]
    litres = float(total if source.is_whole_supply else days["modelled"].to_numpy().sum())
    parts: dict[str, list[dict[str, Any]]] = {}
    for month in months:
        parts.setdefault(month["water_year"], []).append(month)
    # the season's total is rounded first, then its water years, then their months: every column adds up
    exact = [sum((unit.exact(month["modelled_litres"]) for month in part), Fraction(0)) for part in parts.values()]
    printed = rounded_parts(exact, decimals, unit.rounded(litres, decimals))
    volume = source.papers.volume
    licensed = None if volume is None else unit.rounded(volume, decimals)
    for part, year in zip(parts.values(), printed, strict=True):
        _print_months(part, year, unit, decimals, licensed)
    years = {label: _year(part, days, volume) for label, part in parts.items()}
    table = pd.DataFrame(months, columns=list(MONTH_COLUMNS)).astype({"metered_litres": float})
    return Ledger(
        source, unit, decimals, licensed, days, table, pd.DataFrame.from_dict(years, orient="index"), litres, split
    )


def _days(season: Season, source: Source, between: Sequence[Between]) -> tuple[pd.DataFrame, dict[str, float], int]:
    """The ledger's days, the metered litres of each month that readings touch, and how many stretches were split."""
    by_valve = litres_by_day(season)
    drawn = source.drawn(by_valve)
    of_supply = [name for name, valve in season.scenario.controller.items() if valve.supply == source.supply]
    supply = sum((by_valve[name] for name in of_supply), np.zeros_like(drawn))
    counted, covered, split = metered_days(between, season.days.index[0].date(), supply)
    # whole but for the last bits of hours turned into days is whole
    covered = np.where(covered >= _WHOLE, 1.0, covered)
    reported = drawn.copy()
    litres: dict[str, float] = {}
    for key, here in _by_month(season.days.index).items():
        if not covered[here].any():
            continue
        metered, own = covered[here] * supply[here], covered[here] * drawn[here]
        # what a part of a supply drew on days on which the model draws nothing can't be told: by its whole share
        share = _share(own, metered) if metered.sum() > 0.0 else _share(drawn, supply)
        litres[key] = float(counted[here].sum()) * (1.0 if source.is_whole_supply else share)
        # over its metered days as the model would: evenly where it draws nothing
        weights = own if own.any() else covered[here]
        shares: Floats = weights / weights.sum()
        reported[here] = litres[key] * shares + (1.0 - covered[here]) * drawn[here]
    days = pd.DataFrame({"modelled": drawn, "reported": reported, "covered": covered}, index=season.days.index)
    return days, litres, split


def _share(part: Floats, whole: Floats) -> float:
    total = float(whole.sum())
    return float(part.sum()) / total if total > 0.0 else 0.0


def _by_month(dates: pd.Index[Any]) -> dict[str, Any]:
    """Month such as "2025-05" -> which days are its own."""
    keys = pd.DatetimeIndex(dates).strftime("%Y-%m").to_numpy()
    return {key: keys == key for key in dict.fromkeys(keys)}


def _months(
    season: Season, source: Source, days: pd.DataFrame, counted: dict[str, float], samples: Floats
) -> Iterator[dict[str, Any]]:
    """The months' rows, but for what is printed."""
    whole = season.totals["supplies"][source.supply]["by_month"]
    drawn, reported, covered = (days[name].to_numpy() for name in ("modelled", "reported", "covered"))
    for key, here in _by_month(days.index).items():
        dates = days.index[here]
        modelled = float(whole[key] if source.is_whole_supply else drawn[here].sum())
        basis, litres = "modelled", modelled
        if key in counted:
            is_whole = covered[here].min() >= 1.0
            basis, litres = ("metered", counted[key]) if is_whole else ("metered in part", math.fsum(reported[here]))
        low, high = interval_of(samples[:, here].sum(axis=1), season.scenario.statement.interval)
        yield {
            "water_year": _year_label(key, source.right.water_year_start),
            "month": key,
            "from": dates[0].date(),
            "to": dates[-1].date(),
            "days_of_use": int((drawn[here] > 0.0).sum()),
            "basis": basis,
            "metered_days": float(covered[here].sum()),
            "modelled_litres": modelled,
            "metered_litres": counted.get(key),
            "reported_litres": litres,
            "range_low_litres": low,
            "range_high_litres": high,
        }


def _print_months(
    months: list[dict[str, Any]], total: Decimal, unit: FormUnit, decimals: int, licensed: Decimal | None
) -> None:
    """Add what is printed to the months of one water year, so that what is modelled adds up to its total."""
    read = [month for month in months if month["metered_litres"] is not None]
    for name, rows, wanted in (("modelled", months, total), ("metered", read, None)):
        parts = rounded_parts([unit.exact(row[f"{name}_litres"]) for row in rows], decimals, wanted)
        for row, part in zip(rows, parts, strict=True):
            row[name] = part
    left = licensed
    for month in months:
        month.setdefault("metered", None)
        in_part = month["basis"] == "metered in part"
        month["reported"] = unit.rounded(month["reported_litres"], decimals) if in_part else month[month["basis"]]
        left = month["headroom"] = None if left is None else left - month["reported"]


def _year(months: list[dict[str, Any]], days: pd.DataFrame, volume: float | None) -> dict[str, Any]:
    """One water year's row."""
    reported = math.fsum(month["reported_litres"] for month in months)
    over = days["reported"].loc[str(months[0]["from"]) : str(months[-1]["to"])].cumsum()
    over = over[beyond(over, math.inf if volume is None else volume)]
    return {
        "modelled": sum(month["modelled"] for month in months),
        "reported": sum(month["reported"] for month in months),
        "headroom": months[-1]["headroom"],
        "modelled_litres": math.fsum(month["modelled_litres"] for month in months),
        "reported_litres": reported,
        "share_used": None if volume is None else reported / volume,
        "exceeded_on": over.index[0].date() if len(over) else None,
    }


def _year_label(key: str, start: int) -> str:
    year, month = int(key[:4]), int(key[5:])
    if start == 1:
        return f"{year}"
    begins = year if month >= start else year - 1
    return f"{calendar.month_name[start]} {begins} to {calendar.month_name[start - 1]} {begins + 1}"


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
    parts = season.forcing.pan_of
    flow = {
        name: share * (parts[name].refill_flow + sum(parts[name].bed_flows.values()))
        for name, share in source.shares.items()
    }
    openings = season.openings[season.openings["controller"].map(flow).fillna(0.0) > 0.0]
    ended = openings[openings["end_h"].notna()]
    moments = [
        *zip(openings["start_h"], [1] * len(openings), openings["controller"], openings["start"], strict=True),
        *zip(ended["end_h"], [-1] * len(ended), ended["controller"], ended["start"], strict=True),
    ]
    most, when = 0.0, ""
    running: set[str] = set()
    for _, change, controller, start in sorted(moments):  # at one moment, shutting (−1) counts before opening
        if change < 0:
            running.discard(controller)
            continue
        running.add(controller)
        together = sum(flow[name] for name in flow if name in running)
        if together > most * (1.0 + 1e-12):
            most, when = together, str(start)[:10]
    return most, when
