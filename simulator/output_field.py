"""
Output, in the field: the faults tried, as files.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simulator.output import provenance, write_csv, write_json

if TYPE_CHECKING:
    from simulator.going_wrong import Trials

__all__ = ["faults_json", "write_faults"]


def write_faults(found: Trials, folder: Path) -> None:
    """
    Write the faults tried into an empty folder.

    Parameters
    ----------
    found : Trials
    folder : Path
    """
    from simulator.reports.canvas import save, svg_text
    from simulator.reports.faults_figures import FAULTS_FIGURES
    from simulator.reports.faults_page import faults_html

    write_csv(found.table(), folder / "faults.csv")
    write_json(faults_json(found), folder / "faults.json")
    (folder / "figures").mkdir()
    drawn: dict[str, str] = {}
    for name, draw in FAULTS_FIGURES.items():
        figure = draw(found)
        save(figure, folder / "figures" / name)
        drawn[name] = svg_text(figure)
    (folder / "faults.html").write_text(faults_html(found, drawn, provenance(found.season)), encoding="utf-8")


def faults_json(found: Trials) -> dict[str, Any]:
    """
    Return what `faults.json` holds.

    Parameters
    ----------
    found : Trials

    Returns
    -------
    dict
    """
    from simulator.going_wrong import CURES, LOOKS
    from simulator.reports.faults_page import RULE, faults_sentences, noticed

    trials = []
    for rank, trial in enumerate(found.trials, 1):
        described = {k: v for k, v in trial.fault.model_dump(mode="json").items() if v is not None}
        signs = {}
        for name, seen in trial.signs.items():
            told = dataclasses.asdict(seen)
            week = {"start": seen.start.isoformat(), "end": seen.end.isoformat()}
            names = ("with_fault", "without", "week_before")
            trios = {k: dict(zip(names, v, strict=True)) for k, v in told.items() if isinstance(v, tuple)}
            signs[name] = {**week, **trios, "said": noticed(name, seen)}
        trials.append(
            {
                "rank": rank,
                "what": trial.what,
                "where": trial.where,
                "in_scenario": trial.described,
                "fault": described,
                "more_stress_days": trial.more_stress_days,
                "more_wasted_litres": trial.more_wasted_litres,
                "stress_days": trial.stress_days,
                "wasted_litres": trial.wasted_litres,
                "litres": trial.litres,
                "stuck_hours": trial.stuck_hours,
                "dry_hours": trial.dry_hours,
                "starved_hours": trial.starved_hours,
                "signs": signs,
                "look": LOOKS[trial.fault.kind],
                "cure": CURES[trial.fault.kind],
            }
        )
    first = found.trials[0]
    return {
        "schema": 1,
        "title": found.scenario.title,
        "season": found.season.totals["season"],
        "from": found.start.isoformat(),
        "rule": RULE,
        "sentences": faults_sentences(found),
        "sound": {
            "stress_days": first.stress_days_sound,
            "wasted_litres": first.wasted_litres_sound,
            "litres": first.litres_sound,
        },
        "faults": trials,
        "provenance": provenance(found.season),
    }
