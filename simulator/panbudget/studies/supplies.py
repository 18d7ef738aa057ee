"""
Supplies: what another pressure, or a tank of another size, would do to a season.

With one exponent on the refill emitter and on the beds' emitters, pressure changes how long an opening lasts and not what
it delivers; with compensated bed emitters and a plain refill emitter it changes both. Shown by running it, not asserted.
Tanks keep their height and grow in width. Units: kPa, litres, hours.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panbudget.engine.compiled import has_compiler
from panbudget.errors import WeatherError
from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.scenario.supplies import Mains
from panbudget.season.faults import with_faults
from panbudget.season.layout import prepare
from panbudget.season.result import Season
from panbudget.season.run import run_forcing, run_salted
from panbudget.season.totals import add_up
from panbudget.season.years import usable_years
from panbudget.studies import ranges
from panbudget.studies.common import days_short
from panbudget.weather import Weather
from panbudget.weather.clean import WeatherFile
from panbudget.weather.of_scenario import open_scenario_weather

TIMES = (0.5, 1.0, 2.0)
_MOST_DRAWS = 16  # of each size, year and garden: enough to tell sizes apart, and a replay is to stay quick
# what is too near to tell sizes apart: share of years and draws, days in the mean; common practice, no source
_ALIKE_SHARE, _ALIKE_DAYS = 0.02, 0.5
_SIZE_COLUMNS = ("volume_l", "stress_days", "empty_days", "starved_hours", "litres", "over_l", "share", "mean_days")
#: sizes tried, as factors on the tank's volume
FACTORS = (0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 16.0)


@dataclass(frozen=True)
class Pressed:
    """
    One supply at one pressure.

    Parameters
    ----------
    supply : str
    times : float
        The pressure of the mains, or the height of a tank's outlet, over that described.
    pressure : float
        At the emitters of the first valve; of a tank, when it is full. [kPa]
    openings : int
    open_hours : float
    bed_litres : float
        What the beds of this supply got. [L]
    stress_days : int
        Of their driest quarters, added.
    """

    supply: str
    times: float
    pressure: float
    openings: int
    open_hours: float
    bed_litres: float
    stress_days: int


def pressed(season: Season) -> tuple[Pressed, ...]:
    """
    Run a season with each supply at half and at double its pressure.

    Returns
    -------
    tuple of Pressed
        Three a supply, the middle one as described.

    Notes
    -----
    Emitters whose flow was measured in place follow their law from the pressure at which that was.
    """
    valves = season.scenario.controller.items()
    served = {supply: [name for name, part in valves if part.supply == supply] for supply in season.scenario.supply}
    return tuple(_at(season, supply, times, names) for supply, names in served.items() if names for times in TIMES)


def _at(season: Season, supply: str, times: float, served: list[str]) -> Pressed:
    scenario = _changed(season, supply, times, served) if times != 1.0 else season.scenario
    first, last = season.forcing.dates[0].date(), season.forcing.dates[-1].date()
    forcing = with_faults(scenario, prepare(scenario, season.weather, first, last))
    ran = run_salted(scenario, forcing, season.began, season.salt_before)
    sums = add_up(ran.forcing, season.began, ran.after, ran.out)
    rows = [list(scenario.controller).index(name) for name in served]
    driest = forcing.bundle.lane("driest_quarter")[np.isin(forcing.bundle.by_row("valve"), rows)]
    openings, open_hours, litres = (sums.pans[key][rows].sum() for key in ("openings", "open_hours", "bed_litres"))
    return Pressed(
        supply=supply,
        times=times,
        pressure=forcing.pan_of[served[0]].pressure,
        openings=int(openings),
        open_hours=float(open_hours),
        bed_litres=float(litres),
        stress_days=int(sums.lanes["stress_days"][driest].sum()),
    )


def _changed(season: Season, supply: str, times: float, served: list[str]) -> Scenario:
    """The garden with one supply at another pressure, the flows measured in place taken as measured at the present one."""
    described = season.scenario.supply[supply]
    if isinstance(described, Mains):
        changed = {"pressure": f"{described.pressure * times!r} kPa"}
    else:
        changed = {"outlet_height": f"{described.outlet_height * times!r} m"}
    controllers: dict[str, Any] = {}
    for name in served:
        part = season.scenario.controller[name]
        at = {"at": f"{max(season.forcing.pan_of[name].pressure, 1e-6)!r} kPa"}
        controllers[name] = {
            "valve": {"refill": at} if part.valve.refill.at is None else {},
            "bed": {bed: {"emitters": at} for bed, planted in part.bed.items() if planted.emitters.at is None},
        }
    return season.scenario.changed({"supply": {supply: changed}, "controller": controllers})


def tank_sizes(season: Season, supply: str) -> pd.DataFrame:
    """
    Replay the season with other sizes of one tank, and judge each over what is uncertain in every usable year.

    Parameters
    ----------
    season : Season
    supply : str
        A tank.

    Returns
    -------
    DataFrame
        One row a size: ``volume_l``, ``stress_days`` (short of water then: the driest quarters of the beds that it
        waters, added), ``empty_days`` (on which one of its valves stood open without water), ``starved_hours`` (of
        these, all valves together), ``litres`` (drawn), ``over_l`` (run over); of all years and draws ``share``, in which
        no bed is short on more days than wished, and ``mean_days``, of the neediest; ``exposure``, the factors between
        which that wish is kept in as many years as asked for, the rest as described, of the size described and of the one
        that is `enough`; else None. In ``attrs`` the ``years`` and the ``draws`` in each.
    """
    forcing, row, scenario = season.forcing, list(season.tanks).index(supply), season.scenario
    served = np.array([part.supply == supply for part in scenario.controller.values()])
    driest = forcing.bundle.lane("driest_quarter")[served[forcing.bundle.by_row("valve")]].tolist()
    by_year, count = _all_years(season), min(ranges.DRAWS[has_compiler()], _MOST_DRAWS)
    draws, run = ranges.drawn_factors(scenario, count), ranges.engine_for(len(FACTORS) * len(by_year) * count)
    interval, wish = scenario.uncertainty.interval, scenario.wishes.stress_days

    def days(factor: float, over: ranges.Draws) -> Floats:
        """Days short of the neediest bed, by year and draw."""
        short = []
        for stretch in by_year:
            outs = ranges.sampled_results(_grown(stretch, row, factor), over, lanes=driest, run=run)
            short.append([days_short(out.ks, stretch.forcing.beds, driest).max() for out in outs])
        return np.array(short, float)

    rows = []
    for factor in FACTORS:
        grown = _grown(season, row, factor)
        out, _ = run_forcing(grown.forcing, grown.began.copy())
        short = days_short(out.ks[driest], forcing.beds, driest)
        empty = (out.starved_hours[served] > 0.0).any(axis=0).sum()
        sums = (out.starved_hours[served].sum(), out.tank_drawn[row].sum(), out.tank_over[row].sum())
        drawn = days(factor, draws)
        judged = ((drawn <= wish).mean(), drawn.mean())
        rows.append([float(value) for value in (grown.forcing.tanks.capacity[row], short.sum(), empty, *sums, *judged)])
    sizes = pd.DataFrame(rows, columns=list(_SIZE_COLUMNS))
    sizes.attrs |= {"years": len(by_year), "draws": count}

    def margin(factor: float) -> tuple[float, float] | None:
        def holds(exposure: float) -> bool:
            return bool((days(factor, ranges.scanned(scenario, [exposure])) <= wish).mean() >= interval)

        return ranges.around(holds, ranges.COARSE)

    best = enough(sizes)["volume_l"]
    shown = [factor == 1.0 or volume == best for factor, volume in zip(FACTORS, sizes["volume_l"], strict=True)]
    margins = [margin(factor) if is_shown else None for factor, is_shown in zip(FACTORS, shown, strict=True)]
    return sizes.assign(exposure=pd.Series(margins, dtype=object))


def _grown(stretch: ranges.Stretch, row: int, factor: float) -> ranges.Days:
    """A stretch with one tank wider or narrower, as full as it was when it begins."""
    forcing, grown = stretch.forcing, np.ones(len(stretch.forcing.tanks.capacity))
    grown[row] = factor
    tanks = forcing.tanks._replace(
        capacity=forcing.tanks.capacity * grown,
        volumes=forcing.tanks.volumes * grown[:, None],
        float_volume=forcing.tanks.float_volume * grown,  # a float hangs at a height
    )
    began = stretch.began._replace(volume=stretch.began.volume * grown)
    return ranges.Days(stretch.scenario, dataclasses.replace(forcing, tanks=tanks), began, began, {})


def _all_years(season: Season) -> list[ranges.Stretch]:
    """The season and the same days of every other usable year, of its weather file where it comes from there."""
    scenario, at = season.scenario, season.forcing.dates[[0, -1]]
    days, weather = (at[0].date(), at[1].date()), season.weather
    try:
        file: Weather | WeatherFile = open_scenario_weather(scenario)
    except WeatherError:
        file = weather
    if isinstance(file, WeatherFile) and file.file.source.sha256 != weather.provenance.get("sha256"):
        file = weather
    present = scenario.season.start.year
    usable = usable_years(scenario, *days, file, cautious=False).weather
    others = {year: of for year, of in usable.items() if year != present}
    return [season, *(ranges.days_in_year(scenario, of, days, year - present) for year, of in others.items())]


def enough(sizes: pd.DataFrame) -> pd.Series[Any]:
    """
    Return the smallest size tried that is as good for the plants as any: a larger one is no use to them.

    Parameters
    ----------
    sizes : DataFrame
        As `tank_sizes` gives it.

    Returns
    -------
    Series
        Its row: of those that keep the wish as often as any, but for what can't be told apart, and then leave as few days
        short in the mean, the smallest.
    """
    often = sizes[sizes["share"] >= sizes["share"].max() - _ALIKE_SHARE - 1e-9]
    few = often[often["mean_days"] <= often["mean_days"].min() + _ALIKE_DAYS + 1e-9]
    row: pd.Series[Any] = few.iloc[int(few["volume_l"].argmin())]
    return row
