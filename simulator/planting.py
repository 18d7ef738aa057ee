"""
Planting: what a scenario's words about plants and soil come to, as a demand curve and as water contents.

Knows the scenario's parts and the tables; the equations themselves are in `plants` and `soil`.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from simulator import plants, scenario, soil
from simulator.arrays import Floats
from simulator.tables import folded

__all__ = ["Demand", "demand_curve", "plant_of", "soil_of"]

# a soil given by its two water contents alone: FAO-56 (1998) Table 19 gives 8 to 10 mm for loam
_REW_UNSTATED = 8.0  # mm
_HEIGHT_UNSTATED = 0.5  # m; common practice, no source
_BARE_SOIL_SHARE = 0.1  # FAO-56 (1998) Table 18: Kcb is Kc less 0.05 to 0.1
_SURFACE_LAYER = 0.10  # m, FAO-56 (1998) ch. 7: 0.10 to 0.15 m


@dataclass(frozen=True)
class Demand:
    """
    What a planting asks for, day by day.

    Parameters
    ----------
    kc : ndarray (days,)
        Kc, or Kcb for the dual coefficient. [-]
    height, root_depth : ndarray (days,)
        [m]
    growing : ndarray of bool (days,)
        Whether there is something to keep alive.
    depletion : float
        p at ETc 5 mm a day. [-]
    assumptions : tuple of str
    """

    kc: Floats
    height: Floats
    root_depth: Floats
    growing: npt.NDArray[np.bool_]
    depletion: float
    assumptions: tuple[str, ...]

    def between(self, first: int, last: int) -> Demand:
        """Return days first…last−1 of it."""
        cut = slice(first, last)
        return dataclasses.replace(
            self,
            kc=self.kc[cut],
            height=self.height[cut],
            root_depth=self.root_depth[cut],
            growing=self.growing[cut],
        )


def plant_of(described: scenario.Plants) -> plants.Plant:
    """
    Return the table's plant with the scenario's changes.

    Parameters
    ----------
    described : scenario.Plants
        One with a name.

    Returns
    -------
    Plant
    """
    assert described.name is not None
    plant = plants.find_plant(described.name)
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
    dates: npt.NDArray[np.datetime64],
    *,
    planted: dt.date | None,
    wind: Floats,
    rh_min: Floats,
    basal: bool,
) -> Demand:
    """
    Reckon a planting's demand over a weather record.

    Parameters
    ----------
    described : scenario.Plants
    dates : ndarray of datetime64[D], (days,)
        Every day of the record.
    planted : date, optional
        Needed for plants with stages.
    wind : ndarray (days,)
        At 2 m. [m/s]
    rh_min : ndarray (days,)
        [%]
    basal : bool
        Whether Kcb is wanted.

    Returns
    -------
    Demand
        (days,)
    """
    assumptions: tuple[str, ...] = ()
    given_as_kc = True
    if described.kc is not None:
        assert described.root_depth is not None and described.depletion is not None
        height = described.height if described.height is not None else _HEIGHT_UNSTATED
        curve = plants.constant_curve(dates, described.kc, described.root_depth, height)
        depletion = described.depletion
    elif described.plant_factor is not None:
        assert described.root_depth is not None and described.depletion is not None
        height = described.height if described.height is not None else _HEIGHT_UNSTATED
        factors = tuple(described.plant_factor)
        curve = plants.landscape_curve(dates, factors, described.root_depth, height)
        depletion = described.depletion
    else:
        assert described.name is not None
        plant = plant_of(described)
        depletion = plant.depletion
        if folded(described.name) in plant.stands_for:
            assumptions = (f"the table's figures for {plant.name} stand in for {described.name}",)
        if plant.plant_factor is not None:
            curve = plants.landscape_curve(dates, plant.plant_factor, plant.root_depth, plant.height)
        elif plant.stages is None or (plant.evergreen and described.stages is None):
            given_as_kc = False
            steady = plant.kcb_mid if basal else plant.kc_mid
            curve = plants.constant_curve(dates, steady, plant.root_depth, plant.height)
        else:
            assert planted is not None
            given_as_kc = False
            day = np.datetime64(planted, "D")
            curve = plants.kc_curve(dates, day, plant, wind=wind, rh_min=rh_min, basal=basal)
    kc = curve.kc
    if basal and given_as_kc:
        kc = np.maximum(kc - _BARE_SOIL_SHARE, 0.0)
    return Demand(
        kc=np.ascontiguousarray(kc, dtype=float),
        height=np.asarray(curve.height, dtype=float),
        root_depth=np.asarray(curve.root_depth, dtype=float),
        growing=np.asarray(curve.growing, dtype=bool),
        depletion=depletion,
        assumptions=(*assumptions, *curve.assumptions),
    )


def soil_of(described: scenario.Soil) -> soil.SoilType:
    """
    Return a soil's water contents: the table's, or the user's own.

    Parameters
    ----------
    described : scenario.Soil

    Returns
    -------
    SoilType
    """
    if described.name is not None:
        return soil.find_soil(described.name)
    assert described.field_capacity is not None and described.wilting_point is not None
    return soil.SoilType(
        name="own",
        field_capacity=described.field_capacity,
        wilting_point=described.wilting_point,
        rew=_REW_UNSTATED,
        ze=_SURFACE_LAYER,
        source="the scenario's own figures",
    )
