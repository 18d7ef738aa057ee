"""
Mistakes: what is wrong with a file, gathered so that each kind is one problem.
"""

from __future__ import annotations

from panbudget.errors import PanbudgetError, Problem, WeatherError
from panbudget.words import and_more


def shortened(text: str, most: int = 30) -> str:
    """Cut a text that is quoted in a message."""
    return text if len(text) <= most else text[: most - 3] + "..."


class Mistakes:
    """What doesn't fit a file's format, gathered so that each kind becomes one problem that names its first line."""

    def __init__(self) -> None:
        self._kinds: dict[tuple[str, str], tuple[Problem, str, int]] = {}
        self.others: list[Problem] = []

    def add(
        self,
        code: str,
        where: str,
        found: str,
        *,
        cure: str,
        expected: str = "",
        noun: str = "row",
        kind: str = "",
        value: object = None,
    ) -> None:
        """Note one mistake; those with the same code and kind (the cure if left out) are one problem."""
        key = (code, kind or cure)
        problem, noun, count = self._kinds.get(key, (Problem(code, where, found, expected, cure, value), noun, 0))
        self._kinds[key] = (problem, noun, count + 1)

    def problems(self) -> list[Problem]:
        """Return a problem for each kind; ``{more}`` in what was found becomes how many more there are."""
        return self.others + [
            Problem(p.code, p.where, p.found.replace("{more}", and_more(count - 1, noun)), p.expected, p.cure, p.value)
            for p, noun, count in self._kinds.values()
        ]

    def raise_if_any(self, file: str, error: type[PanbudgetError] = WeatherError) -> None:
        """Raise with all problems, if there are any."""
        if problems := self.problems():
            raise error(*problems, file=file)
