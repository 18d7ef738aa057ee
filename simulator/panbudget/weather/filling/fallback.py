"""
Fallback: another station's file, from which the season's own borrows what it lacks and nothing else.

Borrowed are minimum and maximum temperature, humidity (as vapour pressure), wind at 2 m, radiation, and rain
where the user says so; never air pressure or pan evaporation. Where several fallbacks are named, the first that
has a value lends it. Left out on purpose: mending a value that can't be true; that is refused as ever.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import Problem
from panbudget.numeric import Floats
from panbudget.physics.air import mean_saturation_vapour_pressure
from panbudget.weather.calendar import days_where
from panbudget.weather.checked import CheckedFile
from panbudget.weather.checks.inspection import Mask
from panbudget.weather.checks.sky import BRIGHTEST
from panbudget.weather.filling.gaps import column_or_nan, filled_radiation, known_days
from panbudget.weather.filling.humidity import humidity_of
from panbudget.weather.flags import borrowed_from
from panbudget.weather.site import Site
from panbudget.weather.text.columns import FINISHED_UNITS, number
from panbudget.weather.text.raw import LeftOut

#: columns that may be borrowed
BORROWED = ("tmin", "tmax", "vapour_pressure", "wind", "rain", "radiation")

#: days that both files must have before one is fitted to the other: common practice, no source
LEAST_COMMON_DAYS = 30

# those that are shifted to fit; the others are stretched
_SHIFTED = ("tmin", "tmax", "vapour_pressure")
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
    site : Site, optional
        Where it was measured; the season's own site if left out.
    """

    path: str | Path
    shown_as: str | None = None
    file_format: str = "auto"
    wind_height: float | None = None
    columns: Mapping[str, Any] = field(default_factory=dict)
    adjust: bool = False
    rain: bool = False
    site: Site | None = None

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

    def applied(self, lent: Floats, *, name: str) -> Floats:
        """Return the other file's column as it would be here; a vapour pressure stays above 0."""
        fitted: Floats = lent * self.factor + self.shift
        return np.maximum(fitted, _DRIEST) if name == "vapour_pressure" else fitted

    def in_words(self, name: str, *, adjusted: bool) -> str:
        """Say how what was borrowed stands to the site."""
        unit = FINISHED_UNITS[name]
        about = f"over {self.days} days in common; scatter {number(self.scatter)} {unit}"
        higher = self.shift >= 0.0
        match name in _SHIFTED, adjusted:
            case True, True:
                return f"{abs(self.shift):.2f} {unit} {'added' if higher else 'taken off'}, fitted {about}"
            case True, False:
                difference = f"{abs(self.shift):.2f} {unit} {'higher' if higher else 'lower'}"
                return f"as it stands there: it is {difference} here, {about}"
            case False, True:
                return f"times {self.factor:.2f}, fitted {about}"
            case _:
                return f"as it stands there: it is {self.factor:.2f} times as much here, {about}"


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
    elif x.any() and y.any():
        factor = float(y.sum() / x.sum() if name == "rain" else (x * y).sum() / (x * x).sum())
    return Fit(days, shift, factor, float(np.std(y - (factor * x + shift), ddof=1)))


class Borrowed:
    """
    What fallbacks lent.

    Parameters
    ----------
    own : CheckedFile
        The season's file.
    site : Site
        Its place.

    Attributes
    ----------
    values : DataFrame
        The primary's days; columns of `BORROWED`; NaN where nothing was borrowed. Wind at 2 m.
    flags : DataFrame
        The same shape; empty text where nothing was borrowed.
    said : dict
        (column, flag) -> how it was fitted, in words.
    rain_at_hand : ndarray of bool, (days,)
        Where rain is missing still, and a fallback has it that may not lend it.
    files : list of dict
        For the provenance, one a fallback.
    problems, notes : list
        What is wrong, and what a report should mention.
    left_out : dict
        As in `RawTable`: what was not borrowed though a fallback has it, and why.
    """

    def __init__(self, own: CheckedFile, site: Site) -> None:
        days = own.days
        self.values = pd.DataFrame(np.nan, index=days, columns=list(BORROWED))
        self.flags = pd.DataFrame("", index=days, columns=list(BORROWED), dtype=object)
        self.said: dict[tuple[str, str], str] = {}
        self.files: list[dict[str, Any]] = []
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.left_out: dict[str, LeftOut] = {}
        self._own, self._site = own, site
        self._missing = {name: ~known for name, known in known_days(own.daily).items()}
        self._missing["vapour_pressure"] = self._missing["humidity"]
        self._rain_elsewhere = np.zeros(len(days), dtype=bool)

    @property
    def rain_at_hand(self) -> Mask:
        """Where rain is missing still, and a fallback has it that may not lend it."""
        return self._rain_elsewhere & ~self.has("rain")

    def has(self, name: str) -> Mask:
        """Tell on which days a column was borrowed."""
        return np.asarray(self.flags[name] != "", dtype=bool)

    def laid_over(self, daily: pd.DataFrame) -> pd.DataFrame:
        """Return a table with the borrowed values in place."""
        changes = {
            name: np.where(self.has(name), self.values[name].to_numpy(float), column_or_nan(daily, name))
            for name in BORROWED
            if self.has(name).any()
        }
        return daily.assign(**changes) if changes else daily

    def lend(self, others: Sequence[tuple[Fallback, CheckedFile]]) -> None:
        """Borrow what is missing of each fallback in turn, then bound it to what the day allows."""
        if not others:
            return
        known = _lendable(self._own, self._site)
        for fallback, read in others:
            lent = _lendable(read, fallback.site or self._site).reindex(self._own.days)
            facts: dict[str, Any] = {"adjust": fallback.adjust, "rain": fallback.rain, "borrowed": {}, "fit": {}}
            for name in BORROWED:
                self._lend_column(fallback, name, known[name], lent[name], facts)
            self.notes += _lent_notes(fallback, read, facts["borrowed"])
            self.files.append({**read.facts(), **facts})
        self._take_back_crossed()
        self._bound()

    def _lend_column(
        self, fallback: Fallback, name: str, known: pd.Series[Any], lent: pd.Series[Any], facts: dict[str, Any]
    ) -> None:
        values = lent.to_numpy(float)
        wanted = self._missing[name] & ~self.has(name) & ~np.isnan(values)
        if name == "rain" and not fallback.rain:
            self._rain_elsewhere |= wanted
            return
        if not wanted.any():
            return
        asked = int((wanted & self._own.arranged.asked).sum())
        fit = fit_of(known.to_numpy(float), values, name=name)
        measured = bool(known.notna().any())
        if fallback.adjust and fit is None and measured:
            if asked:
                self.problems.append(_too_little_in_common(fallback, name, int((known.notna() & lent.notna()).sum())))
            return
        flag = borrowed_from(fallback.shown)
        self.values.loc[wanted, name] = (fit.applied(values, name=name) if fit and fallback.adjust else values)[wanted]
        self.flags.loc[wanted, name] = flag
        if fit is not None:
            self.said[name, flag] = fit.in_words(name, adjusted=fallback.adjust)
            facts["fit"][name] = {**fit._asdict(), "unit": FINISHED_UNITS[name], "applied": fallback.adjust}
        else:
            why = (
                "too few days in common to compare the two"
                if measured
                else "the file has none of its own to compare it with"
            )
            self.said[name, flag] = f"as it stands there: {why}"
        if asked:
            facts["borrowed"][name] = asked

    def _take_back_crossed(self) -> None:
        """Take back temperatures by which a day's minimum would lie above its maximum."""
        whole = self.laid_over(self._own.daily)
        crossed = column_or_nan(whole, "tmin") > column_or_nan(whole, "tmax")
        for name in ("tmin", "tmax"):
            wrong = crossed & self.has(name)
            if wrong.any():
                self.values.loc[wrong, name], self.flags.loc[wrong, name] = np.nan, ""
                days = frozenset(days_where(whole.index, wrong))
                self.left_out[name] = LeftOut("crossing the day's other temperature, once borrowed", days)

    def _bound(self) -> None:
        """Bring what was borrowed within what the day allows, and say where that changed something."""
        whole = self.laid_over(self._own.daily)
        saturated = mean_saturation_vapour_pressure(column_or_nan(whole, "tmin"), column_or_nan(whole, "tmax"))
        clear = BRIGHTEST * self._own.inspected.sky.clear
        for name, most, what in (
            ("vapour_pressure", saturated, "the saturation of the day's temperatures"),
            ("radiation", clear, f"{BRIGHTEST:g} of a clear sky's at the site"),
        ):
            over = self.has(name) & (self.values[name].to_numpy(float) > most + 1e-9)
            if count := int(over.sum()):
                self.values.loc[over, name] = most[over]
                days = f"{count} day{'s' if count > 1 else ''}"
                self.notes.append(f"{days}: borrowed {name} was bounded to {what}")


def _lendable(read: CheckedFile, site: Site) -> pd.DataFrame:
    """What a file has of each column that can be borrowed, without estimating any of it."""
    daily, in_file = read.daily, read.arranged.in_file
    known = known_days(daily)
    pressure, _ = humidity_of(daily, dry=False, in_file=in_file)["vapour_pressure"]
    light, _ = filled_radiation(
        daily, sky=read.inspected.sky, site=site, limited=read.inspected.limited, in_file=in_file
    )
    columns = {name: column_or_nan(daily, name) for name in BORROWED} | {
        "vapour_pressure": np.where(known["humidity"], pressure, np.nan),
        "radiation": np.where(known["radiation"], light, np.nan),
    }
    return pd.DataFrame(columns, index=daily.index)


def _too_little_in_common(fallback: Fallback, name: str, common: int) -> Problem:
    return Problem(
        "fallback-too-little-in-common",
        "weather.fallback.adjust",
        f"= true for {fallback.shown}, and {common} days have {name} in both files",
        f"{LEAST_COMMON_DAYS} days",
        "write adjust = false to borrow its figures as they stand, or name longer files",
        True,
    )


def _lent_notes(fallback: Fallback, read: CheckedFile, counts: Mapping[str, int]) -> list[str]:
    of = f"fallback {fallback.shown}: "
    if not counts:
        return [f"{of}nothing had to be borrowed from it"]
    parts = ", ".join(f"{name} on {count}" for name, count in counts.items())
    notes = (*read.notes, *read.inspected.notes)
    return [f"{of}days of the season borrowed: {parts}; {read.recognised}", *(of + note for note in notes)]
