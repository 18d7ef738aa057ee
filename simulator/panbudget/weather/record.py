"""
Record: a weather file in, one clean daily table out, with every value's origin beside it.

The order: bytes to text, text to standard columns (a reader), rows to days, values checked, gaps checked;
only when nothing is wrong, gaps are filled and humidity is worked out.
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
from panbudget.physics.air import Floats
from panbudget.weather.calendar import Arranged, days_where, without_row
from panbudget.weather.checks.inspection import Mask
from panbudget.weather.filling.fallback import Borrowed, Fallback, borrow, read_fallback
from panbudget.weather.filling.gaps import (
    GapLimits,
    as_found,
    column_or_nan,
    filled_pressure,
    filled_radiation,
    filled_rain,
    filled_wind,
    gap_problems,
)
from panbudget.weather.filling.humidity import DRY_BELOW, aridity, has_humidity, humidity_of
from panbudget.weather.flags import EXPLAINED, MEASURED, MISSING, Flags, is_borrowed, is_filled
from panbudget.weather.reading import FileRead, check_options, checked_table, choices_of, read_file
from panbudget.weather.site import SiteLike
from panbudget.weather.text.columns import FINISHED_UNITS, STANDARD
from panbudget.weather.text.raw import RawTable
from panbudget.weather.text.source import Source
from panbudget.weather.typical import NO_SUMMER

__all__ = ["Weather", "clean_weather", "read_weather"]


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
        days = pd.DatetimeIndex(self.flags.index)
        wanted = np.ones(len(days), dtype=bool)
        if start is not None:
            wanted &= np.asarray(days >= pd.Timestamp(start))
        if end is not None:
            wanted &= np.asarray(days <= pd.Timestamp(end))
        part = self.flags[wanted]
        counts: dict[str, dict[str, int]] = {}
        for name in part.columns:
            methods = {str(flag): int(days) for flag, days in part[name].value_counts().items() if is_filled(str(flag))}
            if methods:
                counts[str(name)] = dict(sorted(methods.items()))
        return counts


def read_weather(
    path: str | Path,
    site: SiteLike,
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
    site : SiteLike
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
    shown = str(path) if shown_as is None else shown_as
    choices = choices_of(columns or {}, shown)
    check_options(
        shown, wind_height=2.0 if wind_height is None else wind_height, missing_rain=missing_rain, too_bright=too_bright
    )
    limits = limits or GapLimits()
    others = [(one, read_fallback(one, site, limits=limits, start=start, end=end)) for one in fallbacks]
    read = read_file(
        path,
        site,
        shown=shown,
        file_format=file_format,
        wind_height=wind_height,
        columns=choices,
        too_bright=too_bright,
        limits=limits,
        start=start,
        end=end,
        holes=True,
        reach=_reach(others),
    )
    return _finished(read, site, missing_rain=missing_rain, limits=limits, others=others)


def clean_weather(
    raw: RawTable,
    source: Source,
    site: SiteLike,
    *,
    reader: str,
    wind_height: float | None = None,
    missing_rain: str = "error",
    too_bright: str = "error",
    limits: GapLimits | None = None,
    start: dt.date | None = None,
    end: dt.date | None = None,
) -> Weather:
    """
    Bring a table in standard columns and units, however it was read, into a clean daily one.

    Parameters
    ----------
    raw : RawTable
    source : Source
        Where it came from.
    reader : str
        What read it.
    site, wind_height, missing_rain, too_bright, limits, start, end
        As in `read_weather`.

    Returns
    -------
    Weather

    Raises
    ------
    WeatherError
        All that is wrong, one line each.
    """
    limits = limits or GapLimits()
    read = checked_table(
        raw,
        source,
        site,
        reader=reader,
        why="as named",
        wind_height=wind_height,
        too_bright=too_bright,
        limits=limits,
        start=start,
        end=end,
    )
    return _finished(read, site, missing_rain=missing_rain, limits=limits, others=[])


def _finished(
    read: FileRead,
    site: SiteLike,
    *,
    missing_rain: str,
    limits: GapLimits,
    others: Sequence[tuple[Fallback, FileRead]],
) -> Weather:
    """What is checked, with its gaps filled, from others or by rule."""
    shown = read.shown
    raw, inspected, sky = read.raw, read.inspected, read.sky
    if raw.typical and others:
        message = "a typical year has no gaps that a fallback could fill; take [[weather.fallback]] out"
        raise WeatherError(Problem.of_text(message, key="weather.fallback"), file=shown)
    borrowed = borrow(read, site, others)
    arranged, holes = _with_borrowed(read, borrowed, helped=bool(others))
    gaps = gap_problems(
        arranged,
        condemned=inspected.condemned,
        limits=limits,
        missing_rain=missing_rain,
        absent=raw.absent,
        left_out={**raw.left_out, **borrowed.left_out},
        own=read.arranged.daily,
        helped=bool(others),
        rain_at_hand=borrowed.rain_at_hand,
    )
    problems = (*arranged.problems, *holes, *inspected.problems, *borrowed.problems, *gaps)
    if problems:
        raise WeatherError(*problems, file=shown)

    daily = borrowed.laid_over(read.daily)
    days = pd.DatetimeIndex(daily.index)
    finished: dict[str, tuple[Floats, Flags]] = {name: as_found(daily, name) for name in ("tmin", "tmax")}
    wind = filled_wind(column_or_nan(daily, "wind"), days)
    rain = filled_rain(daily)
    radiation = filled_radiation(daily, sky=sky, site=site, limited=inspected.limited, in_file=read.arranged.in_file)
    fallen = rain[0] if missing_rain == "zero" else column_or_nan(daily, "rain")
    complete = ~np.isnan(finished["tmin"][0] + finished["tmax"][0] + fallen)
    kept = _run_around(arranged.asked, complete)
    dry, climate = False, []
    if (~has_humidity(daily) & kept).any():
        dry, text = _climate(
            site, aridity(daily, radiation=radiation[0], wind=wind[0], rain=fallen, sky=sky, site=site)
        )
        climate = [text]
    humidity = humidity_of(
        daily, dry=dry, in_file=read.arranged.in_file, borrowed=borrowed.flags["vapour_pressure"].to_numpy(object)
    )
    finished |= {
        "vapour_pressure": (humidity.vapour_pressure, humidity.vapour_pressure_flags),
        "rh_mean": (humidity.rh_mean, humidity.rh_mean_flags),
        "rh_min": (humidity.rh_min, humidity.rh_min_flags),
        "wind": wind,
        "rain": rain,
        "radiation": radiation,
    }
    for name in ("tmin", "tmax", "wind", "rain", "radiation"):
        there = borrowed.has(name)
        finished[name][1][there] = borrowed.flags[name].to_numpy(object)[there]
    if not np.isnan(column_or_nan(daily, "pressure")).all():
        finished["pressure"] = filled_pressure(daily, elevation=site.elevation)
    if "pan_evaporation" in daily.columns:
        finished["pan_evaporation"] = as_found(daily, "pan_evaporation")
    values = pd.DataFrame({name: pair[0] for name, pair in finished.items()}, index=days)[kept]
    flags = pd.DataFrame({name: pair[1] for name, pair in finished.items()}, index=days)[kept]
    values.attrs["units"] = {name: FINISHED_UNITS[name] for name in values.columns}
    loud = [*([NO_SUMMER] if raw.typical else []), *_absent_altogether(daily)]
    asked_flags = flags[arranged.asked[kept]]
    assumptions = [
        *loud,
        *_assumptions(asked_flags, borrowed.said),
        *_wind_lifted(read),
        *climate,
    ]
    provenance = {**read.facts(), "assumptions": assumptions}
    if borrowed.files:
        provenance["fallbacks"] = [dict(one) for one in borrowed.files]
    if raw.typical:
        provenance["typical"] = True
    notes = (*loud, *read.notes, *borrowed.notes, *arranged.notes, *inspected.notes, *_trimmed(days, kept))
    return Weather(values, flags, provenance, notes)


def _climate(site: SiteLike, index: float) -> tuple[bool, str]:
    """Decide whether an estimated dew point lies below Tmin, and say why."""
    consequence = {
        True: "dew points are estimated 2 °C below tmin",
        False: "dew points are estimated at tmin",
    }
    if site.climate != "auto":
        dry = site.climate == "dry"
        return dry, f'climate is "{site.climate}", as given: {consequence[dry]}'
    dry = index < DRY_BELOW
    word, sign = ("dry", "below") if dry else ("humid", "not below")
    return dry, (
        f"climate counts as {word}: the file's rain is {index:.2f} of its evaporative demand, "
        f"{sign} {DRY_BELOW:g} "
        f"(aridity index): {consequence[dry]}"
    )


def _assumptions(flags: pd.DataFrame, said: Mapping[tuple[str, str], str]) -> list[str]:
    """Say, for each column, by what rule values came about that weren't measured."""
    texts = []
    for name in flags.columns:
        for flag, count in sorted(flags[name].value_counts().items()):
            if flag in (MEASURED, MISSING):
                continue
            days = f"{int(count)} of {len(flags)} day{'s' if len(flags) > 1 else ''}"
            how = said.get((str(name), str(flag)), "from the vapour pressure borrowed")
            texts.append(f"{name}: {flag} on {days} ({how if is_borrowed(str(flag)) else EXPLAINED[str(flag)]})")
    return texts


def _wind_lifted(read: FileRead) -> list[str]:
    if "wind" not in read.raw.daily.columns or read.wind_height == 2.0:
        return []
    return [f"wind: brought from {read.wind_height:g} m to 2 m (FAO-56 eq 47)"]


def _reach(others: Sequence[tuple[Fallback, FileRead]]) -> tuple[dt.date, dt.date] | None:
    """First and last day that any fallback has."""
    if not others:
        return None
    spans = [pd.DatetimeIndex(read.arranged.daily.index) for _, read in others]
    return min(days[0] for days in spans).date(), max(days[-1] for days in spans).date()


def _with_borrowed(read: FileRead, borrowed: Borrowed, *, helped: bool) -> tuple[Arranged, list[Problem]]:
    """Return the days as found with what was borrowed in place, and what is wrong with those that have no row still."""
    whole = borrowed.laid_over(read.arranged.daily)
    both = ~np.isnan(column_or_nan(whole, "tmin")) & ~np.isnan(column_or_nan(whole, "tmax"))
    arranged = dataclasses.replace(read.arranged, daily=whole, in_file=read.arranged.in_file | both)
    absent = arranged.asked & ~arranged.in_file
    return arranged, [without_row(days_where(whole.index, absent), helped=helped)] if absent.any() else []


def _run_around(asked: Mask, complete: Mask) -> Mask:
    """Mark the longest run of complete days that holds the days asked for."""
    places = np.flatnonzero(asked)
    first, last = int(places[0]), int(places[-1])
    while first > 0 and complete[first - 1]:
        first -= 1
    while last + 1 < len(complete) and complete[last + 1]:
        last += 1
    kept = np.zeros(len(asked), dtype=bool)
    kept[first : last + 1] = True
    return kept


def _trimmed(days: pd.DatetimeIndex, kept: Mask) -> list[str]:
    """Say that days outside those asked for were cut off, if any were."""
    if kept.all():
        return []
    first, last = days[kept][0].date(), days[kept][-1].date()
    return [
        f"days before {first} or after {last} are not used: a day outside those asked for has no temperature "
        "or no rain, and the record must be unbroken"
    ]


def _absent_altogether(daily: pd.DataFrame) -> list[str]:
    """Say of each quantity that the file lacks altogether what stands in for it, and how much it matters."""
    absent = {name: bool(np.isnan(column_or_nan(daily, name)).all()) for name in STANDARD}
    texts = []
    if absent["rain"]:
        texts.append("the file has no rain at all: no rain is assumed on every day, as missing_rain says")
    if not has_humidity(daily).any():
        texts.append(
            "the file has no humidity at all: the dew point is estimated from tmin on every day; a dew point "
            "2 °C out moves reference evapotranspiration by some 5 %, more in dry wind (common practice, no "
            "source)"
        )
    if absent["wind"]:
        texts.append(
            "the file has no wind at all: 2 m/s is assumed on every day; 1 or 3 m/s instead moves reference "
            "evapotranspiration by some 7 % (FAO-56 Example 20), more in a dry climate"
        )
    if absent["radiation"] and absent["sunshine"]:
        texts.append(
            "the file has no radiation or sunshine at all: radiation is estimated from the temperature range "
            "on every day; single days may be 20 % out, a month some 5 to 10 % (common practice, no source)"
        )
    return texts
