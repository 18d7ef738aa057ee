"""
Command line: `new`, a garden to start from.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from panbudget.cli.options import Overwrite, Quiet, app, say
from panbudget.errors import OutputError, Problem


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to make.", show_default=False)],
    overwrite: Overwrite = False,
    quiet: Quiet = False,
) -> None:
    """
    Start from nothing: a commented scenario and a small weather file that replay at once.

    Example:  panbudget new my-garden
    """
    import importlib.resources
    import json

    from panbudget.reports.folders import new_folder
    from panbudget.scenario.schema import schema

    templates = importlib.resources.files("panbudget") / "templates"
    contents = {name: (templates / name).read_bytes() for name in ("garden.toml", "weather.csv")}
    for name, content in contents.items():
        file = folder / name
        if file.is_file() and file.read_bytes() != content:
            found = f"holds a {name} that has been changed, and stays as it is"
            raise OutputError(Problem("changed", "", found, "", "choose another folder"), file=str(folder))
    with new_folder(folder, "new", overwrite=overwrite) as made:
        for name, content in contents.items():
            (made / name).write_bytes(content)
        text = json.dumps(schema(), indent=1, ensure_ascii=False) + "\n"
        (made / "garden.schema.json").write_text(text, encoding="utf-8")
    say(
        f"Made {folder}: garden.toml (describe your garden there) and weather.csv (invented, to try it); "
        "garden.schema.json lets an editor complete and check the garden.",
        quiet=quiet,
    )
    say(f"Try it:  panbudget replay {folder / 'garden.toml'} --out {folder / 'season'}", quiet=quiet)
