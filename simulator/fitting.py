"""
Fitting: a field log tunes the model to a real pan: exposure, and refill flow or swing where the log can tell them apart.

Units: kg of water (= litres), mm in the pan, solar hours. The likelihood is `fit_filter`'s, the search `fit_search`'s; here
is what is tried in which order, what a log is found not to tell, and what is said of its lines.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from simulator import engine
from simulator.arrays import Floats
from simulator.errors import Problem, ReadingsError
from simulator.faults import with_faults
from simulator.field_log import FieldLog, Visit, read_field_log
from simulator.fit_filter import Account, Tally, account, sighted, tally
from simulator.fit_losses import lost_between
from simulator.fit_meter import metered_counts, refill_by_meter
from simulator.fit_pan import NAMES, PanModel
from simulator.fit_readings import QUANTISED, gather, raw_residuals, standard_errors, zeros_of
from simulator.fit_search import CONTENDS, Place, narrowed, places, quantiles, with_swing
from simulator.forcing import Forcing, prepare
from simulator.scenario import Controller, Scenario
from simulator.season import Season, read_scenario_weather, replay
from simulator.weather import Weather

__all__ = ["ControllerFit", "Estimate", "Fit", "fit", "fit_controller"]

MOST_ERROR = 0.1  # relative standard error beyond which a parameter counts as not told
# a weighing or a jug is better than a log that tells no nearer than this and does not contradict it
SURE_ERROR, AGREES = 0.02, 2.5  # relative standard error; standard errors
BETTER = 4.0  # log likelihood by which another swing must go better with the log
LEAST_METER, LEAST_LEVELS = 4, 12
MOST_GRAIN = 0.5  # of the swing's depth, to which levels may be rounded
MOST_TIMELESS = 0.1  # share of the visits without a time of day
METER_ALONE = "a meter alone tells the exposure over the refill flow; openings counted beside it would part them"
_ALIKE = 0.04  # of a logarithm: so near, two exposures are one
_LIKELY_REFILL = (
    0.12  # standard deviation of a refill flow's logarithm, of those described (common practice, no source)
)
_FINE = 4.0  # looks an hour, for the moments of openings
_OUTLYING = 3.5  # standard errors


@dataclass(frozen=True)
class Estimate:
    """
    One parameter.

    Parameters
    ----------
    name : str
        One of `NAMES`.
    described, value, low, high : float
        As described, as fitted, and the interval. [exposure: -; refill: L/h; swing: kg]
    factor : float
        Fitted over described.
    """

    name: str
    described: float
    value: float
    low: float
    high: float
    factor: float


@dataclass(frozen=True)
class ControllerFit:
    """
    What a log says of one pan.

    Parameters
    ----------
    name : str
    estimates : tuple of Estimate
    untold : dict
        Parameter -> why it stays as described.
    condition : float
        Of the estimates' covariance; 1 is best. [-]
    readings : DataFrame
        One row a reading: ``line``, ``date``, ``kind`` ("level", "count", "meter"), ``residual``, ``before`` (with the
        scenario as described) [mm; for the meter L], ``error`` (the reading's standard error), ``set_aside`` (0 or 1).
    lost : DataFrame
        One row a pair of visits: ``start``, ``end``, ``observed``, ``before``, ``after``: net loss. [mm/day]
    questioned : tuple of (int, str)
        Line, and what looks wrong there.
    rms_before, rms_after : float
        Of levels and counts, those set aside left out. [mm]
    walk : float
        Standard deviation by which a cycle departs from the model's, cycle by cycle. [-]
    """

    name: str
    estimates: tuple[Estimate, ...]
    untold: dict[str, str]
    condition: float
    readings: pd.DataFrame
    lost: pd.DataFrame
    questioned: tuple[tuple[int, str], ...]
    rms_before: float
    rms_after: float
    walk: float


@dataclass(frozen=True)
class Fit:
    """
    A log's fit.

    Parameters
    ----------
    scenario : Scenario
    log : FieldLog
    interval : float
        What share of such intervals hold the truth. [-]
    controllers : dict of ControllerFit
    before, after : Season
        The scenario's season as described, and as fitted.
    """

    scenario: Scenario
    log: FieldLog
    interval: float
    controllers: dict[str, ControllerFit]
    before: Season
    after: Season

    @property
    def overlay(self) -> dict[str, Any]:
        """What differs, as a variant has it."""
        return {"controller": {name: _overlay(one) for name, one in self.controllers.items()}}

    @property
    def toml(self) -> str:
        """The overlay as the lines of a variant."""
        lines = ["[variant.fitted]"]
        for name, one in self.controllers.items():
            if "exposure" in one.untold:
                lines.append(f"# {name}: {one.untold['exposure']}")
            key = f"controller.{_quoted(name)}"
            for estimate in one.estimates:
                path, value = _setting(estimate)
                lines.append(f"{key}.{path} = {value}")
        return "\n".join(lines) + "\n"


def _quoted(name: str) -> str:
    import json

    return name if name.isascii() and name.replace("-", "").replace("_", "").isalnum() else json.dumps(name)


def _setting(estimate: Estimate) -> tuple[str, str]:
    return {
        "exposure": ("pan.exposure", f"{estimate.value:.4f}"),
        "refill": ("valve.refill.flow", f'"{estimate.value:.4f} L/h"'),
        "swing": ("valve.swing", f'"{1000.0 * estimate.value:.1f} g"'),
    }[estimate.name]


def _overlay(one: ControllerFit) -> dict[str, Any]:
    part: dict[str, Any] = {}
    for estimate in one.estimates:
        path, value = _setting(estimate)
        *way, last = path.split(".")
        below = part
        for key in way:
            below = below.setdefault(key, {})
        below[last] = float(value) if estimate.name == "exposure" else value.strip('"')
    return part


def fit(
    scenario: Scenario,
    log: Path | FieldLog,
    *,
    interval: float | None = None,
    hold: Sequence[str] = (),
    weather: Weather | None = None,
    step: Callable[[str], None] = lambda text: None,
    run: Callable[..., int] = engine.run_season,
) -> Fit:
    """
    Tune a scenario to a field log.

    Parameters
    ----------
    scenario : Scenario
    log : Path or FieldLog
    interval : float, optional
        Share of intervals that are to hold the truth; the scenario's ``statement.interval`` if left out.
    hold : sequence of str
        "refill", "swing": kept as described, whatever the log says.
    weather : Weather, optional
        Already read; must hold the log's days and the season.
    step : callable
        Told what is being done.
    run : callable
        The engine.

    Returns
    -------
    Fit

    Raises
    ------
    ScenarioError, WeatherError, ReadingsError
    """
    read = log if isinstance(log, FieldLog) else read_field_log(log, scenario)
    season = scenario.season
    weather = weather or read_scenario_weather(scenario, min(season.start, read.first), max(season.end, read.last))
    held = weather.daily.index
    if read.first < held[0].date() or read.last > held[-1].date():
        message = (
            f"runs from {read.first} to {read.last} and the weather file {scenario.weather.file} from {held[0].date()} to "
            f"{held[-1].date()}; it must hold all of the log's days"
        )
        raise ReadingsError(Problem(message, "date"), file=read.file)
    level = interval if interval is not None else scenario.statement.interval
    forcing = with_faults(scenario, prepare(scenario, weather, read.first, read.last))
    found = {}
    for row, name in enumerate(scenario.controller):
        if name in read.visits:
            step(f"fitting {name}")
            found[name] = fit_controller(scenario, forcing, row, read.visits[name], interval=level, hold=hold, run=run)
    step("replaying as described and as fitted")
    before = replay(scenario, weather=weather)
    overlay = {"controller": {name: _overlay(one) for name, one in found.items()}}
    after = replay(scenario.changed(overlay), weather=weather)
    return Fit(scenario, read, level, found, before, after)


def fit_controller(
    scenario: Scenario,
    forcing: Forcing,
    row: int,
    visits: tuple[Visit, ...],
    *,
    interval: float,
    hold: Sequence[str] = (),
    run: Callable[..., int] = engine.run_season,
) -> ControllerFit:
    """
    Fit one pan.

    Parameters
    ----------
    scenario : Scenario
    forcing : Forcing
        Of the log's days.
    row : int
        The controller's place.
    visits : tuple of Visit
        With hours since the forcing's first day.
    interval : float
        Share of intervals that are to hold the truth. [-]
    hold : sequence of str
        Kept as described.
    run : callable
        The engine.

    Returns
    -------
    ControllerFit

    Raises
    ------
    ReadingsError
        Nothing in the log moves with the pan.

    Notes
    -----
    A likelihood over visits in which any count and any level may be wrong (`fit_filter`), for every exposure from a
    quarter to three times the one described; intervals are its quantiles, widened as Student's t is over the normal.
    Where more than one exposure goes with the log, or it leaves the exposure open by more than a tenth, none is given.
    The swing is tried where levels stand beside counts, the refill flow where a meter does. What the log leaves open by
    more than a tenth stays as described; so does what it agrees with and tells less well than a scale or a jug would.
    Bed emitters and the meter are taken as they are.
    """
    from scipy.stats import norm as normal
    from scipy.stats import t as student

    name = list(scenario.controller)[row]
    pan = PanModel(scenario, forcing, row, visits, run)
    if not gather(pan, {}).listed:
        raise ReadingsError(f"{name}: nothing in the log follows the pan; count openings, or measure its level")
    untold = _beforehand(visits, hold)
    low, high = scenario.statement.refill_flow
    best = _searched(pan, untold, doubt=float(np.log(high / low)) * QUANTISED)
    described = _described(scenario.controller[name])
    spoilt = _account(pan, best)
    estimates = []
    for one in NAMES:
        if one in untold or one not in best.errors or "exposure" in untold:
            continue
        log, error = float(np.log(best.place.factors.get(one, 1.0))), best.errors[one]
        half = float(student.ppf(0.5 + interval / 2.0, best.freedom))
        sides = [-half * error, half * error]
        if one == "exposure" and "swing" not in best.errors:
            shares = np.array([0.5 - interval / 2.0, 0.5, 0.5 + interval / 2.0])
            logs, _ = quantiles(pan, best.seen, best.place, shares)
            log, wider = float(logs[1]), half / float(normal.ppf(0.5 + interval / 2.0))
            sides = [wider * float(side - logs[1]) for side in logs[::2]]
        if one == "exposure":
            sides = [float(np.copysign(np.hypot(side, half * best.doubt), side)) for side in sides]
        factor, low, high = (float(np.exp(log + side)) for side in (0.0, *sides))
        estimates.append(
            Estimate(one, described[one], described[one] * factor, described[one] * low, described[one] * high, factor)
        )
    factors = {one.name: one.factor for one in estimates}
    untold = {one: untold[one] for one in NAMES if one in untold}
    return _told(name, pan, best, spoilt, factors, tuple(estimates), untold)


def _described(controller: Controller) -> dict[str, float]:
    return {
        "exposure": controller.pan.exposure,
        "refill": controller.valve.refill.flow,
        "swing": controller.valve.swing_kg,
    }


def _beforehand(visits: tuple[Visit, ...], hold: Sequence[str]) -> dict[str, str]:
    """What the log can't tell, whatever it says, and why."""
    counted = sum(visit.openings is not None for visit in visits)
    levels = sum(visit.level is not None for visit in visits)
    untold = dict.fromkeys(hold, "held as described, as asked")
    if "refill" not in untold:
        if sum(visit.meter is not None for visit in visits) < LEAST_METER:
            untold["refill"] = f"a meter read {LEAST_METER} times or more would tell it"
        elif max(counted, levels) < LEAST_METER:
            untold["refill"] = METER_ALONE
    if "swing" not in untold:
        if sum(not visit.timed for visit in visits) > MOST_TIMELESS * len(visits):
            untold["swing"] = "levels without the time of day can't tell it"
        elif counted < LEAST_LEVELS:
            untold["swing"] = f"openings counted at {LEAST_LEVELS} visits or more, beside levels, would tell it"
        elif levels < LEAST_LEVELS:
            untold["swing"] = f"levels by ruler at {LEAST_LEVELS} visits or more would tell it"
    return untold


@dataclass
class _Best:
    """Where the search ended: the pan, errors of logarithms by name, the log as it was taken."""

    place: Place
    errors: dict[str, float]
    seen: Tally
    condition: float = 1.0
    doubt: float = 0.0  # what the refill flow as described adds to the exposure's error

    @property
    def freedom(self) -> int:
        return max(len(self.seen.kept) - 1 - len(self.errors), 2)


def _contenders(found: list[Place]) -> list[float]:
    """Factors of all exposures that a log goes with about as well as with the first."""
    return [
        one.factors["exposure"]
        for one in found
        if one is found[0]
        or (
            one.value > found[0].value - CONTENDS
            and abs(np.log(one.factors["exposure"] / found[0].factors["exposure"])) > _ALIKE
        )
    ]


def _searched(pan: PanModel, untold: dict[str, str], doubt: float) -> _Best:
    """Search, and add to ``untold`` what the log turns out not to tell."""
    own: list[float | None] = [visit.openings for visit in pan.visits]
    counted = any(one is not None for one in own)
    levels = any(visit.level is not None for visit in pan.visits)
    metered = sum(visit.meter is not None for visit in pan.visits) > 1
    seen = tally(pan, own)
    found = places(pan, seen, {}) if counted or levels else []
    if found and not counted and len(_contenders(found)) > 1 and metered and "refill" not in untold:
        found = _by_likely_refill(pan, own, found)
    if metered and not counted and (not found or len(_contenders(found)) > 1):
        untold.setdefault("refill", METER_ALONE)
        factors: dict[str, float] = {}
        for _ in range(3):  # the litres of an opening depend a little on the exposure
            seen = tally(pan, *metered_counts(pan, own, factors))
            found = places(pan, seen, {})
            factors = found[0].factors
    best = _Best(found[0], {}, seen)
    several = sorted(_contenders(found))
    if len(several) > 1:
        named = ", ".join(f"{one * pan.exposure:.2f}" for one in several)
        untold["exposure"] = (
            f"this log goes about as well with {named}; openings counted beside it would tell them apart"
        )
        return best
    best = _timed(pan, best)
    swing_mm = pan.swing / pan.area
    if "swing" not in untold and seen.grain_mm > MOST_GRAIN * swing_mm:
        untold["swing"] = f"levels rounded to {seen.grain_mm:g} mm can't tell a swing of {swing_mm:.1f} mm"
    if "swing" not in untold:
        best = _swing_too(pan, best, untold)
    if "refill" not in untold:
        best = _refill_too(pan, own, best, untold)
    if metered and counted and None in own:
        seen = tally(pan, *metered_counts(pan, own, best.place.factors))
        best = _again(pan, _Best(best.place, best.errors, seen, best.condition))
    best = _timed(pan, best, rounds=1)
    if "swing" not in best.errors:
        _, best.errors["exposure"] = quantiles(pan, best.seen, best.place, np.array([0.5]))
    if "refill" not in best.errors:
        best.doubt = doubt * _leans_on_refill(pan, best, by_meter=not counted and "refill" in untold and metered)
    error = (best.errors["exposure"] ** 2 + best.doubt**2) ** 0.5
    if error > MOST_ERROR:
        untold["exposure"] = f"this log leaves it open by {100.0 * error:.0f} % (standard error)"
    return best


def _leans_on_refill(pan: PanModel, best: _Best, *, by_meter: bool) -> float:
    """By how much of a per cent the exposure moves with a per cent of the refill flow."""
    if by_meter:
        return 1.0
    factors = {**best.place.factors, "refill": 1.06}
    moved = narrowed(pan, best.seen, factors, best.place).factors["exposure"] / best.place.factors["exposure"]
    return abs(float(np.log(moved) / np.log(1.06)))


def _by_likely_refill(pan: PanModel, own: list[float | None], found: list[Place]) -> list[Place]:
    """Order exposures that levels can't part by the refill flow that the meter asks for beside each."""
    ranked = []
    for one in found:
        at, _ = refill_by_meter(pan, gather(pan, one.factors, own), one.factors)
        ranked.append(dataclasses.replace(one, value=one.value - 0.5 * (at / _LIKELY_REFILL) ** 2))
    return sorted(ranked, key=lambda one: -one.value)


def _again(pan: PanModel, best: _Best) -> _Best:
    """The same search, close by, with what has been learnt meanwhile."""
    if "swing" not in best.errors:
        return _Best(narrowed(pan, best.seen, best.place.factors, best.place), best.errors, best.seen)
    place, covariance = with_swing(pan, best.seen, best.place)
    errors = {**best.errors, **_by_name(covariance)}
    return _Best(place, errors, best.seen, _condition(covariance))


def _timed(pan: PanModel, best: _Best, rounds: int = 2) -> _Best:
    """The same, with openings at the moments that the log goes with in place of the mean over all moments."""
    if pan.pressed:
        return best
    hours = pan.hours[best.seen.kept]
    every = np.arange(np.floor(hours[0] * _FINE) / _FINE, hours[-1], 1.0 / _FINE)
    for _ in range(rounds):
        place = best.place
        spoilt = _account(pan, best)
        shifts = np.array([spoilt.shifts.get(int(k), 0.0) for k in best.seen.kept])
        steps = np.diff(spoilt.ahead, prepend=spoilt.ahead[0])
        # a shift is none of the pan's doing; of one by nobody knows how much, what is left of a whole opening is
        steps = np.where(np.isfinite(shifts), steps - np.where(np.isfinite(shifts), shifts, 0.0), 0.0)
        steps -= np.round(steps)
        ahead = spoilt.ahead[0] + np.cumsum(steps) + best.seen.beyond
        cycles = pan.modelled(place.factors).counted_at(every) + np.interp(every, hours, ahead)
        opened = every[1:][np.diff(np.floor(np.maximum.accumulate(cycles))) > 0.0]
        seen = best.seen._replace(beyond=pan.beyond(place.factors, opened, hours))
        best = _again(pan, _Best(place, best.errors, seen, best.condition))
    return best


def _by_name(covariance: Floats) -> dict[str, float]:
    return dict(zip(("exposure", "swing"), (float(one) for one in np.sqrt(np.diag(covariance))), strict=True))


def _condition(covariance: Floats) -> float:
    """Of two logarithms, each taken in its own error: how much worse the worst told mixture of them is than the best."""
    errors = np.sqrt(np.diag(covariance))
    together = min(abs(float(covariance[0, 1] / (errors[0] * errors[1]))), 1.0 - 1e-9)
    return float(((1.0 + together) / (1.0 - together)) ** 0.5)


def _swing_too(pan: PanModel, best: _Best, untold: dict[str, str]) -> _Best:
    place, covariance = with_swing(pan, best.seen, best.place)
    errors = _by_name(covariance)
    log = float(np.log(place.factors["swing"]))
    why = _not_told(log, errors["swing"])
    if not why and place.value - best.place.value < BETTER:
        why = "the log agrees with it as described about as well"
    if why:
        untold["swing"] = why
        return best
    return _Best(place, errors, best.seen, _condition(covariance))


def _refill_too(pan: PanModel, own: list[float | None], best: _Best, untold: dict[str, str]) -> _Best:
    for _ in range(2):  # the exposure moves a little with it, and the litres of an opening with the exposure
        believed, breaks = _believed(own, _account(pan, best))
        readings = gather(pan, best.place.factors, believed, breaks)
        if sum(one.kind == "meter" for one in readings.listed) < LEAST_METER - 1:
            untold["refill"] = f"a meter read {LEAST_METER} times or more, with sure counts between, would tell it"
            return best
        at, error = refill_by_meter(pan, readings, best.place.factors)
        why = _not_told(at, error)
        if why:
            untold["refill"] = why
            return best
        place = dataclasses.replace(best.place, factors={**best.place.factors, "refill": float(np.exp(at))})
        best = _again(pan, _Best(place, {**best.errors, "refill": error}, best.seen))
    return best


def _not_told(log: float, error: float) -> str:
    """Why a factor, by its logarithm and that one's standard error, stays as described; "" if it doesn't."""
    if error > MOST_ERROR:
        return f"this log leaves it open by {100.0 * min(error, 9.99):.0f} % (standard error)"
    if error > SURE_ERROR and abs(log) < AGREES * error:
        return f"the log agrees with it as described, within {100.0 * AGREES * error:.0f} %, and can't better it"
    return ""


def _account(pan: PanModel, best: _Best) -> Account:
    place = best.place
    return account(best.seen, sighted(pan, best.seen, [place.factors]), place.level_mm, place.walk)


def _believed(own: list[float | None], spoilt: Account) -> tuple[list[float | None], frozenset[int]]:
    """Counts less what they are off by; and where they are off by nobody knows how much."""
    believed, breaks = list(own), set()
    for visit, shift in spoilt.shifts.items():
        count = own[visit]
        if count is None or not np.isfinite(shift):
            breaks.add(visit)
        else:
            believed[visit] = max(count - shift, 0.0)
    return believed, frozenset(breaks)


def _told(
    name: str,
    pan: PanModel,
    best: _Best,
    spoilt: Account,
    factors: dict[str, float],
    estimates: tuple[Estimate, ...],
    untold: dict[str, str],
) -> ControllerFit:
    believed, breaks = _believed([visit.openings for visit in pan.visits], spoilt)
    # where nobody counted and a level beside is misread, nothing says how many openings there were
    blind = {k for k in range(1, len(pan.visits)) if believed[k] is None and {k - 1, k} & spoilt.misread}
    readings = gather(pan, factors, believed, breaks | blind)
    readings.errors["level"] = best.place.level_mm * pan.area
    weights, zeros = standard_errors(pan, readings), zeros_of(readings)
    aside = [one.place in spoilt.misread and one.kind == "level" for one in readings.listed]
    after, before = (_from_zeros(raw_residuals(pan, readings, one), zeros, aside) for one in (factors, {}))
    rows = []
    for place, one in enumerate(readings.listed):
        visit = pan.visits[one.place]
        unit = 1.0 if one.kind == "meter" else pan.area  # kg -> mm
        far = one.kind == "meter" and abs(after[place]) > _OUTLYING * weights[place]
        rows.append(
            {
                "line": visit.line,
                "date": visit.moment,
                "kind": one.kind,
                "residual": after[place] / unit,
                "before": before[place] / unit,
                "error": weights[place] / unit,
                "set_aside": int(aside[place] or far),
            }
        )
    columns = ["line", "date", "kind", "residual", "before", "error", "set_aside"]
    table = pd.DataFrame(rows, columns=columns)
    questioned = _miscounts(pan, best.place.factors, spoilt)
    for row in rows:
        if row["set_aside"]:
            unit_name = "L" if row["kind"] == "meter" else "mm"
            what = {"level": "the level", "meter": "the meter"}[str(row["kind"])]
            questioned.append(
                (int(row["line"]), f"{what} is off by {abs(row['residual']):.1f} {unit_name} and counts little")
            )
    kept = table[(table["kind"] != "meter") & (table["set_aside"] == 0)]

    def rms(column: str) -> float:
        return float(np.sqrt((kept[column] ** 2).mean())) if len(kept) else 0.0

    return ControllerFit(
        name=name,
        estimates=estimates,
        untold=untold,
        condition=best.condition,
        readings=table,
        lost=lost_between(pan, readings, factors),
        questioned=tuple(sorted(set(questioned))),
        rms_before=rms("before"),
        rms_after=rms("residual"),
        walk=best.place.walk,
    )


def _from_zeros(raw: Floats, zeros: Floats, aside: list[bool]) -> Floats:
    """Residuals from their stretch's own zero, the median of those not set aside."""
    found = raw.copy()
    sound = ~np.array(aside, bool)
    for column in zeros.T:
        inside = column > 0.0
        chosen = inside & sound
        found[inside] -= np.median(raw[chosen if chosen.any() else inside])
    return found


def _miscounts(pan: PanModel, factors: dict[str, float], spoilt: Account) -> list[tuple[int, str]]:
    followed = pan.modelled(factors).counted_at(pan.hours)
    said = []
    for visit, shift in spoilt.shifts.items():
        count = pan.visits[visit].openings
        if count is None or visit == 0:
            continue
        by = shift if np.isfinite(shift) else count - float(followed[visit] - followed[visit - 1])
        if abs(by) >= 0.5:
            look = "counted too often" if by > 0.0 else "missed"
            said.append((pan.visits[visit].line, f"openings before this visit look {look} by about {abs(by):.0f}"))
    return said
