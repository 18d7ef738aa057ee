"""
Command line: `new`, a garden to start from.
"""

import os
import re
import tempfile
from collections.abc import Iterator, Mapping
from itertools import repeat
from pathlib import Path
from typing import Any, get_args

import typer

from panbudget.cli import command, one_of, problem, say
from panbudget.errors import OutputError, PanbudgetError
from panbudget.words import System, packaged, packaged_text

_PATIENCE = 10  # wrong answers in a row to one question
_YES, _NO = ("y", "yes"), ("n", "no")


@command
def new(
    folder: Path,
    full: bool = False,
    ask: bool = False,
    units: str | None = None,
    overwrite: bool = False,
    quiet: bool = False,
) -> None:
    """
    Start from nothing: a short scenario and a small weather file that replay at once; or your garden, question by question.

    Example:  panbudget new my-garden --ask
    """
    one_of("--units", units, get_args(System))
    if ask:
        if full or overwrite or units:
            raise PanbudgetError(problem("options", "--full" if full else "--overwrite" if overwrite else "--units"))
        with tempfile.TemporaryDirectory(prefix="panbudget-") as downloads:
            _ask(folder, Path(downloads), quiet=quiet)
        return
    from panbudget.files import json_bytes
    from panbudget.reports.folders import new_folder
    from panbudget.scenario.schema import schema

    sources = {"garden.toml": "garden.toml" if full else "short.toml", "weather.csv": "weather.csv"}
    systems = (None, *get_args(System))
    ours = {_in_units(source, units) for source in ("garden.toml", "short.toml", "weather.csv") for units in systems}
    contents = {name: _in_units(source, units) for name, source in sources.items()}
    for name in contents:
        file = folder / name
        if os.path.isfile(file) and file.read_bytes() not in ours:
            raise OutputError(problem("changed", name=name), file=str(folder))
    contents["garden.schema.json"] = json_bytes(schema())
    with new_folder(folder, "new", overwrite=overwrite) as made:
        for name, content in contents.items():
            (made / name).write_bytes(content)
    about = "garden.toml (describe your garden there) and weather.csv (invented, to try it)"
    say(f"Made {folder}: {about}; garden.schema.json lets an editor complete and check the garden.", quiet=quiet)
    say(f"Try it:  {_replay(folder)}", quiet=quiet)


def _in_units(template: str, units: str | None) -> bytes:
    """Return a template that asks for units; its quantities are in them too, but for those of lines that are comments."""
    text = packaged_text(f"templates/{template}")
    if units is not None:
        text = text.replace('# show.units = "US"', f'show.units = "{units}"')
    if units == "US":
        us = packaged("templates/us.toml")
        text = re.sub(r"(?m)^(?!#)[^#\n]+", lambda line: _translated(line[0], us), text)
    return text.encode()


def _translated(line: str, us: Mapping[str, str]) -> str:
    """Return a line with its quantities in US units, as long as before if it can be: comments stay below one another."""
    changed = re.sub(r'"([^"]+)"', lambda text: f'"{us.get(text[1], text[1])}"', line)
    return changed.rstrip(" ").ljust(len(line) - 1) + " "


def _ask(folder: Path, downloads: Path, *, quiet: bool) -> None:
    """Ask all that the page asks, and write the garden."""
    from panbudget.page import questions

    if os.path.exists(folder / questions.GARDEN):
        raise OutputError(problem("changed.ask"), file=str(folder))
    answers, weather = questions.first_answers(), None
    for screen, _ in questions.steps(answers):
        if screen.of != "garden":
            break
        _answer(screen, answers, answers, quiet=quiet)
        if screen.key == "weather" and (weather := _weather(answers, downloads)) is not None:
            answers["weather_file"] = str(weather)
            days = questions.look_at_weather(weather, answers).season(float(answers["latitude"]))
            answers["start"], answers["end"] = map(str, days or (answers["start"], answers["end"]))
    answers["valves"][0]["beds"][0]["planted"] = answers["start"]
    _valves(answers, quiet=quiet)
    while wrong := [*map(": ".join, questions.problems_of(answers)), *questions.described(answers, folder)]:
        say("\n".join(["", *wrong, questions.TEXTS["again"]]))
        for screen, given in questions.steps(answers):
            _answer(screen, given, answers, quiet=quiet)
    for _ in _patience(questions.TEXTS["elsewhere"]):
        if (garden := folder / questions.GARDEN) and _written(folder, answers, weather):
            break
        folder = Path(typer.prompt(questions.TEXTS["elsewhere"]).strip())
    say(f"\nWrote {garden}. What would it have done?  {_replay(folder)}", quiet=quiet)


def _written(folder: Path, answers: dict[str, Any], weather: Path | None) -> bool:
    """Write the garden; say where it can't be."""
    from panbudget.page.questions import write_garden

    try:
        write_garden(folder, answers, weather)
    except OutputError as error:
        say(str(error))
        return False
    return True


def _replay(folder: Path) -> str:
    """Return the command that replays the garden in a folder."""
    from panbudget.files import typed

    return f"panbudget replay {typed(folder / 'garden.toml')} --out {typed(folder / 'season')}"


def _answer(screen: Any, given: dict[str, Any], answers: dict[str, Any], *, quiet: bool) -> None:
    """Ask a screen's questions, each again until its answer is right, in the units that the garden's answers choose."""
    from panbudget import words
    from panbudget.page.questions import names_of, take_units
    from panbudget.units import KINDS

    with words.units_shown(answers["units"]):
        say(f"\n{screen.title}\n{words.filled(screen.text, {})}", quiet=quiet)
    for question in screen.questions:
        if not question.is_asked(given):
            continue
        for name, about in (question.choices or (names_of("soil") if question.kind == "soil" else {})).items():
            say(f"  {name}: {about}")
        with words.units_shown(answers["units"]):
            for _ in _patience(question.label):
                answer = typer.prompt(question.label, default=given[question.key]).strip()
                if not (wrong := question.wrong(answer)):
                    break
                say(f'"{answer}" {wrong}' if question.kind not in KINDS else wrong)
        given[question.key] = answer
        if question.key == "units":
            take_units(answers)


def _patience(question: str) -> Iterator[None]:
    """Yield as often as a question is asked again before it is given up."""
    yield from repeat(None, _PATIENCE)
    raise PanbudgetError(problem("unanswered.wrong", f'"{question}"', times=_PATIENCE))


def _confirmed(question: str, default: str = "n") -> bool:
    """Ask what is answered by yes or no."""
    answer = ""
    for _ in _patience(question):
        shown = f"{question} [{'Y/n' if default == 'y' else 'y/N'}]"
        if (answer := typer.prompt(shown, default=default, show_default=False).strip().lower()) in _YES + _NO:
            break
        say(f'"{answer}" is neither y nor n')
    return answer in _YES


def _weather(answers: dict[str, Any], downloads: Path) -> Path | None:
    """Return the weather file, with what it was taken for said; None for the invented one."""
    from panbudget.page import questions

    if answers["weather"] == "sample":
        return None
    for _ in _patience("The file") if answers["weather"] == "file" else ():
        path = Path(answers["weather_file"]).expanduser()
        seen = _seen(path, answers | {"weather_columns": {}}, but=questions.TEXTS["columns_later"])
        answers["weather_columns"] = {}
        if seen.columns and _confirmed(questions.TEXTS["take_columns"], "y"):
            answers["weather_columns"] = seen.columns
            seen = _seen(path, answers)
        if seen.first is not None and _confirmed("Take it?", "y"):
            return path
        answers["weather_file"] = typer.prompt("The file, or sample").strip()
        if answers["weather_file"] == "sample":
            answers["weather"] = "sample"
            return None
    say(questions.TEXTS["download"])
    return questions.download(answers, downloads, lambda text: say(f"  {text}"))


def _seen(path: Path, answers: dict[str, Any], *, but: str = "") -> Any:
    """Say what a weather file is taken for, but for what is to be done later where its columns can be taken now."""
    from panbudget.page.questions import look_at_weather

    seen = look_at_weather(path, answers)
    for line in seen.lines:
        if line != but or not seen.columns:
            say(f"  {line}")
    return seen


def _valves(answers: dict[str, Any], *, quiet: bool) -> None:
    """Ask for valves, and for the beds of each, until there are no more."""
    from panbudget.page import questions

    (of_bed,) = (screen for screen in questions.screens() if screen.of == "bed")
    while True:
        valve = answers["valves"][-1]
        for screen in (screen for screen in questions.screens() if screen.of == "valve"):
            _answer(screen, valve, answers, quiet=quiet)
            while questions.has_twice(answers["valves"]):
                say(questions.TEXTS["valve_twice"])
                _answer(screen, valve, answers, quiet=quiet)
        while True:
            _answer(of_bed, valve["beds"][-1], answers, quiet=quiet)
            if questions.has_twice(valve["beds"]):
                say(questions.TEXTS["bed_twice"])
            elif _confirmed(questions.TEXTS["another_bed"]):
                questions.add_bed(valve)
            else:
                break
        if not _confirmed(questions.TEXTS["another_valve"]):
            return
        questions.add_valve(answers)
