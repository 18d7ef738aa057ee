"""
The scenario's supplies: mains or a tank, what fills the tank, and the pipe from it to a valve's beds.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from panbudget.scenario.problems import Senseless
from panbudget.scenario.quantities import Area, Conductivity, Described, Flow, Length, Number, Pressure, Share, Volume
from panbudget.scenario.rights import Right

__all__ = ["LevelVolume", "Pipe", "Roof", "Supply", "TopUp"]


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


class Supply(Described):
    """Where the water comes from."""

    kind: Literal["mains", "tank"] = Field(
        "mains", description='"mains": a pressure that holds all season; "tank": a head that falls as it empties'
    )
    pressure: Pressure | None = Field(None, description='of the mains, such as "150 kPa"')
    salinity: Conductivity | None = Field(
        None, description='of the water, such as "0.8 dS/m"; fresh if left out: no salt is reckoned'
    )
    right: Right | None = Field(None, description="[supply.NAME.right]: what a water-rights form wants to know")
    volume: Annotated[Volume, Field(gt=0)] | None = Field(None, description='of a tank above its outlet: "1 m^3"')
    footprint: Area | None = Field(None, description='of a tank with upright sides, such as "0.8 m^2"')
    shape: list[LevelVolume] = Field(
        default_factory=list, description='of any other tank: [{ level = "0 cm", volume = "0 L" }, …], upwards'
    )
    outlet_height: Annotated[Length, Field(ge=0)] | None = Field(
        None, description='of a tank\'s outlet above the emitters, such as "2 m"'
    )
    full_at_start: Share = Field(1.0, description="share of a tank's volume that is there on the first day")
    roof: Roof | None = Field(None, description='such as { area = "40 m^2" }')
    top_up: TopUp | None = Field(None, description='such as { below = "100 L", rate = "200 L/h" }')

    @model_validator(mode="after")
    def _is_one_kind(self) -> Self:
        tank_keys = ("volume", "footprint", "shape", "outlet_height", "roof", "top_up")
        if self.kind == "mains":
            for key in tank_keys:
                if getattr(self, key):
                    raise Senseless('goes with kind = "tank"', key=key, shown=False)
            if self.pressure is None:
                raise Senseless('is missing; expected: such as "150 kPa"', key="pressure")
            return self
        if self.pressure is not None:
            raise Senseless("is for the mains; a tank's comes from its outlet_height and its water", key="pressure")
        for key in ("volume", "outlet_height"):
            if getattr(self, key) is None:
                raise Senseless("is missing; a tank needs it", key=key)
        if (self.footprint is None) == (not self.shape):
            raise Senseless("needs a footprint (upright sides) or a shape: one of the two")
        self._shape_rises()
        if self.top_up is not None and self.volume is not None and self.top_up.below > self.volume:
            raise Senseless(f"is more than the tank holds, {self.volume:g} L", key="top_up.below")
        return self

    def _shape_rises(self) -> None:
        if not self.shape:
            return
        if len(self.shape) < 2 or self.shape[0].volume > 0.0:
            raise Senseless("needs two points or more, from an empty tank upwards", key="shape", shown=False)
        for low, high in zip(self.shape, self.shape[1:], strict=False):
            if high.level <= low.level or high.volume <= low.volume:
                raise Senseless("must rise from point to point, level and volume both", key="shape", shown=False)
        if self.volume is not None and self.shape[-1].volume < self.volume * (1.0 - _ROUNDING):
            raise Senseless(
                f"ends at {self.shape[-1].volume:g} L, below the tank's volume of {self.volume:g} L; add its top",
                key="shape",
                shown=False,
            )
