"""
Command line: `size`. Parse, call, print.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from panbudget.cli.options import Json, Out, Overwrite, Quiet, ScenarioPath, print_json, progress, say

if TYPE_CHECKING:
    from panbudget.studies.size.choose import Sizing

__all__ = ["size", "size_json", "write_size"]


def size(
    scenario: ScenarioPath,
    out: Out,
    controller: Annotated[str | None, typer.Option(metavar="NAME", help="Only this valve.", show_default=False)] = None,
    variant: Annotated[
        str | None, typer.Option(metavar="NAME", help="Lay one of the file's variants over it.", show_default=False)
    ] = None,
    overwrite: Overwrite = False,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """
    Which pan, refill flow and swing would suit these beds, over all the years of the weather file?

    Example:  panbudget size scenarios/terraces.toml --out sizes
    """
    from panbudget.reports.folders import new_folder
    from panbudget.scenario.garden import load_scenario

    with progress(100, quiet=quiet) as step:
        step("reading the scenario")
        described = load_scenario(scenario)
        if variant is not None:
            described = described.with_variant(variant)
        with new_folder(out, "size", overwrite=overwrite) as made:
            from panbudget.studies.size.choose import size as sized

            def told(valve: str, part: int, parts: int) -> None:
                step(f"{valve}: {part} of {parts} parts")

            step("reading the weather")
            found = sized(described, controller=controller, done=told)
            step("drawing and writing")
            write_size(found, made)
    if as_json:
        print_json(size_json(found))
    else:
        from panbudget.reports.size.page import size_sentences

        for sentence in size_sentences(found):
            say(sentence, quiet=quiet)
        for text in found.assumptions[:1] if len(found.years) < 10 else ():
            say(f"assumed: {text}", quiet=quiet)
    say(f"Wrote {out}/size.html, with the table, figures and size.json beside it.", quiet=quiet, aside=as_json)


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
