"""Ranges: seeded, run through the engine, around the season itself, equal to a replay where the factors are one."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pytest

from panbudget import replay
from panbudget.reports.writing import as_page
from panbudget.studies import ranges
from panbudget.studies.ranges import drawn_factors, interval_of, ranges_of, sampled_litres, sampled_results, with_spread
from tests.season.test_faults import TANK
from tests.small_weather import weather_csv

SURE = {
    name: [1.0, 1.0]
    for name in ("exposure", "refill_flow", "emitter_flow", "measured_flow", "swing", "weighed_swing", "pressure")
}


def spread_of(garden, count=40):
    season = replay(garden)
    return season, with_spread(season, count).totals["spread"]


@pytest.mark.parametrize("season", [{}, {"season": {"start": "2025-05-08", "spin_up": "7 days"}}], ids=["", "spin-up"])
def test_without_doubt_there_is_no_range(make_garden, season):
    """Every sample is then the season itself, to the last digit that ranges are given with."""
    season, spread = spread_of(make_garden({"uncertainty": SURE, **season}, weather=weather_csv(60)))
    bed, valve = season.totals["beds"]["upper/tomatoes"], season.totals["controllers"]["upper"]
    for key, value in (
        ("litres", bed["litres"]),
        ("stress_days", bed["stress_days"]),
        ("driest_quarter_stress_days", bed["driest_quarter"]["stress_days"]),
        ("deep_percolation_mm", bed["deep_percolation_mm"]),
    ):
        found = spread["beds"]["upper/tomatoes"][key]
        assert found["low"] == found["median"] == found["high"] == pytest.approx(value, abs=1e-8)
    assert spread["controllers"]["upper"]["litres"]["high"] == pytest.approx(valve["litres"], abs=1e-8)
    assert spread["controllers"]["upper"]["openings"]["low"] == valve["openings"]


def test_a_beds_litres_follow_its_emitters_and_the_valves_add_up(make_garden):
    """Emitters 1.2 times for sure: 1.2 times the bed's water, the refill's share unchanged."""
    plain, _ = spread_of(make_garden({"uncertainty": SURE}))
    only = {"uncertainty": {**SURE, "emitter_flow": [1.0, 1.4]}}
    _, spread = spread_of(make_garden(only), 200)
    litres = plain.totals["beds"]["upper/tomatoes"]["litres"]
    found = spread["beds"]["upper/tomatoes"]["litres"]
    # evenly between 1 and 1.4 times, the middle 90 %
    assert found["low"] == pytest.approx(1.02 * litres, rel=0.015)
    assert found["high"] == pytest.approx(1.38 * litres, rel=0.015)
    refilled = plain.totals["controllers"]["upper"]["refilled_kg"]
    assert spread["controllers"]["upper"]["litres"]["high"] == pytest.approx(found["high"] + refilled, rel=1e-9)


def test_two_runs_draw_the_same_and_the_season_is_left_alone(make_garden):
    season = replay(make_garden())
    assert with_spread(season, 25).totals["spread"] == with_spread(season, 25).totals["spread"]
    assert "spread" not in season.totals
    with pytest.raises(ValueError, match="too few"):
        with_spread(season, 5)


def test_the_report_has_the_ranges_only_when_asked(make_garden):
    season = replay(make_garden())
    page = as_page(with_spread(season, 25))
    assert "<h2>Ranges</h2>" in page
    assert "The middle 90\u00a0% of 25 seasons" in page
    assert "<h2>Ranges</h2>" not in as_page(season)


def season_with(make_garden, **ranges):
    return replay(make_garden({"uncertainty": {**SURE, **ranges}}))


def test_with_all_factors_one_every_sample_is_the_replay_itself(make_garden):
    season = season_with(make_garden)
    litres = sampled_litres(season, 3)["upper"]
    assert np.array_equal(litres, np.tile(season.controllers["upper"]["litres"].to_numpy(), (3, 1)))


def test_a_sample_is_the_replay_of_a_garden_changed_by_its_factors(make_garden):
    """One factor on the exposure: the smallest sample is what a scenario with that exposure draws."""
    season = season_with(make_garden, exposure=[0.8, 1.2])
    factors = drawn_factors(season.scenario, 4).exposure["upper"]
    assert sorted(((factors - 0.8) / 0.1).astype(int)) == [0, 1, 2, 3]  # a quarter of the range each
    for factor, litres in zip(factors, sampled_litres(season, 4)["upper"], strict=True):
        changed = season.scenario.changed({"controller": {"upper": {"pan": {"exposure": float(factor)}}}})
        assert litres.sum() == pytest.approx(replay(changed).totals["supplies"]["spring"]["litres"], rel=1e-9)


def test_pressure_has_no_say_where_all_emitters_follow_it_alike(make_garden):
    """Model page: with one exponent, pressure changes how long an opening lasts and not what a season gives."""
    season = season_with(make_garden, pressure=[0.5, 2.0])
    totals = sampled_litres(season, 10)["upper"].sum(axis=1)
    assert totals.max() / totals.min() < 1.1


def test_pressure_moves_what_a_season_gives_by_the_difference_of_exponents(make_garden):
    """A compensated refill emitter, beds' of exponent 0.5: the beds' water follows the root of the pressure."""
    compensated = {"controller": {"upper": {"valve": {"refill": {"exponent": 0.0}}}}}
    season = replay(make_garden({**compensated, "uncertainty": {**SURE, "pressure": [0.64, 1.0]}}))
    factors = drawn_factors(season.scenario, 6).pressure["spring"]
    flow = season.forcing.pan_of["upper"]
    beds = sum(flow.bed_flows.values())
    base = season.totals["supplies"]["spring"]["litres"]
    share = (flow.refill_flow + beds * factors**0.5) / (flow.refill_flow + beds)
    assert sampled_litres(season, 6)["upper"].sum(axis=1) == pytest.approx(share * base, rel=1e-3)


def test_a_sample_is_the_replay_of_a_garden_changed_by_its_swing(make_garden):
    """The swing drawn moves reset, rim and dry pan alike, and a pan that began at its reset begins at the new one."""
    season = season_with(make_garden, swing=[0.8, 1.25])
    factors = drawn_factors(season.scenario, 3).swing["upper"]
    for factor, out in zip(factors, sampled_results(season, 3), strict=True):
        changed = season.scenario.changed({"controller": {"upper": {"valve": {"swing": f"{0.9 * factor:.15g} kg"}}}})
        valve = replay(changed).totals["controllers"]["upper"]
        assert out.openings[0].sum() == valve["openings"]
        assert out.drawn[0].sum() == pytest.approx(valve["litres"], rel=1e-9)


def test_what_is_known_of_a_valve_takes_the_place_of_the_general_range(make_garden):
    """Its exposure is openings times swing, and its refill flow what makes its beds' water so much, whatever emitters give."""
    known = {"openings": [0.9, 1.1], "swing": [0.8, 1.2], "litres": [0.95, 1.05]}
    over = {**SURE, "emitter_flow": [0.8, 1.2], "controller": {"upper": known}}
    garden = make_garden(
        {"uncertainty": over, "controller": {"upper": {"bed": {"tomatoes": {"emitters": {"at": "100 kPa"}}}}}}
    )
    draws = drawn_factors(garden, 50)
    beds = draws.exposure["upper"] * draws.emitter_flow["upper/tomatoes"] / draws.refill_flow["upper"]
    openings = draws.exposure["upper"] / draws.swing["upper"]
    for values, (low, high) in ((beds, known["litres"]), (openings, known["openings"])):
        assert low <= values.min() < low + 0.02 * (high - low)
        assert high - 0.02 * (high - low) < values.max() <= high
    assert ranges_of(garden)["controller.upper.litres"] == (0.95, 1.05)
    assert "exposure" not in ranges_of(garden)


def test_a_flow_by_jug_and_a_swing_by_two_weighings_are_known_better(make_garden):
    described = make_garden()
    test = {"set_up_test": {"falls_at": "7.4 kg", "rises_at": "6.5 kg"}}
    measured = described.changed({"controller": {"upper": {"valve": {"refill": {"at": None}, **test}}}})
    for garden, keys in ((described, {"refill_flow", "swing"}), (measured, {"measured_flow", "weighed_swing"})):
        assert keys < set(ranges_of(garden))
    widths = [
        [np.ptp(getattr(drawn_factors(g, 200), part)["upper"]) for g in (described, measured)]
        for part in ("refill_flow", "swing")
    ]
    assert np.array(widths) == pytest.approx(np.array([[0.2, 0.06], [0.1, 0.02]]), rel=0.02)


def test_a_larger_refill_flow_draws_less_and_larger_emitters_more(make_garden):
    base = season_with(make_garden).totals["supplies"]["spring"]["litres"]
    smaller_refill = sampled_litres(season_with(make_garden, refill_flow=[0.5, 1.0]), 20)["upper"].sum(axis=1)
    larger_emitters = sampled_litres(season_with(make_garden, emitter_flow=[1.0, 1.5]), 20)["upper"].sum(axis=1)
    assert (smaller_refill > base).all()
    assert (larger_emitters > base).all()


def test_the_same_seed_gives_the_same_numbers_and_another_seed_others(make_garden):
    season = replay(make_garden())
    first, again = sampled_litres(season, 5)["upper"], sampled_litres(season, 5)["upper"]
    assert np.array_equal(first, again)
    other = sampled_litres(replay(make_garden({"uncertainty": {"seed": 2}})), 5)["upper"]
    assert not np.array_equal(first, other)


def test_the_range_holds_its_share_of_the_samples():
    """1 to 1000: the middle half, interpolated as numpy does: 250.75 to 750.25."""
    assert interval_of(np.arange(1.0, 1001.0), 0.5) == (250.75, 750.25)


def test_each_run_is_told(make_garden):
    steps = []
    sampled_litres(replay(make_garden(days=5)), 3, steps.append)
    assert steps[-1] == "season 3 of 3 over the stated ranges"


@pytest.mark.parametrize("count", [19, 20])
def test_twenty_runs_are_the_least(make_garden, count):
    season = replay(make_garden(days=3))
    if count == 20:
        assert with_spread(season, count).totals["spread"]["samples"] == 20
    else:
        with pytest.raises(ValueError, match="19 runs are too few; 20 at least"):
            with_spread(season, count)


#: one draw: evaporation doubled, a refill emitter of three times its flow, a swing half as large again, half the bed's
#: emitters, four times the pressure
ODD = {"exposure": 2.0, "refill_flow": 3.0, "swing": 1.5, "emitter_flow": 0.5, "pressure": 4.0}


def drawn(monkeypatch, season, **factors):
    """The one forcing that comes of known factors."""
    valves, beds, supplies = list(season.scenario.controller), list(season.beds), list(season.scenario.supply)
    names = {"exposure": valves, "refill_flow": valves, "swing": valves, "emitter_flow": beds, "pressure": supplies}
    parts = {key: {name: np.array([{**ODD, **factors}[key]]) for name in of} for key, of in names.items()}
    monkeypatch.setattr(ranges, "drawn_factors", lambda scenario, count: ranges.Draws(**parts))
    (found,) = ranges.drawn_forcings(season.scenario, [season.forcing], 1)
    return found


def test_a_draw_is_laid_on_pans_and_beds_by_hand(make_garden, monkeypatch):
    """Emitters of exponent 0.5 give twice their flow at four times the pressure; a laminar bed gives four times."""
    laminar = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"exponent": 1.0}}}}}}
    season = replay(make_garden(laminar, days=3))
    plain, found = season.forcing, drawn(monkeypatch, season)
    assert found.pans.evaporation == pytest.approx(2.0 * plain.pans.evaporation)
    assert found.pans.swing == pytest.approx(1.5 * plain.pans.swing)
    for name in ("rim", "dry"):
        assert getattr(found.pans, name) - getattr(plain.pans, name) == pytest.approx(0.5 * plain.pans.swing)
    assert found.pans.refill_flow == pytest.approx(3.0 * 2.0 * plain.pans.refill_flow)
    flows = plain.pan_of["upper"]
    assert found.pans.valve_flow[0] == pytest.approx([6.0 * flows.refill_flow + 2.0 * flows.bed_flows["tomatoes"]] * 3)
    assert found.beds.flow_factor == pytest.approx(0.5 * 4.0 * plain.beds.flow_factor)


def test_faults_take_from_a_draw_what_they_take_from_the_season(make_garden, monkeypatch):
    """A refill emitter and a bed's emitters that lost half: half of what is drawn, from the second day on."""
    faults = [{"kind": kind, "share": 0.5, "start": "2025-05-02"} for kind in ("clogged-refill", "clogged-emitters")]
    season = replay(make_garden({"fault": faults}, days=3))
    found, flows = drawn(monkeypatch, season), season.forcing.pan_of["upper"]
    whole = 6.0 * flows.refill_flow + 1.0 * flows.bed_flows["tomatoes"]
    assert found.pans.valve_flow[0] == pytest.approx([whole, 0.5 * whole, 0.5 * whole])


def test_under_a_tank_a_draw_is_of_the_flows_at_its_reference(make_garden, monkeypatch):
    season = replay(make_garden(TANK, days=3))
    found, plain = drawn(monkeypatch, season, pressure=1.0), season.forcing
    assert found.tanks.draw_flow == pytest.approx(0.5 * plain.tanks.draw_flow)
    assert found.pans.refill_flow == pytest.approx(3.0 * plain.pans.refill_flow)


@pytest.mark.parametrize(("level", "began"), [(0.9, 1.35), (0.45, 0.675), (0.0, 0.0), (-0.3, -0.3), (2.0, 2.45)])
def test_a_pan_begins_as_full_of_its_swing_as_it_was(make_garden, monkeypatch, level, began):
    """A swing of 0.9 kg drawn as 1.35: half full it stays half full; below the trip, or over the reset, it moves as that."""
    season = replay(make_garden(days=3))
    season.began.level[:] = level
    one = drawn(monkeypatch, season)
    monkeypatch.setattr(ranges, "drawn_forcings", lambda scenario, forcings, count: iter([one]))
    starts = []
    monkeypatch.setattr(
        ranges, "run_forcing", lambda forcing, state, out, run: starts.append(state.level.copy()) or (out, 0)
    )
    list(ranges.sampled_results(season, 1))
    assert starts[0] == pytest.approx([began])


def test_a_runs_totals_are_each_beds_own():
    """By hand: lanes of mean and driest quarter, bed after bed; a day on which nothing grows is not short of water."""
    ks = np.array([[1.0, 0.9, 0.9], [0.9, 0.9, 0.9], [1.0, 1.0, 1.0], [np.nextafter(1.0, 0.0), 1.0, 1.0]])
    lanes = np.arange(12.0).reshape(4, 3)
    out = SimpleNamespace(
        drawn=np.array([[1.0, 2.0]]),
        openings=np.array([[3.0, 4.0]]),
        ks=ks,
        irrigation=lanes,
        deep_percolation=lanes + 1.0,
    )
    beds = {"a": SimpleNamespace(area=10.0), "b": SimpleNamespace(area=5.0)}
    growing = np.array([[1, 1, 0], [1, 1, 1]])
    season = SimpleNamespace(
        scenario=SimpleNamespace(controller={"upper": SimpleNamespace(bed=beds)}),
        beds={"upper/a": None, "upper/b": None},
        forcing=SimpleNamespace(beds=SimpleNamespace(growing=growing)),
    )
    found = ranges._run_totals(season, out)
    names = ("litres", "stress_days", "driest_quarter_stress_days", "deep_percolation_mm")
    assert [found["beds", "upper/a", name] for name in names] == [30.0, 1.0, 2.0, 6.0]
    assert [found["beds", "upper/b", name] for name in names] == [105.0, 0.0, 1.0, 24.0]
    assert (found["controllers", "upper", "litres"], found["controllers", "upper", "openings"]) == (3.0, 7.0)


AS_SHIPPED = dict(ranges.DRAWS), ranges.WORTH_COMPILING


def test_advice_is_judged_by_sixty_four_draws_or_twelve_without_a_compiler(monkeypatch):
    assert AS_SHIPPED == ({True: 64, False: 12}, 1500)
    monkeypatch.setattr(ranges, "compiled", lambda engine: "compiled")
    monkeypatch.setattr(ranges, "has_compiler", lambda: True)
    for kept, bound in ((False, 1500), (True, 100)):  # a kept one pays sooner
        monkeypatch.setattr(ranges, "is_kept", lambda engine, kept=kept: kept)
        assert [ranges.engine_for(seasons) for seasons in (bound - 1, bound)] == [ranges.run_season, "compiled"]
    monkeypatch.setattr(ranges, "has_compiler", lambda: False)
    assert ranges.engine_for(1500) is ranges.run_season


@pytest.mark.parametrize(
    ("fails", "margin"),
    [([], (0.5, 2.0)), ([0.8, 1.4], (0.9, 1.2)), ([1.0], None), ([0.5, 2.0], (0.8, 1.4)), ([0.9, 1.2], (1.0, 1.0))],
)
def test_a_margin_is_the_run_about_one_and_none_where_that_fails(fails, margin):
    """Beyond the first failure nothing counts; as shipped, from 0.4 to 2 in twentieths."""
    assert ranges.SCAN.tolist() == pytest.approx(np.linspace(0.4, 2.0, 33).tolist())
    factors = np.array([0.5, 0.8, 0.9, 1.0, 1.2, 1.4, 2.0])
    assert ranges.around(lambda factor: factor not in fails, factors) == margin


def test_what_two_variants_share_is_drawn_alike_in_both(make_garden):
    garden = make_garden({"variant": {"more": {"controller": {"upper": {"bed": {"beans": BEANS}}}}}})
    plain, more = drawn_factors(garden, 8), drawn_factors(garden.with_variant("more"), 8)
    for part in ("exposure", "refill_flow", "swing", "pressure"):
        for name, factors in getattr(plain, part).items():
            assert getattr(more, part)[name].tolist() == factors.tolist()
    assert plain.emitter_flow["upper/tomatoes"].tolist() == more.emitter_flow["upper/tomatoes"].tolist()
    assert plain.emitter_flow["upper/tomatoes"].tolist() != more.emitter_flow["upper/beans"].tolist()


BEANS = {
    "area": "4 m^2",
    "emitters": {"count": 8, "flow": "2 L/h", "at": "100 kPa"},
    "soil": "loam",
    "plants": {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.45},
}


def test_days_that_follow_each_other_are_the_season_that_they_make_up(make_garden):
    """Draw by draw, eleven days and the twenty after them are the thirty-one."""
    season = replay(make_garden())
    garden, weather, start = season.scenario, season.weather, season.scenario.season.start
    at = [start, start + dt.timedelta(days=10), start + dt.timedelta(days=11), garden.season.end]
    first = ranges.days_of(garden, weather, *at[:2])
    parts = [first, ranges.days_of(garden, weather, *at[2:], before=first)]
    whole = list(sampled_results(season, 3, lanes=[0, 1]))
    for (first, second), out in zip(ranges.sampled_chains(parts, 3, lanes=[0, 1]), whole, strict=True):
        assert np.hstack([first.depletion, second.depletion]) == pytest.approx(out.depletion)
        assert np.hstack([first.drawn, second.drawn]) == pytest.approx(out.drawn)


def test_days_on_salty_water_have_the_salt_of_the_replay(make_garden):
    """Its slower evaporation and lower trip, handed on from the days before."""
    garden = make_garden({"supply": {"spring": {"salinity": "6 dS/m"}}})
    begin, end = garden.season.start, garden.season.end
    first = replay(garden, end=begin + dt.timedelta(days=19))
    later = {"start": begin + dt.timedelta(days=20), "end": end}
    second = replay(garden, **later, weather=first.weather, state=first.state, salt=first.salt_left)
    days = ranges.days_of(garden, first.weather, begin, begin + dt.timedelta(days=19))
    more = ranges.days_of(garden, first.weather, *later.values(), before=days)
    fresh = ranges.days_of(garden.changed({"supply": {"spring": {"salinity": None}}}), first.weather, begin, end)
    for laid_out, season in ((days, first), (more, second)):
        for name in ("evaporation", "shift", "swing", "dry"):
            assert np.array_equal(getattr(laid_out.forcing.pans, name), getattr(season.forcing.pans, name)), name
    assert more.forcing.pans.evaporation[0, -1] < fresh.forcing.pans.evaporation[0, -1]


def test_recoveries_that_never_came_on_either_side_have_no_mean_and_no_warning():
    """The mean of differences without end both ways came with a warning of numpy's on the screen."""
    never = np.inf
    found = ranges.paired(np.array([never, 3.0, 2.0]), np.array([4.0, never, 2.0]), 0.9)
    assert np.isnan(found.mean)
    assert (found.below, found.above) == (pytest.approx(1 / 3), pytest.approx(1 / 3))
