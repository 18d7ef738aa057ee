"""
Faults: the usual ones, one by one, in one season; ranked by harm, with how each shows outside and its cure.

Units: days, litres, mm of water above the pan's floor, hours. Harm is what a fault adds to the sound season: first
stress days, all beds' driest quarters added up; between equals, wasted litres: what drained below the roots, what
spilled and what left the pan by leak, mouth or wind.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple

import numpy as np
import pandas as pd

from panbudget.extras import Reported, Step, silent
from panbudget.scenario.faults import Clogged, Fault
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.scenario.quantities import Day, day_or
from panbudget.season.faults import fault_said, fault_where
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.studies.common import Garden, not_to_ask, refusal
from panbudget.tables import read_table
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather
from panbudget.words import packaged

WEEK = 7
_LATER = 28  # days after which a fault that grows by the month is looked at
_NOON = 12
_LEAST_DAYS = 2

#: kind -> where to look; kind -> the cure
LOOKS, CURES = ({row["kind"]: row[column] for row in read_table("faults")} for column in ("look", "cure"))


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
    figures : dict of Thrice
        ``openings``, ``open_hours``, ``litres`` (all beds' of the valve), ``noon_level_mm`` (mean level at noon above
        the pan's floor), ``drop_mm`` (what the pan loses in a day while the valve is shut, rain apart).
    """

    start: dt.date
    end: dt.date
    figures: dict[str, Thrice]


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


@dataclass(frozen=True, repr=False)
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
            fault = trial.fault
            about = {"rank": rank, "kind": fault.kind, "where": trial.where, "what": trial.what}
            dates = {"start": _iso(fault.start), "end": _iso(fault.end)}
            about |= dates | {name: trial.figures[name] for name in _COLUMNS}
            cure = {"look": LOOKS[fault.kind], "cure": CURES[fault.kind]}
            for name, signs in trial.signs.items():
                week: dict[str, Any] = {"week_start": _iso(signs.start), "week_end": _iso(signs.end)}
                for figure, values in signs.figures.items():
                    week |= zip((f"week_{figure}{end}" for end in _SUFFIXES), values, strict=True)
                rows.append({**about, "controller": name, **week, **cure})
        return pd.DataFrame(rows)


_COLUMNS = (
    *("stress_days", "more_stress_days", "wasted_litres", "more_wasted_litres", "litres"),
    *("stuck_hours", "dry_hours", "starved_hours"),
)
_SUFFIXES = ("", "_sound", "_week_before")


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

    Notes
    -----
    Sizes are common practice, no source: clogging by half at once or by a fifth a month, three bed emitters in ten, a
    third of a litre a day leaked, a litre drunk, mesh 0.9 (FAO-56, chapter 4: up to 10 % less), shade 0.6, algae over
    three tenths, the trip knocked by a quarter of the swing, the swing by half of it, the supply cut for the week in
    which the pans lose most, 1 mm a day for each m/s above 3 m/s, and half of the rain.
    """
    listed: list[dict[str, Any]] = []
    for name, controller in scenario.controller.items():
        for usual in packaged("studies/faults.toml")["usual"]:
            shares = {key: usual[key] for key in ("trip", "swing") if key in usual}
            sizes = {key: f"{share * controller.valve.swing_kg!r} kg" for key, share in shares.items()}
            listed.append({**usual, **sizes, "controller": name, "start": start})
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
    scenario: Garden,
    *,
    start: Day | None = None,
    variants: Sequence[str] = (),
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
    variants : sequence of str, optional
        Laid over it in order: names of its own, or files such as `fitted.toml`.
    weather : Weather, optional
        Already read.
    step : callable
        Told what is being done.

    Raises
    ------
    ScenarioError, WeatherError
    """
    scenario = as_scenario(scenario, variants)
    weather = read_scenario_weather(scenario, given=weather)
    sound = scenario.changed({"fault": []})
    first, last = scenario.season.start, scenario.season.end
    days = (last - first).days + 1
    if days < _LEAST_DAYS:
        raise refusal(scenario, "too-short", "season")
    start = day_or(start, "start", first + dt.timedelta(days=days // 3))
    if not first <= start <= last:
        raise not_to_ask("outside-season", "start", start, start=start, first=first, last=last)
    step("replaying the sound season")
    season = replay(sound, weather=weather)
    in_file = scenario.described.get("fault", []) if scenario.fault else []
    tables = [*((True, table) for table in in_file), *((False, table) for table in usual_faults(sound, season, start))]
    trials = []
    for described, table in tables:
        broken = sound.changed({"fault": [table]})
        step(fault_said(broken.fault[0]))
        trials.append(_trial(broken, season, replay(broken, weather=weather), described))
    # between equals the list's order stays, so that two runs give one page
    trials.sort(key=lambda trial: (-trial.harm[0], -round(trial.harm[1], 6)))
    return Trials(sound, season, start, tuple(trials))


def _trial(scenario: Scenario, sound: Season, broken: Season, described: bool) -> Trial:
    (fault,) = scenario.fault
    signs = {name: signs_of(fault, name, sound, broken) for name in valves_of(fault, scenario)}
    return Trial(fault, fault_where(fault, scenario), fault_said(fault), described, _harm(broken), _harm(sound), signs)


def _harm(season: Season) -> Harm:
    beds, valves = season.totals["beds"].values(), list(season.totals["controllers"].values())
    drained = sum(bed["deep_percolation_mm"] * bed["area_m2"] for bed in beds)
    sums = (sum(v[key] for v in valves) for key in ("litres", "stuck_open_hours", "dry_pan_hours", "starved_hours"))
    stress_days = sum(int(bed["driest_quarter"]["stress_days"]) for bed in beds)
    wasted = float(drained + sum(valve["leaked_kg"] + valve["spilled_kg"] for valve in valves))
    return Harm(stress_days, wasted, *map(float, sums))


def valves_of(fault: Fault, scenario: Scenario) -> list[str]:
    """Return the controllers at which a fault shows: its own, or all on its supply."""
    where = fault_where(fault, scenario).split("/")[0]
    is_cut = fault.kind == "supply-cut"
    return [name for name, part in scenario.controller.items() if where == (part.supply if is_cut else name)]


def signs_of(fault: Fault, name: str, sound: Season, broken: Season) -> Signs:
    """
    Return how a fault shows outside at one valve, in its first week, or that in which what grows by the month has grown.

    Parameters
    ----------
    fault : Fault
    name : str
        Controller.
    sound, broken : Season
        Without it and with it, the same days.
    """
    dates, row = pd.DatetimeIndex(sound.days.index), list(sound.controllers).index(name)
    begins = fault.start or dates[0].date()
    first = int(np.clip((begins - dates[0].date()).days, 0, len(dates) - 1))
    later = first + (_LATER if isinstance(fault, Clogged) and fault.rate is not None else 0)
    at = max(min(later, len(dates) - WEEK), 0)
    week, before = slice(at, min(at + WEEK, len(dates))), slice(max(first - WEEK, 0), max(first, 1))

    def seen(season: Season, days: slice) -> dict[str, float]:
        table, pans = season.controllers[name].iloc[days], season.forcing.pans
        noon = season.hourly_level[name].reshape(-1, 24)[days, _NOON - 1]
        return {
            "openings": table["openings"].sum(),
            "open_hours": table["open_hours"].sum(),
            "litres": (table["litres"] - table["refilled_kg"]).sum(),
            "noon_level_mm": np.mean((noon - pans.dry[row, days]) / pans.area[row]),
            "drop_mm": (table["pan_mm"] + 24.0 * pans.leak[row, days] / pans.area[row]).mean(),
        }

    weeks = [seen(broken, week), seen(sound, week), seen(sound, before)]
    figures = {figure: Thrice(*(float(values[figure]) for values in weeks)) for figure in weeks[0]}
    return Signs(dates[week][0].date(), dates[week][-1].date(), figures)
