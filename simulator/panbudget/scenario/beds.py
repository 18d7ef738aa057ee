"""
The scenario's beds: soil, plants in all the ways they can be described, mulch, and the bed that holds them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from panbudget.errors import Problem
from panbudget.scenario.problems import Senseless
from panbudget.scenario.quantities import (
    Area,
    Conductivity,
    Count,
    Depth,
    Described,
    Flow,
    Length,
    Number,
    OneOf,
    OrName,
    Pressure,
    Reads,
    Share,
    Time,
)
from panbudget.tables import UnknownName
from panbudget.tables.plants import find_plant, landscape_level
from panbudget.tables.soils import find_soil


def _sentence(error: UnknownName, key: str = "") -> Problem:
    """A table's problem, which is a sentence of its own, at a key."""
    return replace(error.problem, where=key, found=f": {error.problem.found}")


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


class NamedSoil(Described):
    """A texture from the table."""

    marks = ("name",)

    name: str = Field(description='such as "loam"')

    @model_validator(mode="after")
    def _is_known(self) -> Self:
        try:
            find_soil(self.name)
        except UnknownName as error:
            raise Senseless(_sentence(error)) from error
        return self


class OwnSoil(Described):
    """A soil by its two water contents."""

    marks = ("field_capacity", "wilting_point")

    field_capacity: Annotated[Number, Field(gt=0, lt=1)] = Field(description="m³ of water per m³ of soil")
    wilting_point: Annotated[Number, Field(ge=0, lt=1)] = Field(description="m³ of water per m³ of soil")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.wilting_point >= self.field_capacity:
            found = f"must be below the field capacity, {self.field_capacity:g}; the two may be swapped"
            raise Senseless(Problem("order", "wilting_point", found))
        return self


class _Layer(Described):
    thickness: Annotated[Length, Field(gt=0, le=10)] = Field(description='such as "30 cm"')


class NamedLayer(NamedSoil, _Layer):
    """A layer by its texture's name."""


class OwnLayer(OwnSoil, _Layer):
    """A layer by its two water contents."""


class LayeredSoil(Described):
    """Up to four layers from the surface down."""

    marks = ("layers",)

    layers: list[Annotated[NamedLayer | OwnLayer, OneOf()]] = Field(
        min_length=1, max_length=4, description='such as [{ name = "loam", thickness = "30 cm" }, …]'
    )


Soil = Annotated[NamedSoil | OwnSoil | LayeredSoil, OneOf()]
Level = Annotated[Number, Field(ge=0, le=2)] | Annotated[str, Field(pattern="^[a-z ]+$")]
_Coefficient = Annotated[Number, Field(gt=0, le=2)]
_RootDepth = Annotated[Length, Field(gt=0, le=10)]
_Depletion = Annotated[Number, Field(gt=0, lt=1)]
_DEPLETION = "share of the soil's water that the plants take without stress, at ETc 5 mm a day"


class _Plants(Described):
    height: Annotated[Length, Field(gt=0, le=50)] | None = Field(None, description='full-grown, such as "0.6 m"')

    @property
    def needs_date(self) -> bool:
        """Whether a day of planting, or of first growth, must be known."""
        return False


class NamedPlants(_Plants):
    """A plant from the table, with changes, if any."""

    marks = ("name",)

    name: str = Field(description='such as "tomato"')
    stages: (
        Annotated[list[Annotated[int, Field(strict=True, ge=0, le=400)]], Field(min_length=4, max_length=4)] | None
    ) = Field(None, description="days of the initial, development, mid and late stages")
    stages_gdd: Annotated[list[Annotated[Number, Field(ge=0)]], Field(min_length=4, max_length=4)] | None = Field(
        None, description="growing degree days of the four stages [°C·d], in place of days"
    )
    base_temperature: Annotated[Number, Field(ge=-10, le=30)] = Field(
        10.0, description="°C below which nothing grows; for stages_gdd"
    )
    kc_ini: _Coefficient | None = Field(None, description="in place of the table's")
    kc_mid: _Coefficient | None = Field(None, description="in place of the table's")
    kc_end: _Coefficient | None = Field(None, description="in place of the table's")
    root_depth: _RootDepth | None = Field(None, description='such as "60 cm"')
    depletion: _Depletion | None = Field(None, description=_DEPLETION)

    @model_validator(mode="after")
    def _is_known(self) -> Self:
        if self.stages is not None and self.stages_gdd is not None:
            raise Senseless(Problem("one-of", "stages_gdd", "takes stages in days or in degree days, not both"))
        for key in ("stages", "stages_gdd"):
            if getattr(self, key) is not None and not sum(getattr(self, key)):
                raise Senseless(Problem("no-days", key, "has no day in it", cure="give all four stages"))
        try:
            find_plant(self.name)
        except UnknownName as error:
            raise Senseless(_sentence(error)) from error
        return self

    @property
    def needs_date(self) -> bool:
        """Whether a day of planting, or of first growth, must be known."""
        return find_plant(self.name).needs_date or self.stages is not None or self.stages_gdd is not None


class _Unnamed(_Plants):
    elsewhere: ClassVar[Mapping[str, str]] = dict.fromkeys(
        ("stages", "stages_gdd", "kc_ini", "kc_mid", "kc_end"),
        "goes with a plant's name, not with a kc, a plant_factor or a species",
    )

    root_depth: _RootDepth = Field(description='such as "60 cm"')
    depletion: _Depletion = Field(description=_DEPLETION)


class OwnPlants(_Unnamed):
    """A constant Kc."""

    marks = ("kc",)

    kc: _Coefficient = Field(description="crop coefficient, all season")


class Landscape(_Unnamed):
    """A landscape planting, by its share of ETo or by the factors that make it up."""

    marks = ("plant_factor", "species")

    plant_factor: (
        Annotated[
            list[Annotated[Number, Field(ge=0, le=1.5)]],
            Reads(lambda v: v if isinstance(v, list) else [v], {"type": "number"}, beside=True),
        ]
        | None
    ) = Field(None, description="share of ETo that a landscape planting needs: one number, or twelve from January")
    species: Level | None = Field(
        None, description='landscape planting by its factors: "very low", "low", "moderate", "high", or a number'
    )
    density: Level = Field("average", description='"low", "average", "high", or a number; beside species')
    microclimate: Level = Field("average", description='"low", "average", "high", or a number; beside species')

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.plant_factor is not None and self.species is not None:
            raise Senseless(Problem("one-of", "", "takes a plant_factor or a species factor: one of the two"))
        if self.plant_factor is not None and len(self.plant_factor) not in (1, 12):
            found = "takes one number, or twelve from January to December"
            raise Senseless(Problem("one-or-twelve", "plant_factor", found))
        for factor in ("species", "density", "microclimate"):
            level = getattr(self, factor)
            if isinstance(level, str):
                try:
                    landscape_level(factor, level)
                except UnknownName as error:
                    raise Senseless(_sentence(error, factor)) from error
        return self

    @property
    def factors(self) -> tuple[float, ...]:
        """Share of ETo that the planting needs, one or twelve: given, or species · density · microclimate."""
        if self.plant_factor is not None:
            return tuple(self.plant_factor)
        product = 1.0
        for factor in ("species", "density", "microclimate"):
            level = getattr(self, factor)
            product *= landscape_level(factor, level) if isinstance(level, str) else level
        return (product,)


Plants = Annotated[NamedPlants | OwnPlants | Landscape, OneOf()]
PLANTED = "sowing, planting out or (perennials) start of growth"


class Planting(Described):
    """What grows, and since when."""

    plants: Annotated[Plants, OrName] = Field(description='such as "tomato"')
    planted: dt.date | None = Field(None, description=PLANTED)

    @model_validator(mode="after")
    def _has_date(self) -> Self:
        if self.planted is None and isinstance(self.plants, NamedPlants) and self.plants.needs_date:
            cure = (
                f"{self.plants.name} has growth stages, so give the day of planting "
                "(for a perennial: when growth starts), such as 2025-05-05"
            )
            raise Senseless(Problem("missing", "planted", "is missing", cure=cure))
        return self


class MixPart(Planting):
    """One part of a mixed bed."""

    share: Annotated[Number, Field(gt=0, le=1)] = Field(description="share of the bed's ground that it covers")


class Mulch(Described):
    """What covers the soil between the plants."""

    kind: Literal["organic", "plastic"] = Field(description='"organic": straw, bark, leaves; or "plastic"')
    cover: Share = Field(description="share of the ground under it")


class Leaching(Described):
    """Salty water, and what the plants stand of it."""

    water: Conductivity = Field(description='of the irrigation water, such as "1.2 dS/m"')
    threshold: Conductivity = Field(description='of the soil extract at which the plants begin to lose: "2.5 dS/m"')


class _Bed(Described):
    """One planted area with one soil."""

    area: Area = Field(description='such as "12 m^2"')
    emitters: Emitters = Field(description='such as { count = 30, flow = "2 L/h", at = "100 kPa" }')
    soil: Annotated[Soil, OrName] = Field(description='such as "loam"')
    mulch: Mulch | None = Field(None, description='such as { kind = "organic", cover = 0.8 }')
    wetting_interval: Time | None = Field(
        None, description='between wettings while plants are small, such as "2 d": Kc ini is then computed from it'
    )
    wetting_depth: Annotated[Depth, Field(gt=0)] = Field(10.0, description="of one such wetting, over the bed")
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
    antecedent: Literal["average", "five-day"] = Field(
        "average", description="moisture for the curve number: average, or by the rain of five days before"
    )
    leaching: Leaching | None = Field(None, description='salty water: { water = "1.2 dS/m", threshold = "2.5 dS/m" }')

    @property
    def wetting_days(self) -> float | None:
        """Days between wettings, if told."""
        return None if self.wetting_interval is None else self.wetting_interval / 24.0


class PlantedBed(_Bed, Planting):
    """A bed with one planting."""

    marks = ("plants",)


class BedInTurn(_Bed):
    """A bed with several plantings, one after the other."""

    marks = ("plantings",)
    elsewhere: ClassVar[Mapping[str, str]] = {"planted": "goes with each part of the plantings here, not with the bed"}

    plantings: list[Planting] = Field(
        min_length=1, description='several in turn: [{ plants = "lettuce", planted = 2025-04-01 }, …]'
    )


class MixedBed(_Bed):
    """A bed with several plantings side by side."""

    marks = ("mix",)
    elsewhere: ClassVar[Mapping[str, str]] = {"planted": "goes with each part of the mix here, not with the bed"}

    mix: list[MixPart] = Field(
        min_length=1, description='side by side: [{ plants = "tomato", planted = …, share = 0.7 }, …]'
    )

    @model_validator(mode="after")
    def _adds_up(self) -> Self:
        total = sum(part.share for part in self.mix)
        if abs(total - 1.0) > 1e-6:
            raise Senseless(Problem("shares", "mix", f"has shares that add up to {total:g}; they must add up to 1"))
        return self


Bed = Annotated[PlantedBed | BedInTurn | MixedBed, OneOf()]
