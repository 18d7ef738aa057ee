"""
Forcing: the engine's arrays, made from a checked scenario and a clean weather table.

Everything that does not depend on what the valve does is reckoned here, for whole columns at a time: reference ET,
the pan's evaporation, flows, demand, soil. Units as in the engine.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from panbudget.engine import season as engine
from panbudget.engine.arrays import Beds, Days, Pans, State, Tanks, empty_state, no_tanks
from panbudget.engine.tank import REFERENCE_PRESSURE
from panbudget.errors import Problem, ScenarioError
from panbudget.numeric import Floats, Ints
from panbudget.physics import evaporation, sun
from panbudget.physics.hydraulics import emitter_flow, pressure_behind
from panbudget.physics.solar_time import solar_hour
from panbudget.scenario.beds import Emitter
from panbudget.scenario.garden import Controller, Scenario
from panbudget.scenario.supplies import Supply
from panbudget.season.beds import BedForcing, bed_arrays, bed_forcing, lanes_of
from panbudget.season.demand import Climate, PlantingError
from panbudget.season.supplies import (
    lengthened,
    losses_of,
    most_static,
    pressure_table,
    roof_inflow,
    tank_shape,
    tanks_in_use,
)
from panbudget.weather import Weather

#: an opening list longer than this is a mistake in the scenario, not a season
MOST_OPENINGS = 500_000


@dataclass(frozen=True)
class PanForcing:
    """
    One controller's pan, before the valve does anything.

    Parameters
    ----------
    evaporation : dict
        Model's name -> (days,) what it gives, exposure included; a measured column only where there is one. [mm]
    wind_bounded, humidity_bounded : ndarray of bool (days,)
        Where a bound of the pan coefficient's table bit.
    fetch_bounded : bool
    kp : ndarray (days,)
        [-]
    refill_flow : float
        At the supply's own pressure; of a tank, when it is full. [L/h]
    bed_flows : dict
        Bed -> the same. [L/h]
    pressure : float
        At the emitters, then. [kPa]
    pressures : (ndarray (k,), ndarray (k,))
        Static pressure, and what is left of it at the emitters. [kPa]
    at_reference : dict
        Bed ("" for the refill emitter) -> flow at the engine's reference pressure. [L/h]
    """

    evaporation: dict[str, Floats]
    wind_bounded: Ints
    humidity_bounded: Ints
    fetch_bounded: bool
    kp: Floats
    refill_flow: float
    bed_flows: dict[str, float]
    pressure: float
    pressures: tuple[Floats, Floats]
    at_reference: dict[str, float]

    @property
    def valve_flow(self) -> float:
        """All that passes the valve. [L/h]"""
        return self.refill_flow + sum(self.bed_flows.values())


@dataclass(frozen=True)
class Forcing:
    """All that the engine needs for a run of days, and what a report wants to know of how it came about."""

    dates: pd.DatetimeIndex
    weather: pd.DataFrame
    days: Days
    pans: Pans
    tanks: Tanks
    beds: Beds
    pan_of: dict[str, PanForcing]
    bed_of: dict[str, BedForcing]
    room: int
    assumptions: tuple[str, ...]
    lanes: tuple[str, ...]


def prepare(scenario: Scenario, weather: Weather, start: dt.date, end: dt.date) -> Forcing:
    """
    Make the engine's arrays.

    Parameters
    ----------
    scenario : Scenario
    weather : Weather
        Must hold every day from start to end.
    start, end : date
        First and last day of the run.

    Returns
    -------
    Forcing

    Raises
    ------
    ScenarioError
        A season outside the weather file, a measured pan without its column, a swing that opens too often to list.
    """
    record = weather.daily
    _season_in_record(scenario, record, start, end)
    eto_record = evaporation.reference_evapotranspiration(
        record, latitude=scenario.site.latitude, elevation=scenario.site.elevation
    )
    daily = record.loc[pd.Timestamp(start) : pd.Timestamp(end)]
    dates = pd.DatetimeIndex(daily.index)
    eto: Floats = np.asarray(eto_record.loc[dates[0] : dates[-1]], dtype=np.float64)
    rain = daily["rain"].to_numpy(float)
    doy = dates.day_of_year.to_numpy()
    daylight_share, dark_share = evaporation.hourly_shares(scenario.site.latitude, doy)
    days = Days(np.ascontiguousarray(rain), np.ascontiguousarray(eto), daylight_share, dark_share)

    assumptions: list[str] = []
    pan_of = {
        name: _pan_forcing(scenario, name, controller, daily, eto, assumptions)
        for name, controller in scenario.controller.items()
    }
    climate = Climate(
        dates=record.index.to_numpy().astype("datetime64[D]"),
        wind=record["wind"].to_numpy(float),
        rh_min=record["rh_min"].to_numpy(float),
        tmean=(record["tmin"].to_numpy(float) + record["tmax"].to_numpy(float)) / 2.0,
        eto=np.asarray(eto_record, dtype=np.float64),
        within=(start, end),
    )
    bed_of = {}
    for name, controller in scenario.controller.items():
        for bed_name, bed in controller.bed.items():
            where = f"controller.{name}.bed.{bed_name}"
            try:
                forcing = bed_forcing(name, bed_name, bed, climate, daily)
            except PlantingError as error:
                raise ScenarioError(Problem.of_text(f"{where}: {error}", where), file=str(scenario.path)) from error
            assumptions.extend(f"{forcing.key}: {text}" for text in forcing.curve.assumptions)
            bed_of[forcing.key] = forcing
    lanes = lanes_of(scenario)
    pans = pan_arrays(scenario, pan_of, dates, assumptions)
    tanks = tank_arrays(scenario, pan_of, rain)
    beds = bed_arrays(scenario, pan_of, bed_of, daily, lanes)

    said = tuple(dict.fromkeys(assumptions))
    return Forcing(dates, daily, days, pans, tanks, beds, pan_of, bed_of, room_for(scenario, pans), said, lanes)


def room_for(scenario: Scenario, pans: Pans) -> int:
    """
    Return how many openings there can be at most.

    Parameters
    ----------
    scenario : Scenario
        Only named in what is said.
    pans : Pans

    Raises
    ------
    ScenarioError
        A swing that opens too often to list.
    """
    lost = np.maximum(pans.evaporation, 0.0).sum(axis=1) * pans.area + np.maximum(pans.leak, 0.0).sum(axis=1) * 24.0
    # a trip weight that rises takes the pan nearer to the next opening
    lost = lost + np.maximum(pans.shift, 0.0).sum(axis=1)
    most = lost / pans.swing.min(axis=1) + np.isfinite(pans.presses).sum(axis=1) + pans.swing.shape[1] + 2.0
    for index, name in enumerate(scenario.controller):
        if most[index] > MOST_OPENINGS:
            message = (
                f"controller.{name}.valve.swing = {pans.swing[index].min():g} kg would open the valve some "
                f"{most[index]:.0f} times; a pan of {pans.area[index]:g} m² wants a larger swing"
            )
            raise ScenarioError(Problem.of_text(message, f"controller.{name}.valve.swing"), file=str(scenario.path))
    return int(most.sum())


def initial_state(scenario: Scenario, forcing: Forcing) -> State:
    """
    Return the state of a garden on its first morning: pans filled to the reset level, valves shut.

    Parameters
    ----------
    scenario : Scenario
    forcing : Forcing

    Returns
    -------
    State
        Of the forcing's controllers and lanes.
    """
    controllers, lanes = len(forcing.pans.area), len(forcing.beds.lane_bed)
    share = [bed.initial_depletion for c in scenario.controller.values() for bed in c.bed.values()]
    depletion = np.repeat(np.asarray(share) * forcing.beds.taw[:, 0], len(forcing.lanes))
    surface = np.repeat(np.asarray(share) * forcing.beds.tew, len(forcing.lanes))
    return empty_state(controllers, lanes, forcing.tanks)._replace(
        # filled before the first day's faults move the trip weight; never over the rim
        level=np.minimum(forcing.pans.swing[:, 0], forcing.pans.rim[:, 0] + forcing.pans.shift[:, 0]),
        volume=np.array([tank.volume * tank.full_at_start for tank in tanks_in_use(scenario).values()], float),
        depletion=depletion,
        surface_depletion=surface,
    )


def spun_up(
    scenario: Scenario, weather: Weather, start: dt.date, state: State, run: Callable[[Forcing, State], object]
) -> State:
    """
    Return the first morning's state with soils as the days before the season left them.

    Parameters
    ----------
    scenario : Scenario
        With ``season.spin_up``.
    weather : Weather
    start : date
        The season's first day.
    state : State
        What `initial_state` gives for the season.
    run : callable
        Steps a forcing from a state, which it overwrites.

    Returns
    -------
    State
        Pans as given; beds after rain and use alone, without irrigation.

    Raises
    ------
    ScenarioError
        The weather file does not reach back so far.
    """
    days = scenario.season.spin_up_days
    first, last = start - dt.timedelta(days=days), start - dt.timedelta(days=1)
    held = weather.daily.index[0].date()
    if first < held:
        message = (
            f"season.spin_up = {days} days needs weather from {first}, and {scenario.weather.file} begins on {held}; "
            f"take at most {(start - held).days} days, or give initial_depletion instead"
        )
        raise ScenarioError(Problem.of_text(message, "season.spin_up", days), file=str(scenario.path))
    forcing = prepare(scenario, weather, first, last)
    lanes = len(forcing.beds.lane_bed)
    rain_fed = forcing.beds._replace(
        lane_source=np.full(lanes, engine.GIVEN, np.int64), given=np.zeros(forcing.beds.taw.shape)
    )
    before = initial_state(scenario, forcing)
    run(dataclasses.replace(forcing, beds=rain_fed), before)
    return state._replace(depletion=before.depletion, surface_depletion=before.surface_depletion, wetted=before.wetted)


def _season_in_record(scenario: Scenario, record: pd.DataFrame, start: dt.date, end: dt.date) -> None:
    first, last = record.index[0].date(), record.index[-1].date()
    wrong = []
    for key, day in (("season.start", start), ("season.end", end)):
        if not first <= day <= last:
            message = (
                f"{key} = {day} lies outside the weather file {scenario.weather.file}, which runs from {first} to "
                f"{last}; choose days within it, or name another file"
            )
            wrong.append(Problem.of_text(message, key, day))
    if wrong:
        raise ScenarioError(*wrong, file=str(scenario.path))


def _law(emitter: Emitter, supply: Supply, where: str, assumptions: list[str]) -> Callable[[float], float]:
    """One emitter's flow by the pressure that it sees. [kPa] -> [L/h]"""
    at = emitter.at
    if at is None:
        place = "measured in place" if supply.kind == "mains" else "measured in place under a full tank"
        assumptions.append(f"{where}: no pressure given with the flow, so it counts as {place}")
        if supply.kind == "mains":
            return lambda pressure: emitter.flow
        at = most_static(supply)
    nominal = at

    def flow(pressure: float) -> float:
        return float(emitter_flow(pressure, emitter.flow, nominal, emitter.exponent))

    return flow


def _pan_forcing(
    scenario: Scenario,
    name: str,
    controller: Controller,
    daily: pd.DataFrame,
    eto: Floats,
    assumptions: list[str],
) -> PanForcing:
    pan, site = controller.pan, scenario.site
    wind, rh_mean = daily["wind"].to_numpy(float), daily["rh_mean"].to_numpy(float)
    coefficient = evaporation.pan_coefficient(wind, rh_mean, fetch=pan.fetch.distance, cover=pan.fetch.cover)
    by_model = {
        "from-eto": evaporation.pan_from_eto(eto, coefficient.kp),
        "energy-balance": evaporation.pan_energy_balance(
            daily, latitude=site.latitude, elevation=site.elevation, ground_albedo=pan.ground_albedo
        ),
    }
    if pan.evaporation == "measured":
        where = f'controller.{name}.pan.evaporation = "measured"'
        if "pan_evaporation" not in daily:
            message = (
                f"{where} needs a column pan_evaporation, which {scenario.weather.file} does not have; "
                'add it, or take "from-eto"'
            )
            raise ScenarioError(Problem.of_text(message, f"controller.{name}.pan.evaporation"), file=str(scenario.path))
        missing = daily.index[daily["pan_evaporation"].isna()]
        if len(missing):
            days = ", ".join(f"{day:%Y-%m-%d}" for day in missing[:5])
            more = f" and {len(missing) - 5} more days" if len(missing) > 5 else ""
            message = (
                f"{where}: {scenario.weather.file} has no pan_evaporation on {days}{more}; "
                'fill them, or take "from-eto"'
            )
            raise ScenarioError(Problem.of_text(message, f"controller.{name}.pan.evaporation"), file=str(scenario.path))
        by_model["measured"] = daily["pan_evaporation"].to_numpy(float)
    flows = pan_flows(scenario, name, controller, assumptions)
    return PanForcing(
        evaporation={model: values * pan.exposure for model, values in by_model.items()},
        wind_bounded=coefficient.wind_bounded.astype(np.int64),
        humidity_bounded=coefficient.humidity_bounded.astype(np.int64),
        fetch_bounded=coefficient.fetch_bounded,
        kp=coefficient.kp,
        **flows._asdict(),
    )


class PanFlows(NamedTuple):
    """What passes one controller's valve; as `PanForcing` has it."""

    refill_flow: float
    bed_flows: dict[str, float]
    pressure: float
    pressures: tuple[Floats, Floats]
    at_reference: dict[str, float]


def pan_flows(scenario: Scenario, name: str, controller: Controller, assumptions: list[str]) -> PanFlows:
    """
    Reckon the flows behind one valve.

    Parameters
    ----------
    scenario : Scenario
    name : str
        The controller's.
    controller : Controller
    assumptions : list of str
        Added to.

    Returns
    -------
    PanFlows
    """
    supply = scenario.supply[controller.supply]
    refill = _law(controller.valve.refill, supply, f"{name}: refill emitter", assumptions)
    laws = {
        key: _law(bed.emitters, supply, f"{name}/{key}: emitters", assumptions) for key, bed in controller.bed.items()
    }

    def draw(pressure: float) -> float:
        return refill(pressure) + sum(bed.emitters.count * laws[key](pressure) for key, bed in controller.bed.items())

    losses = losses_of(controller.pipe, controller.valve.rated_flow, controller.valve.rated_loss)
    static = most_static(supply)
    there = pressure_behind(static, draw, losses)
    return PanFlows(
        refill_flow=refill(there),
        bed_flows={key: bed.emitters.count * laws[key](there) for key, bed in controller.bed.items()},
        pressure=there,
        pressures=pressure_table(static, draw, losses),
        at_reference={
            "": refill(REFERENCE_PRESSURE),
            **{key: bed.emitters.count * laws[key](REFERENCE_PRESSURE) for key, bed in controller.bed.items()},
        },
    )


def pan_arrays(
    scenario: Scenario, pan_of: dict[str, PanForcing], dates: pd.DatetimeIndex, assumptions: list[str]
) -> Pans:
    """
    Lay the controllers out for the engine.

    Parameters
    ----------
    scenario : Scenario
    pan_of : dict
        Controller -> PanForcing.
    dates : DatetimeIndex
        The run's.
    assumptions : list of str
        Added to.

    Returns
    -------
    Pans
    """
    controllers = scenario.controller
    area = np.array([c.pan.area for c in controllers.values()])
    swing = np.array([c.valve.swing_kg for c in controllers.values()])
    freeboard = np.array([c.pan.freeboard for c in controllers.values()])
    water = np.array([c.pan.water_at_reset for c in controllers.values()])
    presses = [press_hours(scenario, c, dates, assumptions) for c in controllers.values()]
    width = max(part.shape[1] for part in presses)
    table = np.full((len(presses), len(dates), width), np.inf)
    for index, part in enumerate(presses):
        table[index, :, : part.shape[1]] = part

    def by_day(values: Floats) -> Floats:
        return np.repeat(np.asarray(values, float)[:, None], len(dates), axis=1)

    tanks = list(tanks_in_use(scenario))
    tank = np.array([tanks.index(c.supply) if c.supply in tanks else -1 for c in controllers.values()], np.int64)
    on_tank = tank >= 0
    parts = [pan_of[name] for name in controllers]
    own = np.array([part.refill_flow for part in parts])
    at_reference = np.array([part.at_reference[""] for part in parts])
    valve_flow = np.array([part.valve_flow for part in parts])
    block, member = _blocks(tank)
    return Pans(
        evaporation=np.array([pan_of[n].evaporation[c.pan.evaporation] for n, c in controllers.items()]),
        area=area,
        swing=by_day(swing),
        rim=by_day(swing + freeboard * area),
        dry=by_day(swing - water),
        shift=by_day(np.zeros(len(area))),
        leak=by_day(np.zeros(len(area))),
        rain_factor=by_day(np.ones(len(area))),
        night_share=np.array([c.pan.night_share for c in controllers.values()]),
        refill_flow=by_day(np.where(on_tank, at_reference, own)),
        refill_exponent=np.array([c.valve.refill.exponent for c in controllers.values()]),
        valve_flow=by_day(valve_flow),
        presses=table.reshape(len(presses), len(dates) * width),
        tank=tank,
        static=np.array([part.pressures[0] for part in parts]),
        at_emitters=np.array([part.pressures[1] for part in parts]),
        block=block,
        member=member,
    )


def _blocks(tank: Ints) -> tuple[Ints, Ints]:
    """Controllers on one tank form a block, every other one a block of its own."""
    groups: dict[object, list[int]] = {}
    for index, place in enumerate(tank.tolist()):
        groups.setdefault(("tank", place) if place >= 0 else index, []).append(index)
    sizes = [len(group) for group in groups.values()]
    members = [index for group in groups.values() for index in group]
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64), np.array(members, np.int64)


def tank_arrays(scenario: Scenario, pan_of: dict[str, PanForcing], rain: Floats) -> Tanks:
    """
    Lay the tanks out for the engine.

    Parameters
    ----------
    scenario : Scenario
    pan_of : dict
        Controller -> PanForcing.
    rain : ndarray (days,)
        [mm/day]

    Returns
    -------
    Tanks
    """
    described = tanks_in_use(scenario)
    if not described:
        return no_tanks(len(rain))
    shapes = [tank_shape(supply) for supply in described.values()]
    longest = max(len(volumes) for volumes, _ in shapes)
    volumes, levels = (np.array([lengthened(shape[side], longest) for shape in shapes]) for side in (0, 1))
    draws = [
        (pan_of[name].at_reference[key], bed.emitters.exponent)
        for name, controller in scenario.controller.items()
        if controller.supply in described
        for key, bed in controller.bed.items()
    ]
    flows = np.array([draw[0] for draw in draws])
    counts = [len(c.bed) if c.supply in described else 0 for c in scenario.controller.values()]
    return Tanks(
        capacity=np.array([supply.volume for supply in described.values()], float),
        outlet=np.array([supply.outlet_height for supply in described.values()], float),
        volumes=volumes,
        levels=levels,
        inflow=np.array([roof_inflow(rain, supply.roof) for supply in described.values()]),
        float_volume=np.array([s.top_up.below if s.top_up else 0.0 for s in described.values()]),
        float_rate=np.array([s.top_up.rate if s.top_up else 0.0 for s in described.values()]),
        draw_flow=np.repeat(flows[:, None], len(rain), axis=1),
        draw_exponent=np.array([draw[1] for draw in draws], float),
        draw_from=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
    )


def press_hours(scenario: Scenario, controller: Controller, dates: pd.DatetimeIndex, assumptions: list[str]) -> Floats:
    """
    Return the solar hours at which a valve is pressed.

    Parameters
    ----------
    scenario : Scenario
    controller : Controller
    dates : DatetimeIndex
    assumptions : list of str
        Added to.

    Returns
    -------
    ndarray (days, presses a day)
        Ascending, infinite where there is none. [h]
    """
    by_day: list[list[float]] = [[] for _ in dates]
    N = sun.daylight_hours(dates.day_of_year.to_numpy(), latitude=scenario.site.latitude)
    clocked = [text for text in controller.valve.press_times if text not in ("sunset", "sunrise")]
    if clocked and (scenario.site.longitude is None or scenario.site.timezone is None):
        assumptions.append(
            "press times count as solar time, since the site has no longitude and time zone: up to an hour or two "
            "off the clock"
        )
    for index, hours in enumerate(N):
        if 0.0 < hours < 24.0:
            if "sunrise" in controller.valve.press_times:
                by_day[index].append(12.0 - hours / 2.0)
            if "sunset" in controller.valve.press_times:
                by_day[index].append(12.0 + hours / 2.0)
    # a clock's day and the sun's day may part by an hour or two, so neighbours are looked at too
    for index in range(-1, len(dates) + 1):
        day = (dates[0] + pd.Timedelta(days=index)).date()
        for text in clocked:
            at = index * 24.0 + solar_hour(day, text, scenario.site.longitude, scenario.site.timezone)
            if 0.0 <= at < 24.0 * len(dates):
                by_day[int(at // 24.0)].append(at % 24.0)
    width = max(map(len, by_day))
    table = np.full((len(dates), width), np.inf)
    for index, moments in enumerate(by_day):
        table[index, : len(moments)] = sorted(moments)
    return table
