"""
Reading: one weather file up to the point where only its gaps are left to deal with.

The bytes to text, the text to standard columns, the rows to days, the values checked, the wind brought to 2 m.
`record` does it with the file of a season, `fallback` with those that help it out.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.physics.air import wind_at_2m
from panbudget.weather.calendar import Arranged, arrange
from panbudget.weather.checks.plausibility import TOO_BRIGHT_CHOICES, Inspected, inspect_values
from panbudget.weather.filling.gaps import MISSING_RAIN_CHOICES, GapLimits
from panbudget.weather.formats.readers import choose_reader
from panbudget.weather.site import SiteLike
from panbudget.weather.sky import Sky, sky_of
from panbudget.weather.station import station_notes
from panbudget.weather.text.raw import ColumnChoice, RawTable, SiteReader
from panbudget.weather.text.source import Source, open_source
from panbudget.weather.typical import laid_out

__all__ = ["FileRead", "check_options", "checked_table", "choices_of", "raw_table", "read_file"]

# the heights of a gauge that a profile over grass and a mast allow [m]
_WIND_HEIGHTS = (0.5, 200.0)


@dataclass(frozen=True, eq=False)
class FileRead:
    """
    A weather file, checked but not filled.

    Parameters
    ----------
    shown : str
        Its name in messages.
    raw : RawTable
    source : Source
    reader : str
        The reader's name.
    why : str
        Why that reader was chosen.
    arranged : Arranged
        Its days, before any value was taken out.
    inspected : Inspected
        Its days with what can't be true left out, and what is wrong.
    sky : Sky
        Of its days.
    wind_height : float
        Of its gauge. [m]
    notes : tuple of str
        What a report should mention of the file itself.
    """

    shown: str
    raw: RawTable
    source: Source
    reader: str
    why: str
    arranged: Arranged
    inspected: Inspected
    sky: Sky
    wind_height: float
    notes: tuple[str, ...]

    @property
    def recognised(self) -> str:
        """What the format was taken for, and why."""
        return f"{self.raw.recognised} ({self.why})" + (
            f", from {self.source.taken_from}" if self.source.taken_from else ""
        )

    @property
    def daily(self) -> pd.DataFrame:
        """Its checked days, wind at 2 m."""
        daily = self.inspected.daily
        if "wind" not in daily.columns or self.wind_height == 2.0:
            return daily
        return daily.assign(wind=daily["wind"] * float(wind_at_2m(1.0, height=self.wind_height)))

    def facts(self) -> dict[str, Any]:
        """Return what a report says of where it came from."""
        return {
            "file": self.shown,
            "sha256": self.source.sha256,
            "reader": self.reader,
            "recognised": self.recognised,
            "units": dict(self.raw.units),
            "rows": len(self.raw.daily),
            "first": str(self.raw.daily.index.min().date()),
            "last": str(self.raw.daily.index.max().date()),
        }


def raw_table(
    source: Source, site: SiteLike, *, file_format: str, columns: Mapping[str, ColumnChoice]
) -> tuple[RawTable, str, str]:
    """
    Recognise a file and read it, unchecked.

    Parameters
    ----------
    source : Source
    site : SiteLike
        Where it was measured.
    file_format : str
        "auto", or a reader's name.
    columns : mapping
        As `choices_of` returns them.

    Returns
    -------
    (RawTable, str, str)
        The table, the reader's name, and why it was chosen.

    Raises
    ------
    WeatherError
        No format that is known, or a file that doesn't hold to its own.
    """
    reader, why = choose_reader(source, file_format=file_format)
    if isinstance(reader, SiteReader):
        return reader.read_at(source, columns=columns, site=site), reader.NAME, why
    return reader.read(source, columns=columns), reader.NAME, why


def read_file(
    path: str | Path,
    site: SiteLike,
    *,
    shown: str,
    file_format: str,
    wind_height: float | None,
    columns: Mapping[str, ColumnChoice],
    too_bright: str,
    limits: GapLimits,
    start: dt.date | None,
    end: dt.date | None,
    holes: bool = False,
    reach: tuple[dt.date, dt.date] | None = None,
) -> FileRead:
    """
    Read a file and check its values.

    Parameters
    ----------
    path : str or Path
    site : SiteLike
        Where it was measured.
    shown : str
        Its name in messages.
    file_format, wind_height, columns, too_bright, limits, start, end
        As in `read_weather`; columns as `choices_of` returns them.
    holes : bool
        Whether a day asked for may lack a row.
    reach : (date, date), optional
        First and last day for which others have weather: as far as those asked for reach beyond the file's own,
        they get an empty row.

    Returns
    -------
    FileRead
        With its problems, if there are any.

    Raises
    ------
    WeatherError
        A file that can't be read at all.
    """
    source = open_source(path, shown_as=shown)
    raw, reader, why = raw_table(source, site, file_format=file_format, columns=columns)
    return checked_table(
        raw,
        source,
        site,
        reader=reader,
        why=why,
        wind_height=wind_height,
        too_bright=too_bright,
        limits=limits,
        start=start,
        end=end,
        holes=holes,
        reach=reach,
    )


def checked_table(
    raw: RawTable,
    source: Source,
    site: SiteLike,
    *,
    reader: str,
    why: str,
    wind_height: float | None,
    too_bright: str,
    limits: GapLimits,
    start: dt.date | None,
    end: dt.date | None,
    holes: bool = False,
    reach: tuple[dt.date, dt.date] | None = None,
) -> FileRead:
    """
    Check what a reader read.

    Parameters
    ----------
    raw : RawTable
    source : Source
        Where it came from.
    site, wind_height, too_bright, limits, start, end, holes, reach
        As in `read_file`.
    reader, why : str
        As `raw_table` gives them.

    Returns
    -------
    FileRead
        With its problems, if there are any.
    """
    if raw.typical:
        raw = laid_out(raw, start=start, end=end)
    height_notes = []
    if wind_height is None:
        wind_height = raw.wind_height or 2.0
        if wind_height != 2.0 and "wind" in raw.daily.columns:
            height_notes.append(
                f"wind is taken as measured {wind_height:g} m above ground, as the format has it, and brought to 2 m; "
                f'where the gauge stands otherwise, write wind_height under [weather], such as "{wind_height:g} m"'
            )
    arranged = arrange(raw, start=start, end=end, holes=holes, reach=reach)
    days = pd.DatetimeIndex(arranged.daily.index)
    sky = sky_of(days, latitude=site.latitude, elevation=site.elevation)
    inspected = inspect_values(
        arranged.daily,
        arranged.asked,
        raw=raw,
        site=site,
        sky=sky,
        wind_factor=1.0 if wind_height == 2.0 else float(wind_at_2m(1.0, height=wind_height)),
        too_bright=too_bright,
        bright_share=limits.share,
    )
    notes = (*station_notes(raw.station, site), *raw.notes, *height_notes)
    return FileRead(source.shown_as, raw, source, reader, why, arranged, inspected, sky, wind_height, notes)


def choices_of(columns: Mapping[str, Any], shown: str) -> dict[str, ColumnChoice]:
    """Bring the user's choice of columns, in whichever form, into ours."""
    choices: dict[str, ColumnChoice] = {}
    problems: list[Problem] = []
    header: object
    unit: object
    for name, given in columns.items():
        if isinstance(given, str):
            header, unit = given, None
        elif isinstance(given, Mapping):
            header, unit = given.get("column"), given.get("unit")
        else:
            header, unit = getattr(given, "column", None), getattr(given, "unit", None)
        if not isinstance(header, str) or not header.strip() or not isinstance(unit, str | None):
            key = f"weather.columns.{name}"
            message = (
                f"{key} = {given!r} is not a column; the header and, if it is not the "
                "standard one, the unit are "
                'expected, such as { column = "T_low", unit = "degF" }'
            )
            problems.append(Problem.of_text(message, key=key, value=given))
            continue
        choices[str(name)] = ColumnChoice(header.strip(), unit)
    if problems:
        raise WeatherError(*problems, file=shown)
    return choices


def check_options(shown: str, *, wind_height: float, missing_rain: str, too_bright: str) -> None:
    problems: list[Problem] = []
    lowest, highest = _WIND_HEIGHTS
    if not lowest <= wind_height <= highest:
        message = (
            f"weather.wind_height = {wind_height:g} m is no height of a wind gauge; "
            f"{lowest:g} to {highest:g} m above "
            'ground is expected, such as "2 m" or "10 m"'
        )
        problems.append(Problem.of_text(message, key="weather.wind_height", value=wind_height))
    options = (
        ("missing_rain", missing_rain, MISSING_RAIN_CHOICES),
        ("too_bright", too_bright, TOO_BRIGHT_CHOICES),
    )
    for name, value, expected in options:
        if value not in expected:
            message = f'weather.{name} = "{value}" is not known; "{expected[0]}" or "{expected[1]}" is expected'
            problems.append(Problem.of_text(message, key=f"weather.{name}", value=value))
    if problems:
        raise WeatherError(*problems, file=shown)
