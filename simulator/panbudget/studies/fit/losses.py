"""
Fit losses: what a pan lost between two visits, for the picture beside a fit.
"""

from __future__ import annotations

import pandas as pd

from panbudget.studies.fit.pan import PanModel
from panbudget.studies.fit.readings import Readings

__all__ = ["lost_between"]


def lost_between(pan: PanModel, readings: Readings, factors: dict[str, float]) -> pd.DataFrame:
    """
    Return what the pan lost between visits, by the log and by the model, as described and as fitted.

    Parameters
    ----------
    pan : PanModel
    readings : Readings
    factors : dict
        Fitted factors by name.

    Returns
    -------
    DataFrame
        ``start``, ``end``; ``observed``, ``before`` and ``after`` the fit. [mm/day]
    """
    swing = pan.swing * factors.get("swing", 1.0)
    now, was = pan.modelled(factors).at(pan.hours) * swing, pan.modelled({}).at(pan.hours) * pan.swing
    rows = []
    for k in range(1, len(pan.visits)):
        a, b = pan.visits[k - 1], pan.visits[k]
        days = (b.hour - a.hour) / 24.0
        count = readings.counts[k]
        if days < 0.5 or count is None:
            continue
        both = a.level is not None and b.level is not None
        fallen = ((a.level or 0.0) - (b.level or 0.0)) if both else 0.0
        rows.append(
            {
                "start": a.moment,
                "end": b.moment,
                "observed": (count * swing / pan.area + fallen) / days,
                "before": (was[k] - was[k - 1]) / pan.area / days,
                "after": (now[k] - now[k - 1]) / pan.area / days,
            }
        )
    return pd.DataFrame(rows, columns=["start", "end", "observed", "before", "after"])
