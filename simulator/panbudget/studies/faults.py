"""
Faults: the usual ones, one by one, in one season; ranked by harm, with how each shows outside and its cure.

Units: days, litres, mm of water above the pan's floor, hours. Harm is what a fault adds to the sound season: first
stress days, all beds' driest quarters added up; between equals, wasted litres: what drained below the roots, what
spilled and what left the pan by leak, mouth or wind.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import Problem, ScenarioError
from panbudget.extras import Reported, Step, silent
from panbudget.scenario.faults import Clogged, Fault
from panbudget.scenario.garden import Scenario, load_scenario
from panbudget.season.faults import fault_said, fault_where
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.tables import read_table
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

WEEK = 7
_LATER = 28  # days after which a fault that grows by the month is looked at
_NOON = 12
_LEAST_DAYS = 2

#: kind -> where to look
LOOKS: dict[str, str] = {row["kind"]: row["look"] for row in read_table("faults")}
#: kind -> the cure
CURES: dict[str, str] = {row["kind"]: row["cure"] for row in read_table("faults")}


class Thrice(NamedTuple):
    """A figure with the fault, in the same week without it, and in the week before the fault."""

    with_fault: float
    without: float
    week_before: float


@dataclass(frozen=True)
class Signs:
    """
    What could be seen outside in one week, with the fault, and without it.

    Parameters
    ----------
    start, end : date
    openings, open_hours, litres : Thrice
        Litres are all beds' of the valve.
    noon_level_mm : Thrice
        Mean level at noon above the pan's floor.
    drop_mm : Thrice
        What the pan loses in a day while the valve is shut, rain apart.
    """

    start: dt.date
    end: dt.date
    openings: Thrice
    open_hours: Thrice
    litres: Thrice
    noon_level_mm: Thrice
    drop_mm: Thrice

    @property
    def figures(self) -> dict[str, Thrice]:
        """Each figure by its name."""
        return {name: value for name, value in vars(self).items() if isinstance(value, Thrice)}


class Harm(NamedTuple):
    """
    What a season does to a garden.

    Parameters
    ----------
    stress_days : int
        All beds' driest quarters added.
    wasted_litres : float
        Drained below the roots, spilled from the pan, or leaked from it.
    litres : float
        Of all valves.
    stuck_hours, dry_hours, starved_hours : float
        Of all valves.
    """

    stress_days: int
    wasted_litres: float
    litres: float
    stuck_hours: float
    dry_hours: float
    starved_hours: float


@dataclass(frozen=True)
class Trial:
    """
    One fault tried.

    Parameters
    ----------
    fault : Fault
    where : str
        Controller, bed or supply.
    what : str
        In words, with its size.
    described : bool
        One of the scenario's own, not one of the usual list.
    broken, sound : Harm
        With the fault, and without.
    signs : dict of Signs
        By valve that it concerns.
    """

    fault: Fault
    where: str
    what: str
    described: bool
    broken: Harm
    sound: Harm
    signs: dict[str, Signs]

    @property
    def more_stress_days(self) -> int:
        """What the fault adds."""
        return self.broken.stress_days - self.sound.stress_days

    @property
    def more_wasted_litres(self) -> float:
        """What the fault adds. [L]"""
        return self.broken.wasted_litres - self.sound.wasted_litres

    @property
    def harm(self) -> tuple[int, float]:
        """What it is ranked by; a fault that happens to spare stress does no negative harm."""
        return max(self.more_stress_days, 0), self.more_wasted_litres

    @property
    def name(self) -> str:
        """Where and what."""
        return f"{self.where}: {self.what}"

    @property
    def figures(self) -> dict[str, Any]:
        """What it comes to, as the table and `faults.json` have it."""
        more = {"more_stress_days": self.more_stress_days, "more_wasted_litres": self.more_wasted_litres}
        return {**more, **self.broken._asdict()}


@dataclass(frozen=True)
class Trials(Reported):
    """
    All faults tried in one season.

    Parameters
    ----------
    scenario : Scenario
        Sound.
    season : Season
        Sound.
    start : date
        From when the usual faults are there.
    trials : tuple of Trial
        The most harmful first.
    """

    room: ClassVar[str] = "faults"

    scenario: Scenario
    season: Season
    start: dt.date
    trials: tuple[Trial, ...]

    def table(self) -> pd.DataFrame:
        """Return a row for each fault and controller that it concerns, as `faults.csv` holds them."""
        rows = []
        for rank, trial in enumerate(self.trials, 1):
            kind, start, end = trial.fault.kind, trial.fault.start, trial.fault.end
            about = {"rank": rank, "kind": kind, "where": trial.where, "what": trial.what}
            figures = {name: trial.figures[name] for name in _COLUMNS}
            for name, signs in trial.signs.items():
                week = {
                    f"week_{figure}{suffix}": value
                    for figure, values in signs.figures.items()
                    for suffix, value in zip(("", "_sound", "_week_before"), values, strict=True)
                }
                days = {"week_start": _iso(signs.start), "week_end": _iso(signs.end)}
                row = {**about, "start": _iso(start), "end": _iso(end), **figures, "controller": name, **days, **week}
                rows.append({**row, "look": LOOKS[kind], "cure": CURES[kind]})
        return pd.DataFrame(rows)


_COLUMNS = (
    *("stress_days", "more_stress_days", "wasted_litres", "more_wasted_litres", "litres"),
    *("stuck_hours", "dry_hours", "starved_hours"),
)


def _iso(day: dt.date | None) -> str:
    return "" if day is None else day.isoformat()


def usual_faults(scenario: Scenario, season: Season, start: dt.date) -> list[dict[str, Any]]:
    """
    List the usual faults, with their sizes, as `[[fault]]` tables.

    Parameters
    ----------
    scenario : Scenario
    season : Season
        Sound, for the thirstiest week.
    start : date
        From when they are there; all but the supply cut stay to the season's end.

    Returns
    -------
    list of dict

    Notes
    -----
    Sizes are common practice, no source: clogging by half at once or by a fifth a month, three bed emitters in ten, a
    third of a litre a day leaked, a litre drunk, mesh 0.9 (FAO-56, chapter 4: up to 10 % less), shade 0.6, algae over
    three tenths, the trip knocked by a quarter of the swing, the swing by half of it, the supply cut for the week in
    which the pans lose most, 1 mm a day for each m/s above 3 m/s, and half of the rain.
    """
    listed: list[dict[str, Any]] = []
    for name, controller in scenario.controller.items():
        swing = controller.valve.swing_kg
        for what in (
            {"kind": "clogged-refill", "share": 0.5},
            {"kind": "clogged-refill", "rate": 0.2},
            {"kind": "clogged-emitters", "share": 0.3},
            {"kind": "leak", "loss": "300 mL/day"},
            {"kind": "animals", "loss": "1 L/day"},
            {"kind": "mesh", "factor": 0.9},
            {"kind": "shade", "factor": 0.6},
            {"kind": "algae", "share": 0.3},
            {"kind": "knocked", "trip": f"{0.25 * swing!r} kg"},
            {"kind": "knocked", "swing": f"{0.5 * swing!r} kg"},
            {"kind": "knocked", "swing": f"{-0.5 * swing!r} kg"},
            {"kind": "splash", "above": "3 m/s", "splash": "1 mm"},
            {"kind": "rain-differs", "factor": 0.5},
        ):
            listed.append({**what, "controller": name, "start": start})
    first = _thirstiest_week(season, start)
    for supply in dict.fromkeys(controller.supply for controller in scenario.controller.values()):
        end = first + dt.timedelta(days=WEEK - 1)
        listed.append({"kind": "supply-cut", "supply": supply, "start": first, "end": end})
    return listed


def _thirstiest_week(season: Season, start: dt.date) -> dt.date:
    """First day of the seven in which the pans lose most, rain off."""
    loss = sum(table["pan_mm"] for table in season.controllers.values()) / len(season.controllers)
    net = (loss - season.days["rain_mm"]).loc[pd.Timestamp(start) :].to_numpy(float)
    if len(net) <= WEEK:
        return start
    return start + dt.timedelta(days=int(np.argmax(np.convolve(net, np.ones(WEEK), mode="valid"))))


def faults(
    scenario: Scenario | str | Path,
    *,
    start: dt.date | None = None,
    weather: Weather | None = None,
    step: Step = silent,
) -> Trials:
    """
    Try the usual faults, and the scenario's own, each alone, in the scenario's season.

    Parameters
    ----------
    scenario : Scenario or path
    start : date, optional
        From when the usual faults are there; a third into the season if left out.
    weather : Weather, optional
        Already read.
    step : callable
        Told what is being done.

    Returns
    -------
    Trials

    Raises
    ------
    ScenarioError, WeatherError
    """
    if not isinstance(scenario, Scenario):
        scenario = load_scenario(scenario)
    weather = weather or read_scenario_weather(scenario)
    sound = scenario.changed({"fault": []})
    days = (scenario.season.end - scenario.season.start).days + 1
    if days < _LEAST_DAYS:
        problem = Problem("too-short", "season", "of one day is too short to try faults in", cure="take more days")
        raise ScenarioError(problem, file=str(scenario.path))
    start = start or scenario.season.start + dt.timedelta(days=days // 3)
    if not scenario.season.start <= start <= scenario.season.end:
        season_days = f"{scenario.season.start} to {scenario.season.end}"
        problem = Problem("outside-season", "from", f"= {start} lies outside the season", season_days, value=start)
        raise ScenarioError(problem, file=str(scenario.path))
    step("replaying the sound season")
    season = replay(sound, weather=weather)
    trials = []
    in_file = scenario.described.get("fault", []) if scenario.fault else []
    usual = usual_faults(sound, season, start)
    for described, table in [*((True, table) for table in in_file), *((False, table) for table in usual)]:
        broken = sound.changed({"fault": [table]})
        fault = broken.fault[0]
        step(fault_said(fault))
        trials.append(_trial(broken, fault, season, replay(broken, weather=weather), described))
    # between equals the list's order stays, so that two runs give one page
    trials.sort(key=lambda trial: (-trial.harm[0], -round(trial.harm[1], 6)))
    return Trials(sound, season, start, tuple(trials))


def _trial(scenario: Scenario, fault: Fault, sound: Season, broken: Season, described: bool) -> Trial:
    return Trial(
        fault=fault,
        where=fault_where(fault, scenario),
        what=fault_said(fault),
        described=described,
        broken=_harm(broken),
        sound=_harm(sound),
        signs={name: _signs(fault, name, sound, broken) for name in _concerned(fault, scenario)},
    )


def _harm(season: Season) -> Harm:
    beds, valves = season.totals["beds"].values(), list(season.totals["controllers"].values())
    drained = sum(bed["deep_percolation_mm"] * bed["area_m2"] for bed in beds)
    return Harm(
        sum(int(bed["driest_quarter"]["stress_days"]) for bed in beds),
        float(drained + sum(valve["leaked_kg"] + valve["spilled_kg"] for valve in valves)),
        *(
            float(sum(v[key] for v in valves))
            for key in ("litres", "stuck_open_hours", "dry_pan_hours", "starved_hours")
        ),
    )


def _concerned(fault: Fault, scenario: Scenario) -> Iterator[str]:
    where = fault_where(fault, scenario)
    for name, controller in scenario.controller.items():
        if where.split("/")[0] == name if fault.kind != "supply-cut" else controller.supply == where:
            yield name


def _signs(fault: Fault, name: str, sound: Season, broken: Season) -> Signs:
    index = pd.DatetimeIndex(sound.days.index)
    begins = fault.start or index[0].date()
    place = int(np.clip((begins - index[0].date()).days, 0, len(index) - 1))
    later = place + (_LATER if isinstance(fault, Clogged) and fault.rate is not None else 0)
    at = max(min(later, len(index) - WEEK), 0)
    week = slice(at, min(at + WEEK, len(index)))
    before = slice(max(place - WEEK, 0), max(place, 1))
    trio = [(broken, week), (sound, week), (sound, before)]
    row = list(sound.controllers).index(name)

    def each(value: Callable[[Season, slice], float]) -> Thrice:
        return Thrice(*(float(value(season, days)) for season, days in trio))

    def noon(season: Season, days: slice) -> float:
        level = season.hourly_level[name].reshape(-1, 24)[days, _NOON - 1]
        pans = season.forcing.pans
        return float(np.mean((level - pans.dry[row, days]) / pans.area[row]))

    def drop(season: Season, days: slice) -> float:
        table, pans = season.controllers[name].iloc[days], season.forcing.pans
        return float((table["pan_mm"] + 24.0 * pans.leak[row, days] / pans.area[row]).mean())

    def total(season: Season, days: slice, column: str) -> float:
        return float(season.controllers[name][column].iloc[days].sum())

    def to_beds(season: Season, days: slice) -> float:
        table = season.controllers[name]
        return float((table["litres"] - table["refilled_kg"]).iloc[days].sum())

    return Signs(
        start=index[week][0].date(),
        end=index[week][-1].date(),
        openings=each(lambda season, days: total(season, days, "openings")),
        open_hours=each(lambda season, days: total(season, days, "open_hours")),
        litres=each(to_beds),
        noon_level_mm=each(noon),
        drop_mm=each(drop),
    )
