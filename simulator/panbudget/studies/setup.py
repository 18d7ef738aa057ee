"""
Setting up: what to set, and how to check it with a jug, a scale and a ruler; and the refill flow month by month.

Units: mm, g, mL per minute, litres, minutes. Figures by month are means over every year whose season the record holds. How
sure they are, how near a flow or a swing must be set, and whether a calendar makes things worse, is judged over cells: years
with draws of what is uncertain.
"""

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, get_args

import numpy as np
import pandas as pd

from panbudget.engine.compiled import has_compiler
from panbudget.engine.tank import REFERENCE_PRESSURE, emitter_pressure
from panbudget.errors import PanbudgetError, Problem, ScenarioError, did_you_mean
from panbudget.extras import Reported, Step, silent
from panbudget.numeric import Floats
from panbudget.physics.hydraulics import emitter_flow
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.result import Season
from panbudget.season.run import run_forcing
from panbudget.season.totals import hourly_evaporation
from panbudget.studies import ranges
from panbudget.studies.common import Garden, assumptions_of, days_short, growing_lanes, problem, seasons_of_record
from panbudget.weather import Weather
from panbudget.words import PaperSize

#: of a flow or a swing, the coarsest first: as near as a jug and a kitchen scale come, and finer (common practice, no source)
TOLERANCES = (0.05, 0.02)
#: of a month's refill: left as it is, since turning it would leave more days short of water
KEPT = "kept"
DRY_RAIN = 0.1  # mm; a day below is dry
RULER_DAYS = 3
_ALIKE = 0.02  # by which two shares of the cells may part and count as the same; common practice, no source
JUG_MINUTES = 10
#: shares of a full tank at which a jug may be held under the refill emitter
TANK_LEVELS = (0.5, 0.25)
# how far a small valve or a set of nozzles can be turned from where it is; common practice, no source
LEAST_TURN, MOST_TURN = 0.25, 4.0
OUTRUN = 1.5  # times the hottest hour's evaporation that the refill must give, or the valve sticks open


TURNED = "turned each month"

_DROPS = {"_": "mean", "_low_": "min", "_high_": "max"}
_CSV_NAMES = {"drop_mm": "drop_in_three_dry_days_mm", "refill": "refill_ml_min"}
_CSV_NAMES |= {f"refill_{end}": f"refill_ml_min_{end}" for end in ("low", "high")}
_CSV_COLUMNS = (
    *("controller", "month", "days", "drop_in_three_dry_days_mm", "drop_low_mm", "drop_high_mm", "dry_runs"),
    *("openings_a_week", "pressed_a_week", "minutes", "litres_a_week", "bed", "supply_mm", "need_mm"),
    *("refill_ml_min", "bound"),
    *(f"{name}_{end}" for name in ("openings_a_week", "litres_a_week", "refill_ml_min") for end in ("low", "high")),
)


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
class Sure:
    """
    How sure a valve's settings are, over the cells.

    Parameters
    ----------
    share : float
        Of the cells in which no bed of the valve is short of water on more days than wished. [-]
    litres : (float, float)
        A season's, between which the scenario's interval of the cells lies. [L]
    exposure, refill_flow : (float, float), optional
        Between which factors no bed falls below that wish, in as many of the years as asked for; None where one does
        already. [-]
    refill_within, swing_within : float
        Of `TOLERANCES`, within which of the setting the share stays as high as asked for, of the swing as high as it is;
        0 where none does. [-]
    mean_days : tuple of float
        Days short of all beds, a season: of each of the gains. Mean of the cells.
    """

    share: float
    litres: tuple[float, float]
    exposure: tuple[float, float] | None
    refill_flow: tuple[float, float] | None
    refill_within: float
    swing_within: float
    mean_days: tuple[float, ...]


@dataclass(frozen=True, eq=False)
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
    months : DataFrame
        A row for each calendar month of the season:

        - ``month``, 1 to 12, and ``days``, how many days of it lie in the season;
        - ``drop_mm``, ``drop_low_mm``, ``drop_high_mm``: what the pan loses in three dry days, mean, least and most of all
          runs of three dry days in the month; ``dry_runs``: how many such runs. None, and the drop is three of the month's
          mean days;
        - ``openings_a_week``, ``pressed_a_week``: all openings that began, and those of them that were pressed by hand;
          ``litres_a_week``: water, the refill's included; ``minutes``: length of an opening, pressed ones among them, the
          median, not a number if there was none;
        - ``supply_mm``, ``need_mm``: what the chosen bed's driest quarter got and needed, a season;
        - ``refill``: flow that makes supply match need [mL/min], and ``bound``: "least" or "most" where that would be beyond
          what can be set; "idle" where the bed does not grow; "kept" in all months where turning would leave the beds short on
          more days than the present flow, or other beds on a tank that runs dry; else empty;
        - ``openings_a_week``, ``litres_a_week`` and ``refill`` with ``_low`` and ``_high`` behind: between which they lie in
          the scenario's interval of the cells, the refill of the draws, in the mean of the years.
    bed : str
        The bed that the calendar goes by.
    gains : tuple of Gain
        As it is; one flow all season; turned each month.
    other_model : float
        What the other pan model gives, over what the one used gives. [-]
    model : str
    starved_hours : float or None
        Open without water because its tank was empty, a season; None on mains. [h]
    by_level : dict
        Share of a full tank -> the refill flow at it; empty on mains. [mL/min]
    sure : Sure
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
    months: pd.DataFrame
    bed: str
    gains: tuple[Gain, ...]
    other_model: float
    model: str
    starved_hours: float | None
    by_level: dict[float, float]
    sure: Sure

    @property
    def takes_from_others(self) -> bool:
        """Whether the calendar would leave other beds short on more days under a tank that runs dry."""
        return bool(self.starved_hours) and self.gains[-1].other_stress_days > self.gains[0].other_stress_days

    @property
    def is_worse(self) -> bool:
        """Whether the calendar would make things worse: as described or over the cells, or for other beds on such a tank."""
        now, then = (gain.stress_days + gain.other_stress_days for gain in (self.gains[0], self.gains[-1]))
        return then > now or self.sure.mean_days[-1] > self.sure.mean_days[0] or self.takes_from_others


@dataclass(frozen=True, eq=False, repr=False)
class SetUp(Reported):
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
    draws : int
        Over which it is judged, in each year.
    paper : str or None
        "A4" or "Letter"; what goes with the units shown if left out.
    """

    room: ClassVar[str] = "setup"

    scenario: Scenario
    years: tuple[int, ...]
    sheets: dict[str, ValveSheet]
    seasons: tuple[Season, ...]
    assumptions: tuple[str, ...]
    draws: int
    paper: PaperSize | None = None

    def table(self) -> pd.DataFrame:
        """Return a row for each valve and month, as `setup.csv` holds them."""
        parts = [sheet.months.assign(controller=name, bed=sheet.bed) for name, sheet in self.sheets.items()]
        return pd.concat(parts, ignore_index=True).rename(columns=_CSV_NAMES)[list(_CSV_COLUMNS)]


def setup(
    scenario: Garden,
    *,
    beds: list[str] | None = None,
    variants: Sequence[str] = (),
    weather: Weather | None = None,
    paper: PaperSize | None = None,
    step: Step = silent,
) -> SetUp:
    """
    Work out what to set, and the refill calendar.

    Parameters
    ----------
    scenario : Scenario or path
    beds : list of str, optional
        "CONTROLLER/BED" that the calendar goes by, at most one a controller; the neediest if left out: the one whose
        driest quarter gets the least of its net demand.
    variants : sequence of str, optional
        Laid over it in order: names of its own, or files such as `fitted.toml`.
    weather : Weather, optional
        Already read.
    paper : {"A4", "Letter"}, optional
        Of `setup.pdf`; what goes with the units shown if left out.
    step : callable
        Told what is being done.

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
    if paper not in (None, *get_args(PaperSize)):
        raise PanbudgetError(problem("no-paper", f'paper = "{paper}"', known=" or ".join(get_args(PaperSize))))
    scenario = as_scenario(scenario, variants)
    chosen = _chosen(scenario, beds or [])
    plain = scenario.changed({"what_if": {"heat": None}, "fault": []})
    by_year, left_out = seasons_of_record(plain, weather, step)
    seasons, sheets = list(by_year.values()), {}
    for name in plain.controller:
        step(f"the refill calendar of {name}")
        sheets[name] = _sheet(name, seasons, chosen.get(name) or _neediest(name, seasons))
    assumed = ["the faults of [[fault]] are left out here: the pages set up a sound garden"] if scenario.fault else []
    assumed += ["the made-up heat wave of [what_if.heat] is left out here"] if scenario.what_if.heat is not None else []
    assumptions = (*assumed, *left_out, *assumptions_of(seasons))
    return SetUp(scenario, tuple(by_year), sheets, tuple(seasons), assumptions, ranges.DRAWS[has_compiler()], paper)


def _chosen(scenario: Scenario, beds: list[str]) -> dict[str, str]:
    known = [f"{name}/{bed}" for name, part in scenario.controller.items() for bed in part.bed]
    problems: list[Problem] = []
    chosen: dict[str, str] = {}
    for key in beds:
        controller = key.split("/")[0]
        if key not in known:
            problems.append(problem("unknown-bed", "bed", key, bed=key, cure=did_you_mean(key, known)))
        elif controller in chosen:
            problems.append(problem("two-beds", "", key, valve=controller, one=chosen[controller], other=key))
        chosen[controller] = key
    if problems:
        raise ScenarioError(*problems, file=str(scenario.path))
    return chosen


def _sheet(name: str, seasons: list[Season], bed: str) -> ValveSheet:
    described, forcing = seasons[0].scenario.controller[name], seasons[0].forcing.pan_of[name]
    pan, valve, refill = described.pan, described.valve, ml_per_minute(forcing.refill_flow)
    supply = seasons[0].scenario.supply[described.supply]
    starved = sum(float(season.controllers[name]["starved_hours"].sum()) for season in seasons)
    row = list(seasons[0].controllers).index(name)
    lost = ((season.forcing, row, season.controllers[name]["pan_mm"].to_numpy(float)) for season in seasons)
    least = OUTRUN * ml_per_minute(max(float(hourly_evaporation(*each).max()) for each in lost))
    months = _months(name, bed, seasons, refill, least)
    months = months.join(
        _month_ranges(name, bed, seasons, months, lambda supply, need: _turned(refill, supply, need, least)[0])
    )
    flat, _ = _turned(refill, sum(months["supply_mm"]), sum(months["need_mm"]), least)
    settings = {"as it is": refill, "one flow all season": float(flat), TURNED: None}
    gains, by_way = [], []
    for way, flow in settings.items():
        flows = months["refill"].astype(float) if flow is None else months["refill"] * 0.0 + flow
        by_way.append(dict(zip(months["month"], flows, strict=True)))
        gains.append(Gain(way, flow, *_gained(name, bed, seasons, by_way[-1])))
    sure = _sure(name, seasons, [None, *by_way[1:]])
    by_year = [season.forcing.pan_of[name].evaporation for season in seasons]
    totals = {model: sum(float(each[model].sum()) for each in by_year) for model in forcing.evaporation}
    other = "energy-balance" if pan.evaporation != "energy-balance" else "from-eto"
    sheet = ValveSheet(
        name=name,
        vessels=tuple((vessel.in_words, vessel.across) for vessel in pan.vessels),
        counts=tuple(vessel.count for vessel in pan.vessels),
        area=pan.area,
        depth_mm=pan.depth,
        freeboard_mm=pan.freeboard,
        swing_mm=valve.swing_kg / pan.area,
        water_at_reset_kg=pan.water_at_reset,
        swing_g=1000.0 * valve.swing_kg,
        counterweight_g=1000.0 * valve.swing_kg / valve.arm_ratio,
        arm_ratio=valve.arm_ratio,
        refill=refill,
        minutes_by_jug=60.0 * valve.swing_kg / forcing.refill_flow,
        emitters={
            key: (part.emitters.count, ml_per_minute(forcing.bed_flows[key] / part.emitters.count))
            for key, part in described.bed.items()
        },
        press_times=tuple(valve.press_times),
        months=months,
        bed=bed,
        gains=tuple(gains),
        other_model=totals[other] / totals[pan.evaporation] if totals[pan.evaporation] > 0.0 else 1.0,
        model=pan.evaporation,
        starved_hours=None if supply.kind == "mains" else starved / len(seasons),
        by_level=_by_level(seasons[0], name),
        sure=sure,
    )
    if not sheet.is_worse:
        return sheet
    same = dict.fromkeys(("refill", "refill_low", "refill_high"), refill)
    unchanged = months.assign(**same, bound=months["bound"].where(months["bound"] == "idle", KEPT))
    return dataclasses.replace(sheet, months=unchanged)


def _by_level(season: Season, name: str) -> dict[float, float]:
    """Share of a full tank -> the refill flow at it; nothing on mains. [mL/min]"""
    pans, tanks, row = season.forcing.pans, season.forcing.tanks, list(season.controllers).index(name)
    if (tank := int(pans.tank[row])) < 0:
        return {}
    pressure_at: Callable[..., tuple[float, float]] = emitter_pressure
    pressures = {share: pressure_at(row, tank, share * tanks.capacity[tank], pans, tanks)[0] for share in TANK_LEVELS}
    law = {"nominal_flow": ml_per_minute(float(pans.refill_flow[row, 0])), "exponent": float(pans.refill_exponent[row])}
    law["nominal_pressure"] = REFERENCE_PRESSURE
    return {share: float(emitter_flow(pressure, **law)) for share, pressure in pressures.items()}


def _neediest(name: str, seasons: list[Season]) -> str:
    """The bed whose driest quarter gets the least of its net demand; the first of those that need nothing."""
    ratios = {}
    for bed in seasons[0].scenario.controller[name].bed:
        days = pd.concat([_days(season, name, f"{name}/{bed}") for season in seasons])
        need = float(days["need_mm"].sum())
        ratios[f"{name}/{bed}"] = float(days["supply_mm"].sum()) / need if need > 0.0 else np.inf
    return min(ratios, key=lambda key: ratios[key])


def _turned(refill: float, supply: float, need: float, least: float) -> tuple[int, str]:
    """The flow that makes supply match need, within what can be set. [mL/min]"""
    low, high = max(LEAST_TURN * refill, least), max(MOST_TURN * refill, least)
    wanted = refill * supply / need if need > 0.0 else np.inf
    if wanted < low:
        return int(np.ceil(low)), "least"
    return (int(high), "most") if wanted > high else (max(round(wanted), 1), "")


def _months(name: str, bed: str, seasons: list[Season], refill: float, least: float) -> pd.DataFrame:
    """The calendar, as `ValveSheet` describes it."""
    by_month = pd.concat([_days(season, name, bed) for season in seasons]).groupby("month", sort=False)
    begun = pd.concat([_openings_begun(season, name) for season in seasons]).groupby("month")
    length, mean, total = by_month.size(), by_month.mean(), by_month.sum()
    runs, mean_run = by_month["dry_run_mm"], RULER_DAYS * mean["pan_mm"]
    drops = {f"drop{which}mm": runs.agg(how).fillna(mean_run) for which, how in _DROPS.items()}
    months = pd.DataFrame(
        {
            "days": length / len(seasons),
            **drops,
            "dry_runs": runs.count(),
            "openings_a_week": 7.0 * mean["openings"],
            "pressed_a_week": 7.0 * begun["pressed"].sum().reindex(length.index, fill_value=0) / length,
            "litres_a_week": 7.0 * mean["litres"],
            "minutes": begun["minutes"].median().reindex(length.index),
            "supply_mm": total["supply_mm"] / len(seasons),
            "need_mm": total["need_mm"] / len(seasons),
        }
    )
    # other beds may still want the present flow when this one does not grow
    rows = zip(months["supply_mm"], months["need_mm"], total["growing"], strict=True)
    settings = [_turned(refill, got, need, least) if grows else (refill, "idle") for got, need, grows in rows]
    return months.join(pd.DataFrame(settings, columns=["refill", "bound"], index=months.index)).reset_index()


def _month_ranges(
    name: str, bed: str, seasons: Sequence[Season], months: pd.DataFrame, turned: Callable[[float, float], int]
) -> pd.DataFrame:
    """Ranges of a week's openings and litres over the cells, and over the draws of the refill that makes supply match need."""
    scenario, count, sums = seasons[0].scenario, ranges.DRAWS[has_compiler()], list[list[Floats]]()
    draws, run = ranges.drawn_factors(scenario, count), ranges.engine_for(len(seasons) * count)
    numbers = months["month"].to_numpy(int)
    for season in seasons:
        forcing, row = season.forcing, list(season.controllers).index(name)
        lane = int(forcing.bundle.lane("driest_quarter")[list(season.beds).index(bed)])
        growing, month = growing_lanes(forcing.beds, [lane])[0], forcing.dates.month.to_numpy()
        days = np.bincount(month, minlength=13)
        outs = (
            (7.0 * out.openings[row] / days[month], 7.0 * out.drawn[row] / days[month], out.irrigation[0] * growing)
            for out in ranges.sampled_results(season, draws, lanes=[lane], run=run)
        )
        sums.append([np.array([np.bincount(month, part, 13)[numbers] for part in out]) for out in outs])
    by_cell = np.array(sums)  # (years, draws, 3, months)
    ends = ranges.tails(scenario.uncertainty.interval)
    weekly = np.quantile(by_cell[:, :, :2], ends, axis=(0, 1))  # (ends, 2, months)
    supply = np.quantile(by_cell[:, :, 2].mean(axis=0), ends, axis=0)  # (ends, months)
    by_month = dict[str, Any]()
    for at, end in enumerate(("low", "high")):
        by_month |= {f"openings_a_week_{end}": weekly[at, 0], f"litres_a_week_{end}": weekly[at, 1]}
        flows = [turned(got, need) for got, need in zip(supply[at], months["need_mm"], strict=True)]
        by_month[f"refill_{end}"] = np.where(months["bound"] == "idle", months["refill"], flows)
    return pd.DataFrame(by_month, index=months.index)


def _days(season: Season, name: str, bed: str) -> pd.DataFrame:
    """A season's days: their month, the valve's, the chosen bed's; and the loss in three dry days that end there."""
    valve, table = season.controllers[name], season.beds[bed]
    month, pan = pd.Series(pd.DatetimeIndex(valve.index).month, valve.index), valve["pan_mm"]
    dry = season.days["rain_mm"] < DRY_RAIN
    run, within = pd.Series(0.0, pan.index), month == month.shift(RULER_DAYS - 1)
    for back in reversed(range(RULER_DAYS)):
        run, within = run + pan.shift(back), within & dry.shift(back, fill_value=False)
    # what exact refill gives and what it lets the soil fall by
    kept = table["rain_mm"] - table["runoff_mm"] - table["exact_deep_percolation_mm"]
    return valve[["pan_mm", "openings", "litres"]].assign(
        month=month,
        dry_run_mm=run.where(within),
        growing=table["growing"],
        supply_mm=table["driest_irrigation_mm"].where(table["growing"], 0.0),
        need_mm=(table["exact_eta_mm"] - kept).where(table["growing"], 0.0),
    )


def _openings_begun(season: Season, name: str) -> pd.DataFrame:
    """Openings that began within the season: ``month``, ``pressed``, and ``minutes``, missing where one did not end."""
    openings = season.openings
    begun = openings[(openings["controller"] == name) & (openings["start_h"] >= 0.0)]
    start = pd.DatetimeIndex(season.days.index[0] + pd.to_timedelta(begun["start_h"], unit="h"))
    minutes = begun["minutes"].where(begun["end_h"].notna()).to_numpy(float)
    return pd.DataFrame({"month": start.month, "pressed": (begun["cause"] == "press").to_numpy(), "minutes": minutes})


def _turned_season(season: Season, name: str, flows: Mapping[int, float]) -> Season:
    """A season as if its valve's refill had a flow for each month, its other parts as they were. [mL/min]"""
    forcing, row = season.forcing, list(season.controllers).index(name)
    turned = np.array([flows[month] * 60.0 / 1000.0 for month in forcing.dates.month])  # L/h
    refill, through = forcing.pans.refill_flow.copy(), forcing.pans.valve_flow.copy()
    present = forcing.pan_of[name].refill_flow
    refill[row] *= turned / present
    through[row] += turned - present
    pans = forcing.pans._replace(refill_flow=refill, valve_flow=through)
    return dataclasses.replace(season, forcing=dataclasses.replace(forcing, pans=pans))


def _gained(name: str, bed: str, seasons: list[Season], flows: Mapping[int, float]) -> tuple[float, ...]:
    """Run the seasons with a flow for each month, one month after the other; what `Gain` has of it. [mL/min]"""
    totals = np.zeros(4)  # stress days, drained, others' stress days, litres
    for season in seasons:
        forcing, row = _turned_season(season, name, flows).forcing, list(season.controllers).index(name)
        out, _ = run_forcing(forcing, season.began.copy())
        means, driest = (forcing.bundle.lane(lane).tolist() for lane in ("mean", "driest_quarter"))
        short = days_short(out.ks[driest], forcing.beds, driest)
        at, keys = list(season.beds).index(bed), [key.split("/")[0] for key in season.beds]
        others = short[[key == name for key in keys]].sum() - short[at]
        totals += (short[at], out.deep_percolation[means[at]].sum(), others, out.drawn[row].sum())
    return tuple(float(total) for total in totals / len(seasons))


def _drawn(name: str, seasons: Sequence[Season], draws: ranges.Draws, run: Callable[..., int]) -> tuple[Floats, Floats]:
    """Days short of each of a valve's beds, and litres through it, by year and draw. (years, draws, beds), (years, draws)"""
    days, litres = list[Floats](), list[Floats]()
    for season in seasons:
        beds, row = season.forcing.beds, list(season.controllers).index(name)
        mine = [key.split("/")[0] == name for key in season.beds]
        driest = season.forcing.bundle.lane("driest_quarter")[mine].tolist()
        ran = ranges.sampled_results(season, draws, lanes=driest, run=run)
        outs = [(days_short(out.ks, beds, driest), out.drawn[row].sum()) for out in ran]
        for kind, part in zip((days, litres), zip(*outs, strict=True), strict=True):
            kind.append(np.array(part, float))
    return np.array(days), np.array(litres)


def _sure(name: str, seasons: list[Season], ways: Sequence[Mapping[int, float] | None]) -> Sure:
    """How sure the settings are; the ways are the refill as it is and as it could be turned, month by month."""
    scenario, count = seasons[0].scenario, ranges.DRAWS[has_compiler()]
    interval, wish = scenario.uncertainty.interval, scenario.wishes.stress_days
    run = ranges.engine_for(len(seasons) * count * (len(ways) + 2))
    draws = ranges.drawn_factors(scenario, count)

    def share(days: Floats) -> float:
        return float((days.max(axis=2) <= wish).mean())

    def holds(exposure: float, refill_flow: float) -> bool:
        days, _ = _drawn(name, seasons, ranges.scanned(scenario, [exposure], [refill_flow]), run)
        return share(days) >= interval

    def within(what: str, least: float) -> float:
        """The coarsest tolerance at whose both ends the share is as high as this."""
        for tolerance in TOLERANCES:
            drawn, offs = getattr(draws, what), (1.0 - tolerance, 1.0 + tolerance)
            ends = (dataclasses.replace(draws, **{what: {**drawn, name: drawn[name] * off}}) for off in offs)
            if all(share(_drawn(name, seasons, end, run)[0]) >= least for end in ends):
                return tolerance
        return 0.0

    turned = (seasons if flows is None else [_turned_season(s, name, flows) for s in seasons] for flows in ways)
    ran = [_drawn(name, each, draws, run) for each in turned]
    days, litres = ran[0]
    exposure = ranges.around(lambda factor: holds(factor, 1.0), ranges.COARSE)
    return Sure(
        share=share(days),
        litres=ranges.interval_of(litres, interval),
        exposure=exposure,
        refill_flow=exposure and ranges.around(lambda factor: holds(1.0, factor), ranges.COARSE),
        refill_within=within("refill_flow", interval) if share(days) >= interval else 0.0,
        swing_within=within("swing", min(interval, share(days) - _ALIKE)),  # the swing hardly moves the water
        mean_days=tuple(float(each.sum(axis=2).mean()) for each, _ in ran),
    )
