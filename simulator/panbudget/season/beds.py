"""
Beds: the engine's arrays of the ground, from a checked scenario: demand, soil water, rain, lanes.

A lane is one bed under one way of watering. Units as in the engine.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd

from panbudget.engine import season as engine
from panbudget.engine.arrays import Beds
from panbudget.numeric import Floats
from panbudget.physics import crops as plants
from panbudget.physics import soil
from panbudget.scenario.beds import Bed
from panbudget.scenario.garden import Controller, Scenario
from panbudget.season.demand import Climate, Demand, bed_demand, mulch_factor, soil_of

#: the lanes of each bed, in the engine's order; the last only where a present timer is described
LANES = ("mean", "driest_quarter", "exact_refill", "timer")
_SOURCES = {
    "mean": engine.VALVE,
    "driest_quarter": engine.VALVE,
    "exact_refill": engine.EXACT_REFILL,
    "timer": engine.GIVEN,
}
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class _Flows(Protocol):
    """What a bed needs to know of its valve."""

    @property
    def bed_flows(self) -> dict[str, float]: ...

    @property
    def at_reference(self) -> dict[str, float]: ...


@dataclass(frozen=True)
class BedForcing:
    """
    One bed's demand and soil, by day.

    Parameters
    ----------
    controller, name : str
    curve : Demand
        Kc (or Kcb), roots, growing days. (days,)
    taw : ndarray (days,)
        [mm]
    rain_in : ndarray (days,)
        Rain less runoff. [mm]
    leaching : float
        Share of the water that must drain because of its salt. [-]
    """

    controller: str
    name: str
    curve: Demand
    taw: Floats
    rain_in: Floats
    leaching: float = 0.0

    @property
    def key(self) -> str:
        """Name under which results list it."""
        return f"{self.controller}/{self.name}"


def lanes_of(scenario: Scenario) -> tuple[str, ...]:
    """Return the names of the lanes that a scenario needs."""
    has_timer = any(controller.timer is not None for controller in scenario.controller.values())
    return LANES if has_timer else LANES[:3]


def bed_forcing(controller: str, name: str, bed: Bed, climate: Climate, daily: pd.DataFrame) -> BedForcing:
    """
    Reckon one bed's demand, soil water and rain over a run of days.

    Parameters
    ----------
    controller, name : str
    bed : scenario.Bed
    climate : Climate
        The whole record.
    daily : DataFrame
        The run's days of it.

    Returns
    -------
    BedForcing

    Raises
    ------
    PlantingError
        Plantings that can't be.
    """
    whole = bed_demand(bed, climate)
    first = int((daily.index[0].to_datetime64().astype("datetime64[D]") - climate.dates[0]).astype(int))
    curve = whole.between(first, first + len(daily))
    taw = soil.available_water(soil_of(bed.soil), curve.root_depth, bed.root_fraction)
    layers = soil_of(bed.soil).layers
    reach = sum(thickness for thickness, _ in layers)
    if layers and float(curve.root_depth.max()) > reach + 1e-9:
        said = f"roots go deeper than the soil's layers, {reach:g} m in all; the last layer is taken to go on below"
        curve = dataclasses.replace(curve, assumptions=(*curve.assumptions, said))
    rain = daily["rain"].to_numpy(float)
    runoff = np.zeros_like(rain)
    if bed.curve_number is not None:
        numbers: float | Floats = bed.curve_number
        if bed.antecedent == "five-day":
            numbers = soil.moist_curve_number(rain, bed.curve_number)
        runoff = soil.curve_number_runoff(rain, numbers)
    leaching = 0.0
    if bed.leaching is not None:
        leaching = soil.leaching_requirement(bed.leaching.water, bed.leaching.threshold)
    return BedForcing(controller, name, curve, taw, rain - runoff, leaching)


def bed_arrays(
    scenario: Scenario,
    pan_of: Mapping[str, _Flows],
    bed_of: dict[str, BedForcing],
    daily: pd.DataFrame,
    lanes: tuple[str, ...],
) -> Beds:
    """
    Lay the beds out for the engine.

    Parameters
    ----------
    scenario : Scenario
    pan_of : mapping
        Controller -> its beds' flows, own and at the reference pressure.
    bed_of : dict
        "CONTROLLER/BED" -> BedForcing.
    daily : DataFrame
        The run's days.
    lanes : tuple of str
        As `lanes_of` says.

    Returns
    -------
    Beds
    """
    described = [bed for c in scenario.controller.values() for bed in c.bed.values()]
    parts = list(bed_of.values())
    n_beds, n_days = len(parts), len(daily)
    wind, rh_min = daily["wind"].to_numpy(float), daily["rh_min"].to_numpy(float)
    kc_max, exposed = np.zeros((n_beds, n_days)), np.ones((n_beds, n_days))
    given = np.zeros((n_beds, n_days if "timer" in lanes else 0))
    tew, rew = np.zeros(n_beds), np.zeros(n_beds)
    flow_mm: list[float] = []
    draws: list[int] = []
    flows = {key: pan_of[part.controller].bed_flows[part.name] for key, part in bed_of.items()}
    for index, (bed, part) in enumerate(zip(described, parts, strict=True)):
        tew[index], rew[index] = evaporable_water(bed)
        if bed.method == "dual":
            kc_max[index], exposed[index] = bare_ground(part.curve, wind, rh_min)
        on_tank = scenario.supply[scenario.controller[part.controller].supply].kind == "tank"
        own, reference = flows[part.key], pan_of[part.controller].at_reference[part.name]
        mean = (reference if on_tank else own) / bed.area
        draws.append(1 + max(draws, default=-1) if on_tank else -1)
        by_lane = {"mean": mean, "driest_quarter": mean * bed.uniformity}
        flow_mm += [by_lane.get(lane, 0.0) for lane in lanes]
        if "timer" in lanes:
            given[index] = _timer_mm(scenario.controller[part.controller], part, flows, pd.DatetimeIndex(daily.index))
    names = list(scenario.controller)
    return Beds(
        kc=np.array([part.curve.kc for part in parts]),
        taw=np.array([part.taw for part in parts]),
        rain_in=np.array([part.rain_in for part in parts]),
        growing=np.array([part.curve.growing for part in parts]).astype(np.int64),
        kc_max=kc_max,
        exposed=exposed,
        p_table=np.array([part.curve.depletion for part in parts]),
        flow_factor=np.ones((n_beds, n_days)),
        dual=np.array([bed.method == "dual" for bed in described]).astype(np.int64),
        fw=np.array([bed.wetted_fraction for bed in described]),
        tew=tew,
        rew=rew,
        ke_factor=np.array([mulch_factor(bed.mulch) for bed in described]),
        lane_bed=np.repeat(np.arange(n_beds, dtype=np.int64), len(lanes)),
        lane_controller=np.repeat(np.array([names.index(part.controller) for part in parts], np.int64), len(lanes)),
        lane_source=np.tile(np.array([_SOURCES[lane] for lane in lanes], np.int64), n_beds),
        lane_draw=np.repeat(np.array(draws, np.int64), len(lanes)),
        lane_mm_per_hour=np.array(flow_mm),
        given=given,
    )


def evaporable_water(bed: Bed) -> tuple[float, float]:
    """Return TEW and REW of a bed's surface. [mm]"""
    ground = soil_of(bed.soil)
    tew = soil.total_evaporable_water(ground.field_capacity, ground.wilting_point, ground.ze)
    return tew, min(ground.rew, 0.9 * tew)


def bare_ground(curve: Demand, wind: Floats, rh_min: Floats) -> tuple[Floats, Floats]:
    """
    Return what the dual coefficient asks of the ground between the plants.

    Parameters
    ----------
    curve : Demand
        With Kcb.
    wind, rh_min : ndarray (days,)
        [m/s], [%]

    Returns
    -------
    (ndarray, ndarray), each (days,)
        Kc max, and the share of the ground that is not covered. [-]
    """
    kc_max = np.asarray(plants.kc_max(curve.kc, wind=wind, rh_min=rh_min, height=curve.height))
    return kc_max, np.asarray(1.0 - plants.covered_fraction(curve.kc, kc_max, height=curve.height))


def _timer_mm(controller: Controller, part: BedForcing, flows: dict[str, float], dates: pd.DatetimeIndex) -> Floats:
    """What the present timer gives a bed, day by day. [mm]"""
    timer = controller.timer
    if timer is None:
        return np.zeros(len(dates))
    days = [_WEEKDAYS.index(day) for day in timer.days]
    flow = flows[part.key]
    if timer.duration is not None:
        litres = flow * timer.duration
    else:
        assert timer.litres_a_week is not None
        together = sum(flows[f"{part.controller}/{name}"] for name in controller.bed)
        litres = timer.litres_a_week * flow / together / len(days)
    return np.asarray(np.where(np.isin(dates.dayofweek, days), litres / controller.bed[part.name].area, 0.0))
