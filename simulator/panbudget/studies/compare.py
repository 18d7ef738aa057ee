"""
Comparing: two to six variants of one garden in the same weather, and which of their differences can be trusted.

Each variant is replayed over the whole season, so that soil and pan are in the state that they would be in; what is
compared is then cut out of it. The same is done again with the pan's evaporation less sure, which tells a difference
from what a guess at the pan makes of it.
"""

from __future__ import annotations

import datetime as dt
import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import pandas as pd

from panbudget.errors import Problem, ScenarioError, did_you_mean
from panbudget.extras import Reported, Step, silent
from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.heat import HeatWave, find_heat_waves, made_wave
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

#: the scenario without any variant
AS_DESCRIBED = "as described"
MOST = 6
BEFORE_WAVE, AFTER_WAVE = dt.timedelta(days=5), dt.timedelta(days=14)  # shown around a heat wave
EXPOSURE_UNSURE = 0.1  # common practice, no source: what a mesh, a colour or a wall does to a pan

#: how a difference is told from what the input's uncertainty makes
RULE = (
    "The pan's evaporation is the least sure of all that goes in. So each variant is computed again with 10 % less and "
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
    label : str
    unit : str
        Empty for a count.
    decimals : int
        In tables.
    """

    label: str
    unit: str = ""
    decimals: int = 0


VALVE_MEASURES = {
    "openings": Measure("openings"),
    "most_openings_a_day": Measure("most openings in a day"),
    "open_hours": Measure("hours open", "h", 1),
    "litres": Measure("water, refill included", "L"),
    "lowest_level_mm": Measure("lowest level above the pan's floor", "mm"),
    "stuck_hours": Measure("held open by evaporation", "h", 1),
    "dry_hours": Measure("pan dry", "h", 1),
}
BED_MEASURES = {
    "litres": Measure("water", "L"),
    "irrigation_mm": Measure("water", "mm"),
    "stress_days": Measure("days short of water, driest quarter"),
    "stress_days_mean": Measure("days short of water, bed's mean"),
    "worst_depletion_percent": Measure("worst depletion, driest quarter", "% of TAW"),
    "deep_percolation_mm": Measure("drained below the roots", "mm"),
    "recovery_days": Measure("recovery after the wave", "days"),
}
# where a measure stands in compare.csv: a valve's litres after its other measures
_ROWS = {key: at for at, key in enumerate((*VALVE_MEASURES, *BED_MEASURES))}
#: how the pan may evaporate otherwise: what is replayed again for each variant
_LESS, _MORE, _OTHER = "less exposure", "more exposure", "other pan model"


def measure_of(where: str, key: str) -> Measure:
    """Return the measure of a valve, or of a bed ("CONTROLLER/BED"), that has this key in files."""
    return (BED_MEASURES if "/" in where else VALVE_MEASURES)[key]


@dataclass(frozen=True)
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
        ``value``, and what it is with less exposure, more exposure and the other pan model. A recovery that did not
        come within the season is infinite.
    differences : DataFrame
        A row for each measure of each variant beside the first: ``span``, ``where``, ``measure``, ``unit``, ``variant``,
        ``against``, ``value``, ``reference``, ``difference``, the value's range ``low`` to ``high`` under 10 % of
        exposure, and the ``verdict``: "none", "clear" or "swamped".
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
    scenario: Scenario | str | Path,
    names: Sequence[str],
    *,
    around_heat: bool = False,
    hot_above: float | None = None,
    start: dt.date | None = None,
    end: dt.date | None = None,
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
        Variants, two to six; "as described" is the scenario without any. The first is what the others are measured
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
        Told what is being done, once a replay: four replays a variant.

    Returns
    -------
    Comparison

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
    window = (start or base.season.start, end or base.season.end)
    if window[1] < window[0]:
        found = f"end, {window[1]}, before they start, {window[0]}"
        raise _wrong(garden, "the days to look at", found, "give the earlier date first")
    season = (min(base.season.start, window[0]), max(base.season.end, window[1]))
    weather = weather or read_scenario_weather(base, *season)
    runs: dict[str, dict[str, Season]] = {}
    for name, variant in described.items():
        runs[name] = {}
        for case, changed in _cases(variant).items():
            step(f"replaying {name}" + (f", {case}" if case != "value" else ""))
            runs[name][case] = replay(changed, start=season[0], end=season[1], weather=weather)
    seasons = {name: cases["value"] for name, cases in runs.items()}
    wave, definition = None, ""
    if around_heat:
        wave, definition = _wave(base, weather, seasons[names[0]], hot_above)
        window = max(season[0], wave.start - BEFORE_WAVE), min(season[1], wave.end + AFTER_WAVE)
    spans = {"window": window, "season": season} if window != season else {"season": season}
    values = pd.DataFrame.from_dict(
        {
            (span, name, where, key): {case: measured[where, key] for case, measured in cases.items()}
            for span, days in spans.items()
            for name, replayed in runs.items()
            for cases in [{case: _measured(run, *days, wave) for case, run in replayed.items()}]
            for where, key in cases["value"]
        },
        orient="index",
    )
    values.index = pd.MultiIndex.from_tuples(values.index, names=["span", "variant", "where", "measure"])
    differences = _differences(described, values)
    return Comparison(garden, seasons, *window, wave, definition, values, differences)


def _wrong(scenario: Scenario, where: str, found: str, cure: str) -> ScenarioError:
    return ScenarioError(Problem("not-comparable", where, found, cure=cure), file=str(scenario.path))


def _refuse_days(
    scenario: Scenario, around_heat: bool, hot_above: float | None, start: dt.date | None, end: dt.date | None
) -> None:
    if hot_above is not None and not around_heat:
        found = f"{hot_above:g} °C is for the heat wave to look at, and no heat wave is asked for"
        raise _wrong(scenario, "hot above", found, "look around the heat wave, or leave it out")
    if around_heat and (start is not None or end is not None):
        found = "is chosen by the heat wave itself"
        raise _wrong(scenario, "the first or last day to look at", found, "leave out start and end")


def _described(scenario: Scenario, names: Sequence[str]) -> dict[str, Scenario]:
    """Check what was asked for, all of it, and lay the variants over the garden."""
    known = ", ".join(scenario.variant) or "none"
    problems = [
        Problem("twice", "variant", f'"{name}" is asked for twice', cure="name each variant once", value=name)
        for name in sorted({name for name in names if names.count(name) > 1})
    ]
    for name in dict.fromkeys(names):
        if name == AS_DESCRIBED and name in scenario.variant:
            problems.append(
                Problem("taken", f'[variant."{name}"]', "has the name of the garden itself", cure="rename it")
            )
        elif name != AS_DESCRIBED and name not in scenario.variant:
            cure = did_you_mean(name, [*scenario.variant, AS_DESCRIBED], f"the file has: {known}")
            problems.append(
                Problem("unknown-variant", f"[variant.{name}]", "is not in this file", cure=cure, value=name)
            )
    count = len(set(names))
    if not 2 <= count <= MOST:
        more = f'name another (the file has: {known}), or "{AS_DESCRIBED}" for the garden without any'
        cure = more if count < 2 else "leave some out"
        problems.append(
            Problem("how-many", "compare", f"takes two to {MOST} variants and was given {count}", cure=cure)
        )
    if problems:
        raise ScenarioError(*problems, file=str(scenario.path))
    described = {name: scenario if name == AS_DESCRIBED else scenario.with_variant(name) for name in names}
    first = described[names[0]]
    for name, variant in described.items():
        other = [k for k in ("site", "weather", "season", "what_if") if getattr(variant, k) != getattr(first, k)]
        if other:
            found = f'has another {" and ".join(other)} than "{names[0]}"'
            expected = "variants in the same weather and days"
            where = f'"{name}"' if name == AS_DESCRIBED else f"[variant.{name}]"
            problems.append(Problem("other-days", where, found, expected, "leave it out or replay it by itself"))
    if problems:
        raise ScenarioError(*problems, file=str(scenario.path))
    return described


def _cases(scenario: Scenario) -> dict[str, Scenario]:
    """The garden as it is, and with pans that evaporate otherwise."""

    def changed(key: str, change: Callable[[Any], Any]) -> Scenario:
        pans = {name: {"pan": {key: change(part.pan)}} for name, part in scenario.controller.items()}
        return scenario.changed({"controller": pans})

    return {
        "value": scenario,
        _LESS: changed("exposure", lambda pan: pan.exposure * (1.0 - EXPOSURE_UNSURE)),
        _MORE: changed("exposure", lambda pan: min(pan.exposure * (1.0 + EXPOSURE_UNSURE), 5.0)),
        _OTHER: changed("evaporation", lambda pan: "energy-balance" if pan.evaporation == "from-eto" else "from-eto"),
    }


def _wave(scenario: Scenario, weather: Weather, season: Season, hot_above: float | None) -> tuple[HeatWave, str]:
    heat = scenario.what_if.heat
    first, last = season.days.index[0].date(), season.days.index[-1].date()
    if heat is not None and hot_above is None:
        wave = made_wave(season.weather.daily, heat)
        if wave.end < first or wave.start > last:
            raise _wrong(
                scenario, "what_if.heat.start", f"= {heat.start} lies outside the season", cure="move it into it"
            )
        return wave, "The heat wave here is made up, by [what_if.heat]; it is not in the record."
    waves = find_heat_waves(weather.daily, first, last, hot_above=hot_above)
    if waves.greatest is None:
        highest = float(season.days["tmax_c"].max())
        found = f"has no heat wave from {first} to {last} (highest Tmax {highest:.1f} °C). {waves.definition}"
        cure = "lower the limit, or make a wave up with [what_if.heat]"
        raise _wrong(scenario, "the weather", found.rstrip("."), cure)
    return waves.greatest, waves.definition


def _measured(season: Season, start: dt.date, end: dt.date, wave: HeatWave | None) -> dict[tuple[str, str], float]:
    """(Where, measure's key) -> value over some days of a season."""
    days = slice(pd.Timestamp(start), pd.Timestamp(end))
    rows = season.days.index.slice_indexer(days.start, days.stop)
    values: dict[tuple[str, str], float] = {}
    for name, whole in season.controllers.items():
        table, part = whole.loc[days], season.scenario.controller[name]
        floor = part.pan.water_at_reset - part.valve.swing_kg  # kg left at the trip
        lowest = float(season.hourly_level[name][rows.start * 24 : rows.stop * 24].min())
        sums = {
            key: float(table[key].sum()) for key in ("openings", "open_hours", "litres", "stuck_hours", "dry_hours")
        }
        of_valve = {
            **sums,
            "most_openings_a_day": float(table["openings"].max()),
            "lowest_level_mm": (lowest + floor) / part.pan.area,
        }
        values |= {(name, key): of_valve[key] for key in VALVE_MEASURES}
    for key, whole in season.beds.items():
        table = whole.loc[days]
        of_bed = {
            **{name: float(table[name].sum()) for name in ("litres", "irrigation_mm", "deep_percolation_mm")},
            "stress_days": float((table["growing"] & (table["driest_ks"] < 1.0)).sum()),
            "stress_days_mean": float((table["growing"] & (table["ks"] < 1.0)).sum()),
            "worst_depletion_percent": float((100.0 * table["driest_depletion_mm"] / table["taw_mm"]).max()),
        }
        if wave is not None:
            of_bed["recovery_days"] = recovery_days(whole, wave.end)
        values |= {(key, name): of_bed[name] for name in BED_MEASURES if name in of_bed}
    return values


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


def _differences(described: dict[str, Scenario], values: pd.DataFrame) -> pd.DataFrame:
    reference, *others = described
    parts, flat = [], values.reset_index()
    for span in flat["span"].unique():
        here = flat[flat["span"] == span]
        theirs = here[here["variant"] == reference].set_index(["where", "measure"])
        for name in others:
            whole = here[here["variant"] == name].set_index(["where", "measure"])
            shared = [key for key in theirs.index if key in whole.index]
            wheres = list(dict.fromkeys(where for where, _ in shared))
            shared.sort(key=lambda key: (wheres.index(key[0]), _ROWS[key[1]]))
            both = pd.MultiIndex.from_tuples(shared, names=theirs.index.names)
            mine, base = whole.reindex(both), theirs.reindex(both)
            where = both.get_level_values("where")
            pans = [
                described[name].controller[key.split("/")[0]].pan
                == described[reference].controller[key.split("/")[0]].pan
                for key in where
            ]
            near = mine[["value", _LESS, _MORE]]
            difference = np.where(mine["value"] == base["value"], 0.0, mine["value"] - base["value"])
            part = both.to_frame(index=False).assign(
                span=span,
                unit=[measure_of(*key).unit for key in both],
                variant=name,
                against=reference,
                value=mine["value"].to_numpy(),
                reference=base["value"].to_numpy(),
                difference=difference,
                low=near.min(axis=1).to_numpy(),
                high=near.max(axis=1).to_numpy(),
                verdict=_verdicts(mine, base, np.array(pans)),
            )
            parts.append(part[["span", *(name for name in part if name != "span")]])
    table: pd.DataFrame = pd.concat(parts, ignore_index=True)
    return table


def _verdicts(mine: pd.DataFrame, base: pd.DataFrame, same_pan: Any) -> Any:
    """Tell differences from what the pan's uncertainty makes of them; see `RULE`."""
    here = _signs(mine["value"].to_numpy(), base["value"].to_numpy())
    turned = {case: _signs(mine[case].to_numpy(), base[case].to_numpy()) != here for case in (_LESS, _MORE, _OTHER)}
    within = np.zeros(len(here), bool)
    for value, ranged in ((base["value"], mine), (mine["value"], base)):
        near = ranged[["value", _LESS, _MORE]]
        within |= ((near.min(axis=1) <= value) & (value <= near.max(axis=1))).to_numpy()
    swamped = turned[_OTHER] | np.where(same_pan, turned[_LESS] | turned[_MORE], within)
    return np.where(here == 0, "none", np.where(swamped, "swamped", "clear"))


def _signs(values: Floats, others: Floats) -> Floats:
    """Which way values differ from others: 1, -1, or 0 where they are the same but for rounding."""
    with np.errstate(invalid="ignore"):  # of two that are infinite
        apart = np.abs(values - others)
        close = apart <= 1e-9 * np.maximum(np.maximum(np.abs(values), np.abs(others)), 1.0)
    same = (values == others) | (close & np.isfinite(values) & np.isfinite(others))
    return np.where(same, 0.0, np.where(values > others, 1.0, -1.0))
