"""
Command line: `compare`, which variant does better.
"""

from __future__ import annotations

from typing import Annotated, Any

import typer

from panbudget.cli.options import Done, day_option, option, verb
from panbudget.errors import PanbudgetError, Problem


@verb("{out}/compare.html, with compare.csv, compare.json and figures beside it.", variants=False)
def compare(
    scenario: Any,
    variant: Annotated[list[str] | None, option("A variant of the file; two to six of them.", metavar="NAME")] = None,
    with_base: Annotated[
        bool, typer.Option("--with-base", help="Put the garden as described first; it counts as one.")
    ] = False,
    around: Annotated[str | None, option("Look at the season's greatest heat wave.", metavar="heat")] = None,
    hot_above: Annotated[
        str | None, option('Tmax above which a day is hot, such as "35 degC".', metavar="TEMPERATURE")
    ] = None,
    start: Annotated[Any, day_option("--start", "First day to look at.")] = None,
    end: Annotated[Any, day_option("--end", "Last day to look at.")] = None,
    *,
    step: Any,
) -> Done:
    """
    Which of two to six variants does better, in a heat wave above all?

    Example:  panbudget compare scenarios/terraces.toml --with-base --variant wide-pan --around heat --out wide-or-not
    """
    if around not in (None, "heat"):
        raise PanbudgetError(Problem("no-choice", f'--around "{around}"', "is unknown", "heat"))
    limit = None if hot_above is None else _temperature(hot_above)
    from panbudget.studies.compare import compare as compared

    comparison = compared(
        scenario,
        list(variant or []),
        around_heat=around == "heat",
        hot_above=limit,
        start=start,
        end=end,
        with_base=with_base,
        step=step,
    )
    return Done.of(comparison, show=lambda: [*comparison.sentences(), *filter(None, [comparison.definition])])


def _temperature(text: str) -> float:
    from panbudget.units import UnitError, quantity

    try:
        return quantity(text, "temperature")
    except UnitError as error:
        raise PanbudgetError(error.problem.under(f'--hot-above "{text}"')) from None
