"""
Clean: a weather file in, one clean daily table out, with every value's origin beside it.

The order: bytes to text, text to standard columns (a reader), rows to days, values checked, gaps checked;
only when nothing is wrong, gaps are filled, by other stations' files or by rule, and humidity is worked out.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.numeric import Floats
from panbudget.physics.air import atmospheric_pressure, wind_at_2m
from panbudget.weather import flags as origins
from panbudget.weather.calendar import arrange, days_where, without_row
from panbudget.weather.checked import CheckedFile, RawFile
from panbudget.weather.checks.inspection import Inspection, Mask
from panbudget.weather.checks.plausibility import TOO_BRIGHT_CHOICES, inspect_values
from panbudget.weather.filling import gaps, humidity
from panbudget.weather.filling.fallback import Borrowed, Fallback
from panbudget.weather.filling.gaps import GapLimits, column_or_nan, filled_with
from panbudget.weather.flags import Flags, is_borrowed, is_filled
from panbudget.weather.formats.readers import choose_reader
from panbudget.weather.site import Site, station_notes
from panbudget.weather.sky import sky_of
from panbudget.weather.text.columns import FINISHED_UNITS
from panbudget.weather.text.raw import ColumnChoice, RawTable
from panbudget.weather.text.source import Source, open_source
from panbudget.weather.typical import NO_SUMMER, laid_out

# the heights of a gauge that a profile over grass and a mast allow [m]
_WIND_HEIGHTS = (0.5, 200.0)
# at which the wind of a finished table is [m]
_FINISHED_HEIGHT = 2.0


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
    """

    daily: pd.DataFrame
    flags: pd.DataFrame
    provenance: dict[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

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
        counts: dict[str, dict[str, int]] = {}
        for name in part.columns:
            methods = {str(flag): int(days) for flag, days in part[name].value_counts().items() if is_filled(str(flag))}
            if methods:
                counts[str(name)] = dict(sorted(methods.items()))
        return counts


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

    def problems(self) -> list[Problem]:
        """Name options that can't be."""
        problems: list[Problem] = []
        lowest, highest = _WIND_HEIGHTS
        if self.wind_height is not None and not lowest <= self.wind_height <= highest:
            found = f"= {self.wind_height:g} m is no height of a wind gauge"
            expected = f'{lowest:g} to {highest:g} m above ground, such as "2 m" or "10 m"'
            problems.append(
                Problem("wind-height", f"{self.table}.wind_height", found, expected, "correct it", self.wind_height)
            )
        for name, known in (("missing_rain", gaps.MISSING_RAIN_CHOICES), ("too_bright", TOO_BRIGHT_CHOICES)):
            if (value := getattr(self, name)) not in known:
                expected = " or ".join(f'"{word}"' for word in known)
                found = f'= "{value}" is not known'
                problems.append(Problem("unknown-choice", f"{self.table}.{name}", found, expected, value=value))
        return problems


def read_weather(
    path: str | Path,
    site: Site,
    *,
    file_format: str = "auto",
    wind_height: float | None = None,
    missing_rain: str = "error",
    too_bright: str = "error",
    columns: Mapping[str, Any] | None = None,
    shown_as: str | None = None,
    limits: GapLimits | None = None,
    start: dt.date | None = None,
    end: dt.date | None = None,
    fallbacks: Sequence[Fallback] = (),
) -> Weather:
    """
    Read a weather file into a clean daily table.

    Parameters
    ----------
    path : str or Path
        The file.
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
    rules = _Rules(site, wind_height, missing_rain, too_bright, limits, start, end)
    shown = str(path) if shown_as is None else shown_as
    if wrong := rules.problems():
        raise WeatherError(*wrong, file=shown)
    choices = _choices(columns or {}, rules.table, shown)
    others = [(fallback, _read_fallback(fallback, rules)) for fallback in fallbacks]
    file = read_raw(path, site, shown_as=shown, file_format=file_format, columns=choices)
    return _finished(_checked(file, rules, others), rules, others)


def clean_weather(raw: RawTable, source: Source, site: Site, *, reader: str, **options: Any) -> Weather:
    """
    Bring a table in standard columns and units, however it was read, into a clean daily one.

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
        wind_height, missing_rain, too_bright, limits, start, end: as in `read_weather`.

    Returns
    -------
    Weather

    Raises
    ------
    WeatherError
        All that is wrong, one line each.
    """
    rules = _Rules(site, **options)
    return _finished(_checked(RawFile(raw, source, reader, "as named"), rules), rules, [])


def read_raw(
    path: str | Path,
    site: Site,
    *,
    shown_as: str,
    file_format: str = "auto",
    columns: Mapping[str, Any] | None = None,
    table: str = "weather",
) -> RawFile:
    """
    Recognise a file and read it, unchecked.

    Parameters
    ----------
    path, site, shown_as, file_format, columns
        As in `read_weather`.
    table : str
        The scenario's table that names the file.

    Returns
    -------
    RawFile

    Raises
    ------
    WeatherError
        An unknown format, or a file that doesn't hold to its own.
    """
    choices = _choices(columns or {}, table, shown_as)
    source = dataclasses.replace(open_source(path, shown_as=shown_as), table=table)
    reader, why = choose_reader(source, file_format=file_format)
    return RawFile(reader.read(source, columns=choices, site=site), source, reader.NAME, why)


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
            continue
        expected = (
            'the header and, if it is not the standard one, the unit, such as { column = "T_low", unit = "degF" }'
        )
        found = f"= {given!r} is not a column"
        problems.append(Problem("not-a-column", f"{table}.columns.{name}", found, expected, value=given))
    if problems:
        raise WeatherError(*problems, file=shown)
    return choices


def _checked(file: RawFile, rules: _Rules, others: Sequence[tuple[Fallback, CheckedFile]] = ()) -> CheckedFile:
    """Set a file's days in order, as far as others reach, and check their values."""
    raw, site = file.raw, rules.site
    if raw.typical:
        raw = laid_out(raw, start=rules.start, end=rules.end)
        file = file._replace(raw=raw)
    height, notes = rules.wind_height, []
    if height is None:
        height = raw.wind_height or _FINISHED_HEIGHT
        if height != _FINISHED_HEIGHT and "wind" in raw.daily.columns:
            under = "[weather]" if rules.table == "weather" else f"its [[{rules.table}]]"
            notes.append(
                f"wind is taken as measured {height:g} m above ground, as the format has it, and brought to 2 m; "
                f'where the gauge stands otherwise, write wind_height under {under}, such as "{height:g} m"'
            )
    days = [other.days for _, other in others]
    reach = (min(d[0] for d in days).date(), max(d[-1] for d in days).date()) if days else None
    arranged = arrange(raw, start=rules.start, end=rules.end, reach=reach)
    index = pd.DatetimeIndex(arranged.daily.index)
    inspected = inspect_values(
        Inspection(
            arranged.daily.copy(),
            arranged.asked,
            raw,
            sky_of(index, latitude=site.latitude, elevation=site.elevation),
            site,
            table=rules.table,
            wind_factor=1.0 if height == _FINISHED_HEIGHT else float(wind_at_2m(1.0, height=height)),
            too_bright=rules.too_bright,
            bright_share=(rules.limits or GapLimits()).share,
        )
    )
    return CheckedFile(file, arranged, inspected, height, (*station_notes(raw.station, site), *raw.notes, *notes))


def _read_fallback(fallback: Fallback, rules: _Rules) -> CheckedFile:
    """Read a fallback's file, sound but with gaps; a typical year has no days to lend."""
    shown, table = fallback.shown, "weather.fallback"
    site = fallback.site or rules.site
    rules = dataclasses.replace(
        rules, site=site, wind_height=fallback.wind_height, too_bright="limit", missing_rain="error", table=table
    )
    if wrong := rules.problems():
        raise WeatherError(*wrong, file=shown)
    file = read_raw(
        fallback.path, site, shown_as=shown, file_format=fallback.file_format, columns=fallback.columns, table=table
    )
    if file.raw.typical:
        found = (
            "is a typical year made of months from different years, which has no record of the days that are missing"
        )
        expected = "a station's own record"
        problem = Problem("fallback-typical", "", found, expected, "name another file, or take the fallback out")
        raise WeatherError(problem, file=shown)
    read = _checked(file, rules)
    problems = read.inspected.problems
    first, last = read.days[0].date(), read.days[-1].date()
    if (rules.start is not None and last < rules.start) or (rules.end is not None and first > rules.end):
        # it has none of the days asked for: odd values of single days are left out, and only whole columns matter
        problems = [problem for problem in problems if problem.where in read.inspected.condemned]
    if problems or read.arranged.problems:
        raise WeatherError(*read.arranged.problems, *problems, file=shown)
    return read


def _finished(read: CheckedFile, rules: _Rules, others: Sequence[tuple[Fallback, CheckedFile]]) -> Weather:
    """What is checked, with its gaps filled, from others or by rule."""
    raw, inspected, arranged = read.file.raw, read.inspected, read.arranged
    if raw.typical and others:
        found = "is a typical year, which has no gaps that a fallback could fill"
        problem = Problem("typical-with-fallback", "", found, cure="take [[weather.fallback]] out")
        raise WeatherError(problem, file=read.file.source.shown_as)
    borrowed = Borrowed(read, rules.site)
    borrowed.lend(others)
    _refuse_gaps(read, borrowed, rules, helped=bool(others))

    daily = borrowed.laid_over(read.daily)
    finished, kept, climate = _filled(daily, read, borrowed, rules)
    values, flags = (
        pd.DataFrame({name: pair[part] for name, pair in finished.items()}, index=read.days)[kept] for part in (0, 1)
    )
    values.attrs["units"] = {name: FINISHED_UNITS[name] for name in values.columns}
    loud = [*([NO_SUMMER] if raw.typical else []), *_absent_altogether(daily)]
    assumptions = [*loud, *_assumptions(flags[arranged.asked[kept]], borrowed.said)]
    if "wind" in raw.daily.columns and read.wind_height != _FINISHED_HEIGHT:
        assumptions.append(f"wind: brought from {read.wind_height:g} m to 2 m (FAO-56 eq 47)")
    assumptions += climate
    provenance = {**read.facts(), "assumptions": assumptions}
    if borrowed.files:
        provenance["fallbacks"] = borrowed.files
    if raw.typical:
        provenance["typical"] = True
    notes = (*loud, *read.notes, *borrowed.notes, *arranged.notes, *inspected.notes, *_trimmed(read.days, kept))
    return Weather(values, flags, provenance, notes)


def _refuse_gaps(read: CheckedFile, borrowed: Borrowed, rules: _Rules, *, helped: bool) -> None:
    """Raise all that is wrong: days without a row, values that can't be true, gaps that may not be filled in."""
    raw = read.file.raw
    whole = borrowed.laid_over(read.arranged.daily)
    in_file = read.arranged.in_file | whole.reindex(columns=["tmin", "tmax"]).notna().all(axis=1).to_numpy()
    arranged = dataclasses.replace(read.arranged, daily=whole, in_file=in_file)
    absent = days_where(whole.index, arranged.asked & ~in_file)
    holes = [without_row(absent, helped=helped)] if absent else []
    missing = gaps.Gaps(
        arranged,
        limits=rules.limits or GapLimits(),
        own=read.arranged.daily,
        condemned=read.inspected.condemned,
        absent=raw.absent,
        left_out={**raw.left_out, **borrowed.left_out},
        helped=helped,
        rain_at_hand=borrowed.rain_at_hand,
    ).problems(missing_rain=rules.missing_rain)
    if problems := (*arranged.problems, *holes, *read.inspected.problems, *borrowed.problems, *missing):
        raise WeatherError(*problems, file=read.file.source.shown_as)


def _filled(
    daily: pd.DataFrame, read: CheckedFile, borrowed: Borrowed, rules: _Rules
) -> tuple[dict[str, tuple[Floats, Flags]], Mask, list[str]]:
    """Fill gaps by rule; return columns with their flags, the days to keep, and what the climate was taken for."""
    site, sky, in_file = rules.site, read.inspected.sky, read.arranged.in_file
    finished = {name: filled_with(daily, name, np.nan, origins.MISSING) for name in ("tmin", "tmax")}
    wind = gaps.filled_wind(column_or_nan(daily, "wind"), read.days)
    rain = filled_with(daily, "rain", 0.0, origins.ZERO_RAIN)
    radiation = gaps.filled_radiation(daily, sky=sky, site=site, limited=read.inspected.limited, in_file=in_file)
    fallen = rain[0] if rules.missing_rain == "zero" else column_or_nan(daily, "rain")
    kept = _run_around(read.arranged.asked, ~np.isnan(finished["tmin"][0] + finished["tmax"][0] + fallen))
    dry, climate = False, []
    if (~humidity.has_humidity(daily) & kept).any():
        index = humidity.aridity(daily, radiation=radiation[0], wind=wind[0], rain=fallen, sky=sky, site=site)
        dry, text = _climate(site, index)
        climate.append(text)
    lent = borrowed.flags["vapour_pressure"].to_numpy(object)
    finished |= humidity.humidity_of(daily, dry=dry, in_file=in_file, borrowed=lent)
    finished |= {"wind": wind, "rain": rain, "radiation": radiation}
    for name in ("tmin", "tmax", "wind", "rain", "radiation"):
        days = borrowed.has(name)
        finished[name][1][days] = borrowed.flags[name].to_numpy(object)[days]
    if not np.isnan(column_or_nan(daily, "pressure")).all():
        by_elevation = float(atmospheric_pressure(site.elevation))
        finished["pressure"] = filled_with(daily, "pressure", by_elevation, origins.PRESSURE_FROM_ELEVATION)
    if "pan_evaporation" in daily.columns:
        finished["pan_evaporation"] = filled_with(daily, "pan_evaporation", np.nan, origins.MISSING)
    return finished, kept, climate


def _climate(site: Site, index: float) -> tuple[bool, str]:
    """Decide whether an estimated dew point lies below Tmin, and say why."""
    dry = index < humidity.DRY_BELOW if site.climate == "auto" else site.climate == "dry"
    consequence = f"dew points are estimated {'2 °C below' if dry else 'at'} tmin"
    if site.climate != "auto":
        return dry, f'climate is "{site.climate}", as given: {consequence}'
    return dry, (
        f"climate counts as {'dry' if dry else 'humid'}: the file's rain is {index:.2f} of its evaporative demand, "
        f"{'' if dry else 'not '}below {humidity.DRY_BELOW:g} (aridity index): {consequence}"
    )


def _assumptions(flags: pd.DataFrame, said: Mapping[tuple[str, str], str]) -> list[str]:
    """Say, for each column, by what rule values came about that weren't measured."""
    texts = []
    for name in flags.columns:
        for flag, count in sorted(flags[name].value_counts().items()):
            if flag not in (origins.MEASURED, origins.MISSING):
                days = f"{int(count)} of {len(flags)} day{'s' if len(flags) > 1 else ''}"
                how = said.get((str(name), str(flag)), "from the vapour pressure borrowed")
                texts.append(
                    f"{name}: {flag} on {days} ({how if is_borrowed(str(flag)) else origins.EXPLAINED[str(flag)]})"
                )
    return texts


def _run_around(asked: Mask, complete: Mask) -> Mask:
    """Mark the longest run of complete days that holds the days asked for."""
    usable = asked | complete
    run = np.cumsum(~usable)
    return np.asarray(usable & (run == run[np.argmax(asked)]), dtype=bool)


def _trimmed(days: pd.DatetimeIndex, kept: Mask) -> list[str]:
    """Say that days outside those asked for were cut off, if any were."""
    if kept.all():
        return []
    first, last = days[kept][0].date(), days[kept][-1].date()
    return [
        f"days before {first} or after {last} are not used: a day outside those asked for has no temperature "
        "or no rain, and the record must be unbroken"
    ]


# quantity -> what stands in for it where a file has none at all, and how much that matters
_ABSENT = {
    "rain": "no rain is assumed on every day, as missing_rain says",
    "humidity": "the dew point is estimated from tmin on every day; a dew point 2 °C out moves reference "
    "evapotranspiration by some 5 %, more in dry wind (common practice, no source)",
    "wind": "2 m/s is assumed on every day; 1 or 3 m/s instead moves reference evapotranspiration by some 7 % (FAO-56 "
    "Example 20), more in a dry climate",
    "radiation or sunshine": "radiation is estimated from the temperature range on every day; single days may be 20 % "
    "out, a month some 5 to 10 % (common practice, no source)",
}


def _absent_altogether(daily: pd.DataFrame) -> list[str]:
    """Say of each quantity that the file lacks altogether what stands in for it, and how much it matters."""
    known = gaps.known_days(daily)
    absent = [name for name in _ABSENT if not known[name.split()[0]].any()]
    return [f"the file has no {name} at all: {_ABSENT[name]}" for name in absent]
