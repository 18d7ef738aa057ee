"""
Comparing: two to six variants of one garden in the same weather, and which of their differences can be trusted.

Each variant is replayed over the whole season, so that soil and pan are in the state that they would be in; what is
compared is then cut out of it. The same is done again with the pan's evaporation less sure, which tells a difference
from what a guess at the pan makes of it.
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
import pandas as pd

from panbudget.errors import Problem, ScenarioError, did_you_mean
from panbudget.extras import Reported, Step, silent
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.heat import HeatWave, find_heat_waves, made_wave
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.studies import common
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

#: the scenario without any variant
AS_DESCRIBED = "as described"
MOST = 6
BEFORE_WAVE, AFTER_WAVE = dt.timedelta(days=5), dt.timedelta(days=14)  # shown around a heat wave
_CODE = "not-comparable"
_ROUNDING = 1e-9  # by which two values may part and count as the same
EXPOSURE_UNSURE = 0.1  # common practice, no source: what a mesh, a colour or a wall does to a pan

_DATA = common.read_data("compare")
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
        raise common.refusal(garden, _CODE, "the days to look at", found, "give the earlier date first")
    season = (min(base.season.start, window[0]), max(base.season.end, window[1]))
    weather = weather or read_scenario_weather(base, *season)
    runs: dict[str, dict[str, Season]] = {name: {} for name in described}
    for name, variant in described.items():
        for case, changed in _cases(variant).items():
            step(f"replaying {name}" + (f", {case}" if case != "value" else ""))
            runs[name][case] = replay(changed, start=season[0], end=season[1], weather=weather)
    seasons = {name: cases["value"] for name, cases in runs.items()}
    wave, definition = None, ""
    if around_heat:
        wave, definition = _wave(base, seasons[names[0]], hot_above)
        window = max(season[0], wave.start - BEFORE_WAVE), min(season[1], wave.end + AFTER_WAVE)
    spans = {"window": window, "season": season} if window != season else {"season": season}
    measured = {
        (span, name): pd.DataFrame({case: _measured(run, *days, wave) for case, run in cases.items()})
        for span, days in spans.items()
        for name, cases in runs.items()
    }
    values = pd.concat(measured, names=["span", "variant", "where", "measure"])
    differences = [
        _differences(described, span, name, mine, measured[span, names[0]])
        for (span, name), mine in measured.items()
        if name != names[0]
    ]
    return Comparison(garden, seasons, *window, wave, definition, values, pd.concat(differences, ignore_index=True))


def _refuse_days(
    scenario: Scenario, around_heat: bool, hot_above: float | None, start: dt.date | None, end: dt.date | None
) -> None:
    if hot_above is not None and not around_heat:
        found = f"{hot_above:g} °C is for the heat wave to look at, and no heat wave is asked for"
        raise common.refusal(scenario, _CODE, "hot above", found, "look around the heat wave, or leave it out")
    if around_heat and (start is not None or end is not None):
        found = "is chosen by the heat wave itself"
        raise common.refusal(scenario, _CODE, "the first or last day to look at", found, "leave out start and end")


def _described(scenario: Scenario, names: Sequence[str]) -> dict[str, Scenario]:
    """Check what was asked for, all of it, and lay the variants over the garden."""
    problems = list(_wrong_names(scenario, names))
    if not problems:
        described = {name: scenario if name == AS_DESCRIBED else scenario.with_variant(name) for name in names}
        problems = list(_other_days(described))
    if problems:
        raise ScenarioError(*problems, file=str(scenario.path))
    return described


def _wrong_names(scenario: Scenario, names: Sequence[str]) -> Iterator[Problem]:
    known = f"the file has: {', '.join(scenario.variant) or 'none'}"
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield Problem("twice", "variant", f'"{name}" is asked for twice', "", "name each variant once", name)
    for name in dict.fromkeys(names):
        if name == AS_DESCRIBED and name in scenario.variant:
            yield Problem("taken", f'[variant."{name}"]', "has the name of the garden itself", "", "rename it")
        elif name != AS_DESCRIBED and name not in scenario.variant and not name.endswith(".toml"):
            cure = did_you_mean(name, [*scenario.variant, AS_DESCRIBED], known)
            yield Problem("unknown-variant", f"[variant.{name}]", "is not in this file", "", cure, name)
    count = len(set(names))
    if not 2 <= count <= MOST:
        more = f'name another ({known}), or "{AS_DESCRIBED}" for the garden without any'
        cure = more if count < 2 else "leave some out"
        yield Problem("how-many", "compare", f"takes two to {MOST} variants and was given {count}", "", cure)


def _other_days(described: Mapping[str, Scenario]) -> Iterator[Problem]:
    """Variants that would not be compared in the same weather and days."""
    first_name, first = next(iter(described.items()))
    for name, variant in described.items():
        other = [
            key for key in ("site", "weather", "season", "what_if") if getattr(variant, key) != getattr(first, key)
        ]
        if other:
            where = f'"{name}"' if name == AS_DESCRIBED else f"[variant.{name}]"
            found = f'has another {" and ".join(other)} than "{first_name}"'
            expected = "variants in the same weather and days"
            yield Problem("other-days", where, found, expected, "leave it out or replay it by itself")


def _cases(scenario: Scenario) -> dict[str, Scenario]:
    """The garden as it is, and with pans that evaporate otherwise."""

    def changed(key: str, change: Callable[[Any], Any]) -> Scenario:
        return scenario.changed(common.each_controller(scenario, lambda part: {"pan": {key: change(part.pan)}}))

    return {
        "value": scenario,
        _LESS: changed("exposure", lambda pan: pan.exposure * (1.0 - EXPOSURE_UNSURE)),
        _MORE: changed("exposure", lambda pan: min(pan.exposure * (1.0 + EXPOSURE_UNSURE), 5.0)),
        _OTHER: changed("evaporation", lambda pan: "energy-balance" if pan.evaporation == "from-eto" else "from-eto"),
    }


def _wave(scenario: Scenario, season: Season, hot_above: float | None) -> tuple[HeatWave, str]:
    heat = scenario.what_if.heat
    first, last = season.days.index[0].date(), season.days.index[-1].date()
    if heat is not None and hot_above is None:
        wave = made_wave(season.weather.daily, heat)
        if wave.end < first or wave.start > last:
            found = f"= {heat.start} lies outside the season"
            raise common.refusal(scenario, _CODE, "what_if.heat.start", found, "move it into it")
        return wave, "The heat wave here is made up, by [what_if.heat]; it is not in the record."
    # a made-up wave is in the season's weather, and counts
    waves = find_heat_waves(season.weather.daily, first, last, hot_above=hot_above)
    if waves.greatest is None:
        highest = float(season.days["tmax_c"].max())
        found = f"has no heat wave from {first} to {last} (highest Tmax {highest:.1f} °C). {waves.definition}"
        cure = "lower the limit, or make a wave up with [what_if.heat]"
        raise common.refusal(scenario, _CODE, "the weather", found.rstrip("."), cure)
    made = made_wave(season.weather.daily, heat) if heat is not None else None
    overlaps = made is not None and made.start <= waves.greatest.end and waves.greatest.start <= made.end
    return dataclasses.replace(waves.greatest, made=overlaps), waves.definition


def _measured(season: Season, start: dt.date, end: dt.date, wave: HeatWave | None) -> pd.Series[float]:
    """A season's measures over some days of it; index where and the measure's key."""
    days = season.days.index.slice_indexer(pd.Timestamp(start), pd.Timestamp(end))
    values: dict[tuple[str, str], float] = {}
    for name, whole in season.controllers.items():
        table = whole.iloc[days]
        at_valve = _sums(table, VALVE_MEASURES)
        at_valve["most_openings_a_day"] = float(table["openings"].max())
        at_valve["lowest_level_mm"] = common.lowest_level(season, name, days)
        values |= {(name, key): at_valve[key] for key in VALVE_MEASURES}
    for name, whole in season.beds.items():
        table = whole.iloc[days]
        in_bed = _sums(table, BED_MEASURES)
        in_bed["stress_days"] = float(common.short_of_water(table).sum())
        in_bed["stress_days_mean"] = float(common.short_of_water(table, "ks").sum())
        depletion = 100.0 * table["driest_morning_depletion_mm"] / table["taw_mm"]
        in_bed["worst_depletion_percent"] = float(depletion.where(table["growing"], 0.0).max())
        if wave is not None:
            in_bed["recovery_days"] = recovery_days(whole, wave.end)
        values |= {(name, key): in_bed[key] for key in BED_MEASURES if key in in_bed}
    return pd.Series(values)


def _sums(table: pd.DataFrame, measures: Iterable[str]) -> dict[str, float]:
    """The measures that are sums of a daily table's columns."""
    return {key: float(table[key].sum()) for key in measures if key in table}


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
        Up to the end of the first run of short days that begins within `AFTER_WAVE`; 0 when there is none; infinite when
        that run lasts to the table's last day.
    """
    short = common.short_of_water(bed)
    after = short.loc[pd.Timestamp(wave_end) + pd.Timedelta(days=1) :].to_numpy()
    if not after[: AFTER_WAVE.days].any():
        return math.inf if not len(after) and short.iloc[-1] else 0.0
    first = int(after.argmax())
    return math.inf if after[first:].all() else float(first + after[first:].argmin())


def _differences(
    described: Mapping[str, Scenario], span: str, name: str, mine: pd.DataFrame, base: pd.DataFrame
) -> pd.DataFrame:
    """One variant's measures beside the first variant's, as `Comparison.differences` has them."""
    reference = next(iter(described))
    shared = [key for key in base.index if key in mine.index]
    places = list(dict.fromkeys(where for where, _ in shared))
    shared.sort(key=lambda key: (places.index(key[0]), _ROWS[key[1]]))
    mine, base = mine.loc[shared], base.loc[shared]
    where, measure = zip(*shared, strict=True)
    one, other = (described[variant].controller for variant in (name, reference))
    same_pan = [one[key].pan == other[key].pan for key in (place.split("/")[0] for place in where)]
    return pd.DataFrame(
        {
            "span": span,
            "where": where,
            "measure": measure,
            "unit": [measure_of(*key).unit for key in shared],
            "variant": name,
            "against": reference,
            "value": mine["value"],
            "reference": base["value"],
            "difference": np.where(mine["value"] == base["value"], 0.0, mine["value"] - base["value"]),
            **dict(zip(("low", "high"), _range(mine), strict=True)),
            "verdict": _verdicts(mine, base, np.array(same_pan)),
        }
    )


def _range(measures: pd.DataFrame) -> tuple[pd.Series[float], pd.Series[float]]:
    """Least and most of measures under 10 % of exposure."""
    near = measures[["value", _LESS, _MORE]]
    return near.min(axis=1), near.max(axis=1)


def _verdicts(mine: pd.DataFrame, base: pd.DataFrame, same_pan: Any) -> Any:
    """Tell differences from what the pan's uncertainty makes of them; see `RULE`."""
    signs = {case: np.array([_sign(*pair) for pair in zip(mine[case], base[case], strict=True)]) for case in mine}
    turned = {case: sign != signs["value"] for case, sign in signs.items()}
    within = base["value"].between(*_range(mine)) | mine["value"].between(*_range(base))
    swamped = turned[_OTHER] | np.where(same_pan, turned[_LESS] | turned[_MORE], within)
    return np.where(signs["value"] == 0, "none", np.where(swamped, "swamped", "clear"))


def _sign(value: float, other: float) -> int:
    """Which way a value differs from another: 1, -1, or 0 where they are the same but for rounding."""
    if math.isclose(value, other, rel_tol=_ROUNDING, abs_tol=_ROUNDING):
        return 0
    return 1 if value > other else -1
