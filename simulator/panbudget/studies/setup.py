"""
Setting up: what to set, and how to check it with a jug, a scale and a ruler; and the refill flow month by month.

Units: mm, g, mL per minute, litres, minutes. Figures by month are means over every year whose season the record holds.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from panbudget.errors import Problem, ScenarioError, nearest
from panbudget.scenario.garden import Scenario
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.season.run import run_forcing
from panbudget.season.years import in_year, years_at_hand
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

__all__ = ["Gain", "MonthSheet", "SetUp", "ValveSheet", "ml_per_minute", "set_up"]

TOLERANCE = 0.05  # of a flow or a swing; as near as a jug and a kitchen scale come (common practice, no source)
DRY_RAIN = 0.1  # mm; a day below is dry
RULER_DAYS = 3
JUG_MINUTES = 10
# how far a small valve or a set of nozzles can be turned from where it is; common practice, no source
LEAST_TURN, MOST_TURN = 0.25, 4.0
OUTRUN = 1.5  # times the hottest hour's evaporation that the refill must give, or the valve sticks open


TURNED = "turned each month"


def ml_per_minute(litres_per_hour: float) -> float:
    """
    Turn a flow for the jug.

    Examples
    --------
    >>> ml_per_minute(2.4)
    40.0
    """
    return litres_per_hour * 1000.0 / 60.0


@dataclass(frozen=True)
class MonthSheet:
    """
    One calendar month of the season, at one valve.

    Parameters
    ----------
    month : int
        1 to 12.
    days : float
        Days of it in the season.
    drop_mm, drop_low_mm, drop_high_mm : float
        What the pan loses in three dry days: mean, least and most of all runs of three dry days in the month. [mm]
    dry_runs : int
        How many such runs; none, and the drop is three of the month's mean days.
    openings_a_week, pressed_a_week : float
        All openings that began, and those of them that were pressed by hand. [1/week]
    litres_a_week : float
        Water, the refill's included. [L/week]
    minutes : float or None
        Length of an opening, pressed ones among them, the median; None if there was none. [min]
    supply_mm, need_mm : float
        What the chosen bed's driest quarter got and needed, a season. [mm]
    refill : int
        Flow that makes supply match need. [mL/min]
    bound : str
        "least" or "most" where that would be beyond what can be set; "idle" where the bed does not grow; else empty.
    """

    month: int
    days: float
    drop_mm: float
    drop_low_mm: float
    drop_high_mm: float
    dry_runs: int
    openings_a_week: float
    pressed_a_week: float
    litres_a_week: float
    minutes: float | None
    supply_mm: float
    need_mm: float
    refill: int
    bound: str

    @property
    def name(self) -> str:
        """The month's name."""
        return dt.date(2001, self.month, 1).strftime("%B")


@dataclass(frozen=True)
class Gain:
    """
    What one way of setting the refill gives, a season.

    Parameters
    ----------
    way : str
    refill : float or None
        The one flow; None where it is turned each month. [mL/min]
    stress_days : float
        Chosen bed's driest quarter.
    drained_mm : float
        Below the chosen bed's roots, its mean. [mm]
    other_stress_days : float
        Of the other beds at this valve, driest quarters added.
    litres : float
        All water of this valve. [L]
    """

    way: str
    refill: float | None
    stress_days: float
    drained_mm: float
    other_stress_days: float
    litres: float


@dataclass(frozen=True)
class ValveSheet:
    """
    All that goes on one valve's page.

    Parameters
    ----------
    name : str
    vessels : tuple of (str, float)
        Each kind of vessel in words, and the width that its side view has. [m]
    counts : tuple of int
        How many there are of each kind.
    area : float
        [m²]
    depth_mm, freeboard_mm, swing_mm : float
    water_at_reset_kg : float
    swing_g, counterweight_g : float
        Water between trip and reset; the difference of the two weighings.
    arm_ratio : float
    refill : float
        At the supply's pressure. [mL/min]
    minutes_by_jug : float
        Swing over refill flow: an opening without sun. [min]
    emitters : dict
        Bed -> (how many, each one's flow). [mL/min]
    press_times : tuple of str
    months : tuple of MonthSheet
    bed : str
        The bed that the calendar goes by.
    gains : tuple of Gain
        As it is; one flow all season; turned each month.
    other_model : float
        What the other pan model gives, over what the one used gives. [-]
    model : str
    """

    name: str
    vessels: tuple[tuple[str, float], ...]
    counts: tuple[int, ...]
    area: float
    depth_mm: float
    freeboard_mm: float
    swing_mm: float
    water_at_reset_kg: float
    swing_g: float
    counterweight_g: float
    arm_ratio: float
    refill: float
    minutes_by_jug: float
    emitters: dict[str, tuple[int, float]]
    press_times: tuple[str, ...]
    months: tuple[MonthSheet, ...]
    bed: str
    gains: tuple[Gain, ...]
    other_model: float
    model: str


@dataclass(frozen=True)
class SetUp:
    """
    What to set, valve by valve.

    Parameters
    ----------
    scenario : Scenario
    years : tuple of int
        Whose seasons the figures are means of.
    sheets : dict of ValveSheet
    seasons : tuple of Season
        As described, one a year.
    assumptions : tuple of str
    """

    scenario: Scenario
    years: tuple[int, ...]
    sheets: dict[str, ValveSheet]
    seasons: tuple[Season, ...]
    assumptions: tuple[str, ...]

    def table(self) -> pd.DataFrame:
        """Return a row for each valve and month, as `setup.csv` holds them."""
        rows = []
        for name, sheet in self.sheets.items():
            for month in sheet.months:
                rows.append(
                    {
                        "controller": name,
                        "month": month.month,
                        "days": month.days,
                        "drop_in_three_dry_days_mm": month.drop_mm,
                        "drop_low_mm": month.drop_low_mm,
                        "drop_high_mm": month.drop_high_mm,
                        "dry_runs": month.dry_runs,
                        "openings_a_week": month.openings_a_week,
                        "pressed_a_week": month.pressed_a_week,
                        "minutes": month.minutes,
                        "litres_a_week": month.litres_a_week,
                        "bed": sheet.bed,
                        "supply_mm": month.supply_mm,
                        "need_mm": month.need_mm,
                        "refill_ml_min": month.refill,
                        "bound": month.bound,
                    }
                )
        return pd.DataFrame(rows)


def set_up(
    scenario: Scenario,
    *,
    beds: list[str] | None = None,
    weather: Weather | None = None,
    step: Callable[[str], None] = lambda text: None,
) -> SetUp:
    """
    Work out what to set, and the refill calendar.

    Parameters
    ----------
    scenario : Scenario
    beds : list of str, optional
        "CONTROLLER/BED" that the calendar goes by, at most one a controller; the neediest if left out: the one whose
        driest quarter gets the least of its net demand.
    weather : Weather, optional
        Already read.
    step : callable
        Told what is being done.

    Returns
    -------
    SetUp

    Raises
    ------
    ScenarioError, WeatherError

    Notes
    -----
    Water to the beds is bed flow ÷ refill flow × the pan's net evaporation, so that the flow which makes a month's supply
    match its need is the present flow × supply ÷ need. Need by month is what exact refill gives plus what it lets the
    soil fall by: ETc less the rain that is kept. Flows are rounded to whole mL a minute, kept within a quarter and four
    times the present one, and above 1.5 times what the sun takes from the pan in the season's hottest hour. The gains
    come from replaying the seasons with these flows, month after month.
    """
    chosen = _chosen(scenario, beds or [])
    left_out = scenario.what_if.heat is not None
    plain = scenario.changed({"what_if": {"heat": None}, "fault": []}) if left_out or scenario.fault else scenario
    weather = weather or read_scenario_weather(plain)
    years = years_at_hand(plain, weather, plain.season.start, plain.season.end) or [plain.season.start.year]
    gardens = [in_year(plain, year) for year in years]
    seasons = []
    for year, garden in zip(years, gardens, strict=True):
        step(f"replaying {year}")
        seasons.append(replay(garden, weather=weather))
    sheets = {}
    for name in plain.controller:
        step(f"the refill calendar of {name}")
        sheets[name] = _sheet(name, gardens, seasons, chosen.get(name))
    assumed = [text for season in seasons for text in season.assumptions]
    if left_out:
        assumed.insert(0, "the made heat wave of [what_if.heat] is left out here")
    if scenario.fault:
        assumed.insert(0, "the faults of [[fault]] are left out here: the pages set up a sound garden")
    return SetUp(scenario, tuple(years), sheets, tuple(seasons), tuple(dict.fromkeys(assumed)))


def _chosen(scenario: Scenario, beds: list[str]) -> dict[str, str]:
    known = [f"{name}/{bed}" for name, part in scenario.controller.items() for bed in part.bed]
    problems, chosen = [], {}
    for key in beds:
        if key not in known:
            near = nearest(key, known)
            hint = f'; did you mean "{near}"?' if near else f"; the file has {', '.join(known)}"
            problems.append(Problem.of_text(f'there is no bed "{key}"{hint}', "bed", key))
            continue
        controller = key.split("/")[0]
        if controller in chosen:
            problems.append(
                Problem.of_text(f"two beds are chosen at {controller}; a refill calendar goes by one", "bed", key)
            )
        chosen[controller] = key
    if problems:
        raise ScenarioError(*problems, file=str(scenario.path))
    return chosen


def _sheet(name: str, gardens: list[Scenario], seasons: list[Season], bed: str | None) -> ValveSheet:
    described, first = gardens[0].controller[name], seasons[0]
    pan, valve = described.pan, described.valve
    forcing = first.forcing.pan_of[name]
    refill = ml_per_minute(forcing.refill_flow)
    bed = bed or _neediest(name, seasons)
    least = OUTRUN * ml_per_minute(max(_hottest_hour(season, name) for season in seasons))
    months = _months(name, bed, seasons, refill, least)
    supply, need = sum(m.supply_mm for m in months), sum(m.need_mm for m in months)
    one, _ = _turned(refill, supply, need, least)
    settings = (
        ("as it is", dict.fromkeys((m.month for m in months), refill)),
        ("one flow all season", dict.fromkeys((m.month for m in months), float(one))),
        (TURNED, {m.month: float(m.refill) for m in months}),
    )
    gains = tuple(_gain(way, name, bed, seasons, flows) for way, flows in settings)
    arm = valve.arm_ratio
    totals = {
        model: sum(float(s.forcing.pan_of[name].evaporation[model].sum()) for s in seasons)
        for model in forcing.evaporation
    }
    other = "energy-balance" if pan.evaporation != "energy-balance" else "from-eto"
    return ValveSheet(
        name=name,
        vessels=tuple(_vessel(v) for v in pan.vessels),
        counts=tuple(v.count for v in pan.vessels),
        area=pan.area,
        depth_mm=pan.depth,
        freeboard_mm=pan.freeboard,
        swing_mm=valve.swing_kg / pan.area,
        water_at_reset_kg=pan.water_at_reset,
        swing_g=1000.0 * valve.swing_kg,
        counterweight_g=1000.0 * valve.swing_kg / arm,
        arm_ratio=arm,
        refill=refill,
        minutes_by_jug=60.0 * valve.swing_kg / forcing.refill_flow,
        emitters={
            key: (part.emitters.count, ml_per_minute(forcing.bed_flows[key] / part.emitters.count))
            for key, part in described.bed.items()
        },
        press_times=tuple(valve.press_times),
        months=months,
        bed=bed,
        gains=gains,
        other_model=totals[other] / totals[pan.evaporation] if totals[pan.evaporation] > 0.0 else 1.0,
        model=pan.evaporation,
    )


def _vessel(vessel: Any) -> tuple[str, float]:
    count = f"{vessel.count} × " if vessel.count > 1 else ""
    if vessel.diameter is not None:
        return f"{count}round, {1000 * vessel.diameter:.0f} mm across", vessel.diameter
    if vessel.area is not None:
        across = float(np.sqrt(4.0 * vessel.area / np.pi))
        return f"{count}{vessel.area:.3f} m² of water surface", across
    return f"{count}{1000 * vessel.length:.0f} × {1000 * vessel.width:.0f} mm", max(vessel.length, vessel.width)


def _hottest_hour(season: Season, name: str) -> float:
    """The most that the pan loses in one hour of the season. [L/h]"""
    index = list(season.controllers).index(name)
    pans, days = season.forcing.pans, season.forcing.days
    share = (
        days.daylight_share.max(axis=1) * (1.0 - pans.night_share[index])
        + days.dark_share.max(axis=1) * pans.night_share[index]
    )
    return float((season.controllers[name]["pan_mm"].to_numpy(float) * share * pans.area[index]).max())


def _need(season: Season, key: str) -> pd.Series[float]:
    """What exact refill asks for, day by day: what it gives, and what it lets the soil fall by. [mm]"""
    table = season.beds[key]
    controller, bed = key.split("/")
    start = season.scenario.controller[controller].bed[bed].initial_depletion * float(table["taw_mm"].iloc[0])
    left = table["exact_depletion_mm"]
    fallen = left - left.shift(1, fill_value=start)
    return (table["net_demand_mm"] + fallen).where(table["growing"], 0.0)


def _neediest(name: str, seasons: list[Season]) -> str:
    """The bed whose driest quarter gets the least of its net demand; the first of those that need nothing."""
    ratios = {}
    for key in seasons[0].beds:
        if key.split("/")[0] == name:
            need = sum(float(_need(season, key).sum()) for season in seasons)
            got = sum(_got(season, key) for season in seasons)
            ratios[key] = got / need if need > 0.0 else np.inf
    return min(ratios, key=lambda key: ratios[key])


def _got(season: Season, key: str) -> float:
    table = season.beds[key]
    return float(table["driest_irrigation_mm"].where(table["growing"], 0.0).sum())


def _turned(refill: float, supply: float, need: float, least: float) -> tuple[int, str]:
    """The flow that makes supply match need, within what can be set. [mL/min]"""
    low, high = max(LEAST_TURN * refill, least), max(MOST_TURN * refill, least)
    wanted = refill * supply / need if need > 0.0 else np.inf
    if wanted < low:
        return int(np.ceil(low)), "least"
    if wanted > high:
        return int(high), "most"
    return max(round(wanted), 1), ""


def _months(name: str, bed: str, seasons: list[Season], refill: float, least: float) -> tuple[MonthSheet, ...]:
    valve = pd.concat([season.controllers[name] for season in seasons])
    watered = pd.concat([s.beds[bed]["driest_irrigation_mm"].where(s.beds[bed]["growing"], 0.0) for s in seasons])
    needed = pd.concat([_need(season, bed) for season in seasons])
    began = pd.concat([_openings_begun(season, name) for season in seasons])
    order = list(dict.fromkeys(pd.DatetimeIndex(seasons[0].days.index).month))
    sheets = []
    for month in order:
        of_valve = valve[pd.DatetimeIndex(valve.index).month == month]
        runs = np.concatenate([_dry_runs(season, name, month) for season in seasons])
        mean = RULER_DAYS * float(of_valve["pan_mm"].mean())
        supply = float(watered[pd.DatetimeIndex(watered.index).month == month].sum()) / len(seasons)
        need = float(needed[pd.DatetimeIndex(needed.index).month == month].sum()) / len(seasons)
        begun = began[began["month"] == month]
        minutes = begun["minutes"].dropna()
        grows = any(
            bool(s.beds[bed]["growing"].to_numpy(bool)[pd.DatetimeIndex(s.days.index).month == month].any())
            for s in seasons
        )
        # other beds may still want the present flow when this one does not grow
        flow, bound = _turned(refill, supply, need, least) if grows else (round(refill), "idle")
        sheets.append(
            MonthSheet(
                month=int(month),
                days=len(of_valve) / len(seasons),
                drop_mm=float(runs.mean()) if len(runs) else mean,
                drop_low_mm=float(runs.min()) if len(runs) else mean,
                drop_high_mm=float(runs.max()) if len(runs) else mean,
                dry_runs=len(runs),
                openings_a_week=7.0 * float(of_valve["openings"].mean()),
                pressed_a_week=7.0 * float((begun["cause"] == "press").sum()) / len(of_valve),
                litres_a_week=7.0 * float(of_valve["litres"].mean()),
                minutes=float(minutes.median()) if len(minutes) else None,
                supply_mm=supply,
                need_mm=need,
                refill=flow,
                bound=bound,
            )
        )
    return tuple(sheets)


def _openings_begun(season: Season, name: str) -> pd.DataFrame:
    """Openings that began within the season: ``month``, ``cause``, and ``minutes``, missing where one did not end."""
    openings = season.openings
    own = openings[(openings["controller"] == name) & (openings["start_h"] >= 0.0)]
    start = pd.DatetimeIndex(season.days.index[0] + pd.to_timedelta(own["start_h"], unit="h"))
    minutes = own["minutes"].where(own["end_h"].notna()).to_numpy(float)
    return pd.DataFrame({"month": start.month, "cause": own["cause"].to_numpy(), "minutes": minutes})


def _dry_runs(season: Season, name: str, month: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """What the pan loses in each run of three dry days that lies in a month. [mm]"""
    inside = pd.DatetimeIndex(season.days.index).month == month
    dry = (season.days["rain_mm"].to_numpy(float) < DRY_RAIN) & inside
    pan = season.controllers[name]["pan_mm"].to_numpy(float)
    if len(pan) < RULER_DAYS:
        return np.zeros(0)
    windows = np.lib.stride_tricks.sliding_window_view(dry, RULER_DAYS).all(axis=1)
    sums = np.lib.stride_tricks.sliding_window_view(pan, RULER_DAYS).sum(axis=1)
    return np.asarray(sums[windows], dtype=np.float64)


def _gain(way: str, name: str, bed: str, seasons: list[Season], flows: dict[int, float]) -> Gain:
    """Run the seasons with a flow for each month, one month after the other. [mL/min]"""
    stress = drained = others = litres = 0.0
    for season in seasons:
        forcing = season.forcing
        controller = list(season.controllers).index(name)
        own = forcing.pan_of[name].refill_flow
        turned = np.array([flows[month] * 60.0 / 1000.0 for month in forcing.dates.month])  # L/h
        refill, through = forcing.pans.refill_flow.copy(), forcing.pans.valve_flow.copy()
        refill[controller] *= turned / own
        through[controller] += turned - own
        pans = forcing.pans._replace(refill_flow=refill, valve_flow=through)
        state = season.began.copy()
        out, _ = run_forcing(dataclasses.replace(forcing, pans=pans), state)
        litres += float(out.drawn[controller].sum())
        for index, key in enumerate(season.beds):
            if key.split("/")[0] == name:
                mean = index * len(forcing.lanes) + forcing.lanes.index("mean")
                driest = index * len(forcing.lanes) + forcing.lanes.index("driest_quarter")
                short = float(((out.ks[driest] < 1.0) & (forcing.beds.growing[index] > 0)).sum())
                stress += short if key == bed else 0.0
                others += 0.0 if key == bed else short
                drained += float(out.deep_percolation[mean].sum()) if key == bed else 0.0
    count = len(seasons)
    one = flows[next(iter(flows))] if way != TURNED else None
    return Gain(way, one, stress / count, drained / count, others / count, litres / count)
