"""
Scenario: what the user describes, read from TOML and checked. Knows no numerics.

Every key, its default and its meaning stand in the models below and nowhere else; help, `new` and the guide read
them from here. All that is wrong with a file comes out in one `ScenarioError`, a line each.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, PrivateAttr, ValidationError, model_validator

from panbudget.errors import Problem, ScenarioError, did_you_mean
from panbudget.files import read_toml
from panbudget.scenario import problems as scenario_errors
from panbudget.scenario.beds import Bed, Emitter
from panbudget.scenario.faults import Fault, Knocked
from panbudget.scenario.pans import Pan
from panbudget.scenario.problems import Senseless
from panbudget.scenario.quantities import (
    Described,
    Flag,
    Flow,
    Length,
    Mass,
    Number,
    OneOf,
    Pressure,
    TemperatureDifference,
    Time,
    Volume,
    WeatherFile,
    in_order,
)
from panbudget.scenario.rights import StatementRules
from panbudget.scenario.supplies import Pipe, Supply
from panbudget.scenario.wishes import Owned, Wishes

_LEAST_SWING = 0.001  # kg; a gram, which no beam feels
USABLE = '1 to 60 printable characters without "/"'


def is_usable(name: str) -> bool:
    """Whether a name that the user made up can stand in keys, tables and file names."""
    return bool(name.strip()) and "/" not in name and name.isprintable() and len(name) <= 60


_Latitude = Annotated[Number, Field(ge=-90, le=90)]
_Longitude = Annotated[Number, Field(ge=-180, le=180)]
_Elevation = Annotated[Length, Field(ge=-430, le=6000)]


class Site(Described):
    """Where the garden lies."""

    latitude: _Latitude = Field(description="degrees, south negative, such as 38.6")
    longitude: _Longitude | None = Field(
        None, description="degrees, west negative; with a time zone, reports show clock time"
    )
    elevation: _Elevation = Field(description='height above sea, such as "240 m"')
    timezone: str | None = Field(None, description='such as "Etc/GMT+0" or "Australia/Perth"')
    setting: Literal["inland", "coast"] = Field("inland", description="used only where radiation is missing")
    climate: Literal["auto", "dry", "humid"] = Field(
        "auto",
        description="used only where humidity is missing; auto goes by the record's rain against its ETo",
    )

    @model_validator(mode="after")
    def _zone_is_known(self) -> Self:
        if self.timezone is not None:
            import zoneinfo

            from panbudget.scenario.zones import unknown_zone

            try:
                zoneinfo.ZoneInfo(self.timezone)
            except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
                raise Senseless(unknown_zone(self.timezone)) from error
        return self


class Column(Described):
    """One column of a plain weather table whose header is not the standard name."""

    column: str = Field(description="the header as the file has it")
    unit: str | None = Field(None, description='the unit as the file has it, such as "degF"; standard if left out')


class _WeatherFile(Described):
    file: WeatherFile = Field(description="path, relative to this scenario file")
    format: str = Field("auto", description='"auto", or a reader\'s name')
    wind_height: Annotated[Length, Field(ge=0.5, le=200)] | None = Field(
        None, description='height of its wind gauge above ground, such as "10 m"; by the format, else 2 m'
    )
    columns: dict[str, Column] = Field(default_factory=dict, description="standard name = { column, unit }")


class FallbackSource(_WeatherFile):
    """Another station's file, used only where the weather file has a gap."""

    adjust: Flag = Field(False, description="true fits its figures to the weather file's over the days that both have")
    rain: Flag = Field(False, description="true lets it lend rain, which is local")
    latitude: _Latitude | None = Field(None, description="where it differs from the site's")
    longitude: _Longitude | None = Field(None, description="likewise")
    elevation: _Elevation | None = Field(None, description='likewise, such as "310 m"')


class WeatherSource(_WeatherFile):
    """The weather file."""

    missing_rain: Literal["error", "zero"] = Field("error", description="what a day without a rain figure means")
    too_bright: Literal["error", "limit"] = Field(
        "error", description='radiation a little above a clear sky\'s: refuse, or "limit" and flag it'
    )
    fallback: list[FallbackSource] = Field(
        default_factory=list, max_length=10, description="[[weather.fallback]]: other stations' files, for its gaps"
    )

    @model_validator(mode="after")
    def _each_file_once(self) -> Self:
        seen = {self.file: "the weather file itself"}
        for index, fallback in enumerate(self.fallback):
            if fallback.file in seen:
                found = f"is {seen[fallback.file]}"
                raise Senseless(Problem("named-twice", f"fallback[{index}].file", found, cure="name another file"))
            seen[fallback.file] = f"named twice, here and in fallback[{index}]"
        return self


class SeasonDates(Described):
    """First and last day."""

    start: dt.date = Field(description="first day, such as 2025-05-01")
    end: dt.date = Field(description="last day, such as 2025-09-30")
    spin_up: Time | None = Field(
        None, description='how long before the start the soils are stepped on rain alone, such as "60 d"'
    )

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        in_order(self.start, self.end)
        return self

    @property
    def spin_up_days(self) -> int:
        """Whole days of spin-up; 0 without one."""
        return 0 if self.spin_up is None else max(round(self.spin_up / 24.0), 1)


class SetUpTest(Described):
    """Two weighings of the counterweight."""

    falls_at: Annotated[Mass, Field(gt=0)] = Field(description="counterweight at which the beam falls")
    rises_at: Annotated[Mass, Field(ge=0)] = Field(description="counterweight at which it rises again")
    arm_ratio: Annotated[Number, Field(gt=0, le=100)] = Field(1.0, description="counterweight's arm over the pan's arm")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.rises_at >= self.falls_at:
            raise Senseless(Problem("order", "rises_at", "must be below falls_at: the latch makes the two differ"))
        return self


class _Valve(Described):
    """The valve, its beam and its refill emitter."""

    refill: Emitter = Field(
        description='the emitter that drips into the pan, such as { flow = "2 L/h", at = "100 kPa" }'
    )
    press_times: list[str] = Field(default_factory=list, description='"sunset", "sunrise" or "20:30"')
    rated_flow: Flow | None = Field(None, description="most that the valve is made for")
    rated_loss: Pressure | None = Field(None, description='pressure it takes at its rated flow, such as "30 kPa"')
    least_pressure: Pressure | None = Field(None, description="least that the valve works at")

    @property
    def swing_kg(self) -> float:
        """Water between trip and reset. [kg]"""
        raise NotImplementedError

    @property
    def arm_ratio(self) -> float:
        """Counterweight's arm over the pan's arm, as far as the file says it."""
        return 1.0

    @model_validator(mode="after")
    def _can_work(self) -> Self:
        wrong = []
        if self.swing_kg < _LEAST_SWING:
            found = "is below a gram, which no beam feels; a swing is some hundred grams"
            wrong.append(Problem("too-small", "swing", found))
        for index, text in enumerate(self.press_times):
            if text not in ("sunset", "sunrise") and not _is_clock(text):
                found = 'must be "sunset", "sunrise" or a time such as "20:30"'
                wrong.append(Problem("no-time", f"press_times[{index}]", found))
        if len(self.press_times) > 24:
            wrong.append(Problem("too-long", "press_times", "has more than 24 times a day"))
        if wrong:
            raise Senseless(*wrong)
        return self


class SwingValve(_Valve):
    """A valve whose swing is known."""

    marks = ("swing",)

    swing: Annotated[Mass, Field(gt=0)] = Field(description='such as "0.9 kg"')

    @property
    def swing_kg(self) -> float:
        """Water between trip and reset. [kg]"""
        return self.swing


class WeighedValve(_Valve):
    """A valve whose swing comes of two weighings."""

    marks = ("set_up_test",)

    set_up_test: SetUpTest = Field(description="two weighings, in place of the swing")

    @property
    def swing_kg(self) -> float:
        """Water between trip and reset. [kg]"""
        return (self.set_up_test.falls_at - self.set_up_test.rises_at) * self.arm_ratio

    @property
    def arm_ratio(self) -> float:
        """Counterweight's arm over the pan's arm."""
        return self.set_up_test.arm_ratio


Valve = Annotated[SwingValve | WeighedValve, OneOf()]


def _is_clock(text: str) -> bool:
    try:
        dt.datetime.strptime(text, "%H:%M")
    except ValueError:
        return False
    return True


class Timer(Described):
    """The clock timer that waters these beds now: a yardstick to compare the pan with."""

    days: list[Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]] = Field(
        min_length=1, max_length=7, description='such as ["mon", "thu"]'
    )
    duration: Time | None = Field(None, description='of each watering, such as "30 min"')
    litres_a_week: Annotated[Volume, Field(gt=0)] | None = Field(
        None, description='of all these beds together, such as "500 L"; in place of the duration'
    )

    @model_validator(mode="after")
    def _one_amount(self) -> Self:
        if (self.duration is None) == (self.litres_a_week is None):
            raise Senseless(Problem("one-of", found="takes a duration or litres_a_week: one of the two"))
        if len(set(self.days)) < len(self.days):
            raise Senseless(Problem("named-twice", "days", "names a day twice"))
        return self


class Controller(Described):
    """One pan, one valve and the beds it waters."""

    supply: str = Field(description="the name of a [supply.NAME]")
    pan: Pan
    valve: Valve
    bed: dict[str, Bed] = Field(min_length=1, description="[controller.NAME.bed.NAME]")
    pipe: Pipe | None = Field(
        None, description='from the supply to the emitters: { length = "20 m", diameter = "13 mm" }'
    )
    timer: Timer | None = Field(None, description="[controller.NAME.timer]: the present clock timer, for comparison")

    @model_validator(mode="after")
    def _pan_outlasts_swing(self) -> Self:
        most = self.pan.water_at_reset
        if self.valve.swing_kg >= most:
            found = f"would empty the pan before it trips: filled to its freeboard the pan holds {most:.3g} kg"
            cure = "take a smaller swing, or a wider or deeper pan"
            raise Senseless(Problem("too-much", f"valve.{self.valve.marks[0]}", found, cure=cure))
        return self


class Heat(Described):
    """A made-up heat wave, laid over the weather file's days."""

    start: dt.date = Field(description="first day, such as 2025-07-08")
    days: Annotated[int, Field(strict=True, ge=1, le=60)] = Field(7, description="how many days, such as 7")
    warmer: Annotated[TemperatureDifference, Field(gt=0, le=15)] = Field(
        description='how much warmer by day and by night, such as "+5 K"'
    )
    without_rain: Flag = Field(False, description="true takes away those days' rain")


class WhatIf(Described):
    """What the record does not hold and you want to try."""

    heat: Heat | None = Field(None, description='a made-up heat wave, such as { start = 2025-07-08, warmer = "+5 K" }')


class Scenario(Described):
    """A garden and a season, as the user describes them."""

    title: str = Field("A garden", description="one line for the reports")
    note: str = Field("", description="a sentence of your own, shown under the title")
    site: Site
    weather: WeatherSource
    season: SeasonDates
    supply: dict[str, Supply] = Field(min_length=1, description="[supply.NAME]")
    controller: dict[str, Controller] = Field(min_length=1, description="[controller.NAME]")
    wishes: Wishes = Field(default_factory=lambda: Wishes.model_validate({}), description="[wishes], for `size`")
    owned: list[Owned] = Field(default_factory=list, description="[[owned]]: containers and emitters at hand")
    what_if: WhatIf = Field(default_factory=lambda: WhatIf.model_validate({}))
    fault: list[Fault] = Field(default_factory=list, description="[[fault]]: what goes wrong, and when")
    statement: StatementRules = Field(default_factory=lambda: StatementRules.model_validate({}))
    variant: dict[str, dict[str, Any]] = Field(default_factory=dict, description="overlays: only what differs")

    _path: Path = PrivateAttr(default=Path("scenario.toml"))
    _raw: dict[str, Any] = PrivateAttr(default_factory=dict)
    _sha256: str = PrivateAttr(default="")
    _laid_over: tuple[str, ...] = PrivateAttr(default=())

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Self:
        wrong = [*self._supplies_and_names(), *self._rights_of_strange_beds(), *self._faults_of_strange_parts()]
        if wrong:
            raise Senseless(*wrong)
        return self

    def _supplies_and_names(self) -> Iterator[Problem]:
        """A controller must name a supply; names must be usable."""
        for name, controller in self.controller.items():
            if controller.supply not in self.supply:
                cure = did_you_mean(controller.supply, self.supply, "")
                yield Problem("unknown-part", f"controller.{name}.supply", "names no [supply.…] of this file", "", cure)
            if len({bed.strip().casefold() for bed in controller.bed}) < len(controller.bed):
                yield Problem("named-twice", f"controller.{name}.bed", "has two beds of one name")
        made_up = [
            *(("supply", name) for name in self.supply),
            *(
                (f"supply.{n}.right.further", name)
                for n, s in self.supply.items()
                if s.right
                for name in s.right.further
            ),
            *(("variant", name) for name in self.variant),
            *(("controller", name) for name in self.controller),
            *((f"controller.{n}.bed", name) for n, c in self.controller.items() for name in c.bed),
        ]
        for parent, name in made_up:
            if not is_usable(name):
                yield Problem("no-name", f"{parent}.{name}", "is no usable name", USABLE)

    def _rights_of_strange_beds(self) -> Iterator[Problem]:
        """A further right must name beds that its supply waters."""
        for name, supply in self.supply.items():
            served = [key for key, controller in self._beds() if controller.supply == name]
            for further, right in (supply.right.further if supply.right else {}).items():
                for index, bed in enumerate(right.beds):
                    if bed not in served:
                        where = f"supply.{name}.right.further.{further}.beds[{index}]"
                        found = f'is no bed that [supply.{name}] waters, written "CONTROLLER/BED"'
                        yield Problem("unknown-part", where, found, "", did_you_mean(bed, served, ""))

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
                yield Problem("missing", where, "is missing", cure=f"which one of {', '.join(known)}?")
            elif named is not None and named not in known:
                yield Problem("unknown-part", where, "is not in this file", "", did_you_mean(named, known, ""))
            elif isinstance(fault, Knocked) and fault.swing is not None:
                swing = self.controller[fault.controller or known[0]].valve.swing_kg
                if swing + fault.swing < _LEAST_SWING:
                    found = f"leaves nothing of a swing of {swing:g} kg"
                    yield Problem("too-small", f"fault[{index}].swing", found)

    @property
    def path(self) -> Path:
        """File it was read from; paths inside it are relative to its folder."""
        return self._path

    @property
    def described(self) -> Mapping[str, Any]:
        """What was read, before it was checked: nested mappings."""
        return self._raw

    @property
    def sha256(self) -> str:
        """Fingerprint of what was read."""
        return self._sha256

    @property
    def laid_over(self) -> tuple[str, ...]:
        """The variants that were laid over it, in order."""
        return self._laid_over

    @property
    def weather_path(self) -> Path:
        """The weather file. Relative paths start at the scenario's folder."""
        return self._path.parent / self.weather.file

    def with_variant(self, name: str) -> Scenario:
        """
        Return the scenario with one of its overlays laid over it.

        Parameters
        ----------
        name : str
            A key of `variant`; or a file that ends in ".toml" and holds one variant, such as `fit` writes.

        Raises
        ------
        ScenarioError
            No such variant, or it makes the scenario impossible.
        """
        if name not in self.variant and name.endswith(".toml"):
            merged = _overlaid(self._raw, _variant_in(Path(name)))
            return _checked(merged, self._path, self._sha256, (*self._laid_over, name))
        if name not in self.variant:
            cure = did_you_mean(name, self.variant, f"the file has {', '.join(self.variant) or 'none'}")
            problem = Problem("unknown-variant", f"variant.{name}", "is not in this file", "", cure, name)
            raise ScenarioError(problem, file=str(self._path))
        strange = list(self._misspelt(self.variant[name], f"variant.{name}"))
        if strange:
            raise ScenarioError(*strange, file=str(self._path))
        merged = _overlaid(self._raw, self.variant[name])
        return _checked(merged, self._path, self._sha256, (*self._laid_over, name), prefix=f"variant.{name}: ")

    def _misspelt(self, overlay: Mapping[str, Any], where: str) -> Iterator[Problem]:
        """Parts that an overlay changes, under a name that is nearly one of the file's: it would be a new, empty part."""
        given = _table(overlay.get("controller"))
        # what is changed, what there is, and the keys of a part that is described whole, which may be a new one
        parts: list[tuple[str, Any, Mapping[str, Any], tuple[set[str], ...]]] = [
            ("controller", given, self.controller, ({"supply"},)),
            ("supply", overlay.get("supply"), self.supply, ({"pressure"}, {"kind"})),
            *(
                (f"controller.{name}.bed", _table(given.get(name)).get("bed"), part.bed, ({"area", "emitters"},))
                for name, part in self.controller.items()
            ),
        ]
        for path, changes, known, marks in parts:
            for name, change in _table(changes).items():
                if name in known or any(mark <= set(_table(change)) for mark in marks):
                    continue
                cure = did_you_mean(name, known, "")
                if cure:
                    found = "changes nothing that the file has"
                    yield Problem("unknown-part", f"{where}.{path}.{name}", found, "", cure, name)

    def changed(self, overlay: Mapping[str, Any]) -> Scenario:
        """Return the scenario with an overlay, given as nested mappings, laid over it."""
        return _checked(_overlaid(self._raw, overlay), self._path, self._sha256, self._laid_over)


def _table(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def _variant_in(path: Path) -> dict[str, Any]:
    """Read the one variant that a file holds."""
    described, _ = read_toml(path)
    held = described.get("variant")
    if set(described) != {"variant"} or not isinstance(held, dict) or len(held) != 1:
        raise ScenarioError(Problem("no-variant", "", "must hold one [variant.NAME] and nothing else"), file=str(path))
    only: dict[str, Any] = next(iter(held.values()))
    return only


# an overlay that sets one of these takes the other away
_ALTERNATIVES = (("swing", "set_up_test"), ("plants", "plantings", "mix"), ("duration", "litres_a_week"))


def _overlaid(base: Mapping[str, Any], overlay: Mapping[str, Any]) -> dict[str, Any]:
    merged = dict(base)
    for group in _ALTERNATIVES:
        if any(key in overlay for key in group):
            for key in group:
                merged.pop(key, None)
    # mains that become a tank keep their water right and nothing else
    if overlay.get("kind", base.get("kind")) != base.get("kind") and ("pressure" in base or "volume" in base):
        merged = {key: value for key, value in merged.items() if key == "right"}
    for key, value in overlay.items():
        if value is None:  # a description in Python may take a key away
            merged.pop(key, None)
            continue
        below = merged.get(key)
        # soils and plants are one thing told in several ways: replaced whole, never mixed
        if isinstance(below, Mapping) and isinstance(value, Mapping) and key not in ("soil", "plants"):
            merged[key] = _overlaid(below, value)
        else:
            merged[key] = value
    return merged


def _checked(
    raw: dict[str, Any], path: Path, sha256: str, laid_over: tuple[str, ...] = (), prefix: str = ""
) -> Scenario:
    try:
        scenario = Scenario.model_validate(raw)
    except ValidationError as error:
        problems = scenario_errors.problems(error, Scenario, prefix)
        raise ScenarioError(*problems, file=str(path)) from None
    scenario._path = path
    scenario._raw = raw
    scenario._sha256 = sha256
    scenario._laid_over = laid_over
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

    Returns
    -------
    Scenario

    Raises
    ------
    ScenarioError
        All that is wrong, a line each.
    """
    raw = dict(description)
    scenario = _checked(raw, Path(path), hashlib.sha256(repr(raw).encode()).hexdigest())
    wrong: list[Problem] = []
    for name in scenario.variant:
        try:
            scenario.with_variant(name)
        except ScenarioError as error:
            wrong.extend(error.problems)
    if wrong:
        raise ScenarioError(*wrong, file=str(path))
    return scenario


def load_scenario(path: str | Path, *variants: str) -> Scenario:
    """
    Read a scenario file and check it, its variants included.

    Parameters
    ----------
    path : path
        A TOML file.
    *variants : str
        Laid over it in order: names of its own, or files that hold one, such as `fit` writes.

    Returns
    -------
    Scenario

    Raises
    ------
    ScenarioError
        The file can't be read, is no TOML, or says something unknown or impossible; all of it, a line each.
    """
    path = Path(path)
    raw, content = read_toml(path, missing="`panbudget new DIR` makes one to start from")
    scenario = scenario_from(raw, path)
    scenario._sha256 = hashlib.sha256(content).hexdigest()
    for name in variants:
        scenario = scenario.with_variant(name)
    return scenario


def as_scenario(garden: Scenario | str | Path) -> Scenario:
    """Return a scenario as it is, or read it from the file that describes it."""
    return garden if isinstance(garden, Scenario) else load_scenario(garden)
