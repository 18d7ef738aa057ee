"""
The scenario's pans: vessels, what lies upwind of them, and how they evaporate.
"""

import math
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from panbudget.errors import Problem
from panbudget.scenario.quantities import Area, Count, Depth, Described, Number, Share, SomeDepth, SomeLength
from panbudget.words import amount

_MOST_AREA = 500.0  # m² of a pan
_Across = Annotated[SomeLength, Field(le=20)]


class Vessel(Described):
    """One open container with vertical sides."""

    diameter: _Across | None = None
    length: _Across | None = None
    width: _Across | None = None
    area: Area | None = None
    count: Count = 1

    def wrong(self) -> Iterator[Problem]:
        given = {key for key in ("diameter", "length", "width", "area") if getattr(self, key) is not None}
        if given not in ({"diameter"}, {"length", "width"}, {"area"}):
            yield Problem("one-of", found="takes a diameter, or a length and a width, or an area: one of the three")

    @property
    def surface(self) -> float:
        """Water surface of all of these together. [m²]"""
        round_one = math.pi * (self.diameter or 0.0) ** 2 / 4.0
        return (self.area or round_one or (self.length or 0.0) * (self.width or 0.0)) * self.count


class Fetch(Described):
    """What lies upwind of the pan."""

    cover: Literal["green", "dry"] = "green"
    distance: SomeLength = 10.0


class Pan(Described):
    """The open container on the beam."""

    vessels: list[Vessel] = Field(min_length=1)
    depth: Annotated[SomeDepth, Field(le=5000)]
    freeboard: Annotated[Depth, Field(ge=0)] = 20.0
    evaporation: Literal["from-eto", "energy-balance", "measured"] = "from-eto"
    fetch: Fetch = Field(default_factory=Fetch)
    exposure: Annotated[Number, Field(gt=0, le=5), Field(ge=0.05)] = 1.0
    night_share: Share = 0.0
    ground_albedo: Share = 0.26

    def wrong(self) -> Iterator[Problem]:
        if self.freeboard >= self.depth:
            found = f"reaches down to the floor of a pan {amount(self.depth, 'depth', 'g')} deep"
            yield Problem("too-much", "freeboard", found, cure="give less freeboard or a deeper pan")
        if self.area > _MOST_AREA:
            found = f"have {amount(self.area, 'area', ',.0f')} of water in all, which no beam carries"
            yield Problem("too-much", "vessels", found, f"at most {amount(_MOST_AREA, 'area', 'g')}")

    @property
    def area(self) -> float:
        """Water surface of all vessels. [m²]"""
        return sum(vessel.surface for vessel in self.vessels)

    @property
    def water_at_reset(self) -> float:
        """Water in the pan at the reset level. [kg]"""
        return (self.depth - self.freeboard) * self.area
