"""
Away page: may the garden be left alone, in words and as one page.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING

from panbudget.reports.pages import Report, section, texts
from panbudget.season.years import moved
from panbudget.words import calendar_day, count, day_said, hours, mm

if TYPE_CHECKING:
    from panbudget.studies.away import Away, Change, Stay

_ENOUGH_YEARS = 5  # common practice, no source


def away_sentences(away: Away) -> list[str]:
    """
    Say whether the garden may be left alone, which year is the worst, and what would make it safe.

    Parameters
    ----------
    away : Away

    Returns
    -------
    list of str
    """
    away_for = f"{calendar_day(away.start)} to {calendar_day(away.end)}, {count(away.days, 'day')}"
    bad = [stay for stay in away.stays if not stay.safe]
    one = len(away.stays) == 1
    years = "the one year" if one else f"all {len(away.stays)} years"
    heat = f"{away.worst.start.year} with {away.heat.made_heat}"
    if away.safe:
        return [
            f"Yes: from {away_for}, every bed stays above its limit, every pan stays wet and nothing sticks open, in "
            f"{years} of the record and in {heat}.",
            f"The worst year is {away.worst.name}: {_nearest(away.worst)}.",
            f"In the made-up heat wave: {_nearest(away.heat)}.",
            *_few(away),
        ]
    if bad:
        in_years = "the one year" if one else f"{len(bad)} of {len(away.stays)} years"
        first = f"No: from {away_for}, something goes wrong in {in_years} of the record."
    else:
        first = (
            f"Not in a heat wave: from {away_for}, nothing goes wrong in {years} of the record, but it does in {heat}."
        )
    worst = "The one year in the record is" if one else "The worst year is"
    sentences = [first, f"{worst} {away.worst.name}: {_wrong(away.worst)}."]
    sentences.append(f"In {heat}: {_wrong(away.heat)}.")
    before = sorted({key for stay in (*away.stays, away.heat) for key, bed in stay.beds.items() if bed.short_before})
    if before:
        sentences.append(
            f"Short of water already on the day before leaving, so not for want of anybody there: {', '.join(before)}."
        )
    sure = [change for change in away.changes if change.safe]
    if sure:
        sentences.append(
            "Any one of these would make it safe: " + "; ".join(f"({n}) {c.what}" for n, c in enumerate(sure, 1)) + "."
        )
    else:
        possible = [change for change in away.changes if not change.impossible]
        best = possible[0] if possible else None
        sentences.append(
            "No single change that was tried makes it safe"
            + (
                f"; most is gained by this: {best.what} ({count(best.stress_days, 'day')} short of water in place of {best.before} "
                "in the made-up heat wave)."
                if best is not None and best.stress_days < best.before
                else "."
            )
        )
    return [*sentences, *_few(away)]


def _few(away: Away) -> list[str]:
    outside = _outside_the_season(away)
    if len(away.stays) >= _ENOUGH_YEARS:
        return outside
    return [
        *outside,
        f"A record of {count(len(away.stays), 'year')} is little to go by; ten or more would say more.",
    ]


def _outside_the_season(away: Away) -> list[str]:
    """Days on which annual plants may not stand, and on which a bed is then never short of water."""
    season = away.scenario.season
    by = away.worst.start.year - season.start.year
    inside = [moved(day, years) for years in (by, by - 1) for day in (season.start, season.end)]
    spans = zip(inside[::2], inside[1::2], strict=True)
    if any(start <= away.worst.start and away.worst.end <= end for start, end in spans):
        return []
    return [
        f"These days lie outside the season described, {calendar_day(season.start)} to {calendar_day(season.end)}: a bed where "
        "nothing grows then counts as safe."
    ]


def _nearest(stay: Stay) -> str:
    key = min(stay.beds, key=lambda name: stay.beds[name].least_room_mm)
    return f"{key} comes nearest to its limit, with {mm(stay.beds[key].least_room_mm)} left"


def _wrong(stay: Stay) -> str:
    parts = []
    for key, bed in stay.beds.items():
        if bed.first_short is not None:
            parts.append(
                f"{key} is short of water on {count(bed.stress_days, 'day')}, first on {day_said(bed.first_short)}"
            )
    for name, pan in stay.pans.items():
        if pan.dry_hours:
            parts.append(f"the pan of {name} is dry for {hours(pan.dry_hours)}")
        if pan.stuck_hours:
            parts.append(f"evaporation holds the valve {name} open for {hours(pan.stuck_hours)}")
    return "; ".join(parts) if parts else f"nothing goes wrong ({_nearest(stay)})"


def away_report(away: Away, figures: Mapping[str, str]) -> Report:
    """
    Say what the page says.

    Parameters
    ----------
    away : Away
    figures : mapping
        Name -> SVG element.

    Returns
    -------
    Report
    """
    stays = (*away.stays, away.heat)
    beds = [{"stay": stay.name, "bed": key, **asdict(bed)} for stay in stays for key, bed in stay.beds.items()]
    pans = [{"stay": stay.name, "valve": name, **asdict(pan)} for stay in stays for name, pan in stay.pans.items()]
    changes = [{"what": c.what, "outcome": _outcome(c), "stress_days": c.stress_days} for c in away.changes]
    return Report(
        title=f"{away.scenario.title}: left alone",
        when=(
            f"{calendar_day(away.start)} to {calendar_day(away.end)}, {count(away.days, 'day')}; "
            f"{count(len(away.stays), 'year')} of the record"
        ),
        lead=[texts("away")["rule"]],
        sections=[
            section("away", "figures", figures=figures),
            section("away", "beds", table=beds),
            section("away", "pans", table=pans),
            section("away", "changes", table=changes),
        ],
        assumptions=away.assumptions,
    )


def _outcome(change: Change) -> str:
    if change.impossible:
        return f"can't be: {change.impossible}"
    if change.safe:
        return "safe in every year and in the made-up heat wave"
    if change.stress_days < change.before:
        return f"better, not safe: {', '.join(change.fails_in)}"
    return "no help" if change.stress_days == change.before else "worse"
