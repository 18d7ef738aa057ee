"""The desk: what sliders change, the quick run beside the replay, saving with comments kept, undo, a broken file."""

from __future__ import annotations

import asyncio
import datetime as dt
import json
import os
import tomllib
from dataclasses import replace

import numpy as np
import pytest

from panbudget.errors import ScenarioError
from panbudget.page import charts, jobs
from panbudget.page import lines as drawn
from panbudget.page.desk import STATE, Desk
from panbudget.scenario.garden import load_scenario
from panbudget.season.replay import replay
from panbudget.season.years import in_year
from panbudget.studies.compare import compare
from tests.garden_file import write_garden, years_csv

WEATHER = years_csv(2020, 2021)


@pytest.fixture
def desk(tmp_path):
    return Desk(write_garden(tmp_path, WEATHER, start="2021-07-01", end="2021-07-20"))


async def _computed(desk, wanted="band"):
    """Let the desk work until it has told of something."""
    heard = asyncio.Event()
    desk.listen(0, lambda what: heard.set() if what == wanted else None)
    work = asyncio.create_task(desk.work())
    await asyncio.wait_for(heard.wait(), 30)
    desk.leave(0)
    work.cancel()


def test_the_quick_lines_are_those_of_the_replay(desk):
    desk.set("upper/pan", 70.0)
    garden, weather = desk.now(), desk.years[2021]
    season = replay(garden, weather=weather)
    quick, whole = drawn.quick_lines(drawn.days_now(garden, weather)), drawn.season_lines(season)
    for key in ("left", "openings"):
        for name, values in getattr(whole, key).items():
            np.testing.assert_allclose(getattr(quick, key)[name], values, atol=1e-9)
    assert quick.litres == pytest.approx(whole.litres)
    assert quick.supplied == pytest.approx(whole.supplied)
    assert quick.dates == whole.dates
    assert garden.controller["upper"].pan.vessels[0].diameter == pytest.approx(0.7)


def test_what_is_given_while_nothing_grows_is_no_supply_and_no_line(tmp_path):
    """As in the report; squash that is cleared in July would else have more than it needed by the end of September."""
    described = write_garden(tmp_path, years_csv(2021, 2021))
    kept = [line for line in described.read_text(encoding="utf-8").splitlines() if not line.startswith("plants")]
    described.write_text("\n".join([*kept, 'plants = "lettuce"', "planted = 2021-05-01"]), encoding="utf-8")
    season = replay(described)
    (bed,), (table,) = season.totals["beds"].values(), season.beds.values()
    garden = season.scenario
    for found in (drawn.season_lines(season), drawn.quick_lines(drawn.days_now(garden, season.weather))):
        assert found.supplied["upper/tomatoes"] == pytest.approx(bed["irrigation_growing_mm"])
        assert found.supplied["upper/tomatoes"] < bed["irrigation_mm"]
        assert np.isnan(found.left["upper/tomatoes"]).tolist() == (table["growing"] == 0).tolist()
    assert charts._rounded(np.array([25.4, np.nan])) == [25.4, None]


def test_each_setting_changes_its_own_part_of_the_garden(desk):
    assert {key: setting.value for key, setting in desk.settings.items()} == {
        "upper/pan": 50.0,
        "upper/refill": 2.0,
        "upper/swing": 0.9,
        "upper/tomatoes/emitters": 30.0,
    }
    for key, value in (("upper/refill", 1.5), ("upper/swing", 0.6), ("upper/tomatoes/emitters", 20.0)):
        desk.set(key, value)
    upper = desk.now().controller["upper"]
    assert (upper.valve.refill.flow, upper.valve.swing_kg, upper.bed["tomatoes"].emitters.count) == (1.5, 0.6, 20)
    assert upper.valve.refill.at == 100.0  # the rest stays
    desk.set("upper/refill", 2.0)  # as the file has it: no change any more
    assert [*desk.values] == ["upper/swing", "upper/tomatoes/emitters"]
    for nonsense in (0.0, -1.0, None, float("inf")):
        desk.set("upper/swing", nonsense)
    assert desk.value("upper/swing") == 0.6
    desk.set("upper/tomatoes/emitters", 20.5)
    assert desk.value("upper/tomatoes/emitters") == 20.0


def test_any_other_vessels_are_moved_by_their_surface(tmp_path):
    path = write_garden(tmp_path, WEATHER)
    path.write_text(
        path.read_text().replace('{ diameter = "50 cm" }', '{ length = "60 cm", width = "50 cm", count = 2 }')
    )
    desk = Desk(path)
    assert (desk.settings["upper/pan"].unit, desk.settings["upper/pan"].value) == ("m^2", 0.6)
    desk.set("upper/pan", 0.45)
    assert desk.now().controller["upper"].pan.area == pytest.approx(0.45)


def test_the_band_holds_the_described_season_and_stops_when_told(desk):
    days = drawn.days_now(desk.now(), desk.years[2021])
    band = drawn.band_of(days, 4)
    assert band is not None and band.draws == 4
    described = drawn.quick_lines(days)
    low, left, high = (part["upper/tomatoes"] for part in (band.low, described.left, band.high))
    assert (low <= left).all() and (left <= high).all()
    assert (low < high).any()
    assert band.litres[0] < sum(described.litres.values()) < band.litres[1]
    answers = iter([True, True, False])
    assert drawn.band_of(days, 4, going=lambda: next(answers)) is None


def test_what_was_tried_is_listed_and_undone(desk):
    async def tries():
        await _computed(desk)
        desk.set("upper/pan", 80.0)
        await _computed(desk)

    asyncio.run(tries())
    first, second = desk.tried
    assert first.said.startswith("as the file has it; 2021: ")
    assert second.said.startswith("Pan, diameter 80 cm; 2021: ")
    assert desk.band is not None and desk.season is not None
    desk.undo()
    assert (desk.values, len(desk.tried)) == ({}, 1)
    desk.redo()
    assert desk.values == {"upper/pan": 80.0}
    desk.take(first)
    assert desk.values == {}
    desk.redo()
    desk.choose(heat={"start": dt.date(2021, 7, 5), "days": 4, "warmer": "6 K", "without_rain": True})
    desk._remember()
    again = Desk(desk.path)  # as after a restart
    assert (again.values, again.year, again.heat, again.tried) == (desk.values, 2021, desk.heat, desk.tried)
    assert again.tried[1] == second
    again.take(replace(second, values={"gone/pan": 9.0}, year=1999))  # of a garden that has changed
    assert (again.values, again.year) == ({}, 2021)
    whole = (desk.folder / STATE).read_text()
    other = whole.replace('"upper/pan": "cm"', '"upper/pan": "in"')  # the garden's units have been changed since
    for nonsense in (other, "no json", '{"tried": [], "now": {}}', json.dumps({"tried": [], "steps": {}, "now": 3})):
        (desk.folder / STATE).write_text(nonsense)
        assert Desk(desk.path).tried == []
    for part, nonsense in (("year", []), ("heat", {"start": "2021-07-05", "days": -1, "warmer": "6 K"})):
        state = json.loads(whole)
        for step in (*state["tried"], state["now"]):
            step[part] = nonsense
        (desk.folder / STATE).write_text(json.dumps(state))
        again = Desk(desk.path)
        assert (again.tried, again.values, again.heat, again.now().what_if.heat) == ([], {}, None, None)


def test_how_much_of_a_job_is_done_is_told_by_its_parts_or_by_its_last_run(desk):
    job = jobs.Job(desk.path, "size", {}, {}, 2021)
    assert job.share is None
    job.usual, job.steps = 3, ["begun"]
    assert job.share == 0.25
    job.steps = ["more", *["steps"] * 8]
    assert job.share == 0.99  # never quite
    job.steps = ["upper: 5 of 20 parts"]
    assert job.share == pytest.approx(0.2)


def test_impossible_settings_are_refused_in_words_and_the_rest_goes_on(desk):
    shown = []
    desk.listen(1, lambda what: shown.append(desk.refused) if what == "season" else None)
    desk.set("upper/swing", 60.0)  # more than the pan holds
    asyncio.run(_computed(desk, "season"))
    assert "swing" in desk.refused
    desk.set("upper/swing", 0.9)
    asyncio.run(_computed(desk))
    assert [bool(text) for text in shown] == [True, False]  # gone as soon as the next season is shown


def test_another_year_and_a_made_up_heat_wave(desk):
    assert [*desk.years] == [2020, 2021]
    desk.choose(year=2020)
    assert desk.now().season.start == dt.date(2020, 7, 1)
    assert desk.in_season(dt.date(2021, 7, 5)) == dt.date(2020, 7, 5)
    assert desk.in_season(dt.date(2021, 9, 5)) == dt.date(2021, 9, 5)  # on no day of the season
    assert desk.days_away(dt.date(2021, 7, 5)) == (dt.date(2020, 7, 5), dt.date(2020, 7, 19))
    assert desk.days_away(dt.date(2021, 7, 15)) == (dt.date(2020, 7, 15), dt.date(2020, 7, 20))
    assert desk.days_away(dt.date(2021, 9, 5)) == (dt.date(2020, 7, 3), dt.date(2020, 7, 17))
    cool = drawn.quick_lines(drawn.days_now(desk.now(), desk.years[2020]))
    desk.choose(heat={"start": dt.date(2020, 7, 5), "days": 7, "warmer": "8 K"})
    hot = drawn.quick_lines(drawn.days_now(desk.now(), desk.years[2020]))
    assert sum(hot.litres.values()) > sum(cool.litres.values())
    asyncio.run(_computed(desk, "season"))
    assert desk.heat_wave() == (dt.date(2020, 7, 5), dt.date(2020, 7, 11))
    assert desk.tried[-1].said.startswith("as the file has it; 2020; with a made-up heat wave: ")


def test_a_pinned_season_is_drawn_beside_the_next(desk):
    asyncio.run(_computed(desk))
    assert charts.water_series(desk)["legend"]["data"] == ["supplied", "needed"]
    desk.pin()
    assert charts.water_series(desk)["legend"]["data"] == ["supplied", "needed", "supplied, pinned"]
    assert desk.pinned is not None and desk.pinned.what == "as the file has it"
    series = {part["id"]: part["data"] for part in charts.season_series(desk)["series"]}
    assert series["pinned upper/tomatoes"] == series["left upper/tomatoes"]
    assert len(series["wide upper/tomatoes"]) == 20
    assert "Pinned (as the file has it; 2021): " in charts.said(desk)
    options = charts.season_chart(desk)
    assert {part["id"] for part in options["series"]} == {*series}
    desk.pin()
    assert desk.pinned is None


def test_a_pinned_setting_goes_along_to_another_year_and_under_a_made_up_heat_wave(desk):
    asyncio.run(_computed(desk))
    desk.pin()
    desk.set("upper/pan", 70.0)
    heat = {"start": dt.date(2020, 7, 5), "days": 7, "warmer": "8 K"}
    for wanted in ("lines", "season"):  # the quick run, and the replay
        desk.choose(year=2020 if wanted == "lines" else 2021)
        desk.choose(year=2020, heat=heat)
        asyncio.run(_computed(desk, wanted))
        with_pin = charts.said(desk)
        assert "Pinned (as the file has it; 2020; with a made-up heat wave): " in with_pin
        assert desk.lines.dates == desk.pinned.lines.dates
        assert sum(desk.pinned.lines.litres.values()) < sum(desk.lines.litres.values())
    desk.set("upper/pan", 50.0)
    asyncio.run(_computed(desk, "season"))
    assert desk.pinned.lines.litres == desk.lines.litres
    assert desk.pinned.lines.dates == desk.lines.dates
    np.testing.assert_array_equal(desk.pinned.lines.left["upper/tomatoes"], desk.lines.left["upper/tomatoes"])


def test_settings_are_saved_with_comments_kept(desk):
    before = desk.text().replace('swing = "0.9 kg"', 'swing = "0.9 kg"   # weighed in May')
    desk.replace_text(before)
    desk.set("upper/swing", 0.7)
    desk.set("upper/pan", 60.0)
    desk.save_variant("big pan")
    assert desk.text().startswith(before)
    assert desk.scenario is not None and [*desk.scenario.variant] == ["big pan"]
    changed = load_scenario(desk.path, "big pan")
    assert changed.controller["upper"].valve.swing_kg == 0.7
    with pytest.raises(ScenarioError, match="is taken"):
        desk.save_variant("big pan")
    desk.save_into_file()
    assert 'swing = "0.7 kg"   # weighed in May' in desk.text()
    assert desk.values == {}
    assert load_scenario(desk.path).controller["upper"].pan.vessels[0].diameter == pytest.approx(0.6)


def test_two_weighings_give_way_to_a_swing(desk):
    test = 'set_up_test = { falls_at = "7.4 kg", rises_at = "6.5 kg" }'
    desk.replace_text(desk.text().replace('swing = "0.9 kg"', test))
    desk.set("upper/swing", 0.5)
    desk.save_into_file()
    valve = tomllib.loads(desk.text())["controller"]["upper"]["valve"]
    assert valve["swing"] == "0.5 kg" and "set_up_test" not in valve


def test_a_file_of_another_system_is_saved_into(desk):
    """A byte-order mark and line ends of two characters are read; the mark goes, the line ends stay."""
    desk.path.write_bytes(b"\xef\xbb\xbf" + desk.text().replace("\n", "\r\n").encode())
    desk.load()
    desk.set("upper/swing", 0.5)
    desk.save_variant("small")
    desk.save_into_file()
    content = desk.path.read_bytes()
    assert b'swing = "0.5 kg"' in content and content.count(b"\r\n") > 10
    assert load_scenario(desk.path, "small").controller["upper"].valve.swing_kg == 0.5


def test_a_broken_file_is_shown_with_its_message_and_mended(desk):
    sound = desk.text()
    desk.replace_text(sound.replace('"0.9 kg"', '"0.9 kPa"'))
    assert desk.state == "broken"
    assert "is a pressure" in desk.error
    assert "is a pressure" in desk.wrong_with(desk.text())
    assert "line 1, where the file ends: this can't be read as TOML" in desk.wrong_with("title =")
    assert desk.wrong_with(sound) == ""
    desk.replace_text(sound)
    assert (desk.state, desk.error) == ("ready", "")


def test_weather_that_is_not_there_is_told_too(tmp_path):
    path = write_garden(tmp_path, WEATHER)
    (tmp_path / "weather.csv").unlink()
    desk = Desk(path)
    assert desk.state == "broken" and "there is no such file" in desk.error
    assert Desk(tmp_path / "nowhere" / "garden.toml").state == "new"


@pytest.mark.parametrize("make", [os.mkdir, getattr(os, "mkfifo", os.mkdir)])
def test_a_folder_or_a_pipe_in_place_of_the_gardens_file_is_told(tmp_path, make):
    """The page of a folder was an error of the server, and that of a pipe never came."""
    make(tmp_path / "garden.toml")
    desk = Desk(tmp_path / "garden.toml")
    assert (desk.state, desk.text()) == ("broken", "") and str(desk.path) in desk.error


def test_a_job_does_what_the_command_does_with_the_settings_laid_over(desk, capsys):
    desk.set("upper/pan", 80.0)
    desk.choose(year=2020, heat={"start": dt.date(2020, 7, 5), "days": 4, "warmer": "6 K", "without_rain": True})
    asked = {"path": str(desk.path), "verb": "replay", "options": {}, "year": 2020, "overlay": desk.overlay()}
    jobs._work(json.loads(json.dumps(asked | {"heat": desk.heat}, default=str)))
    assert '"sentences": [' in capsys.readouterr().out
    totals = json.loads((desk.folder / "replay" / "season.json").read_text(encoding="utf-8"))
    alone = replay(desk.now(), weather=desk.years[2020]).totals
    assert totals["season"] == alone["season"]
    assert totals["controllers"] == json.loads(json.dumps(alone["controllers"]))
    assert jobs.Job(desk.path, "replay", {}, {}, 2020).pages == ["replay/report.html"]


VARIANTS = """
[variant.wide]
site.elevation = "20 m"
controller.upper.pan.vessels = [{ diameter = "70 cm" }]
controller.upper.valve = { swing = "1 kg" }
[variant.square]
controller.upper.pan.vessels = [{ area = "0.3 m^2" }]
"""


def test_a_variants_settings_are_taken_and_what_cant_be_set_here_is_named(desk):
    desk.replace_text(desk.text() + VARIANTS)
    assert desk.take_variant("wide") == ["site.elevation"]
    assert desk.values == {"upper/pan": 70.0, "upper/swing": 1.0}
    assert desk.take_variant("square") == ["controller.upper.pan.vessels"]
    assert desk.values == {}  # the slider is a diameter


def test_what_is_pinned_and_what_is_set_are_compared_in_the_year_and_heat_wave_shown(desk, capsys):
    asyncio.run(_computed(desk, "season"))
    assert desk.compared() == {}
    desk.set("upper/pan", 70.0)
    desk.pin()
    assert [*desk.compared()] == ["as set"]  # the same is pinned
    desk.set("upper/pan", 80.0)
    heat = {"start": dt.date(2020, 7, 5), "days": 4, "warmer": "6 K", "without_rain": True}
    desk.choose(year=2020, heat=heat)
    asked = {"path": str(desk.path), "verb": "compare", "options": {"around_heat": True}, "year": 2020, "heat": heat}
    jobs._work(json.loads(json.dumps(asked | {"overlay": desk.compared()}, default=str)))
    assert '"sentences": [' in capsys.readouterr().out
    wider = {
        name: {"controller": {"upper": {"pan": {"vessels": [{"diameter": across}]}}}}
        for name, across in (("pinned", "70 cm"), ("as set", "80 cm"))
    }
    assert desk.scenario is not None
    garden = in_year(desk.scenario, 2020).changed({"what_if": {"heat": heat}, "variant": wider})
    compare(garden, ["as described", "pinned", "as set"], around_heat=True).write(desk.folder / "alone")
    for name in ("compare.json", "compare.csv"):
        assert (desk.folder / "compare" / name).read_bytes() == (desk.folder / "alone" / name).read_bytes()
    assert jobs.Job(desk.path, "compare", {}, {}, 2020).pages == ["compare/compare.html"]
