"""
Fitting, the readings: a field log as numbers that a model can be held against, with a standard error each.

Units: kg of water lost by the pan since the log began, litres by the meter. A stretch is a run of visits over which the
openings are known; each has a zero of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from panbudget.numeric import Floats
from panbudget.studies.fit.pan import PanModel

#: a count says nothing of where between two openings the pan stands: the standard error of a swing
QUANTISED = 12.0**-0.5
_LEVEL_MM = 1.5  # standard error of a ruler to start with
_METER_L = 1.0  # standard error of a meter's difference by its last digit
_MOMENT = 0.05  # of a swing: an opening seen tells the moment to some minutes


@dataclass
class Reading:
    """One number of the log, in the scale of its kind: kg lost, or litres by the meter."""

    place: int
    kind: str
    segment: int
    since: int = 0  # of a meter: the visit at which it was read before


@dataclass
class Readings:
    """The log as residuals want it: which readings there are, their stretches, and the counts as they are taken."""

    listed: list[Reading]
    counts: list[float | None]
    errors: dict[str, float]
    held: dict[str, float]


def gather(
    pan: PanModel,
    held: dict[str, float],
    counts: Sequence[float | None] | None = None,
    breaks: frozenset[int] = frozenset(),
) -> Readings:
    """
    List the readings, in stretches.

    A stretch is a run of visits over which the openings are known, by count or by level; each has a zero of its own.
    ``held`` are factors from an earlier look; ``counts`` as they are believed, else the log's own; ``breaks`` are visits
    at which a count can't be true.
    """
    visits = pan.visits
    counts = [visit.openings for visit in visits] if counts is None else list(counts)
    listed: list[Reading] = []
    segment = 0
    read: int | None = None
    for k, visit in enumerate(visits):
        both = k > 0 and visit.level is not None and visits[k - 1].level is not None
        segment += k in breaks or (k > 0 and counts[k] is None and not both)
        if visit.level is not None:
            listed.append(Reading(k, "level", segment))
        elif visit.openings is not None or visit.opened or k == 0:
            listed.append(Reading(k, "count", segment))
        if visit.meter is not None:
            if read is not None and not any(read < at <= k for at in breaks):
                listed.append(Reading(k, "meter", segment, read))
            read = k
    errors = {"level": _LEVEL_MM * pan.area, "count": QUANTISED * pan.swing, "meter": 1.0}
    # a zero of its own for one reading alone teaches nothing
    sizes: dict[tuple[str, int], int] = {}
    for one in listed:
        sizes[one.kind, one.segment] = sizes.get((one.kind, one.segment), 0) + 1
    listed = [one for one in listed if one.kind == "meter" or sizes[one.kind, one.segment] > 1]
    return Readings(listed, counts, errors, dict(held))


def raw_residuals(pan: PanModel, readings: Readings, factors: dict[str, float]) -> Floats:
    """Model less reading, each in kg or L, the stretches' zeros not yet taken off."""
    modelled = pan.modelled(factors)
    swing = pan.swing * factors.get("swing", 1.0)
    cycles, followed = modelled.at(pan.hours), modelled.counted_at(pan.hours)
    visits = pan.visits
    counted, through = np.zeros(len(visits)), np.zeros(len(visits))
    # what the sun takes while the valve is open is held as it was found before: a meter is no scale for so little
    held = pan.modelled(readings.held)
    scale = pan.of_opening(factors) / pan.of_opening(readings.held)
    # the model's cycle holds the loss while open as well, which comes after the level's whole fall
    fallen = [
        (pan.reset_mm - visit.level) * pan.area * (1.0 - modelled.open_share(visit.hour))
        if visit.level is not None
        else None
        for visit in visits
    ]
    for k in range(1, len(visits)):
        count: float | None = readings.counts[k]
        here, there = fallen[k], fallen[k - 1]
        if count is None and here is not None and there is not None:
            # not counted: the levels say it but for whole swings, and the model says how many
            count = max(round(float(cycles[k] - cycles[k - 1] - (here - there) / swing)), 0)
        middle = (pan.hours[k] + pan.hours[k - 1]) / 2.0
        opened = count if count is not None else float(followed[k] - followed[k - 1])
        through[k] = through[k - 1] + opened * held.per_opening(middle) * scale
        counted[k] = counted[k - 1] + (count or 0)
    values = np.empty(len(readings.listed))
    for place, one in enumerate(readings.listed):
        k = one.place
        if one.kind == "level":
            values[place] = (cycles[k] - counted[k]) * swing - (fallen[k] or 0.0)
        elif one.kind == "count":
            half = 0.0 if visits[k].opened else 0.5
            values[place] = (followed[k] - counted[k] - half) * swing
        else:  # since the meter's reading before: what each opening lets through differs, and the sum of it walks
            values[place] = (
                through[k] - through[one.since] - ((visits[k].meter or 0.0) - (visits[one.since].meter or 0.0))
            )
    return values


def standard_errors(pan: PanModel, readings: Readings) -> Floats:
    """Standard error of each reading. [kg; L]"""
    modelled = pan.modelled({})
    followed = modelled.counted_at(pan.hours)
    errors = []
    for one in readings.listed:
        error = readings.errors[one.kind]
        if one.kind == "count" and pan.visits[one.place].opened:
            error = _MOMENT * pan.swing
        elif one.kind == "meter":
            stretch = range(one.since + 1, one.place + 1)
            known = all(readings.counts[k] is not None for k in stretch)
            openings = max(float(followed[one.place] - followed[one.since]), 1.0)
            apart = pan.wander * openings**0.5 if known else (2.0 * QUANTISED**2 + pan.wander**2 * openings) ** 0.5
            error *= modelled.per_opening(pan.hours[one.place]) * max(apart, 0.02) + _METER_L
        errors.append(error)
    return np.array(errors)


def zeros_of(readings: Readings) -> Floats:
    """(readings, stretches): which zero each reading is counted from; a meter's differences have none."""
    keys = list(dict.fromkeys((one.kind, one.segment) for one in readings.listed if one.kind != "meter"))
    table = np.zeros((len(readings.listed), len(keys)))
    for place, one in enumerate(readings.listed):
        if one.kind != "meter":
            table[place, keys.index((one.kind, one.segment))] = 1.0
    return table


def lost_between(pan: PanModel, readings: Readings, factors: dict[str, float]) -> pd.DataFrame:
    """
    Return what the pan lost between visits, by the log and by the model, as described and as fitted.

    Parameters
    ----------
    pan : PanModel
    readings : Readings
    factors : dict
        Fitted factors by name.

    Returns
    -------
    DataFrame
        ``start``, ``end``; ``observed``, ``before`` and ``after`` the fit. [mm/day]
    """
    swing = pan.swing * factors.get("swing", 1.0)
    now, was = pan.modelled(factors).at(pan.hours) * swing, pan.modelled({}).at(pan.hours) * pan.swing
    rows = []
    for k in range(1, len(pan.visits)):
        a, b = pan.visits[k - 1], pan.visits[k]
        days = (b.hour - a.hour) / 24.0
        count = readings.counts[k]
        if days < 0.5 or count is None:
            continue
        both = a.level is not None and b.level is not None
        fallen = ((a.level or 0.0) - (b.level or 0.0)) if both else 0.0
        rows.append(
            {
                "start": a.moment,
                "end": b.moment,
                "observed": (count * swing / pan.area + fallen) / days,
                "before": (was[k] - was[k - 1]) / pan.area / days,
                "after": (now[k] - now[k - 1]) / pan.area / days,
            }
        )
    return pd.DataFrame(rows, columns=["start", "end", "observed", "before", "after"])
