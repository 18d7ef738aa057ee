"""
panbudget: a season of weather through an unpowered, evaporation-driven irrigation valve and the beds it waters.

Every verb of the command line is a function here, which takes a scenario or the path of its file::

    import panbudget as pb

    garden = pb.load_scenario("garden.toml")
    season = pb.replay(garden, start="2025-06-01")

Names are imported when first used, so that importing the package costs nothing; `__init__.pyi` lists them.
"""

import functools
import importlib


@functools.cache
def _home() -> dict[str, str]:
    """Name -> the module that gives it."""
    import ast

    with open(f"{__file__}i", encoding="utf-8") as listed:
        parts = [part for part in ast.parse(listed.read()).body if isinstance(part, ast.ImportFrom)]
    return {name.name: str(part.module) for part in parts for name in part.names}


def __getattr__(name: str) -> object:
    home = _home()
    if name == "__all__":
        return ["__version__", *home]
    if name == "__version__":
        from importlib.metadata import version

        return version("panbudget")
    if name not in home:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(home[name]), name)
