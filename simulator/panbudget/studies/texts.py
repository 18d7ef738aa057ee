"""
Texts: what is wrong, by code, as a study's `problems.toml` has it; values in braces come from the study.
"""

import functools
from collections.abc import Callable

from panbudget.errors import Problem
from panbudget.words import packaged


@functools.cache
def problems_of(study: str) -> Callable[..., Problem]:
    """
    Return what makes a study's problems.

    Parameters
    ----------
    study : str
        Name of its folder.

    Returns
    -------
    callable
        Takes the code (up to its point the problem's own), where, the value found, and values by name.
    """
    texts: dict[str, list[str]] = packaged(f"studies/{study}/problems.toml")

    def problem(code: str, where: str = "", value: object = None, **values: object) -> Problem:
        found, expected, cure = ([text.format(**values) for text in texts[code]] + ["", ""])[:3]
        return Problem(code.partition(".")[0], where, found, expected, cure, value)

    return problem
