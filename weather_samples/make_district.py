"""
Make the invented weather of the example sweep: thirty places of one district, twelve years each, and their table.

Nothing here was measured and no such place exists. The files are not kept: ``python weather_samples/make_district.py``
writes them into weather_samples/district/ (some 6 MB), the same bytes each time; another folder may be named.
"""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

import make_samples

__all__ = ["write_district"]

_FIRST, _LAST = 2014, 2025
_ROWS, _COLUMNS = 5, 6


def write_district(folder: Path, *, first: int = _FIRST, last: int = _LAST, places: int = _ROWS * _COLUMNS) -> Path:
    """
    Write the places' weather and the table that names them.

    Parameters
    ----------
    folder : Path
        Made if missing.
    first, last : int
        Years.
    places : int
        At most thirty.

    Returns
    -------
    Path
        The table, ``places.csv``.
    """
    folder.mkdir(parents=True, exist_ok=True)
    lines = [
        "# invented places: nobody lives there and nothing was measured",
        "name,latitude,longitude,elevation,weather",
    ]
    for index in range(places):
        row, column = divmod(index, _COLUMNS)
        draw = np.random.default_rng(7000 + index).random(3)
        # a coast in the west, hills in the north-east: cooler and wetter with height, hotter by day inland
        latitude = round(38.2 + 0.2 * row + 0.06 * float(draw[0]), 3)
        longitude = round(-37.4 + 0.25 * column + 0.08 * float(draw[1]), 3)
        elevation = round(30.0 + 60.0 * column + 90.0 * row * column / _COLUMNS + 40.0 * float(draw[2]))
        cooler = 0.006 * elevation
        wetter = 1.0 + elevation / 900.0
        sample = make_samples.Sample(
            path=f"place-{index + 1:02d}.csv",
            place=f"Place {index + 1:02d} (no such place)",
            remark=f"to {last}",
            seed=7100 + index,
            latitude=latitude,
            elevation=float(elevation),
            start=dt.date(first, 1, 1),
            end=dt.date(last, 12, 31),
            tmax=(22.6 + 0.6 * column - cooler, 7.4 + 0.6 * column),
            tmin=(11.6 - cooler, 5.6 + 0.2 * column),
            wet=tuple(round(min(chance * wetter, 0.5), 3) for chance in make_samples._DRY_SUMMER),
            dryness=1.5 + 0.5 * column,
        )
        text = make_samples._text(sample)
        (folder / sample.path).write_bytes(text.encode("ascii"))
        lines.append(f"Place {index + 1:02d},{latitude},{longitude},{elevation},{sample.path}")
    table = folder / "places.csv"
    table.write_text("\n".join(lines) + "\n", encoding="ascii")
    return table


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Make the invented weather of the example sweep.")
    parser.add_argument("folder", nargs="?", type=Path, default=Path(__file__).resolve().parent / "district")
    print(f"wrote {write_district(parser.parse_args().folder)}")
