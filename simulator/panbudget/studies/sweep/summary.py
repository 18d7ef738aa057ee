"""
Summary: what a sweep comes to: values to depend on four years in five and nine in ten, and the design that suits.

Read part by part, so that it takes no more memory for more sites, but for one line a site. Units in the names.
"""

import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from panbudget.files import write_csv
from panbudget.numeric import Floats
from panbudget.studies.sweep.store import KEYS

#: column -> whether a high value is the bad one
_SUMMED = dict.fromkeys(("litres", "irrigation_mm", "net_demand_mm", "driest_stress_days"), True)
_SUMMED |= {"driest_adequacy": False}
#: name -> share of years, and the fewest that can tell
_DEPENDED: dict[str, tuple[float, int]] = {"four_in_five": (0.8, 5), "nine_in_ten": (0.9, 10)}
_POSITION = ("latitude", "longitude", "elevation_m")
_READ = (*KEYS, *_POSITION, "year", "refilled_kg", *_SUMMED)


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

    header = True
    waiting = pd.DataFrame(columns=["site"])
    for path in parts:
        table = pq.read_table(path, columns=list(_READ)).to_pandas()
        summary.rows += len(table)
        sums = [_summed(site) for _, site in table.groupby("site", sort=False, observed=True)]
        if not sums:
            yield b""
            continue
        beds, designs = (pd.concat(frames, ignore_index=True) for frames in zip(*sums, strict=True))
        summary.seasons += int(designs["years"].sum())
        # a site's designs may stand in several parts: those before the last one are whole
        designs = pd.concat([waiting, designs], ignore_index=True) if len(waiting) else designs
        whole = designs["site"] != designs["site"].iloc[-1]
        summary.choices += _chosen(designs[whole], stress_days)
        waiting = designs[~whole]
        yield csv_bytes(beds, header=header)
        header = False
    summary.choices += _chosen(waiting, stress_days)


def csv_bytes(table: pd.DataFrame, *, header: bool = True) -> bytes:
    """Return a table as a CSV file holds it."""
    buffer = io.StringIO()
    write_csv(table, buffer, header=header)
    return buffer.getvalue().encode()


def _summed(site: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Of one site's rows, year after year: a line of the summary for each bed, and what each design comes to."""
    years = int(site["year"].nunique())
    values = {name: site[name].to_numpy(float).reshape(-1, years) for name in (*_SUMMED, "refilled_kg")}
    beds = site.iloc[::years][[*KEYS, *_POSITION]].astype(dict.fromkeys(KEYS, str)).assign(years=years)
    for name, high_is_bad in _SUMMED.items():
        beds[f"{name}_mean"] = values[name].mean(axis=1)
        for word, (share, fewest) in _DEPENDED.items():
            enough = years >= fewest
            beds[f"{name}_{word}"] = dependable(values[name], share, high_is_bad=high_is_bad) if enough else np.nan
    first_bed = ~beds.duplicated(["design", "controller"]).to_numpy()
    water = values["litres"] + values["refilled_kg"] * first_bed[:, None]  # a pan's refill counts once
    heads = beds.drop_duplicates("design")[["site", "latitude", "longitude", "design", "years"]]
    mine = [(beds["design"] == design).to_numpy() for design in heads["design"]]

    def nine_in_ten(by_year: list[Floats]) -> Floats:
        return dependable(np.array(by_year), 0.9, high_is_bad=True)

    return beds, heads.assign(
        litres=nine_in_ten([water[rows].sum(axis=0) for rows in mine]),
        stress_days=nine_in_ten([values["driest_stress_days"][rows].max(axis=0) for rows in mine]),
    )


def _chosen(designs: pd.DataFrame, wish: int) -> list[Choice]:
    if designs.empty:
        return []
    short = designs["stress_days"].where(designs["stress_days"] > wish, 0.0)
    best = designs.assign(keeps=short == 0.0, short=short).sort_values(["short", "litres"], kind="stable")
    best = best.drop_duplicates("site").sort_index()
    return [Choice(**{str(name): row[name] for name in row}) for row in best.drop(columns="short").to_dict("records")]
