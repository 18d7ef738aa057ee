"""
Sizing: which pan, refill flow and swing suit a valve's beds, over all the years of a record and the user's wishes.

Every setting is stepped through every year by the engine itself (`settings`); here they are laid out, judged and
chosen. Units: m², L/h, kg, litres, mm over a bed.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from panbudget.errors import Problem, ScenarioError
from panbudget.extras import Reported, Step, silent
from panbudget.numeric import Floats
from panbudget.physics.hydraulics import emitter_flow
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.season.supplies import most_static
from panbudget.season.years import in_year, years_at_hand
from panbudget.studies.size.settings import Outcome, Setting, YearForcing, outcomes, year_forcing
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

_AREAS, _FLOWS = 21, 19  # settings of the search, the present one in the middle
_AREA_SPAN, _FLOW_SPAN = 4.0, 4.0  # times the present one, to either side
_SWINGS = (0.2, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8)  # times the present one
_MOST_OF_PAN = 0.8  # of the pan's water that a swing may take
_YEARS_IN_TEN = 0.9  # model page: nine years of ten
_BEST_FEW = 40  # settings whose swing is then varied
_FEW_DAYLIGHT = 0.05
# beds of one valve whose supply over demand parts by more than this can't be served together; common practice
_TOGETHER = 1.35
_CLOSER = 3  # parts into which a step of the grid is cut when looking closer
_PARALLEL = 3  # refill emitters of one kind side by side, at most


@dataclass(frozen=True)
class Judged:
    """
    Settings over the years; arrays (settings,).

    Parameters
    ----------
    settings : tuple of Setting
    labels : tuple of str
        What each is built from, where it is from things at hand; else empty.
    stress_days : ndarray
        Neediest bed's driest quarter, not exceeded in nine years of ten.
    adequacy : ndarray
        ETa ÷ ETc of the same, mean of the years. [-]
    litres, wasted : ndarray
        A season, mean of the years; ``wet_litres`` not exceeded in nine of ten. [L]
    openings_a_day : ndarray
        Hottest week, mean of the years.
    open_hours, stuck_hours, dry_hours : ndarray
        A season, mean; most; most. [h]
    daylight_openings : ndarray
        Share of openings in daylight. [-]
    violation : ndarray (settings, wishes)
        How far each wish is missed, as a share of it; 0 where it is kept.
    """

    settings: tuple[Setting, ...]
    labels: tuple[str, ...]
    stress_days: Floats
    adequacy: Floats
    litres: Floats
    wet_litres: Floats
    wasted: Floats
    openings_a_day: Floats
    open_hours: Floats
    stuck_hours: Floats
    dry_hours: Floats
    daylight_openings: Floats
    violation: Floats

    @property
    def feasible(self) -> npt.NDArray[np.bool_]:
        """Which keep every wish. (settings,)"""
        return np.asarray(self.violation.sum(axis=1) <= 0.0)

    def row(self, index: int) -> dict[str, Any]:
        """One setting, as tables list it."""
        setting = self.settings[index]
        names = ("stress_days", "adequacy", "litres", "wet_litres", "wasted", "openings_a_day", "open_hours")
        return {
            "area_m2": float(setting.area),
            "diameter_cm": 200.0 * math.sqrt(setting.area / math.pi),
            "depth_mm": float(setting.depth),
            "refill_l_per_h": float(setting.refill_flow),
            "swing_kg": float(setting.swing),
            "from": self.labels[index],
            **{name: float(getattr(self, name)[index]) for name in names},
            "keeps_all_wishes": bool(self.feasible[index]),
            "missed": [name for name, value in zip(WISHES, self.violation[index], strict=True) if value > 0.0],
        }


WISHES = ("stress_days", "litres", "openings_a_day", "when", "runs_well")


@dataclass(frozen=True)
class Choice:
    """
    The best of some settings.

    Parameters
    ----------
    judged : Judged
        All that were tried.
    best : int
        Its place.
    keeps : bool
        Whether it keeps every wish.
    binding : str
        The wish that stops a setting with less water, or that the best one misses most; empty if none does.
    """

    judged: Judged
    best: int
    keeps: bool
    binding: str


@dataclass(frozen=True)
class ValveSizing:
    """
    One valve's answer.

    Parameters
    ----------
    name : str
    beds : tuple of str
    present : Setting
    choice : Choice
        With the emitters as they are.
    ratios : dict
        Bed -> supply ÷ net demand with the present setting, mean of the years.
    emitters : dict
        Bed -> (present, suggested) count of emitters; empty where the beds can be served together.
    with_emitters : Choice, optional
        With the suggested counts.
    reference : str
        The bed whose emitters stay.
    """

    name: str
    beds: tuple[str, ...]
    present: Setting
    choice: Choice
    ratios: dict[str, float]
    emitters: dict[str, tuple[int, int]]
    with_emitters: Choice | None
    reference: str

    @property
    def advice(self) -> Choice:
        """The choice to build: with other emitters where the beds need them."""
        return self.with_emitters if self.with_emitters is not None else self.choice


@dataclass(frozen=True)
class Sizing(Reported):
    """A garden's answer: years used, and each valve's."""

    room: ClassVar[str] = "size"

    scenario: Scenario
    years: tuple[int, ...]
    valves: dict[str, ValveSizing]
    assumptions: tuple[str, ...]


def size(
    scenario: Scenario | str | Path,
    *,
    weather: Weather | None = None,
    controller: str | None = None,
    step: Step = silent,
) -> Sizing:
    """
    Choose each valve's pan, refill flow and swing.

    Parameters
    ----------
    scenario : Scenario or path
        With its wishes, and what is owned.
    weather : Weather, optional
        Already read; else the scenario's file, all of it.
    controller : str, optional
        Only this one.
    step : callable
        Told the valve and how many parts of how many are done.

    Returns
    -------
    Sizing

    Raises
    ------
    ScenarioError
        No such controller; owned things of which none will do.
    """
    scenario = as_scenario(scenario)
    if controller is not None and controller not in scenario.controller:
        known = f"one of {', '.join(scenario.controller)}"
        problem = Problem("unknown-valve", f"controller.{controller}", "is not in the file", known, value=controller)
        raise ScenarioError(problem, file=str(scenario.path))
    if weather is None:
        weather = read_scenario_weather(scenario)
    described, scenario = scenario, scenario.changed({"fault": []}) if scenario.fault else scenario
    start, end = scenario.season.start, scenario.season.end
    years = years_at_hand(scenario, weather, start, end) or [start.year]
    seasons = {year: replay(in_year(scenario, year), weather=weather) for year in years}
    valves = {}
    for name in scenario.controller:
        if controller in (None, name):
            told = _for_valve(step, name)
            valves[name] = _valve(scenario, name, seasons, told)
    assumptions = list(next(iter(seasons.values())).assumptions)
    if any(supply.kind == "tank" for supply in scenario.supply.values()) and len(scenario.controller) > 1:
        assumptions.insert(0, "each valve is tried with its tank to itself, as if no other drew from it")
    if scenario.owned and len(valves) > 1:
        assumptions.insert(0, "each valve is given its choice of what is owned, as if no other took it")
    if described.fault:
        assumptions.insert(0, "the faults of [[fault]] are left out here: a pan is chosen for a sound garden")
    if len(years) < 10:
        assumptions.insert(
            0,
            f"the record holds {len(years)} season{'s' if len(years) > 1 else ''}: nine years of ten can't be told from "
            "so few, so the worst of them counts",
        )
    return Sizing(scenario, tuple(years), valves, tuple(assumptions))


def _for_valve(step: Step, name: str) -> Callable[[int, int], None]:
    return lambda part, parts: step(f"{name}: {part} of {parts} parts")


def _valve(
    scenario: Scenario,
    name: str,
    seasons: dict[int, Season],
    done: Callable[[int, int], None] | None,
) -> ValveSizing:
    described = scenario.controller[name]
    beds = tuple(described.bed)
    years = [year_forcing(year, season, name) for year, season in seasons.items()]
    first = years[0]
    present = Setting(
        area=described.pan.area,
        depth=described.pan.depth,
        refill_flow=first.forcing.pan_of[name].refill_flow,
        swing=described.valve.swing_kg,
    )
    here = outcomes(years, [present])
    demand = np.array([year.net_demand for year in years]).sum(axis=0)
    supply = np.array([outcome.supply[0] for outcome in here]).sum(axis=0)
    ratios = {
        bed: float(got / needed) if needed > 0.0 else math.inf
        for bed, got, needed in zip(beds, supply, demand, strict=True)
    }
    choice = _search(scenario, name, years, present, np.ones(len(beds)), done)
    emitters, reference = _fair_counts(scenario, name, ratios)
    with_emitters = None
    if emitters:
        factors = np.array([emitters[bed][1] / emitters[bed][0] for bed in beds])
        with_emitters = _search(scenario, name, years, present, factors, done)
        if _rank(with_emitters) >= _rank(choice):  # moving emitters must be worth it
            emitters, with_emitters = {}, None
    return ValveSizing(name, beds, present, choice, ratios, emitters, with_emitters, reference)


def _rank(choice: Choice) -> tuple[float, float]:
    """How far a choice misses the wishes, then its litres; less is better."""
    judged = choice.judged
    return float(judged.violation[choice.best].sum()), float(judged.litres[choice.best])


def _fair_counts(scenario: Scenario, name: str, ratios: dict[str, float]) -> tuple[dict[str, tuple[int, int]], str]:
    """Counts of emitters that would give every bed of a valve the same share of its need; none if they nearly do."""
    finite = {bed: ratio for bed, ratio in ratios.items() if math.isfinite(ratio) and ratio > 0.0}
    beds = scenario.controller[name].bed
    reference = max(beds, key=lambda bed: beds[bed].area)
    if len(finite) < 2 or max(finite.values()) <= _TOGETHER * min(finite.values()):
        return {}, reference

    def counts_beside(fixed: str) -> dict[str, tuple[int, int]]:
        counts = {}
        for bed, described in beds.items():
            count = described.emitters.count
            wanted = count * ratios[fixed] / finite[bed] if bed in finite else count
            counts[bed] = (count, max(round(wanted), 1))
        return counts

    # the bed that stays as it is: the one that leaves fewest emitters to move
    reference = min(finite, key=lambda bed: sum(abs(new - old) for old, new in counts_beside(bed).values()))
    return counts_beside(reference), reference


def _search(
    scenario: Scenario,
    name: str,
    years: Sequence[YearForcing],
    present: Setting,
    factors: Floats,
    done: Callable[[int, int], None] | None,
) -> Choice:
    settings, labels = _layout(scenario, name, present)
    wants_night = scenario.wishes.when == "night"

    def judge(tried: Sequence[Setting], of: Sequence[str], told: Callable[[int, int], None] | None) -> Judged:
        found = outcomes(years, tried, emitter_factors=factors, times=wants_night, done=told)
        return _judged(scenario, tried, of, found)

    judged = judge(settings, labels, done)
    if not any(labels):  # free to choose any pan and flow: look closer around the best, twice
        steps = np.array([_AREA_SPAN ** (2.0 / (_AREAS - 1)), _FLOW_SPAN ** (2.0 / (_FLOWS - 1))])
        for _ in range(2):
            closer = _around(_chosen(judged), steps, scenario.controller[name].pan.freeboard)
            judged = _joined(judged, judge(closer, [""] * len(closer), None))
            steps = steps ** (1.0 / _CLOSER)
    # the swing hardly moves the water: only where openings a day miss the wish is it varied, on the best few
    order = np.lexsort((judged.litres, judged.violation[:, [0, 1, 4]].sum(axis=1)))[:_BEST_FEW]
    missed = [int(i) for i in order if judged.violation[i, 2] > 0.0 or judged.violation[i, 3] > 0.0]
    more: list[Setting] = []
    more_labels: list[str] = []
    for index in missed:
        base = judged.settings[index]
        for factor in _SWINGS:
            swing = _round_swing(base.swing * factor)
            setting = base._replace(swing=swing)
            if factor != 1.0 and _swings(setting, scenario.controller[name].pan.freeboard):
                more.append(setting)
                more_labels.append(judged.labels[index])
    if more:
        judged = _joined(judged, judge(more, more_labels, None))
    return _chosen(judged)


def _around(choice: Choice, steps: Floats, freeboard: float) -> list[Setting]:
    """A finer grid between the best setting's neighbours."""
    best = choice.judged.settings[choice.best]
    factors = [step ** (np.arange(-_CLOSER, _CLOSER + 1) / _CLOSER) for step in steps]
    tried = (
        best._replace(area=best.area * area, refill_flow=best.refill_flow * flow)
        for area, flow in itertools.product(*factors)
        if (area, flow) != (1.0, 1.0)
    )
    return [setting for setting in tried if _swings(setting, freeboard)]


def _round_swing(swing: float) -> float:
    """A swing that a kitchen scale can set: to 10 g, or to 1 g below 100 g."""
    return max(round(swing, 2 if swing >= 0.1 else 3), 0.005)


def _swings(setting: Setting, freeboard: float) -> bool:
    """Whether a pan of this size can lose its swing."""
    return setting.swing <= _MOST_OF_PAN * setting.area * (setting.depth - freeboard)


def _layout(scenario: Scenario, name: str, present: Setting) -> tuple[list[Setting], list[str]]:
    pan = scenario.controller[name].pan
    containers = [part for part in scenario.owned if part.vessels]
    drawer = [part for part in scenario.owned if part.flow is not None]
    pans: list[tuple[float, float, str]] = [
        (present.area * factor, present.depth, "") for factor in np.geomspace(1.0 / _AREA_SPAN, _AREA_SPAN, _AREAS)
    ]
    if containers:
        pans = _combined(containers, pan.freeboard)
        if not pans:
            shallow = f"has containers that are all shallower than the freeboard of {pan.freeboard:g} mm"
            problem = Problem("too-shallow", "owned", shallow, cure="name deeper ones or less freeboard")
            raise ScenarioError(problem, file=str(scenario.path))
    flows: list[tuple[float, str]] = [
        (present.refill_flow * factor, "") for factor in np.geomspace(1.0 / _FLOW_SPAN, _FLOW_SPAN, _FLOWS)
    ]
    if drawer:
        pressure = most_static(scenario.supply[scenario.controller[name].supply])
        flows = []
        for part in drawer:
            assert part.flow is not None
            one = part.flow if part.at is None else float(emitter_flow(pressure, part.flow, part.at, part.exponent))
            for many in range(1, min(part.count, _PARALLEL) + 1):
                flows.append((one * many, part.name if many == 1 else f"{many} × {part.name}"))
    settings, labels = [], []
    for (area, depth, container), (flow, emitter) in itertools.product(pans, flows):
        # a small pan can't lose a large swing
        most = _MOST_OF_PAN * area * (depth - pan.freeboard)
        settings.append(
            Setting(
                area, depth, flow, min(present.swing, _round_swing(most)) if most < present.swing else present.swing
            )
        )
        labels.append(", ".join(text for text in (container, emitter) if text))
    return settings, labels


def _combined(containers: Sequence[Any], freeboard: float) -> list[tuple[float, float, str]]:
    """Each container, several of one kind, and pairs of kinds; a group is as deep as its shallowest."""
    single = []
    for part in containers:
        if part.depth <= freeboard:
            continue
        for many in range(1, part.count + 1):
            single.append(
                (part.area * many, part.depth, part.name if many == 1 else f"{many} × {part.name}", part.name)
            )
    pairs = [
        (a[0] + b[0], min(a[1], b[1]), f"{a[2]} and {b[2]}")
        for a, b in itertools.combinations(single, 2)
        if a[3] != b[3]
    ]
    return [(area, depth, label) for area, depth, label, _ in single] + pairs


def _judged(scenario: Scenario, settings: Sequence[Setting], labels: Sequence[str], found: Sequence[Outcome]) -> Judged:
    wishes = scenario.wishes
    stress = np.array([outcome.stress_days.max(axis=1) for outcome in found])
    adequacy = np.array([outcome.adequacy.min(axis=1) for outcome in found])
    litres = np.array([outcome.litres for outcome in found])
    openings = np.array([outcome.openings_a_day for outcome in found])
    stuck = np.array([outcome.stuck_hours for outcome in found]).max(axis=0)
    dry = np.array([outcome.dry_hours for outcome in found]).max(axis=0)
    daylight = np.array([outcome.daylight_openings for outcome in found]).mean(axis=0)
    stress_days, wet_litres = _nine_in_ten(stress), _nine_in_ten(litres)
    least, most = wishes.openings_a_day
    mean_openings = openings.mean(axis=0)
    violation = np.stack(
        [
            np.maximum(stress_days - wishes.stress_days, 0.0) / max(wishes.stress_days, 1),
            np.zeros(len(settings)) if wishes.litres is None else np.maximum(wet_litres / wishes.litres - 1.0, 0.0),
            np.maximum(mean_openings / most - 1.0, 0.0)
            + (np.maximum(1.0 - mean_openings / least, 0.0) if least > 0.0 else 0.0),
            np.maximum(daylight - _FEW_DAYLIGHT, 0.0) if wishes.when == "night" else np.zeros(len(settings)),
            # a valve that evaporation holds open for more than the odd hour, or a pan that runs dry, is no setting
            np.maximum(stuck - len(found), 0.0) + dry,
        ],
        axis=1,
    )
    return Judged(
        settings=tuple(settings),
        labels=tuple(labels),
        stress_days=stress_days,
        adequacy=adequacy.mean(axis=0),
        litres=litres.mean(axis=0),
        wet_litres=wet_litres,
        wasted=np.array([outcome.wasted for outcome in found]).mean(axis=0),
        openings_a_day=mean_openings,
        open_hours=np.array([outcome.open_hours for outcome in found]).mean(axis=0),
        stuck_hours=stuck,
        dry_hours=dry,
        daylight_openings=daylight,
        violation=violation,
    )


def _nine_in_ten(by_year: Floats) -> Floats:
    """The value not exceeded in nine years of ten; of fewer than ten years, the highest. (settings,)"""
    return np.asarray(np.quantile(by_year, _YEARS_IN_TEN, axis=0, method="higher"))


def _joined(one: Judged, other: Judged) -> Judged:
    merged: dict[str, Any] = {}
    for field in dataclasses.fields(Judged):
        a, b = getattr(one, field.name), getattr(other, field.name)
        merged[field.name] = (*a, *b) if isinstance(a, tuple) else np.concatenate([a, b])
    return Judged(**merged)


def _chosen(judged: Judged) -> Choice:
    missed = judged.violation.sum(axis=1)
    if judged.feasible.any():
        usable = np.where(judged.feasible, judged.litres, np.inf)
        best = int(np.argmin(usable))
        thriftier = judged.litres < judged.litres[best]
        if not thriftier.any():
            return Choice(judged, best, True, "")
        # what stops the thriftiest settings just below this one
        near = np.flatnonzero(thriftier)[np.argsort(-judged.litres[thriftier], kind="stable")][:10]
        worst = (judged.violation[near] > 0.0).sum(axis=0)
        return Choice(judged, best, True, WISHES[int(np.argmax(worst))] if worst.any() else "")
    best = int(np.lexsort((judged.litres, missed))[0])
    return Choice(judged, best, False, WISHES[int(np.argmax(judged.violation[best]))])
