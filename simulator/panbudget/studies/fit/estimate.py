"""
Fitting: a field log tunes the model to a real pan: exposure, and refill flow or swing where the log can tell them apart.

Units: kg of water (= litres), mm in the pan, solar hours. The likelihood is `fit_filter`'s, the search `fit_search`'s, its
order `fit_order`'s; here is what comes of it: estimates, intervals, an overlay, and what is said of the log's lines.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import pandas as pd

from panbudget.engine import season as engine
from panbudget.errors import Problem, ReadingsError
from panbudget.extras import Reported, Step, silent
from panbudget.numeric import Floats
from panbudget.scenario.garden import Controller, Scenario, load_scenario
from panbudget.season.faults import with_faults
from panbudget.season.layout import Forcing, prepare
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.studies.fit.likelihood import Account
from panbudget.studies.fit.log import FieldLog, Visit, read_field_log
from panbudget.studies.fit.order import Best, account_of, beforehand, believed_counts, searched
from panbudget.studies.fit.pan import NAMES, PanModel
from panbudget.studies.fit.readings import QUANTISED, gather, lost_between, raw_residuals, standard_errors, zeros_of
from panbudget.studies.fit.search import quantiles
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

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
        Of exposure and swing together; 1 is best. [-]
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
class Fit(Reported):
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

    room: ClassVar[str] = "fit"

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
    scenario: Scenario | str | Path,
    log: str | Path | FieldLog,
    *,
    interval: float | None = None,
    hold: Sequence[str] = (),
    weather: Weather | None = None,
    step: Step = silent,
    run: Callable[..., int] = engine.run_season,
) -> Fit:
    """
    Tune a scenario to a field log.

    Parameters
    ----------
    scenario : Scenario or path
    log : path or FieldLog
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
    if not isinstance(scenario, Scenario):
        scenario = load_scenario(scenario)
    read = log if isinstance(log, FieldLog) else read_field_log(Path(log), scenario)
    season = scenario.season
    weather = weather or read_scenario_weather(scenario, min(season.start, read.first), max(season.end, read.last))
    held = weather.daily.index
    if read.first < held[0].date() or read.last > held[-1].date():
        days = f"runs from {read.first} to {read.last}"
        record = f"the weather file {scenario.weather.file} from {held[0].date()} to {held[-1].date()}"
        problem = Problem(
            "outside-record",
            "date",
            f"{days} and {record}",
            "all of the log's days in the weather file",
            "name a longer file, or leave out the rows outside it",
        )
        raise ReadingsError(problem, file=read.file)
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

    Raises
    ------
    ReadingsError
        Nothing in the log moves with the pan.

    Notes
    -----
    A likelihood over visits in which any count and any level may be wrong (`likelihood`), for every exposure from a
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
        found = "has nothing in the log that follows the pan"
        raise ReadingsError(Problem("nothing-follows", name, found, cure="count openings, or measure its level"))
    untold = beforehand(visits, hold)
    low, high = scenario.statement.refill_flow
    best = searched(pan, untold, uncertainty=float(np.log(high / low)) * QUANTISED)
    described = _described(scenario.controller[name])
    spoilt = account_of(pan, best)
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
            sides = [float(np.copysign(np.hypot(side, half * best.uncertainty), side)) for side in sides]
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


def _told(
    name: str,
    pan: PanModel,
    best: Best,
    spoilt: Account,
    factors: dict[str, float],
    estimates: tuple[Estimate, ...],
    untold: dict[str, str],
) -> ControllerFit:
    believed, breaks = believed_counts([visit.openings for visit in pan.visits], spoilt)
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
