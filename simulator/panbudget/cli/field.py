"""
Command line, in the field: what goes wrong, and tuning to a log. Parse, call, print.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated

import typer

from panbudget.cli.options import Json, Out, Overwrite, Quiet, ScenarioPath, day_option, print_json, progress, say
from panbudget.errors import PanbudgetError

__all__ = ["faults", "fit", "register"]


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    for command in (faults, fit):
        app.command()(command)


def faults(
    scenario: ScenarioPath,
    out: Out,
    start: Annotated[
        dt.date | None, day_option("--from", "First day of the usual faults; a third into the season.")
    ] = None,
    overwrite: Overwrite = False,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """
    What could go wrong, what would it do, how would I notice, and what is the cure? The usual faults, one by one.

    Example:  panbudget faults scenarios/terraces.toml --out faults-terraces
    """
    from panbudget.reports.faults.page import faults_sentences
    from panbudget.reports.folders import new_folder
    from panbudget.reports.writing import as_json as content
    from panbudget.reports.writing import write_into
    from panbudget.scenario.garden import load_scenario
    from panbudget.studies.faults import faults as tried

    with progress(None, quiet=quiet) as step:
        step("reading the scenario and its weather")
        described = load_scenario(scenario)
        with new_folder(out, "faults", overwrite=overwrite) as made:
            found = tried(described, start=start, step=step)
            step("drawing and writing")
            write_into(found, made)
    if as_json:
        print_json(content(found))
    else:
        for sentence in faults_sentences(found):
            say(sentence, quiet=quiet)
    say(f"Wrote {out}/faults.html, with faults.csv, faults.json and a figure beside it.", quiet=quiet, aside=as_json)


def fit(
    scenario: ScenarioPath,
    log: Annotated[Path, typer.Argument(metavar="LOG.csv", help="A field log.", show_default=False)],
    out: Out,
    hold: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME", help="Keep refill or swing as described, whatever the log says.", show_default=False
        ),
    ] = None,
    interval: Annotated[
        float | None,
        typer.Option(
            min=0.5,
            max=0.99,
            help="Share of intervals that hold the truth; the table statement says.",
            show_default=False,
        ),
    ] = None,
    overwrite: Overwrite = False,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """
    My valve opened so often, my ruler and my meter read this: tune the model to my pan.

    Example:  panbudget fit my-garden/garden.toml my-garden/log.csv --out my-garden/fit
    """
    from panbudget.reports.fit.page import fit_sentences
    from panbudget.reports.folders import new_folder
    from panbudget.reports.writing import as_json as content
    from panbudget.reports.writing import write_into
    from panbudget.scenario.garden import load_scenario
    from panbudget.studies.fit.estimate import fit as fitted

    for name in hold or []:
        if name not in ("refill", "swing"):
            raise PanbudgetError(f'--hold "{name}" is not known; refill or swing is expected')
    with progress(None, quiet=quiet) as step:
        step("reading the scenario and the log")
        described = load_scenario(scenario)
        with new_folder(out, "fit", overwrite=overwrite) as made:
            found = fitted(described, log, interval=interval, hold=hold or (), step=step)
            step("drawing and writing")
            write_into(found, made)
    if as_json:
        print_json(content(found))
    else:
        for sentence in fit_sentences(found):
            say(sentence, quiet=quiet)
    say(
        f"Wrote {out}/fit.html, and {out}/fitted.toml to replay with: --variant {out}/fitted.toml",
        quiet=quiet,
        aside=as_json,
    )
