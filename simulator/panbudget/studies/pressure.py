"""
Pressure: what half and double the supply's pressure would do to a season, for the emitters at hand.

With one exponent on the refill emitter and on the beds' emitters, pressure changes how long an opening lasts and not what
it delivers; with compensated bed emitters and a plain refill emitter it changes both. Shown by running it, not asserted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from panbudget.scenario.garden import Scenario
from panbudget.scenario.supplies import Mains
from panbudget.season.faults import with_faults
from panbudget.season.layout import prepare
from panbudget.season.result import Season
from panbudget.season.run import run_salted
from panbudget.season.totals import add_up

TIMES = (0.5, 1.0, 2.0)


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
