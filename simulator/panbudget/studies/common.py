"""
Common: what several studies do with a garden and its seasons: replay it over a record, find short days and low levels,
refuse what can't be asked.
"""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from panbudget import words
from panbudget.engine.arrays import Beds, Pans
from panbudget.errors import ReadingsError, ScenarioError, WeatherError
from panbudget.extras import Step, silent
from panbudget.numeric import Floats
from panbudget.scenario.garden import Controller, Scenario
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.season.years import in_year, usable_years
from panbudget.weather import Weather
from panbudget.weather.clean import WeatherFile
from panbudget.weather.finishing import origins_of
from panbudget.weather.of_scenario import read_scenario_weather

problem = words.problems_from(words.packaged("studies/problems.toml"))
#: a garden, or the file that describes it
Garden = Scenario | str | Path


def refusal(scenario: Scenario, code: str, where: str, value: object = None, **values: object) -> ScenarioError:
    """Return the error of one problem with a scenario, by its row of `problems.toml`."""
    return ScenarioError(problem(code, where, value, **values), file=str(scenario.path))


def not_to_ask(code: str, where: str, value: object = None, **values: object) -> ScenarioError:
    """Return the error of one problem with what is asked of a scenario: its file has no part in that."""
    return ScenarioError(problem(code, where, value, **values))


def read_so_far(file: WeatherFile, garden: Scenario, last: dt.date) -> tuple[Weather, dt.date, str]:
    """Read a season to a day, or to the one before it up to which its days are whole; and why no further, in brackets."""
    begin, why = garden.season.start - dt.timedelta(days=garden.season.spin_up_days), ""
    try:
        weather = file.over(begin, last)
        if weather.holds(begin, last):
            return weather, last, why
    except WeatherError as error:
        why = f" ({error.problems[0].sentence()})"
    last = min(last, file.over(garden.season.start, garden.season.start).daily.index[-1].date())
    return file.over(begin, last), last, why


@contextlib.contextmanager
def named_by(scenario: Scenario, key: str, file: str) -> Iterator[None]:
    """Name the key too of a file that a scenario names and that is no such file at all; rows' mistakes name their line."""
    try:
        yield
    except ReadingsError as error:
        whole = [replace(problem, where=key, found=f'= "{file}": {problem.found}') for problem in error.problems]
        if any(problem.where for problem in error.problems):
            raise
        raise ScenarioError(*whole, file=str(scenario.path)) from None


def each_controller(
    scenario: Scenario, change: Callable[[Controller], dict[str, Any]], names: Iterable[str] = ()
) -> dict[str, Any]:
    """Return an overlay that changes the named controllers alike, or all if none is named."""
    return {"controller": {name: change(scenario.controller[name]) for name in names or scenario.controller}}


def seasons_of_record(
    scenario: Scenario, weather: Weather | None = None, step: Step = silent
) -> tuple[dict[int, Season], list[str]]:
    """
    Replay a garden in every usable year; in its own year, which is then refused, where there is none.

    Parameters
    ----------
    scenario : Scenario
    weather : Weather, optional
        Already read; else the scenario's file.
    step : callable
        Told each year.

    Returns
    -------
    (dict, list of str)
        Year in which the season starts -> its Season, ascending; and which years are left out, and why.
    """
    years, present = usable_years(scenario, weather=weather), scenario.season.start.year
    seasons = {}
    for year, record in (years.weather or {present: read_scenario_weather(scenario, given=weather)}).items():
        step(f"replaying {year}")
        seasons[year] = replay(in_year(scenario, year), weather=record)
    return seasons, years.sentences()


def assumptions_of(seasons: Iterable[Season]) -> list[str]:
    """Return what seasons assume, each assumption once; how values came about is counted over all of them."""
    seasons = list({id(season): season for season in seasons}.values())
    if len(seasons) == 1:
        return list(dict.fromkeys(seasons[0].assumptions))
    apart = {text for season in seasons for text in season.weather.origins}
    shared = dict.fromkeys(text for season in seasons for text in season.assumptions if text not in apart)
    days = ((season.weather.flags.loc[season.days.index], season.weather.fitted) for season in seasons)
    return [*shared, *origins_of(days)]


def growing_lanes(beds: Beds, lanes: Sequence[int]) -> npt.NDArray[np.bool_]:
    """Tell on which days the beds of lanes grow. (lanes, days)"""
    return np.asarray(beds.growing[beds.lane_bed[lanes]] > 0)


def days_short(ks: Floats, beds: Beds, lanes: Sequence[int]) -> npt.NDArray[np.int64]:
    """Count the days on which the beds of lanes grow and are short of water, by the lanes' Ks. (lanes,)"""
    return np.asarray(((ks < 1.0) & growing_lanes(beds, lanes)).sum(axis=1))


def water_at_trip(pans: Pans, row: int, hour: float = np.inf) -> float:
    """Return the water in a pan at its trip in some hour, the last if left out: a knock moves it, and so does salt. [kg]"""
    return -_on_day_of(pans.dry[row], hour)


def swing_at(pans: Pans, row: int, hour: float = np.inf) -> float:
    """Return a valve's swing in some hour, the last if left out: a knock moves it. [kg]"""
    return _on_day_of(pans.swing[row], hour)


def _on_day_of(by_day: Floats, hour: float) -> float:
    return float(by_day[int(min(hour, 24.0 * len(by_day) - 1.0) // 24.0)])


def lowest_level(season: Season, controller: str, days: slice = slice(None)) -> float:
    """Return the lowest hourly level of a pan over some days of a season, above its floor. [mm]"""
    pans, row = season.forcing.pans, list(season.controllers).index(controller)
    levels = season.hourly_level[controller].reshape(-1, 24) - pans.dry[row][:, None]  # kg above the floor
    return float(levels[days].min() / pans.area[row])
