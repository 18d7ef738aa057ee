"""
Command line: `check`, whether a garden is sound and its weather can be true.
"""

from typing import Any

import panbudget
from panbudget.cli import Done, dangerous, verb


@verb(steps=1)
def check(scenario: Any, season: int | None = None, everything: bool = False, *, step: Any) -> Done:
    """
    Is the scenario sound, and what does its weather file hold?

    Example:  panbudget check my-garden/garden.toml
    """
    step("reading the weather")
    result = panbudget.check(scenario, season=season)
    from panbudget.reports.check.page import check_lines

    return Done(result, lambda: check_lines(result, everything=everything), dangerous(result.season.findings))
