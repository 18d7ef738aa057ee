"""
Output, in the field: the faults tried, and a fit to a log, as files.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from panbudget.files import write_csv, write_json
from panbudget.reports.writing import provenance

if TYPE_CHECKING:
    from panbudget.studies.faults import Trials
    from panbudget.studies.fit.estimate import Fit

__all__ = ["faults_json", "fit_json", "write_faults", "write_fit"]


def write_faults(found: Trials, folder: Path) -> None:
    """
    Write the faults tried into an empty folder.

    Parameters
    ----------
    found : Trials
    folder : Path
    """
    from panbudget.reports.canvas import draw_into
    from panbudget.reports.faults.figures import FAULTS_FIGURES
    from panbudget.reports.faults.page import faults_html

    write_csv(found.table(), folder / "faults.csv")
    write_json(faults_json(found), folder / "faults.json")
    drawn = draw_into(folder, ((name, draw(found)) for name, draw in FAULTS_FIGURES.items()))
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
    from panbudget.reports.faults.page import RULE, faults_sentences, noticed
    from panbudget.studies.faults import CURES, LOOKS

    trials = []
    for rank, trial in enumerate(found.trials, 1):
        described = {k: v for k, v in trial.fault.model_dump(mode="json").items() if v is not None}
        signs = {}
        for name, seen in trial.signs.items():
            week = {"start": seen.start.isoformat(), "end": seen.end.isoformat()}
            trios = {figure: values._asdict() for figure, values in seen.figures.items()}
            signs[name] = {**week, **trios, "said": noticed(name, seen)}
        trials.append(
            {
                "rank": rank,
                "what": trial.what,
                "where": trial.where,
                "in_scenario": trial.described,
                "fault": described,
                **trial.figures,
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
        "sound": {name: getattr(first.sound, name) for name in ("stress_days", "wasted_litres", "litres")},
        "faults": trials,
        "provenance": provenance(found.season),
    }


def write_fit(found: Fit, folder: Path) -> None:
    """
    Write a fit into an empty folder.

    Parameters
    ----------
    found : Fit
    folder : Path
    """
    from panbudget.reports.canvas import draw_into
    from panbudget.reports.fit.figures import FIT_FIGURES
    from panbudget.reports.fit.page import fit_html

    parts = [one.readings.assign(controller=name) for name, one in found.controllers.items()]
    table = pd.concat(parts, ignore_index=True)
    table["date"] = [f"{moment:%Y-%m-%d %H:%M}" for moment in table["date"]]
    write_csv(table[["controller", *(c for c in table.columns if c != "controller")]], folder / "fit.csv")
    write_json(fit_json(found), folder / "fit.json")
    (folder / "fitted.toml").write_text(found.toml, encoding="utf-8")
    drawn = draw_into(folder, ((name, draw(found)) for name, draw in FIT_FIGURES.items()))
    (folder / "fit.html").write_text(fit_html(found, drawn, provenance(found.after)), encoding="utf-8")


def fit_json(found: Fit) -> dict[str, Any]:
    """
    Return what `fit.json` holds.

    Parameters
    ----------
    found : Fit

    Returns
    -------
    dict
        Exposure as a factor, refill flow in L/h, swing in kg.
    """
    from panbudget.reports.fit.page import fit_sentences

    return {
        "schema": 1,
        "title": found.scenario.title,
        "log": {
            "file": Path(found.log.file).name,
            "sha256": found.log.sha256,
            "first": found.log.first.isoformat(),
            "last": found.log.last.isoformat(),
            "visits": {name: len(visits) for name, visits in found.log.visits.items()},
        },
        "interval": found.interval,
        "sentences": fit_sentences(found),
        "controllers": {
            name: {
                "estimates": {e.name: dataclasses.asdict(e) for e in one.estimates},
                "as_described": one.untold,
                "condition": one.condition,
                "rms_before_mm": one.rms_before,
                "rms_after_mm": one.rms_after,
                "walk": one.walk,
                "questioned": [{"line": line, "what": what} for line, what in one.questioned],
            }
            for name, one in found.controllers.items()
        },
        "overlay": found.overlay,
        "litres": {
            key: sum(c["litres"] for c in season.totals["controllers"].values())
            for key, season in (("as_described", found.before), ("as_fitted", found.after))
        },
        "provenance": provenance(found.after),
    }
