"""
Account: a statement as a whole: each source's ledger, what its water did, its range, and what breaks its licence.

`make_statement` is what a Python user calls. Litres, L/h, m² inside; what is printed is made by `sheet`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import Problem, ReadingsError, ScenarioError
from panbudget.numeric import Floats
from panbudget.scenario.beds import Bed
from panbudget.scenario.garden import Scenario
from panbudget.season.finding import SEVERITIES, Finding
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.studies.ranges import interval_of, sampled_litres
from panbudget.studies.statement.fate import Fate, bed_fate, pan_fate
from panbudget.studies.statement.ledger import Ledger, beyond, keep_ledger, largest_rate
from panbudget.studies.statement.meter import Between, Readings, read_readings
from panbudget.studies.statement.sources import Source, sources_of
from panbudget.weather.of_scenario import read_scenario_weather

__all__ = ["Account", "BedLine", "Metered", "Statement", "make_statement"]

NEAR_LICENCE = 0.9  # share used from which it is said; common practice, no source


@dataclass(frozen=True)
class BedLine:
    """
    One bed's part of a source, or (``key`` empty) its pans' part.

    Parameters
    ----------
    key : str
        "CONTROLLER/BED".
    crop : str
    area : float
        [m²]
    fate : Fate
        [L]
    """

    key: str
    crop: str
    area: float
    fate: Fate


@dataclass(frozen=True)
class Metered:
    """
    Meter against model, over the months that were metered whole.

    Parameters
    ----------
    months : int
    metered, modelled : float
        [L]
    interval : (float, float)
        Of the modelled litres of those months, over the stated ranges. [L]
    """

    months: int
    metered: float
    modelled: float
    interval: tuple[float, float]

    @property
    def agrees(self) -> bool:
        """Whether the meter lies within the model's stated range."""
        return self.interval[0] <= self.metered <= self.interval[1]


@dataclass(frozen=True)
class Account:
    """
    One source's part of a statement.

    Parameters
    ----------
    ledger : Ledger
    beds : tuple of BedLine
        Its beds, then its refill emitters; what they were applied adds up to the modelled season.
    rate : float
        Largest flow of its valves open together. [L/h]
    rate_date : str
        First day on which it ran, empty if never.
    interval : (float, float)
        Of the reported season, over the stated ranges; what was metered stands still in it. [L]
    month_intervals : dict
        Month -> the same of its modelled litres. [L]
    metered : Metered or None
    """

    ledger: Ledger
    beds: tuple[BedLine, ...]
    rate: float
    rate_date: str
    interval: tuple[float, float]
    month_intervals: dict[str, tuple[float, float]]
    metered: Metered | None

    @property
    def source(self) -> Source:
        """What it accounts for."""
        return self.ledger.source

    @property
    def area(self) -> float:
        """Area irrigated. [m²]"""
        return sum(line.area for line in self.beds)


@dataclass(frozen=True)
class Statement:
    """
    A season's water for a form.

    Parameters
    ----------
    season : Season
    variant : str
        The scenario's variant, empty for none.
    accounts : tuple of Account
        One a source.
    samples : int
        How many seasons the ranges come from.
    readings : tuple of Readings
    findings : tuple of Finding
        What breaks a licence, or sets meter and model apart; gravest first.
    """

    season: Season
    variant: str
    accounts: tuple[Account, ...]
    samples: int
    readings: tuple[Readings, ...]
    findings: tuple[Finding, ...]


def make_statement(
    scenario: Scenario,
    *,
    start: dt.date | None = None,
    end: dt.date | None = None,
    readings: str | Path | None = None,
    samples: int | None = None,
    variant: str | None = None,
    step: Callable[[str], None] | None = None,
) -> Statement:
    """
    Replay a season and account for its water.

    Parameters
    ----------
    scenario : Scenario
    start, end : date, optional
        First and last day, in place of the scenario's.
    readings : path, optional
        Meter readings, in place of those that the scenario names.
    samples : int, optional
        How many seasons to run over the stated ranges, in place of the scenario's number.
    variant : str, optional
        One of the scenario's variants, to lay over it.
    step : callable, optional
        Told of each step.

    Returns
    -------
    Statement

    Raises
    ------
    ScenarioError, WeatherError, ReadingsError
        What the user can cure.
    """
    tell = step or (lambda text: None)
    if variant:
        scenario = scenario.with_variant(variant)
    if samples is not None:
        scenario = scenario.changed({"statement": {"samples": samples}})
    first, last = start or scenario.season.start, end or scenario.season.end
    if last < first:
        message = f"the season ends, {last}, before it starts, {first}"
        raise ScenarioError(Problem.of_text(message, "season.end"), file=str(scenario.path))
    files = _readings(scenario, readings)
    for file in files:
        _within_the_season(file, first, last)
    tell("reading the weather")
    weather = read_scenario_weather(scenario, first, last)
    tell("replaying the season")
    season = replay(scenario, start=first, end=last, weather=weather)
    count = scenario.statement.samples
    many = sampled_litres(season, count, tell)
    between = {supply: part for file in files for supply, part in file.by_supply.items()}
    accounts = tuple(_account(season, source, between.get(source.supply, ()), many) for source in sources_of(season))
    findings = sorted(_findings(accounts), key=lambda finding: SEVERITIES.index(finding.severity))
    return Statement(season, ", ".join(scenario.laid_over), accounts, count, files, tuple(findings))


def _within_the_season(file: Readings, first: dt.date, last: dt.date) -> None:
    """Refuse readings that have nothing to do with the season: the statement would name them as if they counted."""
    stretches = [stretch for part in file.by_supply.values() for stretch in part]
    if stretches and not any(one.start.date() <= last and one.end.date() > first for one in stretches):
        earliest, latest = min(one.start for one in stretches), max(one.end for one in stretches)
        raise ReadingsError(
            f"no reading falls in the season, {first} to {last}; they run from {earliest.date()} to {latest.date()}: "
            "name the file of this season's readings, or leave it out",
            file=file.file,
        )


def _readings(scenario: Scenario, given: str | Path | None) -> tuple[Readings, ...]:
    supplies = list(scenario.supply)
    if given is not None:
        with_right = [name for name, supply in scenario.supply.items() if supply.right is not None]
        default = with_right[0] if len(with_right) == 1 else None
        read = read_readings(Path(given), supplies, default=default, shown_as=str(given))
        # the path that a person typed is no business of who reads the statement
        return (replace(read, file=Path(given).name),)
    found = []
    for name, supply in scenario.supply.items():
        if supply.right is None or supply.right.readings is None:
            continue
        path = scenario.path.parent / supply.right.readings
        read = read_readings(path, supplies, default=name, shown_as=supply.right.readings)
        # a file that several supplies share is named by each of them
        own = {name: read.by_supply[name]} if name in read.by_supply else {}
        found.append(Readings(read.file, read.sha256, own, tuple(e for e in read.events if e.startswith(f"{name}: "))))
    return tuple(found)


def _account(season: Season, source: Source, between: Iterable[Between], many: dict[str, Floats]) -> Account:
    ledger = keep_ledger(season, source, tuple(between))
    rate, rate_date = largest_rate(season, source)
    drawn = np.zeros_like(next(iter(many.values())))
    for controller, share in source.shares.items():
        drawn = drawn + share * many[controller]
    of_month = pd.DatetimeIndex(season.days.index).strftime("%Y-%m").to_numpy()
    by_month: dict[str, Floats] = {month.key: drawn[:, of_month == month.key].sum(axis=1) for month in ledger.months}
    share = season.scenario.statement.interval
    counted = sum(month.metered for month in ledger.months if month.metered is not None)
    reported = counted + drawn @ (1.0 - ledger.covered)
    whole = [month for month in ledger.months if month.basis == "metered"]
    metered = None
    if whole:
        modelled = np.sum([by_month[month.key] for month in whole], axis=0)
        metered = Metered(
            months=len(whole),
            metered=sum(month.reported for month in whole),
            modelled=sum(month.modelled for month in whole),
            interval=interval_of(modelled, share),
        )
    return Account(
        ledger=ledger,
        beds=tuple(_bed_lines(season, source)),
        rate=rate,
        rate_date=rate_date,
        interval=interval_of(reported, share),
        month_intervals={key: interval_of(values, share) for key, values in by_month.items()},
        metered=metered,
    )


def _bed_lines(season: Season, source: Source) -> Iterator[BedLine]:
    pans = []
    for controller, share in source.shares.items():
        beds = season.scenario.controller[controller].bed
        mine = [bed for bed in beds if f"{controller}/{bed}" in source.beds]
        totals = season.totals["controllers"][controller]
        own = sum(season.totals["beds"][f"{controller}/{bed}"]["litres"] for bed in mine)
        # a split by area gives a right more or less than its beds' emitters do: their lines are scaled to it
        allotted = share * (totals["litres"] - totals["refilled_kg"])
        scale = allotted / own if own > 0.0 and share < 1.0 else 1.0
        for bed in mine:
            key = f"{controller}/{bed}"
            yield BedLine(key, _crop(beds[bed]), beds[bed].area, bed_fate(season, key).scaled(scale))
        if mine:
            pans.append(pan_fate(season, controller).scaled(share))
    if pans:
        added = Fate(
            *(sum(getattr(fate, part) for fate in pans) for part in ("applied", "consumed", "drained", "left"))
        )
        yield BedLine("", "", 0.0, added)


def _crop(bed: Bed) -> str:
    """What grows, in words: one planting, several in turn, or several side by side."""
    described = bed.model_dump(mode="json", exclude_none=True)
    for key, between in (("plantings", ", then "), ("mix", " with ")):
        if described.get(key):
            return between.join(_plants_said(part["plants"]) for part in described[key])
    return _plants_said(described["plants"])


def _plants_said(plants: dict[str, Any]) -> str:
    if "name" in plants:
        return str(plants["name"])
    if "kc" in plants:
        return f"own Kc, {plants['kc']:g}"
    factors = plants.get("plant_factor")
    if not factors:
        return "own plant factors"
    low, high = min(factors), max(factors)
    return "own plant factor, " + (f"{low:g}" if low == high else f"{low:g} to {high:g}")


def _findings(accounts: tuple[Account, ...]) -> Iterator[Finding]:
    for account in accounts:
        yield from _of_licence(account)
        metered = account.metered
        if metered is not None and not metered.agrees:
            yield Finding(
                "caution",
                "meter-apart",
                account.source.name,
                "The meter lies outside the model's stated range for the months that it counted: look at the meter, "
                "its unit, at what else draws on it, and at the pan's exposure.",
                days=0,
            )


def _of_licence(account: Account) -> Iterator[Finding]:
    ledger, papers, name = account.ledger, account.source.papers, account.source.name
    for year in ledger.years:
        if year.exceeded_on is not None:
            yield Finding(
                "danger",
                "licence-exceeded",
                name,
                f"What is reported passes the licensed volume of water year {year.label}.",
                year.exceeded_on.isoformat(),
            )
        elif year.share_used is not None and year.share_used > NEAR_LICENCE:
            yield Finding("caution", "licence-near", name, f"Over nine tenths of the volume of {year.label} is used.")
    if papers.rate is not None and beyond(account.rate, papers.rate):
        yield Finding(
            "danger",
            "rate-exceeded",
            name,
            "The valves open together draw more than the licensed rate.",
            account.rate_date or None,
        )
    if ledger.outside_days:
        yield Finding(
            "danger",
            "out-of-season",
            name,
            "Water was drawn outside the licensed season.",
            ledger.outside_first.isoformat() if ledger.outside_first else None,
            ledger.outside_days,
        )
    if papers.area is not None and beyond(account.area, papers.area):
        yield Finding("danger", "area-exceeded", name, "The beds are larger than the licensed area.")
