"""
A second, plain simulator of a season with faults: to see whether `panbudget faults` ranks as an independent run ranks.

Written from the model's description and FAO-56 alone, before the program's own engine was read. Pans, valves and tanks
go in short equal steps, and what crosses a level within a step is noticed at its end; soils go by the day. It takes the
garden's figures (areas, flows, soils) as the scenario and the tables hold them and computes everything else itself,
weather file included. What it leaves out, it refuses: see `_refuse`.

Units: mm, m², kg (= L), hours, kPa, °C, MJ m⁻² d⁻¹.
"""

from __future__ import annotations

import csv
import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numba
import numpy as np

from panbudget.scenario.beds import Bed, NamedPlants, NamedSoil, OwnPlants, PlantedBed
from panbudget.scenario.faults import Clogged, CloggedEmitters, Fault, SupplyCut
from panbudget.scenario.garden import Scenario

__all__ = ["Harm", "NaiveSeason", "naive_season", "thirstiest_week"]

_TABLES = Path(__file__).resolve().parents[1] / "simulator" / "panbudget" / "tables"
_MONTH = 365.25 / 12.0  # days
_KPA_A_METRE = 9.80665


@dataclass
class Harm:
    """What `panbudget faults` ranks by."""

    stress_days: int  # of all beds' driest quarters
    wasted_litres: float  # drained below the roots, leaked, drunk, splashed out, spilled


@dataclass
class NaiveSeason:
    """A season's totals."""

    harm: Harm
    litres: float = 0.0
    openings: dict[str, int] = field(default_factory=dict)
    bed_litres: dict[str, float] = field(default_factory=dict)
    stress: dict[str, int] = field(default_factory=dict)
    drained: dict[str, float] = field(default_factory=dict)
    leaked: dict[str, float] = field(default_factory=dict)
    spilled: dict[str, float] = field(default_factory=dict)
    eto: float = 0.0


@dataclass
class _Day:
    """A day's weather and what follows from it."""

    date: dt.date
    rain: float
    wind: float
    rh_min: float
    rh_mean: float
    eto: float
    daylight: float


def _rows(scenario: Scenario) -> list[_Day]:
    """Read the plain weather table; ETo by FAO-56 eq. 6 with its chapter 3."""
    assert scenario.weather.wind_height in (None, 2.0)
    (path,) = scenario.weather_paths
    with path.open(encoding="utf-8") as file:
        table = list(csv.DictReader(line for line in file if not line.startswith("#")))
    return [_day(row, math.radians(scenario.site.latitude), scenario.site.elevation) for row in table]


def _saturation(celsius: float) -> float:
    return 0.6108 * math.exp(17.27 * celsius / (celsius + 237.3))  # eq. 11


def _day(row: dict[str, str], latitude: float, elevation: float) -> _Day:
    date = dt.date.fromisoformat(row["date"])
    tmin, tmax, rh_max, rh_min, u2, rain, rs = (
        float(row[key]) for key in ("tmin", "tmax", "rh_max", "rh_min", "wind", "rain", "radiation")
    )
    j = date.timetuple().tm_yday
    dr = 1 + 0.033 * math.cos(2 * math.pi * j / 365)
    delta = 0.409 * math.sin(2 * math.pi * j / 365 - 1.39)
    ws = math.acos(-math.tan(latitude) * math.tan(delta))  # eq. 25
    ra = (
        24 * 60 / math.pi * 0.0820 * dr
        * (ws * math.sin(latitude) * math.sin(delta) + math.cos(latitude) * math.cos(delta) * math.sin(ws))
    )  # fmt: skip
    t = (tmin + tmax) / 2
    slope = 4098 * _saturation(t) / (t + 237.3) ** 2
    gamma = 0.665e-3 * 101.3 * ((293 - 0.0065 * elevation) / 293) ** 5.26
    es = (_saturation(tmax) + _saturation(tmin)) / 2
    ea = (_saturation(tmin) * rh_max + _saturation(tmax) * rh_min) / 200
    clear = min(rs / ((0.75 + 2e-5 * elevation) * ra), 1.0)
    long_wave = (
        4.903e-9 * ((tmax + 273.16) ** 4 + (tmin + 273.16) ** 4) / 2
        * (0.34 - 0.14 * math.sqrt(ea)) * (1.35 * clear - 0.35)
    )  # fmt: skip
    rn = 0.77 * rs - long_wave
    eto = (0.408 * slope * rn + gamma * 900 / (t + 273) * u2 * (es - ea)) / (slope + gamma * (1 + 0.34 * u2))
    return _Day(date, rain, u2, rh_min, (rh_max + rh_min) / 2, max(eto, 0.0), 24 / math.pi * ws)


def _bounded(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


def _pan_coefficient(day: _Day, cover: str, distance: float) -> float:
    """FAO-56 Table 7, Class A pan."""
    rh, u2, fet = _bounded(day.rh_mean, 30, 84), _bounded(day.wind, 1, 8), _bounded(distance, 1, 1000)
    lf, lw = math.log(fet), math.log(86.4 * u2)
    if cover == "green":
        return 0.108 - 0.0286 * u2 + 0.0422 * lf + 0.1434 * math.log(rh) - 0.000631 * lf**2 * math.log(rh)
    return (
        0.61 + 0.00341 * rh - 0.000162 * u2 * rh - 0.00000959 * u2 * fet + 0.00327 * u2 * lf
        - 0.00289 * u2 * lw - 0.0106 * lw * lf + 0.00063 * lf**2 * lw
    )  # fmt: skip


def _hourly_shares(daylight: float, night_share: float) -> list[float]:
    """A day's evaporation by the hour: a half sine while the sun is up, the night's share in the dark hours."""
    sunrise = 12 - daylight / 2

    def gone(hour: float) -> float:
        up = _bounded(hour - sunrise, 0, daylight)
        sun = (1 - math.cos(math.pi * up / daylight)) / 2
        return (1 - night_share) * sun + night_share * (hour - up) / (24 - daylight)

    return [gone(hour + 1) - gone(hour) for hour in range(24)]


def _active(fault: Fault | None, date: dt.date) -> bool:
    return (
        fault is not None and (fault.start is None or fault.start <= date) and (fault.end is None or date <= fault.end)
    )


def _left_by_clogging(fault: Fault, date: dt.date) -> float:
    assert isinstance(fault, Clogged)
    if fault.share is not None:
        return 1 - fault.share
    assert fault.rate is not None
    assert fault.start is not None
    return max(0.0, 1 - fault.rate * ((date - fault.start).days + 0.5) / _MONTH)


def _refuse(scenario: Scenario) -> None:
    for controller in scenario.controller.values():
        assert controller.pan.evaporation == "from-eto"
        assert not controller.valve.press_times
        assert controller.pipe is None
        for bed in controller.bed.values():
            assert bed.method == "single"
            assert isinstance(bed, PlantedBed)
            assert getattr(bed.plants, "stages_gdd", None) is None
            assert not hasattr(bed.soil, "layers")
            assert bed.mulch is bed.curve_number is bed.leaching is bed.wetting_interval is None
    assert scenario.what_if.heat is None
    assert all(not getattr(supply, "shape", []) for supply in scenario.supply.values())


def thirstiest_week(scenario: Scenario, start: dt.date) -> dt.date:
    """First of the seven days in which the pans, on average, lose most by evaporation less rain."""
    days = [day for day in _rows(scenario) if start <= day.date <= scenario.season.end]
    net = [
        float(np.mean([_pan_mm(day, controller.pan) for controller in scenario.controller.values()])) - day.rain
        for day in days
    ]
    weeks = [sum(net[i : i + 7]) for i in range(len(net) - 6)]
    return days[weeks.index(max(weeks))].date


def _pan_mm(day: _Day, pan: Any) -> float:
    return float(day.eto / _pan_coefficient(day, pan.fetch.cover, pan.fetch.distance) * pan.exposure)


def naive_season(scenario: Scenario, fault: Fault | None = None, *, step_seconds: float = 5.0) -> NaiveSeason:
    """
    Step one season, sound or with one fault.

    Parameters
    ----------
    scenario : Scenario
        Its own `[[fault]]` tables are not looked at.
    fault : Fault, optional
    step_seconds : float
        Of pans, valves and tanks; must divide the hour.
    """
    _refuse(scenario)
    weather = _rows(scenario)
    days = [day for day in weather if scenario.season.start <= day.date <= scenario.season.end]
    names, supplies = list(scenario.controller), list(scenario.supply)
    count = len(days)
    whole = (count, len(names))
    evaporation = np.zeros((count, 24, len(names)))  # kg/h
    rain, drain, trip, reset, refill = (np.zeros(whole) for _ in range(5))  # kg/h, kg/h, kg, kg, factor
    area, rim, floor = (np.zeros(len(names)) for _ in range(3))
    where = np.array([supplies.index(c.supply) for c in scenario.controller.values()])
    emitters = []  # rows of controller, flow at 1 kPa, exponent; first the refills
    bed_keys, beds = [], []
    clogged = np.ones((count, sum(len(c.bed) for c in scenario.controller.values())))

    for place, (name, controller) in enumerate(scenario.controller.items()):
        pan, swing = controller.pan, controller.valve.swing_kg
        area[place] = pan.area
        rim[place] = swing + pan.freeboard * pan.area
        floor[place] = swing - (pan.depth - pan.freeboard) * pan.area
        emitters.append((place, *_law(controller.valve.refill, scenario.supply[controller.supply])))
        mine = fault is not None and getattr(fault, "controller", None) in (None, name)
        for d, day in enumerate(days):
            here = fault if mine and _active(fault, day.date) else None
            kind = here.kind if here else None
            factor = 1.0
            if here and kind in ("mesh", "shade"):
                factor = here.factor
            if here and kind == "algae":
                factor = 1 - here.share
            mm = _pan_mm(day, pan) * factor
            for hour, share in enumerate(_hourly_shares(day.daylight, pan.night_share)):
                evaporation[d, hour, place] = mm * share * pan.area
            rain[d, place] = day.rain / 24 * pan.area * (here.factor if here and kind == "rain-differs" else 1.0)
            if here and kind in ("leak", "animals"):
                drain[d, place] = here.loss
            if here and kind == "splash":
                drain[d, place] = max(0.0, day.wind - here.above) * here.splash / 24 * pan.area
            shift = (here.trip or 0.0) if here and kind == "knocked" else 0.0
            trip[d, place] = shift
            reset[d, place] = shift + swing + ((here.swing or 0.0) if here and kind == "knocked" else 0.0)
            refill[d, place] = _left_by_clogging(here, day.date) if here and kind == "clogged-refill" else 1.0
    for place, (name, controller) in enumerate(scenario.controller.items()):
        for bed_name, bed in controller.bed.items():
            emitters.append((place, *_law(bed.emitters, scenario.supply[controller.supply], bed.emitters.count)))
            key = f"{name}/{bed_name}"
            if isinstance(fault, CloggedEmitters) and (
                fault.bed == key or (fault.bed is None and fault.controller in (None, name))
            ):  # fmt: skip
                for d, day in enumerate(days):
                    if _active(fault, day.date):
                        clogged[d, len(beds)] = _left_by_clogging(fault, day.date)
            bed_keys.append(key)
            beds.append(bed)

    tanks, inflow = _tanks(scenario, days)
    cut = np.zeros((count, len(supplies)), dtype=np.bool_)
    for s, name in enumerate(supplies):
        for d, day in enumerate(days):
            cut[d, s] = isinstance(fault, SupplyCut) and fault.supply in (None, name) and _active(fault, day.date)
    litres, refilled, openings, leaked, spilled = _step_pans(
        evaporation, rain, drain, trip, reset, refill, area, rim, floor, where, np.array(emitters), clogged, tanks,
        inflow, cut, step_seconds / 3600.0,
    )  # fmt: skip

    season = NaiveSeason(Harm(0, float(leaked.sum() + spilled.sum())), eto=sum(day.eto for day in days))
    season.litres = float(litres.sum() + refilled.sum())
    for place, name in enumerate(names):
        season.openings[name] = int(openings[place])
        season.leaked[name] = float(leaked[place])
        season.spilled[name] = float(spilled[place])
    for b, (key, bed) in enumerate(zip(bed_keys, beds, strict=True)):
        demand = _demand(bed, weather, days)
        depth = litres[:, b] / bed.area
        _, season.drained[key] = _bucket(bed, days, demand, depth)
        season.stress[key], _ = _bucket(bed, days, demand, depth * bed.uniformity)
        season.drained[key] *= bed.area
        season.bed_litres[key] = float(litres[:, b].sum())
        season.harm.stress_days += season.stress[key]
        season.harm.wasted_litres += season.drained[key]
    return season


def _law(emitter: Any, supply: Any, count: int = 1) -> tuple[float, float]:
    """Flow at 1 kPa, and the exponent; a flow measured in place is taken to hold at the mains' pressure."""
    at = emitter.at if emitter.at is not None else supply.pressure
    return count * emitter.flow / at**emitter.exponent, emitter.exponent


def _tanks(scenario: Scenario, days: Sequence[_Day]) -> tuple[np.ndarray, np.ndarray]:
    """Of each supply: pressure or -1, volume, start [L], footprint, outlet height, top-up; and litres an hour off the roof."""
    table = []
    inflow = np.zeros((len(days), len(scenario.supply)))
    for s, supply in enumerate(scenario.supply.values()):
        if supply.kind == "mains":
            table.append((supply.pressure, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0))
            continue
        assert supply.footprint is not None
        top = (supply.top_up.below, supply.top_up.rate) if supply.top_up else (0.0, 0.0)
        start = supply.volume * supply.full_at_start
        table.append((-1.0, supply.volume, start, supply.footprint, supply.outlet_height, *top))
        if supply.roof:
            to_flush = supply.roof.first_flush * 1000.0
            for d, day in enumerate(days):
                if day.rain <= 0:
                    to_flush = supply.roof.first_flush * 1000.0
                flushed = min(to_flush, day.rain)
                to_flush -= flushed
                inflow[d, s] = (day.rain - flushed) * supply.roof.area * supply.roof.runoff / 24
    return np.array(table), inflow


@numba.njit
def _step_pans(
    evaporation, rain, drain, trip, reset, refill, area, rim, floor, where, emitters, clogged, tanks, inflow, cut, hours
):
    days, _, pans = evaporation.shape
    supplies = len(tanks)
    beds = len(emitters) - pans
    litres, flow, wanted = np.zeros((days, beds)), np.zeros(pans + beds), np.zeros(supplies)
    refilled, leaked, spilled = np.zeros(pans), np.zeros(pans), np.zeros(pans)
    openings = np.zeros(pans)
    w = reset[0].copy()
    is_open = np.zeros(pans, dtype=np.bool_)
    volume = tanks[:, 2].copy()
    steps = round(1.0 / hours)
    for d in range(days):
        for hour in range(24):
            for _ in range(steps):
                for s in range(supplies):
                    if tanks[s, 0] < 0:
                        top_up = tanks[s, 6] * hours if volume[s] < tanks[s, 5] else 0.0
                        volume[s] = min(tanks[s, 1], volume[s] + inflow[d, s] * hours + top_up)
                wanted[:] = 0.0
                for e in range(pans + beds):
                    c = int(emitters[e, 0])
                    s = where[c]
                    kpa = tanks[s, 0]
                    if kpa < 0:
                        kpa = 9.80665 * (tanks[s, 4] + volume[s] / 1000.0 / tanks[s, 3]) if volume[s] > 0 else 0.0
                    flow[e] = 0.0
                    if is_open[c] and not cut[d, s] and kpa > 0:
                        clear = refill[d, e] if e < pans else clogged[d, e - pans]
                        flow[e] = emitters[e, 1] * kpa ** emitters[e, 2] * clear * hours
                    wanted[s] += flow[e]
                for e in range(pans + beds):
                    c = int(emitters[e, 0])
                    s = where[c]
                    if (
                        tanks[s, 0] < 0 and wanted[s] > 0
                    ):  # the last of a tank may not last the step: all have their share
                        flow[e] *= min(1.0, volume[s] / wanted[s])
                    if e < pans:
                        refilled[c] += flow[e]
                    else:
                        litres[d, e - pans] += flow[e]
                for s in range(supplies):
                    if tanks[s, 0] < 0:
                        volume[s] -= min(wanted[s], volume[s])
                for c in range(pans):
                    came = flow[c]
                    w[c] += came + rain[d, c] * hours
                    gone = min(drain[d, c] * hours, w[c] - floor[c])
                    leaked[c] += gone
                    w[c] -= gone
                    w[c] -= min(evaporation[d, hour, c] * hours, w[c] - floor[c])
                    if w[c] > rim[c]:
                        spilled[c] += w[c] - rim[c]
                        w[c] = rim[c]
                    if is_open[c] and w[c] >= reset[d, c]:
                        is_open[c] = False
                    elif not is_open[c] and w[c] <= trip[d, c]:
                        is_open[c] = True
                        openings[c] += 1
    return litres, refilled, openings, leaked, spilled


@dataclass
class _Demand:
    etc: list[float]
    taw: list[float]
    raw: list[float]
    grows: list[bool]


def _table(name: str, key: str) -> dict[str, str]:
    with (_TABLES / name).open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if key in [row["name"], *row["also"].split(";")]:
                return row
    raise KeyError(key)


def _demand(bed: Bed, weather: Sequence[_Day], days: Sequence[_Day]) -> _Demand:
    """ETc, TAW and RAW of each day: FAO-56 chapters 6 and 8."""
    assert isinstance(bed, PlantedBed)
    plants, soil = bed.plants, bed.soil
    if isinstance(soil, NamedSoil):
        row = _table("soils.csv", soil.name)
        held = float(row["field_capacity"]) - float(row["wilting_point"])
    else:
        held = soil.field_capacity - soil.wilting_point
    if not isinstance(plants, NamedPlants):
        roots = [plants.root_depth] * len(days)
        factors = (plants.kc,) if isinstance(plants, OwnPlants) else plants.factors
        kcs = [factors[(day.date.month - 1) % len(factors)] for day in days]
        share, grows = plants.depletion, [True] * len(days)
    else:
        row = _table("plants.csv", plants.name)
        share = plants.depletion or float(row["p_at_etc_5"])
        kcs, roots, grows = _staged(bed, row, weather, days)
    assert share is not None
    etc = [kc * day.eto for kc, day in zip(kcs, days, strict=True)]
    taw = [1000 * held * root * bed.root_fraction for root in roots]
    raw = [_bounded(share + 0.04 * (5 - e), 0.1, 0.8) * t for e, t in zip(etc, taw, strict=True)]
    return _Demand(etc, taw, raw, grows)


def _staged(
    bed: PlantedBed, row: dict[str, str], weather: Sequence[_Day], days: Sequence[_Day]
) -> tuple[list[float], list[float], list[bool]]:
    plants = bed.plants
    assert isinstance(plants, NamedPlants)
    assert bed.planted is not None
    lengths = plants.stages or [int(row[key]) for key in ("l_ini_d", "l_dev_d", "l_mid_d", "l_late_d")]
    ini, dev, mid, late = (sum(lengths[: i + 1]) for i in range(4))
    height = plants.height or float(row["height_m"])

    def adjusted(kc: float, first: int, last: int) -> float:
        """Eq. 62 and 65, over the stage's days that the weather file holds."""
        assert bed.planted is not None
        stage = [day for day in weather if first <= (day.date - bed.planted).days < last]
        if not stage:
            return kc
        u2 = _bounded(sum(day.wind for day in stage) / len(stage), 1, 6)
        rh = _bounded(sum(day.rh_min for day in stage) / len(stage), 20, 80)
        return kc + (0.04 * (u2 - 2) - 0.004 * (rh - 45)) * (_bounded(height, 0.1, 10) / 3) ** 0.3

    kc_ini = plants.kc_ini or float(row["kc_ini"])
    kc_mid = adjusted(plants.kc_mid or float(row["kc_mid"]), dev, mid)
    kc_end = plants.kc_end or float(row["kc_end"])
    if kc_end >= 0.45:
        kc_end = adjusted(kc_end, mid, late)
    deep = plants.root_depth or float(row["root_depth_m"])
    shallow = deep if row["kind"] == "perennial" else min(float(row["root_depth_start_m"]), deep)
    kcs, roots, grows = [], [], []
    for day in days:
        age = (day.date - bed.planted).days + 1  # eq. 66 counts the day of planting as day 1
        grown = _bounded(age / dev, 0, 1)
        grows.append(1 <= age <= late)
        roots.append(shallow + grown * (deep - shallow))
        if age <= ini or age > late:  # before and after the plants, the ground is bare and counts like young ones'
            kcs.append(kc_ini)
        elif age <= dev:
            kcs.append(kc_ini + (age - ini) / (dev - ini) * (kc_mid - kc_ini))
        elif age <= mid:
            kcs.append(kc_mid)
        else:
            kcs.append(kc_mid + (age - mid) / (late - mid) * (kc_end - kc_mid))
    return kcs, roots, grows


def _bucket(bed: Bed, days: Iterable[_Day], demand: _Demand, irrigation: np.ndarray) -> tuple[int, float]:
    """Days of growth with Ks below 1, and mm drained: FAO-56 eq. 84, 85, 88."""
    depletion = bed.initial_depletion * demand.taw[0]
    stressed, drained = 0, 0.0
    columns = zip(days, demand.etc, demand.taw, demand.raw, demand.grows, irrigation, strict=True)
    for day, etc, taw, raw, grows, given in columns:
        # what comes in the day is there for the day: FAO-56's worked tables take rain and irrigation off at its start
        morning = max(depletion - day.rain - given, 0.0)
        ks = 1.0
        if morning > raw:
            ks = max(0.0, (taw - morning) / (taw - raw))
            stressed += grows
        depletion += ks * etc - day.rain - given
        if depletion < 0:
            drained -= depletion
            depletion = 0.0
        depletion = min(depletion, taw)
    return stressed, drained
