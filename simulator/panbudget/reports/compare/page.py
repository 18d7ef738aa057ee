"""
Compare page: variants side by side as one page that stands by itself and prints on A4.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from panbudget.reports.compare.words import comparison_sentences, differs, figure_of, span_said
from panbudget.reports.pages import Table, listed_findings, placed_figure, provenance_table, render
from panbudget.reports.texts import CAUTIONS, METHOD
from panbudget.studies.compare import AS_DESCRIBED, BED_MEASURES, RULE, VALVE_MEASURES, Difference
from panbudget.words import count, number

if TYPE_CHECKING:
    from panbudget.studies.compare import Comparison

__all__ = ["compare_html"]


def compare_html(comparison: Comparison, figures: Mapping[str, str], provenance: Mapping[str, Any]) -> str:
    """
    Write a comparison's page: differences in words, figures, tables.

    Parameters
    ----------
    comparison : Comparison
    figures : mapping
        Name -> SVG element, as `canvas.svg_text` makes it.
    provenance : mapping
        As `output.provenance` gives it.

    Returns
    -------
    str
    """
    scenario = comparison.scenario
    seasons = list(comparison.seasons.values())
    assumed = dict.fromkeys(text for season in seasons for text in season.assumptions)
    return render(
        "compare.html.j2",
        title=scenario.title,
        count=count(len(comparison.names), "variant"),
        when=f"{', '.join(comparison.names)}; {span_said(comparison, comparison.spans[0])}",
        note=scenario.note,
        sentences=comparison_sentences(comparison),
        definition=comparison.definition,
        rule=RULE,
        figures=[placed_figure(f"compare-{name}", svg) for name, svg in figures.items()],
        tables=[_span(comparison, span) for span in comparison.spans],
        changes=_changes(comparison),
        findings=[(name, _own_findings(comparison, name)) for name in comparison.names],
        assumptions=list(assumed),
        method=METHOD,
        cautions=CAUTIONS,
        provenance=provenance_table(provenance),
    )


def _own_findings(comparison: Comparison, name: str) -> list[dict[str, str]]:
    return listed_findings(f for f in comparison.seasons[name].findings if f.severity != "note")


def _span(comparison: Comparison, span: str) -> dict[str, Any]:
    heading = "The days looked at" if span == "window" else "The whole season"
    return {
        "heading": heading,
        "said": (
            f"Over {span_said(comparison, span)}. Beside each figure, its difference from {comparison.names[0]}; "
            "“≈” marks one that the pan's uncertainty swamps."
        ),
        "parts": [_valves(comparison, span), _beds(comparison, span)],
    }


def _by_key(comparison: Comparison) -> dict[tuple[str, str, str, str], Difference]:
    return {(d.span, d.variant, d.where, d.measure.key): d for d in comparison.differences}


def _valves(comparison: Comparison, span: str) -> Table:
    return _table(comparison, span, comparison.controllers, valves=True)


def _beds(comparison: Comparison, span: str) -> Table:
    return _table(comparison, span, comparison.beds, valves=False)


def _table(comparison: Comparison, span: str, wheres: list[str], *, valves: bool) -> Table:
    known = _by_key(comparison)
    rows: list[tuple[str, ...]] = []
    for where in wheres:
        for place, measure in enumerate(VALVE_MEASURES if valves else BED_MEASURES):
            keys = [(span, name, where, measure.key) for name in comparison.names]
            if not any(key in comparison.values for key in keys):
                continue  # no recovery without a wave
            label = f"{measure.label} [{measure.unit}]" if measure.unit else measure.label
            base = comparison.values.get(keys[0])
            row = [where if place == 0 else "", label, "–" if base is None else figure_of(measure, base)]
            for name in comparison.names[1:]:
                d = known.get((span, name, where, measure.key))
                alone = comparison.values.get((span, name, where, measure.key))
                row.append(_cell(d) if d is not None else "–" if alone is None else figure_of(measure, alone))
            rows.append(tuple(row))
    first = "valve" if valves else "bed"
    return Table((first, "", *comparison.names), tuple(rows), names=2)


def _cell(d: Difference) -> str:
    shown = figure_of(d.measure, d.value)
    if not differs(d):
        return f"{shown} (=)"
    if d.difference in (float("inf"), float("-inf")):
        return shown + (" ≈" if d.verdict == "swamped" else "")
    sign = "+" if d.difference > 0.0 else ""
    text = f"{shown} ({sign}{number(d.difference, d.measure.decimals)})"
    return text + (" ≈" if d.verdict == "swamped" else "")


def _changes(comparison: Comparison) -> Table:
    rows = []
    for name in comparison.names:
        if name == AS_DESCRIBED:
            rows.append((name, "nothing", ""))
            continue
        for place, (path, value) in enumerate(_leaves(comparison.scenario.variant[name], "")):
            rows.append((name if place == 0 else "", path, value))
    return Table(("variant", "key", "value"), tuple(rows), names=3)


def _leaves(part: Mapping[str, Any], at: str) -> Iterator[tuple[str, str]]:
    for key, value in part.items():
        path = f"{at}.{key}".lstrip(".")
        if isinstance(value, Mapping):
            yield from _leaves(value, path)
        else:
            yield path, _toml(value)


def _toml(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_toml(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(inner) for inner in value) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)
