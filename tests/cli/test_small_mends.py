"""Small mends of commands: a made-up wave that counts as hot, one row and its noun, two mistakes in one row of a log."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from types import SimpleNamespace

import pytest

from panbudget.cli.sweep import _lines as sweep_lines
from tests.cli.test_main import ROOT, run
from tests.garden_file import write_garden, years_csv

HEAT = """
[what_if.heat]
start = 2021-07-15
days = 5
warmer = "+9 K"
[variant.wide]
controller.upper.pan.vessels = [{ diameter = "70 cm" }]
"""


def test_hot_above_sees_a_made_up_wave(tmp_path, capsys):
    """The record never passes 30 °C; the wave brings five days of 39."""
    garden = write_garden(tmp_path, years_csv(2021, 2021), more=HEAT)
    options = ("--with-base", "--variant", "wide", "--around", "heat", "--hot-above", "35 degC", "--json")
    code, out, err = run(capsys, "compare", garden, *options, "--out", tmp_path / "c")
    assert code == 0, err
    wave = json.loads(out)["wave"]
    assert (wave["start"], wave["end"], wave["made"]) == ("2021-07-15", "2021-07-19", True)
    code, _, err = run(capsys, "compare", garden, *options[:-2], "40 degC", "--out", tmp_path / "d")
    assert code == 2
    assert "highest Tmax 39.0 °C" in err


def test_a_bad_date_hides_no_other_mistake_of_its_row_and_one_row_is_one_row(tmp_path, capsys):
    garden = write_garden(tmp_path, years_csv(2021, 2021))
    log = tmp_path / "log.csv"
    rows = ["2021-07-02 08:00,2,20,yes", "2021-07-33 08:00,many,twelve,maybe"]
    log.write_text("date,openings,level_mm,opened\n" + "\n".join(rows) + "\n", encoding="utf-8")
    code, _, err = run(capsys, "fit", garden, log, "--out", tmp_path / "f")
    assert code == 2
    lines = [line for line in err.splitlines() if "line 3" in line]
    assert len(lines) == 4
    for text in ("2021-07-33", "many", "twelve", "maybe"):
        assert sum(text in line for line in lines) == 1, text
    assert "upper has 1\u00a0row; expected: 3 visits at least" in err


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--start", "2021-10-05"), "--start 2021-10-05 lies after season.end 2021-09-30; {early}; give --end too"),
        (("--end", "2021-04-05"), "season.start 2021-05-01 lies after --end 2021-04-05; {early}; give --start too"),
        (
            ("--start", "2021-08-05", "--end", "2021-07-05"),
            "--start 2021-08-05 lies after --end 2021-07-05; {early}; give the earlier date first",
        ),
        (("--season", "2021", "--season", "2022"), "--season is given twice; leave all but one out"),
        (("--out", "p"), "--out is given twice; leave all but one out"),
    ],
)
def test_options_that_contradict_each_other_are_told_by_their_names(options, message, tmp_path, capsys):
    garden = write_garden(tmp_path, years_csv(2021, 2021), start="2021-05-01", end="2021-09-30")
    for verb in ("replay", "statement"):
        code, out, err = run(capsys, verb, garden, *options, "--out", tmp_path / "o")
        assert (code, out, err) == (2, "", message.format(early="the season would end before it starts") + "\n")


@pytest.mark.parametrize(
    ("option", "days"), [("--start", ("2021-12-31", "2022-01-01")), ("--end", ("2021-01-01", "2020-12-31"))]
)
def test_a_day_that_the_record_lacks_is_said_to_lie_outside_it_before_another_is_asked_for(
    option, days, tmp_path, capsys
):
    garden = write_garden(tmp_path, years_csv(2021, 2021), start="2021-05-01", end="2021-09-30")
    for day, said in zip(days, ("give --", "runs from 2021-01-01 to 2021-12-31; choose days within it"), strict=True):
        code, out, err = run(capsys, "replay", garden, option, day, "--out", tmp_path / "o")
        assert (code, out) == (2, "")
        assert err.startswith(f"{option} {day} lies") or said == "give --"
        assert said in err


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("s\nx", "its name has a line break or another control character"),  # no command could be pasted that named it
        ("weather.csv/s", "weather.csv is a file"),
    ],
)
def test_a_folder_is_none_below_a_file_nor_has_a_line_break(name, why, tmp_path, capsys):
    garden = write_garden(tmp_path, years_csv(2021, 2021))
    before = sorted(tmp_path.rglob("*"))
    code, _, err = run(capsys, "replay", garden, "--out", tmp_path / name)
    assert code == 2
    assert f"can't be made ({why}); choose another folder" in err
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize("page", ["cp1252", "cp437", "ascii", "utf-8"])
def test_json_arrives_whole_in_every_code_page(tmp_path, page):
    """RFC 8259, section 8.1: JSON is UTF-8; what a code page lacks is escaped, and comes back the same."""
    garden = write_garden(tmp_path, years_csv(2021, 2021))
    garden.write_text('title = "庭 Ž"\n' + garden.read_text(encoding="utf-8").partition("\n")[2], encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "simulator"), "PYTHONIOENCODING": page}
    asked = [sys.executable, "-m", "panbudget", "check", str(garden), "--json"]
    out = subprocess.run(asked, capture_output=True, env=environment, check=True).stdout
    assert json.loads(out.decode("utf-8"))["title"] == "庭 Ž"


def test_a_design_that_keeps_no_wish_is_not_said_to_suit():
    """Where none keeps it, the one that falls least short is named as that."""
    choices = [SimpleNamespace(design=name, keeps=keeps) for name, keeps in [("a", True), ("b", False), ("b", False)]]
    swept = SimpleNamespace(choices=choices, bad={}, kept=0, seasons=3, sites=3, rows=3, elapsed=1.0, skipped={})
    swept.cautions = {}
    lines = [line.replace("\u00a0", " ") for line in sweep_lines(swept)]
    assert lines[1:] == ["What suits: a at 1 site. Where no design keeps to the wish, least short of it: b at 2 sites."]
