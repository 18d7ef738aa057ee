"""
Questions: what is asked of a gardener who begins, and the garden written from the answers; on the page and in the terminal.

What is asked, and where each answer stands in the file, is in `questions.toml`; what is not answered stays as in
`templates/short.toml`. Answers are texts, as they are typed.
"""

import datetime as dt
import functools
import re
import tempfile
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from panbudget import words
from panbudget.errors import OutputError, PanbudgetError, Problem, ScenarioError, did_you_mean
from panbudget.extras import Step, silent
from panbudget.files import json_bytes, toml_key, write_whole
from panbudget.scenario.garden import Scenario, scenario_from
from panbudget.scenario.problems import is_usable, unseen
from panbudget.scenario.schema import schema
from panbudget.studies.download import download_weather, years_in
from panbudget.studies.known import known
from panbudget.tables import UnknownName, read_table
from panbudget.tables.plants import find_plant
from panbudget.tables.soils import find_soil
from panbudget.units import KINDS, UnitError, quantity
from panbudget.weather.clean import open_weather
from panbudget.weather.site import Site
from panbudget.weather.text.raw import TO_FILL_IN

TABLE = words.packaged("page/questions.toml")
TEXTS: dict[str, str] = TABLE["texts"]
GARDEN, SAMPLE, SCHEMA = "garden.toml", "weather.csv", "garden.schema.json"
_FIND: dict[str, Callable[[str], object]] = {"plant": find_plant, "soil": find_soil}
_NEEDED = ("tmin", "tmax", "rain", "wind")


@dataclass(frozen=True)
class Question:
    """
    One question.

    Parameters
    ----------
    key, label : str
        Of the answer; what is asked.
    kind : str
        A key of `units.KINDS`, or text, name, number, count, date, choice, plant, soil, file.
    at : str
        Where the answer stands in the garden, or in its bed; "" if nowhere by itself.
    default, us, example : str
        The answer that stands there at first, and the one in US units; one to show. An empty default may stay empty.
    choices : mapping
        Answer -> what it means.
    when : mapping
        Key of another question -> the answer at which this one is asked.
    least, most : float
        Of a number.
    """

    key: str
    label: str
    kind: str
    at: str = ""
    default: str = ""
    us: str = ""
    example: str = ""
    choices: Mapping[str, str] = field(default_factory=dict)
    when: Mapping[str, str] = field(default_factory=dict)
    least: float = float("-inf")
    most: float = float("inf")

    def is_asked(self, answers: Mapping[str, Any]) -> bool:
        """Tell whether it is asked after these answers."""
        return all(answers.get(key) == answer for key, answer in self.when.items())

    def wrong(self, answer: str) -> str:
        """Say what is wrong with an answer; "" if nothing is."""
        example = self.example or (words.is_us() and self.us) or self.default
        if not answer.strip():
            return TEXTS["empty"].format(example=example) if self.default else ""
        if self.kind in KINDS:
            try:
                quantity(answer, self.kind)
            except UnitError as error:
                return str(error)
            return ""
        try:
            self.value(answer)
        except ValueError:
            return TEXTS[f"no_{self.kind}"].format(example=example)
        if self.kind == "number" and not self.least <= float(answer) <= self.most:
            return TEXTS["outside"].format(least=self.least, most=self.most)
        if self.kind == "name" and not is_usable(answer.strip()):
            return TEXTS["no_name"]
        if self.kind == "text" and any(True for _ in unseen(answer.strip())):
            return TEXTS["no_text"]
        if self.kind == "choice" and answer not in self.choices:
            return TEXTS["unknown"].format(meant=did_you_mean(answer, self.choices))
        try:
            _FIND.get(self.kind, str)(answer)
        except UnknownName as error:
            return TEXTS["unknown"].format(meant=error.meant)
        return ""

    def value(self, answer: str) -> Any:
        """Return a right answer as the file has it."""
        kinds: dict[str, Callable[[str], Any]] = {"number": _number, "date": _date, "count": _count}
        return kinds.get(self.kind, str.strip)(answer)


@dataclass(frozen=True)
class Screen:
    """What is asked at once; `of` the garden, of each valve, or of each bed."""

    key: str
    title: str
    text: str
    questions: tuple[Question, ...]
    of: Literal["garden", "valve", "bed"] = "garden"

    def asked(self, answers: Mapping[str, Any]) -> list[Question]:
        """Return the questions asked after these answers."""
        return [question for question in self.questions if question.is_asked(answers)]

    def wrong(self, answers: Mapping[str, Any]) -> dict[str, str]:
        """Say what is wrong with the answers to it: question's key -> what."""
        found = {question.key: question.wrong(answers.get(question.key, "")) for question in self.asked(answers)}
        return {key: text for key, text in found.items() if text}


def _date(text: str) -> dt.date:
    return dt.date.fromisoformat(text.strip())


def _number(text: str) -> float:
    value = float(text)
    return int(value) if value.is_integer() else value


def _count(text: str) -> int:
    count = int(text)
    if count < 1:
        raise ValueError(text)
    return count


def names_of(kind: str) -> dict[str, str]:
    """Return the "plant"s or "soil"s that are known, by name: what else they are called, or how they feel."""
    if kind == "soil":
        return {row["name"]: TABLE["feel"].get(row["name"], "") for row in read_table("soils")}
    return {row["name"]: row["also"] for row in known("plants")}


def is_named_after(bed: str, plant: str) -> bool:
    """Whether a bed has the name of its plants, which may be one of several."""
    return bed.strip() in (plant, *names_of("plant").get(plant, "").split(", "))


@functools.cache
def screens() -> tuple[Screen, ...]:
    """Return all that is asked, in turn; what has no default of its own has the one of the file to start from."""
    start = tomllib.loads(words.packaged_text("templates/short.toml"))
    (valve,) = start["controller"].values()
    us = words.packaged("templates/us.toml")
    begins = {"garden": start, "valve": valve, "bed": next(iter(valve["bed"].values()))}
    made = []
    for screen in TABLE["screen"]:
        asked = []
        for given in screen["question"]:
            part: Any = begins[screen.get("of", "garden")]
            if "default" not in given:
                for name in given["at"].split("."):
                    part = part[name]
                given = {**given, "default": str(part)}
            asked.append(Question(**given, us=us.get(given["default"], "")))
        made.append(Screen(**{k: v for k, v in screen.items() if k != "question"}, questions=tuple(asked)))
    return tuple(made)


def _screens_of(what: str) -> list[Screen]:
    return [screen for screen in screens() if screen.of == what]


def first_answers() -> dict[str, Any]:
    """Return the answers that stand there at first; under "valves" one, which has one bed under "beds"."""
    asked = ([q for screen in _screens_of(what) for q in screen.questions] for what in ("garden", "valve", "bed"))
    answers, valve, bed = ({question.key: question.default for question in several} for several in asked)
    return answers | {"valves": [valve | {"beds": [bed]}]}


def steps(answers: dict[str, Any]) -> list[tuple[Screen, dict[str, Any]]]:
    """List what is asked, in turn, each with the answers to it: the garden's, then each valve's and those of its beds."""
    listed = [(screen, answers) for screen in _screens_of("garden")]
    for valve in answers["valves"]:
        listed += [(screen, valve) for screen in _screens_of("valve")]
        listed += [(screen, bed) for bed in valve["beds"] for screen in _screens_of("bed")]
    return listed


def add_bed(valve: Mapping[str, Any]) -> None:
    """Add a bed, which begins as the valve's last."""
    beds = valve["beds"]
    beds.append({**beds[-1], "name": f"bed {len(beds) + 1}"})


def add_valve(answers: Mapping[str, Any]) -> None:
    """Add a valve with one bed, which begin as the last ones."""
    valves = answers["valves"]
    bed = {**valves[-1]["beds"][-1], "name": "bed 1"}
    valves.append({**valves[-1], "name": f"{valves[0]['name'].strip()} {len(valves) + 1}", "beds": [bed]})


def take_units(answers: dict[str, Any]) -> None:
    """Put the first answers in the units that are chosen, wherever nothing else was typed."""
    for screen, given in steps(answers):
        for question in screen.questions:
            if question.us and given[question.key] in (question.default, question.us):
                given[question.key] = question.us if answers["units"] == "US" else question.default


def garden_text(answers: Mapping[str, Any]) -> str:
    """
    Write the garden that answers describe: the file to start from, comments and all, with the answers in their places.

    Parameters
    ----------
    answers : mapping
        Question's key -> text; "valves" -> a list of the same, each with its "beds". All must be right (`Screen.wrong`).

    Returns
    -------
    str
        TOML.
    """
    import tomlkit

    # the parts of the file to start from: the garden's, a valve's, a bed's
    start = words.packaged_text("templates/short.toml")
    head, valve, bed, *_ = re.split(r"(?m)^(?=\[controller\.yard(?:\]|\.bed\.))", start)
    if answers["units"] == "US":
        head = re.sub('(?m)^# (show.units = "US") {0,2}', r"\1", head)
    document: Any = tomlkit.parse(head)
    supply = document["supply"]["house"]
    if answers["supply"] == "tank":
        supply["kind"] = "tank"
        supply["kind"].comment(TEXTS["tank"])
        del supply["pressure"]
    _put_answers(document, "garden", answers)
    if answers["weather"] != "sample":
        del document["note"]
        _put(document, "weather.file", Path(answers.get("weather_file") or SAMPLE).name)
        document["weather"]["file"].comment("one row a day; the path starts at this file's folder")
        if columns := answers.get("weather_columns"):
            table = tomlkit.table()
            table.update({name: inline(choice) for name, choice in columns.items()})
            table.add(tomlkit.nl())
            document["weather"]["columns"] = table
    parts = [tomlkit.dumps(document)]
    for described in answers["valves"]:
        parts.append(_valve_text(valve, described))
        parts += [_bed_text(bed, described["name"], planted) for planted in described["beds"]]
    return "\n".join(part.rstrip() + "\n" for part in parts)


def _put_answers(part: Any, what: str, answers: Mapping[str, Any]) -> None:
    for question in (question for screen in _screens_of(what) for question in screen.asked(answers)):
        answer = answers[question.key]
        if question.at and answer.strip():
            _put(part, question.at, question.value(answer))


def _headed(document: Any, *names: str) -> str:
    """Write a valve's or a bed's part under headers with its name."""
    import tomlkit

    header = ".bed.".join(toml_key(name.strip()) for name in names)
    begun = r"^\[controller\.yard" + r"\.bed\.\w+" * (len(names) - 1)
    return re.sub(rf"(?m){begun}\b", lambda _: f"[controller.{header}", tomlkit.dumps(document))


def _valve_text(block: str, described: Mapping[str, Any]) -> str:
    """Write a valve by the block of the file to start from."""
    import tomlkit

    document: Any = tomlkit.parse(block)
    (table,) = document["controller"].values()
    _put_answers(table, "valve", described)
    sides = {"diameter": "diameter"} if described["shape"] == "round" else {"length": "long", "width": "wide"}
    _put(table, "pan.vessels", inline([{side: described[key].strip() for side, key in sides.items()}]))
    return _headed(document, described["name"])


def _bed_text(block: str, valve: str, described: Mapping[str, str]) -> str:
    """Write a bed by the block of the file to start from."""
    import tomlkit

    document: Any = tomlkit.parse(block)
    (table,) = document["controller"]["yard"]["bed"].values()
    _put_answers(table, "bed", described)
    if not described["planted"].strip():
        del table["planted"]
    return _headed(document, valve, described["name"])


def _put(part: Any, at: str, value: Any) -> None:
    """Put a value where it stands, with the comment that is there; what stays as it is stays as it is written."""
    *tables, key = at.split(".")
    for name in tables:
        if name not in part:
            part[name] = inline({})
        part = part[name]
    if key not in part or part[key] != value:
        part[key] = value


def download(answers: Mapping[str, Any], folder: Path, step: Step = silent) -> Path:
    """
    Download the past years asked for into a folder, and return the file.

    Raises
    ------
    ScenarioError, WeatherError
        No whole place, no years, no connection.
    OutputError
        Another file of that name is there.
    """
    years = years_in(answers["years"])
    if years is None:
        raise ScenarioError(Problem("no-years", "years", TEXTS["no_years"]))
    lines = [f'elevation = "{answers["elevation"]}"']
    lines += [f"{key} = {float(answers[key])}" for key in ("latitude", "longitude") if answers[key].strip()]
    with tempfile.TemporaryDirectory(prefix="panbudget-") as made:
        place = Path(made) / GARDEN
        place.write_text("\n".join(["[site]", *lines, ""]), encoding="utf-8")
        download_weather(place, years=years, step=step)
        file = next(place.parent.glob("*.csv"))
        target, content = folder / file.name, file.read_bytes()
    _write_new({target: content})
    return target


def _write_new(files: dict[Path, bytes]) -> None:
    """Write files, the last first, unless one of another content stands in the place of any."""
    for file, content in files.items():
        if file.is_file() and file.read_bytes() != content:
            raise OutputError(Problem("changed", "", TEXTS["taken"].format(name=file.name)), file=str(file.parent))
    for file, content in reversed(files.items()):
        write_whole(file, content, parents=True)


def inline(value: Any) -> Any:
    """Return a value as a file has it in one line."""
    import tomlkit

    if isinstance(value, list):
        items = tomlkit.array()
        items.extend(map(inline, value))
        return items
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        table.update(value)
        return table
    return tomlkit.item(value)


@dataclass(frozen=True)
class Seen:
    """
    What a weather file was taken for.

    Parameters
    ----------
    lines : tuple of str
        What it is and what is missing, in sentences.
    first, last : date or None
        Its days; None where it can't be read.
    columns : mapping
        What a file that can't be read would be taken for if its columns are what they look like; empty where that is open.
    """

    lines: tuple[str, ...]
    first: dt.date | None = None
    last: dt.date | None = None
    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def season(self, latitude: float) -> tuple[dt.date, dt.date] | None:
        """Return the latest half year of warm days that it holds, else all its days; None where it has none."""
        if self.first is None or self.last is None:
            return None
        north = latitude >= 0.0
        for year in range(self.last.year, self.first.year - 1, -1):
            start = dt.date(year, 5, 1) if north else dt.date(year - 1, 11, 1)
            end = dt.date(year, 9, 30) if north else dt.date(year, 3, 31)
            if self.first <= start and end <= self.last:
                return start, end
        return self.first, self.last


def look_at_weather(path: Path, answers: Mapping[str, Any]) -> Seen:
    """Read a weather file, with the columns of "weather_columns", and say what it was taken for, and what is missing."""
    if not path.is_file():
        return Seen((TEXTS["no_weather"].format(file=path),))
    where = {key: float(text) for key in ("latitude", "longitude") if (text := str(answers.get(key, "")).strip())}
    try:
        site = Site.model_validate({**where, "elevation": answers["elevation"]})
        file = open_weather([path], site, shown_as=path.name, columns=answers.get("weather_columns"))
    except PanbudgetError as error:
        lines = error.text().splitlines()
        later = [TEXTS["columns_later"]] if "[weather.columns]" in lines else []
        return Seen((*lines, *later), columns=_offered(error))
    raw = file.file.raw
    days = raw.daily.index
    first, last = days.min().date(), days.max().date()
    recognised = raw.recognised or f"{path.name} is read as {file.file.reader}"
    span = {"first": words.day_said(first), "last": words.day_said(last), "days": words.count(days.nunique(), "day")}
    lines = [TEXTS["seen"].format(recognised=recognised[:1].upper() + recognised[1:], **span)]
    if missing := [name for name in _NEEDED if name not in raw.daily]:
        lines.append(TEXTS["missing_columns"].format(columns=", ".join(missing)))
    lacking = raw.daily.isna().sum()
    gaps = [f"{name} on {words.count(int(count), 'day')}" for name, count in lacking.items() if count]
    lines.append(TEXTS["gaps"].format(gaps=", ".join(gaps)) if gaps else TEXTS["no_gaps"])
    try:
        file.over(None, None)
        lines.append(TEXTS["whole"])
    except PanbudgetError as error:
        lines += [problem.sentence() for problem in error.problems[:5]]
    return Seen((*lines, *raw.notes[:3]), first, last)


def _offered(error: PanbudgetError) -> Mapping[str, Mapping[str, str]]:
    """Return what a message gives to paste under [weather.columns], but where something is to be filled in."""
    pairs = dict(pair for problem in error.problems for pair in problem.paste)
    columns = {key.removeprefix("weather.columns."): tomllib.loads(f"of = {text}")["of"] for key, text in pairs.items()}
    return {} if any(TO_FILL_IN in text for each in columns.values() for text in each.values()) else columns


def write_garden(
    folder: Path, answers: Mapping[str, Any], weather: Path | None = None, *, name: str = GARDEN
) -> Scenario:
    """
    Write a garden into a folder: its scenario, its weather and the schema.

    Parameters
    ----------
    folder : Path
        Made if missing; a file of the user's that stands there is not replaced.
    answers : mapping
        As `garden_text` takes them.
    weather : Path, optional
        The weather file; copied into the folder if it stands elsewhere. The invented summer if left out.
    name : str
        The scenario's file.

    Raises
    ------
    ScenarioError
        The answers describe no possible garden.
    OutputError
        A garden, or other weather of that name, is there already; the folder can't be written.
    """
    text, path = garden_text(answers), folder / name
    scenario = scenario_from(tomllib.loads(text), path)
    content = words.packaged_text(f"templates/{SAMPLE}").encode() if weather is None else weather.read_bytes()
    target = folder / (SAMPLE if weather is None else weather.name)
    _write_new({path: text.encode(), target: content})
    write_whole(folder / SCHEMA, json_bytes(schema()))
    return scenario


def problems_of(answers: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Say all that is wrong with answers: label of the question, and what."""
    for screen, given in steps(dict(answers)):
        labels = {question.key: question.label for question in screen.questions}
        yield from ((labels[key], text) for key, text in screen.wrong(given).items())
    if has_twice(answers["valves"]):
        yield "", TEXTS["valve_twice"]
    if any(has_twice(valve["beds"]) for valve in answers["valves"]):
        yield "", TEXTS["bed_twice"]


def has_twice(parts: Sequence[Mapping[str, Any]]) -> bool:
    """Whether two valves, or two beds of one, have one name."""
    return len({part["name"].strip().casefold() for part in parts}) < len(parts)


def described(answers: Mapping[str, Any], folder: Path) -> list[str]:
    """Say all that is wrong with a garden as a whole, as `check` would; [] if nothing is."""
    try:
        scenario_from(tomllib.loads(garden_text(answers)), folder / GARDEN)
    except ScenarioError as error:
        return [problem.sentence() for problem in error.problems]
    return []
