"""
Size page: the answer first, then its neighbours, the pictures and what was assumed.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from panbudget.reports.pages import Report, Section, section
from panbudget.season.supplies import most_static
from panbudget.studies.size.choose import Choice, Sizing, ValveSizing
from panbudget.words import calendar_day, count, litres, number

_section = functools.partial(section, "size")
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


def size_report(sizing: Sizing, figures: Mapping[str, str]) -> Report:
    """
    Say what the page says.

    Parameters
    ----------
    sizing : Sizing
    figures : mapping
        Name -> SVG element.

    Returns
    -------
    Report
    """
    season = sizing.scenario.season
    span = str(sizing.years[0]) + (f" to {sizing.years[-1]}" if len(sizing.years) > 1 else "")
    kept = f"Each is to be kept {_often(sizing)}. They stand under [wishes] in the scenario."
    return Report(
        title=f"{sizing.scenario.title}: sizes",
        when=(
            f"{calendar_day(season.start)} to {calendar_day(season.end)}; {count(len(sizing.years), 'season')}, {span}"
        ),
        sections=[
            _section("wishes", items=_wishes(sizing), note=kept),
            *(part for valve in sizing.valves.values() for part in _tables(valve)),
            _section("figures", figures=figures),
            _section("variant", code=variant_text(sizing)),
        ],
        assumptions=sizing.assumptions,
    )


def _wishes(sizing: Sizing) -> list[str]:
    wishes = sizing.scenario.wishes
    least, most = wishes.openings_a_day
    wished = [
        f"at most {count(wishes.stress_days, 'day')} short of water, in the driest quarter of the neediest bed",
        f"{least:g} to {most:g} openings a day in the hottest week",
        "openings in the dark only" if wishes.when == "night" else "openings at any time of day",
    ]
    if wishes.litres is not None:
        wished.insert(1, f"at most {litres(wishes.litres)} a season through each valve")
    return wished


def _tables(valve: ValveSizing) -> Iterator[Section]:
    """The best setting and those beside it; then the beds, with their emitters where others are suggested."""
    judged = valve.advice.judged
    settings = []
    for place, index in enumerate(_near(valve.advice)):
        row = judged.row(index)
        round_pan = f"{number(row['area_m2'], 3)}\u00a0m² (⌀\u00a0{number(row['diameter_cm'])}\u00a0cm)"
        settings.append(
            {
                **row,
                "best": "best" if place == 0 else "",
                "pan": row["from"] or round_pan,
                "refill_ml_min": row["refill_l_per_h"] * 1000.0 / 60.0,
                "swing_g": 1000.0 * row["swing_kg"],
                "missed": ", ".join(_SHORT_WORDS[name] for name in row["missed"]) or "none",
            }
        )
    yield _section("settings", table=settings, heading=f"{valve.name}: the best setting, and those beside it")
    beds = []
    for bed in valve.beds:
        now, suggested = valve.emitters.get(bed, (None, None))
        emitters = {"now": now, "suggested": suggested} if valve.emitters else {}
        ratio = valve.ratios[bed]
        beds.append({"bed": bed, "ratio": ratio if math.isfinite(ratio) else None, **emitters})
    yield _section("beds", table=beds)


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
