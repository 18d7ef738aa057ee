"""
Fit page: what a field log says of the pan, before and after, in words and as one page.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from panbudget.reports.pages import Report, Section, section, texts
from panbudget.words import count, days_said, litres, mm, number, percent

if TYPE_CHECKING:
    from panbudget.season.result import Season
    from panbudget.studies.fit.estimate import Estimate, Fit

_WORDS = {"exposure": "exposure", "refill": "refill flow, at the pressure given with it", "swing": "swing"}
#: parameter -> factor to what is shown, decimals, unit
_SHOWN = {"exposure": (1.0, 3, ""), "refill": (1.0, 2, " L/h"), "swing": (1000.0, 0, " g")}
_MOST_QUESTIONED = 40


def _shown(estimate: Estimate, value: float) -> str:
    factor, decimals, unit = _SHOWN[estimate.name]
    return f"{number(factor * value, decimals)}{unit}"


def _interval(estimate: Estimate) -> str:
    return f"{_shown(estimate, estimate.low)} to {_shown(estimate, estimate.high)}"


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
        learnt = "; ".join(
            f"{_WORDS[e.name]} {_shown(e, e.value)} ({_interval(e)}) in place of {_shown(e, e.described)}"
            for e in pan.estimates
        )
        ending = f"{learnt}; intervals of {percent(fit.interval)}" if learnt else "nothing is fitted"
        sentences.append(f"{name}: {ending}.")
        for parameter, why in pan.untold.items():
            sentences.append(f"{name}: {_WORDS[parameter].split(',')[0]} stays as described: {why}.")
        sentences.append(
            f"{name}: the log's levels and counts lie {mm(pan.rms_after)} from the model as fitted, {mm(pan.rms_before)} as "
            f"described; {count(len(pan.questioned), 'reading')} looked wrong and "
            f"{'weighs' if len(pan.questioned) == 1 else 'weigh'} little or nothing."
        )
    sentences.append(
        f"The scenario's season: {litres(drawn(fit.after))} as fitted, {litres(drawn(fit.before))} as described."
    )
    return sentences


def drawn(season: Season) -> float:
    """Return what passed all valves in a season. [L]"""
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
            section("fit", "estimates", table=_estimates(fit)),
            Section(**texts("fit")["overlay"], text=texts("fit")["use"], code=fit.toml),
            section("fit", "season", figures=figures, table=_seasons(fit)),
            section("fit", "questioned", table=questioned),
        ],
        assumptions=(*fit.log.assumptions, *fit.after.assumptions),
    )


def _estimates(fit: Fit) -> Iterator[dict[str, Any]]:
    for name, pan in fit.controllers.items():
        for estimate in pan.estimates:
            yield {
                "pan": name,
                "what": _WORDS[estimate.name],
                "described": _shown(estimate, estimate.described),
                "fitted": _shown(estimate, estimate.value),
                "interval": f"{_interval(estimate)} ({percent(fit.interval)})",
                "condition": number(pan.condition, 1),
            }
        for parameter, why in pan.untold.items():
            described = {"pan": name, "what": _WORDS[parameter], "described": "as described", "fitted": why}
            yield {**described, "interval": "", "condition": ""}


def _seasons(fit: Fit) -> Iterator[dict[str, Any]]:
    for key, before in fit.before.totals["beds"].items():
        row: dict[str, Any] = {"bed": key}
        for when, bed in (("before", before), ("after", fit.after.totals["beds"][key])):
            row[f"litres_{when}"] = bed["litres"]
            row[f"need_{when}"] = bed["supply_over_demand"]
            row[f"short_{when}"] = bed["driest_quarter"]["stress_days"]
        yield row
