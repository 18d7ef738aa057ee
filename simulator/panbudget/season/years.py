"""
Years: the same calendar days in the other years of a record, plantings moved along.
"""

import datetime as dt
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panbudget.errors import ScenarioError, WeatherError
from panbudget.scenario.beds import Bed
from panbudget.scenario.garden import Scenario
from panbudget.scenario.quantities import YEARS, Day, day_or
from panbudget.season import problem
from panbudget.weather import Weather
from panbudget.weather.clean import WeatherFile
from panbudget.weather.of_scenario import open_scenario_weather, refuse_unread
from panbudget.words import and_more, calendar_day


def moved(day: dt.date, years: int) -> dt.date:
    """
    Return the same calendar day some years on; 29 February becomes the 28th where there is none.

    Examples
    --------
    >>> moved(dt.date(2024, 2, 29), 1)
    datetime.date(2025, 2, 28)
    """
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return day.replace(year=day.year + years, day=28)


def in_year(scenario: Scenario, year: int) -> Scenario:
    """
    Return a garden as it would be in another year: season, plantings and a made-up heat wave moved to it.

    Parameters
    ----------
    scenario : Scenario
    year : int
        In which its season is to start.
    """
    by = year - scenario.season.start.year
    if by == 0:
        return scenario
    season, heat, described = scenario.season, scenario.what_if.heat, scenario.described
    overlay: dict[str, Any] = {"season": _along(season, by, "start", "end"), "controller": {}}
    for name, part in scenario.controller.items():
        beds = described["controller"][name]["bed"]
        replanted = {key: _replanted(bed, beds[key], by) for key, bed in part.bed.items()}
        overlay["controller"][name] = {"bed": replanted}
    if heat is not None:
        overlay["what_if"] = {"heat": _along(heat, by, "start")}
    if scenario.fault:
        pairs = zip(described["fault"], scenario.fault, strict=True)
        overlay["fault"] = [whole | _along(fault, by, "start", "end") for whole, fault in pairs]
    return scenario.changed(overlay)


def _along(part: Any, by: int, *keys: str) -> dict[str, dt.date]:
    """Dates of a part of the scenario, moved along; those that it has."""
    return {key: moved(getattr(part, key), by) for key in keys if getattr(part, key, None)}


def _replanted(bed: Bed, described: dict[str, Any], by: int) -> dict[str, Any]:
    """An overlay of a bed: its planting dates, and those of the plantings in turn or in a mixture."""
    # as described, but for dates, which come from the checked parts: a description may have them as text
    keys = (key for key in ("plantings", "mix") if hasattr(bed, key))
    parts = {key: zip(described[key], getattr(bed, key), strict=True) for key in keys}
    replanted = {key: [whole | _along(part, by, "planted") for whole, part in of] for key, of in parts.items()}
    return _along(bed, by, "planted") | replanted


def bed_in_year(bed: Bed, by: int) -> Bed:
    """
    Return a checked bed with its plantings moved along.

    Parameters
    ----------
    bed : scenario.Bed
    by : int
        Years.
    """

    keys = (key for key in ("plantings", "mix") if hasattr(bed, key))
    parts = {key: [part.model_copy(update=_along(part, by, "planted")) for part in getattr(bed, key)] for key in keys}
    replanted: Bed = bed.model_copy(update=_along(bed, by, "planted") | parts)
    return replanted


@dataclass(frozen=True)
class Years:
    """
    The years in which a garden's season can be replayed: those whose own days, spin-up included, are whole after filling.

    A gap outside these days cuts nothing.

    Parameters
    ----------
    weather : dict of Weather
        Year in which the season starts -> the run of clean days that holds it; ascending.
    left_out : dict of str
        Year of which the file has a part -> why it can't be replayed.
    """

    weather: dict[int, Weather]
    left_out: dict[int, str]

    def sentences(self) -> list[str]:
        """Say which years are left out, and why."""
        return [f"{year} is left out: {why}" for year, why in self.left_out.items()]


def whole_record(weathers: Iterable[Weather]) -> pd.DataFrame:
    """Return all days of several years' weather, which may be runs of one record, each day as the first of them has it."""
    record = pd.concat({id(weather.daily): weather.daily for weather in weathers}.values())
    return record[~record.index.duplicated()].sort_index()


def usable_years(
    scenario: Scenario,
    start: dt.date | None = None,
    end: dt.date | None = None,
    weather: Weather | WeatherFile | None = None,
    years: Sequence[int] | None = None,
    *,
    cautious: bool = True,
) -> Years:
    """
    Find the years of a garden's weather in which its season, or the same calendar days, can be replayed.

    Parameters
    ----------
    scenario : Scenario
    start, end : date, optional
        First and last day, in the scenario's own year or another; its season's if left out.
    weather : Weather or WeatherFile, optional
        A clean record, or a file that is read, in place of the scenario's.
    years : sequence of int, optional
        Those asked for; all of which a file has a part if left out.
    cautious : bool
        Whether a file's years are looked at for what is unlikely, which takes most of the time, and tell what they assume.

    Raises
    ------
    ScenarioError, WeatherError
        The file can't be read.
    """
    season = scenario.season
    spin_up = dt.timedelta(days=season.spin_up_days)
    first, last = start or season.start, end or season.end
    present = season.start.year
    if isinstance(weather, Weather):
        indexes = [weather.daily.index]
    else:
        refuse_unread(weather)
        file = weather or open_scenario_weather(scenario)
        indexes = [part.raw.daily.index for part in (file.file, *(lent for _, lent in file.others))]
    low, high = min(index.min() for index in indexes).date(), max(index.max() for index in indexes).date()

    def span(year: int) -> tuple[dt.date, dt.date]:
        # 29 February moves by a day: first the season, then the days before it
        return moved(first, year - present) - spin_up, moved(last, year - present)

    by_year = range(low.year - last.year - 1, high.year - first.year + 2)
    in_turn = sorted((present + by for by in by_year), key=lambda year: (year != present, year))
    spans = {year: span(year) for year in years or in_turn}
    if not isinstance(weather, Weather) and file.file.raw.typical:
        spans = {year: span(year) for year in years or [present]}
        low, high = min(start for start, _ in spans.values()), max(end for _, end in spans.values())
    touched = {year: span for year, span in spans.items() if years or (span[0] + spin_up <= high and span[1] >= low)}
    inside = {year: span for year, span in touched.items() if low <= span[0] and span[1] <= high}
    if isinstance(weather, Weather):
        return Years(dict.fromkeys(sorted(inside), weather), {})
    seasons: dict[int, Weather | str] = dict.fromkeys(touched, f"the record runs from {low} to {high}")
    for year, found in (file if cautious else file.uncautious()).seasons(inside).items():
        seasons[year] = found if isinstance(found, Weather) else _why(found)
        if isinstance(found, Weather) and not found.holds(*spans[year]):
            seasons[year] = "its days are whole from {} to {} alone".format(*found.span)
    usable = {year: found for year, found in sorted(seasons.items()) if isinstance(found, Weather)}
    return Years(usable, {year: why for year, why in sorted(seasons.items()) if isinstance(why, str)})


def _why(error: WeatherError) -> str:
    """What is wrong with a year's weather, in a line."""
    return error.problems[0].sentence() + and_more(len(error.problems) - 1, "problem")


def read_year(
    scenario: Scenario,
    year: int,
    file: WeatherFile | None = None,
    *,
    start: Day | None = None,
    end: Day | None = None,
) -> tuple[Scenario, Weather]:
    """
    Move a garden to another year of its weather file, and read that year.

    Parameters
    ----------
    scenario : Scenario
    year : int
        In which the season is to start.
    file : WeatherFile, optional
        Its weather file, where that is read already.
    start, end : date, optional
        Days of that season, of which a file that ends on the way holds a part; all of it if left out.

    Returns
    -------
    (Scenario, Weather)
        The garden in that year, and the weather with those days sound.

    Raises
    ------
    ScenarioError
        A year whose season the file doesn't hold; the message names those that it does.
    WeatherError
        The file can't be read, or that season's weather can't be true.
    """
    first, last = YEARS
    if not first <= year < last:  # a season may end in the year after
        none = problem("no-year", "season", year, year=year, first=first, last=last - 1)
        raise ScenarioError(none, file=str(scenario.path))
    of_year = in_year(scenario, year)
    season, file = of_year.season, file or open_scenario_weather(of_year)
    days = day_or(start, "start", season.start), day_or(end, "end", season.end)
    if outside := [day for day in days if not season.start <= day <= season.end]:
        days_of = {"year": year, "start": season.start, "end": season.end}
        raise ScenarioError(problem("outside-season", str(outside[0]), **days_of))
    try:
        weather = file.over(*days)
    except WeatherError:
        _refuse_unknown(scenario, year, file)
        raise
    if not weather.holds(*days):
        _refuse_unknown(scenario, year, file)
    return of_year, weather


def _refuse_unknown(scenario: Scenario, year: int, file: WeatherFile) -> None:
    """Refuse a year whose season doesn't begin and end in the weather file; a typical year stands for any."""
    raw = file.file.raw
    if raw.typical:
        return
    days = set(raw.daily.index.date)  # type: ignore[attr-defined]
    start, end = scenario.season.start, scenario.season.end
    if moved(start, year - start.year) in days and moved(end, year - start.year) in days:
        return
    held = list(usable_years(scenario, weather=file, cautious=False).weather)
    facts = {"year": year, "file": scenario.weather.shown, "season": f"{calendar_day(start)} to {calendar_day(end)}"}
    facts["instead"] = f"it holds them in {listed(held)}" if held else f"it runs from {min(days)} to {max(days)}"
    raise ScenarioError(problem("year-not-held", "season", year, **facts), file=str(scenario.path))


def listed(years: list[int]) -> str:
    """Write years with runs drawn together: 1999, 2003 to 2010."""
    by_run = itertools.groupby(enumerate(years), key=lambda item: item[1] - item[0])
    runs = [[year for _, year in run] for _, run in by_run]
    return ", ".join(f"{run[0]}" if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)
