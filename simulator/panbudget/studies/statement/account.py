"""
Account: a statement as a whole: each source's ledger, what its water did, its range, and what breaks its licence.

What its water did, by rule: a root zone and a pan are each taken as well mixed. On every day, the part of what leaves it
(ET, deep percolation, evaporation, spill and leaks) that is applied water is the part of applied water in what it holds that
day. Water that was there on the first day, and rain, are not applied water. So the fates add up to what was applied,
exactly. Runoff of applied water is none: it drips. Litres, L/h, m² inside; what is printed is made by `ledger`.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import functools
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import ReadingsError, WeatherError
from panbudget.extras import Reported, Step, silent
from panbudget.numeric import Floats
from panbudget.scenario.beds import Bed
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.scenario.quantities import Day, day_or
from panbudget.scenario.rights import Meter
from panbudget.season.replay import replay
from panbudget.season.result import SEVERITIES, Finding, Season
from panbudget.season.supplies import floats_on
from panbudget.studies.common import named_by, not_to_ask, problem
from panbudget.studies.ranges import sampled_litres
from panbudget.studies.statement.ledger import (
    METERED,
    Ledger,
    Metered,
    Source,
    beyond,
    keep_ledger,
    largest_rate,
    most_by_hour,
    sources_of,
)
from panbudget.studies.statement.meter import Between, Reading, Readings, metered_days, read_readings
from panbudget.units import quantity
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather
from panbudget.words import joined, packaged, say
from panbudget.words import litres as litres_said

_FINDINGS = packaged("studies/statement/account.toml")
UNLIKELY = 5.0  # times the model: an extra zero, or a unit; common practice, no source
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
    tanks : dict
        Tank that it is, or whose float valve draws on it -> that tank's totals, as `season.json` has them.
    fed_area : float
        Of the beds on tanks that it fills. [m²]
    between : tuple of Between
        What its supply's meter counted, as far as it bears on the season.
    readings : tuple of Reading
        At the ends of these.
    """

    ledger: Ledger
    beds: pd.DataFrame
    rate: float
    rate_date: str
    tanks: dict[str, dict[str, Any]]
    fed_area: float
    between: tuple[Between, ...]
    readings: tuple[Reading, ...]

    @property
    def source(self) -> Source:
        """What it accounts for."""
        return self.ledger.source

    @property
    def interval(self) -> tuple[float, float]:
        """Of the reported season. [L]"""
        return self.ledger.interval

    @property
    def metered(self) -> Metered | None:
        """Meter against model."""
        return self.ledger.metered

    @property
    def area(self) -> float:
        """Area irrigated, out of tanks that it fills too. [m²]"""
        return float(sum(self.beds["area_m2"])) + self.fed_area


@dataclass(frozen=True, eq=False, repr=False)
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
    before : Season or None
        The days before, from the scenario's first, of a statement that begins later: it goes on from where they end.
    is_cut : bool
        Whether it begins later than the scenario's first day.
    described_start : date
        That day.
    """

    room: ClassVar[str] = "statement"

    season: Season
    accounts: tuple[Account, ...]
    samples: int
    readings: tuple[Readings, ...]
    findings: tuple[Finding, ...]
    before: Season | None = None
    is_cut: bool = False
    described_start: dt.date | None = None

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

    Raises
    ------
    ScenarioError, WeatherError, ReadingsError
        What the user can cure.
    """
    scenario = as_scenario(scenario, variants)
    # how often it is drawn is no part of the garden: the season stays the one that `replay` makes
    drawn_over = scenario if samples is None else scenario.changed({"uncertainty": {"samples": samples}})
    first, last = day_or(start, "start", scenario.season.start), day_or(end, "end", scenario.season.end)
    if last < first:
        raise not_to_ask("end-before-start", "season", first=first, last=last)
    files = tuple(readings_of(scenario, readings))
    for file in files:
        _within_the_season(file, first, last)
    step("reading the weather")
    is_cut, before = first > scenario.season.start, None
    weather = _weather(scenario, first, last)
    step("replaying the season")
    if is_cut and weather.holds(scenario.season.start, last):
        before = replay(scenario, end=first - dt.timedelta(days=1), weather=weather)
    goes_on: dict[str, Any] = {} if before is None else {"state": before.state, "salt": before.salt_left}
    season, count = replay(scenario, start=first, end=last, weather=weather, **goes_on), drawn_over.uncertainty.samples
    litres = sampled_litres(season, count, step, before=[before] if before else ())
    accounts = tuple(_account(season, source, files, litres, before) for source in sources_of(season))
    findings = [finding for account in accounts for finding in _findings(account)]
    findings += _unknown(season, is_cut and before is None)
    # what a bed consumes of its water depends on what grows there
    findings += [finding for finding in season.findings if finding.code == "never-growing"]
    findings.sort(key=lambda finding: SEVERITIES.index(finding.severity))
    return Statement(season, accounts, count, files, tuple(findings), before, is_cut, scenario.season.start)


def _weather(scenario: Scenario, first: dt.date, last: dt.date) -> Weather:
    """The weather of the statement's days, and where the file has them, of those before it from the scenario's first."""
    with contextlib.suppress(WeatherError):
        if scenario.season.start < first:
            return read_scenario_weather(scenario, scenario.season.start, last)
    return read_scenario_weather(scenario, first, last)


def _unknown(season: Season, began_unknown: bool) -> Iterator[Finding]:
    """What can't be accounted for."""
    if began_unknown:
        yield _finding("first-day-unknown", "season", first=season.totals["season"]["start"])
    for name in floats_on(season.scenario, ""):
        topped = season.totals["supplies"][name]["tank"]["topped_l"]
        yield _finding("float-unnamed", name, litres=litres_said(topped), tank=name)


def _within_the_season(file: Readings, first: dt.date, last: dt.date) -> None:
    """Refuse readings that have nothing to do with the season: the statement would name them as if they counted."""
    stretches = [stretch for part in file.by_supply.values() for stretch in part]
    if stretches and not any(part.start.date() <= last and part.end.date() > first for part in stretches):
        earliest, latest = min(part.start for part in stretches).date(), max(part.end for part in stretches).date()
        days = {"first": first, "last": last, "earliest": earliest, "latest": latest}
        raise ReadingsError(problem("readings-outside", **days), file=file.file)


def readings_of(scenario: Scenario, given: str | Path | None = None) -> Iterator[Readings]:
    """Read the meter readings of a garden, those given or those that its rights name."""
    supplies, meters = list(scenario.supply), {name: supply.meter for name, supply in scenario.supply.items()}
    read_them = functools.partial(read_readings, supplies=supplies, meters=meters, most=most_by_hour(scenario))
    rights = {name: supply.right for name, supply in scenario.supply.items() if supply.right is not None}
    if given is not None:
        default = next(iter(rights)) if len(rights) == 1 else None
        read = read_them(Path(given), default=default, shown_as=str(given))
        # the path that a person typed is no business of who reads the statement
        yield replace(read, file=Path(given).name)
        return
    for name, right in rights.items():
        if right.readings is not None:
            path = scenario.path.parent / right.readings
            with named_by(scenario, f"supply.{name}.right.readings", right.readings):
                read = read_them(path, default=name, shown_as=right.readings)
            # a file that several supplies share is named by each of them
            by_supply = {supply: part for supply, part in read.by_supply.items() if supply == name}
            events = tuple(event for event in read.events if event.startswith(f"{name}: "))
            yield replace(read, by_supply=by_supply, events=events, taken={name: read.taken.get(name, ())})


def _account(
    season: Season, source: Source, files: tuple[Readings, ...], litres: dict[str, Floats], before: Season | None
) -> Account:
    supplies, controllers = season.scenario.supply, season.scenario.controller
    between = {supply: part for file in files for supply, part in file.by_supply.items()}.get(source.supply, ())
    first, after = season.days.index[0], season.days.index[-1] + dt.timedelta(days=1)
    between = tuple(part for part in between if part.start < after and part.end > first)
    taken = {supply: part for file in files for supply, part in file.taken.items()}.get(source.supply, ())
    ends = {moment for part in between for moment in (part.start, part.end)}
    taken = tuple(reading for reading in taken if reading.moment in ends)
    accuracy = (supplies[source.supply].meter or Meter()).accuracy
    ledger = keep_ledger(season, source, between, litres, accuracy=accuracy, before=before)
    beds = pd.DataFrame(_bed_rows(season, source), columns=["bed", "crop", "area_m2", *Fate._fields])
    names = [name for name in season.tanks if name in source.floats or name == source.supply]
    tanks = {name: season.totals["supplies"][name]["tank"] for name in names}
    fed = [part for part in controllers.values() if part.supply in source.floats]
    area = sum(bed.area for part in fed for bed in part.bed.values())
    return Account(ledger, beds, *largest_rate(season, source), tanks, float(area), between, taken)


def _bed_rows(season: Season, source: Source) -> Iterator[tuple[Any, ...]]:
    pans = []
    for controller, share in [(name, share) for name, share in source.shares.items() if name in season.controllers]:
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


def _finding(code: str, where: str, *, first: str | None = None, days: int = 0, **values: object) -> Finding:
    message, cure = (say(_FINDINGS[code].get(name, ""), **values) for name in ("message", "cure"))
    return Finding(_FINDINGS[code]["severity"], code, where, message, first, days, cure)


def _findings(account: Account) -> Iterator[Finding]:
    """Terms of a licence that are broken, or nearly; and a meter that the model's range does not hold."""
    papers, outside, metered = account.source.papers, account.ledger.outside, account.metered
    finding = functools.partial(_finding, where=account.source.name)
    for label, year in account.ledger.years.iterrows():
        if year["exceeded_on"] is not None:
            yield finding("licence-exceeded", first=year["exceeded_on"].isoformat(), year=label)
        elif year["share_used"] is not None and year["share_used"] > NEAR_LICENCE:
            yield finding("licence-near", year=label)
    if papers.rate is not None and beyond(account.rate, papers.rate):
        yield finding("rate-exceeded", first=account.rate_date or None)
    if len(outside):
        yield finding("out-of-season", first=f"{outside.index[0]:%Y-%m-%d}", days=len(outside))
    if papers.area is not None and beyond(account.area, papers.area):
        yield finding("area-exceeded")
    if changes := list(_other_units(account.readings)):
        yield finding("other-units", changes=" and ".join(changes))
    if metered is not None and not metered.agrees:
        yield finding("meter-apart")
        yield from _unlikely(account)
    elif metered is not None and (apart := list(_months_apart(account.ledger, metered.accuracy))):
        yield finding("month-apart", months=joined("; ", apart))


def _other_units(readings: Sequence[Reading]) -> Iterator[str]:
    """Readings of one meter in another unit than the one before."""
    for before, reading in itertools.pairwise(readings):
        earlier, later = (quantity(f"1 {part.unit}", "volume") for part in (before, reading))
        if not math.isclose(earlier, later) and reading.event != "installed":
            yield f"{reading.text} on {reading.shown} follows {before.text}"


def _months_apart(ledger: Ledger, accuracy: float) -> Iterator[str]:
    """Metered months outside the model's range, by more than an opening about their ends may shift: a day's most water."""
    shifted, months = float(ledger.days["modelled"].max()), ledger.months
    for month in months[months["basis"] == METERED].to_dict("records"):
        counted, low, high = (month[f"{name}_litres"] for name in ("metered", "range_low", "range_high"))
        if counted * (1.0 + accuracy) < low - shifted or counted * (1.0 - accuracy) > high + shifted:
            facts = {"month": month["month"], "counted": counted, "low": low, "high": high}
            yield say("{month} ({counted:litres}; the range is {low:litres} to {high:litres})", **facts)


def _unlikely(account: Account) -> Iterator[Finding]:
    """Stretches between readings in which a meter counted many times what the model has."""
    days = account.ledger.days
    supply, first = days["supply"].to_numpy(), days.index[0].date()
    for part in account.between:
        modelled = float(metered_days([part], first, supply)[1] @ supply)
        if modelled > 0.0 and part.end.date() <= days.index[-1].date() + dt.timedelta(days=1):
            times = part.litres / modelled
            if times > UNLIKELY:
                since, last, counted = part.start.date(), part.end.date(), litres_said(part.litres)
                where = account.source.name
                yield _finding("reading-unlikely", where, times=times, since=since, last=last, litres=counted)


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
