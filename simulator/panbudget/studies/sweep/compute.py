"""
Compute: the seasons of one place, every year and design of it, as columns of numbers.

The weather is read once, its ETo and pans computed once, all years laid out side by side; then the engine steps all designs
through year after year. Every balance of every run is checked, as in a replay. Units in the names of columns: mm, kg (= litres), hours.
"""

import datetime as dt
import threading
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from panbudget.engine import season as engine
from panbudget.engine.arrays import Results, State, empty_results, of_year, stacked
from panbudget.engine.compiled import compiled
from panbudget.errors import ClosureError
from panbudget.numeric import Floats
from panbudget.scenario.garden import SeasonDates
from panbudget.season.layout import Bundle, Forcing, lay_out_years
from panbudget.season.record import Span
from panbudget.season.run import first_morning, step
from panbudget.season.totals import Added, Sums, added, sums_of
from panbudget.season.years import moved
from panbudget.studies.sweep.site import SiteRecord
from panbudget.words import packaged

_OF_LANES = ("irrigation_mm", "etc_mm", "eta_mm", "deep_percolation_mm", "stress_days", "longest_stress_days")

_NAMES = [*packaged("studies/sweep/columns.toml")["rows"]]
_YEAR, _VALVE = _NAMES.index("year"), _NAMES.index("openings")
#: what names a row; and its columns of numbers, in their order: ``driest_``, the bed's driest quarter, behind the bed's
HEADS = tuple(_NAMES[:_YEAR])
COLUMNS: tuple[str, ...] = (
    *_NAMES[_YEAR:_VALVE],
    *(f"driest_{name}" for name in (*_OF_LANES, "adequacy", "depletion_end_mm", "closure_mm")),
    *_NAMES[_VALVE:],
)
#: of them, whole numbers
WHOLE = frozenset(
    name for name in COLUMNS if name.endswith("stress_days") or name in ("year", "days", "openings", "filled_values")
)


class Engine:
    """The engine, interpreted or compiled: the same numbers to the last bit."""

    def __init__(self, through_compiler: bool) -> None:
        self.run = compiled(engine.run_season) if through_compiler else engine.run_season
        self._kept = threading.local()  # a worker may have several threads, each at a season of its own

    def room(self, forcing: Forcing) -> Results:
        """Return arrays to write to, used again from season to season so that they stay near the processor."""
        tanks = forcing.tanks
        key = (*forcing.pans.swing.shape, len(forcing.beds.lane_bed), len(tanks.capacity), len(tanks.draw_exponent))
        rooms: dict[tuple[int, ...], Results] = self._kept.__dict__.setdefault("rooms", {})
        if key not in rooms:
            if len(rooms) > 8:
                rooms.clear()
            controllers, days, lanes = key[:3]
            rooms[key] = empty_results(
                controllers, lanes, days, room=0, tanks=tanks, keep_hours=False, keep_terms=False
            )
        return rooms[key]


def season_columns(
    record: SiteRecord, bundle: Bundle, dates: SeasonDates, years: Sequence[int], engine_run: Engine
) -> dict[str, Floats]:
    """
    Run all designs of a bundle through years of a place's record.

    Parameters
    ----------
    record : SiteRecord
    bundle : Bundle
    dates : SeasonDates
        The base scenario's season.
    years : sequence of int
        In which the season is to start; the record must hold them.
    engine_run : Engine

    Returns
    -------
    dict
        `COLUMNS` -> ndarray (years · rows,): year after year, and within it the bundle's rows in turn.

    Raises
    ------
    ScenarioError
        A year that the record does not hold; a measured pan without its column or its days; plantings that can't be.
    ClosureError
        A balance that does not close.
    """
    spans = [_span(record, dates, year) for year in years]
    columns: dict[str, Floats] = {}
    for length in sorted({after - first for first, after in spans}):  # a season may hold 29 February
        at = [row for row, (first, after) in enumerate(spans) if after - first == length]
        chosen = _Seasons(record, bundle, dates, [years[row] for row in at], [spans[row] for row in at])
        for name, values in chosen.run(engine_run).items():
            shape = (len(years), len(bundle.rows))
            columns.setdefault(name, np.empty(shape, values.dtype))[at] = values
    return {name: columns[name].ravel() for name in COLUMNS}


def days_of(dates: SeasonDates, year: int) -> tuple[dt.date, dt.date]:
    """Return a season's first and last day in a year, the spin-up before it included."""
    by = year - dates.start.year
    return moved(dates.start, by) - dt.timedelta(days=dates.spin_up_days), moved(dates.end, by)


def _span(record: SiteRecord, dates: SeasonDates, year: int) -> Span:
    """Where a year's season stands, the spin-up before it left out."""
    first, after = record.whole_span(*days_of(dates, year))
    return first + dates.spin_up_days, after


class _Seasons(NamedTuple):
    """A bundle in years of a place whose seasons are as long as each other."""

    record: SiteRecord
    bundle: Bundle
    dates: SeasonDates
    years: list[int]
    spans: list[Span]

    def run(self, stepped: Engine) -> dict[str, Floats]:
        """Step year after year, then add all of them up at once. (years, rows) each"""
        present, spin_up = self.dates.start.year, self.dates.spin_up_days
        forcing = lay_out_years(self.bundle, self.record, self.spans, self.years, present)
        forcing.check_room()
        by = [year - present for year in self.years]
        morning = first_morning(forcing, spin_up=spin_up, by=by, run=stepped.run)
        evening, ran, room = morning.copy(), [], stepped.room(forcing)
        for groups, state in zip(forcing.by_year(), map(State._make, zip(*evening, strict=True)), strict=True):
            step(groups, state, room, stepped.run)
            ran.append(added(room))
        return self._columns(forcing, self._sums(forcing, morning, evening, ran))

    def _sums(self, forcing: Forcing, morning: State, evening: State, ran: list[Added]) -> Sums:
        try:
            return sums_of(forcing, morning, evening, stacked(ran))
        except ClosureError:
            for at, (year, run) in enumerate(zip(self.years, ran, strict=True)):
                try:
                    sums_of(forcing.of_year(at), of_year(morning, at), of_year(evening, at), run)
                except ClosureError as error:
                    where = f"{self.record.place.name}, {year}: "
                    raise ClosureError(*(p.under(where) for p in error.problems)) from error
            raise

    def _columns(self, forcing: Forcing, sums: Sums) -> dict[str, Floats]:
        """Rows: the bed's mean and driest quarter, its controller, that one's tank."""
        bundle, pans = self.bundle, forcing.pans
        row = bundle.by_row("valve")
        tank = pans.tank[row]
        mean, driest = bundle.lane("mean"), bundle.lane("driest_quarter")
        shape, days = (len(self.years), len(row)), forcing.days
        columns = {name: values[:, row] for name, values in sums.pans.items()}
        columns |= {"controller_litres": columns["litres"], "pan_closure_kg": columns["closure_kg"]}
        columns |= {name: values[:, mean] for name, values in sums.lanes.items()}
        columns |= {f"driest_{name}": values[:, driest] for name, values in sums.lanes.items()}
        none = np.full(shape, np.nan)
        for name, values in sums.tanks.items():
            columns[f"tank_{name}"] = np.where(tank >= 0, values[:, tank], np.nan) if values.size else none
        by_year = {
            "year": self.years,
            "days": np.full(shape[0], days.rain.shape[1]),
            "filled_values": [self.record.filled(*span) for span in self.spans],
            "eto_mm": days.eto.sum(axis=1),
        }
        columns |= {name: np.repeat(np.array(values)[:, None], shape[1], axis=1) for name, values in by_year.items()}
        columns["litres"] = columns["irrigation_mm"] * bundle.by_row("area")
        columns["pan_evaporation_mm"] = pans.evaporation.sum(axis=2)[:, row]
        return {name: columns[name] for name in COLUMNS}
