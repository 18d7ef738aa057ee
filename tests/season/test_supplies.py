"""Tanks, pipes and valves: closed forms, conservation, and what a garden sees of them."""

from __future__ import annotations

import copy
import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panbudget import replay
from panbudget.engine import tank as tank_engine
from panbudget.errors import ScenarioError
from panbudget.physics.hydraulics import KPA_PER_M, hazen_williams_loss
from panbudget.reports.season.figures import other_sizes, tank_figure
from panbudget.reports.writing import write_into
from panbudget.scenario.garden import scenario_from
from panbudget.scenario.supplies import Pipe, Roof, Tank
from panbudget.season.layout import prepare
from panbudget.season.supplies import (
    lengthened,
    losses_of,
    most_static,
    pan_flows,
    pressure_table,
    roof_inflow,
    tank_shape,
)
from panbudget.studies.supplies import enough, tank_sizes
from panbudget.weather.of_scenario import read_scenario_weather
from tests.small_weather import weather_csv

TANK = {"kind": "tank", "volume": "1000 L", "footprint": "1 m^2", "outlet_height": "2 m"}


def on_tank(make_garden, tank, overlay=None, days=30, **weather):
    """The test garden with its supply changed to a tank."""
    garden = make_garden(weather=weather_csv(days, **weather))
    raw = copy.deepcopy(dict(garden.described))
    raw["supply"]["spring"] = tank
    scenario = scenario_from(raw, garden.path)
    return scenario.changed(overlay) if overlay else scenario


def test_a_full_tank_stands_as_high_as_its_shape_says():
    upright = Tank.model_validate(TANK)
    assert most_static(upright) == pytest.approx(3.0 * KPA_PER_M)
    points = [
        {"level": "0 cm", "volume": "0 L"},
        {"level": "50 cm", "volume": "300 L"},
        {"level": "1 m", "volume": "1 m^3"},
    ]
    odd = Tank.model_validate({**{k: v for k, v in TANK.items() if k != "footprint"}, "shape": points})
    volumes, levels = tank_shape(odd)
    assert volumes.tolist() == pytest.approx([0.0, 300.0, 1000.0])
    assert levels.tolist() == pytest.approx([0.0, 0.5, 1.0])


def test_the_roof_loses_its_first_flush_once_in_a_wet_spell():
    """40 m² at 0.9: worked by hand."""
    roof = Roof.model_validate({"area": "40 m^2", "first_flush": "2 mm"})
    rain = np.array([0.0, 1.5, 3.0, 0.0, 5.0])
    assert roof_inflow(rain, roof).tolist() == pytest.approx([0.0, 0.0, 2.5 * 36, 0.0, 3.0 * 36])


def test_a_tank_drains_as_torricellis_law_says(make_garden):
    """
    Emitters with x = 0.5 under a tank with upright sides: √h falls straight with time (Torricelli), closed form.

    The refill emitter gives hardly anything, so that the valve, pressed open once, stays open while the tank drains.
    """
    overlay = {
        "controller": {
            "upper": {
                "pan": {"evaporation": "measured"},
                "valve": {"refill": {"flow": "0.001 L/h", "at": "100 kPa"}, "press_times": ["12:00"], "swing": "2 kg"},
                "bed": {"tomatoes": {"emitters": {"count": 10, "flow": "2 L/h", "at": "100 kPa", "exponent": 0.5}}},
            }
        }
    }
    season = replay(on_tank(make_garden, TANK, overlay, days=6, pan=1.0))
    k = 10 * 2.0 / (100.0 / KPA_PER_M) ** 0.5  # L/h per √m
    start = season.openings["start_h"].iloc[0]
    tank = season.tanks["spring"]
    for day, volume in enumerate(tank["volume_l"], 1):
        hours = 24.0 * day - start
        if hours <= 0:
            continue
        # 1 m²: the level in metres is the volume in m³; d√h/dt = −k / 2000
        head = ((3.0**0.5) - k * hours / 2000.0) ** 2
        if head <= 2.0:
            break
        assert volume == pytest.approx(1000.0 * (head - 2.0), abs=3.0)
    assert day > 1


@pytest.mark.parametrize("outlet", ["0 m", "30 cm", "4 m"])
def test_shorter_steps_of_the_falling_head_change_next_to_nothing(make_garden, monkeypatch, outlet):
    """A tank that halves in some hours, behind a pipe: what is left each evening, within 0.4 % of what it held."""
    tank = {**TANK, "outlet_height": outlet, "volume": "2 m^3"}
    upper = {
        "pipe": {"length": "30 m", "diameter": "13 mm"},
        "valve": {"refill": {"flow": "0.01 L/h", "at": "20 kPa", "exponent": 0.48}, "press_times": ["00:30"]},
        "bed": {"tomatoes": {"emitters": {"count": 80, "flow": "4 L/h", "at": "20 kPa", "exponent": 0.5}}},
    }
    garden = on_tank(make_garden, tank, {"controller": {"upper": upper}}, days=3)
    as_it_is = replay(garden).tanks["spring"]["volume_l"]
    monkeypatch.setattr(tank_engine, "_FALL", 0.0002)
    monkeypatch.setattr(tank_engine, "_SHORTEST", 1e-4)
    assert as_it_is.iloc[0] < 1000.0
    assert as_it_is.to_numpy() == pytest.approx(replay(garden).tanks["spring"]["volume_l"].to_numpy(), abs=8.0)


def test_an_empty_tank_waters_nothing_and_says_so(make_garden):
    small = {**TANK, "volume": "40 L"}
    season = replay(on_tank(make_garden, small))
    tank = season.totals["supplies"]["spring"]["tank"]
    assert tank["first_empty_day"] == "2025-05-02"
    assert tank["least_l"] == 0.0
    finding = next(f for f in season.findings if f.code == "no-water")
    assert finding.severity == "danger"
    assert "tank was empty" in finding.text
    # all that was there, and no more
    assert season.totals["supplies"]["spring"]["litres"] == pytest.approx(40.0, rel=1e-9)
    assert season.totals["beds"]["upper/tomatoes"]["litres"] < 40.0


def test_a_float_valve_keeps_the_garden_watered(make_garden):
    topped = {**TANK, "volume": "200 L", "top_up": {"below": "150 L", "rate": "500 L/h"}}
    season = replay(on_tank(make_garden, topped))
    assert season.totals["controllers"]["upper"]["starved_hours"] == 0.0
    tank = season.totals["supplies"]["spring"]["tank"]
    assert tank["topped_l"] == pytest.approx(season.totals["supplies"]["spring"]["litres"] - 200.0 + tank["end_l"])


def test_rain_over_a_full_tank_runs_over(make_garden):
    roofed = {**TANK, "roof": {"area": "40 m^2"}}
    season = replay(on_tank(make_garden, roofed, rain=[0.0] * 10 + [30.5] + [0.0] * 19))
    tank = season.totals["supplies"]["spring"]["tank"]
    assert tank["roof_l"] == pytest.approx(40 * 0.9 * 30.5)
    assert tank["over_l"] > 0.0


def test_exponents_part_company_as_the_head_falls(make_garden):
    """A compensated bed keeps its flow, a laminar refill loses it: the bed gets more per kg refilled than when full."""
    low = {**TANK, "outlet_height": "0.5 m", "volume": "2000 L", "footprint": "1 m^2"}
    overlay = {
        "controller": {
            "upper": {
                "valve": {"refill": {"flow": "2 L/h", "at": "20 kPa", "exponent": 1.0}},
                "bed": {"tomatoes": {"emitters": {"count": 12, "flow": "2 L/h", "at": "20 kPa", "exponent": 0.0}}},
            }
        }
    }
    season = replay(on_tank(make_garden, low, overlay, days=40))
    pan = season.controllers["upper"]
    ratio = (pan["litres"] - pan["refilled_kg"]) / pan["refilled_kg"]
    opened = pan["refilled_kg"] > 0.1
    assert ratio[opened].iloc[-1] > 1.2 * ratio[opened].iloc[0]
    assert (season.tanks["spring"]["volume_l"].diff().dropna() <= 1e-9).all()


def test_two_valves_share_a_tank(make_garden):
    garden = on_tank(make_garden, {**TANK, "volume": "6 m^3", "footprint": "3 m^2"})
    raw = copy.deepcopy(dict(garden.described))
    raw["controller"]["lower"] = copy.deepcopy(raw["controller"]["upper"])
    both = replay(scenario_from(raw, garden.path))
    alone = replay(garden)
    totals = both.totals["controllers"]
    assert totals["upper"]["openings"] > 0
    assert totals["lower"]["openings"] > 0
    drawn = both.totals["supplies"]["spring"]
    assert drawn["litres"] == pytest.approx(totals["upper"]["litres"] + totals["lower"]["litres"], rel=1e-12)
    assert drawn["tank"]["drawn_l"] == pytest.approx(drawn["litres"], rel=1e-9)
    assert drawn["tank"]["end_l"] < alone.totals["supplies"]["spring"]["tank"]["end_l"]


def test_pressure_means_nothing_where_all_emitters_are_of_one_kind(make_garden):
    """Same exponent everywhere: the tank's fall changes the hours and not the litres (model page, the facts)."""
    roomy = {**TANK, "volume": "20 m^3", "footprint": "4 m^2"}
    alike = {
        "controller": {
            "upper": {
                "valve": {"refill": {"flow": "2 L/h", "at": "100 kPa", "exponent": 0.5}},
                "bed": {"tomatoes": {"emitters": {"count": 30, "flow": "2 L/h", "at": "100 kPa", "exponent": 0.5}}},
            }
        }
    }
    high = replay(on_tank(make_garden, {**roomy, "outlet_height": "8 m"}, alike, days=60))
    low = replay(on_tank(make_garden, roomy, alike, days=60))
    litres = [s.totals["beds"]["upper/tomatoes"]["litres"] for s in (high, low)]
    hours = [s.totals["controllers"]["upper"]["open_hours"] for s in (high, low)]
    assert litres[0] == pytest.approx(litres[1], rel=0.02)
    assert hours[1] > 1.2 * hours[0]


def test_a_long_thin_pipe_takes_its_pressure(make_garden):
    garden = make_garden(days=5)
    thin = garden.changed({"controller": {"upper": {"pipe": {"length": "50 m", "diameter": "5 mm"}}}})
    wide, narrow = replay(garden), replay(thin)
    a, b = (season.forcing.pan_of["upper"] for season in (wide, narrow))
    assert b.pressure < 0.8 * a.pressure
    lost = float(hazen_williams_loss(b.valve_flow, length=50.0, diameter=0.005, smoothness=140.0))
    assert b.pressure + lost == pytest.approx(150.0, rel=1e-9)
    assert losses_of(None, None, None)(100.0) == 0.0


def test_too_little_head_is_told_with_the_height_that_is_missing(make_garden):
    valve = {"controller": {"upper": {"valve": {"least_pressure": "60 kPa"}}}}
    season = replay(on_tank(make_garden, TANK, valve, days=5))
    finding = next(f for f in season.findings if f.code == "low-pressure")
    assert "A full tank gives" in finding.text
    assert f"{(60.0 - 3.0 * KPA_PER_M) / KPA_PER_M:.1f} m higher" in finding.text


@pytest.mark.parametrize(
    ("tank", "said"),
    [
        ({**TANK, "pressure": "100 kPa"}, "is for the mains"),
        ({k: v for k, v in TANK.items() if k != "volume"}, "supply.spring.volume is missing"),
        ({k: v for k, v in TANK.items() if k != "footprint"}, "needs a footprint"),
        ({**TANK, "top_up": {"below": "5 m^3", "rate": "1 L/h"}}, "more than the tank holds"),
        ({"kind": "mains", "pressure": "100 kPa", "volume": "1 m^3"}, 'goes with kind = "tank"'),
        (
            {**{k: v for k, v in TANK.items() if k != "footprint"}, "shape": [{"level": "0 m", "volume": "0 L"}] * 2},
            "must rise from point to point",
        ),
    ],
)
def test_a_tank_that_can_not_be_is_told_in_one_line(make_garden, tank, said):
    with pytest.raises(ScenarioError) as caught:
        on_tank(make_garden, tank)
    assert said in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


def up_to(most):
    """Nothing, or as much as a garden's."""
    return st.just(0.0) | st.floats(0.01, most)


tanks = st.fixed_dictionaries(
    {
        "volume": st.floats(5.0, 3000.0),
        "footprint": st.floats(0.05, 3.0),
        "outlet": up_to(6.0),
        "roof": up_to(60.0),
        "rate": up_to(300.0),
        "refill": st.floats(0.1, 6.0),
        "count": st.integers(1, 80),
        "exponents": st.tuples(st.sampled_from([0.0, 0.4, 0.5, 1.0]), st.sampled_from([0.0, 0.5, 1.0])),
        "rain": st.lists(st.sampled_from([0.0, 0.0, 0.0, 3.5, 24.5]), min_size=12, max_size=12),
    }
).filter(lambda tank: tank["volume"] / 1000.0 <= 50.0 * tank["footprint"])  # higher ones are refused


@settings(max_examples=10, deadline=None)
@given(tanks)
def test_whatever_the_tank_its_water_closes(tmp_path_factory, described):
    """Tank, pan and bed close to 1e-9 (the replay fails if they don't), and no level leaves the tank."""
    from tests.scenario.test_garden import SOUND

    folder = tmp_path_factory.mktemp("tank")
    (folder / "weather.csv").write_text(weather_csv(12, rain=described["rain"], pan=11.0), encoding="utf-8")
    raw = copy.deepcopy(SOUND)
    raw["season"] = {"start": "2025-05-01", "end": "2025-05-12"}
    tank = {
        **TANK,
        "volume": f"{described['volume']} L",
        "footprint": f"{described['footprint']} m^2",
        "outlet_height": f"{described['outlet']} m",
    }
    if described["roof"]:
        tank["roof"] = {"area": f"{described['roof']} m^2"}
    if described["rate"]:
        tank["top_up"] = {"below": f"{described['volume'] / 2} L", "rate": f"{described['rate']} L/h"}
    raw["supply"]["spring"] = tank
    upper = raw["controller"]["upper"]
    upper["pan"]["evaporation"] = "measured"
    refill, emitters = described["exponents"]
    upper["valve"]["refill"] = {"flow": f"{described['refill']} L/h", "at": "30 kPa", "exponent": refill}
    upper["bed"]["tomatoes"]["emitters"] = {
        "count": described["count"],
        "flow": "2 L/h",
        "at": "30 kPa",
        "exponent": emitters,
    }
    season = replay(scenario_from(raw, folder / "garden.toml"))
    volume = season.tanks["spring"]["volume_l"]
    assert (volume >= 0.0).all()
    assert (volume <= described["volume"] * (1 + 1e-12)).all()
    assert abs(season.totals["supplies"]["spring"]["tank"]["closure_l"]) <= 1e-9 * max(described["volume"], 1.0) * 100
    bed = season.totals["beds"]["upper/tomatoes"]["litres"]
    pan = season.totals["controllers"]["upper"]
    assert bed == pytest.approx(pan["bed_litres"], rel=1e-9, abs=1e-9)


def test_other_sizes_of_a_tank_are_seasons_of_their_own(make_garden):
    """The size as it is gives the season's own hours; a larger one never more; none keeps the wish more often than what is enough."""
    season = replay(on_tank(make_garden, {**TANK, "volume": "300 L", "footprint": "0.3 m^2"}, days=40))
    sizes = tank_sizes(season, "spring")
    own = sizes[sizes["volume_l"] == 300.0].iloc[0]
    assert own["starved_hours"] == season.totals["controllers"]["upper"]["starved_hours"] > 0.0
    assert (sizes["starved_hours"].diff().dropna() <= 1e-6).all()
    assert enough(sizes)["share"] == sizes["share"].max()
    figure = tank_figure(season)
    assert figure[0].get_title(loc="left") == "Tank spring"
    assert "m³" in figure[0].get_ylabel()
    marks = [text.get_text() for text in figure[1].get_xticklabels()]
    assert len(marks) >= 2
    assert {mark.lstrip("0.")[0] for mark in marks} <= set("125")  # a logarithmic axis is marked at 1, 2, 5


def test_a_report_runs_the_sizes_of_a_tank_once(make_garden, tmp_path, monkeypatch):
    season = replay(on_tank(make_garden, {**TANK, "volume": "300 L", "footprint": "0.3 m^2"}, days=40))
    asked = []

    def counted(season, supply):
        asked.append(supply)
        return tank_sizes(season, supply)

    other_sizes.cache_clear()
    for module in ("panbudget.studies.supplies", "panbudget.reports.season.figures"):
        monkeypatch.setattr(f"{module}.tank_sizes", counted)
    write_into(season, tmp_path)
    assert asked == ["spring"]
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "size that is enough for the plants" in page


def test_a_tank_that_no_valve_hangs_on_is_left_out(make_garden):
    """A variant that moves the valve to the mains leaves its tank behind."""
    garden = on_tank(make_garden, TANK)
    raw = copy.deepcopy(dict(garden.described))
    raw["supply"]["tap"] = {"pressure": "150 kPa"}
    raw["controller"]["upper"]["supply"] = "tap"
    season = replay(scenario_from(raw, garden.path))
    assert season.tanks == {}
    assert "tank" not in season.totals["supplies"]["spring"]
    assert season.totals["supplies"]["tap"]["litres"] > 0.0


def test_the_float_of_a_smaller_tank_hangs_lower(make_garden):
    """At its height: a quarter of the tank has a quarter of the water below it, and mains water never runs over."""
    small = {**TANK, "volume": "300 L", "footprint": "0.3 m^2", "top_up": {"below": "150 L", "rate": "500 L/h"}}
    sizes = tank_sizes(replay(on_tank(make_garden, small, days=20)), "spring")
    # a quarter of the tank to sixteen times it, each some 1.4 times the one before; common practice, no source
    assert sizes["volume_l"].tolist() == pytest.approx([75, 105, 150, 210, 300, 420, 600, 840, 1200, 1680, 2400, 4800])
    assert (sizes["over_l"] == 0.0).all()


def test_the_table_of_pressures_runs_in_33_even_steps_to_just_over_the_highest():
    """Without losses the emitters see the static pressure; a thousandth over a full tank, so that none reads past it."""
    static, at_emitters = pressure_table(30.0, lambda pressure: 5.0, lambda flow: 0.0)
    assert static == pytest.approx(np.arange(33) * 30.03 / 32.0)
    assert at_emitters == pytest.approx(static)
    nothing, _ = pressure_table(0.0, lambda pressure: 5.0, lambda flow: 0.0)
    assert nothing[-1] == pytest.approx(1.001e-6)


def test_each_node_holds_what_the_losses_leave():
    """A draw of 1 L/h per kPa and a loss of 1 kPa per L/h: half is lost, worked by hand."""
    static, at_emitters = pressure_table(30.0, lambda pressure: pressure, lambda flow: flow)
    assert at_emitters == pytest.approx(static / 2.0, abs=1e-6)


def test_losses_of_pipe_and_valve_add_up():
    """A valve's loss goes by the square of its flow: 20 kPa at the rated 100 L/h are 5 kPa at half of it."""
    valve = losses_of(None, 100.0, 20.0)
    assert [valve(flow) for flow in (0.0, 50.0, 100.0)] == pytest.approx([0.0, 5.0, 20.0])
    described = Pipe.model_validate({"length": "20 m", "diameter": "13 mm"})
    pipe = losses_of(described, None, None)
    assert pipe(0.0) == 0.0
    assert pipe(50.0) == pytest.approx(float(hazen_williams_loss(50.0, length=20.0, diameter=0.013, smoothness=140.0)))
    assert losses_of(described, 100.0, 20.0)(50.0) == pytest.approx(pipe(50.0) + 5.0)
    assert losses_of(None, 100.0, None)(50.0) == losses_of(None, None, 20.0)(50.0) == 0.0


def test_a_shorter_shape_goes_on_as_its_last_piece():
    assert lengthened(np.array([0.0, 1.0, 3.0]), 5).tolist() == [0.0, 1.0, 3.0, 5.0, 7.0]
    assert lengthened(np.array([0.0, 1.0, 3.0]), 3).tolist() == [0.0, 1.0, 3.0]


@pytest.mark.parametrize(
    ("rain", "kept"),
    [
        ([2.0, 0.5], [0.0, 0.5]),  # all of the flush on the first day
        ([1.5, 1.0], [0.0, 0.5]),  # what is left of it on the second
        ([2.0, 0.0, 2.5], [0.0, 0.0, 0.5]),  # a dry day brings it back
        ([0.0, 5.0], [0.0, 3.0]),
    ],
)
def test_two_millimetres_of_first_flush_by_hand(rain, kept):
    """1 m² at a runoff of 0.5."""
    roof = Roof.model_validate({"area": "1 m^2", "runoff": 0.5, "first_flush": "2 mm"})
    assert roof_inflow(np.array(rain), roof).tolist() == [0.5 * day for day in kept]
    assert roof_inflow(np.array(rain), None).tolist() == [0.0] * len(rain)


@pytest.mark.parametrize(("rain", "litres"), [([5.0, 5.0], 180.0), ([0.0, 5.0], 108.0)])
def test_a_flush_lost_before_the_run_is_not_lost_again(make_garden, rain, litres):
    """40 m² at 0.9 and 2 mm: on the run's first day 5 mm bring 180 L where it rained the day before, else 108."""
    garden = on_tank(
        make_garden, {**TANK, "roof": {"area": "40 m^2", "first_flush": "2 mm"}}, days=5, rain=[*rain, 0.0, 0.0, 0.0]
    )
    forcing = prepare(garden, read_scenario_weather(garden), dt.date(2025, 5, 2), dt.date(2025, 5, 5))
    assert forcing.tanks.inflow[0, 0] == pytest.approx(litres)
    assert not any("first flush" in text for text in forcing.assumptions)


@pytest.mark.parametrize(("rain", "flush", "told"), [(5.0, "2 mm", True), (0.0, "2 mm", False), (5.0, "0 mm", False)])
def test_rain_on_the_records_first_day_may_have_lost_its_flush_before(make_garden, rain, flush, told):
    roof = {"area": "40 m^2", "first_flush": flush}
    garden = on_tank(make_garden, {**TANK, "roof": roof}, days=3, rain=[rain, 0.0, 0.0])
    forcing = prepare(garden, read_scenario_weather(garden), dt.date(2025, 5, 1), dt.date(2025, 5, 3))
    assert any("first flush counts as not yet lost" in text for text in forcing.assumptions) is told


def test_an_emitter_measured_in_place_gives_that_under_a_full_tank_and_all_flows_pass_the_valve(make_garden):
    """3 m of head; 30 emitters at 2 L/h and a refill of 1 L/h, measured there: 61 L/h; at the mains, whatever the pressure."""
    upper = {
        "valve": {"refill": {"flow": "1 L/h", "at": None}},
        "bed": {"tomatoes": {"emitters": {"count": 30, "flow": "2 L/h", "at": None}}},
    }
    notes: list[str] = []
    flows = pan_flows(on_tank(make_garden, TANK, {"controller": {"upper": upper}}, days=2), "upper", notes)
    assert (flows.refill_flow, flows.bed_flows["tomatoes"], flows.valve_flow) == pytest.approx((1.0, 60.0, 61.0))
    assert flows.pressure == pytest.approx(3.0 * KPA_PER_M)
    assert [note.endswith("measured in place under a full tank") for note in notes] == [True, True]
    notes.clear()
    mains = pan_flows(make_garden({"controller": {"upper": upper}}, days=2), "upper", notes)
    assert mains.at_reference == {"": 1.0, "tomatoes": 60.0}
    assert [note.endswith("it counts as measured in place") for note in notes] == [True, True]


def test_where_no_plant_is_short_every_size_keeps_the_wish(make_garden):
    """Full soil lasts some days, whatever the tank holds."""
    sizes = tank_sizes(replay(on_tank(make_garden, TANK, days=5)), "spring")
    assert (sizes["share"] == 1.0).all() and (sizes["mean_days"] == 0.0).all()
