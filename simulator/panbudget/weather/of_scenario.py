"""
Of a scenario: the weather file that it names, read as it says, with its fallbacks.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from panbudget.errors import ScenarioError, WeatherError
from panbudget.scenario.garden import FallbackSource, ForecastSource, Scenario, Site, WeatherSource
from panbudget.weather import Fallback, Weather
from panbudget.weather.checks.plausibility import trust_problem
from panbudget.weather.clean import WeatherFile, open_weather
from panbudget.weather.formats.readers import format_problem
from panbudget.weather.messages import problem


def read_scenario_weather(
    scenario: Scenario,
    start: dt.date | None = None,
    end: dt.date | None = None,
    given: Weather | WeatherFile | None = None,
) -> Weather:
    """
    Read the weather file that a scenario names, where none is given that is read already.

    Parameters
    ----------
    scenario : Scenario
    start, end : date, optional
        Days that must be sound; the season's own if left out.
    given : Weather or WeatherFile, optional
        Already read, or opened.

    Raises
    ------
    WeatherError
        The file can't be read, or can't be true; what is given is no weather that was read.
    """
    refuse_unread(given)
    if isinstance(given, Weather):
        return given
    file = given or open_scenario_weather(scenario)
    return file.over(start or scenario.season.start, end or scenario.season.end)


def refuse_unread(given: object) -> None:
    """Refuse what is given in place of weather that was read, such as a bare table."""
    if given is not None and not isinstance(given, Weather | WeatherFile):
        raise WeatherError(problem("not-read", "weather", kind=type(given).__name__))


def open_scenario_weather(scenario: Scenario) -> WeatherFile:
    """
    Read the weather file that a scenario names, and its fallbacks, unchecked.

    Raises
    ------
    WeatherError, ScenarioError
        A file can't be read; a format is unknown.
    """
    source = scenario.weather
    files = [("weather", source), *(("weather.fallback", other) for other in source.fallback)]
    formats = (format_problem(part.format, where=where) for where, part in files)
    if wrong := [*filter(None, (*formats, *(trust_problem(part.trust, where=where) for where, part in files)))]:
        raise ScenarioError(*wrong, file=str(scenario.path))
    try:
        return open_weather(
            scenario.weather_paths,
            scenario.site,
            **as_described(source),
            missing_rain=source.missing_rain,
            too_bright=source.too_bright,
            fallbacks=[fallback_at(scenario, other, scenario.site) for other in source.fallback],
        )
    except WeatherError as error:
        _refuse_missing(error, scenario, files)
        if all(wrong.where.startswith("weather.") for wrong in error.problems):  # the scenario's own keys
            raise ScenarioError(*error.problems, file=str(scenario.path)) from error
        raise


def open_forecast(scenario: Scenario) -> WeatherFile | None:
    """Read the file of the days ahead that a scenario names, unchecked; None where it names none."""
    source = scenario.weather.forecast
    if source is None:
        return None
    if wrong := format_problem(source.format, where="weather.forecast"):
        raise ScenarioError(wrong, file=str(scenario.path))
    paths = [scenario.path.parent / file for file in source.files]
    options = {"missing_rain": source.missing_rain, "table": "weather.forecast", **as_described(source)}
    try:
        return open_weather(paths, scenario.site, **options)
    except WeatherError as error:
        _refuse_missing(error, scenario, [("weather.forecast", source)])
        raise


def _refuse_missing(error: WeatherError, scenario: Scenario, files: Iterable[tuple[str, Any]]) -> None:
    """Name the key too of a file that is not there."""
    wrong = error.problems[0]
    key = next((f"{table}.file" for table, source in files if error.file in source.files), "")
    if key and wrong.code == "no-file":
        found = f'= "{error.file}": {wrong.found}'
        raise ScenarioError(replace(wrong, where=key, found=found), file=str(scenario.path)) from None


def as_described(source: WeatherSource | FallbackSource | ForecastSource) -> dict[str, Any]:
    """Return how a file is to be read, as `open_weather` takes it."""
    file = {"shown_as": source.shown, "file_format": source.format, "missing": source.missing}
    return {**file, "wind_height": source.wind_height, "columns": source.columns, "trust": source.trust}


def fallback_at(scenario: Scenario, source: FallbackSource, site: Site) -> Fallback:
    """Return a scenario's fallback as a place uses it: where the fallback names no place of its own, it stands there."""
    elsewhere = {name: v for name in ("latitude", "longitude", "elevation") if (v := getattr(source, name)) is not None}
    site = site.model_copy(update=elsewhere)
    paths = [scenario.path.parent / file for file in source.files]
    return Fallback(paths, **as_described(source), adjust=source.adjust, rain=source.rain, site=site)
