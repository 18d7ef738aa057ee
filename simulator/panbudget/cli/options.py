"""
Command line parts: the one decorator of the verbs, options that they share, messages, progress. Imports nothing heavy.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import inspect
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from panbudget.errors import PanbudgetError, Problem

app = typer.Typer(
    name="panbudget",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
    help="What would an evaporation-driven valve have done? Replays a season of daily weather through the pan, the "
    "valve and the beds it waters. Start with: [bold]panbudget new my-garden[/bold]",
)

_LONG_LINE, _BETWEEN = 140, 2  # characters of a line, between two columns
_LAID_OVER = "Lay a variant over it: one of the file's, or a file such as fitted.toml; several in turn."

ScenarioPath = Annotated[Path, typer.Argument(metavar="SCENARIO", help="A scenario file (TOML).", show_default=False)]
Overwrite = Annotated[
    bool, typer.Option("--overwrite", help="Replace what an earlier run of this command left in the folder.")
]
Quiet = Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")]
Json = Annotated[bool, typer.Option("--json", help="Print the totals as JSON on standard output, and nothing else.")]


def option(help_text: str, *names: str, metavar: str | None = None, **more: Any) -> Any:
    """Make an option without a default; its names are taken from the argument's if left out."""
    return typer.Option(*names, metavar=metavar, help=help_text, show_default=False, **more)


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
            found = "is not a date as expected, year-month-day: write it such as 2025-05-01"
            raise PanbudgetError(Problem("no-date", f'{name} "{text}"', found)) from None

    return option(help_text, name, parser=parse, metavar="DATE")


Start = Annotated[dt.date | None, day_option("--start", "First day.")]
End = Annotated[dt.date | None, day_option("--end", "Last day.")]
SeasonYear = Annotated[
    int | None,
    option(
        "The scenario's calendar days in another year of the weather file: the year in which they start.",
        "--season",
        metavar="YEAR",
    ),
]


@dataclass(frozen=True)
class Done:
    """
    What a verb has found, and how it is shown.

    Parameters
    ----------
    write : callable
        Puts all files into an empty folder.
    totals : callable
        Gives what ``--json`` prints.
    show : callable
        Prints what a person can read in ten seconds, or gives the lines of it.
    danger : bool
        Whether ``--strict`` ends with 1.
    """

    write: Callable[[Path], object]
    totals: Callable[[], dict[str, Any]]
    show: Callable[[], Iterable[str] | None]
    danger: bool = False

    @classmethod
    def of(cls, result: Any, **other: Any) -> Done:
        """Show a result as `reports` describes it, but for what is given."""
        from panbudget.reports import writing

        parts = {
            "write": lambda folder: writing.write_into(result, folder),
            "totals": lambda: writing.as_json(result),
            "show": result.sentences,
        }
        return cls(**{**parts, **other})


def verb(
    wrote: str,
    *,
    steps: int | None = None,
    out: str = "",
    variants: bool = True,
    strict: str = "",
) -> Callable[[Callable[..., Done]], Callable[..., None]]:
    """
    Make a command of a function that takes a scenario, says each step to ``step`` and gives what it has found.

    The command reads the scenario and lays variants over it, shows progress, makes the folder whole or not at all,
    prints, and sets the exit code.

    Parameters
    ----------
    wrote : str
        What is said at the end; ``{out}`` is the folder.
    steps : int, optional
        How many are to come beside reading and writing; None where nobody can know.
    out : str
        Help of ``--out`` where a folder need not be given.
    variants : bool
        Whether ``--variant`` is laid over the scenario; else the function has that option for itself.
    strict : str
        Help of ``--strict``, if there is one.
    """

    def made(body: Callable[..., Done]) -> Callable[..., None]:
        signature = inspect.signature(body, eval_str=True)
        folder = option(out or "Folder to make.", "--out", metavar="DIR")
        shared: dict[str, tuple[Any, Any]] = {
            "out": (Annotated[Path | None, folder], None)
            if out
            else (Annotated[Path, folder], inspect.Parameter.empty),
            "variant": (Annotated[list[str] | None, option(_LAID_OVER, "--variant", metavar="NAME")], None),
            "overwrite": (Overwrite, False),
            "quiet": (Quiet, False),
            "as_json": (Json, False),
            "strict": (Annotated[bool, typer.Option("--strict", help=strict)], False),
        }
        left_out = {*(() if variants else ("variant",)), *(() if strict else ("strict",))}
        own = [p.replace(kind=p.KEYWORD_ONLY) for name, p in list(signature.parameters.items())[1:] if name != "step"]
        common = [
            inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, annotation=annotation, default=default)
            for name, (annotation, default) in shared.items()
            if name not in left_out
        ]
        scenario = inspect.Parameter("scenario", inspect.Parameter.KEYWORD_ONLY, annotation=ScenarioPath)

        def run(**given: Any) -> None:
            _run(body, given, wrote=wrote, steps=steps, laid_over=given.pop("variant") if variants else None)

        run.__name__, run.__doc__ = body.__name__, body.__doc__
        run.__signature__ = inspect.Signature([scenario, *own, *common])  # type: ignore[attr-defined]
        run.__annotations__ = {p.name: p.annotation for p in (scenario, *own, *common)}
        app.command()(run)
        return run

    return made


def _run(
    body: Callable[..., Done], given: dict[str, Any], *, wrote: str, steps: int | None, laid_over: list[str] | None
) -> None:
    path, out = given.pop("scenario"), given.pop("out")
    overwrite, quiet, as_json = (given.pop(name) for name in ("overwrite", "quiet", "as_json"))
    strict = given.pop("strict", False)
    from panbudget.reports.folders import new_folder
    from panbudget.scenario.garden import load_scenario

    with progress(steps and steps + 2, quiet=quiet) as step:
        step("reading the scenario")
        described = load_scenario(path, *(laid_over or ()))
        folder = contextlib.nullcontext() if out is None else new_folder(out, body.__name__, overwrite=overwrite)
        with folder as made:
            done = body(described, step=step, **given)
            if made is not None:
                step("drawing and writing")
                done.write(made)
    if as_json:
        print_json(done.totals())
    elif not quiet:
        for line in done.show() or ():
            say(line)
    if out is not None:
        say(f"Wrote {wrote.format(out=out)}", quiet=quiet, aside=as_json)
    if strict and done.danger:
        raise typer.Exit(1)


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
