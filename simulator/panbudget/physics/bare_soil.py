"""
Bare soil: the crop coefficient of the initial stage, when most of the ground is bare and evaporation is all there is.

Units: mm, days. Source: FAO-56 (1998), Figures 29 and 30 as the equations of its Annex 7, and eq. 59, 60.
"""

import math

from panbudget.tables.soils import SoilType

_LIGHT, _HEAVY = 10.0, 40.0  # mm of one wetting: Figure 29; Figure 30
_MOST = 1.15  # Kc ini's bound: potential evaporation of wet soil over ETo
_COARSE_BELOW = 0.20  # m³/m³; our line between Figure 30a's and 30b's soils: sand and loamy sand lie below


def is_coarse(ground: SoilType) -> bool:
    """Whether a soil is one of Figure 30a's (coarse) and not of 30b's."""
    return ground.field_capacity < _COARSE_BELOW


def _dried(eto: float, interval: float, tew: float, rew: float) -> float:
    """Annex 7: mean evaporation between two wettings, over ETo."""
    potential = _MOST * eto
    stage_one = rew / potential  # days
    if interval <= stage_one:
        return _MOST
    falling = (interval - stage_one) * potential * (1.0 + rew / (tew - rew)) / tew
    return min((tew - (tew - rew) * math.exp(-falling)) / (interval * eto), _MOST)


def initial_kc(eto: float, *, interval: float, depth: float, coarse: bool, wetted_fraction: float = 1.0) -> float:
    """
    Return Kc ini from how often the ground is wetted and how much it could evaporate.

    Parameters
    ----------
    eto : float
        Mean over the initial stage. [mm/day]
    interval : float
        Days from one wetting to the next. [days]
    depth : float
        Of one wetting, over the bed. [mm]
    coarse : bool
        Figure 30a's soils, or 30b's.
    wetted_fraction : float
        Share of the ground that a wetting reaches. [-]

    Returns
    -------
    float
        [-]

    Notes
    -----
    FAO-56 (1998) Annex 7 (from memory; Examples 25 and 26 check the interpolation and the wetted share): light
    wettings, TEW 10 and REW 2.5 … 7 by 6/√ETo; heavy ones, coarse TEW 7√ETo up to 15 and REW 6, others TEW 13√ETo up
    to 28 and REW 9. Between 10 and 40 mm, eq. 59. A wetting of a part of the ground, eq. 60, with the depth over
    that part.
    """
    root = math.sqrt(eto)
    local = depth / wetted_fraction
    light = _dried(eto, interval, 10.0, min(max(2.5, 6.0 / root), 7.0))
    tew = min(15.0, 7.0 * root) if coarse else min(28.0, 13.0 * root)
    heavy = _dried(eto, interval, tew, min(6.0 if coarse else 9.0, tew - 0.01))
    share = min(max((local - _LIGHT) / (_HEAVY - _LIGHT), 0.0), 1.0)
    return wetted_fraction * (light + share * (heavy - light))
