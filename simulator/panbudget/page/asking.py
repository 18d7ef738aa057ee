"""
Asking: the first visit, question by question, each with its drawing; and the garden's file to mend.
"""

import asyncio
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from nicegui import events, ui

from panbudget import words
from panbudget.errors import PanbudgetError
from panbudget.files import write_whole
from panbudget.page import questions
from panbudget.page.desk import TEXTS, Desk
from panbudget.page.guard import upload_target
from panbudget.page.pictures import picture, place_at
from panbudget.page.questions import Question, Screen

_TEXTS: dict[str, str] = TEXTS["ask"]
_MOST_BYTES = 100_000_000  # of an uploaded weather file


class Asking:
    """
    The questions in one window.

    Parameters
    ----------
    desk : Desk
        Holds the answers, for all windows.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.body = ui.column().classes("card asking")
        self.drawn = -1
        self.draw()

    @property
    def step(self) -> tuple[Screen, dict[str, Any]]:
        """What is asked, and the answers to it: the garden's, a valve's or a bed's."""
        steps = questions.steps(self.desk.answers)
        return steps[min(self.desk.screen, len(steps) - 1)]

    @property
    def valve(self) -> dict[str, Any]:
        """The valve asked about; the first where none is."""
        _, answers = self.step
        valves: list[dict[str, Any]] = self.desk.answers["valves"]
        return next((part for part in valves if any(answers is mine for mine in (part, *part["beds"]))), valves[0])

    def draw(self) -> None:
        """Draw the screen again, in the units chosen."""
        self.body.clear()
        self.fields: dict[str, Any] = {}
        (screen, answers), total = self.step, len(questions.steps(self.desk.answers))
        is_new, self.drawn = self.desk.screen != self.drawn, self.desk.screen
        with self.body, words.units_shown(self.desk.answers["units"]):
            where = TEXTS["question"].format(number=self.desk.screen + 1, total=total)
            if screen.of != "garden" and len(self.desk.answers["valves"]) > 1:
                where += f"; {TEXTS['settings']['valve'].format(name=self.valve['name'])}"
            ui.label(where).classes("quiet")
            ui.html(screen.title, sanitize=False, tag="h2").props("tabindex=-1")
            ui.label(words.filled(screen.text, {}))
            self.drawing = ui.html(picture(screen.key, answers), sanitize=False).classes("picture")
            if screen.key == "place":
                self.drawing.on("click", self.pointed, js_handler=TEXTS["scripts"]["pointed"])
                ui.label(_TEXTS["map"]).classes("quiet")
            for question in screen.asked(answers):
                self._field(question, answers)
            if screen.key == "weather" and answers["weather"] != "sample":
                self._weather()
            self.message = ui.label("").classes("wrong").props('role="alert"')
            with ui.row():
                self._buttons(screen, answers, is_last=self.desk.screen >= total - 1)
        if is_new:
            self._focus(".asking h2")

    def _focus(self, selector: str) -> None:
        """Take the keyboard, and a screen reader, to a part of what was drawn again."""
        with self.body:
            ui.run_javascript(f"setTimeout(() => document.querySelector({selector!r})?.focus(), 50)")

    def _buttons(self, screen: Screen, answers: dict[str, Any], *, is_last: bool) -> None:
        beds, valves = self.valve["beds"], self.desk.answers["valves"]
        wanted = {
            "back": (self.desk.screen > 0, partial(self.go, -1)),
            "more_bed": (answers is beds[-1], partial(self.another, partial(questions.add_bed, self.valve))),
            "fewer_bed": (screen.of == "bed" and len(beds) > 1, partial(self.fewer, beds, answers)),
            "more_valve": (is_last, partial(self.another, partial(questions.add_valve, self.desk.answers))),
            "fewer_valve": (screen.of == "valve" and len(valves) > 1, partial(self.fewer, valves, answers)),
        }
        for name, (is_wanted, act) in wanted.items():
            if is_wanted:
                ui.button(questions.TEXTS[name], on_click=act).props("outline no-caps")
        name, on = ("finish", self.finish) if is_last else ("next", partial(self.go, 1))
        ui.button(questions.TEXTS[name], on_click=on).props("no-caps")

    def _field(self, question: Question, answers: dict[str, Any]) -> None:
        answer, change = answers[question.key], partial(self.typed, question)
        if question.kind == "file":
            return
        if question.kind in ("choice", "soil"):
            known = question.choices or questions.names_of("soil")
            options = {name: about if question.choices else f"{name}: {about}" for name, about in known.items()}
            with ui.element("fieldset"):
                ui.html(question.label, sanitize=False, tag="legend")
                radio = ui.radio(options, value=answer, on_change=change).props(f'aria-label="{question.label}"')
                radio.on("keydown", js_handler=TEXTS["scripts"]["arrows"])
        elif question.kind == "plant":
            plants = {name: f"{name} ({also})" if also else name for name, also in questions.names_of("plant").items()}
            select = ui.select(plants, label=question.label, value=answer, with_input=True, on_change=change)
            select.props(f'hint="{_TEXTS["search"]}" outlined').classes("wide")
        else:
            kind = "date" if question.kind == "date" else "text"
            field = ui.input(question.label, value=answer, on_change=change).classes("wide")
            self.fields[question.key] = field.mark(question.key).props(f"type={kind} outlined stack-label")

    def typed(self, question: Question, event: events.ValueChangeEventArguments[Any]) -> None:
        """Take an answer as it is typed, and let the drawing grow."""
        screen, answers = self.step
        before, answer = answers[question.key], str(event.value or "")
        answers[question.key] = answer
        if question.kind == "choice":
            if question.key == "units":
                questions.take_units(self.desk.answers)
            self.draw()
            self._focus(f'[role=radiogroup][aria-label="{question.label}"] [aria-checked=true]')
            return
        if question.kind == "plant" and answer and questions.is_named_after(answers["name"], before):
            self.fields["name"].set_value(answer)
        with words.units_shown(self.desk.answers["units"]):
            drawn, wrong = picture(screen.key, answers), question.wrong(answer)
        self.drawing.set_content(drawn)
        if (field := self.fields.get(question.key)) is not None:
            field.props(remove="error error-message")
            if wrong:
                field.props["error"], field.props["error-message"] = True, wrong

    def pointed(self, event: events.GenericEventArguments) -> None:
        """Take the place that was clicked on the map."""
        for key, answer in place_at(*map(float, event.args)).items():
            self.fields[key].set_value(answer)

    def _weather(self) -> None:
        answers = self.desk.answers
        if answers["weather"] == "file":
            limits: dict[str, Any] = {"auto_upload": True, "max_file_size": _MOST_BYTES}
            upload = ui.upload(label=_TEXTS["upload"], on_upload=self.uploaded, **limits)
            upload.classes("wide").props(f'aria-label="{_TEXTS["upload"]}" flat bordered')
        else:
            ui.label(questions.TEXTS["download"])
            ui.button(_TEXTS["download"], on_click=self.download).props("outline no-caps")
        self.seen = ui.column().props('role="status" aria-live="polite"')
        if answers["weather_file"]:
            self._show_seen()

    def _show_seen(self) -> None:
        if questions.screens()[0].wrong(self.desk.answers):  # somebody types there in another window
            return
        seen = questions.look_at_weather(Path(self.desk.answers["weather_file"]), self.desk.answers)
        self.seen.clear()
        with self.seen:
            for line in seen.lines:
                ui.label(line)
        if days := seen.season(float(self.desk.answers["latitude"])):
            self.desk.answers["start"], self.desk.answers["end"] = map(str, days)
            for bed in (bed for valve in self.desk.answers["valves"] for bed in valve["beds"]):
                bed["planted"] = str(days[0])

    async def uploaded(self, event: events.UploadEventArguments) -> None:
        """Put an uploaded file into the garden's folder, under its own name, and look at it."""
        name, target = event.file.name, upload_target(self.desk.folder, event.file.name)
        if target is None or event.file.size() > _MOST_BYTES:
            self.message.set_text(_TEXTS["no_upload"].format(name=name))
            return
        content = await event.file.read()
        if target.is_file() and target.read_bytes() != content:
            self.message.set_text(questions.TEXTS["taken"].format(name=target.name))
            return
        try:
            write_whole(target, content, parents=True)
        except PanbudgetError as error:
            self.message.set_text(error.text())
            return
        self.desk.answers["weather_file"] = str(target)
        self._show_seen()

    async def download(self) -> None:
        """Download the years asked for, and look at them."""
        self.message.set_text(_TEXTS["downloading"])
        try:
            answers = dict(self.desk.answers)
            file = await asyncio.to_thread(questions.download, answers, self.desk.folder)
            self.desk.answers["weather_file"] = str(file)
        except PanbudgetError as error:
            self.message.set_text(error.text())
            return
        self.message.set_text("")
        self._show_seen()

    def wrong(self) -> str:
        """Say what is wrong with the screen's answers; "" if nothing is."""
        screen, answers = self.step
        labels = {question.key: question.label for question in screen.questions}
        with words.units_shown(self.desk.answers["units"]):
            found = [f"{labels[key]}: {text}" for key, text in screen.wrong(answers).items()]
        if screen.key == "weather" and answers["weather"] != "sample" and not answers["weather_file"]:
            found.append(_TEXTS["choose"])
        return ". ".join(found)

    def go(self, by: int) -> None:
        """Go on to the next screen when all is right, or back."""
        if by > 0 and (wrong := self.wrong()):
            self.message.set_text(wrong)
            return
        self.desk.screen += by
        self.desk.tell("asked")

    def another(self, add: Callable[[], None]) -> None:
        """Ask about one more bed or valve."""
        if wrong := self.wrong():
            self.message.set_text(wrong)
            return
        add()
        self.go(1)

    def fewer(self, parts: list[dict[str, Any]], part: dict[str, Any]) -> None:
        """Take a bed or a valve away, and go on with the one before it."""
        parts[:] = [other for other in parts if other is not part]
        self.desk.screen = min(max(self.desk.screen - 1, 0), len(questions.steps(self.desk.answers)) - 1)
        self.desk.tell("asked")

    def finish(self) -> None:
        """Write the garden, and show it."""
        wrong = [f"{label}: {text}".lstrip(": ") for label, text in questions.problems_of(self.desk.answers)]
        file = self.desk.answers["weather_file"] if self.desk.answers["weather"] != "sample" else ""
        try:
            if not (wrong := wrong or questions.described(self.desk.answers, self.desk.folder)):
                path, weather = self.desk.path, Path(file) if file else None
                questions.write_garden(path.parent, self.desk.answers, weather, name=path.name)
        except PanbudgetError as error:
            wrong = [error.text()]
        if wrong:
            self.message.set_text(". ".join(wrong))
        else:
            self.desk.load()


def mending(desk: Desk, close: Any = None) -> None:
    """
    Show the garden's file with what is wrong with it, to be mended there.

    Parameters
    ----------
    desk : Desk
    close : callable, optional
        Goes back to the garden, where it can be read.
    """
    texts: dict[str, str] = TEXTS["mend"]
    with ui.column().classes("card"):
        ui.html(texts["heading"], sanitize=False, tag="h2")
        if desk.error:
            ui.label(texts["broken"])
        message = ui.label(desk.error).classes("wrong file").props('role="alert"')
        label = texts["label"].format(file=desk.path.name)
        area = ui.textarea(label, value=desk.text()).classes("wide code").props("outlined autogrow spellcheck=false")

        def check() -> None:
            message.set_text(desk.wrong_with(area.value or "") or texts["sound"])

        def save() -> None:
            try:
                desk.replace_text(area.value or "")
            except PanbudgetError as error:
                message.set_text(error.text())

        with ui.row():
            ui.button(texts["check"], on_click=check).props("outline no-caps")
            ui.button(texts["save"], on_click=save).props("no-caps")
            if close is not None:
                ui.button(texts["close"], on_click=close).props("flat no-caps")
