"""
Command line: `fit`, a scenario tuned to a field log.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import panbudget
from panbudget.cli.options import Names, verb
from panbudget.errors import PanbudgetError, Problem


@verb()
def fit(scenario: Any, log: Path, hold: Names = None, interval: float | None = None, *, step: Any) -> Any:
    """
    My valve opened so often, my ruler and my meter read this: tune the model to my pan.

    Example:  panbudget fit my-garden/garden.toml my-garden/log.csv --out my-garden/fit
    """
    for name in hold or []:
        if name not in ("refill", "swing"):
            raise PanbudgetError(Problem("no-choice", f'--hold "{name}"', "is unknown", "refill or swing"))
    step("reading the log")
    return panbudget.fit(scenario, log, interval=interval, hold=hold or (), step=step)
