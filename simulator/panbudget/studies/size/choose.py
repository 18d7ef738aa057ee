"""
Sizing: which pan, refill flow and swing suit a valve's beds, over all the years of a record and the user's wishes.

Every setting is stepped through every year by the engine itself (`settings`); here they are laid out, judged and
chosen. Units: m², L/h, kg, litres, mm over a bed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from panbudget.extras import Reported, Step, silent
from panbudget.numeric import Floats
from panbudget.physics.hydraulics import emitter_flow
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.result import Season
from panbudget.season.supplies import most_static
from panbudget.studies.common import Garden, read_data, refusal, seasons_of_record
from panbudget.studies.size.settings import Done, Outcome, Setting, YearForcing, joined, outcomes, year_forcing
from panbudget.weather import Weather

_AREAS, _FLOWS = 21, 19  # settings of the search, the present one in the middle
_AREA_SPAN, _FLOW_SPAN = 4.0, 4.0  # times the present one, to either side
_OTHER_SWINGS = (0.2, 0.35, 0.5, 0.7, 1.4, 2.0, 2.8)  # times the present one
_MOST_OF_PAN = 0.8  # of the pan's water that a swing may take
_YEARS_IN_TEN = 0.9  # model page: nine years of ten
_BEST_FEW = 40  # settings whose swing is then varied
_FEW_DAYLIGHT = 0.05
# beds of one valve whose supply over demand parts by more than this can't be served together; common practice
_TOGETHER = 1.35
_CLOSER = 3  # parts into which a step of the grid is cut when looking closer
_PARALLEL = 3  # refill emitters of one kind side by side, at most
_MEANS = (
    "litres",
    "wasted",
    "openings_a_day",
    "open_hours",
    "starved_hours",
    "daylight_openings",
)  # of an outcome, over the years


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
    open_hours, starved_hours, stuck_hours, dry_hours : ndarray
        A season, mean; mean, without water since the tank is empty; most; most. [h]
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
    starved_hours: Floats
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
        names = (
            "stress_days",
            "adequacy",
            "litres",
            "wet_litres",
            "wasted",
            "openings_a_day",
            "open_hours",
            "starved_hours",
        )
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

    @property
    def rank(self) -> tuple[float, float]:
        """How far it misses the wishes, then its litres; less is better."""
        return float(self.judged.violation[self.best].sum()), float(self.judged.litres[self.best])


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
    """A garden's answer: years used, each valve's, and its first season as described."""

    room: ClassVar[str] = "size"

    scenario: Scenario
    years: tuple[int, ...]
    valves: dict[str, ValveSizing]
    assumptions: tuple[str, ...]
    season: Season


def size(
    scenario: Garden,
    *,
    variants: Sequence[str] = (),
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
    variants : sequence of str, optional
        Laid over it in order: names of its own, or files such as `fitted.toml`.
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
    scenario = as_scenario(scenario, variants)
    if controller is not None and controller not in scenario.controller:
        unknown = ("unknown-valve", f"controller.{controller}", "is not in the file")
        raise refusal(scenario, *unknown, expected=f"one of {', '.join(scenario.controller)}", value=controller)
    sound = scenario.changed({"fault": []})
    seasons, left_out = seasons_of_record(sound, weather)
    count, several = len(seasons), len(scenario.controller) > 1
    valves = {name: _valve(sound, name, seasons, step) for name in scenario.controller if controller in (None, name)}
    applies = {
        "few_years": count < 10,
        "faults": scenario.fault,
        "owned": scenario.owned and len(valves) > 1,
        "tank": several and any(supply.kind == "tank" for supply in scenario.supply.values()),
    }
    texts, years = read_data("size/size")["assumptions"], f"{count} season{'s' if count > 1 else ''}"
    assumptions = [texts[key].format(seasons=years) for key, holds in applies.items() if holds]
    first = next(iter(seasons.values()))
    return Sizing(sound, tuple(seasons), valves, (*assumptions, *left_out, *first.assumptions), first)


def _valve(scenario: Scenario, name: str, seasons: dict[int, Season], step: Step) -> ValveSizing:
    def done(part: int, parts: int) -> None:
        step(f"{name}: {part} of {parts} parts")

    described = scenario.controller[name]
    beds = tuple(described.bed)
    years = [year_forcing(season, name) for season in seasons.values()]
    refill_flow = years[0].forcing.pan_of[name].refill_flow
    present = Setting(described.pan.area, described.pan.depth, refill_flow, described.valve.swing_kg)
    demand = np.array([year.net_demand for year in years]).sum(axis=0)
    supply = np.array([outcome.supply[0] for outcome in outcomes(years, [present])]).sum(axis=0)
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
        if with_emitters.rank >= choice.rank:  # moving emitters must be worth it
            emitters, with_emitters = {}, None
    return ValveSizing(name, beds, present, choice, ratios, emitters, with_emitters, reference)


def _fair_counts(scenario: Scenario, name: str, ratios: dict[str, float]) -> tuple[dict[str, tuple[int, int]], str]:
    """Counts of emitters that would give every bed of a valve the same share of its need; none if they nearly do."""
    finite = {bed: ratio for bed, ratio in ratios.items() if math.isfinite(ratio) and ratio > 0.0}
    beds = scenario.controller[name].bed
    if len(finite) < 2 or max(finite.values()) <= _TOGETHER * min(finite.values()):
        return {}, max(beds, key=lambda bed: beds[bed].area)

    def counts_beside(fixed: str) -> dict[str, tuple[int, int]]:
        counts = {bed: described.emitters.count for bed, described in beds.items()}
        share = {bed: ratios[fixed] / finite[bed] if bed in finite else 1.0 for bed in beds}
        return {bed: (count, max(round(count * share[bed]), 1)) for bed, count in counts.items()}

    # the bed that stays as it is: the one that leaves fewest emitters to move
    reference = min(finite, key=lambda bed: sum(abs(new - old) for old, new in counts_beside(bed).values()))
    return counts_beside(reference), reference


def _search(
    scenario: Scenario, name: str, years: Sequence[YearForcing], present: Setting, factors: Floats, done: Done
) -> Choice:
    freeboard = scenario.controller[name].pan.freeboard

    def judge(tried: Sequence[Setting], labels: Sequence[str], told: Done | None = None) -> Judged:
        found = outcomes(years, tried, emitter_factors=factors, times=scenario.wishes.when == "night", done=told)
        return _judged(scenario, tried, labels, found)

    judged = judge(*_layout(scenario, name, present), done)
    if not any(judged.labels):  # free to choose any pan and flow: look closer around the best, twice
        steps = np.array([_AREA_SPAN ** (2.0 / (_AREAS - 1)), _FLOW_SPAN ** (2.0 / (_FLOWS - 1))])
        for _ in range(2):
            closer = _around(_chosen(judged), steps, freeboard)
            judged = joined(judged, judge(closer, [""] * len(closer)))
            steps = steps ** (1.0 / _CLOSER)
    # the swing hardly moves the water: only where openings a day miss the wish is it varied, on the best few
    order = np.lexsort((judged.litres, judged.violation[:, [0, 1, 4]].sum(axis=1)))[:_BEST_FEW]
    more = [
        (setting, judged.labels[index])
        for index in order[(judged.violation[order, 2:4] > 0.0).any(axis=1)]
        for setting in _with_other_swings(judged.settings[index])
        if _swings(setting, freeboard)
    ]
    if more:
        judged = joined(judged, judge([setting for setting, _ in more], [label for _, label in more]))
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


def _with_other_swings(setting: Setting) -> list[Setting]:
    return [setting._replace(swing=_round_swing(setting.swing * times)) for times in _OTHER_SWINGS]


def _round_swing(swing: float) -> float:
    """A swing that a kitchen scale can set: to 10 g, or to 1 g below 100 g."""
    return max(round(swing, 2 if swing >= 0.1 else 3), 0.005)


def _swings(setting: Setting, freeboard: float) -> bool:
    """Whether a pan of this size can lose its swing."""
    return setting.swing <= _MOST_OF_PAN * setting.area * (setting.depth - freeboard)


def _layout(scenario: Scenario, name: str, present: Setting) -> tuple[list[Setting], list[str]]:
    """Settings to search, and what each is built from: of what is owned, or a grid around the present one."""
    freeboard = scenario.controller[name].pan.freeboard
    containers = [part for part in scenario.owned if part.vessels]
    pans = [(present.area * factor, present.depth, "") for factor in np.geomspace(1.0 / _AREA_SPAN, _AREA_SPAN, _AREAS)]
    if containers:
        pans = _combined(containers, freeboard)
        if not pans:
            shallow = f"has containers that are all shallower than the freeboard of {freeboard:g} mm"
            raise refusal(scenario, "too-shallow", "owned", shallow, "name deeper ones or less freeboard")
    flows = [(present.refill_flow * factor, "") for factor in np.geomspace(1.0 / _FLOW_SPAN, _FLOW_SPAN, _FLOWS)]
    emitters = [(part, part.flow) for part in scenario.owned if part.flow is not None]
    if emitters:
        pressure = most_static(scenario.supply[scenario.controller[name].supply])
        flows = [
            (many * (flow if part.at is None else float(emitter_flow(pressure, flow, part.at, part.exponent))), label)
            for part, flow in emitters
            for many, label in _several(part.name, min(part.count, _PARALLEL))
        ]
    settings, labels = [], []
    for (area, depth, container), (flow, emitter) in itertools.product(pans, flows):
        # a small pan can't lose a large swing
        most = _MOST_OF_PAN * area * (depth - freeboard)
        swing = min(present.swing, _round_swing(most)) if most < present.swing else present.swing
        settings.append(Setting(area, depth, flow, swing))
        labels.append(", ".join(text for text in (container, emitter) if text))
    return settings, labels


def _several(name: str, count: int) -> list[tuple[int, str]]:
    """One of a thing at hand, and several of it side by side: how many, and what that is called."""
    return [(many, name if many == 1 else f"{many} × {name}") for many in range(1, count + 1)]


def _combined(containers: Sequence[Any], freeboard: float) -> list[tuple[float, float, str]]:
    """Each container, several of one kind, and pairs of kinds; a group is as deep as its shallowest."""
    single = [
        (part.area * many, part.depth, label, part.name)
        for part in containers
        if part.depth > freeboard
        for many, label in _several(part.name, part.count)
    ]
    pairs = [
        (a[0] + b[0], min(a[1], b[1]), f"{a[2]} and {b[2]}")
        for a, b in itertools.combinations(single, 2)
        if a[3] != b[3]
    ]
    return [group[:3] for group in single] + pairs


def _judged(scenario: Scenario, settings: Sequence[Setting], labels: Sequence[str], found: Sequence[Outcome]) -> Judged:
    wishes, none = scenario.wishes, np.zeros(len(settings))
    by_year = {name: np.array([getattr(outcome, name) for outcome in found]) for name in vars(found[0])}
    means = {name: by_year[name].mean(axis=0) for name in _MEANS}
    worst = {name: by_year[name].max(axis=0) for name in ("stuck_hours", "dry_hours")}
    stress_days, wet_litres = _nine_in_ten(by_year["stress_days"].max(axis=2)), _nine_in_ten(by_year["litres"])
    (least, most), often = wishes.openings_a_day, means["openings_a_day"]
    missed = {
        "stress_days": np.maximum(stress_days - wishes.stress_days, 0.0) / max(wishes.stress_days, 1),
        "litres": none if wishes.litres is None else np.maximum(wet_litres / wishes.litres - 1.0, 0.0),
        "openings_a_day": np.maximum(often / most - 1.0, 0.0)
        + (np.maximum(1.0 - often / least, 0.0) if least > 0.0 else 0.0),
        "when": np.maximum(means["daylight_openings"] - _FEW_DAYLIGHT, 0.0) if wishes.when == "night" else none,
        # a valve that evaporation holds open for more than the odd hour, or a pan that runs dry, is no setting
        "runs_well": np.maximum(worst["stuck_hours"] - len(found), 0.0) + worst["dry_hours"],
    }
    return Judged(
        settings=tuple(settings),
        labels=tuple(labels),
        stress_days=stress_days,
        adequacy=by_year["adequacy"].min(axis=2).mean(axis=0),
        wet_litres=wet_litres,
        violation=np.stack([missed[wish] for wish in WISHES], axis=1),
        **means,
        **worst,
    )


def _nine_in_ten(by_year: Floats) -> Floats:
    """The value not exceeded in nine years of ten; of fewer than ten years, the highest. (settings,)"""
    return np.asarray(np.quantile(by_year, _YEARS_IN_TEN, axis=0, method="higher"))


def _chosen(judged: Judged) -> Choice:
    if not judged.feasible.any():
        best = int(np.lexsort((judged.litres, judged.violation.sum(axis=1)))[0])
        return Choice(judged, best, False, WISHES[int(np.argmax(judged.violation[best]))])
    best = int(np.argmin(np.where(judged.feasible, judged.litres, np.inf)))
    # what stops the thriftiest settings just below this one
    thriftier = np.flatnonzero(judged.litres < judged.litres[best])
    near = thriftier[np.argsort(-judged.litres[thriftier], kind="stable")][:10]
    worst = (judged.violation[near] > 0.0).sum(axis=0)
    return Choice(judged, best, True, WISHES[int(np.argmax(worst))] if worst.any() else "")
