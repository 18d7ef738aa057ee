"""The questions: what is refused, and that the garden written from the answers is the one of a text editor, comments and all."""

from __future__ import annotations

import datetime as dt
import tomllib
from pathlib import Path

import pytest

from panbudget import words
from panbudget.errors import OutputError
from panbudget.page import pictures, questions
from panbudget.page.desk import settings_of
from panbudget.page.questions import Seen, first_answers, garden_text, screens
from panbudget.scenario.garden import load_scenario, scenario_from
from panbudget.units import quantity

ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = ROOT / "simulator" / "panbudget" / "templates"
BY_KEY = {question.key: question for screen in screens() for question in screen.questions}


def answered(**changes):
    """Return the first answers with some changed; "bed" and "valve" change the first bed's and the first valve's."""
    answers = first_answers()
    answers["valves"][0]["beds"][0] |= changes.pop("bed", {})
    answers["valves"][0] |= changes.pop("valve", {})
    return answers | changes


def test_the_first_answers_write_the_file_to_start_from_with_its_first_bed():
    written = garden_text(first_answers())
    assert (TEMPLATES / "short.toml").read_text(encoding="utf-8").startswith(written.rstrip())


def test_the_short_file_and_the_full_one_describe_one_garden():
    short, full = (
        tomllib.loads((TEMPLATES / name).read_text(encoding="utf-8")) for name in ("short.toml", "garden.toml")
    )
    full["controller"]["yard"]["bed"]["herbs"]["plants"] = "mint"  # there as a table, to show that it can be one
    del full["variant"]
    short["weather"].pop("wind_height")  # the default, named because stations differ
    assert short == full


def test_a_file_to_start_from_has_some_forty_lines():
    lines = (TEMPLATES / "short.toml").read_text(encoding="utf-8").splitlines()
    assert len([line for line in lines if line.strip()]) <= 40


def test_answers_stand_in_the_file_and_comments_stay():
    herbs = {"name": "Aunt's herbs", "plants": "mint", "count": "12", "soil": "clay", "planted": "2023-05-02"}
    answers = answered(
        latitude="-38.5", longitude="20", valve={"depth": "7 in", "shape": "square", "long": "3 ft", "swing": "2 lb"}
    )
    beds = answers["valves"][0]["beds"]
    beds.append({**beds[0], **herbs})
    text = garden_text(answers)
    garden = tomllib.loads(text)
    assert garden["site"] == {"latitude": -38.5, "elevation": "120 m", "longitude": 20}
    yard = garden["controller"]["yard"]
    assert yard["pan"] == {"vessels": [{"length": "3 ft", "width": "40 cm"}], "depth": "7 in"}
    assert yard["valve"]["swing"] == "2 lb"
    assert [*yard["bed"]] == ["tomatoes", "Aunt's herbs"]
    bed = yard["bed"]["Aunt's herbs"]
    assert (bed["emitters"]["count"], bed["soil"], bed["planted"]) == (12, "clay", dt.date(2023, 5, 2))
    assert "# water lost from shutting to opening" in text
    assert text.count("# ground that the plants' roots share") == 2


def test_a_tank_takes_the_place_of_the_mains():
    supply = tomllib.loads(garden_text(answered(supply="tank", volume="300 L", roof="20 m^2")))["supply"]["house"]
    assert supply == {"kind": "tank", "volume": "300 L", "footprint": "0.8 m^2", "outlet_height": "2 m"} | {
        "roof": {"area": "20 m^2"}
    }
    assert "roof" not in tomllib.loads(garden_text(answered(supply="tank")))["supply"]["house"]


@pytest.mark.parametrize(
    ("key", "answer", "says"),
    [
        ("latitude", "north", "is no number: write it such as 43.5"),
        ("latitude", "90.1", "lies outside -90 to 90"),
        ("latitude", "", "is empty"),
        ("elevation", "120 kPa", "is a pressure"),
        ("start", "1 May", "is no date: write year-month-day"),
        ("count", "0", "is no whole number above 0"),
        ("count", "1.5", "is no whole number above 0"),
        ("plants", "tomatto", 'did you mean "tomato"?'),
        ("plants", "xyzzy", "is not in the list; known are tomato, sweet pepper, "),
        ("soil", "lome", 'is not in the list; did you mean "loam"?'),
        ("name", "a/b", "is no usable name"),
        ("supply", "river", "is not in the list; known are mains, tank"),
    ],
)
def test_a_wrong_answer_is_refused_in_words(key, answer, says):
    assert says in BY_KEY[key].wrong(answer)


@pytest.mark.parametrize(
    ("key", "answer"),
    [
        *(("latitude", "90"), ("latitude", "-90"), ("longitude", ""), ("count", "1"), ("roof", "")),
        *(("plants", "squash"), ("plants", "Kale"), ("plants", "lawn"), ("soil", "Sandy-Loam")),
    ],
)
def test_an_answer_at_the_bound_and_an_empty_one_that_may_be_are_right(key, answer):
    assert BY_KEY[key].wrong(answer) == ""


def test_two_beds_of_one_name_are_refused():
    answers = answered()
    beds = answers["valves"][0]["beds"]
    beds.append({**beds[0], "name": "Tomatoes"})
    assert list(questions.problems_of(answers)) == [("", "Two beds can't have one name.")]
    assert list(questions.problems_of(answered())) == []
    answers = answered()
    questions.add_valve(answers)
    assert list(questions.problems_of(answers)) == []
    answers["valves"][1]["name"] = "Yard "
    assert list(questions.problems_of(answers)) == [("", "Two valves can't have one name.")]


def test_several_valves_stand_in_the_file_each_with_its_pan_and_its_beds(tmp_path):
    """The second begins as the first; its beds may have the names of the first's."""
    answers = answered(valve={"name": "upper", "swing": "900 g"})
    questions.add_bed(answers["valves"][0])
    questions.add_valve(answers)
    answers["valves"][1] |= {"name": "Aunt's side", "shape": "square", "long": "50 cm", "depth": "20 cm"}
    answers["valves"][1]["beds"][0]["count"] = "7"
    asked = [screen.key for screen, _ in questions.steps(answers)]
    assert asked == ["place", "weather", "season", "supply", "pan", "refill", "bed", "bed", "pan", "refill", "bed"]
    text = garden_text(answers)
    assert text.count("# floor to rim, inside") == 2
    upper, other = tomllib.loads(text)["controller"].values()
    assert [[*upper["bed"]], [*other["bed"]]] == [["tomatoes", "bed 2"], ["bed 1"]]
    assert (upper["pan"]["vessels"], upper["pan"]["depth"]) == ([{"diameter": "45 cm"}], "18 cm")
    assert (other["pan"]["vessels"], other["pan"]["depth"]) == ([{"length": "50 cm", "width": "40 cm"}], "20 cm")
    assert (upper["valve"]["swing"], other["valve"]["swing"], other["supply"]) == ("900 g", "900 g", "house")
    assert (upper["bed"]["bed 2"]["emitters"]["count"], other["bed"]["bed 1"]["emitters"]["count"]) == (32, 7)
    scenario = questions.write_garden(tmp_path / "mine", answers)
    assert [*settings_of(scenario)][::4] == ["upper/pan", "upper/bed 2/emitters", "Aunt's side/bed 1/emitters"]


def test_whoever_thinks_in_us_units_begins_with_round_figures_in_them():
    answers = answered(units="US", valve={"swing": "2 lb"})
    questions.take_units(answers)
    valve = answers["valves"][0]
    assert (answers["elevation"], valve["diameter"], valve["swing"], valve["depth"]) == (
        "400 ft",
        "18 in",
        "2 lb",
        "7 in",
    )
    garden = scenario_from(tomllib.loads(garden_text(answers)), Path("garden.toml"))
    assert garden.units == "US"
    assert garden_text(answers).count('at = "15 psi"') == 2  # of refill and bed alike
    for screen, _ in questions.steps(answers):
        for question in (part for part in screen.questions if part.us):
            metric, us = (quantity(text, question.kind) for text in (question.default, question.us))
            assert us == pytest.approx(metric, rel=0.08), question.key
    questions.take_units(answers | {"units": "metric"})
    assert (valve["diameter"], valve["swing"]) == ("45 cm", "2 lb")
    with words.units_shown("US"):
        assert "such as 18 in" in BY_KEY["diameter"].wrong(" ")
        assert "1 ft" in pictures.picture("pan", valve)


def test_what_no_single_answer_shows_is_said_of_the_whole(tmp_path):
    (wrong,) = questions.described(answered(start="2023-09-01"), tmp_path)
    assert "season" in wrong
    assert questions.described(answered(), tmp_path) == []


def test_a_garden_is_written_once_and_nothing_is_written_over(tmp_path):
    folder = tmp_path / "mine"
    questions.write_garden(folder, answered(title="Mine"))
    assert sorted(file.name for file in folder.iterdir()) == ["garden.schema.json", "garden.toml", "weather.csv"]
    assert load_scenario(folder / "garden.toml").title == "Mine"
    with pytest.raises(OutputError, match=r"garden\.toml is there already"):
        questions.write_garden(folder, answered(title="Another"))
    assert load_scenario(folder / "garden.toml").title == "Mine"


def test_a_weather_file_is_told_and_what_it_lacks():
    station = ROOT / "weather_samples" / "terraces-2025.csv"
    seen = questions.look_at_weather(station, answered(latitude="38.6"))
    assert (seen.first, seen.last) == (dt.date(2025, 3, 1), dt.date(2025, 10, 31))
    assert "It holds 1 March 2025 to 31 October 2025: 245\u00a0days." in seen.lines[0]
    assert "These days can be used." in seen.lines


def test_a_poor_weather_file_is_told_too(tmp_path):
    file = tmp_path / "poor.csv"
    rows = [f"2023-05-{day:02d},10,{'' if day == 3 else 20},80,40,2.0,20" for day in range(1, 10)]
    file.write_text("\n".join(["date,tmin,tmax,rh_max,rh_min,wind,radiation", *rows]), encoding="utf-8")
    lines = questions.look_at_weather(file, answered()).lines
    assert "Not in the file: rain." in lines
    assert "Without a figure: tmax on 1\u00a0day." in lines
    file.write_text("\n".join(["date,tmin,tmax,rain,rh_mean,wind,radiation", *rows[:2], *rows[3:]]), encoding="utf-8")
    lines = questions.look_at_weather(file, answered()).lines
    assert "No day that it holds lacks a figure." in lines
    assert any("has no row for " in line for line in lines)
    file.write_text("nothing of the kind", encoding="utf-8")
    assert (poor := questions.look_at_weather(file, answered())).first is None and questions.TEXTS[
        "columns_later"
    ] not in poor.lines
    file.write_text(
        "\n".join(
            ["date,Low Temp (°F),High Temp (°F),Rain (in)", *(f"2023-05-{day:02d},50,70,0" for day in range(1, 10))]
        )
    )
    assert questions.look_at_weather(file, answered()).lines[-1] == questions.TEXTS["columns_later"]
    assert "There is no such file" in questions.look_at_weather(tmp_path / "none.csv", answered()).lines[0]


@pytest.mark.parametrize(
    ("latitude", "season"),
    [(40.0, (dt.date(2022, 5, 1), dt.date(2022, 9, 30))), (-40.0, (dt.date(2022, 11, 1), dt.date(2023, 3, 31)))],
)
def test_the_season_is_the_latest_warm_half_year_of_the_record(latitude, season):
    assert Seen((), dt.date(2020, 1, 1), dt.date(2023, 9, 29)).season(latitude) == season


def test_a_short_record_is_the_season_itself():
    days = dt.date(2023, 5, 1), dt.date(2023, 8, 31)
    assert Seen((), *days).season(40.0) == days


def test_the_drawings_follow_what_is_typed():
    """30 cm of a pan are drawn as long as the bar beside it."""
    for screen in screens():
        assert pictures.picture(screen.key, {}).startswith("<svg")
    valve = first_answers()["valves"][0]
    small, wide = (pictures.picture("pan", valve | {"diameter": text}) for text in ("30 cm", "3 m"))
    assert 'r="37.5"' in small  # px, half of 30 cm where 60 cm are the widest
    assert 'r="75.0"' in wide
    assert pictures.picture("bed", {"count": "7", "area": "nonsense"}).count("<circle") == 7
    # 0.9 kg on a square of 60 by 50 cm are 3 mm
    swing = pictures.picture("refill", valve | {"shape": "square", "wide": "50 cm", "swing": "0.9 kg"})
    assert "swing: 3.0 mm of water" in swing


def test_downloaded_years_stand_in_the_folder_and_nothing_else_is_left(tmp_path, monkeypatch):
    def fetched(place, *, years, step):
        assert tomllib.loads(place.read_text())["site"] == {"elevation": "240 m", "latitude": 38.6}
        place.with_name(f"years-{years[0]}-{years[1]}.csv").write_text("date\n")

    temporary, garden = tmp_path / "temporary", tmp_path / "garden"
    temporary.mkdir()
    monkeypatch.setattr(questions.tempfile, "tempdir", str(temporary))
    monkeypatch.setattr(questions, "download_weather", fetched)
    answers = {"years": "2020-2021", "elevation": "240 m", "latitude": "38.6", "longitude": ""}
    file = questions.download(answers, garden)
    assert (file, [*temporary.iterdir()]) == (garden / "years-2020-2021.csv", [])
    assert questions.download(answers, garden) == file
    file.write_text("another\n")
    with pytest.raises(OutputError, match="rename your file"):
        questions.download(answers, garden)
    assert file.read_text() == "another\n"
    with pytest.raises(OutputError, match="can't be written"):
        questions.download(answers, file)


def test_the_map_shows_the_place_and_a_click_on_it_names_one():
    """Land, lines and the place share one scale: a degree is a pixel."""
    map_ = pictures.picture("place", {"latitude": "38.6", "longitude": "-36.1"})
    assert 'cx="143.9" cy="56.4"' in map_ and map_.count("<polygon") > 10
    assert "<circle" not in pictures.picture("place", {"latitude": "38.6", "longitude": ""})
    assert "<circle" not in pictures.picture("place", {"latitude": "fifty", "longitude": "3"})
    assert pictures.place_at(143.9 / 360, 56.4 / 190) == {"latitude": "39", "longitude": "-36"}
    assert pictures.place_at(1.1, -0.1) == {"latitude": "90", "longitude": "180"}


@pytest.mark.parametrize(
    ("bed", "plant", "expected"),
    [("tomatoes", "tomato", True), (" tomato ", "tomato", True), ("by the wall", "tomato", False), ("", "mint", False)],
)
def test_a_bed_with_the_name_of_its_plants_follows_them(bed, plant, expected):
    assert questions.is_named_after(bed, plant) is expected
