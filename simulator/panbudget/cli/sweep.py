"""
Command line: `sweep`, the same over many sites, years and designs.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from panbudget.cli.options import Json, Quiet, app, option, print_json, say
from panbudget.errors import PanbudgetError, Problem

if TYPE_CHECKING:
    from panbudget.studies.sweep.run import Estimate, Progress

_EVERY = 10.0  # seconds between two lines where no person looks at a bar


@app.command()
def sweep(
    plan: Annotated[Path, typer.Argument(metavar="PLAN", help="A plan (TOML).", show_default=False)],
    out: Annotated[Path | None, option("Folder to make, or to go on with.", "--out", metavar="DIR")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say rows, memory and time, and do nothing.")] = False,
    keep_going: Annotated[
        bool, typer.Option("--keep-going", help="Skip and count sites that can't be run, in place of stopping.")
    ] = False,
    processes: Annotated[int | None, option("How many; the cores if left out.", min=1, max=1024)] = None,
    scheduler: Annotated[
        str | None, option("A dask scheduler, such as tcp://127.0.0.1:8786.", metavar="ADDRESS")
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Start again, whatever an earlier run has done.")
    ] = False,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """
    The same over many sites, years and designs: which would suit where? Stopped, it goes on where it was.

    Example:  panbudget sweep scenarios/district.toml --out district
    """
    from panbudget.extras import wants_extra
    from panbudget.studies.sweep.plan import load_plan
    from panbudget.studies.sweep.run import estimate
    from panbudget.studies.sweep.run import sweep as swept

    wants_extra("pyarrow")
    described = load_plan(plan)
    expected = estimate(described, processes)
    if dry_run:
        if as_json:
            import dataclasses

            print_json(dataclasses.asdict(expected))
        else:
            for line in _estimate_lines(expected):
                say(line, quiet=quiet)
        return
    if out is None:
        cure = "name a folder to make, or take --dry-run"
        raise PanbudgetError(Problem("missing", "--out DIR", "is missing", "", cure))
    for line in _estimate_lines(expected)[:1]:
        say(line, quiet=quiet, aside=True)
    with _told(quiet) as told:
        found = swept(
            described,
            out,
            scheduler=scheduler,
            processes=processes,
            keep_going=keep_going,
            overwrite=overwrite,
            told=told,
        )
    for site in found.bad:
        say(f"skipped: {site.name}: {'; '.join(site.lines)}", quiet=quiet, aside=True)
    if as_json:
        typer.echo((out / "sweep.json").read_text(encoding="utf-8").rstrip())
    else:
        counts: dict[str, int] = {}
        for choice in found.choices:
            counts[choice.design] = counts.get(choice.design, 0) + 1
        suits = ", ".join(f"{name} at {count}" for name, count in counts.items())
        skipped = f", {len(found.bad)} skipped" if found.bad else ""
        say(
            f"{found.seasons} seasons at {found.sites} sites{skipped}: {found.rows} rows in {found.elapsed:.1f} s"
            + (f", {found.kept} parts kept from an earlier run" if found.kept else "")
            + ".",
            quiet=quiet,
        )
        if suits:
            none = sum(not choice.keeps for choice in found.choices)
            say(f"What suits: {suits}." + (f" At {none} no design keeps to the wish." if none else ""), quiet=quiet)
    say(
        f"Wrote {out}/summary.csv and suits.csv, with the dataset in {out}/seasons and sweep.json beside them.",
        quiet=quiet,
        aside=as_json,
    )


def _estimate_lines(expected: Estimate) -> list[str]:
    years = str(expected.years) if expected.years_known else f"all (counted as {expected.years})"
    lines = [
        f"{expected.sites} sites × {years} years × {expected.designs} designs, {expected.beds} beds together: "
        f"{expected.rows:,} rows in {expected.parts} parts",
        f"{expected.bed_days:,.0f} bed-days, {'compiled' if expected.compiled else 'interpreted'}, on "
        f"{expected.processes} process{'es' if expected.processes > 1 else ''}",
        f"memory: about {expected.memory_bytes / 1e6:.0f} MB, whatever the number of sites",
        f"time: about {_duration(expected.seconds)}, by a machine once measured; yours may be twice as quick or slow",
    ]
    if expected.left_out:
        lines.append(f"{expected.left_out} cells without weather on the first day are left out")
    return lines


def _duration(seconds: float) -> str:
    if seconds < 100.0:
        return f"{math.ceil(seconds)} s"
    if seconds < 6000.0:
        return f"{math.ceil(seconds / 60.0)} min"
    return f"{seconds / 3600.0:.1f} h"


def _rate(progress: Progress) -> str:
    left = "" if math.isnan(progress.seconds_left) else f", {_duration(progress.seconds_left)} left"
    return f"{progress.done} of {progress.parts} parts, {progress.seasons_a_second:,.0f} seasons/s{left}"


@contextmanager
def _told(quiet: bool) -> Iterator[Callable[[Progress], None] | None]:
    """A bar where a person is looking; else a line now and then."""
    if quiet:
        yield None
        return
    if not sys.stderr.isatty():
        last = time.monotonic()

        def line(progress: Progress) -> None:
            nonlocal last
            if time.monotonic() - last >= _EVERY:
                last = time.monotonic()
                say(_rate(progress), aside=True)

        yield line
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn
    from rich.progress import Progress as Bar

    with Bar(TextColumn("{task.description}"), BarColumn(), console=Console(stderr=True), transient=True) as bar:
        task: Any = bar.add_task("starting", total=None)

        def step(progress: Progress) -> None:
            bar.update(task, completed=progress.done, total=progress.parts, description=_rate(progress))

        yield step
