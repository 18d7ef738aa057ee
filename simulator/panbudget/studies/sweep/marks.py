"""
Marks: what decides what comes out of a sweep, as fingerprints: the package's sources and the packages that it computes with by
their content, the plan and its scenario by their meaning, weather files by their bytes. Comments, the order of keys and the dates of
files are in none of them.

A weather file may be one of a file system that fsspec knows, such as "s3://bucket/one.csv", so that workers need no disk in common.
"""

import contextlib
import functools
import hashlib
import importlib.metadata
import json
import tempfile
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import Any

import panbudget
from panbudget.errors import ScenarioError
from panbudget.extras import wants_extra
from panbudget.studies.sweep import problem

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
    below = {name: path for name, path in inside.items() if name.parts[0] not in _ROOMS_ABOVE}
    digests = [(name.as_posix(), hashlib.sha256(path.read_bytes()).hexdigest()) for name, path in below.items()]
    found = (importlib.metadata.distributions(name=name) for name in _PACKAGES)
    versions = [next((package.version for package in packages), "none") for packages in found]
    return mark_of(digests, versions)


def file_mark(path: Path) -> str:
    """Return the fingerprint of a file's bytes; nothing where it can't be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def is_remote(name: str) -> bool:
    """Tell whether a file's name is that of another file system."""
    return "://" in name


@contextlib.contextmanager
def at_hand(folder: Path, name: str) -> Iterator[Path]:
    """
    Yield where a weather file can be read: in its folder, or for as long as it is needed in a folder of its own.

    Raises
    ------
    ScenarioError
        Another file system does not give it.
    """
    if not is_remote(name):
        yield folder / name
        return
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / (PurePosixPath(name.partition("://")[2]).name or "weather")
        path.write_bytes(_fetched(name))
        yield path


def weather_mark(folder: Path, name: str) -> str:
    """Return the fingerprint of a weather file's bytes; nothing where it can't be read."""
    with contextlib.suppress(ScenarioError), at_hand(folder, name) as path:
        return file_mark(path)
    return ""


def _fetched(name: str) -> bytes:
    wants_extra("fsspec")
    import fsspec

    try:
        with fsspec.open(name, "rb") as file:
            content: bytes = file.read()
    except (OSError, ValueError, ImportError, RuntimeError) as error:
        reason = (str(error).splitlines() or [type(error).__name__])[0][:150]
        raise ScenarioError(problem("remote", value=name, reason=reason), file=name) from None
    return content
