"""
Years page: a garden's seasons side by side, in words, as one page and as data.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from panbudget.reports.arranging import steps_of
from panbudget.reports.pages import Report, words_of
from panbudget.reports.writing import Verb
from panbudget.reports.years.figures import years_figure
from panbudget.season.years import listed
from panbudget.studies.years import WRONG_HOURS, SeasonsByYear
from panbudget.words import count

_section, _say = words_of("years")


def years_sentences(years: SeasonsByYear) -> list[str]:
    """Say how many years there are, how many are without a short day, and what the named ones are like."""
    held, calm = [*years.seasons], sum(not years.days_short(year) for year in years.seasons)
    first = _say("years", years=len(held), listed=listed(held), calm=calm or "none")
    ranks = sorted(years.named, key=years.ranked.index)
    return [first, *(_say("named", name=years.named[year], year=year, what=_what(years, year)) for year in ranks)]


def _what(years: SeasonsByYear, year: int) -> str:
    beds, valves = (years.seasons[year].totals[key] for key in ("beds", "controllers"))
    short = {key: bed["driest_quarter"]["stress_days"] for key, bed in beds.items()}
    parts = [f"{key} {count(days, 'day')} short of water" for key, days in short.items() if days]
    wrong = {key: sum(valve[key] for valve in valves.values()) for key in WRONG_HOURS}
    parts += [_say(key, hours=hours) for key, hours in wrong.items() if hours]
    return "; ".join(parts) or _say("nothing")


def years_report(years: SeasonsByYear, figures: Mapping[str, str]) -> Report:
    """Say what the page says."""
    named = ", ".join(years.named[year] for year in years.ranked if year in years.named)
    return Report(
        title=f"{years.scenario.title}: year by year",
        when=_say("when", years=len(years.seasons), season=years.scenario.season),
        sections=[
            _section("figures", figures=figures, fill={"darker": named and _say("darker", named=named)}),
            _section("years", table=pd.DataFrame(_rows(years))),
            _section("beds", table=_bed_rows(years) if len(next(iter(years.seasons.values())).beds) > 1 else []),
        ],
        first=steps_of(years.seasons[years.ranked[0]].findings),
        assumptions=years.assumptions,
    )


def _rows(years: SeasonsByYear) -> Iterator[dict[str, Any]]:
    for year, season in years.seasons.items():
        valves = season.totals["controllers"].values()
        sums = {key: sum(valve[key] for valve in valves) for key in ("litres", "openings", *WRONG_HOURS)}
        about = {"year": str(year), "named": years.named.get(year, ""), "short": years.days_short(year)}
        yield {**about, **season.totals["weather"], **sums}


def _bed_rows(years: SeasonsByYear) -> pd.DataFrame:
    beds = {str(year): season.totals["beds"].items() for year, season in years.seasons.items()}
    rows = {year: {key: bed["driest_quarter"]["stress_days"] for key, bed in of} for year, of in beds.items()}
    return pd.DataFrame.from_dict(rows, orient="index").rename_axis("year").reset_index()


def years_totals(years: SeasonsByYear) -> dict[str, Any]:
    """Return what `years.json` holds beside schema, title and provenance."""
    about = {"sentences": years_sentences(years), "named": {name: year for year, name in years.named.items()}}
    keys = ("season", "controllers", "beds", "supplies", "weather")
    return {
        **about,
        "ranked": years.ranked,
        "years": {str(year): {key: s.totals[key] for key in keys} for year, s in years.seasons.items()},
        "assumptions": years.assumptions,
    }


VERB = Verb(
    "replay --season all",
    years_sentences,
    years_report,
    years_totals,
    tables={"years.csv": SeasonsByYear.table},
    figures=lambda years: {"years": years_figure},
    of=lambda years: years.seasons[years.ranked[0]],
    measures=True,
)
