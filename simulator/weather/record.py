"""
Record: a weather file in, one clean daily table out, with every value's origin beside it.

The order: bytes to text, text to standard columns (a reader), rows to days, values checked, gaps checked;
only when nothing is wrong, gaps are filled and humidity is worked out.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from simulator.errors import Problem, WeatherError
from simulator.meteorology import Floats, wind_at_2m
from simulator.weather.calendar import arrange
from simulator.weather.columns import FINISHED_UNITS, STANDARD
from simulator.weather.flags import EXPLAINED, MEASURED, MISSING, Flags, is_filled
from simulator.weather.gaps import (
    MISSING_RAIN_CHOICES,
    GapLimits,
    as_found,
    column_or_nan,
    filled_pressure,
    filled_radiation,
    filled_rain,
    filled_wind,
    gap_problems,
)
from simulator.weather.humidity import DRY_BELOW, aridity, has_humidity, humidity_of
from simulator.weather.inspection import Mask
from simulator.weather.plausibility import TOO_BRIGHT_CHOICES, inspect_values
from simulator.weather.raw import ColumnChoice, RawTable, SiteReader
from simulator.weather.readers import choose_reader
from simulator.weather.site import SiteLike
from simulator.weather.sky import sky_of
from simulator.weather.source import open_source
from simulator.weather.station import station_notes
from simulator.weather.typical import NO_SUMMER, laid_out

__all__ = ["Weather", "clean_weather", "read_weather"]

# the heights of a gauge that a profile over grass and a mast allow [m]
_WIND_HEIGHTS = (0.5, 200.0)


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
        assumptions; and typical, which is True, for a year made of months from different years.
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
    choices = _choices(columns or {}, shown)
    _check_options(
        shown, wind_height=2.0 if wind_height is None else wind_height, missing_rain=missing_rain, too_bright=too_bright
    )
    source = open_source(path, shown_as=shown)
    reader, why = choose_reader(source, file_format=file_format)
    if isinstance(reader, SiteReader):
        raw = reader.read_at(source, columns=choices, site=site)
    else:
        raw = reader.read(source, columns=choices)
    about = {
        "file": shown,
        "sha256": source.sha256,
        "reader": reader.NAME,
        "recognised": f"{raw.recognised} ({why})" + (f", from {source.taken_from}" if source.taken_from else ""),
    }
    return clean_weather(
        raw,
        site,
        about=about,
        wind_height=wind_height,
        missing_rain=missing_rain,
        too_bright=too_bright,
        limits=limits,
        start=start,
        end=end,
    )


def clean_weather(
    raw: RawTable,
    site: SiteLike,
    *,
    about: Mapping[str, Any],
    wind_height: float | None = None,
    missing_rain: str = "error",
    too_bright: str = "error",
    limits: GapLimits | None = None,
    start: dt.date | None = None,
    end: dt.date | None = None,
) -> Weather:
    """
    Bring what a reader read into a clean daily table.

    Parameters
    ----------
    raw : RawTable
        As read.
    site, wind_height, missing_rain, too_bright, limits, start, end
        As in `read_weather`.
    about : mapping
        Where it came from: file, sha256, reader and recognised, as the provenance has them.

    Returns
    -------
    Weather

    Raises
    ------
    WeatherError
        All that is wrong, one line each.
    """
    shown = str(about["file"])
    limits = limits or GapLimits()
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
    arranged = arrange(raw, start=start, end=end)
    days = pd.DatetimeIndex(arranged.daily.index)
    sky = sky_of(days, latitude=site.latitude, elevation=site.elevation)
    factor = 1.0 if wind_height == 2.0 else float(wind_at_2m(1.0, height=wind_height))
    inspected = inspect_values(
        arranged.daily,
        arranged.asked,
        raw=raw,
        site=site,
        sky=sky,
        wind_factor=factor,
        too_bright=too_bright,
        bright_share=limits.share,
    )
    gaps = gap_problems(
        arranged, condemned=inspected.condemned, limits=limits, missing_rain=missing_rain, absent=raw.absent
    )
    problems = (*arranged.problems, *inspected.problems, *gaps)
    if problems:
        raise WeatherError(*problems, file=shown)

    daily = inspected.daily
    finished: dict[str, tuple[Floats, Flags]] = {name: as_found(daily, name) for name in ("tmin", "tmax")}
    wind = filled_wind(column_or_nan(daily, "wind") * factor, days)
    rain = filled_rain(daily)
    radiation = filled_radiation(daily, sky=sky, site=site, limited=inspected.limited, in_file=arranged.in_file)
    fallen = rain[0] if missing_rain == "zero" else column_or_nan(daily, "rain")
    complete = ~np.isnan(finished["tmin"][0] + finished["tmax"][0] + fallen)
    kept = _run_around(arranged.asked, complete)
    dry, climate = False, []
    if (~has_humidity(daily) & kept).any():
        dry, text = _climate(
            site, aridity(daily, radiation=radiation[0], wind=wind[0], rain=fallen, sky=sky, site=site)
        )
        climate = [text]
    humidity = humidity_of(daily, dry=dry, in_file=arranged.in_file)
    finished |= {
        "vapour_pressure": (humidity.vapour_pressure, humidity.vapour_pressure_flags),
        "rh_mean": (humidity.rh_mean, humidity.rh_mean_flags),
        "rh_min": (humidity.rh_min, humidity.rh_min_flags),
        "wind": wind,
        "rain": rain,
        "radiation": radiation,
    }
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
        *_assumptions(asked_flags, wind_height=wind_height, has_wind="wind" in daily.columns),
        *climate,
    ]
    provenance = {
        **about,
        "units": dict(raw.units),
        "rows": len(raw.daily),
        "first": str(raw.daily.index.min().date()),
        "last": str(raw.daily.index.max().date()),
        "assumptions": assumptions,
    }
    if raw.typical:
        provenance["typical"] = True
    of_file = (*station_notes(raw.station, site), *raw.notes, *height_notes)
    notes = (*loud, *of_file, *arranged.notes, *inspected.notes, *_trimmed(days, kept))
    return Weather(values, flags, provenance, notes)


def _choices(columns: Mapping[str, Any], shown: str) -> dict[str, ColumnChoice]:
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
            problems.append(Problem(message, key=key, value=given))
            continue
        choices[str(name)] = ColumnChoice(header.strip(), unit)
    if problems:
        raise WeatherError(*problems, file=shown)
    return choices


def _check_options(shown: str, *, wind_height: float, missing_rain: str, too_bright: str) -> None:
    problems: list[Problem] = []
    lowest, highest = _WIND_HEIGHTS
    if not lowest <= wind_height <= highest:
        message = (
            f"weather.wind_height = {wind_height:g} m is no height of a wind gauge; "
            f"{lowest:g} to {highest:g} m above "
            'ground is expected, such as "2 m" or "10 m"'
        )
        problems.append(Problem(message, key="weather.wind_height", value=wind_height))
    options = (
        ("missing_rain", missing_rain, MISSING_RAIN_CHOICES),
        ("too_bright", too_bright, TOO_BRIGHT_CHOICES),
    )
    for name, value, expected in options:
        if value not in expected:
            message = f'weather.{name} = "{value}" is not known; "{expected[0]}" or "{expected[1]}" is expected'
            problems.append(Problem(message, key=f"weather.{name}", value=value))
    if problems:
        raise WeatherError(*problems, file=shown)


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


def _assumptions(flags: pd.DataFrame, *, wind_height: float, has_wind: bool) -> list[str]:
    """Say, for each column, by what rule values came about that weren't measured."""
    texts = []
    for name in flags.columns:
        for flag, count in sorted(flags[name].value_counts().items()):
            if flag in (MEASURED, MISSING):
                continue
            days = f"{int(count)} of {len(flags)} day{'s' if len(flags) > 1 else ''}"
            texts.append(f"{name}: {flag} on {days} ({EXPLAINED[str(flag)]})")
    if has_wind and wind_height != 2.0:
        texts.append(f"wind: brought from {wind_height:g} m to 2 m (FAO-56 eq 47)")
    return texts


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
