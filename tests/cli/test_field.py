"""faults through the real program: exit code, what it prints, what it leaves on disk."""

from __future__ import annotations

import html
import json
import re

import pandas as pd
import pytest

from tests.cli.test_decide import files
from tests.cli.test_main import run
from tests.small_weather import weather_csv

GARDEN = """
[site]
latitude = 38.6
elevation = "240 m"
[weather]
file = "weather.csv"
[season]
start = 2025-05-01
end = 2025-05-31
[supply.spring]
pressure = "150 kPa"
[controller.upper]
supply = "spring"
[controller.upper.pan]
vessels = [{ diameter = "50 cm" }]
depth = "18 cm"
[controller.upper.valve]
swing = "0.9 kg"
refill = { flow = "2 L/h", at = "100 kPa" }
[controller.upper.bed.tomatoes]
area = "12 m^2"
emitters = { count = 20, flow = "2 L/h", at = "100 kPa" }
soil = "loam"
plants = "tomato"
planted = 2025-05-05
"""


@pytest.fixture
def garden(tmp_path):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "weather.csv").write_text(weather_csv(31), encoding="utf-8")
    path = tmp_path / "in" / "garden.toml"
    path.write_text(GARDEN, encoding="utf-8")
    return path


@pytest.mark.draws
def test_faults_writes_a_page_a_table_totals_and_a_figure(garden, tmp_path, capsys):
    code, out, _ = run(capsys, "faults", garden, "--figures", "--out", tmp_path / "f")
    assert code == 0
    assert "14" in out
    assert "Most harm: (1) upper: " in out
    assert files(tmp_path / "f") == ["faults.csv", "faults.html", "faults.json", "figures/harm.png", "figures/harm.svg"]
    whole = json.loads((tmp_path / "f" / "faults.json").read_text(encoding="utf-8"))
    assert [one["rank"] for one in whole["faults"]] == list(range(1, 15))
    table = pd.read_csv(tmp_path / "f" / "faults.csv")
    assert table["more_stress_days"].tolist() == [one["more_stress_days"] for one in whole["faults"]]
    page = (tmp_path / "f" / "faults.html").read_text(encoding="utf-8")
    assert page.count("<strong>Cure:</strong>") == 11  # one for each kind
    code, out, _ = run(capsys, "faults", garden, "--figures", "--out", tmp_path / "g", "--json")
    assert json.loads(out) == whole
    for name in files(tmp_path / "f"):
        assert (tmp_path / "f" / name).read_bytes() == (tmp_path / "g" / name).read_bytes()


def test_faults_from_a_day_that_is_no_day_of_the_season_is_told(garden, tmp_path, capsys):
    code, _, err = run(capsys, "faults", garden, "--out", tmp_path / "f", "--from", "2025-08-01")
    assert code == 2
    assert err.startswith("--from = 2025-08-01 lies outside the season")
    assert not (tmp_path / "f").exists()


@pytest.mark.parametrize("verb", ["faults", "fit"])
def test_help_has_an_example(verb, capsys):
    code, text, _ = run(capsys, verb, "--help")
    assert code == 0
    assert f"Example:  panbudget {verb}" in text


def kept(garden, tmp_path):
    from panbudget import load_scenario, replay
    from tests.field_logs import kept_log

    truth = load_scenario(garden).changed({"controller": {"upper": {"pan": {"exposure": 0.8}}}})
    (tmp_path / "in" / "log.csv").write_text(kept_log(replay(truth), every=1.5), encoding="utf-8")
    return tmp_path / "in" / "log.csv"


def test_fit_writes_an_overlay_that_other_commands_take(garden, tmp_path, capsys):
    log = kept(garden, tmp_path)
    code, out, _ = run(capsys, "fit", garden, log, "--figures", "--out", tmp_path / "fit")
    assert code == 0
    assert out.startswith("upper: the scenario's season takes ")
    assert "upper: exposure 0.8" in out or "upper: exposure 0.79" in out
    names = ["figures/loss", "figures/residuals"]
    assert files(tmp_path / "fit") == sorted(
        ["fit.csv", "fit.html", "fit.json", "fitted.toml", *(f"{n}.{kind}" for n in names for kind in ("png", "svg"))]
    )
    whole = json.loads((tmp_path / "fit" / "fit.json").read_text(encoding="utf-8"))
    value = whole["controllers"]["upper"]["estimates"]["exposure"]["value"]
    assert value == pytest.approx(0.8, rel=0.05)
    overlay = tmp_path / "fit" / "fitted.toml"
    page = (tmp_path / "fit" / "fit.html").read_text(encoding="utf-8")
    assert f"panbudget replay {garden} --variant {overlay} --out fitted-season" in html.unescape(
        re.sub("<[^>]+>", "", page)
    )
    before = {name: (tmp_path / "fit" / name).read_bytes() for name in files(tmp_path / "fit")}
    code, out, _ = run(capsys, "fit", garden, log, "--figures", "--out", tmp_path / "fit", "--overwrite", "--json")
    assert json.loads(out) == whole
    assert {name: (tmp_path / "fit" / name).read_bytes() for name in files(tmp_path / "fit")} == before
    code, _, _ = run(
        capsys, "replay", garden, "--variant", overlay, "--spread", "20", "--out", tmp_path / "s", "--quiet"
    )
    assert code == 0
    season = json.loads((tmp_path / "s" / "season.json").read_text(encoding="utf-8"))
    assert season["controllers"]["upper"]["litres"] == pytest.approx(whole["litres"]["as_fitted"], rel=1e-6)
    assert season["spread"]["samples"] == 20
    assert (
        season["spread"]["ranges"]["controller.upper.litres"]
        == whole["overlay"]["uncertainty"]["controller"]["upper"]["litres"]
    )
    # what fit says of the season's litres is what a replay of its overlay draws, but for the number of draws
    drawn, (low, high) = season["spread"]["controllers"]["upper"]["litres"], whole["litres"]["ranges"]["upper"]
    assert (drawn["low"], drawn["high"]) == pytest.approx((low, high), rel=0.02)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("date,openings\n2025-05-01,x\n", 'line 2: openings = "x" is no number'),
        (
            "date,openings\n2025-05-01,1\n2025-05-02,1\n2025-09-03,1\n",
            "expected: all of the log's days in the weather file",
        ),
    ],
)
def test_a_broken_log_is_one_line_and_leaves_nothing(text, said, garden, tmp_path, capsys):
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    code, out, err = run(capsys, "fit", garden, tmp_path / "log.csv", "--out", tmp_path / "fit")
    assert (code, out) == (2, "")
    assert said in err
    assert not (tmp_path / "fit").exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--hold", "exposure"), '--hold "exposure" is unknown; expected: refill or swing'),
        (("--interval", "2"), "0.99"),
    ],
)
def test_options_of_fit_that_can_t_be_are_told(arguments, said, garden, tmp_path, capsys):
    code, _, err = run(capsys, "fit", garden, kept(garden, tmp_path), "--out", tmp_path / "fit", *arguments)
    assert code == 2
    assert said in err


def test_a_spread_of_few_seasons_is_told(garden, tmp_path, capsys):
    code, _, err = run(capsys, "replay", garden, "--out", tmp_path / "s", "--spread", "3")
    assert code == 2
    assert "too few seasons to give a range" in err


def test_a_variant_file_that_is_none_is_told(garden, tmp_path, capsys):
    (tmp_path / "v.toml").write_text("[site]\nlatitude = 1.0\n[variant.a]\ntitle = 'a'\n", encoding="utf-8")
    code, _, err = run(capsys, "replay", garden, "--out", tmp_path / "s", "--variant", tmp_path / "v.toml")
    assert code == 2
    assert "must hold one [variant.NAME] and nothing else" in err
