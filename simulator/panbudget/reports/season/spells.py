"""
Spells on a page and for a terminal: what stands out in the season's record, said as a fact; no finding, without a level.
"""

import datetime as dt
from collections.abc import Iterator
from typing import Any

from panbudget.reports.pages import Section, texts, words_of
from panbudget.season.result import Season
from panbudget.weather.checks.spells import Spell
from panbudget.words import SHOWN, amount, bare, count, days_said, signed

_section, _say = words_of("season")
# spells that the short line tells
_TOLD = 2


def stands_out(season: Season) -> list[Section]:
    """Say which spell of each quantity is most unlike the rest, and when gauges of records stand still."""
    rows = [{**_shown(spell), "first": dt.date.fromisoformat(spell.first)} for spell in season.stands_out]
    for row, spell in zip(rows, season.stands_out, strict=True):
        row |= {"last": dt.date.fromisoformat(spell.last), "days": spell.days}
    return [_section("stands_out", table=rows), _section("still", items=[*_still(season)])]


def spell_lines(season: Season, *, everything: bool) -> list[str]:
    """Say it for a terminal: those that are clear and worth most, one of ETo and of rain, in a line; or each in its own."""
    if everything:
        lines = [*map(_sentence, season.stands_out), *_still(season)]
        return [_say("stands_out_all"), *(f"  {line}" for line in lines)] if lines else []
    clear = sorted((spell for spell in season.stands_out if spell.clear), key=lambda of: -abs(of.worth_share))
    # a season's rain is less than its ETo, and its shares are larger
    first = {spell.of: spell for spell in reversed(clear)}
    clear = sorted(clear, key=lambda spell: spell is not first[spell.of])
    lines = [_sentence(spell) for spell in clear[:_TOLD]]
    return [_say("stands_out_line", spells=". ".join(lines))] if lines else []


def _sentence(spell: Spell) -> str:
    days = count(spell.days, "wet day" if spell.quantity == "wet" else "day")
    return _say("spell", **_shown(spell), days=f"{days_said(spell.first, spell.last)} ({days})")


def _shown(spell: Spell) -> dict[str, Any]:
    """Write a spell's figures with their units."""
    label, kind, decimals = texts("season")["spells"][spell.quantity]
    mean, rest = (
        amount(value, kind, decimals) if kind in SHOWN else f"{bare(value, '', decimals)} {kind}"
        for value in (spell.mean, spell.rest)
    )
    worth = f"{amount(spell.worth_mm, 'depth', 'signed 1')} of {spell.of} ({signed(100.0 * spell.worth_share, 1)} %)"
    return {"what": label, "label": label, "mean": mean, "rest": rest, "worth": worth}


def _still(season: Season) -> Iterator[str]:
    for of in season.still:
        never = _say("still_never", hours=", ".join(map(str, of.hours))) if of.hours else ""
        least = amount(of.least, "speed" if of.quantity == "wind" else "depth", "1")
        yield _say("still", of=of, never=never, least=least, clock=" by the sun" * of.by_sun)
