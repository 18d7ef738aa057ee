"""
The bounds of what a person may describe: what lies at one is taken, and what lies just beyond it is refused.

They keep slips of the keyboard and of units out of a garden; common practice, no source, but for those of a globe and a
calendar, for the curve numbers (30 to 100: USDA NRCS, National Engineering Handbook 630, chapter 10, from memory) and for the
Hazen–Williams coefficients (60 to 160: from old iron to smooth plastic, any textbook of hydraulics, from memory).
"""

import math
import re
import tomllib

import pytest
from pydantic import TypeAdapter, ValidationError

from panbudget.errors import ScenarioError
from panbudget.scenario import beds, faults, garden, pans, rights, supplies, wishes
from panbudget.scenario.problems import is_usable, problems
from panbudget.scenario.uncertainty import Uncertainty
from panbudget.scenario.zones import unknown_zone

EMITTER = {"flow": "2 L/h"}
BED = {
    "area": "1 m^2",
    "emitters": EMITTER,
    "soil": "loam",
    "plants": {"kc": 1.0, "root_depth": "1 m", "depletion": 0.5},
}
SOIL = {"field_capacity": 0.5, "wilting_point": 0.1}
LAYER = {**SOIL, "thickness": "1 m"}
NAMED = {"name": "tomato"}
OWN = {"kc": 1.0, "root_depth": "1 m", "depletion": 0.5}
LANDSCAPE = {"species": 1.0, "root_depth": "1 m", "depletion": 0.5}
SITE = {"latitude": 0.0, "elevation": "0 m"}
FILE = {"file": "weather.csv"}
HEAT = {"start": "2025-05-01", "warmer": "5 K"}
PAN = {"vessels": [{"diameter": "1 m"}], "depth": "1 m"}
TEST = {"falls_at": "2 kg", "rises_at": "1 kg"}
SWING = {"swing": "1 kg", "refill": EMITTER}
TIMER = {"days": ["mon"], "duration": "1 h"}
TANK = {"kind": "tank", "volume": "1000 L", "footprint": "1e5 m^2", "outlet_height": "1 m"}
SHAPE = [{"level": "0 m", "volume": "0 L"}, {"level": "1 m", "volume": "1000 L"}]
SHAPED = {"kind": "tank", "volume": "1000 L", "outlet_height": "1 m"}
PIPE = {"length": "1 m", "diameter": "10 mm"}

BOUNDS = [
    # what, the rest of it, key, at the lower bound, below it, at the upper bound, above it; None where there is none
    (beds.Emitter, EMITTER, "flow", "1 mL/h", "0 L/h", "10000 L/h", "10001 L/h"),
    (beds.Emitter, EMITTER, "at", "0.01 kPa", "0 kPa", "2000 kPa", "2001 kPa"),
    (beds.Emitter, EMITTER, "exponent", 0, -0.001, 1, 1.001),
    (beds.Emitters, EMITTER, "count", 1, 0, 1_000_000, 1_000_001),
    (beds.OwnSoil, {**SOIL, "wilting_point": 0.0}, "field_capacity", 0.03, 0.0299, 0.8, 0.801),
    (beds.OwnSoil, {**SOIL, "field_capacity": 0.25}, "wilting_point", 0, -0.001, 0.24, 0.2401),
    (beds.OwnLayer, LAYER, "thickness", "1 cm", "9.9 mm", "10 m", "10.1 m"),
    (beds.LayeredSoil, {}, "layers", [LAYER], [], [LAYER] * 4, [LAYER] * 5),
    (beds.NamedPlants, NAMED, "height", "0.01 mm", "0 m", "50 m", "51 m"),
    (beds.NamedPlants, NAMED, "stages", [0, 1, 0, 0], [-1, 1, 0, 0], [400, 320, 0, 0], [400, 321, 0, 0]),
    (beds.NamedPlants, NAMED, "stages", None, [1, 1, 1], [0, 0, 0, 400], [0, 0, 0, 401]),
    (beds.NamedPlants, NAMED, "stages", None, None, None, [1, 1, 1, 1, 1]),
    (beds.NamedPlants, NAMED, "stages_gdd", None, [1, 1, 1], None, [1, 1, 1, 1, 1]),
    (beds.NamedPlants, NAMED, "stages_gdd", [0, 1, 0, 0], [-1, 1, 0, 0], [10_000] * 4, [10_001, 0, 0, 0]),
    (beds.NamedPlants, {**NAMED, "stages_gdd": [200, 300, 400, 100]}, "base_temperature", -10, -10.1, 30, 30.1),
    (beds.NamedPlants, NAMED, "kc_mid", None, 0, 2, 2.001),
    (beds.NamedPlants, NAMED, "root_depth", "1 cm", "9.9 mm", "10 m", "10.1 m"),
    (beds.NamedPlants, NAMED, "depletion", 0.001, 0, 0.999, 1),
    (beds.OwnPlants, OWN, "kc", 0.001, 0, 2, 2.001),
    (beds.Landscape, LANDSCAPE, "species", 0, -0.001, 2, 2.001),
    (beds.Landscape, LANDSCAPE, "density", 0.1, 0.099, 2, 2.001),
    (beds.Landscape, LANDSCAPE, "microclimate", 0.1, 0.099, 2, 2.001),
    (beds.Landscape, {**LANDSCAPE, "species": None}, "plant_factor", 0, -0.001, 1.5, 1.501),
    (beds.PlantedBed, {**BED, "emitters": {"flow": "1 mL/h"}}, "area", None, "0 m^2", "1e6 m^2", "1.001e6 m^2"),
    (beds.PlantedBed, BED, "emitters", None, None, {"flow": "10 L/h", "count": 100}, {"flow": "10 L/h", "count": 101}),
    (beds.PlantedBed, BED, "wetting_interval", "1 min", "0 h", "60 days", "60.1 days"),
    (beds.PlantedBed, BED, "wetting_depth", "1 mm", "0 mm", "500 mm", "501 mm"),
    (beds.PlantedBed, BED, "uniformity", 0.01, 0.0099, 1, 1.001),
    (beds.PlantedBed, BED, "initial_depletion", 0, -0.001, 1, 1.001),
    (beds.PlantedBed, BED, "root_fraction", 0.01, 0.0099, 1, 1.001),
    (beds.PlantedBed, BED, "wetted_fraction", 0.01, 0.0099, 1, 1.001),
    (beds.PlantedBed, BED, "curve_number", 30, 29.9, 100, 100.1),
    (faults.CloggedRefill, {"kind": "clogged-refill"}, "share", 0.001, 0, 1, 1.001),
    (faults.Covered, {"kind": "mesh"}, "factor", 0, -0.001, 5, 5.001),
    (faults.Splash, {"kind": "splash", "splash": "1 mm"}, "above", "0 m/s", "-0.1 m/s", None, None),
    (garden.Site, SITE, "latitude", -90, -90.1, 90, 90.1),
    (garden.Site, SITE, "longitude", -180, -180.1, 180, 180.1),
    (garden.Site, SITE, "elevation", "-430 m", "-431 m", "6000 m", "6001 m"),
    (garden.WeatherSource, FILE, "wind_height", "0.5 m", "0.49 m", "200 m", "201 m"),
    (
        garden.WeatherSource,
        FILE,
        "fallback",
        None,
        None,
        [{"file": f"{n}.csv"} for n in range(10)],
        [{"file": f"{n}.csv"} for n in range(11)],
    ),
    (garden.Heat, HEAT, "days", 1, 0, 60, 61),
    (garden.Heat, HEAT, "warmer", "0.01 K", "0 K", "15 K", "15.1 K"),
    (pans.Vessel, {}, "diameter", "1 cm", "9.9 mm", "20 m", "20.1 m"),
    (pans.Vessel, {"area": "1 m^2"}, "count", 1, 0, 1_000_000, 1_000_001),
    (pans.Pan, {**PAN, "freeboard": "0 mm"}, "depth", "0.1 mm", "0 mm", "1 m", "1.001 m"),
    (pans.Pan, PAN, "freeboard", "0 mm", "-1 mm", "999 mm", "1000 mm"),
    (pans.Pan, PAN, "vessels", None, [], [{"area": "500 m^2"}], [{"area": "500.1 m^2"}]),
    (pans.Pan, PAN, "exposure", 0.05, 0.0499, 5, 5.001),
    (pans.Pan, PAN, "night_share", 0, -0.001, 1, 1.001),
    (pans.Pan, PAN, "ground_albedo", 0, -0.001, 1, 1.001),
    (pans.SetUpTest, TEST, "rises_at", "0.001 kg", "0 kg", "1.999 kg", "2 kg"),
    (pans.SetUpTest, TEST, "arm_ratio", 0.001, 0, 100, 100.1),
    (pans.SwingValve, SWING, "swing", "1 g", "0.99 g", None, None),
    (pans.SwingValve, SWING, "press_times", None, None, [f"{h}:00" for h in range(24)], [f"{h}:30" for h in range(25)]),
    (
        pans.SwingValve,
        SWING,
        "press_times",
        None,
        None,
        [f"{h}:00" for h in range(24)],
        [*(f"{h}:00" for h in range(24)), "sunset"],
    ),
    (pans.Timer, TIMER, "duration", "1 min", "0 h", "24 h", "24.1 h"),
    (pans.Timer, {"days": ["mon"]}, "litres_a_week", "1 L", "0 L", "1e7 L", "1.001e7 L"),
    (rights.Right, {}, "water_year_start", 1, 0, 12, 13),
    (rights.Right, {}, "decimals", 0, -1, 9, 10),
    (rights.Right, {}, "holder", "", None, "a" * 200, "a" * 201),
    (rights.Right, {}, "attestation", "", None, "a" * 1000, "a" * 1001),
    (rights.Meter, {}, "accuracy", 0, -0.001, 0.5, 0.501),
    (rights.Meter, {}, "multiplier", 0.001, 0, None, None),
    (supplies.Roof, {"area": "1 m^2"}, "area", None, "0 m^2", "1e5 m^2", "1.001e5 m^2"),
    (supplies.Roof, {"area": "1 m^2"}, "runoff", 0, -0.001, 1, 1.001),
    (supplies.Roof, {"area": "1 m^2"}, "first_flush", "0 mm", "-1 mm", None, None),
    (supplies.Pipe, PIPE, "length", None, "0 m", "10 km", "10.1 km"),
    (supplies.Pipe, PIPE, "diameter", "1 mm", "0.99 mm", "1 m", "1.01 m"),
    (supplies.Pipe, PIPE, "smoothness", 60, 59.9, 160, 160.1),
    (supplies.Mains, {}, "pressure", None, "0 kPa", "2000 kPa", "2001 kPa"),
    (supplies.Tank, TANK, "volume", "1 L", "0.9 L", "1e7 L", "1.001e7 L"),
    (supplies.Tank, {**TANK, "volume": "50 m^3"}, "footprint", "1 m^2", "0.99 m^2", "1e5 m^2", "1.001e5 m^2"),
    (supplies.Tank, SHAPED, "shape", None, SHAPE[:1], None, [*SHAPE, SHAPE[-1]]),
    (supplies.Tank, SHAPED, "shape", SHAPE, [{"level": "0 m", "volume": "1 L"}, SHAPE[1]], None, None),
    *(
        (supplies.Tank, SHAPED, "shape", None, None, None, [*SHAPE, {**SHAPE[1], key: more}])
        for key, more in (("level", "1.1 m"), ("volume", "1001 L"))
    ),
    (supplies.Tank, TANK, "outlet_height", "0 m", "-0.1 m", "500 m", "501 m"),
    (supplies.Tank, TANK, "full_at_start", 0, -0.001, 1, 1.001),
    (supplies.Tank, TANK, "top_up", None, None, *({"below": below, "rate": "1 L/h"} for below in ("1000 L", "1001 L"))),
    (Uncertainty, {}, "exposure", [0.001, 1], [0, 1], [1, 10], [1, 10.1]),
    (Uncertainty, {}, "swing", [1, 1], [1.01, 1.1], [1, 1], [0.9, 0.99]),
    (Uncertainty, {}, "samples", 20, 19, 20_000, 20_001),
    (Uncertainty, {}, "interval", 0.5, 0.499, 0.99, 0.991),
    (Uncertainty, {}, "seed", 0, -1, 2**31, 2**31 + 1),
    (wishes.Wishes, {}, "stress_days", 0, -1, 366, 367),
    (wishes.Wishes, {}, "openings_a_day", [0, 0.1], [-0.1, 0.1], [1, 1000], [1, 1001]),
    (wishes.Wishes, {}, "openings_a_day", None, None, None, [1, 1]),
    (wishes.Owned, {"name": "bucket"}, "flow", None, "0 L/h", "10000 L/h", "10001 L/h"),
]


@pytest.mark.parametrize(
    ("part", "others", "key", "least", "less", "most", "more"),
    BOUNDS,
    ids=[f"{part.__name__}.{key}" for part, _, key, *_ in BOUNDS],
)
def test_what_lies_at_a_bound_is_taken_and_what_lies_beyond_it_is_refused(part, others, key, least, less, most, more):
    for value in (least, most):
        if value is not None:
            part.model_validate({**others, key: value})
    for value in (less, more):
        if value is not None:
            with pytest.raises(ValidationError):
                part.model_validate({**others, key: value})


def refused(part, others, key, value):
    """What is said of a key with this value: what was found, what was expected."""
    try:
        part.model_validate({**others, key: value})
    except ValidationError as error:
        return [(problem.found, problem.expected) for problem in problems(error, part) if problem.where == key]
    return []


#: quantities far beyond any, whose unit has a wider bound of its own
FAR = [
    (*row[:3], None, "-1e12 " + unit, None, "1e12 " + unit)
    for row in BOUNDS
    for unit in re.findall("[0-9] (.+)", str(row[6]))
]


@pytest.mark.parametrize(
    ("part", "others", "key", "less", "more"),
    [(*row[:3], row[4], row[6]) for row in (*BOUNDS, *FAR) if not isinstance(row[6] or row[4], list | dict)],
)
def test_the_bound_that_is_said_is_the_one_held_and_the_example_works(part, others, key, less, more):
    for value in (less, more, True):
        for found, expected in refused(part, others, key, value) if value is not None else ():
            bound = re.search("must be at (?:least|most) (.+)", found)
            said = re.findall(r'such as ("[^"]+"|\[[^\]]*\]|[-.0-9]+)', expected)
            assert "beyond any garden" not in found or key in ("freeboard", "swing", "rises_at", "above"), found
            for text in [*said, *([f'"{bound[1]}"' if " " in bound[1] else bound[1]] if bound else [])]:
                pasted = refused(part, others, key, tomllib.loads(f"x = {text}")["x"])
                assert not [line for line, _ in pasted if re.search("must be at|is not", line)], (text, pasted)
            assert said or "must be at" not in found, (found, expected)


@pytest.mark.parametrize(
    ("name", "usable"), [("a" * 60, True), ("a" * 61, False), ("a/b", False), (" ", False), ("a\u200bb", False)]
)
def test_a_name_has_sixty_letters_at_most_and_no_stroke(name, usable):
    assert is_usable(name) is usable


@pytest.mark.parametrize(("hours", "days"), [("1 h", 1), ("35 h", 1), ("37 h", 2), ("20 days", 20)])
def test_days_before_the_season_are_whole_ones(hours, days):
    dates = garden.SeasonDates.model_validate({"start": "2025-05-01", "end": "2025-05-02", "spin_up": hours})
    assert dates.spin_up_days == days


@pytest.mark.parametrize(("off", "sound"), [(1e-7, True), (1e-5, False)])
def test_shares_of_a_mixed_bed_add_up_to_one_but_for_rounding(off, sound):
    parts = [{"plants": OWN, "share": 0.5}, {"plants": OWN, "share": 0.5 - off}]
    described = {**{key: value for key, value in BED.items() if key != "plants"}, "mix": parts}
    if sound:
        beds.MixedBed.model_validate(described)
    else:
        with pytest.raises(ValidationError, match="add up to"):
            beds.MixedBed.model_validate(described)


@pytest.mark.parametrize(("volume", "sound"), [(1000.0, True), (1000.0 * (1 + 5e-10), True), (1000.001, False)])
def test_a_tanks_shape_reaches_its_volume_but_for_rounding(volume, sound):
    """Litres that were gallons come back with their last bits changed."""
    shape = [{"level": "0 m", "volume": "0 L"}, {"level": "1 m", "volume": "1000 L"}]
    described = {"kind": "tank", "volume": f"{volume!r} L", "shape": shape, "outlet_height": "1 m"}
    if sound:
        assert math.isclose(supplies.Tank.model_validate(described).points[-1][0], 1000.0)
    else:
        with pytest.raises(ValidationError, match="ends at"):
            supplies.Tank.model_validate(described)


@pytest.mark.parametrize(("volume", "hint"), [("999999 L", False), ("1000000 L", True)])
def test_a_tank_of_a_million_litres_that_is_too_tall_may_have_been_millilitres(volume, hint):
    described = {**TANK, "volume": volume, "footprint": "1 m^2"}
    with pytest.raises(ValidationError) as caught:
        supplies.Tank.model_validate(described)
    assert ("mL" in str(caught.value)) is hint


@pytest.mark.parametrize(
    ("day", "taken"), [("1800-01-01", True), ("1799-12-31", False), ("2200-12-31", True), ("2201-01-01", False)]
)
def test_a_date_lies_between_1800_and_2200(day, taken):
    date = TypeAdapter(garden.Date)
    if taken:
        assert f"{date.validate_python(day)}" == day
    else:
        with pytest.raises(ValidationError, match="year outside"):
            date.validate_python(day)


@pytest.mark.parametrize(("zone", "known"), [("UTC-12", True), ("UTC-13", False), ("UTC+14", True), ("UTC+15", False)])
def test_the_fixed_zones_go_from_twelve_hours_behind_to_fourteen_ahead(zone, known):
    """Those the IANA database has: Etc/GMT+12 to Etc/GMT-14."""
    assert ('"Etc/GMT' in unknown_zone(zone).cure) is known


#: What a garden has that doesn't say otherwise. An orifice's exponent is a half (Torricelli) and a plastic pipe's coefficient 140
#: (any textbook of hydraulics, from memory); drip wets a third of the ground or so (FAO-56, table 20: 0.3 to 0.4); degree days
#: count from 10 °C (a usual base of warm-season crops, from memory); all others: common practice, no source.
UNSAID = [
    (beds.Emitter, {"exponent": 0.5}),
    (beds.Emitters, {"exponent": 0.5, "count": 1}),
    (beds.NamedPlants, {"base_temperature": 10.0}),
    (
        beds.PlantedBed,
        {
            "wetting_depth": 10.0,
            "uniformity": 0.9,
            "initial_depletion": 0.0,
            "root_fraction": 1.0,
            "wetted_fraction": 0.35,
        },
    ),
    (garden.Heat, {"days": 7}),
    (pans.Vessel, {"count": 1}),
    (pans.Fetch, {"distance": 10.0}),
    (pans.Pan, {"freeboard": 20.0, "exposure": 1.0, "night_share": 0.0, "ground_albedo": 0.26}),
    (pans.SetUpTest, {"arm_ratio": 1.0}),
    (rights.Right, {"water_year_start": 1}),
    (rights.Meter, {"accuracy": 0.02, "multiplier": 1.0}),
    (supplies.Roof, {"runoff": 0.9, "first_flush": 0.0}),
    (supplies.Pipe, {"smoothness": 140.0}),
    (supplies.Tank, {"full_at_start": 1.0}),
    (wishes.Wishes, {"stress_days": 3}),
    (
        Uncertainty,
        {"exposure": (0.6, 1.3), "refill_flow": (0.9, 1.1), "emitter_flow": (0.9, 1.1), "swing": (0.95, 1.05)},
    ),
    (Uncertainty, {"measured_flow": (0.97, 1.03), "weighed_swing": (0.99, 1.01), "pressure": (0.8, 1.2)}),
    (Uncertainty, {"samples": 500, "interval": 0.9}),
]


@pytest.mark.parametrize(("kind", "unsaid"), UNSAID, ids=lambda value: getattr(value, "__name__", ""))
def test_what_is_not_said_is_what_the_manual_says(kind, unsaid):
    assert {key: kind.model_fields[key].default for key in unsaid} == unsaid


@pytest.mark.parametrize(("strangers", "said"), [(10, []), (11, ["has 1 more keys that are unknown; take them out"])])
def test_ten_unknown_keys_are_named_and_the_rest_counted(make_garden, strangers, said):
    """So many lines as one reads; common practice, no source."""
    with pytest.raises(ScenarioError) as caught:
        make_garden({"site": {f"qqqq{number}": 1 for number in range(strangers)}})
    found = [problem.sentence() for problem in caught.value.problems]
    assert sum("qqqq" in line for line in found) == 10
    assert [line for line in found if "more keys" in line] == said
