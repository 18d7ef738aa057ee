"""
Setup files: what `setup` writes.
"""

from __future__ import annotations

import calendar
from dataclasses import asdict
from typing import Any

from panbudget.reports.setup.page import setup_report
from panbudget.reports.setup.pdf import setup_pdf
from panbudget.reports.writing import Verb
from panbudget.studies.setup import SetUp, ValveSheet


def setup_sentences(plan: SetUp) -> list[str]:
    """Say, valve by valve, what to set."""
    return [
        f"{name}: fill to {sheet.freeboard_mm:.0f} mm below the rim; swing {sheet.swing_g:.0f} g; refill "
        f"{sheet.refill:.1f} mL/min, or by month for {sheet.bed}: "
        + ", ".join(
            f"{calendar.month_name[int(month)]} {refill}"
            for month, refill in zip(sheet.months["month"], sheet.months["refill"], strict=True)
        )
        + "."
        for name, sheet in plan.sheets.items()
    ]


def setup_totals(plan: SetUp) -> dict[str, Any]:
    """Return what `setup.json` holds beside schema, title and provenance."""
    return {
        "years": list(plan.years),
        "controllers": {name: _valve(sheet) for name, sheet in plan.sheets.items()},
        "assumptions": list(plan.assumptions),
    }


def _valve(sheet: ValveSheet) -> dict[str, Any]:
    months = sheet.months.astype({"minutes": object})
    months["minutes"] = months["minutes"].where(sheet.months["minutes"].notna(), None)
    return {
        **{key: value for key, value in vars(sheet).items() if key != "name"},
        "refill_ml_min": sheet.refill,
        "vessels": [text for text, _ in sheet.vessels],
        "emitters": {bed: {"count": count, "ml_min": flow} for bed, (count, flow) in sheet.emitters.items()},
        "months": months.to_dict("records"),
        "gains": [asdict(gain) for gain in sheet.gains],
    }


VERB = Verb(
    "setup",
    setup_sentences,
    lambda plan, figures: setup_report(plan),
    setup_totals,
    tables={"setup.csv": SetUp.table},
    files={"setup.pdf": lambda plan: setup_pdf(setup_report(plan))},
    of=lambda plan: plan.seasons[0],
)
