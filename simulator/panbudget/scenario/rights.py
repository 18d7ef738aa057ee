"""
Scenario, the water right: what a form wants to know of a supply, and the ranges that a statement is drawn over.

Part of the scenario's models: frozen, every default stands here. Knows no law of any place.
"""

from __future__ import annotations

import calendar
import re
from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from panbudget.errors import Problem
from panbudget.scenario.problems import Senseless
from panbudget.scenario.quantities import Area, Described, Flow, Number, Reads, Volume

_LEAP_YEAR = 2000  # so that 29 February may be named


def _month_day(value: object) -> object:
    """ "04-01" -> (4, 1)."""
    match = re.fullmatch(r"(\d{1,2})-(\d{1,2})", value) if isinstance(value, str) else None
    if match is None:
        raise Senseless(Problem("no-day", found='is not a month and a day such as "04-01"'))
    month, day = int(match.group(1)), int(match.group(2))
    if not 1 <= month <= 12 or not 1 <= day <= calendar.monthrange(_LEAP_YEAR, month)[1]:
        cure = 'give month and day, such as "04-01"'
        raise Senseless(Problem("no-day", found="is no day of any year", cure=cure))
    return month, day


def _low_high(value: object) -> object:
    """A range of factors: two plain numbers, the lower first, around 1."""
    if not (isinstance(value, list | tuple) and len(value) == 2 and all(type(v) in (int, float) for v in value)):
        raise Senseless(Problem("no-range", found="is not two factors in [ ], such as [0.9, 1.1]"))
    low, high = map(float, value)
    if not 0.0 < low <= 1.0 <= high <= 10.0:
        found = "must hold 1, the value as described, between a lower factor above 0 and a higher one up to 10"
        raise Senseless(Problem("no-range", found=found, expected="two factors such as [0.9, 1.1]"))
    return low, high


MonthDay = Annotated[tuple[int, int], Reads(_month_day, {"type": "string", "examples": ["04-01"]})]
Factors = Annotated[tuple[float, float], BeforeValidator(_low_high)]
Words = Annotated[str, Field(max_length=200)]


class LicensedSeason(Described):
    """Part of the year in which water may be drawn; it may run over New Year."""

    start: MonthDay = Field(description='first day, such as "04-01"')
    end: MonthDay = Field(description='last day, such as "10-31"')

    def holds(self, month: int, day: int) -> bool:
        """Whether a day of the year lies in it."""
        if self.start <= self.end:
            return self.start <= (month, day) <= self.end
        return (month, day) >= self.start or (month, day) <= self.end


class _Papers(Described):
    """What stands in the holder's papers."""

    holder: Words = Field("", description="name of the holder")
    reference: Words = Field("", description="the holder's or the authority's reference")
    point_of_diversion: Words = Field("", description="where the water is taken, in your papers' words")
    purpose: Words = Field("", description='such as "irrigation of a kitchen garden"')
    volume: Annotated[Volume, Field(gt=0)] | None = Field(
        None, description='licensed volume of a water year, such as "60 m^3" or "0.05 acre-foot"'
    )
    rate: Flow | None = Field(None, description='licensed rate, such as "0.2 L/s" or "3 gpm"')
    season: LicensedSeason | None = Field(None, description='such as { start = "04-01", end = "10-31" }')
    area: Area | None = Field(None, description='licensed irrigated area, such as "80 m^2"')


class FurtherRight(_Papers):
    """A second right on the same supply, for some of its beds."""

    beds: list[str] = Field(min_length=1, description='its beds, such as ["upper/tomatoes"]; no other right has them')


class Right(_Papers):
    """The right under which a supply's water is drawn."""

    water_year_start: Annotated[int, Field(strict=True, ge=1, le=12)] = Field(
        1, description="month in which the water year begins, such as 7"
    )
    volume_unit: Literal[
        "L",
        "m^3",
        "ML",
        "gal",
        "acre-foot",
        "acre-inch",
        "acre-foot-survey",
        "acre-inch-survey",
        "hundred-cubic-feet",
    ] = Field("L", description="unit of volume that the form wants")
    rate_unit: Literal["L/h", "L/s", "m^3/h", "gal/min", "ft^3/s"] = Field(
        "L/h", description="unit of rate that the form wants"
    )
    area_unit: Literal["m^2", "ha", "acre"] = Field("m^2", description="unit of area that the form wants")
    decimals: Annotated[int, Field(strict=True, ge=0, le=9)] | None = Field(
        None, description="decimals of volumes as printed; left out, the last digit is worth at most 13 L"
    )
    readings: str | None = Field(None, description="file of meter readings, relative to this scenario file")
    further: dict[str, FurtherRight] = Field(
        default_factory=dict, description="[supply.NAME.right.further.NAME]: another right on some of the beds"
    )

    @model_validator(mode="after")
    def _beds_of_one_right(self) -> Self:
        seen: dict[str, str] = {}
        for name, right in self.further.items():
            for index, bed in enumerate(right.beds):
                if bed in seen:
                    found = f"is named twice, here and in {seen[bed]}"
                    where = f"further.{name}.beds[{index}]"
                    raise Senseless(Problem("named-twice", where, found, cure="a bed has one right"))
                seen[bed] = name
        return self


class StatementRules(Described):
    """How a statement splits shared water, and over what its ranges are drawn; factors on the values described."""

    exposure: Factors = Field(
        (0.75, 1.33), description="range of the pan's evaporation: two models of it differ by a third"
    )
    refill_flow: Factors = Field((0.9, 1.1), description="range of each refill emitter's flow")
    emitter_flow: Factors = Field((0.9, 1.1), description="range of each bed's emitters' flow")
    pressure: Factors = Field((0.8, 1.2), description="range of each supply's pressure")
    samples: Annotated[int, Field(strict=True, ge=20, le=20_000)] = Field(
        500, description="how many seasons are run over the ranges"
    )
    interval: Annotated[Number, Field(ge=0.5, le=0.99)] = Field(
        0.9, description="share of those seasons that the stated range holds"
    )
    seed: Annotated[int, Field(strict=True, ge=0, le=2**31)] = Field(1, description="of the random numbers")
    split: Literal["emitters", "area"] = Field(
        "emitters", description="how one valve's water is split between rights: by its beds' emitter flow or area"
    )
