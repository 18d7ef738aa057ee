"""
Typos: which of two readings that can't both be true is the wrong one, and what would most likely put it right.

A step between readings is possible where the counter does not go down and passes no more than all open valves do day and
night. Of the two at a step that is not, the wrong one is that without which its neighbours fit; where either will do, that
without which the meter runs more evenly. All rules are common practice, no source.
"""

from __future__ import annotations

import contextlib
import itertools
import math
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from panbudget.units import UnitError, quantity

if TYPE_CHECKING:
    from panbudget.studies.statement.meter import Reading

_UNITS = ("L", "gal", "ft3", "m3", "HCF", "ML", "AF")
_FEWEST = 1000.0  # counters have three digits at least
_NEARLY_ROUND = 0.9  # of its last number: a counter that is beyond it may have begun again


@dataclass(frozen=True)
class Suspect:
    """
    A step that can't be.

    Parameters
    ----------
    wrong : {"before", "current"}
        Which reading of the two.
    cures : tuple of (str, str)
        What would put it right, likelier first: "digit", "unit", "units" (of all), "swapped" or "rollover", and the text that it should be.

    goes_on : bool
        Whether what follows goes on from the second: its counter has begun again, or is another.
    """

    wrong: str
    cures: tuple[tuple[str, str], ...]
    goes_on: bool = False


def suspect(readings: Sequence[Reading], at: int, possible: Callable[[Reading, Reading], bool]) -> Suspect:
    """
    Find the wrong one of two readings.

    Parameters
    ----------
    readings : sequence of Reading
        Of one meter, in order of time; those before the step are sound.
    at : int
        Place of the second.
    possible : callable
        Whether one may follow another.

    Returns
    -------
    Suspect
    """

    def chain(*parts: Reading | None) -> bool:
        return all(possible(a, b) for a, b in itertools.pairwise([part for part in parts if part is not None]))

    earlier, after = (readings[i] if 0 <= i < len(readings) else None for i in (at - 2, at + 1))
    before, current = readings[at - 1], readings[at]
    if (top := _begun_again(before, current, possible)) and chain(current, after):
        return Suspect("current", (("rollover", top),), goes_on=True)
    units = [reading.unit for reading in (earlier, before, current, after) if reading is not None]
    of_before = tuple(_cures(before, units, lambda mended: chain(earlier, mended, current, after)))
    swapped = replace(before, litres=current.litres), replace(current, litres=before.litres)
    if current.litres < before.litres and chain(earlier, *swapped, after):
        mended = [_as_written(before, text) for kind, text in of_before if kind == "digit" and earlier is not None]
        if not any(_unevenness(earlier, other, current) < _unevenness(earlier, *swapped) for other in mended):
            return Suspect("current", (("swapped", ""),))
    of_current = tuple(_cures(current, units, lambda mended: chain(earlier, before, mended, after)))
    without_before, without_current = chain(earlier, current, after), chain(earlier, before, after)
    if earlier is None and not any(
        kind == "digit" or units.count(before.unit) == 1 < len(units) for kind, _ in of_before
    ):
        without_before = False  # that nothing comes before it says nothing against it
    if without_before and without_current:
        if earlier is not None and after is not None:
            without_current = _unevenness(earlier, before, after) <= _unevenness(earlier, current, after)
        else:  # nothing tells: a digit too many, of two readings that came to hand, is the smaller claim
            without_current = not any(kind == "digit" and len(text) < len(before.text) for kind, text in of_before)
    if not of_before and not of_current and (unit := _unit_of_all(readings, possible)):
        return Suspect("current", (("units", unit),))
    if without_before and not without_current:
        return Suspect("before", of_before)
    return Suspect("current", of_current, goes_on=not without_current and chain(current, after))


def _unit_of_all(readings: Sequence[Reading], possible: Callable[[Reading, Reading], bool]) -> str:
    """In which unit all readings could follow each other; empty where in none."""
    for unit in _UNITS:
        with contextlib.suppress(UnitError):  # more than any garden has
            other = (_as_written(reading, f"{reading.number} {unit}") for reading in readings)
            if all(possible(a, b) for a, b in itertools.pairwise(other)):
                return unit
    return ""


def _begun_again(before: Reading, current: Reading, possible: Callable[[Reading, Reading], bool]) -> str:
    """At which number a counter would have begun again between two readings; empty where it hardly has."""
    number = float(before.number)
    top = 10.0 ** len(before.number.split(".")[0])
    if current.litres >= before.litres or top < _FEWEST or number < _NEARLY_ROUND * top:
        return ""
    rolled = replace(current, event="rollover", top=before.litres * top / number)
    return f"{top:.0f}" if possible(before, rolled) else ""


def _unevenness(*readings: Reading | None) -> float:
    """By what factor a meter runs faster between two of three readings, as a logarithm."""
    rates = [
        (b.litres - a.litres) / max((b.moment - a.moment).total_seconds(), 1.0)
        for a, b in itertools.pairwise([reading for reading in readings if reading is not None])
    ]
    return abs(math.log(max(rates[0], 1e-12) / max(rates[1], 1e-12)))


def _cures(reading: Reading, units: Sequence[str], fits: Callable[[Reading], bool]) -> Iterator[tuple[str, str]]:
    """What would put a reading right: the first digit that would, and the first unit, which is likelier if it is alone."""
    others = [unit for unit in dict.fromkeys((*units, *_UNITS)) if unit != reading.unit]
    tries = {
        "digit": [
            f"{number} {reading.unit}" for number in _other_numbers(reading.number) if not re.match("0[0-9]", number)
        ],
        "unit": [f"{reading.number} {unit}" for unit in others],
    }
    for kind in sorted(tries, reverse=units.count(reading.unit) == 1 < len(units)):
        for text in tries[kind]:
            with contextlib.suppress(UnitError):
                mended = _as_written(reading, text)
                if mended.litres != reading.litres and fits(mended):
                    yield kind, text
                    break


def _as_written(reading: Reading, text: str) -> Reading:
    return replace(reading, litres=quantity(text, "volume") * reading.multiplier)


def _other_numbers(number: str) -> Iterator[str]:
    """A number with a digit less, from its end; with a zero more; with two digits swapped; with another digit."""
    digits = [index for index, letter in enumerate(number) if letter.isdigit()]
    for index in reversed(digits):
        yield number[:index] + number[index + 1 :]
    if "." not in number:
        yield number + "0"
    for a, b in itertools.pairwise(digits):
        yield number[:a] + number[b] + number[a + 1 : b] + number[a] + number[b + 1 :]
    for index in reversed(digits):
        for digit in "0123456789":
            yield number[:index] + digit + number[index + 1 :]
