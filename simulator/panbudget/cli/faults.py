"""
Command line: `faults`, what could go wrong.
"""

from __future__ import annotations

from typing import Annotated, Any

from panbudget.cli.options import Done, day_option, verb


@verb("{out}/faults.html, with faults.csv, faults.json and a figure beside it.")
def faults(
    scenario: Any,
    start: Annotated[Any, day_option("--from", "First day of the usual faults; a third into the season.")] = None,
    *,
    step: Any,
) -> Done:
    """
    What could go wrong, what would it do, how would I notice, and what is the cure? The usual faults, one by one.

    Example:  panbudget faults scenarios/terraces.toml --out faults-terraces
    """
    from panbudget.studies.faults import faults as tried

    return Done.of(tried(scenario, start=start, step=step))
