"""
Hour: the valves of one supply through an hour in which one is open or something happens to a pan.

Plain scalars and the engine's arrays. The hour is cut where the first of all its events falls: a pan trips, resets,
reaches its rim or its floor, a valve is pressed, a tank empties, fills or reaches its float valve. Between two events all
rates are constant, so that valves that share a tank share it at every moment, whatever their order.
"""

from panbudget.engine.pan import GOES_ON, look_ahead, meet_event, pass_stretch
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
    Set what each valve of a supply passes now.

    Parameters
    ----------
    first, behind, tank, day : int
        Of ``pans.member``; −1 for the mains.
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
        if state.is_open[c] and tank < 0:
            refill, flow = pans.refill_flow[c, day], pans.valve_flow[c, day]
        elif state.is_open[c]:
            pressure, slope = emitter_pressure(c, tank, state.volume[tank], pans, tanks)
            refill, flow = flows_at(c, day, pressure, pans, tanks, state)
            if flow > 0.0:
                steepness = max(steepness, slope / pressure)
        state.refill_flow[c] = refill
        state.flow[c] = flow
        total += flow
    return total, steepness


def eventful_hour(first, behind, tank, day, hour, count, pans, tanks, state, out):
    """
    Step a supply's pans, their valves and its tank through an hour.

    Parameters
    ----------
    first, behind : int
        Of ``pans.member``: one controller on the mains, or all that share a tank.
    tank, day, hour : int
        −1 for the mains.
    count : int
        Openings so far.
    pans, tanks, state, out
        As for `run_season`; ``state.rain`` and ``state.evaporation`` are the hour's. [kg/h]

    Returns
    -------
    int
        Openings so far.

    Notes
    -----
    A tank's falling head changes the flows; they are computed again when the pressure has changed by a fiftieth, but not
    more often than once a minute. Valves on an empty tank share by their flows what comes into it.
    """
    clock, is_over = 0.0, False  # hours into this hour
    net, topped, over, share, comes_to = 0.0, 0.0, 0.0, 1.0, -1.0
    while not is_over:
        total, steepness = set_flows(first, behind, tank, day, pans, tanks, state)
        if tank >= 0:
            net, topped, over, share = tank_rates(tank, day, total, tanks, state)
            if share < 1.0:
                total *= share
                for member in range(first, behind):
                    share_out(pans.member[member], share, tanks, state)
        step = 1.0 - clock
        is_over = True
        for member in range(first, behind):
            c = pans.member[member]
            until = look_ahead(c, day, hour, clock, pans, state)
            if state.ending[c] != GOES_ON and until <= step:
                step, is_over = until, False
        if tank >= 0:
            until, comes_to = tank_event(tank, net, tanks, state, step)
            sooner = pressure_lasts(net, steepness, until)
            if sooner < until:
                until, comes_to = sooner, -1.0
            if until < step or comes_to >= 0.0:
                step, is_over = until, False
            pass_tank(tank, day, step, comes_to, total, topped, over, net, tanks, state)
        clock += step
        for member in range(first, behind):
            c = pans.member[member]
            pass_stretch(c, day, step, share < 1.0, pans, state)
            if tank >= 0 and state.flow[c] > 0.0:
                add_draws(c, step, tanks, state)
            if state.ending[c] != GOES_ON and state.step[c] <= step:
                count = meet_event(c, day, day * 24.0 + hour + clock, count, pans, state, out)
    return count
