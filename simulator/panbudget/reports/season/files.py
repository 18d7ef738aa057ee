"""
Output: a season as files. Tables as CSV, totals as JSON; `folders` gives the folder that they go into.

Two runs on the same inputs give the same bytes: no dates of writing, no host, numbers printed one way.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from panbudget.reports.season.figures import season_figures
from panbudget.reports.season.page import season_report
from panbudget.reports.season.weeks import weeks_table
from panbudget.reports.season.words import three_sentences
from panbudget.reports.writing import Verb

if TYPE_CHECKING:
    from panbudget.season.result import Season

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
