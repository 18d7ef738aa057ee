"""
Extras: what is found by name when it is first used: optional packages, and what draws and writes a result.

A study's result stands below the room that draws it. It knows that room by name only, as pandas knows its plotting
backends, and nothing is imported before somebody asks for a picture or a folder.
"""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any, ClassVar

#: result -> (its command in `reports.folders.FILES_OF`, what writes it into an empty folder, what draws it); each
#: of them "module:function" below `panbudget.reports`, called with the result first
REPORTS: dict[str, tuple[str, str, str]] = {
    "Season": ("replay", "season.files:write_season", "season.figures:season_figure"),
}


def report_function(name: str) -> Any:
    """
    Return a function of `panbudget.reports`.

    Parameters
    ----------
    name : str
        "module:function", such as "season.files:write_season".
    """
    module, function = name.split(":")
    return getattr(importlib.import_module(f"panbudget.reports.{module}"), function)


class Reported:
    """A study's result: `plot` and `write` do what its command does, by the line that `REPORTS` has for it."""

    _report: ClassVar[str]

    def plot(self, **options: Any) -> Any:
        """
        Draw it; nothing is saved.

        Parameters
        ----------
        **options
            For the drawing function, such as ``axes`` to draw into.

        Returns
        -------
        list of matplotlib.axes.Axes
        """
        return report_function(REPORTS[self._report][2])(self, **options)

    def write(self, folder: str | Path, *, overwrite: bool = False) -> None:
        """
        Write tables, figures and page as its command does, whole or not at all.

        Parameters
        ----------
        folder : path
            Made if missing, with its parents.
        overwrite : bool
            Whether an earlier run of the same command may be replaced.

        Raises
        ------
        OutputError
            A folder that is not empty and not to be replaced, or can't be written.
        """
        command, writes, _ = REPORTS[self._report]
        with report_function("folders:new_folder")(Path(folder), command, overwrite=overwrite) as made:
            report_function(writes)(self, made)
