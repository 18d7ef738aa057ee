"""
Salts: what the water's salt does to a pan that only evaporates: it stays, weighs, and slows the evaporation a little.

Units: dS/m, g, g/L, kg, days. Works on a season's daily results after the run; `season` runs again where it matters.
Left out: salt that crusts on the wall or falls out, and the density that salt adds to the level.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from panbudget.engine.arrays import Pans, Results
from panbudget.numeric import Floats

#: g/L of dissolved salt for each dS/m (FAO-29, Ayers & Westcot 1985, table of conversions: TDS mg/L ≈ 640 × EC)
GRAMS_PER_LITRE = 0.64
#: share of the swing by which salt may move the trip before the pan wants rinsing (common practice, no source)
MOST_DRIFT = 0.05
#: share of a season's evaporation, or of the swing, that must be at stake for another run
MATTERS = 0.001
# specific gravity rises by some 0.75 % for each per cent of salt by weight: sea water, 3.5 % of salt, weighs 1.026
_GRAVITY = 0.75


def evaporation_factor(concentration: npt.ArrayLike) -> Floats:
    """
    Return what dissolved salt leaves of the evaporation of fresh water.

    Parameters
    ----------
    concentration : float or ndarray, any shape
        [g of salt in a kg of water]

    Returns
    -------
    ndarray
        [-]

    Notes
    -----
    From memory: evaporation falls by about 1 % for each 1 % that the specific gravity rises, so that sea water
    evaporates some 2 to 3 % less (Linsley, Kohler & Paulhus, Hydrology for Engineers, chapter on evaporation). Taken as
    a straight line; held to brines well short of saturation, 250 g/kg.

    Examples
    --------
    >>> round(float(evaporation_factor(35.0)), 3)
    0.974
    """
    salt = np.clip(np.asarray(concentration, float), 0.0, 250.0)
    return np.asarray(1.0 - _GRAVITY * salt / 1000.0)


@dataclass(frozen=True)
class SaltLeft:
    """
    One pan's salt where a season ended, for another that goes on from there.

    Parameters
    ----------
    grams, fresh_g, rinsed_g : float
        In the pan; at its filling; and if it had been rinsed in time.
    applied : float
        Drift by which the trip stood lower on the last day. [kg]
    """

    grams: float
    fresh_g: float
    rinsed_g: float
    applied: float


@dataclass(frozen=True)
class SaltBalance:
    """
    One pan's salt, day by day.

    Parameters
    ----------
    salinity : float
        Of the supply. [dS/m]
    grams : ndarray (days,)
        In the pan at the end of each day.
    came_g, left_g : float
        With the supply's water, and out with spill, leak or splash.
    concentration : ndarray (days,)
        At the end of each day. [g/kg]
    drift : ndarray (days,)
        Salt more than at the filling, which weighs as water does: the water at which the valve trips is less by it. [kg]
    swing : float
        Least of the season. [kg]
    evaporation_factor : ndarray (days,)
        Of the salt at the day's start.
    rinses : tuple of int
        Days after which rinsing keeps the drift under `MOST_DRIFT` of the swing, rinsed each time; counted from 0.
    before : SaltLeft
        Where it began: a filling with water of the supply, or an earlier season's end.
    rinsed_g : float
        At the end, if it had been rinsed in time.
    """

    salinity: float
    grams: Floats
    came_g: float
    left_g: float
    concentration: Floats
    drift: Floats
    swing: float
    evaporation_factor: Floats
    rinses: tuple[int, ...]
    before: SaltLeft
    rinsed_g: float

    @property
    def drifts(self) -> Floats:
        """Drift of each day's own trip: of the evening before. [kg]"""
        return np.concatenate([[(self.before.grams - self.before.fresh_g) / 1000.0], self.drift[:-1]])

    def left(self, *, salted: bool) -> SaltLeft:
        """
        Return where it ended.

        Parameters
        ----------
        salted : bool
            The season was run with the salt's effect.
        """
        applied = float(self.drifts[-1]) if salted else self.before.applied
        return SaltLeft(float(self.grams[-1]), self.before.fresh_g, self.rinsed_g, applied)

    @property
    def shortest_interval(self) -> int | None:
        """Fewest days from one rinse to the next, the first counted from the filling; None if never needed."""
        return int(np.diff([-1, *self.rinses]).min()) if self.rinses else None

    @property
    def matters(self) -> bool:
        """Whether it slows the evaporation, or moves the trip, by enough for another run."""
        slowed = 1.0 - float(self.evaporation_factor.mean()) > MATTERS
        return slowed or float(self.drift.max()) > MATTERS * self.swing

    def acts_as(self, other: SaltBalance) -> bool:
        """Whether a run with the other's salt is a run with this, to the last bit."""
        same = np.array_equal(self.drifts, other.drifts)
        return same and np.array_equal(self.evaporation_factor, other.evaporation_factor)

    def as_dict(self, evaporation: Floats) -> dict[str, float | int | None]:
        """
        Return it as `season.json` lists it.

        Parameters
        ----------
        evaporation : ndarray (days,)
            The pan's, salt's effect included. [any unit]
        """
        fresh, most = float((evaporation / self.evaporation_factor).sum()), float(self.drift.max())
        return {
            "salinity_ds_m": self.salinity,
            "supply_g_per_l": GRAMS_PER_LITRE * self.salinity,
            "start_g": self.before.grams,
            "came_g": self.came_g,
            "left_g": self.left_g,
            "end_g": float(self.grams[-1]),
            "most_g_per_kg": float(self.concentration.max()),
            "drift_end_g": 1000.0 * float(self.drift[-1]),
            "drift_most_g": 1000.0 * most,
            "drift_most_of_swing": most / self.swing,
            "evaporation_less": 1.0 - float(evaporation.sum()) / fresh if fresh > 0.0 else 0.0,
            "rinses": len(self.rinses),
            "rinse_every_days": self.shortest_interval,
        }


def pan_salt(
    pans: Pans, out: Results, row: int, salinity: float, start_kg: float, before: SaltLeft | None = None
) -> SaltBalance:
    """
    Follow a pan's salt through a season that has been run.

    Parameters
    ----------
    pans : Pans
    out : Results
        Of the run.
    row : int
        The controller's place.
    salinity : float
        Of the supply. [dS/m]
    start_kg : float
        Water in the pan at the start, taken as fresh from the supply unless ``before`` says more. [kg]
    before : SaltLeft, optional
        Of an earlier season that this one goes on from.

    Notes
    -----
    Each day: what the refill brings stays; rain brings none; spill, leak and splash take their share of the day's
    water, mixed through. Evaporation takes none.
    """
    supply, swing = GRAMS_PER_LITRE * salinity, float(pans.swing[row].min())
    came, water = supply * out.refilled[row], out.level[row] - pans.dry[row]
    passed = water + (out.spilled[row] + np.maximum(out.leaked[row], 0.0))
    shares = np.divide(water, passed, out=np.ones(len(water)), where=passed > 0.0)
    filled = supply * start_kg
    before = before or SaltLeft(filled, filled, filled, 0.0)
    now, rinsed, remaining = before.grams, before.rinsed_g, 0.0
    grams, rinses = np.empty(len(water)), list[int]()
    for day, (gained, share) in enumerate(zip(came, shares, strict=True)):
        whole = now + gained
        now = whole * share
        remaining += whole - now
        grams[day] = now
        # the same pan, rinsed in time: filled afresh from the supply
        rinsed = (rinsed + gained) * share
        if rinsed - before.fresh_g > 1000.0 * MOST_DRIFT * swing:
            rinses.append(day)
            rinsed = before.fresh_g
    at_start = _strength(np.append(before.grams, grams[:-1]), np.append(start_kg, water[:-1]))
    return SaltBalance(
        salinity=salinity,
        grams=grams,
        came_g=float(came.sum()),
        left_g=remaining,
        concentration=_strength(grams, water),
        drift=(grams - before.fresh_g) / 1000.0,
        swing=swing,
        evaporation_factor=evaporation_factor(at_start),
        rinses=tuple(rinses),
        before=before,
        rinsed_g=rinsed,
    )


def _strength(grams: Floats, water: Floats) -> Floats:
    """Salt in a kilogram of water, none in a dry pan. [g/kg]"""
    return np.divide(grams, water, out=np.zeros(len(grams)), where=water > 0.0)


def salted_pans(pans: Pans, balances: dict[int, SaltBalance]) -> Pans:
    """
    Return pans as salt changes them, for another run.

    Parameters
    ----------
    pans : Pans
    balances : dict
        Controller's place -> its salt in the first run.

    Returns
    -------
    Pans
        Less evaporation; a trip that falls as the salt that weighs with the water grows, in steps at midnight.
    """
    evaporation, rim, dry, shift = (part.copy() for part in (pans.evaporation, pans.rim, pans.dry, pans.shift))
    for row, salt in balances.items():
        drift = salt.drifts
        evaporation[row] *= salt.evaporation_factor
        rim[row] += drift
        dry[row] += drift
        shift[row] -= np.diff(drift, prepend=salt.before.applied)
    return pans._replace(evaporation=evaporation, rim=rim, dry=dry, shift=shift)
