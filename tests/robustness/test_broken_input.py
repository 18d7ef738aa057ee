"""
Broken scenarios and weather files, through the whole program: exit code 2, one clear line, nothing written.

Each entry changes one thing in a sound garden. The words looked for name the place and the cure.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from panbudget.__main__ import main

ROOT = Path(__file__).resolve().parents[2]
GARDEN = (ROOT / "simulator" / "panbudget" / "templates" / "garden.toml").read_text(encoding="utf-8")
WEATHER = (ROOT / "simulator" / "panbudget" / "templates" / "weather.csv").read_text(encoding="utf-8")

SCENARIOS = {
    "a flow in kPa": (
        'refill = { flow = "2 L/h"',
        'refill = { flow = "2 kPa"',
        ["valve.refill.flow", "expected: a flow"],
    ),
    "no unit": ('swing = "700 g"', "swing = 700", ["valve.swing", "unit"]),
    "an unknown unit": ('swing = "700 g"', 'swing = "700 gramms"', ["valve.swing", "gramms"]),
    "a negative area": ('area = "8 m^2"', 'area = "-8 m^2"', ["bed.tomatoes.area", "at least 1e-06 m²"]),
    "no area": ('area = "8 m^2"', 'area = "0 m^2"', ["bed.tomatoes.area", "at least 1e-06 m²"]),
    "a misspelt key": ("swing = ", "swng = ", ["swng", 'did you mean "swing"']),
    "a misspelt table": ("[controller.yard.pan]", "[controller.yard.pam]", ["pam", 'did you mean "pan"']),
    "a plant unknown": ('plants = "tomato"', 'plants = "tomatto"', ["tomatto", 'did you mean "tomato"']),
    "a soil unknown": ('soil = "loam"', 'soil = "lome"', ["lome", 'did you mean "loam"']),
    "no date of planting": ("planted = 2023-05-10", "# none", ["planted", "is missing"]),
    "a date that is none": (
        "start = 2023-05-01",
        "start = 2023-05-32",
        ["line", "2023-05-32", "a date is year-month-day"],
    ),
    "a date as text": ("start = 2023-05-01", 'start = "May 1st"', ["season.start", "2025-05-01"]),
    "an end before the start": ("end = 2023-08-31", "end = 2022-08-31", ["season", "before"]),
    "a season outside the file": ("end = 2023-08-31", "end = 2023-12-31", ["season.end", "outside the weather file"]),
    "an impossible latitude": ("latitude = 43.5", "latitude = 143.5", ["site.latitude", "90"]),
    "freeboard above depth": ('# freeboard = "20 mm"  ', 'freeboard = "20 cm" ', ["freeboard", "deep"]),
    "a swing above the water": ('swing = "700 g"', 'swing = "90 kg"', ["swing", "kg"]),
    "wilting above capacity": (
        'soil = "loam"',
        "soil = { field_capacity = 0.13, wilting_point = 0.28 }",
        ["wilting_point", "below the field capacity"],
    ),
    "a supply unknown": ('supply = "house"', 'supply = "hose"', ["supply", 'did you mean "house"']),
    "two beds of one name": ("[controller.yard.bed.herbs]", "[controller.yard.bed.tomatoes]", ["tomatoes", "twice"]),
    "an unclosed text": ('title = "My garden"', 'title = "My garden', ["line", "TOML"]),
    "a pan without vessels": ('vessels = [{ diameter = "45 cm" }]', "vessels = []", ["vessels"]),
    "a vessel of two shapes": ('diameter = "45 cm"', 'diameter = "45 cm", area = "1 m^2"', ["vessels"]),
    "no emitters": ("emitters = { count = 32,", "emitters = { count = 0,", ["emitters.count"]),
    "a uniformity above one": ("# uniformity = 0.9 ", "uniformity = 1.9 ", ["uniformity", "1"]),
    "a press at no time": ("# press_times = [] ", 'press_times = ["25:99"] ', ["press_times", "25:99"]),
    "a weather file that is not there": ('file = "weather.csv"', 'file = "wether.csv"', ["wether.csv", "weather.csv"]),
    "a reader unknown": ('# format = "auto" ', 'format = "csw" ', ["format", "csw"]),
    "a variant that can't be": ('diameter = "55 cm"', 'diameter = "55 kg"', ["variant.wide-pan", "diameter"]),
    "a variant of a misspelt valve": (
        "controller.yard.pan.vessels = [{ diameter",
        "controller.yrad.pan.vessels = [{ diameter",
        ["variant.wide-pan.controller.yrad", 'did you mean "yard"'],
    ),
    "a measured pan without its column": (
        '# evaporation = "from-eto" ',
        'evaporation = "measured" ',
        ["pan_evaporation"],
    ),
    "stages of no days": (
        'plants = { name = "mint" }',
        'plants = { name = "mint", stages = [0, 0, 0, 0] }',
        ["stages"],
    ),
}


def _line(number, change):
    """Change one line of the weather file, counted from its first row."""

    def damage(text):
        lines = text.splitlines()
        at = next(i for i, line in enumerate(lines) if line.startswith("date")) + number
        lines[at : at + 1] = change(lines[at])
        return "\n".join(lines) + "\n"

    return damage


def _column(name, change):
    """Change a whole column."""

    def damage(text):
        lines = text.splitlines()
        first = next(i for i, line in enumerate(lines) if line.startswith("date"))
        at = lines[first].split(",").index(name)
        for i in range(first + 1, len(lines)):
            cells = lines[i].split(",")
            cells[at] = change(cells[at])
            lines[i] = ",".join(cells)
        return "\n".join(lines) + "\n"

    return damage


WEATHERS = {
    "an empty file": (lambda text: "", ["empty"]),
    "only a header": (lambda text: "date,tmin,tmax,rain\n", ["no row follows"]),
    "a web page": (lambda text: "<!DOCTYPE html><html><body>404</body></html>", ["web page"]),
    "a word for a number": (_line(9, lambda line: [line.replace(line.split(",")[1], "warm", 1)]), ["warm", "tmin"]),
    "a row too short": (_line(9, lambda line: [line.rsplit(",", 2)[0]]), ["line"]),
    "a day twice": (_line(9, lambda line: [line, line]), ["twice"]),
    "a day missing": (_line(40, lambda line: []), ["2023-06-09", "has no row", "add the rows"]),
    "a date that is none": (_line(9, lambda line: ["2023-02-30" + line[10:]]), ["2023-02-30"]),
    "no column of dates": (lambda text: re.sub(r"^(?!#)[^,\n]*,", "", text, flags=re.MULTILINE), ["date"]),
    "no temperatures": (lambda text: text.replace("tmin,", "t_low,", 1), ["tmin"]),
    "Fahrenheit": (_column("tmax", lambda cell: f"{float(cell) * 1.8 + 32:.1f}" if cell else ""), ["tmax", "degF"]),
    "watts": (_column("radiation", lambda cell: f"{float(cell) / 0.0864:.0f}" if cell else ""), ["radiation", "W/m"]),
    "minimum above maximum": (_column("tmin", lambda cell: "60" if cell else ""), ["tmin"]),
    "a rain gauge in tenths": (_column("rain", lambda cell: f"{float(cell or 0) * 10 + 400:.0f}"), ["rain"]),
    "rain missing": (_column("rain", lambda cell: ""), ["rain", "missing_rain"]),
    "humidity over a hundred": (_column("rh_max", lambda cell: "180"), ["rh_max"]),
    "a binary file": (lambda text: "\x00\x01\x02" * 999, ["text"]),
}


def attempt(folder, garden, weather, capsys):
    """Write both files, run check and replay, return the message of both."""
    (folder / "garden.toml").write_text(garden, encoding="utf-8")
    (folder / "weather.csv").write_text(weather, encoding="utf-8")
    said = []
    for call in (["replay", "--out", str(folder / "out")], ["check"]):
        with pytest.raises(SystemExit) as stopped:
            main([call[0], str(folder / "garden.toml"), *call[1:]])
        printed = capsys.readouterr()
        assert stopped.value.code == 2, printed.out
        assert printed.out == ""
        said.append(printed.err)
    assert not (folder / "out").exists()
    assert sorted(p.name for p in folder.iterdir()) == ["garden.toml", "weather.csv"]
    return said


@pytest.mark.parametrize("name", SCENARIOS)
def test_a_broken_scenario_is_told_in_one_line(name, tmp_path, capsys):
    old, new, words = SCENARIOS[name]
    assert old in GARDEN
    for message in attempt(tmp_path, GARDEN.replace(old, new, 1), WEATHER, capsys):
        lines = message.strip().splitlines()
        assert len(lines) == 1, message
        assert "garden.toml" in message or "wether.csv" in message
        assert "Traceback" not in message
        for word in words:
            assert word in message, message


@pytest.mark.parametrize("name", WEATHERS)
def test_a_broken_weather_file_is_told_in_one_line(name, tmp_path, capsys):
    damage, words = WEATHERS[name]
    damaged = damage(WEATHER)
    assert damaged != WEATHER
    for message in attempt(tmp_path, GARDEN, damaged, capsys):
        lines, _, block = message.strip().partition("\n# in the scenario")  # below it, what to paste
        lines = lines.splitlines()
        assert 1 <= len(lines) <= 3, message  # a column each, where units go together
        assert block == "" or tomllib.loads("#" + block)
        assert lines[0].startswith("weather.csv"), message
        assert "Traceback" not in message
        for word in words:
            assert word in message, message


def test_a_scenario_that_is_not_there_is_told(tmp_path, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["check", str(tmp_path / "none.toml")])
    assert stopped.value.code == 2
    assert "no such file" in capsys.readouterr().err
