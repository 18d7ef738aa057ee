"""
The scenario's faults: what goes wrong with a pan, a valve, its emitters or its supply, from when to when.

A class a fault, told by its `kind`. Knows no numerics; `season/faults` lays them over a season.
"""

from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from panbudget.errors import Problem
from panbudget.scenario.quantities import Date, Described, Flow, Mass, Number, OneOf, Share, SomeDepth, Speed, in_order

_Taken = Annotated[Share, Field(gt=0)]
_Factor = Annotated[Number, Field(ge=0, le=5)]


class _Fault(Described):
    """One thing that goes wrong, with a valve where a kind says no other."""

    #: what it is about
    concerns: ClassVar[str] = "controller"

    kind: str
    start: Date | None = None
    end: Date | None = None

    @property
    def part(self) -> tuple[str, str | None]:
        """What it concerns, "controller", "bed" or "supply", and which one, if the file says so."""
        return self.concerns, getattr(self, self.concerns, None)

    def wrong(self) -> Iterator[Problem]:
        return in_order(self.start, self.end)

    def _needs(self, keys: str) -> Problem:
        return Problem("missing", keys, "is missing", cure=f'kind = "{self.kind}" needs it')


class _OfValve(_Fault):
    controller: str | None = None


class Clogged(_OfValve):
    """Emitters that give less and less, or less from one day on."""

    share: _Taken | None = None
    rate: _Taken | None = None

    def wrong(self) -> Iterator[Problem]:
        if self.share is not None and self.rate is not None:
            yield Problem("one-of", "", "takes a share or a rate: one of the two")
        elif self.share is None and self.rate is None:
            yield self._needs("rate or share")
        elif self.rate is not None and self.start is None:
            yield Problem("missing", "start", "is missing", cure="a rate needs the day from which it counts")


class CloggedRefill(Clogged):
    """The refill emitter gives less."""

    kind: Literal["clogged-refill"]


class CloggedEmitters(Clogged):
    """A bed's emitters give less."""

    kind: Literal["clogged-emitters"]
    bed: str | None = None

    @property
    def part(self) -> tuple[str, str | None]:
        """The bed, if the file names one; else the valve."""
        return super().part if self.bed is None else ("bed", self.bed)


class Lost(_OfValve):
    """The pan loses water other than by evaporation."""

    kind: Literal["leak", "animals"]
    # a hundred times a leak that empties a pan in a night: common practice, no source
    loss: Annotated[Flow, Field(le=1000)]


class Covered(_OfValve):
    """Something between the pan and the sky."""

    kind: Literal["mesh", "shade"]
    factor: _Factor


class Algae(_OfValve):
    """Algae or leaves on the water."""

    kind: Literal["algae"]
    share: _Taken


#: by how much a counterweight can be off [kg]
_Weight = Annotated[Mass, Field(ge=-1000, le=1000)]


class Knocked(_OfValve):
    """A counterweight out of its place."""

    kind: Literal["knocked"]
    trip: _Weight | None = None
    swing: _Weight | None = None

    def wrong(self) -> Iterator[Problem]:
        if self.trip is None and self.swing is None:
            yield self._needs("swing or trip")


class SupplyCut(_Fault):
    """No water comes."""

    concerns = "supply"

    kind: Literal["supply-cut"]
    supply: str | None = None


class Splash(_OfValve):
    """Wind throws water out of the pan."""

    kind: Literal["splash"]
    above: Annotated[Speed, Field(ge=0)]
    splash: SomeDepth


class RainDiffers(_OfValve):
    """The pan gets another rain than the gauge."""

    kind: Literal["rain-differs"]
    factor: _Factor


AnyFault = CloggedRefill | CloggedEmitters | Lost | Covered | Algae | Knocked | SupplyCut | Splash | RainDiffers
Fault = Annotated[AnyFault, OneOf()]
