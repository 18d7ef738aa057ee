"""Season: a scenario and weather laid out as arrays, and what came out."""

from pathlib import Path
from typing import Any

from panbudget.files import read_toml
from panbudget.words import problems_from

#: what the TOML files beside the modules hold, by their names: sentences, and names of columns
TEXTS: dict[str, dict[str, Any]] = {path.stem: read_toml(path)[0] for path in Path(__file__).parent.glob("*.toml")}
problem = problems_from(TEXTS["problems"])
