"""
Years: one garden in every usable year of its record, side by side; the worst, the middle and the best of them named.
"""

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import pandas as pd

from panbudget.extras import Reported, Step, silent
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.result import Season
from panbudget.studies.common import Garden, assumptions_of, seasons_of_record
from panbudget.weather import Weather

_OF_BED = ("litres", "irrigation_mm", "net_demand_mm", "deep_percolation_mm")
#: hours in which a pan or valve does not work, in a valve's totals
WRONG_HOURS = ("dry_pan_hours", "stuck_open_hours", "starved_hours")


@dataclass(frozen=True, repr=False)
class SeasonsByYear(Reported):
    """
    A garden's seasons, year by year.

    Parameters
    ----------
    scenario : Scenario
    seasons : dict of Season
        Year in which the season starts -> its replay; ascending.
    assumptions : tuple of str
        Years that are left out first, and why.
    """

    room: ClassVar[str] = "years"

    scenario: Scenario
    seasons: dict[int, Season]
    assumptions: tuple[str, ...]

    @functools.cached_property
    def ranked(self) -> tuple[int, ...]:
        """Years, the worst first: by days short of water, hours dry, stuck or without water, then what plants could use."""
        return tuple(sorted(self.seasons, key=self._badness, reverse=True))

    def _badness(self, year: int) -> tuple[float, ...]:
        totals = self.seasons[year].totals
        hours = sum(valve[key] for valve in totals["controllers"].values() for key in WRONG_HOURS)
        return self.days_short(year), hours, -min(b["driest_quarter"]["adequacy"] for b in totals["beds"].values())

    def days_short(self, year: int) -> int:
        """Return a year's days short of water, added over the beds' driest quarters."""
        return sum(bed["driest_quarter"]["stress_days"] for bed in self.seasons[year].totals["beds"].values())

    @property
    def named(self) -> dict[int, str]:
        """The years with a name: the worst, the best, and, of three or more, the middle one; a single one has none."""
        if len(self.ranked) == 1:
            return {}
        names = {self.ranked[-1]: "best", self.ranked[0]: "worst"}
        return names | ({self.ranked[len(self.ranked) // 2]: "middle"} if len(self.ranked) > 2 else {})

    def table(self) -> pd.DataFrame:
        """Return a row for each year and bed, its valve's figures repeated, as `years.csv` holds them."""
        rows = []
        for year, season in self.seasons.items():
            whole = season.totals
            about = {"year": year, "named": self.named.get(year, ""), **whole["season"]}
            about |= {key: whole["weather"][key] for key in ("eto_mm", "rain_mm")}
            for key, bed in whole["beds"].items():
                controller, name = key.split("/")
                valve = {"valve_litres": whole["controllers"][controller]["litres"]}
                valve |= {what: whole["controllers"][controller][what] for what in ("openings", *WRONG_HOURS)}
                driest = {f"driest_{what}": bed["driest_quarter"][what] for what in ("stress_days", "adequacy")}
                of_bed = {what: bed[what] for what in _OF_BED} | {"stress_days": bed["stress_days"], **driest}
                rows.append({**about, "controller": controller, "bed": name, **of_bed, **valve})
        return pd.DataFrame(rows)


def years(
    scenario: Garden, *, variants: Sequence[str] = (), weather: Weather | None = None, step: Step = silent
) -> SeasonsByYear:
    """
    Replay a garden in every usable year of its weather file.

    Parameters
    ----------
    scenario : Scenario or path
    variants : sequence of str, optional
        Laid over it in order: names of its own, or files such as `fitted.toml`.
    weather : Weather, optional
        Already read; else the scenario's file.
    step : callable
        Told each year.

    Raises
    ------
    ScenarioError, WeatherError
        No usable year: what is wrong with the scenario's own.
    """
    scenario = as_scenario(scenario, variants)
    seasons, left_out = seasons_of_record(scenario, weather, step)
    return SeasonsByYear(scenario, seasons, (*left_out, *assumptions_of(seasons.values())))
