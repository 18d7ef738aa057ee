"""
Spells: what of a season's record is most unlike the rest of it, told as a fact: no check doubts it, and nothing is changed.

For each quantity the run of days, three or more, that least squares set apart best from the rest: an additional step in the series,
of which both ends are free (the "epidemic" alternative of change-point statistics, from memory). Temperature is seen beside the
year's wave, radiation beside what the day's range of temperature lets expect, as in FAO-56 eq 50; wind, radiation and a wet day's rain
go by factors. Whether a spell is weather or a fault, only a station near by can tell. Bounds were set on some 220 sound seasons.

Units: °C, %, m/s at 2 m, mm. Knows no files and no sentences.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple

import numpy as np
import pandas as pd

from panbudget.numeric import Floats, Mask
from panbudget.physics.evaporation import reference_evapotranspiration
from panbudget.weather.checks.sky import BRIGHTEST
from panbudget.weather.site import sky_of
from panbudget.weather.text.raw import ByHour

# known days below which nothing is said, and wet ones among them below which nothing is of their rain and no dry spell is clear; days
# of a spell at least, and most of the known ones [d, d, d, -]
_ENOUGH, _WET, _SHORTEST, _LONGEST = 45, 10, 3, 0.75
# the share of a series' spread that its spell explains, from which it is clear (in 1 of 10 sound seasons' series), and that a
# straight line over the season does, from which it is told (in 1 of 40) [-]
_CLEAR, _DRIFTS = 1.0 / 3.0, 0.25
# days of which the brightest tells a drift of light, blocks of them, its logarithm over the season, and the share of the blocks' spread
# that a straight line explains (so much in 1 of 64 sound seasons) [d, -, -, -]
_TOP_OF, _TOPS, _TOPS_MOVE, _TOPS_DRIFT = 10, 6, 0.12, 0.5
# what a clear spell is worth: a share of the season's ETo; a share of its rain and a depth [-, -, mm]
_OF_ETO, _OF_RAIN, _DEPTH = 0.02, 0.2, 10.0
# below which a day is dry [mm], and how many times the next dry spell the longest is, to be clear
_DRY, _TIMES_NEXT = 0.1, 2.0
# the least of what goes by factors: calm [m/s], the darkest sky's share of a clear one's, and that of the least sun [-, MJ/m²]
_CALM, _DARK, _SUN = 0.1, 0.03, 1.0
# a spread, a square or a size that is nothing but rounding [-]
_ALIKE = 1e-6
# the wave of the year that temperature follows: days of a year
_YEAR = 365.25
# share of night's or day's hours that are still, or of the day's hours that never have rain, from which it is told, and records
# that make an hour's share known [-, -]
_OFTEN, _RECORDS = 1.0 / 3.0, 20
# a least wind above nothing that no gauge in order has: the 3 knots below which stations report calm are 1.5 m/s [m/s]
_STARTS = 2.0
# records with rain, so that an hour of the day without any is no chance [-]
_RAINS = 100


class Spell(NamedTuple):
    """
    The spell of one quantity that is most unlike the rest.

    ``quantity``: "temperature", "tmax" or "tmin" (by whichever the range between them changes), "humidity", "wind", "radiation", "wet"
    (rain of a wet day) or "dry" (the longest spell without rain), or one of these with "-drift": the season's last third beside the
    first ("radiation-tops-drift": of the brightest of each ten days). ``first``, ``last`` and known ``days``; their ``mean`` and what
    it would be like the ``rest``, in ``unit``; what the spell adds to the season's ETo, or to its rain (``of``): ``worth_mm`` [mm]
    and ``worth_share`` of it [-]; ``clear``: whether it stands out by far and matters.
    """

    quantity: str
    first: str
    last: str
    days: int
    mean: float
    rest: float
    unit: str
    of: str
    worth_mm: float
    worth_share: float
    clear: bool


class Still(NamedTuple):
    """
    Hours of the day in which a gauge of records often or always stands still, on the days looked at.

    ``quantity``: "wind" or "rain"; ``night`` and ``day``: share of the records that have none, by night and by day (18 to 6 h) [-];
    ``hours``: the hours of the day without any; ``least``: the least figure above nothing [m/s or mm]; ``by_sun``: whether hours
    are the sun's.
    """

    quantity: str
    night: float
    day: float
    hours: tuple[int, ...]
    least: float
    by_sun: bool


def spells(daily: pd.DataFrame, known: Mapping[str, Mask], *, latitude: float, elevation: float) -> list[Spell]:
    """
    Tell which spell of each quantity is most unlike the rest of the days.

    Parameters
    ----------
    daily : DataFrame
        Finished days of one season, as `Weather.daily`.
    known : mapping
        Column -> the days on which it was measured; what was filled in tells nothing of a sensor.
    latitude, elevation : float
        Of the place. [degrees, m]

    Returns
    -------
    list of Spell
        None of a quantity that is constant or of which too few days are known.
    """
    place, index = {"latitude": latitude, "elevation": elevation}, pd.DatetimeIndex(daily.index)
    clear, total = sky_of(index, **place).clear, float(reference_evapotranspiration(daily, **place).sum())
    told = []
    for quantity, (columns, unit, by_factor, drifts, look) in _QUANTITIES.items():
        rows = np.flatnonzero(np.all([known[name] for name in columns], axis=0) & (clear > _SUN))
        if rows.size < _ENOUGH:
            continue
        values, beside, without = look(daily.iloc[rows], clear[rows])
        series = np.log(values) if by_factor else values
        runs = [(quantity, _spell(series, beside))] + [(f"{quantity}-drift", _drift(series, beside))] * drifts
        if quantity == "radiation" and runs[-1][1] is None:
            runs[-1] = "radiation-tops-drift", _drift_of_tops(series)
        for name, run in runs:
            if run is None:
                continue
            first, after, change, share = run
            figures = without(change)
            if quantity == "range":  # told of the one that changes
                name, values = next((column, daily[column].to_numpy(float)[rows]) for column in figures)
                change = values - figures[name]
            other = {column: daily[column].to_numpy(float, copy=True) for column in figures}
            for column, values_of in figures.items():
                other[column][rows] = values_of
            worth = total - float(reference_evapotranspiration(daily.assign(**other), **place).sum())
            of_total = worth / total if total > 0.0 else 0.0
            if drifting := name.endswith("-drift"):
                shown = _tops(values) if name.startswith("radiation-tops") else values
                thirds = slice(-shown.size // 3, None), slice(shown.size // 3)
                mean, rest = (float(shown[third].mean()) for third in thirds)
            else:
                mean, by = (float(part[first:after].mean()) for part in (values, change))
                rest = mean / float(np.exp(by)) if by_factor else mean - by
            begins, ends = (str(index[rows[at]].date()) for at in (first, after - 1))
            far = (drifting or share >= _CLEAR) and abs(of_total) >= _OF_ETO
            told.append(Spell(name, begins, ends, after - first, mean, rest, unit, "ETo", worth, of_total, far))
    return told + list(_rain(daily["rain"].to_numpy(float), known["rain"], index))


def _spell(series: Floats, beside: Floats) -> tuple[int, int, Floats, float] | None:
    """
    Set the run of days apart that least squares do best, whatever else the series follows.

    Returns
    -------
    tuple or None
        Its first day and the one after its last, by how much each day is changed by it, and the share of the spread that this
        explains; None of a series that has no spread.
    """
    count, base, left = series.size, *_left_of(series, beside)
    spread, best = float(left @ left), (0.0, 0, 0, 0.0)
    along, of_base = (np.concatenate([0.0 * part[:1], part.cumsum(axis=0)]) for part in (left, base))
    for first in range(count if spread > _ALIKE * count else 0):
        # one that begins or ends with the season sets the other days apart, too: of the two the shorter is the spell
        most = int((_LONGEST if first else 0.5) * count)
        ends = slice(first + _SHORTEST, first + most + 1)
        # the step over each run, less what the series follows: its square, and along with the series
        length = np.arange(_SHORTEST, _SHORTEST + along[ends].size)
        square = length - ((of_base[ends] - of_base[first]) ** 2).sum(axis=1)
        product = along[ends] - along[first]
        may_be = (square > _ALIKE * count) & ((first + length < count) | (length <= 0.5 * count))
        explained = np.where(may_be, product**2, 0.0) / np.where(may_be, square, 1.0)
        if explained.size and explained.max() > best[0]:
            at = int(explained.argmax())
            best = float(explained[at]), first, first + int(length[at]), float(product[at] / square[at])
    explains, first, after, step = best
    if not explains:
        return None
    days = np.arange(count)
    return first, after, np.where((days >= first) & (days < after), step, 0.0), explains / spread


def _drift(series: Floats, beside: Floats) -> tuple[int, int, Floats, float] | None:
    """Return what a straight line over all days changes on each of them since the first, as `_spell`; None if it explains little."""
    line = np.linspace(0.0, 1.0, series.size)
    left, slope = (_left_of(of, beside)[1] for of in (series, line))
    spread, product, square = float(left @ left), float(slope @ left), float(slope @ slope)
    share = product**2 / (square * spread) if min(square, spread) > _ALIKE * series.size else 0.0
    return (0, series.size, product / square * line, share) if share >= _DRIFTS else None


def _tops(series: Floats) -> Floats:
    """Return the brightest of each ten days, which clouds leave alone."""
    whole = series[: series.size // _TOP_OF * _TOP_OF]
    return np.asarray(whole.reshape(-1, _TOP_OF).max(axis=1))


def _drift_of_tops(series: Floats) -> tuple[int, int, Floats, float] | None:
    """Return the drift of the brightest days, as `_drift`; None if there is little of it."""
    tops = _tops(series)
    if tops.size < _TOPS or np.ptp(tops) < _ALIKE:
        return None
    along = np.linspace(0.0, 1.0, tops.size)
    by, share = float(np.polyfit(along, tops, 1)[0]), float(np.corrcoef(along, tops)[0, 1]) ** 2
    line = by * np.linspace(0.0, 1.0, series.size)
    return (0, series.size, line, share) if abs(by) >= _TOPS_MOVE and share >= _TOPS_DRIFT else None


def _left_of(series: Floats, beside: Floats) -> tuple[Floats, Floats]:
    """Return what a series follows, as columns at right angles (days, n), and what it leaves of the series. (days,)"""
    base, size, _ = np.linalg.svd(beside, full_matrices=False)
    base = base[:, size > _ALIKE * size[0]]
    return base, series - base @ (base.T @ series)


def _rain(rain: Floats, known: Mask, index: pd.DatetimeIndex) -> Iterator[Spell]:
    """Tell the spell whose wet days have another rain than the rest, and the longest without rain."""
    total, wet = float(rain[known].sum()), np.flatnonzero(known & (rain > 0.0))
    if known.sum() < _ENOUGH or not wet.size:
        return
    amounts, enough = rain[wet], wet.size >= _WET
    if enough and (run := _spell(np.log(amounts), np.ones((wet.size, 1)))):
        first, after, _, share = run
        mean, rest = float(amounts[first:after].mean()), float(np.delete(amounts, np.r_[first:after]).mean())
        worth = (mean - rest) * (after - first)
        yield _of_rain(
            "wet", index[wet[[first, after - 1]]], after - first, (mean, rest), worth, total, share >= _CLEAR
        )
    ends = np.flatnonzero(np.r_[True, ~(known & (rain < _DRY)), True])
    gaps = np.diff(ends) - 1
    longest, days = int(gaps.argmax()), int(gaps.max())
    if days >= _SHORTEST:
        next_one = np.delete(gaps, longest).max(initial=0)
        first, rate = int(ends[longest]), total / float(known.sum() - days)
        span = index[[first, first + days - 1]]
        far = enough and days >= _TIMES_NEXT * next_one
        yield _of_rain("dry", span, days, (0.0, rate * days), -rate * days, total, far)


def _of_rain(
    quantity: str, span: pd.DatetimeIndex, days: int, means: tuple[float, float], worth: float, total: float, far: bool
) -> Spell:
    first, last = (str(day.date()) for day in span)
    matters = abs(worth) >= max(_DEPTH, _OF_RAIN * total)
    return Spell(quantity, first, last, days, *means, "mm", "rain", worth, worth / total, bool(far and matters))


# what each sees in known days, whose clear sky is given: a quantity's values, what else they follow (days, n), and by their change
# the columns that they would have without it
Looked = tuple[Floats, Floats, Callable[[Floats], dict[str, Floats]]]


def _temperature(daily: pd.DataFrame, clear: Floats) -> Looked:
    low, high = (daily[name].to_numpy(float) for name in ("tmin", "tmax"))
    return (low + high) / 2.0, _wave(daily), lambda change: {"tmin": low - change, "tmax": high - change}


def _range(daily: pd.DataFrame, clear: Floats) -> Looked:
    low, high = (daily[name].to_numpy(float) for name in ("tmin", "tmax"))
    by_low, by_high = (_left_of(of, _wave(daily))[1] for of in (low, high))

    def without(change: Floats) -> dict[str, Floats]:
        if abs(change @ by_low) > abs(change @ by_high):
            return {"tmin": np.minimum(low + change, high)}
        return {"tmax": np.maximum(high - change, low)}

    return high - low, np.ones((len(daily), 1)), without


def _wave(daily: pd.DataFrame) -> Floats:
    """Return the wave of the year. (days, 3)"""
    angle = 2.0 * np.pi * pd.DatetimeIndex(daily.index).dayofyear.to_numpy() / _YEAR
    return np.column_stack([np.ones(len(daily)), np.cos(angle), np.sin(angle)])


def _humidity(daily: pd.DataFrame, clear: Floats) -> Looked:
    humidity, pressure = (daily[name].to_numpy(float) for name in ("rh_mean", "vapour_pressure"))

    def without(change: Floats) -> dict[str, Floats]:
        return {"vapour_pressure": pressure * np.clip(humidity - change, 1.0, 100.0) / humidity}

    return humidity, np.ones((len(daily), 1)), without


def _wind(daily: pd.DataFrame, clear: Floats) -> Looked:
    wind = daily["wind"].to_numpy(float)
    return np.maximum(wind, _CALM), np.ones((len(daily), 1)), lambda change: {"wind": wind * np.exp(-change)}


def _radiation(daily: pd.DataFrame, clear: Floats) -> Looked:
    light, swing = daily["radiation"].to_numpy(float), (daily["tmax"] - daily["tmin"]).to_numpy(float)
    beside = np.column_stack([np.ones(len(daily)), np.log(np.maximum(swing, 1.0))])

    def without(change: Floats) -> dict[str, Floats]:
        return {"radiation": np.minimum(light * np.exp(-change), np.maximum(BRIGHTEST * clear, light))}

    return np.maximum(light / clear, _DARK) * 100.0, beside, without


# quantity -> the columns that must be known, its unit, whether it goes by factors, whether it may drift, and what looks at it
_QUANTITIES: dict[str, tuple[tuple[str, ...], str, bool, bool, Callable[[pd.DataFrame, Floats], Looked]]] = {
    "temperature": (("tmin", "tmax"), "°C", False, False, _temperature),
    "range": (("tmin", "tmax"), "°C", False, False, _range),
    "humidity": (("rh_mean", "vapour_pressure"), "%", False, True, _humidity),
    "wind": (("wind",), "m/s at 2 m", True, True, _wind),
    "radiation": (("radiation", "tmin", "tmax"), "% of a clear sky's", True, True, _radiation),
}


def still(by_hour: ByHour, first: pd.Timestamp, last: pd.Timestamp) -> list[Still]:
    """
    Tell when gauges of records stand still more often than a third of the time, or at hours of the day always.

    Parameters
    ----------
    by_hour : ByHour
        Of the file.
    first, last : Timestamp
        The days looked at, by the sun.
    """
    moving, told = by_hour.moving, []
    hour = moving.index.to_numpy()
    here = (hour >= first.timestamp() // 3600) & (hour < last.timestamp() // 3600 + 24)
    for name in map(str, moving.columns):
        values, of_day = moving[name].to_numpy(float)[here], hour[here] % 24
        known = ~np.isnan(values)
        moves, of_day = values[known] > 0.0, of_day[known]
        counts, nothing = (np.bincount(of, minlength=24).astype(float) for of in (of_day, of_day[~moves]))
        night = np.isin(np.arange(24), np.arange(6, 18), invert=True)
        if not moves.any() or not (counts >= _RECORDS).all() or (name == "rain" and moves.sum() < _RAINS):
            continue
        at_night, by_day = (float(nothing[of].sum() / counts[of].sum()) for of in (night, ~night))
        hours = tuple(map(int, np.flatnonzero(nothing == counts)))
        least = float(values[known][moves].min())
        stands = name == "wind" and (hours or max(at_night, by_day) > _OFTEN or (least >= _STARTS and not moves.all()))
        if stands or len(hours) > _OFTEN * 24:
            told.append(Still(name, at_night, by_day, hours, least, by_hour.by_sun))
    return told
