"""
Size page: the answer first, then its neighbours, the pictures and what was assumed; and the same as data.
"""

import functools
import json
import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from panbudget.reports.pages import Report, Section, texts, words_of
from panbudget.reports.size.figures import map_figure, trade_off_figure
from panbudget.reports.writing import Verb
from panbudget.season.supplies import most_static
from panbudget.studies.size.choose import Choice, Sizing, ValveSizing
from panbudget.words import calendar_day, count

_section, _say = words_of("size")
_NEIGHBOURS = 8
_FIGURES = {"map": map_figure, "trade-off": trade_off_figure}


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
    moved = ", ".join(f"{bed} {new} instead of {old}" for bed, (old, new) in valve.emitters.items() if old != new)
    values = {
        **{"valve": valve, "row": row, "often": often, "moved": moved},
        "what": row["from"] or _say("round", row=row),
        "swing": 1000.0 * row["swing_kg"],
        "short": round(row["stress_days"]),
        "wish": texts("size")["held_back"].get(choice.binding),
    }
    holds = "binding" if choice.keeps else "furthest"
    keys = ["answer", *([holds] if choice.binding or not choice.keeps else []), *(["moved"] if valve.emitters else [])]
    keys += ["starved"] if row["starved_hours"] > 0.0 else []
    return " ".join(_say(key, **values) for key in keys)


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
        pressure = most_static(sizing.scenario.supply[sizing.scenario.controller[name].supply])
        values = {**valve.advice.judged.settings[valve.advice.best]._asdict(), "pressure": pressure}
        key = f"controller.{_key(name)}"
        lines += [f"{key}.{line}" for line in _say("variant", **values).splitlines()]
        moved = {bed: new for bed, (old, new) in valve.emitters.items() if old != new}
        lines += [f"{key}.bed.{_key(bed)}.emitters.count = {new}" for bed, new in moved.items()]
    return "\n".join(lines) + "\n"


def _key(name: str) -> str:
    bare = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if bare else json.dumps(name, ensure_ascii=False)


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
    season, years = sizing.scenario.season, sizing.years
    span = str(years[0]) + (f" to {years[-1]}" if len(years) > 1 else "")
    days = f"{calendar_day(season.start)} to {calendar_day(season.end)}"
    return Report(
        title=f"{sizing.scenario.title}: sizes",
        when=f"{days}; {count(len(years), 'season')}, {span}",
        sections=[
            _section("wishes", items=_wishes(sizing), fill={"often": _often(sizing)}),
            *(part for valve in sizing.valves.values() for part in _tables(valve)),
            _section("figures", figures=figures),
            _section("variant", code=variant_text(sizing)),
        ],
        assumptions=sizing.assumptions,
    )


def _wishes(sizing: Sizing) -> list[str]:
    wishes = sizing.scenario.wishes
    litres = ["litres"] if wishes.litres is not None else []
    keys = ("stress_days", *litres, "openings_a_day", "night" if wishes.when == "night" else "any_time")
    return [_say(f"wish_{key}", wishes=wishes) for key in keys]


def _tables(valve: ValveSizing) -> Iterator[Section]:
    """The best setting and those beside it; then the beds, with their emitters where others are suggested."""
    settings = []
    for place, index in enumerate(_near(valve.advice)):
        row = valve.advice.judged.row(index)
        settings.append(
            {
                **row,
                "best": "best" if place == 0 else "",
                "pan": row["from"] or _say("pan", row=row),
                "refill_ml_min": row["refill_l_per_h"] * 1000.0 / 60.0,
                "swing_g": 1000.0 * row["swing_kg"],
                "missed": ", ".join(texts("size")["missed"][name] for name in row["missed"]) or "none",
            }
        )
    yield _section("settings", table=settings, fill={"name": valve.name})
    beds = []
    for bed in valve.beds:
        emitters = dict(zip(("now", "suggested"), valve.emitters.get(bed, (None, None)), strict=True))
        ratio = valve.ratios[bed] if math.isfinite(valve.ratios[bed]) else None
        beds.append({"bed": bed, "ratio": ratio, **(emitters if valve.emitters else {})})
    yield _section("beds", table=beds)


def _near(choice: Choice) -> list[int]:
    """The best setting and those next to it: other pans and flows, then other swings."""
    area, _, flow, swing = np.array(choice.judged.settings).T
    apart = sum(
        weight * np.abs(np.log(values / values[choice.best]))
        for weight, values in ((1.0, area), (1.0, flow), (0.2, swing))
    )
    others = [int(index) for index in np.argsort(apart, kind="stable") if index != choice.best]
    return [choice.best, *others[:_NEIGHBOURS]]


def size_totals(sizing: Sizing) -> dict[str, Any]:
    """Return what `size.json` holds beside schema and title."""
    return {
        "years": sizing.years,
        "wishes": sizing.scenario.wishes.model_dump(mode="json"),
        "said": size_sentences(sizing),
        "valves": {name: _valve(valve) for name, valve in sizing.valves.items()},
        "variant": variant_text(sizing),
        "assumptions": sizing.assumptions,
    }


def _valve(valve: ValveSizing) -> dict[str, Any]:
    as_is, advice = valve.choice, valve.advice
    return {
        "present": valve.present,
        "supply_over_need_as_described": valve.ratios,
        "best": advice.judged.row(advice.best),
        "keeps_all_wishes": advice.keeps,
        "binding": advice.binding,
        "emitters": {bed: {"now": old, "suggested": new} for bed, (old, new) in valve.emitters.items()},
        "best_with_emitters_as_they_are": as_is.judged.row(as_is.best),
    }


def settings_table(sizing: Sizing) -> pd.DataFrame:
    """Return a row for each setting tried, as `size.csv` has them."""
    rows = []
    for name, valve in sizing.valves.items():
        choices = {"as described": valve.choice, "suggested": valve.with_emitters}
        for emitters, choice in ((how, choice) for how, choice in choices.items() if choice is not None):
            for index in range(len(choice.judged.settings)):
                head = {"controller": name, "emitters": emitters, "best": index == choice.best}
                row = choice.judged.row(index)
                rows.append({**head, **row, "missed": " ".join(row["missed"])})
    return pd.DataFrame(rows)


def size_figures(sizing: Sizing) -> dict[str, Callable[..., list[Axes]]]:
    """Return two figures a valve, such as "map-1"."""

    def draw(sizing: Sizing, *, figure: str, name: str, **options: Any) -> list[Axes]:
        return _FIGURES[figure](sizing.valves[name], **options)

    return {
        f"{figure}-{place}": functools.partial(draw, figure=figure, name=name)
        for place, name in enumerate(sizing.valves, 1)
        for figure in _FIGURES
    }


VERB = Verb(
    "size",
    size_sentences,
    size_report,
    size_totals,
    tables={"size.csv": settings_table},
    figures=size_figures,
    of=lambda sizing: sizing.season,
)
