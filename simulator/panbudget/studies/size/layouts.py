"""
Layouts: which settings are tried for a valve, a grid around the described one or what is owned, and emitters by bed.

Units: m², L/h, kg, mm.
"""

import itertools
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from panbudget.numeric import Floats
from panbudget.physics.hydraulics import emitter_flow
from panbudget.scenario.garden import Scenario
from panbudget.season.supplies import most_static
from panbudget.studies.common import refusal
from panbudget.studies.size.settings import Setting
from panbudget.words import SHOWN

_AREAS, _FLOWS = 21, 19  # settings of the search, the present one in the middle
_SPAN = 4.0  # times the present pan and flow, to either side
_OTHER_SWINGS = (0.2, 0.35, 0.5, 0.7, 1.4, 2.0, 2.8)  # times the present one
_OTHER_COUNTS = (0.5, 0.7, 1.4, 2.0)  # times the present emitters, where pan and refill are what is owned
_MOST_OF_PAN = 0.8  # of the pan's water that a swing may take
# beds of one valve whose supply over demand parts by more than this can't be served together; common practice
_TOGETHER = 1.35
_CLOSER = 3  # parts into which a step of the grid is cut when looking closer
_PARALLEL = 3  # refill emitters of one kind side by side, at most
_MOST_TRIED = 10_000  # pans of what is owned times refills: some minutes


def laid_out(
    scenario: Scenario, name: str, present: Setting, layouts: Sequence[tuple[float, ...]] = ((),)
) -> list[Setting]:
    """Settings to search: of what is owned, or a grid around the present one; each with every layout of emitters."""
    freeboard = scenario.controller[name].pan.freeboard
    containers = [part for part in scenario.owned if part.vessels]
    factors = np.geomspace(1.0 / _SPAN, _SPAN, _AREAS).tolist()
    pans = [(present.area * factor, present.depth, "", 0) for factor in factors]
    emitters = [(part, part.flow) for part in scenario.owned if part.flow is not None]
    counts = np.array([part.count for part in containers], dtype=float)
    groups = counts.sum() + (counts.sum() ** 2 - (counts**2).sum()) / 2.0  # as `_groups` has them
    refills = sum(min(part.count, _PARALLEL) for part, _ in emitters)
    if (tried := (groups or _AREAS) * (refills or _FLOWS)) > _MOST_TRIED:
        raise refusal(scenario, "too-many", "owned", tried=tried, most=_MOST_TRIED)
    if containers:
        pans = _combined(containers, freeboard)
        if not pans:
            raise refusal(scenario, "too-shallow", "owned", least=freeboard)
    factors = np.geomspace(1.0 / _SPAN, _SPAN, _FLOWS).tolist()
    flows = [(present.refill_flow * factor, "", 0) for factor in factors]
    if emitters:
        pressure = most_static(scenario.supply[scenario.controller[name].supply])
        flows = []
        for part, flow in emitters:
            each = flow if part.at is None else float(emitter_flow(pressure, flow, part.at, part.exponent))
            several = _several(part.name, min(part.count, _PARALLEL))
            flows += [(many * each, label, many - 1) for many, label in several]
    settings = []
    for (area, depth, container, vessels), (flow, emitter, more) in itertools.product(pans, flows):
        # a small pan can't lose a large swing
        most = _MOST_OF_PAN * area * (depth - freeboard)
        swing = min(present.swing, _round_swing(most)) if most < present.swing else present.swing
        label = ", ".join(text for text in (container, emitter) if text)
        settings += [Setting(area, depth, flow, swing, layout, label, vessels + more) for layout in layouts]
    return settings


def at_hand(scenario: Scenario, setting: Setting) -> tuple[str, list[dict[str, Any]]]:
    """Return what is owned that a setting's pan is made of, in words and as vessels that the file describes; empty for none."""
    described = zip(scenario.owned, scenario.described.get("owned", ()), strict=True)
    vessels_of = {part.name: given["vessels"] for part, given in described if part.vessels}
    groups = dict(_groups([part for part in scenario.owned if part.vessels]))
    label = max((each for each in groups if f"{setting.label}, ".startswith(f"{each}, ")), key=len, default="")
    return label, [
        vessel | ({"count": many * vessel.get("count", 1)} if many > 1 else {})
        for part, many in groups.get(label, ())
        for vessel in vessels_of[part.name]
    ]


def emitter_layouts(scenario: Scenario, name: str, ratios: dict[str, float]) -> list[tuple[float, ...]]:
    """Emitters to try, as factors on the described counts; none stands for as they are."""
    counts = {bed: planted.emitters.count for bed, planted in scenario.controller[name].bed.items()}
    fair = _fair_counts(counts, ratios)
    layouts = [counts, *([fair] if fair else [])]
    if {bool(part.vessels) for part in scenario.owned} == {True, False}:  # only the emitters are free
        tried = itertools.product(layouts, _OTHER_COUNTS)
        layouts += [{bed: max(round(times * count), 1) for bed, count in layout.items()} for layout, times in tried]
    factors = [tuple(layout[bed] / count for bed, count in counts.items()) for layout in layouts]
    return list(dict.fromkeys(() if set(each) == {1.0} else each for each in factors))


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


def steps_of(scenario: Scenario) -> Floats:
    """Return by what a grid's neighbours differ in area and in flow; what is owned is no matter of degree. [factors: -]"""
    owned = {bool(part.vessels) for part in scenario.owned}
    steps = np.array([_SPAN ** (2.0 / (_AREAS - 1)), _SPAN ** (2.0 / (_FLOWS - 1))])
    return np.where([True in owned, False in owned], 1.0, steps)


def finer(steps: Floats) -> Floats:
    """Return the steps of the grid that `closer` lays."""
    return np.asarray(steps ** (1.0 / _CLOSER))


def closer(best: Setting, present: Setting, steps: Floats, freeboard: float) -> list[Setting]:
    """A finer grid between the best setting's neighbours, and the described pan with as much refill for its area."""
    areas, flows = (step ** (np.arange(-_CLOSER, _CLOSER + 1) / _CLOSER) for step in steps.tolist())
    about = itertools.product(areas.tolist(), flows.tolist())
    tried = [best._replace(area=best.area * area, refill_flow=best.refill_flow * flow) for area, flow in about]
    if steps[0] > 1.0:
        same = best._replace(area=present.area, depth=present.depth)
        tried += [same._replace(refill_flow=present.area * best.refill_flow / best.area * flow) for flow in flows]
    return [setting for setting in dict.fromkeys(tried) if _swings(setting, freeboard)]


def printable(setting: Setting, present: Setting, written: float) -> Setting:
    """Round a setting to what is printed in the units shown, so that what is judged is what is read; what is described stays."""
    per_written = present.refill_flow / written
    area = setting.area if setting.label else _printed("area", setting.area, present.area)
    flow = _printed("flow", setting.refill_flow / per_written, written) * per_written
    swing = _printed("weight", setting.swing, present.swing)
    return setting._replace(area=area, refill_flow=flow, swing=swing)


def _printed(kind: str, value: float, described: float) -> float:
    scale = SHOWN[kind]
    return described if math.isclose(value, described) else scale.metric_of(digits(scale.shown(value)))


def digits(value: float) -> float:
    """Round to the three figures that are printed."""
    return float(f"{value:.3g}")


def other_swings(setting: Setting, freeboard: float) -> list[Setting]:
    """The same with smaller and larger swings, as far as its pan can lose them."""
    tried = [setting._replace(swing=_round_swing(setting.swing * times)) for times in _OTHER_SWINGS]
    return [each for each in tried if _swings(each, freeboard)]


def _round_swing(swing: float) -> float:
    """A swing that a kitchen scale can set: to 10 g, or to 1 g below 100 g."""
    return max(round(swing, 2 if swing >= 0.1 else 3), 0.005)


def _swings(setting: Setting, freeboard: float) -> bool:
    """Whether a pan of this size can lose its swing."""
    return setting.swing <= _MOST_OF_PAN * setting.area * (setting.depth - freeboard)


def _several(name: str, count: int) -> list[tuple[int, str]]:
    """One of a thing at hand, and several of it side by side: how many, and what that is called."""
    return [(many, name if many == 1 else f"{many} × {name}") for many in range(1, count + 1)]


def _groups(containers: Sequence[Any]) -> list[tuple[str, list[tuple[Any, int]]]]:
    """Each container, several of one kind, and pairs of kinds: what that is called, and how many of which."""
    single = [(label, [(part, many)]) for part in containers for many, label in _several(part.name, part.count)]
    two = ((a, b) for a, b in itertools.combinations(single, 2) if a[1][0][0].name != b[1][0][0].name)
    pairs = [(f"{a[0]} and {b[0]}", a[1] + b[1]) for a, b in two]
    return single + pairs


def _combined(containers: Sequence[Any], freeboard: float) -> list[tuple[float, float, str, int]]:
    """Groups of containers that are deep enough; one is as deep as its shallowest."""
    pans = []
    for label, group in _groups([part for part in containers if part.depth > freeboard]):
        area, depth = sum(part.area * many for part, many in group), min(part.depth for part, _ in group)
        pans.append((area, depth, label, sum(many for _, many in group) - 1))
    return pans
