"""
Faults page: what each fault would do, how it shows, and the cure, in words and as one page.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from panbudget.reports.pages import Report, Section, section, texts
from panbudget.studies.faults import CURES, LOOKS
from panbudget.words import count, day_said, days_said, hours, litres, mm, number

if TYPE_CHECKING:
    from panbudget.studies.faults import Signs, Trial, Trials

_NAMED = 3
_SHOWS = 0.05  # a week's figure that differs by less than this share is not worth a look


def faults_sentences(trials: Trials) -> list[str]:
    """
    Say which faults hurt most, and which hardly matter.

    Parameters
    ----------
    trials : Trials

    Returns
    -------
    list of str
    """
    sound = trials.trials[0].sound.stress_days
    sentences = [
        f"Sound, the garden has {count(sound, 'day')} short of water in this season, driest quarters of all beds added. "
        f"{count(len(trials.trials), 'fault')} were tried, the usual ones from {day_said(trials.start)} on, a cut supply "
        "in the thirstiest week."
    ]
    worst = [trial for trial in trials.trials if trial.more_stress_days > 0][:_NAMED]
    harms = [f"({n}) {t.name}: {count(t.more_stress_days, 'day')} more short of water" for n, t in enumerate(worst, 1)]
    sentences.append(
        f"Most harm: {'; '.join(harms)}." if worst else "None of them adds a day short of water in this weather."
    )
    wasting = max(trials.trials, key=lambda trial: trial.more_wasted_litres)
    if wasting.more_wasted_litres > 1.0:
        sentences.append(f"Most water lost: {wasting.name}: {litres(wasting.more_wasted_litres)} more go to waste.")
    for name, supply in trials.season.totals["supplies"].items():
        empty = (supply.get("tank") or {}).get("first_empty_day")
        if empty:
            sentences.append(
                f"The tank {name} is empty from {day_said(empty)} even in the sound season: what a fault saves early is "
                "used later, so that most faults look smaller here than with water enough, and some look like a help."
            )
    return sentences


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
    for figure, what, shown, least in (
        ("openings", "openings", lambda v: number(v), 1.0),
        ("open_hours", "open", hours, 0.1),
        ("noon_level_mm", "mean level at noon above the floor", mm, 1.0),
        ("drop_mm", "lost a day while shut", mm, 0.2),
        ("litres", "to its beds", litres, 1.0),
    ):
        now, without, before = signs.figures[figure]
        if abs(now - without) >= max(least, _SHOWS * abs(without)):
            texts.append(f"{what} {shown(now)} in place of {shown(without)} (the week before: {shown(before)})")
    when = f"{name}, {days_said(signs.start, signs.end)}: "
    return when + ("; ".join(texts) if texts else "nothing that a week's count, clock or ruler would show") + "."


def faults_report(trials: Trials, figures: Mapping[str, str]) -> Report:
    """
    Say what the page says.

    Parameters
    ----------
    trials : Trials
    figures : mapping
        Name -> SVG element.

    Returns
    -------
    Report
    """
    season = trials.season.totals["season"]
    harm = [
        {
            "rank": rank,
            "fault": trial.name + (" (in your file)" if trial.described else ""),
            **trial.figures,
            "more_litres": trial.broken.litres - trial.sound.litres,
        }
        for rank, trial in enumerate(trials.trials, 1)
    ]
    columns = list(texts("faults")["harm"]["columns"])
    when = f"{days_said(season['start'], season['end'])}, {count(season['days'], 'day')}"
    return Report(
        title=f"{trials.scenario.title}: what could go wrong",
        when=f"{when}; usual faults from {day_said(trials.start)}",
        lead=[texts("faults")["rule"]],
        sections=[
            section("faults", "harm", figures=figures, table=[{name: row[name] for name in columns} for row in harm]),
            section("faults", "signs"),
            *_how_each_shows(trials),
        ],
        assumptions=trials.season.assumptions,
    )


def _how_each_shows(trials: Trials) -> Iterator[Section]:
    for rank, trial in enumerate(trials.trials, 1):
        signs = " ".join(noticed(name, signs) for name, signs in trial.signs.items())
        yield Section(
            subheading=f"{rank}  {trial.name}",
            entries={_when(trial): signs, "Look": LOOKS[trial.fault.kind], "Cure": CURES[trial.fault.kind]},
        )


def _when(trial: Trial) -> str:
    until = f" to {day_said(trial.fault.end)}" if trial.fault.end else ""
    return f"From {day_said(trial.fault.start)}{until}" if trial.fault.start else f"All season{until}"
