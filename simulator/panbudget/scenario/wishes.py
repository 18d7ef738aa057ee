"""
The scenario's wishes for `size`: what the garden should come to, and what is lying about to build it from.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from panbudget.errors import Problem
from panbudget.scenario.pans import Vessel
from panbudget.scenario.problems import Senseless
from panbudget.scenario.quantities import Count, Depth, Described, Flow, Number, Pressure, Volume


class Wishes(Described):
    """What a setting must keep to, in nine years of ten."""

    stress_days: Annotated[int, Field(strict=True, ge=0, le=366)] = Field(
        3, description="at most so many days short of water, in the driest quarter of the neediest bed"
    )
    litres: Annotated[Volume, Field(gt=0)] | None = Field(
        None, description='at most so much water a season for each valve, such as "20 m^3"; no limit if left out'
    )
    openings_a_day: list[Annotated[Number, Field(ge=0)]] = Field(
        [0.5, 8.0], min_length=2, max_length=2, description="least and most openings a day in the hottest week"
    )
    when: Literal["any", "night"] = Field(
        "any", description='"night": openings between sunset and sunrise, all but one in twenty'
    )

    @model_validator(mode="after")
    def _least_before_most(self) -> Self:
        if self.openings_a_day[0] >= self.openings_a_day[1]:
            raise Senseless(Problem("order", "openings_a_day", "must name the least before the most"))
        return self


class Owned(Described):
    """A container or an emitter that is at hand."""

    name: str = Field(description='such as "zinc tub"')
    vessels: list[Vessel] = Field(default_factory=list, description='a container: such as [{ diameter = "50 cm" }]')
    depth: Annotated[Depth, Field(gt=0)] | None = Field(None, description="of the container, floor to rim")
    flow: Flow | None = Field(None, description='an emitter to refill with, such as "2 L/h"')
    at: Pressure | None = Field(None, description="pressure at which the flow holds; measured in place if left out")
    exponent: Annotated[Number, Field(ge=0, le=1)] = Field(0.5, description="of the emitter")
    count: Count = Field(1, description="how many of them there are")

    @model_validator(mode="after")
    def _one_thing(self) -> Self:
        if bool(self.vessels) == (self.flow is not None):
            found = "is a container with vessels and depth, or an emitter with a flow: one of the two"
            raise Senseless(Problem("one-of", found=found))
        if self.vessels and self.depth is None:
            cure = "how deep is the container, floor to rim?"
            raise Senseless(Problem("missing", "depth", "is missing", cure=cure))
        return self

    @property
    def area(self) -> float:
        """Open surface of one container. [m²]"""
        return sum(vessel.surface * vessel.count for vessel in self.vessels)
