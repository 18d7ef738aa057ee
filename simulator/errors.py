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
    One thing wrong, in one line.

    Parameters
    ----------
    message : str
        What was found, what was expected and what to do, as one readable sentence or two.
    key : str, optional
        Key path in a scenario, or column or row of a weather file.
    value : object, optional
        The value found.
    """

    message: str
    key: str = ""
    value: object = None


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
        self.problems = tuple(p if isinstance(p, Problem) else Problem(p) for p in problems)
        self.file = file
        super().__init__(self.text())

    @property
    def key(self) -> str:
        """Key path, column or row of the first problem."""
        return self.problems[0].key if self.problems else ""

    @property
    def value(self) -> object:
        """Value of the first problem."""
        return self.problems[0].value if self.problems else None

    def text(self) -> str:
        """Return the message: one line a problem, each opening with the file's name."""
        where = f"{self.file}: " if self.file else ""
        # what is quoted from a broken file may hold line ends of its own
        return "\n".join(where + " ".join(problem.message.splitlines()) for problem in self.problems)


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
