"""
Checking: is a scenario sound, and what does its weather file hold?

`check` reads both and replays the season without writing anything, so that whatever `replay` would refuse or remark
on is known beforehand.
"""

import datetime as dt
import functools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any, ClassVar

import pandas as pd

from panbudget.errors import PanbudgetError, Problem, ScenarioError, WeatherError
from panbudget.extras import Reported
from panbudget.physics.evaporation import reference_evapotranspiration
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.heat import HeatWaves, find_heat_waves
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.season.years import Years, in_year, read_year, usable_years, whole_record
from panbudget.studies.common import Garden
from panbudget.studies.fit.log import named_log
from panbudget.studies.sensitivity import Alternative, alternatives
from panbudget.studies.statement.account import readings_of
from panbudget.weather import Weather
from panbudget.weather.clean import WeatherFile
from panbudget.weather.of_scenario import open_forecast, open_scenario_weather

#: column -> unit, and which of its values is looked for
_EXTREMES = {
    "tmax": ("°C", "highest"),
    "tmin": ("°C", "lowest"),
    "wind": ("m/s at 2 m", "highest"),
    "rain": ("mm", "highest"),
    "radiation": ("MJ/m²", "highest"),
}
_WEEKS = 52  # of a year, the last of eight or nine days
_OF_FILE = ("file", "sha256", "reader", "recognised", "rows", "first", "last")


@dataclass(frozen=True, repr=False)
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
        pans = pd.DataFrame({f"pan_mm {name}": table["pan_mm"] for name, table in self.season.controllers.items()})
        frame = self.season.days[["eto_mm", "rain_mm"]].join(pans)
        return frame.groupby(pd.DatetimeIndex(frame.index).strftime("%Y-%m")).sum()

    @functools.cached_property
    def weeks(self) -> pd.DataFrame:
        """
        ETo and rain by week of each year of the record, not a number where it lacks a day of the week. [mm/week]

        Index "year", "week", the week's first day in the season's own year. Years run from 1 January; where the season runs
        across New Year, from the first of its first month.
        """
        record = whole_record([self.weather, *self.usable.weather.values()])
        site, (first, last) = self.scenario.site, self.season.days.index[[0, -1]]
        month = first.month if last.year > first.year else 1
        eto = reference_evapotranspiration(record, latitude=site.latitude, elevation=site.elevation)
        held = pd.DatetimeIndex(record.index).to_period("M") - (month - 1)
        start, end, starts = (pd.Timestamp(of, month, 1) for of in (held.year.min(), held.year.max() + 1, first.year))
        days = pd.date_range(start, end, inclusive="left")
        year = pd.Series((days.to_period("M") - (month - 1)).year, days, name="year")
        number = (year.groupby(year).cumcount() // 7).clip(upper=_WEEKS - 1)
        week = (starts + pd.to_timedelta(7 * number, unit="D")).rename("week")
        weeks = pd.DataFrame({"eto_mm": eto, "rain_mm": record["rain"]}).reindex(days).groupby([year, week])
        return weeks.mean().mul(7.0).where(weeks.count().eq(weeks.size(), axis=0))

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
        left_out = {str(year): why for year, why in self.usable.left_out.items()}
        return {
            "season": totals["season"],
            "weather": {
                **{key: source[key] for key in _OF_FILE},
                **{key: totals["weather"][key] for key in ("eto_mm", "rain_mm", "filled")},
                **self.season.of_record(),
                "extremes": self.extremes(),
                "by_month": self.by_month().to_dict(orient="index"),
                "sensitivity": [asdict(other) for other in self.sensitivity],
                "fallbacks": source.get("fallbacks", []),
                "typical": bool(source.get("typical", False)),
                "notes": list(self.weather.notes),
                "cautions": [{"check": c.name, "message": c.sentence, "worth": c.worth} for c in self.weather.cautions],
                "checks": {name: list(columns) for name, columns in self.weather.checks.items()},
                "heat_waves": [asdict(wave) for wave in self.heat.waves],
            },
            "years": {"usable": list(self.usable.weather), "left_out": left_out},
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

    Raises
    ------
    PanbudgetError
        All that is wrong with the scenario; or, if that is sound, with the weather.
    """
    garden, read = as_scenario(scenario, variants), _Read()
    moved = garden
    if season is not None:
        moved, of_year = read_year(garden, season, read.file(garden))
        read.keep(moved, of_year)
    weather = read.season(moved)
    replayed = replay(moved, weather=weather)
    if wrong := [*_wrong_files(garden), *_wrong_variants(garden, season, read)]:
        raise PanbudgetError(*wrong, file=str(garden.path))
    return Checked(moved, weather, replayed, usable_years(garden, weather=read.file(garden), cautious=False))


class _Read:
    """What was read of weather: each file once, and each season of it, by all that bears on them."""

    def __init__(self) -> None:
        self._files = dict[str, WeatherFile]()
        self._seasons = dict[tuple[str, dt.date, dt.date], Weather]()

    @staticmethod
    def _key(scenario: Scenario) -> str:
        return "\n".join([str(scenario.path), scenario.weather.model_dump_json(), scenario.site.model_dump_json()])

    def keep(self, scenario: Scenario, weather: Weather) -> None:
        """Keep the weather of a garden's season that is read already."""
        self._seasons[self._key(scenario), scenario.season.start, scenario.season.end] = weather

    def file(self, scenario: Scenario) -> WeatherFile:
        """Return the weather file that a garden names."""
        if (key := self._key(scenario)) not in self._files:
            self._files[key] = open_scenario_weather(scenario)
        return self._files[key]

    def season(self, scenario: Scenario) -> Weather:
        """Return the weather with a garden's season sound."""
        start, end = scenario.season.start, scenario.season.end
        if (key := (self._key(scenario), start, end)) not in self._seasons:
            self.keep(scenario, self.file(scenario).over(start, end))
        return self._seasons[key]


def _wrong_files(scenario: Scenario) -> Iterator[Problem]:
    """Read what other verbs read too, and say what is wrong: a forecast, a field log, meter readings."""
    log = scenario.log
    reads: dict[str, Callable[[], Any]] = {
        "weather.forecast": lambda: (forecast := open_forecast(scenario)) and forecast.over(),
        "log": lambda: log and named_log(scenario, log),
        "right.readings": lambda: list(readings_of(scenario)),
    }
    for key, read in reads.items():
        try:
            read()
        except ScenarioError as error:
            yield from error.problems
        except PanbudgetError as error:
            yield from (Problem("named-file", f"{key}:", line) for line in str(error).splitlines())


def _wrong_variants(scenario: Scenario, season: int | None, read: _Read) -> Iterator[Problem]:
    """Replay each variant too, and say what is wrong: one that only fails when it is wanted has not been checked."""
    for name in scenario.variant:
        try:
            variant = scenario.with_variant(name)
            variant = variant if season is None else in_year(variant, season)
            replay(variant, weather=read.season(variant))
        except (ScenarioError, WeatherError) as error:
            error.file = error.file if error.file != str(scenario.path) else ""  # which the message begins with
            yield from (Problem("variant", f"variant.{name}:", line) for line in error.text().splitlines())
