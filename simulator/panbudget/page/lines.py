"""
Lines: what the page draws of a season, from a quick run of the engine, from a replay, or from many draws.

Units: mm over a bed's area, litres, openings a day. "CONTROLLER/BED" names a bed.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from panbudget.engine.arrays import Results
from panbudget.engine.season import run_season
from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.season.heat import with_heat
from panbudget.season.layout import LANES, Forcing
from panbudget.season.replay import mornings, readily_available
from panbudget.season.result import Season
from panbudget.studies.ranges import Days, days_of, interval_of, sampled_results, scanned, tails
from panbudget.weather import Weather

Run = Callable[..., int]


@dataclass(frozen=True, eq=False)
class Lines:
    """
    A season as it is drawn.

    Parameters
    ----------
    dates : list of str
        ISO 8601.
    openings : dict of ndarray (days,)
        By valve.
    litres : dict of float
        By valve: all that passed it.
    left : dict of ndarray (days,)
        By bed: water left in the morning, before plants suffer; not a number while nothing grows. [mm]
    supplied : dict of float
        By bed: while it grew, as what it needed is counted. [mm]
    """

    dates: list[str]
    openings: dict[str, Floats]
    litres: dict[str, float]
    left: dict[str, Floats]
    supplied: dict[str, float]


@dataclass(frozen=True, eq=False)
class Band:
    """
    The range of what is uncertain.

    Parameters
    ----------
    low, high : dict of ndarray (days,)
        By bed. [mm]
    litres : (float, float)
        Of all valves together.
    draws : int
    """

    low: dict[str, Floats]
    high: dict[str, Floats]
    litres: tuple[float, float]
    draws: int


def days_now(scenario: Scenario, weather: Weather) -> Days:
    """Lay out a garden's season, a made-up heat wave over it where the garden has one."""
    span = scenario.season.start, scenario.season.end
    if scenario.what_if.heat is not None:
        weather = with_heat(weather, scenario.what_if.heat, scenario.site, file=str(scenario.path), of=span)
    return days_of(scenario, weather, *span)


def quick_lines(days: Days, run: Run = run_season) -> Lines:
    """Run the beds' means alone, without openings by the minute, salt and yardsticks."""
    (out,) = sampled_results(days, scanned(days.scenario), lanes=_means(days.forcing), run=run)
    return _lines(days.forcing, out)


def season_lines(season: Season) -> Lines:
    """Return the lines of a whole replay."""
    return Lines(
        _iso(season.forcing),
        {name: table["openings"].to_numpy(float) for name, table in season.controllers.items()},
        {name: float(part["litres"]) for name, part in season.totals["controllers"].items()},
        {key: table["water_left_mm"].where(table["growing"] > 0).to_numpy(float) for key, table in season.beds.items()},
        {key: float(part["irrigation_growing_mm"]) for key, part in season.totals["beds"].items()},
    )


def band_of(days: Days, draws: int, run: Run = run_season, going: Callable[[], bool] = lambda: True) -> Band | None:
    """
    Draw a season over what its garden says is uncertain.

    Parameters
    ----------
    days : Days
    draws : int
        How many.
    run : callable
        The engine, plain or compiled.
    going : callable
        Asked before each draw; where it says no, nothing comes of it.
    """
    made = list[Lines]()
    results: Iterator[Results] = sampled_results(days, draws, lanes=_means(days.forcing), run=run)
    while going():
        if (out := next(results, None)) is None:
            break
        made.append(_lines(days.forcing, out))
    if len(made) < draws:
        return None
    share = days.scenario.uncertainty.interval
    ends = {key: np.quantile([lines.left[key] for lines in made], tails(share), axis=0) for key in made[0].left}
    litres = interval_of(np.array([sum(lines.litres.values()) for lines in made]), share)
    low, high = ({key: part[end] for key, part in ends.items()} for end in (0, 1))
    return Band(low, high, litres, draws)


def _means(forcing: Forcing) -> list[int]:
    return [int(lane) for lane in forcing.bundle.lane(LANES[0])]


def _iso(forcing: Forcing) -> list[str]:
    days: list[str] = np.datetime_as_string(forcing.dates.to_numpy(), "D").tolist()
    return days


def _lines(forcing: Forcing, out: Results) -> Lines:
    names = [valve.name for valve in forcing.bundle.valves]
    water_left, supplied = dict[str, Floats](), dict[str, float]()
    for index, row in enumerate(forcing.bundle.rows):
        part, key = forcing.parts[row.ground], f"{row.controller}/{row.bed}"
        grows = forcing.beds.growing[forcing.beds.lane_bed[_means(forcing)[index]]] > 0
        mornings_left = mornings(out, index, readily_available(part, out.etc[index]))["water_left_mm"]
        water_left[key] = np.where(grows, mornings_left, np.nan)
        supplied[key] = float(out.irrigation[index][grows].sum())
    openings = dict(zip(names, np.asarray(out.openings, float), strict=True))
    litres = dict(zip(names, out.drawn.sum(axis=1).tolist(), strict=True))
    return Lines(_iso(forcing), openings, litres, water_left, supplied)
