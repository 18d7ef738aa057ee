"""
Checks of figures: what a column's digits tell by themselves, whatever the weather was: another column's, a limit's, a spreadsheet's.

After WMO No. 8, Guide to Instruments and Methods of Observation, whose checks hold quantities against each other and against what
an instrument can show (from memory). The thresholds were set on genuine and invented records
(tests/benchmarks/weather_checks.py): common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from math import factorial

import numpy as np

from panbudget.numeric import Floats, Ints, Mask, longest, on_steps
from panbudget.weather.checks.inspection import Doubt, Inspection, Verdict, seen
from panbudget.weather.checks.sensors import by_afternoon, run_by_chance
from panbudget.weather.marks import is_known_mark
from panbudget.weather.text.columns import STANDARD, number

# days in a row on which two columns are the same to the digit, and how many figures stand among them at least [d, -]
_SAME_DAYS, _FIGURES = 14, 7
# humidity that several columns may share on damp days [%]
_DAMP = 98.0
# days at a column's end, the stretches that they come in, and how many times as many they are as those of any other figure [d, -, -]
_AT_LIMIT, _STRETCHES, _TIMES_OTHERS = 12, 4, 3.0
# the same of a figure between the ends (3.8 at most in 507 genuine seasons)
_TIMES_WITHIN = 5.0
# how far below saturation the next figure is where a hygrometer leaps to it (12.6 at most in genuine seasons) [%]
_DAMP_FAR = 20.0
# days, each by itself, that have one highest or lowest figure, how far that is from the next by the reach of all others, and by
# their least step: a mark, as 9.9 is [-, -, -]
_MARKED, _FAR, _STEPS_FAR = 3, 0.25, 5.0
# what people write for rain that is missing beside the known marks, from so much rain on, and the chance that so many wet days have one
# such amount, by the days near it (none of 228 genuine and 360 invented seasons has one so often) [-, mm, -]
_AS_MARKS, _NO_LITTLE, _TOO_OFTEN = (0.99, 9.9, 9.99, 55.5), 9.0, 1e-4
# the chance that so many wet days have the largest rain, below which it is a limit
_TIED = 3e-4
# the chance of a row of equal steps, below which somebody drew it; days of a column that stands in the order of size [-, d]
_DRAWN, _IN_ORDER = 1e-6, 30
# days in a row whose steps are one but for the last digit [d]
_ROUNDED_DAYS = 12
# days of a line that is slower than the last digit, and by how many of that it goes on at least [d, -]
_SLOW_DAYS, _SLOW_STEPS = 30, 4
# wide steps, by column, twice and more those of a reading in whole units
_COARSE = {"tmin": 2.5, "tmax": 2.5, "dew_point": 2.5, "wind": 1.3, "rain": 2.6, "radiation": 2.5, "sunshine": 2.5}
# wet days whose amounts all stand on a gauge's steps, from the first on or up to the last, and different ones among them [d, -]
_ON_STEPS, _AMOUNTS = 15, 5
# steps of gauges, by the file's unit, those that people read or round to, how many times a gauge's a step is by mistake (in none of 456
# genuine seasons), and parts of a unit [mm or in, -, -]
_OF_GAUGES = {"mm": (0.1, 0.2, 0.25, 0.254, 0.5, 1.0), "in": (0.01,)}
_READ = {"mm": (1.27, 2.0, 2.5, 2.54, 5.0, 6.35, 10.0, 12.7, 25.4), "in": (0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0)}
_TIMES, _PARTS = range(2, 11), 1000.0
# columns that are nothing for days in a row
_OFTEN_NOTHING = ("rain", "sunshine")
# what may be filled in where it is left empty
_FILLED = ("rh_max", "rh_min", "rh_mean", "dew_point", "vapour_pressure", "wind", "radiation", "sunshine")
# columns that may be below 0
_BELOW_NOTHING = ("tmin", "tmax", "dew_point")
# columns that may end in the weather's own limit: calm, a gauge's first drop, a clear sky's noon
_NO_LOWEST = ("wind", "rain", "radiation", "sunshine", "rh_max")
# share of the daylight up to which sunshine ends by no sky [-]
_NOT_ALL_DAY = 0.8


def _copied(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a column that is another's to the digit for days in a row."""
    for name, other in combinations(names, 2):
        values = inspection.of_asked(name)
        damp = (values >= _DAMP) & name.startswith("rh") & other.startswith("rh")
        same = (values == inspection.of_asked(other)) & (values != 0.0) & ~damp
        first, count = longest(same)
        if count >= _SAME_DAYS and np.unique(values[first : first + count]).size >= _FIGURES:
            words = {"other": other, "count": int(same.sum()), "first": inspection.day_asked(first)}
            yield Verdict((name, other), "columns-alike", words, _filled(inspection, name, same))


def _ends(
    inspection: Inspection, name: str, *, commonest: bool = False
) -> Iterator[tuple[int, Floats, Ints, Mask, int, dict[str, object]]]:
    """
    Yield a column's highest (-1) and lowest (0) place among its figures, how often each comes, its days and their runs, and words.

    Also that of the commonest figure, if that lies between them and is asked for.
    """
    values = inspection.of_asked(name).round(6)  # sums of equal records differ by their last bits
    known = values[~np.isnan(values) & ((values > 0.0) | (name in _BELOW_NOTHING))]
    figures, counts = np.unique(known, return_counts=True)
    if figures.size <= 2:
        return
    within = [int(counts.argmax())] if commonest and 0 < counts.argmax() < figures.size - 1 else []
    for end in (-1, 0, *within):
        here, shown = values == figures[end], f"{number(float(figures[end]))} {STANDARD[name].shown_unit}"
        stretches = int((np.diff(here.astype(np.int8), prepend=0) > 0).sum())
        yield end, figures, counts, here, stretches, {"shown": shown, "count": int(counts[end])}


def _limited(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a figure that comes far more often than any other, in many stretches: a sensor's limit, or what was filled in."""
    for name in names:
        if name == "rain" and seen(inspection, "rain-sum"):  # days without rain leave those as they were
            continue
        for end, figures, counts, here, stretches, words in _ends(inspection, name, commonest=name != "rain"):
            others, times = np.delete(counts, end).max(), _TIMES_WITHIN if end > 0 else _TIMES_OTHERS
            enough = counts[end] >= _AT_LIMIT and counts[end] > times * others and stretches >= _STRETCHES
            natural = _is_natural(inspection, name, end, figures[end], here)
            if (enough and not natural) or (name == "rain" and end and _ties(figures, counts) < _TIED):
                words |= {"more": "more" if end else "less", "others": int(others)}
                # nothing tells a stronger wind
                instead = {} if name == "wind" and end else _filled(inspection, name, here)
                if name == "rh_max" and end and (likely := by_afternoon(inspection, here)):
                    instead = {of: np.maximum(figures, inspection.all_of(of)) for of, figures in likely.items()}
                yield Verdict((name,), f"value-limit{'/within' if end > 0 else ''}", words, instead)


def _marked(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a highest or lowest figure on several days by themselves that lies far from all others."""
    for name in names:
        told = False
        for end, figures, _, here, stretches, words in _ends(inspection, name):
            rest = np.delete(figures, end)
            far = abs(figures[end] - rest[end]) > max(_FAR * np.ptp(rest), _STEPS_FAR * np.diff(rest).min())
            damp = _is_natural(inspection, name, end, figures[end], here)
            if stretches >= _MARKED and far and (not damp or figures[end] - rest[end] > _DAMP_FAR):
                words["next"] = number(float(rest[end]))
                instead = by_afternoon(inspection, here) if damp and name == "rh_max" else {}
                if name == "rain":  # of no rain on those days, as on most
                    instead = {"rain": np.nan_to_num(inspection.without(here, "rain")["rain"])}
                text = f"value-mark{'/damp' if damp else ''}"
                yield Verdict((name,), text, words, instead or _filled(inspection, name, here))
                told = True
        if name == "rain" and not told:
            yield from _marked_within(inspection)


def _marked_within(inspection: Inspection) -> Iterator[Verdict]:
    """Doubt an amount of rain that looks like a mark and comes more often than those near it make likely, by Poisson's law."""
    rain, factor = inspection.of_asked("rain"), inspection.raw.conversions.get("rain", (1.0, 0.0))[0]
    as_filed = (rain / factor).round(4)
    figures, counts = np.unique(as_filed[as_filed > 0.0], return_counts=True)
    like = np.isin(figures, _AS_MARKS) | is_known_mark(figures)
    like &= (counts >= _MARKED) & (figures * factor >= _NO_LITTLE)
    for figure, count in zip(figures[like], counts[like], strict=True):
        near = int(counts[(figures > figure / 2.0) & (figures < 2.0 * figure) & (figures != figure)].sum())
        likely = near / (1.5 * figure / np.diff(figures).min())
        if likely < 1.0 and likely**count / factorial(count) < _TOO_OFTEN:
            here = as_filed == figure
            words = {
                "shown": f"{number(figure * factor)} {STANDARD['rain'].shown_unit}",
                "count": int(count),
                "near": near,
            }
            instead = {"rain": np.nan_to_num(inspection.without(here, "rain")["rain"])}
            yield Verdict(("rain",), "value-mark/often", words, instead)


def _is_natural(inspection: Inspection, name: str, end: int, figure: float, days: Mask) -> bool:
    """Tell whether weather itself may end at a column's lowest (0) or highest (-1) figure."""
    if end == 0:
        return name in _NO_LOWEST
    if name == "sunshine":
        return bool(figure > _NOT_ALL_DAY * np.median(inspection.sky.daylight[inspection.asked][days]))
    return name.startswith("rh") and figure >= _DAMP


def _drawn(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a column that is in the order of its size, or that goes on by one step, but for the last digit, longer than by chance."""
    for name in names:
        values = inspection.of_asked(name)
        steps = np.diff(values).round(6)
        in_order = values.size >= _IN_ORDER and bool((steps >= 0.0).all() or (steps <= 0.0).all())
        if in_order and np.unique(values).size >= _FIGURES:
            yield Verdict((name,), "value-series/sorted", {}, _filled(inspection, name, values == values))
            continue
        grain = 1.01 * np.diff(np.unique(values[~np.isnan(values)]).round(6)).min(initial=np.inf)
        fallen = (values[2:] > 0.0) | (name not in _OFTEN_NOTHING)
        for most, least in ((0.0, 0), (grain, _ROUNDED_DAYS)):
            up = [(np.abs(np.diff(steps)) <= most) & fallen & (steps[1:] * sign >= 0.0) for sign in (1.0, -1.0)]
            same = max((of & (most > 0.0 or steps[1:] != 0.0) for of in up), key=lambda of: longest(of)[1])
            first, length, chance = run_by_chance(same)
            by = abs(float(values[first + length + 1] - values[first])) / (length + 1) if length else 0.0
            # light goes slowly where the sun hardly comes up
            slow = length + 2 >= _SLOW_DAYS and name not in ("radiation", "sunshine")
            reach = _SLOW_STEPS if slow else _FIGURES
            if length + 2 < least or (least and by * length < reach * most) or same.size * chance**length >= _DRAWN:
                continue
            days = np.arange(values.size)
            here = (days >= first) & (days <= first + length + 1)
            shown = f"{number(round(by, 3))} {STANDARD[name].shown_unit}"
            words = {"by": shown, "count": length + 2, "first": inspection.day_asked(first)}
            yield Verdict((name,), "value-series", words, _filled(inspection, name, here))
            break


def _coarse(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a column whose figures all stand on wide, equal steps: rounded to fives or tens, or read so."""
    for name in names:
        values = inspection.known(name).round(6)
        figures = np.unique(values[values > 0.0] if name in _OFTEN_NOTHING else values)
        step = float(np.diff(figures).min(initial=np.inf))
        alike = on_steps((figures - figures[:1]) / step, 1.0, 1e-3).all()
        if figures.size > 2 and step >= _COARSE[name] and alike and (values > 0.0).sum() >= _AT_LIMIT:
            words = {"by": f"{number(round(step, 2))} {STANDARD[name].shown_unit}", "figures": figures.size}
            yield Verdict((name,), "value-steps", words)


def _no_gauges(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt rain on steps that no gauge has, but some times as small, on all wet days or from one on or up to one."""
    unit, rain = "in" if inspection.unit_in_file("rain") == "in" else "mm", inspection.of_asked("rain")
    wet = np.flatnonzero(rain > 0.0)
    if wet.size < _ON_STEPS or seen(inspection, "rain-unit"):
        return
    parts = np.round(rain[wet] / (25.4 if unit == "in" else 1.0) * _PARTS).astype(int)
    for days, along in ((wet[::-1], parts[::-1]), (wet, parts)):
        steps = np.gcd.accumulate(along) / _PARTS
        of_steps = {step: times for step in np.unique(steps) if (times := _times_a_gauges(unit, step))}
        count = int(np.isin(steps, list(of_steps)).cumsum().argmax()) + 1  # the step of more days is a gauge's
        step, enough = steps[count - 1], count >= _ON_STEPS and np.unique(along[:count]).size >= _AMOUNTS
        if step not in of_steps or not enough or (count == wet.size and step >= _COARSE["rain"]):
            continue
        first, last = sorted((days[0], days[count - 1]))
        of_all = np.arange(rain.size)
        here = (of_all >= first) & (of_all <= last)
        words = {
            "wet": count,
            "by": f"{number(step)} {unit}",
            "times": " or ".join(map(str, of_steps[step])),
            "first": inspection.day_asked(first),
            "last": inspection.day_asked(last),
        }
        ways = [inspection.with_asked(rain=np.where(here, rain / of, rain)) for of in of_steps[step]]
        yield Verdict(names, "value-steps/gauge", words, ways)
        return


def _times_a_gauges(unit: str, step: float) -> list[int]:
    """Return how many times a gauge's a step may be, if no gauge has it and nobody reads so."""
    known = np.isclose(step, (*_OF_GAUGES[unit], *_READ[unit])).any()
    return [] if known else [of for of in _TIMES if np.isclose(step / of, _OF_GAUGES[unit]).any()]


def _ties(figures: Floats, counts: Ints) -> float:
    """
    Return the chance that so many days have the largest rain, by how finely it is written.

    Rain beyond any amount goes on as an exponential law does, which forgets: each of the largest days but one falls within a step
    of the next by the same chance.
    """
    step, mean = float(np.diff(figures).min()), float(np.average(figures, weights=counts))
    return float((1.0 - np.exp(-step / mean)) ** (counts[-1] - 1))


def _filled(inspection: Inspection, name: str, days: Mask) -> dict[str, Floats]:
    """What to compute the season with, to tell what the doubt is worth: these days filled in, where that tells."""
    of_hours = name.startswith("rh") and name in inspection.raw.of_records  # of which vapour is made, too
    return inspection.without(days, name) if name in _FILLED and not of_hours else {}


_COLUMNS = ("rh_max", "rh_min", "rh_mean", "dew_point", "vapour_pressure", "wind", "radiation", "rain", "tmin", "tmax")

#: in the order in which they are made: a later row sees what earlier ones left
CHECKS: tuple[Doubt, ...] = (
    Doubt("columns-alike", _copied, _COLUMNS, _SAME_DAYS, needs=("tmax",)),
    Doubt("value-limit", _limited, (*_COLUMNS, "sunshine"), 2 * _AT_LIMIT, needs=("tmax",)),
    Doubt("value-mark", _marked, _COLUMNS, 2 * _AT_LIMIT, needs=("tmax",)),
    Doubt("value-series", _drawn, (*_COLUMNS, "sunshine"), _IN_ORDER, needs=("tmax",)),
    Doubt("value-steps", _coarse, tuple(_COARSE), 2 * _AT_LIMIT, needs=("tmax",)),
    Doubt("value-steps", _no_gauges, ("rain",), 2 * _ON_STEPS),
)
