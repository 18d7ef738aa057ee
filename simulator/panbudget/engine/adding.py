"""
Adding: what a run's days come to for each lane. Numbers in, numbers out, like the engine, and compiled as it is.
"""

EXACT_REFILL = 1  # as the engine has it

#: what `add_lane` adds up, in order; asked and used are ETc and ETa, wanted and lost what was given and drained, of the
#: growing days alone [mm], [days]
LANE_SUMS = (
    *("irrigation", "etc", "eta", "drained", "left_below", "kept", "asked", "used"),
    *("wanted", "lost"),
    *("stress_days", "longest_stress_days"),
)


def add_lane(lane, beds, out):  # type: ignore[no-untyped-def]
    """
    Add a run up for a lane.

    Parameters
    ----------
    lane : int
    beds : Beds
    out : Results
        Of a run; ``sums`` are written, in the order of `LANE_SUMS`.

    Notes
    -----
    Rain that is kept stayed in the root zone: of what drains on a day, rain has the share that it has of the day's
    water (common practice, no source). Exact refill waters at the day's end, so what drains there is rain.
    """
    b = beds.lane_bed[lane]
    irrigation = etc = eta = drained = left_below = rain_kept = asked = used = wanted = lost = 0.0
    stressed = longest = spell = 0.0
    for day in range(out.irrigation.shape[1]):
        given, rain_in, drains = out.irrigation[lane, day], beds.rain_in[b, day], out.deep_percolation[lane, day]
        irrigation += given
        etc += out.etc[lane, day]
        eta += out.eta[lane, day]
        drained += drains
        left_below += out.left_below[lane, day]
        if beds.lane_source[lane] == EXACT_REFILL:
            rain_kept += rain_in - min(drains, rain_in)
        elif drains > 0.0 and rain_in + given > 0.0:
            rain_kept += rain_in * (1.0 - min(drains / (rain_in + given), 1.0))
        else:
            rain_kept += rain_in
        spell += 1.0
        if beds.growing[b, day]:
            asked += out.etc[lane, day]
            used += out.eta[lane, day]
            wanted += given
            lost += drains
        if not beds.growing[b, day] or out.ks[lane, day] >= 1.0:
            spell = 0.0
        else:
            stressed += 1.0
        longest = max(longest, spell)
    row = (irrigation, etc, eta, drained, left_below, rain_kept, asked, used, wanted, lost, stressed, longest)
    for column, value in enumerate(row):
        out.sums[lane, column] = value
