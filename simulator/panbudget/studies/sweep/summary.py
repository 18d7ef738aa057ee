"""
Summary: what a sweep comes to: values to depend on four years in five and nine in ten, and the design that suits.

Read part by part, so that it takes no more memory for more sites, but for one line a site. Units in the names.
"""

from __future__ import annotations

import io
import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panbudget.files import write_csv
from panbudget.numeric import Floats, Ints
from panbudget.studies.sweep.store import KEYS, described

#: column -> whether a high value is the bad one
_SUMMED = dict.fromkeys(("litres", "irrigation_mm", "net_demand_mm", "driest_stress_days"), True)
_SUMMED |= {"driest_adequacy": False}
#: name -> share of years, and the fewest that can tell
_DEPENDED: dict[str, tuple[float, int]] = {"four_in_five": (0.8, 5), "nine_in_ten": (0.9, 10)}
_POSITION = ("latitude", "longitude", "elevation_m")
_READ = (*KEYS, *_POSITION, "year", "refilled_kg", *_SUMMED)


@dataclass
class Choice:
    """
    A site's design: the thriftiest that keeps the wish, or else the one that falls least short of it.

    ``litres`` and ``stress_days`` are what it is judged by: not exceeded in nine years of ten, or the highest of fewer years.
    """

    site: str
    latitude: float
    longitude: float
    design: str
    keeps: bool
    litres: float
    stress_days: float
    years: int
    litres_four_in_five: float = np.nan
    litres_nine_in_ten: float = np.nan
    stress_days_four_in_five: float = np.nan
    stress_days_nine_in_ten: float = np.nan

    @property
    def judged_by(self) -> str:
        """By which level."""
        return "nine years in ten" if self.years >= _DEPENDED["nine_in_ten"][1] else f"highest of {self.years}"


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


def dependable(values: Floats, level: str, *, high_is_bad: bool) -> Floats:
    """
    Return the value that holds in a share of years: not exceeded, or reached.

    Parameters
    ----------
    values : ndarray (…, years)
    level : str
        "four_in_five" or "nine_in_ten".
    high_is_bad : bool
        True for what should not be exceeded.

    Returns
    -------
    ndarray (…)
        By Weibull's plotting positions, k/(n + 1), as in `studies.today.fan`; not a number of fewer years than can tell.

    Examples
    --------
    >>> years = np.array([10.0, 20.0, 30.0, 40.0, 50.0])
    >>> [round(float(dependable(years, "four_in_five", high_is_bad=high)), 9) for high in (True, False)]
    [48.0, 12.0]
    """
    share, fewest = _DEPENDED[level]
    if values.shape[-1] < fewest:
        return np.full(values.shape[:-1], np.nan)
    return np.asarray(np.quantile(values, share if high_is_bad else 1.0 - share, axis=-1, method="weibull"))


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
        if table.empty:
            yield b""
            continue
        beds, designs = _summed(table)
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


def _summed(table: pd.DataFrame) -> Iterator[pd.DataFrame]:
    """Return sites' lines of the summary, one for each bed, and what each design comes to there."""
    year = table["year"].to_numpy()
    begins = np.append(_changes(table["site"]), len(table)).tolist()
    counts = [(len(np.unique(year[first:after])), first, after) for first, after in itertools.pairwise(begins)]
    alike = [(years, [*sites]) for years, sites in itertools.groupby(counts, key=lambda site: site[0])]
    blocks = [_of_sites(table.iloc[sites[0][1] : sites[-1][2]], years) for years, sites in alike]
    for parts in zip(*blocks, strict=True):
        yield pd.DataFrame({name: np.concatenate([part[name] for part in parts]) for name in parts[0]})


def _changes(*keys: pd.Series[Any]) -> Ints:
    """Return where one of some columns is not as in the row before; the first row is among them."""
    codes = [pd.factorize(key)[0] for key in keys]
    return np.flatnonzero(np.any([np.diff(code, prepend=-1) != 0 for code in codes], axis=0))


def _of_sites(table: pd.DataFrame, years: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """Of the rows of sites with so many years each, year after year, as columns: what `_summed` returns."""
    values = {name: table[name].to_numpy(float).reshape(-1, years) for name in (*_SUMMED, "refilled_kg")}
    heads = table.iloc[::years]
    lines: dict[str, Any] = {name: heads[name].astype(str).to_numpy(object) for name in KEYS}
    lines |= {name: heads[name].to_numpy() for name in _POSITION} | {"years": np.full(len(heads), years)}
    for high_is_bad in dict.fromkeys(_SUMMED.values()):
        names = [name for name in _SUMMED if _SUMMED[name] is high_is_bad]
        levels = _levels([values[name] for name in names], high_is_bad=high_is_bad)
        for name, by_level in zip(names, levels, strict=True):
            lines[f"{name}_mean"] = values[name].mean(axis=1)
            lines |= {f"{name}_{level}": by_level[level] for level in by_level}
    water, refilled = values["litres"].copy(), _changes(heads["site"], heads["design"], heads["controller"])
    water[refilled] += values["refilled_kg"][refilled]  # a pan's refill counts once
    first = _changes(heads["site"], heads["design"])
    mine = [slice(*ends) for ends in itertools.pairwise([*first.tolist(), len(heads)])]
    by_year = {
        "litres": np.array([water[rows].sum(axis=0) for rows in mine]),
        "stress_days": np.array([values["driest_stress_days"][rows].max(axis=0) for rows in mine]),
    }
    whole = {name: lines[name][first] for name in ("site", "latitude", "longitude", "design", "years")}
    levels = _levels([*by_year.values()], high_is_bad=True)
    for (name, totals), by_level in zip(by_year.items(), levels, strict=True):
        judged = by_level["nine_in_ten"] if years >= _DEPENDED["nine_in_ten"][1] else totals.max(axis=1)
        whole |= {name: judged, **{f"{name}_{level}": value for level, value in by_level.items()}}
    return lines, whole


def _levels(columns: list[Floats], *, high_is_bad: bool) -> list[dict[str, Floats]]:
    """Return what each column comes to at each level, looked up of all at once."""
    together = np.array(columns)
    by_level = {level: dependable(together, level, high_is_bad=high_is_bad) for level in _DEPENDED}
    return [{level: values[at] for level, values in by_level.items()} for at in range(len(columns))]


def _chosen(designs: pd.DataFrame, wish: int) -> list[Choice]:
    if designs.empty:
        return []
    stress = designs["stress_days"].to_numpy()
    short = np.where(stress > wish, stress, 0.0)
    order = np.lexsort((designs["litres"], short))
    at = order[np.unique(pd.factorize(designs["site"])[0][order], return_index=True)[1]]  # each site's first
    best = designs.iloc[at].assign(keeps=short[at] == 0.0)
    return [Choice(**{str(name): row[name] for name in row}) for row in best.to_dict("records")]


def suits_table(choices: Iterable[Choice]) -> pd.DataFrame:
    """Return the choices as ``suits.csv`` has them, a row a site."""
    choices = list(choices)
    table = pd.DataFrame(choices, columns=[part.name for part in fields(Choice)])
    table.insert(5, "judged_by", pd.Series([choice.judged_by for choice in choices], dtype=object))
    return table.rename(columns={name: f"{name}_judged" for name in ("litres", "stress_days")})


def mapped(parts: Iterable[Path], column: str, quantile: float | None) -> pd.DataFrame:
    """
    Take a column of the dataset over each site's beds and years.

    Parameters
    ----------
    parts : iterable of Path
    column : str
        A column of numbers.
    quantile : float, optional
        Share of years that do not exceed it, by Weibull's plotting positions; the years' mean if left out. [-]

    Returns
    -------
    DataFrame
        site, latitude, longitude, design, years, value: not a number where a site's years are too few for the quantile.
    """
    import pyarrow.parquet as pq

    over = described(column)[2]
    names = [*KEYS, "latitude", "longitude", "year", "area_m2", *({column} - {"area_m2", "year"})]
    tables = []
    for path in parts:
        rows = pq.read_table(path, columns=names).to_pandas().astype(dict.fromkeys(KEYS, str))
        if over == "valves":
            rows = rows.drop_duplicates(["site", "design", "controller", "year"])
        rows["value"] = rows[column].astype(float)
        if over == "mean":  # of the beds that have a value
            rows["weight"] = rows["area_m2"].where(rows["value"].notna())
            rows["value"] *= rows["area_m2"]
        by_year = rows.groupby(["site", "design", "year"], sort=False)
        how = {"mean": "sum", "sum": "sum", "valves": "sum", "highest": "max", "lowest": "min"}.get(over, "first")
        value = by_year["value"].agg(how)
        if over == "mean":
            value /= by_year["weight"].sum()
        seasons = by_year[["latitude", "longitude"]].first().assign(value=value).reset_index()
        designs = seasons.groupby(["site", "design"], sort=False)
        table = designs[["latitude", "longitude"]].first()
        table["years"] = designs["value"].size()
        table["value"] = designs["value"].mean() if quantile is None else designs["value"].agg(_level, quantile)
        tables.append(table.reset_index())
    whole: pd.DataFrame = pd.concat(tables, ignore_index=True)
    return whole


def _level(values: pd.Series[float], quantile: float) -> float:
    """A quantile by Weibull's plotting positions; not a number beyond those of so many years."""
    n = len(values)
    if not 1.0 / (n + 1) - 1e-9 <= quantile <= n / (n + 1) + 1e-9:
        return float("nan")
    return float(np.quantile(values.to_numpy(), quantile, method="weibull"))
