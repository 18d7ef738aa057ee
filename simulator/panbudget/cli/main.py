"""
Command line: parse, call, print. Whatever a command can do, a Python user can do in one call.

Heavy imports wait until a command needs them, so that ``--help`` is quick.
"""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from panbudget.cli import decide as cli_decide
from panbudget.cli import field as cli_field
from panbudget.cli import statement as cli_statement
from panbudget.cli.options import (
    Json,
    Out,
    Overwrite,
    Quiet,
    ScenarioPath,
    SeasonYear,
    Strict,
    day_option,
    finish,
    print_json,
    print_table,
    progress,
    say,
)
from panbudget.cli.size import size
from panbudget.cli.sweep import sweep
from panbudget.errors import OutputError, PanbudgetError

if TYPE_CHECKING:
    from panbudget.season.result import Season

__all__ = ["app", "main"]

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

_INTERRUPTED = 130
_LEAST_SPREAD = 20


def _version(wanted: bool) -> None:
    if wanted:
        import importlib.metadata

        typer.echo(f"panbudget {importlib.metadata.version('panbudget')}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and exit.")
    ] = False,
) -> None:
    pass


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to make.", show_default=False)],
    overwrite: Overwrite = False,
    quiet: Quiet = False,
) -> None:
    """
    Start from nothing: a commented scenario and a small weather file that replay at once.

    Example:  panbudget new my-garden
    """
    import importlib.resources

    from panbudget.reports.folders import new_folder

    templates = importlib.resources.files("panbudget") / "templates"
    for name in ("garden.toml", "weather.csv"):
        there = folder / name
        if there.is_file() and there.read_bytes() != (templates / name).read_bytes():
            raise OutputError(
                f"holds a {name} that has been changed, and stays as it is; choose another folder", file=str(folder)
            )
    with new_folder(folder, "new", overwrite=overwrite) as made:
        for name in ("garden.toml", "weather.csv"):
            (made / name).write_bytes((templates / name).read_bytes())
    say(
        f"Made {folder}: garden.toml (describe your garden there) and weather.csv (invented, to try it).",
        quiet=quiet,
    )
    say(f"Try it:  panbudget replay {folder / 'garden.toml'} --out {folder / 'season'}", quiet=quiet)


@app.command()
def check(
    scenario: ScenarioPath,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Also make a page with a picture of the weather."),
    ] = None,
    season: SeasonYear = None,
    overwrite: Overwrite = False,
    quiet: Quiet = False,
    as_json: Json = False,
    strict: Strict = False,
) -> None:
    """
    Is the scenario sound, and what does its weather file hold?

    Example:  panbudget check my-garden/garden.toml
    """
    from panbudget.reports.check.page import check_lines
    from panbudget.reports.writing import write_into
    from panbudget.studies.check import check as checked

    with progress(2, quiet=quiet) as step:
        step("reading the weather")
        found = checked(scenario, season=season)
        if out is not None:
            from panbudget.reports.folders import new_folder

            step("drawing")
            with new_folder(out, "check", overwrite=overwrite) as made:
                write_into(found, made)
    if as_json:
        print_json(found.as_dict())
    else:
        for line in check_lines(found):
            say(line, quiet=quiet)
    if out is not None:
        say(f"Wrote {out}/check.html", quiet=quiet, aside=as_json)
    finish(strict and any(f.severity == "danger" for f in found.season.findings))


@app.command()
def replay(
    scenario: ScenarioPath,
    out: Out,
    start: Annotated[dt.date | None, day_option("--start", "First day.")] = None,
    end: Annotated[dt.date | None, day_option("--end", "Last day.")] = None,
    season: SeasonYear = None,
    variant: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="Lay a variant over it: one of the file's, or a file such as fitted.toml.",
            show_default=False,
        ),
    ] = None,
    spread: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            help="Also give ranges, from N seasons over the doubts of the table statement.",
            show_default=False,
        ),
    ] = None,
    overwrite: Overwrite = False,
    quiet: Quiet = False,
    as_json: Json = False,
    strict: Strict = False,
) -> None:
    """
    What would the valve have done over a season, and how much would each bed have got?

    Example:  panbudget replay scenarios/terraces.toml --out season-terraces
    """
    from panbudget.reports.folders import new_folder
    from panbudget.reports.writing import as_json as totals
    from panbudget.reports.writing import write_into
    from panbudget.scenario.garden import load_scenario

    if spread is not None and spread < _LEAST_SPREAD:
        raise PanbudgetError(f"--spread {spread} is too few seasons to give a range; {_LEAST_SPREAD} at least")
    with progress(4 + (spread or 0), quiet=quiet) as step:
        step("reading the scenario")
        described = load_scenario(scenario)
        if variant is not None:
            described = described.with_variant(variant)
        if season is not None and (start is not None or end is not None):
            message = "--season takes the scenario's own days; leave out --start and --end, or --season"
            raise PanbudgetError(message)
        first = start or described.season.start
        last = end or described.season.end
        if last < first:
            raise PanbudgetError(
                f"--start {first} lies after --end {last}; the season would end before it starts: give the earlier date first"
            )
        with new_folder(out, "replay", overwrite=overwrite) as made:
            from panbudget.season.replay import replay
            from panbudget.season.years import read_year
            from panbudget.weather.of_scenario import read_scenario_weather

            step("reading the weather")
            if season is not None:
                described, weather = read_year(described, season)
                first, last = described.season.start, described.season.end
            else:
                weather = read_scenario_weather(described, first, last)
            step("replaying the season")
            replayed = replay(described, start=first, end=last, weather=weather)
            if spread is not None:
                from panbudget.studies.ranges import with_spread

                replayed = with_spread(replayed, spread, step=step)
            step("drawing and writing")
            write_into(replayed, made)
    if as_json:
        print_json(totals(replayed))
    else:
        _summary(replayed, out, quiet=quiet)
    if as_json:
        say(f"Wrote {out}", quiet=quiet, aside=True)
    finish(strict and any(finding.severity == "danger" for finding in replayed.findings))


@app.command()
def known(
    topic: Annotated[
        str, typer.Argument(metavar="TOPIC", help="plants, soils, landscape, pans or readers.")
    ] = "plants",
    as_json: Annotated[bool, typer.Option("--json", help="Print the list as JSON on standard output.")] = False,
) -> None:
    """
    What does the program know by name, and where from?

    Example:  panbudget known soils
    """
    from panbudget.studies.known import TOPICS
    from panbudget.studies.known import known as listed

    if topic not in TOPICS:
        import difflib

        near = difflib.get_close_matches(topic, TOPICS, n=1)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        raise PanbudgetError(f'TOPIC = "{topic}" is not known; expected: {", ".join(TOPICS)}{hint}')
    rows = listed(topic)
    if as_json:
        print_json({topic: rows})
        return
    # sources are long and often the same: numbered below the list
    sources = list(dict.fromkeys(row["source"] for row in rows))
    cells = [[*(v for k, v in row.items() if k != "source"), f"({sources.index(row['source']) + 1})"] for row in rows]
    print_table([*(k for k in rows[0] if k != "source"), "source"], cells, wide=True)
    for number, source in enumerate(sources, 1):
        say(f"({number}) {source}")


def _summary(season: Season, out: Path, *, quiet: bool) -> None:
    """Print what a person can read in ten seconds."""
    if quiet:
        return
    from panbudget.reports.season.words import three_sentences
    from panbudget.words import days_said, number

    totals = season.totals
    when = f"{days_said(totals['season']['start'], totals['season']['end'])}, {totals['season']['days']} days"
    say(f"{totals['title']}: {when}")
    for sentence in three_sentences(season):
        say(sentence)
    rows = [
        [
            key,
            *(number(bed[name]) for name in ("litres", "irrigation_mm", "net_demand_mm")),
            *(str(bed[name]) for name in ("stress_days", "longest_stress_days")),
        ]
        for key, bed in totals["beds"].items()
    ]
    print_table(("bed", "litres", "mm", "net demand mm", "stress days", "of them in a row"), rows, numbers_from=1)
    if "spread" in totals:
        say(_spread_line(totals["spread"]))
    serious = [finding for finding in season.findings if finding.severity != "note"]
    for finding in serious[:6]:
        say(f"{finding.severity}: {finding.where}: {finding.message}")
    if len(season.findings) > len(serious[:6]):
        say(f"and {len(season.findings) - len(serious[:6])} more findings in the report.")
    say(f"Wrote {out}/report.html, with tables, figures and season.json beside it.")


def _spread_line(spread: dict[str, Any]) -> str:
    from panbudget.words import litres, percent

    ranges = "; ".join(
        f"{name} {litres(one['litres']['low'])} to {litres(one['litres']['high'])}"
        for name, one in spread["controllers"].items()
    )
    return f"In {percent(spread['interval'])} of {spread['samples']} seasons over the stated doubts: {ranges}."


cli_decide.register(app)


cli_field.register(app)


app.command()(size)


cli_statement.register(app)


app.command()(sweep)


def main(arguments: list[str] | None = None) -> None:
    """
    Run the command line.

    Exit codes: 0 done; 1 with ``--strict`` when a finding is a danger; 2 bad input; 130 interrupted.
    """
    try:
        code = app(args=arguments, standalone_mode=False)
    except PanbudgetError as error:
        typer.echo(error.text(), err=True)
        sys.exit(2)
    except KeyboardInterrupt:
        typer.echo("Interrupted; nothing half-made is left.", err=True)
        sys.exit(_INTERRUPTED)
    except Exception as error:
        _click_error(error)
        raise
    if code == _INTERRUPTED:
        typer.echo("Interrupted; nothing half-made is left.", err=True)
    sys.exit(code if isinstance(code, int) else 0)


def _click_error(error: Exception) -> None:
    """Mistakes in the call itself: typer's own message, and exit code 2. Anything else is a bug of ours."""
    show, code = getattr(error, "show", None), getattr(error, "exit_code", None)
    if callable(show) and isinstance(code, int):
        show()
        sys.exit(2)
    if type(error).__name__ == "Abort":
        typer.echo("Interrupted; nothing half-made is left.", err=True)
        sys.exit(130)


if __name__ == "__main__":
    main()
