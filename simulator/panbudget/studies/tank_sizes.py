"""
Tank sizes: how long a garden's valves would have stood dry with a smaller or a larger tank of the same height.

Units: litres, hours. Each size is a season of its own through the engine; tanks keep their height and grow in width.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd

from panbudget.season.result import Season
from panbudget.season.run import run_forcing

#: sizes tried, as factors on the tank's volume
FACTORS = (0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 16.0)


def tank_sizes(season: Season, supply: str) -> pd.DataFrame:
    """
    Replay the season with other sizes of one tank.

    Parameters
    ----------
    season : Season
    supply : str
        A tank.

    Returns
    -------
    DataFrame
        One row a size: ``volume_l``, ``starved_hours`` (valves open without water, all of them together),
        ``litres`` (drawn), ``over_l`` (run over).
    """
    forcing, row = season.forcing, list(season.tanks).index(supply)
    served = [part.supply == supply for part in season.scenario.controller.values()]
    rows = []
    for factor in FACTORS:
        grown = np.ones(len(forcing.tanks.capacity))
        grown[row] = factor
        tanks = forcing.tanks._replace(
            capacity=forcing.tanks.capacity * grown,
            volumes=forcing.tanks.volumes * grown[:, None],
            float_volume=forcing.tanks.float_volume * grown,  # a float hangs at a height
        )
        state = season.began.copy()
        state.volume[:] *= grown
        out, _ = run_forcing(dataclasses.replace(forcing, tanks=tanks), state)
        sums = (out.starved_hours[served].sum(), out.tank_drawn[row].sum(), out.tank_over[row].sum())
        rows.append([float(value) for value in (tanks.capacity[row], *sums)])
    return pd.DataFrame(rows, columns=["volume_l", "starved_hours", "litres", "over_l"])


def enough(sizes: pd.DataFrame) -> float | None:
    """
    Return the smallest size tried under which no valve stood dry.

    Parameters
    ----------
    sizes : DataFrame
        As `tank_sizes` gives it.

    Returns
    -------
    float or None
        [L]; none of them would have done.
    """
    good = sizes.loc[sizes["starved_hours"] <= 0.0, "volume_l"]
    return float(good.min()) if len(good) else None
