"""Soils: FAO-56's textures by name, or a soil of one's own. Units: mm, m, m³ of water per m³ of soil."""

from __future__ import annotations

import functools
from dataclasses import dataclass

from panbudget.tables import folded, look_up, read_table

# a soil given by its two water contents alone: FAO-56 (1998) Table 19 gives 8 to 10 mm for loam
_REW_UNSTATED = 8.0  # mm
_SURFACE_LAYER = 0.10  # m, FAO-56 (1998) ch. 7: 0.10 to 0.15 m


@dataclass(frozen=True)
class SoilType:
    """
    What a soil holds.

    Parameters
    ----------
    name : str
    field_capacity, wilting_point : float
        [m³/m³]
    rew : float
        Readily evaporable water of the surface layer. [mm]
    ze : float
        Depth of the surface layer that dries by evaporation. [m]
    source : str
    layers : tuple of (float, SoilType)
        Thickness [m] and soil, from the surface down; empty for one soil all through. The last goes on below.
    """

    name: str
    field_capacity: float
    wilting_point: float
    rew: float
    ze: float
    source: str
    layers: tuple[tuple[float, SoilType], ...] = ()


@functools.cache
def _soils() -> dict[str, SoilType]:
    soils = {}
    for row in read_table("soils"):
        capacity, wilting, rew, ze = (float(row[key]) for key in ("field_capacity", "wilting_point", "rew_mm", "ze_m"))
        soil = SoilType(row["name"], capacity, wilting, rew, ze, row["source"])
        soils.update({folded(name): soil for name in (row["name"], *filter(None, row["also"].split(";")))})
    return soils


def own_soil(field_capacity: float, wilting_point: float) -> SoilType:
    """Return a soil given by its two water contents [m³/m³]; REW and Ze are a loam's."""
    return SoilType("own", field_capacity, wilting_point, _REW_UNSTATED, _SURFACE_LAYER, "the scenario's own figures")


def known_soils() -> list[str]:
    """Return the table's textures, coarse to fine."""
    return list(dict.fromkeys(soil.name for soil in _soils().values()))


def find_soil(name: str) -> SoilType:
    """
    Look a texture up; case, hyphens and spaces don't matter.

    Raises
    ------
    UnknownName
        With the nearest known name, and what else can be given.

    Examples
    --------
    >>> find_soil("Sandy-loam").field_capacity
    0.23
    """
    instead = "give your own { field_capacity = 0.28, wilting_point = 0.13 }"
    return look_up("soil", name, _soils(), known=known_soils(), instead=instead)
