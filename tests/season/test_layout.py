"""The engine's arrays: what a scenario and a weather table come to."""

from __future__ import annotations

import dataclasses
import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from panbudget.engine.season import GIVEN
from panbudget.errors import ScenarioError
from panbudget.season.layout import LANES, Design, Forcing, bundle_of, prepare
from panbudget.season.run import first_morning
from panbudget.weather.of_scenario import read_scenario_weather
from tests.small_weather import weather_csv
from tests.test_laws import PAN, VALVE, merged, nested

BED = ("controller", "upper", "bed", "tomatoes")

START = dt.date(2025, 5, 1)
UNITS = {"tmin": "degC", "tmax": "degC", "rh_max": "%", "rh_min": "%", "wind": "m/s", "rain": "mm"}
UNITS |= {"radiation": "MJ/m^2/day", "pan_evaporation": "mm"}


def forced(garden):
    return prepare(garden, read_scenario_weather(garden), garden.season.start, garden.season.end)


def test_a_pan_in_the_engines_units(make_garden):
    """Two vessels of 30 by 40 cm, 18 cm deep, 20 mm freeboard, swing 0.9 kg: worked by hand."""
    vessel = {"vessels": [{"length": "30 cm", "width": "40 cm", "count": 2}], "depth": "18 cm", "freeboard": "20 mm"}
    pans = forced(make_garden(nested(PAN, vessel))).pans
    assert pans.area[0] == pytest.approx(0.24)
    assert pans.rim[0, 0] == pytest.approx(0.9 + 20 * 0.24)
    assert pans.dry[0, 0] == pytest.approx(0.9 - 160 * 0.24)


def test_flows_follow_the_supplys_pressure(make_garden):
    """2 L/h at 100 kPa with exponent 0.5 is 2·√1.5 at 150 kPa; a flow measured in place stays, and is said."""
    given = forced(make_garden(nested(VALVE, {"refill": {"flow": "2 L/h", "at": "100 kPa", "exponent": 0.5}})))
    assert given.pans.refill_flow[0, 0] == pytest.approx(2.0 * 1.5**0.5)
    measured = make_garden()
    raw = dict(measured.described)
    raw["controller"]["upper"]["valve"]["refill"] = {"flow": "33 mL/min"}
    from panbudget.scenario.garden import scenario_from

    found = forced(scenario_from(raw, measured.path))
    assert found.pans.refill_flow[0, 0] == pytest.approx(1.98)
    assert any("measured in place" in text for text in found.assumptions)


def test_what_nobody_stated_is_assumed_by_name(make_garden):
    """Exposure, first day's water, texture, units, the gauge's height; nothing of it where it is stated."""
    garden = make_garden()
    weather = read_scenario_weather(garden)
    said = "\n".join((*prepare(garden, weather, START, START).assumptions, *weather.provenance["assumptions"]))
    for words in (
        "upper: no exposure is given",
        "upper/tomatoes: no initial depletion is given",
        "upper/tomatoes: soil by its texture, loam: the table's field capacity of 0.25 and wilting point of 0.12",
        "units that nobody states, taken as standard: tmin °C, tmax °C",
        "wind: nobody states the gauge's height above ground, and 2 m is taken",
    ):
        assert words in said
    own = {"field_capacity": 0.25, "wilting_point": 0.12}
    stated = nested(PAN, {"exposure": 1.0}), nested(BED, {"initial_depletion": 0.0, "soil": own})
    columns = {name: {"column": name, "unit": unit} for name, unit in UNITS.items()}
    garden = make_garden(merged(*stated, {"weather": {"wind_height": "2 m", "columns": columns}}))
    weather = read_scenario_weather(garden)
    said = "\n".join((*prepare(garden, weather, START, START).assumptions, *weather.provenance["assumptions"]))
    for words in ("no exposure", "no initial", "texture", "nobody states"):
        assert words not in said


def test_exposure_multiplies_every_model(make_garden):
    plain, shaded = forced(make_garden()), forced(make_garden(nested(PAN, {"exposure": 0.8})))
    for model, values in plain.pan_of["upper"].evaporation.items():
        assert shaded.pan_of["upper"].evaporation[model] == pytest.approx(0.8 * values)


def test_lanes_are_the_mean_the_driest_quarter_and_the_yardstick(make_garden):
    beds = forced(make_garden()).beds
    assert len(beds.lane_bed) == len(LANES[:3])
    mean, driest, exact = beds.lane_mm_per_hour
    assert driest == pytest.approx(0.9 * mean)
    assert exact == 0.0


def test_presses_at_sunset_follow_the_sun(make_garden):
    """38.6° N: sunset half a day length after noon, later towards midsummer (FAO-56 eq. 25, 34)."""
    garden = make_garden(merged(nested(VALVE, {"press_times": ["sunset"]})), days=31)
    presses = forced(garden).pans.presses[0]
    presses = presses[np.isfinite(presses)]
    assert len(presses) == 31
    assert 18.8 < presses[0] < presses[-1] < 19.4


def test_a_day_outside_the_file_and_a_column_that_lacks_are_told(make_garden):
    garden = make_garden(days=10)
    weather = read_scenario_weather(garden)
    running = "; while the season still runs, the verb today"  # a season that ends after the file, and no other
    with pytest.raises(
        ScenarioError, match=rf"season\.end = 2025-06-01 lies outside the weather file weather\.csv.*{running}"
    ):
        prepare(garden, weather, START, dt.date(2025, 6, 1))
    for start in (START - dt.timedelta(days=1), dt.date(2025, 5, 11)):
        with pytest.raises(ScenarioError, match=rf"^(?s:(?!.*{running}).*season\.end = 2025-06-01 lies outside)"):
            prepare(garden, weather, start, dt.date(2025, 6, 1))
    weather = dataclasses.replace(
        weather, notes=("days left out: 2025-05-20 to 2025-06-20", "2025-07-01 to 2025-07-02")
    )
    with pytest.raises(ScenarioError, match=r"; days left out: 2025-05-20 to 2025-06-20; choose"):
        prepare(garden, weather, START, dt.date(2025, 6, 1))
    text = weather_csv(10).replace(",pan_evaporation", "").replace(",24.0,8.0", ",24.0")
    with pytest.raises(ScenarioError, match="needs a column pan_evaporation"):
        forced(make_garden(weather=text))
    hole = weather_csv(10).replace(
        "2025-05-04,14.0,30.0,80,35,2.0,0.0,24.0,8.0", "2025-05-04,14.0,30.0,80,35,2.0,0.0,24.0,"
    )
    with pytest.raises(ScenarioError, match="has no pan_evaporation on 2025-05-04"):
        forced(make_garden(weather=hole))


def test_a_swing_of_a_drop_is_refused(make_garden):
    with pytest.raises(ScenarioError, match="wants a larger swing"):
        forced(make_garden(merged(nested(VALVE, {"swing": "1 g"}), nested(PAN, {"vessels": [{"area": "400 m^2"}]}))))


def test_a_hundred_thousand_openings_can_be_listed_and_one_more_is_refused(make_garden):
    """By hand: a swing of 1 kg; a trip that rises by all of it but 31 days and 2 that are always left room for."""
    forcing = forced(make_garden())
    none, swing = np.zeros((1, 31)), np.ones((1, 31))
    for most, refused in ((100_000, False), (100_001, True)):
        shift = none.copy()
        shift[0, 3] = most - 31 - 2
        pans = forcing.pans._replace(evaporation=none, leak=none, swing=swing, shift=shift)
        changed = dataclasses.replace(forcing, pans=pans)
        if refused:
            with pytest.raises(ScenarioError, match="would open the valve some 100001 times"):
                assert changed.room
        else:
            assert changed.room == 100_000


def test_a_garden_starts_with_its_pans_filled_and_its_valves_shut(make_garden):
    garden = make_garden({"controller": {"upper": {"bed": {"tomatoes": {"initial_depletion": 0.25}}}}})
    forcing = forced(garden)
    state = first_morning(forcing)
    assert state.level == pytest.approx(forcing.pans.swing[:, 0])
    assert not state.is_open.any()
    assert state.depletion == pytest.approx(np.full(3, 0.25 * forcing.beds.taw[0, 0]))


def test_runoff_by_curve_number_is_taken_off_the_rain(make_garden):
    overlay = {"controller": {"upper": {"bed": {"tomatoes": {"curve_number": 85}}}}}
    forcing = forced(make_garden(overlay, weather=weather_csv(3, rain=[0.0, 60.5, 0.0])))
    s = 25400 / 85 - 254
    runoff = (60.5 - 0.2 * s) ** 2 / (60.5 + 0.8 * s)
    assert forcing.beds.rain_in[0].tolist() == pytest.approx([0.0, 60.5 - runoff, 0.0])


SHOWERS = [0.0] * 10 + [
    30.0,
    25.0,
    0.0,
    0.0,
    0.0,
    40.0,
    22.0,
    0.0,
    0.0,
    0.0,
]  # 40 mm falls on the sixth day after 30 mm
NUMBER = {"controller": {"upper": {"bed": {"tomatoes": {"curve_number": 80, "antecedent": "five-day"}}}}}
ROOF = {
    "supply": {
        "spring": {
            **{"kind": "tank", "volume": "2 m^3", "footprint": "2 m^2", "outlet_height": "10 m"},
            "roof": {"area": "40 m^2", "first_flush": "1 mm"},
        }
    }
}


@pytest.mark.parametrize("first", [12, 14, 15, 16])
def test_runoff_remembers_the_five_days_before_the_run(make_garden, first):
    """Two halves of a season are the season: the record's rain before a run's first day counts."""
    garden = make_garden(NUMBER, weather=weather_csv(20, rain=SHOWERS))
    weather = read_scenario_weather(garden)
    whole = prepare(garden, weather, START, garden.season.end)
    half = prepare(garden, weather, START + dt.timedelta(days=first), garden.season.end)
    assert half.beds.rain_in[0].tolist() == whole.beds.rain_in[0, first:].tolist()
    assert whole.beds.rain_in[0, 15] < 40.0


def test_a_record_that_begins_with_the_run_is_told(make_garden):
    """Of the first day's five days before it none is known; of the fourth's three."""
    garden = make_garden(NUMBER, weather=weather_csv(20, rain=SHOWERS))
    weather = read_scenario_weather(garden)

    def said(first):
        found = prepare(garden, weather, START + dt.timedelta(days=first), garden.season.end).assumptions
        return [text for text in found if "five days before" in text]

    assert "holds 0 of the five days" in said(0)[0]
    assert "holds 4 of the five days" in said(4)[0]
    assert said(5) == []


def test_a_roof_remembers_the_wet_spell_that_the_run_begins_in(make_garden):
    """The first flush is lost on the spell's first day, 10 May; a run from the 11th on gets all of that day's rain."""
    garden = make_garden(ROOF, weather=weather_csv(20, rain=SHOWERS))
    weather = read_scenario_weather(garden)
    whole, half = (
        prepare(garden, weather, START + dt.timedelta(days=first), garden.season.end).tanks.inflow[0]
        for first in (0, 11)
    )
    assert half.tolist() == whole[11:].tolist()
    runoff = whole[10] / 29.0 / 40.0  # 30 mm less the flush, off 40 m²
    assert half[0] == pytest.approx(25.0 * 40.0 * runoff)


def test_a_roof_in_the_rain_on_the_records_first_day_is_told(make_garden):
    wet, dry = (
        forced(make_garden(ROOF, weather=weather_csv(3, rain=rain))).assumptions for rain in ([5.0, 0, 0], [0, 5.0, 0])
    )
    assert any("first flush counts as not yet lost" in text for text in wet)
    assert not any("first flush" in text for text in dry)


def shared(make_garden):
    """Three valves: two on one tank of two points and one on another, of four; the first with two beds."""
    cube = {"kind": "tank", "volume": "2 m^3", "footprint": "2 m^2", "outlet_height": "3 m", "pressure": None}
    corners = ((0, 0.0), (500, 1.0), (1500, 2.0), (2000, 4.0))
    steps = [{"volume": f"{litres} L", "level": f"{level} m"} for litres, level in corners]
    shaped = {"kind": "tank", "volume": "2 m^3", "shape": steps, "outlet_height": "3 m"}
    upper = make_garden().described["controller"]["upper"]
    beans = {**upper["bed"]["tomatoes"], "area": "4 m^2", "planted": dt.date(2025, 5, 9)}
    valves = {
        "upper": {"bed": {"beans": beans}},
        "side": {**upper, "supply": "well"},
        "lower": {**upper, "bed": {"tomatoes": {**upper["bed"]["tomatoes"], "soil": "sand"}}},
    }
    return make_garden({"supply": {"spring": cube, "well": shaped}, "controller": valves}, days=3)


def test_valves_on_one_tank_form_a_block_and_every_other_one_its_own(make_garden):
    bundle = bundle_of([Design("", shared(make_garden))])
    assert [valve.name for valve in bundle.valves] == ["upper", "side", "lower"]
    assert bundle.pans.tank.tolist() == [0, 1, 0]
    assert bundle.pans.member.tolist() == [0, 2, 1]
    assert bundle.pans.block.tolist() == [0, 2, 3]
    on_mains = bundle_of([Design("", make_garden(days=3))] * 2)
    assert (on_mains.pans.tank.tolist(), on_mains.pans.block.tolist()) == ([-1, -1], [0, 1, 2])


def test_tanks_of_different_shapes_have_as_many_points(make_garden):
    """The shorter shape's last piece goes on: 1000 L a metre."""
    tanks = bundle_of([Design("", shared(make_garden))]).tanks
    assert tanks.volumes[1].tolist() == [0.0, 500.0, 1500.0, 2000.0]
    assert tanks.volumes.shape == tanks.levels.shape == (2, 4)
    assert np.diff(tanks.volumes[0]) / np.diff(tanks.levels[0]) == pytest.approx([2000.0] * 3)
    # the draws of two beds, none and one more hang on the valves in turn
    assert tanks.draw_from.tolist() == [0, 2, 3, 4]


def test_lanes_stand_bed_by_bed_and_then_ground_by_ground(make_garden):
    """Four rows, each on ground of its own."""
    bundle = bundle_of([Design("", shared(make_garden))], LANES)
    grounds = bundle.by_row("ground")
    assert [row.bed for row in bundle.rows] == ["tomatoes", "beans", "tomatoes", "tomatoes"]
    assert [row.draw for row in bundle.rows] == [0, 1, 2, 3]
    assert bundle.lane("mean").tolist() == [0, 2, 4, 6]
    assert bundle.lane("driest_quarter").tolist() == [1, 3, 5, 7]
    assert bundle.lane("exact_refill").tolist() == (8 + grounds).tolist()
    assert bundle.lane("timer").tolist() == (8 + len(bundle.grounds) + grounds).tolist()
    beds = bundle._fixed
    assert beds["lane_bed"][bundle.lane("exact_refill")].tolist() == grounds.tolist()
    assert beds["lane_source"][bundle.lane("timer")].tolist() == [GIVEN] * 4
    assert beds["lane_controller"][:8].tolist() == [0, 0, 0, 0, 1, 1, 2, 2]
    assert beds["lane_draw"].tolist() == [0, 0, 1, 1, 2, 2, 3, 3, *[-1] * (2 * len(bundle.grounds))]


def test_there_is_room_for_all_that_a_pan_can_lose_and_for_every_press():
    """
    By hand, two days: 14 mm of half a square metre, 3 kg/h for a day and a trip 1 kg heavier are 80 kg, 200 times the
    least swing of 0.4 kg; two presses, and 4 that are always left room for. Beside it 2 kg of 1 kg: 2 and 4.
    """
    pans = SimpleNamespace(
        evaporation=np.array([[8.0, 6.0], [-1.0, 2.0]]),
        area=np.array([0.5, 1.0]),
        leak=np.array([[1.0, 2.0], [0.0, -0.1]]),
        shift=np.array([[1.0, -5.0], [0.0, 0.0]]),
        swing=np.array([[0.8, 0.4], [1.0, 1.0]]),
        presses=np.array([[6.0, np.inf, 30.0, np.inf], [np.inf] * 4]),
    )
    assert Forcing.room.func(SimpleNamespace(pans=pans)) == 206 + 6


@pytest.mark.parametrize(
    ("presses", "site", "told"),
    [
        (["06:00"], {}, True),
        (["06:00", "sunset"], {"longitude": -9.0}, True),  # a zone is wanted too
        (["06:00"], {"longitude": -9.0, "timezone": "Etc/GMT+0"}, False),
        (["sunrise", "sunset"], {}, False),
    ],
)
def test_clock_times_without_a_clock_count_as_the_suns_and_that_is_told(make_garden, presses, site, told):
    garden = make_garden({"site": site, "controller": {"upper": {"valve": {"press_times": presses}}}}, days=2)
    assert any("press times count as solar time" in text for text in forced(garden).assumptions) is told


def test_one_valve_with_a_timer_gives_every_bed_a_timers_lane(make_garden):
    upper = make_garden().described["controller"]["upper"]
    timer = {"days": ["mon"], "duration": "1 h"}
    both = {"controller": {"upper": {"timer": timer}, "lower": upper}}
    assert forced(make_garden(both, days=2)).bundle.lanes == LANES
    assert forced(make_garden({"controller": {"lower": upper}}, days=2)).bundle.lanes == LANES[:3]


@pytest.mark.parametrize(
    ("timer", "litres"),
    [
        ({"days": ["mon", "thu", "sun"], "duration": "30 min"}, 0.5 * 60.0),
        # a week's litres go by the beds' flows, 60 to 20, and over the days
        ({"days": ["mon", "thu", "sun"], "litres_a_week": "120 L"}, 120.0 * 60.0 / 80.0 / 3.0),
    ],
)
def test_a_timer_waters_on_its_days(make_garden, timer, litres):
    """30 and 10 emitters of 2 L/h measured in place, over 12 m²; 1 May 2025 is a Thursday."""
    beds = {
        "tomatoes": {"emitters": {"at": None}},
        "beans": {
            **make_garden().described["controller"]["upper"]["bed"]["tomatoes"],
            "emitters": {"count": 10, "flow": "2 L/h"},
        },
    }
    garden = make_garden({"controller": {"upper": {"bed": beds, "timer": timer}}}, days=2)
    (valve,) = bundle_of([Design("", garden)]).valves
    given = valve.timed("tomatoes", pd.date_range("2025-05-01", periods=8))
    assert given == pytest.approx([litres / 12.0 if day in (0, 3, 4, 7) else 0.0 for day in range(8)])


def test_a_planting_that_can_t_be_is_named_without_a_year_in_the_gardens_own(make_garden):
    plants = {"name": "tomato", "stages_gdd": [200, 300, 400, 100]}
    bed = {"plants": plants, "planted": dt.date(2025, 4, 20)}
    with pytest.raises(
        ScenarioError, match=r"controller\.upper\.bed\.tomatoes: .* which the weather file does not hold"
    ):
        forced(make_garden({"controller": {"upper": {"bed": {"tomatoes": bed}}}}, days=2))


@pytest.mark.parametrize("on_tank", [False, True], ids=["mains", "tank"])
def test_a_beds_flow_is_at_its_mains_pressure_or_at_the_reference_of_a_tanks(make_garden, on_tank):
    """The first tank is number 0, and a tank."""
    tank = {"kind": "tank", "volume": "1000 L", "footprint": "1 m^2", "outlet_height": "2 m"}
    plain = {"refill": {"flow": "2 L/h", "at": "100 kPa"}}
    emitters = {"emitters": {"at": "100 kPa", "exponent": 0.5}}
    overlay = merged(nested(VALVE, plain), nested(BED, emitters))
    described = make_garden(overlay)
    supply = next(iter(described.supply))
    garden = make_garden(merged(overlay, {"supply": {supply: tank}})) if on_tank else described
    (row,), (valve,) = forced(garden).bundle.rows, forced(garden).bundle.valves
    flows = valve.flows.at_reference if on_tank else valve.flows.bed_flows
    assert row.flow == flows["tomatoes"]
    assert valve.flows.at_reference["tomatoes"] != pytest.approx(valve.flows.bed_flows["tomatoes"], rel=0.01)
