"""
Tank: what stands in it, what pressure that gives at the emitters, and how long both last.

Plain scalars and the engine's arrays: L, L/h, m, kPa, hours. A tank's shape, and what pipe and valve leave of a pressure,
are lines through points that are computed beforehand.
"""

#: pressure at which flows are given where a tank's falling head changes them [kPa]
REFERENCE_PRESSURE = 100.0
KPA_PER_M = 9.80665  # of water at 1.000 kg/L, as in `physics.hydraulics`
# flows are computed again when the pressure has fallen by a fiftieth, but not more often than once a minute: our choice
_FALL = 0.02
_SHORTEST = 1.0 / 60.0  # h

# places of a tank's sums of the day in `State.tank_today` [L]
DRAWN, TOPPED, OVER = 0, 1, 2
TANK_SUMS = 3

# what ends a stretch of constant rates
TANK_FALLS = 6
TANK_EMPTIES = 7


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


def tank_lasts(volume, flow, pressure, slope, step, ending):
    """
    Return how long the flows hold: until the tank is empty, or its pressure has fallen noticeably.

    Parameters
    ----------
    volume, flow : float
        [L]; above 0 [L/h].
    pressure, slope : float
        [kPa]; [kPa/L].
    step : float
        Until whatever else comes next. [h]
    ending : int
        What that is.

    Returns
    -------
    step : float
        [h]
    ending : int
    """
    lasts = volume / flow
    if lasts <= step:
        step = lasts
        ending = TANK_EMPTIES
    if flow * slope * step > _FALL * pressure and step > _SHORTEST:
        step = max(_FALL * pressure / (flow * slope), _SHORTEST)
        ending = TANK_FALLS
    return step, ending


def held(tank, volume, tanks, state):
    """
    Return what a tank holds after its float valve has topped it up for an hour and what is too much ran over.

    Parameters
    ----------
    tank : int
    volume : float
        With the hour's water from the roof. [L]
    tanks : Tanks
        ``capacity``, ``float_volume`` [L], ``float_rate`` [L/h].
    state : State
        ``tank_today`` is added to.

    Returns
    -------
    float
        [L]
    """
    if volume < tanks.float_volume[tank]:
        topped = min(tanks.float_rate[tank], tanks.float_volume[tank] - volume)
        volume += topped
        state.tank_today[tank * TANK_SUMS + TOPPED] += topped
    if volume > tanks.capacity[tank]:
        state.tank_today[tank * TANK_SUMS + OVER] += volume - tanks.capacity[tank]
        volume = tanks.capacity[tank]
    return volume


def draw_water(c, tank, litres, hours, is_emptied, tanks, state):
    """
    Take a stretch's water out of a tank, and give its beds their hours.

    Parameters
    ----------
    c, tank : int
    litres, hours : float
        [L]; [h].
    is_emptied : bool
        The stretch ends with the tank's last water.
    tanks : Tanks
    state : State
        ``volume``, ``tank_today`` and ``draw_hours`` are written.
    """
    state.tank_today[tank * TANK_SUMS + DRAWN] += litres
    volume = state.volume[tank] - litres
    state.volume[tank] = 0.0 if is_emptied or volume < 0.0 else volume
    for draw in range(tanks.draw_from[c], tanks.draw_from[c + 1]):
        state.draw_hours[draw] += hours * state.draw_power[draw]


def begin_tank(tank, state):
    """Set a tank's sums of the day to nothing."""
    for place in range(tank * TANK_SUMS, (tank + 1) * TANK_SUMS):
        state.tank_today[place] = 0.0


def begin_draws(c, tanks, state):
    """Set the hours that a controller's beds had of its tank today to nothing."""
    for draw in range(tanks.draw_from[c], tanks.draw_from[c + 1]):
        state.draw_hours[draw] = 0.0


def write_tank(tank, day, state, out):
    """Write a tank's day into the results."""
    out.tank_volume[tank, day] = state.volume[tank]
    out.tank_drawn[tank, day] = state.tank_today[tank * TANK_SUMS + DRAWN]
    out.tank_topped[tank, day] = state.tank_today[tank * TANK_SUMS + TOPPED]
    out.tank_over[tank, day] = state.tank_today[tank * TANK_SUMS + OVER]
