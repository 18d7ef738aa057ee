"""
panbudget: a season of weather through an unpowered, evaporation-driven irrigation valve and the beds it waters.

The verbs of the command line are functions here: ``from simulator import load_scenario, replay``. Names are
imported when first used, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from simulator.errors import PanbudgetError, ScenarioError, WeatherError
    from simulator.output import write_season
    from simulator.scenario import Scenario, load_scenario, scenario_from
    from simulator.season import Season, replay
    from simulator.statement.account import Statement, make_statement
    from simulator.statement.files import write_statement
    from simulator.weather import Weather, read_weather

__all__ = [
    "PanbudgetError",
    "Scenario",
    "ScenarioError",
    "Season",
    "Statement",
    "Weather",
    "WeatherError",
    "load_scenario",
    "make_statement",
    "read_weather",
    "replay",
    "scenario_from",
    "write_season",
    "write_statement",
]

_HOME = {
    "PanbudgetError": "errors",
    "ScenarioError": "errors",
    "WeatherError": "errors",
    "Scenario": "scenario",
    "load_scenario": "scenario",
    "scenario_from": "scenario",
    "Season": "season",
    "replay": "season",
    "Weather": "weather",
    "read_weather": "weather",
    "write_season": "output",
    "Statement": "statement.account",
    "make_statement": "statement.account",
    "write_statement": "statement.files",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"simulator.{_HOME[name]}"), name)
