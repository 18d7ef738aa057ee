"""
The scenario's faults: what goes wrong with a pan, a valve, its emitters or its supply, from when to when.

Part of the scenario's models: frozen, every default stands here. Knows no numerics; `faults` lays them over a season.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from panbudget.scenario.problems import Senseless
from panbudget.scenario.quantities import Depth, Described, Flow, Mass, Number, Share, Speed

__all__ = ["FAULT_KEYS", "Fault", "FaultKind"]

FaultKind = Literal[
    "clogged-refill",
    "clogged-emitters",
    "leak",
    "animals",
    "mesh",
    "shade",
    "algae",
    "knocked",
    "supply-cut",
    "splash",
    "rain-differs",
]

#: kind -> the quantities that it takes; of those in one set, one
FAULT_KEYS: dict[str, tuple[frozenset[str], ...]] = {
    "clogged-refill": (frozenset({"share", "rate"}),),
    "clogged-emitters": (frozenset({"share", "rate"}),),
    "leak": (frozenset({"loss"}),),
    "animals": (frozenset({"loss"}),),
    "mesh": (frozenset({"factor"}),),
    "shade": (frozenset({"factor"}),),
    "algae": (frozenset({"share"}),),
    "knocked": (frozenset({"trip", "swing"}),),
    "supply-cut": (),
    "splash": (frozenset({"above"}), frozenset({"splash"})),
    "rain-differs": (frozenset({"factor"}),),
}
_QUANTITIES = ("share", "rate", "loss", "factor", "trip", "swing", "above", "splash")


class Fault(Described):
    """One thing that goes wrong."""

    kind: FaultKind = Field(description="one of " + ", ".join(f'"{kind}"' for kind in FAULT_KEYS))
    controller: str | None = Field(None, description="which one; needed where there are several")
    bed: str | None = Field(
        None, description='of clogged emitters, such as "upper/tomatoes"; all of a valve if left out'
    )
    supply: str | None = Field(None, description="of a supply cut; needed where there are several")
    start: dt.date | None = Field(None, description="first day, such as 2025-07-01; before the season if left out")
    end: dt.date | None = Field(None, description="last day, such as 2025-07-21; the season's end if left out")
    share: Annotated[Share, Field(gt=0)] | None = Field(
        None, description="of the flow that clogging takes, or of the surface that algae or leaves cover, such as 0.5"
    )
    rate: Annotated[Share, Field(gt=0)] | None = Field(
        None, description="share of the flow that clogging takes each month, such as 0.1"
    )
    loss: Flow | None = Field(None, description='water that leaks or is drunk, such as "300 mL/day"')
    factor: Annotated[Number, Field(ge=0, le=5)] | None = Field(
        None,
        description="on the pan's evaporation (mesh, shade) or on the rain that reaches it (rain-differs), such as 0.9",
    )
    trip: Mass | None = Field(
        None, description='by which the weight at which the valve opens has risen, such as "100 g" or "-100 g"'
    )
    swing: Mass | None = Field(None, description='by which the swing has grown, such as "150 g" or "-150 g"')
    above: Annotated[Speed, Field(ge=0)] | None = Field(
        None, description='a day\'s mean wind at 2 m above which water is thrown out, such as "4 m/s"'
    )
    splash: Annotated[Depth, Field(gt=0)] | None = Field(
        None, description='thrown out a day for each m/s above it, such as "1 mm"'
    )

    @model_validator(mode="after")
    def _says_how_much(self) -> Self:
        wanted = FAULT_KEYS[self.kind]
        fitting = frozenset().union(*wanted)
        for key in _QUANTITIES:
            if getattr(self, key) is not None and key not in fitting:
                takes = " or ".join(sorted(fitting)) or "no quantity"
                raise Senseless(f'does not go with kind = "{self.kind}", which takes {takes}', key=key, shown=False)
        for group in wanted:
            if not any(getattr(self, key) is not None for key in group):
                raise Senseless(f'is missing; kind = "{self.kind}" needs it', key=" or ".join(sorted(group)))
        if self.share is not None and self.rate is not None:
            raise Senseless("takes a share or a rate: one of the two")
        if self.end is not None and self.start is not None and self.end < self.start:
            raise Senseless(f"is before the start, {self.start}; give the later date as end", key="end")
        if self.supply is not None and self.kind != "supply-cut":
            raise Senseless('goes with kind = "supply-cut"', key="supply", shown=False)
        if self.bed is not None and self.kind != "clogged-emitters":
            raise Senseless('goes with kind = "clogged-emitters"', key="bed", shown=False)
        if self.rate is not None and self.start is None:
            raise Senseless("is missing; a rate needs the day from which it counts", key="start")
        return self
