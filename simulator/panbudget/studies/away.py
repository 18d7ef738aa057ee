"""
Leaving: may the garden be left alone from this date to that? The same calendar days in every year of the record, and
once more with a made-up heat wave, as described and over what is uncertain; and which single change would make it safe.

A bed is safe while its driest quarter keeps within its readily available water (RAW); a pan, while it stays wet and
evaporation never holds the valve open. A cell is a year with a draw of what is uncertain.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget import words
from panbudget.engine.arrays import State
from panbudget.engine.compiled import has_compiler
from panbudget.engine.season import run_season
from panbudget.errors import ScenarioError
from panbudget.extras import Reported, Step, silent
from panbudget.numeric import Floats
from panbudget.scenario.garden import Controller, Heat, Scenario, as_scenario
from panbudget.scenario.supplies import Tank
from panbudget.season.heat import said as heat_said
from panbudget.season.heat import with_heat
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.season.years import in_year, moved, usable_years
from panbudget.studies import common, ranges
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather
from panbudget.words import calendar_day

MOST_DAYS = 366
# the made-up heat wave where the scenario describes none; common practice, no source
HEAT_DAYS, HEAT_WARMER = 7, "+5 K"
_FLOAT_SHARE = 0.2  # of a tank, below which its float valve opens; common practice, no source

_MOST_PRESSES = 24  # a day, as the scenario allows
_DAY = dt.timedelta(days=1)
_HEAT_MADE = " with a made-up heat wave"
_MANY = 12  # gardens that are judged if one is: the changes tried
_HOURS = ("dry_hours", "stuck_hours", "starved_hours")
_FULL_SOIL, _FULL_TANK, _PRESS = "full soil", "full tank", "press"
_DATA = common.read_data("away")


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
        Readily available water left in the worst morning; below zero when short. [mm]
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

    # starved: the valve is open and its tank empty

    openings: int
    litres: float
    lowest_level_mm: float
    dry_hours: float
    stuck_hours: float
    starved_hours: float = 0.0

    @property
    def wrong_hours(self) -> float:
        """Dry, or with the valve stuck open. [h]"""
        return self.dry_hours + self.stuck_hours


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
        return f"{self.start.year}" + _HEAT_MADE * bool(self.made_heat)

    @property
    def stress_days(self) -> int:
        """Added over the beds' driest quarters."""
        return sum(bed.stress_days for bed in self.beds.values())

    @property
    def safe(self) -> bool:
        """Whether every bed stayed above its limit, every pan wet, and no valve was held open."""
        return not self.stress_days and not any(pan.wrong_hours for pan in self.pans.values())

    @property
    def badness(self) -> tuple[float, float, float]:
        """What years are ranked by: stress days, then hours dry or stuck, then the least room left."""
        hours = sum(pan.wrong_hours for pan in self.pans.values())
        return float(self.stress_days), hours, -min(bed.least_room_mm for bed in self.beds.values())

    @property
    def failing(self) -> list[str]:
        """Controllers with something unsafe at them, in order."""
        short = {key.split("/")[0] for key, bed in self.beds.items() if bed.stress_days}
        return [name for name, pan in self.pans.items() if pan.wrong_hours or name in short]


@dataclass(frozen=True)
class Sure:
    """
    How sure it is that the garden comes through.

    Parameters
    ----------
    share, heat_share : float
        Of the cells, and of the draws in the made-up heat wave, in which nothing goes wrong. [-]
    exposure, refill_flow : (float, float), optional
        Between which factors on what the pan loses and on the refill flow, one at a time and the rest as described,
        nothing goes wrong in the share of the years that is asked for, the heat wave among them; None where it does
        already. [-]
    """

    share: float
    heat_share: float
    exposure: tuple[float, float] | None = None
    refill_flow: tuple[float, float] | None = None


@dataclass(frozen=True)
class Change:
    """
    One change tried.

    Parameters
    ----------
    what : str
        What it is, in words.
    safe : bool
        In every year and in the made-up heat wave, and in as many of a hundred cells as are asked for.
    fails_in : tuple of str
        Stays in which something is left, among those tried.
    stress_days, before : int
        In the worst stay, with and without it.
    impossible : str
        Why it can't be done; empty if it can.
    sure : Sure, optional
        None where it can't be done.
    """

    what: str
    safe: bool
    fails_in: tuple[str, ...]
    stress_days: int
    before: int
    impossible: str = ""
    sure: Sure | None = None


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
    sure : Sure
        Of the garden as described.
    draws : int
        In each year.
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
    sure: Sure
    draws: int

    @property
    def safe_as_described(self) -> bool:
        """Whether nothing goes wrong in any year, nor in the made-up heat wave."""
        return all(stay.safe for stay in (*self.stays, self.heat))

    @property
    def safe(self) -> bool:
        """Whether that is so, and over what is uncertain as often as is asked for."""
        return self.safe_as_described and _often(self.sure, self.interval)

    @property
    def interval(self) -> float:
        """Share of the cells in which nothing may go wrong. [-]"""
        return self.scenario.uncertainty.interval

    @property
    def days(self) -> int:
        """How many days away."""
        return (self.end - self.start).days + 1

    def table(self) -> pd.DataFrame:
        """Return a row for each stay and bed, its pan's figures repeated, as `away.csv` holds them."""
        rows = []
        for stay in (*self.stays, self.heat):
            days = {"start": stay.start.isoformat(), "end": stay.end.isoformat()}
            for key, bed in stay.beds.items():
                controller, name = key.split("/")
                where = {"made_heat": int(bool(stay.made_heat)), "controller": controller, "bed": name}
                texts = {
                    "first_short": bed.first_short.isoformat() if bed.first_short else "",
                    "short_before": int(bed.short_before),
                }
                rows.append({**days, **where, **vars(bed), **texts, **vars(stay.pans[controller])})
        return pd.DataFrame(rows)


def _often(sure: Sure, interval: float) -> bool:
    return min(sure.share, sure.heat_share) >= interval


# one size of a change: what it is, its overlay, and what is done by hand
_Try = tuple[str, dict[str, Any], str]
# a year, and the heat that is made up in it
_Test = tuple[int, Heat | None]


def away(
    scenario: common.Garden,
    start: dt.date,
    end: dt.date,
    *,
    variants: Sequence[str] = (),
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
    variants : sequence of str, optional
        Laid over it in order: names of its own, or files such as `fitted.toml`.
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
    happens on the morning of leaving. The draws are those of `ranges.drawn_factors`, the same for every change.
    """
    scenario = as_scenario(scenario, variants)
    wrong = ("no-such-days", "the days away")
    if end < start:
        raise common.refusal(scenario, *wrong, f"end, {end}, before they start, {start}", "give the earlier date first")
    if (end - start).days >= MOST_DAYS:
        raise common.refusal(scenario, *wrong, f"are {(end - start).days + 1}, more than a year", "ask for less")
    plain = scenario.changed({"what_if": {"heat": None}})
    first = _beside_the_season(plain, start)
    begin = min(plain.season.start, first)
    usable = usable_years(plain, begin, first + (end - start), weather)
    years = list(usable.weather)
    leave = _Leave(plain, usable.weather, begin, first, end - start, step)
    if not years:
        weather = weather or read_scenario_weather(scenario, begin, first + leave.length)
        held = f"{weather.daily.index[0].date()} to {weather.daily.index[-1].date()}"
        found = (
            f"from {calendar_day(first)} to {calendar_day(first + leave.length)} and those before them back to "
            f"{calendar_day(leave.begin)} are in no year of the weather file {scenario.weather.shown} (it runs from {held})"
        )
        raise common.refusal(scenario, *wrong, found, "choose days within it")
    stays = []
    for year in years:
        step(f"the days away in {moved(first, year - plain.season.start.year).year}")
        stays.append(leave.stay(plain, year))
    worst_at = max(range(len(years)), key=lambda index: stays[index].badness)
    worst, worst_year = stays[worst_at], years[worst_at]
    step("a made-up heat wave")
    made = _heat(scenario, worst, worst_year)
    hot = leave.stay(plain, worst_year, made)
    # the two hardest first: a change that fails there need not be tried on every year
    tests = [(worst_year, made), (worst_year, None), *((year, None) for year in years if year != worst_year)]
    step("over what is uncertain")
    count = ranges.DRAWS[has_compiler()]
    sure, failing = leave.judged(plain, tests, count)
    assumed = (*usable.sentences(), *common.assumptions_of(stay.season for stay in (*stays, hot)))
    answer = Away(scenario, start, end, tuple(stays), hot, worst, (), assumed, sure, count)
    if answer.safe:
        return answer
    return dataclasses.replace(answer, changes=tuple(leave.changes([*stays, hot], tests, failing, count)))


def _beside_the_season(scenario: Scenario, start: dt.date) -> dt.date:
    """The first day away in the year of the scenario's own season; a season over New Year takes it where it falls in it."""
    by = scenario.season.start.year - start.year
    first, next_year = moved(start, by), moved(start, by + 1)
    return next_year if first < scenario.season.start and next_year <= scenario.season.end else first


def _heat(scenario: Scenario, worst: Stay, year: int) -> Heat:
    described = in_year(scenario, year).what_if.heat
    if described is not None:
        last = described.start + (described.days - 1) * _DAY
        if described.start <= worst.end and last >= worst.start:
            return described
    length = (worst.end - worst.start).days + 1
    days = min(HEAT_DAYS, length)
    start = worst.start + (length - days) // 2 * _DAY
    return Heat.model_validate({"start": start, "days": days, "warmer": HEAT_WARMER, "without_rain": True})


@dataclass(frozen=True)
class _Leave:
    """
    Leaving a garden alone in any year of its record.

    Parameters
    ----------
    plain : Scenario
        Without a made-up heat wave.
    weather : dict of Weather
        Of each year.
    begin, first : date
        From when it is replayed, and the first day away, in the year of its own season.
    length : timedelta
        From the first day away to the last.
    step : callable
        Told what is tried.
    """

    plain: Scenario
    weather: dict[int, Weather]
    begin: dt.date
    first: dt.date
    length: dt.timedelta
    step: Step

    def _days_of(self, year: int) -> tuple[dt.date, dt.date, dt.date]:
        """The day from which it is replayed, the first day away and the last."""
        by = year - self.plain.season.start.year
        first = moved(self.first, by)
        return moved(self.begin, by), first, first + self.length

    def stay(self, garden: Scenario, year: int, heat: Heat | None = None) -> Stay:
        """Replay the days away in one year."""
        garden, (begin, first, last) = in_year(garden, year), self._days_of(year)
        if heat is not None:
            garden = garden.changed({"what_if": {"heat": {**heat.model_dump(), "warmer": f"{heat.warmer!r} K"}}})
        state, salt, short_before = None, None, {}
        if begin < first:
            before = replay(garden, start=begin, end=first - _DAY, weather=self.weather[year])
            state, salt = before.state, before.salt_left
            short_before = {key: bool(common.short_of_water(table).iloc[-1]) for key, table in before.beds.items()}
        season = replay(garden, start=first, end=last, weather=self.weather[year], state=state, salt=salt)
        return _stay(season, short_before, heat)

    def stretches(self, garden: Scenario, test: _Test, by_hand: str) -> tuple[list[ranges.Days], int]:
        """Lay out the days before leaving and those away, and say which is the first of these."""
        (year, heat), (begin, first, last) = test, self._days_of(test[0])
        garden, by = (in_year(garden, year), 0) if garden.fault else (garden, year - self.plain.season.start.year)
        weather = self.weather[year]
        if heat is not None:
            weather = with_heat(weather, heat, garden.site, file=str(garden.path))
        spans = [(garden, begin, first - _DAY), (garden, first, last)]
        if by_hand == _PRESS:  # one day with the valve pressed at sunrise, on top of what is pressed anyway
            pressed = garden.changed(common.each_controller(garden, _pressed))
            spans[1:] = [(pressed, first, first), (garden, first + _DAY, last)]
        stretches: list[ranges.Days] = []
        for described, start, end in spans:
            if start <= end:
                began = stretches[0].began if stretches else None
                stretches.append(ranges.days_of(described, weather, start, end, by, began))
        return stretches, int(begin < first)

    def described(self, garden: Scenario, test: _Test, by_hand: str) -> Fared:
        """Leave a garden alone in one year as it is described."""
        return fared(*self.stretches(garden, test, by_hand), ranges.scanned(garden), by_hand)

    def judged(
        self, garden: Scenario, tests: Sequence[_Test], count: int, by_hand: str = ""
    ) -> tuple[Sure, tuple[list[str], list[str], list[str]]]:
        """
        Judge a garden over what is uncertain.

        Returns
        -------
        Sure
        lists of str
            Controllers, beds ("CONTROLLER/BED") and tanks at which something goes wrong in some of the draws.
        """
        laid_out = [self.stretches(garden, test, by_hand) for test in tests]
        run = ranges.engine_for(count * len(tests) * _MANY)
        drawn = [fared(*each, ranges.drawn_factors(garden, count), by_hand, run) for each in laid_out]

        def holds(exposure: float, refill_flow: float) -> bool:
            draws = ranges.scanned(garden, [exposure], [refill_flow])
            return float(np.mean([fared(*each, draws, by_hand, run).safe for each in laid_out])) >= _interval(garden)

        hot, *years = drawn
        sure = Sure(float(np.mean([each.safe for each in years])), float(hot.safe.mean()))
        if garden is self.plain or _often(sure, _interval(garden)):
            exposure = ranges.around(lambda factor: holds(factor, 1.0), ranges.COARSE)
            refill_flow = exposure and ranges.around(lambda factor: holds(1.0, factor), ranges.COARSE)
            sure = dataclasses.replace(sure, exposure=exposure, refill_flow=refill_flow)
        tail = (1.0 - _interval(garden)) / 2.0
        parts = garden.controller
        keys = [f"{name}/{bed}" for name, part in parts.items() for bed in part.bed]

        def at(names: Sequence[str], what: str) -> list[str]:
            often = np.mean([(getattr(each, what) > 0.0).mean(axis=0) for each in drawn], axis=0)
            return [name for name, share in zip(names, often, strict=True) if share > tail]

        short, wrong, empty = at(keys, "stress_days"), at([*parts], "wrong_hours"), at([*parts], "starved_hours")
        failing = [name for name in parts if name in {key.split("/")[0] for key in short} | set(wrong)]
        return sure, (failing, short, [parts[name].supply for name in empty if name in failing])

    def changes(
        self,
        stays: list[Stay],
        tests: list[_Test],
        drawn: tuple[list[str], list[str], list[str]],
        count: int,
    ) -> list[Change]:
        """Return the best of each family of changes to what fails in the stays, the last of them hot, or over the draws."""
        fails, short, dry = drawn
        failing = [name for name in self.plain.controller if name in fails or any(name in s.failing for s in stays)]
        beds = [key for key in stays[-1].beds if key in short or any(each.beds[key].stress_days for each in stays)]
        starved = set(dry) | {
            self.plain.controller[name].supply
            for each in stays
            for name in each.failing
            if each.pans[name].starved_hours > 0.0
        }
        families = _families(self.plain, failing, beds, [name for name in self.plain.supply if name in starved])
        changes = [self._best(family, tests, stays[-1].stress_days, count) for family in families]
        return sorted(changes, key=_rank)

    def _best(self, family: list[_Try], tests: list[_Test], before: int, count: int) -> Change:
        """The smallest size of a change that makes it safe; else the one that leaves the least."""
        changes: list[tuple[Change, Scenario, str]] = []
        for what, overlay, by_hand in family:
            self.step(what)
            try:
                garden = self.plain.changed(overlay)
            except ScenarioError as error:
                changes.append((Change(what, False, (), before, before, error.problems[0].sentence()), self.plain, ""))
                continue
            fails, first_days = [], before
            for index, test in enumerate(tests):
                described = self.described(garden, test, by_hand)
                first_days = first_days if index else int(described.stress_days.sum())
                fails += [] if described.safe.all() else [f"{test[0]}" + _HEAT_MADE * (test[1] is not None)]
                if fails and index < 2:
                    break  # the rest need not be tried
            change = Change(what, False, tuple(fails), first_days, before)
            if not fails:
                sure, _ = self.judged(garden, tests, count, by_hand)
                change = dataclasses.replace(change, sure=sure, safe=_often(sure, _interval(garden)))
            changes.append((change, garden, by_hand))
            if change.safe:
                return change
        best, garden, by_hand = min(changes, key=lambda tried: _rank(tried[0]))
        if not best.impossible and best.sure is None:
            best = dataclasses.replace(best, sure=self.judged(garden, tests, count, by_hand)[0])
        return best


def _rank(change: Change) -> tuple[bool, bool, int, float]:
    """What changes are listed by: those that can be done, that make it safe, that leave the fewest days, the surest."""
    return bool(change.impossible), not change.safe, change.stress_days, -change.sure.share if change.sure else 0.0


def _interval(garden: Scenario) -> float:
    return garden.uncertainty.interval


@dataclass(frozen=True)
class Fared:
    """
    What the days away came to, a row a draw.

    Parameters
    ----------
    stress_days : ndarray (draws, beds)
        Short of water, driest quarters.
    wrong_hours, starved_hours : ndarray (draws, controllers)
        Pan dry or valve held open by evaporation; open without water. [h]
    """

    stress_days: Floats
    wrong_hours: Floats
    starved_hours: Floats

    @property
    def safe(self) -> npt.NDArray[np.bool_]:
        """As `Stay.safe`. (draws,)"""
        return np.asarray(~((self.stress_days > 0).any(axis=1) | (self.wrong_hours > 0.0).any(axis=1)))


def fared(
    stretches: Sequence[ranges.Days],
    leaving: int,
    draws: ranges.Draws,
    by_hand: str = "",
    run: Callable[..., int] = run_season,
) -> Fared:
    """Run the days before leaving and those away, of which the first is named, over draws."""
    driest = stretches[0].forcing.bundle.lane("driest_quarter").tolist()
    growing = [each.forcing.beds.growing[each.forcing.beds.lane_bed[driest]] > 0 for each in stretches[leaving:]]

    def by_hand_on_leaving(index: int, state: State) -> None:
        if index == leaving and by_hand == _FULL_SOIL:
            state.depletion[:] = state.surface_depletion[:] = 0.0
        elif index == leaving and by_hand == _FULL_TANK:
            state.volume[:] = stretches[index].forcing.tanks.capacity

    rows = []
    for results in ranges.sampled_chains(stretches, draws, lanes=driest, run=run, between=by_hand_on_leaving):
        away = results[leaving:]
        short = sum(((out.ks < 1.0) & grows).sum(axis=1) for out, grows in zip(away, growing, strict=True))
        wrong = sum((out.dry_hours + out.stuck_hours).sum(axis=1) for out in away)
        rows.append((short, wrong, sum(out.starved_hours.sum(axis=1) for out in away)))
    return Fared(*map(np.array, zip(*rows, strict=True)))


def _stay(season: Season, short_before: dict[str, bool], heat: Heat | None) -> Stay:
    """Read a stay out of the season of the days away."""
    beds, pans = {}, {}
    for key, table in season.beds.items():
        short, room = common.short_of_water(table), table["driest_water_left_mm"][table["growing"]]
        beds[key] = BedAway(
            stress_days=int(short.sum()),
            first_short=table.index[short][0].date() if short.any() else None,
            short_before=short_before.get(key, False),
            least_room_mm=float(room.min() if len(room) else table["taw_mm"].min()),
            irrigation_mm=float(table["irrigation_mm"].sum()),
        )
    for name, table in season.controllers.items():
        openings, litres, *hours = (float(table[key].sum()) for key in ("openings", "litres", *_HOURS))
        pans[name] = PanAway(int(openings), litres, common.lowest_level(season, name), *hours)
    first, last = season.days.index[0].date(), season.days.index[-1].date()
    return Stay(first, last, heat_said(heat) if heat is not None else "", beds, pans, season)


def _pressed(part: Controller) -> dict[str, Any]:
    """A valve that is pressed at sunrise too, where it is not and may be."""
    times = part.valve.press_times
    if "sunrise" in times or len(times) >= _MOST_PRESSES:
        return {}
    return {"valve": {"press_times": [*times, "sunrise"]}}


def _sized(part: Controller, kind: str, size: float) -> dict[str, Any]:
    """The overlay of a valve and its pan for one size of a change."""
    pan, valve = part.pan, part.valve
    overlays: dict[str, dict[str, Any]] = {
        "freeboard": {"pan": {"freeboard": f"{pan.freeboard + size!r} mm"}},
        "swing": {"valve": {"swing": f"{valve.swing_kg * size!r} kg"}},
        "depth": {"pan": {"depth": f"{pan.depth * size!r} mm"}},
        "refill": {"valve": {"refill": {"flow": f"{valve.refill.flow * size!r} L/h"}}},
        "surface": {"pan": {"vessels": [{"area": f"{pan.area * size!r} m^2"}]}},
    }
    return overlays[kind]


def _families(scenario: Scenario, failing: list[str], beds: list[str], empty: list[str]) -> Iterator[list[_Try]]:
    """
    Changes to try, each in its sizes. Where several valves fail, each is changed alike.

    Of what fails on a tank that runs dry (``empty``), only the tank is changed: more pan or more emitters only empty it sooner.
    """
    for name, kind in itertools.product(empty, _DATA["tanks"]):
        tries: list[_Try] = list(_tank_tries(scenario, name, **kind))
        if tries:
            yield tries
    failing = [name for name in failing if scenario.controller[name].supply not in empty]
    beds = [key for key in beds if key.split("/")[0] in failing]
    yield [("water every bed by hand on the day before you leave, until the soil holds no more", {}, _FULL_SOIL)]
    yield [("press the valves by hand on the morning when you leave", {}, _PRESS)]
    if beds:
        yield [_more_emitters(scenario, beds, times) for times in _DATA["emitters"]["times"]]
    for change in _DATA["changes"] if failing else ():
        tries = []
        for size in change["sizes"]:
            what = change["what"].format(size=size, at=" and ".join(failing)).replace("%", "\u00a0%")
            sized = functools.partial(_sized, kind=change["kind"], size=size)
            tries.append((what, common.each_controller(scenario, sized, failing), ""))
        yield tries


def _tank_tries(scenario: Scenario, name: str, kind: str, what: str, sizes: list[float]) -> Iterator[_Try]:
    """A full tank at departure, a float valve, a wider tank, in their sizes."""
    tank = scenario.supply[name]
    assert isinstance(tank, Tank)
    for size in sizes:
        changes: dict[str, Any] = {}
        if kind == "wider":
            changes = {"volume": f"{tank.volume * size!r} L"}
            changes |= {"footprint": f"{tank.footprint * size!r} m^2"} if tank.footprint is not None else {}
            shape = [{"level": f"{at.level!r} m", "volume": f"{at.volume * size!r} L"} for at in tank.shape]
            changes |= {"shape": shape} if shape else {}
        elif kind == "float":
            if tank.top_up is not None:
                return
            changes = {"top_up": {"below": f"{_FLOAT_SHARE * tank.volume!r} L", "rate": f"{size!r} L/h"}}
        text = what.format(name=name, litres=words.litres(tank.volume * size), size=size, share=_FLOAT_SHARE).replace(
            "%", "\u00a0%"
        )
        yield text, {"supply": {name: changes}}, _FULL_TANK if kind == "full" else ""


def _more_emitters(scenario: Scenario, beds: list[str], times: float) -> _Try:
    overlay: dict[str, Any] = {}
    texts = []
    for key in beds:
        controller, bed = key.split("/")
        now = scenario.controller[controller].bed[bed].emitters.count
        then = max(round(now * times), now + 1)
        texts.append(f"{then} emitters in place of {now} on {key}")
        overlay.setdefault(controller, {"bed": {}})["bed"][bed] = {"emitters": {"count": then}}
    return ", ".join(texts), {"controller": overlay}, ""
