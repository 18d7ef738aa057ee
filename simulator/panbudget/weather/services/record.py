"""
Record: daily weather of past years from NASA POWER's service for a point, kept in the service's own CSV layout.

Source: NASA POWER documentation, daily API (from memory). `weather.formats.power` reads what is kept.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import WeatherError
from panbudget.scenario.garden import Site
from panbudget.weather.formats import power
from panbudget.weather.messages import counted
from panbudget.weather.services.asking import Service, ask, reason_in
from panbudget.weather.text.raw import RawTable
from panbudget.weather.text.rows import split
from panbudget.weather.text.source import Source

_MARK = "panbudget: "  # before the lines of the header that we add
_DATE = ["YEAR", "MO", "DY"]
_TEMPERATURES, _RAIN = ["T2M_MAX", "T2M_MIN"], "PRECTOTCORR"
# days that one question may span, and that may lie between two that are asked together; how late a day may come
_MOST_DAYS, _GAP, _LATE = 3660, 366, 60


class Table(NamedTuple):
    """
    A file of the service.

    Parameters
    ----------
    block : list of str
        What it explains above the table.
    cells : DataFrame of str
        Index "date", the service's parameters; NaN where missing.
    raw : RawTable
        The same as it is read.
    """

    block: list[str]
    cells: pd.DataFrame
    raw: RawTable

    def units(self) -> dict[str, str]:
        """Return the unit of each standard column."""
        return self.raw.units


def parsed(text: str, site: Site, shown: str) -> Table:
    """
    Take a file of the service apart.

    Raises
    ------
    WeatherError
        As `power.read`.
    """
    source = Source(text, shown, "", "utf-8")
    raw = power.read(source, columns={}, site=site)
    block, line = power.head_of(source)
    codes = power.missing_codes(block)
    lines = source.lines
    header = split(lines[line - 1])
    cells = pd.DataFrame([split(lines[n - 1]) for n in raw.lines], columns=header, index=raw.daily.index)
    cells = cells.drop(columns=[name for name in (*_DATE, "DOY") if name in header])
    figures = cells.apply(pd.to_numeric, errors="coerce")
    cells = cells.mask(figures.isin(codes) | figures.isna())
    explained = [text for text in block if not text.startswith(_MARK)]
    return Table(explained, cells[~cells.index.duplicated(keep="last")].sort_index(), raw)


def lacking(cells: pd.DataFrame | None, first: dt.date, last: dt.date) -> pd.DatetimeIndex:
    """Return the days from the first to the last that have no row, or a row with a gap."""
    days = pd.date_range(first, last)
    return days if cells is None else days.difference(pd.DatetimeIndex(cells.dropna().index))


def asked_for(service: Service, site: Site, days: pd.DatetimeIndex, *, today: dt.date) -> Iterator[Table]:
    """
    Ask for days.

    Parameters
    ----------
    service : Service
    site : Site
        With a longitude.
    days : DatetimeIndex
        Ascending; those between them may be asked for as well.
    today : date
        The latest days may not be there yet.

    Yields
    ------
    Table
        One a question.

    Raises
    ------
    WeatherError
        As `ask`; something else than weather; another place; days in the middle missing.
    """
    while len(days):
        near = np.diff(days).astype("timedelta64[D]").astype(int) <= _GAP
        together = 1 + (len(near) if near.all() else int(np.argmin(near)))
        together = min(together, int(days.searchsorted(days[0] + dt.timedelta(days=_MOST_DAYS))))
        yield _answered(service, site, days[0].date(), days[together - 1].date(), today)
        days = days[together:]


def _answered(service: Service, site: Site, first: dt.date, last: dt.date, today: dt.date) -> Table:
    facts, position = service.facts, (site.latitude, site.longitude or 0.0)
    where = {"latitude": f"{position[0]:g}", "longitude": f"{position[1]:g}"}
    span = {"start": f"{first:%Y%m%d}", "end": f"{last:%Y%m%d}"}
    text, service = ask(service, {"parameters": ",".join(facts["parameters"]), **where, **span, **facts["query"]})
    if text.lstrip().startswith(("{", "[")):
        raise service.refusal("not-weather", why=reason_in(text))
    try:
        table = parsed(text, site, facts["name"])
    except WeatherError as error:
        raise service.refusal("not-weather", why=f": {error.problems[0].sentence()}") from None
    if _RAIN not in table.cells:
        raise service.refusal("not-weather", why=f": it has no {_RAIN}")
    days = table.raw.daily.index
    if (twice := days[days.duplicated()]).size:
        raise service.refusal("not-weather", why=f": it has {twice[0].date()} twice")
    station = table.raw.station
    service.refuse_elsewhere(position, (station and station.latitude, station and station.longitude))
    due = pd.date_range(first, max(min(last, today - dt.timedelta(days=_LATE)), first))
    if (missing := len(due.difference(pd.DatetimeIndex(table.cells.index)))) or table.cells[_TEMPERATURES].isna().all(
        axis=None
    ):
        raise service.refusal("half", first=first, last=last, missing=counted(missing or len(due), "day"))
    service.refuse_impossible(table.raw.daily)
    return table._replace(
        cells=table.cells.loc[pd.Timestamp(first) : pd.Timestamp(last)]
    )  # nor days that nobody asked for


def joined(old: Table | None, new: Sequence[Table], *, first: dt.date, last: dt.date) -> Table:
    """Lay new tables under an old one: they fill what it lacks, from the first day to the last; then days that never came go."""
    *_, newest = new
    cells = new[0].cells if old is None else old.cells
    for table in new:
        within = table.cells.loc[pd.Timestamp(first) : pd.Timestamp(last)]
        cells = cells.combine_first(within)[list(dict.fromkeys([*cells.columns, *within.columns]))]
    come = cells.index[cells[_TEMPERATURES].notna().all(axis=1)]
    return newest._replace(cells=cells.loc[: come[-1]])


def as_text(table: Table, about: Sequence[str]) -> str:
    """
    Write a table as the service would, with lines of ours at the top of its header.

    Parameters
    ----------
    table : Table
    about : sequence of str
        Source, licence, date.
    """
    first, last = table.cells.index[0], table.cells.index[-1]
    block = [f"Dates (month/day/year): {first:%m/%d/%Y} through {last:%m/%d/%Y} in LST"]
    block += [text for text in table.block if not text.strip().startswith("Dates")]
    named = pd.DatetimeIndex(table.cells.index)
    rows = table.cells.fillna(f"{power.USUAL_MISSING:g}")
    for at, (name, part) in enumerate(zip(_DATE, (named.year, named.month, named.day), strict=True)):
        rows.insert(at, name, part)
    return "\n".join(
        [
            power.BEGIN,
            *(_MARK + text for text in about),
            *block,
            power.END,
            rows.to_csv(index=False, lineterminator="\n"),
        ]
    )
