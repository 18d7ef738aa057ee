"""Tables: published figures as CSV files, each row with its source, and the one way to read them and look names up."""

import csv
import difflib
import importlib.resources
from collections.abc import Iterable, Mapping
from typing import TypeVar

from panbudget.errors import Problem, did_you_mean

# a table of so many names is listed even beside a near one
_FEW = 12

Row = TypeVar("Row")


class UnknownName(ValueError):
    """A name that a table does not have: ``meant`` has the near one or those known, ``problem`` what else can be given too."""

    def __init__(self, problem: Problem, meant: str) -> None:
        self.problem, self.meant = problem, meant
        super().__init__(problem.sentence())


def read_table(name: str) -> list[dict[str, str]]:
    """
    Read one of the tables.

    Parameters
    ----------
    name : str
        File name without ``.csv``.

    Returns
    -------
    list of dict
        One a row, as text; the last column is always ``source``.
    """
    path = importlib.resources.files("panbudget.tables") / f"{name}.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def folded(name: str) -> str:
    """
    Bring a name to the form in which names are compared: case, hyphens and spaces don't matter.

    Examples
    --------
    >>> folded(" Sandy-Loam ")
    'sandy loam'
    """
    return " ".join(name.casefold().replace("-", " ").replace("_", " ").split())


def look_up(kind: str, name: str, table: Mapping[str, Row], *, known: Iterable[str], instead: str) -> Row:
    """
    Look a name up in a table; case, hyphens and spaces don't matter.

    Parameters
    ----------
    kind : str
        What the table has, for the message: "plant".
    name : str
    table : mapping
        Folded names -> rows.
    known : iterable of str
        The names to list in the message.
    instead : str
        What else can be given, an imperative.

    Raises
    ------
    UnknownName
    """
    wanted = folded(name)
    if wanted in table:
        return table[wanted]
    near, names = difflib.get_close_matches(wanted, table, n=1), list(known)
    raise UnknownName(
        Problem(
            f"unknown-{kind.split()[0]}",
            found=f'unknown {kind} "{name}"',
            expected=f"one of {', '.join(names)}" if not near or len(names) <= _FEW else "",
            cure=(f'did you mean "{near[0]}"? Or ' if near else "or ") + instead,
            value=name,
        ),
        did_you_mean(wanted, near, f"known are {', '.join(names)}"),
    )
