"""
Faults files: what `faults` writes.
"""

from __future__ import annotations

from typing import Any

from panbudget.reports.faults.figures import harm_figure
from panbudget.reports.faults.page import faults_report, faults_sentences, noticed
from panbudget.reports.pages import texts
from panbudget.reports.writing import Verb
from panbudget.studies.faults import CURES, LOOKS, Signs, Trial, Trials


def faults_totals(trials: Trials) -> dict[str, Any]:
    """Return what `faults.json` holds beside schema, title and provenance."""
    sound = trials.trials[0].sound
    return {
        "season": trials.season.totals["season"],
        "from": trials.start.isoformat(),
        "rule": texts("faults")["rule"],
        "sentences": faults_sentences(trials),
        "sound": {name: getattr(sound, name) for name in ("stress_days", "wasted_litres", "litres")},
        "faults": [_trial(rank, trial) for rank, trial in enumerate(trials.trials, 1)],
    }


def _trial(rank: int, trial: Trial) -> dict[str, Any]:
    return {
        "rank": rank,
        "what": trial.what,
        "where": trial.where,
        "in_scenario": trial.described,
        "fault": {key: value for key, value in trial.fault.model_dump(mode="json").items() if value is not None},
        **trial.figures,
        "signs": {name: _week(name, signs) for name, signs in trial.signs.items()},
        "look": LOOKS[trial.fault.kind],
        "cure": CURES[trial.fault.kind],
    }


def _week(name: str, signs: Signs) -> dict[str, Any]:
    figures = {figure: values._asdict() for figure, values in signs.figures.items()}
    return {
        "start": signs.start.isoformat(),
        "end": signs.end.isoformat(),
        **figures,
        "said": noticed(name, signs),
    }


VERB = Verb(
    "faults",
    faults_sentences,
    faults_report,
    faults_totals,
    tables={"faults.csv": Trials.table},
    figures=lambda trials: {"harm": harm_figure},
    of=lambda trials: trials.season,
)
