"""
Fallback: another station's file, from which the season's own borrows what it lacks and nothing else.

Borrowed are minimum and maximum temperature, humidity (as vapour pressure), wind at 2 m, radiation, and rain
where the user says so; never air pressure or pan evaporation. Where several fallbacks are named, the first that
has a value lends it. Left out on purpose: mending a value that can't be true; that is refused as ever.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import Problem, WeatherError
from panbudget.physics.air import Floats, mean_saturation_vapour_pressure
from panbudget.weather.calendar import days_where
from panbudget.weather.checks.inspection import Mask
from panbudget.weather.filling.gaps import GapLimits, column_or_nan, filled_radiation
from panbudget.weather.filling.humidity import has_humidity, humidity_of
from panbudget.weather.flags import borrowed_from
from panbudget.weather.reading import FileRead, check_options, choices_of, read_file
from panbudget.weather.site import SiteLike
from panbudget.weather.text.columns import FINISHED_UNITS, number
from panbudget.weather.text.raw import LeftOut

__all__ = ["BORROWED", "LEAST_COMMON_DAYS", "Borrowed", "Fallback", "Fit", "borrow", "fit_of", "read_fallback"]

#: columns that may be borrowed
BORROWED = ("tmin", "tmax", "vapour_pressure", "wind", "rain", "radiation")

#: days that both files must have before one is fitted to the other: common practice, no source
LEAST_COMMON_DAYS = 30

# those that are shifted to fit; the others are stretched
_SHIFTED = ("tmin", "tmax", "vapour_pressure")
# what a borrowed radiation may reach, as one measured here may: see `checks_sky` [of a clear sky's]
_BRIGHTEST = 1.05
# the least vapour pressure that a shift may leave; a dew point of -42 °C has it [kPa]
_DRIEST = 0.01


@dataclass(frozen=True)
class Fallback:
    """
    A file to borrow from.

    Parameters
    ----------
    path : str or Path
        The file.
    shown_as : str, optional
        Its name in messages; the path as given if left out.
    file_format, wind_height, columns
        As in `read_weather`.
    adjust : bool
        Whether what it lends is fitted to the primary file first, over the days that both have.
    rain : bool
        Whether it lends rain, which is more local than all else.
    site : SiteLike, optional
        Where it was measured; the season's own site if left out.
    """

    path: str | Path
    shown_as: str | None = None
    file_format: str = "auto"
    wind_height: float | None = None
    columns: Mapping[str, Any] = field(default_factory=dict)
    adjust: bool = False
    rain: bool = False
    site: SiteLike | None = None

    @property
    def shown(self) -> str:
        """Its name in messages."""
        return self.shown_as or str(self.path)


class Fit(NamedTuple):
    """
    How a column of one file stands to the same column of another.

    ``days`` in common; ``shift`` to add [unit of the column] and ``factor`` to multiply by, the one that is not used
    being 0 or 1; ``scatter``, the standard deviation of what is left. [unit of the column]
    """

    days: int
    shift: float
    factor: float
    scatter: float


@dataclass(frozen=True, eq=False)
class Borrowed:
    """
    What fallbacks lent.

    Parameters
    ----------
    values : DataFrame
        The primary's days; columns of `BORROWED`; NaN where nothing was borrowed. Wind at 2 m.
    flags : DataFrame
        The same shape; empty text where nothing was borrowed.
    said : dict
        (column, flag) -> how it was fitted, in words.
    rain_at_hand : ndarray of bool, (days,)
        Where rain is missing still, and a fallback has it that may not lend it.
    files : tuple of dict
        For the provenance, one a fallback.
    problems, notes : tuple
        What is wrong, and what a report should mention.
    left_out : dict
        As in `RawTable`: what was not borrowed though a fallback has it, and why.
    """

    values: pd.DataFrame
    flags: pd.DataFrame
    said: dict[tuple[str, str], str] = field(default_factory=dict)
    rain_at_hand: Mask = field(default_factory=lambda: np.zeros(0, dtype=bool))
    files: tuple[dict[str, Any], ...] = ()
    problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()
    left_out: dict[str, LeftOut] = field(default_factory=dict)

    def has(self, name: str) -> Mask:
        """Tell on which days a column was borrowed."""
        return np.asarray(self.flags[name] != "", dtype=bool)

    def laid_over(self, daily: pd.DataFrame) -> pd.DataFrame:
        """Return a table with the borrowed values in place."""
        if not self.files:
            return daily
        changes = {
            name: np.where(self.has(name), self.values[name].to_numpy(float), column_or_nan(daily, name))
            for name in BORROWED
            if self.has(name).any()
        }
        return daily.assign(**changes)


def read_fallback(
    fallback: Fallback, site: SiteLike, *, limits: GapLimits, start: dt.date | None, end: dt.date | None
) -> FileRead:
    """
    Read a fallback's file.

    Parameters
    ----------
    fallback : Fallback
    site : SiteLike
        Where it was measured, unless the fallback says otherwise.
    limits, start, end
        As in `read_weather`.

    Returns
    -------
    FileRead
        Sound, but with gaps.

    Raises
    ------
    WeatherError
        All that is wrong with it, gaps apart; or a typical year, which has no days to lend.
    """
    shown = fallback.shown
    check_options(
        shown,
        wind_height=2.0 if fallback.wind_height is None else fallback.wind_height,
        missing_rain="error",
        too_bright="limit",
    )
    try:
        read = read_file(
            fallback.path,
            fallback.site or site,
            shown=shown,
            file_format=fallback.file_format,
            wind_height=fallback.wind_height,
            columns=choices_of(fallback.columns, shown),
            too_bright="limit",
            limits=limits,
            start=start,
            end=end,
            holes=True,
        )
    except WeatherError as error:
        raise WeatherError(*map(_of_fallback, error.problems), file=shown) from error
    if read.raw.typical:
        message = (
            "is a typical year made of months from different years, which has no record of the days that are missing; "
            "a fallback must be a station's own record"
        )
        raise WeatherError(Problem.of_text(message, key="weather.fallback"), file=shown)
    problems = [*read.arranged.problems, *read.inspected.problems]
    held = pd.DatetimeIndex(read.arranged.daily.index)
    if (start is not None and held[-1].date() < start) or (end is not None and held[0].date() > end):
        # it has none of the days asked for: odd values of single days are left out, and only whole columns matter
        problems = [
            *read.arranged.problems,
            *(p for p in read.inspected.problems if p.where in read.inspected.condemned),
        ]
    if problems:
        raise WeatherError(*map(_of_fallback, problems), file=shown)
    return read


def _of_fallback(problem: Problem) -> Problem:
    """Point a cure that is written in the scenario to the fallback's own table."""
    message = problem.sentence().replace("[weather.columns]", "[weather.fallback.columns]")
    return Problem.of_text(
        message.replace("under [weather]", "under its [[weather.fallback]]"), problem.where, problem.value
    )


def fit_of(own: Floats, lent: Floats, *, name: str) -> Fit | None:
    """
    Fit a column of one file to the same column of another.

    Parameters
    ----------
    own, lent : ndarray, (days,)
        NaN where missing.
    name : str
        The column: temperatures and vapour pressure are shifted, wind and radiation stretched, both by least
        squares; rain is stretched by the ratio of the sums, since two gauges hardly agree day by day.

    Returns
    -------
    Fit or None
        None where they have fewer than `LEAST_COMMON_DAYS` days in common. A column that is 0 throughout in either is
        left as it is: no ratio comes of it.
    """
    common = ~np.isnan(own) & ~np.isnan(lent)
    days = int(common.sum())
    x, y = lent[common], own[common]
    if days < LEAST_COMMON_DAYS:
        return None
    shift, factor = 0.0, 1.0
    if name in _SHIFTED:
        shift = float(np.mean(y - x))
    elif not x.any() or not y.any():
        pass
    elif name == "rain":
        factor = float(y.sum() / x.sum())
    else:
        factor = float((x * y).sum() / (x * x).sum())
    left = y - (factor * x + shift)
    return Fit(days, shift, factor, float(np.std(left, ddof=1)))


def borrow(own: FileRead, site: SiteLike, others: Sequence[tuple[Fallback, FileRead]]) -> Borrowed:
    """
    Borrow what a file lacks.

    Parameters
    ----------
    own : FileRead
        The season's file.
    site : SiteLike
        Its place.
    others : sequence of (Fallback, FileRead)
        In the order in which they are asked.

    Returns
    -------
    Borrowed
        A vapour pressure is bounded to the saturation of the day's temperatures, and radiation to 1.05 of a clear
        sky's at the site; both are noted where that bites.
    """
    days = pd.DatetimeIndex(own.arranged.daily.index)
    values = pd.DataFrame(np.nan, index=days, columns=list(BORROWED))
    flags = pd.DataFrame("", index=days, columns=list(BORROWED), dtype=object)
    nowhere = np.zeros(len(days), dtype=bool)
    if not others:
        return Borrowed(values, flags, rain_at_hand=nowhere)
    known = _lendable(own, site)
    missing = _gaps(own.daily)
    rain_at_hand = nowhere.copy()
    said: dict[tuple[str, str], str] = {}
    files, problems, notes = [], [], []
    for fallback, read in others:
        lent = _lendable(read, fallback.site or site).reindex(days)
        counts: dict[str, int] = {}
        fits: dict[str, dict[str, Any]] = {}
        for name in BORROWED:
            there = ~np.isnan(lent[name].to_numpy(float))
            wanted = missing[name] & there
            if name == "rain" and not fallback.rain:
                rain_at_hand |= wanted
                continue
            if not wanted.any():
                continue
            fit = fit_of(known[name].to_numpy(float), lent[name].to_numpy(float), name=name)
            if fallback.adjust and fit is None and known[name].notna().any():
                if (wanted & own.arranged.asked).any():
                    problems.append(_too_little_in_common(fallback, name, known[name], lent[name]))
                continue
            fitted = _fitted(lent[name].to_numpy(float), fit if fallback.adjust else None, name=name)
            values.loc[wanted, name] = fitted[wanted]
            flags.loc[wanted, name] = borrowed_from(fallback.shown)
            missing[name] = missing[name] & ~wanted
            said[name, borrowed_from(fallback.shown)] = _in_words(
                fit, name=name, adjusted=fallback.adjust, measured=bool(known[name].notna().any())
            )
            counts[name] = int((wanted & own.arranged.asked).sum())
            if fit is not None:
                fits[name] = {**fit._asdict(), "unit": FINISHED_UNITS[name], "applied": fallback.adjust}
        counts = {name: count for name, count in counts.items() if count}
        notes += _lent_notes(fallback, read, counts)
        files.append(
            {**read.facts(), "adjust": fallback.adjust, "rain": fallback.rain, "borrowed": counts, "fit": fits}
        )
    borrowed = Borrowed(values, flags, said, rain_at_hand & missing["rain"], tuple(files), tuple(problems))
    left_out = _uncrossed(borrowed, own)
    notes += _bounded(borrowed, own)
    return dataclasses.replace(borrowed, left_out=left_out, notes=tuple(notes))


def _lendable(read: FileRead, site: SiteLike) -> pd.DataFrame:
    """What a file has of each column that can be borrowed, without estimating any of it."""
    daily, arranged = read.daily, read.arranged
    humid = has_humidity(daily)
    pressure = humidity_of(daily, dry=False, in_file=arranged.in_file).vapour_pressure
    sunny = _has_light(daily)
    light, _ = filled_radiation(
        daily, sky=read.sky, site=site, limited=read.inspected.limited, in_file=arranged.in_file
    )
    return pd.DataFrame(
        {
            "tmin": column_or_nan(daily, "tmin"),
            "tmax": column_or_nan(daily, "tmax"),
            "vapour_pressure": np.where(humid, pressure, np.nan),
            "wind": column_or_nan(daily, "wind"),
            "rain": column_or_nan(daily, "rain"),
            "radiation": np.where(sunny, light, np.nan),
        },
        index=daily.index,
    )


def _gaps(daily: pd.DataFrame) -> dict[str, Mask]:
    gaps = {name: np.isnan(column_or_nan(daily, name)) for name in ("tmin", "tmax", "wind", "rain")}
    gaps["vapour_pressure"] = ~has_humidity(daily)
    gaps["radiation"] = ~_has_light(daily)
    return gaps


def _has_light(daily: pd.DataFrame) -> Mask:
    return ~np.isnan(column_or_nan(daily, "radiation")) | ~np.isnan(column_or_nan(daily, "sunshine"))


def _fitted(lent: Floats, fit: Fit | None, *, name: str) -> Floats:
    if fit is None:
        return lent
    fitted: Floats = lent * fit.factor + fit.shift
    return np.maximum(fitted, _DRIEST) if name == "vapour_pressure" else fitted


def _too_little_in_common(fallback: Fallback, name: str, own: pd.Series[Any], lent: pd.Series[Any]) -> Problem:
    common = int((own.notna() & lent.notna()).sum())
    message = (
        f"adjust = true for the fallback {fallback.shown} wants {LEAST_COMMON_DAYS} days with {name} in both files, and "
        f"they have {common}; write adjust = false to borrow its figures as they stand, or name longer files"
    )
    return Problem.of_text(message, key="weather.fallback.adjust", value=True)


def _in_words(fit: Fit | None, *, name: str, adjusted: bool, measured: bool) -> str:
    """Say how what was borrowed stands to the site."""
    if not measured:
        return "as it stands there: the file has none of its own to compare it with"
    if fit is None:
        return "as it stands there: too few days in common to compare the two"
    unit = FINISHED_UNITS[name]
    about = f"over {fit.days} days in common; scatter {number(fit.scatter)} {unit}"
    if name in _SHIFTED:
        change = f"{abs(fit.shift):.2f} {unit}"
        if adjusted:
            return f"{change} {'added' if fit.shift >= 0.0 else 'taken off'}, fitted {about}"
        return f"as it stands there: it is {change} {'higher' if fit.shift >= 0.0 else 'lower'} here, {about}"
    if adjusted:
        return f"times {fit.factor:.2f}, fitted {about}"
    return f"as it stands there: it is {fit.factor:.2f} times as much here, {about}"


def _lent_notes(fallback: Fallback, read: FileRead, counts: Mapping[str, int]) -> list[str]:
    if not counts:
        return [f"fallback {fallback.shown}: nothing had to be borrowed from it"]
    parts = ", ".join(f"{name} on {count}" for name, count in counts.items())
    about = [f"fallback {fallback.shown}: {note}" for note in (*read.notes, *read.inspected.notes)]
    return [f"fallback {fallback.shown}: days of the season borrowed: {parts}; {read.recognised}", *about]


def _uncrossed(borrowed: Borrowed, own: FileRead) -> dict[str, LeftOut]:
    """Take back, in place, temperatures by which a day's minimum would lie above its maximum."""
    whole = borrowed.laid_over(own.daily)
    crossed = column_or_nan(whole, "tmin") > column_or_nan(whole, "tmax")
    left_out = {}
    for name in ("tmin", "tmax"):
        wrong = crossed & borrowed.has(name)
        if wrong.any():
            borrowed.values.loc[wrong, name], borrowed.flags.loc[wrong, name] = np.nan, ""
            days = frozenset(days_where(whole.index, wrong))
            left_out[name] = LeftOut("crossing the day's other temperature, once borrowed", days)
    return left_out


def _bounded(borrowed: Borrowed, own: FileRead) -> list[str]:
    """Bring what was borrowed within what the day allows, in place, and say where that changed something."""
    values, notes = borrowed.values, []
    whole = borrowed.laid_over(own.daily)
    tmin, tmax = column_or_nan(whole, "tmin"), column_or_nan(whole, "tmax")
    most = {
        "vapour_pressure": (mean_saturation_vapour_pressure(tmin, tmax), "the saturation of the day's temperatures"),
        "radiation": (_BRIGHTEST * own.sky.clear, "1.05 of a clear sky's at the site"),
    }
    for name, (limit, what) in most.items():
        over = borrowed.has(name) & (values[name].to_numpy(float) > limit + 1e-9)
        if over.any():
            values.loc[over, name] = limit[over]
            notes.append(f"{_days(over)}: borrowed {name} was bounded to {what}")
    return notes


def _days(mask: Mask) -> str:
    count = int(mask.sum())
    return f"{count} day{'s' if count > 1 else ''}"
