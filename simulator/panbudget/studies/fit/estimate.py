"""
Fitting: a field log tunes the model to a real pan: exposure, and refill flow or swing where the log can tell them apart.

Units: kg of water (= litres), mm in the pan, solar hours. The likelihood is `likelihood`'s, the search `search`'s, its
order `order`'s; here is what comes of it: estimates, intervals, an overlay, and what is said of the log's lines.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import pandas as pd

from panbudget.errors import ReadingsError
from panbudget.extras import Reported, Step, silent
from panbudget.scenario.garden import Scenario, as_scenario
from panbudget.season.faults import with_faults
from panbudget.season.layout import Forcing, prepare
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.studies.fit import problem
from panbudget.studies.fit.likelihood import Account
from panbudget.studies.fit.log import FieldLog, Visit, read_field_log
from panbudget.studies.fit.order import Best, account_of, beforehand, believed_counts, searched
from panbudget.studies.fit.pan import NAMES, PanModel
from panbudget.studies.fit.readings import QUANTISED, from_zeros, gather, lost_between, raw_residuals, standard_errors
from panbudget.studies.fit.search import quantiles
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

_OUTLYING = 3.5  # standard errors
# what a variant sets: the value, or a thousand times it
_SETTINGS = {
    "exposure": "pan.exposure = {0:.4f}",
    "refill": 'valve.refill.flow = "{0:.4f} L/h"',
    "swing": 'valve.swing = "{1:.1f} g"',
}


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

    @property
    def settings(self) -> list[str]:
        """What differs, as lines of TOML below the controller."""
        return [_SETTINGS[estimate.name].format(estimate.value, 1000.0 * estimate.value) for estimate in self.estimates]


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
        return _overlay(self.controllers)

    @property
    def toml(self) -> str:
        """The overlay as the lines of a variant."""
        lines = ["[variant.fitted]"]
        for name, fitted in self.controllers.items():
            if "exposure" in fitted.untold:
                lines.append(f"# {name}: {fitted.untold['exposure']}")
            bare = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
            key = name if bare else json.dumps(name)
            lines += [f"controller.{key}.{setting}" for setting in fitted.settings]
        return "\n".join(lines) + "\n"


def _overlay(controllers: Mapping[str, ControllerFit]) -> dict[str, Any]:
    return {"controller": {name: tomllib.loads("\n".join(fitted.settings)) for name, fitted in controllers.items()}}


def fit(
    scenario: Scenario | str | Path,
    log: str | Path | FieldLog,
    *,
    interval: float | None = None,
    hold: Sequence[str] = (),
    variants: Sequence[str] = (),
    weather: Weather | None = None,
    step: Step = silent,
) -> Fit:
    """
    Tune a scenario to a field log.

    Parameters
    ----------
    scenario : Scenario or path
    log : path or FieldLog
    interval : float, optional
        Share of intervals that are to hold the truth; the scenario's ``uncertainty.interval`` if left out.
    hold : sequence of str
        "refill", "swing": kept as described, whatever the log says.
    variants : sequence of str, optional
        Laid over it in order: names of its own, or files such as `fitted.toml`.
    weather : Weather, optional
        Already read; must hold the log's days and the season.
    step : callable
        Told what is being done.

    Returns
    -------
    Fit

    Raises
    ------
    ScenarioError, WeatherError, ReadingsError
    """
    scenario = as_scenario(scenario, variants)
    read = log if isinstance(log, FieldLog) else read_field_log(Path(log), scenario)
    season = scenario.season
    weather = weather or read_scenario_weather(scenario, min(season.start, read.first), max(season.end, read.last))
    held = weather.daily.index
    if read.first < held[0].date() or read.last > held[-1].date():
        days = {"first": read.first, "last": read.last, "file": scenario.weather.file}
        record = {"held_first": held[0].date(), "held_last": held[-1].date()}
        raise ReadingsError(problem("outside-record", "date", **days, **record), file=read.file)
    level = interval if interval is not None else scenario.uncertainty.interval
    forcing = with_faults(scenario, prepare(scenario, weather, read.first, read.last))
    fits = {}
    for row, name in enumerate(scenario.controller):
        if name in read.visits:
            step(f"fitting {name}")
            fits[name] = fit_controller(scenario, forcing, row, read.visits[name], interval=level, hold=hold)
    step("replaying as described and as fitted")
    before, after = (replay(garden, weather=weather) for garden in (scenario, scenario.changed(_overlay(fits))))
    return Fit(scenario, read, level, fits, before, after)


def fit_controller(
    scenario: Scenario,
    forcing: Forcing,
    row: int,
    visits: tuple[Visit, ...],
    *,
    interval: float,
    hold: Sequence[str] = (),
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
    pan = PanModel(scenario, forcing, row, visits)
    if gather(pan, {}).listed.empty:
        raise ReadingsError(problem("nothing-follows", name))
    untold = beforehand(visits, hold)
    low, high = scenario.uncertainty.refill_flow
    best = searched(pan, untold, uncertainty=float(np.log(high / low)) * QUANTISED)
    controller = scenario.controller[name]
    as_described = controller.pan.exposure, controller.valve.refill.flow, controller.valve.swing_kg
    described = dict(zip(NAMES, as_described, strict=True))
    freedom = max(len(best.seen.kept) - 1 - len(best.errors), 2)
    estimates = []
    for parameter in NAMES:
        if parameter in untold or parameter not in best.errors or "exposure" in untold:
            continue
        log, error = float(np.log(best.place.factors.get(parameter, 1.0))), best.errors[parameter]
        half = float(student.ppf(0.5 + interval / 2.0, freedom))
        sides = [-half * error, half * error]
        if parameter == "exposure" and "swing" not in best.errors:
            shares = np.array([0.5 - interval / 2.0, 0.5, 0.5 + interval / 2.0])
            logs, _ = quantiles(pan, best.seen, best.place, shares)
            log, wider = float(logs[1]), half / float(normal.ppf(0.5 + interval / 2.0))
            sides = [wider * float(side - logs[1]) for side in logs[::2]]
        if parameter == "exposure":
            sides = [float(np.copysign(np.hypot(side, half * best.uncertainty), side)) for side in sides]
        value = described[parameter]
        factor, low, high = (float(np.exp(log + side)) for side in (0.0, *sides))
        estimates.append(Estimate(parameter, value, value * factor, value * low, value * high, factor))
    untold = {parameter: untold[parameter] for parameter in NAMES if parameter in untold}
    return _fitted(name, pan, best, estimates, untold)


def _fitted(name: str, pan: PanModel, best: Best, estimates: list[Estimate], untold: dict[str, str]) -> ControllerFit:
    """What a log says of a pan, its readings beside the model."""
    factors = {estimate.name: estimate.factor for estimate in estimates}
    spoilt = account_of(pan, best)
    believed, breaks = believed_counts(pan, spoilt)
    # where nobody counted and a level beside is misread, nothing says how many openings there were
    blind = {k for k in range(1, len(pan.visits)) if np.isnan(believed[k]) and {k - 1, k} & spoilt.misread}
    readings = gather(pan, factors, believed, breaks | blind, best.place.level_mm)
    error, visit, kind = standard_errors(pan, readings), readings.listed["visit"], readings.listed["kind"]
    misread = (visit.isin(spoilt.misread) & (kind == "level")).to_numpy(bool)
    after, before = (from_zeros(readings, raw_residuals(pan, readings, part), misread) for part in (factors, {}))
    unit = np.where(readings.meters, 1.0, pan.area)  # kg -> mm
    visits = [pan.visits[k] for k in visit]
    table = pd.DataFrame(
        {
            "line": [part.line for part in visits],
            "date": [part.moment for part in visits],
            "kind": kind,
            "residual": after / unit,
            "before": before / unit,
            "error": error / unit,
            "set_aside": (misread | (readings.meters & (np.abs(after) > _OUTLYING * error))).astype(int),
        }
    )
    aside = table["set_aside"] == 1
    questioned = set(_miscounts(pan, best.place.factors, spoilt))
    for line, what, off in zip(*(table.loc[aside, column] for column in ("line", "kind", "residual")), strict=True):
        questioned.add(
            (line, f"the {what} is off by {abs(off):.1f} {'L' if what == 'meter' else 'mm'} and counts little")
        )
    squares = table[~aside & ~readings.meters][["before", "residual"]] ** 2
    rms_before, rms_after = (float(value) for value in np.sqrt(squares.mean()).fillna(0.0))
    return ControllerFit(
        name=name,
        estimates=tuple(estimates),
        untold=untold,
        condition=best.condition,
        readings=table,
        lost=lost_between(pan, readings, factors),
        questioned=tuple(sorted(questioned)),
        rms_before=rms_before,
        rms_after=rms_after,
        walk=best.place.walk,
    )


def _miscounts(pan: PanModel, factors: dict[str, float], spoilt: Account) -> Iterator[tuple[int, str]]:
    followed = pan.modelled(factors).counted_at(pan.hours)
    for visit, shift in spoilt.shifts.items():
        by = shift if np.isfinite(shift) else pan.counts[visit] - float(followed[visit] - followed[visit - 1])
        if visit > 0 and abs(by) >= 0.5 and not np.isnan(pan.counts[visit]):
            look = "counted too often" if by > 0.0 else "missed"
            yield pan.visits[visit].line, f"openings before this visit look {look} by about {abs(by):.0f}"
