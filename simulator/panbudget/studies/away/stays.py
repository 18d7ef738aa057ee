"""
Stays: what the days away came to, in one year as described, or over draws of what is uncertain.

A bed is safe while its driest quarter keeps within its readily available water (RAW); a pan, while it stays wet and
evaporation never holds the valve open.
"""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from panbudget.engine.arrays import State
from panbudget.engine.season import run_season
from panbudget.numeric import Floats
from panbudget.scenario.garden import Heat
from panbudget.season.heat import said as heat_said
from panbudget.season.result import Season, short_of_water
from panbudget.studies import common, ranges
from panbudget.studies.away.changes import FULL_SOIL, FULL_TANK

HEAT_MADE = " with a made-up heat wave"
_HOURS = ("dry_hours", "stuck_hours", "starved_hours")


@dataclass(frozen=True)
class BedAway:
    """
    One bed's driest quarter while nobody is there.

    Parameters
    ----------
    stress_days : int
        Days short of water.
    first_short : date or None
    short_before : bool
        Short already on the day of leaving.
    least_room_mm : float
        Readily available water left in the worst morning; below zero when short, not a number where nothing grows. [mm]
    irrigation_mm : float
        The bed's mean. [mm]
    """

    stress_days: int
    first_short: dt.date | None
    short_before: bool
    least_room_mm: float
    irrigation_mm: float


@dataclass(frozen=True)
class PanAway:
    """One pan and valve while nobody is there: openings, litres, lowest level above the floor, and what went wrong."""

    # starved: the valve is open and its tank empty

    openings: int
    litres: float
    lowest_level_mm: float
    dry_hours: float
    stuck_hours: float
    starved_hours: float = 0.0

    @property
    def wrong_hours(self) -> float:
        """Dry, or with the valve stuck open. [h]"""
        return self.dry_hours + self.stuck_hours


@dataclass(frozen=True)
class Stay:
    """
    The days away in one year.

    Parameters
    ----------
    start, end : date
    made_heat : str
        What was laid over the record, empty if nothing.
    beds : dict of BedAway
    pans : dict of PanAway
    season : Season
        Of the days away alone.
    """

    start: dt.date
    end: dt.date
    made_heat: str
    beds: dict[str, BedAway]
    pans: dict[str, PanAway]
    season: Season

    @property
    def name(self) -> str:
        """The year, and whether heat was made."""
        return f"{self.start.year}" + HEAT_MADE * bool(self.made_heat)

    @property
    def stress_days(self) -> int:
        """Added over the beds' driest quarters."""
        return sum(bed.stress_days for bed in self.beds.values())

    @property
    def safe(self) -> bool:
        """Whether every bed stayed above its limit, every pan wet, and no valve was held open."""
        return not self.stress_days and not any(pan.wrong_hours for pan in self.pans.values())

    @property
    def grown(self) -> dict[str, BedAway]:
        """The beds in which something grows on any of these days."""
        return {key: bed for key, bed in self.beds.items() if not np.isnan(bed.least_room_mm)}

    @property
    def badness(self) -> tuple[float, float, float]:
        """What years are ranked by: stress days, then hours dry or stuck, then the least room left."""
        hours = sum(pan.wrong_hours for pan in self.pans.values())
        return float(self.stress_days), hours, -min((bed.least_room_mm for bed in self.grown.values()), default=np.inf)

    @property
    def failing(self) -> list[str]:
        """Controllers with something unsafe at them, in order."""
        short = {key.split("/")[0] for key, bed in self.beds.items() if bed.stress_days}
        return [name for name, pan in self.pans.items() if pan.wrong_hours or name in short]


def stay_of(season: Season, short_before: dict[str, bool], heat: Heat | None) -> Stay:
    """Read a stay out of the season of the days away."""
    beds, pans = {}, {}
    for key, table in season.beds.items():
        short, room = short_of_water(table), table["driest_water_left_mm"][table["growing"]]
        beds[key] = BedAway(
            stress_days=int(short.sum()),
            first_short=table.index[short][0].date() if short.any() else None,
            short_before=short_before.get(key, False),
            least_room_mm=float(room.min()),
            irrigation_mm=float(table["irrigation_mm"].sum()),
        )
    for name, table in season.controllers.items():
        openings, litres, *hours = (float(table[key].sum()) for key in ("openings", "litres", *_HOURS))
        pans[name] = PanAway(int(openings), litres, common.lowest_level(season, name), *hours)
    first, last = season.days.index[0].date(), season.days.index[-1].date()
    return Stay(first, last, heat_said(heat) if heat is not None else "", beds, pans, season)


@dataclass(frozen=True)
class Fared:
    """
    What the days away came to, a row a draw.

    Parameters
    ----------
    stress_days : ndarray (draws, beds)
        Short of water, driest quarters.
    wrong_hours, starved_hours : ndarray (draws, controllers)
        Pan dry or valve held open by evaporation; open without water. [h]
    """

    stress_days: Floats
    wrong_hours: Floats
    starved_hours: Floats

    @property
    def safe(self) -> npt.NDArray[np.bool_]:
        """As `Stay.safe`. (draws,)"""
        return np.asarray(~((self.stress_days > 0).any(axis=1) | (self.wrong_hours > 0.0).any(axis=1)))


def fared(
    stretches: Sequence[ranges.Days],
    leaving: int,
    draws: ranges.Draws,
    by_hand: str = "",
    run: Callable[..., int] = run_season,
) -> Fared:
    """Run the days before leaving and those away, of which the first is named, over draws."""
    driest = stretches[0].forcing.bundle.lane("driest_quarter").tolist()
    beds = [each.forcing.beds for each in stretches[leaving:]]

    def by_hand_on_leaving(index: int, state: State) -> None:
        if index == leaving and by_hand == FULL_SOIL:
            state.depletion[:] = state.surface_depletion[:] = 0.0
        elif index == leaving and by_hand == FULL_TANK:
            state.volume[:] = stretches[index].forcing.tanks.capacity

    rows = []
    for results in ranges.sampled_chains(stretches, draws, lanes=driest, run=run, between=by_hand_on_leaving):
        away = results[leaving:]
        short = sum(common.days_short(out.ks, part, driest) for out, part in zip(away, beds, strict=True))
        wrong = sum((out.dry_hours + out.stuck_hours).sum(axis=1) for out in away)
        rows.append((short, wrong, sum(out.starved_hours.sum(axis=1) for out in away)))
    return Fared(*map(np.array, zip(*rows, strict=True)))
