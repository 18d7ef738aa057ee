"""
Run: where a season starts, and its days through the engine; again where salt gathers in the pans and changes them.
"""

import dataclasses
import itertools
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from panbudget.engine import arrays
from panbudget.engine import season as engine
from panbudget.engine.arrays import Beds, Results, State, empty_results, empty_state, no_tanks
from panbudget.errors import ClosureError, ScenarioError
from panbudget.scenario.garden import Scenario
from panbudget.season import problem
from panbudget.season.layout import LANES, Bundle, Forcing, grounds_in
from panbudget.season.salt import SaltBalance, SaltLeft, pan_salt, salted_pans


def run_forcing(
    forcing: Forcing, state: State, *, run: Callable[..., int] = engine.run_season, out: Results | None = None
) -> tuple[Results, int]:
    """
    Step the engine through a forcing.

    Parameters
    ----------
    forcing : Forcing
    state : State
        Where to start; overwritten with where it ends.
    run : callable
        The engine, plain or compiled.
    out : Results, optional
        Room that the caller keeps; else there is room for all, openings and hours among it.

    Returns
    -------
    (Results, int)
        What it wrote; how many openings.

    Raises
    ------
    ClosureError
        More openings than there is room for.
    """
    room = None
    if out is None:
        pans, lanes, days = len(forcing.pans.area), len(forcing.beds.lane_bed), len(forcing.days.rain)
        room = forcing.room
        out = empty_results(pans, lanes, days, room=room, tanks=forcing.tanks)
    count = step((forcing.days, forcing.pans, forcing.tanks, forcing.beds), state, out, run)
    if room is not None and count > room:
        raise ClosureError(problem("too-many-openings", count=count, room=room))
    return out, count


def step(groups: tuple[Any, ...], state: State, out: Results, run: Callable[..., int]) -> int:
    """Step the engine, plain or compiled, through days of a forcing; as `run_forcing`, of which there is room for all."""
    groups = (*groups, state, out)
    return run(*map(arrays.plain, groups)) if run is engine.run_season else run(*groups)


def first_morning(
    forcing: Forcing, *, spin_up: int = 0, by: int | Sequence[int] = 0, run: Callable[..., int] = engine.run_season
) -> State:
    """
    Return the state of gardens on their first morning: pans filled to the reset level, valves shut.

    Parameters
    ----------
    forcing : Forcing
    spin_up : int
        Days before it over which soils take rain and give water to the plants, without irrigation.
    by : int or sequence of int
        Years by which plantings are moved along, as in `lay_out`; of years side by side, of each.
    run : callable
        The engine, plain or compiled.

    Returns
    -------
    State
        Of the forcing's controllers and lanes; of years side by side, with years before the other axis.

    Raises
    ------
    ScenarioError
        The weather file does not reach back so far.
    """
    pans, beds = forcing.pans, forcing.beds
    if not spin_up:
        soils = _soils(forcing.bundle, beds)
    elif isinstance(by, int):
        soils = _rain_fed(forcing, spin_up, by, run)
    else:
        soils = arrays.stacked(_rain_fed(forcing.of_year(at), spin_up, years, run) for at, years in enumerate(by))
    by_lane = {name: getattr(soils, name)[..., beds.lane_bed] for name in arrays.BY_LANE}
    state = empty_state(len(pans.area), len(beds.lane_bed), forcing.tanks)._replace(
        # filled before the first day's faults move the trip weight; never over the rim
        level=np.minimum(pans.swing[:, 0], pans.rim[:, 0] + pans.shift[:, 0]),
        volume=np.array([tank.volume * tank.full_at_start for tank in forcing.bundle.tanks_of], float),
        **by_lane,
    )
    if not forcing.spans:
        return state
    years = len(forcing.spans)
    return State._make(part.copy() if part.ndim > 1 else np.repeat(part[None], years, axis=0) for part in state)


def _soils(bundle: Bundle, beds: Beds) -> State:
    """Soils as the scenario has them, a lane a ground, of one year or of years side by side."""
    share = np.array([ground.bed.initial_depletion for ground in bundle.grounds], float)
    state = empty_state(0, len(share))
    return state._replace(depletion=share * beds.taw[..., 0], surface_depletion=share * beds.tew)


def _rain_fed(forcing: Forcing, spin_up: int, by: int, run: Callable[..., int]) -> State:
    """Soils as the days before the season left them, a lane a ground: no pans, no water but rain."""
    record, bundle, first = forcing.record, forcing.bundle, forcing.first
    if spin_up > first:
        wanted, begins = (forcing.dates[0] - np.timedelta64(spin_up, "D")).date(), record.index[0].date()
        facts = {"days": spin_up, "wanted": wanted, "file": record.shown, "first": begins, "most": first}
        code = "long-spin-up" if first else "long-spin-up.none"
        raise ScenarioError(problem(code, "season.spin_up", spin_up, **facts), file=record.file)
    parts = grounds_in(bundle, record, first - spin_up, first, by=by)
    unwatered = dataclasses.replace(bundle, valves=(), lanes=(*LANES[:2], "timer"))
    beds = unwatered.filled(parts)._replace(given=np.zeros((len(parts), spin_up)))
    nobody = {name: part[: 1 if name == "block" else 0] for name, part in bundle.pans._asdict().items()}
    before = dataclasses.replace(
        forcing,
        days=arrays.of_year(record.days([(first - spin_up, first)]), 0),
        pans=bundle.pans._replace(**nobody),
        tanks=no_tanks(spin_up),
        beds=beds,
    )
    state = _soils(bundle, beds)
    out = empty_results(0, len(parts), spin_up, room=0, keep_hours=False, keep_terms=False, keep_sums=False)
    run_forcing(before, state, run=run, out=out)
    return state


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
    Step the engine through a forcing, again and again until the salt that gathers in the pans changes nothing any more.

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
    """
    salted, balances = forcing, dict[int, SaltBalance]()
    # salt acts from the next day on, so that each run settles one day more at least: this ends
    for again in itertools.count():
        if again:
            salted = dataclasses.replace(forcing, pans=salted_pans(forcing.pans, balances))
        after = before.copy()
        out, count = run_forcing(salted, after, run=run)
        known, balances = balances, _balances(scenario, salted, before, out, salt)
        if not again:
            if not salt and not any(balance.matters for balance in balances.values()):
                return Ran(forcing, after, out, count, balances, salted=False)
        elif all(salt.acts_as(known[row]) for row, salt in balances.items()):
            break
    return Ran(salted, after, out, count, balances, salted=True)


def _balances(
    scenario: Scenario, forcing: Forcing, before: State, out: Results, salt: Mapping[str, SaltLeft]
) -> dict[int, SaltBalance]:
    balances, pans = {}, forcing.pans
    for row, (name, controller) in enumerate(scenario.controller.items()):
        salinity = scenario.supply[controller.supply].salinity
        if salinity is not None:
            start = float(before.level[row] - pans.dry[row, 0] - pans.shift[row, 0])
            balances[row] = pan_salt(pans, out, row, salinity, start, salt.get(name))
    return balances
