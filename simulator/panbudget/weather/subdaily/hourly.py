"""
Hourly: records of part of a day, put together to days.

Every reader of sub-daily records ends in `Records`, and `to_days` makes the daily columns of them: extremes of
temperature and humidity, means of wind, pressure and vapour pressure, sums of rain and radiation. A day with
under 80 % of a column's records is a gap of that column, never a mean of what is left.

Sources: FAO-56 (Allen et al. 1998) eq 10, 11 and 14, hour by hour as its chapter 3 allows where the records are
there. The 80 % are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.numeric import Floats, Ints, Mask
from panbudget.physics.air import saturation_vapour_pressure
from panbudget.physics.sun import daylight_hours
from panbudget.weather.calendar import days_where
from panbudget.weather.messages import counted, note, problem, table_of
from panbudget.weather.site import Site, sun_doubt
from panbudget.weather.subdaily.clocks import (
    Stamps,
    day_lengths,
    in_order,
    in_utc,
    on_the_sites_clock,
    seconds_of,
    written,
)
from panbudget.weather.subdaily.rain_records import counts_on, rain_amounts
from panbudget.weather.text.columns import amount, number
from panbudget.weather.text.heading import as_filed, as_mark, known_unit
from panbudget.weather.text.raw import ByHour, LeftOut, RawTable
from panbudget.words import and_more, name_days

#: share of a day's records that a column needs
COMPLETE = 0.8
_SHARE = f"{100 * COMPLETE:g} %"


class Quantity(NamedTuple):
    """A column of records: its unit, the daily columns that come of it, and what a single record can be."""

    unit: str
    daily: list[str]
    lowest: float = -np.inf
    highest: float = np.inf


#: column of records -> what it is. Beyond its limits a record is a mark or a fault. Units mistaken as a whole are for the
#: daily checks, which name them; so few records must be concerned. Common practice, no source.
QUANTITIES = {name: Quantity(**row) for name, row in table_of("quantities").items()}

# records further apart than this make no day [s]
_COARSEST = 6 * 3600.0
_FEW = 0.02
# figures that a message names as marks at most
_MOST_MARKS = 6
# how far below 0 a wind gauge's zero may be [m/s]
_ZERO = 0.1
#: MJ/m² of a day in which 1 W/m² shines throughout
MJ_OF_A_WATT_DAY = 0.0864
# days around each whose light has the sun's noon in its middle: half a month, over which clouds even out
_NOON_DAYS = 15
# records with wind at an hour of the day, from which on their share of calms tells [-]
_TO_SHARE = 20
# hours each side of noon whose light and warmth are compared with those of the hour before [h]
_ABOUT_NOON = 3
# by how much a dew point is above the temperature in no fog, and the share of records of which that tells an exchange [°C, -]
_FAR_ABOVE, _MOST_ABOVE = 1.0, 0.5
# wet records that stand twice within half a step, and share of the wet records so near to another, that tell; how many times as
# often as the figures next to it the brightest comes at a ceiling, and next to it is within this share [-]
_AGAIN, _OF_NEAR, _TIMES_NEXT, _NEXT = 5, 0.9, 5.0, 0.95
# records that are new, by which those that only repeat them tell, and share of such that come at one multiple of rows [-]
_NEW, _OF_NEW = 100, 0.98
# how far a record's temperature lies above both its neighbours, an hour away at most, or below them, as no air does (5.4 and 9.7 at
# most in 1.1 million genuine records of 60 stations and years, but for one) [°C]
_LONE_ABOVE, _LONE_BELOW = 6.0, 10.0


@dataclass(frozen=True, eq=False)
class Records:
    """
    Sub-daily records in standard units, in the file's order.

    Parameters
    ----------
    stamps : ndarray of datetime64[ns], (records,)
        The moment of each record.
    values : dict
        "temperature", "dew_point" [°C], "humidity" [%], "wind" [m/s], "radiation" (mean flux) [W/m²],
        "rain" [mm], "pressure" [kPa] -> ndarray (records,), NaN where missing.
    lines : ndarray of int, (records,)
        Where each stands in the file.
    utc : bool
        Whether the stamps are UTC; else they are what the site's clock showed.
    rain_kind : str
        As in `rain_records.KINDS`, or "unknown".
    ending : frozenset of str
        Columns whose stamp closes the time they speak of: their midnight belongs to the day before.
    units : dict
        Column of records -> its unit in the file.
    stated : frozenset of str
        Columns whose unit the user or the file names.
    headers : dict
        Column of records -> its header in the file.
    rainless_if_empty : bool
        Whether a record without a figure of rain had none.
    table : str
        The scenario's table that names the file, for messages.
    """

    stamps: Stamps
    values: dict[str, Floats]
    lines: Ints
    utc: bool = False
    rain_kind: str = "interval"
    ending: frozenset[str] = frozenset()
    units: dict[str, str] = field(default_factory=dict)
    stated: frozenset[str] = frozenset()
    headers: dict[str, str] = field(default_factory=dict)
    rainless_if_empty: bool = False
    table: str = "weather"


class _Days:
    """The days that records cover, and what comes of a column on each: NaN on a day without enough of its records."""

    def __init__(self, records: Records, clock: Stamps, step: float, site: Site) -> None:
        self.step, self.clock, self.ending = step, clock, records.ending
        seconds = seconds_of(clock)
        starting, closing = seconds // 86400, (seconds - 1) // 86400
        first, last = int(closing.min()), int(starting.max())
        self.midnights = np.arange(first, last + 1).astype("datetime64[D]").astype("datetime64[ns]")
        self.of_record, self.of_ending = starting - first, closing - first
        self.expected = day_lengths(self.midnights, site) * 3600.0 / step

    def of(self, name: str) -> Ints:
        """Return the day of each record of a column."""
        return self.of_ending if name in self.ending else self.of_record

    def total(self, column: Floats, day: Ints) -> tuple[Floats, Ints, Mask]:
        """Return each day's sum and number of known records, and whether these are enough."""
        known, days = ~np.isnan(column), len(self.midnights)
        column, day = (column, day) if known.all() else (column[known], day[known])
        total = np.bincount(day, weights=column, minlength=days).astype(np.float64)
        count = np.bincount(day, minlength=days).astype(np.int64)
        return total, count, np.asarray(count >= COMPLETE * self.expected - 1e-9)

    def mean(self, column: Floats, day: Ints) -> Floats:
        """Return each day's mean."""
        total, count, whole = self.total(column, day)
        return np.where(whole, total / np.maximum(count, 1), np.nan)

    def extremes(self, lows: Floats, highs: Floats, day: Ints) -> Iterator[Floats]:
        """Return each day's lowest and highest."""
        order = slice(None) if (np.diff(day) >= 0).all() else np.argsort(day, kind="stable")
        firsts = np.flatnonzero(np.diff(day[order], prepend=-1))
        for extreme, column in ((np.fmin, lows), (np.fmax, highs)):
            by_day = np.full(len(self.midnights), np.nan)
            by_day[day[order][firsts]] = extreme.reduceat(column[order], firsts)
            yield np.where(self.total(column, day)[2], by_day, np.nan)

    def radiation(self, flux: Floats, day: Ints) -> Floats:
        """Return each day's sum [MJ/m²]; where records are missing the flux between its neighbours is a straight line."""
        flux = np.where((flux < 0.0) & (flux >= QUANTITIES["radiation"].lowest), 0.0, flux)
        daily = self.mean(flux, day) * MJ_OF_A_WATT_DAY
        broken = (self.total(flux, day)[1] < np.floor(self.expected + 1e-9)) & ~np.isnan(daily)
        if not broken.any():
            return daily
        known = ~np.isnan(flux)
        seconds = seconds_of(self.clock[known]).astype(np.float64)
        # a record stands for the time up to half-way to its neighbours, within its own day
        middle = (seconds[1:] + seconds[:-1]) / 2.0
        midnight = seconds_of(self.midnights[day[known]]).astype(np.float64)
        lower = np.maximum(np.concatenate([[-np.inf], middle]), midnight)
        upper = np.minimum(np.concatenate([middle, [np.inf]]), midnight + 86400.0)
        energy = flux[known] * np.maximum(upper - lower, 0.0) / 1e6
        return np.where(broken, np.bincount(day[known], weights=energy, minlength=len(self.midnights)), daily)


def to_days(records: Records, site: Site, *, recognised: str, shown_as: str, notes: Iterable[str] = ()) -> RawTable:
    """
    Put records together to days.

    Parameters
    ----------
    records : Records
        Of one place.
    site : Site
        Whose clock the days go by.
    recognised : str
        What the format was taken for, for the report.
    shown_as : str
        The file's name in messages.
    notes : iterable of str
        What the reader has to say.

    Returns
    -------
    RawTable
        One row a day, in order. First and last days without a whole column are left out, and that is noted.

    Raises
    ------
    WeatherError
        Records that contradict each other, stand too far apart, or can't be true.
    """
    try:
        return _to_days(records, site, recognised, list(notes))
    except WeatherError as error:
        raise WeatherError(*error.problems, file=shown_as) from error


def _to_days(records: Records, site: Site, recognised: str, notes: list[str]) -> RawTable:
    if not len(records.stamps):
        raise WeatherError(problem("no-records"))
    names = list(records.values)
    table = np.column_stack([records.values[name] for name in names])
    clock = on_the_sites_clock(records.stamps, site, notes) if records.utc else records.stamps
    rows, problems = in_order(records.stamps, table, records.lines, site=site, utc=records.utc, notes=notes)
    stamps, clock, lines = records.stamps[rows], clock[rows], records.lines[rows]
    values = dict(zip(names, table[rows].T, strict=True))
    notes += [*_without_strays(values, stamps), *_still(values)]
    problems += _beyond(values, stamps, lines, records)
    apart = np.diff(seconds_of(stamps))
    step = float(np.median(apart[apart > 0])) if (apart > 0).any() else np.inf
    if step > _COARSEST:
        text = "too-few-records/one" if np.isinf(step) else "too-few-records"
        problems.insert(0, problem(text, "date", hours=number(step / 3600.0)))
    if problems:
        raise WeatherError(*problems)
    days = _Days(records, clock, step, site)
    notes += [*_dark(values, days, site), *_rainless(values, days, records)]
    daily = _columns(values, days, records, notes)
    again = daily.pop("again") if "rain" in daily.columns else None
    first_lines = pd.Series(lines).groupby(days.of_record).min().reindex(range(len(daily)))
    in_file = _without_edges(daily, first_lines.notna().to_numpy(), notes)
    if not in_file.any():
        raise WeatherError(problem("no-whole-day", "date", share=_SHARE, most=float(np.median(days.expected))))
    daily = daily[in_file]
    notes += [*_gap_notes(daily, step), *_thin_notes(values, records, days, in_file)]
    gaps = {str(name): frozenset(days_where(daily.index, daily[name].isna().to_numpy())) for name in daily.columns}
    return RawTable(
        daily=daily,
        lines=first_lines[in_file].to_numpy(np.int64),
        recognised=f"{recognised}; a record every {number(step / 60.0)} min",
        units=_by_day([name for name in names if name != "dew_point"], records.units),
        unit_is_stated=frozenset(_by_day(names, {name: name for name in records.stated})),
        headers=_by_day(names, records.headers),
        notes=tuple(notes),
        doubts=tuple(filter(None, [_sun_doubt(values, stamps, records, site, step)])),
        by_hour=_by_hour(values, stamps, records, site)._replace(lone=_lone(values, days)) if step <= 3600.0 else None,
        rain_twice=None
        if again is None
        else pd.DataFrame({"hours": daily["rain"] - again, "rows": again, "larger": daily["rain"]}),
        left_out={name: LeftOut(note("few-records", share=_SHARE), gap) for name, gap in gaps.items() if gap},
    )


def _sun_doubt(values: dict[str, Floats], stamps: Stamps, records: Records, site: Site, step: float) -> str:
    """Doubt the longitude where the middle of the radiation is not near the sun's noon; a clock without a zone can't tell."""
    flux = np.nan_to_num(np.maximum(values.get("radiation", np.zeros(0)), 0.0))
    if not flux.sum() > 0.0 or not (records.utc or site.timezone):
        return ""
    utc = stamps if records.utc else in_utc(stamps, site)
    angle = 2.0 * np.pi * (seconds_of(utc) % 86400) / 86400.0
    middle = np.arctan2((flux * np.sin(angle)).sum(), (flux * np.cos(angle)).sum())
    return sun_doubt(float(middle) * 12.0 / np.pi % 24.0, site, step / 3600.0)


def _by_hour(values: dict[str, Floats], stamps: Stamps, records: Records, site: Site) -> ByHour:
    """Count and average the hours of the day, by the sun where the clock's zone and the longitude are known; list winds."""
    by_sun = site.longitude is not None and (records.utc or site.timezone is not None)
    utc = stamps if records.utc or not by_sun else in_utc(stamps, site)
    sun = seconds_of(utc) + round(240.0 * (site.longitude or 0.0) if by_sun else 0.0)
    hour = sun // 3600 % 24
    nothing, winds = np.full(len(hour), np.nan), values.get("wind", np.zeros(0))
    calm = np.where(np.isnan(winds), np.nan, winds == 0.0) if winds.size else nothing
    counts, means = [], []
    for column in (values.get("temperature", nothing), values.get("radiation", nothing), calm):
        known = ~np.isnan(column)
        counts.append(np.bincount(hour[known], minlength=24).astype(np.float64))
        total = np.bincount(hour[known], weights=column[known], minlength=24)
        means.append(np.where(counts[-1] > 0.0, total / np.maximum(counts[-1], 1.0), np.nan))
    light = np.nan_to_num(np.maximum(values.get("radiation", np.zeros(0)), 0.0))
    wave = light if light.any() else values.get("temperature", nothing)
    more = winds[~np.isnan(winds)], _middles(wave, sun), _ceiling(light, sun // 86400)
    calms = np.where(counts[2] >= _TO_SHARE, means[2], np.nan)
    moving = pd.DataFrame({name: values[name] for name in ("wind", "rain") if name in values}, index=sun // 3600)
    return ByHour(counts[0], means[0], means[1], by_sun, *more, _midday(values, sun // 3600), calms, moving)


def _lone(values: dict[str, Floats], days: _Days) -> pd.DataFrame:
    """Return the extremes of days on which a record's temperature leaps out and back, without such records."""
    column, hour = values.get("temperature", np.zeros(0)), np.diff(seconds_of(days.clock)) <= 3600
    if column.size < 3 or "highest" in values or "lowest" in values:
        return pd.DataFrame()
    before, after = np.diff(column)[:-1], np.diff(column)[1:]
    leaps = (np.minimum(before, -after) > _LONE_ABOVE) | (np.minimum(-before, after) > _LONE_BELOW)
    at, day = 1 + np.flatnonzero(leaps & hour[:-1] & hour[1:]), days.of("temperature")
    rest = column.copy()
    rest[at] = np.nan
    extremes = dict(zip(("tmin", "tmax"), days.extremes(rest, rest, day), strict=True))
    return pd.DataFrame(extremes, pd.DatetimeIndex(days.midnights)).iloc[np.unique(day[at])]


def _midday(values: dict[str, Floats], hours: Ints) -> pd.DataFrame:
    """Return the means of each hour about noon: light, temperature, and the logarithm of the vapour pressure."""
    if not {"temperature", "radiation"} <= values.keys():
        return pd.DataFrame()
    here = np.abs(hours % 24 - 12) <= _ABOUT_NOON
    known = {name: column[here] for name, column in values.items()}
    pressure = np.full(here.sum(), np.nan)
    if "dew_point" in known:
        pressure = saturation_vapour_pressure(known["dew_point"])
    elif "humidity" in known:
        pressure = known["humidity"] / 100.0 * saturation_vapour_pressure(known["temperature"])
    columns = {"light": known["radiation"], "warmth": known["temperature"], "damp": np.log(np.maximum(pressure, 0.01))}
    return pd.DataFrame(columns).groupby(hours[here]).mean()


def _ceiling(light: Floats, days: Ints) -> pd.Series[float]:
    """Return the days on which light stands at its highest figure, if that comes far more often than those next to it."""
    top = float(light.max(initial=0.0))
    at = light >= top
    lasting = at[1:] & at[:-1]
    figures = (
        np.unique(light[light > _NEXT * top], return_counts=True)[1] if lasting.any() and top > 0.0 else np.zeros(1)
    )
    often = figures[-1] > _TIMES_NEXT * figures[:-1].max(initial=0)
    of = np.unique(days[1:][lasting]) if often and top > 0.0 else days[:0]
    return pd.Series(top, index=pd.DatetimeIndex(of.astype("datetime64[D]").astype("datetime64[ns]")))


def _middles(wave: Floats, seconds: Ints) -> pd.Series[float]:
    """Return the hour at which each whole day's first wave is highest."""
    days, of_day = np.unique(seconds // 86400, return_inverse=True)
    circle = np.nan_to_num(wave) * np.exp(2j * np.pi * (seconds % 86400) / 86400.0)
    known = np.bincount(of_day, weights=~np.isnan(wave))
    total = np.bincount(of_day, weights=circle.real) + 1j * np.bincount(of_day, weights=circle.imag)
    whole = (known >= known.max(initial=0.0)) & (np.abs(total) > 0.0)
    hours = np.angle(total[whole]) * 12.0 / np.pi % 24.0
    return pd.Series(hours, index=pd.DatetimeIndex(days[whole].astype("datetime64[D]").astype("datetime64[ns]")))


def _by_day(names: list[str], texts: dict[str, str]) -> dict[str, str]:
    """Say of daily columns what is said of the columns of records that they come of."""
    return {day: texts[name] for name in names if name in texts for day in QUANTITIES[name].daily}


def _beyond(values: dict[str, Floats], stamps: Stamps, lines: Ints, records: Records) -> Iterator[Problem]:
    """Name single records that can't be true: in a day's mean they would hide."""
    for name, (unit, _, lowest, highest) in QUANTITIES.items():
        column = values.get(name, np.zeros(0))
        wrong = (column < lowest) | (column > highest)
        # all one and the same, as a mark for a missing value is
        is_mark = wrong.any() and bool(np.ptp(column[wrong]) < 1e-9)
        if wrong.any() and (is_mark or wrong.sum() <= max(_FEW * (~np.isnan(column)).sum(), 1)):
            row = int(np.argmax(wrong))
            value, header = float(column[row]), records.headers.get(name, name)
            shown = as_filed(value, records.units.get(name, ""), known_unit(unit) or unit, unit)
            worst = f"{shown} at {written(stamps[row])}{and_more(int(wrong.sum()) - 1, 'record')}"
            span = f"{number(lowest)} to {number(highest)} {unit}"
            text = "record-range/rain" if name == "rain" and value < 0.0 else "record-range"
            several = [*dict.fromkeys(column[wrong].tolist())]  # a sensor went wild
            marks = several if len(several) <= _MOST_MARKS and name != "rain" else [value]
            mark = '", "'.join(as_mark(each, records.units.get(name, ""), known_unit(unit) or unit) for each in marks)
            cure = note("or-empty", mark=mark, table=records.table)
            facts = {
                "header": header,
                "worst": worst,
                "span": span,
                "mark": mark,
                "or_empty": cure,
                "table": records.table,
            }
            yield problem(text, f"line {lines[row]}:", value, **facts)


def _still(values: dict[str, Floats]) -> Iterator[str]:
    """Take a wind a little below 0, as a gauge's zero leaves, for none."""
    wind = values.get("wind", np.zeros(0))
    below = (wind < 0.0) & (wind >= -_ZERO)
    if below.any():
        values["wind"] = np.where(below, 0.0, wind)
        yield note("still", records=counted(int(below.sum()), "record"))


def _without_strays(values: dict[str, Floats], stamps: Stamps) -> Iterator[str]:
    """Take out the few records of light brighter than any sky or far below 0, and of air wetter than can be, as sensors' faults are."""
    for text, name, above in (
        ("flashes", "radiation", True),
        ("strays", "radiation", False),
        ("strays", "humidity", True),
    ):
        column, (unit, _, lowest, highest) = values.get(name, np.zeros(0)), QUANTITIES[name]
        bound, sign = (highest, 1.0) if above else (lowest, -1.0)
        stray = column >= bound if text == "flashes" else sign * column > sign * bound
        # one of a day or two may as well be a figure that was typed, which is refused
        if stray.any() and stray.sum() <= max(_FEW * (~np.isnan(column)).sum(), text == "flashes"):
            values[name] = np.where(stray, np.nan, column)
            row, records = int(np.nanargmax(sign * column)), counted(int(stray.sum()), "record")
            worst = f"{number(float(column[row]))} {unit} at {written(stamps[row])}"
            beyond = f"{'above' if above else 'below'} {number(bound)} {unit}"
            yield note(text, name=name, records=records, most=bound, beyond=beyond, worst=worst)


def _dark(values: dict[str, Floats], days: _Days, site: Site) -> Iterator[str]:
    """
    Take radiation that is blank while the sun is below the horizon for 0, on days whose light is known; say so.

    The sun's noon is the middle of the light around each day, so that no clock need be known; FAO-56 eq 25 and 34 have the rest.
    """
    flux, hour, day = values.get("radiation", np.zeros(0)), days.step / 3600.0, days.of_record
    if not (blank := np.isnan(flux)).any() or blank.all() or hour > 1.0:
        return
    angle = 2.0 * np.pi * (seconds_of(days.clock) % 86400) / 86400.0
    light = np.maximum(np.nan_to_num(flux), 0.0)
    moments = [np.bincount(day, light * wave(angle), len(days.midnights)) for wave in (np.sin, np.cos)]
    around = pd.DataFrame(np.transpose(moments)).rolling(_NOON_DAYS, center=True, min_periods=1).sum().to_numpy()
    noon = np.where(around.any(axis=1), np.arctan2(around[:, 0], around[:, 1]), np.nan)
    from_noon = np.abs((angle - noon[day] + np.pi) % (2.0 * np.pi) - np.pi) * 12.0 / np.pi
    daylight = daylight_hours(pd.DatetimeIndex(days.midnights).day_of_year.to_numpy(), latitude=site.latitude)
    below = from_noon > daylight[day] / 2.0
    by_day = np.bincount(day[~blank & ~below], minlength=len(daylight))
    # sensors may be blank in the first and last light, too
    lit = by_day >= COMPLETE * np.maximum(daylight / hour - 2.0, 1.0)
    dark = blank & below & lit[day]
    if dark.any() and light[below].sum() <= _FEW * light.sum():
        values["radiation"] = np.where(dark, 0.0, flux)
        yield note("dark", records=counted(int(dark.sum()), "record"))


def _rainless(values: dict[str, Floats], days: _Days, records: Records) -> Iterator[str]:
    """Take rain that is empty for none where the user says so, but of a counter that goes on; say it."""
    empty = np.isnan(rain := values.get("rain", np.zeros(0)))
    if (
        records.rainless_if_empty
        and 0 < empty.sum() < empty.size
        and not counts_on(rain, seconds_of(days.clock), records.rain_kind)
    ):
        values["rain"] = np.where(empty, 0.0, rain)
        yield note("rainless", records=counted(int(empty.sum()), "record"))


def _columns(values: dict[str, Floats], days: _Days, records: Records, notes: list[str]) -> pd.DataFrame:
    """Return the daily columns; add to the notes."""
    daily: dict[str, Floats] = {}
    air, day = _air(values, notes), days.of("temperature")
    if (mean := values.get("temperature")) is not None:
        lows, highs = np.fmin(mean, values.get("lowest", mean)), np.fmax(mean, values.get("highest", mean))
        daily["tmin"], daily["tmax"] = days.extremes(lows, highs, day)
    if "rh" in air:
        daily["rh_min"], daily["rh_max"] = days.extremes(air["rh"], air["rh"], day)
    if "vapour_pressure" in air:
        daily["vapour_pressure"] = days.mean(air["vapour_pressure"], day)
    daily |= {name: days.mean(values[name], days.of(name)) for name in ("wind", "pressure") if name in values}
    if "radiation" in values:
        if below := int((values["radiation"] < 0.0).sum()):
            verb = "count" if below > 1 else "counts"
            notes.append(note("night-offset", records=counted(below, "record"), verb=verb))
        daily["radiation"] = days.radiation(values["radiation"], days.of("radiation"))
    if "rain" in values:
        daily["rain"], daily["again"] = _rain(values, days, records, notes)
    return pd.DataFrame(daily, index=pd.DatetimeIndex(days.midnights, name="date"))


def _rain(values: dict[str, Floats], days: _Days, records: Records, notes: list[str]) -> tuple[Floats, Floats]:
    """Return each day's rain, and what of it stands in rows that repeat another."""
    column, header, day = values["rain"], records.headers.get("rain", "rain"), days.of("rain")
    if records.rain_kind == "interval" and not days.total(column, day)[2].any():
        return np.full(len(days.midnights), np.nan), np.zeros(len(days.midnights))  # there is nothing to judge by
    unit, seconds = records.units.get("rain", "mm"), seconds_of(days.clock)
    more = {"header": header, "unit": unit, "table": records.table}
    rain = rain_amounts(column, seconds, kind=records.rain_kind, step=days.step, **more)
    if rain.problems:
        raise WeatherError(*rain.problems)
    notes += rain.notes
    total, _, whole = days.total(rain.amounts, day if rain.kind == "interval" else days.of_ending)
    if (lost := float(total[~whole].sum())) > 0.0:
        count = int((~whole & (total > 0.0)).sum())
        notes.append(note("rain-lost", share=_SHARE, rain=amount(lost, "depth"), days=counted(count, "day")))
    again = _again(values, seconds, days.step) & (rain.kind == "interval")
    return np.where(whole, total, np.nan), np.bincount(day[again], column[again], len(whole)).astype(np.float64)


def _again(values: dict[str, Floats], seconds: Ints, step: float) -> Mask:
    """Mark wet records that are the one before to the digit: rows written twice, within half a step, or filled in between others."""
    wet, columns = values["rain"] > 0.0, np.array([*values.values()])
    same = np.append(False, ((columns[:, 1:] == columns[:, :-1]) | np.isnan(columns[:, 1:])).all(axis=0))
    near = np.append(False, np.diff(seconds) < 0.5 * step)
    twice: Mask = same & wet & near & ~np.append(False, near[:-1])
    if twice.sum() >= max(_AGAIN, _OF_NEAR * (wet & near).sum()):
        return twice
    # rows from one that is new to the next: of records every half an hour that were hours' before, two or a multiple of it
    apart = np.diff(np.flatnonzero(~same))
    filled = apart.size >= _NEW and np.median(apart) > 1.0 and (apart % np.median(apart) == 0.0).mean() > _OF_NEW
    again: Mask = same & wet & bool(filled)
    return again if again.sum() >= _AGAIN else np.zeros_like(same)


def _air(values: dict[str, Floats], notes: list[str]) -> dict[str, Floats]:
    """Vapour pressure and relative humidity of each record, from dew point or humidity and temperature."""
    temperature, dew_point, humidity = (values.get(name) for name in ("temperature", "dew_point", "humidity"))
    by_dew_point = None if dew_point is None else saturation_vapour_pressure(dew_point)
    if temperature is None or (dew_point is None and humidity is None):
        air = {"rh": humidity, "vapour_pressure": by_dew_point}
        return {name: column for name, column in air.items() if column is not None}
    saturated = saturation_vapour_pressure(temperature)
    nothing = np.full(len(temperature), np.nan)
    rh = nothing if humidity is None else humidity
    pressure = saturated * np.minimum(rh, 100.0) / 100.0
    if dew_point is not None and by_dew_point is not None:
        damp = by_dew_point > saturated * (1.0 + 1e-9)
        pressure = np.where(np.isnan(by_dew_point), pressure, np.where(damp, saturated, by_dew_point))
        above = int((dew_point > temperature + _FAR_ABOVE).sum())
        if above > _MOST_ABOVE * np.count_nonzero(~np.isnan(dew_point)):
            raise WeatherError(problem("dew-point-above", "dew_point", damp=above, records=len(temperature)))
        if damp.any():
            notes.append(note("damp", damp=int(damp.sum()), records=len(temperature)))
    # the minimum for a rounding error above
    rh = np.where(np.isnan(rh), np.minimum(100.0 * pressure / saturated, 100.0), rh)
    notes.append(note(f"humidity-by-{'humidity' if dew_point is None else 'dew_point'}"))
    return {"rh": rh, "vapour_pressure": pressure}


def _without_edges(daily: pd.DataFrame, in_file: Mask, notes: list[str]) -> Mask:
    """Leave out first and last days that are cut off by the file's ends; return the days that stay."""
    judged = daily[["tmin"]] if "tmin" in daily.columns else daily
    known = np.asarray(judged.notna().any(axis=1)) & in_file
    # from the first known day on, and up to the last
    inside = in_file & np.logical_or.accumulate(known) & np.logical_or.accumulate(known[::-1])[::-1]
    if known.any() and (edges := in_file & ~inside).any():
        notes.append(note("edges", share=_SHARE, days=name_days(days_where(daily.index, edges))))
    return inside


def _thin_notes(values: dict[str, Floats], records: Records, days: _Days, in_file: Mask) -> Iterator[str]:
    """Say which days have enough records and not all, and which columns no such day; a gauge that counts on loses nothing."""
    thin: dict[bytes, list[str]] = {}
    for name, column in values.items():
        _, count, whole = days.total(column, days.of(name))
        if count.any() and not whole[in_file].any():
            yield note("never-whole", name=name, share=_SHARE)
        lacks = (whole & (count < np.floor(days.expected + 1e-9)))[in_file]
        if lacks.any() and (name != "rain" or records.rain_kind == "interval"):
            thin.setdefault(lacks.tobytes(), []).append(name)
    for mask, names in thin.items():
        which = days_where(pd.DatetimeIndex(days.midnights[in_file]), np.frombuffer(mask, bool))
        yield note("thin-days", names=", ".join(names), count=counted(len(which), "day"), days=name_days(which))


def _gap_notes(daily: pd.DataFrame, step: float) -> Iterator[str]:
    """Say which days are gaps of which columns, columns with the same gaps together."""
    missing = {str(name): tuple(daily[name].isna()) for name in daily.columns}
    for gap in dict.fromkeys(missing.values()):
        if any(gap) and not all(gap):
            days = days_where(daily.index, np.array(gap))
            names = ", ".join(name for name in missing if missing[name] == gap)
            records = f"{_SHARE} of {number(86400.0 / step)} records a day count{'s' if len(days) == 1 else ''}"
            yield note("gap-days", names=names, count=counted(len(days), "day"), records=records, days=name_days(days))
