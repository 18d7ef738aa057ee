"""
Uncertainty: the season run again and again over stated ranges, so that the range given is the model's own.

Each run draws, evenly within its range: one factor on the pan's evaporation for the whole garden (one method reckons
all pans, so one error moves them together), one on each supply's pressure, one on each refill emitter's flow and one
on each bed's emitters. Seeded: the same scenario gives the same numbers. The beds' soil is left out of these runs,
since it has no say in what is drawn.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from panbudget.engine import season as engine
from panbudget.engine.arrays import empty_results, plain
from panbudget.numeric import Floats
from panbudget.season.forcing import Forcing
from panbudget.season.replay import Season

__all__ = ["Samples", "interval_of", "sample_seasons", "sampled_forcings"]


@dataclass(frozen=True)
class Samples:
    """
    Many seasons' water.

    Parameters
    ----------
    litres : dict
        Controller -> (samples, days) what passed its valve. [L/day]
    count : int
    """

    litres: dict[str, Floats]
    count: int


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

    def drawn(low_high: tuple[float, float], columns: int) -> Floats:
        low, high = low_high
        return low + (high - low) * random.random((count, columns))

    controllers = list(scenario.controller)
    exposure = drawn(rules.exposure, 1)
    pressure = dict(zip(scenario.supply, drawn(rules.pressure, len(scenario.supply)).T, strict=True))
    refill = drawn(rules.refill_flow, len(controllers))
    emitter = dict(zip(season.beds, drawn(rules.emitter_flow, len(season.beds)).T, strict=True))
    refill_factor = np.empty((count, len(controllers)))
    valve_flow = np.empty((count, *forcing.pans.valve_flow.shape))
    draw_factor = np.ones((count, len(forcing.tanks.draw_exponent)))
    bed_factor = np.ones((count, len(season.beds)))
    draw = 0
    for index, name in enumerate(controllers):
        described, part = scenario.controller[name], forcing.pan_of[name]
        on_tank = scenario.supply[described.supply].kind == "tank"
        # under a tank the head is reckoned from its water, and nothing is left to be doubted
        head = np.ones(count) if on_tank else pressure[described.supply]
        refill_factor[:, index] = refill[:, index] * head**described.valve.refill.exponent
        # by day, for faults take from it
        valve_flow[:, index] = forcing.pans.refill_flow[index] * refill_factor[:, index][:, None]
        for bed, what in described.bed.items():
            key = f"{name}/{bed}"
            factor = emitter[key] * head**what.emitters.exponent
            place = list(season.beds).index(key)
            bed_factor[:, place] = factor
            valve_flow[:, index] += part.bed_flows[bed] * factor[:, None] * forcing.beds.flow_factor[place]
            if on_tank:
                draw_factor[:, draw] = factor
                draw += 1
    for place in range(count):
        yield dataclasses.replace(
            forcing,
            pans=forcing.pans._replace(
                evaporation=forcing.pans.evaporation * exposure[place],
                refill_flow=forcing.pans.refill_flow * refill_factor[place][:, None],
                valve_flow=valve_flow[place],
            ),
            tanks=forcing.tanks._replace(draw_flow=forcing.tanks.draw_flow * draw_factor[place][:, None]),
            beds=forcing.beds._replace(flow_factor=forcing.beds.flow_factor * bed_factor[place][:, None]),
        )


def sample_seasons(
    season: Season,
    count: int,
    step: Callable[[str], None] | None = None,
    run: Callable[..., int] = engine.run_season,
) -> Samples:
    """
    Run a season over the ranges that its scenario states.

    Parameters
    ----------
    season : Season
        The season as described; the ranges are factors on it.
    count : int
        How many runs.
    step : callable, optional
        Told after each run.
    run : callable
        The engine.

    Returns
    -------
    Samples
    """
    scenario, forcing = season.scenario, season.forcing
    controllers, days = list(scenario.controller), len(forcing.dates)
    lanes = {field: getattr(forcing.beds, field)[:0] for field in forcing.beds._fields if field.startswith("lane_")}
    no_beds = plain(forcing.beds._replace(**lanes))
    driven = plain(forcing.days)
    litres = {name: np.empty((count, days)) for name in controllers}
    for place, drawn in enumerate(sampled_forcings(season, count)):
        out = empty_results(len(controllers), 0, days, room=0, tanks=drawn.tanks, keep_hours=False)
        run(driven, plain(drawn.pans), plain(drawn.tanks), no_beds, plain(season.began.copy()), plain(out))
        for index, name in enumerate(controllers):
            litres[name][place] = out.drawn[index]
        if step is not None:
            step(f"season {place + 1} of {count} over the stated ranges")
    return Samples(litres, count)


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
