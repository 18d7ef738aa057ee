"""
Checking: is a scenario sound, and what does its weather file hold?

`check` reads both and replays the season without writing anything, so that whatever `replay` would refuse or remark
on is known beforehand.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, ClassVar

import pandas as pd

from panbudget.errors import PanbudgetError, Problem, ScenarioError, WeatherError
from panbudget.extras import Reported
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.heat import HeatWaves, find_heat_waves
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.season.years import Years, in_year, read_year, usable_years
from panbudget.studies.common import Garden
from panbudget.studies.sensitivity import Alternative, alternatives
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

#: column -> unit, and which of its values is looked for
_EXTREMES = {
    "tmax": ("°C", "highest"),
    "tmin": ("°C", "lowest"),
    "wind": ("m/s at 2 m", "highest"),
    "rain": ("mm", "highest"),
    "radiation": ("MJ/m²", "highest"),
}
_OF_FILE = ("file", "sha256", "reader", "recognised", "rows", "first", "last")


@dataclass(frozen=True)
class Checked(Reported):
    """
    A scenario that can be replayed, its weather and the season that came of it.

    Parameters
    ----------
    scenario : Scenario
    weather : Weather
    season : Season
    usable : Years
        In which years the season can be replayed, and why not in others.
    """

    room: ClassVar[str] = "check"

    scenario: Scenario
    weather: Weather
    season: Season
    usable: Years

    @functools.cached_property
    def sensitivity(self) -> list[Alternative]:
        """What the season's ETo would be, had what was filled been filled otherwise."""
        return alternatives(self.season)

    @functools.cached_property
    def heat(self) -> HeatWaves:
        """The season's heat waves, found in the whole record."""
        days = self.season.days.index
        return find_heat_waves(self.weather.daily, days[0].date(), days[-1].date())

    def by_month(self) -> pd.DataFrame:
        """Return ETo, rain and each pan's evaporation by month of the season. [mm]"""
        pans = {f"pan_mm {name}": table["pan_mm"] for name, table in self.season.controllers.items()}
        frame = self.season.days[["eto_mm", "rain_mm"]].assign(**pans)
        return frame.groupby(pd.DatetimeIndex(frame.index).strftime("%Y-%m")).sum()

    @property
    def years(self) -> int:
        """Calendar years of which the record has a day."""
        return len(set(pd.DatetimeIndex(self.weather.daily.index).year))

    def extremes(self) -> list[dict[str, Any]]:
        """Return the season's extremes: column, which, value, unit, date."""
        daily = self.weather.daily.loc[self.season.days.index]
        rows = []
        for column, (unit, which) in _EXTREMES.items():
            how = "min" if which == "lowest" else "max"
            value, day = float(daily[column].agg(how)), daily[column].agg(f"idx{how}")
            rows.append({"column": column, "which": which, "value": value, "unit": unit, "date": f"{day:%Y-%m-%d}"})
        return rows

    def as_dict(self) -> dict[str, Any]:
        """Return what ``check --json`` prints."""
        source, totals = self.weather.provenance, self.season.totals
        return {
            "schema": 1,
            "title": self.scenario.title,
            "season": totals["season"],
            "weather": {
                **{key: source[key] for key in _OF_FILE},
                **{key: totals["weather"][key] for key in ("eto_mm", "rain_mm", "filled")},
                "extremes": self.extremes(),
                "by_month": self.by_month().to_dict(orient="index"),
                "sensitivity": [asdict(other) for other in self.sensitivity],
                "fallbacks": source.get("fallbacks", []),
                "typical": bool(source.get("typical", False)),
                "notes": list(self.weather.notes),
                "cautions": [{"check": c.name, "message": c.sentence, "worth": c.worth} for c in self.weather.cautions],
                "checks": {name: list(columns) for name, columns in self.weather.checks.items()},
                "heat_waves": [
                    asdict(wave) | {"start": str(wave.start), "end": str(wave.end)} for wave in self.heat.waves
                ],
            },
            "years": {
                "usable": list(self.usable.weather),
                "left_out": {str(y): w for y, w in self.usable.left_out.items()},
            },
            "assumptions": list(self.season.assumptions),
            "findings": list(self.season.findings),
        }


def check(scenario: Garden, *, season: int | None = None, variants: Sequence[str] = ()) -> Checked:
    """
    Read a scenario and its weather, and try the season and each variant.

    Parameters
    ----------
    scenario : Scenario or path
    season : int, optional
        Another year of the weather file, in which the season is to start.
    variants : sequence of str, optional
        Laid over it in order: names of its own, or files such as `fitted.toml`.

    Returns
    -------
    Checked

    Raises
    ------
    PanbudgetError
        All that is wrong with the scenario; or, if that is sound, with the weather.
    """
    garden = as_scenario(scenario, variants)
    moved, weather = (garden, read_scenario_weather(garden)) if season is None else read_year(garden, season)
    replayed = replay(moved, weather=weather)
    _try_variants(garden, season)
    return Checked(moved, weather, replayed, usable_years(garden))


def _try_variants(scenario: Scenario, season: int | None) -> None:
    """Replay each variant too: a variant that only fails when it is wanted has not been checked."""
    wrong: list[Problem] = []
    for name in scenario.variant:
        try:
            variant = scenario.with_variant(name)
            replay(variant if season is None else in_year(variant, season))
        except (ScenarioError, WeatherError) as error:
            wrong += [Problem("variant", f"variant.{name}:", line) for line in error.text().splitlines()]
    if wrong:
        raise PanbudgetError(*wrong, file=str(scenario.path))
