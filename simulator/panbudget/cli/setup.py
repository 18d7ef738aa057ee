"""
Command line: `setup`, a page a valve to print and take outside.
"""

from typing import Any, cast, get_args

import panbudget
from panbudget.cli import Names, one_of, verb
from panbudget.words import PaperSize


@verb(steps=6)
def setup(scenario: Any, bed: Names = None, paper: str | None = None, *, step: Any) -> Any:
    """
    What do I set, and how do I check it with a jug, a scale and a ruler? One page a valve, to print and take outside.

    Example:  panbudget setup scenarios/terraces.toml --out terraces-setup
    """
    one_of("--paper", paper, get_args(PaperSize))
    return panbudget.setup(scenario, beds=bed, paper=cast(Any, paper), step=step)
