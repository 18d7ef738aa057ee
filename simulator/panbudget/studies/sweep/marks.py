"""
Marks: what decides what comes out of a sweep, as fingerprints: the package's sources and the packages that it computes with by
their content, the plan and its scenario by their meaning. Comments, the order of keys and the dates of files are in none of them.
"""

import functools
import hashlib
import importlib.metadata
import json
from pathlib import Path
from typing import Any

import panbudget

_PACKAGES = ("numpy", "pandas", "pyet", "pyarrow")
# what only shows numbers
_ROOMS_ABOVE = {"reports", "page", "cli"}


def mark_of(*parts: Any) -> str:
    """Return the fingerprint of what JSON can hold; mappings by their content, whatever their order."""
    return hashlib.sha256(json.dumps(parts, sort_keys=True, default=str).encode()).hexdigest()


@functools.cache
def code_mark() -> str:
    """Return the fingerprint of all that computes: sources and tables of the rooms below `reports`, and packages' versions."""
    root = Path(panbudget.__file__).parent
    sources = (path for path in sorted(root.rglob("*")) if path.suffix in (".py", ".toml", ".csv"))
    inside = {path.relative_to(root): path for path in sources}
    digests = [
        (name.as_posix(), hashlib.sha256(path.read_bytes()).hexdigest())
        for name, path in inside.items()
        if name.parts[0] not in _ROOMS_ABOVE
    ]
    versions = [
        next((package.version for package in importlib.metadata.distributions(name=name)), "none") for name in _PACKAGES
    ]
    return mark_of(digests, versions)


def file_mark(path: Path) -> str:
    """Return the fingerprint of a file's bytes; nothing where it can't be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""
