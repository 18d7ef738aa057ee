"""
Soil: what water a bed's ground holds, and how hard plants and bare ground get at it.

Units: mm, m, m³ of water per m³ of soil. Textures are `tables/soils.csv`. The engine has eq. 74, 83 and 84 written
out in its loop; they stand here for whole columns, for tests and for other people's scripts.
"""

from __future__ import annotations

import difflib
import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from panbudget.numeric import Floats
from panbudget.tables import folded, read_table

__all__ = [
    "SoilError",
    "SoilType",
    "curve_number_runoff",
    "depletion_fraction",
    "evaporation_reduction",
    "find_soil",
    "known_soils",
    "leaching_requirement",
    "moist_curve_number",
    "own_soil",
    "stress_coefficient",
    "total_available_water",
    "total_evaporable_water",
]

# FAO-56 (1998) Table 22, footnote 2
_P_PER_MM = 0.04  # per mm/day of ETc away from 5
_P_ETC = 5.0  # mm/day
_P_BOUNDS = (0.1, 0.8)
# NRCS National Engineering Handbook 630, chapter 10: S = 1000/CN − 10 inches
_S_SCALE, _S_SHIFT = 25400.0, 254.0  # mm
_INITIAL_ABSTRACTION = 0.2  # of S


# a soil given by its two water contents alone: FAO-56 (1998) Table 19 gives 8 to 10 mm for loam
_REW_UNSTATED = 8.0  # mm
_SURFACE_LAYER = 0.10  # m, FAO-56 (1998) ch. 7: 0.10 to 0.15 m
# NEH 630 (2004) chapter 10, Table 10-1's moisture classes as fitted by Hawkins, Hjelmfelt & Zevenbergen (1985)
_CN_DRY = (2.281, -0.01281)
_CN_WET = (0.427, 0.00573)
# rain of the five days before, growing season [mm]: below, class I (dry); above, class III (wet)
_FIVE_DAYS = (35.6, 53.3)


class SoilError(ValueError):
    """A soil that the table does not have."""


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

    def available_water(self, root_depth: npt.ArrayLike, root_fraction: float = 1.0) -> Floats:
        """
        Return TAW for a depth of roots, layer by layer.

        Parameters
        ----------
        root_depth : float or ndarray, any shape
            [m]
        root_fraction : float
            Share of the bed's area that roots occupy. [-]

        Returns
        -------
        ndarray, shape of ``root_depth``
            [mm]
        """
        zr = np.asarray(root_depth, dtype=np.float64)
        if not self.layers:
            return total_available_water(self.field_capacity, self.wilting_point, zr, root_fraction)
        top, taw = 0.0, np.zeros_like(zr)
        for index, (thickness, part) in enumerate(self.layers):
            last = index == len(self.layers) - 1
            bottom = np.inf if last else top + thickness
            within = np.clip(np.minimum(zr, bottom) - top, 0.0, None)
            taw = taw + total_available_water(part.field_capacity, part.wilting_point, within, root_fraction)
            top += thickness
        return taw


@functools.cache
def _soils() -> dict[str, SoilType]:
    found = {}
    for row in read_table("soils"):
        soil = SoilType(
            name=row["name"],
            field_capacity=float(row["field_capacity"]),
            wilting_point=float(row["wilting_point"]),
            rew=float(row["rew_mm"]),
            ze=float(row["ze_m"]),
            source=row["source"],
        )
        for name in (row["name"], *filter(None, row["also"].split(";"))):
            found[folded(name)] = soil
    return found


def own_soil(field_capacity: float, wilting_point: float) -> SoilType:
    """Return a soil given by its two water contents [m³/m³]; REW and Ze are a loam's."""
    return SoilType("own", field_capacity, wilting_point, _REW_UNSTATED, _SURFACE_LAYER, "the scenario's own figures")


def known_soils() -> list[str]:
    """Return the table's textures, coarse to fine."""
    return list(dict.fromkeys(soil.name for soil in _soils().values()))


def find_soil(name: str) -> SoilType:
    """
    Look a texture up; case, hyphens and spaces don't matter.

    Parameters
    ----------
    name : str

    Returns
    -------
    SoilType

    Raises
    ------
    SoilError
        With the nearest known name, and what else can be given.

    Examples
    --------
    >>> find_soil("Sandy-loam").field_capacity
    0.23
    """
    soils = _soils()
    if folded(name) in soils:
        return soils[folded(name)]
    near = difflib.get_close_matches(folded(name), soils, n=1)
    hint = f'did you mean "{near[0]}"? ' if near else ""
    raise SoilError(
        f'"{name}" is no soil that is known; {hint}'
        f"known are {', '.join(known_soils())}, or give your own {{ field_capacity = 0.28, wilting_point = 0.13 }}"
    )


def total_available_water(
    field_capacity: float, wilting_point: float, root_depth: npt.ArrayLike, root_fraction: float = 1.0
) -> Floats:
    """
    Return the water between field capacity and wilting point in the root zone, as a depth over the bed.

    Parameters
    ----------
    field_capacity, wilting_point : float
        [m³/m³]
    root_depth : float or ndarray, any shape
        [m]
    root_fraction : float
        Share of the bed's area that roots occupy. [-]

    Returns
    -------
    ndarray, shape of ``root_depth``
        TAW. [mm]

    Notes
    -----
    FAO-56 [1]_ eq. 82; the share is ours: roots under a part of the bed reach a part of its water.

    References
    ----------
    .. [1] Allen et al. 1998, FAO Irrigation and Drainage Paper 56, eq. 82, Example 36.

    Examples
    --------
    Example 36, tomato on silt:

    >>> round(float(total_available_water(0.32, 0.15, 0.8)), 9)
    136.0
    """
    zr = np.asarray(root_depth, dtype=np.float64)
    return np.asarray(1000.0 * (field_capacity - wilting_point) * zr * root_fraction)


def depletion_fraction(table_value: npt.ArrayLike, etc: npt.ArrayLike) -> Floats:
    """
    Return p, the share of TAW that goes before stress, for the day's demand.

    Parameters
    ----------
    table_value : float or ndarray, any shape
        p at ETc 5 mm a day. [-]
    etc : float or ndarray, any shape
        Crop evapotranspiration. [mm/day]

    Returns
    -------
    ndarray
        Bounded to 0.1…0.8. [-]

    Notes
    -----
    FAO-56 (1998) Table 22, footnote 2: p = p_table + 0.04 (5 − ETc).
    """
    p = np.asarray(table_value, float) + _P_PER_MM * (_P_ETC - np.asarray(etc, float))
    return np.asarray(np.clip(p, *_P_BOUNDS))


def stress_coefficient(depletion: npt.ArrayLike, taw: npt.ArrayLike, p: npt.ArrayLike) -> Floats:
    """
    Return Ks: 1 while the root zone holds enough, falling to 0 when TAW is gone.

    Parameters
    ----------
    depletion : float or ndarray, any shape
        Dr. [mm]
    taw : float or ndarray
        [mm]
    p : float or ndarray
        Share of TAW before stress; below 1. [-]

    Returns
    -------
    ndarray
        0…1. [-]

    Notes
    -----
    FAO-56 (1998) eq. 84: Ks = (TAW − Dr) / ((1 − p) TAW), where Dr > RAW.
    """
    dr, whole, share = (np.asarray(v, float) for v in (depletion, taw, p))
    return np.asarray(np.clip((whole - dr) / ((1.0 - share) * whole), 0.0, 1.0))


def total_evaporable_water(field_capacity: float, wilting_point: float, ze: float) -> float:
    """
    Return TEW, the most that evaporation takes from the surface layer. [mm]

    Parameters
    ----------
    field_capacity, wilting_point : float
        [m³/m³]
    ze : float
        Depth of the layer; 0.10 to 0.15 m. [m]

    Returns
    -------
    float

    Notes
    -----
    FAO-56 (1998) eq. 73.

    Examples
    --------
    Example 35, sandy loam:

    >>> round(total_evaporable_water(0.23, 0.10, 0.1), 9)
    18.0
    """
    return 1000.0 * (field_capacity - 0.5 * wilting_point) * ze


def evaporation_reduction(depletion: npt.ArrayLike, tew: npt.ArrayLike, rew: npt.ArrayLike) -> Floats:
    """
    Return Kr: 1 while the surface is wet, falling to 0 when TEW is gone.

    Parameters
    ----------
    depletion : float or ndarray, any shape
        De. [mm]
    tew, rew : float or ndarray
        TEW above REW. [mm]

    Returns
    -------
    ndarray
        0…1. [-]

    Notes
    -----
    FAO-56 (1998) eq. 74.
    """
    de, whole, ready = (np.asarray(v, float) for v in (depletion, tew, rew))
    return np.asarray(np.clip((whole - de) / (whole - ready), 0.0, 1.0))


def moist_curve_number(rain: npt.ArrayLike, curve_number: float) -> Floats:
    """
    Return each day's curve number from the rain of the five days before it.

    Parameters
    ----------
    rain : ndarray (days,)
        From a wet or dry spell's beginning on; days before the first count as average. [mm/day]
    curve_number : float
        For the average condition. [-]

    Returns
    -------
    ndarray (days,)
        [-]

    Notes
    -----
    The classes of antecedent moisture of NRCS NEH section 4 (1972), growing season: under 35.6 mm in five days dry,
    over 53.3 mm wet; the numbers by Hawkins, Hjelmfelt & Zevenbergen (1985), from memory.
    """
    p = np.asarray(rain, float)
    before = np.array([p[max(day - 5, 0) : day].sum() for day in range(len(p))])
    dry = curve_number / (_CN_DRY[0] + _CN_DRY[1] * curve_number)
    wet = curve_number / (_CN_WET[0] + _CN_WET[1] * curve_number)
    numbers = np.where(before < _FIVE_DAYS[0], dry, np.where(before > _FIVE_DAYS[1], wet, curve_number))
    numbers[:5] = curve_number  # what fell before the record is not known
    return np.asarray(numbers, dtype=np.float64)


def leaching_requirement(water: float, threshold: float) -> float:
    """
    Return the share of the water that must drain to keep salt out of the root zone.

    Parameters
    ----------
    water : float
        Electrical conductivity of the irrigation water, ECw. [dS/m]
    threshold : float
        Of the soil's saturation extract at which the plants begin to lose, ECe. [dS/m]

    Returns
    -------
    float
        0…1; 1 where the water is too salty for these plants. [-]

    Notes
    -----
    FAO-29 (Ayers & Westcot 1985) eq. 9: LR = ECw / (5 ECe − ECw), from memory.
    """
    below = 5.0 * threshold - water
    return min(water / below, 1.0) if below > 0.0 else 1.0


def curve_number_runoff(rain: npt.ArrayLike, curve_number: npt.ArrayLike) -> Floats:
    """
    Return the rain that runs off.

    Parameters
    ----------
    rain : ndarray (days,)
        [mm/day]
    curve_number : float or ndarray (days,)
        30…100; `tables/curve_numbers.csv` has some. [-]

    Returns
    -------
    ndarray (days,)
        Never more than the rain. [mm/day]

    Notes
    -----
    NRCS National Engineering Handbook, part 630, chapter 10 (2004): S = 25400/CN − 254 mm, Ia = 0.2 S,
    Q = (P − Ia)² / (P − Ia + S). The average antecedent condition, all season.
    """
    p = np.asarray(rain, float)
    s = _S_SCALE / np.asarray(curve_number, float) - _S_SHIFT
    above = np.maximum(p - _INITIAL_ABSTRACTION * s, 0.0)
    # 0/0 on a dry day under CN 100, which keeps nothing back
    whole = np.where(above > 0.0, above + s, 1.0)
    return np.asarray(above**2 / whole)
