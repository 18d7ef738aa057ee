"""
Command line: `statement`, season totals for a water-rights form.
"""

from __future__ import annotations

from collections.abc import Iterator
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
    from panbudget.reports.statement.files import statement_json, write_statement
    from panbudget.studies.statement.account import make_statement

    done = make_statement(scenario, start=start, end=end, readings=readings, samples=samples, step=step)
    danger = any(finding.severity == "danger" for finding in done.findings)
    return Done(
        lambda folder: write_statement(done, folder), lambda: statement_json(done), lambda: _lines(done), danger
    )


def _lines(done: Any) -> Iterator[str]:
    from panbudget.reports.statement.sheet import make_sheet
    from panbudget.words import day_said

    sheet = make_sheet(done, ())
    yield sheet.subtitle
    for section in sheet.sections:
        yield from (section.heading, *section.sentences)
    for finding in done.findings:
        first = f" First on {day_said(finding.first)}." if finding.first else ""
        yield f"{finding.severity}: {finding.where}: {finding.message}{first}"
    yield sheet.estimate
