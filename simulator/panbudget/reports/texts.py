"""
Texts: what every report says in the same words, whatever the season: captions, method, limits, cautions.
"""

from __future__ import annotations

__all__ = ["CAPTIONS", "CAUTIONS", "METHOD"]

CAPTIONS: dict[str, str] = {
    "season": (
        "The season. Above: rain and ETo. Then openings a day of each valve. Below, for each "
        "bed, the root zone's depletion: 0 at the top is field capacity, RAW is where plants "
        "begin to suffer, TAW is where nothing is left for them. Grey: days when the driest "
        "quarter was short of water; hatched: when the whole bed was, on average."
    ),
    "supplied-against-needed": (
        "Supplied against net demand, added up since the season's first day, in mm over each bed. "
        "All beds have the same axes. A blue line below the dotted one is a bed that went "
        "short; far above it, water that drained away. Net demand is less than ETc because "
        "rain, and water already in the soil, meet a part."
    ),
    "tank": (
        "The tank: its water at the end of each day, and how many hours valves would have stood open "
        "without water with a smaller or larger tank of the same height."
    ),
    "weeks": (
        "Week by week: what the valve gave each bed, as a blue step, over what the plants took from "
        "the soil less the rain that it could hold, dotted; below zero in a week of rain. Hatched: "
        "less than that, which the soil makes up while it can. Pale blue: more. weeks.csv says why, week by week."
    ),
    "pan-level": (
        "Each pan through the hottest days in a row: it falls as it evaporates to the trip, "
        "where the valve opens; the refill emitter brings it up to the reset, where the valve "
        "shuts. Only rain lifts it from there to the rim."
    ),
    "compare-pan-level": (
        "The pans' levels side by side, in mm above the trip, all on the same scale; shaded while the valve is open. Where "
        "the days looked at are more than three weeks, the hottest ten of them."
    ),
    "compare-openings": "Openings a day, side by side on the same scale.",
    "compare-depletion": (
        "Each bed's root zone side by side: 0 at the top is field capacity, RAW is where plants begin to suffer, TAW is "
        "where nothing is left for them. Grey: days when the driest quarter was short of water; hatched: when the "
        "whole bed was, on average."
    ),
    "away-room": (
        "What the driest quarter of each bed has used of its readily available water (RAW), day by day. The dotted line is "
        "the limit: below it, plants suffer."
    ),
    "weather": (
        "The weather record over the season: for each day and quantity, whether it was measured "
        "or worked out from what was measured, filled in, borrowed from another station, or missing; temperatures; rain and "
        "ETo."
    ),
    "years": (
        "All the years of the record: each cell is filled to the share of the year's days whose value was measured, "
        "filled, borrowed or missing. Days before the record begins or after it ends count as missing."
    ),
}

METHOD: tuple[str, ...] = (
    (
        "Reference evapotranspiration: FAO-56 Penman–Monteith, daily (Allen, Pereira, Raes and "
        "Smith 1998, FAO Irrigation and Drainage Paper 56, eq. 6, through the library pyet); "
        "gaps in the weather by its chapter 3."
    ),
    (
        'Evaporation of the pan: "from-eto" divides ETo by the Class A pan coefficient of '
        'FAO-56 Table 7; "energy-balance" is the equation of Rotstayn, Roderick and Farquhar '
        '(2006) with the coefficients in McMahon et al. (2013); "measured" is a column of the '
        "weather file. Each is multiplied by the exposure given."
    ),
    (
        "Within a day, evaporation follows a half sine between sunrise and sunset (FAO-56 eq. "
        "25 and 34) and rain falls evenly over 24 hours. A thundershower falls in an hour: what "
        "it spills, and when the valve opens that day, is only roughly right."
    ),
    (
        "Emitters follow q = k·h^x (the form of ISO 9261). Friction in pipes counts "
        "where a pipe is described; the time to fill it, and clogging that nobody told of, are left out."
    ),
    (
        "Beds: one root-zone bucket each, by day (FAO-56 chapter 8, eq. 80 to 85). No capillary "
        "rise and no flow between beds; water above field capacity drains on the same day."
    ),
    (
        "Demand: crop coefficients of FAO-56 chapters 6 and 7, or the plant factor given. "
        "For the dual coefficient, emitters stand under the leaves (Example 34). "
        "Real plants differ from tables by a tenth or two (common practice, no source)."
    ),
    (
        "Every water balance was checked: pan and beds close to one part in a thousand million, "
        "or there would be no report."
    ),
    ("This is a reckoning, not a measurement. Look at the soil before you trust it with a summer."),
)

CAUTIONS: tuple[str, ...] = (
    (
        "Where a drinking-water line feeds the beds, prevent backflow: the local code says how, "
        "and often who may fit it (licensed practice)."
    ),
    ("A pan is open water. Small children can drown in very little: place it, cover it or fence it with that in mind."),
    ("Standing water breeds mosquitoes. Mesh helps, and lowers evaporation: lower the pan's exposure to match."),
    ("Strong magnets must be kept away from pacemakers and other implants, and can pinch."),
    (
        "A full pan on a beam is heavy, and a beam that tips moves suddenly: fix the stand, and "
        "keep hands and feet from under it."
    ),
    (
        "No rule, right or licence of any place is taken into account here; whether and how "
        "much you may draw is for you to find out."
    ),
)
