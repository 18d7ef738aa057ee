"""
The scenario's faults: what goes wrong with a pan, a valve, its emitters or its supply, from when to when.

A class a fault, told by its `kind`. Knows no numerics; `season/faults` lays them over a season.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from panbudget.errors import Problem
from panbudget.scenario.problems import Senseless, kinds_of
from panbudget.scenario.quantities import Depth, Described, Flow, Mass, Number, OneOf, Share, Speed, in_order

_Taken = Annotated[Share, Field(gt=0)]
_Factor = Annotated[Number, Field(ge=0, le=5)]


class _Fault(Described):
    """One thing that goes wrong, with a valve where a kind says no other."""

    kind: str
    start: dt.date | None = Field(None, description="first day, such as 2025-07-01; before the season if left out")
    end: dt.date | None = Field(None, description="last day, such as 2025-07-21; the season's end if left out")

    @property
    def part(self) -> tuple[str, str | None]:
        """What it concerns, "controller", "bed" or "supply", and which one, if the file says so."""
        return "controller", getattr(self, "controller", None)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        in_order(self.start, self.end)
        return self


class _OfValve(_Fault):
    controller: str | None = Field(None, description="which one; needed where there are several")


class Clogged(_OfValve):
    """Emitters that give less and less, or less from one day on."""

    share: _Taken | None = Field(None, description="of the flow that clogging takes, such as 0.5")
    rate: _Taken | None = Field(None, description="share of the flow that clogging takes each month, such as 0.1")

    @model_validator(mode="after")
    def _by_share_or_rate(self) -> Self:
        if self.share is not None and self.rate is not None:
            raise Senseless(Problem("one-of", "", "takes a share or a rate: one of the two"))
        if self.share is None and self.rate is None:
            raise Senseless(_missing("rate or share", self.kind))
        if self.rate is not None and self.start is None:
            raise Senseless(Problem("missing", "start", "is missing", cure="a rate needs the day from which it counts"))
        return self


class CloggedRefill(Clogged):
    """The refill emitter gives less."""

    kind: Literal["clogged-refill"]


class CloggedEmitters(Clogged):
    """A bed's emitters give less."""

    kind: Literal["clogged-emitters"]
    bed: str | None = Field(None, description='such as "upper/tomatoes"; all of a valve if left out')

    @property
    def part(self) -> tuple[str, str | None]:
        """The bed, if the file names one; else the valve."""
        return super().part if self.bed is None else ("bed", self.bed)


class Lost(_OfValve):
    """The pan loses water other than by evaporation."""

    kind: Literal["leak", "animals"]
    loss: Flow = Field(description='water that leaks or is drunk, such as "300 mL/day"')


class Covered(_OfValve):
    """Something between the pan and the sky."""

    kind: Literal["mesh", "shade"]
    factor: _Factor = Field(description="on the pan's evaporation, such as 0.9")


class Algae(_OfValve):
    """Algae or leaves on the water."""

    kind: Literal["algae"]
    share: _Taken = Field(description="of the surface that algae or leaves cover, such as 0.5")


class Knocked(_OfValve):
    """A counterweight out of its place."""

    kind: Literal["knocked"]
    trip: Mass | None = Field(
        None, description='by which the weight at which the valve opens has risen, such as "100 g" or "-100 g"'
    )
    swing: Mass | None = Field(None, description='by which the swing has grown, such as "150 g" or "-150 g"')

    @model_validator(mode="after")
    def _says_how_much(self) -> Self:
        if self.trip is None and self.swing is None:
            raise Senseless(_missing("swing or trip", self.kind))
        return self


class SupplyCut(_Fault):
    """No water comes."""

    kind: Literal["supply-cut"]
    supply: str | None = Field(None, description="which one; needed where there are several")

    @property
    def part(self) -> tuple[str, str | None]:
        """The supply."""
        return "supply", self.supply


class Splash(_OfValve):
    """Wind throws water out of the pan."""

    kind: Literal["splash"]
    above: Annotated[Speed, Field(ge=0)] = Field(
        description='a day\'s mean wind at 2 m above which water is thrown out, such as "4 m/s"'
    )
    splash: Annotated[Depth, Field(gt=0)] = Field(description='thrown out a day for each m/s above it, such as "1 mm"')


class RainDiffers(_OfValve):
    """The pan gets another rain than the gauge."""

    kind: Literal["rain-differs"]
    factor: _Factor = Field(description="on the rain that reaches the pan, such as 0.9")


KINDS = (CloggedRefill, CloggedEmitters, Lost, Covered, Algae, Knocked, SupplyCut, Splash, RainDiffers)
Fault = Annotated[
    CloggedRefill | CloggedEmitters | Lost | Covered | Algae | Knocked | SupplyCut | Splash | RainDiffers, OneOf()
]
#: the kinds of fault there are
FAULT_KINDS: tuple[str, ...] = tuple(name for part in KINDS for name in kinds_of(part))


def _missing(keys: str, kind: str) -> Problem:
    return Problem("missing", keys, "is missing", cure=f'kind = "{kind}" needs it')
