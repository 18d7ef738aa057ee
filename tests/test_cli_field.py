"""faults through the real program: exit code, what it prints, what it leaves on disk."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from tests.small_weather import weather_csv
from tests.test_cli import run
from tests.test_cli_decide import files

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


def test_faults_writes_a_page_a_table_totals_and_a_figure(garden, tmp_path, capsys):
    code, out, _ = run(capsys, "faults", garden, "--out", tmp_path / "f")
    assert code == 0
    assert "14" in out
    assert "Most harm: (1) upper: " in out
    assert files(tmp_path / "f") == ["faults.csv", "faults.html", "faults.json", "figures/harm.png", "figures/harm.svg"]
    whole = json.loads((tmp_path / "f" / "faults.json").read_text(encoding="utf-8"))
    assert [one["rank"] for one in whole["faults"]] == list(range(1, 15))
    table = pd.read_csv(tmp_path / "f" / "faults.csv")
    assert table["more_stress_days"].tolist() == [one["more_stress_days"] for one in whole["faults"]]
    page = (tmp_path / "f" / "faults.html").read_text(encoding="utf-8")
    assert page.count("<strong>Cure:</strong>") == 14
    code, out, _ = run(capsys, "faults", garden, "--out", tmp_path / "g", "--json")
    assert json.loads(out) == whole
    for name in files(tmp_path / "f"):
        assert (tmp_path / "f" / name).read_bytes() == (tmp_path / "g" / name).read_bytes()


def test_faults_from_a_day_that_is_no_day_of_the_season_is_told(garden, tmp_path, capsys):
    code, _, err = run(capsys, "faults", garden, "--out", tmp_path / "f", "--from", "2025-08-01")
    assert code == 2
    assert "lies outside the season" in err
    assert not (tmp_path / "f").exists()


@pytest.mark.parametrize("verb", ["faults"])
def test_help_has_an_example(verb, capsys):
    code, text, _ = run(capsys, verb, "--help")
    assert code == 0
    assert f"Example:  panbudget {verb}" in text
