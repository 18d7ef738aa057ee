"""
Fitting: a field log tunes the model to a real pan, and says how many litres a season takes, with a range.

Units: kg of water (= litres), mm in the pan, solar hours. What readings are left out is `evidence`'s, what the rest says
of the pan `posterior`'s; here is what comes of it: estimates, ranges, an overlay, what to measure next, and what is said
of the log's lines.
"""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import NormalDist
from typing import Any, ClassVar

import numpy as np
import pandas as pd

from panbudget.errors import PanbudgetError, Problem, ReadingsError, ScenarioError
from panbudget.extras import Reported, Step, silent
from panbudget.files import toml_key
from panbudget.numeric import Floats
from panbudget.scenario.garden import Controller, Scenario, as_scenario
from panbudget.scenario.uncertainty import Uncertainty
from panbudget.season.faults import with_faults
from panbudget.season.layout import Forcing, prepare
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.studies.common import read_so_far
from panbudget.studies.fit import problem
from panbudget.studies.fit.evidence import AGAINST, UNTOLD, beforehand, levels_off, reconciled, searched, tub_apart
from panbudget.studies.fit.likelihood import Account
from panbudget.studies.fit.log import FieldLog, Visit, read_field_log
from panbudget.studies.fit.pan import NAMES, PanModel
from panbudget.studies.fit.posterior import OUTLYING, Known, Posterior
from panbudget.studies.fit.readings import (
    QUANTISED,
    believed_counts,
    from_zeros,
    gather,
    lost_between,
    raw_residuals,
    standard_errors,
)
from panbudget.studies.fit.tub import RULER_MM, Tub, Worth, doubting, tub_rows, worth_of_ruler_test
from panbudget.studies.ranges import drawn_factors, range_of, tails, with_spread
from panbudget.weather import Weather
from panbudget.weather.clean import WeatherFile
from panbudget.weather.of_scenario import open_scenario_weather, read_scenario_weather

_SEASONS = 60  # run for a range: stratified, so that few are enough
_TOLD = 0.6  # of the spread known beforehand: a log that leaves less of it tells the parameter
_LITRES = np.array([1.0, -1.0, 0.0])  # follow exposure over refill flow
_TWO_WEEKS = 14.0  # days over which a meter is read three times
# what a variant sets: the value, or a thousand times it
_SETTINGS = {
    "exposure": "pan.exposure = {0:.4f}",
    "refill": 'valve.refill.flow = "{0:.4f} L/h"',
    "swing": 'valve.swing = "{1:.1f} g"',
}
# from the model as fitted, beyond which readings are of no one pan (common practice, no source): sound logs lie within 2 mm,
# damaged ones of which one witness is left out within 8 mm
_FAR_MM, _FAR_SWINGS = 20.0, 5.0


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
    ranges : dict
        "litres", "openings", "swing" -> lower and higher factor on what is fitted, as `[uncertainty.controller.NAME]` has them;
        empty where no exposure is fitted.
    worth : tuple of Worth
        What to measure next, the most telling first.
    contradictions : tuple of str
        Readings that contradict others, and what was made of them.
    readings : DataFrame
        One row a reading: ``line``, ``date``, ``kind`` ("level", "count", "meter", "tub"), ``residual``, ``before`` (with the
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
    ranges: dict[str, tuple[float, float]]
    worth: tuple[Worth, ...]
    contradictions: tuple[str, ...]
    readings: pd.DataFrame
    lost: pd.DataFrame
    questioned: tuple[tuple[int, str], ...]
    rms_before: float
    rms_after: float
    walk: float

    def settings(self, key: str) -> Iterator[str]:
        """Lines of a variant: what differs, and over what the log leaves it uncertain."""
        for estimate in self.estimates:
            yield f"controller.{key}." + _SETTINGS[estimate.name].format(estimate.value, 1000.0 * estimate.value)
        for name, (low, high) in self.ranges.items():
            yield f"uncertainty.controller.{key}.{name} = [{low:.4f}, {high:.4f}]"


@dataclass(frozen=True, repr=False)
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
        The scenario's season as described, and as fitted; so far, while it runs.
    """

    room: ClassVar[str] = "fit"

    scenario: Scenario
    log: FieldLog
    interval: float
    controllers: dict[str, ControllerFit]
    before: Season
    after: Season

    @property
    def litres(self) -> dict[str, tuple[float, float]]:
        """Range of the season's litres as fitted: of each valve, by its name, and of each bed, by "CONTROLLER/BED". [L]"""
        spread = self.after.totals["spread"]
        totals = {**spread["controllers"], **spread["beds"]}
        return {name: (total["litres"]["low"], total["litres"]["high"]) for name, total in totals.items()}

    @property
    def overlay(self) -> dict[str, Any]:
        """What differs, as a variant has it."""
        return _overlay(self.toml)

    @property
    def toml(self) -> str:
        """The overlay as the lines of a variant."""
        return _toml(self.controllers)


def _toml(controllers: Mapping[str, ControllerFit]) -> str:
    lines = ["[variant.fitted]"]
    for name, fitted in controllers.items():
        if "exposure" in fitted.untold:
            lines.append(f"# {name}: {fitted.untold['exposure']}")
        lines += fitted.settings(toml_key(name))
    return "\n".join(lines) + "\n"


def _overlay(toml: str) -> dict[str, Any]:
    only: dict[str, Any] = tomllib.loads(toml)["variant"]["fitted"]
    return only


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
        "refill", "swing": taken as described, for certain.
    variants : sequence of str, optional
        Laid over it in order: names of its own, or files such as `fitted.toml`.
    weather : Weather, optional
        Already read; must hold the log's days and the season. Of a file, a season that still runs is taken so far.
    step : callable
        Told what is being done.

    Raises
    ------
    ScenarioError, WeatherError, ReadingsError
    """
    for name in hold:
        if name not in NAMES[1:]:
            raise PanbudgetError(problem("no-choice", f'hold "{name}"', known=" or ".join(NAMES[1:])))
    scenario = as_scenario(scenario, variants)
    if interval is not None:
        scenario = scenario.changed({"uncertainty": {"interval": interval}})
    read = log if isinstance(log, FieldLog) else read_field_log(Path(log), scenario)
    # the log may be of another year: days between need no weather
    source, last = weather or open_scenario_weather(scenario), None
    if isinstance(source, WeatherFile) and not source.file.raw.typical:
        held = source.file.raw.daily.index.max().date()
        if scenario.season.start <= held < scenario.season.end:  # it is still running
            weather, last, _ = read_so_far(source, scenario, held)
    weather = read_scenario_weather(scenario, given=weather or source)
    logged = read_scenario_weather(scenario, read.first, read.last, source)
    held = logged.daily.index
    if read.first < held[0].date() or read.last > held[-1].date():
        days = {"first": read.first, "last": read.last, "file": scenario.weather.shown}
        record = {"held_first": held[0].date(), "held_last": held[-1].date()}
        raise ReadingsError(problem("outside-record", "date", **days, **record), file=read.file)
    forcing = with_faults(scenario, prepare(scenario, logged, read.first, read.last))
    fits = {}
    for row, name in enumerate(scenario.controller):
        visits, tub = read.visits.get(name, ()), read.tubs.get(name, ())
        if visits or tub:
            step(f"fitting {name}")
            measured = read.measured.get(name, {})
            try:
                fits[name] = fit_controller(scenario, forcing, row, visits, tub=tub, measured=measured, hold=hold)
            except ReadingsError as error:
                error.file = read.file
                raise
    step("replaying as described and as fitted, over what is uncertain")
    gardens = scenario, _after_fit(scenario, fits, read.file)
    before, after = (with_spread(replay(garden, end=last, weather=weather), _SEASONS) for garden in gardens)
    for name, pan in fits.items():
        total = after.totals["controllers"][name]["litres"]
        drawn = after.totals["spread"]["controllers"][name]["litres"]
        half = (drawn["high"] - drawn["low"]) / 2.0 / max(total, 1e-9)
        worth = tuple(replace(each, before=half, after=half * each.after / each.before) for each in pan.worth)
        if "exposure" in pan.untold and name not in read.tubs:
            worth = (worth_of_ruler_test(before)[name],)
        fits[name] = replace(pan, worth=worth)
    return Fit(scenario, read, scenario.uncertainty.interval, fits, before, after)


def _after_fit(scenario: Scenario, fits: Mapping[str, ControllerFit], file: str) -> Scenario:
    """Lay what was fitted over a scenario; where that can't be, it is for what the log says, and not the scenario."""
    try:
        return scenario.changed(_overlay(_toml(fits)))
    except ScenarioError as error:
        raise ReadingsError(*(wrong.under("what the log comes to: ") for wrong in error.problems), file=file) from None


def fit_controller(
    scenario: Scenario,
    forcing: Forcing,
    row: int,
    visits: tuple[Visit, ...],
    *,
    tub: tuple[Visit, ...] = (),
    measured: Mapping[str, float] | None = None,
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
    tub : tuple of Visit
        Levels in a tub in the pan's place, with no valve.
    measured : mapping, optional
        "refill" by jug, "swing" by two weighings of the counterweight. [L/h; kg]
    hold : sequence of str
        "refill", "swing": taken as described, for certain.

    Raises
    ------
    ReadingsError
        Nothing in the log moves with the pan.

    Notes
    -----
    A likelihood over visits in which any count and any level may be wrong (`likelihood`), for every exposure from a
    quarter to three times the one described, with refill flow and swing drawn over `[uncertainty]`; intervals are
    quantiles. Where more than one exposure is consistent with the log, or it leaves the exposure as open as it was, none
    is given. Refill flow and swing stay as described unless the log, a jug or two weighings tell them better; what is not
    told of them is in the ranges, and unless a meter was read what the beds' emitters may give together. The meter is taken
    as it is.
    """
    name = list(scenario.controller)[row]
    pan, likely = PanModel(scenario, forcing, row, visits), _likely(scenario, name)
    in_tub, doubts = doubting(pan, Tub.of(tub, pan.area), likely[1]) if tub else (None, {})
    if gather(pan, {}).listed.empty and (in_tub is None or in_tub.doubted.all()):
        raise ReadingsError(_nothing(name, tub, doubts))
    known = _known(scenario, name, pan, measured or {}, hold)
    pan, contradictions = reconciled(pan, known, likely)
    if gather(pan, {}).listed.empty and in_tub is None:
        raise ReadingsError(problem("nothing-left", name, why="; ".join(contradictions)))
    untold = beforehand(pan, hold)
    posterior = searched(pan, known, likely, untold, in_tub)
    contradictions += [*([AGAINST["meter-apart"]] if posterior.scale > 1.0 else [])]
    contradictions += [*levels_off(pan, pan.lifted_mm(posterior.place.factors)), *tub_apart(posterior)]
    estimates, ranges, worth = list[Estimate](), dict[str, tuple[float, float]](), tuple[Worth, ...]()
    level = scenario.uncertainty.interval
    if "exposure" not in untold:
        point = _point(posterior, untold, measured or {}, level)
        estimates = list(_estimates(posterior, scenario.controller[name], untold, point, level))
        # a meter's litres are those of the beds' emitters, whatever they give
        metered = posterior.meter is not None or bool(posterior.seen.filled.any())
        emitted = np.zeros(len(posterior.logs)) if metered else _emitted(scenario, name, len(posterior.logs))
        for key, turned in (("litres", _LITRES), ("openings", np.array([1.0, 0.0, -1.0])), ("swing", np.eye(3)[2])):
            ranges[key] = _range(posterior, (posterior.logs - point) @ turned + (key == "litres") * emitted, level)
        worth = tuple(_worth(posterior, measured or {}, scenario.uncertainty, float(np.var(emitted))))
    factors = {estimate.name: estimate.factor for estimate in estimates}
    posterior = replace(posterior, place=replace(posterior.place, factors=factors))
    fitted = _fitted(
        name,
        posterior,
        tub,
        doubts,
        estimates=tuple(estimates),
        untold={parameter: untold[parameter] for parameter in NAMES if parameter in untold},
        ranges=ranges,
        worth=worth,
        contradictions=tuple(contradictions),
    )
    most = max(_FAR_MM, _FAR_SWINGS * pan.swing / pan.area)
    if estimates and fitted.rms_after > most:
        raise ReadingsError(problem("far-off", name, off=fitted.rms_after, most=most))
    return fitted


def _nothing(name: str, tub: Sequence[Visit], doubts: Mapping[int, str]) -> Problem:
    """Say why nothing in a log moves with the pan: no reading does, or none of the tub's can be."""
    looks = _looks(tub)
    why = "; ".join(f"line {looks[k].line}: {text}" for k, text in doubts.items())
    return problem("nothing-left", name, why=why) if doubts else problem("nothing-follows", name)


def _estimates(
    posterior: Posterior, controller: Controller, untold: dict[str, str], point: Floats, level: float
) -> Iterator[Estimate]:
    """What is fitted, with its interval."""
    as_described = controller.pan.exposure, controller.valve.refill.flow, controller.valve.swing_kg
    for at, (parameter, value) in enumerate(zip(NAMES, as_described, strict=True)):
        if parameter not in untold:
            low, high = np.exp(posterior.quantiles(posterior.logs[:, at], tails(level))).tolist()
            factor = float(np.exp(point[at]))
            # the estimate takes the rest as described, the interval as the log has it: it is made to hold both
            low, high = min(low, factor), max(high, factor)
            yield Estimate(parameter, value, value * factor, value * low, value * high, factor)


def _likely(scenario: Scenario, name: str) -> tuple[float, float]:
    """Factors on the exposure described, over which it is uncertain."""
    valve = scenario.uncertainty.controller.get(name)
    return (valve and (valve.exposure or valve.openings)) or scenario.uncertainty.exposure


def _known(scenario: Scenario, name: str, pan: PanModel, measured: Mapping[str, float], hold: Sequence[str]) -> Known:
    """Refill flow and swing as they are known beforehand: as described, or by jug and weighings."""
    known, rules, valve = {}, scenario.uncertainty, scenario.controller[name].valve
    for parameter, key, sure, described in (
        ("refill", "refill_flow", rules.measured_flow, pan.refill),
        ("swing", "swing", rules.weighed_swing, valve.swing_kg / valve.arm_ratio),
    ):
        low, high = np.log(sure if parameter in measured else range_of(scenario, name, key))
        centre = float(np.log(measured.get(parameter, described) / described))
        known[parameter] = (0.0, 0.0) if parameter in hold else (centre, float(high - low) / 2.0)
    return known


def _point(posterior: Posterior, untold: dict[str, str], measured: Mapping[str, float], level: float) -> Floats:
    """Logarithms of the factors that are fitted; what the log tells no better than it was known stays as described."""
    mean, covariance = posterior.mean, posterior.covariance
    for at, name in enumerate(NAMES[1:], 1):
        centre, half = posterior.known[name]
        left_open = float(covariance[at, at]) ** 0.5
        # with a flow so far off the exposure would leave its range
        contradicted = name == "refill" and abs(mean[at]) > NormalDist().inv_cdf(tails(level)[1]) * left_open
        if name == "refill":  # with the litres, which follow it, it is told
            left_open = min(left_open, float(_LITRES @ covariance @ _LITRES) ** 0.5)
        is_known = name in measured or left_open < _TOLD * half / 3.0**0.5 or abs(mean[at] - centre) > half
        if name in measured or contradicted:
            untold.pop(name, None)
        elif not is_known:
            untold.setdefault(name, UNTOLD["open"].format(percent=100.0 * left_open))
    stay = np.array([name in untold for name in NAMES])
    # what is fitted, given that the others are as described
    leans = covariance[~stay][:, stay] @ np.linalg.pinv(covariance[stay][:, stay], rcond=1e-9)
    point = np.zeros(3)
    point[~stay] = mean[~stay] - leans @ mean[stay]
    return point


def _emitted(scenario: Scenario, name: str, count: int) -> Floats:
    """Draw what a valve's beds are given together, over what is described; logarithms. (count,)"""
    draws, beds = drawn_factors(scenario, count).emitter_flow, scenario.controller[name].bed
    flows = {f"{name}/{bed}": part.emitters.count * part.emitters.flow for bed, part in beds.items()}
    return np.log(sum(flow * draws[bed] for bed, flow in flows.items()) / sum(flows.values()))


def _range(posterior: Posterior, off: Floats, level: float) -> tuple[float, float]:
    """Even range of a factor on what is fitted, whose middle part is the log's interval; it holds 1."""
    low, high = posterior.quantiles(off, tails(level))
    beyond = (high - low) * (1.0 / level - 1.0) / 2.0
    return float(min(np.exp(low - beyond), 1.0)), float(max(np.exp(high + beyond), 1.0))


def _worth(posterior: Posterior, measured: Mapping[str, float], rules: Uncertainty, emitted: float) -> Iterator[Worth]:
    """What a jug, two weighings and a meter would leave of the litres' error, to first order; most telling first."""
    litres, covariance, known = _LITRES, posterior.covariance, posterior.known
    now = float(litres @ covariance @ litres)
    pan = posterior.pan
    cycles = pan.modelled(posterior.place.factors).cycles
    openings = max(float(cycles.max()) / len(cycles) * 24.0 * _TWO_WEEKS, 1.0)
    # a season's meter against the model: each opening's own litres, and the phase of the first and last one
    by_meter = float(np.hypot(pan.wander * openings**-0.5, (2.0 * QUANTISED**2) ** 0.5 / openings))
    # of an even range, the standard deviation
    sure = [float(np.diff(np.log(pair))[0]) / 12.0**0.5 for pair in (rules.measured_flow, rules.weighed_swing)]
    jug, weighed = zip(np.eye(3)[1:], sure, strict=True)
    tried = {"jug": [jug], "weighings": [weighed], "jug-and-weighings": [jug, weighed], "meter": [(litres, by_meter)]}
    if "refill" in measured or known["refill"][1] == 0.0:
        del tried["jug"], tried["jug-and-weighings"]
    if "swing" in measured or known["swing"][1] == 0.0:
        tried = {name: looks for name, looks in tried.items() if "weighings" not in name}
    if posterior.meter is not None or posterior.seen.filled.any():
        del tried["meter"]
    parts = []
    for name, looks in tried.items():
        after = covariance
        for direction, error in looks:
            along = after @ direction
            after = after - np.outer(along, along) / (direction @ along + error**2)
        variance = float(litres @ after @ litres) + (0.0 if name == "meter" else emitted)
        parts.append(Worth(name, (now + emitted) ** 0.5, variance**0.5))
    yield from sorted(parts, key=lambda worth: worth.after)


def _looks(tub: Sequence[Visit]) -> list[Visit]:
    return [visit for visit in tub if visit.level is not None]


def _fitted(
    name: str, posterior: Posterior, tub: tuple[Visit, ...], doubts: Mapping[int, str], **learnt: Any
) -> ControllerFit:
    """What a log says of a pan, its readings beside the model."""
    pan, factors, spoilt = posterior.pan, posterior.place.factors, posterior.account()
    believed, breaks = believed_counts(pan, spoilt)
    # where nobody counted and a level beside is misread, nothing says how many openings there were
    blind = {k for k in range(1, len(pan.visits)) if np.isnan(believed[k]) and {k - 1, k} & spoilt.misread}
    readings = gather(pan, factors, believed, breaks | blind, posterior.place.level_mm)
    error, visit, kind = standard_errors(pan, readings), readings.listed["visit"], readings.listed["kind"]
    misread = (visit.isin(spoilt.misread) & (kind == "level")).to_numpy(bool)
    error = np.where(readings.meters, posterior.scale * error, error)
    after, before = (from_zeros(readings, raw_residuals(pan, readings, part), misread) for part in (factors, {}))
    unit = np.where(readings.meters, 1.0, pan.area)  # kg -> mm
    table = pd.DataFrame(
        {
            **_dated([pan.visits[k] for k in visit]),
            "kind": kind,
            "residual": after / unit,
            "before": before / unit,
            "error": error / unit,
            "set_aside": (misread | (readings.meters & (np.abs(after) > OUTLYING * error))).astype(int),
        }
    )
    lost = lost_between(pan, readings, factors)
    looks = _looks(tub)
    if posterior.tub is not None:
        exposures = factors.get("exposure", 1.0), 1.0
        (off, observed, now), (off_before, _, was) = (tub_rows(pan, posterior.tub, exposure) for exposure in exposures)
        doubted = [int(k in doubts) for k in range(len(off))]
        rows = {"kind": "tub", "residual": off, "before": off_before, "error": RULER_MM, "set_aside": doubted}
        ends = np.array([look.moment for look in looks], "datetime64[ns]")
        spans = {"start": ends[:-1], "end": ends[1:], "observed": observed, "before": was, "after": now}
        table, lost = (
            pd.concat([part, pd.DataFrame(more)], ignore_index=True) if len(part) else pd.DataFrame(more)
            for part, more in ((table, {**_dated(looks), **rows}), (lost, spans))
        )
    aside = table["set_aside"] == 1
    questioned = {*_miscounts(pan, factors, spoilt), *((looks[k].line, sentence) for k, sentence in doubts.items())}
    aside &= (table["kind"] != "tub").to_numpy(bool)
    for line, what, off in zip(*(table.loc[aside, column] for column in ("line", "kind", "residual")), strict=True):
        shown = f"{abs(off):.1f} {'L' if what == 'meter' else 'mm'}"
        questioned.add((line, f"the {what} is off by {shown} and counts little"))
    squares = table[(table["set_aside"] == 0) & (table["kind"] != "meter")][["before", "residual"]] ** 2
    rms_before, rms_after = (float(value) for value in np.sqrt(squares.mean()).fillna(0.0))
    return ControllerFit(
        name=name,
        **learnt,
        readings=table,
        lost=lost.sort_values("start", ignore_index=True),
        questioned=tuple(sorted(questioned)),
        rms_before=rms_before,
        rms_after=rms_after,
        walk=posterior.place.walk,
    )


def _dated(visits: Sequence[Visit]) -> dict[str, list[Any]]:
    return {"line": [visit.line for visit in visits], "date": [visit.moment for visit in visits]}


def _miscounts(pan: PanModel, factors: dict[str, float], spoilt: Account) -> Iterator[tuple[int, str]]:
    followed = pan.modelled(factors).counted_at(pan.hours)
    for visit, shift in spoilt.shifts.items():
        by = shift if np.isfinite(shift) else pan.counts[visit] - float(followed[visit] - followed[visit - 1])
        if visit > 0 and abs(by) >= 0.5 and not np.isnan(pan.counts[visit]):
            look = "counted too often" if by > 0.0 else "missed"
            yield pan.visits[visit].line, f"openings before this visit look {look} by about {abs(by):.0f}"
