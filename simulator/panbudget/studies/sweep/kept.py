"""
Kept: cleaned weather and ETo of places, in a folder of this user's alone, so that the next plan on the same weather need not read
it again. Found by fingerprint (the file's content, the place, how the file is to be read, the seasons, the package's sources); a
file is written whole or not at all, believed only where its digest fits, and made again where it is gone. What was used longest
ago goes once there is too much of it.
"""

import contextlib
import dataclasses
import datetime as dt
import hashlib
import io
import json
import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pandas.api.types import union_categoricals

from panbudget.engine.compiled import own_bytes, own_folder
from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.season.years import Years
from panbudget.studies.sweep.marks import code_mark, file_mark, mark_of
from panbudget.studies.sweep.site import Place
from panbudget.weather import Weather
from panbudget.weather.checks.inspection import Caution
from panbudget.weather.flags import coded, flags_of

#: what may stay [bytes]
_MOST = 2e9
_DIGEST = 32  # bytes of it before the table
_META = b"panbudget"

#: years of a place, and ETo of each of its weathers, by `id`
Read = tuple[Years, dict[int, Floats]]


def kept_or_read(place: Place, base: Scenario, path: Path, asked: list[int] | None, read: Callable[[], Read]) -> Read:
    """
    Return a place's years and ETo: kept from an earlier plan, or read and kept.

    Parameters
    ----------
    place : Place
    base : Scenario
    path : Path
        Its weather file. Of a pattern, and of a scenario with fallbacks, nothing is kept.
    asked : list of int or None
        The plan's years.
    read : callable
    """
    file = None if base.weather.fallback else _file(place, base, path, asked)
    if file is None:
        return read()
    held = _held(file)
    if held is None:
        held = read()
        _keep(file, *held)
    return held


def trim() -> None:
    """Remove what was used longest ago, until what stays is within its bound."""
    if (folder := own_folder("weather")) is None:
        return
    with contextlib.suppress(OSError):
        room = _MOST
        for path in sorted(folder.iterdir(), key=lambda path: path.stat().st_mtime, reverse=True):
            room -= path.stat().st_size
            if room < 0:
                path.unlink(missing_ok=True)


def _file(place: Place, base: Scenario, path: Path, asked: list[int] | None) -> Path | None:
    folder = own_folder("weather")
    content = file_mark(path) if folder is not None else ""
    if folder is None or not content:
        return None
    season = base.season
    days = (season.start.isoformat(), season.end.isoformat(), season.spin_up_days)
    how = (base.weather.model_dump_json(exclude={"file"}), place.site().model_dump_json(), place.file, path.suffix)
    return folder / mark_of(code_mark(), content, how, days, asked)[:40]


def _keep(file: Path, years: Years, eto: dict[int, Floats]) -> None:
    import pyarrow as pa

    runs = list({id(weather): weather for weather in years.weather.values()}.values())
    names = list(dict.fromkeys(str(name) for weather in runs for name in weather.daily))
    if any(list(weather.daily) != names for weather in runs):
        return
    numbers = {name: np.concatenate([weather.daily[name].to_numpy(float) for weather in runs]) for name in names}
    numbers["eto"] = np.concatenate([eto[id(weather)] for weather in runs])
    columns = {name: pa.array(values) for name, values in numbers.items()}
    for name in names:
        flags = [weather.flags[name] for weather in runs]
        code, kinds = coded(union_categoricals(flags) if len(flags) > 1 else flags[0])
        columns[f"flag {name}"] = pa.DictionaryArray.from_arrays(code, pa.array(kinds, pa.string()))
    about = {
        "runs": [(str(weather.daily.index[0].date()), len(weather.daily)) for weather in runs],
        "years": {year: [id(run) for run in runs].index(id(weather)) for year, weather in years.weather.items()},
        "left_out": years.left_out,
        "cautions": [[(caution.name, caution.brief) for caution in weather.cautions] for weather in runs],
        "sha256": runs[0].provenance["sha256"],
    }
    table = pa.table(columns).replace_schema_metadata({_META: json.dumps(about)})
    buffer = io.BytesIO()
    options = pa.ipc.IpcWriteOptions(compression="lz4", use_threads=False)
    with pa.ipc.new_file(buffer, table.schema, options=options) as writer:
        writer.write_table(table)
    payload = buffer.getvalue()
    draft = file.with_name(f".{file.name}.{os.getpid()}.{threading.get_ident()}")
    try:
        draft.write_bytes(_digest(file, payload) + payload)
        draft.replace(file)
    except OSError:  # a full disk: it is read again next time
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)


def _digest(file: Path, payload: bytes) -> bytes:
    """Of what is kept and of its name, which is what it is kept for: under another's name it is believed no more."""
    return hashlib.sha256(file.name.encode() + payload).digest()


def _held(file: Path) -> Read | None:
    import pyarrow as pa

    try:
        content = own_bytes(file)
        os.utime(file)
    except OSError:
        return None
    payload = content[_DIGEST:]
    if _digest(file, payload) != content[:_DIGEST]:
        return None
    table = pa.ipc.open_file(payload, options=pa.ipc.IpcReadOptions(use_threads=False)).read_all()
    about = json.loads(table.schema.metadata[_META])
    columns = dict(zip(table.column_names, table.columns, strict=True))
    weathers, eto, at = [], dict[int, Floats](), 0
    for (first, days), cautions in zip(about["runs"], about["cautions"], strict=True):
        recalled = tuple(Caution(name, brief, (), brief=brief) for name, brief in cautions)
        run, values = _run(columns, dt.date.fromisoformat(first), slice(at, at + days), about["sha256"])
        weather = dataclasses.replace(run, cautions=recalled)
        weathers.append(weather)
        eto[id(weather)] = values
        at += days
    years = {int(year): weathers[run] for year, run in about["years"].items()}
    return Years(years, {int(year): why for year, why in about["left_out"].items()}), eto


def _run(columns: dict[str, Any], first: dt.date, cut: slice, sha256: str) -> tuple[Weather, Floats]:
    """A run of days as it was kept: its weather and its ETo."""
    days = pd.DatetimeIndex((np.datetime64(first, "D") + np.arange(cut.stop - cut.start)).astype("M8[ns]"), name="date")
    numbers = {name: part.to_numpy()[cut] for name, part in columns.items() if not name.startswith("flag ")}
    eto = np.array(numbers.pop("eto"))
    flags = {}
    for name in numbers:
        held = columns[f"flag {name}"].chunk(0)
        flags[name] = flags_of(held.indices.to_numpy()[cut], held.dictionary.to_pylist())
    return Weather(pd.DataFrame(numbers, days), pd.DataFrame(flags, days), {"sha256": sha256}), eto
