"""
Season: the engine's loop, day after day and hour after hour. Numbers in, arrays out.

Units: mm, m², kg (= litre of water), hours, mm per day where a name says so. Knows no files, no dates and no
tables, and imports nothing but the engine's own scalar functions, so that the same text runs as it is for one season and
goes through a compiler for numeric Python for many (`compiled`). Arrays are prepared and read elsewhere (see `arrays`).
Hours are local solar time: hour 0 of a day begins at solar midnight.
"""

import math

from panbudget.engine.hour import eventful_hour
from panbudget.engine.pan import (
    EVAPORATED,
    LEAKED,
    OPEN,
    PAN_SUMS,
    begin_pan,
    end_opening,
    next_press,
    open_valve,
    write_pan,
)
from panbudget.engine.root_zone import root_zone_day
from panbudget.engine.surface import surface_day, watered_surface, wetted_share
from panbudget.engine.tank import begin_draws, begin_tank, fill_tank, write_tank

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
        (controllers,): controllers that share a tank form a block and are stepped together.
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
        And what is only of the day under way: ``slot`` on the list, ``press`` to come (controllers,); ``today``,
        ``tank_today``, sums by pan and by tank; ``draw_hours``, hours of opening that would have given a bed as much at
        the reference pressure, and ``draw_power``, its flow over that at the reference pressure. And of the stretch of
        constant rates: ``rain``, ``evaporation`` [kg/h], ``refill_flow``, ``flow`` of the whole valve [L/h], ``step`` to
        the pan's next event [h] and ``ending``, which it is (controllers,).
    out : Results
        Filled: per controller and day ``openings``, ``open_hours``, ``refilled``, ``drawn``, ``evaporated``,
        ``leaked``, ``spilled``, ``level``, ``stuck_hours`` (open with water, the pan not rising), ``dry_hours`` (nothing left to
        evaporate), ``starved_hours`` (open without water);
        ``hourly_level`` (controllers, days·24), left alone when it has no columns; per tank and day ``tank_volume``,
        ``tank_drawn``, ``tank_topped``, ``tank_over``; per lane and day ``irrigation``, ``etc``, ``eta``, ``ks``,
        ``depletion``, ``deep_percolation``, ``left_below``, ``ke``; ``kr``, ``few``, ``surface_depletion``,
        left alone when they have no columns; the openings ``opening_controller``, ``opening_start``, ``opening_end``
        [h from the start of the first day; not a number if still open], ``opening_refilled``, ``opening_litres``,
        ``opening_cause`` (room,).

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
    keeps_terms = out.kr.shape[1] > 0
    count = 0
    for c in range(len(pans.area)):
        if state.is_open[c]:  # under way from before the first day: first on the list
            refilled, drawn = state.refilled[c], state.drawn[c]
            open_valve(c, state.since[c], state.cause[c], count, state, out)
            state.refilled[c], state.drawn[c] = refilled, drawn
            count += 1
    for day in range(n_days):
        for block in range(len(pans.block) - 1):
            count = supply_day(block, day, count, days, pans, tanks, state, out)
        for lane in range(len(beds.lane_bed)):
            lane_day(lane, day, days.eto[day], keeps_terms, beds, state, out)
    for c in range(len(pans.area)):
        if state.is_open[c]:
            end_opening(c, math.nan, state, out)
            state.since[c] -= n_days * 24.0
    return count


def supply_day(block, day, count, days, pans, tanks, state, out):
    """
    Step the controllers that share a tank, or one alone, through a day; return the openings so far.

    Most hours pass with all valves shut and nothing happening: those go at once, up to the first that does not.
    """
    first, behind = pans.block[block], pans.block[block + 1]
    tank, is_alone = pans.tank[pans.member[first]], behind - first == 1
    for member in range(first, behind):
        begin_pan(pans.member[member], day, pans, state)
    if tank >= 0:
        begin_tank(tank, state)
        for member in range(first, behind):
            begin_draws(pans.member[member], tanks, state)
    hour = 0
    while hour < 24:
        until = 24
        for member in range(first, behind):
            until = quiet_hours(pans.member[member], day, hour, until, is_alone, days, pans, state, out)
        if not is_alone:  # now that it is known which of them is the first to stop
            for member in range(first, behind):
                quiet_hours(pans.member[member], day, hour, until, True, days, pans, state, out)
        if tank >= 0:
            fill_tank(tank, day, until - hour, tanks, state)
        if until < 24:
            count = eventful_hour(first, behind, tank, day, until, count, pans, tanks, state, out)
            if out.hourly_level.shape[1] > 0:
                for member in range(first, behind):
                    c = pans.member[member]
                    out.hourly_level[c, day * 24 + until] = state.level[c]
        hour = until + 1
    for member in range(first, behind):
        write_pan(pans.member[member], day, state, out)
    if tank >= 0:
        write_tank(tank, day, state, out)
    return count


def quiet_hours(c, day, start, end, is_kept, days, pans, state, out):
    """
    Step a pan through the hours of a day in which nothing happens to it.

    Parameters
    ----------
    c, day, start, end : int
        From hour ``start`` to before ``end`` at most.
    is_kept : bool
        Whether the pan goes there; else this only looks how far it would.
    days, pans, state, out
        As for `run_season`; ``state.rain`` and ``state.evaporation`` [kg/h] are left as they are in the hour returned.

    Returns
    -------
    int
        The first hour that is not quiet: the valve is open, or it or the pan would come to something. ``end`` if none.
    """
    w, is_open, rim, dry, leak = state.level[c], state.is_open[c], pans.rim[c, day], pans.dry[c, day], pans.leak[c, day]
    night_share, daylight_share = pans.night_share[c], days.daylight_share
    area, at = pans.area[c], c * PAN_SUMS
    rain = days.rain[day] * pans.rain_factor[c, day] / 24.0 * area  # kg/h; evenly over the day
    day_evaporation = pans.evaporation[c, day] * area  # kg
    press = next_press(c, day, pans, state)
    evaporated, leaked = state.today[at + EVAPORATED], state.today[at + LEAKED]
    hourly_level = out.hourly_level
    keeps_hours, first = hourly_level.shape[1] > 0, day * 24
    hour, loss = start, 0.0
    while hour < 24:
        share = daylight_share[day, hour]
        if night_share > 0.0:
            share = (1.0 - night_share) * share + night_share * days.dark_share[day, hour]
        loss = day_evaporation * share  # kg/h
        net = rain - loss - leak
        if hour == end or is_open or press - hour <= 1.0:
            break
        if net <= 0.0:
            if w <= -net or w - dry <= -net:
                break
        elif w < 0.0 or rim - w < net:
            break
        evaporated += loss
        leaked += leak
        w += net
        if keeps_hours:
            hourly_level[c, first + hour] = w
        hour += 1
    state.rain[c], state.evaporation[c] = rain, loss
    if is_kept:
        state.level[c] = w
        state.today[at + EVAPORATED], state.today[at + LEAKED] = evaporated, leaked
    return hour


def lane_day(lane, day, eto, keeps_terms, beds, state, out):
    """
    Step the soil under one lane through a day, after the day's openings.

    Parameters
    ----------
    lane, day : int
    eto : float
        [mm/day]
    keeps_terms : bool
        Whether the dual coefficient's terms are written.
    beds, state, out
        As for `run_season`.

    Notes
    -----
    Roots that become shallower leave below what they can't reach: ``left_below``.
    """
    b, source, draw = beds.lane_bed[lane], beds.lane_source[lane], beds.lane_draw[lane]
    taw, rain_in, kcb = beds.taw[b, day], beds.rain_in[b, day], beds.kc[b, day]
    depletion = state.depletion[lane]  # Dr at the end of yesterday
    left_below = 0.0
    if depletion > taw:
        left_below = depletion - taw
        depletion -= left_below
    irrigation = 0.0  # exact refill waters at the end of the day
    is_refilled = False
    if source == VALVE:
        hours = state.draw_hours[draw] if draw >= 0 else state.today[beds.lane_controller[lane] * PAN_SUMS + OPEN]
        irrigation = hours * beds.lane_mm_per_hour[lane] * beds.flow_factor[b, day]
    elif source == GIVEN:
        irrigation = beds.given[b, day]
    else:
        is_refilled = beds.growing[b, day] != 0
    ke, kr, few = 0.0, 1.0, 1.0
    if beds.dual[b]:
        ke, kr, few, state.surface_depletion[lane], state.wetted[lane] = surface_day(
            state.surface_depletion[lane],
            state.wetted[lane],
            rain_in,
            irrigation,
            eto,
            kcb,
            beds.kc_max[b, day],
            beds.exposed[b, day],
            beds.fw[b],
            beds.tew[b],
            beds.rew[b],
            beds.ke_factor[b],
        )
    irrigation, etc, eta, ks, depletion, deep_percolation = root_zone_day(
        depletion, rain_in, irrigation, eto, kcb, ke, taw, beds.p_table[b, day], is_refilled
    )
    if is_refilled and irrigation > 0.0 and beds.dual[b]:  # for tomorrow's evaporation
        state.surface_depletion[lane] = watered_surface(state.surface_depletion[lane], 0.0, irrigation, beds.fw[b])
        state.wetted[lane] = wetted_share(state.wetted[lane], rain_in, irrigation, beds.fw[b])
    state.depletion[lane] = depletion
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
        out.surface_depletion[lane, day] = state.surface_depletion[lane]
