"""
Seen: what somebody saw outside, by an option or in the field log, sets the pans and, where it tells something, the exposure.

A level sets the level. A valve seen to open sets its pan at the trip at that moment; from the last of them the pan is run to
tonight. What several of them tell of the exposure, or of a fault, is found in `telling`.
"""

import datetime as dt
import functools
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from panbudget.errors import Problem, ScenarioError
from panbudget.physics.solar_time import solar_hour
from panbudget.scenario.garden import Scenario
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.studies.common import swing_at, water_at_trip
from panbudget.studies.fit.evidence import level_unit
from panbudget.studies.fit.log import named_log
from panbudget.studies.today import problem
from panbudget.studies.today.fan import Start, start_of
from panbudget.studies.today.telling import HIGH, Jug, Look, course_of, told_by
from panbudget.units import quantity
from panbudget.words import count, packaged, say

_TEXTS = packaged("studies/today.toml")
_NEAR = 2.0  # days within which an opening of the model is the one that was seen
_LOW = 2.0  # mm below the trip that a ruler's error does not explain; common practice, no source
_RUNS = 3.0  # times what the openings counted give, from which on a meter tells that water runs on; no source


class Seen(NamedTuple):
    """Controller -> the pan's level tonight [mm above the floor]; when its valve was seen to open, on the site's clock."""

    level: Mapping[str, float]
    opened: Mapping[str, dt.datetime]


def seen_of(level: object, opened: object) -> Seen:
    """Take what was seen as a caller gives it: depths in mm or as text with a unit, moments as pandas takes them."""
    wrong, by_depth, by_moment = list[Problem](), dict[str, float](), dict[str, dt.datetime]()
    taken: list[tuple[str, object, dict[str, Any], Callable[[Any], Any]]] = [
        ("level", level, by_depth, _depth),
        ("opened", opened, by_moment, _moment),
    ]
    for option, given, into, read in taken:
        if not isinstance(given, Mapping | None):
            wrong.append(problem("no-mapping", option, given=given))
            continue
        for name, value in (given or {}).items():
            try:
                into[name] = read(value)
            except (TypeError, ValueError):
                wrong.append(problem(f"no-{option}", f"{option} {name}", given=value))
    if wrong:
        raise ScenarioError(*wrong)
    return Seen(by_depth, by_moment)


def _depth(value: Any) -> float:
    if isinstance(value, bool):
        raise TypeError
    return quantity(value, "depth") if isinstance(value, str) else float(value)


def _moment(value: Any) -> dt.datetime:
    moment = pd.Timestamp(value)
    if pd.isna(moment) or moment.tzinfo is not None:
        raise ValueError
    return moment.to_pydatetime()


class Corrected(NamedTuple):
    """A garden as what was seen corrects it, its season to tonight, where the days ahead begin; valves seen; notes, alarms."""

    garden: Scenario
    season: Season
    start: Start
    looked_at: frozenset[str]
    notes: list[str]
    alarms: list[str]


def corrected(garden: Scenario, season: Season, seen: Seen) -> Corrected:
    """
    Put what was seen in place of what the model says.

    Parameters
    ----------
    garden : Scenario
        Its field log is read too, if it names one.
    season : Season
        To this evening.
    seen : Seen

    Raises
    ------
    ScenarioError, ReadingsError
        A valve that is unknown, a level or a moment that can't be, a log that can't be read.
    """
    _refuse(garden, season, seen)
    looks, by_jug, notes = _looks(garden, season, seen)
    overlays, alarms = list[dict[str, Any]](), list[str]()
    for name, rows in looks.items():
        change, texts, grave = told_by(garden, season, name, rows, by_jug.get(name))
        overlays += [change] if change else []
        notes, alarms = notes + texts, alarms + grave
    if overlays:
        garden = functools.reduce(Scenario.changed, overlays, garden)
        season = replay(garden, end=season.days.index[-1].date(), weather=season.weather)
    start = start_of(season)
    anchors = {name: at[-1] for name, rows in looks.items() if (at := [look for look in rows if look.tells_level])}
    for name, look in anchors.items():
        texts, grave = _put(garden, season, start, name, look, _ran(season, name, looks[name]))
        notes, alarms = notes + texts, alarms + grave
    return Corrected(garden, season, start, frozenset(anchors), notes, alarms)


def _looks(garden: Scenario, season: Season, seen: Seen) -> tuple[dict[str, list[Look]], dict[str, Jug], list[str]]:
    """What was seen, a list a valve in order of time; the last jugs; and what of it can't be used."""
    first, last = season.days.index[0].date(), season.days.index[-1].date()
    looks, by_jug, notes = {name: list[Look]() for name in garden.controller}, dict[str, Jug](), list[str]()
    if garden.log is not None:
        log = named_log(garden, garden.log)
        notes += log.assumptions
        by_jug = {name: Jug(log.measured[name]["refill"], moment) for name, moment in log.jugged.items()}
        begins = 24.0 * (log.first - first).days
        for name, visits in log.visits.items():
            known = [visit for visit in visits if first <= visit.moment.date() <= last]
            looks[name] += [
                Look(begins + v.hour, v.moment, v.openings, v.opened, v.level, v.added, v.meter) for v in known
            ]
            later = sum(visit.moment.date() > last for visit in visits)
            if later:
                notes.append(_TEXTS["notes"]["log-later"].format(name=name, rows=count(later, "row"), last=last))
        if not any(looks.values()) and not by_jug:
            notes.append(_TEXTS["notes"]["log-silent"].format(file=garden.log.file, first=first, last=last))
    for name, moment in seen.opened.items():
        hour = 24.0 * (moment.date() - first).days + _hour(garden, moment)
        looks[name] = [look for look in looks[name] if look.hour < hour]
        looks[name].append(Look(hour, moment, None, True))
    for name, level in seen.level.items():
        tonight = dt.datetime.combine(last, dt.time(23, 59))  # of this day, in every text
        shut = 0 if name in seen.opened else None
        looks[name].append(Look(24.0 * len(season.days), tonight, shut, False, level))
    return looks, by_jug, notes


def _hour(garden: Scenario, moment: dt.datetime) -> float:
    site = garden.site
    return min(max(solar_hour(moment.date(), f"{moment:%H:%M}", site.longitude, site.timezone), 0.0), 24.0)


def _refuse(garden: Scenario, season: Season, seen: Seen) -> None:
    wrong, names = [], list(garden.controller)
    for option, given, example in (("level", seen.level, "43 mm"), ("opened", seen.opened, "2025-07-20 06:30")):
        for name in (name for name in given if name not in garden.controller):
            facts = {"names": ", ".join(names), "example": f'"{names[0]}={example}"'}
            wrong.append(problem("no-valve", f"{option} {name}", **facts))
    for name, level in seen.level.items():
        if name not in garden.controller:
            continue
        depth = garden.controller[name].pan.depth
        if not 0.0 <= level <= depth:
            wrong.append(problem("level", f"level {name}", level=level, depth=depth))
    first, last = (season.days.index[at].date() for at in (0, -1))
    for name, moment in seen.opened.items():
        if not first <= moment.date() <= last:
            text = f"{moment:%Y-%m-%d %H:%M}"
            wrong.append(problem("moment-outside", f"opened {name}", text=text, first=first, last=last))
    if wrong:
        raise ScenarioError(*wrong)


def _ran(season: Season, name: str, looks: list[Look]) -> float:
    """Return the litres since the look before the last, where the meter has far more than the openings counted give; else 0."""
    metered = [look for look in looks if look.meter is not None][-2:]
    each = season.openings.loc[season.openings["controller"] == name, "litres"].mean()
    if len(metered) < 2 or metered[1] is not looks[-1] or not each > 0.0:
        return 0.0
    litres = (metered[1].meter or 0.0) - (metered[0].meter or 0.0)
    counted = sum(look.openings or 0 for look in looks if look.hour > metered[0].hour)
    return litres if litres > _RUNS * (counted + 1) * each else 0.0


def _put(
    garden: Scenario, season: Season, start: Start, name: str, look: Look, ran: float
) -> tuple[list[str], list[str]]:
    """Set a pan in the start's state as it was last seen, run to tonight; say how far the model was off, and what can't be."""
    pan, state, texts = garden.controller[name].pan, start.state, _TEXTS["notes"]
    row, notes, alarms = list(garden.controller).index(name), list[str](), list[str]()
    at_trip, swing = (of(season.forcing.pans, row, look.hour) for of in (water_at_trip, swing_at))
    seen_kg = 0.0 if look.opened or look.level is None else look.level * pan.area - at_trip
    if look.opened:
        notes.append(_nearest(season, name, look.moment))
    else:
        hours = np.concatenate([season.began.level[row : row + 1], season.hourly_level[name]])
        model = float(np.interp(look.hour, np.arange(len(hours)), hours))
        tonight = look.hour >= len(hours) - 1
        moment = "" if tonight else texts["on"].format(moment=f"{look.moment:%Y-%m-%d %H:%M}")
        values = {"name": name, "seen": look.level, "trip": at_trip / pan.area, "on": moment}
        values |= {"reset": (at_trip + swing) / pan.area}
        notes.append(say(texts["levels"], **values, model=(model + at_trip) / pan.area))
        is_low = seen_kg < -_LOW * pan.area
        if is_low and not (tonight and state.is_open[row]):
            unit = "" if tonight else level_unit(look.level or 0.0, at_trip / pan.area, pan.depth)
            doubt = texts["other-unit"].format(unit=unit) if unit else ""
            alarms.append(say(texts["below-trip-runs" if ran else "below-trip"], **values, litres=ran) + doubt)
        if seen_kg > swing + HIGH * pan.area and model <= swing:
            alarms.append(say(texts["above-reset-runs" if ran else "above-reset"], **values, litres=ran))
        if tonight or is_low:  # what has not filled it goes on till tonight
            until = [look.hour, len(hours) - 1.0]
            sums = (np.interp(until, np.arange(len(hours)), by) for by in course_of(season, row))
            gone, rain = (float(np.diff(ends)[0]) for ends in sums)
            state.level[row] = max(seen_kg + look.added + rain - gone, -at_trip)
            return notes, alarms
    again = _since(garden, season, name, look, seen_kg + look.added)
    for what in ("level", "is_open", "since", "refilled", "drawn", "cause", "slot", "press"):
        getattr(state, what)[row] = getattr(again.state, what)[row]
    return notes, alarms


def _nearest(season: Season, name: str, moment: dt.datetime) -> str:
    """Say how far the model's nearest opening is from one that was seen."""
    openings = season.openings
    apart = [(at - moment).total_seconds() / 3600.0 for at in openings["start"][openings["controller"] == name]]
    nearest = min(apart, key=abs, default=np.inf)
    texts = _TEXTS["notes"]
    model = texts["opened-none"].format(days=f"{_NEAR:.0f}")
    if abs(nearest) <= 24.0 * _NEAR:
        model = texts["opened-model"].format(hours=abs(nearest), side="later" if nearest > 0.0 else "earlier")
    return str(texts["opened"].format(name=name, moment=f"{moment:%Y-%m-%d %H:%M}", model=model))


def _since(garden: Scenario, season: Season, name: str, look: Look, seen_kg: float) -> Season:
    """Run a season again from the day of a look, its pan so full that it holds at that moment what was seen. [kg above trip]"""
    row, at = list(garden.controller).index(name), min(int(look.hour // 24.0), len(season.days) - 1)
    day, last = (season.days.index[index].date() for index in (at, -1))
    before = season.began if at == 0 else replay(garden, end=day - dt.timedelta(days=1), weather=season.weather).state
    lost, caught = course_of(season, row)
    hours = np.arange(len(lost))
    by_then = [float(np.diff(np.interp([24.0 * at, look.hour], hours, sums))[0]) for sums in (lost, caught)]
    state = before.copy()
    state.level[row], state.is_open[row] = max(seen_kg + by_then[0] - by_then[1], 0.0), 0
    return replay(garden, start=day, end=last, weather=season.weather, state=state)
