"""What `panbudget` offers, and where it stands: read by type checkers, and by `__init__` when a name is first used."""

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
from panbudget.studies.away.leaving import Away, away
from panbudget.studies.check import Checked, check
from panbudget.studies.compare import Comparison, compare
from panbudget.studies.download import Downloaded, download_weather
from panbudget.studies.faults import Trials, faults
from panbudget.studies.fit.estimate import Fit, fit
from panbudget.studies.known import known
from panbudget.studies.ranges import with_spread
from panbudget.studies.setup import SetUp, setup
from panbudget.studies.size.sizing import Sizing, size
from panbudget.studies.statement.account import Statement, statement
from panbudget.studies.sweep.run import sweep
from panbudget.studies.sweep.swept import Swept
from panbudget.studies.today.standing import Today, today
from panbudget.studies.years import SeasonsByYear, years
from panbudget.weather import Fallback, Weather, read_weather

__version__: str

__all__ = ["Away", "Checked", "ClosureError", "Comparison", "Downloaded", "Fallback", "Fit", "OutputError"]
__all__ += ["PanbudgetError", "Problem", "ReadingsError", "Scenario", "ScenarioError", "Season", "SetUp", "Sizing"]
__all__ += ["SeasonsByYear", "Statement", "Swept", "Today", "Trials", "Weather", "WeatherError", "__version__"]
__all__ += ["away", "check", "compare", "download_weather", "faults", "fit", "known", "load_scenario"]
__all__ += ["read_weather", "read_year", "replay", "scenario_from", "setup", "size", "statement", "sweep", "today"]
__all__ += ["with_spread", "years"]
