"""
The scenario's supplies: mains or a tank, what fills the tank, and the pipe from it to a valve's beds.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from panbudget.errors import Problem
from panbudget.scenario.problems import Senseless
from panbudget.scenario.quantities import (
    Area,
    Conductivity,
    Described,
    Flow,
    Length,
    Number,
    OneOf,
    Pressure,
    Share,
    Volume,
)
from panbudget.scenario.rights import Right

_ROUNDING = 1e-9  # of unit conversion


class LevelVolume(Described):
    """One point of a tank's shape."""

    level: Annotated[Length, Field(ge=0)] = Field(description='height of the water above the outlet, such as "40 cm"')
    volume: Annotated[Volume, Field(ge=0)] = Field(description='water above the outlet at that level, such as "300 L"')


class Roof(Described):
    """What rain brings to a tank."""

    area: Area = Field(description='seen from above, such as "40 m^2"')
    runoff: Annotated[Number, Field(ge=0, le=1)] = Field(0.9, description="share of the rain that reaches the tank")
    first_flush: Annotated[Length, Field(ge=0)] = Field(
        0.0, description='rain thrown away at the start of each wet spell, such as "1 mm"'
    )


class TopUp(Described):
    """A float valve that lets mains water into a tank."""

    below: Annotated[Volume, Field(gt=0)] = Field(description='volume that it keeps up, such as "100 L"')
    rate: Flow = Field(description='most that it lets in, such as "200 L/h"')


class Pipe(Described):
    """The pipe from the supply to the emitters."""

    length: Annotated[Length, Field(gt=0)] = Field(description='such as "20 m"')
    diameter: Annotated[Length, Field(gt=0)] = Field(description='inside, such as "13 mm"')
    smoothness: Annotated[Number, Field(ge=60, le=160)] = Field(
        140.0, description="Hazen–Williams coefficient C; about 140 for polyethylene"
    )


class _Supply(Described):
    salinity: Conductivity | None = Field(
        None, description='of the water, such as "0.8 dS/m"; fresh if left out: no salt is computed'
    )
    right: Right | None = Field(None, description="[supply.NAME.right]: what a water-rights form wants to know")


class Mains(_Supply):
    """A pressure that holds all season."""

    kind: Literal["mains"] = Field(
        "mains", description='"mains": a pressure that holds all season; "tank": a head that falls as it empties'
    )
    pressure: Pressure = Field(description='of the mains, such as "150 kPa"')


class Tank(_Supply):
    """A head that falls as it empties."""

    elsewhere: ClassVar[Mapping[str, str]] = {
        "pressure": "is for the mains; a tank's comes from its outlet_height and its water"
    }

    kind: Literal["tank"]
    volume: Annotated[Volume, Field(gt=0)] = Field(description='of a tank above its outlet, such as "1 m^3"')
    footprint: Area | None = Field(None, description='of a tank with upright sides, such as "0.8 m^2"')
    shape: list[LevelVolume] = Field(
        default_factory=list, description='of any other tank: [{ level = "0 cm", volume = "0 L" }, …], upwards'
    )
    outlet_height: Annotated[Length, Field(ge=0)] = Field(
        description='of a tank\'s outlet above the emitters, such as "2 m"'
    )
    full_at_start: Share = Field(1.0, description="share of a tank's volume that is there on the first day")
    roof: Roof | None = Field(None, description='such as { area = "40 m^2" }')
    top_up: TopUp | None = Field(None, description='such as { below = "100 L", rate = "200 L/h" }')

    @model_validator(mode="after")
    def _holds_what_it_says(self) -> Self:
        if (self.footprint is None) == (not self.shape):
            raise Senseless(Problem("one-of", "", "needs a footprint (upright sides) or a shape: one of the two"))
        if self.top_up is not None and self.top_up.below > self.volume:
            raise Senseless(Problem("too-much", "top_up.below", f"is more than the tank holds, {self.volume:g} L"))
        if not self.shape:
            return self
        wrong, top = "", self.shape[-1].volume
        if len(self.shape) < 2 or self.shape[0].volume > 0.0:
            wrong = "needs two points or more, from an empty tank upwards"
        elif any(b.level <= a.level or b.volume <= a.volume for a, b in itertools.pairwise(self.shape)):
            wrong = "must rise from point to point, level and volume both"
        elif top < self.volume * (1.0 - _ROUNDING):
            wrong = f"ends at {top:g} L, below the tank's volume of {self.volume:g} L; add its top"
        if wrong:
            raise Senseless(Problem("shape", "shape", wrong))
        return self

    @property
    def points(self) -> list[tuple[float, float]]:
        """Its shape from the outlet up: volumes [L] and levels above the outlet [m], rising from 0."""
        if self.footprint is not None:
            return [(0.0, 0.0), (self.volume, self.volume / 1000.0 / self.footprint)]
        return [(point.volume, point.level) for point in self.shape]


Supply = Annotated[Mains | Tank, OneOf()]
