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
    found: list[Pressed] = []
    for name in season.scenario.supply:
        served = [c for c, controller in season.scenario.controller.items() if controller.supply == name]
        if served:
            found.extend(_at(season, name, times, served) for times in TIMES)
    return tuple(found)


def _at(season: Season, supply: str, times: float, served: list[str]) -> Pressed:
    scenario = _changed(season, supply, times, served) if times != 1.0 else season.scenario
    first, last = season.forcing.dates[0].date(), season.forcing.dates[-1].date()
    forcing = with_faults(scenario, prepare(scenario, season.weather, first, last))
    ran = run_salted(scenario, forcing, season.began, season.salt_before)
    sums = add_up(ran.forcing, season.began, ran.after, ran.out)
    rows = [list(scenario.controller).index(name) for name in served]
    beds = np.isin(forcing.bundle.row_controller, rows)
    return Pressed(
        supply=supply,
        times=times,
        pressure=forcing.pan_of[served[0]].pressure,
        openings=int(sums.pans["openings"][rows].sum()),
        open_hours=float(sums.pans["open_hours"][rows].sum()),
        bed_litres=float(sums.pans["bed_litres"][rows].sum()),
        stress_days=int(sums.lanes["stress_days"][forcing.bundle.lane("driest_quarter")[beds]].sum()),
    )


def _changed(season: Season, supply: str, times: float, served: list[str]) -> Scenario:
    described = season.scenario.supply[supply]
    if isinstance(described, Mains):
        own: dict[str, Any] = {"pressure": f"{described.pressure * times!r} kPa"}
    else:
        own = {"outlet_height": f"{described.outlet_height * times!r} m"}
    controllers: dict[str, Any] = {}
    for name in served:
        controller, there = season.scenario.controller[name], season.forcing.pan_of[name].pressure
        place = {"at": f"{max(there, 1e-6)!r} kPa"}
        part: dict[str, Any] = {}
        if controller.valve.refill.at is None:
            part["valve"] = {"refill": place}
        beds = {bed: {"emitters": place} for bed, what in controller.bed.items() if what.emitters.at is None}
        if beds:
            part["bed"] = beds
        if part:
            controllers[name] = part
    return season.scenario.changed({"supply": {supply: own}, "controller": controllers})
