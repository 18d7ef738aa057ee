"""
Going wrong: the usual faults, one by one, in one season; ranked by harm, with how each shows outside and its cure.

Units: days, litres, mm of water above the pan's floor, hours. Harm is what a fault adds to the sound season: first
stress days, all beds' driest quarters added up; between equals, wasted litres: what drained below the roots, what
spilled and what left the pan by leak, mouth or wind.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import Problem, ScenarioError
from panbudget.scenario.faults import Clogged, Fault
from panbudget.scenario.garden import Scenario
from panbudget.season.faults import fault_said, fault_where
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

__all__ = ["CURES", "LOOKS", "Signs", "Trial", "Trials", "try_faults", "usual_faults"]

WEEK = 7
_LATER = 28  # days after which a fault that grows by the month is looked at
_NOON = 12
_LEAST_DAYS = 2

#: kind -> where to look
LOOKS: dict[str, str] = {
    "clogged-refill": "Catch the refill emitter's drip in a jug while the valve is open; the beds are wetter than usual.",
    "clogged-emitters": "Walk along the open line: emitters that don't drip, dry patches between wet ones.",
    "leak": "A wet patch under the pan; mark the level in the evening: it falls by night too.",
    "animals": "Tracks and droppings; the level falls in steps that no sun makes.",
    "mesh": "A ruler in the pan falls less in a dry day than the setup page says.",
    "shade": "Where the shadow lies at noon and in the afternoon; a ruler falls less in a dry day than the setup page says.",
    "algae": "A skin, a mat or leaves on the water.",
    "knocked": "Mark trip and reset on the pan's wall when it is right; weigh the swing again as the setup page says.",
    "supply-cut": "The valve stands open and nothing runs; the pan goes on falling.",
    "splash": "Wet ground downwind of the pan after a windy day, and one opening more.",
    "rain-differs": "After rain, compare the pan's rise, by ruler, with the gauge.",
}

#: kind -> the cure
CURES: dict[str, str] = {
    "clogged-refill": "Clean or change the emitter; a filter before the valve; check it with the jug each month.",
    "clogged-emitters": "Flush the line, clean or change the emitters, fit a filter; then look again after a week.",
    "leak": "Mend or line the pan; until then the beds get more than they should.",
    "animals": "Mesh or a guard over the pan (its exposure falls with it), and water elsewhere for them.",
    "mesh": "Give the mesh's effect as exposure in the scenario, then turn the refill down or take a wider pan (panbudget size).",
    "shade": "Move the pan into the beds' own light, or cut back what shades it.",
    "algae": "Skim it, rinse the pan and change its water; sweep before the season's leaf fall.",
    "knocked": "Set the counterweight again by the two weighings of the setup page, and fix it.",
    "supply-cut": "Press the valve shut or water by hand until it is back; a tank with a float valve bridges days.",
    "splash": "More freeboard, a windbreak that does not shade, or a few floating pieces of cork in the pan.",
    "rain-differs": "Move the pan out from under leaves and eaves, or the gauge beside it.",
}


@dataclass(frozen=True)
class Signs:
    """
    What could be seen outside in one week, with the fault, and without it.

    Parameters
    ----------
    start, end : date
    openings, open_hours, litres : (float, float, float)
        With the fault; the same week without; the week before the fault. Litres are all beds' of the valve.
    noon_level_mm : (float, float, float)
        Mean level at noon above the pan's floor.
    drop_mm : (float, float, float)
        What the pan loses in a day while the valve is shut, rain apart.
    """

    start: dt.date
    end: dt.date
    openings: tuple[float, float, float]
    open_hours: tuple[float, float, float]
    litres: tuple[float, float, float]
    noon_level_mm: tuple[float, float, float]
    drop_mm: tuple[float, float, float]


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
    stress_days, stress_days_sound : int
        Season's, all beds' driest quarters added.
    wasted_litres, wasted_litres_sound : float
    litres, litres_sound : float
        Of all valves.
    stuck_hours, dry_hours, starved_hours : float
        Of all valves, with the fault.
    signs : dict of Signs
        By controller that it concerns.
    """

    fault: Fault
    where: str
    what: str
    described: bool
    stress_days: int
    stress_days_sound: int
    wasted_litres: float
    wasted_litres_sound: float
    litres: float
    litres_sound: float
    stuck_hours: float
    dry_hours: float
    starved_hours: float
    signs: dict[str, Signs]

    @property
    def more_stress_days(self) -> int:
        """What the fault adds."""
        return self.stress_days - self.stress_days_sound

    @property
    def more_wasted_litres(self) -> float:
        """What the fault adds. [L]"""
        return self.wasted_litres - self.wasted_litres_sound

    @property
    def harm(self) -> tuple[int, float]:
        """What it is ranked by; a fault that happens to spare stress does no negative harm."""
        return max(self.more_stress_days, 0), self.more_wasted_litres

    @property
    def name(self) -> str:
        """Where and what."""
        return f"{self.where}: {self.what}"


@dataclass(frozen=True)
class Trials:
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

    scenario: Scenario
    season: Season
    start: dt.date
    trials: tuple[Trial, ...]

    def table(self) -> pd.DataFrame:
        """Return a row for each fault and controller that it concerns, as `faults.csv` holds them."""
        rows = []
        for rank, trial in enumerate(self.trials, 1):
            for name, signs in trial.signs.items():
                row: dict[str, Any] = {
                    "rank": rank,
                    "kind": trial.fault.kind,
                    "where": trial.where,
                    "what": trial.what,
                    "start": _iso(trial.fault.start),
                    "end": _iso(trial.fault.end),
                    "stress_days": trial.stress_days,
                    "more_stress_days": trial.more_stress_days,
                    "wasted_litres": trial.wasted_litres,
                    "more_wasted_litres": trial.more_wasted_litres,
                    "litres": trial.litres,
                    "stuck_hours": trial.stuck_hours,
                    "dry_hours": trial.dry_hours,
                    "starved_hours": trial.starved_hours,
                    "controller": name,
                    "week_start": signs.start.isoformat(),
                    "week_end": signs.end.isoformat(),
                }
                for field in ("openings", "open_hours", "litres", "noon_level_mm", "drop_mm"):
                    for value, suffix in zip(getattr(signs, field), ("", "_sound", "_week_before"), strict=True):
                        row[f"week_{field}{suffix}"] = value
                rows.append({**row, "look": LOOKS[trial.fault.kind], "cure": CURES[trial.fault.kind]})
        return pd.DataFrame(rows)


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


def try_faults(
    scenario: Scenario,
    *,
    start: dt.date | None = None,
    weather: Weather | None = None,
    step: Callable[[str], None] = lambda text: None,
) -> Trials:
    """
    Try the usual faults, and the scenario's own, each alone, in the scenario's season.

    Parameters
    ----------
    scenario : Scenario
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
    weather = weather or read_scenario_weather(scenario)
    sound = scenario.changed({"fault": []})
    days = (scenario.season.end - scenario.season.start).days + 1
    if days < _LEAST_DAYS:
        raise ScenarioError(
            Problem.of_text("a season of one day is too short to try faults in", "season"), file=str(scenario.path)
        )
    start = start or scenario.season.start + dt.timedelta(days=days // 3)
    if not scenario.season.start <= start <= scenario.season.end:
        message = f"--from {start} lies outside the season, {scenario.season.start} to {scenario.season.end}"
        raise ScenarioError(Problem.of_text(message, "from", start), file=str(scenario.path))
    step("replaying the sound season")
    season = replay(sound, weather=weather)
    trials = []
    own = scenario._raw.get("fault", []) if scenario.fault else []
    for described, table in [(True, one) for one in own] + [(False, u) for u in usual_faults(sound, season, start)]:
        broken = sound.changed({"fault": [table]})
        fault = broken.fault[0]
        step(fault_said(fault))
        trials.append(_trial(broken, fault, season, replay(broken, weather=weather), described))
    # between equals the list's order stays, so that two runs give one page
    trials.sort(key=lambda trial: (-trial.harm[0], -round(trial.harm[1], 6)))
    return Trials(sound, season, start, tuple(trials))


def _trial(scenario: Scenario, fault: Fault, sound: Season, broken: Season, described: bool) -> Trial:
    def hours(key: str) -> float:
        return float(sum(totals[key] for totals in broken.totals["controllers"].values()))

    return Trial(
        fault=fault,
        where=fault_where(fault, scenario),
        what=fault_said(fault),
        described=described,
        stress_days=_stress(broken),
        stress_days_sound=_stress(sound),
        wasted_litres=_wasted(broken),
        wasted_litres_sound=_wasted(sound),
        litres=_litres(broken),
        litres_sound=_litres(sound),
        stuck_hours=hours("stuck_open_hours"),
        dry_hours=hours("dry_pan_hours"),
        starved_hours=hours("starved_hours"),
        signs={name: _signs(fault, name, sound, broken) for name in _concerned(fault, scenario)},
    )


def _concerned(fault: Fault, scenario: Scenario) -> Iterator[str]:
    where = fault_where(fault, scenario)
    for name, controller in scenario.controller.items():
        if where.split("/")[0] == name if fault.kind != "supply-cut" else controller.supply == where:
            yield name


def _stress(season: Season) -> int:
    return sum(int(bed["driest_quarter"]["stress_days"]) for bed in season.totals["beds"].values())


def _wasted(season: Season) -> float:
    drained = sum(bed["deep_percolation_mm"] * bed["area_m2"] for bed in season.totals["beds"].values())
    lost = sum(c["leaked_kg"] + c["spilled_kg"] for c in season.totals["controllers"].values())
    return float(drained + lost)


def _litres(season: Season) -> float:
    return float(sum(c["litres"] for c in season.totals["controllers"].values()))


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

    def each(value: Callable[[Season, slice], float]) -> tuple[float, float, float]:
        with_it, without, earlier = (float(value(season, days)) for season, days in trio)
        return with_it, without, earlier

    def noon(season: Season, days: slice) -> float:
        level = season.hourly_level[name].reshape(-1, 24)[days, _NOON - 1]
        pans = season.forcing.pans
        return float(np.mean((level - pans.dry[row, days]) / pans.area[row]))

    def drop(season: Season, days: slice) -> float:
        table = season.controllers[name].iloc[days]
        area = season.forcing.pans.area[row]
        return float((table["pan_mm"] + 24.0 * season.forcing.pans.leak[row, days] / area).mean())

    def added(column: str) -> Callable[[Season, slice], float]:
        return lambda season, days: float(season.controllers[name][column].iloc[days].sum())

    return Signs(
        start=index[week][0].date(),
        end=index[week][-1].date(),
        openings=each(added("openings")),
        open_hours=each(added("open_hours")),
        litres=each(
            lambda s, d: float((s.controllers[name]["litres"] - s.controllers[name]["refilled_kg"]).iloc[d].sum())
        ),
        noon_level_mm=each(noon),
        drop_mm=each(drop),
    )
