"""
GHCN: NOAA's Global Historical Climatology Network Daily, one station, in any of its three layouts.

The fixed-width .dly file (a line for each month and element), the by-station CSV (a line for each day and
element) and the access CSV (a line for each day, a column for each element). All have whole numbers, tenths as
a rule, -9999 for missing, and flags beside each value; a value with a quality flag failed one of the archive's
checks and is a gap here. Source: NOAA NCEI, readme of GHCN-Daily (from memory).
"""

import itertools
import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.weather.formats import archives
from panbudget.weather.text.columns import REQUIRED
from panbudget.weather.text.mistakes import Mistakes, note, notes
from panbudget.weather.text.moments import day_of
from panbudget.weather.text.raw import Columns, LeftOut, RawTable, Site, Source, Station
from panbudget.weather.text.rows import split

NAME = "ghcn-daily"
#: where the format is described
SOURCE = "NOAA NCEI, readme of GHCN-Daily (from memory)"

_PLAIN = archives.Layout(**archives.facts_of(NAME))
_LAYOUT = _PLAIN._replace(more=[*_PLAIN.more, *(f"{name}_ATTRIBUTES" for name in (*_PLAIN.measures, *_PLAIN.more))])
_LONG_LAYOUT = _LAYOUT._replace(station=["ID"])
# sums over several days, which can't be laid on single ones
_SEVERAL_DAYS = {"MDPR": "rain", "MDEV": "pan evaporation"}
_WATCHED = {*_LAYOUT.measures, *_SEVERAL_DAYS}
_MISSING = -9999.0

_ACCESS = ["STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME"]
_LONG = ["ID", "DATE", "ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME"]
_LONG_ROW = re.compile(r'"?[A-Z]{2}[A-Z0-9_\-]{9}"?,"?\d{8}"?,"?[A-Z]{2}[A-Z0-9]{2}"?,.*')
_DLY_ROW = re.compile(r"(?P<id>[A-Z]{2}[A-Z0-9_\-]{9})(?P<year>\d{4})(?P<month>\d{2})(?P<element>[A-Z]{2}[A-Z0-9]{2})")
_DLY_HEAD, _DLY_GROUP, _DLY_DAYS = 21, 8, 31
_DLY_WIDTH = _DLY_HEAD + _DLY_GROUP * _DLY_DAYS
#: a value of a station: its line, day, element, text, flags of measurement and quality, and time of observation
_VALUE = ("line", "day", "element", "text", "measurement", "quality", "time")


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is of GHCN-Daily.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        Sure where a line has one of the three layouts. And why.
    """
    lines = [line for line in head.split("\n") if line.strip()][:5]
    if not lines:
        return 0.0, "nothing to see"
    layout = _layout(lines)
    if layout != "access":
        what = {"dly": "lines that begin with station, year, month and element (.dly)"}
        return 0.98, what.get(layout, "rows of station, day, element, value and flags (by-station CSV)")
    header = split(lines[0])
    if header[: len(_ACCESS)] == _ACCESS and set(header) & set(_LAYOUT.measures) and "FRSHTT" not in header:
        return 0.97, "header with STATION, DATE, place and elements (access CSV)"
    return 0.0, "none of the three layouts"


def read(source: Source, *, columns: Columns, site: Site) -> RawTable:
    """
    Read a GHCN-Daily file of one station.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Must be empty: the format's elements are known.
    site : Site
        Not asked: days are the archive's own.

    Returns
    -------
    RawTable
        Of tmin, tmax, dew_point, rh_max, rh_min, rh_mean, wind (at 10 m; 0.6 m where only wind run is given), rain,
        sunshine, pressure and pan_evaporation what the file has; days in order, save for the access CSV.

    Raises
    ------
    WeatherError
        Lines that are cut off, numbers with decimals, a value twice, several stations, no temperatures.
    """
    mistakes = Mistakes()
    layout = _layout(list(itertools.islice((line for line in source.lines if line.strip()), 5)))
    read_layout = {"dly": _read_dly, "long": _read_long, "access": _read_access}[layout]
    values, station, texts = read_layout(source, mistakes)
    values["element"] = values["element"].astype("category")
    watched = _where(values, values["element"].isin(_WATCHED))
    lines = watched["line"].to_numpy()
    figures = archives.measured(watched["text"], watched["element"], lines, mistakes, [_MISSING], whole=True)
    known = _where(watched.drop(columns="text").assign(value=figures), ~np.isnan(figures))
    day_numbers = known["day"].to_numpy().astype("datetime64[D]").astype(np.int64)
    element_and_day = known["element"].cat.codes.to_numpy(np.int64) * 1_000_000 + day_numbers
    twice = pd.Series(element_and_day, index=known.index).duplicated()
    for line, day, element in known[twice][["line", "day", "element"]].itertuples(index=False) if twice.any() else ():
        mistakes.add("value-twice", line=line, element=element, day=day.date())
    mistakes.raise_if_any(source.shown_as)
    elements = set(watched["element"].unique())
    present = [element for element in _LAYOUT.measures if element in elements]
    archives.require_temperatures(present, sorted(values["element"].cat.categories), source, _LAYOUT)
    # of the access CSV every row counts, in its order; of the others the days that have a value
    counted = (values if layout == "access" else known)[["day", "line"]]
    firsts = _where(counted, ~counted["day"].duplicated())
    firsts = firsts if layout == "access" else firsts.sort_values("day")
    if firsts.empty:
        raise source.refusal("no-value")
    days = firsts["day"].to_numpy().astype("datetime64[D]")
    table = archives.Archived(values, firsts["line"].to_numpy(dtype=np.int64), days, notes=texts)
    _heed(table, known, present)
    return archives.finished(table, _LAYOUT._replace(recognised=note(f"ghcn-{layout}")), station)


def _where(table: pd.DataFrame, mask: Any) -> pd.DataFrame:
    """Return the rows of a mask, uncopied where they are all."""
    return table if mask.all() else table[mask]


def _layout(lines: Sequence[str]) -> str:
    if any(_DLY_ROW.match(line) and len(line) > 100 for line in lines):
        return "dly"
    if any(_LONG_ROW.fullmatch(line) for line in lines) or (lines and split(lines[0])[:3] == _LONG[:3]):
        return "long"
    return "access"


def _read_dly(source: Source, mistakes: Mistakes) -> tuple[pd.DataFrame, Station, list[str]]:
    """Fixed width: station 1-11, year 12-15, month 16-17, element 18-21, then 31 times value and three flags."""
    months: dict[int, tuple[str, re.Match[str]]] = {}
    for line, text in enumerate(source.lines, start=1):
        if not text.strip():
            continue
        match = _DLY_ROW.match(text)
        # the last day's flags are blank where it has no value, and blanks at a line's end get lost
        cut = _DLY_WIDTH - 3 <= len(text) < _DLY_WIDTH and text.rstrip().endswith("-9999")
        padded = text.ljust(_DLY_WIDTH) if cut else text
        if match is None:
            mistakes.add("dly-start", kind=text.strip()[:3], line=line, text=text.strip()[:30])
        elif len(padded) < _DLY_WIDTH or text[_DLY_WIDTH:].strip():
            mistakes.add("dly-width", kind=str(len(text)), line=line, count=len(text), width=_DLY_WIDTH)
        elif day_of(int(match["year"]), int(match["month"]), 1) is None:
            mistakes.add("dly-month", kind="month", line=line, year=match["year"], month=match["month"])
        else:
            months[line] = padded[:_DLY_WIDTH], match
    names = pd.Series([match["id"] for _, match in months.values()], dtype=object)
    archives.one_station(names, np.array(list(months), dtype=np.int64), source)
    station = Station(names.iloc[0] if len(names) else "a station without a number")
    return _days_of(months, mistakes), station, []


def _days_of(months: Mapping[int, tuple[str, re.Match[str]]], mistakes: Mistakes) -> pd.DataFrame:
    """Return the values of months' days: line -> its text and what its head says."""
    heads = [match.groups() for _, match in months.values()]
    letters = np.frombuffer("".join(text for text, _ in months.values()).encode("utf-32-le"), np.uint32)
    groups = letters.reshape(-1, _DLY_WIDTH)[:, _DLY_HEAD:].reshape(-1, _DLY_DAYS, _DLY_GROUP)

    def cells(start: int, end: int) -> npt.NDArray[np.object_]:
        """Cut the same letters out of each day, stripped; each text is made once."""
        codes = groups[..., start:end].astype(np.int64) @ (1 << 8 * np.arange(end - start))
        code, _ = pd.factorize(codes.ravel())
        firsts = np.unique(code, return_index=True)[1]
        texts = groups[..., start:end].reshape(-1, end - start)[firsts]
        words = ["".join(map(chr, row)).strip() for row in texts.tolist()]
        return np.array(words, dtype=object)[code].reshape(codes.shape)

    begins = np.array([f"{year}-{month}" for _, year, month, _ in heads], dtype="datetime64[M]")
    days = begins.astype("datetime64[D]")[:, None] + np.arange(_DLY_DAYS)
    text, exists = cells(0, 5), days < (begins + np.timedelta64(1, "M")).astype("datetime64[D]")[:, None]
    lines = np.array(list(months), dtype=np.int64)
    for row, number in np.argwhere((exists & (text == "")) | (~exists & (text != "-9999"))).tolist():
        facts = {"line": lines[row], **months[int(lines[row])][1].groupdict()}
        if exists[row, number]:
            mistakes.add("dly-blank", day=days[row, number], **facts)
        else:
            mistakes.add("dly-no-day", number=number + 1, **facts)
    some = exists & (text != "")
    where = np.nonzero(some)[0]
    element = np.array([head[3] for head in heads], dtype=object)
    columns = (
        lines[where],
        days[some].astype("datetime64[s]"),
        element[where],
        *(part[some] for part in (text, cells(5, 6), cells(6, 7))),
        "",
    )
    return pd.DataFrame(dict(zip(_VALUE, columns, strict=True)))


def _read_long(source: Source, mistakes: Mistakes) -> tuple[pd.DataFrame, Station, list[str]]:
    """A line for each day and element, with or without a header."""
    first = archives.first_line(source)
    above = first if split(source.lines[first - 1])[:3] == _LONG[:3] else first - 1
    frame, lines, days = archives.frame_below(source, _LONG_LAYOUT, above, _LONG, mistakes)
    for i in np.flatnonzero((frame["DATA_VALUE"] == "") & frame["ELEMENT"].isin(_WATCHED)).tolist():
        mistakes.add("blank", line=lines[i], element=frame["ELEMENT"].iloc[i], day=days[i])
    columns = (frame[name] for name in ("ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "OBS_TIME"))
    values = pd.DataFrame(dict(zip(_VALUE, (lines, days.astype("datetime64[s]"), *columns), strict=True)))
    return _where(values, values["day"].notna()), Station(frame["ID"].iloc[0]), []


def _read_access(source: Source, mistakes: Mistakes) -> tuple[pd.DataFrame, Station, list[str]]:
    """A line for each day; beside each element's column one with its flags: measurement, quality, source, time."""
    first = archives.first_line(source)
    header = split(source.lines[first - 1])
    if not {"STATION", "DATE"} <= set(header):
        raise archives.no_header(source, first, note("ghcn-layouts"))
    frame, lines, dates = archives.frame_below(source, _LAYOUT, first, header, mistakes)
    days = pd.Series(dates.astype("datetime64[s]"))
    twice = days.duplicated() & days.notna()
    for i in np.flatnonzero(twice).tolist():
        mistakes.add("day-twice", line=lines[i], day=days[i].date(), first=lines[days.eq(days[i]).argmax()])
    days = days.where(~twice)
    elements = [name for name in header if name not in _ACCESS and not name.endswith("_ATTRIBUTES")]
    watched = [name for name in elements if name in _WATCHED]  # of others their name is all that is ever said
    places = np.array([elements.index(name) for name in watched], dtype=np.int64)
    flags = [_flags_of(frame, name) for name in watched]
    columns = (
        np.tile(lines, len(watched)),
        np.tile(days.to_numpy(), len(watched)),
        pd.Categorical.from_codes(np.repeat(places, len(lines)), pd.Index(elements, dtype=object)),
        *map(
            _joined,
            ([frame[name].array for name in watched], *map(list, zip(*flags, strict=True))) if watched else [[]] * 4,
        ),
    )
    values = pd.DataFrame(dict(zip(_VALUE, columns, strict=True)))
    bare = [name for name in header if name in _LAYOUT.measures and f"{name}_ATTRIBUTES" not in header]
    row = frame.iloc[0]
    station = archives.station_at(row.get("NAME", row["STATION"]), *(row.get(name, "") for name in _ACCESS[2:5]))
    return _where(values, values["day"].notna()), station, [note("no-flags", columns=", ".join(bare))] if bare else []


def _flags_of(frame: pd.DataFrame, name: str) -> list[Any]:
    """Return an element's flags of measurement and of quality, and its time of observation, each text looked at once."""
    code, marks = pd.factorize(frame.get(f"{name}_ATTRIBUTES", pd.Series("", index=frame.index)))
    parts = [[*map(str.strip, mark.split(",")), "", "", ""] for mark in marks]
    return [pd.Categorical(np.array([part[i] for part in parts], dtype=object)).take(code) for i in (0, 1, 3)]


def _joined(columns: list[Any]) -> Any:
    return pd.api.types.union_categoricals(columns) if columns else pd.Categorical([])


def _heed(table: archives.Archived, known: pd.DataFrame, present: Sequence[str]) -> None:
    """Heed the flags of the values that are known, and lay those that passed on the days."""
    failed, sound = _where(known, known["quality"] != ""), _where(known, known["quality"] == "")
    rows, values = pd.Index(table.days.astype("datetime64[s]")).get_indexer(sound["day"]), sound["value"].to_numpy()
    for element in present:
        column = _LAYOUT.measures[element].column
        of_element = (sound["element"] == element).to_numpy()
        if column not in table.chosen and (column in REQUIRED or of_element.any()):
            table.chosen[column] = element
            table.values[column] = np.full(len(table.days), np.nan)
            table.values[column][rows[of_element]] = values[of_element]
            if days := frozenset(failed.loc[failed["element"] == element, "day"].dt.date):
                table.left_out[column] = LeftOut("its quality flag", days)
    counts = ", ".join(f"{name} {count}" for name, count in failed.groupby("element", observed=True).size().items())
    table.notes += notes("checks-failed", len(failed), counts=counts)
    rain = sound.loc[sound["element"] == "PRCP", ["measurement", "time"]]
    table.notes += notes("rain-trace", int((rain["measurement"] == "T").sum()))
    table.notes += notes("rain-presumed", int((rain["measurement"] == "P").sum()))
    for element, what in _SEVERAL_DAYS.items():
        table.notes += notes("several-days", int((sound["element"] == element).sum()), what=what, element=element)
    times = {time: count for time, count in rain["time"].value_counts().items() if re.fullmatch(r"\d{4}", str(time))}
    if sum(count if str(time) < "1200" else -count for time, count in times.items()) > 0:
        table.notes.append(note("rain-in-the-morning"))
    if table.chosen.get("wind") == "WDMV":
        table.notes.append(note("wind-run"))
    elif "WDMV" in present and "wind" in table.chosen:
        table.notes.append(note("wind-run-not-used"))
