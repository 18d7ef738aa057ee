"""
Command line parts: options that commands share, messages, progress. Imports nothing heavy.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from panbudget.errors import PanbudgetError

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
    "print_table",
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
_LONG_LINE, _BETWEEN = 140, 2  # characters of a line, between two columns
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


def print_table(
    headings: Sequence[str], rows: Sequence[Sequence[str]], *, numbers_from: int | None = None, wide: bool = False
) -> None:
    """
    Print a table that is cut off nowhere: what is too long for its column goes on below.

    Parameters
    ----------
    headings : sequence of str
    rows : sequence of sequence of str
    numbers_from : int, optional
        First column of numbers, which stand to the right; all are words if left out.
    wide : bool
        Whether what is no terminal, and so has no width, gets long lines.
    """
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    if wide and not console.is_terminal:
        console = Console(highlight=False, width=_LONG_LINE)
    table = Table(box=None, pad_edge=False, padding=(0, _BETWEEN, 0, 0), header_style="bold")
    widths = _widths([list(column) for column in zip(headings, *rows, strict=True)], console.width)
    for place, (heading, width) in enumerate(zip(headings, widths, strict=True)):
        justify: Any = "right" if numbers_from is not None and place >= numbers_from else "left"
        table.add_column(_plain(heading), justify=justify, overflow="fold", width=width)
    for row in rows:
        table.add_row(*map(_plain, row))
    console.print(table)


def _widths(columns: Sequence[Sequence[str]], room: int) -> list[int]:
    """Widths that fit: taken from columns that can part between words, then from the widest."""
    widths = [max(map(len, cells)) for cells in columns]
    words = [max((len(word) for cell in cells for word in cell.split(" ")), default=0) for cells in columns]
    while sum(widths) + _BETWEEN * (len(widths) - 1) > room and max(widths) > 1:
        spare = [width - word for width, word in zip(widths, words, strict=True)]
        widest = max(range(len(widths)), key=lambda place: (max(spare[place], 0), widths[place]))
        widths[widest] -= 1
    return widths


def _plain(text: str) -> str:
    """Keep a text's brackets from being taken for a style."""
    return text.replace("[", r"\[")


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
