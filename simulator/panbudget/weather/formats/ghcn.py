"""
GHCN: NOAA's Global Historical Climatology Network Daily, one station, in any of its three layouts.

The fixed-width .dly file (a line for each month and element), the by-station CSV (a line for each day and
element) and the access CSV (a line for each day, a column for each element). All have whole numbers, tenths as
a rule, -9999 for missing, and flags beside each value; a value with a quality flag failed one of the archive's
checks and is a gap here. Source: NOAA NCEI, readme of GHCN-Daily (from memory).
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from panbudget.weather.formats.archives import (
    DOWNLOAD,
    Archived,
    Layout,
    Measure,
    days_noted,
    finished,
    first_line,
    frame_below,
    measured,
    no_header,
    one_station,
    refuse_columns,
    require_temperatures,
    station_at,
)
from panbudget.weather.site import Site, Station
from panbudget.weather.text.columns import REQUIRED
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.moments import day_of, read_dates
from panbudget.weather.text.raw import ColumnChoice, LeftOut, RawTable
from panbudget.weather.text.rows import split
from panbudget.weather.text.source import Source

NAME = "ghcn-daily"
#: where the format is described
SOURCE = "NOAA NCEI, readme of GHCN-Daily (from memory)"

_LAYOUT = Layout(
    recognised="NOAA GHCN-Daily, access CSV (tenths of °C and mm)",
    measures={
        "TMIN": Measure("tmin", "0.1 °C", 0.1),
        "TMAX": Measure("tmax", "0.1 °C", 0.1),
        "ADPT": Measure("dew_point", "0.1 °C", 0.1),
        "RHMX": Measure("rh_max", "%"),
        "RHMN": Measure("rh_min", "%"),
        "RHAV": Measure("rh_mean", "%"),
        "AWND": Measure("wind", "0.1 m/s", 0.1),
        "WDMV": Measure("wind", "km in 24 h", 1000.0 / 86400.0),
        "PRCP": Measure("rain", "0.1 mm", 0.1),
        "TSUN": Measure("sunshine", "min", 1.0 / 60.0),
        "ASTP": Measure("pressure", "0.1 hPa", 0.01),
        "EVAP": Measure("pan_evaporation", "0.1 mm", 0.1),
    },
    station=("STATION",),
    date=("DATE",),
    # wind is measured at 10 m; wind run by a gauge at the rim of an evaporation pan, some 0.6 m up (from memory)
    wind_heights={"AWND": 10.0, "WDMV": 0.6},
    whole=True,
)
_LONG = ["ID", "DATE", "ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME"]
_LONG_LAYOUT = dataclasses.replace(
    _LAYOUT, measures={}, station=("ID",), recognised="NOAA GHCN-Daily, by-station CSV (tenths of °C and mm)"
)
_DLY_LAYOUT = dataclasses.replace(_LAYOUT, recognised="NOAA GHCN-Daily, fixed-width .dly (tenths of °C and mm)")
# sums over several days, which can't be laid on single ones
_SEVERAL_DAYS = {"MDPR": "rain", "MDEV": "pan evaporation"}
_WATCHED = {*_LAYOUT.measures, *_SEVERAL_DAYS}
_MISSING = -9999.0

_ACCESS = ["STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME"]
_LONG_ROW = re.compile(r'"?[A-Z]{2}[A-Z0-9_\-]{9}"?,"?\d{8}"?,"?[A-Z]{2}[A-Z0-9]{2}"?,.*')
_DLY_ROW = re.compile(r"(?P<id>[A-Z]{2}[A-Z0-9_\-]{9})(?P<year>\d{4})(?P<month>\d{2})(?P<element>[A-Z]{2}[A-Z0-9]{2})")
_DLY_HEAD, _DLY_GROUP, _DLY_DAYS = 21, 8, 31
_DLY_WIDTH = _DLY_HEAD + _DLY_GROUP * _DLY_DAYS
_SHIFTED = f"a line that is shifted, cut off or edited: {DOWNLOAD}"
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
    if layout == "dly":
        return 0.98, "lines that begin with station, year, month and element (.dly)"
    if layout == "long":
        return 0.98, "rows of station, day, element, value and flags (by-station CSV)"
    header = split(lines[0])
    if header[: len(_ACCESS)] == _ACCESS and set(header) & set(_LAYOUT.measures) and "FRSHTT" not in header:
        return 0.97, "header with STATION, DATE, place and elements (access CSV)"
    return 0.0, "none of the three layouts"


def read(source: Source, *, columns: Mapping[str, ColumnChoice], site: Site) -> RawTable:
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
    refuse_columns(columns, source, NAME)
    mistakes = Mistakes()
    layout = _layout([line for line in source.text.split("\n") if line.strip()][:5])
    ways = {"dly": (_read_dly, _DLY_LAYOUT), "long": (_read_long, _LONG_LAYOUT), "access": (_read_access, _LAYOUT)}
    read_layout, described = ways[layout]
    values, station, notes = read_layout(source, mistakes)
    watched = values[values["element"].isin(_WATCHED)]
    amounts = measured(
        watched["text"], watched["element"], watched["line"].to_numpy(), mistakes, missing=(_MISSING,), whole=True
    )
    known = watched.assign(value=amounts)[~np.isnan(amounts)]
    twice = known.duplicated(["element", "day"])
    for line, day, element in known.loc[twice, ["line", "day", "element"]].itertuples(index=False):
        found = f"{element} of {day} stands twice{{more}}"
        mistakes.add("value-twice", f"line {line}:", found, cure="delete one of the two", noun="line")
    mistakes.raise_if_any(source.shown_as)
    present = [element for element in _LAYOUT.measures if (watched["element"] == element).any()]
    require_temperatures(
        {_LAYOUT.measures[element].column for element in present},
        source,
        measures=_LAYOUT.measures,
        listed=", ".join(sorted(set(values["element"]))),
    )
    # of the access CSV every row counts, in its order; of the others the days that have a value
    firsts = (values if layout == "access" else known).drop_duplicates("day")
    firsts = firsts if layout == "access" else firsts.sort_values("day")
    if firsts.empty:
        found = "has only codes for missing values (-9999) or values that failed the archive's checks"
        raise source.refusal("no-value", found, "choose another station")
    table = Archived(values, firsts["line"].to_numpy(dtype=np.int64), firsts["day"].tolist(), {}, notes)
    return _heeded(table, known, present, dataclasses.replace(described, measures=_LAYOUT.measures), station)


def _layout(lines: Sequence[str]) -> str:
    if any(_DLY_ROW.match(line) and len(line) > 100 for line in lines):
        return "dly"
    if any(_LONG_ROW.fullmatch(line) for line in lines) or (lines and split(lines[0])[:3] == _LONG[:3]):
        return "long"
    return "access"


def _read_dly(source: Source, mistakes: Mistakes) -> tuple[pd.DataFrame, Station, list[str]]:
    """Fixed width: station 1-11, year 12-15, month 16-17, element 18-21, then 31 times value and three flags."""
    values: list[tuple[object, ...]] = []
    stations: dict[int, str] = {}
    for line, text in enumerate(source.text.split("\n"), start=1):
        if not text.strip():
            continue
        match = _DLY_ROW.match(text)
        # the last day's flags are blank where it has no value, and blanks at a line's end get lost
        padded = text.ljust(_DLY_WIDTH) if text.rstrip().endswith("-9999") and len(text) >= _DLY_WIDTH - 3 else text
        found = ""
        if match is None:
            found = f'"{text.strip()[:30]}" does not begin with station, year, month and element'
        elif len(padded) < _DLY_WIDTH or text[_DLY_WIDTH:].strip():
            found = f"{len(text)} characters, where this format has {_DLY_WIDTH}"
        elif day_of(int(match["year"]), int(match["month"]), 1) is None:
            found = f"year {match['year']}, month {match['month']} is no month of the calendar"
        if match is None or found:
            mistakes.add("no-line", f"line {line}:", found + "{more}", cure=_SHIFTED, kind=found[:4], noun="line")
            continue
        stations[line] = match["id"]
        for number in range(1, _DLY_DAYS + 1):
            start = _DLY_HEAD + _DLY_GROUP * (number - 1)
            value = padded[start : start + 5].strip()
            day = day_of(int(match["year"]), int(match["month"]), number)
            if day is not None and value:
                flags = padded[start + 5 : start + 6].strip(), padded[start + 6 : start + 7].strip()
                values.append((line, day, match["element"], value, *flags, ""))
            elif day is not None or value != "-9999":
                found = f"{match['element']} of {day} is blank, where this format has -9999"
                if day is None:
                    month = f"{match['year']}-{match['month']}"
                    found = f"{match['element']} has a value for day {number}, which month {month} does not have"
                mistakes.add("no-day", f"line {line}:", found + "{more}", cure=_SHIFTED, noun="line")
    names = pd.Series(list(stations.values()), dtype=object)
    one_station(names, np.array(list(stations), dtype=np.int64), source)
    station = Station(names.iloc[0] if len(names) else "a station without a number")
    return pd.DataFrame(values, columns=list(_VALUE)), station, []


def _read_long(source: Source, mistakes: Mistakes) -> tuple[pd.DataFrame, Station, list[str]]:
    """A line for each day and element, with or without a header."""
    first = first_line(source)
    above = first if split(source.text.split("\n")[first - 1])[:3] == _LONG[:3] else first - 1
    frame, lines = frame_below(source, _LONG_LAYOUT, above, _LONG, mistakes)
    blank = (frame["DATA_VALUE"] == "") & frame["ELEMENT"].isin(_WATCHED)
    days = read_dates(frame["DATE"].tolist(), lines, mistakes)
    for i in np.flatnonzero(blank).tolist():
        found = f"{frame['ELEMENT'].iloc[i]} of {days[i]} is blank{{more}}"
        mistakes.add("blank", f"line {lines[i]}:", found, cure=_SHIFTED, noun="line")
    columns = (frame[name] for name in ("ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "OBS_TIME"))
    values = pd.DataFrame(dict(zip(_VALUE, (lines, days, *columns), strict=True)))
    return values[values["day"].notna()], Station(frame["ID"].iloc[0]), []


def _read_access(source: Source, mistakes: Mistakes) -> tuple[pd.DataFrame, Station, list[str]]:
    """A line for each day; beside each element's column one with its flags: measurement, quality, source, time."""
    first = first_line(source)
    header = split(source.text.split("\n")[first - 1])
    if not {"STATION", "DATE"} <= set(header):
        expected = (
            "a header with STATION, DATE and elements, rows of station, day, element and value, or .dly: it has none of "
            "this format's layouts"
        )
        raise no_header(source, first, expected)
    frame, lines = frame_below(source, _LAYOUT, first, header, mistakes)
    days = pd.Series(read_dates(frame["DATE"].tolist(), lines, mistakes), dtype=object)
    twice = days.duplicated() & days.notna()
    for i in np.flatnonzero(twice).tolist():
        found = f"{days[i]} stands on line {lines[days.eq(days[i]).argmax()]} already{{more}}"
        mistakes.add("day-twice", f"line {lines[i]}:", found, cure="delete one of the two", noun="line")
    days = days.where(~twice, None)
    parts = []
    for name in header:
        if name in _ACCESS or name.endswith("_ATTRIBUTES"):
            continue
        if name not in _WATCHED:  # its name is all that is ever said of it
            parts.append(pd.DataFrame({"line": lines[:1], "day": days[:1], "element": name, "text": ""}))
            continue
        marks = pd.DataFrame("", index=frame.index, columns=range(4))
        if f"{name}_ATTRIBUTES" in frame:
            marks.update(frame[f"{name}_ATTRIBUTES"].str.split(",", expand=True).reindex(columns=range(4)))
        columns = (lines, days, name, frame[name], marks[0].str.strip(), marks[1].str.strip(), marks[3].str.strip())
        parts.append(pd.DataFrame(dict(zip(_VALUE, columns, strict=True))))
    values = pd.concat([*parts, pd.DataFrame(columns=list(_VALUE))])
    bare = [name for name in header if name in _LAYOUT.measures and f"{name}_ATTRIBUTES" not in header]
    checks = f"no quality flags in the file for {', '.join(bare)}: values that failed a check can't be told"
    row = frame.iloc[0]
    station = station_at(row.get("NAME", row["STATION"]), *(row.get(name, "") for name in _ACCESS[2:5]))
    return values[values["day"].notna()], station, [checks] if bare else []


def _heeded(table: Archived, known: pd.DataFrame, present: Sequence[str], layout: Layout, station: Station) -> RawTable:
    """Heed the flags of the values that are known, and lay those that passed on the days."""
    failed = known[known["quality"] != ""]
    sound = known[known["quality"] == ""]
    chosen: dict[str, str] = {}
    for element in present:
        column = layout.measures[element].column
        of_element = sound[sound["element"] == element]
        if column in REQUIRED or len(of_element):
            chosen.setdefault(column, element)
            if chosen[column] == element:
                table.values[column] = (
                    of_element.set_index("day")["value"].reindex(list(table.days)).to_numpy(dtype=float)
                )
    notes = table.notes
    if len(failed):
        counts = ", ".join(f"{name} {count}" for name, count in failed.groupby("element").size().items())
        word = "value" if len(failed) == 1 else "values"
        notes.append(f"{len(failed)} {word} left out, as the archive's checks failed (quality flag): {counts}")
    rain = sound[sound["element"] == "PRCP"]
    notes += days_noted(int((rain["measurement"] == "T").sum()), "rain is a trace (flag T), read as 0")
    presumed = int((rain["measurement"] == "P").sum())
    notes += days_noted(presumed, "rain is missing and presumed zero by the archive (flag P)")
    for element, what in _SEVERAL_DAYS.items():
        sums = int((sound["element"] == element).sum())
        if sums:
            notes.append(
                f"{what} is given as a sum over several days {sums} time{'s' if sums > 1 else ''} ({element}); it "
                "can't be laid on single days, which stay missing"
            )
    times = rain.loc[rain["time"].astype(str).str.fullmatch(r"\d{4}"), "time"]
    if (times < "1200").sum() > (times >= "1200").sum():
        notes.append(
            "rain is read before noon: most of a day's figure fell, and tmax may have been reached, the day before"
        )
    if chosen.get("wind") == "WDMV":
        notes.append(
            "wind is the wind run of 24 h (WDMV), taken as measured 0.6 m above ground, beside an evaporation pan"
        )
    elif "WDMV" in present and "wind" in chosen:
        notes.append("wind run (WDMV) is not used: AWND gives the wind")
    for column, element in chosen.items():
        days = frozenset(failed.loc[failed["element"] == element, "day"])
        if days:
            table.left_out[column] = LeftOut("its quality flag", days)
    return finished(table, layout, chosen, station)
