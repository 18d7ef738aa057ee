"""
Hour: the valves of one tank through an hour in which one of them is open or something happens to its pan.

Plain scalars and the engine's arrays. The hour is cut where the first of all its events falls: a pan trips, resets,
reaches its rim or its floor, a valve is pressed, the tank empties, fills or reaches its float valve. Between two events
all rates are constant, so that valves that share a tank share it at every moment, whatever their order.
"""

from panbudget.engine.pan import bounded_rates, eventful_hour, keep_sums, next_event, sums_so_far
from panbudget.engine.tank import (
    add_draws,
    emitter_pressure,
    flows_at,
    pass_tank,
    pressure_lasts,
    share_out,
    tank_event,
    tank_rates,
)


def set_flows(first, behind, tank, day, pans, tanks, state):
    """
    Set what each valve on a tank passes now.

    Parameters
    ----------
    first, behind, tank, day : int
        Of ``pans.member``.
    pans : Pans
    tanks : Tanks
    state : State
        ``refill_flow`` and ``flow`` are written. [L/h]

    Returns
    -------
    flow : float
        All of them together. [L/h]
    steepness : float
        By what part of itself the pressure at a valve's emitters changes with the tank's volume, at most. [1/L]
    """
    total, steepness = 0.0, 0.0
    for member in range(first, behind):
        c = pans.member[member]
        refill, flow = 0.0, 0.0
        if state.is_open[c]:
            pressure, slope = emitter_pressure(c, tank, state.volume[tank], pans, tanks)
            refill, flow = flows_at(c, day, pressure, pans, tanks, state)
            if flow > 0.0:
                steepness = max(steepness, slope / pressure)
        state.refill_flow[c] = refill
        state.flow[c] = flow
        total += flow
    return total, steepness


def until_event(c, day, hour, clock, presses_a_day, pans, state):
    """Return how long a pan goes on as it does, to the hour's end at most. [h]"""
    w, rim, dry, leak = state.level[c], pans.rim[c, day], pans.dry[c, day], pans.leak[c, day]
    comes, evaporation = state.rain[c] + state.refill_flow[c], state.evaporation[c]
    net = bounded_rates(w, comes - evaporation - leak, rim, dry, comes, evaporation, leak)[0]
    step, _ = next_event(w, net, state.is_open[c], pans.swing[c, day], rim, dry, 1.0 - clock)
    press = state.press[c]
    if press < (day + 1) * presses_a_day:
        step = min(step, max(pans.presses[c, press] - (hour + clock), 0.0))
    return step


def tank_hour(first, behind, tank, day, hour, count, presses_a_day, pans, tanks, state, out):
    """
    Step the pans, the valves and the tank that they share through an hour.

    Parameters
    ----------
    first, behind : int
        Of ``pans.member``: all controllers of the tank.
    tank, day, hour : int
    count, presses_a_day : int
        Openings so far.
    pans, tanks, state, out
        As for `run_season`; ``state.rain`` and ``state.evaporation`` are the hour's. [kg/h]

    Returns
    -------
    int
        Openings so far.

    Notes
    -----
    A tank's changing head changes the flows; they are computed again when the pressure has changed by a fiftieth, but not
    more often than once a minute. Valves on an empty tank share by their flows what comes into it.
    """
    clock, last = 0.0, (day + 1) * presses_a_day  # hours into this hour; behind the day's last press
    while clock < 1.0:
        total, steepness = set_flows(first, behind, tank, day, pans, tanks, state)
        net, topped, over, share = tank_rates(tank, day, total, tanks, state)
        if share < 1.0:
            total *= share
            for member in range(first, behind):
                share_out(pans.member[member], share, tanks, state)
        step = 1.0 - clock
        for member in range(first, behind):
            step = min(step, until_event(pans.member[member], day, hour, clock, presses_a_day, pans, state))
        step, comes_to = tank_event(tank, net, tanks, state, step)
        sooner = pressure_lasts(net, steepness, step)
        if sooner < step:
            step, comes_to = sooner, -1.0
        pass_tank(tank, day, step, comes_to, total, topped, over, net, tanks, state)
        for member in range(first, behind):
            c = pans.member[member]
            if state.flow[c] > 0.0:
                add_draws(c, step, tanks, state)
            flows = (state.refill_flow[c], state.flow[c], share < 1.0)
            rates = (state.rain[c], state.evaporation[c], pans.leak[c, day])
            levels = (pans.swing[c, day], pans.rim[c, day], pans.dry[c, day])
            w, is_open, press, sums = state.level[c], state.is_open[c], state.press[c], sums_so_far(c, state)
            state.level[c], state.is_open[c], state.press[c], sums, count = eventful_hour(
                c, day, hour + clock, step, flows, rates, levels, w, is_open, press, last, sums, count, pans, state, out
            )
            keep_sums(c, sums, state)
        clock += step
    if out.hourly_level.shape[1] > 0:
        for member in range(first, behind):
            c = pans.member[member]
            out.hourly_level[c, day * 24 + hour] = state.level[c]
    return count
