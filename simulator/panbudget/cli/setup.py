"""
Command line: `setup`, a page a valve to print and take outside.
"""

from __future__ import annotations

from typing import Annotated, Any

from panbudget.cli.options import Done, option, verb


@verb("{out}/setup.pdf and setup.html to print, with setup.csv and setup.json beside them.", steps=6)
def setup(
    scenario: Any,
    bed: Annotated[
        list[str] | None,
        option(
            "The bed that the refill calendar goes by; the neediest of its valve if left out.", metavar="CONTROLLER/BED"
        ),
    ] = None,
    *,
    step: Any,
) -> Done:
    """
    What do I set, and how do I check it with a jug, a scale and a ruler? One page a valve, to print and take outside.

    Example:  panbudget setup scenarios/terraces.toml --out terraces-setup
    """
    from panbudget.studies.setup import setup as set_up

    return Done.of(set_up(scenario, beds=bed, step=step))
