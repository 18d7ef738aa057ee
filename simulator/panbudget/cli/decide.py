"""
Command line, deciding: compare variants, leave a garden alone, set it up. Parse, call, print.
"""

from __future__ import annotations

import contextlib
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
from panbudget.errors import PanbudgetError

if TYPE_CHECKING:
    from panbudget.studies.compare import Comparison

__all__ = ["away", "compare", "register", "setup"]


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    for command in (compare, setup, away):
        app.command()(command)


def compare(
    scenario: ScenarioPath,
    out: Out,
    variant: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="A variant of the file; two to six of them.", show_default=False),
    ] = None,
    with_base: Annotated[
        bool, typer.Option("--with-base", help="Put the garden as described first; it counts as one.")
    ] = False,
    around: Annotated[
        str | None,
        typer.Option(metavar="heat", help="Look at the season's greatest heat wave.", show_default=False),
    ] = None,
    hot_above: Annotated[
        str | None,
        typer.Option(
            metavar="TEMPERATURE", help='Tmax above which a day is hot, such as "35 degC".', show_default=False
        ),
    ] = None,
    start: Annotated[dt.date | None, day_option("--start", "First day to look at.")] = None,
    end: Annotated[dt.date | None, day_option("--end", "Last day to look at.")] = None,
    overwrite: Overwrite = False,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """
    Which of two to six variants does better, in a heat wave above all?

    Example:  panbudget compare scenarios/terraces.toml --with-base --variant wide-pan --around heat --out wide-or-not
    """
    from panbudget.reports.folders import new_folder
    from panbudget.reports.season.files import comparison_json, write_comparison
    from panbudget.scenario.garden import load_scenario
    from panbudget.studies.compare import compare as compared

    if around not in (None, "heat"):
        raise PanbudgetError(f'--around "{around}" is not known; heat is expected')
    limit = _temperature(hot_above)
    names = list(variant or [])
    with progress(4 * (len(names) + with_base) + 2, quiet=quiet) as step:
        step("reading the scenario")
        described = load_scenario(scenario)
        with new_folder(out, "compare", overwrite=overwrite) as made:
            comparison = compared(
                described,
                names,
                around_heat=around == "heat",
                hot_above=limit,
                start=start,
                end=end,
                with_base=with_base,
                step=step,
            )
            step("drawing and writing")
            write_comparison(comparison, made)
    if as_json:
        print_json(comparison_json(comparison))
    else:
        _say_comparison(comparison, quiet=quiet)
    say(f"Wrote {out}/compare.html, with compare.csv, compare.json and figures beside it.", quiet=quiet, aside=as_json)


def _temperature(text: str | None) -> float | None:
    if text is None:
        return None
    from panbudget.units import UnitError, quantity

    try:
        return quantity(text, "temperature")
    except UnitError as error:
        raise PanbudgetError(f'--hot-above "{text}" {error}') from None


def _say_comparison(comparison: Comparison, *, quiet: bool) -> None:
    from panbudget.reports.compare.words import comparison_sentences

    for sentence in comparison_sentences(comparison):
        say(sentence, quiet=quiet)
    if comparison.definition:
        say(comparison.definition, quiet=quiet)


def away(
    scenario: ScenarioPath,
    start: Annotated[dt.date, day_option("--from", "First day away.")],
    end: Annotated[dt.date, day_option("--to", "Last day away.")],
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Also make a page, tables and a figure.", show_default=False),
    ] = None,
    overwrite: Overwrite = False,
    quiet: Quiet = False,
    as_json: Json = False,
    strict: Annotated[bool, typer.Option("--strict", help="Exit with 1 if it is not safe.")] = False,
) -> None:
    """
    May the garden be left alone from this date to that? Every year of the record, and a made heat wave.

    Example:  panbudget away scenarios/terraces.toml --from 2025-07-01 --to 2025-07-21
    """
    from panbudget.reports.folders import new_folder
    from panbudget.reports.writing import as_json as totals
    from panbudget.reports.writing import write_into
    from panbudget.scenario.garden import load_scenario
    from panbudget.studies.away import away as left_alone

    # nobody can know the years and the changes to try before the record is read
    with progress(None, quiet=quiet) as step:
        step("reading the scenario and its weather")
        described = load_scenario(scenario)
        with new_folder(out, "away", overwrite=overwrite) if out is not None else contextlib.nullcontext() as made:
            found = left_alone(described, start, end, step=step)
            if made is not None:
                step("drawing and writing")
                write_into(found, made)
    if as_json:
        print_json(totals(found))
    else:
        for sentence in found.sentences():
            say(sentence, quiet=quiet)
    if out is not None:
        say(f"Wrote {out}/away.html, with away.csv, away.json and a figure beside it.", quiet=quiet, aside=as_json)
    finish(strict and not found.safe)


def setup(
    scenario: ScenarioPath,
    out: Out,
    bed: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CONTROLLER/BED",
            help="The bed that the refill calendar goes by; the neediest of its valve if left out.",
            show_default=False,
        ),
    ] = None,
    overwrite: Overwrite = False,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """
    What do I set, and how do I check it with a jug, a scale and a ruler? One page a valve, to print and take outside.

    Example:  panbudget setup scenarios/terraces.toml --out terraces-setup
    """
    from panbudget.reports.folders import new_folder
    from panbudget.reports.season.files import setup_json, write_setup
    from panbudget.scenario.garden import load_scenario
    from panbudget.studies.setup import set_up

    with progress(8, quiet=quiet) as step:
        step("reading the scenario")
        described = load_scenario(scenario)
        with new_folder(out, "setup", overwrite=overwrite) as made:
            plan = set_up(described, beds=bed, step=step)
            step("drawing and writing")
            write_setup(plan, made)
    if as_json:
        print_json(setup_json(plan))
    else:
        for name, sheet in plan.sheets.items():
            flows = ", ".join(f"{month.name} {month.refill}" for month in sheet.months)
            say(
                f"{name}: fill to {sheet.freeboard_mm:.0f} mm below the rim; swing {sheet.swing_g:.0f} g; refill "
                f"{sheet.refill:.1f} mL/min, or by month for {sheet.bed}: {flows}.",
                quiet=quiet,
            )
    say(
        f"Wrote {out}/setup.pdf and setup.html to print, with setup.csv and setup.json beside them.",
        quiet=quiet,
        aside=as_json,
    )
