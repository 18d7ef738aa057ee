"""
Command line: `size`, which pan, refill flow and swing would suit.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from panbudget.cli.options import Done, option, verb

if TYPE_CHECKING:
    from panbudget.studies.size.choose import Sizing


@verb("{out}/size.html, with the table, figures and size.json beside it.", steps=98)
def size(
    scenario: Any,
    controller: Annotated[str | None, option("Only this valve.", metavar="NAME")] = None,
    *,
    step: Any,
) -> Done:
    """
    Which pan, refill flow and swing would suit these beds, over all the years of the weather file?

    Example:  panbudget size scenarios/terraces.toml --out sizes
    """
    from panbudget.studies.size.choose import size as sized

    step("reading the weather")
    found = sized(scenario, controller=controller, step=step)
    return Done(lambda folder: write_size(found, folder), lambda: size_json(found), lambda: _lines(found))


def _lines(found: Sizing) -> Iterator[str]:
    from panbudget.reports.size.page import size_sentences

    yield from size_sentences(found)
    if len(found.years) < 10:
        yield from (f"assumed: {text}" for text in found.assumptions[:1])


def size_json(found: Sizing) -> dict[str, Any]:
    """
    Return what `size.json` holds.

    Parameters
    ----------
    found : Sizing

    Returns
    -------
    dict
    """
    from panbudget.reports.size.page import size_sentences, variant_text

    valves = {}
    for name, valve in found.valves.items():
        as_is, advice = valve.choice, valve.advice
        valves[name] = {
            "present": valve.present._asdict(),
            "supply_over_need_as_described": {
                bed: ratio if ratio < float("inf") else None for bed, ratio in valve.ratios.items()
            },
            "best": advice.judged.row(advice.best),
            "keeps_all_wishes": advice.keeps,
            "binding": advice.binding,
            "emitters": {bed: {"now": old, "suggested": new} for bed, (old, new) in valve.emitters.items()},
            "best_with_emitters_as_they_are": as_is.judged.row(as_is.best),
        }
    return {
        "schema": 1,
        "title": found.scenario.title,
        "years": list(found.years),
        "wishes": found.scenario.wishes.model_dump(mode="json"),
        "said": size_sentences(found),
        "valves": valves,
        "variant": variant_text(found),
        "assumptions": list(found.assumptions),
    }


def write_size(found: Sizing, folder: Path) -> None:
    """
    Write the answer, all settings tried and the figures into an empty folder.

    Parameters
    ----------
    found : Sizing
    folder : Path
    """
    import pandas as pd

    from panbudget.files import write_csv, write_json
    from panbudget.reports.canvas import draw_into
    from panbudget.reports.size.figures import map_figure, trade_off_figure
    from panbudget.reports.size.page import size_html

    rows = []
    for name, valve in found.valves.items():
        sets = {"as described": valve.choice, "suggested": valve.with_emitters}
        for emitters, choice in sets.items():
            if choice is not None:
                for index in range(len(choice.judged.settings)):
                    row = choice.judged.row(index)
                    row["missed"] = " ".join(row["missed"])
                    rows.append({"controller": name, "emitters": emitters, "best": index == choice.best, **row})
    write_csv(pd.DataFrame(rows), folder / "size.csv")
    write_json(size_json(found), folder / "size.json")
    drawn = draw_into(
        folder,
        (
            (f"{name}-{place}", draw(valve))
            for place, valve in enumerate(found.valves.values(), 1)
            for name, draw in (("map", map_figure), ("trade-off", trade_off_figure))
        ),
    )
    (folder / "size.html").write_text(size_html(found, drawn), encoding="utf-8")
