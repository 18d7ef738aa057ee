"""
Layout: designs of one place and year side by side, as the engine's arrays. A garden on its own is one design.

What does not depend on the weather is laid out once (`Bundle`) and filled in season by season (`lay_out`). Designs whose
beds are alike share their ground and its yardstick. Units as in the engine.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.engine import season as engine
from panbudget.engine.arrays import Beds, Days, Pans, Tanks, no_tanks
from panbudget.errors import Problem, ScenarioError
from panbudget.numeric import Floats, Ints
from panbudget.scenario.beds import Bed
from panbudget.scenario.garden import Controller, Scenario
from panbudget.scenario.supplies import Tank
from panbudget.season.demand import BedForcing, PlantingError, evaporable_water, mulch_factor
from panbudget.season.record import Record, record_of
from panbudget.season.supplies import PanFlows, lengthened, pan_flows, tank_shape, tanks_in_use
from panbudget.season.years import bed_in_year
from panbudget.weather import Weather

#: an opening list longer than this is a mistake in the scenario, not a season
MOST_OPENINGS = 500_000
#: the lanes of a bed; a present timer's only in a garden that describes one
LANES = ("mean", "driest_quarter", "exact_refill", "timer")
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_DAILY = ("swing", "rim", "dry", "shift", "leak", "rain_factor", "refill_flow", "valve_flow", "inflow", "draw_flow")


class Design(NamedTuple):
    """A named garden, checked."""

    name: str
    scenario: Scenario


class Ground(NamedTuple):
    """A bed as far as water in its soil goes: designs with the same one share it."""

    controller: str
    name: str
    bed: Bed


class Valve(NamedTuple):
    """
    One controller of a design, its pan in engine units.

    Parameters
    ----------
    design, name : str
    controller : Controller
    tank : int
        Its tank's place in the bundle, −1 on the mains.
    grounds : tuple of int
        Places of its beds' grounds.
    area, swing, rim, dry : float
        [m², kg, kg and kg above the trip weight]
    flows : PanFlows
    """

    design: str
    name: str
    controller: Controller
    tank: int
    grounds: tuple[int, ...]
    area: float
    swing: float
    rim: float
    dry: float
    flows: PanFlows

    def resized(
        self, design: str, *, area: float, depth: float, swing: float, refill_flow: float, emitters: Sequence[float]
    ) -> Valve:
        """
        Return it with another pan, swing and refill, and other counts of emitters.

        Parameters
        ----------
        design : str
        area, depth, swing : float
            [m², mm, kg]
        refill_flow : float
            At the supply's own pressure; of a tank, when it is full. [L/h]
        emitters : sequence of float
            Factors on the beds' flows. [-]
        """
        freeboard, flows = self.controller.pan.freeboard, self.flows
        factors = dict(zip(flows.bed_flows, emitters, strict=True)) | {"": refill_flow / flows.refill_flow}
        return self._replace(
            design=design,
            area=area,
            swing=swing,
            rim=swing + freeboard * area,
            dry=swing - (depth - freeboard) * area,
            flows=dataclasses.replace(
                flows,
                refill_flow=refill_flow,
                bed_flows={key: flow * factors[key] for key, flow in flows.bed_flows.items()},
                at_reference={key: flow * factors[key] for key, flow in flows.at_reference.items()},
            ),
        )


class Row(NamedTuple):
    """One row of the results: a bed of a design."""

    design: str
    controller: str
    bed: str
    area: float


@dataclass(frozen=True, eq=False)
class Bundle:
    """
    Designs side by side.

    Parameters
    ----------
    valves : tuple of Valve
        In the engine's order.
    grounds : tuple of Ground
    tanks_of : tuple of Tank
    lanes : tuple of str
        Of `LANES`: "mean" and "driest_quarter" for each row, "exact_refill" and "timer" for each ground.
    assumptions : tuple of str
    """

    valves: tuple[Valve, ...]
    grounds: tuple[Ground, ...]
    tanks_of: tuple[Tank, ...]
    lanes: tuple[str, ...] = LANES[:3]
    assumptions: tuple[str, ...] = ()

    @functools.cached_property
    def rows(self) -> tuple[Row, ...]:
        """The beds of all valves, in turn."""
        return tuple(Row(v.design, v.name, key, bed.area) for v in self.valves for key, bed in v.controller.bed.items())

    @functools.cached_property
    def row_controller(self) -> Ints:
        """Each row's valve. (rows,)"""
        return np.repeat(np.arange(len(self.valves)), [len(valve.grounds) for valve in self.valves]).astype(np.int64)

    @functools.cached_property
    def row_ground(self) -> Ints:
        """Each row's ground. (rows,)"""
        return np.array([ground for valve in self.valves for ground in valve.grounds], np.int64)

    @functools.cached_property
    def areas(self) -> Floats:
        """Of the rows' beds. (rows,) [m²]"""
        return np.array([row.area for row in self.rows])

    def lane(self, name: str) -> Ints:
        """Return where each row's lane of a name stands among the engine's. (rows,)"""
        if name in LANES[:2]:
            return 2 * np.arange(len(self.rows)) + LANES.index(name)
        return 2 * len(self.rows) + (self.lanes.index(name) - 2) * len(self.grounds) + self.row_ground

    @functools.cached_property
    def pans(self) -> Pans:
        """The engine's pans, with one day to be repeated and without what the weather brings."""

        def each(of: Callable[[Valve], Any]) -> Floats:
            return np.array([of(valve) for valve in self.valves], float)

        def daily(of: Callable[[Valve], Any]) -> Floats:
            return each(of)[:, None]

        n, tank = len(self.valves), np.array([valve.tank for valve in self.valves], np.int64)
        # controllers on one tank form a block, every other one a block of its own
        blocks: dict[object, list[int]] = {}
        for index, of_tank in enumerate(tank.tolist()):
            blocks.setdefault(("tank", of_tank) if of_tank >= 0 else index, []).append(index)
        return Pans(
            evaporation=np.zeros((n, 1)),
            area=each(lambda valve: valve.area),
            swing=daily(lambda valve: valve.swing),
            rim=daily(lambda valve: valve.rim),
            dry=daily(lambda valve: valve.dry),
            shift=np.zeros((n, 1)),
            leak=np.zeros((n, 1)),
            rain_factor=np.ones((n, 1)),
            night_share=each(lambda valve: valve.controller.pan.night_share),
            refill_flow=daily(lambda v: v.flows.at_reference[""] if v.tank >= 0 else v.flows.refill_flow),
            refill_exponent=each(lambda valve: valve.controller.valve.refill.exponent),
            valve_flow=daily(lambda valve: valve.flows.valve_flow),
            presses=np.zeros((n, 0)),
            tank=tank,
            static=each(lambda valve: valve.flows.pressures[0]),
            at_emitters=each(lambda valve: valve.flows.pressures[1]),
            block=np.cumsum([0, *map(len, blocks.values())]).astype(np.int64),
            member=np.array([index for block in blocks.values() for index in block], np.int64),
        )

    @functools.cached_property
    def tanks(self) -> Tanks:
        """The engine's tanks, with one day to be repeated and without what roofs bring."""
        if not self.tanks_of:
            return no_tanks(1)
        shapes = [tank_shape(supply) for supply in self.tanks_of]
        longest = max(len(volumes) for volumes, _ in shapes)
        volumes, levels = (np.array([lengthened(shape[side], longest) for shape in shapes]) for side in (0, 1))
        on_tank = [valve for valve in self.valves if valve.tank >= 0]
        draws = [
            (valve.flows.at_reference[key], bed.emitters.exponent)
            for valve in on_tank
            for key, bed in valve.controller.bed.items()
        ]
        flows, exponents = np.array(draws, float).T
        counts = [len(valve.grounds) if valve.tank >= 0 else 0 for valve in self.valves]
        top_ups = [supply.top_up for supply in self.tanks_of]
        return Tanks(
            capacity=np.array([supply.volume for supply in self.tanks_of], float),
            outlet=np.array([supply.outlet_height for supply in self.tanks_of], float),
            volumes=volumes,
            levels=levels,
            inflow=np.zeros((len(shapes), 1)),
            float_volume=np.array([top_up.below if top_up else 0.0 for top_up in top_ups]),
            float_rate=np.array([top_up.rate if top_up else 0.0 for top_up in top_ups]),
            draw_flow=flows[:, None].copy(),
            draw_exponent=exponents.copy(),
            draw_from=np.cumsum([0, *counts]).astype(np.int64),
        )

    @functools.cached_property
    def volume(self) -> Floats:
        """Of the tanks on the first morning. (tanks,) [L]"""
        return np.array([supply.volume * supply.full_at_start for supply in self.tanks_of], float)

    @functools.cached_property
    def _fixed(self) -> dict[str, Any]:
        """The parts of `Beds` that no day changes: one number a ground, and the lanes."""
        beds = [ground.bed for ground in self.grounds]
        tew, rew = np.array([evaporable_water(bed) for bed in beds], float).reshape(-1, 2).T
        by_ground = len(beds) * len(self.lanes[2:])  # lanes beside those of the rows
        on_tank = np.array([valve.tank >= 0 for valve in self.valves], bool)[self.row_controller]
        draw = np.where(on_tank, np.cumsum(on_tank) - 1, -1)
        flows = [
            (valve.flows.at_reference if valve.tank >= 0 else valve.flows.bed_flows)[key] / bed.area
            for valve in self.valves
            for key, bed in valve.controller.bed.items()
        ]
        uniformity = [bed.uniformity for valve in self.valves for bed in valve.controller.bed.values()]
        sources = [{"exact_refill": engine.EXACT_REFILL, "timer": engine.GIVEN}[name] for name in self.lanes[2:]]
        mean = np.array(flows, float)
        rest = np.zeros(by_ground, np.int64)
        return {
            "dual": np.array([bed.method == "dual" for bed in beds], np.int64),
            "fw": np.array([bed.wetted_fraction for bed in beds], float),
            "tew": tew.copy(),
            "rew": rew.copy(),
            "ke_factor": np.array([mulch_factor(bed.mulch) for bed in beds], float),
            "lane_bed": np.concatenate(
                [np.repeat(self.row_ground, 2), np.tile(np.arange(len(beds)), len(self.lanes[2:]))]
            ).astype(np.int64),
            "lane_controller": np.concatenate([np.repeat(self.row_controller, 2), rest]),
            "lane_source": np.concatenate(
                [np.full(2 * len(flows), engine.VALVE), np.repeat(sources, len(beds))]
            ).astype(np.int64),
            "lane_draw": np.concatenate([np.repeat(draw, 2), rest - 1]).astype(np.int64),
            "lane_mm_per_hour": np.concatenate(
                [np.stack([mean, mean * np.array(uniformity, float)], axis=1).ravel(), rest.astype(float)]
            ),
        }

    @functools.cached_property
    def _by_length(self) -> dict[int, tuple[Pans, Tanks]]:
        return {}

    def repeated(self, n_days: int) -> tuple[Pans, Tanks]:
        """Return pans and tanks for so many days; kept, since seasons are of few lengths."""
        if n_days not in self._by_length:
            self._by_length[n_days] = (_repeated(self.pans, n_days), _repeated(self.tanks, n_days))
        return self._by_length[n_days]

    def filled(self, parts: Sequence[BedForcing]) -> Beds:
        """Return the engine's beds: what a season gives to each ground, and the lanes."""
        n_days = len(parts[0].taw)
        return Beds(
            kc=np.array([part.curve.kc for part in parts]),
            taw=np.array([part.taw for part in parts]),
            rain_in=np.array([part.rain_in for part in parts]),
            growing=np.array([part.curve.growing for part in parts]).astype(np.int64),
            kc_max=np.array([part.kc_max for part in parts]),
            exposed=np.array([part.exposed for part in parts]),
            p_table=np.array([part.curve.depletion for part in parts]),
            flow_factor=np.ones((len(parts), n_days)),
            given=np.zeros((len(parts), 0)),
            **self._fixed,
        )

    def forcing(
        self,
        record: Record,
        first: int,
        parts: Sequence[BedForcing],
        *,
        days: Days,
        evaporation: Floats,
        presses: Floats,
        inflow: Floats,
        given: Floats | None = None,
    ) -> Forcing:
        """Return the bundle filled in for the days of a season; see `lay_out`."""
        n_days = len(days.rain)
        pans, tanks = self.repeated(n_days)
        beds = self.filled(parts)
        if given is not None:
            beds = beds._replace(given=given)
        pans = pans._replace(evaporation=evaporation, presses=presses)
        tanks = tanks._replace(inflow=inflow)
        return Forcing(self, record, first, first + n_days, days, pans, tanks, beds, tuple(parts))


def _repeated(group: Any, n_days: int) -> Any:
    daily = {name: np.repeat(getattr(group, name), n_days, axis=1) for name in _DAILY if hasattr(group, name)}
    return group._replace(**daily)


@dataclass(frozen=True)
class PanForcing(PanFlows):
    """
    One controller's pan, before the valve does anything; its flows are those of `PanFlows`.

    Parameters
    ----------
    evaporation : dict
        Model's name -> (days,) what it gives, exposure included; a measured column only where it is chosen. [mm]
    wind_bounded, humidity_bounded : ndarray of bool (days,)
        Where a bound of the pan coefficient's table bit.
    fetch_bounded : bool
    """

    evaporation: dict[str, Floats]
    wind_bounded: Floats
    humidity_bounded: Floats
    fetch_bounded: bool


@dataclass(frozen=True)
class Forcing:
    """
    All that the engine needs for a run of days, and what a report wants to know of how it came about.

    Parameters
    ----------
    bundle : Bundle
    record : Record
    first, after : int
        The days' places in the record.
    days, pans, tanks, beds
        The engine's arrays.
    parts : tuple of BedForcing
        Of the bundle's grounds.
    assumptions : tuple of str
    """

    bundle: Bundle
    record: Record
    first: int
    after: int
    days: Days
    pans: Pans
    tanks: Tanks
    beds: Beds
    parts: tuple[BedForcing, ...]
    assumptions: tuple[str, ...] = ()

    @property
    def dates(self) -> pd.DatetimeIndex:
        """The run's days."""
        return self.record.index[self.first : self.after]

    @property
    def weather(self) -> pd.DataFrame:
        """The clean weather of the run's days."""
        return self.record.daily.iloc[self.first : self.after]

    @property
    def bed_of(self) -> dict[str, BedForcing]:
        """ "CONTROLLER/BED" -> its part; of one design."""
        return {part.key: part for part in self.parts}

    @functools.cached_property
    def pan_of(self) -> dict[str, PanForcing]:
        """Controller -> its pan, without faults; of one design."""
        return {valve.name: self._pan_forcing(valve) for valve in self.bundle.valves}

    def _pan_forcing(self, valve: Valve) -> PanForcing:
        pan, cut = valve.controller.pan, slice(self.first, self.after)
        coefficient = self.record.pan_coefficient(pan)
        models = dict.fromkeys(("from-eto", "energy-balance", pan.evaporation))
        return PanForcing(
            evaporation={model: self.record.pan_evaporation(pan, valve.name, model)[cut] for model in models},
            wind_bounded=coefficient.wind_bounded[cut],
            humidity_bounded=coefficient.humidity_bounded[cut],
            fetch_bounded=coefficient.fetch_bounded,
            **vars(valve.flows),
        )

    @functools.cached_property
    def room(self) -> int:
        """
        How many openings there can be at most.

        Raises
        ------
        ScenarioError
            A swing that opens too often to list.
        """
        pans = self.pans
        lost = np.maximum(pans.evaporation, 0.0).sum(axis=1) * pans.area + np.maximum(pans.leak, 0.0).sum(axis=1) * 24.0
        # a trip weight that rises takes the pan nearer to the next opening
        lost = lost + np.maximum(pans.shift, 0.0).sum(axis=1)
        most = lost / pans.swing.min(axis=1) + np.isfinite(pans.presses).sum(axis=1) + pans.swing.shape[1] + 2.0
        for index in np.flatnonzero(most > MOST_OPENINGS):
            where = f"{_where(self.bundle.valves[index], self.dates[0].year)}.valve.swing"
            found = f"= {pans.swing[index].min():g} kg would open the valve some {most[index]:.0f} times"
            cure = f"a pan of {pans.area[index]:g} m² wants a larger swing"
            raise ScenarioError(Problem("small-swing", where, found, "", cure), file=self.record.file)
        return int(most.sum())


def _where(valve: Valve, year: int) -> str:
    return (f"design {valve.design}, {year}: " if valve.design else "") + f"controller.{valve.name}"


def ground_key(controller: str, name: str, bed: Bed) -> tuple[str, str, str]:
    """Return what tells two grounds apart."""
    return controller, name, bed.model_dump_json(exclude={"area", "emitters", "uniformity"})


def bundle_of(designs: Sequence[Design], lanes: tuple[str, ...] = LANES[:3]) -> Bundle:
    """
    Lay designs out side by side.

    Parameters
    ----------
    designs : sequence of Design
    lanes : tuple of str
        A timer's only for one design.

    Returns
    -------
    Bundle
    """
    valves: list[Valve] = []
    tanks: list[Tank] = []
    grounds: dict[tuple[str, str, str], Ground] = {}
    assumptions: list[str] = []
    for name, scenario in designs:
        in_use = tanks_in_use(scenario)
        at = {supply: len(tanks) + index for index, supply in enumerate(in_use)}
        tanks += in_use.values()
        for key, controller in scenario.controller.items():
            keys = {ground_key(key, bed, part): Ground(key, bed, part) for bed, part in controller.bed.items()}
            grounds |= {ground: part for ground, part in keys.items() if ground not in grounds}
            pan, swing = controller.pan, controller.valve.swing_kg
            valves.append(
                Valve(
                    design=name,
                    name=key,
                    controller=controller,
                    tank=at.get(controller.supply, -1),
                    grounds=tuple(list(grounds).index(ground) for ground in keys),
                    area=pan.area,
                    swing=swing,
                    rim=swing + pan.freeboard * pan.area,
                    dry=swing - pan.water_at_reset,
                    flows=pan_flows(scenario, key, assumptions),
                )
            )
    return Bundle(tuple(valves), tuple(grounds.values()), tuple(tanks), lanes, tuple(assumptions))


def lay_out(bundle: Bundle, record: Record, first: int, after: int, *, year: int = 0, by: int = 0) -> Forcing:
    """
    Fill a bundle in for the days of a season.

    Parameters
    ----------
    bundle : Bundle
    record : Record
        Of the place.
    first, after : int
        The days' places in it.
    year : int
        Named in messages.
    by : int
        Years by which plantings are moved along.

    Returns
    -------
    Forcing

    Raises
    ------
    ScenarioError
        A measured pan without its column or some of its days; plantings that can't be.
    """
    days = record.days(first, after)
    return bundle.forcing(
        record,
        first,
        grounds_in(bundle, record, first, after, year=year, by=by),
        days=days,
        evaporation=_evaporation(bundle, record, first, after),
        presses=_presses(bundle, record, first, after),
        inflow=np.array([record.roof_inflow(tank.roof)[first:after] for tank in bundle.tanks_of]).reshape(
            -1, after - first
        ),
        given=_timers(bundle, record.index[first:after]) if "timer" in bundle.lanes else None,
    )


def grounds_in(
    bundle: Bundle, record: Record, first: int, after: int, *, year: int = 0, by: int = 0
) -> list[BedForcing]:
    """Return the bundle's grounds over some days; as `lay_out`."""
    parts = []
    for controller, name, bed in bundle.grounds:
        try:
            parts.append(record.ground(controller, name, bed_in_year(bed, by), first, after))
        except PlantingError as error:
            where = f"controller.{controller}.bed.{name}" + (f", {year}" if year else "")
            raise ScenarioError(Problem("planting", f"{where}:", str(error)), file=record.file) from error
    return parts


def _evaporation(bundle: Bundle, record: Record, first: int, after: int) -> Floats:
    rows = []
    for valve in bundle.valves:
        where = f"{_where(valve, record.index[first].year)}.pan"
        rows.append(record.pan_evaporation(valve.controller.pan, where)[first:after])
        missing = record.index[first:after][np.isnan(rows[-1])]
        if len(missing):
            days = ", ".join(f"{day:%Y-%m-%d}" for day in missing[:5])
            more = f" and {len(missing) - 5} more days" if len(missing) > 5 else ""
            found = f'= "measured": {record.shown} has no pan_evaporation on {days}{more}'
            cure = 'fill them, or take "from-eto"'
            raise ScenarioError(Problem("pan-days", f"{where}.evaporation", found, "", cure), file=record.file)
    return np.array(rows)


def _presses(bundle: Bundle, record: Record, first: int, after: int) -> Floats:
    """Hours at which valves are pressed, (controllers, days · most presses a day)."""
    n_days = after - first
    times = [tuple(valve.controller.valve.press_times) for valve in bundle.valves]
    tables = {key: record.press_hours(key, first, after) for key in set(times) if key}
    presses = np.full((len(times), n_days, max((table.shape[1] for table in tables.values()), default=0)), np.inf)
    for index, key in enumerate(times):
        if key:
            presses[index, :, : tables[key].shape[1]] = tables[key]
    return presses.reshape(len(times), -1) if presses.size else np.zeros((len(times), 0))


def _timers(bundle: Bundle, dates: pd.DatetimeIndex) -> Floats:
    """What the present timers give each ground, day by day. (grounds, days) [mm]"""
    given = np.zeros((len(bundle.grounds), len(dates)))
    for valve in bundle.valves:
        timer = valve.controller.timer
        if timer is None:
            continue
        on = np.isin(dates.dayofweek, [_WEEKDAYS.index(day) for day in timer.days])
        flows = valve.flows.bed_flows
        for (key, bed), ground in zip(valve.controller.bed.items(), valve.grounds, strict=True):
            if timer.duration is not None:
                litres = flows[key] * timer.duration
            else:
                assert timer.litres_a_week is not None
                litres = timer.litres_a_week * flows[key] / sum(flows.values()) / len(timer.days)
            given[ground] = np.where(on, litres / bed.area, 0.0)
    return given


def prepare(scenario: Scenario, weather: Weather, start: dt.date, end: dt.date) -> Forcing:
    """
    Lay out one garden.

    Parameters
    ----------
    scenario : Scenario
    weather : Weather
        Must hold every day from start to end.
    start, end : date
        First and last day of the run.

    Returns
    -------
    Forcing
        Without faults and salt.

    Raises
    ------
    ScenarioError
        A season outside the weather file, a measured pan without its column, plantings that can't be.
    """
    record = record_of(scenario, weather)
    span = record.span(start, end)
    if span is None:
        held = f"{record.index[0]:%Y-%m-%d} to {record.index[-1]:%Y-%m-%d}"
        wrong = [
            Problem(
                "out-of-record",
                key,
                f"= {day} lies outside the weather file {record.shown}, which runs from {held}",
                "",
                "choose days within it, or name another file",
                day,
            )
            for key, day in (("season.start", start), ("season.end", end))
            if not record.index[0].date() <= day <= record.index[-1].date()
        ]
        raise ScenarioError(*wrong, file=record.file)
    timed = any(controller.timer is not None for controller in scenario.controller.values())
    bundle = bundle_of([Design("", scenario)], LANES if timed else LANES[:3])
    forcing = lay_out(bundle, record, *span)
    assert forcing.room  # asked for here, so that a swing too small to list is refused at the door
    return dataclasses.replace(forcing, assumptions=tuple(dict.fromkeys(_assumptions(forcing, scenario))))


def _assumptions(forcing: Forcing, scenario: Scenario) -> Iterator[str]:
    yield from forcing.bundle.assumptions
    for part in forcing.parts:
        yield from (f"{part.key}: {text}" for text in part.curve.assumptions)
    site = scenario.site
    times = {time for controller in scenario.controller.values() for time in controller.valve.press_times}
    if times - {"sunrise", "sunset"} and (site.longitude is None or site.timezone is None):
        yield (
            "press times count as solar time, since the site has no longitude and time zone: up to an hour or two "
            "off the clock"
        )
    for name, supply in tanks_in_use(scenario).items():
        if forcing.first == 0 and forcing.days.rain[0] > 0.0 and supply.roof is not None and supply.roof.first_flush:
            yield f"{name}: it rains on the weather file's first day, and the roof's first flush counts as not yet lost"
