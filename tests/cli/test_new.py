"""`new`: short, full, or by question; and `open` where its extra is not installed."""

from __future__ import annotations

import importlib.util
import io
import re
import tomllib
from pathlib import Path

import pytest

from panbudget.scenario.garden import load_scenario
from tests.cli.test_main import run

TEMPLATES = Path(__file__).resolve().parents[2] / "simulator" / "panbudget" / "templates"
STATION = Path(__file__).resolve().parents[2] / "weather_samples" / "terraces-2025.csv"


def test_the_file_is_short_and_full_when_asked(tmp_path, capsys):
    for folder, options, source in (("short", (), "short.toml"), ("full", ("--full",), "garden.toml")):
        assert run(capsys, "new", tmp_path / folder, *options)[0] == 0
        assert (tmp_path / folder / "garden.toml").read_bytes() == (TEMPLATES / source).read_bytes()
    assert run(capsys, "new", tmp_path / "short", "--full", "--overwrite")[0] == 0  # neither has been changed
    out = run(capsys, "new", tmp_path / "my (own) garden")[1]
    assert (
        f'Try it:  panbudget replay "{tmp_path}/my (own) garden/garden.toml" --out "{tmp_path}/my (own) garden/season"'
        in out
    )


def test_no_option_is_named_that_new_has_not(tmp_path, capsys):
    (tmp_path / "file").touch()
    code, _, err = run(capsys, "new", tmp_path / "file" / "garden")
    assert (code, "--out" in err) == (2, False)
    code, _, err = run(capsys, "check", TEMPLATES / "garden.toml", "--out", tmp_path / "file" / "page")
    assert (code, "--out names the folder." in err) == (2, True)


def _answered(monkeypatch, capsys, folder, *answers):
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(answers) + "\n"))
    return run(capsys, "new", folder, "--ask")


def test_where_nobody_can_answer_the_questions_end(tmp_path, capsys, monkeypatch):
    for closed in (None, io.StringIO()):
        monkeypatch.setattr("sys.stdin", closed)
        code, _, err = run(capsys, "new", tmp_path / "garden", "--ask")
        assert (code, (tmp_path / "garden").exists()) == (2, False)
        assert "standard input ended before all was answered; answer in a terminal, or leave out --ask" in err


@pytest.mark.parametrize("before", [(), ("", "38.6", "", "", "sample", "", "", *[""] * 19)])
def test_a_question_is_given_up_after_ten_wrong_answers(tmp_path, capsys, monkeypatch, before):
    """Of units; and of yes or no."""
    answers = "".join(f"{answer}\n" for answer in (*before, *["nonsense"] * 30))
    monkeypatch.setattr("sys.stdin", io.StringIO(answers))
    code, out, err = run(capsys, "new", tmp_path / "garden", "--ask")
    assert (code, (tmp_path / "garden").exists()) == (2, False)
    assert "was answered wrongly 10 times in a row" in err and out.count('"nonsense" is') == 10


def test_units_are_written_as_asked_and_unknown_ones_refused(tmp_path, capsys):
    for units in ("US", "metric"):
        assert run(capsys, "new", tmp_path / units, "--units", units)[0] == 0
        assert load_scenario(tmp_path / units / "garden.toml").units == units
        assert run(capsys, "new", tmp_path / f"full {units}", "--full", "--units", units)[0] == 0
        for garden in (tmp_path / units / "garden.toml", tmp_path / f"full {units}" / "garden.toml"):
            text = garden.read_text(encoding="utf-8")
            values = re.findall(r'"\d[^"]*"', "\n".join(re.findall(r"(?m)^(?!#)[^#\n]+", text)))
            metric = [value for value in values if re.search(r" (k?g|[cm]?m(\^2)?|L/h|kPa)\"$", value)]
            assert len(values) > 12 and metric == (values if units == "metric" else []), garden
            assert "full" not in str(garden) or '# wind_height = "2 m"' in text  # the default, whatever the units
    code, out, err = run(capsys, "new", tmp_path / "furlongs", "--units", "furlongs")
    assert (code, out) == (2, "")
    assert '--units "furlongs" is unknown; expected: metric or US' in err
    assert not (tmp_path / "furlongs").exists()


def test_a_garden_is_asked_for_and_written(tmp_path, capsys, monkeypatch):
    """Each wrong answer is asked for again; what is left empty takes the default."""
    place = ("Asked", "", "fifty", "38.6", "", "240 m")
    weather = ("file", str(tmp_path / "none.csv"), "2 m", str(STATION), "y")
    days, supply = ("", ""), ("", "")
    pan, refill = ("upper", "square", "2 kPa", "60 cm", "", ""), ("", "", "")
    bed, other = ("beans", *[""] * 4, "tomatto", "tomato", "", "", "y"), ("Beans", *[""] * 7, "peas", *[""] * 7, "n")
    lower = ("y", "Upper", *[""] * 4, "lower", "round", "50 cm", "", *refill, *[""] * 8, "n", "n")
    code, out, err = _answered(
        monkeypatch, capsys, tmp_path / "a", *place, *weather, *days, *supply, *pan, *refill, *bed, *other, *lower
    )
    assert (code, err) == (0, "")
    for said in (
        '"fifty" is no number',
        "There is no such file",
        "245\u00a0days",
        "is a pressure",
        'did you mean "tomato"',
    ):
        assert said in out
    assert "Two beds can't have one name." in out and "Two valves can't have one name." in out
    garden = load_scenario(tmp_path / "a" / "garden.toml")
    assert (garden.title, garden.site.latitude, [*garden.controller]) == ("Asked", 38.6, ["upper", "lower"])
    upper, lower = garden.controller.values()
    assert ([*upper.bed], [*lower.bed]) == (["beans", "peas"], ["bed 1"])
    assert lower.pan.vessels[0].diameter == 0.5
    assert (str(garden.season.start), str(garden.season.end)) == ("2025-05-01", "2025-09-30")
    assert (tmp_path / "a" / STATION.name).read_bytes() == STATION.read_bytes()
    text = (tmp_path / "a" / "garden.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text)["weather"]["file"] == STATION.name
    assert "INVENTED" not in text
    code, _, err = run(capsys, "new", tmp_path / "a", "--ask")
    assert code == 2
    assert "has a garden already" in err
    for option in ("--full", "--overwrite"):
        code, out, err = run(capsys, "new", tmp_path / "b", "--ask", option)
        assert (code, out) == (2, "")
        assert f"{option} does not go with --ask" in err


def test_columns_that_are_guessed_are_taken_by_one_answer(tmp_path, capsys, monkeypatch):
    names = {"tmin": "Low Temp (°F)", "tmax": "High Temp (°F)", "rain": "Rain (in)", "wind": "Wind (mph)"}
    rows = STATION.read_text(encoding="utf-8").splitlines()
    days = [row.split(",") for row in rows if row[:2] == "20"]
    shown = [
        f"{day[0]},{float(day[1]) * 1.8 + 32:.1f},{float(day[2]) * 1.8 + 32:.1f},0,{4 + i % 7}"
        for i, day in enumerate(days)
    ]
    (tmp_path / "mine.csv").write_text("\n".join([",".join(["date", *names.values()]), *shown]), encoding="utf-8")
    for answer, taken in (("", {name: names[name] for name in ("tmin", "tmax")}), ("n", {})):
        rest = ("y", *[""] * 19, "n", "n") if taken else ("sample", *[""] * 20, "n", "n")
        answers = ("", "", "38.6", "", "240 m", "file", str(tmp_path / "mine.csv"), "", answer, *rest)
        code, out, err = _answered(monkeypatch, capsys, tmp_path / f"a{answer}", *answers)
        assert (code, err) == (0, ""), out
        assert "Take these columns so? [Y/n]" in out and "take the sample for now" not in out
        columns = load_scenario(tmp_path / f"a{answer}" / "garden.toml").weather.columns
        assert {name: choice.column for name, choice in columns.items()} == taken
    code, out, err = run(capsys, "check", tmp_path / "a" / "garden.toml")
    assert "garden.toml: sound" in out, err


def test_in_place_of_a_file_the_sample_is_taken_after_all(tmp_path, capsys, monkeypatch):
    answers = (*[""] * 5, "file", str(tmp_path / "none.csv"), "", "sample", *[""] * 20, "n", "n")
    assert "or sample" in _answered(monkeypatch, capsys, tmp_path / "a", *answers)[1]
    assert (tmp_path / "a" / "weather.csv").is_file() and load_scenario(tmp_path / "a" / "garden.toml")


def test_no_answer_is_lost_where_the_garden_or_its_folder_can_not_be(tmp_path, capsys, monkeypatch):
    """Forty answers were, for a tab in the first one."""
    (tmp_path / "file").touch()
    place, rest = ("a\tb", "x" * 501, "Mine", *[""] * 4), ["", "", "", "", ""]
    pan, more = ("upper", "round", "50 km", ""), ["", "", "", *[""] * 8, "n", "n"]
    again = ["", "", "", "", "", *rest, "", "", "50 cm", "", *more[:-2]]
    given = (*place, *rest, *pan, *more, *again, str(tmp_path / "a"))
    code, out, err = _answered(monkeypatch, capsys, tmp_path / "file" / "garden", *given)
    assert (code, err) == (0, ""), out[-2000:] + err
    assert out.count("is no usable text") == 2
    assert "diameter" in out and "must be at most" in out and "Enter keeps an answer" in out
    garden = load_scenario(tmp_path / "a" / "garden.toml")
    assert (garden.title, garden.controller["upper"].pan.vessels[0].diameter) == ("Mine", 0.5)


def test_open_says_how_to_install_what_it_needs(tmp_path, capsys, monkeypatch):
    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name, *a: None if name == "nicegui" else found(name, *a))
    code, out, err = run(capsys, "open", tmp_path / "mine")
    assert (code, out) == (2, "")
    assert err == "this needs nicegui, which is not installed; pip install 'panbudget[page]'\n"
