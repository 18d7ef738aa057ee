"""
Ranges: a season run many times over the uncertainty that its scenario states, for every verb that gives a range.

Each run draws, evenly within its range in `[uncertainty]`: one factor on the evaporation of all pans that no log has
fitted (one method computes them, so one error moves them together), one on each mains' pressure, on each refill
emitter's flow and swing, and on each bed's emitters. Seeded and stratified: of n runs, each nth of every range is drawn
once (Latin hypercube; McKay, Beckman & Conover 1979). Soils, plants and the weather are taken as they are. [factors: -]
"""

import dataclasses
import datetime as dt
import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, NamedTuple, Protocol

import numpy as np

from panbudget.engine.arrays import Results, State, empty_results
from panbudget.engine.compiled import compiled, has_compiler, is_kept
from panbudget.engine.season import VALVE, run_season
from panbudget.extras import Step, silent
from panbudget.numeric import Floats, Ints
from panbudget.scenario.garden import Scenario
from panbudget.scenario.pans import WeighedValve
from panbudget.scenario.uncertainty import SAMPLES, Factors
from panbudget.season import supplies
from panbudget.season.faults import with_faults
from panbudget.season.layout import Forcing, prepare
from panbudget.season.result import Season
from panbudget.season.run import first_morning, run_forcing, run_salted
from panbudget.season.salt import SaltLeft
from panbudget.season.years import in_year, moved
from panbudget.weather import Weather

_ROUNDING = 1e-9  # by which two values may part and count as the same
#: draws that advice is judged by, each in every usable year: through a compiler, or not
DRAWS = {True: 64, False: 12}
#: seasons from which a compiler pays for itself, if there is one
WORTH_COMPILING = 1500
#: and from which what an earlier process compiled does, which takes a second to load
WORTH_LOADING = 100
#: factors over which a margin is looked for; its ends stand for what lies beyond
SCAN = np.round(1.0 + 0.05 * np.arange(-12, 21), 2)
COARSE = SCAN[::2]


class Stretch(Protocol):
    """Some days of a garden, and where they begin; a `Season` is one."""

    @property
    def scenario(self) -> Scenario: ...
    @property
    def forcing(self) -> Forcing: ...
    @property
    def began(self) -> State: ...


class Days(NamedTuple):
    """The same, that nobody has replayed; where the water brings salt, what it does to the pans as described is in the forcing."""

    scenario: Scenario
    forcing: Forcing
    began: State
    ended: State
    salt: dict[str, SaltLeft]


def days_of(
    scenario: Scenario, weather: Weather, start: dt.date, end: dt.date, by: int = 0, before: Days | None = None
) -> Days:
    """Lay out some days of a garden, whose plantings are moved by years; they begin in their first morning, or after others."""
    forcing = with_faults(scenario, prepare(scenario, weather, start, end, by))
    if before is None:
        began, salt = first_morning(forcing, spin_up=scenario.season.spin_up_days, by=by), dict[str, SaltLeft]()
    else:
        began, salt = before.ended, before.salt
    if all(supply.salinity is None for supply in scenario.supply.values()):
        return Days(scenario, forcing, began, began, salt)
    ran, names = run_salted(scenario, forcing, began, salt), [*scenario.controller]
    salt = {names[row]: balance.left(salted=ran.salted) for row, balance in ran.salts.items()}
    return Days(scenario, ran.forcing, began, ran.after, salt)


def days_in_year(scenario: Scenario, weather: Weather, days: tuple[dt.date, dt.date], by: int) -> Days:
    """Lay out a garden's days some years on, without a made-up heat wave, which is of its own year."""
    start, end = (moved(day, by) for day in days)
    if scenario.fault:
        return days_of(in_year(scenario, scenario.season.start.year + by), weather, start, end)
    return days_of(scenario, weather, start, end, by)


@dataclasses.dataclass(frozen=True)
class Draws:
    """
    Factors on what a scenario describes, a row a draw.

    Parameters
    ----------
    exposure, refill_flow, swing : dict of ndarray (draws,)
        By controller.
    emitter_flow : dict of ndarray (draws,)
        By "CONTROLLER/BED".
    pressure : dict of ndarray (draws,)
        By supply; ones for a tank, whose head is computed from its water.
    """

    exposure: dict[str, Floats]
    refill_flow: dict[str, Floats]
    swing: dict[str, Floats]
    emitter_flow: dict[str, Floats]
    pressure: dict[str, Floats]


class ValveFactors(NamedTuple):
    """What draws come to for one valve, pressure in its flows: factors on what it and its beds are described as."""

    exposure: Floats  # (draws,)
    refill_flow: Floats  # (draws,)
    swing: Floats  # (draws,)
    emitters: Floats  # (draws, beds)


def _drawn_over(scenario: Scenario) -> dict[tuple[str, str], tuple[str, Factors]]:
    """What is drawn, of which part ("" for all pans) -> its key in `[uncertainty]`, and the range."""
    rules, over = scenario.uncertainty, dict[tuple[str, str], tuple[str, Factors]]()
    for name, controller in scenario.controller.items():
        known = {key: pair for key, pair in rules.controller.get(name, ()) if pair is not None}
        valve = controller.valve
        swing = "weighed_swing" if isinstance(valve, WeighedValve) else "swing"
        for keys, otherwise in (
            (("exposure", "openings"), "exposure"),
            (("refill_flow", "litres"), "refill_flow" if valve.refill.at is not None else "measured_flow"),
            (("swing",), swing),
        ):
            for key in known.keys() & set(keys):
                over[key, name] = f"controller.{name}.{key}", known[key]
            if known.keys().isdisjoint(keys):
                over[keys[0], "" if otherwise == "exposure" else name] = otherwise, getattr(rules, otherwise)
        for bed, planted in controller.bed.items():
            key = "emitter_flow" if planted.emitters.at is not None else "measured_flow"
            over["emitter_flow", f"{name}/{bed}"] = key, getattr(rules, key)
    mains = [name for name, supply in scenario.supply.items() if supply.kind == "mains"]
    return over | {("pressure", name): ("pressure", rules.pressure) for name in mains}


def range_of(scenario: Scenario, name: str, what: str) -> Factors:
    """Return over what one valve's "refill_flow" or "swing" goes; where a log has fitted its litres, as if none had."""
    known = scenario.uncertainty.controller.get(name)
    if known is not None and known.litres is not None:
        scenario = scenario.changed({"uncertainty": {"controller": {name: None}}})
    return _drawn_over(scenario)[what, name][1]


def ranges_of(scenario: Scenario) -> dict[str, Factors]:
    """
    Return over what a scenario's draws go.

    Returns
    -------
    dict
        Key in `[uncertainty]`, or "controller.NAME.KEY" for what is known of one valve -> lower and higher factor. Keys
        that bear on nothing in this garden are left out.
    """
    return dict(_drawn_over(scenario).values())


def stratified(random: np.random.Generator, parts: int, count: int) -> Floats:
    """Draw numbers between 0 and 1 of which, part by part, each nth is drawn once. (parts, count)"""
    strata = random.permuted(np.tile(np.arange(count), (parts, 1)), axis=1)
    return np.asarray((strata + random.random(strata.shape)) / count)


def drawn_factors(scenario: Scenario, count: int) -> Draws:
    """
    Draw factors over the ranges that a scenario states.

    Parameters
    ----------
    scenario : Scenario
    count : int
        How many draws.

    Returns
    -------
    Draws
        The same for the same scenario and count.
    """
    drawn = dict[tuple[str, str], Floats]()
    for part, (_, (low, high)) in _drawn_over(scenario).items():
        # by its name, so that what two variants share is drawn alike in both
        random = np.random.default_rng([scenario.uncertainty.seed, *"/".join(part).encode()])
        drawn[part] = low + (high - low) * stratified(random, 1, count)[0]
    ones = np.ones(count)
    pressure = {name: drawn.get(("pressure", name), ones) for name in scenario.supply}
    swing = {name: drawn["swing", name] for name in scenario.controller}
    exposure, refill = dict[str, Floats](), dict[str, Floats]()
    emitter = {name: row for (what, name), row in drawn.items() if what == "emitter_flow"}
    for name, controller in scenario.controller.items():
        if ("openings", name) in drawn:
            exposure[name] = drawn["openings", name] * swing[name]
        else:
            exposure[name] = drawn["exposure", name if ("exposure", name) in drawn else ""]
        if ("litres", name) in drawn:  # whatever the beds' emitters give, they give so much together
            head, beds = pressure[controller.supply], controller.bed.items()
            flows = {bed: part.emitters.count * part.emitters.flow for bed, part in beds}
            beyond = {bed: part.emitters.exponent - controller.valve.refill.exponent for bed, part in beds}
            at_head = (flows[bed] * emitter[f"{name}/{bed}"] * head**exponent for bed, exponent in beyond.items())
            refill[name] = exposure[name] / drawn["litres", name] * sum(at_head) / sum(flows.values())
        else:
            refill[name] = drawn["refill_flow", name]
    return Draws(exposure, refill, swing, emitter, pressure)


def scanned(scenario: Scenario, exposure: Sequence[float] = (1.0,), refill_flow: Sequence[float] = (1.0,)) -> Draws:
    """Return what factors chosen by hand on all pans and refill flows come to as draws, the rest as described."""
    by_hand = np.broadcast_arrays(np.array(exposure, float), np.array(refill_flow, float))
    ones, valves = np.ones(len(by_hand[0])), scenario.controller
    beds = [f"{name}/{bed}" for name, part in valves.items() for bed in part.bed]
    exposed, refilled = (dict.fromkeys(valves, factors) for factors in by_hand)
    return Draws(exposed, refilled, *(dict.fromkeys(keys, ones) for keys in (valves, beds, scenario.supply)))


def around(holds: Callable[[float], bool], factors: Floats) -> tuple[float, float] | None:
    """Return the factors about 1 over which something holds without a break; None if not even at 1."""
    if not holds(1.0):
        return None
    sides = (factors[factors < 1.0][::-1].tolist(), factors[factors > 1.0].tolist())
    low, high = ([1.0, *itertools.takewhile(holds, side)][-1] for side in sides)
    return low, high


def engine_for(seasons: int) -> Callable[..., int]:
    """Return the engine for so many seasons: through a compiler where there is one and it pays."""
    pays = has_compiler() if seasons >= WORTH_COMPILING else seasons >= WORTH_LOADING and is_kept(run_season)
    return compiled(run_season) if pays else run_season


def valve_factors(scenario: Scenario, name: str, draws: Draws) -> ValveFactors:
    """Return one valve's part of draws, with what a change of the mains' pressure does to each flow."""
    described = scenario.controller[name]
    head = draws.pressure[described.supply]
    exponents = {bed: planted.emitters.exponent for bed, planted in described.bed.items()}
    emitters = [draws.emitter_flow[f"{name}/{bed}"] * head**exponent for bed, exponent in exponents.items()]
    refill = draws.refill_flow[name] * head**described.valve.refill.exponent
    return ValveFactors(draws.exposure[name], refill, draws.swing[name], np.stack(emitters, axis=1))


def interval_of(values: Floats, share: float) -> tuple[float, float]:
    """
    Return the range that holds the middle share of samples.

    Parameters
    ----------
    values : ndarray (samples,)
    share : float
        Such as 0.9: from the 5th to the 95th hundredth. [-]

    Returns
    -------
    (float, float)
        Interpolated between neighbours.

    Examples
    --------
    >>> interval_of(np.arange(101.0), 0.9)
    (5.0, 95.0)
    """
    low, high = np.quantile(values, tails(share))
    return round(float(low), 9), round(float(high), 9)


def tails(share: float) -> tuple[float, float]:
    """Return the shares that lie below the ends of the middle part of so much."""
    return (1.0 - share) / 2.0, (1.0 + share) / 2.0


class Paired(NamedTuple):
    """Differences of one garden from another over the same cells: mean, range, shares of cells below and above zero."""

    mean: float
    low: float
    high: float
    below: float
    above: float


def paired(mine: Floats, base: Floats, interval: float) -> Paired:
    """Return how one garden's figures (cells,) differ from another's over the same cells."""
    sign = signs(mine, base)
    with np.errstate(invalid="ignore"):  # recoveries that never came, of one or of both
        apart = np.where(sign == 0, 0.0, mine - base)
        mean = float(apart.mean())
    low, high = np.quantile(apart, tails(interval), method="nearest").tolist()
    return Paired(mean, low, high, float((sign < 0).mean()), float((sign > 0).mean()))


def verdict_of(sign: float, below: float, above: float, interval: float) -> str:
    """
    Judge a difference by the cells, in which it may turn the other way or vanish.

    Parameters
    ----------
    sign : float
        Which way it points as it is printed; 0 for no difference.
    below, above : float
        Share of the cells in which it is below and above zero. [-]
    interval : float
        Share that is asked for. [-]

    Returns
    -------
    str
        "none" as printed; "rare" where the two are equal in that share of the cells; "clear" where it points this way in
        that share of the cells in which they differ, for equal ones contradict nothing; else "swamped".
    """
    if not sign:
        return "none"
    if below + above <= 1.0 - interval + _ROUNDING:
        return "rare"
    return "clear" if (above if sign > 0 else below) >= interval * (below + above) - _ROUNDING else "swamped"


def signs(value: Any, other: Any) -> Ints:
    """Return which way values differ from others: 1, -1, or 0 where they are the same but for rounding."""
    value, other = np.asarray(value, float), np.asarray(other, float)
    with np.errstate(invalid="ignore"):
        apart = np.abs(value - other) > _ROUNDING * np.maximum(np.maximum(np.abs(value), np.abs(other)), 1.0)
        return np.asarray(np.where(apart | (np.isinf(value) ^ np.isinf(other)), np.sign(value - other), 0), np.int64)


def drawn_forcings(scenario: Scenario, forcings: Iterable[Forcing], draws: int | Draws) -> Iterator[Forcing]:
    """
    Lay draws on forcings.

    Parameters
    ----------
    scenario : Scenario
        As described; the draws are factors on it.
    forcings : iterable of Forcing
        Of one garden: several stretches of weather are taken in turn.
    draws : int or Draws
        How many, over the ranges that the scenario states; or themselves.

    Yields
    ------
    Forcing
        With the factors drawn laid on pans, tanks and beds, draw after draw.
    """
    in_turn = itertools.cycle(forcings)  # which takes each when its turn comes
    first = forcing = next(in_turn)
    draws = drawn_factors(scenario, draws) if isinstance(draws, int) else draws
    factors = [valve_factors(scenario, name, draws) for name in scenario.controller]
    names = ("exposure", "refill_flow", "swing")
    by_valve = (np.stack([getattr(part, name) for part in factors], axis=1)[..., None] for name in names)
    exposure, refill_factor, swing = by_valve
    bed_factor = np.concatenate([part.emitters for part in factors], axis=1)[..., None]  # (draws, beds, 1)
    # by day, for faults take from it
    valve_flow = forcing.pans.refill_flow * refill_factor
    on_tanks: list[int] = []  # beds in the order of the draws
    rows = ((index, name, bed) for index, (name, part) in enumerate(scenario.controller.items()) for bed in part.bed)
    for row, (index, name, bed) in enumerate(rows):
        flow = forcing.pan_of[name].bed_flows[bed] * forcing.beds.flow_factor[row]
        valve_flow[:, index] += flow * bed_factor[:, row]
        on_tanks += [row] if scenario.supply[scenario.controller[name].supply].kind == "tank" else []
    for run in range(len(exposure)):
        forcing = next(in_turn) if run else first
        grown = forcing.pans.swing * (swing[run] - 1.0)
        pans = forcing.pans._replace(
            **{name: getattr(forcing.pans, name) + grown for name in ("swing", "rim", "dry")},
            evaporation=forcing.pans.evaporation * exposure[run],
            refill_flow=forcing.pans.refill_flow * refill_factor[run],
            valve_flow=valve_flow[run],
        )
        tanks = forcing.tanks._replace(draw_flow=forcing.tanks.draw_flow * bed_factor[run, on_tanks])
        beds_drawn = forcing.beds._replace(flow_factor=forcing.beds.flow_factor * bed_factor[run])
        yield dataclasses.replace(forcing, pans=pans, tanks=tanks, beds=beds_drawn)


def sampled_results(
    season: Stretch,
    count: Draws | int,
    *,
    lanes: Sequence[int] = (),
    step: Step = silent,
    run: Callable[..., int] = run_season,
    keep_hours: bool = False,
) -> Iterator[Results]:
    """
    Run a season over the ranges that its scenario states.

    Parameters
    ----------
    season : Stretch
        The season as described; the ranges are factors on it.
    count : Draws or int
        How many runs, or over what.
    lanes : sequence of int
        Lanes of beds to run along. None are needed for the water drawn: the soil does not change it.
    step : callable
        Told after each run.
    run : callable
        The engine, plain or compiled.
    keep_hours : bool
        Whether the pan's level is kept hour by hour.

    Yields
    ------
    Results
        Of one run, with the lanes chosen and without openings.
    """
    drawn = sampled_chains([season], count, lanes=lanes, run=run, keep_hours=keep_hours)
    for index, (out,) in enumerate(drawn, 1):
        yield out
        step(f"season {index} of {count} over the stated ranges")


def sampled_chains(
    stretches: Sequence[Stretch],
    draws: Draws | int,
    *,
    lanes: Sequence[int] = (),
    run: Callable[..., int] = run_season,
    keep_hours: bool = False,
    between: Callable[[int, State], None] = lambda index, state: None,
) -> Iterator[list[Results]]:
    """
    Run stretches that follow each other, each draw from the first to the last.

    Parameters
    ----------
    stretches : sequence of Stretch
        Of one garden; where the first begins counts.
    draws, lanes, run, keep_hours
        As `sampled_results` takes them.
    between : callable
        Told a stretch's place and the state in which it begins, which it may change.

    Yields
    ------
    list of Results
        Of one draw, a stretch each.
    """
    lane_numbers, first = list(lanes), stretches[0]
    soil = {name: getattr(first.began, name)[lane_numbers] for name in ("depletion", "surface_depletion", "wetted")}
    began, described = first.began._replace(**soil), first.forcing.pans.swing[:, 0]
    for forcings in zip(*(drawn_forcings(each.scenario, [each.forcing], draws) for each in stretches), strict=True):
        # a pan that began at its reset begins at the one drawn
        grown = (forcings[0].pans.swing[:, 0] - described) * np.clip(began.level / described, 0.0, 1.0)
        state, results = began._replace(level=began.level + grown).copy(), []
        for index, drawn in enumerate(forcings):
            between(index, state)
            by_lane = {k: part[lane_numbers] for k, part in drawn.beds._asdict().items() if k.startswith("lane_")}
            size = len(drawn.pans.area), len(lane_numbers), len(drawn.dates)
            out = empty_results(*size, room=0, tanks=drawn.tanks, keep_hours=keep_hours, keep_sums=False)
            chosen = dataclasses.replace(drawn, beds=drawn.beds._replace(**by_lane))
            results.append(run_forcing(chosen, state, run=run, out=out)[0])
        yield results


def sampled_litres(
    season: Season, count: int, step: Step = silent, *, before: Sequence[Stretch] = ()
) -> dict[str, Floats]:
    """
    Return what passed each valve, and each tank's float valve, in each of many runs over the stated ranges.

    Parameters
    ----------
    season : Season
    count : int
        How many runs.
    step : callable
        Told after each.
    before : sequence of Stretch
        From where the season goes on.

    Returns
    -------
    dict
        Controller, or `supplies.float_key` of a tank -> ndarray (samples, days). [L/day]
    """
    drawn = []
    for index, (*_, out) in enumerate(sampled_chains([*before, season], count), 1):
        drawn.append(np.concatenate([out.drawn, out.tank_topped]))
        step(f"season {index} of {count} over the stated ranges")
    names = [*season.scenario.controller, *map(supplies.float_key, season.tanks)]
    return dict(zip(names, np.stack(drawn, axis=1), strict=True))


def with_spread(season: Season, count: int, *, step: Step = silent) -> Season:
    """
    Add ranges to a season's totals.

    Parameters
    ----------
    season : Season
    count : int
        How many runs.
    step : callable
        Told after each.

    Returns
    -------
    Season
        With ``spread`` in its totals: for each controller ``litres`` and ``openings``, for each bed ``litres``,
        ``stress_days`` (mean), ``driest_quarter_stress_days`` and ``deep_percolation_mm``, each with ``low``, ``median``
        and ``high``.

    Raises
    ------
    ValueError
        Fewer than `SAMPLES` begins with.
    """
    if count < SAMPLES[0]:
        raise ValueError(f"{count} runs are too few; {SAMPLES[0]} at least")
    rules = season.scenario.uncertainty
    watered = [row for row, source in enumerate(season.forcing.beds.lane_source) if source == VALVE]
    runs = [_run_totals(season, out) for out in sampled_results(season, count, lanes=watered, step=step)]
    spread: dict[str, Any] = {
        "samples": count,
        "interval": rules.interval,
        "seed": rules.seed,
        "ranges": {name: list(pair) for name, pair in ranges_of(season.scenario).items()},
        "controllers": {},
        "beds": {},
    }
    for part, name, total in runs[0]:
        values = np.array([run[part, name, total] for run in runs])
        low, high = interval_of(values, rules.interval)
        middle = round(float(np.median(values)), 9)
        spread[part].setdefault(name, {})[total] = {"low": low, "median": middle, "high": high}
    return dataclasses.replace(season, totals={**season.totals, "spread": spread})


def _run_totals(season: Season, out: Results) -> dict[tuple[str, str, str], float]:
    """Totals of one run, by part of the garden, its name and what is added up."""
    totals: dict[tuple[str, str, str], float] = {}
    for row, name in enumerate(season.scenario.controller):
        totals["controllers", name, "litres"] = float(out.drawn[row].sum())
        totals["controllers", name, "openings"] = float(out.openings[row].sum())
    areas = [bed.area for controller in season.scenario.controller.values() for bed in controller.bed.values()]
    for row, (key, area) in enumerate(zip(season.beds, areas, strict=True)):
        mean, driest = 2 * row, 2 * row + 1  # the lanes that the valve waters, in their order in the forcing
        short = ((out.ks[[mean, driest]] < 1.0) & (season.forcing.beds.growing[row] > 0)).sum(axis=1)
        totals["beds", key, "litres"] = float(out.irrigation[mean].sum()) * area
        totals["beds", key, "stress_days"] = float(short[0])
        totals["beds", key, "driest_quarter_stress_days"] = float(short[1])
        totals["beds", key, "deep_percolation_mm"] = float(out.deep_percolation[mean].sum())
    return totals
