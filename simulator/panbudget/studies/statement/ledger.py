"""
Ledger: a source's litres by month and water year, in engine units and as printed; and the same against its licence.

Modelled months are those of `season.json`. A month whose every day lies between meter readings is metered, and the
metered figure is the one reported. Of a month that readings hold in part, what the meter counted is reported with what
the model has for the rest. All figures are kept. What a licence is held against is what is reported.

A source is a supply under its right, or the part of it that a further right covers. A valve whose beds have different
rights is split by a fixed share: its beds' emitter flow as described, or their area, whichever the scenario's
`statement.split` says. The refill emitter's water is split with it. [share: -]
"""

from __future__ import annotations

import calendar
import datetime as dt
import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.scenario.rights import FurtherRight, Right
from panbudget.season.result import Season
from panbudget.studies.ranges import interval_of
from panbudget.studies.statement.meter import Between, metered_days, months_of
from panbudget.studies.statement.units_of_form import VOLUME_UNITS, FormUnit, rounded_parts

#: what is reported of a month where the meter fixes only the sum of several
SPLIT = "metered total, split by the model"
_WHOLE = 1.0 - 1e-9  # of a day, that lies between readings
_ROOM = 1e-9  # share by which two figures of one size may part in the last bits of their units' conversion


@dataclass(frozen=True)
class Source:
    """
    One source of a statement.

    Parameters
    ----------
    name : str
        The supply, or "SUPPLY / FURTHER RIGHT".
    supply : str
    right : Right
        Units and water year; of the supply.
    papers : Right or FurtherRight
        Holder, reference, limits.
    described : bool
        Whether the scenario describes a right at all.
    beds : tuple of str
        "CONTROLLER/BED".
    shares : dict
        Controller -> share of what passes its valve. [-]
    """

    name: str
    supply: str
    right: Right
    papers: Right | FurtherRight
    described: bool
    beds: tuple[str, ...]
    shares: dict[str, float]

    @property
    def is_whole_supply(self) -> bool:
        """Whether all of the supply's water is this source's."""
        return all(share == 1.0 for share in self.shares.values())

    def drawn(self, litres: Mapping[str, Floats]) -> Floats:
        """
        Return this source's part of what passes the valves.

        Parameters
        ----------
        litres : mapping of ndarray, all of one shape
            By controller. [L]

        Returns
        -------
        ndarray, that shape
            All controllers on it together. [L]
        """
        drawn = np.zeros_like(next(iter(litres.values())))
        for controller, share in self.shares.items():
            drawn = drawn + share * litres[controller]
        return drawn


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
        on an empty tank draws none), ``basis`` (what is reported: "metered" where readings hold all of its days and no
        other month's, "metered total, split by the model" where the meter fixes only the sum of several months, "metered
        in part" where readings hold some of its days and the model stands in for the others, else "modelled"),
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


def litres_by_day(season: Season) -> dict[str, Floats]:
    """Return what passes each valve day by day, by the model. [L/day]"""
    return {name: table["litres"].to_numpy(float) for name, table in season.controllers.items()}


def sources_of(season: Season) -> Iterator[Source]:
    """
    List the sources of a season, in the scenario's order.

    Parameters
    ----------
    season : Season

    Yields
    ------
    Source
        Their shares of each controller add up to 1.
    """
    controllers = season.scenario.controller
    for name, supply in season.scenario.supply.items():
        served = [f"{key}/{bed}" for key, part in controllers.items() if part.supply == name for bed in part.bed]
        right = supply.right or Right.model_validate({})
        further = [bed for papers in right.further.values() for bed in papers.beds]
        parts: list[tuple[str, Right | FurtherRight, list[str]]] = [
            (name, right, [bed for bed in served if bed not in further]),
            *((f"{name} / {key}", papers, papers.beds) for key, papers in right.further.items()),
        ]
        for label, papers, covered in parts:
            if covered or not right.further:
                beds = tuple(bed for bed in served if bed in covered)
                yield Source(label, name, right, papers, supply.right is not None, beds, _shares(season, name, beds))


def _shares(season: Season, supply: str, beds: tuple[str, ...]) -> dict[str, float]:
    shares = {}
    for name, controller in season.scenario.controller.items():
        if controller.supply == supply:
            weight = season.forcing.pan_of[name].bed_flows
            if season.scenario.statement.split == "area":
                weight = {bed: described.area for bed, described in controller.bed.items()}
            covered = [bed for bed in controller.bed if f"{name}/{bed}" in beds]
            whole = len(covered) == len(controller.bed)
            shares[name] = 1.0 if whole else sum(weight[bed] for bed in covered) / sum(weight.values())
    return shares


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
    lying = map(months_of, between)
    summed = {month for months in lying if len(months) > 1 for month in months}
    months = list(_months(season, source, days, counted, summed, samples))
    total = season.totals["supplies"][source.supply]["litres"]
    litres = float(total if source.is_whole_supply else days["modelled"].to_numpy().sum())
    parts = {label: list(rows) for label, rows in itertools.groupby(months, lambda month: str(month["water_year"]))}
    # the season's total is rounded first, then its water years, then their months: every column adds up
    exact = [sum((unit.exact(month["modelled_litres"]) for month in part), Fraction(0)) for part in parts.values()]
    printed = rounded_parts(exact, decimals, unit.rounded(litres, decimals))
    volume = source.papers.volume
    licensed = None if volume is None else unit.rounded(volume, decimals)
    for part, year in zip(parts.values(), printed, strict=True):
        _print_months(part, year, unit, decimals, licensed)
    years = pd.DataFrame.from_dict({label: _year(part, days, volume) for label, part in parts.items()}, orient="index")
    table = pd.DataFrame(months).astype({"metered_litres": float})
    return Ledger(source, unit, decimals, licensed, days, table, years, litres, split)


def _days(season: Season, source: Source, between: Sequence[Between]) -> tuple[pd.DataFrame, dict[str, float], int]:
    """The ledger's days, the metered litres of each month that readings touch, and how many stretches were split."""
    by_valve, dates = litres_by_day(season), season.days.index
    drawn = source.drawn(by_valve)
    of_supply = [name for name, valve in season.scenario.controller.items() if valve.supply == source.supply]
    supply = sum((by_valve[name] for name in of_supply), np.zeros_like(drawn))
    counted, covered, split = metered_days(between, dates[0].date(), supply)
    # whole but for the last bits of hours turned into days is whole
    covered = np.where(covered >= _WHOLE, 1.0, covered)
    reported, litres = drawn.copy(), dict[str, float]()
    for key, here in _by_month(dates).items():
        if not covered[here].any():
            continue
        metered, modelled = covered[here] * supply[here], covered[here] * drawn[here]
        # what a part of a supply drew on days on which the model draws nothing can't be told: by its whole share
        part, whole = (modelled, metered) if metered.sum() > 0.0 else (drawn, supply)
        share = float(part.sum()) / float(whole.sum()) if whole.sum() > 0.0 else 0.0
        litres[key] = float(counted[here].sum()) * (1.0 if source.is_whole_supply else share)
        # over its metered days as the model would: evenly where it draws nothing
        weights = modelled if modelled.any() else covered[here]
        reported[here] = litres[key] * (weights / weights.sum()) + (1.0 - covered[here]) * drawn[here]
    return pd.DataFrame({"modelled": drawn, "reported": reported, "covered": covered}, index=dates), litres, split


def _by_month(dates: pd.Index[Any]) -> dict[str, Any]:
    """Month such as "2025-05" -> which days are its own."""
    keys = pd.DatetimeIndex(dates).strftime("%Y-%m").to_numpy()
    return {key: keys == key for key in dict.fromkeys(keys)}


def _months(
    season: Season, source: Source, days: pd.DataFrame, counted: dict[str, float], summed: set[str], samples: Floats
) -> Iterator[dict[str, Any]]:
    """The months' rows, but for what is printed."""
    whole = season.totals["supplies"][source.supply]["by_month"]
    for key, here in _by_month(days.index).items():
        drawn, reported, covered = (days[name].to_numpy()[here] for name in ("modelled", "reported", "covered"))
        modelled = float(whole[key] if source.is_whole_supply else drawn.sum())
        basis, litres = "modelled", modelled
        if key in counted:
            in_part = covered.min() < 1.0
            by_meter = SPLIT if key in summed else "metered"
            basis, litres = ("metered in part", math.fsum(reported)) if in_part else (by_meter, counted[key])
        low, high = interval_of(samples[:, here].sum(axis=1), season.scenario.uncertainty.interval)
        yield {
            "water_year": _year_label(key, source.right.water_year_start),
            "month": key,
            "from": days.index[here][0].date(),
            "to": days.index[here][-1].date(),
            "days_of_use": int((drawn > 0.0).sum()),
            "basis": basis,
            "metered_days": float(covered.sum()),
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
    headroom = licensed
    for month in months:
        month.setdefault("metered", None)
        in_part = month["basis"] == "metered in part"
        whole = month["modelled" if month["basis"] == "modelled" else "metered"]
        month["reported"] = unit.rounded(month["reported_litres"], decimals) if in_part else whole
        headroom = month["headroom"] = None if headroom is None else headroom - month["reported"]


def _year(months: list[dict[str, Any]], days: pd.DataFrame, volume: float | None) -> dict[str, Any]:
    """One water year's row."""
    litres = {name: math.fsum(month[name] for month in months) for name in ("modelled_litres", "reported_litres")}
    over = days["reported"].loc[str(months[0]["from"]) : str(months[-1]["to"])].cumsum()
    over = over[beyond(over, math.inf if volume is None else volume)]
    return {
        **{name: sum(month[name] for month in months) for name in ("modelled", "reported")},
        "headroom": months[-1]["headroom"],
        **litres,
        "share_used": None if volume is None else litres["reported_litres"] / volume,
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
    flow = {name: share * season.forcing.pan_of[name].valve_flow for name, share in source.shares.items()}
    openings = season.openings[season.openings["controller"].map(flow).fillna(0.0) > 0.0]
    opened, shut = openings.assign(at=openings["start_h"], change=1), openings.assign(at=openings["end_h"], change=-1)
    # at one moment, shutting (−1) counts before opening
    moments = pd.concat([opened, shut]).dropna(subset="at").sort_values(["at", "change", "controller"], kind="stable")
    most, when = 0.0, ""
    running: set[str] = set()
    for change, controller, start in zip(moments["change"], moments["controller"], moments["start"], strict=True):
        (running.add if change > 0 else running.discard)(controller)
        together = sum(flow[name] for name in flow if name in running)
        if change > 0 and together > most * (1.0 + 1e-12):
            most, when = together, str(start)[:10]
    return most, when
