"""
Spread: a season's totals and stress days as ranges, by running it again and again over the stated doubts.

The doubts are those of a statement, `[statement]`: factors on exposure, refill flow, emitter flow and pressure, drawn
evenly within their ranges and seeded. Soils, plants and the weather are taken as they are.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np

from panbudget.engine import season as engine
from panbudget.engine.arrays import empty_results, plain
from panbudget.numeric import Floats
from panbudget.season.replay import Season
from panbudget.studies.statement.uncertainty import interval_of, sampled_forcings

__all__ = ["LEAST_SAMPLES", "with_spread"]

#: fewer runs say nothing of a range's ends
LEAST_SAMPLES = 20


def with_spread(
    season: Season,
    count: int,
    *,
    step: Callable[[str], None] = lambda text: None,
    run: Callable[..., int] = engine.run_season,
) -> Season:
    """
    Add ranges to a season's totals.

    Parameters
    ----------
    season : Season
    count : int
        How many runs.
    step : callable
        Told after each.
    run : callable
        The engine.

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
    scenario, forcing, rules = season.scenario, season.forcing, season.scenario.statement
    beds = forcing.beds
    keep = [row for row, source in enumerate(beds.lane_source) if source == engine.VALVE]
    chosen = {name: getattr(beds, name)[keep] for name in beds._fields if name.startswith("lane_")}
    days, controllers = len(forcing.dates), list(scenario.controller)
    before = season.began
    before = before._replace(
        **{name: getattr(before, name)[keep] for name in ("depletion", "surface_depletion", "wetted")}
    )
    samples: dict[tuple[str, str, str], Floats] = {}

    def put(part: str, name: str, what: str, place: int, value: float) -> None:
        samples.setdefault((part, name, what), np.empty(count))[place] = value

    areas = [bed.area for controller in scenario.controller.values() for bed in controller.bed.values()]
    for place, drawn in enumerate(sampled_forcings(season, count)):
        out = empty_results(len(controllers), len(keep), days, room=0, tanks=drawn.tanks, keep_hours=False)
        given = (drawn.days, drawn.pans, drawn.tanks, drawn.beds._replace(**chosen), before.copy(), out)
        run(*(plain(group) for group in given)) if run is engine.run_season else run(*given)
        for row, name in enumerate(controllers):
            put("controllers", name, "litres", place, float(out.drawn[row].sum()))
            put("controllers", name, "openings", place, float(out.openings[row].sum()))
        for index, key in enumerate(season.beds):
            growing = beds.growing[index] > 0
            mean, driest = 2 * index, 2 * index + 1  # the lanes that the valve waters, in `beds.LANES`' order
            put("beds", key, "litres", place, float(out.irrigation[mean].sum()) * areas[index])
            put("beds", key, "stress_days", place, float(((out.ks[mean] < 1.0) & growing).sum()))
            put("beds", key, "driest_quarter_stress_days", place, float(((out.ks[driest] < 1.0) & growing).sum()))
            put("beds", key, "deep_percolation_mm", place, float(out.deep_percolation[mean].sum()))
        step(f"season {place + 1} of {count} over the stated ranges")
    spread: dict[str, Any] = {
        "samples": count,
        "interval": rules.interval,
        "seed": rules.seed,
        "ranges": {
            name: list(getattr(rules, name)) for name in ("exposure", "refill_flow", "emitter_flow", "pressure")
        },
        "controllers": {},
        "beds": {},
    }
    for (part, name, what), values in samples.items():
        low, high = interval_of(values, rules.interval)
        middle = round(float(np.median(values)), 9)
        spread[part].setdefault(name, {})[what] = {"low": low, "median": middle, "high": high}
    return dataclasses.replace(season, totals={**season.totals, "spread": spread})
