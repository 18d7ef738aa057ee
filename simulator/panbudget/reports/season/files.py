"""
Output: a season as files. Tables as CSV, totals as JSON; `folders` gives the folder that they go into.

Two runs on the same inputs give the same bytes: no dates of writing, no host, numbers printed one way.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from panbudget.files import write_csv, write_json
from panbudget.reports.season.figures import season_figures
from panbudget.reports.season.page import season_report
from panbudget.reports.season.words import three_sentences
from panbudget.reports.writing import Verb, provenance
from panbudget.season.weeks import weeks_table

if TYPE_CHECKING:
    from panbudget.season.result import Season
    from panbudget.studies.compare import Comparison

# beside the season's own rain; as a number; net_demand_mm once more
_NOT_DAILY = ("rain_mm", "growing", "exact_irrigation_mm")


def _totals(season: Season) -> dict[str, Any]:
    return {**season.totals, "findings": [finding.as_dict() for finding in season.findings]}


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
                **{c: table[c].to_numpy() for c in table.columns if c not in _NOT_DAILY},
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
        ``controller``, ``bed``, ``part`` ("mean", "driest_quarter", "exact_refill", "timer"), then the totals of `season.json`.
    """
    rows = []
    for key, totals in season.totals["beds"].items():
        controller, bed = key.split("/")
        own = {k: v for k, v in totals.items() if not isinstance(v, dict | list)}
        rows.append({"controller": controller, "bed": bed, "part": "mean", **own})
        for part in ("driest_quarter", "exact_refill", "timer"):
            if part in totals:
                about = {"controller": controller, "bed": bed, "part": part, "area_m2": totals["area_m2"]}
                rows.append({**about, **totals[part]})
    return pd.DataFrame(rows)


def openings_table(season: Season) -> pd.DataFrame:
    """Return the list of openings as `openings.csv` has it."""
    columns = ["controller", "start", "end", "minutes", "refilled_kg", "litres", "cause"]
    table = season.openings[columns].assign(times=season.times_are)
    for name in ("start", "end"):  # empty while the valve is still open
        table[name] = table[name].dt.strftime("%Y-%m-%d %H:%M:%S").fillna("")
    return table


def write_comparison(comparison: Comparison, folder: Path) -> None:
    """
    Write a comparison's table, totals, figures and page into an empty folder.

    Parameters
    ----------
    comparison : Comparison
    folder : Path
    """
    from panbudget.reports.canvas import draw_into
    from panbudget.reports.compare.figures import COMPARE_FIGURES
    from panbudget.reports.compare.page import compare_html

    write_csv(comparison.table(), folder / "compare.csv")
    write_json(comparison_json(comparison), folder / "compare.json")
    drawn = draw_into(folder, ((name, draw(comparison)) for name, draw in COMPARE_FIGURES.items()))
    made_from = provenance(next(iter(comparison.seasons.values())))
    (folder / "compare.html").write_text(compare_html(comparison, drawn, made_from), encoding="utf-8")


def comparison_json(comparison: Comparison) -> dict[str, Any]:
    """
    Return what `compare.json` holds.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    dict
        A recovery that did not come within the season is null.
    """
    from panbudget.reports.compare.words import comparison_sentences
    from panbudget.studies.compare import RULE

    values: dict[str, dict[str, dict[str, dict[str, float | None]]]] = {}
    for (span, name, where, key), value in comparison.values.items():
        place = values.setdefault(span, {}).setdefault(name, {}).setdefault(where, {})
        place[key] = value if math.isfinite(value) else None
    seasons = comparison.seasons
    first = next(iter(seasons.values()))
    return {
        "schema": 1,
        "title": comparison.scenario.title,
        "variants": list(comparison.names),
        "against": comparison.names[0],
        "season": first.totals["season"],
        "window": {"start": comparison.start.isoformat(), "end": comparison.end.isoformat()},
        "wave": None if comparison.wave is None else comparison.wave.as_dict(),
        "definition": comparison.definition,
        "rule": RULE,
        "sentences": comparison_sentences(comparison),
        "values": values,
        "differences": [difference.as_dict() for difference in comparison.differences],
        "findings": {name: [finding.as_dict() for finding in season.findings] for name, season in seasons.items()},
        "provenance": provenance(first),
    }


VERB = Verb(
    "replay",
    three_sentences,
    season_report,
    _totals,
    tables={
        "daily.csv": daily_table,
        "openings.csv": openings_table,
        "beds.csv": beds_table,
        "weeks.csv": weeks_table,
    },
    figures=season_figures,
    of=lambda season: season,
)
