"""
Several: files of one station, month by month or year by year, joined by date to one record.

Files of hours with one and the same header are one table in parts, so that a day whose hours stand in two of them is
whole. Others are joined day by day: the first in the list that has a figure gives it, and where two have one they must agree.
"""

import glob
import hashlib
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.physics import air
from panbudget.weather.checks.inspection import RawFile
from panbudget.weather.formats.readers import READERS
from panbudget.weather.messages import note, problem
from panbudget.weather.site import Site
from panbudget.weather.text.columns import STANDARD
from panbudget.weather.text.opening import find_opening
from panbudget.weather.text.raw import ColumnChoice
from panbudget.words import and_more

#: a file, a pattern of files, or several of them
Paths = str | Path | Sequence[str | Path]

# readers whose files hold parts of days
_SUBDAILY = ("logger", "isd-lite")
# figures of two files that agree: digits are rounded [in the column's unit]
_NEAR = 0.11


def shown_names(path: Paths) -> str:
    """Return what messages call a file or several."""
    return str(path) if isinstance(path, str | Path) else ", ".join(map(str, path))


def paths_of(path: Paths, *, shown_as: str) -> list[Path]:
    """Return the files that are meant, patterns in the order of names; raise WeatherError for one that meets no file."""
    files: list[Path] = []
    for each in [path] if isinstance(path, str | Path) else path:
        pattern = str(each)
        if any(mark in Path(pattern).name for mark in "*?[") and not os.path.exists(pattern):
            # an exact folder, whatever stands in its name
            folder = glob.escape(str(Path(pattern).parent))
            met = sorted(glob.glob(f"{folder}/{Path(pattern).name}"))
            if not met:
                raise WeatherError(problem("no-match", "weather.file", pattern, pattern=pattern), file=shown_as)
            files += map(Path, met)
        else:
            files.append(Path(pattern))
    return list(dict.fromkeys(files))


def joined(files: Sequence[RawFile], site: Site, *, shown_as: str, columns: Mapping[str, ColumnChoice]) -> RawFile:
    """
    Join files, in the order of the list.

    Parameters
    ----------
    files : sequence of RawFile
    site : Site
        Whose clock the days go by.
    shown_as : str
        What messages call them together.
    columns : mapping
        The user's choice of columns.

    Raises
    ------
    WeatherError
        A typical year among several files, or figures of one day that don't agree.
    """
    if any(file.raw.typical for file in files):
        raise WeatherError(problem("several-typical"), file=shown_as)
    sha256 = hashlib.sha256("".join(file.source.sha256 for file in files).encode()).hexdigest()
    source = replace(files[0].source, shown_as=shown_as, sha256=sha256, taken_from="")
    if (text := _one_text(files)) is not None:
        source = replace(source, text=text)
        file = files[0]._replace(raw=READERS[files[0].reader].read(source, columns=columns, site=site), source=source)
        notes = (note("several", count=len(files)), *file.raw.notes)
        return file._replace(raw=replace(file.raw, notes=notes), parts=files)
    height, raws = files[0].raw.wind_height, [file.raw for file in files]
    daily = [_at_height(raw.daily, raw.wind_height, height) for raw in raws]
    if wrong := list(_contradictions(files, daily)):
        raise WeatherError(*wrong, file=shown_as)
    whole = daily[0][~daily[0].index.duplicated()]
    for other in daily[1:]:
        whole = whole.combine_first(other[~other.index.duplicated()])
    whole = whole[[name for name in STANDARD if name in whole.columns]].rename_axis("date")
    first = {name: next(raw for raw in raws if name in raw.daily.columns) for name in map(str, whole.columns)}
    texts = [f"{file.source.shown_as}: {text}" for file in files for text in file.raw.notes]
    raw = replace(
        raws[0],
        daily=whole,
        lines=np.arange(1, len(whole) + 1),
        recognised="; ".join(dict.fromkeys(raw.recognised for raw in raws)),
        units={name: raw.units[name] for name, raw in first.items() if name in raw.units},
        headers={name: raw.headers[name] for name, raw in first.items() if name in raw.headers},
        conversions={name: raw.conversions[name] for name, raw in first.items() if name in raw.conversions},
        contradicted={name: unit for name, raw in first.items() if (unit := (raw.contradicted or {}).get(name))}
        or None,
        chosen={name: choice for raw in raws for name, choice in raw.chosen.items()},
        of_records={name: of for raw in raws for name, of in raw.of_records.items()},
        by_hour=next((raw.by_hour for raw in raws if "tmin" in raw.daily.columns), None),
        unit_is_stated=frozenset(
            name for name in first if all(name in raw.unit_is_stated for raw in raws if name in raw.daily.columns)
        ),
        notes=(note("several", count=len(files)), *texts),
        doubts=tuple(dict.fromkeys(doubt for raw in raws for doubt in raw.doubts)),
        absent={name: why for raw in raws for name, why in raw.absent.items() if name not in whole.columns},
        left_out={name: out for raw in raws for name, out in raw.left_out.items()},
    )
    return RawFile(raw, source, files[0].reader, files[0].why, files)


def _one_text(files: Sequence[RawFile]) -> str | None:
    """Return tables of hours with one header as one text; None where they are none."""
    if {file.reader for file in files} - set(_SUBDAILY) or len({file.reader for file in files}) > 1:
        return None
    if files[0].reader == "isd-lite":
        return "\n".join(file.source.text.rstrip("\n") for file in files) + "\n"
    openings = [find_opening(file.source.lines) for file in files]
    if any(opening is None or opening.cells != openings[0].cells for opening in openings if openings[0]):
        return None
    parts = [
        file.source.lines[opening.above if i else 0 :]
        for i, (file, opening) in enumerate(zip(files, openings, strict=True))
        if opening
    ]
    return "\n".join("\n".join(lines).rstrip("\n") for lines in parts) + "\n"


def _at_height(daily: pd.DataFrame, height: float | None, wanted: float | None) -> pd.DataFrame:
    """Bring the wind to the height of the first file's gauge, if the formats have theirs at different ones."""
    if "wind" not in daily.columns or (height or 2.0) == (wanted or 2.0):
        return daily
    factor = float(air.wind_at_2m(1.0, height=height or 2.0)) / float(air.wind_at_2m(1.0, height=wanted or 2.0))
    return daily.assign(wind=daily["wind"] * factor)


def _contradictions(files: Sequence[RawFile], tables: Sequence[pd.DataFrame]) -> Iterator[Problem]:
    """Name the figures of one day that differ from file to file."""
    tables = [table[~table.index.duplicated()] for table in tables]
    spans = [(table.index.min(), table.index.max()) for table in tables]
    for later in range(1, len(files)):
        for earlier in range(later):
            if spans[earlier][1] < spans[later][0] or spans[later][1] < spans[earlier][0]:
                continue  # files of a day each are hundreds, and pairs of them tens of thousands
            before, after = tables[earlier], tables[later]
            days, names = before.index.intersection(after.index), before.columns.intersection(after.columns)
            apart = (before.loc[days, names] - after.loc[days, names]).abs() > _NEAR
            for name in names[apart.any().to_numpy()]:
                day = days[int(np.argmax(apart[name].to_numpy()))]
                facts = {"day": day.date(), "more": and_more(int(apart[name].sum()) - 1, "day")}
                facts |= {"first": files[earlier].source.shown_as, "second": files[later].source.shown_as}
                values = {"one": before.loc[day, name], "two": after.loc[day, name]}
                yield problem("files-disagree", str(name), None, **facts, **values)
