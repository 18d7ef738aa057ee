"""
How long the readers of hourly files take, as a ratio to pandas parsing the same file:
`python tests/benchmarks/readers.py`.

Invented records of 57 years, 500,000 rows. Never a test, like `run.py` beside it. Target: at most 4 times
`pandas.read_csv` of the same file, for the reader alone and for the whole way to clean weather.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from tests.weather.sites import Site  # noqa: E402

from panbudget.weather import READERS, read_weather  # noqa: E402
from panbudget.weather.text.source import open_source  # noqa: E402

SITE = Site(latitude=38.0, longitude=-6.0, elevation=240.0, timezone="Europe/Lisbon")
ROWS = 500_000


def seconds(call: Callable[[], object], times: int = 7) -> float:
    """Least processor time of some runs: what others do on the machine weighs little in it."""
    taken = []
    for _ in range(times):
        start = time.process_time()
        call()
        taken.append(time.process_time() - start)
    return min(taken)


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


def report(name: str, reader: str, path: Path, parse: Callable[[], object]) -> None:
    """Print the two ratios of one file."""
    pandas = seconds(parse)

    def read_alone() -> object:
        return READERS[reader].read(open_source(path, shown_as=path.name), columns={}, site=SITE)

    alone = seconds(read_alone)
    whole = seconds(lambda: read_weather(path, SITE))
    print(
        f"{name:32} pandas {pandas:5.2f} s   reader {alone:5.2f} s = {alone / pandas:4.2f}   "
        f"read_weather {whole:5.2f} s = {whole / pandas:4.2f}"
    )


def main() -> None:
    """Run all."""
    table = invented()
    print(f"{len(table):,} rows")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "iso.csv"
        station_table(table, path, date="%Y-%m-%d %H:%M")
        report("station table, year first", "logger", path, lambda: pd.read_csv(path))
        path = Path(folder) / "day-first.csv"
        station_table(table, path, date="%d/%m/%Y %H:%M")
        report("station table, day first", "logger", path, lambda: pd.read_csv(path))
        path = Path(folder) / "am-pm.csv"
        station_table(table, path, date="%-m/%-d/%Y %-I:%M %p")
        report("station table, AM and PM", "logger", path, lambda: pd.read_csv(path))
        path = Path(folder) / "isd.txt"
        isd_lite(table, path)
        report("ISD-Lite", "isd-lite", path, lambda: pd.read_csv(path, sep=r"\s+", header=None))


if __name__ == "__main__":
    main()
