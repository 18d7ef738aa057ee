"""
Command line: `size`, which pan, refill flow and swing would suit.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any

from panbudget.cli.options import Done, option, verb

if TYPE_CHECKING:
    from panbudget.studies.size.choose import Sizing


@verb("{out}/size.html, with the table, figures and size.json beside it.", steps=98)
def size(
    scenario: Any,
    controller: Annotated[str | None, option("Only this valve.", metavar="NAME")] = None,
    *,
    step: Any,
) -> Done:
    """
    Which pan, refill flow and swing would suit these beds, over all the years of the weather file?

    Example:  panbudget size scenarios/terraces.toml --out sizes
    """
    from panbudget.studies.size.choose import size as sized

    step("reading the weather")
    found = sized(scenario, controller=controller, step=step)
    return Done.of(found, show=lambda: _lines(found))


def _lines(found: Sizing) -> Iterator[str]:
    yield from found.sentences()
    if len(found.years) < 10:
        yield from (f"assumed: {text}" for text in found.assumptions[:1])
