"""
Setup words: what the setup page says, once, for the page on the screen and the one on paper.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from panbudget.words import calendar_day, kilograms, number, percent

if TYPE_CHECKING:
    from collections.abc import Mapping

    from panbudget.studies.setup import MonthSheet, SetUp, ValveSheet

__all__ = ["CAUTIONS_SHORT", "SheetWords", "made_from", "sheet_words"]

CAUTIONS_SHORT: tuple[str, ...] = (
    "Keep a drinking-water line safe from backflow, as the local code says (licensed practice).",
    "Open water drowns small children: cover or fence the pan. Mesh against mosquitoes lowers its evaporation.",
    "Strong magnets: not near pacemakers or other implants, and mind your fingers.",
    "A full pan and its counterweight are heavy: fix the stand, keep hands and feet from under the beam.",
    "These are estimates from weather. Look at the soil in the first weeks, and after every change.",
)


@dataclass(frozen=True)
class SheetWords:
    """
    One valve's page in words.

    Parameters
    ----------
    title, under : str
    steps : tuple of (str, tuple of str)
        Heading, and sentences below it.
    headings : tuple of str
        Of the table by month.
    rows : tuple of tuple of str
    table_notes : tuple of str
    gain_headings : tuple of str
    gain_rows : tuple of tuple of str
    gain_note : str
    """

    title: str
    under: str
    steps: tuple[tuple[str, tuple[str, ...]], ...]
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    table_notes: tuple[str, ...]
    gain_headings: tuple[str, ...]
    gain_rows: tuple[tuple[str, ...], ...]
    gain_note: str


def sheet_words(plan: SetUp, sheet: ValveSheet) -> SheetWords:
    """
    Say what to set at one valve.

    Parameters
    ----------
    plan : SetUp
    sheet : ValveSheet

    Returns
    -------
    SheetWords
    """
    years = plan.years
    seasons = f"the season of {years[0]}" if len(years) == 1 else f"{len(years)} seasons, {years[0]} to {years[-1]}"
    season = plan.scenario.season
    return SheetWords(
        title=f"Set up: {sheet.name}",
        under=f"{plan.scenario.title}; {calendar_day(season.start)} to {calendar_day(season.end)}; figures by month from {seasons}",
        steps=(("1  The pan", _pan(sheet)), ("2  The swing", _swing(sheet)), ("3  The refill", _refill(sheet))),
        headings=(
            "month",
            "ruler: drop in 3 dry days [mm]",
            "openings a week" + (" (pressed)" if sheet.press_times else ""),
            "minutes each",
            "litres a week",
            "refill to set [mL/min]",
        ),
        rows=tuple(_month(month, pressed=bool(sheet.press_times)) for month in sheet.months),
        table_notes=_table_notes(sheet),
        gain_headings=(
            f"a season, {sheet.bed.split('/')[1]}",
            "stress days",
            "drained [mm]",
            "stress days of the other beds",
            "litres, all beds",
        ),
        gain_rows=tuple(
            (
                gain.way if gain.refill is None else f"{gain.way}, {number(gain.refill)} mL/min",
                number(gain.stress_days),
                number(gain.drained_mm),
                number(gain.other_stress_days),
                number(gain.litres),
            )
            for gain in sheet.gains
        ),
        gain_note=(
            f"The calendar follows {sheet.bed.split('/')[1]}, the bed whose driest quarter gets least of its need unless you "
            "chose another: present refill flow × supply ÷ need of the month. A smaller refill flow gives every bed of "
            "this valve more."
        ),
    )


def _pan(sheet: ValveSheet) -> tuple[str, ...]:
    vessels = "; ".join(text for text, _ in sheet.vessels)
    several = sum(sheet.counts) > 1
    stand = "Stand them level, all on the one beam." if several else "Stand the pan level."
    kind, each = ("Vessels", " each") if several else ("Vessel", "")
    reset, trip = sheet.freeboard_mm, sheet.freeboard_mm + sheet.swing_mm
    return (
        f"{kind}: {vessels}; {number(sheet.depth_mm)} mm deep inside; {number(sheet.area, 3)} m² of water in all.",
        f"Fill{each} to {number(reset, 1)} mm below the rim ({kilograms(sheet.water_at_reset_kg)} of water"
        f"{' in all' if several else ''}, "
        f"{number(sheet.depth_mm - reset, 1)} mm above the floor): that is the reset. The trip comes at {number(trip, 1)} mm, "
        f"{number(sheet.swing_mm, 1)} mm lower. {stand}",
    )


def _swing(sheet: ValveSheet) -> tuple[str, ...]:
    low, high = _near(sheet.counterweight_g)
    arms = "" if sheet.arm_ratio == 1.0 else f" (arms {sheet.arm_ratio:g} to 1, so the pan's {number(sheet.swing_g)} g)"
    equal = " on equal arms" if sheet.arm_ratio == 1.0 else ""
    return (
        f"{number(sheet.swing_g)} g of water between shutting and opening{equal}.",
        "Two weighings: with the pan filled, add to the counterweight until the beam falls on its side, and weigh it; take away "
        f"until it rises again, and weigh it. The two must differ by {number(sheet.counterweight_g)} g{arms}; "
        f"{number(low)} to {number(high)} g will do. More, and it opens seldom and long; less, often and briefly.",
    )


def _refill(sheet: ValveSheet) -> tuple[str, ...]:
    from panbudget.studies.setup import JUG_MINUTES

    ten = JUG_MINUTES * sheet.refill
    low, high = _near(ten)
    beds = "; ".join(f"{bed} {count} × {number(flow, 1)} mL/min" for bed, (count, flow) in sheet.emitters.items())
    press = f" It is pressed by hand as well: {', '.join(sheet.press_times)}." if sheet.press_times else ""
    return (
        f"{number(sheet.refill, 1)} mL a minute while the valve is open.",
        f"Jug: hold it under the refill emitter for {JUG_MINUTES} minutes with the valve open: {number(ten)} mL, and "
        f"{number(low)} to {number(high)} mL will do. 5 % less refill is 5 % more water for every bed.",
        f"An opening then lasts {number(sheet.minutes_by_jug, 1)} minutes, a little longer in sun.{press} The beds' emitters, by "
        f"the same jug: {beds}.",
    )


def _near(value: float) -> tuple[float, float]:
    from panbudget.studies.setup import TOLERANCE

    return value * (1.0 - TOLERANCE), value * (1.0 + TOLERANCE)


def _month(month: MonthSheet, *, pressed: bool) -> tuple[str, ...]:
    drop = number(month.drop_mm)
    if month.dry_runs > 1:
        drop += f" ({number(month.drop_low_mm)}–{number(month.drop_high_mm)})"
    elif not month.dry_runs:
        drop += " *"
    marks = {"least": " (least)", "most": " (most)", "idle": " (idle)", "": ""}
    return (
        month.name,
        drop,
        number(month.openings_a_week, 1) + (f" ({number(month.pressed_a_week, 1)})" if pressed else ""),
        number(month.minutes),
        number(month.litres_a_week),
        f"{month.refill}{marks[month.bound]}",
    )


def _table_notes(sheet: ValveSheet) -> tuple[str, ...]:
    change = sheet.other_model - 1.0
    told = f"{'+' if change > 0 else '−'}{percent(abs(change))}"
    other = "energy-balance" if sheet.model != "energy-balance" else "from-eto"
    notes = [
        "Ruler: shut the tap above the valve, or stand a pan of the same kind beside it, for three dry days. Should yours drop "
        "otherwise, multiply exposure by yours ÷ this and print anew: litres go with it. In brackets: the least and the most of "
        "the record.",
        f'Pan reckoned "{sheet.model}"; "{other}" would give {told} over the season.',
        "Openings, minutes and litres are with the refill as it is; litres with the refill's share.",
    ]
    if any(not month.dry_runs for month in sheet.months):
        notes.append("* no three dry days in a row in the record: three of the month's mean days.")
    bounds = {month.bound for month in sheet.months}
    if bounds & {"least", "most"}:
        notes.append(
            "(least), (most): as far as it is sensible to turn; less would let the sun hold the valve open or is below a "
            "quarter of the present flow, more is above four times it."
        )
    if "idle" in bounds:
        notes.append("(idle): the bed does not grow in that month; the flow is left as it is.")
    return tuple(notes)


def made_from(provenance: Mapping[str, Any]) -> str:
    """Say in a line what a page was made from."""
    weather = provenance["weather"]
    return (
        f"panbudget {provenance['panbudget']}; scenario {provenance['scenario_sha256'][:12]}, weather {weather['file']} "
        f"{provenance['weather_sha256'][:12]}"
    )
