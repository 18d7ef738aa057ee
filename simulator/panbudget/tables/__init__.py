"""Tables: published figures as CSV files, each row with its source, and the one way to read them."""

from __future__ import annotations

import csv
import importlib.resources

__all__ = ["folded", "read_table"]


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
