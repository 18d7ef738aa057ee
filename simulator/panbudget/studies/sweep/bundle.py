"""
Bundle: some designs side by side as one engine run: their pans, tanks, beds and lanes, laid out once for all sites.

What hangs on the weather is filled in season by season; designs whose beds are alike share their ground and their
yardstick. Units as in the engine.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.engine import season as engine
from panbudget.engine.arrays import Beds, Pans, Tanks, no_tanks
from panbudget.numeric import Floats, Ints
from panbudget.scenario.beds import Bed
from panbudget.scenario.garden import Controller, Scenario
from panbudget.scenario.supplies import Roof
from panbudget.season.beds import evaporable_water
from panbudget.season.demand import mulch_factor
from panbudget.season.forcing import PanForcing, pan_arrays, pan_flows, tank_arrays
from panbudget.season.supplies import lengthened, tanks_in_use

_DAY = pd.DatetimeIndex(["2001-01-01"])  # any day: what is laid out here holds on all


class Design(NamedTuple):
    """A named overlay, laid over the base scenario and checked."""

    name: str
    scenario: Scenario


@dataclass(frozen=True)
class Ground:
    """A bed as far as water in its soil goes: designs with the same one share it."""

    controller: str
    name: str
    bed: Bed


class Row(NamedTuple):
    """One row of the results: a bed of a design."""

    design: str
    controller: str
    bed: str
    area: float


@dataclass(frozen=True)
class Bundle:
    """
    Designs side by side.

    Parameters
    ----------
    rows : tuple of Row
    grounds : tuple of Ground
    controllers : tuple of (design, name, Controller, Scenario)
        In the engine's order.
    pans, tanks : Pans, Tanks
        With one day, to be repeated.
    roofs : tuple of Roof or None
        Of the tanks.
    volume : ndarray (tanks,)
        On the first morning. [L]
    tank_names : tuple of (design, supply)
    valve_flow_of_bed : ndarray (rows,)
        What passes to the row's bed while the valve is open, on the mains. [L/h]
    row_controller, row_ground, row_mean, row_driest, row_exact : ndarray of int (rows,)
        Where a row's numbers stand.
    lane_bed, lane_controller, lane_source, lane_draw, lane_mm_per_hour : ndarray (lanes,)
    initial : ndarray (grounds,)
        Share of TAW (and TEW) gone on the first morning. [-]
    """

    rows: tuple[Row, ...]
    grounds: tuple[Ground, ...]
    controllers: tuple[tuple[str, str, Controller, Scenario], ...]
    pans: Pans
    tanks: Tanks
    roofs: tuple[Roof | None, ...]
    volume: Floats
    tank_names: tuple[tuple[str, str], ...]
    row_controller: Ints
    row_ground: Ints
    row_mean: Ints
    row_driest: Ints
    row_exact: Ints
    lane_bed: Ints
    lane_controller: Ints
    lane_source: Ints
    lane_draw: Ints
    lane_mm_per_hour: Floats
    initial: Floats

    @functools.cached_property
    def scalars(self) -> dict[str, Any]:
        """The parts of `Beds` that have one number a ground."""
        beds = [ground.bed for ground in self.grounds]
        water = [evaporable_water(bed) for bed in beds]
        return {
            "dual": np.array([bed.method == "dual" for bed in beds], np.int64),
            "fw": np.array([bed.wetted_fraction for bed in beds], float),
            "tew": np.array([tew for tew, _ in water]),
            "rew": np.array([rew for _, rew in water]),
            "ke_factor": np.array([mulch_factor(bed.mulch) for bed in beds], float),
        }

    def beds(self, by_day: dict[str, Any], n_days: int) -> Beds:
        """Return the engine's beds: what a season gives, and the lanes."""
        return Beds(
            **by_day,
            flow_factor=_ones(len(self.grounds), n_days),
            **self.scalars,
            lane_bed=self.lane_bed,
            lane_controller=self.lane_controller,
            lane_source=self.lane_source,
            lane_draw=self.lane_draw,
            lane_mm_per_hour=self.lane_mm_per_hour,
            given=np.zeros((len(self.grounds), 0)),
        )

    def rain_fed(self, by_day: dict[str, Any], n_days: int) -> Beds:
        """Return one lane a ground that nothing but rain waters, for the days before the season."""
        n = len(self.grounds)
        return Beds(
            **by_day,
            flow_factor=_ones(n, n_days),
            **self.scalars,
            lane_bed=np.arange(n, dtype=np.int64),
            lane_controller=np.zeros(n, np.int64),
            lane_source=np.full(n, engine.GIVEN, np.int64),
            lane_draw=np.full(n, -1, np.int64),
            lane_mm_per_hour=np.zeros(n),
            given=np.zeros((n, n_days)),
        )

    def repeated(self, n_days: int) -> tuple[Pans, Tanks]:
        """Return pans and tanks with as many days as a season has; kept, since seasons are of few lengths."""
        kept = self.__dict__.setdefault("_repeated", {})
        if n_days not in kept:
            kept[n_days] = (
                Pans(*(_by_day(name, part, n_days) for name, part in self.pans._asdict().items())),
                Tanks(*(_by_day(name, part, n_days) for name, part in self.tanks._asdict().items())),
            )
        found: tuple[Pans, Tanks] = kept[n_days]
        return found


_DAILY = ("swing", "rim", "dry", "shift", "leak", "rain_factor", "refill_flow", "valve_flow", "draw_flow")


def _by_day(name: str, part: Any, n_days: int) -> Any:
    return np.repeat(part, n_days, axis=1) if name in _DAILY else part


@functools.lru_cache(maxsize=16)
def _ones(rows: int, n_days: int) -> Floats:
    return np.ones((rows, n_days))


def ground_key(controller: str, name: str, bed: Bed) -> tuple[str, str, str]:
    """Return what tells two grounds apart."""
    return controller, name, bed.model_dump_json(exclude={"area", "emitters", "uniformity"})


def bundle_of(designs: Sequence[Design]) -> Bundle:
    """
    Lay designs out side by side.

    Parameters
    ----------
    designs : sequence of Design

    Returns
    -------
    Bundle
    """
    pans: list[Pans] = []
    tanks: list[Tanks] = []
    controllers: list[tuple[str, str, Controller, Scenario]] = []
    grounds: dict[tuple[str, str, str], Ground] = {}
    rows: list[Row] = []
    roofs: list[Roof | None] = []
    volumes: list[float] = []
    tank_names: list[tuple[str, str]] = []
    by_row: list[tuple[int, int]] = []  # controller, ground
    flows: list[tuple[float, float]] = []  # mean's and driest quarter's mm an hour
    row_draw: list[int] = []
    for design in designs:
        scenario = design.scenario
        pan_of = {name: _pan_forcing(scenario, name, part) for name, part in scenario.controller.items()}
        pans.append(pan_arrays(_without_presses(scenario), pan_of, _DAY, []))
        tanks.append(tank_arrays(scenario, pan_of, np.zeros(1)))
        for name, supply in tanks_in_use(scenario).items():
            roofs.append(supply.roof)
            volumes.append(supply.volume * supply.full_at_start)
            tank_names.append((design.name, name))
        for name, part in scenario.controller.items():
            controllers.append((design.name, name, part, scenario))
            on_tank = scenario.supply[part.supply].kind == "tank"
            for key, bed in part.bed.items():
                ground = ground_key(name, key, bed)
                grounds.setdefault(ground, Ground(name, key, bed))
                rows.append(Row(design.name, name, key, bed.area))
                by_row.append((len(controllers) - 1, list(grounds).index(ground)))
                flow = pan_of[name].at_reference[key] if on_tank else pan_of[name].bed_flows[key]
                mean = flow / bed.area
                flows.append((mean, mean * bed.uniformity))
                row_draw.append(1 + max(row_draw, default=-1) if on_tank else -1)
    n_rows, n_grounds = len(rows), len(grounds)
    row_controller = np.array([pair[0] for pair in by_row], np.int64)
    row_ground = np.array([pair[1] for pair in by_row], np.int64)
    own = np.arange(n_grounds, dtype=np.int64)
    return Bundle(
        rows=tuple(rows),
        grounds=tuple(grounds.values()),
        controllers=tuple(controllers),
        pans=_pans_together(pans, tanks),
        tanks=_tanks_together(pans, tanks),
        roofs=tuple(roofs),
        volume=np.array(volumes, float),
        tank_names=tuple(tank_names),
        row_controller=row_controller,
        row_ground=row_ground,
        row_mean=2 * np.arange(n_rows, dtype=np.int64),
        row_driest=2 * np.arange(n_rows, dtype=np.int64) + 1,
        row_exact=2 * n_rows + row_ground,
        lane_bed=np.concatenate([np.repeat(row_ground, 2), own]),
        lane_controller=np.concatenate([np.repeat(row_controller, 2), np.zeros(n_grounds, np.int64)]),
        lane_source=np.concatenate(
            [np.full(2 * n_rows, engine.VALVE, np.int64), np.full(n_grounds, engine.EXACT_REFILL, np.int64)]
        ),
        lane_draw=np.concatenate([np.repeat(np.array(row_draw, np.int64), 2), np.full(n_grounds, -1, np.int64)]),
        lane_mm_per_hour=np.concatenate([np.array(flows).ravel(), np.zeros(n_grounds)]),
        initial=np.array([ground.bed.initial_depletion for ground in grounds.values()]),
    )


def _pan_forcing(scenario: Scenario, name: str, controller: Controller) -> PanForcing:
    """A pan's flows; its evaporation comes with the weather."""
    none = np.zeros(1)
    return PanForcing(
        evaporation={controller.pan.evaporation: none},
        wind_bounded=np.zeros(1, np.int64),
        humidity_bounded=np.zeros(1, np.int64),
        fetch_bounded=False,
        kp=none,
        **pan_flows(scenario, name, controller, [])._asdict(),
    )


def _without_presses(scenario: Scenario) -> Scenario:
    parts = {
        name: part.model_copy(update={"valve": part.valve.model_copy(update={"press_times": []})})
        for name, part in scenario.controller.items()
    }
    return scenario.model_copy(update={"controller": parts})


def _pans_together(pans: Sequence[Pans], tanks: Sequence[Tanks]) -> Pans:
    """Designs one after the other; tanks, blocks and members counted on."""
    joined: dict[str, Any] = {
        name: np.concatenate([getattr(part, name) for part in pans])
        for name in Pans._fields
        if name not in ("tank", "block", "member", "presses")
    }
    tank, block, member, before, tanks_before = [], [np.zeros(1, np.int64)], [], 0, 0
    for part, own in zip(pans, tanks, strict=True):
        tank.append(np.where(part.tank >= 0, part.tank + tanks_before, -1))
        block.append(part.block[1:] + before)
        member.append(part.member + before)
        before += len(part.area)
        tanks_before += len(own.capacity)
    return Pans(
        **joined,
        tank=np.concatenate(tank).astype(np.int64),
        block=np.concatenate(block).astype(np.int64),
        member=np.concatenate(member).astype(np.int64),
        presses=np.zeros((before, 0)),
    )


def _tanks_together(pans: Sequence[Pans], tanks: Sequence[Tanks]) -> Tanks:
    if not sum(len(part.capacity) for part in tanks):
        return no_tanks(1)
    longest = max(part.volumes.shape[1] for part in tanks if len(part.capacity))
    joined: dict[str, Any] = {}
    for name in Tanks._fields:
        parts = [getattr(part, name) for part in tanks if len(part.capacity)]
        if name in ("volumes", "levels"):
            parts = [lengthened(part, longest) for part in parts]
        joined[name] = np.concatenate(parts)
    counts = [
        np.diff(part.draw_from) if len(part.capacity) else np.zeros(len(pan.area), np.int64)
        for pan, part in zip(pans, tanks, strict=True)
    ]
    joined["draw_from"] = np.concatenate([[0], np.cumsum(np.concatenate(counts))]).astype(np.int64)
    return Tanks(**joined)
