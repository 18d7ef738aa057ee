"""
Checking: is a scenario sound, and what does its weather file hold?

`check_scenario` reads both and replays the season without writing anything, so that whatever `replay` would
refuse or remark on is known beforehand.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import PanbudgetError, ScenarioError, WeatherError
from panbudget.scenario.garden import Scenario, load_scenario
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.season.years import in_year, read_year
from panbudget.studies.sensitivity import Alternative, alternatives, in_mm, in_percent
from panbudget.weather import Weather
from panbudget.weather.checks.plausibility import PASSED
from panbudget.weather.flags import is_borrowed
from panbudget.weather.of_scenario import read_scenario_weather
from panbudget.words import days_said

__all__ = ["Checked", "check_lines", "check_scenario", "write_check"]

_EXTREMES = (
    ("tmax", "°C", "highest"),
    ("tmin", "°C", "lowest"),
    ("wind", "m/s at 2 m", "highest"),
    ("rain", "mm", "highest"),
    ("radiation", "MJ/m²", "highest"),
)


@dataclass(frozen=True)
class Checked:
    """
    A scenario that can be replayed, its weather and the season that came of it.

    Parameters
    ----------
    scenario : Scenario
    weather : Weather
    season : Season
    """

    scenario: Scenario
    weather: Weather
    season: Season

    @functools.cached_property
    def sensitivity(self) -> list[Alternative]:
        """What the season's ETo would be, had what was filled been filled otherwise."""
        return alternatives(self.season)

    def by_month(self) -> pd.DataFrame:
        """Return ETo, rain and each pan's evaporation by month of the season. [mm]"""
        columns = {"eto_mm": self.season.days["eto_mm"], "rain_mm": self.season.days["rain_mm"]}
        for name, table in self.season.controllers.items():
            columns[f"pan_mm {name}"] = table["pan_mm"]
        frame = pd.DataFrame(columns)
        return frame.groupby(pd.DatetimeIndex(frame.index).strftime("%Y-%m")).sum()

    @property
    def years(self) -> int:
        """Calendar years of which the record has a day."""
        return len(set(pd.DatetimeIndex(self.weather.daily.index).year))

    def extremes(self) -> list[dict[str, Any]]:
        """Return the season's extremes: column, value, unit, date."""
        daily = self.weather.daily.loc[self.season.days.index]
        rows = []
        for column, unit, which in _EXTREMES:
            values = daily[column].to_numpy(float)
            at = int(np.nanargmin(values) if which == "lowest" else np.nanargmax(values))
            rows.append(
                {
                    "column": column,
                    "which": which,
                    "value": float(values[at]),
                    "unit": unit,
                    "date": f"{pd.DatetimeIndex(daily.index)[at]:%Y-%m-%d}",
                }
            )
        return rows

    def as_dict(self) -> dict[str, Any]:
        """Return what ``check --json`` prints."""
        provenance = self.weather.provenance
        return {
            "schema": 1,
            "title": self.scenario.title,
            "season": self.season.totals["season"],
            "weather": {
                **{key: provenance[key] for key in ("file", "sha256", "reader", "recognised", "rows", "first", "last")},
                "eto_mm": self.season.totals["weather"]["eto_mm"],
                "rain_mm": self.season.totals["weather"]["rain_mm"],
                "filled": self.season.totals["weather"]["filled"],
                "extremes": self.extremes(),
                "by_month": self.by_month().to_dict(orient="index"),
                "sensitivity": [one.as_dict() for one in self.sensitivity],
                "fallbacks": provenance.get("fallbacks", []),
                "typical": bool(provenance.get("typical", False)),
                "notes": list(self.weather.notes),
            },
            "assumptions": list(self.season.assumptions),
            "findings": [finding.as_dict() for finding in self.season.findings],
        }


def check_scenario(path: str | Path, *, season: int | None = None) -> Checked:
    """
    Read a scenario and its weather, and try the season.

    Parameters
    ----------
    path : path
    season : int, optional
        Another year of the weather file, in which the season is to start.

    Returns
    -------
    Checked

    Raises
    ------
    PanbudgetError
        All that is wrong with the scenario; or, if that is sound, with the weather.
    """
    scenario = load_scenario(path)
    there, weather = (scenario, read_scenario_weather(scenario)) if season is None else read_year(scenario, season)
    replayed = replay(there, weather=weather)
    _try_variants(scenario, season)
    return Checked(there, weather, replayed)


def _try_variants(scenario: Scenario, season: int | None) -> None:
    """Replay each variant too: a variant that only fails when it is wanted has not been checked."""
    wrong: list[str] = []
    for name in scenario.variant:
        try:
            variant = scenario.with_variant(name)
            replay(variant if season is None else in_year(variant, season))
        except (ScenarioError, WeatherError) as error:
            wrong.extend(f"variant.{name}: {line}" for line in error.text().splitlines())
    if wrong:
        raise PanbudgetError(*wrong, file=str(scenario.path))


def check_lines(found: Checked) -> list[str]:
    """
    Say it for a terminal.

    Parameters
    ----------
    found : Checked

    Returns
    -------
    list of str
    """
    provenance, totals = found.weather.provenance, found.season.totals
    season = totals["season"]
    lines = [
        f"{found.scenario.path}: sound; {len(found.scenario.controller)} valve(s), {len(totals['beds'])} bed(s), "
        f"{len(found.scenario.variant)} variant(s).",
        f"{provenance['file']}: {provenance['recognised']}.",
        f"It holds {days_said(provenance['first'], provenance['last'])} ({len(found.weather.daily)} days); the season is "
        f"{days_said(season['start'], season['end'])} ({season['days']} days).",
        f"Season: ETo {totals['weather']['eto_mm']:.0f} mm, rain {totals['weather']['rain_mm']:.0f} mm, "
        + ", ".join(f"pan {name} {mm:.0f} mm" for name, mm in totals["weather"]["pan_evaporation_mm"].items())
        + ".",
    ]
    lines += [f"  {e['which']} {e['column']}: {e['value']:.1f} {e['unit']} on {e['date']}" for e in found.extremes()]
    filled = totals["weather"]["filled"]
    if not filled:
        lines.append("Nothing had to be filled.")
    for column, methods in filled.items():
        for method, days in methods.items():
            lines.append(f"  {column}: {days} day(s) {method if is_borrowed(method) else f'estimated by {method}'}")
    lines += [
        f"  {one.quantity} filled by {one.instead} instead: ETo {in_mm(one)} ({in_percent(one)})"
        for one in found.sensitivity
    ]
    lines.append(PASSED)
    lines += [f"assumed: {text}" for text in found.season.assumptions]
    lines += [f"note: {text}" for text in found.weather.notes]
    lines += [f"{f.severity}: {f.where}: {f.message}" for f in found.season.findings if f.severity != "note"]
    return lines


def write_check(found: Checked, folder: Path) -> None:
    """
    Write the weather's page and its picture into an empty folder.

    Parameters
    ----------
    found : Checked
    folder : Path
    """
    from panbudget.reports.canvas import draw_into
    from panbudget.reports.check import figures as weather_figures
    from panbudget.reports.season import page as html

    days = found.season.days.index
    drawings = {
        "weather": weather_figures.weather_figure(found.weather, days[0], days[-1], eto=found.season.days["eto_mm"])
    }
    if found.years > 1:
        drawings["years"] = weather_figures.years_figure(found.weather)
    page = html.check_html(found, draw_into(folder, drawings.items()))
    (folder / "check.html").write_text(page, encoding="utf-8")
