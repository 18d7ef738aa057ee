"""
Finishing: checked days with their gaps filled, by other stations' files or by rule, and every value's origin beside it.
"""

import datetime as dt
import functools
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from panbudget.numeric import Mask
from panbudget.physics import air
from panbudget.physics.evaporation import reference_evapotranspiration
from panbudget.weather import flags as origins
from panbudget.weather.checks.inspection import Caution, CheckedFile
from panbudget.weather.checks.sky import bright_bound
from panbudget.weather.filling import estimates
from panbudget.weather.filling.fallback import Borrowed
from panbudget.weather.messages import counted, note, table_of
from panbudget.weather.reading import FINISHED_HEIGHT, OF_NO_FORMAT, Rules
from panbudget.weather.site import Site
from panbudget.weather.text.columns import FINISHED_UNITS
from panbudget.weather.text.raw import ByHour
from panbudget.words import say


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
    fitted : dict
        Column and flag -> by what fit its values were borrowed.
    origins : tuple of str
        Of its assumptions those that say how values came about, on the days asked for.
    by_hour : ByHour, optional
        What the hours of the day hold, of a file of records.
    """

    daily: pd.DataFrame
    flags: pd.DataFrame
    provenance: dict[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    checks: Mapping[str, Sequence[str]] = field(default_factory=dict)
    fitted: Mapping[tuple[str, str], str] = field(default_factory=dict)
    origins: tuple[str, ...] = ()
    by_hour: ByHour | None = None

    @functools.cached_property
    def span(self) -> tuple[dt.date, dt.date]:
        """Its first and last day."""
        return self.daily.index[0].date(), self.daily.index[-1].date()

    def __repr__(self) -> str:
        first, last = self.span
        return (
            f"Weather of {self.provenance.get('file', 'no file')}, {first} to {last}: {', '.join(map(str, self.daily))}"
        )

    def holds(self, start: dt.date, end: dt.date) -> bool:
        """Tell whether these days are among its own."""
        return self.span[0] <= start <= end <= self.span[1]

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


def finished_weather(read: CheckedFile, rules: Rules, borrowed: Borrowed) -> Weather:
    """What is checked, with its gaps filled, from others or by rule."""
    raw, inspected, arranged = read.file.raw, read.inspected, read.arranged
    daily = borrowed.laid_over(read.daily)
    finished, run, climate = _filled(daily, read, borrowed, rules)
    cut = slice(None) if run.all() else run
    values, flags = (
        pd.DataFrame({name: part[at][cut] for name, part in finished.items()}, index=read.days[cut]) for at in (0, 1)
    )
    values.attrs["units"] = {name: FINISHED_UNITS[name] for name in values.columns}
    known = estimates.known_days(daily)
    absent = (say(text) for name, text in table_of("absent").items() if not known[name][arranged.asked].any())
    loud = [*([note("typical")] if raw.typical else []), *absent]
    came_about = tuple(origins_of([(flags[arranged.asked[run]], borrowed.fitted)])) if rules.cautious else ()
    assumptions = [*loud, *came_about, *_unstated(read, rules)]
    if "wind" in raw.daily.columns and read.wind_height != FINISHED_HEIGHT:
        assumptions.append(note("wind-to-2m", height=read.wind_height))
    provenance = {**read.facts(), "assumptions": [*assumptions, *climate]}
    if borrowed.files:
        provenance["fallbacks"] = borrowed.files
    if raw.typical:
        provenance["typical"] = True
    first, last = (str(values.index[end].date()) for end in (0, -1))
    trimmed = [] if run.all() else [note("days-trimmed", first=first, last=last)]
    notes = (*loud, *read.notes, *borrowed.notes, *arranged.notes, *inspected.notes, *trimmed)
    cautions = cautions_of(read, rules, borrowed, values)
    more = inspected.ran, borrowed.fitted, came_about, raw.by_hour
    return Weather(values, flags, provenance, notes, read.doubts, cautions, *more)


def cautions_of(read: CheckedFile, rules: Rules, borrowed: Borrowed, values: pd.DataFrame) -> tuple[Caution, ...]:
    """What is unlikely on the days asked for, with what it is worth beside the finished values."""
    cautions = read.inspected.cautions
    daily = borrowed.laid_over(read.daily) if cautions else values
    return tuple(_worth(caution, daily, values, read, borrowed, rules) for caution in cautions)


def _unstated(read: CheckedFile, rules: Rules) -> Iterator[str]:
    """Say what neither the user nor the file nor its format states: units, and the wind gauge's height."""
    raw = read.file.raw
    if read.file.reader not in OF_NO_FORMAT:
        return
    # of a day's figures from records, as the records have it: humidity in %, and not the vapour pressure by it
    unstated = (pair for pair in raw.units.items() if pair[0] not in raw.unit_is_stated)
    if units := dict.fromkeys(f"{raw.of_records.get(name, name)} {unit}" for name, unit in unstated):
        yield note("units-unstated", units=", ".join(units))
    if "wind" in raw.daily.columns and rules.wind_height is None and raw.wind_height is None:
        yield note("wind-height-unstated", height=FINISHED_HEIGHT)


def _worth(
    caution: Caution, daily: pd.DataFrame, values: pd.DataFrame, read: CheckedFile, borrowed: Borrowed, rules: Rules
) -> Caution:
    """Say what a caution is worth: the season's ETo and rain, if it is right, against what they are; from where to where."""
    if not caution.instead:
        return caution
    factor, site = read.inspected.wind_factor, {"latitude": rules.site.latitude, "elevation": rules.site.elevation}
    bounds = {"radiation": bright_bound(read.inspected.sky), "sunshine": read.inspected.sky.daylight}
    worths = []
    for way in caution.instead:
        instead = {
            name: v * factor if name == "wind" else np.minimum(v, bounds.get(name, np.inf)) for name, v in way.items()
        }
        other, run, _ = _filled(daily.assign(**instead), read, borrowed, rules)
        asked = read.days[read.arranged.asked & run]
        changed = pd.DataFrame({name: part[0] for name, part in other.items()}, index=read.days).loc[asked]
        now, then = (reference_evapotranspiration(table, **site).sum() for table in (values.loc[asked], changed))
        worths.append((then, then - now, changed["rain"].sum() - values.loc[asked, "rain"].sum()))
    (eto, change, _), (high, highest, _) = min(worths), max(worths)
    less, *_, more = sorted(rain for *_, rain in [*worths, worths[0]])
    text = "worth-rain" if "rain" in caution.instead[0] else "worth"
    text += "-between" if (more - less if "rain" in caution.instead[0] else high - eto) > 1.0 else ""
    words = {"eto": eto, "change": change, "high": high, "highest": highest, "rain": less, "more": more}
    return caution._replace(instead=(), worth=note(text, **words))


def _filled(
    daily: pd.DataFrame, read: CheckedFile, borrowed: Borrowed, rules: Rules
) -> tuple[dict[str, estimates.Column], Mask, list[str]]:
    """Fill gaps by rule; return columns with their flags, the days to keep, and what the climate was taken for."""
    site, sky, in_file = rules.site, read.inspected.sky, read.arranged.in_file
    finished = {name: estimates.filled_with(daily, name, np.nan, origins.MISSING) for name in ("tmin", "tmax")}
    wind = estimates.filled_wind(estimates.column_or_nan(daily, "wind"), read.days)
    rain = estimates.filled_with(daily, "rain", 0.0, origins.ZERO_RAIN)
    radiation = estimates.filled_radiation(daily, sky=sky, site=site, limited=read.inspected.limited, in_file=in_file)
    fallen = rain[0] if rules.missing_rain == "zero" else estimates.column_or_nan(daily, "rain")
    run = _run_around(read.arranged.asked, ~np.isnan(finished["tmin"][0] + finished["tmax"][0] + fallen))
    dry = False
    climate: list[str] = []
    if (~estimates.has_humidity(daily) & run).any():
        index = estimates.aridity(daily, radiation=radiation[0], wind=wind[0], rain=fallen, sky=sky, site=site)
        dry, climate = _climate(site, index)
    lent = borrowed.flags["vapour_pressure"].to_numpy(object) if borrowed.files else None
    finished |= estimates.humidity_of(daily, dry=dry, in_file=in_file, borrowed=lent)
    finished |= {"wind": wind, "rain": rain, "radiation": radiation}
    for name in ("tmin", "tmax", "wind", "rain", "radiation") if borrowed.files else ():
        values, held = finished[name]
        texts = np.where(borrowed.has(name), borrowed.flags[name], held).astype(object)
        finished[name] = values, origins.Flags(texts)
    if not np.isnan(estimates.column_or_nan(daily, "pressure")).all():
        by_elevation = float(air.atmospheric_pressure(site.elevation))
        finished["pressure"] = estimates.filled_with(daily, "pressure", by_elevation, origins.PRESSURE_FROM_ELEVATION)
    if "pan_evaporation" in daily.columns:
        finished["pan_evaporation"] = estimates.filled_with(daily, "pan_evaporation", np.nan, origins.MISSING)
    return finished, run, climate


def _climate(site: Site, index: float) -> tuple[bool, list[str]]:
    """Decide whether an estimated dew point lies below Tmin, and say why."""
    limit = estimates.DRY_BELOW
    dry = index < limit if site.climate == "auto" else site.climate == "dry"
    where = say("{2:warming .2g} below") if dry else "at"
    if site.climate != "auto":
        return dry, [note("climate-given", climate=site.climate, where=where)]
    climate, negation = ("dry", "") if dry else ("humid", "not ")
    return dry, [note("climate-auto", climate=climate, index=index, negation=negation, limit=limit, where=where)]


def origins_of(parts: Iterable[tuple[pd.DataFrame, Mapping[tuple[str, str], str]]]) -> Iterator[str]:
    """
    Say, for each column, by what rule values came about that weren't measured, on how many of all days.

    Parameters
    ----------
    parts : iterable of (DataFrame, dict)
        Flags of some days, and by what fits values were borrowed there.

    Yields
    ------
    str
    """
    days, total = Counter[tuple[str, str, str]](), 0
    for flags, fitted in parts:
        total += len(flags)
        for name in map(str, flags.columns):
            for flag, count in sorted((str(flag), int(times)) for flag, times in flags[name].value_counts().items()):
                if count and flag not in (origins.MEASURED, origins.MISSING, origins.MADE_HEAT):
                    how = origins.EXPLAINED.get(flag) or fitted.get((name, flag), note("from-borrowed"))
                    days[name, flag, how] += count
    for (name, flag, how), count in days.items():
        on = f"{count} of {counted(total, 'day')}"
        yield say("{name}: {flag} on {days} ({how})", name=name, flag=origins.said(flag), days=on, how=how)


def _run_around(asked: Mask, complete: Mask) -> Mask:
    """Mark the longest run of complete days that holds the days asked for."""
    usable = asked | complete
    run = np.cumsum(~usable)
    return np.asarray(usable & (run == run[np.argmax(asked)]), dtype=bool)
