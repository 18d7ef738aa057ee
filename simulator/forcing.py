"""
Forcing: the engine's arrays, made from a checked scenario and a clean weather table.

Everything that does not depend on what the valve does is reckoned here, for whole columns at a time: reference ET,
the pan's evaporation, flows, demand, soil. Units as in the engine.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from simulator import engine, evaporation, plants, soil
from simulator import meteorology as met
from simulator.arrays import Beds, Days, Floats, Ints, Pans, State
from simulator.clock import solar_hour
from simulator.errors import Problem, ScenarioError
from simulator.hydraulics import emitter_flow
from simulator.planting import Demand, demand_curve, soil_of
from simulator.scenario import Bed, Controller, Emitter, Scenario, Supply
from simulator.weather import Weather

__all__ = ["LANES", "BedForcing", "Forcing", "PanForcing", "initial_state", "prepare"]

#: the lanes of each bed, in the engine's order
LANES = ("mean", "driest_quarter", "exact_refill")
_SOURCES = (engine.VALVE, engine.VALVE, engine.EXACT_REFILL)
# an opening list longer than this is a mistake in the scenario, not a season
_MOST_OPENINGS = 500_000


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
        [L/h]
    bed_flows : dict
        Bed -> [L/h]
    """

    evaporation: dict[str, Floats]
    wind_bounded: Ints
    humidity_bounded: Ints
    fetch_bounded: bool
    kp: Floats
    refill_flow: float
    bed_flows: dict[str, float]


@dataclass(frozen=True)
class BedForcing:
    """
    One bed's demand and soil, by day.

    Parameters
    ----------
    controller, name : str
    curve : Demand
        Kc (or Kcb), roots, growing days. (days,)
    taw : ndarray (days,)
        [mm]
    rain_in : ndarray (days,)
        Rain less runoff. [mm]
    """

    controller: str
    name: str
    curve: Demand
    taw: Floats
    rain_in: Floats

    @property
    def key(self) -> str:
        """Name under which results list it."""
        return f"{self.controller}/{self.name}"


@dataclass(frozen=True)
class Forcing:
    """All that the engine needs for a run of days, and what a report wants to know of how it came about."""

    dates: pd.DatetimeIndex
    weather: pd.DataFrame
    days: Days
    pans: Pans
    beds: Beds
    pan_of: dict[str, PanForcing]
    bed_of: dict[str, BedForcing]
    room: int
    assumptions: tuple[str, ...]


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
    doy = dates.dayofyear.to_numpy()
    daylight_share, dark_share = evaporation.hourly_shares(scenario.site.latitude, doy)
    days = Days(np.ascontiguousarray(rain), np.ascontiguousarray(eto), daylight_share, dark_share)

    assumptions: list[str] = []
    pan_of = {
        name: _pan_forcing(scenario, name, controller, daily, eto, assumptions)
        for name, controller in scenario.controller.items()
    }
    pans = _pans(scenario, pan_of, dates, assumptions)
    bed_of = {}
    for name, controller in scenario.controller.items():
        for bed_name, bed in controller.bed.items():
            forcing = _bed_forcing(name, bed_name, bed, record, daily, assumptions)
            bed_of[forcing.key] = forcing
    beds = _beds(scenario, pan_of, bed_of, daily, len(dates))

    evaporated = np.maximum(pans.evaporation, 0.0).sum(axis=1) * pans.area
    most = evaporated / pans.swing + np.isfinite(pans.presses).sum(axis=1) + 2.0
    for index, name in enumerate(scenario.controller):
        if most[index] > _MOST_OPENINGS:
            message = (
                f"controller.{name}.valve.swing = {pans.swing[index]:g} kg would open the valve some "
                f"{most[index]:.0f} times; a pan of {pans.area[index]:g} m² wants a larger swing"
            )
            raise ScenarioError(Problem(message, f"controller.{name}.valve.swing"), file=str(scenario.path))
    return Forcing(dates, daily, days, pans, beds, pan_of, bed_of, int(most.sum()), tuple(dict.fromkeys(assumptions)))


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
    depletion = np.repeat(np.asarray(share) * forcing.beds.taw[:, 0], len(LANES))
    surface = np.repeat(np.asarray(share) * forcing.beds.tew, len(LANES))
    return State(
        level=forcing.pans.swing.copy(),
        is_open=np.zeros(controllers, np.int64),
        since=np.zeros(controllers),
        refilled=np.zeros(controllers),
        cause=np.zeros(controllers, np.int64),
        slot=np.zeros(controllers, np.int64),
        depletion=depletion,
        surface_depletion=surface,
        wetted=np.ones(lanes),
    )


def _season_in_record(scenario: Scenario, record: pd.DataFrame, start: dt.date, end: dt.date) -> None:
    first, last = record.index[0].date(), record.index[-1].date()
    wrong = []
    for key, day in (("season.start", start), ("season.end", end)):
        if not first <= day <= last:
            message = (
                f"{key} = {day} lies outside the weather file {scenario.weather.file}, which runs from {first} to "
                f"{last}; choose days within it, or name another file"
            )
            wrong.append(Problem(message, key, day))
    if wrong:
        raise ScenarioError(*wrong, file=str(scenario.path))


def _flow(emitter: Emitter, supply: Supply, where: str, assumptions: list[str]) -> float:
    """Flow of one emitter on its supply. [L/h]"""
    assert supply.pressure is not None  # the scenario saw to it
    if emitter.at is None:
        assumptions.append(f"{where}: no pressure given with the flow, so it counts as measured in place")
        return emitter.flow
    return float(emitter_flow(supply.pressure, emitter.flow, emitter.at, emitter.exponent))


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
            raise ScenarioError(Problem(message, f"controller.{name}.pan.evaporation"), file=str(scenario.path))
        missing = daily.index[daily["pan_evaporation"].isna()]
        if len(missing):
            days = ", ".join(f"{day:%Y-%m-%d}" for day in missing[:5])
            more = f" and {len(missing) - 5} more days" if len(missing) > 5 else ""
            message = (
                f"{where}: {scenario.weather.file} has no pan_evaporation on {days}{more}; "
                'fill them, or take "from-eto"'
            )
            raise ScenarioError(Problem(message, f"controller.{name}.pan.evaporation"), file=str(scenario.path))
        by_model["measured"] = daily["pan_evaporation"].to_numpy(float)
    supply = scenario.supply[controller.supply]
    return PanForcing(
        evaporation={model: values * pan.exposure for model, values in by_model.items()},
        wind_bounded=coefficient.wind_bounded.astype(np.int64),
        humidity_bounded=coefficient.humidity_bounded.astype(np.int64),
        fetch_bounded=coefficient.fetch_bounded,
        kp=coefficient.kp,
        refill_flow=_flow(controller.valve.refill, supply, f"{name}: refill emitter", assumptions),
        bed_flows={
            bed_name: bed.emitters.count * _flow(bed.emitters, supply, f"{name}/{bed_name}: emitters", assumptions)
            for bed_name, bed in controller.bed.items()
        },
    )


def _pans(scenario: Scenario, pan_of: dict[str, PanForcing], dates: pd.DatetimeIndex, assumptions: list[str]) -> Pans:
    controllers = scenario.controller
    area = np.array([c.pan.area for c in controllers.values()])
    swing = np.array([c.valve.swing_kg for c in controllers.values()])
    freeboard = np.array([c.pan.freeboard for c in controllers.values()])
    water = np.array([c.pan.water_at_reset for c in controllers.values()])
    presses = [_presses(scenario, c, dates, assumptions) for c in controllers.values()]
    width = max(part.shape[1] for part in presses)
    table = np.full((len(presses), len(dates), width), np.inf)
    for index, part in enumerate(presses):
        table[index, :, : part.shape[1]] = part
    return Pans(
        evaporation=np.array([pan_of[n].evaporation[c.pan.evaporation] for n, c in controllers.items()]),
        area=area,
        swing=swing,
        rim=swing + freeboard * area,
        dry=swing - water,
        night_share=np.array([c.pan.night_share for c in controllers.values()]),
        refill_flow=np.array([pan_of[n].refill_flow for n in controllers]),
        presses=table.reshape(len(presses), len(dates) * width),
    )


def _presses(scenario: Scenario, controller: Controller, dates: pd.DatetimeIndex, assumptions: list[str]) -> Floats:
    """Solar hours at which the valve is pressed, (days, presses a day), ascending, infinite where none."""
    by_day: list[list[float]] = [[] for _ in dates]
    N = met.daylight_hours(dates.dayofyear.to_numpy(), latitude=scenario.site.latitude)
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


def _bed_forcing(
    controller: str,
    name: str,
    bed: Bed,
    record: pd.DataFrame,
    daily: pd.DataFrame,
    assumptions: list[str],
) -> BedForcing:
    all_dates = record.index.to_numpy().astype("datetime64[D]")
    curve = demand_curve(
        bed.plants,
        all_dates,
        planted=bed.planted,
        wind=record["wind"].to_numpy(float),
        rh_min=record["rh_min"].to_numpy(float),
        basal=bed.method == "dual",
    )
    assumptions.extend(f"{controller}/{name}: {text}" for text in curve.assumptions)
    first = int(np.flatnonzero(record.index == daily.index[0])[0])
    curve = curve.between(first, first + len(daily))
    ground = soil_of(bed.soil)
    taw = soil.total_available_water(ground.field_capacity, ground.wilting_point, curve.root_depth, bed.root_fraction)
    rain = daily["rain"].to_numpy(float)
    runoff = soil.curve_number_runoff(rain, bed.curve_number) if bed.curve_number is not None else np.zeros_like(rain)
    return BedForcing(controller, name, curve, taw, rain - runoff)


def _beds(
    scenario: Scenario,
    pan_of: dict[str, PanForcing],
    bed_of: dict[str, BedForcing],
    daily: pd.DataFrame,
    n_days: int,
) -> Beds:
    described = [bed for c in scenario.controller.values() for bed in c.bed.values()]
    parts = list(bed_of.values())
    wind, rh_min = daily["wind"].to_numpy(float), daily["rh_min"].to_numpy(float)
    kc_max, exposed = np.zeros((len(parts), n_days)), np.ones((len(parts), n_days))
    tew, rew = np.zeros(len(parts)), np.zeros(len(parts))
    for index, (bed, part) in enumerate(zip(described, parts, strict=True)):
        ground = soil_of(bed.soil)
        tew[index] = soil.total_evaporable_water(ground.field_capacity, ground.wilting_point, ground.ze)
        rew[index] = min(ground.rew, 0.9 * tew[index])
        if bed.method == "dual":
            kc_max[index] = plants.kc_max(part.curve.kc, wind=wind, rh_min=rh_min, height=part.curve.height)
            exposed[index] = 1.0 - plants.covered_fraction(part.curve.kc, kc_max[index], height=part.curve.height)
    lanes = range(len(parts) * len(LANES))
    names = list(scenario.controller)
    flow_mm = []
    for bed, part in zip(described, parts, strict=True):
        mean = pan_of[part.controller].bed_flows[part.name] / bed.area
        flow_mm += [mean, mean * bed.uniformity, 0.0]
    return Beds(
        kc=np.array([part.curve.kc for part in parts]),
        taw=np.array([part.taw for part in parts]),
        rain_in=np.array([part.rain_in for part in parts]),
        growing=np.array([part.curve.growing for part in parts]).astype(np.int64),
        kc_max=kc_max,
        exposed=exposed,
        p_table=np.array([part.curve.depletion for part in parts]),
        dual=np.array([bed.method == "dual" for bed in described]).astype(np.int64),
        fw=np.array([bed.wetted_fraction for bed in described]),
        tew=tew,
        rew=rew,
        lane_bed=np.array([lane // len(LANES) for lane in lanes], np.int64),
        lane_controller=np.array([names.index(parts[lane // len(LANES)].controller) for lane in lanes], np.int64),
        lane_source=np.array([_SOURCES[lane % len(LANES)] for lane in lanes], np.int64),
        lane_mm_per_hour=np.array(flow_mm),
        given=np.zeros((0, 0)),
    )
