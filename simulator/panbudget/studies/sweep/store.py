"""
Store: a sweep's folder. Parts of a Parquet dataset, each written whole or not at all; a manifest of the plan.

A part carries in its footer the plan it belongs to, the weather files it was made from and the sites that could not
be run, so that a later run can tell what is done. No dates, no hosts: one plan, one sequence of bytes.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import shutil
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from panbudget.errors import OutputError, visible
from panbudget.files import json_bytes
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.compute import COLUMNS, WHOLE
from panbudget.words import packaged

if TYPE_CHECKING:
    from panbudget.studies.sweep.jobs import BadSite, Job
    from panbudget.studies.sweep.plan import Plan

#: what names a row
KEYS = ("site", "design", "controller", "bed")
_HEADS = ("site", "latitude", "longitude", "elevation_m", "design", "controller", "bed", "area_m2", "start", "end")

_MANIFEST = "plan.json"
_PARTS = "seasons"
_DIGESTS = "parts.sha256"  # a line a part, as `sha256sum --check` reads it
_LOG = "sweep.log"
_OURS = frozenset({_MANIFEST, _PARTS, _DIGESTS, _LOG, "summary.csv", "suits.csv", "sweep.json", "figures"})
_OURS |= {"sites.csv", "suits.parquet", "columns.csv", "seasons.zarr", "seasons.nc"}
_KEY = b"panbudget"

#: the system of coordinates of all places
CRS = "EPSG:4326"
_COLUMNS = packaged("studies/sweep/columns.toml")


def described(name: str) -> tuple[str, str, str]:
    """Return a column's unit, its meaning, and how a map takes it over a site's beds."""
    whole = _COLUMNS["rows"].get(name)
    if whole is None and name.startswith("driest_"):
        unit, meaning, over = _COLUMNS["rows"][name.removeprefix("driest_")]
        return unit, f"in the bed's driest quarter: {meaning}", over
    unit, meaning, over = whole
    return unit, meaning, over


def _about(name: str) -> dict[str, str]:
    unit, meaning, _ = described(name)
    return {"unit": unit, "description": meaning}


def dictionary(files: Mapping[str, Iterable[str]]) -> pd.DataFrame:
    """
    Return what every column of a sweep's files is: file, column, unit, meaning.

    Parameters
    ----------
    files : mapping
        File -> its columns, but for the dataset's.
    """
    rows = [("seasons", name, *described(name)[:2]) for name in (*_HEADS, *COLUMNS)]
    for file, names in files.items():
        table = {**_COLUMNS["summary"], **_COLUMNS.get(Path(file).stem, {})}
        for name in names:
            level = next((word for word in ("mean", "four_in_five", "nine_in_ten") if name.endswith(f"_{word}")), "")
            base = name.removesuffix(f"_{level}") if level else name
            unit, meaning, _ = table.get(base) or described(base)
            rows.append((file, name, unit, f"{meaning}; {table[level][1]}" if level else meaning))
    return pd.DataFrame(rows, columns=["file", "column", "unit", "meaning"])


def part_bytes(
    sites: Sequence[pd.DataFrame],
    fingerprint: str,
    index: int,
    marks: dict[str, str],
    bad: Sequence[BadSite],
    about_sites: Mapping[str, Any],
) -> bytes:
    """
    Return a part of the dataset as a Parquet file.

    Parameters
    ----------
    sites : sequence of DataFrame
        Each site's rows.
    fingerprint : str
        The plan's.
    index : int
        The job's.
    marks : dict
        Site -> fingerprint of its weather file.
    bad : sequence of BadSite
    about_sites : mapping
        Site -> what became of its weather, as `usable.about_site` has it.

    Returns
    -------
    bytes
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    whole = {"start": pa.date32(), "end": pa.date32(), **dict.fromkeys(WHOLE, pa.int32())}
    kinds = whole | dict.fromkeys(KEYS, pa.dictionary(pa.int32(), pa.string()))
    fields = [pa.field(name, kinds.get(name, pa.float64()), metadata=_about(name)) for name in (*_HEADS, *COLUMNS)]
    schema = pa.schema(fields)
    rows = pd.concat(sites) if sites else pd.DataFrame(columns=schema.names)
    rows = rows.astype(dict.fromkeys(KEYS, "category"))
    about = {"plan": fingerprint, "part": index, "weather": marks, "bad": bad, "sites": about_sites}
    table = pa.Table.from_pandas(rows, schema=schema, preserve_index=False)
    table = table.replace_schema_metadata({_KEY: json.dumps(about, sort_keys=True), "crs": CRS})
    buffer = io.BytesIO()
    pq.write_table(table, buffer, compression="zstd", compression_level=1, row_group_size=1_000_000)
    return buffer.getvalue()


@contextlib.contextmanager
def alone(folder: Path) -> Iterator[None]:
    """
    Keep other runs out of a sweep's folder meanwhile, where the system can; a run that is killed keeps nobody out.

    Raises
    ------
    OutputError
        Another run is at work there.
    """
    try:
        import fcntl

        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):  # `Store` says what is the matter with it
        yield
        return
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    except BlockingIOError:
        raise OutputError(problem("busy"), file=str(folder)) from None
    finally:
        os.close(handle)


class Store:
    """
    A sweep's folder.

    Parameters
    ----------
    folder : Path
    plan : Plan
    overwrite : bool
        Whether another plan's sweep there may be taken away.

    Raises
    ------
    OutputError
        It holds something else, or can't be written.
    """

    def __init__(self, folder: Path, plan: Plan, *, overwrite: bool) -> None:
        self.folder, self.plan = folder, plan
        if os.path.exists(folder) and not folder.is_dir():
            raise self._refused("not-a-folder")
        try:
            inside = sorted(entry.name for entry in folder.iterdir()) if os.path.exists(folder) else []
            for name in inside:
                if name not in _OURS and not _is_draft(name):
                    raise self._refused("foreign", name=name)
            held = self._held()
            stale = held != plan.fingerprint
            if stale and not overwrite and not all(map(_is_draft, inside)):
                raise self._refused("not-empty.plan" if held else "not-empty.files")
            if stale or overwrite:
                self._clear()
            (folder / _PARTS).mkdir(parents=True, exist_ok=True)
            for draft in [*folder.glob(".*.draft"), *folder.glob("*/.*.draft")]:
                draft.unlink(missing_ok=True)  # what a killed run left half-made
        except OSError as error:
            raise self._refused("not-made", reason=error.strerror) from None
        self._digests = self._read_digests()
        names = [design.name for design in plan.designs]
        about = {"title": plan.described.title, "sites": len(plan.places), "designs": names}
        self.write(_MANIFEST, [json_bytes({"schema": 1, "plan": plan.fingerprint, **about})])

    def _refused(self, code: str, **values: object) -> OutputError:
        return OutputError(problem(code, **values), file=str(self.folder))

    def _held(self) -> str | None:
        try:
            return str(json.loads((self.folder / _MANIFEST).read_text(encoding="utf-8"))["plan"])
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def _clear(self) -> None:
        for name in _OURS:
            path = self.folder / name
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink(missing_ok=True)

    def write(self, name: str, pieces: Iterable[bytes]) -> None:
        """
        Write a file whole or not at all, a piece after the other.

        Raises
        ------
        OutputError
            It can't be written.
        """
        target = self.folder / name
        draft = target.with_name(f".{target.name}.{os.getpid()}.draft")
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            with draft.open("wb") as file:
                for piece in pieces:
                    file.write(piece)
                file.flush()
                os.fsync(file.fileno())
            draft.replace(target)
        except OSError as error:
            with contextlib.suppress(OSError):
                draft.unlink(missing_ok=True)
            raise OutputError(problem("not-written", reason=error.strerror), file=str(target)) from None

    def log(self, text: str) -> None:
        """Add a line to the log, which alone tells when things were done."""
        with contextlib.suppress(OSError), (self.folder / _LOG).open("a", encoding="utf-8") as file:
            file.write(f"{time.strftime('%Y-%m-%d %H:%M:%S', time.gmtime())} UTC  {visible(text)}\n")

    def part(self, index: int) -> Path:
        """Return where a part stands."""
        return self.folder / _PARTS / f"part-{index:06d}.parquet"

    def write_part(self, index: int, payload: bytes) -> None:
        """Write a part of the dataset, and then its digest."""
        self.write(f"{_PARTS}/{self.part(index).name}", [payload])
        digest = self._digests[self.part(index).name] = hashlib.sha256(payload).hexdigest()
        with (self.folder / _DIGESTS).open("a", encoding="ascii") as file:
            file.write(f"{digest}  {_PARTS}/{self.part(index).name}\n")

    def seal(self) -> None:
        """Write the digests in the parts' order, which does not depend on who was ready first."""
        lines = [f"{self._digests[name]}  {_PARTS}/{name}\n".encode() for name in sorted(self._digests)]
        self.write(_DIGESTS, lines)

    def _read_digests(self) -> dict[str, str]:
        """Part -> its digest; of a part that was written again, the last."""
        try:
            lines = (self.folder / _DIGESTS).read_text(encoding="ascii").splitlines()
        except (OSError, ValueError):
            return {}
        pairs = (line.split(f"  {_PARTS}/") for line in lines)
        return {pair[1]: pair[0] for pair in pairs if len(pair) == 2}

    def done(self, job: Job) -> dict[str, Any] | None:
        """
        Return what a part that is there says of itself, if its bytes are as they were written, and the plan and its
        weather files are still the same.

        A grid's fingerprint is part of the plan's own.
        """
        about = self.about(job.index)
        if about is None or self._digests.get(self.part(job.index).name) != _mark(self.part(job.index)):
            return None
        if about.get("plan") != self.plan.fingerprint or about.get("part") != job.index:
            return None
        files = {place.name: self.plan.folder / place.file for place in job.places if place.cell is None}
        # a site without a mark could not be read: another try costs little
        changed = any(about["weather"].get(name) != _mark(path) for name, path in files.items())
        return None if changed else about

    def about(self, index: int) -> dict[str, Any] | None:
        """Return what a part says of itself; nothing where there is none, or none that is whole."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        try:
            about: dict[str, Any] = json.loads((pq.read_schema(self.part(index)).metadata or {})[_KEY])
        except (OSError, pa.ArrowException, KeyError, ValueError):
            return None
        return about

    def trim(self, parts: int) -> None:
        """Take away parts that this plan has not."""
        for path in set((self.folder / _PARTS).glob("part-*.parquet")) - set(map(self.part, range(parts))):
            path.unlink(missing_ok=True)
            self._digests.pop(path.name, None)


def _is_draft(name: str) -> bool:
    return name.startswith(".") and name.endswith(".draft")


def _mark(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""
