"""
Errors meant for a person: where, what was found, what was expected, what to do.

One base class, a few children that a caller may want to tell apart. The command line prints the message
and exits 2; a traceback is for our own bugs only.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "ClosureError",
    "OutputError",
    "PanbudgetError",
    "Problem",
    "ReadingsError",
    "ScenarioError",
    "WeatherError",
]


@dataclass(frozen=True)
class Problem:
    """
    One thing wrong, as data; `sentence` makes the line that a person reads.

    Parameters
    ----------
    code : str
        Short and stable, for scripts, such as "out-of-record".
    where : str
        Key path in a scenario, or column or row of a file; the sentence opens with it.
    found : str
        What is the matter there, a predicate: ``'= "2 kPa" is a pressure'``.
    expected : str
        What would be right, a noun: ``'a flow, such as "2 L/h"'``.
    cure : str
        What to do, an imperative; must work as it is pasted.
    value : object
        The value found, for callers.
    """

    code: str
    where: str = ""
    found: str = ""
    expected: str = ""
    cure: str = ""
    value: object = None

    def sentence(self) -> str:
        """Return the line that a person reads: where, what was found, what was expected, what to do."""
        parts = [f"{self.where} {self.found}".strip()]
        if self.expected:
            parts.append(f"expected: {self.expected}")
        # what is quoted from a broken file may hold line ends of its own
        return " ".join("; ".join([*parts, *filter(None, [self.cure])]).splitlines())

    @classmethod
    def of_text(cls, message: str, key: str = "", value: object = None) -> Problem:
        """Make one of a whole sentence: for code that still writes its sentences itself, and to go with it."""
        return _Told("", key, message, value=value)


class _Told(Problem):
    def sentence(self) -> str:
        return " ".join(self.found.splitlines())


class PanbudgetError(Exception):
    """
    Base of every error that a user can cure.

    Parameters
    ----------
    *problems : Problem or str
        All that is wrong, collected: five mistakes in one file are one error with five lines.
    file : str, optional
        The file in which they stand, as the user named it.
    """

    def __init__(self, *problems: Problem | str, file: str = "") -> None:
        self.problems = tuple(p if isinstance(p, Problem) else Problem.of_text(p) for p in problems)
        self.file = file
        super().__init__(self.text())

    @property
    def key(self) -> str:
        """Key path, column or row of the first problem."""
        return self.problems[0].where if self.problems else ""

    @property
    def value(self) -> object:
        """Value of the first problem."""
        return self.problems[0].value if self.problems else None

    def text(self) -> str:
        """Return the message: one line a problem, each opening with the file's name."""
        where = f"{self.file}: " if self.file else ""
        return "\n".join(where + problem.sentence() for problem in self.problems)


class ScenarioError(PanbudgetError):
    """A scenario file that can't be read, or says something impossible."""


class WeatherError(PanbudgetError):
    """A weather file that can't be read, or can't be true."""


class ReadingsError(PanbudgetError):
    """A file of meter readings that can't be read, or can't be true."""


class OutputError(PanbudgetError):
    """A folder that can't be written."""


class ClosureError(PanbudgetError):
    """A water balance that does not close: a bug of ours, never hidden."""
