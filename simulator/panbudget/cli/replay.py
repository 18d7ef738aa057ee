"""
Command line: `replay`, what the valve would have done over a season.
"""

from __future__ import annotations  # the package's own names are imported when they are used

from collections.abc import Iterator
from typing import Any

import panbudget
from panbudget.cli import ALL, Day, Done, dangerous, table, verb
from panbudget.errors import PanbudgetError, Problem

_MOST_FINDINGS = 6
_AMOUNTS = {"litres": "volume", "irrigation_mm": "depth", "net_demand_mm": "depth"}
_DAYS = ("stress_days", "longest_stress_days")


@verb()
def replay(
    scenario: Any,
    start: Day = None,
    end: Day = None,
    season: str | None = None,
    spread: int | None = None,
    *,
    step: Any,
) -> Done:
    """
    What would the valve have done over a season, and how much would each bed have got?

    Example:  panbudget replay scenarios/terraces.toml --out season-terraces
    """
    from panbudget.scenario.uncertainty import SAMPLES

    if spread is not None and spread < SAMPLES[0]:
        cure = f"{SAMPLES[0]} at least"
        raise PanbudgetError(Problem("too-few", f"--spread {spread}", "is too few seasons to give a range", "", cure))
    if spread is not None and spread > SAMPLES[1]:
        found = "is more seasons than are ever run"
        raise PanbudgetError(Problem("too-many", f"--spread {spread}", found, "", f"{SAMPLES[1]} at most"))
    if season == ALL:
        if start is not None or end is not None:
            cure = "leave out --start and --end, or name a year"
            raise PanbudgetError(Problem("one-of", "--season all", "takes the scenario's own days", "", cure))
        if spread is not None:
            raise PanbudgetError(Problem("one-of", "--spread", "is of one season", "", "leave it out, or name a year"))
        by_year = panbudget.years(scenario, step=step)
        return Done(by_year, danger=any(dangerous(each.findings) for each in by_year.seasons.values()))
    if season is not None and not season.isdecimal():
        raise PanbudgetError(Problem("no-year", f'--season "{season}"', "is no year", f"a year such as 2024, or {ALL}"))
    first, last = (start, end) if season is not None else (start or scenario.season.start, end or scenario.season.end)
    if first is not None and last is not None and last < first:
        begins, ends = "season.start" if start is None else "--start", "season.end" if end is None else "--end"
        found = f"lies after {ends} {last}; the season would end before it starts"
        cure = "give the earlier date first"
        if start is None or end is None:
            cure = f"give {'--start' if start is None else '--end'} too"
        raise PanbudgetError(Problem("order", f"{begins} {first}", found, "", cure))
    step("reading the weather")
    if season is None:
        from panbudget.weather.of_scenario import read_scenario_weather

        weather = read_scenario_weather(scenario, first, last)
    else:
        scenario, weather = panbudget.read_year(scenario, int(season), start=first, end=last)
        first, last = first or scenario.season.start, last or scenario.season.end
    step("replaying the season")
    replayed = panbudget.replay(scenario, start=first, end=last, weather=weather)
    if spread is not None:
        replayed = panbudget.with_spread(replayed, spread, step=step)
    return Done(replayed, lambda: _lines(replayed), dangerous(replayed.findings))


def _lines(season: panbudget.Season) -> Iterator[str]:
    from panbudget.words import bare, days_said, filled, litres, percent

    totals = season.totals
    when = f"{days_said(totals['season']['start'], totals['season']['end'])}, {totals['season']['days']} days"
    yield f"{totals['title']}: {when}"
    yield from season.sentences()
    rows = [
        [key, *(bare(bed[name], kind, 0) for name, kind in _AMOUNTS.items()), *(str(bed[name]) for name in _DAYS)]
        for key, bed in totals["beds"].items()
    ]
    yield table(
        filled(["bed", "{:volume name}", "{:depth}", "net demand {:depth}", "days short", "of them in a row"], {}),
        rows,
        numbers_from=1,
    )
    if drawn := totals.get("spread"):
        valves = {name: valve["litres"] for name, valve in drawn["controllers"].items()}
        ranges = "; ".join(f"{name} {litres(drew['low'])} to {litres(drew['high'])}" for name, drew in valves.items())
        yield f"In {percent(drawn['interval'])} of {drawn['samples']} seasons over the stated uncertainty: {ranges}."
    serious = [finding for finding in season.findings if finding.severity != "note"][:_MOST_FINDINGS]
    for finding in serious:
        yield f"{finding.severity}: {finding.where}: {finding.text}"
    if len(season.findings) > len(serious):
        yield f"and {len(season.findings) - len(serious)} more findings in the report."
