"""
Command line: `statement`, season totals for a water-rights form.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from panbudget.cli.options import Done, End, Start, option, verb


@verb(
    "{out}/statement.html, PDF of A4 and Letter, CSV and JSON, and the season beside them.",
    strict="Exit with 1 if a licence's term is broken.",
)
def statement(
    scenario: Any,
    start: Start = None,
    end: End = None,
    readings: Annotated[Path | None, option("Meter readings: date, reading, unit.", metavar="FILE.csv")] = None,
    samples: Annotated[int | None, option("Seasons to run over the stated ranges.", metavar="N")] = None,
    *,
    step: Any,
) -> Done:
    """
    How much water was drawn, by month and in the units of a water-rights form?

    Example:  panbudget statement scenarios/terraces.toml --out statement-terraces
    """
    from panbudget.studies.statement.account import statement as state

    done = state(scenario, start=start, end=end, readings=readings, samples=samples, step=step)
    return Done.of(done, danger=any(finding.severity == "danger" for finding in done.findings))
