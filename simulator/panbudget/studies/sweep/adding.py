"""
Adding: a run's days added up, lane by lane and pan by pan. Numbers in, numbers out, like the engine beside it.

Plain scalar text without imports, so that it goes through the same compiler as the engine.
"""

from __future__ import annotations

#: columns of a lane's sums [mm, mm, mm, mm, mm, days, days, mm, mm, mm]
LANE_SUMS = (
    "irrigation_mm",
    "etc_mm",
    "eta_mm",
    "deep_percolation_mm",
    "left_below_mm",
    "stress_days",
    "longest_stress_days",
    "asked_mm",
    "used_mm",
    "rain_kept_mm",
)
#: columns of a pan's sums
PAN_SUMS = (
    "openings",
    "open_hours",
    "litres",
    "refilled_kg",
    "evaporated_kg",
    "leaked_kg",
    "spilled_kg",
    "stuck_open_hours",
    "dry_pan_hours",
    "starved_hours",
)


def add_up(beds, out, lane_sums, pan_sums):  # type: ignore[no-untyped-def]
    """
    Add a season up.

    Parameters
    ----------
    beds : Beds
    out : Results
        Of a run.
    lane_sums : ndarray (lanes, 10)
        Filled, in the order of `LANE_SUMS`; asked and used are ETc and ETa of the growing days.
    pan_sums : ndarray (controllers, 10)
        Filled, in the order of `PAN_SUMS`.

    Notes
    -----
    Of what drains on a day, rain has the share that it has of the day's water, as in `totals.rain_kept`.
    """
    for lane in range(lane_sums.shape[0]):
        b = beds.lane_bed[lane]
        irrigation = etc = eta = drained = left_below = asked = used = kept = 0.0
        stressed = longest = spell = 0
        for day in range(out.irrigation.shape[1]):
            given, rain_in, drains = out.irrigation[lane, day], beds.rain_in[b, day], out.deep_percolation[lane, day]
            irrigation += given
            etc += out.etc[lane, day]
            eta += out.eta[lane, day]
            drained += drains
            left_below += out.left_below[lane, day]
            arrived = rain_in + given
            if drains > 0.0 and arrived > 0.0:
                kept += rain_in * (1.0 - min(drains / arrived, 1.0))
            else:
                kept += rain_in
            if beds.growing[b, day]:
                asked += out.etc[lane, day]
                used += out.eta[lane, day]
                if out.ks[lane, day] < 1.0:
                    stressed += 1
                    spell += 1
                    longest = max(longest, spell)
                else:
                    spell = 0
            else:
                spell = 0
        lane_sums[lane, 0] = irrigation
        lane_sums[lane, 1] = etc
        lane_sums[lane, 2] = eta
        lane_sums[lane, 3] = drained
        lane_sums[lane, 4] = left_below
        lane_sums[lane, 5] = stressed
        lane_sums[lane, 6] = longest
        lane_sums[lane, 7] = asked
        lane_sums[lane, 8] = used
        lane_sums[lane, 9] = kept
    for c in range(pan_sums.shape[0]):
        openings = 0
        open_hours = litres = refilled = evaporated = leaked = spilled = stuck = dry = starved = 0.0
        for day in range(out.openings.shape[1]):
            openings += out.openings[c, day]
            open_hours += out.open_hours[c, day]
            litres += out.drawn[c, day]
            refilled += out.refilled[c, day]
            evaporated += out.evaporated[c, day]
            leaked += out.leaked[c, day]
            spilled += out.spilled[c, day]
            stuck += out.stuck_hours[c, day]
            dry += out.dry_hours[c, day]
            starved += out.starved_hours[c, day]
        pan_sums[c, 0] = openings
        pan_sums[c, 1] = open_hours
        pan_sums[c, 2] = litres
        pan_sums[c, 3] = refilled
        pan_sums[c, 4] = evaporated
        pan_sums[c, 5] = leaked
        pan_sums[c, 6] = spilled
        pan_sums[c, 7] = stuck
        pan_sums[c, 8] = dry
        pan_sums[c, 9] = starved
