"""
Result: a season that was replayed: daily tables, the list of openings, totals, findings, and where it ended.

Units in the names of everything: kg (= litres), mm, hours, litres. A table's units are in its ``attrs["units"]`` too.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, ClassVar

import pandas as pd

from panbudget.engine.arrays import State
from panbudget.extras import Reported
from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.season.layout import Forcing
from panbudget.season.salt import SaltLeft
from panbudget.season.totals import COLUMNS, PREFIXES
from panbudget.weather import Weather
from panbudget.weather.checks.spells import Spell, Still, spells, still
from panbudget.weather.flags import filled_in
from panbudget.words import amount, count, joined, litres, units_shown

_OF_DAY = ["eto_mm", "rain_mm"]
_OF_CONTROLLER = ["pan_mm", "openings", "open_hours", "pan_level_kg"]
_OF_SUMMARY = ("area_m2", "litres", "irrigation_mm", "net_demand_mm", "supply_over_demand", "rain_mm", "rain_kept_mm")
_OF_BOTH = ("etc_mm", "eta_mm", "deep_percolation_mm", "stress_days", "longest_stress_days", "adequacy")
_UNITS = {"_mm": "mm", "_kg": "kg", "_m2": "m²", "_c": "°C", "_h": "h", "_l": "L", "hours": "h", "minutes": "min"}
_UNITS |= {"litres": "L", "days": "d"}
_MOST_LINES = 10
#: of a bed's day, by which it is short of water: depletion once the day's rain and water have come, and RAW less that
MORNING = ("morning_depletion_mm", "water_left_mm")


#: of findings: it breaks the garden; look at it; so that nothing is silent
SEVERITIES = ("danger", "caution", "note")


@dataclass(frozen=True)
class Finding:
    """
    One thing worth knowing.

    Parameters
    ----------
    severity : str
        One of `SEVERITIES`.
    code : str
        Short and stable, for scripts.
    where : str
        Controller, "controller/bed", "weather" or "season".
    message : str
        What was found.
    first : str or None
        First day it concerns, ISO.
    days : int
        How many days it concerns.
    cure : str
        What to do about it; empty where nothing is to be done.
    """

    severity: str
    code: str
    where: str
    message: str
    first: str | None = None
    days: int = 0
    cure: str = ""

    @property
    def text(self) -> str:
        """What was found, and what to do."""
        return joined(" ", filter(None, (self.message, self.cure)))


def with_units(table: pd.DataFrame, names: Iterable[str] | None = None) -> pd.DataFrame:
    """Put the units that the names of a table's columns end with into its ``attrs``; "" for a number without."""
    columns = [str(name) for name in (table.columns if names is None else names)]
    units = {name: next((unit for end, unit in _UNITS.items() if name.endswith(end)), "") for name in columns}
    table.attrs["units"] = units
    return table


def short_of_water(bed: pd.DataFrame, ks: str = "driest_ks") -> pd.Series[bool]:
    """Tell on which days a bed grows and is short of water, by a bed's daily table and its column of Ks."""
    return bed["growing"].astype(bool) & (bed[ks] < 1.0)


@dataclass(frozen=True, eq=False, repr=False)
class Season(Reported):
    """
    One replay.

    Two seasons are equal if they were made from the same files and came to the same totals.

    Parameters
    ----------
    scenario : Scenario
    weather : Weather
        The whole record; `days` holds the season's part.
    days : DataFrame
        One row a day, index "date": ``eto_mm``, ``rain_mm``, ``tmin_c``, ``tmax_c``.
    controllers : dict of DataFrame
        Controller -> one row a day: ``openings``, ``open_hours``, ``litres``, ``refilled_kg``, ``evaporated_kg``,
        ``rain_caught_kg``, ``leaked_kg``, ``spilled_kg``, ``pan_level_kg`` (above the trip weight),
        ``stuck_hours``, ``dry_hours``, ``starved_hours`` (open without water), ``pan_mm``.
    tanks : dict of DataFrame
        Supply that is a tank -> one row a day: ``volume_l`` (at its end), ``roof_l``, ``topped_l``, ``drawn_l``,
        ``over_l``.
    beds : dict of DataFrame
        "CONTROLLER/BED" -> one row a day: ``litres``, ``irrigation_mm``, ``rain_mm``, ``runoff_mm``,
        ``depletion_mm``, ``ks``, ``etc_mm``, ``eta_mm``, ``deep_percolation_mm``, ``kc``, ``taw_mm``, ``raw_mm``,
        ``growing``, ``left_below_mm``; the lane's own again with the prefix ``driest_`` for the driest quarter,
        ``morning_depletion_mm`` and ``water_left_mm`` (`MORNING`; negative on a day short of water) of both;
        ``exact_`` for the yardstick of exact refill, ``timer_`` for a present timer; ``net_demand_mm``; and for
        the dual coefficient, else not numbers, ``kcb``, ``ke``, ``kr``, ``few``, ``surface_depletion_mm``,
        ``evaporation_mm``, ``transpiration_mm``.
    openings : DataFrame
        ``controller``, ``start``, ``end`` (Timestamps as `times_are` says, NaT if still open), ``minutes``,
        ``refilled_kg``, ``litres``, ``cause``, ``start_h``, ``end_h`` (solar hours since the first day's solar
        midnight).
    hourly_level : dict of ndarray (days·24,)
        The pan's level at the end of each hour. [kg above the trip weight]
    findings : tuple of Finding
    totals : dict
        What `season.json` says, findings and provenance left out.
    assumptions : tuple of str
    state : State
        Where the season ended; `replay` takes it to go on from there.
    salt_left : dict of SaltLeft
        Salt in the pans there, by controller; goes with ``state``.
    began : State
        Where the season began.
    salt_before : dict of SaltLeft
        Salt in the pans there; empty where they were filled afresh.
    forcing : Forcing
    """

    room: ClassVar[str] = "season"

    scenario: Scenario
    weather: Weather
    days: pd.DataFrame
    controllers: dict[str, pd.DataFrame]
    tanks: dict[str, pd.DataFrame]
    beds: dict[str, pd.DataFrame]
    openings: pd.DataFrame
    hourly_level: dict[str, Floats]
    findings: tuple[Finding, ...]
    totals: dict[str, Any]
    assumptions: tuple[str, ...]
    state: State
    salt_left: dict[str, SaltLeft]
    began: State
    salt_before: dict[str, SaltLeft]
    forcing: Forcing

    @property
    def times_are(self) -> str:
        """Whether times of day are the site's clock ("clock") or the sun's ("solar")."""
        site = self.scenario.site
        return "clock" if site.longitude is not None and site.timezone is not None else "solar"

    @functools.cached_property
    def stands_out(self) -> list[Spell]:
        """Of each quantity of its weather that was measured, the spell that is most unlike the rest."""
        days, site = self.days.index, self.scenario.site
        daily, flags = self.weather.daily.loc[days], self.weather.flags.loc[days]
        known = {str(name): ~filled_in(flags[name]) for name in daily}
        return spells(daily, known, latitude=site.latitude, elevation=site.elevation)

    def of_record(self) -> dict[str, Any]:
        """Return what JSON files say of what stands out in its weather."""
        return {"stands_out": self.stands_out, "still": self.still}

    @functools.cached_property
    def still(self) -> list[Still]:
        """Hours of the day in which its gauges of wind and rain often or always stand still; only of a file of records."""
        by_hour = self.weather.by_hour
        return still(by_hour, *self.days.index[[0, -1]]) if by_hour else []

    @functools.cached_property
    def daily(self) -> pd.DataFrame:
        """
        The season in one table.

        Index ``date``, ``controller``, ``bed``; columns ``lane`` and ``quantity``. Lanes: "mean" (the bed's), its
        "driest_quarter", the yardstick "exact_refill" and a present "timer"; "all" is what they share: the day's
        weather, the controller's pan, the bed's Kc, TAW, RAW and the terms of the dual coefficient.
        """
        parts = {}
        for key, table in self.beds.items():
            controller, bed = key.split("/")
            lanes: dict[tuple[str, str], Any] = {
                (lane, column): table[prefix + column]
                for lane, prefix in PREFIXES.items()
                for column in (*COLUMNS["lane_days"], *MORNING)
                if prefix + column in table
            }
            taken = {PREFIXES[lane] + column for lane, column in lanes} | set(_OF_DAY)
            shared = pd.concat([self.days[_OF_DAY], self.controllers[controller][_OF_CONTROLLER]], axis=1)
            shared = shared.join(table[[column for column in table if column not in taken]])
            whole = {("all", str(column)): shared[column] for column in shared}
            parts[controller, bed] = pd.DataFrame(whole | lanes)
        table = pd.concat(parts, names=["controller", "bed", "date"]).reorder_levels(["date", "controller", "bed"])
        table.columns = table.columns.set_names(["lane", "quantity"])
        return with_units(table.sort_index(level="date", sort_remaining=False), table.columns.unique("quantity"))

    def summary(self) -> pd.DataFrame:
        """
        Return a row a bed: what it got, needed and lacked; ``driest_`` for its driest quarter.

        Returns
        -------
        DataFrame
            Index ``controller``, ``bed``.
        """
        rows = {
            tuple(key.split("/")): {name: bed[name] for name in _OF_SUMMARY + _OF_BOTH}
            | {f"driest_{name}": bed["driest_quarter"][name] for name in _OF_BOTH}
            for key, bed in self.totals["beds"].items()
        }
        table = pd.DataFrame.from_dict(rows, orient="index")
        table.index = pd.MultiIndex.from_tuples(list(rows), names=["controller", "bed"])
        return with_units(table)

    def __repr__(self) -> str:
        with units_shown(self.scenario.units):
            return self._told()

    def _told(self) -> str:
        span = self.totals["season"]
        lines = [f'Season of "{self.totals["title"]}", {span["start"]} to {span["end"]}, {count(span["days"], "day")}']
        for name, pan in self.totals["controllers"].items():
            lines.append(f"{name}: {count(pan['openings'], 'opening')}, {litres(pan['litres'])} through the valve")
            lines += [
                f"  {key.split('/')[1]}: {amount(bed['irrigation_mm'], 'depth', '0')} given, "
                f"{amount(bed['net_demand_mm'], 'depth', '0')} needed, "
                f"driest quarter {count(bed['driest_quarter']['stress_days'], 'day')} short of water"
                for key, bed in self.totals["beds"].items()
                if key.split("/")[0] == name
            ]
        if len(lines) >= _MOST_LINES:
            lines = [*lines[: _MOST_LINES - 2], "  …: `summary()` has every bed"]
        by_severity = {level: sum(finding.severity == level for finding in self.findings) for level in SEVERITIES}
        lines.append("findings: " + ", ".join(f"{often} {level}" for level, often in by_severity.items()))
        return "\n".join(lines)

    @property
    def _made_from(self) -> tuple[object, ...]:
        return self.scenario.sha256, self.weather.provenance.get("sha256"), *self.totals["season"].values()

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Season):
            return NotImplemented
        return self._made_from == other._made_from and self.totals == other.totals

    def __hash__(self) -> int:
        return hash(self._made_from)
