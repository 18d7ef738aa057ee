"""
Years: the same calendar days in the other years of a record, plantings moved along.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from simulator.scenario import Scenario
from simulator.weather import Weather

__all__ = ["in_year", "moved", "years_at_hand"]


def moved(day: dt.date, years: int) -> dt.date:
    """
    Return the same calendar day some years on; 29 February becomes the 28th where there is none.

    Examples
    --------
    >>> moved(dt.date(2024, 2, 29), 1)
    datetime.date(2025, 2, 28)
    """
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return day.replace(year=day.year + years, day=28)


def in_year(scenario: Scenario, year: int) -> Scenario:
    """
    Return a garden as it would be in another year: season, plantings and a made heat wave moved to it.

    Parameters
    ----------
    scenario : Scenario
    year : int
        In which its season is to start.

    Returns
    -------
    Scenario
    """
    by = year - scenario.season.start.year
    if by == 0:
        return scenario
    overlay: dict[str, Any] = {
        "season": {"start": moved(scenario.season.start, by), "end": moved(scenario.season.end, by)},
        "controller": {
            name: {"bed": {key: {"planted": moved(bed.planted, by)} for key, bed in part.bed.items() if bed.planted}}
            for name, part in scenario.controller.items()
        },
    }
    if scenario.what_if.heat is not None:
        overlay["what_if"] = {"heat": {"start": moved(scenario.what_if.heat.start, by)}}
    if scenario.fault:
        overlay["fault"] = [_fault_moved(fault, by) for fault in scenario._raw["fault"]]
    return scenario.changed(overlay)


def _fault_moved(described: dict[str, Any], by: int) -> dict[str, Any]:
    return {key: moved(value, by) if key in ("start", "end") else value for key, value in described.items()}


def years_at_hand(scenario: Scenario, weather: Weather, start: dt.date, end: dt.date) -> list[int]:
    """
    List the years in which the record holds the same calendar days.

    Parameters
    ----------
    scenario : Scenario
    weather : Weather
    start, end : date
        First and last day, in the scenario's own year or another.

    Returns
    -------
    list of int
        Years in which the scenario's season would start, ascending.
    """
    first, last = weather.daily.index[0].date(), weather.daily.index[-1].date()
    own = scenario.season.start.year
    span = range(first.year - end.year - 1, last.year - start.year + 2)
    return [own + by for by in span if moved(start, by) >= first and moved(end, by) <= last]
