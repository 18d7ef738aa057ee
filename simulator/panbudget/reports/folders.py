"""
Folders: what a command writes goes into a folder of its own, whole or not at all, and over nothing but its own.
"""

import contextlib
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from panbudget.errors import OutputError, Problem
from panbudget.words import packaged

_FIGURES = "figures"
_TABLE = packaged("reports/folders.toml")
#: all that each command leaves in its folder; the first name is in no other's
FILES_OF: dict[str, list[str]] = _TABLE["files"]


@contextlib.contextmanager
def new_folder(folder: Path, command: str, *, overwrite: bool) -> Iterator[Path]:
    """
    Give a folder to write into that takes the place of ``folder`` only when all went well.

    Parameters
    ----------
    folder : Path
        Made if missing, with its parents.
    command : str
        Who writes, one of `FILES_OF`.
    overwrite : bool
        Whether an earlier run of the same command may be replaced. What another command wrote, or what we did not
        make, is never touched.

    Yields
    ------
    Path
        A new, empty folder beside it.

    Raises
    ------
    OutputError
        Not empty without ``overwrite``; holds another command's files or something of the user's; can't be written.
    """
    folder = Path(folder)
    _may_write(folder, command, overwrite)
    target = folder.resolve()
    try:
        parent = target.parent
        parent.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=parent))
    except OSError as error:
        raise _refused(folder, "not-made", why=str(error.strerror)) from None
    try:
        made = staging / "new"
        made.mkdir()
        yield made
        _may_write(folder, command, overwrite)  # something may have come in between
        if target.exists() and not any(target.iterdir()):  # it may be where somebody stands
            for part in made.iterdir():
                part.rename(target / part.name)
        else:
            if target.exists():
                target.rename(staging / "old")
            made.rename(target)
    except OSError as error:
        raise _refused(folder, "not-written", why=str(error.strerror)) from None
    finally:
        if (staging / "old").exists() and not target.exists():
            (staging / "old").rename(target)
        shutil.rmtree(staging, ignore_errors=True)


def _may_write(folder: Path, command: str, overwrite: bool) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise _refused(folder, "not-a-folder")
    if not (inside := sorted(entry.name for entry in folder.iterdir())):
        return
    if others := [name for name in FILES_OF if name != command and FILES_OF[name][0] in inside]:
        raise _refused(folder, "another-command", other=others[0], command=command)
    if not overwrite:
        raise _refused(folder, "not-empty")
    foreign = [name for name in inside if name not in FILES_OF[command]]
    if (folder / _FIGURES).is_dir():
        pictures = sorted((folder / _FIGURES).iterdir())
        foreign += [f"{_FIGURES}/{entry.name}" for entry in pictures if entry.suffix not in (".png", ".svg")]
    if foreign:
        raise _refused(folder, "foreign", name=foreign[0], command=command)


def _refused(folder: Path, code: str, **values: str) -> OutputError:
    text, cure = _TABLE["refused"][code]
    return OutputError(Problem(code, "", text.format(**values), cure=cure), file=str(folder))
