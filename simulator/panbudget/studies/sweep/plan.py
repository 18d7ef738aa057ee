"""
Plan: what the user wants swept, read from TOML and checked: a base scenario, sites, years, designs.

Every key, its default and its meaning stand in the models below. All that is wrong comes out in one error, a line
each, before anything is run.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

from pydantic import Field, ValidationError

from panbudget.errors import Problem, ScenarioError, alike
from panbudget.extras import wants_extra
from panbudget.files import read_toml
from panbudget.scenario import problems as scenario_errors
from panbudget.scenario.garden import Column, Scenario, load_scenario
from panbudget.scenario.problems import USABLE, is_usable, unseen
from panbudget.scenario.quantities import Described, Elevation
from panbudget.scenario.show import Show
from panbudget.season.layout import Design
from panbudget.studies.sweep import problem
from panbudget.studies.sweep.marks import code_mark, file_mark, mark_of
from panbudget.studies.sweep.site import KNOWN, Place, places_in_table

if TYPE_CHECKING:
    from panbudget.studies.sweep.grid import Held

#: what alone a design may change: the plan gives the rest, or it holds for all
_BY_DESIGN = ("supply", "controller")
_Year = Annotated[int, Field(strict=True, ge=1700, le=2500)]


class Sites(Described):
    """Where: a table with a weather file each, or gridded daily weather."""

    table: str | None = None
    columns: dict[str, str] = Field(default_factory=dict)
    grid: str | None = None
    variables: dict[str, Column] = Field(default_factory=dict)
    elevation: Elevation | None = None

    def wrong(self) -> Iterator[Problem]:
        """Refuse what is neither a table nor a grid, and keys of the other."""
        if (self.table is None) == (self.grid is None):
            yield problem("one-of.sites")
        elif self.table is not None and (self.variables or self.elevation is not None):
            yield problem("other-kind.table", "variables" if self.variables else "elevation")
        elif self.grid is not None and self.columns:
            yield problem("other-kind.grid", "columns")
        for name in self.columns.keys() - {*KNOWN}:
            yield problem("unknown-column", f"columns.{name}", known=", ".join(KNOWN))


class Chosen(Described):
    """Which years."""

    first: _Year | None = None
    last: _Year | None = None

    def wrong(self) -> Iterator[Problem]:
        """Refuse one year alone, and years out of order."""
        if (self.first is None) != (self.last is None):
            yield problem("one-of.years")
        elif self.first is not None and self.last is not None and self.last < self.first:
            yield problem("order", "last", first=self.first)


class Output(Described):
    """What is written."""

    rows_per_file: Annotated[int, Field(strict=True, ge=1, le=1_000_000)] = 20_000
    figures: Annotated[bool, Field(strict=True)] = True


class PlanFile(Described):
    """A plan, as the user describes it; what its keys mean stands in `scenario/keys.toml`."""

    title: str = "A sweep"
    note: str = ""
    scenario: str
    sites: Sites
    years: Chosen = Field(default_factory=lambda: Chosen.model_validate({}))
    design: dict[str, dict[str, Any]] = Field(default_factory=dict)
    output: Output = Field(default_factory=lambda: Output.model_validate({}))
    show: Show = Field(default_factory=Show)

    def wrong(self) -> Iterator[Problem]:
        """Refuse names that can't stand in files."""
        yield from (problem("no-name", f"design.{name}", usable=USABLE) for name in self.design if not is_usable(name))
        seen: dict[str, str] = {}
        for name in self.design:
            if (other := seen.setdefault(alike(name), name)) != name:
                yield problem("named-twice", f"design.{name}", other=other)


class Marks(NamedTuple):
    """Fingerprints of what computes, of what all designs share, and of each design by its name."""

    code: str
    base: str
    designs: dict[str, str]


@dataclass(frozen=True)
class Plan:
    """
    A checked plan.

    Parameters
    ----------
    path : Path
    described : PlanFile
    base : Scenario
    designs : tuple of Design
    places : sequence of Place
    left_out : int
        Cells of a grid without weather (sea), latitude, longitude or height.
    fingerprint : str
        Of all that decides what comes out, the weather files left aside.
    marks : Marks
        Of its pieces: what of an earlier plan's rows still holds.
    grid : Held, optional
        What a grid holds.
    """

    path: Path
    described: PlanFile
    base: Scenario
    designs: tuple[Design, ...]
    places: Sequence[Place]
    left_out: int
    fingerprint: str
    marks: Marks
    grid: Held | None = None

    @property
    def folder(self) -> Path:
        """From which the weather files' names start."""
        table = self.described.sites.table
        return (self.path.parent / table).parent if table is not None else self.path.parent

    @property
    def rows_a_year(self) -> int:
        """Rows of one site and year: beds of all designs."""
        return sum(len(part.bed) for design in self.designs for part in design.scenario.controller.values())

    def limited(self, sites: int) -> Plan:
        """Return a plan of the first so many sites, one at least."""
        if sites < 1:
            raise ScenarioError(problem("no-limit", "limit", sites, sites=sites), file=str(self.path))
        mark = hashlib.sha256(f"{self.fingerprint} first {sites}".encode()).hexdigest()
        return replace(self, places=self.places[:sites], fingerprint=mark)

    def years(self) -> list[int] | None:
        """The years asked for; None for all of each record."""
        first, last = self.described.years.first, self.described.years.last
        return None if first is None or last is None else list(range(first, last + 1))


def load_plan(path: str | Path, variants: Sequence[str] = ()) -> Plan:
    """
    Read a plan and all that it names, weather files left aside.

    Parameters
    ----------
    path : path
        A TOML file.
    variants : sequence of str, optional
        Laid over its scenario in order, before the designs.

    Raises
    ------
    ScenarioError
        All that is wrong with the plan, a line each.
    """
    path = Path(path)
    raw, _ = read_toml(path, missing="a plan such as scenarios/district.toml is expected")
    if wrong := [*unseen(raw)]:
        raise ScenarioError(*wrong, file=str(path))
    try:
        described = PlanFile.model_validate(raw)
    except ValidationError as error:
        raise ScenarioError(*scenario_errors.problems(error, PlanFile), file=str(path)) from None
    garden = path.parent / described.scenario
    if not garden.is_file():
        none = problem("no-scenario", "scenario", described.scenario, file=described.scenario)
        raise ScenarioError(none, file=str(path))
    base = load_scenario(garden, *variants)
    if described.show.units:
        base = base.changed({"show": described.show.model_dump()})
    problems = [problem("not-for-a-sweep", "scenario", file=base.path.name, what=what) for what in sorted(_unfit(base))]
    designs = []
    for name, overlay in (described.design or {"as described": {}}).items():
        try:
            designs.append(Design(name, design := _designed(base, overlay)))
            alone = sorted(_unfit(design) - _unfit(base))
            problems += [problem("not-for-a-sweep.design", f"design.{name}", what=what) for what in alone]
        except ScenarioError as error:
            problems.extend(problem.under(f"design.{name}: ") for problem in error.problems)
    places: Sequence[Place] = ()
    held, mark = None, ""
    try:
        if described.sites.table is not None:
            table = path.parent / described.sites.table
            places = places_in_table(table, described.sites.columns, shown_as=described.sites.table)
            mark = "\n".join(map(repr, places))
        else:
            wants_extra("xarray")
            from panbudget.studies.sweep.grid import places_in_grid

            places, held = places_in_grid(path.parent, described.sites, base.weather)
            mark = repr(held.mark)
    except ScenarioError as error:
        (first, *_) = error.problems
        if first.code in ("no-file", "folder"):
            problems.append(problem("no-table", "sites.table", file=error.file, found=first.found))
        elif not problems and not any(part.where.startswith("sites.") for part in error.problems):
            raise
        else:
            problems += [p if p.where.startswith("sites.") else p.under(f"{error.file}: ") for p in error.problems]
    if problems:
        raise ScenarioError(*problems, file=str(path))
    marks = Marks(code_mark(), _mark_of_base(base, described), {name: mark_of(part.sha256) for name, part in designs})
    cut = (described.years.model_dump(), described.output.rows_per_file)
    fingerprint = mark_of(marks, list(marks.designs), cut, mark)
    left_out = held.left_out if held is not None else 0
    return Plan(path, described, base, tuple(designs), places, left_out, fingerprint, marks, held)


def _mark_of_base(base: Scenario, described: PlanFile) -> str:
    """Mark the scenario, what fallbacks hold, and how sites are read."""
    names = [name for source in base.weather.fallback for name in source.files]
    lent = [path for name in names for path in _files(base.path.parent, name)]
    how = described.sites.model_dump(mode="json", exclude={"table"})
    return mark_of(base.sha256, [file_mark(path) for path in lent], how)


def _files(folder: Path, name: str) -> list[Path]:
    """The files that a name or a pattern of names stands for."""
    return sorted(folder.glob(name)) if set("*?[") & set(name) and not Path(name).is_absolute() else [folder / name]


def _unfit(garden: Scenario) -> set[str]:
    unfit = {
        "[what_if.heat]": garden.what_if.heat is not None,
        "a [[fault]]": bool(garden.fault),
        "a supply with salinity": any(supply.salinity for supply in garden.supply.values()),
    }
    return {*filter(unfit.get, unfit)}


def _designed(base: Scenario, overlay: dict[str, Any]) -> Scenario:
    same = [key for key in overlay if key in Scenario.model_fields and key not in _BY_DESIGN]
    if wrong := [*base.misspelt(overlay, ""), *(problem("same-for-all", key) for key in same)]:
        raise ScenarioError(*wrong)
    return base.changed(overlay)
