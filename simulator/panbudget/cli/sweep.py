"""
Command line: `sweep`, the same over many sites, years and designs.
"""

from __future__ import annotations

import collections
import contextlib
import dataclasses
import math
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import panbudget
from panbudget.cli import TEXTS, Names, bar, command, print_json, say
from panbudget.errors import PanbudgetError, Problem

if TYPE_CHECKING:
    from panbudget.studies.sweep.run import Estimate, Progress

_EVERY = 10.0  # seconds between two lines where no person looks at a bar


@command
def sweep(
    plan: Path,
    out: Path | None = None,
    variant: Names = None,
    dry_run: bool = False,
    keep_going: bool = False,
    processes: int | None = None,
    scheduler: str | None = None,
    overwrite: bool = False,
    quiet: bool = False,
    as_json: bool = False,
) -> None:
    """
    The same over many sites, years and designs: which would suit where? Stopped, it goes on where it was.

    Example:  panbudget sweep scenarios/district.toml --out district
    """
    from panbudget.extras import wants_extra
    from panbudget.studies.sweep.plan import load_plan
    from panbudget.studies.sweep.run import estimate

    wants_extra("pyarrow")
    described = load_plan(plan, variant or ())
    expected = estimate(described, processes)
    if dry_run and as_json:
        print_json(dataclasses.asdict(expected))
        return
    if not dry_run and out is None:
        cure = "name a folder to make, or take --dry-run"
        raise PanbudgetError(Problem("missing", "--out DIR", "is missing", "", cure))
    for line in _estimate_lines(expected)[: None if dry_run else 1]:
        say(line, quiet=quiet, aside=not dry_run)
    if dry_run or out is None:
        return
    options: dict[str, Any] = {"scheduler": scheduler, "processes": processes, "overwrite": overwrite}
    with _progress(quiet) as progress:
        swept = panbudget.sweep(described, out, progress=progress, keep_going=keep_going, **options)
    for site in swept.bad:
        say(f"skipped: {site.name}: {'; '.join(site.lines)}", quiet=quiet, aside=True)
    if as_json:
        say((out / "sweep.json").read_text(encoding="utf-8").rstrip())
    else:
        for line in _lines(swept):
            say(line, quiet=quiet)
    beside = f"with the dataset in {out}/seasons and sweep.json beside them"
    say(f"Wrote {out}/summary.csv and suits.csv, {beside}.", quiet=quiet, aside=as_json)


def _lines(swept: panbudget.Swept) -> Iterator[str]:
    skipped = f", {len(swept.bad)} skipped" if swept.bad else ""
    reused = f", {swept.kept} parts kept from an earlier run" if swept.kept else ""
    at = f"{swept.seasons} seasons at {swept.sites} sites{skipped}"
    yield f"{at}: {swept.rows} rows in {swept.elapsed:.1f} s{reused}."
    counts = collections.Counter(choice.design for choice in swept.choices)
    if counts:
        none = sum(not choice.keeps for choice in swept.choices)
        unsuited = f" At {none} no design keeps to the wish." if none else ""
        yield f"What suits: {', '.join(f'{name} at {count}' for name, count in counts.items())}.{unsuited}"


def _estimate_lines(expected: Estimate) -> list[str]:
    texts = TEXTS["estimate"]
    values = {
        "years": str(expected.years) if expected.years_known else f"all (counted as {expected.years})",
        "how": "compiled" if expected.compiled else "interpreted",
        "processes": f"{expected.processes} process{'es' if expected.processes > 1 else ''}",
        "megabytes": expected.memory_bytes / 1e6,
        "duration": _duration(expected.seconds),
    }
    lines = [*texts["lines"], *([texts["left_out"]] if expected.left_out else [])]
    return [line.format(e=expected, **values) for line in lines]


def _duration(seconds: float) -> str:
    if seconds < 100.0:
        return f"{math.ceil(seconds)} s"
    return f"{math.ceil(seconds / 60.0)} min" if seconds < 6000.0 else f"{seconds / 3600.0:.1f} h"


def _rate(progress: Progress) -> str:
    ahead = "" if math.isnan(progress.seconds_left) else f", {_duration(progress.seconds_left)} left"
    return f"{progress.done} of {progress.parts} parts, {progress.seasons_a_second:,.0f} seasons/s{ahead}"


@contextlib.contextmanager
def _progress(quiet: bool) -> Iterator[Callable[[Progress], None] | None]:
    """A bar where a person is looking; else a line now and then."""
    looking, last = sys.stderr.isatty(), time.monotonic()
    with bar(None, quiet=quiet) as update:

        def show(progress: Progress) -> None:
            nonlocal last
            if looking:
                update(completed=progress.done, total=progress.parts, description=_rate(progress))
            elif time.monotonic() - last >= _EVERY:
                last = time.monotonic()
                say(_rate(progress), aside=True)

        yield None if quiet else show
