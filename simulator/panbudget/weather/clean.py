"""
Clean: a weather file in, one clean daily table out, with every value's origin beside it.

The order: bytes to text, text to standard columns (a reader), rows to days, values checked, gaps checked;
only when nothing is wrong, gaps are filled, by other stations' files or by rule, and humidity is worked out.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.numeric import Mask
from panbudget.physics import air
from panbudget.physics.evaporation import reference_evapotranspiration
from panbudget.weather import flags as origins
from panbudget.weather.calendar import arrange, laid_out
from panbudget.weather.checks.inspection import Caution, CheckedFile, Inspection, RawFile
from panbudget.weather.checks.plausibility import inspect_values, trust_problem
from panbudget.weather.filling import estimates
from panbudget.weather.filling.fallback import Borrowed, Fallback
from panbudget.weather.filling.gaps import GapLimits, Gaps
from panbudget.weather.formats.readers import as_archived, as_table, choose_reader, refuse_months
from panbudget.weather.marks import without_marks
from panbudget.weather.messages import counted, note, problem, table_of
from panbudget.weather.several import Paths, joined, paths_of, shown_names
from panbudget.weather.site import Site, place_doubts, sky_of, station_notes
from panbudget.weather.text.columns import FINISHED_UNITS
from panbudget.weather.text.raw import ColumnChoice, RawTable
from panbudget.weather.text.source import Source, open_source
from panbudget.words import say

#: first and last day
Span = tuple[dt.date, dt.date]
#: standard name -> where it is found, as in `read_weather`
Columns = Mapping[str, Any] | None

# the heights of a gauge that a profile over grass and a mast allow [m]
_WIND_HEIGHTS = (0.5, 200.0)
# at which the wind of a finished table is [m]
_FINISHED_HEIGHT = 2.0
# readers of tables of which no format fixes units, heights and what stands for a missing value
_OF_NO_FORMAT = ("table", "logger")


@dataclass(frozen=True, eq=False)
class Weather:
    """
    Clean daily weather.

    Parameters
    ----------
    daily : DataFrame
        Index "date", every day in turn; columns tmin, tmax [°C], vapour_pressure [kPa], rh_mean, rh_min [%],
        wind [m/s at 2 m], rain [mm], radiation [MJ m⁻² d⁻¹], without gaps; and where the file has them
        pressure [kPa], without gaps, and pan_evaporation [mm], as found. Units in ``daily.attrs["units"]``.
    flags : DataFrame
        The same shape: how each value came about (see `flags`).
    provenance : dict
        file, sha256, reader, recognised, units (of the file), rows, first, last (days in the file) and
        assumptions; typical, which is True, for a year made of months from different years; and fallbacks, a list of
        the same facts of each, with adjust, rain, borrowed (column -> days asked for) and fit (column -> `Fit`).
    notes : tuple of str
        What a report should say, loudest first.
    doubts : tuple of str
        Where the file contradicts the place that the scenario describes.
    cautions : tuple of Caution
        What is unlikely on the days asked for, with what it is worth.
    checks : dict
        Name of a check that was made -> the columns on which it was.
    """

    daily: pd.DataFrame
    flags: pd.DataFrame
    provenance: dict[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    checks: Mapping[str, Sequence[str]] = field(default_factory=dict)

    def holds(self, start: dt.date, end: dt.date) -> bool:
        """Tell whether these days are among its own."""
        return bool(self.daily.index[0].date() <= start <= end <= self.daily.index[-1].date())

    def filled(self, start: dt.date | None = None, end: dt.date | None = None) -> dict[str, dict[str, int]]:
        """
        Count the values that were filled in.

        Parameters
        ----------
        start, end : date, optional
            First and last day to count; all days if left out.

        Returns
        -------
        dict
            Column -> method -> days; columns and methods without any are left out.
        """
        part = self.flags.loc[start and pd.Timestamp(start) : end and pd.Timestamp(end)]
        filled = {str(name): Counter(filter(origins.is_filled, part[name])) for name in part.columns}
        return {name: dict(sorted(methods.items())) for name, methods in filled.items() if methods}


@dataclass(frozen=True)
class _Rules:
    """How a file is to be read and filled: what `read_weather` takes, and the scenario's table that says it."""

    site: Site
    wind_height: float | None = None
    missing_rain: str = "error"
    too_bright: str = "error"
    limits: GapLimits | None = None
    start: dt.date | None = None
    end: dt.date | None = None
    table: str = "weather"
    trust: Sequence[str] = ()
    cautious: bool = True

    def refuse(self, shown: str) -> None:
        """Raise with the options that can't be."""
        problems: list[Problem] = []
        height, span, where = self.wind_height, _WIND_HEIGHTS, f"{self.table}.wind_height"
        if height is not None and not span[0] <= height <= span[1]:
            problems.append(problem("wind-height", where, height, height=height, span=span))
        for name, other in (("missing_rain", "zero"), ("too_bright", "limit")):
            if (given := getattr(self, name)) not in ("error", other):
                problems.append(problem("unknown-choice", f"{self.table}.{name}", given, given=given, other=other))
        if unknown := trust_problem(self.trust, where=self.table):
            problems.append(unknown)
        if problems:
            raise WeatherError(*problems, file=shown)


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


_Whole = tuple[CheckedFile, _Rules, Borrowed]


@dataclass(frozen=True)
class WeatherFile:
    """
    A weather file and its fallbacks, read and not yet checked: what they give depends on the days asked for.

    Parameters
    ----------
    file : RawFile
    rules : _Rules
    others : sequence of (Fallback, RawFile)
    """

    file: RawFile
    rules: _Rules
    others: Sequence[tuple[Fallback, RawFile]] = ()

    def uncautious(self) -> WeatherFile:
        """Return the same file, read without what only cautions and assumptions need."""
        return replace(self, rules=replace(self.rules, cautious=False))

    def over(self, start: dt.date | None = None, end: dt.date | None = None) -> Weather:
        """Return the longest run of clean days that holds some days, as `read_weather` does."""
        return _finished(*self._whole(start, end))

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
                    weather = _finished(*whole)
                    runs.append(weather)
                elif weather.cautions or whole[0].inspected.cautions:
                    weather = replace(weather, cautions=_cautions(*whole, weather.daily))
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
        read = _checked(self.file, rules, others)
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
    rules, shown = _Rules(site, **options), shown_names(path) if shown_as is None else shown_as
    rules.refuse(shown)
    choices = _choices(columns or {}, rules.table, shown)
    others = [(fallback, read_fallback(fallback, rules.site)) for fallback in fallbacks]
    needs_rain = rules.missing_rain == "error" and not any(fallback.rain for fallback in fallbacks)
    named: dict[str, Any] = {"file_format": file_format, "columns": choices, "missing": missing}
    file = read_files(path, site, shown_as=shown, needs_rain=needs_rain, **named)
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

    Returns
    -------
    WeatherFile
    """
    return WeatherFile(RawFile(raw, source, reader, "as named"), _Rules(site, **options))


def read_files(path: Paths, site: Site, *, shown_as: str, **options: Any) -> RawFile:
    """Recognise a file or several and read them, unchecked; several joined. Takes what `read_raw` takes."""
    paths = paths_of(path, shown_as=shown_as)
    if len(paths) == 1:
        return read_raw(paths[0], site, shown_as=shown_as, **options)
    files = [read_raw(each, site, shown_as=each.name, **options) for each in paths]
    return joined(files, site, shown_as=shown_as, columns=_choices(options.get("columns") or {}, "weather", shown_as))


def read_raw(
    path: str | Path,
    site: Site,
    *,
    shown_as: str,
    file_format: str = "auto",
    columns: Columns = None,
    missing: Sequence[str] = (),
    table: str = "weather",
    needs_rain: bool = False,
) -> RawFile:
    """
    Recognise a file and read it, unchecked.

    Parameters
    ----------
    path, site, shown_as, file_format, columns, missing
        As in `read_weather`; one file.
    table : str
        The scenario's table that names the file.
    needs_rain : bool
        Whether a file without rain is to be refused.

    Returns
    -------
    RawFile

    Raises
    ------
    WeatherError
        An unknown format, or a file that doesn't hold to its own.
    """
    choices = _choices(columns or {}, table, shown_as)
    source = replace(open_source(path, shown_as=shown_as), table=table, missing=tuple(missing), needs_rain=needs_rain)
    refuse_months(source)
    source = as_archived(source)
    if file_format in ("auto", *_OF_NO_FORMAT):
        source = as_table(source)
    reader, why = choose_reader(source, file_format=file_format)
    if missing and reader.NAME not in _OF_NO_FORMAT:
        raise source.refusal("own-missing", name=reader.NAME, table=table)
    file = RawFile(reader.read(source, columns=choices, site=site), source, reader.NAME, why)
    if file.raw.problems:  # whole columns in another unit are cured along with their names
        inspected = _checked(file, _Rules(site, table=table)).inspected
        units = [wrong for wrong in inspected.problems if wrong.where in inspected.condemned]
        raise WeatherError(*file.raw.problems, *units, file=shown_as)
    return file


def _choices(columns: Mapping[str, Any], table: str, shown: str) -> dict[str, ColumnChoice]:
    """Bring the user's choice of columns, in whichever form, into ours."""
    choices: dict[str, ColumnChoice] = {}
    problems: list[Problem] = []
    for name, given in columns.items():
        parts = {"column": given} if isinstance(given, str) else given
        get = parts.get if isinstance(parts, Mapping) else lambda key, of=parts: getattr(of, key, None)
        header, unit = get("column"), get("unit")
        if isinstance(header, str) and header.strip() and isinstance(unit, str | None):
            choices[str(name)] = ColumnChoice(header.strip(), unit)
        else:
            problems.append(problem("not-a-column", f"{table}.columns.{name}", given, given=given))
    if problems:
        raise WeatherError(*problems, file=shown)
    return choices


def _checked(file: RawFile, rules: _Rules, others: Sequence[tuple[Fallback, CheckedFile]] = ()) -> CheckedFile:
    """Set a file's days in order, as far as others reach, and check their values."""
    site = rules.site
    if file.raw.typical:
        file = file._replace(raw=laid_out(file.raw, start=rules.start, end=rules.end))
    file = file._replace(raw=without_marks(file.raw))
    raw, notes = file.raw, [*station_notes(file.raw.station, site), *file.raw.notes]
    height = rules.wind_height or raw.wind_height or _FINISHED_HEIGHT
    if rules.wind_height is None and height != _FINISHED_HEIGHT and "wind" in raw.daily.columns:
        under = "[weather]" if rules.table == "weather" else f"its [[{rules.table}]]"
        notes.append(note("wind-as-format", height=height, under=under))
    reach = [day for _, other in others for day in (other.days[0], other.days[-1])]
    arranged = arrange(raw, start=rules.start, end=rules.end, reach=reach)
    daily, options = arranged.daily.copy(), (rules.too_bright, (rules.limits or GapLimits()).share)
    sky = sky_of(pd.DatetimeIndex(daily.index), latitude=site.latitude, elevation=site.elevation)
    factor = 1.0 if height == _FINISHED_HEIGHT else float(air.wind_at_2m(1.0, height=height))
    inspection = Inspection(
        *(daily, arranged.asked, raw, sky, site, rules.table, factor, *options, frozenset(rules.trust), rules.cautious)
    )
    doubts = (*raw.doubts, *place_doubts(raw.station, arranged.daily, site))
    inspected = inspect_values(inspection)
    notes += _without_spare(inspected)
    return CheckedFile(file, arranged, inspected, height, tuple(notes), doubts)


# columns of one quantity, the one that is used first
_HUMIDITIES = ("vapour_pressure", "dew_point", "rh_max", "rh_min", "rh_mean")


def _without_spare(inspected: Inspection) -> Iterator[str]:
    """Leave out columns that can't be true and that nothing needs, for a better one is whole; say why instead of refusing."""
    wrong = {problem.where for problem in inspected.problems}
    whole = [
        name
        for name in _HUMIDITIES
        if inspected.has(name) and name not in wrong and inspected.known(name).size == inspected.asked.sum()
    ]
    spare = set(_HUMIDITIES[_HUMIDITIES.index(whole[0]) + 1 :] if whole else ()) | {"pan_evaporation"}
    left_out = [problem for problem in inspected.problems if problem.where in spare]
    inspected.problems[:] = [problem for problem in inspected.problems if problem.where not in spare]
    for each in left_out:
        inspected.daily[each.where] = np.nan
        yield note("spare", sentence=each.sentence())


def _of_fallback(fallback: Fallback, rules: _Rules) -> _Rules:
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
    shown, rules = fallback.shown, _of_fallback(fallback, _Rules(site))
    rules.refuse(shown)
    options: dict[str, Any] = {"file_format": fallback.file_format, "columns": fallback.columns, "table": rules.table}
    file = read_files(fallback.path, rules.site, shown_as=shown, missing=fallback.missing, **options)
    if file.raw.typical:
        raise WeatherError(problem("fallback-typical"), file=shown)
    return file


def _checked_fallback(fallback: Fallback, file: RawFile, rules: _Rules) -> CheckedFile:
    """Check a fallback's file: sound, but with gaps."""
    shown, start, end = fallback.shown, rules.start, rules.end
    read = _checked(file, _of_fallback(fallback, rules))
    problems = read.inspected.problems
    first, last = read.days[0].date(), read.days[-1].date()
    if (start is not None and last < start) or (end is not None and first > end):
        # it has none of the days asked for: odd values of single days are left out, and only whole columns matter
        problems = [wrong for wrong in problems if wrong.where in read.inspected.condemned]
    if problems or read.arranged.problems:
        raise WeatherError(*read.arranged.problems, *problems, file=shown)
    return read


def _finished(read: CheckedFile, rules: _Rules, borrowed: Borrowed) -> Weather:
    """What is checked, with its gaps filled, from others or by rule."""
    raw, inspected, arranged = read.file.raw, read.inspected, read.arranged
    daily = borrowed.laid_over(read.daily)
    finished, kept, climate = _filled(daily, read, borrowed, rules)
    parts = zip(*finished.values(), strict=True)
    values, flags = (pd.DataFrame(dict(zip(finished, part, strict=True)), index=read.days)[kept] for part in parts)
    values.attrs["units"] = {name: FINISHED_UNITS[name] for name in values.columns}
    known = estimates.known_days(daily)
    absent = (say(text) for name, text in table_of("absent").items() if not known[name][arranged.asked].any())
    loud = [*([note("typical")] if raw.typical else []), *absent]
    assumptions = [*loud, *(_assumptions(flags[arranged.asked[kept]], borrowed.fitted) if rules.cautious else ())]
    assumptions += _unstated(read, rules)
    if "wind" in raw.daily.columns and read.wind_height != _FINISHED_HEIGHT:
        assumptions.append(note("wind-to-2m", height=read.wind_height))
    provenance = {**read.facts(), "assumptions": [*assumptions, *climate]}
    if borrowed.files:
        provenance["fallbacks"] = borrowed.files
    if raw.typical:
        provenance["typical"] = True
    first, last = (str(read.days[kept][end].date()) for end in (0, -1))
    trimmed = [] if kept.all() else [note("days-trimmed", first=first, last=last)]
    notes = (*loud, *read.notes, *borrowed.notes, *arranged.notes, *inspected.notes, *trimmed)
    return Weather(
        values, flags, provenance, notes, read.doubts, _cautions(read, rules, borrowed, values), inspected.ran
    )


def _cautions(read: CheckedFile, rules: _Rules, borrowed: Borrowed, values: pd.DataFrame) -> tuple[Caution, ...]:
    """What is unlikely on the days asked for, with what it is worth beside the finished values."""
    daily = borrowed.laid_over(read.daily)
    return tuple(_worth(caution, daily, values, read, borrowed, rules) for caution in read.inspected.cautions)


def _unstated(read: CheckedFile, rules: _Rules) -> Iterator[str]:
    """Say what neither the user nor the file nor its format states: units, and the wind gauge's height."""
    raw = read.file.raw
    if read.file.reader not in _OF_NO_FORMAT:
        return
    if units := [f"{name} {unit}" for name, unit in raw.units.items() if name not in raw.unit_is_stated]:
        yield note("units-unstated", units=", ".join(units))
    if "wind" in raw.daily.columns and rules.wind_height is None and raw.wind_height is None:
        yield note("wind-height-unstated", height=_FINISHED_HEIGHT)


def _worth(
    caution: Caution, daily: pd.DataFrame, values: pd.DataFrame, read: CheckedFile, borrowed: Borrowed, rules: _Rules
) -> Caution:
    """Say what a caution is worth: the season's ETo and rain, if it is right, against what they are."""
    if not caution.instead:
        return caution
    factor = read.inspected.wind_factor
    instead = {name: v * factor if name == "wind" else v for name, v in caution.instead.items()}
    other, kept, _ = _filled(daily.assign(**instead), read, borrowed, rules)
    asked = read.days[read.arranged.asked & kept]
    changed = pd.DataFrame({name: part[0] for name, part in other.items()}, index=read.days).loc[asked]
    site = {"latitude": rules.site.latitude, "elevation": rules.site.elevation}
    now, then = (reference_evapotranspiration(table, **site).sum() for table in (values.loc[asked], changed))
    rain = changed["rain"].sum() - values.loc[asked, "rain"].sum()
    text = "worth-rain" if "rain" in instead else "worth"
    return caution._replace(instead={}, worth=note(text, eto=then, change=then - now, rain=rain))


def _filled(
    daily: pd.DataFrame, read: CheckedFile, borrowed: Borrowed, rules: _Rules
) -> tuple[dict[str, estimates.Column], Mask, list[str]]:
    """Fill gaps by rule; return columns with their flags, the days to keep, and what the climate was taken for."""
    site, sky, in_file = rules.site, read.inspected.sky, read.arranged.in_file
    finished = {name: estimates.filled_with(daily, name, np.nan, origins.MISSING) for name in ("tmin", "tmax")}
    wind = estimates.filled_wind(estimates.column_or_nan(daily, "wind"), read.days)
    rain = estimates.filled_with(daily, "rain", 0.0, origins.ZERO_RAIN)
    radiation = estimates.filled_radiation(daily, sky=sky, site=site, limited=read.inspected.limited, in_file=in_file)
    fallen = rain[0] if rules.missing_rain == "zero" else estimates.column_or_nan(daily, "rain")
    kept = _run_around(read.arranged.asked, ~np.isnan(finished["tmin"][0] + finished["tmax"][0] + fallen))
    dry = False
    climate: list[str] = []
    if (~estimates.has_humidity(daily) & kept).any():
        index = estimates.aridity(daily, radiation=radiation[0], wind=wind[0], rain=fallen, sky=sky, site=site)
        dry, climate = _climate(site, index)
    lent = borrowed.flags["vapour_pressure"].to_numpy(object)
    finished |= estimates.humidity_of(daily, dry=dry, in_file=in_file, borrowed=lent)
    finished |= {"wind": wind, "rain": rain, "radiation": radiation}
    for name in ("tmin", "tmax", "wind", "rain", "radiation"):
        days = borrowed.has(name)
        finished[name][1][days] = borrowed.flags[name].to_numpy(object)[days]
    if not np.isnan(estimates.column_or_nan(daily, "pressure")).all():
        by_elevation = float(air.atmospheric_pressure(site.elevation))
        finished["pressure"] = estimates.filled_with(daily, "pressure", by_elevation, origins.PRESSURE_FROM_ELEVATION)
    if "pan_evaporation" in daily.columns:
        finished["pan_evaporation"] = estimates.filled_with(daily, "pan_evaporation", np.nan, origins.MISSING)
    return finished, kept, climate


def _climate(site: Site, index: float) -> tuple[bool, list[str]]:
    """Decide whether an estimated dew point lies below Tmin, and say why."""
    limit = estimates.DRY_BELOW
    dry = index < limit if site.climate == "auto" else site.climate == "dry"
    where = say("{2:warming .2g} below") if dry else "at"
    if site.climate != "auto":
        return dry, [note("climate-given", climate=site.climate, where=where)]
    climate, negation = ("dry", "") if dry else ("humid", "not ")
    return dry, [note("climate-auto", climate=climate, index=index, negation=negation, limit=limit, where=where)]


def _assumptions(flags: pd.DataFrame, fitted: Mapping[tuple[str, str], str]) -> Iterator[str]:
    """Say, for each column, by what rule values came about that weren't measured."""
    for name in map(str, flags.columns):
        for flag, count in sorted((str(flag), int(days)) for flag, days in flags[name].value_counts().items()):
            if flag not in (origins.MEASURED, origins.MISSING):
                days = f"{count} of {counted(len(flags), 'day')}"
                how = origins.EXPLAINED.get(flag) or fitted.get((name, flag), note("from-borrowed"))
                yield say("{name}: {flag} on {days} ({how})", name=name, flag=origins.said(flag), days=days, how=how)


def _run_around(asked: Mask, complete: Mask) -> Mask:
    """Mark the longest run of complete days that holds the days asked for."""
    usable = asked | complete
    run = np.cumsum(~usable)
    return np.asarray(usable & (run == run[np.argmax(asked)]), dtype=bool)
