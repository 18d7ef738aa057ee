"""
Engine: the season itself, day after day. Numbers in, arrays out; pan, valve and beds, equation by equation.

Units: mm, m², kg (= litre of water), hours, mm per day where a name says so. Knows no files, no dates and no
tables, and imports nothing but the standard mathematics, so that the same text runs as it is for one season and
goes through a compiler for numeric Python for many. `season` prepares the arrays (see `arrays`) and reads the
results. Hours are local solar time: hour 0 of a day begins at solar midnight.
"""

import math

__all__ = ["EXACT_REFILL", "GIVEN", "PRESS", "TRIP", "VALVE", "run_season"]

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


def run_season(days, pans, beds, state, out):
    """
    Step pans, valves and beds through a run of days.

    Every array is two-dimensional or less, C-ordered, and indexed by whole numbers only. For each day: 24 hours
    of constant rates for every pan, crossings exact within the hour; then the root zone of every lane. A lane
    is one bed under one way of watering: the bed's mean, its driest quarter, a yardstick.

    Parameters
    ----------
    days : Days
        Drivers, the same for all: ``rain`` (days,) [mm/day], ``eto`` (days,) [mm/day], ``daylight_share`` and
        ``dark_share`` (days, 24), what part of the day's (night's) evaporation falls in an hour [-].
    pans : Pans
        Per controller: ``evaporation`` (controllers, days) [mm/day], ``area`` [m²], ``swing``, ``rim``, ``dry``
        [kg above the trip weight], ``night_share`` [-], ``refill_flow`` [L/h], ``presses``
        (controllers, days·n) hour of the day, ascending, infinite where there is none; (controllers,) unless
        given.
    beds : Beds
        Per bed: ``kc`` (Kcb for the dual coefficient), ``taw`` [mm], ``rain_in`` (rain less runoff) [mm/day],
        ``growing``, ``kc_max``, ``exposed`` (1 − fc), ``p_table``, all (beds, days); ``dual``, ``fw``, ``tew``,
        ``rew``, ``ke_factor`` (what a mulch leaves of the soil's evaporation) (beds,).
        Per lane: ``lane_bed``, ``lane_controller``, ``lane_source`` (VALVE, EXACT_REFILL or
        GIVEN), ``lane_mm_per_hour`` (lanes,) [mm/h of opening]; ``given`` (beds, days) [mm/day].
    state : State
        Where the run starts, overwritten with where it ends: ``level`` [kg], ``is_open``, ``since`` [h before
        the first day, so 0 or less], ``refilled`` [kg in the opening under way], ``cause`` (controllers,);
        ``depletion`` [mm], ``surface_depletion`` [mm], ``wetted`` [-] (lanes,).
    out : Results
        Filled: per controller and day ``openings``, ``open_hours``, ``refilled``, ``evaporated``, ``spilled``,
        ``level``, ``stuck_hours``, ``dry_hours``; ``hourly_level`` (controllers, days·24), left alone when it
        has no columns; per lane and day ``irrigation``, ``etc``, ``eta``, ``ks``, ``depletion``,
        ``deep_percolation``, ``left_below``, ``ke``; ``kr``, ``few``, ``surface_depletion``, left alone when they
        have no columns; the openings ``opening_controller``, ``opening_start``, ``opening_end``
        [h from the start of the first day; not a number if still open], ``opening_refilled``,
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
    shallower than the last one's, the depletion that they can't reach is left below: ``left_below``.
    """
    rain, eto, daylight_share, dark_share = days.rain, days.eto, days.daylight_share, days.dark_share
    n_days = len(rain)
    n_controllers = len(pans.area)
    n_lanes = len(beds.lane_bed)
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
        # pans and valves, hour by hour (model page, §3)
        for c in range(n_controllers):
            area = pans.area[c]
            swing, rim, dry = pans.swing[c], pans.rim[c], pans.dry[c]
            refill_flow = pans.refill_flow[c]
            night_share = pans.night_share[c]
            rain_rate = rain[day] / 24.0 * area  # kg/h; rain falls evenly over the day
            day_evaporation = pans.evaporation[c, day] * area  # kg
            press = day * presses_a_day
            last_press = press + presses_a_day
            w = level[c]
            valve_open = is_open[c]
            opened = 0
            open_hours = evaporated = refilled = spilled = stuck_hours = dry_hours = 0.0

            for hour in range(24):
                share = (1.0 - night_share) * daylight_share[day, hour] + night_share * dark_share[day, hour]
                evaporation_rate = day_evaporation * share  # kg/h
                clock = 0.0  # hours into this hour
                while True:
                    # rates from here on, constant until the next happening
                    refill_rate = refill_flow if valve_open else 0.0
                    net = rain_rate + refill_rate - evaporation_rate
                    lost = evaporation_rate
                    over = 0.0
                    is_dry = False
                    if net < 0.0 and w <= dry:  # a dry pan evaporates what comes in and no more
                        lost = rain_rate + refill_rate
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
                    elif net < 0.0 and w <= -net * step:
                        step = max(w, 0.0) / -net
                        ending = _TRIPS
                    if ending != _RESETS and net > 0.0 and w < rim and rim - w < net * step:
                        step = (rim - w) / net
                        ending = _REACHES_RIM
                    elif net < 0.0 and w > dry and w - dry < -net * step:
                        step = (w - dry) / -net
                        ending = _RUNS_DRY
                    if press < last_press and pans.presses[c, press] - hour <= clock + step:
                        step = max(pans.presses[c, press] - hour - clock, 0.0)
                        ending = _IS_PRESSED
                        press += 1

                    evaporated += lost * step
                    spilled += over * step
                    w += net * step
                    if valve_open:
                        open_hours += step
                        refilled += refill_rate * step
                        state.refilled[c] += refill_rate * step
                        if rain_rate + refill_rate <= evaporation_rate:
                            stuck_hours += step
                    if is_dry:
                        dry_hours += step
                    clock += step

                    if ending == _TRIPS or (ending == _IS_PRESSED and not valve_open and w < swing):
                        if ending == _TRIPS:
                            w = 0.0
                        valve_open = True
                        opened += 1
                        state.slot[c] = count
                        state.since[c] = day * 24.0 + hour + clock
                        state.refilled[c] = 0.0
                        state.cause[c] = TRIP if ending == _TRIPS else PRESS
                        if count < room:
                            out.opening_controller[count] = c
                            out.opening_start[count] = state.since[c]
                            out.opening_cause[count] = state.cause[c]
                        count += 1
                    elif ending == _RESETS:
                        w = swing
                        valve_open = False
                        if state.slot[c] < room:
                            out.opening_end[state.slot[c]] = day * 24.0 + hour + clock
                            out.opening_refilled[state.slot[c]] = state.refilled[c]
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
            out.openings[c, day] = opened
            out.open_hours[c, day] = open_hours
            out.refilled[c, day] = refilled
            out.evaporated[c, day] = evaporated
            out.spilled[c, day] = spilled
            out.level[c, day] = w
            out.stuck_hours[c, day] = stuck_hours
            out.dry_hours[c, day] = dry_hours

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
                irrigation = out.open_hours[beds.lane_controller[lane], day] * beds.lane_mm_per_hour[lane]
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
                out.kr[lane, day] = kr
                out.few[lane, day] = few
                out.surface_depletion[lane, day] = state.surface_depletion[lane]

    for c in range(n_controllers):
        if is_open[c]:
            if state.slot[c] < room:
                out.opening_end[state.slot[c]] = math.nan
                out.opening_refilled[state.slot[c]] = state.refilled[c]
            state.since[c] -= n_days * 24.0
    return count
