"""
Trials: single changes tried on the weeks ahead, and what each is worth; and when a valve opens next, with its range.

Each run takes one earlier year's weather and one draw of `[uncertainty]`, the same for every change, so that what is said
of a change is the difference that it makes in the same weather, for the same pan.
"""

import dataclasses
import datetime as dt
import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from panbudget.engine.season import run_season
from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.season.layout import Forcing
from panbudget.season.record import Record
from panbudget.season.supplies import tanks_in_use
from panbudget.studies.ranges import drawn_factors, drawn_forcings, interval_of
from panbudget.studies.setup import ml_per_minute
from panbudget.studies.today.fan import Outcome, Part, Start, days_ahead, outcome_of
from panbudget.words import packaged, say

#: how far ahead changes are judged [days]: until somebody looks again; common practice, no source
WEEKS = 30
RUNS = 16
# of each change, so many runs first, and all of so many of the best
_FIRST, _FINALISTS = 4, 6
MOST_ACTIONS = 3
# what makes a change worth a sentence: so many bed-days fewer, such a share of the lack, or such a share of the water with
# no day more; no source
_LEAST_DAYS, _LEAST_LACK, _LEAST_SAVED = 1.0, 0.25, 0.1
#: share of the runs that a range holds
BAND = 0.8
_DATA = packaged("studies/today.toml")


@dataclasses.dataclass(frozen=True)
class Action:
    """
    A change worth making.

    Parameters
    ----------
    what : str
        In words.
    days : float
        Days short of water fewer, added over the beds' driest quarters; the mean over the runs.
    days_range : (float, float)
        Between which it lies in four runs of five.
    lack : float
        By what share the water that the beds lack, mm by mm and day by day, falls. [-]
    litres : float
        More water through the valves (or, below zero, less), in the mean. [L]
    """

    what: str
    days: float
    days_range: tuple[float, float]
    lack: float
    litres: float


class _Trial(NamedTuple):
    what: str
    kind: str
    part: Part
    overlay: dict[str, Any]
    by_hand: Callable[[Forcing, Start], tuple[Forcing, Start]] | None = None


class Trials:
    """
    The weeks ahead of one garden, drawn once and run again with each change.

    Parameters
    ----------
    scenario : Scenario
    start : Start
    records : mapping
        Year -> weather, as `fan.records_ahead` gives it; so many at most are taken, evenly over the years.
    laid : sequence of Forcing
        The days ahead of each record.
    last : date
        The last of them that counts.
    seen : frozenset of str
        Valves whose pan somebody looked at, whose level is then no matter of the model.
    run : callable
        The engine, plain or compiled.
    """

    def __init__(
        self,
        scenario: Scenario,
        start: Start,
        records: Mapping[int, Record],
        laid: Sequence[Forcing],
        last: dt.date,
        seen: frozenset[str],
        run: Callable[..., int] = run_season,
    ) -> None:
        self.scenario, self.start, self.seen, self._run = scenario, start, seen, run
        self._span, years = (laid[0].dates[0].date(), last), list(records)
        chosen = np.linspace(0, len(years) - 1, min(RUNS, len(years))).round().astype(int).tolist()
        self._records = {years[row]: records[years[row]] for row in chosen}
        days = (last - self._span[0]).days + 1
        parts = [[part.between(0, days) for part in laid[row].parts] for row in chosen]
        self.forcings = list(days_ahead(scenario, self._records, *self._span, parts))
        self.dates = self.forcings[0].dates
        self.base = list(self._outcomes(_Trial("", "", self._all, {})))

    @property
    def _all(self) -> Part:
        bundle = self.forcings[0].bundle
        return Part(tuple(range(len(bundle.valves))), tuple(range(len(bundle.rows))))

    def _outcomes(self, trial: _Trial) -> Iterator[Outcome]:
        scenario, part = self.scenario, trial.part
        forcings: Iterable[Forcing] = self.forcings
        if trial.overlay:
            scenario = scenario.changed(trial.overlay)
            # under mulch, a bed needs something else
            bed = part.beds[0] if trial.kind == "mulch" else -1
            forcings = days_ahead(scenario, self._records, *self._span, [known.parts for known in self.forcings], bed)
        exposure = drawn_factors(scenario, RUNS).exposure
        for run, drawn in enumerate(drawn_forcings(scenario, forcings, RUNS)):
            forcing, start = drawn, self._begun(drawn, {name: float(rows[run]) for name, rows in exposure.items()})
            if trial.by_hand is not None:
                forcing, start = trial.by_hand(forcing, start)
            if not part.valves:
                part = part._replace(irrigation_mm=self.base[run].irrigation_mm[list(part.beds)])
            yield outcome_of(scenario, forcing, start, self._run, part if part != self._all else None)

    def _tried(self, trial: _Trial) -> Iterator[tuple[float, float, float]]:
        """Score a change's runs: what it does not bear on goes as without it."""
        valves, beds = list(trial.part.valves), list(trial.part.beds)
        for without, outcome in zip(self.base, self._outcomes(trial), strict=False):
            room_mm, litres = without.room_mm.copy(), without.litres.copy()
            room_mm[beds], litres[valves] = outcome.room_mm, outcome.litres[valves]
            yield _scores(without._replace(room_mm=room_mm, litres=litres))

    def _part(self, valve: int) -> Part:
        """A valve, those that share its tank, and their beds; all, where the water brings salt, which goes by the garden."""
        if any(supply.salinity is not None for supply in self.scenario.supply.values()):
            return self._all
        pans, rows = self.forcings[0].pans, self.forcings[0].bundle.rows
        tank = pans.tank[valve]
        valves = tuple(np.flatnonzero(pans.tank == tank).tolist()) if tank >= 0 else (valve,)
        return Part(valves, tuple(row for row, bed in enumerate(rows) if bed.valve in valves))

    def _begun(self, drawn: Forcing, exposure: Mapping[str, float]) -> Start:
        """What the pan lost since its last opening goes with the draw, unless somebody looked; a drawn swing, with the pan."""
        described, swing = self.forcings[0].pans.swing[:, 0], drawn.pans.swing[:, 0]
        level = self.start.state.level.copy()
        for row, name in enumerate(self.scenario.controller):
            if name in self.seen or self.start.state.is_open[row]:
                continue
            lost = (described[row] - level[row]) * exposure[name]
            level[row] = min(max(swing[row] - lost, 0.0), max(swing[row], level[row]))
        return self.start._replace(state=self.start.state._replace(level=level))

    def next_openings(self, row: int) -> tuple[float, float, float] | None:
        """Return the hours from tonight to a valve's next opening: middle, and four runs in five; None if most see none."""
        hours = np.array([outcome.next_h[row] for outcome in self.base])
        if np.isnan(hours).mean() > (1.0 - BAND) / 2.0:
            return None
        known = np.where(np.isnan(hours), 24.0 * len(self.dates), hours)
        return float(np.median(known)), *interval_of(known, BAND)

    def actions(self) -> list[Action]:
        """Return at most three changes worth making, of different kinds, that with most days fewer first."""
        before = np.array([_scores(outcome) for outcome in self.base])
        tried = [(trial, self._tried(trial), list[tuple[float, ...]]()) for trial in self._trials()]
        best = dict[str, tuple[int, Action]]()  # kind -> which, and what it comes to
        for runs in (_FIRST, RUNS):
            rated = []
            for row, (trial, scores, after) in enumerate(tried):
                after += itertools.islice(scores, max(min(runs, len(before)) - len(after), 0))
                worth, action = _judged(trial.what, before[: len(after)], np.array(after))
                rated += [(row, trial.kind, action)] if worth else []
            rated.sort(key=lambda entry: _order(entry[2]))
            best = {kind: (row, action) for row, kind, action in reversed(rated)}
            finalists = sorted(best.values(), key=lambda pair: _order(pair[1]))[:_FINALISTS]
            tried = [tried[row] for row, _ in finalists]
        return [action for _, action in finalists[:MOST_ACTIONS]]

    def _trials(self) -> Iterator[_Trial]:
        scenario, words = self.scenario, _DATA["actions"]
        by_bed = np.mean([outcome.short.sum(axis=1) for outcome in self.base], axis=0)
        short = {key for key, days in zip(self.forcings[0].bed_of, by_bed, strict=True) if days > 0.0}
        for row, (name, part) in enumerate(scenario.controller.items()):
            here, valve_part = {key.split("/")[1] for key in short if key.split("/")[0] == name}, self._part(row)
            # at the supply's own pressure, a tank's when full; the engine's arrays have a tank's at the reference pressure
            now, valve = ml_per_minute(self.forcings[0].pan_of[name].refill_flow), part.valve
            on_tank = scenario.supply[part.supply].kind == "tank"
            for factor in _DATA["refill"] if here else _DATA["saving"]:
                text = words["refill-tank" if on_tank else "refill"]
                way = "down" if factor < 1.0 else "up"
                what = say(text, name=name, then=now * factor, now=now, way=way, share=factor * 100.0)
                flow = {"refill": {"flow": f"{valve.refill.flow * factor!r} L/h"}}
                yield _Trial(what, f"refill {name}", valve_part, {"controller": {name: {"valve": flow}}})
            if here and not self.start.state.is_open[row]:
                yield _Trial(words["press"].format(name=name), f"press {name}", valve_part, {}, _pressed(row))
            for bed in sorted(here):
                planted, at = part.bed[bed], list(self.forcings[0].bed_of).index(f"{name}/{bed}")
                lanes = slice(2 * at, 2 * at + 2)  # evenly, until the drier of the two holds no more
                lack = float(self.start.state.depletion[lanes].max()) * planted.area
                what = say(words["soak-tank" if on_tank else "soak"], bed=f"{name}/{bed}", litres=lack)
                yield _Trial(what, f"soak {name}/{bed}", Part((), (at,)), {}, _set("depletion", lanes, 0.0))
                if planted.mulch is None:
                    mulched = {"mulch": _DATA["mulch"]}
                    what = words["mulch"].format(bed=f"{name}/{bed}", cover=100.0 * _DATA["mulch"]["cover"])
                    yield _Trial(what, "mulch", Part((), (at,)), {"controller": {name: {"bed": {bed: mulched}}}})
                for times in _DATA["emitters"]:
                    count = max(round(planted.emitters.count * times), planted.emitters.count + 1)
                    what = words["emitters"].format(bed=f"{name}/{bed}", then=count, now=planted.emitters.count)
                    more = {"bed": {bed: {"emitters": {"count": count}}}}
                    yield _Trial(what, f"emitters {name}/{bed}", valve_part, {"controller": {name: more}})
        for row, name in enumerate(tanks_in_use(scenario)):
            capacity, volume = self.forcings[0].tanks.capacity[row], self.start.state.volume[row]
            if short and volume < 0.9 * capacity:
                what = say(words["fill"], name=name, litres=capacity - volume)
                drawing = self._part(self.forcings[0].pans.tank.tolist().index(row))
                yield _Trial(what, f"fill {name}", drawing, {}, _set("volume", row, float(capacity)))


def _scores(outcome: Outcome) -> tuple[float, float, float]:
    """Days short of water, all beds; litres; what the beds lack on these days, added up. [mm·days]"""
    lack = -np.minimum(np.nan_to_num(outcome.room_mm), 0.0).sum()
    return float(outcome.short.sum()), float(outcome.litres.sum()), float(lack)


def _judged(what: str, before: Floats, after: Floats) -> tuple[bool, Action]:
    """Whether a change is worth a sentence, and what it comes to, by the scores of the same runs without and with it."""
    gained = before - after
    days, saved, less = gained.mean(axis=0)
    lack = less / max(float(before[:, 2].mean()), 1e-9)
    helps = days >= _LEAST_DAYS or (days >= 0.0 and lack >= _LEAST_LACK)
    saves = gained[:, 0].min() >= 0.0 and saved >= _LEAST_SAVED * before[:, 1].mean() > 0.0
    span = interval_of(gained[:, 0], BAND)
    return helps or saves, Action(what, round(float(days), 1), span, round(float(lack), 3), round(float(-saved), 1))


def _order(action: Action) -> tuple[float, float, float]:
    """Most days fewer first; of equal ones, the less lack, by tenths; then the less water."""
    return -round(action.days), -round(action.lack, 1), action.litres


def _pressed(row: int) -> Callable[[Forcing, Start], tuple[Forcing, Start]]:
    """Press a valve tomorrow at seven by the sun, beside what is pressed anyway."""

    def press(forcing: Forcing, start: Start) -> tuple[Forcing, Start]:
        days, presses = len(forcing.dates), forcing.pans.presses
        by_day = presses.reshape(len(presses), days, -1)
        wider = np.concatenate([by_day, np.full((*by_day.shape[:2], 1), np.inf)], axis=2)
        wider[row, 0, -1] = _DATA["press_hour"]
        wider.sort(axis=2)
        pans = forcing.pans._replace(presses=wider.reshape(len(presses), -1))
        return dataclasses.replace(forcing, pans=pans), start

    return press


def _set(what: str, at: int | slice, value: float) -> Callable[[Forcing, Start], tuple[Forcing, Start]]:
    """Something of tonight's state brought to a value by hand: a bed's two lanes soaked, a tank filled."""

    def act(forcing: Forcing, start: Start) -> tuple[Forcing, Start]:
        part = getattr(start.state, what).copy()
        part[at] = value
        return forcing, start._replace(state=start.state._replace(**{what: part}))

    return act
