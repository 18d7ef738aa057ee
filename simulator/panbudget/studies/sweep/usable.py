"""
Usable: the years of a place whose own days are whole after filling, and a record of it: what was read, filled, skipped and why.
"""

import contextlib
import dataclasses
import datetime as dt
import itertools
import os
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import TO_PASTE, PanbudgetError, ScenarioError, WeatherError
from panbudget.season.years import Years, listed, usable_years
from panbudget.studies.sweep import first_of, problem
from panbudget.studies.sweep.compute import days_of
from panbudget.studies.sweep.marks import at_hand, is_remote
from panbudget.studies.sweep.plan import Plan
from panbudget.studies.sweep.site import Place, SiteRecord, open_site
from panbudget.weather import Weather
from panbudget.weather.checks.inspection import Caution
from panbudget.weather.clean import WeatherFile
from panbudget.weather.filling.estimates import unmeasured
from panbudget.weather.flags import coded, is_filled
from panbudget.words import and_more, calendar_day

#: a place's runs of clean days, each with the years whose seasons it holds
Runs = list[tuple[SiteRecord, list[int]]]
#: in the record of a place: column and method, as `Weather.flags` has it -> days
Filled = dict[str, int]
# of a place without any usable year, so many are named with what is wrong
_NAMED = 5
# sites of which the same is wrong
_LISTED = 20


def years_of(plan: Plan, place: Place, file: WeatherFile) -> Years:
    """
    Find the usable years of a place, of those asked for.

    Raises
    ------
    ScenarioError
        It has none, or the place is not the file's.
    WeatherError
        Nor could it have one: what is wrong with all of its file.
    """
    years = usable_years(plan.base, weather=file, years=plan.years())
    if doubts := dict.fromkeys(doubt for weather in years.weather.values() for doubt in weather.doubts):
        raise ScenarioError(*(problem("other-place", doubt=doubt) for doubt in doubts), file=place.file)
    if years.weather:
        return dataclasses.replace(years, weather=_one_a_run(years.weather))
    if plan.years() is None:
        file.over()  # refused, if that is for what is wrong in all of it
    season = f"{calendar_day(plan.base.season.start)} to {calendar_day(plan.base.season.end)}"
    by_reason: dict[str, list[int]] = {}
    for year, why in years.left_out.items():
        by_reason.setdefault(why, []).append(year)
    wrong = [problem("no-usable-year", value=held[0], years=listed(held), why=why) for why, held in by_reason.items()]
    raise ScenarioError(*wrong[:_NAMED], problem("no-season", season=season), file=place.file)


def _one_a_run(weathers: Mapping[int, Weather]) -> dict[int, Weather]:
    """Return one weather for each run of clean days, with what is unlikely in any of its years, each kind once."""
    runs: dict[int, list[Weather]] = {}
    for weather in weathers.values():
        runs.setdefault(id(weather.daily), []).append(weather)
    ones = dict[int, Weather]()
    for at, alike in runs.items():
        cautions = dict[str, Caution]()
        for caution in itertools.chain.from_iterable(weather.cautions for weather in alike):
            cautions.setdefault(caution.name, caution)
        ones[at] = dataclasses.replace(alike[0], cautions=tuple(cautions.values()))
    return {year: ones[id(weather.daily)] for year, weather in weathers.items()}


def with_made_days(years: Years, made: pd.DatetimeIndex) -> Years:
    """Mark days that a grid's calendar cannot have as filled."""
    for weather in {id(weather): weather for weather in years.weather.values()}.values() if len(made) else ():
        days = weather.flags.index.isin(made)
        for name, flags in weather.flags.items():
            weather.flags[name] = pd.Categorical(np.where(days, MADE, flags))
    return years


#: flag of such days
MADE = "between two days of the grid's calendar"


def about_site(plan: Plan, runs: Runs, skipped: Mapping[int, str]) -> dict[str, Any]:
    """
    Record what became of a place's weather.

    Returns
    -------
    dict
        read: first and last day; columns; years; filled: "column: method" -> days of the seasons run; skipped: year -> why;
        cautions: check -> what is unlikely.
    """
    filled: Filled = {}
    columns: set[str] = set()
    for record, years in runs:
        flags = record.weather.flags
        kinds_of = {str(name): coded(flags[name]) for name in flags.columns}
        kinds_of = {name: held for name, held in kinds_of.items() if any(map(is_filled, held[1]))}
        spans = [record.whole_span(*days_of(plan.base.season, year)) for year in (years if kinds_of else ())]
        days = np.concatenate([np.arange(0), *(np.arange(*span) for span in spans)])
        for name, (code, kinds) in kinds_of.items():
            for flag, count in zip(kinds, np.bincount(code[days], minlength=len(kinds)).tolist(), strict=True):
                if count and is_filled(flag):
                    filled[f"{name}: {flag}"] = filled.get(f"{name}: {flag}", 0) + count
        columns |= set(map(str, flags.columns))
    ends = [str(record.index[at].date()) for record, _ in runs for at in (0, -1)]
    return {
        "read": [min(ends), max(ends)],
        "columns": sorted(columns),
        "years": sorted(year for _, years in runs for year in years),
        "filled": dict(sorted(filled.items())),
        "skipped": {str(year): why for year, why in skipped.items()},
        "cautions": {caution.name: str(caution.brief) for record, _ in runs for caution in record.weather.cautions},
    }


def sites_table(
    places: Sequence[Place], about: Mapping[str, Mapping[str, Any]], bad: Mapping[str, Iterable[str]]
) -> pd.DataFrame:
    """
    Return the record of all places, a row each.

    Parameters
    ----------
    places : sequence of Place
    about : mapping
        Place -> as `about_site` has it.
    bad : mapping
        Place -> why it could not be run, a line each.
    """
    rows = []
    for place in places:
        record = about.get(place.name, {})
        skipped = record.get("skipped", {})
        read = record.get("read", ["", ""])
        rows.append(
            {
                "site": place.name,
                "latitude": place.latitude,
                "longitude": np.nan if place.longitude is None else place.longitude,
                "elevation_m": place.elevation,
                "weather": place.file,
                "run": place.name not in bad,
                "first_day": read[0],
                "last_day": read[1],
                "columns": " ".join(record.get("columns", [])),
                "years": len(record.get("years", [])),
                "years_run": " ".join(map(str, record.get("years", []))),
                "filled_values": sum(record.get("filled", {}).values()),
                "filled": "; ".join(f"{what} ({days} d)" for what, days in record.get("filled", {}).items()),
                "years_skipped": " ".join(skipped),
                "cautions": "; ".join(record.get("cautions", {}).values()),
                "why": "; ".join([*bad.get(place.name, ()), *(f"{year}: {why}" for year, why in skipped.items())]),
            }
        )
    return pd.DataFrame(rows)


def refuse_sites(plan: Plan, bad: Mapping[str, Iterable[str]], *, keep_going: bool = False) -> None:
    """Raise with all sites that can't be run, where there are any; if such are skipped, where no other is left."""
    if keep_going and len(bad) < len(plan.places):
        return
    # where some are sound: what is to be pasted into the scenario would hold for their files, too
    alone = {TO_PASTE} if len(bad) < len(plan.places) else set[str]()
    alike: dict[str, list[str]] = {}  # cells of a grid mostly lack the same
    for name, lines in bad.items():
        for line in itertools.takewhile(lambda line: line not in alone, lines):
            alike.setdefault(line, []).append(name)
    problems = [problem("bad-site", f"{_sites(names)}:", line=line) for line, names in alike.items()]
    problems += [problem("one-alone")] if any(alone & {*lines} for lines in bad.values()) else []
    if problems:
        end = problem("no-sites" if keep_going else "bad-sites")
        raise PanbudgetError(*first_of(problems), end, file=plan.described.sites.table or str(plan.path))


def _sites(names: Sequence[str]) -> str:
    """Name sites, as many of them as a line can hold."""
    return f"site{'s' if names[1:] else ''} {', '.join(names[:_LISTED])}{and_more(len(names) - _LISTED, 'site')}"


def absent_sites(plan: Plan) -> dict[str, tuple[str, ...]]:
    """Return the sites whose weather file is not there, or is no file: site -> why."""
    absent: dict[str, tuple[str, ...]] = {}
    for place in plan.places:
        if place.cell is None and not is_remote(place.file) and not os.path.isfile(path := plan.folder / place.file):
            try:
                open_site(place, plan.base, str(path))  # several, by a pattern
            except WeatherError as error:
                absent[place.name] = tuple(error.text().split("\n"))
    return absent


@dataclasses.dataclass
class Heads:
    """
    What the weather files' first lines tell.

    ``bad``: site -> why it can't be run; ``estimated``: what -> how many sites lack it; ``late``: site -> its first day, where
    that is after the first day asked for.
    """

    bad: dict[str, tuple[str, ...]]
    estimated: dict[str, int]
    late: dict[str, str]


_HEAD_BYTES = 30_000


def heads_of(plan: Plan, step: Callable[..., object]) -> Heads:
    """
    Open the head of every weather file of a plan's table, and list all that is missing.

    A file whose head can't be read by itself is read whole; a plain table of days is opened once for all sites that have it.
    ``step`` is called with ``advance=1`` for each site.
    """
    heads, years, opened = Heads({}, {}, {}), plan.years(), dict[str, tuple[list[str], dt.date]]()
    lends_rain = any(source.rain for source in plan.base.weather.fallback)
    needed = ["tmin", "tmax"] + (["rain"] if plan.base.weather.missing_rain == "error" and not lends_rain else [])
    for place in plan.places:
        step(advance=1)
        if place.cell is not None:
            continue
        try:
            if (known := opened.get(place.file)) is None:
                with at_hand(plan.folder, place.file) as path:
                    head = _head_of(plan, place, path).file
                known = [*map(str, head.raw.daily.columns)], min(head.raw.daily.index).date()
                if head.reader == "table" and head.raw.by_hour is None:  # which does not depend on the place
                    opened[place.file] = known
            columns, first = known
            if lacking := [name for name in needed if name not in columns]:
                raise ScenarioError(problem("lacks", columns=" and ".join(lacking)), file=place.file)
        except (WeatherError, ScenarioError) as error:
            heads.bad[place.name] = tuple(error.text().split("\n"))
            continue
        for name in unmeasured(columns):
            heads.estimated[name] = heads.estimated.get(name, 0) + 1
        if years and first > days_of(plan.base.season, years[0])[0]:
            heads.late[place.name] = str(first)
    return heads


def _head_of(plan: Plan, place: Place, path: Path) -> WeatherFile:
    with contextlib.suppress(OSError), path.open("rb") as file:
        head, whole = file.read(_HEAD_BYTES), not file.read(1)
        if not whole and not head.startswith((b"\x1f\x8b", b"PK")) and b"\0" not in head:
            with tempfile.TemporaryDirectory() as folder, contextlib.suppress(WeatherError):
                short = Path(folder) / path.name
                short.write_bytes(head[: head.rfind(b"\n") + 1])
                return open_site(place, plan.base, str(short))
    return open_site(place, plan.base, str(path))
