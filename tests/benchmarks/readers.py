"""
How long the readers take, as a ratio to the fastest of pandas' ways with the same file: `python tests/benchmarks/readers.py`.

Invented records: 50 years of days, and 500,000 hours. Never a test, like `run.py` beside it. Both are run by turns, since the
machine may be busy, and the least processor time of each counts; pandas parses all columns, or only those that are wanted,
whichever takes less. Target: at most 3 times that.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from tests.weather.formats.test_gsod import file as gsod_file  # noqa: E402
from tests.weather.formats.test_gsod import row as gsod_row  # noqa: E402
from tests.weather.sites import Site  # noqa: E402

from panbudget.weather import READERS  # noqa: E402
from panbudget.weather.text.source import open_source  # noqa: E402

SITE = Site(latitude=38.0, longitude=-6.0, elevation=240.0, timezone="Europe/Lisbon")
ROWS = 500_000


def seconds(*calls: Callable[[], object], times: int = 7) -> list[float]:
    """Least processor time of each of some calls that are made by turns: what others do on the machine weighs little in it."""
    least = [float("inf")] * len(calls)
    for _ in range(times):
        for i, call in enumerate(calls):
            start = time.process_time()
            call()
            least[i] = min(least[i], time.process_time() - start)
    return least


def months(path: Path) -> object:
    """Parse a .dly file by pandas: its lines, cut where the format says, and their values as numbers."""
    lines = pd.read_csv(path, header=None, sep="\x01").iloc[:, 0]
    values = {day: pd.to_numeric(lines.str.slice(21 + 8 * day, 26 + 8 * day)) for day in range(31)}
    return pd.DataFrame(values), lines.str.slice(11, 17), lines.str.slice(17, 21)


def parsers(path: Path, wanted: list[str] | list[int], **options: Any) -> list[Callable[[], object]]:
    """Return what pandas does of a file: all columns, or those that are wanted."""
    return [lambda: pd.read_csv(path, **options), lambda: pd.read_csv(path, usecols=wanted, **options)]


def invented(rows: int = ROWS) -> pd.DataFrame:
    """Hours of ordinary weather, with a daily and a yearly wave."""
    when = pd.date_range("1965-01-01", periods=rows, freq="h")
    rng = np.random.default_rng(7)
    hour, day = when.hour.to_numpy(), when.day_of_year.to_numpy()
    year = -np.cos(2 * np.pi * (day - 20) / 365.0)
    wave = -np.cos(2 * np.pi * (hour - 3) / 24.0)
    temperature = 15.0 + 9.0 * year + 6.0 * wave + rng.normal(0, 1, rows)
    light = np.maximum(-np.cos(2 * np.pi * hour / 24.0), 0.0) * (480.0 + 240.0 * year)
    rain = np.where(rng.random(rows) < 0.03, np.round(rng.exponential(1.0, rows), 1), 0.0)
    return pd.DataFrame(
        {
            "when": when,
            "temperature": temperature.round(1),
            "dew point": np.minimum(temperature - 0.5, 8.0 + 5.0 * year + rng.normal(0, 1, rows)).round(1),
            "humidity": np.clip(60.0 - 20.0 * wave + rng.normal(0, 3, rows), 20.0, 99.0).round(0),
            "wind": rng.gamma(4.0, 0.5, rows).round(1),
            "rain": rain,
            "radiation": light.round(0),
        }
    )


def station_table(table: pd.DataFrame, path: Path, *, date: str) -> None:
    """Write a table as a station saves it."""
    out = pd.DataFrame(
        {
            "Time": table["when"].dt.strftime(date),
            "Temperature (°C)": table["temperature"],
            "Humidity (%)": table["humidity"].astype(int),
            "Wind (m/s)": table["wind"],
            "Hourly Rain (mm)": table["rain"],
            "Solar Radiation (W/m²)": table["radiation"],
        }
    )
    out.to_csv(path, index=False)


def isd_lite(table: pd.DataFrame, path: Path) -> None:
    """Write a table as ISD-Lite."""

    def tenths(column: pd.Series) -> pd.Series:
        return (column * 10.0).round(0).astype(int).map("{:6d}".format)

    when = table["when"].dt.strftime("%Y %m %d %H")
    blank = pd.Series(" -9999", index=table.index)
    text = when + tenths(table["temperature"]) + tenths(table["dew point"]) + " 10150   180"
    text = text + tenths(table["wind"]) + blank + tenths(table["rain"]) + blank
    path.write_text("\n".join(text) + "\n", encoding="utf-8")


def daily(days: int = 18262) -> pd.DataFrame:
    """Fifty years of ordinary days."""
    when, rng = pd.date_range("1970-01-01", periods=days, freq="D"), np.random.default_rng(3)
    year = -np.cos(2 * np.pi * (when.day_of_year.to_numpy() - 20) / 365.0)
    tmin = (8.0 + 8.0 * year + rng.normal(0, 2, days)).round(1)
    rain = np.where(rng.random(days) < 0.3, rng.exponential(5.0, days).round(1), 0.0)
    light = ((12.0 + 9.0 * year) * rng.uniform(0.4, 0.75, days)).round(2)
    tmax, wind = (tmin + 5.0 + rng.gamma(2.0, 2.0, days)).round(1), rng.gamma(4.0, 0.8, days).round(1)
    return pd.DataFrame({"date": when, "tmin": tmin, "tmax": tmax, "wind": wind, "rain": rain, "radiation": light})


def archives(folder: Path) -> list[tuple[str, str, Path, list[Callable[[], object]]]]:
    """Write fifty years of days as archives have them; return name, reader, file and what pandas does of each."""
    table = daily()
    tenths = (table[["tmin", "tmax", "wind", "rain"]] * 10.0).round().astype(int)
    files = {name: folder / name for name in ("etmgeg.txt", "power.csv", "station.dly", "table.csv")}
    header = [
        "STN",
        "YYYYMMDD",
        "DDVEC",
        "FHVEC",
        "FG",
        "FHX",
        "FHXH",
        "TG",
        "TN",
        "TNH",
        "TX",
        "TXH",
        "SQ",
        "SP",
        "Q",
        "DR",
        "RH",
        "PG",
        "UG",
        "UX",
        "UN",
        "EV24",
    ]
    known = {"FG": tenths["wind"], "TN": tenths["tmin"], "TX": tenths["tmax"], "RH": tenths["rain"]}
    known |= {
        "STN": "260",
        "YYYYMMDD": table["date"].dt.strftime("%Y%m%d"),
        "Q": (table["radiation"] * 100).astype(int),
    }
    wide = pd.DataFrame({name: known.get(name, "50") for name in header}, index=table.index).astype(str)
    rows = wide.apply(lambda column: column.str.rjust(5)).agg(",".join, axis=1)
    files["etmgeg.txt"].write_text("# " + ",".join(header) + "\n\n" + "\n".join(rows) + "\n", encoding="utf-8")
    date = {"YEAR": table["date"].dt.year, "MO": table["date"].dt.month, "DY": table["date"].dt.day}
    power = pd.DataFrame(date | {"T2M_MIN": table["tmin"], "T2M_MAX": table["tmax"], "PRECTOTCORR": table["rain"]})
    power["ALLSKY_SFC_SW_DWN"] = table["radiation"]
    block = "-BEGIN HEADER-\nALLSKY_SFC_SW_DWN    CERES (MJ/m^2/day)\n-END HEADER-\n"
    files["power.csv"].write_text(block + power.to_csv(index=False), encoding="utf-8")
    lines = []
    for element, name in (("TMAX", "tmax"), ("TMIN", "tmin"), ("PRCP", "rain"), ("AWND", "wind")):
        for (year, month), part in tenths[name].groupby([date["YEAR"], date["MO"]]):
            values = "".join(f"{value:5d}  S" for value in part) + "-9999   " * (31 - len(part))
            lines.append(f"XX000000001{year}{month:02d}{element}{values}")
    files["station.dly"].write_text("\n".join(sorted(lines)) + "\n", encoding="utf-8")
    table.to_csv(files["table.csv"], index=False)
    etmgeg, point, dly, plain = files.values()
    more = wide.assign(**{f"X{i}": "    50" for i in range(41 - len(header))})
    text = "# " + ",".join(more.columns) + "\n\n" + "\n".join(more.agg(",".join, axis=1)) + "\n"
    (folder / "wide.txt").write_text(text, encoding="utf-8")
    widths = [11, 4, 2, 4] + [5, 1, 1, 1] * 31
    of_knmi = ["YYYYMMDD", "   FG", "   TN", "   TX", "    Q", "   RH", "   PG", "   UG"]
    named: dict[str, Any] = {"skiprows": 2, "header": None, "names": [name.rjust(5) for name in header]}
    more_names = [name.rjust(5) for name in more.columns]
    return [
        ("KNMI", "knmi", etmgeg, parsers(etmgeg, of_knmi, **named)),
        (
            "KNMI, 41 columns",
            "knmi",
            folder / "wide.txt",
            parsers(folder / "wide.txt", of_knmi, **{**named, "names": more_names}),
        ),
        ("NASA POWER", "nasa-power", point, parsers(point, list(power.columns), skiprows=3)),
        ("GHCN .dly", "ghcn-daily", dly, [lambda: months(dly), lambda: pd.read_fwf(dly, header=None, widths=widths)]),
        ("plain table", "table", plain, parsers(plain, list(table.columns))),
        *others(folder, table, tenths),
    ]


def others(
    folder: Path, table: pd.DataFrame, tenths: pd.DataFrame
) -> list[tuple[str, str, Path, list[Callable[[], object]]]]:
    """Write the same days as plain tables of other kinds, and as archives quote them or put a row a value."""
    paths = [folder / name for name in ("first.csv", "commas.csv", "access.csv", "long.csv", "gsod.csv")]
    first, commas, access, long, gsod = paths
    table.assign(date=table["date"].dt.strftime("%d/%m/%Y")).to_csv(first, index=False)
    table.to_csv(commas, index=False, sep=";", decimal=",")
    days, elements = (
        table["date"].dt.strftime("%Y-%m-%d"),
        {"AWND": "wind", "PRCP": "rain", "TMAX": "tmax", "TMIN": "tmin"},
    )
    place = {"STATION": "XX000000001", "DATE": days, "LATITUDE": "38.1", "LONGITUDE": "-6.2", "ELEVATION": "120.0"}
    flagged = {name: tenths[of].astype(str) for name, of in elements.items()}
    flagged |= {f"{name}_ATTRIBUTES": ",,S" for name in elements}
    pd.DataFrame(place | {"NAME": "INVENTED HILL, XX"} | flagged, index=table.index).to_csv(
        access, index=False, quoting=1
    )
    compact = table["date"].dt.strftime("%Y%m%d")
    rows = (
        f"XX000000001,{day},{name},{tenths[of][i]},,,S," for i, day in compact.items() for name, of in elements.items()
    )
    long.write_text("\n".join(rows) + "\n", encoding="utf-8")
    fahrenheit = (table[["tmin", "tmax"]] * 1.8 + 32.0).round(1)
    triples = zip(days, fahrenheit["tmin"], fahrenheit["tmax"], strict=True)
    lines = (gsod_row(day, tmin=f"{low:6}", tmax=f"{high:6}") for day, low, high in triples)
    gsod.write_text(gsod_file(*lines), encoding="utf-8")
    marked = ["DATE", *flagged]
    of_gsod = ["DATE", "DEWP", "STP", "WDSP", "MAX", "MIN", "PRCP", "PRCP_ATTRIBUTES"]
    return [
        ("plain table, day first", "table", first, parsers(first, list(table.columns))),
        ("plain table, decimal commas", "table", commas, parsers(commas, list(table.columns), sep=";", decimal=",")),
        ("GHCN access CSV, quoted", "ghcn-daily", access, parsers(access, marked)),
        ("GHCN by station, a row a value", "ghcn-daily", long, parsers(long, [1, 2, 3, 4, 5], header=None)),
        ("GSOD, quoted", "gsod", gsod, parsers(gsod, of_gsod)),
    ]


def report(name: str, reader: str, path: Path, parse: list[Callable[[], object]]) -> None:
    """Print the ratio of one file."""

    def read_alone() -> object:
        return READERS[reader].read(open_source(path, shown_as=path.name), columns={}, site=SITE)

    alone, *pandas = seconds(read_alone, *parse)
    print(f"{name:32} pandas {min(pandas):6.3f} s   reader {alone:6.3f} s = {alone / min(pandas):4.2f}")


def main() -> None:
    """Run all."""
    table = invented()
    print(f"{len(table):,} rows")
    with tempfile.TemporaryDirectory() as folder:
        for name, reader, path, parse in archives(Path(folder)):
            report(name, reader, path, parse)
        path = Path(folder) / "iso.csv"
        station_table(table, path, date="%Y-%m-%d %H:%M")
        report("station table, year first", "logger", path, [lambda: pd.read_csv(path)])
        path = Path(folder) / "day-first.csv"
        station_table(table, path, date="%d/%m/%Y %H:%M")
        report("station table, day first", "logger", path, [lambda: pd.read_csv(path)])
        path = Path(folder) / "am-pm.csv"
        station_table(table, path, date="%-m/%-d/%Y %-I:%M %p")
        report("station table, AM and PM", "logger", path, [lambda: pd.read_csv(path)])
        path = Path(folder) / "isd.txt"
        isd_lite(table, path)
        report("ISD-Lite", "isd-lite", path, parsers(path, [0, 1, 2, 3, 4, 5, 8, 10, 11], sep=r"\s+", header=None))


if __name__ == "__main__":
    main()
