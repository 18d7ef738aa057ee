"""
Command line: `check`, whether a garden is sound and its weather can be true.
"""

from __future__ import annotations

from typing import Any

from panbudget.cli.options import Done, SeasonYear, verb


@verb(
    "{out}/check.html",
    steps=1,
    out="Also make a page with a picture of the weather.",
    strict="Exit with 1 if a finding is a danger.",
)
def check(scenario: Any, season: SeasonYear = None, *, step: Any) -> Done:
    """
    Is the scenario sound, and what does its weather file hold?

    Example:  panbudget check my-garden/garden.toml
    """
    from panbudget.reports.check.page import check_lines
    from panbudget.studies.check import check as checked

    step("reading the weather")
    found = checked(scenario, season=season)
    danger = any(finding.severity == "danger" for finding in found.season.findings)
    return Done.of(found, totals=found.as_dict, show=lambda: check_lines(found), danger=danger)
