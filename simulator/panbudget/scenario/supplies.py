"""
The scenario's supplies: mains or a tank, what fills the tank, and the pipe from it to a valve's beds.
"""

import itertools
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field, create_model

from panbudget.errors import Problem
from panbudget.scenario import problem, quantities
from panbudget.scenario.quantities import Area, Described, Flow, Number, OneOf, Pressure, Share, SomeLength, SomeVolume
from panbudget.scenario.rights import Meter, Right, Words
from panbudget.units import MEGALITRES

_TALLEST, _MEGALITRE = 50.0, 1e6  # m of a tank, L
_ROUNDING = 1e-9  # of unit conversion
_Length = Annotated[quantities.Length, Field(ge=0)]


class LevelVolume(Described):
    """One point of a tank's shape."""

    level: _Length
    volume: Annotated[quantities.Volume, Field(ge=0)]


class Roof(Described):
    """What rain brings to a tank."""

    area: Annotated[Area, Field(le=100_000)]
    runoff: Share = 0.9
    first_flush: Annotated[_Length, Field(le=0.1)] = 0.0


class _Float(Described):
    """A float valve that lets water into a tank."""

    below: SomeVolume
    rate: Annotated[Flow, Field(le=1e6)]

    @property
    def source(self) -> str:
        """The supply, or "SUPPLY / FURTHER RIGHT", that its water is drawn from; empty where nobody says."""
        return str(getattr(self, "from"))


if TYPE_CHECKING:
    TopUp = _Float
else:  # its key `from` is a word of Python's
    TopUp = create_model("TopUp", __base__=_Float, __module__=__name__, **{"from": (Words, "")})


class Pipe(Described):
    """The pipe from the supply to the emitters."""

    length: Annotated[SomeLength, Field(le=10_000)]
    diameter: Annotated[SomeLength, Field(ge=0.001, le=1)]
    smoothness: Annotated[Number, Field(ge=60, le=160)] = 140.0


class _Supply(Described):
    salinity: quantities.Conductivity | None = None
    right: Right | None = None
    meter: Meter | None = None


class Mains(_Supply):
    """A pressure that holds all season."""

    kind: Literal["mains"] = "mains"
    pressure: Pressure


class Tank(_Supply):
    """A head that falls as it empties."""

    kind: Literal["tank"]
    volume: Annotated[SomeVolume, Field(ge=1, le=1e7)]
    footprint: Annotated[Area, Field(le=100_000)] | None = None
    shape: list[LevelVolume] = Field(default_factory=list)
    outlet_height: Annotated[_Length, Field(le=500)]
    full_at_start: Share = 1.0
    roof: Roof | None = None
    top_up: TopUp | None = None

    def wrong(self) -> Iterator[Problem]:
        shape, top = self.shape, self.shape[-1].volume if self.shape else 0.0
        if (self.footprint is None) == (not shape):
            yield problem("one-of.tank")
        elif (high := self.points[-1][1]) > _TALLEST:
            cure = MEGALITRES if self.volume >= _MEGALITRE else ""
            yield problem("too-much.tank", "shape" if shape else "footprint", high=high, most=_TALLEST, cure=cure)
        elif self.top_up is not None and self.top_up.below > self.volume:
            yield problem("too-much.float", "top_up.below", volume=self.volume)
        elif len(shape) == 1:
            yield problem("shape", "shape")
        elif shape and shape[0].volume > 0.0:
            yield problem("shape.empty", "shape[0].volume")
        elif any(b.level <= a.level or b.volume <= a.volume for a, b in itertools.pairwise(shape)):
            yield problem("shape.rises", "shape")
        elif shape and top < self.volume * (1.0 - _ROUNDING):
            yield problem("shape.ends", "shape", top=top, all=self.volume)

    @property
    def points(self) -> list[tuple[float, float]]:
        """Its shape from the outlet up: volumes [L] and levels above the outlet [m], rising from 0."""
        if self.footprint is not None:
            return [(0.0, 0.0), (self.volume, self.volume / 1000.0 / self.footprint)]
        return [(point.volume, point.level) for point in self.shape]


Supply = Annotated[Mains | Tank, OneOf()]
