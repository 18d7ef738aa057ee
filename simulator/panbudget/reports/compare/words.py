"""
Difference words: a comparison as sentences, what can't be told apart said as such.
"""

from __future__ import annotations

import math
import re
from typing import Any

import pandas as pd

from panbudget.studies.compare import Comparison, measure_of
from panbudget.words import count, days_said, number, percent

_OF_VALVE = ("openings", "litres", "stuck_hours", "dry_hours")
_OF_BED = ("irrigation_mm", "stress_days", "worst_depletion_percent", "recovery_days", "deep_percolation_mm")
#: measure -> what a sentence says of it; a count, or a value beside the one that it replaces
_PARTS = {
    "openings": "{times} in place of {old}",
    "litres": "{new} L in place of {old} L{share}",
    "irrigation_mm": "{new} mm in place of {old} mm{share}",
    "stress_days": "{days} short of water in place of {old} in its driest quarter",
    "worst_depletion_percent": "worst depletion {new} % of TAW in place of {old} %",
    "recovery_days": "{recovered} in place of {recovered_before}",
    "deep_percolation_mm": "{new} mm drained below the roots in place of {old} mm",
    "stuck_hours": "held open by evaporation for {new} h in place of {old} h",
    "dry_hours": "pan dry for {new} h in place of {old} h",
}


def figure_of(where: str, key: str, value: float) -> str:
    """Write a measure's value with as many decimals as it is worth; "not by the season's end" for no recovery."""
    return "not by the season's end" if math.isinf(value) else number(value, measure_of(where, key).decimals)


def differs(difference: Any) -> bool:
    """Tell whether two values, a row of `Comparison.differences`, differ in what is printed of them."""
    shown = {figure_of(difference.where, difference.measure, v) for v in (difference.value, difference.reference)}
    return difference.verdict != "none" and len(shown) == 2


def span_said(comparison: Comparison, span: str) -> str:
    """Name the days of a span."""
    totals = comparison.seasons[comparison.names[0]].totals["season"]
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
    span, wave = comparison.spans[0], comparison.wave
    sentences = [_overall(comparison, span)]
    if wave is not None:
        kind = "made-up heat wave" if wave.made else "heat wave"
        peak = f"Tmax up to {number(wave.peak_c, 1)} °C"
        sentences.insert(0, f"The {kind} of {days_said(wave.start, wave.end)}: {count(wave.days, 'day')}, {peak}.")
    table = comparison.differences
    for name in comparison.names[1:]:
        sentences += _of_variant(name, table[(table["span"] == span) & (table["variant"] == name)])
    return sentences


def _of_variant(name: str, differences: pd.DataFrame) -> list[str]:
    sentences, same = [], []
    for where, rows in differences.groupby("where", sort=False):
        shown = [d for d in rows.itertuples() if d.measure in (_OF_BED if "/" in str(where) else _OF_VALVE)]
        parts = [_part(d) for d in shown if differs(d)]
        if parts:
            sentences.append(f"{name}, {where}: " + "; ".join(parts) + ".")
        else:
            same.append(str(where))
    if same:
        what = ", ".join(same) if sentences else "anything compared here"
        sentences.append(f"{name} makes no difference to {what}.")
    return sentences


def _overall(comparison: Comparison, span: str) -> str:
    parts = []
    for name, season in comparison.seasons.items():
        stress = sum(comparison.value(span, name, bed, "stress_days") or 0.0 for bed in season.beds)
        water = sum(comparison.value(span, name, valve, "litres") or 0.0 for valve in season.controllers)
        parts.append(f"{name}: {count(round(stress), 'day')} short of water, {number(water)}\u00a0L")
    beds = count(len(comparison.beds), "bed")
    said = span_said(comparison, span)
    return f"Over {said}, with the driest quarters of {beds} added up and all the water: {'; '.join(parts)}."


def _part(d: Any) -> str:
    share = d.value / d.reference - 1.0 if d.reference > 0.0 else 0.0
    text = _PARTS[d.measure].format(
        new=figure_of(d.where, d.measure, d.value),
        old=figure_of(d.where, d.measure, d.reference),
        times=_times(d.value, "opening"),
        days=_times(d.value, "day"),
        share=f" ({'+' if share > 0.0 else ''}{percent(share)})" if d.reference > 0.0 else "",
        recovered=_recovered(d.value),
        recovered_before=_recovered(d.reference, short=True),
    )
    unsure = " [too close to call: the pan's uncertainty swamps it]" if d.verdict == "swamped" else ""
    return re.sub(r"(?<=\d) (?=(?:L|mm|%|h)\b|%)", "\u00a0", text) + unsure


def _times(value: float, noun: str) -> str:
    return count(round(value), noun) if math.isfinite(value) else ""


def _recovered(value: float, *, short: bool = False) -> str:
    if math.isinf(value):
        return "never in the season" if short else "not recovered by the season's end"
    if value == 0.0:
        return "at once" if short else "recovered at once after the wave"
    return _times(value, "day") if short else f"recovered {_times(value, 'day')} after the wave"
