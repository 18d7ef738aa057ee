"""
Checks of a wind gauge: days and hours without wind, a bearing that rusts, and a wind that leaps.

After ASCE-EWRI (2005), Appendix D, and FAO-56 Annex 5: wind that is never nothing for a day (from memory). The thresholds were set on
genuine and invented records (tests/benchmarks/weather_checks.py): common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panbudget.numeric import Floats, Mask, longest
from panbudget.weather.checks.inspection import Doubt, Inspection, Verdict
from panbudget.weather.checks.sensors import ADDED, ENOUGH, OF_WINDOW, WINDOW, homogeneity

# days without wind: in a row, in all; a wind at 2 m over weeks that only a dead gauge has while it doesn't freeze [m/s]
_CALM_RUN, _CALM_DAYS, _DEAD = 3, 5, 0.12
# the weakest wind at 2 m on other days from which on the gauge may have stalled in weaker ones [m/s]
_STALLS = 1.0
# days of a season, and a wind at 2 m on the middling one that is a tenth of an ordinary one: the least of genuine seasons had 0.53 [d, m/s]
_OF_SEASON, _WEAK = 90, 0.3
# a wind's leap: days on either side at least, by how much the mean of the logarithms moves, how many times as much as they stray
# it moves (the homogeneity statistic a day), and the share of its own from which on it is gone [d, -, -, -]
_OF_WEEKS, _GUST, _STEADY, _GONE = 20, 0.5, 0.6, 0.1
# days of a month whose wind differs, or twice as many, and how many times as much or as little as before and after it: genuine ones
# reach 1.78 [d, -]
_MONTH, _TWICE_AS_FAST = 28, 2.0
# share of an hour's records with wind beside an hour that has none [-]
_BLOWS_BESIDE = 0.75
# the wind at 2 m of over 2000 stations (FAO-56 chapter 3, from memory), and how much nearer to it, by logarithms, a side is that is
# the better one for sure [m/s, -]
_USUAL_WIND, _AS_USUAL = 2.0, 0.5


def _wind_zero(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    wind = inspection.of_asked("wind")
    calm = (wind == 0.0) & (inspection.of_asked("tmax") > 0.0)
    first, length = longest(calm)
    if length >= _CALM_RUN or calm.sum() >= _CALM_DAYS:
        values = {"count": int(calm.sum()), "run": length, "first": inspection.day_asked(first)}
        ways = [_blowing(inspection, calm, wind)]
        if (least := wind[wind > 0.0].min(initial=np.inf)) < np.inf and least * inspection.wind_factor >= _STALLS:
            ways.append(inspection.with_asked(wind=np.where(calm, least / 2.0, wind)))
        yield Verdict(names, "wind-zero", values, ways)


def _wind_dead(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a wind that hardly blows for weeks on which it doesn't freeze (an anemometer may, then)."""
    wind = np.where(inspection.of_asked("tmax") > 0.0, inspection.of_asked("wind") * inspection.wind_factor, np.nan)
    middle = pd.Series(wind).rolling(WINDOW, min_periods=OF_WINDOW).median()
    if (middle < _DEAD).any() and (wind > 0.0).any():
        last = int(np.nanargmin(middle))
        values = {"low": float(middle[last]), "last": inspection.day_asked(last), "window": WINDOW}
        weak = (middle[::-1].rolling(WINDOW, min_periods=1).min()[::-1] < _DEAD).to_numpy()
        yield Verdict(names, "wind-dead", values, _blowing(inspection, weak, inspection.of_asked("wind")))
    elif (days := int((~np.isnan(wind)).sum())) >= _OF_SEASON and 0.0 < (low := float(np.nanmedian(wind))) < _WEAK:
        tenfold = inspection.with_asked(wind=10.0 * inspection.of_asked("wind"))
        left_out = _blowing(inspection, np.ones_like(wind, bool), wind)
        yield Verdict(names, "wind-dead/season", {"low": low, "days": days}, [tenfold, left_out])


def _wind_leap(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a wind that from a day on is faster or slower for good, as in another unit, or all but gone (SNHT)."""
    if any("wind" in way for said in inspection.cautions if said.name == "value-stuck" for way in said.instead):
        return
    wind = inspection.of_asked("wind") * inspection.wind_factor
    # days of nothing are told as such
    blows = (inspection.of_asked("tmax") > 0.0) & (wind > 0.0)
    by_size = np.where(blows, np.log(wind + ADDED["wind"]), np.nan)
    strength, row, moved = homogeneity(by_size, _OF_WEEKS)
    days = int((~np.isnan(by_size)).sum())
    if inspection.raw.typical or abs(moved) <= _GUST or strength <= _STEADY * days:
        yield from () if inspection.raw.typical else _windy_month(inspection, names, pd.Series(by_size))
        return
    before, after = (float(np.nanmedian(part)) for part in (wind[:row], wind[row:]))
    times = before / after if min(before, after) > _GONE * max(before, after) else np.nan
    ways = []
    for worse, by in ((slice(None, row), 1.0 / times), (slice(row, None), times)):
        values = inspection.of_asked("wind").copy()
        values[worse] *= by
        ways.append(_blowing(inspection, np.isnan(values), values))
    # the worse of the two sides is the one whose wind is farther from a usual one
    farther = np.diff([abs(np.log(max(middle, 1e-3) / _USUAL_WIND)) for middle in (before, after)])[0]
    instead = ways if abs(farther) < _AS_USUAL else ways[:1] if farther < 0.0 else ways[1:]
    words = {"before": before, "after": after, "first": inspection.day_asked(row)}
    yield Verdict(names, "wind-leap", words, instead)


def _windy_month(inspection: Inspection, names: list[str], by_size: pd.Series[float]) -> Iterator[Verdict]:
    """Doubt one month or two whose wind is a multiple of that before and of that after, or a small part, as in another unit."""
    month, doubts = by_size.rolling(_MONTH, min_periods=_OF_WEEKS).mean(), []
    for window in (_MONTH, 2 * _MONTH):
        inside = by_size.rolling(window, min_periods=window * _OF_WEEKS // _MONTH).mean().shift(1 - window)
        apart = np.array([inside - month.shift(), inside - month.shift(1 - _MONTH - window)])
        moved = np.nan_to_num(np.where((apart[0] > 0.0) == (apart[1] > 0.0), np.abs(apart).min(axis=0), 0.0))
        row = int(moved.argmax())
        doubts.append((float(moved[row]), float(np.exp(np.copysign(moved[row], apart[0, row]))), row, window))
    most, times, row, window = max(doubts)
    if most > np.log(_TWICE_AS_FAST):
        values = inspection.of_asked("wind").copy()
        values[row:][:window] /= times
        words = {"times": times, "first": inspection.day_asked(row), "window": window}
        yield Verdict(names, "wind-leap/between", words, inspection.with_asked(wind=values))


def _calm_hours(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt hours of the day that never have wind beside one that mostly has: wind rises and falls over hours."""
    by_hour = inspection.raw.by_hour
    calms = by_hour.calms if by_hour else np.zeros(0)
    never, mostly = calms == 1.0, calms <= 1.0 - _BLOWS_BESIDE
    if (never & (np.roll(mostly, 1) | np.roll(mostly, -1))).any():
        clock = " by the sun" if by_hour and by_hour.by_sun else ""
        hours = ", ".join(map(str, np.flatnonzero(never)))
        yield Verdict(names, "wind-calm-hours", {"hours": hours, "clock": clock, "share": 100.0 * _BLOWS_BESIDE})


def _blowing(inspection: Inspection, days: Mask, wind: Floats) -> dict[str, Floats]:
    """The wind with such days as the middling one of the others; as it would be filled in, where there is none."""
    middle = float(np.nanmedian(wind[~days])) if not np.isnan(wind[~days]).all() else np.nan
    return inspection.with_asked(wind=np.where(days, middle, wind))


#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Doubt, ...] = (
    Doubt("wind-zero", _wind_zero, ("wind",), ENOUGH, needs=("tmax",)),
    Doubt("wind-dead", _wind_dead, ("wind",), ENOUGH, needs=("tmax",)),
    Doubt("wind-leap", _wind_leap, ("wind",), 2 * _OF_WEEKS, needs=("tmax",)),
    Doubt("wind-calm-hours", _calm_hours, ("wind",), beside="by_hour"),
)
