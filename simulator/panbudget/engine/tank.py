"""
Tank: what stands in it, what pressure that gives at the emitters, and how long both last.

Plain scalars and the engine's arrays: L, L/h, m, kPa, hours. A tank's shape, and what pipe and valve leave of a pressure,
are lines through points that are computed beforehand.
"""

#: pressure at which flows are given where a tank's falling head changes them [kPa]
REFERENCE_PRESSURE = 100.0
KPA_PER_M = 9.80665  # of water at 1.000 kg/L, as in `physics.hydraulics`
# flows are computed again when the pressure has changed by a fiftieth, but not more often than once a minute: our choice
_FALL = 0.02
_SHORTEST = 1.0 / 60.0  # h

# places of a tank's sums of the day in `State.tank_today` [L]
DRAWN, TOPPED, OVER = 0, 1, 2
TANK_SUMS = 3


def piece_of(points, row, value):
    """
    Return which piece of a line holds a value.

    Parameters
    ----------
    points : ndarray (rows, k)
        Rising.
    row : int
    value : float

    Returns
    -------
    int
        Place of the piece's upper end; the first and the last piece go on beyond the line.
    """
    last = points.shape[1] - 1
    upper = min(max(int(last * value / points[row, last]), 1), last)  # right at once where pieces are of one length
    while upper < last and points[row, upper] < value:
        upper += 1
    while upper > 1 and points[row, upper - 1] >= value:
        upper -= 1
    return upper


def emitter_pressure(c, tank, volume, pans, tanks):
    """
    Return the pressure that a tank gives at a controller's emitters, and how it falls with the volume.

    Parameters
    ----------
    c, tank : int
    volume : float
        Above 0. [L]
    pans : Pans
        ``static`` and ``at_emitters``, pressure before and behind pipe and valve. [kPa]
    tanks : Tanks
        ``volumes`` [L], ``levels``, ``outlet`` [m].

    Returns
    -------
    pressure : float
        [kPa]
    slope : float
        [kPa/L]

    Notes
    -----
    Head over the emitters, level and outlet, times ρg; between points, straight lines.
    """
    k = piece_of(tanks.volumes, tank, volume)
    below, above = tanks.volumes[tank, k - 1], tanks.volumes[tank, k]
    rise = (tanks.levels[tank, k] - tanks.levels[tank, k - 1]) / (above - below)
    head = tanks.levels[tank, k - 1] + rise * (volume - below)
    static = (head + tanks.outlet[tank]) * KPA_PER_M
    k = piece_of(pans.static, c, static)
    below, above = pans.static[c, k - 1], pans.static[c, k]
    remains = (pans.at_emitters[c, k] - pans.at_emitters[c, k - 1]) / (above - below)
    return pans.at_emitters[c, k - 1] + remains * (static - below), rise * (remains * KPA_PER_M)


def flows_at(c, day, pressure, pans, tanks, state):
    """
    Return what a controller's refill emitter and its whole valve draw from a tank.

    Parameters
    ----------
    c, day : int
    pressure : float
        At the emitters. [kPa]
    pans : Pans
        ``refill_flow`` at the reference pressure [L/h], ``refill_exponent``.
    tanks : Tanks
        ``draw_flow``, ``draw_exponent`` of the beds, ``draw_from``.
    state : State
        ``draw_power``, each bed's flow over that at the reference pressure, is written.

    Returns
    -------
    refill, flow : float
        [L/h]

    Notes
    -----
    q = q_ref (h/h_ref)^x (ISO 9261:2004, and as `physics.hydraulics.emitter_flow`); no pressure, no flow.
    """
    ratio = pressure / REFERENCE_PRESSURE
    if ratio <= 0.0:
        return 0.0, 0.0
    exponent = pans.refill_exponent[c]
    power = ratio**exponent  # again only for another kind of emitter
    refill = pans.refill_flow[c, day] * power
    flow = refill
    for draw in range(tanks.draw_from[c], tanks.draw_from[c + 1]):
        if tanks.draw_exponent[draw] != exponent:
            exponent = tanks.draw_exponent[draw]
            power = ratio**exponent
        flow += tanks.draw_flow[draw, day] * power
        state.draw_power[draw] = power
    return refill, flow


def is_without_water(tank, day, tanks, state):
    """Tell whether a tank is empty and nothing comes into it on a day."""
    return state.volume[tank] <= 0.0 and tanks.inflow[tank, day] <= 0.0 and tanks.float_rate[tank] <= 0.0


def tank_rates(tank, day, flow, tanks, state):
    """
    Return what comes into a tank and what happens to it while its valves draw a steady flow.

    Parameters
    ----------
    tank, day : int
    flow : float
        What its open valves would draw, all together. [L/h]
    tanks : Tanks
        ``inflow`` from the roof [L/day], ``float_volume`` [L], ``float_rate`` [L/h], ``capacity`` [L].
    state : State

    Returns
    -------
    net, topped, over : float
        Rise; through the float valve; over the rim. [L/h]
    share : float
        What part of the flow there is: 1 but in an empty tank, which passes on what comes in. [-]

    Notes
    -----
    The roof's water runs evenly over its day. The float valve passes its whole flow below its level, and at its level
    what is drawn beyond the roof's water. Bookkeeping, with no source to name.
    """
    volume, roof = state.volume[tank], tanks.inflow[tank, day] / 24.0
    most = tanks.float_rate[tank]
    topped = 0.0
    if volume < tanks.float_volume[tank]:
        topped = most
    elif volume == tanks.float_volume[tank]:
        topped = min(max(flow - roof, 0.0), most)
    comes = roof + topped
    if volume <= 0.0 and flow > comes:
        return 0.0, topped, 0.0, comes / flow
    net = comes - flow
    if volume == tanks.float_volume[tank] and 0.0 < topped < most:
        net = 0.0  # exactly
    if net > 0.0 and volume >= tanks.capacity[tank]:
        return 0.0, topped, net, 1.0
    return net, topped, 0.0, 1.0


def tank_event(tank, net, tanks, state, step):
    """
    Return what a tank that rises or falls steadily comes to next, and when.

    Parameters
    ----------
    tank : int
    net : float
        Its rise. [L/h]
    tanks : Tanks
    state : State
    step : float
        Until whatever else comes next. [h]

    Returns
    -------
    step : float
        [h]
    comes_to : float
        The volume that it reaches at the end of the step: empty, the float valve's level, full. Below 0: none of them. [L]
    """
    volume, float_volume, comes_to = state.volume[tank], tanks.float_volume[tank], -1.0
    if net < 0.0:
        end = float_volume if volume > float_volume else 0.0
    else:
        end = float_volume if volume < float_volume else tanks.capacity[tank]
    if net != 0.0 and abs(end - volume) <= abs(net) * step:
        step = abs((end - volume) / net)
        comes_to = end
    return step, comes_to


def pressure_lasts(net, steepness, step):
    """
    Return how long the flows hold: until the pressure at an emitter has changed by a fiftieth.

    Parameters
    ----------
    net : float
        Rise of the tank. [L/h]
    steepness : float
        By what part of itself a pressure changes with the volume, at most. [1/L]
    step : float
        Until whatever else comes next. [h]

    Returns
    -------
    float
        A minute at least, if the step is so long. [h]
    """
    change = abs(net) * steepness
    if change * step > _FALL and step > _SHORTEST:
        return max(_FALL / change, _SHORTEST)
    return step


def pass_tank(tank, day, step, comes_to, drawn, topped, over, net, tanks, state):
    """
    Step a tank through a stretch, and add the stretch to its sums of the day.

    Parameters
    ----------
    tank, day : int
    step : float
        [h]
    comes_to : float
        As `tank_event` returns it. [L]
    drawn, topped, over, net : float
        [L/h]
    tanks : Tanks
    state : State
        ``volume`` and ``tank_today`` are written.
    """
    today, at = state.tank_today, tank * TANK_SUMS
    today[at + DRAWN] += drawn * step
    today[at + TOPPED] += topped * step
    today[at + OVER] += over * step
    volume = state.volume[tank] + net * step
    if comes_to >= 0.0:
        volume = comes_to
    state.volume[tank] = max(volume, 0.0)


def fill_tank(tank, day, hours, tanks, state):
    """Step a tank whose valves are shut through some hours of a day."""
    while hours > 0.0:
        net, topped, over, _ = tank_rates(tank, day, 0.0, tanks, state)
        step, comes_to = tank_event(tank, net, tanks, state, hours)
        pass_tank(tank, day, step, comes_to, 0.0, topped, over, net, tanks, state)
        hours -= step


def share_out(c, share, tanks, state):
    """Leave a valve on an empty tank, and its beds, their share of what comes into it."""
    state.refill_flow[c] *= share
    state.flow[c] *= share
    for draw in range(tanks.draw_from[c], tanks.draw_from[c + 1]):
        state.draw_power[draw] *= share


def add_draws(c, hours, tanks, state):
    """Give a controller's beds their hours of a stretch: as many as would have given as much at the reference pressure."""
    for draw in range(tanks.draw_from[c], tanks.draw_from[c + 1]):
        state.draw_hours[draw] += hours * state.draw_power[draw]


def begin_tank(tank, state):
    """Set a tank's sums of the day to nothing."""
    for index in range(tank * TANK_SUMS, (tank + 1) * TANK_SUMS):
        state.tank_today[index] = 0.0


def begin_draws(c, tanks, state):
    """Set the hours that a controller's beds had of its tank today to nothing."""
    for draw in range(tanks.draw_from[c], tanks.draw_from[c + 1]):
        state.draw_hours[draw] = 0.0


def write_draws(c, day, tanks, state, out):
    """Write the hours that a controller's beds had of its tank into the results."""
    for draw in range(tanks.draw_from[c], tanks.draw_from[c + 1]):
        out.draw_hours[draw, day] = state.draw_hours[draw]


def write_tank(tank, day, state, out):
    """Write a tank's day into the results."""
    out.tank_volume[tank, day] = state.volume[tank]
    out.tank_drawn[tank, day] = state.tank_today[tank * TANK_SUMS + DRAWN]
    out.tank_topped[tank, day] = state.tank_today[tank * TANK_SUMS + TOPPED]
    out.tank_over[tank, day] = state.tank_today[tank * TANK_SUMS + OVER]
