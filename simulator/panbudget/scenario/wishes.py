"""
The scenario's wishes for `size`: what the garden should come to, and what is lying about to build it from.
"""

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from panbudget.errors import Problem
from panbudget.scenario import problem
from panbudget.scenario.beds import EmitterFlow
from panbudget.scenario.pans import PanDepth, Vessel
from panbudget.scenario.quantities import Count, Described, Number, Pressure, Share, SomeVolume, Whole


class Wishes(Described):
    """What a setting must keep to, in most years and draws: `uncertainty.interval` of them."""

    stress_days: Annotated[Whole, Field(ge=0, le=366)] = 3
    litres: Annotated[SomeVolume, Field(le=1e9)] | None = None
    openings_a_day: list[Annotated[Number, Field(ge=0, le=1000)]] = Field(
        default=[0.5, 8.0], min_length=2, max_length=2
    )
    when: Literal["any", "night"] = "any"

    def wrong(self) -> Iterator[Problem]:
        if self.openings_a_day[0] >= self.openings_a_day[1]:
            yield Problem("order", "openings_a_day", "must name the least before the most")


class Owned(Described):
    """A container or an emitter that is at hand."""

    name: str
    vessels: list[Vessel] = Field(default_factory=list)
    depth: PanDepth | None = None
    flow: EmitterFlow | None = None
    at: Pressure | None = None
    exponent: Share = 0.5
    count: Count = 1

    def wrong(self) -> Iterator[Problem]:
        if not self.name.strip():
            yield problem("no-name.owned", "name")
        if bool(self.vessels) == (self.flow is not None) or (self.depth is not None and not self.vessels):
            yield problem("one-of.owned")
        elif self.vessels and self.depth is None:
            yield problem("missing.depth", "depth")

    @property
    def area(self) -> float:
        """Open surface of one container. [m²]"""
        return sum(vessel.surface for vessel in self.vessels)
