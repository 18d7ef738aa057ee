"""
The engine on bare arrays: exact answers worked by hand, laws, awkward inputs, and FAO-56's stress example.

The facts of common practice at the head of the model page are tested through the whole program in test_laws.py.
"""

from __future__ import annotations

import ast
import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panbudget.engine import adding, hour, pan, root_zone, surface, tank
from panbudget.engine import season as engine
from panbudget.engine.arrays import Tanks, empty_results, empty_state, plain
from panbudget.engine.pan import PRESS
from tests.small_garden import EVEN_HOURS, NOON_HOURS, garden, run

DATA = Path(__file__).parents[1] / "data"


def test_engine_imports_nothing_but_math():
    """So that the same text goes through a compiler for numeric Python."""
    ours = {f"panbudget.engine.{name}" for name in ("adding", "hour", "pan", "tank", "surface", "root_zone")}
    for module in (engine, adding, hour, pan, tank, surface, root_zone):
        for node in ast.walk(ast.parse(Path(module.__file__).read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                assert [alias.name for alias in node.names] == ["math"]
            elif isinstance(node, ast.ImportFrom):
                assert node.module in ours


def test_an_opening_worked_by_hand():
    """0.1 m² losing 0.05 kg an hour trips 0.9 kg after 18 h, then gains 2 − 0.05 kg/h: open 0.4615 h."""
    parts = garden([12.0, 12.0], area=0.1, shares=EVEN_HOURS)
    count, out, state = run(parts)
    opened = 0.9 / 0.05
    lasts = 0.9 / (2.0 - 0.05)
    assert count == 2  # the second trips 18 h after the first has reset
    assert out.opening_start[0] == pytest.approx(opened, abs=1e-12)
    assert out.opening_end[0] == pytest.approx(opened + lasts, abs=1e-12)
    assert out.opening_refilled[0] == pytest.approx(2.0 * lasts, abs=1e-12)
    assert out.opening_start[1] == pytest.approx(2 * opened + lasts, abs=1e-12)
    # 5 mm an hour of opening onto the bed
    assert out.irrigation[0, 0] == pytest.approx(5.0 * lasts, abs=1e-12)
    assert out.irrigation[1, 0] == pytest.approx(4.5 * lasts, abs=1e-12)
    left = 48.0 - out.opening_end[1]
    assert state.level[0] == pytest.approx(0.9 - 0.05 * left, abs=1e-12)


def test_an_opening_over_midnight_waters_both_days():
    """By hand: trips at 23:30, gains 1.95 kg/h until midnight and 2 kg/h on the second day, without evaporation."""
    parts = garden([12.0, 0.0], area=0.1, swing=23.5 * 0.05, shares=EVEN_HOURS)
    count, out, _ = run(parts)
    lasts = 0.5 + (23.5 * 0.05 - 0.5 * 1.95) / 2.0
    assert count == 1
    assert out.opening_start[0] == pytest.approx(23.5, abs=1e-9)
    assert out.open_hours[0].tolist() == pytest.approx([0.5, lasts - 0.5], abs=1e-9)
    assert out.openings[0].tolist() == [1, 0]
    assert out.irrigation[0].tolist() == pytest.approx([2.5, 5.0 * (lasts - 0.5)], abs=1e-9)


def test_a_press_opens_a_pan_below_reset_and_leaves_a_full_one_shut():
    """At hour 20 the pan has lost 0.5 of its 0.9 kg; at hour 0 it is full and the press does nothing."""
    parts = garden([6.0], area=0.1, shares=EVEN_HOURS, presses=[[0.0]])
    assert run(parts)[0] == 0
    parts = garden([6.0], area=0.1, shares=EVEN_HOURS, presses=[[20.0]])
    count, out, _ = run(parts)
    assert count == 1
    assert out.opening_cause[0] == PRESS
    assert out.opening_start[0] == pytest.approx(20.0)
    assert out.opening_end[0] - out.opening_start[0] == pytest.approx(0.5 / (2.0 - 0.025), abs=1e-9)


def test_a_press_while_open_changes_nothing():
    """Tripped at 18 h, pressed a quarter of an hour later."""
    plain_run = run(garden([12.0], area=0.1, shares=EVEN_HOURS))
    pressed = run(garden([12.0], area=0.1, shares=EVEN_HOURS, presses=[[18.25]]))
    assert plain_run[0] == pressed[0] == 1
    assert pressed[1].open_hours[0, 0] == pytest.approx(plain_run[1].open_hours[0, 0], abs=1e-12)


def test_rain_over_the_rim_spills_and_is_forgotten():
    """A full pan with 20 mm of freeboard keeps 20 of 50 mm on a day without evaporation."""
    _, out, state = run(garden([0.0], [50.0], area=0.5))
    assert out.spilled[0, 0] == pytest.approx(0.5 * 30.0)
    assert state.level[0] == pytest.approx(0.9 + 0.5 * 20.0)


def test_evaporation_that_outruns_the_refill_holds_the_valve_open_until_the_pan_is_dry():
    """0.5 m² losing 1 kg/h against 0.1 L/h: trips after 0.9 h, then falls 0.9 kg/h for the 1.1 kg below the trip."""
    parts = garden([48.0], area=0.5, depth=24.0, freeboard=20.0, refill_flow=0.1, shares=EVEN_HOURS)
    count, out, state = run(parts)
    assert count == 1
    assert math.isnan(out.opening_end[0])
    assert out.stuck_hours[0, 0] == pytest.approx(24.0 - 0.9)
    dry_after = 0.9 + (2.0 - 0.9) / 0.9
    assert out.dry_hours[0, 0] == pytest.approx(24.0 - dry_after, abs=1e-9)
    assert state.level[0] == pytest.approx(-1.1)
    assert state.is_open[0] == 1


def test_no_freeboard_still_resets():
    """Rim and reset at one level: the valve must shut, not spill for ever."""
    count, out, _ = run(garden([12.0, 12.0], area=0.1, freeboard=0.0, shares=EVEN_HOURS))
    assert count == 2
    assert out.spilled.sum() == 0.0


def test_stress_follows_fao56_example_37():
    """FAO-56 (1998), chapter 8, Example 37: tomato, TAW 160, RAW 64, Dr 55 at the start, ETc 6 mm/day, no water."""
    text = (DATA / "soil_water_examples.csv").read_text(encoding="utf-8")
    rows = [row for row in csv.DictReader(text.splitlines()) if row["case"] == "ex37_tomato_stress"]
    n = 10
    # Table 22's footnote would move p with ETc; the example holds it at 0.40, hence 0.44 here: 0.44 + 0.04 (5 − 6)
    parts = garden(np.zeros(n), eto=np.full(n, 5.0), kc=1.2, taw=160.0, p=0.44, initial=55.0)
    _, out, _ = run(parts)
    computed = {"ks": out.ks[0], "etc_adj": out.eta[0], "dr_end": out.depletion[0]}
    checked = 0
    for row in rows:
        if row["name"] in computed:
            value = computed[row["name"]][int(row["day"]) - 1]
            assert value == pytest.approx(float(row["published"]), abs=float(row["tolerance"])), row
            checked += 1
    assert checked == 30


def test_exact_refill_waters_back_to_field_capacity_on_the_day_raw_is_reached():
    """TAW 100, p 0.5 − 0.04 (6 − 5) = 0.46, 6 mm a day: 46 mm is passed on day 8, when 48 mm go back."""
    parts = garden(np.zeros(9), eto=np.full(9, 6.0), kc=1.0, taw=100.0, p=0.5)
    _, out, _ = run(parts)
    assert out.irrigation[2].tolist() == pytest.approx([0.0] * 7 + [48.0, 0.0])
    assert out.ks[2].tolist() == [1.0] * 9


def test_deep_percolation_is_what_passes_field_capacity_after_the_days_use():
    """FAO-56 (1998) eq. 88: 30 mm of rain on Dr 10 mm with ETc 6 mm drains 14 mm."""
    _, out, _ = run(garden([0.0], [30.0], eto=[6.0], initial=10.0))
    assert out.deep_percolation[0, 0] == pytest.approx(14.0)
    assert out.depletion[0, 0] == 0.0


def changed(parts, **fields):
    """The same garden with some of its pan's numbers changed on all days."""
    days, pans, beds, state = parts
    return (
        days,
        pans._replace(**{name: np.full_like(getattr(pans, name), v) for name, v in fields.items()}),
        beds,
        state,
    )


def sums_of(out, day=0):
    names = ("evaporated", "leaked", "spilled", "refilled", "drawn", "open_hours", "starved_hours", "stuck_hours")
    return {name: float(getattr(out, name)[0, day]) for name in (*names, "dry_hours", "level", "openings")}


def summed(**other_than_nothing):
    return pytest.approx(dict.fromkeys(sums_of(run(garden([0.0]))[1]), 0.0) | other_than_nothing, abs=1e-9)


def test_a_day_with_a_leak_adds_up_by_hand():
    """Sun and leak take 0.05 kg/h each: 0.9 kg are gone after 9 h and come back at 1.9 kg/h, twice in the day."""
    _, out, state = run(changed(garden([12.0], area=0.1, shares=EVEN_HOURS), leak=0.05))
    lasts = 0.9 / 1.9
    assert sums_of(out) == summed(
        evaporated=1.2,
        leaked=1.2,
        refilled=4.0 * lasts,
        drawn=14.0 * lasts,
        open_hours=2.0 * lasts,
        level=0.9 + 4.0 * lasts - 2.4,
        openings=2,
    )
    assert out.opening_start[:2].tolist() == pytest.approx([9.0, 18.0 + lasts])
    assert out.opening_refilled[:2].tolist() == pytest.approx([2.0 * lasts] * 2)
    assert out.opening_litres[:2].tolist() == pytest.approx([7.0 * lasts] * 2)
    assert (state.refilled[0], state.is_open[0]) == (pytest.approx(2.0 * lasts), 0)


@pytest.mark.parametrize(("refill", "stuck"), [(1.0, 23.1), (1.01, 0.0), (0.99, 23.1)])
def test_a_valve_is_stuck_where_rain_and_refill_only_make_good_what_sun_and_leak_take(refill, stuck):
    """1 and 0.25 kg/h go, 0.25 kg/h of rain come: trips after 0.9 h; a refill of 1 kg/h holds the level and no more."""
    parts = garden([48.0], [12.0], area=0.5, refill_flow=refill, shares=EVEN_HOURS)
    _, out, _ = run(changed(parts, leak=0.25))
    assert sums_of(out) == summed(
        evaporated=24.0,
        leaked=6.0,
        refilled=23.1 * refill,
        drawn=23.1 * (refill + 5.0),
        open_hours=23.1,
        stuck_hours=stuck,
        level=23.1 * (refill - 1.0),
        openings=1,
    )


def test_a_dry_pan_loses_to_sun_and_leak_what_comes_in():
    """Trips after 0.6 h, dry 1.1 kg lower after 1.1/1.2 h; then 0.2 and 0.1 of the 0.3 kg/h that the refill brings."""
    parts = garden([48.0], area=0.5, depth=24.0, freeboard=20.0, refill_flow=0.3, shares=EVEN_HOURS)
    _, out, _ = run(changed(parts, leak=0.5))
    wet = 0.6 + 1.1 / 1.2
    assert sums_of(out) == summed(
        evaporated=wet + 0.2 * (24.0 - wet),
        leaked=0.5 * wet + 0.1 * (24.0 - wet),
        refilled=0.3 * 23.4,
        drawn=5.3 * 23.4,
        open_hours=23.4,
        stuck_hours=23.4,
        dry_hours=24.0 - wet,
        level=-1.1,
        openings=1,
    )


def test_a_knocked_counterweight_holds_the_valve_open_against_the_rim():
    """Knocked by 1 kg, the rim at 0.6 kg lies under the reset at 0.9: from −0.1 kg, 0.2 kg/h fill it in 3.5 h."""
    days, pans, beds, state = garden([0.0, 0.0], area=0.1, freeboard=0.0, refill_flow=0.2)
    by_day = {"rim": [0.9, 0.6], "shift": [0.0, 1.0], "dry": [-5.0, -5.3]}
    pans = pans._replace(**{name: np.array([values]) for name, values in by_day.items()})
    count, out, state = run((days, pans, beds, state))
    assert (count, state.is_open[0]) == (1, 1)
    assert (out.opening_start[0], out.opening_cause[0]) == (24.0, pan.TRIP)
    assert sums_of(out) == summed(level=0.9)
    second = {
        name: value for name, value in sums_of(out, 1).items() if name in ("spilled", "refilled", "level", "drawn")
    }
    assert second == pytest.approx({"spilled": 4.1, "refilled": 4.8, "level": 0.6, "drawn": 124.8})
    assert out.open_hours[0, 1] == pytest.approx(24.0)
    assert out.stuck_hours[0].tolist() == pytest.approx([0.0, 20.5])  # against the rim it is stuck


def test_the_rim_comes_before_a_reset_above_it_in_the_same_hour():
    """0.3 kg above the trip weight at midnight, pressed open: 2 kg/h fill to the rim at 0.8 in 0.25 h, then all spills."""
    days, pans, beds, state = garden([0.0], area=0.1, freeboard=0.0, presses=[[0.0]])
    state.level[0] = 0.3
    count, out, _ = run((days, pans._replace(rim=np.array([[0.8]])), beds, state))
    assert count == 1
    refilled, spills_from = 48.0, 0.25
    assert sums_of(out) == pytest.approx(
        summed(
            refilled=refilled,
            spilled=2.0 * (24.0 - spills_from),
            open_hours=24.0,
            stuck_hours=24.0 - spills_from,
            level=0.8,
            drawn=7.0 * 24.0,  # the garden's 2 L/h of refill and 5 of beds
            openings=1,
        )
    )


def test_a_sunken_trip_weight_spills_what_stands_over_the_new_rim():
    """Salt shift of −0.5 kg with the rim where it was at 1.0: 0.9 becomes 1.4 kg, and the day's rain all goes over."""
    days, pans, beds, state = garden([0.0], [10.0], area=0.1, freeboard=1.0)
    count, out, _ = run((days, pans._replace(shift=np.full((1, 1), -0.5)), beds, state))
    assert count == 0
    assert sums_of(out) == summed(spilled=1.0, level=1.4)


@pytest.mark.parametrize(("press", "count"), [(24.0, 1), (24.01, 0), (23.99, 1), (0.0, 0)])
def test_a_press_counts_within_its_day(press, count):
    """0.6 of 0.9 kg are gone at midnight."""
    parts = garden([6.0], area=0.1, shares=EVEN_HOURS, presses=[[press]])
    assert run(parts)[0] == count


def test_two_presses_in_one_hour_open_twice():
    """At 12:00 the pan has lost 0.3 kg, back after 0.3/1.975 h; at 12:30 it is a little short again."""
    count, out, _ = run(garden([6.0], area=0.1, shares=EVEN_HOURS, presses=[[12.0, 12.5]]))
    first = 0.3 / 1.975
    short = 0.025 * (0.5 - first)
    assert count == 2
    assert out.opening_cause[:2].tolist() == [PRESS, PRESS]
    assert out.opening_start[:2].tolist() == pytest.approx([12.0, 12.5])
    assert out.opening_end[:2].tolist() == pytest.approx([12.0 + first, 12.5 + short / 1.975])


def test_half_of_the_night_share_falls_by_night_and_none_of_it_is_lost():
    """Night share 0.25, darkness even over 24 h here: hour 0 takes 0.25/24 of the day and hour 12 the rest of its sine."""
    _, out, _ = run(garden([6.0], area=0.1, night_share=0.25))
    assert out.hourly_level[0, 0] == pytest.approx(0.9 - 0.6 * 0.25 / 24.0)
    noon = 0.75 * (np.cos(np.pi / 2.0) - np.cos(np.pi * 7.0 / 12.0)) / 2.0 + 0.25 / 24.0
    assert out.hourly_level[0, 11] - out.hourly_level[0, 12] == pytest.approx(0.6 * noon)
    assert out.evaporated[0, 0] == pytest.approx(0.6)


def on_a_tank(
    evaporation,
    volume,
    *,
    controllers=1,
    inflow=0.0,
    float_volume=0.0,
    float_rate=0.0,
    refill_flows=(),
    areas=(),
    exponent=0.0,
    **more,
):
    """The garden of bare arrays, once or side by side, on a tank of 10 L with compensated emitters only."""
    days, pans, beds, _ = garden(evaporation, shares=EVEN_HOURS, **more)
    n, ones = len(days.rain), np.ones(controllers)
    rows = {name: np.repeat(getattr(pans, name), controllers, axis=0) for name in pans._fields}
    whole = {"tank": np.zeros(controllers, np.int64), "member": np.arange(controllers)}
    pans = pans._replace(**rows)._replace(block=np.array([0, controllers]), **whole)
    pans = pans._replace(refill_exponent=np.full(controllers, exponent))
    if refill_flows:
        pans = pans._replace(refill_flow=np.repeat(np.array(refill_flows)[:, None], n, axis=1))
    if areas:
        pans = pans._replace(area=np.array(areas))
    tanks = Tanks(
        capacity=np.array([10.0]),
        outlet=np.ones(1),
        volumes=np.array([[0.0, 10.0]]),
        levels=np.array([[0.0, 1.0]]),
        inflow=np.full((1, n), inflow),
        float_volume=np.array([float_volume]),
        float_rate=np.array([float_rate]),
        draw_flow=np.full((controllers, n), 5.0),
        draw_exponent=exponent * ones,
        draw_from=np.arange(controllers + 1),
    )
    beds = beds._replace(
        lane_controller=np.full(3, controllers - 1), lane_draw=np.array([controllers - 1, controllers - 1, -1])
    )
    fresh = empty_state(controllers, 3, tanks)._replace(level=0.9 * ones, volume=np.array([volume]))
    out = empty_results(controllers, 3, n, room=100, tanks=tanks)
    count = engine.run_season(plain(days), plain(pans), plain(tanks), plain(beds), plain(fresh), plain(out))
    return count, out, fresh


def test_a_tank_that_runs_empty_leaves_the_valve_open_and_says_so():
    """Trips at 18 h; 2.8 L last 0.4 h at 7 L/h, when the pan has gained 0.78 kg; 5.6 h of sun take 0.28 of them."""
    _, out, _ = on_a_tank([12.0], 2.8, area=0.1)
    assert sums_of(out) == summed(
        evaporated=1.2, refilled=0.8, drawn=2.8, open_hours=6.0, starved_hours=5.6, level=0.5, openings=1
    )
    assert (out.tank_volume[0, 0], out.tank_drawn[0, 0]) == (0.0, pytest.approx(2.8))
    assert out.irrigation[:2, 0].tolist() == pytest.approx([2.0, 1.8])


def test_hours_in_which_nothing_happens_on_an_empty_tank_are_as_if_each_were_looked_at(monkeypatch):
    """The same to the last bit: two pans that fall to their floors, rain that shuts one, and two days' rain that fills both."""
    evaporation, rain = [12.0] * 14, [0.0] * 4 + [9.0] + [0.0] * 5 + [30.0, 3.0, 0.0, 0.0]
    garden_of = {"controllers": 2, "areas": (0.1, 0.2), "rain": rain, "refill_flows": (2.0, 1.0)}
    garden_of |= {"area": 0.1, "depth": 40.0, "freeboard": 20.0}
    count, out, _ = on_a_tank(evaporation, 2.8, **garden_of)
    assert out.dry_hours.sum(axis=1).min() > 0.0
    assert out.starved_hours.sum(axis=1).min() > 48.0
    monkeypatch.setattr(engine, "waits", lambda *_: (False, False))
    again, each, _ = on_a_tank(evaporation, 2.8, **garden_of)
    assert again == count
    for name, part in out._asdict().items():
        np.testing.assert_array_equal(part, getattr(each, name), err_msg=name)


def test_flows_fall_with_the_tank_within_the_hour():
    """
    Turbulent emitters 1 m under 10 L, 1 m deep: by hand d√(10 + V)/dt = −k/2; 2/7 of what is drawn is 0.9 kg and what the
    sun takes, 0.05 an hour.

    7 L/h at 100 kPa are k √(10 + V) with k = 7 √(9.80665 / 10 / 100). One flow for all of an hour would be out by a thirtieth;
    flows that are computed again at each fiftieth of the pressure are out by less than a hundredth.
    """
    _, out, _ = on_a_tank([12.0], 10.0, area=0.1, exponent=0.5)
    k = 7.0 * (9.80665 / 10.0 / 100.0) ** 0.5
    lasts = next(
        t for t in np.arange(0.5, 4.0, 1e-4) if 2.0 / 7.0 * (20.0 - (20.0**0.5 - k * t / 2.0) ** 2) >= 0.9 + 0.05 * t
    )
    assert out.open_hours[0, 0] == pytest.approx(lasts, rel=0.01)


def test_two_valves_on_a_tank_share_what_it_has():
    """Both trip at 18 h; 2.8 L last both for 0.2 h at 14 L/h."""
    count, out, _ = on_a_tank([12.0], 2.8, area=0.1, controllers=2)
    assert count == 2
    assert out.drawn[:, 0].tolist() == pytest.approx([1.4, 1.4])
    assert out.starved_hours[:, 0].tolist() == pytest.approx([5.8, 5.8])
    assert out.level[:, 0].tolist() == pytest.approx([0.1, 0.1])
    assert out.openings[:, 0].tolist() == [1, 1]
    assert out.irrigation[:2, 0].tolist() == pytest.approx([1.0, 0.9])


def test_valves_on_a_tank_are_pressed_once_a_day_each():
    """0.3 of 0.9 kg are gone by noon; the next day's press waits for the next noon."""
    count, out, _ = on_a_tank([6.0, 6.0], 10.0, area=0.1, controllers=2, presses=[[12.0], [12.0]])
    assert count == 4
    assert sorted(out.opening_start[:4].tolist()) == pytest.approx([12.0, 12.0, 36.0, 36.0])


def test_unlike_valves_share_a_tank_by_their_flows():
    """Of 7 and 11 L/h, both open from 18 h, 1.8 L are 0.7 and 1.1; a float of 1.8 L/h gives as much an hour."""
    _, out, _ = on_a_tank([12.0], 1.8, area=0.1, controllers=2, refill_flows=(2.0, 6.0))
    assert out.drawn[:, 0].tolist() == pytest.approx([0.7, 1.1])
    _, out, _ = on_a_tank(
        [12.0], 1e-9, area=0.1, controllers=2, refill_flows=(2.0, 6.0), float_volume=1e-9, float_rate=1.8
    )
    refills = out.refilled[:, 0] / out.drawn[:, 0]
    assert refills.tolist() == pytest.approx([2.0 / 7.0, 6.0 / 11.0])
    assert out.open_hours[1, 0] < out.open_hours[0, 0]  # the first has all of it once the second is shut
    assert out.drawn[1, 0] == pytest.approx(1.1 * out.open_hours[1, 0])


@pytest.mark.parametrize("volume", [0.0, 2.8, 9.0])
def test_the_order_of_valves_on_a_tank_changes_nothing(volume):
    """Two unlike valves, one after the other and turned round, on a tank that runs low and a roof that brings a little."""
    unlike = {"refill_flows": (2.0, 0.9), "areas": (0.1, 0.17)}
    turned = {name: values[::-1] for name, values in unlike.items()}
    by_file, by_turn = (
        on_a_tank([12.0, 9.0, 14.0], volume, controllers=2, inflow=5.0, **more)[1] for more in (unlike, turned)
    )
    for name in ("drawn", "level", "open_hours", "starved_hours", "stuck_hours", "refilled"):
        ours, others = getattr(by_file, name), getattr(by_turn, name)[::-1]
        np.testing.assert_allclose(ours, others, rtol=1e-12, atol=1e-12, err_msg=name)
    np.testing.assert_allclose(by_file.tank_volume, by_turn.tank_volume, rtol=1e-12, atol=1e-12)


def test_a_float_valve_keeps_up_with_what_is_drawn():
    """A header tank of 10 L with a float of 8 L/h at 0.5 L: 7 L/h are served for as long as the valve is open."""
    _, out, _ = on_a_tank([12.0, 12.0], 0.5, area=0.1, float_volume=0.5, float_rate=8.0)
    assert out.starved_hours.sum() == 0.0
    assert out.tank_volume[0].tolist() == pytest.approx([0.5, 0.5])
    assert out.tank_topped[0].tolist() == pytest.approx(out.drawn[0].tolist())
    assert out.drawn[0, 0] == pytest.approx(7.0 * 0.9 / 1.95)


def test_a_float_valve_that_is_too_small_serves_what_it_gives():
    """3.5 L/h for a valve of 7 L/h: half of everything, so 1 kg/h into the pan against 0.05 kg/h of sun."""
    _, out, _ = on_a_tank([12.0], 0.0, area=0.1, float_volume=1e-6, float_rate=3.5)
    assert out.open_hours[0, 0] == pytest.approx(0.9 / 0.95, rel=1e-5)
    assert out.drawn[0, 0] == pytest.approx(3.5 * 0.9 / 0.95, rel=1e-5)
    assert (out.starved_hours[0, 0], out.stuck_hours[0, 0]) == (0.0, 0.0)


def test_a_trickle_on_an_empty_tank_that_does_not_raise_the_pan_is_an_opening_without_water():
    """0.14 L/h of roof for 7 L/h: 0.04 kg/h into a pan that loses 0.05."""
    _, out, _ = on_a_tank([12.0, 12.0], 0.0, area=0.1, inflow=0.14 * 24.0)
    assert out.stuck_hours.sum() == 0.0
    assert out.starved_hours[0, 1] == pytest.approx(out.open_hours[0, 1])


@pytest.mark.parametrize("controllers", [1, 2])
def test_roof_and_float_bring_their_water_once(controllers):
    """0.25 L an hour from the roof and a float at 4 L of 0.5 L/h, into 1 L: 4 L after four hours, then the roof's alone."""
    _, out, state = on_a_tank([0.0, 0.0], 1.0, controllers=controllers, inflow=6.0, float_volume=4.0, float_rate=0.5)
    assert out.tank_topped[0].tolist() == pytest.approx([2.0, 0.0])
    assert out.tank_volume[0].tolist() == pytest.approx([9.0, 10.0])
    assert out.tank_over[0].tolist() == pytest.approx([0.0, 5.0])
    assert state.volume[0] == 10.0


weathers = st.lists(
    st.tuples(st.floats(0.0, 15.0), st.one_of(st.just(0.0), st.floats(0.0, 80.0))), min_size=1, max_size=40
)
gardens = st.fixed_dictionaries(
    {
        "area": st.floats(0.02, 2.0),
        "swing": st.floats(0.05, 3.0),
        "freeboard": st.floats(0.0, 60.0),
        "refill_flow": st.floats(0.05, 8.0),
        "night_share": st.floats(0.0, 1.0),
        "kc": st.floats(0.1, 1.3),
        "taw": st.floats(5.0, 300.0),
        "p": st.floats(0.1, 0.8),
    }
)


@settings(max_examples=60, deadline=None)
@given(weathers, gardens)
def test_pans_and_buckets_close(weather, described):
    """Water in is water out and water kept, to 1e-9 of what passed, whatever the garden."""
    described["depth"] = described["freeboard"] + 1000.0 * described["swing"] / described["area"] / 900.0 + 1.0
    evaporation, rain = (np.array(column) for column in zip(*weather, strict=True))
    parts = garden(evaporation, rain, **described)
    count, out, state = run(parts)
    pans = parts[1]
    caught = rain.sum() * described["area"]
    residual = (
        pans.swing[0, 0] + caught + out.refilled.sum() - out.evaporated.sum() - out.spilled.sum() - state.level[0]
    )
    assert abs(residual) <= 1e-9 * max(caught + out.refilled.sum(), 1.0)
    assert count == out.openings.sum()
    for lane in range(3):
        gain = rain.sum() + out.irrigation[lane].sum() - out.eta[lane].sum() - out.deep_percolation[lane].sum()
        assert abs(-gain - state.depletion[lane]) <= 1e-9 * max(rain.sum() + out.irrigation[lane].sum(), 1.0)
    assert (out.depletion >= 0.0).all()
    assert (out.depletion <= described["taw"] * (1 + 1e-12)).all()
    assert ((out.ks >= 0.0) & (out.ks <= 1.0)).all()
    assert (out.eta <= out.etc + 1e-12).all()
    assert (out.open_hours <= 24.0 + 1e-9).all()
    assert (out.level <= pans.rim[0, 0] + 1e-12).all()
    assert (out.level >= pans.dry[0, 0] - 1e-12).all()


@settings(max_examples=40, deadline=None)
@given(weathers, gardens, st.data())
def test_a_season_in_two_halves_is_the_season(weather, described, data):
    """Stopping at any midnight and going on from the state gives the same numbers, openings under way included."""
    described["depth"] = described["freeboard"] + 1000.0 * described["swing"] / described["area"] / 900.0 + 1.0
    cut = data.draw(st.integers(0, len(weather)))
    evaporation, rain = (np.array(column) for column in zip(*weather, strict=True))
    whole_count, whole, whole_state = run(garden(evaporation, rain, **described))
    state, columns, carried = None, [], 0
    for piece in (slice(0, cut), slice(cut, None)):
        if not len(evaporation[piece]):
            continue
        days, pans, beds, fresh = garden(evaporation[piece], rain[piece], **described)
        count, out, state = run((days, pans, beds, fresh if state is None else state))
        columns.append(out)
        carried += count
    for field in (
        "open_hours",
        "refilled",
        "evaporated",
        "spilled",
        "depletion",
        "irrigation",
        "eta",
        "level",
    ):
        joined = np.concatenate([getattr(out, field) for out in columns], axis=1)
        np.testing.assert_allclose(joined, getattr(whole, field), atol=1e-9)
    np.testing.assert_allclose(state.level, whole_state.level, atol=1e-9)
    assert sum(out.openings.sum() for out in columns) == whole_count


@pytest.mark.parametrize("shares", [EVEN_HOURS, NOON_HOURS])
def test_against_quarter_minute_steps(shares):
    """A brute-force stepper with no crossings worked out: litres within 0.5 %, openings within 1.5 % or one."""
    rng = np.random.default_rng(20250701)
    n = 90
    evaporation = rng.uniform(2.0, 10.0, n)
    rain = np.where(rng.random(n) < 0.15, rng.exponential(10.0, n), 0.0)
    count, out, _ = run(garden(evaporation, rain, area=0.4, shares=shares))
    openings, hours, spilled = _by_quarter_minutes(evaporation, rain, shares, area=0.4, swing=0.9, rim=8.9, refill=2.0)
    assert count == pytest.approx(openings, abs=max(1, 0.015 * openings))
    # the stepper overshoots each reset by half a step, so the last opening may fall to either side of the end
    assert out.open_hours.sum() == pytest.approx(hours, abs=0.005 * hours + hours / openings)
    assert out.spilled.sum() == pytest.approx(spilled, rel=0.02, abs=0.05)


def _by_quarter_minutes(evaporation, rain, shares, *, area, swing, rim, refill):
    step = 1.0 / 240.0
    w, is_open, openings, hours, spilled = swing, False, 0, 0.0, 0.0
    for e_day, p_day in zip(evaporation.tolist(), rain.tolist(), strict=True):
        for share in shares.tolist():
            net = (p_day / 24.0 - e_day * share) * area * step
            for _ in range(240):
                w += net + (refill * step if is_open else 0.0)
                hours += step if is_open else 0.0
                if w > rim:
                    spilled += w - rim
                    w = rim
                if not is_open and w <= 0.0:
                    is_open, openings = True, openings + 1
                elif is_open and w >= swing:
                    is_open = False
    return openings, hours, spilled
