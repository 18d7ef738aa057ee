"""
Years page: a garden's seasons side by side, in words, as one page and as data.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from panbudget.reports.pages import Report, words_of
from panbudget.reports.writing import Verb
from panbudget.reports.years.figures import years_figure
from panbudget.season.years import listed
from panbudget.studies.years import WRONG_HOURS, SeasonsByYear
from panbudget.words import count

_section, _say = words_of("years")


def years_sentences(found: SeasonsByYear) -> list[str]:
    """Say how many years there are, how many are without a short day, and what the named ones are like."""
    held, calm = [*found.seasons], sum(not found.days_short(year) for year in found.seasons)
    first = _say("years", years=len(held), listed=listed(held), calm=calm or "none")
    ranks = [] if len(held) == 1 else sorted(found.named, key=found.ranked.index)
    return [first, *(_say("named", name=found.named[year], year=year, what=_what(found, year)) for year in ranks)]


def _what(found: SeasonsByYear, year: int) -> str:
    beds, valves = (found.seasons[year].totals[key] for key in ("beds", "controllers"))
    short = {key: bed["driest_quarter"]["stress_days"] for key, bed in beds.items()}
    parts = [f"{key} {count(days, 'day')} short of water" for key, days in short.items() if days]
    wrong = {key: sum(valve[key] for valve in valves.values()) for key in WRONG_HOURS}
    parts += [_say(key, hours=hours) for key, hours in wrong.items() if hours]
    return "; ".join(parts) or _say("nothing")


def years_report(found: SeasonsByYear, figures: Mapping[str, str]) -> Report:
    """Say what the page says."""
    return Report(
        title=f"{found.scenario.title}: year by year",
        when=_say("when", years=len(found.seasons), season=found.scenario.season),
        sections=[
            _section("figures", figures=figures),
            _section("years", table=pd.DataFrame(_rows(found))),
            _section("beds", table=_bed_rows(found) if len(next(iter(found.seasons.values())).beds) > 1 else []),
        ],
        assumptions=found.assumptions,
    )


def _rows(found: SeasonsByYear) -> Iterator[dict[str, Any]]:
    for year, season in found.seasons.items():
        valves = season.totals["controllers"].values()
        sums = {key: sum(valve[key] for valve in valves) for key in ("litres", "openings", *WRONG_HOURS)}
        about = {"year": str(year), "named": found.named.get(year, ""), "short": found.days_short(year)}
        yield {**about, **season.totals["weather"], **sums}


def _bed_rows(found: SeasonsByYear) -> pd.DataFrame:
    rows = {
        str(year): {key: bed["driest_quarter"]["stress_days"] for key, bed in season.totals["beds"].items()}
        for year, season in found.seasons.items()
    }
    return pd.DataFrame.from_dict(rows, orient="index").rename_axis("year").reset_index()


def years_totals(found: SeasonsByYear) -> dict[str, Any]:
    """Return what `years.json` holds beside schema, title and provenance."""
    about = {"sentences": years_sentences(found), "named": {name: year for year, name in found.named.items()}}
    kept = ("season", "controllers", "beds", "supplies", "weather")
    return {
        **about,
        "ranked": found.ranked,
        "years": {str(year): {key: s.totals[key] for key in kept} for year, s in found.seasons.items()},
        "assumptions": found.assumptions,
    }


VERB = Verb(
    "replay --season all",
    years_sentences,
    years_report,
    years_totals,
    tables={"years.csv": SeasonsByYear.table},
    figures=lambda found: {"years": years_figure},
    of=lambda found: found.seasons[found.ranked[0]],
)
