"""
Command line: `setup`, a page a valve to print and take outside.
"""

from typing import Any

import panbudget
from panbudget.cli import Names, verb


@verb(steps=6)
def setup(scenario: Any, bed: Names = None, *, step: Any) -> Any:
    """
    What do I set, and how do I check it with a jug, a scale and a ruler? One page a valve, to print and take outside.

    Example:  panbudget setup scenarios/terraces.toml --out terraces-setup
    """
    return panbudget.setup(scenario, beds=bed, step=step)
