"""
Remote: weather files of a file system that fsspec knows, such as "s3://bucket/one.csv", so that workers need no disk in common.
"""

import contextlib
import tempfile
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

from panbudget.errors import ScenarioError
from panbudget.extras import wants_extra
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.marks import file_mark


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
    with tempfile.TemporaryDirectory() as own:
        path = Path(own) / (PurePosixPath(name.partition("://")[2]).name or "weather")
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
