"""
Fit page: what a field log says of the pan, before and after, in words and as one page.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from panbudget.reports.pages import Table, placed_figure, provenance_table, render
from panbudget.reports.texts import CAUTIONS, METHOD
from panbudget.words import count, days_said, litres, mm, number, percent

if TYPE_CHECKING:
    from panbudget.studies.fit.estimate import ControllerFit, Estimate, Fit

__all__ = ["FIT_METHOD", "fit_html", "fit_sentences"]

_UNITS = {"exposure": "", "refill": " L/h", "swing": " g"}
_WORDS = {"exposure": "exposure", "refill": "refill flow, at the pressure given with it", "swing": "swing"}
FIT_METHOD = (
    "A filter walks through the visits with several accounts of the log side by side: each count right, off by one or by any "
    "number; each level right or misread; what was not counted, any whole number of openings. For every exposure from a quarter "
    "to three times the one described it says how well the log goes with it, over a range of errors of the ruler and of the "
    "model from one opening to the next; the interval holds its share of that, widened as Student's t is over the normal, and "
    "by what [statement] doubts of a refill flow that is not fitted. Where several exposures go with the log, or it leaves the "
    "exposure open by more than a tenth, none is given. Bed emitters, the meter, the pan's area and a swing that is not fitted "
    "are taken as they are described: one per cent in the swing is one per cent in the exposure. What a model of evaporation "
    "may have wrong from month to month is not in the interval."
)


def _shown(estimate: Estimate, value: float) -> str:
    if estimate.name == "swing":
        return f"{number(1000.0 * value)}{_UNITS['swing']}"
    return f"{number(value, 3 if estimate.name == 'exposure' else 2)}{_UNITS[estimate.name]}"


def fit_sentences(found: Fit) -> list[str]:
    """
    Say what was learnt.

    Parameters
    ----------
    found : Fit

    Returns
    -------
    list of str
    """
    said = []
    for name, one in found.controllers.items():
        told = "; ".join(
            f"{_WORDS[e.name]} {_shown(e, e.value)} ({_shown(e, e.low)} to {_shown(e, e.high)}) in place of "
            f"{_shown(e, e.described)}"
            for e in one.estimates
        )
        said.append(
            f"{name}: {told}; intervals of {percent(found.interval)}." if told else f"{name}: nothing is fitted."
        )
        for parameter, why in one.untold.items():
            said.append(f"{name}: {_WORDS[parameter].split(',')[0]} stays as described: {why}.")
        said.append(
            f"{name}: the log's levels and counts lie {mm(one.rms_after)} from the model as fitted, {mm(one.rms_before)} as "
            f"described; {count(len(one.questioned), 'reading')} looked wrong and "
            f"{'weighs' if len(one.questioned) == 1 else 'weigh'} little or nothing."
        )
    before, after = (sum(c["litres"] for c in s.totals["controllers"].values()) for s in (found.before, found.after))
    said.append(f"The scenario's season: {litres(after)} as fitted, {litres(before)} as described.")
    return said


def fit_html(found: Fit, figures: Mapping[str, str], provenance: Mapping[str, Any]) -> str:
    """
    Write the page.

    Parameters
    ----------
    found : Fit
    figures : mapping
        Name -> SVG element.
    provenance : mapping
        As `output.provenance` gives it.

    Returns
    -------
    str
    """
    captions = {
        "loss": (
            "What each pan lost a day between visits, rain taken off: by the log, by the model as described and as fitted. A "
            "count alone leaves the log's points half an opening loose."
        ),
        "residuals": (
            "What is left between each reading and the model as fitted, in standard errors of its kind; hollow: set aside. "
            "Nothing should be seen in it but scatter."
        ),
    }
    visits = sum(len(part) for part in found.log.visits.values())
    return render(
        "fit.html.j2",
        title=found.scenario.title,
        when=f"{Path(found.log.file).name}: {days_said(found.log.first, found.log.last)}, {count(visits, 'visit')}",
        note=found.scenario.note,
        sentences=fit_sentences(found),
        estimates=_estimates(found),
        season=_season(found),
        questioned=_questioned(found),
        figures=[placed_figure(f"fit-{name}", svg, captions[name]) for name, svg in figures.items()],
        toml=found.toml,
        assumptions=(*found.log.assumptions, *found.after.assumptions),
        fit_method=FIT_METHOD,
        method=METHOD,
        cautions=CAUTIONS,
        provenance=provenance_table(provenance),
    )


def _estimates(found: Fit) -> Table:
    rows = []
    for name, one in found.controllers.items():
        for estimate in one.estimates:
            rows.append(
                (
                    name,
                    _WORDS[estimate.name],
                    _shown(estimate, estimate.described),
                    _shown(estimate, estimate.value),
                    f"{_shown(estimate, estimate.low)} to {_shown(estimate, estimate.high)}",
                    number(one.condition, 1),
                )
            )
        for parameter, why in one.untold.items():
            rows.append((name, _WORDS[parameter], "as described", why, "", ""))
    headings = ("pan", "what", "as described", "as fitted", f"interval of {percent(found.interval)}", "condition")
    return Table(headings, tuple(rows), names=2)


def _season(found: Fit) -> Table:
    rows = []
    for key, before in found.before.totals["beds"].items():
        after = found.after.totals["beds"][key]
        rows.append(
            (
                key,
                *(litres(one["litres"]) for one in (before, after)),
                *(percent(one["supply_over_demand"]) for one in (before, after)),
                *(number(one["driest_quarter"]["stress_days"]) for one in (before, after)),
            )
        )
    headings = (
        *("bed", "water, as described", "as fitted", "of its need, as described", "as fitted"),
        *("stress days of the driest quarter, as described", "as fitted"),
    )
    return Table(headings, tuple(rows))


def _questioned(found: Fit) -> Table:
    rows = tuple((name, f"line {line}", what) for name, one in found.controllers.items() for line, what in _few(one))
    return Table(("pan", "of the log", "what looks wrong"), rows, names=3)


def _few(one: ControllerFit) -> tuple[tuple[int, str], ...]:
    return one.questioned[:40]
