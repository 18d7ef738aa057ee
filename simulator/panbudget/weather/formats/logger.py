"""
Logger: the tables of garden weather stations, a record every hour or every few minutes.

A header line with words of several European languages, with or without units in it, below any title lines; comma, semicolon, tab or bar
between the columns, decimal point or decimal comma; one column of times, or a date and a time. The days are those
of the file's own clock, a record belonging to the day that is written on it.
"""

import dataclasses
import itertools
import re
from collections.abc import Iterable, Iterator, Sequence
from functools import partial

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.numeric import Floats, Ints
from panbudget.physics.air import saturation_vapour_pressure
from panbudget.weather.checks.air import FRACTION, SCALES, scale_of
from panbudget.weather.formats.typical import is_typical, light_record, months_note, nominal
from panbudget.weather.marks import is_known_mark
from panbudget.weather.subdaily.hourly import COMPLETE, QUANTITIES, Records, to_days
from panbudget.weather.text.cells import MISSING, Cells, is_number, read_cells
from panbudget.weather.text.headers import Header, units_of
from panbudget.weather.text.heading import in_english, known_unit
from panbudget.weather.text.mistakes import Mistakes, note
from panbudget.weather.text.moments import at_midnight, time_of_all
from panbudget.weather.text.opening import Head, Opening, find_opening, head_of, is_logger_layout, without_footer
from panbudget.weather.text.raw import SCALE_WITH_RECORDS, TO_FILL_IN, ColumnChoice, Columns, RawTable, Site, Source
from panbudget.weather.text.rows import SEPARATORS, Rows, read_rows, split
from panbudget.weather.text.stamps import (
    ENDS,
    HALF_HOUR,
    ReadStamps,
    TimeColumns,
    find_time,
    moments_of,
    read_stamps,
    says_utc,
    stated_order,
)
from panbudget.weather.text.stations import (
    EXTREMES,
    RATES,
    filled_header,
    is_weather,
    note_stations,
    read_logger_header,
)

NAME = "logger"
#: where the format is described
SOURCE = "none: what such stations' tables have in common"

# how much better °F must fit the three columns of damp air than °C does [% of relative humidity]
_MUCH_BETTER = 3.0
_DISTANCE = re.compile(r"[#\s]*tz\s*[=:]\s*([+-]?\d+(?:\.\d+)?)\s*$")  # of the clock from UTC [h]
_IN_UTC = re.compile(r"(?i)\btime ?(?:zone|reference)\W+(?:etc/|universal time\W+)?(?:utc?|gmt|z)\W*$")
# a middling speed up to which wind can only be in m/s, for in km/h it would hardly turn a gauge (some 0.4 m/s), and from which
# the daily checks name another unit
_CALM, _STRONG = 1.5, 10.0
# how far a record's own extreme is from its mean, on a middling one: as many times what that moves from record to record, or so much, which
# is also by how much it may lie on its other side; the share by which it may stay more often than the mean [-, °C, -]
_NEAR_EXTREME, _NEAR_DEGREES, _LASTS_MORE = 1.5, 0.6, 0.2
# how many amounts tips may have; steps over which they are summed up: no clock is changed in the middle of a quarter of a day [s]
_AMOUNTS_OF_TIPS, _HOUR, _QUARTER = 3, 3600, 21600


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is a station's table with times.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        High where a header with a temperature stands above rows with a time of day. And why.
    """
    opening = find_opening(head.split("\n"))
    if opening is None or (time := find_time(opening.cells, opening.rows)) is None:
        return 0.0, "no header above rows with a time of day"
    stamps = [row[time.places[0]] for row in opening.rows] if len(time.places) == 1 else []
    hours = {row[time.places[3]] for row in opening.rows} if len(time.places) > 3 else {"", "any"}
    if len(hours) == 1 or (stamps and (all(map(at_midnight, stamps)) or time_of_all(stamps))):
        return 0.0, "rows at one time of day only"
    if is_weather(opening.cells):
        return 0.8, "header line with a temperature, rows with a time of day"
    return 0.3, "header line, rows with a time of day"


def read(source: Source, *, columns: Columns, site: Site) -> RawTable:
    """
    Read a station's table.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Quantity, or a daily column that comes of it, -> column and unit; "date" and "time" for the clock.
    site : Site
        Its time zone says when clocks are changed.

    Returns
    -------
    RawTable
        One row a day.

    Raises
    ------
    WeatherError
        All that is wrong with the header, the rows, the times and the values.
    """
    lines = source.lines
    opening = find_opening(lines)
    time = None if opening is None else _time_of(opening, columns)
    if opening is None or time is None:
        raise source.refusal("logger-no-header", table=source.table)
    header = filled_header(source, opening, partial(read_logger_header, columns=columns, times=time.places))
    cells, when = _cells_and_stamps(source, opening, header, time)
    starts = pd.DatetimeIndex(when.stamps)
    typical = is_typical(starts)
    when = when._replace(stamps=nominal(starts)) if typical else when
    away = _distance_above(lines[: opening.line - 1])
    if away is not None and not when.utc:
        when = when._replace(stamps=when.stamps - np.timedelta64(away, "s"))
    step, closes = _usual_step(when.stamps), any(ENDS.search(in_english(opening.cells[place])) for place in time.places)
    _convert_by_step(header, step)
    values = header.standard({place: cells.numbers[place] for place in header.places.values()})
    spans = values.pop("span", np.zeros(0))
    marks = list(_without_marks(values, header, cells))
    values = _with_own_extremes(_known(values), header, marks)
    marks += _less_than_twice(values, spans, header, when.stamps)
    utc = when.utc or time.utc or away is not None
    stamps, at_lines = when.stamps, cells.lines
    if source.in_part and values.keys() == {"rain"} and _is_of_tips(values["rain"], stamps, step):
        stamps, values["rain"], at_lines = _sums_of_tips(values["rain"], stamps, at_lines, _HOUR if utc else _QUARTER)
        marks.append(note("tips", column=header.headers["rain"]))
    marks += [months_note(starts.year.to_numpy(), starts.month.to_numpy())] if typical else []
    if typical and "radiation" in values:
        values["radiation"], dark = light_record(values["radiation"], when.stamps.astype("M8[s]").astype(int), site)
        marks += dark
    if "temperature" not in values and not source.in_part:
        raise source.refusal("logger-no-temperature", column=header.headers["temperature"])
    records = Records(
        stamps=stamps,
        values=values,
        lines=at_lines,
        utc=utc,
        rain_kind="interval" if header.rain_kind == "hourly" and step >= 0.9 * 3600.0 else header.rain_kind,
        ending=frozenset(values if when.ends or closes or is_logger_layout(lines[0]) else ["rain"] * bool(spans.size)),
        units=header.units,
        stated=frozenset(header.stated),
        headers=header.headers,
        rainless_if_empty=source.rainless_if_empty,
        table=source.table,
    )
    separator, clock = SEPARATORS[opening.separator], "UTC" if records.utc else "the file's own clock"
    recognised = f"station table: {separator} between columns, decimal {cells.decimal}, times {when.style} in {clock}"
    recognised += ", each the end of its record" * closes
    notes = [*header.notes, *cells.notes, *marks]
    raw = to_days(records, site, recognised=recognised, shown_as=source.shown_as, notes=notes)
    of_days = _of_records(raw, header, values, head_of(lines[: opening.line - 1], header.wind_height))
    return dataclasses.replace(of_days, typical=typical)


def _cells_and_stamps(source: Source, opening: Opening, header: Header, time: TimeColumns) -> tuple[Cells, ReadStamps]:
    """Read the rows' cells and their moments; raise WeatherError with all that is wrong with them and the header."""
    mistakes = Mistakes(header.problems)
    cells, rows = _cells(source, opening, header, time.places, mistakes)
    if not len(cells.lines) and not mistakes.problems():
        raise source.refusal("logger-no-row", line=opening.line)
    when = _when(cells, opening, time, header, mistakes)
    if len(cells.lines):
        numbers = {place: cells.numbers[place] for place in header.places.values() if place in cells.numbers}
        _refuse_unlikely_units(header.standard(numbers), header, mistakes)
    note_stations(opening, rows, when.stamps, mistakes)
    header.advise(source, mistakes)
    mistakes.raise_if_any(source.shown_as)
    return cells, when


def _convert_by_step(header: Header, step: float) -> None:
    """Make a mean flux of a sum over each record, and a sum of rain that is a flux; the step is in seconds."""
    if header.sums:
        header.conversions["radiation"] = header.conversions.get("radiation", (1.0, 0.0))[0] / step, 0.0
    if known_unit(header.units.get("rain", "")) == "kg/m^2/s":
        header.conversions["rain"] = step, 0.0
    if (rate := header.units.get("rain", "")) in RATES:
        header.conversions["rain"] = RATES[rate] * step, 0.0


def _of_records(raw: RawTable, header: Header, values: Iterable[str], head: Head) -> RawTable:
    """Say of days what the header says of the records that they come of."""
    of_records = {day: name for name in values for day in QUANTITIES[name].daily}
    alike = header.conversions.keys() & SCALE_WITH_RECORDS
    contradicted = {day: header.contradicted[name] for day, name in of_records.items() if name in header.contradicted}
    return dataclasses.replace(
        raw,
        conversions={day: header.conversions[name] for day, name in of_records.items() if name in alike},
        wind_height=head.wind_height,
        **head._asdict(),
        unused=header.unused,
        chosen=header.chosen,
        contradicted=contradicted or None,
        of_records=of_records,
    )


def _cells(
    source: Source, opening: Opening, header: Header, times: tuple[int, ...], mistakes: Mistakes
) -> tuple[Cells, Rows]:
    """Read the rows' cells: numbers of the quantities, and the clock as text, or as numbers where it is in parts."""
    end = without_footer(source.lines, len(opening.cells), opening.separator)
    rows = read_rows(
        source.lines[:end], mistakes, above=opening.above, separator=opening.separator, header=opening.cells
    )
    rows = rows.refuse_repeats(opening.cells, mistakes)
    numbers = {place: f'"{header.headers[name]}"' for name, place in header.places.items()}
    units = {place: header.units[name] for name, place in header.places.items()}
    numbers |= {place: opening.cells[place] for place in times} if len(times) > 2 else {}
    cells = read_cells(
        rows,
        mistakes,
        numbers=numbers,
        texts=times if len(times) <= 2 else (),
        missing=(*MISSING, *source.missing),
        units=units,
        thousands=True,
        zeros=header.zeros,
        table=source.table,
    )
    return cells, rows


def _time_of(opening: Opening, columns: Columns) -> TimeColumns | None:
    """Find the columns that say when, and whether they or the user say that the clock is UTC."""
    time = _named_time(opening, columns) or find_time(opening.cells, opening.rows)
    stated = any(says_utc(columns[name].unit or "") for name in ("date", "time") if name in columns)
    return time._replace(utc=time.utc or stated) if time else None


def _named_time(opening: Opening, columns: Columns) -> TimeColumns | None:
    """Find the columns that the user names for the clock."""
    cells, named = opening.cells, [columns[name].column for name in ("date", "time") if name in columns]
    places = [cells.index(column) for column in named if column in cells]
    utc = any(says_utc(cells[place]) for place in places)
    if len(places) == 1:
        stamps = [[row[places[0]]] for row in opening.rows if len(row) > places[0]]
        only = find_time([cells[places[0]] + " time"], stamps)
        return None if only is None else TimeColumns((places[0],), utc)
    return TimeColumns(tuple(places), utc) if places else None


def _distance_above(lines: Sequence[str]) -> int | None:
    """Return the clock's distance from UTC [s] that a line says, or one of names and one of values below it, as gridded services write."""
    if any(map(_IN_UTC.search, lines)):
        return 0
    if stated := next(filter(None, map(_DISTANCE.match, lines)), None):
        return round(3600 * float(stated[1]))
    for names, values in itertools.pairwise(line for line in lines if line.strip()):
        of = dict(zip((name.lower() for name in split(names)), split(values), strict=False))
        for name, size in (("utc_offset_seconds", 1), ("time zone", 3600)):
            if name in of and re.fullmatch(r"[+-]?\d+(\.\d+)?", of[name]):
                return round(float(of[name]) * size)
    return None


def _when(cells: Cells, opening: Opening, time: TimeColumns, header: Header, mistakes: Mistakes) -> ReadStamps:
    if not len(cells.lines):
        return ReadStamps(np.zeros(0, "datetime64[ns]"))
    if len(time.places) <= 2:
        first, *second = (cells.texts[place] for place in time.places)
        second = [texts.str.strip().str.replace(r"(?<=^\d{4}) (UTC|Z)$", "", regex=True) for texts in second]
        if second and second[0].str.fullmatch(HALF_HOUR).any():  # hours in decimals
            second = [second[0].map(lambda text: _clock_of(float(text)) if is_number(text) else text)]
        if second and not second[0].iloc[:1].str.contains(":").any():  # 51, 0051, 0.51, 0h51 or an hour alone
            bare = (
                second[0]
                .str.replace(r"^(\d{1,2})[.hH](\d{2})$", r"\1:\2", regex=True)
                .str.replace(r"^(\d{1,2})[hH]?$", r"\1:00", regex=True)
            )
            # hours and minutes, the last of an hour's first ones without zeros
            if second[0].str.fullmatch(r"\d{3,4}").any():
                bare = second[0].str.replace(r"^\d{1,2}$", lambda of: of[0].zfill(4), regex=True)
            second = [bare.str.replace(r"^(\d{1,2})(\d{2})$", r"\1:\2", regex=True)]
        texts = first.str.strip() + " " + second[0] if second else first
        cell, line = opening.cells[time.places[0]], int(cells.lines[0])
        return read_stamps(
            texts, cells.lines, mistakes, order_by=lambda days: stated_order(header, days, cell, line, mistakes)
        )
    *parts, hour = (cells.numbers[place] for place in time.places[:4])
    last = hour == 24.0
    stamps = moments_of([*parts, np.where(last, 23.0, hour)], cells.lines, mistakes) + last * np.timedelta64(1, "h")
    if len(time.places) == 5:
        stamps = stamps + np.nan_to_num(cells.numbers[time.places[4]]).astype(np.int64) * np.timedelta64(1, "m")
    return ReadStamps(stamps, ends=bool(last.any()), style="by year, month, day and hour")


def _clock_of(hours: float) -> str:
    """Write hours in decimals as a time of day, 24:00 among them."""
    minutes = round(60.0 * hours)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _usual_step(stamps: npt.NDArray[np.datetime64]) -> float:
    apart = np.abs(np.diff(stamps.astype("datetime64[s]").astype(np.int64)))
    return float(np.median(apart[apart > 0])) if apart.any() else 3600.0


def _less_than_twice(
    values: dict[str, Floats], spans: Floats, header: Header, stamps: npt.NDArray[np.datetime64]
) -> list[str]:
    """Take out of rain over several hours, whose number a column says, what totals of fewer hours within them have already."""
    if not spans.size or "rain" not in values:
        return []
    order = np.argsort(stamps, kind="stable")
    seconds, rain, hours = stamps[order].astype("M8[s]").astype(np.int64), values["rain"][order], spans[order]
    begins = np.searchsorted(seconds, seconds - 3600.0 * hours, side="right")
    for i in np.flatnonzero(~np.isnan(rain + hours)).tolist():
        within = slice(begins[i], i)
        rain[within] = np.nan_to_num(rain[within])  # what no record says of these hours, this one does
        rain[i] = max(rain[i] - rain[within].sum(), 0.0)
    values["rain"], header.rain_kind = rain[np.argsort(order)], "interval"
    return [note("own-spans", column=header.headers["rain"], spans=header.headers["span"])]


def _is_of_tips(rain: Floats, stamps: npt.NDArray[np.datetime64], step: float) -> bool:
    """Tell a record a tip of a gauge, which has none while it is dry: one amount or few, never 0, far apart at times."""
    span = float(np.ptp(stamps.astype("M8[s]").astype(np.int64)))
    return bool((rain > 0.0).all()) and len(np.unique(rain)) <= _AMOUNTS_OF_TIPS and len(rain) < 0.5 * span / step


def _sums_of_tips(
    rain: Floats, stamps: npt.NDArray[np.datetime64], lines: Ints, step: int
) -> tuple[npt.NDArray[np.datetime64], Floats, Ints]:
    """Sum tips up over steps of so many seconds, from the first tip's day to the last one's; stamps are their middles."""
    at, a_day = stamps.astype("M8[s]").astype(np.int64) // step, 86400 // step
    first, last = int(at.min()) // a_day * a_day, int(at.max()) // a_day * a_day + a_day
    middles = (np.arange(first, last) * step + step // 2).astype("M8[s]").astype("M8[ns]")
    sums = np.bincount(at - first, weights=rain, minlength=last - first).astype(np.float64)
    return middles, sums, np.repeat(lines[:1], last - first)


def _without_marks(values: dict[str, Floats], header: Header, cells: Cells) -> Iterator[str]:
    """Take known marks for a missing value out, where no record can be so; say so."""
    for name, column in values.items():
        lowest, highest = max(QUANTITIES[name].lowest, -1e3 if name != "rain" else 0.0), QUANTITIES[name].highest
        is_mark = is_known_mark(cells.numbers[header.places[name]]) & ((column < lowest) | (column > highest))
        if is_mark.any():
            values[name] = np.where(is_mark, np.nan, column)
            yield note("marks", column=header.headers[name], count=int(is_mark.sum()))


def _known(values: dict[str, Floats]) -> dict[str, Floats]:
    """Return the columns that have figures, with a humidity in place of the vapour pressure or its deficit, if there is no other."""
    known = {name: column for name, column in values.items() if not np.isnan(column).all()}
    vapour, deficit = known.pop("vapour", None), known.pop("deficit", None)
    if "temperature" in known and not {"humidity", "dew_point"} & known.keys():
        saturated = saturation_vapour_pressure(known["temperature"])
        if vapour is None and deficit is not None:
            vapour = saturated - deficit
        known |= {} if vapour is None else {"humidity": 100.0 * np.clip(vapour / saturated, 0.0, 1.0)}
    return known


def _with_own_extremes(values: dict[str, Floats], header: Header, notes: list[str]) -> dict[str, Floats]:
    """Let go of extremes that are of a longer time than a record's own, as a day's so far are; say which are used."""
    mean = values.get("temperature", np.zeros(0))
    apart = np.abs(np.diff(mean))
    near = 0.0 if np.isnan(apart).all() else max(_NEAR_EXTREME * float(np.nanmean(apart)), _NEAR_DEGREES)
    for name, sign in (("lowest", -1.0), ("highest", 1.0)):
        extreme = values.pop(name, None)
        if extreme is None or mean.size < 2:
            continue
        beyond = sign * (extreme - mean)
        known = beyond[~np.isnan(beyond)]
        whole = known.size >= COMPLETE * max(int((~np.isnan(mean)).sum()), 1)
        lasts, mean_lasts = (float((np.diff(each) == 0.0).mean()) for each in (extreme, mean))
        is_own = whole and np.percentile(known, 1) > -_NEAR_DEGREES and np.median(known) <= near
        if is_own and lasts <= mean_lasts + _LASTS_MORE:
            values[name] = extreme
            notes.append(note("own-extremes", name=EXTREMES[name], column=header.headers[name]))
        else:
            notes.append(note("extremes-not-used", column=header.headers[name]))
    return values


def _refuse_unlikely_units(values: dict[str, Floats], header: Header, mistakes: Mistakes) -> None:
    """Refuse a wind that may be in several units, and a temperature that other columns show to be in °F, without a unit."""
    if "wind" in values and not {"wind"} & (header.stated | header.chosen.keys()):
        speeds = values["wind"][values["wind"] > 0.0]
        middle = float(np.median(speeds)) if speeds.size else 0.0
        if _CALM < middle < _STRONG and "wind" not in header.settled:
            text = header.headers["wind"]
            mistakes.note("wind-no-unit", value=text, column=text, middle=middle)
            header.suggested["wind"] = ColumnChoice(text, TO_FILL_IN)
    if "humidity" in values and 0.0 < (highest := float(np.nanmax(values["humidity"], initial=0.0))) <= FRACTION:
        text = header.headers["humidity"]
        mistakes.note("humidity-fraction", value=text, column=text, highest=highest)
        header.suggested["humidity"] = ColumnChoice(text, "fraction")
    if header.settled & {"temperature", "dew_point"} or header.stated & {"temperature", "dew_point"}:
        return
    texts = {name: header.headers[name] for name in ("temperature", "dew_point", "humidity") if name in values}
    celsius, fahrenheit = (
        _humidity_error(values, *scale) if len(texts) == 3 else 0.0 for scale in ((0.0, 1.0), (32.0, 1.8))
    )
    scales = {name: _scale_of_records(values[name]) for name in ("dew_point", "temperature") if name in values}
    scale = scales.get("dew_point", "")
    if fahrenheit + _MUCH_BETTER < celsius and fahrenheit < _MUCH_BETTER:
        mistakes.note("looks-imperial", value=texts["temperature"], off=celsius, **texts)
        scale, scales = "°F", dict.fromkeys(("temperature", "dew_point"), "°F")
    elif scale:
        middle = float(np.nanmedian(values["dew_point"]))
        mistakes.note("dew-point-unit", value=middle, column=texts["dew_point"], middle=middle, scale=scale)
    if scale:
        header.suggested |= {name: ColumnChoice(texts[name], SCALES[of]) for name, of in scales.items() if of == scale}
    imperial = {"wind", "rain"} if scale == "°F" else set[str]()
    for name in sorted(imperial & values.keys() - header.stated - header.suggested.keys()):
        more = {"line": header.line, "name": name, "column": header.headers[name], "units": units_of(name, ())}
        mistakes.note("imperial-beside", imperial=texts["temperature"], **more)
        header.suggested[name] = ColumnChoice(header.headers[name], TO_FILL_IN)


def _scale_of_records(values: Floats) -> str:
    """Guess at another scale than °C by a hundredth, the middle and the rest but a hundredth; nothing where that is ordinary."""
    known = values[~np.isnan(values)]
    return scale_of("dew_point", np.percentile(known, [1, 50, 99])) if known.size else ""


def _humidity_error(values: dict[str, Floats], zero: float, degree: float) -> float:
    """Typical difference between the humidity measured and that of temperature and dew point, by their scale. [%]"""
    some = slice(None, None, max(len(values["humidity"]) // 5000, 1))
    dew_point, temperature = ((values[name][some] - zero) / degree for name in ("dew_point", "temperature"))
    sound = (np.abs(dew_point) < 150.0) & (np.abs(temperature) < 150.0)
    pressure = saturation_vapour_pressure(dew_point[sound])
    off = np.abs(100.0 * pressure / saturation_vapour_pressure(temperature[sound]) - values["humidity"][some][sound])
    off = off[~np.isnan(off)]
    return float(np.median(off)) if off.size else float("inf")
