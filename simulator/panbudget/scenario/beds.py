"""
The scenario's beds: soil, plants in all the ways they can be described, mulch, and the bed that holds them.
"""

import itertools
import math
from collections.abc import Iterable, Iterator
from typing import Annotated, Literal

from pydantic import Field

from panbudget.errors import Problem
from panbudget.scenario import problem, quantities
from panbudget.scenario.quantities import Date, Described, Length, Number, OneOf, OrName, OrOne, Part, Share, unknown
from panbudget.tables.plants import find_plant, landscape_level
from panbudget.tables.soils import find_soil

# field capacities from coarse gravel to raw peat, and the water that some plant lives on (common practice, no source)
_DRIEST, _WETTEST, _LEAST_WATER = 0.03, 0.8, 0.01
_MOST_RATE = 1000.0  # mm/h that a bed's emitters give


#: of one
EmitterFlow = Annotated[quantities.Flow, Field(le=10_000)]


class Emitter(Described):
    """One emitter, by its packet or by a jug."""

    flow: EmitterFlow
    at: quantities.Pressure | None = None
    exponent: Share = 0.5


class Emitters(Emitter):
    """All emitters of a bed, of one kind."""

    count: quantities.Count = 1


class NamedSoil(Described):
    """A texture from the table."""

    marks = ("name",)

    name: str

    def wrong(self) -> Iterator[Problem]:
        return unknown(find_soil, self.name)


class OwnSoil(Described):
    """A soil by its two water contents."""

    marks = ("field_capacity", "wilting_point")

    field_capacity: Annotated[Number, Field(ge=_DRIEST, le=_WETTEST)]
    wilting_point: Annotated[Number, Field(ge=0, lt=_WETTEST)]

    def wrong(self) -> Iterator[Problem]:
        if self.wilting_point >= self.field_capacity:
            yield problem("order", "wilting_point", capacity=self.field_capacity)
        elif self.field_capacity - self.wilting_point < _LEAST_WATER:
            yield problem("too-small", "wilting_point", least=_LEAST_WATER, capacity=self.field_capacity)


_Deep = Annotated[Length, Field(gt=0, le=10), Field(ge=0.01)]


class _Layer(Described):
    thickness: _Deep


class NamedLayer(NamedSoil, _Layer):
    """A layer by its texture's name."""


class OwnLayer(OwnSoil, _Layer):
    """A layer by its two water contents."""


class LayeredSoil(Described):
    """Up to four layers from the surface down."""

    marks = ("layers",)

    layers: list[Annotated[NamedLayer | OwnLayer, OneOf()]] = Field(min_length=1, max_length=4)


Soil = Annotated[NamedSoil | OwnSoil | LayeredSoil, OneOf()]
Level = Annotated[Number, Field(ge=0, le=2)] | Annotated[str, Field(pattern="^[a-z ]+$")]
# what only changes that is never nothing
_Factor = Annotated[Number, Field(ge=0.1, le=2)] | Annotated[str, Field(pattern="^[a-z ]+$")]
_LEVELS = ("species", "density", "microclimate")
_Coefficient = Annotated[Number, Field(gt=0, le=2)]
_Depletion = Annotated[Number, Field(gt=0, lt=1)]
_Days = Annotated[quantities.Whole, Field(ge=0, le=400)]
_LONGEST_SEASON = 720  # days: virgin sugar cane in the tropics, the longest of FAO-56 table 11 (from memory)
_DegreeDays = Annotated[Number, Field(ge=0, le=10_000)]
_PlantFactor = Annotated[Number, Field(ge=0, le=1.5)]


class _Plants(Described):
    height: Annotated[Length, Field(gt=0, le=50)] | None = None


class NamedPlants(_Plants):
    """A plant from the table, with changes, if any."""

    marks = ("name",)

    name: str
    stages: Annotated[list[_Days], Field(min_length=4, max_length=4)] | None = None
    stages_gdd: Annotated[list[_DegreeDays], Field(min_length=4, max_length=4)] | None = None
    base_temperature: Annotated[Number, Field(ge=-10, le=30)] = 10.0
    kc_ini: _Coefficient | None = None
    kc_mid: _Coefficient | None = None
    kc_end: _Coefficient | None = None
    root_depth: _Deep | None = None
    depletion: _Depletion | None = None

    def wrong(self) -> Iterable[Problem]:
        if self.stages is not None and self.stages_gdd is not None:
            return [Problem("one-of", "stages_gdd", "takes stages in days or in degree days, not both")]
        for key, stages in (("stages", self.stages), ("stages_gdd", self.stages_gdd)):
            if stages is not None and not sum(stages):
                return [Problem("no-days", key, "has no day in it", cure="give all four stages")]
        if self.stages is not None and sum(self.stages) > _LONGEST_SEASON:
            facts = {"stages": self.stages, "days": sum(self.stages), "most": _LONGEST_SEASON}
            return [problem("too-long.stages", "stages", **facts)]
        if "base_temperature" in self.model_fields_set and self.stages_gdd is None:
            return [problem("alone", "base_temperature")]
        return [*unknown(find_plant, self.name)] or self._out_of_order()

    def _out_of_order(self) -> Iterator[Problem]:
        """The Kc of mid-season is no less than another's that is given, but where the table has it so."""
        plant = find_plant(self.name)
        mid = plant.kc_mid if self.kc_mid is None else self.kc_mid
        for key, table in (("kc_ini", plant.kc_ini), ("kc_end", plant.kc_end)):
            given = getattr(self, key)
            value = table if given is None else given
            if (given, self.kc_mid) != (None, None) and mid < value and plant.kc_mid >= table:
                code, where = ("order.mid", "kc_mid") if given is None else ("order.kc", key)
                yield problem(code, where, mid=mid, key=key, kc=value)

    @property
    def degree_days(self) -> float | None:
        """Of all four stages, where they are given so. [°C d]"""
        return None if self.stages_gdd is None else sum(self.stages_gdd)

    @property
    def needs_date(self) -> bool:
        """Whether a day of planting, or of first growth, must be known."""
        return find_plant(self.name).needs_date or self.stages is not None or self.stages_gdd is not None


class _Unnamed(_Plants):
    root_depth: _Deep
    depletion: _Depletion


class OwnPlants(_Unnamed):
    """A constant Kc."""

    marks = ("kc",)

    kc: _Coefficient


class Landscape(_Unnamed):
    """A landscape planting, by its share of ETo or by the factors that make it up."""

    marks = ("plant_factor", "species")

    plant_factor: Annotated[list[_PlantFactor], OrOne({"type": "number"})] | None = None
    species: Level | None = None
    density: _Factor = "average"
    microclimate: _Factor = "average"

    def wrong(self) -> Iterator[Problem]:
        if self.plant_factor is not None and self.species is not None:
            yield Problem("one-of", "", "takes a plant_factor or a species factor: one of the two")
        elif self.plant_factor is not None and len(self.plant_factor) not in (1, 12):
            yield Problem("one-or-twelve", "plant_factor", "takes one number, or twelve from January to December")
        else:
            named = ((key, level) for key in _LEVELS if isinstance(level := getattr(self, key), str))
            wrong = (each for key, level in named for each in unknown(landscape_level, key, level, key=key))
            yield from itertools.islice(wrong, 1)

    @property
    def factors(self) -> tuple[float, ...]:
        """Share of ETo that the planting needs, one or twelve: given, or species · density · microclimate."""
        if self.plant_factor is not None:
            return tuple(self.plant_factor)
        levels = ((factor, getattr(self, factor)) for factor in _LEVELS)
        return (math.prod(landscape_level(factor, v) if isinstance(v, str) else v for factor, v in levels),)


Plants = Annotated[NamedPlants | OwnPlants | Landscape, OneOf()]


class Planting(Described):
    """What grows, and since when."""

    plants: Annotated[Plants, OrName]
    planted: Date | None = None

    def wrong(self) -> Iterator[Problem]:
        if self.planted is None and isinstance(self.plants, NamedPlants) and self.plants.needs_date:
            yield problem("missing.planted", "planted", name=self.plants.name)


class MixPart(Planting):
    """One part of a mixed bed."""

    share: Part


class Mulch(Described):
    """What covers the soil between the plants."""

    kind: Literal["organic", "compost", "plastic"]
    cover: Share


class Leaching(Described):
    """Salty water, and what the plants stand of it."""

    water: quantities.Conductivity
    threshold: quantities.Conductivity


class _Bed(Described):
    """One planted area with one soil."""

    area: Annotated[quantities.Area, Field(le=1e6)]
    emitters: Emitters
    soil: Annotated[Soil, OrName]
    mulch: Mulch | None = None
    wetting_interval: Annotated[quantities.Time, Field(le=24 * 60)] | None = None
    wetting_depth: Annotated[quantities.SomeDepth, Field(le=500)] = 10.0
    method: Literal["single", "dual"] = "single"
    uniformity: Part = 0.9
    initial_depletion: Share = 0.0
    root_fraction: Part = 1.0
    wetted_fraction: Part = 0.35
    curve_number: Annotated[Number, Field(ge=30, le=100)] | None = None
    antecedent: Literal["average", "five-day"] = "average"
    leaching: Leaching | None = None

    def wrong(self) -> Iterator[Problem]:
        rate = self.emitters.count * self.emitters.flow / self.area
        if rate > _MOST_RATE:
            yield problem("too-much.rate", "emitters", rate=rate, most=_MOST_RATE)

    @property
    def wetting_days(self) -> float | None:
        """Days between wettings, if told."""
        return None if self.wetting_interval is None else self.wetting_interval / 24.0


class PlantedBed(_Bed, Planting):
    """A bed with one planting."""

    marks = ("plants",)


class BedInTurn(_Bed):
    """A bed with several plantings, one after the other."""

    marks = ("plantings",)

    plantings: list[Planting] = Field(min_length=1)

    def wrong(self) -> Iterator[Problem]:
        for index, (earlier, other) in enumerate(itertools.pairwise(self.plantings), 1):
            if earlier.planted is not None and other.planted is not None and other.planted <= earlier.planted:
                yield problem("order.plantings", f"plantings[{index}].planted", before=earlier.planted)


class MixedBed(_Bed):
    """A bed with several plantings side by side."""

    marks = ("mix",)

    mix: list[MixPart] = Field(min_length=1)

    def wrong(self) -> Iterator[Problem]:
        total = sum(part.share for part in self.mix)
        if abs(total - 1.0) > 1e-6:
            yield Problem("shares", "mix", f"has shares that add up to {total:g}; they must add up to 1")


Bed = Annotated[PlantedBed | BedInTurn | MixedBed, OneOf()]
