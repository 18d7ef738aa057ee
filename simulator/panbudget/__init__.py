"""
panbudget: a season of weather through an unpowered, evaporation-driven irrigation valve and the beds it waters.

Every verb of the command line is a function here, which takes a scenario or the path of its file::

    import panbudget as pb

    garden = pb.load_scenario("garden.toml")
    season = pb.replay(garden, start="2025-06-01")

Names are imported when first used, so that importing the package costs nothing; `__init__.pyi` lists them.
"""

import ast
import importlib
import importlib.metadata
from pathlib import Path
from typing import Any

_LIST = ast.parse(Path(__file__).with_suffix(".pyi").read_text(encoding="utf-8"))
#: name -> the module that gives it
_HOME = {name.name: str(part.module) for part in _LIST.body if isinstance(part, ast.ImportFrom) for name in part.names}
__all__ = ["__version__", *_HOME]


def __getattr__(name: str) -> Any:
    if name == "__version__":
        return importlib.metadata.version("panbudget")
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_HOME[name]), name)
