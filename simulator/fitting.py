"""
Fitting: a field log tunes the model to a real pan: exposure, and refill flow or swing where the log can tell them apart.

Units: kg of water (= litres), mm in the pan, solar hours. Each reading becomes what the pan has lost since the log
began: openings counted × swing, and the level's fall by ruler. The model says the same for any moment, without steps:
openings so far, and the share of the swing that is gone since the last reset. Readings a misread spoils weigh little.
"""

from __future__ import annotations

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
from simulator.fit_losses import lost_between
from simulator.fit_pan import NAMES, PanModel
from simulator.fit_readings import (
    MAD,
    QUANTISED,
    Readings,
    gather,
    miscounts_in,
    raw_residuals,
    standard_errors,
    zeros_of,
)
from simulator.forcing import Forcing, prepare
from simulator.scenario import Scenario
from simulator.season import Season, read_scenario_weather, replay
from simulator.weather import Weather

__all__ = ["ControllerFit", "Estimate", "Fit", "fit", "fit_controller"]

# more than this, between the best and the worst told combination, and two are not told apart (Belsley, Kuh & Welsch
# 1980 call 30 strong; from memory)
MOST_CONDITION = 200.0
MOST_ERROR = 0.1  # relative standard error beyond which a parameter counts as not told
# a weighing or a jug is better than a log that tells no nearer than this and does not contradict it
SURE_ERROR, AGREES = 0.02, 2.5  # relative standard error; standard errors
LEAST_METER, LEAST_LEVELS = 4, 20
GRID = np.geomspace(0.35, 2.8, 70)  # factors on the exposure to start from
_STEP = 2e-3  # of a logarithm, for differences
_LEAST_MM = 0.3  # standard error of a ruler at least
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
        Of the estimates' Jacobian; 1 is best. [-]
    readings : DataFrame
        One row a reading: ``line``, ``date``, ``kind`` ("level", "count", "meter"), ``residual``, ``before`` (with the
        scenario as described) [mm; for the meter L], ``error`` (the reading's standard error), ``set_aside`` (0 or 1).
    lost : DataFrame
        One row a pair of visits: ``start``, ``end``, ``observed``, ``before``, ``after``: net loss. [mm/day]
    questioned : tuple of (int, str)
        Line, and what looks wrong there.
    rms_before, rms_after : float
        Of levels and counts, those set aside left out. [mm]
    correlation : float
        Of one residual with the next; above zero the interval was widened for it.
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
    correlation: float


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


def _start(pan: PanModel, names: tuple[str, ...]) -> dict[str, float]:
    """
    Where to start: exposure, and swing if wanted, from the pan's evaporation between visits, by absolute deviations.

    Between two visits: exposure × evaporation − rain = swing × openings + the level's fall, each by the pan's area.
    """
    marks = np.arange(len(pan.hourly_gain) + 1, dtype=float)
    evaporated = np.interp(pan.hours, marks, np.concatenate([[0.0], np.cumsum(pan.hourly_evaporation)]))
    rained = np.interp(pan.hours, marks, np.concatenate([[0.0], np.cumsum(pan.hourly_gain)]))
    rows, right = [], []
    for k in range(1, len(pan.visits)):
        before, visit = pan.visits[k - 1], pan.visits[k]
        if visit.openings is None:
            continue
        fallen = (
            (before.level - visit.level) * pan.area if before.level is not None and visit.level is not None else 0.0
        )
        rows.append((evaporated[k] - evaporated[k - 1], -float(visit.openings) * pan.swing))
        right.append(fallen + rained[k] - rained[k - 1])
    if len(rows) < 2 or pan.pressed:
        readings = gather(pan, {})
        return {"exposure": _by_grid(pan, readings)}
    table, wanted = np.array(rows), np.array(right)
    free = 2 if "swing" in names else 1
    if free == 1:
        wanted = wanted - table[:, 1]
    table = table[:, :free]
    weights: Floats = np.ones(len(wanted))
    solved: Floats = np.ones(free)
    for _ in range(30):  # least absolute deviations, by weights
        found = np.linalg.lstsq(table * weights[:, None] ** 0.5, wanted * weights**0.5, rcond=None)[0]
        solved = np.asarray(found, float)
        weights = 1.0 / np.maximum(np.abs(wanted - table @ solved), 0.05 * pan.swing)
    solved = np.clip(solved, 0.2, 4.0)
    return dict(zip(("exposure", "swing"), (float(value) for value in solved), strict=False))


def _by_grid(pan: PanModel, readings: Readings) -> float:
    """The exposure's factor of the least robust cost of steps between neighbours."""
    weights = standard_errors(pan, readings)
    groups = [np.flatnonzero(column) for column in zeros_of(readings).T]

    def cost(factor: float) -> float:
        raw = raw_residuals(pan, readings, {"exposure": float(factor)}) / weights
        steps = np.concatenate([np.diff(raw[group]) for group in groups]) if groups else np.zeros(1)
        return float(np.log1p(steps**2).sum())

    return float(min(GRID, key=cost))


@dataclass
class _Solution:
    factors: dict[str, float]
    residuals: Floats  # over their errors
    jacobian: Floats  # of the factors' logarithms, the zeros projected out
    covariance: Floats
    correlation: float
    freedom: int


def _solve(pan: PanModel, readings: Readings, names: tuple[str, ...], start: dict[str, float]) -> _Solution:
    from scipy.optimize import least_squares

    zeros, weights = zeros_of(readings), standard_errors(pan, readings)
    n = len(names)

    def factors(x: Floats) -> dict[str, float]:
        return {name: float(np.exp(value)) for name, value in zip(names, x[:n], strict=True)}

    def residuals(x: Floats) -> Floats:
        return np.asarray((raw_residuals(pan, readings, factors(x)) - zeros @ x[n:]) / weights)

    def jacobian(x: Floats) -> Floats:
        table = np.empty((len(weights), len(x)))
        for column in range(n):
            up, down = x.copy(), x.copy()
            up[column] += _STEP
            down[column] -= _STEP
            table[:, column] = (
                raw_residuals(pan, readings, factors(up)) - raw_residuals(pan, readings, factors(down))
            ) / (2.0 * _STEP)
        table[:, n:] = -zeros
        return table / weights[:, None]

    first = np.array([np.log(start.get(name, 1.0)) for name in names])
    raw = raw_residuals(pan, readings, {name: start.get(name, 1.0) for name in names})
    offsets = np.array([np.median(raw[column > 0.0]) for column in zeros.T])
    low = np.concatenate([np.full(n, np.log(0.1)), np.full(len(offsets), -np.inf)])
    solved = least_squares(
        residuals,
        np.concatenate([first, offsets]),
        jac=jacobian,
        bounds=(low, -low),
        loss="soft_l1",
        x_scale=np.concatenate([np.full(n, 0.05), np.maximum(np.abs(offsets), 1.0)]),
        max_nfev=30,
    )
    values = residuals(solved.x)
    full = jacobian(solved.x)
    freedom = max(len(values) - full.shape[1], 1)
    inverse = np.linalg.pinv(full.T @ full)
    # Huber's covariance of an M-estimate, with psi of soft_l1: r / sqrt(1 + r²)
    psi, slope = values / np.sqrt(1.0 + values**2), (1.0 + values**2) ** -1.5
    variance = (psi**2).sum() / freedom / max(float(slope.mean()), 1e-6) ** 2
    projected: Floats = full[:, :n] - full[:, n:] @ np.linalg.lstsq(full[:, n:], full[:, :n], rcond=None)[0]
    correlation = _next_alike(values, readings)
    widened = (1.0 + correlation) / (1.0 - correlation)
    covariance = (inverse * variance * widened + inverse @ full.T @ _wandered(pan, readings) @ full @ inverse)[:n, :n]
    return _Solution(factors(solved.x), values, projected, covariance, correlation, freedom)


def _wandered(pan: PanModel, readings: Readings) -> Floats:
    """
    Covariance of readings, over their errors, that comes of each opening's own moment.

    What the pan loses while an opening lasts differs from one to the next; the sum of it goes astray as a walk does.
    """
    cycles = pan.modelled({}).counted_at(pan.hours)
    places = np.array([one.place for one in readings.listed])
    scale = np.array([0.0 if one.kind == "meter" else pan.wander * pan.swing for one in readings.listed])
    scale = scale / standard_errors(pan, readings)
    walked = np.minimum(cycles[places][:, None], cycles[places][None, :])
    return np.asarray(np.maximum(walked, 0.0) * scale[:, None] * scale[None, :])


def _next_alike(values: Floats, readings: Readings) -> float:
    """Correlation of residuals with their neighbours, if it is more than chance makes of it; else 0."""
    pairs = [
        (values[i], values[i + 1])
        for i in range(len(values) - 1)
        if readings.listed[i].kind != "meter"
        and (readings.listed[i].kind, readings.listed[i].segment)
        == (readings.listed[i + 1].kind, readings.listed[i + 1].segment)
    ]
    if len(pairs) < 10:
        return 0.0
    a, b = (np.clip(np.array(side), -_OUTLYING, _OUTLYING) for side in zip(*pairs, strict=True))
    spread = float((a**2).mean() * (b**2).mean()) ** 0.5
    found = float((a * b).mean()) / spread if spread > 0.0 else 0.0
    return min(found, 0.9) if found > 2.0 / len(pairs) ** 0.5 else 0.0


def _own_errors(pan: PanModel, readings: Readings, solution: _Solution) -> dict[str, float]:
    """Each kind's standard error, as its residuals have it."""
    errors = dict(readings.errors)
    least = {"level": _LEAST_MM * pan.area, "count": 0.7 * QUANTISED * pan.swing, "meter": 1.0}
    for kind in errors:
        mine = [i for i, one in enumerate(readings.listed) if one.kind == kind]
        if kind == "count":
            mine = [i for i in mine if not pan.visits[readings.listed[i].place].opened]
        if len(mine) >= 6:
            typical = MAD * float(np.median(np.abs(solution.residuals[mine]))) * readings.errors[kind]
            errors[kind] = max(typical, least[kind])
    return errors


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
    Least squares with scipy's soft_l1 loss on logarithms of factors; intervals from Huber's covariance and Student's t,
    widened by (1 + ρ) ÷ (1 − ρ) where neighbouring residuals are alike. Refill flow is tried where a meter was read,
    swing where levels were; what the Jacobian can't part (condition above 30, or a standard error above a tenth) stays
    as described; so does what the log agrees with and tells less well than a scale or a jug would.
    Bed emitters and the meter are taken as they are.
    """
    from scipy.stats import t as student

    name = list(scenario.controller)[row]
    pan = PanModel(scenario, forcing, row, visits, run)
    readings = gather(pan, {})
    if not readings.listed:
        raise ReadingsError(f"{name}: nothing in the log follows the pan; count openings, or measure its level")
    levels = sum(visit.level is not None for visit in visits)
    meters = sum(visit.meter is not None for visit in visits)
    untold = dict.fromkeys(hold, "held as described, as asked")
    if "refill" not in untold and meters < LEAST_METER:
        untold["refill"] = f"a meter read {LEAST_METER} times or more would tell it"
    if "swing" in untold:
        pass
    elif sum(visit.openings is not None for visit in visits) < LEAST_LEVELS:
        untold["swing"] = f"openings counted at {LEAST_LEVELS} visits or more, beside levels, would tell it"
    elif levels < LEAST_LEVELS:
        untold["swing"] = f"levels by ruler at {LEAST_LEVELS} visits or more would tell it"
    names = tuple(one for one in NAMES if one not in untold)
    factors = _start(pan, names)
    while True:
        miscounts: dict[int, str] = {}
        for _ in range(2):  # once to find what can't be, once without it; errors from the residuals
            readings = gather(pan, factors, frozenset(miscounts))
            solution = _solve(pan, readings, names, factors)
            readings.errors, readings.held = _own_errors(pan, readings, solution), dict(solution.factors)
            solution = _solve(pan, readings, names, solution.factors)
            factors = solution.factors
            miscounts = miscounts or miscounts_in(pan, factors)
            if not miscounts:
                break
        drop, why = _not_told(solution, names)
        if drop is None:
            break
        untold[drop] = why
        names = tuple(one for one in names if one != drop)
        factors = _start(pan, names)
    readings.questioned = [(visits[k].line, text) for k, text in miscounts.items()]
    half = float(student.ppf(0.5 + interval / 2.0, solution.freedom))
    valve = scenario.controller[name].valve
    described = {
        "exposure": scenario.controller[name].pan.exposure,
        "refill": valve.refill.flow,
        "swing": valve.swing_kg,
    }
    estimates = []
    for place, one in enumerate(names):
        factor, error = solution.factors[one], float(np.sqrt(solution.covariance[place, place]))
        value = described[one] * factor
        low, high = value * float(np.exp(-half * error)), value * float(np.exp(half * error))
        estimates.append(Estimate(one, described[one], value, low, high, factor))
    return _told(name, pan, readings, solution, tuple(estimates), untold)


def _condition(jacobian: Floats) -> float:
    lengths = np.linalg.norm(jacobian, axis=0)
    if not (lengths > 0.0).all():
        return float("inf")
    values = np.linalg.svd(jacobian / lengths, compute_uv=False)
    return float(values[0] / values[-1]) if values[-1] > 0.0 else float("inf")


def _not_told(solution: _Solution, names: tuple[str, ...]) -> tuple[str | None, str]:
    """The parameter that this log can't tell from the others, if there is one, and why."""
    errors = np.sqrt(np.diag(solution.covariance))
    condition = _condition(solution.jacobian)
    # the swing first: it was weighed, and with it held a meter tells the refill flow well
    for name in ("swing", "refill"):
        if name not in names:
            continue
        error = float(errors[names.index(name)])
        if condition > MOST_CONDITION:
            return (
                name,
                f"this log can't tell it from the rest (condition {condition:.0f}, at most {MOST_CONDITION:.0f})",
            )
        if error > MOST_ERROR:
            return name, f"this log leaves it open by {100.0 * error:.0f} % (standard error)"
        if error > SURE_ERROR and abs(float(np.log(solution.factors[name]))) < AGREES * error:
            within = 100.0 * AGREES * error
            return name, f"the log agrees with it as described, within {within:.0f} %, and can't better it"
    return None, ""


def _told(
    name: str,
    pan: PanModel,
    readings: Readings,
    solution: _Solution,
    estimates: tuple[Estimate, ...],
    untold: dict[str, str],
) -> ControllerFit:
    weights, zeros = standard_errors(pan, readings), zeros_of(readings)
    before = raw_residuals(pan, readings, {})
    for column in zeros.T:
        inside = column > 0.0
        before[inside] -= np.median(before[inside])
    rows = []
    for place, one in enumerate(readings.listed):
        visit = pan.visits[one.place]
        unit = 1.0 if one.kind == "meter" else pan.area  # kg -> mm
        rows.append(
            {
                "line": visit.line,
                "date": visit.moment,
                "kind": one.kind,
                "residual": solution.residuals[place] * weights[place] / unit,
                "before": before[place] / unit,
                "error": weights[place] / unit,
                "set_aside": int(abs(solution.residuals[place]) > _OUTLYING),
            }
        )
    columns = ["line", "date", "kind", "residual", "before", "error", "set_aside"]
    table = pd.DataFrame(rows, columns=columns)
    questioned = list(readings.questioned)
    for row in rows:
        if row["set_aside"]:
            unit_name = "L" if row["kind"] == "meter" else "mm"
            what = {"level": "the level", "count": "the count", "meter": "the meter"}[str(row["kind"])]
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
        condition=_condition(solution.jacobian),
        readings=table,
        lost=lost_between(pan, readings, solution.factors),
        questioned=tuple(sorted(set(questioned))),
        rms_before=rms("before"),
        rms_after=rms("residual"),
        correlation=solution.correlation,
    )
