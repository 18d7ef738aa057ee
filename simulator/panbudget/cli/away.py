"""
Command line: `away`, whether a garden may be left alone.
"""

import datetime as dt
from typing import Any

import panbudget
from panbudget.cli import Done, verb


@verb()
def away(scenario: Any, start: dt.date, end: dt.date, *, step: Any) -> Done:
    """
    May the garden be left alone from this date to that? Every year of the record, and a made-up heat wave.

    Example:  panbudget away scenarios/terraces.toml --from 2025-07-01 --to 2025-07-21
    """
    result = panbudget.away(scenario, start, end, step=step)
    return Done(result, danger=not result.safe)
