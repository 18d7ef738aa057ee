"""
Download: daily weather for a garden's place, past years and the days ahead, from two public services.

The only study that asks another machine. It writes files beside the scenario, each whole or not at all, then names them
in the scenario; what is there already is extended by the days that it lacks.
"""

import datetime as dt
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd
from pydantic import ValidationError

from panbudget.errors import OutputError, ScenarioError, WeatherError
from panbudget.extras import Step, silent
from panbudget.files import read_toml, write_whole
from panbudget.scenario.editing import edited
from panbudget.scenario.garden import Site
from panbudget.scenario.problems import problems, unseen
from panbudget.weather.formats import power
from panbudget.weather.services import forecast as ahead
from panbudget.weather.services import record
from panbudget.weather.services.asking import FAR, Service, anonymous
from panbudget.weather.text.columns import STANDARD
from panbudget.weather.text.source import open_source
from panbudget.words import count, days_said, number, packaged, problems_from

_TEXTS = packaged("studies/download.toml")
_problem = problems_from(_TEXTS["problems"])
# what under [weather] describes the file that was named before
_OF_THE_FILE = ("format", "wind_height", "columns", "missing", "trust")


@dataclass(frozen=True)
class Downloaded:
    """
    What was downloaded.

    Parameters
    ----------
    files : dict
        "weather" and "forecast", as far as asked for -> the file's path, its first and last day, new days, and days that
        lack a figure.
    lines : list of str
        What a person should know of it.
    """

    files: dict[str, dict[str, Any]] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)

    def sentences(self) -> list[str]:
        """Return what a person should know of it."""
        return self.lines


def download_weather(
    scenario: str | Path,
    *,
    years: tuple[int, int] | None = None,
    forecast: int | None = None,
    file: str | None = None,
    power_address: str | None = None,
    forecast_address: str | None = None,
    timeout: float = 20.0,
    step: Step = silent,
) -> Downloaded:
    """
    Download daily weather for a garden's place, write it beside the scenario and name it there.

    Parameters
    ----------
    scenario : path
        A scenario's file; only its place need be described yet.
    years : (int, int), optional
        First and last year of the record wanted, up to yesterday.
    forecast : int, optional
        How many days of a forecast, from today.
    file : str, optional
        The record's file, relative to the scenario; the download named there already if left out, else
        ``<scenario>-weather.csv``.
    power_address, forecast_address : str, optional
        Where the services answer; else PANBUDGET_POWER_ADDRESS and PANBUDGET_FORECAST_ADDRESS of the environment, else
        their public addresses.
    timeout : float
        The longest silence to wait out. [s]
    step : callable
        Told what is being done.

    Raises
    ------
    ScenarioError
        The scenario can't be read, has no whole place; nothing asked for; years or days that can't be.
    WeatherError
        No connection, or an answer that is not what was asked for; a file of that name that is something else. No file
        is changed then.
    """
    path = Path(scenario)
    garden = _Garden(path, *_place_of(path))
    services = Service("power", power_address, timeout), Service("open-meteo", forecast_address, timeout)
    _refuse_wish(years, forecast, file, services)
    if years is not None and file is not None:
        _refuse_place(path.parent / file, file)
    drafts = []
    if years is not None:
        step(f"asking {services[0].facts['name']}")
        drafts.append(_record(garden, services[0], years, file))
    if forecast is not None:
        step(f"asking {services[1].facts['name']}")
        drafts.append(_forecast(garden, services[1], forecast))
    text = before = path.read_bytes().decode("utf-8-sig")
    lines = list[str]()
    for draft in drafts:
        text, said = _named(garden, draft, text)
        lines += [*draft.lines, *said]
    for draft in drafts:  # only now, when nothing can be missing any more
        if draft.text:
            write_whole(path.parent / draft.facts["file"], draft.text)
    if text != before:
        write_whole(path, text)
    return Downloaded({draft.tables[-1]: draft.facts for draft in drafts}, lines)


def years_in(text: str) -> tuple[int, int] | None:
    """Return the first and the last year that a text names, such as "2015-2025" or "2024", if it does."""
    match = re.fullmatch(r"\s*([0-9]{4})\s*(?:[-–]\s*([0-9]{4})\s*)?", text)
    return None if match is None else (int(match[1]), int(match[2] or match[1]))


class _Draft(NamedTuple):
    """A file to write: the scenario's table that is to name it, its text (empty: it stays), facts, what to say of it."""

    tables: tuple[str, ...]
    text: str
    facts: dict[str, Any]
    lines: list[str]


@dataclass(frozen=True)
class _Garden:
    """A scenario's file, what it says, its place, and today."""

    path: Path
    described: dict[str, Any]
    site: Site
    today: dt.date = field(default_factory=dt.date.today)

    def named(self, *tables: str) -> Any:
        """Return the table under a path of tables; an empty one where there is none."""
        part: Any = self.described
        for name in tables:
            part = part.get(name) if isinstance(part, dict) else None
        return part if isinstance(part, dict) else {}

    def beside(self, what: str) -> str:
        """Return the name of a new file beside the scenario."""
        return f"{self.path.stem}-{what}.csv"


def _place_of(path: Path) -> tuple[dict[str, Any], Site]:
    described, _ = read_toml(path, missing="`panbudget new DIR` makes one to start from")
    if not isinstance(described.get("site"), dict):
        raise ScenarioError(_problem("no-site", "site"), file=str(path))
    try:
        site = Site.model_validate(described["site"])
    except ValidationError as error:
        raise ScenarioError(*problems(error, Site, "site."), file=str(path)) from None
    if site.longitude is None:
        raise ScenarioError(_problem("no-longitude", "site.longitude"), file=str(path))
    return described, site


def _refuse_wish(
    years: tuple[int, int] | None, forecast: int | None, file: str | None, services: Sequence[Service]
) -> None:
    earliest, most, today = services[0].facts["first_year"], services[1].facts["most_days"], dt.date.today()
    wrong = []
    if years is None and forecast is None:
        wrong.append(_problem("nothing-asked"))
    if years is not None and not earliest <= years[0] <= years[1] <= today.year:
        wrong.append(_problem("years", "years", first=years[0], last=years[1], earliest=earliest, latest=today.year))
    elif years is not None and dt.date(years[0], 1, 1) >= today:
        wrong.append(_problem("no-day", "years", first=years[0]))
    if forecast is not None and not 1 <= forecast <= most:
        wrong.append(_problem("days", "forecast", days=forecast, most=most))
    if file is not None and (not file.strip() or Path(file).name in ("", ".", "..")):
        wrong.append(_problem("a-file", f'file "{file}"'))
    if wrong:
        raise ScenarioError(*wrong)


def _refuse_place(target: Path, shown: str) -> None:
    """Refuse a file that can't be written, before anything is asked for."""
    try:
        reason = "" if target.parent.is_dir() else "its folder is not there"
        if [*unseen(shown)]:  # no scenario takes it
            reason = "its name has a line break or another letter that can't be seen"
        os.lstat(target)
    except FileNotFoundError:
        pass
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
    if reason:
        raise OutputError(_problem("no-place", f'file "{shown}"', reason=reason))


def _record(garden: _Garden, service: Service, years: tuple[int, int], file: str | None) -> _Draft:
    """Ask for the days of past years that the record's file lacks."""
    before, site, today = garden.named("weather").get("file"), garden.site, garden.today
    name = file or (before if isinstance(before, str) and _is_download(garden, before) else garden.beside("weather"))
    old = _old(garden, service, name) if os.path.exists(garden.path.parent / name) else None
    first, last = dt.date(years[0], 1, 1), min(dt.date(years[1], 12, 31), today - dt.timedelta(days=1))
    days = record.lacking(old and old.cells, first, last)
    table, text = old, ""
    if new := list(record.asked_for(service, site, days, today=today)):
        if old is not None:
            _refuse_other_units(old, new[-1], service, name)
        table = record.joined(old, new, first=first, last=last)
        text = record.as_text(table, _about("about", service, today))
        record.parsed(text, site, name)  # what is written can be read
    assert table is not None  # without an old file, every day is lacking
    days_before = pd.DatetimeIndex([]) if old is None else pd.DatetimeIndex(old.cells.dropna().index)
    facts = _facts(name, table.cells, len(table.cells.index.difference(days_before)))
    lines = [_line("record" if new else "record_nothing", service, facts, missing=_lacking(facts))]
    lines += [_TEXTS["grid"]] if old is None else []
    start, end = (garden.named("season").get(key) for key in ("start", "end"))
    dates = isinstance(start, dt.date) and isinstance(end, dt.date)
    if dates and not pd.date_range(start, end).isin(table.cells.index).all():
        lines.append(_TEXTS["season"].format(season=days_said(start, end)))
    return _Draft(("weather",), text, facts, lines)


def _forecast(garden: _Garden, service: Service, days: int) -> _Draft:
    """Ask for the days ahead, whose file is written again each time."""
    named = garden.named("weather", "forecast").get("file")
    name = named if isinstance(named, str) else garden.beside("forecast")
    target = garden.path.parent / name
    if os.path.isfile(target) and service.facts["name"] not in target.read_bytes()[:1000].decode("utf-8", "replace"):
        raise WeatherError(_problem("foreign-file", service=service.facts["name"]), file=name)
    table = ahead.next_days(service, garden.site, days, today=garden.today)
    rows = table.set_axis(pd.DatetimeIndex(table.index).strftime("%Y-%m-%d"), axis="index").rename_axis("date")
    rows = rows.rename(columns={name: f"{name} ({STANDARD[name].shown_unit})" for name in map(str, rows)})
    text = "".join(f"# {line}\n" for line in _about("about_forecast", service, garden.today))
    facts = _facts(name, table, len(table))
    short = days + int(service.facts["past_days"]) - len(table)
    missing = _TEXTS["forecast_short"].format(days=count(short, "day")) if short > 0 else ""
    lines = [_line("forecast", service, facts, missing=_lacking(facts) + missing)]
    return _Draft(("weather", "forecast"), text + rows.to_csv(lineterminator="\n"), facts, lines)


def _about(key: str, service: Service, today: dt.date) -> list[str]:
    values = {**service.facts, "today": today, "address": anonymous(service.address)}
    return [text.format(**values) for text in _TEXTS[key]]


def _line(key: str, service: Service, facts: dict[str, Any], **values: str) -> str:
    span = f"{count(facts['days'], 'day')}, {days_said(facts['first'], facts['last'])}"
    named = {"file": facts["file"], "service": service.facts["name"], "span": span, "new": count(facts["new"], "day")}
    return str(_TEXTS[key].format(**named, **values))


def _facts(name: str, table: pd.DataFrame, new: int) -> dict[str, Any]:
    first, last = (str(table.index[end].date()) for end in (0, -1))
    missing = int(table.isna().any(axis=1).sum())
    return {"file": name, "first": first, "last": last, "days": len(table), "new": new, "missing": missing}


def _lacking(facts: dict[str, Any]) -> str:
    return str(_TEXTS["record_missing"]).format(days=number(facts["missing"])) if facts["missing"] else ""


def _is_download(garden: _Garden, name: str) -> bool:
    """Tell whether a file that the scenario names is in the service's layout, and plain text."""
    path = garden.path.parent / name
    if not os.path.isfile(path):
        return False
    try:
        source = open_source(path, shown_as=name)
    except WeatherError:
        return False
    return not source.taken_from and power.sniff(source.text)[0] > 0.0


def _old(garden: _Garden, service: Service, name: str) -> record.Table:
    """Read the file that is to be extended; refuse what is something else, or of another place."""
    if not _is_download(garden, name):
        raise WeatherError(_problem("foreign-file", service=service.facts["name"]), file=name)
    old = record.parsed(open_source(garden.path.parent / name, shown_as=name).text, garden.site, name)
    for key in ("latitude", "longitude"):
        measured = getattr(old.raw.station, key, None)
        if measured is not None and abs(measured - getattr(garden.site, key)) > FAR:
            raise WeatherError(_problem("elsewhere", what=key, measured=measured), file=name)
    return old


def _refuse_other_units(old: record.Table, new: record.Table, service: Service, name: str) -> None:
    for column, unit in old.units().items():
        if new.units().get(column, unit) != unit:
            problem = _problem("other-units", service=service.facts["name"], column=column, unit=unit)
            raise WeatherError(problem, file=name)


def _named(garden: _Garden, draft: _Draft, text: str) -> tuple[str, list[str]]:
    """Name a file in the scenario's text and say so, unless it is named there already, as a fallback may be."""
    name, part = draft.facts["file"], garden.named(*draft.tables)
    lent = garden.named("weather").get("fallback") if len(draft.tables) == 1 else None
    named = [part, *(filter(lambda other: isinstance(other, dict), lent) if isinstance(lent, list) else ())]
    if any(name in files if isinstance(files := other.get("file"), list) else name == files for other in named):
        return text, []
    text = edited(text, draft.tables, {"file": name}, without=_OF_THE_FILE, file=str(garden.path))
    former = ", ".join(f"{key} = {part[key]!r}" for key in ("file", *_OF_THE_FILE) if key in part)
    line = _TEXTS["put"].format(scenario=garden.path.name, table=".".join(draft.tables), file=name)
    return text, [line + (_TEXTS["before"].format(lines=former) if former else "")]
