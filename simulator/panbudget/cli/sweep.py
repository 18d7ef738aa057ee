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
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import panbudget
from panbudget.cli import TEXTS, Names, at_options, bar, command, print_json, problem, say
from panbudget.errors import PanbudgetError
from panbudget.words import and_more, count

if TYPE_CHECKING:
    from panbudget.studies.sweep.plan import Plan
    from panbudget.studies.sweep.run import Estimate, Progress

_EVERY = 10.0  # seconds between two lines where no person looks at a bar
_NAMED = 8  # sites, and years of one, that are named on the screen


@command
def sweep(
    plan: Path,
    out: Path | None = None,
    variant: Names = None,
    dry_run: bool = False,
    limit: int | None = None,
    to: Names = None,
    map_of: Names = None,
    quantile: float | None = None,
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
    from panbudget.studies.sweep.store import outdated
    from panbudget.studies.sweep.swept import refuse_unasked

    wants_extra("pyarrow")
    with at_options(map=map_of, quantile=quantile, to=to):
        refuse_unasked(map_of or (), quantile, to or ())
    described = load_plan(plan, variant or ())
    described = described if limit is None else described.limited(limit)
    expected = estimate(described, processes)
    if dry_run:
        _dry(described, expected, keep_going, as_json)
        return
    if out is None:
        raise PanbudgetError(problem("missing", "--out DIR"))
    say(_estimate_lines(expected)[0], quiet=quiet, aside=True)
    for line in _input_lines(described):
        say(line, quiet=quiet, aside=True)
    if parts := outdated(out, described):
        say(TEXTS["estimate"]["outdated"].format(parts=count(parts, "part"), out=out), quiet=quiet, aside=True)
    options: dict[str, Any] = {"scheduler": scheduler, "processes": processes, "overwrite": overwrite}
    options |= {"to": to or (), "maps": map_of or (), "quantile": quantile}
    with _progress(quiet) as progress:
        swept = panbudget.sweep(described, out, progress=progress, keep_going=keep_going, **options)
    for site in swept.bad:
        say(f"skipped: {site.name}: {'; '.join(site.lines)}", quiet=quiet, aside=True)
    if as_json:
        say((swept.folder / "sweep.json").read_text(encoding="utf-8").rstrip())
    else:
        for line in _lines(swept):
            say(line, quiet=quiet)
    beside = f"with the dataset in {out}/seasons, and what every column is in columns.csv"
    say(f"Wrote {out}/summary.csv, suits.csv and sites.csv, {beside}.", quiet=quiet, aside=as_json)


def _dry(plan: Plan, expected: Estimate, keep_going: bool, as_json: bool) -> None:
    """Say what a plan would take, what its weather holds and all that is missing."""
    from panbudget.studies.sweep.usable import heads_of, refuse_sites

    with bar(len(plan.places), quiet=as_json) as update:
        heads = heads_of(plan, update)
    if as_json:
        listed = plan.grid.listed() if plan.grid is not None else []
        print_json({**dataclasses.asdict(expected), "variables": listed, **dataclasses.asdict(heads)})
    else:
        texts, table, opened = TEXTS["estimate"], plan.grid is None, len(plan.places)
        lines = [*_estimate_lines(expected), *_input_lines(plan)]
        lines += [texts["opened"].format(opened=opened, bad=len(heads.bad))] if table else []
        lines += [texts["lacking"].format(what=what, count=n, opened=opened) for what, n in heads.estimated.items()]
        if heads.late:
            names = ", ".join(f"{name} ({day})" for name, day in [*heads.late.items()][:_NAMED])
            more = and_more(len(heads.late) - _NAMED, "site")
            lines.append(texts["late"].format(count=len(heads.late), opened=opened, names=names + more))
        for line in lines:
            say(line)
    refuse_sites(plan, heads.bad, keep_going=keep_going)
    for name, why in heads.bad.items():
        say(f"would be skipped: {name}: {'; '.join(why)}", aside=as_json)


def _input_lines(plan: Plan) -> Iterator[str]:
    """A line for each variable of a grid; of a table, for weather files that several sites have, which may be a slip."""
    by_file: dict[str, list[str]] = {}
    for place in plan.places if plan.grid is None else ():
        by_file.setdefault(place.file, []).append(place.name)
    shared = {file: names for file, names in by_file.items() if len(names) > 1}
    for file, names in [*shared.items()][:_NAMED]:
        facts = {"names": ", ".join(names[:_NAMED]), "more": and_more(len(names) - _NAMED, "site")}
        yield TEXTS["estimate"]["shared"].format(sites=count(len(names), "site"), file=file, **facts)
    if len(shared) > _NAMED:
        yield f"…{and_more(len(shared) - _NAMED, 'such file')}"
    for line in plan.grid.listed() if plan.grid is not None else ():
        text = TEXTS["estimate"]["variable"][line["how"]].format_map(line)
        yield f"  {text}{'; ' if line['note'] else ''}{line['note']}"
    if plan.grid is not None:
        means = ", ".join(f"{name} {mean}" for name, mean in plan.grid.typical.items())
        yield f"  {TEXTS['estimate']['sampled'].format(means=means)}"


def _lines(swept: panbudget.Swept) -> Iterator[str]:
    skipped = f", {len(swept.bad)} skipped" if swept.bad else ""
    reused = f", {count(swept.kept, 'part')} kept from an earlier run" if swept.kept else ""
    at = f"{count(swept.seasons, 'season')} at {count(swept.sites, 'site')}{skipped}"
    yield f"{at}: {count(swept.rows, 'row')} in {swept.elapsed:.1f} s{reused}."
    if swept.skipped:
        years, at = count(sum(map(len, swept.skipped.values())), "season"), count(len(swept.skipped), "site")
        yield f"Left out: {years} at {at} (sites.csv names them all):"
        for name, why_of in [*swept.skipped.items()][:_NAMED]:
            yield f"  {name}: " + "; ".join(f"{year}: {why}" for year, why in [*why_of.items()][:_NAMED])
    if swept.cautions:
        yield "Unlikely weather (sites.csv names all of it):"
    for kind in dict.fromkeys(kind for cautions in swept.cautions.values() for kind in cautions):
        at_sites = {name: cautions[kind] for name, cautions in swept.cautions.items() if kind in cautions}
        names = ", ".join([*at_sites][:_NAMED]) + and_more(len(at_sites) - _NAMED, "site")
        yield f"  {count(len(at_sites), 'site')}: {names}; at {next(iter(at_sites))}, {next(iter(at_sites.values()))}"
    if swept.choices:
        suits, unsuited = (_designs(of.design for of in swept.choices if of.keeps == keeps) for keeps in (True, False))
        least = f" Where no design keeps to the wish, least short of it: {unsuited}." if unsuited else ""
        yield f"What suits: {suits or 'nothing'}.{least}"


def _designs(chosen: Iterable[str]) -> str:
    return ", ".join(f"{name} at {count(sites, 'site')}" for name, sites in collections.Counter(chosen).items())


def _estimate_lines(expected: Estimate) -> list[str]:
    texts = TEXTS["estimate"]
    values = {
        "years": count(expected.years, "year") if expected.years_known else f"all years (counted as {expected.years})",
        "how": "compiled" if expected.compiled else "interpreted",
        "processes": count(expected.processes, "process", "processes"),
        **{f"{of}s": count(getattr(expected, f"{of}s"), of) for of in ("site", "design", "bed", "row", "part")},
        "megabytes": expected.memory_bytes / 1e6,
        "duration": _duration(expected.seconds),
    }
    lines = [*texts["lines"], *([texts["left_out"]] if expected.left_out else [])]
    lines += [texts["grid"]] if expected.grid_bytes else []
    values |= {"read": expected.grid_bytes / 1e9, "copy": expected.copy_bytes / 1e9}
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
