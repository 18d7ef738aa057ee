"""
Size page: the answer first, then its neighbours, the pictures and what was assumed; and the same as data.
"""

import functools
import itertools
import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from panbudget.files import toml_key, toml_value
from panbudget.reports.folders import to_paste
from panbudget.reports.pages import Report, Section, margins_said, texts, words_of
from panbudget.reports.size.figures import map_figure, name_of_best, trade_off_figure
from panbudget.reports.writing import Verb
from panbudget.studies.size.choosing import Choice
from panbudget.studies.size.layouts import at_hand
from panbudget.studies.size.sizing import Sizing, ValveSizing, beside_on_tank
from panbudget.words import as_typed, calendar_day, count, hundredths

_section, _say = words_of("size")
_NEIGHBOURS = 8
_PRINTED_DAYS = 0.05  # that print as a tenth
_MORE_WATER = 1.2  # times that of the garden as described, from which the first sentence says so
_MUCH_DRAINED = 0.25  # of the litres, from which it is said; common practice, no source
_FIGURES = {"map": map_figure, "trade-off": trade_off_figure}


def size_sentences(sizing: Sizing) -> list[str]:
    """
    Say the answer: for each valve what to build, in what share of the cells it keeps the wishes, what holds it back.

    Returns
    -------
    list of str
        The rule of choice last.
    """
    return [*(" ".join(_answer(valve, sizing)) for valve in sizing.valves.values()), _rule(sizing)]


def _rule(sizing: Sizing) -> str:
    return _say("rule", interval=100.0 * sizing.interval)


def _often(sizing: Sizing) -> str:
    return _say("often", interval=100.0 * sizing.interval)


def _answer(valve: ValveSizing, sizing: Sizing) -> list[str]:
    """The answer in a sentence, what it gives in the next, then what holds it back and what margin it has."""
    choice = valve.choice
    row, described = valve.row(choice.best), valve.row(0)
    moved = {bed: new for bed, new in row["emitters"].items() if new != valve.counts[bed]}
    margin = valve.margins["best"]
    printed_at = sizing.scenario.controller[valve.name].valve.refill.at
    values = {
        "at": "" if printed_at is None else _say("at", at=printed_at),
        **{"valve": valve, "row": row, "described": described, "choice": choice, "equal": len(choice.equal)},
        "what": row["from"] or _say("round", row=row),
        "swing": 1000.0 * row["swing_kg"],
        "promise": hundredths(choice.promise),
        "interval": 100.0 * sizing.interval,
        "cells": _cells(sizing),
        "water_ratio": row["litres"] / max(described["litres"], 1e-9),
        "worse_beds": " and ".join(bed for bed, worse in zip(valve.counts, choice.worse_beds, strict=True) if worse),
        "moved": ", ".join(f"{bed} {new} instead of {valve.counts[bed]}" for bed, new in moved.items()),
        "others": " and ".join(beside_on_tank(sizing.scenario, valve.name)),
        "wish": texts("size")["held_back"].get(choice.binding),
        **margins_said(margin),
    }
    first = "stay" if choice.best == 0 else "answer" if choice.keeps else "nearest"
    clauses = {
        "promised": True,
        "water": values["water_ratio"] >= _MORE_WATER,
        "worse": choice.worse,
        "worse_beds": not choice.worse and values["worse_beds"],
        "worse_fresh": not choice.worse and choice.more_days >= _PRINTED_DAYS,
    }
    parts = {key: _say(key, **values) if holds else "" for key, holds in clauses.items()}
    values |= parts | {"worse": parts["worse"] + parts["worse_beds"] + parts["worse_fresh"]}
    keys = {
        "gives": True,
        "jug": printed_at is not None,
        "drains": row["wasted"] >= _MUCH_DRAINED * row["litres"],
        "furthest": not choice.keeps,
        "binding": choice.keeps and choice.binding,
        "moved": moved,
        "margin": margin.exposure,
        "no_margin": margin.exposure is None,
        "alone": values["others"],
        "equal": choice.equal,
        "stuck": row["stuck_hours"] >= 1.5,
        "dry": row["dry_hours"] >= 0.5,
        "starved": row["starved_hours"] > 0.0,
    }
    return [_say(first, **values), *(_say(key, **values) for key, holds in keys.items() if holds)]


def _cells(sizing: Sizing) -> str:
    return f"{sizing.draws} draws × {count(len(sizing.years), 'season')}"


def variant_text(sizing: Sizing) -> str:
    """
    Return the answer as an overlay, as `sized.toml` holds it.

    Returns
    -------
    str
        TOML; only what differs from the garden as described. Flows at the pressure that the person wrote.
    """
    lines = ["[variant.sized]"]
    for name, valve in sizing.valves.items():
        key, best, present = f"controller.{toml_key(name)}", valve.best, valve.present
        parts = {
            "variant_pan": (best.area, best.depth) != (present.area, present.depth),
            "variant_depth": best.depth != present.depth,
            "variant_swing": best.swing != present.swing,
            "variant_refill": best.refill_flow != present.refill_flow,
        }
        label, vessels = at_hand(sizing.scenario, best)
        made_of = ", ".join(map(toml_value, vessels or [{"area": as_typed(best.area, "area")}]))
        values = {"vessels": made_of, "label": label or _say("round", row=valve.row(valve.choice.best))}
        values |= {"depth": as_typed(best.depth, "depth"), "swing": as_typed(best.swing, "weight")}
        values["flow"] = as_typed(valve.flow_of(best), "flow")
        lines += [f"{key}.{_say(part, **values)}" for part, holds in parts.items() if holds]
        moved = {bed: new for bed, new in valve.emitters_of(best).items() if new != valve.counts[bed]}
        lines += [f"{key}.bed.{toml_key(bed)}.emitters.count = {new}" for bed, new in moved.items()]
        if not any(parts.values()) and not moved:
            lines.append(f"# {name!r}: nothing to change")
    return "\n".join(lines) + "\n"


def size_report(sizing: Sizing, figures: Mapping[str, str]) -> Report:
    """Say what the page says."""
    season, years = sizing.scenario.season, sizing.years
    span = str(years[0]) + (f" to {years[-1]}" if len(years) > 1 else "")
    answers = [_answer(valve, sizing) for valve in sizing.valves.values()]
    of = [f"{name}: " if len(answers) > 1 else "" for name in sizing.valves]
    days = f"{calendar_day(season.start)} to {calendar_day(season.end)}"
    paths = to_paste(sizing.scenario, "sized.toml")
    changed = {name: valve.choice for name, valve in sizing.valves.items() if valve.choice.best}
    late = [name for name, choice in changed.items() if not choice.keeps]
    steps = (("first_wait",) if late else ("first_try", "first_build")) if changed else ("first_stay",)
    which = ", ".join(late) if len(late) < len(sizing.valves) else "it"
    return Report(
        title=f"{sizing.scenario.title}: sizes",
        when=f"{days}; {count(len(years), 'season')}, {span}",
        sections=[
            _section(
                "more", items=[name + more for name, (_, _, *rest) in zip(of, answers, strict=True) for more in rest]
            ),
            _section("wishes", items=_wishes(sizing), fill={"often": _often(sizing), "rule": _rule(sizing)}),
            *(part for valve in sizing.valves.values() for part in _tables(valve, sizing)),
            _section("ranges", table=_ranges(sizing), fill={"draws": sizing.draws}),
            _section("figures", figures=figures),
            _section("variant", code=variant_text(sizing), fill=paths),
        ],
        sentences=[
            *(answer for answer, *_ in answers),
            *(name + gives for name, (_, gives, *_) in zip(of, answers, strict=True)),
        ],
        first=[_say(key, **paths, which=which) for key in steps],
        assumptions=sizing.assumptions,
    )


def _wishes(sizing: Sizing) -> list[str]:
    wishes = sizing.scenario.wishes
    litres = ["litres"] if wishes.litres is not None else []
    keys = ("stress_days", *litres, "openings_a_day", "night" if wishes.when == "night" else "any_time")
    return [_say(f"wish_{key}", wishes=wishes) for key in keys]


def _ranges(sizing: Sizing) -> list[dict[str, Any]]:
    return [{"what": key, "low": low, "high": high} for key, (low, high) in sizing.ranges.items()]


def _tables(valve: ValveSizing, sizing: Sizing) -> Iterator[Section]:
    """The best setting, the described one and those beside them; then the margins, and the beds."""
    settings: dict[tuple[Any, ...], dict[str, Any]] = {}
    counts = [valve.emitters_of(setting) for setting in valve.choice.judged.settings]
    varied = [bed for bed, now in valve.counts.items() if any(layout[bed] != now for layout in counts)]
    for index in _near(valve.choice):
        row = valve.row(index)
        shown = {
            **row,
            "which": _which(valve.choice, index),
            "pan": row["from"] or _say("pan", row=row),
            "swing_g": 1000.0 * row["swing_kg"],
            "share": hundredths(row["share"]),
            "emitters": ", ".join(f"{bed}\u00a0{row['emitters'][bed]}" for bed in varied),
            "missed": ", ".join(texts("size")["missed"][name] for name in row["missed"]) or "none",
        }
        if not varied:
            del shown["emitters"]
        alike = (shown["pan"], round(row["refill_l_per_h"], 2), round(shown["swing_g"]), *row["emitters"].values())
        settings.setdefault(alike, shown)  # rows that print alike are one
    rows = list(settings.values())
    fill = {
        **{"name": valve.name, "often": _often(sizing), "cells": _cells(sizing), "few": valve.few},
        **{"tried": len(valve.tried.settings), "kept": len(valve.choice.judged.settings) - 1},
        "promise": hundredths(valve.choice.promise),
    }
    yield _section("settings", table=rows[: _NEIGHBOURS + 2], fill=fill)
    pairs = (("best", valve.choice.best), ("described", 0))
    margins = [{"which": _which(valve.choice, at), **margins_said(valve.margins[of])} for of, at in pairs]
    fill = {"interval": 100.0 * sizing.interval}
    yield _section("margins", table=margins if valve.choice.best else margins[:1], fill=fill)
    beds = []
    for bed, now in valve.counts.items():
        ratio = valve.ratios[bed] if math.isfinite(valve.ratios[bed]) else None
        beds.append({"bed": bed, "ratio": ratio, "now": now, "suggested": valve.emitters_of(valve.best)[bed]})
    yield _section("beds", table=beds)


def _which(choice: Choice, index: int) -> str:
    labels = {choice.best: name_of_best(choice), 0: "as described"}
    if choice.best == 0 == index:
        return f"{name_of_best(choice)}, as described"
    return labels.get(index, "equal" if index in choice.equal else "")


def _near(choice: Choice) -> list[int]:
    """The best setting, the described one, and the others by how near they come to keeping the wishes with its water."""
    judged = choice.judged
    equal = np.isin(np.arange(len(judged.settings)), choice.equal)
    apart = np.abs(np.log(np.maximum(judged.litres, 1.0) / max(float(judged.litres[choice.best]), 1.0)))
    order = np.lexsort((apart, ~equal)).tolist()
    return list(dict.fromkeys([choice.best, 0, *order]))


def size_totals(sizing: Sizing) -> dict[str, Any]:
    """Return what `size.json` holds beside schema and title."""
    return {
        "years": sizing.years,
        "draws": sizing.draws,
        "ranges": sizing.ranges,
        "wishes": sizing.scenario.wishes.model_dump(mode="json"),
        "wishes_to_be_kept_in": sizing.interval,
        "rule": _rule(sizing),
        "said": size_sentences(sizing),
        "valves": {name: _valve(valve) for name, valve in sizing.valves.items()},
        "variant": variant_text(sizing),
        "assumptions": sizing.assumptions,
    }


def _valve(valve: ValveSizing) -> dict[str, Any]:
    choice = valve.choice
    return {
        "described": valve.row(0),
        "best": valve.row(choice.best),
        "equal_to_best": [valve.row(index) for index in choice.equal],
        "margins": valve.margins,
        "share_promised": choice.promise,
        "keeps_all_wishes": choice.keeps,
        "leaves_plants_worse_than_described": choice.worse,
        "days_beyond_described_in_other_draws": choice.more_days,
        "binding": choice.binding,
        "supply_over_need_as_described": valve.ratios,
    }


def settings_table(sizing: Sizing) -> pd.DataFrame:
    """Return a row for each setting, as `size.csv` has them: the shortlist over all draws, then the search over a few."""
    rows = []
    for name, valve in sizing.valves.items():
        for over, judged in (("all draws", valve.choice.judged), ("few draws", valve.tried)):
            for index in range(len(judged.settings)):
                which = _which(valve.choice, index) if over == "all draws" else ""
                row = valve.row(index, judged)
                emitters = " ".join(f"{bed}:{many}" for bed, many in row["emitters"].items())
                head = {"controller": name, "judged_over": over, "which": which}
                rows.append({**head, **row, "emitters": emitters, "missed": " ".join(row["missed"])})
    return pd.DataFrame(rows)


def size_figures(sizing: Sizing) -> dict[str, Callable[..., list[Axes]]]:
    """Return two figures a valve, such as "map-1"."""

    def draw(sizing: Sizing, *, figure: str, name: str, **options: Any) -> list[Axes]:
        return _FIGURES[figure](sizing.valves[name], **options)

    drawn = itertools.product(enumerate(sizing.valves, 1), _FIGURES)
    return {f"{figure}-{n}": functools.partial(draw, figure=figure, name=name) for (n, name), figure in drawn}


VERB = Verb(
    "size",
    size_sentences,
    size_report,
    size_totals,
    tables={"size.csv": settings_table},
    files={"sized.toml": lambda sizing: variant_text(sizing).encode()},
    figures=size_figures,
    of=lambda sizing: sizing.season,
    measures=True,
)
