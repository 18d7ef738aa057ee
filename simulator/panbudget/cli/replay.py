"""
Command line: `replay`, what the valve would have done over a season.
"""

from __future__ import annotations

from typing import Annotated, Any

from panbudget.cli.options import Done, End, SeasonYear, Start, option, print_table, say, verb
from panbudget.errors import PanbudgetError, Problem

_LEAST_SPREAD = 20
_MOST_FINDINGS = 6


@verb(
    "{out}/report.html, with tables, figures and season.json beside it.",
    strict="Exit with 1 if a finding is a danger.",
)
def replay(
    scenario: Any,
    start: Start = None,
    end: End = None,
    season: SeasonYear = None,
    spread: Annotated[
        int | None,
        option("Also give ranges, from N seasons over the uncertainty of the table statement.", metavar="N"),
    ] = None,
    *,
    step: Any,
) -> Done:
    """
    What would the valve have done over a season, and how much would each bed have got?

    Example:  panbudget replay scenarios/terraces.toml --out season-terraces
    """
    if spread is not None and spread < _LEAST_SPREAD:
        found = "is too few seasons to give a range"
        raise PanbudgetError(Problem("too-few", f"--spread {spread}", found, "", f"{_LEAST_SPREAD} at least"))
    if season is not None and (start is not None or end is not None):
        cure = "leave out --start and --end, or --season"
        raise PanbudgetError(Problem("one-of", "--season", "takes the scenario's own days", "", cure))
    first, last = start or scenario.season.start, end or scenario.season.end
    if last < first:
        found = f"lies after --end {last}; the season would end before it starts"
        raise PanbudgetError(Problem("order", f"--start {first}", found, "", "give the earlier date first"))
    from panbudget.season.replay import replay
    from panbudget.season.years import read_year
    from panbudget.weather.of_scenario import read_scenario_weather

    step("reading the weather")
    if season is None:
        weather = read_scenario_weather(scenario, first, last)
    else:
        scenario, weather = read_year(scenario, season)
        first, last = scenario.season.start, scenario.season.end
    step("replaying the season")
    replayed = replay(scenario, start=first, end=last, weather=weather)
    if spread is not None:
        from panbudget.studies.ranges import with_spread

        replayed = with_spread(replayed, spread, step=step)
    danger = any(finding.severity == "danger" for finding in replayed.findings)
    return Done.of(replayed, show=lambda: _show(replayed), danger=danger)


def _show(season: Any) -> None:
    from panbudget.reports.season.words import three_sentences
    from panbudget.words import days_said, litres, number, percent

    totals = season.totals
    when = f"{days_said(totals['season']['start'], totals['season']['end'])}, {totals['season']['days']} days"
    say(f"{totals['title']}: {when}")
    for sentence in three_sentences(season):
        say(sentence)
    rows = [
        [
            key,
            *(number(bed[name]) for name in ("litres", "irrigation_mm", "net_demand_mm")),
            *(str(bed[name]) for name in ("stress_days", "longest_stress_days")),
        ]
        for key, bed in totals["beds"].items()
    ]
    print_table(("bed", "litres", "mm", "net demand mm", "days short", "of them in a row"), rows, numbers_from=1)
    if "spread" in totals:
        drawn = totals["spread"]
        ranges = "; ".join(
            f"{name} {litres(valve['litres']['low'])} to {litres(valve['litres']['high'])}"
            for name, valve in drawn["controllers"].items()
        )
        say(f"In {percent(drawn['interval'])} of {drawn['samples']} seasons over the stated uncertainty: {ranges}.")
    serious = [finding for finding in season.findings if finding.severity != "note"][:_MOST_FINDINGS]
    for finding in serious:
        say(f"{finding.severity}: {finding.where}: {finding.message}")
    if len(season.findings) > len(serious):
        say(f"and {len(season.findings) - len(serious)} more findings in the report.")
