"""
The scenario's building blocks: quantities with units, the base of all its parts, and parts that come in several kinds.

What each key means stands in `keys.toml`, by the class of its part.
"""

import datetime as dt
import functools
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Annotated, Any, ClassVar, Self, get_args

import numpy as np
import pandas as pd
from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    model_validator,
)
from pydantic_core import CoreSchema, core_schema

from panbudget.errors import Problem, ScenarioError
from panbudget.extras import Made
from panbudget.scenario import problem
from panbudget.scenario.problems import Senseless, kinds_of
from panbudget.tables import UnknownName
from panbudget.units import KINDS, quantity
from panbudget.words import TABLES, packaged

_KEYS = packaged("scenario/keys.toml")
#: of a date that a person writes: the first year, and the last
YEARS = (1800, 2200)
#: a day as a caller gives it: what pandas takes for one; its Timestamp is a date, too
Day = dt.date | str | np.datetime64


def as_day(given: Day, name: str) -> dt.date:
    """Read a day as pandas takes it; ``name`` is the argument's."""
    day = pd.to_datetime(pd.Series([given]), errors="coerce")[0]
    if pd.isna(day):
        raise ScenarioError(problem("no-day.given", name, given, given=given))
    return pd.Timestamp(day).date()


def day_or(given: Day | None, name: str, otherwise: Made) -> dt.date | Made:
    """Read a day where one is given."""
    return otherwise if given is None else as_day(given, name)


class Reads:
    """
    Annotation of a value that a file writes in another way than the program holds it.

    Parameters
    ----------
    read : callable
        What is written -> what is checked further.
    written : dict
        JSON schema of what is written.
    beside : bool
        Whether what is checked further may be written too.
    """

    def __init__(self, read: Callable[[object], object], written: dict[str, Any], *, beside: bool = False) -> None:
        self.read, self.written, self.beside = read, written, beside

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self.read, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [self.written, handler(schema)]} if self.beside else dict(self.written)


class OrOne:
    """Annotation of a list in whose place its only entry may be written, as ``written`` has it; that has no number then."""

    def __init__(self, written: dict[str, Any]) -> None:
        self.written = written

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        several: Any = handler(source)
        one = core_schema.no_info_after_validator_function(lambda entry: [entry], several["items_schema"])
        kinds = {"one": one, "several": several}
        return core_schema.tagged_union_schema(kinds, lambda given: "several" if isinstance(given, list) else "one")

    def __get_pydantic_json_schema__(self, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [self.written, handler(schema["choices"]["several"])]}


def _reads(kind: str) -> Reads:
    unit, _, example = KINDS[kind]
    written = {"type": "string", "examples": re.findall('"([^"]+)"', example), "unit": unit}
    return Reads(functools.partial(quantity, kind=kind), written)


#: `soil = "loam"` is short for `soil = { name = "loam" }`
OrName = Reads(lambda value: {"name": value} if isinstance(value, str) else value, {"type": "string"}, beside=True)


def _names_files(given: object) -> object:
    """Refuse what names no file, or no file beside others."""
    for text in given if isinstance(given, list) and given else [given]:
        if not isinstance(text, str) or text.replace("\\", "/").rsplit("/", 1)[-1].strip() in ("", ".", ".."):
            found = "is no path" if not isinstance(text, str) else "is a folder" if text.strip() else "is empty"
            raise Senseless(problem("no-file", found=found))
    return given


def _a_date(given: object) -> object:
    """Refuse numbers, which would count seconds, and years of no weather."""
    if isinstance(given, int | float):
        raise Senseless(problem("no-date", found="is no date" if isinstance(given, bool) else "is a number"))
    year = int(given[:4]) if isinstance(given, str) and re.match("[0-9]{4}-", given) else getattr(given, "year", 2000)
    if not YEARS[0] <= year <= YEARS[1]:
        raise Senseless(problem("no-date.year", first=YEARS[0], last=YEARS[1]))
    return given


def past(given: Any) -> Any:
    """Refuse a day that has not come; tomorrow is today elsewhere."""
    day = given.date() if isinstance(given, dt.datetime) else given
    if isinstance(day, dt.date) and day > dt.date.today() + dt.timedelta(days=1):
        raise Senseless(problem("no-date", found="has not come yet"))
    return given


_FILES = {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}, "minItems": 1}]}
#: a file, a pattern of files, or a list of them
WeatherFiles = Annotated[str | list[str], Reads(_names_files, _FILES)]
Date = Annotated[dt.date, Reads(_a_date, {"type": "string", "format": "date"})]
#: a day on which something was done
PastDate = Annotated[dt.date, AfterValidator(past), Reads(_a_date, {"type": "string", "format": "date"})]
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Whole = Annotated[int, Field(strict=True)]
Count = Annotated[int, Field(strict=True, ge=1, le=1_000_000)]
Flag = Annotated[bool, Field(strict=True)]
Length = Annotated[float, _reads("length")]
#: the lowest and the highest of gardens [m above sea]
ELEVATIONS = -430, TABLES["most"]["elevation"]
Elevation = Annotated[float, _reads("elevation"), Field(ge=ELEVATIONS[0], le=ELEVATIONS[1])]
#: of wind gauges above ground; below, the profile over grass does not hold (FAO-56 eq 47) [m]
WIND_HEIGHTS = 0.5, 200
Depth = Annotated[float, _reads("depth")]
Area = Annotated[float, _reads("area"), Field(gt=0)]
Mass = Annotated[float, _reads("mass")]
Flow = Annotated[float, _reads("flow"), Field(gt=0)]
Pressure = Annotated[float, _reads("pressure"), Field(gt=0, le=2000)]
Time = Annotated[float, _reads("time"), Field(gt=0)]
Volume = Annotated[float, _reads("volume")]
TemperatureDifference = Annotated[float, _reads("temperature difference")]
#: of any water: brine that can hold no more salt has some 250 dS/m (from memory)
Conductivity = Annotated[float, _reads("conductivity"), Field(gt=0, le=300)]
Speed = Annotated[float, _reads("speed")]
Share = Annotated[Number, Field(ge=0, le=1)]
#: a share of nothing makes no sense
Part = Annotated[Number, Field(gt=0, le=1), Field(ge=0.01)]
SomeLength = Annotated[Length, Field(gt=0)]
SomeDepth = Annotated[Depth, Field(gt=0)]
SomeVolume = Annotated[Volume, Field(gt=0)]


class Described(BaseModel):
    """Base of all parts: nothing unknown gets in, nothing changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)

    #: of a part that comes in several kinds without a `kind`: the keys that tell this one from the others
    marks: ClassVar[tuple[str, ...]] = ()
    #: keys of another kind that people give here, and why they don't belong
    elsewhere: ClassVar[Mapping[str, str]] = {}

    @classmethod
    def __pydantic_init_subclass__(cls, **options: Any) -> None:
        texts = dict(_KEYS.get(cls.__name__, {}))
        cls.elsewhere = texts.pop("elsewhere", cls.elsewhere)
        for key, text in texts.items():
            cls.model_fields[key].description = text

    def wrong(self) -> Iterable[Problem]:
        """
        Say what makes no sense between the keys of this class.

        Each class speaks for its own keys, and a base comes first: where it finds something, nothing more is asked.
        """
        return ()

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        for part in reversed(type(self).__mro__):
            if issubclass(part, Described) and "wrong" in vars(part) and (problems := [*part.wrong(self)]):
                raise Senseless(*problems)
        return self


def in_order(start: dt.date | None, end: dt.date | None) -> Iterator[Problem]:
    """Refuse an end before its start."""
    if start is not None and end is not None and end < start:
        yield Problem("order", "end", f"is before the start, {start}", cure="give the later date as end")


def unknown(look_up: Callable[..., object], *names: str, key: str = "") -> Iterator[Problem]:
    """Refuse a name that a table does not have; its problem is a sentence of its own."""
    try:
        look_up(*names)
    except UnknownName as error:
        yield replace(error.problem, where=key, found=f": {error.problem.found}")


class OneOf:
    """
    Annotation of a union of parts: a table is of the kind that its ``kind``, or a mark that it has, names.

    Where it has marks of several, it is the last of these (the others' keys are then refused), where of none, the first.
    """

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        parts: tuple[type[Described], ...] = get_args(source)
        by_kind = {kind: part for part in parts for kind in kinds_of(part)}

        def which(value: Any) -> str | None:
            if isinstance(value, BaseModel):
                return type(value).__name__
            given: Mapping[str, Any] = value if isinstance(value, Mapping) else {}
            if not by_kind:
                marked = [part for part in parts if any(mark in given for mark in part.marks)]
                return (marked or parts[:1])[-1].__name__
            kind = given.get("kind", parts[0].model_fields["kind"].default)
            return by_kind[kind].__name__ if isinstance(kind, str) and kind in by_kind else str(kind)

        schemas = {part.__name__: handler.generate_schema(part) for part in parts}
        return core_schema.tagged_union_schema(schemas, discriminator=which)
