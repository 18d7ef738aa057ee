"""
Mistakes: what is wrong with a file, as problems whose sentences stand in ``texts.toml``, gathered kind by kind.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from panbudget.errors import Problem, WeatherError, visible
from panbudget.words import and_more, packaged

_TEXTS = packaged("weather/text/texts.toml")
#: key -> where, found, expected and cure of a problem, with its code where that is not the key
PROBLEMS: dict[str, dict[str, Any]] = _TEXTS["problems"]


def problem(key: str, /, *, value: object = None, **facts: object) -> Problem:
    """
    Make a problem of its texts.

    Parameters
    ----------
    key : str
        In ``texts.toml``.
    value : object
        The value found, for callers.
    **facts
        What the texts have in braces; an ``s`` beside a ``count`` that is not 1.

    Returns
    -------
    Problem
    """
    text = PROBLEMS[key]
    where, found, expected, cure = (
        _filled(text.get(part, ""), facts) for part in ("where", "found", "expected", "cure")
    )
    return Problem(text.get("code", key), where, found, expected, cure, value)


def note(key: str, /, **facts: object) -> str:
    """Return what a report should mention, by its key in ``texts.toml``; facts as in `problem`."""
    return visible(_filled(_TEXTS["notes"][key], facts))


def notes(key: str, count: int, /, **facts: object) -> list[str]:
    """Return a note that says how often something is so; nothing for never."""
    return [note(key, count=count, **facts)] if count else []


def refusal(key: str, file: str, /, *, value: object = None, **facts: object) -> WeatherError:
    """Make the error that refuses a file, of one problem."""
    return WeatherError(problem(key, value=value, **facts), file=file)


def _filled(text: str, facts: dict[str, Any]) -> str:
    return text.format(**{"more": "", "s": "" if facts.get("count", facts.get("cells")) == 1 else "s"} | facts)


def shortened(text: str, most: int = 30) -> str:
    """Cut a text that is quoted in a message."""
    return text if len(text) <= most else text[: most - 3] + "..."


def also_has(unused: str) -> str:
    """Say what columns a file has that aren't used, if any, behind a column that it lacks."""
    return note("also-has", listed=unused) if unused else ""


def listed(names: Iterable[object], most: int) -> str:
    """Name the first few, and say how many more there are."""
    texts = [str(name) for name in names]
    return ", ".join(texts[:most]) + (f" and {len(texts) - most} more" if len(texts) > most else "")


def first_of(mask: npt.NDArray[np.bool_], noun: str) -> Iterator[tuple[int, str]]:
    """Yield the first row where a mask holds, and how many more there are in words; nothing where it holds nowhere."""
    if mask.any():
        yield int(np.argmax(mask)), and_more(int(mask.sum()) - 1, noun)


class Mistakes:
    """What doesn't fit a file's format, gathered so that each kind becomes one problem that names its first line."""

    def __init__(self, others: Iterable[Problem] = ()) -> None:
        self._kinds: dict[tuple[str, str], tuple[Problem, str, int]] = {}
        self.others = list(others)
        #: what cures them where it is pasted into the scenario, as `Problem` has it
        self.paste: tuple[tuple[str, str], ...] = ()

    def note(self, key: str, /, *, value: object = None, **facts: object) -> None:
        """Note a mistake that is a problem of its own."""
        self.others.append(problem(key, value=value, **facts))

    def add(self, key: str, /, *, kind: str = "", value: object = None, **facts: object) -> None:
        """Note one mistake of many; those with the same code and kind (the cure if left out) are one problem."""
        first = problem(key, value=value, more="{more}", **facts)
        same = first.code, kind or first.cure
        first, noun, count = self._kinds.get(same, (first, PROBLEMS[key].get("noun", "row"), 0))
        self._kinds[same] = first, noun, count + 1

    def problems(self) -> list[Problem]:
        """Return a problem for each kind; ``{more}`` in what was found becomes how many more there are."""
        all_of_them = self.others + [
            dataclasses.replace(first, found=first.found.replace("{more}", and_more(count - 1, noun)))
            for first, noun, count in self._kinds.values()
        ]
        return [dataclasses.replace(first, paste=self.paste) for first in all_of_them[:1]] + all_of_them[1:]

    def raise_if_any(self, file: str) -> None:
        """Raise with all problems, if there are any."""
        if problems := self.problems():
            raise WeatherError(*problems, file=file)
