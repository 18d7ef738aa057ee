"""
Setup page: what to set, valve by valve, on a page each, to print and take outside; and the same as data.
"""

import calendar
from collections.abc import Iterator, Mapping
from typing import Any

from panbudget.files import typed
from panbudget.reports.measuring import ruler_worth
from panbudget.reports.pages import Report, Section, margins_said, texts, words_of
from panbudget.reports.setup.pan_drawing import DrawnPage, pan_drawing
from panbudget.reports.setup.pdf import setup_pdf
from panbudget.reports.writing import Verb, provenance
from panbudget.studies.ranges import ranges_of
from panbudget.studies.setup import JUG_MINUTES, KEPT, SetUp, ValveSheet
from panbudget.words import SHOWN, amount, bare, filled, hundredths, number, percent

_section, _say = words_of("setup")


def setup_sentences(plan: SetUp) -> list[str]:
    """Say, valve by valve, what to set."""
    lines = []
    for name, sheet in plan.sheets.items():
        months = _by_month(sheet)
        starved = _say("empty", sheet=sheet) if sheet.starved_hours else ""
        starved += _say("kept_in", share=hundredths(sheet.sure.share), wish=plan.scenario.wishes.stress_days)
        key = "set_one" if KEPT in set(sheet.months["bound"]) else "set"
        lines.append(_say(key, name=name, sheet=sheet, months=months, starved=starved))
    return lines


def setup_report(plan: SetUp) -> Report:
    """Say what to set, valve by valve."""
    return Report(
        title=f"{plan.scenario.title}: set up",
        when="",
        sections=(),
        note=plan.scenario.note,
        assumptions=plan.assumptions,
        template="setup.html.j2",
        pages=[_valve_page(plan, sheet) for sheet in plan.sheets.values()],
    )


def _valve_page(plan: SetUp, sheet: ValveSheet) -> DrawnPage:
    years, bed, made = plan.years, sheet.bed.split("/")[1], provenance(plan.seasons[0], plan.scenario)
    laid = plan.scenario.laid_over
    span = {"first": years[0], "last": years[-1]}
    prints = {name: made[f"{name}_sha256"][:12] for name in ("scenario", "weather")}
    gains = [{**vars(way), "way": _say("way" if way.refill is None else "way_set", gain=way)} for way in sheet.gains]
    return DrawnPage(
        title=_say("title", sheet=sheet),
        when=_say("when" if len(years) > 1 else "when_one", **span, count=len(years), scenario=plan.scenario),
        note=plan.scenario.note,
        sentences=_three_sentences(plan, sheet),
        drawing=pan_drawing(sheet),
        alt=_say("alt", sheet=sheet),
        sections=[
            *_steps(plan, sheet),
            _section(
                "months",
                table=_months(sheet),
                items=list(_notes(sheet, plan.scenario.uncertainty.interval)),
                fill={"pressed": "; pressed" if sheet.press_times else ""},
            ),
            _section("gains", table=gains, fill={"bed": bed, "years": len(years)}),
        ],
        lead=texts("setup")["cautions"]
        + filled(texts("setup")["tank_cautions"], {}) * (sheet.starved_hours is not None),
        made_from=_say("made_from", made=made, laid=_say("laid", names=", ".join(laid)) if laid else "", **prints),
    )


def _three_sentences(plan: SetUp, sheet: ValveSheet) -> list[str]:
    """What to set; how sure that is; and what of it is turned by the month."""
    cells: dict[str, Any] = {
        "share": hundredths(sheet.sure.share),
        "years": len(plan.years),
        "draws": plan.draws,
        "wish": plan.scenario.wishes.stress_days,
        "interval": 100.0 * plan.scenario.uncertainty.interval,
        **margins_said(sheet.sure),
    }
    sure = _say("sure", sheet=sheet, **cells) + (_say("margin", **cells) if sheet.sure.exposure else "")
    as_it_is = "as_it_is_tank" if sheet.takes_from_others else "as_it_is"
    key = as_it_is if KEPT in set(sheet.months["bound"]) else "by_month"
    return [_say("set_valve", sheet=sheet, **_by_tank(sheet)), sure, _say(key, sheet=sheet, months=_by_month(sheet))]


def _by_tank(sheet: ValveSheet) -> dict[str, str]:
    """Under which tank's level flows hold; nothing of it on mains."""
    half, quarter = (JUG_MINUTES * flow for flow in sheet.by_level.values()) if sheet.by_level else (0.0, 0.0)
    key = "on_tank" if sheet.by_level else "on_mains"
    words: dict[str, str] = filled(texts("setup")[key], {"half": half, "quarter": quarter})
    return words


def _by_month(sheet: ValveSheet) -> str:
    pairs = zip(sheet.months["month"], sheet.months["refill"], strict=True)
    return ", ".join(f"{calendar.month_name[int(month)]} {bare(refill, 'drip')}" for month, refill in pairs)


def _steps(plan: SetUp, sheet: ValveSheet) -> Iterator[Section]:
    """What to set, step by step."""
    fixed = texts("setup")
    beds = plan.scenario.controller[sheet.name].bed
    areas = {bed: amount(beds[bed].area, "area", ".3g") for bed in sheet.emitters}
    counts = sheet.emitters.items()
    emitters = (f"{bed} ({areas[bed]}) {count} × {amount(flow, 'drip', ',1')}" for bed, (count, flow) in counts)
    values = {
        "sheet": sheet,
        "vessels": "; ".join(str(text) for text, _ in sheet.vessels),
        "above": sheet.depth_mm - sheet.freeboard_mm,
        "trip": sheet.freeboard_mm + sheet.swing_mm,
        "minutes": JUG_MINUTES,
        "emitters": "; ".join(emitters),
        "pressed": _say("pressed", times=", ".join(sheet.press_times)) if sheet.press_times else "",
        **fixed["several_vessels" if sum(sheet.counts) > 1 else "one_vessel"],
        **filled(fixed["equal_arms" if sheet.arm_ratio == 1.0 else "uneven_arms"], {"sheet": sheet}),
        **_by_tank(sheet),
    }
    for name, value, kind, within in (
        ("weight", sheet.counterweight_g, "grams", sheet.sure.swing_within),
        ("full", JUG_MINUTES * sheet.refill, "jug", sheet.sure.refill_within),
    ):
        low, high = (bare(value * (1.0 + by), kind, 0) for by in (-within, within))
        ends = {"low": low, "high": high, "unit": SHOWN[kind].unit}
        values[name] = value
        values[f"{name}_near"] = _say("will_do" if within else "as_near", **ends, **values)
    values["file"] = typed(plan.scenario.path, plan.scenario.laid_over)
    worth = ruler_worth(plan.seasons[0]).get(sheet.name)
    values["worth"] = "" if worth is None else _say("worth", worth=worth)
    for step in fixed["steps"]:
        yield Section(heading=step["heading"], items=filled(step["lines"], values))


def _months(sheet: ValveSheet) -> Iterator[dict[str, Any]]:
    marks = texts("setup")["marks"]
    for month in sheet.months.to_dict("records"):
        drop, openings = bare(month["drop_mm"], "depth", 0), number(month["openings_a_week"], 1)
        refill = f"{bare(month['refill'], 'drip')}{marks[month['bound']]}"
        if month["refill_low"] < month["refill_high"]:
            refill += f" ({bare(month['refill_low'], 'drip')}–{bare(month['refill_high'], 'drip')})"
        if month["dry_runs"] > 1:
            drop += f" ({bare(month['drop_low_mm'], 'depth', 0)}–{bare(month['drop_high_mm'], 'depth', 0)})"
        elif not month["dry_runs"]:
            drop += " *"
        openings += f" ({_ends(month, 'openings_a_week')})"
        if sheet.press_times:
            openings += f"; {number(month['pressed_a_week'], 1)}"
        yield {
            "month": calendar.month_name[month["month"]],
            "drop": drop,
            "openings": openings,
            "minutes": month["minutes"],
            "litres": f"{bare(month['litres_a_week'], 'volume')} ({_ends(month, 'litres_a_week', 'volume')})",
            "refill": refill,
        }


def _ends(month: Mapping[Any, Any], what: str, kind: str = "") -> str:
    return "–".join(bare(month[f"{what}_{end}"], kind, "" if kind else 0) for end in ("low", "high"))


def _notes(sheet: ValveSheet, interval: float) -> Iterator[str]:
    notes, change, bounds = texts("setup")["notes"], sheet.other_model - 1.0, set(sheet.months["bound"])
    other = "energy-balance" if sheet.model != "energy-balance" else "from-eto"
    yield notes["ruler"]
    sign = "+" if change > 0 else "−"
    yield filled(notes["model"], {"model": sheet.model, "other": other, "change": sign + percent(abs(change))})
    yield filled(notes["present"], {"interval": 100.0 * interval})
    of_months = {
        "no_run": not sheet.months["dry_runs"].all(),
        "bound": bounds & {"least", "most"},
        "idle": "idle" in bounds,
    }
    yield from (notes[key] for key, holds in of_months.items() if holds)
    if KEPT in bounds:
        drawn = {"now_drawn": sheet.sure.mean_days[0], "then_drawn": sheet.sure.mean_days[-1]}
        values = {"sheet": sheet, "now": sheet.gains[0], "then": sheet.gains[-1], **drawn}
        yield filled(notes["kept_tank" if sheet.takes_from_others else "kept"], values)
    if sheet.starved_hours:
        yield filled(notes["starved"], {"sheet": sheet})


def setup_totals(plan: SetUp) -> dict[str, Any]:
    """Return what `setup.json` holds beside schema, title and provenance."""
    valves = {name: _valve(sheet) for name, sheet in plan.sheets.items()}
    about = {"draws": plan.draws, "ranges": ranges_of(plan.scenario)}
    return {"years": plan.years, **about, "controllers": valves, "assumptions": plan.assumptions}


def _valve(sheet: ValveSheet) -> dict[str, Any]:
    return {
        **{key: value for key, value in vars(sheet).items() if key != "name"},
        "refill_ml_min": sheet.refill,
        "vessels": [text for text, _ in sheet.vessels],
        "emitters": {bed: {"count": count, "ml_min": flow} for bed, (count, flow) in sheet.emitters.items()},
        "months": sheet.months.to_dict("records"),
    }


VERB = Verb(
    "setup",
    setup_sentences,
    lambda plan, figures: setup_report(plan),
    setup_totals,
    tables={"setup.csv": SetUp.table},
    files={"setup.pdf": lambda plan: setup_pdf(setup_report(plan), plan.paper)},
    of=lambda plan: plan.seasons[0],
    measures=True,
)
