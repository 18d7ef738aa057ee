"""
Sizing: which pan, refill flow, swing and emitters suit a valve's beds, over all the years of a record and over what is
uncertain, by the user's wishes.

Settings are laid out (`layouts`), stepped through years and draws by the engine itself (`settings`), judged (`judging`) and
chosen (`choosing`): first the whole grid over a few draws of each year, then a shortlist over all of them. A cell is a year
with a draw. Units: m², L/h, kg, litres, mm over a bed.
"""

import dataclasses
import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from panbudget.engine.compiled import has_compiler
from panbudget.extras import Reported, Step, silent
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.result import Season
from panbudget.studies.common import Garden, assumptions_of, refusal, seasons_of_record
from panbudget.studies.ranges import DRAWS, ValveFactors, drawn_factors, ranges_of, valve_factors
from panbudget.studies.size import layouts
from panbudget.studies.size.choosing import Choice, chosen, promised, shortlist
from panbudget.studies.size.judging import WISHES, Judged, Margin, by_cell, judged, margin_of, near_draws
from panbudget.studies.size.settings import Done, Outcome, Setting, YearForcing, joined, outcomes, year_forcing
from panbudget.weather import Weather
from panbudget.words import packaged, units_shown

#: draws of the judgement, and the least cells of the search before it: through a compiler, or not
_DRAWS = {True: (DRAWS[True], 32), False: (DRAWS[False], 5)}
#: seasons that are few to tell what years differ by (common practice, no source)
FEW_YEARS = 10
_NOT_NUMBERS = ("settings", "missed", "near_by_year", "bed_stress", "daylight_openings")  # of a row


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
    few : int
        Cells of the search.
    tried : Judged
        The whole search, over those.
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
    few: int
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
        return float(f"{self.written_flow * setting.refill_flow / self.present.refill_flow:.6g}")

    def row(self, index: int, judged: Judged | None = None) -> dict[str, Any]:
        """Return one setting, as tables list it."""
        judged = judged or self.choice.judged
        setting = judged.settings[index]
        numbers = [name for name in vars(judged) if name not in _NOT_NUMBERS]
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


@dataclass(frozen=True, repr=False)
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
    left_out : tuple of str
        Which years are not usable, and why.
    assumptions : tuple of str
        With these.
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
    left_out: tuple[str, ...]
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
    def freeboard(self) -> float:
        return self.scenario.controller[self.name].pan.freeboard

    def found(
        self, settings: Sequence[Setting], draws: ValveFactors | list[ValveFactors], whole: bool
    ) -> list[Outcome]:
        night = self.scenario.wishes.when == "night"
        return outcomes(self.years, settings, draws=draws, times=night, whole=whole, done=self.done)

    def coarse(self, tried: Sequence[Setting], beside: Judged | None = None) -> Judged:
        """Judge settings over a few cells, beside others judged already or the described one, which comes first."""
        known = () if beside is None else beside.settings
        settings = [each for each in dict.fromkeys([self.present, *tried]) if each not in known]
        if not settings and beside is not None:
            return beside
        outcome = by_cell(self.found(settings, self.few, whole=False))
        now = judged(self.scenario, settings, outcome)
        return now if beside is None else joined(beside, now)

    @functools.cached_property
    def few(self) -> list[ValveFactors]:
        """
        A few of the draws for each year, other ones for another.

        Spread evenly from what brings the beds little water to what brings much; from year to year moved along by the
        golden section, so that all years together are spread evenly too.
        """
        draws, years = self.draws, len(self.years)
        count = max(math.ceil(_DRAWS[has_compiler()][1] / years), 1)
        order = np.argsort(draws.exposure / draws.refill_flow * draws.emitters.mean(axis=1), kind="stable")
        starts = (0.5 + (math.sqrt(5.0) - 1.0) / 2.0 * np.arange(years)) % 1.0
        chosen = [order[((np.arange(count) + start) / count * len(order)).astype(int)] for start in starts]
        return [ValveFactors._make(part[few] for part in draws) for few in chosen]

    def choice(self, shortlist: Sequence[Setting]) -> Choice:
        """Judge a shortlist over all draws and years, and choose."""
        settings = list(dict.fromkeys([self.present, *shortlist]))
        count, beside = len(self.draws.exposure), near_draws(self.draws.emitters.shape[1])
        draws = ValveFactors._make(map(np.concatenate, zip(self.draws, beside, strict=True)))
        outcome = self.found(settings, draws, whole=True)
        cells, near = by_cell(outcome, slice(count)), by_cell(outcome, slice(count, None))
        return promised(self.scenario, settings, cells, near, self.fresh)

    def fresh(self, setting: Setting) -> tuple[float, float]:
        """Return the share in which a setting keeps the wishes over as many other draws, and its mean days short beyond the described."""
        other = self.scenario.changed({"uncertainty": {"seed": (self.scenario.uncertainty.seed + 1) % 2**31}})
        draws = valve_factors(other, self.name, drawn_factors(other, len(self.draws.exposure)))
        both = [self.present, setting]
        tried = judged(other, both, by_cell(self.found(both, draws, whole=False)))
        return float(tried.share[1]), float(tried.mean_stress[1] - tried.mean_stress[0])


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

    Raises
    ------
    ScenarioError
        No such controller; owned things of which none will do.
    """
    scenario = as_scenario(scenario, variants)
    if controller is not None and controller not in scenario.controller:
        known = ", ".join(scenario.controller)
        raise refusal(scenario, "unknown-valve", "controller", controller, name=controller, known=known)
    step("reading the weather")
    sound = scenario.changed({"fault": []})
    seasons, left_out = seasons_of_record(sound, weather)
    count = len(seasons)
    names = [name for name in scenario.controller if controller in (None, name)]
    valves = {name: _valve(sound, name, seasons, step) for name in names}
    applies = {
        "few_years": count < FEW_YEARS,
        "faults": scenario.fault,
        "owned": scenario.owned and len(valves) > 1,
        "tank": any(beside_on_tank(scenario, name) for name in names),
    }
    texts, years = packaged("studies/size/size.toml")["assumptions"], f"{count} season{'s' if count > 1 else ''}"
    assumptions = [texts[key].format(seasons=years) for key, holds in applies.items() if holds]
    first = next(iter(seasons.values()))
    rules, draws = sound.uncertainty, _DRAWS[has_compiler()][0]
    about = (*assumptions, *left_out, *assumptions_of(seasons.values()))
    ranges = ranges_of(sound)
    return Sizing(sound, tuple(seasons), draws, rules.interval, ranges, valves, tuple(left_out), about, first)


def beside_on_tank(scenario: Scenario, name: str) -> list[str]:
    """Return the other valves that draw on a valve's tank, of which its sizes know nothing."""
    supply = scenario.controller[name].supply
    on_it = [other for other, part in scenario.controller.items() if part.supply == supply and other != name]
    return on_it if scenario.supply[supply].kind == "tank" else []


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
    sums = zip(counts, supply, demand, strict=True)
    ratios = {bed: float(got / needed) if needed > 0.0 else math.inf for bed, got, needed in sums}
    draws = valve_factors(scenario, name, drawn_factors(scenario, _DRAWS[has_compiler()][0]))
    search = _Search(scenario, name, years, present, draws, done)
    written = described.valve.refill.flow
    tried = _tried(search, layouts.emitter_layouts(scenario, name, ratios))
    with units_shown(scenario.units):
        short = [layouts.printable(each, present, written) for each in shortlist(tried, scenario)]
    choice = search.choice(short)
    pair = {"described": present, "best": choice.judged.settings[choice.best]}
    margins = {which: margin_of(scenario, years, each, done) for which, each in pair.items()}
    few = sum(len(draws.exposure) for draws in search.few)
    return ValveSizing(name, counts, written, few, tried, choice, ratios, margins, scenario.uncertainty.interval)


def _tried(search: _Search, emitters: Sequence[tuple[float, ...]]) -> Judged:
    """The whole search, over a few cells."""
    scenario, present = search.scenario, search.present
    judged = search.coarse(layouts.laid_out(scenario, search.name, present, emitters))
    # the swing hardly moves the water, but it says how often the valve opens and how soon it answers: varied on those
    # that are best if openings are left aside
    aside = dataclasses.replace(judged, share=1.0 - judged.missed[:, :2].max(axis=1))
    more = [other for each in shortlist(aside, scenario) for other in layouts.other_swings(each, search.freeboard)]
    judged = search.coarse(more, judged)
    steps = layouts.steps_of(scenario)
    for _ in range(2 if (steps > 1.0).any() else 0):  # look closer around the best, twice
        best = judged.settings[chosen(judged, scenario).best]
        judged = search.coarse(layouts.closer(best, present, steps, search.freeboard), judged)
        steps = layouts.finer(steps)
    return judged
