"""
Command line: `faults`, what could go wrong.
"""

from typing import Any

import panbudget
from panbudget.cli import Day, verb


@verb()
def faults(scenario: Any, start: Day = None, *, step: Any) -> Any:
    """
    What could go wrong, what would it do, how would I notice, and what is the cure? The usual faults, one by one.

    Example:  panbudget faults scenarios/terraces.toml --out faults-terraces
    """
    return panbudget.faults(scenario, start=start, step=step)
