"""
Telling: what looks at a pan say of its exposure, and when a fault is the likelier cause.

Between two looks that tell the pan's water, its balance gives what evaporated: what it fell by, the swing of each opening
counted, the rain that it caught, and what was poured in. Of that, of the openings, and of the litres of each opening, the
ratios to the model's own are held against what `[uncertainty]` allows; beyond it, they are held against those by which each
usual fault shows (`studies.faults`). Units: kg of water, solar hours since the season began.
"""

import datetime as dt
import itertools
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np

from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.studies.common import swing_at, water_at_trip
from panbudget.studies.faults import LOOKS, WEEK, signs_of, usual_faults, valves_of
from panbudget.studies.fit.pan import by_hour, summed
from panbudget.studies.fit.readings import RULER_MM
from panbudget.studies.ranges import drawn_factors, ranges_of, valve_factors
from panbudget.words import joined, packaged, say

_TEXTS = packaged("studies/today.toml")
HIGH = 5.0  # mm above the reset level that a ruler's error does not explain; common practice, no source
_TOLD = 24.0 * WEEK  # hours of the log that tell of today
_TELLS = 5.0  # mm lost, below which a ruler tells nothing of the exposure; common practice, no source
_PHASE = 6.0**-0.5  # swings by which a count strays that begins and ends anywhere between two openings
_JUMP = 8.0  # mm from what its neighbours tell, and more than five readings' error, at which a pan was moved; no source
_LEAST_SPANS = 3  # of which one may be told to be unlike the others
# share by which the litres of one opening stray from the next, as of the hour; common practice, no source
_METER = 0.03
_ALIKE = 0.08  # logarithms of ratios so near are one and the same
_SIZES = 0.3, 6.0  # times a usual fault's size
_DRAWS = 64
_JUG_MINUTES = 10  # for which a jug is held under a refill emitter
_MOST_CAUSES = 3


class Look(NamedTuple):
    """One look at a pan: openings since the look before; opened just then; level [mm above the floor]; poured in; meter [L]."""

    hour: float
    moment: dt.datetime
    openings: int | None
    opened: bool
    level: float | None = None
    added: float = 0.0
    meter: float | None = None

    @property
    def tells_level(self) -> bool:
        """Whether the pan's water is known by it."""
        return self.opened or self.level is not None


class Jug(NamedTuple):
    """The refill emitter's flow as a jug has shown it [L/h], and when."""

    flow: float
    moment: dt.datetime


class _Span(NamedTuple):
    """From one look that tells the water to the next: what evaporated with the valve shut, as seen and as modelled. [kg]"""

    first: Look
    last: Look
    openings: int
    seen: float
    model: float


class _Figure(NamedTuple):
    """Logarithm of seen over modelled, its standard error, and the ends of what the uncertainty allows."""

    ratio: float
    error: float
    low: float
    high: float

    @property
    def beyond(self) -> bool:
        """Whether the uncertainty does not allow it."""
        return not self.low - 2.0 * self.error <= self.ratio <= self.high + 2.0 * self.error


def _figure(seen: float, model: float, error: float, factor: Floats) -> _Figure:
    """Return a figure, by the factors that draws lay on what is modelled; error as a share."""
    ends = np.log([factor.min(), factor.max()])
    return _Figure(float(np.log(max(seen, 0.02 * model) / model)), float(error), float(ends[0]), float(ends[1]))


def course_of(season: Season, row: int) -> tuple[Floats, Floats]:
    """Return what a pan has lost and the rain that it has caught since the season began, by full hours. [kg] (hours + 1,)"""
    evaporation, rain = by_hour(season.forcing, row)
    return summed(evaporation + np.repeat(season.forcing.pans.leak[row], 24)), summed(rain)


def told_by(
    garden: Scenario, season: Season, name: str, looks: Sequence[Look], jug: Jug | None = None
) -> tuple[dict[str, Any], list[str], list[str]]:
    """
    Say what a valve's looks tell of its exposure.

    Parameters
    ----------
    garden : Scenario
    season : Season
        To this evening.
    name : str
        Controller.
    looks : sequence of Look
        In order of time; those of the last week that the log holds tell.
    jug : Jug, optional
        The last.

    Returns
    -------
    (dict, list of str, list of str)
        A change of the garden, if they tell its exposure; what to say of it; and of a fault, if that is likelier.
    """
    recent = [look for look in looks if look.hour >= looks[-1].hour - _TOLD]
    spans, notes = _moved(garden, name, list(_spans(garden, season, name, recent)))
    figures = _figures(garden, season, name, recent, spans)
    drip = _drip(season, name)
    if jug is not None:
        factors = valve_factors(garden, name, drawn_factors(garden, _DRAWS)).refill_flow
        figures["refill"] = _figure(jug.flow, drip, _METER, factors)
    if not figures:
        return {}, notes, []
    texts, between = _TEXTS["notes"], _between(recent)
    main = min((key for key in ("drop", "openings") if key in figures), key=lambda key: figures[key].error, default="")
    low, high = _range(garden, name)
    ratio = float(np.exp(figures[main].ratio)) if main else 1.0
    values = {"name": name, "between": between, "ratio": ratio, "low": low, "high": high}
    share, full = _clogged_to(season, name, figures), 1000.0 * drip / 60.0
    is_open_to_both = share < 1.0 and (jug is None or jug.moment < recent[0].moment)
    drips = {"minutes": _JUG_MINUTES, "full": full * _JUG_MINUTES, "less": share * full * _JUG_MINUTES}
    jug_test = [say(texts["jug"], times=1.0 / share, **drips)] if is_open_to_both else []
    if main == "openings" and all(look.openings == 0 and not look.opened for look in recent[1:]):
        return {}, notes, [texts["not-once"].format(**values, model=1.0 / ratio)]
    if any(figure.beyond for figure in figures.values()):
        key = "fault" if main and figures[main].beyond else "fault-apart"
        beyond = (say(texts[f"seen-{what}"], ratio=np.exp(f.ratio)) for what, f in figures.items() if f.beyond)
        seen = joined("; ", beyond)
        cause = joined(" ", [_cause(garden, season, name, figures), *jug_test])
        return {}, notes, [say(texts[key], **values, seen=seen, cause=cause)]
    if not main or (width := max(3.0**0.5 * figures[main].error, 0.03)) >= (high - low) / 2.0:
        return {}, notes, []
    known = garden.uncertainty.controller.get(name)
    key = "openings" if known is not None and known.openings is not None else "exposure"
    change = {
        "controller": {name: {"pan": {"exposure": garden.controller[name].pan.exposure * ratio}}},
        "uncertainty": {"controller": {name: {key: [1.0 - width, 1.0 + width]}}},
    }
    return change, [*notes, joined(" ", [texts["exposure"].format(**values), *jug_test])], []


def _drip(season: Season, name: str) -> float:
    """Return the refill flow of the model lately, as the tank's head leaves it; before any opening, as described. [L/h]"""
    openings = season.openings[season.openings["controller"] == name].tail(WEEK)
    flow = (openings["refilled_kg"] / (openings["minutes"] / 60.0)).median()
    return float(flow) if flow > 0.0 else season.forcing.pan_of[name].refill_flow


def _clogged_to(season: Season, name: str, figures: dict[str, _Figure]) -> float:
    """
    Return the share of its flow that a refill emitter gives with which a valve opens as seldom as seen.

    1 where it does not open less often, or where a pan that loses less can be told from it. Clogged, it lets more of what
    evaporates go by while water runs in, which is then the model's share over the emitter's own.
    """
    seldom, running = figures.get("openings"), _running(season, name)
    if seldom is None or running <= 0.0 or figures.keys() & {"drop", "litres"} or seldom.ratio > -2.0 * seldom.error:
        return 1.0
    return min(running / (1.0 - float(np.exp(seldom.ratio)) * (1.0 - running)), 1.0)


def _between(looks: Sequence[Look]) -> str:
    texts = _TEXTS["notes"]
    if not looks:
        return str(texts["lately"])
    first, last = looks[0], looks[-1]
    if first.openings is None and first.opened and len(looks) == 2:
        return str(texts["between-two"])
    return str(texts["between"].format(first=f"{first.moment:%Y-%m-%d}", last=f"{last.moment:%Y-%m-%d}"))


def _range(garden: Scenario, name: str) -> tuple[float, float]:
    ranges = ranges_of(garden)
    keys = (f"controller.{name}.exposure", f"controller.{name}.openings", "exposure")
    return next(ranges[key] for key in keys if key in ranges)


def _spans(garden: Scenario, season: Season, name: str, looks: Sequence[Look]) -> Iterator[_Span]:
    """Take a valve's looks two and two, those that tell the pan's water; without the openings between, if no model can say."""
    area, row = garden.controller[name].pan.area, list(garden.controller).index(name)
    lost, caught = course_of(season, row)
    hours = np.arange(len(lost))
    openings = season.openings[season.openings["controller"] == name]
    refill = _drip(season, name)
    running = _running(season, name)
    low, high = _range(garden, name)
    at = [index for index, look in enumerate(looks) if look.tells_level]
    for begin, end in itertools.pairwise(at):
        first, last = looks[begin], looks[end]
        (began, at_trip), (fill, swing) = (
            [of(season.forcing.pans, row, look.hour) for look in (first, last)] for of in (water_at_trip, swing_at)
        )
        if min(first.level or 0.0, last.level or 0.0) > (at_trip + swing) / area + HIGH:
            continue  # water may run in: such a pan tells nothing of what it loses
        hour, before = first.hour, began + fill
        if first.opened and len(openings):  # the balance begins where that opening ends
            filled = refill * (hours - hour) - (lost - np.interp(hour, hours, lost))
            hour = float(np.interp(fill, filled[hours > hour], hours[hours > hour])) if (hours > hour).any() else hour
        elif first.level is not None:
            before = first.level * area
        after = at_trip if last.opened or last.level is None else last.level * area
        before += sum(look.added for look in looks[begin:end])
        gone, rain = (float(np.diff(np.interp([hour, last.hour], hours, sums))[0]) for sums in (lost, caught))
        counts = [look.openings for look in looks[begin + 1 : end + 1]]
        swing = _mean_swing(season, row, hour, last.hour)
        if None in counts:
            if gone * (high - low) >= swing:
                continue  # it may be one more or one less
            count = max(round((after - before + gone - rain) / swing), 0)
        else:
            count = sum(count for count in counts if count is not None) - last.opened
        model = gone * (1.0 - running) if count else gone
        if gone > 0.0:
            yield _Span(first, last, count, before - after + count * swing + rain, model)


def _mean_swing(season: Season, row: int, first: float, last: float) -> float:
    """Return the swing of a pan's openings between two hours, in their mean: a knock moves it on its day. [kg]"""
    lost, pans = course_of(season, row)[0], season.forcing.pans
    each = summed(np.diff(lost) / np.repeat(pans.swing[row], 24))
    gone, swings = (float(np.diff(np.interp([first, last], np.arange(len(lost)), sums))[0]) for sums in (lost, each))
    return gone / swings if swings > 0.0 else swing_at(pans, row, last)


def _swings(season: Season, name: str) -> float:
    """Return what the openings of the season so far took from the trip to the reset, each by its own day's swing. [kg]"""
    row, openings = list(season.controllers).index(name), season.openings
    hours = openings.loc[openings["controller"] == name, "start_h"]
    return sum(swing_at(season.forcing.pans, row, max(hour, 0.0)) for hour in hours)


def _running(season: Season, name: str) -> float:
    """Return the share of what evaporates that does so while water runs in, which never shows in the level nor in a count."""
    refilled = float(season.openings.loc[season.openings["controller"] == name, "refilled_kg"].sum())
    # an empty tank's valve opens and refills little or nothing
    return max(1.0 - _swings(season, name) / refilled, 0.0) if refilled > 0.0 else 0.0


def _moved(garden: Scenario, name: str, spans: list[_Span]) -> tuple[list[_Span], list[str]]:
    """Leave out the one span over which the pan changed by what none of the others explain: somebody moved it."""
    if len(spans) < _LEAST_SPANS:
        return spans, []
    area, swing = garden.controller[name].pan.area, garden.controller[name].valve.swing_kg
    ratios = [span.seen / span.model for span in spans]
    middle = float(np.median(ratios))
    off = [(span.seen - middle * span.model) / area for span in spans]
    (row,) = rows if len(rows := [row for row, by in enumerate(off) if abs(by) > _JUMP]) == 1 else (None,)
    if row is None:
        return spans, []
    first, last, by = spans[row].first.moment, spans[row].last.moment, off[row]
    moments = {"first": f"{first:%Y-%m-%d %H:%M}", "last": f"{last:%Y-%m-%d %H:%M}"}
    key = "moved-down" if by > 0.0 else "moved-up"
    note = say(_TEXTS["notes"][key], name=name, by=abs(by), swing=swing / area, **moments)
    return spans[:row] + spans[row + 1 :], [note]


def _figures(
    garden: Scenario, season: Season, name: str, looks: Sequence[Look], spans: Sequence[_Span]
) -> dict[str, _Figure]:
    """Return what was seen over what the model has: the drop while shut, the openings, the litres of each opening."""
    area, row = garden.controller[name].pan.area, list(garden.controller).index(name)
    factors = valve_factors(garden, name, drawn_factors(garden, _DRAWS))
    each = factors.swing * factors.emitters.mean(axis=1) / factors.refill_flow
    figures = dict[str, _Figure]()

    shut, opened = ([span for span in spans if bool(span.openings) is whether] for whether in (False, True))
    for what, part_of, factor in (
        ("drop", shut, factors.exposure),
        ("openings", opened, factors.exposure / factors.swing),
    ):
        seen, model = (sum(getattr(span, side) for span in part_of) for side in ("seen", "model"))
        if model >= _TELLS * area:
            figures[what] = _figure(seen, model, 2.0**0.5 * RULER_MM * area / model, factor)
    counted = list(itertools.dropwhile(lambda look: look.openings is None, looks[1:]))
    count = sum(look.openings or 0 for look in counted)
    known = bool(counted) and all(look.openings is not None for look in looks[1:])
    never = not count and not any(look.tells_level for look in looks)  # one may be due any moment
    if "openings" not in figures and known and (count or never):
        lost, _ = course_of(season, row)
        first, last = looks[0].hour, looks[-1].hour
        model = float(np.diff(np.interp([first, last], np.arange(len(lost)), lost))[0])
        if (model := model * (1.0 - _running(season, name))) > 0.0:
            swing = _mean_swing(season, row, first, last)
            figure = _figure(max(count, 1) * swing, model, _PHASE * swing / model, factors.exposure / factors.swing)
            figures |= {"openings": figure} if count or figure.beyond else {}
    if {"drop", "openings"} <= figures.keys():
        drop, many = figures["drop"], figures["openings"]
        ends = np.log([1.0 / factors.swing.max(), 1.0 / factors.swing.min()])
        figures["apart"] = _Figure(many.ratio - drop.ratio, float(np.hypot(many.error, drop.error)), *ends)
    metered = [index for index, look in enumerate(looks) if look.meter is not None]
    litres = float(season.openings.loc[season.openings["controller"] == name, "litres"].sum())
    if len(metered) > 1 and litres > 0.0:
        begin, end = metered[0], metered[-1]
        counts = [look.openings for look in looks[begin + 1 : end + 1]]
        through = (looks[end].meter or 0.0) - (looks[begin].meter or 0.0)
        if None not in counts and (total := sum(counts)) > 0:  # type: ignore[arg-type]
            model = litres / _swings(season, name) * _mean_swing(season, row, looks[begin].hour, looks[end].hour)
            figures["litres"] = _figure(through / total, model, _METER + 0.5 / total, each)
    return figures


def _cause(garden: Scenario, season: Season, name: str, figures: dict[str, _Figure]) -> str:
    """Say which of the usual faults shows as what was seen does, in any size; or that none does."""
    sound, last = garden.changed({"fault": []}), season.days.index[-1].date()
    # a week tells what a valve does that opens every other day
    first = max(season.days.index[0].date(), last - dt.timedelta(days=WEEK))
    plain = replay(sound, start=first, end=last, weather=season.weather)
    keys = [key for key in ("drop", "openings", "litres", "refill") if key in figures]
    seen = np.array([figures[key].ratio for key in keys])
    errors = np.array([max(figures[key].error, _ALIKE) for key in keys])
    apart = dict[str, float]()
    for table in usual_faults(sound, plain, first):
        if "rate" in table:  # a week shows nothing of what grows by the month
            continue
        broken = sound.changed({"fault": [table]})
        (fault,) = broken.fault
        if name not in valves_of(fault, broken):
            continue
        shown = signs_of(fault, name, plain, replay(broken, start=first, end=last, weather=season.weather)).figures
        logs = {key: np.log(max(f.with_fault, 0.1) / max(f.without, 0.1)) for key, f in shown.items()}
        signs = {"drop": logs["drop_mm"], "openings": logs["openings"], "litres": logs["litres"] - logs["openings"]}
        # what is missing opens it for longer
        signs["refill"] = -signs["litres"] if fault.kind == "clogged-refill" else 0.0
        sign, weighed = np.array([signs[key] for key in keys]) / errors, seen / errors
        size = np.clip(sign @ weighed / max(sign @ sign, 1e-9), *_SIZES)
        off = float(((size * sign - weighed) ** 2).sum())
        apart[fault.kind] = min(off, apart.get(fault.kind, np.inf))
    texts = _TEXTS["causes"]
    near = sorted(apart, key=lambda kind: apart[kind])[:_MOST_CAUSES]
    likely = [kind for kind in apart if kind in near and apart[kind] <= apart[near[0]] + 1.0]
    if not likely or apart[likely[0]] > 0.5 * float(((seen / errors) ** 2).sum()):
        return str(texts["more" if seen[0] > 0.0 else "less"])
    names = texts["or"].join(texts[kind] for kind in likely)
    text = texts["likely"].format(names=names, look=LOOKS[likely[0]])
    others = texts["more" if seen[0] > 0.0 else "less"]
    return f"{text} {texts['also'].format(others=others)}" if keys == ["drop"] else str(text)
