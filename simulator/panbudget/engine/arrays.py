"""
Arrays: the engine's arguments, grouped and named; numpy outside, and how a plain run reads them.

The engine takes five groups of arrays. Here they are named tuples, because those can be built from numpy, handed
to an interpreter as memory views (which give plain Python floats, several times quicker than numpy's scalars and
equal to them bit for bit), or handed to a compiler as they are.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple, TypeVar

import numpy as np

from panbudget.engine.adding import LANE_SUMS
from panbudget.engine.pan import PAN_SUMS
from panbudget.engine.tank import TANK_SUMS
from panbudget.numeric import Floats, Ints


class Days(NamedTuple):
    """Drivers of each day, the same for all controllers and beds."""

    rain: Floats
    eto: Floats
    daylight_share: Floats
    dark_share: Floats


class Pans(NamedTuple):
    """Controllers: one row each, and by day what may change."""

    evaporation: Floats
    area: Floats
    swing: Floats
    rim: Floats
    dry: Floats
    shift: Floats
    leak: Floats
    rain_factor: Floats
    night_share: Floats
    refill_flow: Floats
    refill_exponent: Floats
    valve_flow: Floats
    presses: Floats
    tank: Ints
    static: Floats
    at_emitters: Floats
    block: Ints
    member: Ints


class Tanks(NamedTuple):
    """Tanks, one row each, and what beds draw from them."""

    capacity: Floats
    outlet: Floats
    volumes: Floats
    levels: Floats
    inflow: Floats
    float_volume: Floats
    float_rate: Floats
    draw_flow: Floats
    draw_exponent: Floats
    draw_from: Ints


class Beds(NamedTuple):
    """Beds by day, and the lanes that water them."""

    kc: Floats
    taw: Floats
    rain_in: Floats
    growing: Ints
    kc_max: Floats
    exposed: Floats
    p_table: Floats
    flow_factor: Floats
    dual: Ints
    fw: Floats
    tew: Floats
    rew: Floats
    ke_factor: Floats
    lane_bed: Ints
    lane_controller: Ints
    lane_source: Ints
    lane_draw: Ints
    lane_mm_per_hour: Floats
    given: Floats


#: of a state, what stands by lane
BY_LANE = ("depletion", "surface_depletion", "wetted")


class State(NamedTuple):
    """
    Where a run stands between two days; a run overwrites it.

    Of the day under way: ``slot`` on the list, ``press`` to come (controllers,); ``today``,
    ``tank_today``, sums by pan and by tank; ``draw_hours``, hours of opening that would have given a bed as much at the
    reference pressure, and ``draw_power``, its flow over that at the reference pressure. Of a tank's stretch of constant
    rates: ``rain``, ``evaporation`` [kg/h], ``refill_flow``, ``flow`` of the whole valve [L/h] (controllers,).
    """

    level: Floats
    is_open: Ints
    since: Floats
    refilled: Floats
    drawn: Floats
    cause: Ints
    slot: Ints
    press: Ints
    volume: Floats
    depletion: Floats
    surface_depletion: Floats
    wetted: Floats
    today: Floats
    tank_today: Floats
    draw_hours: Floats
    draw_power: Floats
    rain: Floats
    evaporation: Floats
    refill_flow: Floats
    flow: Floats

    def copy(self) -> State:
        """Return a state of its own, which a run may overwrite."""
        return State._make(part.copy() for part in self)


def empty_state(controllers: int, lanes: int, tanks: Tanks | None = None) -> State:
    """
    Return a state of pans at their trip weight, valves shut, soils at field capacity, to be given what differs.

    Parameters
    ----------
    controllers, lanes : int
    tanks : Tanks, optional
        Empty ones.

    Returns
    -------
    State
        All zero; surfaces last wetted all over.
    """
    n_tanks, n_draws = (len(tanks.capacity), len(tanks.draw_exponent)) if tanks else (0, 0)
    sizes = {"today": controllers * PAN_SUMS, "tank_today": n_tanks * TANK_SUMS, **dict.fromkeys(BY_LANE, lanes)}
    sizes |= {"volume": n_tanks, "draw_hours": n_draws, "draw_power": n_draws}
    whole = {"is_open", "cause", "slot", "press"}
    kinds = {name: np.int64 if name in whole else np.float64 for name in State._fields}
    state = State._make(np.zeros(sizes.get(name, controllers), kind) for name, kind in kinds.items())
    return state._replace(wetted=np.ones(lanes))


class Results(NamedTuple):
    """
    What a run writes.

    Per controller and day ``openings``, ``open_hours``, ``refilled``, ``drawn``, ``evaporated``,
    ``leaked``, ``spilled``, ``level``, ``stuck_hours`` (open with water, the pan not rising), ``dry_hours``
    (nothing left to evaporate), ``starved_hours`` (open without water);
    ``hourly_level`` (controllers, days·24), left alone when it has no columns; per tank and day ``tank_volume``,
    ``tank_drawn``, ``tank_topped``, ``tank_over``; per draw and day ``draw_hours``; per lane and day ``irrigation``, ``etc``,
    ``eta``, ``ks``, ``depletion``, ``deep_percolation``, ``left_below``, ``ke``; ``kr``, ``few``, ``surface_depletion``,
    left alone when they have no columns; ``sums`` (lanes, `LANE_SUMS`), left alone when it has no rows; the openings
    ``opening_controller``, ``opening_start``, ``opening_end`` [h from the start of the first day; not a number if still
    open], ``opening_refilled``, ``opening_litres``, ``opening_cause`` (room,).
    """

    openings: Ints
    open_hours: Floats
    refilled: Floats
    drawn: Floats
    evaporated: Floats
    leaked: Floats
    spilled: Floats
    level: Floats
    stuck_hours: Floats
    dry_hours: Floats
    starved_hours: Floats
    hourly_level: Floats
    tank_volume: Floats
    tank_drawn: Floats
    tank_topped: Floats
    tank_over: Floats
    draw_hours: Floats
    irrigation: Floats
    etc: Floats
    eta: Floats
    ks: Floats
    ke: Floats
    depletion: Floats
    deep_percolation: Floats
    left_below: Floats
    kr: Floats
    few: Floats
    surface_depletion: Floats
    sums: Floats
    opening_controller: Ints
    opening_start: Floats
    opening_end: Floats
    opening_refilled: Floats
    opening_litres: Floats
    opening_cause: Ints


_BY_LANE = ("irrigation", "etc", "eta", "ks", "ke", "depletion", "deep_percolation", "left_below")
_BY_TANK = ("tank_volume", "tank_drawn", "tank_topped", "tank_over")
_TERMS = ("kr", "few", "surface_depletion")


def empty_results(
    controllers: int,
    lanes: int,
    days: int,
    *,
    room: int,
    tanks: Tanks | None = None,
    keep_hours: bool = True,
    keep_terms: bool = True,
    keep_sums: bool = True,
) -> Results:
    """
    Make room for a run's results.

    Parameters
    ----------
    controllers, lanes, days : int
        The run's size.
    room : int
        How many openings can be listed.
    tanks : Tanks, optional
    keep_hours : bool
        Whether the pan's level is kept hour by hour.
    keep_terms : bool
        Whether the dual coefficient's terms are kept.
    keep_sums : bool
        Whether what the days come to is added up lane by lane.

    Returns
    -------
    Results
        Arrays (controllers, days), (controllers, days·24), (lanes, days) and (room,), all zero.
    """
    pan, lane = (controllers, days), (lanes, days)
    hourly = (controllers, days * 24 if keep_hours else 0)
    terms = (lanes, days if keep_terms else 0)
    n_tanks, n_draws = (len(tanks.capacity), len(tanks.draw_exponent)) if tanks else (0, 0)
    by_name = {
        "hourly_level": hourly,
        **dict.fromkeys(_BY_TANK, (n_tanks, days)),
        "draw_hours": (n_draws, days),
        **dict.fromkeys(_BY_LANE, lane),
        **dict.fromkeys(_TERMS, terms),
        "sums": (lanes if keep_sums else 0, len(LANE_SUMS)),
    }
    whole = {"openings", "opening_controller", "opening_cause"}
    shapes = {name: room if name.startswith("opening_") else by_name.get(name, pan) for name in Results._fields}
    return Results._make(np.zeros(shape, np.int64 if name in whole else np.float64) for name, shape in shapes.items())


def no_tanks(days: int) -> Tanks:
    """Return the tanks of a garden that has none."""
    none, no_pairs, by_day = np.zeros(0), np.zeros((0, 2)), np.zeros((0, days))
    return Tanks(none, none, no_pairs, no_pairs, by_day, none, none, by_day, none, np.zeros(0, np.int64))


Group = TypeVar("Group", bound=tuple[Any, ...])


def stacked(groups: Iterable[Group]) -> Group:
    """Return groups of one kind as one, years before other axes."""
    together = list(groups)
    return type(together[0])(*map(np.array, zip(*together, strict=True)))


def of_year(group: Group, year: int) -> Group:
    """Return one of the years side by side: the same memory."""
    return type(group)(*(part[year] for part in group))


def plain(group: Group) -> Group:
    """
    Give a group of arrays to the interpreter: the same memory, read and written as plain numbers.

    Parameters
    ----------
    group : Days, Pans, Beds, State or Results
        Groups of C-ordered arrays.

    Returns
    -------
    the same kind of group
        Of memory views; writing to one writes to the array.
    """
    return type(group)(*(memoryview(np.require(part, requirements="C")) for part in group))
