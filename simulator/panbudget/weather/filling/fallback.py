"""
Fallback: another station's file, from which the season's own borrows what it lacks and nothing else.

Borrowed are minimum and maximum temperature, humidity (as vapour pressure), wind at 2 m, radiation, and rain
where the user says so; never air pressure or pan evaporation. Where several fallbacks are named, the first that
has a value lends it. Left out on purpose: mending a value that can't be true; that is refused as ever.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import Problem
from panbudget.numeric import Floats, Mask
from panbudget.physics.air import mean_saturation_vapour_pressure
from panbudget.weather.calendar import days_where
from panbudget.weather.checks.inspection import CheckedFile
from panbudget.weather.checks.sky import BRIGHTEST
from panbudget.weather.filling.estimates import column_or_nan, filled_radiation, humidity_of, known_days
from panbudget.weather.flags import borrowed_from
from panbudget.weather.messages import counted, note, problem
from panbudget.weather.site import Site
from panbudget.weather.text.columns import FINISHED_UNITS, number
from panbudget.weather.text.raw import LeftOut
from panbudget.words import SHOWN, in_both, kind_of

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
    file_format, wind_height, columns, missing
        As in `read_weather`.
    adjust : bool
        Whether what it lends is fitted to the primary file first, over the days that both have.
    rain : bool
        Whether it lends rain, which is more local than all else.
    site : Site, optional
        Where it was measured; the season's own site if left out.
    trust : sequence of str
        As in `read_weather`.
    """

    path: str | Path | Sequence[str | Path]
    shown_as: str | None = None
    file_format: str = "auto"
    wind_height: float | None = None
    columns: Mapping[str, Any] = field(default_factory=dict)
    missing: Sequence[str] = ()
    adjust: bool = False
    rain: bool = False
    site: Site | None = None
    trust: Sequence[str] = ()

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
        return np.maximum(lent * self.factor + self.shift, _DRIEST if name == "vapour_pressure" else -np.inf)

    @in_both
    def in_words(self, name: str, *, adjusted: bool) -> str:
        """Say how what was borrowed stands to the site."""
        kind = "shift" if name in _SHIFTED else "factor"
        added, higher = ("added", "higher") if self.shift >= 0.0 else ("taken off", "lower")
        unit = FINISHED_UNITS[name]
        form = SHOWN["warming" if unit == "°C" else kind_of(unit)]
        shift = f"{form.shown(abs(self.shift)):.2f} {form.unit or unit}"
        scatter = f"{number(form.shown(self.scatter))} {form.unit or unit}"
        values = {**self._asdict(), "shift": shift, "scatter": scatter, "added": added, "higher": higher}
        return note(f"fit-{kind}{'-adjusted' if adjusted else ''}", **values)


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
    others : sequence of (Fallback, CheckedFile)
        Each lends in turn what is missing still; all of it is then bounded to what the day allows.

    Attributes
    ----------
    values : DataFrame
        The primary's days, if there are fallbacks; columns of `BORROWED`; NaN where nothing was borrowed. Wind at 2 m.
    flags : DataFrame
        The same shape; empty text where nothing was borrowed.
    fitted : dict
        (column, flag) -> how it was fitted, in words.
    rain_at_hand : ndarray of bool, (days,)
        Where the primary's rain is missing, and a fallback has it that may not lend it.
    files : list of dict
        For the provenance, one a fallback.
    problems, notes : list
        What is wrong, and what a report should mention.
    left_out : dict
        As in `RawTable`: what was not borrowed though a fallback has it, and why.
    """

    def __init__(self, own: CheckedFile, site: Site, others: Sequence[tuple[Fallback, CheckedFile]]) -> None:
        self._own = own
        self.fitted: dict[tuple[str, str], str] = {}
        self.files: list[dict[str, Any]] = []
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.left_out: dict[str, LeftOut] = {}
        self.rain_at_hand = np.zeros(len(own.days), dtype=bool)
        if not others:
            return
        self.values = pd.DataFrame(np.nan, index=own.days, columns=list(BORROWED))
        self.flags = pd.DataFrame("", index=own.days, columns=list(BORROWED), dtype=object)
        self._missing = {name: ~known for name, known in known_days(own.daily).items()}
        self._missing["vapour_pressure"] = self._missing["humidity"]
        known = _lendable(own, site)
        for fallback, read in others:
            lent = pd.DataFrame(_lendable(read, fallback.site or site), index=read.days).reindex(own.days)
            facts: dict[str, Any] = {"adjust": fallback.adjust, "rain": fallback.rain, "borrowed": {}, "fit": {}}
            for name in BORROWED:
                self._lend(fallback, name, known[name], lent[name].to_numpy(float), facts)
            self.notes += _lent_notes(fallback, read, facts["borrowed"])
            self.files.append({**read.facts(), **facts})
        self._take_back_crossed()
        self._bound()

    def has(self, name: str) -> Mask:
        """Tell on which days a column was borrowed."""
        return np.asarray(self.flags[name] != "", dtype=bool)

    def laid_over(self, daily: pd.DataFrame) -> pd.DataFrame:
        """Return a table with the borrowed values in place."""
        names = [name for name in BORROWED if self.files and self.has(name).any()]
        lent = {name: np.where(self.has(name), self.values[name], column_or_nan(daily, name)) for name in names}
        return daily.assign(**lent) if lent else daily

    def _lend(self, fallback: Fallback, name: str, known: Floats, lent: Floats, facts: dict[str, Any]) -> None:
        """Borrow of one fallback what is missing of one column, and note in its facts how."""
        wanted = self._missing[name] & ~self.has(name) & ~np.isnan(lent)
        if name == "rain" and not fallback.rain:
            self.rain_at_hand |= wanted
            return
        if not wanted.any():
            return
        asked = int((wanted & self._own.arranged.asked).sum())
        fit, measured = fit_of(known, lent, name=name), not np.isnan(known).all()
        if fallback.adjust and fit is None and measured:
            if asked:
                common = int((~np.isnan(known + lent)).sum())
                values = {"shown": fallback.shown, "common": common, "name": name, "least": LEAST_COMMON_DAYS}
                where = "weather.fallback.adjust"
                self.problems.append(problem("fallback-too-little-in-common", where, True, **values))
            return
        flag = borrowed_from(fallback.shown)
        self.values.loc[wanted, name] = (fit.applied(lent, name=name) if fit and fallback.adjust else lent)[wanted]
        self.flags.loc[wanted, name] = flag
        if fit is not None:
            self.fitted[name, flag] = fit.in_words(name, adjusted=fallback.adjust)
            facts["fit"][name] = {**fit._asdict(), "unit": FINISHED_UNITS[name], "applied": fallback.adjust}
        else:
            self.fitted[name, flag] = note("fit-too-few" if measured else "fit-nothing")
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
                self.left_out[name] = LeftOut(note("crossing"), frozenset(days_where(whole.index, wrong)))

    def _bound(self) -> None:
        """Bring what was borrowed within what the day allows, and say where that changed something."""
        whole = self.laid_over(self._own.daily)
        bounds = {
            "vapour_pressure": mean_saturation_vapour_pressure(*(column_or_nan(whole, n) for n in ("tmin", "tmax"))),
            "radiation": BRIGHTEST * self._own.inspected.sky.clear,
        }
        for name, most in bounds.items():
            over = self.has(name) & (self.values[name].to_numpy(float) > most + 1e-9)
            if count := int(over.sum()):
                self.values.loc[over, name] = most[over]
                self.notes.append(note(f"bounded-{name}", days=counted(count, "day"), brightest=BRIGHTEST))


def _lendable(read: CheckedFile, site: Site) -> dict[str, Floats]:
    """What a file has of each column that can be borrowed, without estimating any of it."""
    daily, in_file, inspected = read.daily, read.arranged.in_file, read.inspected
    known = known_days(daily)
    pressure, _ = humidity_of(daily, dry=False, in_file=in_file)["vapour_pressure"]
    light, _ = filled_radiation(daily, sky=inspected.sky, site=site, limited=inspected.limited, in_file=in_file)
    return {name: column_or_nan(daily, name) for name in BORROWED} | {
        "vapour_pressure": np.where(known["humidity"], pressure, np.nan),
        "radiation": np.where(known["radiation"], light, np.nan),
    }


def _lent_notes(fallback: Fallback, read: CheckedFile, counts: Mapping[str, int]) -> list[str]:
    if not counts:
        return [note("borrowed-nothing", shown=fallback.shown)]
    parts = ", ".join(f"{name} on {count}" for name, count in counts.items())
    notes = (f"fallback {fallback.shown}: {text}" for text in (*read.notes, *read.inspected.notes))
    return [note("borrowed-days", shown=fallback.shown, parts=parts, recognised=read.recognised), *notes]
