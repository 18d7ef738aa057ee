"""
Writing: whatever a study found becomes a folder of files, in one way for all of them.

A verb describes itself once, as ``VERB`` in ``reports/VERB/page.py``, and `write` follows it: tables as CSV, totals as
JSON with schema, title and provenance, the page with its figures, and these as PNG and SVG where they are wanted. What
the files are called stands in `folders.FILES_OF`. A result finds its verb by its class attribute ``room``; see `panbudget.extras.Reported`.
"""

import datetime as dt
import functools
import importlib
import importlib.metadata
import math
import platform
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, is_dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd
from matplotlib.axes import Axes

from panbudget import files
from panbudget.reports.arranging import MOST_STEPS, steps_of
from panbudget.reports.canvas import draw
from panbudget.reports.folders import FILES_OF, new_folder
from panbudget.reports.garden import garden_data, garden_rows, gardens_of
from panbudget.reports.measuring import measure_first, measured_data
from panbudget.reports.pages import Report, page, section
from panbudget.scenario.garden import Scenario
from panbudget.season.result import Season
from panbudget.words import System, units_shown

_T = TypeVar("_T")
_PACKAGES = ("numpy", "pandas", "pyet", "pint", "pydantic", "matplotlib")


@dataclass(frozen=True)
class Verb:
    """
    What a command writes of its result, and how.

    Parameters
    ----------
    command : str
        One of `folders.FILES_OF`, whose first file is the page, and whose first JSON file holds the totals.
    sentences : callable
        Result -> the answer in words.
    report : callable
        (result, figures) -> the page's `Report`; figures by name, as SVG elements. Its note, sentences and provenance
        are filled in where it leaves them empty.
    totals : callable
        Result -> what the JSON file holds beside schema, title and provenance; `as_json` makes it plain.
    tables : mapping
        CSV file -> (result -> DataFrame).
    figures : callable
        Result -> {name: (result -> list of Axes)}, in the page's order.
    files : mapping
        Any other file -> (result -> bytes; none where it is not asked for).
    of : callable
        Result -> the season whose provenance it names.
    measures : bool
        Whether it says what measuring first would be worth.
    """

    command: str
    sentences: Callable[[Any], list[str]]
    report: Callable[[Any, Mapping[str, str]], Report]
    totals: Callable[[Any], dict[str, Any]]
    tables: Mapping[str, Callable[[Any], pd.DataFrame]] = field(default_factory=dict)
    figures: Callable[[Any], Mapping[str, Callable[..., list[Axes]]]] = lambda result: {}
    files: Mapping[str, Callable[[Any], bytes]] = field(default_factory=dict)
    of: Callable[[Any], Season] = field(kw_only=True)
    measures: bool = False


def shown(make: Callable[..., _T], units: System | None = None) -> Callable[..., _T]:
    """Make something in the units of the result's garden, or in those given."""

    @functools.wraps(make)
    def made(result: Any, *given: Any, **options: Any) -> _T:
        with units_shown(units or result.scenario.units):
            return make(result, *given, **options)

    return made


#: what is for machines is metric, the words in it, too
_metric = functools.partial(shown, units="metric")


def verb_of(result: Any) -> Verb:
    """Return the description of the command that a result comes from."""
    verb: Verb = importlib.import_module(f"panbudget.reports.{result.room}.page").VERB
    return verb


@shown
def sentences(result: Any) -> list[str]:
    """Return what a result's page says first."""
    verb = verb_of(result)
    return verb.sentences(result) + _measure_first(result)


def _measure_first(result: Any) -> list[str]:
    verb = verb_of(result)
    return measure_first(verb.of(result)) if verb.measures else []


@_metric
def as_json(result: Any) -> dict[str, Any]:
    """Return what a result's JSON file holds, and ``--json`` prints."""
    verb = verb_of(result)
    gardens = gardens_of(result)
    data = {name: garden_data(garden) for name, garden in gardens.items()}
    about = {"laid_over": list(result.scenario.laid_over), "garden": data.get("", data)}
    if verb.measures:
        about["measure_first"] = measured_data(verb.of(result))
    content = {"schema": 1, "title": result.scenario.title, **about, **_plain(verb.totals(result))}
    return {**content, "provenance": provenance(verb.of(result), result.scenario)}


def _plain(value: Any) -> Any:
    """Records as mappings, dates as text, decimals as floats, and null for what is no number."""
    if is_dataclass(value) and not isinstance(value, type):
        value = asdict(value)
    if hasattr(value, "_asdict"):
        value = value._asdict()
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return float(value)
    return None if isinstance(value, float) and not math.isfinite(value) else value


@shown
def as_page(result: Any, figures: Mapping[str, str] | None = None) -> str:
    """Return a result's page as HTML, with its figures (name -> SVG element) in it."""
    verb = verb_of(result)
    report = verb.report(result, figures or {})
    steps = steps_of(finding for part in report.sections for finding in part.findings or ())
    # measured before it is built; what is not among the first stands with the other sentences
    first = [*_measure_first(result), *report.first] if report.first else [*steps, *_measure_first(result)]
    filled: dict[str, Any] = {
        "note": report.note or result.scenario.note,
        "sentences": [*(report.sentences or verb.sentences(result)), *first[MOST_STEPS:]],
        "first": first[:MOST_STEPS],
        "provenance": provenance(verb.of(result), result.scenario),
        "garden": section("", "garden", table=garden_rows(gardens_of(result))),
        "laid_over": result.scenario.laid_over,
        "has_tank": any(s.kind == "tank" for g in gardens_of(result).values() for s in g.supply.values()),
    }
    return page(replace(report, **filled))


def write_into(result: Any, folder: Path, *, figures: bool = False) -> None:
    """
    Write a result's files into an empty folder.

    Parameters
    ----------
    result : Reported
    folder : Path
    figures : bool
        Whether the page's figures stand beside it too, as PNG and SVG.
    """
    verb = verb_of(result)
    names = FILES_OF[verb.command]
    for name, table in verb.tables.items():
        files.write_csv(_metric(table)(result), folder / name)
    for name in [name for name in names if name.endswith(".json")][:1]:
        (folder / name).write_bytes(files.json_bytes(as_json(result)))
    for name, content in verb.files.items():
        if whole := shown(content)(result):
            (folder / name).write_bytes(whole)
    draws = {name: shown(drawn) for name, drawn in verb.figures(result).items()}
    drawn = draw(draws, result, folder / "figures" if figures and draws else None)
    (folder / names[0]).write_text(as_page(result, drawn), encoding="utf-8")


def write(result: Any, folder: Path, *, overwrite: bool = False, figures: bool = False) -> None:
    """
    Write a result's files into a folder of its own, whole or not at all.

    Parameters
    ----------
    result : Reported
    folder : Path
        Made if missing.
    overwrite : bool
        Whether an earlier run of the same command may be replaced.
    figures : bool
        As `write_into` takes it.

    Raises
    ------
    OutputError
        See `folders.new_folder`.
    """
    with new_folder(folder, verb_of(result).command, overwrite=overwrite) as made:
        write_into(result, made, figures=figures)


@shown
def plot(result: Any, figure: str = "", **options: Any) -> Sequence[Axes]:
    """Draw one of a result's figures; see `extras.Reported.plot`."""
    draws = verb_of(result).figures(result)
    name = figure or next(iter(draws), "")
    if name not in draws:
        raise ValueError(f"there is no figure {figure!r}; expected: {', '.join(draws) or 'none, it has no figures'}")
    return draws[name](result, **options)


@functools.cache
def _version(package: str) -> str:
    return importlib.metadata.version(package)


def provenance(season: Season, scenario: Scenario | None = None) -> dict[str, Any]:
    """
    Say what a season was made from, so that someone can make it again.

    Parameters
    ----------
    season : Season
    scenario : Scenario, optional
        What ran, where that is not one season alone.

    Returns
    -------
    dict
        Versions, and fingerprints of the input files.
    """
    weather, ran = season.weather.provenance, scenario or season.scenario
    return {
        "panbudget": _version("panbudget"),
        "python": platform.python_version(),
        "packages": {name: _version(name) for name in _PACKAGES},
        "scenario_sha256": ran.sha256,
        "scenario_file_sha256": ran.file_sha256,
        "variants": list(ran.laid_over),
        "weather_sha256": weather["sha256"],
        "weather": {
            **{key: weather[key] for key in ("file", "reader", "recognised", "first", "last")},
            "typical": bool(weather.get("typical", False)),
            "fallbacks": weather.get("fallbacks", []),
        },
        "assumptions": list(season.assumptions),
        "times": season.times_are,
    }
