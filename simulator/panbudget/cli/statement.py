"""
Command line, the statement: season totals for a water-rights form. Parse, call, print.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from panbudget.cli.options import (
    Json,
    Out,
    Overwrite,
    Quiet,
    ScenarioPath,
    day_option,
    finish,
    print_json,
    progress,
    say,
)

if TYPE_CHECKING:
    from panbudget.studies.statement.account import Statement

__all__ = ["register", "statement"]

_STEPS = 3  # beside the many seasons


def register(app: typer.Typer) -> None:
    """Add this command to the program."""
    app.command()(statement)


def statement(
    scenario: ScenarioPath,
    out: Out,
    start: Annotated[dt.date | None, day_option("--start", "First day.")] = None,
    end: Annotated[dt.date | None, day_option("--end", "Last day.")] = None,
    variant: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Lay one of the file's variants over it.", show_default=False),
    ] = None,
    readings: Annotated[
        Path | None,
        typer.Option(metavar="FILE.csv", help="Meter readings: date, reading, unit.", show_default=False),
    ] = None,
    samples: Annotated[
        int | None,
        typer.Option(metavar="N", help="Seasons to run over the stated ranges.", show_default=False),
    ] = None,
    overwrite: Overwrite = False,
    quiet: Quiet = False,
    as_json: Json = False,
    strict: Annotated[bool, typer.Option("--strict", help="Exit with 1 if a licence's term is broken.")] = False,
) -> None:
    """
    How much water was drawn, by month and in the units of a water-rights form?

    Example:  panbudget statement scenarios/terraces.toml --out statement-terraces
    """
    from panbudget.reports.folders import new_folder
    from panbudget.scenario.garden import load_scenario

    described = load_scenario(scenario)
    with (
        progress(_STEPS + (samples or described.statement.samples), quiet=quiet) as step,
        new_folder(out, "statement", overwrite=overwrite) as made,
    ):
        from panbudget.reports.statement.files import statement_json, write_statement
        from panbudget.studies.statement.account import make_statement

        done = make_statement(
            described,
            start=start,
            end=end,
            readings=readings,
            samples=samples,
            variant=variant,
            step=step,
        )
        step("writing")
        write_statement(done, made)
    if as_json:
        print_json(statement_json(done))
        say(f"Wrote {out}", quiet=quiet, aside=True)
    else:
        _summary(done, out, quiet=quiet)
    finish(strict and any(finding.severity == "danger" for finding in done.findings))


def _summary(done: Statement, out: Path, *, quiet: bool) -> None:
    """Print what a person can read in ten seconds."""
    from panbudget.reports.statement.sheet import make_sheet
    from panbudget.words import day_said

    sheet = make_sheet(done, ())
    say(sheet.subtitle, quiet=quiet)
    for section in sheet.sections:
        for sentence in (section.heading, *section.sentences):
            say(sentence, quiet=quiet)
    for finding in done.findings:
        first = f" First on {day_said(finding.first)}." if finding.first else ""
        say(f"{finding.severity}: {finding.where}: {finding.message}{first}", quiet=quiet)
    say(sheet.estimate, quiet=quiet)
    say(f"Wrote {out}/statement.html, PDF of A4 and Letter, CSV and JSON, and the season beside them.", quiet=quiet)
