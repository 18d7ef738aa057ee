"""today through the real program: exit code, what it prints, what it leaves on disk."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pypdf
import pytest

from tests.cli.test_decide import files
from tests.cli.test_main import run
from tests.garden_file import write_garden, years_csv


@pytest.fixture(scope="module")
def garden(tmp_path_factory):
    weather = [line for line in years_csv(2018, 2021).splitlines() if line[:10] <= "2021-07-20" or line[0] == "d"]
    return write_garden(tmp_path_factory.mktemp("g"), "\n".join(weather) + "\n", emitters=15)


@pytest.mark.draws
def test_today_writes_a_page_a_table_totals_and_a_figure(garden, tmp_path, capsys):
    (named := tmp_path / "named.toml").write_text('title = "畑"', encoding="utf-8")
    asked = ("--level", "150 mm", "--sheet", "--figures", "--variant", named)
    code, out, err = run(capsys, "today", garden, *asked, "--out", tmp_path / "t")
    assert code == 0, err
    assert "upper: the pan stands at 150 mm" in out
    assert "3 years of the record are few" in out.replace("\u00a0", " ")
    sheets = ["neighbour-a4.pdf", "neighbour-letter.pdf"]
    assert files(tmp_path / "t") == [
        "figures/fan.png",
        "figures/fan.svg",
        *sheets,
        "today.csv",
        "today.html",
        "today.json",
    ]
    page = (tmp_path / "t" / "today.html").read_text(encoding="utf-8")
    assert 'name="viewport"' in page
    assert "max-width: 26rem" in page
    first_screen, picture, *_ = page[page.index("<body>") :].split("<svg")
    assert "Do 1: " in first_screen
    assert "upper/tomatoes" in first_screen
    assert ">upper/tomatoes<" in picture  # the tables stay open, too
    assert first_screen.count("Do ") <= 3
    for name, size in zip(sheets, ((210.0, 297.0), (215.9, 279.4)), strict=True):
        (sheet,) = pypdf.PdfReader(tmp_path / "t" / name).pages
        assert [float(side) * 25.4 / 72.0 for side in sheet.mediabox[2:]] == pytest.approx(size, abs=0.1)
        text = sheet.extract_text()
        for words in (
            "Wed 21 Jul",
            "upper: ruler, mm",
            "Whom to ask",
            "Name and number:",
            "small children",
            "□ stands for",
        ):
            assert words in text
    whole = json.loads((tmp_path / "t" / "today.json").read_text(encoding="utf-8"))
    assert (whole["day"], whole["end"], whole["years"]) == ("2021-07-20", "2021-08-10", [2018, 2019, 2020])
    assert whole["controllers"]["upper"]["level_mm"] == pytest.approx(150.0)
    assert set(whole["controllers"]["upper"]["next_opening"]) == {"middle", "earliest", "latest"}
    assert whole["beds"]["upper/tomatoes"]["first_short"]["of"] == 3


def test_today_says_it_on_the_terminal_alone(garden, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, _ = run(capsys, "today", garden, "--opened", "upper=2021-07-20 06:30", "--json")
    assert code == 0
    assert json.loads(out)["visits"] == []
    assert any("you saw it open on 2021-07-20 06:30" in note for note in json.loads(out)["notes"])
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("option", "value"), [("--level", "43"), ("--opened", "yesterday")])
def test_of_several_valves_what_can_not_be_read_is_told_before_what_lacks_a_name(option, value, capsys):
    demo = Path(__file__).parents[2] / "scenarios" / "terraces.toml"
    code, _, err = run(capsys, "today", demo, option, value)
    assert code == 2
    assert "expected: " in err and f"upper={value}" not in err


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--level", "43 kPa"), "43 kPa"),
        (("--level", "lower=43 mm"), '--level lower names no valve; name one of upper, such as "upper=43 mm"'),
        (
            ("--opened", "lower=2021-07-20 06:30"),
            '--opened lower names no valve; name one of upper, such as "upper=2025-',
        ),
        (("--level", "43 m"), "--level upper = 43,000 mm can't be in a pan"),
        (("--opened", "2020-07-20 06:30"), "--opened upper = 2020-07-20 06:30 does not lie between"),
        (("--level", "43 mm", "--level", "upper=44 mm"), '--level "upper=44 mm" is a second one of upper; give one'),
        (("--day", "9999-12-31"), '--day "9999-12-31" is in a year outside 1800 to 2200'),
        (("--figures",), "--figures writes into the folder of --out; name the folder too, or leave it out"),
        (("--opened", "yesterday"), '--opened "yesterday" is no moment; expected: one such as "2025-07-20 06:30"'),
        (("--opened", "2021-07-32 06:30"), 'such as "2025-07-20 06:30"'),
        (("--day", "2021-12-24"), "2021-12-24 is no day of 1 July to 10 August 2021"),
        (
            ("--day", "2017-07-15"),
            "the season of 2017-07-15 began on 2017-07-01, before the weather file, which begins on 2018-01-01; --day 20",
        ),
        (("--day", "2020-12-24"), "no season is running"),
    ],
)
def test_what_can_not_be_is_told(garden, options, says, capsys):
    code, out, err = run(capsys, "today", garden, *options)
    assert (code, out) == (2, "")
    assert says in err
    assert "Traceback" not in err


def test_who_checks_a_season_that_still_runs_is_given_a_line_that_works_when_pasted(garden, capsys):
    code, out, err = run(capsys, "check", garden)
    assert (code, out) == (2, "")
    (line,) = re.findall("`panbudget (.+?)`", err)
    assert run(capsys, *shlex.split(line))[0] == 0
