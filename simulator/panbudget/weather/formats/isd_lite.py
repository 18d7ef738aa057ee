"""
ISD-Lite: the hourly files of NOAA's Integrated Surface Database in their short form, one station and year each.

Source: NOAA National Centers for Environmental Information, "Integrated Surface Data - ISD-Lite, format
documentation" (isd-lite-format, 2006), from memory: twelve whole numbers a line, times in UTC, temperature, dew
point, sea-level pressure and wind in tenths, rain of one hour and of six hours in tenths of a millimetre, −9999
missing, −1 a trace.

Rain is the one-hour amount where there is one. A six-hour total (of 00, 06, 12 and 18 UTC) fills hours that lack theirs:
what it holds beyond the hours that are known, spread over those that aren't, so that nothing counts twice. Where all six
are known and the total holds more, it is taken, for gauges lose rain and seldom make any; `checks.rain` says both sums.
Sea-level pressure is no pressure at the site and is left out; FAO-56 eq 7 then gives it.
"""

import dataclasses
import re

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.numeric import Floats
from panbudget.weather.subdaily.clocks import on_the_sites_clock
from panbudget.weather.subdaily.hourly import Records, to_days
from panbudget.weather.text.cells import read_cells
from panbudget.weather.text.columns import number
from panbudget.weather.text.mistakes import Mistakes, note, notes
from panbudget.weather.text.raw import Columns, RawTable, Site, Source
from panbudget.weather.text.rows import read_rows
from panbudget.weather.text.stamps import moments_of

NAME = "isd-lite"
#: where the format is described
SOURCE = 'NOAA NCEI, "Integrated Surface Data - ISD-Lite, format documentation" (2006; from memory)'

_LINE = re.compile(r"\d{4} \d{2} \d{2} \d{2}(?:\s+-?\d+){8}\s*")
_COLUMNS = {
    **dict(enumerate(("year", "month", "day", "hour", "air temperature", "dew point"))),
    **{8: "wind speed", 10: "rain of one hour", 11: "rain of six hours"},
}
_UNITS = {"temperature": "0.1 °C", "dew_point": "0.1 °C", "wind": "0.1 m/s", "rain": "0.1 mm"}
_WIDTH = 12
_MISSING, _TRACE = -9999.0, -1.0
_WIND_HEIGHT = 10.0
# by how much six-hour totals and the hours they are made of part as their tenths are rounded [mm]
_ROUNDING = 0.35


def sniff(head: str) -> tuple[float, str]:
    """
    Say how sure it is that a file is ISD-Lite.

    Parameters
    ----------
    head : str
        The file's first lines.

    Returns
    -------
    (float, str)
        High if all lines but the last, which may be cut, are its twelve numbers. And why.
    """
    lines = [line for line in head.split("\n") if line.strip()]
    whole = lines[:-1] if len(lines) > 1 else lines
    fitting = sum(1 for line in whole if _LINE.fullmatch(line))
    if whole and fitting >= 0.9 * len(whole):
        return 0.95, "twelve whole numbers a line, the first four a date and hour"
    return 0.0, "not twelve whole numbers a line"


def read(source: Source, *, columns: Columns, site: Site) -> RawTable:
    """
    Read an ISD-Lite file.

    Parameters
    ----------
    source : Source
        One year, or several joined.
    columns : mapping
        Must be empty: the format says what its columns are.
    site : Site
        Whose clock the days go by.

    Returns
    -------
    RawTable
        One row a day.

    Raises
    ------
    WeatherError
        All that is wrong with lines, times and values.
    """
    mistakes = Mistakes()
    rows = read_rows(source.lines, mistakes, above=0, separator=" ", width=_WIDTH, whose="numbers-")
    mistakes.raise_if_any(source.shown_as)
    cells = read_cells(rows, mistakes, numbers={column: f'"{name}"' for column, name in _COLUMNS.items()}, missing=())
    mistakes.raise_if_any(source.shown_as)
    if not len(cells.lines):
        raise source.refusal("isd-no-row")
    stamps = moments_of([cells.numbers[column] for column in range(4)], cells.lines, mistakes)
    mistakes.raise_if_any(source.shown_as)
    tenths = {i: np.where(column == _MISSING, np.nan, column / 10.0) for i, column in cells.numbers.items()}
    traces = {i: cells.numbers[i] == _TRACE for i in (10, 11)}
    hourly, six_hourly = (np.where(traces[i], 0.0, tenths[i]) for i in (10, 11))
    rain, twice, rain_notes = _rain(stamps, hourly, six_hourly)
    values = {"temperature": tenths[4], "dew_point": tenths[5], "wind": tenths[8], "rain": rain}
    values = {name: column for name, column in values.items() if name == "rain" or not np.isnan(column).all()}
    records = Records(
        stamps=stamps,
        values=values,
        lines=cells.lines,
        utc=True,
        ending=frozenset({"rain"}),
        units=_UNITS,
        stated=frozenset(values),
        headers={name: name for name in values},
        rainless_if_empty=source.rainless_if_empty,
    )
    texts = [note("isd-sea-level"), *notes("isd-trace", int(traces[10].sum())), *rain_notes]
    raw = to_days(records, site, recognised="NOAA ISD-Lite, UTC", shown_as=source.shown_as, notes=texts)
    absent = {"rain": note("isd-no-rain")} if np.isnan(rain).all() else {}
    if twice is not None:
        fell = on_the_sites_clock(twice.index.to_numpy(np.datetime64), site, [])
        twice = twice.groupby(fell.astype("datetime64[D]").astype("datetime64[ns]")).sum()
    return dataclasses.replace(raw, wind_height=_WIND_HEIGHT, absent=absent, rain_twice=twice)


def _rain(
    stamps: npt.NDArray[np.datetime64], hourly: Floats, six_hourly: Floats
) -> tuple[Floats, pd.DataFrame | None, list[str]]:
    """Fill hours without an amount from the six-hour totals that hold them; both sorts of the hours that have both."""
    hours = stamps.astype("datetime64[h]").astype(np.int64)
    odd = ~np.isnan(six_hourly) & (hours % 6 != 0)
    total = ~np.isnan(six_hourly) & ~odd
    texts = notes("isd-odd-hours", int(odd.sum()))
    if not total.any():
        return hourly, None, texts
    # blocks of six hours, numbered by the hour that closes them
    block = -(-hours // 6)
    at, blocks = block - block.min(), int(np.ptp(block)) + 1
    known = ~np.isnan(hourly)
    held = np.bincount(at[known], weights=hourly[known], minlength=blocks)
    lacking = np.bincount(at[~known], minlength=blocks)
    of_block = np.full(blocks, np.nan)
    of_block[at[total]] = six_hourly[total]
    share = np.maximum(of_block - held, 0.0) / np.maximum(lacking, 1)
    rain = np.where(known, hourly, share[at])
    filled = ~known & ~np.isnan(rain)
    texts += notes("isd-filled", int(filled.sum()), amount=number(float(rain[filled].sum())))
    both = (np.bincount(at[known], minlength=blocks) == 6) & ~np.isnan(of_block)
    more = both & (of_block > held + _ROUNDING)
    # by the hours' own shares, or alike over all six where they have none
    taken = np.where(held > 0.0, of_block / np.where(held > 0.0, held, 1.0), 0.0)
    level = np.where(held > 0.0, 0.0, of_block / 6.0)
    by_six = rain * taken[at] + level[at]
    rain = np.where(more[at], by_six, rain)
    # an hour's rain fell before its stamp
    sorts = pd.DataFrame({"hours": hourly, "six": by_six, "larger": rain}, index=stamps - np.timedelta64(1, "m"))
    return rain, sorts[both[at]], texts
