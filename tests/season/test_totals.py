"""What a run comes to, at the bounds: closure, gaps, peaks, rain that stayed, yields. Bare numbers, no replay."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from panbudget.engine.adding import EXACT_REFILL, LANE_SUMS, add_lane
from panbudget.errors import ClosureError
from panbudget.season import totals


def openings(*rows):
    return pd.DataFrame(rows, columns=["controller", "start_h", "end_h"])


@pytest.mark.parametrize(("passed", "most"), [(100.0, 1e-7), (1.0, 1e-9), (0.01, 1e-9)])
def test_a_balance_closes_to_a_billionth_of_what_passed_and_of_no_less_than_one(passed, most):
    """Model page, section 7: closure to 1e-9 relative; below one litre the bound is absolute."""
    assert totals.checked_balance("here", -0.999 * most, passed) == -0.999 * most
    with pytest.raises(ClosureError, match="off by"):
        totals.checked_balance("here", -1.001 * most, passed)


def test_the_first_of_several_balances_that_is_off_is_named():
    with pytest.raises(ClosureError, match=r"^tank 1: the water balance is off by 2 of 7;"):
        totals.checked_balance(lambda index: f"tank {index}", np.array([0.0, 2.0, 3.0]), np.array([5.0, 7.0, 9.0]))


@pytest.mark.parametrize(
    ("shifts", "days"),
    [
        ([], 3.0),  # never open: all three days
        ([("upper", 30.0, 31.0)], 41.0 / 24.0),  # 31 h to the end, 72 h
        ([("upper", 48.0, 49.0)], 2.0),  # from the start
        ([("upper", 1.0, 2.0), ("upper", 60.0, 71.0)], 58.0 / 24.0),  # between two
        ([("upper", 10.0, np.nan)], 10.0 / 24.0),  # still open at the end, which is no gap
        ([("upper", 0.0, np.nan)], 0.0),
    ],
)
def test_the_longest_gap_runs_from_shut_to_open_both_ends_included(shifts, days):
    """Worked by hand over three days of 24 h."""
    assert totals._longest_gap(openings(*shifts), 3) == pytest.approx(days, rel=1e-12)


def two_valves(upper, lower):
    """Two valves on the mains over two days, their flows by day."""
    return SimpleNamespace(
        pan_of={"upper": None, "lower": None},
        dates=range(2),
        pans=SimpleNamespace(valve_flow=np.array([upper, lower]), tank=np.array([-1, -1])),
        bed_of={},
        beds=SimpleNamespace(flow_factor=[]),
    )


@pytest.mark.parametrize(
    ("shifts", "most"),
    [
        ([], 0.0),
        ([("upper", 1.0, 3.0), ("lower", 2.0, 4.0)], 12.0),  # together from 2 h
        ([("upper", 1.0, 2.0), ("lower", 2.0, 4.0)], 10.0),  # one shuts as the other opens
        ([("upper", 1.0, 2.0), ("lower", 3.0, 4.0)], 10.0),
        ([("lower", 20.0, 24.5)], 5.0),  # over midnight: the second day's flow counts from there
        ([("lower", 20.0, 24.0)], 2.0),  # and not when it shuts at midnight
        ([("lower", 20.0, np.nan)], 5.0),  # still open at the end
        ([("upper", -3.0, 1.0)], 10.0),  # open from before the first day
        ([("upper", 20.0, 30.0), ("lower", 23.0, 26.0)], 13.0),  # 8 + 5 on the second day, 12 on the first
    ],
)
def test_the_peak_rate_adds_valves_that_are_open_together_each_at_its_days_flow(shifts, most):
    """Worked by hand: "upper" gives 10, then 8 L/h; "lower" 2, then 5."""
    assert totals._peak_rate(two_valves([10.0, 8.0], [2.0, 5.0]), openings(*shifts)) == most


def test_of_no_valve_there_is_no_day():
    assert totals.rates_by_day(openings(), {}).size == 0


@pytest.mark.parametrize(("open_share", "flow"), [([0.75, 1.0], 3.75), ([0.75, 0.5], 3.25), ([0.0, 0.0], 0.5)])
def test_a_valve_under_a_tank_gives_less_by_what_is_clogged(open_share, flow):
    """By hand: 1 of the refill, half of it gone, and 3 and 1 of two beds; with a quarter of the 3 gone 3.75 L/h."""
    part = SimpleNamespace(bed_flows={"a": 3.0, "b": 1.0}, valve_flow=5.0, refill_flow=1.0, at_reference={"": 2.0})
    forcing = SimpleNamespace(
        pan_of={"upper": part},
        bed_of={"upper/a": None, "upper/b": None},
        pans=SimpleNamespace(valve_flow=np.zeros((1, 1)), tank=np.array([0]), refill_flow=np.array([[1.0]])),
        beds=SimpleNamespace(flow_factor=np.array(open_share)[:, None]),
    )
    assert totals.valve_flows(forcing)["upper"].tolist() == [flow]


#: rain, given, drained -> rain kept; and by exact refill, whose drainage is rain
KEPT = [
    ((6.0, 2.0, 4.0), 3.0, 2.0),  # rain is 6 of 8: it bears three quarters of the drainage
    ((6.0, 2.0, 9.0), 0.0, 0.0),  # more drains than came: none of it stays, and never less than none
    ((6.0, 2.0, 0.0), 6.0, 6.0),
    ((0.0, 0.0, 5.0), 0.0, 0.0),  # what was in the ground before
    ((0.0, 8.0, 4.0), 0.0, 0.0),
    ((0.5, 0.0, 0.2), 0.3, 0.3),
]


@pytest.mark.parametrize(("day", "mean", "exact"), KEPT)
def test_rain_bears_its_share_of_what_drains_and_all_of_it_under_exact_refill(day, mean, exact):
    """Worked by hand; the rule of shares is common practice, no source."""
    assert totals.rain_kept(*np.atleast_2d(day).T) == pytest.approx(mean, abs=1e-15)
    assert totals.rain_kept(*np.atleast_2d(day).T, exact=True) == pytest.approx(exact, abs=1e-15)


def added(rain=0.0, given=0.0, drained=0.0, ks=1.0, growing=1, source=0, etc=5.0, eta=4.0):
    """The sums of one lane; numbers or lists of days."""
    days = np.broadcast_arrays(*(np.atleast_1d(part) for part in (rain, given, drained, ks, growing, etc, eta)))
    rain, given, drained, ks, growing, etc, eta = (part[None, :].astype(float) for part in days)
    beds = SimpleNamespace(lane_bed=[0], rain_in=rain, growing=growing, lane_source=[source])
    out = SimpleNamespace(
        irrigation=given, etc=etc, eta=eta, ks=ks, deep_percolation=drained, left_below=np.full_like(rain, 0.25)
    )
    out.sums = np.zeros((1, len(LANE_SUMS)))
    add_lane(0, beds, out)
    return dict(zip(LANE_SUMS, out.sums[0].tolist(), strict=True))


@pytest.mark.parametrize(("day", "mean", "exact"), KEPT)
def test_the_adder_keeps_the_same_rain(day, mean, exact):
    assert added(*day)["kept"] == pytest.approx(mean, abs=1e-15)
    assert added(*day, source=EXACT_REFILL)["kept"] == pytest.approx(exact, abs=1e-15)


def test_each_sum_is_that_of_its_days():
    got = added([1.0, 2.0], [3.0, 4.0], [0.5, 0.25], etc=[5.0, 6.0], eta=[4.0, 3.0], growing=[1, 0])
    assert [got[name] for name in ("irrigation", "drained", "left_below")] == [7.0, 0.75, 0.5]
    assert [got[name] for name in ("etc", "eta", "asked", "used")] == [11.0, 7.0, 5.0, 4.0]


@pytest.mark.parametrize(
    ("ks", "growing", "days", "longest"),
    [
        ([1.0] * 4, [1] * 4, 0, 0),
        ([0.9, 0.9, 1.0, 0.9], [1] * 4, 3, 2),
        ([0.9, 1.0, 0.9, 0.9], [1] * 4, 3, 2),
        ([0.9, 0.9, 0.9, 0.9], [1, 1, 0, 1], 3, 2),  # a day on which nothing grows ends the run
        ([np.nextafter(1.0, 0.0)], [1], 1, 1),
    ],
)
def test_a_day_is_short_of_water_when_something_grows_and_ks_is_below_one(ks, growing, days, longest):
    got = added(ks=ks, growing=growing)
    assert (got["stress_days"], got["longest_stress_days"]) == (days, longest)


@pytest.mark.parametrize(("used", "ky", "share"), [(8.0, 1.25, 0.75), (10.0, 1.25, 1.0), (1.0, 1.25, 0.0)])
def test_yield_falls_by_ky_times_the_lack_and_never_below_none(used, ky, share):
    """FAO-33 (1979): 1 − Ya/Ym = Ky (1 − ETa/ETc); 10 mm asked on the two days that grow; 1.25 × 0.9 is over one."""
    plant = SimpleNamespace(name="a", ky=ky, growing=np.array([True, True, False]))
    forcing = SimpleNamespace(
        bundle=SimpleNamespace(lane=lambda name: np.array([0]), rows=[SimpleNamespace(ground=0)]),
        parts=(SimpleNamespace(parts=(plant, SimpleNamespace(**vars(plant) | {"ky": None}))),),
    )
    out = SimpleNamespace(etc=np.array([[4.0, 6.0, 9.0]]), eta=np.array([[used / 2.0, used / 2.0, 9.0]]))
    (got,) = totals._yields(forcing, out, 0)
    assert got == {"plants": "a", "ky": ky, "eta_over_etc": used / 10.0, "share_of_full_yield": pytest.approx(share)}


def test_a_tank_stood_empty_as_long_as_all_its_valves_were_open_without_water(monkeypatch):
    """By hand: two valves on a tank, one on the mains; 1 h and 2 h on the second day, half an hour on the third."""
    monkeypatch.setattr(totals, "_peak_rate", lambda forcing, openings: 7.0)

    def valve(name, supply, tank):
        return SimpleNamespace(name=name, tank=tank, controller=SimpleNamespace(supply=supply))

    valves = [valve("a", "tank", 0), valve("tap", "mains", -1), valve("b", "tank", 0)]
    dates = pd.date_range("2025-05-30", periods=3)
    forcing = SimpleNamespace(bundle=SimpleNamespace(valves=valves), dates=dates)
    out = SimpleNamespace(
        drawn=np.array([[1.0, 5.0, 3.0], [90.0, 90.0, 90.0], [2.0, 4.0, 6.0]]),
        starved_hours=np.array([[0.0, 1.0, 0.0], [9.0, 9.0, 9.0], [0.0, 2.0, 0.5]]),
    )
    sums = totals.Sums({}, {}, {"end_l": np.array([3.0])})
    got = totals._supply_totals("tank", forcing, sums, out, openings())
    assert got["litres"] == 21.0
    assert got["by_month"] == {"2025-05": 12.0, "2025-06": 9.0}
    assert got["peak_day"] == {"date": "2025-05-31", "litres": 9.0}  # the first of equals
    assert got["tank"] == {"end_l": 3.0, "first_empty_day": "2025-05-31", "starved_hours": 3.5}
    assert got["peak_rate_l_per_h"] == 7.0
    mains = totals._supply_totals("mains", forcing, sums, out, openings())
    assert (mains["litres"], "tank" in mains) == (270.0, False)
    out.starved_hours[:] = 0.0
    assert totals._supply_totals("tank", forcing, sums, out, openings())["tank"]["first_empty_day"] is None


def test_a_tanks_reserve_is_its_end_by_what_is_drawn_a_day():
    """By hand: 100 L, 40 from the roof and 20 from the mains, 60 drawn in two days, 5 over: 95 L, for 95 ÷ 30 days."""
    day = np.array([[1.0, 1.0]])
    # from the mains, drawn, over
    out = SimpleNamespace(tanks=np.array([[20.0], [60.0], [5.0]]), least=np.array([90.0]))
    forcing = SimpleNamespace(tanks=SimpleNamespace(inflow=20.0 * day), days=SimpleNamespace(rain=np.zeros(2)))
    state = [SimpleNamespace(volume=np.array([litres])) for litres in (100.0, 95.0)]
    names = {name: key for key, name in totals.COLUMNS["tank_totals"].items()}
    got = totals._tanks(forcing, *state, out)
    for key, value in {"start": 100.0, "end": 95.0, "least": 90.0, "reserve": 95.0 / 30.0, "closure": 0.0}.items():
        assert got[names[key]] == pytest.approx([value]), key
    with pytest.raises(ClosureError, match="tank 0: the water balance is off by 1 of 160"):
        totals._tanks(forcing, state[0], SimpleNamespace(volume=np.array([94.0])), out)
    out.tanks[1] = 0.0
    still = totals._tanks(forcing, state[0], SimpleNamespace(volume=np.array([155.0])), out)
    assert np.isnan(still[names["reserve"]]).all()
