"""
Season words: what happened, in three sentences. Used by the page and the terminal.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from panbudget.words import count, day_said, days_long, hours, mm, percent

if TYPE_CHECKING:
    from panbudget.season.result import Season

_MOST_BEDS_NAMED = 6
# supply ÷ net demand within which a bed "got about what it needed"; common practice, no source
_ABOUT_RIGHT = (0.9, 1.2)


def three_sentences(season: Season) -> list[str]:
    """
    Say what happened: how often it opened, what each bed got against its need, what to look at first.

    Parameters
    ----------
    season : Season

    Returns
    -------
    list of str
        Three sentences.
    """
    return [_opened(season), _got(season), _look_first(season)]


def _opened(season: Season) -> str:
    length = season.totals["season"]["days"]
    parts = []
    for name, totals in season.totals["controllers"].items():
        times = totals["openings"]
        if not times and not totals["open_hours"]:
            parts.append(f"the valve {name} never opened in {count(length, 'day')}")
            continue
        parts.append(
            f"the valve {name} opened {count(times, 'time')} in {count(length, 'day')}, "
            f"with {days_long(totals['longest_gap_days'])} as its longest gap"
            + (
                f", and stood open without water for {hours(totals['starved_hours'])}"
                if totals.get("starved_hours")
                else ""
            )
        )
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "."


def _got(season: Season) -> str:
    beds = season.totals["beds"]
    if len(beds) <= _MOST_BEDS_NAMED:
        parts = [
            f"{key} got {mm(bed['irrigation_mm'])} where it needed {mm(bed['net_demand_mm'])}"
            + (f" ({percent(bed['supply_over_demand'])})" if bed["supply_over_demand"] is not None else "")
            for key, bed in beds.items()
        ]
        text = "; ".join(parts)
        return f"In depth of water, {text}."
    ratios = {key: bed["supply_over_demand"] for key, bed in beds.items() if bed["supply_over_demand"] is not None}
    if not ratios:
        return f"None of the {len(beds)} beds needed water from the valves."
    low, high = _ABOUT_RIGHT
    right = sum(low <= ratio <= high for ratio in ratios.values())
    least, most = min(ratios, key=lambda key: ratios[key]), max(ratios, key=lambda key: ratios[key])
    return (
        f"Of {len(beds)} beds, {right} got about what they needed "
        f"({percent(low)} to {percent(high)} of net demand), "
        f"{sum(r < low for r in ratios.values())} less and {sum(r > high for r in ratios.values())} more: "
        f"least {least} with {percent(ratios[least])}, most {most} with {percent(ratios[most])}."
    )


def _look_first(season: Season) -> str:
    serious = [finding for finding in season.findings if finding.severity != "note"]
    if not serious:
        return "Nothing grave was found; read the notes below before you rely on it."
    rank = {"danger": 0, "caution": 1}
    worst = min(serious, key=lambda finding: rank.get(finding.severity, 2))
    # one sentence: the rest of the message, with the cure, stands among the findings
    first = re.split(r"(?<=[.!?])\s+(?=[A-Z])", worst.message, maxsplit=1)[0].rstrip(".")
    when = f" (first on {day_said(worst.first)})" if worst.first else ""
    return f"Look first at {worst.where}{when}: {_uncapitalised(first)}."


def _uncapitalised(text: str) -> str:
    """Lower the first letter of a plain word; ETo and the like stay."""
    return text[:1].lower() + text[1:] if text[1:2].islower() or text[1:2] == " " else text
