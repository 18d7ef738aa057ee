"""
Setup page: what the page on the screen and the one on paper say, one a valve, to print and take outside.

Numbers become text here; the fixed words stand in ``texts.toml``.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

from panbudget.reports.pages import Report, Section, labelled, texts
from panbudget.reports.setup.pan_drawing import Shape, as_svg, pan_drawing
from panbudget.reports.writing import provenance
from panbudget.studies.setup import JUG_MINUTES, TOLERANCE, SetUp, ValveSheet
from panbudget.words import calendar_day, kilograms, number, percent

_MARKS = {"least": " (least)", "most": " (most)", "idle": " (idle)", "": ""}


@dataclass(frozen=True)
class ValvePage(Report):
    """One valve's page: a ``drawing`` with its description ``alt``, sections, and what it was made from."""

    drawing: tuple[Shape, ...] = ()
    alt: str = ""
    made_from: str = ""

    @property
    def svg(self) -> str:
        """The drawing, for a page."""
        return as_svg(self.drawing)


@dataclass(frozen=True)
class SetupReport(Report):
    """The pages of all valves."""

    template: ClassVar[str] = "setup.html.j2"

    pages: tuple[ValvePage, ...] = ()


def setup_report(plan: SetUp) -> SetupReport:
    """
    Say what to set, valve by valve.

    Parameters
    ----------
    plan : SetUp

    Returns
    -------
    SetupReport
    """
    return SetupReport(
        title=f"{plan.scenario.title}: set up",
        when="",
        sections=(),
        note=plan.scenario.note,
        assumptions=plan.assumptions,
        pages=tuple(_valve_page(plan, sheet) for sheet in plan.sheets.values()),
    )


def _valve_page(plan: SetUp, sheet: ValveSheet) -> ValvePage:
    said, years, season, made = texts("setup"), plan.years, plan.scenario.season, provenance(plan.seasons[0])
    seasons = f"the season of {years[0]}" if len(years) == 1 else f"{len(years)} seasons, {years[0]} to {years[-1]}"
    bed = sheet.bed.split("/")[1]
    columns = {**said["gains"]["columns"], "way": said["gains"]["columns"]["way"].format(bed=bed)}
    gains = [
        {"way": gain.way if gain.refill is None else f"{gain.way}, {number(gain.refill)} mL/min"}
        | {name: getattr(gain, name) for name in columns if name != "way"}
        for gain in sheet.gains
    ]
    weather = made["weather"]["file"]
    return ValvePage(
        title=said["title"].format(valve=sheet.name),
        when=said["when"].format(
            title=plan.scenario.title, start=calendar_day(season.start), end=calendar_day(season.end), seasons=seasons
        ),
        note=plan.scenario.note,
        drawing=tuple(pan_drawing(sheet)),
        alt=said["alt"].format(valve=sheet.name),
        sections=[
            *_steps(sheet),
            Section(heading=said["months"]["heading"], table=_months(sheet), items=list(_notes(sheet))),
            Section(
                heading=said["gains"]["heading"],
                table=_table(gains, columns, (62, 24, 24, 42, 28)),
                items=[said["gains"]["note"].format(bed=bed)],
            ),
        ],
        lead=said["cautions"],
        made_from=(
            f"panbudget {made['panbudget']}; scenario {made['scenario_sha256'][:12]}, weather {weather} "
            f"{made['weather_sha256'][:12]}"
        ),
    )


def _table(rows: list[dict[str, Any]], columns: dict[str, str], widths: tuple[float, ...]) -> Any:
    table = labelled(rows, columns)
    table.attrs["widths"] = widths
    return table


def _steps(sheet: ValveSheet) -> Iterator[Section]:
    """What to set, step by step."""
    said, full = texts("setup"), JUG_MINUTES * sheet.refill
    ratio, swing = f"{sheet.arm_ratio:g}", number(sheet.swing_g)
    fixed = dict(said["several_vessels" if sum(sheet.counts) > 1 else "one_vessel"])
    fixed |= said["equal_arms" if sheet.arm_ratio == 1.0 else "uneven_arms"]
    values = {
        "vessels": "; ".join(text for text, _ in sheet.vessels),
        "depth": number(sheet.depth_mm),
        "area": number(sheet.area, 3),
        "reset": number(sheet.freeboard_mm, 1),
        "water": kilograms(sheet.water_at_reset_kg),
        "above": number(sheet.depth_mm - sheet.freeboard_mm, 1),
        "trip": number(sheet.freeboard_mm + sheet.swing_mm, 1),
        "drop": number(sheet.swing_mm, 1),
        "swing": swing,
        "flow": number(sheet.refill, 1),
        "jug_minutes": JUG_MINUTES,
        "minutes": number(sheet.minutes_by_jug, 1),
        "pressed": said["pressed"]["some" if sheet.press_times else "none"].format(times=", ".join(sheet.press_times)),
        "emitters": "; ".join(
            f"{bed} {count} × {number(flow, 1)} mL/min" for bed, (count, flow) in sheet.emitters.items()
        ),
        **{name: text.format(ratio=ratio, swing=swing) for name, text in fixed.items()},
    }
    for name, value in (("weight", sheet.counterweight_g), ("full", full)):
        near = (value * (1.0 - TOLERANCE), value, value * (1.0 + TOLERANCE))
        values |= zip((f"least_{name}", name, f"most_{name}"), map(number, near), strict=True)
    for step in said["steps"]:
        yield Section(heading=step["heading"], items=[line.format(**values) for line in step["lines"]])


def _months(sheet: ValveSheet) -> Any:
    columns = dict(texts("setup")["months"]["columns"])
    columns["openings"] += " (pressed)" if sheet.press_times else ""
    rows = []
    for _, month in sheet.months.iterrows():
        drop, pressed = (
            number(month["drop_mm"]),
            f" ({number(month['pressed_a_week'], 1)})" if sheet.press_times else "",
        )
        if month["dry_runs"] > 1:
            drop += f" ({number(month['drop_low_mm'])}–{number(month['drop_high_mm'])})"
        elif not month["dry_runs"]:
            drop += " *"
        rows.append(
            {
                "month": calendar.month_name[month["month"]],
                "drop": drop,
                "openings": number(month["openings_a_week"], 1) + pressed,
                "minutes": month["minutes"],
                "litres": month["litres_a_week"],
                "refill": f"{month['refill']}{_MARKS[month['bound']]}",
            }
        )
    return _table(rows, columns, (22, 42, 35, 22, 25, 34))


def _notes(sheet: ValveSheet) -> Iterator[str]:
    said, change, bounds = texts("setup")["months"], sheet.other_model - 1.0, set(sheet.months["bound"])
    other = "energy-balance" if sheet.model != "energy-balance" else "from-eto"
    yield said["ruler"]
    yield said["model"].format(
        model=sheet.model, other=other, change=f"{'+' if change > 0 else '−'}{percent(abs(change))}"
    )
    yield said["present"]
    if not sheet.months["dry_runs"].all():
        yield said["no_run"]
    if bounds & {"least", "most"}:
        yield said["bound"]
    if "idle" in bounds:
        yield said["idle"]
