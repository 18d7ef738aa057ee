"""
Size page: the answer first, then its neighbours, the pictures and what was assumed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from panbudget.reports.pages import Table, placed_figure, render
from panbudget.reports.texts import CAUTIONS, METHOD
from panbudget.season.supplies import most_static
from panbudget.studies.size.choose import Choice, Sizing, ValveSizing
from panbudget.words import calendar_day, count, litres, number, percent

__all__ = ["size_html", "size_sentences", "variant_text"]

_NEIGHBOURS = 8
_WISH_WORDS = {
    "stress_days": "the days short of water",
    "litres": "the water that may be used",
    "openings_a_day": "the openings a day",
    "when": "openings in the dark only",
    "runs_well": "a valve that shuts again and a pan that stays wet",
    "": "",
}


_SHORT_WORDS = {
    "stress_days": "days short",
    "litres": "litres",
    "openings_a_day": "openings",
    "when": "daylight",
    "runs_well": "sticks or dries",
}


def size_sentences(sizing: Sizing) -> list[str]:
    """
    Say the answer: for each valve what to build, what it gives, what holds it back.

    Parameters
    ----------
    sizing : Sizing

    Returns
    -------
    list of str
    """
    return [_sentence(valve, _often(sizing)) for valve in sizing.valves.values()]


def _often(sizing: Sizing) -> str:
    if len(sizing.years) >= 10:
        return "in nine years of ten"
    return "in the worst season" if len(sizing.years) > 1 else "in this season"


def _sentence(valve: ValveSizing, often: str) -> str:
    choice = valve.advice
    row = choice.judged.row(choice.best)
    what = row["from"] or f"a pan of {number(row['area_m2'], 3)} m² (round: {number(row['diameter_cm'])} cm)"
    text = (
        f"{valve.name}: {what}, refilled at {number(row['refill_l_per_h'], 2)} L/h, with a swing of "
        f"{number(1000.0 * row['swing_kg'])} g: {count(round(row['stress_days']), 'day')} short in the driest quarter of "
        f"the neediest bed {often}, {litres(row['litres'])} a season, "
        f"{number(row['openings_a_day'], 1)} openings a day in the hottest week."
    )
    if not choice.keeps:
        text += f" It does not keep all wishes: {_WISH_WORDS[choice.binding]} is furthest from it."
    elif choice.binding:
        text += f" What stops a thriftier setting is {_WISH_WORDS[choice.binding]}."
    if valve.emitters:
        moved = ", ".join(f"{bed} {new} instead of {old}" for bed, (old, new) in valve.emitters.items() if old != new)
        text += (
            f" That is with other numbers of emitters, since no pan serves these beds together as they are: {moved}; "
            f"those of {valve.reference} stay."
        )
    return text


def variant_text(sizing: Sizing) -> str:
    """
    Return the answer as an overlay to paste into the scenario.

    Parameters
    ----------
    sizing : Sizing

    Returns
    -------
    str
        TOML; the refill flow is that at the supply's pressure.
    """
    lines = ["[variant.sized]"]
    for name, valve in sizing.valves.items():
        key = f"controller.{_key(name)}"
        setting = valve.advice.judged.settings[valve.advice.best]
        lines.append(f'{key}.pan.vessels = [{{ area = "{setting.area:.4g} m^2" }}]')
        lines.append(f'{key}.pan.depth = "{setting.depth:.4g} mm"')
        lines.append(f'{key}.valve.swing = "{setting.swing:.3g} kg"')
        pressure = most_static(sizing.scenario.supply[sizing.scenario.controller[name].supply])
        lines.append(f'{key}.valve.refill = {{ flow = "{setting.refill_flow:.4g} L/h", at = "{pressure:.4g} kPa" }}')
        for bed, (old, new) in valve.emitters.items():
            if old != new:
                lines.append(f"{key}.bed.{_key(bed)}.emitters.count = {new}")
    return "\n".join(lines) + "\n"


def _key(name: str) -> str:
    bare = name.replace("-", "").replace("_", "")
    if bare.isascii() and bare.isalnum():
        return name
    return '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'


def size_html(sizing: Sizing, drawn: Mapping[str, str]) -> str:
    """
    Write the page.

    Parameters
    ----------
    sizing : Sizing
    drawn : mapping
        Figure's name -> SVG element.

    Returns
    -------
    str
    """
    season = sizing.scenario.season
    wishes = sizing.scenario.wishes
    years = count(len(sizing.years), "season") + f", {sizing.years[0]}"
    if len(sizing.years) > 1:
        years += f" to {sizing.years[-1]}"
    wished = [
        f"at most {count(wishes.stress_days, 'day')} short of water, in the driest quarter of the neediest bed",
        f"{wishes.openings_a_day[0]:g} to {wishes.openings_a_day[1]:g} openings a day in the hottest week",
        "openings in the dark only" if wishes.when == "night" else "openings at any time of day",
    ]
    if wishes.litres is not None:
        wished.insert(1, f"at most {litres(wishes.litres)} a season through each valve")
    return render(
        "size.html.j2",
        title=f"{sizing.scenario.title}: sizes",
        when=f"{calendar_day(season.start)} to {calendar_day(season.end)}; {years}",
        often=_often(sizing),
        note=sizing.scenario.note,
        sentences=size_sentences(sizing),
        wishes=wished,
        variant=variant_text(sizing),
        valves=[
            {"name": valve.name, "rows": _neighbours(valve), "beds": _beds(valve)} for valve in sizing.valves.values()
        ],
        figures=[placed_figure(name, svg, _caption(name)) for name, svg in drawn.items()],
        assumptions=sizing.assumptions,
        method=METHOD,
        cautions=CAUTIONS,
    )


def _caption(name: str) -> str:
    if name.startswith("map"):
        return (
            "Every pan and refill flow that was tried. The darker, the more days short of water; ringed: keeps every wish. "
            "Twice the pan with twice the refill flow gives the beds the same water, in longer openings or shorter."
        )
    return (
        "What water buys: each dot is a setting; the line is the least water for each number of days short. Where the line "
        "is flat, more water only drains away."
    )


def _beds(valve: ValveSizing) -> Table:
    headings: tuple[str, ...] = ("bed", "supply ÷ need, as described")
    rows: list[tuple[str, ...]] = [
        (bed, percent(ratio if math.isfinite(ratio) else None))
        for bed, ratio in ((bed, valve.ratios[bed]) for bed in valve.beds)
    ]
    if valve.emitters:  # only where other emitters are suggested
        headings += ("emitters now", "emitters suggested")
        counts = [valve.emitters.get(bed, (None, None)) for bed in valve.beds]
        rows = [(*row, number(old), number(new)) for row, (old, new) in zip(rows, counts, strict=True)]
    return Table(headings, tuple(rows))


def _neighbours(valve: ValveSizing) -> Table:
    choice = valve.advice
    order = _near(choice)
    rows = []
    for place, index in enumerate(order):
        row = choice.judged.row(index)
        rows.append(
            (
                "best" if place == 0 else "",
                row["from"] or f"{number(row['area_m2'], 3)}\u00a0m² (⌀\u00a0{number(row['diameter_cm'])}\u00a0cm)",
                number(row["refill_l_per_h"], 2),
                number(row["refill_l_per_h"] * 1000.0 / 60.0, 1),
                number(1000.0 * row["swing_kg"]),
                number(row["stress_days"]),
                percent(row["adequacy"]),
                number(row["litres"]),
                number(row["wasted"]),
                number(row["openings_a_day"], 1),
                number(row["open_hours"]),
                ", ".join(_SHORT_WORDS[name] for name in row["missed"]) or "none",
            )
        )
    headings = (
        *("", "pan", "refill [L/h]", "[mL/min]", "swing [g]", "days short", "ETa ÷ ETc", "litres a season"),
        *("litres drained", "openings a day, hottest week", "hours open", "wishes missed"),
    )
    return Table(headings, tuple(rows), names=2)


def _near(choice: Choice) -> list[int]:
    """The best setting and those next to it: other pans and flows, then other swings."""
    judged = choice.judged
    best = judged.settings[choice.best]

    def distance(index: int) -> Any:
        s = judged.settings[index]
        return (
            abs(np.log(s.area / best.area)) + abs(np.log(s.refill_flow / best.refill_flow))
            + 0.2 * abs(np.log(s.swing / best.swing)),
            index,
        )  # fmt: skip

    others = sorted((i for i in range(len(judged.settings)) if i != choice.best), key=distance)
    return [choice.best, *others[:_NEIGHBOURS]]
