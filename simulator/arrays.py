"""
Arrays: the engine's arguments, grouped and named; numpy outside, and how a plain run reads them.

The engine takes five groups of arrays. Here they are named tuples, because those can be built from numpy, handed
to an interpreter as memory views (which give plain Python floats, several times quicker than numpy's scalars and
equal to them bit for bit), or handed to a compiler as they are.
"""

from __future__ import annotations

from typing import Any, NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt

__all__ = ["Beds", "Days", "Floats", "Ints", "Pans", "Results", "State", "empty_results", "plain"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Days(NamedTuple):
    """Drivers of each day, the same for all controllers and beds."""

    rain: Floats
    eto: Floats
    daylight_share: Floats
    dark_share: Floats


class Pans(NamedTuple):
    """Controllers: one row each."""

    evaporation: Floats
    area: Floats
    swing: Floats
    rim: Floats
    dry: Floats
    night_share: Floats
    refill_flow: Floats
    presses: Floats


class Beds(NamedTuple):
    """Beds by day, and the lanes that water them."""

    kc: Floats
    taw: Floats
    rain_in: Floats
    growing: Ints
    kc_max: Floats
    exposed: Floats
    p_table: Floats
    dual: Ints
    fw: Floats
    tew: Floats
    rew: Floats
    ke_factor: Floats
    lane_bed: Ints
    lane_controller: Ints
    lane_source: Ints
    lane_mm_per_hour: Floats
    given: Floats


class State(NamedTuple):
    """Where a run stands between two days; a run overwrites it."""

    level: Floats
    is_open: Ints
    since: Floats
    refilled: Floats
    cause: Ints
    slot: Ints
    depletion: Floats
    surface_depletion: Floats
    wetted: Floats

    def copy(self) -> State:
        """Return a state of its own, which a run may overwrite."""
        return State._make(part.copy() for part in self)


class Results(NamedTuple):
    """What a run writes."""

    openings: Ints
    open_hours: Floats
    refilled: Floats
    evaporated: Floats
    spilled: Floats
    level: Floats
    stuck_hours: Floats
    dry_hours: Floats
    hourly_level: Floats
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
    opening_controller: Ints
    opening_start: Floats
    opening_end: Floats
    opening_refilled: Floats
    opening_cause: Ints


_BY_LANE = ("irrigation", "etc", "eta", "ks", "ke", "depletion", "deep_percolation", "left_below")
_TERMS = ("kr", "few", "surface_depletion")


def empty_results(
    controllers: int, lanes: int, days: int, *, room: int, keep_hours: bool = True, keep_terms: bool = True
) -> Results:
    """
    Make room for a run's results.

    Parameters
    ----------
    controllers, lanes, days : int
        The run's size.
    room : int
        How many openings can be listed.
    keep_hours : bool
        Whether the pan's level is kept hour by hour.
    keep_terms : bool
        Whether the dual coefficient's terms are kept.

    Returns
    -------
    Results
        Arrays (controllers, days), (controllers, days·24), (lanes, days) and (room,), all zero.
    """
    pan, lane = (controllers, days), (lanes, days)
    hourly = (controllers, days * 24 if keep_hours else 0)
    terms = (lanes, days if keep_terms else 0)
    by_name = {"hourly_level": hourly, **dict.fromkeys(_BY_LANE, lane), **dict.fromkeys(_TERMS, terms)}
    whole = {"openings", "opening_controller", "opening_cause"}
    return Results._make(
        np.zeros(
            room if name.startswith("opening_") else by_name.get(name, pan), np.int64 if name in whole else np.float64
        )
        for name in Results._fields
    )


Group = TypeVar("Group", bound=tuple[Any, ...])


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
