"""
Command line: `fit`, a scenario tuned to a field log.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from panbudget.cli.options import Done, option, verb
from panbudget.errors import PanbudgetError, Problem


@verb("{out}/fit.html, and {out}/fitted.toml to replay with: --variant {out}/fitted.toml")
def fit(
    scenario: Any,
    log: Annotated[Path, typer.Argument(metavar="LOG.csv", help="A field log.", show_default=False)],
    hold: Annotated[
        list[str] | None, option("Keep refill or swing as described, whatever the log says.", metavar="NAME")
    ] = None,
    interval: Annotated[
        float | None, option("Share of intervals that hold the truth; the table statement says.", min=0.5, max=0.99)
    ] = None,
    *,
    step: Any,
) -> Done:
    """
    My valve opened so often, my ruler and my meter read this: tune the model to my pan.

    Example:  panbudget fit my-garden/garden.toml my-garden/log.csv --out my-garden/fit
    """
    for name in hold or []:
        if name not in ("refill", "swing"):
            raise PanbudgetError(Problem("no-choice", f'--hold "{name}"', "is unknown", "refill or swing"))
    from panbudget.studies.fit.estimate import fit as fitted

    step("reading the log")
    return Done.of(fitted(scenario, log, interval=interval, hold=hold or (), step=step))
