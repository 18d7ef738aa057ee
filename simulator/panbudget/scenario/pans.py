"""
The scenario's pans: vessels, what lies upwind of them, how they evaporate; the valve that a pan works, and the timer it replaces.
"""

import math
import re
from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from panbudget.errors import Problem
from panbudget.scenario import problem, quantities
from panbudget.scenario.beds import Emitter
from panbudget.scenario.quantities import Described, Flow, Mass, Number, OneOf, Share, SomeDepth, SomeLength, Time
from panbudget.words import say

LEAST_SWING = 0.001  # kg; a gram, which no beam feels
MOST_PRESSES = 24  # a day
_PRESS_TIME = re.compile(r"sunset|sunrise|(2[0-3]|[01]\d|\d):([0-5]\d|\d)", re.ASCII)
#: floor to rim
PanDepth = Annotated[SomeDepth, Field(le=1000)]
_MOST_AREA = 500.0  # m² of a pan
_Across = Annotated[SomeLength, Field(le=20), Field(ge=0.01)]  # m


class Vessel(Described):
    """One open container with vertical sides."""

    diameter: _Across | None = None
    length: _Across | None = None
    width: _Across | None = None
    area: quantities.Area | None = None
    count: quantities.Count = 1

    def wrong(self) -> Iterator[Problem]:
        given = {key for key in ("diameter", "length", "width", "area") if getattr(self, key) is not None}
        if given not in ({"diameter"}, {"length", "width"}, {"area"}):
            yield problem("one-of.vessel")

    @property
    def surface(self) -> float:
        """Water surface of all of these together. [m²]"""
        round_one = math.pi * (self.diameter or 0.0) ** 2 / 4.0
        return (self.area or round_one or (self.length or 0.0) * (self.width or 0.0)) * self.count

    @property
    def across(self) -> float:
        """Width of the side view of one; as if it were round where nothing else is known. [m]"""
        of_area = math.sqrt(4.0 * (self.area or 0.0) / math.pi)
        return self.diameter or of_area or max(self.length or 0.0, self.width or 0.0)

    @property
    def in_words(self) -> str:
        """What they are, for people."""
        count = f"{self.count} × " if self.count > 1 else ""
        if self.diameter is not None:
            return say("{count}round, {across:depth .0f} across", count=count, across=1000 * self.diameter)
        if self.area is not None:
            return say("{count}{area:area .3f} of water surface", count=count, area=self.area)
        sides = {"long": 1000 * (self.length or 0.0), "wide": 1000 * (self.width or 0.0)}
        return say("{count}{long:bare depth .0f} × {wide:depth .0f}", count=count, **sides)


class Fetch(Described):
    """What lies upwind of the pan."""

    cover: Literal["green", "dry"] = "green"
    distance: SomeLength = 10.0


class Pan(Described):
    """The open container on the beam."""

    vessels: list[Vessel] = Field(min_length=1)
    depth: PanDepth
    freeboard: Annotated[quantities.Depth, Field(ge=0)] = 20.0
    evaporation: Literal["from-eto", "energy-balance", "measured"] = "from-eto"
    fetch: Fetch = Field(default_factory=Fetch)
    exposure: Annotated[Number, Field(gt=0, le=5), Field(ge=0.05)] = 1.0
    night_share: Share = 0.0
    ground_albedo: Share = 0.26

    def wrong(self) -> Iterator[Problem]:
        if self.freeboard >= self.depth:
            key = "freeboard" if "freeboard" in self.model_fields_set else "depth"
            yield problem(f"too-much.{key}", key, depth=self.depth, freeboard=self.freeboard)
        if self.area > _MOST_AREA:
            yield problem("too-much.vessels", "vessels", area=self.area, most=_MOST_AREA)

    @property
    def area(self) -> float:
        """Water surface of all vessels. [m²]"""
        return sum(vessel.surface for vessel in self.vessels)

    @property
    def water_at_reset(self) -> float:
        """Water in the pan at the reset level. [kg]"""
        return (self.depth - self.freeboard) * self.area


class SetUpTest(Described):
    """Two weighings of the counterweight."""

    falls_at: Annotated[Mass, Field(gt=0)]
    rises_at: Annotated[Mass, Field(gt=0)]
    arm_ratio: Annotated[Number, Field(gt=0, le=100)] = 1.0

    def wrong(self) -> Iterator[Problem]:
        if self.rises_at >= self.falls_at:
            yield Problem("order", "rises_at", "must be below falls_at: the latch makes the two differ")


class _Valve(Described):
    """The valve, its beam and its refill emitter."""

    refill: Emitter
    press_times: list[str] = Field(default_factory=list)
    rated_flow: Flow | None = None
    rated_loss: quantities.Pressure | None = None
    least_pressure: quantities.Pressure | None = None

    @property
    def swing_kg(self) -> float:
        """Water between trip and reset. [kg]"""
        raise NotImplementedError

    def wrong(self) -> Iterator[Problem]:
        if self.swing_kg < LEAST_SWING:
            yield problem("too-small.swing", self.marks[0])
        for index, text in enumerate(self.press_times):
            if not _PRESS_TIME.fullmatch(text):
                yield problem("no-time", f"press_times[{index}]")
        minutes = [text.rjust(5, "0") if ":" in text else text for text in self.press_times]  # 8:00 is 08:00
        for index in (index for index, minute in enumerate(minutes) if minute in minutes[:index]):
            yield problem("named-twice.press", f"press_times[{index}]")
        if len(self.press_times) > MOST_PRESSES:
            yield problem("too-long.presses", "press_times", most=MOST_PRESSES)


class SwingValve(_Valve):
    """A valve whose swing is known."""

    marks = ("swing",)
    #: as the file says nothing of it
    arm_ratio: ClassVar[float] = 1.0

    swing: Annotated[Mass, Field(gt=0)]

    @property
    def swing_kg(self) -> float:
        """Water between trip and reset. [kg]"""
        return self.swing


class WeighedValve(_Valve):
    """A valve whose swing comes of two weighings."""

    marks = ("set_up_test",)

    set_up_test: SetUpTest

    @property
    def swing_kg(self) -> float:
        """Water between trip and reset. [kg]"""
        return (self.set_up_test.falls_at - self.set_up_test.rises_at) * self.arm_ratio

    @property
    def arm_ratio(self) -> float:
        """Counterweight's arm over the pan's arm."""
        return self.set_up_test.arm_ratio


Valve = Annotated[SwingValve | WeighedValve, OneOf()]


class Timer(Described):
    """The clock timer that waters these beds now: a yardstick to compare the pan with."""

    days: list[Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]] = Field(min_length=1, max_length=7)
    duration: Annotated[Time, Field(le=24)] | None = None
    litres_a_week: Annotated[quantities.SomeVolume, Field(le=1e7)] | None = None

    def wrong(self) -> Iterator[Problem]:
        if (self.duration is None) == (self.litres_a_week is None):
            yield problem("one-of.timer")
        elif len(set(self.days)) < len(self.days):
            yield Problem("named-twice", "days", "names a day twice")
