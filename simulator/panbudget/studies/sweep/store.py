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
import socket
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panbudget.errors import OutputError, visible
from panbudget.files import json_bytes, remove, unblocked
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.compute import COLUMNS, HEADS, WHOLE
from panbudget.studies.sweep.marks import file_mark, weather_mark
from panbudget.words import packaged

if TYPE_CHECKING:
    import pyarrow as pa

    from panbudget.studies.sweep.jobs import Job
    from panbudget.studies.sweep.plan import Plan
    from panbudget.studies.sweep.site import SiteRows

#: what names a row
KEYS = ("site", "design", "controller", "bed")

_MANIFEST = "plan.json"
_PARTS = "seasons"
_DIGESTS = "parts.sha256"  # a line a part, as `sha256sum --check` reads it
_LOG = "sweep.log"
_LOCK = ".owner"  # who is at work here
_EARLIER = "earlier"  # parts of this sweep under an earlier plan, until all of the present one's are there
# what all parts come to
_ENDS = (
    *("summary.csv", "suits.csv", "suits.parquet", "sites.csv", "columns.csv", "sweep.json", "figures"),
    *("seasons.zarr", "seasons.nc"),
)
_OURS = frozenset({_MANIFEST, _PARTS, _DIGESTS, _LOG, _EARLIER, *_ENDS})
# how names in its folders end, where they do alike
_FOLDERS = {_PARTS: (".parquet",), "figures": (".png", ".svg"), _EARLIER: (), "seasons.zarr": ()}
_KEY = b"panbudget"
_ABOUT = {"weather": dict, "bad": list, "sites": dict, "places": dict, "designs": dict, "all_years": bool}

#: the system of coordinates of all places
CRS = "EPSG:4326"
_COLUMNS = packaged("studies/sweep/columns.toml")
#: how a map takes a column over beds -> what its title says
OVER: dict[str, str] = _COLUMNS["over"]


def described(name: str) -> tuple[str, str, str]:
    """Return a column's unit, its meaning, and how a map takes it over a site's beds."""
    rows = _COLUMNS["rows"]
    unit, meaning, over = rows.get(name) or rows[name.removeprefix("driest_")]
    return unit, meaning if name in rows else f"in the bed's driest quarter: {meaning}", over


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
    rows = [("seasons", name, *described(name)[:2]) for name in (*HEADS, *COLUMNS)]
    for file, names in files.items():
        table = {**_COLUMNS["summary"], **_COLUMNS.get(Path(file).stem, {})}
        for name in names:
            level = next((word for word in ("mean", "four_in_five", "nine_in_ten") if name.endswith(f"_{word}")), "")
            base = name.removesuffix(f"_{level}") if level else name
            unit, meaning, _ = table.get(base) or described(base)
            rows.append((file, name, unit, f"{meaning}; {table[level][1]}" if level else meaning))
    return pd.DataFrame(rows, columns=["file", "column", "unit", "meaning"])


def part_bytes(sites: Sequence[SiteRows], about: Mapping[str, Any]) -> bytes:
    """
    Return a part of the dataset as a Parquet file.

    Parameters
    ----------
    sites : sequence of SiteRows
        Of the same beds.
    about : mapping
        What it says of itself: ``plan``, the fingerprint, and ``part``, the job's index; by site, the fingerprint of its
        ``weather`` file and what became of that (``sites``, as `usable.about_site` has it); ``bad`` sites; and what a later
        plan must know to take rows from here.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    whole = {"start": pa.date32(), "end": pa.date32(), **dict.fromkeys(WHOLE, pa.int32())}
    kinds = whole | dict.fromkeys(KEYS, pa.dictionary(pa.int32(), pa.string()))
    fields = [pa.field(name, kinds.get(name, pa.float64()), metadata=_about(name)) for name in (*HEADS, *COLUMNS)]
    schema = pa.schema(fields)
    columns = _columns_of(sites) if sites else {}
    arrays = [_array(columns[field.name], field.type) if sites else pa.array([], field.type) for field in schema]
    table = pa.Table.from_arrays(arrays, schema=schema)
    table = table.replace_schema_metadata({_KEY: json.dumps(about, sort_keys=True), "crs": CRS})
    buffer = io.BytesIO()
    # numbers hardly repeat: to look for those that do takes longest, and makes the file larger
    options: dict[str, Any] = {"compression": "zstd", "compression_level": 1, "use_dictionary": list(KEYS)}
    pq.write_table(table, buffer, row_group_size=1_000_000, **options)
    return buffer.getvalue()


def _columns_of(sites: Sequence[SiteRows]) -> dict[str, Any]:
    """All sites' columns, one after the other; what names a row as texts and the place of each row's among them."""
    count = [len(rows.columns["row"]) for rows in sites]
    columns: dict[str, Any] = {k: np.concatenate([rows.columns[k] for rows in sites]) for k in sites[0].columns}
    names: list[list[str]] = [[rows.place.name for rows in sites], *map(list, zip(*sites[0].beds, strict=True))]
    at = [np.repeat(np.arange(len(sites)), count), *[columns.pop("row")] * 3]
    columns |= {key: (texts, which) for key, texts, which in zip(KEYS, names, at, strict=True)}
    position = ("latitude", "longitude", "elevation")
    where = np.array([[getattr(rows.place, name) for name in position] for rows in sites], float)
    return columns | dict(zip(("latitude", "longitude", "elevation_m"), np.repeat(where, count, axis=0).T, strict=True))


def _array(values: Any, kind: pa.DataType) -> pa.Array:
    """A column; what is not a number is unknown. Texts stand in their order, those that occur."""
    import pyarrow as pa

    if not pa.types.is_dictionary(kind):
        return pa.array(np.asarray(values), from_pandas=True).cast(kind)
    texts, which = values
    held, place = np.unique(np.array(texts, object)[np.unique(which)], return_inverse=True)
    code = np.zeros(len(texts), np.int32)
    code[np.unique(which)] = place
    return pa.DictionaryArray.from_arrays(pa.array(code[which]), pa.array(held, pa.string()))


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

        made = not os.path.lexists(folder)
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):  # `Store` says what is the matter with it
        yield
        return
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(handle)
        if isinstance(error, BlockingIOError):
            raise OutputError(problem("busy", owner=_owner(folder)), file=str(folder)) from None
        yield  # a file system without locks
        return
    since = time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime())
    about = {"process": os.getpid(), "host": socket.gethostname(), "since": since}
    try:
        if not [name for name in os.listdir(folder) if name not in {*_OURS, _LOCK} and not _is_draft(name)]:
            with contextlib.suppress(OSError):
                (folder / _LOCK).unlink(missing_ok=True)
                (folder / _LOCK).write_bytes(json_bytes(about))
        yield
    finally:
        with contextlib.suppress(OSError):
            (folder / _LOCK).unlink(missing_ok=True)
            if made:
                folder.rmdir()  # where it is empty
        os.close(handle)


def _plain(path: Path) -> str:
    """Read a file; an OSError where a pipe or a device stands, which would be waited for."""
    if not path.is_file():
        raise FileNotFoundError
    return path.read_text(encoding="utf-8")


def _owner(folder: Path) -> str:
    """Say whose a folder is, as far as its lock tells."""
    try:
        about = json.loads(_plain(folder / _LOCK))
        return " (process {process} on {host}, since {since})".format(**about)
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return ""


def _held_in(folder: Path) -> dict[str, Any]:
    """Return what a folder says of the sweep that it holds; nothing where it holds none."""
    try:
        held = json.loads(_plain(folder / _MANIFEST))
    except (OSError, ValueError, RecursionError):
        return {}
    ours = isinstance(held, dict) and isinstance(held.get("designs"), dict)
    return held if ours and str(held.get("plan", "")).isalnum() else {}  # files are named after it


def outdated(folder: Path, plan: Plan) -> int:
    """Count a folder's parts that hold no longer since the package, or one that it computes with, is another by now."""
    is_other = _held_in(folder).get("code", plan.marks.code) != plan.marks.code
    return len([*(folder / _PARTS).glob("part-*.parquet")]) if is_other else 0


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
            held_names = os.listdir(folder) if os.path.exists(folder) else []
            inside = sorted(name for name in held_names if name != _LOCK or (folder / _LOCK).is_dir())
            for name in filter(None, (_foreign_in(folder, name) for name in inside)):
                raise self._refused("foreign", name=name)
            held, marks = _held_in(folder), plan.marks._asdict()
            stale = held.get("plan") != plan.fingerprint
            # other sites, years or further designs of one sweep
            grown = held.get("base") == marks["base"] and held.get("designs", {}).items() <= marks["designs"].items()
            # a run that was stopped before it had written its plan leaves a folder for parts without any
            begun = [name for name in inside if not _is_draft(name) and (name != _PARTS or os.listdir(folder / _PARTS))]
            swept = {_MANIFEST, _DIGESTS, _LOG} & {*begun}
            if begun and not swept:
                raise self._refused("foreign.alone", name=begun[0])  # it has names that others give, too
            if stale and not grown and not overwrite and begun:
                raise self._refused(f"not-empty.{'plan' if held else 'no-plan'}")
            if overwrite:
                self._clear()
            elif stale and held:
                self._set_aside(str(held["plan"]), hold=held.get("code") == marks["code"])
            (folder / _PARTS).mkdir(parents=True, exist_ok=True)
            for draft in [*folder.glob(".*.draft"), *folder.glob("*/.*.draft")]:
                remove(draft)  # what a killed run left half-made
        except OSError as error:
            raise self._refused("not-made", reason=error.strerror) from None
        self._digests = self._read_digests()
        about = {"title": plan.described.title, "sites": len(plan.places), **marks}
        with self.leaving_what_is_done():
            self.write(_MANIFEST, [json_bytes({"schema": 1, "plan": plan.fingerprint, **about})])
        self._earlier = _earlier_parts(folder / _EARLIER)

    def _refused(self, code: str, **values: object) -> OutputError:
        return OutputError(problem(code, **values), file=str(self.folder))

    def _set_aside(self, plan: str, *, hold: bool) -> None:
        """Keep the parts of this sweep's earlier plan that are whole, for the rows that still hold; no part where none does."""
        digests, earlier = self._read_digests(), self.folder / _EARLIER
        earlier.mkdir(exist_ok=True)
        for path in () if hold else earlier.glob("*-part-*.parquet"):
            remove(path)
        for path in (self.folder / _PARTS).glob("part-*.parquet") if hold else ():
            if path.is_file() and digests.get(path.name) == file_mark(path):
                path.replace(earlier / f"{plan[:16]}-{path.name}")
        for name in (_PARTS, _DIGESTS):
            remove(self.folder / name)

    def _put_by(self) -> None:
        """Take what the earlier parts came to out of sight, until there is what takes its place: a sweep may be refused."""
        earlier = self.folder / _EARLIER
        for name in _ENDS:
            with contextlib.suppress(OSError):
                os.lstat(self.folder / name)
                earlier.mkdir(exist_ok=True)
                remove(earlier / name)
                (self.folder / name).rename(earlier / name)
                self.log(f"{name} of before is in {_EARLIER}")

    def at_hand(self, job: Job) -> pd.DataFrame | None:
        """Return the rows of a job that an earlier plan of this sweep has left, the same in all that decides about them."""
        import pyarrow.parquet as pq

        marks, rows = self.plan.marks, []
        designs = {design.name for design in self.plan.designs[job.first_design : job.after_design]}
        for place in job.places:
            earlier = self._earlier.get(place.name, []) if place.cell is None else []
            mark = weather_mark(self.plan.folder, place.file) if earlier else ""
            for path, about in earlier:
                same = [name for name in designs if about["designs"].get(name) == marks.designs[name]]
                asked_alike = about["all_years"] == (self.plan.years() is None)
                same_weather = about["weather"].get(place.name) == mark
                if asked_alike and same_weather and about["places"].get(place.name) == repr(place) and same:
                    wanted = [("site", "=", place.name), ("design", "in", same)]
                    rows.append(pq.read_table(path, filters=wanted).to_pandas())
        return pd.concat(rows, ignore_index=True).drop_duplicates([*KEYS, "year"]) if rows else None

    def drop(self) -> None:
        """Take parts without any row away, unless an earlier run has left what may hold again."""
        if not (self.folder / _EARLIER).exists():
            self._clear()

    @contextlib.contextmanager
    def leaving_what_is_done(self) -> Iterator[None]:
        """Where a run ends before its first part with a row, in a folder without earlier ones, take away what it has begun."""
        try:
            yield
        except BaseException:
            ends = any(os.path.lexists(self.folder / name) for name in (_EARLIER, *_ENDS))
            if not ends and not any(map(_has_rows, (self.folder / _PARTS).glob("*"))):
                with contextlib.suppress(OSError):
                    self._clear()
            raise

    def _clear(self) -> None:
        for name in _OURS:
            remove(self.folder / name)

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
            raise OutputError(problem("unwritable", reason=error.strerror), file=str(target)) from None
        finally:
            with contextlib.suppress(OSError):
                draft.unlink(missing_ok=True)

    def log(self, text: str) -> None:
        """Add a line to the log, which alone tells when things were done."""
        with contextlib.suppress(OSError), open(self.folder / _LOG, "a", encoding="utf-8", opener=unblocked) as file:
            file.write(f"{time.strftime('%Y-%m-%d %H:%M:%S', time.gmtime())} UTC  {visible(text)}\n")

    def part(self, index: int) -> Path:
        """Return where a part stands."""
        return self.folder / _PARTS / f"part-{index:06d}.parquet"

    def write_part(self, index: int, payload: bytes) -> None:
        """Write a part of the dataset, and then its digest; what others of other bytes came to is no longer so."""
        digest = hashlib.sha256(payload).hexdigest()
        if self._digests.get(self.part(index).name) != digest:
            self._put_by()
        self.write(f"{_PARTS}/{self.part(index).name}", [payload])
        self._digests[self.part(index).name] = digest
        try:
            with open(self.folder / _DIGESTS, "a", encoding="ascii", opener=unblocked) as file:
                file.write(f"{digest}  {_PARTS}/{self.part(index).name}\n")
        except OSError as error:
            raise self._refused("unwritable", reason=error.strerror) from None

    def seal(self) -> None:
        """Write the digests of the parts that are there, in their order, which does not depend on who was ready first."""
        there = [name for name in sorted(self._digests) if os.path.isfile(self.folder / _PARTS / name)]
        lines = [f"{self._digests[name]}  {_PARTS}/{name}\n".encode() for name in there]
        self.write(_DIGESTS, lines)
        with contextlib.suppress(OSError):
            remove(self.folder / _EARLIER)

    def _read_digests(self) -> dict[str, str]:
        """Part -> its digest; of a part that was written again, the last."""
        try:
            lines = _plain(self.folder / _DIGESTS).splitlines()
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
        if about is None or self._digests.get(self.part(job.index).name) != file_mark(self.part(job.index)):
            return None
        if about.get("plan") != self.plan.fingerprint or about.get("part") != job.index:
            return None
        sites = [place for place in job.places if place.cell is None]
        # a site without a mark could not be read: another try costs little
        changed = any(about["weather"].get(site.name) != weather_mark(self.plan.folder, site.file) for site in sites)
        return None if changed else about

    def about(self, index: int) -> dict[str, Any] | None:
        """Return what a part says of itself; nothing where there is none, or none that is whole."""
        return _about_part(self.part(index))

    def trim(self, parts: int) -> None:
        """Take away parts that this plan has not."""
        for path in set((self.folder / _PARTS).glob("part-*.parquet")) - set(map(self.part, range(parts))):
            path.unlink(missing_ok=True)
            self._digests.pop(path.name, None)


def _foreign_in(folder: Path, name: str) -> str:
    """Return what no sweep has left of an entry of its folder, or of what is in that; nothing where it is all ours."""
    if _is_draft(name):
        return ""
    if name not in _OURS or (folder / name).is_dir() != (name in _FOLDERS):
        return name
    ends = _FOLDERS.get(name)
    inside = os.scandir(folder / name) if ends else ()
    strange = (part.name for part in inside if part.is_dir() or not part.name.endswith(ends or ()))
    return min((f"{name}/{part}" for part in strange if not _is_draft(part)), default="")


def _is_draft(name: str) -> bool:
    return name.startswith(".") and name.endswith(".draft")


def _earlier_parts(folder: Path) -> dict[str, list[tuple[Path, dict[str, Any]]]]:
    """Site -> the earlier parts that hold rows of it, and what they say of themselves."""
    parts: dict[str, list[tuple[Path, dict[str, Any]]]] = {}
    for path in sorted(folder.glob("*.parquet")):
        if about := _about_part(path):
            for site in about.get("places", {}):
                parts.setdefault(site, []).append((path, about))
    return parts


def _has_rows(part: Path) -> bool:
    """Whether a part has any row; what can't be read may have some."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        return bool(pq.read_metadata(part).num_rows)
    except (OSError, pa.ArrowException):
        return True


def _about_part(path: Path) -> dict[str, Any] | None:
    """Return what a part says of itself; nothing where there is none, or none that is whole and has what parts have."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        schema = pq.read_schema(path) if path.is_file() else pa.schema([])  # a pipe would be waited for
        about: dict[str, Any] = json.loads((schema.metadata or {})[_KEY])
        whole = schema.names == [*HEADS, *COLUMNS] and all(isinstance(about[key], kind) for key, kind in _ABOUT.items())
    except (OSError, pa.ArrowException, KeyError, TypeError, ValueError, RecursionError):
        return None
    return about if whole else None
