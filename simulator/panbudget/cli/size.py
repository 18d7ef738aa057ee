"""
Command line: `size`, which pan, refill flow and swing would suit.
"""

from typing import Any

import panbudget
from panbudget.cli import Done, verb
from panbudget.words import and_more


@verb(steps=98)
def size(scenario: Any, controller: str | None = None, *, step: Any) -> Done:
    """
    Which pan, refill flow, swing and emitters would suit these beds, over all usable years and all that is uncertain?

    Example:  panbudget size scenarios/terraces.toml --out sizes
    """
    from panbudget.studies.size.sizing import FEW_YEARS

    result = panbudget.size(scenario, controller=controller, step=step)
    assumed = [*result.assumptions[: len(result.years) < FEW_YEARS]]
    assumed += [text + and_more(len(result.left_out) - 1, "year") for text in result.left_out[:1]]
    return Done(result, lambda: [*result.sentences(), *(f"assumed: {text}" for text in assumed)])
