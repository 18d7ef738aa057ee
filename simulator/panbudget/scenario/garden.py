"""
Scenario: what the user describes, read from TOML and checked. Knows no numerics.

Every key, its kind and its default stand in the models of this room, and what it means in `keys.toml`; help, `new` and
the guide read them from here. All that is wrong with a file comes out in one `ScenarioError`, a line each.
"""

from __future__ import annotations

import functools
import hashlib
import json
import unicodedata
import zoneinfo
from collections.abc import Collection, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import Field, PrivateAttr, ValidationError

from panbudget import words
from panbudget.errors import Problem, ScenarioError, alike, did_you_mean
from panbudget.files import read_toml, toml_key
from panbudget.scenario import problem, quantities
from panbudget.scenario import problems as scenario_errors
from panbudget.scenario.beds import Bed
from panbudget.scenario.faults import Fault, Knocked
from panbudget.scenario.pans import LEAST_SWING, Pan, Timer, Valve
from panbudget.scenario.problems import USABLE, is_usable, stranger_in, unseen
from panbudget.scenario.quantities import WIND_HEIGHTS, Date, Described, Elevation, Flag, Length, Number, Time, in_order
from panbudget.scenario.rights import StatementRules
from panbudget.scenario.show import Show, units_asked, units_of
from panbudget.scenario.supplies import Mains, Pipe, Supply, Tank
from panbudget.scenario.uncertainty import Uncertainty
from panbudget.scenario.wishes import Owned, Wishes
from panbudget.scenario.zones import far_zone, is_zone, unknown_zone

_LONGEST_SEASON = 3660  # days: ten years, whose hours take some 250 MB a valve


_Latitude = Annotated[Number, Field(ge=-90, le=90)]
_Longitude = Annotated[Number, Field(ge=-180, le=180)]


class Site(Described):
    """Where the garden lies."""

    latitude: _Latitude
    longitude: _Longitude | None = None
    elevation: Elevation
    timezone: str | None = None
    setting: Literal["inland", "coast"] = "inland"
    climate: Literal["auto", "dry", "humid"] = "auto"

    def wrong(self) -> Iterator[Problem]:
        if self.timezone is not None and not is_zone(self.timezone):
            yield unknown_zone(self.timezone)
        elif self.timezone is not None and self.longitude is not None:
            yield from far_zone(zoneinfo.ZoneInfo(self.timezone), self.longitude)


class Column(Described):
    """One column of a plain weather table whose header is not the standard name, or whose unit is not the standard one."""

    column: str | None = None
    unit: str | None = None

    def wrong(self) -> Iterator[Problem]:
        for key in ("column", "unit"):
            if (text := getattr(self, key)) is not None and not text.strip():
                yield problem("no-name.column", key)


class _WeatherFile(Described):
    file: quantities.WeatherFiles
    format: str = "auto"
    wind_height: Annotated[Length, Field(ge=WIND_HEIGHTS[0], le=WIND_HEIGHTS[1])] | None = None
    columns: dict[str, Column] = Field(default_factory=dict)
    missing: list[str] = Field(default_factory=list)
    trust: list[str] = Field(default_factory=list)

    @property
    def files(self) -> list[str]:
        """Its files or patterns, in the order in which they are read."""
        return [self.file] if isinstance(self.file, str) else self.file

    @property
    def shown(self) -> str:
        """What messages and reports call it."""
        return ", ".join(self.files)


class FallbackSource(_WeatherFile):
    """Another station's file, used only where the weather file has a gap."""

    adjust: Flag = False
    rain: Flag = False
    latitude: _Latitude | None = None
    longitude: _Longitude | None = None
    elevation: Elevation | None = None


class ForecastSource(_WeatherFile):
    """A file of the days ahead."""

    missing_rain: Literal["error", "zero"] = "error"


class WeatherSource(_WeatherFile):
    """The weather file."""

    missing_rain: Literal["error", "zero"] = "error"
    too_bright: Literal["error", "limit"] = "error"
    forecast: ForecastSource | None = None
    fallback: list[FallbackSource] = Field(default_factory=list, max_length=10)

    def wrong(self) -> Iterator[Problem]:
        seen = {self.shown: "the weather file itself"}
        for index, fallback in enumerate(self.fallback):
            if fallback.shown in seen:
                yield problem("named-twice.fallback", f"fallback[{index}].file", before=seen[fallback.shown])
                return
            seen[fallback.shown] = f"named twice, here and in fallback[{index}]"


class LogSource(Described):
    """What somebody writes down beside the pans this season."""

    file: str


class Neighbour(Described):
    """Who looks after the garden while you are away, for the sheet of `today`."""

    ask: str = ""


class SeasonDates(Described):
    """First and last day."""

    start: Date
    end: Date
    spin_up: Time | None = None

    def wrong(self) -> Iterator[Problem]:
        yield from in_order(self.start, self.end)
        if (days := (self.end - self.start).days + 1) > _LONGEST_SEASON:
            yield problem("too-long.season", "end", self.end, days=days, start=self.start, most=_LONGEST_SEASON)

    @property
    def spin_up_days(self) -> int:
        """Whole days of spin-up; 0 without one."""
        return 0 if self.spin_up is None else max(round(self.spin_up / 24.0), 1)


_DEEPEST_WEEK = 1000.0  # of what a timer gives: a metre over its beds is no watering (common practice, no source) [mm]


class Controller(Described):
    """One pan, one valve and the beds it waters."""

    supply: str
    pan: Pan
    valve: Valve
    bed: dict[str, Bed] = Field(min_length=1)
    pipe: Pipe | None = None
    timer: Timer | None = None

    def wrong(self) -> Iterator[Problem]:
        most = self.pan.water_at_reset
        if self.valve.swing_kg >= most:
            yield problem("too-much.swing", f"valve.{self.valve.marks[0]}", most=most)
        week, ground = self.timer and self.timer.litres_a_week, sum(bed.area for bed in self.bed.values())
        if week and week > _DEEPEST_WEEK * ground:
            yield problem("too-much.week", "timer.litres_a_week", week=week / ground, most=_DEEPEST_WEEK)


#: of a made-up heat wave: days, and by how much warmer [K]
HEAT_DAYS, MOST_WARMER = (1, 60), 15.0


class Heat(Described):
    """A made-up heat wave, laid over the weather file's days."""

    start: Date
    days: Annotated[quantities.Whole, Field(ge=HEAT_DAYS[0], le=HEAT_DAYS[1])] = 7
    warmer: Annotated[quantities.TemperatureDifference, Field(gt=0, le=MOST_WARMER)]
    without_rain: Flag = False


class WhatIf(Described):
    """What the record does not hold and you want to try."""

    heat: Heat | None = None


class _Source(NamedTuple):
    """Where a scenario comes from: what was read, from which file, a fingerprint of that, variants laid over it."""

    described: dict[str, Any]
    path: Path = Path("scenario.toml")
    sha256: str = ""
    laid_over: tuple[str, ...] = ()
    #: those that the file uses most: what is laid over it asks for others or leaves them
    units: words.System = "metric"

    @property
    def shown(self) -> words.System:
        """Units in which results are shown: those asked for, else those used most."""
        return units_asked(self.described) or self.units


class Scenario(Described):
    """A garden and a season, as the user describes them."""

    title: str = "A garden"
    note: str = ""
    site: Site
    weather: WeatherSource
    season: SeasonDates
    log: LogSource | None = None
    neighbour: Neighbour = Field(default_factory=Neighbour)
    show: Show = Field(default_factory=Show)
    supply: dict[str, Supply] = Field(min_length=1)
    controller: dict[str, Controller] = Field(min_length=1)
    wishes: Wishes = Field(default_factory=Wishes)
    owned: list[Owned] = Field(default_factory=list)
    what_if: WhatIf = Field(default_factory=WhatIf)
    fault: list[Fault] = Field(default_factory=list)
    uncertainty: Uncertainty = Field(default_factory=Uncertainty)
    statement: StatementRules = Field(default_factory=StatementRules)
    variant: dict[str, dict[str, Any]] = Field(default_factory=dict, max_length=100)

    _source: _Source = PrivateAttr(default=_Source({}))

    def wrong(self) -> Iterator[Problem]:
        yield from self._supplies_and_names()
        yield from self._rights_of_strange_beds()
        yield from self._floats_from_nowhere()
        yield from self._faults_of_strange_parts()

    def _supplies_and_names(self) -> Iterator[Problem]:
        """A controller must name a supply; names must be usable."""
        for name, controller in self.controller.items():
            if controller.supply not in self.supply:
                yield _unknown_part(f"controller.{name}.supply", "names no [supply.…]", controller.supply, self.supply)
            supply, loss = self.supply.get(controller.supply), controller.valve.rated_loss
            if isinstance(supply, Mains) and loss is not None and loss >= supply.pressure:
                yield problem("too-much.loss", f"controller.{name}.valve.rated_loss", pressure=supply.pressure)
        for name in self.uncertainty.controller.keys() - self.controller.keys():
            yield _unknown_part(f"uncertainty.controller.{name}", "names no [controller.…]", name, self.controller)
        made_up: dict[str, Iterable[str]] = {
            "supply": self.supply,
            **{f"supply.{name}.right.further": part.right.further for name, part in self.supply.items() if part.right},
            "variant": self.variant,
            "controller": self.controller,
            **{f"controller.{name}.bed": controller.bed for name, controller in self.controller.items()},
        }
        for where, names in made_up.items():
            seen: dict[str, str] = {}
            for name in names:
                if (other := seen.setdefault(alike(name), name)) != name:
                    yield problem("named-twice", f"{where}.{name}", other=other)
                if letter := stranger_in(name):
                    yield problem("no-name.scripts", f"{where}.{name}", letter=letter, named=unicodedata.name(letter))
        for where in [
            parent + "." + (name or '""') for parent in made_up for name in made_up[parent] if not is_usable(name)
        ]:
            yield problem("no-name", where, usable=USABLE)
        owned = [alike(thing.name) for thing in self.owned]
        for index in (index for index, name in enumerate(owned) if name in owned[:index]):
            yield problem("named-twice.owned", f"owned[{index}].name")
        for name in self.variant:
            if name.endswith(".toml"):
                yield problem("no-name.variant", f"variant.{name}")

    def _rights_of_strange_beds(self) -> Iterator[Problem]:
        """A further right must name beds that its supply waters."""
        for name, supply in self.supply.items():
            served = [key for key, controller in self._beds() if controller.supply == name]
            for further, right in (supply.right.further if supply.right else {}).items():
                for index, bed in enumerate(right.beds):
                    if bed not in served:
                        where = f"supply.{name}.right.further.{further}.beds[{index}]"
                        yield problem("unknown-part.right", where, supply=name, cure=did_you_mean(bed, served, ""))

    def _floats_from_nowhere(self) -> Iterator[Problem]:
        """A float valve's water is drawn from mains, under their right or a further one."""
        mains = {name: supply.right for name, supply in self.supply.items() if supply.kind == "mains"}
        known = [*mains, *(f"{name} / {key}" for name, right in mains.items() if right for key in right.further)]
        for name, supply in self.supply.items():
            source = supply.top_up.source if isinstance(supply, Tank) and supply.top_up else ""
            if source and source not in known:
                found = "is the tank itself, and no mains" if source == name else "names no mains"
                yield _unknown_part(f"supply.{name}.top_up.from", found, source, known)

    def _beds(self) -> list[tuple[str, Controller]]:
        return [(f"{name}/{bed}", controller) for name, controller in self.controller.items() for bed in controller.bed]

    def _faults_of_strange_parts(self) -> Iterator[Problem]:
        """A fault must name a part that is there, and may leave it out where there is only one."""
        names = {"supply": [*self.supply], "bed": [key for key, _ in self._beds()], "controller": [*self.controller]}
        for index, fault in enumerate(self.fault):
            key, named = fault.part
            known = names[key]
            where = f"fault[{index}].{key}"
            if named is None and len(known) > 1:
                yield problem("missing", where, cure=f"which one of {', '.join(known)}?")
            elif named is not None and named not in known:
                yield problem("unknown-part.fault", where, cure=did_you_mean(named, known, ""))
            elif key == "bed" and named and getattr(fault, "controller", None) not in (None, named.partition("/")[0]):
                yield problem("unknown-part.valve", f"fault[{index}].controller")
            elif isinstance(fault, Knocked) and fault.swing is not None:
                swing = self.controller[fault.controller or known[0]].valve.swing_kg
                if swing + fault.swing < LEAST_SWING:
                    yield problem("too-small.fault", f"fault[{index}].swing", swing=swing)

    def __repr__(self) -> str:
        beds = "; ".join(f"{name}: {', '.join(controller.bed)}" for name, controller in self.controller.items())
        return f'Scenario "{self.title}" of {self.path}, {self.season.start} to {self.season.end}; {beds}'

    __str__ = __repr__

    @property
    def path(self) -> Path:
        """File it was read from; paths inside it are relative to its folder."""
        return self._source.path

    def at(self, path: Path) -> Scenario:
        """Return the same garden with its file called by another path, such as one that holds in any folder."""
        copy = self.model_copy()
        copy._source = self._source._replace(path=path)
        return copy

    @property
    def described(self) -> Mapping[str, Any]:
        """What was read, before it was checked: nested mappings."""
        return self._source.described

    @property
    def file_sha256(self) -> str:
        """Fingerprint of the file that was read."""
        return self._source.sha256

    @property
    def sha256(self) -> str:
        """Fingerprint of the garden as it runs, variants laid over it and defaults filled in; variants not used leave no mark."""
        described = self.model_dump(mode="json", exclude={"variant", "log", "neighbour", "show"})
        return hashlib.sha256(json.dumps(described, sort_keys=True).encode()).hexdigest()

    @property
    def units(self) -> words.System:
        """Units in which pages, figures and lines speak: as `show` says, or those that the file uses most."""
        return self._source.shown

    @property
    def laid_over(self) -> tuple[str, ...]:
        """The variants that were laid over it, in order."""
        return self._source.laid_over

    @property
    def weather_paths(self) -> list[Path]:
        """The weather files, or patterns of theirs. Relative paths start at the scenario's folder."""
        return [self.path.parent / file for file in self.weather.files]

    def with_variant(self, name: str) -> Scenario:
        """
        Return the scenario with one of its overlays laid over it.

        Parameters
        ----------
        name : str
            A key of `variant`; or a file that ends in ".toml" and holds one variant, such as `fit` writes, or the bare
            keys of one.

        Raises
        ------
        ScenarioError
            No such variant, or it makes the scenario impossible.
        """
        overlay, is_own = self.overlay_of(name), name in self.variant
        where, file = (f"variant.{name}", str(self.path)) if is_own else ("", name)
        if wrong := [*unseen(overlay), *self.misspelt(overlay, where)]:
            raise ScenarioError(*wrong, file=file)
        return _checked(self._overlaid(overlay, name), where and f"{where}: ", file=file)

    def overlay_of(self, name: str) -> Mapping[str, Any]:
        """Return what a variant changes, as nested mappings; ``name`` as `with_variant` takes it."""
        if name in self.variant:
            return self.variant[name]
        if name.endswith(".toml"):
            return _variant_in(Path(name))
        none = f"none; describe it under [variant.{toml_key(name)}], or name a file of changes that ends in .toml"
        none = none if name.strip() else "none; leave it out"
        cure = did_you_mean(name, self.variant, f"the file has {', '.join(self.variant) or none}")
        unknown = problem("unknown-variant", f"variant.{toml_key(name)}", name, cure=cure)
        raise ScenarioError(unknown, file=str(self.path))

    def file_of(self, *keys: str) -> str:
        """Return what gives one of some keys such as "what_if.heat": the last laid over that has it, else the scenario's file."""
        for name in reversed(self.laid_over):
            for key in keys:
                part: object = self.overlay_of(name)
                steps = key.partition("[")[0].rstrip(":").split(".")  # of a list's entry, the list
                if functools.reduce(lambda part, step: _table(part).get(step), steps, part) is not None:
                    return f"{self.path}: variant.{toml_key(name)}" if name in self.variant else name
        return str(self.path)

    def with_variants(self, names: Iterable[str | Path]) -> Scenario:
        """Return the scenario with variants laid over it in order, as `with_variant` takes them; files as paths, too."""
        return functools.reduce(Scenario.with_variant, map(str, names), self)

    def changed(self, overlay: Mapping[str, Any]) -> Scenario:
        """Return the scenario with an overlay, given as nested mappings, laid over it."""
        return _checked(self._overlaid(overlay))

    def _overlaid(self, overlay: Mapping[str, Any], *names: str) -> _Source:
        described = _overlaid(self.described, overlay)
        return self._source._replace(described=described, laid_over=(*self.laid_over, *names))

    def misspelt(self, overlay: Mapping[str, Any], where: str) -> Iterator[Problem]:
        """Name the parts that an overlay changes under a name that is nearly one of the file's: each would be a new, empty part."""
        if "variant" in overlay:
            yield problem("unknown-part.variant", f"{where}.variant".lstrip("."))
        given, supplies = (_table(overlay.get(key)) for key in ("controller", "supply"))
        joined = any(_table(part).keys() & {"supply", "top_up"} for part in (*given.values(), *supplies.values()))
        # what is changed, what there is, and the keys of a part that is described whole, which may be a new one
        parts: list[tuple[str, object, Mapping[str, Any], tuple[set[str], ...]]] = [
            ("controller", given, self.controller, ({"supply"},)),
            ("supply", supplies, self.supply, ({"pressure"}, {"kind"}) if joined else ()),
        ]
        for name, part in self.controller.items():
            beds = _table(given.get(name)).get("bed")
            parts.append((f"controller.{name}.bed", beds, part.bed, ({"area", "emitters"},)))
        for path, changes, known, marks in parts:
            for name, change in _table(changes).items():
                cure = did_you_mean(name, known, "")
                if not cure and path == "controller" and not _table(change).keys() & {"supply", "bed"}:
                    cure = f"it has {', '.join(known)}; is this of another garden?"
                if cure and name not in known and not any(mark <= set(_table(change)) for mark in marks):
                    part_of = f"{where}.{path}.{name}".lstrip(".")
                    yield problem("unknown-part", part_of, name, found="changes nothing that the file has", cure=cure)


def _unknown_part(where: str, found: str, name: str, known: Collection[str]) -> Problem:
    cure = did_you_mean(name, known) if known else ""
    return problem("unknown-part", where, found=f"{found} of this file", cure=cure)


def _table(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def _variant_in(path: Path) -> dict[str, Any]:
    """Read the one variant that a file holds, under its name or bare."""
    described, _ = read_toml(path)
    variants = described.get("variant")
    is_named = set(described) == {"variant"} and isinstance(variants, dict) and len(variants) == 1
    only: dict[str, Any] = next(iter(variants.values())) if is_named and variants else described
    if not (only or is_named) or "variant" in only or not isinstance(only, dict) or only.keys() >= _WHOLE:
        raise ScenarioError(problem("no-variant"), file=str(path))
    return only


# keys that every garden has, and no overlay all of
_WHOLE = {"site", "weather", "season", "supply", "controller"}

# an overlay that sets one of these takes the other away
_ALTERNATIVES = (
    ("swing", "set_up_test"),
    ("plants", "plantings", "mix"),
    ("duration", "litres_a_week"),
    ("exposure", "openings"),
    ("refill_flow", "litres"),
)


def _overlaid(base: Mapping[str, Any], overlay: Mapping[str, Any]) -> dict[str, Any]:
    replaced = {key for group in _ALTERNATIVES if not overlay.keys().isdisjoint(group) for key in group}
    merged = {key: value for key, value in base.items() if key not in replaced}
    # mains that become a tank keep their water right and meter, and nothing else
    if overlay.get("kind", base.get("kind")) != base.get("kind") and ("pressure" in base or "volume" in base):
        merged = {key: value for key, value in merged.items() if key in ("right", "meter")}
    for key, value in overlay.items():
        below = merged.get(key)
        if value is None:  # a description in Python may take a key away
            merged.pop(key, None)
        # soils and plants are one thing told in several ways: replaced whole, never mixed
        elif isinstance(below, Mapping) and isinstance(value, Mapping) and key not in ("soil", "plants"):
            merged[key] = _overlaid(below, value)
        else:
            merged[key] = value
    return merged


def _checked(source: _Source, prefix: str = "", file: str = "") -> Scenario:
    """Check what is described; ``file`` is to blame where that is not the source's."""
    with words.units_shown(source.shown):
        try:
            scenario = Scenario.model_validate(source.described)
        except ValidationError as error:
            problems = scenario_errors.problems(error, Scenario, prefix)
            raise ScenarioError(*problems, file=file or str(source.path)) from None
    scenario._source = source
    return scenario


def scenario_from(description: Mapping[str, Any], path: str | Path = "scenario.toml") -> Scenario:
    """
    Check a scenario given as nested mappings, as `tomllib` would read it.

    Parameters
    ----------
    description : mapping
        Keys as in a scenario file.
    path : path, optional
        Where it would stand; the weather file is looked for relative to its folder.

    Raises
    ------
    ScenarioError
        All that is wrong, a line each.
    """
    described = dict(description)
    wrong = [*unseen(described)]
    if wrong:
        raise ScenarioError(*wrong, file=str(path))
    sha256, units = hashlib.sha256(repr(described).encode()).hexdigest(), units_of(described)
    scenario = _checked(_Source(described, Path(path), sha256, units=units))
    for name in scenario.variant:
        try:
            scenario.with_variant(name)
        except ScenarioError as error:
            wrong.extend(error.problems)
    if wrong:
        raise ScenarioError(*wrong, file=str(path))
    return scenario


def load_scenario(path: str | Path, *variants: str | Path) -> Scenario:
    """
    Read a scenario file and check it, its variants included.

    Parameters
    ----------
    path : path
        A TOML file.
    *variants : str or path
        Laid over it in order: names of its own, or files that hold one, such as `fit` writes.

    Raises
    ------
    ScenarioError
        The file can't be read, is no TOML, or says something unknown or impossible; all of it, a line each.
    """
    described, content = read_toml(path, missing="`panbudget new DIR` makes one to start from")
    scenario = scenario_from(described, path)
    scenario._source = scenario._source._replace(sha256=hashlib.sha256(content).hexdigest())
    return scenario.with_variants(variants)


def as_scenario(garden: Scenario | str | Path, variants: Iterable[str | Path] = ()) -> Scenario:
    """Return a scenario, read from the file that describes it where it is a path, with variants laid over it in order."""
    return (garden if isinstance(garden, Scenario) else load_scenario(garden)).with_variants(variants)
