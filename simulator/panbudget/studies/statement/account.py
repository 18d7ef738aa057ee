"""
Account: a statement as a whole: each source's ledger, what its water did, its range, and what breaks its licence.

What its water did, by rule: a root zone and a pan are each taken as well mixed. On every day, the part of what leaves it
(ET, deep percolation, evaporation, spill and leaks) that is applied water is the part of applied water in what it holds that
day. Water that was there on the first day, and rain, are not applied water. So the fates add up to what was applied,
exactly. Runoff of applied water is none: it drips. Litres, L/h, m² inside; what is printed is made by `ledger`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import Problem, ReadingsError
from panbudget.extras import Reported, Step, silent
from panbudget.numeric import Floats
from panbudget.scenario.beds import Bed
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.replay import Day, as_day, replay
from panbudget.season.result import SEVERITIES, Finding, Season
from panbudget.studies.common import read_data, refusal
from panbudget.studies.ranges import interval_of, sampled_litres
from panbudget.studies.statement.ledger import SPLIT, Ledger, Source, beyond, keep_ledger, largest_rate, sources_of
from panbudget.studies.statement.meter import Between, Readings, read_readings
from panbudget.weather.of_scenario import read_scenario_weather

_FINDINGS = read_data("statement/account")
NEAR_LICENCE = 0.9  # share used from which it is said; common practice, no source


class Fate(NamedTuple):
    """
    Where applied water went. All in litres.

    Parameters
    ----------
    applied : float
    consumed : float
        ET of applied water in a bed; evaporation of it from a pan.
    drained : float
        Deep percolation of it below a bed's roots; spill of it over a pan's rim, and what of it leaks.
    left : float
        Still in the root zone, or in the pan, when the season ends.
    """

    applied: float
    consumed: float
    drained: float
    left: float

    def scaled(self, share: float) -> Fate:
        """Return a share of it."""
        return Fate(*(part * share for part in self))


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


@dataclass(frozen=True, eq=False)
class Account:
    """
    One source's part of a statement.

    Parameters
    ----------
    ledger : Ledger
    beds : DataFrame
        A row for each of its beds, then one for its refill emitters, whose ``bed`` is empty: ``bed``
        ("CONTROLLER/BED"), ``crop``, ``area_m2``, and the parts of a `Fate`. [L] What they were applied adds up to the
        modelled season.
    rate : float
        Largest flow of its valves open together. [L/h]
    rate_date : str
        First day on which it ran, empty if never.
    interval : (float, float)
        Of the reported season, over the stated ranges; what was metered stands still in it. [L]
    metered : Metered or None
    """

    ledger: Ledger
    beds: pd.DataFrame
    rate: float
    rate_date: str
    interval: tuple[float, float]
    metered: Metered | None

    @property
    def source(self) -> Source:
        """What it accounts for."""
        return self.ledger.source

    @property
    def area(self) -> float:
        """Area irrigated. [m²]"""
        return float(sum(self.beds["area_m2"]))


@dataclass(frozen=True, eq=False)
class Statement(Reported):
    """
    A season's water for a form.

    Parameters
    ----------
    season : Season
    accounts : tuple of Account
        One a source.
    samples : int
        How many seasons the ranges come from.
    readings : tuple of Readings
    findings : tuple of Finding
        What breaks a licence, or sets meter and model apart; gravest first.
    """

    room: ClassVar[str] = "statement"

    season: Season
    accounts: tuple[Account, ...]
    samples: int
    readings: tuple[Readings, ...]
    findings: tuple[Finding, ...]

    @property
    def scenario(self) -> Scenario:
        """The garden, its variant laid over it."""
        return self.season.scenario

    @property
    def variant(self) -> str:
        """The variants that were laid over the garden, empty for none."""
        return ", ".join(self.scenario.laid_over)


def statement(
    scenario: Scenario | str | Path,
    *,
    start: Day | None = None,
    end: Day | None = None,
    readings: str | Path | None = None,
    samples: int | None = None,
    variants: Sequence[str] = (),
    step: Step = silent,
) -> Statement:
    """
    Replay a season and account for its water.

    Parameters
    ----------
    scenario : Scenario or path
    start, end : date, or what pandas takes for one, optional
        First and last day, in place of the scenario's.
    readings : path, optional
        Meter readings, in place of those that the scenario names.
    samples : int, optional
        How many seasons to run over the stated ranges, in place of the scenario's number.
    variants : sequence of str, optional
        Laid over it in order: names of its own, or files such as `fitted.toml`.
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
    scenario = as_scenario(scenario, variants)
    # how often it is drawn is no part of the garden: the season stays the one that `replay` makes
    drawn_over = scenario if samples is None else scenario.changed({"uncertainty": {"samples": samples}})
    first = scenario.season.start if start is None else as_day(start, "start")
    last = scenario.season.end if end is None else as_day(end, "end")
    if last < first:
        raise refusal(scenario, "end-before-start", "season.end", f"= {last} is before it starts, {first}")
    files = tuple(_readings(scenario, readings))
    for file in files:
        _within_the_season(file, first, last)
    step("reading the weather")
    weather = read_scenario_weather(scenario, first, last)
    step("replaying the season")
    season, count = replay(scenario, start=first, end=last, weather=weather), drawn_over.uncertainty.samples
    litres = sampled_litres(season, count, step)
    between = {supply: part for file in files for supply, part in file.by_supply.items()}
    accounts = tuple(
        _account(season, source, between.get(source.supply, ()), source.drawn(litres)) for source in sources_of(season)
    )
    findings = [finding for account in accounts for finding in _findings(account)]
    findings.sort(key=lambda finding: SEVERITIES.index(finding.severity))
    return Statement(season, accounts, count, files, tuple(findings))


def _within_the_season(file: Readings, first: dt.date, last: dt.date) -> None:
    """Refuse readings that have nothing to do with the season: the statement would name them as if they counted."""
    stretches = [stretch for part in file.by_supply.values() for stretch in part]
    if stretches and not any(part.start.date() <= last and part.end.date() > first for part in stretches):
        earliest, latest = min(part.start for part in stretches), max(part.end for part in stretches)
        run = f"they run from {earliest.date()} to {latest.date()}"
        found = f"no reading falls in the season, {first} to {last}; {run}"
        cure = "name the file of this season's readings, or leave it out"
        raise ReadingsError(Problem("readings-outside", "", found, "", cure), file=file.file)


def _readings(scenario: Scenario, given: str | Path | None) -> Iterator[Readings]:
    supplies = list(scenario.supply)
    rights = {name: supply.right for name, supply in scenario.supply.items() if supply.right is not None}
    if given is not None:
        default = next(iter(rights)) if len(rights) == 1 else None
        read = read_readings(Path(given), supplies, default=default, shown_as=str(given))
        # the path that a person typed is no business of who reads the statement
        yield replace(read, file=Path(given).name)
        return
    for name, right in rights.items():
        if right.readings is not None:
            path = scenario.path.parent / right.readings
            read = read_readings(path, supplies, default=name, shown_as=right.readings)
            # a file that several supplies share is named by each of them
            by_supply = {supply: part for supply, part in read.by_supply.items() if supply == name}
            events = tuple(event for event in read.events if event.startswith(f"{name}: "))
            yield replace(read, by_supply=by_supply, events=events)


def _account(season: Season, source: Source, between: tuple[Between, ...], samples: Floats) -> Account:
    share = season.scenario.uncertainty.interval
    ledger = keep_ledger(season, source, between, samples)
    counted = sum(ledger.months["metered_litres"].dropna())
    reported = counted + samples @ (1.0 - ledger.days["covered"].to_numpy())
    whole, metered = ledger.months[ledger.months["basis"].isin(["metered", SPLIT])], None
    if len(whole):
        of_month = pd.DatetimeIndex(season.days.index).strftime("%Y-%m").to_numpy()
        modelled = np.sum([samples[:, of_month == key].sum(axis=1) for key in whole["month"]], axis=0)
        reported_sum, modelled_sum = (float(sum(whole[f"{name}_litres"])) for name in ("reported", "modelled"))
        metered = Metered(len(whole), reported_sum, modelled_sum, interval_of(modelled, share))
    beds = pd.DataFrame(_bed_rows(season, source), columns=["bed", "crop", "area_m2", *Fate._fields])
    return Account(ledger, beds, *largest_rate(season, source), interval_of(reported, share), metered)


def _bed_rows(season: Season, source: Source) -> Iterator[tuple[Any, ...]]:
    pans = []
    for controller, share in source.shares.items():
        beds = {f"{controller}/{name}": bed for name, bed in season.scenario.controller[controller].bed.items()}
        covered = {key: bed for key, bed in beds.items() if key in source.beds}
        totals = season.totals["controllers"][controller]
        applied = sum(season.totals["beds"][key]["litres"] for key in covered)
        # a split by area gives a right more or less than its beds' emitters do: their lines are scaled to it
        allotted = share * (totals["litres"] - totals["refilled_kg"])
        scale = allotted / applied if applied > 0.0 and share < 1.0 else 1.0
        for key, bed in covered.items():
            yield key, _crop(bed), bed.area, *bed_fate(season, key).scaled(scale)
        if covered:
            pans.append(pan_fate(season, controller).scaled(share))
    if pans:
        yield "", "", 0.0, *(sum(parts) for parts in zip(*pans, strict=True))


def _crop(bed: Bed) -> str:
    """What grows, in words: one planting, several in turn, or several side by side."""
    described = bed.model_dump(mode="json", exclude_none=True)
    for key, between in (("plantings", ", then "), ("mix", " with ")):
        if described.get(key):
            return between.join(_plants_text(part["plants"]) for part in described[key])
    return _plants_text(described["plants"])


def _plants_text(plants: dict[str, Any]) -> str:
    if "name" in plants:
        return str(plants["name"])
    if "kc" in plants:
        return f"own Kc, {plants['kc']:g}"
    factors = plants.get("plant_factor")
    if not factors:
        return "own plant factors"
    low, high = min(factors), max(factors)
    return "own plant factor, " + (f"{low:g}" if low == high else f"{low:g} to {high:g}")


def _findings(account: Account) -> Iterator[Finding]:
    """Terms of a licence that are broken, or nearly; and a meter that the model's range does not hold."""
    papers, outside, metered = account.source.papers, account.ledger.outside, account.metered

    def finding(code: str, first: str | None = None, days: int = 0, **values: object) -> Finding:
        severity, message = _FINDINGS[code]["severity"], _FINDINGS[code]["message"].format(**values)
        return Finding(severity, code, account.source.name, message, first, days)

    for label, year in account.ledger.years.iterrows():
        if year["exceeded_on"] is not None:
            yield finding("licence-exceeded", year["exceeded_on"].isoformat(), year=label)
        elif year["share_used"] is not None and year["share_used"] > NEAR_LICENCE:
            yield finding("licence-near", year=label)
    if papers.rate is not None and beyond(account.rate, papers.rate):
        yield finding("rate-exceeded", account.rate_date or None)
    if len(outside):
        yield finding("out-of-season", f"{outside.index[0]:%Y-%m-%d}", len(outside))
    if papers.area is not None and beyond(account.area, papers.area):
        yield finding("area-exceeded")
    if metered is not None and not metered.agrees:
        yield finding("meter-apart")


def mixed(store: Floats, applied: Floats, used: Floats, drained: Floats) -> tuple[float, float, float]:
    """
    Follow applied water through a well-mixed store.

    Parameters
    ----------
    store : ndarray (days,)
        What the store holds on each day before anything leaves it, the day's rain and applied water included.
    applied : ndarray (days,)
        Applied on that day.
    used, drained : ndarray (days,)
        What leaves it on that day, of whatever origin.

    Returns
    -------
    (float, float, float)
        Applied water used, drained and left; they add up to all that was applied. [unit of the arguments]

    Examples
    --------
    10 of rain's water, 10 applied; 4 used, 2 drained: half of each is applied water.

    >>> mixed(np.array([20.0]), np.array([10.0]), np.array([4.0]), np.array([2.0]))
    (2.0, 1.0, 7.0)
    """
    within = used_applied = drained_applied = 0.0
    days = zip(*(values.tolist() for values in (store, applied, used, drained)), strict=True)
    for held, came, by_use, by_drain in days:
        within += came
        part = min(within / held, 1.0) if held > 0.0 else 0.0
        used_applied += part * by_use
        drained_applied += part * by_drain
        within -= part * (by_use + by_drain)
    return used_applied, drained_applied, within


def bed_fate(season: Season, key: str) -> Fate:
    """
    Follow a bed's irrigation through its root zone.

    Parameters
    ----------
    season : Season
    key : str
        "CONTROLLER/BED".

    Returns
    -------
    Fate
        Its ``applied`` is the bed's litres in `season.json`.

    Notes
    -----
    The store is TAW − Dr, the water above the wilting point. What roots reach as they grow counts as not applied.
    """
    table, litres = season.beds[key], season.totals["beds"][key]["litres"]
    applied = table["irrigation_mm"].to_numpy(float)
    at_end = (table["taw_mm"] - table["depletion_mm"]).to_numpy(float)
    parts = _followed(table, at_end, applied, "eta_mm", "deep_percolation_mm")
    depth = float(applied.sum())
    return Fate(litres, *(litres * part / depth for part in parts)) if depth > 0.0 else Fate(litres, 0.0, 0.0, litres)


def pan_fate(season: Season, controller: str) -> Fate:
    """
    Follow the refill emitter's water through the pan.

    Parameters
    ----------
    season : Season
    controller : str

    Returns
    -------
    Fate
        Its ``applied`` is the controller's refilled kg in `season.json`; a kg is a litre.
    """
    table, totals = season.controllers[controller], season.totals["controllers"][controller]
    table = table.assign(spilled_kg=table["spilled_kg"] + table["leaked_kg"])  # gone alike
    refilled = table["refilled_kg"].to_numpy(float)
    changes = refilled + table["rain_caught_kg"] - table["evaporated_kg"] - table["spilled_kg"]
    at_end = totals["pan_start_kg"] + np.cumsum(changes.to_numpy(float))
    return Fate(totals["refilled_kg"], *_followed(table, at_end, refilled, "evaporated_kg", "spilled_kg"))


def _followed(
    table: pd.DataFrame, at_end: Floats, applied: Floats, used: str, drained: str
) -> tuple[float, float, float]:
    """Applied water through the store of a daily table, by what it holds at each day's end."""
    by_use, by_drain = table[used].to_numpy(float), table[drained].to_numpy(float)
    return mixed(np.maximum(at_end, 0.0) + by_use + by_drain, applied, by_use, by_drain)
