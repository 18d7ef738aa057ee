"""
The scenario's building blocks: quantities with units, and the base of all its parts.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from panbudget.scenario.problems import Senseless
from panbudget.units import UnitError, quantity

__all__ = [
    "Area",
    "Conductivity",
    "Count",
    "Depth",
    "Described",
    "Flow",
    "Length",
    "Mass",
    "Number",
    "Pressure",
    "Share",
    "Speed",
    "TemperatureDifference",
    "Time",
    "Volume",
    "WeatherFile",
    "name_to_table",
]


def _reads(kind: str) -> BeforeValidator:
    def read(value: object) -> object:
        try:
            return quantity(value, kind)
        except UnitError as error:
            raise Senseless(str(error)) from error

    return BeforeValidator(read)


def name_to_table(value: object) -> object:
    """`soil = "loam"` is short for `soil = { name = "loam" }`."""
    return {"name": value} if isinstance(value, str) else value


def _names_a_file(text: str) -> str:
    if not text.strip():
        raise Senseless('is empty; the path of a weather file is expected, such as "weather.csv"')
    if text.replace("\\", "/").rsplit("/", 1)[-1].strip() in ("", ".", ".."):
        raise Senseless('is a folder, and the path of a weather file is expected, such as "weather.csv"')
    return text


WeatherFile = Annotated[str, AfterValidator(_names_a_file)]
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Count = Annotated[int, Field(strict=True, ge=1, le=1_000_000)]
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
