"""
Command line, in the field: what goes wrong. Parse, call, print.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated

import typer

from simulator.cli_parts import (
    DATE,
    Json,
    Out,
    Overwrite,
    Quiet,
    ScenarioPath,
    day,
    print_json,
    progress,
    say,
)

__all__ = ["faults", "register"]


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    for command in (faults,):
        app.command()(command)


def faults(
    scenario: ScenarioPath,
    out: Out,
    start: Annotated[
        dt.datetime | None,
        typer.Option(
            "--from", formats=[DATE], help="First day of the usual faults; a third into the season.", show_default=False
        ),
    ] = None,
    overwrite: Overwrite = False,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """
    What could go wrong, what would it do, how would I notice, and what is the cure? The usual faults, one by one.

    Example:  panbudget faults scenarios/terraces.toml --out faults-terraces
    """
    from simulator.going_wrong import try_faults
    from simulator.output import new_folder
    from simulator.output_field import faults_json, write_faults
    from simulator.reports.faults_page import faults_sentences
    from simulator.scenario import load_scenario

    with progress(None, quiet=quiet) as step:
        step("reading the scenario and its weather")
        described = load_scenario(scenario)
        with new_folder(out, overwrite=overwrite) as made:
            found = try_faults(described, start=day(start), step=step)
            step("drawing and writing")
            write_faults(found, made)
    if as_json:
        print_json(faults_json(found))
    else:
        for sentence in faults_sentences(found):
            say(sentence, quiet=quiet)
    say(f"Wrote {out}/faults.html, with faults.csv, faults.json and a figure beside it.", quiet=quiet, aside=as_json)
