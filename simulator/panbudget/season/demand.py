"""
Planting: what a scenario's words about plants and soil come to, as demand over a record and as water in the ground.

Knows the scenario's parts and the tables; the equations themselves are in `plants`, `soil` and `wetting`.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from panbudget.numeric import Floats
from panbudget.physics import bare_soil as wetting
from panbudget.physics import crops as plants
from panbudget.physics import soil
from panbudget.scenario import beds as scenario
from panbudget.tables import folded
from panbudget.tables.plants import Plant, find_plant
from panbudget.tables.soils import SoilType, find_soil, own_soil

_HEIGHT_UNSTATED = 0.5  # m; common practice, no source
_BARE_SOIL_SHARE = 0.1  # FAO-56 (1998) Table 18: Kcb is Kc less 0.05 to 0.1
# FAO-56 (1998) ch. 10, mulches (from memory): 5 % less evaporation for each 10 % under an organic mulch
_ORGANIC_MULCH = 0.5
ANTECEDENT_DAYS = 5

Dates = npt.NDArray[np.datetime64]
Mask = npt.NDArray[np.bool_]


class PlantingError(ValueError):
    """A planting that can't be: two at one time in one place, or growing degree days without their weather."""


@dataclass(frozen=True)
class Climate:
    """
    The record that demand is computed over; all arrays (days,).

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
        The season; what had to be assumed outside of it is nobody's concern.
    """

    dates: Dates
    wind: Floats
    rh_min: Floats
    tmean: Floats
    eto: Floats
    within: tuple[dt.date, dt.date] | None = None

    def between(self, first: int, last: int) -> Climate:
        """Return days first…last−1 of it."""
        cut = slice(first, last)
        return dataclasses.replace(
            self,
            dates=self.dates[cut],
            wind=self.wind[cut],
            rh_min=self.rh_min[cut],
            tmean=self.tmean[cut],
            eto=self.eto[cut],
        )

    def concerns(self, dates: Dates) -> bool:
        """Whether any of these days lies within the season."""
        if self.within is None or not len(dates):
            return True
        first, last = (np.datetime64(day, "D") for day in self.within)
        return bool(dates[0] <= last and dates[-1] >= first)


@dataclass(frozen=True)
class Part:
    """One planting of a bed: its name, the days on which it grows (days,), its Ky where one is tabled."""

    name: str
    growing: Mask
    ky: float | None


@dataclass(frozen=True)
class Demand:
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
    depletion : ndarray (days,)
        p at ETc 5 mm a day. [-]
    assumptions : tuple of str
    parts : tuple of Part
        The plantings, in the scenario's order.
    """

    kc: Floats
    height: Floats
    root_depth: Floats
    growing: Mask
    depletion: Floats
    assumptions: tuple[str, ...]
    parts: tuple[Part, ...] = ()

    def between(self, first: int, last: int) -> Demand:
        """Return days first…last−1 of it."""
        cut = slice(first, last)
        return dataclasses.replace(
            self,
            kc=self.kc[cut],
            height=self.height[cut],
            root_depth=self.root_depth[cut],
            growing=self.growing[cut],
            depletion=self.depletion[cut],
            parts=tuple(dataclasses.replace(part, growing=part.growing[cut]) for part in self.parts),
        )


@dataclass(frozen=True)
class BedForcing:
    """
    One bed's demand, soil and rain, by day.

    Parameters
    ----------
    controller, name : str
    curve : Demand
        Kc (or Kcb), roots, growing days. (days,)
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
    curve: Demand
    taw: Floats
    rain_in: Floats
    kc_max: Floats
    exposed: Floats
    leaching: float = 0.0

    @property
    def key(self) -> str:
        """Name under which results list it."""
        return f"{self.controller}/{self.name}"

    def between(self, first: int, last: int) -> BedForcing:
        """Return days first…last−1 of it."""
        by_day = {name: getattr(self, name)[first:last] for name in ("taw", "rain_in", "kc_max", "exposed")}
        return dataclasses.replace(self, curve=self.curve.between(first, last), **by_day)


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

    Returns
    -------
    BedForcing

    Raises
    ------
    PlantingError
        Plantings that can't be.
    """
    curve, ground = bed_demand(bed, climate).between(first, after), soil_of(bed.soil)
    assumptions = list(curve.assumptions)
    reach = sum(thickness for thickness, _ in ground.layers)
    if ground.layers and float(curve.root_depth.max()) > reach + 1e-9:
        assumptions.append(
            f"roots go deeper than the soil's layers, {reach:g} m in all; the last layer is taken to go on below"
        )
    rain_in = rain[first:after]
    if bed.curve_number is not None:
        numbers: float | Floats = bed.curve_number
        if bed.antecedent == "five-day":
            before = min(first, ANTECEDENT_DAYS)
            numbers = soil.moist_curve_number(rain[first - before : after], bed.curve_number)[before:]
            if before < ANTECEDENT_DAYS:
                assumptions.append(
                    f"the weather file holds {before} of the five days before the first day; until five are known, "
                    "the ground counts as neither dry nor wet"
                )
        rain_in = rain_in - soil.curve_number_runoff(rain_in, numbers)
    leaching = 0.0
    if bed.leaching is not None:
        leaching = soil.leaching_requirement(bed.leaching.water, bed.leaching.threshold)
    kc_max, exposed = np.zeros(after - first), np.ones(after - first)
    if bed.method == "dual":
        wind, rh_min = climate.wind[first:after], climate.rh_min[first:after]
        kc_max = np.asarray(plants.kc_max(curve.kc, wind=wind, rh_min=rh_min, height=curve.height))
        exposed = np.asarray(1.0 - plants.covered_fraction(curve.kc, kc_max, height=curve.height))
    curve = dataclasses.replace(curve, assumptions=tuple(assumptions))
    taw = soil.available_water(ground, curve.root_depth, bed.root_fraction)
    return BedForcing(controller, name, curve, taw, rain_in, kc_max, exposed, leaching)


def evaporable_water(bed: scenario.Bed) -> tuple[float, float]:
    """Return TEW and REW of a bed's surface. [mm]"""
    ground = soil_of(bed.soil)
    tew = soil.total_evaporable_water(ground.field_capacity, ground.wilting_point, ground.ze)
    return tew, min(ground.rew, 0.9 * tew)


def bed_demand(bed: scenario.Bed, climate: Climate) -> Demand:
    """
    Reckon what a bed's plants ask for, whether it holds one planting, several in turn, or a mixture.

    Parameters
    ----------
    bed : scenario.Bed
    climate : Climate

    Returns
    -------
    Demand
        (days,)

    Raises
    ------
    PlantingError
        Plantings that overlap; growing degree days without the weather they need.

    Notes
    -----
    Between two plantings the ground is bare, with the next one's Kc ini. A mixture's Kc, roots and height are the
    means of its parts weighted by cover, and the part that suffers first sets
    p.
    """
    if isinstance(bed, scenario.MixedBed):
        parts = [_described_demand(bed, part.plants, part.planted, climate) for part in bed.mix]
        return _mixed(parts, [part.share for part in bed.mix])
    if isinstance(bed, scenario.BedInTurn):
        parts = [_described_demand(bed, part.plants, part.planted, climate) for part in bed.plantings]
        return _in_turn(parts, climate.dates)
    return _described_demand(bed, bed.plants, bed.planted, climate)


def _described_demand(
    bed: scenario.Bed, described: scenario.Plants, planted: dt.date | None, climate: Climate
) -> Demand:
    basal = bed.method == "dual"
    demand = demand_curve(
        described,
        climate,
        planted=planted,
        basal=basal,
        wetting_interval=bed.wetting_days,
        wetting_depth=bed.wetting_depth,
        wetted_fraction=bed.wetted_fraction,
        ground=soil_of(bed.soil),
    )
    if bed.mulch is None or basal:  # for the dual coefficient the mulch acts on Ke, in the engine
        return demand
    under = demand_curve(described, climate, planted=planted, basal=True)
    saved = (1.0 - mulch_factor(bed.mulch)) * np.maximum(demand.kc - under.kc, 0.0)
    return dataclasses.replace(demand, kc=demand.kc - saved)


def mulch_factor(mulch: scenario.Mulch | None) -> float:
    """
    Return what a mulch leaves of the soil's evaporation. [-]

    Parameters
    ----------
    mulch : scenario.Mulch, optional

    Notes
    -----
    FAO-56 (1998) chapter 10, from memory: organic, 5 % less for each 10 % of the ground covered; plastic, none but
    through the holes.
    """
    if mulch is None:
        return 1.0
    return 1.0 - mulch.cover * (1.0 if mulch.kind == "plastic" else _ORGANIC_MULCH)


def _mixed(parts: Sequence[Demand], shares: Sequence[float]) -> Demand:
    weights = np.asarray(shares) / sum(shares)

    def mean(name: str) -> Floats:
        return np.asarray(np.tensordot(weights, np.array([getattr(part, name) for part in parts]), axes=1))

    growing = np.array([part.growing for part in parts])
    sensitive = np.where(growing, np.array([part.depletion for part in parts]), np.inf).min(axis=0)
    return Demand(
        kc=mean("kc"),
        height=mean("height"),
        root_depth=mean("root_depth"),
        growing=np.asarray(growing.any(axis=0)),
        depletion=np.where(np.isfinite(sensitive), sensitive, mean("depletion")),
        assumptions=_unique(parts),
        parts=tuple(part for demand in parts for part in demand.parts),
    )


def _in_turn(parts: Sequence[Demand], dates: Dates) -> Demand:
    ordered = sorted(parts, key=lambda part: _first(part.growing))
    for earlier, later in itertools.pairwise(ordered):
        both = earlier.growing & later.growing
        if both.any():
            day = dates[int(np.argmax(both))]
            raise PlantingError(
                f"{earlier.parts[0].name} is still in the ground on {day} when {later.parts[0].name} grows there too; "
                "change the dates or stages, or give both as a mix"
            )
    # on each day the planting that grows, or else the next one, or else the last
    chosen = np.full(len(dates), len(ordered) - 1)
    for index in range(len(ordered) - 1, -1, -1):
        growing = ordered[index].growing
        if growing.any():
            chosen[: len(growing) - int(np.argmax(growing[::-1]))] = index

    def pick(name: str) -> npt.NDArray[Any]:
        return np.asarray(np.array([getattr(part, name) for part in ordered])[chosen, np.arange(len(dates))])

    return Demand(
        kc=pick("kc"),
        height=pick("height"),
        root_depth=pick("root_depth"),
        growing=np.asarray(np.array([part.growing for part in ordered]).any(axis=0)),
        depletion=pick("depletion"),
        assumptions=_unique(parts),
        parts=tuple(part for demand in parts for part in demand.parts),
    )


def _first(mask: Mask) -> int:
    return int(np.argmax(mask)) if mask.any() else len(mask)


def _unique(parts: Sequence[Demand]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for part in parts for text in part.assumptions))


def plant_of(described: scenario.NamedPlants) -> Plant:
    """
    Return the table's plant with the scenario's changes.

    Parameters
    ----------
    described : scenario.NamedPlants

    Returns
    -------
    Plant
    """
    plant = find_plant(described.name)
    changes: dict[str, Any] = {
        key: getattr(described, key)
        for key in ("kc_ini", "kc_mid", "kc_end", "height", "depletion", "root_depth")
        if getattr(described, key) is not None
    }
    for stage in ("ini", "mid", "end"):
        own = changes.get(f"kc_{stage}")
        if own is not None:  # the bare soil's part of Kc stays the table's
            bare = getattr(plant, f"kc_{stage}") - getattr(plant, f"kcb_{stage}")
            changes[f"kcb_{stage}"] = max(own - bare, 0.0)
    if described.root_depth is not None:
        start = plant.root_depth_start if plant.kind == "annual" else described.root_depth
        changes["root_depth_start"] = min(start, described.root_depth)
    if described.stages is not None:
        changes["stages"] = tuple(described.stages)
    return dataclasses.replace(plant, **changes)


def demand_curve(
    described: scenario.Plants,
    climate: Climate,
    *,
    planted: dt.date | None,
    basal: bool,
    wetting_interval: float | None = None,
    wetting_depth: float = 10.0,
    wetted_fraction: float = 1.0,
    ground: SoilType | None = None,
) -> Demand:
    """
    Compute one planting's demand over a weather record.

    Parameters
    ----------
    planted : date, optional
        Needed for plants with stages.
    basal : bool
        Whether Kcb is wanted.
    wetting_interval, wetting_depth, wetted_fraction : float
        Of wettings while plants are small; with an interval, Kc ini is computed and not taken from the table.
        [days], [mm over the bed], [-]
    ground : SoilType, optional
        Needed with ``wetting_interval``.

    Returns
    -------
    Demand
        (days,)
    """
    dates = climate.dates
    assumptions: tuple[str, ...] = ()
    given_as_kc = True
    ky = None
    if isinstance(described, scenario.OwnPlants):
        name, depletion = "own Kc", described.depletion
        height = described.height if described.height is not None else _HEIGHT_UNSTATED
        curve = plants.constant_curve(dates, described.kc, described.root_depth, height)
    elif isinstance(described, scenario.Landscape):
        name, depletion = "landscape planting", described.depletion
        height = described.height if described.height is not None else _HEIGHT_UNSTATED
        curve = plants.landscape_curve(dates, described.factors, described.root_depth, height)
    else:
        plant = plant_of(described)
        name, depletion, ky = plant.name, plant.depletion, plant.ky
        if folded(described.name) in plant.stands_for:
            name = described.name
            assumptions = (f"the table's figures for {plant.name} stand in for {described.name}",)
        own_stages = described.stages is not None or described.stages_gdd is not None
        if plant.plant_factor is not None:
            curve = plants.landscape_curve(dates, plant.plant_factor, plant.root_depth, plant.height)
        elif plant.stages is None or (plant.evergreen and not own_stages):
            given_as_kc = False
            steady = plant.kcb_mid if basal else plant.kc_mid
            curve = plants.constant_curve(dates, steady, plant.root_depth, plant.height)
        else:
            assert planted is not None
            given_as_kc = False
            day = np.datetime64(planted, "D")
            if described.stages_gdd is not None:
                plant, said = _stages_by_heat(plant, described, day, climate)
                assumptions += said
            if wetting_interval is not None and not basal:
                assert ground is not None
                plant = _wetted_start(plant, day, climate, wetting_interval, wetting_depth, wetted_fraction, ground)
            curve = _staged(plant, day, climate, basal)
    kc = curve.kc
    if basal and given_as_kc:
        kc = np.maximum(kc - _BARE_SOIL_SHARE, 0.0)
    growing = np.asarray(curve.growing, dtype=bool)
    return Demand(
        kc=np.ascontiguousarray(kc, dtype=float),
        height=np.asarray(curve.height, dtype=float),
        root_depth=np.asarray(curve.root_depth, dtype=float),
        growing=growing,
        depletion=np.full(len(dates), depletion),
        assumptions=(*assumptions, *curve.assumptions),
        parts=(Part(name, growing, ky),),
    )


def _staged(plant: Plant, planted: np.datetime64, climate: Climate, basal: bool) -> plants.DemandCurve:
    """An annual's one season; a perennial's every year from the same day on."""
    if plant.kind == "annual":
        return plants.kc_curve(climate.dates, planted, plant, wind=climate.wind, rh_min=climate.rh_min, basal=basal)
    dates = climate.dates
    first, last = int(str(dates[0])[:4]) - 1, int(str(dates[-1])[:4]) + 1
    starts = [_in_year(planted, year) for year in range(first, last + 1)]
    pieces = []
    for start, after in itertools.pairwise(starts):
        inside = np.flatnonzero((dates >= start) & (dates < after))
        if not len(inside):
            continue
        part = climate.between(int(inside[0]), int(inside[-1]) + 1)
        piece = plants.kc_curve(part.dates, start, plant, wind=part.wind, rh_min=part.rh_min, basal=basal)
        if not climate.concerns(part.dates):
            piece = dataclasses.replace(piece, assumptions=())
        pieces.append(piece)
    return dataclasses.replace(
        pieces[-1],
        kc=np.concatenate([piece.kc for piece in pieces]),
        height=np.concatenate([piece.height for piece in pieces]),
        root_depth=np.concatenate([piece.root_depth for piece in pieces]),
        growing=np.concatenate([piece.growing for piece in pieces]),
        stage=np.concatenate([piece.stage for piece in pieces]),
        assumptions=tuple(dict.fromkeys(text for piece in pieces for text in piece.assumptions)),
    )


def _in_year(day: np.datetime64, year: int) -> np.datetime64:
    month_day = str(day)[5:10]
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    return np.datetime64(f"{year:04d}-{'02-28' if month_day == '02-29' and not leap else month_day}", "D")


def _stages_by_heat(
    plant: Plant, described: scenario.NamedPlants, planted: np.datetime64, climate: Climate
) -> tuple[Plant, tuple[str, ...]]:
    """
    Stage lengths in days from growing degree days: mean temperature above the base, never below 0, added up.

    McMaster & Wilhelm (1997), method 1, without an upper bound.
    """
    assert described.stages_gdd is not None
    at = int((planted - climate.dates[0]).astype(int))
    if not 0 <= at < len(climate.dates):
        raise PlantingError(
            f"{plant.name} counts growing degree days from {planted}, which the weather file does not hold; "
            "add those days, or give the stages in days"
        )
    heat = np.maximum(climate.tmean[at:] - described.base_temperature, 0.0)
    total = np.cumsum(heat)
    wanted = np.cumsum(described.stages_gdd)
    assumptions: tuple[str, ...] = ()
    if wanted[-1] > total[-1]:
        recent = float(heat[-30:].mean())
        if recent <= 0.0:
            raise PlantingError(
                f"{plant.name} never gathers {wanted[-1]:.0f} degree days above {described.base_temperature:g} °C in "
                "this weather file; give smaller figures, or stages in days"
            )
        more = int(np.ceil((wanted[-1] - total[-1]) / recent))
        total = np.concatenate([total, total[-1] + recent * np.arange(1, more + 1)])
        assumptions = (
            f"{plant.name} has not gathered all its degree days when the weather file ends; the rest is counted at "
            "the mean of its last 30 days",
        )
    ends = np.searchsorted(total, wanted - 1e-9) + 1
    lengths = np.diff(np.concatenate([[0], ends]))
    a, b, c, d = (int(days) for days in lengths)
    return dataclasses.replace(plant, stages=(a, b, c, d)), assumptions


def _wetted_start(
    plant: Plant,
    planted: np.datetime64,
    climate: Climate,
    interval: float,
    depth: float,
    wetted_fraction: float,
    ground: SoilType,
) -> Plant:
    assert plant.stages is not None
    day = (climate.dates - planted).astype(int)
    early = (day >= 0) & (day < plant.stages[0])
    eto = float(climate.eto[early].mean()) if early.any() else float(climate.eto.mean())
    kc = wetting.initial_kc(
        eto, interval=interval, depth=depth, coarse=wetting.is_coarse(ground), wetted_fraction=wetted_fraction
    )
    return dataclasses.replace(plant, kc_ini=kc)


def soil_of(described: scenario.Soil) -> SoilType:
    """
    Return a soil's water contents: the table's, or the user's own, by layers if it has any.

    Parameters
    ----------
    described : scenario.Soil

    Returns
    -------
    SoilType
    """
    if isinstance(described, scenario.LayeredSoil):
        parts = [(layer.thickness, _one_soil(layer)) for layer in described.layers]
        return dataclasses.replace(parts[0][1], layers=tuple((thick, part) for thick, part in parts))
    return _one_soil(described)


def _one_soil(described: scenario.NamedSoil | scenario.OwnSoil) -> SoilType:
    if isinstance(described, scenario.NamedSoil):
        return find_soil(described.name)
    return own_soil(described.field_capacity, described.wilting_point)
