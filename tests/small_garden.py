"""A garden of bare arrays for the engine's tests: no files, no tables, every number in sight."""

from __future__ import annotations

import numpy as np

from panbudget.engine import season as engine
from panbudget.engine.arrays import Beds, Days, Pans, Results, State, empty_results, empty_state, no_tanks, plain

EVEN_HOURS = np.full(24, 1.0 / 24.0)
NOON_HOURS = (
    np.array([0.0] * 6 + [np.cos(np.pi * h / 12) - np.cos(np.pi * (h + 1) / 12) for h in range(12)] + [0.0] * 6) / 2.0
)


def mains(controllers):
    """Return the parts of `Pans` that say that all controllers are on the mains, each stepped on its own."""
    pressures = np.tile([0.0, 1.0], (controllers, 1))
    return {
        "refill_exponent": np.zeros(controllers),
        "tank": np.full(controllers, -1, np.int64),
        "static": pressures,
        "at_emitters": pressures,
        "block": np.arange(controllers + 1, dtype=np.int64),
        "member": np.arange(controllers, dtype=np.int64),
    }


def garden(
    evaporation,
    rain=None,
    *,
    eto=None,
    area=0.2,
    swing=0.9,
    freeboard=20.0,
    depth=180.0,
    refill_flow=2.0,
    bed_mm_per_hour=5.0,
    presses=None,
    night_share=0.0,
    shares=NOON_HOURS,
    kc=1.0,
    taw=100.0,
    p=0.5,
    initial=0.0,
):
    """Return the five groups of one controller with one bed: mean, driest quarter at 0.9, exact refill."""
    evaporation = np.atleast_2d(np.asarray(evaporation, float))
    n = evaporation.shape[1]
    rain = np.zeros(n) if rain is None else np.asarray(rain, float)
    eto = evaporation[0] * 0.75 if eto is None else np.asarray(eto, float)
    days = Days(rain, eto, np.tile(shares, (n, 1)), np.tile(EVEN_HOURS, (n, 1)))
    presses = np.full((1, n), np.inf) if presses is None else np.asarray(presses, float).reshape(1, -1)
    one = np.ones(1)
    by_day = np.ones((1, n))
    pans = Pans(
        evaporation=evaporation,
        area=area * one,
        swing=swing * by_day,
        rim=(swing + freeboard * area) * by_day,
        dry=(swing - (depth - freeboard) * area) * by_day,
        shift=0.0 * by_day,
        leak=0.0 * by_day,
        rain_factor=by_day,
        night_share=night_share * one,
        refill_flow=refill_flow * by_day,
        valve_flow=(refill_flow + bed_mm_per_hour) * by_day,
        presses=presses,
        **mains(1),
    )
    beds = Beds(
        kc=np.full((1, n), kc),
        taw=np.full((1, n), taw),
        rain_in=rain.reshape(1, n).copy(),
        growing=np.ones((1, n), np.int64),
        kc_max=np.zeros((1, n)),
        exposed=np.ones((1, n)),
        p_table=np.full((1, n), p),
        flow_factor=np.ones((1, n)),
        dual=np.zeros(1, np.int64),
        fw=one,
        tew=20.0 * one,
        rew=8.0 * one,
        ke_factor=one,
        lane_bed=np.zeros(3, np.int64),
        lane_controller=np.zeros(3, np.int64),
        lane_source=np.array([engine.VALVE, engine.VALVE, engine.EXACT_REFILL], np.int64),
        lane_mm_per_hour=np.array([bed_mm_per_hour, 0.9 * bed_mm_per_hour, 0.0]),
        lane_draw=np.full(3, -1, np.int64),
        given=np.zeros((0, 0)),
    )
    state = empty_state(1, 3)._replace(level=swing * one, depletion=np.full(3, initial))
    return days, pans, beds, state


def run(parts, *, room=20_000) -> tuple[int, Results, State]:
    """Run the plain engine on copies; return the count of openings, the results and the state at the end."""
    days, pans, beds, state = parts
    state = state.copy()
    out = empty_results(1, 3, len(days.rain), room=room)
    count = engine.run_season(
        plain(days), plain(pans), plain(no_tanks(len(days.rain))), plain(beds), plain(state), plain(out)
    )
    return count, out, state
