"""
Judging: leaving a garden alone in any year of its record, as it is or changed, as described and over what is uncertain.

A cell is a year with a draw of what is uncertain.
"""

import dataclasses
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panbudget.errors import ScenarioError
from panbudget.extras import Step
from panbudget.scenario.garden import Heat, Scenario
from panbudget.season.heat import with_heat
from panbudget.season.replay import replay
from panbudget.season.result import short_of_water
from panbudget.season.years import in_year, moved
from panbudget.studies import common, ranges
from panbudget.studies.away.changes import PRESS, Try, also_pressed, families_of
from panbudget.studies.away.stays import HEAT_MADE, Fared, Stay, fared, stay_of
from panbudget.weather import Weather

DAY = dt.timedelta(days=1)
_MANY = 12  # gardens that are judged if one is: the changes tried

#: a year, and the heat that is made up in it
Test = tuple[int, Heat | None]


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
    days : Paired, optional
        Days short of all beds beside those of the garden as described, over all cells, the heat wave among them.
    """

    share: float
    heat_share: float
    exposure: tuple[float, float] | None = None
    refill_flow: tuple[float, float] | None = None
    days: ranges.Paired | None = None


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

    def verdict(self, interval: float) -> str:
        """Return what the cells say of its days short beside those as described, as `ranges.verdict_of`; "fewer" if clear."""
        if self.sure is None or (days := self.sure.days) is None:
            return "none"
        verdict = ranges.verdict_of(days.mean, days.below, days.above, interval)
        return "fewer" if verdict == "clear" and days.mean < 0.0 else verdict


def often(sure: Sure, interval: float) -> bool:
    return min(sure.share, sure.heat_share) >= interval


@dataclass(frozen=True)
class Leave:
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
            before = replay(garden, start=begin, end=first - DAY, weather=self.weather[year])
            state, salt = before.state, before.salt_left
            short_before = {key: bool(short_of_water(table).iloc[-1]) for key, table in before.beds.items()}
        season = replay(garden, start=first, end=last, weather=self.weather[year], state=state, salt=salt)
        return stay_of(season, short_before, heat)

    def stretches(self, garden: Scenario, test: Test, by_hand: str) -> tuple[list[ranges.Days], int]:
        """Lay out the days before leaving and those away, and say which is the first of these."""
        (year, heat), (begin, first, last) = test, self._days_of(test[0])
        garden, by = (in_year(garden, year), 0) if garden.fault else (garden, year - self.plain.season.start.year)
        weather = self.weather[year]
        if heat is not None:
            weather = with_heat(weather, heat, garden.site, file=str(garden.path))
        spans = [(garden, begin, first - DAY), (garden, first, last)]
        if by_hand == PRESS:  # one day with the valve pressed at sunrise, on top of what is pressed anyway
            pressed = garden.changed(common.each_controller(garden, also_pressed))
            spans[1:] = [(pressed, first, first), (garden, first + DAY, last)]
        stretches: list[ranges.Days] = []
        for described, start, end in spans:
            if start <= end:
                before = stretches[-1] if stretches else None
                stretches.append(ranges.days_of(described, weather, start, end, by, before))
        return stretches, int(begin < first)

    def described(self, garden: Scenario, test: Test, by_hand: str) -> Fared:
        """Leave a garden alone in one year as it is described."""
        return fared(*self.stretches(garden, test, by_hand), ranges.scanned(garden), by_hand)

    def judged(
        self, garden: Scenario, tests: Sequence[Test], count: int, by_hand: str = "", beside: Sequence[Fared] = ()
    ) -> tuple[Sure, list[Fared]]:
        """Judge a garden over what is uncertain, beside what the tests came to as described; and return what they come to."""
        laid_out = [self.stretches(garden, test, by_hand) for test in tests]
        run = ranges.engine_for(count * len(tests) * _MANY)
        drawn = [fared(*each, ranges.drawn_factors(garden, count), by_hand, run) for each in laid_out]

        def holds(exposure: float, refill_flow: float) -> bool:
            draws = ranges.scanned(garden, [exposure], [refill_flow])
            return float(np.mean([fared(*each, draws, by_hand, run).safe for each in laid_out])) >= _interval(garden)

        hot, *years = drawn
        sure = Sure(float(np.mean([each.safe for each in years])), float(hot.safe.mean()))
        if beside:
            now, before = (np.concatenate([each.stress_days.sum(axis=1) for each in part]) for part in (drawn, beside))
            sure = dataclasses.replace(sure, days=ranges.paired(now, before, _interval(garden)))
        if garden is self.plain or often(sure, _interval(garden)):
            exposure = ranges.around(lambda factor: holds(factor, 1.0), ranges.COARSE)
            refill_flow = exposure and ranges.around(lambda factor: holds(1.0, factor), ranges.COARSE)
            sure = dataclasses.replace(sure, exposure=exposure, refill_flow=refill_flow)
        return sure, drawn

    def failing(self, drawn: Sequence[Fared]) -> tuple[list[str], list[str], list[str]]:
        """Return valves, beds ("CONTROLLER/BED") and tanks at which something goes wrong in some of the draws."""
        tail, parts = (1.0 - _interval(self.plain)) / 2.0, self.plain.controller
        keys = [f"{name}/{bed}" for name, part in parts.items() for bed in part.bed]

        def at(names: Sequence[str], what: str) -> list[str]:
            share = np.mean([(getattr(each, what) > 0.0).mean(axis=0) for each in drawn], axis=0)
            return [name for name, part in zip(names, share, strict=True) if part > tail]

        short, wrong, empty = at(keys, "stress_days"), at([*parts], "wrong_hours"), at([*parts], "starved_hours")
        valves = [name for name in parts if name in {key.split("/")[0] for key in short} | set(wrong)]
        return valves, short, [parts[name].supply for name in empty if name in valves]

    def changes(self, stays: list[Stay], tests: list[Test], drawn: list[Fared], count: int) -> list[Change]:
        """Return the best of each family of changes to what fails in the stays, the last of them hot, or over the draws."""
        fails, short, dry = self.failing(drawn)
        failing = [name for name in self.plain.controller if name in fails or any(name in s.failing for s in stays)]
        beds = [key for key in stays[-1].beds if key in short or any(each.beds[key].stress_days for each in stays)]
        failed = ((name, each.pans[name].starved_hours) for each in stays for name in each.failing)
        starved = set(dry) | {self.plain.controller[name].supply for name, hours in failed if hours > 0.0}
        families = families_of(self.plain, failing, beds, [name for name in self.plain.supply if name in starved])
        changes = [self._best(family, tests, stays[-1].stress_days, count, drawn) for family in families]
        return sorted(changes, key=_rank)

    def _best(
        self, family: list[Try], tests: list[Test], before: int, count: int, drawn: Sequence[Fared] = ()
    ) -> Change:
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
                fails += [] if described.safe.all() else [f"{test[0]}" + HEAT_MADE * (test[1] is not None)]
                if fails and index < 2:
                    break  # the rest need not be tried
            change = Change(what, False, tuple(fails), first_days, before)
            if not fails:
                sure, _ = self.judged(garden, tests, count, by_hand, drawn)
                change = dataclasses.replace(change, sure=sure, safe=often(sure, _interval(garden)))
            changes.append((change, garden, by_hand))
            if change.safe:
                return change
        best, garden, by_hand = min(changes, key=lambda tried: _rank(tried[0]))
        if not best.impossible and best.sure is None:
            best = dataclasses.replace(best, sure=self.judged(garden, tests, count, by_hand, drawn)[0])
        return best


def _rank(change: Change) -> tuple[bool, bool, int, float]:
    """What changes are listed by: those that can be done, that make it safe, that leave the fewest days, the surest."""
    return bool(change.impossible), not change.safe, change.stress_days, -change.sure.share if change.sure else 0.0


def _interval(garden: Scenario) -> float:
    return garden.uncertainty.interval
