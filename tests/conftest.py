"""Fixtures: a small garden on disk."""

from __future__ import annotations

import copy
import datetime as dt
import functools
import gc
import os
from pathlib import Path

import numpy as np
import pytest

from panbudget.engine.compiled import COMPILER_VARIABLE
from panbudget.scenario.garden import scenario_from
from panbudget.studies.away import changes
from panbudget.weather.clean import WeatherFile, open_weather
from tests.scenario.test_garden import SOUND
from tests.small_weather import weather_csv


def garden_in(folder, overlay=None, *, weather=None, days=31):
    """Make a scenario on a weather table of its own in a folder, with an overlay laid over it."""
    text = weather if weather is not None else weather_csv(days)
    (folder / "weather.csv").write_text(text, encoding="utf-8")
    description = copy.deepcopy(SOUND)
    rows = [line for line in text.splitlines() if line[:1].isdigit()]
    description["season"] = {
        "start": dt.date.fromisoformat(rows[0][:10]),
        "end": dt.date.fromisoformat(rows[:3660][-1][:10]),  # ten years at most
    }
    description["controller"]["upper"]["pan"]["evaporation"] = "measured"
    scenario = scenario_from(description, folder / "garden.toml")
    return scenario.changed(overlay) if overlay else scenario


@pytest.fixture
def make_garden(tmp_path):
    """Return `garden_in` of the test's folder."""
    return functools.partial(garden_in, tmp_path)


@pytest.fixture(scope="module")
def make_shared_garden(tmp_path_factory):
    """Return `garden_in` of a new folder for the tests of a module, which only look at what is made of it."""
    return lambda *args, **options: garden_in(tmp_path_factory.mktemp("garden"), *args, **options)


@pytest.fixture(autouse=True)
def few_draws(monkeypatch):
    """What is judged over draws is judged over two of them, and margins are looked for at few factors."""
    monkeypatch.setattr("panbudget.studies.ranges.DRAWS", {True: 2, False: 2})
    monkeypatch.setattr("panbudget.studies.fit.tub._DRAWS", 40)
    monkeypatch.setattr("panbudget.studies.fit.tub._TRUTHS", 2)
    monkeypatch.setattr("panbudget.studies.fit.tub._EXPOSURES", 3)
    monkeypatch.setattr("panbudget.studies.ranges.COARSE", np.array([0.4, 0.9, 1.0, 1.1, 2.0]))


@pytest.fixture
def few_changes(monkeypatch):
    """`away` tries more emitters, what is done by hand, and one change more."""
    data = changes._DATA
    monkeypatch.setitem(data, "changes", data["changes"][:1])


# what the imports made stays; to walk through it again and again takes a tenth of the suite's time
gc.freeze()
gc.set_threshold(50_000, 20, 100)
# compiling takes longer than all that the tests here would gain; `longer` compiles
os.environ.setdefault(COMPILER_VARIABLE, "off")


class KeptFile(WeatherFile):
    """A weather file that gives the same days once."""

    @functools.cache  # noqa: B019 the files of a session are few
    def over(self, start=None, end=None):
        return super().over(start, end)

    __hash__ = object.__hash__
    __eq__ = object.__eq__


_READ = {}


def read_once(path, site, *, fallbacks=(), **options):
    """Read a file of the same name, bytes and options once a session: most tests look at what is made of one weather."""
    groups = [path, *(part.path for part in fallbacks)]
    paths = [Path(each) for group in groups for each in ([group] if isinstance(group, str | Path) else group)]
    try:
        content = tuple((each.name, each.read_bytes()) for each in paths)
    except OSError:  # told by the reader itself
        return open_weather(path, site, fallbacks=fallbacks, **options)
    key = content, repr((site, fallbacks, options)).replace(str(paths[0].parent), "")
    if key not in _READ:
        file = open_weather(path, site, fallbacks=fallbacks, **options)
        _READ[key] = KeptFile(file.file, file.rules, file.others)
    return _READ[key]


@pytest.fixture(autouse=True)
def weather_read_once(monkeypatch):
    """Weather that a scenario names is read once a session, whatever garden it waters."""
    monkeypatch.setattr("panbudget.weather.of_scenario.open_weather", read_once)


@pytest.fixture(autouse=True)
def figures_in_outline(request, monkeypatch):
    """Drawing is most of a report's time: but for tests marked ``draws``, figures and papers are written and not drawn."""
    element = '<svg xmlns="http://www.w3.org/2000/svg"></svg>'

    def outline(drawn, target, **options):
        target.write_bytes(b"\x89PNG\r\n\x1a\n") if isinstance(target, Path) else target.write(element)

    def outlines(draws, _, folder=None):
        if folder is not None:
            folder.mkdir()
            for name in draws:
                (folder / f"{name}.png").write_bytes(b"\x89PNG\r\n\x1a\n")
                (folder / f"{name}.svg").write_text(element, encoding="utf-8")
        return dict.fromkeys(draws, element)

    if "draws" not in request.keywords:
        monkeypatch.setattr("panbudget.reports.writing.draw", outlines)
        monkeypatch.setattr("panbudget.reports.canvas._save", outline)
        for sheet in ("setup.page.setup_pdf", "statement.page.statement_pdf", "today.sheet.sheet_pdf"):
            monkeypatch.setattr(f"panbudget.reports.{sheet}", lambda *_: b"%PDF")
