"""
Command line: `compare`, which variant does better.
"""

from typing import Any

import panbudget
from panbudget.cli import Day, Done, Names, one_of, typed_quantity, verb


@verb()
def compare(
    scenario: Any,
    variant: Names = None,
    with_base: bool = False,
    over: Names = None,
    around: str | None = None,
    hot_above: str | None = None,
    start: Day = None,
    end: Day = None,
    *,
    step: Any,
) -> Done:
    """
    Which of two to six variants does better, in a heat wave above all?

    Example:  panbudget compare scenarios/terraces.toml --with-base --variant wide-pan --around heat --out wide-or-not
    """
    one_of("--around", around, ["heat"])
    options: dict[str, Any] = {"start": start, "end": end, "with_base": with_base, "around_heat": around == "heat"}
    limit = None if hot_above is None else typed_quantity("--hot-above", hot_above, "temperature")
    result = panbudget.compare(scenario.with_variants(over or ()), variant or [], hot_above=limit, step=step, **options)
    return Done(result, lambda: [*result.sentences(), *filter(None, [result.definition])])
