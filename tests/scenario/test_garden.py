"""A scenario: what is read, what is refused and how it is said."""

from __future__ import annotations

import copy
import datetime as dt
import math
import tomllib
from pathlib import Path

import pytest

from panbudget.errors import ScenarioError
from panbudget.scenario.garden import load_scenario, scenario_from
from tests.small_weather import weather_csv

ROOT = Path(__file__).resolve().parents[2]

SOUND = tomllib.loads(
    """
title = "Test garden"
[site]
latitude = 38.6
elevation = "240 m"
[weather]
file = "weather.csv"
[season]
start = 2025-05-01
end = 2025-05-31
[supply.spring]
kind = "mains"
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
emitters = { count = 30, flow = "2 L/h", at = "100 kPa" }
soil = "loam"
plants = "tomato"
planted = 2025-05-05
[variant.wide]
controller.upper.pan.vessels = [{ diameter = "70 cm" }]
"""
)


def changed(path, value):
    """The sound scenario with one value set, or removed where the value is None."""
    description = copy.deepcopy(SOUND)
    *way, last = path.split("/")
    part = description
    for key in way:
        part = part.setdefault(key, {})
    if value is None:
        del part[last]
    else:
        part[last] = value
    return description


def test_a_sound_scenario_comes_out_in_engine_units():
    scenario = scenario_from(SOUND)
    pan = scenario.controller["upper"].pan
    assert pan.area == pytest.approx(math.pi * 0.25**2)
    assert pan.depth == pytest.approx(180.0)
    assert pan.freeboard == 20.0
    assert pan.water_at_reset == pytest.approx(160.0 * pan.area)
    assert scenario.controller["upper"].valve.swing_kg == pytest.approx(0.9)
    assert scenario.supply["spring"].pressure == pytest.approx(150.0)
    assert scenario_from(changed("supply/spring/pressure", "20 bar")).supply["spring"].pressure == pytest.approx(2000.0)


def test_the_set_up_test_gives_the_swing():
    """7.4 kg down, 6.5 kg up, counterweight arm twice the pan's: 1.8 kg of water."""
    description = changed("controller/upper/valve/swing", None)
    description["controller"]["upper"]["valve"]["set_up_test"] = {
        "falls_at": "7.4 kg",
        "rises_at": "6.5 kg",
        "arm_ratio": 2.0,
    }
    assert scenario_from(description).controller["upper"].valve.swing_kg == pytest.approx(1.8)


def test_vessels_add_up():
    vessels = [{"diameter": "20 cm", "count": 2}, {"length": "30 cm", "width": "20 cm"}, {"area": "0.05 m^2"}]
    scenario = scenario_from(changed("controller/upper/pan/vessels", vessels))
    assert scenario.controller["upper"].pan.area == pytest.approx(2 * math.pi * 0.01 + 0.06 + 0.05)


def test_a_variant_changes_what_it_names_and_nothing_else():
    scenario = scenario_from(SOUND)
    wide = scenario.with_variant("wide")
    assert wide.controller["upper"].pan.area == pytest.approx(math.pi * 0.35**2)
    assert wide.controller["upper"].valve == scenario.controller["upper"].valve


def test_a_variant_that_sets_the_two_weighings_takes_the_swing_away():
    test = {"falls_at": "7 kg", "rises_at": "6 kg"}
    description = changed("variant/weighed", {"controller": {"upper": {"valve": {"set_up_test": test}}}})
    assert scenario_from(description).with_variant("weighed").controller["upper"].valve.swing_kg == pytest.approx(1.0)


TANK = {"kind": "tank", "footprint": "1 m^2", "outlet_height": "2 m"}

TOP_UP = {"below": "9 L", "rate": "200 L/h", "from": "spring"}

ROOTS = {"root_depth": "50 cm", "depletion": 0.5}

BAD = [
    (
        "controller/upper/valve/refill/flow",
        "2 kPa",
        'refill.flow = "2 kPa" is a pressure; expected: a flow',
    ),
    ("controller/upper/valve/refill/flow", "0 L/h", "must be at least 0.001 L/h"),
    ("controller/upper/valve/swing", "9 L", "is a volume; expected: a weight"),
    ("controller/upper/valve/swing", "40 kg", "would empty the pan before it trips"),
    ("controller/upper/valve/swing", "0.1 g", "below a gram"),
    (
        "controller/upper/valve",
        {"set_up_test": {"falls_at": "7.4 g", "rises_at": "6.7 g"}, "refill": {"flow": "2 L/h"}},
        "valve.set_up_test comes to a swing below a gram",
    ),
    (
        "controller/upper/valve/swing",
        None,
        'controller.upper.valve.swing is missing; expected: such as "0.9 kg", or set_up_test',
    ),
    ("", 1, '"" is no known key; known here: title'),
    ("site/lat", 38.6, 'is no known key; did you mean "latitude"?'),
    ("controller.upper", {}, "controller.upper is no known key; write controller.upper without quotes"),
    ("controller/upper/valve/swin", "1 kg", 'is no known key; did you mean "swing"?'),
    ("controller/upper/pan/swing", "1 kg", '"swing" belongs in [controller.NAME.valve]'),
    ("controller/upper/pan/freeboard", "20 cm", "reaches down to the floor"),
    ("controller/upper/pan/freeboard", "-1 mm", "must be at least 0"),
    ("controller/upper/pan/vessels", [], "needs at least 1, and has 0;"),
    ("controller/upper/pan/vessels", [{"diameter": "50 cm", "area": "1 m^2"}], "one of the three"),
    ("controller/upper/pan/vessels", [{"diameter": "0 cm"}], "must be at least 0.01 m"),
    ("controller/upper/pan/evaporation", "magic", 'must be one of "from-eto"'),
    ("controller/upper/pan/exposure", "1.0", "is not a plain number"),
    ("controller/upper/pan/exposure", float("nan"), "is not a finite number"),
    ("controller/upper/bed/tomatoes/area", "0 m^2", "must be at least 1e-06 m²"),
    ("controller/upper/bed/tomatoes/area", 12, "has no unit"),
    ("controller/upper/bed/tomatoes/plants", "tomatto", 'did you mean "tomato"'),
    ("controller/upper/bed/tomatoes/plants", {"species": 5.0, **ROOTS}, "species = 5.0 must be at most 2"),
    ("controller/upper/bed/tomatoes/plants", {"plant_factor": [5.0] * 12, **ROOTS}, "[0] = 5.0 must be at most 1.5"),
    ("controller/upper/bed/tomatoes/plants", {"plant_factor": 1.501, **ROOTS}, "plant_factor = 1.501 must be at most"),
    (
        "controller/upper/bed/tomatoes/soil",
        0,
        'soil = 0 is neither text in quotes nor a table; expected: such as "loam"',
    ),
    ("controller/upper/valve/press_times", ["\uff18:30"], 'must be "sunset"'),
    (
        "supply/spring",
        {**TANK, "volume": "1 m^3", "top_up": TOP_UP},
        'from = "spring" is the tank itself, and no mains of this file',
    ),
    (
        "uncertainty",
        {"controller": {"grey": {"swing": [0.9, 1.1]}}},
        "names no [controller.…] of this file; known are upper",
    ),
    ("controller/upper/bed/tomatoes/plants", {"species": "lots", **ROOTS}, 'species = "lots": unknown level'),
    ("controller/upper/bed/tomatoes/soil", "lome", 'did you mean "loam"'),
    ("controller/upper/bed/tomatoes/planted", None, "planted is missing"),
    ("controller/upper/bed/tomatoes/uniformity", 1.2, "must be at most 1"),
    (
        "controller/upper/bed/tomatoes/soil",
        {"field_capacity": 0.13, "wilting_point": 0.28},
        "must be below the field capacity",
    ),
    (
        "controller/upper/timer",
        {"days": ["mon"], "litres_a_week": "12001 L"},
        'timer.litres_a_week = "12001 L" comes to 1,000 mm a week over its beds; expected: at most 1000 mm',
    ),
    ("controller/upper/supply", "sprung", 'did you mean "spring"'),
    ("controller/upper/bed", {}, "needs at least 1"),
    ("weather/columns", {"tmin": {"column": " "}}, 'weather.columns.tmin.column = " " is empty; write it'),
    ("weather/columns", {"tmin": {"unit": ""}}, 'weather.columns.tmin.unit = "" is empty; write it'),
    (
        "owned",
        [{"name": name, "flow": "2 L/h"} for name in ("Drip", "drip")],
        'owned[1].name = "drip" is the name of another',
    ),
    (
        "fault",
        [{"kind": "clogged-emitters", "share": 0.5, "bed": "upper/tomatoes", "controller": "lower"}],
        'controller = "lower" is not its bed\'s valve; take it out',
    ),
    ("season/end", "2025-04-01", "is before the start"),
    ("season/end", "2035-05-09", "is 3,661 days from season.start = 2025-05-01 on; expected: at most 3,660 days"),
    ("season/start", True, "start = true is no date"),
    ("season/start", "1 May", "is not a date such as 2025-05-01"),
    ("site/latitude", 138.6, "must be at most 90"),
    ("site/latitude", None, "site.latitude is missing; expected: degrees, south negative"),
    ("site/timezone", "Europe/Lisabon", 'did you mean "Europe/Lisbon"'),
    (
        "site/timezone",
        "AEST",
        'did you mean "Australia/Brisbane"? Abbreviations stand for several: write a place, or "Etc/GMT-10"',
    ),
    ("site/timezone", "GMT-3", 'for 3 hours behind UTC write "Etc/GMT+3"'),
    ("controller/upper/pan/evaporation", "from-et", 'did you mean "from-eto"?'),
    (
        "variant/wide/controller/upper/bed",
        {"tomatos": {"area": "3 m^2"}},
        'bed.tomatos changes nothing that the file has; did you mean "tomatoes"?',
    ),
    ("site/timezone", "", "expected: a name of the IANA database"),
    ("supply/spring/pressure", "2001 kPa", 'pressure = "2001 kPa" must be at most 2000 kPa'),
    ("site/timezone", "Mars", "expected: a name of the IANA database"),
    (
        "controller/upper/valve/set_up_test",
        {"falls_at": "7 kg", "rises_at": "6 kg"},
        'controller.upper.valve.swing = "0.9 kg" stands beside set_up_test, and both say the same thing; take one',
    ),
    ("weather/file", ".", 'weather.file = "." is a folder; expected: the path of a weather file'),
    ("weather/file", "", 'weather.file = "" is empty; expected: the path of a weather file'),
    ("supply/spring/kind", "tank", "is for the mains; a tank"),
    ("supply/spring", {**TANK, "volume": "2 ML"}, "of at most 50 m; ML is a million litres"),
    ("supply/spring", {**TANK, "volume": "500 mL"}, "must be at least 1"),
    (
        "supply/spring",
        {
            **{key: given for key, given in TANK.items() if key != "footprint"},
            "volume": "9 L",
            "shape": [{"level": "0 m", "volume": "1 L"}, {"level": "1 m", "volume": "9 L"}],
        },
        'shape[0].volume = "1 L" is not the empty tank\'s; expected: "0 L"',
    ),
    ("supply/spring/pressure", None, "pressure is missing"),
    ("weather/file", None, "weather.file is missing"),
    ("season/from", "2025-05-01", "is called start here"),
    ("supply/", {"kind": "mains", "pressure": "1 bar"}, 'supply."" is no usable name'),
    ("owned", [{"name": "drip", "flow": "2 L/h", "depth": "20 cm"}], "one of the two"),
    (
        "controller/upper/bed/tomatoes/plants",
        {"name": "tomato", "base_temperature": 12},
        "is for stages_gdd, which is not given",
    ),
    ("controller/upper/valve/press_times", ["25:00"], 'must be "sunset"'),
    ("controller/upper", "a valve", "is not a table"),
    ("variant/wide/controller/upper/pan/vessels", [{"diameter": "70 kg"}], "variant.wide: "),
]


@pytest.mark.parametrize(("path", "value", "said"), BAD)
def test_what_makes_no_sense_is_one_line_that_names_the_place(path, value, said):
    with pytest.raises(ScenarioError) as caught:
        scenario_from(changed(path, value), "garden.toml")
    text = str(caught.value)
    assert said in text
    assert len(text.splitlines()) == 1, text
    assert text.startswith("garden.toml: ")
    assert "pydantic" not in text
    assert caught.value.key


def test_a_timer_may_give_a_metre_a_week():
    timer = {"days": ["mon"], "litres_a_week": "12 m^3"}
    assert scenario_from(changed("controller/upper/timer", timer)).controller["upper"].timer.litres_a_week == 12_000.0


def test_all_that_is_wrong_with_a_valve_is_said_at_once():
    description = changed("controller/upper/valve/press_times", ["sunset", "25:00", "noon", "7 am"])
    description["controller"]["upper"]["valve"]["swing"] = "0.1 g"
    with pytest.raises(ScenarioError) as caught:
        scenario_from(description, "garden.toml")
    lines = str(caught.value).splitlines()
    assert [line.split(" ")[1] for line in lines] == [
        "controller.upper.valve.swing",
        *(f"controller.upper.valve.press_times[{index}]" for index in (1, 2, 3)),
    ]
    assert '"noon" must be "sunset", "sunrise" or a time such as "20:30"' in lines[2]


def test_five_mistakes_are_five_lines():
    description = changed("controller/upper/valve/refill/flow", "2 kPa")
    description["controller"]["upper"]["pan"]["freeboard"] = "30 cm"
    description["controller"]["upper"]["bed"]["tomatoes"]["soil"] = "lome"
    description["site"]["latitude"] = "north"
    description["tittle"] = "x"
    with pytest.raises(ScenarioError) as caught:
        scenario_from(description)
    assert len(caught.value.problems) == 5


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("title = 'x", "line 1, where the file ends"),
        ("title = 'x'\nsite = [\n  } ", "line 3, column 3"),
        ("a = 1\na = 2\n", "stands twice"),
        ("[controller.upper.bed.herbs]\n[controller.upper.bed.herbs]\n", "two parts can't have one name"),
        ("", "site is missing"),
    ],
)
def test_a_file_that_is_no_scenario_is_said(tmp_path, text, said):
    path = tmp_path / "garden.toml"
    path.write_text(text)
    with pytest.raises(ScenarioError, match="garden.toml") as caught:
        load_scenario(path)
    assert said in str(caught.value)


def test_a_missing_file_a_folder_and_rubbish_are_said(tmp_path):
    with pytest.raises(ScenarioError, match="no such file"):
        load_scenario(tmp_path / "none.toml")
    with pytest.raises(ScenarioError, match="is a folder"):
        load_scenario(tmp_path)
    for name in ("dora.toml", "garden.toml"):
        (tmp_path / name).touch()
    for path in (tmp_path, tmp_path / "gardn.toml", tmp_path / "garden"):
        with pytest.raises(ScenarioError, match=r"did you mean .*garden\.toml\?"):
            load_scenario(path)
    (tmp_path / "weather.csv").write_text("date;tmin;tmax\n2025-01-01;3;4\n", encoding="utf-8")
    with pytest.raises(ScenarioError, match="looks like a table"):
        load_scenario(tmp_path / "weather.csv")
    rubbish = tmp_path / "rubbish.toml"
    rubbish.write_bytes(b"\xff\xfe\x00\x80")
    with pytest.raises(ScenarioError, match="UTF-8"):
        load_scenario(rubbish)


def test_a_variant_within_a_variant_is_told():
    with pytest.raises(ScenarioError, match=r"variant\.a\.variant does nothing within a variant; write it beside"):
        scenario_from({**SOUND, "variant": {"a": {"variant": {"b": {"title": "x"}}}}})


def test_an_unknown_variant_names_the_nearest():
    with pytest.raises(ScenarioError, match='did you mean "wide"'):
        scenario_from(SOUND).with_variant("wyde")


def test_every_commented_key_of_a_fallback_in_the_template_is_known():
    """Take the "# " away as the file says one may; what is shown without "such as" is the default."""
    text = (ROOT / "simulator" / "panbudget" / "templates" / "garden.toml").read_text(encoding="utf-8")
    lines, inside = [], False
    for line in text.splitlines():
        inside = line.startswith("# [[weather.fallback]]") or (inside and line.startswith("# "))
        lines.append(line.removeprefix("# ") if inside else line)
    scenario = scenario_from(tomllib.loads("\n".join(lines)))
    (given,) = scenario.weather.fallback
    assert set(type(given).model_fields) - {"elevation"} <= given.model_fields_set
    plain = type(given)(file="neighbour.csv", wind_height="2 m")
    assert (given.format, given.adjust, given.rain) == (plain.format, plain.adjust, plain.rain)
    assert given.elevation == 310.0


@pytest.mark.parametrize(
    ("fallbacks", "said"),
    [
        ([{"file": "weather.csv"}], 'weather.fallback[0].file = "weather.csv" is the weather file itself'),
        ([{"file": "a.csv"}, {"file": "a.csv"}], 'weather.fallback[1].file = "a.csv" is named twice'),
        ([{"file": "a.csv", "adjust": "yes"}], "weather.fallback[0].adjust"),
        ([{"file": "a.csv", "wind_hight": "10 m"}], 'did you mean "wind_height"?'),
        ([{"adjust": True}], "weather.fallback[0].file is missing"),
        ({"file": "a.csv"}, "weather.fallback"),
    ],
)
def test_a_fallback_that_makes_no_sense_is_refused_by_name(fallbacks, said):
    with pytest.raises(ScenarioError) as caught:
        scenario_from(changed("weather/fallback", fallbacks))
    assert said in str(caught.value)


def test_a_fallbacks_place_is_the_sites_where_it_says_nothing(make_garden, tmp_path):
    """Its own elevation decides what sky its radiation is checked against; a format unknown is named with its key."""
    from panbudget.weather.of_scenario import read_scenario_weather

    (tmp_path / "hill.csv").write_text(weather_csv(31, tmin=10.0), encoding="utf-8")
    text = weather_csv(31).replace("2025-05-04,14.0", "2025-05-04,")
    garden = make_garden({"weather": {"fallback": [{"file": "hill.csv", "elevation": "900 m"}]}}, weather=text)
    assert read_scenario_weather(garden).daily["tmin"].iloc[3] == 10.0
    with pytest.raises(ScenarioError, match=r'weather\.fallback\.format = "csw" is not known'):
        read_scenario_weather(garden.changed({"weather": {"fallback": [{"file": "hill.csv", "format": "csw"}]}}))


def test_what_a_scenario_says_wrongly_of_its_weather_is_told_with_its_own_name(make_garden):
    from panbudget.weather.of_scenario import read_scenario_weather
    from tests.weather.formats.test_ghcn import access

    garden = make_garden()
    garden.weather_paths[0].write_text(access(), encoding="utf-8")
    with pytest.raises(ScenarioError, match=r"garden\.toml: weather\.missing names marks"):
        read_scenario_weather(garden.changed({"weather": {"missing": ["-9999"]}}))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("latitude = 38,6", "a number has a decimal point, such as 37.4"),
        ("longitude = -9,1", "a number has a decimal point"),
        ('file = "C:\\Users\\me\\city.csv"', "folders of a path are parted by /, on Windows too"),
        ('title = "50 \\% mesh"', r"a backslash in quotes is written twice, \\,"),
        ('title = "a\\nb" x', "text goes in quotes"),
        ("title = “Mine”", 'its quotes are curly: type straight ones, "like these"'),
        ('title: "Mine"', 'a key is followed by =, such as title = "My garden"'),
        ("# mine\rsite = 1", "save it again as plain text in UTF-8, with the line ends"),
        ("# mi\0ne", "save it again as plain text in UTF-8"),
        ("\0t\0i\0t\0l\0e", "save it again as plain text in UTF-8"),
        ('title = "Mine', "a text ends on its own line, with the quotes that it begins with"),
        ('plants = "tomato; planted = 2025-05-05', "a text ends on its own line"),
        ('title = "Mine”', "its quotes are curly"),
        ("planted = 2025-05-05\x1b", r"'\x1b', looks like a blank or like nothing"),
        ("title\xa0= 1", r"what stands in that column, '\xa0', looks like a blank"),
        ("\v", r"'\x0b', looks like a blank or like nothing"),
        ("\ufefftitle = 1", r"'\ufeff', looks like a blank or like nothing"),
        ("depth = 18 cm  # of\u2028it", 'with a unit it is text in quotes, such as "50 cm"'),
        ("latitude = 43.5°", "a number stands alone, such as 37.4"),
        ("date,tmin,tmax", "it looks like a table, such as a weather file: name the garden's file"),
        (r'title = "\ud800"', r"no letter has the number behind that \u"),
    ],
)
def test_a_slip_of_the_keyboard_is_told_by_its_line_and_its_cure(tmp_path, line, said):
    (tmp_path / "garden.toml").write_text(f"# mine\n{line}\n", encoding="utf-8")
    with pytest.raises(ScenarioError) as caught:
        load_scenario(tmp_path / "garden.toml")
    assert "line 2" in str(caught.value)
    assert said in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


def test_a_season_may_have_ten_years_of_days():
    season = {**SOUND["season"], "start": dt.date(2025, 5, 1), "end": dt.date(2035, 5, 8)}
    assert scenario_from({**SOUND, "season": season}).season.end.year == 2035


def test_a_named_variant_may_change_nothing(tmp_path):
    """`size` writes one where the garden is best as it is described."""
    (tmp_path / "sized.toml").write_text("[variant.sized]\n# 'upper': nothing to change\n", encoding="utf-8")
    scenario = scenario_from(SOUND, tmp_path / "garden.toml")
    assert scenario.with_variant(str(tmp_path / "sized.toml")).controller == scenario.controller
    assert scenario.with_variants([tmp_path / "sized.toml"]).laid_over == (str(tmp_path / "sized.toml"),)


@pytest.mark.parametrize("letter", ["\x00", "\x1b", "\x08", "\x7f", "\x9f", "\u202e", "\u2066", "\udfff"])
def test_a_letter_that_steers_a_terminal_is_refused_in_any_text(letter):
    for overlay, where in (({"title": f"a{letter}b"}, "title"), ({"note": f"a{letter}"}, "note")):
        with pytest.raises(ScenarioError, match=f"^scenario.toml: {where} = .* can't be seen"):
            scenario_from({**SOUND, **overlay})
    with pytest.raises(ScenarioError, match="a key = .* can't be seen") as caught:
        scenario_from({**SOUND, f"ti{letter}tle": "x"})
    assert letter not in str(caught.value)


@pytest.mark.parametrize("letter", ["\n", "\t", "\u2028"])
def test_only_a_note_runs_over_lines(letter):
    scenario_from({**SOUND, "note": f"a{letter}b"})
    with pytest.raises(ScenarioError, match="^scenario.toml: title = "):
        scenario_from({**SOUND, "title": f"a{letter}b"})


@pytest.mark.parametrize(
    ("start", "found"),
    [
        (1430438400, "season.start = 1430438400 is a number; expected: a date such as 2025-05-01"),
        (0, "is a number"),
        (dt.date(205, 5, 1), "is in a year outside 1800 to 2200"),
        ("1799-05-01", "is in a year outside 1800 to 2200"),
        (dt.date(2201, 5, 1), "is in a year outside 1800 to 2200"),
    ],
)
def test_a_number_or_a_year_of_no_weather_is_no_date(start, found):
    with pytest.raises(ScenarioError, match=found):
        scenario_from({**SOUND, "season": {"start": start, "end": dt.date(2025, 5, 31)}})


@pytest.mark.parametrize("zone", ["localtime", "right/UTC", "posix/Asia/Tokyo", "posixrules", "", "."])
def test_a_zone_that_is_none_of_the_database_is_unknown(zone):
    """Debian's tzdata has the first three as files: the computer's own zone, and clocks with leap seconds."""
    with pytest.raises(ScenarioError, match="is an unknown time zone") as caught:
        scenario_from(changed("site/timezone", zone))
    assert f'"{zone}"?' not in str(caught.value)


@pytest.mark.parametrize(
    ("zone", "longitude", "cure"),
    [
        ("Asia/Urumqi", 73.5, ""),
        ("Asia/Shanghai", 73.5, ""),  # 8 hours ahead of UTC where the sun is 4.9
        ("Etc/GMT-8", 60.0, ""),
        ("Etc/GMT-8", 59.9, "mend the longitude (west is negative) or the zone"),
        ("America/New_York", 74.0, "longitude = -74 (west is negative)"),
        ("Asia/Tokyo", 2.0, "mend the longitude (west is negative) or the zone"),
        ("Pacific/Kiritimati", -157.4, ""),  # across the date line
        ("UTC", -175.0, ""),
        ("Etc/GMT", -175.0, ""),
        ("Australia/Sydney", 151.2, ""),  # summer time in January
        ("Australia/Sydney", 90.0, ""),
        ("Australia/Sydney", 89.0, "mend the longitude (west is negative) or the zone"),
    ],
)
def test_a_zone_that_keeps_another_sun_than_the_longitudes_is_refused(zone, longitude, cure):
    raw = changed("site/timezone", zone)
    raw["site"]["longitude"] = longitude
    if not cure:
        assert scenario_from(raw)
        return
    with pytest.raises(ScenarioError) as caught:
        scenario_from(raw)
    (problem,) = caught.value.problems
    assert (problem.where, problem.cure) == ("site.timezone", cure)
