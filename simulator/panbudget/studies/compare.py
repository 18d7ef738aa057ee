"""
Comparing: two to six variants of one garden in the same weather, and which of their differences can be trusted.

Each variant is replayed over the whole season, so that soil and pan are in the state that they would be in; what is
compared is then cut out of it. The same is done again with the pan's evaporation less sure, which tells a difference
from what a guess at the pan makes of it.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from panbudget.errors import Problem, ScenarioError, nearest
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.heat import HeatWave, find_heat_waves, made_wave
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

__all__ = [
    "AS_DESCRIBED",
    "BED_MEASURES",
    "RULE",
    "VALVE_MEASURES",
    "Comparison",
    "Difference",
    "Measure",
    "compare",
    "recovery_days",
]

#: the scenario without any variant
AS_DESCRIBED = "as described"
MOST = 6
BEFORE_WAVE, AFTER_WAVE = 5, 14  # days shown around a heat wave
EXPOSURE_UNSURE = 0.1  # common practice, no source: what a mesh, a colour or a wall does to a pan

#: how a difference is told from what the input's uncertainty makes
RULE = (
    "The pan's evaporation is the least sure of all that goes in. So each variant is reckoned again with 10 % less and "
    "10 % more exposure, and with another model of the pan. A difference counts as swamped, and is said to be, when it "
    "turns round or goes under the other pan model; or, where the two pans differ, when 10 % of exposure on either of "
    "them alone makes up for it; or, where the pan is the same and so errs the same way in both, when 10 % on both "
    "turns it round."
)


@dataclass(frozen=True)
class Measure:
    """
    One figure that variants are compared by.

    Parameters
    ----------
    key : str
        Its name in files.
    label : str
    unit : str
        Empty for a count.
    decimals : int
        In tables.
    """

    key: str
    label: str
    unit: str
    decimals: int = 0


VALVE_MEASURES = (
    Measure("openings", "openings", ""),
    Measure("most_openings_a_day", "most openings in a day", ""),
    Measure("open_hours", "hours open", "h", 1),
    Measure("litres", "water, refill included", "L"),
    Measure("lowest_level_mm", "lowest level above the pan's floor", "mm"),
    Measure("stuck_hours", "held open by evaporation", "h", 1),
    Measure("dry_hours", "pan dry", "h", 1),
)
BED_MEASURES = (
    Measure("litres", "water", "L"),
    Measure("irrigation_mm", "water", "mm"),
    Measure("stress_days", "stress days, driest quarter", ""),
    Measure("stress_days_mean", "stress days, bed's mean", ""),
    Measure("worst_depletion_percent", "worst depletion, driest quarter", "% of TAW"),
    Measure("deep_percolation_mm", "drained below the roots", "mm"),
    Measure("recovery_days", "recovery after the wave", "days"),
)


@dataclass(frozen=True)
class Difference:
    """
    One measure of one variant beside the first variant's.

    Parameters
    ----------
    span : str
        "window" or "season".
    where : str
        Controller, or "CONTROLLER/BED".
    measure : Measure
    variant, against : str
    value, reference : float
        Infinite for a recovery that did not come within the season.
    low, high : float
        The value's range under 10 % of exposure.
    verdict : str
        "none", "clear" or "swamped".
    """

    span: str
    where: str
    measure: Measure
    variant: str
    against: str
    value: float
    reference: float
    low: float
    high: float
    verdict: str

    @property
    def difference(self) -> float:
        """Value less reference; 0 where both are infinite."""
        return 0.0 if self.value == self.reference else self.value - self.reference

    def as_dict(self) -> dict[str, Any]:
        """Return it as files list it; what is infinite is None there."""
        numbers = {
            "value": self.value,
            "reference": self.reference,
            "difference": self.difference,
            "low": self.low,
            "high": self.high,
        }
        return {
            "span": self.span,
            "where": self.where,
            "measure": self.measure.key,
            "unit": self.measure.unit,
            "variant": self.variant,
            "against": self.against,
            **{key: number if math.isfinite(number) else None for key, number in numbers.items()},
            "verdict": self.verdict,
        }


@dataclass(frozen=True)
class Comparison:
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
    differences : tuple of Difference
    values : dict
        (span, variant, where, measure's key) -> value.
    """

    scenario: Scenario
    seasons: dict[str, Season]
    start: dt.date
    end: dt.date
    wave: HeatWave | None
    definition: str
    differences: tuple[Difference, ...]
    values: dict[tuple[str, str, str, str], float]

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
        return tuple(dict.fromkeys(span for span, *_ in self.values))

    def table(self) -> pd.DataFrame:
        """Return every value and difference, one row each, as `compare.csv` holds them."""
        rows = [d.as_dict() for d in self.differences]
        return pd.DataFrame(rows)


def compare(
    scenario: Scenario | str | Path,
    names: list[str] | tuple[str, ...],
    *,
    around_heat: bool = False,
    hot_above: float | None = None,
    start: dt.date | None = None,
    end: dt.date | None = None,
    with_base: bool = False,
    weather: Weather | None = None,
    step: Callable[[str], None] = lambda text: None,
) -> Comparison:
    """
    Replay variants of a garden in the same weather and set them side by side.

    Parameters
    ----------
    scenario : Scenario or path
    names : sequence of str
        Variants, two to six; "as described" is the scenario without any. The first is what the others are measured
        against.
    around_heat : bool
        Whether to look at the season's greatest heat wave, five days before it to fourteen after; the made one if
        the scenario makes one.
    hot_above : float, optional
        Tmax above which a day counts as hot, in place of the rule in `heat.find_heat_waves`. [°C]
    start, end : date, optional
        Or at these days; the season if left out.
    with_base : bool
        Whether "as described" comes first.
    weather : Weather, optional
        Already read.
    step : callable
        Told what is being done, once a replay: four replays a variant.

    Returns
    -------
    Comparison

    Raises
    ------
    ScenarioError, WeatherError
        Fewer than two or more than six variants, an unknown one, one with weather of its own, days outside.
    """
    scenario = as_scenario(scenario)
    if hot_above is not None and not around_heat:
        message = (
            f"--hot-above {hot_above:g} °C is for the heat wave to look at; add --around heat, or leave out --hot-above"
        )
        raise _wrong(scenario, message, "hot_above", hot_above)
    names = ([AS_DESCRIBED] if with_base and AS_DESCRIBED not in names else []) + list(names)
    described = _described(scenario, names)
    base = next(iter(described.values()))
    first, last = base.season.start, base.season.end
    if start is not None or end is not None:
        if around_heat:
            raise _wrong(scenario, "--around heat chooses the days itself; leave out --start and --end", "around")
        window = (start or first, end or last)
        if window[1] < window[0]:
            raise _wrong(
                scenario, f"the days to look at end, {window[1]}, before they start, {window[0]}", "season.end"
            )
        first, last = min(first, window[0]), max(last, window[1])
    else:
        window = (first, last)
    weather = weather or read_scenario_weather(base, first, last)

    seasons: dict[str, Season] = {}
    unsure: dict[str, dict[str, Season]] = {}
    for name, variant in described.items():
        step(f"replaying {name}")
        seasons[name] = replay(variant, start=first, end=last, weather=weather)
        unsure[name] = {}
        for case, overlay in _unsure(variant).items():
            step(f"replaying {name}, {case}")
            unsure[name][case] = replay(variant.changed(overlay), start=first, end=last, weather=weather)

    wave, definition = None, ""
    if around_heat:
        wave, definition = _wave(base, weather, next(iter(seasons.values())), hot_above)
        window = (
            max(first, wave.start - dt.timedelta(days=BEFORE_WAVE)),
            min(last, wave.end + dt.timedelta(days=AFTER_WAVE)),
        )
    spans = {"window": window, "season": (first, last)}
    if window == (first, last):
        del spans["window"]
    values: dict[tuple[str, str, str, str], float] = {}
    other: dict[str, dict[tuple[str, str, str, str], float]] = {case: {} for case in next(iter(unsure.values()))}
    for span, days in spans.items():
        for name, season in seasons.items():
            values |= {(span, name, *key): value for key, value in _measured(season, *days, wave).items()}
            for case, again in unsure[name].items():
                other[case] |= {(span, name, *key): value for key, value in _measured(again, *days, wave).items()}
    differences = _differences(described, tuple(spans), values, other)
    return Comparison(scenario, seasons, *window, wave, definition, differences, values)


def _wrong(scenario: Scenario, message: str, key: str, value: object = None) -> ScenarioError:
    return ScenarioError(Problem.of_text(message, key, value), file=str(scenario.path))


def _described(scenario: Scenario, names: list[str]) -> dict[str, Scenario]:
    """Check what was asked for, all of it, and lay the variants over the garden."""
    problems: list[Problem] = []
    twice = sorted({name for name in names if names.count(name) > 1})
    problems += [
        Problem.of_text(f'"{name}" is asked for twice; name each variant once', "variant", name) for name in twice
    ]
    known = ", ".join(scenario.variant) or "none"
    for name in dict.fromkeys(names):
        if name != AS_DESCRIBED and name not in scenario.variant:
            near = nearest(name, [*scenario.variant, AS_DESCRIBED])
            hint = f'; did you mean "{near}"?' if near else f"; the file has: {known}"
            problems.append(Problem.of_text(f"there is no [variant.{name}]{hint}", "variant", name))
        if name == AS_DESCRIBED and name in scenario.variant:
            problems.append(
                Problem.of_text(f'[variant."{name}"] has the name of the garden itself; rename it', "variant")
            )
    if len(set(names)) < 2:
        problems.append(
            Problem.of_text(
                f"compare takes two to {MOST} variants and was given {len(set(names))}; name another, or add "
                f"--with-base for the garden as described (the file has: {known})",
                "variant",
            )
        )
    elif len(names) > MOST:
        problems.append(
            Problem.of_text(
                f"compare takes two to {MOST} variants and was given {len(names)}; leave some out", "variant"
            )
        )
    if problems:
        raise ScenarioError(*problems, file=str(scenario.path))
    described = {name: scenario if name == AS_DESCRIBED else scenario.with_variant(name) for name in names}
    first = described[names[0]]
    for name, variant in described.items():
        other = [k for k in ("site", "weather", "season", "what_if") if getattr(variant, k) != getattr(first, k)]
        if other:
            message = (
                f'"{name}" has another {" and ".join(other)} than "{names[0]}"; variants are compared in the same '
                "weather and days, so leave it out or replay it by itself"
            )
            problems.append(Problem.of_text(message, f"variant.{name}.{other[0]}"))
    if problems:
        raise ScenarioError(*problems, file=str(scenario.path))
    return described


def _unsure(scenario: Scenario) -> dict[str, dict[str, Any]]:
    """The garden's overlays under which the pan evaporates otherwise."""

    def overlay(**changes: Callable[[Any], Any]) -> dict[str, Any]:
        return {
            "controller": {
                name: {"pan": {key: change(part.pan) for key, change in changes.items()}}
                for name, part in scenario.controller.items()
            }
        }

    return {
        "less exposure": overlay(exposure=lambda pan: pan.exposure * (1.0 - EXPOSURE_UNSURE)),
        "more exposure": overlay(exposure=lambda pan: min(pan.exposure * (1.0 + EXPOSURE_UNSURE), 5.0)),
        "other pan model": overlay(
            evaporation=lambda pan: "energy-balance" if pan.evaporation == "from-eto" else "from-eto"
        ),
    }


def _wave(scenario: Scenario, weather: Weather, season: Season, hot_above: float | None) -> tuple[HeatWave, str]:
    heat = scenario.what_if.heat
    first, last = season.days.index[0].date(), season.days.index[-1].date()
    if heat is not None and hot_above is None:
        wave = made_wave(season.weather.daily, heat)
        if wave.end < first or wave.start > last:
            raise _wrong(
                scenario, f"what_if.heat.start = {heat.start} lies outside the season; move it into it", "what_if.heat"
            )
        return wave, "The heat wave here is made up, by [what_if.heat]; it is not in the record."
    found = find_heat_waves(weather.daily, first, last, hot_above=hot_above)
    if found.greatest is None:
        highest = float(season.days["tmax_c"].max())
        raise _wrong(
            scenario,
            f"there is no heat wave from {first} to {last} (highest Tmax {highest:.1f} °C). {found.definition} Lower the "
            "limit with --hot-above, or make a wave with [what_if.heat]",
            "around",
        )
    return found.greatest, found.definition


def _measured(season: Season, start: dt.date, end: dt.date, wave: HeatWave | None) -> dict[tuple[str, str], float]:
    days = slice(pd.Timestamp(start), pd.Timestamp(end))
    found: dict[tuple[str, str], float] = {}
    hours = slice(
        (pd.Timestamp(start) - season.days.index[0]).days * 24,
        ((pd.Timestamp(end) - season.days.index[0]).days + 1) * 24,
    )
    for name, whole in season.controllers.items():
        table, part = whole.loc[days], season.scenario.controller[name]
        floor = part.pan.water_at_reset - part.valve.swing_kg  # kg left at the trip
        found |= {
            (name, "openings"): float(table["openings"].sum()),
            (name, "most_openings_a_day"): float(table["openings"].max()),
            (name, "open_hours"): float(table["open_hours"].sum()),
            (name, "litres"): float(table["litres"].sum()),
            (name, "lowest_level_mm"): (float(season.hourly_level[name][hours].min()) + floor) / part.pan.area,
            (name, "stuck_hours"): float(table["stuck_hours"].sum()),
            (name, "dry_hours"): float(table["dry_hours"].sum()),
        }
    for key, whole in season.beds.items():
        table = whole.loc[days]
        growing = table["growing"]
        found |= {
            (key, "litres"): float(table["litres"].sum()),
            (key, "irrigation_mm"): float(table["irrigation_mm"].sum()),
            (key, "stress_days"): float((growing & (table["driest_ks"] < 1.0)).sum()),
            (key, "stress_days_mean"): float((growing & (table["ks"] < 1.0)).sum()),
            (key, "worst_depletion_percent"): float((100.0 * table["driest_depletion_mm"] / table["taw_mm"]).max()),
            (key, "deep_percolation_mm"): float(table["deep_percolation_mm"].sum()),
        }
        if wave is not None:
            found[key, "recovery_days"] = recovery_days(whole, wave.end)
    return found


def recovery_days(bed: pd.DataFrame, wave_end: dt.date) -> float:
    """
    Count the days after a heat wave on which a bed's driest quarter is still short of water.

    Parameters
    ----------
    bed : DataFrame
        A bed's daily table, as `Season.beds` holds it.
    wave_end : date
        The wave's last day.

    Returns
    -------
    float
        0 when it is not short on the day after; infinite when it is short up to the table's last day.
    """
    after = bed.loc[pd.Timestamp(wave_end) + pd.Timedelta(days=1) :]
    short = (after["growing"] & (after["driest_ks"] < 1.0)).to_numpy(bool)
    if not len(short) or short.all():
        last_is_short = bool((bed.loc[: pd.Timestamp(wave_end), "driest_ks"] < 1.0).iloc[-1])
        return math.inf if len(short) or last_is_short else 0.0
    return float(short.argmin())


def _differences(
    described: dict[str, Scenario],
    spans: tuple[str, ...],
    values: dict[tuple[str, str, str, str], float],
    other: dict[str, dict[tuple[str, str, str, str], float]],
) -> tuple[Difference, ...]:
    names = tuple(described)
    reference = names[0]
    by_key = {(measure.key, "/" in where): measure for where in ("", "/") for measure in _measures(where)}
    found = []
    for span, name, where, key in values:
        if name == reference or span not in spans or (span, reference, where, key) not in values:
            continue
        controller = where.split("/")[0]
        same_pan = described[name].controller[controller].pan == described[reference].controller[controller].pan
        mine, theirs = (span, name, where, key), (span, reference, where, key)
        low, high = _range(mine, values, other)
        found.append(
            Difference(
                span=span,
                where=where,
                measure=by_key[key, "/" in where],
                variant=name,
                against=reference,
                value=values[mine],
                reference=values[theirs],
                low=low,
                high=high,
                verdict=_verdict(mine, theirs, values, other, same_pan=same_pan),
            )
        )
    order = {measure.key: index for index, measure in enumerate((*VALVE_MEASURES, *BED_MEASURES))}
    wheres = list(dict.fromkeys(where for _, _, where, _ in values))
    return tuple(
        sorted(
            found,
            key=lambda d: (spans.index(d.span), names.index(d.variant), wheres.index(d.where), order[d.measure.key]),
        )
    )


def _measures(where: str) -> tuple[Measure, ...]:
    return BED_MEASURES if "/" in where else VALVE_MEASURES


Key = tuple[str, str, str, str]


def _range(key: Key, values: dict[Key, float], other: dict[str, dict[Key, float]]) -> tuple[float, float]:
    three = [values[key], other["less exposure"][key], other["more exposure"][key]]
    return min(three), max(three)


def _verdict(
    mine: Key, theirs: Key, values: dict[Key, float], other: dict[str, dict[Key, float]], *, same_pan: bool
) -> str:
    """Tell a difference from what the pan's uncertainty makes of it; see `RULE`."""

    def sign(a: float, b: float) -> int:
        close = a == b or (math.isfinite(a) and math.isfinite(b) and abs(a - b) <= 1e-9 * max(abs(a), abs(b), 1.0))
        return 0 if close else 1 if a > b else -1

    here = sign(values[mine], values[theirs])
    if here == 0:
        return "none"
    cases = ("other pan model", "less exposure", "more exposure") if same_pan else ("other pan model",)
    if any(sign(other[case][mine], other[case][theirs]) != here for case in cases):
        return "swamped"
    if not same_pan:
        low, high = _range(mine, values, other)
        if low <= values[theirs] <= high:
            return "swamped"
        low, high = _range(theirs, values, other)
        if low <= values[mine] <= high:
            return "swamped"
    return "clear"
