"""
Checks of the grid of figures: a spell that stands on the steps that another unit, or another size of tip, gives a file's own.

An anemometer and a gauge have steps of their own. A spell of them in another unit, or counted several times, keeps those, multiplied:
of figures that all stand on such steps a few dozen are no chance, whatever the weather was. The thresholds were set on genuine and
invented records (tests/benchmarks/weather_checks.py): common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from panbudget.numeric import Floats, Ints, half_digit, longest, on_steps
from panbudget.weather.checks.air import WIND_UNITS
from panbudget.weather.checks.inspection import Doubt, Inspection, Verdict, seen
from panbudget.weather.messages import counted

# steps that files have [-]; share of the figures that are on them; how many figures tell; share of the others on a spell's steps, and the
# logarithm of the chance that all of its are, beyond which they are there for a reason [-, -, -, -]
_STEPS, _ON_STEPS, _ENOUGH, _OFTEN, _BY_CHANCE = (1.0, 0.5, 0.25, 0.2, 0.1), 0.75, 12, 0.8, -12.0
# different figures of a spell
_DIFFERENT = 5
# how exactly people turn units [-]
_TURNED = 2e-4
# digits by which the steps of another unit are known
_FINE = 0.006
# how far a spell's middle may be from as many times the others' [-], as a power of that
_LEVEL = (0.4, 1.6)
# share of a rain column's records, most of them above nothing, that are no less than the one before, in a counter that only grows
_GROWS = 0.99
# how many times rain may be counted, or in what unit it may be
_TIMES = (2.0, 3.0, 4.0, 5.0, 8.0, 10.0, 25.4)


class OnSteps(NamedTuple):
    """From the ``first`` figure to the ``last``, what is on steps so many ``times`` the file's; the logarithm of the chance of that."""

    chance: float
    first: int
    last: int
    times: float


def spell_on_steps(figures: Floats, sizes: tuple[float, ...]) -> OnSteps | None:
    """
    Return the spell of figures that stand on a file's own steps so many times as wide, if that is no chance.

    Examples
    --------
    >>> wind = np.resize([0.7, 1.1, 2.3, 3.4, 1.9, 2.6, 0.8], 300)
    >>> wind[100:160] = (wind[100:160] * 3.6).round(1)
    >>> spell_on_steps(wind, (3.6, 2.237))[2:]
    (159, 3.6)
    """
    if figures.size < 4 * _ENOUGH:
        return None
    off = half_digit(figures, 3)
    steps = [(step, 0.0) for step in _STEPS]
    steps += [(step, off) for step in (0.254, *WIND_UNITS.values())] if off < _FINE else []  # of another unit, turned
    own, by = next(
        ((step, by) for step, by in steps if on_steps(figures, step, by + 1e-6).mean() >= _ON_STEPS), (0.0, 0.0)
    )
    if not own or not off:
        return None
    found = list[OnSteps]()
    for times in sizes:
        fits = on_steps(figures, own * times, off + by * times + _TURNED * figures)
        first, length = longest(fits)
        others = figures.size - length
        if length < _ENOUGH or others < _ENOUGH:
            continue
        share = max(float(fits.sum() - length), 1.0) / others
        inside, outside = figures[first : first + length], np.delete(figures, slice(first, first + length))
        level = np.log(np.median(inside) / np.median(outside)) / np.log(times)
        # the same again tells nothing
        differ = int((np.diff(inside) != 0.0).sum()) if np.unique(inside).size >= _DIFFERENT else 0
        chance = differ * np.log(share) + np.log(figures.size)
        if share < _OFTEN and chance < _BY_CHANCE and _LEVEL[0] < level < _LEVEL[1]:
            found.append(OnSteps(chance, first, first + length - 1, times))
    return min(found, default=None)


def _figures(inspection: Inspection, name: str) -> tuple[Floats, Ints]:
    """Return the figures above nothing in the file's unit, of records where there are some, and of which day asked for each is."""
    days, moving = inspection.numbers, inspection.raw.by_hour.moving if inspection.raw.by_hour is not None else None
    if moving is not None and name in moving:
        values, at = moving[name].to_numpy(float), np.searchsorted(days, (numbers := moving.index.to_numpy() // 24))
        here = (numbers >= days[0]) & (numbers <= days[-1]) & ~np.isnan(values)
        values, at = values[here], at[here]
        if name == "rain" and values.size > 1 and np.median(values) > 0.0 and (np.diff(values) >= 0.0).mean() > _GROWS:
            values = np.diff(values, prepend=values[:1])  # of a counter what it gains, in which a gauge's tips are
    else:
        values = inspection.of_asked(name)
        at = np.arange(values.size)
    known = values > 0.0
    return (values[known] / inspection.raw.conversions.get(name, (1.0, 0.0))[0]).round(6), at[known]


def _spell(inspection: Inspection, name: str, sizes: tuple[float, ...]) -> Iterator[Verdict]:
    figures, at = _figures(inspection, name)
    if (spell := spell_on_steps(figures, sizes)) is None:
        return
    first, last = int(at[spell.first]), int(at[spell.last])
    values = inspection.of_asked(name).copy()
    values[first : last + 1] /= spell.times
    words = {"first": inspection.day_asked(first), "last": inspection.day_asked(last), "times": spell.times}
    words |= {"figures": counted(spell.last - spell.first + 1, "figure")}
    code = {"wind": "wind-leap/grid", "rain": "rain-change/grid"}[name]
    yield Verdict((name,), code, words, inspection.with_asked(**{name: values}))


def _wind_spell(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a spell of wind whose figures stand on the steps of a faster one in another unit."""
    own = WIND_UNITS.get(inspection.unit_in_file("wind"), 1.0)
    sizes = tuple(round(own / size, 4) for size in WIND_UNITS.values() if own > size)
    if not seen(inspection, "wind-leap"):
        yield from _spell(inspection, "wind", sizes)


def _rain_spell(inspection: Inspection, names: list[str]) -> Iterator[Verdict]:
    """Doubt a spell of rain whose amounts are all many times a gauge's tips."""
    if not (seen(inspection, "rain-change") or seen(inspection, "value-steps")):
        yield from _spell(inspection, "rain", _TIMES)


#: in the order in which they are made: after what tells a change by its size
CHECKS: tuple[Doubt, ...] = (
    Doubt("wind-leap", _wind_spell, ("wind",), _ENOUGH),
    Doubt("rain-change", _rain_spell, ("rain",), _ENOUGH),
)
