"""
Engine: the season itself, day after day. Numbers in, arrays out; pan, valve and beds, equation by equation.

Units: mm, m², kg (= litre of water), hours, mm per day where a name says so. Knows no files, no dates and no
tables, and imports nothing but the standard mathematics, so that the same text runs as it is for one season and
goes through a compiler for numeric Python for many. `season` prepares the arrays (see `arrays`) and reads the
results. Hours are local solar time: hour 0 of a day begins at solar midnight.
"""

import math

__all__ = ["EXACT_REFILL", "GIVEN", "PRESS", "REFERENCE_PRESSURE", "TRIP", "VALVE", "run_season"]

# why an opening began
TRIP = 0
PRESS = 1

# where a lane's water comes from
VALVE = 0
EXACT_REFILL = 1
GIVEN = 2

# what ends a stretch of constant rates inside an hour
_HOUR_ENDS = 0
_TRIPS = 1
_RESETS = 2
_REACHES_RIM = 3
_RUNS_DRY = 4
_IS_PRESSED = 5
_TANK_FALLS = 6
_TANK_EMPTIES = 7

#: pressure at which flows are given where a tank's falling head changes them [kPa]
REFERENCE_PRESSURE = 100.0
_KPA_PER_M = 9.80665  # of water at 1.000 kg/L
# flows are reckoned anew when the pressure has fallen by a fiftieth, but not more often than once a minute
_FALL = 0.02
_SHORTEST = 1.0 / 60.0
_ROUNDING = 1e-9  # kg


def run_season(days, pans, tanks, beds, state, out):
    """
    Step pans, valves, tanks and beds through a run of days.

    Every array is two-dimensional or less, C-ordered, and indexed by whole numbers only. For each day: 24 hours
    of constant rates for every pan, crossings exact within the hour; then the root zone of every lane. A lane
    is one bed under one way of watering: the bed's mean, its driest quarter, a yardstick.

    Parameters
    ----------
    days : Days
        Drivers, the same for all: ``rain`` (days,) [mm/day], ``eto`` (days,) [mm/day], ``daylight_share`` and
        ``dark_share`` (days, 24), what part of the day's (night's) evaporation falls in an hour [-].
    pans : Pans
        Per controller and day: ``evaporation`` [mm/day], ``swing``, ``rim``, ``dry`` [kg above the trip weight],
        ``shift`` [kg by which the trip weight has risen since yesterday], ``leak`` [kg/h], ``rain_factor`` (on the
        rain that reaches the pan) [-], ``refill_flow``, ``valve_flow`` (refill and beds) [L/h, on a tank at the
        reference pressure]. Per controller: ``area`` [m²],
        ``night_share``, ``refill_exponent`` [-], ``tank`` (its place, or −1 on the mains). ``presses``
        (controllers, days·n) hour of the day, ascending, infinite where there is none. ``static``, ``at_emitters``
        (controllers, k) pressure before and after pipe and valve [kPa]. ``block`` (blocks + 1,), ``member``
        (controllers,): controllers that share a tank form a block and are stepped hour by hour together.
    tanks : Tanks
        Per tank: ``capacity`` [L], ``outlet`` (height above the emitters) [m], ``volumes`` [L] and ``levels`` [m]
        (tanks, k) its shape, ``inflow`` (tanks, days) [L/day], ``float_volume`` [L] and ``float_rate`` [L/h] of a
        float valve on the mains. Per draw, one for each bed on a tank and a controller's side by side: ``draw_flow``
        (draws, days) [L/h at the reference pressure], ``draw_exponent``. ``draw_from`` (controllers + 1,): where
        each controller's draws begin, and end with the next one's.
    beds : Beds
        Per bed: ``kc`` (Kcb for the dual coefficient), ``taw`` [mm], ``rain_in`` (rain less runoff) [mm/day],
        ``growing``, ``kc_max``, ``exposed`` (1 − fc), ``p_table``, ``flow_factor`` (what clogging leaves), all
        (beds, days); ``dual``, ``fw``, ``tew``, ``rew``, ``ke_factor`` (what a mulch leaves of the soil's
        evaporation) (beds,). Per lane: ``lane_bed``, ``lane_controller``, ``lane_source`` (VALVE, EXACT_REFILL or
        GIVEN), ``lane_draw`` (its bed's, or −1 on the mains), ``lane_mm_per_hour`` (of opening, on a tank at the
        reference pressure) [mm/h] (lanes,); ``given`` (beds, days) [mm/day].
    state : State
        Where the run starts, overwritten with where it ends: ``level`` [kg], ``is_open``, ``since`` [h before
        the first day, so 0 or less], ``refilled`` and ``drawn`` [kg, L in the opening under way], ``cause``
        (controllers,); ``volume`` (tanks,) [L]; ``depletion`` [mm], ``surface_depletion`` [mm], ``wetted`` [-]
        (lanes,).
    out : Results
        Filled: per controller and day ``openings``, ``open_hours``, ``refilled``, ``drawn``, ``evaporated``,
        ``leaked``, ``spilled``, ``level``, ``stuck_hours``, ``dry_hours``, ``starved_hours`` (open without water);
        ``hourly_level`` (controllers, days·24), left alone when it has no columns; per tank and day ``tank_volume``,
        ``tank_drawn``, ``tank_topped``, ``tank_over``; per draw and day ``draw_hours``, hours of opening that would have
        given as much at the reference pressure, and ``draw_power``, flow over that at the reference pressure when it
        was last reckoned; per lane and day ``irrigation``, ``etc``, ``eta``, ``ks``,
        ``depletion``, ``deep_percolation``, ``left_below``, ``ke``; ``kr``, ``few``, ``surface_depletion``, left
        alone when they have no columns; the openings ``opening_controller``, ``opening_start``, ``opening_end``
        [h from the start of the first day; not a number if still open], ``opening_refilled``, ``opening_litres``,
        ``opening_cause`` (room,).

    Returns
    -------
    int
        How many openings there were. More than ``room`` means that the last ones were not listed.

    Notes
    -----
    Equations: model page §2–§5. FAO-56 (Allen et al. 1998) eq. 71–77, 82–88 are named where they stand. Rain and
    irrigation count from the start of their day, as in FAO-56 Examples 35 and 38; drainage is taken at its end
    (eq. 88). Growing roots find the soil below at field capacity (Example 38). Where a new planting's roots are
    shallower than the last one's, the depletion that they can't reach is left below: ``left_below``. Of several
    valves on one tank the first has the first of each hour's water.
    """
    rain, eto, daylight_share, dark_share = days.rain, days.eto, days.daylight_share, days.dark_share
    n_days = len(rain)
    n_controllers = len(pans.area)
    n_blocks = len(pans.block) - 1
    n_lanes = len(beds.lane_bed)
    n_shape = tanks.volumes.shape[1]
    n_losses = pans.static.shape[1]
    presses_a_day = pans.presses.shape[1] // max(n_days, 1)
    keep_hours = out.hourly_level.shape[1] > 0
    keep_terms = out.kr.shape[1] > 0
    room = len(out.opening_start)
    level, is_open = state.level, state.is_open

    # openings under way from before the first day go on the list first
    count = 0
    for c in range(n_controllers):
        if is_open[c]:
            state.slot[c] = count
            if count < room:
                out.opening_controller[count] = c
                out.opening_start[count] = state.since[c]
                out.opening_cause[count] = state.cause[c]
            count += 1

    for day in range(n_days):
        # pans, valves and tanks, hour by hour (model page, §3 and §4)
        for block in range(n_blocks):
            first_member, after_members = pans.block[block], pans.block[block + 1]
            tank = pans.tank[pans.member[first_member]]
            # one alone goes through its day at once, several on one tank take turns hour by hour
            turn = 24 if after_members - first_member == 1 else 1
            inflow = volume = 0.0
            first_draw = after_draws = shape_at = loss_at = 0
            if tank >= 0:
                inflow = tanks.inflow[tank, day] / 24.0  # L/h
                volume = state.volume[tank]
                shape_at, loss_at = 1, n_losses - 1
                out.tank_drawn[tank, day] = out.tank_topped[tank, day] = out.tank_over[tank, day] = 0.0
            for start in range(0, 24, turn):
                for place in range(first_member, after_members):
                    c = pans.member[place]
                    area = pans.area[c]
                    swing, rim, dry = pans.swing[c, day], pans.rim[c, day], pans.dry[c, day]
                    refill_flow, leak = pans.refill_flow[c, day], pans.leak[c, day]
                    valve_flow = pans.valve_flow[c, day]
                    night_share = pans.night_share[c]
                    rain_rate = rain[day] * pans.rain_factor[c, day] / 24.0 * area  # kg/h; evenly over the day
                    day_evaporation = pans.evaporation[c, day] * area  # kg
                    w = level[c]
                    valve_open = is_open[c]
                    if tank >= 0:
                        first_draw, after_draws = tanks.draw_from[c], tanks.draw_from[c + 1]
                    if start == 0:
                        w -= pans.shift[c, day]
                        for draw in range(first_draw, after_draws):
                            out.draw_hours[draw, day] = 0.0
                        press = day * presses_a_day
                        opened = 0
                        open_hours = evaporated = refilled = drawn = spilled = leaked = 0.0
                        stuck_hours = dry_hours = starved_hours = 0.0
                    else:  # go on where this one's last hour ended
                        press = state.press[c]
                        opened = out.openings[c, day]
                        open_hours, evaporated = out.open_hours[c, day], out.evaporated[c, day]
                        refilled, drawn = out.refilled[c, day], out.drawn[c, day]
                        spilled, leaked = out.spilled[c, day], out.leaked[c, day]
                        stuck_hours, dry_hours = out.stuck_hours[c, day], out.dry_hours[c, day]
                        starved_hours = out.starved_hours[c, day]
                    last_press = day * presses_a_day + presses_a_day

                    for hour in range(start, start + turn):
                        if tank >= 0 and place == first_member:  # roof and float valve bring their hour's water first
                            volume += inflow
                            if volume < tanks.float_volume[tank]:
                                topped = min(tanks.float_rate[tank], tanks.float_volume[tank] - volume)
                                volume += topped
                                out.tank_topped[tank, day] += topped
                            if volume > tanks.capacity[tank]:
                                out.tank_over[tank, day] += volume - tanks.capacity[tank]
                                volume = tanks.capacity[tank]

                        share = (1.0 - night_share) * daylight_share[day, hour] + night_share * dark_share[day, hour]
                        evaporation_rate = day_evaporation * share  # kg/h
                        clock = 0.0  # hours into this hour
                        # most hours pass with the valve shut and nothing happening: one step to their end
                        net = rain_rate - evaporation_rate - leak
                        quiet = not valve_open and (
                            (net <= 0.0 and w > -net and w - dry > -net) or (net > 0.0 and w >= 0.0 and rim - w >= net)
                        )
                        if quiet and press < last_press and pans.presses[c, press] - hour <= 1.0:
                            quiet = False
                        if quiet:
                            evaporated += evaporation_rate
                            leaked += leak
                            w += net
                        while not quiet:
                            # rates from here on, constant until the next happening
                            refill_rate = 0.0
                            flow = 0.0
                            pressure = slope = 0.0
                            if valve_open:
                                refill_rate = refill_flow
                                flow = valve_flow
                                if tank >= 0:
                                    refill_rate = flow = 0.0
                                    if volume > 0.0:
                                        # level by the tank's shape, pressure behind pipe and valve: straight between
                                        # points, looked for from where the last one was found
                                        k = shape_at
                                        while k < n_shape - 1 and tanks.volumes[tank, k] < volume:
                                            k += 1
                                        while k > 1 and tanks.volumes[tank, k - 1] >= volume:
                                            k -= 1
                                        shape_at = k
                                        below, above = tanks.volumes[tank, k - 1], tanks.volumes[tank, k]
                                        slope = (tanks.levels[tank, k] - tanks.levels[tank, k - 1]) / (above - below)
                                        head = tanks.levels[tank, k - 1] + slope * (volume - below)
                                        pressure = (head + tanks.outlet[tank]) * _KPA_PER_M
                                        k = loss_at
                                        while k < n_losses - 1 and pans.static[c, k] < pressure:
                                            k += 1
                                        while k > 1 and pans.static[c, k - 1] >= pressure:
                                            k -= 1
                                        loss_at = k
                                        below, above = pans.static[c, k - 1], pans.static[c, k]
                                        left = (pans.at_emitters[c, k] - pans.at_emitters[c, k - 1]) / (above - below)
                                        pressure = pans.at_emitters[c, k - 1] + left * (pressure - below)
                                        slope *= left * _KPA_PER_M  # of pressure at the emitters [kPa/L]
                                        ratio = pressure / REFERENCE_PRESSURE
                                        if ratio > 0.0:
                                            exponent = pans.refill_exponent[c]
                                            power = ratio**exponent  # anew only for another kind of emitter
                                            refill_rate = refill_flow * power
                                            flow = refill_rate
                                            for draw in range(first_draw, after_draws):
                                                if tanks.draw_exponent[draw] != exponent:
                                                    exponent = tanks.draw_exponent[draw]
                                                    power = ratio**exponent
                                                flow += tanks.draw_flow[draw, day] * power
                                                out.draw_power[draw] = power
                            net = rain_rate + refill_rate - evaporation_rate - leak
                            lost = evaporation_rate
                            leaking = leak
                            over = 0.0
                            is_dry = False
                            if net < 0.0 and w <= dry:  # a dry pan loses what comes in and no more
                                comes = (rain_rate + refill_rate) / (evaporation_rate + leak)
                                lost = evaporation_rate * comes
                                leaking = leak * comes
                                net = 0.0
                                is_dry = True
                            elif net > 0.0 and w >= rim:  # a full pan spills what it can't hold
                                over = net
                                net = 0.0

                            step = 1.0 - clock
                            ending = _HOUR_ENDS
                            if valve_open:
                                if w >= swing:
                                    step = 0.0
                                    ending = _RESETS
                                elif net > 0.0 and swing - w <= net * step:
                                    step = (swing - w) / net
                                    ending = _RESETS
                            elif w < 0.0:  # only where the trip weight has been moved
                                step = 0.0
                                ending = _TRIPS
                            elif net < 0.0 and w <= -net * step:
                                step = max(w, 0.0) / -net
                                ending = _TRIPS
                            if ending != _RESETS and net > 0.0 and w < rim and rim - w < net * step:
                                step = (rim - w) / net
                                ending = _REACHES_RIM
                            elif net < 0.0 and w > dry and w - dry < -net * step:
                                step = (w - dry) / -net
                                ending = _RUNS_DRY
                            if tank >= 0 and flow > 0.0:
                                lasts = volume / flow
                                if lasts <= step:
                                    step = lasts
                                    ending = _TANK_EMPTIES
                                if flow * slope * step > _FALL * pressure and step > _SHORTEST:
                                    step = max(_FALL * pressure / (flow * slope), _SHORTEST)
                                    ending = _TANK_FALLS
                            if press < last_press and pans.presses[c, press] - hour <= clock + step:
                                step = max(pans.presses[c, press] - hour - clock, 0.0)
                                ending = _IS_PRESSED
                                press += 1

                            evaporated += lost * step
                            leaked += leaking * step
                            spilled += over * step
                            w += net * step
                            if valve_open:
                                open_hours += step
                                refilled += refill_rate * step
                                drawn += flow * step
                                state.refilled[c] += refill_rate * step
                                state.drawn[c] += flow * step
                                if flow <= 0.0:
                                    starved_hours += step
                                elif rain_rate + refill_rate <= evaporation_rate + leak:
                                    stuck_hours += step
                                if tank >= 0 and flow > 0.0:
                                    out.tank_drawn[tank, day] += flow * step
                                    volume -= flow * step
                                    if ending == _TANK_EMPTIES or volume < 0.0:
                                        volume = 0.0
                                    for draw in range(first_draw, after_draws):
                                        out.draw_hours[draw, day] += step * out.draw_power[draw]
                            if is_dry:
                                dry_hours += step
                            clock += step

                            if ending == _TRIPS or (ending == _IS_PRESSED and not valve_open and w < swing):
                                if ending == _TRIPS and w > -_ROUNDING:
                                    w = 0.0
                                valve_open = True
                                opened += 1
                                state.slot[c] = count
                                state.since[c] = day * 24.0 + hour + clock
                                state.refilled[c] = 0.0
                                state.drawn[c] = 0.0
                                state.cause[c] = TRIP if ending == _TRIPS else PRESS
                                if count < room:
                                    out.opening_controller[count] = c
                                    out.opening_start[count] = state.since[c]
                                    out.opening_cause[count] = state.cause[c]
                                count += 1
                            elif ending == _RESETS:
                                if w < swing + _ROUNDING:
                                    w = swing
                                valve_open = False
                                if state.slot[c] < room:
                                    out.opening_end[state.slot[c]] = day * 24.0 + hour + clock
                                    out.opening_refilled[state.slot[c]] = state.refilled[c]
                                    out.opening_litres[state.slot[c]] = state.drawn[c]
                            elif ending == _REACHES_RIM:
                                w = rim
                            elif ending == _RUNS_DRY:
                                w = dry
                            elif ending == _HOUR_ENDS:
                                break
                        if keep_hours:
                            out.hourly_level[c, day * 24 + hour] = w

                    level[c] = w
                    is_open[c] = valve_open
                    state.press[c] = press
                    out.openings[c, day] = opened
                    out.open_hours[c, day] = open_hours
                    out.refilled[c, day] = refilled
                    out.drawn[c, day] = drawn
                    out.evaporated[c, day] = evaporated
                    out.leaked[c, day] = leaked
                    out.spilled[c, day] = spilled
                    out.level[c, day] = w
                    out.stuck_hours[c, day] = stuck_hours
                    out.dry_hours[c, day] = dry_hours
                    out.starved_hours[c, day] = starved_hours
            if tank >= 0:
                state.volume[tank] = volume
                out.tank_volume[tank, day] = volume

        # beds: FAO-56 chapter 8, and chapter 7 for the dual coefficient
        for lane in range(n_lanes):
            b = beds.lane_bed[lane]
            source = beds.lane_source[lane]
            taw = beds.taw[b, day]
            rain_in = beds.rain_in[b, day]
            depletion = state.depletion[lane]  # Dr at the end of yesterday
            left_below = max(depletion - taw, 0.0)
            depletion -= left_below
            if source == VALVE:
                draw = beds.lane_draw[lane]
                if draw >= 0:
                    irrigation = out.draw_hours[draw, day] * beds.lane_mm_per_hour[lane] * beds.flow_factor[b, day]
                else:
                    c = beds.lane_controller[lane]
                    irrigation = out.open_hours[c, day] * beds.lane_mm_per_hour[lane] * beds.flow_factor[b, day]
            elif source == GIVEN:
                irrigation = beds.given[b, day]
            else:
                irrigation = 0.0  # exact refill waters at the end of the day, below

            kcb = beds.kc[b, day]
            ke = 0.0
            kr = few = 1.0
            if beds.dual[b]:
                tew, rew, fw = beds.tew[b], beds.rew[b], beds.fw[b]
                if rain_in > 0.2 * eto[day]:  # rain wets all of the surface; a sprinkle does not (ch. 7, eq. 77)
                    state.wetted[lane] = 1.0
                elif irrigation > 0.0:
                    state.wetted[lane] = fw
                wetted = state.wetted[lane]
                exposed = beds.exposed[b, day]
                if wetted < 1.0:  # drippers stand under the leaves: fw·(1 − 2/3 fc), Example 34
                    wetted *= 1.0 - 2.0 / 3.0 * (1.0 - exposed)
                few = min(exposed, wetted)  # eq. 75
                de = max(state.surface_depletion[lane] - rain_in - irrigation / fw, 0.0)
                kr = 1.0 if de <= rew else (tew - de) / (tew - rew)  # eq. 74
                ke = min(kr * (beds.kc_max[b, day] - kcb), few * beds.kc_max[b, day])  # eq. 71
                ke = max(ke, 0.0) * beds.ke_factor[b]
                if ke * eto[day] > few * (tew - de):  # the layer can't give more than it holds
                    ke = few * (tew - de) / eto[day]
                state.surface_depletion[lane] = min(max(de + ke * eto[day] / few, 0.0), tew)  # eq. 77
            etc = (kcb + ke) * eto[day]  # eq. 58, 69

            p = beds.p_table[b, day] + 0.04 * (5.0 - etc)  # Table 22, footnote 2
            p = min(max(p, 0.1), 0.8)
            raw = p * taw  # eq. 83
            at_start = max(depletion - rain_in - irrigation, 0.0)
            ks = 1.0
            if source == EXACT_REFILL and beds.growing[b, day]:
                eta = etc  # watered in time, so never short
            else:
                if at_start > raw:
                    ks = max((taw - at_start) / (taw - raw), 0.0)  # eq. 84
                eta = min((ks * kcb + ke) * eto[day], max(taw - at_start, 0.0))  # eq. 80, 81
            depletion = depletion - rain_in - irrigation + eta  # eq. 85
            deep_percolation = 0.0
            if depletion < 0.0:  # eq. 88
                deep_percolation = -depletion
                depletion = 0.0
            if source == EXACT_REFILL and beds.growing[b, day] and depletion >= raw:
                irrigation = depletion
                depletion = 0.0

            state.depletion[lane] = depletion
            out.irrigation[lane, day] = irrigation
            out.etc[lane, day] = etc
            out.eta[lane, day] = eta
            out.ks[lane, day] = ks
            out.ke[lane, day] = ke
            out.depletion[lane, day] = depletion
            out.deep_percolation[lane, day] = deep_percolation
            out.left_below[lane, day] = left_below
            if keep_terms:
                out.raw[lane, day] = raw
                out.kr[lane, day] = kr
                out.few[lane, day] = few
                out.surface_depletion[lane, day] = state.surface_depletion[lane]

    for c in range(n_controllers):
        if is_open[c]:
            if state.slot[c] < room:
                out.opening_end[state.slot[c]] = math.nan
                out.opening_refilled[state.slot[c]] = state.refilled[c]
                out.opening_litres[state.slot[c]] = state.drawn[c]
            state.since[c] -= n_days * 24.0
    return count
