"""
Command line: `statement`, season totals for a water-rights form.
"""

from pathlib import Path
from typing import Any

import panbudget
from panbudget.cli import Day, Done, dangerous, days_asked, verb


@verb()
def statement(
    scenario: Any,
    start: Day = None,
    end: Day = None,
    season: int | None = None,
    readings: Path | None = None,
    samples: int | None = None,
    *,
    step: Any,
) -> Done:
    """
    How much water was drawn, by month and in the units of a water-rights form?

    Example:  panbudget statement scenarios/terraces.toml --out statement-terraces
    """
    days_asked(scenario, season, start, end)
    if season is not None:
        scenario, _ = panbudget.read_year(scenario, season, start=start, end=end)
    result = panbudget.statement(scenario, start=start, end=end, readings=readings, samples=samples, step=step)
    return Done(result, danger=dangerous(result.findings))
