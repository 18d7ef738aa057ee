"""
Command line: `away`, whether a garden may be left alone.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any

from panbudget.cli.options import Done, day_option, verb


@verb(
    "{out}/away.html, with away.csv, away.json and a figure beside it.",
    out="Also make a page, tables and a figure.",
    strict="Exit with 1 if it is not safe.",
)
def away(
    scenario: Any,
    start: Annotated[dt.date, day_option("--from", "First day away.")],
    end: Annotated[dt.date, day_option("--to", "Last day away.")],
    *,
    step: Any,
) -> Done:
    """
    May the garden be left alone from this date to that? Every year of the record, and a made-up heat wave.

    Example:  panbudget away scenarios/terraces.toml --from 2025-07-01 --to 2025-07-21
    """
    from panbudget.studies.away import away as left_alone

    found = left_alone(scenario, start, end, step=step)
    return Done.of(found, danger=not found.safe)
