"""
Scenario: what the user describes, read from TOML and checked. Knows no numerics.

Every key, its default and its meaning stand in the models below and nowhere else; help, `new` and the guide read
them from here. All that is wrong with a file comes out in one `ScenarioError`, a line each.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, PrivateAttr, ValidationError, model_validator

from panbudget.errors import Problem, ScenarioError
from panbudget.scenario import problems as scenario_errors
from panbudget.scenario.beds import Bed, Emitter, Emitters, Plants, Soil
from panbudget.scenario.faults import Fault
from panbudget.scenario.pans import Fetch, Pan, Vessel
from panbudget.scenario.problems import Senseless, Several
from panbudget.scenario.quantities import (
    Described,
    Flow,
    Length,
    Mass,
    Number,
    Pressure,
    TemperatureDifference,
    Time,
    Volume,
    WeatherFile,
)
from panbudget.scenario.rights import StatementRules
from panbudget.scenario.supplies import Pipe, Supply
from panbudget.scenario.wishes import Owned, Wishes

__all__ = [
    "Bed",
    "Column",
    "Controller",
    "Emitter",
    "Emitters",
    "FallbackSource",
    "Fault",
    "Fetch",
    "Heat",
    "Pan",
    "Plants",
    "Scenario",
    "SeasonDates",
    "SetUpTest",
    "Site",
    "Soil",
    "Supply",
    "Timer",
    "Valve",
    "Vessel",
    "WeatherSource",
    "WhatIf",
    "load_scenario",
    "scenario_from",
]


class Site(Described):
    """Where the garden lies."""

    latitude: Annotated[Number, Field(ge=-90, le=90)] = Field(description="degrees, south negative, such as 38.6")
    longitude: Annotated[Number, Field(ge=-180, le=180)] | None = Field(
        None, description="degrees, west negative; with a time zone, reports show clock time"
    )
    elevation: Annotated[Length, Field(ge=-430, le=6000)] = Field(description='height above sea, such as "240 m"')
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

            from panbudget.scenario.zones import zone_cure

            try:
                zoneinfo.ZoneInfo(self.timezone)
            except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
                raise Senseless(zone_cure(self.timezone), key="timezone") from error
        return self


class Column(Described):
    """One column of a plain weather table whose header is not the standard name."""

    column: str = Field(description="the header as the file has it")
    unit: str | None = Field(None, description='the unit as the file has it, such as "degF"; standard if left out')


class FallbackSource(Described):
    """Another station's file, used only where the weather file has a gap."""

    file: WeatherFile = Field(description="path, relative to this scenario file")
    format: str = Field("auto", description='"auto", or a reader\'s name')
    wind_height: Annotated[Length, Field(ge=0.5, le=200)] | None = Field(
        None, description='height of its wind gauge above ground, such as "10 m"; by the format, else 2 m'
    )
    columns: dict[str, Column] = Field(default_factory=dict, description="standard name = { column, unit }")
    adjust: Annotated[bool, Field(strict=True)] = Field(
        False, description="true fits its figures to the weather file's over the days that both have"
    )
    rain: Annotated[bool, Field(strict=True)] = Field(False, description="true lets it lend rain, which is local")
    latitude: Annotated[Number, Field(ge=-90, le=90)] | None = Field(
        None, description="where it differs from the site's"
    )
    longitude: Annotated[Number, Field(ge=-180, le=180)] | None = Field(None, description="likewise")
    elevation: Annotated[Length, Field(ge=-430, le=6000)] | None = Field(None, description='likewise, such as "310 m"')


class WeatherSource(Described):
    """The weather file."""

    file: WeatherFile = Field(description="path, relative to this scenario file")
    format: str = Field("auto", description='"auto", or a reader\'s name')
    wind_height: Annotated[Length, Field(ge=0.5, le=200)] | None = Field(
        None, description='height of the wind gauge above ground, such as "10 m"; by the format, else 2 m'
    )
    missing_rain: Literal["error", "zero"] = Field("error", description="what a day without a rain figure means")
    too_bright: Literal["error", "limit"] = Field(
        "error", description='radiation a little above a clear sky\'s: refuse, or "limit" and flag it'
    )
    columns: dict[str, Column] = Field(default_factory=dict, description="standard name = { column, unit }")
    fallback: list[FallbackSource] = Field(
        default_factory=list, max_length=10, description="[[weather.fallback]]: other stations' files, for its gaps"
    )

    @model_validator(mode="after")
    def _each_file_once(self) -> Self:
        seen = {self.file: "the weather file itself"}
        for index, fallback in enumerate(self.fallback):
            if fallback.file in seen:
                raise Senseless(f"is {seen[fallback.file]}; name another file", key=f"fallback[{index}].file")
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
        if self.end < self.start:
            raise Senseless(f"is before the start, {self.start}; give the later date as end", key="end")
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
            raise Senseless("must be below falls_at: the latch makes the two differ", key="rises_at")
        return self


class Valve(Described):
    """The valve, its beam and its refill emitter."""

    swing: Annotated[Mass, Field(gt=0)] | None = Field(None, description='kg between trip and reset, such as "0.9 kg"')
    set_up_test: SetUpTest | None = Field(None, description="two weighings, in place of the swing")
    refill: Emitter = Field(
        description='the emitter that drips into the pan, such as { flow = "2 L/h", at = "100 kPa" }'
    )
    press_times: list[str] = Field(default_factory=list, description='"sunset", "sunrise" or "20:30"')
    rated_flow: Flow | None = Field(None, description="most that the valve is made for")
    rated_loss: Pressure | None = Field(None, description='pressure it takes at its rated flow, such as "30 kPa"')
    least_pressure: Pressure | None = Field(None, description="least that the valve works at")

    @model_validator(mode="after")
    def _one_swing(self) -> Self:
        wrong = []
        if self.swing is not None and self.set_up_test is not None:
            message = "stands beside set_up_test, and both say the same thing; take one of them out"
            wrong.append(Senseless(message, key="swing"))
        elif self.swing is None and self.set_up_test is None:
            message = 'is missing; expected: such as "0.9 kg", or set_up_test with two weighings in its place'
            wrong.append(Senseless(message, key="swing"))
        elif self.swing_kg < 0.001:
            message = "is below a gram, which no beam feels; a swing is some hundred grams"
            wrong.append(Senseless(message, key="swing"))
        for index, text in enumerate(self.press_times):
            if text not in ("sunset", "sunrise") and not _is_clock(text):
                message = 'must be "sunset", "sunrise" or a time such as "20:30"'
                wrong.append(Senseless(message, key=f"press_times[{index}]"))
        if len(self.press_times) > 24:
            wrong.append(Senseless("has more than 24 times a day", key="press_times"))
        if wrong:
            raise Several(wrong)
        return self

    @property
    def swing_kg(self) -> float:
        """Water between trip and reset. [kg]"""
        if self.set_up_test is not None:
            return (self.set_up_test.falls_at - self.set_up_test.rises_at) * self.set_up_test.arm_ratio
        return self.swing or 0.0


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
            raise Senseless("takes a duration or litres_a_week: one of the two")
        if len(set(self.days)) < len(self.days):
            raise Senseless("names a day twice", key="days", shown=False)
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
            key = "valve.swing" if self.valve.set_up_test is None else "valve.set_up_test"
            raise Senseless(
                f"would empty the pan before it trips: filled to its freeboard the pan holds {most:.3g} kg; "
                "take a smaller swing, or a wider or deeper pan",
                key=key,
            )
        return self


class Heat(Described):
    """A made heat wave, laid over the weather file's days."""

    start: dt.date = Field(description="first day, such as 2025-07-08")
    days: Annotated[int, Field(strict=True, ge=1, le=60)] = Field(7, description="how many days, such as 7")
    warmer: Annotated[TemperatureDifference, Field(gt=0, le=15)] = Field(
        description='how much warmer by day and by night, such as "+5 K"'
    )
    without_rain: Annotated[bool, Field(strict=True)] = Field(False, description="true takes away those days' rain")


class WhatIf(Described):
    """What the record does not hold and you want to try."""

    heat: Heat | None = Field(None, description='a made heat wave, such as { start = 2025-07-08, warmer = "+5 K" }')


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

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        wrong = []
        for name, controller in self.controller.items():
            if controller.supply not in self.supply:
                near = scenario_errors.nearest(controller.supply, self.supply)
                wrong.append(Senseless("names no [supply.…] of this file", near=near, key=f"controller.{name}.supply"))
            names = {bed.strip().casefold() for bed in controller.bed}
            if len(names) < len(controller.bed):
                wrong.append(Senseless("has two beds of one name", key=f"controller.{name}.bed", shown=False))
        for path, name in scenario_errors.names_of(self):
            if not name.strip() or "/" in name or not name.isprintable() or len(name) > 60:
                wrong.append(
                    Senseless('is no usable name: 1 to 60 printable characters without "/"', key=path, shown=False)
                )
        wrong.extend(self._rights_of_strange_beds())
        wrong.extend(self._faults_of_strange_parts())
        if wrong:
            raise scenario_errors.Several(wrong)
        return self

    def _rights_of_strange_beds(self) -> Iterator[Senseless]:
        """A further right must name beds that its supply waters."""
        for name, supply in self.supply.items():
            served = [
                f"{c}/{bed}"
                for c, controller in self.controller.items()
                if controller.supply == name
                for bed in controller.bed
            ]
            for further, right in (supply.right.further if supply.right else {}).items():
                for index, bed in enumerate(right.beds):
                    if bed not in served:
                        yield Senseless(
                            f'is no bed that [supply.{name}] waters, written "CONTROLLER/BED"',
                            near=scenario_errors.nearest(bed, served),
                            key=f"supply.{name}.right.further.{further}.beds[{index}]",
                        )

    def _faults_of_strange_parts(self) -> Iterator[Senseless]:
        """A fault must name a part that is there, and may leave it out where there is only one."""
        beds = [f"{name}/{bed}" for name, controller in self.controller.items() for bed in controller.bed]
        for index, fault in enumerate(self.fault):
            key = "supply" if fault.kind == "supply-cut" else "bed" if fault.bed is not None else "controller"
            known = {"supply": list(self.supply), "bed": beds, "controller": list(self.controller)}[key]
            named = getattr(fault, key)
            at = f"fault[{index}].{key}"
            if named is None and len(known) > 1:
                yield Senseless(f"is missing; which one of {', '.join(known)}?", key=at, shown=False)
            elif named is not None and named not in known:
                yield Senseless("is not in this file", near=scenario_errors.nearest(named, known), key=at)
            elif fault.swing is not None:
                own = self.controller[fault.controller or known[0]].valve.swing_kg
                if own + fault.swing < 0.001:
                    yield Senseless(f"leaves nothing of a swing of {own:g} kg", key=f"fault[{index}].swing")

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
            return self.changed(_variant_in(Path(name)))
        if name not in self.variant:
            near = scenario_errors.nearest(name, self.variant)
            hint = f'; did you mean "{near}"?' if near else f"; the file has {', '.join(self.variant) or 'none'}"
            raise ScenarioError(
                Problem.of_text(f"there is no [variant.{name}]{hint}", "variant", name), file=str(self._path)
            )
        strange = list(self._misspelt(self.variant[name], f"variant.{name}"))
        if strange:
            raise ScenarioError(*strange, file=str(self._path))
        merged = _overlaid({k: v for k, v in self._raw.items() if k != "variant"}, self.variant[name])
        return _checked(merged, self._path, self._sha256, prefix=f"variant.{name}: ")

    def _misspelt(self, overlay: Mapping[str, Any], where: str) -> Iterator[Problem]:
        """Parts that an overlay changes, under a name that is nearly one of the file's: it would be a new, empty part."""
        parts: list[tuple[str, Any, Mapping[str, Any]]] = [
            (kind, overlay.get(kind), getattr(self, kind)) for kind in ("controller", "supply")
        ]
        given = overlay.get("controller")
        if isinstance(given, Mapping):
            for name, controller in self.controller.items():
                if isinstance(given.get(name), Mapping):
                    parts.append((f"controller.{name}.bed", given[name].get("bed"), controller.bed))
        for path, changes, known in parts:
            for name in changes if isinstance(changes, Mapping) else ():
                # a part that is described whole may be a new one: every valve names its supply, and so on
                marks = {"controller": ({"supply"},), "supply": ({"pressure"}, {"kind"})}.get(
                    path, ({"area", "emitters"},)
                )
                keys = set(changes[name]) if isinstance(changes[name], Mapping) else set()
                whole = any(mark <= keys for mark in marks)
                new = name not in known and not whole
                near = scenario_errors.nearest(name, known) if new else None
                if near is not None:
                    key = f"{where}.{path}.{name}"
                    yield Problem.of_text(f'{key} changes nothing that the file has; did you mean "{near}"?', key, name)

    def changed(self, overlay: Mapping[str, Any]) -> Scenario:
        """Return the scenario with an overlay, given as nested mappings, laid over it."""
        return _checked(_overlaid(self._raw, overlay), self._path, self._sha256)


def _variant_in(path: Path) -> dict[str, Any]:
    """Read the one variant that a file holds."""
    try:
        content = path.read_bytes()
        described = tomllib.loads(content.decode("utf-8-sig").replace("\r\n", "\n"))
    except OSError as error:
        raise ScenarioError(f"can't be read ({error.strerror}); check the path of --variant", file=str(path)) from None
    except UnicodeDecodeError:
        raise ScenarioError("is not a text file in UTF-8; save it as UTF-8", file=str(path)) from None
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(scenario_errors.toml_problem(str(error), content), file=str(path)) from None
    held = described.get("variant")
    if set(described) != {"variant"} or not isinstance(held, dict) or len(held) != 1:
        raise ScenarioError("must hold one [variant.NAME] and nothing else", file=str(path))
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
        below = merged.get(key)
        # soils and plants are one thing told in several ways: replaced whole, never mixed
        if isinstance(below, Mapping) and isinstance(value, Mapping) and key not in ("soil", "plants"):
            merged[key] = _overlaid(below, value)
        else:
            merged[key] = value
    return merged


def _checked(raw: dict[str, Any], path: Path, sha256: str, prefix: str = "") -> Scenario:
    try:
        scenario = Scenario.model_validate(raw)
    except ValidationError as error:
        problems = scenario_errors.problems(error, Scenario, prefix)
        raise ScenarioError(*problems, file=str(path)) from None
    scenario._path = path
    scenario._raw = raw
    scenario._sha256 = sha256
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


def load_scenario(path: str | Path) -> Scenario:
    """
    Read a scenario file and check it, its variants included.

    Parameters
    ----------
    path : path
        A TOML file.

    Returns
    -------
    Scenario

    Raises
    ------
    ScenarioError
        The file can't be read, is no TOML, or says something unknown or impossible; all of it, a line each.
    """
    path = Path(path)
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise ScenarioError(
            "there is no such file; `panbudget new DIR` makes one to start from", file=str(path)
        ) from None
    except IsADirectoryError:
        found = sorted(path.glob("*.toml"))
        hint = f"; did you mean {found[0]}?" if found else "; name the .toml file in it"
        raise ScenarioError(f"is a folder{hint}", file=str(path)) from None
    except OSError as error:
        raise ScenarioError(f"can't be read ({error.strerror}); check its permissions", file=str(path)) from None
    try:
        raw = tomllib.loads(content.decode("utf-8-sig").replace("\r\n", "\n"))
    except UnicodeDecodeError:
        raise ScenarioError("is not a text file in UTF-8; save it as UTF-8", file=str(path)) from None
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(scenario_errors.toml_problem(str(error), content), file=str(path)) from None
    scenario = scenario_from(raw, path)
    scenario._sha256 = hashlib.sha256(content).hexdigest()
    return scenario
