"""
panbudget: a season of weather through an unpowered, evaporation-driven irrigation valve and the beds it waters.

The verbs of the command line are functions here: ``from panbudget import load_scenario, replay``. Names are
imported when first used, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from panbudget.errors import PanbudgetError, ScenarioError, WeatherError
    from panbudget.reports.season.files import write_comparison
    from panbudget.reports.writing import write_away, write_season, write_setup, write_statement
    from panbudget.scenario.garden import Scenario, load_scenario, scenario_from
    from panbudget.season.replay import replay
    from panbudget.season.result import Season
    from panbudget.season.years import read_year
    from panbudget.studies.away import Away, away
    from panbudget.studies.compare import Comparison, compare
    from panbudget.studies.faults import Trials, faults
    from panbudget.studies.fit.estimate import Fit, fit
    from panbudget.studies.ranges import with_spread
    from panbudget.studies.setup import SetUp, setup
    from panbudget.studies.statement.account import Statement, statement
    from panbudget.weather import Fallback, Weather, read_weather

__all__ = [
    "Away",
    "Comparison",
    "Fallback",
    "Fit",
    "PanbudgetError",
    "Scenario",
    "ScenarioError",
    "Season",
    "SetUp",
    "Statement",
    "Trials",
    "Weather",
    "WeatherError",
    "away",
    "compare",
    "faults",
    "fit",
    "load_scenario",
    "read_weather",
    "read_year",
    "replay",
    "scenario_from",
    "setup",
    "statement",
    "with_spread",
    "write_away",
    "write_comparison",
    "write_season",
    "write_setup",
    "write_statement",
]

_HOME = {
    "Fit": "studies.fit.estimate",
    "fit": "studies.fit.estimate",
    "Trials": "studies.faults",
    "faults": "studies.faults",
    "with_spread": "studies.ranges",
    "SetUp": "studies.setup",
    "setup": "studies.setup",
    "write_setup": "reports.writing",
    "Away": "studies.away",
    "away": "studies.away",
    "Comparison": "studies.compare",
    "compare": "studies.compare",
    "PanbudgetError": "errors",
    "ScenarioError": "errors",
    "WeatherError": "errors",
    "Scenario": "scenario.garden",
    "load_scenario": "scenario.garden",
    "scenario_from": "scenario.garden",
    "Season": "season.result",
    "replay": "season.replay",
    "Fallback": "weather",
    "Weather": "weather",
    "read_weather": "weather",
    "read_year": "season.years",
    "write_away": "reports.writing",
    "write_comparison": "reports.season.files",
    "write_season": "reports.writing",
    "Statement": "studies.statement.account",
    "statement": "studies.statement.account",
    "write_statement": "reports.writing",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"panbudget.{_HOME[name]}"), name)
