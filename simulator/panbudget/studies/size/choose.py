"""
Sizing: which pan, refill flow, swing and emitters suit a valve's beds, over all the years of a record and over what is
uncertain, by the user's wishes.

Every setting is stepped through every year and draw by the engine itself (`settings`): first the whole grid over a few
draws, then a shortlist over all of them. Here they are laid out, judged and chosen. A cell is a year with a draw.
Units: m², L/h, kg, litres, mm over a bed.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from panbudget.engine.compiled import has_compiler
from panbudget.extras import Reported, Step, silent
from panbudget.numeric import Floats, Ints
from panbudget.physics.hydraulics import emitter_flow
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.result import Season
from panbudget.season.supplies import most_static
from panbudget.studies.common import Garden, read_data, refusal, seasons_of_record
from panbudget.studies.ranges import DRAWS, SCAN, ValveFactors, around, drawn_factors, ranges_of, valve_factors
from panbudget.studies.size.settings import Done, Outcome, Setting, YearForcing, joined, outcomes, year_forcing
from panbudget.weather import Weather

_AREAS, _FLOWS = 21, 19  # settings of the search, the present one in the middle
_AREA_SPAN, _FLOW_SPAN = 4.0, 4.0  # times the present one, to either side
_OTHER_SWINGS = (0.2, 0.35, 0.5, 0.7, 1.4, 2.0, 2.8)  # times the present one
_OTHER_COUNTS = (0.5, 0.7, 1.4, 2.0)  # times the present emitters, where pan and refill are what is owned
_MOST_OF_PAN = 0.8  # of the pan's water that a swing may take
#: draws of the judgement; and of the search before it, and how many cells it has at least: through a compiler, or not
_DRAWS = {True: (DRAWS[True], 8, 64), False: (DRAWS[False], 2, 3)}
_SAFETIES = (-0.05, -0.02, 0.0, 0.02, 0.05)  # beside the share asked for: the shortlist holds some of each
_OF_EACH = 8  # settings of the shortlist at each of them
_FEW_DAYLIGHT = 0.05
# what is too near to tell settings apart: share of the water, openings a day; common practice. Mean days short: as many
# as the wish allows, and one at least
_ALIKE_WATER, _ALIKE_OPENINGS = 0.02, 0.25
# beds of one valve whose supply over demand parts by more than this can't be served together; common practice
_TOGETHER = 1.35
_CLOSER = 3  # parts into which a step of the grid is cut when looking closer
_PARALLEL = 3  # refill emitters of one kind side by side, at most
_MEANS = ("litres", "wasted", "openings_a_day", "open_hours", "starved_hours", "daylight_openings")
WISHES = ("stress_days", "litres", "openings_a_day", "when")


@dataclass(frozen=True)
class Judged:
    """
    Settings over all cells, the described one first; arrays (settings,).

    Parameters
    ----------
    settings : tuple of Setting
    share : ndarray
        Of the cells in which every wish is kept. [-]
    missed : ndarray (settings, wishes)
        Share of the cells in which a wish is missed. [-]
    stress_days, wet_litres : ndarray
        Neediest bed's driest quarter, and a season's litres, not exceeded in the share of cells that is asked for.
    mean_stress : ndarray
        The same days, mean of the cells.
    adequacy : ndarray
        ETa ÷ ETc of the neediest bed, mean of the cells. [-]
    litres, wasted : ndarray
        A season, mean. [L]
    openings_a_day : ndarray
        Hottest week, mean.
    open_hours, starved_hours, stuck_hours, dry_hours : ndarray
        A season, mean; mean, without water since the tank is empty; most; most. [h]
    daylight_openings : ndarray
        Share of openings in daylight. [-]
    """

    settings: tuple[Setting, ...]
    share: Floats
    missed: Floats
    stress_days: Floats
    wet_litres: Floats
    mean_stress: Floats
    adequacy: Floats
    litres: Floats
    wasted: Floats
    openings_a_day: Floats
    open_hours: Floats
    starved_hours: Floats
    stuck_hours: Floats
    dry_hours: Floats
    daylight_openings: Floats


@dataclass(frozen=True)
class Choice:
    """
    The best of some settings.

    Parameters
    ----------
    judged : Judged
        All that were tried; the described one is the first.
    best : int
        Its place.
    keeps : bool
        Whether it keeps every wish in the share of cells that is asked for.
    binding : str
        The wish that stops a setting with less water, or that the best one misses most; empty if none does.
    equal : tuple of int
        Settings that can't be told from it, of which it is the simplest.
    """

    judged: Judged
    best: int
    keeps: bool
    binding: str
    equal: tuple[int, ...] = ()

    @property
    def worse(self) -> bool:
        """Whether it leaves the plants short of water for longer than the described one, in the mean of the cells."""
        stress = self.judged.mean_stress
        return bool(stress[self.best] > stress[0] + 1e-9)


@dataclass(frozen=True)
class Margin:
    """
    Between which factors no bed falls below its wish, the rest as described; None where one does already.

    Parameters
    ----------
    exposure, refill_flow : (float, float), optional
        On the pan's evaporation and on the refill flow. [-]
    """

    exposure: tuple[float, float] | None
    refill_flow: tuple[float, float] | None


@dataclass(frozen=True)
class ValveSizing:
    """
    One valve's answer.

    Parameters
    ----------
    name : str
    counts : dict
        Bed -> emitters as described.
    written_flow : float
        Refill flow as the person wrote it, at the pressure that they wrote. [L/h]
    tried : Judged
        The whole search, over a few draws.
    choice : Choice
        Of the shortlist, over all draws.
    ratios : dict
        Bed -> supply ÷ net demand as described, of all years.
    margins : dict
        "described" and "best" -> Margin.
    interval : float
        Share of the cells in which the wishes are to be kept. [-]
    """

    name: str
    counts: dict[str, int]
    written_flow: float
    tried: Judged
    choice: Choice
    ratios: dict[str, float]
    margins: dict[str, Margin]
    interval: float

    @property
    def present(self) -> Setting:
        """The described setting."""
        return self.choice.judged.settings[0]

    @property
    def best(self) -> Setting:
        """The recommended setting."""
        return self.choice.judged.settings[self.choice.best]

    def emitters_of(self, setting: Setting) -> dict[str, int]:
        """Return each bed's count of emitters."""
        factors = setting.emitters or (1.0,) * len(self.counts)
        return {bed: round(count * factor) for (bed, count), factor in zip(self.counts.items(), factors, strict=True)}

    def flow_of(self, setting: Setting) -> float:
        """Return a refill flow at the pressure that the person wrote. [L/h]"""
        return _digits(self.written_flow * setting.refill_flow / self.present.refill_flow)

    def row(self, index: int, judged: Judged | None = None) -> dict[str, Any]:
        """Return one setting, as tables list it."""
        judged = judged or self.choice.judged
        setting = judged.settings[index]
        numbers = [name for name in vars(judged) if name not in ("settings", "missed", "daylight_openings")]
        return {
            "area_m2": float(setting.area),
            "diameter_cm": 200.0 * math.sqrt(setting.area / math.pi),
            "depth_mm": float(setting.depth),
            "refill_l_per_h": self.flow_of(setting),
            "swing_kg": float(setting.swing),
            "emitters": self.emitters_of(setting),
            "from": setting.label,
            **{name: float(getattr(judged, name)[index]) for name in numbers},
            "missed": {name: float(share) for name, share in zip(WISHES, judged.missed[index], strict=True) if share},
        }


@dataclass(frozen=True)
class Sizing(Reported):
    """
    A garden's answer.

    Parameters
    ----------
    scenario : Scenario
    years : tuple of int
        All usable ones.
    draws : int
        Over the scenario's ranges, each in every year.
    interval : float
        Share of the cells in which the wishes are to be kept. [-]
    ranges : dict
        Over what was drawn.
    valves : dict of ValveSizing
    assumptions : tuple of str
    season : Season
        Its first as described.
    """

    room: ClassVar[str] = "size"

    scenario: Scenario
    years: tuple[int, ...]
    draws: int
    interval: float
    ranges: dict[str, tuple[float, float]]
    valves: dict[str, ValveSizing]
    assumptions: tuple[str, ...]
    season: Season


@dataclass(frozen=True)
class _Search:
    """One valve's years and draws, and what its settings are judged by."""

    scenario: Scenario
    name: str
    years: Sequence[YearForcing]
    present: Setting
    draws: ValveFactors
    done: Done

    @property
    def interval(self) -> float:
        return self.scenario.uncertainty.interval

    @property
    def freeboard(self) -> float:
        return self.scenario.controller[self.name].pan.freeboard

    def judge(self, tried: Sequence[Setting], draws: ValveFactors, beside: Judged | None = None) -> Judged:
        """Judge settings, beside others judged already or the described one, which comes first."""
        known = () if beside is None else beside.settings
        settings = [each for each in dict.fromkeys([self.present, *tried]) if each not in known]
        if not settings and beside is not None:
            return beside
        night = self.scenario.wishes.when == "night"
        found = outcomes(self.years, settings, draws=draws, times=night, done=self.done)
        judged = _judged(self.scenario, settings, found)
        return judged if beside is None else joined(beside, judged)

    def few(self, count: int) -> ValveFactors:
        """Return so many of the draws, spread evenly from what brings the beds little water to what brings much."""
        draws = self.draws
        order = np.argsort(draws.exposure / draws.refill_flow * draws.emitters.mean(axis=1), kind="stable")
        chosen = order[((np.arange(count) + 0.5) / count * len(order)).astype(int)]
        if count < 3:  # the dry end, and the middle
            chosen = order[[len(order) // 20, len(order) // 2][:count]]
        return ValveFactors(*(part[chosen] for part in draws))


def size(
    scenario: Garden,
    *,
    variants: Sequence[str] = (),
    weather: Weather | None = None,
    controller: str | None = None,
    step: Step = silent,
) -> Sizing:
    """
    Choose each valve's pan, refill flow, swing and emitters.

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
    names = [name for name in scenario.controller if controller in (None, name)]
    valves = {name: _valve(sound, name, seasons, step) for name in names}
    applies = {
        "few_years": count < 10,
        "faults": scenario.fault,
        "owned": scenario.owned and len(valves) > 1,
        "tank": several and any(supply.kind == "tank" for supply in scenario.supply.values()),
    }
    texts, years = read_data("size/size")["assumptions"], f"{count} season{'s' if count > 1 else ''}"
    assumptions = [texts[key].format(seasons=years) for key, holds in applies.items() if holds]
    first = next(iter(seasons.values()))
    rules, draws = sound.uncertainty, _DRAWS[has_compiler()][0]
    about = (*assumptions, *left_out, *first.assumptions)
    return Sizing(sound, tuple(seasons), draws, rules.interval, ranges_of(sound), valves, about, first)


def _valve(scenario: Scenario, name: str, seasons: dict[int, Season], step: Step) -> ValveSizing:
    def done(part: int, parts: int) -> None:
        step(f"{name}: {part} of {parts} parts")

    described = scenario.controller[name]
    counts = {bed: planted.emitters.count for bed, planted in described.bed.items()}
    years = [year_forcing(season, name) for season in seasons.values()]
    refill_flow = years[0].forcing.pan_of[name].refill_flow
    present = Setting(described.pan.area, described.pan.depth, refill_flow, described.valve.swing_kg)
    demand = np.array([year.net_demand for year in years]).sum(axis=0)
    supply = np.array([outcome.supply[0, 0] for outcome in outcomes(years, [present])]).sum(axis=0)
    ratios = {
        bed: float(got / needed) if needed > 0.0 else math.inf
        for bed, got, needed in zip(counts, supply, demand, strict=True)
    }
    count, few, cells = _DRAWS[has_compiler()]
    draws = valve_factors(scenario, name, drawn_factors(scenario, count))
    search = _Search(scenario, name, years, present, draws, done)
    written = described.valve.refill.flow
    tried = _tried(search, ratios, search.few(min(max(few, math.ceil(cells / len(years))), count)))
    shortlist = [_printable(each, present, written) for each in _shortlist(tried, scenario)]
    choice = _chosen(search.judge(shortlist, draws), scenario)
    pair = [present, choice.judged.settings[choice.best]]
    margins = dict(zip(("described", "best"), _margins(search, pair), strict=True))
    return ValveSizing(name, counts, written, tried, choice, ratios, margins, search.interval)


def _fair_counts(counts: dict[str, int], ratios: dict[str, float]) -> dict[str, int]:
    """Counts of emitters that would give every bed of a valve the same share of its need; none if they nearly do."""
    finite = {bed: ratio for bed, ratio in ratios.items() if math.isfinite(ratio) and ratio > 0.0}
    if len(finite) < 2 or max(finite.values()) <= _TOGETHER * min(finite.values()):
        return {}

    def counts_beside(fixed: str) -> dict[str, int]:
        share = {bed: ratios[fixed] / finite[bed] if bed in finite else 1.0 for bed in counts}
        return {bed: max(round(count * share[bed]), 1) for bed, count in counts.items()}

    # the bed that stays as it is: the one that leaves fewest emitters to move
    every = [counts_beside(bed) for bed in finite]
    return min(every, key=lambda moved: sum(abs(moved[bed] - count) for bed, count in counts.items()))


def _layouts(scenario: Scenario, name: str, ratios: dict[str, float]) -> list[tuple[float, ...]]:
    """Emitters to try, as factors on the described counts; none stands for as they are."""
    counts = {bed: planted.emitters.count for bed, planted in scenario.controller[name].bed.items()}
    fair = _fair_counts(counts, ratios)
    layouts = [counts, *([fair] if fair else [])]
    if {bool(part.vessels) for part in scenario.owned} == {True, False}:  # only the emitters are free
        layouts += [
            {bed: max(round(times * count), 1) for bed, count in layout.items()}
            for layout in list(layouts)
            for times in _OTHER_COUNTS
        ]
    factors = [tuple(layout[bed] / count for bed, count in counts.items()) for layout in layouts]
    return list(dict.fromkeys(() if set(each) == {1.0} else each for each in factors))


def _tried(search: _Search, ratios: dict[str, float], draws: ValveFactors) -> Judged:
    """The whole search, over a few draws."""
    present = search.present
    tried = _layout(search.scenario, search.name, present, _layouts(search.scenario, search.name, ratios))
    judged = search.judge(tried, draws)
    # the swing hardly moves the water, but it says how often the valve opens and how soon it answers: varied on those
    # that are best if openings are left aside
    aside = dataclasses.replace(judged, share=1.0 - judged.missed[:, :2].max(axis=1))
    more = [other for setting in _shortlist(aside, search.scenario) for other in _with_other_swings(setting)]
    judged = search.judge([setting for setting in more if _swings(setting, search.freeboard)], draws, judged)
    kinds = {bool(part.vessels) for part in search.scenario.owned}  # what is owned is no matter of degree
    steps = np.array([_AREA_SPAN ** (2.0 / (_AREAS - 1)), _FLOW_SPAN ** (2.0 / (_FLOWS - 1))])
    steps = np.where([True in kinds, False in kinds], 1.0, steps)
    for _ in range(2 if (steps > 1.0).any() else 0):  # look closer around the best, twice
        best = judged.settings[_chosen(judged, search.scenario).best]
        judged = search.judge(_around(best, present, steps, search.freeboard), draws, judged)
        steps = steps ** (1.0 / _CLOSER)
    return judged


def _around(best: Setting, present: Setting, steps: Floats, freeboard: float) -> list[Setting]:
    """A finer grid between the best setting's neighbours, and the described pan with as much refill for its area."""
    areas, flows = (step ** (np.arange(-_CLOSER, _CLOSER + 1) / _CLOSER) for step in steps.tolist())
    tried = [
        best._replace(area=best.area * area, refill_flow=best.refill_flow * flow)
        for area, flow in itertools.product(areas.tolist(), flows.tolist())
    ]
    if steps[0] > 1.0:
        same = best._replace(area=present.area, depth=present.depth)
        tried += [same._replace(refill_flow=present.area * best.refill_flow / best.area * flow) for flow in flows]
    return [setting for setting in dict.fromkeys(tried) if _swings(setting, freeboard)]


def _printable(setting: Setting, present: Setting, written: float) -> Setting:
    """Round a setting to what is printed, so that what is judged is what is read; what is described stays."""
    area, per_written = setting.area, present.refill_flow / written
    if not setting.label and not math.isclose(area, present.area):
        area = _digits(area)
    flow = setting.refill_flow
    flow = present.refill_flow if math.isclose(flow, present.refill_flow) else _digits(flow / per_written) * per_written
    return setting._replace(area=area, refill_flow=flow)


def _digits(value: float) -> float:
    return float(f"{value:.3g}")


def _with_other_swings(setting: Setting) -> list[Setting]:
    return [setting._replace(swing=_round_swing(setting.swing * times)) for times in _OTHER_SWINGS]


def _round_swing(swing: float) -> float:
    """A swing that a kitchen scale can set: to 10 g, or to 1 g below 100 g."""
    return max(round(swing, 2 if swing >= 0.1 else 3), 0.005)


def _swings(setting: Setting, freeboard: float) -> bool:
    """Whether a pan of this size can lose its swing."""
    return setting.swing <= _MOST_OF_PAN * setting.area * (setting.depth - freeboard)


def _layout(
    scenario: Scenario, name: str, present: Setting, layouts: Sequence[tuple[float, ...]] = ((),)
) -> list[Setting]:
    """Settings to search: of what is owned, or a grid around the present one; each with every layout of emitters."""
    freeboard = scenario.controller[name].pan.freeboard
    containers = [part for part in scenario.owned if part.vessels]
    factors = np.geomspace(1.0 / _AREA_SPAN, _AREA_SPAN, _AREAS).tolist()
    pans = [(present.area * factor, present.depth, "", 0) for factor in factors]
    if containers:
        pans = _combined(containers, freeboard)
        if not pans:
            shallow = f"has containers that are all shallower than the freeboard of {freeboard:g} mm"
            raise refusal(scenario, "too-shallow", "owned", shallow, "name deeper ones or less freeboard")
    factors = np.geomspace(1.0 / _FLOW_SPAN, _FLOW_SPAN, _FLOWS).tolist()
    flows = [(present.refill_flow * factor, "", 0) for factor in factors]
    emitters = [(part, part.flow) for part in scenario.owned if part.flow is not None]
    if emitters:
        pressure = most_static(scenario.supply[scenario.controller[name].supply])
        flows = [
            (
                many * (flow if part.at is None else float(emitter_flow(pressure, flow, part.at, part.exponent))),
                label,
                many - 1,
            )
            for part, flow in emitters
            for many, label in _several(part.name, min(part.count, _PARALLEL))
        ]
    settings = []
    for (area, depth, container, vessels), (flow, emitter, more) in itertools.product(pans, flows):
        # a small pan can't lose a large swing
        most = _MOST_OF_PAN * area * (depth - freeboard)
        swing = min(present.swing, _round_swing(most)) if most < present.swing else present.swing
        label = ", ".join(text for text in (container, emitter) if text)
        settings += [Setting(area, depth, flow, swing, layout, label, vessels + more) for layout in layouts]
    return settings


def _several(name: str, count: int) -> list[tuple[int, str]]:
    """One of a thing at hand, and several of it side by side: how many, and what that is called."""
    return [(many, name if many == 1 else f"{many} × {name}") for many in range(1, count + 1)]


def _combined(containers: Sequence[Any], freeboard: float) -> list[tuple[float, float, str, int]]:
    """Each container, several of one kind, and pairs of kinds; a group is as deep as its shallowest."""
    single = [
        (part.area * many, part.depth, label, many - 1, part.name)
        for part in containers
        if part.depth > freeboard
        for many, label in _several(part.name, part.count)
    ]
    pairs = [
        (a[0] + b[0], min(a[1], b[1]), f"{a[2]} and {b[2]}", a[3] + b[3] + 1)
        for a, b in itertools.combinations(single, 2)
        if a[4] != b[4]
    ]
    return [group[:4] for group in single] + pairs


def _judged(scenario: Scenario, settings: Sequence[Setting], found: Sequence[Outcome]) -> Judged:
    wishes = scenario.wishes
    cells = {name: np.concatenate([getattr(each, name) for each in found], axis=1) for name in vars(found[0])}
    stress, often = cells["stress_days"].max(axis=2), cells["openings_a_day"]
    none, (least, most) = np.zeros(stress.shape, bool), wishes.openings_a_day
    missed = {
        "stress_days": stress > wishes.stress_days,
        "litres": none if wishes.litres is None else cells["litres"] > wishes.litres,
        "openings_a_day": (often < least) | (often > most),
        "when": cells["daylight_openings"] > _FEW_DAYLIGHT if wishes.when == "night" else none,
    }
    by_wish = np.stack([missed[wish] for wish in WISHES], axis=2)
    return Judged(
        settings=tuple(settings),
        share=1.0 - by_wish.any(axis=2).mean(axis=1),
        missed=by_wish.mean(axis=1),
        stress_days=_mostly(stress, scenario.uncertainty.interval),
        wet_litres=_mostly(cells["litres"], scenario.uncertainty.interval),
        mean_stress=stress.mean(axis=1),
        adequacy=cells["adequacy"].min(axis=2).mean(axis=1),
        **{name: cells[name].mean(axis=1) for name in _MEANS},
        **{name: cells[name].max(axis=1) for name in ("stuck_hours", "dry_hours")},
    )


def _mostly(cells: Floats, share: float) -> Floats:
    """The value not exceeded in this share of the cells; of few cells, the highest. (settings, cells) -> (settings,)"""
    return np.asarray(np.quantile(cells, share, axis=1, method="higher"))


def _alike_days(scenario: Scenario) -> float:
    """Days short that no one would mind: as many as the wish allows, and one at least."""
    return float(max(scenario.wishes.stress_days, 1))


def _ranked(judged: Judged, least: float, days: float) -> Ints:
    """Settings as the rule would have them, each next best: the share, up to the one asked for; the stress; the water."""
    share = np.minimum(judged.share, least)
    stress = judged.mean_stress - judged.mean_stress[share >= share.max()].min()
    return np.lexsort((judged.litres, np.maximum(stress - days, 0.0), -share))


def _shortlist(judged: Judged, scenario: Scenario) -> list[Setting]:
    """The best few at several degrees of safety, for a few draws do not tell the shares well."""
    chosen: dict[int, None] = {}
    for more in _SAFETIES:
        least = min(scenario.uncertainty.interval + more, 1.0)
        ranked = _ranked(judged, least, _alike_days(scenario)).tolist()
        chosen |= dict.fromkeys([index for index in ranked if index not in chosen][:_OF_EACH])
    return [judged.settings[index] for index in chosen]


def _changes(setting: Setting, present: Setting) -> int:
    """How much of the described valve a setting changes, and of how many things at hand it is pieced together."""
    pan = (setting.area, setting.depth) != (present.area, present.depth)
    others = (setting.refill_flow != present.refill_flow, setting.swing != present.swing, bool(setting.emitters))
    return int(pan) + sum(others) + setting.pieces


def _chosen(judged: Judged, scenario: Scenario) -> Choice:
    """The rule, in its order: `reports/size/texts.toml` prints it."""
    interval, openings = scenario.uncertainty.interval, scenario.wishes.openings_a_day
    highest, stress, litres = judged.share.max(), judged.mean_stress, judged.litres
    keeps = bool(highest >= interval)
    alike = np.flatnonzero(judged.share >= (interval if keeps else highest))
    least = stress[alike].min()
    # never above the described one for being nearly as good
    alike = alike[stress[alike] <= np.clip(stress[0], least, least + _alike_days(scenario))]
    alike = alike[litres[alike] <= (1.0 + _ALIKE_WATER) * litres[alike].min()]
    often = judged.openings_a_day[alike]
    off = np.maximum(openings[0] - often, 0.0) + np.maximum(often - openings[1], 0.0)
    alike = alike[off <= off.min() + _ALIKE_OPENINGS]
    changes = [_changes(judged.settings[index], judged.settings[0]) for index in alike]
    best, *equal = alike[np.lexsort((litres[alike], changes))].tolist()
    if not keeps:
        return Choice(judged, best, False, WISHES[int(np.argmax(judged.missed[best]))], tuple(equal))
    # what stops the thriftiest settings just below this one
    thriftier = np.flatnonzero(litres < litres[best])
    near = thriftier[np.argsort(-litres[thriftier], kind="stable")][:10]
    stops = (judged.missed[near] > 1.0 - interval).sum(axis=0)
    return Choice(judged, best, True, WISHES[int(np.argmax(stops))] if stops.any() else "", tuple(equal))


def _margins(search: _Search, settings: Sequence[Setting]) -> list[Margin]:
    """How far the pan's evaporation and the refill flow may be off, one at a time, the rest as described."""
    count, beds = len(SCAN), search.draws.emitters.shape[1]
    same = np.ones(count)
    scans = np.concatenate([SCAN, same]), np.concatenate([same, SCAN])
    draws = ValveFactors(*scans, np.ones(2 * count), np.ones((2 * count, beds)))
    found = outcomes(search.years, settings, draws=draws, done=search.done)
    by_year = np.stack([outcome.stress_days.max(axis=2) for outcome in found])
    days = np.quantile(by_year, search.interval, axis=0, method="higher")
    holds: npt.NDArray[np.bool_] = days <= search.scenario.wishes.stress_days
    at = SCAN.tolist()
    return [
        Margin(*(around(dict(zip(at, part, strict=True)).__getitem__, SCAN) for part in row.reshape(2, count).tolist()))
        for row in holds
    ]
