"""
Check page: what a weather file holds, and what a trial replay remarked on; and the same for a terminal.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from panbudget.reports.pages import Report, section
from panbudget.reports.season.page import days_of, filled_rows
from panbudget.studies.check import Checked
from panbudget.studies.sensitivity import in_mm, in_percent
from panbudget.weather.checks.plausibility import PASSED
from panbudget.weather.flags import is_borrowed
from panbudget.words import count, days_said, mm

_section = functools.partial(section, "check")
_MONTHS = {"eto_mm": "ETo [mm]", "rain_mm": "rain [mm]"}


def check_sentences(checked: Checked) -> list[str]:
    """Say that the scenario is sound, and what the weather file holds."""
    source, weather = checked.weather.provenance, checked.season.totals["weather"]
    sentences = [
        f"The scenario is sound: {count(len(checked.season.controllers), 'valve')}, "
        f"{count(len(checked.season.beds), 'bed')}, {count(len(checked.scenario.variant), 'variant')}."
    ]
    if source.get("typical"):
        sentences.append("Typical year: its months are from different years, and it is no real summer.")
    return [
        *sentences,
        f"{source['file']} holds {days_said(source['first'], source['last'])}; {_how_complete(weather['filled'])}.",
        f"Over the season ETo is {mm(weather['eto_mm'])} and rain {mm(weather['rain_mm'])}.",
    ]


def check_report(checked: Checked, figures: Mapping[str, str]) -> Report:
    """
    Say what the page says.

    Parameters
    ----------
    checked : Checked
    figures : mapping
        Name -> SVG element, in the order of the page.

    Returns
    -------
    Report
    """
    source = checked.weather.provenance
    units = [{"column": name, "unit": unit} for name, unit in source["units"].items()]
    recognised = _section("units", table=units, note=PASSED)
    if recognised.table is not None:
        recognised.table.attrs["caption"] = f"Recognised: {source['recognised']}."
    extremes = [{"what": f"{row['which']} {row['column']}", **row} for row in checked.extremes()]
    months = checked.by_month().rename_axis("month").reset_index()
    named = {column: _MONTHS.get(column, f"pan {column.removeprefix('pan_mm ')} [mm]") for column in months.columns[1:]}
    return Report(
        title=f"{checked.season.totals['title']}: its weather, checked",
        when=days_of(checked.season),
        sections=[
            _section("figures", figures=figures),
            recognised,
            _section("filled", table=filled_rows(checked.season)),
            _section("fallbacks", table=_fallbacks(source.get("fallbacks", []))),
            _section("sensitivity", table=_sensitivity(checked)),
            _section("extremes", table=extremes),
            _section("months", table=months.rename(columns=named)),
            _section("assumed", items=checked.season.assumptions),
            _section("notes", items=checked.weather.notes),
            _section("findings", findings=checked.season.findings),
        ],
        method=False,
    )


def check_lines(checked: Checked) -> list[str]:
    """
    Say it for a terminal.

    Parameters
    ----------
    checked : Checked

    Returns
    -------
    list of str
    """
    source, totals, findings = checked.weather.provenance, checked.season.totals, checked.season.findings
    season, weather = totals["season"], totals["weather"]
    pans = ", ".join(f"pan {name} {depth:.0f} mm" for name, depth in weather["pan_evaporation_mm"].items())
    filled = [
        f"  {row['column']}: {row['days']} day(s) "
        + (row["method"] if is_borrowed(row["method"]) else f"estimated by {row['method']}")
        for row in filled_rows(checked.season)
    ]
    return [
        f"{checked.scenario.path}: sound; {len(checked.scenario.controller)} valve(s), {len(totals['beds'])} bed(s), "
        f"{len(checked.scenario.variant)} variant(s).",
        f"{source['file']}: {source['recognised']}.",
        f"It holds {days_said(source['first'], source['last'])} ({len(checked.weather.daily)} days); the season is "
        f"{days_said(season['start'], season['end'])} ({season['days']} days).",
        f"Season: ETo {weather['eto_mm']:.0f} mm, rain {weather['rain_mm']:.0f} mm, {pans}.",
        *(f"  {e['which']} {e['column']}: {e['value']:.1f} {e['unit']} on {e['date']}" for e in checked.extremes()),
        *(filled or ["Nothing had to be filled."]),
        *(
            f"  {other.quantity} filled by {other.instead} instead: ETo {in_mm(other)} ({in_percent(other)})"
            for other in checked.sensitivity
        ),
        PASSED,
        *(f"assumed: {text}" for text in checked.season.assumptions),
        *(f"note: {text}" for text in checked.weather.notes),
        *(f"{f.severity}: {f.where}: {f.message}" for f in findings if f.severity != "note"),
    ]


def _how_complete(filled: Mapping[str, Mapping[str, int]]) -> str:
    """Say how many values of the season were borrowed, and how many estimated."""
    counts = [(method, days) for methods in filled.values() for method, days in methods.items()]
    borrowed = sum(days for method, days in counts if is_borrowed(method))
    estimated = sum(days for method, days in counts if not is_borrowed(method))
    parts = [f"{count(borrowed, 'value')} of the season borrowed from another station"] if borrowed else []
    parts += [f"{count(estimated, 'value')} of the season estimated"] if estimated else []
    return " and ".join(parts) or "nothing had to be filled"


def _fallbacks(fallbacks: Sequence[Mapping[str, Any]]) -> Iterator[dict[str, Any]]:
    """A row for each file and column borrowed; one for a file that lent nothing."""
    for lent in fallbacks:
        head = {"file": lent["file"], "holds": f"{lent['first']} to {lent['last']}"}
        for column, days in lent["borrowed"].items() or [("nothing", 0)]:
            fit = _fitted(lent["fit"].get(column)) if days else ""
            yield {**head, "column": column, "fit": fit, "days": days}
            head = {"file": "", "holds": ""}


def _fitted(fit: Mapping[str, Any] | None) -> str:
    if fit is None:
        return "too little in common to compare"
    change = f"{fit['shift']:+.2f} {fit['unit']}" if fit["factor"] == 1.0 else f"× {fit['factor']:.2f}"
    done = "applied" if fit["applied"] else "not applied"
    return f"{change} over {fit['days']} days, scatter {fit['scatter']:.2f} {fit['unit']}; {done}".replace("-", "−")


def _sensitivity(checked: Checked) -> Iterator[dict[str, Any]]:
    for other in checked.sensitivity:
        yield {**vars(other), "change": in_mm(other), "share": in_percent(other)}
