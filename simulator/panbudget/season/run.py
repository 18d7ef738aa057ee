"""
Run: a forcing through the engine, again and again where salt gathers in the pans and changes what they do.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import NamedTuple

import numpy as np

from panbudget.engine import season as engine
from panbudget.engine.arrays import Results, State, empty_results, plain
from panbudget.errors import ClosureError
from panbudget.scenario.garden import Scenario
from panbudget.season.forcing import Forcing
from panbudget.season.salt import SaltBalance, SaltLeft, pan_salt, salted_pans

_SALT_RUNS, _SALT_KG = 8, 1e-8  # most runs; drift from one to the next at which they agree


class Ran(NamedTuple):
    """What the engine made of a forcing, salt and all."""

    forcing: Forcing
    after: State
    out: Results
    opened: int
    salts: dict[int, SaltBalance]  # by controller's place, where the supply's salinity is known
    salted: bool


def run_salted(
    scenario: Scenario,
    forcing: Forcing,
    before: State,
    salt: Mapping[str, SaltLeft],
    *,
    run: Callable[..., int] = engine.run_season,
) -> Ran:
    """
    Step the engine through a forcing, again and again while the salt that gathers in the pans changes what they do.

    Parameters
    ----------
    scenario : Scenario
    forcing : Forcing
        Without salt.
    before : State
        Where to start; left as it is.
    salt : mapping of SaltLeft
        In the pans there.
    run : callable
        The engine, plain or compiled.

    Returns
    -------
    Ran
    """
    after = before.copy()
    out, count = run_forcing(forcing, after, run=run)
    salts = _salts(scenario, forcing, before, out, salt)
    if not salt and not any(one.matters for one in salts.values()):
        return Ran(forcing, after, out, count, salts, salted=False)
    salted = forcing
    for _ in range(_SALT_RUNS):
        salted = dataclasses.replace(forcing, pans=salted_pans(forcing.pans, salts))
        after = before.copy()
        out, count = run_forcing(salted, after, run=run)
        known, salts = salts, _salts(scenario, salted, before, out, salt)
        if all(np.abs(one.drift - known[row].drift).max() < _SALT_KG for row, one in salts.items()):
            break
    return Ran(salted, after, out, count, salts, salted=True)


def _salts(
    scenario: Scenario, forcing: Forcing, before: State, out: Results, salt: Mapping[str, SaltLeft]
) -> dict[int, SaltBalance]:
    found = {}
    pans = forcing.pans
    for row, (name, controller) in enumerate(scenario.controller.items()):
        salinity = scenario.supply[controller.supply].salinity
        if salinity is not None:
            start = float(before.level[row] - pans.dry[row, 0] - pans.shift[row, 0])
            found[row] = pan_salt(pans, out, row, salinity, start, salt.get(name))
    return found


def run_forcing(forcing: Forcing, state: State, *, run: Callable[..., int] = engine.run_season) -> tuple[Results, int]:
    """
    Step the engine through a forcing.

    Parameters
    ----------
    forcing : Forcing
    state : State
        Where to start; overwritten with where it ends.
    run : callable
        The engine, plain or compiled.

    Returns
    -------
    (Results, int)
        What it wrote; how many openings.

    Raises
    ------
    ClosureError
        More openings than there is room for.
    """
    out = empty_results(
        len(forcing.pans.area),
        len(forcing.beds.lane_bed),
        len(forcing.dates),
        room=forcing.room,
        tanks=forcing.tanks,
    )
    given = (forcing.days, forcing.pans, forcing.tanks, forcing.beds, state, out)
    count = run(*(plain(group) for group in given)) if run is engine.run_season else run(*given)
    if count > forcing.room:
        raise ClosureError(f"{count} openings do not fit the list of {forcing.room}: please report this")
    return out, count
