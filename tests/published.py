"""Published figures from tests/data, as the tests read them. Sources stand in each test."""

from __future__ import annotations

import csv
import functools
import tomllib
from pathlib import Path
from typing import NamedTuple

DATA = Path(__file__).parent / "data"


class Figure(NamedTuple):
    """One published figure, and what its printed digits allow."""

    number: float
    tolerance: float
    recomputed: float


@functools.cache
def _rows(file):
    with (DATA / file).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def _number(text):
    return float(text) if text not in ("", "-", None) else float("nan")


def case(file, name, day=None):
    """Return a case's figures by name; outputs and inputs alike."""
    rows = [row for row in _rows(file) if row["case"] == name and (day is None or row["day"] == str(day))]
    assert rows, f"{file} has no case {name}"
    if day is not None or "role" in rows[0] or rows[0]["day"] in ("", "1"):
        return {
            row["name"]: Figure(
                _number(row["published"]), _number(row["tolerance"]) or 1e-9, _number(row["recomputed"])
            )
            for row in rows
        }
    raise AssertionError(f"{file}, {name}: name a day")


def inputs(name):
    """Return an example's inputs."""
    return tomllib.loads((DATA / "soil_water_example_inputs.toml").read_text(encoding="utf-8"))[name]
