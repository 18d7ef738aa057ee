"""
Cells: a grid's numbers laid out cell by cell in the user's cache folder, so that every chunk is read once, whatever its shape.

A job takes some cells' days; a chunk of the grid may hold one day of all cells. Made before the first job, found again by the
grid's content, bounded, safe to delete: a worker that cannot see it reads the grid itself, more slowly.
"""

import contextlib
import hashlib
import itertools
import os
import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from panbudget.engine.compiled import own_folder
from panbudget.errors import OutputError
from panbudget.numeric import Floats
from panbudget.studies.sweep import problem

#: numbers in memory at once, and what may stay in the cache folder [bytes]
_AT_ONCE, _MOST = 2.0e8, 4.0e9
#: after which nobody is at work on a half-made copy any more [s]
_ABANDONED = 2.0 * 86400.0


def copy_folder(mark: bytes) -> Path | None:
    """Return where a grid's copy stands or would stand; None where there is no cache folder of this user alone."""
    folder = own_folder("cells")
    return folder and folder / hashlib.sha256(mark).hexdigest()[:24]


def chunks_of(values: Any) -> tuple[int, ...]:
    """Return the shape of the pieces in which an array of a grid is stored: all of it where it is in one."""
    stored = values.encoding.get("preferred_chunks") or {}
    return tuple(min(int(stored.get(axis, size)), size) for axis, size in zip(values.dims, values.shape, strict=True))


def blocks(shape: Sequence[int], chunks: Sequence[int]) -> Iterator[tuple[slice, ...]]:
    """
    Cut an array into blocks of whole chunks, along its first axis as far as memory allows.

    Examples
    --------
    >>> [tuple((part.start, part.stop) for part in block) for block in blocks((4, 3), (1, 2))]
    [((0, 4), (0, 2)), ((0, 4), (2, 3))]
    """
    a_row = 8.0 * np.prod(chunks[1:], dtype=float)
    deep = max(int(_AT_ONCE / a_row) // chunks[0], 1) * chunks[0]
    steps = (min(deep, shape[0]), *chunks[1:])
    axes = zip(shape, steps, strict=True)
    first, *others = ([slice(at, min(at + step, size)) for at in range(0, size, step)] for size, step in axes)
    for over in itertools.product(*others):
        yield from ((rows, *over) for rows in first)


def copy_cells(
    folder: Path, cells: Sequence[tuple[int, ...]], arrays: dict[str, Any], tell: Callable[[str], None]
) -> None:
    """
    Lay a grid out by cells, if that is not done.

    Parameters
    ----------
    folder : Path
        As `copy_folder` gives it.
    cells : sequence of tuple of int
        Places along the grid's axes.
    arrays : dict
        Name -> DataArray, days first and then those axes; read block by block.
    tell : callable
        Told each array as it is read.

    Raises
    ------
    OutputError
        There is no room for it.
    """
    if folder.is_dir():
        folder.touch()
        return
    draft = folder.with_name(f".{folder.name}.{os.getpid()}")
    at = np.array(cells).reshape(len(cells), -1)
    try:
        draft.mkdir(mode=0o700, parents=True, exist_ok=True)
        for number, (name, values) in enumerate(arrays.items()):
            tell(name)
            _copy_array(draft / f"{number}.npy", at, values)
        rows = np.full([*next(iter(arrays.values())).shape[1:]], -1)
        rows[tuple(at.T)] = np.arange(len(at))
        np.save(draft / "rows.npy", rows)
        with contextlib.suppress(OSError):  # another run may have been quicker
            draft.rename(folder)
    except OSError as error:
        reason = error.strerror or str(error)
        no_copy = problem("no-copy", reason=reason, size=copy_bytes(arrays, len(cells)) / 1e9)
        raise OutputError(no_copy, file=str(folder)) from None
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def copy_bytes(arrays: dict[str, Any], cells: int) -> float:
    """Return how large a copy is. [bytes]"""
    return float(sum(_kind(values).itemsize * values.shape[0] * cells for values in arrays.values()))


def _kind(values: Any) -> np.dtype[Any]:
    return np.dtype(values.dtype if values.dtype in (np.float32, np.float64) else np.float64)


def _copy_array(path: Path, at: Any, values: Any) -> None:
    kind, days = _kind(values), values.shape[0]
    with path.open("wb") as file:
        about = {"descr": np.lib.format.dtype_to_descr(kind), "fortran_order": False, "shape": (len(at), days)}
        np.lib.format.write_array_header_1_0(file, about)
        start = file.tell()
        for block in blocks(values.shape, chunks_of(values)):
            lows, highs = (np.array([getattr(part, end) for part in block[1:]]) for end in ("start", "stop"))
            mine = np.flatnonzero(((at >= lows) & (at < highs)).all(axis=1))
            if not len(mine):
                continue
            numbers = values[block].to_numpy()[(slice(None), *(at[mine] - lows).T)].astype(kind, copy=False)
            for row, series in zip(mine, np.ascontiguousarray(numbers.T), strict=True):
                file.seek(start + (int(row) * days + block[0].start) * kind.itemsize)
                file.write(series.tobytes())


def read_copy(folder: Path | None, cells: Sequence[tuple[int, ...]], names: Sequence[str]) -> dict[str, Floats] | None:
    """Return some cells' numbers, name -> (days, cells); None where there is no copy."""
    if folder is None:
        return None
    try:
        rows = np.load(folder / "rows.npy")[tuple(np.array(cells).reshape(len(cells), -1).T)]
        arrays = {name: np.load(folder / f"{n}.npy", mmap_mode="r") for n, name in enumerate(names)}
    except (OSError, ValueError, IndexError):
        return None
    return {name: np.array(values[rows], float).T for name, values in arrays.items()}


def trim_copies(folder: Path | None) -> None:
    """
    Remove the copies that were used longest ago, until what stays is within its bound, and what killed runs left.

    The copy in ``folder`` is in use, and stays.
    """
    if folder is None or not folder.parent.is_dir():
        return
    room, oldest = _MOST, time.time() - _ABANDONED
    with contextlib.suppress(OSError):  # another run may have been quicker
        for copy in sorted(folder.parent.iterdir(), key=lambda path: path.stat().st_mtime, reverse=True):
            room -= sum(path.stat().st_size for path in copy.glob("*.npy"))
            needless = copy.stat().st_mtime < oldest if copy.name.startswith(".") else room < 0
            if needless and copy != folder:
                shutil.rmtree(copy, ignore_errors=True)
