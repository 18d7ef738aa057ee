"""
Scenario, the water right: what a form wants to know of a supply.

Part of the scenario's models: frozen, every default stands here. Knows no law of any place.
"""

import calendar
import contextlib
import datetime as dt
import math
import re
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from panbudget.errors import Problem
from panbudget.scenario import problem
from panbudget.scenario.problems import Senseless
from panbudget.scenario.quantities import Area, Described, Flow, Number, PastDate, Reads, SomeVolume, Whole, past
from panbudget.units import KINDS, UnitError, quantity

_LEAP_YEAR = 2000  # so that 29 February may be named
_OLDEST_PAPERS = 1000  # year


def _month_day(value: object) -> object:
    """ "04-01" -> (4, 1)."""
    match = re.fullmatch(r"([0-9]{1,2})-([0-9]{1,2})", value) if isinstance(value, str) else None
    if match is None:
        raise Senseless(problem("no-day"))
    month, day = map(int, match.groups())
    if not 1 <= month <= 12 or not 1 <= day <= calendar.monthrange(_LEAP_YEAR, month)[1]:
        raise Senseless(problem("no-day.year"))
    return month, day


MonthDay = Annotated[tuple[int, int], Reads(_month_day, {"type": "string", "examples": ["04-01"]})]


def _as_printed(given: object) -> object:
    """Take a number or a date as the words it is printed as; what is no number stays and is refused."""
    is_words = isinstance(given, dt.date | int) and not isinstance(given, bool)
    return str(given) if is_words or (isinstance(given, float) and math.isfinite(given)) else given


def _day_as_printed(given: object) -> object:
    """Take a date, or a year alone; papers may be older than any weather."""
    year = given.year if isinstance(given, dt.date) else given
    if isinstance(year, float) or (
        isinstance(year, int) and year not in range(_OLDEST_PAPERS, dt.date.today().year + 1)
    ):
        raise Senseless(problem("no-date.papers"))
    return _as_printed(past(given))


def _reading(given: object) -> object:
    """Take what a meter shows as it is printed, with or without its unit, which is none of another quantity's."""
    try:
        quantity(words := _as_printed(given), "volume")
    except UnitError as error:
        for kind in KINDS:  # what is none of any, such as counts, stays as it is
            with contextlib.suppress(UnitError):
                quantity(words, kind)
                raise Senseless(error.problem) from error
    return words


Words = Annotated[str, Field(max_length=200)]
#: what is printed as it is given: words, a number or a date
Printed = Annotated[Words, Reads(_as_printed, {"type": ["string", "number"]})]
_Reading = Annotated[Words, Reads(_reading, {"type": ["string", "number"]})]
_PrintedDay = Annotated[Words, Reads(_day_as_printed, {"type": ["string", "number"]})]
_Metric = Literal["L", "m^3", "ML"]
_American = Literal["gal", "acre-foot", "acre-inch", "acre-foot-survey", "acre-inch-survey", "hundred-cubic-feet"]


class LicensedSeason(Described):
    """Part of the year in which water may be drawn; it may run over New Year."""

    start: MonthDay
    end: MonthDay

    def holds(self, month: int, day: int) -> bool:
        """Whether a day of the year lies in it."""
        if self.start <= self.end:
            return self.start <= (month, day) <= self.end
        return (month, day) >= self.start or (month, day) <= self.end


class _Papers(Described):
    """What stands in the holder's papers."""

    holder: Words = ""
    reference: Words = ""
    point_of_diversion: Words = ""
    purpose: Words = ""
    address: Printed = ""
    priority_date: _PrintedDay = ""
    source_kind: Printed = ""
    coordinates: Printed = ""
    place_of_use: Printed = ""
    attestation: Annotated[str, Field(max_length=1000)] = ""
    volume: Annotated[SomeVolume, Field(le=1e10)] | None = None
    rate: Flow | None = None
    season: LicensedSeason | None = None
    area: Annotated[Area, Field(le=1e8)] | None = None


class FurtherRight(_Papers):
    """A second right on the same supply, for some of its beds."""

    beds: list[str] = Field(min_length=1)


class Right(_Papers):
    """The right under which a supply's water is drawn."""

    water_year_start: Annotated[Whole, Field(ge=1, le=12)] = 1
    volume_unit: Literal[_Metric, _American] = "L"
    rate_unit: Literal["L/h", "L/s", "m^3/h", "gal/h", "gal/min", "ft^3/s"] = "L/h"
    area_unit: Literal["m^2", "ha", "ft^2", "acre"] = "m^2"
    decimals: Annotated[Whole, Field(ge=0, le=9)] | None = None
    readings: str | None = None
    further: dict[str, FurtherRight] = Field(default_factory=dict)

    def wrong(self) -> Iterator[Problem]:
        seen: dict[str, str] = {}
        for name, right in self.further.items():
            for index, bed in enumerate(right.beds):
                if bed in seen:
                    yield problem("named-twice.bed", f"further.{name}.beds[{index}]", before=seen[bed])
                    return
                seen[bed] = name


class Meter(Described):
    """The meter that counts a supply's water."""

    # half the width of what a meter's counts are worth: common practice, no source
    accuracy: Annotated[Number, Field(ge=0, le=0.5)] = 0.02
    multiplier: Annotated[Number, Field(gt=0, le=1e6)] = 1.0
    make: Printed = ""
    serial_number: Printed = ""
    calibration_date: PastDate | None = None
    first_reading: _Reading = ""
    last_reading: _Reading = ""


class StatementRules(Described):
    """How a statement splits shared water."""

    split: Literal["emitters", "area"] = "emitters"
