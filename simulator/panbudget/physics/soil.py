"""
Soil: what water a bed's ground holds, what runs off it, and what must drain to keep salt out.

Units: mm, m, m³ of water per m³ of soil. Computed over whole seasons beforehand; what depends on the day's own water is
in `engine` (`surface`, `root_zone`).
"""

import numpy as np
import numpy.typing as npt

from panbudget.numeric import Floats
from panbudget.tables.soils import SoilType

# NRCS National Engineering Handbook 630, chapter 10: S = 1000/CN − 10 inches
_S_SCALE, _S_SHIFT = 25400.0, 254.0  # mm
_INITIAL_ABSTRACTION = 0.2  # of S

# NEH 630 (2004) chapter 10, Table 10-1's moisture classes as fitted by Hawkins, Hjelmfelt & Zevenbergen (1985)
_CN_DRY = (2.281, -0.01281)
_CN_WET = (0.427, 0.00573)
# rain of the five days before, growing season [mm]: below, class I (dry); above, class III (wet)
_FIVE_DAYS = (35.6, 53.3)


def available_water(ground: SoilType, root_depth: npt.ArrayLike, root_fraction: float = 1.0) -> Floats:
    """
    Return TAW for a depth of roots, layer by layer.

    Parameters
    ----------
    ground : SoilType
        The last of its layers goes on below.
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
    if not ground.layers:
        return total_available_water(ground.field_capacity, ground.wilting_point, zr, root_fraction)
    top, taw = 0.0, np.zeros_like(zr)
    for index, (thickness, part) in enumerate(ground.layers):
        last = index == len(ground.layers) - 1
        bottom = np.inf if last else top + thickness
        within = np.clip(np.minimum(zr, bottom) - top, 0.0, None)
        taw = taw + total_available_water(part.field_capacity, part.wilting_point, within, root_fraction)
        top += thickness
    return taw


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


def total_evaporable_water(field_capacity: float, wilting_point: float, ze: float) -> float:
    """
    Return TEW, the most that evaporation takes from the surface layer. [mm]

    Parameters
    ----------
    field_capacity, wilting_point : float
        [m³/m³]
    ze : float
        Depth of the layer; 0.10 to 0.15 m. [m]

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


def moist_curve_number(rain: npt.ArrayLike, curve_number: float) -> Floats:
    """
    Return each day's curve number from the rain of the five days before it.

    Parameters
    ----------
    rain : ndarray (…, days)
        From a wet or dry spell's beginning on; days before the first count as average. [mm/day]
    curve_number : float
        For the average condition. [-]

    Returns
    -------
    ndarray (…, days)
        [-]

    Notes
    -----
    The classes of antecedent moisture of NRCS NEH section 4 (1972), growing season: under 35.6 mm in five days dry,
    over 53.3 mm wet; the numbers by Hawkins, Hjelmfelt & Zevenbergen (1985), from memory.
    """
    p = np.asarray(rain, float)
    before = np.stack([p[..., max(day - 5, 0) : day].sum(axis=-1) for day in range(p.shape[-1])], axis=-1)
    dry = curve_number / (_CN_DRY[0] + _CN_DRY[1] * curve_number)
    wet = curve_number / (_CN_WET[0] + _CN_WET[1] * curve_number)
    numbers = np.where(before < _FIVE_DAYS[0], dry, np.where(before > _FIVE_DAYS[1], wet, curve_number))
    numbers[..., :5] = curve_number  # what fell before the record is not known
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
    Q = (P − Ia)² / (P − Ia + S), for the antecedent condition of the number given.
    """
    p = np.asarray(rain, float)
    s = _S_SCALE / np.asarray(curve_number, float) - _S_SHIFT
    above = np.maximum(p - _INITIAL_ABSTRACTION * s, 0.0)
    # 0/0 on a dry day under CN 100, which keeps nothing back
    whole = np.where(above > 0.0, above + s, 1.0)
    return np.asarray(above**2 / whole)
