"""
panbudget: a season of weather through an unpowered, evaporation-driven irrigation valve and the beds it waters.

Every verb of the command line is a function here, which takes a scenario or the path of its file::

    import panbudget as pb

    garden = pb.load_scenario("garden.toml")
    season = pb.replay(garden, start="2025-06-01")

Names are imported when first used, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from panbudget.errors import (
        ClosureError,
        OutputError,
        PanbudgetError,
        Problem,
        ReadingsError,
        ScenarioError,
        WeatherError,
    )
    from panbudget.scenario.garden import Scenario, load_scenario, scenario_from
    from panbudget.season.replay import replay
    from panbudget.season.result import Season
    from panbudget.season.years import read_year
    from panbudget.studies.away import Away, away
    from panbudget.studies.check import Checked, check
    from panbudget.studies.compare import Comparison, compare
    from panbudget.studies.faults import Trials, faults
    from panbudget.studies.fit.estimate import Fit, fit
    from panbudget.studies.known import known
    from panbudget.studies.ranges import with_spread
    from panbudget.studies.setup import SetUp, setup
    from panbudget.studies.size.choose import Sizing, size
    from panbudget.studies.statement.account import Statement, statement
    from panbudget.studies.sweep.run import Swept, sweep
    from panbudget.studies.years import SeasonsByYear, years
    from panbudget.weather import Fallback, Weather, read_weather

    __version__: str

__all__ = ["Away", "Checked", "ClosureError", "Comparison", "Fallback", "Fit", "OutputError", "PanbudgetError"]
__all__ += ["Problem", "ReadingsError", "Scenario", "ScenarioError", "Season", "SetUp", "Sizing", "Statement"]
__all__ += ["SeasonsByYear", "Swept", "Trials", "Weather", "WeatherError"]
__all__ += ["__version__", "away", "check", "compare", "faults", "fit", "known", "load_scenario", "read_weather"]
__all__ += ["read_year", "replay", "scenario_from", "setup", "size", "statement", "sweep", "with_spread", "years"]

# module -> the names that it gives
_FROM = {
    "errors": "ClosureError OutputError PanbudgetError Problem ReadingsError ScenarioError WeatherError",
    "scenario.garden": "Scenario load_scenario scenario_from",
    "season.replay": "replay",
    "season.result": "Season",
    "season.years": "read_year",
    "studies.away": "Away away",
    "studies.check": "Checked check",
    "studies.compare": "Comparison compare",
    "studies.faults": "Trials faults",
    "studies.fit.estimate": "Fit fit",
    "studies.known": "known",
    "studies.ranges": "with_spread",
    "studies.setup": "SetUp setup",
    "studies.size.choose": "Sizing size",
    "studies.statement.account": "Statement statement",
    "studies.sweep.run": "Swept sweep",
    "studies.years": "SeasonsByYear years",
    "weather": "Fallback Weather read_weather",
}
_HOME = {name: module for module, names in _FROM.items() for name in names.split()}


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("panbudget")
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"panbudget.{_HOME[name]}"), name)
