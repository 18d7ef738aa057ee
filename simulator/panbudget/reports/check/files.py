"""
Check files: what `check` writes when it is given a folder.
"""

from __future__ import annotations

from panbudget.reports.check.figures import weather_figure, years_figure
from panbudget.reports.check.page import check_report, check_sentences
from panbudget.reports.writing import Verb
from panbudget.studies.check import Checked

VERB = Verb(
    "check",
    check_sentences,
    check_report,
    Checked.as_dict,
    figures=lambda checked: {
        "weather": lambda checked, **options: weather_figure(checked.weather, checked.season.days, **options),
        **({"years": lambda checked, **options: years_figure(checked.weather, **options)} if checked.years > 1 else {}),
    },
)
