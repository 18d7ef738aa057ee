"""
Swept: what a sweep's parts come to, written beside them, and opened when somebody asks.

Made from the parts alone, so that it depends on no run's history.
"""

from __future__ import annotations

import dataclasses
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from panbudget.errors import PanbudgetError, did_you_mean
from panbudget.extras import of_reports, wants_extra
from panbudget.files import json_bytes
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.compute import COLUMNS
from panbudget.studies.sweep.cube import FILES, points_bytes, write_cube
from panbudget.studies.sweep.jobs import BadSite
from panbudget.studies.sweep.plan import Plan
from panbudget.studies.sweep.store import CRS, Store, described, dictionary
from panbudget.studies.sweep.summary import Choice, Summary, csv_bytes, mapped, suits_table, summarised
from panbudget.studies.sweep.usable import refuse_sites, sites_table
from panbudget.words import units_shown

if TYPE_CHECKING:
    import xarray as xr


@dataclass(frozen=True)
class Swept:
    """
    A finished sweep. Its files are opened when they are asked for, and its columns read as they are used.

    Parameters
    ----------
    folder : Path
    rows, sites, seasons : int
    bad : tuple of BadSite
        Skipped, and why.
    choices : tuple of Choice
    skipped, cautions : dict
        Site -> year -> why it is left out; site -> check -> what is unlikely of its weather.
    plan : Plan
    kept : int
        Parts that an earlier run had done.
    seconds : dict
        What took how long in the workers, this run.
    elapsed : float
        Of this run, everything written. [s]
    """

    folder: Path
    rows: int
    sites: int
    seasons: int
    bad: tuple[BadSite, ...]
    choices: tuple[Choice, ...]
    skipped: dict[str, dict[str, str]]
    cautions: dict[str, dict[str, str]]
    plan: Plan
    kept: int = 0
    seconds: dict[str, float] = dataclasses.field(default_factory=dict)
    elapsed: float = 0.0

    @property
    def parquet(self) -> Path:
        """The dataset's folder, as `pandas.read_parquet` takes it."""
        return self.folder / "seasons"

    def _parts(self) -> list[Path]:
        return sorted(self.parquet.glob("part-*.parquet"))

    @cached_property
    def zarr(self) -> Path:
        """The dataset as a Zarr folder, as `xarray.open_zarr` takes it; written when it is first asked for."""
        return self.written("zarr")

    @cached_property
    def netcdf(self) -> Path:
        """The dataset as a NetCDF file, likewise."""
        return self.written("netcdf")

    def written(self, kind: str) -> Path:
        """Write the dataset as "zarr" or "netcdf" by the CF conventions; return where it stands."""
        gridded, title = self.plan.grid is not None, self.plan.described.title
        return write_cube(self._parts(), self.folder / FILES[kind], kind, title, gridded=gridded)

    def table(self, columns: Sequence[str] | None = None) -> pd.DataFrame:
        """Return rows of the dataset: all columns, or those named; days as timestamps, units in ``attrs``."""
        rows = pd.read_parquet(self.parquet, columns=None if columns is None else list(columns))
        for name in {"start", "end"}.intersection(rows.columns):
            rows[name] = pd.to_datetime(rows[name])
        rows.attrs["units"] = {name: described(name)[0] for name in rows.columns}
        return rows

    @cached_property
    def cube(self) -> xr.Dataset:
        """The dataset along its axes (design, bed, time; latitude and longitude, or site), read as it is used."""
        import xarray

        opened: xr.Dataset = xarray.open_zarr(self.zarr, consolidated=False)
        return opened

    @cached_property
    def summary(self) -> pd.DataFrame:
        """``summary.csv``: each bed's return levels."""
        return pd.read_csv(self.folder / "summary.csv")

    @cached_property
    def suits(self) -> pd.DataFrame:
        """``suits.csv``: each site's design."""
        return pd.read_csv(self.folder / "suits.csv")

    @cached_property
    def record(self) -> pd.DataFrame:
        """``sites.csv``: what was read, filled and skipped of each site, and why."""
        return pd.read_csv(self.folder / "sites.csv")

    def map(self, column: str, quantile: float | None = None) -> dict[str, bytes]:
        """Return a map of a column as files, name -> content: its quantile by Weibull's positions, or the years' mean."""
        values = mapped(self._parts(), column, quantile)
        draw = of_reports("sweep.map", "column_files")
        with units_shown(self.plan.base.units):
            drawn: dict[str, bytes] = draw(values, column, quantile, self.plan.described.title)
        return drawn


def finished(plan: Plan, store: Store, parts: int, **run: Any) -> Swept:
    """
    Write what the parts come to.

    Parameters
    ----------
    plan, store
    parts : int
    **run
        Of this run: ``kept``, ``seconds``.
    """
    wish = plan.base.wishes.stress_days
    bad: dict[str, BadSite] = {}  # each part of a site's designs names it
    records: dict[str, Any] = {}
    for index in range(parts):
        about = store.about(index)
        if about is None:
            raise PanbudgetError(problem("part-gone", str(store.part(index))))
        bad |= {name: BadSite(name, tuple(lines)) for name, lines in about["bad"] if name not in bad}
        records |= about["sites"]
    if not records:
        store.drop()
        refuse_sites(plan, {name: site.lines for name, site in bad.items()}, keep_going=True)
    summary = Summary([], 0, 0)
    store.write("summary.csv", summarised(map(store.part, range(parts)), wish, summary))
    choices, designs = summary.choices, [design.name for design in plan.designs]
    suits = suits_table(choices)
    sites = sites_table(plan.places, records, {name: site.lines for name, site in bad.items()})
    for name, table in (("suits", suits), ("sites", sites)):
        store.write(f"{name}.csv", [csv_bytes(table)])
    store.write("suits.parquet", [points_bytes(suits)])
    header = list(pd.read_csv(store.folder / "summary.csv", nrows=0).columns) if choices else []
    files: dict[str, Iterable[str]] = {"summary.csv": header, "suits.csv": suits.columns, "sites.csv": sites.columns}
    store.write("columns.csv", [csv_bytes(dictionary({**files, "suits.parquet": [*suits.columns, "geometry"]}))])
    if plan.described.output.figures and any(math.isfinite(choice.longitude) for choice in choices):
        map_files = of_reports("sweep.map", "map_files")
        with units_shown(plan.base.units):
            drawn = map_files(choices, designs, plan.described.title, wish)
        for name, content_of in drawn.items():
            store.write(f"figures/{name}", [content_of])
    keys = ("skipped", "cautions")
    skipped, cautions = ({name: about[key] for name, about in records.items() if about[key]} for key in keys)
    counts = Counter(choice.design for choice in choices)
    content = {
        "schema": 2,
        "title": plan.described.title,
        "note": plan.described.note,
        "plan": plan.fingerprint,
        "scenario_sha256": plan.base.sha256,
        "laid_over": list(plan.base.laid_over),
        "crs": CRS,
        "sites": len(plan.places),
        "sites_run": len(choices),
        "sites_skipped": len(bad),
        "cells_left_out": plan.left_out,
        "seasons": summary.seasons,
        "rows": summary.rows,
        "parts": parts,
        "wish_stress_days": wish,
        "suits": {name: counts[name] for name in designs},
        "sites_that_no_design_suits": sum(not choice.keeps for choice in choices),
        "skipped": [{"site": site.name, "why": site.lines} for site in bad.values()],
        "years_skipped": skipped,
        "cautions": cautions,
        "variables": plan.grid.listed() if plan.grid is not None else [],
    }
    store.write("sweep.json", [json_bytes(content)])
    store.seal()
    counted = summary.rows, len(choices), summary.seasons
    return Swept(store.folder, *counted, tuple(bad.values()), tuple(choices), skipped, cautions, plan, **run)


def refuse_unasked(columns: Sequence[str], quantile: float | None, kinds: Sequence[str]) -> None:
    """Refuse what can't be drawn or written, before anything is run."""
    known = [name for name in COLUMNS if described(name)[2]]
    wrong = []
    for name in columns:
        if name not in known:
            wrong.append(problem("no-such-column", "map", name, name=name, near=did_you_mean(name, known, "")))
    if quantile is not None and not 0.0 < quantile < 1.0:
        wrong.append(problem("no-quantile", "quantile", quantile, given=quantile))
    elif quantile is not None and not columns:
        wrong.append(problem("quantile-without-map", "quantile", quantile, given=quantile))
    strange = [kind for kind in kinds if kind not in FILES]
    wrong += [problem("no-such-kind", "to", kind, name=kind, known=" or ".join(FILES)) for kind in strange]
    if wrong:
        raise PanbudgetError(*wrong)
    if kinds:
        wants_extra("xarray", "zarr", "h5netcdf")
