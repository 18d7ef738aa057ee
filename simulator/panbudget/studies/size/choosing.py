"""
Choosing: the rule by which one setting is better than another, and what share its choice can promise.

A setting that was chosen by some cells is flattered by them. So what is promised is looked up in other draws; and since
there are no other years, it is less by what years flatter, as choosing again and again by a part of the years and looking at
the others shows (cross-validation; Stone 1974).
"""

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from panbudget.numeric import Floats, Ints
from panbudget.scenario.garden import Scenario
from panbudget.studies.size.judging import PRINTED, WISHES, Bools, Judged, judged
from panbudget.studies.size.settings import Outcome, Setting

_SAFETIES = (-0.05, -0.01, 0.02, 0.05, 0.1)  # beside the share asked for: the shortlist holds some of each
_OF_EACH = 7  # settings of the shortlist at each of them, and of still wetter ones
_WETTEST = 2.0  # times the water of the thriftiest one
# what is too near to tell settings apart: share of the cells, where none has as many as asked; of the water; openings a
# day; common practice. Mean days short: as many as the wish allows, and one at least
_ALIKE_SHARE, _ALIKE_WATER, _ALIKE_OPENINGS = 0.02, 0.02, 0.25
_SAFER = 0.01  # by which more is asked of the cells, until what is promised is enough
_WETTER, _TRIALS = 1.05, 10  # times the water of one that was refused; how often
_PARTS = 5  # of the years, each left out in turn


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
    promise : float
        Share of cells that were not used in choosing in which it keeps every wish. [-]
    more_days : float
        Short of water in them, in the mean, beyond those of the described one.
    """

    judged: Judged
    best: int
    keeps: bool
    binding: str
    equal: tuple[int, ...] = ()
    promise: float = 0.0
    more_days: float = 0.0

    @property
    def worse(self) -> bool:
        """Whether it leaves the plants short of water for longer than the described one, as `Judged.worse`."""
        return bool(self.judged.worse[self.best])

    @property
    def worse_beds(self) -> list[bool]:
        """Which beds it leaves short of water for longer than the described one, by as much as prints."""
        stress = self.judged.bed_stress
        return [bool(now >= before + PRINTED) for now, before in zip(stress[self.best], stress[0], strict=True)]


def promised(
    scenario: Scenario,
    settings: Sequence[Setting],
    cells: Outcome,
    near: Outcome,
    fresh: Callable[[Setting], tuple[float, float]],
) -> Choice:
    """
    Choose, and promise no more than cells that were not used in choosing bear out.

    Parameters
    ----------
    scenario : Scenario
        With its wishes and the share in which they are to be kept.
    settings : sequence of Setting
        The described one first.
    cells, near : Outcome
        As `judging.by_cell` gives them.
    fresh : callable
        Setting -> share in which the wishes are kept over other draws, and mean days short there beyond the described ones.

    Returns
    -------
    Choice
        The first whose promise is the share asked for, as more and more is asked of the cells that choose; or else that
        with the highest promise.
    """
    interval, choices = scenario.uncertainty.interval, list[Choice]()
    whole = judged(scenario, settings, cells, near=near)
    halves = ((~others, others) for others in held_out(*cells.litres.shape[1:]))
    parts = [[judged(scenario, settings, cells, among=among, near=near) for among in pair] for pair in halves]
    known, steps, litres = dict[int, tuple[float, float]](), round((1.0 - interval) / _SAFER), whole.litres
    for step in range(steps + 1 + _TRIALS):
        least, among = min(interval + _SAFER * step, 1.0), whole
        if step > steps:  # kept in all the cells that choose, and not often enough in others: a wetter one
            wetter = litres > _WETTER * litres[choices[-1].best]
            if not (whole.share[wetter] >= interval).any():
                break
            among = dataclasses.replace(whole, share=np.where(wetter, whole.share, 0.0))
        choice = dataclasses.replace(chosen(among, scenario, least), judged=whole)
        at = [chosen(used, scenario, least).best for used, _ in parts]
        flattery = [used.share[best] - other.share[best] for best, (used, other) in zip(at, parts, strict=True)]
        if choice.best not in known:
            known[choice.best] = fresh(whole.settings[choice.best])
        share, more = known[choice.best]
        promise = min(share, float(whole.share[choice.best])) - max(float(np.mean(flattery)) if parts else 0.0, 0.0)
        choices.append(dataclasses.replace(choice, promise=max(promise, 0.0), more_days=more))
        if promise >= interval - 1e-9:
            return dataclasses.replace(choices[-1], keeps=True)
    best = max(choices, key=lambda choice: choice.promise)
    return dataclasses.replace(best, keeps=False, binding=_missed_most(whole, best.best))


def held_out(years: int, draws: int) -> list[Bools]:
    """Leave a part of the years out in turn, with all their draws; none of a single year."""
    parts = np.arange(years) % _PARTS
    return [np.repeat((parts == part)[:, None], draws, axis=1) for part in range(min(years, _PARTS)) if years > 1]


def alike_days(scenario: Scenario) -> float:
    """Days short that no one would mind: as many as the wish allows, and one at least."""
    return float(max(scenario.wishes.stress_days, 1))


def _ranked(judged: Judged, least: float, days: float) -> Ints:
    """Settings as the rule would have them, each next best: the share, up to the one asked for; the stress; the water."""
    share = np.minimum(_counted_share(judged, least), least)
    stress = judged.mean_stress - judged.mean_stress[share >= share.max()].min()
    return np.lexsort((judged.litres, np.maximum(stress - days, 0.0), -share))


def _counted_share(judged: Judged, least: float) -> Floats:
    """The share; where none has as much as asked, below 0 for what leaves the plants worse off than described in any year."""
    if judged.share.max() >= least - 1e-9:
        return judged.share
    return np.where(judged.worse_in_a_year, judged.share - 1.0, judged.share)


def shortlist(judged: Judged, scenario: Scenario) -> list[Setting]:
    """The best few at several degrees of safety, for a few draws do not tell the shares well."""
    chosen: dict[int, None] = {}
    for more in _SAFETIES:
        least = min(scenario.uncertainty.interval + more, 1.0)
        ranked = _ranked(judged, least, alike_days(scenario)).tolist()
        chosen |= dict.fromkeys([index for index in ranked if index not in chosen][:_OF_EACH])
    # what keeps the wishes in all of the few need not do so in all: wetter and wetter ones too
    safe = ranked[: int((judged.share >= judged.share.max() - 1e-9).sum())]
    apart = np.log(np.maximum(judged.litres[safe], 1.0) / max(judged.litres[safe[0]], 1.0))
    wetter = np.abs(apart - np.log(np.geomspace(1.05, _WETTEST, _OF_EACH))[:, None]).argmin(axis=1)
    chosen |= dict.fromkeys(safe[place] for place in wetter.tolist())
    return [judged.settings[index] for index in chosen]


def _changes(setting: Setting, present: Setting) -> int:
    """How much of the described valve a setting changes, and of how many things at hand it is pieced together."""
    pan = (setting.area, setting.depth) != (present.area, present.depth)
    others = (setting.refill_flow != present.refill_flow, setting.swing != present.swing, bool(setting.emitters))
    return int(pan) + sum(others) + setting.pieces


def chosen(judged: Judged, scenario: Scenario, least: float | None = None) -> Choice:
    """Choose by the rule, in its order: `reports/size/texts.toml` prints it. ``least``: the share asked of these cells."""
    openings, least = scenario.wishes.openings_a_day, scenario.uncertainty.interval if least is None else least
    share, stress, litres = _counted_share(judged, least), judged.mean_stress, judged.litres
    highest = share.max()
    keeps = bool(highest >= least - 1e-9)
    alike = np.flatnonzero(share >= (least if keeps else highest - _ALIKE_SHARE) - 1e-9)
    as_good = alike[~judged.worse[alike]]
    alike = as_good if len(as_good) else alike
    fewest = stress[alike].min()
    # never above the described one for being nearly as good
    alike = alike[stress[alike] <= np.clip(stress[0], fewest, fewest + alike_days(scenario))]
    alike = alike[litres[alike] <= (1.0 + _ALIKE_WATER) * litres[alike].min()]
    often = judged.openings_a_day[alike]
    off = np.maximum(openings[0] - often, 0.0) + np.maximum(often - openings[1], 0.0)
    alike = alike[off <= off.min() + _ALIKE_OPENINGS]
    changes = [_changes(judged.settings[index], judged.settings[0]) for index in alike]
    best, *equal = alike[np.lexsort((litres[alike], changes))].tolist()
    if not keeps:
        return Choice(judged, best, False, _missed_most(judged, best), tuple(equal))
    # what stops the thriftiest settings just below this one
    thriftier = np.flatnonzero(litres < litres[best])
    near = thriftier[np.argsort(-litres[thriftier], kind="stable")][:10]
    stops = (judged.missed[near] > 1.0 - least).sum(axis=0)
    return Choice(judged, best, True, WISHES[int(np.argmax(stops))] if stops.any() else "", tuple(equal))


def _missed_most(judged: Judged, index: int) -> str:
    return WISHES[int(np.argmax(judged.missed[index]))]
