"""
Leaving: may the garden be left alone from this date to that? The same calendar days in every year of the record, and
once more with a made-up heat wave; and which single change would make it safe.

A bed is safe while its driest quarter keeps within its readily available water (RAW); a pan, while it stays wet and
evaporation never holds the valve open.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import pandas as pd

from panbudget.errors import Problem, ScenarioError
from panbudget.extras import Reported, Step, silent
from panbudget.scenario.garden import Controller, Heat, Scenario, as_scenario
from panbudget.season.heat import said as heat_said
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.season.years import in_year, moved, years_at_hand
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather
from panbudget.words import calendar_day

__all__ = ["Away", "BedAway", "Change", "PanAway", "Stay", "away"]

MOST_DAYS = 366
# the made-up heat wave where the scenario describes none; common practice, no source
HEAT_DAYS, HEAT_WARMER = 7, "+5 K"

_MOST_PRESSES = 24  # a day, as the scenario allows
_BY_HAND, _PRESS = "water by hand", "press"


@dataclass(frozen=True)
class BedAway:
    """
    One bed's driest quarter while nobody is there.

    Parameters
    ----------
    stress_days : int
        Days short of water.
    first_short : date or None
    short_before : bool
        Short already on the day of leaving.
    least_room_mm : float
        Readily available water left at the worst evening; below zero when short. [mm]
    irrigation_mm : float
        The bed's mean. [mm]
    """

    stress_days: int
    first_short: dt.date | None
    short_before: bool
    least_room_mm: float
    irrigation_mm: float


@dataclass(frozen=True)
class PanAway:
    """One pan and valve while nobody is there: openings, litres, lowest level above the floor, and what went wrong."""

    openings: int
    litres: float
    lowest_level_mm: float
    dry_hours: float
    stuck_hours: float


@dataclass(frozen=True)
class Stay:
    """
    The days away in one year.

    Parameters
    ----------
    start, end : date
    made_heat : str
        What was laid over the record, empty if nothing.
    beds : dict of BedAway
    pans : dict of PanAway
    season : Season
        Of the days away alone.
    """

    start: dt.date
    end: dt.date
    made_heat: str
    beds: dict[str, BedAway]
    pans: dict[str, PanAway]
    season: Season

    @property
    def name(self) -> str:
        """The year, and whether heat was made."""
        return f"{self.start.year}" + (" with a made-up heat wave" if self.made_heat else "")

    @property
    def stress_days(self) -> int:
        """Added over the beds' driest quarters."""
        return sum(bed.stress_days for bed in self.beds.values())

    @property
    def safe(self) -> bool:
        """Whether every bed stayed above its limit, every pan wet, and no valve was held open."""
        return not self.stress_days and not any(p.dry_hours or p.stuck_hours for p in self.pans.values())

    @property
    def badness(self) -> tuple[float, float, float]:
        """What years are ranked by: stress days, then hours dry or stuck, then the least room left."""
        return (
            float(self.stress_days),
            sum(pan.dry_hours + pan.stuck_hours for pan in self.pans.values()),
            -min(bed.least_room_mm for bed in self.beds.values()),
        )

    @property
    def failing(self) -> list[str]:
        """Controllers with something unsafe at them, in order."""
        return [
            name
            for name, pan in self.pans.items()
            if pan.dry_hours
            or pan.stuck_hours
            or any(bed.stress_days for key, bed in self.beds.items() if key.split("/")[0] == name)
        ]


@dataclass(frozen=True)
class Change:
    """
    One change tried.

    Parameters
    ----------
    what : str
        What it is, in words.
    safe : bool
        In every year and in the made-up heat wave.
    fails_in : tuple of str
        Stays in which something is left, among those tried.
    stress_days, before : int
        In the worst stay, with and without it.
    impossible : str
        Why it can't be done; empty if it can.
    """

    what: str
    safe: bool
    fails_in: tuple[str, ...]
    stress_days: int
    before: int
    impossible: str = ""


@dataclass(frozen=True)
class Away(Reported):
    """
    What is known about leaving a garden alone.

    Parameters
    ----------
    scenario : Scenario
    start, end : date
        As asked for.
    stays : tuple of Stay
        Year by year.
    heat : Stay
        The worst year with a made-up heat wave laid over it.
    worst : Stay
        The worst year.
    changes : tuple of Change
        Tried when it is not safe as it is; those that make it safe first.
    assumptions : tuple of str
    """

    room: ClassVar[str] = "away"

    scenario: Scenario
    start: dt.date
    end: dt.date
    stays: tuple[Stay, ...]
    heat: Stay
    worst: Stay
    changes: tuple[Change, ...]
    assumptions: tuple[str, ...]

    @property
    def safe(self) -> bool:
        """Whether nothing goes wrong in any year, nor in the made-up heat wave."""
        return all(stay.safe for stay in (*self.stays, self.heat))

    @property
    def days(self) -> int:
        """How many days away."""
        return (self.end - self.start).days + 1

    def table(self) -> pd.DataFrame:
        """Return a row for each stay and bed, its pan's figures repeated, as `away.csv` holds them."""
        rows = []
        for stay in (*self.stays, self.heat):
            for key, bed in stay.beds.items():
                pan = stay.pans[key.split("/")[0]]
                rows.append(
                    {
                        "start": stay.start.isoformat(),
                        "end": stay.end.isoformat(),
                        "made_heat": int(bool(stay.made_heat)),
                        "controller": key.split("/")[0],
                        "bed": key.split("/")[1],
                        "stress_days": bed.stress_days,
                        "first_short": bed.first_short.isoformat() if bed.first_short else "",
                        "short_before": int(bed.short_before),
                        "least_room_mm": bed.least_room_mm,
                        "irrigation_mm": bed.irrigation_mm,
                        "openings": pan.openings,
                        "litres": pan.litres,
                        "lowest_level_mm": pan.lowest_level_mm,
                        "dry_hours": pan.dry_hours,
                        "stuck_hours": pan.stuck_hours,
                    }
                )
        return pd.DataFrame(rows)


def away(
    scenario: Scenario | str | Path,
    start: dt.date,
    end: dt.date,
    *,
    weather: Weather | None = None,
    step: Step = silent,
) -> Away:
    """
    Leave a garden alone over the same calendar days in every year of its record, and in a made-up heat wave.

    Parameters
    ----------
    scenario : Scenario or path
    start, end : date
        First and last day away; the year does not matter.
    weather : Weather, optional
        Already read.
    step : callable
        Told what is being done.

    Returns
    -------
    Away

    Raises
    ------
    ScenarioError, WeatherError
        Dates in the wrong order, more than a year, or in no year of the record.

    Notes
    -----
    Every year is replayed from the season's first day, or from the first day away if that comes before it. The heat
    wave is laid over the worst year: the scenario's ``what_if.heat`` if it falls on the days away, else seven days 5 °C
    warmer and without rain, in their middle. Changes are in place from the season's first day; what is done by hand
    happens on the morning of leaving.
    """
    scenario = as_scenario(scenario)
    if end < start:
        raise _wrong(scenario, f"end, {end}, before they start, {start}", "give the earlier date first")
    if (end - start).days >= MOST_DAYS:
        raise _wrong(scenario, f"are {(end - start).days + 1}, more than a year", "ask for less")
    weather = weather or read_scenario_weather(scenario)
    plain = scenario.changed({"what_if": {"heat": None}}) if scenario.what_if.heat is not None else scenario
    first, last = _beside_the_season(plain, start, end)
    run_from = min(plain.season.start, first)
    years = years_at_hand(plain, weather, run_from, last)
    if not years:
        held = f"{weather.daily.index[0].date()} to {weather.daily.index[-1].date()}"
        found = (
            f"from {calendar_day(first)} to {calendar_day(last)} and those before them back to {calendar_day(run_from)} are in "
            f"no year of the weather file {scenario.weather.file} (it runs from {held})"
        )
        raise _wrong(scenario, found, "choose days within it")

    def stay(garden: Scenario, year: int, heat: Heat | None = None, by_hand: str = "") -> Stay:
        by = year - plain.season.start.year
        begin = moved(run_from, by)
        there = moved(first, by)
        return _stay(in_year(garden, year), weather, (begin, there, there + (end - start)), heat, by_hand)

    stays = []
    for year in years:
        step(f"the days away in {moved(first, year - plain.season.start.year).year}")
        stays.append(stay(plain, year))
    worst_at = max(range(len(years)), key=lambda index: stays[index].badness)
    worst_year = years[worst_at]
    step("a made-up heat wave")
    made = _heat(scenario, stays[worst_at], worst_year)
    hot = stay(plain, worst_year, made)
    # the two hardest first: a change that fails there need not be tried on every year
    tests = [(worst_year, made), (worst_year, None), *((year, None) for year in years if year != worst_year)]
    changes = _changes(plain, [*stays, hot], tests, stay, step)
    assumed = [text for one in (*stays, hot) for text in one.season.assumptions]
    return Away(scenario, start, end, tuple(stays), hot, stays[worst_at], tuple(changes), tuple(dict.fromkeys(assumed)))


def _changes(
    plain: Scenario, stays: list[Stay], tests: list[tuple[int, Heat | None]], stay: Callable[..., Stay], step: Step
) -> list[Change]:
    """The best of each family of changes, where any of the stays, of which the last is the hot one, is not safe."""
    if all(each.safe for each in stays):
        return []
    failing = [name for name in plain.controller if any(name in each.failing for each in stays)]
    beds = [key for key in stays[-1].beds if any(each.beds[key].stress_days for each in stays)]
    changes = [_best(plain, family, tests, stays[-1], stay, step) for family in _families(plain, failing, beds)]
    return sorted(changes, key=lambda change: (bool(change.impossible), not change.safe, change.stress_days))


def _wrong(scenario: Scenario, found: str, cure: str) -> ScenarioError:
    return ScenarioError(Problem("no-such-days", "the days away", found, cure=cure), file=str(scenario.path))


def _beside_the_season(scenario: Scenario, start: dt.date, end: dt.date) -> tuple[dt.date, dt.date]:
    """The days away in the year of the scenario's own season; a season over New Year takes them where they fall in it."""
    by = scenario.season.start.year - start.year
    first = moved(start, by)
    if first < scenario.season.start and moved(start, by + 1) <= scenario.season.end:
        first = moved(start, by + 1)
    return first, first + (end - start)


def _heat(scenario: Scenario, worst: Stay, year: int) -> Heat:
    described = in_year(scenario, year).what_if.heat
    if described is not None:
        last = described.start + dt.timedelta(days=described.days - 1)
        if described.start <= worst.end and last >= worst.start:
            return described
    length = (worst.end - worst.start).days + 1
    days = min(HEAT_DAYS, length)
    start = worst.start + dt.timedelta(days=(length - days) // 2)
    return Heat.model_validate({"start": start, "days": days, "warmer": HEAT_WARMER, "without_rain": True})


def _stay(
    garden: Scenario,
    weather: Weather,
    days: tuple[dt.date, dt.date, dt.date],
    heat: Heat | None,
    by_hand: str,
) -> Stay:
    begin, first, last = days
    if heat is not None:
        warmer = {
            "start": heat.start,
            "days": heat.days,
            "warmer": f"{heat.warmer!r} K",
            "without_rain": heat.without_rain,
        }
        garden = garden.changed({"what_if": {"heat": warmer}})
    state, salt, short_before = None, None, dict.fromkeys(_bed_keys(garden), False)
    if begin < first:
        before = replay(garden, start=begin, end=first - dt.timedelta(days=1), weather=weather)
        state, salt = before.state, before.salt_left
        short_before = {
            key: bool((table["growing"] & (table["driest_ks"] < 1.0)).iloc[-1]) for key, table in before.beds.items()
        }
    if by_hand == _BY_HAND and state is None:
        full = {"initial_depletion": 0.0}
        garden = garden.changed(
            {"controller": {name: {"bed": dict.fromkeys(part.bed, full)} for name, part in garden.controller.items()}}
        )
    elif by_hand == _BY_HAND and state is not None:
        state = state.copy()
        state.depletion[:] = 0.0
        state.surface_depletion[:] = 0.0
    if by_hand == _PRESS:
        # one day with the valve pressed at sunrise, on top of what is pressed anyway
        pressed = garden.changed(
            {
                "controller": {
                    name: {"valve": {"press_times": [*part.valve.press_times, "sunrise"]}}
                    for name, part in garden.controller.items()
                    if "sunrise" not in part.valve.press_times and len(part.valve.press_times) < _MOST_PRESSES
                }
            }
        )
        morning = replay(pressed, start=first, end=first, weather=weather, state=state, salt=salt)
        if last > first:
            rest = replay(
                garden,
                start=first + dt.timedelta(days=1),
                end=last,
                weather=weather,
                state=morning.state,
                salt=morning.salt_left,
            )
            return _read(garden, [morning, rest], short_before, heat)
        return _read(garden, [morning], short_before, heat)
    return _read(
        garden, [replay(garden, start=first, end=last, weather=weather, state=state, salt=salt)], short_before, heat
    )


def _bed_keys(garden: Scenario) -> list[str]:
    return [f"{name}/{bed}" for name, part in garden.controller.items() for bed in part.bed]


def _read(garden: Scenario, parts: list[Season], short_before: dict[str, bool], heat: Heat | None) -> Stay:
    beds, pans = {}, {}
    for key, before in short_before.items():
        table = pd.concat([part.beds[key] for part in parts])
        short = table["growing"] & (table["driest_ks"] < 1.0)
        days = table.index[short]
        room = (table["raw_mm"] - table["driest_depletion_mm"])[table["growing"]]
        beds[key] = BedAway(
            int(short.sum()),
            days[0].date() if len(days) else None,
            before,
            float(room.min()) if len(room) else float(table["taw_mm"].min()),
            float(table["irrigation_mm"].sum()),
        )
    for name, described in garden.controller.items():
        table = pd.concat([part.controllers[name] for part in parts])
        lowest = min(float(part.hourly_level[name].min()) for part in parts)
        at_trip = described.pan.water_at_reset - described.valve.swing_kg
        pans[name] = PanAway(
            int(table["openings"].sum()),
            float(table["litres"].sum()),
            (lowest + at_trip) / described.pan.area,
            float(table["dry_hours"].sum()),
            float(table["stuck_hours"].sum()),
        )
    first, last = parts[0].days.index[0].date(), parts[-1].days.index[-1].date()
    return Stay(first, last, heat_said(heat) if heat is not None else "", beds, pans, parts[-1])


#: (what it is, overlay, what is done by hand); the sizes of one change, the smallest first
_Step = tuple[str, dict[str, Any], str]
# (what it is, the part of the controller, its sizes, the part's overlay by size)
_Family = tuple[str, str, tuple[float, ...], Callable[[Controller, float], dict[str, Any]]]
_SETTINGS: tuple[_Family, ...] = (
    (
        "{size:g} mm more freeboard at {at}",
        "pan",
        (20.0, 40.0),
        lambda c, s: {"freeboard": f"{c.pan.freeboard + s!r} mm"},
    ),
    (
        "a swing {size:g} times as large at {at}",
        "valve",
        (2.0, 3.0),
        lambda c, s: {"swing": f"{c.valve.swing_kg * s!r} kg"},
    ),
    ("a pan {size:g} times as deep at {at}", "pan", (1.5, 2.0), lambda c, s: {"depth": f"{c.pan.depth * s!r} mm"}),
    (
        "a refill flow {size:g} times as large at {at}, which gives its beds less",
        "valve",
        (1.5, 2.0),
        lambda c, s: {"refill": {"flow": f"{c.valve.refill.flow * s!r} L/h"}},
    ),
    (
        "a refill flow of {size:.0%} of the present one at {at}, which gives all its beds more",
        "valve",
        (0.8, 0.65, 0.5),
        lambda c, s: {"refill": {"flow": f"{c.valve.refill.flow * s!r} L/h"}},
    ),
    (
        "a pan with {size:g} times the water surface at {at}, which gives all its beds more",
        "pan",
        (1.25, 1.5, 2.0),
        lambda c, s: {"vessels": [{"area": f"{c.pan.area * s!r} m^2"}]},
    ),
)
_MORE_EMITTERS = (1.25, 1.5, 2.0, 3.0)


def _families(scenario: Scenario, failing: list[str], beds: list[str]) -> Iterator[list[_Step]]:
    """Changes to try, each in its sizes. Where several valves fail, each is changed alike."""
    yield [("water every bed by hand on the day before you leave, until the soil holds no more", {}, _BY_HAND)]
    yield [("press the valves by hand on the morning when you leave", {}, _PRESS)]
    if beds:
        yield [_more_emitters(scenario, beds, times) for times in _MORE_EMITTERS]
    for what, part, sizes, overlay in _SETTINGS:
        yield [
            (
                what.format(size=size, at=" and ".join(failing)).replace("%", "\u00a0%"),
                {"controller": {name: {part: overlay(scenario.controller[name], size)} for name in failing}},
                "",
            )
            for size in sizes
        ]


def _more_emitters(scenario: Scenario, beds: list[str], times: float) -> _Step:
    overlay: dict[str, Any] = {"controller": {}}
    told = []
    for key in beds:
        controller, bed = key.split("/")
        now = scenario.controller[controller].bed[bed].emitters.count
        then = max(round(now * times), now + 1)
        told.append(f"{then} emitters in place of {now} on {key}")
        overlay["controller"].setdefault(controller, {}).setdefault("bed", {})[bed] = {"emitters": {"count": then}}
    return ", ".join(told), overlay, ""


def _best(
    scenario: Scenario,
    family: list[_Step],
    tests: list[tuple[int, Heat | None]],
    hot: Stay,
    stay: Callable[..., Stay],
    step: Step,
) -> Change:
    """The smallest size of a change that makes it safe; else the one that leaves the least."""
    best: Change | None = None
    for what, overlay, by_hand in family:
        step(what)
        try:
            garden = scenario.changed(overlay) if overlay else scenario
        except ScenarioError as error:
            best = best or Change(what, False, (), hot.stress_days, hot.stress_days, error.problems[0].sentence())
            continue
        fails: list[str] = []
        left = 0
        for place, (year, heat) in enumerate(tests):
            one = stay(garden, year, heat, by_hand)
            if place == 0:
                left = one.stress_days
            if not one.safe:
                fails.append(one.name)
                if place < 2:
                    break  # the rest need not be tried
        change = Change(what, not fails, tuple(fails), left, hot.stress_days)
        if change.safe:
            return change
        if best is None or best.impossible or change.stress_days < best.stress_days:
            best = change
    assert best is not None  # no family is empty
    return best
