"""
Pan: how its water stands above the trip weight, what it comes to next at constant rates, and what its valve does then.

Plain scalars and the engine's arrays: kg (= litre of water), kg/h, hours. Rates are constant within an hour but for what
happens in it, so that every crossing is exact. Model page §3; balances are bookkeeping, with no source to name.
"""

import math

# why an opening began
TRIP = 0
PRESS = 1

# what ends a stretch of constant rates inside an hour
GOES_ON = 0
TRIPS = 1
RESETS = 2
REACHES_RIM = 3
RUNS_DRY = 4
IS_PRESSED = 5

# places of a pan's sums of the day in `State.today`: [kg] up to REFILLED, drawn through the valve [L], hours, openings
EVAPORATED, LEAKED, SPILLED, REFILLED, DRAWN, OPEN, STARVED, STUCK, DRY, OPENED = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9
PAN_SUMS = 10

_ROUNDING = 1e-9  # kg; a level so near to the one it was sent to is that one


def pan_rates(w, comes, evaporation, leak, rim, dry):
    """
    Return how fast the water in a pan rises, and where what goes ends.

    Parameters
    ----------
    w, rim, dry : float
        Water, rim and dry floor. [kg above the trip weight]
    comes, evaporation, leak : float
        Rain and refill; what full sun and wind would take; through the leak. [kg/h]

    Returns
    -------
    net, evaporated, leaked, spilled : float
        [kg/h]
    is_dry : bool

    Notes
    -----
    A dry pan loses what comes in and no more; a full pan spills what it can't hold.
    """
    net = comes - evaporation - leak
    if net < 0.0 and w <= dry:
        share = comes / (evaporation + leak)
        return 0.0, evaporation * share, leak * share, 0.0, True
    if net > 0.0 and w >= rim:
        return 0.0, evaporation, leak, net, False
    return net, evaporation, leak, 0.0, False


def next_event(w, net, is_open, swing, rim, dry, remaining):
    """
    Return what a pan at constant rates comes to next, and when.

    Parameters
    ----------
    w, net : float
        Water above the trip weight [kg] and its rise [kg/h].
    is_open : int
        Whether the valve is.
    swing, rim, dry : float
        Reset, rim and dry floor. [kg above the trip weight]
    remaining : float
        Of the hour. [h]

    Returns
    -------
    step : float
        [h]
    ending : int
        GOES_ON, TRIPS, RESETS, REACHES_RIM or RUNS_DRY.

    Notes
    -----
    Of two in one hour, whichever comes first: a reset that stands above the rim is never reached.
    """
    step = remaining
    ending = GOES_ON
    if is_open:
        if w >= swing:
            step = 0.0
            ending = RESETS
        elif net > 0.0 and swing - w <= net * step:
            step = (swing - w) / net
            ending = RESETS
    elif w < 0.0:  # only where the trip weight has been moved
        step = 0.0
        ending = TRIPS
    elif net < 0.0 and w <= -net * step:
        step = max(w, 0.0) / -net
        ending = TRIPS
    if net > 0.0 and w < rim and rim - w < net * step:
        step = (rim - w) / net
        ending = REACHES_RIM
    elif net < 0.0 and w > dry and w - dry < -net * step:
        step = (w - dry) / -net
        ending = RUNS_DRY
    return step, ending


def end_opening(c, moment, state, out):
    """Note on the list when an opening ended [h from the start of the first day] and what flowed in it."""
    slot = state.slot[c]
    if slot < len(out.opening_start):
        out.opening_end[slot] = moment
        out.opening_refilled[slot] = state.refilled[c]
        out.opening_litres[slot] = state.drawn[c]


def open_valve(c, moment, cause, count, state, out):
    """Begin an opening, the ``count``-th from 0, at a moment [h from the start of the first day], and list it."""
    state.slot[c] = count
    state.since[c] = moment
    state.refilled[c] = 0.0
    state.drawn[c] = 0.0
    state.cause[c] = cause
    if count < len(out.opening_start):
        out.opening_controller[count] = c
        out.opening_start[count] = moment
        out.opening_cause[count] = cause


def next_press(c, day, pans, state):
    """Return when today the valve is next pressed by hand, hour of the day; infinite if not again."""
    presses_a_day = pans.presses.shape[1] // pans.evaporation.shape[1]
    press = state.press[c]
    return pans.presses[c, press] if press < (day + 1) * presses_a_day else math.inf


def begin_pan(c, day, pans, state):
    """Move a pan's water against a trip weight that has moved, and set its sums of the day to nothing."""
    state.level[c] -= pans.shift[c, day]
    state.press[c] = day * (pans.presses.shape[1] // pans.evaporation.shape[1])
    for place in range(c * PAN_SUMS, (c + 1) * PAN_SUMS):
        state.today[place] = 0.0


def look_ahead(c, day, hour, clock, pans, state):
    """
    Note what a pan comes to next in this hour, and return when. [h from now]

    Parameters
    ----------
    c, day, hour : int
    clock : float
        Into the hour. [h]
    pans : Pans
    state : State
        ``rain``, ``evaporation`` [kg/h] and ``refill_flow`` [L/h] are those of this stretch; ``step`` and ``ending``
        are written.
    """
    w, rim, dry = state.level[c], pans.rim[c, day], pans.dry[c, day]
    comes = state.rain[c] + state.refill_flow[c]
    net = pan_rates(w, comes, state.evaporation[c], pans.leak[c, day], rim, dry)[0]
    step, ending = next_event(w, net, state.is_open[c], pans.swing[c, day], rim, dry, 1.0 - clock)
    until_press = next_press(c, day, pans, state) - hour - clock
    if until_press <= step:
        step = max(until_press, 0.0)
        ending = IS_PRESSED
    state.step[c] = step
    state.ending[c] = ending
    return step


def pass_stretch(c, day, step, is_emptied, pans, state):
    """
    Step a pan through a stretch of constant rates, and add the stretch to its sums of the day.

    Parameters
    ----------
    c, day : int
    step : float
        [h]
    is_emptied : bool
        Its tank stands empty, and its valve passes what comes into the tank, or nothing.
    pans, state
        As for `look_ahead`.

    Notes
    -----
    A valve is held open while it passes water and its pan does not rise: evaporation and leak take all that comes, or
    the pan spills at a rim that stands below the reset. With an empty tank that is an opening without water.
    """
    refill, flow, today, at = state.refill_flow[c], state.flow[c], state.today, c * PAN_SUMS
    net, evaporated, leaked, spilled, is_dry = pan_rates(
        state.level[c],
        state.rain[c] + refill,
        state.evaporation[c],
        pans.leak[c, day],
        pans.rim[c, day],
        pans.dry[c, day],
    )
    state.level[c] += net * step
    today[at + EVAPORATED] += evaporated * step
    today[at + LEAKED] += leaked * step
    today[at + SPILLED] += spilled * step
    if is_dry:
        today[at + DRY] += step
    if state.is_open[c]:
        today[at + OPEN] += step
        today[at + REFILLED] += refill * step
        today[at + DRAWN] += flow * step
        state.refilled[c] += refill * step
        state.drawn[c] += flow * step
        if flow <= 0.0 or (is_emptied and net <= 0.0):
            today[at + STARVED] += step
        elif net <= 0.0:
            today[at + STUCK] += step


def meet_event(c, day, moment, count, pans, state, out):
    """
    Do what the end of a stretch brings to a pan and its valve.

    Parameters
    ----------
    c, day : int
    moment : float
        [h from the start of the first day]
    count : int
        Openings so far.
    pans, state, out
        ``state.ending`` says what it is.

    Returns
    -------
    int
        Openings so far.
    """
    ending, swing, w = state.ending[c], pans.swing[c, day], state.level[c]
    if ending == IS_PRESSED:
        state.press[c] += 1
    if ending == TRIPS or (ending == IS_PRESSED and not state.is_open[c] and w < swing):
        if ending == TRIPS and w > -_ROUNDING:
            state.level[c] = 0.0
        state.is_open[c] = 1
        open_valve(c, moment, TRIP if ending == TRIPS else PRESS, count, state, out)
        state.today[c * PAN_SUMS + OPENED] += 1.0
        count += 1
    elif ending == RESETS:
        if w < swing + _ROUNDING:
            state.level[c] = swing
        state.is_open[c] = 0
        end_opening(c, moment, state, out)
    elif ending == REACHES_RIM:
        state.level[c] = pans.rim[c, day]
    elif ending == RUNS_DRY:
        state.level[c] = pans.dry[c, day]
    return count


def write_pan(c, day, state, out):
    """Write a pan's day into the results."""
    today, at = state.today, c * PAN_SUMS
    out.level[c, day] = state.level[c]
    out.evaporated[c, day] = today[at + EVAPORATED]
    out.leaked[c, day] = today[at + LEAKED]
    out.spilled[c, day] = today[at + SPILLED]
    out.refilled[c, day] = today[at + REFILLED]
    out.drawn[c, day] = today[at + DRAWN]
    out.open_hours[c, day] = today[at + OPEN]
    out.starved_hours[c, day] = today[at + STARVED]
    out.stuck_hours[c, day] = today[at + STUCK]
    out.dry_hours[c, day] = today[at + DRY]
    out.openings[c, day] = int(today[at + OPENED])
