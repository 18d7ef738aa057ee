"""
Faults page: what each fault would do, how it shows, and the cure, in words, as one page and as data.
"""

import itertools
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from panbudget.reports.arranging import MOST_STEPS
from panbudget.reports.faults.figures import harm_figure
from panbudget.reports.pages import Report, Section, texts, words_of
from panbudget.reports.writing import Verb
from panbudget.studies.faults import CURES, LOOKS, Signs, Trial, Trials
from panbudget.words import count, day_said, days_said, written

_section, _say = words_of("faults")
_NAMED = 3
_SHOWS = 0.05  # a week's figure that differs by less than this share is not worth a look


def faults_sentences(trials: Trials) -> list[str]:
    """Say which faults hurt most, and which hardly matter."""
    sound = trials.trials[0].sound.stress_days
    sentences = [_say("tried", sound=sound, faults=len(trials.trials), start=trials.start)]
    worst = [trial for trial in trials.trials if trial.more_stress_days > 0][:_NAMED]
    harms = "; ".join(_say("harm", rank=rank, trial=trial) for rank, trial in enumerate(worst, 1))
    sentences.append(_say("most_harm", harms=harms) if worst else _say("no_harm"))
    wasting = max(trials.trials, key=lambda trial: trial.more_wasted_litres)
    if wasting.more_wasted_litres > 1.0:
        sentences.append(_say("most_lost", trial=wasting))
    spared = [trial for trial in trials.trials if trial.fault.kind == "supply-cut" and trial.more_stress_days < 0]
    sentences += [_say("spared", trial=trial, fewer=-trial.more_stress_days) for trial in spared]
    for name, supply in trials.season.totals["supplies"].items():
        if empty := (supply.get("tank") or {}).get("first_empty_day"):
            sentences.append(_say("empty", name=name, empty=empty))
    return sentences


def noticed(name: str, signs: Signs) -> str:
    """
    Say what would show outside in the week looked at.

    Parameters
    ----------
    name : str
        Controller.
    signs : Signs
    """
    parts = []
    for figure, (what, form, least) in texts("faults")["figures"].items():
        values = signs.figures[figure]
        if abs(values.with_fault - values.without) >= max(least, _SHOWS * abs(values.without)):
            shown = {when: written(value, form) for when, value in values._asdict().items()}
            parts.append(_say("shows", what=what, **shown))
    return f"{name}, {days_said(signs.start, signs.end)}: {'; '.join(parts) or _say('nothing')}."


def faults_report(trials: Trials, figures: Mapping[str, str]) -> Report:
    """Say what the page says."""
    season = trials.season.totals["season"]
    when = f"{days_said(season['start'], season['end'])}, {count(season['days'], 'day')}"
    return Report(
        title=f"{trials.scenario.title}: what could go wrong",
        when=f"{when}; usual faults from {day_said(trials.start)}",
        lead=[texts("faults")["rule"]],
        first=list(itertools.islice(_first(trials), MOST_STEPS)),
        sections=[
            _section("harm", figures=figures, table=_harm(trials)),
            _section("signs"),
            *(_how_it_shows(kind, several) for kind, several in _kinds(trials).items()),
        ],
        assumptions=trials.season.assumptions,
    )


def _harm(trials: Trials) -> Iterator[dict[str, Any]]:
    for rank, trial in enumerate(trials.trials, 1):
        fault = trial.name + (" (in your file)" if trial.described else "")
        more = trial.broken.litres - trial.sound.litres
        yield {"rank": rank, "fault": fault, **trial.figures, "more_litres": more}


def _kinds(trials: Trials) -> dict[str, list[tuple[int, Trial]]]:
    """Faults of one kind together, with their ranks: they are looked for, and cured, alike."""
    kinds: dict[str, list[tuple[int, Trial]]] = {}
    for rank, trial in enumerate(trials.trials, 1):
        kinds.setdefault(texts("faults")["kinds"].get(trial.fault.kind, trial.fault.kind), []).append((rank, trial))
    return kinds


def _first(trials: Trials) -> Iterator[str]:
    """What to watch for, the most harmful first, and what to do then."""
    for kind, several in _kinds(trials).items():
        fault = several[0][1].fault
        yield _say("first", kind=kind, look=LOOKS[fault.kind], cure=CURES[fault.kind])


def _how_it_shows(kind: str, several: Sequence[tuple[int, Trial]]) -> Section:
    fault = several[0][1].fault
    entries = {"Look": LOOKS[fault.kind], "Cure": CURES[fault.kind]}
    return Section(subheading=kind.capitalize(), entries=entries | dict(_signs(*each) for each in several))


def _signs(rank: int, trial: Trial) -> tuple[str, str]:
    """A fault's name with its rank and days; what it would show."""
    fault, signs = trial.fault, " ".join(noticed(name, signs) for name, signs in trial.signs.items())
    until = f" to {day_said(fault.end)}" if fault.end else ""
    when = f"from {day_said(fault.start)}{until}" if fault.start else f"all season{until}"
    return f"{rank}  {trial.name}, {when}", signs


def faults_totals(trials: Trials) -> dict[str, Any]:
    """Return what `faults.json` holds beside schema, title and provenance."""
    sound = trials.trials[0].sound
    return {
        "season": trials.season.totals["season"],
        "from": trials.start,
        "rule": texts("faults")["rule"],
        "sentences": faults_sentences(trials),
        "sound": {name: getattr(sound, name) for name in ("stress_days", "wasted_litres", "litres")},
        "faults": [_trial(rank, trial) for rank, trial in enumerate(trials.trials, 1)],
    }


def _trial(rank: int, trial: Trial) -> dict[str, Any]:
    return {
        "rank": rank,
        "what": trial.what,
        "where": trial.where,
        "in_scenario": trial.described,
        "fault": trial.fault.model_dump(mode="json", exclude_none=True),
        **trial.figures,
        "signs": {
            name: {"start": week.start, "end": week.end, **week.figures, "said": noticed(name, week)}
            for name, week in trial.signs.items()
        },
        "look": LOOKS[trial.fault.kind],
        "cure": CURES[trial.fault.kind],
    }


VERB = Verb(
    "faults",
    faults_sentences,
    faults_report,
    faults_totals,
    tables={"faults.csv": Trials.table},
    figures=lambda trials: {"harm": harm_figure},
    of=lambda trials: trials.season,
)
