"""
Years: the same calendar days in the other years of a record, plantings moved along.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from simulator.scenario import Bed, Scenario
from simulator.weather import Weather

__all__ = ["bed_in_year", "in_year", "moved", "years_at_hand"]


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
            name: {"bed": {key: _moved_dates(scenario, name, key, by) for key in part.bed}}
            for name, part in scenario.controller.items()
        },
    }
    if scenario.what_if.heat is not None:
        overlay["what_if"] = {"heat": {"start": moved(scenario.what_if.heat.start, by)}}
    return scenario.changed(overlay)


def _moved_dates(scenario: Scenario, controller: str, name: str, by: int) -> dict[str, Any]:
    """An overlay of a bed: its planting dates, and those of the plantings in turn or in a mixture."""
    bed = scenario.controller[controller].bed[name]
    moves: dict[str, Any] = {}
    if bed.planted:
        moves["planted"] = moved(bed.planted, by)
    for key in ("plantings", "mix"):
        if getattr(bed, key):
            described = scenario.described["controller"][controller]["bed"][name][key]
            moves[key] = [
                {**part, "planted": moved(part["planted"], by)} if part.get("planted") else part for part in described
            ]
    return moves


def bed_in_year(bed: Bed, by: int) -> Bed:
    """
    Return a checked bed with its plantings moved along.

    Parameters
    ----------
    bed : scenario.Bed
    by : int
        Years.
    """

    def along(part: Any) -> Any:
        return part.model_copy(update={"planted": moved(part.planted, by)}) if part.planted else part

    whole: Bed = along(bed)
    return whole.model_copy(
        update={key: [along(part) for part in getattr(bed, key)] for key in ("plantings", "mix") if getattr(bed, key)}
    )


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
