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
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from panbudget.errors import OutputError, Problem
from panbudget.scenario.garden import Scenario
from panbudget.season.years import moved
from panbudget.studies.sweep.compute import COLUMNS, WHOLE

if TYPE_CHECKING:
    from panbudget.studies.sweep.jobs import BadSite, Job, Rows


_MANIFEST = "plan.json"
_PARTS = "seasons"
_OURS = frozenset({_MANIFEST, _PARTS, "summary.csv", "suits.csv", "sweep.json", "figures"})
_KEY = b"panbudget"


def part_bytes(
    parts: Sequence[Rows],
    base: Scenario,
    fingerprint: str,
    index: int,
    marks: dict[str, str],
    bad: Sequence[BadSite],
) -> bytes:
    """
    Return a part of the dataset as a Parquet file.

    Parameters
    ----------
    parts : sequence of Rows
        Of its sites.
    base : Scenario
        Whose season gives the dates.
    fingerprint : str
        The plan's.
    index : int
        The job's.
    marks : dict
        Site -> fingerprint of its weather file.
    bad : sequence of BadSite

    Returns
    -------
    bytes
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    sites: dict[str, list[Any]] = {name: [] for name in ("site", "latitude", "longitude", "elevation_m")}
    words: dict[str, list[Any]] = {name: [] for name in ("design", "controller", "bed", "area_m2")}
    sizes, repeats = [], []
    for part in parts:
        about: tuple[Any, ...] = (part.place.name, part.place.latitude, part.place.longitude, part.place.elevation)
        for name, value in zip(sites, about, strict=True):
            sites[name].append(value)
        sizes.append(len(part.rows) * part.years)
        for row in part.rows:
            for word, own in zip(words, row, strict=True):
                words[word].append(own)
            repeats.append(part.years)
    numbers = {
        name: np.concatenate([part.columns[name] for part in parts]) if parts else np.zeros(0) for name in COLUMNS
    }
    by_site = np.repeat(np.arange(len(sizes), dtype=np.int32), sizes)
    by_row = np.repeat(np.arange(len(repeats), dtype=np.int32), repeats)
    columns: dict[str, Any] = {"site": _named(sites["site"], by_site)}
    for name in ("latitude", "longitude", "elevation_m"):
        columns[name] = pa.array(np.array(sites[name], dtype=float)[by_site], from_pandas=True)
    for name in ("design", "controller", "bed"):
        columns[name] = _named(words[name], by_row)
    columns["area_m2"] = pa.array(np.array(words["area_m2"], dtype=float)[by_row])
    years = numbers["year"].astype(int)
    first_year = base.season.start.year
    for name, day in (("start", base.season.start), ("end", base.season.end)):
        known, place = np.unique(years, return_inverse=True)
        days = np.array([moved(day, int(year) - first_year) for year in known], dtype="datetime64[D]")
        columns[name] = pa.array(days[place], type=pa.date32())
    for name in COLUMNS:
        kind = np.int32 if name in WHOLE else np.float64
        columns[name] = pa.array(numbers[name].astype(kind), from_pandas=True)
    said = {
        "plan": fingerprint,
        "part": index,
        "weather": marks,
        "bad": [[site.name, list(site.lines)] for site in bad],
        "sites": len(parts),
    }
    table = pa.table(columns).replace_schema_metadata({_KEY: json.dumps(said, sort_keys=True)})
    buffer = io.BytesIO()
    pq.write_table(table, buffer, compression="zstd", compression_level=1, row_group_size=1_000_000)
    return buffer.getvalue()


def _named(names: list[str], places: Any) -> Any:
    """A column of repeated words."""
    import pyarrow as pa

    known, first = (
        np.unique(np.array(names, dtype=object), return_inverse=True) if names else (np.zeros(0, object), places)
    )
    codes = pa.array(np.asarray(first)[places].astype(np.int32), type=pa.int32())
    return pa.DictionaryArray.from_arrays(codes, pa.array(list(known), type=pa.string()))


class Store:
    """
    A sweep's folder.

    Parameters
    ----------
    folder : Path
    fingerprint : str
        The plan's.
    about : dict
        What the manifest says of it.
    overwrite : bool
        Whether another plan's sweep there may be taken away.

    Raises
    ------
    OutputError
        It holds something else, or can't be written.
    """

    def __init__(self, folder: Path, fingerprint: str, about: dict[str, Any], *, overwrite: bool) -> None:
        self.folder = Path(folder)
        self.fingerprint = fingerprint
        self._prepare({"schema": 1, "plan": fingerprint, **about}, overwrite)

    def _prepare(self, manifest: dict[str, Any], overwrite: bool) -> None:
        folder = self.folder
        if folder.exists() and not folder.is_dir():
            raise OutputError(Problem("not-a-folder", "", "is a file", "a folder", "choose another"), file=str(folder))
        try:
            inside = sorted(entry.name for entry in folder.iterdir()) if folder.exists() else []
            foreign = [name for name in inside if name not in _OURS and not _is_draft(name)]
            if foreign:
                found = f"holds {foreign[0]}, which a sweep did not make and will not remove"
                raise OutputError(Problem("foreign", "", found, cure="choose another folder"), file=str(folder))
            held = self._held()
            if inside and held != self.fingerprint and not (held is None and inside == []):
                drafts_only = all(_is_draft(name) for name in inside)
                if not overwrite and not drafts_only:
                    what = "another plan's sweep (or this one's before it, or a package, changed)" if held else "files"
                    cure = "overwrite it to start again, or choose another folder"
                    raise OutputError(Problem("not-empty", "", f"holds {what}", cure=cure), file=str(folder))
                self._clear()
            elif overwrite and inside:
                self._clear()
            (folder / _PARTS).mkdir(parents=True, exist_ok=True)
            for draft in [*folder.glob(".*.draft"), *folder.glob("*/.*.draft")]:
                draft.unlink(missing_ok=True)  # what a killed run left half-made
        except OSError as error:
            problem = Problem("not-made", "", f"can't be made ({error.strerror})", cure="choose another folder")
            raise OutputError(problem, file=str(folder)) from None
        self.write(_MANIFEST, _json(manifest))

    def _held(self) -> str | None:
        try:
            found = json.loads((self.folder / _MANIFEST).read_text(encoding="utf-8"))
            return str(found["plan"])
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def _clear(self) -> None:
        import shutil

        for name in _OURS:
            path = self.folder / name
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink(missing_ok=True)

    def write(self, name: str, content: bytes) -> None:
        """
        Write a file whole or not at all.

        Raises
        ------
        OutputError
            It can't be written.
        """
        self.write_pieces(name, [content])

    def write_pieces(self, name: str, pieces: Iterable[bytes]) -> None:
        """Write a file whole or not at all, a piece after the other."""
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
            found, cure = f"can't be written ({error.strerror})", "what is done is kept: make room, and run again"
            raise OutputError(Problem("not-written", "", found, cure=cure), file=str(target)) from None

    def part(self, index: int) -> Path:
        """Return where a part stands."""
        return self.folder / _PARTS / f"part-{index:06d}.parquet"

    def write_part(self, index: int, payload: bytes) -> None:
        """Write a part of the dataset."""
        self.write(f"{_PARTS}/part-{index:06d}.parquet", payload)

    def done(self, job: Job, weather: dict[str, Path] | None) -> dict[str, Any] | None:
        """
        Return what a part that is there says of itself, if it is this plan's and its weather files are still the same.

        Parameters
        ----------
        job : Job
        weather : dict, optional
            Site -> weather file; left out for a grid, whose fingerprint is part of the plan's.
        """
        about = self.about(job.index)
        if about is None or about.get("plan") != self.fingerprint or about.get("part") != job.index:
            return None
        if weather is not None:
            marks: dict[str, str] = about["weather"]
            for name, path in weather.items():
                # a site without a mark could not be read: another try costs little
                if name not in marks or marks[name] != _mark(path):
                    return None
        return about

    def about(self, index: int) -> dict[str, Any] | None:
        """Return what a part says of itself; nothing where there is none, or none that is whole."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        try:
            schema = pq.read_schema(self.part(index))
            found: dict[str, Any] = json.loads((schema.metadata or {})[_KEY])
        except (OSError, pa.ArrowException, KeyError, ValueError):
            return None
        return found

    def trim(self, parts: int) -> None:
        """Take away parts that this plan has not."""
        for path in (self.folder / _PARTS).glob("part-*.parquet"):
            number = path.stem.removeprefix("part-")
            if not number.isdigit() or int(number) >= parts:
                path.unlink(missing_ok=True)


def _is_draft(name: str) -> bool:
    return name.startswith(".") and name.endswith(".draft")


def _mark(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def _json(content: dict[str, Any]) -> bytes:
    return (json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()
