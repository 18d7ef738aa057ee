"""
Clean: a weather file in, one clean daily table out, with every value's origin beside it.

The order: bytes to text, text to standard columns (a reader), rows to days, values checked, gaps checked;
only when nothing is wrong, gaps are filled, by other stations' files or by rule, and humidity is worked out.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from panbudget.errors import Problem, WeatherError
from panbudget.weather.checks.inspection import CheckedFile, RawFile
from panbudget.weather.filling.fallback import Borrowed, Fallback
from panbudget.weather.filling.gaps import GapLimits, Gaps
from panbudget.weather.finishing import Weather, cautions_of, finished_weather
from panbudget.weather.messages import note, problem
from panbudget.weather.reading import Columns, Rules, checked_file, chosen_columns, read_files
from panbudget.weather.several import Paths, shown_names
from panbudget.weather.site import Site
from panbudget.weather.text.columns import REQUIRED
from panbudget.weather.text.raw import RawTable
from panbudget.weather.text.source import Source

#: first and last day
Span = tuple[dt.date, dt.date]


def read_weather(
    path: Paths,
    site: Site,
    *,
    file_format: str = "auto",
    wind_height: float | None = None,
    missing_rain: str = "error",
    too_bright: str = "error",
    columns: Columns = None,
    missing: Sequence[str] = (),
    shown_as: str | None = None,
    limits: GapLimits | None = None,
    start: dt.date | None = None,
    end: dt.date | None = None,
    fallbacks: Sequence[Fallback] = (),
    trust: Sequence[str] = (),
) -> Weather:
    """
    Read a weather file into a clean daily table.

    Parameters
    ----------
    path : str or Path, or a sequence of them
        The file; several, or a pattern of theirs such as "2024-*.csv", are joined by date (see `several`).
    site : Site
        Where it was measured.
    file_format : str
        "auto", or a reader's name.
    wind_height : float, optional
        Height of the wind gauge above ground, 0.5 to 200; where left out the format's own, 2 m if it has none. [m]
    missing_rain : str
        "error", or "zero": a day without a figure had no rain.
    too_bright : str
        "error", or "limit": radiation between 1.05 and 1.25 of a clear sky's, on a few days, is brought down
        to 1.05.
    columns : mapping, optional
        Standard name -> {"column": header, "unit": unit}, or an object with these attributes, or the header
        alone.
    missing : sequence of str
        What stands for a missing value in a table, beside the usual words and codes: "x", or "0 %" in columns of %.
    shown_as : str, optional
        The file's name in messages; the path as given if left out.
    limits : GapLimits, optional
        How much may be filled in; 10 % of the days and 5 in a row if left out.
    start, end : date, optional
        The days needed, as far as the file has them; the file's own if left out. What is wrong on others
        doesn't matter: the result is the longest run of complete days that holds them. Monthly means and
        the climate come from the whole file.
    fallbacks : sequence of Fallback
        Other stations' files, asked in this order for what the file lacks on any day (see `fallback`); limits hold
        for what is missing after that.
    trust : sequence of str
        Names of checks that the user knows better than.

    Returns
    -------
    Weather
        Clean: behind this door values are trusted.

    Raises
    ------
    WeatherError
        All that is wrong, one line each.

    Notes
    -----
    FAO-56 chapter 3 for gaps; see `gaps`, `humidity` and `plausibility`.
    """
    options: dict[str, Any] = {"missing_rain": missing_rain, "too_bright": too_bright, "limits": limits, "trust": trust}
    named: dict[str, Any] = {"file_format": file_format, "columns": columns, "missing": missing, "shown_as": shown_as}
    return open_weather(path, site, wind_height=wind_height, fallbacks=fallbacks, **named, **options).over(start, end)


_Whole = tuple[CheckedFile, Rules, Borrowed]


@dataclass(frozen=True)
class WeatherFile:
    """
    A weather file and its fallbacks, read and not yet checked: what they give depends on the days asked for.

    Parameters
    ----------
    file : RawFile
    rules : Rules
    others : sequence of (Fallback, RawFile)
    """

    file: RawFile
    rules: Rules
    others: Sequence[tuple[Fallback, RawFile]] = ()

    def uncautious(self) -> WeatherFile:
        """Return the same file, read without what only cautions and assumptions need."""
        return replace(self, rules=replace(self.rules, cautious=False))

    def over(self, start: dt.date | None = None, end: dt.date | None = None) -> Weather:
        """Return the longest run of clean days that holds some days, as `read_weather` does."""
        try:
            return finished_weather(*self._whole(start, end))
        except WeatherError:
            if blamed := self._blamed():
                raise WeatherError(*blamed) from None
            raise

    def _blamed(self) -> list[Problem]:
        """Say what is wrong with whole columns of some of several files alone, which the others have right."""
        blamed, files = list[Problem](), set[str]()
        for part in self.file.parts:
            shown, inspected = part.source.shown_as, checked_file(part, self.rules).inspected
            for wrong in (each for each in inspected.problems if each.where in inspected.condemned):
                named = [tomllib.loads(f"of = {choice}")["of"] for _, choice in wrong.paste]
                headers = [f'"{of["column"]} ({of["unit"]})"' for of in named if "unit" in of]
                cure = note("unit-in-header", headers=", ".join(headers)) if headers else wrong.cure
                blamed.append(replace(wrong, cure=cure, paste=()).under(f"{shown}: "))
                files.add(shown)
        return blamed if len(files) < len(self.file.parts) else []

    def seasons(self, spans: Mapping[int, Span]) -> dict[int, Weather | WeatherError]:
        """
        Return the weather of each season whose own days are whole after filling, and what is wrong with the others.

        Parameters
        ----------
        spans : mapping
            Year -> first and last day; the first is read first.

        Returns
        -------
        dict
            Year -> Weather, one for all seasons that lie in one run of clean days but for its cautions; or the error.
        """
        seasons: dict[int, Weather | WeatherError] = {}
        runs: list[Weather] = []
        # what a season is cautioned of is its own days' concern: then each has a look of its own anyway
        flawless = self._flawless(spans.values()) if len(spans) > 1 and not self.rules.cautious else None
        for year, (start, end) in spans.items():
            try:
                weather = next((run for run in reversed(runs) if run.holds(start, end)), None)
                whole = flawless or self._whole(start, end)
                if weather is None:
                    weather = finished_weather(*whole)
                    runs.append(weather)
                elif weather.cautions or whole[0].inspected.cautions:
                    weather = replace(weather, cautions=cautions_of(*whole, weather.daily))
                seasons[year] = weather
            except WeatherError as error:
                seasons[year] = error
        return seasons

    def _flawless(self, spans: Iterable[Span]) -> _Whole | None:
        """Return all days from the first to the last where nothing lacks or is filled: then none needs a look of its own."""
        starts, ends = zip(*spans, strict=True)
        try:
            read, rules, borrowed = self._whole(min(starts), max(ends), limits=GapLimits(0.0, 0), missing_rain="error")
        except WeatherError:
            return None
        return read, replace(rules, missing_rain=self.rules.missing_rain), borrowed

    def _whole(self, start: dt.date | None, end: dt.date | None, **changes: Any) -> _Whole:
        """Check the days asked for: refused if they are not whole after filling, or hold what can't be true."""
        rules = replace(self.rules, start=start, end=end, **changes)
        others = [(fallback, _checked_fallback(fallback, file, rules)) for fallback, file in self.others]
        read = checked_file(self.file, rules, others)
        borrowed = Borrowed(read, rules.site, others)
        gaps = Gaps(read, borrowed)
        missing = gaps.values(rules.limits or GapLimits(), missing_rain=rules.missing_rain)
        if wrong := (*read.arranged.problems, *gaps.rows(), *read.inspected.problems, *borrowed.problems, *missing):
            raise WeatherError(*wrong, file=read.file.source.shown_as)
        return read, rules, borrowed


def open_weather(
    path: Paths,
    site: Site,
    *,
    file_format: str = "auto",
    columns: Columns = None,
    missing: Sequence[str] = (),
    shown_as: str | None = None,
    fallbacks: Sequence[Fallback] = (),
    **options: Any,
) -> WeatherFile:
    """
    Read a weather file and its fallbacks, unchecked; takes what `read_weather` takes but for the days.

    Raises
    ------
    WeatherError
        A file can't be read, or an option can't be.
    """
    rules, shown = Rules(site, **options), shown_names(path) if shown_as is None else shown_as
    rules.refuse(shown)
    choices = chosen_columns(columns or {}, rules.table, shown)
    others = [(fallback, read_fallback(fallback, rules.site)) for fallback in fallbacks]
    needs_rain = rules.missing_rain == "error" and not any(fallback.rain for fallback in fallbacks)
    named: dict[str, Any] = {"file_format": file_format, "columns": choices, "missing": missing}
    rain = {"needs_rain": needs_rain, "rainless_if_empty": rules.missing_rain == "zero"}
    temperatures = any({*REQUIRED} <= {*file.raw.daily.columns} for _, file in others)
    file = read_files(
        path, site, shown_as=shown, table=rules.table, trust=rules.trust, in_part=temperatures, **rain, **named
    )
    if file.raw.typical and others:
        raise WeatherError(problem("typical-with-fallback"), file=shown)
    return WeatherFile(file, rules, others)


def table_weather(raw: RawTable, source: Source, site: Site, *, reader: str, **options: Any) -> WeatherFile:
    """
    Take a table in standard columns and units, however it was read, for a weather file.

    Parameters
    ----------
    raw : RawTable
    source : Source
        Where it came from.
    site : Site
        Where it was measured.
    reader : str
        What read it.
    **options
        wind_height, missing_rain, too_bright, limits: as in `read_weather`.
    """
    return WeatherFile(RawFile(raw, source, reader, "as named"), Rules(site, **options))


def _of_fallback(fallback: Fallback, rules: Rules) -> Rules:
    """How a fallback's file is to be read."""
    more: dict[str, Any] = {
        "site": fallback.site or rules.site,
        "wind_height": fallback.wind_height,
        "table": "weather.fallback",
        "trust": fallback.trust,
    }
    return replace(rules, missing_rain="error", too_bright="limit", **more)


def read_fallback(fallback: Fallback, site: Site) -> RawFile:
    """Read a fallback's file, for a site; a typical year has no days to lend."""
    shown, rules = fallback.shown, _of_fallback(fallback, Rules(site))
    rules.refuse(shown)
    options: dict[str, Any] = {"file_format": fallback.file_format, "columns": fallback.columns, "table": rules.table}
    more: dict[str, Any] = {"missing": fallback.missing, "trust": fallback.trust}
    file = read_files(fallback.path, rules.site, shown_as=shown, **more, **options)
    if file.raw.typical:
        raise WeatherError(problem("fallback-typical"), file=shown)
    return file


def _checked_fallback(fallback: Fallback, file: RawFile, rules: Rules) -> CheckedFile:
    """Check a fallback's file: sound, but with gaps."""
    shown, start, end = fallback.shown, rules.start, rules.end
    read = checked_file(file, _of_fallback(fallback, rules))
    problems = read.inspected.problems
    first, last = read.days[0].date(), read.days[-1].date()
    if (start is not None and last < start) or (end is not None and first > end):
        # it has none of the days asked for: odd values of single days are left out, and only whole columns matter
        problems = [wrong for wrong in problems if wrong.where in read.inspected.condemned]
    if problems or read.arranged.problems:
        raise WeatherError(*read.arranged.problems, *problems, file=shown)
    return read
