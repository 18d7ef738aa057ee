"""
Away files: what `away` writes.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from panbudget.reports.away.figures import room_figure
from panbudget.reports.away.page import away_report, away_sentences
from panbudget.reports.writing import Verb
from panbudget.studies.away import Away

if TYPE_CHECKING:
    from panbudget.studies.away import Stay


def away_totals(away: Away) -> dict[str, Any]:
    """Return what `away.json` holds beside schema, title and provenance."""
    return {
        "from": away.start.isoformat(),
        "to": away.end.isoformat(),
        "days": away.days,
        "safe": away.safe,
        "sentences": away_sentences(away),
        "worst": away.worst.start.year,
        "years": [_stay(stay) for stay in away.stays],
        "heat": _stay(away.heat),
        "changes": [asdict(change) for change in away.changes],
    }


def _stay(stay: Stay) -> dict[str, Any]:
    beds = {key: asdict(bed) for key, bed in stay.beds.items()}
    return {
        "start": stay.start.isoformat(),
        "end": stay.end.isoformat(),
        "made_heat": stay.made_heat or None,
        "safe": stay.safe,
        "beds": {
            key: {**bed, "first_short": bed["first_short"] and bed["first_short"].isoformat()}
            for key, bed in beds.items()
        },
        "controllers": {name: asdict(pan) for name, pan in stay.pans.items()},
    }


VERB = Verb(
    "away",
    away_sentences,
    away_report,
    away_totals,
    tables={"away.csv": Away.table},
    figures=lambda away: {"room": room_figure},
    of=lambda away: away.worst.season,
)
