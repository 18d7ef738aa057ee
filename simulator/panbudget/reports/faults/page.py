"""
Faults page: what each fault would do, how it shows, and the cure, in words and as one page.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from panbudget.reports.pages import Table, placed_figure, provenance_table, render
from panbudget.reports.texts import CAUTIONS, METHOD
from panbudget.studies.faults import CURES, LOOKS
from panbudget.words import count, day_said, days_said, hours, litres, mm, number

if TYPE_CHECKING:
    from panbudget.studies.faults import Signs, Trial, Trials

__all__ = ["READING", "RULE", "faults_html", "faults_sentences", "noticed"]

RULE = (
    "Each fault is tried alone in this season's weather, from the day given to the season's end (a supply cut for seven "
    "days), and ranked by what it adds to the sound season: first stress days, the driest quarters of all beds added up; "
    "between equals, wasted litres, which are what drained below the roots, spilled from the pan, or left it by leak, mouth "
    "or wind. Harm that a fault does by giving too much stands in the litres alone."
)
READING = (
    "All against the sound season. Fewer litres wasted beside more stress is no gain: the beds get less, so less drains "
    "below their roots. Up to three stress days either way can hang on one opening before or after midnight: faults that "
    "lie so close rank by chance."
)
_NAMED = 3
_SHOWS = 0.05  # a week's figure that differs by less than this share is not worth a look


def faults_sentences(found: Trials) -> list[str]:
    """
    Say which faults hurt most, and which hardly matter.

    Parameters
    ----------
    found : Trials

    Returns
    -------
    list of str
    """
    sound = found.trials[0].sound.stress_days
    said = [
        f"Sound, the garden has {count(sound, 'stress day')} in this season, driest quarters of all beds added. "
        f"{count(len(found.trials), 'fault')} were tried, the usual ones from "
        f"{day_said(found.start)} on, a cut supply in the thirstiest week."
    ]
    worst = [trial for trial in found.trials if trial.more_stress_days > 0][:_NAMED]
    if worst:
        said.append(
            "Most harm: "
            + "; ".join(
                f"({n}) {t.name}: {count(t.more_stress_days, 'stress day')} more" for n, t in enumerate(worst, 1)
            )
            + "."
        )
    else:
        said.append("None of them adds a stress day in this weather.")
    wasting = max(found.trials, key=lambda trial: trial.more_wasted_litres)
    if wasting.more_wasted_litres > 1.0:
        said.append(f"Most water lost: {wasting.name}: {litres(wasting.more_wasted_litres)} more go to waste.")
    for name, supply in found.season.totals["supplies"].items():
        empty = (supply.get("tank") or {}).get("first_empty_day")
        if empty:
            said.append(
                f"The tank {name} is empty from {day_said(empty)} even in the sound season: what a fault saves early is "
                "used later, so that most faults look smaller here than with water enough, and some look like a help."
            )
    return said


def noticed(name: str, signs: Signs) -> str:
    """
    Say what would show outside in the week looked at.

    Parameters
    ----------
    name : str
        Controller.
    signs : Signs

    Returns
    -------
    str
    """
    texts = []
    for field, what, said, least in (
        ("openings", "openings", lambda v: number(v), 1.0),
        ("open_hours", "open", hours, 0.1),
        ("noon_level_mm", "mean level at noon above the floor", mm, 1.0),
        ("drop_mm", "lost a day while shut", mm, 0.2),
        ("litres", "to its beds", litres, 1.0),
    ):
        now, without, before = getattr(signs, field)
        if abs(now - without) >= max(least, _SHOWS * abs(without)):
            texts.append(f"{what} {said(now)} in place of {said(without)} (the week before: {said(before)})")
    when = f"{name}, {days_said(signs.start, signs.end)}: "
    return when + ("; ".join(texts) if texts else "nothing that a week's count, clock or ruler would show") + "."


def faults_html(found: Trials, figures: Mapping[str, str], provenance: Mapping[str, Any]) -> str:
    """
    Write the page.

    Parameters
    ----------
    found : Trials
    figures : mapping
        Name -> SVG element.
    provenance : mapping
        As `output.provenance` gives it.

    Returns
    -------
    str
    """
    season = found.season.totals["season"]
    return render(
        "faults.html.j2",
        title=found.scenario.title,
        when=f"{days_said(season['start'], season['end'])}, {count(season['days'], 'day')}; usual faults from {day_said(found.start)}",
        note=found.scenario.note,
        sentences=faults_sentences(found),
        rule=RULE,
        reading=READING,
        figures=[
            placed_figure(
                f"faults-{name}",
                svg,
                "What each fault adds to the sound season, the most harmful first: stress days of all beds' driest "
                "quarters, and litres that go to waste. To the left of zero: less than in the sound season.",
            )
            for name, svg in figures.items()
        ],
        harm=_harm(found),
        trials=[_told(rank, trial) for rank, trial in enumerate(found.trials, 1)],
        assumptions=found.season.assumptions,
        method=METHOD,
        cautions=CAUTIONS,
        provenance=provenance_table(provenance),
    )


def _signed(value: float) -> str:
    text = number(value)
    return f"+{text}" if value > 0.0 and text != "0" else text


def _harm(found: Trials) -> Table:
    rows = tuple(
        (
            number(rank),
            trial.name + (" (in your file)" if trial.described else ""),
            _signed(trial.more_stress_days),
            _signed(trial.more_wasted_litres),
            _signed(trial.broken.litres - trial.sound.litres),
            hours(trial.broken.stuck_hours),
            hours(trial.broken.dry_hours),
            hours(trial.broken.starved_hours),
        )
        for rank, trial in enumerate(found.trials, 1)
    )
    headings = (
        *("", "fault", "stress days", "wasted [L]", "drawn from the supply [L]"),
        *("held open by evaporation", "pan dry", "open without water"),
    )
    return Table(headings, rows, names=2)


def _told(rank: int, trial: Trial) -> dict[str, Any]:
    last = f" to {day_said(trial.fault.end)}" if trial.fault.end else ""
    return {
        "heading": f"{rank}  {trial.name}",
        "when": f"from {day_said(trial.fault.start)}{last}" if trial.fault.start else f"all season{last}",
        "signs": [noticed(name, signs) for name, signs in trial.signs.items()],
        "look": LOOKS[trial.fault.kind],
        "cure": CURES[trial.fault.kind],
    }
