"""
Fate: where the applied water went: used by plants and soil, evaporated from pans, drained, left behind.

The rule. A root zone and a pan are each taken as well mixed: on every day, the part of what leaves it (ET, deep
percolation, evaporation, spill) that is applied water is the part of applied water in what it holds that day. Water
that was there on the first day, and rain, are not applied water. So the fates add up to what was applied, exactly.
Runoff of applied water is none: it drips. [litres; mm inside]
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panbudget.numeric import Floats
from panbudget.season.result import Season

__all__ = ["Fate", "bed_fate", "mixed", "pan_fate"]


@dataclass(frozen=True)
class Fate:
    """
    Where applied water went. All in litres.

    Parameters
    ----------
    applied : float
    consumed : float
        ET of applied water in a bed; evaporation of it from a pan.
    drained : float
        Deep percolation of it below a bed's roots; spill of it over a pan's rim.
    left : float
        Still in the root zone, or in the pan, when the season ends.
    """

    applied: float
    consumed: float
    drained: float
    left: float

    def scaled(self, share: float) -> Fate:
        """Return a share of it."""
        return Fate(self.applied * share, self.consumed * share, self.drained * share, self.left * share)


def mixed(store: Floats, applied: Floats, used: Floats, drained: Floats) -> tuple[float, float, float]:
    """
    Follow applied water through a well-mixed store.

    Parameters
    ----------
    store : ndarray (days,)
        What the store holds on each day before anything leaves it, the day's rain and applied water included.
    applied : ndarray (days,)
        Applied on that day.
    used, drained : ndarray (days,)
        What leaves it on that day, of whatever origin.

    Returns
    -------
    (float, float, float)
        Applied water used, drained and left; they add up to all that was applied. [unit of the arguments]

    Examples
    --------
    10 of rain's water, 10 applied; 4 used, 2 drained: half of each is applied water.

    >>> mixed(np.array([20.0]), np.array([10.0]), np.array([4.0]), np.array([2.0]))
    (2.0, 1.0, 7.0)
    """
    within = used_applied = drained_applied = 0.0
    for held, came, by_use, by_drain in zip(
        store.tolist(), applied.tolist(), used.tolist(), drained.tolist(), strict=True
    ):
        within += came
        part = min(within / held, 1.0) if held > 0.0 else 0.0
        used_applied += part * by_use
        drained_applied += part * by_drain
        within -= part * (by_use + by_drain)
    return used_applied, drained_applied, within


def bed_fate(season: Season, key: str) -> Fate:
    """
    Follow a bed's irrigation through its root zone.

    Parameters
    ----------
    season : Season
    key : str
        "CONTROLLER/BED".

    Returns
    -------
    Fate
        Its ``applied`` is the bed's litres in `season.json`.

    Notes
    -----
    The store is TAW − Dr, the water above the wilting point. What roots reach as they grow counts as not applied.
    """
    table, totals = season.beds[key], season.totals["beds"][key]
    used, drained = table["eta_mm"].to_numpy(float), table["deep_percolation_mm"].to_numpy(float)
    applied = table["irrigation_mm"].to_numpy(float)
    at_end = (table["taw_mm"] - table["depletion_mm"]).to_numpy(float)
    parts = mixed(np.maximum(at_end, 0.0) + used + drained, applied, used, drained)
    litres = totals["litres"]
    depth = float(applied.sum())
    if depth <= 0.0:
        return Fate(litres, 0.0, 0.0, litres)
    return Fate(litres, *(litres * part / depth for part in parts))


def pan_fate(season: Season, controller: str) -> Fate:
    """
    Follow the refill emitter's water through the pan.

    Parameters
    ----------
    season : Season
    controller : str

    Returns
    -------
    Fate
        Its ``applied`` is the controller's refilled kg in `season.json`; a kg is a litre.
    """
    table, totals = season.controllers[controller], season.totals["controllers"][controller]
    used, drained = table["evaporated_kg"].to_numpy(float), table["spilled_kg"].to_numpy(float)
    refilled = table["refilled_kg"].to_numpy(float)
    gained = refilled + table["rain_caught_kg"].to_numpy(float)
    at_end = totals["pan_start_kg"] + np.cumsum(gained - used - drained)
    parts = mixed(np.maximum(at_end, 0.0) + used + drained, refilled, used, drained)
    return Fate(totals["refilled_kg"], *parts)
