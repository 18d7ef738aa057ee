"""
Compare files: what `compare` writes.
"""

from __future__ import annotations

import math
from typing import Any

from panbudget.reports.compare.figures import COMPARE_FIGURES
from panbudget.reports.compare.page import compare_report
from panbudget.reports.compare.words import comparison_sentences
from panbudget.reports.writing import Verb
from panbudget.studies.compare import RULE, Comparison


def compare_totals(comparison: Comparison) -> dict[str, Any]:
    """Return what `compare.json` holds beside schema, title and provenance; a recovery that did not come is null."""
    values: dict[str, dict[str, dict[str, dict[str, float | None]]]] = {}
    place: Any
    for place, value in comparison.values["value"].items():
        span, name, where, key = place
        measures = values.setdefault(span, {}).setdefault(name, {}).setdefault(where, {})
        measures[key] = value if math.isfinite(value) else None
    differences = [
        {key: None if isinstance(value, float) and not math.isfinite(value) else value for key, value in row.items()}
        for row in comparison.differences.to_dict("records")
    ]
    return {
        "variants": list(comparison.names),
        "against": comparison.names[0],
        "season": _first(comparison).totals["season"],
        "window": {"start": comparison.start.isoformat(), "end": comparison.end.isoformat()},
        "wave": None if comparison.wave is None else comparison.wave.as_dict(),
        "definition": comparison.definition,
        "rule": RULE,
        "sentences": comparison_sentences(comparison),
        "values": values,
        "differences": differences,
        "findings": {
            name: [finding.as_dict() for finding in season.findings] for name, season in comparison.seasons.items()
        },
    }


def _first(comparison: Comparison) -> Any:
    return comparison.seasons[comparison.names[0]]


VERB = Verb(
    "compare",
    comparison_sentences,
    compare_report,
    compare_totals,
    tables={"compare.csv": Comparison.table},
    figures=lambda comparison: COMPARE_FIGURES,
    of=_first,
)
