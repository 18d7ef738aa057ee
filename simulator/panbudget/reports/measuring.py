"""
Measuring: what the cheapest measurement, a ruler on three dry days, would be worth to a garden, in one line and as data.
"""

from typing import Any

from panbudget.extras import made_once
from panbudget.reports.pages import texts
from panbudget.season.result import Season
from panbudget.studies.fit.tub import Worth, worth_of_ruler_test
from panbudget.words import percent, say

#: of the range of the litres, what a measurement must bring it down to for it to pay; common practice, no source
PAYS = 0.8
RULER_DAYS = 3


def ruler_worth(season: Season) -> dict[str, Worth]:
    """Return what the ruler is worth to each valve to which it pays; computed once a season."""
    known: dict[str, Worth] = made_once(season, "ruler", lambda: worth_of_ruler_test(season, days=RULER_DAYS))
    return {name: worth for name, worth in known.items() if worth.after < PAYS * worth.before}


def measure_first(season: Season) -> list[str]:
    """Say in one line what the ruler would be worth; nothing where it does not pay."""
    fixed, worths = texts()["measure"], ruler_worth(season)
    shares = ((name, percent(worth.before), percent(worth.after)) for name, worth in worths.items())
    parts = (fixed["valve"].format(name=name, before=before, after=after) for name, before, after in shares)
    return [str(say(fixed["line"], valves=", ".join(parts)))] if worths else []


def measured_data(season: Season) -> dict[str, Any]:
    """Return the same as data."""
    return {name: {"before": worth.before, "after": worth.after} for name, worth in ruler_worth(season).items()}
