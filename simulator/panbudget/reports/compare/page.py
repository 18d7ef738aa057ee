"""
Compare page: variants side by side as one page that stands by itself and prints on A4.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Mapping
from typing import Any

from panbudget.reports.compare.words import differs, figure_of, span_said
from panbudget.reports.pages import Report, Section, section
from panbudget.studies.compare import AS_DESCRIBED, BED_MEASURES, RULE, VALVE_MEASURES, Comparison, measure_of
from panbudget.words import count, signed

_section = functools.partial(section, "compare")


def compare_report(comparison: Comparison, figures: Mapping[str, str]) -> Report:
    """
    Say what a comparison's page says: differences in words, figures, tables.

    Parameters
    ----------
    comparison : Comparison
    figures : mapping
        Name -> SVG element.

    Returns
    -------
    Report
    """
    tables = [part for span in comparison.spans for part in _span(comparison, span)]
    assumed = dict.fromkeys(text for season in comparison.seasons.values() for text in season.assumptions)
    return Report(
        title=f"{comparison.scenario.title}: {count(len(comparison.names), 'variant')} compared",
        when=f"{', '.join(comparison.names)}; {span_said(comparison, comparison.spans[0])}",
        lead=[comparison.definition, RULE],
        sections=[
            _section("figures", figures=figures),
            *tables,
            _section("changes", table=_changes(comparison)),
            _section("findings"),
            *(
                Section(subheading=name, findings=[f for f in season.findings if f.severity != "note"])
                for name, season in comparison.seasons.items()
            ),
        ],
        assumptions=list(assumed),
    )


def _span(comparison: Comparison, span: str) -> Iterator[Section]:
    note = (
        f"Over {span_said(comparison, span)}. Beside each figure, its difference from {comparison.names[0]}; "
        "“≈” marks one that the pan's uncertainty swamps."
    )
    yield _section(span, note=note)
    for heading, places, measures in (
        ("valve", comparison.controllers, VALVE_MEASURES),
        ("bed", comparison.beds, BED_MEASURES),
    ):
        rows = [
            {heading: where, "": _label(where, key), **row}
            for where in places
            for key in measures
            if (row := _row(comparison, span, where, key))
        ]
        yield _section("values", table=rows)


def _label(where: str, key: str) -> str:
    measure = measure_of(where, key)
    return f"{measure.label} [{measure.unit}]" if measure.unit else measure.label


def _row(comparison: Comparison, span: str, where: str, key: str) -> dict[str, str]:
    """Each variant's value, with its difference from the first; nothing where there is no recovery to speak of."""
    values = {name: comparison.value(span, name, where, key) for name in comparison.names}
    if all(value is None for value in values.values()):
        return {}
    row = {name: "–" if value is None else figure_of(where, key, value) for name, value in values.items()}
    table = comparison.differences
    d: Any
    for d in table[(table["span"] == span) & (table["where"] == where) & (table["measure"] == key)].itertuples():
        swamped = " ≈" if d.verdict == "swamped" else ""
        if not differs(d):
            row[d.variant] += " (=)"
        elif math.isinf(d.difference):
            row[d.variant] += swamped
        else:
            row[d.variant] += f" ({signed(d.difference, measure_of(where, key).decimals)}){swamped}"
    return row


def _changes(comparison: Comparison) -> Iterator[dict[str, Any]]:
    for name in comparison.names:
        if name == AS_DESCRIBED:
            yield {"variant": name, "key": "nothing", "value": ""}
        else:
            for path, value in _leaves(comparison.scenario.variant[name], ""):
                yield {"variant": name, "key": path, "value": value}


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
