"""
Heat: heat waves that a record holds, and one made up and laid over it.

Units: °C, mm, kPa, days. Works on the clean daily table and changes nothing in place. What a made-up heat wave leaves as
it was: wind, radiation and, unless asked otherwise, rain.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.errors import ScenarioError
from panbudget.extras import made_once
from panbudget.numeric import Floats, runs
from panbudget.physics import air
from panbudget.physics.evaporation import reference_evapotranspiration
from panbudget.scenario.garden import Heat
from panbudget.season import TEXTS, problem
from panbudget.weather import Weather
from panbudget.weather.flags import MADE_HEAT
from panbudget.weather.site import Site
from panbudget.words import day_said, joined, say

# what makes a heat wave; issue "Decide", and common practice, no source
LEAST_DAYS = 3
PERCENTILE = 95.0
WINDOW = 7  # days to each side of the calendar day
YEARS_WANTED = 10
# without ten years: the hottest tenth of the season's days, but nothing that nobody calls hot
SEASON_PERCENTILE = 90.0
LEAST_TMAX = 30.0  # °C

_TEXTS = TEXTS["heat"]


@dataclass(frozen=True)
class HeatWave:
    """
    One run of hot days.

    Parameters
    ----------
    start, end : date
        First and last day.
    days : int
    peak_c : float
        Highest Tmax. [°C]
    degree_days : float
        Tmax above the limit, added up. [°C·days]
    made : bool
        Made up, not in the record.
    """

    start: dt.date
    end: dt.date
    days: int
    peak_c: float
    degree_days: float
    made: bool = False


@dataclass(frozen=True)
class HeatWaves:
    """
    What was found, and by which rule.

    Parameters
    ----------
    waves : tuple of HeatWave
        In the order of their days.
    definition : str
        The rule, in a sentence, with its number.
    limit : Series
        Tmax above which a day is hot, by day. [°C]
    """

    waves: tuple[HeatWave, ...]
    definition: str
    limit: pd.Series[float]

    @property
    def greatest(self) -> HeatWave | None:
        """The wave with the most degree-days above the limit, the first of equals; None if there is no wave."""
        return max(self.waves, key=lambda wave: round(wave.degree_days, 9), default=None)


def find_heat_waves(daily: pd.DataFrame, start: dt.date, end: dt.date, *, hot_above: float | None = None) -> HeatWaves:
    """
    Find heat waves: three or more days in a row with Tmax above a limit.

    Parameters
    ----------
    daily : DataFrame
        The whole record: index of days, ``tmax`` [°C].
    start, end : date
        First and last day to look at.
    hot_above : float, optional
        A limit of the user's. [°C]

    Notes
    -----
    The limit is the user's; else the 95th percentile of Tmax on the same calendar days, seven to each side, when
    each of these windows holds days of ten years; else the season's own 90th percentile of Tmax, at least 30 °C,
    and there a day at the limit counts too. Percentiles interpolate linearly between ranks.
    """
    part = daily.loc[pd.Timestamp(start) : pd.Timestamp(end)]
    index, tmax = pd.DatetimeIndex(part.index), part["tmax"].to_numpy(float)
    limits = {"least_days": LEAST_DAYS, "years_wanted": YEARS_WANTED, "least_tmax": LEAST_TMAX, "window": WINDOW}
    rule, warmest_tenth, years = "given", np.nan, 0
    limit = np.full(len(part), np.nan if hot_above is None else hot_above)
    if hot_above is None:
        limit, years = _calendar_limit(daily, index)
        rule = "calendar" if years >= YEARS_WANTED else "season"
    if rule == "season":
        warmest_tenth = float(np.percentile(tmax, SEASON_PERCENTILE))
        limit = np.full(len(part), max(warmest_tenth, LEAST_TMAX))
    percentile = PERCENTILE if rule == "calendar" else SEASON_PERCENTILE
    values = {"low": limit.min(), "high": limit.max(), "own": warmest_tenth, "years": years, "percentile": percentile}
    # at a percentile of its own days, a wave of equal days would else rule itself out
    hot = tmax >= limit if rule == "season" else tmax > limit
    waves = list[HeatWave]()
    for first, after in runs(hot):
        if after - first >= LEAST_DAYS:
            days, warmth = index[first:after], tmax[first:after]
            beyond = float((warmth - limit[first:after]).sum())
            waves.append(HeatWave(days[0].date(), days[-1].date(), len(days), float(warmth.max()), beyond))
    definition = say(_TEXTS["wave"] + _TEXTS[rule], **limits, **values)
    return HeatWaves(tuple(waves), definition, pd.Series(limit, index=index, name="limit_c"))


def _calendar_limit(daily: pd.DataFrame, wanted: pd.DatetimeIndex) -> tuple[Floats, int]:
    """Percentile of each day's calendar window, and how many years the poorest window holds."""
    index, tmax = pd.DatetimeIndex(daily.index), daily["tmax"].to_numpy(float)
    of_year, years, asked = _day_of_common_year(index), index.year.to_numpy(), _day_of_common_year(wanted)
    limit, held = np.empty(len(asked)), []
    for day in np.unique(asked):
        away = np.abs(of_year - day)
        near = np.minimum(away, 365 - away) <= WINDOW
        limit[asked == day] = float(np.percentile(tmax[near], PERCENTILE))
        # about New Year a winter's days are those of two years: neither their years nor their winters may be fewer
        winters = years[near] + np.round((of_year[near] - day) / 365.0)
        held.append(min(len(np.unique(years[near])), len(np.unique(winters))))
    return limit, min(held)


def _day_of_common_year(index: pd.DatetimeIndex) -> Floats:
    """Day of the year with 29 February counted as 28 February, so that calendar days of all years meet."""
    day, leap = index.dayofyear.to_numpy(), index.is_leap_year
    return np.asarray(np.where(leap & (day >= 60), day - 1, day), dtype=np.float64)


def said(heat: Heat) -> str:
    """Say what a made-up heat wave is."""
    rain = "without rain" if heat.without_rain else "rain as it was"
    text: str = _TEXTS["made"]
    return say(text, days=heat.days, start=day_said(heat.start), warmer=heat.warmer, rain=rain)


def made_wave(daily: pd.DataFrame, heat: Heat) -> HeatWave:
    """Return the made wave as a wave; ``daily`` is the table with it laid over."""
    days = _days_of(daily, heat)
    peak = float(daily.loc[days, "tmax"].max())
    return HeatWave(days[0].date(), days[-1].date(), len(days), peak, heat.warmer * len(days), made=True)


def add_heat(daily: pd.DataFrame, heat: Heat, *, latitude: float, elevation: float) -> pd.DataFrame:
    """
    Lay a made-up heat wave over a clean daily table.

    Parameters
    ----------
    daily : DataFrame
        As `Weather.daily`.
    heat : Heat
        When, how long, how much warmer.
    latitude : float
        [degrees]
    elevation : float
        [m]

    Returns
    -------
    DataFrame
        A new table. On the wave's days Tmin and Tmax are higher by the same; vapour pressure, and so the dew point, is
        as it was, and relative humidity falls with the saturation vapour pressure (FAO-56 eq. 10, 11): the minimum
        at Tmax, the mean over Tmin and Tmax. A measured pan evaporation rises as ETo does.
    """
    made, days, warmer = daily.copy(), _days_of(daily, heat), heat.warmer
    made.attrs = dict(daily.attrs)
    tmin, tmax, least, mean = (daily.loc[days, name].to_numpy(float) for name in ("tmin", "tmax", "rh_min", "rh_mean"))
    at_tmax = air.saturation_vapour_pressure(tmax) / air.saturation_vapour_pressure(tmax + warmer)
    saturated = air.mean_saturation_vapour_pressure
    made.loc[days, "tmin"], made.loc[days, "tmax"] = tmin + warmer, tmax + warmer
    made.loc[days, "rh_min"] = least * at_tmax
    made.loc[days, "rh_mean"] = mean * (saturated(tmin, tmax) / saturated(tmin + warmer, tmax + warmer))
    if heat.without_rain:
        made.loc[days, "rain"] = 0.0
    if "pan_evaporation" in daily:
        place, both = {"latitude": latitude, "elevation": elevation}, (daily.loc[days], made.loc[days])
        before, after = (reference_evapotranspiration(table, **place).to_numpy(float) for table in both)
        ratio = np.divide(after, before, out=np.ones(len(days)), where=before > 0.0)
        made.loc[days, "pan_evaporation"] = daily.loc[days, "pan_evaporation"].to_numpy(float) * ratio
    return made


def with_heat(
    weather: Weather, heat: Heat, site: Site, *, file: str = "", of: tuple[dt.date, dt.date] | None = None
) -> Weather:
    """
    Lay a made-up heat wave over a weather record, and flag each value that it changed.

    Parameters
    ----------
    weather : Weather
    heat : Heat
    site : Site
        Latitude and elevation.
    file : str
        The scenario's, for the message.
    of : (date, date), optional
        First and last day of what is replayed: where the whole wave lies outside them, the weather's notes say so.

    Returns
    -------
    Weather
        A new one; the same if this very heat is in it already.

    Raises
    ------
    ScenarioError
        No day of it lies in the record.
    """
    days = _days_of(weather.daily, heat)
    if not len(days):
        held = dict(zip(("first", "last"), (day.date() for day in weather.daily.index[[0, -1]]), strict=True))
        facts = {"start": heat.start, "days": heat.days, "file": weather.provenance.get("file", ""), **held}
        raise ScenarioError(problem("outside-record", "what_if.heat.start", heat.start, **facts), file=file)
    if (weather.flags.loc[days, "tmax"] == MADE_HEAT).all():
        return weather
    # one wave is tried with many gardens; a table that somebody changed in place is another one
    text = said(heat)
    if of is not None and (days[-1].date() < of[0] or of[1] < days[0].date()):
        text = joined("", (text, _TEXTS["beside"].format(first=day_said(of[0]), last=day_said(of[1]))))
    key = (text, heat.model_dump_json(), site.model_dump_json(), hash(weather.daily.to_numpy().tobytes()))
    return made_once(weather, key, lambda: _heated(weather, heat, site, days, text))


def _heated(weather: Weather, heat: Heat, site: Site, days: pd.DatetimeIndex, what: str) -> Weather:
    changed = {"tmin", "tmax", "rh_mean", "rh_min", "pan_evaporation", *(["rain"] if heat.without_rain else [])}
    flags = weather.flags.astype(object)
    flags.loc[days, [name for name in flags if name in changed]] = MADE_HEAT
    text = say("the weather holds {what}", what=what)
    return dataclasses.replace(
        weather,
        daily=add_heat(weather.daily, heat, latitude=site.latitude, elevation=site.elevation),
        flags=flags,
        provenance={**weather.provenance, "assumptions": [text, *weather.provenance["assumptions"]]},
        notes=(text, *weather.notes),
    )


def hottest_run(tmax: npt.ArrayLike, length: int) -> slice:
    """
    Return the days in a row of the highest mean, the first of equals.

    Parameters
    ----------
    tmax : array_like (days,)
        [°C]
    length : int
        How many days; all of them where they are fewer.
    """
    length = min(length, np.size(tmax))
    means = np.convolve(np.asarray(tmax, float), np.full(length, 1.0 / length), mode="valid")
    # sums of equal days differ in the last bit, which must not choose the run
    first = int(np.argmax(np.round(means, 9)))
    return slice(first, first + length)


def _days_of(daily: pd.DataFrame, heat: Heat) -> pd.DatetimeIndex:
    last = pd.Timestamp(heat.start) + dt.timedelta(days=heat.days - 1)
    return pd.DatetimeIndex(daily.loc[pd.Timestamp(heat.start) : last].index)
