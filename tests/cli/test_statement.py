"""`panbudget statement` through the real program: exit code, what it prints, what it leaves on disk."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest

from tests.cli.test_main import DEMO, run

ROOT = Path(__file__).resolve().parents[2]
FILES = [
    *("daily.csv", "openings.csv", "season.json", "statement-a4.pdf", "statement-letter.pdf", "statement.csv"),
    *("statement.html", "statement.json"),
]
FEW = ("--samples", "20")
SHORT = ("--end", "2025-06-14")


@pytest.mark.draws
def test_the_demo_is_stated_and_totals_are_the_replays(tmp_path, capsys):
    code, out, err = run(capsys, "statement", DEMO, "--out", tmp_path / "statement", *FEW, *SHORT)
    assert (code, err) == (0, "")
    assert "Source: spring" in out
    assert "certified by nobody" in out
    assert sorted(p.name for p in (tmp_path / "statement").iterdir()) == FILES
    assert run(capsys, "replay", DEMO, "--out", tmp_path / "season", "--quiet", *SHORT)[0] == 0
    for name in ("season.json", "daily.csv", "openings.csv"):
        assert (tmp_path / "statement" / name).read_bytes() == (tmp_path / "season" / name).read_bytes()
    said = json.loads((tmp_path / "statement" / "statement.json").read_text(encoding="utf-8"))
    season = json.loads((tmp_path / "season" / "season.json").read_text(encoding="utf-8"))
    assert said["sources"]["spring"]["litres"] == season["supplies"]["spring"]["litres"]
    assert said["range"]["samples"] == 20
    with (tmp_path / "statement" / "statement.csv").open(encoding="utf-8", newline="") as file:
        assert next(file).startswith(
            "# An estimate prepared by the holder. Not a legal statement and certified by nobody;"
        )
        assert next(file).startswith("# Weather: Taken from ../weather_samples/terraces-2025.csv, which says of itself")
        rows = list(csv.DictReader(file))
    assert [row["month"] for row in rows] == list(season["supplies"]["spring"]["by_month"])
    assert {row["water_year"] for row in rows} == {"October 2024 to September 2025"}


def test_json_stands_alone_on_standard_output(tmp_path, capsys):
    code, out, err = run(capsys, "statement", DEMO, "--out", tmp_path / "s", "--json", *FEW, *SHORT)
    assert code == 0, err
    written = json.loads((tmp_path / "s" / "statement.json").read_text(encoding="utf-8"))
    del written["season_json_sha256"]
    assert json.loads(out) == written


def test_variant_dates_and_readings_are_taken_and_quiet_is_quiet(tmp_path, capsys):
    meter = tmp_path / "meter.csv"
    meter.write_text("date,reading,unit\n2025-06-01,100,m^3\n2025-07-01,109,m^3\n", encoding="utf-8")
    options = ("--variant", "wide-pan", "--start", "2025-06-01", "--end", "2025-07-03", "--readings", meter)
    assert run(capsys, "statement", DEMO, "--out", tmp_path / "s", *options, *FEW, "--quiet") == (0, "", "")
    said = json.loads((tmp_path / "s" / "statement.json").read_text(encoding="utf-8"))
    assert said["variant"] == "wide-pan"
    (year,) = said["sources"]["spring"]["water_years"]
    assert [month["basis"] for month in year["months"].values()] == ["metered", "modelled"]
    assert said["readings"][0]["file"] == "meter.csv"


def test_strict_tells_a_broken_licence_by_its_exit_code_and_still_writes(tmp_path, capsys):
    text = DEMO.read_text(encoding="utf-8").replace("../weather_samples", str(ROOT / "weather_samples"))
    assert 'volume = "60 m^3"' in text
    (tmp_path / "garden.toml").write_text(text.replace('volume = "60 m^3"', 'volume = "20 m^3"'), encoding="utf-8")
    garden = tmp_path / "garden.toml"
    assert run(capsys, "statement", DEMO, "--out", tmp_path / "kept", *FEW, "--strict", "--quiet", *SHORT)[0] == 0
    code, out, _ = run(
        capsys, "statement", garden, "--out", tmp_path / "broken", *FEW, "--strict", "--end", "2025-07-31"
    )
    assert code == 1
    assert "danger: spring: What is reported passes the licensed volume" in out
    assert re.search(r"First on \d+ July 2025", out)  # the third month
    assert (tmp_path / "broken" / "statement-a4.pdf").exists()


def test_bad_readings_and_numbers_are_told_and_leave_nothing(tmp_path, capsys):
    (tmp_path / "meter.csv").write_text("date,reading,unit\n2025-06-01,9,L\n2025-07-01,8,L\n", encoding="utf-8")
    out = tmp_path / "s"
    code, _, err = run(capsys, "statement", DEMO, "--out", out, "--readings", tmp_path / "meter.csv")
    assert code == 2
    assert "meter.csv: line 3: the reading of 2025-07-01 is below" in err
    code, _, err = run(capsys, "statement", DEMO, "--out", out, "--readings", tmp_path / "none.csv")
    assert code == 2
    assert "no such file" in err
    code, _, err = run(capsys, "statement", DEMO, "--out", out, "--samples", "1")
    assert code == 2
    # each version of the library has its own words
    assert "Invalid value for '--samples': '1' is not a number that is at least 20 and at most 20000" in err
    assert DEMO.name not in err  # the option is blamed, not the file, which doesn't say it
    code, _, err = run(capsys, "statement", DEMO, "--out", out, "--start", "2025-07-02", "--end", "2025-07-01")
    assert code == 2
    assert "before it starts" in err
    assert not out.exists()


def test_overwrite_replaces_an_earlier_statement(tmp_path, capsys):
    out = tmp_path / "s"
    assert run(capsys, "statement", DEMO, "--out", out, *FEW, "--quiet", "--end", "2025-05-02")[0] == 0
    assert run(capsys, "statement", DEMO, "--out", out, *FEW, "--quiet", "--end", "2025-05-02")[0] == 2
    assert run(capsys, "statement", DEMO, "--out", out, *FEW, "--quiet", "--overwrite", "--end", "2025-05-04")[0] == 0
    assert json.loads((out / "season.json").read_text(encoding="utf-8"))["season"]["days"] == 4


def test_help_shows_an_example(capsys):
    code, text, _ = run(capsys, "statement", "--help")
    assert code == 0
    assert "Example:" in text
    assert "panbudget statement" in text


def test_another_years_statement_takes_its_plantings_along_or_says_that_nothing_grew(tmp_path, capsys):
    """A year asked for by its days alone told of bare ground as what the plants consumed, without a word."""
    samples = f'["{ROOT}/weather_samples/terraces-2024.csv", "{ROOT}/weather_samples/terraces-2025.csv"]'
    text = DEMO.read_text(encoding="utf-8").replace('"../weather_samples/terraces-2025.csv"', samples, 1)
    (tmp_path / "garden.toml").write_text(text.replace("../", f"{ROOT}/"), encoding="utf-8")
    asked = ("statement", tmp_path / "garden.toml", "--out", tmp_path / "s", *FEW, "--end", "2024-06-14", "--overwrite")
    assert "caution: upper/tomatoes: Nothing grows here" in run(capsys, *asked, "--start", "2024-05-01")[1]
    code, out, err = run(capsys, *asked, "--season", "2024")
    assert (code, err, "Nothing grows" in out) == (0, "", False)
    assert "1 May to 14 June 2024" in out
