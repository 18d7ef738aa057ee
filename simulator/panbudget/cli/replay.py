"""
Command line: `replay`, what the valve would have done over a season.
"""

from __future__ import annotations  # the package's own names are imported when they are used

from collections.abc import Iterator
from typing import Any

import panbudget
from panbudget.cli import ALL, Day, Done, dangerous, days_asked, problem, table, verb
from panbudget.errors import PanbudgetError

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
        raise PanbudgetError(problem("too-few", f"--spread {spread}", least=SAMPLES[0]))
    if spread is not None and spread > SAMPLES[1]:
        raise PanbudgetError(problem("too-many", f"--spread {spread}", most=SAMPLES[1]))
    if season == ALL:
        if start is not None or end is not None:
            raise PanbudgetError(problem("one-of.days", "--season all"))
        if spread is not None:
            raise PanbudgetError(problem("one-of.spread", "--spread"))
        by_year = panbudget.years(scenario, step=step)
        return Done(by_year, danger=any(dangerous(each.findings) for each in by_year.seasons.values()))
    if season is not None and not season.isdecimal():
        raise PanbudgetError(problem("no-year", f'--season "{season}"', all=ALL))
    first, last = days_asked(scenario, season, start, end)
    step("reading the weather")
    if season is None:
        from panbudget.weather.of_scenario import read_scenario_weather

        weather = read_scenario_weather(scenario, first, last)
    else:
        scenario, weather = panbudget.read_year(scenario, int(season), start=first, end=last)
    step("replaying the season")
    replayed = panbudget.replay(scenario, start=start, end=end, weather=weather)
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
    heads = ["bed", "{:volume name}", "{:depth}", "net demand {:depth}", "days short", "of them in a row"]
    yield table(filled(heads, {}), rows, numbers_from=1)
    if drawn := totals.get("spread"):
        valves = {name: valve["litres"] for name, valve in drawn["controllers"].items()}
        ranges = "; ".join(f"{name} {litres(drew['low'])} to {litres(drew['high'])}" for name, drew in valves.items())
        yield f"In {percent(drawn['interval'])} of {drawn['samples']} seasons over the stated uncertainty: {ranges}."
    serious = [finding for finding in season.findings if finding.severity != "note"][:_MOST_FINDINGS]
    for finding in serious:
        yield f"{finding.severity}: {finding.where}: {finding.text}"
    if len(season.findings) > len(serious):
        yield f"and {len(season.findings) - len(serious)} more findings in the report."
