"""
Planting: what a scenario's words about plants and soil come to, as demand over a record and as water in the ground.

Knows the scenario's parts and the tables; the equations themselves are in `crops`, `soil` and `bare_soil`.
"""

import dataclasses
import datetime as dt
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from panbudget import words
from panbudget.numeric import Floats, Mask
from panbudget.physics import bare_soil, crops, soil
from panbudget.scenario import beds as scenario
from panbudget.season import TEXTS
from panbudget.season.years import moved
from panbudget.tables import folded
from panbudget.tables.plants import Plant, find_plant
from panbudget.tables.soils import SoilType, find_soil, own_soil

_HEIGHT_UNSTATED = 0.5  # m; common practice, no source
_BARE_SOIL_SHARE = 0.1  # FAO-56 (1998) Table 18: Kcb is Kc less 0.05 to 0.1
# FAO-56 (1998) ch. 10, mulches (from memory): 5 % less evaporation for each 10 % under an organic mulch
_ORGANIC_MULCH = 0.5
ANTECEDENT_DAYS = 5
_TEXTS: dict[str, str] = TEXTS["assumptions"]

#: of a `BedForcing`, what the engine takes
FORCED = ("kc", "taw", "rain_in", "growing", "kc_max", "exposed", "p_table")

Dates = npt.NDArray[np.datetime64]


@dataclass(frozen=True)
class ByDay:
    """Something whose arrays stand by day."""

    def between(self, first: int, after: int) -> Self:
        """Return days first…after−1 of it."""
        return dataclasses.replace(self, **{name: _cut(part, slice(first, after)) for name, part in vars(self).items()})


def _cut(part: Any, days: slice) -> Any:
    if isinstance(part, ByDay):
        return part.between(days.start, days.stop)
    if isinstance(part, tuple):
        return tuple(_cut(each, days) for each in part)
    return part[..., days] if isinstance(part, np.ndarray) else part


@dataclass(frozen=True)
class Climate(ByDay):
    """
    The record that demand is computed over; all arrays (days,), or the weather's (years, days), of years side by side.

    Parameters
    ----------
    dates : ndarray of datetime64[D]
        Consecutive.
    wind : ndarray
        At 2 m. [m/s]
    rh_min : ndarray
        [%]
    tmean : ndarray
        [°C]
    eto : ndarray
        [mm/day]
    within : (date, date), optional
        The season; what had to be assumed outside of it is nobody's concern. Nothing in it: nor is what lies inside.
    """

    dates: Dates
    wind: Floats
    rh_min: Floats
    tmean: Floats
    eto: Floats
    within: tuple[dt.date, dt.date] | tuple[()] | None = None

    def concerns(self, dates: Dates) -> bool:
        """Whether any of these days lies within the season."""
        if not self.within or not len(dates):
            return self.within is None or not len(dates)
        first, last = (np.datetime64(day, "D") for day in self.within)
        return bool(dates[0] <= last and dates[-1] >= first)


class PlantingError(ValueError):
    """A planting that can't be: two at one time in one place, or growing degree days without their weather."""


@dataclass(frozen=True)
class Part(ByDay):
    """One planting of a bed: its name, the days on which it grows (days,), its Ky where one is tabled."""

    name: str
    growing: Mask
    ky: float | None


@dataclass(frozen=True)
class Demand(ByDay):
    """
    What a bed's plants ask for, day by day.

    Parameters
    ----------
    kc : ndarray (days,)
        Kc, or Kcb for the dual coefficient. [-]
    height, root_depth : ndarray (days,)
        [m]
    growing : ndarray of bool (days,)
        Whether there is something to keep alive.
    p_table : ndarray (days,)
        p at ETc 5 mm a day. [-]
    assumptions : tuple of str
    parts : tuple of Part
        The plantings, in the scenario's order.
    """

    kc: Floats
    height: Floats
    root_depth: Floats
    growing: Mask
    p_table: Floats
    assumptions: tuple[str, ...]
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class BedForcing(Demand):
    """
    One bed's demand, soil and rain, by day.

    Parameters
    ----------
    controller, name : str
    taw : ndarray (days,)
        [mm]
    rain_in : ndarray (days,)
        Rain less runoff. [mm]
    kc_max, exposed : ndarray (days,)
        For the dual coefficient, else 0 and 1: Kc max, and the share of the ground that is not covered. [-]
    leaching : float
        Share of the water that must drain because of its salt. [-]
    """

    controller: str
    name: str
    taw: Floats
    rain_in: Floats
    kc_max: Floats
    exposed: Floats
    leaching: float

    @property
    def key(self) -> str:
        """Name under which results list it."""
        return f"{self.controller}/{self.name}"


def bed_forcing(
    controller: str, name: str, bed: scenario.Bed, climate: Climate, rain: Floats, first: int, after: int
) -> BedForcing:
    """
    Compute one bed's demand, soil water and rain over a run of days.

    Parameters
    ----------
    controller, name : str
    bed : scenario.Bed
    climate : Climate
        The record, or as much of it as demand on these days depends on.
    rain : ndarray
        Of the climate's days: the days before the run say how moist the ground is. [mm/day]
    first, after : int
        The run's days, as places in the climate.

    Raises
    ------
    PlantingError
        Plantings that can't be.
    """
    demand, ground = bed_demand(bed, climate).between(first, after), soil_of(bed.soil)
    assumptions, salty = list(demand.assumptions), bed.leaching
    reach = sum(thickness for thickness, _ in ground.layers)
    if ground.layers and float(demand.root_depth.max()) > reach + 1e-9:
        assumptions.append(words.say(_TEXTS["deep-roots"], reach=reach))
    rain_in = rain[..., first:after]
    if bed.curve_number is not None:
        numbers: float | Floats = bed.curve_number
        if bed.antecedent == "five-day":
            before = min(first, ANTECEDENT_DAYS)
            numbers = soil.moist_curve_number(rain[..., first - before : after], bed.curve_number)[..., before:]
            if before < ANTECEDENT_DAYS:
                assumptions.append(_TEXTS["few-days"].format(before=before))
        rain_in = rain_in - soil.curve_number_runoff(rain_in, numbers)
    share = 0.0 if salty is None else soil.leaching_requirement(salty.water, salty.threshold)
    if share >= 1.0:
        assumptions.append(_TEXTS["too-salty"])
    kc_max, exposed = np.zeros(after - first), np.ones(after - first)
    if bed.method == "dual":
        wind, rh_min = climate.wind[..., first:after], climate.rh_min[..., first:after]
        kc_max = np.asarray(crops.kc_max(demand.kc, wind=wind, rh_min=rh_min, height=demand.height))
        exposed = np.asarray(1.0 - crops.covered_fraction(demand.kc, kc_max, height=demand.height))
    return BedForcing(
        **vars(demand) | {"assumptions": tuple(assumptions)},
        controller=controller,
        name=name,
        taw=soil.available_water(ground, demand.root_depth, bed.root_fraction),
        rain_in=rain_in,
        kc_max=kc_max,
        exposed=exposed,
        leaching=share,
    )


def evaporable_water(bed: scenario.Bed) -> tuple[float, float]:
    """Return TEW and REW of a bed's surface. [mm]"""
    ground = soil_of(bed.soil)
    tew = soil.total_evaporable_water(ground.field_capacity, ground.wilting_point, ground.ze)
    return tew, min(ground.rew, 0.9 * tew)


def bed_demand(bed: scenario.Bed, climate: Climate) -> Demand:
    """
    Compute what a bed's plants ask for, whether it holds one planting, several in turn, or a mixture.

    Raises
    ------
    PlantingError
        Plantings that overlap; growing degree days without the weather they need.

    Notes
    -----
    Between two plantings the ground is bare, with the next one's Kc ini. A mixture's Kc, roots and height are the
    means of its parts weighted by cover, and the part that suffers first sets p.
    """
    if isinstance(bed, scenario.MixedBed):
        return _mixed([_of_planting(bed, part, climate) for part in bed.mix], [part.share for part in bed.mix])
    if isinstance(bed, scenario.BedInTurn):
        return _in_turn([_of_planting(bed, part, climate) for part in bed.plantings], climate.dates)
    return _of_planting(bed, bed, climate)


def _of_planting(bed: scenario.Bed, part: scenario.Planting, climate: Climate) -> Demand:
    basal = bed.method == "dual"
    demand = demand_curve(part.plants, climate, planted=part.planted, basal=basal, bed=bed)
    if bed.mulch is None or basal:  # for the dual coefficient the mulch acts on Ke, in the engine
        return demand
    under = demand_curve(part.plants, climate, planted=part.planted, basal=True)
    saved = (1.0 - mulch_factor(bed.mulch)) * np.maximum(demand.kc - under.kc, 0.0)
    return dataclasses.replace(demand, kc=demand.kc - saved)


def mulch_factor(mulch: scenario.Mulch | None) -> float:
    """
    Return what a mulch leaves of the soil's evaporation. [-]

    Notes
    -----
    FAO-56 (1998) chapter 10, from memory: organic, 5 % less for each 10 % of the ground covered; plastic, none but
    through the holes.
    """
    if mulch is None:
        return 1.0
    return 1.0 - mulch.cover * (1.0 if mulch.kind == "plastic" else _ORGANIC_MULCH)


def _together(parts: Sequence[Demand], combine: Callable[[npt.NDArray[Any]], Floats]) -> Demand:
    """Several plantings' demand as one; ``combine`` makes (days,) of their (parts, days)."""
    return Demand(
        **{name: combine(_stacked(parts, name)) for name in ("kc", "height", "root_depth", "p_table")},
        growing=np.asarray(_stacked(parts, "growing").any(axis=0)),
        assumptions=tuple(dict.fromkeys(text for part in parts for text in part.assumptions)),
        parts=tuple(part for demand in parts for part in demand.parts),
    )


def _stacked(parts: Sequence[Demand], name: str) -> npt.NDArray[Any]:
    return np.array([getattr(part, name) for part in parts])


def _mixed(parts: Sequence[Demand], shares: Sequence[float]) -> Demand:
    weights = np.asarray(shares) / sum(shares)
    mixed = _together(parts, lambda by_part: np.asarray(np.tensordot(weights, by_part, axes=1)))
    sensitive = np.where(_stacked(parts, "growing"), _stacked(parts, "p_table"), np.inf).min(axis=0)
    return dataclasses.replace(mixed, p_table=np.where(np.isfinite(sensitive), sensitive, mixed.p_table))


def _in_turn(parts: Sequence[Demand], dates: Dates) -> Demand:
    def begins(index: int) -> int:
        return int(np.argmax(parts[index].growing)) if parts[index].growing.any() else len(dates)

    order = sorted(range(len(parts)), key=begins)
    for earlier, later in itertools.pairwise(parts[index] for index in order):
        both = earlier.growing & later.growing
        if both.any():
            names = {"earlier": earlier.parts[0].name, "later": later.parts[0].name}
            raise PlantingError(_TEXTS["overlap"].format(day=dates[int(np.argmax(both))], **names))
    # on each day the planting that grows, or else the next one, or else the last
    chosen = np.full(len(dates), order[-1])
    for index in reversed(order):
        chosen[: int(np.flatnonzero(parts[index].growing).max(initial=-1)) + 1] = index
    return _together(parts, lambda by_part: np.asarray(by_part[chosen, np.arange(len(dates))]))


def plant_of(described: scenario.NamedPlants) -> Plant:
    """Return the table's plant with the scenario's changes."""
    plant = find_plant(described.name)
    names = ("kc_ini", "kc_mid", "kc_end", "height", "depletion", "root_depth")
    changes = {name: value for name in names if (value := getattr(described, name)) is not None}
    for stage in ("ini", "mid", "end"):
        if f"kc_{stage}" in changes:  # the bare soil's part of Kc stays the table's
            bare = getattr(plant, f"kc_{stage}") - getattr(plant, f"kcb_{stage}")
            changes[f"kcb_{stage}"] = max(changes[f"kc_{stage}"] - bare, 0.0)
    if described.root_depth is not None:
        start = plant.root_depth_start if plant.kind == "annual" else described.root_depth
        changes["root_depth_start"] = min(start, described.root_depth)
    if described.stages is not None:
        changes["stages"] = tuple(described.stages)
    return dataclasses.replace(plant, **changes) if changes else plant


def demand_curve(
    described: scenario.Plants,
    climate: Climate,
    *,
    planted: dt.date | None,
    basal: bool,
    bed: scenario.Bed | None = None,
) -> Demand:
    """
    Compute one planting's demand over a weather record.

    Parameters
    ----------
    planted : date, optional
        Needed for plants with stages.
    basal : bool
        Whether Kcb is wanted.
    bed : scenario.Bed, optional
        With an interval between wettings while plants are small, Kc ini is computed and not taken from the table.

    Returns
    -------
    Demand
        (days,)
    """
    figures: Plant | scenario.OwnPlants | scenario.Landscape
    curve, ky = None, None
    assumptions: list[str] = []
    bare = _BARE_SOIL_SHARE if basal else 0.0  # in a Kc that is given for plants and ground together
    if isinstance(described, scenario.NamedPlants):
        figures = plant = plant_of(described)
        name, ky, factors = plant.name, plant.ky, plant.plant_factor
        if folded(described.name) in plant.stands_for:
            name = described.name
            assumptions.append(_TEXTS["stand-in"].format(plant=plant.name, name=name))
        own_stages = described.stages or described.stages_gdd
        if factors is None and (plant.stages is None or (plant.evergreen and not own_stages)):
            factors, bare = (plant.kcb_mid if basal else plant.kc_mid,), 0.0
        elif factors is None:
            assert planted is not None
            day = np.datetime64(planted, "D")
            if described.stages_gdd is not None:
                stages = _stages_by_heat(plant.name, described, day, climate, assumptions)
                plant = dataclasses.replace(plant, stages=stages)
            if bed is not None and bed.wetting_days is not None and not basal:
                plant = dataclasses.replace(plant, kc_ini=_wetted_kc(plant, day, climate, bed, bed.wetting_days))
            curve = _staged(plant, planted, climate, basal)
    else:
        figures = described
        name = "own Kc" if isinstance(described, scenario.OwnPlants) else "landscape planting"
        factors = (described.kc,) if isinstance(described, scenario.OwnPlants) else described.factors
    if curve is None:
        assert factors is not None
        height = _HEIGHT_UNSTATED if figures.height is None else figures.height
        kc = tuple(max(factor - bare, 0.0) for factor in factors)
        curve = crops.landscape_curve(climate.dates, kc, figures.root_depth, height)
    by_day: dict[str, Any] = {key: getattr(curve, key) for key in ("kc", "height", "root_depth", "growing")}
    by_day["p_table"] = np.full(len(curve.growing), figures.depletion)
    return Demand(**by_day, assumptions=(*assumptions, *curve.assumptions), parts=(Part(name, curve.growing, ky),))


def _staged(plant: Plant, planted: dt.date, climate: Climate, basal: bool) -> crops.DemandCurve:
    """An annual's one season; a perennial's every year from the same day on."""
    spans = [(np.datetime64(planted, "D"), 0, len(climate.dates))]
    if plant.kind != "annual":
        first, last = (date.year for date in climate.dates[[0, -1]].tolist())
        starts = [np.datetime64(moved(planted, year - planted.year), "D") for year in range(first - 1, last + 2)]
        cuts = itertools.pairwise(np.searchsorted(climate.dates, np.array(starts)).tolist())
        spans = [(start, *cut) for start, cut in zip(starts[:-1], cuts, strict=True) if cut[0] < cut[1]]
    pieces = _curves(plant, spans, basal, climate)
    dates = [climate.dates[low:high] for _, low, high in spans]
    if len(pieces) == 1 and climate.concerns(dates[0]):
        return pieces[0]
    concern = [piece for piece, part in zip(pieces, dates, strict=True) if climate.concerns(part)]
    assumptions = dict.fromkeys(text for piece in concern for text in piece.assumptions)
    by_day = ("kc", "height", "root_depth", "growing", "stage")
    joined: dict[str, Any] = {name: np.concatenate([getattr(piece, name) for piece in pieces]) for name in by_day}
    return dataclasses.replace(pieces[-1], **joined, assumptions=tuple(assumptions))


def _curves(
    plant: Plant, spans: Sequence[tuple[np.datetime64, int, int]], basal: bool, climate: Climate
) -> list[crops.DemandCurve]:
    """A curve for each span; of those whose assumptions nobody wants to know, the ones that lie alike about planting at once."""
    alike: dict[tuple[int, ...], list[int]] = {}
    for at, (start, low, high) in enumerate(spans):
        lies = (int((climate.dates[low] - start).astype(int)), high - low)
        alone = at == len(spans) - 1 or climate.concerns(climate.dates[low:high])
        alike.setdefault((at,) if alone else lies, []).append(at)
    pieces: dict[int, crops.DemandCurve] = {}
    for rows in alike.values():
        start, low, high = spans[rows[0]]
        wind, rh_min = climate.wind[..., low:high], climate.rh_min[..., low:high]
        if len(rows) > 1:
            days = [slice(*spans[row][1:]) for row in rows]
            wind, rh_min = (np.array([part[at] for at in days]) for part in (climate.wind, climate.rh_min))
        curve = crops.kc_curve(climate.dates[low:high], start, plant, wind=wind, rh_min=rh_min, basal=basal)
        by_year = [curve] if len(rows) == 1 else [dataclasses.replace(curve, kc=kc) for kc in curve.kc]
        pieces |= zip(rows, by_year, strict=True)
    return [pieces[at] for at in range(len(spans))]


def _stages_by_heat(
    name: str, described: scenario.NamedPlants, planted: np.datetime64, climate: Climate, assumptions: list[str]
) -> tuple[int, int, int, int]:
    """
    Stage lengths in days from growing degree days: mean temperature above the base, never below 0, added up.

    McMaster & Wilhelm (1997), method 1, without an upper bound.
    """
    at, base = int((planted - climate.dates[0]).astype(int)), described.base_temperature
    if not 0 <= at < len(climate.dates):
        raise PlantingError(_TEXTS["heat-outside"].format(name=name, planted=planted))
    if "base_temperature" not in described.model_fields_set:
        assumptions.append(words.say(_TEXTS["heat-base"], name=name, base=base))
    heat = np.maximum(climate.tmean[at:] - base, 0.0)
    total, wanted = np.cumsum(heat), np.cumsum(np.array(described.stages_gdd, float))
    if wanted[-1] > total[-1]:
        recent = float(heat[-30:].mean())
        if recent <= 0.0:
            raise PlantingError(words.say(_TEXTS["heat-never"], name=name, wanted=wanted[-1], base=base))
        more = int(np.ceil((wanted[-1] - total[-1]) / recent))
        total = np.concatenate([total, total[-1] + recent * np.arange(1, more + 1)])
        assumptions.append(_TEXTS["heat-open"].format(name=name))
    a, b, c, d = np.diff(np.searchsorted(total, wanted - 1e-9) + 1, prepend=0).tolist()
    return a, b, c, d


def _wetted_kc(plant: Plant, planted: np.datetime64, climate: Climate, bed: scenario.Bed, interval: float) -> float:
    assert plant.stages is not None
    day = (climate.dates - planted).astype(int)
    early = (day >= 0) & (day < plant.stages[0])
    return bare_soil.initial_kc(
        float(climate.eto[early].mean() if early.any() else climate.eto.mean()),
        interval=interval,
        depth=bed.wetting_depth,
        coarse=bare_soil.is_coarse(soil_of(bed.soil)),
        wetted_fraction=bed.wetted_fraction,
    )


def soil_of(described: scenario.Soil) -> SoilType:
    """Return a soil's water contents: the table's, or the user's own, by layers if it has any."""
    if isinstance(described, scenario.LayeredSoil):
        layers = tuple((layer.thickness, soil_of(layer)) for layer in described.layers)
        return dataclasses.replace(layers[0][1], layers=layers)
    if isinstance(described, scenario.NamedSoil):
        return find_soil(described.name)
    return own_soil(described.field_capacity, described.wilting_point)
