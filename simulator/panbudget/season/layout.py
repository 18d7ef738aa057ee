"""
Layout: designs of one place and year side by side, as the engine's arrays. A garden on its own is one design.

What does not depend on the weather is laid out once (`Bundle`) and filled in season by season (`lay_out`). Designs whose
beds are alike share their ground and its yardstick. Units as in the engine.
"""

import dataclasses
import datetime as dt
import functools
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, Self

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.engine import season as engine
from panbudget.engine.arrays import Beds, Days, Pans, Tanks, no_tanks
from panbudget.errors import Problem, ScenarioError
from panbudget.extras import made_once
from panbudget.numeric import Floats, Ints
from panbudget.scenario.beds import Bed, LayeredSoil, NamedSoil
from panbudget.scenario.garden import Scenario
from panbudget.scenario.supplies import Tank
from panbudget.season import TEXTS, demand, problem, supplies, years
from panbudget.season.demand import FORCED, BedForcing
from panbudget.season.record import PanForcing, Record, Span, beside, record_of, years_of_bed
from panbudget.season.supplies import Valve
from panbudget.tables.soils import find_soil
from panbudget.weather import Weather
from panbudget.words import joined

#: an opening list longer than this is a mistake in the scenario, not a season
MOST_OPENINGS = 100_000
#: the lanes of a bed; a present timer's only in a garden that describes one
LANES = ("mean", "driest_quarter", "exact_refill", "timer")
_DAILY = ("swing", "rim", "dry", "shift", "leak", "rain_factor", "refill_flow", "valve_flow", "inflow", "draw_flow")
_NOT_GROUND = {"area", "emitters", "uniformity"}  # of a bed: two that differ in these alone share their ground


class Design(NamedTuple):
    """A named garden, checked."""

    name: str
    scenario: Scenario


class Ground(NamedTuple):
    """A bed as far as water in its soil goes: designs with the same one share it."""

    controller: str
    name: str
    bed: Bed


class Row(NamedTuple):
    """
    One row of the results: a bed of a design.

    Parameters
    ----------
    design, controller, bed : str
    area : float
        [m²]
    valve, ground, draw : int
        Places of its valve, its ground, and its draw among those on tanks, −1 on the mains.
    flow, exponent, uniformity : float
        Of its emitters; the flow under a tank is that at the engine's reference pressure. [L/h, -, -]
    """

    design: str
    controller: str
    bed: str
    area: float
    valve: int
    ground: int
    draw: int
    flow: float
    exponent: float
    uniformity: float


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
        draws, rows = itertools.count(), []
        for row, valve in enumerate(self.valves):
            flows = valve.flows.bed_flows if valve.tank < 0 else valve.flows.at_reference
            for (key, bed), ground in zip(valve.controller.bed.items(), valve.grounds, strict=True):
                draw = next(draws) if valve.tank >= 0 else -1
                places = (row, ground, draw)
                figures = (flows[key], bed.emitters.exponent, bed.uniformity)
                rows.append(Row(valve.design, valve.name, key, bed.area, *places, *figures))
        return tuple(rows)

    def by_row(self, name: str) -> npt.NDArray[Any]:
        """Return what each row has of a name of `Row`: its valve's place, its bed's area. (rows,)"""
        return np.array([getattr(row, name) for row in self.rows])

    def lane(self, name: str) -> Ints:
        """Return where each row's lane of a name stands among the engine's. (rows,)"""
        if name in LANES[:2]:
            return 2 * np.arange(len(self.rows)) + LANES.index(name)
        return 2 * len(self.rows) + (self.lanes.index(name) - 2) * len(self.grounds) + self.by_row("ground")

    @functools.cached_property
    def pans(self) -> Pans:
        """The engine's pans, with one day to be repeated and without what the weather brings."""
        # controllers on one tank form a block, every other one a block of its own
        blocks: dict[int, list[int]] = {}
        for index, valve in enumerate(self.valves):
            blocks.setdefault(valve.tank if valve.tank >= 0 else -1 - index, []).append(index)
        return Pans(
            **_side_by_side([valve.engine_values for valve in self.valves]),
            presses=np.zeros((len(self.valves), 0)),
            tank=np.array([valve.tank for valve in self.valves], np.int64),
            block=np.cumsum([0, *map(len, blocks.values())]).astype(np.int64),
            member=np.array([index for block in blocks.values() for index in block], np.int64),
        )

    @functools.cached_property
    def tanks(self) -> Tanks:
        """The engine's tanks, with one day to be repeated and without what roofs bring."""
        if not self.tanks_of:
            return no_tanks(1)
        longest = max(len(supply.points) for supply in self.tanks_of)
        drawing = [row for row in self.rows if row.draw >= 0]
        draws = np.bincount([row.valve for row in drawing], minlength=len(self.valves))
        return Tanks(
            **_side_by_side([supplies.tank_values(supply, longest) for supply in self.tanks_of]),
            **_side_by_side([{"draw_flow": [row.flow], "draw_exponent": row.exponent} for row in drawing]),
            draw_from=np.cumsum([0, *draws]).astype(np.int64),
        )

    @functools.cached_property
    def _fixed(self) -> dict[str, Any]:
        """The parts of `Beds` that no day changes: one number a ground, and the lanes."""
        sources = [{"exact_refill": engine.EXACT_REFILL, "timer": engine.GIVEN}[name] for name in self.lanes[2:]]
        lanes = [
            (row.ground, row.valve, engine.VALVE, row.draw, row.flow / row.area * share)
            for row in self.rows
            for share in (1.0, row.uniformity)
        ] + [(ground, 0, source, -1, 0.0) for source in sources for ground in range(len(self.grounds))]
        *places, rates = zip(*lanes, strict=True)
        names = ("lane_bed", "lane_controller", "lane_source", "lane_draw")
        figures = _side_by_side([_surface(ground.bed) for ground in self.grounds])
        return {
            **figures | {"dual": figures["dual"].astype(np.int64)},
            **{name: np.array(part, np.int64) for name, part in zip(names, places, strict=True)},
            "lane_mm_per_hour": np.array(rates, float),
        }

    def repeated(self, n_days: int) -> tuple[Pans, Tanks]:
        """Return pans and tanks for so many days; kept, since seasons are of few lengths."""
        return made_once(self, ("days", n_days), lambda: (_repeated(self.pans, n_days), _repeated(self.tanks, n_days)))

    def grounds_along(self, by: int) -> tuple[Ground, ...]:
        """Return the grounds with their plantings moved along by years; kept, since many places ask for the same."""
        moved = (ground._replace(bed=years.bed_in_year(ground.bed, by)) for ground in self.grounds)
        return made_once(self, ("years", by), lambda: tuple(moved))

    def filled(self, parts: Sequence[BedForcing]) -> Beds:
        """Return the engine's beds: what a season, or years side by side, give to each ground, and the lanes."""
        forced = {name: np.stack([getattr(part, name) for part in parts], axis=-2) for name in FORCED}
        forced["growing"] = forced["growing"].astype(np.int64)
        given = np.zeros((len(parts), 0))
        return Beds(**forced, flow_factor=np.ones(forced["taw"].shape[-2:]), given=given, **self._fixed)


def _side_by_side(parts: Sequence[dict[str, Any]]) -> dict[str, Any]:
    return {name: np.array([part[name] for part in parts], float) for name in parts[0]}


def _surface(bed: Bed) -> dict[str, float]:
    tew, rew = demand.evaporable_water(bed)
    factor = demand.mulch_factor(bed.mulch)
    return {"dual": bed.method == "dual", "fw": bed.wetted_fraction, "tew": tew, "rew": rew, "ke_factor": factor}


def _repeated(group: Any, n_days: int) -> Any:
    daily = {name: np.repeat(getattr(group, name), n_days, axis=1) for name in _DAILY if hasattr(group, name)}
    return group._replace(**daily)


#: what the weather decides, of each of a `Forcing`'s groups
_BY_YEAR = {"days": Days._fields, "pans": ("evaporation", "presses"), "tanks": ("inflow",), "beds": FORCED}


@dataclass(frozen=True)
class Forcing:
    """
    All that the engine needs for a run of days, and what a report wants to know of how it came about.

    Parameters
    ----------
    bundle : Bundle
    record : Record
    first, after : int
        The days' places in the record; of years side by side the last one's.
    days, pans, tanks, beds
        The engine's arrays.
    parts : tuple of BedForcing
        Of the bundle's grounds.
    assumptions : tuple of str
    spans : tuple of Span
        Of years side by side. What the weather decides (`_BY_YEAR`) then has years before its other axes.
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
    spans: tuple[Span, ...] = ()

    def of_year(self, at: int) -> Self:
        """Return one of the years side by side, without parts."""
        groups: dict[str, Any] = dict(zip(_BY_YEAR, next(itertools.islice(self.by_year(), at, None)), strict=True))
        first, after = self.spans[at]
        return dataclasses.replace(self, **groups, first=first, after=after, spans=())

    def by_year(self) -> Iterator[tuple[Days, Pans, Tanks, Beds]]:
        """Return the engine's arrays of each of the years side by side: the same memory."""
        groups = list[Any]()
        for name, changed in _BY_YEAR.items():
            group = getattr(self, name)
            parts = group._asdict().items()
            by_part = (part if name in changed else itertools.repeat(part) for name, part in parts)
            groups.append(map(type(group)._make, zip(*by_part, strict=False)))
        return zip(*groups, strict=True)

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
        return {valve.name: self.record.pan_forcing(valve, self.first, self.after) for valve in self.bundle.valves}

    def check_room(self) -> None:
        """Refuse years side by side that would need more than can be listed; as `room`."""
        if (_most_openings(self.pans) > MOST_OPENINGS).any():
            for year in range(len(self.spans)):
                assert self.of_year(year).room

    @functools.cached_property
    def room(self) -> int:
        """
        How many openings there can be at most.

        Raises
        ------
        ScenarioError
            A swing that opens too often to list.
        """
        pans, most = self.pans, _most_openings(self.pans)
        for index in np.flatnonzero(most > MOST_OPENINGS):
            valve = self.bundle.valves[index % len(self.bundle.valves)]  # several may be one, at other sizes
            where = f"{valve.where(self.dates[0].year)}.valve.swing"
            figures = {"swing": pans.swing[index].min(), "most": most[index], "area": pans.area[index]}
            # of what a pan loses, the larger part is to blame
            leaks = pans.leak[index].sum() * 24.0 * 2.0 > figures["most"] * figures["swing"]
            code = "small-swing.leak" if leaks else "small-swing"
            raise ScenarioError(problem(code, where, **figures), file=self.record.file)
        return int(most.sum())


def _most_openings(pans: Pans) -> Floats:
    """Openings that each controller can have at most. (…, controllers)"""
    lost = np.maximum(pans.evaporation, 0.0).sum(axis=-1) * pans.area + np.maximum(pans.leak, 0.0).sum(axis=1) * 24.0
    # a trip weight that rises takes the pan nearer to the next opening
    lost = lost + np.maximum(pans.shift, 0.0).sum(axis=1)
    most = lost / pans.swing.min(axis=1) + np.isfinite(pans.presses).sum(axis=-1) + pans.swing.shape[1] + 2.0
    return np.asarray(most)


def bundle_of(designs: Sequence[Design], lanes: tuple[str, ...] = LANES[:3]) -> Bundle:
    """Lay designs out side by side; a timer's lane is for one design alone."""
    valves: list[Valve] = []
    tanks: list[Tank] = []
    grounds: dict[tuple[str, str, str], Ground] = {}
    assumptions: list[str] = []
    for design, scenario in designs:
        in_use = supplies.tanks_in_use(scenario)
        tank_at = {name: len(tanks) + index for index, name in enumerate(in_use)}
        tanks += in_use.values()
        for name, controller in scenario.controller.items():
            keys = [(name, key, bed.model_dump_json(exclude=_NOT_GROUND)) for key, bed in controller.bed.items()]
            grounds |= {key: Ground(name, key[1], controller.bed[key[1]]) for key in keys}
            tank, places = tank_at.get(controller.supply, -1), tuple(list(grounds).index(key) for key in keys)
            pan, flows = controller.pan, supplies.pan_flows(scenario, name, assumptions)
            swing, water = controller.valve.swing_kg, pan.water_at_reset
            valves.append(Valve(design, name, controller, tank, places, pan.area, swing, water, flows))
    return Bundle(tuple(valves), tuple(grounds.values()), tuple(tanks), lanes, tuple(assumptions))


def lay_out(
    bundle: Bundle,
    record: Record,
    first: int,
    after: int,
    *,
    year: int = 0,
    by: int = 0,
    parts: Sequence[BedForcing] = (),
) -> Forcing:
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
    parts : sequence of BedForcing
        The bundle's grounds over these days, where they are at hand.

    Raises
    ------
    ScenarioError
        A measured pan without its column or some of its days; plantings that can't be.
    """
    parts = tuple(parts) or grounds_in(bundle, record, first, after, year=year, by=by)
    alone = _laid_out(bundle, record, [(first, after)], [years_of_bed([part]) for part in parts]).of_year(0)
    beds = alone.beds
    if "timer" in bundle.lanes:
        given = [bundle.valves[row.valve].timed(row.bed, record.index[first:after]) for row in bundle.rows]
        beds = beds._replace(given=np.array(given))
    return dataclasses.replace(alone, beds=beds, parts=parts)


def lay_out_years(bundle: Bundle, record: Record, spans: Sequence[Span], years: Sequence[int], present: int) -> Forcing:
    """
    Fill a bundle in for the days of several years' seasons, side by side: the same numbers as year by year.

    Parameters
    ----------
    bundle : Bundle
        Without a timer's lane.
    record : Record
    spans : sequence of Span
        As long as each other.
    years : sequence of int
        In which these seasons start.
    present : int
        The year that plantings are described in.

    Raises
    ------
    ScenarioError
        As `lay_out`.
    """
    by = [year - present for year in years]
    grounds = list(zip(*map(bundle.grounds_along, by), strict=True))
    try:
        parts = [record.grounds(of[0].controller, of[0].name, [ground.bed for ground in of], spans) for of in grounds]
    except demand.PlantingError:
        for span, year in zip(spans, years, strict=True):
            grounds_in(bundle, record, *span, year=year, by=year - present)  # names the year
        raise
    return _laid_out(bundle, record, spans, parts)


def _laid_out(bundle: Bundle, record: Record, spans: Sequence[Span], parts: Sequence[BedForcing]) -> Forcing:
    first, after = spans[-1]
    pans, tanks = bundle.repeated(after - first)
    evaporation = record.evaporation(bundle.valves, spans)
    inflow = [beside(record.roof_inflow(tank.roof), spans) for tank in bundle.tanks_of]
    return Forcing(
        *(bundle, record, first, after, record.days(spans)),
        pans=pans._replace(evaporation=evaporation, presses=record.presses(bundle.valves, spans)),
        tanks=tanks._replace(inflow=np.array(inflow).reshape(-1, len(spans), after - first).swapaxes(0, 1).copy()),
        beds=bundle.filled(parts),
        parts=tuple(parts),
        spans=tuple(spans),
    )


def grounds_in(
    bundle: Bundle, record: Record, first: int, after: int, *, year: int = 0, by: int = 0
) -> tuple[BedForcing, ...]:
    """Return the bundle's grounds over some days; as `lay_out`."""
    parts = []
    for controller, name, bed in bundle.grounds_along(by):
        try:
            parts.append(record.ground(controller, name, bed, first, after))
        except demand.PlantingError as error:
            where = f"controller.{controller}.bed.{name}" + (f", {year}" if year else "")
            raise ScenarioError(Problem("planting", f"{where}:", str(error)), file=record.file) from error
    return tuple(parts)


def prepare(
    scenario: Scenario, weather: Weather, start: dt.date, end: dt.date, by: int = 0, garden: str = "--help"
) -> Forcing:
    """
    Lay out one garden, without faults and salt.

    Parameters
    ----------
    scenario : Scenario
    weather : Weather
        Must hold every day from start to end.
    start, end : date
        First and last day of the run.
    by : int
        Years by which plantings are moved along.
    garden : str
        As `today` takes it, which is advised where the season still runs.

    Raises
    ------
    ScenarioError
        A season outside the weather file, a measured pan without its column, plantings that can't be.
    """
    record = record_of(scenario, weather)
    timed = any(controller.timer is not None for controller in scenario.controller.values())
    bundle = bundle_of([Design("", scenario)], LANES if timed else LANES[:3])
    forcing = lay_out(bundle, record, *record.whole_span(start, end, garden), by=by)
    assert forcing.room  # asked for here, so that a swing too small to list is refused at the door
    return dataclasses.replace(forcing, assumptions=tuple(dict.fromkeys(_assumptions(forcing, scenario))))


def _assumptions(forcing: Forcing, scenario: Scenario) -> Iterator[str]:
    yield from forcing.bundle.assumptions
    for part in forcing.parts:
        yield from (joined(": ", (part.key, text)) for text in part.assumptions)
    site = scenario.site
    times = {time for controller in scenario.controller.values() for time in controller.valve.press_times}
    if times - {"sunrise", "sunset"} and (site.longitude is None or site.timezone is None):
        yield TEXTS["assumptions"]["solar-times"]
    for name, supply in supplies.tanks_in_use(scenario).items():
        if forcing.first == 0 and forcing.days.rain[0] > 0.0 and supply.roof is not None and supply.roof.first_flush:
            yield TEXTS["assumptions"]["wet-roof"].format(name=name)
    yield from _defaults(scenario)


def _defaults(scenario: Scenario) -> Iterator[str]:
    """Say what nobody stated, and what texture stands for a soil that nobody measured."""
    texts = TEXTS["assumptions"]
    pans = [name for name, part in scenario.controller.items() if "exposure" not in part.pan.model_fields_set]
    if pans:
        yield texts["no-exposure"].format(names=", ".join(pans))
    beds = {f"{name}/{key}": bed for name, part in scenario.controller.items() for key, bed in part.bed.items()}
    full = [key for key, bed in beds.items() if "initial_depletion" not in bed.model_fields_set]
    if full and not scenario.season.spin_up_days:
        yield texts["no-depletion"].format(names=", ".join(full))
    textures: dict[str, list[str]] = {}
    for key, bed in beds.items():
        for layer in bed.soil.layers if isinstance(bed.soil, LayeredSoil) else [bed.soil]:
            if isinstance(layer, NamedSoil):
                textures.setdefault(layer.name, []).append(key)
    for texture, keys in textures.items():
        soil = find_soil(texture)
        facts = {"capacity": soil.field_capacity, "wilting": soil.wilting_point}
        yield texts["texture"].format(names=", ".join(dict.fromkeys(keys)), texture=texture, **facts)
