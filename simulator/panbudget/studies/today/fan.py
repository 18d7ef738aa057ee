"""
Fan: what earlier years would do from today's state on, to the season's end; a forecast's days come first.

Ensemble prediction from historical years (Day, G. N., 1985, Extended streamflow forecasting using NWSRFS; from memory): the
weather of the same calendar days of each year follows on today's. Sowing dates and soils are this year's. The fan is of the
weather alone: the pan's own uncertainty is not in it.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from panbudget.engine.arrays import BY_LANE, State
from panbudget.engine.season import GIVEN, run_season
from panbudget.numeric import Floats, Mask
from panbudget.scenario.garden import Scenario
from panbudget.season.demand import BedForcing
from panbudget.season.faults import with_faults
from panbudget.season.layout import LANES, Design, Forcing, bundle_of, grounds_in, lay_out
from panbudget.season.record import Record, record_of
from panbudget.season.replay import mornings, readily_available
from panbudget.season.result import MORNING, Season
from panbudget.season.run import run_forcing, run_salted
from panbudget.season.salt import SaltLeft
from panbudget.season.years import moved
from panbudget.weather import Weather

#: by the sun, at which somebody looks at the pan
MORNING_HOUR = 8
# of the record before the season that beds and roofs may look back on [days]
_LOOK_BACK = 400
#: the middle, and the ends between which four years in five lie
BAND = {"low": 0.1, "middle": 0.5, "high": 0.9}
# nine tenths of Student's t, for one degree of freedom to seven (tabulated in any textbook)
_STUDENT = (3.078, 1.886, 1.638, 1.533, 1.476, 1.440, 1.415)


class Start(NamedTuple):
    """Where the days ahead begin: the engine's state this evening, and the salt in the pans."""

    state: State
    salt: Mapping[str, SaltLeft]


class Outcome(NamedTuple):
    """What one run of the days ahead comes to, a row a bed or a valve or a tank."""

    room_mm: Floats  # the driest quarters' water left, by day; not a number where nothing grows
    openings: Floats  # by day
    litres: Floats  # by day
    starved_hours: Floats  # by day
    tank_l: Floats  # at each day's end
    topped_l: Floats  # through each tank's float valve, by day
    next_h: Floats  # hours from tonight to the next opening, not a number if none comes
    morning_kg: Floats  # above the floor, at eight by the sun, by day
    irrigation_mm: Floats  # of the driest quarters, by day

    @property
    def short(self) -> Mask:
        """Whether a bed's driest quarter is short of water. (beds, days)"""
        return self.room_mm < 0.0


@dataclass(frozen=True, eq=False)
class Fan:
    """
    The days ahead in each earlier year's weather.

    Parameters
    ----------
    years : tuple of int
        Whose weather it is; 0 where the forecast stands alone.
    dates : DatetimeIndex
    outcomes : tuple of Outcome
        One a year.
    """

    years: tuple[int, ...]
    dates: pd.DatetimeIndex
    outcomes: tuple[Outcome, ...]

    def each(self, what: str, row: int) -> Floats:
        """Return one row of a part of the outcomes, summed up from tonight where it is of days. (years, days)"""
        values = np.stack([getattr(outcome, what)[row] for outcome in self.outcomes])
        return values.cumsum(axis=1) if what in ("openings", "litres") else values

    def first_days(self, hits: Iterable[Mask]) -> list[dt.date]:
        """Return the first day that each year's days hit, of the years in which one does; ascending."""
        return sorted(self.dates[int(np.argmax(days))].date() for days in hits if days.any())


def band(values: Floats, *, worst_is_low: bool) -> dict[str, Floats]:
    """
    Return the middle, the four-in-five ends and the worst of the years, day by day.

    Parameters
    ----------
    values : ndarray (years, days)
    worst_is_low : bool
        Whether less is worse, as of water left.

    Returns
    -------
    dict
        "low", "middle", "high", "worst" -> ndarray (days,).

    Notes
    -----
    Weibull's plotting positions, k/(n + 1): the next year lies within the ends four times in five from nine years on. Fewer
    years do not reach so far: their ends are at least those of a normal variate whose mean and spread they tell (Student's t,
    a prediction interval); of openings and litres, not below none. One year alone has no range.
    """
    ends = {name: np.quantile(values, share, axis=0, method="weibull") for name, share in BAND.items()}
    if 1 < (years := len(values)) <= len(_STUDENT) + 1:
        middle = values.mean(axis=0)
        reach = _STUDENT[years - 2] * values.std(axis=0, ddof=1) * (1.0 + 1.0 / years) ** 0.5
        low = middle - reach if worst_is_low else np.maximum(middle - reach, 0.0)
        ends |= {"low": np.minimum(ends["low"], low), "high": np.maximum(ends["high"], middle + reach)}
    return {**ends, "worst": (np.min if worst_is_low else np.max)(values, axis=0)}


def records_ahead(
    scenario: Scenario, season: Season, years: Mapping[int, Weather], forecast: pd.DataFrame, end: dt.date
) -> dict[int, Record]:
    """
    Put each year's weather behind the season's so far.

    Parameters
    ----------
    scenario : Scenario
    season : Season
        To this evening.
    years : mapping
        Year in which the season started -> weather that holds the same calendar days.
    forecast : DataFrame
        The first days ahead, in the columns of clean weather; without rows if there is none.
    end : date
        Last day.

    Returns
    -------
    dict
        Year -> Record to that day; year 0 -> as far as the forecast goes alone, where there are no years.
    """
    present, known = scenario.season.start.year, record_of(scenario, season.weather)
    after, start = season.days.index[-1] + dt.timedelta(days=1), pd.Timestamp(scenario.season.start)
    first = max(int(known.index.searchsorted(start)) - _LOOK_BACK, 0)
    until = int(known.index.searchsorted(after))
    parts, etos = [known.daily.iloc[first:until]], [known.eto[first:until]]
    length = (pd.Timestamp(end) - after).days + 1
    if len(forecast := forecast.iloc[:length]):
        foretold = Record(scenario.site, Weather(forecast, forecast), shown="", file=str(scenario.path))
        parts, etos = [*parts, forecast], [*etos, foretold.eto]
    records = {}
    for year, weather in years.items() or [(0, season.weather)]:
        daily, eto = list(parts), list(etos)
        if year:
            record = record_of(scenario, weather)
            at = int(record.index.searchsorted(pd.Timestamp(moved(after.date(), year - present))))
            # of a leap year and another, the last day may stand in twice
            days = np.minimum(np.arange(at + len(forecast), at + length), len(record.index) - 1)
            daily, eto = [*daily, record.daily.iloc[days]], [*eto, record.eto[days]]
        columns = [name for name in daily[0] if all(name in part for part in daily)]
        joined = pd.concat([part[columns] for part in daily])
        joined.index = pd.date_range(known.index[first], periods=len(joined), name="date")
        names = {"shown": scenario.weather.shown, "file": str(scenario.path)}
        whole = np.ascontiguousarray(np.concatenate(eto))
        records[year] = Record(scenario.site, Weather(joined, joined), **names, eto=whole)
    return records


def days_ahead(
    scenario: Scenario,
    records: Mapping[int, Record],
    first: dt.date,
    last: dt.date,
    parts: Sequence[Sequence[BedForcing]] = (),
    bed: int = -1,
) -> Iterator[Forcing]:
    """
    Lay out the days ahead in each year's weather, of the lanes that valves water; a year when it is asked for.

    Parameters
    ----------
    scenario : Scenario
    records : mapping
        As `records_ahead` gives them.
    first, last : date
        As far as the records go.
    parts : sequence, optional
        Of each forcing's beds, where they are at hand.
    bed : int
        Whose part is not at hand, though the others' are; −1 for none.
    """
    bundle = bundle_of([Design("", scenario)], LANES[:2])
    for row, record in enumerate(records.values()):
        span = record.whole_span(first, min(last, record.index[-1].date()))
        known = list(parts[row]) if parts else []
        if bed >= 0:
            known[bed : bed + 1] = grounds_in(replace(bundle, grounds=bundle.grounds[bed : bed + 1]), record, *span)
        yield with_faults(scenario, lay_out(bundle, record, *span, parts=known))


def start_of(season: Season) -> Start:
    """Return where a season ended, without the lanes that no valve waters."""
    lanes = 2 * len(season.beds)
    by_lane = {name: getattr(season.state, name)[:lanes] for name in BY_LANE}
    return Start(season.state._replace(**by_lane).copy(), season.salt_left)


class Part(NamedTuple):
    """What of a garden is to be run: valves that share their water, and beds; of beds alone, what waters them by day. [mm]"""

    valves: tuple[int, ...]
    beds: tuple[int, ...]
    irrigation_mm: Floats | None = None


def outcome_of(
    scenario: Scenario, forcing: Forcing, start: Start, run: Callable[..., int] = run_season, only: Part | None = None
) -> Outcome:
    """
    Run the days ahead in one year's weather.

    Parameters
    ----------
    scenario : Scenario
    forcing : Forcing
    start : Start
    run : callable
        The engine, plain or compiled.
    only : Part, optional
        Beds of which rows are to come back, and valves whose rows mean something; all if left out.
    """
    rows = range(len(forcing.bundle.rows)) if only is None else only.beds
    forcing, state = _driest(forcing, start.state, rows, only)
    if only is not None and not only.valves:
        ran, (out, count) = forcing, run_forcing(forcing, state, run=run)
    else:
        ran, _, out, count, _, _ = run_salted(scenario, forcing, state, start.salt, run=run)
    rooms = []
    for lane, row in enumerate(rows):
        part = forcing.parts[forcing.bundle.rows[row].ground]
        raw = readily_available(part, out.etc[lane])
        rooms.append(np.where(part.growing, mornings(out, lane, raw)[MORNING[1]], np.nan))
    valves, began = out.opening_controller[:count], out.opening_start[:count]
    coming = [began[(valves == row) & (began >= 0.0)] for row in range(len(forcing.pans.area))]
    return Outcome(
        room_mm=np.array(rooms),
        openings=out.openings.astype(float),
        litres=out.drawn,
        starved_hours=out.starved_hours,
        tank_l=out.tank_volume,
        topped_l=out.tank_topped,
        morning_kg=out.hourly_level[:, MORNING_HOUR - 1 :: 24] - ran.pans.dry,  # by each run's swing, knocks and salt
        next_h=np.array([hours.min() if len(hours) else np.nan for hours in coming]),
        irrigation_mm=out.irrigation,
    )


def _driest(forcing: Forcing, state: State, rows: Sequence[int], only: Part | None) -> tuple[Forcing, State]:
    """Leave of a forcing and a state of it the driest quarters of some beds, and the valves that are to be run."""
    lanes, beds, pans = 2 * np.array(rows, np.int64) + 1, forcing.beds, forcing.pans
    beds = beds._replace(**{name: getattr(beds, name)[lanes] for name in beds._fields if name.startswith("lane_")})
    state = state._replace(**{name: getattr(state, name)[lanes] for name in BY_LANE}).copy()
    if only is not None:
        members = np.array(only.valves, np.int64)
        pans = pans._replace(block=np.unique([0, len(members)]), member=members)
    if only is not None and only.irrigation_mm is not None:
        given = np.zeros((len(forcing.parts), len(forcing.dates)))
        given[beds.lane_bed] = only.irrigation_mm
        beds = beds._replace(given=given, lane_source=np.full(len(rows), GIVEN))
    return replace(forcing, beds=beds, pans=pans), state
