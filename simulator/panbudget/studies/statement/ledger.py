"""
Ledger: a source's litres by month and water year, in engine units and as printed; and the same against its licence.

Modelled months are those of `season.json`. A month whose every day lies between meter readings is metered, and the
metered figure is the one reported. Of a month that readings hold in part, what the meter counted is reported with what
the model has for the rest; at the meter's own ratio to the model, where the two disagree beyond their ranges. All figures
are kept. What a licence is held against is what is reported.

What is diverted is what passes a supply's valves, and what a tank's float valve lets in from it, when it does.

A source is a supply under its right, or the part of it that a further right covers. A valve whose beds have different
rights is split by a fixed share: its beds' emitter flow as described, or their area, whichever the scenario's
`statement.split` says. The refill emitter's water is split with it. [share: -]
"""

from __future__ import annotations

import calendar
import datetime as dt
import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.scenario.rights import FurtherRight, Right
from panbudget.scenario.supplies import Tank
from panbudget.season.result import Season
from panbudget.season.supplies import float_key, floats_on, pan_flows
from panbudget.season.totals import rates_by_day, valve_flows
from panbudget.studies.ranges import interval_of
from panbudget.studies.statement.meter import Between, metered_days, months_of
from panbudget.studies.statement.units_of_form import VOLUME_UNITS, FormUnit, amount, rounded_parts
from panbudget.words import packaged

#: what is reported of a month: the meter decides; it fixes only the sum with other months or rights, or a part of the month
METERED, SPLIT, PART = "metered", "metered total, split by the model", "metered in part"
#: or it lies outside all readings
MODELLED, BY_RATIO = "modelled", "modelled, at the meter's ratio"
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
        Controller, or `float_key` of a tank -> share of what passes its valve. [-]
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

    @property
    def floats(self) -> list[str]:
        """The tanks whose float valves draw on it."""
        return [name.split("/")[0] for name in self.shares if name == float_key(name.split("/")[0])]

    def drawn(self, litres: Mapping[str, Floats]) -> Floats:
        """
        Return this source's part of what passes the valves.

        Parameters
        ----------
        litres : mapping of ndarray, all of one shape
            By controller, or float valve. [L]

        Returns
        -------
        ndarray, that shape
            All that is drawn on it together. [L]
        """
        drawn = np.zeros_like(next(iter(litres.values())))
        for controller, share in self.shares.items():
            drawn = drawn + share * litres[controller]
        return drawn


@dataclass(frozen=True, eq=False)
class Metered:
    """
    Meter against model, over the days, and parts of days, that lie between readings; of the whole supply that it counts.

    Parameters
    ----------
    days : float
    metered, modelled : float
        [L]
    runs : ndarray (samples,)
        The modelled litres of those days in runs over the stated ranges. [L]
    interval : (float, float)
        Of these. [L]
    accuracy : float
        Half the width of what the meter's counts are worth. [-]
    """

    days: float
    metered: float
    modelled: float
    runs: Floats = field(repr=False)
    interval: tuple[float, float]
    accuracy: float

    @property
    def agrees(self) -> bool:
        """Whether what the meter may have counted meets the model's stated range."""
        low, high = self.interval
        return low <= self.metered * (1.0 + self.accuracy) and self.metered * (1.0 - self.accuracy) <= high

    @property
    def ratio(self) -> float:
        """By what the model is multiplied outside the readings: 1 where the two agree, or one of them has nothing."""
        return 1.0 if self.agrees or not self.metered or not self.modelled else self.metered / self.modelled


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
        Index "date"; ``modelled``, ``metered`` and ``reported`` [L/day], ``covered``, the share of each day that lies
        between meter readings [-]; ``counted`` by the meter, and ``supply``, all that the model draws on it [L/day];
        ``loose``, the share of each day between readings that reach beyond the model's days [-], and its ``loose_litres``.
    months : DataFrame
        One row a calendar month, or the season's part of it, with the names of `statement.csv`: ``month`` ("2025-05"),
        ``from``, ``to`` (dates), ``days_of_use`` (on which something is reported; a valve that stands open on an empty tank
        draws nothing, and no day counts on which the meter stood still), ``basis`` (what is reported: "metered" where
        readings hold all of its days and no other month's, "metered total, split by the model" where the meter fixes only
        the sum of several months or rights, "metered in part" where readings hold some of its days and the model stands in
        for the others, else "modelled", or "modelled, at the meter's ratio"), ``metered_days`` (how many of its days lie
        between readings, parts of days counted); ``modelled``, ``metered``, ``reported`` as printed in ``unit``, and
        ``headroom``, the licensed volume less all that is reported of the water year up to and with this month; the same
        ``_litres``, and the range of what is modelled. None where there is none.
    years : DataFrame
        One row a water year, index its label, such as "July 2024 to June 2025": ``modelled``, ``metered``, ``reported``
        (sums of the months as printed), ``basis`` of a year that readings hold whole, else empty, ``modelled_litres``,
        ``reported_litres``, ``headroom``, ``share_used`` (reported over licensed volume) and ``exceeded_on`` (first day on
        which what is reported, added up, passes that volume; else None).
    litres : float
        The season's modelled total; without a float valve, that of `season.json`. [L]
    split_stretches : int
        Stretches between readings that run over a month's end.
    shared : bool
        Whether its supply's meter counts other rights too.
    metered : Metered or None
    interval : (float, float)
        Of the reported season: of what is modelled over the stated ranges, of what is metered by the meter's accuracy. [L]
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
    shared: bool
    metered: Metered | None
    interval: tuple[float, float]

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
        """On which something is reported."""
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

    def printed(self, figure: Decimal) -> str:
        """Write a figure that is printed, and so adds up with others, in the form's unit."""
        return f"{amount(figure)}\u00a0{self.unit.symbol}"


def litres_by_day(season: Season) -> dict[str, Floats]:
    """Return what passes each valve, and each tank's float valve, day by day, by the model. [L/day]"""
    by_float = {float_key(name): table["topped_l"].to_numpy(float) for name, table in season.tanks.items()}
    return {name: table["litres"].to_numpy(float) for name, table in season.controllers.items()} | by_float


def most_by_hour(scenario: Scenario) -> dict[str, float]:
    """Return what all valves on each supply, and float valves that draw on it, pass while they are open. [L/h]"""
    valves = {name: pan_flows(scenario, name, []).valve_flow for name in scenario.controller}
    return {
        supply: sum(flow for name, flow in valves.items() if scenario.controller[name].supply == supply)
        + sum(tank.top_up.rate for tank in _floats_of(scenario, supply).values() if tank.top_up)
        for supply in scenario.supply
    }


def _floats_of(scenario: Scenario, supply: str) -> dict[str, Tank]:
    """The tanks whose float valves draw on a supply, under whichever of its rights."""
    right = scenario.supply[supply].right
    return floats_on(scenario, supply, *(f"{supply} / {key}" for key in (right.further if right else ())))


def sources_of(season: Season) -> Iterator[Source]:
    """
    List the sources of a season, in the scenario's order.

    Yields
    ------
    Source
        Their shares of each controller add up to 1.
    """
    controllers = season.scenario.controller
    for name, supply in season.scenario.supply.items():
        served = [f"{key}/{bed}" for key, part in controllers.items() if part.supply == name for bed in part.bed]
        right = _in_units_shown(supply.right or Right.model_validate({}), season.scenario)
        further = [bed for papers in right.further.values() for bed in papers.beds]
        parts: list[tuple[str, Right | FurtherRight, list[str]]] = [
            (name, right, [bed for bed in served if bed not in further]),
            *((f"{name} / {key}", papers, papers.beds) for key, papers in right.further.items()),
        ]
        for label, papers, covered in parts:
            floats = dict.fromkeys(map(float_key, floats_on(season.scenario, label)), 1.0)
            if covered or not right.further or floats:
                beds = tuple(bed for bed in served if bed in covered)
                shares = _shares(season, name, beds) | floats
                yield Source(label, name, right, papers, supply.right is not None, beds, shares)


def _in_units_shown(right: Right, scenario: Scenario) -> Right:
    """Give a right that does not say what its form asks for the units in which the garden's pages speak."""
    unsaid = packaged("studies/statement/units_of_form.toml")["unsaid"].get(scenario.units, {})
    return right.model_copy(update={key: unit for key, unit in unsaid.items() if key not in right.model_fields_set})


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


def keep_ledger(
    season: Season,
    source: Source,
    between: Sequence[Between],
    litres: Mapping[str, Floats],
    *,
    accuracy: float = 0.0,
    before: Season | None = None,
) -> Ledger:
    """
    Account for a source.

    Parameters
    ----------
    season : Season
    source : Source
    between : sequence of Between
        What the supply's meter counted. A source that is a part of its supply gets its modelled part of each day.
    litres : mapping of ndarray (samples, days)
        By valve, as `sampled_litres` gives them. [L/day]
    accuracy : float
        Of the meter. [-]
    before : Season, optional
        From where the season goes on.
    """
    unit, samples = VOLUME_UNITS[source.right.volume_unit], source.drawn(litres)
    decimals = unit.decimals if source.right.decimals is None else source.right.decimals
    days, split = _days(season, source, between, before)
    share, covered = season.scenario.uncertainty.interval, days["covered"].to_numpy()
    metered = None
    if covered.any():
        runs = _of_supply(season, source, litres) @ covered
        counted, modelled = math.fsum(days["counted"]), float(covered @ days["supply"].to_numpy())
        metered = Metered(float(covered.sum()), counted, modelled, runs, interval_of(runs, share), accuracy)
    days["reported"] = days["metered"] + (1.0 - covered) * days["modelled"] * (metered.ratio if metered else 1.0)
    shared = _is_shared(season, source)
    summed = _summed(between, days.index) | ({*_by_month(days.index)} if shared else set())
    months = list(_months(season, source, days, summed, samples, metered))
    whole = season.totals["supplies"][source.supply]["litres"]
    total = float(whole if _is_in_totals(source) else days["modelled"].to_numpy().sum())
    parts = {label: list(rows) for label, rows in itertools.groupby(months, lambda month: str(month["water_year"]))}
    volume = source.papers.volume
    licensed = None if volume is None else unit.rounded(volume, decimals)
    _print_months([*parts.values()], total, unit, decimals, licensed)
    crossed = _summed(between, days.index, lambda month: _year_label(month, source.right.water_year_start))
    years = {label: _year(part, days, volume, shared or label in crossed) for label, part in parts.items()}
    table = pd.DataFrame(months).astype({"metered_litres": float})
    of_years = pd.DataFrame.from_dict(years, orient="index")
    most = sum(part.litres for part in _reaching_out(between, days.index, before))
    interval = _interval(days, samples, metered, share, most)
    return Ledger(source, unit, decimals, licensed, days, table, of_years, total, split, shared, metered, interval)


def _is_in_totals(source: Source) -> bool:
    """Whether a source's litres are its supply's in `season.json`."""
    return source.is_whole_supply and not source.floats


def _is_shared(season: Season, source: Source) -> bool:
    """Whether other rights draw on the source's meter."""
    floats = _floats_of(season.scenario, source.supply)
    return not source.is_whole_supply or len(floats) > len(source.floats)


def _summed(
    between: Sequence[Between], dates: pd.Index[Any], of: Callable[[str], str] = lambda month: month
) -> set[str]:
    """The months, or whatever they belong to, of which a meter fixes only the sum with others, or with days outside."""
    first, after = dates[0].to_pydatetime(), dates[-1].to_pydatetime() + dt.timedelta(days=1)
    summed = set[str]()
    for stretch in between:
        parts = {of(month) for month in months_of(stretch)}
        if len(parts) > 1 or stretch.start < first or stretch.end > after:
            summed |= parts
    return summed


def _interval(
    days: pd.DataFrame, samples: Floats, metered: Metered | None, share: float, most: float
) -> tuple[float, float]:
    """The range of what is reported; ``most`` is what readings that reach beyond the model's days counted. [L]"""
    covered = days["covered"].to_numpy()
    rest, counted = samples @ (1.0 - covered), math.fsum(days["metered"])
    if metered is None:
        return interval_of(rest, share)
    # of what readings counted that reach beyond the model's days, no more is known than the model's range and their count
    loose = float(days["loose_litres"].sum())
    below, above = interval_of(samples @ days["loose"].to_numpy(), share)
    below, above = min(below, loose) - loose, max(min(above, most * (1.0 + metered.accuracy)), loose) - loose
    less, more = 1.0 - metered.accuracy, 1.0 + metered.accuracy
    if metered.ratio == 1.0:
        low, high = interval_of(rest, share)
        return (counted - loose) * less + loose + below + low, (counted - loose) * more + loose + above + high
    # each run at its own ratio to the meter
    ones = np.full_like(rest, metered.ratio)
    low, high = interval_of(rest * np.divide(metered.metered, metered.runs, out=ones, where=metered.runs > 0.0), share)
    return (counted + low) * less + below, (counted + high) * more + above


def _reaching_out(between: Sequence[Between], dates: pd.Index[Any], before: Season | None) -> list[Between]:
    """What was counted between readings of which one lies outside the days that the model runs through."""
    first, after = (dates if before is None else before.days.index)[0], dates[-1] + dt.timedelta(days=1)
    return [part for part in between if part.start < first or part.end > after]


def _of_supply(season: Season, source: Source, litres: Mapping[str, Floats]) -> Floats:
    """What is drawn on the source's supply, under whichever right: all that a meter on it counts."""
    on_it = [name for name, valve in season.scenario.controller.items() if valve.supply == source.supply]
    on_it += map(float_key, _floats_of(season.scenario, source.supply))
    return sum((litres[name] for name in on_it), np.zeros_like(next(iter(litres.values()))))


def _days(
    season: Season, source: Source, between: Sequence[Between], before: Season | None
) -> tuple[pd.DataFrame, int]:
    """The ledger's days but for what is reported, and how many stretches between readings were split."""
    by_valve, dates = litres_by_day(season), season.days.index
    drawn, supply = source.drawn(by_valve), _of_supply(season, source, by_valve)
    led = np.zeros(0) if before is None else _of_supply(before, source, litres_by_day(before))
    begins = (dates[0] - dt.timedelta(days=len(led))).date()
    counted, covered, split = metered_days(between, begins, np.append(led, supply))
    counted, covered = counted[len(led) :], covered[len(led) :]
    out = _reaching_out(between, dates, before)
    loose_litres, loose, _ = metered_days(out, dates[0].date(), supply)
    # whole but for the last bits of hours turned into days is whole
    covered = np.where(covered >= _WHOLE, 1.0, covered)
    # what a part of a supply drew on a day on which the model draws nothing can't be told: by its whole share
    share = float(drawn.sum()) / float(supply.sum()) if supply.sum() > 0.0 else float(source.is_whole_supply)
    shares = np.divide(drawn, supply, out=np.full_like(drawn, share), where=supply > 0.0)
    columns = {"modelled": drawn, "metered": counted * shares, "covered": covered, "counted": counted, "supply": supply}
    columns |= {"loose": loose, "loose_litres": loose_litres * shares}
    return pd.DataFrame(columns, index=dates), split


def _by_month(dates: pd.Index[Any]) -> dict[str, Any]:
    """Month such as "2025-05" -> which days are its own."""
    keys = pd.DatetimeIndex(dates).strftime("%Y-%m").to_numpy()
    return {key: keys == key for key in dict.fromkeys(keys)}


def _months(
    season: Season, source: Source, days: pd.DataFrame, summed: set[str], samples: Floats, metered: Metered | None
) -> Iterator[dict[str, Any]]:
    """The months' rows, but for what is printed."""
    whole = season.totals["supplies"][source.supply]["by_month"]
    for key, here in _by_month(days.index).items():
        names = ("modelled", "metered", "reported", "covered")
        drawn, counted, reported, covered = (days[name].to_numpy()[here] for name in names)
        modelled = float(whole[key] if _is_in_totals(source) else drawn.sum())
        basis, litres = MODELLED, modelled
        if covered.any():
            basis = PART if covered.min() < 1.0 else SPLIT if key in summed else METERED
            litres = math.fsum(reported)
        elif metered is not None and metered.ratio != 1.0:
            basis, litres = BY_RATIO, math.fsum(reported)
        low, high = interval_of(samples[:, here].sum(axis=1), season.scenario.uncertainty.interval)
        yield {
            "water_year": _year_label(key, source.right.water_year_start),
            "month": key,
            "from": days.index[here][0].date(),
            "to": days.index[here][-1].date(),
            "days_of_use": int((reported > 0.0).sum()),
            "basis": basis,
            "metered_days": float(covered.sum()),
            "modelled_litres": modelled,
            "metered_litres": math.fsum(counted) if covered.any() else None,
            "reported_litres": litres,
            "range_low_litres": low,
            "range_high_litres": high,
        }


def _print_months(
    years: list[list[dict[str, Any]]], litres: float, unit: FormUnit, decimals: int, licensed: Decimal | None
) -> None:
    """Add what is printed: the season's total is rounded first, then its water years, then their months: all add up."""
    for name, whole in (("modelled", unit.rounded(litres, decimals)), ("metered", None)):
        read = [[month for month in months if month[f"{name}_litres"] is not None] for months in years]
        exact = [[unit.exact(month[f"{name}_litres"]) for month in months] for months in read]
        totals = rounded_parts([sum(parts, Fraction(0)) for parts in exact], decimals, whole)
        for months, parts, total in zip(read, exact, totals, strict=True):
            for month, part in zip(months, rounded_parts(parts, decimals, total), strict=True):
                month[name] = part
    for months in years:
        headroom = licensed
        for month in months:
            month.setdefault("metered", None)
            whole = month["modelled" if month["basis"] == MODELLED else "metered"]
            mixed = month["basis"] in (PART, BY_RATIO)
            month["reported"] = unit.rounded(month["reported_litres"], decimals) if mixed else whole
            headroom = month["headroom"] = None if headroom is None else headroom - month["reported"]


def _year(months: list[dict[str, Any]], days: pd.DataFrame, volume: float | None, summed: bool) -> dict[str, Any]:
    """One water year's row; ``summed`` where the meter fixes only its sum with another's."""
    litres = {name: math.fsum(month[name] for month in months) for name in ("modelled_litres", "reported_litres")}
    over = days["reported"].loc[str(months[0]["from"]) : str(months[-1]["to"])].cumsum()
    over = over[beyond(over, math.inf if volume is None else volume)]
    counted = [month["metered"] for month in months if month["metered"] is not None]
    by_meter = all(month["basis"] in (METERED, SPLIT) for month in months)
    return {
        **{name: sum(month[name] for month in months) for name in ("modelled", "reported")},
        "metered": sum(counted) if counted else None,
        "basis": "" if not by_meter else SPLIT if summed else METERED,
        "headroom": months[-1]["headroom"],
        **litres,
        "share_used": None if volume is None else litres["reported_litres"] / volume,
        "exceeded_on": over.index[0].date() if len(over) else None,
    }


def year_starts(ledger: Ledger) -> Iterator[tuple[str, dt.date]]:
    """Yield the label and the first day of each water year of a ledger."""
    for label, months in ledger.months.groupby("water_year", sort=False):
        yield str(label), year_start(months["from"].iloc[0], ledger.source.right.water_year_start)


def year_start(day: dt.date, start: int) -> dt.date:
    """Return the first day of the water year that holds a day; ``start`` is its first month."""
    return dt.date(day.year - (day.month < start), start, 1)


def _year_label(key: str, start: int) -> str:
    begins = year_start(dt.date.fromisoformat(f"{key}-01"), start).year
    if start == 1:
        return f"{begins}"
    return f"{calendar.month_name[start]} {begins} to {calendar.month_name[start - 1]} {begins + 1}"


def largest_rate(season: Season, source: Source) -> tuple[float, str]:
    """
    Find the largest flow of a source, all its valves that are open together, and when it first ran.

    Returns
    -------
    (float, str)
        [L/h], and its date, empty if nothing ran. For a whole supply without float valves the rate is that of `season.json`.

    Notes
    -----
    Of a float valve, only a day's litres are known. On a day on which it runs it is taken to run beside all that is open
    together on that day: at its own rate if the tank was below its level at the day's start or end, else at what the tank's
    valves drew at most, if that is less. So the rate is an upper bound where there is one.
    """
    flows, controllers = valve_flows(season.forcing), season.scenario.controller
    shares = {name: share for name, share in source.shares.items() if name in flows}
    rate = rates_by_day(season.openings, {name: share * flows[name] for name, share in shares.items()})
    rate = rate if len(rate) else np.zeros(len(season.days))
    for tank, described in floats_on(season.scenario, source.name).items():
        top_up, table = described.top_up, season.tanks[tank]
        assert top_up is not None
        level = table["volume_l"].to_numpy()
        began = np.append(season.totals["supplies"][tank]["tank"]["start_l"], level[:-1])
        on_it = {name: flow for name, flow in flows.items() if controllers[name].supply == tank}
        below = np.minimum(began, level) < top_up.below
        runs = np.where(below, top_up.rate, np.minimum(rates_by_day(season.openings, on_it), top_up.rate))
        rate = rate + np.where(table["topped_l"].to_numpy() > 0.0, runs, 0.0)
    most = float(rate.max())
    first = season.days.index[int(np.argmax(rate >= most * (1.0 - 1e-12)))]
    return most, f"{first:%Y-%m-%d}" if most > 0.0 else ""
