"""
Summary: what a sweep comes to: values to depend on four years in five and nine in ten, and the design that suits.

Read part by part, so that it takes no more memory for more sites, but for one line a site. Units in the names.
"""

from __future__ import annotations

import io
import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.numeric import Floats

#: column -> whether a high value is the bad one
_SUMMED = {
    "litres": True,
    "irrigation_mm": True,
    "net_demand_mm": True,
    "driest_stress_days": True,
    "driest_adequacy": False,
}
#: name -> share of years, and the fewest that can tell
_DEPENDED: dict[str, tuple[float, int]] = {"four_in_five": (0.8, 5), "nine_in_ten": (0.9, 10)}
_KEYS = ("site", "design", "controller", "bed")
_READ = (*_KEYS, "latitude", "longitude", "elevation_m", "year", "refilled_kg", *_SUMMED)


@dataclass
class Choice:
    """A site's design: the thriftiest that keeps the wish, or else the one that falls least short of it."""

    site: str
    latitude: float
    longitude: float
    design: str
    keeps: bool
    litres: float
    stress_days: float
    years: int


@dataclass
class Summary:
    """
    A sweep's end.

    Parameters
    ----------
    choices : list of Choice
        One a site, in the plan's order.
    rows, seasons : int
    """

    choices: list[Choice]
    rows: int
    seasons: int


def dependable(values: Floats, share: float, *, high_is_bad: bool) -> Floats:
    """
    Return the value that holds in a share of years: not exceeded, or reached.

    Parameters
    ----------
    values : ndarray (…, years)
    share : float
        Such as 0.8, four years in five. [-]
    high_is_bad : bool
        True for what should not be exceeded.

    Returns
    -------
    ndarray (…)
        A value of one of the years, never between two.

    Examples
    --------
    >>> years = np.array([10.0, 20.0, 30.0, 40.0, 50.0])
    >>> float(dependable(years, 0.8, high_is_bad=True)), float(dependable(years, 0.8, high_is_bad=False))
    (40.0, 20.0)
    """
    n = values.shape[-1]
    # as many years as the share asks for, counted from the good end; a hair less, so that 0.8 · 5 is 4 and not 5
    place = int(np.ceil(share * n - 1e-9)) - 1
    ordered = np.sort(values, axis=-1)
    return np.asarray(ordered[..., place] if high_is_bad else ordered[..., n - 1 - place])


def summarised(parts: Iterable[Path], stress_days: int, summary: Summary) -> Iterator[bytes]:
    """
    Go through the parts of a dataset.

    Parameters
    ----------
    parts : iterable of Path
        In the plan's order.
    stress_days : int
        The wish: at most so many in nine years of ten, in the driest quarter of the neediest bed.
    summary : Summary
        Filled on the way.

    Yields
    ------
    bytes
        A piece of ``summary.csv`` for each part.
    """
    import pyarrow.parquet as pq

    from panbudget.files import write_csv

    held: dict[str, list[dict[str, Any]]] = {}
    order: list[str] = []
    header = True
    for path in parts:
        table = pq.read_table(path, columns=list(_READ)).to_pandas()
        summary.rows += len(table)
        lines = []
        for group in _runs(table):
            line, by_design = _lines(group)
            lines += line
            for design in by_design:
                summary.seasons += design["years"]
                site = design["site"]
                if site not in held:
                    held[site] = []
                    order.append(site)
                held[site].append(design)
        # a site's designs may stand in several parts: those before the last one are whole
        last = str(table["site"].iloc[-1]) if len(table) else ""
        for site in [name for name in order if name != last]:
            summary.choices.append(_chosen(held.pop(site), stress_days))
            order.remove(site)
        buffer = io.StringIO()
        if lines:
            write_csv(pd.DataFrame(lines), buffer, header=header)
            header = False
        yield buffer.getvalue().encode()
    for site in order:
        summary.choices.append(_chosen(held.pop(site), stress_days))


def _runs(table: pd.DataFrame) -> Iterator[pd.DataFrame]:
    """A site's rows of one part: bed after bed, and within it year after year."""
    if not len(table):
        return
    codes = table["site"].astype("category").cat.codes.to_numpy()
    edges = [0, *(np.flatnonzero(np.diff(codes)) + 1).tolist(), len(table)]
    for first, after in itertools.pairwise(edges):
        yield table.iloc[first:after]


def _lines(group: pd.DataFrame) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Of one site: a line of the summary for each bed, and what each design comes to."""
    years = int(group["year"].nunique())
    beds = len(group) // years
    heads = group.iloc[::years]
    values = {name: group[name].to_numpy(float).reshape(beds, years) for name in (*_SUMMED, "refilled_kg")}
    columns: dict[str, Any] = {name: heads[name].astype(str).to_numpy() for name in _KEYS}
    for name in ("latitude", "longitude", "elevation_m"):
        columns[name] = heads[name].to_numpy(float)
    columns["years"] = np.full(beds, years)
    for name, high_is_bad in _SUMMED.items():
        columns[f"{name}_mean"] = values[name].mean(axis=1)
        for word, (share, fewest) in _DEPENDED.items():
            told = dependable(values[name], share, high_is_bad=high_is_bad)
            columns[f"{name}_{word}"] = told if years >= fewest else np.full(beds, np.nan)
    lines = pd.DataFrame(columns).to_dict("records")

    designs = []
    names, controllers = columns["design"], columns["controller"]
    first_bed = np.ones(beds, bool)
    first_bed[1:] = (names[1:] != names[:-1]) | (controllers[1:] != controllers[:-1])
    water = values["litres"] + values["refilled_kg"] * first_bed[:, None]  # a pan's refill counts once
    for design in dict.fromkeys(names):
        mine = names == design
        needy = values["driest_stress_days"][mine].max(axis=0)
        designs.append(
            {
                "site": str(columns["site"][0]),
                "latitude": float(columns["latitude"][0]),
                "longitude": float(columns["longitude"][0]),
                "design": str(design),
                "years": years,
                "litres": float(dependable(water[mine].sum(axis=0), 0.9, high_is_bad=True)),
                "stress_days": float(dependable(needy, 0.9, high_is_bad=True)),
            }
        )
    return [{str(key): value for key, value in line.items()} for line in lines], designs


def _chosen(designs: list[dict[str, Any]], wish: int) -> Choice:
    keeping = [design for design in designs if design["stress_days"] <= wish]
    if keeping:
        best = min(keeping, key=lambda design: float(design["litres"]))
    else:
        best = min(designs, key=lambda design: (float(design["stress_days"]), float(design["litres"])))
    return Choice(
        site=best["site"],
        latitude=best["latitude"],
        longitude=best["longitude"],
        design=best["design"],
        keeps=bool(keeping),
        litres=best["litres"],
        stress_days=best["stress_days"],
        years=best["years"],
    )
