"""
The scenario's pans: vessels, what lies upwind of them, and how they evaporate.
"""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from panbudget.errors import Problem
from panbudget.scenario.problems import Senseless
from panbudget.scenario.quantities import Area, Count, Depth, Described, Length, Number, Share

_Positive = Annotated[Length, Field(gt=0)]


class Vessel(Described):
    """One open container with vertical sides."""

    diameter: _Positive | None = Field(None, description='inside diameter, such as "50 cm"')
    length: _Positive | None = Field(None, description='inside length, such as "60 cm"')
    width: _Positive | None = Field(None, description='inside width, such as "40 cm"')
    area: Area | None = Field(None, description='water surface, such as "0.2 m^2"')
    count: Count = Field(1, description="how many of these")

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        given = {k for k in ("diameter", "length", "width", "area") if getattr(self, k) is not None}
        if given not in ({"diameter"}, {"length", "width"}, {"area"}):
            found = "takes a diameter, or a length and a width, or an area: one of the three"
            raise Senseless(Problem("one-of", found=found))
        return self

    @property
    def surface(self) -> float:
        """Water surface of all of these together. [m²]"""
        round_one = math.pi * (self.diameter or 0.0) ** 2 / 4.0
        return (self.area or round_one or (self.length or 0.0) * (self.width or 0.0)) * self.count


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
        "from-eto", description="how the pan's evaporation is computed"
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
            found = f"reaches down to the floor of a pan {self.depth:g} mm deep"
            raise Senseless(Problem("too-much", "freeboard", found, cure="give less freeboard or a deeper pan"))
        return self

    @property
    def area(self) -> float:
        """Water surface of all vessels. [m²]"""
        return sum(vessel.surface for vessel in self.vessels)

    @property
    def water_at_reset(self) -> float:
        """Water in the pan at the reset level. [kg]"""
        return (self.depth - self.freeboard) * self.area
