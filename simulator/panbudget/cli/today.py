"""
Command line: `today`, how a garden stands in the season that is running.
"""

import contextlib
import datetime as dt
import re
from collections.abc import Callable, Iterator
from typing import Any

import panbudget
from panbudget.cli import Day, Done, Names, dangerous, problem, typed_quantity, verb
from panbudget.errors import PanbudgetError


@verb()
def today(
    scenario: Any, day: Day = None, level: Names = None, opened: Names = None, sheet: bool = False, *, step: Any
) -> Done:
    """
    How are the beds now, when does each valve open next, what may come, and what is to be done?

    Example:  panbudget today my-garden/garden.toml --out my-garden/today --overwrite
    """
    levels = _by_valve(scenario, "--level", level, lambda text: typed_quantity("--level", text, "depth"))
    moments = _by_valve(scenario, "--opened", opened, _moment)
    result = panbudget.today(scenario, day=day, level=levels, opened=moments, sheet=sheet, step=step)
    return Done(result, lambda: _lines(result, sheet), dangerous(result.season.findings))


def _lines(result: Any, sheet: bool) -> Iterator[str]:
    yield from (*result.sentences(), *result.notes)
    if sheet:
        from panbudget.reports.today.sheet import sheet_lines

        yield from sheet_lines(result)


def _by_valve(scenario: Any, option: str, given: Names, read: Callable[[str], Any]) -> dict[str, Any]:
    """Take "NAME=…" apart; of a garden's only valve, the name may be left out."""
    names, values = list(scenario.controller), dict[str, Any]()
    for text in given or ():
        name, sign, typed = text.rpartition("=")
        value, name = read(typed.strip()), name.strip() if sign else names[0]
        if not sign and len(names) > 1:
            known = {"names": ", ".join(names), "example": f"{names[0]}={text}"}
            raise PanbudgetError(problem("no-valve", f'{option} "{text}"', **known))
        if name in values:
            raise PanbudgetError(problem("twice.valve", f'{option} "{text}"', name=name))
        values[name] = value
    return values


def _moment(text: str) -> dt.datetime:
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}[ T]\d{2}:\d{2}", text):
        with contextlib.suppress(ValueError):
            return dt.datetime.fromisoformat(text)
    raise PanbudgetError(problem("no-moment", f'--opened "{text}"'))
