"""
Leaving: may the garden be left alone from this date to that? The same calendar days in every year of the record, and
once more with a made-up heat wave, as described and over what is uncertain; and which single change would make it safe.
"""

import dataclasses
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import pandas as pd

from panbudget.engine.compiled import has_compiler
from panbudget.extras import Reported, Step, silent
from panbudget.scenario.garden import Heat, Scenario, as_scenario
from panbudget.scenario.quantities import Day, as_day
from panbudget.season.years import in_year, moved, usable_years
from panbudget.studies import common, ranges
from panbudget.studies.away.judging import DAY, Change, Leave, Sure, often
from panbudget.studies.away.stays import Stay
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather
from panbudget.words import calendar_day

MOST_DAYS = 366
# the made-up heat wave where the scenario describes none; common practice, no source
HEAT_DAYS, HEAT_WARMER = 7, "+5 K"


@dataclass(frozen=True, repr=False)
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
        return self.safe_as_described and often(self.sure, self.interval)

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
                first_short = bed.first_short.isoformat() if bed.first_short else ""
                texts = {"first_short": first_short, "short_before": int(bed.short_before)}
                rows.append({**days, **where, **vars(bed), **texts, **vars(stay.pans[controller])})
        return pd.DataFrame(rows)


def away(
    scenario: common.Garden,
    start: Day,
    end: Day,
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
    start, end = as_day(start, "start"), as_day(end, "end")
    if end < start:
        raise common.not_to_ask("no-such-days.order", "the days away (--from, --to)", start=start, end=end)
    if (end - start).days >= MOST_DAYS:
        raise common.not_to_ask("no-such-days.many", "the days away", days=(end - start).days + 1)
    plain = scenario.changed({"what_if": {"heat": None}})
    first = _beside_the_season(plain, start)
    begin = min(plain.season.start, first)
    usable = usable_years(plain, begin, first + (end - start), weather)
    years = list(usable.weather)
    leave = Leave(plain, usable.weather, begin, first, end - start, step)
    if not years:
        weather = read_scenario_weather(scenario, begin, first + leave.length, weather)
        held = f"{weather.daily.index[0].date()} to {weather.daily.index[-1].date()}"
        days = {"first": first, "last": first + leave.length, "begin": begin}
        facts = {name: calendar_day(day) for name, day in days.items()} | {"file": scenario.weather.shown, "held": held}
        raise common.refusal(scenario, "no-such-days.no-year", "the days away", **facts)
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
    sure, drawn = leave.judged(plain, tests, count)
    assumed = (*usable.sentences(), *common.assumptions_of(stay.season for stay in (*stays, hot)))
    answer = Away(scenario, start, end, tuple(stays), hot, worst, (), assumed, sure, count)
    if answer.safe:
        return answer
    return dataclasses.replace(answer, changes=tuple(leave.changes([*stays, hot], tests, drawn, count)))


def _beside_the_season(scenario: Scenario, start: dt.date) -> dt.date:
    """The first day away in the year of the scenario's own season; a season over New Year takes it where it falls in it."""
    by = scenario.season.start.year - start.year
    first, next_year = moved(start, by), moved(start, by + 1)
    return next_year if first < scenario.season.start and next_year <= scenario.season.end else first


def _heat(scenario: Scenario, worst: Stay, year: int) -> Heat:
    described = in_year(scenario, year).what_if.heat
    if described is not None:
        last = described.start + (described.days - 1) * DAY
        if described.start <= worst.end and last >= worst.start:
            return described
    length = (worst.end - worst.start).days + 1
    days = min(HEAT_DAYS, length)
    start = worst.start + (length - days) // 2 * DAY
    return Heat.model_validate({"start": start, "days": days, "warmer": HEAT_WARMER, "without_rain": True})
