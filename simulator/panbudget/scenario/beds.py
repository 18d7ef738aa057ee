"""
The scenario's beds: soil, plants in all the ways they can be described, mulch, and the bed that holds them.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

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
    Pressure,
    Share,
    Time,
    name_to_table,
)

__all__ = [
    "Bed",
    "Emitter",
    "Emitters",
    "Ground",
    "Layer",
    "Leaching",
    "MixPart",
    "Mulch",
    "Planting",
    "Plants",
    "Soil",
]


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


class Ground(Described):
    """A texture from the table, or the two water contents."""

    name: str | None = Field(None, description='such as "loam"')
    field_capacity: Annotated[Number, Field(gt=0, lt=1)] | None = Field(None, description="m³ of water per m³ of soil")
    wilting_point: Annotated[Number, Field(ge=0, lt=1)] | None = Field(None, description="m³ of water per m³ of soil")

    @property
    def _is_layered(self) -> bool:
        return False

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self._is_layered:
            return self
        own = (self.field_capacity is not None, self.wilting_point is not None)
        if self.name is None and own != (True, True):
            raise Senseless("takes a texture's name, or a field_capacity and a wilting_point")
        if self.name is not None:
            if any(own):
                raise Senseless("takes a texture's name or the two water contents, not both")
            from panbudget.tables import UnknownName
            from panbudget.tables.soils import find_soil

            try:
                find_soil(self.name)
            except UnknownName as error:
                raise Senseless(str(error), whole=True) from error
        elif (self.wilting_point or 0.0) >= (self.field_capacity or 0.0):
            raise Senseless(
                f"must be below the field capacity, {self.field_capacity:g}; the two may be swapped",
                key="wilting_point",
            )
        return self


class Layer(Ground):
    """One layer of a soil."""

    thickness: Annotated[Length, Field(gt=0, le=10)] = Field(description='such as "30 cm"')


class Soil(Ground):
    """One soil all through, or up to four layers from the surface down."""

    layers: list[Layer] = Field(
        default_factory=list, max_length=4, description='such as [{ name = "loam", thickness = "30 cm" }, …]'
    )

    @property
    def _is_layered(self) -> bool:
        return bool(self.layers)

    @model_validator(mode="after")
    def _one_or_layers(self) -> Self:
        if self.layers and any(v is not None for v in (self.name, self.field_capacity, self.wilting_point)):
            raise Senseless("takes one soil or its layers, not both", key="layers")
        return self


Level = Annotated[Number, Field(ge=0, le=2)] | Annotated[str, Field(pattern="^[a-z ]+$")]


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
    stages_gdd: Annotated[list[Annotated[Number, Field(ge=0)]], Field(min_length=4, max_length=4)] | None = Field(
        None, description="growing degree days of the four stages [°C·d], in place of days"
    )
    base_temperature: Annotated[Number, Field(ge=-10, le=30)] = Field(
        10.0, description="°C below which nothing grows; for stages_gdd"
    )
    species: Level | None = Field(
        None, description='landscape planting by its factors: "very low", "low", "moderate", "high", or a number'
    )
    density: Level = Field("average", description='"low", "average", "high", or a number; beside species')
    microclimate: Level = Field("average", description='"low", "average", "high", or a number; beside species')
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
        kinds = [k for k in ("name", "kc", "plant_factor", "species") if getattr(self, k) is not None]
        if len(kinds) != 1:
            raise Senseless("takes one of: a plant's name, a kc, a plant_factor, a species factor")
        if self.stages is not None and self.stages_gdd is not None:
            raise Senseless("takes stages in days or in degree days, not both", key="stages_gdd")
        self._levels_are_known()
        if self.plant_factor is not None and len(self.plant_factor) not in (1, 12):
            raise Senseless("takes one number, or twelve from January to December", key="plant_factor")
        if self.name is None:
            for key in ("root_depth", "depletion"):
                if getattr(self, key) is None:
                    raise Senseless("is missing; it is needed beside a kc, a plant_factor or a species", key=key)
            for key in ("stages", "stages_gdd", "kc_ini", "kc_mid", "kc_end"):
                if getattr(self, key) is not None:
                    raise Senseless("goes with a plant's name, not with a kc, a plant_factor or a species", key=key)
        else:
            from panbudget.tables import UnknownName
            from panbudget.tables.plants import find_plant

            for key in ("stages", "stages_gdd"):
                if getattr(self, key) is not None and not sum(getattr(self, key)):
                    raise Senseless("has no day in it; give all four stages", key=key)
            try:
                find_plant(self.name)
            except UnknownName as error:
                raise Senseless(str(error), whole=True) from error
        return self

    def _levels_are_known(self) -> None:
        from panbudget.tables import UnknownName
        from panbudget.tables.plants import landscape_level

        for factor in ("species", "density", "microclimate"):
            level = getattr(self, factor)
            if isinstance(level, str):
                try:
                    landscape_level(factor, level)
                except UnknownName as error:
                    raise Senseless(str(error), whole=True, key=factor) from error

    @property
    def factors(self) -> tuple[float, ...]:
        """Share of ETo that a landscape planting needs, one or twelve: given, or species · density · microclimate."""
        from panbudget.tables.plants import landscape_level

        if self.plant_factor is not None:
            return tuple(self.plant_factor)
        product = 1.0
        for factor in ("species", "density", "microclimate"):
            level = getattr(self, factor)
            product *= landscape_level(factor, level) if isinstance(level, str) else level
        return (product,)

    @property
    def needs_date(self) -> bool:
        """Whether a day of planting, or of first growth, must be known."""
        if self.name is None:
            return False
        from panbudget.tables.plants import find_plant

        return find_plant(self.name).needs_date or self.stages is not None or self.stages_gdd is not None


class Planting(Described):
    """One of several plantings."""

    plants: Annotated[Plants, BeforeValidator(name_to_table)] = Field(description='such as "tomato"')
    planted: dt.date | None = Field(None, description="sowing, planting out or (perennials) start of growth")

    @model_validator(mode="after")
    def _has_date(self) -> Self:
        _needs_date(self.plants, self.planted)
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


def _needs_date(plants: Plants, planted: dt.date | None) -> None:
    if planted is None and plants.needs_date:
        raise Senseless(
            f"is missing; {plants.name} has growth stages, so give the day of planting "
            "(for a perennial: when growth starts), such as 2025-05-05",
            key="planted",
        )


class Bed(Described):
    """One planted area with one soil and one planting."""

    area: Area = Field(description='such as "12 m^2"')
    emitters: Emitters = Field(description='such as { count = 30, flow = "2 L/h", at = "100 kPa" }')
    soil: Annotated[Soil, BeforeValidator(name_to_table)] = Field(description='such as "loam"')
    plants: Annotated[Plants, BeforeValidator(name_to_table)] | None = Field(None, description='such as "tomato"')
    planted: dt.date | None = Field(None, description="sowing, planting out or (perennials) start of growth")
    plantings: list[Planting] = Field(
        default_factory=list, description='several in turn: [{ plants = "lettuce", planted = 2025-04-01 }, …]'
    )
    mix: list[MixPart] = Field(
        default_factory=list, description='side by side: [{ plants = "tomato", planted = …, share = 0.7 }, …]'
    )
    mulch: Mulch | None = Field(None, description='such as { kind = "organic", cover = 0.8 }')
    wetting_interval: Time | None = Field(
        None, description='between wettings while plants are small, such as "2 d": Kc ini is then reckoned from it'
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

    @model_validator(mode="after")
    def _planted_in_one_way(self) -> Self:
        ways = [key for key in ("plants", "plantings", "mix") if getattr(self, key)]
        if not ways:
            raise Senseless('is missing; expected: such as "tomato"', key="plants")
        if len(ways) > 1:
            raise Senseless(f"takes one of plants, plantings and mix, not {' and '.join(ways)}", key=ways[-1])
        if self.plants is not None:
            _needs_date(self.plants, self.planted)
        elif self.planted is not None:
            raise Senseless(f"goes with each part of the {ways[0]} here, not with the bed", key="planted")
        if self.mix and abs(sum(part.share for part in self.mix) - 1.0) > 1e-6:
            total = sum(part.share for part in self.mix)
            raise Senseless(f"has shares that add up to {total:g}; they must add up to 1", key="mix")
        return self

    @property
    def wetting_days(self) -> float | None:
        """Days between wettings, if told."""
        return None if self.wetting_interval is None else self.wetting_interval / 24.0
