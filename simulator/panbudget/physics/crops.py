"""
Crops: what a planting asks of the day, as a share of reference ET, from the tables to a curve over the season.

Units: m, m/s, %, days. Curves are arrays of shape (days,). Plants are in `tables.plants`. Source throughout: FAO-56,
chapters 6 and 7.
"""

import functools
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from panbudget.numeric import Floats, Ints
from panbudget.tables.plants import Plant

# FAO-56 (1998) eq. 62 and 65: within these the adjustment holds
_WIND_BOUNDS = (1.0, 6.0)  # m/s
_RH_MIN_BOUNDS = (20.0, 80.0)  # %
_HEIGHT_BOUNDS = (0.1, 10.0)  # m
_END_ADJUSTED_FROM = 0.45  # below it, Kc end stands as tabled
_BARE_KC_MAX = 1.2  # eq. 72
_MOST_COVERED = 0.99  # eq. 76
_SEEDLING_HEIGHT = 0.05  # m; common practice, no source


@dataclass(frozen=True)
class DemandCurve:
    """
    A planting's demand, day by day.

    Parameters
    ----------
    kc : ndarray (…, days)
        Kc, or Kcb where basal was asked for; of several years the one array that differs. [-]
    height, root_depth : ndarray (days,)
        [m]
    growing : ndarray of bool (days,)
    stage : ndarray of int (days,)
        0 outside the growing season; 1 to 4 initial, development, mid, late.
    assumptions : tuple of str
    mid_kc, end_kc : float or ndarray (…, 1)
        As adjusted to the climate. [-]
    """

    kc: Floats
    height: Floats
    root_depth: Floats
    growing: npt.NDArray[np.bool_]
    stage: Ints
    assumptions: tuple[str, ...]
    mid_kc: float | Floats
    end_kc: float | Floats


def _climate_term(wind: npt.ArrayLike, rh_min: npt.ArrayLike, height: npt.ArrayLike) -> Floats:
    given = zip((wind, rh_min, height), (_WIND_BOUNDS, _RH_MIN_BOUNDS, _HEIGHT_BOUNDS), strict=True)
    # np.clip takes ten times as long over a single number
    u2, rh, h = (np.minimum(np.maximum(np.asarray(values, float), low), high) for values, (low, high) in given)
    return np.asarray((0.04 * (u2 - 2.0) - 0.004 * (rh - 45.0)) * (h / 3.0) ** 0.3)


def climate_adjusted_kc(
    kc: npt.ArrayLike, *, wind: npt.ArrayLike, rh_min: npt.ArrayLike, height: npt.ArrayLike
) -> Floats:
    """
    Bring a tabled Kc (or Kcb) of the mid or late stage to the place's own climate.

    Parameters
    ----------
    kc : float or ndarray
        For RHmin 45 % and 2 m/s. [-]
    wind : float or ndarray
        Mean over the stage, at 2 m; taken within 1…6. [m/s]
    rh_min : float or ndarray
        Mean over the stage of the daily minimum; taken within 20…80. [%]
    height : float or ndarray
        Mean of the stage; taken within 0.1…10. [m]

    Returns
    -------
    ndarray
        [-]

    Notes
    -----
    FAO-56 (1998) eq. 62 (Kc mid), 65 (Kc end, for tabled values of 0.45 and more), 70 (Kcb).

    Examples
    --------
    Example 27, maize at Mocha in Ecuador's wind: 1.30.

    >>> round(float(climate_adjusted_kc(1.2, wind=4.6, rh_min=44.0, height=2.0)), 2)
    1.3
    """
    return np.asarray(np.asarray(kc, float) + _climate_term(wind, rh_min, height))


def _adjusted(
    plant: Plant, kc: float, days: npt.NDArray[np.bool_], length: int, name: str, wind: Floats, rh_min: Floats
) -> tuple[float | Floats, list[str]]:
    """Bring a stage's Kc to the climate of its days in the record, and say what had to be assumed, of one year alone."""
    assumptions = []
    chosen = days if days.any() else np.ones(len(days), bool)
    # in order, so that a year is added up the same alone and beside others
    means = [np.ascontiguousarray(part[..., chosen]).mean(axis=-1, keepdims=True) for part in (wind, rh_min)]
    adjusted = climate_adjusted_kc(kc, wind=means[0], rh_min=means[1], height=plant.height)
    if wind.ndim > 1:
        return adjusted, []
    if days.sum() < length:
        what = f"only {int(days.sum())}" if days.any() else "none"
        assumptions.append(
            f"the weather record holds {what} of the {length} days of {plant.name}'s {name} stage; its Kc "
            f"is adjusted to the mean wind and humidity of {'those' if days.any() else 'all its days'}"
        )
    bounds = (("wind", _WIND_BOUNDS, "m/s"), ("minimum humidity", _RH_MIN_BOUNDS, "%"))
    for mean, (what, (low, high), unit) in zip(means, bounds, strict=True):
        value = float(mean[0])
        if not low <= value <= high:
            assumptions.append(
                f"the mean {what} of {plant.name}'s {name} stage, {value:.1f} {unit}, was taken as "
                f"{low if value < low else high:g} {unit} (FAO-56 eq. 62 holds within {low:g} to {high:g})"
            )
    return float(adjusted[0]), assumptions


def kc_curve(
    dates: npt.NDArray[np.datetime64],
    planted: np.datetime64,
    plant: Plant,
    *,
    wind: Floats,
    rh_min: Floats,
    basal: bool = False,
) -> DemandCurve:
    """
    Return the crop coefficient over a record, from the four stages.

    Parameters
    ----------
    dates : ndarray of datetime64[D], (days,)
        Consecutive.
    planted : datetime64[D]
        Day 1 of the initial stage.
    plant : Plant
        With stages.
    wind : ndarray (days,) or (years, days)
        At 2 m. [m/s]
    rh_min : ndarray (days,) or (years, days)
        [%]
    basal : bool
        Kcb in place of Kc.

    Returns
    -------
    DemandCurve
        Before planting and after the late stage nothing grows: Kc is that of the initial stage, Kcb 0.

    Notes
    -----
    FAO-56 [1]_ Figure 36 and eq. 66: straight lines between the stages; day i counts from 1. Kc mid and Kc end are
    adjusted (eq. 62, 65) to the mean wind and RHmin of their own stage's days in the record, or, where the record
    has none of these, of all its days, which is notes. Roots and height of an annual grow straight from planting to
    mid season, respectively through the development stage.

    References
    ----------
    .. [1] Allen et al. 1998, FAO Irrigation and Drainage Paper 56, chapter 6 (Box 15, Figure 36), chapter 7
       (Examples 29 and 30).
    """
    assert plant.stages is not None
    _, _, mid, late = plant.stages
    shape = _shape(plant, int((dates[0] - planted).astype(np.int64)) + 1, len(dates))
    growing, stage = shape.growing.copy(), shape.stage.copy()

    table = (plant.kcb_ini, plant.kcb_mid, plant.kcb_end) if basal else (plant.kc_ini, plant.kc_mid, plant.kc_end)
    assumptions: list[str] = []
    kc_ini, tabled_mid, tabled_end = table

    def adjusted(kc: float, which: int, length: int, name: str) -> float | Floats:
        adjusted_kc, notes = _adjusted(plant, kc, stage == which, length, name, wind, rh_min)
        assumptions.extend(notes)
        return adjusted_kc

    kc_mid = adjusted(tabled_mid, 3, mid, "mid")
    kc_end = adjusted(tabled_end, 4, late, "late") if tabled_end >= _END_ADJUSTED_FROM else tabled_end

    kc = kc_ini + shape.through_dev * (kc_mid - kc_ini)
    kc = np.where(shape.is_late, kc_mid + shape.through_late * (kc_end - kc_mid), kc)
    kc = np.where(growing, kc, 0.0 if basal else kc_ini)
    by_day = (kc, shape.height.copy(), shape.root_depth.copy(), growing, stage)
    return DemandCurve(*by_day, tuple(assumptions), kc_mid, kc_end)


class _Shape(NamedTuple):
    """What of a curve follows from the plant and the days since it was planted, and not from the weather; (days,) each."""

    growing: npt.NDArray[np.bool_]
    stage: npt.NDArray[np.int64]
    through_dev: Floats
    is_late: npt.NDArray[np.bool_]
    through_late: Floats
    height: Floats
    root_depth: Floats


@functools.lru_cache(maxsize=256)
def _shape(plant: Plant, first: int, days: int) -> _Shape:
    """Return the shape of a plant's curve from a day on, FAO-56's i."""
    assert plant.stages is not None
    ini, dev, _, late = plant.stages
    ends = np.cumsum(plant.stages)
    day = np.arange(first, first + days)
    growing = (day >= 1) & (day <= ends[3])
    stage = np.where(growing, np.searchsorted(ends, day, side="left") + 1, 0).astype(np.int64)
    through_dev = np.clip((day - ini) / max(dev, 1), 0.0, 1.0)
    through_late = np.clip((day - ends[2]) / max(late, 1), 0.0, 1.0)
    if plant.kind == "annual":
        rooted = np.clip(day / max(ini + dev, 1), 0.0, 1.0)
        root_depth = plant.root_depth_start + rooted * (plant.root_depth - plant.root_depth_start)
        height = np.where(growing, np.maximum(through_dev * plant.height, _SEEDLING_HEIGHT), _SEEDLING_HEIGHT)
    else:
        root_depth, height = np.full(days, plant.root_depth), np.full(days, plant.height)
    return _Shape(growing, stage, through_dev, day > ends[2], through_late, height, root_depth)


def constant_curve(dates: npt.NDArray[np.datetime64], kc: float, root_depth: float, height: float = 0.5) -> DemandCurve:
    """
    Return a demand that is the same share of ETo every day, as the user or the table gives it.

    Parameters
    ----------
    dates : ndarray of datetime64[D], (days,)
    kc : float
        Not adjusted: a figure of one's own is for one's own place. [-]
    root_depth, height : float
        [m]
    """
    n = len(dates)
    return DemandCurve(
        kc=np.full(n, float(kc)),
        height=np.full(n, float(height)),
        root_depth=np.full(n, float(root_depth)),
        growing=np.ones(n, bool),
        stage=np.full(n, 3, np.int64),
        assumptions=(),
        mid_kc=float(kc),
        end_kc=float(kc),
    )


def landscape_curve(
    dates: npt.NDArray[np.datetime64], factors: tuple[float, ...], root_depth: float, height: float = 0.5
) -> DemandCurve:
    """
    Return the demand of an ornamental planting: a plant factor for all months, or one for each.

    Parameters
    ----------
    dates : ndarray of datetime64[D], (days,)
    factors : tuple of float
        Share of ETo; one, or twelve from January. [-]
    root_depth, height : float
        [m]

    Notes
    -----
    ANSI/ASABE S623 (2017), Determining landscape plant water demands: from memory.
    """
    curve = constant_curve(dates, max(factors), root_depth, height)
    months = dates.astype("datetime64[M]").astype(np.int64) % 12
    kc = np.resize(np.asarray(factors, float), 12)[months]
    return replace(curve, kc=kc)


def kc_max(kcb: npt.ArrayLike, *, wind: npt.ArrayLike, rh_min: npt.ArrayLike, height: npt.ArrayLike) -> Floats:
    """
    Return the most that plants and wet ground together can evaporate.

    Parameters
    ----------
    kcb : ndarray (days,)
        [-]
    wind : ndarray (days,)
        At 2 m; taken within 1…6. [m/s]
    rh_min : ndarray (days,)
        Taken within 20…80. [%]
    height : ndarray (days,)
        Taken within 0.1…10. [m]

    Returns
    -------
    ndarray (days,)
        [-]

    Notes
    -----
    FAO-56 (1998) eq. 72; Example 32. Eq. 72 states no bounds; those of eq. 62, the same term, are kept.
    """
    term = _climate_term(wind, rh_min, height)
    return np.asarray(np.maximum(_BARE_KC_MAX + term, np.asarray(kcb, float) + 0.05))


def covered_fraction(kcb: npt.ArrayLike, most: npt.ArrayLike, *, height: npt.ArrayLike, kc_min: float = 0.15) -> Floats:
    """
    Return fc, the share of the ground that leaves shade.

    Parameters
    ----------
    kcb : ndarray (days,)
        [-]
    most : ndarray (days,)
        Kc max. [-]
    height : ndarray (days,)
        [m]
    kc_min : float
        Kc of dry bare ground, 0.15…0.20. [-]

    Returns
    -------
    ndarray (days,)
        0…0.99. [-]

    Notes
    -----
    FAO-56 (1998) eq. 76; Example 32.
    """
    share = np.maximum(np.asarray(kcb, float) - kc_min, 0.01) / (np.asarray(most, float) - kc_min)
    return np.asarray(np.minimum(share ** (1.0 + 0.5 * np.asarray(height, float)), _MOST_COVERED))
