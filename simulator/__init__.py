"""
panbudget: a season of weather through an unpowered, evaporation-driven irrigation valve and the beds it waters.

The verbs of the command line are functions here: ``from simulator import load_scenario, replay``. Names are
imported when first used, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from simulator.comparing import Comparison, compare
    from simulator.errors import PanbudgetError, ScenarioError, WeatherError
    from simulator.fitting import Fit, fit
    from simulator.going_wrong import Trials, try_faults
    from simulator.leaving import Away, away
    from simulator.output import write_away, write_comparison, write_season, write_setup
    from simulator.output_field import write_faults, write_fit
    from simulator.scenario import Scenario, load_scenario, scenario_from
    from simulator.season import Season, replay
    from simulator.setting_up import SetUp, set_up
    from simulator.spread import with_spread
    from simulator.statement.account import Statement, make_statement
    from simulator.statement.files import write_statement
    from simulator.weather import Fallback, Weather, read_weather
    from simulator.years import read_year

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
    "fit",
    "load_scenario",
    "make_statement",
    "read_weather",
    "read_year",
    "replay",
    "scenario_from",
    "set_up",
    "try_faults",
    "with_spread",
    "write_away",
    "write_comparison",
    "write_faults",
    "write_fit",
    "write_season",
    "write_setup",
    "write_statement",
]

_HOME = {
    "Fit": "fitting",
    "fit": "fitting",
    "Trials": "going_wrong",
    "try_faults": "going_wrong",
    "with_spread": "spread",
    "write_faults": "output_field",
    "write_fit": "output_field",
    "SetUp": "setting_up",
    "set_up": "setting_up",
    "write_setup": "output",
    "Away": "leaving",
    "away": "leaving",
    "Comparison": "comparing",
    "compare": "comparing",
    "PanbudgetError": "errors",
    "ScenarioError": "errors",
    "WeatherError": "errors",
    "Scenario": "scenario",
    "load_scenario": "scenario",
    "scenario_from": "scenario",
    "Season": "season",
    "replay": "season",
    "Fallback": "weather",
    "Weather": "weather",
    "read_weather": "weather",
    "read_year": "years",
    "write_away": "output",
    "write_comparison": "output",
    "write_season": "output",
    "Statement": "statement.account",
    "make_statement": "statement.account",
    "write_statement": "statement.files",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"simulator.{_HOME[name]}"), name)
