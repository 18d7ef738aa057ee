"""
Extras: what stands outside the order of the rooms and is found by name, when it is used.

A result of a study draws and writes itself: ``result.plot()``, ``result.write("folder")``. Figures and pages stand in
`reports`, above every study; so `Reported` knows the name of that room and imports it when it is asked, as pandas
does with its plotting backends. A class takes part by naming its room::

    @dataclass(frozen=True)
    class Away(Reported):
        room = "away"       # a ClassVar: reports/away/files.py holds VERB, which says what is drawn and written
"""

import importlib
import importlib.util
import weakref
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import Any, ClassVar, TypeVar

from panbudget.errors import PanbudgetError, Problem

#: told what is being done, step by step
Step = Callable[[str], None]


def silent(text: str) -> None:
    """Say nothing of a step."""


Made = TypeVar("Made")
_MADE: weakref.WeakKeyDictionary[Any, dict[Any, Any]] = weakref.WeakKeyDictionary()


def made_once(owner: Any, key: Hashable, make: Callable[[], Made]) -> Made:
    """Return what is made of an owner under a key: once, and for as long as the owner is held."""
    made: dict[Hashable, Made] = _MADE.setdefault(owner, {})
    if key not in made:
        made[key] = make()
    return made[key]


def wants_extra(*packages: str, extra: str = "sweep") -> None:
    """
    Make sure that packages of one of our extras are installed.

    Raises
    ------
    PanbudgetError
        One line that says how to install them.
    """
    missing = [name for name in packages if importlib.util.find_spec(name) is None]
    if missing:
        found = f"this needs {' and '.join(missing)}, which is not installed"
        raise PanbudgetError(Problem("not-installed", "", found, cure=f"pip install 'panbudget[{extra}]'"))


def of_reports(module: str, name: str) -> Any:
    """Return something of the room `reports` by name, for a study that draws as it goes."""
    return getattr(importlib.import_module(f"panbudget.reports.{module}"), name)


class Reported:
    """A result that `reports` can put into sentences, figures and files."""

    room: ClassVar[str]
    scenario: Any

    def __repr__(self) -> str:
        return "\n".join([f'{type(self).__name__} of "{self.scenario.title}"', *map(str, self.sentences())])

    def write(self, folder: str | Path, *, overwrite: bool = False, figures: bool = False) -> None:
        """
        Write what the command of the same name writes: page, tables and totals.

        Parameters
        ----------
        folder : path
            Made if missing.
        overwrite : bool
            Whether an earlier run of the same command may be replaced.
        figures : bool
            Whether the page's figures stand beside it too, as PNG and SVG.

        Raises
        ------
        OutputError
            Not empty without ``overwrite``; holds something else; can't be written.
        """
        of_reports("writing", "write")(self, Path(folder), overwrite=overwrite, figures=figures)

    def plot(self, figure: str = "", **options: Any) -> list[Any]:
        """
        Draw one figure.

        Parameters
        ----------
        figure : str
            Its name, as its file is called; the first if left out.
        **options
            As the figure's function takes them, such as ``axes``.

        Returns
        -------
        list of matplotlib Axes

        Raises
        ------
        ValueError
            Unknown name; the message lists the known ones.
        """
        return list(of_reports("writing", "plot")(self, figure, **options))

    def sentences(self) -> list[str]:
        """Return what its page says first."""
        return list(of_reports("writing", "sentences")(self))
