"""
Ranges: a season run many times over the uncertainty that its scenario states, for a replay's ranges and a statement's.

Each run draws, evenly within its range in `[statement]`: one factor on the pan's evaporation for the whole garden (one
method computes all pans, so one error moves them together), one on each supply's pressure, one on each refill
emitter's flow and one on each bed's emitters. Seeded: the same scenario gives the same numbers. Soils, plants and the
weather are taken as they are. [factors: -]
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from panbudget.engine.arrays import Results, empty_results
from panbudget.engine.season import VALVE
from panbudget.extras import Step, silent
from panbudget.numeric import Floats
from panbudget.season.layout import Forcing
from panbudget.season.result import Season
from panbudget.season.run import run_forcing

LEAST_SAMPLES = 20  # fewer runs say nothing of a range's ends
#: what is drawn, by its key in `[statement]`
DRAWN = ("exposure", "refill_flow", "emitter_flow", "pressure")


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
    tail = (1.0 - share) / 2.0
    low, high = np.quantile(values, [tail, 1.0 - tail])
    return round(float(low), 9), round(float(high), 9)


def sampled_forcings(season: Season, count: int) -> Iterator[Forcing]:
    """
    Draw forcings over the ranges that a season's scenario states.

    Parameters
    ----------
    season : Season
        The season as described; the ranges are factors on it.
    count : int
        How many.

    Yields
    ------
    Forcing
        The season's own, with the factors drawn laid on pans, tanks and beds.
    """
    scenario, forcing, rules = season.scenario, season.forcing, season.scenario.statement
    random = np.random.default_rng(rules.seed)

    def drawn(name: str, of: Sequence[str]) -> dict[str, Floats]:
        low, high = getattr(rules, name)
        return dict(zip(of, (low + (high - low) * random.random((count, len(of)))).T, strict=True))

    beds, controllers = list(season.beds), list(scenario.controller)
    exposure = drawn("exposure", ["all pans"])["all pans"]
    pressure = drawn("pressure", list(scenario.supply))
    refill, emitter = drawn("refill_flow", controllers), drawn("emitter_flow", beds)
    refill_factor, bed_factor = np.empty((count, len(controllers), 1)), np.ones((count, len(beds), 1))
    valve_flow = np.empty((count, *forcing.pans.valve_flow.shape))
    on_tanks: list[int] = []  # beds in the order of the draws
    for index, name in enumerate(controllers):
        described, part = scenario.controller[name], forcing.pan_of[name]
        on_tank = scenario.supply[described.supply].kind == "tank"
        # under a tank the head is computed from its water, and its uncertainty is that of the water
        head = np.ones(count) if on_tank else pressure[described.supply]
        refill_factor[:, index, 0] = refill[name] * head**described.valve.refill.exponent
        # by day, for faults take from it
        valve_flow[:, index] = forcing.pans.refill_flow[index] * refill_factor[:, index]
        for bed, planted in described.bed.items():
            row = beds.index(f"{name}/{bed}")
            bed_factor[:, row, 0] = emitter[beds[row]] * head**planted.emitters.exponent
            valve_flow[:, index] += part.bed_flows[bed] * bed_factor[:, row] * forcing.beds.flow_factor[row]
            on_tanks += [row] if on_tank else []
    for run in range(count):
        pans = forcing.pans._replace(
            evaporation=forcing.pans.evaporation * exposure[run],
            refill_flow=forcing.pans.refill_flow * refill_factor[run],
            valve_flow=valve_flow[run],
        )
        tanks = forcing.tanks._replace(draw_flow=forcing.tanks.draw_flow * bed_factor[run, on_tanks])
        beds_drawn = forcing.beds._replace(flow_factor=forcing.beds.flow_factor * bed_factor[run])
        yield dataclasses.replace(forcing, pans=pans, tanks=tanks, beds=beds_drawn)


def sampled_results(season: Season, count: int, *, lanes: Sequence[int] = (), step: Step = silent) -> Iterator[Results]:
    """
    Run a season over the ranges that its scenario states.

    Parameters
    ----------
    season : Season
        The season as described; the ranges are factors on it.
    count : int
        How many runs.
    lanes : sequence of int
        Lanes of beds to run along. None are needed for the water drawn: the soil does not change it.
    step : callable
        Told after each run.

    Yields
    ------
    Results
        Of one run, with the lanes chosen and without hourly levels and openings.
    """
    kept, groups = list(lanes), season.forcing.beds._asdict()
    by_lane = {name: group[kept] for name, group in groups.items() if name.startswith("lane_")}
    soil = {name: getattr(season.began, name)[kept] for name in ("depletion", "surface_depletion", "wetted")}
    began = season.began._replace(**soil)
    for run, drawn in enumerate(sampled_forcings(season, count), 1):
        size = len(drawn.pans.area), len(kept), len(drawn.dates)
        out = empty_results(*size, room=0, tanks=drawn.tanks, keep_hours=False)
        beds = drawn.beds._replace(**by_lane)
        yield run_forcing(dataclasses.replace(drawn, beds=beds), began.copy(), out=out)[0]
        step(f"season {run} of {count} over the stated ranges")


def sampled_litres(season: Season, count: int, step: Step = silent) -> dict[str, Floats]:
    """
    Return what passed each valve in each of many runs over the stated ranges.

    Parameters
    ----------
    season : Season
    count : int
        How many runs.
    step : callable
        Told after each.

    Returns
    -------
    dict
        Controller -> ndarray (samples, days). [L/day]
    """
    drawn = np.stack([out.drawn for out in sampled_results(season, count, step=step)], axis=1)
    return dict(zip(season.scenario.controller, drawn, strict=True))


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
        Fewer than `LEAST_SAMPLES`.
    """
    if count < LEAST_SAMPLES:
        raise ValueError(f"{count} runs are too few; {LEAST_SAMPLES} at least")
    rules = season.scenario.statement
    watered = [row for row, source in enumerate(season.forcing.beds.lane_source) if source == VALVE]
    runs = [_run_totals(season, out) for out in sampled_results(season, count, lanes=watered, step=step)]
    spread: dict[str, Any] = {
        "samples": count,
        "interval": rules.interval,
        "seed": rules.seed,
        "ranges": {name: list(getattr(rules, name)) for name in DRAWN},
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
