"""
Supplies: what another pressure, or a tank of another size, would do to a season.

With one exponent on the refill emitter and on the beds' emitters, pressure changes how long an opening lasts and not what
it delivers; with compensated bed emitters and a plain refill emitter it changes both. Shown by running it, not asserted.
Tanks keep their height and grow in width. Units: kPa, litres, hours.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panbudget.scenario.garden import Scenario
from panbudget.scenario.supplies import Mains
from panbudget.season.faults import with_faults
from panbudget.season.layout import prepare
from panbudget.season.result import Season
from panbudget.season.run import run_forcing, run_salted
from panbudget.season.totals import add_up
from panbudget.studies.common import short_lanes

TIMES = (0.5, 1.0, 2.0)
#: sizes tried, as factors on the tank's volume
FACTORS = (0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 16.0)


@dataclass(frozen=True)
class Pressed:
    """
    One supply at one pressure.

    Parameters
    ----------
    supply : str
    times : float
        The pressure of the mains, or the height of a tank's outlet, over that described.
    pressure : float
        At the emitters of the first valve; of a tank, when it is full. [kPa]
    openings : int
    open_hours : float
    bed_litres : float
        What the beds of this supply got. [L]
    stress_days : int
        Of their driest quarters, added.
    """

    supply: str
    times: float
    pressure: float
    openings: int
    open_hours: float
    bed_litres: float
    stress_days: int


def pressed(season: Season) -> tuple[Pressed, ...]:
    """
    Run a season with each supply at half and at double its pressure.

    Parameters
    ----------
    season : Season

    Returns
    -------
    tuple of Pressed
        Three a supply, the middle one as described.

    Notes
    -----
    Emitters whose flow was measured in place follow their law from the pressure at which that was.
    """
    served = {
        supply: [name for name, part in season.scenario.controller.items() if part.supply == supply]
        for supply in season.scenario.supply
    }
    return tuple(_at(season, supply, times, names) for supply, names in served.items() if names for times in TIMES)


def _at(season: Season, supply: str, times: float, served: list[str]) -> Pressed:
    scenario = _changed(season, supply, times, served) if times != 1.0 else season.scenario
    first, last = season.forcing.dates[0].date(), season.forcing.dates[-1].date()
    forcing = with_faults(scenario, prepare(scenario, season.weather, first, last))
    ran = run_salted(scenario, forcing, season.began, season.salt_before)
    sums = add_up(ran.forcing, season.began, ran.after, ran.out)
    rows = [list(scenario.controller).index(name) for name in served]
    driest = forcing.bundle.lane("driest_quarter")[np.isin(forcing.bundle.by_row("valve"), rows)]
    openings, open_hours, litres = (sums.pans[key][rows].sum() for key in ("openings", "open_hours", "bed_litres"))
    return Pressed(
        supply=supply,
        times=times,
        pressure=forcing.pan_of[served[0]].pressure,
        openings=int(openings),
        open_hours=float(open_hours),
        bed_litres=float(litres),
        stress_days=int(sums.lanes["stress_days"][driest].sum()),
    )


def _changed(season: Season, supply: str, times: float, served: list[str]) -> Scenario:
    """The garden with one supply at another pressure, the flows measured in place taken as measured at the present one."""
    described = season.scenario.supply[supply]
    if isinstance(described, Mains):
        changed = {"pressure": f"{described.pressure * times!r} kPa"}
    else:
        changed = {"outlet_height": f"{described.outlet_height * times!r} m"}
    controllers: dict[str, Any] = {}
    for name in served:
        part = season.scenario.controller[name]
        at = {"at": f"{max(season.forcing.pan_of[name].pressure, 1e-6)!r} kPa"}
        controllers[name] = {
            "valve": {"refill": at} if part.valve.refill.at is None else {},
            "bed": {bed: {"emitters": at} for bed, planted in part.bed.items() if planted.emitters.at is None},
        }
    return season.scenario.changed({"supply": {supply: changed}, "controller": controllers})


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
        One row a size: ``volume_l``, ``stress_days`` (short of water then: the driest quarters of the beds that it
        waters, added), ``empty_days`` (on which one of its valves stood open without water), ``starved_hours`` (of
        these, all valves together), ``litres`` (drawn), ``over_l`` (run over).
    """
    forcing, row = season.forcing, list(season.tanks).index(supply)
    served = np.array([part.supply == supply for part in season.scenario.controller.values()])
    driest = forcing.bundle.lane("driest_quarter")[served[forcing.bundle.by_row("valve")]].tolist()
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
        short = short_lanes(out, forcing.beds, driest)
        empty = (out.starved_hours[served] > 0.0).any(axis=0).sum()
        sums = (out.starved_hours[served].sum(), out.tank_drawn[row].sum(), out.tank_over[row].sum())
        rows.append([float(value) for value in (tanks.capacity[row], short.sum(), empty, *sums)])
    return pd.DataFrame(rows, columns=["volume_l", "stress_days", "empty_days", "starved_hours", "litres", "over_l"])


def enough(sizes: pd.DataFrame) -> pd.Series[float]:
    """
    Return the smallest size tried with the fewest days short of water: a larger one is no use to the plants.

    Parameters
    ----------
    sizes : DataFrame
        As `tank_sizes` gives it.

    Returns
    -------
    Series
        Its row.
    """
    return sizes.iloc[int(sizes["stress_days"].argmin())]
