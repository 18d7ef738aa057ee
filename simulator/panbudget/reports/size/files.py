"""
Size files: what `size` writes.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from panbudget.reports.size.figures import map_figure, trade_off_figure
from panbudget.reports.size.page import size_report, size_sentences, variant_text
from panbudget.reports.writing import Verb
from panbudget.studies.size.choose import Sizing, ValveSizing


def size_totals(sizing: Sizing) -> dict[str, Any]:
    """Return what `size.json` holds beside schema and title."""
    return {
        "years": list(sizing.years),
        "wishes": sizing.scenario.wishes.model_dump(mode="json"),
        "said": size_sentences(sizing),
        "valves": {name: _valve(valve) for name, valve in sizing.valves.items()},
        "variant": variant_text(sizing),
        "assumptions": list(sizing.assumptions),
    }


def _valve(valve: ValveSizing) -> dict[str, Any]:
    as_is, advice = valve.choice, valve.advice
    return {
        "present": valve.present._asdict(),
        "supply_over_need_as_described": {
            bed: ratio if ratio < math.inf else None for bed, ratio in valve.ratios.items()
        },
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
        for emitters, choice in (("as described", valve.choice), ("suggested", valve.with_emitters)):
            for index in range(len(choice.judged.settings) if choice is not None else 0):
                assert choice is not None
                row = choice.judged.row(index)
                head = {"controller": name, "emitters": emitters, "best": index == choice.best}
                rows.append({**head, **row, "missed": " ".join(row["missed"])})
    return pd.DataFrame(rows)


def size_figures(sizing: Sizing) -> dict[str, Callable[..., list[Axes]]]:
    """Return two figures a valve, such as "map-1"."""

    def draw(sizing: Sizing, *, figure: Callable[..., list[Axes]], name: str, **options: Any) -> list[Axes]:
        return figure(sizing.valves[name], **options)

    return {
        f"{figure}-{place}": functools.partial(draw, figure=function, name=name)
        for place, name in enumerate(sizing.valves, 1)
        for figure, function in (("map", map_figure), ("trade-off", trade_off_figure))
    }


VERB = Verb(
    "size",
    size_sentences,
    size_report,
    size_totals,
    tables={"size.csv": settings_table},
    figures=size_figures,
)
