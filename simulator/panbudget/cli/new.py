"""
Command line: `new`, a garden to start from.
"""

from pathlib import Path

from panbudget.cli import command, say
from panbudget.errors import OutputError, Problem


@command
def new(folder: Path, overwrite: bool = False, quiet: bool = False) -> None:
    """
    Start from nothing: a commented scenario and a small weather file that replay at once.

    Example:  panbudget new my-garden
    """
    import importlib.resources

    from panbudget.files import json_bytes
    from panbudget.reports.folders import new_folder
    from panbudget.scenario.schema import schema

    templates = importlib.resources.files("panbudget") / "templates"
    contents = {name: (templates / name).read_bytes() for name in ("garden.toml", "weather.csv")}
    for name, content in contents.items():
        file = folder / name
        if file.is_file() and file.read_bytes() != content:
            found = f"holds a {name} that has been changed, and stays as it is"
            raise OutputError(Problem("changed", "", found, "", "choose another folder"), file=str(folder))
    contents["garden.schema.json"] = json_bytes(schema())
    with new_folder(folder, "new", overwrite=overwrite) as made:
        for name, content in contents.items():
            (made / name).write_bytes(content)
    about = "garden.toml (describe your garden there) and weather.csv (invented, to try it)"
    say(f"Made {folder}: {about}; garden.schema.json lets an editor complete and check the garden.", quiet=quiet)
    say(f"Try it:  panbudget replay {folder / 'garden.toml'} --out {folder / 'season'}", quiet=quiet)
