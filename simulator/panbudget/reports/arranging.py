"""
Arranging: in which order every page stands: its picture, what was found by its causes, what is folded, and which words it explains.
"""

import functools
import html
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

from panbudget import words
from panbudget.season.result import SEVERITIES, Finding

#: so many things are said to be done first
MOST_STEPS = 3


def gravest_first(findings: Iterable[Finding]) -> list[Finding]:
    """Sort findings as a page lists them."""
    return sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity))


@dataclass(frozen=True)
class Cause:
    """
    Findings that have one cause and are equally grave.

    Parameters
    ----------
    findings : tuple of Finding
        Of one severity and code, with one cure.
    """

    findings: tuple[Finding, ...]

    @property
    def severity(self) -> str:
        """How grave they are."""
        return self.findings[0].severity

    @property
    def cure(self) -> str:
        """What to do about all of them; empty where nothing is to be done."""
        return self.findings[0].cure

    def step(self) -> str:
        """Say where to do what about them."""
        places = dict.fromkeys(finding.where for finding in self.findings)
        parted = {place.split("/")[0] for place in places if "/" in place}  # whose beds are named
        return f"{', '.join(place for place in places if place not in parted)}: {self.cure or self.findings[0].message}"


def causes(findings: Iterable[Finding]) -> list[Cause]:
    """Group findings by how grave they are and by what causes them, the gravest first."""
    alike: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in gravest_first(findings):
        alike.setdefault((finding.severity, finding.code, str(finding.cure)), []).append(finding)
    return [Cause(tuple(several)) for several in alike.values()]


def steps_of(findings: Iterable[Finding]) -> list[str]:
    """Say what to do first about findings; notes need nothing, and of equally grave ones each valve's first go before others."""
    alike: dict[str, list[Finding]] = {}
    for finding in gravest_first(findings):
        if finding.severity != "note":
            alike.setdefault(str(finding.cure) or finding.message, []).append(finding)
    grave, named, ranks = [Cause(tuple(several)) for several in alike.values()], set[str](), []
    for row, cause in enumerate(grave):
        valves = {finding.where.split("/")[0] for finding in cause.findings}
        ranks.append((SEVERITIES.index(cause.severity), valves <= named, row))
        named |= valves
    return [grave[row].step() for row in sorted(row for *_, row in sorted(ranks)[:MOST_STEPS])]


@dataclass(frozen=True)
class Arranged:
    """
    A page's sections as they stand.

    Parameters
    ----------
    picture : section or None
        With one figure: the first of the page.
    open, folded : list of list of sections
        Blocks: a section with a heading, and those without one that follow it.
    """

    picture: Any
    open: list[list[Any]]
    folded: list[list[Any]]


def arranged(sections: Iterable[Any]) -> Arranged:
    """Put a page's `pages.Section`s in order: its picture first, findings before figures, and tables behind their headings."""
    picture, blocks = None, list[list[Any]]()
    for part in sections:
        if picture is None and part.figures:
            (first, svg), *others = part.figures.items()
            picture = replace(part, heading="", text="", table=None, note="", figures={first: svg})
            bare = part.table is None and not part.text
            part = replace(part, figures=dict(others) or (part.figures and {} if bare else None))
        if not part.shown:
            continue
        if part.heading or not blocks:
            blocks.append([])
        blocks[-1].append(part)
    by_kind = {kind: list(several) for kind, several in groupby(sorted(blocks, key=_kind), _kind)}
    return Arranged(picture, by_kind.get(0, []) + by_kind.get(1, []), by_kind.get(2, []))


def _kind(block: Sequence[Any]) -> int:
    """0 for what was found, 1 for what else stays open, 2 for what is folded."""
    if any(part.findings is not None for part in block):
        return 0
    if block[0].folded is not None:
        return 2 if block[0].folded else 1
    return 1 if any(part.figures or part.code for part in block) else 2


@functools.cache
def _table() -> dict[str, tuple[re.Pattern[str], str]]:
    described = words.packaged("reports/words.toml")["words"]
    return {
        word: (re.compile(rf"\b(?:{about.get('seen', re.escape(word))})\b"), about["means"])
        for word, about in described.items()
    }


def words_used(page: str) -> Iterator[tuple[str, str]]:
    """
    Yield the words of a page that not everybody knows, with what they mean.

    Parameters
    ----------
    page : str
        HTML.
    """
    body = page.partition("</style>")[2]
    text = html.unescape(re.sub(r"<style.*?</style>|<[^>]*>", " ", body, flags=re.DOTALL))
    yield from ((word, words.filled(means, {})) for word, (seen, means) in _table().items() if seen.search(text))
