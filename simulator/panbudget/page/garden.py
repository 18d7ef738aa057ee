"""
Garden: the page of a garden: its settings, its season, what was found, what was tried, and what can be made from there.
"""

import datetime as dt
import html
from collections.abc import Callable
from functools import partial
from typing import Any

from nicegui import background_tasks, context, events, ui

from panbudget import words
from panbudget.errors import PanbudgetError
from panbudget.page import charts
from panbudget.page.asking import mending
from panbudget.page.desk import TEXTS, Desk, Setting
from panbudget.page.jobs import VERBS
from panbudget.reports import pages
from panbudget.reports.arranging import Cause, causes, words_used
from panbudget.reports.writing import shown
from panbudget.scenario.garden import HEAT_DAYS, MOST_WARMER

_LATEST = 12  # steps listed, of those tried: the library draws the whole page again for each move of a slider
_LIVE = 'role="status" aria-live="polite"'


def _named(element: ui.element, label: str) -> None:
    """Give an element the name that a screen reader says."""
    element.props["aria-label"] = label


def _heading(text: str, classes: str = "") -> None:
    ui.html(text, sanitize=False, tag="h2").classes(classes)


def _text(text: str) -> None:
    """Show a sentence as on a page: what stands in backticks as code."""
    ui.html(str(pages.whole_options(text)), sanitize=False)


def _button(text: str, act: Callable[[], object], look: str = "outline") -> ui.button:
    return ui.button(text, on_click=act).props(f"{look} no-caps dense")


def _day(text: str, day: dt.date, **options: Any) -> ui.input:
    return ui.input(text, value=str(day), **options).props("type=date outlined dense stack-label")


class Range(ui.element):
    """The browser's own slider, which keyboards and screen readers know; it keeps its value while it is dragged."""

    def __init__(self, setting: Setting, value: float, moved: Callable[[float], None]) -> None:
        super().__init__("input")
        ends = {"min": setting.least, "max": setting.most, "step": setting.step}
        for name, given in ({"type": "range", "aria-label": setting.label} | ends | {"value": value}).items():
            self.props[name] = given

        def take(event: events.GenericEventArguments) -> None:
            with self.props.suspend_updates():
                self.props["value"] = event.args
            moved(float(event.args))

        keep = "(e) => { element.props.value = Number(e.target.value); emit(element.props.value) }"
        self.on("input", take, throttle=0.05, js_handler=keep)

    def show(self, value: float) -> None:
        """Show a value that came from elsewhere."""
        if self.props["value"] != value:
            self.props["value"] = value


class Garden:
    """The garden in one window."""

    def __init__(self, desk: Desk) -> None:
        assert desk.scenario is not None
        self.desk, self.client = desk, context.client
        self.is_showing = False
        self.sliders: dict[str, Range] = {}
        self.numbers: dict[str, ui.number] = {}
        ui.html(html.escape(desk.scenario.title), sanitize=False, tag="h1")
        with ui.element("div").classes("garden"):
            with ui.element("section").classes("card settings"):
                self._settings()
            with ui.element("section").classes("card season"):
                self._season()
        with ui.element("div").classes("garden below"):
            with ui.element("section").classes("card"):
                _heading(TEXTS["job"]["heading"], "no-print")
                self._jobs()
                _heading(TEXTS["tried"]["heading"])
                self.tried = ui.element("ol")
            with ui.element("section").classes("card"):
                _heading(TEXTS["findings"]["heading"])
                self.findings = ui.element("ul")
                self.words = ui.html("", sanitize=False)
        for what in ("values", "lines", "season", "job"):
            self.heard(what)

    def heard(self, what: str) -> None:
        """Show what has changed."""
        shows = {
            "values": [self._show_values],
            "lines": [self._show_lines],
            "season": [self._show_lines, self._show_season],
            "band": [self._show_lines],
            "job": [self._show_job],
        }
        for show in shows.get(what, []):
            show()

    def _settings(self) -> None:
        texts: dict[str, str] = TEXTS["settings"]
        _heading(texts["heading"])
        ui.label(texts["intro"]).classes("quiet")
        if self.desk.scenario and self.desk.scenario.variant:
            self.variant = ui.select([*self.desk.scenario.variant], label=texts["take"], on_change=self._take)
            self.variant.props("outlined dense").classes("wide no-print")
        valves = list(dict.fromkeys(key.split("/")[0] for key in self.desk.settings))
        for valve in valves:
            if len(valves) > 1:
                ui.html(html.escape(texts["valve"].format(name=valve)), sanitize=False, tag="h3")
            for key, setting in self.desk.settings.items():
                if key.startswith(f"{valve}/"):
                    self._setting(key, setting)
        ui.label(texts["caution"]).classes("caution")
        self.refused = ui.label("").classes("wrong").props('role="alert"')
        with ui.row().classes("no-print"):
            self.undo = _button(TEXTS["season"]["undo"], self.desk.undo)
            self.redo = _button(TEXTS["season"]["redo"], self.desk.redo)
            self.pin = _button(TEXTS["season"]["pin"], self.desk.pin)
        self._heat()
        self._keep()

    def _setting(self, key: str, setting: Setting) -> None:
        value = self.desk.value(key)
        with ui.element("div").classes("setting"):
            ui.label(f"{setting.label}{', ' + setting.unit_shown if setting.unit else ''}").classes("label")
            self.sliders[key] = Range(setting, value, lambda given: self.desk.set(key, round(given, 6)))
            self.numbers[key] = ui.number(
                value=value, min=0, validation=setting.wrong, on_change=lambda event: self.desk.set(key, event.value)
            )
            field = self.numbers[key].props("dense outlined hide-bottom-space debounce=300")
            _named(field, TEXTS["settings"]["field"].format(label=setting.label))

    def _heat(self) -> None:
        assert self.desk.scenario is not None
        texts: dict[str, str] = TEXTS["heat"]
        span = self.desk.scenario.season
        middle = span.start + (span.end - span.start) // 2
        with ui.expansion(texts["heading"]).classes("wide").props("dense"):
            self.heat_on = ui.checkbox(texts["on"], on_change=self._heated)
            self.heat_start = _day(texts["start"], middle, on_change=self._heated)
            few, many = HEAT_DAYS
            self.heat_days = ui.number(texts["days"], value=7, min=few, max=many, precision=0, on_change=self._heated)
            self.heat_days.props("outlined dense")
            with words.units_shown(self.desk.scenario.units):
                scale = words.SHOWN["kelvin"]
                self.kelvin, label = scale.unit, words.filled(texts["warmer"], {})
                self.usual, least, most = (scale.shown(kelvin) for kelvin in (5.0, 0.5, MOST_WARMER))
            self.heat_warmer = ui.number(label, value=self.usual, min=least, max=most, on_change=self._heated)
            self.heat_warmer.props("outlined dense")
            self.heat_dry = ui.checkbox(texts["without_rain"], on_change=self._heated)

    def _heated(self) -> None:
        if self.is_showing:  # what came from elsewhere is no wish of this window
            return
        heat: dict[str, Any] | None = None
        if self.heat_on.value:
            try:
                start = self.desk.in_season(dt.date.fromisoformat(self.heat_start.value or ""))
            except ValueError:
                return
            warmer = f"{self.heat_warmer.value or self.usual:g} {self.kelvin}"
            heat = {"start": start, "days": int(self.heat_days.value or 7), "warmer": warmer}
            heat["without_rain"] = bool(self.heat_dry.value)
        if heat != self.desk.heat:
            self.desk.choose(heat=heat)

    def _keep(self) -> None:
        texts: dict[str, str] = TEXTS["save"]
        with ui.expansion(texts["heading"]).classes("wide").props("dense"):
            name = ui.input(texts["name"], value="tried").props("outlined dense")
            with ui.row():
                _button(texts["variant"], lambda: self._kept(self.desk.save_variant, (name.value or "").strip()))
                _button(texts["file"], partial(self._kept, self.desk.save_into_file))
                _button(texts["edit"], self._edit, "flat")
                _button(texts["again"], self.desk.load, "flat")

    def _kept(self, keep: Callable[..., None], *name: str) -> None:
        if not self.desk.values:
            ui.notify(TEXTS["save"]["nothing"])
            return
        try:
            keep(*name)
        except PanbudgetError as error:
            self.refused.set_text(error.text())
        else:
            with self.client:  # what was drawn here is drawn again by now
                ui.notify(TEXTS["save"]["done"].format(file=self.desk.path.name))

    def _take(self, event: events.ValueChangeEventArguments[Any]) -> None:
        if (name := event.value) is None:
            return
        self.variant.set_value(None)  # so that it can be taken again
        texts = TEXTS["settings"]
        try:
            aside = self.desk.take_variant(name)
        except PanbudgetError as error:
            self.refused.set_text(error.text())
        else:
            ui.notify(texts["aside" if aside else "took"].format(name=name, keys=", ".join(aside)), multi_line=True)

    def _edit(self) -> None:
        with ui.dialog().props("full-width") as dialog, ui.card():
            mending(self.desk, dialog.close)
        dialog.open()

    def _season(self) -> None:
        texts: dict[str, str] = TEXTS["season"]
        _heading(texts["heading"])
        with ui.row().classes("items-center no-print"):
            years, now = list(self.desk.years), self.desk.year
            self.year = ui.select(years, label=texts["year"], value=now, on_change=self._year).props("outlined dense")
            _button(texts["zoom"], self._zoom)
            _button(texts["whole"], lambda: self._show_days(None))
        self.said = ui.label("").classes("said").props(_LIVE)
        beds = sum(len(part.bed) for part in self.desk.scenario.controller.values()) if self.desk.scenario else 0
        self.chart = ui.echart(charts.season_chart(self.desk)).style(f"height:{charts.height(beds)}px")
        _named(self.chart.props("role=img"), texts["chart_label"])
        with words.units_shown(self.desk.scenario.units if self.desk.scenario else "metric"):
            ui.html(words.filled(texts["water"], {}), sanitize=False, tag="h3")
        self.water = ui.echart(charts.water_chart(), renderer="svg").style(f"height:{60 + 56 * beds}px")
        _named(self.water.props("role=img"), texts["water_label"])
        with ui.element("details"):
            ui.html(texts["table"], sanitize=False, tag="summary")
            self.table = ui.html("", sanitize=False)

    def _year(self, event: events.ValueChangeEventArguments[Any]) -> None:
        if event.value is not None and event.value != self.desk.year:
            self.desk.choose(year=event.value)

    def _zoom(self) -> None:
        wave = self.desk.heat_wave()
        if wave is None:
            ui.notify(TEXTS["season"]["no_wave"])
        else:
            self._show_days(wave)

    def _show_days(self, days: tuple[dt.date, dt.date] | None) -> None:
        """Zoom to some days with a few to each side, or to all."""
        if days is None or self.desk.lines is None:
            ends: dict[str, Any] = {"start": 0, "end": 100}
        else:
            dates, margin = self.desk.lines.dates, dt.timedelta(days=5)
            first, last = str(days[0] - margin), str(days[1] + margin)
            ends = {"startValue": max(first, dates[0]), "endValue": min(last, dates[-1])}
        self.chart.run_chart_method("dispatchAction", {"type": "dataZoom", **ends})

    def _show_values(self) -> None:
        desk, self.is_showing = self.desk, True
        for key in desk.settings:
            self.sliders[key].show(desk.value(key))
            self.numbers[key].set_value(desk.value(key))
        self.year.set_value(desk.year)
        self.heat_on.set_value(desk.heat is not None)
        if desk.heat:
            self.heat_start.set_value(str(desk.heat["start"]))
            self.heat_days.set_value(desk.heat["days"])
            self.heat_warmer.set_value(float(desk.heat["warmer"].split()[0]))
            self.heat_dry.set_value(desk.heat["without_rain"])
        self.is_showing = False

    def _show_lines(self) -> None:
        drawn = {self.chart: charts.season_series(self.desk), self.water: charts.water_series(self.desk)}
        for chart, options in drawn.items():
            if options:
                chart.run_chart_method("setOption", options)
        self.said.set_text(charts.said(self.desk))
        self.pin.set_text(TEXTS["season"]["unpin" if self.desk.pinned else "pin"])

    def _show_season(self) -> None:
        desk = self.desk
        self.refused.set_text(desk.refused)
        self.undo.set_enabled(len(desk.tried) > 1)
        self.redo.set_enabled(bool(desk.undone))
        self.tried.clear()
        latest = desk.tried[-_LATEST:]
        self.tried.props["start"] = len(desk.tried) - len(latest) + 1
        with self.tried:
            for step in latest:
                with ui.element("li"):
                    ui.label(step.said)
                    take = _button(TEXTS["tried"]["take"], partial(desk.take, step), "flat")
                    _named(take.classes("no-print"), f"{TEXTS['tried']['take']}: {step.said}")
        if desk.season is None:
            return
        self.findings.clear()
        with self.findings, words.units_shown(desk.season.scenario.units):
            for cause in causes(desk.season.findings):
                with ui.element("li").classes(f"is-{cause.severity}"):
                    _cause(cause)
            if not desk.season.findings:
                ui.label(TEXTS["findings"]["none"])
            self.words.set_content(_words(desk))
        self.table.set_content(_table(desk))

    def _jobs(self) -> None:
        texts: dict[str, str] = TEXTS["job"]
        ui.label(texts["intro"]).classes("quiet no-print")
        with ui.row().classes("no-print"):
            for verb in VERBS:
                if verb != "away":
                    _button(texts[verb], partial(self._do, verb))
        with ui.row().classes("items-center no-print"):
            start, end = self.desk.days_away(dt.date.today())
            first, last = _day(texts["from"], start), _day(texts["to"], end)
            _button(texts["away"], lambda: self._do("away", start=first.value, end=last.value))
        self.job = ui.column().props(_LIVE)

    def _do(self, verb: str, **options: str | bool) -> None:
        if self.desk.job is not None and self.desk.job.is_running:
            ui.notify(TEXTS["job"]["busy"])
            return
        if verb == "compare":
            options = {"around_heat": self.desk.heat_wave() is not None}
            if not self.desk.compared():
                ui.notify(TEXTS["job"]["nothing"], multi_line=True)
                return
        background_tasks.create(self.desk.do(verb, options))

    def _show_job(self) -> None:
        texts, job = TEXTS["job"], self.desk.job
        self.job.clear()
        if job is None:
            return
        name = texts[job.verb]
        with self.job:
            if job.is_running:
                step = job.steps[-1] if job.steps else texts["starting"]
                ui.label(texts["running"].format(verb=name, number=len(job.steps) + 1, step=step))
                share = job.share
                bar = ui.linear_progress(share or 0.0, show_value=False)
                _named(bar.props("" if share is not None else "indeterminate"), texts["progress"])
                if share is not None:
                    ui.label(words.percent(share))
                ui.button(texts["stop"], on_click=job.stop).props("no-caps dense")
            elif job.is_stopped:
                ui.label(texts["stopped"].format(verb=name))
            elif job.error:
                ui.label(job.error).classes("wrong file")
            else:
                ui.label(texts["done"].format(verb=name, seconds=f"{job.seconds:.0f} s"))
                for sentence in job.sentences:
                    ui.label(sentence)
                for page in job.pages:
                    ui.link(texts["open"].format(file=page), f"/pages/{page}", new_tab=True)


def _cause(cause: Cause) -> None:
    """Show what was found, and what to do about it once where it is the same for several valves or beds."""
    texts, (first, *others) = TEXTS["findings"], cause.findings
    severity = texts[cause.severity]
    if not others:
        _text(texts["line"].format(severity=severity, where=first.where, text=first.text))
        return
    ui.label(texts["kinds"].format(severity=severity, findings=words.count(len(cause.findings), "finding")))
    with ui.element("ul"):
        for finding in cause.findings:
            with ui.element("li"):
                _text(f"{finding.where}: {finding.message}")
    _text(cause.cure)


def _words(desk: Desk) -> str:
    """Explain the words that stand on the page and that a layman can't know."""
    assert desk.season is not None
    seen = [TEXTS["season"]["left"], *TEXTS["season"]["heads"], charts.said(desk)]
    seen += [setting.label for setting in desk.settings.values()] + [finding.text for finding in desk.season.findings]
    listed = list(words_used("</style>" + html.escape(" ".join(map(str, seen)))))
    return pages.render("words.html.j2", words=listed, fixed=pages.texts())


@shown
def _table(desk: Desk) -> str:
    """What the charts draw, as a table."""
    season = desk.season
    assert season is not None
    rows = []
    for key, bed in season.totals["beds"].items():
        water_left = season.beds[key]["water_left_mm"].where(season.beds[key]["growing"] > 0)
        lowest = "–", "–"
        if water_left.notna().any():
            lowest = words.bare(float(water_left.min()), "depth", 1), words.day_said(f"{water_left.idxmin():%Y-%m-%d}")
        depths = (words.bare(bed[name], "depth", 0) for name in ("irrigation_growing_mm", "net_demand_mm"))
        short, litres = words.number(bed["driest_quarter"]["stress_days"]), words.bare(bed["litres"], "volume", 0)
        rows.append([key.replace("/", ", "), *lowest, short, *depths, litres])
    head = "".join(f'<th scope="col">{html.escape(text)}</th>' for text in words.filled(TEXTS["season"]["heads"], {}))
    body = "".join("<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f'<div class="scroll"><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'
