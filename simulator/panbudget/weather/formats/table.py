"""
Table: the plain weather table, a header line and one row a day, as a spreadsheet or a station's export
saves it.

Comma, semicolon, tab or bar between the columns, found from the header line; a decimal comma where the columns are not
parted by commas; whatever stands above the table (see `opening`). Thousands marks are read where one number of the file
has both marks, such as 1.234,5, so that there is nothing to guess. Missing values are empty cells or the usual words and
codes; any other text is named by line and column, since what it means is a guess.
"""

import dataclasses
import re
from collections.abc import Sequence
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import WeatherError, visible
from panbudget.numeric import Floats
from panbudget.physics.air import mean_saturation_vapour_pressure
from panbudget.weather.site import sky_of
from panbudget.weather.text.cells import MISSING, Cells, is_number, read_cells
from panbudget.weather.text.headers import Header, is_mean, read_header
from panbudget.weather.text.heading import as_name, heading_of, in_english
from panbudget.weather.text.mistakes import Mistakes, note, shortened
from panbudget.weather.text.moments import (
    CLOCK,
    Days,
    at_midnight,
    beginning_of,
    days_at_a_stroke,
    joined_date,
    parted,
    read_dates,
    time_of_all,
)
from panbudget.weather.text.opening import (
    Opening,
    find_opening,
    head_of,
    is_logger_layout,
    is_units,
    sums_among,
    without_footer,
)
from panbudget.weather.text.raw import TO_FILL_IN, Columns, RawTable, Site, Source
from panbudget.weather.text.rows import (
    SEPARATORS,
    Rows,
    is_cut_off,
    odd_numbers,
    read_rows,
    regular_rows,
    separator_of,
    split,
)
from panbudget.weather.text.stamps import ENDS, stated_order, states_order
from panbudget.weather.text.stations import filled_header, note_stations
from panbudget.words import and_more

NAME = "table"
#: where the format is described
SOURCE = "none: any table of this kind; the names of its columns are the program's own"

_COMMENTS_SHOWN = 3  # comment lines repeated in a report
_MOST_TITLE_LINES = 20  # further down, a header above no row of values isn't looked for
_OF_MOMENTS = re.compile(
    r"\b(date|datetime|timestamp|dat[aou]m?|fecha|tarih|imerominia|ngay|tanggal|dags|pvm|kuupaev)\b"
)
_OF_HOURS = re.compile(r"\b(time|hours?|HOY|step|timestep)\b")
_OF_DAY = re.compile(r"day|doy|[jy]day|jd|(julian )?day( of year)?|month day|dd|tag|jour|dia")
_OF_DAYS = 4  # columns of days' figures beside those of hours
# beside it, W/m² may be the mean of that time alone
_DAY_LENGTH = re.compile(r"\b(dayl|day ?length|hours of daylight)\b")
_IN_SECONDS = re.compile(r"dayl \(s\)")  # of a table whose W/m² is always such a mean (Daymet, variables)
# days that tell a day's mean from an extreme, nearly all of which have the same figure [d, -]
_MEAN_DAYS, _ALIKE = 30, 0.9
# what is cured by pasting alone, so that the values can be looked at too
_TO_PASTE = ("looks-like", "short-year", "day-number", "no-unit", "no-rain")


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is a plain table.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        0 where no line can be a header; low where one can, since other formats are tables too; high where it
        holds standard names. And why.
    """
    opening = find_opening(head.split("\n")) or _first_line(head.split("\n"))
    if opening is None:
        return 0.0, "no header line"
    names = {as_name(re.sub(r"[\[(].*", "", cell)) for cell in opening.cells}
    if len(names) < 2:
        return 0.0, "no separator in the header line"
    if {"date", "tmin", "tmax"} <= names:
        return 0.9, "header line with the standard names"
    return 0.1, "header line and separators"


def read(source: Source, *, columns: Columns, site: Site) -> RawTable:
    """
    Read a plain table.

    Parameters
    ----------
    source : Source
        The file.
    columns : mapping
        Standard name -> column and unit, where the headers are not the standard names.
    site : Site
        Whose daylight sunshine may be a share of; days are the table's own.

    Returns
    -------
    RawTable
        Rows in the file's order.

    Raises
    ------
    WeatherError
        All that is wrong with the header, the rows, the numbers and the dates.
    """
    lines = source.lines
    opening = find_opening(lines) or _first_line(lines)
    if opening is None:
        raise source.refusal("only-comments")
    if len(opening.cells) < 2 or _is_row_of_values(opening.cells):
        first, alone = in_english(opening.cells[0]), len(opening.cells) < 2
        key = "numbers-for-names" if _OF_MOMENTS.search(first) or _OF_HOURS.search(first) else "values-for-header"
        key = "no-separator" if alone else key
        text = lines[opening.line - 1].strip()[:60]
        raise source.refusal(key, value=text, line=opening.line, text=text, count=len(opening.cells))
    date = _day_column(opening, columns)
    header = _header(source, opening, columns, date)
    split_date = opening.split_date and "date" not in columns and header.places.get("date") in opening.dates
    days = opening.dates if split_date else (header.places.get("date"),)
    mistakes = Mistakes(header.problems)
    rows, notes = _rows(lines, opening, mistakes)
    if not rows.texts and not mistakes.problems():
        raise source.refusal("table-no-row", line=opening.line)
    table, dates, day_before = _cells_and_days(source, opening, rows, header, days, mistakes)
    if not np.isnat(dates).any() and all(problem.code in _TO_PASTE for problem in mistakes.problems()):
        note_stations(opening, rows, dates, mistakes)
    notes = [*notes, *([note("cut-off")] if is_cut_off(rows, source.text) else [])]
    if odd := list(odd_numbers(rows, source.text)):
        notes.append(note("odd-number", line=odd[0][0], text=odd[0][1], more=and_more(len(odd) - 1, "cell")))
    header.advise(source, mistakes)
    whole = [problem for problem in mistakes.problems() if problem.code not in _TO_PASTE]
    if whole or np.isnat(dates).any() or not len(dates):
        mistakes.raise_if_any(source.shown_as)
    above = filter(None, (line.lstrip("#").strip() for line in lines[: opening.line - 1]))
    remarks = [note("above", text=visible(text[:100].rstrip(" ;,\t"))) for text in list(above)[:_COMMENTS_SHOWN]]
    head = head_of(lines[: opening.line - 1], header.wind_height)
    index = pd.DatetimeIndex(dates.astype("datetime64[ns]"), name="date")
    columns_read = _standard(header, table)
    notes += _by_daylight(columns_read, index, header, opening, site)
    return RawTable(
        daily=pd.DataFrame(columns_read, index=index),
        lines=table.lines,
        recognised=f"plain table: {SEPARATORS[opening.separator]} between columns, decimal {table.decimal}"
        + "".join(f"; {each}" for each in day_before),
        units=header.units,
        unit_is_stated=frozenset(header.stated),
        headers={name: text for name, text in header.headers.items() if text != name},
        conversions=header.conversions,
        chosen=header.chosen,
        contradicted=header.contradicted or None,
        wind_height=head.wind_height,
        **head._asdict(),
        unused=header.unused,
        means=_means(opening, header, rows) or None,
        notes=(*header.notes, *remarks, *notes, *table.notes),
        problems=tuple(mistakes.problems()),
    )


def _header(source: Source, opening: Opening, columns: Columns, date: int | None) -> Header:
    """Read the header; one of which nothing is known is all that there is to say."""
    header = filled_header(source, opening, partial(read_header, columns=columns, date=date))
    if any(wrong.code == "no-column-known" for wrong in header.problems):
        raise WeatherError(*header.problems, file=source.shown_as)
    return header


def _standard(header: Header, table: Cells) -> dict[str, Floats]:
    """Return the columns whose unit is known in their standard ones, a deficit as the vapour pressure that it leaves."""
    asked = {name for name, choice in header.suggested.items() if choice.unit == TO_FILL_IN}
    columns = {name: column for name, column in header.standard(table.numbers).items() if name not in asked}
    if header.of_deficit and {"tmin", "tmax", "vapour_pressure"} <= columns.keys():
        saturated = mean_saturation_vapour_pressure(columns["tmin"], columns["tmax"])
        columns["vapour_pressure"] = saturated - columns["vapour_pressure"]
    return columns


def _means(opening: Opening, header: Header, rows: Rows) -> dict[str, str]:
    """Tell which extreme is the day's mean by its own header, or has the figures of another column that is one."""
    means = [place for place, text in enumerate(opening.quantities) if is_mean(heading_of(place, text))]
    found = dict[str, str]()
    extremes = {name: place for name, place in header.places.items() if name in ("tmax", "tmin")}
    cells = rows.columns([*{*means, *extremes.values()}]) if means else pd.DataFrame(columns=[*extremes.values()])
    for name, of in extremes.items():
        given = cells[of][cells[of].array != ""]
        for place in means:
            alike = (cells[place][given.index].to_numpy() == given.to_numpy()).sum()
            if place == of or (len(given) >= _MEAN_DAYS and alike >= _ALIKE * len(given)):
                found[name] = opening.quantities[place]
    return found


def _refuse_unread_moments(source: Source, opening: Opening, rows: Rows) -> None:
    """Refuse moments that are written in a way of their own; the columns beside them can't be told for days or hours then."""
    names, first = map(in_english, opening.cells), next(iter(rows.cells()), [])
    for name, header, cell in zip(names, opening.cells, first, strict=False):
        if _OF_MOMENTS.search(name) and re.search(r"\d", cell) and not opening.dates:
            raise source.refusal(
                "moments-unread", value=cell, line=rows.lines[0], header=header, text=shortened(cell, 40)
            )
        if _OF_DAY.fullmatch(name) and re.fullmatch(r"\d{1,3}(\.0*)?", cell) and not opening.dates:
            raise source.refusal("days-without-year", value=cell, line=rows.lines[0], header=header, text=cell)
        if _OF_HOURS.search(f"{name} {header}") and re.fullmatch(rf"{CLOCK}|[01](\.0*)?", cell) and not opening.dates:
            raise source.refusal("times-alone", value=cell, line=rows.lines[0], header=header, text=cell)


def _cells_and_days(
    source: Source, opening: Opening, rows: Rows, header: Header, places: Sequence[int | None], mistakes: Mistakes
) -> tuple[Cells, Days, list[str]]:
    """Read the numbers, and the days from one column or several; with a note where a logger dates a day by its end."""
    if "date" not in header.places:
        _refuse_unread_moments(source, opening, rows)
    numbers = {place: name for name, place in header.places.items() if name != "date"}
    texts = [place for place in places if place is not None]
    plain = None if len(texts) != 1 or states_order(header) else days_at_a_stroke(rows, texts[0])
    table = read_cells(
        rows,
        mistakes,
        numbers=numbers,
        texts=texts if plain is None else (),
        missing=(*MISSING, *source.missing),
        units={place: header.units[name] for place, name in numbers.items()},
        thousands=True,
        zeros=header.zeros,
        table=source.table,
    )
    if plain is not None:
        return table, plain, []
    shown = [list(map(str.strip, table.texts[place])) for place in texts if table.texts]
    if len(shown) == 1 and (time := time_of_all(shown[0])):
        shown = [[parted(beginning_of(stamp))[0] for stamp in shown[0]]]
        return table, _dates(shown, table, header, mistakes), [note("one-time-a-day", time=time)]
    dates = _dates(shown, table, header, mistakes)
    ends = is_logger_layout(source.lines[0]) or ENDS.search(in_english(header.headers.get("date", "")))
    if ends and not mistakes.problems() and all(map(at_midnight, table.texts[texts[0]][:3])):
        # a logger's daily table is written when the day is over
        return table, dates - np.timedelta64(1, "D"), [note("day-before")]
    return table, dates, []


def _by_daylight(
    columns: dict[str, Floats], index: pd.DatetimeIndex, header: Header, opening: Opening, site: Site
) -> list[str]:
    """Make hours of sunshine of a share of the daylight, and a day's light of W/m² that can only be a mean of the time of day."""
    of_light = header.units.get("radiation") == "W/m^2" and any(map(_DAY_LENGTH.search, map(in_english, opening.cells)))
    if not ({"radiation"} & columns.keys() if of_light else {"sunshine"} & columns.keys() and header.of_daylight):
        return []
    sky = sky_of(index, latitude=site.latitude, elevation=site.elevation)
    if header.of_daylight and "sunshine" in columns:
        columns["sunshine"] = columns["sunshine"] * header.of_daylight * sky.daylight
    sure = any(map(_IN_SECONDS.fullmatch, opening.cells))
    if not of_light or not (sure or np.nanmedian(columns["radiation"] / np.maximum(sky.clear, 1.0)) > 1.0):
        return []
    columns["radiation"] = columns["radiation"] * sky.daylight / 24.0
    return [note("mean-of-daylight", column=header.headers["radiation"])]


def days_among_records(source: Source) -> Source:
    """
    Return a table of records, of which some close a day and have its figures in columns of their own, as one of those days.

    Returns
    -------
    Source
        The same one where the names of its columns part neither days nor hours.
    """
    opening = find_opening(source.lines)
    names = [heading_of(i, cell).name.split(" ")[0] for i, cell in enumerate(opening.cells)] if opening else []
    daily = [i for i, name in enumerate(names) if name == "daily"]
    if opening is None or opening.split_date or len(daily) < _OF_DAYS or "hourly" not in names:
        return source
    day = opening.dates[0]
    rows = (split(line, opening.separator) for line in source.lines[opening.above :])
    closing = [row if len(row) == len(names) and sum(bool(row[i]) for i in daily) > 1 else [] for row in rows]
    days = [parted(row[day].replace("T", " "))[0] for row in closing if row]
    if not days or len({*days}) < len(days):
        return source
    mark = opening.separator
    table = [mark.join([row[day][:10], *(row[i] for i in daily)]) if row else "" for row in closing]
    head = [mark.join(["date", *(opening.cells[i] for i in daily)]), *[""] * (opening.above - opening.line)]
    text = "\n".join([*source.lines[: opening.line - 1], *head, *table])
    return dataclasses.replace(source, text=text, taken_from=source.taken_from or "records, of which some close a day")


def _first_line(lines: Sequence[str]) -> Opening | None:
    """Return the first line with two cells, or with any, as a header above which no row of values was found."""
    shown = [(i, text) for i, text in enumerate(lines) if text.strip() and not text.lstrip().startswith(("#", "*"))]
    wide = (pair for pair in shown[:_MOST_TITLE_LINES] if len(split(pair[1], separator_of(pair[1]))) > 1)
    i, text = next(wide, shown[0] if shown else (0, ""))
    separator = separator_of(text)
    below = next((pair for pair in shown if pair[0] > i), (i, ""))
    units = split(below[1], separator) if is_units(split(below[1], separator)) else []
    return (
        Opening(i + 1, below[0] + 1 if units else i + 1, split(text, separator), separator, units, (), [], {})
        if shown
        else None
    )


def _day_column(opening: Opening, columns: Columns) -> int | None:
    """Return the column of days, if the user names none: the first with dates in its rows, or with a name that says so."""
    called = [place for place in opening.dates if re.search(r"date|day|dat|time", opening.cells[place].lower())]
    # of two clocks the local one comes first, whose days are the site's
    called.sort(key=lambda place: bool(re.search("utc|gmt", opening.cells[place].lower())))
    places = opening.dates if opening.split_date else called or opening.dates
    return None if "date" in columns or not places else places[0]


def _dates(texts: list[list[str]], table: Cells, header: Header, mistakes: Mistakes) -> Days:
    """Read the days, by the order of their parts where that is stated or must be."""
    if not texts:
        return np.zeros(0, dtype="datetime64[D]")
    if len(texts) > 1:
        return read_dates([joined_date(parts) for parts in zip(*texts, strict=True)], table.lines, mistakes)
    order = stated_order(header, texts[0], header.headers["date"], int(table.lines[0]), mistakes)
    return read_dates(texts[0], table.lines, mistakes, order=order)


def _is_row_of_values(cells: Sequence[str]) -> bool:
    numbers = sum(1 for cell in cells if is_number(cell))
    return numbers * 2 >= len(cells) or re.match(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}", cells[0]) is not None


def _rows(lines: Sequence[str], opening: Opening, mistakes: Mistakes) -> tuple[Rows, list[str]]:
    """Read the rows, name those that are none, and note comments among them and lines below them."""
    end = without_footer(lines, len(opening.cells), opening.separator)
    alike: Any = {"above": opening.above, "separator": opening.separator, "header": opening.cells, "comments": True}
    rows, sums = regular_rows(list(lines[opening.above : end]), **alike), list[int]()
    if rows is None or rows.grid is None or rows.grid.is_worded():
        sums, lines = sums_among(lines, opening.above, end, opening.separator), [*lines]
        for i in sums:
            lines[i] = ""
    if rows is None or sums:
        rows = read_rows(lines[:end], mistakes, **alike)
    rows = rows.refuse_repeats(opening.cells, mistakes)
    first = next(iter(rows.cells()), ["0"])
    if not any(any(letter.isdigit() for letter in cell) and "/m" not in cell for cell in first):
        mistakes.note("no-numbers", line=rows.lines[0])
        rows = rows._replace(lines=rows.lines[1:], texts=rows.texts[1:])
    notes = [note("footer", line=end + 1)] if any(text.strip() for text in lines[end:]) else []
    notes += [note("sums", line=sums[0] + 1, more=and_more(len(sums) - 1, "line"))] if sums else []
    if rows.comments:
        line, more = rows.comments[0], and_more(len(rows.comments) - 1, "line")
        notes.append(note("comment-among-rows", line=line, more=more, text=lines[line - 1].strip()[:60]))
    return rows, notes
