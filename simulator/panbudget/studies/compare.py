"""
Comparing: two to six variants of one garden in the same weather, and which of their differences can be trusted.

Each variant is replayed over the whole season, so that soil and pan are in the state that they would be in; what is
compared is then cut out of it. The same is done over draws of what is uncertain, the same for all variants, and in every
usable year, which tells a difference from what guesses make of it. A cell is a year with a draw.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.engine.compiled import has_compiler
from panbudget.engine.season import run_season
from panbudget.errors import Problem, ScenarioError, did_you_mean
from panbudget.extras import Reported, Step, silent
from panbudget.files import toml_key, typed
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.scenario.quantities import Day, day_or
from panbudget.season.heat import HeatWave, find_heat_waves, made_wave
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.season.years import usable_years, whole_record
from panbudget.studies import common, ranges
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather
from panbudget.words import in_both, packaged

#: the scenario without any variant
AS_DESCRIBED = "as described"
MOST = 6
# a variant to begin with, of this name and with so many times the water surface
_FIRST, _WIDER = "wider-pan", 4.0 / 3.0
BEFORE_WAVE, AFTER_WAVE = dt.timedelta(days=5), dt.timedelta(days=14)  # shown around a heat wave
_HOT = 15.0, 60.0  # what may be the limit of a hot day's Tmax: common practice, no source [°C]
#: of a valve's measures, those that are sums of the engine's results
_OF_VALVE = {"openings": "openings", "open_hours": "open_hours", "litres": "drawn"}
_OF_VALVE |= {"stuck_hours": "stuck_hours", "dry_hours": "dry_hours"}

_DATA = packaged("studies/compare.toml")
#: how a difference is told from what the input's uncertainty makes
RULE: str = _DATA["rule"]


@dataclass(frozen=True)
class Measure:
    """
    One figure that variants are compared by.

    Parameters
    ----------
    label : str
    unit : str
        Empty for a count.
    decimals : int
        In tables.
    """

    label: str
    unit: str = ""
    decimals: int = 0


VALVE_MEASURES, BED_MEASURES = (
    {key: Measure(**measure) for key, measure in _DATA[place].items()} for place in ("valve", "bed")
)
# where a measure stands in compare.csv: a valve's litres after its other measures
_ROWS = {key: at for at, key in enumerate((*VALVE_MEASURES, *BED_MEASURES))}


def measure_of(where: str, key: str) -> Measure:
    """Return the measure of a valve, or of a bed ("CONTROLLER/BED"), that has this key in files."""
    return (BED_MEASURES if "/" in where else VALVE_MEASURES)[key]


def round_to(key: tuple[str, str], value: float) -> float:
    """Return the value of a measure (where, key) as it is printed; infinite as it is."""
    return value if math.isinf(value) else round(value, measure_of(*key).decimals)


@dataclass(frozen=True, repr=False)
class Comparison(Reported):
    """
    Variants of one garden, side by side.

    Parameters
    ----------
    scenario : Scenario
        As described.
    seasons : dict of Season
        Variant -> its whole season, in the order asked for; the first is what the others are measured against.
    start, end : date
        The window.
    wave : HeatWave or None
        The wave that it is about, if any.
    definition : str
        What a heat wave is; empty if none was asked for.
    values : DataFrame
        Index ``span`` ("window" or "season"), ``variant``, ``where`` (controller, or "CONTROLLER/BED") and ``measure``;
        ``value``. A recovery that did not come while the bed grew is infinite.
    differences : DataFrame
        A row for each measure of each variant beside the first: ``span``, ``where``, ``measure``, ``unit``, ``variant``,
        ``against``, ``value``, ``reference``, ``difference``, its range ``low`` to ``high`` over the cells, the shares of
        them in which it is ``below`` and ``above`` zero, and the ``verdict`` on what is printed, as `ranges.verdict_of`
        gives it.
    odds : DataFrame
        The same of a garden's "stress_days" (driest quarters of all beds, added) and "litres" (all valves): ``span``,
        ``variant``, ``against``, ``measure``, ``mean``, ``low``, ``high``, ``below``, ``above``.
    years : tuple of int
        Of the season's cells; a window's are of its own year.
    draws : int
        In each year.
    """

    room: ClassVar[str] = "compare"

    scenario: Scenario
    seasons: dict[str, Season]
    start: dt.date
    end: dt.date
    wave: HeatWave | None
    definition: str
    values: pd.DataFrame
    differences: pd.DataFrame
    odds: pd.DataFrame
    years: tuple[int, ...]
    draws: int

    @property
    def gardens(self) -> dict[str, Scenario]:
        """Each variant's garden."""
        return {name: season.scenario for name, season in self.seasons.items()}

    @property
    def names(self) -> tuple[str, ...]:
        """The variants, in the order asked for."""
        return tuple(self.seasons)

    @property
    def controllers(self) -> list[str]:
        """Controllers of all variants, in the scenario's order."""
        return list(dict.fromkeys(name for season in self.seasons.values() for name in season.controllers))

    @property
    def beds(self) -> list[str]:
        """Beds of all variants, in the scenario's order."""
        return list(dict.fromkeys(key for season in self.seasons.values() for key in season.beds))

    @property
    def spans(self) -> tuple[str, ...]:
        """ "window" and "season", or "season" alone where the window is all of it."""
        return tuple(self.values.index.unique("span"))

    def value(self, span: str, variant: str, where: str, measure: str) -> float | None:
        """Return one value; None where the variant has no such valve or bed, or there is no wave to recover from."""
        return self._by_key.get((span, variant, where, measure))

    @functools.cached_property
    def _by_key(self) -> dict[tuple[str, str, str, str], float]:
        return dict(self.values["value"].items())  # type: ignore[arg-type]  # its keys are of the index's four levels

    def table(self) -> pd.DataFrame:
        """Return every value and difference, one row each, as `compare.csv` holds them; what is infinite is empty."""
        return self.differences.replace([math.inf, -math.inf], np.nan)


def compare(
    scenario: common.Garden,
    names: Sequence[str],
    *,
    around_heat: bool = False,
    hot_above: float | None = None,
    start: Day | None = None,
    end: Day | None = None,
    with_base: bool = False,
    weather: Weather | None = None,
    step: Step = silent,
) -> Comparison:
    """
    Replay variants of a garden in the same weather and set them side by side.

    Parameters
    ----------
    scenario : Scenario or path
    names : sequence of str
        Variants, two to six, or files that hold one; "as described" is the scenario without any. The first is what the others are measured
        against.
    around_heat : bool
        Whether to look at the season's greatest heat wave, five days before it to fourteen after; the made-up one if
        the scenario has one.
    hot_above : float, optional
        Tmax above which a day counts as hot, in place of the rule in `heat.find_heat_waves`. [°C]
    start, end : date, optional
        Or at these days; the season if left out.
    with_base : bool
        Whether "as described" comes first.
    weather : Weather, optional
        Already read.
    step : callable
        Told what is being done: twice a variant.

    Raises
    ------
    ScenarioError, WeatherError
        Fewer than two or more than six variants, an unknown one, one with weather of its own, days outside.
    """
    garden = as_scenario(scenario)
    names = ([AS_DESCRIBED] if with_base and AS_DESCRIBED not in names else []) + list(names)
    _refuse_days(garden, around_heat, hot_above, start, end)
    described = _described(garden, names)
    base = described[names[0]]
    window = (day_or(start, "start", base.season.start), day_or(end, "end", base.season.end))
    if window[1] < window[0]:
        days = dict(zip(("start", "end"), window, strict=True))
        raise common.not_to_ask("not-comparable.order", "the days to look at (--start, --end)", **days)
    season = (min(base.season.start, window[0]), max(base.season.end, window[1]))
    by_year = usable_years(base, *season, weather, cautious=False).weather
    weather = read_scenario_weather(base, *season, weather)
    seasons = {}
    for name, variant in described.items():
        step(f"replaying {name}")
        seasons[name] = replay(variant, start=season[0], end=season[1], weather=weather)
    wave, definition = None, ""
    if around_heat:
        wave, definition = _wave(base, seasons[names[0]], hot_above, by_year.values())
        window = max(season[0], wave.start - BEFORE_WAVE), min(season[1], wave.end + AFTER_WAVE)
    spans = {"window": window, "season": season} if window != season else {"season": season}
    values, cells, years = _over_draws(described, seasons, spans, wave, by_year, step)
    compared = [(span, name) for span, name in values if name != names[0]]
    differences = pd.concat([_differences(described, *at, values, cells) for at in compared], ignore_index=True)
    odds = pd.DataFrame([row for at in compared for row in _odds(described, *at, cells)])
    table = pd.concat(values, names=["span", "variant", "where", "measure"]).to_frame("value")
    count = ranges.DRAWS[has_compiler()]
    return Comparison(garden, seasons, *window, wave, definition, table, differences, odds, years, count)


def _over_draws(
    described: Mapping[str, Scenario],
    seasons: Mapping[str, Season],
    spans: Mapping[str, tuple[dt.date, dt.date]],
    wave: HeatWave | None,
    by_year: Mapping[int, Weather],
    step: Step,
) -> tuple[dict[tuple[str, str], pd.Series[float]], dict[tuple[str, str], pd.DataFrame], tuple[int, ...]]:
    """Each span's and variant's measures as described and in all cells; and the years of a season's cells."""
    first = next(iter(described.values()))
    season = spans["season"]
    count, present = ranges.DRAWS[has_compiler()], first.season.start.year
    others = [year for year in by_year if year != present]
    run = ranges.engine_for(count * (len(others) + 1) * len(seasons))
    values: dict[tuple[str, str], pd.Series[float]] = {}
    cells: dict[tuple[str, str], pd.DataFrame] = {}
    for name, replayed in seasons.items():
        step(f"{name} over what is uncertain")
        draws = ranges.drawn_factors(replayed.scenario, count)
        for span, days in spans.items():
            at = replayed.days.index.slice_indexer(pd.Timestamp(days[0]), pd.Timestamp(days[1]))
            values[span, name] = _measured(replayed, at, wave, ranges.scanned(replayed.scenario))[0]
            cells[span, name] = _measured(replayed, at, wave, draws, run)
        for year in others:
            moved_on = ranges.days_in_year(described[name], by_year[year], season, year - present)
            more = _measured(moved_on, slice(None), None, draws, run)
            cells["season", name] = pd.concat([cells["season", name], more], axis=1, ignore_index=True)
    return values, cells, tuple(sorted({present, *others}))


def _refuse_days(
    scenario: Scenario, around_heat: bool, hot_above: float | None, start: Day | None, end: Day | None
) -> None:
    low, high = _HOT
    if hot_above is not None and not around_heat:
        raise common.not_to_ask("not-comparable.no-heat", "hot above", hot=hot_above)
    if hot_above is not None and not low <= hot_above <= high:
        raise common.not_to_ask("not-comparable.no-limit", "hot above", hot=hot_above, low=low, high=high)
    if around_heat and (start is not None or end is not None):
        raise common.not_to_ask("not-comparable.by-heat", "the first or last day to look at (--start, --end)")


def _described(scenario: Scenario, names: Sequence[str]) -> dict[str, Scenario]:
    """Check what was asked for, all of it, and lay the variants over the garden."""
    problems = list(_wrong_names(scenario, names))
    if problems and not scenario.variant:
        problems.append(_first_variant(scenario))
    if not problems:
        described = {name: scenario if name == AS_DESCRIBED else scenario.with_variant(name) for name in names}
        problems = list(_other_days(described))
    if problems:
        raise ScenarioError(*problems, file=str(scenario.path))
    return described


def _wrong_names(scenario: Scenario, names: Sequence[str]) -> Iterator[Problem]:
    known = f"the file has: {', '.join(scenario.variant)}" if scenario.variant else "the file has none"
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield common.problem("twice.variant", "variant", name, name=name)
    for name in dict.fromkeys(names):
        if name == AS_DESCRIBED and name in scenario.variant:
            yield common.problem("taken", f'[variant."{name}"]')
        elif name != AS_DESCRIBED and name not in scenario.variant and not name.endswith(".toml"):
            cure = did_you_mean(name, [*scenario.variant, AS_DESCRIBED], known)
            yield common.problem("unknown-variant", f"[variant.{name}]", name, cure=cure)
    count = len(set(names))
    if not 2 <= count <= MOST:
        more = f'name another ({known}), or "{AS_DESCRIBED}" for the garden without any'
        first = "name one, and --with-base for the garden as described"
        cure = "leave some out" if count > MOST else more if scenario.variant else first
        yield common.problem("how-many", "compare", most=MOST, count=count, cure=cure)


def _first_variant(scenario: Scenario) -> Problem:
    """Say how a file without a variant comes by one: a wider pan of its first valve to write down, or what `size` writes."""
    name, part = next(iter(scenario.controller.items()))
    unit, metres = ("cm", 0.01) if scenario.units == "metric" else ("in", 0.0254)
    across = math.sqrt(4.0 * _WIDER * part.pan.area / math.pi) / metres
    key = f"variant.{_FIRST}.controller.{toml_key(name)}.pan.vessels"
    size = f"panbudget size {typed(scenario.path)} --out sizes"
    cure = (
        f"write the lines below at its end, and name --variant {_FIRST}; or `{size}` makes --variant sizes/sized.toml"
    )
    pan = f'[{{ diameter = "{across:.0f} {unit}" }}]'
    return Problem("no-variant", "", "describes no variant", "", cure, paste=((key, pan),))


def _other_days(described: Mapping[str, Scenario]) -> Iterator[Problem]:
    """Variants that would not be compared in the same weather and days."""
    first_name, first = next(iter(described.items()))
    for name, variant in described.items():
        keys = ("site", "weather", "season", "what_if")
        other = [key for key in keys if getattr(variant, key) != getattr(first, key)]
        if other:
            where = f'"{name}"' if name == AS_DESCRIBED else f"[variant.{name}]"
            yield common.problem("other-days", where, other=" and ".join(other), first=first_name)


def _wave(
    scenario: Scenario, season: Season, hot_above: float | None, others: Iterable[Weather] = ()
) -> tuple[HeatWave, str]:
    heat = scenario.what_if.heat
    first, last = season.days.index[0].date(), season.days.index[-1].date()
    if heat is not None and hot_above is None:
        wave = made_wave(season.weather.daily, heat)
        if wave.end < first or wave.start > last:
            days = {"start": heat.start, "first": first, "last": last}
            raise common.refusal(scenario, "not-comparable.outside", "what_if.heat.start", **days)
        return wave, "The heat wave here is made up, by [what_if.heat]; it is not in the record."
    # a made-up wave is in the season's weather, and counts; where years are borrowed, each may be a run of its own
    waves = find_heat_waves(whole_record([season.weather, *others]), first, last, hot_above=hot_above)
    if waves.greatest is None:
        rule = {"highest": float(season.days["tmax_c"].max()), "definition": _without_stop(waves.definition)}
        raise common.refusal(scenario, "no-wave", "the weather", first=first, last=last, **rule)
    made = made_wave(season.weather.daily, heat) if heat is not None else None
    overlaps = made is not None and made.start <= waves.greatest.end and waves.greatest.start <= made.end
    return dataclasses.replace(waves.greatest, made=overlaps), waves.definition


@in_both
def _without_stop(sentence: str) -> str:
    return str(sentence).rstrip(".")


def _measured(
    stretch: ranges.Stretch,
    days: slice,
    wave: HeatWave | None,
    draws: ranges.Draws,
    run: Callable[..., int] = run_season,
) -> pd.DataFrame:
    """A season's measures over some days of it, a column a draw; index where and the measure's key."""
    forcing, pans = stretch.forcing, stretch.forcing.pans
    lanes = range(2 * len(forcing.bundle.rows))  # each bed's mean and driest quarter, in turn
    after = None if wave is None else int(forcing.dates.searchsorted(pd.Timestamp(wave.end))) + 1
    growing, taw = (getattr(forcing.beds, name)[forcing.beds.lane_bed[lanes]] for name in ("growing", "taw"))
    columns = []
    outs = ranges.sampled_results(stretch, draws, lanes=lanes, run=run, keep_hours=True)
    for at, out in enumerate(outs):
        values: dict[tuple[str, str], float] = {}
        for row, name in enumerate(stretch.scenario.controller):
            by_day = {key: getattr(out, field)[row, days] for key, field in _OF_VALVE.items()}
            # by day: a trip may be knocked, or drift
            floor = pans.dry[row] + pans.swing[row] * (draws.swing[name][at] - 1.0)
            level = (out.hourly_level[row].reshape(-1, 24) - floor[:, None])[days].min()
            of_valve = {key: part.sum() for key, part in by_day.items()}
            of_valve |= {"most_openings_a_day": by_day["openings"].max(), "lowest_level_mm": level / pans.area[row]}
            values |= {(name, key): float(of_valve[key]) for key in VALVE_MEASURES}
        short = (out.ks < 1.0) & (growing > 0)
        used = 100.0 * np.maximum(out.depletion - out.eta - out.deep_percolation, 0.0) / taw
        worst = np.where(growing > 0, used, 0.0)[:, days].max(axis=1)
        for row, bed in enumerate(forcing.bundle.rows):
            mean, driest = 2 * row, 2 * row + 1
            in_bed = {
                "irrigation_mm": out.irrigation[mean, days].sum(),
                "litres": out.irrigation[mean, days].sum() * bed.area,
                "stress_days": short[driest, days].sum(),
                "stress_days_mean": short[mean, days].sum(),
                "worst_depletion_percent": worst[driest],
                "deep_percolation_mm": out.deep_percolation[mean, days].sum(),
            }
            if after is not None:
                in_bed["recovery_days"] = recovery_days(short[driest], growing[driest] > 0, after)
            where = f"{bed.controller}/{bed.bed}"
            values |= {(where, key): float(in_bed[key]) for key in BED_MEASURES if key in in_bed}
        columns.append(pd.Series(values))
    return pd.concat(columns, axis=1)


def recovery_days(short: npt.NDArray[np.bool_], grows: npt.NDArray[np.bool_], after: int) -> float:
    """
    Count the days after a heat wave on which a bed's driest quarter is still short of water.

    Parameters
    ----------
    short, grows : ndarray (days,)
        Whether it is, and whether anything grows there, day by day.
    after : int
        The place of the first day after the wave.

    Returns
    -------
    float
        Up to the end of the first run of short days that begins within `AFTER_WAVE`; 0 when there is none; infinite when
        that run lasts to the last day of growth.
    """
    later = short[after:][: int(np.argmin([*grows[after:], False]))]
    if not later[: AFTER_WAVE.days].any():
        return math.inf if not len(later) and short[after - 1] else 0.0
    first = int(later.argmax())
    return math.inf if later[first:].all() else float(first + later[first:].argmin())


_Cells = Mapping[tuple[str, str], pd.DataFrame]


def _differences(
    described: Mapping[str, Scenario],
    span: str,
    name: str,
    values: Mapping[tuple[str, str], pd.Series[float]],
    cells: _Cells,
) -> pd.DataFrame:
    """One variant's measures beside the first variant's, as `Comparison.differences` has them."""
    reference = next(iter(described))
    mine, base = values[span, name], values[span, reference]
    shared = [key for key in base.index if key in mine.index]
    places = list(dict.fromkeys(where for where, _ in shared))
    shared.sort(key=lambda key: (places.index(key[0]), _ROWS[key[1]]))
    mine, base = mine.loc[shared], base.loc[shared]
    where, measure = zip(*shared, strict=True)
    interval = described[name].uncertainty.interval
    # another year has no wave to recover from
    pairs = [[cells[span, of].loc[key].dropna().to_numpy(float) for of in (name, reference)] for key in shared]
    drawn = pd.DataFrame([ranges.paired(new, old, interval) for new, old in pairs], index=mine.index)
    printed = ([round_to(key, value) for key, value in zip(shared, values, strict=True)] for values in (mine, base))
    signs = ranges.signs(*printed).tolist()
    cells_of = zip(signs, drawn["below"], drawn["above"], strict=True)
    verdict = [ranges.verdict_of(sign, below, above, interval) for sign, below, above in cells_of]
    return pd.DataFrame(
        {
            "span": span,
            "where": where,
            "measure": measure,
            "unit": [measure_of(*key).unit for key in shared],
            "variant": name,
            "against": reference,
            "value": mine,
            "reference": base,
            "difference": np.where(mine == base, 0.0, mine - base),
            **drawn[["low", "high", "below", "above"]],
            "verdict": verdict,
        }
    )


def _odds(described: Mapping[str, Scenario], span: str, name: str, cells: _Cells) -> Iterator[dict[str, Any]]:
    """How a variant's days short and litres, all beds and valves together, differ from the first one's over the cells."""
    reference, interval = next(iter(described)), described[name].uncertainty.interval
    for key in ("stress_days", "litres"):
        pair = []
        for variant in (name, reference):
            drawn = cells[span, variant]
            of_key = [at for at in drawn.index if at[1] == key and ("/" in at[0]) == (key == "stress_days")]
            pair.append(drawn.loc[of_key].sum().to_numpy(float))
        apart = ranges.paired(pair[0], pair[1], interval)._asdict()
        yield {"span": span, "variant": name, "against": reference, "measure": key, **apart}
