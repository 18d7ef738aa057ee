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

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    ValidationError,
    model_validator,
)

from simulator import scenario_errors
from simulator.errors import Problem, ScenarioError
from simulator.scenario_errors import Senseless
from simulator.scenario_right import Right, StatementRules
from simulator.units import UnitError, quantity

__all__ = [
    "Bed",
    "Controller",
    "Emitter",
    "Emitters",
    "Fetch",
    "Pan",
    "Plants",
    "Scenario",
    "SeasonDates",
    "SetUpTest",
    "Site",
    "Soil",
    "Supply",
    "Valve",
    "Vessel",
    "WeatherSource",
    "load_scenario",
    "scenario_from",
]


def _reads(kind: str) -> BeforeValidator:
    def read(value: object) -> object:
        try:
            return quantity(value, kind)
        except UnitError as error:
            raise Senseless(str(error)) from error

    return BeforeValidator(read)


def _name_to_table(value: object) -> object:
    """`soil = "loam"` is short for `soil = { name = "loam" }`."""
    return {"name": value} if isinstance(value, str) else value


Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Count = Annotated[int, Field(strict=True, ge=1, le=1_000_000)]
Length = Annotated[float, _reads("length")]
Depth = Annotated[float, _reads("depth")]
Area = Annotated[float, _reads("area"), Field(gt=0)]
Mass = Annotated[float, _reads("mass")]
Flow = Annotated[float, _reads("flow"), Field(gt=0)]
Pressure = Annotated[float, _reads("pressure"), Field(gt=0)]
Share = Annotated[Number, Field(ge=0, le=1)]


class Described(BaseModel):
    """Base of all parts: nothing unknown gets in, nothing changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True)


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

            try:
                zoneinfo.ZoneInfo(self.timezone)
            except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
                near = scenario_errors.nearest(self.timezone, zoneinfo.available_timezones())
                raise Senseless("is not a time zone that is known", near=near, key="timezone") from error
        return self


class Column(Described):
    """One column of a plain weather table whose header is not the standard name."""

    column: str = Field(description="the header as the file has it")
    unit: str | None = Field(None, description='the unit as the file has it, such as "degF"; standard if left out')


class WeatherSource(Described):
    """The weather file."""

    file: str = Field(description="path, relative to this scenario file")
    format: str = Field("auto", description='"auto", or a reader\'s name')
    wind_height: Annotated[Length, Field(ge=0.5, le=200)] = Field(
        2.0, description='height of the wind gauge above ground, such as "10 m"'
    )
    missing_rain: Literal["error", "zero"] = Field("error", description="what a day without a rain figure means")
    too_bright: Literal["error", "limit"] = Field(
        "error", description='radiation a little above a clear sky\'s: refuse, or "limit" and flag it'
    )
    columns: dict[str, Column] = Field(default_factory=dict, description="standard name = { column, unit }")


class SeasonDates(Described):
    """First and last day."""

    start: dt.date = Field(description="first day, such as 2025-05-01")
    end: dt.date = Field(description="last day, such as 2025-09-30")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.end < self.start:
            raise Senseless(f"is before the start, {self.start}; give the later date as end", key="end")
        return self


class Supply(Described):
    """Where the water comes from."""

    kind: Literal["mains", "tank"] = Field("mains", description='"mains": a pressure that holds all season')
    pressure: Pressure | None = Field(None, description='pressure at the emitters, such as "150 kPa"')
    right: Right | None = Field(None, description="[supply.NAME.right]: what a water-rights form wants to know")

    @model_validator(mode="after")
    def _has_pressure(self) -> Self:
        if self.kind == "tank":
            raise Senseless(
                'is not modelled yet; use kind = "mains" with the pressure that the tank\'s usual level gives, '
                "9.8 kPa for each metre of height",
                key="kind",
            )
        if self.pressure is None:
            raise Senseless('is missing; the pressure at the emitters is expected, such as "150 kPa"', key="pressure")
        return self


class Vessel(Described):
    """One open container with vertical sides."""

    diameter: Length | None = Field(None, description='inside diameter, such as "50 cm"')
    length: Length | None = Field(None, description='inside length, such as "60 cm"')
    width: Length | None = Field(None, description='inside width, such as "40 cm"')
    area: Area | None = Field(None, description='water surface, such as "0.2 m^2"')
    count: Count = Field(1, description="how many of these")

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        given = {k for k in ("diameter", "length", "width", "area") if getattr(self, k) is not None}
        if given not in ({"diameter"}, {"length", "width"}, {"area"}):
            raise Senseless("takes a diameter, or a length and a width, or an area: one of the three")
        for key in sorted(given):
            if getattr(self, key) <= 0:
                raise Senseless("must be above zero", key=key)
        return self

    @property
    def surface(self) -> float:
        """Water surface of all of these together. [m²]"""
        import math

        if self.diameter is not None:
            one = math.pi * self.diameter**2 / 4.0
        elif self.area is not None:
            one = self.area
        else:
            assert self.length is not None and self.width is not None  # `_one_shape` saw to it
            one = self.length * self.width
        return one * self.count


class Fetch(Described):
    """What lies upwind of the pan."""

    cover: Literal["green", "dry"] = Field("green", description='"green": watered or growing; "dry": bare or dry')
    distance: Annotated[Length, Field(gt=0)] = Field(10.0, description="how far it reaches upwind")


class Pan(Described):
    """The open container on the beam."""

    vessels: list[Vessel] = Field(min_length=1, description='such as [{ diameter = "50 cm" }]')
    depth: Annotated[Depth, Field(gt=0)] = Field(description='floor to rim, such as "18 cm"')
    freeboard: Annotated[Depth, Field(ge=0)] = Field(20.0, description="from the reset level up to the rim")
    evaporation: Literal["from-eto", "energy-balance", "measured"] = Field(
        "from-eto", description="how the pan's evaporation is reckoned"
    )
    fetch: Fetch = Field(default_factory=lambda: Fetch.model_validate({}))
    exposure: Annotated[Number, Field(gt=0, le=5)] = Field(
        1.0,
        description="factor on the computed evaporation: size, colour, shade, mesh; what a field log corrects",
    )
    night_share: Share = Field(0.0, description="part of the day's evaporation that falls in the dark hours")
    ground_albedo: Share = Field(
        0.26, description="reflection of the ground around the pan; only for the energy balance"
    )

    @model_validator(mode="after")
    def _holds_water(self) -> Self:
        if self.freeboard >= self.depth:
            raise Senseless(
                f"reaches down to the floor of a pan {self.depth:g} mm deep; give less freeboard or a deeper pan",
                key="freeboard",
            )
        return self

    @property
    def area(self) -> float:
        """Water surface of all vessels. [m²]"""
        return sum(vessel.surface for vessel in self.vessels)

    @property
    def water_at_reset(self) -> float:
        """Water in the pan at the reset level. [kg]"""
        return (self.depth - self.freeboard) * self.area


class Emitter(Described):
    """One emitter, by its packet or by a jug."""

    flow: Flow = Field(description='such as "2 L/h" or "33 mL/min"')
    at: Pressure | None = Field(
        None, description="pressure at which it gives that; left out, the flow was measured in place"
    )
    exponent: Annotated[Number, Field(ge=0, le=1)] = Field(
        0.5, description="0 pressure-compensated, 0.5 turbulent, 1 laminar"
    )


class Emitters(Emitter):
    """All emitters of a bed, of one kind."""

    count: Count = Field(1, description="how many")


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
    least_pressure: Pressure | None = Field(None, description="least that the valve works at")

    @model_validator(mode="after")
    def _one_swing(self) -> Self:
        if (self.swing is None) == (self.set_up_test is None):
            raise Senseless("takes either a swing or a set_up_test", key="swing")
        if self.swing_kg < 0.001:
            raise Senseless("is below a gram, which no beam feels; a swing is some hundred grams", key="swing")
        for index, text in enumerate(self.press_times):
            if text not in ("sunset", "sunrise") and not _is_clock(text):
                raise Senseless('must be "sunset", "sunrise" or a time such as "20:30"', key=f"press_times[{index}]")
        if len(self.press_times) > 24:
            raise Senseless("has more than 24 times a day", key="press_times")
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


class Soil(Described):
    """A texture from the table, or the two water contents."""

    name: str | None = Field(None, description='such as "loam"')
    field_capacity: Annotated[Number, Field(gt=0, lt=1)] | None = Field(None, description="m³ of water per m³ of soil")
    wilting_point: Annotated[Number, Field(ge=0, lt=1)] | None = Field(None, description="m³ of water per m³ of soil")

    @model_validator(mode="after")
    def _known(self) -> Self:
        own = (self.field_capacity is not None, self.wilting_point is not None)
        if self.name is None and own != (True, True):
            raise Senseless("takes a texture's name, or a field_capacity and a wilting_point")
        if self.name is not None:
            if any(own):
                raise Senseless("takes a texture's name or the two water contents, not both")
            from simulator.soil import SoilError, find_soil

            try:
                find_soil(self.name)
            except SoilError as error:
                raise Senseless(str(error), whole=True) from error
        elif (self.wilting_point or 0.0) >= (self.field_capacity or 0.0):
            raise Senseless(
                f"must be below the field capacity, {self.field_capacity:g}; the two may be swapped",
                key="wilting_point",
            )
        return self


class Plants(Described):
    """A plant from the table (with changes, if any), a constant Kc, or a landscape plant factor."""

    name: str | None = Field(None, description='such as "tomato"')
    kc: Annotated[Number, Field(gt=0, le=2)] | None = Field(None, description="crop coefficient, all season")
    plant_factor: (
        Annotated[
            list[Annotated[Number, Field(ge=0, le=1.5)]],
            BeforeValidator(lambda v: v if isinstance(v, list) else [v]),
        ]
        | None
    ) = Field(None, description="share of ETo that a landscape planting needs: one number, or twelve from January")
    stages: (
        Annotated[list[Annotated[int, Field(strict=True, ge=0, le=400)]], Field(min_length=4, max_length=4)] | None
    ) = Field(None, description="days of the initial, development, mid and late stages")
    kc_ini: Annotated[Number, Field(gt=0, le=2)] | None = Field(None, description="in place of the table's")
    kc_mid: Annotated[Number, Field(gt=0, le=2)] | None = Field(None, description="in place of the table's")
    kc_end: Annotated[Number, Field(gt=0, le=2)] | None = Field(None, description="in place of the table's")
    root_depth: Annotated[Length, Field(gt=0, le=10)] | None = Field(None, description='such as "60 cm"')
    depletion: Annotated[Number, Field(gt=0, lt=1)] | None = Field(
        None, description="share of the soil's water that the plants take without stress, at ETc 5 mm a day"
    )
    height: Annotated[Length, Field(gt=0, le=50)] | None = Field(None, description='full-grown, such as "0.6 m"')

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        kinds = [k for k in ("name", "kc", "plant_factor") if getattr(self, k) is not None]
        if len(kinds) != 1:
            raise Senseless("takes one of: a plant's name, a kc, a plant_factor")
        if self.plant_factor is not None and len(self.plant_factor) not in (1, 12):
            raise Senseless("takes one number, or twelve from January to December", key="plant_factor")
        if self.name is None:
            for key in ("root_depth", "depletion"):
                if getattr(self, key) is None:
                    raise Senseless("is missing; it is needed beside a kc or a plant_factor", key=key)
            for key in ("stages", "kc_ini", "kc_mid", "kc_end"):
                if getattr(self, key) is not None:
                    raise Senseless("goes with a plant's name, not with a kc or a plant_factor", key=key)
        else:
            from simulator.plants import PlantError, find_plant

            if self.stages is not None and not sum(self.stages):
                raise Senseless("has no day in it; give the days of the four stages", key="stages")
            try:
                find_plant(self.name)
            except PlantError as error:
                raise Senseless(str(error), whole=True) from error
        return self


class Bed(Described):
    """One planted area with one soil and one planting."""

    area: Area = Field(description='such as "12 m^2"')
    emitters: Emitters = Field(description='such as { count = 30, flow = "2 L/h", at = "100 kPa" }')
    soil: Annotated[Soil, BeforeValidator(_name_to_table)] = Field(description='such as "loam"')
    plants: Annotated[Plants, BeforeValidator(_name_to_table)] = Field(description='such as "tomato"')
    planted: dt.date | None = Field(None, description="sowing, planting out or (perennials) start of growth")
    method: Literal["single", "dual"] = Field("single", description="single or dual crop coefficient")
    uniformity: Annotated[Number, Field(gt=0, le=1)] = Field(
        0.9,
        description="low-quarter distribution uniformity: what the driest quarter gets, as a share of the mean",
    )
    initial_depletion: Share = Field(0.0, description="share of the soil's available water gone on the first day")
    root_fraction: Annotated[Number, Field(gt=0, le=1)] = Field(
        1.0, description="share of the bed's area that roots occupy"
    )
    wetted_fraction: Annotated[Number, Field(gt=0, le=1)] = Field(
        0.35, description="share of the surface that the emitters wet; only for the dual coefficient"
    )
    curve_number: Annotated[Number, Field(ge=30, le=100)] | None = Field(
        None, description="NRCS curve number for runoff; none if left out"
    )

    @model_validator(mode="after")
    def _planting_has_date(self) -> Self:
        if self.plants.name is not None and self.planted is None:
            from simulator.plants import find_plant

            if find_plant(self.plants.name).needs_date or self.plants.stages is not None:
                raise Senseless(
                    f"is missing; {self.plants.name} has growth stages, so give the day of planting "
                    "(for a perennial: when growth starts), such as 2025-05-05",
                    key="planted",
                )
        return self


class Controller(Described):
    """One pan, one valve and the beds it waters."""

    supply: str = Field(description="the name of a [supply.NAME]")
    pan: Pan
    valve: Valve
    bed: dict[str, Bed] = Field(min_length=1, description="[controller.NAME.bed.NAME]")

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


class Scenario(Described):
    """A garden and a season, as the user describes them."""

    title: str = Field("A garden", description="one line for the reports")
    note: str = Field("", description="a sentence of your own, shown under the title")
    site: Site
    weather: WeatherSource
    season: SeasonDates
    supply: dict[str, Supply] = Field(min_length=1, description="[supply.NAME]")
    controller: dict[str, Controller] = Field(min_length=1, description="[controller.NAME]")
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
        wrong.extend(self._rights_of_strange_beds())
        for path, name in scenario_errors.names_of(self):
            if not name.strip() or "/" in name or not name.isprintable() or len(name) > 60:
                wrong.append(
                    Senseless('is no usable name: 1 to 60 printable characters without "/"', key=path, shown=False)
                )
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

    @property
    def path(self) -> Path:
        """File it was read from; paths inside it are relative to its folder."""
        return self._path

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
            A key of `variant`.

        Raises
        ------
        ScenarioError
            No such variant, or it makes the scenario impossible.
        """
        if name not in self.variant:
            near = scenario_errors.nearest(name, self.variant)
            hint = f'; did you mean "{near}"?' if near else "; the file has none like it"
            raise ScenarioError(Problem(f"there is no [variant.{name}]{hint}", "variant", name), file=str(self._path))
        merged = _overlaid({k: v for k, v in self._raw.items() if k != "variant"}, self.variant[name])
        return _checked(merged, self._path, self._sha256, prefix=f"variant.{name}: ")

    def changed(self, overlay: Mapping[str, Any]) -> Scenario:
        """Return the scenario with an overlay, given as nested mappings, laid over it."""
        return _checked(_overlaid(self._raw, overlay), self._path, self._sha256)


# an overlay that sets one of these takes the other away
_ALTERNATIVES = (("swing", "set_up_test"),)


def _overlaid(base: Mapping[str, Any], overlay: Mapping[str, Any]) -> dict[str, Any]:
    merged = dict(base)
    for one, other in _ALTERNATIVES:
        if one in overlay:
            merged.pop(other, None)
        if other in overlay:
            merged.pop(one, None)
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
