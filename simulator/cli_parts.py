"""
Command line parts: options that commands share, messages, progress. Imports nothing heavy.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import typer

from simulator.errors import PanbudgetError

__all__ = [
    "Json",
    "Out",
    "Overwrite",
    "Quiet",
    "ScenarioPath",
    "SeasonYear",
    "Strict",
    "day_option",
    "finish",
    "print_json",
    "progress",
    "say",
]

ScenarioPath = Annotated[Path, typer.Argument(metavar="SCENARIO", help="A scenario file (TOML).", show_default=False)]
Out = Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder to make.", show_default=False)]
Overwrite = Annotated[
    bool, typer.Option("--overwrite", help="Replace what an earlier run of this command left in the folder.")
]
Quiet = Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")]
Json = Annotated[bool, typer.Option("--json", help="Print the totals as JSON on standard output, and nothing else.")]
Strict = Annotated[bool, typer.Option("--strict", help="Exit with 1 if a finding is a danger.")]
SeasonYear = Annotated[
    int | None,
    typer.Option(
        "--season",
        metavar="YEAR",
        help="The scenario's calendar days in another year of the weather file: the year in which they start.",
        show_default=False,
    ),
]


def say(text: str, *, quiet: bool = False, aside: bool = False) -> None:
    """Print a message; aside (standard error) where standard output belongs to JSON."""
    if not quiet:
        typer.echo(text, err=aside)


@contextlib.contextmanager
def progress(steps: int | None, *, quiet: bool) -> Iterator[Any]:
    """
    Show a bar on standard error, if a person is looking.

    Parameters
    ----------
    steps : int or None
        How many are to come; None where nobody can know, and the bar only moves.
    quiet : bool
    """
    if quiet or not sys.stderr.isatty():
        yield lambda text: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("starting", total=steps)

        def step(text: str) -> None:
            bar.update(task, advance=1, description=text)

        yield step


def print_json(content: dict[str, Any]) -> None:
    """Print a JSON object, alone."""
    import json

    typer.echo(json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False))


def finish(danger: bool) -> None:
    """End with exit code 1 if a danger was asked about and found."""
    if danger:
        raise typer.Exit(1)


def day_option(name: str, help_text: str) -> Any:
    """
    Make an option that takes a date.

    Parameters
    ----------
    name : str
        Such as "--start".
    help_text : str

    Returns
    -------
    OptionInfo
        Its value is a date; any other text is refused in a line.
    """

    def parse(text: str) -> dt.date:
        try:
            return dt.datetime.strptime(text.strip(), "%Y-%m-%d").date()
        except ValueError:
            message = f'{name} "{text}" is not a date as expected, year-month-day: write it such as 2025-05-01'
            raise PanbudgetError(message) from None

    return typer.Option(name, parser=parse, metavar="DATE", help=help_text, show_default=False)
