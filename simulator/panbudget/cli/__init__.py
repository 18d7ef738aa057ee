"""
Command line parts: how a function becomes a command, what the verbs share, messages, progress. Imports nothing heavy.

What the options say in help stands in `verbs.toml`.
"""

import contextlib
import datetime as dt
import functools
import inspect
import re
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, get_args

import typer
from typer.core import TyperCommand, TyperGroup, TyperOption

from panbudget import terminal
from panbudget.errors import PanbudgetError, Problem, WeatherError, visible
from panbudget.words import errors_shown, packaged, problems_from, units_shown

TEXTS = packaged("cli/verbs.toml")
_FILES = packaged("reports/folders.toml")["files"]
problem = problems_from(packaged("cli/problems.toml"))
#: dates, as the options that take them are typed
Day = dt.date | None
#: what may be given several times
Names = list[str] | None
#: what `--season` takes for every usable year
ALL = "all"


class _Unmarked:
    """A command whose help shows no type beside an option that is there or is not, as some typers do (``<bool>``)."""

    def get_params(self, ctx: Any) -> list[Any]:
        """Give its parameters."""
        params: list[Any] = super().get_params(ctx)  # type: ignore[misc]
        for param in params:
            if getattr(param, "is_flag", False):
                param.metavar = ""
        return params


# what the library of options says of a number that is none, or out of its bounds; by its version
_NO_SUCH_NUMBER = re.compile(
    r"Input should be (a valid (number|integer)|(less|greater) than)|not in the range|not a valid (int|float)"
)


# the limits of memory that a shell sets, by what sets them, and the least with which a season is run (measured, Linux)
_LEAST_MEMORY = {"RLIMIT_DATA": ("d", 400 * 2**20), "RLIMIT_AS": ("v", 700 * 2**20)}


class _Command(_Unmarked, TyperCommand):
    """A verb."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Refuse an option that is given twice with two values, of which the last would win without a word."""
        texts, _, given = self.make_parser(ctx).parse_args(args=[*args])
        for param, times in Counter(given).items():
            if times > 1 and isinstance(param, TyperOption) and not (param.multiple or param.is_flag):
                raise PanbudgetError(problem("twice", param.opts[0]))
        try:
            return super().parse_args(ctx, args)
        except typer.BadParameter as error:
            name = getattr(error.param, "name", None) or ""
            if (text := texts.get(name)) is not None and _NO_SUCH_NUMBER.search(error.message):
                about = {**TEXTS["shared"], **TEXTS.get(self.name or "", {})}.get(name, {})
                bounds = {"min": "at least", "max": "at most"}.items()
                ends = [f"{word} {about[end]}" for end, word in bounds if end in about]
                whole = "a whole number" if "integer" in error.message else "a number"
                error.message = f"{text!r} is not {whole}{' that is ' * bool(ends)}{' and '.join(ends)}"
            elif text is not None and repr(text) not in error.message:
                error.message = f"{text!r}: {error.message}"
            raise

    def invoke(self, ctx: Any) -> Any:
        """Refuse a limit of memory under which compiled libraries end the program, or never end, while they are loaded."""
        with contextlib.suppress(ImportError):  # a system without such limits
            import resource

            for name, (letter, least) in _LEAST_MEMORY.items():
                limit = resource.getrlimit(getattr(resource, name))[0]
                if limit not in (resource.RLIM_INFINITY, -1) and limit < least:
                    shown = {"limit": limit // 2**20, "least": least // 2**20, "letter": letter, "size": least // 2**10}
                    raise PanbudgetError(problem("little-memory", "this computer's memory", **shown))
        return super().invoke(ctx)


class _Group(_Unmarked, TyperGroup):
    """All verbs."""


app = typer.Typer(cls=_Group, **TEXTS["app"])
_LONG_LINE, _BETWEEN = 140, 2  # characters of a line, between two columns


def command(body: Callable[..., None]) -> Callable[..., None]:
    """Make a command of a function, whose arguments become options as `verbs.toml` describes them."""
    texts = {**TEXTS["shared"], **TEXTS.get(body.__name__, {})}
    parameters = [
        p.replace(annotation=Annotated[p.annotation, _option(p, **texts[name])], kind=p.KEYWORD_ONLY)
        for name, p in inspect.signature(body, eval_str=True).parameters.items()
    ]
    body.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    body.__annotations__ = {p.name: p.annotation for p in parameters}
    app.command(cls=_Command)(body)
    return body


def _option(parameter: inspect.Parameter, *, name: str = "", argument: bool = False, **about: Any) -> Any:
    about = {"show_default": False, **about}
    if Path in (parameter.annotation, *get_args(parameter.annotation)):
        shown = about["metavar"] if argument else f"--{parameter.name}"
        about |= {"parser": _path(shown, "no-folder" if about["metavar"] == "DIR" else "no-folder.file")}
    if argument:
        return typer.Argument(**about)
    name = name or "--" + parameter.name.replace("_", "-")
    if dt.date in (parameter.annotation, *get_args(parameter.annotation)):
        about |= {"parser": _day(name), "metavar": "DATE"}
    return typer.Option(name, **about)


def _path(name: str, code: str) -> Callable[[str], Path]:
    """Read a path; none would be the present folder."""

    def path(text: str) -> Path:
        if not text.strip():
            raise PanbudgetError(problem(code, name))
        return Path(text)

    return path


def _day(name: str) -> Callable[[str], dt.date]:
    """Read a date; any other text is refused in a line."""

    def parse(text: str) -> dt.date:
        from panbudget.scenario.quantities import YEARS

        code, (first, last) = "no-date", YEARS
        with contextlib.suppress(ValueError):
            # digits of another script are refused, as a scenario's are
            day = dt.datetime.strptime(text.strip().encode("ascii").decode(), "%Y-%m-%d").date()
            if first <= day.year <= last:
                return day
            code = "no-date.year"
        raise PanbudgetError(problem(code, f'{name} "{text}"', first=first, last=last))

    return parse


@dataclass(frozen=True)
class Done:
    """
    What a verb has found, where more is to be said of it than a result says of itself.

    Parameters
    ----------
    result : Reported
    lines : callable, optional
        Gives what a person can read in ten seconds, called where the units shown are known; the result's own sentences
        if left out.
    danger : bool
        Whether ``--strict`` ends with 1.
    """

    result: Any
    lines: Callable[[], Iterable[str]] | None = None
    danger: bool = False


def one_of(option: str, given: str | None, known: Sequence[str]) -> None:
    """Refuse an option's word that is none of those known."""
    if given is not None and given not in known:
        raise PanbudgetError(problem("no-choice", f'{option} "{given}"', known=" or ".join(known)))


def typed_quantity(option: str, text: str, kind: str) -> float:
    """Read what an option was given as text with a unit."""
    from panbudget.units import UnitError, quantity

    try:
        return quantity(text, kind)
    except UnitError as error:
        raise PanbudgetError(error.problem.under(f'{option} "{text}"')) from None


def dangerous(findings: Iterable[Any]) -> bool:
    """Whether a finding is a danger."""
    return any(finding.severity == "danger" for finding in findings)


def _shared(
    out: Path,
    variant: Names = None,
    overwrite: bool = False,
    figures: bool = False,
    quiet: bool = False,
    as_json: bool = False,
) -> None:
    """Stand for the arguments that every verb takes."""


def verb(steps: int | None = None) -> Callable[[Callable[..., Any]], Callable[..., None]]:
    """
    Make a command of a function that takes a scenario, says each step to ``step`` and gives what it has found.

    The command reads the scenario and lays variants over it (where the function has no ``variant`` of its own), shows
    progress, makes the folder whole or not at all, prints, and sets the exit code.

    Parameters
    ----------
    steps : int, optional
        How many are to come beside reading and writing; None where nobody can know.
    """

    def made(body: Callable[..., Any]) -> Callable[..., None]:
        texts = TEXTS[body.__name__]
        taken, shared = (dict(inspect.signature(part, eval_str=True).parameters) for part in (body, _shared))
        if "out" in texts:
            shared["out"] = shared["out"].replace(annotation=Path | None, default=None)
        if "figures" not in _FILES[body.__name__]:
            del shared["figures"]
        if "strict" in texts:
            shared["strict"] = shared["quiet"].replace(name="strict")
        taken["scenario"] = taken["scenario"].replace(annotation=Path)
        del taken["step"]

        @functools.wraps(body)
        def run(**given: Any) -> None:
            _run(body, given, () if "variant" in taken else given.pop("variant") or (), steps)

        arguments = {**taken, **{name: p for name, p in shared.items() if name not in taken}}
        run.__signature__ = inspect.Signature([p.replace(kind=p.KEYWORD_ONLY) for p in arguments.values()])  # type: ignore[attr-defined]
        return command(run)

    return made


def _run(body: Callable[..., Any], given: dict[str, Any], laid_over: Sequence[str], steps: int | None) -> None:
    path, out, overwrite, quiet, as_json = (given.pop(k) for k in ("scenario", "out", "overwrite", "quiet", "as_json"))
    strict, figures = (given.pop(name, False) for name in ("strict", "figures"))
    if figures and out is None:
        raise PanbudgetError(problem("no-folder.figures", "--figures"))
    from panbudget.reports.folders import new_folder
    from panbudget.scenario.garden import load_scenario

    command_line = body.__name__ + (" --season all" if given.get("season") == ALL else "")
    unsaid: list[str] = []
    with bar(steps and steps + 2, quiet=quiet) as update:

        def step(text: str) -> None:
            terminal.listen()
            update(advance=1, description=text)
            while unsaid:  # once what can be refused is behind it
                say(unsaid.pop(), quiet=quiet, aside=True)

        step("reading the scenario")
        scenario = load_scenario(path, *laid_over)
        if not sys.stderr.isatty():
            unsaid += [TEXTS[command_line]["starts"]] if "starts" in TEXTS[command_line] else []
        folder = contextlib.nullcontext() if out is None else new_folder(out, command_line, overwrite=overwrite)
        with _blamed(scenario), at_options(body.__name__, **given), errors_shown(scenario.units), folder as made:
            result = body(scenario, step=step, **given)
            done = result if isinstance(result, Done) else Done(result)
            if made is not None or as_json:  # what draws takes long to load, and a refusal needs none of it
                from panbudget.reports import writing
            if made is not None:
                step("drawing and writing")
                writing.write_into(done.result, made, figures=figures)
    with units_shown(scenario.units):
        lines = () if quiet or as_json else (done.lines or done.result.sentences)()
        lines = [str(line) for line in lines]
    if laid_over:
        say(f"Laid over: {', '.join(laid_over)}.", quiet=quiet, aside=as_json)
    if as_json:
        print_json(writing.as_json(done.result))
    for line in lines:
        say(line)
    if out is not None:
        say(f"Wrote {TEXTS[command_line]['wrote'].format(out=out)}", quiet=quiet, aside=as_json)
    if strict and done.danger:
        raise typer.Exit(1)


@contextlib.contextmanager
def _blamed(scenario: Any) -> Iterator[None]:
    """Name, in an error about a scenario, the file that has the key: of what is laid over it, the last that gives it."""
    try:
        yield
    except PanbudgetError as error:
        is_weather = isinstance(error, WeatherError) and error.file != str(scenario.path)
        # what no weather can be depends on the place
        file = scenario.file_of(*(("weather", "site") if is_weather else (error.key,)))
        if error.file == str(scenario.path):
            error.file = file
        elif is_weather and file != str(scenario.path):  # which is read as that one says
            error.file = f"{file}: {error.file}"
        raise


def _of_option(problem: Problem, given: dict[str, Any], names: dict[str, Any]) -> Problem:
    """A problem about what an option gave, as a season's first or last day, at that option; any other as it is."""
    typed = [name.replace("_", " ") for name, value in given.items() if value is not None and value is not False]
    options = {name: names.get(name, {}).get("name") or f"--{name.replace(' ', '-')}" for name in typed}
    if spoken := next((name for name in options if f"{problem.where} ".startswith(f"{name} ")), ""):
        return replace(problem, where=options[spoken] + problem.where.removeprefix(spoken))
    part, _, name = problem.where.partition(".")
    is_typed = part == "season" and name in ("start", "end") and given.get(name) is not None
    return replace(problem, where=f"--{name}") if is_typed and given[name] == problem.value else problem


@contextlib.contextmanager
def at_options(verb: str = "", /, **given: Any) -> Iterator[None]:
    """Name, in an error about what an option gave, that option, and no file."""
    try:
        yield
    except PanbudgetError as error:
        problems = tuple(_of_option(problem, given, TEXTS.get(verb, {})) for problem in error.problems)
        error.file = error.file if problems[:1] == error.problems[:1] else ""
        error.problems = error.args = problems
        raise


def say(text: str, *, quiet: bool = False, aside: bool = False) -> None:
    """Print a message; aside (standard error) where standard output belongs to JSON."""
    if not quiet:
        typer.echo(visible(text), err=aside)


@contextlib.contextmanager
def bar(steps: int | None, *, quiet: bool) -> Iterator[Callable[..., None]]:
    """
    Show a bar on standard error, if a person is looking, and give what moves it.

    Parameters
    ----------
    steps : int or None
        How many are to come; None where nobody can know, and the bar only moves.
    quiet : bool
    """
    if quiet or not sys.stderr.isatty():
        yield lambda **moves: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as drawn:
        yield functools.partial(drawn.update, drawn.add_task("starting", total=steps))


def days_asked(scenario: Any, year: object, start: Day, end: Day) -> tuple[Day, Day]:
    """Return the first and the last day asked for, or the season's own where no year is named; refused in another order."""
    first, last = (start, end) if year is not None else (start or scenario.season.start, end or scenario.season.end)
    if first is not None and last is not None and last < first:
        begins, ends = "season.start" if start is None else "--start", "season.end" if end is None else "--end"
        code, other = "order.one" if None in (start, end) else "order", "--start" if start is None else "--end"
        if code == "order.one":
            _refuse_outside(scenario, begins if end is None else ends, start or end)
        raise PanbudgetError(problem(code, f"{begins} {first}", end=f"{ends} {last}", other=other))
    return first, last


def _refuse_outside(scenario: Any, option: str, day: Day) -> None:
    """Refuse a day that the weather file doesn't hold: no other day beside it would help."""
    from panbudget.weather.of_scenario import open_scenario_weather

    days = open_scenario_weather(scenario).file.raw.daily.index
    first, last = days.min().date(), days.max().date()
    if day is not None and not first <= day <= last:
        facts = {"file": scenario.weather.shown, "first": first, "last": last}
        raise PanbudgetError(problem("order.record", f"{option} {day}", **facts))


def print_json(content: dict[str, Any]) -> None:
    """Print a JSON object, alone; letters that the terminal's code page may lack are escaped, so that all arrive."""
    from panbudget.files import json_text

    whole = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    typer.echo(json_text(content, plain=not whole))


def table(
    headings: Sequence[str], rows: Sequence[Sequence[str]], *, numbers_from: int | None = None, wide: bool = False
) -> str:
    """
    Lay out a table that is cut off nowhere: what is too long for its column goes on below.

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
    from rich.text import Text

    console = Console(highlight=False)
    if wide and not console.is_terminal:
        console = Console(highlight=False, width=_LONG_LINE)
    drawn = Table(box=None, pad_edge=False, padding=(0, _BETWEEN, 0, 0), header_style="bold")
    widths = _widths([list(column) for column in zip(headings, *rows, strict=True)], console.width)
    for index, (heading, width) in enumerate(zip(headings, widths, strict=True)):
        justify: Any = "right" if numbers_from is not None and index >= numbers_from else "left"
        drawn.add_column(Text(heading), justify=justify, overflow="fold", width=width)
    for row in rows:
        drawn.add_row(*(Text(str(cell)) for cell in row))  # as text, whose brackets are no style
    with console.capture() as captured:
        console.print(drawn)
    return captured.get().removesuffix("\n")


def _widths(columns: Sequence[Sequence[str]], room: int) -> list[int]:
    """Widths that fit: taken from columns that can part between words, then from the widest."""
    widths = [max(map(len, cells)) for cells in columns]
    words = [max((len(word) for cell in cells for word in cell.split(" ")), default=0) for cells in columns]
    while sum(widths) + _BETWEEN * (len(widths) - 1) > room and max(widths) > 1:
        spare = [width - word for width, word in zip(widths, words, strict=True)]
        widest = max(range(len(widths)), key=lambda index: (max(spare[index], 0), widths[index]))
        widths[widest] -= 1
    return widths
