"""
Sheet: on which days somebody who looks after the garden looks at it, and what should be there.

Ranges hold four runs in five, over earlier years and `[uncertainty]`, as those of the next opening do.
"""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from panbudget.scenario.garden import Scenario
from panbudget.season.result import Season
from panbudget.season.supplies import tanks_in_use
from panbudget.studies.common import swing_at, water_at_trip
from panbudget.studies.ranges import interval_of
from panbudget.studies.today.fan import MORNING_HOUR, Start
from panbudget.studies.today.trials import BAND, Trials

# days ahead, and from one visit to the next; common practice, no source
SPAN, EVERY = 14, 2

Ends = tuple[float, float]


@dataclass(frozen=True)
class Visit:
    """
    One look at the garden in the morning, at eight by the sun.

    Parameters
    ----------
    day : date
    levels : dict
        Controller -> between which its pan stands, by ruler, valve shut. Not of one that stands open tonight where
        nothing tells for how long. [mm above the floor]
    openings : dict
        Controller -> between which its openings since the visit before lie, or since tonight; ends whole.
    tanks : dict
        Supply -> between which its content lies, at the midnight before. [L]
    """

    day: dt.date
    levels: dict[str, Ends]
    openings: dict[str, Ends]
    tanks: dict[str, Ends]


def visits_of(garden: Scenario, season: Season, start: Start, end: dt.date, trials: Trials | None) -> tuple[Visit, ...]:
    """
    Return the visits of the next two weeks, tomorrow's first.

    Parameters
    ----------
    garden : Scenario
    season : Season
        To this evening: what a knock or salt has moved the trip by stays.
    start : Start
        The state of this evening.
    end : date
        The season's last day.
    trials : Trials or None
        Without earlier years, past the forecast's end a pan stands anywhere between trip and reset, and nothing else is
        known.
    """
    visits, last = [], season.days.index[-1].date()
    weather, reach = trials, min((outcome.morning_kg.shape[1] for outcome in trials.base), default=0) if trials else 0
    for ahead in range(0, min(SPAN, (end - last).days), EVERY):
        before, trials = max(ahead - EVERY, 0), weather if ahead < reach else None
        levels, openings, tanks = dict[str, Ends](), dict[str, Ends](), dict[str, Ends]()
        for row, (name, part) in enumerate(garden.controller.items()):
            at_trip, area = water_at_trip(season.forcing.pans, row), part.pan.area
            if not start.state.is_open[row]:
                levels[name] = at_trip / area, (at_trip + swing_at(season.forcing.pans, row)) / area
            if trials is not None:
                kg = np.array([outcome.morning_kg[row, ahead] for outcome in trials.base])
                levels[name] = interval_of(kg / area, BAND)
                early = 0.0 if ahead else MORNING_HOUR  # tomorrow's, before the first look
                counts = [o.openings[row, before:ahead].sum() + (o.next_h[row] < early) for o in trials.base]
                low, high = interval_of(np.array(counts), BAND)
                openings[name] = float(np.floor(low)), float(np.ceil(high))
        if trials is not None:
            for row, name in enumerate(tanks_in_use(garden)):
                tonight = trials.start.state.volume[row]
                held = [run.tank_l[row, ahead - 1] if ahead else tonight for run in trials.base]
                tanks[name] = interval_of(np.array(held), BAND)
        visits.append(Visit(last + dt.timedelta(days=ahead + 1), levels, openings, tanks))
    return tuple(visits)
