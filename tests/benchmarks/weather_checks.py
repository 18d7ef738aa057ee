"""
What the checks of a weather file see, and how often they cry wolf: `python tests/benchmarks/weather_checks.py`.

Sound records, genuine and invented, are looked over as they are, season by season; then each is damaged in each of the ways
that `DAMAGES` lists, on twelve seasons of as many records as there are, and looked over again. Genuine: those that
`weather_records.py` finds. Never a test, like `run.py` beside it.
"""

from __future__ import annotations

import datetime as dt
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from tests.benchmarks.weather_records import Record, genuine, table_of  # noqa: E402
from tests.weather.sites import Site  # noqa: E402

from panbudget.errors import WeatherError  # noqa: E402
from panbudget.physics import air  # noqa: E402
from panbudget.weather.checks.inspection import Inspection  # noqa: E402
from panbudget.weather.checks.plausibility import inspect_values  # noqa: E402
from panbudget.weather.site import sky_of  # noqa: E402
from panbudget.weather.text.raw import RawTable  # noqa: E402

UNNAMED, SEED = "no unit named", 15  # the seed chooses which seasons are damaged
SEASON = 120  # days of a season: three a year, none of which share a day


def raw_of(days: pd.DataFrame, *, unnamed: str = "") -> RawTable:
    """Return days as a table whose units are all stated, which must switch off nothing, but for one column's."""
    named = frozenset(days.columns) - {unnamed}
    return RawTable(days, tuple(range(1, len(days) + 1)), "", dict.fromkeys(named, "as stated"), named)


def seen(table: RawTable, site: object, asked: np.ndarray, factor: float = 1.0, **options: object) -> set[str]:
    """Return the codes of what the checks refuse or caution about in a season."""
    sky = sky_of(pd.DatetimeIndex(table.daily.index), latitude=site.latitude, elevation=site.elevation)
    inspection = Inspection(table.daily.copy(), asked, table, sky, site, wind_factor=factor, too_bright="limit")
    inspect_values(inspection)
    return {p.code for p in inspection.problems} | {c.name for c in getattr(inspection, "cautions", ())}


# --- invented records


class Climate(NamedTuple):
    """What a climate is made of: the year's mean and swing, the day's [°C], its dampness, wind [m/s], rain, cloud."""

    latitude: float
    elevation: float
    mean: float
    swing: float
    day: float
    dry: float  # how far the dew point lies below the minimum [°C]
    wind: float
    wet_days: float
    rain: float
    cloud: float
    monsoon: float = 0.0


CLIMATES = {
    "Mediterranean": Climate(38.0, 200.0, 16.5, 8.5, 11.0, 3.0, 2.2, 0.2, 7.0, 0.25),
    "temperate": Climate(51.0, 60.0, 10.0, 7.0, 8.0, 1.0, 2.8, 0.45, 4.0, 0.5),
    "continental": Climate(47.0, 300.0, 7.0, 15.0, 10.0, 2.0, 2.6, 0.3, 5.0, 0.4),
    "polar": Climate(69.0, 20.0, -4.0, 12.0, 6.0, 1.5, 3.0, 0.4, 2.0, 0.55),
    "monsoon": Climate(19.0, 50.0, 26.5, 3.5, 8.0, 1.0, 2.0, 0.3, 14.0, 0.35, 1.0),
    "desert": Climate(31.0, 350.0, 23.0, 10.0, 15.0, 9.0, 2.6, 0.03, 5.0, 0.1),
    "mountain": Climate(40.0, 2600.0, 4.0, 9.0, 13.0, 3.0, 2.4, 0.3, 4.0, 0.3),
    "southern": Climate(-34.0, 150.0, 17.0, 6.0, 10.0, 2.5, 2.4, 0.3, 7.0, 0.3),
    "equator": Climate(1.0, 30.0, 26.5, 0.6, 7.0, 0.5, 1.2, 0.5, 12.0, 0.45),
    "island": Climate(28.0, 40.0, 21.0, 3.5, 6.0, 2.0, 3.6, 0.15, 6.0, 0.3),
}


def invent(climate: Climate, seed: int, years: int = 3, *, whole: bool = False) -> pd.DataFrame:
    """Invent days: a year's march, weather that lasts some days, rain that cools, clouds and damps; printed as stations do."""
    rng = np.random.default_rng(seed)
    days = pd.date_range("2010-01-01", periods=365 * years + 1, name="date")
    n, doy = len(days), days.day_of_year.to_numpy()
    south = -1.0 if climate.latitude < 0.0 else 1.0
    season = south * -np.cos(2.0 * np.pi * (doy - 20) / 365.25)

    def lasting(size: float, share: float) -> np.ndarray:
        noise = rng.normal(0.0, size * np.sqrt(1.0 - share**2), n)
        return _chained(noise, share)

    wet_share = np.clip(climate.wet_days * (1.0 + climate.monsoon * 1.9 * np.tanh(2.0 * (season - 0.1))), 0.01, 0.9)
    front = lasting(1.0, 0.6)
    wet = front > np.sqrt(2.0) * _quantile(1.0 - wet_share)
    rain = np.where(wet, rng.gamma(0.7, climate.rain / 0.7, n) + 0.2, 0.0)
    cloud = np.clip(
        climate.cloud + 0.3 * wet - 0.12 * ~wet + rng.normal(0.0, 0.15, n) + 0.35 * (wet_share - climate.wet_days),
        0.0,
        0.95,
    )
    mean = climate.mean + climate.swing * season + lasting(2.2 + climate.swing / 6.0, 0.75) - 1.0 * wet
    span = np.maximum(climate.day * (1.25 - 0.9 * cloud) + rng.normal(0.0, 1.2, n), 0.8)
    tmin, tmax = mean - 0.48 * span, mean + 0.52 * span
    dew = tmin - np.maximum(climate.dry * (1.2 - 1.1 * wet) + rng.normal(0.0, 1.2, n), -1.5)
    dew = np.minimum(dew, tmin + 1.5)
    ea = air.saturation_vapour_pressure(dew)
    rh_max = np.minimum(100.0 * ea / air.saturation_vapour_pressure(tmin) * rng.normal(1.0, 0.02, n), 100.0)
    rh_min = np.minimum(100.0 * ea / air.saturation_vapour_pressure(tmax) * rng.normal(1.0, 0.03, n), rh_max)
    wind = climate.wind * rng.gamma(6.0, 1.0 / 6.0, n) * (1.0 + 0.15 * lasting(1.0, 0.5)).clip(0.3)
    clear = sky_of(days, latitude=climate.latitude, elevation=climate.elevation).clear
    radiation = clear * np.clip(rng.normal(1.0, 0.015, n) - 0.75 * cloud**1.5, 0.08, 1.04)
    grain = 0 if whole else 1
    table = {
        "tmin": tmin.round(grain),
        "tmax": np.maximum(tmax, tmin).round(grain),
        "rh_max": rh_max.round(0),
        "rh_min": np.minimum(rh_min, rh_max).round(0),
        "wind": wind.round(1),
        "rain": rain.round(1),
        "radiation": radiation.round(1),
    }
    return pd.DataFrame(table, index=days)


def _chained(noise: np.ndarray, share: float) -> np.ndarray:
    out = np.zeros_like(noise)
    for day in range(1, len(noise)):
        out[day] = share * out[day - 1] + noise[day]
    return out


def _quantile(share: np.ndarray) -> np.ndarray:
    """The normal distribution's quantile, near enough (logistic)."""
    return np.log(share / (1.0 - share)) / 1.702 / np.sqrt(2.0)


def invented(copies: int = 4) -> Iterator[Record]:
    """Invent some stations of each climate."""
    for name, climate in CLIMATES.items():
        for copy in range(copies):
            days = invent(climate, 100 * copy + len(name), whole=copy == 3)
            yield Record(f"{name} {copy}", "invented", Site(climate.latitude, climate.elevation, 0.0), None, days)


# --- damages: each changes the days of a season in place, or gives None where a record lacks what it takes

Damage = Callable[[pd.DataFrame, slice, Record], pd.DataFrame | None]


def _changed(columns: tuple[str, ...], change: Callable[[pd.Series], object], *, late: bool = False) -> Damage:
    """Make a damage that changes all of these columns throughout, or from the middle of the season on."""

    def damage(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
        here = [name for name in columns if name in days]
        start = season.start + SEASON // 2 if late else season.start
        for name in here:
            place = days.columns.get_loc(name)
            days.iloc[start : season.stop, place] = change(days[name].iloc[start : season.stop])
        return days if here else None

    return damage


def _on(columns: tuple[str, ...], first: int, count: int, value: float | None) -> Damage:
    """Make a damage that puts a value on some days in a row; None repeats the first day's."""

    def damage(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
        here = [name for name in columns if name in days]
        for name in here:
            place, start = days.columns.get_loc(name), season.start + first
            days.iloc[start : start + count, place] = days.iloc[start, place] if value is None else value
        return days if here else None

    return damage


def _fahrenheit(column: pd.Series) -> pd.Series:
    return (column * 1.8 + 32.0).round(0)


def _sums(window: str) -> Damage:
    def damage(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
        if "rain" not in days:
            return None
        part = days["rain"].iloc[season].fillna(0.0)
        if window == "running":
            new = part.cumsum()
        elif window == "slip":
            new = part.cumsum()
            new.iloc[SEASON // 3] = 0.0
            new.iloc[2 * SEASON // 3 :] -= new.iloc[2 * SEASON // 3] - 0.2
        elif window == "sliding":
            new = part.rolling(7, min_periods=1).sum()
        else:
            totals = part.resample("W-SUN" if window == "week" else "ME").sum()
            new = totals.reindex(part.index, fill_value=0.0)
        days.iloc[season, days.columns.get_loc("rain")] = new.round(1).to_numpy()
        return days

    return damage


def _in_the_sun(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    spans = (days["tmax"] - days["tmin"]).iloc[season]
    days.iloc[season, days.columns.get_loc("tmax")] += (0.8 * spans).to_numpy()
    return days


def _net(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    return _changed(("radiation",), lambda column: np.maximum(0.77 * column - 3.0, 0.1))(days, season, record)


def _fading(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    return _changed(("radiation",), lambda column: column * np.linspace(1.0, 0.55, len(column)))(days, season, record)


def _copied(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    start = season.start
    days.iloc[start + 61 : start + 91] = days.iloc[start + 30 : start + 60].to_numpy()
    return days


def _in_turn(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    places = [days.columns.get_loc(name) for name in ("tmin", "tmax")]
    days.iloc[season.start : season.stop : 2, places] -= 8.0
    return days


def _in_turn_nothing(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    if "wind" not in days:
        return None
    days.iloc[season.start : season.stop : 2, days.columns.get_loc("wind")] = 0.0
    return days


def _dew_exchanged(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    if not {"rh_max", "rh_min"} <= set(days.columns):
        return None
    ea = air.vapour_pressure_from_rh_max_min(
        *(days[name].to_numpy() for name in ("rh_max", "rh_min")),
        **{name: days[name].to_numpy() for name in ("tmin", "tmax")},
    )
    log = np.log(np.maximum(ea, 0.01) / 0.6108)
    dew = 237.3 * log / (17.27 - log)
    days = days[[name for name in days if name not in ("rh_max", "rh_min", "vapour_pressure")]].copy()
    return days.assign(dew_point=days["tmin"], tmin=np.minimum(dew, days["tmax"]))


def _sunny_sensor(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    """The same of a sensor of both temperature and humidity, whose vapour is right."""
    before = days["tmax"].iloc[season].to_numpy()
    days = _in_the_sun(days, season, record)
    if "rh_min" in days:
        share = air.saturation_vapour_pressure(before) / air.saturation_vapour_pressure(days["tmax"].iloc[season])
        days.iloc[season, days.columns.get_loc("rh_min")] *= share
    return days


def _slipping(window: int) -> Damage:
    """Sum rain up over a window of days, the third of which is read a day late and the fourth a day early."""

    def damage(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
        if "rain" not in days:
            return None
        part, ends = days["rain"].iloc[season].fillna(0.0).to_numpy(), list(range(window - 1, SEASON, window))
        ends[2], ends[3 % len(ends)] = ends[2] + 1, ends[3 % len(ends)] - 1 if len(ends) > 3 else ends[0]
        new, start = np.zeros(SEASON), 0
        for end in sorted(ends):
            new[min(end, SEASON - 1)], start = part[start : end + 1].sum(), end + 1
        days.iloc[season, days.columns.get_loc("rain")] = new.round(1)
        return days

    return damage


OTHERS: list[Record] = []


def _another(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    """Go on with the same dates of another station, the next in the list of the same hemisphere."""
    start = season.start + SEASON // 2
    dates = days.index[start : season.stop]
    order = [*OTHERS, *OTHERS]
    place = next(i for i, other in enumerate(order) if other.name == record.name)
    for other in order[place + 1 : place + len(OTHERS)]:
        same_side = (other.site.latitude > 0.0) == (record.site.latitude > 0.0)
        by_day = other.days.groupby(other.days.index.dayofyear).first().reindex(dates.dayofyear)
        shared = [name for name in days if name in other.days]
        if same_side and by_day["tmax"].notna().all() and len(shared) > 2:
            days = days[shared].copy()
            factor = other.wind_factor / record.wind_factor
            days.iloc[start : season.stop] = by_day[shared].assign(wind=by_day.get("wind", 0.0) * factor)[shared]
            return days
    return None


def _rain_and_wind(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    return days.assign(rain=days["wind"], wind=days["rain"]) if {"rain", "wind"} <= set(days.columns) else None


def _in_month(column: str, change: Callable[[pd.Series], object]) -> Damage:
    """Make a damage that changes a column in the first whole month after thirty days of the season."""

    def damage(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
        if column not in days:
            return None
        later = days.index[season.start + 30 : season.stop]
        first = season.start + 30 + int(np.argmax(later.day == 1))
        month = slice(first, first + days.index[first].days_in_month)
        days.iloc[month, days.columns.get_loc(column)] = np.asarray(change(days[column].iloc[month]))
        return days

    return damage


def _total_last(rain: pd.Series) -> np.ndarray:
    return np.append(np.zeros(len(rain) - 1), round(rain.sum(), 1))


def _as_mean(name: str) -> Damage:
    def damage(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
        if not {"rh_max", "rh_min"} <= set(days.columns):
            return None
        unused = {"rh_max", "rh_min", "vapour_pressure", "dew_point"}
        return days[[column for column in days if column not in unused]].assign(rh_mean=days[name])

    return damage


def _mean_for(name: str) -> Damage:
    return lambda days, season, record: days.assign(**{name: ((days["tmin"] + days["tmax"]) / 2.0).round(1)})


def _of_other_days(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    """Take temperatures of forty days later, and those the file's end lacks from its beginning."""
    return days.assign(**{name: np.roll(days[name].to_numpy(), -40) for name in ("tmin", "tmax")})


def _wet_cell(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    """Move the decimal point of a middling wet day."""
    if "rain" not in days:
        return None
    wet = days["rain"].iloc[season]
    row = season.start + int(np.argmin(np.abs(wet - wet[wet > 0.0].median())))
    days.iloc[row, days.columns.get_loc("rain")] *= 10.0
    return days


def _colder(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    days.iloc[season.start + 30 : season.start + 90, [days.columns.get_loc(name) for name in ("tmin", "tmax")]] -= 4.0
    return days


#: what is done -> how
DAMAGES: dict[str, Damage] = {
    "°F as °C": _changed(("tmin", "tmax"), _fahrenheit),
    "°F where tenths of °C are expected": _changed(("tmin", "tmax"), lambda c: _fahrenheit(c) / 10.0),
    "whole °C where tenths are expected": _changed(("tmin", "tmax"), lambda c: c.round(0) / 10.0),
    "two stations one after the other": _another,
    "°F from a date on": _changed(("tmin", "tmax"), _fahrenheit, late=True),
    "wind in km/h as m/s": _changed(("wind",), lambda c: c * 3.6),
    "wind in mph as m/s": _changed(("wind",), lambda c: c * 2.237),
    "wind in knots as m/s": _changed(("wind",), lambda c: c * 1.944),
    f"wind in km/h as m/s, {UNNAMED}": _changed(("wind",), lambda c: c * 3.6),
    f"wind in mph as m/s, {UNNAMED}": _changed(("wind",), lambda c: c * 2.237),
    f"wind in knots as m/s, {UNNAMED}": _changed(("wind",), lambda c: c * 1.944),
    "wind in km/h from a date on": _changed(("wind",), lambda c: c * 3.6, late=True),
    "wind in mph from a date on": _changed(("wind",), lambda c: c * 2.237, late=True),
    "wind in knots from a date on": _changed(("wind",), lambda c: c * 1.944, late=True),
    "rain in inches from a date on": _changed(("rain",), lambda c: (c / 25.4).round(2), late=True),
    "rain in cm from a date on": _changed(("rain",), lambda c: (c / 10.0).round(2), late=True),
    "rain in tenths of mm from a date on": _changed(("rain",), lambda c: (c * 10.0).round(0), late=True),
    "tenths of °C from a date on": _changed(("tmin", "tmax"), lambda c: c * 10.0, late=True),
    "whole °C for tenths from a date on": _changed(("tmin", "tmax"), lambda c: c / 10.0, late=True),
    "dew point in °F from a date on": _changed(("dew_point",), _fahrenheit, late=True),
    "vapour pressure in hPa": _changed(("vapour_pressure",), lambda c: c * 10.0),
    "vapour pressure in hPa from a date on": _changed(("vapour_pressure",), lambda c: c * 10.0, late=True),
    "pressure in hPa from a date on": _changed(("pressure",), lambda c: c * 10.0, late=True),
    "radiation in W/m² from a date on": _changed(("radiation",), lambda c: c / 0.0864, late=True),
    "rain in inches as mm": _changed(("rain",), lambda c: (c / 25.4).round(2)),
    "rain in cm as mm": _changed(("rain",), lambda c: (c / 10.0).round(2)),
    "rain in tenths of mm": _changed(("rain",), lambda c: (c * 10.0).round(0)),
    "radiation in W/m²": _changed(("radiation",), lambda c: c / 0.0864),
    "radiation in Wh/m²": _changed(("radiation",), lambda c: c / 0.0036),
    "radiation in J/m²": _changed(("radiation",), lambda c: c * 1e6),
    "radiation in kWh/m²": _changed(("radiation",), lambda c: c / 3.6),
    "radiation in kWh/m² from a date on": _changed(("radiation",), lambda c: c / 3.6, late=True),
    "net radiation": _net,
    "radiation a third too low": _changed(("radiation",), lambda c: c * 0.67),
    "radiation a quarter too low": _changed(("radiation",), lambda c: c * 0.75),
    "radiation a third too low from a date on": _changed(("radiation",), lambda c: c * 0.67, late=True),
    "radiation that fades to 55 % over the season": _fading,
    "wind 0 for 4 days": _on(("wind",), 40, 4, 0.0),
    "wind of one value for 8 days": _on(("wind",), 40, 8, None),
    "an anemometer that dies from a date on": _changed(("wind",), lambda c: (c * 0.04).round(2), late=True),
    "an anemometer that is dead": _changed(("wind",), lambda c: (c * 0.04).round(2)),
    "tmax of one value for 8 days": _on(("tmax",), 40, 8, None),
    "all sensors stuck for 7 days": _on(("tmin", "tmax", "rh_max", "rh_min", "wind", "radiation"), 40, 7, None),
    "a month that is there twice": _copied,
    "one tmin of −40 °C": _on(("tmin",), 50, 1, -40.0),
    "one tmax of 56 °C": _on(("tmax",), 50, 1, 56.0),
    "one rain of 390 mm": _on(("rain",), 50, 1, 390.0),
    "a thermometer in the sun": _in_the_sun,
    "a sensor of both in the sun": _sunny_sensor,
    "humidity stuck at 100 % for 8 days": _on(("rh_max", "rh_min"), 40, 8, 100.0),
    "humidity a third too low": _changed(("rh_max", "rh_min"), lambda c: c * 0.67),
    "humidity a third too low from a date on": _changed(("rh_max", "rh_min"), lambda c: c * 0.67, late=True),
    "humidity as a fraction from a date on": _changed(("rh_max", "rh_min"), lambda c: c / 100.0, late=True),
    "dew point and minimum exchanged": _dew_exchanged,
    "two stations in turn": _in_turn,
    "rain as a running total": _sums("running"),
    "rain as a running total that slips": _sums("slip"),
    "rain as a sum over seven days that slides": _sums("sliding"),
    "rain as weekly totals": _sums("week"),
    "rain as monthly totals": _sums("month"),
    "rain as weekly totals with a slip": _slipping(7),
    "rain as monthly totals with a slip": _slipping(30),
    "rain and wind exchanged": _rain_and_wind,
    "wind 0 for missing on every other day": _in_turn_nothing,
    "a rain gauge that is blocked from a date on": _changed(("rain",), lambda c: c * 0.0, late=True),
    "wind 25.5 for missing on 3 days": _on(("wind",), 40, 3, 25.5),
    "rain 99 for missing on 3 days": _on(("rain",), 40, 3, 99.0),
    "rain 88.8 for missing on 3 days": _on(("rain",), 40, 3, 88.8),
    "a month of rain in inches": _in_month("rain", lambda c: (c / 25.4).round(2)),
    "a month of rain in cm": _in_month("rain", lambda c: (c / 10.0).round(2)),
    "a month of rain 0": _in_month("rain", lambda c: c * 0.0),
    "rain 0 throughout": _changed(("rain",), lambda c: c * 0.0),
    "a month's rain on its last day": _in_month("rain", _total_last),
    "rain with the day before's": _changed(("rain",), lambda c: (c + c.shift(1, fill_value=0.0)).round(1)),
    "rain that ends at 10 mm": _changed(("rain",), lambda c: c.clip(upper=10.0)),
    "rain of one wet day times ten": _wet_cell,
    "rain 1.6 times from a date on": _changed(("rain",), lambda c: (c * 1.6).round(1), late=True),
    "wind 1.6 times from a date on": _changed(("wind",), lambda c: (c * 1.6).round(1), late=True),
    "the highest humidity for the mean": _as_mean("rh_max"),
    "the lowest humidity for the mean": _as_mean("rh_min"),
    "the mean temperature for tmax": _mean_for("tmax"),
    "the mean temperature for tmin": _mean_for("tmin"),
    "tmax 8 °C higher for a month": _in_month("tmax", lambda c: c + 8.0),
    "temperatures of other days": _of_other_days,
    "a station 4 °C colder for two months": _colder,
    "radiation a fifth too low": _changed(("radiation",), lambda c: c * 0.8),
}


def _later(change: Callable[[pd.DataFrame], pd.DataFrame]) -> Callable[[pd.DataFrame, Record], pd.DataFrame]:
    """Make a damage of hours that begins on the season's middle day."""

    def damage(hours: pd.DataFrame, record: Record) -> pd.DataFrame:
        middle = hours.index[0] + dt.timedelta(days=60 + SEASON // 2)
        late = hours.index >= middle
        return pd.concat([hours[~late], change(hours[late])]).groupby(level=0).first()

    return damage


def _local(hours: pd.DataFrame, record: Record) -> pd.Index:
    return pd.Index((hours.index.hour + round(record.site.longitude / 15.0)) % 24)


def _without_hours(*missing: int) -> Callable[[pd.DataFrame, Record], pd.DataFrame]:
    return lambda hours, record: hours[~_local(hours, record).isin(missing)]


def _by_zone(hours: pd.DataFrame, record: Record) -> pd.DataFrame:
    return hours.shift(round(record.site.longitude / 15.0), freq="h")


def _in_unit(size: float, *, round_to: int = 0) -> Callable[[pd.DataFrame, Record], pd.DataFrame]:
    """Wind of whole knots, as stations have it, written in a unit of this many to the knot."""
    return lambda hours, record: hours.assign(wind=((hours["wind"] / 0.514444).round(0) * size).round(round_to))


def _rows_twice(hours: pd.DataFrame, record: Record) -> pd.DataFrame:
    return pd.concat([hours, hours[hours["rain"] > 0.0].shift(1, freq="min")]).sort_index(kind="stable")


#: what is done to hours -> how
OF_HOURS: dict[str, Callable[[pd.DataFrame, Record], pd.DataFrame]] = {
    "local hours that pass for UTC": _by_zone,
    "local hours that pass for UTC from a date on": lambda hours, record: _later(lambda late: _by_zone(late, record))(
        hours, record
    ),
    "a clock an hour out from a date on": _later(lambda late: late.shift(1, freq="h")),
    "a clock twelve hours out": lambda hours, record: hours.shift(12, freq="h"),
    "a clock twelve hours out from a date on": _later(lambda late: late.shift(12, freq="h")),
    "four hours of the night always missing": _without_hours(2, 3, 4, 5),
    "four hours of the day always missing": _without_hours(12, 13, 14, 15),
    "all hours of the night always missing": _without_hours(22, 23, 0, 1, 2, 3, 4, 5),
    "hours of wind in whole knots as m/s": _in_unit(1.0),
    "hours of wind in whole mph as m/s": _in_unit(1.150779),
    "hours of wind in whole km/h as m/s": _in_unit(1.852),
    "hours of wind in tenths of km/h as m/s": _in_unit(1.852, round_to=1),
    "wet hours written twice, a minute apart": _rows_twice,
    "hours of light that end at 600 W/m²": lambda hours, record: hours.assign(
        radiation=hours["radiation"].clip(upper=600.0)
    ),
}


def seasons(record: Record) -> Iterator[slice]:
    """Cut a record into seasons, those that lack a sixth of their temperatures left out."""
    for first in range(0, len(record.days) - SEASON + 1, SEASON):
        if record.days["tmax"].iloc[first : first + SEASON].notna().sum() > 5 * SEASON // 6:
            yield slice(first, first + SEASON)


def asked_of(days: pd.DataFrame, season: slice) -> np.ndarray:
    """Mark the days of a season."""
    asked = np.zeros(len(days), dtype=bool)
    asked[season] = True
    return asked


def measure(
    records: list[Record], tries: int = 12
) -> tuple[dict[str, int], dict[str, list[str]], dict[str, list[bool]]]:
    """
    Look at every season as it is, and at some of them in each way damaged.

    Returns
    -------
    seasons, alarms, tally
        Of each kind of record the seasons looked at; of each check what it cautioned about or refused; of each damage, for up to
        ``tries`` seasons of as many records as there are, whether something was seen that the sound season doesn't show.
    """
    rng = np.random.default_rng(SEED)
    total, alarms = dict[str, int](), dict[str, list[str]]()
    sound, chosen = dict[str, tuple[RawTable, list[tuple[slice, set[str]]]]](), []
    for record in records:
        table = raw_of(record.days) if record.hours is None else table_of(record.hours, record.site)
        looked = []
        for season in seasons(record):
            codes = seen(table, record.site, asked_of(record.days, season), record.wind_factor)
            total[record.kind] = total.get(record.kind, 0) + 1
            if "wind" in record.days and not codes and record.kind != "invented":
                bare = raw_of(record.days, unnamed="wind")
                more = seen(bare, record.site, asked_of(record.days, season), record.wind_factor)
                codes = codes | {f"{code}, {UNNAMED}" for code in more if code.startswith("wind")}
            for code in codes:
                alarms.setdefault(code, []).append(f"{record.name} {record.days.index[season.start].date()}")
            looked.append((season, codes))
        sound[record.name] = (table, looked)
        chosen.append((record, *looked[rng.integers(len(looked))]))
    rng.shuffle(chosen)
    OTHERS[:] = records
    tally: dict[str, list[bool]] = {name: [] for name in (*DAMAGES, *OF_HOURS)}
    for record, season, codes in chosen:
        part = record.days.iloc[season]
        dry = "rain" not in part or part["rain"].sum() < 30.0
        for name, damage in DAMAGES.items():
            if "rain" in name and dry:
                continue
            if len(tally[name]) < tries and (days := damage(record.days.copy(), season, record)) is not None:
                table = raw_of(days, unnamed="wind" if UNNAMED in name else "")
                new = seen(table, record.site, asked_of(days, season), record.wind_factor) - codes
                tally[name].append(bool(new))
        for name, change in OF_HOURS.items() if record.hours is not None else ():
            far = "local" not in name or abs(record.site.longitude) > 60.0
            lacks = {"wet": "rain", "light": "radiation"}.items()
            if any(word in name and column not in record.hours for word, column in lacks):
                continue
            if not far or len(tally[name]) >= tries or ("wind" in name and record.hours["wind"].median() < 2.0):
                continue
            try:
                table = table_of(change(record.hours, record), record.site)
            except WeatherError:  # refused at once
                tally[name].append(True)
                continue
            baseline = set().union(*(codes for _, codes in sound[record.name][1]))
            first = min(60, len(table.daily) - SEASON)
            asked = asked_of(table.daily, slice(first, first + SEASON))
            tally[name].append(bool(seen(table, record.site, asked, record.wind_factor) - baseline))
    return total, alarms, tally


def main() -> None:
    """Print the two tables; folders named on the command line are searched for more records."""
    folders = [Path(name) for name in sys.argv[1:]]
    for kind, records in (("genuine", list(genuine(folders))), ("invented", list(invented()))):
        start = time.perf_counter()
        total, alarms, tally = measure(records)
        print(f"\n{kind}: {len(records)} records, {sum(total.values())} seasons {total}; seen in sound ones:")
        for code, where in alarms.items():
            print(f"  {code}: {len(where)}: {', '.join(where[:6])}")
        for name, hits in tally.items():
            if hits:
                print(f"| {name} | {sum(hits)} of {len(hits)} |")
        print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
