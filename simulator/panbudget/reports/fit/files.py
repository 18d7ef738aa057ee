"""
Fit files: what `fit` writes.
"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from panbudget.reports.fit.figures import loss_figure, residual_figure
from panbudget.reports.fit.page import drawn, fit_report, fit_sentences
from panbudget.reports.writing import Verb

if TYPE_CHECKING:
    from panbudget.studies.fit.estimate import Fit


def fit_totals(fit: Fit) -> dict[str, Any]:
    """Return what `fit.json` holds beside schema, title and provenance: exposure as a factor, refill in L/h, swing in kg."""
    return {
        "log": {
            "file": Path(fit.log.file).name,
            "sha256": fit.log.sha256,
            "first": fit.log.first.isoformat(),
            "last": fit.log.last.isoformat(),
            "visits": {name: len(visits) for name, visits in fit.log.visits.items()},
        },
        "interval": fit.interval,
        "sentences": fit_sentences(fit),
        "controllers": {
            name: {
                "estimates": {estimate.name: asdict(estimate) for estimate in pan.estimates},
                "as_described": pan.untold,
                "condition": pan.condition,
                "rms_before_mm": pan.rms_before,
                "rms_after_mm": pan.rms_after,
                "walk": pan.walk,
                "questioned": [{"line": line, "what": what} for line, what in pan.questioned],
            }
            for name, pan in fit.controllers.items()
        },
        "overlay": fit.overlay,
        "litres": {"as_described": drawn(fit.before), "as_fitted": drawn(fit.after)},
    }


def readings_table(fit: Fit) -> pd.DataFrame:
    """Return every reading beside the model, as `fit.csv` has it."""
    parts = [pan.readings.assign(controller=name) for name, pan in fit.controllers.items()]
    table = pd.concat(parts, ignore_index=True)
    table["date"] = [f"{moment:%Y-%m-%d %H:%M}" for moment in table["date"]]
    return table[["controller", *(column for column in table.columns if column != "controller")]]


VERB = Verb(
    "fit",
    fit_sentences,
    fit_report,
    fit_totals,
    tables={"fit.csv": readings_table},
    figures=lambda fit: {"loss": loss_figure, "residuals": residual_figure},
    files={"fitted.toml": lambda fit: fit.toml.encode()},
    of=lambda fit: fit.after,
)
