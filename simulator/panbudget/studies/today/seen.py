"""
Seen: what somebody saw outside sets the pan's state, and where it tells something, the exposure.

A level alone sets the level. A valve seen to open sets the pan at its trip at that moment, from which it is run again. Both
together tell what the pan lost in between: within what `[uncertainty]` allows the days ahead go by it, beyond it a fault is
the likelier cause.
"""

import datetime as dt
from typing import Any, NamedTuple

import numpy as np

from panbudget.errors import Problem, ScenarioError
from panbudget.physics.solar_time import solar_hour
from panbudget.scenario.garden import Scenario
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.studies.common import read_data
from panbudget.studies.ranges import ranges_of
from panbudget.studies.today.fan import Start

_TEXTS = read_data("today")
_NEAR = 2.0  # days within which an opening of the model is the one that was seen
_TELLS = 5.0  # mm lost, below which a ruler tells nothing of the exposure; common practice, no source


class Seen(NamedTuple):
    """Controller -> the pan's level tonight [mm above the floor]; when its valve was seen to open, on the site's clock."""

    level: dict[str, float]
    opened: dict[str, dt.datetime]


def corrected(garden: Scenario, season: Season, start: Start, seen: Seen) -> tuple[Start, Scenario, list[str]]:
    """
    Put what was seen in place of what the model says.

    Parameters
    ----------
    garden : Scenario
    season : Season
        To this evening.
    start : Start
        Where it ended.
    seen : Seen

    Returns
    -------
    (Start, Scenario, list of str)
        Where the days ahead begin; the garden, its exposure as what was seen says; and what differs from the model.

    Raises
    ------
    ScenarioError
        A valve that is unknown, a level or a moment that can't be.
    """
    _refuse(garden, season, seen)
    notes, names = [], list(garden.controller)
    state = start.state.copy()
    for name, moment in seen.opened.items():
        notes.append(_nearest(season, name, moment))
        again = _since(garden, season, name, moment)
        row = names.index(name)
        for part in ("level", "is_open", "since", "refilled", "drawn", "cause", "slot", "press"):
            getattr(state, part)[row] = getattr(again.state, part)[row]
        if name not in seen.level:
            continue
        change, text = _told(garden, again, name, seen.level[name])
        garden, notes = garden.changed(change) if change else garden, [*notes, *text]
    for name, level in seen.level.items():
        row, pan, valve = names.index(name), garden.controller[name].pan, garden.controller[name].valve
        at_trip = pan.water_at_reset - valve.swing_kg
        values = {"name": name, "seen": level, "trip": at_trip / pan.area}
        model = (float(state.level[row]) + at_trip) / pan.area
        notes.append(_TEXTS["notes"]["levels"].format(**values, model=model))
        state.level[row] = level * pan.area - at_trip
        if state.level[row] < 0.0 and not state.is_open[row]:
            notes.append(_TEXTS["notes"]["below-trip"].format(**values))
    return start._replace(state=state), garden, notes


def _refuse(garden: Scenario, season: Season, seen: Seen) -> None:
    wrong, texts, names = [], _TEXTS["problems"], list(garden.controller)
    for name in (*seen.level, *seen.opened):
        if name not in garden.controller:
            text = texts["no-valve"].format(text=name, names=", ".join(names), example=f'"{names[0]}=43 mm"')
            wrong.append(Problem("no-valve", "", text))
    for name, level in seen.level.items():
        if name in garden.controller and not 0.0 <= level <= (depth := garden.controller[name].pan.depth):
            wrong.append(Problem("level", f"{name}:", texts["level"].format(level=level, depth=depth)))
    first, last = (season.days.index[at].date() for at in (0, -1))
    for name, moment in seen.opened.items():
        if not first <= moment.date() <= last:
            text = texts["moment-outside"].format(text=f"{moment:%Y-%m-%d %H:%M}", first=first, last=last)
            wrong.append(Problem("moment-outside", f"{name}:", text))
    if wrong:
        raise ScenarioError(*wrong)


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


def _since(garden: Scenario, season: Season, name: str, moment: dt.datetime) -> Season:
    """Run a season again from the day of an opening, with the pan so full that it trips at that moment."""
    day, site = moment.date(), garden.site
    row, at = list(garden.controller).index(name), season.days.index.get_loc(str(day))
    before = season.began if at == 0 else replay(garden, end=day - dt.timedelta(days=1), weather=season.weather).state
    hour = min(max(solar_hour(day, f"{moment:%H:%M}", site.longitude, site.timezone), 0.0), 24.0)
    days, pans = season.forcing.days, season.forcing.pans
    night = pans.night_share[row]
    shares = (1.0 - night) * days.daylight_share[at] + night * days.dark_share[at]
    past = np.clip(hour - np.arange(24.0), 0.0, 1.0)
    rain = days.rain[at] * pans.rain_factor[row, at] * hour / 24.0
    lost = (pans.evaporation[row, at] * float((shares * past).sum()) - rain) * pans.area[row]
    state = before.copy()
    state.level[row], state.is_open[row] = max(lost, 0.0), 0
    last = season.days.index[-1].date()
    return replay(garden, start=day, end=last, weather=season.weather, state=state)


def _told(garden: Scenario, again: Season, name: str, level: float) -> tuple[dict[str, Any], list[str]]:
    """What a level tells of the exposure, from the last opening on: a change of the garden, and what to say of it."""
    part, row, texts = garden.controller[name], list(garden.controller).index(name), _TEXTS["notes"]
    swing, at_trip = part.valve.swing_kg, part.pan.water_at_reset - part.valve.swing_kg
    model, seen = swing - float(again.state.level[row]), swing - (level * part.pan.area - at_trip)
    if model < _TELLS * part.pan.area or again.state.is_open[row]:
        return {}, []
    ratio, ranges = seen / model, ranges_of(garden)
    low, high = ranges.get(f"controller.{name}.exposure", ranges.get("exposure", (1.0, 1.0)))
    values = {"name": name, "ratio": ratio, "low": low, "high": high}
    if not low <= ratio <= high:
        cause = texts["lost-more" if ratio > high else "lost-less"]
        return {}, [texts["fault"].format(**values, cause=cause)]
    change = {"controller": {name: {"pan": {"exposure": part.pan.exposure * ratio}}}}
    return change, [texts["exposure"].format(**values)]
