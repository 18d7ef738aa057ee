"""Each past failure is a case: what once hung, took all memory, ended in a traceback, lost or passed in silence."""

from __future__ import annotations

import datetime as dt
import json
import os
import time
from pathlib import Path

import pytest

from panbudget import fit
from panbudget.engine import compiled as engine
from panbudget.errors import OutputError, PanbudgetError, Problem, ReadingsError, ScenarioError, WeatherError
from panbudget.files import read_toml, toml_of, write_whole
from panbudget.page.desk import STATE, Desk
from panbudget.reports.folders import new_folder
from panbudget.scenario.garden import scenario_from
from panbudget.studies.statement.meter import read_readings
from panbudget.studies.sweep.gridded.cells import copy_folder
from panbudget.studies.sweep.run import sweep
from panbudget.studies.sweep.site import places_in_table
from panbudget.weather import read_weather
from panbudget.weather.services.asking import Service, ask
from tests.cli.test_main import run
from tests.garden_file import write_garden, years_csv
from tests.robustness.test_values import BED, refusal, with_values
from tests.scenario.test_garden import SOUND
from tests.studies.sweep.district import contents, make_plan
from tests.weather.sites import Site

ROOT = Path(__file__).resolve().parents[2]
WEATHER = years_csv(2021, 2021)


def test_thousands_of_unknown_keys_are_counted_and_ten_are_named():
    """For each, what it may have meant was searched for: 37 s."""
    began = time.process_time()
    with pytest.raises(ScenarioError) as caught:
        scenario_from({**SOUND, **{f"k{index}": 1 for index in range(9000)}})
    assert time.process_time() - began < 5.0
    assert [problem.where for problem in caught.value.problems] == [*(f"k{index}" for index in range(10)), ""]
    assert str(caught.value).splitlines()[-1].startswith("scenario.toml: has 8,990 more keys that are unknown")
    with pytest.raises(ScenarioError) as caught:
        scenario_from({**SOUND, **{f"k{index}": 1 for index in range(10)}})
    assert len(caught.value.problems) == 10


def test_too_many_keys_are_named_by_their_first(tmp_path):
    (tmp_path / "g.toml").write_text("".join(f"k{index} = 1\n" for index in range(10_001)), encoding="ascii")
    with pytest.raises(
        ScenarioError, match="has 10,001 keys, which begin with k0, k1, .*, k9; expected: at most 10,000"
    ):
        read_toml(tmp_path / "g.toml")


@pytest.mark.parametrize("days", [[1e9] * 4, [1e300, 1.0, 1.0, 1.0]])
def test_degree_days_of_no_plant(days):
    """They were laid out one by one."""
    assert "stages_gdd[0]" in refusal({BED + "plants": {"name": "tomato", "stages_gdd": days}})


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="a folder's rights are those of Unix")
def test_copies_of_grids_stand_only_where_nobody_else_writes(tmp_path, monkeypatch):
    monkeypatch.setenv("PANBUDGET_CACHE", str(tmp_path))
    assert copy_folder(b"grid").parent == tmp_path / "cells"
    for rights in (0o720, 0o702):
        (tmp_path / "cells").chmod(rights)
        assert copy_folder(b"grid") is None


@pytest.mark.parametrize("level", ["-1 mm", "141 mm"])
def test_a_level_that_no_pan_can_have_is_refused_with_the_pans_depth(level, capsys):
    """Below the floor it ended as a mistake of ours."""
    demo = ROOT / "scenarios" / "thirsty-bed.toml"  # a dish 14 cm deep
    code, out, err = run(capsys, "today", demo, "--day", "2025-05-03", f"--level={level}")
    assert (code, out) == (2, "")
    assert f"{level} can't be in a pan 140 mm deep" in err


def test_a_broken_files_text_is_quoted_by_its_beginning_and_its_end():
    """Messages of tens of thousands of letters."""
    longest = Problem("x", "header", "'" + "k" * 991 + "'").sentence()
    assert len(longest) == 1000 and "…" not in longest
    cut = Problem("x", "header", "'" + "k" * 992 + "'", cure="rename it").sentence()
    assert cut.startswith("header 'kkk") and cut.endswith("kkk'; rename it") and len(cut) < 930


def test_a_sweep_whose_scheduler_does_not_answer_makes_and_clears_nothing(tmp_path):
    """It left an empty folder, and with `overwrite` an earlier sweep was gone."""
    pytest.importorskip("distributed")
    plan, out = make_plan(tmp_path, places=1, last=2020), tmp_path / "out"
    with pytest.raises(PanbudgetError, match="does not answer"):
        sweep(plan, out, scheduler="tcp://127.0.0.1:9")
    assert not out.exists()
    sweep(plan, out, processes=1, compiler=False)
    before = contents(out)
    with pytest.raises(PanbudgetError, match="does not answer"):
        sweep(plan, out, scheduler="tcp://127.0.0.1:9", overwrite=True)
    assert contents(out) == before


def test_a_spread_of_more_seasons_than_are_run_is_refused(tmp_path, capsys):
    """It asked for all memory."""
    demo = ROOT / "scenarios" / "thirsty-bed.toml"
    code, out, err = run(capsys, "replay", demo, "--out", tmp_path / "out", "--spread", "20001")
    assert (code, out) == (2, "")
    assert "--spread 20001 is more seasons than are ever run; 20000 at most" in err


@pytest.mark.parametrize("state", ["pipe", "[" * 100_000, "steps", "large"])
def test_what_a_page_kept_is_left_aside_if_it_is_no_state(state, tmp_path):
    """A pipe was waited for, deep nesting and numbers without end went through."""
    desk = Desk(write_garden(tmp_path, WEATHER, start="2021-07-01", end="2021-07-20"))
    desk.set("upper/pan", 70.0)
    desk._keep_state()
    path = tmp_path / STATE
    kept = path.read_text()
    if state == "pipe":
        path.unlink()
        os.mkfifo(path)
    else:
        others = {
            "steps": kept.replace('"steps": {}', '"steps": {"replay": Infinity}'),
            "large": kept + " " * 2_000_000,
        }
        path.write_text(others.get(state, state))
    assert Desk(desk.path).values == {}


@pytest.mark.parametrize(
    ("folder", "reason"),
    [("file", "Not a directory"), ("x" * 300, "File name too long"), ("not-there/" + "x" * 300, "File name too long")],
)
def test_a_page_is_opened_where_a_garden_can_be(folder, reason, tmp_path):
    """A name too long was a mistake of ours, and a device was served."""
    pytest.importorskip("nicegui")
    from panbudget.page.server import garden_in

    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match=f"can't be used \\({reason}\\); choose another folder"):
        garden_in(tmp_path / folder)
    for name in (".", "not-there", "garden.toml"):
        assert garden_in(tmp_path / name).name == "garden.toml"
    # it was said not to exist, and was written over
    (tmp_path / "garden.toml").write_text("mine", encoding="utf-8")
    assert garden_in(tmp_path / "missing" / "..").exists()


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="a mask of rights is Unix's")
def test_a_mask_of_all_rights_leaves_folders_that_can_be_cleared_again(tmp_path):
    """Half a folder was left, and a traceback in its place."""
    masked = os.umask(0o777)
    try:
        with new_folder(tmp_path / "out", "replay", overwrite=False) as made:
            assert [part.stat().st_mode & 0o700 for part in (made, made.parent)] == [0o700, 0o700]
    finally:
        os.umask(masked)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_folder_that_can_not_be_written_is_told_when_the_page_opens(tmp_path, monkeypatch):
    """Nothing was said, and changes were lost."""
    pytest.importorskip("nicegui")
    from panbudget.page import server

    garden = tmp_path / "garden" / "garden.toml"  # neither is there yet
    assert server.unkept(garden) is None
    asked = []

    def refused(dir):
        asked.append(dir)
        raise PermissionError

    monkeypatch.setattr(server.tempfile, "mkdtemp", refused)
    assert server.unkept(garden).startswith(f"{garden.parent} can't be written by you")
    assert asked == [tmp_path]


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="Linux alone has it")
def test_a_kernels_folder_in_which_nothing_can_be_made_is_told_when_the_page_opens():
    """Its permissions let the one who may do all write, and nothing was said."""
    pytest.importorskip("nicegui")
    from panbudget.page import server

    assert server.unkept(Path("/proc/garden/garden.toml")).startswith("/proc/garden can't be written by you")


def test_a_key_of_too_many_levels_is_refused_before_it_is_parsed():
    """One of 100,000 took minutes."""
    deepest = ".".join("a" * 50)
    assert toml_of(f"{deepest} = 1.5\nb = [{'0.5, ' * 100}]".encode(), "g.toml")
    for text in (f"{deepest}.a = 1", f"[{deepest}.a]", f"a = {{ {'.'.join('a' * 100_000)} = 1 }}"):
        with pytest.raises(ScenarioError, match="nested deeper than 50 levels"):
            toml_of(text.encode(), "g.toml")


def test_many_names_on_a_line_are_no_nested_keys():
    """Each dot in their texts counted as a level. Keys after a text of many lines are counted all the same."""
    names = ", ".join(f'"station-{year}.csv"' for year in range(5000))
    assert len(toml_of(f"file = [{names}] # {'.' * 60}".encode(), "g.toml")["file"]) == 5000
    assert toml_of(f'a = \'it is {"." * 60}\'\nb = """\ndon\'t {". , " * 60}\n"""'.encode(), "g.toml")
    deep = ".".join("a" * 51)
    for text in (
        f"x = ['', \"\", {{ {deep} = 1 }}]",
        f'x = ["""\ndon\'t""", {{ {deep} = 1 }}]',
        f"a . 'b.c' . {deep} = 1",
    ):
        with pytest.raises(ScenarioError, match="nested deeper than 50 levels"):
            toml_of(text.encode(), "g.toml")
    began = time.process_time()
    with pytest.raises(ScenarioError):
        toml_of(b'a = "' + b'\\"' * 200_000 + b"." * 60, "g.toml")
    assert time.process_time() - began < 2.0


@pytest.mark.parametrize(("last", "refused"), [(210, False), (211, True)])
def test_a_planting_lasts_as_long_as_sugar_cane_at_most(last, refused):
    """FAO-56 (1998), table 11, virgin sugar cane in the tropics, 75/105/330/210 days: from memory."""
    description = with_values({BED + "plants": {"name": "tomato", "stages": [75, 105, 330, last]}})
    if refused:
        with pytest.raises(ScenarioError, match=r"stages = \[.*\] comes to 721 days; expected: at most 720 days"):
            scenario_from(description)
    else:
        assert scenario_from(description)


def test_a_height_above_any_garden_is_told_with_the_highest_there_is():
    """It was told with the longest pipe's length."""
    assert "must be at most 6000 m; expected: height above sea" in refusal({"site/elevation": "120 km"})
    assert scenario_from(with_values({"site/elevation": "6 km"})).site.elevation == 6000.0


def test_a_variant_has_not_the_name_of_a_file():
    """It was laid over in the file's place, and nothing said."""
    assert "variant.v.toml has the name of a file of changes" in refusal({"variant": {"v.toml": {"title": "x"}}})


def test_a_variant_that_changes_nothing_is_compared(tmp_path, capsys):
    """It ended in a traceback: no row for its changes."""
    garden = write_garden(tmp_path, WEATHER, more="[variant.same]\n[variant.other]\ntitle = 'x'\n")
    options = ("--variant", "same", "--variant", "other", "--out", tmp_path / "o")
    code, _, err = run(capsys, "compare", garden, *options)
    assert code == 0, err
    assert ">nothing<" in (tmp_path / "o" / "compare.html").read_text(encoding="utf-8")


def test_an_address_that_is_none_is_refused_in_words():
    """Half a bracket was a bug of ours."""
    with pytest.raises(WeatherError, match="its address http://\\[::1/ can't be used"):
        ask(Service("power", "http://[::1/"), {})


@pytest.mark.parametrize("address", ["http://", "https://:80/"])
def test_an_address_without_a_host_is_refused_for_what_it_is(address):
    """An answer that sends on was blamed."""
    with pytest.raises(WeatherError, match=f"its address {address} can't be used \\(it names no host\\)"):
        ask(Service("power", address), {})


@pytest.mark.parametrize("proxy", ["rubbish://me:secret@x", "socks://x:1080", "socks5://x:1080"])
def test_a_proxy_of_another_kind_is_refused_in_words(monkeypatch, proxy):
    monkeypatch.setenv("all_proxy", proxy)
    with pytest.raises(
        WeatherError, match=r"a proxy of this computer's settings \(.*x.*\); expected: .* HTTPS_PROXY"
    ) as refused:
        ask(Service("power", "http://weather.invalid"), {})
    assert "secret" not in str(refused.value)


@pytest.mark.parametrize("given", ["file", "name"])
def test_a_variant_whose_place_the_weather_can_not_be_of_is_blamed(tmp_path, capsys, given):
    """The weather file alone was."""
    change = "site.latitude = -75.0\n"
    garden = write_garden(tmp_path, WEATHER, more=f"[variant.high]\n{change}")
    (tmp_path / "v.toml").write_text(change, encoding="utf-8")
    name, blamed = (tmp_path / "v.toml",) * 2 if given == "file" else ("high", f"{garden}: variant.high")
    code, _, err = run(capsys, "check", garden, "--variant", name)
    assert code == 2
    assert err.startswith(f"{blamed}: ") and "from a clear sky there" in err


def _changed(text, day, change):
    """Return a table in which the row of a day, or the rows from it on, are changed cell by cell."""
    lines = text.splitlines()
    return (
        "\n".join(
            ",".join(change(line.split(","))) if line[:10] >= day and line[0].isdigit() else line for line in lines
        )
        + "\n"
    )


SAMPLE = (ROOT / "weather_samples" / "terraces-2025.csv").read_text(encoding="utf-8")
DAY = "2025-07-08"
DAMAGED = {
    "a cell lost and an empty one at the end": (
        lambda: _changed(SAMPLE, DAY, lambda row: [*row[:3], *row[4:], ""] if row[0] == DAY else row),
        "line 134 looks shifted: its cells from rh_max on are as those of the columns after",
    ),
    "inches from a day on": (
        lambda: _changed(SAMPLE, "2025-08-01", lambda row: [*row[:6], f"{float(row[6]) / 25.4:.2f}", row[7]]),
        "rain is 0.068 times as much on wet days from 2025-08-22 on",
    ),
    "decimal points lost for a while": (
        lambda: _changed(
            SAMPLE, "2025-06", lambda row: [*row[:6], row[6].replace(".", "") if row[0] < "2025-09" else row[6], row[7]]
        ),
        "in whole numbers, as it is on others",
    ),
    "a header in another order": (
        lambda: SAMPLE + "date,tmin,tmax,rh_max,rh_min,rain,wind,radiation\n",
        "line 250 is the header again, in another order",
    ),
    "a year that was mistyped": (
        lambda: SAMPLE.replace(f"{DAY},", f"2052{DAY[4:]},"),
        f"has no row for 1 day: {DAY}, but of 2052, which may be a slip",
    ),
    "kelvin from a day on": (
        lambda: _changed(SAMPLE, "2025-07", lambda row: [*row[:2], f"{float(row[2]) + 273.15:.1f}", *row[3:]]),
        "tmax is 314.2 °C on 2025-07-13 (and 91 more days)",
    ),
    "damp every night": (
        lambda: _changed(SAMPLE, "2025", lambda row: [*row[:3], "100", *row[4:]]),
        "rh_max is 99 % or more on 153 days in a row",
    ),
    "a dead hygrometer": (
        lambda: _changed(SAMPLE, DAY, lambda row: [*row[:4], "0", *row[5:]] if row[0] == DAY else row),
        "left out, as nothing needs it: rh_min is 0 % on 2025-07-08",
    ),
    "a digit made a tab": (
        lambda: _changed(SAMPLE, DAY, lambda row: [*row[:7], f"\t{row[7][1:]}"] if row[0] == DAY else row),
        "is written as hardly another number is, and read as that number; if it lost a digit, mend it",
    ),
    "a digit made a plus, and another lost": (
        lambda: _changed(SAMPLE, DAY, lambda row: [*row[:6], "0.", "+9.2"] if row[0] == DAY else row),
        "line 134 (and 1 more cell): '0.' is written as",
    ),
    "a quotation mark in the first row": (
        lambda: SAMPLE.replace("\n2025-03-01,", '\n2025-03-01,"', 1),
        ": line 5: a quotation mark is not closed",
    ),
    "the last digit cut off": (lambda: SAMPLE[: SAMPLE.index("2025-10-01")][:-2], "its last value may lack digits"),
    "the last two cut off": (lambda: SAMPLE[: SAMPLE.index("2025-10-01")][:-3], "its last value may lack digits"),
}


@pytest.mark.parametrize("damage", DAMAGED)
def test_what_passed_for_weather_is_said(damage, tmp_path):
    """Seven files, readable but damaged, gave other numbers without a word; three were refused with words that led nowhere."""
    make, words = DAMAGED[damage]

    def told(text):
        (tmp_path / "w.csv").write_text(text, encoding="utf-8")
        try:
            read = read_weather(
                tmp_path / "w.csv", Site(38.6, 240.0), start=dt.date(2025, 5, 1), end=dt.date(2025, 9, 30)
            )
        except WeatherError as refused:
            return str(refused)
        return "\n".join([*read.notes, *(caution.sentence for caution in read.cautions)])

    assert words in told(make())
    for whole in (SAMPLE, SAMPLE[: SAMPLE.index("2025-10-01")], SAMPLE[: SAMPLE.index("2025-10-01") - 1]):
        assert words not in told(whole)


def test_a_day_of_the_year_that_it_does_not_have_is_no_day(tmp_path):
    """Day 366 of 2025 was the first of 2026."""
    header = "YEAR,DOY,T2M_MAX,T2M_MIN,PRECTOTCORR\n"
    for year, refused in ((2024, False), (2025, True)):
        rows = "".join(f"{year},{day},20.{day % 9},10.{day % 9},0.4\n" for day in range(300, 367))
        (tmp_path / "w.csv").write_text(f"-BEGIN HEADER-\nNASA/POWER\n-END HEADER-\n{header}{rows}", encoding="utf-8")
        said = ""
        try:
            read_weather(tmp_path / "w.csv", Site(38.6, 240.0))
        except WeatherError as error:
            said = str(error)
        assert ("line 71: date = '2025 366' is not a date" in said) is refused, said


@pytest.mark.parametrize("share", [0.5, 0.51])
def test_a_dew_point_that_lies_above_the_temperature_all_day_is_refused(share, tmp_path):
    """It was brought down to it, in all records of a file whose columns were exchanged."""
    moments = [dt.datetime(2025, 6, 1) + dt.timedelta(hours=hour) for hour in range(24 * 25)]
    above = int(share * len(moments))
    rows = [
        f"{at:%Y-%m-%d %H:%M},{20 + at.hour / 10:.1f},{30 if i < above else 10}.{i % 9},0.0"
        for i, at in enumerate(moments)
    ]
    text = "\n".join(["Time,Temperature (C),Dew Point (C),Rain (mm)", *rows])
    (tmp_path / "w.csv").write_text(text + "\n", encoding="utf-8")
    try:
        read_weather(tmp_path / "w.csv", Site(38.6, 240.0))
        said = ""
    except WeatherError as error:
        said = str(error)
    assert (f"lies above the temperature in {above} of 600 records" in said) is (share > 0.5), said


def test_a_log_that_runs_backwards_is_told_in_one_line(tmp_path, capsys):
    """It took 38 lines, of the meter too; and a date of another year was not named."""
    rows = [f"2021-06-{day:02},{100 * day}" for day in range(2, 22)]
    garden = write_garden(tmp_path, WEATHER)
    for log, words in (
        (rows[::-1], "line 3: 2021-06-20 12:00 is before the row above it, 2021-06-21 12:00 (and 18 more rows)"),
        ([*rows[:3], "2031-06-05,450", *rows[4:]], "line 6: 2021-06-06 12:00 is before the row above it, 2031-06-05"),
    ):
        (tmp_path / "log.csv").write_text("\n".join(["date,meter_l", *log]) + "\n", encoding="utf-8")
        code, _, err = run(capsys, "fit", garden, tmp_path / "log.csv", "--out", tmp_path / "fit")
        assert code == 2
        assert words in err and len(err.splitlines()) == 1, err


@pytest.mark.parametrize(
    ("header", "expected"),
    [("elevation (ft)", 304.8), ("elev_ft", 304.8), ("elevation (m)", 1000.0), ("height", 1000.0)],
)
def test_a_sites_height_is_in_the_unit_that_its_header_names(header, expected, tmp_path):
    """Feet were metres, once the columns were named as the message has it."""
    (tmp_path / "s.csv").write_text(f"name,latitude,{header},weather\nOne,38.6,1000,w.csv\n", encoding="utf-8")
    (place,) = places_in_table(tmp_path / "s.csv", {"elevation": header}, shown_as="s.csv")
    assert place.elevation == pytest.approx(expected)


@pytest.mark.parametrize(("days", "refused"), [(1830, False), (1831, True)])
def test_a_reading_years_after_the_one_before_it_is_refused(days, refused, tmp_path):
    """One of 2125 spread what was metered over a century."""
    first = dt.date(2021, 6, 1)
    rows = [f"{first},100,m3", f"{first + dt.timedelta(days=days)},110,m3"]
    (tmp_path / "m.csv").write_text("\n".join(["date,reading,unit", *rows]) + "\n", encoding="utf-8")
    said = ""
    try:
        read_readings(tmp_path / "m.csv", ["spring"])
    except ReadingsError as error:
        said = str(error)
    assert ("line 3: 2026-06-06 is years after the reading before it, 2021-06-01" in said) is refused, said


def test_readings_that_are_all_wrong_are_refused_at_once(tmp_path):
    """For each row all other rows were tried in seven units: minutes for a thousand."""
    rows = [f"2021-06-01 {k // 60:02d}:{k % 60:02d},{100 + k},m3" for k in range(1000)]
    began = time.process_time()
    for more, message in (([], "line 13: the reading of"), (rows * 10, "has 11,000 rows; at most 10,000 are read")):
        (tmp_path / "m.csv").write_text("\n".join(["date,reading,unit", *rows, *more]) + "\n", encoding="ascii")
        with pytest.raises(ReadingsError, match=message) as caught:
            read_readings(tmp_path / "m.csv", ["spring"], most={"spring": 1.0})
    assert time.process_time() - began < 5.0
    assert len(caught.value.problems) == 1


def test_a_loop_of_links_in_place_of_what_the_page_keeps_is_replaced(tmp_path):
    desk = Desk(write_garden(tmp_path, WEATHER, start="2021-07-01", end="2021-07-20"))
    (tmp_path / STATE).symlink_to(STATE)
    desk.set("upper/pan", 70.0)
    desk._keep_state()
    assert Desk(desk.path).values == {"upper/pan": 70.0}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes are those of Unix")
def test_what_stands_behind_a_link_is_not_replaced_unless_it_is_a_file(tmp_path):
    """A link to a device in place of what the page keeps: the administrator's own run put a file in the device's place."""
    os.mkfifo(tmp_path / "device")
    (tmp_path / STATE).symlink_to(tmp_path / "device")
    with pytest.raises(OutputError, match="is not a plain file; name a file that stands on a disk"):
        write_whole(tmp_path / STATE, "{}")
    assert (tmp_path / "device").is_fifo()
    assert sorted(path.name for path in tmp_path.iterdir()) == [STATE, "device"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes are those of Unix")
@pytest.mark.parametrize("name", ["season.run-1.nbi", "digests.json"])
def test_compiled_code_that_is_no_plain_file_is_thrown_away(name, tmp_path):
    """A pipe in its place was waited for, and a device behind a link was read until all memory was gone."""
    code = tmp_path / "season.run-1.nbi"
    code.write_bytes(b"code")
    (tmp_path / "digests.json").write_text(json.dumps(engine._digests(tmp_path)), encoding="ascii")
    assert engine._is_as_written(tmp_path)
    for make in (os.mkfifo, lambda path: path.symlink_to(os.devnull)):
        (tmp_path / name).unlink(missing_ok=True)
        make(tmp_path / name)
        assert not engine._is_as_written(tmp_path)
    assert engine._thrown_away(tmp_path) and not list(tmp_path.iterdir())


@pytest.mark.parametrize(("escape", "said"), [("[2J", "is not a text file"), ("$B", "in an encoding older than UTF-8")])
def test_escape_sequences_are_no_older_encoding(escape, said, tmp_path):
    """A file that clears the screen was to be saved in UTF-8, which it was in."""
    (tmp_path / "w.csv").write_text(f"# \x1b{escape}\n{SAMPLE}", encoding="utf-8")
    with pytest.raises(WeatherError, match=said):
        read_weather(tmp_path / "w.csv", Site(38.6, 240.0))


@pytest.mark.parametrize(
    "header", ["Date\t\tMin Temp (°C)\tRain (mm)", "Date\tMax Temp (°C)\tMin Temp (°C)\tRain (mm)"]
)
def test_a_header_with_a_blank_name_is_refused_in_words(header, tmp_path):
    """The date was looked up among the quantities: an end with 70."""
    rows = [f"2025-05-{day:02}\t{25 + day % 7}.5\t{11 + day % 5}.5\t{day % 3}.2" for day in range(1, 32)]
    (tmp_path / "w.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    with pytest.raises(WeatherError, match='line 1: "M.. Temp .* looks like'):
        read_weather(tmp_path / "w.csv", Site(38.6, 240.0))


def test_a_meter_that_stands_still_bears_no_count_out(tmp_path):
    """Litres of an opening were divided by though there were none, and Python warned of it."""
    garden = write_garden(tmp_path, WEATHER)
    rows = [f"2021-06-{day:02},{day % 3 + 40 * (day == 9)},1360" for day in range(2, 22)]
    (tmp_path / "log.csv").write_text("\n".join(["date,openings,meter_l", *rows]) + "\n", encoding="utf-8")
    assert fit(garden, tmp_path / "log.csv").controllers


@pytest.mark.parametrize("number", ["1" * 31, "0." + "1" * 31, "0x" + "f" * 26])
def test_a_number_of_too_many_digits_is_told_with_its_line(number):
    with pytest.raises(ScenarioError, match="^g.toml: line 3: has a number of more than 30 digits; write it shorter"):
        toml_of(f'title = "{"1" * 40}"\n\nx = {number}\n'.encode(), "g.toml")


@pytest.mark.parametrize(("openings", "refused"), [(5, False), (6, True)])
def test_a_counter_and_openings_that_differ_are_told(openings, refused, tmp_path, capsys):
    """The counter was left aside without a word."""
    rows = ["2021-06-02,10,0", f"2021-06-05,15,{openings}", "2021-06-09,20,5"]
    garden = write_garden(tmp_path, WEATHER)
    (tmp_path / "log.csv").write_text("\n".join(["date,counter,openings", *rows]) + "\n", encoding="utf-8")
    code, _, err = run(capsys, "fit", garden, tmp_path / "log.csv", "--out", tmp_path / "fit")
    said = "log.csv: line 3: openings = 6, and the counter rose by 5 since line 2; keep the one that is right"
    assert (code, said in err) == ((2, True) if refused else (0, False)), err


@pytest.mark.parametrize(
    ("verb", "said"),
    [
        (("replay", "g.toml", "--out"), "--out is empty; name a folder"),
        (("sweep", "p.toml", "--out"), "--out is empty; name a folder"),
        (("new",), "DIR is empty; name a folder"),
        (("open",), "DIR is empty; name a folder"),
        (("check",), "SCENARIO is empty; name the file"),
        (("fit", "g.toml"), "LOG.csv is empty; name the file"),
        (("statement", "g.toml", "--readings"), "--readings is empty; name the file"),
    ],
)
@pytest.mark.parametrize("name", ["", " "])
def test_a_path_without_a_name_is_not_the_present_folder(verb, said, name, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    code, _, err = run(capsys, *verb, name)
    assert code == 2 and said in err, err
    assert not list(tmp_path.iterdir())


def test_a_variant_without_a_name_is_told(tmp_path, capsys):
    """It read "variant.: is not in this file; describe it under [variant.]", which can't be pasted."""
    code, _, err = run(capsys, "check", write_garden(tmp_path, WEATHER), "--variant", "")
    assert code == 2 and 'variant."" is not in this file; the file has' in err, err


def test_digits_of_other_scripts_are_no_date(capsys):
    for verb in (
        ("replay", "g.toml", "--out", "o", "--start", "２０２１-05-12"),
        ("weather", "g", "--years", "２０１５"),
    ):
        code, _, err = run(capsys, *verb)
        assert code == 2 and ("is not a date" in err or "can't be read as years" in err), err


def test_a_leak_is_blamed_for_what_it_loses(tmp_path, capsys):
    """The swing was, of 700 g, and a larger one asked for."""
    garden = write_garden(tmp_path, WEATHER)
    garden.write_text(
        garden.read_text(encoding="utf-8") + '\n[[fault]]\nkind = "leak"\nloss = "900 L/h"\n', encoding="utf-8"
    )
    code, _, err = run(capsys, "replay", garden, "--out", tmp_path / "o")
    assert code == 2 and "by the faults leak and animals: give them a smaller loss" in err, err


def test_a_headers_letters_that_cannot_be_seen_are_read_over_and_are_not_shown(tmp_path):
    """The line to paste turned the terminal's reading round, and the scenario refused it."""
    header, _, rows = WEATHER.partition("\n")
    for shown, read in (("wi\u202end", True), ("my\u202e wind", False)):
        (tmp_path / "w.csv").write_text(f"{header.replace('wind', shown)}\n{rows}", encoding="utf-8")
        if read:
            assert "wind" in read_weather(tmp_path / "w.csv", Site(20.0, 240.0)).daily
        else:
            with pytest.raises(WeatherError, match='column = "my wind"') as caught:
                read_weather(tmp_path / "w.csv", Site(20.0, 240.0))
            assert "\u202e" not in str(caught.value)
