"""
Pan: how its water stands above the trip weight, what it comes to next at constant rates, and what its valve does then.

Plain scalars and the engine's arrays: kg (= litre of water), kg/h, hours. Rates are constant within an hour but for what
happens in it, so that every crossing is exact. Model page §3; balances are bookkeeping, with no source to name.
"""

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

# a pan's sums of the day, in this order: evaporated, leaked, spilled, refilled [kg]; drawn through the valve [L]; hours
# open, open without water, stuck open, dry [h]; openings
NO_SUMS = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
PAN_SUMS = len(NO_SUMS)
_OPEN_HOURS, _STARVED_HOURS, _DRY_HOURS = 5, 6, 8  # their places

# kg above the trip weight; the time in which so little goes would be rounded to none, again and again
_NOTHING = 1e-300
_ROUNDING = 1e-9  # kg; a level so near to the one it was sent to is that one


def bounded_rates(w, net, rim, dry, comes, evaporation, leak):
    """
    Return how fast the water in a pan rises where it stands at its rim or on its floor, and where what goes ends.

    Parameters
    ----------
    w, rim, dry : float
        Water, rim and dry floor. [kg above the trip weight]
    net : float
        What comes less evaporation and leak. [kg/h]
    comes, evaporation, leak : float
        Rain and refill; what full sun and wind would take; through the leak. [kg/h]

    Returns
    -------
    net, lost, leaking, over : float
        Rise; evaporated; leaked; spilled. [kg/h]
    is_dry : bool

    Notes
    -----
    A dry pan loses what comes in and no more; a full pan spills what it can't hold.
    """
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
    elif net < 0.0 and (w <= -net * step or w < _NOTHING):
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


def eventful_hour(
    c, day, begin, lasts, flows, rates, levels, w, is_open, press, last_press, sums, count, pans, state, out
):
    """
    Step a pan through an hour, or a part of it, in which its valve is open or something happens.

    From hour ``begin`` of the day for ``lasts`` hours. ``flows`` of the open valve: refill and all [L/h], and whether
    that is what an empty tank passes on; ``rates`` of rain, evaporation and leak [kg/h]; ``levels`` of reset, rim and dry
    floor. Takes and returns water [kg above the trip weight], whether the valve is open, the place of the day's next
    press (``last_press`` is behind the last), the sums of the day and the count of openings.

    A valve is stuck while it passes water and its pan does not rise: evaporation and leak take all that comes, or the pan
    spills at a rim below the reset. With an empty tank that is an opening without water.
    """
    evaporated, leaked, spilled, refilled, drawn, open_hours, starved_hours, stuck_hours, dry_hours, openings = sums
    swing, rim, dry = levels
    rain, evaporation, leak = rates
    refill_flow, valve_flow, is_emptied = flows
    elapsed, ending = 0.0, TRIPS
    while ending != GOES_ON:
        refill, flow = 0.0, 0.0
        if is_open:
            refill, flow = refill_flow, valve_flow
        net = rain + refill - evaporation - leak
        lost, leaking = evaporation, leak
        if w <= dry or w >= rim:
            net, lost, leaking, over, is_dry = bounded_rates(w, net, rim, dry, rain + refill, evaporation, leak)
        else:
            over, is_dry = 0.0, False
        step, ending = next_event(w, net, is_open, swing, rim, dry, lasts - elapsed)
        if press < last_press and pans.presses[c, press] - begin - elapsed <= step:
            step = max(pans.presses[c, press] - begin - elapsed, 0.0)
            ending = IS_PRESSED
            press += 1

        evaporated += lost * step
        leaked += leaking * step
        spilled += over * step
        w += net * step
        if is_dry:
            dry_hours += step
        if is_open:
            open_hours += step
            refilled += refill * step
            drawn += flow * step
            state.refilled[c] += refill * step
            state.drawn[c] += flow * step
            if flow <= 0.0 or (is_emptied and net <= 0.0):
                starved_hours += step
            elif net <= 0.0:
                stuck_hours += step
        elapsed += step
        moment = day * 24.0 + begin + elapsed

        if ending == TRIPS or (ending == IS_PRESSED and not is_open and w < swing):
            if ending == TRIPS and w > -_ROUNDING:
                w = 0.0
            is_open = 1
            open_valve(c, moment, TRIP if ending == TRIPS else PRESS, count, state, out)
            openings += 1.0
            count += 1
        elif ending == RESETS:
            if w < swing + _ROUNDING:
                w = swing
            is_open = 0
            end_opening(c, moment, state, out)
        elif ending == REACHES_RIM:
            w = rim
        elif ending == RUNS_DRY:
            w = dry
    sums = (evaporated, leaked, spilled, refilled, drawn, open_hours, starved_hours, stuck_hours, dry_hours, openings)
    return w, is_open, press, sums, count


def begin_pan(c, day, presses_a_day, pans, state):
    """Move a pan's water against a trip weight that has moved, and begin the day's presses."""
    state.level[c] -= pans.shift[c, day]
    state.press[c] = day * presses_a_day


def sums_so_far(c, state):
    """Return a pan's sums of the day, as `keep_sums` kept them."""
    today, at = state.today, c * PAN_SUMS
    kg = (today[at], today[at + 1], today[at + 2], today[at + 3], today[at + 4])
    return kg + (today[at + 5], today[at + 6], today[at + 7], today[at + 8], today[at + 9])  # noqa: RUF005  # for numba


def waits(w, net, rain, levels):
    """Tell whether nothing happens in an hour to a pan under an open valve without water, and whether it is dry as well."""
    swing, rim, dry = levels
    if net > 0.0:
        return swing - w > net and rim - w > net, False
    is_bare = w <= dry and net < 0.0 and rain == 0.0  # of which no more can go
    return is_bare or (w < swing and w - dry > -net), is_bare


def wait(c, is_bare, state):
    """Add an hour open without water to a pan's sums of the day."""
    at = c * PAN_SUMS
    state.today[at + _OPEN_HOURS] += 1.0
    state.today[at + _STARVED_HOURS] += 1.0
    if is_bare:
        state.today[at + _DRY_HOURS] += 1.0


def keep_sums(c, sums, state):
    """Keep a pan's sums until it is stepped on in the day."""
    for index in range(PAN_SUMS):
        state.today[c * PAN_SUMS + index] = sums[index]


def write_pan(c, day, w, sums, out):
    """Write a pan's day into the results."""
    evaporated, leaked, spilled, refilled, drawn, open_hours, starved_hours, stuck_hours, dry_hours, openings = sums
    out.level[c, day] = w
    out.evaporated[c, day] = evaporated
    out.leaked[c, day] = leaked
    out.spilled[c, day] = spilled
    out.refilled[c, day] = refilled
    out.drawn[c, day] = drawn
    out.open_hours[c, day] = open_hours
    out.starved_hours[c, day] = starved_hours
    out.stuck_hours[c, day] = stuck_hours
    out.dry_hours[c, day] = dry_hours
    out.openings[c, day] = int(openings)
