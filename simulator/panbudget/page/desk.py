"""
Desk: one garden as it lies on the page, for all windows alike: its file, the settings that are tried, what came of them.

Knows no screen. What changes is told to whoever listens; what takes long runs in threads, and only the latest is wanted.
"""

import asyncio
import contextlib
import datetime as dt
import json
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from panbudget import words
from panbudget.engine.compiled import compiled, has_compiler
from panbudget.engine.season import run_season
from panbudget.errors import PanbudgetError, Problem, ScenarioError
from panbudget.files import Unlikely, contents, toml_key, toml_of, write_whole
from panbudget.page import jobs
from panbudget.page import lines as drawn
from panbudget.page.questions import first_answers, inline
from panbudget.scenario.editing import edited
from panbudget.scenario.garden import Scenario, SeasonDates, load_scenario, scenario_from
from panbudget.scenario.problems import is_usable
from panbudget.season.heat import find_heat_waves
from panbudget.season.replay import replay
from panbudget.season.result import Season
from panbudget.season.years import in_year, usable_years
from panbudget.season.years import moved as moved_day
from panbudget.studies.ranges import DRAWS, Days
from panbudget.weather import Weather
from panbudget.weather.of_scenario import read_scenario_weather

TEXTS: dict[str, Any] = words.packaged("page/page.toml")
_QUIET = 0.25  # s without a change, after which all is replayed
#: beside the garden's file: what is set and what was tried, for the next start
STATE = ".garden-page.json"
_MOST_TRIED, _LARGEST_STATE = 200, 2_000_000  # steps that are kept, bytes of what is read
_NOT_READ: tuple[type[Exception], ...] = (PanbudgetError, Unlikely, OSError, ValueError, TypeError)
_NOT_READ += (AttributeError, ArithmeticError, LookupError, RecursionError)
FORTNIGHT = dt.timedelta(days=14)
_LEAST, _MOST = 0.25, 2.5  # of a value: the ends of its slider


@dataclass(frozen=True)
class Setting:
    """
    What a slider moves.

    Parameters
    ----------
    key : str
        "VALVE/pan", "VALVE/refill", "VALVE/swing" or "VALVE/BED/emitters".
    label, unit : str
    value : float
        As the file has it, in the unit.
    least, most, step : float
        The slider's ends and steps.
    path : tuple of str
        Where it stands in the garden.
    """

    key: str
    label: str
    unit: str
    value: float
    least: float
    most: float
    step: float
    path: tuple[str, ...]

    def written(self, value: float) -> Any:
        """Return a value as the garden's file has it."""
        if not self.unit:
            return int(value)
        text = f"{value:.6g} {self.unit}"
        if self.path[-1] == "vessels":
            return [{"diameter": text} if self.unit in ("cm", "in") else {"area": text}]
        return text

    def wrong(self, value: float | None) -> str | None:
        """Say what a value must be that can't be taken: above 0, and of emitters whole; None of one that can."""
        if value is None or not 0.0 < value < float("inf"):
            return str(TEXTS["settings"]["above"])
        return None if self.unit or value == int(value) else str(TEXTS["settings"]["whole"])

    @property
    def unit_shown(self) -> str:
        """The unit as a person reads it."""
        return self.unit.replace("^2", "²")

    def shown(self, value: float) -> str:
        """Return a value as a person reads it."""
        return f"{value:.4g} {self.unit_shown}".strip()


# by how much a slider moves: in the metric unit, and in the US one
_STEPS = {"length": (0.5, 0.25), "area": (0.005, 0.05), "flow": (0.05, 0.01), "weight": (0.01, 0.02)}


def settings_of(scenario: Scenario) -> dict[str, Setting]:
    """List what can be moved in a garden, by key."""
    made = {}
    for name, controller in scenario.controller.items():
        vessels, valve, at = controller.pan.vessels, controller.valve, ("controller", name)
        is_round = len(vessels) == 1 and vessels[0].count == 1 and vessels[0].diameter is not None
        pan = vessels[0].diameter * 100.0 if is_round and vessels[0].diameter else controller.pan.area
        kinds: tuple[tuple[str, str, float, tuple[str, ...]], ...] = (
            ("pan", "length" if is_round else "area", pan, (*at, "pan", "vessels")),
            ("refill", "flow", valve.refill.flow, (*at, "valve", "refill", "flow")),
            ("swing", "weight", valve.swing_kg, (*at, "valve", "swing")),
        )
        parts: list[tuple[str, str, float, float, tuple[str, ...]]] = []
        with words.units_shown(scenario.units):
            for key, kind, value, path in kinds:
                scale, step = words.SHOWN[kind], _STEPS[kind][words.is_us()]
                parts.append((key, scale.unit.replace("²", "^2"), scale.shown(value), step, path))
        for bed, part in controller.bed.items():
            parts.append(
                (f"{bed}/emitters", "", float(part.emitters.count), 1.0, (*at, "bed", bed, "emitters", "count"))
            )
        for key, unit, value, step, path in parts:
            what = key.rpartition("/")[2]
            kind = "area" if what == "pan" and not is_round else what
            label = TEXTS["settings"][kind].format(bed=key.rpartition("/")[0])
            if len(scenario.controller) > 1:
                label = TEXTS["settings"]["of"].format(label=label, valve=name)
            least = max(round(value * _LEAST / step) * step, step)
            most = max(round(value * _MOST / step) * step, least + 10 * step)
            whole = f"{name}/{key}"
            made[whole] = Setting(whole, label, unit, float(f"{value:.4g}"), least, most, step, path)
    return made


@dataclass(frozen=True)
class Tried:
    """Settings that were tried, and what came of them."""

    values: Mapping[str, float]
    year: int
    heat: Mapping[str, Any] | None
    said: str


@dataclass
class Pinned:
    """A garden that was pinned, what was set in it, and its lines; `under`: for which year and made-up heat wave they are."""

    garden: Scenario
    what: str
    lines: drawn.Lines
    under: tuple[int, Mapping[str, Any] | None] | None = None


def _ends(part: object, shown: Collection[tuple[str, ...]], at: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Paths of a part's values; of what is shown as a whole, the whole's."""
    if isinstance(part, Mapping) and part and at not in shown:
        for key, value in part.items():
            yield from _ends(value, shown, (*at, key))
    else:
        yield at


def _tried(values: Mapping[str, float], year: int, heat: Mapping[str, Any] | None, said: str) -> Tried:
    """What was tried, as it was written down: the first day of a made-up heat wave is a date again."""
    return Tried(values, int(year), heat and {**heat, "start": dt.date.fromisoformat(heat["start"])}, str(said))


@dataclass
class Desk:
    """
    A garden on the page.

    Parameters
    ----------
    path : Path
        The garden's file; nothing outside its folder is written.
    """

    path: Path
    answers: dict[str, Any] = field(default_factory=first_answers)
    screen: int = 0
    scenario: Scenario | None = None
    error: str = ""
    settings: dict[str, Setting] = field(default_factory=dict)
    values: dict[str, float] = field(default_factory=dict)
    years: dict[int, Weather] = field(default_factory=dict)
    year: int = 0
    heat: dict[str, Any] | None = None
    lines: drawn.Lines | None = None
    pinned: Pinned | None = None
    season: Season | None = None
    band: drawn.Band | None = None
    refused: str = ""
    tried: list[Tried] = field(default_factory=list)
    undone: list[Tried] = field(default_factory=list)
    run: drawn.Run = run_season
    job: jobs.Job | None = None
    steps_of: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._listeners: dict[int, Callable[[str], None]] = {}
        self._changed = asyncio.Event()
        self._version = 0
        self.load()
        self._restore()

    @property
    def folder(self) -> Path:
        """The garden's folder."""
        return self.path.parent

    @property
    def state(self) -> str:
        """What the page shows: "new" for a garden that is not there, "broken", or "ready"."""
        return "new" if not self.path.exists() else "broken" if self.scenario is None else "ready"

    def listen(self, key: int, listener: Callable[[str], None]) -> None:
        """Have somebody told what changed: "all", "values", "lines", "season", "band" or "job"."""
        self._listeners[key] = listener

    def leave(self, key: int) -> None:
        """Tell somebody no more."""
        self._listeners.pop(key, None)

    def tell(self, what: str) -> None:
        """Tell all that listen that something has changed."""
        for listener in list(self._listeners.values()):
            listener(what)

    def _restore(self) -> None:
        """Take up what was set and tried when the page was last open; what can't be read is as if it were not there."""
        try:
            state = json.loads(contents(self.folder / STATE, _LARGEST_STATE))
            *tried, now = [_tried(**step) for step in (*state["tried"], state["now"])]
            alike = all(state["units"].get(key, part.unit) == part.unit for key, part in self.settings.items())
            if alike and all(0.0 < value < float("inf") for step in (*tried, now) for value in step.values.values()):
                self.tried, self.steps_of = tried, {str(verb): int(count) for verb, count in state["steps"].items()}
                self.take(now)
                _ = self.scenario and self.now()  # refused where the garden can be so no more
        except _NOT_READ:
            self.values, self.heat, self.tried, self.steps_of = {}, None, [], {}

    def _keep_state(self) -> None:
        """Write what is set and what was tried beside the garden; a folder that takes no file only forgets it."""
        now = Tried(self.values, self.year, self.heat, "")
        tried = [asdict(step) for step in self.tried[-_MOST_TRIED:]]
        units = {key: setting.unit for key, setting in self.settings.items()}
        state = {"now": asdict(now), "tried": tried, "steps": self.steps_of, "units": units}
        with contextlib.suppress(PanbudgetError, OSError):
            write_whole(self.folder / STATE, json.dumps(state, default=str))

    def load(self) -> None:
        """Read the garden and its weather; what was tried stays, as far as the garden still has it."""
        self.scenario, self.error = None, ""
        if self.path.exists():
            try:
                scenario = load_scenario(self.path)
                described = scenario.season.start.year
                years = usable_years(scenario).weather or {described: read_scenario_weather(scenario)}
            except PanbudgetError as error:
                self.error = error.text()
            else:
                self.scenario, self.years, self.settings = scenario, years, settings_of(scenario)
                self.year = next((year for year in (self.year, described) if year in years), max(years))
                self.values = {key: value for key, value in self.values.items() if key in self.settings}
                self.lines = self.season = self.band = None
                self._touch()
        self.tell("all")

    def _touch(self) -> None:
        self._version += 1
        self._changed.set()

    def value(self, key: str) -> float:
        """Return what a setting is now."""
        return self.values.get(key, self.settings[key].value)

    def set(self, key: str, value: float | None) -> None:
        """Give a setting a value; what it can't be changes nothing."""
        if value is None or self.settings[key].wrong(value) or value == self.value(key):
            return
        if value == self.settings[key].value:
            self.values.pop(key)
        else:
            self.values[key] = float(value)
        self._touch()
        self.tell("values")

    def choose(self, *, year: int | None = None, heat: Mapping[str, Any] | bool | None = False) -> None:
        """Switch the year, or lay a made-up heat wave over it; None takes it away."""
        self.year = self.year if year is None else year
        if not isinstance(heat, bool):
            self.heat = None if heat is None else dict(heat)
        self._touch()
        self.tell("values")

    def take(self, tried: Tried) -> None:
        """Go back to settings that were tried, as far as the garden still has them."""
        self.values = {key: value for key, value in tried.values.items() if key in self.settings}
        self.year = tried.year if tried.year in self.years else self.year
        self.heat = dict(tried.heat) if tried.heat else None
        self._touch()
        self.tell("values")

    def undo(self) -> None:
        """Go back to what was tried before."""
        if len(self.tried) > 1:
            self.undone.append(self.tried.pop())
            self.take(self.tried[-1])

    def redo(self) -> None:
        """Take the last step back again."""
        if self.undone:
            self.tried.append(self.undone.pop())
            self.take(self.tried[-1])

    def pin(self) -> None:
        """Pin the settings, to compare the next with them in any year and heat wave; or take the pin away."""
        pinned, self.pinned = self.pinned, None
        if pinned is None and self.lines is not None:
            self.pinned = Pinned(self._set(), self.differences() or TEXTS["as_described"], self.lines)
        self.tell("lines")

    def in_words(self, what: str) -> str:
        """Say what is set, in which year, and whether a made-up heat wave lies over it."""
        return "; ".join([what, str(self.year)] + [TEXTS["heat"]["short"]] * bool(self.heat))

    def differences(self) -> str:
        """Say what differs from the file."""
        return "; ".join(f"{self.settings[key].label} {self.settings[key].shown(v)}" for key, v in self.values.items())

    def overlay(self, values: Mapping[str, float] | None = None) -> dict[str, Any]:
        """Return what differs from the file, as a variant has it; of other values than those that are set, if given."""
        changes: dict[str, Any] = {}
        for key, value in (self.values if values is None else values).items():
            setting, part = self.settings[key], changes
            for name in setting.path[:-1]:
                part = part.setdefault(name, {})
            part[setting.path[-1]] = setting.written(value)
        return changes

    def compared(self) -> dict[str, dict[str, Any]]:
        """Return what is compared with the garden as described, by name, as variants have it: what is pinned, what is set."""
        pinned = self._differing(settings_of(self.pinned.garden)) if self.pinned else {}
        both = {TEXTS["season"]["pinned"]: {} if pinned == self.values else pinned, TEXTS["as_set"]: self.values}
        return {name: self.overlay(values) for name, values in both.items() if values}

    def _differing(self, others: Mapping[str, Setting]) -> dict[str, float]:
        """What can be set here and is otherwise in another garden than in the file."""
        both = {key: others[key].value for key in self._shared(others)}
        return {key: value for key, value in both.items() if value != self.settings[key].value}

    def _shared(self, others: Mapping[str, Setting]) -> list[str]:
        """The settings that another garden has, too, in the same unit."""
        return [key for key, part in self.settings.items() if key in others and others[key].unit == part.unit]

    def take_variant(self, name: str) -> list[str]:
        """
        Set what a variant of the file changes, as far as it can be set here.

        Returns
        -------
        list of str
            Keys of what else it changes, which is left aside.

        Raises
        ------
        ScenarioError
            It makes the garden impossible.
        """
        assert self.scenario is not None
        others = settings_of(self.scenario.with_variant(name))
        self.values = self._differing(others)
        self._touch()
        self.tell("values")
        shown = {self.settings[key].path for key in self._shared(others)}
        shown |= {(*path[:-1], "set_up_test") for path in shown if path[-1] == "swing"}  # says the swing in another way
        return [".".join(map(toml_key, at)) for at in _ends(self.scenario.variant[name], shown) if at not in shown]

    def now(self) -> Scenario:
        """
        Return the garden as it is set, in the year chosen.

        Raises
        ------
        ScenarioError
            The settings make it impossible.
        """
        return self._shown(self._set())

    def _set(self) -> Scenario:
        """The garden as it is set."""
        assert self.scenario is not None
        changes = self.overlay()
        return self.scenario.changed(changes) if changes else self.scenario

    def _shown(self, garden: Scenario) -> Scenario:
        """A garden in the year chosen, the made-up heat wave over it."""
        garden = in_year(garden, self.year)
        return garden.changed({"what_if": {"heat": self.heat}}) if self.heat else garden

    @property
    def _span(self) -> SeasonDates:
        """The season that is shown: its days."""
        assert self.scenario is not None
        return in_year(self.scenario, self.year).season

    def in_season(self, day: dt.date) -> dt.date:
        """Return the same day of the year in the season that is shown; as it is where the season has none."""
        season = self._span
        days = (moved_day(day, year - day.year) for year in (season.start.year, season.end.year))
        return next((other for other in days if season.start <= other <= season.end), day)

    def days_away(self, today: dt.date) -> tuple[dt.date, dt.date]:
        """Return two weeks in the season that is shown: from today if it has this day, else in its middle."""
        season = self._span
        first = self.in_season(today)
        if not season.start <= first <= season.end:
            first = max(season.start + (season.end - season.start - FORTNIGHT) // 2, season.start)
        return first, min(first + FORTNIGHT, season.end)

    def heat_wave(self) -> tuple[dt.date, dt.date] | None:
        """Return the days of the season's greatest heat wave, the made-up one first; None where there is none."""
        if self.season is None:
            return None
        if self.heat:
            first = dt.date.fromisoformat(str(self.heat["start"]))
            return first, first + dt.timedelta(days=self.heat["days"] - 1)
        span = self.season.scenario.season
        wave = find_heat_waves(self.season.weather.daily, span.start, span.end).greatest
        return None if wave is None else (wave.start, wave.end)

    async def work(self) -> None:
        """Compute what is wanted, the latest first, for as long as the page is open."""
        while True:
            await self._changed.wait()
            self._changed.clear()
            if self.scenario is None:
                continue
            try:
                await self._compute()
            except PanbudgetError as error:
                self.refused = error.text()
                self.tell("season")

    async def _compute(self) -> None:
        version, run = self._version, self.run

        def going() -> bool:
            return version == self._version

        garden, weather, under = self.now(), self.years[self.year], (self.year, self.heat)
        pinned = self.pinned if self.pinned and self.pinned.under != under else None
        beside = self._shown(pinned.garden) if pinned else garden

        def quick(shown: Scenario) -> tuple[Days, drawn.Lines]:
            laid = drawn.days_now(shown, weather)
            return laid, drawn.quick_lines(laid, run)

        days, lines = await asyncio.to_thread(quick, garden)
        if pinned:
            pinned.lines, pinned.under = (await asyncio.to_thread(quick, beside))[1], None
        self.lines, self.band = lines, None
        self.tell("lines")
        if self.season is not None:
            await asyncio.sleep(_QUIET)
        if not going():
            return
        season = await asyncio.to_thread(replay, garden, weather=weather, run=run)
        if pinned:
            pinned.lines = drawn.season_lines(await asyncio.to_thread(replay, beside, weather=weather, run=run))
            pinned.under = under
        if not going():
            return
        self.season, self.lines, self.refused = season, drawn.season_lines(season), ""
        self._remember()
        self.tell("season")
        draws = DRAWS[run is not run_season]
        band = await asyncio.to_thread(drawn.band_of, days, draws, run, going)
        if band is not None and going():
            self.band = band
            self.tell("band")

    def _remember(self) -> None:
        assert self.season is not None
        sums = self.season.totals["beds"].values()
        short = max((bed["driest_quarter"]["stress_days"] for bed in sums), default=0)
        litres = sum(part["litres"] for part in self.season.totals["controllers"].values())
        what = self.in_words(self.differences() or TEXTS["as_described"])
        with words.units_shown(self.season.scenario.units):
            text = TEXTS["step"].format(what=what, litres=words.litres(litres), short=words.count(short, "day"))
        step = Tried(dict(self.values), self.year, self.heat and dict(self.heat), text)
        if not self.tried or self.tried[-1] != step:
            self.tried.append(step)
            self.undone.clear()
        self._keep_state()

    async def do(self, verb: str, options: Mapping[str, Any]) -> None:
        """Have a verb write its pages for the garden as it is set; one at a time."""
        if self.job is None or not self.job.is_running:
            overlay = self.compared() if verb == "compare" else self.overlay()
            self.job = jobs.Job(self.path, verb, dict(options), overlay, self.year, self.heat)
            self.job.usual = self.steps_of.get(verb, 0)
            await self.job.run(lambda: self.tell("job"))
            if self.job.sentences:
                self.steps_of[verb] = len(self.job.steps)
                self._keep_state()

    async def warm(self) -> None:
        """Have the engine compiled, where there is a compiler: in a process of its own first, so that the page stays quick."""
        if not has_compiler():
            return
        if await jobs.warm(self.path):
            await asyncio.to_thread(self._warmed)

    def _warmed(self) -> None:
        if self.scenario is None:
            return
        run = compiled(run_season)
        days = drawn.days_now(in_year(self.scenario, self.year), self.years[self.year])
        drawn.quick_lines(days, run)
        self.run = run

    def text(self) -> str:
        """Return the garden's file as it stands; nothing of a folder, or of a pipe, which would be waited for."""
        return self.path.read_bytes().decode("utf-8-sig", "replace") if self.path.is_file() else ""

    def wrong_with(self, text: str) -> str:
        """Say what is wrong with a text for the garden's file; "" if nothing is."""
        try:
            self._check(text)
        except ScenarioError as error:
            return error.text()
        return ""

    def _check(self, text: str) -> None:
        scenario_from(toml_of(text.encode(), self.path), self.path)

    def replace_text(self, text: str) -> None:
        """Write the garden's file, whatever is wrong with it, and read it again."""
        write_whole(self.path, text)
        self.load()

    def save_variant(self, name: str) -> None:
        """
        Add the settings to the garden's file as a variant, below all that stands there.

        Raises
        ------
        ScenarioError
            No usable name, or one that is taken; settings that make the garden impossible.
        """
        assert self.scenario is not None
        if not is_usable(name) or name in self.scenario.variant:
            raise ScenarioError(Problem("no-name", f'"{name}"', TEXTS["save"]["no_name"]), file=str(self.path))
        self.now()
        text = self.text().rstrip("\r\n") + f"\n\n[variant.{toml_key(name)}]\n"
        for key, value in self.values.items():
            setting = self.settings[key]
            text += f"{'.'.join(map(toml_key, setting.path))} = {inline(setting.written(value)).as_string()}\n"
        self._keep(text)

    def save_into_file(self) -> None:
        """
        Write the settings into the garden's file; comments, order and all else stay.

        Raises
        ------
        ScenarioError
            The settings make the garden impossible, or stand where an editor can't put them.
        """
        self.now()
        text = self.text()
        for key, value in self.values.items():
            *table, name = self.settings[key].path
            written = {name: inline(self.settings[key].written(value))}
            without = ("set_up_test",) if name == "swing" else ()
            text = edited(text, tuple(table), written, without=without, file=str(self.path))
        self._keep(text)
        self.values = {}
        self.tell("values")

    def _keep(self, text: str) -> None:
        """Write a text that nothing is wrong with."""
        self._check(text)
        self.replace_text(text)
