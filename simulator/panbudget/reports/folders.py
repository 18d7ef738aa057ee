"""
Folders: what a command writes goes into a folder of its own, whole or not at all, and over nothing but its own.
"""

import contextlib
import importlib.resources
import shutil
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path

from panbudget.errors import OutputError, Problem

_FIGURES = "figures"
#: all that each command leaves in its folder; the first name is in no other's
FILES_OF: dict[str, list[str]] = tomllib.loads(
    importlib.resources.files("panbudget.reports").joinpath("folders.toml").read_text(encoding="utf-8")
)


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
        raise _refused(folder, "not-made", f"can't be made ({error.strerror})") from None
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
        raise _refused(folder, "not-written", f"can't be written ({error.strerror})") from None
    finally:
        if (staging / "old").exists() and not target.exists():
            (staging / "old").rename(target)
        shutil.rmtree(staging, ignore_errors=True)


def _may_write(folder: Path, command: str, overwrite: bool) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise _refused(folder, "not-a-folder", "is a file, and a folder is wanted")
    inside = sorted(entry.name for entry in folder.iterdir())
    if not inside:
        return
    others = [name for name in FILES_OF if name != command and FILES_OF[name][0] in inside]
    if others:
        found = f"holds what `panbudget {others[0]}` wrote, which `{command}` does not replace"
        raise _refused(folder, "another-command", found, "choose another folder, or remove its files yourself")
    if not overwrite:
        cure = "choose another folder, or overwrite it to replace an earlier run there"
        raise _refused(folder, "not-empty", "is not empty", cure)
    foreign = [name for name in inside if name not in FILES_OF[command]]
    if (folder / _FIGURES).is_dir():
        pictures = sorted((folder / _FIGURES).iterdir())
        foreign += [f"{_FIGURES}/{entry.name}" for entry in pictures if entry.suffix not in (".png", ".svg")]
    if foreign:
        raise _refused(folder, "foreign", f"holds {foreign[0]}, which `{command}` did not make and will not remove")


def _refused(folder: Path, code: str, found: str, cure: str = "choose another folder") -> OutputError:
    return OutputError(Problem(code, "", found, cure=cure), file=str(folder))
