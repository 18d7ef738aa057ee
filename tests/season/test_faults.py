"""Faults laid over a season: each does what it says, on its days only, and every balance still closes."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from pydantic import TypeAdapter

from panbudget import replay
from panbudget.cli import dangerous
from panbudget.errors import ScenarioError
from panbudget.scenario.faults import Fault
from panbudget.season.faults import fault_days, fault_said, lost_share, with_faults
from panbudget.season.layout import prepare
from panbudget.season.run import first_morning
from panbudget.season.years import in_year
from panbudget.studies.setup import setup
from panbudget.studies.size.sizing import size
from panbudget.weather.of_scenario import read_scenario_weather
from panbudget.words import litres
from tests.small_weather import weather_csv
from tests.studies.size.made_up import search_coarsely

FIRST, LAST = dt.date(2025, 5, 11), dt.date(2025, 5, 20)
TANK = {
    "supply": {
        "spring": {
            "kind": "tank",
            "pressure": None,
            "volume": "2 m^3",
            "footprint": "2 m^2",
            "outlet_height": "3 m",
        }
    }
}


def faulty(make_garden, *faults, weather=None, overlay=None):
    garden = make_garden(overlay, weather=weather)
    return garden, garden.changed({"fault": list(faults)})


def runs(make_garden, *faults, **more):
    sound, broken = faulty(make_garden, *faults, **more)
    return replay(sound), replay(broken)


def valve(season):
    return season.controllers["upper"]


EVERY = {
    "clogged-refill": {"share": 0.5},
    "clogged-emitters": {"share": 0.5},
    "leak": {"loss": "500 mL/day"},
    "animals": {"loss": "1 L/day"},
    "mesh": {"factor": 0.9},
    "shade": {"factor": 0.5},
    "algae": {"share": 0.3},
    "knocked": {"trip": "300 g", "swing": "-200 g"},
    "supply-cut": {},
    "splash": {"above": "1 m/s", "splash": "2 mm"},
    "rain-differs": {"factor": 0.5},
}


@pytest.mark.parametrize("kind", EVERY)
@pytest.mark.parametrize("overlay", [None, TANK], ids=["mains", "tank"])
def test_every_fault_changes_the_season_from_its_first_day_and_not_before(kind, overlay, make_garden):
    """Replay itself checks that pan, tank and beds close to 1e-9."""
    weather = weather_csv(31, rain=[0.0, 4.0, 0.0] * 10 + [0.0])
    fault = {"kind": kind, "start": FIRST, "end": LAST, **EVERY[kind]}
    sound, broken = runs(make_garden, fault, weather=weather, overlay=overlay)
    before = slice("2025-05-01", "2025-05-10")
    assert valve(sound).loc[before].equals(valve(broken).loc[before])
    after = slice("2025-05-11", None)
    changed = valve(sound).loc[after] != valve(broken).loc[after]
    assert changed.any(axis=None)
    finding = next(f for f in broken.findings if f.code == "fault")
    assert (finding.first, finding.days, finding.severity) == ("2025-05-11", 10, "caution")
    assert fault_said(broken.scenario.fault[0]) in finding.text
    assert any(text.startswith("fault, ") for text in broken.assumptions)
    assert not any(f.code == "fault" for f in sound.findings)


def test_a_forcing_is_left_as_it_was(make_garden):
    _, broken = faulty(make_garden, *({"kind": kind, **what} for kind, what in EVERY.items()))
    forcing = prepare(broken, read_scenario_weather(broken), broken.season.start, broken.season.end)
    kept = [[part.copy() for part in group] for group in (forcing.pans, forcing.beds, forcing.tanks)]
    with_faults(broken, forcing)
    for group, was in zip((forcing.pans, forcing.beds, forcing.tanks), kept, strict=True):
        for part, before in zip(group, was, strict=True):
            np.testing.assert_array_equal(part, before)


def test_half_the_refill_flow_gives_about_twice_the_water(make_garden):
    """Litres = (bed flow ÷ refill flow) × what the pan lost (the model's page): nearly double, and not the refill's."""
    sound, broken = runs(make_garden, {"kind": "clogged-refill", "share": 0.5})
    a, b = sound.totals["controllers"]["upper"], broken.totals["controllers"]["upper"]
    ratio = (b["bed_litres"] / b["refilled_kg"]) / (a["bed_litres"] / a["refilled_kg"])
    assert ratio == pytest.approx(2.0, rel=1e-9)


def test_a_clogging_rate_grows_evenly_with_the_days(make_garden):
    """0.6 a month: on the tenth day, at its middle, 0.6 · 9.5 ÷ 30.4375 of the flow is gone."""
    _, broken = faulty(make_garden, {"kind": "clogged-emitters", "rate": 0.6, "start": dt.date(2025, 5, 1)})
    factor = replay(broken).forcing.beds.flow_factor[0]
    assert factor[9] == pytest.approx(1.0 - 0.6 * 9.5 / 30.4375)


def test_a_clogged_bed_gets_its_share_less_and_the_valve_draws_that_much_less(make_garden):
    sound, broken = runs(make_garden, {"kind": "clogged-emitters", "bed": "upper/tomatoes", "share": 0.25})
    a, b = sound.totals, broken.totals
    assert b["beds"]["upper/tomatoes"]["litres"] == pytest.approx(0.75 * a["beds"]["upper/tomatoes"]["litres"])
    assert b["controllers"]["upper"]["bed_litres"] == pytest.approx(b["beds"]["upper/tomatoes"]["litres"])
    assert b["controllers"]["upper"]["openings"] == a["controllers"]["upper"]["openings"]


def test_a_leak_is_counted_and_makes_the_valve_open_more_often(make_garden):
    """500 mL a day over 31 days is 15.5 kg, and the pan's balance holds with it."""
    sound, broken = runs(make_garden, {"kind": "leak", "loss": "500 mL/day"})
    a, b = sound.totals["controllers"]["upper"], broken.totals["controllers"]["upper"]
    assert b["leaked_kg"] == pytest.approx(15.5)
    assert b["openings"] > a["openings"]


def test_what_covers_the_pan_scales_its_evaporation_and_not_its_rain(make_garden):
    weather = weather_csv(31, rain=[0.0, 2.0, 0.0] * 10 + [0.0])
    sound, broken = runs(make_garden, {"kind": "algae", "share": 0.3}, weather=weather)
    np.testing.assert_allclose(valve(broken)["evaporated_kg"], 0.7 * valve(sound)["evaporated_kg"])
    np.testing.assert_allclose(valve(broken)["rain_caught_kg"], valve(sound)["rain_caught_kg"])


def test_a_pan_that_gets_half_the_rain_says_so_in_its_balance(make_garden):
    weather = weather_csv(31, rain=[0.0, 2.0, 0.0] * 10 + [0.0])
    sound, broken = runs(make_garden, {"kind": "rain-differs", "factor": 0.5}, weather=weather)
    a, b = sound.totals["controllers"]["upper"], broken.totals["controllers"]["upper"]
    assert b["rain_caught_kg"] == pytest.approx(0.5 * a["rain_caught_kg"])
    assert sound.totals["beds"]["upper/tomatoes"]["rain_mm"] == broken.totals["beds"]["upper/tomatoes"]["rain_mm"]


def test_wind_above_the_limit_throws_out_so_many_millimetres(make_garden):
    """Wind 2 m/s, limit 1.5 m/s, 2 mm a day for each m/s over: 1 mm a day of the pan's area."""
    _, broken = runs(make_garden, {"kind": "splash", "above": "1.5 m/s", "splash": "2 mm"})
    area = broken.scenario.controller["upper"].pan.area
    assert valve(broken)["leaked_kg"].tolist() == pytest.approx([area] * 31)


def test_a_raised_trip_opens_once_too_soon_and_changes_hardly_anything_else(make_garden):
    """Both levels move together: the swing, and with it how often and how much, stays."""
    sound, broken = runs(make_garden, {"kind": "knocked", "trip": "300 g", "start": FIRST})
    a, b = sound.totals["controllers"]["upper"], broken.totals["controllers"]["upper"]
    assert 0 <= b["openings"] - a["openings"] <= 1
    area = broken.scenario.controller["upper"].pan.area
    depth = [
        (level[0] - season.forcing.pans.dry[0].repeat(24)) / area
        for season, level in ((s, list(s.hourly_level.values())) for s in (sound, broken))
    ]
    late = slice(24 * 15, None)
    assert depth[1][late].min() - depth[0][late].min() == pytest.approx(0.3 / area, abs=0.6)


def test_a_swing_beyond_the_rim_lets_the_valve_run_on(make_garden):
    """A pan that spills before it is heavy enough to shut the valve: the worst that a knock can do."""
    _, broken = runs(make_garden, {"kind": "knocked", "swing": "8 kg", "start": FIRST})
    assert broken.totals["controllers"]["upper"]["spilled_kg"] > 100.0
    assert valve(broken)["open_hours"].iloc[-1] == pytest.approx(24.0)
    last = valve(broken)["stuck_hours"].iloc[-1]
    assert last == pytest.approx(24.0)
    finding = next(f for f in broken.findings if f.code == "stuck-at-rim")
    assert finding.severity == "danger"
    assert "never shuts the valve" in finding.text
    assert {f.code for f in broken.findings if f.where == "upper"}.isdisjoint({"stuck-open", "spill"})


def test_a_cut_supply_leaves_the_valve_open_without_water(make_garden):
    _, broken = runs(make_garden, {"kind": "supply-cut", "start": FIRST, "end": LAST})
    within = valve(broken).loc["2025-05-11":"2025-05-20"]
    assert within["litres"].sum() == 0.0
    assert within["starved_hours"].sum() > 24.0
    (dry,) = (f for f in broken.findings if f.code == "no-water")
    assert "the supply was cut" in dry.message and "tank" not in dry.text  # on mains
    (short,) = (f for f in broken.findings if f.code == "short-of-water")
    assert "by [[fault]] is laid over" in short.message and short.cure.startswith("Mend that first")


def test_a_season_in_two_pieces_knows_its_faults(make_garden):
    """A knock before the cut, put right after it: going on from the state gives the whole season's numbers."""
    faults = [
        {"kind": "knocked", "trip": "200 g", "start": dt.date(2025, 5, 5), "end": dt.date(2025, 5, 15)},
        {"kind": "leak", "loss": "300 mL/day", "start": dt.date(2025, 5, 8)},
    ]
    _, broken = faulty(make_garden, *faults)
    whole = replay(broken)
    for cut in (dt.date(2025, 5, 4), dt.date(2025, 5, 10), dt.date(2025, 5, 15), dt.date(2025, 5, 16)):
        first = replay(broken, end=cut)
        rest = replay(broken, start=cut + dt.timedelta(days=1), state=first.state)
        together = np.concatenate([valve(first)["litres"], valve(rest)["litres"]])
        np.testing.assert_allclose(together, valve(whole)["litres"], atol=1e-9)


def test_faults_move_with_the_year(make_garden):
    _, broken = faulty(make_garden, {"kind": "leak", "loss": "300 mL/day", "start": FIRST, "end": LAST})
    moved = in_year(broken, 2026).fault[0]
    assert (moved.start, moved.end) == (dt.date(2026, 5, 11), dt.date(2026, 5, 20))


def test_a_fault_outside_the_season_is_said_and_does_nothing(make_garden):
    sound, broken = runs(make_garden, {"kind": "leak", "loss": "300 mL/day", "start": dt.date(2025, 8, 1)})
    assert valve(sound).equals(valve(broken))
    finding = next(f for f in broken.findings if f.code == "fault")
    assert finding.severity == "note"
    assert "lies outside the days replayed" in finding.text and "holds what comes of it" not in finding.text
    assert not any("laid over this season" in finding.text for finding in broken.findings)


def test_a_filled_pan_is_never_above_its_rim(make_garden):
    garden, broken = faulty(make_garden, {"kind": "knocked", "swing": "8 kg"})
    forcing = with_faults(
        broken, prepare(garden, read_scenario_weather(garden), garden.season.start, garden.season.end)
    )
    assert first_morning(forcing).level[0] == pytest.approx(forcing.pans.rim[0, 0])


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ({"kind": "leek", "loss": "1 L/day"}, 'fault[0].kind = "leek" must be one of'),
        ({"kind": "leak"}, "fault[0].loss is missing; expected: water that leaks"),
        ({"kind": "leak"}, 'kind = "leak" or "animals" needs it'),
        (
            {"kind": "leak", "share": 0.5, "loss": "1 L/day"},
            'or "algae", not with kind = "leak" or "animals", which takes start, end, controller, loss',
        ),
        ({"kind": "clogged-refill"}, "fault[0].rate or share is missing"),
        ({"kind": "clogged-refill", "share": 0.1, "rate": 0.1}, "takes a share or a rate"),
        ({"kind": "clogged-refill", "rate": 0.1}, "needs the day from which it counts"),
        ({"kind": "leak", "loss": "1 L"}, "is a volume; expected: a flow"),
        ({"kind": "leak", "loss": "1 L/day", "controller": "uper"}, 'did you mean "upper"'),
        ({"kind": "clogged-emitters", "share": 0.5, "bed": "upper/tomato"}, 'did you mean "upper/tomatoes"'),
        ({"kind": "supply-cut", "supply": "sprin"}, 'did you mean "spring"'),
        ({"kind": "leak", "loss": "1 L/day", "start": LAST, "end": FIRST}, "is before the start"),
        ({"kind": "knocked", "swing": "-1 kg"}, "leaves nothing of a swing of 0.9 kg"),
        ({"kind": "splash", "above": "3 m/s"}, "splash is missing"),
    ],
)
def test_a_fault_that_can_t_be_is_told(fault, said, make_garden):
    with pytest.raises(ScenarioError) as caught:
        faulty(make_garden, fault)
    assert said in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


def test_every_fault_is_said_in_words():
    for kind, what in EVERY.items():
        assert fault_said(TypeAdapter(Fault).validate_python({"kind": kind, **what}))


def test_setup_goes_by_the_sound_garden_and_says_so(make_garden):
    weather = weather_csv(31)
    sound, broken = faulty(make_garden, {"kind": "shade", "factor": 0.3}, weather=weather)
    a, b = setup(sound), setup(broken)
    sheet, other = (dict(vars(plan.sheets["upper"])) for plan in (a, b))
    assert sheet.pop("months").equals(other.pop("months"))
    assert sheet == other
    assert b.assumptions[0].startswith("the faults of [[fault]] are left out here")


def test_size_goes_by_the_sound_garden_and_says_so(make_garden, monkeypatch):
    search_coarsely(monkeypatch)
    sound, broken = faulty(make_garden, {"kind": "shade", "factor": 0.3}, weather=weather_csv(31))
    a, b = size(sound), size(broken)
    assert a.valves["upper"].choice.best == b.valves["upper"].choice.best
    assert any(text.startswith("the faults of [[fault]] are left out here") for text in b.assumptions)


@pytest.mark.parametrize("overlay", [None, TANK], ids=["mains", "tank"])
def test_the_largest_flow_is_of_emitters_as_clogged_as_they_are(overlay, make_garden):
    """A refill emitter and a bed's emitters clogged by half from the first day: half of the flow."""
    garden = make_garden(overlay, days=10)
    clogged = [{"kind": "clogged-refill", "share": 0.5}, {"kind": "clogged-emitters", "share": 0.5}]
    sound, halved, later = (
        replay(one).totals["supplies"]["spring"]["peak_rate_l_per_h"]
        for one in (
            garden,
            garden.changed({"fault": clogged}),
            garden.changed({"fault": [{**one, "start": "2025-05-06"} for one in clogged]}),
        )
    )
    assert halved == pytest.approx(0.5 * sound, rel=1e-9)
    assert later == pytest.approx(sound, rel=1e-9)  # the largest was before


def test_a_stuck_valves_litres_are_those_of_a_clogged_emitter(make_garden):
    """A refill emitter down to a tenth holds the valve open; what then flows holds only that tenth of its own."""
    garden = make_garden(days=10).changed({"fault": [{"kind": "clogged-refill", "share": 0.95}]})
    season = replay(garden)
    table = season.controllers["upper"]
    assert table["stuck_hours"].sum() > 0.0
    flow = table["litres"].sum() / table["open_hours"].sum()
    said = next(f for f in season.findings if f.code == "stuck-open").message
    assert f"({litres(flow * table['stuck_hours'].sum())})" in said


def test_a_stuck_valves_litres_on_a_tank_are_those_drawn_under_its_falling_head(make_garden):
    """With no refill at all it never shuts: all that the tank gives flows while it is stuck, less and less."""
    season = replay(make_garden(TANK, days=10).changed({"fault": [{"kind": "clogged-refill", "share": 1.0}]}))
    table = season.controllers["upper"]
    assert (table["open_hours"] - table["starved_hours"]).tolist() == pytest.approx(table["stuck_hours"].tolist())
    said = next(f for f in season.findings if f.code == "stuck-open").message
    assert f"({litres(table['litres'].sum())})" in said


@pytest.mark.parametrize(
    ("kind", "what", "said"),
    [
        ("clogged-refill", {"share": 0.55}, "the refill emitter lost 55 % of its flow"),
        ("clogged-refill", {"rate": 0.2, "start": FIRST}, "the refill emitter loses 20 % of its flow a month"),
        ("mesh", {"factor": 0.9}, "a mesh leaves 90 % of the pan's evaporation"),
        ("leak", {"loss": "500 mL/day"}, "the pan leaks 0.5 L a day"),
        ("animals", {"loss": "1 L/h"}, "animals drink 24.0 L a day from the pan"),
        ("splash", {"above": "1.5 m/s", "splash": "2 mm"}, "wind over 1.5 m/s splashes out 2.0 mm a day for each m/s"),
        (
            "knocked",
            {"trip": "300 g", "swing": "-200 g"},
            "counterweight knocked: trip 300 g heavier, swing 200 g smaller",
        ),
        (
            "knocked",
            {"trip": "-300 g", "swing": "200 g"},
            "counterweight knocked: trip 300 g lighter, swing 200 g larger",
        ),
    ],
)
def test_a_fault_is_said_with_its_size(kind, what, said):
    assert fault_said(TypeAdapter(Fault).validate_python({"kind": kind, **what})) == said


def laid(make_garden, *faults, days=31):
    """A garden's forcing without and with faults."""
    garden = make_garden(days=days)
    forcing = prepare(garden, read_scenario_weather(garden), garden.season.start, garden.season.end)
    return forcing, with_faults(garden.changed({"fault": list(faults)}), forcing)


def test_two_knocks_leave_a_gram_of_swing_at_least(make_garden):
    """Each may leave something of 0.9 kg; 0.6 kg twice would leave none."""
    _, changed = laid(
        make_garden, {"kind": "knocked", "swing": "-600 g"}, {"kind": "knocked", "swing": "-600 g"}, days=3
    )
    assert changed.pans.swing[0] == pytest.approx([0.001] * 3)


@pytest.mark.parametrize(
    ("start", "end", "steps"),
    [
        (None, None, [0.0, 0.0, 0.0]),  # from before the first day on: filled to the reset as it then is
        (dt.date(2025, 4, 20), None, [0.0, 0.0, 0.0]),
        (dt.date(2025, 5, 1), None, [0.2, 0.0, 0.0]),
        (dt.date(2025, 5, 2), None, [0.0, 0.2, 0.0]),
        (dt.date(2025, 5, 2), dt.date(2025, 5, 2), [0.0, 0.2, -0.2]),
        (dt.date(2025, 4, 20), dt.date(2025, 5, 1), [0.0, -0.2, 0.0]),
        (dt.date(2025, 4, 20), dt.date(2025, 4, 30), [-0.2, 0.0, 0.0]),  # put right on the first morning
        (dt.date(2025, 4, 20), dt.date(2025, 4, 29), [0.0, 0.0, 0.0]),  # and the day before
    ],
)
def test_a_knocked_trip_moves_level_rim_and_floor_on_its_days(make_garden, start, end, steps):
    """200 g heavier: 0.2 kg nearer to the rim and the floor, and a level that steps by as much when it is knocked."""
    fault = {"kind": "knocked", "trip": "200 g"} | {k: day for k, day in (("start", start), ("end", end)) if day}
    forcing, changed = laid(make_garden, fault, days=3)
    first, last = start or dt.date(2025, 5, 1), end or dt.date(2025, 5, 3)
    on = [0.2 if first <= dt.date(2025, 5, day) <= last else 0.0 for day in (1, 2, 3)]
    assert changed.pans.shift[0] == pytest.approx(steps)
    assert forcing.pans.rim[0] - changed.pans.rim[0] == pytest.approx(on)
    assert forcing.pans.dry[0] - changed.pans.dry[0] == pytest.approx(on)


def test_shares_of_several_faults_are_of_what_the_others_left(make_garden):
    """By hand: half of the evaporation and nine tenths of that; leaks add up; a bed's flow by half and by a fifth."""
    kinds = [
        {"kind": "shade", "factor": 0.5},
        {"kind": "algae", "share": 0.1},
        {"kind": "leak", "loss": "1 L/h"},
        {"kind": "animals", "loss": "2 L/h"},
        {"kind": "clogged-emitters", "share": 0.5},
        {"kind": "clogged-emitters", "share": 0.2},
        {"kind": "clogged-refill", "share": 0.25},
        {"kind": "rain-differs", "factor": 0.5},
    ]
    forcing, changed = laid(make_garden, *kinds, days=2)
    assert changed.pans.evaporation == pytest.approx(0.45 * forcing.pans.evaporation)
    assert changed.pans.leak[0].tolist() == [3.0, 3.0]
    assert changed.beds.flow_factor[0] == pytest.approx([0.4, 0.4])
    assert changed.pans.refill_flow == pytest.approx(0.75 * forcing.pans.refill_flow)
    flow = forcing.pan_of["upper"]
    assert changed.pans.valve_flow[0] == pytest.approx([0.4 * flow.bed_flows["tomatoes"] + 0.75 * flow.refill_flow] * 2)
    assert changed.pans.rain_factor[0].tolist() == [0.5, 0.5]


@pytest.mark.parametrize(("rate", "day", "gone"), [(1.0, 0, 0.5 / 30.4375), (1.0, 29, 29.5 / 30.4375), (1.0, 30, 1.0)])
def test_what_clogs_by_the_month_is_all_gone_after_one_at_a_rate_of_one(rate, day, gone):
    """A twelfth of 365.25 days: the middle of its 31st day lies beyond it."""
    fault = TypeAdapter(Fault).validate_python({"kind": "clogged-refill", "rate": rate, "start": FIRST})
    dates = pd.date_range(FIRST - dt.timedelta(days=1), periods=40)
    lost = lost_share(fault, dates)
    assert lost[0] == 0.0
    assert lost[day + 1] == pytest.approx(gone)


def test_a_fault_lasts_from_its_first_day_to_its_last():
    dates = pd.date_range("2025-05-10", periods=12)
    on = fault_days(TypeAdapter(Fault).validate_python({"kind": "supply-cut", "start": FIRST, "end": LAST}), dates)
    assert on.tolist() == [False] + [True] * 10 + [False]
    assert fault_days(TypeAdapter(Fault).validate_python({"kind": "supply-cut"}), dates).all()


#: so bad that the garden breaks, and by what it is told on dry days
GRAVE = {
    "clogged-refill": ({"share": 1.0}, "stuck-open"),
    "clogged-emitters": ({"share": 1.0}, "short-of-water"),
    "leak": ({"loss": "60 L/day"}, "stuck-open"),
    "animals": ({"loss": "60 L/day"}, "stuck-open"),
    "mesh": ({"factor": 0.0}, "short-of-water"),
    "shade": ({"factor": 0.0}, "short-of-water"),
    "algae": ({"share": 1.0}, "short-of-water"),
    "knocked": ({"trip": "40 kg"}, "stuck-at-rim"),
    "supply-cut": ({}, "no-water"),
    "splash": ({"above": "0 m/s", "splash": "2 m"}, "stuck-open"),
    "rain-differs": ({"factor": 0.0}, ""),
}
PLACES = {
    "mains": ({}, 0.0),
    "tank": (TANK, 0.0),
    "deep rim": ({"controller": {"upper": {"pan": {"freeboard": "150 mm"}}}}, 0.0),
    "no freeboard": ({"controller": {"upper": {"pan": {"freeboard": "0 mm"}}}}, 0.0),
    "rain": ({}, 25.0),
}


@pytest.mark.parametrize("place", PLACES)
def test_strict_ends_with_one_for_every_fault_that_breaks_the_garden(place, make_shared_garden):
    """Each dangerous state of the pan is a finding; on dry days each fault, bad enough, is told by its own."""
    overlay, rain = PLACES[place]
    weather = weather_csv(18, pan=[7.0] * 18, rain=[rain if day % 3 == 1 else 0.0 for day in range(18)])
    garden = make_shared_garden(overlay or None, weather=weather)
    for kind in GRAVE if place == "mains" else ("clogged-refill", "leak", "knocked", "supply-cut"):
        fault, code = GRAVE[kind]
        broken = replay(garden.changed({"fault": [{"kind": kind, "start": dt.date(2025, 5, 3), **fault}]}))
        grave = {finding.code for finding in broken.findings if finding.severity == "danger"}
        totals = broken.totals["controllers"]["upper"]
        states = {
            "stuck-open": totals["stuck_open_hours"] > 6.0,
            "dry-pan": totals["dry_pan_hours"] > 0.0,
            "no-water": totals["starved_hours"] > 0.0,
        }
        for state in (state for state, holds in states.items() if holds):
            assert state in grave or (state, kind) == ("stuck-open", "knocked"), (kind, state)
        assert dangerous(broken.findings) == bool(grave)
        assert rain or code in grave or not code, (kind, grave)
