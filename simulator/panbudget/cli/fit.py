"""
Command line: `fit`, a scenario tuned to a field log.
"""

from pathlib import Path
from typing import Any

import panbudget
from panbudget.cli import Names, verb


@verb()
def fit(scenario: Any, log: Path, hold: Names = None, interval: float | None = None, *, step: Any) -> Any:
    """
    My valve opened so often, my ruler and my meter read this: tune the model to my pan.

    Example:  panbudget fit my-garden/garden.toml my-garden/log.csv --out my-garden/fit
    """
    step("reading the log")
    return panbudget.fit(scenario, log, interval=interval, hold=hold or (), step=step)
