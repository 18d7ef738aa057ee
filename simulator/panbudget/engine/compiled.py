"""
Compiled: the engine's own text through a compiler for numeric Python (numba), for jobs that are large enough.

The same function, the same numbers to the last bit; only quicker. Compiling takes some seconds, so what was compiled
is kept in a folder that belongs to this user alone, under a name made from the text and the compiler's version: an
older text is never run. ``PANBUDGET_CACHE`` names another place; where none can be written, each process compiles
for itself. The installed package itself is never written to.
"""

import contextlib
import functools
import hashlib
import importlib.metadata
import importlib.util
import json
import os
import stat
import sys
import threading
import time
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from panbudget.files import remove

#: says "off" where nothing is to be compiled
COMPILER_VARIABLE = "PANBUDGET_COMPILER"
#: names another folder for compiled code
CACHE_VARIABLE = "PANBUDGET_CACHE"

# long, and called from two places: it stays a call, all else is compiled into its caller
_CALLED = ("eventful_hour",)
# only the outermost function is called from Python: to translate a call's arguments for each would take most of the time
_INNER = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
_setting = threading.Lock()
# digests of what is kept, written after it
_SEAL = "digests.json"
_PATIENCE = 90.0  # s that another process may compile meanwhile; some 15 s is usual


def has_compiler() -> bool:
    """Whether numba is installed, and ``PANBUDGET_COMPILER=off`` does not forbid it."""
    return os.environ.get(COMPILER_VARIABLE) != "off" and importlib.util.find_spec("numba") is not None


@functools.cache
def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """
    Compile a plain scalar function, or take what an earlier process compiled.

    Parameters
    ----------
    function : callable
        Numbers, arrays and named tuples of arrays in; no objects. Such as `engine.run_season`.

    Returns
    -------
    callable
        Takes numpy arrays; lets other threads run meanwhile.

    Notes
    -----
    Without fast arithmetic: every operation stays where the text has it, so that results are equal bit for bit. The
    engine's functions that it calls are compiled into it, but for those of `_CALLED`.
    """
    folder = cache_folder(function)
    if folder is not None:
        with _alone(folder):
            if not _is_as_written(folder):
                print("panbudget: what was kept of compiled code is damaged; it is compiled again", file=sys.stderr)
                folder = folder if _thrown_away(folder) else None
    ready = _outermost(function, folder)

    @functools.wraps(function)
    def run(*arguments: Any) -> Any:
        nonlocal ready
        known = len(ready.overloads)
        # of processes that begin together one compiles, and the others take what it has kept
        with contextlib.nullcontext() if known or folder is None else _alone(folder):
            try:
                done = ready(*arguments)
            except OSError:  # a full disk, a folder that went: nothing has run yet
                ready = _outermost(function, None)
                done = ready(*arguments)
            if folder is not None and len(ready.overloads) > known and ready.stats.cache_misses:
                with contextlib.suppress(OSError):
                    (folder / _SEAL).write_text(json.dumps(_digests(folder)), encoding="ascii")
        return done

    run.hits = lambda: sum(ready.stats.cache_hits.values())  # type: ignore[attr-defined]
    return run


def is_kept(function: Callable[..., Any]) -> bool:
    """Whether an earlier process has compiled a function: taking that costs a second, where compiling costs many."""
    if not has_compiler() or (folder := cache_folder(function)) is None:
        return False
    # numba keeps a source folder's code under its name and the digest of its path
    source = Path(function.__code__.co_filename).absolute().parent
    mark = hashlib.sha1(str(source).encode(), usedforsecurity=False).hexdigest()
    return any(folder.glob(f"{source.name}_{mark}/*.{function.__name__}-*.nbi"))


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Have others wait who ask for the same folder, where the system can; not for one that is killed, or long stopped."""
    try:
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):
        yield
        return
    try:
        until = time.monotonic() + _PATIENCE
        with contextlib.suppress(OSError):  # a file system without locks: each compiles for itself
            while True:
                try:
                    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                    break
                except BlockingIOError:
                    if time.monotonic() > until:
                        break
                    time.sleep(0.05)
        yield
    finally:
        os.close(handle)


def _outermost(function: Callable[..., Any], folder: Path | None) -> Any:
    with _cache_set(folder) as cached:
        return _njit(_bound(function, {}), nogil=True, cache=cached, no_cfunc_wrapper=True)


def _kept(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.suffix in (".nbi", ".nbc"))


def _digests(folder: Path) -> dict[str, str]:
    """Return the digest of each file that numba keeps."""
    return {path.relative_to(folder).as_posix(): hashlib.sha256(own_bytes(path)).hexdigest() for path in _kept(folder)}


def own_bytes(path: Path) -> bytes:
    """Read a plain file of this user's own; a pipe, a device behind a link or another's file is an OSError."""
    about = path.lstat()
    if not stat.S_ISREG(about.st_mode) or (hasattr(os, "getuid") and about.st_uid != os.getuid()):
        raise OSError(f"{path} is no plain file of this user's own")
    return path.read_bytes()


def _is_as_written(folder: Path) -> bool:
    """Tell whether what is kept is what a whole run has left: it is read as code, so nothing else may be."""
    try:
        digests = _digests(folder)
        return not digests or json.loads(own_bytes(folder / _SEAL)) == digests
    except (OSError, ValueError, RecursionError):
        return False


def _thrown_away(folder: Path) -> bool:
    try:
        for path in (*_kept(folder), folder / _SEAL):
            remove(path)
    except OSError:
        return False
    return True


def _njit(function: Callable[..., Any], **options: object) -> Callable[..., Any]:
    """Without counting who refers to an array: the engine makes and keeps none, and it would take most of the time."""
    import numba

    njit: Any = numba.njit
    made: Callable[..., Any] = njit(function, _nrt=False, **options)
    return made


def _bound(function: Callable[..., Any], made: dict[Callable[..., Any], Callable[..., Any]]) -> Callable[..., Any]:
    """Return the same function, with the plain functions that it calls replaced by ones to be compiled into it, each once."""
    helpers = dict[str, Callable[..., Any]]()
    for name, helper in function.__globals__.items():
        if name in function.__code__.co_names and isinstance(helper, types.FunctionType):
            if helper not in made:
                made[helper] = _njit(_bound(helper, made), forceinline=name not in _CALLED, **_INNER)
            helpers[name] = made[helper]
    bound = types.FunctionType(function.__code__, {**function.__globals__, **helpers}, function.__name__)
    bound.__qualname__, bound.__module__ = function.__qualname__, function.__module__
    return bound


def cache_folder(function: Callable[..., Any]) -> Path | None:
    """
    Return the folder that keeps a function's compiled code, made if missing.

    None where there is no folder that only this user can write to: code is never taken from such a one.
    """
    sources = [Path(function.__code__.co_filename), *sorted(Path(__file__).parent.glob("*.py"))]
    try:
        text = b"".join(source.read_bytes() for source in sources)
    except OSError:
        return None
    mark = hashlib.sha256(text + f"{importlib.metadata.version('numba')} {sys.version}".encode()).hexdigest()[:16]
    return own_folder(f"compiled-{mark}")


def own_folder(name: str) -> Path | None:
    """Return a folder of the cache, made if missing; None where there is none that only this user can write to."""
    try:
        folder = users_cache() / name
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        about = folder.stat()
    except (OSError, RuntimeError):  # no home, or one that can't be written
        return None
    if hasattr(os, "getuid") and (about.st_uid != os.getuid() or about.st_mode & (stat.S_IWGRP | stat.S_IWOTH)):
        return None
    return folder if os.access(folder, os.W_OK | os.X_OK) else None


def users_cache() -> Path:
    """Return where what can be made again is kept; a RuntimeError where there is no home."""
    if given := os.environ.get(CACHE_VARIABLE):
        return Path(given)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", str(Path.home()))) / "panbudget"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "panbudget"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "panbudget"


@contextlib.contextmanager
def _cache_set(folder: Path | None) -> Iterator[bool]:
    """Have numba keep its code in a folder of ours, and leave its setting as it was."""
    import numba

    if folder is None:
        yield False
        return
    with _setting:
        settings: Any = numba.config
        before = settings.CACHE_DIR
        settings.CACHE_DIR = str(folder)
        try:
            yield True
        finally:
            settings.CACHE_DIR = before
