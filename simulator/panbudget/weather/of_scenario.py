"""
Of a scenario: the weather file that it names, read as it says, with its fallbacks.
"""

from __future__ import annotations

import datetime as dt

from panbudget.errors import ScenarioError
from panbudget.scenario.garden import FallbackSource, Scenario
from panbudget.weather import Fallback, Weather, read_weather
from panbudget.weather.formats.readers import format_problem


def read_scenario_weather(scenario: Scenario, start: dt.date | None = None, end: dt.date | None = None) -> Weather:
    """
    Read the weather file that a scenario names.

    Parameters
    ----------
    scenario : Scenario
    start, end : date, optional
        Days that must be sound; the season's own if left out.

    Returns
    -------
    Weather

    Raises
    ------
    WeatherError
        The file can't be read, or can't be true.
    """
    source = scenario.weather
    wrong = []
    named = [("weather", source.format), *(("weather.fallback", one.format) for one in source.fallback)]
    for where, name in named:
        problem = format_problem(name, where=where)
        if problem is not None:
            wrong.append(problem)
    if wrong:
        raise ScenarioError(*wrong, file=str(scenario.path))
    return read_weather(
        scenario.weather_path,
        scenario.site,
        file_format=source.format,
        wind_height=source.wind_height,
        missing_rain=source.missing_rain,
        too_bright=source.too_bright,
        columns=source.columns,
        shown_as=source.file,
        start=start or scenario.season.start,
        end=end or scenario.season.end,
        fallbacks=[_fallback(scenario, one) for one in source.fallback],
    )


def _fallback(scenario: Scenario, source: FallbackSource) -> Fallback:
    elsewhere = {name: v for name in ("latitude", "longitude", "elevation") if (v := getattr(source, name)) is not None}
    return Fallback(
        path=scenario.path.parent / source.file,
        shown_as=source.file,
        file_format=source.format,
        wind_height=source.wind_height,
        columns=source.columns,
        adjust=source.adjust,
        rain=source.rain,
        site=scenario.site.model_copy(update=elsewhere),
    )
