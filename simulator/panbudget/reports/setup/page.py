"""
Setup page: one printed page a valve, to take outside; as HTML.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from panbudget.reports.pages import Table, render
from panbudget.reports.setup.pan_drawing import as_svg, pan_drawing
from panbudget.reports.setup.words import CAUTIONS_SHORT, made_from, sheet_words

if TYPE_CHECKING:
    from panbudget.studies.setup import SetUp

__all__ = ["setup_html"]


def setup_html(plan: SetUp, provenance: Mapping[str, Any]) -> str:
    """
    Write the setup pages, one a valve.

    Parameters
    ----------
    plan : SetUp
    provenance : mapping
        As `output.provenance` gives it.

    Returns
    -------
    str
    """
    sheets = []
    for sheet in plan.sheets.values():
        words = sheet_words(plan, sheet)
        sheets.append(
            {
                "words": words,
                "drawing": Markup(as_svg(pan_drawing(sheet))),  # ours; its text is escaped there
                "alt": f"The pan of {sheet.name} from the side with rim, reset and trip, and the levels in true size.",
                "months": Table(words.headings, words.rows),
                "gains": Table(words.gain_headings, words.gain_rows),
            }
        )
    return render(
        "setup.html.j2",
        title=f"{plan.scenario.title}: set up",
        note=plan.scenario.note,
        sheets=sheets,
        assumptions=plan.assumptions,
        cautions=CAUTIONS_SHORT,
        made_from=made_from(provenance),
    )
