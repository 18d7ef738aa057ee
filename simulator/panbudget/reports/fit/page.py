"""
Fit page: what a field log says of the pan, before and after, in words, as one page and as data.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from panbudget.reports.fit.figures import loss_figure, residual_figure
from panbudget.reports.pages import Report, texts, words_of
from panbudget.reports.writing import Verb
from panbudget.season.result import Season
from panbudget.studies.fit.estimate import Estimate, Fit
from panbudget.words import count, days_said, number, percent

_section, _say = words_of("fit")
#: parameter -> factor to what is shown, decimals, unit
_SHOWN = {"exposure": (1.0, 3, ""), "refill": (1.0, 2, " L/h"), "swing": (1000.0, 0, " g")}
_MOST_QUESTIONED = 40


def _shown(estimate: Estimate) -> dict[str, str]:
    """Name and numbers of an estimate, as text."""
    factor, decimals, unit = _SHOWN[estimate.name]
    values = {name: getattr(estimate, name) for name in ("value", "described", "low", "high")}
    shown = {name: f"{number(factor * value, decimals)}{unit}" for name, value in values.items()}
    return {**shown, "what": texts("fit")["parameters"][estimate.name]}


def fit_sentences(fit: Fit) -> list[str]:
    """
    Say what was learnt.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    list of str
    """
    sentences = []
    for name, pan in fit.controllers.items():
        learnt = "; ".join(_say("estimate", **_shown(estimate)) for estimate in pan.estimates)
        sentences.append(_say("learnt" if learnt else "nothing", name=name, learnt=learnt, interval=fit.interval))
        for parameter, why in pan.untold.items():
            what = texts("fit")["parameters"][parameter].split(",")[0]
            sentences.append(_say("untold", name=name, what=what, why=why))
        weigh = "weighs" if len(pan.questioned) == 1 else "weigh"
        sentences.append(_say("apart", name=name, pan=pan, questioned=len(pan.questioned), weigh=weigh))
    return [*sentences, _say("season", after=_drawn(fit.after), before=_drawn(fit.before))]


def _drawn(season: Season) -> float:
    """What passed all valves in a season. [L]"""
    return float(sum(valve["litres"] for valve in season.totals["controllers"].values()))


def fit_report(fit: Fit, figures: Mapping[str, str]) -> Report:
    """
    Say what the page says.

    Parameters
    ----------
    fit : Fit
    figures : mapping
        Name -> SVG element.

    Returns
    -------
    Report
    """
    visits = sum(len(part) for part in fit.log.visits.values())
    questioned = [
        {"pan": name, "line": f"line {line}", "what": what}
        for name, pan in fit.controllers.items()
        for line, what in pan.questioned[:_MOST_QUESTIONED]
    ]
    return Report(
        title=f"{fit.scenario.title}: tuned to a field log",
        when=f"{Path(fit.log.file).name}: {days_said(fit.log.first, fit.log.last)}, {count(visits, 'visit')}",
        sections=[
            _section("estimates", table=_estimates(fit)),
            _section("overlay", code=fit.toml),
            _section("season", figures=figures, table=_seasons(fit)),
            _section("questioned", table=questioned),
        ],
        assumptions=(*fit.log.assumptions, *fit.after.assumptions),
    )


def _estimates(fit: Fit) -> Iterator[dict[str, Any]]:
    for name, pan in fit.controllers.items():
        for estimate in pan.estimates:
            shown = _shown(estimate)
            interval = f"{shown['low']} to {shown['high']} ({percent(fit.interval)})"
            numbers = {"fitted": shown["value"], "interval": interval, "condition": number(pan.condition, 1)}
            yield {"pan": name, **shown, **numbers}
        for parameter, why in pan.untold.items():
            row = {"pan": name, "what": texts("fit")["parameters"][parameter], "described": "as described"}
            yield {**row, "fitted": why, "interval": "", "condition": ""}


def _seasons(fit: Fit) -> Iterator[dict[str, Any]]:
    for key, before in fit.before.totals["beds"].items():
        row: dict[str, Any] = {"bed": key}
        for when, bed in (("before", before), ("after", fit.after.totals["beds"][key])):
            row[f"litres_{when}"] = bed["litres"]
            row[f"need_{when}"] = bed["supply_over_demand"]
            row[f"short_{when}"] = bed["driest_quarter"]["stress_days"]
        yield row


def fit_totals(fit: Fit) -> dict[str, Any]:
    """Return what `fit.json` holds beside schema, title and provenance: exposure as a factor, refill in L/h, swing in kg."""
    log = fit.log
    return {
        "log": {
            "file": Path(log.file).name,
            **{name: getattr(log, name) for name in ("sha256", "first", "last")},
            "visits": {name: len(visits) for name, visits in log.visits.items()},
        },
        "interval": fit.interval,
        "sentences": fit_sentences(fit),
        "controllers": {
            name: {
                "estimates": {estimate.name: estimate for estimate in pan.estimates},
                "as_described": pan.untold,
                **{"condition": pan.condition, "rms_before_mm": pan.rms_before, "rms_after_mm": pan.rms_after},
                "walk": pan.walk,
                "questioned": [{"line": line, "what": what} for line, what in pan.questioned],
            }
            for name, pan in fit.controllers.items()
        },
        "overlay": fit.overlay,
        "litres": {"as_described": _drawn(fit.before), "as_fitted": _drawn(fit.after)},
    }


def readings_table(fit: Fit) -> pd.DataFrame:
    """Return every reading beside the model, as `fit.csv` has it."""
    table = pd.concat({name: pan.readings for name, pan in fit.controllers.items()}, names=["controller"])
    table = table.reset_index("controller").reset_index(drop=True)
    return table.assign(date=table["date"].dt.strftime("%Y-%m-%d %H:%M"))


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
