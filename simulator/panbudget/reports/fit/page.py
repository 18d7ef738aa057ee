"""
Fit page: what a field log says of the pan, before and after, in words, as one page and as data.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from panbudget.reports.fit.figures import loss_figure, residual_figure
from panbudget.reports.folders import to_paste
from panbudget.reports.pages import Report, texts, words_of
from panbudget.reports.writing import Verb
from panbudget.season.result import Season
from panbudget.studies.fit.estimate import ControllerFit, Estimate, Fit
from panbudget.studies.fit.tub import Worth
from panbudget.words import amount, bare, count, days_said, percent, say

_section, _say = words_of("fit")
#: parameter -> factor to what is shown, decimals, kind of quantity
_SHOWN = {"exposure": (1.0, 3, ""), "refill": (1.0, 2, "flow"), "swing": (1000.0, 0, "grams")}
_MOST_QUESTIONED = 40
_PARAMETERS, _MEASURES = (texts("fit")[kind] for kind in ("parameters", "measures"))


def _shown(estimate: Estimate) -> dict[str, str]:
    """Name and numbers of an estimate, as text."""
    factor, decimals, kind = _SHOWN[estimate.name]
    values = {name: getattr(estimate, name) for name in ("value", "described", "low", "high")}
    shown = {name: amount(factor * value, kind, f",{decimals}").rstrip() for name, value in values.items()}
    return {**shown, "what": _PARAMETERS[estimate.name]}


def fit_sentences(fit: Fit) -> list[str]:
    """Say what was learnt."""
    sentences, days = [], [day.date() for day in fit.after.days.index[[0, -1]]]
    season = _say("whole" if days[1] == fit.scenario.season.end else "so-far", days=days_said(*days))
    for name, pan in fit.controllers.items():
        sentences += [_say("contradicted", name=name, what=what) for what in pan.contradictions]
        if name in fit.log.tubs:
            sentences.append(_say("tub", name=name, readings=len(fit.log.tubs[name])))
        low, high = fit.litres[name]
        total = fit.after.totals["controllers"][name]["litres"]
        before = fit.before.totals["spread"]["controllers"][name]["litres"]
        values = {"name": name, "season": season, "litres": total, "low": low, "high": high, "before": before}
        fitted = "season" if low <= total <= high else "season-apart"
        sentences.append(_say(fitted if pan.ranges else "season-unfitted", interval=fit.interval, **values))
        learnt = "; ".join(_say("estimate", **_shown(estimate)) for estimate in pan.estimates)
        sentences.append(_say("learnt" if learnt else "nothing", name=name, learnt=learnt, interval=fit.interval))
        for parameter, why in pan.untold.items():
            what = _PARAMETERS[parameter].split(",")[0]
            sentences.append(_say("untold", name=name, what=what, why=why))
        for worth in _telling(pan):
            sentences.append(_say("next", name=name, what=say(_MEASURES[worth.what]), worth=worth))
        weigh = "weighs" if len(pan.questioned) == 1 else "weigh"
        sentences.append(_say("apart", name=name, pan=pan, questioned=len(pan.questioned), weigh=weigh))
    return sentences + [_say("row", what=what) for what in fit.log.assumptions if what.startswith("line ")]


def _first(fit: Fit, paths: Mapping[str, str]) -> Iterator[str]:
    """Say what to measure next, valve by valve, and what to do with what is fitted."""
    if fit.overlay:
        yield _say("first_lay", **paths)
    for name, pan in fit.controllers.items():
        for worth in _telling(pan):
            yield _say("first_next", name=name, what=say(_MEASURES[worth.what]))


def _telling(pan: ControllerFit) -> list[Worth]:
    """Return what would tell most next, where it would narrow the range as printed."""
    return [worth for worth in pan.worth[:1] if percent(worth.after) != percent(worth.before)]


def _drawn(season: Season) -> float:
    """What passed all valves in a season. [L]"""
    return float(sum(valve["litres"] for valve in season.totals["controllers"].values()))


def fit_report(fit: Fit, figures: Mapping[str, str]) -> Report:
    """Say what the page says."""
    visits, paths = sum(len(part) for part in fit.log.visits.values()), to_paste(fit.scenario, "fitted.toml")
    lines = ((name, *row) for name, pan in fit.controllers.items() for row in pan.questioned[:_MOST_QUESTIONED])
    questioned = [{"pan": name, "line": f"line {line}", "what": what} for name, line, what in lines]
    return Report(
        title=f"{fit.scenario.title}: tuned to a field log",
        when=f"{Path(fit.log.file).name}: {days_said(fit.log.first, fit.log.last)}, {count(visits, 'visit')}",
        sections=[
            _section("season", table=_seasons(fit)),
            _section("next", table=_next(fit)),
            _section("estimates", figures=figures, table=_estimates(fit)),
            *([_section("overlay", code=fit.toml, fill=paths)] if fit.overlay else []),
            _section("questioned", table=questioned),
        ],
        first=list(_first(fit, paths)),
        assumptions=(*fit.log.assumptions, *fit.after.assumptions),
    )


def _estimates(fit: Fit) -> Iterator[dict[str, Any]]:
    for name, pan in fit.controllers.items():
        for estimate in pan.estimates:
            shown = _shown(estimate)
            interval = f"{shown['low']} to {shown['high']} ({percent(fit.interval)})"
            yield {"pan": name, **shown, "fitted": shown["value"], "interval": interval}
        for parameter, why in pan.untold.items():
            row = {"pan": name, "what": _PARAMETERS[parameter], "described": "as described"}
            yield {**row, "fitted": why, "interval": ""}


def _seasons(fit: Fit) -> Iterator[dict[str, Any]]:
    """Litres of valves and beds with their ranges, as described and as fitted; days short of water of beds."""
    for part, short in (("controllers", None), ("beds", "driest_quarter_stress_days")):
        for key in fit.before.totals[part]:
            row: dict[str, Any] = {"of": key}
            for when, season in (("before", fit.before), ("after", fit.after)):
                spread = season.totals["spread"][part][key]
                for what, name, kind in (("litres", "litres", "volume"), ("short", short, "")):
                    row[f"{what}_{when}"] = (
                        f"{bare(spread[name]['low'], kind, 0)} to {bare(spread[name]['high'], kind, 0)}" if name else ""
                    )
            yield {**row, "litres": bare(fit.after.totals[part][key]["litres"], "volume", 0)}


def _next(fit: Fit) -> Iterator[dict[str, Any]]:
    for name, pan in fit.controllers.items():
        for each in pan.worth:
            halves = {when: f"±{percent(getattr(each, when), 1)}" for when in ("before", "after")}
            yield {"pan": name, "what": say(_MEASURES[each.what]), **halves}


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
                "ranges": pan.ranges,
                "measure_next": pan.worth,
                "contradictions": pan.contradictions,
                **{"rms_before_mm": pan.rms_before, "rms_after_mm": pan.rms_after},
                "walk": pan.walk,
                "questioned": [{"line": line, "what": what} for line, what in pan.questioned],
            }
            for name, pan in fit.controllers.items()
        },
        "overlay": fit.overlay,
        "litres": {"as_described": _drawn(fit.before), "as_fitted": _drawn(fit.after), "ranges": fit.litres},
    }


def readings_table(fit: Fit) -> pd.DataFrame:
    """Return every reading beside the model, as `fit.csv` has it."""
    table = pd.concat({name: pan.readings for name, pan in fit.controllers.items()}, names=["controller"])
    table = table.reset_index("controller").reset_index(drop=True)
    return table.assign(date=pd.to_datetime(table["date"]).dt.strftime("%Y-%m-%d %H:%M"))


VERB = Verb(
    "fit",
    fit_sentences,
    fit_report,
    fit_totals,
    tables={"fit.csv": readings_table},
    # levels alone tell no loss between them: there is nothing to draw of it
    figures=lambda fit: {
        **(
            {"loss": loss_figure} if any(pan.lost["observed"].notna().any() for pan in fit.controllers.values()) else {}
        ),
        "residuals": residual_figure,
    },
    files={"fitted.toml": lambda fit: fit.toml.encode()},
    of=lambda fit: fit.after,
)
