"""
Raw: what every reader of a weather format gets (`Source`) and hands over (`RawTable`), before gaps, checks and humidity.

A reader is a module with a ``NAME``, a ``SOURCE``, a ``sniff`` and a ``read`` (see `Reader`); `readers` lists them. All
that differs between formats ends here: from this table on, one road leads to the finished weather.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple, Protocol

import numpy as np
import pandas as pd

from panbudget.errors import CONTROLS, Problem, WeatherError
from panbudget.numeric import Floats, Ints
from panbudget.weather.site import Site as Site
from panbudget.weather.site import Station as Station
from panbudget.weather.text.mistakes import refusal


@dataclass(frozen=True)
class Source:
    """
    A weather file as text.

    Parameters
    ----------
    text : str
        The whole file, line ends as ``\\n``.
    shown_as : str
        Its name as the user gave it.
    sha256 : str
        Of its bytes, as they lie on the disk.
    encoding : str
        How the bytes were read.
    taken_from : str
        What it was unpacked from, such as "gzip"; empty for a plain text file.
    table : str
        The scenario's table that names it, to write cures with: f"[{source.table}.columns]".
    missing : tuple of str
        What the user names as a mark for a missing value, beside those that are known.
    needs_rain : bool
        Whether a file without a column of rain is refused, so that the first message names it along with all else.
    rainless_if_empty : bool
        Whether a record without a figure of rain had none, as the user says.
    in_part : bool
        Whether it is one of several files, of which another may hold what it lacks.
    """

    text: str
    shown_as: str
    sha256: str
    encoding: str
    taken_from: str = ""
    table: str = "weather"
    missing: tuple[str, ...] = ()
    needs_rain: bool = False
    rainless_if_empty: bool = False
    in_part: bool = False

    @cached_property
    def lines(self) -> list[str]:
        """Its lines, the first of which is line 1 in messages."""
        return self.text.split("\n")

    def refusal(self, key: str, **facts: object) -> WeatherError:
        """Make the error that refuses it."""
        return refusal(key, self.shown_as, **facts)


#: stands in what is to be pasted for a unit that a person must fill in
TO_FILL_IN = "?"
#: quantities of records whose daily columns, extremes, means and sums, scale as the records do
SCALE_WITH_RECORDS = frozenset({"temperature", "wind", "rain", "pressure"})


class ColumnChoice(NamedTuple):
    """
    Where a standard column is found in a plain table.

    Parameters
    ----------
    column : str
        Header in the file.
    unit : str, optional
        Its unit as a person writes it; the standard one if left out, and `TO_FILL_IN` where none is known.
    """

    column: str
    unit: str | None = None

    def as_toml(self) -> str:
        """Write it as a scenario has it, without letters that can't be seen: a scenario takes none."""
        quoted = {
            name: json.dumps(CONTROLS.sub("", text), ensure_ascii=False)
            for name, text in self._asdict().items()
            if text
        }
        return f"{{ {', '.join(f'{name} = {text}' for name, text in quoted.items())} }}"


class OtherUnit(NamedTuple):
    """
    The unit that a header names where the user states another.

    ``header`` and ``stated`` are the two; ``factor`` and ``offset`` turn values read by the stated one into what the header's gives,
    which nothing does where that is another quantity's.
    """

    header: str
    stated: str
    factor: float | None = None
    offset: float = 0.0


#: standard column -> where it is found
Columns = Mapping[str, ColumnChoice]


class LeftOut(NamedTuple):
    """Why figures that stand in a file were left out ("for …"), and on which days."""

    why: str
    days: frozenset[dt.date]


class ByHour(NamedTuple):
    """
    What the hours of the day hold in a file of records at least every hour, (24,) each.

    ``records``: how many temperatures; ``temperature`` [°C] and ``radiation`` [W/m²]: their means, NaN without any; ``by_sun``:
    whether the hours are the sun's own at the site, and not those of a clock whose zone nobody names; ``winds``: that of each
    record that has one, (records,) [m/s]; ``middles``: day -> the hour in the middle of its light, or at which the wave of its
    temperature is highest where the file has no light; ``ceiling``: day on which the light stands at its highest figure for two
    records in a row or more -> that figure, empty if it comes no more often than others near it [W/m²]; ``midday``: hour of the sun
    since 1970, of those about noon -> its means, ``light`` [W/m²], ``warmth`` [°C] and ``damp``, the logarithm of the vapour
    pressure in kPa; empty without light; ``calms``: share of an hour's winds that are nothing, NaN with fewer than 20 of them;
    ``moving``: hour of the sun since 1970 -> each record's ``wind`` [m/s] and ``rain`` [mm, or its gauge's count], where it has them;
    ``lone``: day of which a record's temperature stands far out between its neighbours -> ``tmin`` and ``tmax`` without such records [°C].
    """

    records: Floats
    temperature: Floats
    radiation: Floats
    by_sun: bool
    winds: Floats = np.zeros(0)
    middles: pd.Series[float] = pd.Series(dtype=float)
    ceiling: pd.Series[float] = pd.Series(dtype=float)
    midday: pd.DataFrame = pd.DataFrame()
    calms: Floats = np.zeros(0)
    moving: pd.DataFrame = pd.DataFrame()
    lone: pd.DataFrame = pd.DataFrame()


@dataclass(frozen=True, eq=False)
class RawTable:
    """
    A weather file in standard columns and units, otherwise as it was found.

    Parameters
    ----------
    daily : DataFrame
        One row for each row read, in the file's order; index "date" (may repeat, miss days or run backwards);
        float columns, a subset of the standard names, standard units, NaN where missing.
    lines : ndarray of int, (rows,)
        The line of the file that each row came from.
    recognised : str
        What the format was taken for and why, for the report.
    units : dict
        Column -> its unit in the file.
    unit_is_stated : frozenset of str
        Columns whose unit the user or the file names; guesses at another unit leave them alone.
    headers : dict
        Column -> its header in the file; left out where that is the standard name.
    conversions : dict
        Column -> (factor, offset) that was applied; left out where the file has the standard unit.
    chosen : dict
        Column -> what the user names it by, which is pasted again with what else is to be named.
    notes : tuple of str
        What a report should mention: columns not used, rows sorted.
    typical : bool
        Whether the rows are one year made of months from different years: they stand under a year that was
        none, and `calendar` lays them onto the calendar.
    wind_height : float, optional
        Height above ground at which the format has its wind; 2 m if left out. [m]
    station : Station, optional
        Where it was measured, if the file says so.
    gauge : tuple of float
        Heights at which the file says that its wind is measured, in the order in which they are believed. [m]
    absent : dict
        Column -> why the file's figures are no record of it; left out where there is nothing to say.
    left_out : dict
        Column -> why some of its figures count as missing, and on which days.
    doubts : tuple of str
        Where the file contradicts the place that the scenario describes.
    problems : tuple of Problem
        What must be cured before the table is used, though it could be read.
    by_hour : ByHour, optional
        Of a file of records.
    of_records : dict
        Column -> the quantity of records that it comes of, by which the user names it; empty of days.
    contradicted : dict, optional
        Column -> the unit that its header names, where the user states another; None without any.
    rain_twice : DataFrame, optional
        Of records whose rain the file has twice, by day: as ``hours``, by ``six``-hour totals, and the ``larger``, taken; or without
        ``rows`` that stand twice, as ``hours``, and with them. [mm]
    unused : str
        The columns of a table that are not used.
    means : dict, optional
        "tmax" or "tmin" -> the header by which a table calls the same figures the day's mean temperature; None without any.
    """

    daily: pd.DataFrame
    lines: Ints
    recognised: str
    units: dict[str, str] = field(default_factory=dict)
    unit_is_stated: frozenset[str] = frozenset()
    headers: dict[str, str] = field(default_factory=dict)
    conversions: dict[str, tuple[float, float]] = field(default_factory=dict)
    chosen: dict[str, ColumnChoice] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    typical: bool = False
    wind_height: float | None = None
    station: Station | None = None
    gauge: tuple[float, ...] = ()
    absent: dict[str, str] = field(default_factory=dict)
    left_out: dict[str, LeftOut] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    by_hour: ByHour | None = None
    of_records: dict[str, str] = field(default_factory=dict)
    contradicted: dict[str, OtherUnit] | None = None
    rain_twice: pd.DataFrame | None = None
    unused: str = ""
    means: dict[str, str] | None = None


class Reader(Protocol):
    """A module that reads one weather format."""

    NAME: str
    SOURCE: str

    def sniff(self, head: str) -> tuple[float, str]:
        """Say from a file's first lines how sure it is that the format is its own, 0 to 1, and why."""

    def read(self, source: Source, *, columns: Columns, site: Site) -> RawTable:
        """Read a file measured at a site, by whose clock its days may go; raise WeatherError with all that is wrong."""
