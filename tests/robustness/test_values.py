"""Values out of any garden are refused with their range, and what lies on the bound is not; look-alikes are told."""

from __future__ import annotations

import copy
import datetime as dt
import re

import pytest
from pydantic import ValidationError

from panbudget.errors import Problem, ScenarioError, visible
from panbudget.scenario import problems
from panbudget.scenario.garden import scenario_from
from panbudget.scenario.quantities import Described
from panbudget.season.findings import _of_figures
from tests.scenario.test_garden import SOUND

PAN, VALVE, BED = ("controller/upper/pan/", "controller/upper/valve/", "controller/upper/bed/tomatoes/")
TUB = {"vessels": [{"diameter": "50 cm"}]}
SCAPE = {"species": "low", "root_depth": "50 cm", "depletion": 0.5}
TANK = {"kind": "tank", "outlet_height": "2 m"}


def with_values(changes):
    description = copy.deepcopy(SOUND)
    for path, value in changes.items():
        *way, last = path.split("/")
        part = description
        for key in way:
            part = part.setdefault(key, {})
        part[last] = value
    return description


def refusal(changes):
    with pytest.raises(ScenarioError) as caught:
        scenario_from(with_values(changes))
    return str(caught.value)


def test_a_mistake_is_told_of_the_key_that_is_written():
    """The default of another key was blamed."""
    assert 'pan.depth = "20 mm" is no more than the freeboard, 20 mm where none is given' in refusal(
        {PAN + "depth": "20 mm"}
    )
    assert 'pan.freeboard = "18 cm" reaches down' in refusal({PAN + "freeboard": "18 cm", PAN + "depth": "18 cm"})
    assert "tomatoes.plants.kc_ini = 1.3 is above the Kc" in refusal(
        {BED + "plants": {"name": "tomato", "kc_ini": 1.3}}
    )


def test_letters_without_width_are_written_out():
    assert "My\\u200bgarden" in visible("My\u200bgarden")
    for letter, written in {
        "\xad": "\\xad",
        "\u200f": "\\u200f",
        "\u2064": "\\u2064",
        "\U000e0041": "\\U000e0041",
    }.items():
        assert visible(f"ya{letter}rd") == f"ya{written}rd"
    persian = "\u0645\u06cc\u200c\u062e\u0648\u0631\u062f"  # what joins or parts letters is no control
    assert visible(persian) == persian
    assert str(ScenarioError(Problem("x", "key", "is wrong"), file="a\nb\tc")) == "a\\nb\\tc: key is wrong"


def soil(capacity, wilting):
    return {"field_capacity": capacity, "wilting_point": wilting}


# where, the last that can be, the first that can't, what is said of it
BOUNDS = [
    (
        "variant",
        {f"v{number}": {"title": "other"} for number in range(100)},
        {f"v{number}": {} for number in range(101)},
        "takes at most 100 entries",
    ),
    (PAN + "vessels", [{"area": "500 m^2"}], [{"area": "501 m^2"}], "at most 500 m²"),
    (PAN + "vessels", [{"diameter": "20 m"}], [{"diameter": "21 m"}], "at most 20 m;"),
    (PAN + "vessels", [{"diameter": "50 cm"}, {"diameter": "1 cm"}], [{"diameter": "0.9 cm"}], "at least 0.01 m;"),
    (PAN + "depth", "1 m", "1.1 m", "at most 1000 mm;"),
    ("owned", [{"name": "tub", **TUB, "depth": "1 m"}], [{"name": "tub", **TUB, "depth": "1.1 m"}], "at most 1000 mm;"),
    ("owned", [{"name": "drip", "flow": "10 m^3/h"}], [{"name": "drip", "flow": "10.1 m^3/h"}], "at most 10000 L/h;"),
    (BED + "plants", {**SCAPE, "density": 0.1}, {**SCAPE, "density": 0.09}, "at least 0.1;"),
    (BED + "plants", {**SCAPE, "microclimate": 0.1}, {**SCAPE, "microclimate": 0.0}, "at least 0.1;"),
    (BED + "area", "1000000 m^2", "1000001 m^2", "at most 1000000 m²;"),
    (PAN + "exposure", 0.05, 0.04, "at least 0.05"),
    (VALVE + "press_times", ["8:00", "08:01"], ["8:00", "08:00"], "is a time that stands there before; keep one"),
    (VALVE + "press_times", ["sunset", "sunrise"], ["sunset", "sunset"], "is a time that stands there before"),
    (VALVE + "rated_loss", "149 kPa", "150 kPa", "is all of the mains' pressure, 150 kPa, or more"),
    (VALVE + "refill", {"flow": "0.001 L/h"}, {"flow": "0.0009 L/h"}, "must be at least 0.001 L/h"),
    (VALVE + "refill", {"flow": "10 m^3/h"}, {"flow": "10.1 m^3/h"}, "at most 10000"),
    (BED + "soil", soil(0.8, 0.1), soil(0.81, 0.1), "at most 0.8"),
    (BED + "soil", soil(0.03, 0.01), soil(0.02, 0.01), "at least 0.03"),
    (BED + "soil", soil(0.3, 0.28), soil(0.3, 0.295), "leaves less than 0.01"),
    (BED + "area", "1 km^2", "1.1 km^2", "at most 1000000"),
    (BED + "uniformity", 0.01, 0.009, "at least 0.01"),
    (BED + "wetting_interval", "60 d", "61 d", "at most 1440"),
    (BED + "wetting_depth", "50 cm", "51 cm", "at most 500"),
    (BED + "emitters", {"count": 12, "flow": "1 m^3/h"}, {"count": 13, "flow": "1 m^3/h"}, "give 1,083 mm an hour"),
    (
        BED + "plants",
        {"name": "tomato", "kc_mid": 0.8},
        {"name": "tomato", "kc_mid": 0.79},
        "which is the season's highest",
    ),
    (
        BED + "plants",
        {"name": "tomato", "kc_ini": 1.15},
        {"name": "tomato", "kc_ini": 1.16},
        "which is the season's highest",
    ),
    (
        BED + "plants",
        {"name": "tomato", "stages_gdd": [1e4] * 4},
        {"name": "tomato", "stages_gdd": [1e4, 1, 1, 10_001]},
        "10000",
    ),
    (
        BED + "plants",
        {"name": "tomato", "root_depth": "1 cm"},
        {"name": "tomato", "root_depth": "9 mm"},
        "at least 0.01",
    ),
    (
        "controller/upper/pipe",
        {"length": "10 km", "diameter": "1 mm"},
        {"length": "11 km", "diameter": "1 mm"},
        "10000",
    ),
    (
        "controller/upper/pipe",
        {"length": "1 m", "diameter": "1 m"},
        {"length": "1 m", "diameter": "1.1 m"},
        "at most 1",
    ),
    (
        "controller/upper/pipe",
        {"length": "1 m", "diameter": "1 mm"},
        {"length": "1 m", "diameter": "0.9 mm"},
        "at least 0.001",
    ),
    (
        "controller/upper/timer",
        {"days": ["mon"], "duration": "24 h"},
        {"days": ["mon"], "duration": "25 h"},
        "at most 24",
    ),
    (
        "supply/spring",
        TANK | {"volume": "50 m^3", "footprint": "1 m^2"},
        TANK | {"volume": "51 m^3", "footprint": "1 m^2"},
        "stands 51 m high",
    ),
    (
        "supply/spring",
        TANK | {"volume": "10000 m^3", "footprint": "1000 m^2", "outlet_height": "500 m"},
        TANK | {"volume": "1 m^3", "footprint": "1 m^2", "outlet_height": "501 m"},
        "at most 500",
    ),
    (
        "supply/spring",
        TANK | {"volume": "1 m^3", "footprint": "1 m^2", "roof": {"area": "9 m^2", "first_flush": "100 mm"}},
        TANK | {"volume": "1 m^3", "footprint": "1 m^2", "roof": {"area": "9 m^2", "first_flush": "101 mm"}},
        "at most 0.1 m",
    ),
    ("owned", [{"name": "a", "flow": "2 L/h"}], [{"name": " ", "flow": "2 L/h"}], 'name = " " is empty'),
    *(
        ("supply/spring/right/priority_date", last, first, "is no date and no year")
        for last, first in (
            (1000, 999),
            (dt.date.today().year, dt.date.today().year + 1),
            (dt.date(1000, 1, 1), dt.date(999, 12, 31)),
            (1905, 1905.5),
            ("205", True),
            ("0", float("nan")),
        )
    ),
    ("supply/spring/meter", {"multiplier": 1e6}, {"multiplier": 1_000_001}, "at most 1000000"),
    ("fault", [{"kind": "knocked", "trip": "1000 kg"}], [{"kind": "knocked", "trip": "1001 kg"}], "at most 1000 kg"),
    ("fault", [{"kind": "knocked", "swing": "1 t"}], [{"kind": "knocked", "swing": "1.1 t"}], "at most 1000 kg"),
    (VALVE + "swing", "1 g", "0.9 g", "below a gram"),
    ("supply/spring/salinity", "300 dS/m", "301 dS/m", "at most 300 dS/m"),
    ("fault", [{"kind": "leak", "loss": "1000 L/h"}], [{"kind": "leak", "loss": "1001 L/h"}], "at most 1000 L/h"),
    ("fault", [{"kind": "animals", "loss": "24 m^3/day"}], [{"kind": "animals", "loss": "25 m^3/day"}], "at most 1000"),
    ("wishes", {"openings_a_day": [0.5, 1000]}, {"openings_a_day": [0.5, 1001]}, "at most 1000"),
    (
        "supply/spring",
        TANK | {"volume": "9000 m^3", "footprint": "100000 m^2"},
        TANK | {"volume": "9000 m^3", "footprint": "100001 m^2"},
        "at most 100000 m²",
    ),
    (
        "supply/spring",
        TANK | {"volume": "1 m^3", "footprint": "1 m^2", "top_up": {"below": "1 L", "rate": "1000 m^3/h"}},
        TANK | {"volume": "1 m^3", "footprint": "1 m^2", "top_up": {"below": "1 L", "rate": "1001 m^3/h"}},
        "at most 1000000 L/h",
    ),
    ("title", "x" * 500, "x" * 501, "has 501 characters; expected: at most 500"),
    ("note", "x" * 500, "x" * 501, "has 501 characters"),
]


@pytest.mark.parametrize(("path", "last", "first", "words"), BOUNDS)
def test_what_is_out_of_any_garden_is_refused_from_its_bound_on(path, last, first, words):
    scenario_from(with_values({path: last}))
    message = refusal({path: first})
    assert words in message
    assert path.split("/")[-1] in message


TOMATO = {"name": "tomato"}  # FAO-56: Kc 0.60, 1.15, 0.80; 145 days; 0.6 m high
# where, the last that nobody asks about, the first that an experienced gardener would, what is said of it
UNLIKELY = [
    (PAN + "exposure", 2.0, 2.01, "exposure = 2.01 (at most 2)"),
    (PAN + "exposure", 0.3, 0.29, "exposure = 0.29 (at least 0.3)"),
    (PAN + "night_share", 0.5, 1.0, "night_share = 1 (at most 0.5)"),
    (BED + "uniformity", 0.5, 0.49, "uniformity = 0.49 (at least 0.5)"),
    (BED + "root_fraction", 0.1, 0.09, "root_fraction = 0.09 (at least 0.1)"),
    (BED + "wetted_fraction", 0.05, 0.04, "wetted_fraction = 0.04 (at least 0.05)"),
    (BED + "soil", soil(0.3, 0.01), soil(0.3, 0.0), "wilting_point = 0 (at least 0.01)"),
    (
        BED + "soil",
        {"layers": [soil(0.6, 0.4) | {"thickness": "1 m"}]},
        {"layers": [soil(0.6, 0.41) | {"thickness": "1 m"}]},
        "at most 0.4",
    ),
    (
        BED + "plants",
        {**TOMATO, "root_depth": "10 cm"},
        {**TOMATO, "root_depth": "9 cm"},
        "root_depth = 0.09 m (at least 0.1 m)",
    ),
    (BED + "plants", {**TOMATO, "root_depth": "3 m"}, {**TOMATO, "root_depth": "3.1 m"}, "at most 3 m"),
    (BED + "plants", {**TOMATO, "depletion": 0.8}, {**TOMATO, "depletion": 0.81}, "at most 0.8"),
    (
        BED + "plants",
        {**TOMATO, "height": "179 cm"},
        {**TOMATO, "height": "181 cm"},
        "height = 1.81 m (the table has 0.6 m)",
    ),
    (BED + "plants", {**TOMATO, "height": "21 cm"}, {**TOMATO, "height": "19 cm"}, "(the table has 0.6 m)"),
    (BED + "plants", {**TOMATO, "kc_ini": 0.2}, {**TOMATO, "kc_ini": 0.19}, "kc_ini = 0.19 (the table has 0.6)"),
    (
        BED + "plants",
        {**TOMATO, "stages": [12, 12, 13, 12]},
        {**TOMATO, "stages": [12, 12, 12, 12]},
        "days of stages = 48 (the table has 145)",
    ),
    (
        BED + "plants",
        {**TOMATO, "stages": [100, 100, 100, 135]},
        {**TOMATO, "stages": [100, 100, 100, 136]},
        "days of stages = 436",
    ),
    (BED + "plants", {**TOMATO, "stages_gdd": [50] * 4}, {**TOMATO, "stages_gdd": [50, 50, 50, 49]}, "at least 200"),
    (
        BED + "plants",
        {**TOMATO, "stages_gdd": [1500] * 4},
        {**TOMATO, "stages_gdd": [1500] * 3 + [1501]},
        "at most 6000",
    ),
    (VALVE + "refill", {"flow": "50 L/h"}, {"flow": "51 L/h"}, "flow = 51 L/h (at most 50 L/h)"),
    (
        VALVE + "refill",
        {"flow": "2 L/h", "at": "5 kPa"},
        {"flow": "2 L/h", "at": "4.9 kPa"},
        "at = 4.9 kPa (at least 5",
    ),
    (
        VALVE + "refill",
        {"flow": "2 L/h", "at": "400 kPa"},
        {"flow": "2 L/h", "at": "401 kPa"},
        "at = 401 kPa (at most 400",
    ),
    (BED + "emitters", {"count": 1, "flow": "250 L/h"}, {"count": 1, "flow": "251 L/h"}, "flow = 251 L/h (at most 250"),
    (BED + "emitters", {"count": 9, "flow": "0.1 L/h"}, {"count": 9, "flow": "0.09 L/h"}, "(at least 0.1 L/h)"),
    (VALVE + "refill", {"flow": "0.1 L/h"}, {"flow": "0.09 L/h"}, "flow = 0.09 L/h (at least 0.1 L/h)"),
    (
        BED + "leaching",
        {"water": "10 dS/m", "threshold": "0.5 dS/m"},
        {"water": "10.1 dS/m", "threshold": "0.5 dS/m"},
        "water = 10.1 (at most 10)",
    ),
    (
        BED + "leaching",
        {"water": "1 dS/m", "threshold": "10 dS/m"},
        {"water": "1 dS/m", "threshold": "11 dS/m"},
        "threshold = 11",
    ),
    ("weather/wind_height", "100 m", "101 m", "wind_height = 101 m (at most 100 m)"),
    ("weather/wind_height", "1 m", "0.9 m", "wind_height = 0.9 m (at least 1 m)"),
]


@pytest.mark.parametrize(("path", "last", "first", "text"), UNLIKELY)
def test_what_gardens_seldom_have_is_a_caution_from_its_bound_on(path, last, first, text):
    """Such figures ran through without a word."""
    assert not [*_of_figures(scenario_from(with_values({path: last})))]
    (finding,) = _of_figures(scenario_from(with_values({path: first})))
    assert (finding.severity, finding.code) == ("caution", "unlikely")
    assert text in finding.message


@pytest.mark.parametrize(
    ("plants", "planted", "told"), [("mint", "2025-06-01", 1), ("mint", "2025-05-31", 0), ("tomato", "2025-06-01", 0)]
)
def test_a_perennial_planted_after_the_season_is_told(plants, planted, told):
    """It was taken to stand there already; of an annual that never grows another finding tells."""
    garden = scenario_from(with_values({BED + "plants": plants, BED + "planted": planted}))
    assert [finding.code for finding in _of_figures(garden)] == ["planted-later"] * told


@pytest.mark.parametrize(
    "text", ["1e300 m", "1e9 m", "1e-9 m", "８ m", "8\u200b m", "8 m\u200b", "8 m**2**2", "2 L**9**9**9"]
)
def test_a_length_that_is_none(text):
    assert "controller.upper.pan.depth" in refusal({PAN + "depth": text})


def test_a_letter_that_cant_be_seen_is_told_of_the_entry_that_has_it():
    """Of several vessels none was named."""
    vessels = [{"diameter": "50 cm"}, {"diameter": "5 \u202ecm"}]
    assert 'pan.vessels[1].diameter = "5 \\u202ecm" holds a letter' in refusal({PAN + "vessels": vessels})


def test_plantings_are_listed_in_order_of_time():
    bed = with_values({})["controller"]["upper"]["bed"]["tomatoes"]
    del bed["plants"], bed["planted"]
    days = [{"plants": "lettuce", "planted": day} for day in ("2025-05-01", "2025-05-02")]
    scenario_from(with_values({BED.rstrip("/"): bed | {"plantings": days}}))
    for wrong in (days[::-1], days[:1] * 2):
        assert "is not after the planting before it" in refusal({BED.rstrip("/"): bed | {"plantings": wrong}})


@pytest.mark.parametrize(
    ("one", "other"), [("café", "cafe\u0301"), ("Bed", "bed"), ("ｂed", "bed"), ("Straße", "STRASSE"), ("a", "a ")]
)
@pytest.mark.parametrize("where", ["supply", "controller", "controller/upper/bed", "variant"])
def test_names_that_look_alike_are_refused(where, one, other):
    part = with_values({})
    for key in where.split("/"):
        part = part[key]
    part = {"season": {"end": "2025-05-30"}} if where == "variant" else next(iter(part.values()))
    assert "look alike; rename one" in refusal({f"{where}/{one}": part, f"{where}/{other}": part})


@pytest.mark.parametrize("name", ["tomatо", "сafé 2", "μbed", "Bedо", "ab вd"])
def test_a_word_of_letters_of_several_scripts_that_look_alike_is_refused(name):
    """A Cyrillic о, с, о and в, and a Greek mu, among Latin letters."""
    refused = refusal({f"{BED.rsplit('/', 2)[0]}/{name}": with_values({})["controller"]["upper"]["bed"]["tomatoes"]})
    assert "among letters of another script that look like it; write each word in one script" in refused
    assert any(script in refused for script in ("(CYRILLIC SMALL LETTER", "(GREEK SMALL LETTER MU"))


@pytest.mark.parametrize("name", ["томаты", "bed Б", "ντομάτα", "トマト2 b"])
def test_words_of_one_script_are_names(name):
    bed = with_values({})["controller"]["upper"]["bed"]["tomatoes"]
    assert name in scenario_from(with_values({f"{BED.rsplit('/', 2)[0]}/{name}": bed})).controller["upper"].bed


def test_a_variants_file_is_blamed_for_its_own_mistake(tmp_path):
    file = tmp_path / "v.toml"
    for text in ("controller.upper.pan.exposure = 9.0", "controller.uper.pan.exposure = 1.0", 'title = "a\\u0000"'):
        file.write_text(text, encoding="utf-8")
        with pytest.raises(ScenarioError) as caught:
            scenario_from(SOUND, "garden.toml").with_variant(str(file))
        assert str(caught.value).startswith(f"{file}: ") and "garden.toml" not in str(caught.value)


@pytest.mark.parametrize(
    ("given", "printed"), [(12.5, "12.5"), (-1, "-1"), (float("nan"), None), (float("inf"), None), (True, None)]
)
def test_a_meters_reading_as_printed_is_a_number_or_words(given, printed):
    where = "supply/spring/meter"
    if printed is None:
        assert "meter.first_reading = " in refusal({where: {"first_reading": given}})
    else:
        meter = scenario_from(with_values({where: {"first_reading": given}})).supply["spring"].meter
        assert meter.first_reading == printed
    for words in ("1200 m^3", "00123", "12 counts"):
        scenario_from(with_values({where: {"last_reading": words}}))
    assert '= "12 kg" is a weight; expected: a volume' in refusal({where: {"first_reading": "12 kg"}})


def quantities_of(part):
    """Classes of the scenario and their keys that take text with a unit."""
    for below in part.__subclasses__():
        yield from (
            (below, key)
            for key, field in below.model_fields.items()
            if any("unit" in getattr(said, "written", {}) for said in problems._parts([field]))
        )
        yield from quantities_of(below)


def complaints(part, key, value):
    """What is said of one key of a part."""
    try:
        part.model_validate({key: value})
    except ValidationError as error:
        return [found for found in problems.problems(error, part) if found.where == key]
    return []


def test_a_keys_examples_can_be_pasted():
    """`first_flush` was refused with an example of 50 cm, which it refuses too."""
    tried = 0
    for part, key in {*quantities_of(Described)}:
        (problem,) = complaints(part, key, "5 bananas")
        for example in re.findall('"([^"]+)"', problem.expected):
            tried += 1
            assert not complaints(part, key, example), (part, key)
    assert tried > 60
