"""
Season: the engine's loop, day after day and hour after hour. Numbers in, arrays out.

Units: mm, m², kg (= litre of water), hours, mm per day where a name says so. Knows no files, no dates and no
tables, and imports nothing but the engine's own scalar functions, so that the same text runs as it is for one season and
goes through a compiler for numeric Python for many (`compiled`). Arrays are prepared and read elsewhere (see `arrays`).
Hours are local solar time: hour 0 of a day begins at solar midnight.
"""

import math

from panbudget.engine.adding import add_lane
from panbudget.engine.hour import tank_hour
from panbudget.engine.pan import (
    NO_SUMS,
    PAN_SUMS,
    begin_pan,
    end_opening,
    eventful_hour,
    keep_sums,
    open_valve,
    sums_so_far,
    wait,
    waits,
    write_pan,
)
from panbudget.engine.root_zone import root_zone_day
from panbudget.engine.surface import surface_day, watered_surface, wetted_share
from panbudget.engine.tank import begin_draws, begin_tank, fill_tank, is_without_water, write_draws, write_tank

# where a lane's water comes from
VALVE = 0
EXACT_REFILL = 1
GIVEN = 2


def run_season(days, pans, tanks, beds, state, out):
    """
    Step pans, valves, tanks and beds through days.

    Arrays are C-ordered. A day has 24 hours of constant rates, then the root zone of each lane: a bed under one watering.

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
        (controllers,): controllers that share a tank form a block.
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
        And what is only of the day and the stretch under way, named at `arrays.State`.
    out : Results
        Filled.

    Returns
    -------
    int
        How many openings; more than ``room`` means that the last ones were not listed.

    Notes
    -----
    Growing roots find the soil below at field capacity (FAO-56 Example 38); what shallower roots of a new planting
    can't reach is ``left_below``. Valves on one tank share it by their flows: no result depends on their order.
    """
    n_days = len(days.rain)
    # to a compiler 0 alone is a type of its own, and every function that it goes to is compiled twice
    count = 0 * n_days
    for c in range(len(pans.area)):
        if state.is_open[c]:  # under way from before the first day: first on the list
            refilled, drawn = state.refilled[c], state.drawn[c]
            open_valve(c, state.since[c], state.cause[c], count, state, out)
            state.refilled[c], state.drawn[c] = refilled, drawn
            count += 1
    for day in range(n_days):
        for block in range(len(pans.block) - 1):
            first, behind = pans.block[block], pans.block[block + 1]
            tank = pans.tank[pans.member[first]]
            count = supply_day(first, behind, tank, day, count, days, pans, tanks, state, out)
    for lane in range(len(beds.lane_bed)):
        lane_season(lane, days, beds, state, out)
        if lane < len(out.sums):
            add_lane(lane, beds, out)
    for c in range(len(pans.area)):
        if state.is_open[c]:
            end_opening(c, math.nan, state, out)
            state.since[c] -= n_days * 24.0
    return count


def supply_day(first, behind, tank, day, count, days, pans, tanks, state, out):
    """
    Step a controller on the mains, or all that share a tank, through a day; return the openings so far.

    On a tank, hours in which no water flows and nothing happens go at once, up to the first that is not so.
    """
    presses_a_day = pans.presses.shape[1] // len(days.rain)
    for member in range(first, behind):
        begin_pan(pans.member[member], day, presses_a_day, pans, state)
        if tank >= 0:
            begin_draws(pans.member[member], tanks, state)
            keep_sums(pans.member[member], NO_SUMS, state)
    if tank >= 0:
        begin_tank(tank, state)
    hour, end = 0 * day, days.daylight_share.shape[1]  # no literals, as in `run_season`
    while hour < end:
        until = end
        is_empty = tank >= 0 and is_without_water(tank, day, tanks, state)
        for is_kept in range(0 if behind - first > 1 else 1, 2):  # first, of several: which is the first to stop?
            for member in range(first, behind):
                c = pans.member[member]
                until, count = pan_hours(c, tank, is_empty, is_kept, day, hour, until, count, days, pans, state, out)
        if tank >= 0:
            fill_tank(tank, day, float(until - hour), tanks, state)
            if until < end:
                count = tank_hour(first, behind, tank, day, until, count, presses_a_day, pans, tanks, state, out)
        hour = until + 1
    if tank >= 0:
        for member in range(first, behind):
            c = pans.member[member]
            write_pan(c, day, state.level[c], sums_so_far(c, state), out)
            write_draws(c, day, tanks, state, out)
        write_tank(tank, day, state, out)
    return count


def pan_hours(c, tank, is_empty, is_kept, day, start, end, count, days, pans, state, out):
    """
    Step a pan and its valve through hours of a day: on the mains through all of them, on a tank while nothing happens.

    Most hours pass with the valve shut, or open on an empty tank, and nothing happening: one step to their end.

    Parameters
    ----------
    c, tank : int
        −1 for the mains.
    is_empty, is_kept : bool
        Whether the tank is without water; whether the pan goes there, or this only looks how far it would.
    day, start, end : int
        From hour ``start`` to before ``end`` at most.
    count : int
        Openings so far.
    days, pans, state, out
        As for `run_season`. On a tank ``state.rain`` and ``state.evaporation`` [kg/h] are left as in the hour returned.

    Returns
    -------
    hour, count : int
        The first hour of which nothing is done; openings so far.
    """
    area, rim, dry, leak = pans.area[c], pans.rim[c, day], pans.dry[c, day], pans.leak[c, day]
    levels, flows = (pans.swing[c, day], rim, dry), (pans.refill_flow[c, day], pans.valve_flow[c, day], is_empty)
    rain = days.rain[day] * pans.rain_factor[c, day] / 24.0 * area  # kg/h; evenly over the day
    day_evaporation = pans.evaporation[c, day] * area  # kg
    last = (day + 1) * (pans.presses.shape[1] // len(days.rain))
    w, is_open, press, sums = state.level[c], state.is_open[c], state.press[c], NO_SUMS
    evaporated, leaked, loss, hour, is_on_tank = 0.0, 0.0, 0.0, start, tank >= 0
    if is_on_tank:
        evaporated, leaked = state.today[c * PAN_SUMS], state.today[c * PAN_SUMS + 1]
    while hour < 24:
        until = hour if is_open and not is_empty else end
        while press < last and until > hour and pans.presses[c, press] - (until - 1) <= 1.0:
            until -= 1
        falls, water = (rain, day_evaporation, leak), (w, evaporated, leaked)
        hour, loss, w, evaporated, leaked = quiet_hours(
            c, day, hour, until, is_open, is_kept, falls, levels, water, days, pans, state, out
        )
        if is_on_tank or hour == 24:
            break
        sums = (evaporated, leaked) + sums[2:]  # noqa: RUF005  # for numba
        rates = (rain, loss, leak)
        w, is_open, press, sums, count = eventful_hour(
            c, day, float(hour), 1.0, flows, rates, levels, w, is_open, press, last, sums, count, pans, state, out
        )
        evaporated, leaked = sums[0], sums[1]
        if out.hourly_level.shape[1] > 0:
            out.hourly_level[c, day * 24 + hour] = w
        hour += 1
    if not is_on_tank:
        write_pan(c, day, w, (evaporated, leaked) + sums[2:], out)  # noqa: RUF005
    else:
        state.rain[c], state.evaporation[c] = rain, loss
    if is_kept:
        state.level[c], state.is_open[c], state.press[c] = w, is_open, press
        if is_on_tank:
            state.today[c * PAN_SUMS], state.today[c * PAN_SUMS + 1] = evaporated, leaked
    return hour, count


def quiet_hours(c, day, start, until, is_open, is_kept, falls, levels, water, days, pans, state, out):
    """
    Step a pan through hours in which its valve is shut, or open without water, and nothing happens.

    Parameters
    ----------
    c, day, start, until : int
        From hour ``start`` to before ``until`` at most.
    is_open, is_kept : bool
        As for `pan_hours`.
    falls : (float, float, float)
        Rain [kg/h], the day's evaporation [kg], leak [kg/h].
    levels : (float, float, float)
        Reset, rim and dry floor. [kg above the trip weight]
    water : (float, float, float)
        In the pan [kg above the trip weight]; what evaporated and leaked of the day so far. [kg]
    days, pans, state, out
        As for `run_season`.

    Returns
    -------
    hour, loss, w, evaporated, leaked
        The first hour of which nothing is done; its evaporation [kg/h]; water before it.
    """
    (rain, day_evaporation, leak), (w, evaporated, leaked), (_, rim, dry) = falls, water, levels
    night_share, daylight_share, loss = pans.night_share[c], days.daylight_share, 0.0
    hourly_level, first = out.hourly_level, day * 24
    keeps_hours = hourly_level.shape[1] > 0
    if not is_open and not keeps_hours and rain == leak == night_share == 0.0 and dry <= 0.0 <= day_evaporation:
        for hour in range(start, 24):  # the same numbers, as most days have nothing but evaporation
            loss = day_evaporation * daylight_share[day, hour]
            if hour == until or w <= loss:
                return hour, loss, w, evaporated, leaked
            evaporated += loss
            w -= loss
        return 24, loss, w, evaporated, leaked
    for hour in range(start, 24):
        share = daylight_share[day, hour]
        if night_share > 0.0:
            share = (1.0 - night_share) * share + night_share * days.dark_share[day, hour]
        loss = day_evaporation * share  # kg/h
        if hour == until:
            return hour, loss, w, evaporated, leaked
        net = rain - loss - leak
        if is_open:
            is_quiet, is_bare = waits(w, net, rain, levels)
            if not is_quiet:
                return hour, loss, w, evaporated, leaked
            if is_kept:
                wait(c, is_bare, state)
            if is_bare:
                if keeps_hours:
                    hourly_level[c, first + hour] = w
                continue
        elif net <= 0.0:
            if w <= -net or w - dry <= -net:
                return hour, loss, w, evaporated, leaked
        elif w < 0.0 or rim - w < net:
            return hour, loss, w, evaporated, leaked
        evaporated += loss
        leaked += leak
        w += net
        if keeps_hours:
            hourly_level[c, first + hour] = w
    return 24, loss, w, evaporated, leaked


def lane_season(lane, days, beds, state, out):
    """
    Step the soil under one lane through the days, after all openings, which know nothing of it.

    Parameters
    ----------
    lane : int
    days, beds, state, out
        As for `run_season`.

    Notes
    -----
    Roots that become shallower leave below what they can't reach: ``left_below``.
    """
    b, c, source, draw = beds.lane_bed[lane], beds.lane_controller[lane], beds.lane_source[lane], beds.lane_draw[lane]
    is_dual, is_on_tank, keeps_terms = beds.dual[b] != 0, draw >= 0, out.kr.shape[1] > 0
    mm_per_hour, ke_factor = beds.lane_mm_per_hour[lane], beds.ke_factor[b]
    fw, tew, rew = beds.fw[b], beds.tew[b], beds.rew[b]
    depletion, surface, wetted = state.depletion[lane], state.surface_depletion[lane], state.wetted[lane]
    for day in range(len(days.rain)):
        eto, taw, rain_in, kcb = days.eto[day], beds.taw[b, day], beds.rain_in[b, day], beds.kc[b, day]
        left_below = 0.0
        if depletion > taw:  # Dr at the end of yesterday
            left_below = depletion - taw
            depletion -= left_below
        irrigation = 0.0  # exact refill waters at the end of the day
        is_refilled = False
        if source == VALVE:
            hours = out.draw_hours[draw, day] if is_on_tank else out.open_hours[c, day]
            irrigation = hours * mm_per_hour * beds.flow_factor[b, day]
        elif source == GIVEN:
            irrigation = beds.given[b, day]
        else:
            is_refilled = beds.growing[b, day] != 0
        ke, kr, few = 0.0, 1.0, 1.0
        if is_dual:
            kc_max, exposed = beds.kc_max[b, day], beds.exposed[b, day]
            ke, kr, few, surface, wetted = surface_day(
                surface, wetted, rain_in, irrigation, eto, kcb, kc_max, exposed, fw, tew, rew, ke_factor
            )
        irrigation, etc, eta, ks, depletion, deep_percolation = root_zone_day(
            depletion, rain_in, irrigation, eto, kcb, ke, taw, beds.p_table[b, day], is_refilled
        )
        if is_refilled and irrigation > 0.0 and is_dual:  # for tomorrow's evaporation
            surface = watered_surface(surface, 0.0, irrigation, fw)
            wetted = wetted_share(wetted, rain_in, irrigation, fw)
        out.irrigation[lane, day] = irrigation
        out.etc[lane, day] = etc
        out.eta[lane, day] = eta
        out.ks[lane, day] = ks
        out.ke[lane, day] = ke
        out.depletion[lane, day] = depletion
        out.deep_percolation[lane, day] = deep_percolation
        out.left_below[lane, day] = left_below
        if keeps_terms:
            out.kr[lane, day] = kr
            out.few[lane, day] = few
            out.surface_depletion[lane, day] = surface
    state.depletion[lane], state.surface_depletion[lane], state.wetted[lane] = depletion, surface, wetted
