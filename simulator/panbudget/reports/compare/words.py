"""
Difference words: a comparison as sentences, what can't be told apart said as such.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from panbudget.words import count, days_said, number, percent

if TYPE_CHECKING:
    from panbudget.studies.compare import Comparison, Difference, Measure

__all__ = ["comparison_sentences", "differs", "figure_of", "span_said"]

_VALVE_SAID = ("openings", "litres", "stuck_hours", "dry_hours")
_BED_SAID = ("irrigation_mm", "stress_days", "worst_depletion_percent", "recovery_days", "deep_percolation_mm")
_NO_BREAK = "\u00a0"


def figure_of(measure: Measure, value: float) -> str:
    """Write a measure's value with as many decimals as it is worth; "not by the season's end" for no recovery."""
    if math.isinf(value):
        return "not by the season's end"
    return number(value, measure.decimals)


def differs(difference: Difference) -> bool:
    """Tell whether two values differ in what is printed of them."""
    shown = figure_of(difference.measure, difference.value), figure_of(difference.measure, difference.reference)
    return difference.verdict != "none" and shown[0] != shown[1]


def span_said(comparison: Comparison, span: str) -> str:
    """Name the days of a span."""
    totals = next(iter(comparison.seasons.values())).totals["season"]
    if span == "season":
        return f"the season, {days_said(totals['start'], totals['end'])}"
    return f"the days looked at, {days_said(comparison.start, comparison.end)}"


def comparison_sentences(comparison: Comparison) -> list[str]:
    """
    Say what differs, over the days looked at: first the whole, then valve by valve and bed by bed.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    list of str
    """
    span = comparison.spans[0]
    sentences = [*_wave_said(comparison), _overall(comparison, span)]
    for name in comparison.names[1:]:
        mine = [d for d in comparison.differences if d.span == span and d.variant == name]
        wheres = list(dict.fromkeys(d.where for d in mine))
        same = []
        for where in wheres:
            kept = _BED_SAID if "/" in where else _VALVE_SAID
            here = [d for d in mine if d.where == where and d.measure.key in kept and differs(d)]
            if not here:
                same.append(where)
                continue
            sentences.append(f"{name}, {where}: " + "; ".join(_part(d) for d in here) + ".")
        if same:
            sentences.append(
                f"{name} makes no difference to {', '.join(same)}."
                if len(same) < len(wheres)
                else f"{name} makes no difference to anything compared here."
            )
    return sentences


def _wave_said(comparison: Comparison) -> list[str]:
    wave = comparison.wave
    if wave is None:
        return []
    kind = "made heat wave" if wave.made else "heat wave"
    return [
        f"The {kind} of {days_said(wave.start, wave.end)}: {count(wave.days, 'day')}, Tmax up to {number(wave.peak_c, 1)} °C."
    ]


def _overall(comparison: Comparison, span: str) -> str:
    parts = []
    for name, season in comparison.seasons.items():
        stress = sum(comparison.values[span, name, bed, "stress_days"] for bed in season.beds)
        water = sum(comparison.values[span, name, valve, "litres"] for valve in season.controllers)
        parts.append(f"{name}: {count(round(stress), 'stress day')}, {number(water)}{_NO_BREAK}L")
    beds = count(len(comparison.beds), "bed")
    return (
        f"Over {span_said(comparison, span)}, with the driest quarters of {beds} added up and all the water: "
        + "; ".join(parts)
        + "."
    )


def _part(d: Difference) -> str:
    new, old = figure_of(d.measure, d.value), figure_of(d.measure, d.reference)
    key = d.measure.key
    if key == "openings":
        text = f"{count(round(d.value), 'opening')} in place of {old}"
    elif key in ("litres", "irrigation_mm"):
        unit = d.measure.unit
        share = f" ({_signed(d.value / d.reference - 1.0)})" if d.reference > 0.0 else ""
        text = f"{new}{_NO_BREAK}{unit} in place of {old}{_NO_BREAK}{unit}{share}"
    elif key == "stress_days":
        text = f"{count(round(d.value), 'stress day')} in place of {old} in its driest quarter"
    elif key == "worst_depletion_percent":
        text = f"worst depletion {new}{_NO_BREAK}% of TAW in place of {old}{_NO_BREAK}%"
    elif key == "recovery_days":
        text = f"{_recovered(d.value)} in place of {_recovered(d.reference, short=True)}"
    elif key == "deep_percolation_mm":
        text = f"{new}{_NO_BREAK}mm drained below the roots in place of {old}{_NO_BREAK}mm"
    elif key == "stuck_hours":
        text = f"held open by evaporation for {new}{_NO_BREAK}h in place of {old}{_NO_BREAK}h"
    else:
        text = f"pan dry for {new}{_NO_BREAK}h in place of {old}{_NO_BREAK}h"
    return text + (" [too close to call: the pan's uncertainty swamps it]" if d.verdict == "swamped" else "")


def _recovered(value: float, *, short: bool = False) -> str:
    if math.isinf(value):
        return "never in the season" if short else "not recovered by the season's end"
    if value == 0.0:
        return "at once" if short else "recovered at once after the wave"
    return count(round(value), "day") if short else f"recovered {count(round(value), 'day')} after the wave"


def _signed(share: float) -> str:
    return ("+" if share > 0.0 else "") + percent(share)
