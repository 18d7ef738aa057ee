"""
The scenario's building blocks: quantities with units, the base of all its parts, and parts that come in several kinds.
"""

from __future__ import annotations

import typing
from collections.abc import Mapping
from typing import Annotated, Any, ClassVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from panbudget.errors import Problem
from panbudget.scenario.problems import Senseless, kinds_of
from panbudget.units import UnitError, quantity


def _reads(kind: str) -> BeforeValidator:
    def read(value: object) -> object:
        try:
            return quantity(value, kind)
        except UnitError as error:
            raise Senseless(error.problem) from error

    return BeforeValidator(read)


def name_to_table(value: object) -> object:
    """`soil = "loam"` is short for `soil = { name = "loam" }`."""
    return {"name": value} if isinstance(value, str) else value


def _names_a_file(text: str) -> str:
    name = text.replace("\\", "/").rsplit("/", 1)[-1].strip()
    if name in ("", ".", ".."):
        found = "is a folder" if text.strip() else "is empty"
        raise Senseless(Problem("no-file", "", found, 'the path of a weather file, such as "weather.csv"'))
    return text


WeatherFile = Annotated[str, AfterValidator(_names_a_file)]
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Count = Annotated[int, Field(strict=True, ge=1, le=1_000_000)]
Flag = Annotated[bool, Field(strict=True)]
Length = Annotated[float, _reads("length")]
Depth = Annotated[float, _reads("depth")]
Area = Annotated[float, _reads("area"), Field(gt=0)]
Mass = Annotated[float, _reads("mass")]
Flow = Annotated[float, _reads("flow"), Field(gt=0)]
Pressure = Annotated[float, _reads("pressure"), Field(gt=0)]
Time = Annotated[float, _reads("time"), Field(gt=0)]
Volume = Annotated[float, _reads("volume")]
TemperatureDifference = Annotated[float, _reads("temperature difference")]
Conductivity = Annotated[float, _reads("conductivity"), Field(gt=0)]
Speed = Annotated[float, _reads("speed")]
Share = Annotated[Number, Field(ge=0, le=1)]


class Described(BaseModel):
    """Base of all parts: nothing unknown gets in, nothing changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    #: of a part that comes in several kinds without a `kind`: the keys that tell this one from the others
    marks: ClassVar[tuple[str, ...]] = ()
    #: keys of another kind that people give here, and why they don't belong
    elsewhere: ClassVar[Mapping[str, str]] = {}


class OneOf:
    """
    Annotation of a union of parts: a table is of the kind that its ``kind``, or a mark that it has, names.

    Where it has marks of several, it is the last of these (the others' keys are then refused), where of none, the first.
    """

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        parts: tuple[type[Described], ...] = typing.get_args(source)
        by_kind = {kind: part for part in parts for kind in kinds_of(part)}

        def which(value: Any) -> str | None:
            if isinstance(value, BaseModel):
                return type(value).__name__
            given: Mapping[str, Any] = value if isinstance(value, Mapping) else {}
            if not by_kind:
                marked = [part for part in parts if any(mark in given for mark in part.marks)]
                return (marked or parts[:1])[-1].__name__
            kind = given.get("kind", parts[0].model_fields["kind"].default)
            return by_kind[kind].__name__ if kind in by_kind else kind if isinstance(kind, str) else None

        schemas = {part.__name__: handler.generate_schema(part) for part in parts}
        return core_schema.tagged_union_schema(schemas, discriminator=which)
