"""
Compute: the seasons of one place, every year and design of it, as columns of numbers.

The weather is read once, its ETo and pans reckoned once; then the engine steps all designs side by side through each
year. Every balance of every run is checked, as in a replay. Units in the names of columns: mm, kg (= litres), hours.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from panbudget.engine import season as engine
from panbudget.engine.arrays import Beds, Days, Pans, Results, State, Tanks, empty_results, empty_state, no_tanks, plain
from panbudget.engine.compiled import compiled
from panbudget.errors import ClosureError, Problem, ScenarioError
from panbudget.numeric import Floats
from panbudget.scenario.garden import SeasonDates
from panbudget.season.beds import bare_ground
from panbudget.season.demand import PlantingError
from panbudget.season.forcing import MOST_OPENINGS, press_hours
from panbudget.season.supplies import roof_inflow
from panbudget.season.totals import CLOSURE
from panbudget.season.years import bed_in_year, moved
from panbudget.studies.sweep.adding import LANE_SUMS, PAN_SUMS, add_up
from panbudget.studies.sweep.bundle import Bundle
from panbudget.studies.sweep.site import SiteRecord

_EVERY_LANE = ("irrigation_mm", "etc_mm", "eta_mm", "deep_percolation_mm", "stress_days", "longest_stress_days")

#: columns of numbers, in their order; ``driest_`` is the bed's driest quarter
COLUMNS: tuple[str, ...] = (
    "year",
    "days",
    "litres",
    "irrigation_mm",
    "rain_mm",
    "runoff_mm",
    "etc_mm",
    "eta_mm",
    "deep_percolation_mm",
    "stress_days",
    "longest_stress_days",
    "adequacy",
    "net_demand_mm",
    "leaching_mm",
    "supply_over_demand",
    "rain_kept_mm",
    "depletion_start_mm",
    "depletion_end_mm",
    "left_below_mm",
    "closure_mm",
    *(f"driest_{name}" for name in _EVERY_LANE),
    "driest_adequacy",
    "driest_depletion_end_mm",
    "driest_closure_mm",
    "openings",
    "open_hours",
    "controller_litres",
    "refilled_kg",
    "evaporated_kg",
    "rain_caught_kg",
    "leaked_kg",
    "spilled_kg",
    "pan_start_kg",
    "pan_end_kg",
    "pan_closure_kg",
    "stuck_open_hours",
    "dry_pan_hours",
    "starved_hours",
    "tank_start_l",
    "tank_end_l",
    "tank_least_l",
    "tank_roof_l",
    "tank_topped_l",
    "tank_over_l",
    "eto_mm",
    "pan_evaporation_mm",
    "filled_values",
)
#: of them, whole numbers
WHOLE = frozenset(
    name for name in COLUMNS if name.endswith("stress_days") or name in ("year", "days", "openings", "filled_values")
)


class Engine:
    """
    The engine and the adding-up, interpreted or compiled: the same numbers to the last bit.

    Parameters
    ----------
    through_compiler : bool
    """

    def __init__(self, through_compiler: bool) -> None:
        self.through_compiler = through_compiler
        self._room: dict[tuple[int, ...], Results] = {}

    def run(self, days: Days, pans: Pans, tanks: Tanks, beds: Beds, state: State, out: Results) -> None:
        """Step a season."""
        groups: tuple[Any, ...] = (days, pans, tanks, beds, state, out)
        if self.through_compiler:
            compiled(engine.run_season)(*groups)
        else:
            interpreted: Callable[..., int] = engine.run_season
            interpreted(*(plain(group) for group in groups))

    def add_up(self, beds: Beds, out: Results) -> tuple[Floats, Floats]:
        """Return sums by lane and by pan."""
        lanes = np.zeros((len(out.irrigation), len(LANE_SUMS)))
        pans = np.zeros((len(out.openings), len(PAN_SUMS)))
        if self.through_compiler:
            compiled(add_up)(beds, out, lanes, pans)
        else:
            interpreted: Callable[..., None] = add_up
            interpreted(plain(beds), plain(out), *(memoryview(part.data) for part in (lanes, pans)))
        return lanes, pans

    def room(self, controllers: int, lanes: int, days: int, tanks: Tanks) -> Results:
        """Return arrays to write to, used again from season to season so that they stay near the processor."""
        key = (controllers, lanes, days, len(tanks.capacity), len(tanks.draw_exponent))
        if key not in self._room:
            if len(self._room) > 8:
                self._room.clear()
            self._room[key] = empty_results(
                controllers, lanes, days, room=0, tanks=tanks, keep_hours=False, keep_terms=False
            )
        return self._room[key]


@dataclass(frozen=True)
class _Season:
    """A year's days at a place: where they stand in its record, and those before it that soils are stepped on."""

    year: int
    first: int
    after: int
    before: int


def season_columns(
    record: SiteRecord, bundle: Bundle, dates: SeasonDates, years: Sequence[int], run: Engine
) -> dict[str, Floats]:
    """
    Run all designs of a bundle through years of a place's record.

    Parameters
    ----------
    record : SiteRecord
    bundle : Bundle
    dates : SeasonDates
        The base scenario's season.
    years : sequence of int
        In which the season is to start; the record must hold them.
    run : Engine

    Returns
    -------
    dict
        `COLUMNS` -> ndarray (years · rows,): year after year, and within it the bundle's rows in turn.

    Raises
    ------
    ScenarioError
        A year that the record does not hold; a measured pan without its column or its days; plantings that can't be.
    ClosureError
        A balance that does not close.
    """
    seasons = [_season(record, dates, year) for year in years]
    evaporation = np.array(
        [
            record.pan_evaporation(controller.pan, f"design {design}: controller.{name}")
            for design, name, controller, _ in bundle.controllers
        ]
    )
    inflow = np.array([roof_inflow(record.rain, roof) for roof in bundle.roofs])
    parts = [_one_year(record, bundle, dates, season, evaporation, inflow, run) for season in seasons]
    return {name: np.concatenate([part[name] for part in parts]) for name in COLUMNS}


def _season(record: SiteRecord, dates: SeasonDates, year: int) -> _Season:
    by = year - dates.start.year
    start, end = moved(dates.start, by), moved(dates.end, by)
    spin_up = dates.spin_up_days
    span = record.span(start - dt.timedelta(days=spin_up), end)
    if span is None:
        held = f"{record.index[0]:%Y-%m-%d} to {record.index[-1]:%Y-%m-%d}"
        before = f" and {spin_up} days of spin_up" if spin_up else ""
        message = (
            f"has no whole season {start} to {end}{before}: it holds {held} without a break; add the days, or leave "
            f"{year} out of [years]"
        )
        raise ScenarioError(Problem.of_text(message, "years", year), file=record.place.file)
    return _Season(year, span[0] + spin_up, span[1], span[0])


def _one_year(
    record: SiteRecord,
    bundle: Bundle,
    dates: SeasonDates,
    season: _Season,
    evaporation: Floats,
    inflow: Floats,
    run: Engine,
) -> dict[str, Floats]:
    first, after = season.first, season.after
    n_days, by = after - first, season.year - dates.start.year
    days = _days(record, first, after)
    pan_mm = np.ascontiguousarray(evaporation[:, first:after])
    _pans_are_sound(record, bundle, season, pan_mm)
    grounds, leaching = _ground_arrays(record, bundle, season, by, first, after)
    beds = bundle.beds(grounds, n_days)
    pans, tanks = bundle.repeated(n_days)
    pans = pans._replace(evaporation=pan_mm, presses=_presses(record, bundle, first, after))
    if len(bundle.roofs):
        tanks = tanks._replace(inflow=np.ascontiguousarray(inflow[:, first:after]))
    before = _first_morning(record, bundle, season, by, grounds, run)
    state = before.copy()
    out = run.room(len(pans.area), len(beds.lane_bed), n_days, tanks)
    run.run(days, pans, tanks, beds, state, out)
    lanes, totals = run.add_up(beds, out)
    return _columns(record, bundle, season, days, pans, tanks, beds, before, state, out, lanes, totals, leaching)


def _days(record: SiteRecord, first: int, after: int) -> Days:
    rows = record.day_of_year[first:after] - 1
    return Days(
        np.ascontiguousarray(record.rain[first:after]),
        np.ascontiguousarray(record.eto[first:after]),
        record.daylight[rows],
        record.dark[rows],
    )


def _pans_are_sound(record: SiteRecord, bundle: Bundle, season: _Season, pan_mm: Floats) -> None:
    """A measured pan has all its days, and no swing opens too often."""
    for index, (design, name, controller, _) in enumerate(bundle.controllers):
        where = f"design {design}, {season.year}: controller.{name}"
        missing = np.isnan(pan_mm[index])
        if missing.any():
            day = record.index[season.first + int(np.argmax(missing))]
            message = (
                f'{where}: no pan_evaporation on {day:%Y-%m-%d}, and evaporation is "measured"; fill it, or take '
                '"from-eto"'
            )
            raise ScenarioError(Problem.of_text(message, "pan_evaporation"), file=record.place.file)
        most = float(np.maximum(pan_mm[index], 0.0).sum()) * controller.pan.area / controller.valve.swing_kg
        if most > MOST_OPENINGS:
            message = (
                f"{where}.valve.swing = {controller.valve.swing_kg:g} kg would open the valve some {most:.0f} times; "
                f"a pan of {controller.pan.area:g} m² wants a larger swing"
            )
            raise ScenarioError(Problem.of_text(message, "swing"), file=record.place.file)


def _ground_arrays(
    record: SiteRecord, bundle: Bundle, season: _Season, by: int, first: int, after: int
) -> tuple[dict[str, Any], Floats]:
    """The parts of `Beds` that go by day, and each ground's leaching share."""
    n, n_days = len(bundle.grounds), after - first
    kc_max, exposed = np.zeros((n, n_days)), np.ones((n, n_days))
    parts = []
    for index, ground in enumerate(bundle.grounds):
        bed = bed_in_year(ground.bed, by)
        try:
            part = record.ground(ground.controller, ground.name, bed, first, after)
        except PlantingError as error:
            where = f"controller.{ground.controller}.bed.{ground.name}"
            raise ScenarioError(
                Problem.of_text(f"{where}, {season.year}: {error}", where), file=record.place.file
            ) from error
        if bed.method == "dual":
            kc_max[index], exposed[index] = bare_ground(
                part.curve, record.wind[first:after], record.rh_min[first:after]
            )
        parts.append(part)
    by_day = {
        "kc": np.array([part.curve.kc for part in parts]),
        "taw": np.array([part.taw for part in parts]),
        "rain_in": np.array([part.rain_in for part in parts]),
        "growing": np.array([part.curve.growing for part in parts]).astype(np.int64),
        "kc_max": kc_max,
        "exposed": exposed,
        "p_table": np.array([part.curve.depletion for part in parts]),
    }
    return by_day, np.array([part.leaching for part in parts])


def _presses(record: SiteRecord, bundle: Bundle, first: int, after: int) -> Floats:
    """Hours at which valves are pressed, (controllers, days · most presses a day)."""
    n_days = after - first
    dates = record.index[first:after]
    tables: dict[int, Floats] = {}
    for index, (_, _, controller, scenario) in enumerate(bundle.controllers):
        if controller.valve.press_times:
            there = scenario.model_copy(update={"site": record.site})
            tables[index] = press_hours(there, controller, dates, [])
    width = max((table.shape[1] for table in tables.values()), default=0)
    presses = np.full((len(bundle.controllers), n_days, width), np.inf)
    for index, table in tables.items():
        presses[index, :, : table.shape[1]] = table
    return presses.reshape(len(bundle.controllers), n_days * width)


def _first_morning(
    record: SiteRecord, bundle: Bundle, season: _Season, by: int, grounds: dict[str, Any], run: Engine
) -> State:
    """Pans filled to the reset level, valves shut; soils as described, or as the days before left them."""
    depletion = bundle.initial * grounds["taw"][:, 0]
    surface = bundle.initial * bundle.scalars["tew"]
    wetted = np.ones(len(bundle.grounds))
    if season.before < season.first:
        span = (season.before, season.first)
        n_days = span[1] - span[0]
        days = _days(record, *span)
        earlier, _ = _ground_arrays(record, bundle, season, by, *span)
        beds = bundle.rain_fed(earlier, n_days)
        state = _state(np.zeros(0), np.zeros(0), bundle.initial * earlier["taw"][:, 0], surface, wetted)
        pans = Pans(*(part[:0] if name != "block" else part[:1] for name, part in bundle.pans._asdict().items()))
        out = empty_results(0, len(beds.lane_bed), n_days, room=0, keep_hours=False, keep_terms=False)
        run.run(days, pans._replace(evaporation=np.zeros((0, n_days))), no_tanks(n_days), beds, state, out)
        depletion, surface, wetted = state.depletion, state.surface_depletion, state.wetted
    lane = bundle.lane_bed
    return _state(
        bundle.pans.swing[:, 0].copy(), bundle.volume.copy(), depletion[lane], surface[lane], wetted[lane], bundle.tanks
    )


def _state(
    level: Floats, volume: Floats, depletion: Floats, surface: Floats, wetted: Floats, tanks: Tanks | None = None
) -> State:
    return empty_state(len(level), len(wetted), tanks)._replace(
        level=level,
        volume=volume,
        depletion=depletion.copy(),
        surface_depletion=surface.copy(),
        wetted=wetted.copy(),
    )


def _columns(
    record: SiteRecord,
    bundle: Bundle,
    season: _Season,
    days: Days,
    pans: Pans,
    tanks: Tanks,
    beds: Beds,
    before: State,
    after: State,
    out: Results,
    lanes: Floats,
    totals: Floats,
    leaching: Floats,
) -> dict[str, Floats]:
    """A year's rows, every balance checked."""
    lane = {name: lanes[:, index] for index, name in enumerate(LANE_SUMS)}
    pan = {name: totals[:, index] for index, name in enumerate(PAN_SUMS)}
    rain = float(days.rain.sum())
    rain_in = beds.rain_in.sum(axis=1)
    gained = rain_in[bundle.lane_bed] + lane["irrigation_mm"]
    residual = (
        before.depletion
        - gained
        + lane["eta_mm"]
        + lane["deep_percolation_mm"]
        - lane["left_below_mm"]
        - after.depletion
    )
    _closes(record, season, residual, rain + lane["irrigation_mm"] + lane["eta_mm"] + before.depletion, "beds")

    caught = rain * pans.area
    start = before.level - pans.dry[:, 0] - pans.shift[:, 0]
    end = after.level - pans.dry[:, -1]
    pan_residual = (
        start + caught + pan["refilled_kg"] - pan["evaporated_kg"] - pan["leaked_kg"] - pan["spilled_kg"] - end
    )
    _closes(record, season, pan_residual, start + caught + pan["refilled_kg"], "pans")
    tank = _tank_columns(record, season, pans, tanks, before, after, out)

    row, exact, ground = bundle.row_controller, bundle.row_exact, bundle.row_ground
    mean, driest = bundle.row_mean, bundle.row_driest
    area = np.array([part.area for part in bundle.rows])
    demand = lane["irrigation_mm"][exact]
    share = leaching[ground]
    with np.errstate(divide="ignore", invalid="ignore"):
        leached = np.where(share < 1.0, demand * share / (1.0 - share), np.nan)
        needed = demand + np.nan_to_num(leached)
        over = np.where(needed > 0.0, lane["irrigation_mm"][mean] / needed, np.nan)
        adequacy = np.where(lane["asked_mm"] > 0.0, lane["used_mm"] / lane["asked_mm"], 1.0)
    n = len(bundle.rows)
    found: dict[str, Any] = {
        "year": np.full(n, season.year),
        "days": np.full(n, len(days.rain)),
        "litres": lane["irrigation_mm"][mean] * area,
        "rain_mm": np.full(n, rain),
        "runoff_mm": rain - rain_in[ground],
        "adequacy": adequacy[mean],
        "net_demand_mm": demand,
        "leaching_mm": leached,
        "supply_over_demand": over,
        "rain_kept_mm": lane["rain_kept_mm"][mean],
        "depletion_start_mm": before.depletion[mean],
        "depletion_end_mm": after.depletion[mean],
        "left_below_mm": lane["left_below_mm"][mean],
        "closure_mm": residual[mean],
        "driest_adequacy": adequacy[driest],
        "driest_depletion_end_mm": after.depletion[driest],
        "driest_closure_mm": residual[driest],
        "controller_litres": pan["litres"][row],
        "rain_caught_kg": caught[row],
        "pan_start_kg": start[row],
        "pan_end_kg": end[row],
        "pan_closure_kg": pan_residual[row],
        "eto_mm": np.full(n, float(days.eto.sum())),
        "pan_evaporation_mm": pans.evaporation.sum(axis=1)[row],
        "filled_values": np.full(n, record.filled(season.first, season.after)),
        **{name: values[row] for name, values in tank.items()},
    }
    for name in _EVERY_LANE:
        found[name], found[f"driest_{name}"] = lane[name][mean], lane[name][driest]
    for name in PAN_SUMS:
        if name != "litres":
            found[name] = pan[name][row]
    return found


def _tank_columns(
    record: SiteRecord, season: _Season, pans: Pans, tanks: Tanks, before: State, after: State, out: Results
) -> dict[str, Floats]:
    """Of each controller's tank; not numbers on the mains."""
    names = ("start", "end", "least", "roof", "topped", "over")
    nothing = np.full(len(pans.tank), np.nan)
    if not len(tanks.capacity):
        return {f"tank_{name}_l": nothing for name in names}
    roof, topped, over = (part.sum(axis=1) for part in (tanks.inflow, out.tank_topped, out.tank_over))
    residual = before.volume + roof + topped - out.tank_drawn.sum(axis=1) - over - after.volume
    _closes(record, season, residual, before.volume + roof + topped, "tanks")
    found = (before.volume, after.volume, out.tank_volume.min(axis=1), roof, topped, over)
    return {
        f"tank_{name}_l": np.where(pans.tank >= 0, values[pans.tank], np.nan)
        for name, values in zip(names, found, strict=True)
    }


def _closes(record: SiteRecord, season: _Season, residual: Floats, passed: Floats, what: str) -> None:
    wrong = ~(np.abs(residual) <= CLOSURE * np.maximum(passed, 1.0))
    if wrong.any():
        place = int(np.argmax(wrong))
        raise ClosureError(
            f"{record.place.name}, {season.year}, {what}: the water balance is off by {residual[place]:.3g} of "
            f"{passed[place]:.6g}; please report this"
        )
