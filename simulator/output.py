"""
Output: a season as files. Tables as CSV, totals as JSON, a folder written whole or not at all.

Two runs on the same inputs give the same bytes: no dates of writing, no host, numbers printed one way.
"""

from __future__ import annotations

import contextlib
import importlib.metadata
import json
import platform
import re
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from simulator.errors import OutputError

if TYPE_CHECKING:
    from simulator.season import Season

__all__ = [
    "beds_table",
    "daily_table",
    "new_folder",
    "openings_table",
    "provenance",
    "season_json",
    "write_csv",
    "write_json",
    "write_season",
]

#: everything that a command of ours may leave in a folder; `--overwrite` touches nothing else
OUR_FILES = frozenset(
    {
        "beds.csv",
        "check.html",
        "daily.csv",
        "figures",
        "garden.toml",
        "openings.csv",
        "report.html",
        "season.json",
        "statement-a4.pdf",
        "statement-letter.pdf",
        "statement.csv",
        "statement.html",
        "statement.json",
        "weather.csv",
    }
)
# 12 significant digits: enough that sums close to 1e-9, and no trailing noise of binary fractions
_FLOATS = "%.12g"
# with which a text may be taken for a formula by a spreadsheet
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n")
_PLAIN_NUMBER = re.compile(r"-?\d+(\.\d+)?")


def provenance(season: Season) -> dict[str, Any]:
    """
    Say what a season was made from, so that someone can make it again.

    Parameters
    ----------
    season : Season

    Returns
    -------
    dict
        Versions, and fingerprints of the input files.
    """
    packages = ("numpy", "pandas", "pyet", "pint", "pydantic", "matplotlib")
    return {
        "panbudget": importlib.metadata.version("panbudget"),
        "python": platform.python_version(),
        "packages": {name: importlib.metadata.version(name) for name in packages},
        "scenario_sha256": season.scenario.sha256,
        "weather_sha256": season.weather.provenance["sha256"],
        "weather": {key: season.weather.provenance[key] for key in ("file", "reader", "recognised", "first", "last")},
        "assumptions": list(season.assumptions),
        "times": season.times_are,
    }


def season_json(season: Season) -> dict[str, Any]:
    """
    Return what `season.json` holds.

    Parameters
    ----------
    season : Season

    Returns
    -------
    dict
        Totals, findings, provenance.
    """
    return {
        **season.totals,
        "findings": [finding.as_dict() for finding in season.findings],
        "provenance": provenance(season),
    }


def daily_table(season: Season) -> pd.DataFrame:
    """
    Return the season day by day, long: one row a day and bed.

    Parameters
    ----------
    season : Season

    Returns
    -------
    DataFrame
        ``date``, ``controller``, ``bed``; the day's ``eto_mm`` and ``rain_mm``; the controller's ``pan_mm``,
        ``openings``, ``open_hours`` and ``pan_level_kg`` (above the trip weight, at solar midnight), repeated for
        each of its beds; then the bed's own columns, the driest quarter's with the prefix ``driest_``.
    """
    parts = []
    for key, table in season.beds.items():
        controller, bed = key.split("/")
        pan = season.controllers[controller]
        part = pd.DataFrame(
            {
                "date": pd.DatetimeIndex(table.index).strftime("%Y-%m-%d"),
                "controller": controller,
                "bed": bed,
                "eto_mm": season.days["eto_mm"].to_numpy(),
                "rain_mm": season.days["rain_mm"].to_numpy(),
                **{c: pan[c].to_numpy() for c in ("pan_mm", "openings", "open_hours", "pan_level_kg")},
                **{c: table[c].to_numpy() for c in table.columns if c not in ("rain_mm", "growing")},
                "growing": table["growing"].to_numpy().astype(int),
            }
        )
        parts.append(part)
    whole = pd.concat(parts, ignore_index=True)
    order = {key: index for index, key in enumerate(season.beds)}
    rank = (whole["controller"] + "/" + whole["bed"]).map(order)
    return whole.assign(_rank=rank).sort_values(["date", "_rank"], ignore_index=True).drop(columns="_rank")


def beds_table(season: Season) -> pd.DataFrame:
    """
    Return the beds' totals, one row a bed and part of it.

    Parameters
    ----------
    season : Season

    Returns
    -------
    DataFrame
        ``controller``, ``bed``, ``part`` ("mean" or "driest_quarter"), then the totals of `season.json`.
    """
    rows = []
    for key, totals in season.totals["beds"].items():
        controller, bed = key.split("/")
        quarter = totals["driest_quarter"]
        mean = {k: v for k, v in totals.items() if k != "driest_quarter"}
        rows.append({"controller": controller, "bed": bed, "part": "mean", **mean})
        rows.append(
            {
                "controller": controller,
                "bed": bed,
                "part": "driest_quarter",
                "area_m2": totals["area_m2"],
                **quarter,
            }
        )
    return pd.DataFrame(rows)


def openings_table(season: Season) -> pd.DataFrame:
    """Return the list of openings as `openings.csv` has it."""
    columns = ["controller", "start", "end", "minutes", "refilled_kg", "litres", "cause"]
    return season.openings[columns].assign(times=season.times_are)


@contextlib.contextmanager
def new_folder(folder: Path, *, overwrite: bool) -> Iterator[Path]:
    """
    Give a folder to write into that takes the place of ``folder`` only when all went well.

    Parameters
    ----------
    folder : Path
        Made if missing, with its parents.
    overwrite : bool
        Whether earlier files of ours may be replaced. A file that we did not make is never touched.

    Yields
    ------
    Path
        A new, empty folder beside it.

    Raises
    ------
    OutputError
        Not empty without ``overwrite``; holds something of the user's; can't be written.
    """
    folder = Path(folder)
    _may_write(folder, overwrite)
    try:
        parent = folder.resolve().parent
        parent.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=parent))
    except OSError as error:
        raise OutputError(f"can't be made ({error.strerror}); choose another --out", file=str(folder)) from None
    try:
        made = staging / "new"
        made.mkdir()
        yield made
        _may_write(folder, overwrite)  # something may have come in between
        target = folder.resolve()
        if target.exists():
            target.rename(staging / "old")
        made.rename(target)
    except OSError as error:
        raise OutputError(f"can't be written ({error.strerror}); choose another --out", file=str(folder)) from None
    finally:
        if (staging / "old").exists() and not folder.exists():
            (staging / "old").rename(folder)
        shutil.rmtree(staging, ignore_errors=True)


def _may_write(folder: Path, overwrite: bool) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise OutputError("is a file, and a folder is wanted; choose another --out", file=str(folder))
    inside = sorted(entry.name for entry in folder.iterdir())
    if inside and not overwrite:
        raise OutputError("is not empty; add --overwrite to replace what is in it, or choose another", file=str(folder))
    foreign = [name for name in inside if name not in OUR_FILES]
    if foreign:
        raise OutputError(
            f"holds {foreign[0]}, which this command did not make and will not remove; choose another --out",
            file=str(folder),
        )


def write_season(season: Season, folder: Path) -> None:
    """
    Write a season's tables, totals, figures and report into an empty folder.

    Parameters
    ----------
    season : Season
    folder : Path
    """
    from simulator.reports import figures, html

    write_csv(daily_table(season), folder / "daily.csv")
    write_csv(openings_table(season), folder / "openings.csv")
    write_csv(beds_table(season), folder / "beds.csv")
    write_json(season_json(season), folder / "season.json")
    (folder / "figures").mkdir()
    drawn: dict[str, str] = {}
    for name, draw in figures.SEASON_FIGURES.items():
        figure = draw(season)
        figures.save(figure, folder / "figures" / name)
        drawn[name] = figures.svg_text(figure)
    text = html.report_html(season, drawn, provenance(season))
    (folder / "report.html").write_text(text, encoding="utf-8")


def write_json(content: dict[str, Any], path: Path) -> None:
    """Write a JSON file: sorted by nothing, numbers in full, one byte sequence for one content."""
    path.write_text(json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8")


def write_csv(table: pd.DataFrame, path: Path) -> None:
    """
    Write a table: numbers in full, and no text that a spreadsheet would run.

    A text that begins with = + - @, a tab or a line's end gets an apostrophe before it.
    """
    safe = table.copy()
    for name in safe.columns:
        if safe[name].dtype.kind not in "biuf":
            safe[name] = pd.Series([_guarded(value) for value in safe[name]], index=safe.index, dtype=object)
    safe.to_csv(path, index=False, float_format=_FLOATS, lineterminator="\n", encoding="utf-8")


def _guarded(value: object) -> object:
    if not isinstance(value, str) or not value.startswith(_FORMULA_SIGNS) or _PLAIN_NUMBER.fullmatch(value):
        return value
    return f"'{value}"
