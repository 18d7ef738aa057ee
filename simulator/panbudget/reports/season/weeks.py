"""
Weeks: what the pan's valve gave a bed against ETc less rain, week by week, and why the two part.

Units: mm over the bed, kg. Works on a finished season; nothing is simulated here.
"""

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from panbudget.extras import made_once
from panbudget.season.result import Season, short_of_water
from panbudget.season.totals import rain_kept
from panbudget.words import count

COLUMNS = [
    *("controller", "bed", "week_from", "days", "irrigation_mm", "etc_less_rain_mm", "rain_mm", "rain_kept_mm"),
    *("deep_percolation_mm", "kc", "stress_days", "pan_spilled_kg", "why"),
]
_DAYS = 7
# within a quarter of ETc less rain, or 5 mm a week, is no mismatch; common practice, no source
_NEAR, _NEAR_MM = 0.25, 5.0
_SMALL_PLANTS = 0.75  # of the season's highest Kc


def weeks_table(season: Season) -> pd.DataFrame:
    """
    Return each bed's weeks: what was supplied, ETc less rain, and why they part.

    Returns
    -------
    DataFrame
        One row a bed and week, from the season's first day on; the last week may be short. Columns as `COLUMNS`:
        ``etc_less_rain_mm`` is ETc less the rain that the soil could hold under exact refill, so that it may be below
        zero in a wet week. It is not net demand, which exact refill gives in a few large waterings; over a season the
        two differ by what the soil gains or loses, and by what roots find as they grow deeper. ``stress_days`` are the
        bed's mean; ``why`` is plain words, empty where supply and ETc less rain agree and no plant suffers.
    """
    return made_once(season, "weeks", lambda: _weeks_of(season))


def _weeks_of(season: Season) -> pd.DataFrame:
    parts = []
    # without attrs, which pandas copies at every step
    for key, table in ((key, pd.DataFrame(table)) for key, table in season.beds.items()):
        controller, bed = key.split("/")
        rain_in = table["rain_mm"] - table["runoff_mm"]
        held = rain_kept(rain_in, table["exact_irrigation_mm"], table["exact_deep_percolation_mm"], exact=True)
        daily = table[["irrigation_mm", "rain_mm", "deep_percolation_mm", "kc"]].assign(
            etc_less_rain_mm=(table["exact_etc_mm"] - held).where(table["growing"], 0.0),
            rain_kept_mm=rain_kept(rain_in, table["irrigation_mm"], table["deep_percolation_mm"]),
            stress_days=short_of_water(table, "ks").astype(int),
            pan_spilled_kg=season.controllers[controller]["spilled_kg"],
            growing=table["growing"].astype(int),
        )
        by_week = daily.groupby(np.arange(len(daily)) // _DAYS)
        dates = pd.DatetimeIndex(daily.index)[::_DAYS].strftime("%Y-%m-%d")
        about: dict[str, Any] = {"controller": controller, "bed": bed, "week_from": dates}
        weeks = by_week.sum().assign(kc=by_week["kc"].mean(), days=by_week.size(), **about)
        weeks["why"] = [_why(row, float(table["kc"].max())) for row in weeks.to_dict("records")]
        parts.append(weeks)
    return pd.concat(parts, ignore_index=True)[COLUMNS]


def _why(week: Mapping[Hashable, Any], highest_kc: float) -> str:
    """Say why a week's supply and ETc less rain part, or why plants suffer though they don't."""
    given, needed = week["irrigation_mm"], week["etc_less_rain_mm"]
    near = abs(given - needed) <= max(_NEAR * max(needed, 0.0), _NEAR_MM)
    if week["stress_days"] and (near or given > needed):
        # neither "enough" nor "too much" would be believed beside days of stress
        days = count(int(week["stress_days"]), "day")
        return f"short on {days}: the soil was dry from before, or the water came late"
    if near:
        return ""
    reasons = []
    if given > needed:
        if week["growing"] == 0:
            reasons.append("nothing grows here yet, or no longer")
        elif week["kc"] < _SMALL_PLANTS * highest_kc:
            reasons.append("the plants are small and ask for little; the pan doesn't know")
        if week["rain_mm"] > _NEAR_MM and week["pan_spilled_kg"] > 0.0:
            reasons.append("the pan spilled rain that the soil kept")
        elif week["rain_mm"] > needed:
            reasons.append("rain met the need and the pan dried on")
        return "; ".join(reasons) or "this bed has more emitters than such a week asks for"
    if week["rain_mm"] > week["rain_kept_mm"] + _NEAR_MM:
        reasons.append("rain that the soil could not hold held the pan shut")
    if week["stress_days"]:
        reasons.append("short: the plants suffer")
    return "; ".join(reasons) or "lives on water already in the soil"
