"""
Folders: what a command writes goes into a folder of its own, whole or not at all, and over nothing but its own.
"""

import contextlib
import ctypes
import glob
import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextvars import ContextVar
from pathlib import Path

from panbudget.errors import OutputError
from panbudget.files import typed
from panbudget.scenario.garden import Scenario
from panbudget.terminal import undisturbed
from panbudget.words import packaged, problems_from

_FIGURES, _NEW, _OLD = "figures", "new", "old"
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")
_TABLE = packaged("reports/folders.toml")
_problem = problems_from(_TABLE["refused"])
#: all that each command leaves in its folder; the first name is in no other's
FILES_OF: dict[str, list[str]] = _TABLE["files"]
_CLOCKS_APART = 60.0  # seconds
_ENDED = ("Z", "X")  # states of a process that only waits for its parent to hear of its end (proc(5))
_SPARE = 8_000_000  # bytes of memory
_WRITTEN: ContextVar[Path] = ContextVar("folder that is being written, as it was given", default=Path())


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
    folder, fresh, places = Path(folder), list[Path](), list[tuple[Path, Path]]()
    # given up for what has to be cleared, were no other file left to open and no memory
    spare, memory = list[int](), [bytearray(_SPARE)]

    @undisturbed()
    def clear() -> None:
        memory.clear()
        while spare:
            os.close(spare.pop())
        _WRITTEN.set(Path())
        for staging, target in places:
            _give_back(staging, target)
        _remove(fresh)

    try:
        try:
            target = _prepared(folder, command, overwrite, fresh, places)
            spare.append(os.open(os.devnull, os.O_RDONLY))
        except (OSError, RuntimeError, ValueError) as error:  # a loop of links, a name that is too long or none
            raise _refused(folder, "not-made", why=getattr(error, "strerror", None) or str(error)) from None
        _WRITTEN.set(folder)
        staging = places[0][0]
        made = staging / _NEW
        try:
            made.mkdir()
            for part in (staging, made):  # whatever is masked, so that it can be cleared again
                part.chmod(part.stat().st_mode | 0o700)
            yield made
            _may_write(folder, target, command, overwrite)  # something may have come in between
            with undisturbed():
                if target.exists() and not any(target.iterdir()):  # it may be where somebody stands
                    _move(made, target)
                elif not target.exists():
                    made.rename(target)
                elif not _exchanged(made, target):
                    target.rename(staging / _OLD)
                    made.rename(target)
        except OSError as error:
            if error.__cause__ is not None:  # a library's, of another place
                raise
            raise _refused(folder, "not-written", why=str(error.strerror)) from None
    finally:
        try:
            clear()
        finally:  # again, where an interrupt came on the way into the first
            clear()


def _prepared(folder: Path, command: str, overwrite: bool, fresh: list[Path], places: list[tuple[Path, Path]]) -> Path:
    """Return where a folder leads to, once it may be written; what is made on the way is added to the lists."""
    if _CONTROL.search(str(folder)):
        raise ValueError("its name has a line break or another control character")
    target = folder.resolve()
    if target.is_symlink():  # as Python from 3.13 on gives it, without an error
        raise RuntimeError("a loop of links")
    if files := [parent.name for parent in target.parents if parent.is_file()]:
        raise ValueError(f"{files[0]} is a file")
    fresh += [parent for parent in target.parents if not os.path.lexists(parent)]
    target.parent.mkdir(parents=True, exist_ok=True)
    _clear_up(folder, target)
    _may_write(folder, target, command, overwrite)
    with undisturbed():
        staging = Path(tempfile.mkdtemp(prefix=f"{_staged(target)}{os.getpid()}-", dir=target.parent))
        fresh.insert(0, staging)
        places.append((staging, target))
    return target


def to_paste(garden: Scenario, name: str) -> dict[str, str]:
    """
    Return how a garden and a file of the folder that is being written are typed where the command runs.

    Parameters
    ----------
    garden : Scenario
    name : str
        The file; its bare name where no folder is being written.

    Returns
    -------
    dict
        ``file``, the garden and its variants, and ``laid``.
    """
    return {"file": typed(garden.path, garden.laid_over), "laid": typed(_WRITTEN.get() / name)}


def _staged(target: Path) -> str:
    """Return how the names of folders begin in which a run into that place is made; the process's number follows."""
    return f".{target.name[:50]}-"


def _move(made: Path, target: Path) -> None:
    """Move all into an empty folder, which may be another file system's: all or nothing."""
    try:
        for part in made.iterdir():
            shutil.move(part, target / part.name)
    except OSError:
        _remove(sorted(target.rglob("*"), reverse=True), files=True)
        raise


def _give_back(staging: Path, target: Path) -> None:
    """Put back what stood there if nothing does, and remove what was being made."""
    if (staging / _OLD).exists() and not target.exists():
        (staging / _OLD).rename(target)
    # one level at a time: `shutil.rmtree` keeps all of them open, and files may be few
    with contextlib.suppress(OSError):
        _remove([*sorted(staging.rglob("*"), reverse=True), staging], files=True)


def _remove(paths: Iterable[Path], *, files: bool = False) -> None:
    """Remove folders that are empty; files and links too, where they are ours."""
    for path in paths:
        with contextlib.suppress(OSError, ValueError):
            path.unlink() if files and (path.is_symlink() or not path.is_dir()) else path.rmdir()


def _clear_up(folder: Path, target: Path) -> None:
    """Give back what a killed run left; refuse while another one writes into the same place."""
    if os.name != "posix":  # whether a process is there can't be asked without harm
        return
    for staging in target.parent.glob(f"{glob.escape(_staged(target))}*"):
        process = re.fullmatch(r"(\d+)-\w+", staging.name.removeprefix(_staged(target)))
        if process is None or staging.is_symlink() or not staging.is_dir():  # a link leads to what is somebody's
            continue
        if _runs(int(process[1]), staging):
            raise _refused(folder, "busy", process=process[1])
        _give_back(staging, target)


def _runs(process: int, staging: Path) -> bool:
    """Tell whether the process of that number, be it another user's, may have made a folder: it had begun by then."""
    with contextlib.suppress(OSError, ValueError, IndexError):  # where the system tells: Linux
        facts = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
        if facts[0] in _ENDED:
            return False
        ticks = int(facts[19])
        uptime = float(Path("/proc/uptime").read_text(encoding="ascii").split()[0])
        for_so_long = uptime - ticks / os.sysconf("SC_CLK_TCK")
        if staging.stat().st_mtime < time.time() - for_so_long - _CLOCKS_APART:
            return False  # a number is given again, in a container nearly always the same
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        pass
    return True


def _exchanged(made: Path, target: Path) -> bool:
    """Let two folders change places in one step, where the system has one (Linux: renameat2 with RENAME_EXCHANGE)."""
    if sys.platform != "linux":
        return False
    exchange = getattr(ctypes.CDLL(None), "renameat2", None)
    here, flag = -100, 2
    return exchange is not None and exchange(here, os.fsencode(made), here, os.fsencode(target), flag) == 0


def _may_write(folder: Path, target: Path, command: str, overwrite: bool) -> None:
    """Refuse to replace what stands at ``target``, which ``folder`` leads to even where it goes through what is missing."""
    if not target.exists():
        return
    if not target.is_dir():
        raise _refused(folder, "not-a-folder")
    if not (inside := sorted(entry.name for entry in target.iterdir())):
        return
    if others := [name for name in FILES_OF if name != command and FILES_OF[name][0] in inside]:
        raise _refused(folder, "another-command", other=others[0], command=command)
    if not overwrite:
        raise _refused(folder, "not-empty")
    ours = FILES_OF[command]
    foreign = [name for name in inside if name not in ours or (name != _FIGURES and (target / name).is_dir())]
    if (target / _FIGURES).is_dir():
        pictures = sorted((target / _FIGURES).iterdir())
        foreign += [f"{_FIGURES}/{entry.name}" for entry in pictures if entry.suffix not in (".png", ".svg")]
    if foreign:
        raise _refused(folder, "foreign", name=foreign[0], command=command)


def _refused(folder: Path, code: str, **values: str) -> OutputError:
    return OutputError(_problem(code, **values), file=str(folder))
