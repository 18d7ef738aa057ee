"""
Command line: `setup`, a page a valve to print and take outside.
"""

from __future__ import annotations

from collections.abc import Iterator
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
    from panbudget.reports.season.files import setup_json, write_setup
    from panbudget.studies.setup import set_up

    plan = set_up(scenario, beds=bed, step=step)
    return Done(lambda folder: write_setup(plan, folder), lambda: setup_json(plan), lambda: _lines(plan))


def _lines(plan: Any) -> Iterator[str]:
    for name, sheet in plan.sheets.items():
        flows = ", ".join(f"{month.name} {month.refill}" for month in sheet.months)
        yield (
            f"{name}: fill to {sheet.freeboard_mm:.0f} mm below the rim; swing {sheet.swing_g:.0f} g; refill "
            f"{sheet.refill:.1f} mL/min, or by month for {sheet.bed}: {flows}."
        )
